//! The client against a server that misbehaves, and one that asks for
//! patience.

use super::quick;
use super::server::{Answer, Server};
use budtide::sources::address::Address;
use budtide::sources::client::{Client, ProxyChoice, Reply, Request, Settings};
use budtide::sources::error::{Fault, SourceError, Why};
use budtide::sources::stop::Stop;
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write;
use std::thread;
use std::time::{Duration, Instant};

const KEY: &str = "hush-42";

fn request(base: &str) -> Request {
    let address = Address::below(base, "/data").unwrap().with("apikey", KEY);
    Request::new("fetching a thing", address).hiding(KEY)
}

fn body(reply: &Reply) -> Result<String, Fault> {
    Ok(String::from_utf8(reply.good()?.to_vec()).unwrap())
}

/// A body that has to be JSON, as the sources read it.
fn json(reply: &Reply) -> Result<serde_json::Value, Fault> {
    serde_json::from_slice(reply.good()?).map_err(|error| reply.not_json(&error))
}

fn ask(base: &str) -> Result<String, SourceError> {
    Client::new(quick()).fetch(&request(base), body)
}

fn why(error: &SourceError) -> &Why {
    &error.failure().unwrap().why
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}

#[test]
fn an_error_500_is_tried_again_and_a_404_is_not() {
    let server = Server::start(|asked| match asked.number {
        0 => Answer::status(500, "oops"),
        1 => Answer::status(503, "oops"),
        _ => Answer::json("here"),
    });
    assert_eq!(ask(&server.base()).unwrap(), "here");
    assert_eq!(server.asked().len(), 3);

    let server = Server::start(|_| Answer::status(404, "no"));
    let error = ask(&server.base()).unwrap_err();
    assert!(matches!(why(&error), Why::Status { code: 404, .. }) && !error.again());
    assert_eq!(server.asked().len(), 1);
}

#[test]
fn says_who_it_is_and_what_it_takes() {
    let server = Server::start(|_| Answer::json("{}"));
    ask(&server.base()).unwrap();
    let headers = &server.asked()[0].headers;
    assert!(headers["user-agent"].starts_with("budtide/"));
    assert_eq!(headers["accept"], "application/json");
    assert_eq!(headers["accept-encoding"], "gzip");
}

#[test]
fn retry_after_is_kept_to_in_seconds_and_as_a_date() {
    let server = Server::start(|asked| match asked.number {
        0 => Answer::status(429, "slow down").with("Retry-After", "1"),
        _ => Answer::json("here"),
    });
    let start = Instant::now();
    assert_eq!(ask(&server.base()).unwrap(), "here");
    assert!(
        start.elapsed() >= Duration::from_secs(1),
        "not earlier than asked"
    );

    // A second after the reply's own date.
    let server = Server::start(|asked| match asked.number {
        0 => Answer::status(503, "back soon")
            .with("Date", "Wed, 15 Apr 2026 12:00:00 GMT")
            .with("Retry-After", "Wed, 15 Apr 2026 12:00:01 GMT"),
        _ => Answer::json("here"),
    });
    let start = Instant::now();
    assert_eq!(ask(&server.base()).unwrap(), "here");
    assert!(start.elapsed() >= Duration::from_secs(1));

    // Too long to wait for: handed to the caller, at once.
    let server = Server::start(|_| Answer::status(429, "").with("Retry-After", "3600"));
    let start = Instant::now();
    let error = ask(&server.base()).unwrap_err();
    assert!(error.again() && start.elapsed() < Duration::from_secs(1));
    assert_eq!(
        error.failure().unwrap().after,
        Some(Duration::from_secs(3_600))
    );
    assert_eq!(server.asked().len(), 1);
    assert!(error.to_string().contains("after 60 min"), "{error}");
}

#[test]
fn no_message_holds_a_key_or_an_address() {
    // The service repeats the request, as some do.
    let server = Server::start(|asked| match asked.number {
        0 => Answer::json("here").with("ETag", "\"1\""),
        _ => Answer::status(400, format!("bad key {}", asked.query["apikey"])),
    });
    let client = Client::new(quick());
    let mut request = request(&server.base());
    request.keep = true;
    client.fetch(&request, body).unwrap();
    let error = client
        .fetch(&request, |reply| -> Result<(), Fault> {
            let said = String::from_utf8_lossy(&reply.body).into_owned();
            Err(reply.refused(said))
        })
        .unwrap_err();
    let said = format!("{error} {error:?} {request:?} {client:?}");
    assert!(said.contains("bad key ***"), "{said}");
    assert!(!said.contains(KEY) && !said.contains("apikey"), "{said}");
    assert!(said.contains("fetching a thing, 127.0.0.1"), "{said}");
}

#[test]
fn redirects_are_followed_a_few_times() {
    let server = Server::start(|asked| match asked.path.as_str() {
        "/data" => Answer::status(301, "").with("Location", "/moved?x=1"),
        "/moved" => Answer::status(308, "").with("Location", "there"),
        "/there" => Answer::json("here"),
        other => panic!("{other}"),
    });
    assert_eq!(ask(&server.base()).unwrap(), "here");

    let server = Server::start(|_| Answer::status(302, "").with("Location", "/data"));
    let error = ask(&server.base()).unwrap_err();
    assert!(matches!(why(&error), Why::Redirect(_)), "{error}");
    assert_eq!(server.asked().len(), 5, "bounded");

    let server = Server::start(|_| Answer::status(302, ""));
    let error = ask(&server.base()).unwrap_err();
    assert!(matches!(why(&error), Why::Redirect(_)), "{error}");
}

#[test]
fn a_reply_that_drips_is_cut_off() {
    let server = Server::start(|_| {
        Answer::raw(|out| {
            let _ = out.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\n");
            for _ in 0..100 {
                if out.write_all(b"x").and_then(|()| out.flush()).is_err() {
                    break;
                }
                thread::sleep(Duration::from_millis(100));
            }
        })
    });
    let mut settings = quick();
    settings.whole = Duration::from_millis(600);
    settings.patience.tries = 1;
    let start = Instant::now();
    let error = Client::new(settings)
        .fetch(&request(&server.base()), body)
        .unwrap_err();
    assert!(matches!(why(&error), Why::Slow(_)), "{error}");
    assert!(error.again());
    assert!(start.elapsed() < Duration::from_secs(5));
}

#[test]
fn a_server_that_says_nothing_is_cut_off() {
    let server = Server::start(|_| Answer::raw(|_| thread::sleep(Duration::from_millis(1_500))));
    let mut settings = quick();
    settings.whole = Duration::from_millis(400);
    settings.patience.tries = 1;
    let error = Client::new(settings)
        .fetch(&request(&server.base()), body)
        .unwrap_err();
    assert!(matches!(why(&error), Why::Slow(_)), "{error}");
}

/// 200 MB, told by its length or not: no more than the limit is taken.
#[test]
fn a_reply_of_200_mb_is_left_at_the_limit() {
    for told in [true, false] {
        let server = Server::start(move |_| {
            Answer::raw(move |out| {
                let length = if told {
                    "Content-Length: 209715200\r\n"
                } else {
                    ""
                };
                let head = format!("HTTP/1.1 200 OK\r\nConnection: close\r\n{length}\r\n");
                let _ = out.write_all(head.as_bytes());
                let piece = vec![b'x'; 1 << 20];
                for _ in 0..200 {
                    if out.write_all(&piece).is_err() {
                        break;
                    }
                }
            })
        });
        let client = Client::new(quick());
        let error = client.fetch(&request(&server.base()), body).unwrap_err();
        assert!(
            matches!(
                why(&error),
                Why::TooLarge {
                    unpacked: false,
                    ..
                }
            ),
            "{error}"
        );
        assert_eq!(server.asked().len(), 1, "not asked for again at once");
    }
}

#[test]
fn gzip_is_unpacked_up_to_the_limit() {
    let server = Server::start(|asked| match asked.number {
        0 => Answer::json(gzip(b"here")).with("Content-Encoding", "gzip"),
        // 64 MiB of noughts in some 300 kB.
        1 => Answer::json(gzip(&vec![0; 64 << 20])).with("Content-Encoding", "gzip"),
        2 => Answer::json("here").with("Content-Encoding", "br"),
        // Cut short, or not packed at all: tried again.
        3 => Answer::json(&gzip(&[7; 9_000])[..20]).with("Content-Encoding", "gzip"),
        4 => Answer::json("here").with("Content-Encoding", "gzip"),
        _ => Answer::json(gzip(b"there")).with("Content-Encoding", "x-gzip"),
    });
    assert_eq!(ask(&server.base()).unwrap(), "here");
    let error = ask(&server.base()).unwrap_err();
    assert!(
        matches!(why(&error), Why::TooLarge { unpacked: true, .. }),
        "{error}"
    );
    let error = ask(&server.base()).unwrap_err();
    assert!(error.to_string().contains("\"br\""), "{error}");
    assert_eq!(ask(&server.base()).unwrap(), "there");
    assert_eq!(server.asked().len(), 6);
}

/// A length that is too long (the connection ends early) and one that is too
/// short (the JSON ends early).
#[test]
fn a_lying_length_is_no_reply() {
    let whole = r#"{"a":[1,2,3]}"#;
    for length in ["1000", "5"] {
        let server = Server::start(move |_| Answer::json(whole).with("Content-Length", length));
        let client = Client::new(quick());
        let error = client.fetch(&request(&server.base()), json).unwrap_err();
        assert!(error.again(), "{error}");
        assert!(
            matches!(why(&error), Why::Connection(_) | Why::Unreadable(_)),
            "{length}: {error:?}"
        );
        assert_eq!(server.asked().len(), 3, "tried again");
    }
}

#[test]
fn what_is_no_json_says_what_it_is() {
    for (body, says) in [
        ("", "empty"),
        ("  \r\n ", "empty"),
        ("<!DOCTYPE html><html>Sign in</html>", "web page"),
        (r#"{"hourly":{"time":[17"#, "cut short"),
        (r#"{"hourly":nan}"#, "line 1 column"),
        ("\u{feff}{}", "line 1 column"),
    ] {
        let server = Server::start(move |_| Answer::json(body));
        let client = Client::new(quick());
        let error = client.fetch(&request(&server.base()), json).unwrap_err();
        assert!(error.again() && error.to_string().contains(says), "{error}");
    }
}

#[test]
fn garbage_instead_of_http_is_no_reply() {
    for garbage in ["", "\r\n\r\n", "SSH-2.0-x\r\n", "HTTP/1.1 999999 x\r\n\r\n"] {
        let server = Server::start(move |_| {
            Answer::raw(move |out| {
                let _ = out.write_all(garbage.as_bytes());
            })
        });
        let error = ask(&server.base()).unwrap_err();
        assert!(error.again(), "{garbage:?}: {error}");
    }
    // Headers without an end.
    let server = Server::start(|_| {
        Answer::raw(|out| {
            let _ = out.write_all(b"HTTP/1.1 200 OK\r\n");
            for _ in 0..20_000 {
                if out
                    .write_all(b"X-Fill: aaaaaaaaaaaaaaaaaaaaaaaaaaaaa\r\n")
                    .is_err()
                {
                    break;
                }
            }
        })
    });
    assert!(ask(&server.base()).unwrap_err().again());
}

#[test]
fn nobody_there_is_said_so() {
    // A port that was free a moment ago.
    let base = Server::start(|_| Answer::json("")).base();
    thread::sleep(Duration::from_millis(20));
    let error = ask(&base).unwrap_err();
    assert!(matches!(why(&error), Why::Connection(_)), "{error}");
    assert_eq!(error.failure().unwrap().tries, 3);
    let error = ask("http://nowhere.invalid").unwrap_err();
    assert!(error.again(), "{error}");
    assert!(error.to_string().contains("nowhere.invalid"), "{error}");
}

#[test]
fn what_is_kept_is_asked_for_conditionally() {
    let server =
        Server::start(
            |asked| match asked.headers.get("if-none-match").map(String::as_str) {
                Some("\"one\"") => Answer::Reply(304, Vec::new(), Vec::new()),
                Some(_) => panic!("{asked:?}"),
                None => Answer::json("here")
                    .with("ETag", "\"one\"")
                    .with("Last-Modified", "Wed, 15 Apr 2026 12:00:00 GMT"),
            },
        );
    let client = Client::new(quick());
    let mut request = request(&server.base());
    request.keep = true;
    for round in 0..3 {
        let (text, kept, modified) = client
            .fetch(&request, |reply| {
                Ok((body(reply)?, reply.kept, reply.modified))
            })
            .unwrap();
        assert_eq!((text.as_str(), kept), ("here", round > 0));
        assert_eq!(modified.unwrap().to_rfc3339(), "2026-04-15T12:00:00+00:00");
    }
    let asked = server.asked();
    assert!(!asked[0].headers.contains_key("if-none-match"));
    let since = "Wed, 15 Apr 2026 12:00:00 GMT";
    assert_eq!(asked[2].headers["if-modified-since"], since);
    assert_eq!(client.traffic().requests, 3);
    assert_eq!(client.traffic().bytes, 4);

    // "Not modified" to somebody who has nothing.
    let server = Server::start(|_| Answer::Reply(304, Vec::new(), Vec::new()));
    assert!(ask(&server.base()).unwrap_err().again());
}

#[test]
fn a_proxy_stands_before_the_network_but_not_before_this_machine() {
    let proxy = Server::start(|_| Answer::json("from the proxy"));
    let server = Server::start(|_| Answer::json("direct"));
    let settings = || Settings {
        proxy: ProxyChoice::Address(proxy.base()),
        ..quick()
    };
    let client = Client::new(settings());
    assert_eq!(
        client.fetch(&request(&server.base()), body).unwrap(),
        "direct"
    );
    assert_eq!(proxy.asked().len(), 0);
    // The name is never looked up here: the proxy gets the request.
    let outside = request("http://weather.invalid");
    let got = client.fetch(&outside, body).unwrap();
    assert_eq!(got, "from the proxy");

    let mut wrong = settings();
    wrong.proxy = ProxyChoice::Address("::: no proxy".to_owned());
    let error = Client::new(wrong).fetch(&outside, body).unwrap_err();
    assert!(!error.again(), "{error}");
}

#[test]
fn a_stop_ends_the_waiting() {
    let server = Server::start(|_| Answer::status(500, ""));
    let stop = Stop::default();
    let mut settings = quick();
    settings.stop = stop.clone();
    settings.patience.first = Duration::from_secs(30);
    settings.patience.longest = Duration::from_secs(60);
    let base = server.base();
    let start = Instant::now();
    let waiting = thread::spawn(move || Client::new(settings).fetch(&request(&base), body));
    thread::sleep(Duration::from_millis(100));
    stop.set();
    assert_eq!(waiting.join().unwrap(), Err(SourceError::Stopped));
    assert!(start.elapsed() < Duration::from_secs(5));
}
