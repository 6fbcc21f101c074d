//! Findings that are answered together, with their joint state as one growing set of bits.
//!
//! While influences are put together state by state, a bundle's state only grows. As soon as no further growth can change what the
//! answers about a version of a finding say, its bits are all set: states that make no difference any more become one, and states that
//! an answer rules out, however they grow, are dropped. This is what keeps a run of fills with many patterns small.

use std::collections::BTreeMap;

use fnv::FnvHashMap;

use super::evidence::BeliefError;
use super::influence::{MOST_BITS, State, degree};

/// Most different states of one bundle.
const MOST_STATES: usize = 1 << 14;
/// Number of a state within its bundle.
pub(crate) type StateId = u16;

/// Where a finding stands in its bundle's states.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub(crate) bundle: usize,
    /// Its first bit.
    pub(crate) first: usize,
    /// Its bits.
    pub(crate) mask: State,
}

/// Where one version of a finding stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Spot {
    pub(crate) first: usize,
    pub(crate) degrees: usize,
}

impl Spot {
    /// Its bits.
    fn mask(self) -> State {
        (State::MAX >> (MOST_BITS - self.degrees)) << self.first
    }
}

/// An answer given or asked for, as its bundle sees it.
#[derive(Debug, Clone)]
pub(crate) struct Look {
    /// All bits that it sees.
    mask: State,
    /// Each way in which the causes that come and go may be awake: its probability, and where the findings then stand.
    moments: Vec<(f64, Vec<Spot>)>,
    /// For each outcome P(outcome | states), the last finding fastest.
    outcomes: Vec<Vec<f64>>,
    /// For each joint state whether every state from it up says the same.
    same_above: Vec<bool>,
}

impl Look {
    pub(crate) fn new(moments: Vec<(f64, Vec<Spot>)>, outcomes: Vec<Vec<f64>>) -> Self {
        let mask = moments.iter().flat_map(|m| &m.1).fold(0, |mask, spot| mask | spot.mask());
        let sizes: Vec<usize> =
            moments.first().map_or_else(Vec::new, |m| m.1.iter().map(|spot| spot.degrees + 1).collect());
        let same_above = same_above(&sizes, &outcomes);
        Self { mask, moments, outcomes, same_above }
    }

    /// Number of outcomes.
    pub(crate) fn outcomes(&self) -> usize {
        self.outcomes.len()
    }

    /// P(outcome | state), for each outcome.
    pub(crate) fn chances(&self, state: State) -> Vec<f64> {
        let mut sums = vec![0.0; self.outcomes.len()];
        for (p, spots) in &self.moments {
            let place = joint(state, spots);
            for (sum, outcome) in sums.iter_mut().zip(&self.outcomes) {
                *sum += p * outcome[place];
            }
        }
        sums
    }

    /// Whether every state from this one up says the same.
    fn is_settled(&self, state: State) -> bool {
        self.moments.iter().all(|(_, spots)| self.same_above[joint(state, spots)])
    }
}

fn joint(state: State, spots: &[Spot]) -> usize {
    spots.iter().fold(0, |place, spot| place * (spot.degrees + 1) + degree(state, spot.first, spot.degrees))
}

/// From the top state down: a state is the same as all above if each one step up is, and says what it says.
fn same_above(sizes: &[usize], outcomes: &[Vec<f64>]) -> Vec<bool> {
    let count: usize = sizes.iter().product();
    let mut same = vec![true; count];
    for place in (0..count).rev() {
        let mut step = 1;
        for size in sizes.iter().rev() {
            if place / step % size + 1 < *size {
                let up = place + step;
                same[place] &= same[up] && outcomes.iter().all(|outcome| outcome[up] == outcome[place]);
            }
            step *= size;
        }
    }
    same
}

/// Findings that share answers.
#[derive(Debug, Default)]
pub(crate) struct Bundle {
    /// Ascending, each with its bits and whether something in the graph hangs below it.
    pub(crate) members: Vec<(usize, State, bool)>,
    answers: Vec<Look>,
    /// What is asked, with its number.
    pub(crate) questions: Vec<(usize, Look)>,
    states: Vec<State>,
    /// From any state met to the one that stands for it; `None` if it is ruled out.
    ids: FnvHashMap<State, Option<StateId>>,
    worths: BTreeMap<StateId, f64>,
}

impl Bundle {
    /// Adds the next finding of `width` bits; gives its first bit.
    pub(crate) fn add(
        &mut self,
        finding: usize,
        width: usize,
        lasting: bool,
    ) -> Result<(usize, State), BeliefError> {
        let first = self.members.iter().map(|(_, mask, _)| mask.count_ones() as usize).sum::<usize>();
        if first + width > MOST_BITS {
            return Err(BeliefError::TooLarge { cost: ((first + width) as f64).exp2() });
        }
        let mask = (State::MAX >> (MOST_BITS - width)) << first;
        self.members.push((finding, mask, lasting));
        Ok((first, mask))
    }

    pub(crate) fn answered(&mut self, look: Look) {
        self.answers.push(look);
    }

    pub(crate) fn asked(&mut self, question: usize, look: Look) {
        self.questions.push((question, look));
    }

    /// Begins anew with the states; all ids are void.
    pub(crate) fn forget(&mut self) {
        self.states.clear();
        self.ids.clear();
        self.worths.clear();
    }

    pub(crate) fn state(&self, id: StateId) -> State {
        self.states[usize::from(id)]
    }

    /// The number of a state, or of the one that stands for it; `None` if it is ruled out.
    pub(crate) fn id(&mut self, state: State) -> Result<Option<StateId>, BeliefError> {
        if let Some(&known) = self.ids.get(&state) {
            return Ok(known);
        }
        let id = match self.settled(state) {
            None => None,
            Some(settled) if settled != state => self.id(settled)?,
            Some(_) => {
                if self.states.len() >= MOST_STATES {
                    return Err(BeliefError::TooLarge { cost: (MOST_STATES as f64).powi(2) });
                }
                self.states.push(state);
                Some((self.states.len() - 1) as StateId)
            }
        };
        self.ids.insert(state, id);
        Ok(id)
    }

    /// The state that stands for the larger of these two.
    pub(crate) fn larger(&mut self, a: StateId, b: StateId) -> Result<Option<StateId>, BeliefError> {
        let (left, right) = (self.state(a), self.state(b));
        match left | right {
            both if both == left => Ok(Some(a)),
            both if both == right => Ok(Some(b)),
            both => self.id(both),
        }
    }

    fn settled(&self, state: State) -> Option<State> {
        let mut open: State = 0;
        for look in &self.answers {
            if !look.is_settled(state) {
                open |= look.mask;
            } else if look.chances(state)[0] == 0.0 {
                return None;
            }
        }
        for (_, look) in &self.questions {
            if !look.is_settled(state) {
                open |= look.mask;
            }
        }
        let done = self.members.iter().filter(|member| !member.2);
        Some(done.fold(state, |state, (_, mask, _)| state | mask & !open))
    }

    /// P(all answers | state).
    pub(crate) fn worth(&mut self, id: StateId) -> f64 {
        if let Some(&known) = self.worths.get(&id) {
            return known;
        }
        let state = self.state(id);
        let worth = self.answers.iter().map(|look| look.chances(state)[0]).product();
        self.worths.insert(id, worth);
        worth
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(first: usize) -> Spot {
        Spot { first, degrees: 1 }
    }

    fn bundle(likelihood: Vec<f64>, lasting: bool) -> Bundle {
        let mut bundle = Bundle::default();
        bundle.add(0, 1, lasting).unwrap();
        bundle.add(1, 1, false).unwrap();
        bundle.answered(Look::new(vec![(1.0, vec![spot(0), spot(1)])], vec![likelihood]));
        bundle
    }

    #[test]
    fn states_from_which_the_answer_no_longer_changes_are_one() {
        // First finding fastest in the bits, last finding fastest in the table.
        let mut bundle = bundle(vec![0.9, 0.2, 0.1, 0.1], false);
        let abnormal = bundle.id(0b01).unwrap().unwrap();
        assert_eq!(bundle.id(0b11).unwrap(), Some(abnormal));
        assert_ne!(bundle.id(0b10).unwrap(), Some(abnormal));
        assert_eq!(bundle.worth(abnormal), 0.1);
    }

    #[test]
    fn a_finding_with_others_below_it_keeps_its_state() {
        let mut bundle = bundle(vec![0.9, 0.2, 0.1, 0.1], true);
        let first = bundle.id(0b01).unwrap().unwrap();
        assert_eq!(bundle.state(first), 0b11, "only the second is settled");
        assert_ne!(bundle.id(0b10).unwrap(), Some(first));
    }

    #[test]
    fn what_an_answer_rules_out_for_good_is_dropped() {
        let mut bundle = bundle(vec![0.9, 0.0, 0.0, 0.0], false);
        assert_eq!(bundle.id(0b10).unwrap(), None);
        assert!(bundle.id(0).unwrap().is_some());
    }
}
