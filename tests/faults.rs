//! Malformed `place.toml`, `register.toml` and `journal.toml`, each with the
//! complete text that the keeper gets.
//!
//! The expected texts stand in `tests/fixtures/faults/`. With
//! `BUDTIDE_WRITE_EXPECTED=1` they are written anew; read the difference
//! before you commit it: does each text name the place and the mend?

use budtide::config::fault::Fault;
use budtide::config::{self, journal, knowledge, place, register};
use budtide::facts::knowledge::Crop;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;
use tempfile::TempDir;

fn crops() -> &'static [Crop] {
    static CROPS: OnceLock<Vec<Crop>> = OnceLock::new();
    CROPS.get_or_init(|| knowledge::load_for(None, Some(&[])).unwrap().crops)
}

/// What `check` prints of the faults; "no fault" where there is none.
fn whole<T>(result: Result<T, Vec<Fault>>) -> String {
    let Err(faults) = result else {
        return "no fault\n".to_owned();
    };
    assert!(!faults.is_empty(), "refused without a fault");
    let mut text = String::new();
    for fault in &faults {
        assert!(!fault.message.is_empty());
        text.push_str(&format!("{fault}\n"));
    }
    // Nothing of a file may reach the terminal as a command to it.
    let obeyed = |c: char| c.is_control() && c != '\n';
    assert!(!text.contains(obeyed), "{text:?}");
    text
}

fn expect(name: &str, got: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/faults")
        .join(format!("{name}.txt"));
    if std::env::var_os("BUDTIDE_WRITE_EXPECTED").is_some() {
        fs::write(&path, got).unwrap();
    }
    let wanted = fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(got, wanted, "{}", path.display());
}

fn place_text(text: &str) -> String {
    whole(place::read(place::FILE, text, crops()))
}

fn register_text(text: &str) -> String {
    whole(register::read(register::FILE, text, crops()))
}

fn journal_text(text: &str) -> String {
    whole(journal::read(journal::FILE, text, crops()))
}

macro_rules! cases {
    ($read:ident: $($name:ident: $text:expr;)*) => {$(
        #[test]
        fn $name() {
            let text: String = $text.into();
            expect(stringify!($name), &$read(&text));
        }
    )*};
}

/// A sound place, with one of its lines put in the place of the one that
/// begins with `key`, or added below.
fn sound_place(key: &str, line: &str) -> String {
    let lines = [
        "name = \"Hill Farm\"",
        "latitude = 38.9",
        "longitude = -78.2",
        "elevation = \"850 ft\"",
        "time_zone = \"America/New_York\"",
        "hardiness_zone = \"6b\"",
    ];
    let begins = |one: &&str| one.split(' ').next() == Some(key);
    let mut text = String::new();
    for one in lines {
        text.push_str(if begins(&one) { line } else { one });
        text.push('\n');
    }
    if !lines.iter().any(begins) {
        text.push_str(line);
        text.push('\n');
    }
    text
}

fn tree(line: &str) -> String {
    format!("[[tree]]\nid = \"A1\"\ncrop = \"apple\"\n{line}\n")
}

fn juniper(line: &str) -> String {
    format!("[[juniper]]\nid = \"J1\"\nwhere = \"east fence\"\n{line}\n")
}

fn stage(crop: &str, stage: &str, date: &str) -> String {
    format!("[[stage]]\ndate = {date}\ncrop = \"{crop}\"\nstage = \"{stage}\"\n")
}

#[test]
fn the_sound_files_have_no_fault() {
    assert_eq!(
        place_text(&sound_place("soil", "soil = \"loam\"")),
        "no fault\n"
    );
    assert_eq!(register_text(&tree("planted = 2015")), "no fault\n");
    assert_eq!(register_text(&tree("planted = 2015-04-02")), "no fault\n");
    assert_eq!(
        register_text(&tree("planted = \"2015-04-02\"")),
        "no fault\n"
    );
    assert_eq!(
        register_text(&juniper("distance = \"300 ft\"")),
        "no fault\n"
    );
    assert_eq!(
        journal_text(&stage("Apple", "full bloom", "2024-04-20")),
        "no fault\n"
    );
    assert_eq!(journal_text(""), "no fault\n");
    assert_eq!(register_text(""), "no fault\n");
}

// --- place.toml: values ---

cases! { place_text:
    latitude_400: sound_place("latitude", "latitude = 400");
    latitude_of_the_south: sound_place("latitude", "latitude = -41.2");
    latitude_as_words: sound_place("latitude", "latitude = \"up north\"");
    latitude_with_minutes: sound_place("latitude", "latitude = \"38° 54' N\"");
    latitude_a_list: sound_place("latitude", "latitude = [38, 54]");
    latitude_infinite: sound_place("latitude", "latitude = inf");
    latitude_with_a_comma: sound_place("latitude", "latitude = 38,9");
    longitude_without_a_number: sound_place("longitude", "longitude =");
    elevation_without_unit: sound_place("elevation", "elevation = 850");
    elevation_without_unit_in_quotes: sound_place("elevation", "elevation = \"850\"");
    elevation_in_degrees: sound_place("elevation", "elevation = \"850 °F\"");
    elevation_as_a_table: sound_place("elevation", "elevation = { feet = 850 }");
    elevation_of_the_moon: sound_place("elevation", "elevation = \"900000 ft\"");
    zone_7c: sound_place("hardiness_zone", "hardiness_zone = \"7c\"");
    zone_a_number: sound_place("hardiness_zone", "hardiness_zone = 7");
    zone_without_half: sound_place("hardiness_zone", "hardiness_zone = \"7\"");
    time_zone_mars: sound_place("time_zone", "time_zone = \"Mars/Phobos\"");
    time_zone_without_underscore: sound_place("time_zone", "time_zone = \"America/NewYork\"");
    time_zone_by_letters: sound_place("time_zone", "time_zone = \"EDT\"");
    country_usa: sound_place("country", "country = \"USA\"");
    units_imperial: sound_place("units", "units = \"imperial\"");
    soil_unknown: sound_place("soil", "soil = \"peat\"");
    name_a_number: sound_place("name", "name = 7");
    name_empty: sound_place("name", "name = \"\"");
    country_blank: sound_place("country", "country = \"  \"");
    unknown_key_near: sound_place("x", "elevaton = \"850 ft\"");
    unknown_key_far: sound_place("x", "favourite_colour = \"green\"");
    unknown_key_with_control_characters: sound_place("x", "\"so\\u001b[31mil\" = \"loam\"");
}

// --- place.toml: tables ---

cases! { place_text:
    usual_bloom_02_30: sound_place("x", "[[usual_bloom]]\ncrop = \"apple\"\ndate = \"02-30\"");
    usual_bloom_with_year: sound_place("x", "[[usual_bloom]]\ncrop = \"apple\"\ndate = 2024-04-20");
    usual_bloom_in_words: sound_place("x", "[[usual_bloom]]\ncrop = \"apple\"\ndate = \"20 April\"");
    usual_bloom_without_date: sound_place("x", "[[usual_bloom]]\ncrop = \"apple\"\nsure = \"yes\"");
    usual_bloom_of_appel: sound_place("x", "[[usual_bloom]]\ncrop = \"appel\"\ndate = \"04-20\"");
    usual_bloom_single_brackets: sound_place("x", "[usual_bloom]\ncrop = \"apple\"\ndate = \"04-20\"");
    digest_at_25: sound_place("x", "[nudges]\ndigest_at = \"25:00\"");
    digest_at_seven_o_clock: sound_place("x", "[nudges]\ndigest_at = \"7am\"");
    digest_at_bare: sound_place("x", "[nudges]\ndigest_at = 07:00");
    digest_at_a_time_that_toml_reads: sound_place("x", "[nudges]\ndigest_at = 07:00:00");
    sprays_some: sound_place("x", "[nudges]\nsprays = \"some\"");
    sprays_false: sound_place("x", "[nudges]\nsprays = false");
    hours_per_week_200: sound_place("x", "[nudges]\nhours_per_week = 200");
    hours_per_week_in_quotes: sound_place("x", "[nudges]\nhours_per_week = \"6\"");
    frost_at_night_as_text: sound_place("x", "[nudges]\nfrost_at_night = \"true\"");
    nudges_as_text: sound_place("x", "nudges = \"daily\"");
    silent_chores_not_a_list: sound_place("x", "[nudges]\nsilent_chores = \"monthly-walk\"");
    nudge_keys_misspelt: sound_place("x", "[nudges]\ndigest = \"07:00\"\nquiet_form = \"21:30\"");
}

// --- the text as a whole ---

cases! { place_text:
    empty_place: "";
    only_comments: "# my place\n\n";
    missing_keys: "name = \"Hill Farm\"\nlatitude = 38.9\n";
    unclosed_string: "name = \"Hill Farm\nlatitude = 38.9\nlongitude = -78.2\n";
    text_without_quotes: sound_place("name", "name = Hill Farm");
    key_without_equals: sound_place("x", "soil \"loam\"");
    key_twice: sound_place("x", "latitude = 39.0");
    table_twice: sound_place("x", "[nudges]\nsprays = \"any\"\n[nudges]\nsprays = \"none\"");
    byte_order_mark: format!("\u{feff}{}", sound_place("name", "name = 7"));
    byte_order_mark_and_no_fault: format!("\u{feff}{}", sound_place("x", ""));
    windows_line_ends: sound_place("soil", "soil = \"laom\"").replace('\n', "\r\n");
    old_line_ends: sound_place("soil", "soil = \"laom\"").replace('\n', "\r");
    tabs_before_the_fault: sound_place("x", "[nudges]\n\t\tsprays\t=\t\"some\"");
    pictures_before_the_fault: sound_place("x", "nudges = { \"🍎🍐\" = 1, sprays = \"some\" }");
    accents_before_the_fault: sound_place("x", "nudges = { \"é\" = 1, sprays = \"some\" }");
    a_very_long_line: sound_place("x", &format!("nudges = {{ silent_chores = [{}7], sprays = \"any\" }}", "\"walk\", ".repeat(600)));
    a_very_long_value: sound_place("country", &format!("country = \"{}\"", "US".repeat(4_000)));
    a_very_long_key: sound_place("x", &format!("{} = 1", "k".repeat(4_000)));
    binary_junk: "\u{0}\u{1}\u{2}PK\u{3}\u{4}\u{fffd}\n\u{7f}";
    terminal_codes_in_a_value: sound_place("soil", "soil = \"\\u001b[2Jloam\"");
    terminal_codes_bare: sound_place("soil", "soil = \"\u{1b}[2Jloam\"");
    prose: "Dear grower,\nthe farm lies on a hill.\n";
    an_orchard_in_json: "{ \"name\": \"Hill Farm\" }\n";
    deep_nesting: format!("name = {}", "[".repeat(3_000));
}

// --- register.toml ---

cases! { register_text:
    crop_appel: "[[tree]]\nid = \"A1\"\ncrop = \"appel\"\n";
    crop_banana: "[[tree]]\nid = \"A1\"\ncrop = \"banana\"\n";
    crop_missing: "[[tree]]\nid = \"A1\"\ncultivar = \"Liberty\"\n";
    crop_a_number: "[[tree]]\nid = \"A1\"\ncrop = 3\n";
    id_twice: format!("{}{}", tree(""), tree(""));
    id_twice_in_other_case: format!("{}[[juniper]]\nid = \"a1\"\nwhere = \"fence\"\ndistance = \"60 ft\"\n", tree(""));
    id_a_number: "[[tree]]\nid = 1\ncrop = \"apple\"\n";
    id_empty: "[[tree]]\nid = \"\"\ncrop = \"apple\"\n";
    trees_without_anything: "[[tree]]\n\n[[tree]]\n";
    count_0: tree("count = 0");
    count_minus_1: tree("count = -1");
    count_a_billion: tree("count = 1e9");
    count_one_and_a_half: tree("count = 1.5");
    count_beyond_all_numbers: tree("count = 99999999999999999999999999");
    count_in_quotes: tree("count = \"3\"");
    count_not_a_number: tree("count = nan");
    planted_soon: tree("planted = \"soon\"");
    planted_year_in_quotes: tree("planted = \"2015\"");
    planted_3000: tree("planted = 3000");
    planted_a_list: tree("planted = [2015]");
    planted_30_february_bare: tree("planted = 2023-02-30");
    planted_30_february_quoted: tree("planted = \"2023-02-30\"");
    planted_month_13: tree("planted = 2023-13-01");
    planted_at_a_time: tree("planted = 2023-04-01T07:00:00");
    planted_month_first: tree("planted = 4/2/2015");
    status_heathy: tree("status = \"heathy\"");
    status_sick: tree("status = \"sick\"");
    spot_0: tree("spot = 0");
    row_a_number: tree("row = 1");
    notes_empty: tree("notes = \"\"");
    tree_key_misspelt: tree("cultvar = \"Liberty\"");
    tree_single_brackets: "[tree]\nid = \"A1\"\ncrop = \"apple\"\n";
    tree_list_of_texts: "tree = [\"A1\", \"A2\"]\n";
    trees_plural: "[[trees]]\nid = \"A1\"\ncrop = \"apple\"\n";
    distance_in_kilograms: juniper("distance = \"300 kg\"");
    distance_without_unit: juniper("distance = 300");
    distance_missing: juniper("removable = true");
    distance_below_zero: juniper("distance = \"-5 ft\"");
    distance_with_a_comma: juniper("distance = \"1,200 ft\"");
    removable_maybe: juniper("distance = \"60 ft\"\nremovable = \"maybe\"");
    wanted_bare_rooted: "[[wanted]]\ncrop = \"apple\"\nstock = \"bare rooted\"\n";
}

// --- journal.toml ---

cases! { journal_text:
    stage_that_the_crop_has_not: stage("apple", "shuck split", "2024-04-20");
    stage_misspelt: stage("apple", "full blom", "2024-04-20");
    stage_of_no_crop: stage("cherry", "full bloom", "2024-04-20");
    stage_without_a_date: "[[stage]]\ncrop = \"apple\"\nstage = \"full bloom\"\n";
    stage_on_30_february: stage("apple", "full bloom", "2024-02-30");
    stage_day_first: stage("apple", "full bloom", "\"20.04.2024\"");
    stage_date_a_number: stage("apple", "full bloom", "20240420");
    chore_without_a_task: "[[chore]]\ndate = 2024-04-20\ndone = \"yes\"\n";
    chore_date_in_words: "[[chore]]\ndate = \"yesterday\"\ntask = \"monthly-walk-2024\"\n";
    journal_of_other_things: "[[spray]]\ndate = 2024-04-20\n";
}

// --- the folder ---

/// What [`config::load`] says of a folder, its path shown as FOLDER.
fn load_text(files: &[(&str, &[u8])], folders: &[&str]) -> String {
    let dir = TempDir::new().unwrap();
    for (name, bytes) in files {
        fs::write(dir.path().join(name), bytes).unwrap();
    }
    for name in folders {
        fs::create_dir(dir.path().join(name)).unwrap();
    }
    let shown = dir.path().display().to_string();
    whole(config::load(dir.path())).replace(&shown, "FOLDER")
}

#[test]
fn folder_without_files() {
    expect("folder_without_files", &load_text(&[], &[]));
}

#[test]
fn folder_without_a_register() {
    let place = sound_place("x", "");
    let got = load_text(&[(place::FILE, place.as_bytes())], &[]);
    expect("folder_without_a_register", &got);
}

#[test]
fn place_is_a_folder() {
    let got = load_text(&[(register::FILE, b"")], &[place::FILE]);
    expect("place_is_a_folder", &got);
}

#[test]
fn place_is_not_utf_8() {
    let files: [(&str, &[u8]); 2] = [
        (place::FILE, b"name = \"Mus\xe9e\"\n"),
        (register::FILE, b""),
    ];
    expect("place_is_not_utf_8", &load_text(&files, &[]));
}

#[test]
fn faults_of_three_files_at_once() {
    let place = sound_place("latitude", "latitude = 400\nsole = \"loam\"");
    let register = tree("count = 0\nstatus = \"heathy\"");
    let journal = stage("apple", "full blom", "2024-13-01");
    let files = [
        (place::FILE, place.as_bytes()),
        (register::FILE, register.as_bytes()),
        (journal::FILE, journal.as_bytes()),
    ];
    expect("faults_of_three_files_at_once", &load_text(&files, &[]));
}
