//! Findings as chains of helpers: the largest of the leak and of what each link drives.

use super::{When, Writer};
use crate::belief::evidence::Item;
use crate::belief::network::{Link, Parent};

impl Writer<'_> {
    /// The variable of a finding at some time; two times at which all that drives it is the same are one variable.
    pub(super) fn finding(&mut self, finding: usize, when: When) -> usize {
        let network = self.network;
        let links = &network.findings()[finding].parents;
        let drivers: Vec<Option<usize>> = links.iter().map(|link| self.driver(link, when)).collect();
        let starts = self.fresh_starts(finding, when.items);
        let looked = (finding, starts, drivers);
        if let Some(&known) = self.looked.get(&looked) {
            return known;
        }
        let mut state = self.leak(finding, starts);
        for (place, driver) in looked.2.iter().enumerate() {
            if let Some(driver) = *driver {
                let driven = self.driven((finding, starts, place), driver);
                state = self.larger(state, driven);
            }
        }
        self.looked.insert(looked, state);
        state
    }

    /// What drives a link now; none if it sleeps.
    fn driver(&mut self, link: &Link, when: When) -> Option<usize> {
        match link.parent {
            Parent::Cause(cause) => {
                let missed = &self.catches[..when.depth];
                let asleep = self.network.causes()[cause].catch.is_some_and(|catch| missed.contains(&catch));
                (!asleep).then(|| self.cause(cause, when.items))
            }
            Parent::Finding(parent) => Some(self.finding(parent, when)),
        }
    }

    fn fresh_starts(&self, finding: usize, items: usize) -> usize {
        let starts = |item: &&Item| matches!(item, Item::Afresh { findings } if findings.contains(&finding));
        self.evidence.0[..items].iter().filter(starts).count()
    }

    /// The degree that the leak alone reaches.
    fn leak(&mut self, finding: usize, starts: usize) -> usize {
        let entry = &self.network.findings()[finding];
        let key = (finding, starts, entry.parents.len());
        if let Some(&known) = self.levels.get(&key) {
            return known;
        }
        let leak = self.root(exactly(&entry.leak));
        self.levels.insert(key, leak);
        leak
    }

    /// The degree that one link drives its finding to.
    fn driven(&mut self, key: (usize, usize, usize), driver: usize) -> usize {
        let network = self.network;
        let (finding, _, place) = key;
        let (degrees, strength) =
            (network.findings()[finding].degrees, &network.findings()[finding].parents[place].strength);
        if !self.lasts {
            let mut table = exactly(&vec![0.0; degrees]);
            table.extend(strength.iter().flat_map(|row| exactly(row)));
            return self.add(degrees + 1, vec![driver], table);
        }
        let stretches = stretches(strength);
        let level = match self.levels.get(&key) {
            Some(&known) => known,
            None => self.root(stretches.iter().map(|stretch| stretch.1).collect()),
        };
        self.levels.insert(key, level);
        self.function(degrees + 1, vec![driver, level], |at| match at[0].checked_sub(1) {
            None => 0,
            Some(row) => strength[row].iter().filter(|p| stretches[at[1]].0 < **p).count(),
        })
    }
}

/// From P(at least each degree) to P(exactly each degree), normal first.
fn exactly(at_least: &[f64]) -> Vec<f64> {
    let from = std::iter::once(1.0).chain(at_least.iter().copied());
    let to = at_least.iter().copied().chain([0.0]);
    from.zip(to).map(|(from, to)| from - to).collect()
}

/// A link drives as far as its strengths are above one level, uniform from 0 to 1: the stretches between neighbouring strengths, each
/// with a level inside and its length.
fn stretches(strength: &[Vec<f64>]) -> Vec<(f64, f64)> {
    let mut bounds: Vec<f64> = strength.iter().flatten().copied().chain([0.0, 1.0]).collect();
    bounds.sort_by(f64::total_cmp);
    let between = bounds.windows(2).filter(|pair| pair[0] < pair[1]);
    between.map(|pair| (f64::midpoint(pair[0], pair[1]), pair[1] - pair[0])).collect()
}
