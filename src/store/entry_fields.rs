//! A journal entry as named fields: what stands in the file and in a CSV.

use crate::facts::journal::{
    BudCount, Damage, DamageCause, Entry, Fact, Harvest, Kind, LowRead, Planting, RainRead,
    Removal, Severity, ShootGrowth, Snooze, Spray, Stage, Symptom, TrapCatch, Work,
};
use crate::units::Quantity;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use serde_json::{Map, Value};

const TIME: &str = "%H:%M:%S%.f";
const DATE_TIME: &str = "%Y-%m-%dT%H:%M:%S%.f";

/// The names of a kind's own fields, in the order of [`values`].
pub(super) fn names(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Stage => &["cultivar", "stage"],
        Kind::Done => &["task", "minutes"],
        Kind::Skipped => &["task"],
        Kind::Snoozed => &["task", "until"],
        Kind::Spray => &[
            "materials",
            "label",
            "rate",
            "amount",
            "area",
            "against",
            "by",
            "wind",
            "start",
            "end",
            "reentry",
            "harvest_from",
        ],
        Kind::Catch => &["insect", "trap", "count", "biofix"],
        Kind::Symptom => &["symptom", "grade", "share"],
        Kind::Shoots => &["length_cm"],
        Kind::Harvest => &["weight_kg", "of_full"],
        Kind::Damage => &["cause", "share"],
        Kind::Buds => &["cultivar", "stage", "live", "cut"],
        Kind::Rain => &["rain_mm"],
        Kind::Low => &["low_c", "spot"],
        Kind::Planting => &["cultivar", "count"],
        Kind::Removal => &["reason"],
        Kind::Note => &[],
    }
}

/// The values of an entry's own fields; null where there is none.
pub(super) fn values(fact: &Fact) -> Vec<Value> {
    match fact {
        Fact::Stage(Stage { cultivar, stage }) => vec![text(cultivar), stage.as_str().into()],
        Fact::Done(Work { task, minutes }) => vec![task.as_str().into(), (*minutes).into()],
        Fact::Skipped(task) => vec![task.as_str().into()],
        Fact::Snoozed(Snooze { task, until }) => {
            vec![task.as_str().into(), until.to_string().into()]
        }
        Fact::Spray(spray) => vec![
            spray.materials.clone().into(),
            text(&spray.label),
            text(&spray.rate),
            text(&spray.amount),
            text(&spray.area),
            text(&spray.against),
            text(&spray.by),
            text(&spray.wind),
            spray.start.map(|at| at.format(TIME).to_string()).into(),
            spray.end.map(|at| at.format(TIME).to_string()).into(),
            spray
                .reentry
                .map(|at| at.format(DATE_TIME).to_string())
                .into(),
            spray.harvest_from.map(|day| day.to_string()).into(),
        ],
        Fact::Catch(caught) => vec![
            caught.insect.as_str().into(),
            text(&caught.trap),
            caught.count.into(),
            caught.biofix.into(),
        ],
        Fact::Symptom(Symptom { what, severity }) => {
            let (grade, share) = match severity {
                Some(Severity::Grade(grade)) => (Some(*grade), None),
                Some(Severity::Share(share)) => (None, Some(*share)),
                None => (None, None),
            };
            vec![what.as_str().into(), grade.into(), share.into()]
        }
        Fact::Shoots(ShootGrowth { length_cm }) => vec![(*length_cm).into()],
        Fact::Harvest(Harvest { weight_kg, of_full }) => {
            vec![(*weight_kg).into(), (*of_full).into()]
        }
        Fact::Damage(Damage { cause, share }) => vec![cause.word().into(), (*share).into()],
        Fact::Buds(buds) => vec![
            text(&buds.cultivar),
            text(&buds.stage),
            buds.live.into(),
            buds.cut.into(),
        ],
        Fact::Rain(RainRead { rain_mm }) => vec![(*rain_mm).into()],
        Fact::Low(LowRead { low_c, spot }) => vec![(*low_c).into(), text(spot)],
        Fact::Planting(Planting { cultivar, count }) => vec![text(cultivar), (*count).into()],
        Fact::Removal(Removal { reason }) => vec![text(reason)],
        Fact::Note => Vec::new(),
    }
}

/// The fields as the text of a JSON object, those without a value left out.
pub(super) fn write(fact: &Fact) -> String {
    Value::Object(fields_of(fact)).to_string()
}

/// The fields of a fact by name, those without a value left out.
pub fn fields_of(fact: &Fact) -> Map<String, Value> {
    names(fact.kind())
        .iter()
        .zip(values(fact))
        .filter(|(_, value)| !value.is_null())
        .map(|(name, value)| ((*name).to_owned(), value))
        .collect()
}

/// A fact with one field set from a text; an empty text takes it away.
///
/// # Errors
/// No such field, or a value that it cannot hold.
pub fn with_field(fact: &Fact, name: &str, text: &str) -> Result<Fact, String> {
    let kind = fact.kind();
    if !names(kind).contains(&name) {
        return Err(match names(kind) {
            [] => format!("a note of {} has no field", kind.word()),
            names => format!(
                "a note of {} has no field \"{name}\"; it has {}",
                kind.word(),
                names.join(", ")
            ),
        });
    }
    let mut fields = fields_of(fact);
    let words = matches!(
        name,
        "materials"
            | "label"
            | "rate"
            | "amount"
            | "area"
            | "against"
            | "by"
            | "wind"
            | "start"
            | "end"
            | "reentry"
            | "harvest_from"
            | "cultivar"
            | "stage"
            | "task"
            | "until"
            | "insect"
            | "trap"
            | "symptom"
            | "cause"
            | "spot"
            | "reason"
    );
    let value = match text {
        "" => Value::Null,
        _ if name == "materials" => text.split(',').map(|one| Value::from(one.trim())).collect(),
        _ if matches!(name, "start" | "end") && text.len() == 5 => format!("{text}:00").into(),
        _ if words => text.into(),
        "yes" => true.into(),
        "no" => false.into(),
        _ => serde_json::from_str::<Value>(text)
            .ok()
            .filter(Value::is_number)
            .ok_or_else(|| format!("{name} cannot be \"{text}\": it is a plain number"))?,
    };
    let given = !value.is_null();
    fields.insert(name.to_owned(), value);
    if !given {
        fields.remove(name);
    }
    let changed = read(kind, &Value::Object(fields).to_string())?;
    if given && !fields_of(&changed).contains_key(name) {
        return Err(format!("{name} cannot be \"{text}\""));
    }
    Ok(changed)
}

/// The fact of the fields that [`write`] wrote.
///
/// # Errors
/// Which field is missing or wrong.
pub(super) fn read(kind: Kind, fields: &str) -> Result<Fact, String> {
    let fields: Map<String, Value> = serde_json::from_str(fields).map_err(|e| e.to_string())?;
    let field = Fields(&fields);
    Ok(match kind {
        Kind::Stage => Fact::Stage(Stage {
            cultivar: field.text("cultivar"),
            stage: field.must(field.text("stage"), "stage")?,
        }),
        Kind::Done => Fact::Done(Work {
            task: field.must(field.text("task"), "task")?,
            minutes: field.count("minutes"),
        }),
        Kind::Skipped => Fact::Skipped(field.must(field.text("task"), "task")?),
        Kind::Snoozed => Fact::Snoozed(Snooze {
            task: field.must(field.text("task"), "task")?,
            until: field.must(field.date("until"), "until")?,
        }),
        Kind::Spray => Fact::Spray(Spray {
            materials: field.list("materials"),
            label: field.text("label"),
            rate: field.text("rate"),
            amount: field.text("amount"),
            area: field.text("area"),
            against: field.text("against"),
            by: field.text("by"),
            wind: field.text("wind"),
            start: field.time("start"),
            end: field.time("end"),
            reentry: field
                .text("reentry")
                .and_then(|at| NaiveDateTime::parse_from_str(&at, DATE_TIME).ok()),
            harvest_from: field.date("harvest_from"),
        }),
        Kind::Catch => Fact::Catch(TrapCatch {
            insect: field.must(field.text("insect"), "insect")?,
            trap: field.text("trap"),
            count: field.must(field.count("count"), "count")?,
            biofix: fields
                .get("biofix")
                .and_then(Value::as_bool)
                .unwrap_or(false),
        }),
        Kind::Symptom => Fact::Symptom(Symptom {
            what: field.must(field.text("symptom"), "symptom")?,
            severity: field
                .count("grade")
                .and_then(|grade| u8::try_from(grade).ok())
                .map(Severity::Grade)
                .or_else(|| field.number("share").map(Severity::Share)),
        }),
        Kind::Shoots => Fact::Shoots(ShootGrowth {
            length_cm: field.must(field.number("length_cm"), "length_cm")?,
        }),
        Kind::Harvest => Fact::Harvest(Harvest {
            weight_kg: field.number("weight_kg"),
            of_full: field.number("of_full"),
        }),
        Kind::Damage => Fact::Damage(Damage {
            cause: field.must(
                field
                    .text("cause")
                    .and_then(|word| DamageCause::read(&word)),
                "cause",
            )?,
            share: field.number("share"),
        }),
        Kind::Buds => Fact::Buds(BudCount {
            cultivar: field.text("cultivar"),
            stage: field.text("stage"),
            live: field.must(field.count("live"), "live")?,
            cut: field.must(field.count("cut"), "cut")?,
        }),
        Kind::Rain => Fact::Rain(RainRead {
            rain_mm: field.must(field.number("rain_mm"), "rain_mm")?,
        }),
        Kind::Low => Fact::Low(LowRead {
            low_c: field.must(field.number("low_c"), "low_c")?,
            spot: field.text("spot"),
        }),
        Kind::Planting => Fact::Planting(Planting {
            cultivar: field.text("cultivar"),
            count: field.must(field.count("count"), "count")?,
        }),
        Kind::Removal => Fact::Removal(Removal {
            reason: field.text("reason"),
        }),
        Kind::Note => Fact::Note,
    })
}

/// Whether an entry can stand in the journal: what must be there is there,
/// and no figure is impossible. Names of trees, crops and tasks are the
/// caller's to check.
///
/// # Errors
/// What is missing or wrong.
pub(super) fn check(entry: &Entry) -> Result<(), String> {
    let share = |share: Option<f64>| match share {
        Some(share) if !(0.0..=1.0).contains(&share) => Err(format!(
            "a share of {share} cannot be: it lies between 0 and 1"
        )),
        _ => Ok(()),
    };
    let positive = |value: f64, what: &str, most: f64| {
        if (0.0..=most).contains(&value) {
            Ok(())
        } else {
            Err(format!(
                "{what} {value} cannot be: it lies between 0 and {most}"
            ))
        }
    };
    if !(1800..=2500).contains(&chrono::Datelike::year(&entry.date)) {
        return Err(format!("the day {} cannot be", entry.date));
    }
    match &entry.what {
        Fact::Stage(Stage { stage, .. }) => {
            present(stage, "a stage seen needs its name")?;
            let crop = entry.crop.as_deref().unwrap_or("");
            present(crop, "a stage seen needs its crop")
        }
        Fact::Done(Work { task, .. })
        | Fact::Skipped(task)
        | Fact::Snoozed(Snooze { task, .. }) => present(task, "a chore needs the task's name"),
        Fact::Spray(spray) => {
            if spray.materials.iter().any(|name| !name.trim().is_empty()) {
                Ok(())
            } else {
                Err("a spray needs its material".to_owned())
            }
        }
        Fact::Catch(caught) => present(&caught.insect, "a catch needs the insect's name"),
        Fact::Symptom(symptom) => {
            present(&symptom.what, "a symptom needs a word for it")?;
            match symptom.severity {
                Some(Severity::Grade(grade)) if grade > 5 => Err(format!(
                    "a severity of {grade} cannot be: it goes from 0 to 5"
                )),
                Some(Severity::Share(part)) => share(Some(part)),
                _ => Ok(()),
            }
        }
        Fact::Shoots(shoots) => positive(shoots.length_cm, "shoot growth in cm of", 1_000.0),
        Fact::Harvest(harvest) => {
            share(harvest.of_full)?;
            harvest.weight_kg.map_or(Ok(()), |weight| {
                positive(weight, "a weight in kg of", 1_000_000.0)
            })
        }
        Fact::Damage(damage) => share(damage.share),
        Fact::Buds(BudCount { live, cut, .. }) => {
            if live > cut {
                Err(format!("{live} live buds of {cut} cut cannot be"))
            } else if *cut == 0 {
                Err("a bud count needs at least one bud cut".to_owned())
            } else {
                Ok(())
            }
        }
        Fact::Rain(RainRead { rain_mm }) => checked(Quantity::Rain, *rain_mm),
        Fact::Low(LowRead { low_c, .. }) => checked(Quantity::Temperature, *low_c),
        Fact::Note => present(entry.note.as_deref().unwrap_or(""), "a note needs its text"),
        Fact::Planting(_) | Fact::Removal(_) => Ok(()),
    }
}

fn present(text: &str, otherwise: &str) -> Result<(), String> {
    if text.trim().is_empty() {
        Err(otherwise.to_owned())
    } else {
        Ok(())
    }
}

fn checked(quantity: Quantity, value: f64) -> Result<(), String> {
    quantity.check(value).map(|_| ()).map_err(|e| e.to_string())
}

fn text(text: &Option<String>) -> Value {
    text.as_deref().into()
}

struct Fields<'a>(&'a Map<String, Value>);

impl Fields<'_> {
    fn must<T>(&self, value: Option<T>, name: &str) -> Result<T, String> {
        value.ok_or_else(|| format!("its field \"{name}\" is missing or unreadable"))
    }

    fn text(&self, name: &str) -> Option<String> {
        self.0.get(name)?.as_str().map(str::to_owned)
    }

    fn number(&self, name: &str) -> Option<f64> {
        self.0.get(name)?.as_f64()
    }

    fn count(&self, name: &str) -> Option<u32> {
        self.0
            .get(name)?
            .as_u64()
            .and_then(|count| u32::try_from(count).ok())
    }

    fn date(&self, name: &str) -> Option<NaiveDate> {
        self.text(name)?.parse().ok()
    }

    fn time(&self, name: &str) -> Option<NaiveTime> {
        NaiveTime::parse_from_str(&self.text(name)?, TIME).ok()
    }

    fn list(&self, name: &str) -> Vec<String> {
        let list = self.0.get(name).and_then(Value::as_array);
        list.into_iter()
            .flatten()
            .filter_map(|item| item.as_str().map(str::to_owned))
            .collect()
    }
}

/// A value as a cell of a table.
pub(super) fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Array(items) => items.iter().map(cell).collect::<Vec<_>>().join("; "),
        other => other.to_string(),
    }
}
