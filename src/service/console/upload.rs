//! One upload by HTTP: a form in the body, or the older query.

use super::What;
use super::door::Ear;
use crate::sources::console::{Reading, Refused, on_time, read_form};
use hyper::body::{Body, Incoming};
use hyper::header::{ALLOW, CONTENT_TYPE, HeaderValue};
use hyper::rt::{Read, ReadBufCursor, Write};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Method, Request, Response, StatusCode};
use std::convert::Infallible;
use std::future::poll_fn;
use std::io;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;

/// An upload has under 3 KiB in every capture.
const MOST_BYTES: usize = 16 * 1_024;

/// Serves one connection: one request, one answer.
pub(super) async fn serve(stream: TcpStream, from: IpAddr, ear: &Arc<Ear>) {
    let answer =
        service_fn(|request| async move { Ok::<_, Infallible>(answer(request, from, ear).await) });
    // A caller that breaks off is no fault of ours.
    let _ = http1::Builder::new()
        .keep_alive(false)
        .max_buf_size(MOST_BYTES)
        .serve_connection(Stream(stream), answer)
        .await;
}

async fn answer(request: Request<Incoming>, from: IpAddr, ear: &Ear) -> Response<String> {
    let (status, text) = match hear(request, from, ear).await {
        Ok(()) => (StatusCode::OK, "success".to_owned()),
        Err((status, text)) => (status, text),
    };
    let mut response = Response::new(text + "\n");
    *response.status_mut() = status;
    let headers = response.headers_mut();
    headers.insert(
        CONTENT_TYPE,
        HeaderValue::from_static("text/plain; charset=utf-8"),
    );
    if status == StatusCode::METHOD_NOT_ALLOWED {
        headers.insert(ALLOW, HeaderValue::from_static("GET, POST"));
    }
    response
}

type Said = (StatusCode, String);

fn said(status: StatusCode, text: &str) -> Said {
    (status, text.to_owned())
}

async fn hear(request: Request<Incoming>, from: IpAddr, ear: &Ear) -> Result<(), Said> {
    let path = request.uri().path();
    if path.trim_end_matches('/') != ear.path().trim_end_matches('/') {
        ear.try_put(What::Strange("it was sent to another path"));
        return Err(said(StatusCode::NOT_FOUND, "no such path"));
    }
    let text = if request.method() == Method::GET {
        request.uri().query().unwrap_or_default().to_owned()
    } else if request.method() == Method::POST {
        let body = whole(request.into_body()).await.map_err(|error| {
            if error == TooMuch::Bytes {
                ear.try_put(What::Strange("it was larger than any upload"));
                return said(StatusCode::PAYLOAD_TOO_LARGE, "too large");
            }
            said(StatusCode::BAD_REQUEST, "broken off")
        })?;
        String::from_utf8_lossy(&body).into_owned()
    } else {
        return Err(said(StatusCode::METHOD_NOT_ALLOWED, "GET or POST"));
    };
    let reading = read(&text, ear).map_err(|refused| {
        ear.refuse(refused);
        said(StatusCode::BAD_REQUEST, &refused.to_string())
    })?;
    if !ear.is_first(from) {
        ear.try_put(What::Second(from));
        return Err(said(StatusCode::CONFLICT, "another console sends already"));
    }
    if !ear.try_put(What::Reading(reading)) {
        return Err(said(StatusCode::SERVICE_UNAVAILABLE, "busy; send it again"));
    }
    Ok(())
}

fn read(text: &str, ear: &Ear) -> Result<Reading, Refused> {
    let now = ear.now();
    let reading = read_form(text, ear.form(), now)?;
    on_time(&reading, now)?;
    Ok(reading)
}

#[derive(PartialEq)]
enum TooMuch {
    Bytes,
    Broken,
}

/// The body, if it is no larger than an upload.
async fn whole(mut body: Incoming) -> Result<Vec<u8>, TooMuch> {
    if body.size_hint().lower() > MOST_BYTES as u64 {
        return Err(TooMuch::Bytes);
    }
    let mut bytes = Vec::new();
    while let Some(frame) = poll_fn(|cx| Pin::new(&mut body).poll_frame(cx)).await {
        let frame = frame.map_err(|_| TooMuch::Broken)?;
        if let Some(data) = frame.data_ref() {
            if bytes.len() + data.len() > MOST_BYTES {
                return Err(TooMuch::Bytes);
            }
            bytes.extend_from_slice(data);
        }
    }
    Ok(bytes)
}

/// A stream of tokio as hyper wants it.
struct Stream(TcpStream);

impl Read for Stream {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        mut cursor: ReadBufCursor<'_>,
    ) -> Poll<io::Result<()>> {
        let mut bytes = [0_u8; 2_048];
        let most = cursor.remaining().min(bytes.len());
        let mut buffer = ReadBuf::new(bytes.get_mut(..most).unwrap_or_default());
        ready!(Pin::new(&mut self.0).poll_read(cx, &mut buffer))?;
        cursor.put_slice(buffer.filled());
        Poll::Ready(Ok(()))
    }
}

impl Write for Stream {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(cx)
    }
}
