//! The weather of the place, by day and by hour.
//!
//! Days are local calendar days. Hours are local **standard** time all year,
//! so that no hour is missing or doubled when clocks change. A value that is
//! not known is never a zero: it is NaN inside a [`Column`] and `None`
//! outside.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc};

/// Single precision of [`Column`] rounds stored rain by less than this, mm.
const RAIN_SLACK_MM: f64 = 1e-4;

/// Whether rain reaches a need, both mm, within the rounding of stored rain: an
/// inch of the gauge is an inch. Not a number reaches nothing.
pub fn rain_reaches(rain_mm: f64, need_mm: f64) -> bool {
    rain_mm >= need_mm - RAIN_SLACK_MM
}

/// Values in a row without gaps in their index; unknown ones are NaN.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column(Vec<f32>);

impl Column {
    /// A column of `len` unknown values.
    pub fn unknown(len: usize) -> Self {
        Column(vec![f32::NAN; len])
    }

    /// The value at an index, if it is known.
    pub fn get(&self, index: usize) -> Option<f64> {
        self.0
            .get(index)
            .filter(|value| value.is_finite())
            .map(|&value| f64::from(value))
    }

    /// Sets a value; an index beyond the end is ignored.
    pub fn set(&mut self, index: usize, value: Option<f64>) {
        if let Some(slot) = self.0.get_mut(index) {
            *slot = value.map_or(f32::NAN, |value| value as f32);
        }
    }

    /// Appends a value.
    pub fn push(&mut self, value: Option<f64>) {
        self.0.push(value.map_or(f32::NAN, |value| value as f32));
    }

    /// How many values there are, known or not.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is no value at all.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Keeps the first `len` values.
    pub fn truncate(&mut self, len: usize) {
        self.0.truncate(len);
    }

    /// All values in order.
    pub fn iter(&self) -> impl Iterator<Item = Option<f64>> + '_ {
        (0..self.0.len()).map(|index| self.get(index))
    }

    /// How many values are known.
    pub fn known(&self) -> usize {
        self.0.iter().filter(|value| value.is_finite()).count()
    }
}

impl FromIterator<Option<f64>> for Column {
    fn from_iter<I: IntoIterator<Item = Option<f64>>>(values: I) -> Self {
        let values = values.into_iter();
        Column(
            values
                .map(|value| value.map_or(f32::NAN, |value| value as f32))
                .collect(),
        )
    }
}

/// One local day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// The local calendar day.
    pub date: NaiveDate,
    /// Lowest temperature, °C.
    pub low_c: Option<f64>,
    /// Highest temperature, °C.
    pub high_c: Option<f64>,
    /// Rain and melted snow, mm.
    pub rain_mm: Option<f64>,
}

/// Consecutive local days, all columns of one length.
#[derive(Clone, Debug, PartialEq)]
pub struct DailyRecord {
    first: NaiveDate,
    /// Lowest temperature of each day, °C.
    pub low_c: Column,
    /// Highest temperature of each day, °C.
    pub high_c: Column,
    /// Rain of each day, mm.
    pub rain_mm: Column,
}

impl DailyRecord {
    /// A record of `len` unknown days from `first` on.
    pub fn unknown(first: NaiveDate, len: usize) -> Self {
        DailyRecord {
            first,
            low_c: Column::unknown(len),
            high_c: Column::unknown(len),
            rain_mm: Column::unknown(len),
        }
    }

    /// Days in any order, gaps left unknown; of a day given twice the later
    /// one stands. `None` when there is no day.
    pub fn from_days(days: &[Day]) -> Option<Self> {
        let first = days.iter().map(|day| day.date).min()?;
        let last = days.iter().map(|day| day.date).max()?;
        let len = usize::try_from((last - first).num_days()).ok()? + 1;
        let mut record = DailyRecord::unknown(first, len);
        for day in days {
            record.put(*day);
        }
        Some(record)
    }

    /// The first day.
    pub fn first(&self) -> NaiveDate {
        self.first
    }

    /// The last day, known or not.
    pub fn last(&self) -> Option<NaiveDate> {
        self.len().checked_sub(1).map(|index| self.date(index))
    }

    /// How many days the record spans.
    pub fn len(&self) -> usize {
        self.low_c.len()
    }

    /// Whether it spans no day.
    pub fn is_empty(&self) -> bool {
        self.low_c.is_empty()
    }

    /// The day at an index.
    pub fn date(&self, index: usize) -> NaiveDate {
        self.first
            .checked_add_days(Days::new(index as u64))
            .unwrap_or(NaiveDate::MAX)
    }

    /// The index of a day, if the record spans it.
    pub fn index(&self, date: NaiveDate) -> Option<usize> {
        usize::try_from((date - self.first).num_days())
            .ok()
            .filter(|&index| index < self.len())
    }

    /// One day, if the record spans it.
    pub fn day(&self, date: NaiveDate) -> Option<Day> {
        self.index(date).map(|index| self.at(index))
    }

    /// The day at an index; unknown values beyond the end.
    pub fn at(&self, index: usize) -> Day {
        Day {
            date: self.date(index),
            low_c: self.low_c.get(index),
            high_c: self.high_c.get(index),
            rain_mm: self.rain_mm.get(index),
        }
    }

    /// All days in order.
    pub fn days(&self) -> impl Iterator<Item = Day> + '_ {
        (0..self.len()).map(|index| self.at(index))
    }

    /// Overwrites a day that the record spans; others are ignored.
    pub fn put(&mut self, day: Day) {
        if let Some(index) = self.index(day.date) {
            self.low_c.set(index, day.low_c);
            self.high_c.set(index, day.high_c);
            self.rain_mm.set(index, day.rain_mm);
        }
    }

    /// Appends the day after the last one.
    pub fn push(&mut self, low_c: Option<f64>, high_c: Option<f64>, rain_mm: Option<f64>) {
        self.low_c.push(low_c);
        self.high_c.push(high_c);
        self.rain_mm.push(rain_mm);
    }

    /// Forgets everything after `last`.
    pub fn cut_after(&mut self, last: NaiveDate) {
        let keep = usize::try_from((last - self.first).num_days() + 1).unwrap_or(0);
        self.low_c.truncate(keep);
        self.high_c.truncate(keep);
        self.rain_mm.truncate(keep);
    }

    /// The calendar years that the record touches.
    pub fn years(&self) -> std::ops::RangeInclusive<i32> {
        self.first.year()
            ..=self
                .last()
                .map_or(self.first.year() - 1, |last| last.year())
    }
}

/// One hour in local standard time. Temperature, dew point, humidity and wind
/// hold at the stamp; rain fell in the hour that begins there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hour {
    /// Start of the hour, local standard time.
    pub start: NaiveDateTime,
    /// Air temperature, °C.
    pub temperature_c: Option<f64>,
    /// Dew point, °C.
    pub dew_point_c: Option<f64>,
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// Rain, mm.
    pub rain_mm: Option<f64>,
    /// Wind speed at 10 m, m/s.
    pub wind_m_s: Option<f64>,
}

/// Consecutive hours in local standard time, all columns of one length.
#[derive(Clone, Debug, PartialEq)]
pub struct HourlyRecord {
    first: NaiveDateTime,
    /// Air temperature, °C.
    pub temperature_c: Column,
    /// Dew point, °C.
    pub dew_point_c: Column,
    /// Relative humidity, %.
    pub humidity_pct: Column,
    /// Rain in the hour, mm.
    pub rain_mm: Column,
    /// Wind speed, m/s.
    pub wind_m_s: Column,
}

impl HourlyRecord {
    /// A record of `len` unknown hours from `first` on.
    pub fn unknown(first: NaiveDateTime, len: usize) -> Self {
        HourlyRecord {
            first,
            temperature_c: Column::unknown(len),
            dew_point_c: Column::unknown(len),
            humidity_pct: Column::unknown(len),
            rain_mm: Column::unknown(len),
            wind_m_s: Column::unknown(len),
        }
    }

    /// Hours in any order, gaps left unknown; of an hour given twice the later
    /// one stands. Starts must be whole hours apart. `None` without an hour.
    pub fn from_hours(hours: &[Hour]) -> Option<Self> {
        let first = hours.iter().map(|hour| hour.start).min()?;
        let last = hours.iter().map(|hour| hour.start).max()?;
        let len = usize::try_from((last - first).num_hours()).ok()? + 1;
        let mut record = HourlyRecord::unknown(first, len);
        for hour in hours {
            record.put(*hour);
        }
        Some(record)
    }

    /// The first hour.
    pub fn first(&self) -> NaiveDateTime {
        self.first
    }

    /// How many hours the record spans.
    pub fn len(&self) -> usize {
        self.temperature_c.len()
    }

    /// Whether it spans no hour.
    pub fn is_empty(&self) -> bool {
        self.temperature_c.is_empty()
    }

    /// The start of the hour at an index.
    pub fn start(&self, index: usize) -> NaiveDateTime {
        self.first + TimeDelta::hours(index as i64)
    }

    /// The index of the hour that begins at `start`, if the record spans it.
    pub fn index(&self, start: NaiveDateTime) -> Option<usize> {
        usize::try_from((start - self.first).num_hours())
            .ok()
            .filter(|&index| index < self.len())
    }

    /// The hour at an index; unknown values beyond the end.
    pub fn at(&self, index: usize) -> Hour {
        Hour {
            start: self.start(index),
            temperature_c: self.temperature_c.get(index),
            dew_point_c: self.dew_point_c.get(index),
            humidity_pct: self.humidity_pct.get(index),
            rain_mm: self.rain_mm.get(index),
            wind_m_s: self.wind_m_s.get(index),
        }
    }

    /// All hours in order.
    pub fn hours(&self) -> impl Iterator<Item = Hour> + '_ {
        (0..self.len()).map(|index| self.at(index))
    }

    /// Overwrites an hour that the record spans; others are ignored.
    pub fn put(&mut self, hour: Hour) {
        if let Some(index) = self.index(hour.start) {
            self.temperature_c.set(index, hour.temperature_c);
            self.dew_point_c.set(index, hour.dew_point_c);
            self.humidity_pct.set(index, hour.humidity_pct);
            self.rain_mm.set(index, hour.rain_mm);
            self.wind_m_s.set(index, hour.wind_m_s);
        }
    }

    /// Forgets everything that begins at or after `end`.
    pub fn cut_from(&mut self, end: NaiveDateTime) {
        let keep = usize::try_from((end - self.first).num_hours()).unwrap_or(0);
        for column in [
            &mut self.temperature_c,
            &mut self.dew_point_c,
            &mut self.humidity_pct,
            &mut self.rain_mm,
            &mut self.wind_m_s,
        ] {
            column.truncate(keep);
        }
    }
}

/// What was seen and what is forecast, side by side: a forecast is never kept
/// as seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Weather {
    /// Days that were measured.
    pub daily: Option<DailyRecord>,
    /// Hours that were measured.
    pub hourly: Option<HourlyRecord>,
    /// The coming days, if a forecast is at hand.
    pub forecast: Option<Forecast>,
    /// Until when hours of the day itself count as seen, local standard time;
    /// without it a day's own hours are not looked at.
    pub seen_to: Option<NaiveDateTime>,
    /// Warnings of cold that hold.
    pub alerts: Vec<Alert>,
    /// The day of issue of a forecast that was too old to be used.
    pub forecast_given_up: Option<NaiveDate>,
    /// What has to stand where this weather is shown, a sentence each.
    pub credits: Vec<String>,
    /// Days whose rain is the keeper's own, in their order.
    pub own_rain: Vec<OwnRain>,
}

/// Rain of the keeper's gauge in the place of the record's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnRain {
    /// The day.
    pub date: NaiveDate,
    /// What the gauge held, mm.
    pub rain_mm: f64,
    /// What the record has of that day, mm, if anything.
    pub record_mm: Option<f64>,
}

/// The coming days as somebody forecast them.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// The day on which it was issued.
    pub issued: NaiveDate,
    /// Its days, the first one usually the day of issue.
    pub daily: DailyRecord,
    /// Its hours, if it has any.
    pub hourly: Option<HourlyRecord>,
    /// Who issued it, for the keeper to read.
    pub source: String,
}

/// A warning of cold, as the weather service words it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alert {
    /// The same for all messages on one event: office, kind, number, year.
    pub key: String,
    /// What kind it is.
    pub kind: AlertKind,
    /// The service's name for it, such as `Freeze Warning`.
    pub event: String,
    /// When the cold begins.
    pub begins: DateTime<Utc>,
    /// When it ends.
    pub ends: DateTime<Utc>,
    /// When this message was sent.
    pub sent: DateTime<Utc>,
    /// The headline.
    pub headline: String,
    /// Who issued it.
    pub office: String,
}

/// The kinds of warnings that matter to blossoms and fruit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum AlertKind {
    /// Frost is likely.
    FrostAdvisory,
    /// A freeze is possible.
    FreezeWatch,
    /// A freeze is coming or there.
    FreezeWarning,
    /// Cold that endangers people; plants long before.
    Cold,
}

/// Days after which a forecast is no longer used (our judgement: what is left
/// of it then says little more than past years).
pub const FORECAST_DAYS_USED: i64 = 4;

/// Hours from which a day so far is told (our choice: the night and the
/// sunrise after it).
const DAY_SO_FAR_HOURS: usize = 4;

impl Forecast {
    /// How many days ago it was issued.
    pub fn days_old(&self, today: NaiveDate) -> i64 {
        (today - self.issued).num_days()
    }
}

impl Weather {
    /// The day itself as far as its hours were seen: lowest, highest and rain
    /// so far. `None` before [`seen_to`](Self::seen_to) says that any count.
    pub fn so_far(&self, today: NaiveDate) -> Option<Day> {
        let hourly = self.hourly.as_ref()?;
        let seen_to = self.seen_to.filter(|until| until.date() == today)?;
        let midnight = today.and_time(chrono::NaiveTime::MIN);
        let hours = usize::try_from((seen_to - midnight).num_hours()).ok()?;
        let seen: Vec<Hour> = (0..hours as i64)
            .filter_map(|at| hourly.index(midnight + TimeDelta::hours(at)))
            .map(|index| hourly.at(index))
            .collect();
        let known = || seen.iter().filter_map(|hour| hour.temperature_c);
        if known().count() < DAY_SO_FAR_HOURS {
            return None;
        }
        Some(Day {
            date: today,
            low_c: known().reduce(f64::min),
            high_c: known().reduce(f64::max),
            rain_mm: seen
                .iter()
                .filter_map(|hour| hour.rain_mm)
                .reduce(|a, b| a + b),
        })
    }

    /// The weather as it was known on the morning of `today`: days before it
    /// seen, a forecast kept only if it had been issued by then and not more
    /// than [`FORECAST_DAYS_USED`] days before. Hours of
    /// `today` itself stay up to [`seen_to`](Self::seen_to), if that lies in
    /// it: a day in the past is looked at without what came later.
    pub fn as_of(&self, today: NaiveDate) -> Weather {
        let mut known = self.clone();
        if let Some(daily) = &mut known.daily {
            daily.cut_after(today - Days::new(1));
        }
        known.daily = known.daily.filter(|daily| !daily.is_empty());
        if let Some(hourly) = &mut known.hourly {
            let midnight = today.and_time(chrono::NaiveTime::MIN);
            let until = known.seen_to.filter(|until| until.date() == today);
            hourly.cut_from(until.unwrap_or(midnight));
        }
        known.seen_to = known.seen_to.filter(|until| until.date() == today);
        if known.seen_to.is_none() {
            // Of a morning; at a moment of the day they were chosen by it.
            let by = |alert: &Alert| alert.sent.date_naive() <= today;
            known.alerts.retain(by);
        }
        known.hourly = known.hourly.filter(|hourly| !hourly.is_empty());
        known.forecast = known.forecast.filter(|forecast| forecast.issued <= today);
        if let Some(old) = known
            .forecast
            .take_if(|forecast| forecast.days_old(today) > FORECAST_DAYS_USED)
        {
            known.forecast_given_up = Some(old.issued);
        }
        known
    }

    /// The last day whose extremes were seen.
    pub fn seen_until(&self) -> Option<NaiveDate> {
        let daily = self.daily.as_ref()?;
        (0..daily.len())
            .rev()
            .find(|&index| daily.low_c.get(index).is_some() && daily.high_c.get(index).is_some())
            .map(|index| daily.date(index))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).unwrap()
    }

    fn day(date: NaiveDate, low: f64, high: f64) -> Day {
        Day {
            date,
            low_c: Some(low),
            high_c: Some(high),
            rain_mm: None,
        }
    }

    #[test]
    fn an_inch_of_the_gauge_is_an_inch() {
        let inch = f64::from(25.4_f32);
        assert!(inch < 25.4, "single precision stores it a little short");
        assert!(rain_reaches(inch, 25.4));
        assert!(rain_reaches(f64::from(30.48_f32), 30.48));
        assert!(!rain_reaches(25.39, 25.4));
        assert!(!rain_reaches(f64::NAN, 25.4));
    }

    #[test]
    fn gaps_stay_unknown_and_the_later_of_two_stands() {
        let days = [
            day(date(2024, 2, 28), 1.0, 5.0),
            day(date(2024, 3, 1), 2.0, 6.0),
            day(date(2024, 3, 1), 3.0, 7.0),
        ];
        let record = DailyRecord::from_days(&days).unwrap();
        assert_eq!(record.len(), 3, "29 February lies between");
        assert_eq!(record.day(date(2024, 2, 29)).unwrap().low_c, None);
        assert_eq!(record.day(date(2024, 3, 1)).unwrap().low_c, Some(3.0));
        assert!(DailyRecord::from_days(&[]).is_none());
    }

    #[test]
    fn hours_of_the_day_itself_count_up_to_the_moment_alone() {
        let today = date(2024, 4, 20);
        let midnight = today.and_time(chrono::NaiveTime::MIN);
        let hours: Vec<Hour> = (-24..30)
            .map(|at| Hour {
                start: midnight + TimeDelta::hours(at),
                temperature_c: Some(f64::from(at as i32)),
                dew_point_c: None,
                humidity_pct: None,
                rain_mm: Some(1.0),
                wind_m_s: None,
            })
            .collect();
        let mut weather = Weather {
            hourly: HourlyRecord::from_hours(&hours),
            seen_to: Some(midnight + TimeDelta::hours(7)),
            ..Weather::default()
        };
        let known = weather.as_of(today);
        let so_far = known.so_far(today).unwrap();
        assert_eq!(
            (so_far.low_c, so_far.high_c, so_far.rain_mm),
            (Some(0.0), Some(6.0), Some(7.0))
        );
        assert_eq!(known.hourly.unwrap().len(), 24 + 7);
        // A day before is looked at as on its morning, whatever came later.
        let before = weather.as_of(date(2024, 4, 19));
        assert_eq!((before.hourly.clone(), before.seen_to), (None, None));
        weather.seen_to = None;
        assert_eq!(weather.as_of(today).hourly.unwrap().len(), 24);
        assert_eq!(weather.so_far(today), None);
    }

    #[test]
    fn an_old_forecast_is_given_up() {
        let issued = date(2024, 4, 20);
        let weather = Weather {
            forecast: Some(Forecast {
                issued,
                daily: DailyRecord::unknown(issued, 16),
                hourly: None,
                source: "somebody".to_owned(),
            }),
            ..Weather::default()
        };
        assert!(weather.as_of(date(2024, 4, 24)).forecast.is_some());
        let late = weather.as_of(date(2024, 4, 25));
        assert_eq!(
            (late.forecast, late.forecast_given_up),
            (None, Some(issued))
        );
        assert_eq!(weather.as_of(date(2024, 4, 19)).forecast, None);
    }

    #[test]
    fn as_of_hides_today_and_what_follows() {
        let days = [
            day(date(2024, 3, 1), 1.0, 5.0),
            day(date(2024, 3, 2), 2.0, 6.0),
        ];
        let weather = Weather {
            daily: DailyRecord::from_days(&days),
            ..Weather::default()
        };
        assert_eq!(
            weather.as_of(date(2024, 3, 2)).seen_until(),
            Some(date(2024, 3, 1))
        );
        assert_eq!(weather.as_of(date(2024, 3, 1)).daily, None);
    }
}
