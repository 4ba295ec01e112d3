//! Packed years of several sources laid over each other.

use super::packing::{self, Series, UNKNOWN};
use crate::facts::weather::{Column, DailyRecord, HourlyRecord};
use chrono::{Datelike, Days, NaiveDate};

/// What is known between a first and a last value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coverage<T> {
    /// The first known one.
    pub first: T,
    /// The last known one.
    pub last: T,
    /// How many are known.
    pub known: usize,
    /// Runs of unknown ones between: first and last of each.
    pub gaps: Vec<(T, T)>,
}

/// One packed year of one series.
pub(super) struct Year {
    pub source: usize,
    pub series: i64,
    pub year: i32,
    pub codes: Vec<i16>,
}

/// Packed years side by side, one row of codes for each series, from the
/// first of January of the first year on.
pub(super) fn grid<'a, const N: usize>(
    years: impl Iterator<Item = &'a Year> + Clone,
    per_day: usize,
    series: &[Series; N],
) -> Option<(NaiveDate, [Vec<i16>; N])> {
    let first = years.clone().map(|year| year.year).min()?;
    let last = years.clone().map(|year| year.year).max()?;
    let start = |year: i32| {
        let days = (packing::new_year(year) - packing::new_year(first)).num_days();
        usize::try_from(days).unwrap_or(0) * per_day
    };
    let len = start(last) + packing::days_of(last) * per_day;
    let mut rows: [Vec<i16>; N] = std::array::from_fn(|_| vec![UNKNOWN; len]);
    for year in years {
        let Some(row) = series
            .iter()
            .position(|series| series.code() == year.series)
            .and_then(|at| rows.get_mut(at))
        else {
            continue;
        };
        let slots = row.iter_mut().skip(start(year.year));
        for (slot, code) in slots.zip(&year.codes) {
            *slot = *code;
        }
    }
    Some((packing::new_year(first), rows))
}

/// First and last known, their number and the gaps between.
pub(super) fn coverage<const N: usize, T: Copy>(
    rows: &[Vec<i16>; N],
    known: impl Fn(&[i16]) -> bool,
    at: impl Fn(usize) -> T,
) -> Option<Coverage<T>> {
    let len = rows.first().map_or(0, Vec::len);
    let mut span: Option<(usize, usize)> = None;
    let (mut count, mut gaps) = (0, Vec::new());
    for index in 0..len {
        let codes: [i16; N] =
            std::array::from_fn(|row| rows[row].get(index).copied().unwrap_or(UNKNOWN));
        if !known(&codes) {
            continue;
        }
        count += 1;
        if let Some((_, last)) = span
            && last + 1 < index
        {
            gaps.push((at(last + 1), at(index - 1)));
        }
        span = Some((span.map_or(index, |(first, _)| first), index));
    }
    let (first, last) = span?;
    Some(Coverage {
        first: at(first),
        last: at(last),
        known: count,
        gaps,
    })
}

/// Days of all sources, the first source first.
pub(super) fn merge_days(years: &[Year], sources: usize, today: NaiveDate) -> Option<DailyRecord> {
    let (first, mut merged) = blank(years, 1, &Series::DAILY)?;
    let own: Vec<_> = (0..sources)
        .filter_map(|source| {
            grid(
                years.iter().filter(move |year| year.source == source),
                1,
                &Series::DAILY,
            )
        })
        .collect();
    let [low, high, rain] = &mut merged;
    let offset = |start: NaiveDate| usize::try_from((start - first).num_days()).unwrap_or(0);
    // Both extremes from one source where any has both; then what is left.
    for both in [true, false] {
        for (start, [lows, highs, _]) in &own {
            let slots = low.iter_mut().zip(high.iter_mut()).skip(offset(*start));
            for ((low, high), (&l, &h)) in slots.zip(lows.iter().zip(highs)) {
                let enough = if both {
                    l != UNKNOWN && h != UNKNOWN
                } else {
                    l != UNKNOWN || h != UNKNOWN
                };
                if *low == UNKNOWN && *high == UNKNOWN && enough {
                    (*low, *high) = (l, h);
                }
            }
        }
    }
    for (start, [.., rains]) in &own {
        fill(rain, rains, offset(*start));
    }
    let end = usize::try_from((today - first).num_days()).unwrap_or(0);
    let span = known_span(&merged, end)?;
    let mut record = DailyRecord::unknown(day_after(first, span.start), 0);
    [record.low_c, record.high_c, record.rain_mm] = columns(&merged, Series::DAILY, span);
    Some(record)
}

/// Hours of all sources, the first source first, from one day to another.
pub(super) fn merge_hours(
    years: Vec<Year>,
    sources: usize,
    from: NaiveDate,
    today: NaiveDate,
) -> Option<HourlyRecord> {
    let first_source = years.first()?.source;
    let (first, mut merged) = if years.iter().all(|year| year.source == first_source) {
        grid(years.iter(), 24, &Series::HOURLY)?
    } else {
        lay_over(&years, sources)?
    };
    // Half of the memory is free again before the columns take theirs.
    drop(years);
    let before = usize::try_from((from - first).num_days()).unwrap_or(0) * 24;
    for row in &mut merged {
        row.iter_mut().take(before).for_each(|code| *code = UNKNOWN);
    }
    let end = usize::try_from((today - first).num_days() + 1).unwrap_or(0) * 24;
    let span = known_span(&merged, end)?;
    let start = packing::hour_at(first.year(), span.start);
    let mut record = HourlyRecord::unknown(start, 0);
    [
        record.temperature_c,
        record.dew_point_c,
        record.humidity_pct,
        record.rain_mm,
        record.wind_m_s,
    ] = columns(&merged, Series::HOURLY, span);
    Some(record)
}

fn lay_over(years: &[Year], sources: usize) -> Option<(NaiveDate, [Vec<i16>; 5])> {
    let (first, mut merged) = blank(years, 24, &Series::HOURLY)?;
    let [temperature, dew, humidity, rain, wind] = &mut merged;
    for source in 0..sources {
        let own = years.iter().filter(|year| year.source == source);
        let Some((start, [temperatures, dews, humidities, rains, winds])) =
            grid(own, 24, &Series::HOURLY)
        else {
            continue;
        };
        let at = usize::try_from((start - first).num_days()).unwrap_or(0) * 24;
        let moist = dew.iter_mut().zip(humidity.iter_mut());
        let slots = moist.zip(temperature.iter()).skip(at);
        for (((dew, humidity), &given), ((&d, &h), &own)) in
            slots.zip(dews.iter().zip(&humidities).zip(&temperatures))
        {
            if *dew == UNKNOWN && *humidity == UNKNOWN && (d != UNKNOWN || h != UNKNOWN) {
                (*dew, *humidity) = (d, h);
                // Moisture of another source: its dew point holds for the
                // air, its humidity only for its own temperature.
                if given != UNKNOWN && given != own && d != UNKNOWN {
                    (*dew, *humidity) = (d.min(given), UNKNOWN);
                }
            }
        }
        fill(temperature, &temperatures, at);
        fill(rain, &rains, at);
        fill(wind, &winds, at);
    }
    Some((first, merged))
}

/// Unknown rows over all years of all sources.
fn blank<const N: usize>(
    years: &[Year],
    per_day: usize,
    series: &[Series; N],
) -> Option<(NaiveDate, [Vec<i16>; N])> {
    let bounds = [
        years.iter().min_by_key(|year| year.year)?,
        years.iter().max_by_key(|year| year.year)?,
    ]
    .map(|year| Year {
        source: 0,
        series: year.series,
        year: year.year,
        codes: Vec::new(),
    });
    grid(bounds.iter(), per_day, series)
}

fn fill(into: &mut [i16], from: &[i16], at: usize) {
    for (slot, code) in into.iter_mut().skip(at).zip(from) {
        if *slot == UNKNOWN {
            *slot = *code;
        }
    }
}

/// From the first to the last known value before `end`.
fn known_span<const N: usize>(rows: &[Vec<i16>; N], end: usize) -> Option<std::ops::Range<usize>> {
    let before = |row: &Vec<i16>| end.min(row.len());
    let first = rows.iter().filter_map(|row| {
        row.iter()
            .take(before(row))
            .position(|&code| code != UNKNOWN)
    });
    let last = rows.iter().filter_map(|row| {
        row.iter()
            .take(before(row))
            .rposition(|&code| code != UNKNOWN)
    });
    Some(first.min()?..last.max()? + 1)
}

fn columns<const N: usize>(
    rows: &[Vec<i16>; N],
    series: [Series; N],
    span: std::ops::Range<usize>,
) -> [Column; N] {
    std::array::from_fn(|at| {
        let codes = rows[at].get(span.clone()).unwrap_or(&[]);
        codes.iter().map(|&code| series[at].unpack(code)).collect()
    })
}

/// The day some days later.
pub(super) fn day_after(first: NaiveDate, days: usize) -> NaiveDate {
    first
        .checked_add_days(Days::new(days as u64))
        .unwrap_or(NaiveDate::MAX)
}
