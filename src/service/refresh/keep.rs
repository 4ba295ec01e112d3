//! What a source saw is screened, corrected to the height of the place, and
//! kept under its name.

use super::Refreshed;
use crate::facts::place::Place;
use crate::facts::weather::{Day, Hour};
use crate::sources::{Note, Part, elevation};
use crate::store::StoreError;
use crate::store::weather::{Origin, WeatherStore};

/// A temperature that leaps so far from both of its neighbours, an hour
/// before and after, and back, is a slip of the instrument, °C (our
/// judgement: fronts move one side only).
const LEAP_C: f64 = 12.0;

/// Keeps a part.
pub(super) fn part(
    store: &mut WeatherStore,
    source: &str,
    mut part: Part,
    place: &Place,
    done: &mut Refreshed,
) -> Result<(), StoreError> {
    let leaps = without_leaps(&mut part.hours);
    if leaps > 0 {
        let dates = part.hours.first().zip(part.hours.last());
        if let Some((first, last)) = dates {
            rebuild_days(
                &mut part.days,
                &part.hours,
                first.start.date(),
                last.start.date(),
            );
        }
    }
    let reversed = without_reversed(&mut part.days);
    elevation::correct(&mut part, place.elevation_m);
    let origin = Origin {
        source,
        issued: part.issued,
    };
    let days = store.put_days(origin, &part.days)?;
    let hours = store.put_hours(origin, &part.hours)?;
    for note in &part.notes {
        remember(store, source, note)?;
    }
    done.new_days += days.new;
    done.new_hours += hours.new;
    done.corrected += days.corrected + hours.corrected;
    done.left += leaps
        + reversed
        + days.impossible
        + hours.impossible
        + part.left.impossible
        + part.left.flagged;
    Ok(())
}

/// What the keeper should know of a source stays in the store.
fn remember(store: &mut WeatherStore, source: &str, note: &Note) -> Result<(), StoreError> {
    match note {
        Note::MorningReadings { at, days } => {
            store.remember(&format!("morning {source}"), &format!("{at} {days}"))
        }
        Note::FartherStation { station, metres } => {
            let far = metres.map_or_else(String::new, |metres| metres.to_string());
            store.remember(&format!("farther {source}"), &format!("{station} {far}"))
        }
    }
}

/// Takes out single temperatures that leap away and back; says how many.
fn without_leaps(hours: &mut [Hour]) -> usize {
    let leaps: Vec<usize> = hours
        .windows(3)
        .enumerate()
        .filter_map(|(index, window)| {
            let [before, middle, after] = window else {
                return None;
            };
            let hour = chrono::TimeDelta::hours(1);
            let (a, b, c) = (
                before.temperature_c?,
                middle.temperature_c?,
                after.temperature_c?,
            );
            let close = middle.start - before.start == hour && after.start - middle.start == hour;
            let (up, down) = (b - a, b - c);
            let leaps = up.abs() > LEAP_C && down.abs() > LEAP_C && up.signum() == down.signum();
            (close && leaps).then_some(index + 1)
        })
        .collect();
    for index in &leaps {
        if let Some(hour) = hours.get_mut(*index) {
            hour.temperature_c = None;
            hour.dew_point_c = None;
            hour.humidity_pct = None;
        }
    }
    leaps.len()
}

/// Days made from the hours anew, where those had slips.
fn rebuild_days(
    days: &mut [Day],
    hours: &[Hour],
    first: chrono::NaiveDate,
    last: chrono::NaiveDate,
) {
    let made = crate::sources::csv_file::days_from_hours(hours);
    for day in days
        .iter_mut()
        .filter(|day| (first..=last).contains(&day.date))
    {
        if let Some(anew) = made.iter().find(|anew| anew.date == day.date) {
            day.low_c = anew.low_c;
            day.high_c = anew.high_c;
        }
    }
}

/// A high below the low says that one of both is wrong: neither is kept.
fn without_reversed(days: &mut [Day]) -> usize {
    let mut left = 0;
    for day in days {
        if let (Some(low), Some(high)) = (day.low_c, day.high_c)
            && low > high
        {
            (day.low_c, day.high_c) = (None, None);
            left += 2;
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leap_goes_and_a_front_stays() {
        let start: chrono::NaiveDateTime = "2026-04-20T00:00:00".parse().unwrap();
        let hour = |at: i64, c: f64| Hour {
            start: start + chrono::TimeDelta::hours(at),
            temperature_c: Some(c),
            dew_point_c: None,
            humidity_pct: None,
            rain_mm: Some(0.2),
            wind_m_s: None,
        };
        let mut leap: Vec<Hour> = [5.0, 4.5, 31.0, 4.0]
            .iter()
            .zip(0..)
            .map(|(c, at)| hour(at, *c))
            .collect();
        assert_eq!(without_leaps(&mut leap), 1);
        assert_eq!(leap[2].temperature_c, None);
        assert_eq!(leap[2].rain_mm, Some(0.2));
        let mut front: Vec<Hour> = [20.0, 19.0, 5.0, 4.0]
            .iter()
            .zip(0..)
            .map(|(c, at)| hour(at, *c))
            .collect();
        assert_eq!(without_leaps(&mut front), 0);
    }
}
