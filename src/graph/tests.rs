//! Promises of the fault graph, on the small knowledge under tests/kb.

use std::collections::BTreeSet;
use std::path::Path;

use super::*;
use crate::diag::Code;
use crate::knowledge::{Texts, load};

fn knowledge_with(over: &str) -> Knowledge {
    let kb = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb");
    let mut texts = Texts::built_in().overlaid_by(&kb.join("minimal"));
    if !over.is_empty() {
        texts = texts.overlaid_by(&kb.join(over));
    }
    load(&texts).0
}

fn minimal() -> Knowledge {
    let (knowledge, problems) =
        load(&Texts::built_in().overlaid_by(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb/minimal")));
    assert!(problems.is_empty(), "{problems:?}");
    knowledge
}

fn cause(id: &str) -> Node {
    Node::Cause(id.into())
}

fn finding(id: &str) -> Node {
    Node::Finding(id.into())
}

fn ids<'a, T: 'a>(all: &'a [T], id: impl Fn(&'a T) -> &'a str) -> Vec<&'a str> {
    all.iter().map(id).collect()
}

#[test]
fn the_view_of_a_machine_has_what_applies_with_parents_before_children() {
    let knowledge = minimal();
    let view = machine_view(&knowledge, &knowledge.machines["tray-filler"], None);
    assert_eq!(ids(&view.causes, |c| c.id.as_str()), ["allowance-high", "allowance-low", "pan-touching"]);
    assert_eq!(ids(&view.circumstances, |c| c.id.as_str()), ["product-changed"]);
    assert_eq!(
        ids(&view.checks, |c| c.id.as_str()),
        ["paper-round-pan", "weigh-a-run", "what-the-caller-says"]
    );
    assert_eq!(
        ids(&view.remedies, |r| r.id.as_str()),
        ["free-the-pan", "lower-allowance", "raise-allowance"]
    );
    let findings = ids(&view.findings, |f| f.id.as_str());
    let at = |id: &str| findings.iter().position(|f| *f == id).unwrap();
    assert!(at("pan-catches") < at("fills-heavy") && at("pan-catches") < at("fills-light"));
    assert_eq!(view.patterns.len(), crate::knowledge::PATTERNS.len());
    assert_eq!(view.patterns["light"].unwrap().id.as_str(), "fills-light");
    assert!(view.patterns["wave"].is_none());
    assert_eq!(view.rate(view.causes[0]), Some(0.025));
}

#[test]
fn a_cause_whose_option_is_not_fitted_is_not_in_the_view_and_takes_what_only_it_brings_along() {
    let mut knowledge = minimal();
    let span = knowledge.causes["pan-touching"].head.span;
    let option = crate::knowledge::At { value: "foot-switch".into(), span };
    knowledge.causes.get_mut("pan-touching").unwrap().needs_option = vec![option.clone()];
    knowledge.checks.get_mut("paper-round-pan").unwrap().work.needs_option = vec![option];
    let machine = &knowledge.machines["tray-filler"];
    let none = BTreeSet::new();
    let bare = machine_view(&knowledge, machine, Some(&none));
    assert!(!bare.has_finding(&"pan-catches".into()));
    assert!(bare.causes.iter().all(|c| c.id.as_str() != "pan-touching"));
    assert!(bare.remedies.iter().all(|r| r.id.as_str() != "free-the-pan"));
    let fitted = BTreeSet::from(["foot-switch".into()]);
    assert!(machine_view(&knowledge, machine, Some(&fitted)).has_finding(&"pan-catches".into()));
    assert!(machine_view(&knowledge, machine, None).has_finding(&"pan-catches".into()));
}

#[test]
fn a_finding_kept_to_another_machine_is_not_here() {
    let mut knowledge = minimal();
    let span = knowledge.findings["pan-catches"].head.span;
    knowledge.findings.get_mut("pan-catches").unwrap().machines =
        Some(vec![crate::knowledge::At { value: "other".into(), span }]);
    let view = machine_view(&knowledge, &knowledge.machines["tray-filler"], None);
    assert!(!view.has_finding(&"pan-catches".into()));
    assert!(view.checks.iter().all(|c| c.id.as_str() != "paper-round-pan"));
}

#[test]
fn the_chain_between_two_entries_is_the_likeliest_one() {
    let knowledge = minimal();
    let (graph, rings) = FaultGraph::build(&knowledge);
    assert!(rings.is_empty());
    let chain = graph.chain(&cause("pan-touching"), &finding("fills-heavy")).unwrap();
    assert_eq!(chain, [cause("pan-touching"), finding("pan-catches"), finding("fills-heavy")]);
    assert!(graph.chain(&cause("allowance-low"), &finding("fills-light")).is_none());
    assert!(graph.chain(&cause("nothing"), &finding("fills-light")).is_none());

    // A weak direct link loses to a strong way round it.
    let mut bent = knowledge.clone();
    let mut direct = bent.causes["pan-touching"].leads_to[0].clone();
    direct.finding.value = "fills-heavy".into();
    direct.strength.value = Strength::One(0.3);
    bent.causes.get_mut("pan-touching").unwrap().leads_to.push(direct.clone());
    let way = |k: &Knowledge| {
        FaultGraph::build(k).0.chain(&cause("pan-touching"), &finding("fills-heavy")).unwrap().len()
    };
    assert_eq!(way(&bent), 3);
    bent.causes.get_mut("pan-touching").unwrap().leads_to[1].strength.value = Strength::One(0.6);
    assert_eq!(way(&bent), 2);
}

#[test]
fn neighbours_come_from_both_sides_with_strengths_as_words() {
    let knowledge = minimal();
    let (graph, _) = FaultGraph::build(&knowledge);
    let near = graph.neighbours(&cause("allowance-high"));
    let said: Vec<_> = near
        .iter()
        .map(|n| format!("{} {} {}", n.link.relation.words(n.towards), n.node.id(), n.link.words))
        .collect();
    assert_eq!(
        said,
        [
            "is raised by product-changed very common",
            "leads to fills-light usually",
            "is cured by lower-allowance usually"
        ]
    );
    let seen = graph.neighbours(&finding("pan-catches"));
    let by = seen.iter().find(|n| n.link.relation == Relation::BearsOn).unwrap();
    assert_eq!((by.node.id(), by.link.outcome.as_ref().unwrap().as_str()), ("paper-round-pan", "catches"));
}

#[test]
fn numbers_find_their_nearest_word() {
    let scale = minimal().scale;
    for (number, word) in [(0.98, "always"), (0.9, "usually"), (0.5, "often"), (0.02, "rarely")] {
        assert_eq!(strength_word(number, &scale), word);
    }
    assert_eq!(rate_word(0.012, &scale), "occasional");
    let by_degree = Strength::ByDegree(Box::new(Strength::One(0.3)), Box::new(Strength::Each(0.85, 0.6)));
    assert_eq!(strength_words(&by_degree, &scale), "some: sometimes; much: usually, much often");
    assert_eq!(strength_word(0.5, &crate::knowledge::Scale::default()), "50 %");
}

#[test]
fn a_ring_is_named_whole_and_nothing_hangs_on_it() {
    let knowledge = knowledge_with("cycle");
    let (graph, rings) = FaultGraph::build(&knowledge);
    assert_eq!(rings.len(), 1, "{rings:?}");
    assert!(
        rings[0].message.contains("layer-deep → layer-rolls → pan-fills-late → layer-deep"),
        "{}",
        rings[0].message
    );
    assert_eq!(rings[0].related.len(), 2);
    assert_eq!(rings[0].code, Code::Cycle);
    let view = machine_view(&knowledge, &knowledge.machines["tray-filler"], None);
    assert!(!view.findings.is_empty() && !graph.findings_in_order().is_empty());
    assert!(!graph.reach(&finding("layer-deep")).is_empty());
}

#[test]
fn a_finding_that_leads_to_itself_is_a_ring_too() {
    let mut knowledge = minimal();
    knowledge.findings.get_mut("pan-catches").unwrap().leads_to[0].finding.value = "pan-catches".into();
    let (_, rings) = FaultGraph::build(&knowledge);
    assert_eq!(rings[0].message, "'pan-catches' leads to itself");
}

#[test]
fn what_hangs_loose_is_found() {
    let mut knowledge = minimal();
    assert!(loose_ends(&FaultGraph::build(&knowledge).0).is_empty());
    knowledge.causes.get_mut("pan-touching").unwrap().leads_to.clear();
    knowledge.causes.get_mut("allowance-high").unwrap().after.clear();
    knowledge.remedies.remove("raise-allowance");
    let loose = loose_ends(&FaultGraph::build(&knowledge).0);
    for expected in [
        (Node::Circumstance("product-changed".into()), Loose::RaisesNothing),
        (cause("pan-touching"), Loose::LeadsNowhere),
        (cause("allowance-low"), Loose::HasNoRemedy),
        (finding("pan-catches"), Loose::ComesFromNothing),
    ] {
        assert!(loose.contains(&expected), "{expected:?} in {loose:?}");
    }
    assert_eq!(loose.len(), 4);
}

#[test]
fn causes_that_show_in_the_same_answers_are_named_together() {
    let mut knowledge = minimal();
    let groups = |k: &Knowledge| not_told_apart(k, &machine_view(k, &k.machines["tray-filler"], None));
    assert!(groups(&knowledge).is_empty());
    let light = knowledge.causes["allowance-high"].leads_to.clone();
    knowledge.causes.get_mut("allowance-low").unwrap().leads_to = light;
    assert_eq!(groups(&knowledge), [["allowance-high".into(), "allowance-low".into()]]);
}

#[test]
fn a_drawing_holds_titles_with_their_quotes_escaped_and_no_step_text() {
    let mut knowledge = minimal();
    knowledge.causes.get_mut("pan-touching").unwrap().head.title = "A \"cable\"\\ touches".to_owned();
    let (graph, _) = FaultGraph::build(&knowledge);
    let whole = graph.dot(&knowledge, None);
    assert!(whole.starts_with("digraph faults {") && whole.ends_with("}\n"));
    assert!(whole.contains(r#"label="A \"cable\"\\ touches""#));
    assert!(whole.contains(r#""condition:pan-catches" -> "symptom:fills-heavy" [label="often""#));
    assert!(!whole.contains("strip of paper through"));
    let near = graph.dot(&knowledge, Some(&cause("pan-touching")));
    assert!(near.contains("free-the-pan") && !near.contains("fills-heavy"));
    assert_eq!(whole, FaultGraph::build(&knowledge).0.dot(&knowledge, None));
}

#[test]
fn one_id_may_name_entries_of_two_kinds() {
    let mut knowledge = minimal();
    let mut twin = knowledge.checks["paper-round-pan"].clone();
    twin.id = "pan-touching".into();
    knowledge.checks.insert(twin.id.clone(), twin);
    assert_eq!(
        Node::named(&knowledge, "pan-touching"),
        [cause("pan-touching"), Node::Check("pan-touching".into())]
    );
    let kinds: Vec<_> = Node::named(&knowledge, "pan-catches").iter().map(|n| n.kind(&knowledge)).collect();
    assert_eq!(kinds, ["condition"]);
    assert_eq!(finding("gone").title(&knowledge), "gone");
}

#[test]
fn causes_behind_a_symptom_come_by_how_often_they_bring_it_about() {
    let knowledge = minimal();
    let (graph, _) = FaultGraph::build(&knowledge);
    let behind = graph.behind(&knowledge, &"fills-light".into(), None);
    assert_eq!(ids(&behind, |b| b.cause.as_str()), ["allowance-high", "pan-touching"]);
    assert_eq!(behind[1].through, ["pan-catches".into()]);
    assert!(behind[0].chance * behind[0].strength > behind[1].chance * behind[1].strength);
    assert!(graph.behind(&knowledge, &"fills-light".into(), Some(&"auger-filler".into())).is_empty());
}

#[test]
fn a_rival_is_told_apart_by_a_check_that_shows_one_of_the_two() {
    let knowledge = minimal();
    let (graph, _) = FaultGraph::build(&knowledge);
    let rivals = graph.rivals(&knowledge, &"allowance-high".into(), None);
    assert_eq!(ids(&rivals, |r| r.cause.as_str()), ["pan-touching"]);
    assert_eq!(rivals[0].told_by[0].as_str(), "paper-round-pan");
}

#[test]
fn the_surroundings_of_a_check_are_what_it_bears_on_with_causes_and_consequences() {
    let knowledge = minimal();
    let (graph, _) = FaultGraph::build(&knowledge);
    let near = graph.surroundings(&knowledge, &Node::Check("paper-round-pan".into()), None);
    assert_eq!(near.causes, ["pan-touching".into()]);
    assert_eq!(near.conditions, ["pan-catches".into()]);
    assert_eq!(near.symptoms.len(), 2);
    let remedy = graph.surroundings(&knowledge, &Node::Remedy("free-the-pan".into()), None);
    assert_eq!(remedy.causes, near.causes);
}
