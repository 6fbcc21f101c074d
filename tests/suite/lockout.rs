//! A lockout in a walk: asked for before hands go in, handed back before anything runs, and never inherited.

use handlamp::casebook::{Case, Reading, RemedyResult};
use handlamp::ids::{CheckId, RemedyId};
use handlamp::knowledge::{How, Knowledge, Texts, load};
use handlamp::plan::{Kind, SEND};
use handlamp::render::plain;
use handlamp::safety::Exposure;
use handlamp::view::diagnosis;
use handlamp::walk::{Ask, Desk, Input, State, Walker, Work, assess};

fn built_in() -> Knowledge {
    load(&Texts::built_in()).0
}

fn check(id: &str) -> Work {
    Work::Check(CheckId::new(id))
}

/// A walk past its opening, with nobody's lock on.
fn at_the_machine(walker: &Walker<'_>, knowledge: &Knowledge) -> State {
    let machine = knowledge.machines.keys().next().expect("a machine").clone();
    let case = Case::of(machine);
    let mut state = walker.begin(case, true).expect("a first step").state;
    state.opened.extend(handlamp::walk::Item::ALL.iter().copied());
    state
}

/// The same with the lockout asked for and proved before a check.
fn locked_for(walker: &Walker<'_>, knowledge: &Knowledge, id: &str) -> State {
    let mut state = at_the_machine(walker, knowledge);
    state.ask = Ask::Authority(Box::new(check(id)));
    let state = walker.step(state, Input::Procedure(true)).expect("authority").state;
    assert_eq!(state.ask, Ask::Locked(Box::new(check(id))));
    walker.step(state, Input::Locked(Some("Ana".to_owned()))).expect("a key").state
}

fn shown(knowledge: &Knowledge, state: &State) -> String {
    plain::report(&diagnosis::question(knowledge, state), plain::COLUMNS)
}

#[test]
fn a_lock_that_came_off_or_changed_hands_is_asked_for_from_the_start() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    assert_eq!(state.ask, Ask::Check(CheckId::new("paper-round-pan")));
    state.ask = Ask::StillLocked(Box::new(check("weight-repeats")));
    for (key, goes_on) in [(Some("ana "), true), (Some("Ben"), false), (None, false)] {
        let input = Input::Locked(key.map(str::to_owned));
        let next = walker.step(state.clone(), input).expect("an answer").state;
        let wanted = if goes_on {
            Ask::Check(CheckId::new("weight-repeats"))
        } else {
            Ask::Authority(Box::new(check("weight-repeats")))
        };
        assert_eq!(next.ask, wanted, "{key:?}");
        assert_eq!(next.lockout.key.is_some(), goes_on, "{key:?}");
    }
}

#[test]
fn a_feed_that_will_not_stop_is_never_run_again_to_look_for_the_cause() {
    let knowledge = built_in();
    let file =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults/will-not-stop-filling.yaml");
    let read = handlamp::casebook::read_path(&file, &knowledge).expect("the case file");
    let desk = Desk::for_case(&knowledge, &read.case).expect("a desk");
    let plan = assess(&desk, &read.case, None).expect("a plan").plan;
    assert_eq!(plan.next[0].kind, Kind::Stop);
    let kept: Vec<_> = plan.next.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(kept[1], SEND, "{kept:?}");
    let visit = plan.visit.as_ref().expect("a visit");
    assert_eq!(visit.until_then.as_ref().map(RemedyId::as_str), Some("stop-and-call-for-the-feed"));
    assert!(visit.parts.iter().any(|p| p == "tray-drive-module"), "{:?}", visit.parts);
    for candidate in &plan.next {
        assert!(!candidate.exposures.has(Exposure::Running), "{} needs it to run", candidate.id);
        let told = knowledge.checks.get(candidate.id.as_str()).is_none_or(|c| c.how == How::Told);
        assert!(told || candidate.exposures.needs_isolation(), "{} needs power", candidate.id);
    }
}

#[test]
fn a_machine_that_was_watched_running_is_not_locked_any_more() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    state.ask = Ask::Check(CheckId::new("flap-seats-fully"));
    let page = shown(&knowledge, &state);
    assert!(page.contains("The lock of Ana is still on"), "{page}");
    assert!(page.find("Each person takes off their own lock") < page.find("Watch the flap"), "{page}");
    let outcome = Reading::Outcome("closes-fully".into());
    let state = walker.step(state, Input::Reading(outcome)).expect("a reading").state;
    assert_eq!(state.lockout.key, None);
    assert_eq!(state.lockout.procedure, None);
}

#[test]
fn a_remedy_under_a_lock_ends_with_the_hand_back_and_its_proof_begins_without_a_lock() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    state.ask = Ask::Remedy(RemedyId::new("free-the-pan"));
    let page = shown(&knowledge, &state);
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is missing:\n{page}"));
    assert!(at("Still locked?") < at("Slide the paper round once more"));
    assert!(at("Slide the paper round once more") < at("When the work is done"));
    assert!(at("When the work is done") < at("Once it is done"));
    let state = walker.step(state, Input::Result(RemedyResult::GoneNotProved)).expect("a result").state;
    assert_eq!(state.lockout.key, None);
}

#[test]
fn what_is_done_and_not_tried_yet_leaves_the_lock_on_for_the_next() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    for (result, stays) in [(RemedyResult::NotTried, true), (RemedyResult::StillThere, false)] {
        let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
        state.ask = Ask::Remedy(RemedyId::new("free-the-pan"));
        assert!(shown(&knowledge, &state).contains("Done, not tried yet: the lock stays on."));
        let next = walker.step(state, Input::Result(result)).expect("a result").state;
        assert_eq!(next.lockout.key.is_some(), stays, "{result:?}");
    }
    let open = at_the_machine(&walker, &knowledge);
    assert_eq!(handlamp::walk::results(&open).len(), 3, "without a lock it is tried at once");
}
