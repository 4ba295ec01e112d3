//! What fetching weather costs, from loopback: the first 30 hourly years and
//! a daily refresh. Run with `cargo bench --bench fetch`.
//!
//! The service is played by this program itself in a second process, so that
//! its memory does not count: `VmHWM` of this process is the client's alone.

use budtide::config::weather::WeatherSettings;
use budtide::facts::place::{HardinessZone, Place};
use budtide::facts::weather::HourlyRecord;
use budtide::service::refresh::{Fetcher, Wanted};
use budtide::sources::client::{Client, ProxyChoice, Settings};
use budtide::sources::open_meteo::{OpenMeteo, OpenMeteoSettings};
use budtide::sources::{Span, WeatherSource};
use budtide::store::weather::WeatherStore;
use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::ops::ControlFlow;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Instant;

fn main() {
    if std::env::args().any(|argument| argument == "--serve") {
        serve();
        return;
    }
    let mut server = Command::new(std::env::current_exe().expect("own path"))
        .arg("--serve")
        .stdout(Stdio::piped())
        .spawn()
        .expect("the server starts");
    let mut base = String::new();
    let out = server.stdout.take().expect("its output");
    BufReader::new(out)
        .read_line(&mut base)
        .expect("its address");
    refresh(base.trim());
    measure(base.trim());
    server.kill().expect("the server ends");
    let _ = server.wait();
}

fn measure(base: &str) {
    let client = Arc::new(Client::new(Settings {
        proxy: ProxyChoice::None,
        ..Settings::default()
    }));
    let source = OpenMeteo::new(client.clone(), OpenMeteoSettings::at(base));
    let place = place();
    let now: DateTime<Utc> = "2026-04-20T15:30:00Z".parse().expect("an instant");
    let day = |text: &str| text.parse::<NaiveDate>().expect("a day");
    println!("before anything: peak {} MiB", peak_mib());

    let span = Span {
        first: day("1996-01-01"),
        last: day("2025-12-31"),
    };
    let first = day("1996-01-01").and_time(chrono::NaiveTime::MIN);
    let mut record = HourlyRecord::unknown(first, span.days() as usize * 24);
    let start = Instant::now();
    let (mut parts, mut days) = (0, 0);
    source
        .observed(&place, span, now, &mut |part| {
            parts += 1;
            days += part.days.len();
            for hour in part.hours {
                record.put(hour);
            }
            ControlFlow::Continue(())
        })
        .expect("30 years");
    let traffic = client.traffic();
    println!(
        "first fetch of 30 years: {:.2} s, {parts} requests, {} hours, {days} days, \
         {:.1} MiB over the wire, {:.1} MiB unpacked, peak {} MiB",
        start.elapsed().as_secs_f64(),
        record.temperature_c.known(),
        mib(traffic.bytes),
        mib(traffic.unpacked),
        peak_mib()
    );
    assert_eq!(record.temperature_c.known(), record.len());

    let start = Instant::now();
    let span = Span {
        first: day("2026-04-18"),
        last: day("2026-04-20"),
    };
    source
        .observed(&place, span, now, &mut |_| ControlFlow::Continue(()))
        .expect("the last days");
    let forecast = source.forecast(&place, now).expect("a forecast");
    let after = client.traffic();
    println!(
        "daily refresh (3 days back, {} ahead): {:.1} ms, {} requests, {:.1} KiB over the wire, \
         {:.1} KiB unpacked",
        forecast.daily.len(),
        start.elapsed().as_secs_f64() * 1e3,
        after.requests - traffic.requests,
        (after.bytes - traffic.bytes) as f64 / 1024.0,
        (after.unpacked - traffic.unpacked) as f64 / 1024.0
    );
}

/// The same as the service does it: screened, and kept in a file.
fn refresh(base: &str) {
    let mut settings = WeatherSettings::usual("CA");
    settings.open_meteo.address = Some(base.to_owned());
    let behaviour = Settings {
        proxy: ProxyChoice::None,
        ..Settings::default()
    };
    let fetcher = Fetcher::with(&place(), &settings, behaviour);
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("weather.sqlite");
    let mut store = WeatherStore::open(&file).expect("a file");
    let now: DateTime<Utc> = "2026-04-20T15:30:00Z".parse().expect("an instant");
    let mut round = |at: DateTime<Utc>, wanted| {
        let (before, start) = (fetcher.traffic(), Instant::now());
        let done = fetcher
            .round(&mut store, at, wanted, &mut |_| ControlFlow::Continue(()))
            .expect("a round");
        assert!(done.faults.is_empty(), "{:?}", done.faults);
        let after = fetcher.traffic();
        let spent = start.elapsed().as_secs_f64();
        (
            spent,
            after.requests - before.requests,
            after.bytes - before.bytes,
        )
    };
    let (seconds, requests, bytes) = round(now, Wanted::All);
    let disk = std::fs::metadata(&file).map_or(0, |about| about.len());
    println!(
        "the service's first fetch, kept: {seconds:.2} s, {requests} requests, {:.1} MiB over the \
         wire, {:.1} MiB on disk, peak {} MiB",
        mib(bytes),
        mib(disk),
        peak_mib()
    );
    let (mut seconds, mut requests, mut bytes) = (0.0, 0, 0);
    for quarter in 1..=97 {
        let at = now + TimeDelta::minutes(15 * quarter);
        let (s, r, b) = round(at, Wanted::Due);
        (seconds, requests, bytes) = (seconds + s, requests + r, bytes + b);
    }
    println!(
        "a day of the service: {requests} requests, {:.0} KiB over the wire, {:.0} ms in all",
        bytes as f64 / 1024.0,
        seconds * 1e3
    );
}

fn mib(bytes: u64) -> f64 {
    bytes as f64 / f64::from(1 << 20)
}

/// The most memory that this process ever held; nought where it is not told.
fn peak_mib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kib = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
    kib.unwrap_or(0) / 1024
}

fn place() -> Place {
    Place {
        name: "bench".to_owned(),
        latitude: 42.75,
        longitude: -73.75,
        elevation_m: Some(100.0),
        time_zone: chrono_tz::America::New_York,
        hardiness: HardinessZone::from_extreme_minimum_f(-12.0),
        units: Default::default(),
        country: "US".to_owned(),
        soil: Default::default(),
        usual_bloom: Vec::new(),
    }
}

/// Answers as Open-Meteo does, with made-up values, packed by gzip.
fn serve() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    println!("http://{}", listener.local_addr().expect("an address"));
    for stream in listener.incoming().flatten() {
        std::thread::spawn(move || answer(stream));
    }
}

fn answer(mut stream: TcpStream) {
    // Connections stay open, as with the real service.
    loop {
        let mut head = Vec::new();
        let mut byte = [0];
        while !head.ends_with(b"\r\n\r\n") {
            match stream.read(&mut byte) {
                Ok(1) => head.push(byte[0]),
                _ => return,
            }
        }
        let head = String::from_utf8_lossy(&head).into_owned();
        let of = |name: &str| {
            let (_, rest) = head.split_once(&format!("{name}="))?;
            rest.split(['&', ' ']).next()
        };
        let today: NaiveDate = "2026-04-20".parse().expect("a day");
        let days = |name: &str| of(name).and_then(|text| text.parse().ok()).unwrap_or(0);
        let first = of("start_date")
            .and_then(|text| text.parse().ok())
            .unwrap_or(today - TimeDelta::days(days("past_days")));
        let last = of("end_date")
            .and_then(|text| text.parse().ok())
            .unwrap_or(today + TimeDelta::days(days("forecast_days") - 1));
        let mut packed = GzEncoder::new(Vec::new(), Compression::default());
        packed
            .write_all(body(first, last).as_bytes())
            .expect("memory");
        let body = packed.finish().expect("memory");
        let head = format!(
            "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Encoding: gzip\r\n\
             Content-Length: {}\r\n\r\n",
            body.len()
        );
        // In one piece: two small writes would wait for each other.
        let reply = [head.as_bytes(), &body].concat();
        if stream.write_all(&reply).is_err() {
            return;
        }
    }
}

fn body(first: NaiveDate, last: NaiveDate) -> String {
    let midnight = |date: NaiveDate| -> NaiveDateTime { date.and_time(chrono::NaiveTime::MIN) };
    let begin = midnight(first).and_utc().timestamp();
    let hours = (last - first).num_days() * 24 + 24;
    let mut columns = [const { String::new() }; 6];
    for hour in 0..hours {
        let stamp = begin + hour * 3_600;
        let wave = |period: f64| (stamp as f64 / 3_600.0 * std::f64::consts::TAU / period).sin();
        let noise = (stamp as f64 * 12.989_8).sin() * 43_758.545_3;
        let noise = noise - noise.floor();
        let t = 10.0 - 12.0 * wave(8_766.0) + 6.0 * wave(24.0) + 4.0 * noise;
        let rain = if noise > 0.9 {
            (noise - 0.9) * 40.0
        } else {
            0.0
        };
        let values = [t, t - 5.0 * noise, 100.0 - 40.0 * noise, rain, 8.0 * noise];
        let _ = write!(columns[0], "{stamp},");
        for (column, value) in columns.iter_mut().skip(1).zip(values) {
            let _ = write!(column, "{value:.1},");
        }
    }
    let [time, t, dew, rh, rain, wind] = columns.map(|mut column| {
        column.pop();
        column
    });
    format!(
        r#"{{"latitude":42.75,"longitude":-73.75,"utc_offset_seconds":0,"elevation":100.0,
        "hourly_units":{{"time":"unixtime","temperature_2m":"°C","dew_point_2m":"°C",
        "relative_humidity_2m":"%","precipitation":"mm","wind_speed_10m":"m/s"}},
        "hourly":{{"time":[{time}],"temperature_2m":[{t}],"dew_point_2m":[{dew}],
        "relative_humidity_2m":[{rh}],"precipitation":[{rain}],"wind_speed_10m":[{wind}]}}}}"#
    )
}
