//! `hindcast`: past springs forecast again with what was known then, so that a
//! keeper sees how far to trust the forecasts of the own place.

use super::Output;
use crate::facts::Facts;
use crate::facts::knowledge::Crop;
use crate::render::hindcast::{Row, page};
use crate::season::bloom::{self, Evidence};
use crate::season::ensemble::Climate;
use crate::season::hindcast::{self, ISSUES, Issue, Knows, Score, Summary};
use crate::season::{screening, stages};
use serde::Serialize;
use std::thread;

/// Years that are worked out side by side.
const WORKERS: usize = 2;

#[derive(Debug, Serialize)]
struct View {
    crop: String,
    years: usize,
    issued: String,
    forecasts: usize,
    rmse_days: f64,
    median_error_days: f64,
    bias_days: f64,
    coverage: f64,
    width_days: f64,
    crps_days: f64,
    mean_date_rmse_days: f64,
    mean_date_crps_days: f64,
}

/// Replays the record of every crop of the register, or of the one named.
pub fn run(facts: &Facts, crop: Option<&str>, as_json: bool) -> Result<Output, String> {
    let daily = facts
        .weather
        .daily
        .as_ref()
        .ok_or("there is no weather to replay; bring a file in with `budtide import FILE`")?;
    let climate = Climate::new(&screening::screen(daily).record, facts.place.latitude);
    let mut rows = Vec::new();
    for crop in crops(facts, crop) {
        let evidence = evidence(facts, &climate, crop);
        let years = observed_years(&evidence);
        let scores = replay(&climate, &evidence, &years);
        for issue in ISSUES {
            let of_issue = scores.iter().filter(|score| score.issue == issue);
            let summary = Summary::of(of_issue);
            if summary.forecasts > 0 {
                rows.push(Row {
                    crop: crop.name.clone(),
                    years: years.len(),
                    issue,
                    summary,
                });
            }
        }
        if scores.is_empty() {
            rows.push(Row {
                crop: crop.name.clone(),
                years: years.len(),
                issue: Issue::BeforeBloom(0),
                summary: Summary::default(),
            });
        }
    }
    if as_json {
        let views: Vec<View> = rows.iter().map(view).collect();
        let text = serde_json::to_string_pretty(&views)
            .map_err(|error| format!("no JSON can be made: {error}"))?;
        return Ok(Output::Json(text));
    }
    Ok(Output::Lines(page(&facts.place.name, &rows)))
}

fn view(row: &Row) -> View {
    let summary = &row.summary;
    let round = |value: f64| (value * 100.0).round() / 100.0;
    View {
        crop: row.crop.clone(),
        years: row.years,
        issued: row.issued(),
        forecasts: summary.forecasts,
        rmse_days: round(summary.rmse),
        median_error_days: round(summary.median_error),
        bias_days: round(summary.bias),
        coverage: round(summary.coverage),
        width_days: round(summary.width),
        crps_days: round(summary.crps),
        mean_date_rmse_days: round(summary.reference_rmse),
        mean_date_crps_days: round(summary.reference_crps),
    }
}

/// The crops of the register, each once.
fn crops<'f>(facts: &'f Facts, only: Option<&str>) -> Vec<&'f Crop> {
    facts
        .knowledge
        .crops
        .iter()
        .filter(|crop| facts.register.trees.iter().any(|tree| tree.crop == crop.id))
        .filter(|crop| only.is_none_or(|only| crop.id == only))
        .collect()
}

fn evidence(facts: &Facts, climate: &Climate, crop: &Crop) -> Evidence {
    Evidence {
        usual: bloom::usual_date(&facts.place, &facts.knowledge, &crop.id, None),
        own: stages::observations(crop, climate.southern(), i32::MAX, &facts.journal.stages),
        sisters: Vec::new(),
    }
}

/// The years in which full bloom was noted.
fn observed_years(evidence: &Evidence) -> Vec<i32> {
    let mut years: Vec<i32> = evidence
        .own
        .iter()
        .filter(|one| one.share == 1.0)
        .map(|one| one.year)
        .collect();
    years.sort_unstable();
    years.dedup();
    years
}

/// Every year stands alone, so the order in which they are worked out changes
/// nothing.
fn replay(climate: &Climate, evidence: &Evidence, years: &[i32]) -> Vec<Score> {
    let parts: Vec<&[i32]> = years.chunks(years.len().div_ceil(WORKERS).max(1)).collect();
    thread::scope(|scope| {
        let workers: Vec<_> = parts
            .into_iter()
            .map(|part| {
                scope.spawn(move || {
                    part.iter()
                        .flat_map(|&year| {
                            hindcast::year(climate, evidence, year, Knows::EarlierYears)
                        })
                        .collect::<Vec<Score>>()
                })
            })
            .collect();
        workers
            .into_iter()
            .flat_map(|worker| worker.join().unwrap_or_default())
            .collect()
    })
}
