//! The coming nights against the buds: what matters of each, crop by crop.

use super::Season;
use super::frosts::around_now;
use crate::facts::Facts;
use crate::facts::weather::{DailyRecord, HourlyRecord};
use crate::season::evidence::is_feared;
use crate::season::frost::spread_at;
use crate::season::frost_nights::Buds;
use crate::season::hourly_curve;
use chrono::{Datelike, Days, NaiveDate, NaiveTime};

/// A forecast this much above the temperature that kills a tenth is worth
/// watching, K: 4 °F (our judgement, reference/frost.md 4).
const WATCH_ABOVE_K: f64 = 4.0 / 1.8;

/// Fewest mornings on which the keeper's thermometer and the record are held
/// against each other before a difference is told.
const ENOUGH_MORNINGS: usize = 3;

/// Most days ahead that are looked at.
pub(super) const NIGHTS: u64 = 7;

/// How much a night asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Alarm {
    /// Nothing to fear.
    Clear,
    /// Near enough to look again.
    Watch,
    /// A tenth or more of some crop's buds may well die: it is told.
    Act,
    /// Half or more of some crop's buds are likely to die.
    Severe,
}

/// One coming night.
#[derive(Clone, Debug, PartialEq)]
pub struct NightOutlook {
    /// The morning on which it ends.
    pub date: NaiveDate,
    /// Its forecast low at the trees, °C: the place's own difference added.
    pub low_c: f64,
    /// Spread of the forecast, K (one standard deviation; an assumption).
    pub spread_k: f64,
    /// Hours at or below freezing, if they can be told.
    pub hours_below_freezing: Option<u32>,
    /// The crops that stand at a stage with published figures, the most
    /// endangered first.
    pub crops: Vec<CropOutlook>,
    /// How much it asks for.
    pub alarm: Alarm,
}

/// One crop on one coming night.
#[derive(Clone, Debug, PartialEq)]
pub struct CropOutlook {
    /// The crop's id.
    pub crop: String,
    /// The stage that it is likely in.
    pub stage: String,
    /// The least and the most forward stage that it may be in; `None` where it
    /// may not have come to the first published one.
    pub stages: (Option<String>, String),
    /// Temperatures that kill a tenth, half and nine tenths there, °C.
    pub kills_c: (f64, f64, f64),
    /// Share of buds expected to die.
    pub kill: f64,
    /// Least and most: over the stage's uncertainty and eight of ten lows.
    pub kill_span: (f64, f64),
    /// Chance that a tenth or more die.
    pub tenth: f64,
    /// Hours at or below the temperature that kills a tenth.
    pub hours_below: Option<u32>,
}

impl CropOutlook {
    /// Whether the night is told for this crop.
    pub fn is_feared(&self) -> bool {
        is_feared(self.tenth, self.kill)
    }
}

/// How much colder, or warmer, the keeper's mornings were than the record: the
/// coldest tenth of the differences, K, and how many mornings. `None` with
/// too few.
pub fn site_offset(facts: &Facts) -> Option<(f64, usize)> {
    let daily = facts.weather.daily.as_ref()?;
    let reads = facts.journal.lows.iter();
    let mut found: Vec<f64> = reads
        .filter_map(|read| Some(read.what.low_c - daily.day(read.date)?.low_c?))
        .collect();
    found.sort_by(f64::total_cmp);
    let at = found.len() / 10;
    let offset = *found.get(at)?;
    (found.len() >= ENOUGH_MORNINGS).then_some((offset, found.len()))
}

impl Season {
    /// The coming nights of the forecast, tonight's first. `None` where there
    /// is no forecast that reaches today.
    pub fn frost_outlook(&self, facts: &Facts) -> Option<Vec<NightOutlook>> {
        let forecast = self.facts.weather.forecast.as_ref()?;
        let offset_k = site_offset(facts).map_or(0.0, |(offset, _)| offset);
        let until = self.today + Days::new(NIGHTS);
        // What has passed of today is not ahead.
        let coming = around_now(&self.facts.weather, self.today).1?;
        let nights: Vec<NightOutlook> = coming
            .days()
            .filter(|day| day.date >= self.today && day.date < until)
            .filter_map(|day| {
                let spread_k = spread_at((day.date - forecast.issued).num_days());
                let low_c = day.low_c? + offset_k;
                Some(self.night_outlook(facts, day.date, low_c, spread_k, offset_k))
            })
            .collect();
        (!nights.is_empty()).then_some(nights)
    }

    fn night_outlook(
        &self,
        facts: &Facts,
        date: NaiveDate,
        low_c: f64,
        spread_k: f64,
        offset_k: f64,
    ) -> NightOutlook {
        let hours = self.night_hours(facts, date, offset_k);
        let below = |limit_c: f64| {
            let hours = hours.as_ref()?;
            let count = hours.iter().filter(|hour| **hour <= limit_c).count();
            u32::try_from(count).ok()
        };
        let mut crops: Vec<CropOutlook> = Vec::new();
        for (index, group) in self.groups.iter().enumerate() {
            let found = self.crop(&group.crop).and_then(|crop| {
                let stages = &self.group_year(date.year(), index)?.spreads;
                let buds = Buds::on(crop, stages, date)?;
                let (kill, least, most, tenth) = buds.killed(low_c, spread_k)?;
                let critical = buds.critical;
                let half = critical
                    .temperature_for(0.5)
                    .unwrap_or(critical.kill_90_c());
                let (back, on) = buds.stages;
                Some(CropOutlook {
                    crop: group.crop.clone(),
                    stage: buds.stage.to_owned(),
                    stages: (back.map(str::to_owned), on.to_owned()),
                    kills_c: (critical.kill_10_c(), half, critical.kill_90_c()),
                    kill,
                    kill_span: (least, most),
                    tenth,
                    hours_below: below(critical.kill_10_c()),
                })
            });
            let Some(found) = found else {
                continue;
            };
            // Of several groups of a crop the most endangered speaks.
            match crops.iter_mut().find(|held| held.crop == found.crop) {
                Some(held) if found.kill > held.kill => *held = found,
                Some(_) => {}
                None => crops.push(found),
            }
        }
        crops.sort_by(|a, b| b.kill.total_cmp(&a.kill));
        let alarm = crops
            .iter()
            .map(|crop| match crop.kills_c {
                (_, half, _) if low_c <= half => Alarm::Severe,
                _ if crop.is_feared() => Alarm::Act,
                (tenth, _, _) if low_c <= tenth + WATCH_ABOVE_K => Alarm::Watch,
                _ => Alarm::Clear,
            })
            .max()
            .unwrap_or(Alarm::Clear);
        NightOutlook {
            date,
            low_c,
            spread_k,
            hours_below_freezing: below(0.0),
            crops,
            alarm,
        }
    }

    /// The hours from noon to noon around a night, °C: the forecast's own, or
    /// a curve through its extremes.
    fn night_hours(&self, facts: &Facts, date: NaiveDate, offset_k: f64) -> Option<Vec<f64>> {
        let forecast = self.facts.weather.forecast.as_ref()?;
        let noon = NaiveTime::from_hms_opt(12, 0, 0)?;
        let (from, to) = ((date - Days::new(1)).and_time(noon), date.and_time(noon));
        let own = |hourly: &HourlyRecord| -> Vec<f64> {
            let hours = hourly
                .hours()
                .filter(|hour| hour.start >= from && hour.start < to);
            hours
                .filter_map(|hour| hour.temperature_c)
                .map(|c| c + offset_k)
                .collect()
        };
        if let Some(hours) = forecast.hourly.as_ref().map(own)
            && hours.len() >= 20
        {
            return Some(hours);
        }
        let days: Vec<_> = [1u64, 0]
            .into_iter()
            .filter_map(|back| {
                let day = date - Days::new(back);
                let seen = self.facts.weather.daily.as_ref();
                forecast
                    .daily
                    .day(day)
                    .or_else(|| seen.and_then(|seen| seen.day(day)))
            })
            .collect();
        let record = DailyRecord::from_days(&days)?;
        let mut hours: Vec<f64> = Vec::new();
        hourly_curve::each_day(&record, facts.place.latitude, |day| {
            hours.extend(day.into_iter().flatten().map(|c| c + offset_k));
        });
        let from = hours.len().checked_sub(36)?;
        hours.get(from..from + 24).map(<[f64]>::to_vec)
    }
}
