//! Several questions before somebody is sent: where neither a remedy nor two questions pay for themselves, a few cheap ones together
//! may still find what can be cured from here.
//!
//! At each answer the question that tells most by the minute comes next (information in bits about the sets of faults behind the
//! complaint), unless the best course of remedies is cheaper there. That is one plan that can be followed, so what it is expected to
//! take is never too little; looking further with a simple rule is a rollout (Bertsekas, Castañón, J. Heuristics 5, 1999).

use super::ahead::{Branch, Move, Weighed, first_of, weigh};
use super::course;
use super::prospect::Prospect;
use super::state::State;

/// Most questions one after the other.
const DEEPEST: usize = 5;
/// An answer less likely than this is not asked on.
const LEAST: f64 = 0.002;
/// Most places at which the next question is sought.
const MOST_PLACES: usize = 60;
/// A question that tells less than this is not asked, in bits.
const LEAST_BITS: f64 = 0.01;
/// Minutes that any question takes beside its own, so that none is told for nothing.
const BESIDE: f64 = 0.2;

pub(super) struct Inquiry<'a> {
    prospect: &'a Prospect,
    /// P(the start).
    total: f64,
    places: usize,
}

impl<'a> Inquiry<'a> {
    pub(super) fn new(prospect: &'a Prospect, start: &State) -> Self {
        Self { prospect, total: start.left, places: 0 }
    }

    /// The questions that tell most, and what each comes to when others follow it; minutes times P(the start).
    pub(super) fn begin(&mut self, start: &State, most: usize) -> Vec<(usize, Weighed)> {
        let telling = self.telling(start);
        telling
            .into_iter()
            .take(most)
            .map(|(_, question)| {
                self.places = 0;
                (question, self.ask(start, question, 1))
            })
            .collect()
    }

    /// A question, and the best way on after each answer.
    fn ask(&mut self, state: &State, question: usize, depth: usize) -> Weighed {
        weigh(self.prospect, state, question, |after| self.onward(after, depth))
    }

    fn onward(&mut self, state: &State, depth: usize) -> (f64, Move, Vec<Branch>) {
        let course = course::greedy(self.prospect, state);
        let alone = (course.minutes, first_of(&course.batches), Vec::new());
        if depth >= DEEPEST || state.left < LEAST * self.total || self.places >= MOST_PLACES {
            return alone;
        }
        self.places += 1;
        let Some(&(_, question)) = self.telling(state).first() else { return alone };
        let asked = self.ask(state, question, depth + 1);
        if asked.minutes < alone.0 { (asked.minutes, asked.first, asked.branches) } else { alone }
    }

    /// Questions by what they tell in a minute, the most first.
    fn telling(&self, state: &State) -> Vec<(f64, usize)> {
        let before = self.prospect.bits(state.remaining(), state.left);
        let tells = |&question: &usize| {
            let chances = &self.prospect.enquiries[question].chances;
            let outcomes = chances.first().map_or(0, Vec::len);
            let after: f64 = (0..outcomes)
                .map(|outcome| {
                    let masses =
                        || state.remaining().zip(chances).map(|(mass, chances)| mass * chances[outcome]);
                    let left: f64 = masses().sum();
                    left * self.prospect.bits(masses(), left)
                })
                .sum();
            let bits = before - after / state.left;
            let minutes = state.asking(self.prospect, question) / state.left + BESIDE;
            (bits > LEAST_BITS).then_some((bits / minutes, question))
        };
        let mut telling: Vec<(f64, usize)> = state.open.iter().filter_map(tells).collect();
        telling.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        telling
    }
}
