//! What decides in simulated calls: authors are told what is never worth asking, and which numbers the next step hangs on.

use handlamp::ids::{CauseId, CheckId};
use handlamp::knowledge::Knowledge;
use handlamp::rehearse::{Calls, Decisions, MOST_SITUATIONS, decisions};

use crate::tool::{Tool, minimal, same_bytes_for_a_seed};

fn decided(knowledge: &Knowledge, cases: usize, threads: usize) -> Decisions {
    let machines = knowledge.machines.keys().cloned().collect();
    decisions(knowledge, &Calls { cases, seed: 3, machines, threads }, &|_| ()).unwrap()
}

/// Two causes of light fills, each with a remedy at the panel that waits for nothing.
fn rivals(high: f64, low: f64) -> Knowledge {
    let mut knowledge = minimal();
    knowledge.causes.remove("pan-touching");
    knowledge.remedies.remove("free-the-pan");
    let leads_to = knowledge.causes["allowance-high"].leads_to.clone();
    for (id, rate) in [("allowance-high", high), ("allowance-low", low)] {
        let cause = knowledge.causes.get_mut(&CauseId::from(id)).unwrap();
        cause.leads_to.clone_from(&leads_to);
        cause.after.clear();
        cause.machines.values_mut().for_each(|known| known.value = rate);
    }
    knowledge.remedies.values_mut().for_each(|remedy| remedy.only_after.clear());
    knowledge
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
    same_bytes_for_a_seed(&["knowledge", "stats", "--decisions", "15"]);
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let knowledge = minimal();
    assert_eq!(decided(&knowledge, 20, 1), decided(&knowledge, 20, 3));
}

#[test]
fn decisions_stand_beside_the_counts_and_only_when_asked_for() {
    let json = Tool::minimal(80).run(&["knowledge", "stats", "--decisions", "20", "--json"]).json();
    let plain = Tool::minimal(80).run(&["knowledge", "stats", "--json"]).json();
    assert_eq!((&json["format"], &json["causes"]), (&"handlamp-stats/1".into(), &3.into()));
    assert!(plain.get("decisions").is_none() && plain["lead_nowhere"].as_object().unwrap().is_empty());
    let decisions = &json["decisions"];
    assert_eq!((&decisions["cases"], &decisions["seed"]), (&20.into(), &1.into()));
    let situations = decisions["situations"].as_u64().unwrap();
    assert!(situations > 0 && situations <= MOST_SITUATIONS as u64);
    let asked = decisions["asked"].as_array().unwrap();
    assert!(!asked.is_empty());
    for one in asked {
        let (first, share) = (one["first"].as_f64().unwrap(), one["share"].as_f64().unwrap());
        assert!((0.0..=1.0).contains(&share) && first <= share, "{one}");
    }
    for one in decisions["moves"].as_array().unwrap() {
        let [share, lower, higher] = ["share", "lower", "higher"].map(|key| one[key].as_f64().unwrap());
        assert!(share > 0.0 && share <= 1.0 && share <= lower + higher + 1e-9, "{one}");
        assert!(lower <= share && higher <= share, "{one}");
    }
}

#[test]
fn a_check_that_can_tell_nothing_for_its_minutes_is_named_as_never_asked() {
    let mut knowledge = minimal();
    let mut idle = knowledge.checks["paper-round-pan"].clone();
    idle.id = CheckId::from("idle-look");
    idle.work.place.value = "panel".into();
    // Two steps ahead even an idle question seems to save what a good one behind it saves, less its own minutes.
    idle.work.minutes = 400.0;
    idle.outcomes.iter_mut().flat_map(|o| &mut o.means).for_each(|m| (m.hit, m.false_alarm) = (0.5, 0.5));
    knowledge.checks.insert(idle.id.clone(), idle);
    let decided = decided(&knowledge, 40, 2);
    let never: Vec<&str> = decided.never_asked.iter().map(|idle| idle.entry.as_str()).collect();
    assert_eq!(never, ["check/idle-look"]);
    assert_eq!((decided.never_asked[0].calls, decided.never_asked[0].remedies), (40, 0));
    assert!(decided.asked.iter().any(|asked| asked.entry == "check/paper-round-pan"), "{decided:?}");
}

#[test]
fn a_rate_that_decides_moves_the_step_and_one_that_cannot_does_not() {
    let close = decided(&rivals(0.03, 0.02), 30, 2);
    let rate = |id: &str| {
        let found = close.moves.iter().find(|m| m.entry == id && m.field == "machines.tray-filler");
        found.unwrap_or_else(|| panic!("{id}: {close:?}"))
    };
    let (high, low) = (rate("cause/allowance-high"), rate("cause/allowance-low"));
    assert!(high.lower > 0.2 && high.higher < high.lower, "{high:?}");
    assert!(low.higher > 0.2 && low.lower < low.higher, "{low:?}");
    let far = decided(&rivals(0.2, 0.0002), 30, 2);
    let rates = far.moves.iter().filter(|m| m.field.starts_with("machines."));
    assert_eq!(rates.count(), 0, "{far:?}");
}

#[test]
fn the_page_fits_its_screen_and_says_what_it_did() {
    for columns in [40, 80] {
        let said = Tool::minimal(columns).run(&["knowledge", "stats", "--decisions", "10"]);
        assert_eq!(said.status, Some(0), "{}", said.block());
        let wide: Vec<&str> = said.out.lines().filter(|line| line.chars().count() > columns).collect();
        assert!(wide.is_empty(), "{wide:?}");
        for words in ["Asked in 10 simulated calls, seed 1", "Numbers that decide"] {
            assert!(said.out.contains(words), "{words}: {}", said.out);
        }
    }
}

#[test]
fn a_seed_or_a_machine_without_decisions_is_wrong_usage() {
    let tool = Tool::minimal(80);
    for args in [
        &["knowledge", "stats", "--seed", "2"][..],
        &["knowledge", "stats", "--machine", "tray-filler"],
        &["knowledge", "stats", "--decisions", "0"],
    ] {
        assert_eq!(tool.run(args).status, Some(2), "{args:?}");
    }
    let said = tool.run(&["knowledge", "stats", "--decisions", "2", "--machine", "tray-fillre"]);
    assert_eq!((said.status, said.out.as_str()), (Some(3), ""));
    assert!(said.err.contains("did you mean tray-filler?"), "{}", said.err);
}
