//! `rehearse --against`: the test of a change of the knowledge. What harms is caught, what helps and what changes nothing passes.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::tool::{Said, Tool, copy, one_line};

/// A folder with these files of a knowledge, each text changed.
fn edited(base: &Path, folder: &Path, changes: &[(&str, &str, &str)]) -> PathBuf {
    for (file, from, to) in changes {
        let path = folder.join(file);
        let known = if path.exists() { path.clone() } else { base.join(file) };
        let text = std::fs::read_to_string(known).unwrap();
        assert!(text.contains(from), "{file} has no '{from}'");
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text.replacen(from, to, 1)).unwrap();
    }
    folder.to_owned()
}

fn against(tool: &Tool, cases: &str, (before, after): (&str, &str), more: &[&str]) -> Said {
    tool.run(&[&["rehearse", cases, "--knowledge", after, "--against", before], more].concat())
}

/// The shipped book, and it with something changed, on the faults that it must find.
fn faults(name: &str, changes: &[(&str, &str, &str)]) -> Said {
    let tool = Tool::built_in(80);
    let after = edited("knowledge".as_ref(), &tool.home().join(name), changes);
    against(&tool, "tests/faults", ("knowledge", after.to_str().unwrap()), &["--json"])
}

const CHECK: &str = "checks/stops-looked-at.yaml";
const MEANS: &str = "means: [{finding: a-stop-is-in, hit: .93, false_alarm: .01}]";

#[test]
fn three_kinds_of_harm_are_each_caught_and_named() {
    let link = ("causes/cell-creeping.yaml", "strength: always", "strength: rarely");
    for (name, changes, case) in [
        ("a link cut", vec![link], "climbs-with-a-bag-in-it"),
        (
            "two rates swapped, thirty to one",
            vec![
                (
                    "causes/reference-scale-wrong.yaml",
                    "single-tray-weigher: common",
                    "single-tray-weigher: .8",
                ),
                ("causes/division-too-coarse.yaml", "single-tray-weigher: .8", "single-tray-weigher: common"),
            ],
            "bench-scale-disagrees",
        ),
        (
            "a check whose hit fell to its false alarm",
            vec![(CHECK, MEANS, "means: [{finding: a-stop-is-in, hit: .012, false_alarm: .01}]")],
            "red-button-round-the-back",
        ),
    ] {
        let said = faults(name, &changes);
        assert_eq!(said.status, Some(1), "{name}: {}", said.block());
        let answer = said.json();
        assert!(answer["fails"].as_str().unwrap().contains(case), "{name}: {}", answer["fails"]);
        let worse = answer["worse"].as_array().unwrap();
        assert!(worse.iter().any(|moved| moved["case"] == case), "{name}: {worse:?}");
    }
}

#[test]
fn hit_and_false_alarm_exchanged_is_no_knowledge_at_all() {
    let exchanged = "means: [{finding: a-stop-is-in, hit: .01, false_alarm: .93}]";
    let said = faults("exchanged", &[(CHECK, MEANS, exchanged)]);
    assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
    assert!(said.err.contains(CHECK), "{}", said.err);
}

#[test]
fn taking_a_harm_back_is_better_and_passes() {
    let tool = Tool::built_in(80);
    let harmed = edited(
        "knowledge".as_ref(),
        &tool.home().join("harmed"),
        &[("causes/cell-creeping.yaml", "strength: always", "strength: rarely")],
    );
    let said = against(&tool, "tests/faults", (harmed.to_str().unwrap(), "knowledge"), &["--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let answer = said.json();
    assert!(answer["change"]["log_score"]["mean"].as_f64().unwrap() > 0.0, "{answer}");
    let better = answer["better"].as_array().unwrap();
    assert_eq!(better[0]["case"], "climbs-with-a-bag-in-it");
    assert!(answer["fails"].is_null());
}

const MINIMAL: &str = "tests/kb/minimal";

/// Cases of the tiny book: what is expected is first in each.
fn cases(tool: &Tool) -> String {
    let folder = tool.home().join("our-cases");
    std::fs::create_dir_all(&folder).unwrap();
    for (name, cause, outcome) in [
        ("light", "allowance-high", "what-the-caller-says, outcome: fills-light"),
        ("heavy", "allowance-low", "what-the-caller-says, outcome: fills-heavy"),
        ("catches", "pan-touching", "paper-round-pan, outcome: catches"),
    ] {
        let text = format!(
            "format: handlamp-case/1\nmachine: tray-filler\nevents:\n  - {{reading: {outcome}}}\nexpect: {{cause: {cause}, within: 1}}\n"
        );
        std::fs::write(folder.join(format!("{name}.yaml")), text).unwrap();
    }
    folder.to_str().unwrap().to_owned()
}

#[test]
fn the_same_knowledge_differs_in_nothing() {
    let tool = Tool::minimal(40);
    let cases = cases(&tool);
    let said = against(&tool, &cases, (MINIMAL, MINIMAL), &["--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let answer = said.json();
    assert_eq!((&answer["cases"], &answer["loss_put_up_with"]), (&3.into(), &0.02.into()));
    let change = answer["change"].as_object().unwrap();
    assert_eq!(change.len(), 8);
    for (name, figure) in change {
        assert_eq!((figure["mean"].as_f64(), figure["error"].as_f64()), (Some(0.0), Some(0.0)), "{name}");
    }
    assert_eq!(answer["before"], answer["after"]);
    for list in ["worse", "better", "fell_short", "judged_no_more", "judged_now_only"] {
        assert_eq!(answer[list].as_array().map(Vec::len), Some(0), "{list}");
    }
    let page = against(&tool, &cases, (MINIMAL, MINIMAL), &[]);
    assert!(page.out.lines().all(|line| line.chars().count() <= 40), "{}", page.block());
    let text = one_line(&page.out);
    for phrase in [
        "Before: tests/kb/minimal (0.1.0)",
        "After: tests/kb/minimal",
        "Not worse.",
        "Put up with: 0.02 nats",
    ] {
        assert!(text.contains(phrase), "no '{phrase}' in\n{}", page.out);
    }
}

#[test]
fn the_bars_can_be_set_and_a_wrong_one_is_refused() {
    let tool = Tool::minimal(80);
    let cases = cases(&tool);
    let change = ("causes/pan-touching.yaml", "tray-filler: occasional", "tray-filler: .2");
    copy(MINIMAL.as_ref(), &tool.home().join("after"));
    let after = edited(MINIMAL.as_ref(), &tool.home().join("after"), &[change]);
    let sides = (MINIMAL, after.to_str().unwrap());
    let said = against(&tool, &cases, sides, &["--loss", "9"]);
    assert_eq!(said.status, Some(1), "{}", said.block());
    assert!(one_line(&said.out).contains("Worse: "), "{}", said.block());
    let refused = against(&tool, &cases, sides, &["--loss", "-1"]);
    assert_eq!(refused.status, Some(2), "{}", refused.block());
    assert_eq!(tool.run(&["rehearse", &cases, "--loss", "1"]).status, Some(2), "only with --against");
}

#[test]
fn what_was_renamed_is_the_same_evidence_and_what_was_taken_out_is_a_loss() {
    let tool = Tool::minimal(80);
    let store = tool.home().join("demo");
    let store = store.to_str().unwrap();
    tool.run(&["rehearse", "--write-store", store, "--cases", "60", "--until", "2026-11-25"]);
    let folder = tool.home().join("renamed");
    copy(MINIMAL.as_ref(), &folder);
    // The check, the cause and its remedy's word for it under other names.
    let swap = |file: &str, from: &str, to: &str| edited(MINIMAL.as_ref(), &folder, &[(file, from, to)]);
    swap("checks/paper-round-pan.yaml", "place: weigh-pan", "was: [paper-round-pan]\nplace: weigh-pan");
    std::fs::rename(folder.join("checks/paper-round-pan.yaml"), folder.join("checks/strip-of-paper.yaml"))
        .unwrap();
    swap("remedies/free-the-pan.yaml", "check: paper-round-pan", "check: strip-of-paper");
    swap("causes/pan-touching.yaml", "about:", "was: [pan-touching]\nabout:");
    std::fs::rename(folder.join("causes/pan-touching.yaml"), folder.join("causes/pan-rubs.yaml")).unwrap();
    swap("remedies/free-the-pan.yaml", "cures: pan-touching", "cures: pan-rubs");
    let said = against(&tool, store, (MINIMAL, folder.to_str().unwrap()), &["--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let answer = said.json();
    assert!(answer["change"]["log_score"]["mean"].as_f64().unwrap().abs() < 1e-12, "{answer}");
    assert_eq!(answer["held_against_another_cause"].as_array().map(Vec::len), Some(0), "{answer}");

    let folder = tool.home().join("without");
    copy(MINIMAL.as_ref(), &folder);
    for file in ["causes/allowance-low.yaml", "remedies/raise-allowance.yaml"] {
        std::fs::remove_file(folder.join(file)).unwrap();
    }
    let said = against(&tool, store, (MINIMAL, folder.to_str().unwrap()), &["--json"]);
    assert_eq!(said.status, Some(1), "{}", said.block());
    let answer = said.json();
    assert!(answer["fails"].as_str().unwrap().contains("cannot be any more"), "{}", answer["fails"]);
    assert!(!answer["judged_no_more"].as_array().unwrap().is_empty());
}

fn git(folder: &Path, args: &[&str]) {
    let done = Command::new("git").arg("-C").arg(folder).args(args).env("HOME", folder).output().unwrap();
    assert!(done.status.success(), "git {args:?}: {}", String::from_utf8_lossy(&done.stderr));
}

#[test]
fn a_git_revision_is_the_version_before() {
    let tool = Tool::minimal(80);
    let cases = cases(&tool);
    let root = tool.home().join("repository");
    let folder = root.join("kb");
    copy(MINIMAL.as_ref(), &folder);
    let commit = |message: &str| {
        git(&root, &["add", "-A"]);
        let name = ["-c", "user.name=an author", "-c", "user.email=author@example.invalid"];
        git(&root, &[&name[..], &["commit", "-q", "-m", message]].concat());
    };
    git(&root, &["init", "-q"]);
    commit("first");
    edited(&folder, &folder, &[("causes/pan-touching.yaml", "strength: usually", "strength: rarely")]);
    commit("harm");
    let kb = folder.to_str().unwrap();
    let run = |revision: &str| {
        let mut command = tool.command();
        let done = command
            .env("PATH", std::env::var_os("PATH").unwrap())
            .args(["rehearse", &cases, "--knowledge", kb, &format!("--against={revision}"), "--json"])
            .output()
            .unwrap();
        (done.status.code(), String::from_utf8(done.stdout).unwrap(), String::from_utf8(done.stderr).unwrap())
    };
    assert_eq!(run("HEAD").0, Some(0));
    let (status, out, err) = run("HEAD~1");
    assert_eq!(status, Some(1), "{out}{err}");
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(answer["worse"][0]["case"], "catches", "{answer}");
    for unknown in ["HEAD~9", "--output=x", "HEAD:kb", ""] {
        let (status, out, err) = run(unknown);
        assert_eq!((status, out.as_str()), (Some(3), ""), "{unknown}: {err}");
        assert!(unknown.is_empty() || err.contains("no such revision"), "{err}");
    }
    // Without git, and without a folder that it could be a revision of.
    let mut command = tool.command();
    command.env("PATH", tool.home());
    let no_git = command.args(["rehearse", &cases, "--knowledge", kb, "--against", "HEAD"]).output().unwrap();
    let err = String::from_utf8(no_git.stderr).unwrap();
    assert_eq!(no_git.status.code(), Some(3), "{err}");
    assert!(err.contains("git, which could not be run"), "{err}");
    let built_in = Tool::built_in(80).run(&["rehearse", "tests/faults", "--against", "HEAD"]);
    assert_eq!(built_in.status, Some(3), "{}", built_in.block());
    assert!(built_in.err.contains("--knowledge DIR"), "{}", built_in.err);
}

#[test]
fn calls_made_up_from_the_version_before_say_what_a_change_costs() {
    let tool = Tool::minimal(80);
    let folder = tool.home().join("after");
    copy(MINIMAL.as_ref(), &folder);
    let after = edited(
        MINIMAL.as_ref(),
        &folder,
        &[
            ("causes/allowance-low.yaml", "tray-filler: common", "tray-filler: .8"),
            ("causes/pan-touching.yaml", "tray-filler: occasional", "tray-filler: 240"),
        ],
    );
    let run = |after: &str, more: &[&str]| {
        let args = ["rehearse", "--simulate", "150", "--knowledge", after, "--against", MINIMAL];
        tool.run(&[&args[..], more].concat())
    };
    let after = after.to_str().unwrap();
    let said = run(after, &["--json"]);
    assert_eq!(said.status, Some(1), "{}", said.block());
    let answer = said.json();
    assert_eq!((&answer["cases"], &answer["seed"]), (&150.into(), &1.into()));
    let log = &answer["change"]["log_score"];
    let (mean, error) = (log["mean"].as_f64().unwrap(), log["error"].as_f64().unwrap());
    assert!(mean < -0.02 && mean < -2.0 * error, "{log}");
    assert_eq!(said.out, run(after, &["--json"]).out, "the same seed gives the same calls");
    assert_ne!(said.out, run(after, &["--json", "--seed", "2"]).out);
    let same = run(MINIMAL, &[]);
    assert_eq!(same.status, Some(0), "{}", same.block());
    assert!(one_line(&same.out).contains("drawn from the version before, seed 1"), "{}", same.block());
}

#[test]
fn a_test_that_judges_nothing_does_not_pass() {
    let tool = Tool::minimal(80);
    let path = tool.home().join("call.yaml");
    std::fs::write(&path, "format: handlamp-case/1\nmachine: tray-filler\n").unwrap();
    let said = against(&tool, path.to_str().unwrap(), (MINIMAL, MINIMAL), &[]);
    assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
    assert!(said.err.contains("None of these cases tells what it was"), "{}", said.err);
}

#[test]
fn files_of_one_name_in_two_folders_are_two_cases() {
    let tool = Tool::minimal(80);
    let ours = cases(&tool);
    let theirs = tool.home().join("their-cases");
    copy(ours.as_ref(), &theirs);
    let text = std::fs::read_to_string(theirs.join("light.yaml")).unwrap();
    std::fs::write(theirs.join("light.yaml"), text.replace("cause: allowance-high", "cause: pan-touching"))
        .unwrap();
    let said = tool.run(&["rehearse", &ours, theirs.to_str().unwrap(), "--against", MINIMAL, "--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert_eq!(said.json()["cases"], 6, "{}", said.block());
}
