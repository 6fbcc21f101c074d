//! The planner against the best plan there is, by exact dynamic programming on small random models (method 1.3 and 1.4): what is
//! measured is what following its advice to the end costs, step by step anew, against the optimum.

use std::collections::BTreeMap;

use handlamp::plan::{Act, Choice, Enquiry, Lockout, Move, Prospect, Scenario, choose};

use crate::dice::Dice;

/// One small model: one fault, remedies, questions and lockouts.
#[derive(Debug, Clone)]
struct Model {
    faults: Vec<f64>,
    acts: Vec<Act>,
    enquiries: Vec<Enquiry>,
    lockouts: Vec<Lockout>,
    call: f64,
}

/// What has been done and answered: acts and open lockouts as bits, answers by question (0 is not asked).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Node {
    done: usize,
    opened: usize,
    answers: Vec<usize>,
}

impl Model {
    fn start(&self) -> Node {
        Node { done: 0, opened: 0, answers: vec![0; self.enquiries.len()] }
    }

    /// P(this fault, these answers, and none of what was done cured it), by fault.
    fn masses(&self, node: &Node) -> Vec<f64> {
        let mass = |fault: usize| {
            let answered = node.answers.iter().zip(&self.enquiries).filter(|(answer, _)| **answer > 0);
            let answers: f64 = answered.map(|(answer, asked)| asked.chances[fault][answer - 1]).product();
            let done = (0..self.acts.len()).filter(|act| node.done >> act & 1 == 1);
            done.fold(self.faults[fault] * answers, |mass, act| mass * (1.0 - works(&self.acts[act], fault)))
        };
        (0..self.faults.len()).map(mass).collect()
    }

    fn left(&self, node: &Node) -> f64 {
        self.masses(node).iter().sum()
    }

    /// What is left to choose from, as the planner takes it.
    fn prospect(&self, node: &Node) -> (Prospect, Vec<usize>, Vec<usize>) {
        let masses = self.masses(node);
        let total: f64 = masses.iter().sum();
        let scenario = |(fault, mass): (usize, &f64)| Scenario {
            causes: vec![fault],
            weight: mass / total,
            gone: vec![0.0, 1.0],
        };
        let acts: Vec<usize> = (0..self.acts.len()).filter(|act| node.done >> act & 1 == 0).collect();
        let open: Vec<usize> = (0..self.enquiries.len()).filter(|&q| node.answers[q] == 0).collect();
        let stands = |(place, lockout): (usize, &Lockout)| Lockout {
            stands: node.opened >> place & 1 == 1,
            ..*lockout
        };
        let prospect = Prospect::new(
            masses.iter().enumerate().map(scenario).collect(),
            (
                acts.iter().map(|&act| self.acts[act].clone()).collect(),
                open.iter().map(|&q| self.enquiries[q].clone()).collect(),
            ),
            self.lockouts.iter().enumerate().map(stands).collect(),
            (self.call, 0.0),
        );
        (prospect, acts, open)
    }

    /// Minutes, times the probability of being here, of doing these acts and one proof; and where that leads.
    fn done(&self, node: &Node, acts: &[usize]) -> (f64, Node) {
        let lockout = self.acts[acts[0]].lockout;
        let around =
            lockout.filter(|at| node.opened >> at & 1 == 0).map_or(0.0, |at| self.lockouts[at].around);
        let minutes: f64 = acts.iter().map(|&act| self.acts[act].minutes).sum();
        let proof = acts.iter().map(|&act| self.acts[act].proof).fold(0.0, f64::max);
        let mut after = node.clone();
        acts.iter().for_each(|act| after.done |= 1 << act);
        if let Some(at) = lockout.filter(|&at| self.lockouts[at].proves_inside) {
            after.opened |= 1 << at;
        }
        (self.left(node) * (around + minutes + proof), after)
    }

    fn asked(&self, node: &Node, question: usize) -> (f64, Vec<Node>) {
        let outcomes = self.enquiries[question].chances[0].len();
        let answer = |outcome: usize| {
            let mut after = node.clone();
            after.answers[question] = outcome + 1;
            after
        };
        (self.left(node) * self.enquiries[question].minutes, (0..outcomes).map(answer).collect())
    }
}

fn works(act: &Act, fault: usize) -> f64 {
    act.cures.iter().find(|(cause, _)| *cause == fault).map_or(0.0, |(_, works)| *works)
}

/// Every batch that can be done before one proof: one act, or any set of acts of a lockout that must be shut for it.
fn batches(model: &Model, node: &Node) -> Vec<Vec<usize>> {
    let free = |act: &usize| node.done >> act & 1 == 0;
    let mut all: Vec<Vec<usize>> = Vec::new();
    for (at, lockout) in model.lockouts.iter().enumerate().filter(|(_, lockout)| !lockout.proves_inside) {
        debug_assert!(!lockout.proves_inside);
        let inside: Vec<usize> =
            (0..model.acts.len()).filter(free).filter(|&act| model.acts[act].lockout == Some(at)).collect();
        let member = |set: usize| {
            inside.iter().enumerate().filter(move |(bit, _)| set >> bit & 1 == 1).map(|(_, act)| *act)
        };
        all.extend((1..1usize << inside.len()).map(|set| member(set).collect()));
    }
    let alone = |act: &usize| model.acts[*act].lockout.is_none_or(|at| model.lockouts[at].proves_inside);
    all.extend((0..model.acts.len()).filter(free).filter(alone).map(|act| vec![act]));
    all
}

/// The cost of the best plan there is.
fn optimum(model: &Model, node: &Node, known: &mut BTreeMap<Node, f64>) -> f64 {
    if let Some(&cost) = known.get(node) {
        return cost;
    }
    let mut best = model.left(node) * model.call;
    for batch in batches(model, node) {
        let (cost, after) = model.done(node, &batch);
        if cost < best {
            best = best.min(cost + optimum(model, &after, known));
        }
    }
    for question in (0..model.enquiries.len()).filter(|&q| node.answers[q] == 0) {
        let (mut cost, after) = model.asked(node, question);
        for node in &after {
            cost += optimum(model, node, known);
        }
        best = best.min(cost);
    }
    known.insert(node.clone(), best);
    best
}

/// The cost of following the planner's advice, asked anew at every step.
fn followed(model: &Model, node: &Node, known: &mut BTreeMap<Node, f64>) -> f64 {
    let left = model.left(node);
    if left < 1e-12 {
        return 0.0;
    }
    if let Some(&cost) = known.get(node) {
        return cost;
    }
    let (prospect, acts, open) = model.prospect(node);
    let Choice { best, .. } = choose(&prospect);
    let cost = match best {
        Move::Call => left * model.call,
        Move::Do(batch) => {
            let batch: Vec<usize> = batch.iter().map(|&act| acts[act]).collect();
            let (cost, after) = model.done(node, &batch);
            cost + followed(model, &after, known)
        }
        Move::Ask(question) => {
            let (cost, after) = model.asked(node, open[question]);
            cost + after.iter().map(|node| followed(model, node, known)).sum::<f64>()
        }
    };
    known.insert(node.clone(), cost);
    cost
}

/// How far above the optimum the advice is, over so many models: mean and worst share.
fn gaps(count: usize, mut model: impl FnMut(&mut Dice) -> Model) -> (f64, f64) {
    let mut dice = Dice(20_261_125);
    let (mut sum, mut worst) = (0.0, 0.0_f64);
    for _ in 0..count {
        let model = model(&mut dice);
        let start = model.start();
        let best = optimum(&model, &start, &mut BTreeMap::new());
        let advised = followed(&model, &start, &mut BTreeMap::new());
        assert!(advised >= best - 1e-9, "advice cannot beat the optimum: {advised} under {best}");
        let bound = choose(&model.prospect(&start).0).at_least;
        assert!(bound <= best + 1e-9, "the bound is proven: {bound} over {best}");
        let gap = advised / best - 1.0;
        sum += gap;
        worst = worst.max(gap);
    }
    (sum / count as f64, worst)
}

/// Faults that share the probability unevenly.
fn faults(dice: &mut Dice, count: usize) -> Vec<f64> {
    let shares: Vec<f64> = (0..count).map(|_| -f64::ln(1.0 - dice.between(0.0, 1.0))).collect();
    let total: f64 = shares.iter().sum();
    shares.into_iter().map(|share| share / total).collect()
}

/// Each act cures its own fault; some are done in lockouts.
fn locked_out(
    dice: &mut Dice,
    (acts, lockouts, outside): (usize, usize, usize),
    proves_inside: bool,
) -> Model {
    let act = |dice: &mut Dice, place: usize, lockout| Act {
        cures: vec![(place, if proves_inside { 1.0 } else { 0.6 + 0.4 * dice.between(0.0, 1.0) })],
        minutes: 1.0 + 9.0 * dice.between(0.0, 1.0),
        proof: if proves_inside { 0.0 } else { 1.0 + 5.0 * dice.between(0.0, 1.0) },
        undo: 0.0,
        weighty: false,
        lockout,
    };
    let faults = faults(dice, acts + outside);
    let mut all: Vec<Act> = (0..acts).map(|place| act(dice, place, Some(place % lockouts))).collect();
    all.extend((acts..acts + outside).map(|place| act(dice, place, None)));
    if !proves_inside {
        let proof = all[0].proof;
        all.iter_mut().for_each(|act| act.proof = proof);
    }
    let lockout = |dice: &mut Dice| Lockout {
        around: 2.0 + 18.0 * dice.between(0.0, 1.0),
        proves_inside,
        stands: false,
    };
    Model {
        faults,
        acts: all,
        enquiries: Vec::new(),
        lockouts: (0..lockouts).map(|_| lockout(dice)).collect(),
        call: if proves_inside { 10_000.0 } else { 60.0 + 120.0 * dice.between(0.0, 1.0) },
    }
}

/// Acts that cure one to three faults, a few unsure questions, a service call.
fn overlapping(dice: &mut Dice, (faults_there, acts, questions): (usize, usize, usize)) -> Model {
    let act = |dice: &mut Dice, _| {
        let mut cures = BTreeMap::new();
        for _ in 0..=dice.below(3) {
            cures.insert(dice.below(faults_there), 0.6 + 0.4 * dice.between(0.0, 1.0));
        }
        Act {
            cures: cures.into_iter().collect(),
            minutes: 1.0 + 9.0 * dice.between(0.0, 1.0),
            proof: 0.0,
            undo: 0.0,
            weighty: false,
            lockout: None,
        }
    };
    let question = |dice: &mut Dice, _| {
        let chance = |dice: &mut Dice| {
            let yes = [0.95, 0.05, 0.5][dice.below(3)];
            vec![yes, 1.0 - yes]
        };
        Enquiry {
            minutes: 0.5 + 2.5 * dice.between(0.0, 1.0),
            chances: (0..faults_there).map(|_| chance(dice)).collect(),
            lockout: None,
            shuts: false,
        }
    };
    Model {
        faults: faults(dice, faults_there),
        acts: (0..acts).map(|place| act(dice, place)).collect(),
        enquiries: (0..questions).map(|place| question(dice, place)).collect(),
        lockouts: Vec::new(),
        call: 40.0,
    }
}

#[test]
fn with_a_proof_inside_the_lockout_its_order_is_the_best_there_is() {
    for (acts, lockouts) in [(8, 2), (10, 3), (12, 4)] {
        let (mean, worst) = gaps(300, |dice| locked_out(dice, (acts, lockouts, 0), true));
        told(&format!(
            "proof inside, {acts} acts in {lockouts}: mean {:.4} %, worst {:.3} %",
            mean * 100.0,
            worst * 100.0
        ));
        assert!(worst < 1e-9, "{acts} acts, {lockouts} lockouts: mean {mean}, worst {worst}");
    }
}

#[test]
fn where_the_guard_must_be_shut_for_a_proof_it_is_nearly_the_best_there_is() {
    let (mut mean, mut worst) = (0.0, 0.0_f64);
    let shapes = [(6, 1, 3), (8, 2, 2), (10, 2, 2)];
    for shape in shapes {
        let (own, most) = gaps(100, |dice| locked_out(dice, shape, false));
        told(&format!("guard shut, {shape:?}: mean {:.4} %, worst {:.3} %", own * 100.0, most * 100.0));
        mean += own / shapes.len() as f64;
        worst = worst.max(most);
    }
    assert!(mean <= 0.002 && worst <= 0.02, "mean {mean}, worst {worst}");
}

#[test]
fn with_overlapping_remedies_and_unsure_questions_it_is_nearly_the_best_there_is() {
    for (shape, count) in [((6, 6, 0), 60), ((6, 6, 2), 60), ((8, 7, 3), 60)] {
        let (mean, worst) = gaps(count, |dice| overlapping(dice, shape));
        told(&format!("overlapping, {shape:?}: mean {:.4} %, worst {:.3} %", mean * 100.0, worst * 100.0));
        assert!(mean <= 0.003 && worst <= 0.03, "{shape:?}: mean {mean}, worst {worst}");
    }
}

/// Prints a figure for the table in DEVELOPERS.md; shown with `-- --nocapture`.
#[expect(clippy::print_stdout, reason = "figures of a test, asked for by name")]
fn told(line: &str) {
    println!("{line}");
}
