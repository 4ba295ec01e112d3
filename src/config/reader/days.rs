//! Days, times of day and schedules.

use super::Table;
use crate::facts::schedule::Schedule;
use chrono::{NaiveDate, NaiveTime};
use toml::de::DeValue;

impl<'s, 'a> Table<'s, 'a> {
    /// A day: `2019-04-05` with or without quotes, if the key is there.
    pub fn maybe_date(&self, key: &str) -> Option<NaiveDate> {
        let value = self.value(key)?;
        let text = match value.get_ref() {
            DeValue::Datetime(date) => date.to_string(),
            DeValue::String(text) => text.trim().to_owned(),
            _ => {
                self.wrong_type(key, value, "a day such as 2019-04-05");
                return None;
            }
        };
        match NaiveDate::parse_from_str(&text, "%Y-%m-%d") {
            Ok(date) => Some(date),
            Err(_) => {
                self.fault_at(
                    value.span(),
                    key,
                    format!("{text} is not a day of the calendar; write it as 2019-04-05"),
                );
                None
            }
        }
    }

    /// A day that must be there.
    pub fn date(&self, key: &str) -> Option<NaiveDate> {
        if self.value(key).is_none() {
            self.missing(key, "2019-04-05");
            return None;
        }
        self.maybe_date(key)
    }

    /// A day without its year: `"04-20"`, if the key is there. 29 February is
    /// accepted.
    pub fn maybe_month_day(&self, key: &str) -> Option<(u32, u32)> {
        let at = self.quoted(key, "month and day in quotes, such as \"04-20\"")?;
        let parsed = NaiveDate::parse_from_str(&format!("2024-{}", at.value), "%Y-%m-%d");
        match parsed {
            Ok(date) => {
                use chrono::Datelike;
                Some((date.month(), date.day()))
            }
            Err(_) => {
                self.fault_at(
                    at.span,
                    key,
                    format!(
                        "\"{}\" is not a day of the year; write month and day as \"04-20\"",
                        at.value
                    ),
                );
                None
            }
        }
    }

    /// A time of day: `"07:00"`, if the key is there.
    pub fn maybe_time(&self, key: &str) -> Option<NaiveTime> {
        let at = self.quoted(key, "a time of day in quotes, such as \"07:00\"")?;
        match NaiveTime::parse_from_str(&at.value, "%H:%M") {
            Ok(time) => Some(time),
            Err(_) => {
                self.fault_at(
                    at.span,
                    key,
                    format!(
                        "\"{}\" is not a time of day; write it as \"07:00\"",
                        at.value
                    ),
                );
                None
            }
        }
    }

    /// A time of day or a cron expression, as text.
    pub fn maybe_schedule(&self, key: &str) -> Option<Schedule> {
        let at = self.quoted(key, "a time of day in quotes, such as \"07:00\"")?;
        Schedule::read(&at.value)
            .map_err(|why| self.fault_at(at.span, key, why))
            .ok()
    }
}
