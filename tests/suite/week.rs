//! The manager's week, every figure against one that is worked out here straight from the lines of the records.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use crate::tool::{Tool, one_line};

/// A record as its lines say.
pub(crate) struct Raw {
    pub(crate) id: String,
    machine: String,
    team: Option<String>,
    serial: Option<String>,
    pub(crate) opened: Timestamp,
    lines: Vec<Value>,
}

pub(crate) fn raw(store: &Path) -> Vec<Raw> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(store.join("cases")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|end| end != "jsonl") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let mut lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        let head = lines.next().unwrap();
        let text = |value: &Value| value.as_str().map(str::to_owned);
        all.push(Raw {
            id: text(&head["id"]).unwrap(),
            machine: text(&head["case"]["machine"]).unwrap(),
            team: text(&head["case"]["team"]),
            serial: text(&head["case"]["opening"]["serial"]),
            opened: head["at"].as_str().unwrap().parse().unwrap(),
            lines: lines.collect(),
        });
    }
    all.sort_by(|a, b| a.id.cmp(&b.id));
    all
}

impl Raw {
    fn events(&self) -> impl Iterator<Item = &Value> {
        self.lines.iter().map(|line| &line["event"]).filter(|event| event.is_object())
    }

    /// The last remedy, when it took the complaint away.
    fn cured_by(&self) -> Option<&str> {
        let last = self.events().filter(|event| event["remedy"].is_string()).last()?;
        ["proved-gone", "gone-not-proved"]
            .contains(&last["result"].as_str()?)
            .then(|| last["remedy"].as_str().unwrap())
    }

    fn closes(&self) -> Vec<&str> {
        self.lines.iter().filter_map(|line| line["close"].as_str()).collect()
    }

    fn open(&self) -> bool {
        let last = self.lines.iter().rev().find(|l| l["close"].is_string() || l["continue"] == true);
        last.is_none_or(|line| line["continue"] == true)
    }

    fn closed_at(&self) -> Option<Timestamp> {
        let close = self.lines.iter().rev().find(|line| line["close"].is_string())?;
        close["at"].as_str()?.parse().ok()
    }

    fn ending(&self) -> &'static str {
        let closes = self.closes();
        let sent = closes.iter().filter(|close| **close == "sent-somebody").count();
        match closes.last() {
            _ if self.open() => "still_open",
            Some(&"cured" | &"gone-not-proved") => {
                ["cured_by_phone", "first_visit", "later_visit"][sent.min(2)]
            }
            _ => "not_found",
        }
    }
}

fn night() -> Timestamp {
    "2026-12-01T00:00:00Z".parse().unwrap()
}

pub(crate) fn within(at: Timestamp, weeks: i64) -> bool {
    at <= night() && night().duration_since(at) < SignedDuration::from_hours(24 * 7 * weeks)
}

fn cures() -> BTreeMap<String, String> {
    let knowledge = handlamp::knowledge::load(&handlamp::knowledge::Texts::built_in()).0;
    knowledge.remedies.iter().map(|(id, remedy)| (id.to_string(), remedy.cures.value.to_string())).collect()
}

pub(crate) fn demo(cases: &str) -> Tool {
    let tool = Tool::built_in(40);
    tool.demo("store", cases, "1");
    tool
}

pub(crate) fn week(tool: &Tool, more: &[&str]) -> Value {
    let said = tool.run(&[&["case", "week", "--until", "2026-11-30", "--json"], more].concat());
    assert_eq!(said.status, Some(0), "{}", said.block());
    said.json()
}

#[test]
fn over_two_thousand_cases_every_count_is_what_the_lines_of_the_records_say() {
    let tool = demo("2000");
    let all = raw(&tool.home().join("store"));
    assert_eq!(all.len(), 2000);
    let cures = cures();
    for (by, group) in [
        ("machine", &(|raw: &Raw| raw.machine.clone()) as &dyn Fn(&Raw) -> String),
        ("team", &|raw: &Raw| raw.team.clone().unwrap()),
    ] {
        let said = week(&tool, &["--by", by, "--replay", "0"]);
        let span = |weeks| all.iter().filter(move |raw| within(raw.opened, weeks));
        assert_eq!(said["cases"]["week"], span(1).count());
        assert_eq!(said["cases"]["weeks_13"], span(13).count());
        let mut causes: BTreeMap<(String, String), [usize; 2]> = BTreeMap::new();
        let mut endings: BTreeMap<String, [BTreeMap<&str, usize>; 2]> = BTreeMap::new();
        for raw in span(13) {
            for (place, weeks) in
                [(0, 1), (1, 13)].into_iter().filter(|(_, weeks)| within(raw.opened, *weeks))
            {
                if let Some(remedy) = raw.cured_by() {
                    causes.entry((group(raw), cures[remedy].clone())).or_default()[place] += 1;
                }
                *endings.entry(group(raw)).or_default()[place].entry(raw.ending()).or_default() += 1;
                let _ = weeks;
            }
        }
        let told: BTreeMap<(String, String), [usize; 2]> = said["causes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|own| {
                let text = |key: &str| own[key].as_str().unwrap().to_owned();
                let number = |key: &str| own[key].as_u64().unwrap() as usize;
                ((text("group"), text("cause")), [number("week"), number("weeks_13")])
            })
            .collect();
        causes.retain(|_, counts| counts[1] > 1);
        assert_eq!(told, causes);
        for own in said["endings"].as_array().unwrap() {
            let [short, long] = &endings[own["group"].as_str().unwrap()];
            for (span, wanted) in [("week", short), ("weeks_13", long)] {
                let mut all = 0;
                for way in ["cured_by_phone", "first_visit", "later_visit", "not_found"] {
                    let number = wanted.get(way).copied().unwrap_or(0);
                    assert_eq!(own[span][way], number, "{way} {own}");
                    all += number;
                }
                assert_eq!(own[span]["still_open"], wanted.get("still_open").copied().unwrap_or(0));
                let share = own[span]["shares"][0].as_f64();
                let by_phone = wanted.get("cured_by_phone").copied().unwrap_or(0) as f64;
                let right = |share: f64| (share - by_phone / all as f64).abs() < 1e-9;
                assert_eq!(share.is_some(), all >= 10, "{own}");
                assert!(share.is_none_or(right), "{own}");
            }
        }
        repeats_agree(&said, &all);
        untold_agree(&said, &all);
        giveaway_agrees(
            &week(
                &tool,
                &["--replay", "0", "--price-per-kg", "3.2", "--fills-an-hour", "400", "--hours-a-week", "40"],
            ),
            &all,
        );
        searches_agree(&said, &tool.home().join("store"));
    }
}

fn repeats_agree(said: &Value, all: &[Raw]) {
    let mut wanted = BTreeSet::new();
    for later in all.iter().filter(|raw| within(raw.opened, 13)) {
        let same =
            |raw: &&Raw| raw.id != later.id && raw.machine == later.machine && raw.serial == later.serial;
        let before = all.iter().filter(same).filter_map(|raw| Some((raw.closed_at()?, raw)));
        let last = before.filter(|(at, _)| *at <= later.opened).max_by_key(|(at, raw)| (*at, raw.id.clone()));
        if let Some((at, earlier)) = last
            && later.opened.duration_since(at).as_hours() <= 30 * 24
        {
            wanted.insert((later.id.clone(), earlier.id.clone()));
        }
    }
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let told: BTreeSet<_> = said["repeats"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| (text(&own["case"]), text(&own["earlier"])))
        .collect();
    assert_eq!(told, wanted);
    assert!(told.len() > 20, "the demo store has repeat calls: {}", told.len());
}

fn untold_agree(said: &Value, all: &[Raw]) {
    let mut asked: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    for event in all.iter().filter(|raw| within(raw.opened, 13)).flat_map(Raw::events) {
        if let Some(check) = event["reading"].as_str().filter(|check| *check != "what-the-caller-says") {
            let count = asked.entry(check).or_default();
            count[0] += 1;
            count[1] += usize::from(event["outcome"] == "cannot-tell");
        }
    }
    asked.retain(|_, count| count[0] >= 10 && 2 * count[1] > count[0]);
    let told: BTreeMap<&str, [usize; 2]> = said["checks_mostly_cannot_tell"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| {
            let number = |key: &str| own[key].as_u64().unwrap() as usize;
            (own["check"].as_str().unwrap(), [number("asked"), number("cannot_tell")])
        })
        .collect();
    assert_eq!(told, asked);
    assert!(!told.is_empty());
}

fn giveaway_agrees(said: &Value, all: &[Raw]) {
    let (mut cases, mut found, mut left) = (0, 0.0, 0.0);
    for raw in all.iter().filter(|raw| within(raw.opened, 13)) {
        let over: Vec<f64> = raw
            .events()
            .filter(|event| event["fills"].is_object())
            .map(|event| {
                let values: Vec<f64> = event["fills"]["values"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|value| value.as_f64().unwrap())
                    .collect();
                let mean = values.iter().sum::<f64>() / values.len() as f64;
                (mean - event["fills"]["target"].as_f64().unwrap()).max(0.0)
            })
            .collect();
        if let (Some(first), Some(last)) = (over.first().filter(|over| **over > 0.0), over.last()) {
            (cases, found, left) = (cases + 1, found + first, left + last);
        }
    }
    let near = |key: &str, wanted: f64| {
        let told = said["giveaway"][key].as_f64().unwrap();
        assert!((told - wanted).abs() < 1e-6 * wanted.max(1.0), "{key}: {told} {wanted}");
    };
    assert_eq!(said["giveaway"]["cases"], cases);
    near("found_g_a_fill", found);
    near("left_g_a_fill", left);
    near("found_a_week", found / 1000.0 * 3.2 * 400.0 * 40.0);
}

fn searches_agree(said: &Value, store: &Path) {
    let mut wanted: BTreeMap<String, u64> = BTreeMap::new();
    for line in std::fs::read_to_string(store.join("searches.jsonl")).unwrap().lines() {
        let miss: Value = serde_json::from_str(line).unwrap();
        if within(miss["at"].as_str().unwrap().parse().unwrap(), 13) {
            *wanted.entry(miss["words"].as_str().unwrap().to_owned()).or_default() += 1;
        }
    }
    let told: BTreeMap<String, u64> = said["searches_that_found_nothing"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| (own["words"].as_str().unwrap().to_owned(), own["weeks_13"].as_u64().unwrap()))
        .collect();
    assert_eq!(told, wanted);
}

#[test]
fn a_check_changed_nothing_when_the_first_three_causes_are_the_same_without_it() {
    let tool = demo("30");
    let said = week(&tool, &["--replay", "8"]);
    assert_eq!(said["replayed_cases"], 8);
    // The same from outside: each case cut off before and after the reading, and thought over as a file.
    let all = raw(&tool.home().join("store"));
    let mut latest: Vec<&Raw> = all.iter().filter(|raw| within(raw.opened, 13)).collect();
    latest.sort_by(|a, b| (a.opened, &a.id).cmp(&(b.opened, &b.id)));
    let mut counts: BTreeMap<String, [u64; 2]> = BTreeMap::new();
    for raw in &latest[latest.len() - 8..] {
        let case = tool.run(&["case", "export", &raw.id]).out;
        let lines: Vec<&str> = case.lines().collect();
        let first = lines.iter().position(|line| *line == "events:").unwrap() + 1;
        let events: Vec<&str> =
            lines[first..].iter().copied().filter(|line| line.starts_with("  - ")).collect();
        for (place, event) in raw.events().enumerate() {
            let Some(check) = event["reading"].as_str() else { continue };
            if check == "what-the-caller-says" || event["outcome"] == "cannot-tell" {
                continue;
            }
            let count = counts.entry(check.to_owned()).or_default();
            count[0] += 1;
            // Only a few are thought over from outside; they take long.
            if count[0] == 1 && counts_small(&raw.id) {
                let ranking = |events: &[&str]| first_three(&tool, &lines[..first], events);
                let changed = ranking(&events[..place]) != ranking(&events[..=place]);
                let told = of_check(&said, check);
                assert!(
                    !changed || told["changed"].as_u64().unwrap() > 0,
                    "{check} changed something in {}",
                    raw.id
                );
            }
        }
    }
    for (check, [answered, _]) in counts {
        assert_eq!(of_check(&said, &check)["answered"], answered, "{check}");
    }
    let silent = said["checks_that_changed_nothing"].as_array().unwrap();
    assert!(silent.iter().all(|own| own["changed"] == 0 && own["answered"].as_u64().unwrap() >= 5));
}

fn counts_small(id: &str) -> bool {
    id.ends_with('1')
}

fn of_check<'v>(said: &'v Value, check: &str) -> &'v Value {
    let all = said["checks_answered"].as_array().unwrap();
    all.iter().find(|own| own["check"] == check).unwrap_or_else(|| panic!("{check} was answered"))
}

fn first_three(tool: &Tool, head: &[&str], events: &[&str]) -> Vec<String> {
    let mut text = head.join("\n") + "\n" + &events.join("\n") + "\n";
    if events.is_empty() {
        text = head[..head.len() - 1].join("\n") + "\n";
    }
    let file = tool.home().join("cut.yaml");
    std::fs::write(&file, text).unwrap();
    let said = tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--json"]);
    let causes = said.json()["causes"].clone();
    causes.as_array().unwrap().iter().take(3).map(|own| own["id"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn under_ten_cases_no_share_is_told_and_a_repeat_ends_with_the_thirtieth_day() {
    let tool = Tool::built_in(40);
    let cases = tool.home().join("store/cases");
    std::fs::create_dir_all(&cases).unwrap();
    let write = |id: &str, opened: &str, closed: &str, serial: &str| {
        let head = format!(
            "{{\"format\":\"handlamp-record/1\",\"id\":\"{id}\",\"at\":\"{opened}\",\"case\":{{\"machine\":\"single-tray-weigher\",\
             \"opening\":{{\"serial\":\"{serial}\"}}}}}}\n{{\"at\":\"{closed}\",\"close\":\"gone-not-proved\"}}\n"
        );
        std::fs::write(cases.join(format!("{id}.jsonl")), head).unwrap();
    };
    write("a", "2026-10-01T08:00:00Z", "2026-10-01T10:00:00Z", "1");
    write("b", "2026-10-31T10:00:00Z", "2026-10-31T11:00:00Z", "1");
    write("c", "2026-10-01T08:00:00Z", "2026-10-01T10:00:00Z", "2");
    write("d", "2026-10-31T11:00:01Z", "2026-10-31T12:00:00Z", "2");
    write("e", "2026-10-31T10:00:00Z", "2026-10-31T11:00:00Z", "unknown");
    write("f", "2026-10-30T10:00:00Z", "2026-10-30T11:00:00Z", "unknown");
    let said = week(&tool, &[]);
    let repeats: Vec<&str> =
        said["repeats"].as_array().unwrap().iter().map(|own| own["case"].as_str().unwrap()).collect();
    assert_eq!(repeats, ["b"], "thirty days to the hour, and no serial is no machine");
    assert!(said["endings"][0]["weeks_13"]["shares"].is_null());
    let page = tool.run(&["case", "week", "--until", "2026-11-30"]);
    assert!(one_line(&page.out).contains("No shares: fewer than 10 cases."), "{}", page.block());
    let wide: Vec<&str> = page.out.lines().filter(|line| line.chars().count() > 40).collect();
    assert!(wide.is_empty(), "{wide:?}");
}

#[test]
fn the_same_seed_writes_the_same_store_and_the_week_comes_as_page_table_and_sheet() {
    let bytes = |seed: &str| {
        let tool = Tool::built_in(40);
        let store = tool.home().join("demo");
        let args = [
            "rehearse",
            "--write-store",
            store.to_str().unwrap(),
            "--cases",
            "40",
            "--until",
            "2026-11-30",
            "--seed",
            seed,
        ];
        assert_eq!(tool.run(&args).status, Some(0));
        assert_eq!(tool.run(&args).status, Some(3), "a store that holds cases is left alone");
        let mut files: Vec<_> =
            std::fs::read_dir(store.join("cases")).unwrap().map(|e| e.unwrap().path()).collect();
        files.retain(|path| path.extension().is_some_and(|end| end == "jsonl"));
        files.sort();
        files.iter().map(|path| std::fs::read(path).unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(bytes("3"), bytes("3"));
    assert_ne!(bytes("3"), bytes("4"));
    let tool = demo("40");
    let form = |form: &str| {
        tool.run(&["case", "week", "--until", "2026-11-30", "--replay", "5", "--form", form]).out
    };
    let html = form("html");
    assert!(
        html.starts_with("<!DOCTYPE html>")
            && html.contains("Causes that recur")
            && !html.contains("<script")
    );
    let csv = form("csv");
    let columns: BTreeSet<usize> = csv.lines().map(|line| line.matches(',').count()).collect();
    assert!(csv.starts_with("figure,group,name,week,weeks_13\n") && columns.iter().all(|n| *n >= 4), "{csv}");
    assert!(form("markdown").contains("Causes that recur"));
    let person = tool.run(&["case", "week", "--until", "2026-11-30", "--replay", "0"]).out;
    assert!(!person.contains("tech") && !person.contains("caller"), "by person only when asked");
}

#[test]
fn a_lesson_is_used_when_what_it_is_about_came_up_within_the_year() {
    let tool = demo("30");
    let used =
        raw(&tool.home().join("store")).iter().find_map(|raw| raw.cured_by().map(str::to_owned)).unwrap();
    let folder = tool.home().join("kb/lessons");
    std::fs::create_dir_all(&folder).unwrap();
    let lesson = |id: &str, about: &str, day: &str| {
        let text = format!(
            "title: {id}\ntold: It was so.\nkind: wrong\nbears_on: [{about}]\nby: R. T.\nrecorded: {day}\nread_by: M. K.\naccepted: {day}\n"
        );
        std::fs::write(folder.join(format!("{id}.yaml")), text).unwrap();
    };
    lesson("used-old", &format!("remedies/{used}"), "2024-01-02");
    lesson("unused-old", "cautions/hands-at-live-scale", "2024-01-02");
    lesson("unused-new", "cautions/hands-at-live-scale", "2026-11-02");
    let form = tool.home().join("waiting.yaml");
    std::fs::write(&form, "title: W\ntold: T\nkind: wrong\nby: R. T.\nrecorded: 2026-11-25\n").unwrap();
    assert_eq!(tool.run(&["lesson", "record", "--file", form.to_str().unwrap()]).status, Some(0));
    let kb = tool.home().join("kb");
    let said = week(&tool, &["--replay", "0", "--knowledge", kb.to_str().unwrap()]);
    assert_eq!(
        said["lessons"],
        serde_json::json!({"waiting": 1, "used": 1, "unused_for_a_year": ["unused-old"]})
    );
}
