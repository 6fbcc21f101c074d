//! What every walk asks in the same words: which machine, locked out, handed back.

use super::{Block, Page, Words};
use crate::ids::MachineId;
use crate::knowledge::{Knowledge, Machine};
use crate::safety::{Exposures, Isolation};

/// Said with every lockout prompt.
pub(super) const MORE: &str =
    "Where the written procedure asks for more, do more. Where the two disagree, stop and ask.";

impl Page {
    /// Asks which machine it is.
    pub(super) fn which_machine(&mut self, knowledge: &Knowledge, machines: &[MachineId]) {
        self.text(Words::new().strong("Which machine is it?"));
        let title = |id| knowledge.machines.get(id).map_or("", |m| m.head.title.as_str());
        self.push(Block::Numbered(machines.iter().map(|id| title(id).into()).collect()));
        self.hint("Type its number.");
    }

    /// The lockout prompt for these exposures, with what stands above it.
    pub(super) fn lockout(&mut self, machine: &Machine, exposures: &Exposures) {
        if let Some(isolation) = machine.isolation(exposures) {
            self.push(Block::Isolation(isolation));
        }
        self.text(MORE);
    }

    /// What must be done before anything runs again.
    pub(super) fn hand_back(&mut self) {
        self.text("Nothing runs before all of this is done.");
        self.push(Block::Numbered(Isolation::HAND_BACK.iter().map(|text| (*text).into()).collect()));
        self.text(Words::new().strong("All of it done, everybody clear, every lock off?"));
    }
}
