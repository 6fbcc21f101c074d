//! Two versions of the knowledge on the same cases: did the change help?
//!
//! Everything is paired: the difference is taken case by case, and its standard error is that of the mean difference.

use std::collections::BTreeMap;

use super::score::{CaseScore, Known, LEAST, Scores};
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
    /// Nats that any one case with `expect:` may lose. What harms one cause moves one case of many, and no mean shows that.
    pub case: f64,
}

impl Default for Loss {
    fn default() -> Self {
        Self { log: 0.02, case: 0.7 }
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
    /// Cases whose file says what is expected, and the nats that each lost; the most first.
    pub expected_lost: Vec<(String, f64)>,
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
        let past: Vec<&str> = self.past(loss.case).collect();
        if !past.is_empty() {
            return Some(format!(
                "a case with `expect:` may lose {} nats, and more is lost by: {}.",
                loss.case,
                listed(past.into_iter())
            ));
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

    /// Cases with `expect:` that lost more than so many nats.
    fn past(&self, nats: f64) -> impl Iterator<Item = &str> {
        self.expected_lost.iter().filter(move |(_, lost)| *lost > nats).map(|(name, _)| name.as_str())
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
        expected_lost: expected_lost(&same),
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

fn expected_lost(pairs: &[(&CaseScore, &CaseScore)]) -> Vec<(String, f64)> {
    let expected = pairs.iter().filter(|(_, new)| new.known == Known::Expected);
    let lost = expected.map(|(old, new)| (new.name.clone(), old.log() - new.log()));
    let mut lost: Vec<(String, f64)> = lost.filter(|(_, nats)| *nats > 0.0).collect();
    lost.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    lost
}

fn difference(pairs: &[(&CaseScore, &CaseScore)], of: &dyn Fn(&CaseScore) -> f64) -> Mean {
    let all: Vec<f64> = pairs.iter().map(|(old, new)| of(new) - of(old)).collect();
    if all.is_empty() { Mean { mean: 0.0, error: None } } else { Mean::of(&all) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{CauseId, MachineId};
    use crate::rehearse::{BANDS, Taken};

    fn case(name: &str, known: Known, (place, share): (usize, f64)) -> CaseScore {
        CaseScore {
            name: name.to_owned(),
            machine: MachineId::from("tray-filler"),
            cause: CauseId::from("pan-touching"),
            known,
            place,
            share,
            brier: (1.0 - share).powi(2),
            leads: None,
            within: (known == Known::Expected).then_some(3),
            bands: [(0, 0); BANDS],
            taken: Taken::default(),
            sent: false,
        }
    }

    fn scores(cases: &[(&str, Known, (usize, f64))]) -> Scores {
        let cases = cases.iter().map(|(name, known, stood)| case(name, *known, *stood)).collect();
        Scores { cases, ..Scores::default() }
    }

    #[test]
    fn differences_are_paired_and_what_is_not_proved_stands_apart() {
        use Known::{NotProved, Proved};
        let before = scores(&[
            ("a", Proved, (1, 0.8)),
            ("b", Proved, (2, 0.2)),
            ("c", Proved, (1, 0.5)),
            ("d", NotProved, (1, 0.9)),
        ]);
        let after = scores(&[
            ("d", NotProved, (4, 0.009)),
            ("c", Proved, (1, 0.5)),
            ("b", Proved, (1, 0.4)),
            ("a", Proved, (1, 0.4)),
        ]);
        let found = compare(&before, &after);
        assert_eq!((found.cases, found.first.mean, found.first_three.mean), (3, 1.0 / 3.0, 0.0));
        // ln 2 lost by one, won by another, nothing by the third.
        let ln2 = 2f64.ln();
        assert!(found.log.mean.abs() < 1e-12);
        let error = (2.0 * ln2 * ln2 / 2.0 / 3.0).sqrt();
        assert!((found.log.error.unwrap() - error).abs() < 1e-12);
        let brier = ((0.36 - 0.04) + (0.36 - 0.64)) / 3.0;
        assert!((found.brier.mean - brier).abs() < 1e-12);
        let (apart, log) = found.not_proved.unwrap();
        assert!(apart == 1 && (log.mean - 0.01f64.ln()).abs() < 1e-12);
        let names = |cases: &[Changed]| cases.iter().map(|case| case.name.clone()).collect::<Vec<_>>();
        assert_eq!(
            (names(&found.worse), names(&found.better)),
            (vec!["d".into(), "a".into()], vec!["b".into()])
        );
        assert_eq!(found.fails(Loss::default()), None);
        assert_eq!(compare(&before, &before).log, Mean { mean: 0.0, error: Some(0.0) });
    }

    #[test]
    fn each_kind_of_loss_fails_and_says_which_case() {
        use Known::{Expected, Proved};
        let one = |known, stood| scores(&[("a", known, stood), ("b", Proved, (1, 0.5))]);
        let fails = |before: &Scores, after: &Scores| compare(before, after).fails(Loss::default());
        let fell = fails(&one(Expected, (3, 0.2)), &one(Expected, (4, 0.19))).unwrap();
        assert!(fell.contains("falls short now: a."), "{fell}");
        assert_eq!(fails(&one(Expected, (4, 0.2)), &one(Expected, (5, 0.19))), None, "it did before, too");
        let lost = fails(&one(Expected, (1, 0.8)), &one(Expected, (1, 0.39))).unwrap();
        assert!(lost.contains("more is lost by: a."), "{lost}");
        assert_eq!(fails(&one(Expected, (1, 0.8)), &one(Expected, (1, 0.41))), None);
        assert_eq!(
            fails(&one(Proved, (1, 0.8)), &one(Proved, (1, 0.39))),
            None,
            "one record among many tells little"
        );
        let gone = fails(&one(Proved, (1, 0.8)), &scores(&[("b", Proved, (1, 0.5))])).unwrap();
        assert!(gone.contains("cannot be any more: a."), "{gone}");
        let all = |share| {
            let names = ["a", "b", "c", "d"];
            scores(
                &names.map(|name| (name, Proved, (1, share * (1.0 + f64::from(name.as_bytes()[0]) / 1e5)))),
            )
        };
        let score = fails(&all(0.5), &all(0.45)).unwrap();
        assert!(score.contains("falls by 0.105 a case"), "{score}");
        assert_eq!(fails(&all(0.5), &all(0.495)), None, "less than is put up with");
    }
}
