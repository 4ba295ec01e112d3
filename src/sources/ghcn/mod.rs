//! Long records of single stations: NOAA's GHCN-Daily.
//!
//! Three forms are told apart by their look: the fixed lines of `.dly` files,
//! CSV with a row for each day and station, CSV with a row for each value.
//! Values are tenths of °C and of mm, without exception: a decimal point is
//! refused. Those that failed a quality check are left out. Days are as the
//! station wrote them; where the thermometer is read in the morning this is
//! told.

mod record;

pub use record::{GhcnRecord, GhcnStation, read};

use super::address::Address;
use super::client::{Client, Request, gunzip};
use super::error::{Fault, SourceError, Why};
use super::hours::standard;
use super::reply::Reply;
use super::{Credit, Part, Span, WeatherSource, hand};
use crate::facts::place::Place;
use chrono::{DateTime, Utc};
use std::ops::ControlFlow;
use std::sync::Arc;

/// Where the record of a station lies; `{station}` stands for its identifier
/// (from memory: the reference names the path alone).
pub const ADDRESS: &str = "https://www.ncei.noaa.gov/data/\
    global-historical-climatology-network-daily/access/{station}.csv";

/// Most bytes of a record unpacked.
const MOST_BYTES: u64 = 64 << 20;

/// Its name, for the keeper and the store (the station follows).
pub const NAME: &str = "NOAA GHCN-Daily";

/// What has to stand where its data are shown.
pub const CREDIT: Credit = Credit {
    text: "Station record by NOAA NCEI, GHCN-Daily",
    link: "https://www.ncei.noaa.gov/",
    licence: "public domain",
};

/// The source: one station.
#[derive(Debug)]
pub struct Ghcn {
    client: Arc<Client>,
    address: String,
    station: String,
    name: String,
}

impl Ghcn {
    /// The record of a station, such as `USW00094728`, at an address with
    /// `{station}` in it, such as [`ADDRESS`].
    pub fn new(client: Arc<Client>, address: &str, station: &str) -> Self {
        let station = station.trim().to_ascii_uppercase();
        Ghcn {
            client,
            address: address.to_owned(),
            name: format!("{NAME} {station}"),
            station,
        }
    }

    fn record(&self) -> Result<(GhcnRecord, Option<DateTime<Utc>>), SourceError> {
        let doing = "fetching the record of a station";
        let fail = |fault: Fault| fault.into_error(doing, &self.name, 0);
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-';
        if self.station.len() != 11 || !self.station.bytes().all(plain) {
            let what = "a station's identifier has eleven letters and digits, \
                        such as USW00094728";
            return Err(fail(Fault::never(Why::Setting(what.to_owned()))));
        }
        let address = self.address.replace("{station}", &self.station);
        let mut request = Request::new(doing, Address::read(&address).map_err(fail)?);
        request.accept = "text/csv, text/plain, application/gzip, */*;q=0.1";
        request.keep = true;
        self.client.fetch(&request, |reply| {
            let body = reply
                .good()
                .map_err(|fault| self.unknown_station(reply, fault))?;
            let record = if body.starts_with(&[0x1f, 0x8b]) {
                read(&gunzip(body, MOST_BYTES)?, Some(&self.station))?
            } else {
                read(body, Some(&self.station))?
            };
            Ok((record, reply.modified))
        })
    }

    fn unknown_station(&self, reply: &Reply, fault: Fault) -> Fault {
        if matches!(reply.status, 404 | 410) {
            let what = format!("no record of a station {}", self.station);
            return Fault::never(Why::Setting(what));
        }
        fault
    }
}

impl WeatherSource for Ghcn {
    fn name(&self) -> &str {
        &self.name
    }

    fn credit(&self) -> Credit {
        CREDIT
    }

    fn observed(
        &self,
        place: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        if span.is_empty() {
            return Ok(());
        }
        let today = standard(place.time_zone, now).date();
        let (record, modified) = self.record()?;
        let part = Part {
            span,
            days: record
                .days
                .iter()
                .filter(|day| span.contains(day.date) && day.date < today)
                .copied()
                .collect(),
            hours: Vec::new(),
            issued: modified.map_or(now, |modified| modified.min(now)),
            left: record.left,
            elevation_m: record.station.as_ref().and_then(|known| known.elevation_m),
            station: Some(self.station.clone()),
            part: 1,
            of: 1,
            notes: record.notes,
        };
        hand(take, part)
    }
}
