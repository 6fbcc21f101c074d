//! What a tired person meets at a prompt: danger first, slips caught, nothing typed lost, a way back from everything.

use crate::tool::Tool;

/// From the first question to the run of fills, with the tiny knowledge.
const TO_THE_RUN: [&str; 13] =
    ["n", "y", "1", "?", "n", "3", "?", "?", "y", "all our bags are light", "1", "give", "1"];

fn typed(tool: &Tool, args: &[&str], lines: &[&str]) -> String {
    let said = tool.typed(args, (lines.join("\n") + "\n").as_bytes());
    assert_eq!(said.status, Some(0), "{}", said.block());
    said.out
}

fn run_of(more: &[&str]) -> (Tool, String) {
    let tool = Tool::minimal(400);
    let lines = [&TO_THE_RUN[..], &["250 g"], more, &["leave"]].concat();
    let said = typed(&tool, &["diagnose"], &lines);
    (tool, said)
}

fn exported(tool: &Tool) -> String {
    tool.run(&["case", "export"]).out
}

#[test]
fn words_of_danger_bring_stop_first_before_any_question() {
    for words in ["his hand is trapped", "there is smoke from the drive", "it will not stop filling"] {
        let tool = Tool::built_in(400);
        let said = typed(&tool, &["diagnose", words], &["1", "y", "leave"]);
        let stop = said.find("Stop first, make safe").unwrap_or_else(|| panic!("{words}: {said}"));
        assert!(said.find("Opening").is_none_or(|question| stop < question), "{words}: {said}");
        assert!(said.contains("Type y once it is stopped and safe."), "1 is no yes: {said}");
    }
    let calm = typed(&Tool::built_in(400), &["diagnose", "all our bags are light"], &["leave"]);
    assert!(!calm.contains("Stop first"), "{calm}");
}

#[test]
fn a_danger_typed_by_mistake_can_be_taken_back() {
    let tool = Tool::minimal(400);
    let lines = ["no idea", "back", "n", "?", "1", "leave"];
    let said = typed(&tool, &["diagnose"], &lines);
    assert!(said.matches("Is anyone hurt").count() == 2 && said.contains("on hold"), "{said}");
    let tool = Tool::minimal(400);
    let said = typed(&tool, &["diagnose"], &["sparks", "y", "correct", "2", "n", "leave"]);
    assert!(said.contains("1. Remark") && said.contains("2. Is anyone hurt"), "{said}");
    assert!(exported(&tool).contains("danger: none"), "{}", exported(&tool));
}

#[test]
fn a_run_is_answered_with_its_figures() {
    let (_, said) = run_of(&["247.2 247.0 246.9 247.4 247.1", ""]);
    for figure in ["about 2.88 g light", "Mean: 247.12 g, of 5 fills", "Spread: 0.19 g", "target"] {
        assert!(said.contains(figure), "{figure} is missing: {said}");
    }
}

#[test]
fn a_slip_of_a_digit_or_a_unit_is_asked_again() {
    let (tool, said) = run_of(&["247.2 2470 246.9", "", "0.2472 0.2470 0.2469", "", "247.2 247.0 246.9", ""]);
    assert!(said.contains("Weight 2, 2470 g, is far over the target of 250 g"), "{said}");
    assert!(said.contains("Are they in another unit?"), "{said}");
    assert!(exported(&tool).contains("[247.2, 247, 246.9]"), "{}", exported(&tool));
}

#[test]
fn a_word_inside_a_run_loses_none_of_it() {
    let (tool, said) = run_of(&["247.2 247.0", "why", "246.9", ""]);
    assert!(said.contains("Why: ") && said.contains("Kept so far: 247.2 247.0."), "{said}");
    assert!(exported(&tool).contains("[247.2, 247, 246.9]"), "{}", exported(&tool));
}

#[test]
fn what_the_machine_showed_is_typed_beside_each_weight() {
    let (tool, _) = run_of(&["247.2/250.0 247.0 / 249.9", "246.9/250.1", ""]);
    let case = exported(&tool);
    assert!(case.contains("[247.2, 247, 246.9]") && case.contains("[250, 249.9, 250.1]"), "{case}");
}

#[test]
fn the_new_allowance_is_named_and_what_did_not_help_goes_back() {
    let run = ["247.2 247.0 246.9 247.4 247.1", ""];
    let work = ["did", "2", "2", "5.0 to 2.1"];
    for (answer, left) in [("y", "old: 2.1 g, new: 5.0 g"), ("n", "old: 2.1 g, new: 2.1 g")] {
        let (tool, said) = run_of(&[&run[..], &work, &[answer]].concat());
        assert!(said.contains("Put it back from 2.1 g to 5.0 g. Is it back?"), "{said}");
        assert!(exported(&tool).contains(left), "{}", exported(&tool));
    }
    let tool = Tool::built_in(400);
    let case = "format: handlamp-case/1\nmachine: single-tray-weigher\npeople: [{id: tech, at: machine, may: [isolate]}]\n\
        events:\n- {reading: what-the-caller-says, outcome: fills-steadily-light}\n\
        - {reading: weigh-a-run, fills: {unit: g, target: 250, values: [247.2, 247.0, 246.9, 247.4, 247.1, 247.3]}}\n\
        - {reading: allowance-against-record, outcome: larger}\n";
    let file = tool.home().join("call.yaml");
    std::fs::write(&file, case).unwrap();
    tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--keep"]);
    let said = typed(&tool, &["case", "continue"], &["4", "5", "leave"]);
    assert!(said.contains("In-flight allowance: from 5.0 g to 2.1 g"), "{said}");
}

#[test]
fn a_closed_case_that_is_taken_up_says_that_it_is_open_again() {
    let (tool, _) = run_of(&["247.2 247.0", ""]);
    tool.run(&["case", "close", "--as", "gone-not-proved"]);
    let said = typed(&tool, &["case", "continue", "--", &tool.only_case()], &["leave"]);
    assert!(said.contains("This case was closed. It is open again"), "{said}");
}

#[test]
fn a_word_narrows_a_long_list_down() {
    let tool = Tool::built_in(400);
    let opening = ["n", "?", "1", "?", "?", "3", "?", "?", "y", "all light", "1"];
    let lines = [&opening[..], &["give flap", "give", "flap shuts", "give nonsense", "leave"]].concat();
    let said = typed(&tool, &["diagnose"], &lines);
    let lists: Vec<&str> = said.split("Which reading?").skip(1).collect();
    assert_eq!(lists.len(), 3, "{said}");
    let listed = |text: &str| {
        text.lines().filter(|l| l.trim_start().starts_with(|c: char| c.is_ascii_digit())).count()
    };
    assert!(listed(lists[1]) > 40 && listed(lists[0]) < 8 && listed(lists[2]) < 3, "{said}");
    assert!(said.contains("Nothing in the list is called that"), "{said}");
}

#[test]
fn every_fill_light_and_every_fill_heavy_are_not_taken_together() {
    let tool = Tool::built_in(400);
    let opening = [
        "n",
        "?",
        "1",
        "?",
        "?",
        "3",
        "?",
        "?",
        "y",
        "all light",
        "fills-steadily-light,fills-steadily-heavy",
    ];
    let said = typed(&tool, &["diagnose"], &[&opening[..], &["leave"]].concat());
    assert!(said.contains("cannot both be"), "{said}");
    assert!(!exported(&tool).contains("outcome"), "{}", exported(&tool));
}

#[test]
fn danger_said_in_the_middle_of_a_call_is_made_safe_first() {
    let (tool, said) = run_of(&["there is a burnt smell now", "y"]);
    let stop = said.find("Stop first, make safe").unwrap_or_else(|| panic!("{said}"));
    assert!(said[stop..].contains("Next:"), "the call goes on once it is safe: {said}");
    assert!(exported(&tool).contains("danger: there is a burnt smell now"), "{}", exported(&tool));
}

#[test]
fn how_hands_go_in_is_shown_to_nobody_without_a_lock() {
    let tool = Tool::built_in(400);
    let opening = ["n", "?", "1", "?", "?", "2", "?", "?", "y", "now and then a light one", "1"];
    for list in ["give flap moved", "did clean the flap"] {
        let said = typed(&tool, &["diagnose"], &[&opening[..], &[list, "1", "leave"]].concat());
        let asked = said.rsplit("Type a number, a word").next().unwrap();
        assert!(asked.contains("Only what was done already, by somebody authorised"), "{said}");
        assert!(!asked.contains("Expect:") && !asked.contains("\nDo\n"), "{asked}");
    }
}

#[test]
fn a_cure_is_proved_by_its_own_check_and_then_by_a_run_of_fills() {
    let tool = Tool::built_in(400);
    let next = |more: &str| {
        let case = format!(
            "format: handlamp-case/1\nmachine: single-tray-weigher\npeople: [{{id: tech, at: machine, may: [isolate]}}]\n\
             events:\n- {{reading: what-the-caller-says, outcome: stray-light-fills}}\n\
             - {{reading: trickle-at-outlet, outcome: pieces-fall}}\n\
             - {{remedy: clean-flap-seat, result: gone-not-proved}}\n{more}"
        );
        let file = tool.home().join("call.yaml");
        std::fs::write(&file, case).unwrap();
        let answer = tool.run(&["diagnose", "--json", "--answers", file.to_str().unwrap()]).json();
        answer["next"][0]["id"].as_str().unwrap().to_owned()
    };
    assert_eq!(next(""), "trickle-at-outlet");
    assert_eq!(next("- {reading: trickle-at-outlet, outcome: nothing-falls}\n"), "weigh-a-run");
    assert_ne!(next("- {reading: trickle-at-outlet, outcome: pieces-fall}\n"), "weigh-a-run");
}
