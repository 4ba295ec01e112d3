//! Past springs as the coming weather, and the window that they give.
//!
//! A member is the weather of this season as far as it was seen, followed by
//! that of a past year on the same days of the calendar, warmed to this
//! year's climate; a forecast is blended in by its lead. Rules drawn by their
//! weights are run through all members; their dates, dressed with the
//! residual scale, make a distribution.

use super::bloom::{Fit, Years};
use super::candidates::Rule;
pub use super::climate::Climate;
use super::climate::normal;
pub use super::mixture::Mixture;
use super::season_days::{DAYS_BEFORE, Heat, SPAN, SeasonDays, SeasonYear, crossing};
use crate::facts::weather::Forecast;
use chrono::NaiveDate;
use std::cell::RefCell;
use std::rc::Rc;

/// Members at most.
const MEMBERS: usize = 30;

/// With fewer the window is widened.
pub const FEW_MEMBERS: usize = 10;

/// Rules drawn from the weights.
pub const DRAWN: usize = 50;

/// The last season day that members must know: 19 July in the north.
const LAST_DAY: usize = DAYS_BEFORE + 200;

/// Warming of spring expected where the record says nothing, °C a year, and
/// its spread. Our judgement: 0.025 left the forecasts of 39 open records 1.6
/// days late on 1 February and 1.4 on 1 March, 0.04 leaves 1.0 and 0.9.
const WARMING: (f64, f64) = (0.04, 0.015);

/// The season day by which winters are compared by their chill.
const CHILL_DAY: usize = 59;

/// Chill below this share of the least of past years counts as too little.
const CHILL_SHARE: f64 = 0.9;

/// Factor on the residual scale after too little chill (our judgement).
const LITTLE_CHILL: f64 = 1.5;

/// Correlation of a forecast day with what comes, by lead in days; an
/// assumption until the place's own forecasts have been held against its
/// weather.
const SKILL: [f64; 16] = [
    0.98, 0.97, 0.95, 0.92, 0.87, 0.80, 0.70, 0.60, 0.50, 0.40, 0.30, 0.20, 0.15, 0.10, 0.05, 0.0,
];

/// The weather of one season as it may come, seen from one day.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// The season.
    pub season: SeasonYear,
    /// The day on which this is asked; its weather is not yet known.
    pub today: NaiveDate,
    /// Index in the season of the first day that was not measured.
    seen: usize,
    /// Index in the season of the first day without measurement or forecast.
    told: usize,
    members: Vec<SeasonDays>,
    /// Running sums of all members by heat: cultivars share most of them.
    tracks: RefCell<Vec<(Heat, Track)>>,
    /// Portions by day 59: least of the past years, if enough are known.
    least_chill: Option<f64>,
}

impl Outlook {
    /// Puts the members together; none when no weather is known that could
    /// stand for the days to come.
    ///
    /// The record may reach beyond `today` (a hindcast): what follows is not
    /// looked at for this season. `years` says which past years may serve.
    pub fn new(
        climate: &Climate,
        forecast: Option<&Forecast>,
        year: i32,
        today: NaiveDate,
        years: Years,
    ) -> Self {
        let season = SeasonYear::at(year, climate.latitude_deg);
        let asked = (season.day(today) + DAYS_BEFORE as i64).clamp(0, SPAN as i64) as usize;
        let own = climate.season(year);
        let seen = own.as_ref().map_or(0, |own| {
            let known = own
                .low_c
                .iter()
                .take(asked)
                .rposition(|low| low.is_finite());
            known.map_or(0, |last| last + 1)
        });
        let mut outlook = Outlook {
            season,
            today,
            seen,
            told: seen,
            members: Vec::new(),
            tracks: RefCell::default(),
            least_chill: least_chill(climate, season, years),
        };
        let own = own.map(|own| outlook.seen_part(&own, climate));
        if seen > LAST_DAY {
            outlook.members.extend(own);
            return outlook;
        }
        let past = past_years(climate, season, seen, years);
        let slope = warming(&past);
        let calendar: Vec<NaiveDate> = (0..SPAN).map(|index| outlook.date(index)).collect();
        for (past_year, days) in past.iter().rev().take(MEMBERS) {
            let shift = slope * f64::from(year - past_year);
            outlook
                .members
                .push(outlook.member(own.as_ref(), days, shift));
        }
        if let Some(forecast) = forecast {
            outlook.blend(forecast, climate, &calendar);
        }
        outlook
    }

    /// How many past years stand for the days to come.
    pub fn members(&self) -> usize {
        self.members.len()
    }

    /// Whether all that matters for bloom has been measured.
    pub fn is_over(&self) -> bool {
        self.seen > LAST_DAY
    }

    /// The first season day that was not measured.
    pub fn seen_until(&self) -> f64 {
        self.seen as f64 - DAYS_BEFORE as f64
    }

    /// The first season day without measurement or forecast.
    pub fn told_until(&self) -> f64 {
        self.told as f64 - DAYS_BEFORE as f64
    }

    /// This morning as a season day.
    pub fn now(&self) -> f64 {
        self.season.day(self.today) as f64
    }

    fn date(&self, index: usize) -> NaiveDate {
        self.season.date(index as f64 - DAYS_BEFORE as f64)
    }

    /// The chill guard: portions expected by day 59 of this season and the
    /// least of past years, when the first is less by a tenth.
    pub fn short_of_chill(&self) -> Option<(f64, f64)> {
        let least = self.least_chill?;
        let by_then = self
            .members
            .iter()
            .filter_map(|member| member.portions.get(DAYS_BEFORE + CHILL_DAY));
        let expected = by_then.sum::<f64>() / self.members.len() as f64;
        (expected < CHILL_SHARE * least).then_some((expected, least))
    }

    /// The measured part of this season, its gaps filled with usual values.
    fn seen_part(&self, own: &SeasonDays, climate: &Climate) -> SeasonDays {
        let mut part = own.clone();
        let days = part.low_c.iter_mut().zip(part.high_c.iter_mut());
        for (index, (low, high)) in days.enumerate().take(self.seen) {
            if !low.is_finite() {
                (*low, *high) = normal(&climate.normals, self.date(index));
            }
        }
        part
    }

    /// This season so far, then a past one.
    fn member(&self, own: Option<&SeasonDays>, past: &SeasonDays, shift_c: f64) -> SeasonDays {
        let mut member = past.clone();
        let warmed = member.low_c.iter_mut().chain(member.high_c.iter_mut());
        warmed.for_each(|value| *value += shift_c);
        let Some(own) = own else {
            return member;
        };
        let chill = |days: &SeasonDays| days.portions.get(self.seen).copied().unwrap_or(0.0);
        let gained = chill(own) - chill(past);
        let copy = |to: &mut [f64], from: &[f64]| {
            for (to, from) in to.iter_mut().zip(from).take(self.seen) {
                *to = *from;
            }
        };
        copy(&mut member.low_c, &own.low_c);
        copy(&mut member.high_c, &own.high_c);
        copy(&mut member.portions, &own.portions);
        for portions in member.portions.iter_mut().skip(self.seen) {
            *portions += gained;
        }
        member
    }

    /// Blends a forecast into all members.
    fn blend(&mut self, forecast: &Forecast, climate: &Climate, calendar: &[NaiveDate]) {
        for (index, &date) in calendar.iter().enumerate().skip(self.seen) {
            let Some(day) = forecast.daily.day(date) else {
                continue;
            };
            let (Some(low), Some(high)) = (day.low_c, day.high_c) else {
                continue;
            };
            let lead = usize::try_from((date - forecast.issued).num_days()).unwrap_or(0);
            let skill = SKILL.get(lead).copied().unwrap_or(0.0);
            if skill <= 0.0 {
                continue;
            }
            self.told = index + 1;
            let usual = normal(&climate.normals, date);
            for member in &mut self.members {
                if let (Some(a), Some(b)) =
                    (member.low_c.get_mut(index), member.high_c.get_mut(index))
                {
                    let one = blended(usual.0, low, *a, skill);
                    let other = blended(usual.1, high, *b, skill);
                    (*a, *b) = (one.min(other), one.max(other));
                }
            }
        }
    }

    /// Runs rules through all members. One that was drawn several times is
    /// run once, and counts for as many.
    pub fn run(&self, drawn: Vec<Rule>) -> Runs {
        let mut rules: Vec<(Rule, f64)> = Vec::new();
        for rule in drawn {
            match rules.last_mut() {
                Some((last, times)) if *last == rule => *times += 1.0,
                _ => rules.push((rule, 1.0)),
            }
        }
        let mut heats = Vec::new();
        let mut sums: Vec<Track> = Vec::new();
        let which = rules
            .iter()
            .map(|(rule, _)| {
                let heat = rule.track.heat;
                match heats.iter().position(|known| *known == heat) {
                    Some(at) => at,
                    None => {
                        heats.push(heat);
                        sums.push(self.track(heat));
                        sums.len() - 1
                    }
                }
            })
            .collect();
        Runs { rules, which, sums }
    }

    /// Running sums for a heat, worked out when first asked for.
    fn track(&self, heat: Heat) -> Track {
        let known = self
            .tracks
            .borrow()
            .iter()
            .find(|(one, _)| *one == heat)
            .map(|(_, t)| t.clone());
        known.unwrap_or_else(|| {
            let track = Rc::new(self.running(heat));
            self.tracks.borrow_mut().push((heat, track.clone()));
            track
        })
    }

    /// Running sums of every member; the measured part is summed once.
    fn running(&self, heat: Heat) -> Vec<Vec<f64>> {
        let Some(first) = self.members.first() else {
            return Vec::new();
        };
        let mut head = Vec::with_capacity(SPAN);
        first.run_on(heat, 0..self.seen.min(SPAN), &mut head);
        self.members
            .iter()
            .map(|member| {
                let mut sums = head.clone();
                member.run_on(heat, self.seen..SPAN, &mut sums);
                sums
            })
            .collect()
    }

    /// The distribution of full bloom for a fit.
    pub fn full_bloom(&self, climate: &Climate, fit: &Fit) -> Mixture {
        let runs = self.run(fit.draw(&climate.candidates, DRAWN));
        let scale = fit.scale_days * self.widening();
        runs.mixture(scale, |rule, running| {
            crossing(running, rule.track.start, rule.need)
        })
        .later(-fit.drift(self.season.year), 0.0)
        .seen_from(self.told_until())
    }

    /// Factor on the residual scale for want of members, `sqrt(1 + 10/M)`
    /// below ten of them, and for want of chill.
    pub fn widening(&self) -> f64 {
        let chill = self.short_of_chill().map_or(1.0, |_| LITTLE_CHILL);
        chill
            * match self.members.len() {
                0 => 1.0,
                _ if self.is_over() => 1.0,
                few if few < FEW_MEMBERS => (1.0 + 10.0 / few as f64).sqrt(),
                _ => 1.0,
            }
    }
}

/// Running sums of every member for one heat, shared by all who ask.
type Track = Rc<Vec<Vec<f64>>>;

/// Rules run through the members of an outlook.
#[derive(Clone, Debug)]
pub struct Runs {
    /// Rules with the times that they were drawn.
    rules: Vec<(Rule, f64)>,
    which: Vec<usize>,
    sums: Vec<Track>,
}

impl Runs {
    /// Gathers the dates that `date` finds for every rule in every member's
    /// running sums.
    pub fn mixture(
        &self,
        scale_days: f64,
        mut date: impl FnMut(&Rule, &[f64]) -> Option<f64>,
    ) -> Mixture {
        let mut dates = Vec::new();
        let (mut all, mut never) = (0.0, 0.0);
        for ((rule, times), &which) in self.rules.iter().zip(&self.which) {
            let members = self.sums.get(which).into_iter();
            for running in members.flat_map(|track| track.iter()) {
                all += times;
                match date(rule, running) {
                    Some(date) => dates.push((date, *times)),
                    None => never += times,
                }
            }
        }
        let mut mixture = Mixture::new(dates, scale_days);
        if all > 0.0 {
            mixture.never = never / all;
        }
        mixture
    }
}

/// Past seasons, oldest first, whose days from `seen` on are known.
fn past_years(
    climate: &Climate,
    season: SeasonYear,
    seen: usize,
    years: Years,
) -> Vec<(i32, SeasonDays)> {
    climate
        .record
        .years()
        .filter(|&year| year != season.year && years.hold(year))
        .filter_map(|year| {
            let days = climate.season(year)?;
            let aligned = aligned(&days, season, year);
            let known = |index: usize| aligned.low_c.get(index).is_some_and(|low| low.is_finite());
            (seen.max(DAYS_BEFORE)..=LAST_DAY)
                .all(known)
                .then_some((year, aligned))
        })
        .collect()
}

/// Least chill by [`CHILL_DAY`] in the past years; `None` with fewer than ten.
fn least_chill(climate: &Climate, season: SeasonYear, years: Years) -> Option<f64> {
    let springs = climate.candidates.springs();
    let past = springs
        .iter()
        .filter(|spring| spring.year != season.year && years.hold(spring.year));
    let (count, least) = past.fold((0, f64::INFINITY), |(count, least), spring| {
        (count + 1, least.min(spring.portions))
    });
    (count >= FEW_MEMBERS).then_some(least)
}

/// A past season on the calendar of another: on 29 February the 28th is
/// repeated, or the 29th is dropped.
fn aligned(days: &SeasonDays, to: SeasonYear, year: i32) -> SeasonDays {
    let from = SeasonYear { year, ..to };
    let leap = |season: SeasonYear| {
        NaiveDate::from_ymd_opt(season.year, 2, 29)
            .map(|date| season.day(date) + DAYS_BEFORE as i64)
    };
    let index = |leap: Option<i64>| leap.and_then(|day| usize::try_from(day).ok());
    let mut aligned = days.clone();
    let columns = [
        &mut aligned.low_c,
        &mut aligned.high_c,
        &mut aligned.portions,
    ];
    match (index(leap(to)), index(leap(from))) {
        (Some(at), None) => columns.into_iter().for_each(|column| {
            if let Some(&before) = at.checked_sub(1).and_then(|before| column.get(before)) {
                column.insert(at, before);
                column.truncate(SPAN);
            }
        }),
        (None, Some(at)) => columns.into_iter().for_each(|column| {
            if at < column.len() {
                column.remove(at);
                let last = column.last().copied().unwrap_or(f64::NAN);
                column.push(last);
            }
        }),
        _ => {}
    }
    aligned
}

/// Warming of the first four months, °C a year, from the member years.
fn warming(past: &[(i32, SeasonDays)]) -> f64 {
    let points: Vec<(f64, f64)> = past
        .iter()
        .rev()
        .take(MEMBERS)
        .filter_map(|(year, days)| {
            let window = DAYS_BEFORE..DAYS_BEFORE + 120;
            let lows = days.low_c.get(window.clone())?;
            let highs = days.high_c.get(window)?;
            let sum: f64 = lows.iter().chain(highs).sum();
            sum.is_finite().then_some((f64::from(*year), sum / 240.0))
        })
        .collect();
    if points.len() < FEW_MEMBERS {
        return WARMING.0;
    }
    let (slope, error) = slope(&points);
    shrunk_slope(slope, error, WARMING)
}

/// Least-squares slope and its standard error.
fn slope(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len() as f64;
    let mean_x = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
    let xx: f64 = points.iter().map(|(x, _)| (x - mean_x).powi(2)).sum();
    let xy: f64 = points
        .iter()
        .map(|(x, y)| (x - mean_x) * (y - mean_y))
        .sum();
    let slope = xy / xx;
    let rest: f64 = points
        .iter()
        .map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2))
        .sum();
    (slope, (rest / (n - 2.0) / xx).sqrt())
}

/// The slope drawn to a usual one, each by its precision.
fn shrunk_slope(slope: f64, error: f64, (usual, spread): (f64, f64)) -> f64 {
    if !slope.is_finite() || !error.is_finite() {
        return usual;
    }
    if error <= 0.0 {
        return slope;
    }
    let (own, prior) = (error.powi(-2), spread.powi(-2));
    (slope * own + usual * prior) / (own + prior)
}

/// `m + r a_f + sqrt(1 - r²) a_k`: the forecast's departure from the usual
/// value by its skill r, the member's in what is left.
pub fn blended(usual_c: f64, forecast_c: f64, member_c: f64, skill: f64) -> f64 {
    let left = (1.0 - skill * skill).max(0.0).sqrt();
    usual_c + skill * (forecast_c - usual_c) + left * (member_c - usual_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Algorithms 6.2.
    #[test]
    fn slopes_are_drawn_to_the_usual_warming() {
        let usual = (0.025, 0.015);
        assert!((shrunk_slope(0.035, 0.020, usual) - 0.0286).abs() < 5e-5);
        assert!((shrunk_slope(0.5, f64::INFINITY, usual) - 0.025).abs() < 1e-12);
        assert_eq!(shrunk_slope(0.05, 0.0, usual), 0.05);
        let line: Vec<(f64, f64)> = (0..12)
            .map(|k| (f64::from(k), 0.1 * f64::from(k)))
            .collect();
        let (b, error) = slope(&line);
        assert!((b - 0.1).abs() < 1e-12 && error < 1e-9);
    }

    /// Algorithms 6.3.
    #[test]
    fn a_forecast_fades_into_the_member() {
        assert!((blended(10.0, 15.0, 7.5, 0.8) - 12.5).abs() < 1e-12);
        assert!((blended(10.0, 15.0, 7.5, 1.0) - 15.0).abs() < 1e-12);
        assert!((blended(10.0, 15.0, 7.5, 0.0) - 7.5).abs() < 1e-12);
    }
}
