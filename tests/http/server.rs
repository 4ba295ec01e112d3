//! A small HTTP server on loopback that answers as a test says.

use rustls::{ServerConfig, ServerConnection, StreamOwned};
use std::collections::BTreeMap;
use std::io::{Read, Write};
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
    /// The query, as it was sent.
    pub query: BTreeMap<String, String>,
    /// Headers by their name in lower case.
    pub headers: BTreeMap<String, String>,
    /// How many were asked before.
    pub number: usize,
}

/// Writes a whole answer, or half of one.
type ByHand = Box<dyn FnOnce(&mut dyn Write) + Send>;

/// What to answer.
pub enum Answer {
    /// A whole reply.
    Reply(u16, Vec<(String, String)>, Vec<u8>),
    /// Anything, written by hand.
    Raw(ByHand),
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

    pub fn raw(write: impl FnOnce(&mut dyn Write) + Send + 'static) -> Self {
        Answer::Raw(Box::new(write))
    }
}

/// The server; it ends when dropped.
pub struct Server {
    pub address: SocketAddr,
    scheme: &'static str,
    log: Arc<Mutex<Vec<Asked>>>,
    stop: Arc<AtomicBool>,
}

impl Server {
    pub fn start(handler: impl Fn(&Asked) -> Answer + Send + Sync + 'static) -> Self {
        Server::run(None, handler)
    }

    /// One that speaks TLS with the certificate given.
    pub fn start_tls(
        tls: Arc<ServerConfig>,
        handler: impl Fn(&Asked) -> Answer + Send + Sync + 'static,
    ) -> Self {
        Server::run(Some(tls), handler)
    }

    fn run(
        tls: Option<Arc<ServerConfig>>,
        handler: impl Fn(&Asked) -> Answer + Send + Sync + 'static,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let server = Server {
            address: listener.local_addr().unwrap(),
            scheme: if tls.is_some() { "https" } else { "http" },
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
                let limit = Some(Duration::from_secs(10));
                stream.set_read_timeout(limit).unwrap();
                stream.set_write_timeout(limit).unwrap();
                let (log, handler, tls) = (log.clone(), handler.clone(), tls.clone());
                thread::spawn(move || match tls {
                    None => serve(stream, &log, handler.as_ref()),
                    Some(tls) => {
                        let connection = ServerConnection::new(tls).unwrap();
                        let stream = StreamOwned::new(connection, stream);
                        serve(stream, &log, handler.as_ref());
                    }
                });
            }
        });
        server
    }

    pub fn base(&self) -> String {
        format!("{}://{}", self.scheme, self.address)
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

fn read_head(stream: &mut impl Read) -> Option<String> {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") {
        match stream.read(&mut byte) {
            Ok(1) if head.len() < 64 << 10 => head.push(byte[0]),
            _ => return None,
        }
    }
    String::from_utf8(head).ok()
}

fn serve<S: Read + Write>(
    mut stream: S,
    log: &Mutex<Vec<Asked>>,
    handler: &(dyn Fn(&Asked) -> Answer + Send + Sync),
) {
    let Some(mut head) = read_head(&mut stream) else {
        return;
    };
    if head.starts_with("CONNECT ") {
        // A proxy: what follows is for the host behind it.
        let _ = stream.write_all(b"HTTP/1.1 200 Connected\r\n\r\n");
        match read_head(&mut stream) {
            Some(inner) => head = inner,
            None => return,
        }
    }
    let mut lines = head.lines();
    let target = lines.next().unwrap().split(' ').nth(1).unwrap().to_owned();
    let headers = lines
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.trim().to_owned()))
        .collect();
    let (path, query) = target.split_once('?').unwrap_or((&target, ""));
    let asked = {
        let mut log = log.lock().unwrap();
        let asked = Asked {
            path: path.to_owned(),
            query: query
                .split('&')
                .filter_map(|pair| pair.split_once('='))
                .map(|(name, value)| (name.to_owned(), value.to_owned()))
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
    let _ = stream.flush();
}
