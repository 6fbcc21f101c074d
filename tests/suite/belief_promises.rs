//! What the belief promises beyond agreeing with brute force: closed forms, order, range, and refusal of the impossible.

use handlamp::belief::{
    BeliefError, CONFLICT, Cause, Circumstance, Evidence, Finding, Item, Link, Moment, Network, Parent,
    Readings, findings, ln_evidence, posterior, readings,
};

use crate::dice::Dice;

fn root(base: f64) -> Cause {
    Cause { base, after: Vec::new(), catch: None }
}

fn from(cause: usize, strength: f64) -> Link {
    Link { parent: Parent::Cause(cause), strength: vec![vec![strength]] }
}

fn yes_no(leak: f64, parents: Vec<Link>) -> Finding {
    Finding { degrees: 1, leak: vec![leak], parents }
}

fn hard(finding: usize, present: bool) -> Item {
    soft(finding, if present { [0.0, 1.0] } else { [1.0, 0.0] })
}

fn soft(finding: usize, likelihood: [f64; 2]) -> Item {
    Item::Answer { findings: vec![finding], likelihood: likelihood.to_vec(), moment: Moment::Bad }
}

/// Two causes above one finding.
fn two_over_one() -> Network {
    let finding = yes_no(0.03, vec![from(0, 0.8), from(1, 0.4)]);
    Network::new(Vec::new(), vec![root(0.1), root(0.2)], vec![finding]).unwrap()
}

fn chance(network: &Network, items: Vec<Item>) -> f64 {
    ln_evidence(network, &Evidence(items)).unwrap().exp()
}

fn weighed(network: &Network, evidence: &Evidence, causes: &[usize]) -> Readings {
    readings(network, evidence, &posterior(network, evidence).unwrap(), causes).unwrap()
}

fn near(left: f64, right: f64) {
    assert!((left - right).abs() < 1e-12, "{left} is not {right}");
}

#[test]
fn a_finding_before_and_after_a_remedy_follows_the_closed_forms() {
    let network = two_over_one();
    let remedy = Item::Remedy { cause: 0, works: 0.7 };
    let pair = |before, after| chance(&network, vec![hard(0, before), remedy.clone(), hard(0, after)]);
    near(pair(true, true), chance(&network, vec![remedy.clone(), hard(0, true)]));
    near(pair(false, false), chance(&network, vec![hard(0, false)]));
    // Abnormal then normal: only if cause 0 was there and cured, its link had fired, and nothing else had.
    near(pair(true, false), 0.97 * 0.1 * 0.7 * 0.8 * (0.8 + 0.2 * 0.6));
    let impossible = Evidence(vec![hard(0, false), remedy, hard(0, true)]);
    assert_eq!(posterior(&network, &impossible), Err(BeliefError::Impossible { item: 2 }));
}

#[test]
fn asking_after_a_fresh_start_draws_the_links_anew() {
    let network = Network::new(Vec::new(), vec![root(1.0)], vec![yes_no(0.0, vec![from(0, 0.6)])]).unwrap();
    near(chance(&network, vec![hard(0, true), hard(0, true)]), 0.6);
    near(chance(&network, vec![hard(0, true), Item::Afresh { findings: vec![0] }, hard(0, true)]), 0.36);
}

#[test]
fn every_normal_look_at_a_fault_that_comes_and_goes_weighs_less_than_catching_it_at_work() {
    let come_and_go = Cause { base: 0.3, after: Vec::new(), catch: Some(0.2) };
    let network = Network::new(Vec::new(), vec![come_and_go], vec![yes_no(0.0, vec![from(0, 0.7)])]).unwrap();
    let look = |moment| Item::Answer { findings: vec![0], likelihood: vec![1.0, 0.0], moment };
    for (looks, unseen) in (1..=6).map(|looks| (looks, std::iter::repeat_n(0.8, looks).product::<f64>())) {
        let asleep = chance(&network, vec![look(Moment::Good); looks]);
        // w·(1 − 0.8^k) in place of w.
        near(asleep, 1.0 - 0.3 * 0.7 * (1.0 - unseen));
        near(chance(&network, vec![look(Moment::Unknown); looks]), asleep);
        near(chance(&network, vec![look(Moment::Bad); looks]), 1.0 - 0.3 * 0.7);
    }
}

#[test]
fn a_callers_word_loses_to_a_run_that_contradicts_it() {
    // 'Steadily light', told with hit .8 and false alarm .1; then a run that speaks for it only at the floor.
    let network = Network::new(
        Vec::new(),
        vec![root(0.06), root(0.025)],
        vec![yes_no(0.01, vec![from(0, 0.85)]), yes_no(0.01, vec![from(1, 0.85)])],
    )
    .unwrap();
    let told = soft(0, [0.1, 0.8]);
    let run = Item::Run {
        findings: vec![0, 1],
        floor: 0.001,
        combos: vec![(vec![0, 1], 1.0), (vec![0, 0], 0.02)],
        moment: Moment::Bad,
    };
    let light = |items: Vec<Item>| findings(&network, &Evidence(items)).unwrap()[0][1];
    assert!(light(vec![told.clone()]) > 0.3);
    assert!(light(vec![told, run.clone()]) < 0.05);
    assert_eq!(light(vec![hard(0, true), run]), 1.0, "as hard evidence it would have stayed");
}

#[test]
fn impossible_evidence_is_named_by_its_item() {
    let network = two_over_one();
    let evidence = Evidence(vec![soft(0, [0.2, 0.9]), hard(0, true), soft(0, [0.5, 0.5]), hard(0, false)]);
    assert_eq!(posterior(&network, &evidence), Err(BeliefError::Impossible { item: 3 }));
}

#[test]
fn evidence_that_does_not_fit_is_refused_by_its_item() {
    let network = two_over_one();
    for wrong in [
        soft(1, [0.5, 0.5]),
        soft(0, [f64::NAN, 0.5]),
        soft(0, [-0.1, 0.5]),
        soft(0, [0.0, 0.0]),
        Item::Remedy { cause: 7, works: 0.5 },
        Item::Run { findings: vec![0], floor: 0.1, combos: vec![(vec![1], 0.05)], moment: Moment::Bad },
    ] {
        let evidence = Evidence(vec![hard(0, true), wrong]);
        assert!(matches!(posterior(&network, &evidence), Err(BeliefError::Evidence { item: 1, .. })));
    }
}

/// Causes with circumstances over conditions over symptoms; strengths and leaks from the given ends only, if asked.
fn broad(dice: &mut Dice, ends: Option<[f64; 2]>) -> Network {
    let circumstances = (0..4).map(|_| Circumstance { usual: 0.2 }).collect();
    let causes = (0..14)
        .map(|_| Cause { base: dice.between(0.002, 0.06), after: vec![(dice.below(4), 0.05)], catch: None })
        .collect();
    let strength = |dice: &mut Dice| match ends {
        Some(ends) => ends[dice.below(2)],
        None => dice.between(0.05, 0.95),
    };
    let mut findings = Vec::new();
    for index in 0..18 {
        let mut parents: Vec<Link> = Vec::new();
        let first = dice.below(14);
        for step in 0..3 {
            parents.push(from((first + step * 5) % 14, strength(dice)));
        }
        if index >= 6 && dice.chance(0.5) {
            parents
                .push(Link { parent: Parent::Finding(dice.below(4)), strength: vec![vec![strength(dice)]] });
        }
        findings.push(yes_no(ends.map_or(0.01, |ends| ends[0]), parents));
    }
    Network::new(circumstances, causes, findings).unwrap()
}

#[test]
fn no_probability_leaves_its_range_under_fifteen_abnormal_findings_and_adverse_strengths() {
    for seed in 0..6 {
        let mut dice = Dice(seed);
        let network = broad(&mut dice, Some([0.002, 0.998]));
        let evidence = Evidence((0..18).map(|finding| hard(finding, finding < 15)).collect());
        let believed = posterior(&network, &evidence).unwrap();
        let chances = believed.causes.iter().flat_map(|cause| [cause.was, cause.now]);
        let chances = chances
            .chain(findings(&network, &evidence).unwrap().into_iter().flatten())
            .chain(believed.circumstances);
        for p in chances {
            assert!((0.0..=1.0).contains(&p), "seed {seed}: {p}");
        }
        assert!(believed.ln_evidence.is_finite() && believed.ln_evidence < 0.0);
    }
}

#[test]
fn the_order_of_readings_changes_nothing_and_neither_does_repeating_the_sum() {
    for seed in 0..5 {
        let mut dice = Dice(seed);
        let network = broad(&mut dice, None);
        let mut items: Vec<Item> = (0..8)
            .map(|_| soft(dice.below(18), [dice.between(0.02, 1.0), dice.between(0.02, 1.0)]))
            .collect();
        let first = posterior(&network, &Evidence(items.clone())).unwrap();
        assert_eq!(first, posterior(&network, &Evidence(items.clone())).unwrap());
        items.reverse();
        let turned = posterior(&network, &Evidence(items)).unwrap();
        for (left, right) in first.causes.iter().zip(&turned.causes) {
            near(left.now, right.now);
        }
    }
}

#[test]
fn a_reading_weighs_what_leaving_it_out_moves_the_odds() {
    let network = two_over_one();
    let evidence = Evidence(vec![soft(0, [0.1, 0.8]), soft(0, [0.05, 0.9])]);
    let weights = weighed(&network, &evidence, &[0, 1]).weights;
    let odds =
        |evidence: &Evidence, cause: usize| posterior(&network, evidence).unwrap().causes[cause].ln_odds;
    for (item, row) in weights.iter().enumerate() {
        for (cause, weight) in row.iter().enumerate() {
            near(weight.unwrap(), odds(&evidence, cause) - odds(&evidence.without(item), cause));
        }
    }
    assert!(weights[0][0].unwrap() > 0.0);
}

#[test]
fn one_reading_against_many_is_a_conflict_and_agreeing_ones_are_none() {
    let causes = vec![root(0.05)];
    let findings = (0..5).map(|_| yes_no(0.002, vec![from(0, 0.99)])).collect();
    let network = Network::new(Vec::new(), causes, findings).unwrap();
    let agreeing: Vec<Item> = (0..4).map(|finding| soft(finding, [0.02, 0.97])).collect();
    assert_eq!(weighed(&network, &Evidence(agreeing.clone()), &[]).conflicts, Vec::new());
    let against = agreeing.into_iter().chain([soft(4, [0.99, 0.003])]).collect();
    let found = weighed(&network, &Evidence(against), &[]).conflicts;
    assert!(found[0].item == 4 && found[0].factor >= CONFLICT, "{found:?}");
}
