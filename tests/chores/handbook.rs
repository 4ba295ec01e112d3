//! Windows against handbooks: where the cited sources put the work for places
//! like these. The bounds are the sources' own words, widened to whole months
//! or halves where they are worded so.

use super::orchard::{CROPS, Orchard, Station, champion, date, newark, winchester};
use budtide::plan::{self, Plan, Task};
use budtide::season;
use chrono::{Datelike, NaiveDate};

/// Which end of a window a bound is for.
#[derive(Clone, Copy, Debug)]
enum End {
    Opens,
    Closes,
}
use End::{Closes, Opens};

/// Chore, crop (or none), end, earliest and latest month and day, source.
type Row = (
    &'static str,
    Option<&'static str>,
    End,
    (u32, u32),
    (u32, u32),
    &'static str,
);

/// The year in which each place is looked at, on 1 January.
const YEAR: i32 = 2012;

const APPLE: Option<&str> = Some("apple");
const PEACH: Option<&str> = Some("peach");

/// Bounds that hold from zone 5 to 7.
const ANYWHERE: [Row; 13] = [
    (
        "prune-pome",
        APPLE,
        Opens,
        (12, 20),
        (2, 10),
        "RUT-CANKER: January to early March; USU-FALL: late December to March",
    ),
    (
        "prune-pome",
        APPLE,
        Closes,
        (3, 1),
        (4, 30),
        "USU-PRUNE: February to late April; PSU-PRUNE: done by bloom",
    ),
    (
        "prune-stone",
        PEACH,
        Opens,
        (3, 15),
        (5, 5),
        "PSU-PEACH: just before bloom, not January to March before bud swell",
    ),
    (
        "prune-stone",
        PEACH,
        Closes,
        (4, 20),
        (6, 10),
        "PSU-PEACH: until two weeks after petal fall",
    ),
    (
        "prune-sweet-cherry",
        Some("sweet-cherry"),
        Opens,
        (6, 10),
        (8, 5),
        "PSU-PEACH: after fruiting or early July; OSU-CHERRY: August",
    ),
    (
        "prune-sweet-cherry",
        Some("sweet-cherry"),
        Closes,
        (8, 15),
        (8, 31),
        "OSU-CHERRY: August",
    ),
    (
        "gall-removal",
        None,
        Closes,
        (3, 10),
        (4, 30),
        "SALINA-2012: horns from early April in a very early spring; UKY-WIN: danger from leaf opening on",
    ),
    (
        "leaf-curl-fall",
        PEACH,
        Opens,
        (10, 20),
        (12, 20),
        "UC-PLC: after leaf fall, late November or December; VT-2023: note of 15 November",
    ),
    (
        "whitewash",
        None,
        Opens,
        (10, 5),
        (11, 30),
        "UNR-DFI: November; USU-FALL: late fall",
    ),
    (
        "leaf-litter-fall",
        None,
        Opens,
        (10, 20),
        (12, 5),
        "UMASS-SCAB: November; CLEMENTS-2009: at leaf fall",
    ),
    (
        "prune-apple-summer",
        APPLE,
        Opens,
        (7, 10),
        (8, 15),
        "USU-PRUNE: late July to early August",
    ),
    (
        "trap-maggot",
        APPLE,
        Opens,
        (5, 25),
        (7, 5),
        "NYS-AM: flies from the second half of June; UMN-AM: hang by 1 July",
    ),
    (
        "blackberry-tip",
        Some("blackberry"),
        Opens,
        (5, 25),
        (7, 5),
        "OSU-BRAM: late June and July",
    ),
];

/// Zone 5a, high plains.
const CHAMPION: [Row; 9] = [
    (
        "plant-spring",
        APPLE,
        Opens,
        (2, 20),
        (4, 20),
        "EXT-MI-850901: mid to late March, April, or as soon as the soil allows",
    ),
    (
        "plant-spring",
        APPLE,
        Closes,
        (4, 1),
        (5, 15),
        "UME-2411: April to early May",
    ),
    (
        "plant-container-spring",
        APPLE,
        Opens,
        (4, 25),
        (5, 31),
        "UME-2411: late May or early June",
    ),
    (
        "leaf-curl-late",
        PEACH,
        Closes,
        (2, 15),
        (4, 15),
        "KSU-OIL: peach by about 1 March in Kansas; UC-PLC: before bud swell",
    ),
    (
        "rust-cover",
        APPLE,
        Opens,
        (4, 10),
        (5, 20),
        "PSU11, dated 4 May 2011; UKY-WIN: from pink",
    ),
    (
        "rust-cover",
        APPLE,
        Closes,
        (5, 25),
        (7, 5),
        "ELL08: to the third cover, June",
    ),
    (
        "thin-pome",
        APPLE,
        Opens,
        (5, 10),
        (6, 10),
        "USU-THIN: northern Utah, over by 2 June; NCSU-THIN: nickel size",
    ),
    (
        "thin-pome",
        APPLE,
        Closes,
        (5, 28),
        (6, 30),
        "USU-THIN: northern Utah, over by 2 June",
    ),
    (
        "guards-fall",
        None,
        Opens,
        (9, 10),
        (11, 1),
        "MADISON: October note",
    ),
];

/// Zone 7a, Shenandoah Valley.
const WINCHESTER: [Row; 8] = [
    (
        "plant-spring",
        APPLE,
        Opens,
        (1, 15),
        (3, 20),
        "UK-SHELBY: early March to early April is best; planting.md: late winter in zone 7",
    ),
    (
        "plant-spring",
        APPLE,
        Closes,
        (3, 10),
        (4, 20),
        "UK-SHELBY: early April",
    ),
    (
        "leaf-curl-late",
        PEACH,
        Closes,
        (2, 10),
        (4, 5),
        "VT-2024: note of 27 February, second chance in late winter",
    ),
    (
        "rust-cover",
        APPLE,
        Opens,
        (3, 28),
        (4, 30),
        "VT10, VT19: Winchester notes of 12 and 13 April at pink to bloom",
    ),
    (
        "rust-cover",
        APPLE,
        Closes,
        (5, 15),
        (6, 20),
        "VT15b, VT20: Winchester notes of 19 May and 2 June, cover sprays",
    ),
    (
        "thin-pome",
        APPLE,
        Opens,
        (4, 25),
        (6, 1),
        "VT2023: Virginia, thinning from petal fall to 20 mm",
    ),
    (
        "thin-pome",
        APPLE,
        Closes,
        (5, 15),
        (6, 15),
        "NCSU-THIN: nickel size; some 40 days after bloom",
    ),
    (
        "plant-fall",
        APPLE,
        Opens,
        (10, 15),
        (12, 10),
        "planting.md: fall after leaf drop in zone 7",
    ),
];

/// Zone 7b with one year of weather: the zone's own months.
const NEWARK: [Row; 4] = [
    (
        "plant-spring",
        APPLE,
        Opens,
        (2, 15),
        (3, 31),
        "UK-SHELBY: early March to early April; planting.md: late winter in zone 7",
    ),
    (
        "rust-cover",
        APPLE,
        Opens,
        (3, 20),
        (5, 5),
        "UKY-WIN: from pink, April",
    ),
    (
        "leaf-curl-fall",
        PEACH,
        Opens,
        (10, 25),
        (12, 20),
        "UC-PLC: late November or December",
    ),
    (
        "prune-stone",
        PEACH,
        Opens,
        (3, 1),
        (4, 30),
        "PSU-PEACH: just before bloom",
    ),
];

fn year_ahead(station: Station, year: i32) -> (Plan, f64) {
    let today = date(year, 1, 1);
    let orchard = Orchard::new(station, &CROPS);
    let facts = orchard.on(today);
    let season = season::derive(&facts, today);
    let plan = plan::make(&facts, &season, today);
    let apple = season.groups.iter().find(|group| group.crop == "apple");
    // Days from the end of gall removal to the first pink of apple.
    let pink = season.stage(apple.unwrap(), year, "first pink").unwrap().0;
    let galls = task(&plan, "gall-removal", None, year);
    let gap = (pink.middle - galls.window.closes.spread.middle).num_days();
    (plan, gap as f64)
}

/// The task of a chore whose window closes in a year.
fn task<'p>(plan: &'p Plan, chore: &str, crop: Option<&str>, year: i32) -> &'p Task {
    plan.tasks
        .iter()
        .filter(|task| task.chore == chore && (crop.is_none() || task.crop.as_deref() == crop))
        .find(|task| task.window.closes.spread.middle.year() == year)
        .or_else(|| plan.tasks.iter().find(|task| task.chore == chore))
        .unwrap_or_else(|| panic!("no {chore} of {crop:?}"))
}

/// A month and day in the year nearest to a date.
fn near(day: NaiveDate, (month, of_month): (u32, u32)) -> NaiveDate {
    [day.year() - 1, day.year(), day.year() + 1]
        .into_iter()
        .filter_map(|year| NaiveDate::from_ymd_opt(year, month, of_month))
        .min_by_key(|other| (*other - day).num_days().abs())
        .unwrap()
}

fn hold(place: &str, plan: &Plan, year: i32, rows: &[Row], faults: &mut Vec<String>) {
    for (chore, crop, end, from, to, source) in rows {
        let task = task(plan, chore, *crop, year);
        let bound = match end {
            Opens => &task.window.opens,
            Closes => &task.window.closes,
        };
        let day = bound.spread.middle;
        let inside = near(day, *from) <= day && day <= near(day, *to);
        let line = format!(
            "{place:13} {chore:22} {end:?} {} ({} to {}), handbook {}-{} to {}-{}: {source}",
            day.format("%-d %b"),
            bound.spread.early.format("%-d %b"),
            bound.spread.late.format("%-d %b"),
            from.1,
            from.0,
            to.1,
            to.0
        );
        println!("{} {line}", if inside { "  " } else { "NO" });
        if !inside {
            faults.push(line);
        }
    }
}

#[test]
fn windows_fall_where_handbooks_put_them() {
    let mut faults = Vec::new();
    let (plan, gap) = year_ahead(champion(), YEAR);
    hold("Champion 5a", &plan, YEAR, &ANYWHERE, &mut faults);
    hold("Champion 5a", &plan, YEAR, &CHAMPION, &mut faults);
    assert!(gap > 7.0, "galls are off {gap} days before pink");
    if let Some(station) = winchester() {
        let (plan, gap) = year_ahead(station, YEAR);
        hold("Winchester 7a", &plan, YEAR, &ANYWHERE, &mut faults);
        hold("Winchester 7a", &plan, YEAR, &WINCHESTER, &mut faults);
        assert!(gap > 7.0, "galls are off {gap} days before pink");
    }
    let (plan, _) = year_ahead(newark(), 2014);
    hold("Newark 7b", &plan, 2014, &NEWARK, &mut faults);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
