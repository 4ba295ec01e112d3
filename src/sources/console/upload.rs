//! The upload of a console: a form, or the query of the older kind.

use super::super::hours::in_our_time;
use super::{AIR_C, Count, Odd, Rain, Reading, Refused, checked};
use crate::units::{Quantity, Unit, f_to_c};
use chrono::{DateTime, NaiveDateTime, Utc};
use serde_json::{Map, Value};

/// Which of two gauges counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gauge {
    /// The tipping bucket (`yearlyrainin`, `totalrainin`, `dailyrainin`).
    Bucket,
    /// The plate that feels the drops (`yrain_piezo`, `drain_piezo`).
    Piezo,
}

impl Gauge {
    /// Its word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Gauge::Bucket => "bucket",
            Gauge::Piezo => "piezo",
        }
    }

    /// Its counters. Those of the year come first: they are set back least.
    fn counters(self) -> &'static [(&'static str, Count)] {
        match self {
            Gauge::Bucket => &[
                ("yearlyrainin", Count::Year),
                ("totalrainin", Count::Total),
                ("dailyrainin", Count::Day),
            ],
            Gauge::Piezo => &[("yrain_piezo", Count::Year), ("drain_piezo", Count::Day)],
        }
    }
}

/// What the keeper said of a console. Without a word values are in the units
/// that the names of the fields tell.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Form {
    /// The gauge that counts; the only one, or the bucket, unless said.
    pub gauge: Option<Gauge>,
    /// The unit under `tempf`.
    pub temperature: Option<Unit>,
    /// The unit of the counters of rain.
    pub rain: Option<Unit>,
    /// The unit under `windspeedmph`.
    pub wind: Option<Unit>,
}

/// Numbers by which loggers say that there is none, and the two ends of the
/// scale at which a lost sensor rests, °F (reference: weather-sources 4.2).
const MARKS: [f64; 3] = [-9_999.0, -999.0, 65_535.0];
const ENDS_F: [f64; 2] = [-40.0, 140.0];

/// No place has as many inches of mercury.
const MOST_IN_HG: f64 = 50.0;

/// Reads the form of a console's upload, `tempf=53.8&humidity=30&...`, or the
/// query of the older kind, which has the same fields. `received` stands in
/// for the word `now` as time.
///
/// # Errors
/// As [`read_fields`].
pub fn read_form(body: &str, form: &Form, received: DateTime<Utc>) -> Result<Reading, Refused> {
    let mut fields = Map::new();
    for pair in body.trim().trim_start_matches('?').split('&') {
        if let Some((name, value)) = pair.split_once('=') {
            fields.insert(unescape(name), Value::String(unescape(value)));
        }
    }
    if fields.is_empty() {
        return Err(Refused::Form);
    }
    read_fields(&fields, form, received)
}

/// Reads the fields of a console's upload; values may be texts or numbers.
/// `received` stands in for the word `now` as time.
///
/// # Errors
/// [`Refused`] where there is no time, neither temperature nor rain, or units
/// that cannot be those of the names.
pub fn read_fields(
    fields: &Map<String, Value>,
    form: &Form,
    received: DateTime<Utc>,
) -> Result<Reading, Refused> {
    let number = |name: &str| {
        let number = match fields.get(name)? {
            Value::Number(number) => number.as_f64(),
            Value::String(text) => text.trim().parse().ok(),
            _ => None,
        };
        number.filter(|number: &f64| number.is_finite() && !MARKS.contains(number))
    };
    const KNOWN: [&str; 3] = ["dateutc", "tempf", "humidity"];
    if !KNOWN.iter().any(|name| fields.contains_key(*name)) {
        return Err(Refused::Form);
    }
    let at = time(fields, received)?;
    if form.temperature.is_none() {
        let pressures = ["baromrelin", "baromabsin", "baromin"];
        let pressure = pressures.into_iter().find_map(number);
        if let Some(pressure) = pressure.filter(|pressure| *pressure > MOST_IN_HG) {
            return Err(Refused::Units { pressure });
        }
    }
    let mut odd = Vec::new();
    let fahrenheit = form.temperature.is_none_or(|unit| unit.symbol == "°F");
    let temperature_c = checked(
        &mut odd,
        "tempf",
        number("tempf").filter(|raw| !(fahrenheit && ENDS_F.contains(raw))),
        |raw| {
            form.temperature
                .map_or_else(|| f_to_c(raw), |unit| unit.to_si(raw))
        },
        |c| AIR_C.contains(&c),
    );
    let humidity_pct = checked(
        &mut odd,
        "humidity",
        number("humidity").filter(|raw| *raw != 0.0),
        |raw| raw,
        |pct| Quantity::Humidity.check(pct).is_ok(),
    );
    let wind_m_s = checked(
        &mut odd,
        "windspeedmph",
        number("windspeedmph"),
        |raw| si(form.wind, Quantity::Wind, "mph", raw),
        |m_s| Quantity::Wind.check(m_s).is_ok(),
    );
    let rain = rain(&number, form, &mut odd);
    if temperature_c.is_none() && rain == Rain::Unknown && odd.is_empty() {
        return Err(Refused::Nothing);
    }
    Ok(Reading {
        at,
        temperature_c,
        sure_of_unit: form.temperature.is_some(),
        humidity_pct,
        wind_m_s,
        rain,
        odd,
    })
}

/// A value in the unit said, or else in the one of the field's name.
fn si(said: Option<Unit>, quantity: Quantity, usual: &str, raw: f64) -> f64 {
    said.or_else(|| quantity.unit(usual))
        .map_or(f64::NAN, |unit| unit.to_si(raw))
}

fn time(fields: &Map<String, Value>, received: DateTime<Utc>) -> Result<DateTime<Utc>, Refused> {
    let stamp = match fields.get("dateutc") {
        None => return Err(Refused::NoTime),
        Some(Value::String(stamp)) => stamp.trim().replace(['+', 'T'], " "),
        Some(_) => return Err(Refused::Time),
    };
    if stamp.eq_ignore_ascii_case("now") {
        return Ok(received);
    }
    NaiveDateTime::parse_from_str(stamp.trim_end_matches('Z'), "%Y-%m-%d %H:%M:%S")
        .ok()
        .and_then(|at| in_our_time(at.and_utc()))
        .ok_or(Refused::Time)
}

/// The counter of the gauge that counts.
fn rain(number: &impl Fn(&str) -> Option<f64>, form: &Form, odd: &mut Vec<Odd>) -> Rain {
    let counter = |gauge: Gauge| {
        let mut counters = gauge.counters().iter();
        counters.find_map(|(field, count)| number(field).map(|raw| (*field, *count, raw)))
    };
    let (bucket, piezo) = (counter(Gauge::Bucket), counter(Gauge::Piezo));
    let chosen = match (form.gauge, bucket, piezo) {
        (Some(gauge @ Gauge::Bucket), None, Some(_))
        | (Some(gauge @ Gauge::Piezo), Some(_), None) => {
            odd.push(Odd::NoSuchGauge(gauge));
            None
        }
        (Some(Gauge::Bucket), bucket, _) => bucket,
        (Some(Gauge::Piezo), _, piezo) => piezo,
        (None, Some(bucket), piezo) => {
            odd.extend(piezo.map(|_| Odd::TwoGauges));
            Some(bucket)
        }
        (None, None, piezo) => piezo,
    };
    let Some((field, count, raw)) = chosen else {
        return Rain::Unknown;
    };
    let mm = checked(
        odd,
        field,
        Some(raw),
        |raw| si(form.rain, Quantity::Rain, "in", raw),
        // Some count for years: there is no most.
        |mm| mm.is_finite() && mm >= 0.0,
    );
    mm.map_or(Rain::Unknown, |mm| Rain::Counter { count, mm })
}

/// `%20` and `+` as they are meant.
fn unescape(text: &str) -> String {
    let mut out = Vec::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        match byte {
            b'+' => out.push(b' '),
            b'%' => {
                let digits = [bytes.next(), bytes.next()]
                    .map(|digit| digit.and_then(|digit| char::from(digit).to_digit(16)));
                match digits {
                    [Some(high), Some(low)] => out.push((high * 16 + low) as u8),
                    _ => out.push(b'?'),
                }
            }
            _ => out.push(byte),
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ARRIVED: DateTime<Utc> = DateTime::<Utc>::UNIX_EPOCH;

    fn read(form: &str) -> Result<Reading, Refused> {
        read_form(form, &Form::default(), ARRIVED)
    }

    /// The fields of a captured upload with two gauges, as reference
    /// weather-sources 4.1 quotes them.
    const TWO_GAUGES: &str = "PASSKEY=secret&dateutc=2022-04-20+19:14:47&tempf=59.7&humidity=65\
                              &windspeedmph=2.24&dailyrainin=0.000&yearlyrainin=3.909\
                              &drain_piezo=0.075&yrain_piezo=4.114&model=x&freq=868M";

    #[test]
    fn an_upload_of_two_gauges_as_it_was_captured() {
        let reading = read(TWO_GAUGES).unwrap();
        assert_eq!(reading.at.to_rfc3339(), "2022-04-20T19:14:47+00:00");
        assert!((reading.temperature_c.unwrap() - 15.389).abs() < 0.001);
        assert_eq!(reading.humidity_pct, Some(65.0));
        assert!((reading.wind_m_s.unwrap() - 1.001).abs() < 0.001);
        assert_eq!(reading.odd, [Odd::TwoGauges], "the keeper has to choose");
        let counted = |gauge| {
            let form = Form {
                gauge,
                ..Form::default()
            };
            let reading = read_form(TWO_GAUGES, &form, ARRIVED).unwrap();
            match reading.rain {
                Rain::Counter { count, mm } => (count, (mm / 25.4 * 1_000.0).round()),
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(counted(None), (Count::Year, 3_909.0));
        assert_eq!(counted(Some(Gauge::Bucket)), (Count::Year, 3_909.0));
        assert_eq!(counted(Some(Gauge::Piezo)), (Count::Year, 4_114.0));
    }

    #[test]
    fn the_older_query_has_the_same_fields_and_the_word_now() {
        let reading = read("?ID=me&PASSWORD=secret&dateutc=now&tempf=50&dailyrainin=0.1").unwrap();
        assert_eq!(reading.at, ARRIVED);
        assert_eq!(reading.temperature_c, Some(10.0));
        let rain = Rain::Counter {
            count: Count::Day,
            mm: 0.1 * 25.4,
        };
        assert_eq!(reading.rain, rain);
        let escaped = read("dateutc=2022-04-20%2019%3A14%3A47&tempf=50").unwrap();
        assert_eq!(escaped.at.to_rfc3339(), "2022-04-20T19:14:47+00:00");
        let numbers: Value = serde_json::from_str(
            r#"{"dateutc":"2022-04-20 19:14:47","tempf":59.7,"yearlyrainin":3.909}"#,
        )
        .unwrap();
        let fields = numbers.as_object().unwrap();
        let reading = read_fields(fields, &Form::default(), ARRIVED).unwrap();
        assert!((reading.temperature_c.unwrap() - 15.389).abs() < 0.001);
    }

    #[test]
    fn what_is_refused_says_why_and_never_repeats_a_field() {
        for (form, wanted) in [
            ("", Refused::Form),
            ("<html><body class=a>hello</body></html>", Refused::Form),
            ("PASSKEY=secret", Refused::Form),
            ("PASSKEY=secret&tempf=50", Refused::NoTime),
            ("PASSKEY=secret&dateutc=secret&tempf=1", Refused::Time),
            ("dateutc=2022-02-30 10:00:00&tempf=1", Refused::Time),
            ("PASSKEY=secret&dateutc=now&humidity=30", Refused::Nothing),
            ("dateutc=now&tempf=-9999&humidity=30", Refused::Nothing),
            ("dateutc=now&tempf=-40.0", Refused::Nothing),
            (
                "dateutc=now&tempf=12&baromrelin=1013.2",
                Refused::Units { pressure: 1013.2 },
            ),
        ] {
            let refused = read(form).unwrap_err();
            assert_eq!(refused, wanted, "{form}");
            assert!(!format!("{refused} {refused:?}").contains("secret"));
        }
    }

    #[test]
    fn values_that_cannot_be_are_left_out_by_name() {
        let reading = read("dateutc=now&tempf=212&humidity=104&yearlyrainin=-1").unwrap();
        assert_eq!(reading.temperature_c, None);
        assert_eq!(reading.humidity_pct, Some(104.0), "as cheap sensors say");
        assert_eq!(reading.rain, Rain::Unknown);
        let told: Vec<&str> = reading.odd.iter().map(Odd::kind).collect();
        assert_eq!(told, ["tempf", "yearlyrainin"]);
        assert!(reading.odd[0].to_string().starts_with("tempf = 212 cannot"));
    }

    /// A capture held °C under `tempf` (reference: weather-sources 4.2).
    #[test]
    fn other_units_where_the_keeper_says_so() {
        let form = Form {
            temperature: Quantity::Temperature.unit("C"),
            rain: Quantity::Rain.unit("mm"),
            wind: Quantity::Wind.unit("km/h"),
            gauge: None,
        };
        let text = "dateutc=now&tempf=22.0&windspeedmph=36&dailyrainin=1.5&baromrelin=1013";
        let reading = read_form(text, &form, ARRIVED).unwrap();
        assert_eq!(reading.temperature_c, Some(22.0));
        assert!((reading.wind_m_s.unwrap() - 10.0).abs() < 1e-9);
        let rain = Rain::Counter {
            count: Count::Day,
            mm: 1.5,
        };
        assert_eq!((reading.rain, reading.sure_of_unit), (rain, true));
    }
}
