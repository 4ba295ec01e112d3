//! `setup`: asks for place, trees and ways to be told, or takes them as
//! options, and writes `place.toml` and `register.toml`. It never overwrites.

mod read;
mod write;

use super::{Common, Output, all, folders};
use crate::config::{self, knowledge, place, register};
use crate::facts::knowledge::Crop;
use crate::render::page;
use crate::units::Quantity;
use clap::Args;
use read::{degrees, hardiness, machine_zone, quantity, read_trees, time_zone, unit_system, yes};
use std::io::{BufRead, IsTerminal, Write};
use write::{place_text, register_text};

const EXAMPLES: &str = "\
Examples:
  budtide setup
  budtide setup --latitude 39.4 --longitude -79.0 --hardiness-zone 6b \\
      --tree \"3 apple York Imperial\" --tree \"2 peach\" --juniper \"60 ft\"

Coordinates are those of the orchard, in degrees; west and south are negative.
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
    junipers: Vec<String>,
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
    let answers = if std::io::stdin().is_terminal() && std::io::stderr().is_terminal() {
        let stdin = std::io::stdin();
        ask(setup, &crops, &mut stdin.lock(), &mut std::io::stderr())?
    } else {
        given(setup, &crops)?
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
    Ok(Output::Lines(lines))
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

// -- by options ----------------------------------------------------------------

fn given(setup: &Setup, crops: &[Crop]) -> Result<Answers, String> {
    let mut faults = Vec::new();
    let mut needed = |name: &str, value: &Option<String>| -> String {
        match value {
            Some(value) => value.clone(),
            None => {
                faults.push(format!("--{name} is missing"));
                String::new()
            }
        }
    };
    let latitude = needed("latitude", &setup.latitude);
    let longitude = needed("longitude", &setup.longitude);
    let zone = needed("hardiness-zone", &setup.hardiness_zone);
    if !faults.is_empty() {
        return Err(format!(
            "{}; or run `budtide setup` on a terminal, and it asks",
            faults.join(", ")
        ));
    }
    let mut faults = Vec::new();
    let latitude = degrees(&latitude, Quantity::Latitude).unwrap_or_else(|fault| {
        faults.push(format!("--latitude: {fault}"));
        0.0
    });
    let longitude = degrees(&longitude, Quantity::Longitude).unwrap_or_else(|fault| {
        faults.push(format!("--longitude: {fault}"));
        0.0
    });
    let mut checked = |name: &str, result: Result<String, String>| {
        result.unwrap_or_else(|fault| {
            faults.push(format!("--{name}: {fault}"));
            String::new()
        })
    };
    let zone = checked("hardiness-zone", hardiness(&zone));
    let elevation = setup
        .elevation
        .as_ref()
        .map(|text| checked("elevation", quantity(text, Quantity::Elevation)));
    let time_zone = checked(
        "time-zone",
        match &setup.time_zone {
            Some(name) => time_zone(name),
            None => machine_zone().ok_or_else(|| {
                "this machine does not tell its own; write --time-zone America/New_York".to_owned()
            }),
        },
    );
    let units = checked("units", unit_system(setup.units.as_deref().unwrap_or("us")));
    let country = checked(
        "country",
        place::country_code(setup.country.as_deref().unwrap_or("US")),
    );
    let junipers: Vec<String> = setup
        .junipers
        .iter()
        .map(|text| checked("juniper", quantity(text, Quantity::Distance)))
        .collect();
    let mut trees = Vec::new();
    for text in &setup.trees {
        match read_trees(text, crops) {
            Ok(read) => trees.push(read),
            Err(fault) => faults.push(format!("--tree \"{text}\": {fault}")),
        }
    }
    let mail = match &setup.email {
        None => None,
        Some(to) => match (&setup.mail_server, &setup.mail_password_file) {
            (Some(server), Some(file)) => Some(Mail {
                to: to.clone(),
                server: server.clone(),
                user: setup.mail_user.clone().unwrap_or_else(|| to.clone()),
                password_file: file.clone(),
            }),
            _ => {
                faults.push("--email needs --mail-server and --mail-password-file".to_owned());
                None
            }
        },
    };
    if !faults.is_empty() {
        return Err(faults.join("\n"));
    }
    Ok(Answers {
        name: setup
            .name
            .clone()
            .unwrap_or_else(|| "Home orchard".to_owned()),
        latitude,
        longitude,
        elevation,
        time_zone,
        zone,
        units,
        country,
        trees,
        junipers,
        mail,
        weather_contact: setup.weather_contact.clone(),
        desktop: !setup.no_desktop,
    })
}

// -- by asking -----------------------------------------------------------------

/// Asks for whatever was not given; a wrong answer is told and asked again.
fn ask(
    setup: &Setup,
    crops: &[Crop],
    input: &mut dyn BufRead,
    out: &mut dyn Write,
) -> Result<Answers, String> {
    let mut asker = Asker { input, out };
    asker.say("This asks for your place and trees, and writes two files that you can")?;
    asker.say("change in any editor. Enter takes what stands in [ ]. Ctrl-C leaves; nothing")?;
    asker.say("is written before the end.\n")?;
    let fine = |text: &str| Ok(text.to_owned());
    let name = asker.get(
        "Name of the orchard",
        &setup.name,
        Some("Home orchard"),
        fine,
    )?;
    let latitude = asker.get(
        "Latitude in degrees (north of the equator is positive)",
        &setup.latitude,
        None,
        |text| degrees(text, Quantity::Latitude),
    )?;
    let longitude = asker.get(
        "Longitude in degrees (the Americas are negative)",
        &setup.longitude,
        None,
        |text| degrees(text, Quantity::Longitude),
    )?;
    let elevation = asker.get(
        "Elevation, such as 980 ft or 300 m (empty: unknown)",
        &setup.elevation,
        Some(""),
        |text| match text.is_empty() {
            true => Ok(None),
            false => quantity(text, Quantity::Elevation).map(Some),
        },
    )?;
    let own = machine_zone();
    let time_zone = asker.get("Time zone", &setup.time_zone, own.as_deref(), time_zone)?;
    let zone = asker.get(
        "Hardiness zone, such as 6b (from the map of your country)",
        &setup.hardiness_zone,
        None,
        hardiness,
    )?;
    let units = asker.get("Units: us or metric", &setup.units, Some("us"), unit_system)?;
    let country = asker.get(
        "Country, two letters",
        &setup.country,
        Some("US"),
        place::country_code,
    )?;
    let mut trees = Vec::new();
    for text in &setup.trees {
        trees.push(read_trees(text, crops).map_err(|fault| format!("--tree \"{text}\": {fault}"))?);
    }
    if trees.is_empty() {
        asker.say("\nTrees and berries, one kind a line: how many, which crop, which cultivar.")?;
        asker.say("Such as: 3 apple York Imperial. An empty line ends.")?;
        loop {
            let read = asker.get("Trees", &None, Some(""), |text| match text.is_empty() {
                true => Ok(None),
                false => read_trees(text, crops).map(Some),
            })?;
            match read {
                Some(read) => trees.push(read),
                None => break,
            }
        }
    }
    let mut junipers = setup.junipers.clone();
    if junipers.is_empty() {
        asker.say("\nJunipers (red cedars) carry the rusts of apple and pear.")?;
        let near = asker.get(
            "How far is the nearest one, such as 60 ft (empty: none seen)",
            &None,
            Some(""),
            |text| match text.is_empty() {
                true => Ok(None),
                false => quantity(text, Quantity::Distance).map(Some),
            },
        )?;
        junipers.extend(near);
    }
    let mut weather_contact = setup.weather_contact.clone();
    if country == "US" && weather_contact.is_none() {
        asker.say("\nThe US weather service wants an address of whoever asks it. Without one,")?;
        asker.say("Open-Meteo alone is asked.")?;
        weather_contact = asker.get(
            "Your address for it (empty: do without)",
            &None,
            Some(""),
            |text| Ok((!text.is_empty()).then(|| text.to_owned())),
        )?;
    }
    asker.say("")?;
    let desktop = !setup.no_desktop
        && asker.get("Tell on the desktop: yes or no", &None, Some("yes"), yes)?;
    let mail = asker.mail(setup)?;
    Ok(Answers {
        name,
        latitude,
        longitude,
        elevation,
        time_zone,
        zone,
        units,
        country,
        trees,
        junipers,
        mail,
        weather_contact,
        desktop,
    })
}

struct Asker<'a> {
    input: &'a mut dyn BufRead,
    out: &'a mut dyn Write,
}

impl Asker<'_> {
    fn say(&mut self, line: &str) -> Result<(), String> {
        writeln!(self.out, "{line}").map_err(|error| error.to_string())
    }

    /// What was given, or an answer that passes.
    fn get<T>(
        &mut self,
        question: &str,
        given: &Option<String>,
        usual: Option<&str>,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> Result<T, String> {
        if let Some(text) = given {
            return read(text).map_err(|fault| format!("{question}: {fault}"));
        }
        loop {
            let shown = match usual {
                Some(usual) if !usual.is_empty() => format!(" [{usual}]"),
                _ => String::new(),
            };
            write!(self.out, "{question}{shown}: ")
                .and_then(|()| self.out.flush())
                .map_err(|error| error.to_string())?;
            let mut line = String::new();
            let count = self
                .input
                .read_line(&mut line)
                .map_err(|error| format!("cannot read your answer: {error}"))?;
            if count == 0 {
                return Err("\nleft before the end; nothing was written".to_owned());
            }
            let answer = match (line.trim(), usual) {
                ("", Some(usual)) => usual,
                ("", None) => {
                    self.say("  this one is needed")?;
                    continue;
                }
                (answer, _) => answer,
            };
            match read(answer) {
                Ok(value) => return Ok(value),
                Err(fault) => self.say(&format!("  {fault}"))?,
            }
        }
    }

    fn mail(&mut self, setup: &Setup) -> Result<Option<Mail>, String> {
        let to = self.get(
            "E-mail address to tell (empty: none)",
            &setup.email,
            Some(""),
            |text| match text.is_empty() {
                true => Ok(None),
                false if text.contains('@') && !text.contains(char::is_whitespace) => {
                    Ok(Some(text.to_owned()))
                }
                false => Err("that is no address; write it as jo@example.org".to_owned()),
            },
        )?;
        let Some(to) = to else {
            return Ok(None);
        };
        let plain = |text: &str| Ok(text.to_owned());
        let server = self.get(
            "Mail server (SMTP), such as mail.example.org",
            &setup.mail_server,
            None,
            plain,
        )?;
        let user = self.get("Your user name there", &setup.mail_user, Some(&to), plain)?;
        self.say(
            "The password is kept in a file of its own, which only you may read (chmod 600).",
        )?;
        let password_file = self.get(
            "Path of that file, from / or ~/",
            &setup.mail_password_file,
            Some("~/.config/budtide/mail-password"),
            |text| match text.starts_with('/') || text.starts_with("~/") {
                true => Ok(text.to_owned()),
                false => Err("write the whole path, from / or from ~/".to_owned()),
            },
        )?;
        Ok(Some(Mail {
            to,
            server,
            user,
            password_file,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let mut input: &[u8] = b"Hill \"Farm\"\n400\n39.4\n-79\n980\n980 ft\n\n6x\n6b\nmetric\n\n\
            3 apple York Imperial\n2 plums\n12 raspberries\n\n60 ft\njo@example.org\nmaybe\nno\njo@example.org\n\
            mail.example.org\n\n\n";
        let mut said = Vec::new();
        let answers = ask(&nothing(), &crops, &mut input, &mut said).unwrap();
        let said = String::from_utf8(said).unwrap();
        assert!(said.contains("it lies between -90 and 90"), "{said}");
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
        let answers = given(&setup, &crops).unwrap();
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
            given(&nothing(), &crops).unwrap_err(),
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
            given(&setup, &crops).unwrap_err(),
            "--latitude: \"39,4\": write a point, not a comma, as in 39.4\n\
             --longitude: longitude -790 ° cannot be: it lies between -180 and 180 °\n\
             --hardiness-zone: no zone \"six\"; zones run from 1a to 13b, each with a half step a or b\n\
             --tree \"2 pech\": no crop named \"pech\"; did you mean \"peach\"?\n\
             --email needs --mail-server and --mail-password-file"
        );
    }
}
