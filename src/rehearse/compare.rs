//! Two versions of the knowledge on the same cases: did the change help?
//!
//! Everything is paired: the difference is taken case by case, and its standard error is that of the mean difference.

use std::collections::BTreeMap;

use super::score::{CaseScore, LEAST, Scores};
use super::simulate::Mean;

/// A case whose share moved by more than this factor got better or worse, wherever it stands.
pub const MOVED: f64 = 1.25;
/// Names told in a sentence.
const MOST_NAMED: usize = 20;

/// How much worse the knowledge may get before it is said to be worse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Nats of log score a case; it counts when it is also more than twice its standard error.
    pub log: f64,
}

impl Default for Loss {
    fn default() -> Self {
        Self { log: 0.02 }
    }
}

/// A case that got better or worse.
#[derive(Debug, Clone, PartialEq)]
pub struct Changed {
    /// Its name.
    pub name: String,
    /// Place and share before.
    pub before: (usize, f64),
    /// Place and share after.
    pub after: (usize, f64),
}

impl Changed {
    fn of((old, new): (&CaseScore, &CaseScore)) -> Self {
        Self { name: new.name.clone(), before: (old.place, old.share), after: (new.place, new.share) }
    }

    /// ln of the factor on its share.
    fn gain(&self) -> f64 {
        (self.after.1.max(LEAST) / self.before.1.max(LEAST)).ln()
    }

    /// Whether it got better, worse, or hardly moved: its place tells, and where that stays its share.
    fn direction(&self) -> i8 {
        let by_place = self.before.0.cmp(&self.after.0) as i8;
        let by_share = if self.gain().abs() > MOVED.ln() { self.gain().signum() as i8 } else { 0 };
        if by_place == 0 { by_share } else { by_place }
    }
}

/// After less before, figure by figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Cases that tell for sure what it was, judged by both.
    pub cases: usize,
    /// The log score.
    pub log: Mean,
    /// The Brier score.
    pub brier: Mean,
    /// 'It led'.
    pub first: Mean,
    /// 'Among the first three'.
    pub first_three: Mean,
    /// Questions and checks.
    pub checks: Mean,
    /// Lockouts.
    pub lockouts: Mean,
    /// Minutes by the book.
    pub minutes: Mean,
    /// Somebody was sent.
    pub sent: Mean,
    /// Cases in which it was gone and nothing proves it, and the log score of those.
    pub not_proved: Option<(usize, Mean)>,
    /// Cases that got worse, the worst first.
    pub worse: Vec<Changed>,
    /// Cases that got better, the best first.
    pub better: Vec<Changed>,
    /// Cases that stood within the places that their file allows, and do not any more.
    pub fell_short: Vec<String>,
    /// Cases that could be judged before and cannot be any more, and why not.
    pub lost: Vec<(String, String)>,
    /// Cases that can be judged now and could not before.
    pub gained: Vec<String>,
    /// Cases held against one cause before and against another now; they are in no figure.
    pub other_cause: Vec<String>,
}

impl Comparison {
    /// Whether the knowledge got worse by more than a loss that is put up with; why, as a sentence.
    pub fn fails(&self, loss: Loss) -> Option<String> {
        if !self.fell_short.is_empty() {
            let names = self.fell_short.iter().map(String::as_str);
            return Some(format!("what stood high enough before falls short now: {}.", listed(names)));
        }
        if !self.lost.is_empty() {
            let names = self.lost.iter().map(|(name, _)| name.as_str());
            return Some(format!("what could be judged before cannot be any more: {}.", listed(names)));
        }
        let sure = self.log.error.is_some_and(|error| self.log.mean < -2.0 * error);
        (sure && self.log.mean < -loss.log).then(|| {
            format!(
                "the log score falls by {:.3} a case, more than the {} that is put up with and more than twice its \
                 standard error.",
                -self.log.mean, loss.log
            )
        })
    }

    /// Whether the log score rose by more than twice its standard error.
    pub fn helps(&self) -> bool {
        self.log.error.is_some_and(|error| self.log.mean > 2.0 * error)
    }
}

fn listed<'a>(names: impl ExactSizeIterator<Item = &'a str>) -> String {
    let more = names.len().saturating_sub(MOST_NAMED);
    let named = names.take(MOST_NAMED).collect::<Vec<_>>().join(", ");
    if more > 0 { format!("{named}, and {more} more") } else { named }
}

/// Compares two judgements of the same cases, matched by name; names are told once in each.
pub fn compare(before: &Scores, after: &Scores) -> Comparison {
    let by_name = |scores: &'_ Scores| -> BTreeMap<String, usize> {
        scores.cases.iter().enumerate().map(|(place, case)| (case.name.clone(), place)).collect()
    };
    let (old, new) = (by_name(before), by_name(after));
    let judged = after.cases.iter().filter_map(|case| Some((&before.cases[*old.get(&case.name)?], case)));
    let (same, other): (Vec<_>, Vec<_>) = judged.partition(|pair| same_cause(before, after, *pair));
    let (sure, not_proved): (Vec<_>, Vec<_>) =
        same.iter().copied().partition(|(old, new)| old.is_sure() && new.is_sure());
    let mean = |of: &dyn Fn(&CaseScore) -> f64| difference(&sure, of);
    let share = |of: fn(&CaseScore) -> bool| mean(&|case| f64::from(u8::from(of(case))));
    let mut moved: Vec<(i8, Changed)> =
        same.iter().map(|pair| Changed::of(*pair)).map(|c| (c.direction(), c)).collect();
    // The furthest first, and by name where they moved alike.
    moved.sort_by(|(_, a), (_, b)| {
        b.gain().abs().total_cmp(&a.gain().abs()).then_with(|| a.name.cmp(&b.name))
    });
    let towards = |wanted: i8| {
        moved
            .iter()
            .filter(|(direction, _)| *direction == wanted)
            .map(|(_, changed)| changed.clone())
            .collect()
    };
    let left: BTreeMap<&str, &str> =
        after.left_out.iter().map(|(name, why)| (name.as_str(), why.as_str())).collect();
    let why = |name: &str| left.get(name).map_or("it is not there", |why| why).to_owned();
    let names = |scores: &Scores, known: &BTreeMap<String, usize>| -> Vec<String> {
        let missing = scores.cases.iter().filter(|case| !known.contains_key(&case.name));
        missing.map(|case| case.name.clone()).collect()
    };
    Comparison {
        cases: sure.len(),
        log: mean(&CaseScore::log),
        brier: mean(&|case| case.brier),
        first: share(|case| case.place == 1),
        first_three: share(|case| case.place <= 3),
        checks: mean(&|case| case.taken.checks as f64),
        lockouts: mean(&|case| case.taken.lockouts as f64),
        minutes: mean(&|case| case.taken.minutes),
        sent: share(|case| case.sent),
        not_proved: (!not_proved.is_empty())
            .then(|| (not_proved.len(), difference(&not_proved, &CaseScore::log))),
        worse: towards(-1),
        better: towards(1),
        fell_short: same
            .iter()
            .filter(|(old, new)| new.fell_short() && !old.fell_short())
            .map(|(_, new)| new.name.clone())
            .collect(),
        lost: names(before, &new).into_iter().map(|name| (name.clone(), why(&name))).collect(),
        gained: names(after, &old),
        other_cause: other.iter().map(|(_, new)| new.name.clone()).collect(),
    }
}

/// Whether both hold a case against the same cause, by whatever name each knows it.
fn same_cause(before: &Scores, after: &Scores, (old, new): (&CaseScore, &CaseScore)) -> bool {
    let heir = |of: &Scores, former: &CaseScore, now: &CaseScore| {
        of.was.get(former.cause.as_str()).is_some_and(|heir| heir == now.cause.as_str())
    };
    old.cause == new.cause || heir(after, old, new) || heir(before, new, old)
}

fn difference(pairs: &[(&CaseScore, &CaseScore)], of: &dyn Fn(&CaseScore) -> f64) -> Mean {
    let all: Vec<f64> = pairs.iter().map(|(old, new)| of(new) - of(old)).collect();
    if all.is_empty() { Mean { mean: 0.0, error: None } } else { Mean::of(&all) }
}
