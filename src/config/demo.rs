//! The demo's files, embedded in the program: an invented holding with
//! invented trees and weather.

use super::fault::Fault;
use super::{journal, place, register};
use crate::facts::journal::Journal;
use crate::facts::knowledge::Knowledge;
use crate::facts::place::Place;
use crate::facts::preferences::Preferences;
use crate::facts::register::Register;

/// The demo's days, packed CSV.
pub const DAILY: &[u8] = include_bytes!("../../config/demo/weather_daily.csv.gz");

/// The demo's hours, packed CSV.
pub const HOURLY: &[u8] = include_bytes!("../../config/demo/weather_hourly.csv.gz");

const PLACE: &str = include_str!("../../config/demo/place.toml");
const REGISTER: &str = include_str!("../../config/demo/register.toml");
const JOURNAL: &str = include_str!("../../config/demo/journal.toml");

/// The crops of the demo's register, so that only their cultivars are read.
///
/// # Errors
/// The faults of the demo's files; there are none in a sound program.
pub fn read(knowledge: &Knowledge) -> Result<(Place, Preferences, Register, Journal), Vec<Fault>> {
    let crops = &knowledge.crops;
    let (place, preferences) = place::read("demo/place.toml", PLACE, crops)?;
    let register = register::read("demo/register.toml", REGISTER, crops)?;
    let journal = journal::read("demo/journal.toml", JOURNAL, crops)?;
    Ok((place, preferences, register, journal))
}
