//! From the clock of the file to local standard time.

use super::error::ImportError;
use super::finding::Reason;
use super::options::Clock;
use super::report::Report;
use super::scan::{Entry, Sheet};
use super::time::{self, Instants};
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};
use chrono_tz::Tz;
use std::collections::{HashMap, HashSet};

/// The step from written stamps to local standard time.
pub(super) struct Dial<'s, 't> {
    sheet: &'s Sheet<'t>,
    clock: Clock,
    /// The offset of all stamps, where no zone is told.
    only_offset: Option<i32>,
    /// Civil stamps of the repeated hour: how often seen, and the first line.
    fall: HashMap<NaiveDateTime, (usize, u32)>,
    offsets: usize,
    bare: usize,
}

impl<'s, 't> Dial<'s, 't> {
    /// A dial for the rows of a sheet.
    pub fn new(sheet: &'s Sheet<'t>) -> Self {
        Dial {
            sheet,
            clock: sheet.plan.clock.unwrap_or(Clock::Standard),
            only_offset: None,
            fall: HashMap::new(),
            offsets: 0,
            bare: 0,
        }
    }

    /// Where a row stands in local standard time; `None` in the spring gap.
    pub fn place(
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
            self.sheet.fault_of_time(
                line,
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

    /// Tells the hours of fall that should come twice and do not.
    pub fn note_fall(&self, report: &mut Report) {
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
    pub fn note_clock(&self, entries: &[Entry], report: &mut Report) {
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
        *stamps
            .entry(time::hour_floor(entry.time.clock))
            .or_default() += 1;
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
