//! The service's refresh against services on loopback.

use super::open_meteo::{Values, made_up, serve};
use super::server::{Answer, Server};
use super::{date, instant, place, quick};
use budtide::config::weather::{Service, WeatherSettings};
use budtide::facts::place::Place;
use budtide::facts::weather::{Alert, AlertKind};
use budtide::service::refresh::{Fetcher, Job, Refreshed, Wanted};
use budtide::store::weather::WeatherStore;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::America::New_York;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// 11:30 at the place, daylight time.
const NOW: &str = "2026-04-20T15:30:00Z";

fn settings(base: &str, years: u32) -> WeatherSettings {
    let mut settings = WeatherSettings::usual("CA");
    settings.open_meteo.address = Some(base.to_owned());
    settings.years = years;
    settings
}

fn store(folder: &Path) -> WeatherStore {
    WeatherStore::open(&folder.join("weather.sqlite")).unwrap()
}

fn round(
    fetcher: &Fetcher,
    store: &mut WeatherStore,
    now: DateTime<Utc>,
    wanted: Wanted,
) -> Refreshed {
    fetcher
        .round(store, now, wanted, &mut |_| ControlFlow::Continue(()))
        .unwrap()
}

/// What the service answers, made up, from 2023 on.
fn values() -> Values {
    made_up(date("2023-12-30"), 900)
}

fn good() -> Server {
    let values = values();
    Server::start(move |asked| serve(&values, asked, date("2026-04-20")))
}

#[test]
fn past_years_come_newest_first_and_go_on_where_they_ended() {
    let server = good();
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let now = instant(NOW);
    let place = place(New_York);
    let fetcher = Fetcher::with(&place, &settings(&server.base(), 2), quick());
    // Broken off after the second year.
    let mut years = Vec::new();
    let done = fetcher
        .round(&mut store, now, Wanted::All, &mut |step| {
            if let (Job::History, Some(span), true) = (step.job, step.span, step.of > 1) {
                years.push(span.first.to_string());
                if years.len() == 3 {
                    return ControlFlow::Break(());
                }
            }
            ControlFlow::Continue(())
        })
        .unwrap();
    assert!(done.stopped && done.forecast && done.faults.is_empty());
    assert_eq!(years, ["2026-01-01", "2025-01-01", "2024-01-01"]);
    let asked = server.asked().len();
    // Another process goes on.
    let again = Fetcher::with(&place, &settings(&server.base(), 2), quick());
    let done = round(&again, &mut store, now, Wanted::Due);
    assert!(!done.stopped);
    let archive: Vec<String> = server.asked()[asked..]
        .iter()
        .filter(|asked| asked.path == "/v1/archive")
        .map(|asked| asked.query["start_date"].clone())
        .collect();
    assert_eq!(archive, ["2024-01-01"], "2026 and 2025 are not asked again");
    let known = store.load(date("2026-04-20"), &[]).unwrap();
    let daily = known.daily.unwrap();
    assert_eq!(daily.first(), date("2024-01-01"));
    assert_eq!(daily.last(), Some(date("2026-04-19")));
    assert_eq!(daily.low_c.known(), daily.len());
    // Hours of today up to now are seen; the forecast is none of them.
    let hourly = known.hourly.unwrap();
    let last = hourly.start(hourly.len() - 1);
    assert_eq!(last, date("2026-04-20").and_hms_opt(9, 0, 0).unwrap());
    assert!(known.forecast.unwrap().daily.len() >= 15);
    // Nothing is due before the next three hours are over.
    let due = again.next_due(&store, now).unwrap().unwrap();
    assert!(due >= now + TimeDelta::hours(3) && due < now + TimeDelta::hours(4));
    let asked = server.asked().len();
    round(&again, &mut store, now + TimeDelta::hours(1), Wanted::Due);
    assert_eq!(server.asked().len(), asked);
}

/// Requests and bytes of a day, as DEVELOPERS.md and sources/mod.rs tell them.
#[test]
fn a_day_of_the_service_is_polite_and_small() {
    let server = good();
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let fetcher = Fetcher::with(&place(New_York), &settings(&server.base(), 1), quick());
    let begin = instant(NOW);
    round(&fetcher, &mut store, begin, Wanted::All);
    let before = fetcher.traffic();
    for quarter in 1..=96 {
        let now = begin + TimeDelta::minutes(15 * quarter);
        let done = round(&fetcher, &mut store, now, Wanted::Due);
        assert!(done.faults.is_empty(), "{:?}", done.faults);
    }
    let after = fetcher.traffic();
    let requests = after.requests - before.requests;
    println!(
        "a day: {requests} requests, {} KiB unpacked",
        (after.unpacked - before.unpacked) / 1024
    );
    assert!((12..=20).contains(&requests), "{requests} requests a day");
}

#[test]
fn a_service_that_is_gone_leaves_what_is_kept_in_use() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let now = instant(NOW);
    let place = place(New_York);
    let base = {
        let server = good();
        let fetcher = Fetcher::with(&place, &settings(&server.base(), 1), quick());
        round(&fetcher, &mut store, now, Wanted::All);
        server.base()
    };
    let before = store.load(date("2026-04-20"), &[]).unwrap();
    let fetcher = Fetcher::with(&place, &settings(&base, 1), quick());
    let mut pauses = Vec::new();
    let mut at = now + TimeDelta::hours(4);
    for _ in 0..4 {
        let done = round(&fetcher, &mut store, at, Wanted::Due);
        assert_eq!(done.faults.len(), 1, "one failure tells of them all");
        let fault = &done.faults[0];
        assert!(fault.text.contains("fetching the forecast, 127.0.0.1"));
        assert!(
            fault.text.ends_with("to be tried again later"),
            "{}",
            fault.text
        );
        assert!(!fault.tell);
        pauses.push((fault.next - at).num_minutes());
        at = fault.next;
    }
    assert!(
        pauses.windows(2).all(|pair| pair[1] > pair[0]),
        "{pauses:?}"
    );
    // As text: what is unknown equals nothing, not even itself.
    let after = store.load(date("2026-04-20"), &[]).unwrap();
    assert!(format!("{after:?}") == format!("{before:?}"));
    let state = store.fetch_state("Open-Meteo", "forecast").unwrap();
    assert_eq!((state.failures, state.succeeded), (4, Some(now)));
    assert!(state.error.is_some());
    // It is back: all is well again.
    let server = good();
    let fetcher = Fetcher::with(&place, &settings(&server.base(), 1), quick());
    let done = round(&fetcher, &mut store, at, Wanted::All);
    assert!(done.faults.is_empty() && done.forecast);
    assert_eq!(
        store.fetch_state("Open-Meteo", "forecast").unwrap().error,
        None
    );
}

#[test]
fn every_kind_of_failure_is_survived_and_worded() {
    type Maker = Box<dyn Fn() -> Answer + Send + Sync>;
    let page = || {
        Answer::Reply(
            200,
            vec![("Content-Type".to_owned(), "text/html".to_owned())],
            b"<!doctype html><p>Please log in".to_vec(),
        )
    };
    let cases: Vec<(&str, Maker)> = vec![
        (
            "it answered 429",
            Box::new(|| Answer::status(429, "{}").with("Retry-After", "7200")),
        ),
        ("it answered 500", Box::new(|| Answer::status(500, "{}"))),
        (
            "it answered 400: Invalid timezone",
            Box::new(|| Answer::status(400, r#"{"reason":"Invalid timezone","error":true}"#)),
        ),
        ("a web page, not data", Box::new(page)),
        (
            "cut short",
            Box::new(|| Answer::json(r#"{"hourly":{"time":[17"#)),
        ),
        (
            "a redirect was not followed",
            Box::new(|| Answer::status(302, "").with("Location", "mailto:")),
        ),
        ("it is empty", Box::new(|| Answer::json(""))),
        (
            "neither hours nor days",
            Box::new(|| Answer::json(r#"{"latitude":1.0}"#)),
        ),
        (
            "larger than",
            Box::new(|| Answer::json(vec![b' '; 3 << 20])),
        ),
        (
            "",
            Box::new(|| {
                Answer::raw(|out| {
                    let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 99999\r\n\r\n{");
                })
            }),
        ),
    ];
    for (wanted, make) in cases {
        let server = Server::start(move |_| make());
        let folder = tempfile::tempdir().unwrap();
        let mut store = store(folder.path());
        let mut behaviour = quick();
        behaviour.bytes = 2 << 20;
        let fetcher = Fetcher::with(&place(New_York), &settings(&server.base(), 1), behaviour);
        let now = instant(NOW);
        let done = round(&fetcher, &mut store, now, Wanted::Due);
        assert!(!done.faults.is_empty(), "{wanted}");
        assert!(!done.forecast && done.new_days + done.new_hours == 0);
        for fault in &done.faults {
            assert!(fault.text.contains(wanted), "{wanted}: {}", fault.text);
            assert!(fault.next > now);
            assert!(!fault.text.contains("42.7"), "no place in a message");
        }
        if wanted.ends_with("429") {
            assert!(done.faults[0].next >= now + TimeDelta::hours(2));
        }
        // What it kept is nothing, and the next round is not at once.
        let due = fetcher.next_due(&store, now).unwrap();
        assert!(due.is_some());
    }
}

#[test]
fn a_slow_reply_is_left_and_a_stop_is_heeded() {
    let calls = Arc::new(AtomicUsize::new(0));
    let seen = calls.clone();
    let server = Server::start(move |_| {
        seen.fetch_add(1, Ordering::SeqCst);
        Answer::raw(|out| {
            let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 9999\r\n\r\n");
            for _ in 0..100 {
                std::thread::sleep(Duration::from_millis(50));
                if out.write_all(b" ").and_then(|()| out.flush()).is_err() {
                    return;
                }
            }
        })
    });
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let mut behaviour = quick();
    behaviour.whole = Duration::from_millis(300);
    let fetcher = Fetcher::with(&place(New_York), &settings(&server.base(), 1), behaviour);
    let done = round(&fetcher, &mut store, instant(NOW), Wanted::Due);
    assert!(
        done.faults[0].text.contains("not done within"),
        "{:?}",
        done.faults
    );
    assert!(calls.load(Ordering::SeqCst) > 1, "tried again");
    fetcher.stop();
    let before = calls.load(Ordering::SeqCst);
    let done = round(&fetcher, &mut store, instant(NOW), Wanted::All);
    assert!(done.stopped);
    assert_eq!(calls.load(Ordering::SeqCst), before);
}

#[test]
fn another_place_forgets_what_services_said_of_this_one() {
    let server = good();
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let now = instant(NOW);
    let here = place(New_York);
    let settings = settings(&server.base(), 1);
    round(
        &Fetcher::with(&here, &settings, quick()),
        &mut store,
        now,
        Wanted::All,
    );
    let own = budtide::store::weather::Origin {
        source: "import",
        issued: now,
    };
    let day = budtide::facts::weather::Day {
        date: date("2020-01-01"),
        low_c: Some(-7.0),
        high_c: Some(1.0),
        rain_mm: None,
    };
    store.put_days(own, &[day]).unwrap();
    let there = Place {
        latitude: 44.0,
        ..here
    };
    let silent = Server::start(|_| Answer::status(500, ""));
    let mut moved = settings.clone();
    moved.open_meteo.address = Some(silent.base());
    let done = round(
        &Fetcher::with(&there, &moved, quick()),
        &mut store,
        now,
        Wanted::Due,
    );
    assert!(done.moved);
    let known = store.load(date("2026-04-20"), &[]).unwrap();
    assert_eq!(known.daily.unwrap().low_c.known(), 1, "the import stays");
    assert!(known.forecast.is_none());
}

#[test]
fn rows_of_the_keepers_own_station_come_as_they_grow() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("station.csv");
    let rows = |until: u32| {
        let mut text = String::from("date,low,high,rain\n");
        for day in 1..=until {
            text.push_str(&format!("2026-04-{day:02},30,50,0\n"));
        }
        text
    };
    std::fs::write(&file, rows(10)).unwrap();
    let mut settings = WeatherSettings::none();
    settings.sources = vec![Service::Station];
    settings.station = Some(budtide::config::weather::StationChoice {
        name: "shed".to_owned(),
        path: file.clone(),
        settings: vec!["unit.temperature=F".to_owned(), "unit.rain=in".to_owned()],
    });
    let mut store = store(folder.path());
    let fetcher = Fetcher::with(&place(New_York), &settings, quick());
    let mut now = instant(NOW);
    let done = round(&fetcher, &mut store, now, Wanted::Due);
    assert!(done.faults.is_empty(), "{:?}", done.faults);
    assert_eq!(done.new_days, 30);
    std::fs::write(&file, rows(19)).unwrap();
    now += TimeDelta::minutes(10);
    let done = round(&fetcher, &mut store, now, Wanted::Due);
    assert_eq!(done.new_days, 27, "{done:?}");
    std::fs::remove_file(&file).unwrap();
    now += TimeDelta::minutes(10);
    let done = round(&fetcher, &mut store, now, Wanted::Due);
    assert!(
        done.faults[0].text.contains("station.csv"),
        "{:?}",
        done.faults
    );
    let known = store.load(date("2026-04-20"), &[]).unwrap();
    assert_eq!(known.daily.unwrap().len(), 19);
}

#[test]
fn the_us_service_without_a_contact_is_not_asked() {
    let asked = Arc::new(Mutex::new(0));
    let count = asked.clone();
    let server = Server::start(move |_| {
        *count.lock().unwrap() += 1;
        Answer::status(500, "")
    });
    let mut settings = WeatherSettings::usual("US");
    settings.sources = vec![Service::Nws];
    settings.nws.address = Some(server.base());
    let fetcher = Fetcher::with(&place(New_York), &settings, quick());
    assert!(fetcher.is_idle());
    assert!(fetcher.unasked()[0].why.contains("contact"));
    let folder = tempfile::tempdir().unwrap();
    let done = round(
        &fetcher,
        &mut store(folder.path()),
        instant(NOW),
        Wanted::All,
    );
    assert_eq!(done.next_due, None);
    assert_eq!(*asked.lock().unwrap(), 0);
}

#[test]
fn warnings_are_kept_until_they_end_or_are_withdrawn() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let now = instant(NOW);
    let alert = |key: &str, ends: i64| Alert {
        key: key.to_owned(),
        kind: AlertKind::FreezeWarning,
        event: "Freeze Warning".to_owned(),
        begins: now + TimeDelta::hours(ends - 6),
        ends: now + TimeDelta::hours(ends),
        sent: now,
        headline: "Freeze Warning tonight".to_owned(),
        office: "Albany NY".to_owned(),
    };
    let both = [alert("a", 12), alert("b", 36)];
    store.put_alerts("nws", &both, now).unwrap();
    assert_eq!(store.alerts(now).unwrap(), both);
    assert_eq!(store.alerts(now - TimeDelta::hours(1)).unwrap(), []);
    let later = now + TimeDelta::hours(13);
    assert_eq!(store.alerts(later).unwrap(), both[1..]);
    store.put_alerts("nws", &[], later).unwrap();
    assert_eq!(store.alerts(later).unwrap(), []);
    assert_eq!(
        store.alerts(now).unwrap(),
        both[..1],
        "as it was known then"
    );
}

/// KEWR 2013 (airport reports, CC0), imported and fetched: the same plan.
#[test]
fn a_recorded_year_fetched_gives_the_plan_of_the_file() {
    use budtide::service::gather::{self, Folders};
    use budtide::sources::csv_file::{self, days_from_hours};
    use budtide::store::weather::Origin;
    use budtide::{plan, season};

    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/weather/kewr_2013_hourly.csv.gz");
    let mut options = csv_file::Options::default();
    options.set("zone", "America/New_York").unwrap();
    let import = csv_file::read_path(&file, &options).unwrap();
    assert!(import.hourly.len() > 8_000);
    let mut values = Values::new();
    for hour in &import.hourly {
        // Eastern standard time is five hours behind UTC.
        let utc = hour.start.and_utc().timestamp() + 5 * 3_600;
        let row = values.entry(utc).or_default();
        row[0] = hour.temperature_c;
        row[1] = hour.dew_point_c;
        row[2] = hour.humidity_pct;
        row[4] = hour.wind_m_s;
        values.entry(utc + 3_600).or_default()[3] = hour.rain_mm;
    }
    let server = Server::start(move |asked| {
        if asked.query.contains_key("forecast_days") {
            return Answer::status(500, "");
        }
        serve(&values, asked, date("2013-06-20"))
    });
    let folder = tempfile::tempdir().unwrap();
    let place = "name = \"Newark\"\nlatitude = 40.7\nlongitude = -74.2\n\
                 time_zone = \"America/New_York\"\nhardiness_zone = \"7b\"\n\
                 [[usual_bloom]]\ncrop = \"apple\"\ndate = \"04-28\"\n\
                 [weather]\nsources = [\"open-meteo\"]\nyears = 0\n\
                 [weather.open-meteo]\naddress = \"BASE\"\n";
    let place = place.replace("BASE", &server.base());
    std::fs::write(folder.path().join("place.toml"), place).unwrap();
    let register = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\nplanted = 2005\n\
                    [[juniper]]\nid = \"J1\"\nwhere = \"fence\"\ndistance = \"120 ft\"\n";
    std::fs::write(folder.path().join("register.toml"), register).unwrap();
    let folders = |name: &str| Folders {
        config: folder.path().to_path_buf(),
        data: folder.path().join(name),
    };
    for name in ["filed", "fetched"] {
        std::fs::create_dir(folder.path().join(name)).unwrap();
    }
    let now = instant("2013-06-20T11:00:00Z");
    let mut filed = store(&folder.path().join("filed"));
    let origin = Origin {
        source: "import",
        issued: now,
    };
    filed
        .put_days(origin, &days_from_hours(&import.hourly))
        .unwrap();
    filed.put_hours(origin, &import.hourly).unwrap();
    let settings = budtide::config::load(folder.path()).unwrap();
    let fetcher = Fetcher::with(&settings.place, &settings.weather, quick());
    let mut fetched = store(&folder.path().join("fetched"));
    let done = round(&fetcher, &mut fetched, now, Wanted::All);
    assert_eq!(
        done.faults.len(),
        1,
        "the forecast alone: {:?}",
        done.faults
    );
    for today in ["2013-04-30", "2013-05-12", "2013-06-20"].map(date) {
        let [a, b] = ["filed", "fetched"].map(|name| {
            let facts = gather::facts(&folders(name), today).unwrap();
            let season = season::derive(&facts, today);
            let plan = plan::make(&facts, &season, today);
            assert!(season.seen_until.is_some() && !plan.tasks.is_empty());
            (
                format!("{:#?}", season.infections),
                format!("{:#?}", season.frosts),
                format!("{:#?}", plan.tasks),
            )
        });
        assert_eq!(a, b, "{today}");
        assert!(
            today < date("2013-05-01") || a.0.len() > 10,
            "no infection at all"
        );
    }
}

/// A store begun anew has all of the files again, without a restart.
#[test]
fn files_are_read_again_for_a_store_that_was_begun_anew() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("station.csv");
    std::fs::write(
        &file,
        "date,low,high,rain\n2026-04-18,3,9,0\n2026-04-19,4,9,0\n",
    )
    .unwrap();
    let mut settings = WeatherSettings::none();
    settings.sources = vec![Service::Station];
    settings.station = Some(budtide::config::weather::StationChoice {
        name: "shed".to_owned(),
        path: file,
        settings: vec!["unit.temperature=C".to_owned(), "unit.rain=mm".to_owned()],
    });
    let fetcher = Fetcher::with(&place(New_York), &settings, quick());
    let now = instant(NOW);
    let kept = folder.path().join("weather.sqlite");
    let mut before = store(folder.path());
    let done = round(&fetcher, &mut before, now, Wanted::Due);
    assert_eq!((done.faults.len(), done.new_days), (0, 6));
    drop(before);
    for name in std::fs::read_dir(folder.path()).unwrap() {
        let path = name.unwrap().path();
        if path.to_string_lossy().contains("weather.sqlite-") {
            std::fs::remove_file(path).unwrap();
        }
    }
    std::fs::write(&kept, vec![7_u8; 20_000]).unwrap();
    let mut anew = store(folder.path());
    let later = now + TimeDelta::minutes(10);
    let done = round(&fetcher, &mut anew, later, Wanted::Due);
    assert!(done.set_aside.is_some());
    assert_eq!(done.new_days, 6, "the same fetcher reads the files again");
    let done = round(
        &fetcher,
        &mut anew,
        later + TimeDelta::minutes(10),
        Wanted::Due,
    );
    assert_eq!((done.new_days, done.corrected), (0, 0), "and only once");
}

/// Days without network: the plan says how old its forecast is, then that it
/// is given up; windows do not get narrower.
#[test]
fn days_without_network_are_told_and_widen_the_plan() {
    use budtide::season::{self, Caveat};
    use budtide::service::gather::{self, Folders, Look};

    let values = made_up(date("2018-12-30"), 2_800);
    let server = Server::start(move |asked| serve(&values, asked, date("2026-04-20")));
    let folder = tempfile::tempdir().unwrap();
    let place = format!(
        "name = \"Home\"\nlatitude = 42.75\nlongitude = -73.75\n\
         time_zone = \"America/New_York\"\nhardiness_zone = \"5b\"\n\
         [[usual_bloom]]\ncrop = \"apple\"\ndate = \"05-10\"\n\
         [weather]\nsources = [\"open-meteo\"]\nyears = 7\n\
         [weather.open-meteo]\naddress = \"{}\"\n",
        server.base()
    );
    std::fs::write(folder.path().join("place.toml"), place).unwrap();
    std::fs::write(
        folder.path().join("register.toml"),
        "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\nplanted = 2005\n",
    )
    .unwrap();
    let folders = Folders {
        config: folder.path().to_path_buf(),
        data: folder.path().join("data"),
    };
    std::fs::create_dir(&folders.data).unwrap();
    let settings = budtide::config::load(folder.path()).unwrap();
    let now = instant(NOW);
    let mut kept = store(&folders.data);
    let fetcher = Fetcher::with(&settings.place, &settings.weather, quick());
    round(&fetcher, &mut kept, now, Wanted::All);
    let on = |days: i64| {
        let today = date("2026-04-20") + TimeDelta::days(days);
        let look = Look {
            now: Some(now + TimeDelta::days(days)),
            ..Look::morning(today)
        };
        let facts = gather::facts_at(&folders, look).unwrap();
        (season::derive(&facts, today).caveats, facts)
    };
    let (caveats, facts) = on(0);
    assert!(facts.weather.so_far(date("2026-04-20")).is_some());
    assert!(
        !caveats
            .iter()
            .any(|caveat| matches!(caveat, Caveat::OldForecast { .. } | Caveat::Stale { .. })),
        "{caveats:?}"
    );
    let (caveats, facts) = on(3);
    // The same forecast as one of today's: its nights are surer.
    let today = date("2026-04-23");
    let spreads = |facts: &budtide::facts::Facts| -> Vec<f64> {
        let nights = season::derive(facts, today).frost_outlook(facts).unwrap();
        nights.iter().map(|night| night.spread_k).collect()
    };
    let mut fresh = facts.clone();
    fresh.weather.forecast.as_mut().unwrap().issued = today;
    let (old, new) = (spreads(&facts), spreads(&fresh));
    assert_eq!(
        old[..3],
        [2.0, 2.3, 2.6],
        "K, three to five days after issue"
    );
    assert_eq!(new[..3], [1.5, 1.5, 1.8]);
    // Without it the windows rest on past years alone: no narrower in all.
    let wide = |facts: &budtide::facts::Facts| -> i64 {
        let season = season::derive(facts, today);
        let plan = budtide::plan::make(facts, &season, today);
        let opens = plan.tasks.iter().map(|task| task.window.opens.spread);
        opens
            .map(|spread| (spread.late - spread.early).num_days())
            .sum()
    };
    let mut none = facts.clone();
    none.weather.forecast = None;
    assert!(
        wide(&none) >= wide(&facts),
        "{} {}",
        wide(&none),
        wide(&facts)
    );
    assert!(
        caveats.contains(&Caveat::OldForecast {
            issued: date("2026-04-20"),
            days: 3
        }),
        "{caveats:?}"
    );
    let (caveats, facts) = on(6);
    assert!(facts.weather.forecast.is_none());
    assert!(
        caveats.contains(&Caveat::ForecastGivenUp {
            issued: date("2026-04-20")
        }),
        "{caveats:?}"
    );
}
