//! What vetting refuses in a checklist, with the place; and that the template is a good list.

use std::path::Path;

use crate::tool::{Said, Tool};

/// The template, with words replaced, laid over the built-in lists and vetted.
fn vetted(changes: &[(&str, &str)]) -> Said {
    let template = Path::new(env!("CARGO_MANIFEST_DIR")).join("knowledge/examples/checklist.yaml");
    let mut text = std::fs::read_to_string(template).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "'{from}' is not in the template");
        text = text.replacen(from, to, 1);
    }
    let tool = Tool::built_in(200);
    let folder = tool.home().join("lists");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(folder.join("warm-scale.yaml"), text).unwrap();
    tool.run(&["knowledge", "vet", "--checklists", folder.to_str().unwrap()])
}

/// It is refused with this code, in this file, at a line.
fn refused(changes: &[(&str, &str)], code: &str) -> String {
    let said = vetted(changes);
    assert_eq!(said.status, Some(1), "{code}: {}", said.block());
    assert!(said.out.contains(&format!("({code})")), "{code}: {}", said.out);
    assert!(said.out.contains("warm-scale.yaml:"), "{}", said.out);
    said.out
}

const HOLD: &str = "        locks_out: true                  # shows the whole lockout prompt\n";

#[test]
fn the_template_of_a_checklist_is_a_good_list_and_can_be_carried_out() {
    let said = vetted(&[]);
    assert!(said.out.contains("No problems."), "{}", said.out);
}

#[test]
fn a_hands_on_item_before_guards_and_stops_are_proved() {
    let unproved = [("after: [hand-over]  ", "#"), (HOLD, "")];
    let out = refused(&unproved, "guards-not-proved");
    assert!(
        out.contains("'one-weight' is hands-on (at-scale, inside) before guards and stops are proved"),
        "{out}"
    );
    // Under a lock it is fine, unless the locks came off in between or the lock hangs on another answer.
    assert_eq!(vetted(&unproved[..1]).status, Some(0));
    let restored = [
        unproved[0],
        (
            "      - id: one-weight",
            "      - {id: opened, kind: do, restores: true, text: Restore., place: panel, minutes: 1}\n      - id: one-weight",
        ),
    ];
    refused(&restored, "guards-not-proved");
    let elsewhere =
        [unproved[0], (HOLD, "        locks_out: true\n        only_if: {option: weight-carrier}\n")];
    refused(&elsewhere, "guards-not-proved");
}

#[test]
fn a_list_that_says_unconnected_after_energy_came_back() {
    let out = refused(&[("# unconnected: true", "unconnected: true")], "guards-not-proved");
    assert!(out.contains("brings energy back"), "{out}");
}

#[test]
fn a_weight_on_a_live_scale_whatever_feeds_it() {
    let section = "    only_if: {answer: {item: what-feeds-the-scale, is: own-supply}}";
    let out = refused(&[(section, "    ")], "guards-not-proved");
    assert!(out.contains("live scale"), "{out}");
}

#[test]
fn a_measure_without_a_limit() {
    refused(&[("least: 30 min, ", "")], "no-limit");
}

#[test]
fn a_hold_that_can_be_passed() {
    refused(&[(HOLD, "        locks_out: true\n        may_be_skipped: true\n")], "hold-can-be-passed");
    refused(&[(HOLD, "        locks_out: true\n        names: 0\n")], "hold-can-be-passed");
    refused(&[("kind: hold  ", "kind: confirm  ")], "hold-can-be-passed");
    let choice = (
        "          - {id: shared-or-unknown, answer: 'Shared, or nobody knows'}\n",
        "          - {id: shared-or-unknown, answer: 'Shared, or nobody knows'}\n        may_be_skipped: true\n",
    );
    refused(&[choice], "hold-can-be-passed");
    let one = (HOLD, "        locks_out: true\n        proves_guards: true\n");
    refused(&[one], "hold-can-be-passed");
}

#[test]
fn an_item_that_can_never_come_up() {
    let weight = "      - id: one-weight\n";
    let never = |condition: &str| format!("      - id: one-weight\n        only_if: {condition}\n");
    let other = never("{answer: {item: what-feeds-the-scale, is: shared-or-unknown}}");
    refused(&[(weight, &other)], "unreachable");
    refused(&[(weight, &never("{machine: two-tray-weigher}"))], "unreachable");
    let later = never("{answer: {item: shift-told, is: yes-it-is}}");
    refused(&[(weight, &later)], "unknown-id");
}

#[test]
fn names_places_and_units_that_fit_nothing() {
    refused(&[("opens: scale-cold", "opens: scale-colt")], "unknown-id");
    refused(&[("place: weigh-pan", "place: weigh-pun")], "unknown-id");
    refused(&[("least: 30 min", "least: 30 g")], "bad-unit");
    refused(&[("after: [hand-over]", "after: [hand-ower]")], "unknown-id");
    refused(&[("after: [hand-over]", "after: [warm-scale]")], "cycle");
    refused(&[("revision: 1", "revison: 1")], "unknown-key");
    refused(&[("air-comes-back]\n        safety_read", "nothing-known]\n        safety_read")], "unknown-id");
}

#[test]
fn hands_on_without_cautions_or_a_second_reader_and_words_that_defeat_a_guard() {
    refused(
        &[("[hands-at-live-scale, guards-open-lock-first, air-comes-back]", "[sealed-scale]")],
        "missing-caution",
    );
    let signed = "        safety_read: {by: Hob & Tansy safety reader, date: 2026-11-25}";
    refused(&[(signed, "        #")], "missing-safety-read");
    refused(&[("Take your hands away and read.", "Tape the switch and read.")], "unsafe-text");
}

#[test]
fn a_broken_list_stops_every_command_on_lists_with_its_place_and_no_other() {
    let tool = Tool::built_in(80);
    let folder = tool.home().join("lists");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(folder.join("bad.yaml"), "title: [not closed\n").unwrap();
    let lists = folder.to_str().unwrap();
    let said = tool.run(&["checklist", "list", "--checklists", lists]);
    assert_eq!(said.status, Some(3), "{}", said.block());
    assert!(said.err.contains("bad.yaml:") && said.out.is_empty(), "{}", said.block());
    assert_eq!(tool.run(&["find", "light", "--checklists", lists]).status, Some(0));
    let gone = tool.run(&["checklist", "list", "--checklists", "/nowhere/at/all"]);
    assert_eq!(gone.status, Some(3), "{}", gone.block());
}
