//! Looking two steps ahead: each thing that could be done next is valued by what could be asked or done after it.
//!
//! `V₀` is the best course of remedies when nothing more is asked. `V₁ = min(V₀, min_q C_q + Σ_o P(o)·V₀(o))`, and what is weighed now is
//! `C_k + Σ_o P(o)·V₁(o)`, for questions and remedies alike. One step ahead alone leaves 1.3 % on average and 10 % at worst on random
//! models with questions, two steps 0.2 and 1.5 % (method 1.4). How far it looks is bounded by a count of courses, never by a clock.

use super::bound;
use super::course::{self, Course, follow};
use super::inquiry::Inquiry;
use super::prospect::Prospect;
use super::state::State;

/// Questions that are looked at two steps ahead: the best few by one step.
const FIRST: usize = 5;
/// Remedies that are looked at two steps ahead, the first of the course among them.
const FIRST_ACTS: usize = 3;
/// Questions weighed after each answer: the best few by one step.
const SECOND: usize = 8;
/// Questions tried as the first of several, when nothing else is better than to send somebody.
const FURTHER: usize = 2;
/// Most courses that are worked out for the second step.
const MOST_COURSES: usize = 1500;

/// What could be done next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Move {
    /// Ask, by index.
    Ask(usize),
    /// Do these acts, by index, then prove it.
    Do(Vec<usize>),
    /// Send somebody.
    Call,
}

/// What an answer leads to.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// P(this answer).
    pub probability: f64,
    /// The best move after it.
    pub then: Move,
    /// When that is a question, what its answers lead to.
    pub branches: Vec<Branch>,
}

/// What something done next is expected to come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// What is done next.
    pub first: Move,
    /// Expected minutes until the complaint is gone, with it.
    pub minutes: f64,
    /// What follows each answer; for acts what follows 'gone' and 'still there'.
    pub branches: Vec<Branch>,
}

/// Everything that could be done next, weighed.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The best move.
    pub best: Move,
    /// Expected minutes following it.
    pub minutes: f64,
    /// The best move that asks nothing, and the expected minutes with it.
    pub without_asking: (Move, f64),
    /// No plan whatever can take fewer minutes on average than this (what it would take if one knew how things are).
    pub at_least: f64,
    /// Expected minutes when somebody is sent at once.
    pub call: f64,
    /// Expected minutes when nothing more is asked.
    pub unasked: f64,
    /// The course of acts when nothing more is asked.
    pub course: Vec<Vec<usize>>,
    /// Each question by index.
    pub questions: Vec<Weighed>,
    /// Acts that were looked at as a next step.
    pub acts: Vec<Weighed>,
}

struct Ahead<'a> {
    prospect: &'a Prospect,
    /// The questions weighed second, best first.
    second: Vec<usize>,
    courses: usize,
}

/// Chooses the next step.
pub fn choose(prospect: &Prospect) -> Choice {
    let start = State::new(prospect);
    let total = start.left;
    if total <= 0.0 {
        return nothing_left(prospect);
    }
    let unasked = course::best(prospect, &start);
    let mut ahead = Ahead { prospect, second: Vec::new(), courses: 0 };
    let mut questions: Vec<Weighed> = start.open.iter().map(|&q| ahead.one_step(&start, q)).collect();
    let mut order: Vec<usize> = (0..questions.len()).collect();
    order.sort_by(|&a, &b| questions[a].minutes.total_cmp(&questions[b].minutes).then(a.cmp(&b)));
    ahead.second = order.iter().copied().take(SECOND).collect();
    ahead.courses = 0;
    let mut acts: Vec<Weighed> =
        ahead.first_acts(&start, &unasked).into_iter().map(|acts| ahead.act(&start, acts)).collect();
    for &q in order.iter().take(FIRST) {
        if ahead.courses < MOST_COURSES {
            questions[q] = ahead.two_steps(&start, q);
        }
    }
    let best = acts.iter().fold((first_of(&unasked.batches), unasked.minutes), better);
    if best.0 == Move::Call {
        for (q, further) in Inquiry::new(prospect, &start).begin(&start, FURTHER) {
            if further.minutes < questions[q].minutes {
                questions[q] = further;
            }
        }
    }
    for weighed in questions.iter_mut().chain(&mut acts) {
        weighed.minutes /= total;
    }
    let course = (first_of(&unasked.batches), unasked.minutes / total);
    let without_asking = acts.iter().fold(course, better);
    let (best, minutes) = questions.iter().fold(without_asking.clone(), better);
    Choice {
        best,
        minutes,
        without_asking,
        at_least: bound::at_least(prospect),
        call: start.call(prospect) / total,
        unasked: unasked.minutes / total,
        course: unasked.batches,
        questions,
        acts,
    }
}

/// Minutes that make no difference.
const SAME: f64 = 1e-9;

/// The better of a move with its expected minutes and another; among equals the one before.
fn better(best: (Move, f64), other: &Weighed) -> (Move, f64) {
    if other.minutes < best.1 - SAME { (other.first.clone(), other.minutes) } else { best }
}

/// The move with which a course begins.
pub(super) fn first_of(batches: &[Vec<usize>]) -> Move {
    batches.first().map_or(Move::Call, |batch| Move::Do(batch.clone()))
}

/// After an act in a lockout that nobody has tried yet: the act in that lockout that is most worth doing too before the guard is
/// shut, by index, with the minutes that it saves. Its own minutes count in full, since it may be gone already.
pub(super) fn worth_doing_too(prospect: &Prospect) -> Option<(usize, f64)> {
    let start = State::new(prospect);
    let value = |act: Option<usize>| {
        let mut state = start.clone();
        act.into_iter().for_each(|act| state.act(prospect, act));
        state.shut(prospect);
        course::greedy(prospect, &state).minutes
    };
    let tried = value(None);
    let there: f64 = prospect.scenarios.iter().map(|s| s.weight).sum();
    let inside = start.free.iter().filter(|&&act| {
        let own = &prospect.acts[act];
        !own.weighty && own.lockout.is_some_and(|lockout| start.stands[lockout])
    });
    let saves = |&act: &usize| (act, tried - value(Some(act)) - there * prospect.acts[act].minutes);
    inside.map(saves).max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
}

/// For each question the expected minutes with it, one step ahead.
pub(super) fn one_step_each(prospect: &Prospect) -> Vec<f64> {
    let start = State::new(prospect);
    let mut ahead = Ahead { prospect, second: Vec::new(), courses: 0 };
    (0..prospect.enquiries.len()).map(|question| ahead.one_step(&start, question).minutes).collect()
}

fn nothing_left(prospect: &Prospect) -> Choice {
    let unanswered = |q: usize| Weighed {
        first: Move::Ask(q),
        minutes: prospect.enquiries[q].minutes,
        branches: Vec::new(),
    };
    Choice {
        best: Move::Call,
        minutes: 0.0,
        without_asking: (Move::Call, 0.0),
        at_least: 0.0,
        call: 0.0,
        unasked: 0.0,
        course: Vec::new(),
        questions: (0..prospect.enquiries.len()).map(unanswered).collect(),
        acts: Vec::new(),
    }
}

/// A question, and what each answer comes to, by what `value` says of the state after it.
pub(super) fn weigh(
    prospect: &Prospect,
    state: &State,
    question: usize,
    mut value: impl FnMut(&State) -> (f64, Move, Vec<Branch>),
) -> Weighed {
    let mut minutes = state.asking(prospect, question);
    let mut branches = Vec::new();
    for after in state.asked(prospect, question) {
        let (further, then, onward) =
            if after.left > 0.0 { value(&after) } else { (0.0, Move::Call, Vec::new()) };
        minutes += further;
        branches.push(Branch { probability: after.left / state.left, then, branches: onward });
    }
    Weighed { first: Move::Ask(question), minutes, branches }
}

impl Ahead<'_> {
    /// A question, and after each answer the best course.
    fn one_step(&mut self, state: &State, question: usize) -> Weighed {
        weigh(self.prospect, state, question, |after| {
            self.courses += 1;
            let course = course::greedy(self.prospect, after);
            (course.minutes, first_of(&course.batches), Vec::new())
        })
    }

    /// A question, and after each answer the best of a course and of one question more.
    fn two_steps(&mut self, state: &State, question: usize) -> Weighed {
        weigh(self.prospect, state, question, |after| self.onward(after))
    }

    /// The best of a course and of one question before it.
    fn onward(&mut self, state: &State) -> (f64, Move, Vec<Branch>) {
        self.courses += 1;
        let course = course::greedy(self.prospect, state);
        let mut best = (course.minutes, first_of(&course.batches), Vec::new());
        for question in self.second.clone() {
            if state.open.contains(&question) && state.asking(self.prospect, question) < best.0 {
                let weighed = self.one_step(state, question);
                if weighed.minutes < best.0 - SAME {
                    best = (weighed.minutes, weighed.first, weighed.branches);
                }
            }
        }
        best
    }

    /// The first batch of the course, and the acts that would be most efficient alone.
    fn first_acts(&self, state: &State, course: &Course) -> Vec<Vec<usize>> {
        let efficiency = |&act: &usize| {
            let minutes = state.alone(self.prospect, act);
            ((state.left - state.left_after(self.prospect, act)) / minutes.max(f64::MIN_POSITIVE), act)
        };
        let light = |act: &&usize| !self.prospect.acts[**act].weighty;
        let mut ranked: Vec<(f64, usize)> = state.free.iter().filter(light).map(efficiency).collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut firsts: Vec<Vec<usize>> = course.batches.first().cloned().into_iter().collect();
        for (_, act) in ranked.into_iter().filter(|(off, _)| *off > 0.0) {
            if firsts.len() < FIRST_ACTS && !firsts.contains(&vec![act]) {
                firsts.push(vec![act]);
            }
        }
        firsts
    }

    /// Acts, a proof, and when that fails the best of what is left.
    fn act(&mut self, state: &State, acts: Vec<usize>) -> Weighed {
        let mut after = state.clone();
        follow(self.prospect, &mut after, &acts);
        let (further, then, onward) =
            if after.left > 0.0 { self.onward(&after) } else { (0.0, Move::Call, Vec::new()) };
        let still = after.left / state.left;
        let gone = Branch { probability: 1.0 - still, then: Move::Call, branches: Vec::new() };
        Weighed {
            minutes: course::cost(self.prospect, state, acts.iter().copied(), after.left) + further,
            first: Move::Do(acts),
            branches: vec![gone, Branch { probability: still, then, branches: onward }],
        }
    }
}
