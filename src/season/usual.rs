//! The usual date of full bloom, as the keeper remembers it.

use super::season_days::SeasonYear;
use crate::facts::knowledge::{BloomGroup, Knowledge};
use crate::facts::place::Place;
use chrono::NaiveDate;

/// Spread about a usual date of which the keeper is sure, days.
const SURE_DAYS: f64 = 5.0;

/// Spread about a usual date otherwise, days.
const UNSURE_DAYS: f64 = 8.0;

/// The usual date of full bloom and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    /// Season day, with fraction.
    pub instant: f64,
    /// Standard deviation, days.
    pub spread_days: f64,
    /// Whether it was worked out from another crop's date.
    pub from_other_crop: bool,
}

/// Days by which a bloom group is later than another; see `Sister` in `bloom`.
pub fn group_difference(this: Option<BloomGroup>, other: Option<BloomGroup>) -> f64 {
    match (this, other) {
        (Some(this), Some(other)) => group_days(this) - group_days(other),
        _ => 0.0,
    }
}

/// Days by which a bloom group differs from the middle of its crop: our
/// judgement, after apples at Klein-Altendorf (-3 to 0) and sweet cherries
/// there (7 days from the earliest to the latest).
fn group_days(group: BloomGroup) -> f64 {
    match group {
        BloomGroup::Early => -4.0,
        BloomGroup::EarlyMid => -2.0,
        BloomGroup::Mid => 0.0,
        BloomGroup::MidLate => 2.0,
        BloomGroup::Late => 4.0,
    }
}

/// The usual date of full bloom of a crop or one cultivar of it at a place:
/// the keeper's date for the cultivar, else for the crop, else the nearest
/// that another crop's date gives through the published differences, spreads
/// added.
pub fn usual_date(
    place: &Place,
    knowledge: &Knowledge,
    crop: &str,
    cultivar: Option<&str>,
) -> Option<Usual> {
    let season = SeasonYear::at(2001, place.latitude);
    let base = |sure: bool| if sure { SURE_DAYS } else { UNSURE_DAYS };
    let group = |crop: &str, name: Option<&str>| {
        name.and_then(|name| knowledge.cultivar(crop, name))
            .and_then(|known| known.bloom.as_ref())
            .map(|(group, _)| group_days(*group))
    };
    let own_group = group(crop, cultivar);
    place
        .usual_bloom
        .iter()
        .filter_map(|usual| {
            let date = NaiveDate::from_ymd_opt(2001, usual.month, usual.day)
                .or_else(|| NaiveDate::from_ymd_opt(2001, 2, 28))?;
            let mut instant = season.day(date) as f64 + 0.5;
            let mut square = base(usual.sure).powi(2);
            let same_crop = usual.crop == crop;
            if !same_crop {
                let there = knowledge.crop(&usual.crop)?.bloom_offset.as_ref()?;
                let here = knowledge.crop(crop)?.bloom_offset.as_ref()?;
                instant += here.days - there.days;
                square += here.spread_days.powi(2) + there.spread_days.powi(2);
            }
            let same_cultivar = same_crop && usual.cultivar.as_deref() == cultivar;
            if !same_cultivar {
                let there = group(&usual.crop, usual.cultivar.as_deref());
                match (own_group, there) {
                    (None, None) => {}
                    (here, there) => {
                        instant += here.unwrap_or(0.0) - there.unwrap_or(0.0);
                        square += 4.0;
                    }
                }
            }
            Some(Usual {
                instant,
                spread_days: square.sqrt(),
                from_other_crop: !same_crop,
            })
        })
        .min_by(|a, b| a.spread_days.total_cmp(&b.spread_days))
}
