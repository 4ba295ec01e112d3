//! Sources of weather that ask a service, against real HTTP on loopback.
//!
//! Captured replies are read from the folder that `BUDTIDE_DATA` names and
//! never enter the repository; the figures beside them were read off the
//! files by hand. What is made up here is made from the documented shapes
//! (reference: weather-sources).

mod client;
mod console;
mod contract;
mod damage;
mod documented;
mod ghcn;
mod golden;
mod nws;
mod open_meteo;
mod refresh;
mod server;
mod tls;
mod watched;
mod whole;

use budtide::facts::place::{HardinessZone, Place};
use budtide::sources::client::{Client, ProxyChoice, Settings};
use budtide::sources::patience::Patience;
use chrono::{DateTime, NaiveDate, Utc};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// An invented place.
fn place(zone: chrono_tz::Tz) -> Place {
    Place {
        name: "test".to_owned(),
        latitude: 42.745_678_9,
        longitude: -73.752_345_6,
        elevation_m: Some(100.0),
        time_zone: zone,
        hardiness: HardinessZone::read("5b").unwrap(),
        units: Default::default(),
        country: "US".to_owned(),
        soil: Default::default(),
        usual_bloom: Vec::new(),
    }
}

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn instant(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

/// A client with short pauses.
fn quick() -> Settings {
    Settings {
        patience: Patience {
            tries: 3,
            first: Duration::from_millis(5),
            growth: 2,
            longest: Duration::from_millis(1_500),
        },
        connect: Duration::from_secs(2),
        whole: Duration::from_secs(5),
        proxy: ProxyChoice::None,
        ..Settings::default()
    }
}

fn client() -> Arc<Client> {
    Arc::new(Client::new(quick()))
}

/// The folder of data that stay outside the repository.
fn data(path: &str) -> Option<PathBuf> {
    let root = std::env::var_os("BUDTIDE_DATA").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/datasets"),
        PathBuf::from,
    );
    let path = root.join(path);
    if path.exists() {
        return Some(path);
    }
    println!("skipped: no {} (set BUDTIDE_DATA)", path.display());
    None
}
