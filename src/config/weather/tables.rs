//! The tables of the sources that are asked or read.

use super::{GhcnChoice, NwsChoice, OpenMeteoChoice, StationChoice};
use crate::config::reader::Table;
use std::path::PathBuf;

pub(super) fn open_meteo(table: &Table<'_, '_>) -> OpenMeteoChoice {
    let choice = OpenMeteoChoice {
        address: address(table, "address"),
        archive_address: address(table, "archive_address"),
        model: table.maybe_text("model"),
        key_file: table.maybe_text("key_file").map(PathBuf::from),
    };
    let plain = |model: &String| {
        model
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'_')
    };
    if !choice.model.as_ref().is_none_or(plain) {
        table.fault(
            "model",
            "is no model's name; write it as model = \"era5_seamless\"".to_owned(),
        );
    }
    table.finish();
    choice
}

pub(super) fn nws(table: &Table<'_, '_>) -> NwsChoice {
    let choice = NwsChoice {
        address: address(table, "address"),
        contact: table.maybe_text("contact"),
    };
    let plain = |contact: &String| contact.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    if !choice.contact.as_ref().is_none_or(plain) {
        table.fault(
            "contact",
            "has letters that cannot be sent; write an e-mail address such as \
             \"you@example.org\""
                .to_owned(),
        );
    }
    table.finish();
    choice
}

pub(super) fn ghcn(table: &Table<'_, '_>) -> Option<GhcnChoice> {
    let station = table.text("station", "USW00094728");
    if let Some(id) = &station
        && (id.len() != 11
            || !id
                .bytes()
                .all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-'))
    {
        table.fault(
            "station",
            format!(
                "\"{id}\" is no station's identifier; it has eleven letters and digits, such as \
                 \"USW00094728\""
            ),
        );
    }
    let address = address(table, "address");
    if address
        .as_ref()
        .is_some_and(|address| !address.contains("{station}"))
    {
        table.fault(
            "address",
            "has no {station} in it, where the identifier goes".to_owned(),
        );
    }
    table.finish();
    Some(GhcnChoice {
        station: station?,
        address,
    })
}

pub(super) fn station(table: &Table<'_, '_>) -> Option<StationChoice> {
    let path = table.text("path", "station.csv");
    let name = table
        .maybe_text("name")
        .unwrap_or_else(|| "own station".to_owned());
    let settings = table.texts("settings");
    for setting in &settings {
        if !setting
            .value
            .split_once('=')
            .is_some_and(|(key, value)| !key.trim().is_empty() && !value.trim().is_empty())
        {
            table.fault_at(
                setting.span.clone(),
                "settings",
                format!(
                    "\"{}\" is no KEY=VALUE; write it as \"unit.temperature=F\"",
                    setting.value
                ),
            );
        }
    }
    table.finish();
    Some(StationChoice {
        name,
        path: PathBuf::from(path?),
        settings: settings.into_iter().map(|at| at.value).collect(),
    })
}

/// An address of a service.
fn address(table: &Table<'_, '_>, key: &str) -> Option<String> {
    let address = table.maybe_text(key)?;
    let lower = address.to_ascii_lowercase();
    let rest = lower
        .strip_prefix("https://")
        .or_else(|| lower.strip_prefix("http://"));
    let host = rest.map(|rest| rest.split('/').next().unwrap_or(""));
    let wrong = match host {
        None => Some("has to begin with https:// or http://"),
        Some("") => Some("has no host"),
        Some(host) if host.contains('@') => {
            Some("must not hold a user name or password; they would be shown")
        }
        Some(_) if address.contains(char::is_whitespace) => Some("has a blank in it"),
        Some(_) => None,
    };
    if let Some(wrong) = wrong {
        table.fault(
            key,
            format!("{wrong}; write it as {key} = \"http://127.0.0.1:8080\""),
        );
    }
    Some(address)
}
