//! `setup`: asks for place, trees and ways to be told, or takes them as
//! options, and writes `place.toml` and `register.toml`. It never overwrites.

use super::{Common, Output, all, folders};
use crate::config::fault::hint;
use crate::config::{self, knowledge, place, register};
use crate::facts::knowledge::Crop;
use crate::facts::place::HardinessZone;
use crate::render::page;
use crate::units::Quantity;
use clap::Args;
use std::collections::HashMap;
use std::fs::OpenOptions;
use std::io::{BufRead, IsTerminal, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

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
    write_both(&folders.config, &files, &texts)?;
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

/// Both files, or neither.
fn write_both(folder: &Path, files: &[PathBuf; 2], texts: &[String; 2]) -> Result<(), String> {
    std::fs::create_dir_all(folder)
        .map_err(|error| format!("cannot make the folder {}: {error}", folder.display()))?;
    let mut written: Vec<&Path> = Vec::new();
    for (file, text) in files.iter().zip(texts) {
        let done = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(file)
            .and_then(|mut open| {
                written.push(file);
                open.write_all(text.as_bytes())?;
                open.sync_all()
            });
        if let Err(error) = done {
            for file in written {
                let _ = std::fs::remove_file(file);
            }
            return Err(format!(
                "cannot write {}: {error}; nothing was written",
                file.display()
            ));
        }
    }
    Ok(())
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
            Some(name) => zone_named(name),
            None => machine_zone().ok_or_else(|| {
                "this machine does not tell its own; write --time-zone America/New_York".to_owned()
            }),
        },
    );
    let units = checked("units", unit_system(setup.units.as_deref().unwrap_or("us")));
    let country = checked(
        "country",
        country_code(setup.country.as_deref().unwrap_or("US")),
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
    let time_zone = asker.get("Time zone", &setup.time_zone, own.as_deref(), zone_named)?;
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
        country_code,
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

// -- reading answers -------------------------------------------------------------

fn degrees(text: &str, quantity: Quantity) -> Result<f64, String> {
    let text = text.trim().replace('\u{2212}', "-");
    if text.contains(',') && !text.contains('.') {
        return Err(format!(
            "\"{text}\": write a point, not a comma, as in 39.4"
        ));
    }
    quantity.read(&text).map_err(|error| error.to_string())
}

fn quantity(text: &str, quantity: Quantity) -> Result<String, String> {
    quantity
        .read(text)
        .map(|_| text.trim().to_owned())
        .map_err(|error| error.to_string())
}

fn hardiness(text: &str) -> Result<String, String> {
    HardinessZone::read(text)
        .map(|_| text.trim().to_ascii_lowercase())
        .ok_or_else(|| format!("no zone \"{text}\"; zones run from 1a to 13b, each with a or b"))
}

fn zone_named(name: &str) -> Result<String, String> {
    if name.parse::<chrono_tz::Tz>().is_ok() {
        return Ok(name.to_owned());
    }
    let zones: Vec<&str> = chrono_tz::TZ_VARIANTS
        .iter()
        .map(|zone| zone.name())
        .collect();
    Err(format!(
        "no time zone named \"{name}\"{}",
        match hint(name, &zones) {
            near if near.is_empty() =>
                "; write region and city, such as America/New_York".to_owned(),
            near => near,
        }
    ))
}

/// The zone that this machine is set to, if it says so in the usual ways.
fn machine_zone() -> Option<String> {
    // A machine on UTC was never told where it stands.
    let named = |text: &str| {
        zone_named(text)
            .ok()
            .filter(|name| !name.ends_with("UTC") && !name.ends_with("GMT"))
    };
    if let Some(name) = std::env::var("TZ").ok().as_deref().and_then(named) {
        return Some(name);
    }
    let link = std::fs::read_link("/etc/localtime").ok()?;
    let (_, name) = link.to_str()?.split_once("zoneinfo/")?;
    named(name)
}

fn unit_system(text: &str) -> Result<String, String> {
    match text.to_ascii_lowercase().as_str() {
        word @ ("us" | "metric") => Ok(word.to_owned()),
        _ => Err(format!("\"{text}\" is neither us nor metric")),
    }
}

fn country_code(text: &str) -> Result<String, String> {
    match text.len() == 2 && text.chars().all(|c| c.is_ascii_alphabetic()) {
        true => Ok(text.to_ascii_uppercase()),
        false => Err(format!("\"{text}\" is not two letters, such as US")),
    }
}

fn yes(text: &str) -> Result<bool, String> {
    match text.to_ascii_lowercase().as_str() {
        "y" | "yes" => Ok(true),
        "n" | "no" => Ok(false),
        _ => Err("answer yes or no".to_owned()),
    }
}

/// `3 apple York Imperial`, `apple`, `2 sweet cherries`.
fn read_trees(text: &str, crops: &[Crop]) -> Result<Trees, String> {
    if let Some((first, rest)) = text.split_once(',') {
        return Err(format!(
            "one kind at a time; give \"{}\" and \"{}\" each by itself",
            first.trim(),
            rest.trim()
        ));
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let counted = text.trim().starts_with(|c: char| c.is_ascii_digit());
    if let (false, Some((last, rest))) = (counted, words.split_last())
        && last.parse::<u32>().is_ok()
        && !rest.is_empty()
    {
        let kind = rest.join(" ");
        return Err(format!(
            "the number goes first: \"{last} {kind}\"; if it is part of the name, write \
             \"1 {kind} {last}\""
        ));
    }
    let (count, words) = match words.split_first() {
        Some((first, rest)) if first.starts_with(|c: char| c.is_ascii_digit()) => {
            let count: u32 = first
                .trim_end_matches(['x', 'X'])
                .parse()
                .ok()
                .filter(|count| (1..=1000).contains(count))
                .ok_or_else(|| format!("\"{first}\" is no number from 1 to 1000"))?;
            (count, rest)
        }
        _ => (1, words.as_slice()),
    };
    if words.is_empty() {
        return Err("names no crop; write it as 3 apple York Imperial".to_owned());
    }
    // The longest name first: "sweet cherry" before "cherry".
    for length in (1..=words.len().min(4)).rev() {
        let name = words[..length].join(" ");
        if let Some(crop) = crop_named(&name, crops) {
            let cultivar = words[length..].join(" ");
            if cultivar.parse::<u32>().is_ok() {
                return Err(format!(
                    "\"{cultivar}\" is no cultivar; write it as {count} {name} York Imperial"
                ));
            }
            let cultivar = cultivar.trim_matches(['"', '\'', '\u{2018}', '\u{2019}']);
            return Ok(Trees {
                count,
                crop: crop.id.clone(),
                apart: crop.plant == "tree" && count <= 50,
                cultivar: (!cultivar.is_empty()).then(|| cultivar.to_owned()),
            });
        }
    }
    let ids: Vec<&str> = crops.iter().map(|crop| crop.id.as_str()).collect();
    let near = match hint(words[0], &ids) {
        far if far.is_empty() => format!("; known are {}", ids.join(", ")),
        near => near,
    };
    Err(format!("no crop named \"{}\"{near}", words[0]))
}

fn crop_named<'c>(name: &str, crops: &'c [Crop]) -> Option<&'c Crop> {
    crops.iter().find(|crop| {
        [&crop.id, &crop.name, &crop.plural]
            .into_iter()
            .chain(&crop.also)
            .any(|known| known.eq_ignore_ascii_case(name))
    })
}

// -- writing ---------------------------------------------------------------------

/// A text in quotes. What JSON writes, TOML reads, but for the one control
/// character that JSON lets stand.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text.replace('\u{7f}', " ")).to_string()
}

fn place_text(answers: &Answers) -> String {
    let mut text = format!(
        "# Where the orchard stands, and how its keeper wants to be told. After a\n\
         # change run `budtide check`; the service takes it up by itself.\n\n\
         name = {}\n\
         latitude = {:?}            # degrees, north positive\n\
         longitude = {:?}           # degrees, east positive\n",
        quoted(&answers.name),
        answers.latitude,
        answers.longitude
    );
    match &answers.elevation {
        Some(elevation) => text.push_str(&format!("elevation = {}\n", quoted(elevation))),
        None => text.push_str("#elevation = \"980 ft\"      # corrects weather from elsewhere\n"),
    }
    text.push_str(&format!(
        "time_zone = {}\n\
         hardiness_zone = {}\n\
         units = {}               # what you read: \"us\" or \"metric\"\n\
         country = {}\n\
         #soil = \"loam\"             # \"sand\", \"loam\" or \"clay\"\n\n\
         # Full bloom in a usual year, if you remember it: dates get much better by it.\n\
         #[[usual_bloom]]\n\
         #crop = \"apple\"\n\
         #date = \"04-28\"            # month and day\n\n\
         [nudges]\n\
         digest_at = \"07:00\"        # one message a day at this hour, local time\n\
         quiet_from = \"21:30\"       # no messages from here ...\n\
         quiet_until = \"06:30\"      # ... until here\n\
         frost_at_night = false     # true: a frost warning may break the quiet\n\
         hours_per_week = 6         # your time for the orchard\n\
         sprays = \"any\"             # \"any\", \"organic\" or \"none\"\n\n\
         [desktop]\n\
         show = {}\n",
        quoted(&answers.time_zone),
        quoted(&answers.zone),
        quoted(&answers.units),
        quoted(&answers.country),
        answers.desktop,
    ));
    match &answers.weather_contact {
        Some(contact) => {
            text.push_str(&format!("\n[weather.nws]\ncontact = {}\n", quoted(contact)))
        }
        None => text.push_str(
            "\n# Weather comes from Open-Meteo; in the US also from the weather service, if it\n\
             # may know an address of yours. sources = \"none\" keeps this off the network.\n\
             #[weather]\n\
             #sources = \"none\"\n\
             #[weather.nws]\n\
             #contact = \"jo@example.org\"\n",
        ),
    }
    match &answers.mail {
        Some(mail) => text.push_str(&format!(
            "\n[email]\n\
             server = {}\n\
             encryption = \"tls\"         # \"tls\" (port 465) or \"starttls\" (port 587)\n\
             user = {}\n\
             password_file = {}          # chmod 600\n\
             from = {}\n\
             to = {}\n",
            quoted(&mail.server),
            quoted(&mail.user),
            quoted(&mail.password_file),
            quoted(&mail.to),
            quoted(&mail.to),
        )),
        None => text.push_str(
            "\n#[email]\n\
             #server = \"mail.example.org\"\n\
             #encryption = \"tls\"        # \"tls\" (port 465) or \"starttls\" (port 587)\n\
             #user = \"jo\"\n\
             #password_file = \"~/.config/budtide/mail-password\"   # chmod 600\n\
             #from = \"jo@example.org\"\n\
             #to = \"jo@example.org\"\n",
        ),
    }
    text
}

fn register_text(answers: &Answers, crops: &[Crop]) -> String {
    let mut text = String::from(
        "# The trees, one entry each, and the junipers near. Only id and crop are\n\
         # needed; the rest may be filled in as you walk along:\n\
         #   rootstock = \"MM.111\"   planted = 2019   row = \"A\"   spot = 1\n\
         #   status = \"healthy\"     (ailing, leaning, wounded, dead, replace, removed)\n\
         #   notes = \"bears every second year\"\n",
    );
    let mut numbers: HashMap<char, u32> = HashMap::new();
    for trees in &answers.trees {
        let letter = trees
            .crop
            .chars()
            .next()
            .unwrap_or('T')
            .to_ascii_uppercase();
        let (entries, count) = match trees.apart {
            true => (trees.count, 1),
            false => (1, trees.count),
        };
        for _ in 0..entries {
            let number = numbers.entry(letter).or_insert(0);
            *number += 1;
            text.push_str(&format!(
                "\n[[tree]]\nid = \"{letter}{number}\"\ncrop = {}\n",
                quoted(&trees.crop)
            ));
            if let Some(cultivar) = &trees.cultivar {
                text.push_str(&format!("cultivar = {}\n", quoted(cultivar)));
            }
            if count > 1 {
                text.push_str(&format!("count = {count}\n"));
            }
        }
    }
    if answers.trees.is_empty() {
        text.push_str(&format!(
            "\n# Crops: {}.\n\
             #[[tree]]\n#id = \"A1\"\n#crop = \"apple\"\n#cultivar = \"York Imperial\"\n",
            crops
                .iter()
                .map(|crop| crop.id.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        ));
    }
    for (at, distance) in answers.junipers.iter().enumerate() {
        text.push_str(&format!(
            "\n[[juniper]]\nid = \"J{}\"\nwhere = \"nearest\"\ndistance = {}\n\
             removable = false          # true: it is yours, and you may cut it\n",
            at + 1,
            quoted(distance)
        ));
    }
    if answers.junipers.is_empty() {
        text.push_str(
            "\n# Junipers (red cedars) near carry the rusts of apple and pear.\n\
             #[[juniper]]\n#id = \"J1\"\n#where = \"east fence\"\n#distance = \"60 ft\"\n",
        );
    }
    text.push_str(
        "\n# Plantings that you have in mind: their planting time is told.\n\
         #[[wanted]]\n#crop = \"pear\"\n#cultivar = \"Harrow Sweet\"\n#stock = \"bare-root\"\n",
    );
    text
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
             --hardiness-zone: no zone \"six\"; zones run from 1a to 13b, each with a or b\n\
             --tree \"2 pech\": no crop named \"pech\"; did you mean \"peach\"?\n\
             --email needs --mail-server and --mail-password-file"
        );
    }
}
