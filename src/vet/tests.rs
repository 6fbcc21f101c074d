//! Promises of vetting that the broken folders under tests/kb do not show: counts, sums, and single rules.

use std::path::Path;

use super::*;
use crate::diag::{Code, Severity};
use crate::ids::{CauseId, FindingId};
use crate::knowledge::{AskedQuantity, Asks, How, load};
use crate::safety::{Energy, Exposure, Trait};
use crate::units::{Kind, Unit};

fn texts() -> Texts {
    Texts::built_in().overlaid_by(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb/minimal"))
}

/// Judges the minimal knowledge after a change to it.
fn after(change: impl FnOnce(&mut Knowledge)) -> Vec<Diagnostic> {
    let (mut knowledge, _) = load(&texts());
    change(&mut knowledge);
    judge(&knowledge, &texts(), false)
}

fn only(problems: &[Diagnostic]) -> (Code, Severity, &str) {
    assert_eq!(problems.len(), 1, "{problems:#?}");
    (problems[0].code, problems[0].severity, &problems[0].message)
}

#[test]
fn counts_are_of_complete_entries_and_of_all() {
    let (knowledge, _) = load(&texts());
    let all = Counts {
        machines: 1,
        circumstances: 1,
        symptoms: 2,
        conditions: 1,
        causes: 3,
        checks: 3,
        remedies: 3,
        cautions: 2,
    };
    let counted = stats(&knowledge);
    assert_eq!((&counted.complete, &counted.all), (&all, &all), "{:?}", counted.lacking);
    let sum = 0.05 + 0.025 + 0.008 + (1.0 - 0.975 * (1.0 - 0.06 * 0.25));
    assert!((counted.causes_a_call["tray-filler"] - sum).abs() < 1e-9);
}

#[test]
fn an_entry_that_lacks_something_counts_among_all_only_and_says_what() {
    let (mut knowledge, _) = load(&texts());
    knowledge.checks.get_mut("paper-round-pan").unwrap().work.safety_read = None;
    knowledge.causes.get_mut("pan-touching").unwrap().head.about = None;
    knowledge.causes.get_mut("pan-touching").unwrap().head.basis = None;
    let twin = knowledge.causes["allowance-high"].leads_to.clone();
    knowledge.causes.get_mut("allowance-low").unwrap().leads_to = twin;
    let counted = stats(&knowledge);
    assert_eq!((counted.complete.checks, counted.all.checks), (2, 3));
    assert_eq!((counted.complete.causes, counted.all.causes), (0, 3));
    assert_eq!(counted.lacking["check/paper-round-pan"], ["a safety reader"]);
    assert_eq!(counted.lacking["cause/pan-touching"], ["what it means"]);
    assert_eq!(counted.lacking["cause/allowance-low"], ["a check that tells it from its rivals"]);
    let group = [CauseId::from("allowance-high"), CauseId::from("allowance-low")];
    assert_eq!(counted.not_told_apart["tray-filler"], [group]);
}

#[test]
fn findings_that_nothing_brings_about_or_from_which_no_answer_comes_lead_nowhere() {
    let (mut knowledge, _) = load(&texts());
    assert!(stats(&knowledge).lead_nowhere.is_empty());
    for id in ["by-itself", "out-of-sight"] {
        let mut finding = knowledge.findings["pan-catches"].clone();
        finding.id = FindingId::from(id);
        finding.leads_to.clear();
        knowledge.findings.insert(finding.id.clone(), finding);
    }
    let cause = knowledge.causes.get_mut("pan-touching").unwrap();
    let mut lead = cause.leads_to[0].clone();
    lead.finding.value = FindingId::from("out-of-sight");
    cause.leads_to.push(lead.clone());
    let nowhere = stats(&knowledge).lead_nowhere;
    assert!(nowhere["condition/by-itself"].starts_with("no cause"), "{nowhere:?}");
    assert!(nowhere["condition/out-of-sight"].starts_with("no check"), "{nowhere:?}");
    assert_eq!(nowhere.len(), 2);
    // What leads on to something that is asked about does lead somewhere.
    lead.finding.value = FindingId::from("pan-catches");
    knowledge.findings.get_mut("out-of-sight").unwrap().leads_to.push(lead);
    assert_eq!(stats(&knowledge).lead_nowhere.len(), 1);
}

#[test]
fn the_counts_stand_at_the_top_of_their_json() {
    let (knowledge, _) = load(&texts());
    let json = serde_json::to_value(stats(&knowledge)).unwrap();
    assert_eq!((&json["causes"], &json["all"]["causes"]), (&3.into(), &3.into()));
}

#[test]
fn volts_measured_where_nothing_is_live_are_looked_at_and_cell_signals_are_not() {
    let volts = |unit: &str, raised: Vec<Exposure>| {
        let unit = Unit::find(unit).unwrap();
        after(|k| {
            let mut check = k.checks["paper-round-pan"].clone();
            let kind = Kind::Voltage;
            let against = crate::knowledge::Against::Nothing;
            check.asks =
                Asks::Quantity(AskedQuantity { kind, unit, against, division: None, uncertainty: 0.0 });
            check.how = How::Measured;
            check.work.raised = raised;
            k.checks.insert(check.id.clone(), check);
        })
    };
    assert_eq!(only(&volts("V", vec![])).0, Code::UnsafeText);
    assert!(volts("mV", vec![]).is_empty());
    let energised = volts("V", vec![Exposure::Energised]);
    assert_eq!(only(&energised).0, Code::MissingCaution);
    assert!(only(&energised).2.contains("(energised)"));
}

#[test]
fn a_live_place_needs_a_supply_to_isolate_and_a_guarded_one_a_way_to_start() {
    let no_supply = after(|k| {
        let machine = k.machines.get_mut("tray-filler").unwrap();
        machine.places.get_mut("panel").unwrap().traits.0.push(Trait::Live);
        machine.energies.retain(|p| p.energy != Energy::Mains);
    });
    assert!(no_supply.iter().any(|p| p.code == Code::UntreatedEnergy && p.message.contains("supply")));
    let no_start = after(|k| k.machines.get_mut("tray-filler").unwrap().start_paths.clear());
    assert_eq!(only(&no_start).0, Code::UntreatedEnergy);
}

#[test]
fn a_cause_said_of_a_machine_that_never_has_its_option_is_a_warning() {
    let problems = after(|k| {
        let span = k.causes["pan-touching"].head.span;
        let option = crate::knowledge::At { value: "auger".into(), span };
        k.causes.get_mut("pan-touching").unwrap().needs_option = vec![option];
    });
    let warned = problems.iter().find(|p| p.message.contains("never has the option 'auger'")).unwrap();
    assert_eq!((warned.code, warned.severity), (Code::Unreachable, Severity::Warning));
}

#[test]
fn a_cause_whose_remedies_cannot_be_done_on_its_machine_is_a_warning() {
    let problems = after(|k| {
        let elsewhere = k.remedies["free-the-pan"].work.place.span;
        k.remedies.get_mut("free-the-pan").unwrap().work.machines =
            Some(vec![crate::knowledge::At { value: "auger-filler".into(), span: elsewhere }]);
    });
    let says = |text: &str| problems.iter().any(|p| p.code == Code::Unreachable && p.message.contains(text));
    assert!(says("none of the remedies of 'pan-touching' can be done on tray-filler"), "{problems:#?}");
    assert!(says("the remedy 'free-the-pan' can be done on no machine"));
}

#[test]
fn problems_come_in_the_same_order_every_time() {
    let broken = || {
        after(|k| {
            k.cautions.clear();
            k.remedies.values_mut().for_each(|r| r.work.safety_read = None);
        })
    };
    let once = broken();
    assert!(once.len() >= 3 && once.is_sorted_by_key(|p| p.span));
    assert_eq!(once, broken());
}
