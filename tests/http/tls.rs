//! Certificates: one that is trusted, and those that are not.

use super::quick;
use super::server::{Answer, Server};
use budtide::sources::address::Address;
use budtide::sources::client::{Client, Request, Settings, Trust};
use budtide::sources::error::{Fault, SourceError, Why};
use rustls::ServerConfig;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use std::sync::Arc;

/// A self-signed certificate for names, and a server's half of it.
pub fn certificate(names: &[&str]) -> (String, Arc<ServerConfig>) {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    let made = rcgen::generate_simple_self_signed(names).unwrap();
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(made.signing_key.serialize_der()));
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let server = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key)
        .unwrap();
    (made.cert.pem(), Arc::new(server))
}

fn ask(base: &str, trust: Trust) -> Result<Vec<u8>, SourceError> {
    let client = Client::new(Settings { trust, ..quick() });
    let request = Request::new("fetching a thing", Address::read(base).unwrap());
    client.fetch(&request, |reply| Ok::<_, Fault>(reply.good()?.to_vec()))
}

#[test]
fn a_trusted_certificate_is_taken_and_no_other() {
    let (pem, tls) = certificate(&["localhost", "127.0.0.1"]);
    let server = Server::start_tls(tls, |_| Answer::json("here"));
    let trusted = ask(&server.base(), Trust::Only(pem.clone().into_bytes()));
    assert_eq!(trusted.unwrap(), b"here");

    let (other, _) = certificate(&["localhost", "127.0.0.1"]);
    for trust in [
        Trust::System,
        Trust::Only(other.into_bytes()),
        Trust::Only(Vec::new()),
    ] {
        let error = ask(&server.base(), trust).unwrap_err();
        let failure = error.failure().unwrap();
        assert!(matches!(failure.why, Why::Certificate(_)), "{error:?}");
        assert_eq!(failure.tries, 1, "a second try sees the same certificate");
        assert!(error.tell() && error.again(), "{error}");
    }
    assert_eq!(server.asked().len(), 1);
    let error = ask(
        &server.base(),
        Trust::Only(b"-----BEGIN CERTIFICATE-----\nx".to_vec()),
    );
    assert!(error.is_err());

    // The right certificate under a wrong name.
    let (pem, tls) = certificate(&["elsewhere.example.org"]);
    let server = Server::start_tls(tls, |_| Answer::json("here"));
    let error = ask(&server.base(), Trust::Only(pem.into_bytes())).unwrap_err();
    let why = &error.failure().unwrap().why;
    assert!(matches!(why, Why::Certificate(_)), "{error:?}");
}

#[test]
fn no_redirect_leads_from_https_to_http() {
    let plain = Server::start(|_| Answer::json("seen by all"));
    let leads = plain.base();
    let (pem, tls) = certificate(&["127.0.0.1"]);
    let server = Server::start_tls(tls, move |_| {
        Answer::status(302, "").with("Location", &leads)
    });
    let error = ask(&server.base(), Trust::Only(pem.into_bytes())).unwrap_err();
    let why = &error.failure().unwrap().why;
    assert!(matches!(why, Why::Redirect(_)), "{error:?}");
    assert_eq!(plain.asked().len(), 0);
}

/// TLS asked of a server that speaks none, and the other way round.
#[test]
fn the_wrong_kind_of_server_is_said_so() {
    let plain = Server::start(|_| Answer::json("here"));
    let base = plain.base().replace("http:", "https:");
    let error = ask(&base, Trust::Only(Vec::new())).unwrap_err();
    assert!(error.again(), "{error:?}");
    let (_, tls) = certificate(&["127.0.0.1"]);
    let server = Server::start_tls(tls, |_| Answer::json("here"));
    let base = server.base().replace("https:", "http:");
    assert!(ask(&base, Trust::System).unwrap_err().again());
}
