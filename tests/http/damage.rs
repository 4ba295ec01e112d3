//! Replies that are damaged anywhere: an error or fewer values, never a
//! panic.

use super::nws::bodies;
use super::{ghcn, instant};
use budtide::sources::console::{self, Fold, Form};
use budtide::sources::patience::{Jitter, http_date};
use budtide::sources::{ghcn as records, nws};
use chrono_tz::America::New_York;

/// Name, a whole body, and whether a body can be read.
type Reader = (&'static str, Vec<u8>, fn(&[u8]) -> bool);

fn readers() -> Vec<Reader> {
    let [grid, hourly, reports, alerts] = bodies();
    vec![
        ("grid", grid, |body| {
            nws::read_grid(body, New_York, instant("2026-04-20T15:30:00Z")).is_ok()
        }),
        ("hourly", hourly, |body| {
            nws::read_hourly(body, New_York, instant("2026-04-20T15:30:00Z")).is_ok()
        }),
        ("reports", reports, |body| {
            nws::read_reports(body, New_York).is_ok()
        }),
        ("alerts", alerts, |body| {
            let zones = ["NYZ052".to_owned()];
            nws::read_alerts(body, &zones, instant("2026-04-20T15:30:00Z")).is_ok()
        }),
        ("record", ghcn::WIDE.as_bytes().to_vec(), |body| {
            records::read(body, None).is_ok()
        }),
        ("lines", ghcn::lines().into_bytes(), |body| {
            records::read(body, Some("USC00000001")).is_ok()
        }),
        (
            "form",
            b"dateutc=2022-11-26+22:25:29&tempf=53.8&humidity=30&yearlyrainin=1".to_vec(),
            |body| {
                let text = String::from_utf8_lossy(body);
                let now = instant("2026-04-20T15:30:00Z");
                let reading = console::read_form(&text, &Form::default(), now);
                let fold = |reading| Fold::default().take(&reading, New_York, &|_| None);
                reading.map(fold).is_ok()
            },
        ),
        (
            "broadcast",
            br#"{"type":"obs_st","obs":[[1588948614,0,1,2,3,4,5,22.4,50,1,2,3,0.1]]}"#.to_vec(),
            |body| {
                let mut fold = Fold::default();
                let mut take = |reading| fold.take(&reading, New_York, &|_| None);
                let readings = console::read_broadcast(body);
                readings
                    .map(|readings| readings.into_iter().for_each(|one| drop(take(one))))
                    .is_ok()
            },
        ),
        ("date", b"Sun, 06 Nov 1994 08:49:37 GMT".to_vec(), |body| {
            http_date(&String::from_utf8_lossy(body)).is_some()
        }),
    ]
}

#[test]
fn a_body_cut_anywhere_is_an_error_or_fewer_values() {
    for (name, body, read) in readers() {
        assert!(read(&body), "{name} whole");
        let step = (body.len() / 200).max(1);
        for end in (0..body.len()).step_by(step) {
            let _ = read(&body[..end]);
        }
        assert!(
            !read(&body[..body.len() / 3]) || !body.starts_with(b"{"),
            "{name}"
        );
    }
}

#[test]
fn a_body_damaged_anywhere_does_no_harm() {
    let mut jitter = Jitter::new(42);
    let mut below = |end: usize| (jitter.share() * end as f64) as usize;
    let pieces: [&[u8]; 12] = [
        b"9",
        b"-",
        b"\"",
        b"}",
        b"null",
        b"1e308",
        b"99999999",
        b"\xff",
        b"P9D",
        b"/",
        b",",
        b"T",
    ];
    for (name, body, read) in readers() {
        let mut readable = 0;
        for _ in 0..300 {
            let mut damaged = body.clone();
            for _ in 0..1 + below(4) {
                let at = below(damaged.len());
                let piece = pieces[below(pieces.len())];
                let end = (at + below(12)).min(damaged.len());
                damaged.splice(at..end, piece.iter().copied());
            }
            readable += usize::from(read(&damaged));
        }
        assert!(readable < 300, "{name}: some damage is seen");
    }
}
