//! `place.toml`: where the orchard stands, and what its keeper wants.

use super::delivery::{self, Delivery};
use super::fault::{Fault, hint};
use super::reader::{Sheet, Table};
use super::weather::{self, WeatherSettings};
use crate::facts::knowledge::Crop;
use crate::facts::place::{HardinessZone, Place, Soil, UsualBloom};
use crate::facts::preferences::{Preferences, Sprays};
use crate::units::{Quantity, UnitSystem};
use chrono_tz::Tz;

/// The file's name in the user's folder.
pub const FILE: &str = "place.toml";

/// Words of the file for the unit systems.
const UNIT_SYSTEMS: [(UnitSystem, &str); 2] =
    [(UnitSystem::Us, "us"), (UnitSystem::Metric, "metric")];

/// Words of the file for soils.
const SOILS: [(Soil, &str); 3] = [
    (Soil::Sand, "sand"),
    (Soil::Loam, "loam"),
    (Soil::Clay, "clay"),
];

/// Words of the file for how far to go with sprays.
const SPRAYS: [(Sprays, &str); 3] = [
    (Sprays::Any, "any"),
    (Sprays::Organic, "organic"),
    (Sprays::None, "none"),
];

/// What `place.toml` says.
#[derive(Clone, Debug)]
pub struct PlaceFile {
    /// Where the orchard stands.
    pub place: Place,
    /// The table `[nudges]`.
    pub preferences: Preferences,
    /// The tables `[desktop]` and `[email]`.
    pub delivery: Delivery,
    /// The table `[weather]`.
    pub weather: WeatherSettings,
    /// What works but ought to be mended.
    pub warnings: Vec<Fault>,
}

/// Reads the place and the preferences from the text of a file.
///
/// # Errors
/// Every fault of the file.
pub fn read(file: &str, text: &str, crops: &[Crop]) -> Result<(Place, Preferences), Vec<Fault>> {
    read_all(file, text, crops).map(|read| (read.place, read.preferences))
}

/// Reads all of `place.toml`.
///
/// # Errors
/// Every fault of the file.
pub fn read_all(file: &str, text: &str, crops: &[Crop]) -> Result<PlaceFile, Vec<Fault>> {
    let sheet = Sheet::new(file, text);
    let parsed = sheet.parse();
    let value = {
        let root = sheet.root(&parsed);
        let place = place(&root, crops);
        let preferences = root
            .table("nudges")
            .map(|table| preferences(&table))
            .unwrap_or_default();
        let mut warned = Vec::new();
        let delivery = delivery::read(&root, &mut warned);
        let country = place.as_ref().map_or("", |place| place.country.as_str());
        let weather = weather::read(&root, country);
        root.finish();
        let warnings = warned
            .into_iter()
            .map(|(span, key, message)| Fault::at(file, text, span, &key, message).unseen())
            .collect();
        place.map(|place| PlaceFile {
            place,
            preferences,
            delivery,
            weather,
            warnings,
        })
    };
    drop(parsed);
    match value {
        Some(value) if sheet.is_clean() => Ok(value),
        _ => Err(sheet.into_faults()),
    }
}

fn place(root: &Table<'_, '_>, crops: &[Crop]) -> Option<Place> {
    let name = root.text("name", "Home orchard");
    let latitude = root
        .quantity("latitude", Quantity::Latitude)
        .and_then(|latitude| told(root, "latitude", northern(latitude)));
    let longitude = root.quantity("longitude", Quantity::Longitude);
    let elevation_m = root.maybe_quantity("elevation", Quantity::Elevation);
    let time_zone = time_zone(root);
    let hardiness = hardiness(root);
    let units = root
        .maybe_choice("units", &UNIT_SYSTEMS)
        .unwrap_or_default();
    let country = country(root);
    let soil = root.maybe_choice("soil", &SOILS).unwrap_or_default();
    let usual_bloom = root
        .tables("usual_bloom")
        .iter()
        .filter_map(|table| usual_bloom(table, crops))
        .collect();
    Some(Place {
        name: name?,
        latitude: latitude?,
        longitude: longitude?,
        elevation_m,
        time_zone: time_zone?,
        hardiness: hardiness?,
        units,
        country,
        soil,
        usual_bloom,
    })
}

fn time_zone(root: &Table<'_, '_>) -> Option<Tz> {
    told(
        root,
        "time_zone",
        zone_named(&root.text("time_zone", "America/New_York")?),
    )
}

fn hardiness(root: &Table<'_, '_>) -> Option<HardinessZone> {
    told(
        root,
        "hardiness_zone",
        hardiness_named(&root.text("hardiness_zone", "7a")?),
    )
}

fn country(root: &Table<'_, '_>) -> String {
    let Some(code) = root.maybe_text("country") else {
        return "US".to_owned();
    };
    told(root, "country", country_code(&code)).unwrap_or(code)
}

/// The value, or a fault of the key.
fn told<T>(root: &Table<'_, '_>, key: &str, read: Result<T, String>) -> Option<T> {
    read.map_err(|fault| root.fault(key, fault)).ok()
}

/// A latitude, degrees, for which a year can be planned.
///
/// # Errors
/// It lies south of the equator. Stages of growth are worked out there too, but
/// freezes, soil, leaf fall and the months of chores are those of the north: a
/// calendar would be half a year off.
pub fn northern(latitude: f64) -> Result<f64, String> {
    match latitude < 0.0 {
        false => Ok(latitude),
        true => Err(format!(
            "{latitude} lies south of the equator, where budtide cannot plan yet: frosts, leaf fall \
             and the months of its chores would come half a year off; is it {}, or have latitude \
             and longitude changed places?",
            -latitude
        )),
    }
}

/// A time zone of the IANA list by its name.
///
/// # Errors
/// There is none so named; the nearest name.
pub fn zone_named(name: &str) -> Result<Tz, String> {
    name.parse().map_err(|_| {
        let zones: Vec<&str> = chrono_tz::TZ_VARIANTS
            .iter()
            .map(|zone| zone.name())
            .collect();
        let mend = match hint(name, &zones) {
            near if near.is_empty() => {
                "; write the region and city of the IANA list, such as \"America/New_York\""
                    .to_owned()
            }
            near => near,
        };
        format!("no time zone named \"{name}\"{mend}")
    })
}

/// A hardiness zone such as `6b`.
///
/// # Errors
/// There is none so named.
pub fn hardiness_named(text: &str) -> Result<HardinessZone, String> {
    HardinessZone::read(text).ok_or_else(|| {
        format!("no zone \"{text}\"; zones run from 1a to 13b, each with a half step a or b")
    })
}

/// The two letters of a country, large.
///
/// # Errors
/// They are not two letters.
pub fn country_code(code: &str) -> Result<String, String> {
    match code.len() == 2 && code.chars().all(|c| c.is_ascii_alphabetic()) {
        true => Ok(code.to_ascii_uppercase()),
        false => Err(format!(
            "\"{code}\" is not a country code; write its two letters, such as \"US\""
        )),
    }
}

fn usual_bloom(table: &Table<'_, '_>, crops: &[Crop]) -> Option<UsualBloom> {
    let crop = crop(table, crops);
    let cultivar = table.maybe_text("cultivar");
    let day = table.maybe_month_day("date");
    if !table.has("date") {
        table.fault(
            "date",
            "is missing; write month and day as date = \"04-25\"".to_owned(),
        );
    }
    let sure = table.flag("sure", false);
    table.finish();
    let (month, day) = day?;
    Some(UsualBloom {
        crop: crop?,
        cultivar,
        month,
        day,
        sure,
    })
}

fn preferences(table: &Table<'_, '_>) -> Preferences {
    let usual = Preferences::default();
    let digest_at = table.maybe_schedule("digest_at").unwrap_or(usual.digest_at);
    let from = table.maybe_time("quiet_from").unwrap_or(usual.quiet.0);
    let until = table.maybe_time("quiet_until").unwrap_or(usual.quiet.1);
    let preferences = Preferences {
        sprays: table
            .maybe_choice("sprays", &SPRAYS)
            .unwrap_or(usual.sprays),
        hours_per_week: table
            .maybe_number("hours_per_week", 0.0, 168.0)
            .unwrap_or(usual.hours_per_week),
        digest_at,
        quiet: (from, until),
        frost_at_night: table.flag("frost_at_night", usual.frost_at_night),
        silent_chores: table.words("silent_chores"),
    };
    table.finish();
    preferences
}

/// The crop of a table by its id, name or another name; a fault names the
/// nearest.
pub(super) fn crop(table: &Table<'_, '_>, crops: &[Crop]) -> Option<String> {
    let word = table.text("crop", "apple")?;
    let found = crops.iter().find(|crop| crop.is_called(&word));
    if found.is_none() {
        let mut ids: Vec<&str> = crops.iter().map(|crop| crop.id.as_str()).collect();
        ids.extend(
            crops
                .iter()
                .flat_map(|crop| crop.also.iter().map(String::as_str)),
        );
        let meant = match hint(&word, &ids) {
            far if far.is_empty() => {
                let known: Vec<&str> = crops.iter().map(|crop| crop.id.as_str()).collect();
                format!("; known are {}", known.join(", "))
            }
            near => near,
        };
        table.fault("crop", format!("no crop named \"{word}\"{meant}"));
    }
    found.map(|crop| crop.id.clone())
}
