//! The table of candidate dates: when each of some ten thousand simple bloom
//! rules would have been met in each spring of the record.
//!
//! A rule is a way of counting heat ([`Heat`]), a day on which counting
//! starts, and a need. The table holds for every crop alike, so it is made
//! once per place and record; a crop's own observations only weigh its rows
//! (`season::bloom`).

use super::season_days::{
    DAYS_AFTER, DAYS_BEFORE, DailyChill, Heat, SeasonDays, SeasonYear, chill_weight,
};
use crate::facts::weather::DailyRecord;

/// The three families of rules, in the order of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// Degree days from a start day.
    DegreeDays,
    /// Exponential heat from a start day.
    Exponential,
    /// Chill-weighted degree days.
    ChillWeighted,
}

/// How many families there are.
pub const FAMILIES: usize = 3;

/// Heat counted from a season day on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Track {
    /// How it is counted.
    pub heat: Heat,
    /// The first season day that counts.
    pub start: i32,
}

/// The rules of one family: every track with every need of a ladder.
#[derive(Clone, Debug, PartialEq)]
pub struct Rules {
    /// The family.
    pub family: Family,
    /// Its tracks.
    pub tracks: Vec<Track>,
    /// Least need of the ladder.
    pub least_need: f64,
    /// Logarithmic step of the ladder.
    pub step: f64,
    /// How many needs the ladder has.
    pub needs: usize,
    /// Logarithm of the common prior per track and need.
    pub ln_prior: Vec<f64>,
    /// Index of the family's first candidate.
    pub first: usize,
}

impl Rules {
    /// The need at a place of the ladder; fractions lie between.
    pub fn need(&self, place: f64) -> f64 {
        self.least_need * (self.step * place).exp()
    }

    /// How many candidates the family has.
    pub fn len(&self) -> usize {
        self.tracks.len() * self.needs
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Candidates of all families with their dates in every usable season.
#[derive(Clone, Debug)]
pub struct Candidates {
    southern: bool,
    rules: Vec<Rules>,
    springs: Vec<Spring>,
    len: usize,
}

/// One season of the record.
#[derive(Clone, Debug)]
pub struct Spring {
    /// The year of its bloom.
    pub year: i32,
    /// Date of each candidate as a season day with its fraction.
    pub dates: Vec<f32>,
    /// Chill portions by day 59.
    pub portions: f64,
}

/// A rule drawn from the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// How heat is counted.
    pub track: Track,
    /// Heat needed for full bloom.
    pub need: f64,
}

impl Candidates {
    /// Works out the dates of all candidates in every season of a record
    /// (short gaps bridged) whose first five months are known. The latitude tells
    /// the side of the equator.
    pub fn new(record: &DailyRecord, chill: &DailyChill, latitude_deg: f64) -> Self {
        let southern = latitude_deg < 0.0;
        let rules = families(chill.of_a_winter(southern));
        let len = rules.iter().map(Rules::len).sum();
        let springs = record
            .years()
            .filter_map(|year| {
                let season = SeasonYear { year, southern };
                let days = SeasonDays::of(record, chill, season)?;
                days.complete().then(|| Spring {
                    year,
                    dates: dates_of(&rules, &days),
                    portions: days.portions.get(DAYS_BEFORE + 59).copied().unwrap_or(0.0),
                })
            })
            .collect();
        Candidates {
            southern,
            rules,
            springs,
            len,
        }
    }

    /// South of the equator.
    pub fn southern(&self) -> bool {
        self.southern
    }

    /// How many candidates there are.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The families.
    pub fn rules(&self) -> &[Rules] {
        &self.rules
    }

    /// The seasons with their dates.
    pub fn springs(&self) -> &[Spring] {
        &self.springs
    }

    /// The season of a year, if the record knows it.
    pub fn spring(&self, year: i32) -> Option<&Spring> {
        self.springs.iter().find(|spring| spring.year == year)
    }

    /// The rule at an index.
    pub fn rule(&self, index: usize) -> Option<Rule> {
        let rules = self.rules.iter().rev().find(|rules| rules.first <= index)?;
        let inner = index - rules.first;
        let track = rules.tracks.get(inner / rules.needs.max(1))?;
        Some(Rule {
            track: *track,
            need: rules.need((inner % rules.needs.max(1)) as f64),
        })
    }
}

/// The rules of all families with their common weak prior, for a place whose
/// winters bring `chill` portions by the season's day 90.
///
/// Degree days: start about 9 February give or take 15 days, base 3 ± 2 °C,
/// need 300 within a factor of 1.65; confirmed on 70 series of Korea, Japan
/// and the eastern USA. The other two priors are as wide as the spread of
/// what 108 open series ask for; doubling or halving their widths moves no
/// score by more than a tenth of a day.
fn families(chill: f64) -> Vec<Rules> {
    let normal = |x: f64, mean: f64, spread: f64| -0.5 * ((x - mean) / spread).powi(2);
    let mut families = Vec::new();
    let mut first = 0;
    let mut add = |family, ladder: Ladder, tracks: Vec<(Track, f64)>| {
        let mut ln_prior = Vec::with_capacity(tracks.len() * ladder.needs);
        for (_, track_prior) in &tracks {
            for place in 0..ladder.needs {
                let ln_need = ladder.least_need.ln() + LADDER_STEP * place as f64;
                ln_prior.push(track_prior + normal(ln_need, ladder.usual.ln(), ladder.spread));
            }
        }
        let rules = Rules {
            family,
            tracks: tracks.into_iter().map(|(track, _)| track).collect(),
            least_need: ladder.least_need,
            step: LADDER_STEP,
            needs: ladder.needs,
            ln_prior,
            first,
        };
        first += rules.len();
        families.push(rules);
    };
    let mut degree_days = Vec::new();
    for start in (0..=90).step_by(5) {
        for base in -2..=8 {
            let base_c = f64::from(base);
            let prior = normal(f64::from(start) + 1.0, 40.0, 15.0) + normal(base_c, 3.0, 2.0);
            let heat = Heat::DegreeDays { base_c };
            degree_days.push((Track { heat, start }, prior));
        }
    }
    let ladder = Ladder {
        least_need: 40.0,
        needs: 65,
        usual: 300.0,
        spread: 0.5,
    };
    add(Family::DegreeDays, ladder, degree_days);
    let mut exponential = Vec::new();
    for start in (-30..=90).step_by(10) {
        for rate in [0.04, 0.06, 0.08, 0.10, 0.12, 0.14, 0.17, 0.20] {
            let prior = normal(f64::from(start) + 1.0, 25.0, 18.0) + normal(rate, 0.125, 0.03);
            let heat = Heat::Exponential { rate };
            exponential.push((Track { heat, start }, prior));
        }
    }
    let ladder = Ladder {
        least_need: 20.0,
        needs: 80,
        usual: 314.0,
        spread: 0.4,
    };
    add(Family::Exponential, ladder, exponential);
    let mut chilled = Vec::new();
    for tenths in 3..=10 {
        let share = 0.1 * f64::from(tenths);
        for sharpness in [0.05, 0.15, 0.5, 1.5] {
            for base in [-2, 0, 2, 4, 6] {
                let base_c = f64::from(base);
                let heat = Heat::ChillWeighted {
                    base_c,
                    portions: share * chill,
                    sharpness,
                };
                let start = 1 - DAYS_BEFORE as i32;
                let prior = normal(share, 0.66, 0.12)
                    + normal(f64::ln(sharpness), -1.1, 1.0)
                    + normal(base_c, 3.7, 1.5);
                chilled.push((Track { heat, start }, prior));
            }
        }
    }
    let ladder = Ladder {
        least_need: 15.0,
        needs: 80,
        usual: 270.0,
        spread: 0.4,
    };
    add(Family::ChillWeighted, ladder, chilled);
    families
}

/// Logarithmic step between the needs of a ladder.
const LADDER_STEP: f64 = 0.05;

/// The needs of a family and their prior.
struct Ladder {
    least_need: f64,
    needs: usize,
    usual: f64,
    spread: f64,
}

/// Dates of all candidates in one season. A need that is never met counts as
/// the end of the span.
fn dates_of(rules: &[Rules], days: &SeasonDays) -> Vec<f32> {
    let mut dates = Vec::with_capacity(rules.iter().map(Rules::len).sum());
    let mut sums = RunningSums::new(days);
    for family in rules {
        let needs: Vec<f64> = (0..family.needs).map(|k| family.need(k as f64)).collect();
        for track in &family.tracks {
            climb(sums.of(track.heat), track.start, &needs, &mut dates);
        }
    }
    dates
}

/// Running sums of one season, each worked out when first asked for. Tracks
/// share their heat, and chill-weighted heats their excess and their weights.
struct RunningSums<'a> {
    days: &'a SeasonDays,
    known: Vec<(Heat, Vec<f64>)>,
    /// Excess of each day by base, °C.
    excess: Vec<(f64, Vec<f64>)>,
    /// Weight of each day by portions needed and sharpness.
    weights: Vec<((f64, f64), Vec<f64>)>,
}

impl<'a> RunningSums<'a> {
    fn new(days: &'a SeasonDays) -> Self {
        RunningSums {
            days,
            known: Vec::new(),
            excess: Vec::new(),
            weights: Vec::new(),
        }
    }

    fn of(&mut self, heat: Heat) -> &[f64] {
        let days = self.days;
        remembered(&mut self.known, heat, || match heat {
            Heat::ChillWeighted {
                base_c,
                portions,
                sharpness,
            } => {
                let excess = remembered(&mut self.excess, base_c, || days.excess(base_c));
                let weights = remembered(&mut self.weights, (portions, sharpness), || {
                    let received = days.portions.iter();
                    received
                        .map(|&y| chill_weight(y, portions, sharpness))
                        .collect()
                });
                let mut sum = 0.0;
                let heats = excess.iter().zip(weights);
                heats
                    .map(|(excess, weight)| {
                        sum += excess * *weight;
                        sum
                    })
                    .collect()
            }
            _ => days.running(heat),
        })
    }
}

/// The value kept under a key, worked out and kept if there is none.
fn remembered<K: PartialEq>(
    known: &mut Vec<(K, Vec<f64>)>,
    key: K,
    work_out: impl FnOnce() -> Vec<f64>,
) -> &[f64] {
    let at = match known.iter().position(|(one, _)| *one == key) {
        Some(at) => at,
        None => {
            let values = work_out();
            known.push((key, values));
            known.len() - 1
        }
    };
    known.get(at).map_or(&[], |(_, values)| values)
}

/// Crossings of a rising ladder of needs in one pass.
fn climb(running: &[f64], start: i32, needs: &[f64], dates: &mut Vec<f32>) {
    let first = usize::try_from(start + DAYS_BEFORE as i32).unwrap_or(0);
    let before = first
        .checked_sub(1)
        .and_then(|index| running.get(index))
        .copied()
        .unwrap_or(0.0);
    let mut days = running.iter().enumerate().skip(first).peekable();
    let mut last = before;
    for need in needs {
        let target = before + need;
        while let Some(&(_, &sum)) = days.peek() {
            if sum >= target {
                break;
            }
            last = sum;
            days.next();
        }
        dates.push(match days.peek() {
            Some((index, sum)) => {
                let part = ((target - last) / (*sum - last)).clamp(0.0, 0.999_999);
                (*index as f64 - DAYS_BEFORE as f64 + part) as f32
            }
            None => DAYS_AFTER as f32,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::season_days::SPAN;

    /// Algorithms 5.1, on the whole ladder at once.
    #[test]
    fn a_ladder_is_climbed_in_one_pass() {
        let running: Vec<f64> = (0..SPAN)
            .map(|index| (index as f64 - DAYS_BEFORE as f64 - 40.0).max(0.0) * 5.0)
            .collect();
        let mut dates = Vec::new();
        climb(&running, 41, &[298.0, 300.0, 1e9], &mut dates);
        assert!((dates[0] - 100.6).abs() < 1e-4 && (dates[1] - 101.0).abs() < 1e-4);
        assert_eq!(dates[2], DAYS_AFTER as f32);
    }

    /// What tracks share makes no other sums than each would by itself.
    #[test]
    fn shared_sums_are_those_of_each_heat() {
        let mut days = SeasonDays {
            low_c: (0..SPAN).map(|day| (day % 23) as f64 - 8.0).collect(),
            high_c: (0..SPAN).map(|day| (day % 31) as f64).collect(),
            portions: (0..SPAN).map(|day| 0.25 * day as f64).collect(),
        };
        for day in 0..SPAN {
            days.high_c[day] = days.high_c[day].max(days.low_c[day]);
        }
        (days.low_c[200], days.high_c[200]) = (f64::NAN, f64::NAN);
        let mut shared = RunningSums::new(&days);
        let chilled = |base_c, portions, sharpness| Heat::ChillWeighted {
            base_c,
            portions,
            sharpness,
        };
        for heat in [
            Heat::DegreeDays { base_c: 4.0 },
            Heat::Exponential { rate: 0.1 },
            chilled(4.0, 30.0, 0.5),
            chilled(2.0, 30.0, 0.5),
            chilled(4.0, 60.0, 0.5),
            chilled(4.0, 30.0, 1.5),
        ] {
            assert_eq!(shared.of(heat), days.running(heat), "{heat:?}");
            assert_eq!(shared.of(heat), days.running(heat), "{heat:?}, again");
        }
    }
}
