//! Brown rot of stone-fruit blossom: share of blossoms blighted by wet hours
//! and temperature (Wilcox 1989, Phytopathology 79:530-534, sour cherry).

use super::Class;

/// A grid of shares by temperature and wet hours, read by straight lines in
/// both.
#[derive(Clone, Debug, PartialEq)]
pub struct IncidenceTable {
    temperatures_c: Vec<f64>,
    hours: Vec<f64>,
    /// One row per temperature, one value per wet hours; shares 0 to 1.
    shares: Vec<Vec<f64>>,
}

/// A share read from the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Incidence {
    /// Share of blossoms blighted, 0 to 1.
    pub share: f64,
    /// Temperature or hours lay outside the table; its edge stands in.
    pub at_the_edge: bool,
}

impl IncidenceTable {
    /// From rising temperatures (°C), rising wet hours and one row of shares
    /// (0 to 1) per temperature. `None` when the sizes do not fit, nothing is
    /// there, a figure is not finite or an axis does not rise.
    pub fn new(
        temperatures_c: Vec<f64>,
        hours: Vec<f64>,
        shares: Vec<Vec<f64>>,
    ) -> Option<IncidenceTable> {
        let rising = |axis: &[f64]| {
            !axis.is_empty()
                && axis.iter().all(|value| value.is_finite())
                && axis.windows(2).all(|pair| pair[0] < pair[1])
        };
        let fits = shares.len() == temperatures_c.len()
            && shares
                .iter()
                .all(|row| row.len() == hours.len() && row.iter().all(|share| share.is_finite()));
        (rising(&temperatures_c) && rising(&hours) && fits).then_some(IncidenceTable {
            temperatures_c,
            hours,
            shares,
        })
    }

    /// The share after so many wet hours at a mean temperature (°C). Outside
    /// the table its edge stands in and is marked: a warmer wet than the
    /// table's must not read as none. `None` for not a number.
    pub fn read(&self, mean_c: f64, wet_hours: f64) -> Option<Incidence> {
        let (row, along, edge_t) = place(&self.temperatures_c, mean_c)?;
        let (column, across, edge_h) = place(&self.hours, wet_hours)?;
        let at = |row: usize| -> Option<f64> {
            let row = self.shares.get(row)?;
            let low = *row.get(column)?;
            let high = row.get(column + 1).copied().unwrap_or(low);
            Some(low + across * (high - low))
        };
        let low = at(row)?;
        let high = at(row + 1).unwrap_or(low);
        Some(Incidence {
            share: low + along * (high - low),
            at_the_edge: edge_t || edge_h,
        })
    }
}

/// Index below a value on a rising axis, the share to the next, and whether
/// the value lay outside.
fn place(axis: &[f64], value: f64) -> Option<(usize, f64, bool)> {
    if value.is_nan() {
        return None;
    }
    let (first, last) = (*axis.first()?, *axis.last()?);
    let inside = value.clamp(first, last);
    let at = axis.partition_point(|one| *one <= inside).saturating_sub(1);
    let low = *axis.get(at)?;
    let width = axis.get(at + 1).map_or(0.0, |high| high - low);
    let share = if width > 0.0 {
        (inside - low) / width
    } else {
        0.0
    };
    Some((at, share, (value - inside).abs() > 1e-5))
}

/// Class of a share: below 10 % none, to 50 % an infection, above severe (our
/// cut, reference/disease-models.md 4.3).
pub fn class_of(share: f64) -> Class {
    if share > 0.5 {
        Class::Severe
    } else if share >= 0.1 {
        Class::Infection
    } else {
        Class::None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// reference/brown_rot_blossom_incidence.csv. "Minimal" at 3 h is taken as
    /// 1 %, "85-97" at 24 h as its middle: readings of ours.
    fn wilcox() -> IncidenceTable {
        IncidenceTable::new(
            vec![8.0, 12.0, 16.0, 20.0],
            vec![0.0, 3.0, 5.0, 10.0, 24.0],
            vec![
                vec![0.0, 0.01, 0.05, 0.21, 0.91],
                vec![0.0, 0.01, 0.07, 0.78, 0.91],
                vec![0.0, 0.01, 0.28, 0.90, 0.91],
                vec![0.0, 0.01, 0.72, 0.98, 0.98],
            ],
        )
        .unwrap()
    }

    /// model_check_values br-01 and br-02.
    #[test]
    fn shares_of_the_paper() {
        for (t, five, ten) in [
            (20.0, 0.72, 0.98),
            (16.0, 0.28, 0.90),
            (12.0, 0.07, 0.78),
            (8.0, 0.05, 0.21),
        ] {
            assert!((wilcox().read(t, 5.0).unwrap().share - five).abs() < 1e-9);
            assert!((wilcox().read(t, 10.0).unwrap().share - ten).abs() < 1e-9);
        }
        let between = wilcox().read(14.0, 7.5).unwrap();
        assert!((between.share - 0.5075).abs() < 1e-9);
        assert!(!between.at_the_edge);
        assert_eq!(wilcox().read(16.0, 0.0).unwrap().share, 0.0);
    }

    #[test]
    fn beyond_the_table_the_edge_is_marked() {
        let warm = wilcox().read(25.0, 10.0).unwrap();
        assert!(warm.at_the_edge && warm.share > 0.97);
        assert!(wilcox().read(5.0, 40.0).unwrap().at_the_edge);
        assert_eq!(wilcox().read(f64::NAN, 5.0), None);
        assert_eq!(IncidenceTable::new(vec![], vec![], vec![]), None);
        assert_eq!(
            IncidenceTable::new(vec![1.0], vec![1.0, 2.0], vec![vec![0.1]]),
            None
        );
        assert_eq!(class_of(0.72), Class::Severe);
        assert_eq!(class_of(0.28), Class::Infection);
        assert_eq!(class_of(f64::NAN), Class::None);
    }
}
