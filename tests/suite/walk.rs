//! A diagnosis as it is walked: by keyboard as by file, cut off anywhere, corrected, proved, and never hands-on
//! without its lockout.

use crate::call::{Answers, Call};
use crate::tool::Tool;

const LIGHT: &str = "247.2 247.0 246.4 247.9 247.3\n246.9 247.6 246.7 247.1 247.4\n";
const GOOD: &str =
    "250.2 250.0 249.8 250.1 249.9\n250.0 250.3 249.7 250.1 249.9\n250.0 250.2 249.9 250.1 249.8\n";

/// From the first question to a proved cure, with the tiny knowledge.
const CURED: &Answers = &[
    ("Is anyone hurt", "n"),
    ("on hold", "y"),
    ("Which machine", "1"),
    ("serial number", "SN 17"),
    ("legal-for-trade seal", "n"),
    ("Who is at the machine", "3"),
    ("ever been right", "y"),
    ("Since when", "since this morning"),
    ("doing it now", "y"),
    ("in the caller's words", "all our bags are light"),
    ("Which of these is it", "1"),
    ("should one fill weigh", "250 g"),
    ("Was the product changed", "y"),
    ("Close the case", "1"),
    ("what proves the cure", GOOD),
    ("not proved yet", GOOD),
    ("Next: Ten fills in a row", LIGHT),
    ("what stands there now?", "5.0 g"),
    ("What stands there now?", "2.1 g"),
    ("how is it now?", "1"),
    ("slide freely", "1"),
    ("written isolation procedure", "y"),
    ("Whose key?", "Anna"),
];

/// The case as a file, without the times, which differ from run to run.
fn exported(tool: &Tool, id: &str) -> String {
    let said = tool.run(&["case", "export", id]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let untimed = |line: &str| {
        let time = line.find(", at: 20").or_else(|| line.find(", at: \"20"));
        line[..time.unwrap_or(line.len())].to_owned()
    };
    said.out.lines().map(untimed).collect::<Vec<_>>().join("\n")
}

fn replayed(tool: &Tool, id: &str) -> serde_json::Value {
    let file = tool.home().join("call.yaml");
    std::fs::write(&file, tool.run(&["case", "export", id]).out).unwrap();
    tool.run(&["diagnose", "--json", "--answers", file.to_str().unwrap()]).json()
}

/// The figures and the order of two answers are the same.
fn assert_same(typed: &serde_json::Value, read: &serde_json::Value) {
    let causes = |v: &serde_json::Value| -> Vec<(String, f64)> {
        let one = |c: &serde_json::Value| {
            (c["id"].as_str().unwrap().to_owned(), c["probability"].as_f64().unwrap())
        };
        v["causes"].as_array().unwrap().iter().map(one).collect()
    };
    let next = |v: &serde_json::Value| -> Vec<String> {
        v["next"].as_array().unwrap().iter().map(|n| n["id"].as_str().unwrap().to_owned()).collect()
    };
    let (typed_causes, read_causes) = (causes(typed), causes(read));
    assert!(!typed_causes.is_empty() && !next(typed).is_empty());
    assert_eq!(typed_causes.len(), read_causes.len());
    for ((id, p), (other, q)) in typed_causes.iter().zip(&read_causes) {
        assert_eq!(id, other);
        assert!((p - q).abs() <= 1e-9, "{id}: {p} against {q}");
    }
    assert_eq!(next(typed), next(read));
}

fn call(lines: &[&str]) -> Vec<u8> {
    (lines.join("\n") + "\n").into_bytes()
}

#[test]
fn a_call_typed_in_and_its_file_give_the_same_figures() {
    let tool = Tool::minimal(80);
    let opening = ["n", "y", "1", "SN 17", "n", "3", "y", "this morning", "y", "all our bags are light", "1"];
    let given = ["give", "1", "250 g", LIGHT.trim_end(), "", "back", "247.0 246.9 247.1", "", "leave"];
    let typed = tool.typed(&["diagnose", "--json"], &call(&[&opening[..], &given].concat()));
    assert_same(&typed.json(), &replayed(&tool, &tool.only_case()));
}

#[test]
fn the_example_call_given_by_hand_ends_where_its_file_ends() {
    let tool = Tool::built_in(80);
    let number = |title: &str, menu: &str| -> String {
        let lines = ["n", "?", "1", "?", "?", "3", "?", "?", "y", "zzz", "0", "0", menu, "leave"];
        let said = Tool::built_in(300).typed(&["diagnose"], &call(&lines)).out;
        let line = said.lines().find(|l| l.trim_end().ends_with(title));
        let line = line.unwrap_or_else(|| panic!("{title} is not in:\n{said}"));
        line.trim().split('.').next().unwrap().to_owned()
    };
    let run = "247.2 247.0 246.4 247.9 247.3 246.9 247.6 246.7 247.1 247.4";
    let give = |id: &str| {
        let title = tool.run(&["show", id, "--json"]).json()["title"].as_str().unwrap().to_owned();
        number(&title, "give")
    };
    let symptom = tool.run(&["show", "fills-steadily-light", "--json"]).json()["title"].clone();
    let caller = number(symptom.as_str().unwrap(), "0");
    let (changed, ten, second, record) = (
        give("product-changed"),
        give("weigh-a-run"),
        give("same-bag-on-second-scale"),
        give("allowance-against-record"),
    );
    let lines = [
        "n",
        "y",
        "1",
        "?",
        "?",
        "3",
        "y",
        "this morning",
        "y",
        "zzz",
        "0",
        &caller,
        "give",
        &changed,
        "n",
        "give",
        &ten,
        "250 g",
        run,
        "",
        "give",
        &second,
        "247.1 g, 247.0 g",
        "give",
        &record,
        "larger",
        "leave",
    ];
    let typed = tool.typed(&["diagnose", "--json"], &call(&lines));
    let typed = typed.json();
    assert_same(&typed, &replayed(&tool, &tool.only_case()));
    let file = tool.run(&["diagnose", "--json", "--answers", "tests/faults/light-bags.yaml"]).json();
    let first = |v: &serde_json::Value| v["causes"][0]["id"].clone();
    assert_eq!(first(&typed), first(&file));
    assert_eq!(first(&typed), "inflight-allowance-high");
}

#[test]
fn a_call_cut_off_at_any_prompt_is_kept_and_goes_on_to_the_end() {
    let whole = Tool::minimal(400);
    let mut call = Call::start(&whole, &["diagnose"]);
    let (answers, ended) = call.play(CURED, None);
    assert!(ended && answers >= 15, "{answers}: {}", call.said);
    call.hang_up();
    let all = exported(&whole, &whole.only_case());
    assert!(all.contains("closed: cured"), "{all}");
    for cut in 0..answers {
        let tool = Tool::minimal(400);
        let mut call = Call::start(&tool, &["diagnose"]);
        assert_eq!(call.play(CURED, Some(cut)), (cut, false));
        call.cut();
        if cut == 0 {
            assert!(tool.run(&["case", "list"]).out.contains("No case"));
            continue;
        }
        let id = tool.only_case();
        // The target alone is no answer: it is written down with its fills.
        let before = exported(&tool, &id);
        for line in before.lines().filter(|l| !l.contains("not-known-yet")) {
            let several = line.starts_with("opening:");
            let parts = line.trim_end_matches(if several { '}' } else { ' ' }).split(", ");
            let parts: Vec<&str> = if several { parts.collect() } else { vec![line] };
            assert!(parts.iter().all(|p| all.contains(p.trim())), "cut at {cut}: {line}\n{all}");
        }
        assert_eq!(tool.run(&["case", "show", &id]).status, Some(0));
        let mut call = Call::start(&tool, &["case", "continue"]);
        assert!(call.play(CURED, None).1);
        call.hang_up();
        assert_eq!(events(&exported(&tool, &id)), events(&all), "cut at {cut}");
    }
}

/// The lines that say what was answered.
fn events(export: &str) -> Vec<&str> {
    export.lines().skip_while(|l| !l.starts_with("events:")).collect()
}

#[test]
fn every_answer_is_on_disk_before_the_next_question() {
    let tool = Tool::minimal(400);
    let mut call = Call::start(&tool, &["diagnose"]);
    for (question, answer, kept) in [
        ("Is anyone hurt", "n", "danger: none"),
        ("on hold", "y", "held_since_last_good: \"yes\""),
        ("Which machine", "1", "machine: tray-filler"),
        ("serial number", "SN 17", "SN 17"),
        ("legal-for-trade seal", "n", "sealed: \"no\""),
        ("Who is at the machine", "3", "isolate"),
        ("ever been right", "n", "ever_right: \"no\""),
        ("Since when", "since Monday", "since Monday"),
        ("doing it now", "y", "doing_it_now: \"yes\""),
        ("in the caller's words", "light bags", "complaint: light bags"),
        ("Which of these", "1", "fills-light"),
    ] {
        let asked = call.asked().unwrap();
        assert!(asked.contains(question), "{asked}");
        call.answer(answer);
        let record = if question == "Which of these" { call.asked() } else { None };
        drop(record);
        let deadline = std::time::Instant::now() + std::time::Duration::from_secs(20);
        while std::time::Instant::now() < deadline {
            let said = tool.run(&["case", "list"]).out;
            if said.contains("20") && exported(&tool, &tool.only_case()).contains(kept) {
                break;
            }
        }
        assert!(exported(&tool, &tool.only_case()).contains(kept), "{kept}");
    }
    call.cut();
}

#[test]
fn a_corrected_answer_counts_and_the_old_one_stays_in_the_record() {
    let tool = Tool::minimal(80);
    let lines = ["n", "?", "1", "?", "?", "2", "?", "?", "y", "bags light", "1", "leave"];
    tool.typed(&["diagnose"], &call(&lines));
    let id = tool.only_case();
    assert!(exported(&tool, &id).contains("fills-light"));
    let said = tool.run(&["case", "correct", &id, "1", "fills-heavy"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let now = exported(&tool, &id);
    assert!(now.contains("fills-heavy") && !now.contains("fills-light"), "{now}");
    let listing = tool.run(&["case", "correct", &id]).out;
    assert!(listing.contains("Answer 1 was") && listing.contains("light"), "{listing}");
    let refused = tool.run(&["case", "correct", &id, "7", "1"]);
    assert_eq!(refused.status, Some(3), "{}", refused.block());
}

#[test]
fn back_asks_the_last_answer_again_and_replaces_it_alone() {
    let tool = Tool::minimal(80);
    let lines = [
        "n",
        "?",
        "1",
        "?",
        "?",
        "2",
        "?",
        "?",
        "y",
        "bags light",
        "1",
        "note keep this",
        "back",
        "fills-heavy",
        "leave",
    ];
    let said = tool.typed(&["diagnose"], &call(&lines)).out;
    assert!(said.contains("Said before:"), "{said}");
    let now = exported(&tool, &tool.only_case());
    assert!(
        now.contains("fills-heavy") && !now.contains("fills-light") && now.contains("keep this"),
        "{now}"
    );
}

#[test]
fn cured_needs_a_run_that_proves_it() {
    let tool = Tool::minimal(400);
    let start = ["n", "?", "1", "?", "n", "2", "?", "?", "y", "bags light", "1", "give"];
    let menu = tool.typed(&["diagnose"], &call(&start)).out;
    let number = menu.lines().find(|l| l.ends_with("Ten fills in a row")).unwrap().trim();
    let run = number.split('.').next().unwrap();
    let tool = Tool::minimal(400);
    let rest = [run, "250", LIGHT.trim_end(), "", "did", "2", "1", "5.0 g to 2.1 g", "close", "1", "leave"];
    let said = tool.typed(&["diagnose"], &call(&[&start[..], &rest].concat()));
    assert!(said.out.contains("Cured needs a run of fills since the remedy that proves it"), "{}", said.out);
    let id = tool.only_case();
    let refused = tool.run(&["case", "close", &id, "--as", "cured"]);
    assert_eq!((refused.status, refused.out.as_str()), (Some(3), ""), "{}", refused.block());
    let good =
        [&CURED[..13], &[("Close the case", "1"), ("proves the cure", GOOD), ("not proved yet", GOOD)]]
            .concat();
    let mut call = Call::start(&tool, &["case", "continue"]);
    assert!(call.play(&good, None).1);
    call.hang_up();
    assert!(exported(&tool, &id).contains("closed: cured"));
}

#[test]
fn authority_lapses_when_a_case_is_taken_up_again() {
    let tool = Tool::minimal(400);
    let lines = ["n", "?", "1", "?", "n", "3", "?", "?", "y", "bags light", "1", "leave"];
    tool.typed(&["diagnose"], &call(&lines));
    let again = tool.typed(&["case", "continue"], &call(&["4", "other", "leave"])).out;
    assert!(again.contains("Who is at the machine, and may they lock it out?"), "{again}");
    let nobody = tool.typed(&["case", "continue"], &call(&["?", "other", "leave"])).out;
    assert!(!nobody.contains("hands-on"), "{nobody}");
}
