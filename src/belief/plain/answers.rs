//! Answers, runs of fills and what was told of circumstances, as observed children.

use std::collections::BTreeSet;

use super::{When, Writer};
use crate::belief::evidence::{Item, Moment};

impl Writer<'_> {
    /// What one item of the evidence says.
    pub(super) fn item(&mut self, place: usize) {
        let evidence = self.evidence;
        match &evidence.0[place] {
            Item::Circumstance { index, likelihood } => {
                self.observe(vec![self.circumstances[*index]], likelihood);
            }
            Item::Answer { findings, likelihood, moment } => {
                let seen = self.seen(findings, place, *moment);
                self.observe(seen, likelihood);
            }
            Item::Run { findings, floor, combos, moment } => {
                let seen = self.seen(findings, place, *moment);
                self.run(&seen, *floor, combos);
            }
            Item::Remedy { .. } | Item::Afresh { .. } => {}
        }
    }

    /// The findings as one answer sees them: one draw decides for all of them how many of the causes that come and go are missed.
    fn seen(&mut self, findings: &[usize], items: usize, moment: Moment) -> Vec<usize> {
        let depths = if moment == Moment::Bad { 1 } else { self.catches.len() + 1 };
        let versions: Vec<Vec<usize>> = findings
            .iter()
            .map(|&finding| (0..depths).map(|depth| self.finding(finding, When { items, depth })).collect())
            .collect();
        let same = |versions: &Vec<usize>| versions.windows(2).all(|pair| pair[0] == pair[1]);
        if versions.iter().all(same) {
            return versions.iter().map(|versions| versions[0]).collect();
        }
        let bounds: Vec<f64> = [0.0].into_iter().chain(self.catches.iter().copied()).chain([1.0]).collect();
        let draw = self.root(bounds.windows(2).map(|pair| pair[1] - pair[0]).collect());
        self.draws.push(draw);
        versions.iter().map(|versions| self.drawn(draw, versions)).collect()
    }

    /// The version of the depth drawn.
    fn drawn(&mut self, draw: usize, versions: &[usize]) -> usize {
        let mut chosen = versions[0];
        for (depth, &version) in versions.iter().enumerate().skip(1) {
            if version != chosen {
                let states = self.variables[version].states;
                let choose = |at: &[usize]| if at[0] == depth { at[1] } else { at[2] };
                chosen = self.function(states, vec![draw, version, chosen], choose);
            }
        }
        chosen
    }

    /// A run is read finding by finding; a state says which listed combination it can still become. State 0 is none.
    fn run(&mut self, seen: &[usize], floor: f64, combos: &[(Vec<usize>, f64)]) {
        let mut open: Vec<&[usize]> = vec![&[]];
        let mut reader = None;
        for (read, &finding) in seen.iter().enumerate() {
            let starts: BTreeSet<&[usize]> = combos.iter().map(|combo| &combo.0[..=read]).collect();
            let longer: Vec<&[usize]> = starts.into_iter().collect();
            let next = |before: Option<&&[usize]>, degree: usize| {
                let read = before.map(|before| [before, [degree].as_slice()].concat());
                longer.iter().position(|start| read.as_deref() == Some(*start)).map_or(0, |place| place + 1)
            };
            reader = Some(match reader {
                None => self.function(longer.len() + 1, vec![finding], |at| next(open.first(), at[0])),
                Some(reader) => self.function(longer.len() + 1, vec![reader, finding], |at| {
                    next(at[0].checked_sub(1).map(|place| &open[place]), at[1])
                }),
            });
            self.readers.extend(reader);
            open = longer;
        }
        let value = |states: &&[usize]| {
            combos.iter().find(|combo| combo.0 == **states).map_or(floor, |combo| combo.1)
        };
        match reader {
            Some(reader) => {
                let likelihood: Vec<f64> = [floor].into_iter().chain(open.iter().map(value)).collect();
                self.observe(vec![reader], &likelihood);
            }
            None => self.observe(Vec::new(), &[value(&open[0])]),
        }
    }

    /// A child that was observed; its likelihood is divided by its largest, as probabilities stay within 1.
    fn observe(&mut self, parents: Vec<usize>, likelihood: &[f64]) {
        let largest = likelihood.iter().copied().fold(0.0, f64::max);
        self.ln_scale += largest.ln();
        let row = |l: &f64| [1.0 - l / largest, l / largest];
        let observed = self.add(2, parents, likelihood.iter().flat_map(row).collect());
        self.observed.push(observed);
    }
}
