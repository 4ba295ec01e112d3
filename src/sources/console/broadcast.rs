//! The broadcast of a station in one piece.

use super::super::hours::in_our_time;
use super::{AIR_C, Rain, Reading, Refused, checked};
use crate::units::Quantity;
use chrono::DateTime;
use serde_json::Value;

/// Reads a broadcast of a station in one piece: its `obs_st` messages, each an
/// array of 18 values. Other messages give no reading; those of stations in
/// two pieces are not put together.
///
/// # Errors
/// [`Refused`] where it is no such message at all.
pub fn read_broadcast(body: &[u8]) -> Result<Vec<Reading>, Refused> {
    let message: Value = serde_json::from_slice(body).map_err(|_| Refused::Form)?;
    let kind = message.get("type").and_then(Value::as_str);
    match kind {
        None => return Err(Refused::Form),
        Some("obs_st") => {}
        Some(_) => return Ok(Vec::new()),
    }
    let rows = message.get("obs").and_then(Value::as_array);
    rows.ok_or(Refused::Form)?.iter().map(reading).collect()
}

fn reading(row: &Value) -> Result<Reading, Refused> {
    let number = |index: usize| row.get(index).and_then(Value::as_f64);
    let seconds = number(0).ok_or(Refused::NoTime)?;
    let at = DateTime::from_timestamp(seconds as i64, 0)
        .and_then(in_our_time)
        .ok_or(Refused::Time)?;
    let mut odd = Vec::new();
    let as_is = |raw: f64| raw;
    let within = |quantity: Quantity| move |si: f64| quantity.check(si).is_ok();
    let wind_m_s = checked(&mut odd, "wind", number(2), as_is, within(Quantity::Wind));
    let temperature_c = checked(&mut odd, "temperature", number(7), as_is, |c| {
        AIR_C.contains(&c)
    });
    let humidity_pct = checked(
        &mut odd,
        "humidity",
        number(8),
        as_is,
        within(Quantity::Humidity),
    );
    let mm = checked(&mut odd, "rain", number(12), as_is, within(Quantity::Rain));
    let minutes = number(17).filter(|minutes| (0.0..=60.0).contains(minutes) && *minutes > 0.0);
    Ok(Reading {
        at,
        temperature_c,
        sure_of_unit: true,
        humidity_pct,
        wind_m_s,
        rain: match (mm, minutes) {
            (Some(mm), Some(minutes)) => Rain::Past { minutes, mm },
            _ => Rain::Unknown,
        },
        odd,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values of the captured message, its names and numbers of devices
    /// taken out.
    const CAPTURED: &str = r#"{"type":"obs_st","obs":[[1588948614,0.18,0.22,0.27,144,6,1017.57,
        22.37,50.26,328,0.03,3,0.01,0,0,0,2.41,1]]}"#;

    #[test]
    fn a_broadcast_as_it_was_captured() {
        let readings = read_broadcast(CAPTURED.as_bytes()).unwrap();
        let [reading] = readings.as_slice() else {
            panic!("{readings:?}");
        };
        assert_eq!(reading.at.timestamp(), 1_588_948_614);
        assert_eq!(reading.temperature_c, Some(22.37));
        assert_eq!(reading.humidity_pct, Some(50.26));
        assert_eq!(reading.wind_m_s, Some(0.22));
        let rain = Rain::Past {
            minutes: 1.0,
            mm: 0.01,
        };
        assert_eq!(reading.rain, rain);
    }

    #[test]
    fn all_but_the_time_may_be_null() {
        let nulls = format!(
            r#"{{"type":"obs_st","obs":[[1588948614{}]]}}"#,
            ",null".repeat(17)
        );
        let reading = read_broadcast(nulls.as_bytes()).unwrap().remove(0);
        assert_eq!(
            (reading.temperature_c, reading.rain, reading.odd.len()),
            (None, Rain::Unknown, 0)
        );
        for (text, wanted) in [
            (r#"{"type":"obs_st","obs":[[null,1]]}"#, Refused::NoTime),
            (r#"{"type":"obs_st","obs":[[1e300,1]]}"#, Refused::Time),
            (r#"{"type":"obs_st"}"#, Refused::Form),
            (r#"{"obs":[]}"#, Refused::Form),
            ("<html>", Refused::Form),
        ] {
            assert_eq!(read_broadcast(text.as_bytes()), Err(wanted), "{text}");
        }
        let wind = br#"{"type":"rapid_wind","ob":[1493322445,2.3,128]}"#;
        assert_eq!(read_broadcast(wind), Ok(Vec::new()));
    }
}
