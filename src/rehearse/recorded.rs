//! A recorded case against the knowledge: does the cause that is expected lead, or stand among the first few?

use crate::casebook::Case;
use crate::ids::{CauseId, MachineId};
use crate::knowledge::Knowledge;
use crate::walk::{AssessError, Desk, assess};

/// What a replay came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The expected cause leads.
    First,
    /// It stands within the places that the case allows.
    Within,
    /// It stands further down, or is not listed.
    FellShort,
    /// The case expects no cause.
    NothingExpected,
}

/// A case that was replayed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replay {
    /// Its machine.
    pub machine: MachineId,
    /// The cause expected.
    pub cause: Option<CauseId>,
    /// Its place in the list of causes, from 1; none when it is not listed.
    pub place: Option<usize>,
    /// Places that it may stand in.
    pub within: usize,
    /// The cause that leads.
    pub leads: Option<CauseId>,
    /// The verdict.
    pub verdict: Verdict,
}

/// Thinks a recorded case over and holds the causes against what it expects.
pub fn replay(knowledge: &Knowledge, case: &Case) -> Result<Replay, AssessError> {
    let desk = Desk::for_case(knowledge, case)?;
    let assessment = assess(&desk, case, None)?;
    let expect = case.expect.clone().unwrap_or_default();
    let place = |cause: &CauseId| assessment.causes.iter().position(|suspect| suspect.id == *cause);
    let place = expect.cause.as_ref().and_then(place).map(|place| place + 1);
    let verdict = match (&expect.cause, place) {
        (None, _) => Verdict::NothingExpected,
        (_, Some(1)) => Verdict::First,
        (_, Some(place)) if place <= expect.within => Verdict::Within,
        _ => Verdict::FellShort,
    };
    Ok(Replay {
        machine: case.machine.clone(),
        cause: expect.cause,
        place,
        within: expect.within,
        leads: assessment.causes.first().map(|suspect| suspect.id.clone()),
        verdict,
    })
}
