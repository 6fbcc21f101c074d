//! A lockout in a walk: asked for before hands go in, handed back before anything runs, and never inherited.

use handlamp::casebook::{Case, Reading, RemedyResult, What};
use handlamp::ids::{CheckId, RemedyId};
use handlamp::knowledge::{How, Knowledge, Texts, load};
use handlamp::plan::{Kind, SEND};
use handlamp::render::plain;
use handlamp::safety::{Exposure, Isolation};
use handlamp::view::diagnosis;
use handlamp::walk::{Ask, Desk, Input, Pick, State, Walker, Work, assess, results};

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
fn what_is_given_or_done_on_ones_own_under_a_lock_shows_no_steps_and_takes_no_lock_off() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    state.ask = Ask::Check(CheckId::new("flap-seats-fully"));
    let page = shown(&knowledge, &state);
    assert!(page.contains("The lock of Ana is on"), "{page}");
    assert!(!page.contains("Watch the flap"), "nobody is told to run it:\n{page}");
    for reading in [Reading::Outcome("closes-fully".into()), Reading::CannotTell] {
        let next = walker.step(state.clone(), Input::Reading(reading)).expect("a reading").state;
        assert_eq!(next.lockout.key.as_deref(), Some("Ana"));
    }
    state.ask = Ask::Remedy(RemedyId::new("free-the-pan"));
    let page = shown(&knowledge, &state);
    assert!(
        !page.contains("Slide the paper round"),
        "the lock was asked about for the paper strip only:\n{page}"
    );
}

#[test]
fn a_case_taken_up_with_a_lock_on_runs_nothing_before_the_hand_back() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let locked = locked_for(&walker, &knowledge, "paper-round-pan");
    let resumed = walker.resume(locked.case.clone(), true).expect("taken up").state;
    assert_eq!((resumed.lockout.key.as_deref(), resumed.lockout.procedure), (Some("Ana"), None));
    let back = chosen(&walker, &knowledge, &resumed, "flap-seats-fully");
    assert_eq!(back.ask, Ask::HandBack(Box::new(check("flap-seats-fully"))));
    let inside = chosen(&walker, &knowledge, &resumed, "paper-round-pan");
    assert_eq!(inside.ask, Ask::Authority(Box::new(check("paper-round-pan"))), "authority has lapsed");
    let handed = walker.step(back, Input::HandedBack(true)).expect("handed back").state;
    assert_eq!(walker.resume(handed.case, true).expect("taken up").state.lockout.key, None);
}

#[test]
fn a_result_that_is_corrected_under_a_lock_can_still_be_any() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    let remedy = RemedyId::new("free-the-pan");
    let what = What::Remedy { id: remedy.clone(), result: RemedyResult::StillThere };
    state.case.events.push(handlamp::casebook::Event { at: None, by: None, what });
    state.correcting = Some(state.case.events.len() - 1);
    state.ask = Ask::Remedy(remedy);
    assert_eq!(results(&state).len(), 3);
}

/// One step of the plan chosen from the list of others.
fn chosen(walker: &Walker<'_>, knowledge: &Knowledge, from: &State, id: &str) -> State {
    let mut state = from.clone();
    let exposures = knowledge.machines[&state.case.machine].exposures(&knowledge.checks[id].work);
    let desk = Desk::for_case(knowledge, &state.case).expect("a desk");
    let mut candidate = assess(&desk, &state.case, None).expect("a plan").plan.next.remove(0);
    (candidate.id, candidate.kind, candidate.exposures) = (id.to_owned(), Kind::Check, exposures);
    state.ask = Ask::Pick(Pick::Other(vec![candidate]));
    walker.step(state, Input::Chosen(0)).expect("a step").state
}

/// The lock said to stand for a remedy.
fn at_the_remedy(walker: &Walker<'_>, locked: State, remedy: &RemedyId) -> State {
    let ask = Ask::StillLocked(Box::new(Work::Remedy(remedy.clone())));
    walker.step(State { ask, ..locked }, Input::Locked(Some("Ana".to_owned()))).expect("still locked").state
}

#[test]
fn a_remedy_under_a_lock_is_tried_only_once_the_machine_is_handed_back() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let remedy = RemedyId::new("free-the-pan");
    let state = at_the_remedy(&walker, locked_for(&walker, &knowledge, "paper-round-pan"), &remedy);
    let page = shown(&knowledge, &state);
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is missing:\n{page}"));
    assert!(at("The lock is on: Ana's key") < at("Slide the paper round once more"));
    assert!(at("Slide the paper round once more") < at("Is it done?"));
    assert!(!page.contains("Still there"), "nobody can tell under a lock:\n{page}");
    assert_eq!(results(&state), [Input::ToTry, Input::Result(RemedyResult::NotTried)]);

    let done = walker.step(state.clone(), Input::ToTry).expect("done");
    assert_eq!(done.entries.len(), 1, "what was done is on disk before it is tried");
    assert_eq!(done.state.ask, Ask::HandBack(Box::new(Work::Remedy(remedy.clone()))));
    let page = shown(&knowledge, &done.state);
    for step in Isolation::HAND_BACK {
        assert!(page.replace('\n', " ").contains(&step[..20]), "{step}:\n{page}");
    }
    let not_yet = walker.step(done.state.clone(), Input::HandedBack(false)).expect("not yet").state;
    assert_eq!(not_yet.lockout.key.as_deref(), Some("Ana"));
    assert_ne!(not_yet.ask, Ask::Remedy(remedy.clone()));

    let back = walker.step(done.state, Input::HandedBack(true)).expect("handed back").state;
    assert_eq!((&back.ask, &back.lockout.key), (&Ask::Remedy(remedy.clone()), &None));
    let page = shown(&knowledge, &back);
    assert!(page.find("WARNING") < page.find("how is it now?") && page.contains("WARNING"), "{page}");
    let gone = walker.step(back, Input::Result(RemedyResult::GoneNotProved)).expect("a result").state;
    let all: Vec<_> = gone.case.events.iter().filter(|e| matches!(e.what, What::Remedy { .. })).collect();
    assert_eq!(all.len(), 1, "how it went takes the place of 'not tried'");
    assert_eq!(gone.case.last_remedy(), Some((&remedy, RemedyResult::GoneNotProved)));
    let stays = walker.step(state, Input::Result(RemedyResult::NotTried)).expect("a result").state;
    assert_eq!(stays.lockout.key.as_deref(), Some("Ana"));
    let open = at_the_machine(&walker, &knowledge);
    assert_eq!(results(&open).len(), 3, "without a lock it is tried at once");
}

#[test]
fn nothing_is_run_under_a_lock_before_the_hand_back_is_said() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let locked = locked_for(&walker, &knowledge, "paper-round-pan");
    let chosen = |id: &str| chosen(&walker, &knowledge, &locked, id);
    let watched = chosen("flap-seats-fully");
    assert_eq!(watched.ask, Ask::HandBack(Box::new(check("flap-seats-fully"))));
    let handed = walker.step(watched.clone(), Input::HandedBack(true)).expect("handed back").state;
    assert_eq!((handed.ask, handed.lockout.key), (Ask::Check(CheckId::new("flap-seats-fully")), None));
    let kept = walker.step(watched, Input::HandedBack(false)).expect("kept").state;
    assert_ne!(kept.ask, Ask::Check(CheckId::new("flap-seats-fully")), "it needs the machine to run");
    assert!(kept.lockout.key.is_some());

    let read = chosen("allowance-against-record");
    assert_eq!(read.ask, Ask::HandBack(Box::new(check("allowance-against-record"))), "a display needs power");
    let told = knowledge
        .checks
        .values()
        .find(|c| c.how == How::Told && c.work.steps.is_empty())
        .expect("something remembered");
    assert!(!matches!(chosen(told.id.as_str()).ask, Ask::HandBack(_)), "{}", told.id);
}

#[test]
fn what_was_changed_at_the_panel_under_a_lock_is_not_asked_for_twice_before_it_is_tried() {
    let knowledge = built_in();
    let walker = Walker::new(&knowledge);
    let remedy = RemedyId::new("lower-inflight-allowance");
    let mut state = locked_for(&walker, &knowledge, "paper-round-pan");
    state.ask = Ask::Remedy(remedy.clone());
    let done = walker.step(state, Input::ToTry).expect("done").state;
    let back = walker.step(done.clone(), Input::HandedBack(true)).expect("handed back").state;
    assert_eq!(back.ask, Ask::Remedy(remedy.clone()), "its old figure was written down before");
    let kept = walker.step(done, Input::HandedBack(false)).expect("kept").state;
    assert_ne!(kept.ask, Ask::Before(remedy));
    assert!(kept.lockout.key.is_some());
}
