//! Nights against flower buds: what a low did, or would do, to each group at
//! the stage it was in.

use super::evidence::FrostNight;
use super::frost::{Critical, NightAhead};
use super::spread::Spread;
use crate::facts::journal::{BudCount, Noted};
use crate::facts::knowledge::{CriticalTemperature, Crop};
use crate::facts::weather::Day;
use chrono::{Datelike, Days, NaiveDate};
use std::collections::BTreeMap;

/// The dates of a crop's stages in the order of its list.
pub type Stages = [Option<Spread>];

/// Shares killed below this are not worth a word (our judgement).
pub const WORTH_A_WORD: f64 = 0.03;

/// Days after the last published stage (post bloom) in which it still holds:
/// three weeks, then none (reference/algorithms.md 8.2).
const AFTER_LAST_STAGE_DAYS: u64 = 21;

/// A crop's flower buds on one night: how far they are, and what they bear.
#[derive(Clone, Copy, Debug)]
pub struct Buds<'c> {
    /// The stage that they are likely in.
    pub stage: &'c str,
    /// The least and the most forward stage that they may be in; no name where
    /// they may not have come to the first published one.
    pub stages: (Option<&'c str>, &'c str),
    /// What they likely bear, between that stage and the next.
    pub critical: Critical,
    /// What they bear at the least forward; `None`: more than any table has.
    back: Option<Critical>,
    /// What they bear at the most forward.
    on: Critical,
}

/// Half a span that holds eight of ten, in standard deviations.
pub const EIGHT_OF_TEN: f64 = 1.282;

impl<'c> Buds<'c> {
    /// The buds on a night, of a crop whose stages come on the given days (in
    /// the order of the crop's list). `None` where no published stage holds.
    pub fn on(crop: &'c Crop, stages: &Stages, date: NaiveDate) -> Option<Self> {
        let at = |pick: fn(&Spread) -> NaiveDate| bears_on(crop, stages, date, pick);
        // The middle dates tell the stage; the late and the early ones tell
        // how far behind or on the buds may be.
        let (stage, critical) = at(|spread| spread.middle)?;
        let back = at(|spread| spread.late);
        let on = at(|spread| spread.early).unwrap_or((stage, critical));
        Some(Buds {
            stage,
            stages: (back.map(|back| back.0), on.0),
            critical,
            back: back.map(|back| back.1),
            on: on.1,
        })
    }

    /// Shares killed by a low, °C: likely, least and most. With a spread of
    /// the low, K, the likely one is the mean over it, and the others span
    /// eight of ten lows; last the chance that a tenth or more die.
    pub fn killed(&self, low_c: f64, spread_k: f64) -> Option<(f64, f64, f64, f64)> {
        let ahead = NightAhead::of(&self.critical, low_c, spread_k)?;
        let wide = EIGHT_OF_TEN * spread_k;
        let all = [self.back, Some(self.critical), Some(self.on)];
        let kill = |critical: Option<Critical>, low_c| critical.map_or(0.0, |one| one.kill(low_c));
        let least = all.map(|critical| kill(critical, low_c + wide));
        let most = all.map(|critical| kill(critical, low_c - wide));
        Some((
            ahead.expected,
            least.into_iter().fold(ahead.expected, f64::min),
            most.into_iter().fold(ahead.expected, f64::max),
            ahead.tenth,
        ))
    }
}

/// Where a low comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Low {
    /// A record's, seen; and the place's own difference from it, K.
    Seen(f64),
    /// A forecast's, likewise, and its spread, K.
    Forecast(f64, f64),
    /// Read by the keeper at the trees.
    Read,
}

/// One night of a crop whose stages come on the given days (in the order of
/// the crop's list), of a day with the low as it was recorded, forecast or read. `None` where no published stage holds on that night or
/// the share killed is not worth a word: at its most of a night seen, the mean
/// of one ahead.
pub fn night(crop: &Crop, stages: &Stages, day: Day, from: Low) -> Option<FrostNight> {
    let buds = Buds::on(crop, stages, day.date)?;
    let (site_k, spread_k) = match from {
        Low::Seen(site_k) => (site_k, 0.0),
        Low::Forecast(site_k, spread_k) => (site_k, spread_k),
        Low::Read => (0.0, 0.0),
    };
    let low_c = day.low_c? + site_k;
    let forecast = matches!(from, Low::Forecast(..));
    let (kill, least, most, tenth) = buds.killed(low_c, spread_k)?;
    let weight = if forecast { kill } else { most };
    (weight >= WORTH_A_WORD).then(|| FrostNight {
        date: day.date,
        low_c,
        site_k,
        forecast,
        crop: crop.id.clone(),
        stage: buds.stage.to_owned(),
        kill_10_c: buds.critical.kill_10_c(),
        kill_90_c: (!buds.critical.is_assumed()).then(|| buds.critical.kill_90_c()),
        kill,
        kill_least: least,
        kill_most: most,
        tenth,
        at_the_trees: from == Low::Read,
        counted: None,
    })
}

/// The stage of a day and what it bears: the last published stage which has
/// come, and its temperatures on the way to the next one's, by the share of the
/// days between them (frost.md 3). `None` before the first one and three weeks
/// after the last.
fn bears_on<'c>(
    crop: &'c Crop,
    stages: &Stages,
    date: NaiveDate,
    pick: fn(&Spread) -> NaiveDate,
) -> Option<(&'c str, Critical)> {
    let mut reached: Option<(NaiveDate, &CriticalTemperature)> = None;
    let mut next: Option<(NaiveDate, &CriticalTemperature)> = None;
    for row in &crop.critical {
        let index = crop.stage(&row.stage)?;
        let Some(spread) = stages.get(index).and_then(Option::as_ref) else {
            continue;
        };
        let came = pick(spread);
        if came > date {
            if next.is_none_or(|(known, _)| came < known) {
                next = Some((came, row));
            }
        } else if reached.is_none_or(|(before, _)| came >= before) {
            reached = Some((came, row));
        }
    }
    let (came, row) = reached?;
    let critical = Critical::from_row(row)?;
    let last = crop
        .critical
        .last()
        .is_some_and(|last| last.stage == row.stage);
    if last && date > came + Days::new(AFTER_LAST_STAGE_DAYS) {
        return None;
    }
    let next = next.and_then(|(day, row)| Some((day, Critical::from_row(row)?)));
    let critical = next.map_or(critical, |(day, after)| {
        let share = (date - came).num_days() as f64 / (day - came).num_days() as f64;
        critical.towards(&after, share)
    });
    Some((&row.stage, critical))
}

/// The nights seen of the days of a record, the place's own difference from it
/// added, K, with the lows that the keeper read at the trees in the place of
/// the record's: they are nearer to the buds than any station.
pub fn nights_seen(
    crop: &Crop,
    stages: &Stages,
    days: impl Iterator<Item = Day>,
    site_k: f64,
    read: &BTreeMap<NaiveDate, f64>,
) -> Vec<FrostNight> {
    let recorded = days
        .filter(|day| !read.contains_key(&day.date))
        .filter_map(|day| night(crop, stages, day, Low::Seen(site_k)));
    let read = read.iter().filter_map(|(&date, &low_c)| {
        let day = Day {
            date,
            low_c: Some(low_c),
            high_c: None,
            rain_mm: None,
        };
        night(crop, stages, day, Low::Read)
    });
    let mut found: Vec<FrostNight> = recorded.chain(read).collect();
    found.sort_by_key(|night| night.date);
    found
}

/// Days after a night within which a count of buds is about it (our
/// judgement).
const COUNT_TELLS_DAYS: i64 = 21;

/// Half the width of the likely span of a share counted, in standard
/// deviations: nine counts in ten hold the truth.
const COUNT_Z: f64 = 1.645;

/// Puts the keeper's counts of a crop's buds in the place of the estimate of
/// its nights seen. All counts of a crop in a season count together, and tell
/// what its nights up to then did: the worst night takes the share, no other
/// can have done more. The day of the last count, if there is any.
pub fn count_tells(
    nights: &mut [FrostNight],
    counts: &[Noted<BudCount>],
    crop: &str,
    year: i32,
) -> Option<NaiveDate> {
    let of_crop: Vec<&Noted<BudCount>> = counts
        .iter()
        .filter(|count| count.crop.as_deref() == Some(crop) && count.date.year() == year)
        .collect();
    let last = of_crop.iter().map(|count| count.date).max()?;
    let recent = |date: NaiveDate| (0..=COUNT_TELLS_DAYS).contains(&(last - date).num_days());
    let sums = of_crop.iter().filter(|count| recent(count.date));
    let (live, cut) = sums.fold((0u32, 0u32), |(live, cut), count| {
        (
            live.saturating_add(count.what.live),
            cut.saturating_add(count.what.cut),
        )
    });
    if cut == 0 {
        return None;
    }
    let dead = cut.saturating_sub(live);
    let (least, most) = likely_share(dead, cut);
    let share = f64::from(dead) / f64::from(cut);
    let worst = nights
        .iter()
        .filter(|night| recent(night.date))
        .max_by(|a, b| a.kill.total_cmp(&b.kill))
        .map(|night| night.date)?;
    for night in nights.iter_mut().filter(|night| night.date <= last) {
        if night.date == worst {
            (night.kill, night.kill_least, night.kill_most) = (share, least, most);
            night.counted = Some((dead, cut));
        } else {
            night.kill = night.kill.min(share);
            night.kill_least = night.kill_least.min(share);
            night.kill_most = night.kill_most.min(most);
        }
        night.tenth = f64::from(u8::from(night.kill >= 0.1));
    }
    Some(last)
}

/// Between which shares the truth likely lies when so many of so many were
/// dead (Wilson 1927, J. Am. Stat. Assoc. 22:209-212; two-sided 90 %).
pub fn likely_share(dead: u32, cut: u32) -> (f64, f64) {
    if cut == 0 {
        return (0.0, 1.0);
    }
    let n = f64::from(cut);
    let share = f64::from(dead.min(cut)) / n;
    let z2 = COUNT_Z * COUNT_Z;
    let middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = COUNT_Z / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}
