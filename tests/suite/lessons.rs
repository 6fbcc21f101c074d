//! A lesson takes two minutes to write down, shows its reviewer what it would change, and comes into the knowledge without
//! touching a byte besides.

use std::path::{Path, PathBuf};
use std::process::Command;

use handlamp::knowledge::Texts;

use crate::tool::{Said, Tool, one_line};

const CASE: &str = "format: handlamp-case/1
machine: single-tray-weigher
complaint: the sacks come up short since the new seed
events:
  - {reading: what-the-caller-says, outcome: fills-steadily-light}
  - {circumstance: product-changed, outcome: happened}
  - {remedy: lower-inflight-allowance, result: proved-gone}
closed: cured
";
const FILE: &str = "title: The allowance is hardly ever it
told: Three of forty calls this year.
kind: number-off
machine: single-tray-weigher
bears_on: [causes/inflight-allowance-high]
by: R. T.
recorded: 2026-11-25
changes:
  - {file: causes/inflight-allowance-high.yaml, place: machines.single-tray-weigher, was: very common, to: common}
";

/// The program with one closed case.
fn with_a_case() -> Tool {
    let tool = Tool::built_in(80);
    let file = tool.home().join("case.yaml");
    std::fs::write(&file, CASE).unwrap();
    let said = tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--keep"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    tool
}

fn id_in(said: &Said) -> String {
    let id = said.json()["id"].as_str().unwrap_or_else(|| panic!("{}", said.block())).to_owned();
    assert_eq!(said.status, Some(0), "{}", said.block());
    id
}

fn recorded(tool: &Tool, text: &str) -> String {
    let file = tool.home().join("lesson.yaml");
    std::fs::write(&file, text).unwrap();
    id_in(&tool.run(&["lesson", "record", "--file", file.to_str().unwrap(), "--json"]))
}

fn accepted(tool: &Tool, id: &str, folder: &Path) -> Said {
    tool.run(&["lesson", "accept", id, "--by", "M. K.", "--knowledge", folder.to_str().unwrap()])
}

#[test]
fn from_a_closed_case_only_what_is_missing_is_asked() {
    let tool = with_a_case();
    // Kind, then Enter for what the case tells already, then who it is.
    let said = tool.typed(&["lesson", "record"], b"\n\nR. T.\n");
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert!(
        one_line(&said.out).contains("Enter takes: “Cured by: Lower the in-flight allowance.”"),
        "{}",
        said.block()
    );
    let list = tool.run(&["lesson", "list", "--json"]).json();
    let lesson = &list["waiting"][0];
    assert_eq!(lesson["lesson_kind"], "happened-again");
    assert_eq!(lesson["bears_on"][0], "causes/inflight-allowance-high");
    assert_eq!((&lesson["by"], &lesson["cases"]), (&"R. T.".into(), &1.into()));
    // The same once more is the same lesson, seen again.
    let said = tool.typed(&["lesson", "record", "--by", "S."], b"\n\n\n");
    assert!(
        one_line(&said.out).contains("This looks like a lesson that is there already"),
        "{}",
        said.block()
    );
    let list = tool.run(&["lesson", "list", "--json"]).json();
    assert_eq!(list["waiting"].as_array().unwrap().len(), 1);
    assert_eq!(list["waiting"][0]["seen_again"], 1);
    // How the caller said it, as a phrase of the symptom that was confirmed.
    let said = tool.typed(&["lesson", "record", "--kind", "new-phrase", "--by", "S.", "--json"], b"\n");
    let change = said.json()["changes"][0].clone();
    assert_eq!(change["file"], "symptoms/fills-steadily-light.yaml", "{}", said.block());
    assert_eq!(change["adds"], "the sacks come up short since the new seed");
}

#[test]
fn the_queue_puts_safety_first_and_then_what_would_change_most() {
    let tool = Tool::built_in(80);
    let much = recorded(&tool, &FILE.replace("to: common", "to: very rare"));
    let little = recorded(&tool, FILE);
    let none = recorded(
        &tool,
        "title: A note\ntold: Nothing to change.\nkind: new-check\nby: R. T.\nrecorded: 2026-11-25\n",
    );
    let safety = recorded(
        &tool,
        "title: The flap bites\ntold: It closed by itself.\nkind: safety\nby: R. T.\nrecorded: 2026-11-25\n",
    );
    let list = tool.run(&["lesson", "list", "--json"]).json();
    let order: Vec<&str> =
        list["waiting"].as_array().unwrap().iter().map(|l| l["id"].as_str().unwrap()).collect();
    assert_eq!(order, [&safety, &much, &little, &none]);
    let said = tool.run(&["lesson", "list"]);
    assert!(one_line(&said.out).contains("A safety remark"), "{}", said.block());
}

#[test]
fn a_review_shows_the_change_as_a_diff_with_vetting_and_a_rehearsal_before_and_after() {
    let tool = with_a_case();
    let id = recorded(&tool, FILE);
    let said = tool.run(&["lesson", "review", &id]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    for part in [
        "− …",
        "single-tray-weigher: common",
        "Vetting Nothing new.",
        "Rehearsal before and after",
        "log score",
    ] {
        assert!(one_line(&said.out).contains(part), "{part}\n{}", said.block());
    }
    let json = tool.run(&["lesson", "review", &id, "--json"]).json();
    let diff = json["review"]["diff"].as_str().unwrap();
    assert!(diff.starts_with("--- a/causes/inflight-allowance-high.yaml\n+++ b/"), "{diff}");
    assert!(diff.contains("\n-machines: {single-tray-weigher: very common,"), "{diff}");
    // The diff is a patch that a program takes.
    let folder = tempfile::tempdir().unwrap();
    let built_in = Texts::built_in();
    let file = folder.path().join("causes/inflight-allowance-high.yaml");
    std::fs::create_dir_all(file.parent().unwrap()).unwrap();
    std::fs::write(&file, built_in.text("causes/inflight-allowance-high.yaml").unwrap()).unwrap();
    std::fs::write(folder.path().join("p"), diff).unwrap();
    git(folder.path(), &["init", "-q"]);
    git(folder.path(), &["apply", "p"]);
    assert!(std::fs::read_to_string(&file).unwrap().contains("single-tray-weigher: common"));
}

#[test]
fn accepting_needs_a_second_person_and_a_folder_and_changes_one_value_and_not_a_byte_besides() {
    let tool = Tool::built_in(80);
    let id = recorded(&tool, FILE);
    let folder = tool.home().join("kb");
    assert_eq!(tool.run(&["lesson", "accept", &id, "--by", "M. K."]).status, Some(2), "no folder named");
    let own = tool.run(&["lesson", "accept", &id, "--by", "r. t.", "--knowledge", folder.to_str().unwrap()]);
    assert_eq!(own.status, Some(3), "{}", own.block());
    let said = accepted(&tool, &id, &folder);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let (built_in, file) = (Texts::built_in(), "causes/inflight-allowance-high.yaml");
    let wanted = built_in
        .text(file)
        .unwrap()
        .replace("single-tray-weigher: very common", "single-tray-weigher: common");
    assert_eq!(std::fs::read_to_string(folder.join(file)).unwrap(), wanted);
    let lesson = std::fs::read_to_string(folder.join(format!("lessons/{id}.yaml"))).unwrap();
    for part in ["by: 'R. T.'", "read_by: 'M. K.'", "accepted: ", "was: very common, to: common"] {
        assert!(lesson.contains(part), "{part}\n{lesson}");
    }
    let kb = folder.to_str().unwrap();
    assert_eq!(tool.run(&["knowledge", "vet", "--knowledge", kb]).status, Some(0));
    let shown = tool.run(&["show", &id, "--knowledge", kb]);
    assert!(one_line(&shown.out).contains("own words: not a checked instruction"), "{}", shown.block());
    let found = tool.run(&["find", "allowance hardly ever it", "--knowledge", kb, "--kind", "lesson"]);
    assert!(found.out.contains(&id), "{}", found.block());
    assert_eq!(accepted(&tool, &id, &folder).status, Some(3), "it is accepted already");
}

#[test]
fn what_vetting_refuses_or_somebody_changed_since_is_not_made() {
    let tool = Tool::built_in(80);
    let folder = tool.home().join("kb");
    let bad = recorded(&tool, &FILE.replace("to: common", "to: 900"));
    let said = accepted(&tool, &bad, &folder);
    assert_eq!(said.status, Some(3), "{}", said.block());
    assert!(!folder.join("causes").exists() && !folder.join("lessons").exists(), "nothing was written");
    let first = recorded(&tool, FILE);
    assert_eq!(accepted(&tool, &first, &folder).status, Some(0));
    let second =
        recorded(&tool, &FILE.replace("to: common", "to: occasional").replace("hardly ever", "seldom"));
    let said = accepted(&tool, &second, &folder);
    assert_eq!(said.status, Some(3));
    assert!(
        one_line(&said.err).contains("stands common, and the lesson was made for very common"),
        "{}",
        said.block()
    );
    let outside = FILE.replace("causes/inflight-allowance-high.yaml", "../../outside.yaml");
    let id = recorded(&tool, &outside);
    assert_eq!(accepted(&tool, &id, &folder).status, Some(3));
}

#[test]
fn a_reviewer_asks_back_turns_down_with_a_reason_or_works_it_over() {
    let tool = Tool::built_in(80);
    let id = recorded(&tool, FILE);
    let said = tool.run(&["lesson", "review", &id, "--ask", "On both machines?", "--by", "M. K."]);
    assert!(said.out.contains("asked back"), "{}", said.block());
    assert_eq!(tool.run(&["lesson", "list", "--json"]).json()["waiting"][0]["asked"], "On both machines?");
    tool.run(&["lesson", "review", &id, "--answer", "On this one.", "--by", "R. T."]);
    assert_eq!(tool.run(&["lesson", "list", "--json"]).json()["waiting"][0]["standing"], "waiting");
    let form = tool.run(&["lesson", "review", &id, "--as-file"]).out;
    let file = tool.home().join("edited.yaml");
    std::fs::write(&file, form.replace("to: common", "to: 30")).unwrap();
    let said = tool.run(&["lesson", "review", &id, "--edited", file.to_str().unwrap(), "--by", "M. K."]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert_eq!(tool.run(&["lesson", "review", &id, "--json"]).json()["changes"][0]["to"], 30.0);
    let no_reason = tool.run(&["lesson", "turn-down", &id, "--by", "M. K."]);
    assert_eq!(no_reason.status, Some(2), "{}", no_reason.block());
    tool.run(&["lesson", "turn-down", &id, "--because", "It was the hinge.", "--by", "M. K."]);
    let list = tool.run(&["lesson", "list", "--json"]).json();
    assert_eq!(
        (list["waiting"].as_array().unwrap().len(), &list["decided"][0]["standing"]),
        (0, &"turned down".into())
    );
    let page = tool.run(&["lesson", "review", &id]);
    assert!(one_line(&page.out).contains("It was the hinge."), "{}", page.block());
}

#[test]
fn a_lesson_that_takes_the_place_of_another_leaves_a_pointer_there() {
    let tool = Tool::built_in(80);
    let folder = tool.home().join("kb");
    let old = recorded(&tool, FILE);
    accepted(&tool, &old, &folder);
    let new = recorded(
        &tool,
        "title: It was the hinge\ntold: The hinge was bent.\nkind: wrong\nby: R. T.\nrecorded: 2026-11-26\n",
    );
    let args = [
        "lesson",
        "accept",
        &new,
        "--by",
        "M. K.",
        "--replaces",
        &old,
        "--knowledge",
        folder.to_str().unwrap(),
    ];
    let said = tool.run(&args);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let text = std::fs::read_to_string(folder.join(format!("lessons/{old}.yaml"))).unwrap();
    assert!(text.contains(&format!("replaced_by: {new}")), "{text}");
    assert_eq!(tool.run(&["knowledge", "vet", "--knowledge", folder.to_str().unwrap()]).status, Some(0));
}

fn git(folder: &Path, args: &[&str]) -> bool {
    let who = ["-c", "user.name=a", "-c", "user.email=a@example.org"];
    let done = Command::new("git").arg("-C").arg(folder).args(who).args(args).output().unwrap();
    done.status.success()
}

#[test]
fn two_reviewers_in_two_clones_merge_without_conflict() {
    let tool = Tool::built_in(80);
    let clone = |name: &str| -> PathBuf { tool.home().join(name) };
    let (one, two) = (clone("one"), clone("two"));
    std::fs::create_dir_all(one.join("causes")).unwrap();
    let file = "causes/inflight-allowance-high.yaml";
    std::fs::write(one.join(file), Texts::built_in().text(file).unwrap()).unwrap();
    assert!(git(&one, &["init", "-q", "-b", "main"]) && git(&one, &["add", "."]));
    assert!(git(&one, &["commit", "-q", "-m", "start"]));
    assert!(git(tool.home(), &["clone", "-q", "one", "two"]));
    let rate = recorded(&tool, FILE);
    accepted(&tool, &rate, &one);
    let strength = FILE
        .replace(
            "machines.single-tray-weigher, was: very common, to: common",
            "leads_to.allowance-above-record.strength, to: often",
        )
        .replace("hardly ever it", "less often above its record");
    let strength = recorded(&tool, &strength);
    assert_eq!(accepted(&tool, &strength, &two).status, Some(0));
    for folder in [&one, &two] {
        assert!(git(folder, &["add", "."]) && git(folder, &["commit", "-q", "-m", "a lesson"]));
    }
    assert!(git(&one, &["pull", "-q", "--no-rebase", "--no-edit", "../two", "main"]), "the two merge");
    let text = std::fs::read_to_string(one.join(file)).unwrap();
    assert!(text.contains("single-tray-weigher: common") && text.contains("strength: often"), "{text}");
    let kb = one.to_str().unwrap();
    assert_eq!(tool.run(&["knowledge", "vet", "--knowledge", kb]).status, Some(0));
    for id in [rate, strength] {
        assert_eq!(tool.run(&["show", &id, "--knowledge", kb]).status, Some(0));
    }
}

#[test]
fn a_form_is_a_lesson_once_it_is_filled_in_and_a_bad_one_is_told_with_its_place() {
    let tool = with_a_case();
    let form = tool.run(&["lesson", "record", "--form", "--kind", "safety"]);
    assert_eq!(form.status, Some(0), "{}", form.block());
    assert!(
        form.out.contains("machine: single-tray-weigher") && form.out.contains("kind: safety"),
        "{}",
        form.out
    );
    let file = tool.home().join("form.yaml");
    std::fs::write(&file, &form.out).unwrap();
    let said = tool.run(&["lesson", "record", "--file", file.to_str().unwrap()]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    std::fs::write(&file, form.out.replace("kind: safety", "kind: gossip")).unwrap();
    let said = tool.run(&["lesson", "record", "--file", file.to_str().unwrap()]);
    assert_eq!(said.status, Some(3));
    assert!(said.err.contains("form.yaml:") && said.err.contains("gossip"), "{}", said.block());
}

#[test]
fn what_closed_cases_contradict_is_proposed_with_its_cases_and_an_interval_and_goes_the_way_of_any_lesson() {
    let tool = Tool::built_in(80);
    let store = tool.demo("store", "400", "1");
    // The author of this folder thinks that it is hardly ever the allowance; the cases were drawn where it is common.
    let folder = tool.home().join("kb");
    std::fs::create_dir_all(folder.join("causes")).unwrap();
    let file = "causes/inflight-allowance-low.yaml";
    let text = Texts::built_in().text(file).unwrap().to_owned();
    let line = text.lines().find(|line| line.starts_with("machines:")).unwrap().to_owned();
    let off = text.replace(&line, "machines: {single-tray-weigher: rare, two-tray-weigher: rare}");
    std::fs::write(folder.join(file), off).unwrap();
    let kb = folder.to_str().unwrap();
    let said = tool.run(&["lesson", "list", "--learned", "--json", "--knowledge", kb]);
    let json = said.json();
    let all = json["proposals"].as_array().unwrap();
    let wanted =
        |p: &&serde_json::Value| p["entry"] == "causes/inflight-allowance-low" && p["what"] == "rate";
    let found = all.iter().find(wanted).unwrap_or_else(|| panic!("{}", said.block()));
    assert_eq!(found["contradicts_author"], true, "{found}");
    let (low, high) = (found["interval"][0].as_f64().unwrap(), found["interval"][1].as_f64().unwrap());
    let (author, learned) = (found["author"].as_f64().unwrap(), found["learned"].as_f64().unwrap());
    assert!(author < low && low < learned && learned < high && learned > 5.0 * author, "{found}");
    let cases = found["cases"].as_array().unwrap();
    assert!(cases.len() >= 3, "{found}");
    for case in cases {
        let record =
            std::fs::read_to_string(store.join(format!("cases/{}.jsonl", case.as_str().unwrap()))).unwrap();
        assert!(record.contains("close"), "each case named is a closed case of this store");
    }
    let said = tool.run(&["lesson", "record", "--learned", "--knowledge", kb]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let before = tool.run(&["lesson", "list", "--json", "--knowledge", kb]).json()["waiting"]
        .as_array()
        .unwrap()
        .len();
    assert_eq!(before, all.len());
    tool.run(&["lesson", "record", "--learned", "--knowledge", kb]);
    let list = tool.run(&["lesson", "list", "--json", "--knowledge", kb]).json();
    assert_eq!(list["waiting"].as_array().unwrap().len(), before, "each proposal once");
    let id = list["waiting"].as_array().unwrap().iter().find(|lesson| {
        lesson["changes"][0]["file"] == file
            && lesson["changes"][0]["place"] == "machines.single-tray-weigher"
    });
    let id = id.unwrap()["id"].as_str().unwrap().to_owned();
    assert_eq!(accepted(&tool, &id, &folder).status, Some(0));
    let lesson = std::fs::read_to_string(folder.join(format!("lessons/{id}.yaml"))).unwrap();
    assert!(
        cases.iter().all(|case| !lesson.contains(case.as_str().unwrap())),
        "field data stay in the store"
    );
}

#[test]
fn whoever_breaks_off_has_recorded_nothing_and_a_wrong_number_is_asked_again() {
    let tool = with_a_case();
    for kind in ["happened-again", "new-phrase", "new-cause", "number-off", "safety", "wrong"] {
        let said = tool.typed(&["lesson", "record", "--kind", kind, "--by", "S."], b"");
        assert_eq!(said.status, Some(2), "{kind}: {}", said.block());
        assert!(one_line(&said.err).contains("nothing was kept"), "{kind}: {}", said.block());
    }
    assert!(tool.run(&["lesson", "list", "--json"]).json()["waiting"].as_array().unwrap().is_empty());
    // The nearest twin is offered as 'again'; breaking off there is no yes.
    tool.typed(&["lesson", "record", "--by", "S."], b"\n\n");
    let said = tool.typed(&["lesson", "record", "--by", "S."], b"\n\n");
    assert_eq!(said.status, Some(2), "{}", said.block());
    assert_eq!(tool.run(&["lesson", "list", "--json"]).json()["waiting"][0]["seen_again"], 0);
    let said = tool.typed(&["lesson", "record", "--by", "S."], b"9\nx\n6\nIt bites\n\nKeep off.\n");
    assert!(one_line(&said.out).contains("Type a number from 1 to 7."), "{}", said.block());
    assert_eq!(said.status, Some(0), "{}", said.block());
    // No entry fits, so that the number is told in words.
    let said = tool.typed(
        &["lesson", "record", "--kind", "number-off", "--by", "S."],
        b"zzqq\nThe air note\nSeen twice.\n",
    );
    assert_eq!(said.status, Some(0), "{}", said.block());
}
