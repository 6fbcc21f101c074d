//! What a visit was packed with, against what was likely when somebody was sent, worked out here a second time.

use std::collections::{BTreeMap, BTreeSet};

use crate::week::{demo, raw, week, within};

/// Parts of the causes that together hold nine tenths when somebody was sent first, and of the remedies done from then on.
#[test]
fn parts_are_counted_against_what_was_likely_when_somebody_was_sent() {
    use handlamp::casebook::{CaseId, Entry, Store, What};
    let tool = demo("30");
    let said = week(&tool, &["--replay", "30"]);
    let knowledge = handlamp::knowledge::load(&handlamp::knowledge::Texts::built_in()).0;
    let store = Store::at(&tool.home().join("store"));
    let mut wanted: BTreeMap<String, [u64; 3]> = BTreeMap::new();
    for raw in raw(&tool.home().join("store")).iter().filter(|raw| within(raw.opened, 13)) {
        let recorded = store.read(&CaseId::parse(&raw.id).unwrap()).unwrap();
        let mut events = Vec::new();
        let mut sent = false;
        for happening in &recorded.history {
            match &happening.entry {
                Entry::Event(event) => events.push(event.clone()),
                Entry::Close(handlamp::casebook::Closing::SentSomebody) => {
                    sent = true;
                    break;
                }
                _ => {}
            }
        }
        if !sent {
            continue;
        }
        let before = events.len();
        let mut case = recorded.case.clone();
        let after: Vec<_> = case.events.split_off(before);
        let desk = handlamp::walk::Desk::for_case(&knowledge, &case).unwrap();
        let evidence = handlamp::walk::gather(&desk, &case).evidence;
        let believed = handlamp::belief::posterior(&desk.model.network, &evidence).unwrap();
        let mut likely: Vec<(f64, usize)> =
            (0..desk.model.causes.len()).map(|cause| (believed.causes[cause].was, cause)).collect();
        let all: f64 = likely.iter().map(|(was, _)| was).sum();
        likely.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let (mut covered, mut advised) = (0.0, BTreeSet::new());
        for (was, cause) in likely {
            if covered >= 0.9 * all {
                break;
            }
            covered += was;
            let id = &desk.model.causes[cause];
            let mut own: Vec<_> =
                desk.view.remedies.iter().filter(|remedy| remedy.cures.value == *id).collect();
            own.sort_by(|a, b| b.works.total_cmp(&a.works).then(a.id.cmp(&b.id)));
            advised.extend(
                own.first().into_iter().flat_map(|remedy| remedy.parts.iter().map(|(part, _)| part.clone())),
            );
        }
        let mut used = BTreeSet::new();
        for event in after {
            if let What::Remedy { id, .. } = event.what {
                used.extend(knowledge.remedies[&id].parts.iter().map(|(part, _)| part.clone()));
            }
        }
        for part in advised.union(&used) {
            let place = match (advised.contains(part), used.contains(part)) {
                (true, true) => 0,
                (true, false) => 1,
                _ => 2,
            };
            wanted.entry(part.clone()).or_default()[place] += 1;
        }
    }
    let told: BTreeMap<String, [u64; 3]> = said["parts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| {
            let number = |key: &str| own[key].as_u64().unwrap();
            let counts = ["advised_and_used", "advised_only", "used_only"].map(number);
            (own["part"].as_str().unwrap().to_owned(), counts)
        })
        .collect();
    assert_eq!(told, wanted);
    assert!(!told.is_empty());
}
