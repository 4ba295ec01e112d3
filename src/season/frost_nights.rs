//! Nights against flower buds: what a low did, or would do, to each group at
//! the stage it was in.

use super::evidence::FrostNight;
use super::frost::Critical;
use super::spread::Spread;
use crate::facts::knowledge::{CriticalTemperature, Crop};
use crate::facts::weather::{DailyRecord, Day};
use chrono::{Days, NaiveDate};

/// The dates of a crop's stages in the order of its list.
pub type Stages = [Option<Spread>];

/// Shares killed below this are not worth a word.
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
    })
}

/// The critical temperature that holds on a day: that of the last published
/// stage which has come. `None` before the first one and three weeks after
/// the last.
fn stage_on<'c>(
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
