//! From rows to days and hours: one clock, each time once, gaps counted.

use super::error::ImportError;
use super::options::{Clock, Stamps};
use super::report::{Gap, Kind, Reason, Report};
use super::scan::{Entry, SLOTS, Sheet};
use super::time::{self, Instants};
use crate::facts::weather::{Day, Hour};
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};
use chrono_tz::Tz;
use std::collections::{BTreeMap, HashMap, HashSet};

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
                return Err(ImportError::at(
                    self.name,
                    two.line as usize,
                    1,
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
                    "a stamp is taken as the begin of its hour (stamps = beginning)"
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
        let clock = self.plan.clock.unwrap_or(Clock::Standard);
        let mut ctx = Dial {
            sheet: self,
            clock,
            only_offset: None,
            fall: HashMap::new(),
            offsets: 0,
            bare: 0,
        };
        let mut placed = Vec::with_capacity(entries.len());
        // In a file with the newest row first the repeated hour comes in
        // standard time first.
        let newest_first = match (entries.first(), entries.last()) {
            (Some(first), Some(last)) => first.time.clock > last.time.clock,
            _ => false,
        };
        let mut place = |entry: &Entry| -> Result<(), ImportError> {
            if let Some(at) = ctx.place(entry, report)?
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
        ctx.note_fall(report);
        ctx.note_clock(entries, report);
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
                super::report::grouped(rain_only)
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

/// The step from written stamps to local standard time.
struct Dial<'s, 't> {
    sheet: &'s Sheet<'t>,
    clock: Clock,
    /// The offset of all stamps, where no zone is told.
    only_offset: Option<i32>,
    /// Civil stamps of the repeated hour: how often seen, and the first line.
    fall: HashMap<NaiveDateTime, (usize, u32)>,
    offsets: usize,
    bare: usize,
}

impl Dial<'_, '_> {
    /// Where a row stands in local standard time; `None` in the spring gap.
    fn place(
        &mut self,
        entry: &Entry,
        report: &mut Report,
    ) -> Result<Option<NaiveDateTime>, ImportError> {
        let clock = entry.time.clock;
        if let Some(offset) = entry.time.offset {
            self.offsets += 1;
            return self.with_offset(entry, offset).map(Some);
        }
        self.bare += 1;
        match self.clock {
            Clock::Standard => Ok(Some(clock)),
            Clock::Utc => {
                let zone = self.zone(entry.line, "times are in UTC")?;
                Ok(Some(time::standard(zone, clock)))
            }
            Clock::Civil => {
                let zone = self.zone(entry.line, "times are civil time")?;
                Ok(self.civil(zone, entry, report))
            }
        }
    }

    fn zone(&self, line: u32, what: &str) -> Result<Tz, ImportError> {
        self.sheet.options.zone.ok_or_else(|| {
            ImportError::at(
                self.sheet.name,
                line as usize,
                1,
                format!("{what}; set the zone of the place, such as zone = America/New_York"),
            )
        })
    }

    fn with_offset(&mut self, entry: &Entry, offset: i32) -> Result<NaiveDateTime, ImportError> {
        let clock = entry.time.clock;
        if let Some(zone) = self.sheet.options.zone {
            return Ok(time::standard(
                zone,
                clock - TimeDelta::seconds(i64::from(offset)),
            ));
        }
        if offset == 0 {
            self.zone(entry.line, "times are in UTC")?;
        }
        if *self.only_offset.get_or_insert(offset) != offset {
            self.zone(entry.line, "times have different offsets from UTC")?;
        }
        Ok(clock)
    }

    fn civil(&mut self, zone: Tz, entry: &Entry, report: &mut Report) -> Option<NaiveDateTime> {
        let clock = entry.time.clock;
        match time::civil(zone, clock) {
            Instants::One(utc) => Some(time::standard(zone, utc)),
            Instants::Two(first, second) => {
                let seen = self.fall.entry(clock).or_insert((0, entry.line));
                seen.0 += 1;
                let utc = if seen.0 == 1 { first } else { second };
                Some(time::standard(zone, utc))
            }
            Instants::None => {
                let text = clock.format("%Y-%m-%d %H:%M").to_string();
                let line = entry.line as usize;
                report.note_case(Reason::InTheSpringGap, line, &text, String::new);
                None
            }
        }
    }

    fn note_fall(&self, report: &mut Report) {
        let mut once: Vec<(&NaiveDateTime, u32)> = self
            .fall
            .iter()
            .filter(|(_, (seen, _))| *seen == 1)
            .map(|(clock, (_, line))| (clock, *line))
            .collect();
        once.sort_by_key(|(_, line)| *line);
        for (clock, line) in once {
            let text = clock.format("%Y-%m-%d %H:%M").to_string();
            report.note_case(Reason::FallHourOnce, line as usize, &text, String::new);
        }
    }

    /// Says which clock was read, and whether it looks like another one.
    fn note_clock(&self, entries: &[Entry], report: &mut Report) {
        let zone = self.sheet.options.zone;
        if self.offsets > 0 {
            report.notes.push(match (zone, self.only_offset) {
                (Some(zone), _) => {
                    format!("times with their offset are kept as standard time of {zone}")
                }
                (None, offset) => format!(
                    "times are kept on their own clock, UTC{}, as standard time",
                    offset_words(offset.unwrap_or(0))
                ),
            });
        }
        if self.bare == 0 {
            return;
        }
        report.notes.push(match (self.clock, zone) {
            (Clock::Standard, _) if self.sheet.plan.clock.is_none() => {
                "times without an offset are taken as local standard time (clock = standard)"
                    .to_owned()
            }
            (Clock::Standard, _) => "times are local standard time".to_owned(),
            (Clock::Civil, zone) => format!(
                "times are civil time{}, kept as standard time",
                zone.map_or(String::new(), |zone| format!(" of {zone}"))
            ),
            (Clock::Utc, zone) => format!(
                "times are UTC, kept as standard time{}",
                zone.map_or(String::new(), |zone| format!(" of {zone}"))
            ),
        });
        if let (Clock::Standard, None, Some(zone)) = (self.clock, self.sheet.plan.clock, zone) {
            note_daylight_signs(zone, entries, report);
        }
    }
}

/// A file on the wall's clock lacks the spring hour that the clock skips, and
/// tells the fall hour twice.
fn note_daylight_signs(zone: Tz, entries: &[Entry], report: &mut Report) {
    let mut stamps: HashMap<NaiveDateTime, usize> = HashMap::new();
    for entry in entries {
        let hour = time::hour_floor(entry.time.clock);
        // Only the hours around the change matter: it falls on a Sunday night.
        *stamps.entry(hour).or_default() += 1;
    }
    let hour = TimeDelta::hours(1);
    let (mut gone, mut there, mut twice) = (Vec::new(), 0, Vec::new());
    let days: HashSet<chrono::NaiveDate> = stamps.keys().map(|stamp| stamp.date()).collect();
    for day in days {
        if !changes_clock(zone, day) {
            continue;
        }
        for of_day in 0..24 {
            let at = day.and_time(NaiveTime::MIN) + hour * of_day;
            let count = |at: NaiveDateTime| stamps.get(&at).copied().unwrap_or(0);
            match time::civil(zone, at) {
                Instants::None if count(at) > 0 => there += 1,
                Instants::None if count(at - hour) > 0 && count(at + hour) > 0 => gone.push(at),
                Instants::Two(..) if count(at) > count(at - hour).max(1) => twice.push(at),
                _ => {}
            }
        }
    }
    if there > 0 || (gone.is_empty() && twice.is_empty()) {
        return;
    }
    let first = |list: &[NaiveDateTime], what: &str| {
        list.iter()
            .min()
            .map(|at| format!("{} {what}", at.format("%Y-%m-%d %H:%M")))
    };
    let signs: Vec<String> = [first(&gone, "is missing"), first(&twice, "stands twice")]
        .into_iter()
        .flatten()
        .collect();
    report.notes.push(format!(
        "this looks like civil time with daylight time: {}; if it is, set clock = civil",
        signs.join(", ")
    ));
}

/// Whether the zone's offset differs between the begin and the end of a day.
fn changes_clock(zone: Tz, day: chrono::NaiveDate) -> bool {
    use chrono::{Offset, TimeZone};
    let at = |day: chrono::NaiveDate| {
        zone.offset_from_utc_datetime(&day.and_time(NaiveTime::MIN))
            .fix()
    };
    at(day.pred_opt().unwrap_or(day)) != at(time::day_after(time::day_after(day)))
}

fn offset_words(seconds: i32) -> String {
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
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
            "rows are not in order of time ({} steps back): put in order",
            super::report::grouped(back)
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
