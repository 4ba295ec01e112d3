//! The answers from a conversation on the terminal.

use super::read::{
    degrees, hardiness, latitude_of, machine_zone, quantity, read_trees, time_zone, unit_system,
    yes,
};
use super::{Answers, Juniper, Mail, Setup, doubt};
use crate::config::place;
use crate::facts::knowledge::Crop;
use crate::render::page;
use crate::units::Quantity;
use std::io::{BufRead, Write};

/// Asks for whatever was not given; a wrong answer is told and asked again.
pub(super) fn ask(
    setup: &Setup,
    crops: &[Crop],
    year: i32,
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
    let (mut latitude, mut longitude) = asker.coordinates(&setup.latitude, &setup.longitude)?;
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
    while !setup.sure
        && let Some(doubt) = doubt(latitude, longitude, &time_zone, year)
    {
        for line in page::wrap(&doubt, "  ", "  ") {
            asker.say(&line)?;
        }
        if asker.get(
            "Is it right as it stands: yes or no",
            &None,
            Some("no"),
            yes,
        )? {
            break;
        }
        (latitude, longitude) = asker.coordinates(&None, &None)?;
    }
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
    let distance = |text: &str| quantity(text, Quantity::Distance);
    let mut junipers = Vec::new();
    for text in &setup.junipers {
        junipers.push(Juniper {
            distance: distance(text).map_err(|fault| format!("--juniper \"{text}\": {fault}"))?,
            removable: None,
        });
    }
    if junipers.is_empty() {
        asker.say("\nJunipers (red cedars) carry the rusts of apple and pear.")?;
        let near = asker.get(
            "How far is the nearest one, such as 60 ft (empty: none seen)",
            &None,
            Some(""),
            |text| match text.is_empty() {
                true => Ok(None),
                false => distance(text).map(Some),
            },
        )?;
        if let Some(distance) = near {
            let removable = asker.get(
                "Is it yours to cut: yes or no (empty: not known)",
                &None,
                Some(""),
                |text| match text.is_empty() {
                    true => Ok(None),
                    false => yes(text).map(Some),
                },
            )?;
            junipers.push(Juniper {
                distance,
                removable,
            });
        }
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
    fn coordinates(
        &mut self,
        latitude: &Option<String>,
        longitude: &Option<String>,
    ) -> Result<(f64, f64), String> {
        let latitude = self.get(
            "Latitude in degrees (north of the equator is positive)",
            latitude,
            None,
            latitude_of,
        )?;
        let longitude = self.get(
            "Longitude in degrees (the Americas are negative)",
            longitude,
            None,
            |text| degrees(text, Quantity::Longitude),
        )?;
        Ok((latitude, longitude))
    }

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
