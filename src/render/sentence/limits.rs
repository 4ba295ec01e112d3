//! What forbids a task or a spray today, in words.

use super::{Words, named};
use crate::plan::days::Hold;
use crate::season::evidence::SprayLimit;
use crate::units::plain;

impl Words<'_> {
    /// Why a task must wait.
    pub fn hold(&self, hold: &Hold) -> String {
        let units = self.units();
        match hold {
            Hold::Cold { date, low_c } => format!(
                "Wait: {} is forecast for {}",
                units.temperature(*low_c),
                self.near_day(*date)
            ),
            Hold::Rain { date, rain_mm } => {
                format!(
                    "Wait: {} of rain is forecast for {}",
                    units.rain(*rain_mm),
                    self.near_day(*date)
                )
            }
            Hold::Heat { date, high_c } => format!(
                "Wait: {} is forecast for {}",
                units.temperature(*high_c),
                self.near_day(*date)
            ),
            Hold::Wind { date, wind_m_s } => format!(
                "Wait: wind of {} is forecast for {}, even in its calmest hours",
                units.wind(*wind_m_s),
                self.near_day(*date)
            ),
            Hold::NoMaterial => {
                "Leave it: of the materials known here none may be used in those days, see the reasons"
                    .to_owned()
            }
            Hold::Bloom => "Wait: the trees are in bloom".to_owned(),
            Hold::FrostAhead { date, low_c } => format!(
                "Wait: {} is forecast for the night to {} and may kill many buds; see first what it leaves",
                units.temperature(*low_c),
                self.near_day(*date)
            ),
            Hold::FrostDamage { date, shows_by } => format!(
                "Wait until about {}: what the frost of {} killed shows only when live shoots break",
                self.day(*shows_by),
                self.day(*date)
            ),
        }
    }

    /// What speaks against a material.
    pub(super) fn spray_limit(&self, material: &str, limit: &SprayLimit) -> String {
        let materials = self.facts.knowledge.materials.iter();
        let known = materials.into_iter().find(|one| one.id == material);
        let name = known.map_or(material, |one| one.name.as_str());
        let units = self.units();
        match limit {
            SprayLimit::Harvest {
                until,
                days,
                harvest,
            } => format!(
                "{name} only until {}: picking may begin about {}, and up to {} days are asked for in between",
                self.day(*until),
                self.day(*harvest),
                plain(*days)
            ),
            SprayLimit::UsedUp { uses, most } => format!(
                "no {name}: its group was sprayed {} this year, and {} are enough, or nothing works any more",
                named(*uses, "time", "times"),
                plain(f64::from(*most))
            ),
            SprayLimit::Oil { oil, gap } => format!(
                "no {name} within {} days of oil, which is on {}: together they burn leaves",
                plain(*gap),
                self.day(*oil)
            ),
            SprayLimit::Heat {
                date,
                high_c,
                limit_c,
            } => format!(
                "no {name} now: it burns above {}, and {} is forecast for {}",
                units.temperature(*limit_c),
                units.temperature(*high_c),
                self.near_day(*date)
            ),
            SprayLimit::Bloom => {
                format!("no {name} while trees here bloom: it harms bees or their brood")
            }
            SprayLimit::Rotate { code, date } => format!(
                "{name} last: its group ({code}) was used on {}; take turns, or nothing works any more",
                self.day(*date)
            ),
        }
    }
}
