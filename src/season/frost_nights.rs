//! Nights against flower buds: what a low did, or would do, to each group at
//! the stage it was in.

use super::evidence::FrostNight;
use super::frost::Critical;
use super::spread::Spread;
use crate::facts::journal::{BudCount, Noted};
use crate::facts::knowledge::{CriticalTemperature, Crop};
use crate::facts::weather::{DailyRecord, Day};
use chrono::{Datelike, Days, NaiveDate};
use std::collections::BTreeMap;

/// The dates of a crop's stages in the order of its list.
pub type Stages = [Option<Spread>];

/// Shares killed below this are not worth a word (our judgement).
pub const WORTH_A_WORD: f64 = 0.03;

/// Days after the last published stage (post bloom) in which it still holds.
const AFTER_LAST_STAGE_DAYS: u64 = 21;

/// Share of buds killed at a temperature; a row that cannot be read kills
/// nothing.
fn kill_share(low_c: f64, row: &CriticalTemperature) -> f64 {
    Critical::from_row(row).map_or(0.0, |critical| critical.kill(low_c))
}

/// One night of a crop whose stages come on the given days (in the order of
/// the crop's list). `None` where no published stage holds on that night or
/// the share killed, at its most, is not worth a word.
pub fn night(
    crop: &Crop,
    stages: &[Option<Spread>],
    day: Day,
    forecast: bool,
) -> Option<FrostNight> {
    let low_c = day.low_c?;
    let at = |pick: fn(&Spread) -> NaiveDate| stage_on(crop, stages, day.date, pick);
    // The middle dates tell the stage; the early and the late ones tell how
    // far on or behind the buds may be.
    let likely = at(|spread| spread.middle)?;
    let kill = kill_share(low_c, likely);
    let bounds = [at(|spread| spread.early), at(|spread| spread.late)];
    let shares = bounds
        .into_iter()
        .flatten()
        .map(|critical| kill_share(low_c, critical));
    let (least, most) = shares.fold((kill, kill), |(a, b), share| (a.min(share), b.max(share)));
    (most >= WORTH_A_WORD).then(|| FrostNight {
        date: day.date,
        low_c,
        forecast,
        crop: crop.id.clone(),
        stage: likely.stage.clone(),
        kill_10_c: likely.kill_10_c,
        kill_90_c: likely.kill_90_c,
        kill,
        kill_least: least,
        kill_most: most,
        at_the_trees: false,
        counted: None,
    })
}

/// The critical temperature that holds on a day: that of the last published
/// stage which has come. `None` before the first one and three weeks after
/// the last.
pub(super) fn stage_on<'c>(
    crop: &'c Crop,
    stages: &[Option<Spread>],
    date: NaiveDate,
    pick: fn(&Spread) -> NaiveDate,
) -> Option<&'c CriticalTemperature> {
    let mut reached: Option<(NaiveDate, &CriticalTemperature)> = None;
    for critical in &crop.critical {
        let index = crop.stage(&critical.stage)?;
        let Some(spread) = stages.get(index).and_then(Option::as_ref) else {
            continue;
        };
        let came = pick(spread);
        if came <= date && reached.is_none_or(|(before, _)| came >= before) {
            reached = Some((came, critical));
        }
    }
    let (came, critical) = reached?;
    let last = crop
        .critical
        .last()
        .is_some_and(|last| last.stage == critical.stage);
    let over = last && date > came + Days::new(AFTER_LAST_STAGE_DAYS);
    (!over).then_some(critical)
}

/// All nights of a span that are worth a word.
pub fn nights(
    crop: &Crop,
    stages: &[Option<Spread>],
    record: &DailyRecord,
    from: NaiveDate,
    to: NaiveDate,
    forecast: bool,
) -> Vec<FrostNight> {
    record
        .days()
        .filter(|day| day.date >= from && day.date <= to)
        .filter_map(|day| night(crop, stages, day, forecast))
        .collect()
}

/// The nights seen in a span, with the lows that the keeper read at the trees
/// in the place of the record's: they are nearer to the buds than any station.
pub fn nights_seen(
    crop: &Crop,
    stages: &[Option<Spread>],
    record: Option<&DailyRecord>,
    read: &BTreeMap<NaiveDate, f64>,
    from: NaiveDate,
    to: NaiveDate,
) -> Vec<FrostNight> {
    let mut found: Vec<FrostNight> = record
        .map(|record| nights(crop, stages, record, from, to, false))
        .unwrap_or_default();
    found.retain(|night| !read.contains_key(&night.date));
    for (&date, &low_c) in read.range(from..) {
        let day = Day {
            date,
            low_c: Some(low_c),
            high_c: None,
            rain_mm: None,
        };
        found.extend(night(crop, stages, day, false).map(|night| FrostNight {
            at_the_trees: true,
            ..night
        }));
    }
    found
}

/// Days after a night within which a count of buds is about it (our
/// judgement).
const COUNT_TELLS_DAYS: i64 = 21;

/// Half the width of the likely span of a share counted, in standard
/// deviations: nine counts in ten hold the truth.
const COUNT_Z: f64 = 1.645;

/// Puts the keeper's count of a crop's buds in the place of the estimate. All
/// counts of a crop in a season count together, and tell what its nights up
/// to then did: the worst night takes the share, no other can have done more.
pub fn count_tells(nights: &mut [FrostNight], counts: &[Noted<BudCount>], year: i32) {
    let crops: std::collections::BTreeSet<&String> = counts
        .iter()
        .filter_map(|count| count.crop.as_ref())
        .collect();
    for crop in crops {
        let of_crop: Vec<&Noted<BudCount>> = counts
            .iter()
            .filter(|count| count.crop.as_ref() == Some(crop) && count.date.year() == year)
            .collect();
        let Some(last) = of_crop.iter().map(|count| count.date).max() else {
            continue;
        };
        let recent = |date: NaiveDate| (0..=COUNT_TELLS_DAYS).contains(&(last - date).num_days());
        let sums = of_crop.iter().filter(|count| recent(count.date));
        let (live, cut) = sums.fold((0u32, 0u32), |(live, cut), count| {
            (
                live.saturating_add(count.what.live),
                cut.saturating_add(count.what.cut),
            )
        });
        if cut == 0 {
            continue;
        }
        let dead = cut.saturating_sub(live);
        let (least, most) = likely_share(dead, cut);
        let share = f64::from(dead) / f64::from(cut);
        let about = |night: &FrostNight| {
            !night.forecast
                && night.crop == *crop
                && night.date <= last
                && night.date.year() == year
        };
        let worst = nights
            .iter()
            .filter(|night| about(night) && recent(night.date))
            .max_by(|a, b| a.kill.total_cmp(&b.kill))
            .map(|night| night.date);
        for night in nights.iter_mut().filter(|night| about(night)) {
            if Some(night.date) == worst {
                (night.kill, night.kill_least, night.kill_most) = (share, least, most);
                night.counted = Some((dead, cut));
            } else {
                night.kill = night.kill.min(share);
                night.kill_least = night.kill_least.min(share);
                night.kill_most = night.kill_most.min(most);
            }
        }
    }
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
