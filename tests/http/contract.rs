//! What every source keeps, whatever it asks: one test for all of them.

use super::server::{Answer, Server};
use budtide::facts::place::Place;
use budtide::sources::{Part, SourceError, Span, WeatherSource, observed};
use chrono::{DateTime, TimeDelta, Timelike, Utc};
use std::ops::ControlFlow;

/// Holds a source to the contract of [`WeatherSource`].
pub fn keeps_the_contract(
    source: &dyn WeatherSource,
    place: &Place,
    span: Span,
    now: DateTime<Utc>,
) {
    let name = source.name().to_owned();
    assert!(!name.is_empty());
    assert!(!source.credit().text.is_empty(), "{name}");

    let mut parts: Vec<Part> = Vec::new();
    source
        .observed(place, span, now, &mut |part| {
            parts.push(part);
            ControlFlow::Continue(())
        })
        .unwrap();
    assert!(!parts.is_empty(), "{name} gave nothing");
    // Local standard time is at most 14 hours from UTC.
    let latest = now.naive_utc() + TimeDelta::hours(14);
    let mut before = None;
    for (index, part) in parts.iter().enumerate() {
        assert_eq!((part.part, part.of), (index + 1, parts.len()), "{name}");
        assert!(span.contains(part.span.first) && span.contains(part.span.last));
        assert!(before.is_none_or(|last| last < part.span.first), "{name}");
        before = Some(part.span.last);
        assert!(part.days.is_sorted_by(|a, b| a.date < b.date), "{name}");
        assert!(part.hours.is_sorted_by(|a, b| a.start < b.start), "{name}");
        for day in &part.days {
            assert!(part.span.contains(day.date), "{name} {}", day.date);
            assert!(day.date < latest.date(), "{name} {}", day.date);
            if let (Some(low), Some(high)) = (day.low_c, day.high_c) {
                assert!(low <= high, "{name} {}", day.date);
            }
            assert!(day.rain_mm.is_none_or(|rain| rain >= 0.0));
        }
        for hour in &part.hours {
            assert!(part.span.contains(hour.start.date()), "{name}");
            assert!(hour.start < latest, "{name} {}", hour.start);
            assert_eq!((hour.start.minute(), hour.start.second()), (0, 0), "{name}");
            let known = [hour.temperature_c, hour.dew_point_c];
            assert!(known.iter().flatten().all(|c| (-60.0..=60.0).contains(c)));
        }
    }
    assert!(
        parts
            .iter()
            .any(|part| !part.days.is_empty() || !part.hours.is_empty()),
        "{name} knows no day"
    );

    let whole = observed(source, place, span, now).unwrap().unwrap();
    let again = observed(source, place, span, now).unwrap().unwrap();
    assert_eq!(whole.days, again.days, "{name}: asked twice, said the same");
    assert_eq!(whole.hours, again.hours, "{name}");

    let none = Span {
        first: span.last,
        last: span.first.pred_opt().unwrap(),
    };
    assert!(none.is_empty());
    let empty = observed(source, place, none, now).unwrap();
    assert!(empty.is_none_or(|part| part.days.is_empty() && part.hours.is_empty()));

    let ended = source.observed(place, span, now, &mut |_| ControlFlow::Break(()));
    assert!(matches!(ended, Err(SourceError::Stopped)), "{name}");

    match source.forecast(place, now) {
        Ok(forecast) => {
            assert_eq!(forecast.source, name);
            let issued = forecast.issued;
            assert!((now.date_naive() - issued).num_days().abs() <= 1, "{name}");
            assert!(forecast.daily.first() >= issued, "{name}");
            assert!(forecast.daily.len() >= 2, "{name}");
        }
        Err(SourceError::NotOffered { source, .. }) => assert_eq!(source, name),
        Err(other) => panic!("{name}: {other}"),
    }
    match source.alerts(place, now) {
        Ok(alerts) => {
            for alert in alerts {
                assert!(alert.ends > now, "{name}");
                assert!(alert.begins <= alert.ends && !alert.key.is_empty());
            }
        }
        Err(SourceError::NotOffered { source, .. }) => assert_eq!(source, name),
        Err(other) => panic!("{name}: {other}"),
    }
}

/// Holds a source to what it says of a service that is down.
pub fn says_what_failed(
    make: impl Fn(&str) -> Box<dyn WeatherSource>,
    place: &Place,
    span: Span,
    now: DateTime<Utc>,
) {
    for (status, again) in [(500, true), (503, true), (429, true), (403, false)] {
        let server = Server::start(move |_| Answer::status(status, "<html>no</html>"));
        let source = make(&server.base());
        let error = observed(source.as_ref(), place, span, now).unwrap_err();
        let said = format!("{error} {error:?}");
        assert_eq!(error.again(), again, "{status}: {said}");
        assert!(said.contains("127.0.0.1"), "{said}");
        assert!(said.contains(&status.to_string()), "{said}");
        for secret in ["42.7", "73.7", "secret", "latitude"] {
            assert!(!said.contains(secret), "{said}");
        }
        if !again {
            let asked = server.asked().len();
            assert_eq!(asked, 1, "{status} is not asked again: {asked}");
        }
    }
}
