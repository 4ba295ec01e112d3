//! Days as one writes them in the field.

use crate::sources::csv_file::month_named;
use chrono::{Datelike, Days, NaiveDate};

/// Days ahead from which a day without a year is taken as last year's.
const LAST_YEAR_DAYS: i64 = 180;

/// What is read as a day, for messages.
pub const FORMS: &str = "today, yesterday, \"14 Apr\", 04-14 or 2026-04-14";

/// Reads `today`, `yesterday`, `14 Apr`, `Apr 14`, `04-14`, `2026-04-14`. A
/// day without a year is this year's, last year's if it lies half a year ahead.
///
/// # Errors
/// What is wrong with it, and the forms that are read.
pub fn read(text: &str, today: NaiveDate) -> Result<NaiveDate, String> {
    let word = text.trim().to_lowercase();
    match word.as_str() {
        "today" => return Ok(today),
        "yesterday" => return Ok(today - Days::new(1)),
        _ => {}
    }
    if let Ok(day) = NaiveDate::parse_from_str(&word, "%Y-%m-%d") {
        return Ok(day);
    }
    let parts: Vec<&str> = word
        .split(|c: char| c == '-' || c == '.' || c == ',' || c.is_whitespace())
        .filter(|part| !part.is_empty())
        .collect();
    let number = |text: &str| text.parse::<u32>().ok();
    let (month, day, year) = match parts[..] {
        [a, b] => {
            let (month, day) = match (month_named(a), month_named(b)) {
                (Some(month), None) => (Some(month), number(b)),
                (None, Some(month)) => (Some(month), number(a)),
                _ => (number(a), number(b)),
            };
            (month, day, None)
        }
        [a, b, c] => {
            let (month, day) = match (month_named(a), month_named(b)) {
                (Some(month), None) => (Some(month), number(b)),
                (None, Some(month)) => (Some(month), number(a)),
                _ => (None, None),
            };
            (month, day, c.parse::<i32>().ok())
        }
        _ => (None, None, None),
    };
    let not_a_day = || format!("\"{text}\" is not a day; write {FORMS}");
    let (month, day) = month.zip(day).ok_or_else(not_a_day)?;
    if parts.len() == 3 && year.is_none() {
        return Err(not_a_day());
    }
    let of_year = |year| NaiveDate::from_ymd_opt(year, month, day);
    if let Some(year) = year {
        return of_year(year).ok_or_else(not_a_day);
    }
    let this = of_year(today.year());
    match this {
        Some(date) if (date - today).num_days() <= LAST_YEAR_DAYS => Ok(date),
        _ => of_year(today.year() - 1).or(this).ok_or_else(not_a_day),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ymd(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn the_forms_that_are_read() {
        let today = ymd(2026, 4, 22);
        for (text, day) in [
            ("today", today),
            ("Yesterday", ymd(2026, 4, 21)),
            ("14 Apr", ymd(2026, 4, 14)),
            ("apr 14", ymd(2026, 4, 14)),
            ("14 April 2025", ymd(2025, 4, 14)),
            ("04-14", ymd(2026, 4, 14)),
            ("4-14", ymd(2026, 4, 14)),
            ("2025-04-14", ymd(2025, 4, 14)),
            ("29 Feb", ymd(2024, 2, 29)),
        ] {
            match read(text, today) {
                Ok(read) if text != "29 Feb" => assert_eq!(read, day, "{text}"),
                Ok(read) => panic!("{text} became {read}"),
                Err(why) => assert!(text == "29 Feb" && why.contains("not a day"), "{why}"),
            }
        }
        assert_eq!(read("12-28", ymd(2026, 1, 3)), Ok(ymd(2025, 12, 28)));
        assert_eq!(read("24 Apr", today), Ok(ymd(2026, 4, 24)), "still ahead");
        assert_eq!(
            read("14 Aprl", today),
            Err(
                "\"14 Aprl\" is not a day; write today, yesterday, \"14 Apr\", 04-14 or 2026-04-14"
                    .to_owned()
            )
        );
        for odd in [
            "", "-", "apr", "31 Apr", "13-40", "1 2 3 4", "14 Apr x", "é é",
        ] {
            assert!(read(odd, today).is_err(), "{odd}");
        }
    }
}
