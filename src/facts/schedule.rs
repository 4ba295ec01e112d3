//! When something comes again: a plain time of day, or a cron expression, in
//! the civil time of a place.
//!
//! The crate `cron` knows no summer time: it would skip a time that the clocks
//! jump over and come twice in the hour that they repeat. So it is only asked
//! for civil times, and [`instant`] sets them: a time in the gap counts with
//! the offset before it, a repeated one the first time (RFC 5545, 3.3.5).

use chrono::{DateTime, Days, MappedLocalTime, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use std::str::FromStr;

/// When something comes again.
#[derive(Clone, Debug)]
pub enum Schedule {
    /// Every day at that civil time.
    Daily(NaiveTime),
    /// By a cron expression.
    Cron {
        /// As the keeper wrote it.
        text: String,
        /// As it is asked.
        rule: Box<cron::Schedule>,
    },
}

impl PartialEq for Schedule {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Schedule::Daily(a), Schedule::Daily(b)) => a == b,
            (Schedule::Cron { text: a, .. }, Schedule::Cron { text: b, .. }) => a == b,
            _ => false,
        }
    }
}

/// Days of the week as numbers of an expression, 0 for Sunday.
const WEEKDAYS: [&str; 7] = ["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"];

/// Most civil times that are looked through around a change of the clocks.
const MOST_AROUND: usize = 200;

impl Schedule {
    /// Reads `07:00`, or an expression of five fields: minute, hour, day of
    /// the month, month, day of the week (0 or 7 is Sunday).
    ///
    /// # Errors
    /// What is wrong, and how it is written.
    pub fn read(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Ok(time) = NaiveTime::parse_from_str(text, "%H:%M") {
            return Ok(Schedule::Daily(time));
        }
        let fields: Vec<&str> = text.split_whitespace().collect();
        let [minute, hour, day, month, weekday] = fields.as_slice() else {
            let or_cron = match fields.len() {
                0 | 1 => "",
                _ => ", or as a cron expression of five fields such as \"0 7 * * 1-5\"",
            };
            return Err(format!(
                "\"{text}\" is not a time of day; write it as \"07:00\"{or_cron}"
            ));
        };
        if *day != "*" && *weekday != "*" {
            return Err(format!(
                "\"{text}\" names days of the month and of the week; programs read that in two \
                 ways, so name one of them and write * for the other"
            ));
        }
        let weekday = weekdays(weekday).ok_or_else(|| {
            format!(
                "\"{weekday}\" in \"{text}\" is no day of the week; write 0 (Sunday) to 6, or \
                 MON to SUN"
            )
        })?;
        // The crate reads seconds first and counts weekdays from 1.
        let rule = cron::Schedule::from_str(&format!("0 {minute} {hour} {day} {month} {weekday}"))
            .map_err(|_| {
                format!(
                    "\"{text}\" is not understood as a cron expression; its fields are minute, \
                     hour, day, month and weekday, such as \"0 7 * * 1-5\""
                )
            })?;
        let schedule = Schedule::Cron {
            text: text.to_owned(),
            rule: Box::new(rule),
        };
        let any = Utc.with_ymd_and_hms(2024, 1, 1, 0, 0, 0).earliest();
        match any.and_then(|any| schedule.next(any, chrono_tz::UTC)) {
            Some(_) => Ok(schedule),
            None => Err(format!("\"{text}\" never comes")),
        }
    }

    /// The first time after an instant; `None` if there is none.
    pub fn next(&self, after: DateTime<Utc>, zone: Tz) -> Option<DateTime<Utc>> {
        let local = after.with_timezone(&zone).naive_local();
        // From a little before: a repeated hour may lie on both sides.
        let from = local.checked_sub_signed(TimeDelta::hours(3))?;
        let mut best: Option<(NaiveDateTime, DateTime<Utc>)> = None;
        for civil in self.civil(from).take(MOST_AROUND) {
            if best.is_some_and(|(first, _)| civil - first > TimeDelta::hours(2)) {
                break;
            }
            let at = instant(civil, zone)?;
            if at > after && best.is_none_or(|(_, held)| at < held) {
                best = Some((best.map_or(civil, |(first, _)| first), at));
            }
        }
        if best.is_some() {
            return best.map(|(_, at)| at);
        }
        // A dense rule in the hours before: begin at the instant itself.
        self.civil(local)
            .take(MOST_AROUND)
            .filter_map(|civil| instant(civil, zone))
            .find(|at| *at > after)
    }

    /// The last time at or before an instant, if it lies within eight days.
    pub fn last(&self, until: DateTime<Utc>, zone: Tz) -> Option<DateTime<Utc>> {
        let mut at = [2, 8].into_iter().find_map(|days| {
            let from = until.checked_sub_signed(TimeDelta::days(days))?;
            self.next(from, zone).filter(|at| *at <= until)
        })?;
        loop {
            match self.next(at, zone) {
                Some(next) if next <= until && next > at => at = next,
                _ => return Some(at),
            }
        }
    }

    /// Civil times after one, in their order.
    fn civil(&self, after: NaiveDateTime) -> Box<dyn Iterator<Item = NaiveDateTime> + '_> {
        match self {
            Schedule::Daily(time) => {
                let time = *time;
                let first = after.date();
                Box::new(
                    (0..8)
                        .filter_map(move |days| first.checked_add_days(Days::new(days)))
                        .map(move |date| date.and_time(time))
                        .filter(move |civil| *civil > after),
                )
            }
            // Civil times are asked for as if they were universal ones, which
            // have no gaps.
            Schedule::Cron { rule, .. } => Box::new(
                rule.after(&after.and_utc())
                    .map(|instant| instant.naive_utc()),
            ),
        }
    }
}

/// The instant of a civil time: in a gap with the offset from before it, the
/// first of two. `None` only at the ends of time.
pub fn instant(civil: NaiveDateTime, zone: Tz) -> Option<DateTime<Utc>> {
    match zone.from_local_datetime(&civil) {
        MappedLocalTime::Single(at) | MappedLocalTime::Ambiguous(at, _) => {
            Some(at.with_timezone(&Utc))
        }
        MappedLocalTime::None => {
            // The offset of some hours before holds up to the gap.
            let before = civil.checked_sub_signed(TimeDelta::hours(26))?;
            let offset = zone
                .from_local_datetime(&before)
                .earliest()
                .map(|at| before - at.naive_utc())?;
            civil.checked_sub_signed(offset).map(|utc| utc.and_utc())
        }
    }
}

/// Days of the week of an expression by their names; ranges may run over
/// Sunday. `None` if it names none.
fn weekdays(field: &str) -> Option<String> {
    if field == "*" || field == "?" {
        return Some("*".to_owned());
    }
    let mut found = [false; 7];
    for part in field.split(',') {
        let (range, step) = match part.split_once('/') {
            Some((range, step)) => (range, step.parse::<usize>().ok().filter(|step| *step > 0)?),
            None => (part, 1),
        };
        let (first, last) = match range.split_once('-') {
            Some((first, last)) => (weekday(first)?, weekday(last)?),
            None if range == "*" => (0, 6),
            None => (weekday(range)?, weekday(range)?),
        };
        let last = if last < first { last + 7 } else { last };
        for day in (first..=last).step_by(step) {
            *found.get_mut(day % 7)? = true;
        }
    }
    let names: Vec<&str> = WEEKDAYS
        .iter()
        .zip(found)
        .filter(|(_, found)| *found)
        .map(|(name, _)| *name)
        .collect();
    (!names.is_empty()).then(|| names.join(","))
}

fn weekday(word: &str) -> Option<usize> {
    match word.parse::<usize>() {
        Ok(number) => (number <= 7).then_some(number % 7),
        Err(_) => WEEKDAYS
            .iter()
            .position(|name| name.eq_ignore_ascii_case(word)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::New_York;

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn civil(text: &str) -> NaiveDateTime {
        text.parse().unwrap()
    }

    fn next(schedule: &str, after: &str) -> String {
        let schedule = Schedule::read(schedule).unwrap();
        let at = schedule.next(utc(after), New_York).unwrap();
        at.format("%Y-%m-%dT%H:%MZ").to_string()
    }

    /// reference/algorithms.md 13.7, computed there with another program's
    /// zone data.
    #[test]
    fn gaps_and_repeated_hours() {
        for (local, instant_utc) in [
            ("2026-03-08T02:30:00", "2026-03-08T07:30:00Z"),
            ("2026-11-01T01:30:00", "2026-11-01T05:30:00Z"),
            ("2026-11-01T07:00:00", "2026-11-01T12:00:00Z"),
            ("2026-03-08T07:00:00", "2026-03-08T11:00:00Z"),
        ] {
            assert_eq!(
                instant(civil(local), New_York),
                Some(utc(instant_utc)),
                "{local}"
            );
        }
    }

    /// Against tests/fixtures/check_values/ics_recurrence.csv ("daily over
    /// spring DST", "nonexistent local time"): one a day, neither doubled nor
    /// lost. The third day of the latter is 02:30 again.
    #[test]
    fn once_a_day_over_both_changes() {
        for rule in ["02:30", "30 2 * * *"] {
            assert_eq!(next(rule, "2026-03-07T07:30:00Z"), "2026-03-08T07:30Z");
            assert_eq!(next(rule, "2026-03-08T07:30:00Z"), "2026-03-09T06:30Z");
        }
        for rule in ["01:30", "30 1 * * *"] {
            assert_eq!(next(rule, "2026-10-31T12:00:00Z"), "2026-11-01T05:30Z");
            assert_eq!(next(rule, "2026-11-01T05:30:00Z"), "2026-11-02T06:30Z");
            assert_eq!(next(rule, "2026-11-01T06:30:00Z"), "2026-11-02T06:30Z");
        }
    }

    #[test]
    fn weekdays_count_from_sunday_as_0_and_7() {
        // 7 November 2026 is a Saturday.
        assert_eq!(
            next("0 7 * * 1-5", "2026-11-07T00:00:00Z"),
            "2026-11-09T12:00Z"
        );
        assert_eq!(
            next("0 7 * * 0", "2026-11-07T00:00:00Z"),
            "2026-11-08T12:00Z"
        );
        assert_eq!(
            next("0 7 * * 7", "2026-11-07T00:00:00Z"),
            "2026-11-08T12:00Z"
        );
        assert_eq!(
            next("0 7 * * fri-sun", "2026-11-07T13:00:00Z"),
            "2026-11-08T12:00Z"
        );
        assert_eq!(
            next("*/5 * * * *", "2026-11-07T13:01:00Z"),
            "2026-11-07T13:05Z"
        );
    }

    #[test]
    fn what_is_wrong_is_said() {
        for (text, says) in [
            ("7 o'clock", "is not a time of day"),
            ("25:00", "is not a time of day"),
            ("0 7 * *", "is not a time of day"),
            ("0 7 1 * 1", "names days of the month and of the week"),
            ("0 7 * * 8", "no day of the week"),
            ("0 25 * * *", "is not understood"),
            ("0 7 30 2 *", "never comes"),
        ] {
            let fault = Schedule::read(text).unwrap_err();
            assert!(fault.contains(says), "{text}: {fault}");
        }
    }
}
