//! The year without any weather: the hardiness zone's handbook days, and the
//! keeper's usual date of bloom if there is one. Wide, and marked so.

use super::evidence::FitNote;
use super::groups::Group;
use super::spread::{Basis, Spread};
use crate::facts::Facts;
use crate::facts::knowledge::{Crop, ZoneMonths};
use chrono::NaiveDate;

/// Days before full bloom at which counting of heat is taken to start, for
/// setting a stage by its share of heat (our judgement: late winter to bloom
/// takes some six to seven weeks in the places that the zones describe).
const DAYS_TO_BLOOM: f64 = 45.0;

/// Half the width of a usual date that the keeper is not sure of, days.
const UNSURE_DAYS: f64 = 10.0;

/// The same where the keeper is sure of it.
const SURE_DAYS: f64 = 8.0;

/// A handbook day of a year as a spread.
pub fn month_day(zone: &ZoneMonths, month_day: (u32, u32), year: i32) -> Option<Spread> {
    let (month, day) = month_day;
    let middle = NaiveDate::from_ymd_opt(year, month, day)
        .or_else(|| NaiveDate::from_ymd_opt(year, month, day.saturating_sub(1)))?;
    Some(around(middle, f64::from(zone.spread_days)))
}

/// A day and so many days either way.
fn around(middle: NaiveDate, days: f64) -> Spread {
    let whole = Spread::certain(middle, Basis::ZoneOnly);
    Spread::new(
        whole.shifted(-days).middle,
        middle,
        whole.shifted(days).middle,
        Basis::ZoneOnly,
    )
}

/// All stages of a group in a year, in the order of the crop's list.
pub fn stages(
    facts: &Facts,
    crop: &Crop,
    group: &Group,
    year: i32,
) -> (Vec<Option<Spread>>, FitNote) {
    let Some((bloom, note)) = full_bloom(facts, crop, group, year) else {
        return (vec![None; crop.stages.len()], FitNote::default());
    };
    let spreads = crop
        .stages
        .iter()
        .map(|stage| {
            let days = match (&stage.heat_share, &stage.days_after_bloom) {
                (Some((share, _)), _) => (share - 1.0) * DAYS_TO_BLOOM,
                (None, Some((least, most, _))) => f64::midpoint(*least, *most),
                (None, None) => return None,
            };
            Some(bloom.shifted(days))
        })
        .collect();
    (spreads, note)
}

fn full_bloom(facts: &Facts, crop: &Crop, group: &Group, year: i32) -> Option<(Spread, FitNote)> {
    let place = &facts.place;
    let usual = place
        .usual_bloom
        .iter()
        .filter(|usual| usual.crop == crop.id)
        .find(|usual| usual.cultivar == group.cultivar)
        .or_else(|| place.usual_bloom.iter().find(|usual| usual.crop == crop.id));
    if let Some(usual) = usual {
        let middle = NaiveDate::from_ymd_opt(year, usual.month, usual.day.min(28))?;
        let days = if usual.sure { SURE_DAYS } else { UNSURE_DAYS };
        let note = FitNote {
            usual_date: true,
            ..FitNote::default()
        };
        return Some((around(middle, days).shifted(group.offset_days()), note));
    }
    let zone = facts.knowledge.zone(place.hardiness.number())?;
    let apple = month_day(zone, zone.apple_bloom, year)?;
    let offset = crop.bloom_offset.as_ref().map_or(0.0, |offset| offset.days);
    Some((
        apple.shifted(offset + group.offset_days()),
        FitNote::default(),
    ))
}
