//! The kept weather read back: merged over its sources, or source by source.

use super::error::StoreError;
use super::packing::{self, Series, UNKNOWN};
use super::weather::{WeatherStore, columns_from_bytes, local_stamp};
use super::weather_merge::{Coverage, Year, coverage, day_after, grid, merge_days, merge_hours};
use crate::facts::weather::{DailyRecord, Day, Forecast, Hour, HourlyRecord, Weather};
use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, Utc};
use rusqlite::{Row, params};

/// What is kept of one source.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceSummary {
    /// The source's name.
    pub source: String,
    /// Its days, if it gave any; a day is known when both extremes are.
    pub days: Option<Coverage<NaiveDate>>,
    /// Its hours, if it gave any; an hour is known when its temperature is.
    pub hours: Option<Coverage<NaiveDateTime>>,
    /// When the newest of its seen values was issued.
    pub seen_issued: Option<DateTime<Utc>>,
    /// Its newest forecast.
    pub forecast: Option<ForecastSummary>,
}

/// What a forecast spans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ForecastSummary {
    /// When it was issued.
    pub issued: DateTime<Utc>,
    /// Its first day.
    pub first: NaiveDate,
    /// Its last day.
    pub last: NaiveDate,
}

/// What one source says of one day or hour.
#[derive(Clone, Debug, PartialEq)]
pub struct Said<T> {
    /// The source's name.
    pub source: String,
    /// When the newest of its values was issued.
    pub issued: Option<DateTime<Utc>>,
    /// Whether it was seen; forecast otherwise.
    pub seen: bool,
    /// Its values.
    pub value: T,
}

/// A forecast and the instant of its issue.
type Issued = (Option<DateTime<Utc>>, Forecast);

impl WeatherStore {
    /// The weather as it was known on `today`: days before it and hours up to
    /// its end as seen, and the forecast that counts.
    ///
    /// `order` names the sources from the most trusted on; others follow by
    /// name. Of a day both extremes come from the first source that has both;
    /// dew point and humidity of an hour from the first that has either, and
    /// where that is not the one of the temperature, the dew point is held at
    /// or below it. The forecast is the first source's among those issued no
    /// more than a day before the newest one.
    ///
    /// # Errors
    /// [`StoreError`]; [`Damaged`](StoreError::Damaged) where a value was
    /// changed on the disk: then [`rebuild`](Self::rebuild).
    pub fn load(&self, today: NaiveDate, order: &[&str]) -> Result<Weather, StoreError> {
        self.load_recent(today, order, NaiveDate::MIN)
    }

    /// As [`load`](Self::load), with hours from the day `hours_from` on only:
    /// thirty years of them take 5 MiB.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn load_recent(
        &self,
        today: NaiveDate,
        order: &[&str],
        hours_from: NaiveDate,
    ) -> Result<Weather, StoreError> {
        let names = self.sources(order)?;
        self.load_from(today, &names, hours_from)
    }

    /// The weather as one source has it.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn load_one(&self, today: NaiveDate, source: &str) -> Result<Weather, StoreError> {
        let mut names = self.sources(&[])?;
        names.retain(|(_, name)| name == source);
        self.load_from(today, &names, NaiveDate::MIN)
    }

    fn load_from(
        &self,
        today: NaiveDate,
        names: &[(i64, String)],
        hours_from: NaiveDate,
    ) -> Result<Weather, StoreError> {
        let years = self.years(names, today, hours_from)?;
        let (daily, hourly): (Vec<Year>, Vec<Year>) = years
            .into_iter()
            .partition(|year| year.series < Series::Temperature.code());
        Ok(Weather {
            daily: merge_days(&daily, names.len(), today),
            hourly: merge_hours(hourly, names.len(), hours_from, today),
            forecast: self.forecast(today, names)?,
            ..Weather::default()
        })
    }

    /// Ids and names: first those of `order`, then the others by name.
    fn sources(&self, order: &[&str]) -> Result<Vec<(i64, String)>, StoreError> {
        let mut names = self.rows(
            "reading the sources",
            "SELECT id, name FROM source ORDER BY name",
            [],
            |row| Ok((row.get(0)?, row.get::<_, String>(1)?)),
        )?;
        names.sort_by_key(|(_, name)| {
            order
                .iter()
                .position(|wanted| wanted == name)
                .unwrap_or(usize::MAX)
        });
        Ok(names)
    }

    /// Every packed year up to today's, hours only from a year on, with the source's
    /// place in the order.
    fn years(
        &self,
        names: &[(i64, String)],
        today: NaiveDate,
        hours_from: NaiveDate,
    ) -> Result<Vec<Year>, StoreError> {
        let doing = "reading the kept weather";
        let rows = self.rows(
            doing,
            "SELECT source, series, year, codes, sum FROM block
             WHERE year <= ?1 AND (series < ?2 OR year >= ?3)",
            params![today.year(), Series::Temperature.code(), hours_from.year()],
            |row| {
                let source: i64 = row.get(0)?;
                let Some(source) = names.iter().position(|(id, _)| *id == source) else {
                    return Ok(None);
                };
                let bytes = row.get_ref(3)?.as_blob()?;
                let year = Year {
                    source,
                    series: row.get(1)?,
                    year: row.get(2)?,
                    codes: packing::from_bytes(bytes).collect(),
                };
                let whole = packing::checksum(&[bytes]) == row.get::<_, i64>(4)?;
                Ok(Some((year, whole)))
            },
        )?;
        rows.into_iter()
            .flatten()
            .map(|(year, whole)| {
                if whole {
                    Ok(year)
                } else {
                    Err(self.altered(doing))
                }
            })
            .collect()
    }

    fn altered(&self, doing: &str) -> StoreError {
        StoreError::Damaged {
            file: self.path.clone(),
            doing: doing.to_owned(),
            why: "a value does not match its check sum".to_owned(),
        }
    }

    /// The forecast that counts on a day, as [`load`](Self::load) chooses it.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn forecast_on(
        &self,
        today: NaiveDate,
        order: &[&str],
    ) -> Result<Option<Forecast>, StoreError> {
        self.forecast(today, &self.sources(order)?)
    }

    /// The forecast that counts on a day.
    fn forecast(
        &self,
        today: NaiveDate,
        names: &[(i64, String)],
    ) -> Result<Option<Forecast>, StoreError> {
        let day = i64::from(today.num_days_from_ce());
        let latest = self.rows(
            "reading the forecasts",
            "SELECT source, max(day) FROM forecast WHERE day <= ?1 GROUP BY source",
            [day],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)),
        )?;
        let issued = |id: i64| latest.iter().find(|(other, _)| *other == id);
        let newest = names
            .iter()
            .filter_map(|(id, _)| issued(*id))
            .map(|(_, day)| *day)
            .max();
        let chosen = names.iter().find_map(|(id, name)| {
            let (_, day) = issued(*id)?;
            (day + 1 >= newest?).then_some((*id, *day, name))
        });
        match chosen {
            Some((id, day, name)) => self.forecast_of(id, day, name),
            None => Ok(None),
        }
    }

    fn forecast_of(&self, id: i64, day: i64, name: &str) -> Result<Option<Forecast>, StoreError> {
        let doing = "reading the forecasts";
        let mut rows = self.rows(
            doing,
            "SELECT day, first_day, days, first_hour, hours, sum
             FROM forecast WHERE source = ?1 AND day = ?2",
            [id, day],
            |row| {
                let (days, hours) = (row.get_ref(2)?.as_blob()?, row.get_ref(4)?.as_blob()?);
                let whole = packing::checksum(&[days, hours]) == row.get::<_, i64>(5)?;
                Ok((unpack_forecast(row, days, hours, name)?, whole))
            },
        )?;
        match rows.pop() {
            Some((_, false)) => Err(self.altered(doing)),
            Some((forecast, true)) => Ok(forecast),
            None => Ok(None),
        }
    }

    /// What is kept of every source, by name: from when to when, how much, the
    /// gaps, and how fresh.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn summary(&self) -> Result<Vec<SourceSummary>, StoreError> {
        let names = self.sources(&[])?;
        let years = self.years(&names, NaiveDate::MAX, NaiveDate::MIN)?;
        let issued = self.issued()?;
        let forecasts = self.rows(
            "reading the forecasts",
            "SELECT source, issued, first_day, length(days), max(day)
             FROM forecast GROUP BY source",
            [],
            |row| {
                let days: i64 = row.get(3)?;
                Ok((row.get::<_, i64>(0)?, row.get(1)?, row.get(2)?, days / 6))
            },
        )?;
        let mut summaries = Vec::new();
        for (place, (id, name)) in names.iter().enumerate() {
            let own = |daily: bool| {
                years.iter().filter(move |year| {
                    year.source == place && (year.series < Series::Temperature.code()) == daily
                })
            };
            let known_day = |codes: &[i16]| codes.iter().take(2).all(|&code| code != UNKNOWN);
            let known_hour = |codes: &[i16]| codes.first().is_some_and(|&code| code != UNKNOWN);
            let days = grid(own(true), 1, &Series::DAILY)
                .and_then(|(first, rows)| coverage(&rows, known_day, |at| day_after(first, at)));
            let hours = grid(own(false), 24, &Series::HOURLY).and_then(|(first, rows)| {
                coverage(&rows, known_hour, |at| packing::hour_at(first.year(), at))
            });
            let forecast = forecasts.iter().find(|(source, ..)| source == id).and_then(
                |&(_, issued, first, len): &(i64, i64, i64, i64)| {
                    let first = from_ce(first)?;
                    let last = day_after(first, usize::try_from(len - 1).ok()?);
                    let issued = packing::instant(issued)?;
                    Some(ForecastSummary {
                        issued,
                        first,
                        last,
                    })
                },
            );
            summaries.push(SourceSummary {
                source: name.clone(),
                days,
                hours,
                seen_issued: issued
                    .iter()
                    .filter(|(source, _)| source == id)
                    .map(|(_, at)| *at)
                    .max()
                    .and_then(packing::instant),
                forecast,
            });
        }
        Ok(summaries)
    }

    /// The newest issue in every block, by source.
    fn issued(&self) -> Result<Vec<(i64, i64)>, StoreError> {
        self.rows(
            "reading the kept weather",
            "SELECT source, issued FROM block",
            [],
            |row| {
                let newest = packing::runs(row.get_ref(1)?.as_blob()?)
                    .map(|(_, at)| at)
                    .max();
                Ok((row.get(0)?, newest.unwrap_or(i64::MIN)))
            },
        )
    }

    /// What every source says of a day: seen first, then forecasts, each kind
    /// by name.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn said_of_day(&self, date: NaiveDate) -> Result<Vec<Said<Day>>, StoreError> {
        let mut said = Vec::new();
        let forecasts = self.said(
            packing::day_slot(date),
            &Series::DAILY,
            |source, issued, row| {
                let [low_c, high_c, rain_mm] = row else {
                    return;
                };
                said.push(Said {
                    source,
                    issued,
                    seen: true,
                    value: Day {
                        date,
                        low_c: *low_c,
                        high_c: *high_c,
                        rain_mm: *rain_mm,
                    },
                });
            },
        )?;
        said.extend(forecasts.into_iter().filter_map(|(issued, forecast)| {
            Some(Said {
                value: forecast.daily.day(date)?,
                source: forecast.source,
                issued,
                seen: false,
            })
        }));
        Ok(said)
    }

    /// What every source says of an hour, as [`said_of_day`](Self::said_of_day).
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn said_of_hour(&self, start: NaiveDateTime) -> Result<Vec<Said<Hour>>, StoreError> {
        let mut said = Vec::new();
        let slot = packing::hour_slot(start);
        let forecasts = self.said(slot, &Series::HOURLY, |source, issued, row| {
            let [temperature_c, dew_point_c, humidity_pct, rain_mm, wind_m_s] = row else {
                return;
            };
            said.push(Said {
                source,
                issued,
                seen: true,
                value: Hour {
                    start,
                    temperature_c: *temperature_c,
                    dew_point_c: *dew_point_c,
                    humidity_pct: *humidity_pct,
                    rain_mm: *rain_mm,
                    wind_m_s: *wind_m_s,
                },
            });
        })?;
        said.extend(forecasts.into_iter().filter_map(|(issued, forecast)| {
            let hourly = forecast.hourly?;
            Some(Said {
                value: hourly.at(hourly.index(start)?),
                source: forecast.source,
                issued,
                seen: false,
            })
        }));
        Ok(said)
    }

    /// Hands the seen values of one slot to `seen`, source by source; returns
    /// the newest forecast of each.
    fn said(
        &self,
        slot: Option<(i32, usize)>,
        series: &[Series],
        mut seen: impl FnMut(String, Option<DateTime<Utc>>, &[Option<f64>]),
    ) -> Result<Vec<Issued>, StoreError> {
        let Some((year, at)) = slot else {
            return Ok(Vec::new());
        };
        let names = self.sources(&[])?;
        for (id, name) in &names {
            let blocks = self.rows(
                "reading the kept weather",
                "SELECT series, codes, issued FROM block WHERE source = ?1 AND year = ?2",
                params![id, year],
                |row| {
                    let code = packing::from_bytes(row.get_ref(1)?.as_blob()?).nth(at);
                    let when = issue_at(row.get_ref(2)?.as_blob()?, at);
                    Ok((row.get::<_, i64>(0)?, code.unwrap_or(UNKNOWN), when))
                },
            )?;
            let mut newest = None;
            let row: Vec<Option<f64>> = series
                .iter()
                .map(|series| {
                    let (_, code, when) = blocks.iter().find(|block| block.0 == series.code())?;
                    let value = series.unpack(*code)?;
                    newest = newest.max(*when);
                    Some(value)
                })
                .collect();
            if row.iter().any(Option::is_some) {
                seen(name.clone(), newest.and_then(packing::instant), &row);
            }
        }
        let mut forecasts = Vec::new();
        let newest = self.rows(
            "reading the forecasts",
            "SELECT source, issued, max(day) FROM forecast GROUP BY source",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        for (id, name) in &names {
            let Some(&(_, issued, day)) = newest
                .iter()
                .find(|(source, ..): &&(i64, i64, i64)| source == id)
            else {
                continue;
            };
            if let Some(forecast) = self.forecast_of(*id, day, name)? {
                forecasts.push((packing::instant(issued), forecast));
            }
        }
        Ok(forecasts)
    }

    pub(super) fn rows<T>(
        &self,
        doing: &str,
        query: &str,
        with: impl rusqlite::Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let sql = |e| StoreError::sql(e, &self.path, doing);
        let mut statement = self.connection.prepare(query).map_err(sql)?;
        let rows = statement.query_map(with, read).map_err(sql)?;
        rows.collect::<Result<_, _>>().map_err(sql)
    }
}

fn unpack_forecast(
    row: &Row<'_>,
    days: &[u8],
    hours: &[u8],
    name: &str,
) -> rusqlite::Result<Option<Forecast>> {
    let (issued, first): (i64, i64) = (row.get(0)?, row.get(1)?);
    let (Some(issued), Some(first)) = (from_ce(issued), from_ce(first)) else {
        return Ok(None);
    };
    let mut daily = DailyRecord::unknown(first, 0);
    [daily.low_c, daily.high_c, daily.rain_mm] = columns_from_bytes(Series::DAILY, days);
    let hourly = row.get::<_, Option<i64>>(3)?.map(|first| {
        let mut hourly = HourlyRecord::unknown(local_stamp(first), 0);
        [
            hourly.temperature_c,
            hourly.dew_point_c,
            hourly.humidity_pct,
            hourly.rain_mm,
            hourly.wind_m_s,
        ] = columns_from_bytes(Series::HOURLY, hours);
        hourly
    });
    Ok(Some(Forecast {
        issued,
        daily,
        hourly,
        source: name.to_owned(),
    }))
}

fn issue_at(runs: &[u8], at: usize) -> Option<i64> {
    let mut end = 0;
    packing::runs(runs)
        .find(|(len, _)| {
            end += len;
            at < end
        })
        .map(|(_, when)| when)
}

fn from_ce(days: i64) -> Option<NaiveDate> {
    NaiveDate::from_num_days_from_ce_opt(i32::try_from(days).ok()?)
}
