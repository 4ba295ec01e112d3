//! The table `[weather.console]`: what the keeper's station console sends.
//!
//! Without `listen` the door is open to programs of this machine alone: a
//! console is let in only where the keeper writes the machine's own address.

use crate::config::fault::hint_of_few;
use crate::config::reader::Table;
use crate::units::{Quantity, Unit};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// The name under which its weather is kept, unless said.
const NAME: &str = "station console";

/// Where it listens unless said: this machine alone, and a port without a
/// common use (our choice).
const PORT: u16 = 8_462;
const PATH: &str = "/weather";

/// How the table is written, for messages.
pub(super) const EXAMPLE: &str = "listen = \"192.168.1.10:8462\"";

/// The lowest port that needs no rights of the system.
const FIRST_FREE_PORT: u16 = 1_024;

/// The keeper's station console.
#[derive(Clone, Debug, PartialEq)]
pub struct ConsoleChoice {
    /// The name under which its weather is kept.
    pub name: String,
    /// How its readings come.
    pub way: Way,
    /// Who may send; any address of the local network where empty.
    pub from: Vec<IpAddr>,
    /// The rain gauge that counts.
    pub gauge: Option<GaugeChoice>,
    /// Units that are not those of the field names.
    pub units: UnitChoice,
}

/// How readings come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Way {
    /// Uploads by HTTP.
    Upload {
        /// Where to listen.
        listen: SocketAddr,
        /// The path that is sent to.
        path: String,
    },
    /// Broadcasts by UDP.
    Broadcast(SocketAddr),
}

/// Which of two gauges counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GaugeChoice {
    /// The tipping bucket.
    Bucket,
    /// The plate that feels the drops.
    Piezo,
}

impl GaugeChoice {
    const ALL: [(GaugeChoice, &str); 2] = [
        (GaugeChoice::Bucket, "bucket"),
        (GaugeChoice::Piezo, "piezo"),
    ];
}

/// Units that the keeper names; those of the field names unless said.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UnitChoice {
    /// Of the temperature.
    pub temperature: Option<Unit>,
    /// Of the counters of rain.
    pub rain: Option<Unit>,
    /// Of the wind.
    pub wind: Option<Unit>,
}

/// Whether an address belongs to this machine or a local network (RFC 1918,
/// 3927, 4193, 4291).
pub fn is_near(address: IpAddr) -> bool {
    match address.to_canonical() {
        IpAddr::V4(v4) => v4.is_loopback() || v4.is_private() || v4.is_link_local(),
        IpAddr::V6(v6) => v6.is_loopback() || v6.is_unique_local() || v6.is_unicast_link_local(),
    }
}

/// Reads the table.
pub(super) fn read(table: &Table<'_, '_>) -> Option<ConsoleChoice> {
    let name = table.maybe_text("name").unwrap_or_else(|| NAME.to_owned());
    let (uploads, broadcasts) = (table.has("listen"), table.has("broadcast"));
    if uploads && broadcasts {
        table.fault(
            "broadcast",
            "cannot stand beside listen: one table is for one station; take one of them out"
                .to_owned(),
        );
    }
    let path = path(table);
    let listen = address(table, "listen", EXAMPLE);
    let broadcast = address(table, "broadcast", "broadcast = \"0.0.0.0:50222\"");
    let way = match (broadcasts, uploads) {
        (true, _) => broadcast.map(Way::Broadcast),
        (false, true) => listen.map(|listen| Way::Upload { listen, path }),
        (false, false) => {
            let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, PORT));
            Some(Way::Upload { listen, path })
        }
    };
    let choice = ConsoleChoice {
        name,
        way: way.unwrap_or(Way::Broadcast(SocketAddr::from((
            Ipv4Addr::LOCALHOST,
            PORT,
        )))),
        from: senders(table),
        gauge: gauge(table),
        units: UnitChoice {
            temperature: unit(table, "temperature_unit", Quantity::Temperature),
            rain: unit(table, "rain_unit", Quantity::Rain),
            wind: unit(table, "wind_unit", Quantity::Wind),
        },
    };
    table.finish();
    Some(choice)
}

fn address(table: &Table<'_, '_>, key: &str, example: &str) -> Option<SocketAddr> {
    let text = table.maybe_text(key)?;
    let wrong = match text.parse::<SocketAddr>() {
        Err(_) => format!(
            "\"{text}\" is no address of numbers with a port; write it as {example}, with the \
             address of this machine"
        ),
        Ok(at) if at.port() < FIRST_FREE_PORT => format!(
            "port {} is kept for the system; take one from {FIRST_FREE_PORT} on: {example}",
            at.port()
        ),
        Ok(at) if !at.ip().is_unspecified() && !is_near(at.ip()) => format!(
            "\"{}\" lies in the open internet; write this machine's address in the local \
             network: {example}",
            at.ip()
        ),
        Ok(at) => return Some(at),
    };
    table.fault(key, wrong);
    None
}

fn path(table: &Table<'_, '_>) -> String {
    let path = table.maybe_text("path").unwrap_or_else(|| PATH.to_owned());
    let plain = |byte: u8| byte.is_ascii_graphic() && !b"?#".contains(&byte);
    if !path.starts_with('/') || !path.bytes().all(plain) {
        table.fault(
            "path",
            format!("\"{path}\" is no path; write it as path = \"{PATH}\""),
        );
    }
    path
}

fn senders(table: &Table<'_, '_>) -> Vec<IpAddr> {
    let mut senders = Vec::new();
    for text in table.texts("from") {
        match text.value.parse::<IpAddr>() {
            Ok(address) => senders.push(address.to_canonical()),
            Err(_) => table.fault_at(
                text.span.clone(),
                "from",
                format!(
                    "\"{}\" is no address of numbers; write it as from = [\"192.168.1.20\"]",
                    text.value
                ),
            ),
        }
    }
    senders
}

fn gauge(table: &Table<'_, '_>) -> Option<GaugeChoice> {
    let word = table.maybe_text("rain")?;
    let found = GaugeChoice::ALL.iter().find(|(_, name)| *name == word);
    if found.is_none() {
        let known: Vec<&str> = GaugeChoice::ALL.iter().map(|(_, name)| *name).collect();
        table.fault(
            "rain",
            format!("no gauge \"{word}\"{}", hint_of_few(&word, &known)),
        );
    }
    found.map(|(gauge, _)| *gauge)
}

fn unit(table: &Table<'_, '_>, key: &str, quantity: Quantity) -> Option<Unit> {
    let text = table.maybe_text(key)?;
    let unit = quantity.unit(&text);
    if unit.is_none() {
        let known: Vec<&str> = quantity.measure().units.iter().map(|u| u.symbol).collect();
        table.fault(
            key,
            format!(
                "\"{text}\" is not a unit of {}; use {}",
                quantity.measure().name,
                known.join(" or ")
            ),
        );
    }
    unit
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::reader::Sheet;

    fn of(text: &str) -> Result<ConsoleChoice, String> {
        let text = format!("[console]\n{text}");
        let sheet = Sheet::new("place.toml", &text);
        let parsed = sheet.parse();
        let choice = {
            let root = sheet.root(&parsed);
            let choice = read(&root.table("console").unwrap());
            root.finish();
            choice
        };
        drop(parsed);
        if sheet.is_clean() {
            return Ok(choice.unwrap());
        }
        let faults = sheet.into_faults();
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        Err(texts.join("\n"))
    }

    #[test]
    fn an_empty_table_listens_on_this_machine_alone() {
        let choice = of("").unwrap();
        let Way::Upload { listen, path } = choice.way else {
            panic!("{choice:?}");
        };
        assert!(listen.ip().is_loopback());
        assert_eq!((listen.port(), path.as_str()), (PORT, PATH));
        assert_eq!(choice.name, NAME);
    }

    #[test]
    fn all_of_it_said() {
        let choice = of(
            "listen = \"0.0.0.0:9000\"\npath = \"/in/here\"\nname = \"hill\"\n\
             from = [\"192.168.1.20\", \"::ffff:192.168.1.21\"]\nrain = \"piezo\"\n\
             temperature_unit = \"C\"\nrain_unit = \"mm\"\nwind_unit = \"km/h\"\n",
        )
        .unwrap();
        let listen = "0.0.0.0:9000".parse().unwrap();
        let path = "/in/here".to_owned();
        assert_eq!(choice.way, Way::Upload { listen, path });
        assert_eq!(choice.from[1].to_string(), "192.168.1.21");
        assert_eq!(choice.gauge, Some(GaugeChoice::Piezo));
        assert_eq!(choice.units.rain.unwrap().symbol, "mm");
        let choice = of("broadcast = \"0.0.0.0:50222\"\n").unwrap();
        assert!(matches!(choice.way, Way::Broadcast(at) if at.port() == 50_222));
    }

    #[test]
    fn every_fault_names_its_mend() {
        for (text, wanted) in [
            (
                "listen = \"8462\"",
                "write it as listen = \"192.168.1.10:8462\"",
            ),
            ("listen = \"console.local:8462\"", "no address of numbers"),
            ("listen = \"127.0.0.1:80\"", "take one from 1024 on"),
            ("listen = \"203.0.113.4:8462\"", "lies in the open internet"),
            ("broadcast = \"50222\"", "broadcast = \"0.0.0.0:50222\""),
            (
                "listen = \"127.0.0.1:8462\"\nbroadcast = \"0.0.0.0:50222\"",
                "one table is for one station",
            ),
            ("path = \"weather\"", "write it as path = \"/weather\""),
            ("path = \"/a?b\"", "is no path"),
            ("from = [\"console\"]", "from = [\"192.168.1.20\"]"),
            ("rain = \"buckett\"", "did you mean \"bucket\"?"),
            ("temperature_unit = \"K\"", "use °C or °F"),
            ("rain_unit = \"C\"", "is not a unit of rain"),
            ("lisen = \"127.0.0.1:8462\"", "did you mean \"listen\"?"),
        ] {
            let found = of(text).unwrap_err();
            assert!(found.contains(wanted), "{text}: {found}");
        }
    }

    #[test]
    fn near_are_this_machine_and_local_networks() {
        for near in [
            "127.0.0.1",
            "::1",
            "10.1.2.3",
            "172.31.0.1",
            "192.168.0.9",
            "169.254.1.1",
            "::ffff:192.168.0.9",
            "fd00::1",
            "fe80::1",
        ] {
            assert!(is_near(near.parse().unwrap()), "{near}");
        }
        for far in [
            "8.8.8.8",
            "172.32.0.1",
            "100.64.0.1",
            "2001:db8::1",
            "::ffff:203.0.113.4",
        ] {
            assert!(!is_near(far.parse().unwrap()), "{far}");
        }
    }
}
