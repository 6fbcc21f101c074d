//! Two versions of the knowledge on the same cases: did the change help?

use super::score::{CaseScore, Scores};
use super::simulate::Mean;

/// A case whose share moved by more than this factor got better or worse.
const MOVED: f64 = 1.25;

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
    /// ln of the factor on its share.
    fn gain(&self) -> f64 {
        (self.after.1.max(1e-6) / self.before.1.max(1e-6)).ln()
    }
}

/// Before and after on the cases that both could judge.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Cases judged by both.
    pub cases: usize,
    /// The log score after less that before, paired.
    pub log: Mean,
    /// The same of the Brier score.
    pub brier: Mean,
    /// The same of 'it led'.
    pub first: Mean,
    /// The same of 'among the first three'.
    pub first_three: Mean,
    /// Cases that got worse, the worst first.
    pub worse: Vec<Changed>,
    /// Cases that got better, the best first.
    pub better: Vec<Changed>,
    /// Cases that stood within the places that their file allows, and do not any more.
    pub fell_short: Vec<String>,
    /// Cases that only one of the two could judge.
    pub only_one: Vec<String>,
}

impl Comparison {
    /// Whether the knowledge got worse by more than a loss that is put up with; why, as a sentence.
    pub fn fails(&self, loss: Loss) -> Option<String> {
        if !self.fell_short.is_empty() {
            return Some(format!(
                "{} stood high enough before and falls short now.",
                self.fell_short.join(", ")
            ));
        }
        let error = self.log.error.unwrap_or(0.0);
        (self.cases > 0 && self.log.mean < -loss.log && self.log.mean < -2.0 * error).then(|| {
            format!(
                "The log score falls by {:.3} a case, more than the {} that is put up with and more than twice its error.",
                -self.log.mean, loss.log
            )
        })
    }
}

/// Compares two judgements of the same cases, matched by name.
pub fn compare(before: &Scores, after: &Scores) -> Comparison {
    let known: std::collections::BTreeMap<&str, &CaseScore> =
        before.cases.iter().map(|case| (case.name.as_str(), case)).collect();
    let pairs: Vec<(&CaseScore, &CaseScore)> =
        after.cases.iter().filter_map(|case| Some((*known.get(case.name.as_str())?, case))).collect();
    let difference = |of: &dyn Fn(&CaseScore) -> f64| {
        let all: Vec<f64> = pairs.iter().map(|(old, new)| of(new) - of(old)).collect();
        if all.is_empty() { Mean { mean: 0.0, error: None } } else { Mean::of(&all) }
    };
    let flag = |of: bool| f64::from(u8::from(of));
    let changed = |(old, new): &(&CaseScore, &CaseScore)| Changed {
        name: new.name.clone(),
        before: (old.place, old.share),
        after: (new.place, new.share),
    };
    let all: Vec<Changed> = pairs.iter().map(changed).collect();
    let mut worse: Vec<Changed> = all.iter().filter(|c| c.gain() < -MOVED.ln()).cloned().collect();
    let mut better: Vec<Changed> = all.iter().filter(|c| c.gain() > MOVED.ln()).cloned().collect();
    worse.sort_by(|a, b| a.gain().total_cmp(&b.gain()).then_with(|| a.name.cmp(&b.name)));
    better.sort_by(|a, b| b.gain().total_cmp(&a.gain()).then_with(|| a.name.cmp(&b.name)));
    let both: std::collections::BTreeSet<&str> = pairs.iter().map(|(_, case)| case.name.as_str()).collect();
    let one = before.cases.iter().chain(&after.cases).filter(|case| !both.contains(case.name.as_str()));
    Comparison {
        cases: pairs.len(),
        log: difference(&CaseScore::log),
        brier: difference(&|case| case.brier),
        first: difference(&|case| flag(case.place == 1)),
        first_three: difference(&|case| flag(case.place <= 3)),
        fell_short: pairs
            .iter()
            .filter(|(old, new)| new.fell_short() && !old.fell_short())
            .map(|(_, new)| new.name.clone())
            .collect(),
        only_one: one.map(|case| case.name.clone()).collect(),
        worse,
        better,
    }
}
