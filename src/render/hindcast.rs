//! How well past springs were forecast, as a table.

use super::chart::fit;
use super::page::wrap;
use crate::season::hindcast::{Issue, Summary};

/// One crop at one day of issue.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The crop's name.
    pub crop: String,
    /// Years in which its full bloom was noted.
    pub years: usize,
    /// When the forecasts were issued.
    pub issue: Issue,
    /// What came of them; no forecasts where too little is known.
    pub summary: Summary,
}

impl Row {
    /// When the forecasts were issued, in words.
    pub fn issued(&self) -> String {
        match self.issue {
            Issue::SeasonDay(31) => "1 February".to_owned(),
            Issue::SeasonDay(59) => "1 March".to_owned(),
            Issue::SeasonDay(90) => "1 April".to_owned(),
            Issue::SeasonDay(day) => format!("day {day} of the season"),
            Issue::BeforeBloom(days) => format!("{days} days before"),
        }
    }
}

/// The table, 80 columns wide, with what its columns mean.
pub fn page(place: &str, rows: &[Row]) -> Vec<String> {
    let mut lines = vec![format!(
        "{place}: full bloom of past springs, forecast again"
    )];
    lines.extend(wrap(
        "Each forecast knew only the weather and the blooms of earlier years. Days; \"mean date\" is what the mean of the earlier blooms would have missed by.",
        "",
        "",
    ));
    lines.push(String::new());
    lines.push(format!(
        "{} {}  {:>2} {:>6} {:>6} {:>6} {:>8} {:>6} {:>9}",
        fit("crop", 14),
        fit("issued", 14),
        "n",
        "rmse",
        "median",
        "bias",
        "in window",
        "width",
        "mean date"
    ));
    let mut lacking = Vec::new();
    for row in rows {
        if row.summary.forecasts == 0 {
            lacking.push(format!("{} ({} noted)", row.crop, row.years));
            continue;
        }
        let one = &row.summary;
        lines.push(format!(
            "{} {}  {:>2} {:>6.1} {:>6.1} {:>+6.1} {:>7.0} % {:>6.1} {:>9.1}",
            fit(&row.crop, 14),
            fit(&row.issued(), 14),
            one.forecasts,
            one.rmse,
            one.median_error,
            one.bias,
            one.coverage * 100.0,
            one.width,
            one.reference_rmse
        ));
    }
    if !lacking.is_empty() {
        lines.push(String::new());
        lines.extend(wrap(
            &format!(
                "Too few blooms of earlier years to judge: {}. Four years with a full bloom noted are the least.",
                lacking.join(", ")
            ),
            "",
            "",
        ));
    }
    lines
}
