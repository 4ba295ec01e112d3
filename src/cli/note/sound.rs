//! What cannot be, and what is doubtful enough to be said.

use super::entry::Desk;
use super::grammar::Where;
use crate::config::fault::nearest;
use crate::facts::journal::{Entry, Fact, Stage};
use crate::facts::knowledge::cultivar_key;
use crate::facts::register::Planted;
use crate::units::Quantity;
use chrono::{Datelike, NaiveDate};

impl Desk<'_> {
    /// That neither a list nor the register has a cultivar, and the nearest.
    pub(super) fn unknown_cultivar(&self, crop: &str, cultivar: Option<&str>) -> Vec<String> {
        let Some(name) = cultivar else {
            return Vec::new();
        };
        let knowledge = &self.facts.knowledge;
        let own = self.facts.register.trees.iter();
        let own: Vec<&str> = own
            .filter(|tree| tree.crop == crop)
            .filter_map(|tree| tree.cultivar.as_deref())
            .collect();
        let key = cultivar_key(name);
        if knowledge.cultivar(crop, name).is_some()
            || own.iter().any(|own| cultivar_key(own) == key)
        {
            return Vec::new();
        }
        let listed = knowledge.cultivars.iter();
        let listed = listed.filter(|known| known.crop == crop);
        let near = nearest(
            name,
            own.into_iter()
                .chain(listed.map(|known| known.name.as_str())),
        );
        let meant = near.map_or_else(String::new, |near| format!("; did you mean '{near}'?"));
        let stop = if meant.is_empty() { "." } else { "" };
        vec![format!(
            "No list here has '{name}' of {}{meant}{stop} It is kept all the same.",
            super::said::crop_name(self.facts, crop)
        )]
    }

    /// That a spot is no row of the register, so that a low stands for all
    /// trees; nothing where trees are named.
    pub(super) fn unknown_row(&self, spot: Option<&str>, at: &Where) -> Vec<String> {
        let trees = self.facts.register.trees.iter();
        let mut rows: Vec<&str> = trees.filter_map(|tree| tree.row.as_deref()).collect();
        rows.sort_unstable();
        rows.dedup();
        let known = |spot: &str| rows.iter().any(|row| row.eq_ignore_ascii_case(spot.trim()));
        let Some(spot) = spot.filter(|spot| at.tree.is_empty() && !known(spot)) else {
            return Vec::new();
        };
        let rows = if rows.is_empty() {
            "the register names no rows".to_owned()
        } else {
            format!("its rows are {}", rows.join(", "))
        };
        vec![format!(
            "\"{spot}\" is no row of the register ({rows}): the low is taken for all trees. \
             Name the trees with --tree, if it was read at some alone."
        )]
    }

    pub(super) fn known_low(&self, date: NaiveDate) -> Option<f64> {
        let weather = &self.facts.weather;
        let seen = weather.daily.as_ref().and_then(|daily| daily.day(date));
        let ahead = weather.forecast.as_ref();
        seen.or_else(|| ahead.and_then(|forecast| forecast.daily.day(date)))?
            .low_c
    }

    /// What an entry may not be, whatever made it: before its tree was
    /// planted, or a stage against its order.
    ///
    /// # Errors
    /// What cannot be; nothing was noted.
    pub fn check(&self, entry: &Entry) -> Result<(), String> {
        if entry.date > self.today {
            return Err(format!(
                "{} is still to come (today is {}); nothing was noted",
                entry.date, self.today
            ));
        }
        if let Fact::Low(low) = &entry.what {
            let checked = Quantity::Temperature.check(low.low_c);
            checked.map_err(|error| format!("{error}; nothing was noted"))?;
        }
        let planting = matches!(entry.what, Fact::Planting(_));
        for id in &entry.trees {
            let tree = self.facts.register.trees.iter().find(|tree| tree.id == *id);
            let planted = tree.and_then(|tree| tree.planted);
            let before = planted.is_some_and(|planted| match planted {
                Planted::Day(day) => entry.date < day,
                Planted::Year(year) => entry.date.year() < year,
            });
            if before && !planting {
                let when = match planted {
                    Some(Planted::Day(day)) => day.to_string(),
                    Some(Planted::Year(year)) => year.to_string(),
                    None => String::new(),
                };
                return Err(format!(
                    "{id} was planted in {when}, after {}; nothing was noted",
                    entry.date
                ));
            }
        }
        match (&entry.what, &entry.crop) {
            (Fact::Stage(stage), Some(crop)) => self.in_order(entry.date, crop, stage),
            _ => Ok(()),
        }
    }

    pub(super) fn in_order(
        &self,
        date: NaiveDate,
        crop: &str,
        stage: &Stage,
    ) -> Result<(), String> {
        let Some(known) = self.facts.knowledge.crop(crop) else {
            return Ok(());
        };
        let place = known.stage(&stage.stage);
        for seen in &self.facts.journal.stages {
            let same = seen.crop == crop
                && seen.cultivar == stage.cultivar
                && seen.date.year() == date.year();
            if !same {
                continue;
            }
            let other = known.stage(&seen.stage);
            let backwards =
                (other > place && seen.date < date) || (other < place && seen.date > date);
            if place.is_some() && other > place && seen.date == date {
                let doubt = format!(
                    "{} is a later stage than {}, and was noted for the same day",
                    seen.stage, stage.stage
                );
                match self.keeper.yes(&format!("{doubt}: note it all the same?")) {
                    Some(true) => continue,
                    Some(false) => return Err("nothing was noted".to_owned()),
                    None => {
                        return Err(format!(
                            "{doubt}: stages do not go backwards. If that note is wrong, \
                             `budtide journal --kind stage` shows its number, and `budtide undo \
                             NUMBER` takes it back; nothing was noted"
                        ));
                    }
                }
            }
            if other.is_some() && place.is_some() && backwards {
                let later = if other > place {
                    "a later"
                } else {
                    "an earlier"
                };
                return Err(format!(
                    "{} is {later} stage than {}, and was noted for {}: stages do not go \
                     backwards. If that note is wrong, `budtide journal --kind stage` shows its \
                     number, and `budtide undo NUMBER` takes it back; nothing was noted",
                    seen.stage, stage.stage, seen.date
                ));
            }
        }
        Ok(())
    }
}
