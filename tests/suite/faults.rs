//! A call is enough: each fault under tests/faults is found from at most five answers, through the program itself, and
//! whatever it proposes carries its cautions.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use handlamp::casebook::{Case, read_path};
use handlamp::knowledge::{Knowledge, Texts, load};
use serde_json::Value;

use crate::tool::{Said, Tool};

/// Most answers that a call gives, the complaint counted with them.
const MOST_ANSWERS: usize = 5;
/// How many of the faults must lead the list; the others stand within what their file expects.
const MUST_LEAD: usize = 40;

/// One fault, its file, and what two homes that know nothing of each other say about it.
struct Fault {
    name: String,
    path: PathBuf,
    case: Case,
    said: [Said; 2],
    answer: Value,
}

fn built_in() -> &'static Knowledge {
    static KNOWLEDGE: OnceLock<Knowledge> = OnceLock::new();
    KNOWLEDGE.get_or_init(|| load(&Texts::built_in()).0)
}

fn files() -> Vec<PathBuf> {
    let entries = std::fs::read_dir("tests/faults").unwrap().map(|e| e.unwrap().path());
    let mut files: Vec<_> = entries.filter(|p| p.extension().is_some_and(|e| e == "yaml")).collect();
    files.sort();
    files
}

fn answers(files: &[PathBuf]) -> Vec<Said> {
    let tool = Tool::built_in(80);
    files.iter().map(|f| tool.run(&["diagnose", "--answers", f.to_str().unwrap(), "--json"])).collect()
}

/// Every fault, answered once for all tests.
fn faults() -> &'static [Fault] {
    static FAULTS: OnceLock<Vec<Fault>> = OnceLock::new();
    FAULTS.get_or_init(|| {
        let files = files();
        let (first, second) = std::thread::scope(|scope| {
            let other = scope.spawn(|| answers(&files));
            (answers(&files), other.join().unwrap())
        });
        let both = first.into_iter().zip(second);
        files.iter().zip(both).map(|(path, (one, two))| fault(path, [one, two])).collect()
    })
}

fn fault(path: &Path, said: [Said; 2]) -> Fault {
    let name = path.file_stem().unwrap().to_string_lossy().into_owned();
    let case = read_path(path, built_in()).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems)).case;
    assert_eq!(said[0].status, Some(0), "{name}: {}", said[0].block());
    Fault { answer: said[0].json(), name, path: path.to_owned(), case, said }
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("'{key}' is no list in {value}"))
}

fn ids(values: &[Value]) -> Vec<&str> {
    values.iter().map(|v| v["id"].as_str().unwrap()).collect()
}

fn words(values: &[Value]) -> BTreeSet<&str> {
    values.iter().map(|v| v.as_str().unwrap()).collect()
}

#[test]
fn each_fault_is_found_from_at_most_five_answers() {
    let (mut leading, mut led_by_another) = (0, Vec::new());
    for fault in faults() {
        let expect = fault.case.expect.as_ref().unwrap_or_else(|| panic!("{} expects nothing", fault.name));
        let given = fault.case.events.len();
        assert!(given <= expect.answers && given <= MOST_ANSWERS, "{}: {given} answers", fault.name);
        assert_eq!(list(&fault.answer, "evidence").len(), given, "{}: an answer was not used", fault.name);
        let causes = ids(list(&fault.answer, "causes"));
        let wanted = expect.cause.as_ref().unwrap().as_str();
        let place = causes.iter().position(|id| *id == wanted);
        assert!(place.is_some_and(|p| p < expect.within), "{}: {wanted} in {causes:?}", fault.name);
        match place {
            Some(0) => leading += 1,
            _ => led_by_another.push(&fault.name),
        }
    }
    assert!(faults().len() >= 47, "only {} faults", faults().len());
    assert!(leading >= MUST_LEAD, "only {leading} lead; not {led_by_another:?}");
}

#[test]
fn the_expected_cautions_stand_in_the_answer() {
    let mut expected = 0;
    for fault in faults() {
        let said = ids(list(&fault.answer, "cautions"));
        for caution in &fault.case.expect.as_ref().unwrap().cautions {
            assert!(said.contains(&caution.as_str()), "{}: no {caution} in {said:?}", fault.name);
            expected += 1;
        }
    }
    assert!(expected >= 8, "only {expected} cautions are expected at all");
}

#[test]
fn cautions_of_an_answer_are_exactly_those_its_steps_name() {
    for fault in faults() {
        let named: BTreeSet<&str> =
            list(&fault.answer, "next").iter().flat_map(|n| words(list(n, "cautions"))).collect();
        let told: BTreeSet<&str> = ids(list(&fault.answer, "cautions")).into_iter().collect();
        assert_eq!(named, told, "{}", fault.name);
        for step in list(&fault.answer, "next") {
            let from_outside = words(list(step, "exposures")).iter().all(|e| *e == "outside");
            assert!(from_outside || !list(step, "cautions").is_empty(), "{}: {step}", fault.name);
        }
        for caution in list(&fault.answer, "cautions") {
            has(caution, &[("id", 's'), ("word", 's'), ("hazard", 's'), ("do_this", 's')], &fault.name);
        }
    }
}

#[test]
fn a_feed_that_runs_on_is_stopped_before_anything_is_asked() {
    let fault = faults().iter().find(|f| f.name == "will-not-stop-filling").unwrap();
    assert_eq!(fault.answer["next"][0]["kind"], "stop");
}

#[test]
fn calibration_waits_for_its_gates_and_comes_with_the_seal_caution() {
    let fault = faults().iter().find(|f| f.name == "heavy-after-calibration").unwrap();
    let recalibrate = |answer: &Value| {
        list(answer, "next").iter().find(|n| n["id"] == "recalibrate-span").map(|n| n["cautions"].clone())
    };
    assert_eq!(
        recalibrate(&fault.answer),
        None,
        "nobody calibrates before level, warm-up and weight are known"
    );
    let gates = "  - {reading: level-and-feet, outcome: level-and-firm, by: caller}
  - {reading: power-on-time, value: 90 min, by: caller}
  - {reading: second-scale-known-weight, value: 200.0 g, expected: 200 g, by: caller}
expect:";
    let text = std::fs::read_to_string(&fault.path).unwrap().replace("expect:", gates);
    let tool = Tool::built_in(80);
    let path = tool.home().join("gates.yaml");
    std::fs::write(&path, text).unwrap();
    let said = tool.run(&["diagnose", "--answers", path.to_str().unwrap(), "--json"]);
    let cautions = recalibrate(&said.json()).unwrap_or_else(|| panic!("not proposed: {}", said.block()));
    let cautions = words(cautions.as_array().unwrap());
    assert!(cautions.contains("sealed-scale") && cautions.contains("hands-at-live-scale"), "{cautions:?}");
}

/// A key and what it holds: `s` text, `n` number, `a` list, `o` group; a capital may be null as well.
type Shape = (&'static str, char);

fn has(value: &Value, shape: &[Shape], where_: &str) {
    for (key, kind) in shape {
        let Some(found) = value.get(key) else { panic!("{where_}: no '{key}' in {value}") };
        let fits = match kind.to_ascii_lowercase() {
            's' => found.as_str().is_some_and(|s| !s.is_empty()),
            'n' => found.as_f64().is_some_and(f64::is_finite),
            'a' => found.is_array(),
            _ => found.is_object(),
        };
        assert!(fits || kind.is_uppercase() && found.is_null(), "{where_}: '{key}' is {found}");
    }
}

const ANSWER: &[Shape] = &[
    ("format", 's'),
    ("causes", 'a'),
    ("nothing_known", 'n'),
    ("standard_error", 'N'),
    ("conflict", 'O'),
    ("next", 'a'),
    ("visit", 'O'),
    ("proposed_symptoms", 'a'),
    ("evidence", 'a'),
    ("cautions", 'a'),
    ("limits", 's'),
    ("knowledge", 'o'),
];
const NEXT: &[Shape] = &[
    ("id", 's'),
    ("kind", 's'),
    ("title", 's'),
    ("minutes", 'n'),
    ("minutes_saved", 'n'),
    ("exposures", 'a'),
    ("cautions", 'a'),
    ("why", 's'),
    ("then", 'a'),
];
const VISIT: &[Shape] =
    &[("parts", 'a'), ("tools", 'a'), ("cover", 'n'), ("first_checks", 'a'), ("minutes", 'n')];

#[test]
fn an_answer_holds_all_of_the_contract() {
    for Fault { name, answer, .. } in faults() {
        has(answer, ANSWER, name);
        assert_eq!(answer["format"], "handlamp-diagnosis/1");
        assert_eq!(answer["exact"].as_bool(), Some(answer["standard_error"].is_null()), "{name}");
        has(&answer["knowledge"], &[("version", 's'), ("hash", 's')], name);
        for next in list(answer, "next") {
            has(next, NEXT, name);
            assert!(["check", "remedy", "send", "stop"].contains(&next["kind"].as_str().unwrap()), "{next}");
        }
        for evidence in list(answer, "evidence") {
            has(evidence, &[("event", 'n'), ("check", 's'), ("outcome", 's'), ("by", 'S')], name);
        }
        for proposed in list(answer, "proposed_symptoms") {
            has(proposed, &[("id", 's'), ("title", 's')], name);
        }
        if answer["visit"].is_object() {
            has(&answer["visit"], VISIT, name);
        }
        if answer["conflict"].is_object() {
            has(&answer["conflict"], &[("event", 'n'), ("check", 's'), ("why", 's')], name);
        }
    }
}

#[test]
fn causes_are_sorted_worth_naming_and_explained() {
    for Fault { name, answer, .. } in faults() {
        let causes = list(answer, "causes");
        let chances: Vec<f64> = causes.iter().map(|c| c["probability"].as_f64().unwrap()).collect();
        assert!(chances.is_sorted_by(|a, b| a >= b), "{name}: {chances:?}");
        assert!(chances.iter().all(|p| *p >= 0.005 && *p <= 1.0), "{name}: {chances:?}");
        assert!((0.0..=1.0).contains(&answer["nothing_known"].as_f64().unwrap()), "{name}");
        assert!(!ids(causes).contains(&"not-in-the-book"), "{name}");
        for (place, cause) in causes.iter().enumerate() {
            has(cause, &[("id", 's'), ("title", 's'), ("probability", 'n'), ("because", 'a')], name);
            assert!(place >= 3 || !list(cause, "because").is_empty(), "{name}: nothing explains {cause}");
            for because in list(cause, "because") {
                has(because, &[("reading", 's'), ("says", 's'), ("odds", 'n')], name);
            }
        }
    }
}

#[test]
fn the_same_call_gives_the_same_bytes_in_any_home() {
    for fault in faults() {
        assert_eq!(fault.said[0].out, fault.said[1].out, "{}", fault.name);
    }
}

#[test]
fn no_path_and_no_time_stands_in_an_answer() {
    for Fault { name, answer, said, .. } in faults() {
        // The home itself is shown as `~` here.
        assert!(!said[0].out.contains('~') && !said[0].out.contains(".yaml"), "{name}");
        texts(answer, &mut |text| {
            assert!(text == "handlamp-diagnosis/1" || !text.contains(['/', '\\']), "{name}: a path? {text}");
            let clock = text
                .as_bytes()
                .windows(5)
                .any(|w| w[2] == b':' && [w[0], w[1], w[3], w[4]].iter().all(u8::is_ascii_digit));
            assert!(!clock, "{name}: a time? {text}");
        });
    }
}

fn texts(value: &Value, see: &mut dyn FnMut(&str)) {
    match value {
        Value::String(text) => see(text),
        Value::Array(items) => items.iter().for_each(|item| texts(item, see)),
        Value::Object(group) => group.values().for_each(|item| texts(item, see)),
        _ => {}
    }
}

/// How many groups hold `exposures`; each must hold `cautions`, and some where it is more than looking from outside.
fn exposures(value: &Value, where_: &str) -> usize {
    match value {
        Value::Array(items) => items.iter().map(|item| exposures(item, where_)).sum(),
        Value::Object(group) => {
            if group.contains_key("exposures") {
                has(value, &[("exposures", 'a'), ("cautions", 'a')], where_);
            }
            let inner: usize = group.values().map(|item| exposures(item, where_)).sum();
            inner + usize::from(group.contains_key("exposures"))
        }
        _ => 0,
    }
}

#[test]
fn whatever_names_exposures_names_cautions() {
    for fault in faults() {
        let steps = list(&fault.answer, "next").len();
        assert!(exposures(&fault.answer, &fault.name) >= steps, "{}", fault.name);
    }
    let knowledge = built_in();
    let checks = knowledge.checks.keys().map(|id| ("check", id.as_str()));
    let remedies = knowledge.remedies.keys().map(|id| ("remedy", id.as_str()));
    let tool = Tool::built_in(80);
    let mut shown = 0;
    for (kind, id) in checks.chain(remedies) {
        let said = tool.run(&["show", id, "--kind", kind, "--json"]);
        assert_eq!(said.status, Some(0), "{}", said.block());
        assert!(exposures(&said.json(), id) >= 1, "{id} names no exposures");
        shown += 1;
    }
    assert!(shown > 60, "only {shown} checks and remedies");
}
