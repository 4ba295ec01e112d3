//! Nights of frost in words.

use super::Words;
use crate::season::evidence::FrostNight;
use crate::units::plain;
use chrono::NaiveDateTime;

impl Words<'_> {
    /// Several crops in one frost: the low, and the share killed of each.
    pub(super) fn frosts(&self, nights: &[&FrostNight]) -> String {
        let Some(coldest) = nights
            .iter()
            .copied()
            .min_by(|a, b| a.low_c.total_cmp(&b.low_c))
        else {
            return String::new();
        };
        let mut shares: Vec<(String, &FrostNight)> = Vec::new();
        for night in nights.iter().copied() {
            let crop = self.crop(&night.crop);
            match shares.iter_mut().find(|(known, _)| *known == crop) {
                Some((_, held)) if night.kill > held.kill => *held = night,
                Some(_) => {}
                None => shares.push((crop, night)),
            }
        }
        shares.sort_by(|a, b| b.1.kill.total_cmp(&a.1.kill));
        let list: Vec<String> = shares
            .iter()
            .map(|(crop, night)| {
                format!(
                    "{crop} in {} {:.0} %",
                    night.stage,
                    (night.kill * 100.0).round()
                )
            })
            .collect();
        format!(
            "{}; flower buds likely killed: {}",
            self.low(coldest),
            list.join(", ")
        )
    }

    /// A warning of the weather service.
    pub(super) fn warned(&self, event: &str, office: &str, until: NaiveDateTime) -> String {
        let office = match office {
            "" => String::new(),
            office => format!(" ({office})"),
        };
        format!(
            "{event} by the weather service{office}, until {} {}",
            self.near_day(until.date()),
            until.format("%H:%M")
        )
    }

    /// The low of a night, seen or forecast.
    fn low(&self, night: &FrostNight) -> String {
        let low = self.units().temperature(night.low_c);
        match (night.forecast, night.date == self.today) {
            (true, true) => format!("a low of {low} is forecast for this morning"),
            (true, _) => {
                format!(
                    "a low of {low} is forecast for the night to {}",
                    self.near_day(night.date)
                )
            }
            (false, true) => format!("last night fell to {low}"),
            (false, false) => format!("the night to {} fell to {low}", self.near_day(night.date)),
        }
    }

    pub(super) fn frost(&self, night: &FrostNight) -> String {
        format!(
            "{}; on {} in {} that kills {} of the flower buds (a tenth die at {})",
            self.low(night),
            self.crop(&night.crop),
            night.stage,
            share_range(night),
            self.units().temperature(night.kill_10_c)
        )
    }
}

/// `about 80 %`, `20 to 95 %`: the share killed with its bounds where they
/// differ much.
pub fn share_range(night: &FrostNight) -> String {
    let percent = |share: f64| (share * 100.0).round();
    let (least, most) = (percent(night.kill_least), percent(night.kill_most));
    if most - least >= 15.0 {
        format!(
            "{} to {} %, likely {} %,",
            plain(least),
            plain(most),
            plain(percent(night.kill))
        )
    } else {
        format!("about {} %", plain(percent(night.kill)))
    }
}
