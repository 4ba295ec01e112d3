//! The nights of this season that hurt, seen and forecast, and what those seen
//! did to each group.

use super::Season;
use super::outlook::{NIGHTS, site_offset};
use crate::facts::Facts;
use crate::facts::weather::{DailyRecord, Weather};
use crate::season::evidence::FrostNight;
use crate::season::frost::{self, spread_at};
use crate::season::frost_nights::{self, Low};
use crate::season::frost_toll::FrostToll;
use crate::season::groups::Group;
use chrono::{Datelike, Days, NaiveDate, Timelike};
use std::collections::BTreeMap;

/// The nights of all groups.
pub(super) struct Nights {
    /// In their order; alike nights of two groups of a crop once.
    pub all: Vec<FrostNight>,
    /// The toll of those seen, by group.
    pub tolls: Vec<Option<FrostToll>>,
}

/// Nights of this season that were worth a word, and those forecast.
pub(super) fn of(facts: &Facts, season: &Season) -> Nights {
    let mut nights = Nights {
        all: Vec::new(),
        tolls: vec![None; season.groups.len()],
    };
    let year = season.today.year();
    let Some(from) = NaiveDate::from_ymd_opt(year, 1, 1) else {
        return nights;
    };
    let site_k = site_offset(facts).map_or(0.0, |(offset, _)| offset);
    let weather = &season.facts.weather;
    let (over, coming) = around_now(weather, season.today);
    // By the record up to yesterday, by the day itself once its night is over.
    let recorded = || {
        let past = weather.daily.iter().flat_map(DailyRecord::days);
        let past = past.filter(|day| day.date >= from && day.date < season.today);
        past.chain(over.iter().flat_map(DailyRecord::days))
    };
    let issued = weather.forecast.as_ref().map(|forecast| forecast.issued);
    for (index, group) in season.groups.iter().enumerate() {
        let crop = season.crop(&group.crop);
        let Some((crop, stages)) = crop.zip(season.group_year(year, index)) else {
            continue;
        };
        let read = lows_at(facts, group, from, season.today);
        let mut seen = frost_nights::nights_seen(crop, &stages.spreads, recorded(), site_k, &read);
        let counts = &facts.journal.bud_counts;
        let counted_on = frost_nights::count_tells(&mut seen, counts, &group.crop, year);
        nights.all.extend(seen.iter().cloned());
        nights.tolls[index] = FrostToll::of(seen, counted_on);
        // What the keeper read this morning is neither the station's nor a
        // forecast.
        let ahead = season.today + Days::new(u64::from(read.contains_key(&season.today)));
        let until = season.today + Days::new(NIGHTS);
        let days = coming.iter().flat_map(DailyRecord::days);
        for day in days.filter(|day| (ahead..until).contains(&day.date)) {
            let lead = issued.map_or(1, |issued| (day.date - issued).num_days());
            let low = Low::Forecast(site_k, spread_at(lead));
            nights
                .all
                .extend(frost_nights::night(crop, &stages.spreads, day, low));
        }
    }
    let all = &mut nights.all;
    all.sort_by(|a: &FrostNight, b| (a.date, &a.crop).cmp(&(b.date, &b.crop)));
    all.dedup_by(|a, b| {
        a.date == b.date && a.crop == b.crop && a.stage == b.stage && a.kill == b.kill
    });
    nights
}

/// Hour of the day, standard time, from which the low of the night before is
/// what was seen, not what was forecast (our choice: well after sunrise).
const NIGHT_IS_OVER_HOUR: u32 = 9;

/// The day itself as far as it was seen, once its night is over; and the
/// coming days as forecast, today's low never above what was seen already.
pub(super) fn around_now(
    weather: &Weather,
    today: NaiveDate,
) -> (Option<DailyRecord>, Option<DailyRecord>) {
    let coming = weather.forecast.as_ref().map(|forecast| &forecast.daily);
    let Some(so_far) = weather.so_far(today) else {
        return (None, coming.cloned());
    };
    let over = weather
        .seen_to
        .is_some_and(|until| until.hour() >= NIGHT_IS_OVER_HOUR);
    let seen = over.then(|| DailyRecord::from_days(&[so_far])).flatten();
    let mut coming = coming.cloned();
    if let Some(coming) = &mut coming
        && let Some(mut day) = coming.day(today)
    {
        let lowest = [day.low_c, so_far.low_c].into_iter().flatten();
        day.low_c = match over {
            true => None,
            false => lowest.reduce(f64::min),
        };
        coming.put(day);
    }
    (seen, coming)
}

/// The lows that the keeper read at the trees of a group, the coldest of each
/// morning. One without trees and without a row is about all of them.
fn lows_at(
    facts: &Facts,
    group: &Group,
    from: NaiveDate,
    today: NaiveDate,
) -> BTreeMap<NaiveDate, f64> {
    let trees = || {
        let indices = group.trees.iter();
        indices.filter_map(|&index| facts.register.trees.get(index))
    };
    let mut lows: BTreeMap<NaiveDate, f64> = BTreeMap::new();
    for read in &facts.journal.lows {
        if read.date < from || read.date > today {
            continue;
        }
        let row = read.what.spot.as_deref().map(str::trim);
        let known_row = row.filter(|row| {
            let mut rows = facts
                .register
                .trees
                .iter()
                .filter_map(|tree| tree.row.as_deref());
            rows.any(|one| one.eq_ignore_ascii_case(row))
        });
        let about = match (read.trees.is_empty(), known_row) {
            (false, _) => trees().any(|tree| read.trees.contains(&tree.id)),
            (true, Some(row)) => trees().any(|tree| {
                let own = tree.row.as_deref();
                own.is_some_and(|own| own.eq_ignore_ascii_case(row))
            }),
            (true, None) => read.crop.as_ref().is_none_or(|crop| *crop == group.crop),
        };
        if about {
            let low = lows.entry(read.date).or_insert(read.what.low_c);
            *low = low.min(read.what.low_c);
        }
    }
    lows
}

impl Season {
    /// What this year's frosts have done to a group, as far as seen.
    pub fn toll_of(&self, group: &Group) -> Option<&FrostToll> {
        self.tolls.get(self.index_of(group)?)?.as_ref()
    }

    /// The same of a crop: of its groups the one that was hit hardest.
    pub fn toll(&self, crop: &str) -> Option<&FrostToll> {
        let of_crop = self.groups.iter().zip(&self.tolls);
        of_crop
            .filter(|(group, _)| group.crop == crop)
            .filter_map(|(_, toll)| toll.as_ref())
            .reduce(|held, next| if next.kill > held.kill { next } else { held })
    }

    /// The share of a full crop that this year's frosts have left on a group,
    /// 0 to 1; all of it in another year, and where no share of blossoms that
    /// makes a crop is published.
    pub fn crop_left(&self, group: &Group, year: i32) -> f64 {
        self.crop_left_span(group, year).1
    }

    /// The least, the likely and the most of it.
    pub fn crop_left_span(&self, group: &Group, year: i32) -> (f64, f64, f64) {
        let needed = self.crop(&group.crop).and_then(|crop| {
            let (least, most, _) = crop.blossoms_needed.as_ref()?;
            Some(f64::midpoint(*least, *most))
        });
        let toll = self.toll_of(group).filter(|_| year == self.today.year());
        let (Some(needed), Some(toll)) = (needed, toll) else {
            return (1.0, 1.0, 1.0);
        };
        let left = |kill| frost::crop_left(kill, needed);
        (left(toll.kill_most), left(toll.kill), left(toll.kill_least))
    }

    /// The most of a crop that may be left, which is what work hangs on; once
    /// buds were counted the likely share.
    pub fn crop_surely_left(&self, group: &Group, year: i32) -> f64 {
        let (_, left, most) = self.crop_left_span(group, year);
        let counted = self
            .toll_of(group)
            .is_some_and(|toll| toll.counted().is_some());
        if counted { left } else { most }
    }

    /// The night of a year that killed most of a crop's buds.
    pub fn worst_night(&self, crop: &str, year: i32) -> Option<&FrostNight> {
        let toll = self.toll(crop).filter(|_| year == self.today.year());
        toll.map(FrostToll::worst)
    }

    /// The last night before a day that killed at least a share of the buds of
    /// a crop (of any crop where none is named) in the same year.
    pub fn frost_damage(
        &self,
        crop: Option<&str>,
        share: f64,
        before: NaiveDate,
    ) -> Option<NaiveDate> {
        self.hurt(crop, share, false)
            .filter(|night| night.date <= before && night.date.year() == before.year())
            .map(|night| night.date)
            .max()
    }

    /// The first and the last night ahead that may well kill at least a share
    /// of the buds of a crop, of any crop where none is named.
    pub fn frost_ahead(
        &self,
        crop: Option<&str>,
        share: f64,
    ) -> Option<(&FrostNight, &FrostNight)> {
        // The morning of today is over for the work of the day.
        let mut ahead = self
            .hurt(crop, share, true)
            .filter(|night| night.is_feared() && night.date > self.today);
        let first = ahead.next()?;
        Some((first, ahead.last().unwrap_or(first)))
    }

    fn hurt(
        &self,
        crop: Option<&str>,
        share: f64,
        forecast: bool,
    ) -> impl Iterator<Item = &FrostNight> {
        let nights = self.frosts.iter();
        nights.filter(move |night| {
            night.forecast == forecast
                && night.kill >= share
                && crop.is_none_or(|crop| night.crop == crop)
        })
    }
}
