//! What a piece of work means on one machine: whether it can be done there, what it exposes a person to, and its
//! steps ready to be shown with their cautions.

use std::collections::BTreeSet;

use super::model::{Knowledge, Machine, Work};
use crate::ids::OptionId;
use crate::safety::{Caution, Exposures, HandsOnStep, Isolation, MissingCaution};

impl Machine {
    /// Whether work applies here: its place exists, its options may be fitted, and it names this machine or none.
    /// `fitted` left out means that any option may be there.
    pub fn can_do(&self, work: &Work, fitted: Option<&BTreeSet<OptionId>>) -> bool {
        let named = work.machines.as_ref().is_none_or(|all| all.iter().any(|m| m.value == self.id));
        let options = work.needs_option.iter().all(|o| self.may_have(&o.value, fitted));
        named && options && self.places.contains_key(&work.place.value)
    }

    /// Whether an option may be there.
    pub fn may_have(&self, option: &OptionId, fitted: Option<&BTreeSet<OptionId>>) -> bool {
        self.options.contains_key(option) && fitted.is_none_or(|fitted| fitted.contains(option))
    }

    /// Where the body is while doing this work here: the place of the entry and of each step, and what the author adds.
    pub fn exposures(&self, work: &Work) -> Exposures {
        let places = work.steps.iter().filter_map(|s| s.place.as_ref()).chain([&work.place]);
        places
            .filter_map(|p| self.places.get(&p.value))
            .fold(Exposures::at(&crate::safety::Traits::default(), &work.raised), |set, place| {
                set.union(&Exposures::at(&place.traits, &work.raised))
            })
    }

    /// The lockout that work with these exposures asks for here.
    pub fn isolation(&self, exposures: &Exposures) -> Option<Isolation> {
        Isolation::of(&self.energies, &self.start_paths, exposures)
    }
}

impl Knowledge {
    /// The title of an entry, whatever kind it is.
    pub fn title(&self, id: &str) -> Option<&str> {
        let work = self.checks.get(id).map(|e| &e.head).or_else(|| self.remedies.get(id).map(|e| &e.head));
        let known = work.or_else(|| self.circumstances.get(id).map(|e| &e.head));
        let known = known.or_else(|| self.causes.get(id).map(|e| &e.head));
        known.or_else(|| self.findings.get(id).map(|e| &e.head)).map(|h| h.title.as_str())
    }

    /// The cautions that a piece of work names.
    pub fn cautions_of(&self, work: &Work) -> Vec<Caution> {
        work.cautions.iter().filter_map(|c| self.cautions.get(&c.value)).map(|c| c.caution.clone()).collect()
    }

    /// The steps of a piece of work on one machine, or why they may not be shown.
    pub fn steps_on(&self, machine: &Machine, work: &Work) -> Result<HandsOnStep, MissingCaution> {
        let exposures = machine.exposures(work);
        let isolation = machine.isolation(&exposures);
        let texts = work.steps.iter().map(|s| s.text.clone()).collect();
        HandsOnStep::new(texts, exposures, isolation, self.cautions_of(work))
    }

    /// Whether an entry of this folder is here.
    pub(super) fn has(&self, folder: &str, id: &str) -> bool {
        match folder {
            "machines" => self.machines.contains_key(id),
            "circumstances" => self.circumstances.contains_key(id),
            "symptoms" | "conditions" => self.findings.contains_key(id),
            "causes" => self.causes.contains_key(id),
            "checks" => self.checks.contains_key(id),
            "remedies" => self.remedies.contains_key(id),
            "rules" => self.rules.contains_key(id),
            "lessons" => self.lessons.contains_key(id),
            _ => self.cautions.contains_key(id),
        }
    }

    /// Exposures over all machines that the work applies to.
    pub fn exposures_anywhere(&self, work: &Work) -> Exposures {
        self.machines
            .values()
            .filter(|m| m.can_do(work, None))
            .fold(Exposures::outside(), |set, machine| set.union(&machine.exposures(work)))
    }
}
