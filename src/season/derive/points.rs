//! The points of the year that windows hang on, each with its evidence.

use super::Season;
use crate::facts::knowledge::{HeatRule, HeatStart, Insect, InsectEvent, Point};
use crate::season::evidence::Evidence;
use crate::season::groups::Group;
use crate::season::spread::{Basis, Spread};
use crate::season::{turning, zone_only};
use chrono::{Datelike, NaiveDate};
use std::hash::{Hash, Hasher};

/// Days by which a zone's handbook date of a freeze shifts for each °C below
/// freezing (our judgement: some 10 days from 32 to 28 °F).
const ZONE_DAYS_PER_DEGREE: f64 = 4.5;

/// Days from leaf fall to cold soil where only the zone is known.
const ZONE_SOIL_LAG_DAYS: f64 = 14.0;

/// Half the width of the coldest time, days.
const COLDEST_HALF_WIDTH_DAYS: f64 = 10.0;

impl Season {
    /// A point of the year for a group in the season named by its year of
    /// bloom, and why; `None` where it is not known or does not come.
    pub fn point(&self, point: &Point, group: &Group, year: i32) -> Option<(Spread, Evidence)> {
        let key = (digest(point), self.index_of(group), year);
        if let Some(bucket) = self.points.borrow().get(&key)
            && let Some((_, known)) = bucket.iter().find(|(one, _)| one == point)
        {
            return known.clone();
        }
        let found = self.work_out(point, group, year);
        self.points
            .borrow_mut()
            .entry(key)
            .or_default()
            .push((point.clone(), found.clone()));
        found
    }

    fn work_out(&self, point: &Point, group: &Group, year: i32) -> Option<(Spread, Evidence)> {
        match point {
            Point::Calendar {
                month,
                day,
                years_before,
            } => {
                let year = year - i32::from(*years_before);
                let date = NaiveDate::from_ymd_opt(year, *month, *day)
                    .or_else(|| NaiveDate::from_ymd_opt(year, *month, day.saturating_sub(1)))?;
                Some((
                    Spread::certain(date, Basis::Fixed),
                    Evidence::Calendar { date },
                ))
            }
            Point::Stage { stage, crop } => match crop {
                None => self.stage(group, year, stage),
                Some(crop) => self.stage(self.group_for(crop)?, year, stage),
            },
            Point::LeafFall {
                percent,
                years_before,
            } => self.leaf_fall(*percent, year - i32::from(*years_before)),
            Point::SpringFreeze { threshold_c } => self.spring_freeze(*threshold_c, year),
            Point::FallFreeze {
                threshold_c,
                years_before,
            } => self.fall_freeze(*threshold_c, year - i32::from(*years_before)),
            Point::SoilWarms { threshold_c } => self.soil(*threshold_c, true, year),
            Point::SoilCools {
                threshold_c,
                years_before,
            } => self.soil(*threshold_c, false, year - i32::from(*years_before)),
            Point::Heat { sum, rule, start } => self.heat(group, *sum, *rule, start, year),
            Point::Harvest { last } => self.harvest(group, year, *last),
            Point::ColdestPast => self.coldest(year),
            Point::ChillReached { .. } => None,
        }
    }

    /// The last freeze of spring at or below a temperature.
    pub fn spring_freeze(&self, threshold_c: f64, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            // Handbooks give 32 °F; each degree below comes some 2 days sooner.
            let spread = zone_only::month_day(zone, zone.last_freeze, year)?
                .shifted(threshold_c.min(0.0) * ZONE_DAYS_PER_DEGREE);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::last_spring_freeze(record, year, threshold_c))?;
        let evidence = Evidence::SpringFreeze {
            threshold_c,
            spread,
            years: self.past_years,
        };
        Some((spread, evidence))
    }

    /// The first freeze of autumn at or below a temperature.
    pub fn fall_freeze(&self, threshold_c: f64, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread = zone_only::month_day(zone, zone.first_freeze, year)?
                .shifted(-threshold_c.min(0.0) * ZONE_DAYS_PER_DEGREE);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::first_fall_freeze(record, year, threshold_c))?;
        let evidence = Evidence::FallFreeze {
            threshold_c,
            spread,
            years: self.past_years,
        };
        Some((spread, evidence))
    }

    /// Half or nine tenths of the leaves down.
    pub fn leaf_fall(&self, percent: u8, year: i32) -> Option<(Spread, Evidence)> {
        let rule = self.facts.leaf_fall.as_ref()?;
        let days = if percent >= 75 {
            rule.most_days
        } else {
            rule.half_days
        };
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread =
                zone_only::month_day(zone, zone.leaf_fall, year)?.shifted(days - rule.most_days);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::first_fall_freeze(record, year, rule.threshold_c))?
            .shifted(days);
        let source = rule.source.clone();
        Some((
            spread,
            Evidence::LeafFall {
                percent,
                spread,
                source,
            },
        ))
    }

    /// The soil at 10 cm rises (spring) or falls (autumn) through a
    /// temperature for good.
    pub fn soil(&self, threshold_c: f64, rising: bool, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread = if rising {
                zone_only::month_day(zone, zone.soil_warms, year)?
            } else {
                zone_only::month_day(zone, zone.leaf_fall, year)?.shifted(ZONE_SOIL_LAG_DAYS)
            };
            return Some((spread, self.zone_evidence()));
        }
        let crossing = if rising {
            turning::soil_warms
        } else {
            turning::soil_cools
        };
        let records = self.members.records();
        let spread = self.members.spread(|record| {
            let index = records.iter().position(|one| std::ptr::eq(one, record))?;
            crossing(record, self.soil.get(index)?, year, threshold_c)
        })?;
        let years = self.past_years;
        Some((
            spread,
            Evidence::Soil {
                threshold_c,
                rising,
                spread,
                years,
            },
        ))
    }

    /// The time after which the mean low rises again.
    fn coldest(&self, year: i32) -> Option<(Spread, Evidence)> {
        let middle = match turning::coldest_day(&self.members, year) {
            Some(day) => day,
            None => NaiveDate::from_ymd_opt(year, 1, 25)?,
        };
        let basis = if self.past_years == 0 {
            Basis::ZoneOnly
        } else {
            Basis::PastYears
        };
        let day = Spread::certain(middle, basis);
        let spread = Spread::new(
            day.shifted(-COLDEST_HALF_WIDTH_DAYS).middle,
            middle,
            day.shifted(COLDEST_HALF_WIDTH_DAYS).middle,
            basis,
        );
        Some((spread, Evidence::ColdestPast { spread }))
    }

    fn heat(
        &self,
        group: &Group,
        sum: f64,
        rule: HeatRule,
        start: &HeatStart,
        year: i32,
    ) -> Option<(Spread, Evidence)> {
        let from = match start {
            HeatStart::Calendar(month, day) => {
                Spread::certain(NaiveDate::from_ymd_opt(year, *month, *day)?, Basis::Fixed)
            }
            HeatStart::Stage(stage) => self.stage(group, year, stage)?.0,
            HeatStart::Biofix(_) | HeatStart::LaterBiofix(_) => return None,
            HeatStart::Catch(insect) => return self.heat_since_catch(insect, sum, rule, year),
        };
        let spread = turning::heat_reached(&self.members, rule, from, sum)?;
        Some((
            spread,
            Evidence::Heat {
                sum,
                rule,
                start: start.clone(),
                spread,
            },
        ))
    }

    fn heat_since_catch(
        &self,
        insect: &str,
        sum: f64,
        rule: HeatRule,
        year: i32,
    ) -> Option<(Spread, Evidence)> {
        let (caught, noted) = self.first_catch(insect, year)?;
        let spread = turning::heat_reached(&self.members, rule, caught, sum)?;
        let evidence = Evidence::HeatSinceCatch {
            insect: insect.to_owned(),
            sum,
            rule,
            caught,
            noted,
            spread,
        };
        Some((spread, evidence))
    }

    /// The first catch of an insect in a year that went on, and whether the
    /// keeper noted it; where none is noted, when it is reckoned. `None` where
    /// nothing stands in for it.
    pub fn first_catch(&self, insect: &str, year: i32) -> Option<(Spread, bool)> {
        let mut noted = self.facts.biofixes.iter();
        let own = noted.find(|(id, date)| id == insect && date.year() == year);
        if let Some((_, date)) = own {
            return Some((Spread::certain(*date, Basis::Seen), true));
        }
        let mut reckoned = self.facts.reckoned_catches.iter();
        let (_, event) = reckoned.find(|(id, _)| id == insect)?;
        let (sum, _) = event.heat?;
        let start = match &event.start {
            HeatStart::Calendar(month, day) => {
                let day = NaiveDate::from_ymd_opt(year, *month, *day)?;
                Spread::certain(day, Basis::Fixed)
            }
            HeatStart::Stage(stage) => {
                let crop = event.crop.as_deref()?;
                self.stage(self.group_for(crop)?, year, stage)?.0
            }
            HeatStart::Biofix(_) | HeatStart::LaterBiofix(_) | HeatStart::Catch(_) => return None,
        };
        let spread = turning::heat_reached(&self.members, event.rule, start, sum)?;
        Some((spread, false))
    }

    /// The events of an insect that are counted from its first catch in a
    /// year, with their days, in the order of these.
    pub fn counted_from_catch<'i>(
        &self,
        insect: &'i Insect,
        year: i32,
    ) -> Vec<(&'i InsectEvent, Spread)> {
        let Some((caught, _)) = self.first_catch(&insect.id, year) else {
            return Vec::new();
        };
        let from_first = |event: &&InsectEvent| matches!(event.start, HeatStart::Biofix(_));
        let events = insect.events.iter().filter(from_first);
        let mut found: Vec<(&InsectEvent, Spread)> = events
            .filter_map(|event| {
                let (sum, _) = event.heat?;
                let spread = turning::heat_reached(&self.members, event.rule, caught, sum)?;
                Some((event, spread))
            })
            .collect();
        found.sort_by_key(|(_, spread)| spread.middle);
        found
    }

    /// The first or the last harvest of a group.
    fn harvest(&self, group: &Group, year: i32, last: bool) -> Option<(Spread, Evidence)> {
        let (bloom, _) = self.stage(group, year, "full bloom")?;
        let index = self.index_of(group)?;
        let (least, most) = self.harvests.get(index).copied().flatten()?;
        let days = if last { most } else { least };
        let crop = group.crop.clone();
        let evidence = Evidence::Harvest {
            crop,
            days: (least, most),
            bloom: bloom.middle,
        };
        Some((bloom.shifted(days), evidence))
    }

    fn zone_evidence(&self) -> Evidence {
        Evidence::Zone {
            zone: self.facts.hardiness,
        }
    }
}

/// A number that equal points share; others may share it too.
fn digest(point: &Point) -> u64 {
    let mut hasher = std::hash::DefaultHasher::new();
    std::mem::discriminant(point).hash(&mut hasher);
    match point {
        Point::Calendar { month, day, .. } => (month, day).hash(&mut hasher),
        Point::Stage { stage, crop } => (stage, crop).hash(&mut hasher),
        Point::LeafFall { percent, .. } => percent.hash(&mut hasher),
        Point::SpringFreeze { threshold_c }
        | Point::FallFreeze { threshold_c, .. }
        | Point::SoilWarms { threshold_c }
        | Point::SoilCools { threshold_c, .. } => threshold_c.to_bits().hash(&mut hasher),
        Point::Heat { sum, .. } => sum.to_bits().hash(&mut hasher),
        Point::Harvest { last } => last.hash(&mut hasher),
        Point::ColdestPast => {}
        Point::ChillReached { portions } => portions.to_bits().hash(&mut hasher),
    }
    hasher.finish()
}
