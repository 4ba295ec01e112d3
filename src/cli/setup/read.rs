//! Answers as people write them.

use super::Trees;
use crate::config::fault::hint;
use crate::config::place::{hardiness_named, northern, zone_named};
use crate::facts::knowledge::Crop;
use crate::units::Quantity;

pub(super) fn degrees(text: &str, quantity: Quantity) -> Result<f64, String> {
    let text = text.trim().replace('\u{2212}', "-");
    if text.contains(',') && !text.contains('.') {
        return Err(format!(
            "\"{text}\": write a point, not a comma, as in 39.4"
        ));
    }
    quantity.read(&text).map_err(|error| error.to_string())
}

/// A latitude for which a year can be planned.
pub(super) fn latitude_of(text: &str) -> Result<f64, String> {
    degrees(text, Quantity::Latitude).and_then(northern)
}

pub(super) fn quantity(text: &str, quantity: Quantity) -> Result<String, String> {
    quantity
        .read(text)
        .map(|_| text.trim().to_owned())
        .map_err(|error| error.to_string())
}

pub(super) fn hardiness(text: &str) -> Result<String, String> {
    hardiness_named(text).map(|zone| zone.to_string())
}

pub(super) fn time_zone(name: &str) -> Result<String, String> {
    zone_named(name).map(|zone| zone.name().to_owned())
}

/// The zone that this machine is set to, if it says so in the usual ways.
pub(super) fn machine_zone() -> Option<String> {
    // A machine on UTC was never told where it stands.
    let named = |text: &str| {
        time_zone(text)
            .ok()
            .filter(|name| !name.ends_with("UTC") && !name.ends_with("GMT"))
    };
    if let Some(name) = std::env::var("TZ").ok().as_deref().and_then(named) {
        return Some(name);
    }
    let link = std::fs::read_link("/etc/localtime").ok()?;
    let (_, name) = link.to_str()?.split_once("zoneinfo/")?;
    named(name)
}

pub(super) fn unit_system(text: &str) -> Result<String, String> {
    match text.to_ascii_lowercase().as_str() {
        word @ ("us" | "metric") => Ok(word.to_owned()),
        _ => Err(format!("\"{text}\" is neither us nor metric")),
    }
}

pub(super) fn yes(text: &str) -> Result<bool, String> {
    match text.to_ascii_lowercase().as_str() {
        "y" | "yes" => Ok(true),
        "n" | "no" => Ok(false),
        _ => Err("answer yes or no".to_owned()),
    }
}

/// `3 apple York Imperial`, `apple`, `2 sweet cherries`.
pub(super) fn read_trees(text: &str, crops: &[Crop]) -> Result<Trees, String> {
    if let Some((first, rest)) = text.split_once(',') {
        return Err(format!(
            "one kind at a time; give \"{}\" and \"{}\" each by itself",
            first.trim(),
            rest.trim()
        ));
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let counted = text.trim().starts_with(|c: char| c.is_ascii_digit());
    if let (false, Some((last, rest))) = (counted, words.split_last())
        && last.parse::<u32>().is_ok()
        && !rest.is_empty()
    {
        let kind = rest.join(" ");
        return Err(format!(
            "the number goes first: \"{last} {kind}\"; if it is part of the name, write \
             \"1 {kind} {last}\""
        ));
    }
    let (count, words) = match words.split_first() {
        Some((first, rest)) if first.starts_with(|c: char| c.is_ascii_digit()) => {
            let count: u32 = first
                .trim_end_matches(['x', 'X'])
                .parse()
                .ok()
                .filter(|count| (1..=1000).contains(count))
                .ok_or_else(|| format!("\"{first}\" is no number from 1 to 1000"))?;
            (count, rest)
        }
        _ => (1, words.as_slice()),
    };
    if words.is_empty() {
        return Err("names no crop; write it as 3 apple York Imperial".to_owned());
    }
    // The longest name first: "sweet cherry" before "cherry".
    for length in (1..=words.len().min(4)).rev() {
        let name = words[..length].join(" ");
        if let Some(crop) = crops.iter().find(|crop| crop.is_called(&name)) {
            let cultivar = words[length..].join(" ");
            if cultivar.parse::<u32>().is_ok() {
                return Err(format!(
                    "\"{cultivar}\" is no cultivar; write it as {count} {name} York Imperial"
                ));
            }
            let cultivar = cultivar.trim_matches(['"', '\'', '\u{2018}', '\u{2019}']);
            return Ok(Trees {
                count,
                crop: crop.id.clone(),
                apart: crop.plant == "tree" && count <= 50,
                cultivar: (!cultivar.is_empty()).then(|| cultivar.to_owned()),
            });
        }
    }
    let ids: Vec<&str> = crops.iter().map(|crop| crop.id.as_str()).collect();
    let near = match hint(words[0], &ids) {
        far if far.is_empty() => format!("; known are {}", ids.join(", ")),
        near => near,
    };
    Err(format!("no crop named \"{}\"{near}", words[0]))
}
