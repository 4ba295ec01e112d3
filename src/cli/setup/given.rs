//! The answers from the options, where nobody can be asked.

use super::read::{
    degrees, hardiness, latitude_of, machine_zone, quantity, read_trees, time_zone, unit_system,
};
use super::{Answers, Juniper, Mail, Setup, doubt};
use crate::config::place;
use crate::facts::knowledge::Crop;
use crate::render::page;
use crate::units::Quantity;

/// The answers from the options; all that is wrong with them at once.
pub(super) fn given(setup: &Setup, crops: &[Crop], year: i32) -> Result<Answers, String> {
    let mut faults = Vec::new();
    let mut needed = |name: &str, value: &Option<String>| -> String {
        match value {
            Some(value) => value.clone(),
            None => {
                faults.push(format!("--{name} is missing"));
                String::new()
            }
        }
    };
    let latitude = needed("latitude", &setup.latitude);
    let longitude = needed("longitude", &setup.longitude);
    let zone = needed("hardiness-zone", &setup.hardiness_zone);
    if !faults.is_empty() {
        return Err(format!(
            "{}; or run `budtide setup` on a terminal, and it asks",
            faults.join(", ")
        ));
    }
    let mut faults = Vec::new();
    let latitude = latitude_of(&latitude).unwrap_or_else(|fault| {
        faults.push(format!("--latitude: {fault}"));
        0.0
    });
    let longitude = degrees(&longitude, Quantity::Longitude).unwrap_or_else(|fault| {
        faults.push(format!("--longitude: {fault}"));
        0.0
    });
    let mut checked = |name: &str, result: Result<String, String>| {
        result.unwrap_or_else(|fault| {
            faults.push(format!("--{name}: {fault}"));
            String::new()
        })
    };
    let zone = checked("hardiness-zone", hardiness(&zone));
    let elevation = setup
        .elevation
        .as_ref()
        .map(|text| checked("elevation", quantity(text, Quantity::Elevation)));
    let time_zone = checked(
        "time-zone",
        match &setup.time_zone {
            Some(name) => time_zone(name),
            None => machine_zone().ok_or_else(|| {
                "this machine does not tell its own; write --time-zone America/New_York".to_owned()
            }),
        },
    );
    let units = checked("units", unit_system(setup.units.as_deref().unwrap_or("us")));
    let country = checked(
        "country",
        place::country_code(setup.country.as_deref().unwrap_or("US")),
    );
    let junipers: Vec<Juniper> = setup
        .junipers
        .iter()
        .map(|text| Juniper {
            distance: checked("juniper", quantity(text, Quantity::Distance)),
            removable: None,
        })
        .collect();
    let mut trees = Vec::new();
    for text in &setup.trees {
        match read_trees(text, crops) {
            Ok(read) => trees.push(read),
            Err(fault) => faults.push(format!("--tree \"{text}\": {fault}")),
        }
    }
    let mail = match &setup.email {
        None => None,
        Some(to) => match (&setup.mail_server, &setup.mail_password_file) {
            (Some(server), Some(file)) => Some(Mail {
                to: to.clone(),
                server: server.clone(),
                user: setup.mail_user.clone().unwrap_or_else(|| to.clone()),
                password_file: file.clone(),
            }),
            _ => {
                faults.push("--email needs --mail-server and --mail-password-file".to_owned());
                None
            }
        },
    };
    if faults.is_empty()
        && !setup.sure
        && let Some(doubt) = doubt(latitude, longitude, &time_zone, year)
    {
        let text = format!("{doubt}. If all three are right, say so with --sure.");
        faults.push(page::wrap(&text, "", "  ").join("\n"));
    }
    if !faults.is_empty() {
        return Err(faults.join("\n"));
    }
    Ok(Answers {
        name: setup
            .name
            .clone()
            .unwrap_or_else(|| "Home orchard".to_owned()),
        latitude,
        longitude,
        elevation,
        time_zone,
        zone,
        units,
        country,
        trees,
        junipers,
        mail,
        weather_contact: setup.weather_contact.clone(),
        desktop: !setup.no_desktop,
    })
}
