//! What a course of action is expected to cost: minutes of stopped or held line until the complaint is gone.
//!
//! `ECR = Σ C_i · P(not gone before i) + P(not gone at the end) · call`, on joint states, so that a remedy which clears
//! one of two faults is worth its part (Heckerman, Breese, Rommelse 1995; method 1.1, 1.2). The order is greedy
//! by P/C and cut at the cheapest place, where somebody is sent instead.

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
/// An act that helps less than this is not worth naming in a course.
const LEAST_HELP: f64 = 1e-4;
/// Two causes are weighed together when they share at least this much of the probability.
const SHARED: f64 = 0.02;

/// The best greedy course under these weights of the scenarios (they need not sum to one).
pub(super) fn course(scenarios: &[Scenario], weights: &[f64], acts: &[Act], call: f64) -> Course {
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return Course { minutes: call, order: Vec::new(), first_gone: 0.0 };
    }
    let mut state = State::new(scenarios, weights, total);
    let mut order: Vec<usize> = Vec::new();
    let (mut spent, mut first_gone) = (0.0, 0.0);
    let mut best = (state.left * call, 0);
    while order.len() < LONGEST {
        let Some((act, after)) = state.next(acts, &order) else { break };
        let helped = 1.0 - after / state.left;
        spent += state.left * (acts[act].minutes + acts[act].undo * (1.0 - helped));
        if order.is_empty() {
            first_gone = helped;
        }
        order.push(act);
        state.cure(acts[act].cause, acts[act].works);
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

struct State<'a> {
    scenarios: &'a [Scenario],
    weights: Vec<f64>,
    /// For each scenario and each of its causes P(not cured yet).
    open: Vec<Vec<f64>>,
    /// For each scenario P(complaint still there).
    stays: Vec<f64>,
    /// P(complaint still there).
    left: f64,
}

impl<'a> State<'a> {
    fn new(scenarios: &'a [Scenario], weights: &[f64], total: f64) -> Self {
        let weights = weights.iter().map(|w| w / total).collect();
        let open = scenarios.iter().map(|scenario| vec![1.0; scenario.causes.len()]).collect();
        let mut state = Self { scenarios, weights, open, stays: Vec::new(), left: 1.0 };
        state.stays = (0..scenarios.len()).map(|place| state.stays(place, &[])).collect();
        state.left = state.still_there();
        state
    }

    fn still_there(&self) -> f64 {
        let each = self.stays.iter().zip(&self.weights);
        each.map(|(stays, weight)| weight * stays).sum::<f64>().max(f64::MIN_POSITIVE)
    }

    /// P(complaint stays | scenario) with what has been done, and these (cause, works) more: cause by cause, the last bit first.
    fn stays(&self, scenario: usize, also: &[(usize, f64)]) -> f64 {
        let Scenario { causes, gone, .. } = &self.scenarios[scenario];
        let mut left: Vec<f64> = gone.iter().map(|gone| 1.0 - gone).collect();
        for (&cause, open) in causes.iter().zip(&self.open[scenario]).rev() {
            let more = also.iter().filter(|(act, _)| *act == cause);
            let open = more.fold(*open, |open, (_, works)| open * (1.0 - works));
            let half = left.len() / 2;
            let (uncured, cured) = left.split_at_mut(half);
            uncured.iter_mut().zip(cured).for_each(|(uncured, cured)| {
                *uncured = open * *uncured + (1.0 - open) * *cured;
            });
            left.truncate(half);
        }
        left[0]
    }

    /// The act with the best P/C; weighty ones wait for even odds or until nothing else is left.
    fn next(&self, acts: &[Act], done: &[usize]) -> Option<(usize, f64)> {
        let mut best: [Option<(f64, usize, f64)>; 2] = [None, None];
        for (index, act) in acts.iter().enumerate().filter(|(index, _)| !done.contains(index)) {
            let after = self.with(act);
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
        let pair = self.best_pair(acts, done);
        match (single, pair) {
            (Some((ratio, index, after)), Some((pair, ..))) if ratio >= pair => Some((index, after)),
            (_, Some((_, first))) => Some((first, self.with(&acts[first]))),
            (Some((_, index, after)), None) => Some((index, after)),
            (None, None) => None,
        }
    }

    /// Two faults at once: neither remedy alone ends the complaint, so the two are weighed together. Gives the
    /// ratio of the pair and which of them to do first.
    fn best_pair(&self, acts: &[Act], done: &[usize]) -> Option<(f64, usize)> {
        let mut best: Option<(f64, usize)> = None;
        let heavy = self.scenarios.iter().zip(&self.weights).filter(|(_, weight)| **weight >= SHARED);
        let heavy: Vec<&[usize]> =
            heavy.map(|(s, _)| &s.causes[..]).filter(|causes| causes.len() > 1).collect();
        let together = |a, b| heavy.iter().any(|causes| causes.contains(&a) && causes.contains(&b));
        let open = |index: &usize| !done.contains(index) && !acts[*index].weighty;
        for a in (0..acts.len()).filter(open) {
            for b in (a + 1..acts.len()).filter(open) {
                if acts[a].cause == acts[b].cause || !together(acts[a].cause, acts[b].cause) {
                    continue;
                }
                let also = [(acts[a].cause, acts[a].works), (acts[b].cause, acts[b].works)];
                let helped = 1.0 - self.after(&also) / self.left;
                let ratio = helped / (acts[a].minutes + acts[b].minutes).max(0.01);
                if helped > LEAST_HELP && best.is_none_or(|(known, _)| ratio > known) {
                    let first = if self.with(&acts[b]) < self.with(&acts[a]) { b } else { a };
                    best = Some((ratio, first));
                }
            }
        }
        best
    }

    /// P(complaint still there) after these acts more.
    fn after(&self, also: &[(usize, f64)]) -> f64 {
        let mut after = self.left;
        for (place, (scenario, weight)) in self.scenarios.iter().zip(&self.weights).enumerate() {
            if *weight > 0.0 && also.iter().any(|(cause, _)| scenario.causes.contains(cause)) {
                after -= weight * (self.stays[place] - self.stays(place, also));
            }
        }
        after.max(f64::MIN_POSITIVE)
    }

    fn with(&self, act: &Act) -> f64 {
        self.after(&[(act.cause, act.works)])
    }

    fn cure(&mut self, cause: usize, works: f64) {
        for place in 0..self.scenarios.len() {
            let causes = &self.scenarios[place].causes;
            if let Some(bit) = causes.iter().position(|own| *own == cause) {
                self.open[place][bit] *= 1.0 - works;
                self.stays[place] = self.stays(place, &[]);
            }
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

    fn weights(scenarios: &[Scenario]) -> Vec<f64> {
        scenarios.iter().map(|s| s.weight).collect()
    }

    #[test]
    fn one_fault_and_sure_remedies_are_done_by_falling_p_over_c() {
        let scenarios = [alone(0, 0.5), alone(1, 0.3), alone(2, 0.2)];
        let acts = [act(0, 10.0), act(1, 2.0), act(2, 4.0)];
        let course = course(&scenarios, &weights(&scenarios), &acts, 1000.0);
        assert_eq!(course.order, [1, 0, 2]);
        // 2 + 0.7·10 + 0.2·4, by hand.
        assert!((course.minutes - 9.8).abs() < 1e-9, "{}", course.minutes);
        assert!((course.first_gone - 0.3).abs() < 1e-9);
    }

    #[test]
    fn somebody_is_sent_when_that_is_cheaper() {
        let scenarios = [alone(0, 0.1), Scenario { causes: vec![9], weight: 0.9, gone: vec![0.0, 0.0] }];
        let cheap = course(&scenarios, &weights(&scenarios), &[act(0, 30.0)], 60.0);
        assert!(cheap.order.is_empty() && (cheap.minutes - 60.0).abs() < 1e-9);
    }

    #[test]
    fn a_remedy_for_one_of_two_faults_is_worth_its_part() {
        let both = [Scenario { causes: vec![0, 1], weight: 1.0, gone: vec![0.0, 0.0, 0.0, 1.0] }];
        let course = course(&both, &[1.0], &[act(0, 5.0), act(1, 5.0)], 1000.0);
        // Neither alone ends the complaint, both together do.
        assert_eq!(course.order, [0, 1]);
        assert!((course.minutes - 10.0).abs() < 1e-9);
    }

    #[test]
    fn parts_wait_for_even_odds() {
        let scenarios = [alone(0, 0.45), alone(1, 0.55)];
        let weighty = Act { weighty: true, ..act(0, 1.0) };
        let course = course(&scenarios, &weights(&scenarios), &[weighty, act(1, 20.0)], 1000.0);
        assert_eq!(course.order, [1, 0]);
    }
}
