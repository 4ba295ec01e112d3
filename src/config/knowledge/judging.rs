//! `config/judging.toml`: what verdicts and choices weigh.

use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{JudgedFigure, Judging, Weighed, Written, cultivar_key};
use crate::units::Quantity;

/// Reads the figures; each must be there.
pub fn read(shelf: &Shelf, known: &Known, faults: &mut Vec<Fault>) -> Judging {
    let mut found = Judging::default();
    let mut none = true;
    for file in shelf.folder("judging") {
        none = false;
        let reading = Reading { file, known };
        sheet(file, faults, |root| {
            for (weighed, key, written) in Weighed::ALL {
                let Some(table) = root.table(key) else {
                    if !root.has(key) {
                        root.fault(key, format!("is missing; write a table [{key}] with value"));
                    }
                    continue;
                };
                if weighed == Weighed::StrongStockYears {
                    let stocks = table.words("stocks");
                    found.strong_stocks = stocks.iter().map(|one| cultivar_key(one)).collect();
                }
                found
                    .figures
                    .extend(figure(&table, weighed, written, &reading));
            }
        });
    }
    if none {
        faults.push(Fault::whole(
            "judging.toml",
            "cannot be taken away: verdicts and choices need its figures; delete your empty file"
                .to_owned(),
        ));
    }
    found
}

fn figure(
    table: &Table<'_, '_>,
    weighed: Weighed,
    written: Written,
    reading: &Reading<'_>,
) -> Option<JudgedFigure> {
    let value = match written {
        Written::Distance => table.quantity("value", Quantity::Distance),
        Written::Share => table
            .quantity("value", Quantity::Humidity)
            .map(|percent| percent / 100.0),
        Written::Number(least, most) => table.number("value", least, most),
    };
    let say = table.text("say", "what it is for");
    let source = reading.source(table);
    table.finish();
    Some(JudgedFigure {
        weighed,
        value: value?,
        say: say?,
        source: source?,
    })
}
