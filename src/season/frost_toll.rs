//! What all the frosts of a spring have done to one group's flower buds.
//!
//! Damage does not add up freely: the buds that die in a mild night are the
//! same weak ones as in a hard one. The worst night is told; that each night
//! took its share of what the others left is a bound (reference/algorithms.md
//! 8.3; frost.md 3 lets survivors multiply).

use super::evidence::{FrostNight, NIGHTS_APART, TOLD_SHARE};
use super::frost::Toll;
use chrono::NaiveDate;

/// The nights of a spring that hurt a group, and what they come to.
#[derive(Clone, Debug, PartialEq)]
pub struct FrostToll {
    /// The nights seen, in their order; never empty.
    nights: Vec<FrostNight>,
    /// Which of them killed most.
    worst: usize,
    /// Share killed, 0 to 1: that of the worst night, or what was counted.
    pub kill: f64,
    /// The least that it may be.
    pub kill_least: f64,
    /// The most: of the worst night, or had every night taken its share of what
    /// the others left.
    pub kill_most: f64,
}

impl FrostToll {
    /// The toll of the nights seen, in their order. A count of buds tells what
    /// all nights up to its day, `counted_on`, did together. `None` without a
    /// night.
    pub fn of(nights: Vec<FrostNight>, counted_on: Option<NaiveDate>) -> Option<Self> {
        let worst = (0..nights.len()).reduce(|held, at| {
            if nights[at].kill > nights[held].kill {
                at
            } else {
                held
            }
        })?;
        let counted = nights.iter().find(|night| night.counted.is_some());
        // What the count covers is one event; of no other night is it known.
        let apart = |night: &&FrostNight| match (counted, counted_on) {
            (Some(one), Some(day)) => night.date > day || night.date == one.date,
            _ => true,
        };
        let shares = |of: fn(&FrostNight) -> f64| {
            let nights = nights.iter().filter(apart);
            Toll::of(nights.map(of))
        };
        let likely = shares(|night| night.kill);
        let most = shares(|night| night.kill_most).worst_night;
        Some(FrostToll {
            kill: likely.worst_night,
            kill_least: shares(|night| night.kill_least).worst_night,
            kill_most: most.max(likely.at_most),
            worst,
            nights,
        })
    }

    /// The night that killed most.
    pub fn worst(&self) -> &FrostNight {
        &self.nights[self.worst]
    }

    /// The nights that hurt, in their order.
    pub fn nights(&self) -> &[FrostNight] {
        &self.nights
    }

    /// The worst night with those that hurt in a row with it, in their order.
    pub fn spell(&self) -> impl Iterator<Item = &FrostNight> {
        let counts = |night: &FrostNight| night.kill >= TOLD_SHARE;
        let follow = |nights: &mut dyn Iterator<Item = &FrostNight>| {
            let mut last = self.worst().date;
            let mut count = 0;
            for (at, night) in nights.enumerate() {
                if (night.date - last).num_days().abs() > NIGHTS_APART {
                    break;
                }
                if counts(night) {
                    (last, count) = (night.date, at + 1);
                }
            }
            count
        };
        let before = follow(&mut self.nights[..self.worst].iter().rev());
        let after = follow(&mut self.nights[self.worst + 1..].iter());
        let spell = self.nights[self.worst - before..=self.worst + after].iter();
        spell.filter(move |night| counts(night) || night.date == self.worst().date)
    }

    /// Buds dead and buds cut, where the keeper has counted.
    pub fn counted(&self) -> Option<(u32, u32)> {
        self.nights.iter().find_map(|night| night.counted)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn night(day: u32, kill: f64, most: f64) -> FrostNight {
        FrostNight {
            date: NaiveDate::from_ymd_opt(2007, 4, day).unwrap(),
            low_c: -5.0,
            site_k: 0.0,
            forecast: false,
            crop: "apple".to_owned(),
            stage: "full bloom".to_owned(),
            kill_10_c: -2.2,
            kill_90_c: Some(-3.9),
            kill,
            kill_least: kill / 2.0,
            kill_most: most,
            tenth: 1.0,
            at_the_trees: false,
            counted: None,
        }
    }

    /// reference/algorithms.md 8: nights of 28, 26.5 and 29 °F in full bloom
    /// of apple kill .1, .5 and .025: worst .5, product bound .56127.
    #[test]
    fn the_worst_night_is_told_and_the_product_is_the_bound() {
        let nights = [0.1, 0.5, 0.025]
            .into_iter()
            .zip(5..)
            .map(|(kill, day)| night(day, kill, kill));
        let toll = FrostToll::of(nights.collect(), None).unwrap();
        assert_eq!(toll.kill, 0.5);
        assert!((toll.kill_most - 0.561_25).abs() < 1e-5, "{toll:?}");
        assert_eq!(toll.kill_least, 0.25);
        assert_eq!(toll.worst().date.to_string(), "2007-04-06");
        assert_eq!(toll.nights().len(), 3);
        assert_eq!(FrostToll::of(Vec::new(), None), None);
    }

    #[test]
    fn a_spell_is_the_nights_in_a_row_with_the_worst() {
        let kills = [(1, 0.3), (4, 0.2), (7, 0.01), (8, 0.6), (9, 0.1), (14, 0.3)];
        let nights = kills.map(|(day, kill)| night(day, kill, kill)).to_vec();
        let toll = FrostToll::of(nights, None).unwrap();
        let days: Vec<String> = toll.spell().map(|one| one.date.to_string()).collect();
        assert_eq!(days, ["2007-04-08", "2007-04-09"]);
        let nights = [(5, 0.2), (7, 0.3), (8, 0.01), (9, 0.6)];
        let nights = nights.map(|(day, kill)| night(day, kill, kill)).to_vec();
        let toll = FrostToll::of(nights, None).unwrap();
        assert_eq!(toll.spell().count(), 3);
    }

    #[test]
    fn a_count_stands_for_all_nights_up_to_it() {
        let day = |day| NaiveDate::from_ymd_opt(2007, 4, day);
        let mut nights = vec![night(5, 0.2, 0.2), night(6, 0.3, 0.4), night(12, 0.1, 0.5)];
        nights[1].counted = Some((30, 100));
        let toll = FrostToll::of(nights.clone(), day(8)).unwrap();
        // Of the count and the night after it: the share of the night most
        // unsure, or each its share of what the other left.
        assert_eq!(toll.kill, 0.3);
        assert!((toll.kill_most - 0.5).abs() < 1e-12);
        nights[2].kill = 0.4;
        let toll = FrostToll::of(nights.clone(), day(8)).unwrap();
        assert!((toll.kill_most - (1.0 - 0.7 * 0.6)).abs() < 1e-12);
        nights[2].kill = 0.1;
        assert_eq!(toll.counted(), Some((30, 100)));
        // Counted after all of them: the fact alone.
        let toll = FrostToll::of(nights, day(13)).unwrap();
        assert!((toll.kill_most - 0.4).abs() < 1e-12);
    }
}
