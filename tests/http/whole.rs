//! The services of the United States through a whole round of the service:
//! from what they answer to the page and the plan. Replies are made up in
//! their documented shapes (reference: weather-sources 2 and 3).

use super::nws::{FREEZE, grid, hourly, point, reports, stations, warning};
use super::server::{Answer, Asked, Server};
use super::{date, instant, quick};
use budtide::service::gather::{self, Folders, Look};
use budtide::service::refresh::{Fetcher, Refreshed, Wanted};
use budtide::store::weather::WeatherStore;
use budtide::{config, plan, season};
use chrono::{DateTime, Datelike, TimeDelta, Utc};
use serde_json::json;
use std::fmt::Write as _;
use std::fs;
use std::ops::ControlFlow;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

const NOW: &str = "2026-04-20T15:30:00Z";

/// A place in the United States; `BASE` is where its services are.
const PLACE: &str = "name = \"Home\"\nlatitude = 42.7456789\nlongitude = -73.7523456\n\
     elevation = \"300 ft\"\ntime_zone = \"America/New_York\"\nhardiness_zone = \"5b\"\n\
     [[usual_bloom]]\ncrop = \"apple\"\ndate = \"04-25\"\n\
     [weather]\nsources = [\"ghcn\", \"nws\"]\nyears = 6\n\
     [weather.nws]\ncontact = \"keeper@example.org\"\naddress = \"BASE\"\n\
     [weather.ghcn]\nstation = \"USW00000001\"\naddress = \"BASE/access/{station}FORM\"\n";

const REGISTER: &str = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\nplanted = 2005\n\n\
     [[juniper]]\nid = \"J1\"\nwhere = \"fence\"\ndistance = \"120 ft\"\n";

/// Low and high of a day in tenths of °C: a mild winter and an early spring.
fn tenths(day: chrono::NaiveDate) -> (i32, i32) {
    let turn = f64::from(day.ordinal()) / 365.25 * std::f64::consts::TAU;
    let mean = 90.0 - 130.0 * (turn - 0.35).cos();
    let wobble = f64::from(day.ordinal() * 37 % 11) * 6.0 - 30.0;
    let low = (mean + wobble - 55.0).round() as i32;
    (low, low + 110)
}

fn recorded() -> impl Iterator<Item = chrono::NaiveDate> {
    date("2020-01-01")
        .iter_days()
        .take_while(|day| *day < date("2026-04-14"))
}

/// `access/ID.csv`: columns of this station, in quotes, padded, with flags.
fn csv() -> String {
    let mut text = String::from(
        "\"STATION\",\"DATE\",\"LATITUDE\",\"LONGITUDE\",\"ELEVATION\",\"NAME\",\"PRCP\",\
         \"PRCP_ATTRIBUTES\",\"TMAX\",\"TMAX_ATTRIBUTES\",\"TMIN\",\"TMIN_ATTRIBUTES\"\n",
    );
    for day in recorded() {
        let (low, high) = tenths(day);
        // One failed check, one trace: the high is dropped, the rain is none.
        let flag = if day == date("2025-07-03") { "I" } else { "" };
        let _ = writeln!(
            text,
            "\"USW00000001\",\"{day}\",\"42.75\",\"-73.80\",\"91.4\",\"SOMEWHERE AP, NY US\",\
             \"    0\",\"T,,W,2400\",\"{high:>5}\",\",{flag},W,2400\",\"{low:>5}\",\",,W,2400\""
        );
    }
    text
}

/// `ID.dly`: a line for a month and an element, 31 groups of eight columns.
fn dly() -> String {
    let mut text = String::new();
    let mut month = date("2020-01-01");
    while month < date("2026-05-01") {
        for element in ["TMIN", "TMAX", "PRCP"] {
            let _ = write!(text, "USW00000001{}{element}", month.format("%Y%m"));
            for number in 1..=31 {
                let day = month.with_day(number);
                let value = match day.filter(|day| *day < date("2026-04-14")) {
                    None => -9_999,
                    Some(_) if element == "PRCP" => 0,
                    Some(day) if element == "TMIN" => tenths(day).0,
                    Some(day) => tenths(day).1,
                };
                let failed = day == Some(date("2025-07-03")) && element == "TMAX";
                let flags = match (value, failed) {
                    (-9_999, _) => "   ",
                    (_, true) => " IW",
                    _ => "  W",
                };
                let _ = write!(text, "{value:>5}{flags}");
            }
            text.push('\n');
        }
        month = month.checked_add_months(chrono::Months::new(1)).unwrap();
    }
    text
}

/// Both agencies behind one address, as they are documented.
fn serve(asked: &Asked) -> Answer {
    let path: Vec<&str> = asked.path.trim_matches('/').split('/').collect();
    if let ["access", name] = path.as_slice() {
        return match *name {
            "USW00000001.csv" => Answer::json(csv()),
            "USW00000001.dly" => Answer::json(dly()),
            other => panic!("{other}"),
        };
    }
    assert!(asked.headers["user-agent"].contains("keeper@example.org"));
    let body = match path.as_slice() {
        // Rounded coordinates: a redirect that is itself a problem document.
        ["points", "42.7457,-73.7523"] => {
            let body = json!({"type": "https://api.example.org/problems/AdjustPointPrecision",
                "title": "Adjusting Precision Of Point Coordinate", "status": 301,
                "detail": "The precision of latitude/longitude points is limited"});
            return Answer::Reply(
                301,
                vec![
                    ("Location".into(), "/points/42.746,-73.752".into()),
                    ("Content-Type".into(), "application/problem+json".into()),
                ],
                body.to_string().into(),
            );
        }
        ["points", "42.746,-73.752"] => point(),
        ["gridpoints", "XYZ", "7,8"] => grid(),
        ["gridpoints", "XYZ", "7,8", "forecast", "hourly"] => hourly(),
        ["gridpoints", "XYZ", "7,8", "stations"] => stations(&["KAAA"]),
        ["stations", "KAAA", "observations"] => {
            let of = |name: &str| instant(&asked.query[name]);
            reports(of("start"), of("end"))
        }
        ["alerts", "active"] => {
            let sent = "2026-04-20T10:00:00-04:00";
            json!({"features": [warning("Freeze Warning", &[FREEZE], "NYZ052", sent)]})
        }
        other => panic!("{other:?}"),
    };
    Answer::json(body.to_string())
}

/// A keeper's folder of which a round was made.
struct Home {
    folder: TempDir,
    folders: Folders,
    done: Refreshed,
}

fn at_home(server: &Server, place: &str, form: &str) -> Home {
    let folder = tempfile::tempdir().unwrap();
    let place = place.replace("BASE", &server.base()).replace("FORM", form);
    fs::write(folder.path().join("place.toml"), place).unwrap();
    fs::write(folder.path().join("register.toml"), REGISTER).unwrap();
    let folders = Folders {
        config: folder.path().to_path_buf(),
        data: folder.path().join("data"),
    };
    fs::create_dir(&folders.data).unwrap();
    let done = look(&folders, instant(NOW), Wanted::All);
    Home {
        folder,
        folders,
        done,
    }
}

fn look(folders: &Folders, now: DateTime<Utc>, wanted: Wanted) -> Refreshed {
    let settings = config::load(&folders.config).unwrap();
    let mut behaviour = quick();
    behaviour.bytes = 3 << 20;
    behaviour.whole = std::time::Duration::from_millis(800);
    let fetcher = Fetcher::with(&settings.place, &settings.weather, behaviour);
    let mut store = WeatherStore::open(&folders.data.join("weather.sqlite")).unwrap();
    fetcher
        .round(&mut store, now, wanted, &mut |_| ControlFlow::Continue(()))
        .unwrap()
}

/// What a command prints on the day of the round.
fn page(home: &Path, args: &[&str]) -> String {
    let text = json_page(home, args);
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    text
}

fn json_page(home: &Path, args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_budtide"))
        .env_clear()
        .env("HOME", home)
        .args(["--folder", ".", "--as-of", "2026-04-20"])
        .args(args)
        .current_dir(home)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

#[test]
fn the_us_services_reach_the_page_and_the_plan() {
    let mut pages = Vec::new();
    for form in [".csv", ".dly"] {
        let server = Server::start(serve);
        let home = at_home(&server, PLACE, form);
        assert_eq!(home.done.faults, [], "{form}");
        assert!(home.done.forecast);
        assert_eq!(home.done.alerts, 1);
        assert_eq!(home.done.left, 1, "one value failed a check: {form}");
        let points: Vec<String> = server
            .asked()
            .iter()
            .filter(|asked| asked.path.starts_with("/points"))
            .map(|asked| asked.path.clone())
            .collect();
        assert_eq!(
            points,
            ["/points/42.7457,-73.7523", "/points/42.746,-73.752"]
        );
        let today = date("2026-04-20");
        let look = Look {
            now: Some(instant(NOW)),
            ..Look::morning(today)
        };
        let facts = gather::facts_at(&home.folders, look).unwrap();
        let daily = facts.weather.daily.as_ref().unwrap();
        assert_eq!(daily.first(), date("2020-01-01"), "{form}");
        let day = daily.day(date("2024-02-29")).unwrap();
        // The station lies as high as the place: nothing to correct.
        let (low, high) = tenths(day.date);
        assert!((day.low_c.unwrap() - f64::from(low) / 10.0).abs() < 0.06);
        assert!((day.high_c.unwrap() - f64::from(high) / 10.0).abs() < 0.06);
        assert_eq!(day.rain_mm, Some(0.0), "a trace");
        assert_eq!(daily.day(date("2025-07-03")).unwrap().high_c, None);
        // Reports fill the days that the record does not reach yet.
        let day = daily.day(date("2026-04-18")).unwrap();
        assert!((day.low_c.unwrap() - 5.0).abs() < 0.1, "{day:?}");
        assert_eq!(day.rain_mm, Some(12.0));
        assert_eq!(facts.weather.alerts.len(), 1);
        let warned = budtide::render::weather::alerts(&facts.weather.alerts, facts.place.time_zone);
        assert_eq!(
            warned,
            ["Freeze Warning by NWS Somewhere: 21 Apr 2026 02:00 to 21 Apr 2026 09:00"]
        );
        let forecast = facts.weather.forecast.as_ref().unwrap();
        // The low of the night is that of the morning on which it ends.
        let day = forecast.daily.day(date("2026-04-21")).unwrap();
        assert_eq!(day.low_c, Some(-2.0));
        assert_eq!(forecast.source, "US National Weather Service");
        let season = season::derive(&facts, today);
        let plan = plan::make(&facts, &season, today);
        assert!(season.seen_until == Some(date("2026-04-19")));
        assert!(plan.tasks.len() > 20, "{} tasks", plan.tasks.len());
        // The grid's low of -2 °C in the coming night is a frost night.
        let nights: Vec<_> = season.frosts.iter().map(|frost| frost.date).collect();
        assert!(!nights.is_empty(), "no frost night");
        let text = page(home.folder.path(), &["weather"]);
        pages.push(text.replace(&server.base(), "BASE"));
    }
    assert_eq!(pages[0], pages[1], "both forms say the same");
    let page = &pages[0];
    for wanted in [
        "Forecast by US National Weather Service, issued today",
        "NOAA GHCN-Daily USW00000001",
        "Station record by NOAA NCEI, GHCN-Daily",
        "Weather data by NOAA's National Weather Service",
    ] {
        assert!(page.contains(wanted), "{wanted} is missing in\n{page}");
    }
    // The page as a whole, to be read.
    expect("weather_us.txt", page);
}

fn expect(name: &str, got: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/cli");
    let golden = folder.join(name);
    if std::env::var_os("BUDTIDE_WRITE_EXPECTED").is_some() {
        fs::write(&golden, got).unwrap();
    }
    assert_eq!(got, fs::read_to_string(&golden).unwrap_or_default());
}

/// A keeper who reads the thermometer at seven writes yesterday's high to
/// today; the block lies half a degree colder than the station, and its gauge
/// caught what the station called a trace.
#[test]
fn two_sources_are_held_against_each_other() {
    let server = Server::start(serve);
    let home = at_home(&server, PLACE, ".csv");
    let path = home.folder.path();
    let mut own = String::from("date,low C,high C,rain mm\n");
    for day in recorded().filter(|day| *day >= date("2025-10-01")) {
        let (low, _) = tenths(day);
        let (_, high) = tenths(day.pred_opt().unwrap());
        let rain = if day.ordinal() % 10 == 0 { 3.0 } else { 0.0 };
        let (low, high) = (f64::from(low) / 10.0 - 0.5, f64::from(high) / 10.0);
        let _ = writeln!(own, "{day},{low:.1},{high:.1},{rain}");
    }
    fs::write(path.join("own.csv"), own).unwrap();
    page(path, &["import", "own.csv"]);
    expect("weather_compare.txt", &page(path, &["weather", "compare"]));
    let named = [
        "weather",
        "compare",
        "import",
        "NOAA GHCN-Daily USW00000001",
    ];
    let text = json_page(path, &[&named[..], &["--json"]].concat());
    let views: serde_json::Value = serde_json::from_str(&text).unwrap();
    let view = views
        .pointer("/data/0")
        .or_else(|| views.get(0))
        .unwrap_or(&views);
    assert_eq!(view["low"]["mean"], 0.5, "{text}");
    assert_eq!(view["rain_sums_mm"][1], 0.0, "{text}");
    assert_eq!(view["highs_late_by_days"], -1, "{text}");
}

/// Frost that the forecast has and the weather service warns of: the warning
/// is a reason of the chore, and stands in the urgent message.
#[test]
fn a_warning_of_frost_is_a_reason_of_the_chore() {
    use budtide::plan::nudge::{self, About, Said};
    use budtide::render::sentence::Words;
    use budtide::season::evidence::Evidence;

    let server = Server::start(serve);
    let home = at_home(&server, PLACE, ".csv");
    let today = date("2026-04-20");
    let look = Look {
        now: Some(instant(NOW)),
        ..Look::morning(today)
    };
    let mut facts = gather::facts_at(&home.folders, look).unwrap();
    // Colder than the made-up grid, so that blossom is lost.
    let forecast = facts.weather.forecast.as_mut().unwrap();
    let mut night = forecast.daily.day(date("2026-04-21")).unwrap();
    night.low_c = Some(-6.0);
    forecast.daily.put(night);
    forecast.hourly = None;
    let season = season::derive(&facts, today);
    let plan = plan::make(&facts, &season, today);
    let words = Words::new(&facts, today);
    let task = plan
        .tasks
        .iter()
        .find(|task| task.chore == "frost-tonight")
        .expect("a chore for the frost");
    let reasons = words.reasons(&task.reasons);
    let cited = "Freeze Warning by the weather service (NWS Somewhere), until tomorrow 09:00";
    assert!(reasons.iter().any(|reason| reason == cited), "{reasons:?}");
    assert!(
        task.reasons
            .iter()
            .any(|reason| matches!(reason, Evidence::Warned { .. }))
    );
    // A message may be read a day late: it names the day too.
    let told =
        "Freeze Warning by the weather service (NWS Somewhere), until tomorrow (Tue 21 Apr) 09:00";
    let urgent = nudge::urgent(&facts, &season, &plan, &Said::default());
    let frost = urgent
        .iter()
        .find(|nudge| matches!(nudge.about, About::Frost(_)))
        .expect("a word on the frost");
    let line = budtide::render::nudge::line(&facts, today, std::slice::from_ref(frost));
    assert!(
        line.details.iter().any(|detail| detail.starts_with(told)),
        "{:?}",
        line.details
    );
    // Without a warning nothing is cited.
    facts.weather.alerts.clear();
    let plan = plan::make(&facts, &season, today);
    let warned = |reason: &Evidence| matches!(reason, Evidence::Warned { .. });
    assert!(
        !plan
            .tasks
            .iter()
            .any(|task| task.reasons.iter().any(warned))
    );
}

/// Whose weather it is stands wherever it is shown.
#[test]
fn the_credit_stands_where_the_weather_is_shown() {
    let server = Server::start(serve);
    let home = at_home(&server, PLACE, ".csv");
    let path = home.folder.path();
    for args in [
        &["weather"] as &[&str],
        &["weather", "compare"],
        &["today"],
        &["calendar"],
        &["frost"],
        &["today", "--json"],
    ] {
        let text = if args.contains(&"--json") {
            json_page(path, args)
        } else {
            page(path, args)
        };
        for credit in [
            "Weather data by NOAA's National Weather Service",
            "Station record by NOAA NCEI, GHCN-Daily",
        ] {
            assert!(text.contains(credit), "{args:?}: {credit}\n{text}");
        }
    }
}

/// Each way to fail, of the first source, beside one that works: the round
/// goes on, the page tells it once, and the next round does not hammer.
#[test]
fn a_source_that_fails_is_told_once_and_left_in_peace() {
    type Maker = Box<dyn Fn(&Asked) -> Answer + Send + Sync>;
    let drip = |out: &mut dyn std::io::Write| {
        let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 9999\r\n\r\n");
        for _ in 0..60 {
            std::thread::sleep(std::time::Duration::from_millis(50));
            if out.write_all(b" ").and_then(|()| out.flush()).is_err() {
                return;
            }
        }
    };
    let large = |out: &mut dyn std::io::Write| {
        // 200 MB; the reader leaves long before.
        let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 200000000\r\n\r\n");
        let block = vec![b' '; 1 << 20];
        for _ in 0..200 {
            if out.write_all(&block).is_err() {
                return;
            }
        }
    };
    let lying = |out: &mut dyn std::io::Write| {
        let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 99999\r\n\r\n{\"hourly\"");
    };
    let html = || {
        let html = ("Content-Type".to_owned(), "text/html".to_owned());
        Answer::Reply(200, vec![html], b"<!doctype html><p>Log in".to_vec())
    };
    let busy = || Answer::status(429, "{}").with("Retry-After", "7200");
    let round_and_round = || Answer::status(302, "").with("Location", "/again");
    let cases: Vec<(&str, u64, usize, Maker)> = vec![
        (
            "larger than 3 MiB",
            3,
            1,
            Box::new(move |_| Answer::raw(large)),
        ),
        (
            "not done within",
            3,
            3,
            Box::new(move |_| Answer::raw(drip)),
        ),
        ("no connection", 3, 3, Box::new(move |_| Answer::raw(lying))),
        ("a web page, not data", 3, 3, Box::new(move |_| html())),
        ("it answered 429", 3, 1, Box::new(move |_| busy())),
        ("more than", 3, 12, Box::new(move |_| round_and_round())),
    ];
    let (_, tls) = super::tls::certificate(&["127.0.0.1"]);
    let mut servers: Vec<(&str, usize, Server)> = cases
        .into_iter()
        .map(|(says, _, most, make)| (says, most, Server::start(move |asked| make(asked))))
        .collect();
    servers.push((
        "its certificate is not trusted",
        0,
        Server::start_tls(tls, |_| Answer::json("{}")),
    ));
    let good = Server::start(serve);
    for (says, most, bad) in servers {
        let place = PLACE.replace("[\"ghcn\", \"nws\"]", "[\"open-meteo\", \"ghcn\", \"nws\"]");
        let place = format!(
            "{place}[weather.open-meteo]\naddress = \"{}\"\n",
            bad.base()
        );
        let home = at_home(&good, &place, ".csv");
        let of_it: Vec<_> = home
            .done
            .faults
            .iter()
            .filter(|fault| fault.source == "Open-Meteo")
            .collect();
        assert_eq!(of_it.len(), 1, "{says}: {:?}", home.done.faults);
        assert_eq!(home.done.faults.len(), 1, "the others did their part");
        assert!(of_it[0].text.contains(says), "{says}: {}", of_it[0].text);
        assert!(home.done.forecast && home.done.new_days > 2_000);
        let asked = bad.asked().len();
        assert!(asked <= most, "{says}: asked {asked} times");
        let page = page(home.folder.path(), &["weather"]);
        assert_eq!(page.matches("Failed").count(), 1, "{says}:\n{page}");
        let flat = page.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(says), "{says}:\n{page}");
        assert!(flat.contains("Forecast by US National Weather Service, issued today"));
        // A look five minutes later leaves it in peace.
        let soon = instant(NOW) + TimeDelta::minutes(5);
        look(&home.folders, soon, Wanted::Due);
        assert_eq!(bad.asked().len(), asked, "{says}");
    }
}

/// Hours and days of the same station read by the service itself.
#[test]
fn a_second_look_asks_little_and_keeps_the_values() {
    let server = Server::start(serve);
    let home = at_home(&server, PLACE, ".csv");
    let asked = server.asked().len();
    let done = look(
        &home.folders,
        instant(NOW) + TimeDelta::hours(1),
        Wanted::Due,
    );
    assert_eq!(done.faults, []);
    // A warning holds: warnings alone are asked for every hour.
    let again: Vec<String> = server.asked()[asked..]
        .iter()
        .map(|asked| asked.path.clone())
        .collect();
    assert!(
        again
            .iter()
            .all(|path| path.starts_with("/alerts") || path.starts_with("/points")),
        "{again:?}"
    );
}
