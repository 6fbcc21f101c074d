//! What a course of action is expected to cost: minutes of stopped or held line until the complaint is gone.
//!
//! `ECR = Σ C_i · P(not gone before i) + P(not gone at the end) · call`, on joint states, so that a remedy which clears
//! one of two faults is worth its part (Heckerman, Breese, Rommelse 1995; method 1.1, 1.2). The order is greedy
//! by P/C and cut at the cheapest place, where somebody is sent instead.

use std::collections::{BTreeMap, BTreeSet};

/// One way things may be: which causes are there, how likely, and what is gone once some of them are cured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scenario {
    /// Causes present, by index; at most eight.
    pub causes: Vec<usize>,
    /// Its probability.
    pub weight: f64,
    /// For each subset of `causes` as bits: P(complaint gone once these are cured).
    pub gone: Vec<f64>,
}

impl Scenario {
    /// The causes that the complaint comes from: curing one of them can end it, alone or with others.
    fn behind(&self) -> Vec<usize> {
        let eases = |place: usize| {
            let with = |set: usize| self.gone[set | 1 << place];
            (0..self.gone.len()).any(|set| with(set) > self.gone[set] + EASES)
        };
        (0..self.causes.len()).filter(|&place| eases(place)).map(|place| self.causes[place]).collect()
    }
}

/// A remedy as the sums see it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Act {
    /// The cause that it cures, by index.
    pub cause: usize,
    /// P(doing it cures the cause).
    pub works: f64,
    /// Minutes in all: gates still open, lockout, doing, parts, proving run.
    pub minutes: f64,
    /// Minutes to undo it when it did not help.
    pub undo: f64,
    /// A part is replaced or it cannot be undone: not under even odds unless nothing else is left.
    pub weighty: bool,
}

/// A course of action and its cost.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Course {
    /// Expected minutes.
    pub minutes: f64,
    /// Acts by index, in order; empty means send somebody now.
    pub order: Vec<usize>,
    /// P(gone) of the first act.
    pub first_gone: f64,
}

/// Longest course looked at; beyond it somebody is sent.
const LONGEST: usize = 12;
/// Minutes that whoever comes spends on each way things may be, until the right one is found (judgement).
const LOOK: f64 = 10.0;
/// A cause is behind the complaint when curing it moves the chance that it is gone by more than this.
const EASES: f64 = 0.05;
/// An act that helps less than this is not worth naming in a course.
const LEAST_HELP: f64 = 1e-4;
/// Two causes are weighed together when they share at least this much of the probability.
const SHARED: f64 = 0.02;

/// What the sums walk over: the scenarios, the acts, and where each act bears.
#[derive(Debug, Clone)]
pub(super) struct Field {
    /// How things may be.
    pub scenarios: Vec<Scenario>,
    /// What could be done.
    pub acts: Vec<Act>,
    /// For each act the scenarios with its cause, and the place of the cause in them.
    bears: Vec<Vec<(usize, usize)>>,
    /// For each scenario which set of faults the complaint comes from; what is there besides does not count.
    ways: Vec<usize>,
}

impl Field {
    pub(super) fn new(scenarios: Vec<Scenario>, acts: Vec<Act>) -> Self {
        let place = |scenario: &Scenario, act: &Act| scenario.causes.iter().position(|own| *own == act.cause);
        let with = |act: &Act| {
            let each = scenarios.iter().enumerate();
            each.filter_map(|(index, scenario)| Some((index, place(scenario, act)?))).collect()
        };
        let bears = acts.iter().map(with).collect();
        let mut sets = BTreeMap::new();
        let mut way = |scenario: &Scenario| {
            let next = sets.len();
            *sets.entry(scenario.behind()).or_insert(next)
        };
        let ways = scenarios.iter().map(&mut way).collect();
        Self { scenarios, acts, bears, ways }
    }

    /// Minutes of search on arrival: whoever comes looks for one set of faults after the other, the likeliest first.
    fn search(&self, weights: &[f64], total: f64) -> f64 {
        let mut sets = vec![0.0; self.ways.iter().max().map_or(0, |last| last + 1)];
        self.ways.iter().zip(weights).for_each(|(way, weight)| sets[*way] += weight / total);
        sets.sort_by(|a: &f64, b| b.total_cmp(a));
        let place = |(place, weight): (usize, &f64)| (place + 1) as f64 * weight;
        LOOK * sets.iter().enumerate().map(place).sum::<f64>()
    }

    /// The best greedy course under these weights of the scenarios (they need not sum to one), with one act left out
    /// if asked.
    pub(super) fn course(&self, weights: &[f64], call: f64, without: Option<usize>) -> Course {
        let total: f64 = weights.iter().sum();
        if total <= 0.0 {
            return Course { minutes: call, order: Vec::new(), first_gone: 0.0 };
        }
        let call = call + self.search(weights, total);
        let mut state = State::new(self, weights, total, without);
        let mut order: Vec<usize> = Vec::new();
        let (mut spent, mut first_gone) = (0.0, 0.0);
        let mut best = (state.left * call, 0);
        while order.len() < LONGEST {
            let Some((act, after)) = state.next() else { break };
            let helped = 1.0 - after / state.left;
            spent += state.left * (self.acts[act].minutes + self.acts[act].undo * (1.0 - helped));
            if order.is_empty() {
                first_gone = helped;
            }
            order.push(act);
            state.cure(act);
            if spent + state.left * call < best.0 {
                best = (spent + state.left * call, order.len());
            }
            if spent >= best.0 {
                break;
            }
        }
        order.truncate(best.1);
        let first_gone = if order.is_empty() { 0.0 } else { first_gone };
        Course { minutes: best.0, order, first_gone }
    }
}

struct State<'a> {
    field: &'a Field,
    weights: Vec<f64>,
    /// Acts still to be done.
    free: Vec<usize>,
    /// For each scenario and each of its causes P(not cured yet).
    open: Vec<Vec<f64>>,
    /// For each scenario P(complaint still there).
    stays: Vec<f64>,
    /// P(complaint still there).
    left: f64,
}

impl<'a> State<'a> {
    fn new(field: &'a Field, weights: &[f64], total: f64, without: Option<usize>) -> Self {
        let weights = weights.iter().map(|w| w / total).collect();
        let free = (0..field.acts.len()).filter(|act| Some(*act) != without).collect();
        let open = field.scenarios.iter().map(|scenario| vec![1.0; scenario.causes.len()]).collect();
        let mut state = Self { field, weights, free, open, stays: Vec::new(), left: 1.0 };
        state.stays = (0..field.scenarios.len()).map(|place| state.stays(place, |_| 1.0)).collect();
        state.left = state.still_there();
        state
    }

    fn still_there(&self) -> f64 {
        let each = self.stays.iter().zip(&self.weights);
        each.map(|(stays, weight)| weight * stays).sum::<f64>().max(f64::MIN_POSITIVE)
    }

    /// P(complaint stays | scenario) with what has been done, each cause by its place left open so much more.
    fn stays(&self, scenario: usize, more: impl Fn(usize) -> f64 + Copy) -> f64 {
        fn fold(gone: &[f64], open: &[f64], more: impl Fn(usize) -> f64 + Copy) -> f64 {
            let Some((last, rest)) = open.split_last() else { return 1.0 - gone[0] };
            let (uncured, cured) = gone.split_at(gone.len() / 2);
            let open = last * more(rest.len());
            open * fold(uncured, rest, more) + (1.0 - open) * fold(cured, rest, more)
        }
        fold(&self.field.scenarios[scenario].gone, &self.open[scenario], more)
    }

    /// The act with the best P/C; weighty ones wait for even odds or until nothing else is left.
    fn next(&self) -> Option<(usize, f64)> {
        let mut best: [Option<(f64, usize, f64)>; 2] = [None, None];
        for &index in &self.free {
            let act = &self.field.acts[index];
            let after = self.with(index);
            let helped = 1.0 - after / self.left;
            if helped < LEAST_HELP {
                continue;
            }
            let ratio = helped / (act.minutes + act.undo * (1.0 - helped)).max(0.01);
            let rank = usize::from(act.weighty && helped < 0.5);
            if best[rank].is_none_or(|(known, ..)| ratio > known) {
                best[rank] = Some((ratio, index, after));
            }
        }
        let single = best[0].or(best[1]);
        let pair = self.best_pair();
        match (single, pair) {
            (Some((ratio, index, after)), Some((pair, ..))) if ratio >= pair => Some((index, after)),
            (_, Some((_, first))) => Some((first, self.with(first))),
            (Some((_, index, after)), None) => Some((index, after)),
            (None, None) => None,
        }
    }

    /// Two faults at once: neither remedy alone ends the complaint, so the two are weighed together. Gives the
    /// ratio of the pair and which of them to do first.
    fn best_pair(&self) -> Option<(f64, usize)> {
        let acts = &self.field.acts;
        let mut best: Option<(f64, usize)> = None;
        for (a, b) in self.pairs() {
            let helped = 1.0 - self.with_both(a, b) / self.left;
            let ratio = helped / (acts[a].minutes + acts[b].minutes).max(0.01);
            if helped > LEAST_HELP && best.is_none_or(|(known, _)| ratio > known) {
                best = Some((ratio, if self.with(b) < self.with(a) { b } else { a }));
            }
        }
        best
    }

    /// Acts for two causes that share a likely enough scenario, in order.
    fn pairs(&self) -> BTreeSet<(usize, usize)> {
        let heavy = self.field.scenarios.iter().zip(&self.weights).filter(|(_, weight)| **weight >= SHARED);
        let mut pairs = BTreeSet::new();
        for (scenario, _) in heavy.filter(|(scenario, _)| scenario.causes.len() > 1) {
            let fits = |act: &&usize| {
                let act = &self.field.acts[**act];
                !act.weighty && scenario.causes.contains(&act.cause)
            };
            let fitting: Vec<usize> = self.free.iter().filter(fits).copied().collect();
            for (place, &a) in fitting.iter().enumerate() {
                let others = fitting[place + 1..].iter();
                let apart = |b: &&usize| self.field.acts[**b].cause != self.field.acts[a].cause;
                pairs.extend(others.filter(apart).map(|&b| (a, b)));
            }
        }
        pairs
    }

    /// P(complaint still there) after one act more.
    fn with(&self, act: usize) -> f64 {
        let fails = 1.0 - self.field.acts[act].works;
        let mut after = self.left;
        for &(scenario, place) in &self.field.bears[act] {
            after -= self.eased(scenario, |at| if at == place { fails } else { 1.0 });
        }
        after.max(f64::MIN_POSITIVE)
    }

    /// P(complaint still there) after two acts more, for two different causes.
    fn with_both(&self, a: usize, b: usize) -> f64 {
        let acts = &self.field.acts;
        let places: BTreeSet<usize> = [a, b]
            .iter()
            .flat_map(|act| self.field.bears[*act].iter().map(|(scenario, _)| *scenario))
            .collect();
        let mut after = self.left;
        for scenario in places {
            let causes = &self.field.scenarios[scenario].causes;
            let fails = |at: usize| {
                let done = [a, b].into_iter().find(|act| acts[*act].cause == causes[at]);
                done.map_or(1.0, |act| 1.0 - acts[act].works)
            };
            after -= self.eased(scenario, fails);
        }
        after.max(f64::MIN_POSITIVE)
    }

    /// How much less likely the complaint stays through a scenario, each of its causes left open so much more.
    fn eased(&self, scenario: usize, more: impl Fn(usize) -> f64 + Copy) -> f64 {
        let weight = self.weights[scenario];
        if weight > 0.0 { weight * (self.stays[scenario] - self.stays(scenario, more)) } else { 0.0 }
    }

    fn cure(&mut self, act: usize) {
        self.free.retain(|free| *free != act);
        for &(scenario, place) in &self.field.bears[act] {
            self.open[scenario][place] *= 1.0 - self.field.acts[act].works;
            self.stays[scenario] = self.stays(scenario, |_| 1.0);
        }
        self.left = self.still_there();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alone(cause: usize, weight: f64) -> Scenario {
        Scenario { causes: vec![cause], weight, gone: vec![0.0, 1.0] }
    }

    fn act(cause: usize, minutes: f64) -> Act {
        Act { cause, works: 1.0, minutes, undo: 0.0, weighty: false }
    }

    fn course(scenarios: Vec<Scenario>, acts: Vec<Act>, call: f64) -> Course {
        let weights: Vec<f64> = scenarios.iter().map(|s| s.weight).collect();
        Field::new(scenarios, acts).course(&weights, call, None)
    }

    #[test]
    fn one_fault_and_sure_remedies_are_done_by_falling_p_over_c() {
        let scenarios = vec![alone(0, 0.5), alone(1, 0.3), alone(2, 0.2)];
        let acts = vec![act(0, 10.0), act(1, 2.0), act(2, 4.0)];
        let course = course(scenarios, acts, 1000.0);
        assert_eq!(course.order, [1, 0, 2]);
        // 2 + 0.7·10 + 0.2·4, by hand.
        assert!((course.minutes - 9.8).abs() < 1e-9, "{}", course.minutes);
        assert!((course.first_gone - 0.3).abs() < 1e-9);
    }

    #[test]
    fn somebody_is_sent_when_that_is_cheaper() {
        let scenarios = vec![alone(0, 0.1), Scenario { causes: vec![9], weight: 0.9, gone: vec![0.0, 0.0] }];
        let cheap = course(scenarios, vec![act(0, 30.0)], 60.0);
        // The way there, and a look at the one way or at both: 60 + 0.9·10 + 0.1·20, by hand.
        assert!(cheap.order.is_empty() && (cheap.minutes - 71.0).abs() < 1e-9, "{}", cheap.minutes);
    }

    #[test]
    fn a_remedy_for_one_of_two_faults_is_worth_its_part() {
        let both = vec![Scenario { causes: vec![0, 1], weight: 1.0, gone: vec![0.0, 0.0, 0.0, 1.0] }];
        let course = course(both, vec![act(0, 5.0), act(1, 5.0)], 1000.0);
        // Neither alone ends the complaint, both together do.
        assert_eq!(course.order, [0, 1]);
        assert!((course.minutes - 10.0).abs() < 1e-9);
    }

    #[test]
    fn parts_wait_for_even_odds() {
        let scenarios = vec![alone(0, 0.45), alone(1, 0.55)];
        let weighty = Act { weighty: true, ..act(0, 1.0) };
        let course = course(scenarios, vec![weighty, act(1, 20.0)], 1000.0);
        assert_eq!(course.order, [1, 0]);
    }
}
