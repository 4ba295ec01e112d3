//! `measure`: any model over any span of the place's own weather, with the
//! rule by which it was worked out.

use super::{Output, day};
use crate::facts::Facts;
use crate::facts::knowledge::{Cutoff, DegreeDayMethod, HeatRule};
use crate::facts::weather::{Column, DailyRecord, HourlyRecord};
use crate::render::measure::{Line, Table, page};
use crate::season::chill::ChillSums;
use crate::season::degree_days::DegreeDays;
use crate::season::freeze_dates::{self, FreezeOdds, Spans, THRESHOLDS_F};
use crate::season::hourly_curve;
use crate::season::infection::Class;
use crate::season::wetness::{Estimate, WetHours, WetRule, periods};
use crate::season::{self, Season};
use crate::units::{Quantity, UnitSystem, c_to_f, plain};
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use clap::Subcommand;
use serde::Serialize;

/// What can be measured.
#[derive(Clone, Debug, Subcommand)]
pub enum Measure {
    /// Degree days month by month, by any method and thresholds
    DegreeDays {
        /// First day; 1 January if left out
        #[arg(long, value_parser = day)]
        from: Option<NaiveDate>,
        /// Last day; yesterday if left out
        #[arg(long, value_parser = day)]
        to: Option<NaiveDate>,
        /// Lower threshold with its unit
        #[arg(long, default_value = "43 °F", value_parser = temperature)]
        base: f64,
        /// Upper threshold with its unit
        #[arg(long, value_parser = temperature)]
        upper: Option<f64>,
        /// simple average, clamped average, single sine, double sine,
        /// single triangle or double triangle
        #[arg(long, default_value = "single sine", value_parser = method)]
        method: DegreeDayMethod,
        /// horizontal, intermediate or vertical
        #[arg(long, default_value = "horizontal", value_parser = cutoff)]
        cutoff: Cutoff,
    },
    /// Winter chill: portions, hours and Utah units month by month
    Chill {
        /// First day; the last 1 October if left out
        #[arg(long, value_parser = day)]
        from: Option<NaiveDate>,
        /// Last day; yesterday if left out
        #[arg(long, value_parser = day)]
        to: Option<NaiveDate>,
    },
    /// Wet periods from hours of rain and humidity
    Wet {
        /// First day; 30 days back if left out
        #[arg(long, value_parser = day)]
        from: Option<NaiveDate>,
        /// Last day; yesterday if left out
        #[arg(long, value_parser = day)]
        to: Option<NaiveDate>,
    },
    /// Infection periods of this season for the diseases of your crops
    Infections,
    /// Nights of this season that hurt, and those forecast
    Frost,
    /// Last and first freezes: 90, 50 and 10 % dates; the coldest night
    Freezes,
}

fn temperature(text: &str) -> Result<f64, String> {
    Quantity::Temperature
        .read(text)
        .map_err(|error| error.to_string())
}

fn method(text: &str) -> Result<DegreeDayMethod, String> {
    word(text, &DegreeDayMethod::ALL)
}

fn cutoff(text: &str) -> Result<Cutoff, String> {
    word(text, &Cutoff::ALL)
}

fn word<T: Copy>(text: &str, choices: &[(T, &str)]) -> Result<T, String> {
    let wanted = text.replace('-', " ");
    choices
        .iter()
        .find(|(_, word)| word.eq_ignore_ascii_case(&wanted))
        .map_or_else(
            || {
                let words: Vec<&str> = choices.iter().map(|(_, word)| *word).collect();
                Err(format!("known are {}", words.join(", ")))
            },
            |(choice, _)| Ok(*choice),
        )
}

/// A table as JSON: heads and rows.
#[derive(Debug, Serialize)]
struct View<'t> {
    title: &'t str,
    heads: &'t [String],
    rows: Vec<Vec<&'t str>>,
    notes: &'t [String],
}

/// Measures and shows.
pub fn run(
    measure: &Measure,
    facts: &Facts,
    today: NaiveDate,
    as_json: bool,
) -> Result<Output, String> {
    let table = match measure {
        Measure::DegreeDays {
            from,
            to,
            base,
            upper,
            method,
            cutoff,
        } => {
            let rule = HeatRule {
                method: *method,
                base_c: *base,
                upper_c: *upper,
                cutoff: *cutoff,
            };
            let first = NaiveDate::from_ymd_opt(today.year(), 1, 1).unwrap_or(today);
            degree_days(facts, rule, span(*from, *to, first, today)?)?
        }
        Measure::Chill { from, to } => {
            let year = if today.month() >= 10 {
                today.year()
            } else {
                today.year() - 1
            };
            let first = NaiveDate::from_ymd_opt(year, 10, 1).unwrap_or(today);
            chill(facts, span(*from, *to, first, today)?)?
        }
        Measure::Wet { from, to } => wet(facts, span(*from, *to, today - Days::new(30), today)?)?,
        Measure::Infections => infections(facts, &season::derive(facts, today)),
        Measure::Frost => frost(facts, &season::derive(facts, today)),
        Measure::Freezes => freezes(facts, today)?,
    };
    if !as_json {
        return Ok(Output::Lines(page(&table)));
    }
    let rows = table
        .lines
        .iter()
        .map(|line| {
            let mut row = vec![line.label.as_str()];
            row.extend(line.figures.iter().map(String::as_str));
            row.push(&line.remark);
            row
        })
        .collect();
    let view = View {
        title: &table.title,
        heads: &table.heads,
        rows,
        notes: &table.notes,
    };
    serde_json::to_string_pretty(&view)
        .map(Output::Json)
        .map_err(|error| format!("no JSON can be made: {error}"))
}

type Span = (NaiveDate, NaiveDate);

fn span(
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
    first: NaiveDate,
    today: NaiveDate,
) -> Result<Span, String> {
    let from = from.unwrap_or(first);
    let to = to.unwrap_or(today - Days::new(1));
    if to < from {
        return Err(format!("the span ends ({to}) before it begins ({from})"));
    }
    if to - from > TimeDelta::days(36_525) {
        return Err("the span is longer than a hundred years".to_owned());
    }
    Ok((from, to))
}

fn daily(facts: &Facts) -> Result<&DailyRecord, String> {
    facts.weather.daily.as_ref().ok_or_else(|| {
        "no weather is known yet; bring a file in with `budtide import FILE`".to_owned()
    })
}

fn hourly(facts: &Facts) -> Result<&HourlyRecord, String> {
    facts.weather.hourly.as_ref().ok_or_else(|| {
        "no hours are known yet: wetness needs hours of rain and humidity; bring a file in with `budtide import FILE`"
            .to_owned()
    })
}

/// The months of a span, each cut to it.
fn months((from, to): Span) -> Vec<Span> {
    let mut months: Vec<Span> = Vec::new();
    let mut start = from;
    while start <= to {
        let next = start
            .with_day(1)
            .and_then(|first| first.checked_add_months(chrono::Months::new(1)));
        let Some(next) = next else { break };
        months.push((start, to.min(next - Days::new(1))));
        start = next;
    }
    months
}

fn label(month: Span) -> String {
    month.0.format("%b %Y").to_string()
}

fn missing(days: usize, noun: &str) -> String {
    if days == 0 {
        String::new()
    } else {
        format!("{days} {noun} not known")
    }
}

fn degree_days(facts: &Facts, rule: HeatRule, span: Span) -> Result<Table, String> {
    let units = facts.place.units;
    let record = daily(facts)?;
    let degree_days = DegreeDays::by(rule).map_err(|error| error.to_string())?;
    let (scale, unit) = match units {
        UnitSystem::Us => (1.8, "°F d"),
        UnitSystem::Metric => (1.0, "°C d"),
    };
    let mut so_far = 0.0;
    let lines = months(span)
        .into_iter()
        .map(|month| {
            let sum = degree_days.sum(record, month.0, month.1);
            so_far += sum.heat;
            Line {
                label: label(month),
                figures: vec![plain(sum.heat * scale), plain(so_far * scale)],
                bar: Some(sum.heat),
                remark: missing(sum.missing, "days"),
            }
        })
        .collect();
    let upper = rule.upper_c.map_or_else(String::new, |upper| {
        let word = Cutoff::ALL.iter().find(|(one, _)| *one == rule.cutoff);
        format!(
            ", upper threshold {} ({} cut-off)",
            units.temperature(upper),
            word.map_or("horizontal", |(_, word)| word)
        )
    });
    Ok(Table {
        title: format!(
            "Degree days above {}{upper}, {}, {} to {}",
            units.temperature(rule.base_c),
            rule.method.word(),
            span.0,
            span.1
        ),
        heads: vec!["month".into(), unit.into(), "so far".into()],
        lines,
        notes: vec![
            "A published sum holds only with the method, base and start it was published for."
                .into(),
        ],
    })
}

/// The hours of a span: measured where there are enough of them, else a curve
/// through the days' extremes; and which of the two.
fn hours_of(facts: &Facts, span: Span) -> Result<(Column, bool), String> {
    let wanted = ((span.1 - span.0).num_days() + 1).max(0) as usize * 24;
    if let Some(hours) = &facts.weather.hourly {
        let start = span.0.and_time(chrono::NaiveTime::MIN);
        let offset = (start - hours.first()).num_hours();
        let column: Column = (0..wanted as i64)
            .map(|hour| {
                usize::try_from(offset + hour)
                    .ok()
                    .and_then(|index| hours.temperature_c.get(index))
            })
            .collect();
        if column.known() * 20 >= wanted * 19 {
            return Ok((column, true));
        }
    }
    let record = daily(facts)?;
    let mut part = DailyRecord::unknown(span.0, wanted / 24);
    for index in 0..part.len() {
        if let Some(day) = record.day(part.date(index)) {
            part.put(day);
        }
    }
    Ok((
        hourly_curve::hours_of_record(&part, facts.place.latitude),
        false,
    ))
}

fn chill(facts: &Facts, span: Span) -> Result<Table, String> {
    let (hours, measured) = hours_of(facts, span)?;
    let hour = |date: NaiveDate| ((date - span.0).num_days() * 24).max(0) as usize;
    let mut before = 0.0;
    let lines = months(span)
        .into_iter()
        .map(|month| {
            let end = hour(month.1) + 24;
            let whole = ChillSums::over(&hours, 0..end);
            let own = ChillSums::over(&hours, hour(month.0)..end);
            let portions = whole.portions - before;
            before = whole.portions;
            Line {
                label: label(month),
                figures: vec![
                    format!("{portions:.1}"),
                    format!("{:.1}", whole.portions),
                    plain(whole.hours_0_to_7_2),
                    plain(whole.hours_below_7_2),
                    plain(whole.utah),
                ],
                bar: Some(portions),
                remark: missing(own.missing, "hours"),
            }
        })
        .collect();
    Ok(Table {
        title: format!(
            "Winter chill from {} to {}, {}",
            span.0,
            span.1,
            if measured { "measured hours" } else { "hours worked out from the days' extremes" }
        ),
        heads: [
            "month", "portions", "so far", "32-45 °F h", "to 45 °F h", "Utah",
        ]
        .map(str::to_owned)
        .to_vec(),
        lines,
        notes: vec![
            "Portions: dynamic model, counted from the first day of the span. A need given in one unit is never turned into another.".into(),
        ],
    })
}

fn wet(facts: &Facts, span: Span) -> Result<Table, String> {
    /// Dry hours that end a wet period.
    const GAP_HOURS: usize = 8;
    let units = facts.place.units;
    let hours = hourly(facts)?;
    let wet = WetHours::of(hours, &WetRule::default());
    let lines = periods(hours, &wet, Estimate::Likely, GAP_HOURS)
        .into_iter()
        .filter(|period| {
            let date = hours.start(period.first).date();
            span.0 <= date && date <= span.1
        })
        .map(|period| Line {
            label: hours.start(period.first).format("%-d %b %H:00").to_string(),
            figures: vec![
                hours.start(period.last).format("%-d %b %H:00").to_string(),
                period.wet_hours.to_string(),
                period
                    .mean_c
                    .map_or_else(|| "-".to_owned(), |mean| units.temperature(mean)),
                units.rain(period.rain_mm),
            ],
            bar: Some(period.wet_hours as f64),
            remark: if period.open {
                "goes on".into()
            } else {
                String::new()
            },
        })
        .collect();
    Ok(Table {
        title: format!("Wet periods from {} to {}, local standard time", span.0, span.1),
        heads: ["from", "last wet hour", "hours", "mean", "rain"].map(str::to_owned).to_vec(),
        lines,
        notes: vec![
            "Worked out from rain and humidity (rain, 90 % and over, and dew until it dries), not measured on a leaf. Eight dry hours end a period.".into(),
        ],
    })
}

fn infections(facts: &Facts, season: &Season) -> Table {
    let units = facts.place.units;
    let lines = season
        .infections
        .iter()
        .map(|period| Line {
            label: period.from.format("%-d %b %H:00").to_string(),
            figures: vec![
                facts
                    .knowledge
                    .disease(&period.disease)
                    .map_or_else(|| period.disease.clone(), |known| known.name.clone()),
                period.until.format("%-d %b %H:00").to_string(),
                plain(period.wet_hours),
                period
                    .mean_c
                    .map_or_else(|| "-".to_owned(), |mean| units.temperature(mean)),
                match period.class {
                    Class::Severe => "severe",
                    Class::Infection => "infects",
                    Class::Possible => "possible",
                    Class::None => "none",
                }
                .to_owned(),
            ],
            bar: None,
            remark: period.symptoms.map_or_else(String::new, |(from, to)| {
                if from == to {
                    format!("spots on {}", from.format("%-d %b"))
                } else {
                    format!("spots {} to {}", from.format("%-d %b"), to.format("%-d %b"))
                }
            }),
        })
        .collect();
    let mut notes = vec![
        "Wetness is worked out from rain and humidity; \"possible\" hangs on that. Only the stages at which a disease infects your crops are looked at.".to_owned(),
    ];
    if facts.weather.hourly.is_none() {
        notes.push("No hours are known: infection needs hours of rain and humidity.".to_owned());
    }
    Table {
        title: format!(
            "Infection periods of {} until {}",
            season.today.year(),
            season.today
        ),
        heads: ["from", "disease", "until", "wet h", "mean", "class"]
            .map(str::to_owned)
            .to_vec(),
        lines,
        notes,
    }
}

fn frost(facts: &Facts, season: &Season) -> Table {
    let units = facts.place.units;
    let percent = |share: f64| format!("{:.0} %", (share * 100.0).round());
    let lines = season
        .frosts
        .iter()
        .map(|night| Line {
            label: night.date.format("%-d %b").to_string(),
            figures: vec![
                units.temperature(night.low_c),
                facts
                    .knowledge
                    .crop(&night.crop)
                    .map_or_else(|| night.crop.clone(), |crop| crop.name.clone()),
                night.stage.clone(),
                percent(night.kill),
                format!(
                    "{} to {}",
                    percent(night.kill_least),
                    percent(night.kill_most)
                ),
            ],
            bar: None,
            remark: if night.forecast {
                "forecast".into()
            } else {
                String::new()
            },
        })
        .collect();
    Table {
        title: format!("Nights of {} that kill flower buds", season.today.year()),
        heads: ["night to", "low", "crop", "stage", "killed", "bounds"].map(str::to_owned).to_vec(),
        lines,
        notes: vec![
            "Shares of flower buds killed by half an hour at the night's low; the bounds come from the stage's own uncertainty. A thermometer at the block and a count of live buds are better.".into(),
        ],
    }
}

fn freezes(facts: &Facts, today: NaiveDate) -> Result<Table, String> {
    let units = facts.place.units;
    let record = daily(facts)?;
    let first = today.year() - 30;
    let mut lines = Vec::new();
    for fahrenheit in THRESHOLDS_F {
        let threshold = freeze_dates::threshold_c(fahrenheit);
        let years: Vec<_> = freeze_dates::by_year(record, threshold, &Spans::default())
            .into_iter()
            .filter(|year| (first..today.year()).contains(&year.year))
            .collect();
        let spring = FreezeOdds::of(&years, freeze_dates::Season::Spring);
        let autumn = FreezeOdds::of(&years, freeze_dates::Season::Autumn);
        let date = |odds: &FreezeOdds, p: f64| {
            odds.day(p)
                .map_or_else(|| "-".to_owned(), |day| day_of_year(day.day_of_year))
        };
        lines.push(Line {
            label: units.temperature(threshold),
            figures: vec![
                date(&spring, 0.9),
                date(&spring, 0.5),
                date(&spring, 0.1),
                date(&autumn, 0.1),
                date(&autumn, 0.5),
                date(&autumn, 0.9),
                spring.years().to_string(),
            ],
            bar: None,
            remark: String::new(),
        });
    }
    let winters = freeze_dates::winter_lows(record);
    let mut notes = vec![
        "Spring: a freeze comes after this day in so many years of a hundred; fall: before it. \"-\": too few such freezes.".to_owned(),
    ];
    if let Some((mean_c, zone, count)) =
        freeze_dates::mean_extreme_minimum(&winters, first..=today.year())
    {
        notes.push(format!(
            "Mean of the coldest night of {count} winters: {} ({:.1} °F), zone {zone}; place.toml says {}.",
            units.temperature(mean_c),
            c_to_f(mean_c),
            facts.place.hardiness
        ));
    }
    Ok(Table {
        title: format!(
            "Freezes of the last 30 years, {first} to {}",
            today.year() - 1
        ),
        heads: [
            "at or below",
            "spring 90 %",
            "50 %",
            "10 %",
            "fall 10 %",
            "50 %",
            "90 %",
            "years",
        ]
        .map(str::to_owned)
        .to_vec(),
        lines,
        notes,
    })
}

/// A day of the year as month and day of a year without a leap day.
fn day_of_year(day: f64) -> String {
    NaiveDate::from_ymd_opt(2001, 1, 1)
        .and_then(|first| first.checked_add_days(Days::new((day.round().max(1.0) - 1.0) as u64)))
        .map_or_else(|| "-".to_owned(), |date| date.format("%-d %b").to_string())
}
