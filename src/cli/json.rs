//! JSON for other programs. The keys are stable and told in the README.

use crate::facts::Facts;
use crate::plan::changes::{Change, What};
use crate::plan::window::Bound;
use crate::plan::{Plan, Task};
use crate::render::rust as words;
use crate::render::sentence::Words;
use crate::season::Season;
use crate::season::frost_toll::FrostToll;
use crate::season::spread::Spread;
use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use serde_json::{Value, json};

/// A date as a distribution.
#[derive(Debug, Serialize)]
struct SpreadView {
    p10: NaiveDate,
    p50: NaiveDate,
    p90: NaiveDate,
    basis: &'static str,
}

impl From<Spread> for SpreadView {
    fn from(spread: Spread) -> Self {
        SpreadView {
            p10: spread.early,
            p50: spread.middle,
            p90: spread.late,
            basis: spread.basis.word(),
        }
    }
}

#[derive(Debug, Serialize)]
struct BoundView {
    #[serde(flatten)]
    spread: SpreadView,
    because: String,
}

#[derive(Debug, Serialize)]
struct CautionView<'f> {
    id: &'f str,
    short: &'f str,
}

#[derive(Debug, Serialize)]
struct DayView {
    day: NaiveDate,
    minutes: f64,
}

#[derive(Debug, Serialize)]
struct WeekView {
    from: NaiveDate,
    room_minutes: f64,
    wanted_minutes: f64,
    given_minutes: f64,
    no_place_minutes: f64,
}

#[derive(Debug, Serialize)]
struct TaskView<'p> {
    id: &'p str,
    chore: &'p str,
    kind: &'static str,
    say: String,
    season: i32,
    crop: Option<&'p str>,
    trees: &'p [String],
    plants: u32,
    state: &'static str,
    day: Option<NaiveDate>,
    days: Vec<DayView>,
    no_place_minutes: f64,
    wait: Option<String>,
    opens: BoundView,
    best: BoundView,
    closes: BoundView,
    reasons: Vec<String>,
    cautions: Vec<CautionView<'p>>,
    materials: &'p [String],
    minutes: Option<[f64; 2]>,
    worth: u8,
}

#[derive(Debug, Serialize)]
struct PlanView<'p> {
    place: &'p str,
    today: NaiveDate,
    until: NaiveDate,
    weather_seen_until: Option<NaiveDate>,
    past_years: usize,
    tasks: Vec<TaskView<'p>>,
    weeks: Vec<WeekView>,
    notes: Vec<String>,
    caveats: Vec<String>,
    weather_credits: &'p [String],
}

fn task_view<'p>(facts: &'p Facts, words: Words<'_>, task: &'p Task) -> TaskView<'p> {
    let bound = |bound: &Bound| BoundView {
        spread: bound.spread.into(),
        because: words.bound(bound),
    };
    TaskView {
        id: &task.id,
        chore: &task.chore,
        kind: task.kind.word(),
        say: words.say(task),
        season: task.season,
        crop: task.crop.as_deref(),
        trees: &task.trees,
        plants: task.plants,
        state: task.state.word(),
        day: task.day,
        days: task
            .fit
            .days
            .iter()
            .map(|&(day, minutes)| DayView { day, minutes })
            .collect(),
        no_place_minutes: task.fit.left_over_min,
        wait: task.hold.as_ref().map(|hold| words.hold(hold)),
        opens: bound(&task.window.opens),
        best: bound(&task.window.best),
        closes: bound(&task.window.closes),
        reasons: task
            .reasons
            .iter()
            .map(|reason| words.reason(reason))
            .collect(),
        cautions: task
            .cautions
            .iter()
            .filter_map(|id| facts.knowledge.caution(id))
            .map(|caution| CautionView {
                id: &caution.id,
                short: &caution.short,
            })
            .collect(),
        materials: &task.materials,
        minutes: task
            .minutes
            .map(|(least, most)| [least.round(), most.round()]),
        worth: task.worth,
    }
}

fn text<T: Serialize>(value: &T) -> Result<String, String> {
    serde_json::to_string_pretty(value).map_err(|error| format!("no JSON can be made: {error}"))
}

/// The plan, with those of its tasks that are wanted.
pub fn plan(
    facts: &Facts,
    season: &Season,
    plan: &Plan,
    wanted: &dyn Fn(&Task) -> bool,
) -> Result<String, String> {
    let words = Words::for_files(facts, plan.today);
    text(&PlanView {
        place: &facts.place.name,
        today: plan.today,
        until: plan.until,
        weather_seen_until: season.seen_until,
        past_years: season.past_years,
        tasks: plan
            .tasks
            .iter()
            .filter(|task| wanted(task))
            .map(|task| task_view(facts, words, task))
            .collect(),
        weeks: plan
            .load
            .iter()
            .map(|week| WeekView {
                from: week.monday,
                room_minutes: week.room_min,
                wanted_minutes: week.wanted_min,
                given_minutes: week.given_min,
                no_place_minutes: week.left_over_min,
            })
            .collect(),
        notes: plan.notes.iter().map(|note| words.note(note)).collect(),
        caveats: season
            .caveats
            .iter()
            .map(|caveat| words.caveat(caveat))
            .collect(),
        weather_credits: &facts.weather.credits,
    })
}

/// One task.
pub fn task(facts: &Facts, plan: &Plan, task: &Task) -> Result<String, String> {
    text(&task_view(facts, Words::for_files(facts, plan.today), task))
}

#[derive(Debug, Serialize)]
struct TreeView<'f> {
    id: &'f str,
    crop: &'f str,
    cultivar: Option<&'f str>,
    rootstock: Option<&'f str>,
    planted: Option<i32>,
    row: Option<&'f str>,
    spot: Option<u32>,
    count: u32,
    status: &'static str,
    notes: Option<&'f str>,
}

#[derive(Debug, Serialize)]
struct JuniperView<'f> {
    id: &'f str,
    place: &'f str,
    distance_m: f64,
    removable: Option<bool>,
    count: u32,
}

#[derive(Debug, Serialize)]
struct RegisterView<'f> {
    trees: Vec<TreeView<'f>>,
    junipers: Vec<JuniperView<'f>>,
}

/// The register.
pub fn trees(facts: &Facts) -> Result<String, String> {
    let trees = facts
        .register
        .trees
        .iter()
        .map(|tree| TreeView {
            id: &tree.id,
            crop: &tree.crop,
            cultivar: tree.cultivar.as_deref(),
            rootstock: tree.rootstock.as_deref(),
            planted: tree.planted.map(|planted| planted.year()),
            row: tree.row.as_deref(),
            spot: tree.spot,
            count: tree.count,
            status: tree.status.word(),
            notes: tree.notes.as_deref(),
        })
        .collect();
    let junipers = facts
        .register
        .junipers
        .iter()
        .map(|juniper| JuniperView {
            id: &juniper.id,
            place: &juniper.place,
            distance_m: juniper.distance_m.round(),
            removable: juniper.removable,
            count: juniper.count,
        })
        .collect();
    text(&RegisterView { trees, junipers })
}

#[derive(Debug, Serialize)]
struct StageView<'s> {
    stage: &'s str,
    bbch: &'s str,
    seen: Option<NaiveDate>,
    when: Option<SpreadView>,
}

#[derive(Debug, Serialize)]
struct GroupView<'s> {
    crop: &'s str,
    cultivar: Option<&'s str>,
    year: i32,
    stages: Vec<StageView<'s>>,
}

/// The growth stages of this year.
pub fn stages(season: &Season) -> Result<String, String> {
    let year = season.today.year();
    let groups: Vec<GroupView<'_>> = season
        .groups
        .iter()
        .map(|group| GroupView {
            crop: &group.crop,
            cultivar: group.cultivar.as_deref(),
            year,
            stages: season
                .stage_list(group, year)
                .into_iter()
                .map(|(stage, bbch, when, seen)| StageView {
                    stage,
                    bbch,
                    seen,
                    when: when.map(Into::into),
                })
                .collect(),
        })
        .collect();
    text(&groups)
}

#[derive(Debug, Serialize)]
struct ChangeView<'c> {
    task: &'c str,
    say: Option<String>,
    what: &'static str,
    opens_before: Option<NaiveDate>,
    opens: Option<NaiveDate>,
    closes_before: Option<NaiveDate>,
    closes: Option<NaiveDate>,
    because: Vec<String>,
}

/// The differences between two calendars.
pub fn changes(
    facts: &Facts,
    before: &Plan,
    after: &Plan,
    changes: &[Change],
) -> Result<String, String> {
    let words = Words::for_files(facts, after.today);
    let views: Vec<ChangeView<'_>> = changes
        .iter()
        .map(|change| {
            let task = [after, before]
                .iter()
                .find_map(|plan| plan.tasks.iter().find(|task| task.id == change.task));
            let mut view = ChangeView {
                task: &change.task,
                say: task.map(|task| words.say(task)),
                what: "dropped",
                opens_before: None,
                opens: None,
                closes_before: None,
                closes: None,
                because: words.reasons(&change.because),
            };
            match &change.what {
                What::Dropped => {}
                What::Added { opens, closes } => {
                    view.what = "added";
                    view.opens = Some(*opens);
                    view.closes = Some(*closes);
                }
                What::Moved { opens, closes } => {
                    view.what = "moved";
                    view.opens_before = Some(opens.0);
                    view.opens = Some(opens.1);
                    view.closes_before = Some(closes.0);
                    view.closes = Some(closes.1);
                }
            }
            view
        })
        .collect();
    text(&views)
}

/// The coming nights against the buds; temperatures in °C, shares 0 to 1.
pub fn frost(facts: &Facts, season: &Season) -> Result<String, String> {
    let nights: Vec<Value> = season
        .frost_outlook(facts)
        .unwrap_or_default()
        .iter()
        .map(|night| {
            let crops: Vec<Value> = night
                .crops
                .iter()
                .map(|crop| {
                    json!({
                        "crop": crop.crop, "stage": crop.stage,
                        "stage_least": crop.stages.0, "stage_most": crop.stages.1,
                        "kill_10_c": crop.kills_c.0, "kill_50_c": crop.kills_c.1,
                        "kill_90_c": crop.kills_c.2, "kill": crop.kill,
                        "kill_least": crop.kill_span.0, "kill_most": crop.kill_span.1,
                        "chance_of_a_tenth": crop.tenth, "hours_below_kill_10": crop.hours_below,
                    })
                })
                .collect();
            json!({
                "date": night.date.to_string(), "low_c": night.low_c, "spread_k": night.spread_k,
                "hours_below_freezing": night.hours_below_freezing,
                "alarm": format!("{:?}", night.alarm).to_lowercase(), "crops": crops,
            })
        })
        .collect();
    let mut told: Vec<&str> = Vec::new();
    let mut tolls: Vec<Value> = Vec::new();
    for group in &season.groups {
        if let Some(toll) = season.toll(&group.crop)
            && !told.contains(&group.crop.as_str())
        {
            told.push(&group.crop);
            tolls.push(toll_view(&group.crop, toll));
        }
    }
    let page = json!({
        "today": season.today.to_string(), "nights": nights, "this_year": tolls,
    });
    serde_json::to_string_pretty(&page).map_err(|error| error.to_string())
}

/// What the frosts of this year did to a crop.
fn toll_view(crop: &str, toll: &FrostToll) -> Value {
    let nights: Vec<Value> = toll
        .nights()
        .iter()
        .map(|night| {
            json!({
                "date": night.date.to_string(), "low_c": night.low_c,
                "read_at_the_trees": night.at_the_trees, "stage": night.stage,
                "kill": night.kill, "kill_least": night.kill_least, "kill_most": night.kill_most,
            })
        })
        .collect();
    let counted = toll.counted();
    json!({
        "crop": crop, "kill": toll.kill, "kill_least": toll.kill_least,
        "kill_most": toll.kill_most,
        "counted": counted.map(|(dead, cut)| json!({"dead": dead, "cut": cut})),
        "nights": nights,
    })
}

/// The infection periods of juniper rusts, with what still helps.
pub fn rust(facts: &Facts, season: &Season) -> Result<String, String> {
    let now = season.today.and_hms_opt(7, 0, 0).unwrap_or_default();
    let diseases: Vec<Value> = words::rusts(facts)
        .map(|disease| {
            let trees: Vec<&str> = words::takers(facts, disease, season.today)
                .iter()
                .map(|(tree, _)| tree.id.as_str())
                .collect();
            let of_it = season.infections.iter().filter(|one| one.disease == disease.id);
            let periods: Vec<Value> = of_it
                .map(|one| {
                    let helps: Vec<Value> = words::still_helps(facts, one, now)
                        .iter()
                        .map(|(name, least, most)| {
                            json!({"material": name, "until": least.to_string(), "at_most": most.to_string()})
                        })
                        .collect();
                    json!({
                        "from": one.from.to_string(), "until": one.until.to_string(),
                        "wet_hours": one.wet_hours, "mean_c": one.mean_c,
                        "class": format!("{:?}", one.class).to_lowercase(), "sure": one.sure,
                        "open": one.open, "still_helps": helps,
                        "symptoms_from": one.symptoms.map(|(from, _)| from.to_string()),
                        "symptoms_to": one.symptoms.map(|(_, to)| to.to_string()),
                    })
                })
                .collect();
            let ahead = season.infections_ahead.as_ref().map(|ahead| {
                let own = ahead.iter().filter(|one| one.period.disease == disease.id);
                own.map(|one| {
                    json!({
                        "from": one.period.from.to_string(), "until": one.period.until.to_string(),
                        "wet_hours": one.period.wet_hours, "mean_c": one.period.mean_c,
                        "class": format!("{:?}", one.period.class).to_lowercase(),
                        "certainty": one.certainty.word(),
                    })
                })
                .collect::<Vec<Value>>()
            });
            json!({"disease": disease.id, "trees": trees, "periods": periods, "ahead": ahead})
        })
        .collect();
    serde_json::to_string_pretty(&json!({"today": season.today.to_string(), "diseases": diseases}))
        .map_err(|error| error.to_string())
}
