//! Station records: their forms, made up from the documentation.

use super::contract::{keeps_the_contract, says_what_failed};
use super::server::{Answer, Server};
use super::{client, date, instant, place};
use budtide::facts::weather::Day;
use budtide::sources::ghcn::{Ghcn, read};
use budtide::sources::{Note, Span, WeatherSource, observed};
use chrono_tz::America::New_York;
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write;

/// The form of `daily-summaries` (reference: weather-sources 3.2).
pub const WIDE: &str = r#""STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","SNOW","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"USC00000001","2014-03-01","42.70","-73.70","85.3","SOMEWHERE, NY US","    0","T,,7,0700","0","   61",",,7,0700","  -28",",,7,0700"
"USC00000001","2014-03-02","42.70","-73.70","85.3","SOMEWHERE, NY US","  127",",,7,0700","0","  100",",I,7,0700","  -50",",,7,0700"
"USC00000001","2014-03-03","42.70","-73.70","85.3","SOMEWHERE, NY US","","","","   44",",,7,0700","-9999",",,7,0700"
"#;

fn day(text: &str, low: Option<f64>, high: Option<f64>, rain: Option<f64>) -> Day {
    Day {
        date: date(text),
        low_c: low,
        high_c: high,
        rain_mm: rain,
    }
}

fn days() -> Vec<Day> {
    vec![
        day("2014-03-01", Some(-2.8), Some(6.1), Some(0.0)),
        day("2014-03-02", Some(-5.0), None, Some(12.7)),
        day("2014-03-03", None, Some(4.4), None),
    ]
}

#[test]
fn a_row_a_day() {
    let record = read(WIDE.as_bytes(), None).unwrap();
    assert_eq!(record.days, days());
    assert_eq!((record.left.flagged, record.left.missing), (1, 2));
    let station = record.station.unwrap();
    assert_eq!(station.name.as_deref(), Some("SOMEWHERE, NY US"));
    assert_eq!(station.elevation_m, Some(85.3));
    assert_eq!(record.notes, [Note::MorningReadings { at: 700, days: 2 }]);
}

/// by_station and by_year, with and without a station's column or a header.
#[test]
fn a_row_a_value() {
    let rows = "USC00000001,20140301,TMAX,61,,,7,0700\n\
                USC00000001,20140301,TMIN,-28,,,7,0700\n\
                USC00000001,20140301,PRCP,0,T,,7,0700\n\
                USC00000001,20140301,SNWD,25,,,7,\n\
                USC00000001,20140302,TMAX,100,,I,7,0700\n\
                USC00000001,20140302,TMIN,-50,,,7,0700\n\
                USC00000001,20140302,PRCP,127,,,7,0700\n\
                USC00000001,20140303,TMAX,44,,,7,0700\n";
    assert_eq!(read(rows.as_bytes(), None).unwrap().days, days());
    let headed = format!("ID,DATE,ELEMENT,VALUE,M,Q,S,TIME\n{rows}");
    assert_eq!(read(headed.as_bytes(), None).unwrap().days, days());
    let bare = rows.replace("USC00000001,", "");
    assert_eq!(read(bare.as_bytes(), None).unwrap().days, days());
    // Several stations: one has to be named.
    let several = format!("{rows}USC00000002,20140301,TMAX,99,,,7,0700\n");
    assert!(read(several.as_bytes(), None).is_err());
    let record = read(several.as_bytes(), Some("USC00000001")).unwrap();
    assert_eq!(record.days, days());
    let none = read(rows.as_bytes(), Some("USC00000009"));
    assert!(none.is_err());
}

/// February 2014 in fixed lines.
pub fn lines() -> String {
    let line = |element: &str, values: &[(i32, &str)]| {
        let mut line = format!("USC00000001201402{element}");
        for (value, flags) in values {
            line.push_str(&format!("{value:>5}{flags:<3}"));
        }
        line
    };
    // 2014 has no 29 February; blanks at the end are cut off.
    let mut month = vec![(-9_999, ""); 31];
    month[0] = (33, "  7");
    month[27] = (-5, "  7");
    month[28] = (77, "  7");
    let highs = line("TMAX", &month).trim_end().to_owned();
    let lows = line("TMIN", &[(20, "  7"), (10, " I7"), (44, "T 7")]);
    format!("{highs}\r\n{lows}\n\n{}\n", line("SNOW", &[(1, "  7")]))
}

#[test]
fn fixed_lines() {
    let text = lines();
    let record = read(text.as_bytes(), Some("usc00000001")).unwrap();
    assert_eq!(
        record.days,
        [
            day("2014-02-01", Some(2.0), Some(3.3), None),
            day("2014-02-03", Some(4.4), None, None),
            day("2014-02-28", None, Some(-0.5), None),
        ]
    );
    assert_eq!(record.left.flagged, 1);
    let wrong = text.replace("   20", "  2x0");
    assert!(read(wrong.as_bytes(), None).is_err());
}

#[test]
fn other_units_and_other_things_are_refused() {
    for (text, says) in [
        (WIDE.replace("   61", "  6.1"), "decimals"),
        (WIDE.replace("   61", "   6x"), "no value"),
        ("<html>no</html>".to_owned(), "web page"),
        (String::new(), "empty"),
        ("a,b,c\n1,2,3\n".to_owned(), "no TMAX"),
        ("{}".to_owned(), "no TMAX"),
        ("{\"results\":[{\"date\":\"20".to_owned(), "EOF"),
        ("\u{0}\u{1}\u{2}".to_owned(), "no TMAX"),
    ] {
        let fault = read(text.as_bytes(), None).unwrap_err();
        assert!(format!("{fault:?}").contains(says), "{says}: {fault:?}");
    }
}

fn source(base: &str) -> Ghcn {
    Ghcn::new(
        client(),
        &format!("{base}/access/{{station}}.csv"),
        "usc00000001",
    )
}

#[test]
fn a_station_keeps_the_contract() {
    let now = instant("2014-03-10T12:00:00Z");
    let span = Span {
        first: date("2014-03-01"),
        last: date("2014-03-31"),
    };
    let server = Server::start(|asked| {
        assert_eq!(asked.path, "/access/USC00000001.csv");
        if asked.headers.contains_key("if-none-match") {
            return Answer::Reply(304, Vec::new(), Vec::new());
        }
        Answer::Reply(200, vec![("ETag".into(), "\"1\"".into())], WIDE.into())
    });
    let place = place(New_York);
    keeps_the_contract(&source(&server.base()), &place, span, now);
    says_what_failed(|base| Box::new(source(base)), &place, span, now);

    let server = Server::start(|_| {
        let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
        packed.write_all(WIDE.as_bytes()).unwrap();
        Answer::Reply(200, Vec::new(), packed.finish().unwrap())
    });
    let part = observed(&source(&server.base()), &place, span, now)
        .unwrap()
        .unwrap();
    assert_eq!(part.days, days(), "a packed file");

    let server = Server::start(|_| Answer::status(404, "no"));
    let error = observed(&source(&server.base()), &place, span, now).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("no record of a station USC00000001"),
        "{error}"
    );
    let wrong = Ghcn::new(client(), &server.base(), "../../etc");
    assert!(!observed(&wrong, &place, span, now).unwrap_err().again());
    assert!(wrong.forecast(&place, now).is_err());
}

/// Readme of GHCN-Daily: `P` is "missing presumed zero", `T` a trace.
#[test]
fn a_presumed_nought_is_not_known_and_a_trace_is() {
    let line = |flag: char| {
        let mut line = String::from("USC00300042202604PRCP");
        line.push_str(&format!("    0{flag}  "));
        for _ in 1..31 {
            line.push_str("-9999   ");
        }
        line
    };
    let trace = budtide::sources::ghcn::read(line('T').as_bytes(), None).unwrap();
    assert_eq!(trace.days.len(), 1);
    assert_eq!(trace.days[0].rain_mm, Some(0.0));
    let presumed = budtide::sources::ghcn::read(line('P').as_bytes(), None).unwrap();
    assert!(presumed.days.is_empty());
    let wide = "\"STATION\",\"DATE\",\"PRCP\",\"PRCP_ATTRIBUTES\"\n\
                \"USC00300042\",\"2026-04-01\",\"    0\",\"P,,7,0700\"\n\
                \"USC00300042\",\"2026-04-02\",\"    0\",\"T,,7,0700\"\n";
    let read = budtide::sources::ghcn::read(wide.as_bytes(), None).unwrap();
    assert_eq!(read.days.len(), 1);
}
