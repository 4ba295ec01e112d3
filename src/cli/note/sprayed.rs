//! A spray as a spray log is asked for it.

use super::entry::{Desk, Made};
use super::grammar::SprayArgs;
use super::intervals::{self, Interval};
use super::{name_lists, names};
use crate::facts::journal::{Fact, Noted, Spray};
use crate::facts::knowledge::Material;
use chrono::{Days, NaiveTime, TimeDelta};

/// Where no time of a spray was given, its day's end counts.
const END_OF_DAY: NaiveTime = match NaiveTime::from_hms_opt(23, 59, 59) {
    Some(time) => time,
    None => NaiveTime::MIN,
};

impl Desk<'_> {
    pub(super) fn spray(&self, args: &SprayArgs) -> Result<Made, String> {
        let known = name_lists::materials(self.facts);
        let mut materials: Vec<String> = Vec::new();
        for word in args.materials.iter().filter(|word| !word.trim().is_empty()) {
            materials.push(names::find(word, "material", &known, self.keeper)?);
        }
        if materials.is_empty() {
            return Err("a spray needs its material, such as captan; nothing was noted".to_owned());
        }
        let crop = args
            .crop
            .as_deref()
            .map(|crop| self.crop_of(crop, &args.at.tree))
            .transpose()?;
        let start = args.at_time.as_deref().map(time).transpose()?;
        let end = args.until.as_deref().map(time).transpose()?;
        if let (Some(start), Some(end)) = (start, end)
            && end < start
        {
            return Err(format!(
                "a spray from {} until {} cannot be; nothing was noted",
                start.format("%H:%M"),
                end.format("%H:%M")
            ));
        }
        let date = self.date(&args.at)?;
        let trees = self.trees(&args.at.tree, crop.as_deref())?;
        let crop = crop.or_else(|| {
            let of = |id: &String| {
                let trees = &self.facts.register.trees;
                trees
                    .iter()
                    .find(|tree| tree.id == *id)
                    .map(|tree| tree.crop.clone())
            };
            let crops: Vec<String> = trees.iter().filter_map(of).collect();
            let first = crops.first()?.clone();
            crops.iter().all(|crop| *crop == first).then_some(first)
        });
        let mut told = Vec::new();
        let (reentry_h, harvest_d) =
            self.intervals(args, &materials, crop.as_deref(), &mut told)?;
        let from = date.and_time(end.or(start).unwrap_or(END_OF_DAY));
        let reentry = reentry_h.and_then(|hours| {
            from.checked_add_signed(TimeDelta::minutes((hours * 60.0).round() as i64))
        });
        let harvest_from =
            harvest_d.and_then(|days| date.checked_add_days(Days::new(days.ceil() as u64)));
        if let Some(reentry) = reentry {
            let unsure = if end.or(start).is_none() {
                " (no time was given, so from midnight)"
            } else {
                ""
            };
            told.insert(
                0,
                format!(
                    "Keep people and animals out until {}{unsure}.",
                    reentry.format("%-d %b %H:%M")
                ),
            );
        }
        if let Some(first) = harvest_from {
            told.insert(
                usize::from(reentry.is_some()),
                format!("No picking before {}.", first.format("%-d %b %Y")),
            );
        }
        told.push("The label of the product in your hand decides both.".to_owned());
        let spray = Spray {
            materials,
            label: args.label.clone(),
            rate: args.rate.clone(),
            amount: args.amount.clone(),
            area: args.area.clone(),
            against: args.against.clone(),
            by: args.by.clone(),
            wind: args.wind.clone(),
            start,
            end,
            reentry,
            harvest_from,
        };
        let entry = Noted {
            date,
            trees,
            crop,
            note: args.at.say.clone(),
            what: Fact::Spray(spray),
        };
        Ok(Made { entry, told })
    }

    /// Hours to re-entry and days to harvest: from the keeper's label, or
    /// the longest of the list.
    pub(super) fn intervals(
        &self,
        args: &SprayArgs,
        ids: &[String],
        crop: Option<&str>,
        told: &mut Vec<String>,
    ) -> Result<(Option<f64>, Option<f64>), String> {
        let range = |value: Option<f64>, most: f64, what: &str| match value {
            Some(value) if !(0.0..=most).contains(&value) => Err(format!(
                "{what} of {value} cannot be: it lies between 0 and {most}; nothing was noted"
            )),
            value => Ok(value),
        };
        let hours = range(args.reentry, 1_440.0, "re-entry in hours")?;
        let days = range(args.harvest, 400.0, "days to harvest")?;
        let knowledge = &self.facts.knowledge;
        let materials: Vec<&Material> = ids
            .iter()
            .filter_map(|id| {
                knowledge
                    .materials
                    .iter()
                    .find(|material| material.id == *id)
            })
            .collect();
        let country = &self.facts.place.country;
        let crop = crop.and_then(|crop| knowledge.crop(crop));
        let mut take = |own: Option<f64>, listed: Option<Interval>, what: &str, flag: &str| match (
            own, listed,
        ) {
            (Some(own), Some(listed)) if own < listed.length => {
                told.push(format!(
                    "Your {what} is shorter than in the list here ({}): look at the label again.",
                    listed.from
                ));
                Some(own)
            }
            (Some(own), _) => Some(own),
            (None, Some(listed)) => {
                told.push(format!("The {what} is from the list ({}).", listed.from));
                Some(listed.length)
            }
            (None, None) => {
                told.push(format!(
                    "No {what} is in the list: read the label and note the spray with {flag}."
                ));
                None
            }
        };
        let reentry = intervals::reentry_hours(&materials, country);
        let harvest = intervals::harvest_days(&materials, crop, country);
        Ok((
            take(hours, reentry, "re-entry interval", "--reentry HOURS"),
            take(days, harvest, "days to harvest", "--harvest DAYS"),
        ))
    }
}

fn time(text: &str) -> Result<NaiveTime, String> {
    let text = text.trim();
    let forms = ["%H:%M", "%H.%M", "%I:%M%p", "%I:%M %p"];
    forms
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(text, form).ok())
        .ok_or_else(|| format!("\"{text}\" is no time; write 18:30; nothing was noted"))
}
