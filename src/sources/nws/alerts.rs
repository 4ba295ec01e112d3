//! Warnings of cold.
//!
//! The list of active ones holds cancelled and replaced ones too, and
//! `expires` is the end of the message, not of the cold. What counts is the
//! line of event codes (VTEC) inside: one line, one event; its action says
//! whether it holds, its office, kind and number name it for good.

use super::super::reply::clean;
use super::super::{Alert, AlertKind};
use super::interval::instant;
use chrono::{DateTime, Datelike, NaiveDateTime, Utc};
use serde_json::Value;
use std::collections::BTreeMap;

/// What an event code line says.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Vtec {
    action: String,
    office: String,
    phenomenon: String,
    significance: String,
    number: String,
    begins: Option<DateTime<Utc>>,
    ends: Option<DateTime<Utc>>,
}

impl Vtec {
    /// Reads `/O.NEW.KLCH.FZ.A.0001.220102T0600Z-220102T1500Z/`.
    fn read(text: &str) -> Option<Self> {
        let mut parts = text.trim().trim_matches('/').split('.');
        // Operational products only: others are tests and trials.
        if parts.next()? != "O" {
            return None;
        }
        let mut next = || parts.next().map(str::to_owned);
        let (action, office) = (next()?, next()?);
        let (phenomenon, significance) = (next()?, next()?);
        let number = next()?;
        let times = next()?;
        let (begins, ends) = times.split_once('-')?;
        let time = |text: &str| {
            // All noughts: not said, or going on already.
            NaiveDateTime::parse_from_str(text, "%y%m%dT%H%MZ")
                .ok()
                .map(|time| time.and_utc())
        };
        Some(Vtec {
            action,
            office,
            phenomenon,
            significance,
            number,
            begins: time(begins),
            ends: time(ends),
        })
    }

    fn kind(&self) -> Option<AlertKind> {
        match (self.phenomenon.as_str(), self.significance.as_str()) {
            ("FR", "Y") => Some(AlertKind::FrostAdvisory),
            ("FZ" | "HZ", "A") => Some(AlertKind::FreezeWatch),
            ("FZ" | "HZ", "W") => Some(AlertKind::FreezeWarning),
            ("CW" | "EC" | "WC", _) => Some(AlertKind::Cold),
            _ => None,
        }
    }

    fn over(&self) -> bool {
        matches!(self.action.as_str(), "CAN" | "EXP" | "UPG")
    }
}

/// The kind by the event's name; former names for old records.
fn kind_named(event: &str) -> Option<AlertKind> {
    match event.trim().to_ascii_lowercase().as_str() {
        "frost advisory" => Some(AlertKind::FrostAdvisory),
        "freeze watch" | "hard freeze watch" => Some(AlertKind::FreezeWatch),
        "freeze warning" | "hard freeze warning" => Some(AlertKind::FreezeWarning),
        "cold weather advisory"
        | "extreme cold watch"
        | "extreme cold warning"
        | "wind chill advisory"
        | "wind chill watch"
        | "wind chill warning" => Some(AlertKind::Cold),
        _ => None,
    }
}

/// Reads a list of alerts: those of cold that hold at `now` or later, for the
/// zones of the place (`NYZ052`, `NYC001`) or an area around the `point`
/// (longitude, latitude). By their beginning.
pub(super) fn read(
    answer: &Value,
    zones: &[String],
    point: (f64, f64),
    now: DateTime<Utc>,
) -> Vec<Alert> {
    // The newest message on an event decides whether it holds.
    let mut events: BTreeMap<String, (bool, Alert)> = BTreeMap::new();
    let list = answer.get("features").and_then(Value::as_array);
    for feature in list.into_iter().flatten() {
        let Some(alert) = feature.get("properties") else {
            continue;
        };
        if text(alert, "status") != "Actual" || !concerns(feature, alert, zones, point) {
            continue;
        }
        for (over, alert) in events_of(alert) {
            let newer = events
                .get(&alert.key)
                .is_none_or(|(_, known)| known.sent <= alert.sent);
            if newer {
                events.insert(alert.key.clone(), (over, alert));
            }
        }
    }
    let mut alerts: Vec<Alert> = events
        .into_values()
        .filter(|(over, alert)| !over && alert.ends > now)
        .map(|(_, alert)| alert)
        .collect();
    alerts.sort_by(|a, b| (a.begins, &a.key).cmp(&(b.begins, &b.key)));
    alerts
}

/// The events of cold in one message, and whether each is over.
fn events_of(alert: &Value) -> Vec<(bool, Alert)> {
    let time = |name: &str| alert.get(name).and_then(Value::as_str).and_then(instant);
    let sent = time("sent").or_else(|| time("effective"));
    let Some(sent) = sent else { return Vec::new() };
    let onset = time("onset").or_else(|| time("effective")).unwrap_or(sent);
    let ends = time("ends").or_else(|| time("expires"));
    let past = text(alert, "urgency") == "Past" || text(alert, "messageType") == "Cancel";
    let event = clean(text(alert, "event"));
    let make = |kind, key, begins: DateTime<Utc>, ends: DateTime<Utc>| Alert {
        key,
        kind,
        event: event.clone(),
        begins: begins.min(ends),
        ends,
        sent,
        headline: clean(text(alert, "headline")),
        office: clean(text(alert, "senderName")),
    };
    let lines: Vec<Vtec> = alert
        .pointer("/parameters/VTEC")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(|line| Vtec::read(line.as_str()?))
        .collect();
    if lines.is_empty() {
        let Some((kind, ends)) = kind_named(&event).zip(ends) else {
            return Vec::new();
        };
        let key = format!(
            "{}.{event}.{}",
            text(alert, "senderName"),
            onset.date_naive()
        );
        return vec![(past, make(kind, clean(&key), onset, ends))];
    }
    let mut out = Vec::new();
    for line in &lines {
        let Some((kind, ends)) = line.kind().zip(line.ends.or(ends)) else {
            continue;
        };
        let key = format!(
            "{}.{}.{}.{}.{}",
            line.office,
            line.phenomenon,
            line.significance,
            line.number,
            ends.year()
        );
        let begins = line.begins.unwrap_or(onset);
        // With one line the message as a whole speaks of it.
        let over = line.over() || (past && lines.len() == 1);
        out.push((over, make(kind, key, begins, ends)));
    }
    out
}

/// Whether an alert is for the place: by its zones, else by its area. One
/// that names neither was chosen by the service, and so is each one where the
/// zones of the place are not known.
fn concerns(feature: &Value, alert: &Value, zones: &[String], point: (f64, f64)) -> bool {
    if zones.is_empty() {
        return true;
    }
    let codes = alert.pointer("/geocode/UGC").and_then(Value::as_array);
    let affected = alert.get("affectedZones").and_then(Value::as_array);
    let mut named = codes
        .into_iter()
        .chain(affected)
        .flatten()
        .filter_map(Value::as_str)
        .map(last_step)
        .peekable();
    let names_zones = named.peek().is_some();
    if named.any(|code| zones.iter().any(|zone| zone == code)) {
        return true;
    }
    match feature.get("geometry") {
        Some(geometry) if geometry.is_object() => covers(geometry, point),
        _ => !names_zones,
    }
}

/// Whether a polygon, or one of several, holds the point (longitude,
/// latitude).
fn covers(geometry: &Value, point: (f64, f64)) -> bool {
    let coordinates = geometry.get("coordinates").and_then(Value::as_array);
    let rings: Vec<&Value> = match geometry.get("type").and_then(Value::as_str) {
        Some("Polygon") => coordinates.into_iter().flatten().take(1).collect(),
        Some("MultiPolygon") => coordinates
            .into_iter()
            .flatten()
            .filter_map(|polygon| polygon.get(0))
            .collect(),
        _ => return false,
    };
    rings.into_iter().any(|ring| {
        let corners: Vec<(f64, f64)> = ring
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|corner| Some((corner.get(0)?.as_f64()?, corner.get(1)?.as_f64()?)))
            .collect();
        let next = corners.iter().cycle().skip(1);
        let crossings = corners.iter().zip(next).filter(|(a, b)| {
            (a.1 > point.1) != (b.1 > point.1)
                && point.0 < (b.0 - a.0) * (point.1 - a.1) / (b.1 - a.1) + a.0
        });
        crossings.count() % 2 == 1
    })
}

/// The last step of an address, or the text itself.
pub(super) fn last_step(text: &str) -> &str {
    text.rsplit('/').next().unwrap_or(text)
}

fn text<'v>(value: &'v Value, name: &str) -> &'v str {
    value.get(name).and_then(Value::as_str).unwrap_or("")
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn reads_event_codes() {
        let line = Vtec::read("/O.NEW.KLCH.FZ.A.0001.220102T0600Z-220102T1500Z/").unwrap();
        assert_eq!(line.kind(), Some(AlertKind::FreezeWatch));
        assert_eq!(
            line.begins.unwrap().to_rfc3339(),
            "2022-01-02T06:00:00+00:00"
        );
        assert!(!line.over());
        let line = Vtec::read("/O.CAN.KLCH.FR.Y.0001.000000T0000Z-220102T1500Z/").unwrap();
        assert_eq!((line.begins, line.over()), (None, true));
        for wrong in [
            "",
            "/T.NEW.KLCH.FZ.A.0001.220102T0600Z-220102T1500Z/",
            "/O.NEW/",
        ] {
            assert_eq!(Vtec::read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn an_area_holds_a_point() {
        let square = json!({"type": "Polygon",
            "coordinates": [[[-74, 42], [-73, 42], [-73, 43], [-74, 43], [-74, 42]]]});
        assert!(covers(&square, (-73.5, 42.5)));
        assert!(!covers(&square, (-72.5, 42.5)));
        assert!(!covers(
            &json!({"type": "Polygon", "coordinates": []}),
            (0.0, 0.0)
        ));
        assert!(!covers(
            &json!({"type": "Point", "coordinates": [0, 0]}),
            (0.0, 0.0)
        ));
    }
}
