//! Reading case files: what is accepted means what it says, what is refused is named at its place.

use super::{WHOLE, knowledge};
use crate::casebook::*;
use crate::diag::Code;

/// A case file of these events alone.
fn events(lines: &str) -> String {
    format!("format: handlamp-case/1\nmachine: single-tray-weigher\nevents:\n{lines}\n")
}

/// The codes and sentences with which a text is refused.
fn refusal(text: &str) -> Vec<(Code, String)> {
    let refused = read(text, "t.yaml", &knowledge()).expect_err(&text.chars().take(200).collect::<String>());
    refused.problems.iter().map(|p| (p.code, p.sentence(&refused.sources))).collect()
}

fn case(text: &str) -> Case {
    read(text, "t.yaml", &knowledge()).unwrap_or_else(|refused| panic!("{:#?}", refused.problems)).case
}

#[test]
fn a_case_with_everything_reads_as_written() {
    let case = case(WHOLE);
    assert_eq!(case.opening.serial.as_deref(), Some("00123"));
    assert_eq!(case.visit, Some(Visit { travel: 90.0, waiting: 60.0 }));
    assert_eq!(case.scale.division, Some(0.1));
    assert_eq!(case.events.len(), 13);
    assert_eq!(case.closed, Some(Closing::LeftOpen));
    let What::Reading { reading: Reading::Fills(fills), .. } = &case.events[2].what else { panic!() };
    assert_eq!((fills.target, fills.division, fills.values.len()), (250.0, Some(0.1), 3));
    let What::Reading { reading: Reading::Value { value, against }, moment, .. } = &case.events[3].what
    else {
        panic!()
    };
    assert_eq!((value.base(), against.unwrap().quantity().base(), *moment), (199.4, 200.0, Moment::Bad));
    let What::Reading { reading: Reading::Value { value, .. }, .. } = &case.events[6].what else { panic!() };
    assert_eq!(value.to_string(), "5.5 bar", "a bare number is in the check's unit");
}

#[test]
fn only_format_and_machine_are_required() {
    let case = case("format: handlamp-case/1\nmachine: single-tray-weigher\n");
    assert_eq!(case, Case::of("single-tray-weigher".into()));
    assert_eq!(refusal("machine: single-tray-weigher\n")[0].0, Code::MissingKey);
    assert_eq!(refusal("format: handlamp-case/1\n")[0].0, Code::MissingKey);
}

#[test]
fn a_future_format_is_named_alone_with_the_one_that_is_read() {
    let said = refusal("format: handlamp-case/2\nengine: x\n");
    assert_eq!(said.len(), 1);
    assert_eq!(said[0].0, Code::UnknownFormat);
    assert!(said[0].1.contains("it reads handlamp-case/1"), "{}", said[0].1);
}

/// Each event alone on the fourth line is refused with its code, its sentence and its place.
fn each_is_refused(bad: &[(&str, Code, &str)]) {
    for (line, code, says) in bad {
        let said = refusal(&events(&format!("  - {{{line}}}")));
        assert_eq!(said.len(), 1, "{line}\n{said:#?}");
        assert_eq!(said[0].0, *code, "{line}\n{}", said[0].1);
        assert!(said[0].1.contains(says), "{line}\n{}", said[0].1);
        assert!(said[0].1.starts_with("t.yaml:4:"), "{}", said[0].1);
    }
}

#[test]
fn every_bad_name_and_answer_gets_its_own_code_and_sentence() {
    each_is_refused(&[
        ("reading: test-wieght-on-pan, outcome: reads-low", Code::UnknownId, "test-weight-on-pan"),
        ("reading: flap-seats-fully, outcome: leaves-gap", Code::UnknownId, "leaves-a-gap"),
        ("reading: what-the-caller-says, outcome: fills-steadily-lite", Code::UnknownId, "symptom"),
        ("circumstance: product-change, outcome: happened", Code::UnknownId, "product-changed"),
        ("circumstance: product-changed, outcome: perhaps", Code::BadValue, "did-not"),
        ("setting: allowance, old: 1 g, new: 2 g", Code::UnknownId, "in-flight-allowance"),
        ("setting: in-flight-allowance, old: 1 V, new: 2 g", Code::BadUnit, "voltage"),
        ("setting: in-flight-allowance", Code::MissingKey, "`old`"),
        ("remedy: lower-allowance, result: changed", Code::UnknownId, "no remedy"),
        ("remedy: lower-inflight-allowance, result: fixed", Code::BadValue, "proved-gone"),
        ("remedy: lower-inflight-allowance", Code::MissingKey, "'result' is missing"),
        ("suspicion: gremlins", Code::UnknownId, "no cause"),
    ]);
}

#[test]
fn every_bad_value_and_event_gets_its_own_code_and_sentence() {
    each_is_refused(&[
        ("reading: test-weight-on-pan, value: 5 V, expected: 200 g", Code::BadUnit, "voltage"),
        ("reading: test-weight-on-pan, value: 200 g, expected: 5 volts", Code::BadUnit, "voltage"),
        ("reading: test-weight-on-pan, value: abc, expected: 200 g", Code::BadValue, "not a number"),
        ("reading: test-weight-on-pan, value: NaN, expected: 200 g", Code::OutOfRange, "instrument"),
        ("reading: test-weight-on-pan, value: infinity, expected: 200 g", Code::OutOfRange, "instrument"),
        ("reading: test-weight-on-pan, value: .inf, expected: 200 g", Code::BadValue, "can be measured"),
        ("reading: test-weight-on-pan, value: 200 grms, expected: 200 g", Code::BadUnit, "did you mean"),
        ("reading: test-weight-on-pan, value: 200 g", Code::MissingKey, "`expected`"),
        ("reading: test-weight-on-pan, value: 200 g, shown: 200 g", Code::MissingKey, "`expected`"),
        ("reading: one-bag-twice, value: 200 g, expected: 200 g", Code::MissingKey, "`shown`"),
        ("reading: air-while-cycling, value: 5 bar, expected: 5 bar", Code::BadValue, "one value"),
        ("reading: flap-seats-fully, value: 5 g", Code::BadValue, "one of its outcomes"),
        ("reading: weigh-a-run, outcome: light", Code::BadValue, "`fills`"),
        ("reading: flap-seats-fully, fills: {unit: g, target: 9, values: [9]}", Code::BadValue, "outcomes"),
        ("reading: flap-seats-fully, outcome: seats, value: 3 g", Code::BadValue, "one answer"),
        ("reading: flap-seats-fully, note: x", Code::BadValue, "two events"),
        ("reading: flap-seats-fully", Code::BadValue, "one answer"),
        ("by: caller", Code::MissingKey, "an event is one of"),
        ("reading: flap-seats-fully, outcome: seats, while: sad", Code::BadValue, "bad"),
        ("note: x, outcome: y", Code::UnknownKey, "'outcome'"),
        ("note: x, at: yesterday", Code::BadValue, "not a time"),
        ("reading: Flap, outcome: seats", Code::BadId, "not an id"),
    ]);
}

#[test]
fn every_bad_run_gets_its_own_code_and_sentence() {
    for (fills, code, says) in [
        ("unit: g, target: -250, values: [1]", Code::OutOfRange, "above zero"),
        ("unit: g, target: 0, values: [1]", Code::OutOfRange, "above zero"),
        ("unit: g, target: 250, values: []", Code::BadValue, "without fills"),
        ("unit: g, target: 250, values: [1, 2], shown: [1]", Code::BadValue, "here 1 for a run of 2"),
        ("unit: V, target: 250, values: [1]", Code::BadUnit, "voltage"),
        ("unit: grm, target: 250, values: [1]", Code::BadUnit, "did you mean"),
        ("unit: g, target: 250, values: [1, abc]", Code::BadValue, "'abc' is not a number"),
        ("unit: g, target: 250, values: [1, 2 V]", Code::BadUnit, "voltage"),
        ("unit: g, target: 250", Code::MissingKey, "'values' is missing"),
        ("unit: g, target: 250, values: 3", Code::WrongType, "a list is wanted"),
        ("unit: g, target: 250, values: [1], tare: {kind: each, values: [1, 2]}", Code::BadValue, "tare"),
        ("unit: g, target: 250, values: [1], lanes: [a, b]", Code::BadValue, "lanes"),
        ("unit: g, target: 250, values: [1], colour: red", Code::UnknownKey, "colour"),
    ] {
        each_is_refused(&[(&format!("reading: weigh-a-run, fills: {{{fills}}}"), code, says)]);
    }
}

#[test]
fn every_bad_head_gets_its_own_code_and_sentence() {
    for (line, code, says) in [
        ("machine: single-tray-wegher", Code::UnknownId, "single-tray-weigher"),
        ("fitted: [foot-swich]", Code::UnknownId, "foot-switch"),
        ("scale: {sealed: perhaps}", Code::BadValue, "unknown"),
        ("scale: {division: 0.1 V}", Code::BadUnit, "voltage"),
        ("scale: {division: 0 g}", Code::OutOfRange, "above zero"),
        ("market: moon", Code::BadValue, "eu"),
        ("product: {dusty: yes}", Code::WrongType, "true or false"),
        ("people: [{id: a, at: roof}]", Code::BadValue, "machine"),
        ("people: [{id: a, at: desk}, {id: a, at: desk}]", Code::BadValue, "twice"),
        ("people: [{id: a, at: desk, may: [fly]}]", Code::BadValue, "isolate"),
        ("visit: {travel: 90 g}", Code::BadUnit, "time"),
        ("visit: {travel: -5 min}", Code::OutOfRange, "below zero"),
        ("opening: {mood: bad}", Code::UnknownKey, "mood"),
        ("complaint:", Code::WrongType, "a text is wanted"),
        ("complain: light", Code::UnknownKey, "did you mean complaint?"),
        ("market: eu\nmarket: us", Code::DuplicateKey, "'market' stands twice"),
        ("expect: {cause: gremlins}", Code::UnknownId, "gremlins"),
        ("expect: {cautions: [hands-at-live-scales]}", Code::UnknownId, "hands-at-live-scale"),
        ("closed: done", Code::BadValue, "cured"),
        ("knowledge: {hash: a}", Code::MissingKey, "version"),
        ("events: {}", Code::WrongType, "a list"),
        ("events: [just words]", Code::WrongType, "group of keys"),
        ("people: [{id: a, at: desk}]\nevents: [{note: x, by: b}]", Code::UnknownId, "called 'b'"),
    ] {
        let machine = if line.starts_with("machine") { "" } else { "machine: single-tray-weigher\n" };
        let said = refusal(&format!("format: handlamp-case/1\n{machine}{line}\n"));
        assert_eq!(said.len(), 1, "{line}\n{said:#?}");
        assert_eq!(said[0].0, code, "{line}\n{}", said[0].1);
        assert!(said[0].1.contains(says), "{line}\n{}", said[0].1);
    }
}

#[test]
fn hostile_files_are_refused_in_words() {
    let bomb: String = ('b'..'k').fold("a: &a [x,x,x,x,x,x,x,x,x,x]\n".to_owned(), |text, c| {
        let before = (c as u8 - 1) as char;
        format!("{text}{c}: &{c} [{}]\n", vec![format!("*{before}"); 10].join(","))
    });
    for (text, code) in [
        (bomb, Code::TooBig),
        (format!("complaint: {}", "x".repeat(10 << 20)), Code::TooBig),
        (format!("events: {}{}", "[".repeat(60), "]".repeat(60)), Code::TooBig),
        ("format: handlamp-case/1\nmachine: \"\\e[31mred\"\n".to_owned(), Code::ControlCharacters),
        ("format: handlamp-case/1\n\"\\e[1mx\": 1\n".to_owned(), Code::ControlCharacters),
        (String::new(), Code::Syntax),
        ("format: [".to_owned(), Code::Syntax),
        ("- a\n- b\n".to_owned(), Code::WrongType),
        ("just words\n".to_owned(), Code::WrongType),
    ] {
        let said = refusal(&text);
        assert_eq!(said[0].0, code, "{}: {}", text.chars().take(40).collect::<String>(), said[0].1);
        assert!(!said[0].1.contains('\u{1b}'));
    }
}

#[test]
fn all_problems_come_in_one_run_in_order_of_place() {
    let said = refusal(&events(
        "  - {reading: flap-seat-fully, outcome: seats}\n  - {reading: test-weight-on-pan, value: 5 V, expected: x, by: me}\n  \
         - {note: x, nose: y}",
    ));
    let codes: Vec<_> = said.iter().map(|(code, _)| *code).collect();
    assert_eq!(codes, [Code::UnknownId, Code::BadValue, Code::UnknownKey], "{said:#?}");
}

#[test]
fn escape_codes_are_taken_out_of_what_people_say() {
    let text = "format: handlamp-case/1\nmachine: single-tray-weigher\nproduct: {name: \"s\\e[31meeds\\a\"}\n\
                opening: {since: \"\\u202emonday\"}\ncomplaint: \"a\\e[2Jll light\"\n\
                events: [{note: \"b\\x07ell\"}, {setting: in-flight-allowance, new: \"2\\e[0m g\"}]\n";
    let case = case(text);
    assert_eq!(case.product.unwrap().name.unwrap(), "seeds");
    assert_eq!(case.opening.since.unwrap(), "monday");
    assert_eq!(case.complaint.unwrap(), "all light");
    assert_eq!(case.events[0].what, What::Note("bell".into()));
}

#[test]
fn raw_escape_bytes_are_taken_out_too_and_refused_in_a_name() {
    let head = "format: handlamp-case/1\nmachine: single-tray-weigher\n";
    for raw in [
        "all \u{1b}[31mlight",
        "\"all \u{1b}[31mlight\"",
        "all \u{7}light",
        "all \u{202e}light",
        "all \u{9b}light",
        "|\n  all \u{1b}[2Jlight",
    ] {
        assert_eq!(case(&format!("{head}complaint: {raw}\n")).complaint.unwrap(), "all light", "{raw:?}");
    }
    let said = refusal("format: handlamp-case/1\nmachine: \u{1b}[1msingle-tray-weigher\n");
    assert_eq!(said[0].0, Code::ControlCharacters, "{}", said[0].1);
}

#[test]
fn former_ids_become_their_heirs() {
    let case = case(&events(
        "  - {reading: flap-shuts, outcome: seats}\n  - {reading: what-the-caller-says, outcome: all-light}\n  \
         - {suspicion: allowance-high}",
    ));
    let What::Reading { check, .. } = &case.events[0].what else { panic!() };
    assert_eq!(check.as_str(), "flap-seats-fully");
    let What::Reading { reading: Reading::Outcome(outcome), .. } = &case.events[1].what else { panic!() };
    assert_eq!(outcome.as_str(), "fills-steadily-light");
    assert_eq!(case.events[2].what, What::Suspicion("inflight-allowance-high".into()));
}

#[test]
fn a_case_of_another_knowledge_keeps_unknown_events_as_remarks() {
    let body = "machine: single-tray-weigher\nfitted: [foot-switch, whistle]\nevents:\n  \
                - {reading: whistle-heard, outcome: shrill, by: tech}\n  - {reading: flap-seats-fully, outcome: seats}\n";
    for head in ["{version: 0.9.0}", "{version: 1.0.0, hash: 0000000000000000}"] {
        let text = format!("format: handlamp-case/1\nknowledge: {head}\n{body}");
        let read = read(&text, "old.yaml", &knowledge()).unwrap();
        let What::Note(note) = &read.case.events[0].what else { panic!("{:?}", read.case.events[0]) };
        assert!(note.contains("{reading: whistle-heard, outcome: shrill, by: tech}"), "{note}");
        assert!(matches!(read.case.events[1].what, What::Reading { .. }));
        assert_eq!(read.remarks.len(), 2, "{:#?}", read.remarks);
        assert_eq!(read.sources.position(read.remarks[1].span.unwrap()).line, 6);
    }
    for head in ["", "knowledge: {version: 1.0.0}\n"] {
        let said = refusal(&format!("format: handlamp-case/1\n{head}{body}"));
        assert_eq!(said.len(), 2, "the present knowledge has no such excuse: {said:#?}");
    }
    let gone = refusal("format: handlamp-case/1\nknowledge: {version: 0.9.0}\nmachine: mangle\n");
    assert_eq!(gone[0].0, Code::UnknownId, "an unknown machine is always refused");
}

#[test]
fn a_kept_case_is_fitted_to_the_present_knowledge_event_by_event() {
    let knowledge = knowledge();
    let mut kept = case(WHOLE);
    let What::Reading { check, .. } = &mut kept.events[6].what else { panic!() };
    *check = "air-at-the-gate".into();
    let (now, remarks) = fit(&kept, &knowledge).unwrap();
    assert_eq!(now.events.len(), kept.events.len());
    let What::Note(note) = &now.events[6].what else { panic!() };
    assert!(note.contains("{reading: air-at-the-gate, value: 5.5 bar}"), "{note}");
    assert_eq!(remarks.len(), 1);
    kept.machine = "mangle".into();
    assert_eq!(fit(&kept, &knowledge).unwrap_err().code, Code::UnknownId);
}

#[test]
fn a_tool_that_nothing_needs_is_remarked_on_and_accepted() {
    let text = "format: handlamp-case/1\nmachine: single-tray-weigher\npeople: [{id: a, at: desk, has: [test-wieght]}]\n";
    let read = read(text, "t.yaml", &knowledge()).unwrap();
    assert_eq!(read.remarks.len(), 1);
    assert!(read.remarks[0].help.as_ref().unwrap().contains("test-weight"));
}

#[test]
fn a_file_that_cannot_be_read_is_refused_by_name() {
    let refused = read_path(std::path::Path::new("/nowhere/at-all.yaml"), &knowledge()).unwrap_err();
    assert_eq!(refused.problems[0].code, Code::Unreadable);
    assert!(refused.problems[0].sentence(&refused.sources).contains("at-all.yaml"));
}
