//! What the keeper's notes make of register and weather: trees planted and
//! taken out, rain of the gauge. The files and the kept weather stay as they
//! are; taken back, a note leaves no trace.

use super::Facts;
use super::journal::{Journal, Noted, Planting, Removal};
use super::knowledge::cultivar_key;
use super::register::{Planted, Register, Status, Tree};
use super::weather::{OwnRain, Weather};
use chrono::{Datelike, NaiveDate, NaiveTime, TimeDelta};
use std::collections::BTreeMap;

/// Days by which rain of the gauge may lie behind the last day of the record
/// to be counted (our choice: longer without a record there is more amiss).
const BEYOND_RECORD_DAYS: i64 = 60;

impl Facts {
    /// The facts with what their journal says of plantings, removals and rain,
    /// as known on a day. Doing it again changes nothing.
    pub fn heed_notes(&mut self, today: NaiveDate) {
        self.register = register(&self.filed, &self.journal);
        rain(&mut self.weather, &self.journal, today);
    }
}

/// The register of the file with the plantings and removals of a journal.
pub fn register(filed: &Register, journal: &Journal) -> Register {
    let mut register = filed.clone();
    for planting in &journal.plantings {
        plant(&mut register, planting);
    }
    for removal in &journal.removals {
        for tree in &mut register.trees {
            if is_about(removal, tree) {
                tree.status = Status::Removed;
            }
        }
        let gone = |id: &String| removal.trees.contains(id);
        register.junipers.retain(|juniper| !gone(&juniper.id));
    }
    register
}

/// Whether a removal is about a tree, and not about the one that stood there
/// before it and had its name. Of one planted in the year of the removal, day
/// unknown, it is not: a successor without work would be the greater harm.
pub fn is_about(removal: &Noted<Removal>, tree: &Tree) -> bool {
    let before = match tree.planted {
        None => true,
        Some(Planted::Day(day)) => day <= removal.date,
        Some(Planted::Year(year)) => year < removal.date.year(),
    };
    before && removal.trees.contains(&tree.id)
}

/// Enters the trees of a planting that the register does not have; of one that
/// it has without a date, the date.
fn plant(register: &mut Register, planting: &Noted<Planting>) {
    let Some(crop) = &planting.crop else {
        return;
    };
    let mut new = 0;
    for id in &planting.trees {
        let same = |known: &String| known.eq_ignore_ascii_case(id);
        if let Some(tree) = register.trees.iter_mut().find(|tree| same(&tree.id)) {
            if tree.planted.is_none() && tree.crop == *crop {
                tree.planted = Some(Planted::Day(planting.date));
            }
            continue;
        }
        if register.junipers.iter().any(|juniper| same(&juniper.id)) {
            continue;
        }
        let (row, spot) = spot_of(register, id);
        // One name stands for all that were planted under it.
        let count = match planting.trees.as_slice() {
            [_] => planting.what.count.max(1),
            _ => 1,
        };
        new += count;
        register.trees.push(Tree {
            id: id.clone(),
            crop: crop.clone(),
            cultivar: planting.what.cultivar.clone(),
            rootstock: None,
            planted: Some(Planted::Day(planting.date)),
            row,
            spot,
            count,
            status: Status::Healthy,
            notes: planting.note.clone(),
        });
    }
    grant(register, crop, planting.what.cultivar.as_deref(), new);
}

/// What was planted is no longer wanted: first the wish of the same cultivar,
/// then one that names none.
fn grant(register: &mut Register, crop: &str, cultivar: Option<&str>, planted: u32) {
    let mut left = planted;
    let key = cultivar.map(cultivar_key);
    for named in [true, false] {
        for wish in register.wanted.iter_mut().filter(|wish| wish.crop == crop) {
            let own = wish.cultivar.as_deref().map(cultivar_key);
            let fits = if named {
                own.is_some() && own == key
            } else {
                own.is_none()
            };
            if fits {
                let met = left.min(wish.count);
                wish.count -= met;
                left -= met;
            }
        }
    }
    register.wanted.retain(|wish| wish.count > 0);
}

/// The letters before a name's number, and the number: `A` and 7 of `A7`.
pub fn parts_of(id: &str) -> Option<(&str, u32)> {
    let letters = id.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = id.get(letters.len()..)?.parse().ok()?;
    Some((letters, number))
}

/// Row and spot of a name, where names of the same letters stand in one row.
fn spot_of(register: &Register, id: &str) -> (Option<String>, Option<u32>) {
    let Some((letters, number)) = parts_of(id) else {
        return (None, None);
    };
    let kin = register.trees.iter().filter(|tree| {
        parts_of(&tree.id).is_some_and(|(own, _)| own.eq_ignore_ascii_case(letters))
    });
    let mut rows: Vec<&str> = kin.filter_map(|tree| tree.row.as_deref()).collect();
    rows.sort_unstable();
    rows.dedup();
    match rows[..] {
        [row] => (Some(row.to_owned()), Some(number)),
        _ => (None, None),
    }
}

/// Puts the rain of the keeper's gauge in the place of the record's. Readings
/// of one day add up; those of several gauges, told apart by the trees they
/// stand at, are averaged. The hours of the day keep their course.
fn rain(weather: &mut Weather, journal: &Journal, today: NaiveDate) {
    let mut days: BTreeMap<NaiveDate, BTreeMap<&[String], f64>> = BTreeMap::new();
    for read in journal.rain.iter().filter(|read| read.date <= today) {
        let gauges = days.entry(read.date).or_default();
        *gauges.entry(&read.trees).or_default() += read.what.rain_mm;
    }
    let before = std::mem::take(&mut weather.own_rain);
    for (date, gauges) in days {
        let rain_mm = gauges.values().sum::<f64>() / gauges.len().max(1) as f64;
        let known = before.iter().find(|own| own.date == date);
        let record_mm = match known {
            Some(known) => known.record_mm,
            None => weather
                .daily
                .as_ref()
                .and_then(|daily| daily.day(date)?.rain_mm),
        };
        if put(weather, date, rain_mm) {
            weather.own_rain.push(OwnRain {
                date,
                rain_mm,
                record_mm,
            });
            hours(weather, date, rain_mm);
        }
    }
}

/// Sets the rain of a day; whether there was a record to set it in.
fn put(weather: &mut Weather, date: NaiveDate, rain_mm: f64) -> bool {
    let Some(daily) = &mut weather.daily else {
        return false;
    };
    let Some(last) = daily.last() else {
        return false;
    };
    let beyond = (date - last).num_days();
    if (1..=BEYOND_RECORD_DAYS).contains(&beyond) {
        (0..beyond).for_each(|_| daily.push(None, None, None));
    }
    let Some(index) = daily.index(date) else {
        return false;
    };
    daily.rain_mm.set(index, Some(rain_mm));
    true
}

/// Brings the hours of a day to its rain, where the record knows any in it.
fn hours(weather: &mut Weather, date: NaiveDate, rain_mm: f64) {
    let Some(hourly) = &mut weather.hourly else {
        return;
    };
    let midnight = date.and_time(NaiveTime::MIN);
    let own: Vec<usize> = (0..24)
        .filter_map(|hour| hourly.index(midnight + TimeDelta::hours(hour)))
        .collect();
    let sum: f64 = own.iter().filter_map(|at| hourly.rain_mm.get(*at)).sum();
    if sum <= 0.0 {
        return;
    }
    for at in own {
        let mm = hourly.rain_mm.get(at);
        hourly.rain_mm.set(at, mm.map(|mm| mm / sum * rain_mm));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::journal::RainRead;
    use crate::facts::knowledge::Stock;
    use crate::facts::register::Wanted;
    use crate::facts::weather::{DailyRecord, Day, Hour, HourlyRecord};

    fn date(m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, m, d).unwrap()
    }

    fn tree(id: &str, planted: Option<Planted>) -> Tree {
        Tree {
            id: id.to_owned(),
            crop: "apple".to_owned(),
            cultivar: None,
            rootstock: None,
            planted,
            row: Some("A".to_owned()),
            spot: None,
            count: 1,
            status: Status::Healthy,
            notes: None,
        }
    }

    fn noted<T>(date: NaiveDate, trees: &[&str], what: T) -> Noted<T> {
        Noted {
            date,
            trees: trees.iter().map(|id| (*id).to_owned()).collect(),
            crop: Some("apple".to_owned()),
            note: None,
            what,
        }
    }

    fn planting(count: u32) -> Planting {
        Planting {
            cultivar: Some("Liberty".to_owned()),
            count,
        }
    }

    #[test]
    fn plantings_and_removals_enter_the_register() {
        let wish = |cultivar: Option<&str>| Wanted {
            crop: "apple".to_owned(),
            cultivar: cultivar.map(str::to_owned),
            count: 2,
            stock: Stock::BareRoot,
        };
        let filed = Register {
            trees: vec![
                tree("A1", Some(Planted::Year(2010))),
                tree("A2", Some(Planted::Year(2026))),
                tree("A3", Some(Planted::Day(date(4, 1)))),
                tree("A4", None),
            ],
            junipers: Vec::new(),
            wanted: vec![wish(None), wish(Some("liberty"))],
        };
        let mut journal = Journal {
            plantings: vec![noted(date(4, 20), &["A8", "A9", "A4", "A1"], planting(3))],
            removals: vec![noted(
                date(3, 2),
                &["A1", "A2", "A3"],
                Removal { reason: None },
            )],
            ..Journal::default()
        };
        let found = register(&filed, &journal);
        let status: Vec<&str> = found.trees.iter().map(|tree| tree.status.word()).collect();
        // A2 and A3 came after the removal.
        assert_eq!(
            status,
            [
                "removed", "healthy", "healthy", "healthy", "healthy", "healthy"
            ]
        );
        let last = found.trees.last().unwrap();
        assert_eq!(
            (last.id.as_str(), last.count, last.spot),
            ("A9", 1, Some(9))
        );
        assert_eq!(last.row.as_deref(), Some("A"));
        assert_eq!(last.planted, Some(Planted::Day(date(4, 20))));
        assert_eq!(found.trees[3].planted, Some(Planted::Day(date(4, 20))));
        assert_eq!(found.trees[0].planted, Some(Planted::Year(2010)));
        // Two of the three wishes of the cultivar are met.
        assert_eq!(found.wanted, [wish(None)]);
        journal.plantings[0].trees = vec!["A8".to_owned()];
        let found = register(&filed, &journal);
        assert_eq!(found.trees.last().unwrap().count, 3);
        assert_eq!(found.wanted.len(), 1);
        assert_eq!(found.wanted[0].count, 1);
        assert_eq!(register(&filed, &Journal::default()), filed);
    }

    #[test]
    fn the_gauge_goes_before_the_record_and_keeps_its_figure() {
        let day = |date, rain_mm| Day {
            date,
            low_c: Some(4.0),
            high_c: Some(9.0),
            rain_mm,
        };
        let hour = |h: u32, rain_mm| Hour {
            start: date(4, 1).and_hms_opt(h, 0, 0).unwrap(),
            temperature_c: None,
            dew_point_c: None,
            humidity_pct: None,
            rain_mm,
            wind_m_s: None,
        };
        let plain = Weather {
            daily: DailyRecord::from_days(&[day(date(4, 1), Some(8.0)), day(date(4, 2), None)]),
            hourly: HourlyRecord::from_hours(&[
                hour(3, Some(6.0)),
                hour(4, Some(2.0)),
                hour(5, None),
            ]),
            ..Weather::default()
        };
        let read = |d, trees: &[&str], rain_mm| noted(date(4, d), trees, RainRead { rain_mm });
        let journal = Journal {
            rain: vec![
                read(1, &[], 3.0),
                read(1, &[], 1.0),
                read(2, &["A1"], 2.0),
                read(2, &["A2"], 4.0),
                read(4, &[], 5.0),
                read(9, &[], 5.0),
            ],
            ..Journal::default()
        };
        let mut weather = plain.clone();
        for _ in 0..2 {
            rain(&mut weather, &journal, date(4, 5));
            let daily = weather.daily.as_ref().unwrap();
            let rain: Vec<Option<f64>> = daily.rain_mm.iter().collect();
            assert_eq!(rain, [Some(4.0), Some(3.0), None, Some(5.0)]);
            assert_eq!(weather.seen_until(), Some(date(4, 2)));
            let hourly = weather.hourly.as_ref().unwrap();
            let rain: Vec<Option<f64>> = hourly.rain_mm.iter().collect();
            assert_eq!(rain, [Some(3.0), Some(1.0), None]);
            let own: Vec<Option<f64>> = weather.own_rain.iter().map(|own| own.record_mm).collect();
            assert_eq!(own, [Some(8.0), None, None]);
        }
        let mut none = Weather::default();
        rain(&mut none, &journal, date(4, 5));
        assert_eq!(none, Weather::default());
    }
}
