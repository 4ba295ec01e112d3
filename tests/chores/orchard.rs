//! An orchard with every crop, age and state, for any place and year.

use budtide::config::{knowledge, place, register};
use budtide::facts::Facts;
use budtide::facts::journal::Journal;
use budtide::facts::knowledge::Knowledge;
use budtide::facts::place::HardinessZone;
use budtide::facts::weather::{DailyRecord, Day, Forecast, Weather};
use budtide::sources::csv_file::{self, Options};
use chrono::{Datelike, Days, NaiveDate};
use std::path::{Path, PathBuf};

/// A place with its weather.
pub struct Station {
    pub name: &'static str,
    pub zone: &'static str,
    pub latitude: f64,
    pub longitude: f64,
    /// Full bloom of apple in a usual year, month and day, and where it is from.
    pub usual_bloom: Option<&'static str>,
    pub days: Vec<Day>,
}

pub fn date(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap()
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/weather")
        .join(name)
}

/// Champion, Nebraska, 1982 to 2018 (Apache-2.0; see the fixtures' notes).
pub fn champion() -> Station {
    Station {
        name: "Champion NE",
        zone: "5a",
        latitude: 40.4,
        longitude: -101.7,
        // No bloom record: what `zones.toml` remembers for zone 5.
        usual_bloom: Some("05-08"),
        days: csv_days(&fixture("daily_champion_ne_1982_2018.csv.gz")),
    }
}

/// A station of the folder named by `BUDTIDE_DATA`; `None`, and a word about
/// it, where that is not there.
fn fetched(file: &str, station: Station) -> Option<Station> {
    let folder = std::env::var_os("BUDTIDE_DATA").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/datasets"),
        PathBuf::from,
    );
    let path = folder.join("fetched").join(file);
    if !path.exists() {
        println!("skipped: {} is not there; set BUDTIDE_DATA", path.display());
        return None;
    }
    Some(Station {
        days: csv_days(&path),
        ..station
    })
}

/// Winchester, Virginia, 1982 to 2020.
pub fn winchester() -> Option<Station> {
    let station = Station {
        name: "Winchester VA",
        zone: "7a",
        latitude: 39.19,
        longitude: -78.16,
        // Mean of 24 dated years of 'Golden Delicious' there (the record in the
        // same folder, 1983 to 2019).
        usual_bloom: Some("04-24"),
        days: Vec::new(),
    };
    fetched("daily_winchester_va_1982_2020.csv.gz", station)
}

/// The other places of the freeze of April 2007 that have records: State
/// College, the Hudson Valley, Washington.
pub fn freeze_places() -> Vec<Station> {
    let place = |name, zone, latitude, longitude, usual_bloom| Station {
        name,
        zone,
        latitude,
        longitude,
        usual_bloom,
        days: Vec::new(),
    };
    [
        (
            "daily_state_college_pa_1893_2020.csv.gz",
            place("State College PA", "6b", 40.79, -77.87, Some("05-05")),
        ),
        (
            "daily_hudson_valley_ny_1993_2019.csv.gz",
            place("Hudson Valley NY", "6b", 41.92, -73.96, Some("05-05")),
        ),
        (
            "daily_washington_dc_dca_1945_2022.csv.gz",
            place("Washington DC", "8a", 38.85, -77.03, Some("04-15")),
        ),
    ]
    .into_iter()
    .filter_map(|(file, station)| fetched(file, station))
    .chain(winchester())
    .collect()
}

/// Newark, New Jersey, the hours of 2013 as days (CC0): one year alone, so
/// that its windows come from the zone.
pub fn newark() -> Station {
    let options = Options::default();
    let import = csv_file::read_path(&fixture("kewr_2013_hourly.csv.gz"), &options).unwrap();
    let days = csv_file::days_from_hours(&import.hourly);
    Station {
        name: "Newark NJ",
        zone: "7b",
        latitude: 40.69,
        longitude: -74.17,
        usual_bloom: None,
        days,
    }
}

fn csv_days(path: &Path) -> Vec<Day> {
    csv_file::read_path(path, &Options::default())
        .unwrap_or_else(|error| panic!("{error}"))
        .daily
}

/// Every crop that a chore may be for.
pub const CROPS: [&str; 11] = [
    "apple",
    "pear",
    "peach",
    "apricot",
    "european-plum",
    "japanese-plum",
    "sweet-cherry",
    "tart-cherry",
    "raspberry",
    "blackberry",
    "blueberry",
];

/// The shipped knowledge.
pub fn shipped() -> Knowledge {
    knowledge::load(None).unwrap_or_else(|faults| panic!("{}", faults[0]))
}

/// A register in which each of these crops stands new, young, bearing and
/// old, in every state, and is wanted potted and bare; with junipers near.
pub fn register_of(crops: &[&str], year: i32) -> String {
    let mut text = String::new();
    for crop in crops {
        for (age, years) in [("new", 0), ("young", 2), ("bearing", 9), ("old", 40)] {
            let planted = year - years;
            text += &format!(
                "[[tree]]\nid = \"{crop}-{age}\"\ncrop = \"{crop}\"\nplanted = {planted}\n"
            );
        }
        for state in ["ailing", "leaning", "wounded", "dead", "replace"] {
            text += &format!(
                "[[tree]]\nid = \"{crop}-{state}\"\ncrop = \"{crop}\"\nstatus = \"{state}\"\n"
            );
        }
        for stock in ["bare-root", "container"] {
            text += &format!("[[wanted]]\ncrop = \"{crop}\"\nstock = \"{stock}\"\n");
        }
    }
    text += "[[juniper]]\nid = \"J1\"\nwhere = \"fence\"\ndistance = \"60 ft\"\nremovable = true\n";
    text
}

/// A station with its orchard.
pub struct Orchard {
    station: Station,
    base: Facts,
    crops: Vec<&'static str>,
}

impl Orchard {
    pub fn new(station: Station, crops: &[&'static str]) -> Self {
        let knowledge = shipped();
        let text = format!(
            "name = \"{}\"\nlatitude = {}\nlongitude = {}\ntime_zone = \"America/New_York\"\n\
             hardiness_zone = \"{}\"\nunits = \"us\"\ncountry = \"US\"\n",
            station.name, station.latitude, station.longitude, station.zone
        );
        let usual = station.usual_bloom.map_or_else(String::new, |date| {
            format!("[[usual_bloom]]\ncrop = \"apple\"\ndate = \"{date}\"\n")
        });
        let (place, preferences) = place::read("place.toml", &(text + &usual), &knowledge.crops)
            .unwrap_or_else(|faults| panic!("{}", faults[0]));
        let base = Facts {
            place,
            register: Default::default(),
            filed: Default::default(),
            weather: Weather {
                daily: DailyRecord::from_days(&station.days),
                ..Weather::default()
            },
            journal: Journal::default(),
            preferences,
            knowledge,
        };
        Orchard {
            station,
            base,
            crops: crops.to_vec(),
        }
    }

    /// The same orchard in another zone.
    pub fn in_zone(&self, zone: &str) -> Facts {
        let mut facts = self.base.clone();
        facts.place.hardiness = HardinessZone::read(zone).unwrap();
        facts
    }

    /// What is known on a morning: the weather until then, the week to come
    /// as its forecast.
    pub fn on(&self, today: NaiveDate) -> Facts {
        self.day_of(self.base.clone(), today)
    }

    /// The same for facts that were changed.
    pub fn day_of(&self, mut facts: Facts, today: NaiveDate) -> Facts {
        let text = register_of(&self.crops, today.year());
        facts.register = register::read("register.toml", &text, &facts.knowledge.crops)
            .unwrap_or_else(|faults| panic!("{}", faults[0]));
        let until = today + Days::new(7);
        let coming: Vec<Day> = self
            .station
            .days
            .iter()
            .filter(|day| day.date >= today && day.date < until)
            .copied()
            .collect();
        facts.weather = facts.weather.as_of(today);
        facts.weather.forecast = DailyRecord::from_days(&coming).map(|daily| Forecast {
            issued: today,
            daily,
            hourly: None,
            source: "the record itself".to_owned(),
        });
        facts
    }
}
