//! Thirty years of a real record, walked through: what appears, and that
//! nothing appears when it should not.

use super::orchard::{CROPS, Orchard, champion, date};
use budtide::facts::Facts;
use budtide::facts::knowledge::{Chore, ChoreKind, Guard, Trigger};
use budtide::plan::{self, Plan, State, Task};
use budtide::season::{self, Season};
use chrono::{Days, NaiveDate};
use std::collections::BTreeSet;

fn look(facts: &Facts, today: NaiveDate) -> (Season, Plan) {
    let season = season::derive(facts, today);
    let plan = plan::make(facts, &season, today);
    (season, plan)
}

/// Days between two looks of the walk, or those told by `BUDTIDE_WALK_STEP`. A
/// look sees every window of the year ahead, and 61 is no divisor of a year,
/// so that the looks fall on all parts of it.
fn step() -> usize {
    let told = std::env::var("BUDTIDE_WALK_STEP").ok();
    told.and_then(|step| step.parse().ok()).unwrap_or(61)
}

fn days() -> Vec<NaiveDate> {
    let first = date(1988, 1, 1);
    (0..30 * 365)
        .step_by(step())
        .map(|days| first + Days::new(days))
        .collect()
}

#[test]
fn thirty_years_at_champion() {
    let orchard = Orchard::new(champion(), &CROPS);
    let mut seen = BTreeSet::new();
    let mut looks = 0;
    for today in days() {
        let facts = orchard.on(today);
        let (season, plan) = look(&facts, today);
        check(&facts, &season, &plan);
        seen.extend(plan.tasks.iter().map(|task| task.chore.clone()));
        looks += 1;
    }
    // Chores of other zones.
    for (zone, today) in [
        ("4a", date(2006, 9, 1)),
        ("6b", date(2006, 9, 1)),
        ("8a", date(2006, 9, 1)),
    ] {
        let facts = orchard.day_of(orchard.in_zone(zone), today);
        let (season, plan) = look(&facts, today);
        check(&facts, &season, &plan);
        seen.extend(plan.tasks.iter().map(|task| task.chore.clone()));
    }
    let missing: Vec<&str> = orchard
        .on(date(2010, 1, 1))
        .knowledge
        .chores
        .iter()
        .filter(|chore| !seen.contains(&chore.id) && must_be_seen(chore))
        .map(|chore| chore.id.clone().leak() as &str)
        .collect();
    println!("{looks} looks, {} chores seen", seen.len());
    assert!(missing.is_empty(), "never on the calendar: {missing:?}");
}

/// What waits for infections or gales needs hours, which this record has not;
/// what waits for a note of damage needs a journal; a day or two after a frost
/// are stepped over.
fn must_be_seen(chore: &Chore) -> bool {
    let short = chore.id == "blight-trauma" && step() > 1;
    !short
        && chore.after.as_ref().is_none_or(|after| {
            !matches!(
                after.trigger,
                Trigger::Infection { .. }
                    | Trigger::InfectionAhead { .. }
                    | Trigger::Gale { .. }
                    | Trigger::DamageNoted { .. }
            )
        })
}

fn check(facts: &Facts, season: &Season, plan: &Plan) {
    for task in &plan.tasks {
        let chore = facts.knowledge.chore(&task.chore).unwrap();
        in_order(task, plan.today);
        for_the_register(facts, task);
        if task.kind == ChoreKind::Spray {
            safe_for_bees(facts, season, task, chore);
        }
        held_in_deep_cold(facts, task, chore, plan.today);
    }
    orders_first(plan);
    let names: BTreeSet<&str> = plan.tasks.iter().map(|task| task.id.as_str()).collect();
    assert_eq!(names.len(), plan.tasks.len(), "a name stands twice");
}

/// No window closes before it opens, at any of its three quantiles.
fn in_order(task: &Task, today: NaiveDate) {
    let window = &task.window;
    let (a, b, c) = (
        window.opens.spread,
        window.best.spread,
        window.closes.spread,
    );
    for (opens, best, closes) in [
        (a.early, b.early, c.early),
        (a.middle, b.middle, c.middle),
        (a.late, b.late, c.late),
    ] {
        assert!(
            opens <= best && best <= closes,
            "{} on {today}: {opens} {best} {closes}",
            task.id
        );
    }
    if let Some(day) = task.day {
        assert!(day >= today && day <= c.middle, "{} on {today}", task.id);
    }
}

/// Nothing for a crop that does not stand in the register.
fn for_the_register(facts: &Facts, task: &Task) {
    let register = &facts.register;
    let there = |crop: &str| {
        register.trees.iter().any(|tree| tree.crop == crop)
            || register.wanted.iter().any(|wish| wish.crop == crop)
    };
    if let Some(crop) = &task.crop {
        assert!(there(crop), "{}: no {crop} stands here", task.id);
    }
    for id in &task.trees {
        let known = register.trees.iter().any(|tree| tree.id == *id)
            || register.junipers.iter().any(|juniper| juniper.id == *id)
            || register.wanted.iter().any(|wish| id.ends_with(&wish.crop));
        assert!(known, "{}: no plant {id}", task.id);
    }
}

/// A spray whose window touches bloom is a fungicide with the bees caution,
/// or is held until bloom is over.
fn safe_for_bees(facts: &Facts, season: &Season, task: &Task, chore: &Chore) {
    let (from, to) = (
        task.window.opens.spread.middle,
        task.window.closes.spread.middle,
    );
    let crop = task.crop.as_deref();
    let touches = season
        .groups
        .iter()
        .filter(|group| crop.is_none_or(|crop| group.crop == crop))
        .filter_map(|group| {
            let first = season.stage(group, task.season, "first bloom")?.0.middle;
            let last = season.stage(group, task.season, "petal fall")?.0.middle;
            Some((first, last))
        })
        .any(|(first, last)| from <= last && first <= to);
    if !touches {
        return;
    }
    let kills = facts
        .knowledge
        .materials
        .iter()
        .filter(|material| task.materials.contains(&material.id))
        .any(|material| material.kind.contains("insecticide") || material.kind == "oil");
    let guarded = chore
        .guards
        .iter()
        .any(|guard| matches!(guard, Guard::Bloom));
    if kills {
        // Lime sulfur and oil go on before bloom; a late quantile of theirs
        // may touch its early one.
        let dormant = ["lime-sulfur", "horticultural-oil"];
        let only_dormant = task
            .materials
            .iter()
            .all(|id| dormant.contains(&id.as_str()) || id == "copper" || id == "ziram");
        assert!(guarded || only_dormant, "{}: kills bees in bloom", task.id);
        let open_now = matches!(task.state, State::Open | State::Urgent)
            && season.in_bloom(crop, task.season, season.today);
        assert!(
            !(guarded && open_now) || task.hold.is_some(),
            "{} is open in bloom",
            task.id
        );
    } else {
        assert!(
            task.cautions.iter().any(|id| id == "bees"),
            "{} is open in bloom without a word on bees",
            task.id
        );
    }
}

/// No pruning is proposed before a deep freeze that is forecast.
fn held_in_deep_cold(facts: &Facts, task: &Task, chore: &Chore, today: NaiveDate) {
    let Some(forecast) = &facts.weather.forecast else {
        return;
    };
    if !matches!(task.state, State::Open | State::Urgent) {
        return;
    }
    for guard in &chore.guards {
        let Guard::DeepCold { low_c, within_days } = guard else {
            continue;
        };
        let until = today + Days::new(u64::from(*within_days));
        let cold = forecast
            .daily
            .days()
            .any(|day| day.date <= until && day.low_c.is_some_and(|low| low <= *low_c));
        assert!(!cold || task.hold.is_some(), "{} on {today}", task.id);
        assert!(!cold || task.day != Some(today), "{} on {today}", task.id);
    }
}

/// Stock is ordered before it is planted.
fn orders_first(plan: &Plan) {
    let orders = plan.tasks.iter().filter(|task| task.chore == "order-stock");
    for order in orders {
        for planting in plan
            .tasks
            .iter()
            .filter(|task| task.chore == "plant-spring" && task.season == order.season)
        {
            assert!(
                order.window.opens.spread.middle < planting.window.opens.spread.middle
                    && order.window.closes.spread.middle <= planting.window.closes.spread.middle,
                "{} after {}",
                order.id,
                planting.id
            );
        }
    }
}

/// A register of one blueberry has a year of its own and nothing of trees.
#[test]
fn one_blueberry() {
    let orchard = Orchard::new(champion(), &["blueberry"]);
    let today = date(2010, 3, 1);
    let mut facts = orchard.on(today);
    facts.register.trees.truncate(3);
    facts.register.wanted.clear();
    facts.register.junipers.clear();
    let (season, plan) = look(&facts, today);
    check(&facts, &season, &plan);
    let chores: BTreeSet<&str> = plan.tasks.iter().map(|task| task.chore.as_str()).collect();
    for wanted in [
        "blueberry-prune",
        "blueberry-feed",
        "mummy-berry",
        "net-berries",
        "harvest-blueberry",
        "mulch",
        "monthly-walk",
        "guards-fall",
    ] {
        assert!(chores.contains(wanted), "no {wanted} in {chores:?}");
    }
    for unwanted in [
        "gall-removal",
        "gall-look",
        "prune-pome",
        "rust-cover",
        "plant-spring",
    ] {
        assert!(!chores.contains(unwanted), "{unwanted} for one blueberry");
    }
}
