//! The table `[weather]` of `place.toml`: where the weather comes from.
//!
//! Without it the coordinates are enough: Open-Meteo everywhere, and in the
//! United States the National Weather Service beside it.

mod console; // the keeper's station console
mod tables; // the sources that are asked or read

pub use console::{ConsoleChoice, GaugeChoice, UnitChoice, Way, is_near};

use super::fault::hint_of_few;
use super::reader::Table;
use std::fmt;
use std::path::{Path, PathBuf};

/// Where the weather comes from, and how often it is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct WeatherSettings {
    /// The services that are asked, the most trusted first; none of them
    /// means that nothing is fetched.
    pub sources: Vec<Service>,
    /// Whether the list of sources was written by the keeper.
    pub chosen: bool,
    /// Hours between two forecasts.
    pub every_hours: u32,
    /// Past years to fetch once.
    pub years: u32,
    /// How to reach Open-Meteo.
    pub open_meteo: OpenMeteoChoice,
    /// How to reach the US service.
    pub nws: NwsChoice,
    /// Which station's record.
    pub ghcn: Option<GhcnChoice>,
    /// The keeper's own station, by its files.
    pub station: Option<StationChoice>,
    /// The keeper's own station, by what its console sends.
    pub console: Option<ConsoleChoice>,
}

/// A source that can be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Service {
    /// The keeper's own station, by the files it writes.
    Station,
    /// The keeper's own station, by what its console sends.
    Console,
    /// NOAA's daily record of one station.
    Ghcn,
    /// Open-Meteo.
    OpenMeteo,
    /// The US National Weather Service.
    Nws,
}

impl Service {
    /// The words of the file, the most trusted first.
    pub const ALL: [(Service, &str); 5] = [
        (Service::Station, "station"),
        (Service::Console, "console"),
        (Service::Ghcn, "ghcn"),
        (Service::OpenMeteo, "open-meteo"),
        (Service::Nws, "nws"),
    ];

    /// The word of the file.
    pub fn word(self) -> &'static str {
        Service::ALL
            .iter()
            .find(|(service, _)| *service == self)
            .map_or("", |(_, word)| word)
    }
}

/// How to reach Open-Meteo.
#[derive(Clone, Default, PartialEq, Eq)]
pub struct OpenMeteoChoice {
    /// A server of one's own in place of the public one.
    pub address: Option<String>,
    /// Another address for the archive alone.
    pub archive_address: Option<String>,
    /// Which reanalysis.
    pub model: Option<String>,
    /// A file that holds the key of a paying customer.
    pub key_file: Option<PathBuf>,
}

impl fmt::Debug for OpenMeteoChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("OpenMeteoChoice")
            .field("address", &self.address)
            .field("archive_address", &self.archive_address)
            .field("model", &self.model)
            .field("key_file", &self.key_file.is_some())
            .finish()
    }
}

/// How to reach the US service.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NwsChoice {
    /// Another address, such as a mirror.
    pub address: Option<String>,
    /// The keeper's address, which the service wants to know.
    pub contact: Option<String>,
}

/// A long record of one station.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GhcnChoice {
    /// Its identifier, such as `USW00094728`.
    pub station: String,
    /// Another address, with `{station}` in it.
    pub address: Option<String>,
}

/// The keeper's own station.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StationChoice {
    /// The name under which its weather is kept.
    pub name: String,
    /// The file that grows, or the folder of files.
    pub path: PathBuf,
    /// What the files do not tell, each as `KEY=VALUE`.
    pub settings: Vec<String>,
}

/// Hours between two forecasts unless said (our choice: the services make
/// new ones every one to six hours).
const EVERY_HOURS: u32 = 3;

/// Past years that are fetched unless said: those that the plan uses.
const YEARS: u32 = 30;

impl WeatherSettings {
    /// What holds without a word of the keeper, by the country's two letters.
    pub fn usual(country: &str) -> Self {
        WeatherSettings {
            sources: usual_services(country),
            chosen: false,
            every_hours: EVERY_HOURS,
            years: YEARS,
            open_meteo: OpenMeteoChoice::default(),
            nws: NwsChoice::default(),
            ghcn: None,
            station: None,
            console: None,
        }
    }

    /// Nothing is fetched.
    pub fn none() -> Self {
        WeatherSettings {
            sources: Vec::new(),
            chosen: true,
            ..WeatherSettings::usual("")
        }
    }

    /// Whether a service is asked.
    pub fn asks(&self, service: Service) -> bool {
        self.sources.contains(&service)
    }

    /// The console, if it is among the sources.
    pub fn console_used(&self) -> Option<&ConsoleChoice> {
        self.console
            .as_ref()
            .filter(|_| self.asks(Service::Console))
    }

    /// Paths that are not absolute lie in the folder of the file.
    #[must_use]
    pub fn below(mut self, folder: &Path) -> Self {
        if let Some(station) = &mut self.station {
            station.path = folder.join(&station.path);
        }
        if let Some(file) = &mut self.open_meteo.key_file {
            *file = folder.join(&file);
        }
        self
    }
}

fn usual_services(country: &str) -> Vec<Service> {
    match country {
        "US" => vec![Service::OpenMeteo, Service::Nws],
        _ => vec![Service::OpenMeteo],
    }
}

/// Reads the table, if it is there.
pub fn read(root: &Table<'_, '_>, country: &str) -> WeatherSettings {
    let usual = WeatherSettings::usual(country);
    let Some(table) = root.table("weather") else {
        return usual;
    };
    let open_meteo = table
        .table("open-meteo")
        .map(|table| tables::open_meteo(&table));
    let nws = table.table("nws").map(|table| tables::nws(&table));
    let ghcn = table.table("ghcn").map(|table| tables::ghcn(&table));
    let station = table.table("station").map(|table| tables::station(&table));
    let console = table
        .table("console")
        .map(|table| (console::read(&table), table.span()));
    let whole = |key, least: f64, most: f64, otherwise: u32| {
        let number = table.maybe_number(key, least, most);
        if number.is_some_and(|number| number.fract() != 0.0) {
            table.fault(key, "should be a whole number".to_owned());
        }
        number.map_or(otherwise, |number| number as u32)
    };
    let every_hours = whole("every_hours", 1.0, 24.0, EVERY_HOURS);
    let years = whole("years", 0.0, 85.0, YEARS);
    let described = [
        (Service::Station, station.is_some()),
        (Service::Console, console.is_some()),
        (Service::Ghcn, ghcn.is_some()),
        (Service::OpenMeteo, open_meteo.is_some()),
        (Service::Nws, nws.is_some()),
    ];
    let (sources, chosen) = match chosen(&table) {
        Some(sources) => (sources, true),
        // A source that is described is meant to be used.
        None => {
            let mut sources = usual.sources;
            sources.extend(
                described
                    .iter()
                    .filter(|(_, there)| *there)
                    .map(|(service, _)| *service),
            );
            sources.sort_unstable();
            sources.dedup();
            (sources, false)
        }
    };
    for (service, needs) in [
        (Service::Ghcn, "station = \"USW00094728\""),
        (Service::Station, "path = \"station.csv\""),
        (Service::Console, console::EXAMPLE),
    ] {
        let there = described.contains(&(service, true));
        if sources.contains(&service) && !there {
            let word = service.word();
            table.fault(
                "sources",
                format!(
                    "\"{word}\" has to be told which one; add a table [weather.{word}] with {needs}"
                ),
            );
        }
    }
    let name = |station: &StationChoice| station.name.clone();
    if let Some((Some(console), span)) = &console
        && station.clone().flatten().as_ref().map(name).as_ref() == Some(&console.name)
    {
        table.fault_at(
            span.clone(),
            "console",
            format!(
                "has the name \"{}\" of [weather.station]; give it another: name = \"console\"",
                console.name
            ),
        );
    }
    table.finish();
    WeatherSettings {
        sources,
        chosen,
        every_hours,
        years,
        open_meteo: open_meteo.unwrap_or_default(),
        nws: nws.unwrap_or_default(),
        ghcn: ghcn.flatten(),
        station: station.flatten(),
        console: console.and_then(|(console, _)| console),
    }
}

/// The sources that the keeper names, in that order; `"none"` means none.
fn chosen(table: &Table<'_, '_>) -> Option<Vec<Service>> {
    if !table.has("sources") {
        return None;
    }
    let words = if table.is_text("sources") {
        table.text_at("sources").into_iter().collect()
    } else {
        table.texts("sources")
    };
    let mut sources = Vec::new();
    let mut none = false;
    for word in &words {
        let lower = word.value.to_lowercase().replace(['_', ' '], "-");
        let found = Service::ALL.iter().find(|(_, name)| *name == lower);
        match found {
            Some((service, _)) if sources.contains(service) => table.fault_at(
                word.span.clone(),
                "sources",
                format!("\"{}\" is named twice", word.value),
            ),
            Some((service, _)) => sources.push(*service),
            None if lower == "none" => none = true,
            None => {
                let mut known: Vec<&str> = Service::ALL.iter().map(|(_, name)| *name).collect();
                known.push("none");
                table.fault_at(
                    word.span.clone(),
                    "sources",
                    format!(
                        "no source named \"{}\"{}",
                        word.value,
                        hint_of_few(&lower, &known)
                    ),
                );
            }
        }
    }
    if none && !sources.is_empty() {
        table.fault(
            "sources",
            "\"none\" cannot stand beside others; take it out, or the others".to_owned(),
        );
    }
    Some(sources)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::reader::Sheet;

    fn of(text: &str) -> Result<WeatherSettings, Vec<String>> {
        let sheet = Sheet::new("place.toml", text);
        let parsed = sheet.parse();
        let settings = {
            let root = sheet.root(&parsed);
            let settings = read(&root, "US");
            root.finish();
            settings
        };
        drop(parsed);
        if sheet.is_clean() {
            return Ok(settings);
        }
        Err(sheet
            .into_faults()
            .iter()
            .map(ToString::to_string)
            .collect())
    }

    #[test]
    fn coordinates_are_enough() {
        let usual = of("").unwrap();
        assert_eq!(usual.sources, [Service::OpenMeteo, Service::Nws]);
        assert_eq!(
            WeatherSettings::usual("CA").sources,
            [Service::OpenMeteo],
            "the US service knows the United States alone"
        );
        assert!(!usual.chosen);
    }

    #[test]
    fn nothing_is_fetched_where_the_keeper_says_so() {
        for text in ["sources = []", "sources = \"none\"", "sources = [\"none\"]"] {
            let settings = of(&format!("[weather]\n{text}\n")).unwrap();
            assert!(settings.sources.is_empty() && settings.chosen, "{text}");
        }
    }

    #[test]
    fn what_is_described_is_used() {
        let settings = of(
            "[weather]\nevery_hours = 6\n[weather.station]\npath = \"a.csv\"\n\
             settings = [\"unit.temperature=F\"]\n[weather.open-meteo]\n\
             address = \"http://127.0.0.1:8080\"\n",
        )
        .unwrap();
        assert_eq!(
            settings.sources,
            [Service::Station, Service::OpenMeteo, Service::Nws]
        );
        assert_eq!(settings.every_hours, 6);
        let below = settings.below(Path::new("/home/me/orchard"));
        assert_eq!(
            below.station.unwrap().path,
            Path::new("/home/me/orchard/a.csv")
        );
    }

    #[test]
    fn a_console_is_used_where_it_is_described() {
        let settings = of("[weather.console]\n").unwrap();
        assert_eq!(settings.sources.first(), Some(&Service::Console));
        assert!(settings.console_used().is_some());
        let named = of("[weather]\nsources = [\"open-meteo\"]\n[weather.console]\n").unwrap();
        assert_eq!(named.console_used(), None);
        let found = of("[weather]\nsources = [\"console\"]\n").unwrap_err();
        assert!(
            found[0].contains("[weather.console] with listen"),
            "{found:?}"
        );
        let found = of("[weather.station]\npath = \"a.csv\"\nname = \"mine\"\n\
                        [weather.console]\nname = \"mine\"\n")
        .unwrap_err();
        assert!(found[0].contains("of [weather.station]"), "{found:?}");
    }

    #[test]
    fn all_faults_at_once_with_the_nearest_name() {
        let found = of(
            "[weather]\nsources = [\"open-metio\", \"ghcn\"]\nevery_hours = 0\n\
             [weather.nws]\nadress = \"http://a\"\n[weather.open-meteo]\naddress = \"ftp://a\"\n\
             [weather.station]\npath = \"\"\nsettings = [\"x\"]\n",
        )
        .unwrap_err();
        let all = found.join("\n");
        for wanted in [
            "did you mean \"open-meteo\"?",
            "[weather.ghcn] with station",
            "weather.every_hours",
            "did you mean \"address\"?",
            "has to begin with https:// or http://",
            "weather.station.path",
            "is no KEY=VALUE",
        ] {
            assert!(all.contains(wanted), "{wanted} is missing in\n{all}");
        }
    }
}
