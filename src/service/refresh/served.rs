//! The sources that the settings name, ready to be asked.

use super::due::Job;
use crate::config::weather::{Service, WeatherSettings};
use crate::sources::WeatherSource;
use crate::sources::client::Client;
use crate::sources::csv_file::Options;
use crate::sources::ghcn::{self, Ghcn};
use crate::sources::nws::{self, Nws};
use crate::sources::open_meteo::{self, OpenMeteo, OpenMeteoSettings};
use crate::sources::watched::Watched;
use std::sync::Arc;

/// A source that the settings name and that cannot be asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unasked {
    /// Which one.
    pub service: Service,
    /// What is missing, and the mend.
    pub why: String,
    /// Whether the keeper asked for it, so that this is a fault.
    pub fault: bool,
}

/// One source.
pub(super) struct Served {
    pub service: Service,
    pub asked: Asked,
}

/// How it is asked.
pub(super) enum Asked {
    Service(Box<dyn WeatherSource>),
    Files(Box<Watched>),
}

impl Served {
    pub fn name(&self) -> &str {
        match &self.asked {
            Asked::Service(source) => source.name(),
            Asked::Files(files) => files.name(),
        }
    }

    /// Its jobs, the most urgent first.
    pub fn jobs(&self) -> &'static [Job] {
        match self.service {
            Service::Station => &[Job::Files],
            // It is not asked: it sends.
            Service::Console => &[],
            Service::Ghcn => &[Job::History],
            Service::OpenMeteo => &[Job::Forecast, Job::Now, Job::Settle, Job::History],
            Service::Nws => &[Job::Alerts, Job::Forecast, Job::Now],
        }
    }

    /// Whether it has single reports of stations, kept for some days.
    pub fn has_reports(&self) -> bool {
        self.service == Service::Nws
    }

    /// Whether all years come in one reply.
    pub fn comes_whole(&self) -> bool {
        self.service == Service::Ghcn
    }

    /// Whether what it said holds for the coordinates asked for.
    pub fn is_for_the_place(&self) -> bool {
        matches!(self.service, Service::OpenMeteo | Service::Nws)
    }
}

/// The sources in their order of trust, and those that cannot be asked.
pub(super) fn of(settings: &WeatherSettings, client: &Arc<Client>) -> (Vec<Served>, Vec<Unasked>) {
    let mut served = Vec::new();
    let mut unasked = Vec::new();
    let asked = settings.sources.iter();
    for service in asked.filter(|service| **service != Service::Console) {
        match source(*service, settings, client) {
            Ok(asked) => served.push(Served {
                service: *service,
                asked,
            }),
            Err(why) => unasked.push(Unasked {
                service: *service,
                why,
                fault: settings.chosen || *service != Service::Nws,
            }),
        }
    }
    (served, unasked)
}

fn source(
    service: Service,
    settings: &WeatherSettings,
    client: &Arc<Client>,
) -> Result<Asked, String> {
    Ok(match service {
        Service::OpenMeteo => Asked::Service(Box::new(OpenMeteo::new(
            client.clone(),
            open_meteo_settings(settings)?,
        ))),
        Service::Nws => {
            let contact = settings.nws.contact.as_deref().ok_or(
                "it wants to know whom to write to: add [weather.nws] with \
                 contact = \"you@example.org\" to place.toml for its warnings of frost",
            )?;
            let base = settings.nws.address.as_deref().unwrap_or(nws::BASE);
            Asked::Service(Box::new(Nws::new(client.clone(), base, contact)))
        }
        Service::Ghcn => {
            let choice = settings.ghcn.as_ref().ok_or("no station is named")?;
            let address = choice.address.as_deref().unwrap_or(ghcn::ADDRESS);
            Asked::Service(Box::new(Ghcn::new(
                client.clone(),
                address,
                &choice.station,
            )))
        }
        Service::Console => return Err("it sends by itself".to_owned()),
        Service::Station => {
            let choice = settings.station.as_ref().ok_or("no file is named")?;
            let mut options = Options::default();
            for setting in &choice.settings {
                let (key, value) = setting.split_once('=').unwrap_or((setting, ""));
                options
                    .set(key.trim(), value.trim())
                    .map_err(|error| format!("settings: {error}"))?;
            }
            Asked::Files(Box::new(Watched::new(&choice.name, &choice.path, options)))
        }
    })
}

fn open_meteo_settings(settings: &WeatherSettings) -> Result<OpenMeteoSettings, String> {
    let choice = &settings.open_meteo;
    let mut made = match &choice.address {
        Some(address) => OpenMeteoSettings::at(address),
        None => OpenMeteoSettings::default(),
    };
    if let Some(archive) = &choice.archive_address {
        made.archive.clone_from(archive);
    }
    if let Some(model) = &choice.model {
        made.model.clone_from(model);
    }
    if let Some(file) = &choice.key_file {
        let key = std::fs::read_to_string(file)
            .map_err(|error| format!("key_file {}: {error}", file.display()))?;
        made.key = Some(key.trim().to_owned());
    }
    Ok(made)
}

/// Names under which weather is kept, the most trusted first: the keeper's
/// own station and what was imported before what services say, and those in the
/// order of the settings. `kept` are the names that the store has.
pub fn names_in_order(settings: &WeatherSettings, kept: &[String]) -> Vec<String> {
    let services: Vec<String> = settings
        .sources
        .iter()
        .filter_map(|service| name(*service, settings))
        .collect();
    let files = settings.station.as_ref().map(|station| &station.name);
    let sent = settings.console.as_ref().map(|console| &console.name);
    let own = files.into_iter().chain(sent);
    let fetched =
        |name: &&String| services.contains(name) || crate::sources::credit_of(name).is_some();
    let mut names: Vec<String> = own.cloned().collect();
    names.extend(kept.iter().filter(|name| !fetched(name)).cloned());
    for service in services {
        if !names.contains(&service) {
            names.push(service);
        }
    }
    names
}

fn name(service: Service, settings: &WeatherSettings) -> Option<String> {
    match service {
        Service::Station => settings
            .station
            .as_ref()
            .map(|station| station.name.clone()),
        Service::Console => settings
            .console
            .as_ref()
            .map(|console| console.name.clone()),
        Service::Ghcn => settings
            .ghcn
            .as_ref()
            .map(|choice| format!("{} {}", ghcn::NAME, choice.station.to_ascii_uppercase())),
        Service::OpenMeteo => Some(open_meteo::NAME.to_owned()),
        Service::Nws => Some(nws::NAME.to_owned()),
    }
}
