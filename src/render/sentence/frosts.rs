//! Nights of frost in words.

use super::{Words, listed};
use crate::season::evidence::FrostNight;
use crate::season::frost_toll::FrostToll;
use crate::units::plain;
use chrono::{NaiveDate, NaiveDateTime};

/// Most nights besides the worst that one reason names.
const MOST_NIGHTS: usize = 3;

/// Width of a span of shares from which it is told beside the likely one.
const WIDE_SHARE: f64 = 0.15;

impl Words<'_> {
    /// Several crops, in one night of frost or in several: the worst night
    /// with the share killed of each; of the others the lows.
    pub(super) fn frosts(&self, nights: &[&FrostNight]) -> String {
        let mut dates: Vec<(NaiveDate, f64)> = Vec::new();
        for night in nights {
            match dates.iter_mut().find(|(date, _)| *date == night.date) {
                Some((_, worst)) => *worst = worst.max(night.kill),
                None => dates.push((night.date, night.kill)),
            }
        }
        dates.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let on = |date: NaiveDate| -> Vec<&FrostNight> {
            let nights = nights.iter().copied();
            nights.filter(|night| night.date == date).collect()
        };
        let mut dates = dates.into_iter().map(|(date, _)| date);
        let worst = dates
            .next()
            .map_or_else(String::new, |date| self.one_frost(&on(date)));
        let mut others: Vec<NaiveDate> = dates.take(MOST_NIGHTS).collect();
        others.sort();
        let others: Vec<String> = others
            .into_iter()
            .map(|date| {
                let lows = on(date).into_iter().map(|night| night.low_c);
                let low = lows.fold(f64::INFINITY, f64::min);
                format!(
                    "{} ({})",
                    self.near_day(date),
                    self.units().temperature(low)
                )
            })
            .collect();
        let others: Vec<&str> = others.iter().map(String::as_str).collect();
        match others.as_slice() {
            [] => worst,
            [one] => format!("{worst}; less harm in the night to {one}"),
            _ => format!("{worst}; less harm in the nights to {}", listed(&others)),
        }
    }

    /// Several crops in one night.
    fn one_frost(&self, nights: &[&FrostNight]) -> String {
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
            .map(|(crop, night)| match night.counted {
                Some((dead, cut)) => format!("{crop} {dead} of {cut} counted"),
                None => format!(
                    "{crop} in {} {} %",
                    night.stage,
                    plain((night.kill * 100.0).round())
                ),
            })
            .collect();
        let verb = match coldest.forecast {
            true => "flower buds that may die",
            false => "flower buds likely killed",
        };
        format!("{}; {verb}: {}", self.low(coldest), list.join(", "))
    }

    /// The worst frost of a toll with those in a row with it: `the frost of Sun
    /// 8 Apr has`, `the 3 frosts from Thu 5 to Sun 8 Apr have`.
    pub fn spring_frosts(&self, toll: &FrostToll) -> String {
        let told: Vec<NaiveDate> = toll.spell().map(|night| night.date).collect();
        match told.as_slice() {
            [first, .., last] => format!(
                "the {} frosts from {} to {} have",
                told.len(),
                self.day(*first),
                self.day(*last)
            ),
            _ => format!("the frost of {} has", self.day(toll.worst().date)),
        }
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
        let low = if night.site_k.abs() < f64::EPSILON {
            low
        } else {
            let station = self.units().temperature(night.low_c - night.site_k);
            format!("{low} ({station} at the station)")
        };
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
        let crop = self.crop(&night.crop);
        if let Some((dead, cut)) = night.counted {
            return format!(
                "{}; on {crop} you counted {dead} dead of {cut} flower buds",
                self.low(night)
            );
        }
        format!(
            "{}; on {crop} in {} that {} {} of the flower buds (a tenth die at {})",
            self.low(night),
            night.stage,
            if night.forecast { "may kill" } else { "kills" },
            share_range(night),
            self.units().temperature(night.kill_10_c)
        )
    }
}

/// What is left of a crop, with its bounds where they differ much: `about 30 %
/// of a crop (0 to 80)`.
pub fn crop_left(left: f64, span: (f64, f64)) -> String {
    let percent = |share: f64| plain((share * 100.0).round());
    let bounds = if span.1 - span.0 >= WIDE_SHARE {
        format!(" ({} to {})", percent(span.0), percent(span.1))
    } else {
        String::new()
    };
    format!("about {} % of a crop{bounds}", percent(left))
}

/// `about 80 %`, `20 to 95 %`: the share killed with its bounds where they
/// differ much.
pub fn share_range(night: &FrostNight) -> String {
    shares(night.kill, (night.kill_least, night.kill_most))
}

/// The same of any share with its bounds.
pub fn shares(likely: f64, span: (f64, f64)) -> String {
    let percent = |share: f64| (share * 100.0).round();
    if span.1 - span.0 >= WIDE_SHARE {
        format!(
            "{} to {} %, likely {} %,",
            plain(percent(span.0)),
            plain(percent(span.1)),
            plain(percent(likely))
        )
    } else {
        format!("about {} %", plain(percent(likely)))
    }
}
