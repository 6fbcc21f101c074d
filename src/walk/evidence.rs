//! From the events of a case to evidence for the belief, item by item with the event that each comes from.

use std::collections::{BTreeMap, BTreeSet};

use super::desk::Desk;
use crate::belief::{self, Evidence, Item, band_weights, leading_outcome, quantity};
use crate::casebook::{Case, Event, Fills, Happened, Moment, Reading, RemedyResult, What};
use crate::ids::{CheckId, CircumstanceId, FindingId, OutcomeId, PersonId, RemedyId};
use crate::knowledge::{Asks, Check, Machine};
use crate::units::Unit;
use crate::weights::pattern::{Combination, Verdict};
use crate::weights::{Patterns, Question, Run, RunInput, Tare, TareKind, find_patterns};

/// P(told 'happened' | it did not), P(told 'happened' | it did).
const TOLD_CIRCUMSTANCE: [f64; 2] = [0.03, 0.95];
/// The outcome of a run in which nothing is unusual.
pub const NOTHING_UNUSUAL: &str = "nothing-unusual";
/// The outcome of a run that leaves more than one pattern open.
pub const NOT_CLEAR_YET: &str = "not-clear-yet";

/// One answer that counts: where it stands in the case, and what it became.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// Index of the event.
    pub event: usize,
    /// Check, circumstance or remedy.
    pub id: String,
    /// The outcome it came to.
    pub outcome: String,
    /// Who said it.
    pub by: Option<PersonId>,
    /// Its item in the evidence, when it bears on anything on this machine.
    pub item: Option<usize>,
    /// What it is.
    pub kind: HeardKind,
}

/// What kind of answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeardKind {
    /// A check.
    Check,
    /// A circumstance.
    Circumstance,
    /// How a remedy went.
    Remedy,
}

/// A case as evidence.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    /// What the belief takes.
    pub evidence: Evidence,
    /// Every answer that counts.
    pub heard: Vec<Heard>,
    /// Symptoms that the caller named, in order.
    pub complained: Vec<FindingId>,
    /// What the latest run says, with the number of its fills and its event.
    pub run: Option<(usize, Patterns, usize)>,
    /// Outcome of each check answered since the last remedy, `None` for 'cannot tell'.
    pub answered: BTreeMap<CheckId, Option<OutcomeId>>,
    /// Circumstances asked about.
    pub asked: BTreeSet<CircumstanceId>,
    /// Remedies done.
    pub done: BTreeSet<RemedyId>,
    /// Fills since the last remedy or setting change.
    pub fills: usize,
}

/// Reads the events in order. An answer that a later one of the same check replaces is left out; runs under equal
/// settings are pooled.
pub fn gather(desk: &Desk<'_>, case: &Case) -> Gathered {
    let mut gathered = Gathered::default();
    let standing = standing(desk, case);
    for (index, event) in case.events.iter().enumerate() {
        let mut scribe = Scribe { desk, case, gathered: &mut gathered, event: index };
        match &event.what {
            What::Reading { check, reading, moment } => {
                if let Some(check) = desk.knowledge.checks.get(check) {
                    scribe.reading(check, reading, *moment, standing[index]);
                }
            }
            What::Circumstance { id, answer } => scribe.circumstance(id, *answer, standing[index]),
            What::Remedy { id, result } => scribe.remedy(id, *result),
            What::Setting { new: Some(_), .. } => scribe.gathered.fills = 0,
            // An old value written down changes nothing yet.
            What::Setting { .. } | What::Suspicion(_) | What::Note(_) => {}
        }
    }
    gathered
}

/// Which answers stand: of one check that gives no fresh evidence, and of one circumstance, the last before the next
/// remedy; of what the caller says, the last for each symptom; of runs, the last of a pool, which holds them all.
fn standing(desk: &Desk<'_>, case: &Case) -> Vec<bool> {
    let mut stands = vec![true; case.events.len()];
    let mut last: BTreeMap<String, usize> = BTreeMap::new();
    for (index, event) in case.events.iter().enumerate() {
        let key = match &event.what {
            What::Reading { check, reading, .. } => match desk.knowledge.checks.get(check) {
                Some(known) if matches!(known.asks, Asks::Complaint) => match reading {
                    Reading::Outcome(outcome) => Some(format!("says {outcome}")),
                    _ => None,
                },
                Some(known) if matches!(known.asks, Asks::Run) => match reading {
                    Reading::Fills(fills) => Some(format!("run {}", pool_key(fills))),
                    _ => None,
                },
                Some(known) if !known.fresh => {
                    (!matches!(reading, Reading::CannotTell)).then(|| format!("check {check}"))
                }
                _ => None,
            },
            What::Circumstance { id, answer } => {
                (*answer != Happened::CannotTell).then(|| format!("asked {id}"))
            }
            What::Remedy { .. } => {
                last.clear();
                None
            }
            What::Setting { new: Some(_), .. } => {
                last.retain(|key, _| !key.starts_with("run "));
                None
            }
            _ => None,
        };
        if let Some(before) = key.and_then(|key| last.insert(key, index)) {
            stands[before] = false;
        }
    }
    stands
}

/// Runs with the same target, unit and instrument are one run.
fn pool_key(fills: &Fills) -> String {
    format!("{} {} {}", fills.unit, fills.target, fills.instrument.as_deref().unwrap_or(""))
}

/// A run with those before it under equal settings, oldest first.
pub(super) fn pooled(before: &[Event], fills: &Fills) -> Fills {
    let mut pooled = fills.clone();
    for event in before.iter().rev() {
        match &event.what {
            What::Remedy { .. } | What::Setting { new: Some(_), .. } => break,
            What::Reading { reading: Reading::Fills(earlier), .. }
                if pool_key(earlier) == pool_key(fills) =>
            {
                pooled.values.splice(0..0, earlier.values.iter().copied());
                // Pairs and tares of only some fills would not line up with the pool.
                (pooled.shown, pooled.tare, pooled.lanes, pooled.times) = Default::default();
            }
            _ => {}
        }
    }
    pooled
}

/// The latest run of a case, with those before it that belong to it.
pub fn latest_run(case: &Case) -> Option<Fills> {
    let run = |(index, event): (usize, &Event)| Some(pooled(&case.events[..index], event.fills()?));
    case.events.iter().enumerate().rev().find_map(run)
}

/// What a run of this machine is held against.
pub fn usual_for(machine: &Machine) -> Question {
    Question {
        tolerance: Some(machine.tolerance),
        usual_spread: Some(machine.usual_spread),
        ..Question::default()
    }
}

struct Scribe<'a, 'k> {
    desk: &'a Desk<'k>,
    case: &'a Case,
    gathered: &'a mut Gathered,
    event: usize,
}

impl Scribe<'_, '_> {
    fn reading(&mut self, check: &Check, reading: &Reading, moment: Moment, stands: bool) {
        if matches!(reading, Reading::CannotTell) {
            self.gathered.answered.entry(check.id.clone()).or_insert(None);
            return;
        }
        let (outcome, item) = match (&check.asks, reading) {
            (Asks::Complaint, Reading::Outcome(outcome)) => self.says(outcome, stands),
            (Asks::Run, Reading::Fills(fills)) => match self.run(fills, moment) {
                Some((outcome, item)) => (outcome, stands.then_some(item)),
                None => return,
            },
            _ => match self.table(check, reading, moment) {
                Some((outcome, item)) => (outcome, item.filter(|_| stands)),
                None => return,
            },
        };
        self.gathered.answered.insert(check.id.clone(), Some(outcome.clone()));
        self.keep(check.id.as_str(), outcome.as_str(), item, stands, HeardKind::Check);
        let disturbed: Vec<usize> =
            check.work.disturbs.iter().filter_map(|f| self.desk.model.finding(&f.value)).collect();
        if !disturbed.is_empty() && stands {
            self.gathered.evidence.0.push(Item::Afresh { findings: disturbed });
        }
    }

    fn keep(&mut self, id: &str, outcome: &str, item: Option<Item>, stands: bool, kind: HeardKind) {
        if !stands {
            return;
        }
        let place = item.map(|item| {
            self.gathered.evidence.0.push(item);
            self.gathered.evidence.0.len() - 1
        });
        let by = self.case.events[self.event].by.clone();
        let heard = Heard {
            event: self.event,
            id: id.to_owned(),
            outcome: outcome.to_owned(),
            by,
            item: place,
            kind,
        };
        self.gathered.heard.push(heard);
    }

    /// What the caller says: a yes/no factor of its own for the one symptom.
    fn says(&mut self, outcome: &OutcomeId, stands: bool) -> (OutcomeId, Option<Item>) {
        let symptom = FindingId::new(outcome.as_str());
        if stands && !self.gathered.complained.contains(&symptom) {
            self.gathered.complained.push(symptom.clone());
        }
        let item = said(self.desk, &symptom);
        (outcome.clone(), item)
    }

    fn table(&self, check: &Check, reading: &Reading, moment: Moment) -> Option<(OutcomeId, Option<Item>)> {
        let weights = self.weights(check, reading)?;
        let outcome = match reading {
            Reading::Outcome(outcome) => outcome.clone(),
            _ => leading_outcome(check, &weights)?,
        };
        let item = self.desk.model.tables.get(&check.id).filter(|t| !t.findings.is_empty()).map(|table| {
            Item::Answer {
                findings: table.findings.clone(),
                likelihood: table.weighted(&weights),
                moment: if check.any_time { belief::Moment::Bad } else { moment_of(moment) },
            }
        });
        Some((outcome, item))
    }

    fn weights(&self, check: &Check, reading: &Reading) -> Option<Vec<f64>> {
        match reading {
            Reading::Outcome(outcome) => {
                let place = check.outcomes.iter().position(|o| o.id.value == *outcome)?;
                Some((0..check.outcomes.len()).map(|i| f64::from(u8::from(i == place))).collect())
            }
            Reading::Value { value, against } => {
                let difference =
                    value.base() - against.as_ref().map_or(0.0, |partner| partner.quantity().base());
                Some(band_weights(check, quantity(check)?, difference, self.desk.division(self.case)))
            }
            _ => None,
        }
    }

    fn run(&mut self, fills: &Fills, moment: Moment) -> Option<(OutcomeId, Item)> {
        let pooled = pooled(&self.case.events[..self.event], fills);
        let run = to_run(&pooled).ok()?;
        let patterns = find_patterns(&run, &usual_for(self.desk.view.machine));
        let item = run_item(&self.desk.model, &patterns, moment);
        let outcome = match &patterns.verdict {
            Verdict::NothingUnusual => NOTHING_UNUSUAL.to_owned(),
            Verdict::CannotTell { .. } => NOT_CLEAR_YET.to_owned(),
            Verdict::Shows(shown) => shown.iter().map(|p| p.name()).collect::<Vec<_>>().join("+"),
        };
        self.gathered.fills = pooled.values.len();
        self.gathered.run = Some((pooled.values.len(), patterns, self.event));
        Some((OutcomeId::new(outcome), item))
    }

    fn circumstance(&mut self, id: &CircumstanceId, answer: Happened, stands: bool) {
        self.gathered.asked.insert(id.clone());
        let [alarm, hit] = TOLD_CIRCUMSTANCE;
        let (word, likelihood) = match answer {
            Happened::Happened => ("happened", [alarm, hit]),
            Happened::DidNot => ("did-not", [1.0 - alarm, 1.0 - hit]),
            Happened::CannotTell => return,
        };
        let index = self.desk.model.circumstance(id);
        let item = index.map(|index| Item::Circumstance { index, likelihood });
        self.keep(id.as_str(), word, item, stands, HeardKind::Circumstance);
    }

    /// A remedy done, what it disturbs, and how it went: a told answer about what was complained of.
    fn remedy(&mut self, id: &RemedyId, result: RemedyResult) {
        let Some(remedy) = self.desk.knowledge.remedies.get(id) else { return };
        if let Some(cause) = self.desk.model.cause(&remedy.cures.value) {
            self.gathered.evidence.0.push(Item::Remedy { cause, works: remedy.works });
        }
        let model = &self.desk.model;
        let disturbed: Vec<usize> = if result == RemedyResult::Changed {
            (0..model.network.findings().len()).collect()
        } else {
            remedy.work.disturbs.iter().filter_map(|f| model.finding(&f.value)).collect()
        };
        if !disturbed.is_empty() {
            self.gathered.evidence.0.push(Item::Afresh { findings: disturbed });
        }
        self.gathered.done.insert(id.clone());
        self.gathered.answered.clear();
        self.gathered.fills = 0;
        let outcome = match result {
            RemedyResult::StillThere => "still-there",
            RemedyResult::GoneNotProved => "gone-not-proved",
            RemedyResult::ProvedGone => "proved-gone",
            RemedyResult::Changed => "changed",
            RemedyResult::NotTried => "not-tried",
        };
        let item = (!self.proving_run_follows()).then(|| self.result(result)).flatten();
        self.keep(id.as_str(), outcome, item, true, HeardKind::Remedy);
    }

    /// A proving run read after the remedy counts as itself; the result then counts for nothing more.
    fn proving_run_follows(&self) -> bool {
        let after = &self.case.events[self.event + 1..];
        let until = after.iter().position(|e| matches!(e.what, What::Remedy { .. })).unwrap_or(after.len());
        after[..until].iter().any(|e| e.fills().is_some())
    }

    fn result(&self, result: RemedyResult) -> Option<Item> {
        let present = match result {
            RemedyResult::StillThere => true,
            RemedyResult::GoneNotProved | RemedyResult::ProvedGone => false,
            RemedyResult::Changed | RemedyResult::NotTried => return None,
        };
        told_result(self.desk, &complaint(self.desk, self.gathered), present)
    }
}

/// A symptom that the caller names unasked; nothing where this machine cannot show it.
pub fn said(desk: &Desk<'_>, symptom: &FindingId) -> Option<Item> {
    let (known, finding) = desk.knowledge.findings.get(symptom).zip(desk.model.finding(symptom))?;
    let (hit, alarm) = known.said;
    let degrees = desk.model.network.findings()[finding].degrees;
    let likelihood = (0..=degrees).map(|state| if state == 0 { alarm } else { hit }).collect();
    // What is complained of is how it is when it shows.
    Some(Item::Answer { findings: vec![finding], likelihood, moment: belief::Moment::Bad })
}

/// How a remedy went, as told: whether anything of what was complained of is still there.
pub fn told_result(desk: &Desk<'_>, complaint: &[FindingId], present: bool) -> Option<Item> {
    let model = &desk.model;
    let mut findings: Vec<usize> = complaint.iter().filter_map(|f| model.finding(f)).collect();
    findings.sort_unstable();
    if findings.is_empty() || findings.len() > MOST_COMPLAINTS {
        return None;
    }
    let told = crate::knowledge::How::Told;
    let (hit, alarm) = desk.knowledge.scale.hits.get(&told).copied().unwrap_or((0.8, 0.1));
    let states: usize = findings.iter().map(|&f| model.network.findings()[f].degrees + 1).product();
    // Row 0 of the joint table is 'all normal'.
    let likelihood = (0..states)
        .map(|row| match (row == 0, present) {
            (true, true) => alarm,
            (true, false) => 1.0 - alarm,
            (false, true) => hit,
            (false, false) => 1.0 - hit,
        })
        .collect();
    Some(Item::Answer { findings, likelihood, moment: belief::Moment::Bad })
}

/// A told result bears on at most so many symptoms at once.
const MOST_COMPLAINTS: usize = 6;

/// What is complained of: the symptoms that the caller named, else those that the runs show.
pub(super) fn complaint(desk: &Desk<'_>, gathered: &Gathered) -> Vec<FindingId> {
    if !gathered.complained.is_empty() {
        return gathered.complained.clone();
    }
    let Some((_, patterns, _)) = &gathered.run else { return Vec::new() };
    let symptom = |p: &crate::weights::Pattern| desk.view.patterns.get(p.name()).copied().flatten();
    patterns.sentence.shows.iter().filter_map(symptom).map(|f| f.id.clone()).collect()
}

fn moment_of(moment: Moment) -> belief::Moment {
    match moment {
        Moment::Bad => belief::Moment::Bad,
        Moment::Good => belief::Moment::Good,
        Moment::Unknown => belief::Moment::Unknown,
    }
}

/// A run as one factor over all run findings of the machine.
fn run_item(model: &belief::Model, patterns: &Patterns, moment: Moment) -> Item {
    let names: Vec<&String> = model.patterns.keys().collect();
    let states = |combination: &Combination| -> Vec<usize> {
        names.iter().map(|name| usize::from(combination.iter().any(|p| p.name() == name.as_str()))).collect()
    };
    Item::Run {
        findings: model.patterns.values().copied().collect(),
        floor: patterns.factor.floor,
        combos: patterns.factor.combos.iter().map(|(c, phi)| (states(c), *phi)).collect(),
        moment: moment_of(moment),
    }
}

/// The fills of a case as a run that can be summed up.
pub fn to_run(fills: &Fills) -> Result<Run, crate::weights::RunError> {
    let tare = fills.tare.as_ref().map(|(kind, values)| Tare {
        kind: match kind.as_str() {
            "each" => TareKind::Each,
            "mean" => TareKind::Mean,
            _ => TareKind::None,
        },
        values: values.clone(),
    });
    Run::new(RunInput {
        unit: Unit::find(&fills.unit),
        values: fills.values.clone(),
        target: Some(fills.target),
        division: fills.division,
        shown: fills.shown.clone(),
        tare,
        instrument: fills.instrument.clone(),
        lanes: fills.lanes.clone(),
        settings: fills.settings.iter().cloned().collect(),
        ..RunInput::default()
    })
}
