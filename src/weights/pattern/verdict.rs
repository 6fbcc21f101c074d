//! What can be said of a pattern, as data: the view turns it into words, and a plain sentence is offered.

use std::collections::BTreeMap;
use std::fmt;

use serde::Serialize;

use super::super::remark::{give_or_take, grams};
use super::super::run::Run;
use super::super::stats::Interval;
use super::super::summary::{Question, Summary, summarise};
use super::{Combination, Pattern};

/// Probability from which a pattern is named.
const NAMED: f64 = 0.5;
/// Probability from which a pattern is still open.
const OPEN: f64 = 0.35;
/// Odds over the next best that settle a question.
const SETTLED_ODDS: f64 = 9.0;

/// What the comparison allows to be said.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The run looks like a machine in order.
    NothingUnusual,
    /// This combination.
    Shows(Combination),
    /// Two or more explanations are left.
    CannotTell {
        /// The leading combinations with their probabilities.
        between: Vec<(Combination, f64)>,
        /// About how many more fills would tell (the evidence grows with the fills).
        more: usize,
    },
}

/// Names the patterns whose own probability is high, whatever goes with them: among many combinations no single one
/// need be likely.
pub(super) fn judge(posteriors: &[(Combination, f64)], each: &BTreeMap<Pattern, f64>, n: usize) -> Verdict {
    let shows: Combination = each.iter().filter(|(_, p)| **p >= NAMED).map(|(pattern, _)| *pattern).collect();
    let open = each.values().any(|p| (OPEN..NAMED).contains(p));
    let nothing = posteriors.iter().find(|(c, _)| c.is_empty()).map_or(0.0, |(_, p)| *p);
    if open || (shows.is_empty() && nothing < OPEN) {
        let between = posteriors.iter().take_while(|(_, q)| *q > 0.05).take(3).cloned().collect();
        let odds = posteriors.first().map_or(1.0, |f| f.1 / posteriors.get(1).map_or(0.0, |s| s.1).max(1e-9));
        return Verdict::CannotTell { between, more: more_fills(n, odds) };
    }
    if shows.is_empty() { Verdict::NothingUnusual } else { Verdict::Shows(shows) }
}

/// ln odds grow about in proportion to the number of fills; never under five more, never over three runs like this.
fn more_fills(n: usize, odds: f64) -> usize {
    let growth = SETTLED_ODDS.ln() / odds.max(1.0).ln().max(1e-6) - 1.0;
    let most = (3 * n).max(10);
    ((n as f64 * growth).ceil().min(most as f64) as usize).max(5)
}

/// How the spread stands to what is usual.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpreadWord {
    /// As usual for the machine.
    Usual,
    /// More than usual.
    Wide,
    /// Perhaps more than usual.
    PerhapsWide,
    /// Nothing to compare with.
    Unknown,
}

/// Where to look first.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LookFor {
    /// Nothing stands out.
    Nothing,
    /// The same error in every fill.
    Offset,
    /// Something that differs from fill to fill.
    Scatter,
    /// Both.
    OffsetAndScatter,
    /// Something that changes with time.
    Change,
    /// Something that comes back regularly.
    Rhythm,
    /// Something that happens to single fills.
    Events,
    /// What differs when the machine starts.
    Start,
    /// More fills first.
    MoreFills(usize),
}

/// The first sentence about a run, as data.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FirstSentence {
    /// Fills counted.
    pub fills: usize,
    /// Mean error, grams.
    pub error: Option<Interval>,
    /// Whether the error is worth a word: its interval excludes zero.
    pub off_target: bool,
    /// The spread against the usual one.
    pub spread: SpreadWord,
    /// The patterns named.
    pub shows: Combination,
    /// Where to look.
    pub look_for: LookFor,
}

pub(super) fn first_sentence(run: &Run, question: &Question, verdict: &Verdict) -> FirstSentence {
    let summary = summarise(run, question);
    let shows = match verdict {
        Verdict::Shows(combination) => combination.clone(),
        _ => Combination::new(),
    };
    let look_for = match verdict {
        Verdict::CannotTell { more, .. } => LookFor::MoreFills(*more),
        _ => look_for(&shows),
    };
    FirstSentence {
        fills: summary.n,
        error: summary.error,
        off_target: summary.error.is_some_and(|e| e.excludes_zero()),
        spread: spread_word(&summary, question, verdict),
        shows,
        look_for,
    }
}

/// What changes is looked for first, since it moves the mean and widens the spread as well.
fn look_for(shows: &Combination) -> LookFor {
    let any = |patterns: &[Pattern]| patterns.iter().any(|p| shows.contains(p));
    let offset = any(&[Pattern::Light, Pattern::Heavy]);
    if any(&[Pattern::StartUp]) {
        LookFor::Start
    } else if any(&[Pattern::Drift, Pattern::Step]) {
        LookFor::Change
    } else if any(&[Pattern::Wave, Pattern::SeeSaw, Pattern::TwoGroups]) {
        LookFor::Rhythm
    } else if any(&[Pattern::StraysLight, Pattern::StraysHeavy]) {
        LookFor::Events
    } else {
        match (offset, shows.contains(&Pattern::Wide)) {
            (true, true) => LookFor::OffsetAndScatter,
            (true, false) => LookFor::Offset,
            (false, true) => LookFor::Scatter,
            (false, false) => LookFor::Nothing,
        }
    }
}

fn spread_word(summary: &Summary, question: &Question, verdict: &Verdict) -> SpreadWord {
    if !question.usual_spread.is_some_and(|s| s > 0.0) || summary.spread.is_none() {
        return SpreadWord::Unknown;
    }
    let wide = |c: &Combination| c.contains(&Pattern::Wide);
    match verdict {
        Verdict::Shows(c) if wide(c) => SpreadWord::Wide,
        Verdict::CannotTell { between, .. } if between.iter().any(|(c, _)| wide(c)) => {
            SpreadWord::PerhapsWide
        }
        _ => SpreadWord::Usual,
    }
}

impl FirstSentence {
    /// What single fills are, when the run shows nothing else: then mean and spread say little.
    fn only_strays(&self) -> Option<&'static str> {
        let has = |pattern| self.shows.contains(&pattern);
        let (light, heavy) = (has(Pattern::StraysLight), has(Pattern::StraysHeavy));
        let all = usize::from(light) + usize::from(heavy);
        match (light, heavy) {
            _ if all == 0 || all < self.shows.len() => None,
            (true, true) => Some("far too light or too heavy"),
            (true, false) => Some("far too light"),
            _ => Some("far too heavy"),
        }
    }
}

impl fmt::Display for FirstSentence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(strays) = self.only_strays() {
            return write!(f, "most fills agree, single ones are {strays}: look for what happened to those");
        }
        match self.error {
            Some(error) if self.off_target => {
                let side = if error.estimate < 0.0 { "light" } else { "heavy" };
                let who = if self.shows.len() > 1 { "on average" } else { "every fill" };
                write!(
                    f,
                    "{who} about {} {side} (± {})",
                    grams(error.estimate.abs()),
                    give_or_take(error.half())
                )?;
            }
            Some(error) => {
                write!(
                    f,
                    "on target as far as {} fills tell (± {} g)",
                    self.fills,
                    give_or_take(error.half())
                )?;
            }
            None => write!(f, "{} {}", self.fills, if self.fills == 1 { "fill" } else { "fills" })?,
        }
        f.write_str(match self.spread {
            SpreadWord::Usual => ", spread usual for this machine",
            SpreadWord::Wide => ", more spread than is usual for this machine",
            SpreadWord::PerhapsWide => ", perhaps more spread than is usual",
            SpreadWord::Unknown => "",
        })?;
        match &self.look_for {
            LookFor::Nothing => f.write_str(": nothing unusual"),
            LookFor::Offset => f.write_str(": look for an offset, not for scatter"),
            LookFor::Scatter => f.write_str(": look for scatter, not for an offset"),
            LookFor::OffsetAndScatter => f.write_str(": look for an offset and for scatter"),
            LookFor::Change => f.write_str(": look for what changed along the run"),
            LookFor::Rhythm => f.write_str(": look for what comes back regularly"),
            LookFor::Events => f.write_str(": single fills are far off, look for what happened to them"),
            LookFor::Start => f.write_str(": the first fills differ, look at how the machine starts"),
            LookFor::MoreFills(more) => {
                write!(f, ": the pattern cannot be told yet, weigh about {more} more")
            }
        }
    }
}
