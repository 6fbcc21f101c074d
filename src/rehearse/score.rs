//! How well the knowledge diagnoses recorded cases: where the cause that was proved stood, and how sure the book was of it.
//!
//! The belief is taken from what was known before the remedy that took the complaint away, so that the answer is not given
//! away; nothing is planned, so that many cases are quick. Cases in which it was gone and nothing proves it have figures of
//! their own. The log score is the mean of ln q of the cause that it was, the
//! Brier score the mean of Σ (q − [it was])², q being the causes' shares (Good 1952; Brier 1950): lower Brier and higher log
//! are better, and saying what one believes is best under both.

use std::collections::{BTreeMap, BTreeSet};

use super::simulate::{Mean, in_parallel};
use super::taken::{Taken, taken};
use crate::belief::{self, Evidence};
use crate::casebook::{Case, Closing, RemedyResult, What};
use crate::ids::{CauseId, MachineId, OptionId};
use crate::knowledge::Knowledge;
use crate::walk::{Desk, gather};

/// No cause counts as less likely than this, so that one surprise does not outweigh everything else.
pub(super) const LEAST: f64 = 1e-6;
/// Bands of the calibration table.
pub const BANDS: usize = 10;
/// Fewer cases than this are too few to judge the calibration by.
pub const FEW: usize = 1000;

/// A case with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    /// The name of its file, or its id.
    pub name: String,
    /// The case.
    pub case: Case,
}

/// How a case was known to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Known {
    /// The file says what is expected.
    Expected,
    /// A remedy was proved.
    Proved,
    /// It was gone after a remedy, and nothing proves it.
    NotProved,
}

/// How one case was diagnosed.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseScore {
    /// Its name.
    pub name: String,
    /// Its machine.
    pub machine: MachineId,
    /// The cause that it was.
    pub cause: CauseId,
    /// How that is known.
    pub known: Known,
    /// The place of that cause, from 1.
    pub place: usize,
    /// Its share of all causes' probability.
    pub share: f64,
    /// Σ (share − [it was])² over all causes.
    pub brier: f64,
    /// The cause that leads.
    pub leads: Option<CauseId>,
    /// Places that it may stand in, where the file says so.
    pub within: Option<usize>,
    /// For each band of stated probability: causes stated so, and how many of them it was.
    pub bands: [(usize, usize); BANDS],
    /// Questions and checks, lockouts and minutes.
    pub taken: Taken,
    /// Whether somebody was sent.
    pub sent: bool,
}

impl CaseScore {
    /// Whether it stands further down than its file allows.
    pub fn fell_short(&self) -> bool {
        self.within.is_some_and(|within| self.place > within)
    }

    /// Whether it is known for sure what it was.
    pub fn is_sure(&self) -> bool {
        self.known != Known::NotProved
    }

    /// ln of the share of the cause that it was.
    pub fn log(&self) -> f64 {
        self.share.max(LEAST).ln()
    }
}

/// All cases that could be judged, and those that could not.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scores {
    /// In the order given.
    pub cases: Vec<CaseScore>,
    /// Name and why, as half a sentence.
    pub left_out: Vec<(String, String)>,
    /// Former ids in the knowledge that judged, and their heirs.
    pub(super) was: BTreeMap<String, String>,
}

/// The figures of many cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Cases judged.
    pub cases: usize,
    /// The cause that it was led.
    pub first: Mean,
    /// It stood among the first three.
    pub first_three: Mean,
    /// Mean ln of its share.
    pub log: Mean,
    /// Mean Brier score.
    pub brier: Mean,
    /// Questions and checks.
    pub checks: Mean,
    /// Lockouts.
    pub lockouts: Mean,
    /// Minutes of what was done, as the book has them.
    pub minutes: Mean,
    /// Share in which somebody was sent.
    pub sent: Mean,
    /// Stated probabilities in tenths: how many causes were stated so, and how many of them it was.
    pub calibration: [(usize, usize); BANDS],
}

impl Scores {
    /// The figures of the cases that tell for sure what it was; none when there is no such case.
    pub fn figures(&self) -> Option<Figures> {
        Figures::of(&self.cases.iter().filter(|case| case.is_sure()).collect::<Vec<_>>())
    }

    /// The figures of those in which it was gone and nothing proves it.
    pub fn not_proved(&self) -> Option<Figures> {
        Figures::of(&self.cases.iter().filter(|case| !case.is_sure()).collect::<Vec<_>>())
    }
}

impl Figures {
    fn of(cases: &[&CaseScore]) -> Option<Self> {
        if cases.is_empty() {
            return None;
        }
        let mean =
            |of: &dyn Fn(&CaseScore) -> f64| Mean::of(&cases.iter().map(|case| of(case)).collect::<Vec<_>>());
        let share = |of: fn(&CaseScore) -> bool| mean(&|case| f64::from(u8::from(of(case))));
        let mut calibration = [(0, 0); BANDS];
        for case in cases {
            for (sum, own) in calibration.iter_mut().zip(case.bands) {
                *sum = (sum.0 + own.0, sum.1 + own.1);
            }
        }
        Some(Self {
            cases: cases.len(),
            first: share(|case| case.place == 1),
            first_three: share(|case| case.place <= 3),
            log: mean(&CaseScore::log),
            brier: mean(&|case| case.brier),
            checks: mean(&|case| case.taken.checks as f64),
            lockouts: mean(&|case| case.taken.lockouts as f64),
            minutes: mean(&|case| case.taken.minutes),
            sent: share(|case| case.sent),
            calibration,
        })
    }
}

/// Desks by machine and options, each laid out once.
struct Desks<'k>(BTreeMap<(MachineId, Option<BTreeSet<OptionId>>), Desk<'k>>);

/// Judges recorded cases. What cannot be judged is left out by name.
pub fn score(
    knowledge: &Knowledge,
    cases: &[Named],
    threads: usize,
    progress: &(dyn Fn(usize) + Sync),
) -> Scores {
    let mut desks = Desks(BTreeMap::new());
    for named in cases {
        let key = (named.case.machine.clone(), named.case.fitted.clone());
        if !desks.0.contains_key(&key)
            && let Ok(desk) = Desk::for_case(knowledge, &named.case)
        {
            desks.0.insert(key, desk);
        }
    }
    let judged = in_parallel(threads, cases.len(), &|number, done| {
        let named = &cases[number];
        let key = (named.case.machine.clone(), named.case.fitted.clone());
        let desk = desks.0.get(&key).ok_or_else(|| format!("there is no machine '{}'", named.case.machine));
        let judged = desk.and_then(|desk| of_case(desk, named));
        progress(done());
        judged
    });
    let mut scores = Scores { was: knowledge.was.clone(), ..Scores::default() };
    for (named, judged) in cases.iter().zip(judged) {
        match judged {
            Ok(score) => scores.cases.push(score),
            Err(why) => scores.left_out.push((named.name.clone(), why)),
        }
    }
    scores
}

/// The cause that it was, how that is known, and the number of events that tell nothing of it yet.
fn truth(desk: &Desk<'_>, case: &Case) -> Result<(CauseId, Known, usize), String> {
    if let Some(cause) = case.expect.as_ref().and_then(|expect| expect.cause.clone()) {
        return Ok((cause, Known::Expected, case.events.len()));
    }
    if case.closed.is_none() {
        return Err("it is not closed and expects nothing".to_owned());
    }
    let remedies = case.events.iter().enumerate().filter_map(|(place, event)| match &event.what {
        What::Remedy { id, result } => Some((place, id, *result)),
        _ => None,
    });
    let mut latest_first = remedies.collect::<Vec<_>>().into_iter().rev();
    let cure = latest_first.next().and_then(|(place, id, result)| match result {
        RemedyResult::ProvedGone => Some((place, id, Known::Proved)),
        RemedyResult::GoneNotProved => Some((place, id, Known::NotProved)),
        _ => None,
    });
    let (place, id, known) = cure.ok_or("no remedy took it away, as far as the record tells")?;
    if latest_first.next().is_some_and(|(_, _, result)| result == RemedyResult::NotTried) {
        return Err(
            "several remedies were done before anybody tried, so nobody knows which it was".to_owned()
        );
    }
    let remedy = desk.knowledge.remedies.get(id).ok_or_else(|| format!("there is no remedy '{id}'"))?;
    Ok((remedy.cures.value.clone(), known, place))
}

fn of_case(desk: &Desk<'_>, Named { name, case }: &Named) -> Result<CaseScore, String> {
    let (cause, known, events) = truth(desk, case)?;
    let index = desk.model.cause(&cause).ok_or_else(|| format!("this machine has no cause '{cause}'"))?;
    let before = Case { events: case.events[..events].to_vec(), ..case.clone() };
    let evidence: Evidence = gather(desk, &before).evidence;
    let posterior = belief::posterior(&desk.model.network, &evidence).map_err(|error| error.to_string())?;
    let was: Vec<f64> = posterior.causes.iter().map(|presence| presence.was).collect();
    let all: f64 = was.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    let outside = desk.model.outside();
    // As in an answer: what is in no book never stands among the causes, and ties go by id.
    let ahead = |other: usize| {
        other != outside && (was[other] > was[index] || (was[other] == was[index] && other < index))
    };
    let place = 1 + (0..was.len()).filter(|&other| ahead(other)).count();
    let squares = |(other, own): (usize, &f64)| (own / all - f64::from(u8::from(other == index))).powi(2);
    let mut bands = [(0, 0); BANDS];
    for (other, own) in was.iter().enumerate().filter(|(other, _)| *other != outside) {
        let band = ((own * BANDS as f64) as usize).min(BANDS - 1);
        bands[band].0 += 1;
        bands[band].1 += usize::from(other == index);
    }
    let first = (0..was.len())
        .filter(|other| *other != outside)
        .max_by(|a, b| was[*a].total_cmp(&was[*b]).then(b.cmp(a)));
    Ok(CaseScore {
        name: name.clone(),
        machine: case.machine.clone(),
        cause,
        known,
        place,
        share: was[index] / all,
        brier: was.iter().enumerate().map(squares).sum(),
        leads: first.and_then(|first| desk.model.causes.get(first).cloned()),
        within: case.expect.as_ref().filter(|_| known == Known::Expected).map(|expect| expect.within),
        bands,
        taken: taken(desk, case),
        sent: case.closed == Some(Closing::SentSomebody),
    })
}
