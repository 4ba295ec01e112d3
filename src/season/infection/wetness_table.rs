//! Hours of wetness that infect, by mean temperature: a table read by
//! straight lines, and nothing outside it.

use crate::facts::knowledge::WetnessRow;

/// Rows sorted by temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct WetnessTable {
    rows: Vec<Row>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Row {
    temperature_c: f64,
    light_hours: f64,
    severe_hours: Option<f64>,
}

/// Stored temperatures are rounded to 24 bits; the ends of the table hold
/// this much beyond themselves, °C.
const END_SLACK_C: f64 = 1e-5;

impl WetnessTable {
    /// From (mean temperature °C, hours to a light infection, hours to a
    /// severe one). Rows in any order; `None` when there is no row, a figure
    /// is not finite or two rows share a temperature.
    pub fn new(rows: impl IntoIterator<Item = (f64, f64, Option<f64>)>) -> Option<Self> {
        let mut rows: Vec<Row> = rows
            .into_iter()
            .map(|(temperature_c, light_hours, severe_hours)| Row {
                temperature_c,
                light_hours,
                severe_hours,
            })
            .collect();
        rows.sort_by(|a, b| a.temperature_c.total_cmp(&b.temperature_c));
        let finite = rows.iter().all(|row| {
            row.temperature_c.is_finite()
                && row.light_hours.is_finite()
                && row.severe_hours.is_none_or(f64::is_finite)
        });
        let apart = rows
            .windows(2)
            .all(|pair| pair[0].temperature_c < pair[1].temperature_c);
        (!rows.is_empty() && finite && apart).then_some(WetnessTable { rows })
    }

    /// From the rows of the knowledge; see [`WetnessTable::new`].
    pub fn from_rows(rows: &[WetnessRow]) -> Option<Self> {
        WetnessTable::new(
            rows.iter()
                .map(|row| (row.temperature_c, row.light_hours, row.severe_hours)),
        )
    }

    /// Hours to a light infection at a mean temperature, °C; `None` outside
    /// the table.
    pub fn light_hours(&self, mean_c: f64) -> Option<f64> {
        let (before, after, share) = self.around(mean_c)?;
        Some(before.light_hours + share * (after.light_hours - before.light_hours))
    }

    /// Hours to a severe infection; `None` outside the table, on a row without
    /// such a figure, and between a row without and a row with one.
    pub fn severe_hours(&self, mean_c: f64) -> Option<f64> {
        let (before, after, share) = self.around(mean_c)?;
        if share <= 0.0 {
            return before.severe_hours;
        }
        if share >= 1.0 {
            return after.severe_hours;
        }
        let (low, high) = (before.severe_hours?, after.severe_hours?);
        Some(low + share * (high - low))
    }

    /// The rows around a temperature and how far it lies between them.
    fn around(&self, mean_c: f64) -> Option<(Row, Row, f64)> {
        let (first, last) = (*self.rows.first()?, *self.rows.last()?);
        if !(mean_c >= first.temperature_c - END_SLACK_C
            && mean_c <= last.temperature_c + END_SLACK_C)
        {
            return None;
        }
        let at = self.rows.partition_point(|row| row.temperature_c <= mean_c);
        let before = at
            .checked_sub(1)
            .and_then(|at| self.rows.get(at))
            .copied()
            .unwrap_or(first);
        let after = self.rows.get(at).copied().unwrap_or(before);
        let width = after.temperature_c - before.temperature_c;
        let share = if width > 0.0 {
            ((mean_c - before.temperature_c) / width).clamp(0.0, 1.0)
        } else {
            0.0
        };
        Some((before, after, share))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::units::f_to_c;

    /// reference/rust_infection_hours.csv: the ends from Aldwinckle, Pearson &
    /// Seem 1980, the steps between from memory.
    pub fn rust() -> WetnessTable {
        WetnessTable::new([
            (2.0, 24.0, None),
            (4.0, 12.0, Some(24.0)),
            (6.0, 8.0, Some(10.0)),
            (8.0, 6.0, Some(7.0)),
            (10.0, 5.0, Some(6.0)),
            (12.0, 4.0, Some(5.0)),
            (14.0, 4.0, Some(5.0)),
            (16.0, 3.0, Some(5.0)),
            (18.0, 3.0, Some(4.0)),
            (20.0, 3.0, Some(4.0)),
            (22.0, 2.0, Some(4.0)),
            (24.0, 2.0, Some(4.0)),
        ])
        .unwrap()
    }

    /// reference/scab_infection_hours.csv, ascospores (West Virginia Univ.
    /// after MacHardy & Gadoury 1989), °F as printed.
    pub fn scab() -> WetnessTable {
        WetnessTable::new(
            [
                (34.0, 41.0),
                (36.0, 35.0),
                (37.0, 30.0),
                (39.0, 28.0),
                (41.0, 21.0),
                (43.0, 18.0),
                (45.0, 15.0),
                (46.0, 13.0),
                (48.0, 12.0),
                (50.0, 11.0),
                (52.0, 9.0),
                (54.0, 8.0),
                (55.0, 8.0),
                (57.0, 7.0),
                (59.0, 7.0),
                (61.0, 6.0),
                (75.0, 6.0),
                (77.0, 8.0),
                (79.0, 11.0),
            ]
            .map(|(f, hours)| (f_to_c(f), hours, None)),
        )
        .unwrap()
    }

    /// reference/algorithms.md 9.5.
    #[test]
    fn scab_hours_of_the_reference() {
        for (f, hours) in [
            (33.9, None),
            (34.0, Some(41.0)),
            (49.0, Some(11.5)),
            (56.0, Some(7.5)),
            (68.0, Some(6.0)),
            (78.0, Some(9.5)),
            (80.0, None),
        ] {
            let read = scab().light_hours(f_to_c(f));
            assert_eq!(read.map(|h| (h * 1e9).round() / 1e9), hours, "{f} °F");
        }
    }

    /// reference/algorithms.md 9.6.
    #[test]
    fn rust_hours_of_the_reference() {
        for (t, light, severe) in [
            (1.9, None, None),
            (2.0, Some(24.0), None),
            (3.0, Some(18.0), None),
            (5.0, Some(10.0), Some(17.0)),
            (11.0, Some(4.5), Some(5.5)),
            (24.0, Some(2.0), Some(4.0)),
            (25.0, None, None),
        ] {
            assert_eq!(rust().light_hours(t), light, "{t} °C light");
            assert_eq!(rust().severe_hours(t), severe, "{t} °C severe");
        }
        assert_eq!(rust().light_hours(f64::NAN), None);
    }

    #[test]
    fn a_table_must_make_sense() {
        assert_eq!(WetnessTable::new([]), None);
        assert_eq!(WetnessTable::new([(1.0, f64::NAN, None)]), None);
        assert_eq!(
            WetnessTable::new([(1.0, 2.0, None), (1.0, 3.0, None)]),
            None
        );
        let one = WetnessTable::new([(10.0, 5.0, Some(6.0))]).unwrap();
        assert_eq!(one.severe_hours(10.0), Some(6.0));
        assert_eq!(one.light_hours(10.1), None);
    }
}
