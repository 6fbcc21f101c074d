//! Ways to choose the next step: the plan, and four plain ones that it is held against.
//!
//! All obey the same gates, authority and safety rules. The plain ones try the remedy of the leading cause once it is over
//! one half or no check is left, and send somebody when nothing is left.

use std::sync::Arc;

use super::book::Book;
use super::clock::Clock;
use super::mind::{Memory, Thought, is_remembered};
use super::record::{Question, Record, Spot};
use crate::belief::BeliefError;
use crate::plan::{self, Candidate, Kind, Plan, Situation};

/// A cause is treated once it is over this.
const OVER_HALF: f64 = 0.5;
/// With no check left, a cause less likely than this is left to whoever comes (judgement).
const WORTH_A_TRY: f64 = 0.05;
/// A check that tells less than this is no check (in nats, or in shifted probability).
const TELLS_NOTHING: f64 = 1e-3;
/// So many of the plan's first steps are near the chosen one.
pub(super) const NEAR: usize = 8;

/// How the next step is chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Policy {
    /// The plan's first step.
    Planner,
    /// Checks in the order of their ids.
    BookOrder,
    /// The check that bears most on the likeliest cause.
    LikeliestCause,
    /// The check that takes the fewest minutes.
    CheapestCheck,
    /// The check from which most is learned of the causes, one taken at a time: the largest expected drop of entropy.
    MostInformative,
}

impl Policy {
    /// All of them, the plan first.
    pub const ALL: [Policy; 5] = [
        Policy::Planner,
        Policy::BookOrder,
        Policy::LikeliestCause,
        Policy::CheapestCheck,
        Policy::MostInformative,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Policy::Planner => "planner",
            Policy::BookOrder => "book-order",
            Policy::LikeliestCause => "likeliest-cause",
            Policy::CheapestCheck => "cheapest-check",
            Policy::MostInformative => "most-informative",
        }
    }
}

/// A step by number.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Move {
    Ask(Question),
    /// Remedies, by number; several are done in one lockout before one proof.
    Remedies(Vec<usize>),
    Send,
}

/// What was chosen, and the questions that stood near it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chosen {
    pub(super) step: Move,
    /// The questions among the plan's first steps that would save anything; none of a plain policy.
    pub(super) near: Vec<Question>,
}

/// What the plan chose before, by record and spot.
pub(super) type Plans<'k> = Memory<(Record, Spot<'k>), Chosen>;

impl Chosen {
    /// The plan's first step that is not to stop, which was done when the call began.
    pub(super) fn by(book: &Book<'_, '_>, plan: &Plan) -> Self {
        let steps = || plan.next.iter().filter(|step| step.kind != Kind::Stop);
        let worth = steps().take(NEAR).filter(|step| step.minutes_saved > 0.0);
        let near = worth.filter_map(|step| match numbered(book, step) {
            Some(Move::Ask(question)) => Some(question),
            _ => None,
        });
        let near = near.collect();
        Self { step: steps().next().and_then(|step| numbered(book, step)).unwrap_or(Move::Send), near }
    }
}

fn numbered(book: &Book<'_, '_>, step: &Candidate) -> Option<Move> {
    let id = step.id.as_str();
    match step.kind {
        Kind::Stop | Kind::Send => Some(Move::Send),
        Kind::Remedy => {
            let number = |id: &str| book.remedies.iter().position(|remedy| remedy.id.as_str() == id);
            let all = std::iter::once(id).chain(step.with.iter().map(String::as_str));
            all.map(number).collect::<Option<Vec<usize>>>().map(Move::Remedies)
        }
        Kind::Check => {
            let check = book.check(&id.into()).map(Question::Check);
            let circumstance = || book.desk.model.circumstance(&id.into()).map(Question::Circumstance);
            check.or_else(circumstance).map(Move::Ask)
        }
    }
}

/// Everything that a choice is made from.
pub(super) struct Board<'a, 'd, 'k> {
    pub(super) book: &'a Book<'d, 'k>,
    pub(super) record: &'a Record,
    pub(super) spot: Spot<'k>,
    pub(super) thought: &'a Arc<Thought>,
}

impl<'k> Board<'_, '_, 'k> {
    pub(super) fn choose(&self, policy: Policy, plans: &Plans<'k>) -> Result<Chosen, BeliefError> {
        if policy != Policy::Planner {
            let situation = self.record.situation(self.book, self.spot, &self.thought.evidence, &[]);
            return Ok(Chosen { step: self.plainly(policy, &situation)?, near: Vec::new() });
        }
        let key = (self.record.clone(), self.spot);
        if let Some(known) = plans.get(&key) {
            return Ok(known);
        }
        let leading = self.thought.leading(self.book)?;
        let situation = self.record.situation(self.book, self.spot, &self.thought.evidence, leading);
        let chosen = Chosen::by(self.book, &plan::plan(&situation)?);
        if is_remembered(self.record) {
            plans.keep(key, chosen.clone());
        }
        Ok(chosen)
    }

    fn plainly(&self, policy: Policy, situation: &Situation<'_>) -> Result<Move, BeliefError> {
        let believed = &self.thought.posterior.causes;
        let ranked = self.thought.ranked(self.book);
        let outside = believed[self.book.desk.model.outside()].now;
        let leading = ranked.first().copied().filter(|&cause| believed[cause].now > OVER_HALF);
        if let Some(leading) = leading {
            return Ok(self.treat(situation, leading, true).unwrap_or(Move::Send));
        }
        if outside <= OVER_HALF
            && let Some(question) = self.question(policy, situation, ranked.first().copied())?
        {
            return Ok(Move::Ask(question));
        }
        let worth: Vec<usize> =
            ranked.into_iter().filter(|&cause| believed[cause].now >= WORTH_A_TRY).collect();
        let try_out = |weighty| worth.iter().find_map(|&cause| self.treat(situation, cause, weighty));
        Ok(try_out(false).or_else(|| try_out(true)).unwrap_or(Move::Send))
    }

    /// The remedy of a cause that works most often, or the first of its gates that is still open; parts and what cannot be
    /// undone only if asked for.
    fn treat(&self, situation: &Situation<'_>, cause: usize, weighty: bool) -> Option<Move> {
        let book = self.book;
        let fits = |&remedy: &usize| {
            let entry = book.remedies[remedy];
            let settled = entry.hands_over || situation.done.contains(&entry.id);
            let light = entry.reversible && entry.parts.is_empty();
            book.cured_by(remedy) == cause
                && !settled
                && (weighty || light)
                && situation.remedy_hindrance(entry).is_none()
        };
        let mut fitting: Vec<usize> = (0..book.remedies.len()).filter(fits).collect();
        fitting.sort_by(|&a, &b| book.remedies[b].works.total_cmp(&book.remedies[a].works).then(a.cmp(&b)));
        let open = self.open(situation);
        fitting.into_iter().find_map(|remedy| {
            let gates = situation.open_gates(book.remedies[remedy])?;
            let numbers = gates.iter().map(|gate| book.check(gate));
            let numbers: Vec<usize> = numbers.collect::<Option<_>>()?;
            match numbers.first() {
                None => Some(Move::Remedies(vec![remedy])),
                // A gate that nobody can open here shuts the remedy for good.
                Some(_) if !numbers.iter().all(|gate| open.contains(gate)) => None,
                Some(&gate) => Some(Move::Ask(Question::Check(gate))),
            }
        })
    }

    /// The checks that are open and can be done by who is there, by number.
    fn open(&self, situation: &Situation<'_>) -> Vec<usize> {
        let doable = plan::unanswered(situation)
            .into_iter()
            .filter(|check| situation.hindrance(&situation.exposures(&check.work)).is_none());
        doable.filter_map(|check| self.book.check(&check.id)).collect()
    }

    /// The question that a plain policy asks next; each is asked once a call.
    fn question(
        &self,
        policy: Policy,
        situation: &Situation<'_>,
        likeliest: Option<usize>,
    ) -> Result<Option<Question>, BeliefError> {
        let circumstances = (0..self.book.desk.model.circumstances.len()).map(Question::Circumstance);
        let mut open: Vec<Question> =
            circumstances.chain(self.open(situation).into_iter().map(Question::Check)).collect();
        open.retain(|&question| !self.record.was_asked(question));
        open.sort_by(|&a, &b| self.book.id(a).cmp(self.book.id(b)));
        let worth: Vec<f64> = match policy {
            Policy::Planner | Policy::BookOrder => return Ok(open.first().copied()),
            Policy::CheapestCheck => {
                open.iter().map(|&question| -self.minutes(situation, question)).collect()
            }
            Policy::LikeliestCause => {
                let Some(cause) = likeliest else { return Ok(None) };
                self.answers(&open)?.iter().map(|answers| bearing(answers, cause)).collect()
            }
            Policy::MostInformative => self.answers(&open)?.iter().map(|answers| learned(answers)).collect(),
        };
        let told = policy != Policy::CheapestCheck;
        let best = worth.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)));
        Ok(best.filter(|(_, worth)| !told || **worth > TELLS_NOTHING).map(|(place, _)| open[place]))
    }

    fn minutes(&self, situation: &Situation<'_>, question: Question) -> f64 {
        match question {
            Question::Circumstance(_) => plan::DESK * plan::ASK,
            Question::Check(check) => {
                Clock::minutes_of(situation, self.spot.locked, self.book.checks[check].entry)
            }
        }
    }

    /// For each question what each cause, were it the only one, would answer, weighed as the cause is believed; and so for
    /// nothing being wrong.
    fn answers(&self, questions: &[Question]) -> Result<Vec<Vec<Answers<'_>>>, BeliefError> {
        let believed = &self.thought.posterior.causes;
        let nothing: f64 = believed.iter().map(|presence| 1.0 - presence.now).product();
        let weights = || believed.iter().map(|presence| presence.now).chain([nothing]);
        let of = |&question: &Question| {
            let each = weights().zip(self.book.alone(question)?).enumerate();
            Ok(each.map(|(cause, (weight, chances))| Answers { cause, weight, chances }).collect())
        };
        questions.iter().map(of).collect()
    }
}

/// What one cause alone would answer to a question; past the last cause, what a machine with nothing wrong would.
struct Answers<'b> {
    cause: usize,
    weight: f64,
    chances: &'b [f64],
}

/// How far the answer moves a cause: Σ over outcomes of |P(cause, outcome) − P(cause)·P(outcome)|.
fn bearing(answers: &[Answers<'_>], cause: usize) -> f64 {
    let total: f64 = answers.iter().map(|a| a.weight).sum();
    let with = |a: &&Answers<'_>| a.cause == cause;
    let there: f64 = answers.iter().filter(with).map(|a| a.weight).sum::<f64>() / total;
    let outcomes = answers.first().map_or(0, |a| a.chances.len());
    let moved = |outcome: usize| {
        let share = |a: &Answers<'_>| a.weight * a.chances[outcome] / total;
        let both: f64 = answers.iter().filter(with).map(share).sum();
        (both - there * answers.iter().map(share).sum::<f64>()).abs()
    };
    (0..outcomes).map(moved).sum()
}

/// The expected drop of the entropy of the causes, in nats: H(answer) − H(answer | causes).
fn learned(answers: &[Answers<'_>]) -> f64 {
    let total: f64 = answers.iter().map(|a| a.weight).sum();
    let outcomes = answers.first().map_or(0, |a| a.chances.len());
    let entropy = |p: f64| if p > 0.0 { -p * p.ln() } else { 0.0 };
    let whole: f64 = (0..outcomes)
        .map(|outcome| entropy(answers.iter().map(|a| a.weight / total * a.chances[outcome]).sum()))
        .sum();
    let given: f64 =
        answers.iter().map(|a| a.weight / total * a.chances.iter().map(|&p| entropy(p)).sum::<f64>()).sum();
    whole - given
}

#[cfg(test)]
mod tests {
    use super::*;

    fn even(chances: &[[f64; 2]; 2]) -> Vec<Answers<'_>> {
        let of = |(cause, chances)| Answers { cause, weight: 0.4, chances };
        chances.iter().map(|chances| &chances[..]).enumerate().map(of).collect()
    }

    #[test]
    fn a_sure_answer_between_two_even_causes_tells_one_bit_and_an_idle_one_nothing() {
        let (sure, idle) = (even(&[[1.0, 0.0], [0.0, 1.0]]), even(&[[0.3, 0.7], [0.3, 0.7]]));
        assert!((learned(&sure) - 2f64.ln()).abs() < 1e-12 && learned(&idle).abs() < 1e-12);
        assert!((bearing(&sure, 0) - 0.5).abs() < 1e-12 && bearing(&idle, 0).abs() < 1e-12);
    }
}
