//! A small HTTP server on loopback that answers as a test says.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

/// What was asked.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The path without the query.
    pub path: String,
    /// The query, not unescaped but for the comma and colon.
    pub query: BTreeMap<String, String>,
    /// Headers by their name in lower case.
    pub headers: BTreeMap<String, String>,
    /// How many were asked before.
    pub number: usize,
}

/// What to answer.
pub enum Answer {
    /// A whole reply.
    Reply(u16, Vec<(String, String)>, Vec<u8>),
    /// Anything, written by hand.
    Raw(Box<dyn FnOnce(&mut TcpStream) + Send>),
}

impl Answer {
    pub fn json(body: impl Into<Vec<u8>>) -> Self {
        Answer::status(200, body)
    }

    pub fn status(status: u16, body: impl Into<Vec<u8>>) -> Self {
        let json = ("Content-Type".to_owned(), "application/json".to_owned());
        Answer::Reply(status, vec![json], body.into())
    }

    pub fn with(mut self, name: &str, value: &str) -> Self {
        if let Answer::Reply(_, headers, _) = &mut self {
            headers.push((name.to_owned(), value.to_owned()));
        }
        self
    }

    pub fn raw(write: impl FnOnce(&mut TcpStream) + Send + 'static) -> Self {
        Answer::Raw(Box::new(write))
    }
}

/// The server; it ends when dropped.
pub struct Server {
    pub address: SocketAddr,
    log: Arc<Mutex<Vec<Asked>>>,
    stop: Arc<AtomicBool>,
}

impl Server {
    pub fn start(handler: impl Fn(&Asked) -> Answer + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let server = Server {
            address: listener.local_addr().unwrap(),
            log: Arc::default(),
            stop: Arc::default(),
        };
        let (log, stop) = (server.log.clone(), server.stop.clone());
        let handler = Arc::new(handler);
        thread::spawn(move || {
            for stream in listener.incoming() {
                if stop.load(Ordering::SeqCst) {
                    break;
                }
                let Ok(stream) = stream else { continue };
                let (log, handler) = (log.clone(), handler.clone());
                thread::spawn(move || serve(stream, &log, handler.as_ref()));
            }
        });
        server
    }

    pub fn base(&self) -> String {
        format!("http://{}", self.address)
    }

    /// What was asked so far.
    pub fn asked(&self) -> Vec<Asked> {
        self.log.lock().unwrap().clone()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.address);
    }
}

fn serve(
    mut stream: TcpStream,
    log: &Mutex<Vec<Asked>>,
    handler: &(dyn Fn(&Asked) -> Answer + Send + Sync),
) {
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
    let Some(Ok(first)) = lines.next() else {
        return;
    };
    let target = first.split(' ').nth(1).unwrap_or("/").to_owned();
    let mut headers = BTreeMap::new();
    for line in lines {
        let Ok(line) = line else { return };
        let Some((name, value)) = line.split_once(':') else {
            break;
        };
        headers.insert(name.to_ascii_lowercase(), value.trim().to_owned());
    }
    // A proxy is asked for whole addresses.
    let target = target
        .strip_prefix("http://")
        .map_or(target.clone(), |rest| {
            rest[rest.find('/').unwrap_or(0)..].to_owned()
        });
    let (path, query) = target.split_once('?').unwrap_or((&target, ""));
    let asked = {
        let mut log = log.lock().unwrap();
        let asked = Asked {
            path: path.to_owned(),
            query: query
                .split('&')
                .filter_map(|pair| pair.split_once('='))
                .map(|(name, value)| {
                    (
                        name.to_owned(),
                        value.replace("%2C", ",").replace("%3A", ":"),
                    )
                })
                .collect(),
            headers,
            number: log.len(),
        };
        log.push(asked.clone());
        asked
    };
    match handler(&asked) {
        Answer::Reply(status, headers, body) => {
            let mut head = format!("HTTP/1.1 {status} Any\r\nConnection: close\r\n");
            if !headers.iter().any(|(name, _)| name == "Content-Length") && status != 304 {
                head.push_str(&format!("Content-Length: {}\r\n", body.len()));
            }
            for (name, value) in headers {
                head.push_str(&format!("{name}: {value}\r\n"));
            }
            head.push_str("\r\n");
            let _ = stream.write_all(head.as_bytes());
            let _ = stream.write_all(&body);
        }
        Answer::Raw(write) => write(&mut stream),
    }
}
