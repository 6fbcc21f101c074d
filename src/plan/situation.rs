//! What bounds the choice of the next step: who is there, what has been done, what a visit costs.

use std::collections::{BTreeMap, BTreeSet};

use super::prospect::{Act, Enquiry, Lockout, Prospect, Scenario};
use crate::belief::{Combination, Evidence, Model};
use crate::graph::View;
use crate::ids::{CheckId, CircumstanceId, FindingId, OutcomeId, PlaceId, RemedyId, ToolId};
use crate::knowledge::{Check, How, Knowledge, Remedy, Work};
use crate::safety::{Exposure, Exposures, ScaleSupply};

/// Minutes to walk to another place of the machine.
pub(super) const WALK: f64 = 1.0;
/// Minutes to fetch a tool that is not at hand.
pub(super) const FETCH: f64 = 5.0;
/// Minutes to ask one short question about what happened before.
pub const ASK: f64 = 0.5;

/// Who is at the machine, and what they may do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Hands {
    /// Somebody stands at the machine.
    pub there: bool,
    /// One of them may lock it out.
    pub isolate: bool,
    /// A qualified electrical person is there in person, not at the end of a phone.
    pub electrical: bool,
    /// Tools at hand, as far as anybody said.
    pub tools: BTreeSet<ToolId>,
}

/// What a minute at a desk counts, against one of a line that is stopped or held.
pub const DESK: f64 = 0.3;
/// Minutes of each look by which whoever comes halves what may still be wrong (judgement).
pub const LOOK: f64 = 10.0;

/// Whether a lockout stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Lock {
    /// None does.
    #[default]
    Off,
    /// The last step was done in one, and nothing has run since.
    On,
    /// So was the last remedy, and nobody has tried yet whether it is gone.
    Untried,
}

/// Everything the plan depends on.
pub struct Situation<'a> {
    /// All that is known.
    pub knowledge: &'a Knowledge,
    /// What applies to this machine.
    pub view: &'a View<'a>,
    /// The network.
    pub model: &'a Model,
    /// The evidence so far.
    pub evidence: &'a Evidence,
    /// The leading combinations of causes that are there now.
    pub leading: &'a [Combination],
    /// The symptoms complained of.
    pub complaint: Vec<FindingId>,
    /// Whether the caller has said what is wrong.
    pub heard: bool,
    /// Outcome of each check answered since the last remedy; `None` for 'cannot tell'.
    pub answered: BTreeMap<CheckId, Option<OutcomeId>>,
    /// Circumstances asked about.
    pub asked: BTreeSet<CircumstanceId>,
    /// Fills in the latest run.
    pub fills: usize,
    /// Remedies done.
    pub done: BTreeSet<RemedyId>,
    /// Who is there.
    pub hands: Hands,
    /// The scale bears a legal-for-trade seal: `None` when nobody knows.
    pub sealed: Option<bool>,
    /// Whether the scale can stay powered alone.
    pub supply: ScaleSupply,
    /// Minutes until somebody is there.
    pub visit: f64,
    /// Where the caller stands now.
    pub place: Option<PlaceId>,
    /// Whether a lockout stands.
    pub lock: Lock,
    /// Something dangerous is going on, or a finding that begins with 'stop, make safe'.
    pub stop: bool,
}

/// Why a piece of work cannot be offered now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hindrance {
    /// Nobody at the machine may lock it out.
    NobodyMayIsolate,
    /// The scale shares a supply with the drives, or nobody knows.
    ScaleSupply,
    /// Only a qualified electrical person at the machine.
    Electrical,
    /// The scale is sealed, or nobody knows.
    Sealed,
    /// Something dangerous is going on: the machine is not run again to look for its cause.
    Stopped,
}

impl Situation<'_> {
    /// Where work exposes a person on this machine.
    pub fn exposures(&self, work: &Work) -> Exposures {
        self.view.machine.exposures(work)
    }

    /// What stands in the way of work with these exposures, if anything does.
    pub fn hindrance(&self, exposures: &Exposures) -> Option<Hindrance> {
        if self.stop && exposures.has(Exposure::Running) {
            return Some(Hindrance::Stopped);
        }
        if exposures.has(Exposure::Energised) && !self.hands.electrical {
            return Some(Hindrance::Electrical);
        }
        if exposures.hands_on() && !(self.hands.there && self.hands.isolate) {
            return Some(Hindrance::NobodyMayIsolate);
        }
        if exposures.has(Exposure::AtScale) && self.supply != ScaleSupply::Separate {
            return Some(Hindrance::ScaleSupply);
        }
        None
    }

    /// While something dangerous goes on only what people remember is asked, and what is done locked off.
    pub fn may_ask(&self, check: &Check) -> bool {
        !self.stop || check.how == How::Told || self.exposures(&check.work).needs_isolation()
    }

    /// What stands in the way of a remedy, whose calibration is not for sealed scales.
    pub fn remedy_hindrance(&self, remedy: &Remedy) -> Option<Hindrance> {
        if remedy.calibrates && self.sealed != Some(false) {
            return Some(Hindrance::Sealed);
        }
        self.hindrance(&self.exposures(&remedy.work))
    }

    /// Minutes of a piece of work in all: doing, lockout, walking, fetching.
    pub fn minutes(&self, work: &Work) -> f64 {
        let lockout = if self.exposures(work).needs_isolation() { self.lockout_minutes() } else { 0.0 };
        self.own_minutes(work) + lockout
    }

    /// Minutes to isolate and to restore; none while a lockout stands.
    pub fn lockout_minutes(&self) -> f64 {
        let (isolate, restore) = self.view.machine.lockout;
        if self.lock == Lock::Off { isolate + restore } else { 0.0 }
    }

    /// Minutes of a piece of work without its lockout.
    pub fn own_minutes(&self, work: &Work) -> f64 {
        let walk = if self.place.as_ref().is_some_and(|p| *p != work.place.value) { WALK } else { 0.0 };
        let missing = work.needs.iter().filter(|t| !self.hands.tools.contains(&t.value)).count();
        let fetch = if self.hands.tools.is_empty() { 0.0 } else { FETCH * missing as f64 };
        work.minutes + walk + fetch
    }

    /// Minutes that a check holds the line, without its lockout. What is asked from memory holds nothing up: its minutes are
    /// desk minutes.
    pub fn held_minutes(&self, check: &Check) -> f64 {
        self.own_minutes(&check.work) * if check.how == How::Told { DESK } else { 1.0 }
    }

    /// The gates of a remedy that are still open, as checks to do first. `None` when an answer has shut one for good.
    pub fn open_gates(&self, remedy: &Remedy) -> Option<Vec<CheckId>> {
        let mut open = Vec::new();
        for gate in &remedy.only_after {
            let answer = self.answered.get(&gate.check.value);
            match (answer, &gate.outcome) {
                (Some(Some(given)), Some(wanted)) if *given != wanted.value => return None,
                (Some(Some(_)), _) if gate.fills <= self.fills || gate.fills == 0 => {}
                _ => open.push(gate.check.value.clone()),
            }
        }
        open.retain(|id| self.view.checks.iter().any(|c| c.id == *id));
        Some(open)
    }

    /// Minutes of a remedy with the checks that must come before it and its parts; without its lockout, which they share.
    pub fn remedy_minutes(&self, remedy: &Remedy, gates: &[CheckId]) -> f64 {
        let shared = self.exposures(&remedy.work).needs_isolation();
        let gates = gates.iter().filter_map(|id| self.knowledge.checks.get(id));
        let gate =
            |check: &Check| if shared { self.own_minutes(&check.work) } else { self.minutes(&check.work) };
        let held: f64 = remedy.parts.iter().map(|(_, minutes)| minutes).sum();
        self.own_minutes(&remedy.work) + gates.map(gate).sum::<f64>() + held
    }

    /// Minutes of the check that proves a remedy.
    pub fn proof_minutes(&self, remedy: &Remedy) -> f64 {
        self.knowledge.checks.get(&remedy.proved_by.value).map_or(0.0, |check| self.minutes(&check.work))
    }

    /// The numbers to choose from. The machine has one lockout, and a proof needs the guard shut.
    pub(super) fn prospect(
        &self,
        scenarios: Vec<Scenario>,
        acts: Vec<Act>,
        enquiries: Vec<Enquiry>,
    ) -> Prospect {
        let (isolate, restore) = self.view.machine.lockout;
        let lockout =
            Lockout { around: isolate + restore, proves_inside: false, stands: self.lock != Lock::Off };
        Prospect::new(scenarios, (acts, enquiries), vec![lockout], (self.visit, LOOK))
    }
}
