//! The keeper's own station: a file that grows, or a folder of files.
//!
//! A look reads the files that changed since the last one, by their length
//! and time of change, through [`csv_file`]. Rows that are
//! being written are told as bad ones and read at the next look.

use super::csv_file::{self, Import, Options};
use super::error::{Fault, SourceError, Why};
use super::hours::{days_over, standard};
use super::{Credit, Left, Part, Span, WeatherSource, hand};
use crate::facts::place::Place;
use crate::facts::weather::{Day, Hour};
use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

/// Files that a folder may hold at most.
const MOST_FILES: usize = 2_000;

/// Endings of files that are read.
const ENDINGS: [&str; 5] = ["csv", "txt", "tsv", "psv", "gz"];

/// The source.
#[derive(Debug)]
pub struct Watched {
    name: String,
    path: PathBuf,
    options: Options,
    seen: Mutex<BTreeMap<PathBuf, Mark>>,
}

/// By what a change is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Mark {
    length: u64,
    changed: Option<SystemTime>,
    /// The last hour or day that was read.
    until: Option<NaiveDateTime>,
}

/// What a look found in one file that is new or changed.
#[derive(Debug)]
pub struct News {
    /// The file.
    pub path: PathBuf,
    /// All of it, or why it cannot be read.
    pub import: Result<Import, SourceError>,
    /// Until when it was known before; `None` for a file not seen yet. What
    /// follows is new, what lies before may have been corrected.
    pub known_until: Option<NaiveDateTime>,
}

impl News {
    /// How many days and hours are after what was known before.
    pub fn added(&self) -> usize {
        let Ok(import) = &self.import else { return 0 };
        let after = |at: NaiveDateTime| self.known_until.is_none_or(|known| at > known);
        let days = import.daily.iter().filter(|day| after(midnight(day.date)));
        let hours = import.hourly.iter().filter(|hour| after(hour.start));
        days.count() + hours.count()
    }
}

/// Days before what was known that are taken again, since rows may have been
/// corrected (our choice).
const AGAIN_DAYS: i64 = 3;

impl News {
    /// What of the file is new, or may have been corrected lately, as a part;
    /// `None` where that is nothing.
    ///
    /// # Errors
    /// Why the file cannot be read.
    pub fn into_part(self, place: &Place, now: DateTime<Utc>) -> Result<Option<Part>, SourceError> {
        let import = self.import?;
        let until = standard(place.time_zone, now);
        let from = self.known_until.map(|known| {
            let days = TimeDelta::days(AGAIN_DAYS);
            midnight(known.checked_sub_signed(days).unwrap_or(known).date())
        });
        let wanted = |at: NaiveDateTime| from.is_none_or(|from| at >= from);
        let hours: Vec<Hour> = import
            .hourly
            .into_iter()
            .filter(|hour| wanted(hour.start) && hour.start < until)
            .collect();
        let mut days: BTreeMap<NaiveDate, Day> = days_over(&hours, until)
            .into_iter()
            .map(|day| (day.date, day))
            .collect();
        // Days of a daily file stand before those made from hours.
        for day in import.daily {
            if wanted(midnight(day.date)) && day.date < until.date() {
                days.insert(day.date, day);
            }
        }
        let first = days.keys().next().copied();
        let first = first.or_else(|| hours.first().map(|hour| hour.start.date()));
        let Some(first) = first else { return Ok(None) };
        Ok(Some(Part {
            span: Span {
                first,
                last: until.date(),
            },
            days: days.into_values().collect(),
            hours,
            issued: now,
            left: Left::default(),
            elevation_m: None,
            station: None,
            part: 1,
            of: 1,
            notes: Vec::new(),
        }))
    }
}

impl Watched {
    /// Watches a file or a folder. `name` is for the keeper and the store.
    pub fn new(name: &str, path: &Path, options: Options) -> Self {
        Watched {
            name: name.to_owned(),
            path: path.to_path_buf(),
            options,
            seen: Mutex::default(),
        }
    }

    /// Reads what is new or changed since the last look. `now` lets rows of
    /// the future be dropped.
    ///
    /// # Errors
    /// When the file or folder itself is not there; a single file that cannot
    /// be read is among the news.
    pub fn look(&self, place: &Place, now: DateTime<Utc>) -> Result<Vec<News>, SourceError> {
        let options = self.options(place, now);
        let files = self.files()?;
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.retain(|path, _| files.iter().any(|(file, _)| file == path));
        let mut news = Vec::new();
        for (path, mut mark) in files {
            let before = seen.get(&path).copied();
            if before.is_some_and(|before| {
                (before.length, before.changed) == (mark.length, mark.changed)
            }) {
                continue;
            }
            let known_until = before.and_then(|before| before.until);
            let import = self.read(&path, &options);
            mark.until = match &import {
                Ok(import) => last(import).max(known_until),
                Err(_) => known_until,
            };
            seen.insert(path.clone(), mark);
            news.push(News {
                path,
                import,
                known_until,
            });
        }
        Ok(news)
    }

    /// Forgets what was read: the next look reads all of it again. For when
    /// what was kept of it is gone.
    pub fn forget(&self) {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.clear();
    }

    fn options(&self, place: &Place, now: DateTime<Utc>) -> Options {
        let mut options = self.options.clone();
        options.zone.get_or_insert(place.time_zone);
        options
            .today
            .get_or_insert(standard(place.time_zone, now).date());
        options
    }

    fn read(&self, path: &Path, options: &Options) -> Result<Import, SourceError> {
        csv_file::read_path(path, options).map_err(|error| {
            // The place in the file and the mend stand in the importer's words.
            Fault::later(Why::File(error.to_string())).into_error(
                "reading the station's file",
                &self.name,
                1,
            )
        })
    }

    /// The files with their marks, by name.
    fn files(&self) -> Result<Vec<(PathBuf, Mark)>, SourceError> {
        let fail = |error: std::io::Error| {
            let path = self.path.display();
            Fault::later(Why::File(format!("{path}: {error}"))).into_error(
                "looking for the station's files",
                &self.name,
                1,
            )
        };
        let about = fs::metadata(&self.path).map_err(fail)?;
        if !about.is_dir() {
            return Ok(vec![(self.path.clone(), mark(&about))]);
        }
        let mut files = Vec::new();
        for entry in fs::read_dir(&self.path).map_err(fail)? {
            let path = entry.map_err(fail)?.path();
            let ending = path.extension().and_then(|ending| ending.to_str());
            let hidden = path
                .file_name()
                .and_then(|name| name.to_str())
                .is_none_or(|name| name.starts_with('.'));
            let wanted = ending.is_some_and(|ending| {
                ENDINGS
                    .iter()
                    .any(|known| known.eq_ignore_ascii_case(ending))
            });
            // One that goes away meanwhile is no fault.
            let Ok(about) = fs::metadata(&path) else {
                continue;
            };
            if wanted && !hidden && about.is_file() {
                files.push((path, mark(&about)));
            }
        }
        files.sort_by(|a, b| a.0.cmp(&b.0));
        if files.len() > MOST_FILES {
            let what = format!("{} holds more than {MOST_FILES} files", self.path.display());
            return Err(Fault::never(Why::File(what)).into_error(
                "looking for the station's files",
                &self.name,
                1,
            ));
        }
        Ok(files)
    }
}

impl WeatherSource for Watched {
    fn name(&self) -> &str {
        &self.name
    }

    fn credit(&self) -> Credit {
        Credit {
            text: "Own station",
            link: "",
            licence: "the keeper's own",
        }
    }

    fn observed(
        &self,
        place: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        let options = self.options(place, now);
        let until = standard(place.time_zone, now);
        let mut days: BTreeMap<NaiveDate, Day> = BTreeMap::new();
        let mut hours: BTreeMap<NaiveDateTime, Hour> = BTreeMap::new();
        let mut left = Left::default();
        let mut failed = None;
        // Files in the order of their names: of two the later stands.
        for (path, _) in self.files()? {
            let import = match self.read(&path, &options) {
                Ok(import) => import,
                Err(error) => {
                    failed.get_or_insert(error);
                    continue;
                }
            };
            for day in import.daily {
                if span.contains(day.date) && day.date < until.date() {
                    left.doubled += usize::from(days.insert(day.date, day).is_some());
                }
            }
            for hour in import.hourly {
                if span.contains(hour.start.date()) && hour.start < until {
                    left.doubled += usize::from(hours.insert(hour.start, hour).is_some());
                }
            }
        }
        if days.is_empty() && hours.is_empty() {
            return failed.map_or(Ok(()), Err);
        }
        let hours: Vec<Hour> = hours.into_values().collect();
        // Days of a daily file stand before those made from hours.
        for day in days_over(&hours, until) {
            days.entry(day.date).or_insert(day);
        }
        let part = Part {
            span,
            days: days.into_values().collect(),
            hours,
            issued: now,
            left,
            elevation_m: None,
            station: None,
            part: 1,
            of: 1,
            notes: Vec::new(),
        };
        hand(take, part)
    }
}

fn mark(about: &fs::Metadata) -> Mark {
    Mark {
        length: about.len(),
        changed: about.modified().ok(),
        until: None,
    }
}

fn midnight(date: NaiveDate) -> NaiveDateTime {
    date.and_time(chrono::NaiveTime::MIN)
}

/// The last day or hour of a file.
fn last(import: &Import) -> Option<NaiveDateTime> {
    let day = import.daily.last().map(|day| midnight(day.date));
    day.max(import.hourly.last().map(|hour| hour.start))
}
