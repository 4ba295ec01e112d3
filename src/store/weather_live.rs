//! Weather that comes in by itself, reading after reading.

use super::error::StoreError;
use super::weather::{Origin, Put, Values, WeatherStore, source_id};
use super::weather_fetching::{FetchState, write_state};
use crate::facts::weather::{Day, Hour};

/// What a source that sends by itself has brought, to be kept together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Live<'a> {
    /// Days that are over.
    pub days: &'a [Day],
    /// Hours of which something is known for good.
    pub hours: &'a [Hour],
    /// Key and text of what is known of the hour that is not over.
    pub note: (&'a str, &'a str),
    /// How the sending does.
    pub state: FetchState,
}

impl WeatherStore {
    /// Keeps days, hours and what is known of the hour that is not over, all
    /// of it or nothing: after a crash no reading counts twice.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing is changed.
    pub fn put_live(&mut self, origin: Origin<'_>, live: &Live<'_>) -> Result<Put, StoreError> {
        let doing = format!("keeping what {} sent", origin.source);
        let mut put = Put::default();
        let mut values = Values::default();
        values.add_days(live.days, &mut put);
        values.add_hours(live.hours, &mut put);
        self.write(&doing, |change| {
            if !(live.days.is_empty() && live.hours.is_empty()) {
                let source = source_id(change, origin.source)?;
                values.keep(change, source, origin.issued, &mut put)?;
            }
            let (key, value) = live.note;
            change.execute("INSERT OR REPLACE INTO note VALUES (?1, ?2)", [key, value])?;
            write_state(change, &live.state)
        })?;
        Ok(put)
    }
}
