//! The belief on machines made up from its own model: it is as sure as it ought to be, and hardly ever doubts a clean call.

use handlamp::belief::{Check, Evidence, Item, Moment, Reach, leading, posterior, readings};
use handlamp::casebook::Case;
use handlamp::ids::FindingId;
use handlamp::knowledge::{FindingKind, Knowledge, Texts, load};
use handlamp::plan::as_asked;
use handlamp::rehearse::{Nameable, World};
use handlamp::walk::{Desk, said};
use handlamp::weights::generate::Dice;

/// Checks answered in each made-up call.
const ANSWERS: usize = 8;
/// Half the width of a 99 % band, in standard errors.
const BAND: f64 = 2.576;

struct Asked {
    name: String,
    check: Check,
    cheap: bool,
}

fn asked(desk: &Desk<'_>) -> Vec<Asked> {
    let of = |check: &&handlamp::knowledge::Check| -> Option<Asked> {
        desk.model.tables.get(&check.id).filter(|table| !table.findings.is_empty())?;
        let cheap = check.work.minutes <= 3.0 && !desk.view.machine.exposures(&check.work).hands_on();
        let table = as_asked(&desk.model, &desk.view, check);
        Some(Asked { name: check.id.as_str().to_owned(), check: table, cheap })
    };
    desk.view.checks.iter().filter_map(of).collect()
}

fn desk(knowledge: &Knowledge) -> Desk<'_> {
    let machine = knowledge.machines.keys().next().unwrap().clone();
    Desk::for_case(knowledge, &Case::of(machine)).unwrap()
}

/// Some different checks answered by a world, and which of the answers could cheaply be asked for again.
fn answered(world: &World<'_>, asked: &[Asked], dice: &mut Dice) -> (Vec<Item>, Vec<bool>) {
    let mut left: Vec<usize> = (0..asked.len()).collect();
    let mut answers = Vec::new();
    while answers.len() < ANSWERS && !left.is_empty() {
        let asked = &asked[left.swap_remove(dice.below(left.len()))];
        let (outcome, _) = world.answer(&asked.check, &asked.name, 0);
        let item = Item::Answer {
            findings: asked.check.findings.clone(),
            likelihood: asked.check.outcomes[outcome].clone(),
            moment: asked.check.moment,
        };
        answers.push((item, asked.cheap));
    }
    answers.into_iter().unzip()
}

/// Brier and log score of one call, summed over the causes.
fn scores(believed: &[f64], truth: &[bool]) -> [f64; 2] {
    let mut scores = [0.0, 0.0];
    for (&p, &there) in believed.iter().zip(truth) {
        let said = if there { p } else { 1.0 - p };
        scores[0] += (1.0 - said).powi(2);
        scores[1] -= said.max(1e-300).ln();
    }
    scores
}

/// What the scores are expected to be if the belief is right.
fn expected(believed: &[f64]) -> [f64; 2] {
    let entropy = |p: f64| if p > 0.0 { -p * p.ln() } else { 0.0 };
    let brier = believed.iter().map(|p| p * (1.0 - p)).sum();
    [brier, believed.iter().map(|&p| entropy(p) + entropy(1.0 - p)).sum()]
}

#[test]
fn brier_and_log_score_on_the_tiny_book_lie_within_the_bands_of_truths_drawn_from_the_belief() {
    const CALLS: u64 = 2000;
    const DRAWS: usize = 400;
    let knowledge = load(&Texts::built_in().overlaid_by("tests/kb/minimal".as_ref())).0;
    let desk = desk(&knowledge);
    let (network, asked) = (&desk.model.network, asked(&desk));
    let mut dice = Dice::new(23);
    let (mut real, mut drawn) = ([0.0; 2], vec![[0.0; 2]; DRAWS]);
    let whole = Reach { least: 0.0, cover: 2.0, weighed: 1000, kept: 1000, bystanders: true };
    for call in 0..CALLS {
        let world = World::any(network, call);
        let (mut items, _) = answered(&world, &asked, &mut dice);
        items.extend(spoken(&desk, &world, &mut dice));
        let evidence = Evidence(items);
        let posterior = posterior(network, &evidence).unwrap();
        let believed: Vec<f64> = posterior.causes.iter().map(|cause| cause.was).collect();
        let all = leading(network, &evidence, &posterior, whole).unwrap();
        assert!((all.iter().map(|c| c.probability).sum::<f64>() - 1.0).abs() < 1e-9);
        let add = |sum: &mut [f64; 2], truth: &[bool]| {
            sum.iter_mut().zip(scores(&believed, truth)).for_each(|(sum, score)| *sum += score);
        };
        add(&mut real, &world.there);
        for sum in &mut drawn {
            let mut left = dice.even();
            let there = all.iter().find(|combination| {
                left -= combination.probability;
                left < 0.0
            });
            let there = there.map_or(&[][..], |combination| combination.causes.as_slice());
            let truth: Vec<bool> = (0..believed.len()).map(|cause| there.contains(&cause)).collect();
            add(sum, &truth);
        }
    }
    for (score, name) in ["Brier", "log"].iter().enumerate() {
        let mut band: Vec<f64> = drawn.iter().map(|sum| sum[score]).collect();
        band.sort_by(f64::total_cmp);
        let (low, high) = (band[DRAWS / 200], band[DRAWS - 1 - DRAWS / 200]);
        assert!(low <= real[score] && real[score] <= high, "{name}: {} not in {low}..{high}", real[score]);
    }
}

/// What the caller says of every symptom of a world, named or not: here both are drawn from the model.
fn spoken(desk: &Desk<'_>, world: &World<'_>, dice: &mut Dice) -> Vec<Item> {
    let states = world.awake();
    let mut items = Vec::new();
    for symptom in nameable(desk) {
        let (there, not) = (symptom.hit, symptom.alarm);
        let named = dice.chance(if states[symptom.finding] > 0 { there } else { not });
        let likelihood = if named { vec![not, there] } else { vec![1.0 - not, 1.0 - there] };
        items.push(Item::Answer { findings: vec![symptom.finding], likelihood, moment: Moment::Bad });
    }
    items
}

fn nameable(desk: &Desk<'_>) -> Vec<Nameable> {
    let symptoms = desk.view.findings.iter().filter(|finding| finding.kind == FindingKind::Symptom);
    symptoms
        .map(|symptom| Nameable {
            finding: desk.model.finding(&symptom.id).unwrap(),
            hit: symptom.said.0,
            alarm: symptom.said.1,
        })
        .collect()
}

#[test]
fn brier_and_log_score_on_the_shipped_book_are_what_the_belief_itself_expects() {
    const CALLS: u64 = 250;
    let knowledge = load(&Texts::built_in()).0;
    let desk = desk(&knowledge);
    let (network, asked) = (&desk.model.network, asked(&desk));
    let mut dice = Dice::new(29);
    let mut over: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    for call in 0..CALLS {
        let world = World::any(network, call);
        let evidence = Evidence(answered(&world, &asked, &mut dice).0);
        let posterior = posterior(network, &evidence).unwrap();
        let believed: Vec<f64> = posterior.causes.iter().map(|cause| cause.was).collect();
        let (real, expected) = (scores(&believed, &world.there), expected(&believed));
        for score in 0..2 {
            over[score].push(real[score] - expected[score]);
        }
    }
    for (over, name) in over.iter().zip(["Brier", "log"]) {
        let n = over.len() as f64;
        let mean = over.iter().sum::<f64>() / n;
        let error = (over.iter().map(|o| (o - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt();
        assert!(error > 0.0 && mean.abs() <= BAND * error, "{name}: {mean} over, error {error}");
    }
}

#[test]
fn a_clean_call_hardly_ever_has_a_reading_worth_asking_again() {
    const CALLS: u64 = 200;
    let knowledge = load(&Texts::built_in()).0;
    let desk = desk(&knowledge);
    let (network, asked, symptoms) = (&desk.model.network, asked(&desk), nameable(&desk));
    let mut dice = Dice::new(31);
    let mut fired = 0;
    for call in 0..CALLS {
        let world = World::called_about(network, &symptoms, call).unwrap();
        let named = world.named.iter().map(|&f| desk.model.findings[f].clone());
        let mut items: Vec<Item> = named.filter_map(|id: FindingId| said(&desk, &id)).collect();
        let mut cheap = vec![true; items.len()];
        let (answers, their_cheap) = answered(&world, &asked, &mut dice);
        items.extend(answers);
        cheap.extend(their_cheap);
        let evidence = Evidence(items);
        let believed = posterior(network, &evidence).unwrap();
        let found = readings(network, &evidence, &believed, &[]).unwrap();
        fired += usize::from(found.conflicts.iter().any(|conflict| cheap[conflict.item]));
    }
    assert!(fired * 20 <= CALLS as usize, "{fired} of {CALLS} clean calls");
}
