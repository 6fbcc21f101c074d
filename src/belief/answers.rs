//! Answers, runs and questions as tables over the findings' variables.

use super::assembly::{Assembly, finding_var, run_var};
use super::evidence::Item;
use super::factor::{Axis, Factor, Var, size};
use super::gate::{State, degree};
use super::timeline::Sight;

impl Assembly<'_> {
    /// The answers that bear on this finding and no other.
    pub(super) fn answers_alone(&self, finding: usize) -> Vec<usize> {
        let items = self.evidence.0.iter().enumerate();
        items
            .filter(|(_, item)| matches!(item, Item::Answer { findings, .. } if *findings == [finding]))
            .map(|e| e.0)
            .collect()
    }

    /// P(answer | states of its findings) = Σ over who is awake of P(who) · likelihood of what is then seen.
    pub(super) fn likelihood(&self, item: usize, states: &[State]) -> f64 {
        match &self.evidence.0[item] {
            Item::Answer { likelihood, .. } => self.seen(&self.timeline.sights[item], states, likelihood),
            _ => 1.0,
        }
    }

    fn seen(&self, sights: &[Sight], states: &[State], likelihood: &[f64]) -> f64 {
        let sleepers = sleepers_of(sights);
        let mut sum = 0.0;
        for awake in 0..1usize << sleepers.len() {
            let mut p = 1.0;
            for (bit, &sleeper) in sleepers.iter().enumerate() {
                let catch = self.catch(sleeper);
                p *= if awake >> bit & 1 == 1 { catch } else { 1.0 - catch };
            }
            let place = sights.iter().zip(states).fold(0, |place, (sight, &state)| {
                let set = sight.sleepers.iter().enumerate().fold(0, |set, (own, sleeper)| {
                    let bit = sleepers.partition_point(|other| other < sleeper);
                    set | (awake >> bit & 1) << own
                });
                let degrees = self.network.findings()[sight.finding].degrees;
                place * (degrees + 1) + degree(state, sight.versions[set], degrees)
            });
            sum += p * likelihood[place];
        }
        sum
    }

    fn catch(&self, sleeper: usize) -> f64 {
        self.network.causes()[self.timeline.intermittent[sleeper]].catch.unwrap_or(1.0)
    }

    /// The table of an answer about several findings together; nothing for any other item.
    pub(crate) fn answer(&mut self, item: usize) {
        if let Item::Answer { findings, likelihood, .. } = &self.evidence.0[item]
            && findings.len() != 1
        {
            let table = self.joint(&self.timeline.sights[item], std::slice::from_ref(likelihood));
            self.factors.push(table.scaled());
        }
    }

    /// P(outcome | states of the findings) over the findings' variables and `outcome`.
    pub(crate) fn outcomes(&mut self, sights: &[Sight], outcomes: &[Vec<f64>], outcome: Var) {
        let mut table = self.joint(sights, outcomes);
        if outcomes.len() > 1 {
            table.axes.push((outcome, outcomes.len()));
        }
        self.factors.push(table);
    }

    /// Makes `all` the variable of whether every finding seen (there must be one) is normal, one step a finding.
    pub(crate) fn all_normal(&mut self, sights: &[Sight], all: Var) {
        let mut before: Option<Var> = None;
        for (place, sight) in sights.iter().enumerate() {
            let (domain, degrees) =
                (&self.domains[sight.finding], self.network.findings()[sight.finding].degrees);
            let normal: Vec<bool> =
                domain.iter().map(|&state| degree(state, sight.versions[0], degrees) == 0).collect();
            let axis = (finding_var(self.network, sight.finding), domain.len());
            let after = if place + 1 == sights.len() { all } else { self.fresh_var() };
            let so_far: &[bool] = if before.is_some() { &[false, true] } else { &[true] };
            let table = so_far.iter().flat_map(|so_far| {
                normal.iter().flat_map(move |normal| {
                    [*so_far && *normal].map(|all| [f64::from(u8::from(!all)), f64::from(u8::from(all))])
                })
            });
            let table = table.flatten().collect();
            let axes: Vec<Axis> = before.map(|var| (var, 2)).into_iter().chain([axis, (after, 2)]).collect();
            self.factors.push(Factor::new(&axes, table));
            before = Some(after);
        }
    }

    /// Over the joint states of the findings seen, and one entry a likelihood innermost.
    fn joint(&self, sights: &[Sight], likelihoods: &[Vec<f64>]) -> Factor {
        let axes: Vec<Axis> = sights
            .iter()
            .map(|sight| (finding_var(self.network, sight.finding), self.domains[sight.finding].len()))
            .collect();
        let mut table = Vec::with_capacity(size(&axes) * likelihoods.len());
        let mut states = vec![0; sights.len()];
        for mut place in 0..size(&axes) {
            for (at, sight) in sights.iter().enumerate().rev() {
                let domain = &self.domains[sight.finding];
                states[at] = domain[place % domain.len()];
                place /= domain.len();
            }
            table.extend(likelihoods.iter().map(|likelihood| self.seen(sights, &states, likelihood)));
        }
        Factor { axes: axes.into_iter().filter(|axis| axis.1 != 1).collect(), table, ln: 0.0 }
    }

    /// A run as a mixture: with weight `floor` nothing is said, with weight value − floor exactly this combination holds.
    pub(crate) fn run_prior(&mut self, item: usize) {
        if let Item::Run { floor, combos, .. } = &self.evidence.0[item] {
            let weights: Vec<f64> =
                [*floor].into_iter().chain(combos.iter().map(|(_, value)| value - floor)).collect();
            let axis = (run_var(self.network, self.timeline, item, 0), weights.len());
            self.factors.push(Factor::new(&[axis], weights).scaled());
            for sleeper in sleepers_of(&self.timeline.sights[item]) {
                let axis = (run_var(self.network, self.timeline, item, 1 + sleeper), 2);
                let catch = self.catch(sleeper);
                self.factors.push(Factor::new(&[axis], vec![1.0 - catch, catch]));
            }
        }
    }

    /// Whether what a run sees of one finding is what its combination says.
    pub(crate) fn run_link(&mut self, item: usize, sight: &Sight) {
        let Item::Run { findings, combos, .. } = &self.evidence.0[item] else { return };
        let Some(column) = findings.iter().position(|&finding| finding == sight.finding) else { return };
        let (domain, degrees) =
            (&self.domains[sight.finding], self.network.findings()[sight.finding].degrees);
        let mut axes = vec![(run_var(self.network, self.timeline, item, 0), 1 + combos.len())];
        // Bit 0 of a set is the fastest, so the sleepers' axes stand in reverse.
        let slots = sight.sleepers.iter().rev().map(|sleeper| 1 + sleeper);
        axes.extend(slots.map(|slot| (run_var(self.network, self.timeline, item, slot), 2)));
        axes.push((finding_var(self.network, sight.finding), domain.len()));
        let wanted = [None].into_iter().chain(combos.iter().map(|(states, _)| Some(states[column])));
        let mut table = Vec::with_capacity(size(&axes));
        for wanted in wanted {
            for &version in &sight.versions {
                let fits =
                    |state: &State| wanted.is_none_or(|wanted| degree(*state, version, degrees) == wanted);
                table.extend(domain.iter().map(|state| f64::from(u8::from(fits(state)))));
            }
        }
        self.factors.push(Factor::new(&axes, table));
    }
}

/// The causes that may sleep during an answer, each once, ascending: one draw each for the whole answer.
fn sleepers_of(sights: &[Sight]) -> Vec<usize> {
    let mut sleepers: Vec<usize> = sights.iter().flat_map(|sight| sight.sleepers.iter().copied()).collect();
    sleepers.sort_unstable();
    sleepers.dedup();
    sleepers
}
