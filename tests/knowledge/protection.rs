//! Diseases, insects and materials.

use super::{faults, rows, shipped};
use budtide::facts::knowledge::{CropKind, DegreeDayMethod, HeatStart, InfectionModel, Standing};
use budtide::units::{c_to_f, f_to_c};

#[test]
fn juniper_rusts_live_on_the_apple_tribe_only() {
    let knowledge = shipped();
    let rusts: Vec<_> = knowledge
        .diseases
        .iter()
        .filter(|d| d.needs_juniper)
        .collect();
    assert_eq!(rusts.len(), 4);
    for rust in rusts {
        assert!(!rust.hosts.is_empty());
        for host in &rust.hosts {
            assert_eq!(
                knowledge.crop(host).unwrap().kind,
                CropKind::Pome,
                "{}",
                rust.id
            );
        }
    }
    let peach_rust = knowledge.disease("peach-rust").unwrap();
    assert!(!peach_rust.needs_juniper);
    let found = faults(&[(
        "diseases/odd-rust.toml",
        "name = \"odd rust\"\nlatin = \"Gymnosporangium\"\nhosts = [\"apple\", \"peach\"]\n\
         needs_juniper = true\nmodel = \"window only\"\nweather = \"wet\"\naction = \"none\"\n\
         look = \"odd\"\nstanding = \"from memory\"\n",
    )]);
    assert_eq!(
        found,
        "diseases/odd-rust.toml:3:9: hosts: juniper rusts live on the apple tribe only, and peach is not of it\n\
         \u{20}   3 | hosts = [\"apple\", \"peach\"]\n\
         \u{20}     |         ^^^^^^^^^^^^^^^^^^"
    );
}

#[test]
fn captan_fails_on_every_juniper_rust() {
    let knowledge = shipped();
    let captan = knowledge
        .materials
        .iter()
        .find(|m| m.id == "captan")
        .unwrap();
    for rust in knowledge.diseases.iter().filter(|d| d.needs_juniper) {
        assert!(captan.fails_on.contains(&rust.id), "{}", rust.id);
        assert!(!captan.controls.contains(&rust.id), "{}", rust.id);
    }
}

#[test]
fn wetness_tables_are_those_of_the_sources() {
    // Aldwinckle, Pearson and Seem 1980 for rust (most rows remembered, and
    // marked so); West Virginia University after MacHardy and Gadoury for scab.
    let knowledge = shipped();
    let rust = knowledge.disease("cedar-apple-rust").unwrap();
    let printed = rows("rust_infection_hours.csv");
    let printed: Vec<_> = printed
        .iter()
        .filter(|row| !row["hours_light"].is_empty())
        .collect();
    assert_eq!(rust.wetness.len(), printed.len());
    for (kept, row) in rust.wetness.iter().zip(&printed) {
        assert_eq!(kept.temperature_c, row["temp_c"].parse::<f64>().unwrap());
        assert_eq!(kept.light_hours, row["hours_light"].parse::<f64>().unwrap());
        assert_eq!(kept.severe_hours, row["hours_severe"].parse::<f64>().ok());
        if row["status"] == "from memory" {
            assert_eq!(kept.source.standing, Standing::FromMemory);
        }
    }
    let scab = knowledge.disease("apple-scab").unwrap();
    let printed = rows("scab_infection_hours.csv");
    assert_eq!(scab.wetness.len(), printed.len());
    for (kept, row) in scab.wetness.iter().zip(&printed) {
        let fahrenheit: f64 = row["temp_f"].parse().unwrap();
        assert!((kept.temperature_c - f_to_c(fahrenheit)).abs() < 1e-9);
        assert_eq!(
            kept.light_hours,
            row["hours_ascospore"].parse::<f64>().unwrap()
        );
    }
    // The tables that models of weather need are there.
    for disease in &knowledge.diseases {
        let table = matches!(
            disease.model,
            InfectionModel::JuniperRust | InfectionModel::QuinceRust | InfectionModel::AppleScab
        );
        assert!(!table || !disease.wetness.is_empty(), "{}", disease.id);
    }
}

#[test]
fn brown_rot_blossom_is_the_trial_of_1989() {
    // Wilcox 1989, Phytopathology 79:530 (abstract).
    let knowledge = shipped();
    let kept = &knowledge.disease("brown-rot").unwrap().incidence;
    let printed = rows("brown_rot_blossom_incidence.csv");
    assert_eq!(kept.len(), printed.len());
    for (kept, row) in kept.iter().zip(&printed) {
        assert_eq!(kept.temperature_c, row["temp_c"].parse::<f64>().unwrap());
        assert_eq!(kept.wet_hours, row["wet_hours"].parse::<f64>().unwrap());
        if let Ok(percent) = row["blighted_blossoms_pct"].parse::<f64>() {
            assert_eq!(kept.share, (percent / 100.0, percent / 100.0));
        }
    }
}

#[test]
fn fire_blight_figures_are_read_in_si() {
    // 198 F degree hours above 65 F = 110 C degree hours above 18.3 C; 80 F
    // degree days = 44.4 C (Massachusetts notes 2003, C values computed).
    let knowledge = shipped();
    let blight = knowledge.disease("fire-blight").unwrap();
    let figure = |name: &str| {
        let figure = blight.figure(name).unwrap();
        (figure.value, figure.unit, figure.source.standing)
    };
    let (value, unit, standing) = figure("degree hours needed");
    assert!((value - 110.0).abs() < 1e-9 && unit == "°C h" && standing == Standing::Seen);
    let (value, unit, _) = figure("blossom age limit, apple");
    assert!((value - 44.444).abs() < 1e-3 && unit == "°C d");
    let (value, unit, standing) = figure("symptoms after");
    assert!((value - 57.222).abs() < 1e-3 && unit == "°C d");
    assert_eq!(standing, Standing::FromMemory);
    assert!((figure("degree hours, base").0 - 18.333).abs() < 1e-3);
}

#[test]
fn insect_sums_keep_base_method_and_start() {
    let knowledge = shipped();
    let insect = |id: &str| knowledge.insects.iter().find(|i| i.id == id).unwrap();
    // Jones, Doerr and Brunner 2008: 96 C-days above 10 C from 1 January.
    let moth = &insect("codling-moth").events[0];
    assert_eq!(moth.heat, Some((96.0, 96.0)));
    assert_eq!((moth.rule.base_c, moth.rule.upper_c), (10.0, Some(31.1)));
    assert_eq!(moth.start, HeatStart::Calendar(1, 1));
    // University of Vermont 2008: 308 F-days above 50 F from petal fall.
    let curculio = &insect("plum-curculio").events[0];
    assert_eq!(curculio.heat, Some((308.0 / 1.8, 308.0 / 1.8)));
    assert_eq!(curculio.rule.method, DegreeDayMethod::SimpleAverage);
    assert_eq!(curculio.start, HeatStart::Stage("petal fall".into()));
    // Every row that tells sum, base and start is there with both.
    let mut kept: Vec<(i64, i64)> = knowledge
        .insects
        .iter()
        .flat_map(|insect| &insect.events)
        .filter_map(|event| {
            let (least, _) = event.heat?;
            Some((
                (least * 1.8).round() as i64,
                c_to_f(event.rule.base_c).round() as i64,
            ))
        })
        .collect();
    for row in &rows("insect_degree_days.csv") {
        let usable = !row["start"].starts_with("not stated")
            && !row["pest"].starts_with("bud stage")
            && !row["event"].starts_with("earlier value");
        let sum = row["dd_f"].parse::<f64>().ok().filter(|_| usable);
        let (Some(sum), Ok(base)) = (sum, row["base_f"].parse::<f64>()) else {
            continue;
        };
        // Sums printed in C were turned and rounded in the table.
        let at = kept.iter().position(|(kept_sum, kept_base)| {
            (*kept_sum - sum as i64).abs() <= 1 && (*kept_base - base as i64).abs() <= 1
        });
        let at = at.unwrap_or_else(|| panic!("{}: {}", row["pest"], row["event"]));
        kept.swap_remove(at);
    }
    assert!(kept.is_empty(), "{kept:?}");
}

#[test]
fn cautions_of_every_kind_are_there() {
    let knowledge = shipped();
    for id in [
        "label",
        "protective-gear",
        "bees",
        "drift",
        "mixes",
        "ladder",
        "saw",
        "digging",
        "burning",
        "food",
        "weather",
        "not-a-diagnosis",
    ] {
        let caution = knowledge.caution(id).unwrap();
        assert!(caution.short.chars().count() < 110, "{id}");
    }
}
