//! What a choice of the next step is made from, as numbers alone: how things may be, what could be done, what could be asked,
//! and what each costs.
//!
//! Everything is kept on joint states of the causes, so that a remedy which clears one of two faults is worth its part
//! (Heckerman, Breese, Rommelse 1995).

use std::collections::{BTreeMap, BTreeSet};

/// One way things may be: which causes are there, how likely, and what is gone once some of them are cured.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Causes present, by index; at most [`crate::belief::MOST_TOGETHER`].
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

    /// Whether two causes, by their places, must both be cured before curing either tells.
    fn hangs_on_both(&self, a: usize, b: usize) -> bool {
        let (a, b) = (1 << a, 1 << b);
        let rest = (0..self.gone.len()).filter(|set| set & (a | b) == 0);
        let more =
            |set: usize| self.gone[set | a | b] - self.gone[set | a] - self.gone[set | b] + self.gone[set];
        rest.into_iter().any(|set| more(set) > EASES)
    }
}

/// A remedy as the sums see it.
#[derive(Debug, Clone, PartialEq)]
pub struct Act {
    /// The causes that it cures, by index, each with P(doing it cures the cause | it is there).
    pub cures: Vec<(usize, f64)>,
    /// Minutes of doing: gates still open, fetching, parts. Neither lockout nor proof.
    pub minutes: f64,
    /// Minutes until it is known whether the complaint is gone: the proving run.
    pub proof: f64,
    /// Minutes to undo it when it did not help.
    pub undo: f64,
    /// A part is replaced or it cannot be undone: not under even odds unless nothing else is left.
    pub weighty: bool,
    /// The lockout that it is done in, by index.
    pub lockout: Option<usize>,
}

/// A question, a measurement or a test as the sums see it.
#[derive(Debug, Clone, PartialEq)]
pub struct Enquiry {
    /// Minutes. No lockout.
    pub minutes: f64,
    /// `[scenario][outcome]` = P(outcome | scenario).
    pub chances: Vec<Vec<f64>>,
    /// The lockout that it is done in, by index.
    pub lockout: Option<usize>,
    /// The machine runs for it, so guards are shut before.
    pub shuts: bool,
}

/// What opening a guard costs: once, however many steps share it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lockout {
    /// Minutes to isolate and to restore.
    pub around: f64,
    /// Whether a remedy can be proved while it lasts. As a rule it cannot: the proving run needs the guard shut.
    pub proves_inside: bool,
    /// Whether it stands already.
    pub stands: bool,
}

/// How things may be, what could be done and asked about it, and what it costs to send somebody.
#[derive(Debug, Clone)]
pub struct Prospect {
    pub(super) scenarios: Vec<Scenario>,
    pub(super) acts: Vec<Act>,
    pub(super) enquiries: Vec<Enquiry>,
    pub(super) lockouts: Vec<Lockout>,
    pub(super) call: f64,
    look: f64,
    /// Where each scenario's causes begin in the flat lists of a state.
    pub(super) starts: Vec<usize>,
    /// For each act, by flat place, P(it leaves the cause there).
    pub(super) fails: Vec<Vec<f64>>,
    /// For each act the scenarios with one of its causes.
    pub(super) bears: Vec<Vec<usize>>,
    /// Acts of which one alone does not tell.
    pub(super) pairs: Vec<Pair>,
    /// For each scenario which set of faults the complaint comes from; what is there besides does not count.
    ways: Vec<usize>,
}

/// A cause is behind the complaint when curing it moves the chance that it is gone by more than this.
const EASES: f64 = 0.05;

impl Prospect {
    /// Puts a choice together. `call` is minutes until somebody is there, `look` minutes of each look
    /// by which whoever comes halves what is still possible.
    pub fn new(
        scenarios: Vec<Scenario>,
        (acts, enquiries): (Vec<Act>, Vec<Enquiry>),
        lockouts: Vec<Lockout>,
        (call, look): (f64, f64),
    ) -> Self {
        let mut places = 0;
        let starts: Vec<usize> = scenarios
            .iter()
            .map(|scenario| {
                places += scenario.causes.len();
                places - scenario.causes.len()
            })
            .collect();
        let of_act = |act: &Act| {
            let cure = |cause: &usize| act.cures.iter().find(|(own, _)| own == cause);
            let fails = |cause| cure(cause).map_or(1.0, |(_, works)| 1.0 - works);
            let flat = scenarios.iter().flat_map(|s| &s.causes).map(fails).collect();
            let bears = |s: &Scenario| s.causes.iter().any(|cause| cure(cause).is_some());
            let bears = (0..scenarios.len()).filter(|&place| bears(&scenarios[place])).collect();
            (flat, bears)
        };
        let (fails, bears): (Vec<_>, Vec<_>) = acts.iter().map(of_act).unzip();
        let mut sets = BTreeMap::new();
        let mut way = |scenario: &Scenario| {
            let next = sets.len();
            *sets.entry(scenario.behind()).or_insert(next)
        };
        let ways = scenarios.iter().map(&mut way).collect();
        let pairs = pairs(&scenarios, &acts, &bears);
        Self { scenarios, acts, enquiries, lockouts, call, look, starts, fails, bears, pairs, ways }
    }

    /// Minutes of a visit: the way there, and the search on arrival. A good look halves what is still possible, so that the
    /// looks it takes are the entropy of the sets of faults in bits (Shannon 1948: no yes-or-no search needs fewer), and one
    /// to be sure. `masses` are what is left of each scenario.
    pub(super) fn visit(&self, masses: impl Iterator<Item = f64>, total: f64) -> f64 {
        if self.look <= 0.0 || total <= 0.0 {
            return self.call;
        }
        self.call + self.look * (1.0 + self.bits(masses, total))
    }

    /// The entropy of the sets of faults behind the complaint, in bits.
    pub(super) fn bits(&self, masses: impl Iterator<Item = f64>, total: f64) -> f64 {
        if total <= 0.0 {
            return 0.0;
        }
        let mut sets = vec![0.0; self.ways.iter().max().map_or(0, |last| last + 1)];
        self.ways.iter().zip(masses).for_each(|(way, mass)| sets[*way] += mass / total);
        let bits = |p: &f64| if *p > 0.0 { -p * p.log2() } else { 0.0 };
        sets.iter().map(bits).sum()
    }

    /// The causes of a scenario in the flat lists.
    pub(super) fn flat(&self, scenario: usize) -> std::ops::Range<usize> {
        self.starts[scenario]..self.starts[scenario] + self.scenarios[scenario].causes.len()
    }
}

/// Two acts of which one alone does not tell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pair {
    /// The acts, by index.
    pub acts: (usize, usize),
    /// Scenarios in which the complaint hangs on both.
    pub hangs: Vec<usize>,
    /// Scenarios that either of them bears on.
    pub bears: Vec<usize>,
}

fn pairs(scenarios: &[Scenario], acts: &[Act], bears: &[Vec<usize>]) -> Vec<Pair> {
    let mut pairs: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    for (index, scenario) in scenarios.iter().enumerate() {
        let cures = |place: usize| -> Vec<usize> {
            let own = |(cause, _): &(usize, f64)| *cause == scenario.causes[place];
            (0..acts.len()).filter(|&act| !acts[act].weighty && acts[act].cures.iter().any(own)).collect()
        };
        for a in 0..scenario.causes.len() {
            for b in (a + 1..scenario.causes.len()).filter(|&b| scenario.hangs_on_both(a, b)) {
                let others = cures(b);
                let both = cures(a).into_iter().flat_map(|one| others.iter().map(move |&other| (one, other)));
                for (one, other) in both.filter(|(one, other)| one != other) {
                    pairs.entry((one.min(other), one.max(other))).or_default().push(index);
                }
            }
        }
    }
    let pair = |(acts, hangs): ((usize, usize), Vec<usize>)| {
        let bears: BTreeSet<usize> = bears[acts.0].iter().chain(&bears[acts.1]).copied().collect();
        Pair { acts, hangs, bears: bears.into_iter().collect() }
    };
    pairs.into_iter().map(pair).collect()
}
