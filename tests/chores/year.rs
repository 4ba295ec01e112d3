//! The year shared out, read as a keeper reads it, and the sprays' limits.

use super::orchard::{CROPS, Orchard, champion, date, shipped};
use budtide::config::register;
use budtide::facts::Facts;
use budtide::facts::journal::{Damage, DamageCause, Noted, Spray};
use budtide::facts::knowledge::{ChoreKind, Point};
use budtide::facts::weather::{HourlyRecord, Weather};
use budtide::plan::days::Prospect;
use budtide::plan::days::share_out::week_of;
use budtide::plan::{self, Plan, State, Task, sprays};
use budtide::render::page::{self, Layout, WIDTH};
use budtide::render::views;
use budtide::season::evidence::{Evidence, SprayLimit};
use budtide::season::{self, Season};
use budtide::service::gather;
use chrono::{Days, NaiveDate};

fn planned(facts: &Facts, today: NaiveDate) -> (Season, Plan) {
    let season = season::derive(facts, today);
    let plan = plan::make(facts, &season, today);
    (season, plan)
}

fn demo() -> (Facts, NaiveDate) {
    let (year, month, day) = gather::DEMO_DAY;
    let today = date(year, month, day);
    (gather::demo(today).unwrap(), today)
}

fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

/// What a plan must be, whatever the weather: every given day lies in its
/// task's window, no week holds more than the keeper has, and nothing gets
/// lost between wanted, given and left over.
fn sound(plan: &Plan) {
    for task in plan.tasks.iter().filter(|task| pending(task)) {
        let (opens, closes) = (&task.window.opens.spread, &task.window.closes.spread);
        for (day, minutes) in &task.fit.days {
            assert!(*minutes > 0.0, "{}", task.id);
            assert!(*day >= plan.today, "{}", task.id);
            assert!((opens.middle..=closes.middle).contains(day), "{}", task.id);
        }
    }
    let (mut wanted, mut given, mut left) = (0.0, 0.0, 0.0);
    for week in &plan.load {
        assert!(week.given_min <= week.room_min + 1e-9, "{week:?}");
        wanted += week.wanted_min;
        given += week.given_min;
        left += week.left_over_min;
    }
    assert!((wanted - given - left).abs() < 1e-6);
}

#[test]
fn a_year_shared_out_fits_the_hours_of_its_keeper() {
    let (mut facts, today) = demo();
    for hours in [0.5, 2.0, 6.0, 40.0] {
        facts.preferences.hours_per_week = hours;
        let (_, plan) = planned(&facts, today);
        sound(&plan);
        assert_eq!(plan.load[1].room_min, hours * 60.0);
    }
    facts.preferences.hours_per_week = 0.0;
    assert!(planned(&facts, today).1.load.is_empty());
    // With time enough nothing is left but what no day of its window allows.
    facts.preferences.hours_per_week = 100.0;
    let (_, plan) = planned(&facts, today);
    let left: f64 = plan.load.iter().map(|week| week.left_over_min).sum();
    let wanted: f64 = plan.load.iter().map(|week| week.wanted_min).sum();
    assert!(left < 0.03 * wanted, "{left} of {wanted}");
}

#[test]
fn many_days_of_many_years_are_sound() {
    let orchard = Orchard::new(champion(), &CROPS);
    for (year, month, day) in [(1990, 1, 1), (1999, 4, 20), (2007, 7, 4), (2012, 11, 1)] {
        let today = date(year, month, day);
        sound(&planned(&orchard.on(today), today).1);
    }
}

/// `comes_after` of the catalogue: pruning before the dormant spray.
#[test]
fn what_comes_first_is_done_first() {
    let orchard = Orchard::new(champion(), &["apple"]);
    let today = date(2012, 1, 1);
    let mut facts = orchard.on(today);
    facts.preferences.hours_per_week = 12.0;
    let (_, plan) = planned(&facts, today);
    let of = |chore: &str| plan.tasks.iter().find(|task| task.chore == chore).unwrap();
    let (prune, oil) = (of("prune-pome"), of("oil-dormant"));
    let last = prune.fit.days.last().unwrap().0;
    let first = oil.fit.days.first().unwrap().0;
    assert!(last < first, "pruned until {last}, oiled from {first}");
}

#[test]
fn bloom_and_the_forecast_decide_what_suits() {
    let (facts, today) = demo();
    let (season, plan) = planned(&facts, today);
    let prospect = Prospect::new(&facts, &season, today);
    for task in plan.tasks.iter().filter(|task| pending(task)) {
        let chore = facts.knowledge.chore(&task.chore).unwrap();
        let (opens, closes) = (task.window.opens.spread, task.window.closes.spread);
        for day in opens
            .middle
            .iter_days()
            .take_while(|day| *day <= closes.middle)
        {
            let suits = prospect.suits(task, day);
            assert!((0.0..=1.0).contains(&suits.chance));
            if suits.forecast {
                assert_eq!(suits.chance == 0.0, suits.hold.is_some(), "{}", task.id);
            }
            let bees = chore
                .guards
                .iter()
                .any(|guard| matches!(guard, budtide::facts::knowledge::Guard::Bloom));
            if bees && season.in_bloom(task.crop.as_deref(), task.season, day) {
                assert_eq!(suits.chance, 0.0, "{} in bloom", task.id);
            }
        }
        let enough: Vec<f64> = (0..4).map(|n| prospect.enough(task, today, n)).collect();
        assert_eq!(enough[0], 1.0);
        assert!(
            enough.windows(2).all(|pair| pair[0] >= pair[1] - 1e-9),
            "{enough:?}"
        );
    }
}

/// A register of one blueberry, and one of five thousand trees.
#[test]
fn small_and_large_registers_read_well() {
    let (mut facts, today) = demo();
    let many: String = (0..5_000)
        .map(|n| {
            let crop = ["apple", "pear", "peach", "blueberry"][n % 4];
            format!("[[tree]]\nid = \"T{n}\"\ncrop = \"{crop}\"\nplanted = 2012\n")
        })
        .collect();
    let one = "[[tree]]\nid = \"B1\"\ncrop = \"blueberry\"\ncultivar = \"Duke\"\nplanted = 2020\n";
    for (text, id, most) in [(one, "B1", 200), (many.as_str(), "T7", 700)] {
        facts.register = register::read("register.toml", text, &facts.knowledge.crops).unwrap();
        let (season, plan) = planned(&facts, today);
        sound(&plan);
        for task in &plan.tasks {
            let crop = task.crop.as_deref();
            assert!(
                crop.is_none_or(|crop| facts.register.trees.iter().any(|tree| tree.crop == crop)),
                "{}: nothing for crops that are not there",
                task.id
            );
        }
        let pages = [
            page::calendar(&facts, &season, &plan, &Layout::Lanes),
            page::calendar(&facts, &season, &plan, &Layout::List),
            page::today(&facts, &season, &plan),
            views::week(&facts, &season, &plan),
            views::month(&facts, &season, &plan),
            views::tree(&facts, &season, &plan, id),
            views::chore(&facts, &season, &plan, "blueberry-prune"),
            views::hours(&facts, &season, &plan),
        ];
        for lines in &pages {
            assert!(
                lines.len() > 4 && lines.len() < most,
                "{} lines",
                lines.len()
            );
            for line in lines {
                assert!(line.chars().count() <= WIDTH, "{line}");
            }
            let text = lines.join("\n");
            assert!(
                !text.contains("1 plants") && !text.contains("1 blueberries"),
                "{text}"
            );
        }
        let liberty = views::tree(&demo().0, &season, &plan, "A4").join(" ");
        assert!(
            liberty.contains("cedar-apple rust"),
            "resistant, and told so"
        );
        assert!(
            pages[1]
                .join(" ")
                .contains("blueberry-prune-blueberry-2027")
        );
    }
}

fn spray(day: NaiveDate, materials: &[&str], crop: &str) -> Noted<Spray> {
    Noted {
        date: day,
        trees: Vec::new(),
        crop: Some(crop.to_owned()),
        note: None,
        what: Spray {
            materials: materials.iter().map(|&id| id.to_owned()).collect(),
            ..Spray::default()
        },
    }
}

fn limits<'t>(task: &'t Task, material: &str) -> Vec<&'t SprayLimit> {
    task.reasons
        .iter()
        .filter_map(|reason| match reason {
            Evidence::SprayLimit {
                material: id,
                limit,
            } if id == material => Some(limit),
            _ => None,
        })
        .collect()
}

fn rust_cover(plan: &Plan) -> &Task {
    let task = plan.tasks.iter().find(|task| task.chore == "rust-cover");
    task.unwrap()
}

/// Days to harvest: mancozeb, 77 days on apple (materials.csv), against the
/// harvest that the season expects.
#[test]
fn days_to_harvest_are_held_against_the_expected_harvest() {
    let (facts, today) = demo();
    let (season, plan) = planned(&facts, today);
    let apples = season.groups.iter().filter(|group| group.crop == "apple");
    let first = apples
        .filter_map(|group| season.point(&Point::Harvest { last: false }, group, 2026))
        .map(|(spread, _)| spread.early)
        .min()
        .unwrap();
    let cover = rust_cover(&plan);
    match limits(cover, "mancozeb")[..] {
        [SprayLimit::Harvest { until, harvest, .. }] => {
            assert_eq!(*harvest, first);
            assert_eq!(*until, first - Days::new(77));
        }
        ref other => panic!("{other:?}"),
    }
    assert!(cover.materials.iter().any(|id| id == "mancozeb"));
    // Six weeks on, that day is past.
    let later = date(2026, 6, 1);
    let (_, plan) = planned(&gather::demo(later).unwrap(), later);
    assert!(
        rust_cover(&plan)
            .materials
            .iter()
            .all(|id| id != "mancozeb")
    );
}

/// Two sprays of a group in a season are enough, and no group twice running
/// where another will do (British Columbia, in materials.csv).
#[test]
fn groups_take_turns_and_have_an_end() {
    let (mut facts, today) = demo();
    facts.journal.sprays = vec![spray(date(2026, 4, 16), &["myclobutanil"], "apple")];
    let (_, plan) = planned(&facts, today);
    let cover = rust_cover(&plan);
    assert!(matches!(
        limits(cover, "myclobutanil")[..],
        [SprayLimit::Rotate { .. }]
    ));
    let last = cover.materials.last().unwrap();
    let code = |id: &str| {
        let materials = &facts.knowledge.materials;
        materials
            .iter()
            .find(|one| one.id == id)
            .unwrap()
            .code
            .clone()
    };
    assert_eq!(code(last), "FRAC 3", "{:?}", cover.materials);
    facts
        .journal
        .sprays
        .push(spray(date(2026, 4, 20), &["fenbuconazole"], "apple"));
    let (_, plan) = planned(&facts, today);
    let cover = rust_cover(&plan);
    assert!(cover.materials.iter().all(|id| code(id) != "FRAC 3"));
    assert!(matches!(
        limits(cover, "myclobutanil")[..],
        [SprayLimit::UsedUp { uses: 2, most: 2 }]
    ));
}

/// Oil near captan or sulfur burns (New England, Ontario, UC).
#[test]
fn captan_and_sulfur_keep_away_from_oil() {
    let (mut facts, today) = demo();
    let scab = |plan: &Plan| {
        let task = plan
            .tasks
            .iter()
            .find(|task| task.id == "scab-cover-apple-2026");
        task.unwrap().materials.clone()
    };
    let free = scab(&planned(&facts, today).1);
    assert!(free.iter().any(|id| id == "captan") || free.iter().any(|id| id == "sulfur"));
    facts.journal.sprays = vec![spray(date(2026, 4, 20), &["horticultural-oil"], "apple")];
    let (_, plan) = planned(&facts, today);
    for id in ["captan", "sulfur"] {
        assert!(scab(&plan).iter().all(|one| one != id), "{id} after oil");
    }
}

/// Captan does nothing against the rusts (reference `disease-models.md`): it
/// stands under no chore against one of them, in any state of the journal.
#[test]
fn captan_is_never_offered_against_rust() {
    let (facts, _) = demo();
    for today in ["2026-03-20", "2026-04-22", "2026-05-20", "2026-06-20"] {
        let today = today.parse().unwrap();
        let facts = gather::demo(today).unwrap();
        for task in planned(&facts, today).1.tasks {
            let rust = ["rust-cover", "rust-after"].contains(&task.chore.as_str());
            assert!(!rust || task.materials.iter().all(|id| id != "captan"));
        }
    }
    let captan = facts
        .knowledge
        .materials
        .iter()
        .find(|one| one.id == "captan");
    assert!(
        captan
            .unwrap()
            .fails_on
            .iter()
            .any(|id| id == "cedar-apple-rust")
    );
}

/// No call after an infection where the cover noted still held.
#[test]
fn a_cover_that_held_spares_the_spray_after() {
    let mut called = 0;
    for today in (0..40).map(|n| date(2026, 4, 20) + Days::new(n)) {
        let mut facts = gather::demo(today).unwrap();
        let after = |facts: &Facts| {
            let plan = planned(facts, today).1;
            let tasks = plan
                .tasks
                .into_iter()
                .filter(|task| task.chore == "rust-after");
            tasks.collect::<Vec<_>>()
        };
        let Some(task) = after(&facts).into_iter().next() else {
            continue;
        };
        called += 1;
        let from = task.reasons.iter().find_map(|reason| match reason {
            Evidence::Infection { from, .. } => Some(*from),
            _ => None,
        });
        let from = from.unwrap();
        facts.journal.sprays = vec![spray(from - Days::new(1), &["mancozeb"], "apple")];
        assert!(
            after(&facts).iter().all(|other| other.id != task.id),
            "{today}"
        );
        // Captan covers nothing here, and an old spray no more.
        for (days, id) in [(1, "captan"), (12, "mancozeb")] {
            facts.journal.sprays = vec![spray(from - Days::new(days), &[id], "apple")];
            assert!(
                after(&facts).iter().any(|other| other.id == task.id),
                "{id}"
            );
        }
        break;
    }
    assert!(called > 0, "the demo's spring has its infections");
    let (facts, today) = demo();
    assert_eq!(
        sprays::covered(&facts, "A1", Some("apple"), "cedar-apple-rust", today),
        None
    );
}

/// Frost is told before it comes, and not on its morning any more.
#[test]
fn frost_ahead_is_over_on_its_morning() {
    let tasks = |today: NaiveDate| {
        let facts = gather::demo(today).unwrap();
        let plan = planned(&facts, today).1;
        let ahead = plan
            .tasks
            .into_iter()
            .filter(|task| task.chore == "frost-tonight");
        ahead.collect::<Vec<_>>()
    };
    // The demo's nights to 21 and 22 April 2026.
    let before = tasks(date(2026, 4, 20));
    assert_eq!(before.len(), 1, "told on the eve");
    assert_eq!(before[0].day, Some(date(2026, 4, 20)), "before the first");
    let closes = before[0].window.closes.spread.middle;
    assert_eq!(closes, date(2026, 4, 21), "the eve of the second");
    assert_eq!(
        tasks(date(2026, 4, 21)).len(),
        1,
        "the second night is ahead"
    );
    assert_eq!(tasks(date(2026, 4, 22)).len(), 0, "both are over");
}

#[test]
fn hail_wind_and_a_plunge_of_cold_call_for_a_walk() {
    let (mut facts, today) = demo();
    let chores = |facts: &Facts| -> Vec<String> {
        let plan = planned(facts, today).1;
        plan.tasks.into_iter().map(|task| task.chore).collect()
    };
    let calm = chores(&facts);
    for id in ["hail-walk", "wind-walk"] {
        assert!(!calm.iter().any(|chore| chore == id), "{id}");
    }
    facts.journal.damage = vec![Noted {
        date: today - Days::new(1),
        trees: Vec::new(),
        crop: None,
        note: None,
        what: Damage {
            cause: DamageCause::Hail,
            share: None,
        },
    }];
    let mut hourly = facts.weather.hourly.clone().unwrap();
    let eve = (today - Days::new(1)).and_hms_opt(15, 0, 0).unwrap();
    let mut hour = hourly.at(hourly.index(eve).unwrap());
    hour.wind_m_s = Some(16.0);
    hourly.put(hour);
    facts.weather = Weather {
        hourly: Some(hourly) as Option<HourlyRecord>,
        ..facts.weather
    };
    let rough = chores(&facts);
    for id in ["hail-walk", "wind-walk"] {
        assert!(rough.iter().any(|chore| chore == id), "{id}");
    }
    // A plunge from 55 to -5 °F, in the measured days of the winter.
    let today = date(2026, 1, 20);
    let mut facts = gather::demo(today).unwrap();
    let daily = facts.weather.daily.as_mut().unwrap();
    let cold = today - Days::new(3);
    let mut before = daily.day(cold - Days::new(1)).unwrap();
    before.high_c = Some(12.8);
    daily.put(before);
    let mut morning = daily.day(cold).unwrap();
    morning.low_c = Some(-20.6);
    daily.put(morning);
    let plan = planned(&facts, today).1;
    assert!(plan.tasks.iter().any(|task| task.chore == "cold-plunge"));
}

/// `zones` holds for chores about no crop as well.
#[test]
fn zones_hold_for_chores_without_crops() {
    let (mut facts, today) = demo();
    let there = |facts: &Facts| {
        let plan = planned(facts, today).1;
        plan.tasks.iter().any(|task| task.chore == "monthly-walk")
    };
    assert!(there(&facts));
    for chore in &mut facts.knowledge.chores {
        if chore.id == "monthly-walk" {
            chore.needs.zones = Some((9, 10));
        }
    }
    assert!(!there(&facts));
}

/// Without any usual date each crop keeps its own place: blackberries do not
/// bloom with the apples, nor in April in zone 5.
#[test]
fn crops_bloom_in_their_order_without_a_usual_date() {
    let mut station = champion();
    station.usual_bloom = None;
    let orchard = Orchard::new(station, &CROPS);
    let today = date(2012, 1, 1);
    let facts = orchard.on(today);
    let season = season::derive(&facts, today);
    let bloom = |crop: &str| {
        let group = season.groups.iter().find(|group| group.crop == crop);
        season
            .stage(group.unwrap(), 2012, "full bloom")
            .unwrap()
            .0
            .middle
    };
    assert!(bloom("peach") < bloom("apple"));
    assert!(bloom("apple") < bloom("blackberry"));
    assert!(
        bloom("blackberry") > date(2012, 5, 5),
        "{}",
        bloom("blackberry")
    );
}

/// A chore of the keeper's own changes the shipped one, an empty file takes
/// it away, and a broken one is told by file, line and key.
#[test]
fn a_keepers_own_chores() {
    let folder = tempfile::tempdir().unwrap();
    let chores = folder.path().join("chores");
    std::fs::create_dir(&chores).unwrap();
    let shipped_file = include_str!("../../config/chores/whitewash.toml");
    let own = shipped_file.replace("lane = \"Whitewash trunks\"", "lane = \"Paint trunks\"");
    std::fs::write(chores.join("whitewash.toml"), own).unwrap();
    std::fs::write(chores.join("japanese-beetle.toml"), "").unwrap();
    let load = || budtide::config::knowledge::load(Some(folder.path()));
    let knowledge = load().unwrap_or_else(|faults| panic!("{}", faults[0]));
    assert_eq!(knowledge.chore("whitewash").unwrap().lane, "Paint trunks");
    assert!(knowledge.chore("japanese-beetle").is_none());
    assert_eq!(knowledge.chores.len(), shipped().chores.len() - 1);
    let broken = shipped_file.replace("kind = \"protection\"", "kind = \"protektion\"");
    std::fs::write(chores.join("whitewash.toml"), broken).unwrap();
    let text = load().unwrap_err()[0].to_string();
    assert!(text.contains("chores/whitewash.toml:4:8: kind:"), "{text}");
    assert!(text.contains("\"protection\""), "{text}");
}

/// Sprays are for those who want them.
#[test]
fn who_wants_no_spray_gets_none() {
    let (mut facts, today) = demo();
    facts.preferences.sprays = budtide::facts::preferences::Sprays::None;
    let (_, plan) = planned(&facts, today);
    assert!(plan.tasks.iter().all(|task| task.kind != ChoreKind::Spray));
    assert_eq!(week_of(today), date(2026, 4, 20));
}
