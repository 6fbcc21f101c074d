//! What one case is thought over with: the knowledge of its machine, compiled.

use std::collections::BTreeSet;

use crate::belief::Model;
use crate::casebook::{Case, Known, May, Whereabouts};
use crate::graph::{View, machine_view};
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::plan::Hands;
use crate::safety::ScaleSupply;

/// Knowledge, view and network of one machine with its options.
pub struct Desk<'k> {
    /// All that is known.
    pub knowledge: &'k Knowledge,
    /// What applies here.
    pub view: View<'k>,
    /// The network.
    pub model: Model,
}

/// Why a case cannot be thought over.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeskError {
    /// No such machine.
    #[error("there is no machine '{0}' in this knowledge")]
    UnknownMachine(MachineId),
    /// The knowledge makes no network.
    #[error("the knowledge of this machine makes no network: {0}")]
    Network(#[from] crate::belief::NetworkError),
}

/// Whoever could be sent is there already: a second visit with parts, or the maker, takes so many times as long
/// (judgement).
const MAKER: f64 = 3.0;

impl<'k> Desk<'k> {
    /// Lays out what applies to the machine of a case.
    pub fn for_case(knowledge: &'k Knowledge, case: &Case) -> Result<Self, DeskError> {
        let machine = knowledge
            .machines
            .get(&case.machine)
            .ok_or_else(|| DeskError::UnknownMachine(case.machine.clone()))?;
        let view = machine_view(knowledge, machine, case.fitted.as_ref());
        let model = Model::of(knowledge, &view)?;
        Ok(Self { knowledge, view, model })
    }

    /// Smallest step of the scale in grams.
    pub fn division(&self, case: &Case) -> f64 {
        case.scale.division.unwrap_or(self.view.machine.division)
    }

    /// Whether the scale can stay powered alone: what the case says, else the machine's entry.
    pub fn supply(&self, case: &Case) -> ScaleSupply {
        case.scale.supply.unwrap_or(self.view.machine.scale_supply)
    }

    /// Minutes until somebody is there who can do more.
    pub fn visit(&self, case: &Case) -> f64 {
        if let Some(visit) = case.visit {
            return visit.travel + visit.waiting;
        }
        let nobody_to_send = hands(case).isolate && !case.people.iter().any(|p| p.at == Whereabouts::Phone);
        self.view.machine.send_somebody * if nobody_to_send { MAKER } else { 1.0 }
    }
}

/// Who is at the machine and may do what. Authority is given per person, in person.
pub fn hands(case: &Case) -> Hands {
    let there: Vec<_> = case.people.iter().filter(|p| p.at == Whereabouts::Machine).collect();
    let may = |what| there.iter().any(|p| p.may.contains(&what));
    Hands {
        there: !there.is_empty(),
        isolate: may(May::Isolate),
        electrical: may(May::Electrical) && !case.people.iter().any(|p| p.at == Whereabouts::Phone),
        tools: there.iter().flat_map(|p| p.has.iter().cloned()).collect::<BTreeSet<_>>(),
    }
}

/// Whether the scale is sealed, if anybody knows.
pub(super) fn sealed(case: &Case) -> Option<bool> {
    match case.scale.sealed {
        Known::Yes => Some(true),
        Known::No => Some(false),
        Known::Unknown => None,
    }
}
