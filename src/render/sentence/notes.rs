//! What the keeper should know besides the tasks, in words: notes of the plan,
//! how far to trust the season, what has changed.

use super::frosts::crop_left;
use super::{Words, named, spent};
use crate::facts::preferences::Sprays;
use crate::plan::calendar::Note;
use crate::plan::changes::{Change, What};
use crate::plan::window::Window;
use crate::render::page::capital;
use crate::season::Caveat;
use crate::season::evidence::Evidence;
use crate::season::spread::Basis;
use crate::season::stages::Refusal;
use crate::units::plain;
use chrono::NaiveDate;

impl Words<'_> {
    /// What does not fit into the keeper's hours, where, and what would help.
    fn too_much(
        &self,
        hours: f64,
        (wanted, left_over): (f64, f64),
        tasks: &[(String, f64)],
        weeks: &[(NaiveDate, f64)],
        relief: Option<NaiveDate>,
    ) -> String {
        let mut worst: Vec<&(NaiveDate, f64)> = weeks.iter().collect();
        worst.sort_by(|a, b| b.1.total_cmp(&a.1));
        worst.truncate(3);
        worst.sort_by_key(|week| week.0);
        let worst: Vec<String> = worst
            .iter()
            .map(|(monday, minutes)| format!("{} ({})", self.day(*monday), spent(*minutes)))
            .collect();
        let first: Vec<String> = tasks
            .iter()
            .take(3)
            .map(|(task, minutes)| format!("{task} ({})", spent(*minutes)))
            .collect();
        let more = tasks.len().saturating_sub(first.len());
        let more = match more {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        let mut text = format!(
            "{} h a week do not hold it all: of {} over the year {} find no place, most in the weeks from {}. Left undone: {}{more}.",
            plain(hours),
            spent(wanted),
            spent(left_over),
            worst.join(", "),
            first.join(", "),
        );
        if let Some(monday) = relief {
            text.push_str(&format!(
                " An hour more in the week from {} would help most.",
                self.day(monday)
            ));
        }
        text
    }

    /// A note of the plan.
    pub fn note(&self, note: &Note) -> String {
        match note {
            Note::SpraysLeftOut { tasks, wish } => format!(
                "{} left out, since place.toml says sprays = \"{}\".",
                named(*tasks as u32, "spray is", "sprays are"),
                match wish {
                    Sprays::None => "none",
                    Sprays::Organic => "organic",
                    Sprays::Any => "any",
                }
            ),
            Note::Unplanted { crop } => {
                format!("No season suits planting {} here.", self.crop(crop))
            }
            Note::TooMuch {
                hours_per_week,
                wanted_min,
                left_over_min,
                tasks,
                weeks,
                relief,
            } => self.too_much(
                *hours_per_week,
                (*wanted_min, *left_over_min),
                tasks,
                weeks,
                *relief,
            ),
            Note::CropLost {
                crop,
                left,
                span,
                toll,
            } => format!(
                "{} left {} on {}: work that only a fuller crop needs is off the list, thinning first.{}",
                capital(&self.spring_frosts(toll)),
                crop_left(*left, *span),
                self.crop(crop),
                match toll.counted() {
                    Some(_) => "",
                    None => " Worked out from the lows; your count of buds makes it sure.",
                }
            ),
        }
    }

    /// How far to trust the season.
    pub fn caveat(&self, caveat: &Caveat) -> String {
        match caveat {
            Caveat::NoWeather => format!(
                "No weather is known here yet: every date is what zone {} usually brings, wide and marked \"zone only\". Bring a weather file in with `budtide import FILE`.",
                self.facts.place.hardiness
            ),
            Caveat::FewYears { years } => format!(
                "Only {} of weather are known; ten make a fair spread.",
                named(*years as u32, "past year", "past years")
            ),
            Caveat::Stale { seen_until } => {
                format!("The weather is known until {} only.", self.day(*seen_until))
            }
            Caveat::OldForecast { issued, days } => format!(
                "The forecast is {} old, of {}: it counts for less, and dates are wider.",
                named(u32::try_from(*days).unwrap_or(0), "day", "days"),
                self.day(*issued)
            ),
            Caveat::ForecastGivenUp { issued } => format!(
                "There is no fresh forecast; that of {} is too old to be used, and past years stand in for the coming days. `budtide weather` says what is wrong.",
                self.day(*issued)
            ),
            Caveat::Refused(refused) => format!(
                "Your note of {} on {}, {}, is left out: {}.",
                refused.report.stage,
                self.crop(&refused.report.crop),
                self.day(refused.report.date),
                match &refused.why {
                    Refusal::UnknownStage => "the crop has no such stage".to_owned(),
                    Refusal::InTheFuture => "that day is still to come".to_owned(),
                    Refusal::AfterLaterStage { stage, date } => {
                        format!(
                            "{stage}, which comes later, was seen before it on {}",
                            self.day(*date)
                        )
                    }
                    Refusal::FarFromForecast { expected } => format!(
                        "it is expected about {}, so the date may be a slip",
                        self.day(*expected)
                    ),
                }
            ),
            Caveat::OddObservation {
                crop,
                year,
                late_days,
            } => format!(
                "{}: your bloom of {year} lies {} {} what the weather of that year let expect; is the date right?",
                self.crop(crop),
                named(late_days.abs().round() as u32, "day", "days"),
                if *late_days < 0.0 { "before" } else { "after" }
            ),
            Caveat::LittleChill {
                crop,
                portions,
                least,
            } => format!(
                "{}: the winter brings some {} chill portions, less than any of the past years ({} at least); how it blooms after that is not known, and dates are wide.",
                self.crop(crop),
                plain(portions.round()),
                plain(least.round())
            ),
            Caveat::MayNotBloom { crop, share } => format!(
                "{}: full bloom was not reached in {} % of the runs.",
                self.crop(crop),
                plain((share * 100.0).round())
            ),
            Caveat::NoUsualBloom { crop } => format!(
                "{}: no usual date of full bloom is given, so its stages are wide. Write one into place.toml.",
                self.crop(crop)
            ),
        }
    }

    /// One difference between two calendars.
    pub fn change(&self, change: &Change, title: &str) -> String {
        let because: String = self
            .reasons(&change.because)
            .iter()
            .take(1)
            .map(|reason| {
                format!(
                    "
  because {reason}"
                )
            })
            .collect();
        let what = match &change.what {
            What::Added { opens, closes } => format!("new: {}", self.span(*opens, *closes)),
            What::Dropped => "no longer needed".to_owned(),
            What::Moved { opens, closes } => format!(
                "moved: {}, was {}",
                self.span(opens.1, closes.1),
                self.span(opens.0, closes.0)
            ),
        };
        format!("{title}\n  {what}{because}")
    }

    /// How sure a window is, and what would change it.
    pub fn sureness(&self, window: &Window) -> String {
        let (opens, closes) = (window.opens.spread, window.closes.spread);
        // The bound that is least settled is the one to speak of.
        let (what, least_settled) = if opens.width_days() >= closes.width_days() {
            ("opening", &window.opens)
        } else {
            ("close", &window.closes)
        };
        let bound = least_settled.spread;
        let span = format!("{} to {}", self.day(bound.early), self.day(bound.late));
        match bound.basis {
            _ if bound.width_days() == 0 => "Settled: nothing in it is forecast.".to_owned(),
            Basis::Seen | Basis::Forecast => format!(
                "Worked out from this year's weather so far; the {what} may still fall anywhere from {span}. {} that you note moves it at once.",
                match least_settled.evidence {
                    Evidence::HeatSinceCatch { .. } => "A lasting catch",
                    _ => "A growth stage",
                }
            ),
            Basis::PastYears => format!(
                "In eight years of ten the {what} falls from {span}. The weather to come and the stages that you note will narrow it."
            ),
            Basis::Fixed => "A date of the calendar; your own habit is as good.".to_owned(),
            Basis::ZoneOnly => {
                "A guess from the zone; the weather of the place will narrow it.".to_owned()
            }
        }
    }
}
