//! The door of the station console, through real sockets on loopback: uploads
//! and broadcasts, and what must not come in. Fields and values are those of
//! reference weather-sources 4.1.

use super::contract::keeps_the_contract;
use super::{date, instant, place};
use budtide::config::weather::Way;
use budtide::facts::place::Place;
use budtide::facts::weather::{Hour, Weather};
use budtide::service::console::{Came, Desk, Door, Hears, JOB, What};
use budtide::sources::console::Form;
use budtide::sources::{Credit, Left, Part, SourceError, Span, WeatherSource};
use budtide::store::weather::{Origin, WeatherStore};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::America::New_York;
use std::io::{Read, Write};
use std::net::{IpAddr, SocketAddr, TcpStream, UdpSocket};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, mpsc};
use std::time::Duration;

const NAME: &str = "station console";
const WAIT: Duration = Duration::from_secs(20);

/// A door that stands open in a thread of its own, by a clock of the test's.
struct Stand {
    at: SocketAddr,
    now: Arc<AtomicI64>,
    came: mpsc::Receiver<Came>,
}

fn uploads() -> Way {
    Way::Upload {
        listen: "127.0.0.1:0".parse().unwrap(),
        path: "/weather".to_owned(),
    }
}

fn stand(way: Way, from: &[&str], limit: Option<Duration>) -> Stand {
    let now = Arc::new(AtomicI64::new(0));
    let clock = Arc::clone(&now);
    let hears = Hears {
        way,
        from: from.iter().map(|text| text.parse().unwrap()).collect(),
        form: Form::default(),
        clock: Arc::new(move || DateTime::from_timestamp(clock.load(Ordering::SeqCst), 0).unwrap()),
        limit,
    };
    let (sender, came) = mpsc::channel();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            let mut door = Door::open(hears);
            loop {
                let came = door.next().await;
                if sender.send(came).is_err() {
                    return;
                }
            }
        });
    });
    let What::Open(at) = came.recv_timeout(WAIT).unwrap().what else {
        panic!("the door is not open");
    };
    Stand {
        at: at.parse().unwrap(),
        now,
        came,
    }
}

impl Stand {
    fn set(&self, now: DateTime<Utc>) {
        self.now.store(now.timestamp(), Ordering::SeqCst);
    }

    fn next(&self) -> Came {
        self.came.recv_timeout(WAIT).unwrap()
    }

    /// Sends bytes as they are; what is answered, if anything is.
    fn raw(&self, bytes: &[u8]) -> String {
        let mut stream = TcpStream::connect(self.at).unwrap();
        stream.set_read_timeout(Some(WAIT)).unwrap();
        // A door may close before a megabyte is through.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn post(&self, form: &str) -> String {
        self.raw(&post("/weather", form))
    }

    fn get(&self, query: &str) -> String {
        self.raw(format!("GET /weather?{query} HTTP/1.1\r\nHost: budtide\r\n\r\n").as_bytes())
    }
}

fn post(path: &str, form: &str) -> Vec<u8> {
    format!(
        "POST {path} HTTP/1.1\r\nHost: budtide\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
        form.len()
    )
    .into_bytes()
}

/// An upload with the secrets that one has.
fn form(at: DateTime<Utc>, fahrenheit: f64, yearly_in: f64) -> String {
    format!(
        "PASSKEY=SECRETSECRET&stationtype=x&dateutc={}&tempinf=70.1&tempf={fahrenheit:.1}\
         &humidity=65&windspeedmph=2.24&dailyrainin=0.000&yearlyrainin={yearly_in:.3}&model=x",
        at.format("%Y-%m-%d+%H:%M:%S")
    )
}

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or("none")
}

fn store(file: &Path) -> WeatherStore {
    WeatherStore::open(file).unwrap()
}

/// A day of made-up weather: the hour of the night is the coldest.
fn fahrenheit(at: DateTime<Utc>) -> f64 {
    let hours = at.timestamp() as f64 / 3_600.0;
    50.0 + 10.0 * (hours * std::f64::consts::PI / 12.0).sin()
}

/// Uploads every `step` minutes, by both ways in turn, taken down at a desk.
fn lived(stand: &Stand, desk: &mut Desk, from: &str, minutes: i64, step: usize) {
    let from = instant(from);
    for minute in (0..=minutes).step_by(step) {
        let at = from + TimeDelta::minutes(minute);
        stand.set(at);
        // A hundredth of an inch an hour.
        let rain = 3.909 + minute as f64 / 6_000.0;
        let answer = match minute / step as i64 % 2 {
            0 => stand.post(&form(at, fahrenheit(at), rain)),
            _ => {
                let dated = form(at, fahrenheit(at), rain);
                let now = dated.replace(&at.format("%Y-%m-%d+%H:%M:%S").to_string(), "now");
                stand.get(&format!("ID=me&PASSWORD=SECRETSECRET&{now}"))
            }
        };
        assert_eq!(status(&answer), "200", "{answer}");
        let heard = desk.take(stand.next()).unwrap();
        assert!(heard.warnings.is_empty(), "{:?}", heard.warnings);
    }
}

#[test]
fn uploads_of_a_day_are_kept_as_hours_and_a_day() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("weather.sqlite");
    let stand = stand(uploads(), &[], None);
    // Midnight of standard time at the place.
    let begin = "2026-11-24T05:00:00Z";
    let mut desk = Desk::open(NAME, New_York, &file, instant(begin));
    lived(&stand, &mut desk, begin, 24 * 60 + 10, 5);
    let known = store(&file).load(date("2026-11-25"), &[NAME]).unwrap();
    let daily = known.daily.unwrap();
    let day = daily.day(date("2026-11-24")).unwrap();
    // 40 to 60 °F, and 0.24 in of rain less what is not yet over.
    assert!((day.low_c.unwrap() - 40.0 / 9.0).abs() < 0.06, "{day:?}");
    assert!((day.high_c.unwrap() - 140.0 / 9.0).abs() < 0.06, "{day:?}");
    assert!((day.rain_mm.unwrap() - 0.24 * 25.4).abs() < 0.15, "{day:?}");
    let hourly = known.hourly.unwrap();
    let noon: NaiveDateTime = "2026-11-24T12:00:00".parse().unwrap();
    let hour = hourly.at(hourly.index(noon).unwrap());
    let wanted = (fahrenheit(instant("2026-11-24T17:00:00Z")) - 32.0) / 1.8;
    assert!((hour.temperature_c.unwrap() - wanted).abs() < 0.06);
    assert_eq!(hour.humidity_pct, Some(65.0));
    assert!((hour.rain_mm.unwrap() - 0.254).abs() < 0.06, "{hour:?}");
    assert!((hour.wind_m_s.unwrap() - 1.0).abs() < 0.06);
    let state = store(&file).fetch_state(NAME, JOB).unwrap();
    assert_eq!((state.failures, state.error), (0, None));
    assert!(state.succeeded.unwrap() >= instant("2026-11-25T05:00:00Z"));
    // Whoever else says something of the day, the keeper's own counts.
    let mut both = store(&file);
    let other = Origin {
        source: "Open-Meteo",
        issued: instant("2026-11-25T12:00:00Z"),
    };
    let mut day = day;
    day.low_c = Some(-9.0);
    both.put_days(other, &[day]).unwrap();
    let order = [NAME, "Open-Meteo"];
    let known = both
        .load(date("2026-11-25"), &order)
        .unwrap()
        .daily
        .unwrap();
    assert!(known.day(date("2026-11-24")).unwrap().low_c.unwrap() > 4.0);
}

/// What the desk kept, as a source.
struct Kept(PathBuf);

impl WeatherSource for Kept {
    fn name(&self) -> &str {
        NAME
    }

    fn credit(&self) -> Credit {
        Credit {
            text: "Own station",
            link: "",
            licence: "the keeper's own",
        }
    }

    fn observed(
        &self,
        _: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        let known = store(&self.0).load_one(span.last, NAME).unwrap();
        let days = known.daily.iter().flat_map(|daily| daily.days());
        let days = days.filter(|day| span.contains(day.date));
        let hours = known.hourly.iter().flat_map(|hourly| hourly.hours());
        let hours = hours.filter(|at| span.contains(at.start.date()));
        let part = Part {
            span,
            days: days.collect(),
            hours: hours.collect(),
            issued: now,
            left: Left::default(),
            elevation_m: None,
            station: None,
            part: 1,
            of: 1,
            notes: Vec::new(),
        };
        match take(part) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SourceError::Stopped),
        }
    }
}

#[test]
fn what_is_kept_keeps_the_contract_of_sources() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("weather.sqlite");
    let stand = stand(uploads(), &[], None);
    let begin = "2026-11-24T05:00:00Z";
    let mut desk = Desk::open(NAME, New_York, &file, instant(begin));
    lived(&stand, &mut desk, begin, 26 * 60, 15);
    let span = Span {
        first: date("2026-11-24"),
        last: date("2026-11-25"),
    };
    let now = instant("2026-11-25T07:00:00Z");
    keeps_the_contract(&Kept(file), &place(New_York), span, now);
}

#[test]
fn a_restart_in_the_middle_of_an_hour_loses_no_rain_and_no_extremes() {
    let folder = tempfile::tempdir().unwrap();
    let stand = stand(uploads(), &[], None);
    let begin = instant("2026-11-24T05:00:00Z");
    let (whole, broken) = (folder.path().join("whole"), folder.path().join("broken"));
    let mut one = Desk::open(NAME, New_York, &whole, begin);
    let mut other = Desk::open(NAME, New_York, &broken, begin);
    for minute in (0..=24 * 60 + 10).step_by(5) {
        let at = begin + TimeDelta::minutes(minute);
        stand.set(at);
        let rain = 3.909 + minute as f64 / 600.0;
        stand.post(&form(at, fahrenheit(at), rain));
        let came = stand.next();
        one.take(came.clone()).unwrap();
        other.take(came).unwrap();
        match minute {
            // Stopped in good order.
            335 => other.save(at).unwrap(),
            // Killed: nothing more is said.
            665 | 1_010 => {}
            _ => continue,
        }
        other = Desk::open(NAME, New_York, &broken, at);
    }
    let read = |file: &Path| store(file).load(date("2026-11-25"), &[NAME]).unwrap();
    let (whole, broken) = (read(&whole), read(&broken));
    let hours = |known: &Weather| -> Vec<Hour> {
        known
            .hourly
            .iter()
            .flat_map(|hourly| hourly.hours())
            .collect()
    };
    assert_eq!(whole.daily, broken.daily);
    assert_eq!(hours(&whole), hours(&broken));
    assert_eq!(hours(&whole).len(), 25);
    assert!(whole.daily.unwrap().at(0).low_c.is_some());
}

#[test]
fn a_counter_set_back_at_new_year_and_an_upload_sent_twice() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("weather.sqlite");
    let stand = stand(uploads(), &[], None);
    // 23:00 on New Year's Eve by the clock of the place.
    let begin = instant("2027-01-01T04:00:00Z");
    let mut desk = Desk::open(NAME, New_York, &file, begin);
    for minute in (0..=120).step_by(2) {
        let at = begin + TimeDelta::minutes(minute);
        stand.set(at);
        let yearly = match minute {
            ..60 => 48.504 + minute as f64 * 0.001,
            _ => (minute - 60) as f64 * 0.002,
        };
        for _ in 0..2 {
            let answer = stand.post(&form(at, 30.0 + minute as f64 / 50.0, yearly));
            assert_eq!(status(&answer), "200");
            let heard = desk.take(stand.next()).unwrap();
            assert!(heard.warnings.is_empty(), "{:?}", heard.warnings);
        }
    }
    let hourly = store(&file)
        .load(date("2027-01-01"), &[NAME])
        .unwrap()
        .hourly
        .unwrap();
    let rain = |at: &str| {
        let index = hourly.index(at.parse().unwrap()).unwrap();
        hourly.at(index).rain_mm.unwrap() / 25.4
    };
    assert!((rain("2026-12-31T23:00:00") - 0.058).abs() < 0.004);
    assert!((rain("2027-01-01T00:00:00") - 0.120).abs() < 0.004);
}

#[test]
fn what_must_not_come_in_is_refused_in_words_and_the_door_stays_open() {
    let stand = stand(uploads(), &[], Some(Duration::from_millis(400)));
    let now = instant("2026-11-24T12:00:00Z");
    stand.set(now);
    let dated = |at: &str| form(instant(at), 50.0, 1.0);
    let large = "x=1&".repeat(262_144);
    let long = format!("GET /weather?{large} HTTP/1.1\r\nHost: budtide\r\n\r\n");
    let chunks = format!(
        "POST /weather HTTP/1.1\r\nHost: budtide\r\nTransfer-Encoding: chunked\r\n\r\n\
         8000\r\n{}\r\n0\r\n\r\n",
        "x".repeat(0x8000)
    );
    let cut = "POST /weather HTTP/1.1\r\nHost: budtide\r\nContent-Length: 500\r\n\r\ntempf=5";
    let table: [(&str, Vec<u8>, &str, &str); 15] = [
        (
            "no time",
            post("/weather", "PASSKEY=SECRETSECRET&tempf=50"),
            "400",
            "dateutc is missing",
        ),
        (
            "no weather",
            post("/weather", "dateutc=now&humidity=50&PASSKEY=SECRETSECRET"),
            "400",
            "lost its sensor",
        ),
        (
            "a time in words",
            post("/weather", "dateutc=SECRETSECRET&tempf=50"),
            "400",
            "cannot be read",
        ),
        (
            "years behind",
            post("/weather", &dated("2019-01-01T00:00:00Z")),
            "400",
            "7 years behind",
        ),
        (
            "an hour ahead",
            post("/weather", &dated("2026-11-24T13:00:00Z")),
            "400",
            "60 minutes ahead",
        ),
        (
            "other units",
            post("/weather", "dateutc=now&tempf=12&baromrelin=1013"),
            "400",
            "no inches of mercury",
        ),
        (
            "HTML",
            post("/weather", "<html><a href=\"x=SECRETSECRET\">x</a></html>"),
            "400",
            "no upload",
        ),
        ("nothing", post("/weather", ""), "400", "no upload"),
        ("a megabyte", post("/weather", &large), "413", "too large"),
        ("a megabyte of query", long.into_bytes(), "4", ""),
        ("chunks", chunks.into_bytes(), "413", "too large"),
        (
            "another path",
            post("/", &dated("2026-11-24T12:00:00Z")),
            "404",
            "no such path",
        ),
        (
            "another method",
            b"PUT /weather HTTP/1.1\r\nHost: a\r\n\r\n".to_vec(),
            "405",
            "GET or POST",
        ),
        (
            "no HTTP",
            b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n".to_vec(),
            "400",
            "",
        ),
        ("cut short", cut.as_bytes().to_vec(), "none", ""),
    ];
    for (what, bytes, wanted, word) in table {
        let answer = stand.raw(&bytes);
        assert!(status(&answer).starts_with(wanted), "{what}: {answer}");
        assert!(answer.contains(word), "{what}: {answer}");
        assert!(!answer.contains("SECRET"), "{what}: {answer}");
        // The next one is heard all the same.
        let good = stand.post(&form(now, 50.0, 1.0));
        assert_eq!(status(&good), "200", "after {what}: {good}");
        loop {
            let came = stand.next();
            assert!(!format!("{came:?}").contains("SECRET"), "{came:?}");
            if matches!(came.what, What::Reading(_)) {
                break;
            }
        }
    }
}

#[test]
fn one_that_drips_is_cut_off_and_does_not_hold_up_others() {
    let stand = stand(uploads(), &[], Some(Duration::from_millis(500)));
    stand.set(instant("2026-11-24T12:00:00Z"));
    let mut slow: Vec<TcpStream> = (0..4)
        .map(|_| TcpStream::connect(stand.at).unwrap())
        .collect();
    for stream in &mut slow {
        stream.write_all(b"POST /weather HTTP/1.1\r\n").unwrap();
    }
    let good = stand.post("dateutc=now&tempf=50&yearlyrainin=1");
    assert_eq!(status(&good), "200", "{good}");
    for stream in &mut slow {
        stream.set_read_timeout(Some(WAIT)).unwrap();
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        assert!(!String::from_utf8_lossy(&answer).contains("200"));
    }
    let mut cut = 0;
    while cut < 4 {
        if let What::Strange(why) = stand.next().what {
            assert_eq!(why, "it was not done in time");
            cut += 1;
        }
    }
}

#[test]
fn who_may_not_send_is_turned_away() {
    let stand = stand(uploads(), &["192.0.2.1"], None);
    let answer = stand.post("dateutc=now&tempf=50&yearlyrainin=1");
    assert_eq!(answer, "");
    let loopback: IpAddr = "127.0.0.1".parse().unwrap();
    assert_eq!(stand.next().what, What::TurnedAway(loopback));
}

#[test]
fn a_port_that_is_taken_is_told_and_tried_again() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let listen = taken.local_addr().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let came = runtime.block_on(async {
        let mut door = Door::open(Hears {
            way: Way::Upload {
                listen,
                path: "/weather".to_owned(),
            },
            from: Vec::new(),
            form: Form::default(),
            clock: Arc::new(|| DateTime::UNIX_EPOCH),
            limit: None,
        });
        tokio::time::timeout(WAIT, door.next()).await.unwrap()
    });
    let What::Shut(why) = &came.what else {
        panic!("{came:?}");
    };
    assert!(why.starts_with(&listen.to_string()), "{why}");
    let file = Path::new("/nonexistent/weather.sqlite");
    let mut desk = Desk::open(NAME, New_York, file, came.arrived);
    let heard = desk.take(came.clone()).unwrap();
    assert!(heard.warnings[0].contains("cannot listen on 127.0.0.1:"));
    assert!(desk.take(came.clone()).unwrap().warnings.is_empty(), "once");
    assert!(desk.trouble(came.arrived).unwrap().contains("tries again"));
}

#[test]
fn broadcasts_are_heard_from_one_sender_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("weather.sqlite");
    let stand = stand(Way::Broadcast("127.0.0.1:0".parse().unwrap()), &[], None);
    let begin = instant("2026-11-24T12:00:00Z");
    let mut desk = Desk::open(NAME, New_York, &file, begin);
    let station = UdpSocket::bind("127.0.0.1:0").unwrap();
    for minute in 0..=120 {
        let at = begin + TimeDelta::minutes(minute);
        stand.set(at);
        let c = 10.0 + minute as f64 / 60.0;
        let message = format!(
            r#"{{"serial_number":"X","type":"obs_st","obs":[[{},0.1,1.5,2,144,6,1017.5,{c},50.2,
            328,0.03,3,0.05,0,null,0,2.41,1]]}}"#,
            at.timestamp()
        );
        station.send_to(message.as_bytes(), stand.at).unwrap();
        let heard = desk.take(stand.next()).unwrap();
        assert!(heard.warnings.is_empty(), "{:?}", heard.warnings);
    }
    let hourly = store(&file)
        .load(date("2026-11-24"), &[NAME])
        .unwrap()
        .hourly
        .unwrap();
    let hour = hourly.at(hourly
        .index("2026-11-24T08:00:00".parse().unwrap())
        .unwrap());
    assert!(
        (hour.temperature_c.unwrap() - 11.0).abs() < 0.06,
        "{hour:?}"
    );
    assert!((hour.rain_mm.unwrap() - 3.0).abs() < 0.06, "{hour:?}");
    // What is no message is told once; another station is not mixed in.
    for _ in 0..2 {
        station.send_to(b"SECRETSECRET", stand.at).unwrap();
    }
    let told: Vec<usize> = (0..2)
        .map(|_| desk.take(stand.next()).unwrap().warnings.len())
        .collect();
    assert_eq!(told, [1, 0]);
    let other = UdpSocket::bind("127.0.0.2:0").unwrap();
    let message = format!(
        r#"{{"type":"obs_st","obs":[[{},0,0,0,0,0,0,35.0,5]]}}"#,
        begin.timestamp() + 7_201
    );
    other.send_to(message.as_bytes(), stand.at).unwrap();
    let came = stand.next();
    assert!(matches!(came.what, What::Second(_)), "{came:?}");
    let heard = desk.take(came).unwrap();
    assert!(heard.warnings[0].contains("127.0.0.2 sends beside"));
}
