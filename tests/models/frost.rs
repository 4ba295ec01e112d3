//! The tables of critical temperatures, row by row: the curve through each
//! gives back its own figures.

use super::data::{Tally, cell, check_values, maybe, number};
use budtide::season::frost::Critical;

/// Washington State tables as carried by Michigan State and others: a tenth and
/// nine tenths at the printed temperatures. Every 10 % figure of the tree
/// crops lies between 14 and 28 °F, which guards against a dash read as minus.
#[test]
fn every_row_of_the_frost_tables() {
    let mut tally = Tally::default();
    let mut lone = 0;
    for row in check_values("frost_critical") {
        let (Some(ten_f), kind) = (maybe(&row, "t10_f"), cell(&row, "kind")) else {
            continue;
        };
        if kind != "spring" && kind != "spring-dta" {
            continue;
        }
        let c = |f: f64| (f - 32.0) / 1.8;
        let what = || format!("{} {}", cell(&row, "crop"), cell(&row, "stage"));
        let ninety_f = maybe(&row, "t90_f");
        let critical =
            Critical::new(c(ten_f), ninety_f.map(c)).unwrap_or_else(|| panic!("{}", what()));
        tally.row(what, critical.kill(c(ten_f)), 0.1, 1e-9);
        match ninety_f {
            Some(ninety_f) => {
                tally.row(what, critical.kill(c(ninety_f)), 0.9, 1e-9);
                tally.row(
                    what,
                    critical.temperature_for(0.9).unwrap(),
                    c(ninety_f),
                    1e-9,
                );
            }
            None => {
                lone += 1;
                assert!(critical.is_assumed());
            }
        }
        // °C beside °F, as printed to a tenth.
        tally.row(what, c(ten_f), number(&row, "t10_c"), 0.051);
        if let Some(ninety_c) = maybe(&row, "t90_c") {
            tally.row(what, critical.kill_90_c(), ninety_c, 0.051);
        }
        // Midpoint against a measured half kill where there is one.
        if let (Some(half_f), true) = (maybe(&row, "t50_f"), kind == "spring-dta") {
            tally.row(
                what,
                critical.temperature_for(0.5).unwrap() * 1.8 + 32.0,
                half_f,
                0.5,
            );
        }
    }
    assert_eq!(lone, 1, "apricot, first swelling, has no 90 % figure");
    tally.done("frost_critical", 300);
}
