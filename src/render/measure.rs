//! What a model makes of the weather of a place, as a small table with bars.

use super::chart::fit;
use super::page::{WIDTH, wrap};

/// Columns of a bar.
const BAR: usize = 24;

/// Columns of the longest bar where there is little room.
const LEAST_BAR: usize = 6;

/// One line of a measured quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The span it is of: a month, a day, a period.
    pub label: String,
    /// Its figures, as the heads name them.
    pub figures: Vec<String>,
    /// What the bar shows; `None` for no bar.
    pub bar: Option<f64>,
    /// A remark behind it.
    pub remark: String,
}

/// A table of one model over one span.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// What was measured, by which rule, from when to when.
    pub title: String,
    /// Heads: the label's, then the figures'.
    pub heads: Vec<String>,
    /// The lines.
    pub lines: Vec<Line>,
    /// Remarks at the foot: sources, what is missing.
    pub notes: Vec<String>,
}

/// The table, at most 80 columns wide.
pub fn page(table: &Table) -> Vec<String> {
    let mut lines = wrap(&table.title, "", "  ");
    lines.push(String::new());
    let label = table
        .lines
        .iter()
        .map(|line| line.label.chars().count())
        .chain(table.heads.first().map(|head| head.chars().count()))
        .max()
        .unwrap_or(0);
    let width = |column: usize| {
        let figures = table
            .lines
            .iter()
            .filter_map(|line| line.figures.get(column));
        figures
            .map(|figure| figure.chars().count())
            .chain(table.heads.get(column + 1).map(|head| head.chars().count()))
            .max()
            .unwrap_or(0)
    };
    let row = |first: &str, figures: &[String]| {
        let mut text = fit(first, label);
        for (column, figure) in figures.iter().enumerate() {
            let lack = width(column).saturating_sub(figure.chars().count());
            text.push_str(&format!("  {}{figure}", " ".repeat(lack)));
        }
        text
    };
    if let Some((first, rest)) = table.heads.split_first() {
        lines.push(row(first, rest).trim_end().to_owned());
    }
    let most = table
        .lines
        .iter()
        .filter_map(|line| line.bar)
        .fold(0.0, f64::max);
    // Bars shrink where figures and remarks leave less room than a full one.
    let wide = |line: &Line| match line.remark.chars().count() {
        0 => 2,
        remark => remark + 4,
    };
    let barred = table.lines.iter().filter(|line| line.bar.is_some());
    let most_wide = barred
        .map(|line| row(&line.label, &line.figures).chars().count() + wide(line))
        .max()
        .unwrap_or(0);
    let bar = BAR.min(WIDTH.saturating_sub(most_wide)).max(LEAST_BAR);
    for line in &table.lines {
        let mut text = row(&line.label, &line.figures);
        if let Some(value) = line.bar.filter(|_| most > 0.0) {
            let length = (value / most * bar as f64).round().clamp(0.0, bar as f64) as usize;
            text.push_str("  ");
            text.push_str(&"#".repeat(length));
        }
        if !line.remark.is_empty() {
            text.push_str("  ");
            text.push_str(&line.remark);
        }
        lines.extend(wrap(text.trim_end(), "", "    "));
    }
    if table.lines.is_empty() {
        lines.push("Nothing in this span.".to_owned());
    }
    if !table.notes.is_empty() {
        lines.push(String::new());
        for note in &table.notes {
            lines.extend(wrap(note, "", "  "));
        }
    }
    lines
}
