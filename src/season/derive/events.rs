//! What happened, or is forecast, that may set a chore off.

use super::{Event, Season};
use crate::facts::knowledge::Trigger;
use crate::facts::weather::{DailyRecord, rain_reaches};
use crate::season::evidence::{Evidence, NIGHTS_APART};
use crate::season::groups::Group;
use crate::season::infection::Class;
use chrono::{Datelike, Days, NaiveDate};

impl Season {
    /// What happened, or is forecast, that may set a chore off, in its order.
    pub fn events(&self, trigger: &Trigger, group: &Group, year: i32) -> Vec<Event> {
        if let Trigger::HardWinter { low_c } = trigger {
            return self.winter_lows(*low_c, year);
        }
        if let Trigger::ColdPlunge { drop_k, low_c } = trigger {
            return self.plunges(*drop_k, *low_c, year);
        }
        if year != self.today.year() {
            return Vec::new();
        }
        match trigger {
            Trigger::FrostKill { share } => self.frost_events(group, *share, false),
            Trigger::FrostAhead { share } => self.frost_events(group, *share, true),
            Trigger::Infection { disease } => self.infection_events(disease),
            Trigger::InfectionAhead { disease } => self.infections_to_come(disease),
            Trigger::WarmRain { rain_mm, mean_c } => self.warm_rains(*rain_mm, *mean_c),
            Trigger::HeavyRain { rain_mm } => self.heavy_rains(*rain_mm),
            Trigger::Dry { rain_mm, days } => self.dry_spells(*rain_mm, *days),
            Trigger::Gale { wind_m_s } => self.gales(*wind_m_s),
            Trigger::DamageNoted { cause } => self.damage(*cause),
            Trigger::HardWinter { .. } | Trigger::ColdPlunge { .. } => Vec::new(),
        }
    }

    /// Nights that killed, or may well kill, so much of a crop's buds. Nights
    /// in a row are one event, from the first to the last; the worst of them
    /// tells.
    fn frost_events(&self, group: &Group, share: f64, forecast: bool) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        for night in self.frosts.iter().filter(|night| night.crop == group.crop) {
            // The morning of today is over: nothing can be done ahead of it.
            let over = forecast && (night.date <= self.today || !night.is_feared());
            if night.forecast != forecast || night.kill < share || over {
                continue;
            }
            if let Some(last) = events.last_mut()
                && (night.date - last.until).num_days() <= NIGHTS_APART
            {
                last.until = night.date;
                if let Evidence::FrostNight(held) = &last.evidence
                    && night.kill > held.kill
                {
                    last.evidence = Evidence::FrostNight(night.clone());
                }
                continue;
            }
            events.push(Event {
                until: night.date,
                ..Event::on(night.date, forecast, Evidence::FrostNight(night.clone()))
            });
        }
        events
    }

    /// Infection periods of a disease that have ended or go on, possible ones
    /// left out.
    fn infection_events(&self, disease: &str) -> Vec<Event> {
        self.infections
            .iter()
            .filter(|period| period.disease == disease && period.class >= Class::Infection)
            .filter_map(|period| {
                let evidence = Evidence::Infection {
                    disease: period.disease.clone(),
                    from: period.from.date(),
                    until: period.until.date(),
                    wet_hours: period.wet_hours,
                    mean_c: period.mean_c?,
                    severe: period.class == Class::Severe,
                };
                Some(Event::on(period.until.date(), false, evidence))
            })
            .collect()
    }

    /// Infection periods of a disease that the forecast's hours hold and that
    /// have not begun.
    fn infections_to_come(&self, disease: &str) -> Vec<Event> {
        let ahead = self.infections_ahead.iter().flatten();
        ahead
            .filter(|ahead| ahead.period.disease == disease)
            .filter(|ahead| ahead.period.from.date() >= self.today)
            .filter_map(|ahead| {
                let period = &ahead.period;
                let evidence = Evidence::InfectionAhead {
                    disease: period.disease.clone(),
                    from: period.from,
                    wet_hours: period.wet_hours,
                    mean_c: period.mean_c?,
                    severe: period.class == Class::Severe,
                    certainty: ahead.certainty,
                };
                Some(Event::on(period.from.date(), true, evidence))
            })
            .collect()
    }

    fn warm_rains(&self, least_mm: f64, mean_c: f64) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let year = self.today.year();
        daily
            .days()
            .filter(|day| day.date.year() == year)
            .filter_map(|day| {
                let rain = day.rain_mm.filter(|rain| rain_reaches(*rain, least_mm))?;
                let mean = f64::midpoint(day.low_c?, day.high_c?);
                let evidence = Evidence::WarmRain {
                    date: day.date,
                    rain_mm: rain,
                };
                (mean >= mean_c).then(|| Event::on(day.date, false, evidence))
            })
            .collect()
    }

    /// Days of this year with much rain; days in a row are one event.
    fn heavy_rains(&self, least_mm: f64) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        let daily = self.facts.weather.daily.iter();
        for day in daily.flat_map(DailyRecord::days) {
            let Some(rain_mm) = day.rain_mm.filter(|rain| rain_reaches(*rain, least_mm)) else {
                continue;
            };
            let follows = events
                .last()
                .is_some_and(|last| (day.date - last.date).num_days() <= 2);
            if day.date.year() == self.today.year() && !follows {
                let date = day.date;
                let evidence = Evidence::HeavyRain { date, rain_mm };
                events.push(Event::on(date, false, evidence));
            }
        }
        events
    }

    /// Dry spells of this year: the mornings on which too little rain had
    /// fallen over the days before, each at least as many days after the last
    /// one, so that a spell that goes on calls again.
    fn dry_spells(&self, least_mm: f64, days: u32) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let Some(first) = NaiveDate::from_ymd_opt(self.today.year(), 1, 1) else {
            return Vec::new();
        };
        let mut events: Vec<Event> = Vec::new();
        for date in first.iter_days().take_while(|date| *date <= self.today) {
            let fresh = events
                .last()
                .is_none_or(|last| (date - last.date).num_days() >= i64::from(days));
            if !fresh {
                continue;
            }
            let rain = (1..=u64::from(days))
                .map(|back| daily.day(date - Days::new(back))?.rain_mm)
                .sum::<Option<f64>>();
            if let Some(rain_mm) = rain.filter(|rain| !rain_reaches(*rain, least_mm)) {
                let evidence = Evidence::Dry {
                    date,
                    rain_mm,
                    days,
                };
                events.push(Event::on(date, false, evidence));
            }
        }
        events
    }

    /// Mornings of the winter before a season that came so far below the highs
    /// of the two days before; those within two weeks are one.
    fn plunges(&self, drop_k: f64, limit_c: f64, year: i32) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        let winter = NaiveDate::from_ymd_opt(year - 1, 10, 1)
            .zip(NaiveDate::from_ymd_opt(year, 4, 15))
            .map(|(from, to)| from..=to);
        let (Some(daily), Some(winter)) = (&self.facts.weather.daily, winter) else {
            return events;
        };
        let cold = daily
            .days()
            .filter(|day| winter.contains(&day.date))
            .filter_map(|day| Some((day.date, day.low_c.filter(|low| *low <= limit_c)?)));
        for (date, low_c) in cold {
            let highs = (1..=2).filter_map(|back| daily.day(date - Days::new(back))?.high_c);
            let Some(high_c) = highs.reduce(f64::max) else {
                continue;
            };
            let fresh = events
                .last()
                .is_none_or(|last| (date - last.date).num_days() > 14);
            if fresh && high_c - low_c >= drop_k {
                let evidence = Evidence::ColdPlunge {
                    date,
                    low_c,
                    high_c,
                };
                events.push(Event::on(date, false, evidence));
            }
        }
        events
    }

    /// Days of this year with an hour of so much wind; days in a row are one.
    /// The record keeps the wind of each hour, not its gusts.
    fn gales(&self, least_m_s: f64) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        let hours = self.facts.weather.hourly.iter();
        let hours = hours.flat_map(crate::facts::weather::HourlyRecord::hours);
        for hour in hours.filter(|hour| hour.start.year() == self.today.year()) {
            let Some(wind_m_s) = hour.wind_m_s.filter(|wind| *wind >= least_m_s) else {
                continue;
            };
            let date = hour.start.date();
            match events.last_mut() {
                Some(last) if (date - last.date).num_days() <= 2 => {
                    if let Evidence::Gale { wind_m_s: held, .. } = &mut last.evidence {
                        *held = held.max(wind_m_s);
                    }
                }
                _ => events.push(Event::on(date, false, Evidence::Gale { date, wind_m_s })),
            }
        }
        events
    }

    /// Damage of one cause that was noted this year.
    fn damage(&self, cause: crate::facts::journal::DamageCause) -> Vec<Event> {
        let noted = self.facts.damage.iter();
        let mut days: Vec<NaiveDate> = noted
            .filter(|(date, known)| *known == cause && date.year() == self.today.year())
            .map(|(date, _)| *date)
            .collect();
        days.sort();
        days.dedup_by_key(|date| *date);
        days.into_iter()
            .map(|date| {
                let cause = cause.word();
                Event::on(date, false, Evidence::DamageNoted { date, cause })
            })
            .collect()
    }

    /// The first night of the winter before a season that was cold enough;
    /// colder ones after it change nothing.
    fn winter_lows(&self, limit_c: f64, year: i32) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let winter = NaiveDate::from_ymd_opt(year - 1, 11, 1)
            .zip(NaiveDate::from_ymd_opt(year, 3, 31))
            .map(|(from, to)| from..=to);
        let Some(winter) = winter else {
            return Vec::new();
        };
        let cold = daily
            .days()
            .filter(|day| winter.contains(&day.date))
            .find_map(|day| Some((day.date, day.low_c.filter(|low| *low <= limit_c)?)));
        let event =
            cold.map(|(date, low_c)| Event::on(date, false, Evidence::WinterLow { date, low_c }));
        event.into_iter().collect()
    }
}
