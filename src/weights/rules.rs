//! What a rule says of a run: passes, fails, or too few to say; the lowest target that the spread allows; what is given away.
//!
//! A packer's guide, never an inspection: nothing is accepted or refused by a sampling plan here, each point is held against
//! where the true figure lies, 19 times in 20.

use serde::Serialize;

use super::stats::{CONFIDENCE, Interval, long_run_share, mean_interval};
use super::summary::Summary;
use crate::knowledge::{Judges, Rule};

/// At most so many packs may be short by more than the limit: the working figure of the average-quantity rule.
pub const FEW: f64 = 0.025;
/// Of those short by far none should be; as packers take it, fewer than one in ten thousand.
pub const HARDLY_ANY: f64 = 1e-4;
/// Spreads that leave one in forty below, as the guidance has it.
const SPREADS_FOR_FEW: f64 = 1.96;
/// Spreads that leave one in ten thousand below, as the guidance has it.
const SPREADS_FOR_HARDLY_ANY: f64 = 3.72;
/// Fewer independent fills say nothing; thirty give a usable look.
const FILLS_FOR_A_LOOK: usize = 10;
/// No more fills than this are asked for.
const MOST_FILLS: usize = 20_000;

/// What a point of a rule is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// The average against the label; the limit is the label.
    Average,
    /// The share of packs short by more than the limit.
    Short,
    /// The share short by more than what none may be.
    FarShort,
    /// The largest distance of a fill from the average.
    EachFill,
    /// The average's distance from the set weight.
    Setting,
}

/// How a point stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// All of where the true figure may lie is allowed.
    Passes,
    /// None of it is, or a fill that was weighed is not.
    Fails,
    /// Both are possible yet.
    TooFew {
        /// So many more fills like these would tell; none when no number asked for here would.
        more: Option<usize>,
    },
}

/// One point of a rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// What it is about.
    pub what: What,
    /// Grams, or for shares from 0 to 1.
    pub limit: f64,
    /// What was found, in the same.
    pub measured: Interval,
    /// How it stands.
    pub outcome: Outcome,
}

/// The lowest target that a spread allows, grams.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowestTarget {
    /// From the upper limit of the spread: what to work with.
    pub safe: f64,
    /// From the spread as measured.
    pub measured: f64,
}

/// What is put into packs beyond the label.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Giveaway {
    /// Grams a fill; negative when the average is short.
    pub per_fill: f64,
    /// Share of the label.
    pub share: f64,
    /// Kilograms a year, when the number of fills was given.
    pub kg_a_year: Option<f64>,
    /// In the money of the price, when that was given too.
    pub money_a_year: Option<f64>,
    /// What a spread as usual would save a fill, grams, by the lower target that it allows.
    pub smaller_spread_saves: Option<f64>,
}

/// What to hold a run against beside the rule.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Held {
    /// What the label says, or the set weight of a filler's class, grams.
    pub label: f64,
    /// The filler's class, as in X(0.5).
    pub class: Option<f64>,
    /// The spread when all is well, grams.
    pub usual_spread: Option<f64>,
    /// Fills in a year.
    pub fills_a_year: Option<f64>,
    /// Price of a kilogram of product.
    pub price: Option<f64>,
}

/// What a rule says of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// What the label says.
    pub label: f64,
    /// What the rule allows, grams.
    pub limit: f64,
    /// Point by point.
    pub points: Vec<Point>,
    /// For rules that the average counts in.
    pub lowest_target: Option<LowestTarget>,
    /// For the same.
    pub giveaway: Option<Giveaway>,
}

impl Judgement {
    /// All points together: fails when one does, passes when all do.
    pub fn outcome(&self) -> Outcome {
        let all = || self.points.iter().map(|point| point.outcome);
        if all().any(|outcome| outcome == Outcome::Fails) {
            return Outcome::Fails;
        }
        let waiting: Option<Option<usize>> = all()
            .filter_map(|outcome| if let Outcome::TooFew { more } = outcome { Some(more) } else { None })
            .reduce(|one, other| Some(one?.max(other?)));
        waiting.map_or(Outcome::Passes, |more| Outcome::TooFew { more })
    }
}

/// Why a rule says nothing of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Silent {
    /// The label's weight is outside what the rule is for.
    OutOfRange,
    /// There is no spread: fewer than two fills, or all alike.
    NoSpread,
    /// The filler's class is wanted.
    NoClass,
}

/// Holds a run against a rule.
pub fn judge(rule: &Rule, fills: &[f64], summary: &Summary, held: &Held) -> Result<Judgement, Silent> {
    let spread = summary.spread.ok_or(Silent::NoSpread)?;
    let seen = Seen { mean: summary.mean, spread: spread.estimate, worth: summary.worth, fills };
    if rule.judges == Judges::EachFill {
        let class = held.class.filter(|class| *class > 0.0).ok_or(Silent::NoClass)?;
        let limit = rule.limit(seen.mean).ok_or(Silent::OutOfRange)? * class;
        let setting = rule.setting_share.map(|share| seen.setting(held.label, share * limit));
        let points = std::iter::once(seen.each_fill(limit)).chain(setting).collect();
        return Ok(Judgement { label: held.label, limit, points, lowest_target: None, giveaway: None });
    }
    let label = held.label;
    let short = rule.limit(label).ok_or(Silent::OutOfRange)?;
    let far = far(rule.judges, short);
    let mut points = vec![seen.average(label)];
    if rule.judges == Judges::Average {
        points.push(seen.short(What::Short, label - short, FEW));
    }
    points.push(seen.short(What::FarShort, label - far, HARDLY_ANY));
    let lowest = |spread: f64| lowest_target(rule.judges, label, short, spread);
    let per_fill = seen.mean - label;
    let kg_a_year = held.fills_a_year.map(|fills| fills * per_fill / 1000.0);
    let giveaway = Giveaway {
        per_fill,
        share: per_fill / label,
        kg_a_year,
        money_a_year: kg_a_year.zip(held.price).map(|(kg, price)| kg * price),
        smaller_spread_saves: held
            .usual_spread
            .map(|usual| lowest(seen.spread) - lowest(usual))
            .filter(|saves| *saves > 0.0),
    };
    let enough = seen.worth >= FILLS_FOR_A_LOOK as f64;
    let lowest_target =
        enough.then(|| LowestTarget { safe: lowest(spread.high), measured: lowest(spread.estimate) });
    Ok(Judgement { label, limit: short, points, lowest_target, giveaway: Some(giveaway) })
}

/// What no pack may be short by.
fn far(judges: Judges, short: f64) -> f64 {
    if judges == Judges::Average { 2.0 * short } else { short }
}

/// The lowest target at which a spread keeps the average, the few and the hardly any; all in grams.
fn lowest_target(judges: Judges, label: f64, short: f64, spread: f64) -> f64 {
    let few = if judges == Judges::Average { label - short + SPREADS_FOR_FEW * spread } else { label };
    label.max(few).max(label - far(judges, short) + SPREADS_FOR_HARDLY_ANY * spread)
}

/// A run as the points need it.
struct Seen<'a> {
    mean: f64,
    spread: f64,
    /// Independent fills.
    worth: f64,
    fills: &'a [f64],
}

impl Seen<'_> {
    fn average(&self, label: f64) -> Point {
        let at = |worth: f64| mean_interval(self.mean, self.spread, worth, CONFIDENCE);
        self.point(What::Average, label, &at, |mean| settled(mean.low >= label, mean.high < label))
    }

    fn setting(&self, set: f64, limit: f64) -> Point {
        let at = |worth: f64| mean_interval(self.mean - set, self.spread, worth, CONFIDENCE);
        self.point(What::Setting, limit, &at, |off| {
            settled(off.low.abs().max(off.high.abs()) <= limit, off.low > limit || off.high < -limit)
        })
    }

    /// Packs below a limit: by the mean and the spread in the long run, and a pack that was weighed counts as what it is.
    fn short(&self, what: What, below: f64, share: f64) -> Point {
        let at = |worth: f64| long_run_share((below - self.mean) / self.spread, worth);
        let weighed = self.fills.iter().filter(|fill| **fill < below).count();
        let point = self.point(what, share, &at, |found| settled(found.high <= share, found.low > share));
        let none_may = share <= HARDLY_ANY && weighed > 0;
        if none_may { Point { outcome: Outcome::Fails, ..point } } else { point }
    }

    fn each_fill(&self, limit: f64) -> Point {
        let distance = |fill: &f64| (fill - self.mean).abs();
        let most = self.fills.iter().map(distance).fold(0.0, f64::max);
        let outcome = match self.fills.len() {
            _ if most > limit => Outcome::Fails,
            n if n < FILLS_FOR_A_LOOK => Outcome::TooFew { more: Some(FILLS_FOR_A_LOOK - n) },
            _ => Outcome::Passes,
        };
        Point { what: What::EachFill, limit, measured: Interval::around(most, 0.0), outcome }
    }

    fn point(
        &self,
        what: What,
        limit: f64,
        at: &dyn Fn(f64) -> Interval,
        settled: impl Fn(&Interval) -> Option<Outcome>,
    ) -> Point {
        let measured = at(self.worth);
        let now = self.fills.len();
        let share = self.worth / now as f64;
        let with = |more: usize| settled(&at((now + more) as f64 * share)).is_some();
        let few = self.worth < FILLS_FOR_A_LOOK as f64;
        let outcome = if few {
            let lacking = (FILLS_FOR_A_LOOK as f64 - self.worth) / share;
            Outcome::TooFew { more: Some(lacking.ceil() as usize) }
        } else {
            settled(&measured).unwrap_or_else(|| Outcome::TooFew { more: fewest(with) })
        };
        Point { what, limit, measured, outcome }
    }
}

fn settled(passes: bool, fails: bool) -> Option<Outcome> {
    match (passes, fails) {
        (_, true) => Some(Outcome::Fails),
        (true, _) => Some(Outcome::Passes),
        _ => None,
    }
}

/// The fewest more fills with which it is settled, by halving; more fills never unsettle it.
fn fewest(settles: impl Fn(usize) -> bool) -> Option<usize> {
    if !settles(MOST_FILLS) {
        return None;
    }
    let (mut few, mut enough) = (0, MOST_FILLS);
    while enough - few > 1 {
        let middle = few.midpoint(enough);
        if settles(middle) { enough = middle } else { few = middle }
    }
    Some(enough)
}

#[cfg(test)]
#[path = "rules_tests.rs"]
mod tests;
