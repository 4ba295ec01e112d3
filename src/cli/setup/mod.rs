//! `setup`: asks for place, trees and ways to be told, or takes them as
//! options, and writes `place.toml` and `register.toml`. It never overwrites.

mod asked; // by a conversation
mod given; // by options
mod read; // answers as one writes them
mod write; // the files

use super::{Common, Output, all, folders};
use crate::clock::Clock;
use crate::config::{self, knowledge, place, register};
use crate::facts::place::{Likely, Misplaced, misplaced};
use crate::render::page;
use chrono::Datelike;
use clap::Args;
use std::io::IsTerminal;
use write::{place_text, register_text};

const EXAMPLES: &str = "\
Examples:
  budtide setup
  budtide setup --latitude 39.4 --longitude -79.0 --hardiness-zone 6b \\
      --tree \"3 apple York Imperial\" --tree \"2 peach\" --juniper \"60 ft\"

Coordinates are those of the orchard, in degrees; west is negative.
Three digits after the point are near enough.";

/// What `setup` needs to know.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Setup {
    /// The orchard's name
    #[arg(long)]
    name: Option<String>,
    /// Degrees, north positive
    #[arg(long, allow_hyphen_values = true)]
    latitude: Option<String>,
    /// Degrees, east positive
    #[arg(long, allow_hyphen_values = true)]
    longitude: Option<String>,
    /// Such as "980 ft" or "300 m"
    #[arg(long)]
    elevation: Option<String>,
    /// Region and city, such as America/New_York; this machine's if left out
    #[arg(long)]
    time_zone: Option<String>,
    /// Such as 6b
    #[arg(long)]
    hardiness_zone: Option<String>,
    /// What you read: us or metric
    #[arg(long)]
    units: Option<String>,
    /// Two letters, such as US
    #[arg(long)]
    country: Option<String>,
    /// Trees of one kind: how many, crop, cultivar; may be repeated
    #[arg(long = "tree", value_name = "TREES")]
    trees: Vec<String>,
    /// Distance from the nearest apple or pear to junipers; may be repeated
    #[arg(long = "juniper", value_name = "DISTANCE")]
    junipers: Vec<String>,
    /// E-mail address that is told
    #[arg(long)]
    email: Option<String>,
    /// The mail server through which it goes
    #[arg(long, requires = "email")]
    mail_server: Option<String>,
    /// Your user name at the mail server; the address if left out
    #[arg(long, requires = "email")]
    mail_user: Option<String>,
    /// A file (chmod 600) with the password of the mail server
    #[arg(long, requires = "email")]
    mail_password_file: Option<String>,
    /// An address for the US weather service, which wants a contact
    #[arg(long, value_name = "ADDRESS")]
    weather_contact: Option<String>,
    /// No notifications on the desktop
    #[arg(long)]
    no_desktop: bool,
    /// The coordinates are right, though they do not fit the time zone
    #[arg(long)]
    sure: bool,
}

/// What was answered.
#[derive(Debug)]
struct Answers {
    name: String,
    latitude: f64,
    longitude: f64,
    elevation: Option<String>,
    time_zone: String,
    zone: String,
    units: String,
    country: String,
    trees: Vec<Trees>,
    junipers: Vec<Juniper>,
    mail: Option<Mail>,
    weather_contact: Option<String>,
    desktop: bool,
}

#[derive(Debug)]
struct Mail {
    to: String,
    server: String,
    user: String,
    password_file: String,
}

/// A juniper near.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Juniper {
    distance: String,
    /// Whether the keeper may cut it, if that was said.
    removable: Option<bool>,
}

/// Trees of one kind.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Trees {
    count: u32,
    crop: String,
    /// Whether each stands in the register by itself.
    apart: bool,
    cultivar: Option<String>,
}

/// Asks, writes and says what is next.
pub fn run(setup: &Setup, common: &Common) -> Result<Output, String> {
    let folders = folders(common)?;
    let files = [place::FILE, register::FILE].map(|name| folders.config.join(name));
    if let Some(there) = files.iter().find(|file| file.exists()) {
        // A path is never broken.
        return Err(format!(
            "{} is there already,\nand setup never overwrites: change it in an editor, then run \
             `budtide\ncheck`. To begin anew, move it away first.",
            there.display()
        ));
    }
    let crops = knowledge::load_for(None, Some(&[]))
        .map_err(|faults| all(&faults))?
        .crops;
    let year = Clock::Wall.today(chrono_tz::UTC).year();
    let answers = if std::io::stdin().is_terminal() && std::io::stderr().is_terminal() {
        let stdin = std::io::stdin();
        let mut out = std::io::stderr();
        asked::ask(setup, &crops, year, &mut stdin.lock(), &mut out)?
    } else {
        given::given(setup, &crops, year)?
    };
    let texts = [place_text(&answers), register_text(&answers, &crops)];
    // What it writes must be what it reads.
    place::read(place::FILE, &texts[0], &crops).map_err(|faults| all(&faults))?;
    register::read(register::FILE, &texts[1], &crops).map_err(|faults| all(&faults))?;
    write::both(&folders.config, &files, &texts)?;
    let mut lines = vec!["Your orchard is set up.".to_owned(), String::new()];
    for file in &files {
        lines.push(format!("  wrote {}", file.display()));
    }
    lines.push(String::new());
    lines.extend(next_steps(common, &answers));
    config::load(&folders.config).map_err(|faults| all(&faults))?;
    let value = serde_json::json!({
        "place": answers.name,
        "written": files.each_ref().map(|file| file.display().to_string()),
        "trees": answers.trees.iter().map(|trees| trees.count).sum::<u32>(),
        "junipers": answers.junipers.len(),
    });
    Ok(Output::Both { lines, value })
}

fn next_steps(common: &Common, answers: &Answers) -> Vec<String> {
    let folder = match &common.folder {
        Some(folder) => format!(" --folder {}", folder.display()),
        None => String::new(),
    };
    let mut lines = vec!["Next:".to_owned()];
    let mut step = |tail: &str, why: &str| {
        let command = format!("budtide{folder} {tail}");
        match command.len() <= 32 {
            true => lines.push(format!("  {command:<33}{why}")),
            false if command.len() + 2 <= page::WIDTH => {
                lines.extend([format!("  {command}"), format!("  {:33}{why}", "")]);
            }
            // The shell goes on in the next line.
            false => lines.extend([
                format!("  budtide{folder} \\"),
                format!("      {tail:<29}{why}"),
            ]),
        }
    };
    step("check", "are the files in order?");
    step("calendar", "the coming year");
    if answers.mail.is_some() || answers.desktop {
        step("test-message", "one message by every way");
    }
    step("service install", "be told in time, by itself");
    lines
}

/// Why coordinates cannot lie in a time zone, and what was likely meant.
fn doubt(latitude: f64, longitude: f64, zone: &str, year: i32) -> Option<String> {
    let known = place::zone_named(zone).ok()?;
    let wrong = misplaced(latitude, longitude, known, year)?;
    Some(said(&wrong, latitude, longitude, zone))
}

/// The same in words.
pub(super) fn said(wrong: &Misplaced, latitude: f64, longitude: f64, zone: &str) -> String {
    match wrong {
        Misplaced::Longitude { hours, likely } => {
            let meant = match likely {
                Some(Likely::OtherSign) => format!(
                    "; is it {}? West of Greenwich, as in all of the Americas, it is negative",
                    -longitude
                ),
                Some(Likely::Swapped) => {
                    "; latitude and longitude seem to have changed places".to_owned()
                }
                None => String::new(),
            };
            format!(
                "longitude {longitude} is {hours:.0} hours of sun away from the clocks of \
                 {zone}{meant}"
            )
        }
        Misplaced::Latitude => format!(
            "the clocks of {zone} go ahead when it is winter at latitude {latitude}: one of the two \
             is wrong"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::asked::ask;
    use super::given::given;
    use super::read::read_trees;
    use super::*;
    use crate::facts::knowledge::Crop;

    fn crops() -> Vec<Crop> {
        knowledge::load_for(None, Some(&[])).unwrap().crops
    }

    fn nothing() -> Setup {
        Setup {
            name: None,
            latitude: None,
            longitude: None,
            elevation: None,
            time_zone: Some("America/New_York".to_owned()),
            hardiness_zone: None,
            units: None,
            country: None,
            trees: Vec::new(),
            junipers: Vec::new(),
            email: None,
            mail_server: None,
            mail_user: None,
            mail_password_file: None,
            weather_contact: None,
            no_desktop: false,
            sure: false,
        }
    }

    #[test]
    fn trees_are_read_as_people_write_them() {
        let crops = crops();
        let read = |text: &str| read_trees(text, &crops);
        let of = |count, crop: &str, apart, cultivar: Option<&str>| {
            Ok(Trees {
                count,
                crop: crop.to_owned(),
                apart,
                cultivar: cultivar.map(str::to_owned),
            })
        };
        assert_eq!(
            read("3 apple York Imperial"),
            of(3, "apple", true, Some("York Imperial"))
        );
        assert_eq!(read("apples"), of(1, "apple", true, None));
        assert_eq!(
            read("2x Sweet Cherries 'Stella'"),
            of(2, "sweet-cherry", true, Some("Stella"))
        );
        assert_eq!(read("40 raspberries"), of(40, "raspberry", false, None));
        assert_eq!(
            read("3 appel").unwrap_err(),
            "no crop named \"appel\"; did you mean \"apple\"?"
        );
        assert_eq!(
            read("apple 3").unwrap_err(),
            "the number goes first: \"3 apple\"; if it is part of the name, write \"1 apple 3\""
        );
        assert_eq!(
            read("3 apple York Imperial, 2 peach").unwrap_err(),
            "one kind at a time; give \"3 apple York Imperial\" and \"2 peach\" each by itself"
        );
        assert_eq!(
            read("0 apple").unwrap_err(),
            "\"0\" is no number from 1 to 1000"
        );
        assert_eq!(
            read("7").unwrap_err(),
            "names no crop; write it as 3 apple York Imperial"
        );
    }

    #[test]
    fn a_conversation_ends_in_files_that_are_read() {
        let crops = crops();
        let mut input: &[u8] = b"Hill \"Farm\"\n400\n39.4\n79\n980\n980 ft\n\nno\n39.4\n-79\n6x\n6b\nmetric\n\n\
            3 apple York Imperial\n2 plums\n12 raspberries\n\n60 ft\n\njo@example.org\nmaybe\nno\njo@example.org\n\
            mail.example.org\n\n\n";
        let mut said = Vec::new();
        let answers = ask(&nothing(), &crops, 2026, &mut input, &mut said).unwrap();
        let said = String::from_utf8(said).unwrap();
        assert!(said.contains("it lies between -90 and 90"), "{said}");
        let flat = said.replace("\n  ", " ");
        assert!(flat.contains("is it -79? West of Greenwich"), "{said}");
        assert!(said.contains("no zone \"6x\""), "{said}");
        assert!(said.contains("answer yes or no"), "{said}");
        let text = place_text(&answers);
        let read = place::read_all(place::FILE, &text, &crops).unwrap();
        assert_eq!(read.place.name, "Hill \"Farm\"");
        assert!(!read.delivery.desktop);
        assert_eq!(read.delivery.email.unwrap().to, ["jo@example.org"]);
        let text = register_text(&answers, &crops);
        let register = register::read(register::FILE, &text, &crops).unwrap();
        assert_eq!(register.junipers.len(), 1);
        // Nobody said whose it is.
        assert_eq!(register.junipers[0].removable, None);
        assert!((read.place.longitude + 79.0).abs() < 1e-9);
        assert!(register.trees.iter().any(|tree| tree.count == 12));
    }

    #[test]
    fn an_orchard_without_trees_yet_is_read_too() {
        let crops = crops();
        let setup = Setup {
            latitude: Some("39.4".to_owned()),
            longitude: Some("-79".to_owned()),
            hardiness_zone: Some("6B".to_owned()),
            ..nothing()
        };
        let answers = given(&setup, &crops, 2026).unwrap();
        let text = register_text(&answers, &crops);
        assert!(
            register::read(register::FILE, &text, &crops)
                .unwrap()
                .trees
                .is_empty()
        );
        place::read(place::FILE, &place_text(&answers), &crops).unwrap();
    }

    #[test]
    fn all_that_is_wrong_is_told_at_once() {
        let crops = crops();
        assert_eq!(
            given(&nothing(), &crops, 2026).unwrap_err(),
            "--latitude is missing, --longitude is missing, --hardiness-zone is missing; or run \
             `budtide setup` on a terminal, and it asks"
        );
        let setup = Setup {
            latitude: Some("39,4".to_owned()),
            longitude: Some("-790".to_owned()),
            hardiness_zone: Some("six".to_owned()),
            trees: vec!["2 pech".to_owned()],
            email: Some("jo@example.org".to_owned()),
            ..nothing()
        };
        assert_eq!(
            given(&setup, &crops, 2026).unwrap_err(),
            "--latitude: \"39,4\": write a point, not a comma, as in 39.4\n\
             --longitude: longitude -790 ° cannot be: it lies between -180 and 180 °\n\
             --hardiness-zone: no zone \"six\"; zones run from 1a to 13b, each with a half step a or b\n\
             --tree \"2 pech\": no crop named \"pech\"; did you mean \"peach\"?\n\
             --email needs --mail-server and --mail-password-file"
        );
    }

    #[test]
    fn coordinates_that_do_not_fit_the_clock_are_refused_with_the_mend() {
        let crops = crops();
        let at = |latitude: &str, longitude: &str, sure| {
            let setup = Setup {
                latitude: Some(latitude.to_owned()),
                longitude: Some(longitude.to_owned()),
                hardiness_zone: Some("6b".to_owned()),
                sure,
                ..nothing()
            };
            let told = given(&setup, &crops, 2026).map(|answers| answers.longitude);
            told.map_err(|text| text.replace("\n  ", " "))
        };
        assert_eq!(
            at("39.4", "79", false).unwrap_err(),
            "longitude 79 is 10 hours of sun away from the clocks of America/New_York; is it -79? \
             West of Greenwich, as in all of the Americas, it is negative. If all three are \
             right, say so with --sure."
        );
        assert!(
            at("-39.4", "-79", false)
                .unwrap_err()
                .contains("lies south of the equator")
        );
        assert!(
            at("-79", "39.4", false)
                .unwrap_err()
                .contains("changed places")
        );
        assert!(
            at("-39.4", "-79", true)
                .unwrap_err()
                .contains("is it 39.4, or")
        );
        assert_eq!(at("39.4", "79", true), Ok(79.0));
        assert_eq!(at("39.4", "-79", false), Ok(-79.0));
    }
}
