//! What a step of the plan is, as data: its kind, its cost, why, and what would follow.

use super::situation::{Hindrance, Situation};
use super::visit::Visit;
use crate::ids::{CauseId, CautionId, RemedyId};
use crate::knowledge::{Check, Work};
use crate::safety::Exposures;

/// The id of the step that stops the machine and makes it safe.
pub const STOP: &str = "stop-and-make-safe";
/// The id of the step that sends somebody or calls the maker.
pub const SEND: &str = "send-somebody";

/// What kind of step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Stop, make safe.
    Stop,
    /// Ask, look or measure.
    Check,
    /// Put something right.
    Remedy,
    /// Send somebody, call the maker.
    Send,
}

/// Why a step is proposed, as data.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// Somebody may be hurt.
    Danger,
    /// It separates these causes, likeliest first.
    TellsApart(Vec<CauseId>),
    /// It must be known before this remedy.
    NeededBefore(RemedyId),
    /// It may have happened, and that bears on these causes.
    Happened(Vec<CauseId>),
    /// Nobody has said yet what is wrong.
    Complaint,
    /// It proves what this remedy did.
    Proves(RemedyId),
    /// The lock is still on, and doing this too before anybody tries is worth more than its minutes.
    WhileLocked,
    /// It cures a cause of this probability.
    Cures(CauseId, f64),
    /// Nothing that can be done from here is worth its minutes; what hinders the best of the rest.
    NothingElse(Option<Hindrance>),
}

/// What follows one answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Then {
    /// The answer, as an outcome id.
    pub outcome: String,
    /// Its probability.
    pub probability: f64,
    /// The kind of the step that would follow.
    pub kind: Kind,
    /// Its id.
    pub next: String,
    /// What would follow that, where it was looked at.
    pub then: Vec<Then>,
}

/// One thing that could be done next.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Id of a check, a circumstance, a remedy, or one of the two fixed steps.
    pub id: String,
    /// Its kind.
    pub kind: Kind,
    /// Minutes that it takes, all included.
    pub minutes: f64,
    /// Expected minutes that it saves against doing without it.
    pub minutes_saved: f64,
    /// Where it exposes a person.
    pub exposures: Exposures,
    /// The cautions that go before it.
    pub cautions: Vec<CautionId>,
    /// Why.
    pub why: Reason,
    /// Remedies that are done in the same lockout before one proof.
    pub with: Vec<String>,
    /// What would follow.
    pub then: Vec<Then>,
}

impl Candidate {
    /// A check that the plan itself did not weigh: it saves nothing that was counted.
    pub fn unplanned(situation: &Situation<'_>, check: &Check, why: Reason) -> Self {
        Self {
            id: check.id.as_str().to_owned(),
            kind: Kind::Check,
            minutes: situation.minutes(&check.work),
            minutes_saved: 0.0,
            exposures: situation.exposures(&check.work),
            cautions: cautions(&check.work),
            why,
            with: Vec::new(),
            then: Vec::new(),
        }
    }
}

/// The cautions that go before a piece of work.
pub(super) fn cautions(work: &Work) -> Vec<CautionId> {
    work.cautions.iter().map(|c| c.value.clone()).collect()
}

/// The ranked steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Best first.
    pub next: Vec<Candidate>,
    /// Expected minutes until the complaint is gone, following the plan.
    pub minutes: f64,
    /// What would be done next if nothing more were asked.
    pub unasked: (Kind, String),
    /// No plan whatever can take fewer minutes on average: what it would take if one knew how things are.
    pub at_least: f64,
    /// What a visit should bring, when one is worth it.
    pub visit: Option<Visit>,
}
