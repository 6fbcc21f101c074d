//! What a tired person does at a list, and what must not come of it.

use std::collections::BTreeSet;

use handlamp::casebook::sheet::{Answer, Sheets, Standing};
use handlamp::ids::{ItemId, ListId};
use handlamp::walk::checklist::{ListAsk, ListInput, ListWalker, understand};

use crate::hire::{Book, Hire};
use crate::tool::{Said, Tool, one_line};

const MACHINE: &str = "two-tray-weigher";

fn item(id: &str) -> ItemId {
    ItemId::new(id)
}

/// Everything that comes before a list counts as signed.
fn hire<'b>(book: &'b Book, list: &str) -> Hire<'b> {
    let signed: BTreeSet<ListId> = book.lists.lists.keys().cloned().collect();
    book.hire(&book.lists.lists[list], MACHINE, &signed)
}

fn at(hire: &mut Hire<'_>, id: &str) {
    for _ in 0..200 {
        if hire.state().ask == ListAsk::Item(item(id)) {
            return;
        }
        hire.answer();
    }
    panic!("{id} does not come up");
}

/// Runs a list with these lines typed, as for a machine of that serial number.
fn run(tool: &Tool, list: &str, serial: &str, typed: &[String]) -> Said {
    let args = ["checklist", "run", list, "--machine", MACHINE, "--serial", serial];
    tool.typed(&args, (typed.join("\n") + "\n").as_bytes())
}

/// What was typed up to here, in a home where no list before is signed.
fn typed_so_far(hire: &Hire<'_>) -> Vec<String> {
    let mut typed = hire.typed.clone();
    let person = typed.iter().position(|line| line == "Ann Reed").unwrap();
    typed.insert(person + 1, "Ann Reed, signed on paper".to_owned());
    typed
}

fn with(before: &[String], more: &[&str]) -> Vec<String> {
    before.iter().cloned().chain(more.iter().map(|s| (*s).to_owned())).collect()
}

#[test]
fn words_to_get_on_with_are_nobodys_name_and_one_person_is_not_two() {
    let book = Book::built_in();
    let mut hire = hire(&book, "guards-stops-and-interlocks");
    let list = &book.lists.lists["guards-stops-and-interlocks"];
    let two = |ask: &ListAsk| match ask {
        ListAsk::Item(id) => matches!(list.item(id).unwrap().kind, handlamp::checklist::Kind::Hold(2)),
        _ => false,
    };
    while !two(&hire.state().ask) {
        hire.answer();
    }
    let state = hire.state().clone();
    for nobody in ["ok", "none", "yes", "done", "help me 2", "Ann 2026", "x", "list"] {
        let input = understand(nobody, &state, list);
        assert!(!matches!(input, ListInput::Names { .. }), "'{nobody}' signs: {input:?}");
    }
    let walker = ListWalker { knowledge: &book.knowledge, list };
    let one = walker.step(state.clone(), understand("Ann Reed", &state, list)).state;
    let again = walker.step(one.clone(), understand("Ann Reed: both called", &one, list)).state;
    assert!(matches!(again.ask, ListAsk::Names { .. }), "the same name with a remark is the same person");
    let no = walker.step(one.clone(), understand("n guard two is loose", &one, list)).state;
    assert!(matches!(no.ask, ListAsk::Failed(_)), "the second may say that it is not so: {:?}", no.ask);
    let both =
        walker.step(state.clone(), understand("Ann Reed + Bo Field: screws counted", &state, list)).state;
    let answer = both.sheet.answer(state.ask.item().unwrap()).unwrap().1.clone();
    let names = vec!["Ann Reed".to_owned(), "Bo Field".to_owned()];
    assert_eq!(answer, Answer::Signed { names, remark: Some("screws counted".to_owned()) });
}

#[test]
fn what_stopped_the_work_is_put_right_by_name_and_no_other_list_goes_round_it() {
    let book = Book::built_in();
    let mut hire = hire(&book, "guards-stops-and-interlocks");
    let list = &book.lists.lists["guards-stops-and-interlocks"];
    at(&mut hire, "mains-point-tried");
    let tool = Tool::built_in(80);
    let typed = with(&typed_so_far(&hire), &["n tray ran", "leave"]);
    let said = run(&tool, list.id.as_str(), "4711", &typed);
    assert!(said.out.contains("Stop. Lock it, keep it locked, and call the maker."), "{}", said.block());
    // Another list of the same machine stands still; of another machine it does not.
    let other =
        run(&tool, "daily-start", "4711", &with(&[], &["Bo Field", "Ann Reed, boss said so", "leave"]));
    assert!(other.out.contains("The work on this machine stands still"), "{}", other.block());
    assert!(other.out.contains("Nothing goes on here until that is put right"), "{}", other.block());
    let unnamed = ["checklist", "run", "daily-start", "--machine", MACHINE];
    let unnamed = tool.typed(&unnamed, b"?\nBo Field\nleave\n");
    assert!(unnamed.out.contains("begin again with its serial number"), "{}", unnamed.block());
    let elsewhere = run(&tool, "daily-start", "4712", &with(&[], &["Bo Field", "leave"]));
    assert!(!elsewhere.out.contains("stands still"), "{}", elsewhere.block());
    // Nor does a correction of the answer.
    let stopped = Sheets::at(&tool.home().join("store")).list().unwrap().0.remove(0).id;
    let continued = ["checklist", "continue", stopped.as_str()];
    let corrected = tool.typed(&continued, b"Ann Reed\nback\ncorrect\n4\ny\nleave\n");
    let sheet = Sheets::at(&tool.home().join("store")).read(&stopped).unwrap();
    assert_eq!(sheet.standing(&item("mains-point-tried")), Standing::Failed, "{}", corrected.block());
    // It is not done again before somebody has put it right, and that stays on the report.
    let go_on = with(&[], &["Ann Reed", "1", "y", "Bo Field, contactor renewed by the maker", "y", "leave"]);
    let said = tool.typed(&["checklist", "continue", stopped.as_str()], (go_on.join("\n") + "\n").as_bytes());
    assert!(said.out.contains("Type who put it right"), "{}", said.block());
    let sheet = Sheets::at(&tool.home().join("store")).read(&stopped).unwrap();
    assert_eq!(sheet.standing(&item("mains-point-tried")), Standing::Good, "{}", said.block());
    let report = one_line(&tool.run(&["checklist", "report", stopped.as_str()]).out);
    assert!(report.contains("put right by Bo Field: contactor renewed by the maker"), "{report}");
    let other = run(&tool, "daily-start", "4711", &with(&[], &["Bo Field", "leave"]));
    assert!(!other.out.contains("stands still"), "{}", other.block());
}

#[test]
fn every_list_that_is_missing_is_named_before_one_goes_ahead_without_them() {
    let tool = Tool::built_in(80);
    let said = run(&tool, "first-product", "4711", &with(&[], &["Ann Reed", "leave"]));
    for list in ["guards stops and interlocks", "scale first check", "signals with neighbours"] {
        assert!(said.out.contains(list), "{list}: {}", said.block());
    }
}

#[test]
fn one_typo_in_a_run_of_fills_costs_one_line() {
    let book = Book::built_in();
    let mut hire = hire(&book, "first-product");
    let run_item = |hire: &Hire<'_>| match &hire.state().ask {
        ListAsk::Item(id) => matches!(
            book.lists.lists["first-product"].item(id).unwrap().kind,
            handlamp::checklist::Kind::Run(_)
        ),
        _ => false,
    };
    while !run_item(&hire) {
        hire.answer();
    }
    let wanted = hire.state().ask.item().unwrap().clone();
    let typed = typed_so_far(&hire);
    let lines = [
        "250.2 249.8 250.1 249.9 250.4",
        "25o.1",
        "250.1 250.0 249.8 250.3 250.1",
        "2513",
        "why",
        "list",
        "250.0 250.1 249.9 250.2 250.0 249.8 250.1 249.9 250.2 250.0",
        "250 250 250 250 250 250 250 250 250 250",
        "",
        "leave",
    ];
    let tool = Tool::built_in(80);
    let said = run(&tool, "first-product", "4711", &with(&typed, &lines));
    assert!(said.out.contains("Not a weight") && said.out.contains("5 fills so far."), "{}", said.block());
    assert!(said.out.contains("far over the target"), "{}", said.block());
    let sheet = Sheets::at(&tool.home().join("store")).list().unwrap().0.remove(0);
    let Some((_, Answer::Run { fills, .. })) = sheet.answer(&wanted) else { panic!("{}", said.block()) };
    assert_eq!(fills.values.len(), 30, "{:?}", fills.values);
}

#[test]
fn two_figures_where_one_is_wanted_are_not_glued_into_one() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    let list = &book.lists.lists["scale-first-check"];
    at(&mut hire, "zero-sits-still");
    for (typed, says) in [("0.0 5", "One figure"), ("0.1 250.2", "One figure"), ("zero", "figure in g")] {
        match understand(typed, hire.state(), list) {
            ListInput::Misunderstood(sentence) => assert!(sentence.contains(says), "{typed}: {sentence}"),
            other => panic!("{typed}: {other:?}"),
        }
    }
    let mut hire = self::hire(&book, "scale-first-check");
    at(&mut hire, "warm-for-half-an-hour");
    assert!(
        matches!(understand("-5", hire.state(), list), ListInput::Misunderstood(_)),
        "no time is below zero"
    );
}

#[test]
fn an_instrument_that_is_overdue_proves_nothing_and_is_asked_about_anew() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    let list = &book.lists.lists["scale-first-check"];
    let walker = ListWalker { knowledge: &book.knowledge, list };
    at(&mut hire, "span-three-times");
    let figure = walker.step(hire.state().clone(), understand("200 200", hire.state(), list)).state;
    assert!(matches!(figure.ask, ListAsk::Instrument { .. }), "{:?}", figure.ask);
    assert!(matches!(understand("TW-7", &figure, list), ListInput::Misunderstood(_)), "the day is wanted");
    let overdue = walker.step(figure.clone(), understand("TW-7 2026-11-24", &figure, list));
    assert_eq!(overdue.state.ask, ListAsk::Failed(item("span-three-times")));
    let again = walker.step(overdue.state.clone(), understand("1", &overdue.state, list)).state;
    let again = walker.step(again.clone(), understand("Ann Reed", &again, list)).state;
    let figure = walker.step(again.clone(), understand("200 200", &again, list)).state;
    assert!(matches!(figure.ask, ListAsk::Instrument { .. }), "asked anew: {:?}", figure.ask);
    let good = walker.step(figure.clone(), understand("TW-7 2026-11-25", &figure, list)).state;
    assert_eq!(good.sheet.standing(&item("span-three-times")), Standing::Good);
}

#[test]
fn a_deviation_has_a_name_a_reason_an_owner_and_a_day_and_stays_on_the_report() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    at(&mut hire, "zero-sits-still");
    let typed = typed_so_far(&hire);
    let tool = Tool::built_in(80);
    let said = run(
        &tool,
        "scale-first-check",
        "4711",
        &with(&typed, &["0.4", "4", "ok", "Bo Field", "fan stays on until Friday", "leave"]),
    );
    assert!(said.out.contains("too high"), "{}", said.block());
    let sheet = Sheets::at(&tool.home().join("store")).list().unwrap().0.remove(0);
    assert_eq!(sheet.standing(&item("zero-sits-still")), Standing::Deviated, "{}", said.block());
    let mut rest = self::hire(&book, "scale-first-check");
    rest.resume(sheet);
    let list = &book.lists.lists["scale-first-check"];
    for _ in 0..100 {
        if let ListAsk::Owner(_) = rest.state().ask {
            for wrong in ["Ann Reed", "Ann Reed, 2020-01-01", "Ann Reed, 31.12.2026", "2026-12-31"] {
                assert!(
                    matches!(understand(wrong, rest.state(), list), ListInput::Misunderstood(_)),
                    "{wrong}"
                );
            }
        }
        if rest.state().ask == ListAsk::Over {
            break;
        }
        rest.answer();
    }
    let done = tool.typed(&["checklist", "continue"], (rest.typed.join("\n") + "\n").as_bytes());
    assert!(done.out.contains("is signed."), "{}", done.block());
    let report = tool.run(&["checklist", "report"]).out;
    for wanted in ["deviation: fan stays on until Friday", "Bo Field", "2026-12-05"] {
        assert!(report.contains(wanted), "{wanted}: {report}");
    }
}

#[test]
fn a_caution_is_shown_in_full_to_everybody_once_and_in_brief_after_that() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    at(&mut hire, "corners");
    let tool = Tool::built_in(40);
    let typed = typed_so_far(&hire);
    let said = run(&tool, "scale-first-check", "4711", &with(&typed, &["cautions", "leave"])).out;
    let cards: Vec<String> = said.split("Corners\n").map(one_line).collect();
    assert!(cards[1].contains("as you have read them") && !cards[1].contains("Do this:"), "{}", cards[1]);
    assert!(cards[2].contains("Do this:"), "{}", cards[2]);
    for word in ["DANGER", "WARNING"] {
        assert_eq!(cards[1].contains(word), cards[2].contains(word), "{word}");
    }
    assert_eq!(said.matches("General guidance.").count(), 2, "the notice opens the sitting and closes it");
}

#[test]
fn a_guard_that_fails_is_told_in_words_where_a_figure_is_asked() {
    let book = Book::built_in();
    let mut hire = hire(&book, "guards-stops-and-interlocks");
    let list = &book.lists.lists["guards-stops-and-interlocks"];
    at(&mut hire, "guards-stop-tray");
    let walker = ListWalker { knowledge: &book.knowledge, list };
    let told = walker.step(hire.state().clone(), understand("n it ran on for 3 s", hire.state(), list)).state;
    assert_eq!(told.ask, ListAsk::Failed(item("guards-stop-tray")));
    let again = walker.step(told.clone(), understand("1", &told, list)).state;
    assert_eq!(
        again.ask,
        ListAsk::PutRight(item("guards-stop-tray")),
        "nobody does it again before it is put right"
    );
}

#[test]
fn a_lock_belongs_to_a_person_and_live_work_to_the_qualified_one() {
    let book = Book::built_in();
    let mut hire = hire(&book, "guards-stops-and-interlocks");
    let list = &book.lists.lists["guards-stops-and-interlocks"];
    let walker = ListWalker { knowledge: &book.knowledge, list };
    let mut locks = 0;
    for _ in 0..200 {
        let state = hire.state().clone();
        match &state.ask {
            ListAsk::Locked(_) | ListAsk::StillLocked(_) => {
                locks += 1;
                for nobody in ["ok", "0.9", "locked", "yes"] {
                    let input = understand(nobody, &state, list);
                    let taken = matches!(&input, ListInput::Key(Some(name)) if name != "locked");
                    assert!(!taken, "'{nobody}' holds the key: {input:?}");
                }
            }
            ListAsk::Item(id) if *id == item("proved-dead-by-meter") => {
                assert_eq!(state.qualified.as_deref(), Some("Cy Holt"));
                let other = walker.step(state.clone(), understand("Ann Reed: 0 V", &state, list)).state;
                assert_eq!(other.ask, state.ask, "Ann Reed is not the qualified person");
                let own =
                    walker.step(state.clone(), understand("cy holt: 0 V after 4 min", &state, list)).state;
                assert_ne!(own.ask, state.ask);
                assert!(locks > 0 || !state.sheet.lines.is_empty());
                return;
            }
            ListAsk::Over => break,
            _ => {}
        }
        hire.answer();
    }
    panic!("the meter proof does not come up");
}

#[test]
fn a_start_that_works_again_proves_the_cure_without_a_run_of_fills() {
    let tool = Tool::built_in(80);
    let file = tool.home().join("call.yaml");
    let call = |last: &str| {
        format!(
            "format: handlamp-case/1\nmachine: {MACHINE}\nevents:\n\
             - {{reading: what-the-caller-says, outcome: nothing-answers-start, while: bad}}\n\
             - {{reading: stops-looked-at, outcome: one-is-in, while: bad}}\n\
             - {{remedy: reset-the-stop, result: gone-not-proved}}\n\
             - {{reading: starts-and-stops-at-its-keys, outcome: {last}}}\n"
        )
    };
    for (last, status) in [("nothing-answers", 3), ("starts-and-stops", 0)] {
        std::fs::write(&file, call(last)).unwrap();
        let kept = tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--keep"]);
        let id = kept
            .err
            .split_whitespace()
            .find(|w| w.starts_with("20"))
            .unwrap()
            .trim_end_matches('.')
            .to_owned();
        let closed = tool.run(&["case", "close", &id, "--as", "cured"]);
        assert_eq!(closed.status, Some(status), "{last}: {}", closed.block());
    }
}

#[test]
fn damage_that_was_seen_stays_with_the_record_when_somebody_writes_on() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    at(&mut hire, "zero-sits-still");
    let tool = Tool::built_in(80);
    run(&tool, "scale-first-check", "4711", &with(&typed_so_far(&hire), &["leave"]));
    let id = Sheets::at(&tool.home().join("store")).list().unwrap().0.remove(0).id;
    let path = tool.home().join(format!("store/checklists/{id}.jsonl"));
    let whole = std::fs::read_to_string(&path).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    std::fs::write(&path, lines[..lines.len() - 2].join("\n") + "\n").unwrap();
    let said = tool.typed(&["checklist", "continue"], b"Ann Reed\nnote seen again\nleave\n");
    assert!(said.err.contains("at its end"), "{}", said.block());
    let report = tool.run(&["checklist", "report"]);
    assert_eq!(report.status, Some(1), "{}", report.block());
    assert!(report.out.contains("not as it was written"), "{}", report.out);
}

#[test]
fn nobody_corrects_an_answer_without_a_name() {
    let book = Book::built_in();
    let mut hire = hire(&book, "scale-first-check");
    let list = &book.lists.lists["scale-first-check"];
    at(&mut hire, "corners");
    let walker = ListWalker { knowledge: &book.knowledge, list };
    let state = hire.state().clone();
    let other = walker.step(state.clone(), understand("person", &state, list)).state;
    let corrected = walker.step(other.clone(), understand("correct", &other, list)).state;
    assert_eq!(corrected.ask, ListAsk::Person);
}

#[test]
fn no_fill_of_an_acceptance_run_is_set_apart() {
    let book = Book::built_in();
    let mut hire = hire(&book, "acceptance-run");
    let list = &book.lists.lists["acceptance-run"];
    at(&mut hire, "thirty-fills-at-start");
    let run = format!("240 240 {}", vec!["250"; 30].join(" "));
    let walker = ListWalker { knowledge: &book.knowledge, list };
    let judged = walker.step(hire.state().clone(), understand(&run, hire.state(), list)).state;
    assert_eq!(judged.ask, ListAsk::Failed(item("thirty-fills-at-start")));
}
