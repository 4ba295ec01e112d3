//! From rows to days and hours: one clock, each time once, gaps counted.

use super::dial::Dial;
use super::error::ImportError;
use super::finding::Reason;
use super::options::Stamps;
use super::report::{Gap, Kind, Report, grouped};
use super::scan::{Entry, SLOTS, Sheet};
use super::time;
use crate::facts::weather::{Day, Hour};
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};
use std::collections::BTreeMap;

/// A row at its place on the clock of the import.
#[derive(Clone, Copy, Debug)]
struct Placed {
    at: NaiveDateTime,
    line: u32,
    values: [f64; SLOTS],
}

/// The slot of the hour's rain.
const RAIN: usize = 3;

impl Sheet<'_> {
    /// Days or hours in order, each once.
    pub fn collect(
        &self,
        entries: Vec<Entry>,
        report: &mut Report,
    ) -> Result<(Vec<Day>, Vec<Hour>), ImportError> {
        match self.plan.kind {
            Kind::Daily => Ok((self.days(&entries, report)?, Vec::new())),
            Kind::Hourly => Ok((Vec::new(), self.hours(&entries, report)?)),
        }
    }

    // --- days ---

    fn days(&self, entries: &[Entry], report: &mut Report) -> Result<Vec<Day>, ImportError> {
        if entries.iter().any(|entry| entry.time.has_hour) {
            report
                .notes
                .push("the times of day are not used: a row stands for its date".to_owned());
        }
        let mut placed: Vec<Placed> = Vec::with_capacity(entries.len());
        for entry in entries {
            if self.is_future(entry.time.clock, entry.line, report) {
                continue;
            }
            let mut values = entry.values;
            if let [low, high, ..] = &mut values
                && low > high
            {
                let text = self.low_and_high(*low, *high);
                std::mem::swap(low, high);
                report.note_case(Reason::Swapped, entry.line as usize, &text, String::new);
            }
            placed.push(Placed {
                at: entry.time.clock,
                line: entry.line,
                values,
            });
        }
        sort(&mut placed, report);
        self.refuse_two_times_a_day(&placed)?;
        for one in &mut placed {
            one.at = one.at.date().and_time(NaiveTime::MIN);
        }
        let placed = once_each(placed, report);
        find_gaps(placed.iter().map(|one| one.at), TimeDelta::days(1), report);
        let known = |value: f64| value.is_finite().then_some(value);
        Ok(placed
            .iter()
            .map(|one| {
                let [low, high, rain, ..] = one.values;
                Day {
                    date: one.at.date(),
                    low_c: known(low),
                    high_c: known(high),
                    rain_mm: known(rain),
                }
            })
            .collect())
    }

    /// Low and high in the units of their columns, for messages.
    fn low_and_high(&self, low: f64, high: f64) -> String {
        let shown = |slot: usize, value: f64| {
            let unit = self.plan.measured.iter().find(|one| one.slot == slot);
            let value = unit.map_or(value, |one| one.unit.from_si(value));
            crate::units::plain(value)
        };
        format!("{} above {}", shown(0, low), shown(1, high))
    }

    /// Lows and highs several times a day are the extremes of hours; which of
    /// them to take is not ours to guess.
    fn refuse_two_times_a_day(&self, placed: &[Placed]) -> Result<(), ImportError> {
        for pair in placed.windows(2) {
            if let [one, two] = pair
                && one.at != two.at
                && one.at.date() == two.at.date()
            {
                return Err(self.fault_of_time(
                    two.line,
                    format!(
                        "{} has rows at {} and {}, but low and high belong to a whole day; if \
                         the rows are hours, say which column is the temperature: \
                         column.temperature = ...",
                        one.at.date(),
                        one.at.format("%H:%M"),
                        two.at.format("%H:%M")
                    ),
                ));
            }
        }
        Ok(())
    }

    fn is_future(&self, at: NaiveDateTime, line: u32, report: &mut Report) -> bool {
        let future = self
            .options
            .today
            .is_some_and(|today| at.date() > time::day_after(today));
        if future {
            let text = at.date().to_string();
            report.note_case(Reason::AfterToday, line as usize, &text, String::new);
        }
        future
    }

    // --- hours ---

    fn hours(&self, entries: &[Entry], report: &mut Report) -> Result<Vec<Hour>, ImportError> {
        let mut placed = self.on_standard_time(entries, report)?;
        sort(&mut placed, report);
        let placed = once_each(placed, report);
        report.notes.push(
            match self.options.stamps {
                Stamps::Beginning => {
                    "a stamp is taken as the start of its hour (stamps = beginning)"
                }
                Stamps::Ending => "a row stands for the hour that ends at its stamp",
                Stamps::RainBefore => "rain fell in the hour before its stamp",
            }
            .to_owned(),
        );
        let hours = self.by_hour(&placed, report);
        find_gaps(
            hours.iter().map(|hour| hour.start),
            TimeDelta::hours(1),
            report,
        );
        Ok(hours)
    }

    /// All rows in local standard time.
    fn on_standard_time(
        &self,
        entries: &[Entry],
        report: &mut Report,
    ) -> Result<Vec<Placed>, ImportError> {
        let mut dial = Dial::new(self);
        let mut placed = Vec::with_capacity(entries.len());
        // In a file with the newest row first the repeated hour comes in
        // standard time first.
        let newest_first = match (entries.first(), entries.last()) {
            (Some(first), Some(last)) => first.time.clock > last.time.clock,
            _ => false,
        };
        let mut place = |entry: &Entry| -> Result<(), ImportError> {
            if let Some(at) = dial.place(entry, report)?
                && !self.is_future(at, entry.line, report)
            {
                placed.push(Placed {
                    at,
                    line: entry.line,
                    values: entry.values,
                });
            }
            Ok(())
        };
        if newest_first {
            entries.iter().rev().try_for_each(&mut place)?;
            placed.reverse();
        } else {
            entries.iter().try_for_each(&mut place)?;
        }
        dial.note_fall(report);
        dial.note_clock(entries, report);
        Ok(placed)
    }

    /// Rows put into their hours: one for one, or averaged where an hour has
    /// several.
    fn by_hour(&self, placed: &[Placed], report: &mut Report) -> Vec<Hour> {
        let usual = usual_rows_an_hour(placed);
        let mut hours: BTreeMap<NaiveDateTime, Sum> = BTreeMap::new();
        let mut crowded = false;
        for one in placed {
            let (readings, rain) = self.hours_of(one.at, usual > 1);
            let sum = hours.entry(readings).or_default();
            sum.rows += 1;
            crowded |= sum.rows > 1;
            for (slot, value) in one.values.iter().enumerate() {
                if slot != RAIN {
                    sum.add(slot, *value);
                }
            }
            let has_rain = self.plan.measured.iter().any(|one| one.slot == RAIN);
            if has_rain && (rain == readings || one.values[RAIN].is_finite()) {
                let sum = hours.entry(rain).or_default();
                sum.rain_rows += 1;
                sum.rain_line.get_or_insert(one.line);
                sum.add(RAIN, one.values[RAIN]);
            }
            if usual == 1 && readings != self.shifted(one.at) {
                let text = one.at.format("%H:%M").to_string();
                report.note_case(Reason::OffTheHour, one.line as usize, &text, String::new);
            }
        }
        if usual > 1 {
            report.notes.push(format!(
                "{usual} rows an hour: readings are averaged, rain is added up"
            ));
        } else if crowded {
            report.notes.push(
                "some hours have more than one row: readings are averaged, rain is added up"
                    .to_owned(),
            );
        }
        let rain_only = hours.values().filter(|sum| sum.rows == 0).count();
        if rain_only > 0 {
            report.notes.push(format!(
                "hours that have their rain but no row of their own: {}",
                grouped(rain_only)
            ));
        }
        hours
            .into_iter()
            .map(|(start, sum)| sum.hour(start, usual, report))
            .collect()
    }

    fn shifted(&self, at: NaiveDateTime) -> NaiveDateTime {
        match self.options.stamps {
            Stamps::Ending => at - TimeDelta::hours(1),
            Stamps::Beginning | Stamps::RainBefore => at,
        }
    }

    /// The hour of the readings and the hour of the rain of a stamp.
    fn hours_of(&self, at: NaiveDateTime, several: bool) -> (NaiveDateTime, NaiveDateTime) {
        let nearest = time::hour_nearest(at);
        let hour = TimeDelta::hours(1);
        // What ends at 01:00 belongs to the hour from 00:00 on.
        let ended = time::hour_floor(at - TimeDelta::seconds(1));
        match (self.options.stamps, several) {
            (Stamps::Beginning, false) => (nearest, nearest),
            (Stamps::Beginning, true) => (nearest, time::hour_floor(at)),
            (Stamps::Ending, false) => (nearest - hour, nearest - hour),
            (Stamps::Ending, true) => (ended, ended),
            (Stamps::RainBefore, false) => (nearest, nearest - hour),
            (Stamps::RainBefore, true) => (nearest, ended),
        }
    }
}

/// Puts rows in order of time, and says so if they were not.
fn sort(placed: &mut [Placed], report: &mut Report) {
    let steps = placed.windows(2);
    let back = steps
        .filter(|pair| matches!(pair, [one, two] if one.at > two.at))
        .count();
    if back > 0 && back + 1 == placed.len() {
        report
            .notes
            .push("rows are written newest first".to_owned());
    } else if back > 0 {
        report.notes.push(format!(
            "rows are not in order of time ({} {} back): put in order",
            grouped(back),
            if back == 1 { "step" } else { "steps" }
        ));
    }
    // Rows of one time by line: the later one stands.
    placed.sort_by_key(|one| (one.at, one.line));
}

/// Of rows of one time the last stands; an equal one is told as such.
fn once_each(placed: Vec<Placed>, report: &mut Report) -> Vec<Placed> {
    let mut out: Vec<Placed> = Vec::with_capacity(placed.len());
    for one in placed {
        match out.last_mut() {
            Some(last) if last.at == one.at => {
                let when = match report.kind {
                    Kind::Daily => one.at.format("%Y-%m-%d"),
                    Kind::Hourly => one.at.format("%Y-%m-%d %H:%M"),
                };
                let when = when.to_string();
                let (reason, line) = if same(&last.values, &one.values) {
                    (Reason::SameTwice, one.line)
                } else {
                    let left = last.line;
                    *last = one;
                    (Reason::Overwritten, left)
                };
                report.note_case(reason, line as usize, &when, String::new);
            }
            _ => out.push(one),
        }
    }
    out
}

fn same(one: &[f64; SLOTS], two: &[f64; SLOTS]) -> bool {
    one.iter()
        .zip(two)
        .all(|(one, two)| one == two || (one.is_nan() && two.is_nan()))
}

fn find_gaps(times: impl Iterator<Item = NaiveDateTime>, step: TimeDelta, report: &mut Report) {
    let mut last: Option<NaiveDateTime> = None;
    for at in times {
        if let Some(last) = last {
            let steps = (at - last).num_seconds() / step.num_seconds().max(1);
            if steps > 1 {
                report.gaps.push(Gap {
                    from: last + step,
                    to: at - step,
                    len: usize::try_from(steps - 1).unwrap_or(0),
                });
            }
        }
        report.span = Some((report.span.map_or(at, |(first, _)| first), at));
        report.entries += 1;
        last = Some(at);
    }
}

/// How many rows most hours have.
fn usual_rows_an_hour(placed: &[Placed]) -> usize {
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    for hour in placed.chunk_by(|one, two| time::hour_floor(one.at) == time::hour_floor(two.at)) {
        *counts.entry(hour.len()).or_default() += 1;
    }
    counts
        .into_iter()
        .max_by_key(|(_, hours)| *hours)
        .map_or(1, |(rows, _)| rows)
}

/// The rows of one hour.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    rows: usize,
    rain_rows: usize,
    rain_line: Option<u32>,
    sum: [f64; SLOTS],
    count: [usize; SLOTS],
}

impl Sum {
    fn add(&mut self, slot: usize, value: f64) {
        if let (true, Some(sum), Some(count)) = (
            value.is_finite(),
            self.sum.get_mut(slot),
            self.count.get_mut(slot),
        ) {
            *sum += value;
            *count += 1;
        }
    }

    /// The hour; its rain is known only if all of its rows tell it.
    fn hour(&self, start: NaiveDateTime, usual: usize, report: &mut Report) -> Hour {
        let mean = |slot: usize| {
            let count = self.count[slot];
            (count > 0).then(|| self.sum[slot] / count as f64)
        };
        let told = self.count[RAIN];
        let whole = told > 0 && told == self.rain_rows && told >= usual;
        if let (Some(line), true, false) = (self.rain_line, told > 0, whole) {
            let text = start.format("%Y-%m-%d %H:%M").to_string();
            report.note_case(Reason::PartOfAnHour, line as usize, &text, String::new);
        }
        Hour {
            start,
            temperature_c: mean(0),
            dew_point_c: mean(1),
            humidity_pct: mean(2),
            rain_mm: whole.then_some(self.sum[RAIN]),
            wind_m_s: mean(4),
        }
    }
}
