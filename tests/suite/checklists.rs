//! Checklists: a new hire gets from the crate to the hand-over; what fails leads into a diagnosis and back; nothing is
//! lost and nothing changed unseen.

use std::collections::BTreeSet;
use std::fs;

use handlamp::casebook::sheet::{Answer, Line, Sheet, Sheets, Standing};
use handlamp::ids::{ItemId, ListId};
use handlamp::safety::Exposure;
use handlamp::walk::checklist::{ListAsk, ListInput, Way, judge, understand, ways};

use crate::call::Call;
use crate::hire::Book;
use crate::tool::{Said, Tool};

const MACHINES: &[&str] = &["single-tray-weigher", "two-tray-weigher"];

fn run(tool: &Tool, list: &str, machine: &str, typed: &[String]) -> Said {
    let args = ["checklist", "run", list, "--machine", machine, "--serial", "4711"];
    tool.typed(&args, (typed.join("\n") + "\n").as_bytes())
}

fn sheets(tool: &Tool) -> Vec<Sheet> {
    let (sheets, unreadable) = Sheets::at(&tool.home().join("store")).list().unwrap();
    assert!(unreadable.is_empty(), "{unreadable:?}");
    sheets
}

fn item(id: &str) -> ItemId {
    ItemId::new(id)
}

#[test]
fn a_new_hire_gets_from_the_crate_to_the_hand_over_on_every_machine() {
    let book = Book::built_in();
    for machine in MACHINES {
        let tool = Tool::built_in(40);
        let mut signed: BTreeSet<ListId> = BTreeSet::new();
        for list in book.first_start() {
            let mut hire = book.hire(list, machine, &signed);
            hire.go();
            assert_eq!(hire.state().ask, ListAsk::Over, "{machine}: {}", list.id);
            let said = run(&tool, list.id.as_str(), machine, &hire.typed);
            assert_eq!(said.status, Some(0), "{}", said.block());
            assert!(said.out.contains("is signed."), "{machine}, {}:\n{}", list.id, said.block());
            assert!(said.out.lines().all(|line| line.chars().count() <= 40), "{}", list.id);
            signed.insert(list.id.clone());
        }
        assert_eq!(signed.len(), 12, "{signed:?}");
        let sheets = sheets(&tool);
        assert!(sheets.iter().all(|sheet| sheet.ended().is_some() && sheet.damage.is_empty()));
        assert!(
            sheets
                .iter()
                .all(|sheet| !sheet.lines.iter().any(|k| matches!(k.line, Line::BeforeMissing { .. })))
        );
    }
}

#[test]
fn every_routine_list_can_be_carried_out_too() {
    let book = Book::built_in();
    let first: BTreeSet<_> = book.first_start().iter().map(|list| list.id.clone()).collect();
    for list in book.lists.lists.values().filter(|list| !first.contains(&list.id)) {
        for machine in MACHINES {
            let mut hire = book.hire(list, machine, &first);
            hire.go();
            assert_eq!(hire.state().ask, ListAsk::Over, "{machine}: {}", list.id);
        }
    }
}

#[test]
fn a_corner_out_of_limit_leads_into_diagnose_with_its_evidence_and_back_after_the_cure() {
    let book = Book::built_in();
    let list = &book.lists.lists["scale-first-check"];
    let signed = BTreeSet::from([ListId::new("mechanical-settings")]);
    let mut hire = book.hire(list, MACHINES[0], &signed);
    hire.wrong.push((item("corners"), "0.9".to_owned()));
    hire.go();
    let ListAsk::Failed(failed) = hire.state().ask.clone() else { panic!("{:?}", hire.state().ask) };
    assert_eq!(failed, item("corners"));
    let tool = Tool::built_in(80);
    let mut typed = vec!["Ann Reed, signed on paper".to_owned()];
    // In a home of its own nothing is signed yet.
    typed.splice(0..0, hire.typed[..2].to_vec());
    typed.extend(hire.typed[2..].to_vec());
    typed.extend(["3", "leave", "2", "to be gone on with tomorrow", "leave"].map(str::to_owned));
    let said = run(&tool, "scale-first-check", MACHINES[0], &typed);
    assert!(said.out.contains("Diagnosis, case"), "{}", said.block());
    assert!(said.out.contains("Back from case"), "{}", said.block());
    let shown = tool.run(&["case", "show", "--json"]).json();
    let evidence: Vec<&str> =
        shown["evidence"].as_array().unwrap().iter().filter_map(|e| e["check"].as_str()).collect();
    for wanted in ["corner-weights", "test-weight-on-pan", "power-on-time"] {
        assert!(evidence.contains(&wanted), "{wanted} is not among {evidence:?}");
    }
    // The next day the cause is found, and the item is done again: its own reading decides.
    let case = tool.only_case();
    tool.run(&["case", "close", &case, "--as", "gone-not-proved"]);
    let mut back = book.hire(list, MACHINES[0], &signed);
    back.resume(sheets(&tool).remove(0));
    back.answer();
    assert_eq!(back.state().ask, ListAsk::Failed(item("corners")));
    let again = understand("1", back.state(), list);
    assert_eq!(again, ListInput::Chosen(0));
    let text = [&back.typed.join("\n"), "1", "y", "Ann Reed", "0.1", "leave"].join("\n");
    let said = tool.typed(&["checklist", "continue"], (text + "\n").as_bytes());
    let sheet = sheets(&tool).remove(0);
    assert_eq!(sheet.standing(&item("corners")), Standing::Good, "{}", said.block());
    let report = tool.run(&["checklist", "report", sheet.id.as_str()]);
    assert!(report.out.contains("first 0.9 g"), "the first answer stays:\n{}", report.out);
}

#[test]
fn panel_lit_and_nothing_answers_start_leads_to_the_causes_that_belong_there() {
    let book = Book::built_in();
    let list = &book.lists.lists["first-power-up"];
    let signed = BTreeSet::from([ListId::new("mains-earth-and-air")]);
    let mut hire = book.hire(list, MACHINES[0], &signed);
    hire.wrong.push((item("answers-start"), "lit-nothing".to_owned()));
    hire.go();
    assert_eq!(hire.state().ask, ListAsk::Failed(item("answers-start")), "{:?}", hire.typed);
    let tool = Tool::built_in(80);
    let mut typed = hire.typed.clone();
    typed.insert(1, "Ann Reed, signed on paper".to_owned());
    typed.extend(["3", "leave", "leave"].map(str::to_owned));
    let said = run(&tool, "first-power-up", MACHINES[0], &typed);
    assert!(said.out.contains("Diagnosis, case"), "{}", said.block());
    let shown = tool.run(&["case", "show", "--json"]).json();
    let causes: Vec<&str> =
        shown["causes"].as_array().unwrap().iter().filter_map(|c| c["id"].as_str()).collect();
    let first: Vec<_> = causes.iter().take(8).collect();
    for wanted in ["stop-left-pressed", "guard-not-shut", "line-holds-it", "left-out-of-automatic"] {
        assert!(first.contains(&&wanted), "{wanted} is not among the first: {first:?}");
    }
}

#[test]
fn cut_off_at_every_item_in_turn_nothing_but_the_answer_being_typed_is_lost() {
    assert!(cut_off_everywhere(0) > 60);
}

#[test]
fn cut_off_at_every_item_of_the_other_lists_nothing_is_lost_either() {
    assert!(cut_off_everywhere(1) > 60);
}

/// Cuts every second list off at each of its items in turn; how many items that were.
fn cut_off_everywhere(begin: usize) -> usize {
    let book = Book::built_in();
    let machine = MACHINES[1];
    let mut items = 0;
    for list in book.first_start().into_iter().skip(begin).step_by(2) {
        let tool = Tool::built_in(400);
        let before: BTreeSet<ListId> = list.after.iter().map(|a| a.value.clone()).collect();
        let mut hire = book.hire(list, machine, &before);
        let mut first = true;
        loop {
            let args = ["checklist", "run", list.id.as_str(), "--machine", machine, "--serial", "4711"];
            let mut call = Call::start(&tool, if first { &args } else { &["checklist", "continue"] });
            let answered =
                hire.state().sheet.lines.iter().filter(|k| matches!(k.line, Line::Answered { .. })).count();
            // Up to the next answer to an item, then half of the one after that.
            let over = loop {
                let Some(question) = call.asked() else {
                    panic!("{}: ended after {:?}", list.id, hire.typed)
                };
                if question.contains("no signed sheet of them is kept here") {
                    call.answer("Ann Reed, signed on paper");
                    continue;
                }
                let now = hire
                    .state()
                    .sheet
                    .lines
                    .iter()
                    .filter(|k| matches!(k.line, Line::Answered { .. }))
                    .count();
                if now > answered || hire.state().ask == ListAsk::Over {
                    break hire.state().ask == ListAsk::Over;
                }
                for line in hire.answer() {
                    call.answer(&line);
                }
            };
            call.half("half of an ans");
            call.cut();
            items += 1;
            let kept = sheets(&tool).remove(0);
            assert!(kept.damage.is_empty(), "{}: {:?}", list.id, kept.damage);
            let mine = answers(&hire.state().sheet);
            assert_eq!(answers(&kept), mine, "{}", list.id);
            if over {
                break;
            }
            first = false;
            hire.resume(kept);
        }
    }
    items
}

fn answers(sheet: &Sheet) -> Vec<(ItemId, Answer)> {
    let answered = sheet.lines.iter().filter_map(|kept| match &kept.line {
        Line::Answered { item, answer, .. } => Some((item.clone(), answer.clone())),
        _ => None,
    });
    answered.collect()
}

/// A signed sheet in a home of its own, and where its record lies.
fn signed_sheet() -> (Tool, std::path::PathBuf) {
    let book = Book::built_in();
    let list = &book.lists.lists["daily-start"];
    let tool = Tool::built_in(80);
    let mut hire = book.hire(list, MACHINES[0], &BTreeSet::new());
    hire.go();
    let said = run(&tool, "daily-start", MACHINES[0], &hire.typed);
    assert!(said.out.contains("is signed."), "{}", said.block());
    let id = sheets(&tool).remove(0).id;
    let path = tool.home().join(format!("store/checklists/{id}.jsonl"));
    (tool, path)
}

#[test]
fn a_record_that_was_edited_or_cut_short_is_detected_and_named() {
    let (tool, path) = signed_sheet();
    let whole = fs::read_to_string(&path).unwrap();
    let report = |text: &str| {
        fs::write(&path, text).unwrap();
        tool.run(&["checklist", "report"])
    };
    let good = report(&whole);
    assert_eq!(good.status, Some(0), "{}", good.block());
    assert!(good.out.contains("not forgery"), "{}", good.out);
    let lines: Vec<&str> = whole.lines().collect();
    let edited = whole.replacen("Ann Reed", "Ann Reid", 3);
    let told = report(&edited);
    assert_eq!(told.status, Some(1), "{}", told.block());
    assert!(told.err.contains("was changed after it was written"), "{}", told.err);
    let without = |n: usize| -> String {
        let kept: Vec<&str> =
            lines.iter().enumerate().filter(|(i, _)| *i != n).map(|(_, line)| *line).collect();
        kept.join("\n") + "\n"
    };
    let told = report(&without(4));
    assert!(told.err.contains("Record") && told.err.contains("line 5 does not follow"), "{}", told.err);
    let told = report(&without(lines.len() - 1));
    assert_eq!(told.status, Some(1));
    assert!(told.err.contains("at its end"), "{}", told.err);
    let told = report(&whole[..whole.len() - 40]);
    assert_eq!(told.status, Some(1));
    assert!(told.err.contains("cut off inside"), "{}", told.err);
}

#[test]
fn every_line_and_every_letter_of_a_record_is_watched() {
    let (tool, path) = signed_sheet();
    let whole = fs::read(&path).unwrap();
    let store = Sheets::at(&tool.home().join("store"));
    let id = handlamp::casebook::CaseId::parse(path.file_stem().unwrap().to_str().unwrap()).unwrap();
    // Every seventh byte, so that each key and each sum is hit somewhere.
    for place in (0..whole.len()).step_by(7).filter(|p| whole[*p].is_ascii_alphanumeric()) {
        let mut changed = whole.clone();
        changed[place] = if changed[place] == b'x' { b'y' } else { b'x' };
        fs::write(&path, &changed).unwrap();
        let seen = store.read(&id).map_or(true, |sheet| !sheet.damage.is_empty());
        assert!(
            seen,
            "byte {place} of {}",
            String::from_utf8_lossy(&changed[place.saturating_sub(30)..place + 10])
        );
    }
}

#[test]
fn nothing_is_ticked_by_an_empty_line_and_nobody_slips_past_a_hold() {
    let book = Book::built_in();
    for list in book.lists.lists.values() {
        let mut hire = book.hire(list, MACHINES[0], &list.after.iter().map(|a| a.value.clone()).collect());
        for _ in 0..500 {
            let state = hire.state().clone();
            let ListAsk::Item(id) = &state.ask else {
                if matches!(state.ask, ListAsk::Over) {
                    break;
                }
                hire.answer();
                continue;
            };
            for nothing in ["", " ", "ok", "done?"] {
                let input = understand(nothing, &state, list);
                let ticks = matches!(
                    input,
                    ListInput::Answer(Answer::AsExpected { .. } | Answer::Value { .. } | Answer::Run { .. })
                );
                assert!(!ticks, "'{nothing}' ticks {id} of {}", list.id);
            }
            assert!(
                matches!(understand("", &state, list), ListInput::Misunderstood(_)),
                "{id} of {}",
                list.id
            );
            let found = list.item(id).unwrap();
            if matches!(found.kind, handlamp::checklist::Kind::Hold(_)) {
                assert!(!list.may_be_skipped(found), "{id}");
                let not_so = Answer::NotSo { found: "no".to_owned() };
                let judged = judge(found, &not_so, state.today);
                assert!(!ways(found, &judged).contains(&Way::Deviation), "{id} of {}", list.id);
            }
            hire.answer();
        }
    }
}

#[test]
fn hands_go_in_only_under_a_lock_that_was_asked_about_just_before() {
    let book = Book::built_in();
    for list in book.lists.lists.values() {
        for machine in MACHINES {
            let known = &book.knowledge.machines[*machine];
            let mut hire = book.hire(list, machine, &list.after.iter().map(|a| a.value.clone()).collect());
            for _ in 0..500 {
                let state = hire.state().clone();
                if let ListAsk::Item(id) = &state.ask {
                    let exposures = known.exposures(&list.item(id).unwrap().work);
                    let locked = state.lockout.procedure == Some(true) && state.lockout.key.is_some();
                    let live = exposures.has(Exposure::Energised);
                    let fine = !exposures.needs_isolation()
                        || (list.unconnected && state.unconnected)
                        || (live && state.qualified.is_some())
                        || locked;
                    assert!(fine, "{id} of {} on {machine}", list.id);
                }
                if matches!(state.ask, ListAsk::Over) {
                    break;
                }
                hire.answer();
            }
        }
    }
}

#[test]
fn two_people_sign_where_two_are_wanted() {
    let book = Book::built_in();
    let list = &book.lists.lists["guards-stops-and-interlocks"];
    let mut hire = book.hire(list, MACHINES[0], &BTreeSet::from([ListId::new("first-power-up")]));
    let two = |state: &handlamp::walk::checklist::ListState| match &state.ask {
        ListAsk::Item(id) => matches!(list.item(id).unwrap().kind, handlamp::checklist::Kind::Hold(2)),
        _ => false,
    };
    while !two(hire.state()) {
        hire.answer();
    }
    let walker = handlamp::walk::checklist::ListWalker { knowledge: &book.knowledge, list };
    let one = walker.step(hire.state().clone(), understand("Ann Reed", hire.state(), list));
    assert!(matches!(one.state.ask, ListAsk::Names { .. }), "{:?}", one.state.ask);
    let same = walker.step(one.state.clone(), understand("ann reed", &one.state, list));
    assert!(matches!(same.state.ask, ListAsk::Names { .. }), "the same person again");
    let other = walker.step(one.state.clone(), understand("Bo Field", &one.state, list));
    assert!(!matches!(other.state.ask, ListAsk::Names { .. }));
}

#[test]
fn leave_and_locks_lapse_when_a_list_is_taken_up_again_or_somebody_else_goes_on() {
    let book = Book::built_in();
    let list = &book.lists.lists["scale-first-check"];
    let mut hire = book.hire(list, MACHINES[0], &BTreeSet::from([ListId::new("mechanical-settings")]));
    while hire.state().ask != ListAsk::Item(item("corners")) {
        hire.answer();
    }
    let at_the_scale = hire.state().clone();
    assert!(at_the_scale.lockout.key.is_some());
    let walker = handlamp::walk::checklist::ListWalker { knowledge: &book.knowledge, list };
    let other = walker.step(at_the_scale.clone(), understand("person", &at_the_scale, list));
    assert_eq!(other.state.ask, ListAsk::Person);
    let named = walker.step(other.state.clone(), understand("Bo Field", &other.state, list));
    assert_eq!(
        named.state.ask,
        ListAsk::Authority(item("corners")),
        "the lock of another counts for nothing"
    );
    hire.resume(at_the_scale.sheet);
    assert!(hire.state().lockout.key.is_none());
    hire.answer();
    assert_eq!(hire.state().ask, ListAsk::Authority(item("corners")));
}
