//! Warnings of the weather service that cover a night.

use super::evidence::Evidence;
use crate::facts::weather::{Alert, AlertKind};
use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

/// The warning that covers the night before a morning, noon to noon by the
/// clock of the place; of several the gravest: a freeze warning, a frost
/// advisory, a watch, great cold.
pub fn of_night(alerts: &[Alert], morning: NaiveDate, zone: Tz) -> Option<Evidence> {
    let noon = NaiveTime::from_hms_opt(12, 0, 0)?;
    let from = morning.checked_sub_days(Days::new(1))?.and_time(noon);
    let to = morning.and_time(noon);
    let local = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&zone).naive_local();
    let alert = alerts
        .iter()
        .filter(|alert| local(alert.begins) < to && local(alert.ends) > from)
        .min_by_key(|alert| {
            let rank = match alert.kind {
                AlertKind::FreezeWarning => 0,
                AlertKind::FrostAdvisory => 1,
                AlertKind::FreezeWatch => 2,
                AlertKind::Cold => 3,
            };
            (rank, alert.begins)
        })?;
    Some(Evidence::Warned {
        event: alert.event.clone(),
        office: alert.office.clone(),
        until: local(alert.ends),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, Utc};
    use chrono_tz::America::New_York;

    fn alert(kind: AlertKind, begins: &str, ends: &str) -> Alert {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        Alert {
            key: "k".to_owned(),
            kind,
            event: format!("{kind:?}"),
            begins: at(begins),
            ends: at(ends),
            sent: at(begins),
            headline: String::new(),
            office: "NWS Somewhere".to_owned(),
        }
    }

    #[test]
    fn a_warning_is_of_the_night_it_covers_and_the_gravest_is_told() {
        let alerts = [
            alert(
                AlertKind::FreezeWatch,
                "2026-04-21T02:00:00Z",
                "2026-04-22T13:00:00Z",
            ),
            alert(
                AlertKind::FreezeWarning,
                "2026-04-21T06:00:00Z",
                "2026-04-21T13:00:00Z",
            ),
        ];
        let of = |day: &str| match of_night(&alerts, day.parse().unwrap(), New_York) {
            Some(Evidence::Warned { event, until, .. }) => Some((event, until.to_string())),
            _ => None,
        };
        let warning = ("FreezeWarning".to_owned(), "2026-04-21 09:00:00".to_owned());
        assert_eq!(of("2026-04-21"), Some(warning), "by the clock of the place");
        assert_eq!(of("2026-04-22").unwrap().0, "FreezeWatch");
        assert_eq!(of("2026-04-20"), None);
        assert_eq!(of("2026-04-23"), None);
    }
}
