//! The coming weather as an ensemble: what was seen so far this year, the
//! forecast, and then each of the past years in turn.
//!
//! Every date that hangs on the weather is worked out on each member; the
//! spread of the members is the spread of the date. The idea is that of
//! extended streamflow prediction (Day 1985, J. Water Resour. Plann. Manage.
//! 111, cited at second hand); the steps are those of the bloom ensemble.

use super::spread::{Basis, Spread};
use crate::facts::weather::{DailyRecord, Day, Weather};
use chrono::{Datelike, Days, NaiveDate};

/// Past years that stand in for the coming weather, at most.
const MOST_MEMBERS: usize = 30;

/// Fewest past years that make a spread; with fewer nothing is claimed.
const LEAST_MEMBERS: usize = 3;

/// Days that a calendar year must have known extremes on to be a member.
const COMPLETE_DAYS: usize = 340;

/// Days of a forecast that are taken at face value.
const FORECAST_DAYS: i64 = 7;

/// Weather of the last two and the coming two years, once for each past year.
#[derive(Clone, Debug, PartialEq)]
pub struct Members {
    today: NaiveDate,
    seen_until: Option<NaiveDate>,
    records: Vec<DailyRecord>,
}

impl Members {
    /// Builds the members for the years of `today` and the next; none where
    /// fewer than three complete years are known.
    pub fn new(weather: &Weather, today: NaiveDate) -> Self {
        let seen_until = weather.seen_until();
        let mut members = Members {
            today,
            seen_until,
            records: Vec::new(),
        };
        let Some(daily) = &weather.daily else {
            return members;
        };
        let years = complete_years(daily, today);
        if years.len() < LEAST_MEMBERS {
            return members;
        }
        let first = year_day(today.year() - 1, 1, 1);
        let last = year_day(today.year() + 1, 12, 31);
        let known = known_days(weather, daily, first, today);
        for start in 0..years.len() {
            members
                .records
                .push(member(daily, &years, start, &known, first, last, today));
        }
        members
    }

    /// The day from which on the weather is not seen.
    pub fn today(&self) -> NaiveDate {
        self.today
    }

    /// How many past years stand behind the spread.
    pub fn years(&self) -> usize {
        self.records.len()
    }

    /// The member records, all over the same days.
    pub fn records(&self) -> &[DailyRecord] {
        &self.records
    }

    /// The spread of a date that `find` works out on each member. Members on
    /// which it does not occur are left out; `None` when half or more are.
    pub fn spread(&self, find: impl Fn(&DailyRecord) -> Option<NaiveDate>) -> Option<Spread> {
        let mut days: Vec<NaiveDate> = self.records.iter().filter_map(find).collect();
        if days.is_empty() || days.len() * 2 <= self.records.len() {
            return None;
        }
        let spread = Spread::of_days(&mut days, Basis::PastYears)?;
        Some(Spread {
            basis: self.basis(spread),
            ..spread
        })
    }

    /// What a spread rests on: seen when it is one day that is over, this
    /// year's weather when the season is on, past years otherwise.
    fn basis(&self, spread: Spread) -> Basis {
        let seen = self.seen_until.is_some_and(|seen| spread.late <= seen);
        let near = (spread.middle - self.today).num_days() <= 60;
        if seen && spread.early == spread.late {
            Basis::Seen
        } else if near && spread.middle.year() == self.today.year() {
            Basis::Forecast
        } else {
            Basis::PastYears
        }
    }
}

/// A day that surely exists, or the end of the calendar.
fn year_day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap_or(NaiveDate::MAX)
}

/// The last complete calendar years before `today`'s, at most
/// [`MOST_MEMBERS`].
fn complete_years(daily: &DailyRecord, today: NaiveDate) -> Vec<i32> {
    let mut years: Vec<i32> = daily
        .years()
        .filter(|&year| year < today.year())
        .filter(|&year| {
            let from = daily.index(year_day(year, 1, 1));
            let Some(from) = from else { return false };
            (from..from + 366)
                .filter(|&index| {
                    daily.low_c.get(index).is_some() && daily.high_c.get(index).is_some()
                })
                .count()
                >= COMPLETE_DAYS
        })
        .collect();
    let extra = years.len().saturating_sub(MOST_MEMBERS);
    years.drain(..extra);
    years
}

/// Seen days from `first` on and the near forecast days after them.
fn known_days(
    weather: &Weather,
    daily: &DailyRecord,
    first: NaiveDate,
    today: NaiveDate,
) -> Vec<Day> {
    let mut known: Vec<Day> = daily
        .days()
        .filter(|day| day.date >= first && day.date < today)
        .collect();
    if let Some(forecast) = &weather.forecast {
        // Of an older forecast fewer days are left to be believed; what was
        // not seen since stands as it was forecast.
        let until = forecast.issued + Days::new(FORECAST_DAYS as u64 - 1);
        let after = known
            .iter()
            .rfind(|day| day.low_c.is_some() && day.high_c.is_some())
            .map_or(first, |day| day.date + Days::new(1));
        known.extend(
            forecast
                .daily
                .days()
                .filter(|day| day.date >= after && day.date <= until),
        );
    }
    known
}

/// One member: a past year, and the years after it, on the days of the target
/// years; then what is known written over it.
fn member(
    daily: &DailyRecord,
    years: &[i32],
    start: usize,
    known: &[Day],
    first: NaiveDate,
    last: NaiveDate,
    today: NaiveDate,
) -> DailyRecord {
    let len = usize::try_from((last - first).num_days() + 1).unwrap_or(0);
    let mut record = DailyRecord::unknown(first, len);
    for index in 0..len {
        let date = record.date(index);
        let step = i64::from(date.year() - today.year()) + start as i64;
        let year = years[step.rem_euclid(years.len() as i64) as usize];
        let past = NaiveDate::from_ymd_opt(year, date.month(), date.day())
            .unwrap_or_else(|| year_day(year, 2, 28));
        if let Some(day) = daily.day(past) {
            record.put(Day { date, ..day });
        }
    }
    for day in known {
        if day.low_c.is_some() && day.high_c.is_some() {
            record.put(*day);
        }
    }
    record
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).unwrap()
    }

    /// Years whose every low is the year's last two digits.
    fn weather(from: i32, to: NaiveDate) -> Weather {
        let mut days = Vec::new();
        let mut day = date(from, 1, 1);
        while day < to {
            let low = f64::from(day.year() % 100);
            days.push(Day {
                date: day,
                low_c: Some(low),
                high_c: Some(low + 5.0),
                rain_mm: None,
            });
            day = day.succ_opt().unwrap();
        }
        Weather {
            daily: DailyRecord::from_days(&days),
            ..Weather::default()
        }
    }

    #[test]
    fn what_was_seen_stands_in_every_member() {
        let today = date(2024, 3, 1);
        let members = Members::new(&weather(2010, today), today);
        assert_eq!(members.years(), 14);
        for record in members.records() {
            assert_eq!(record.day(date(2024, 2, 29)).unwrap().low_c, Some(24.0));
            assert_ne!(record.day(date(2024, 3, 1)).unwrap().low_c, Some(24.0));
            assert!(record.day(date(2025, 12, 31)).unwrap().low_c.is_some());
        }
    }

    #[test]
    fn two_years_are_too_few() {
        let today = date(2024, 3, 1);
        assert_eq!(Members::new(&weather(2022, today), today).years(), 0);
        assert_eq!(Members::new(&Weather::default(), today).years(), 0);
    }
}
