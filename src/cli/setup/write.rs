//! What was answered, as commented files.

use super::Answers;
use crate::facts::knowledge::Crop;
use std::collections::HashMap;
use std::fs::OpenOptions;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// Both files, or neither.
pub(super) fn both(folder: &Path, files: &[PathBuf; 2], texts: &[String; 2]) -> Result<(), String> {
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

/// A text in quotes. What JSON writes, TOML reads, but for the one control
/// character that JSON lets stand.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text.replace('\u{7f}', " ")).to_string()
}

pub(super) fn place_text(answers: &Answers) -> String {
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
    text.push_str(
        "\n# A station console of yours that sends to an address you choose; see README.md.\n\
         #[weather.console]\n\
         #listen = \"192.168.1.10:8462\"   # this machine in your network\n",
    );
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

pub(super) fn register_text(answers: &Answers, crops: &[Crop]) -> String {
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
    for (at, juniper) in answers.junipers.iter().enumerate() {
        let removable = match juniper.removable {
            Some(own) => format!("removable = {own}"),
            None => {
                "#removable = true          # true: you may cut it; false: not yours".to_owned()
            }
        };
        text.push_str(&format!(
            "\n[[juniper]]\nid = \"J{}\"\nwhere = \"nearest\"\ndistance = {}\n{removable}\n",
            at + 1,
            quoted(&juniper.distance)
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
