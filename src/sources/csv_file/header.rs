//! Which column holds what, and in which unit: read from the header.

use super::names::NAMES;
use super::options::{Clock, Options, unit_of};
use crate::units::{Quantity, Unit};

/// What a column may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// The day's lowest temperature.
    Low,
    /// The day's highest temperature.
    High,
    /// Air temperature of the hour.
    Temperature,
    /// Dew point.
    DewPoint,
    /// Relative humidity.
    Humidity,
    /// Rain and melted snow.
    Rain,
    /// Wind speed.
    Wind,
    /// Name of the station.
    Station,
    /// The day.
    Date,
    /// Day and hour, or the hour beside a date.
    Time,
    /// The year alone.
    Year,
    /// The month alone.
    Month,
    /// The day of the month alone.
    Day,
    /// The hour alone, 0 to 24.
    Hour,
}

/// Field, its key in options, its name in messages.
const FIELDS: [(Field, &str, &str); 14] = [
    (Field::Low, "low", "low"),
    (Field::High, "high", "high"),
    (Field::Temperature, "temperature", "temperature"),
    (Field::DewPoint, "dew_point", "dew point"),
    (Field::Humidity, "humidity", "humidity"),
    (Field::Rain, "rain", "rain"),
    (Field::Wind, "wind", "wind"),
    (Field::Station, "station", "station"),
    (Field::Date, "date", "date"),
    (Field::Time, "time", "time"),
    (Field::Year, "year", "year"),
    (Field::Month, "month", "month"),
    (Field::Day, "day", "day of the month"),
    (Field::Hour, "hour", "hour"),
];

impl Field {
    /// The field with this key.
    pub fn named(key: &str) -> Option<Field> {
        let key = key.trim();
        FIELDS
            .iter()
            .find(|(_, name, _)| *name == key)
            .map(|(field, _, _)| *field)
    }

    /// The key in options.
    pub fn name(self) -> &'static str {
        FIELDS
            .iter()
            .find(|(field, _, _)| *field == self)
            .map_or("", |(_, name, _)| name)
    }

    /// The name in messages.
    pub fn label(self) -> &'static str {
        FIELDS
            .iter()
            .find(|(field, _, _)| *field == self)
            .map_or("", |(_, _, label)| label)
    }

    /// All keys.
    pub(super) fn names() -> String {
        FIELDS.map(|(_, name, _)| name).join(", ")
    }

    /// What it measures; `None` for names and times.
    pub fn quantity(self) -> Option<Quantity> {
        match self {
            Field::Low | Field::High | Field::Temperature | Field::DewPoint => {
                Some(Quantity::Temperature)
            }
            Field::Humidity => Some(Quantity::Humidity),
            Field::Rain => Some(Quantity::Rain),
            Field::Wind => Some(Quantity::Wind),
            _ => None,
        }
    }
}

/// What a header says.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Heading {
    /// The header as written.
    pub text: String,
    /// What it names, if that is known.
    pub field: Option<Field>,
    /// Its unit, if told.
    pub unit: Option<Unit>,
    /// The unit that the header tells where the user tells another.
    pub overruled: Option<&'static str>,
    /// A unit that was told but is none of the field's quantity.
    pub strange_unit: Option<String>,
    /// The clock that the name of a time tells.
    pub clock: Option<Clock>,
}

/// Reads one header.
pub(super) fn heading(text: &str) -> Heading {
    let text = text.trim().trim_matches('"').trim();
    let mut heading = Heading {
        text: text.to_owned(),
        field: None,
        unit: None,
        overruled: None,
        strange_unit: None,
        clock: None,
    };
    let (name, bracket) = match text.find(['(', '[']) {
        Some(at) => {
            let (name, rest) = text.split_at(at);
            let inside = rest.trim_matches(|c: char| "()[] ".contains(c));
            (name, Some(inside.to_owned()))
        }
        None => (text, None),
    };
    let words: Vec<&str> = name
        .split(|c: char| c.is_whitespace() || "_-.:,".contains(c))
        .filter(|word| !word.is_empty())
        .collect();
    if let Some(field) = field_of(&words) {
        heading.field = Some(field);
        match bracket {
            Some(bracket) => heading.told_in_brackets(field, bracket),
            None => heading.clock = clock_of(words.last().copied().unwrap_or("")),
        }
        return heading;
    }
    // The unit, or the clock, is the last one to three words.
    for count in 1..=3.min(words.len().saturating_sub(1)) {
        let (front, back) = words.split_at(words.len() - count);
        let Some(field) = field_of(front) else {
            continue;
        };
        let unit = field.quantity().and_then(|quantity| {
            unit_of(quantity, &back.join("_")).or_else(|| unit_of(quantity, &back.join(" ")))
        });
        let clock = clock_of(&back.concat());
        let is_time = matches!(field, Field::Date | Field::Time);
        if unit.is_some() {
            heading.field = Some(field);
            heading.unit = unit;
        } else if is_time && (clock.is_some() || back.concat().eq_ignore_ascii_case("local")) {
            heading.field = Some(field);
            heading.clock = clock;
        } else if field.quantity().is_some() && count == 1 && is_some_unit(&back.concat()) {
            heading.field = Some(field);
            heading.strange_unit = Some(back.concat());
        } else {
            continue;
        }
        break;
    }
    heading
}

impl Heading {
    fn told_in_brackets(&mut self, field: Field, bracket: String) {
        if let Some(quantity) = field.quantity() {
            self.unit = unit_of(quantity, &bracket);
            if self.unit.is_none() && is_some_unit(&bracket) {
                self.strange_unit = Some(bracket);
            }
        } else {
            self.clock = clock_of(&bracket);
        }
    }
}

fn field_of(words: &[&str]) -> Option<Field> {
    let name: String = words
        .concat()
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect();
    NAMES
        .iter()
        .find(|(_, names)| names.contains(&name.as_str()))
        .map(|(field, _)| *field)
}

fn clock_of(word: &str) -> Option<Clock> {
    match word.to_ascii_lowercase().as_str() {
        "utc" | "gmt" | "z" => Some(Clock::Utc),
        "lst" | "standard" | "standardtime" | "localstandardtime" => Some(Clock::Standard),
        "civil" | "civiltime" => Some(Clock::Civil),
        _ => None,
    }
}

/// Whether a text is a unit of anything.
fn is_some_unit(text: &str) -> bool {
    crate::units::MEASURES
        .iter()
        .any(|measure| unit_of(measure.quantity, text).is_some())
}

/// All headers of a line, with the user's own choices before any guess.
pub(super) fn headings(fields: &[String], options: &Options) -> Vec<Heading> {
    let mut all: Vec<Heading> = fields.iter().map(|text| heading(text)).collect();
    for choice in &options.columns {
        for heading in &mut all {
            if heading.field == Some(choice.field) {
                heading.field = None;
            }
        }
    }
    for choice in &options.columns {
        let Some(wanted) = &choice.header else {
            continue;
        };
        if let Some(at) = find(&all, wanted) {
            let heading = &mut all[at];
            let told = unit_in(&heading.text, choice.field);
            heading.field = Some(choice.field);
            heading.unit = heading.unit.filter(|_| told.is_none()).or(told);
            heading.strange_unit = None;
        }
    }
    for heading in &mut all {
        let Some(field) = heading.field else { continue };
        if let Some(unit) = options.unit(field) {
            let said = heading.unit.map(|said| said.symbol);
            heading.overruled = said.filter(|said| *said != unit.symbol);
            heading.unit = Some(unit);
            heading.strange_unit = None;
        } else if field == Field::Humidity && heading.unit.is_none() {
            heading.unit = unit_of(Quantity::Humidity, "%");
        }
    }
    all
}

/// Where a column that the user named stands.
pub(super) fn find(all: &[Heading], wanted: &str) -> Option<usize> {
    let wanted = wanted.trim();
    all.iter()
        .position(|heading| heading.text == wanted)
        .or_else(|| {
            all.iter()
                .position(|heading| heading.text.to_lowercase() == wanted.to_lowercase())
        })
}

/// A unit at the end of a header whose name we do not know.
fn unit_in(text: &str, field: Field) -> Option<Unit> {
    let quantity = field.quantity()?;
    let inside = text
        .rfind(['(', '['])
        .and_then(|at| text.get(at + 1..))
        .map(|rest| rest.trim_end_matches([')', ']', ' ']));
    inside
        .and_then(|inside| unit_of(quantity, inside))
        .or_else(|| {
            let last = text
                .rsplit(['_', ' '])
                .next()
                .filter(|last| *last != text)?;
            unit_of(quantity, last)
        })
}

/// How much a line looks like the header: time and measured columns found.
pub(super) fn score(all: &[Heading]) -> (usize, usize) {
    let times = all
        .iter()
        .filter(|heading| {
            matches!(
                heading.field,
                Some(Field::Date | Field::Time | Field::Year | Field::Month | Field::Day)
            )
        })
        .count();
    let measured = all
        .iter()
        .filter(|heading| {
            heading
                .field
                .is_some_and(|field| field.quantity().is_some())
        })
        .count();
    (times, measured)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> (Option<Field>, Option<&'static str>) {
        let heading = heading(text);
        (heading.field, heading.unit.map(|unit| unit.symbol))
    }

    #[test]
    fn names_and_units_in_many_spellings() {
        for (text, field, unit) in [
            ("tmin_c", Field::Low, Some("°C")),
            ("temp_f", Field::Temperature, Some("°F")),
            ("Tmax (°F)", Field::High, Some("°F")),
            ("Tmax (\u{2109})", Field::High, Some("°F")),
            ("precip_in", Field::Rain, Some("in")),
            ("rain [mm]", Field::Rain, Some("mm")),
            ("wind_mph", Field::Wind, Some("mph")),
            ("wind_m_s", Field::Wind, Some("m/s")),
            ("Wind Speed (km/h)", Field::Wind, Some("km/h")),
            ("rh_pct", Field::Humidity, Some("%")),
            ("dewp_f", Field::DewPoint, Some("°F")),
            ("temp deg F", Field::Temperature, Some("°F")),
            ("precip_1h_mm", Field::Rain, Some("mm")),
            ("TMAX", Field::High, None),
            ("PRCP", Field::Rain, None),
            ("TMAX (tenths of °C)", Field::High, Some("0.1 °C")),
            ("date", Field::Date, None),
            ("time_utc", Field::Time, None),
            ("Date Time", Field::Time, None),
            ("station", Field::Station, None),
        ] {
            assert_eq!(told(text), (Some(field), unit), "{text}");
        }
    }

    #[test]
    fn other_names_are_left_alone() {
        for text in [
            "rh_mean_pct",
            "dewp_mean_c",
            "precip_6h_mm",
            "precip_1h_trace",
            "pressure_hpa",
            "wind_gust_mph",
            "et0_mm",
            "tmy_month",
            "",
            "°C",
            "()",
        ] {
            assert_eq!(told(text), (None, None), "{text}");
        }
        assert_eq!(heading("tmin_mm").strange_unit.as_deref(), Some("mm"));
        assert_eq!(heading("time_utc").clock, Some(Clock::Utc));
        assert_eq!(heading("time (LST)").clock, Some(Clock::Standard));
    }
}
