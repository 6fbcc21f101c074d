//! What is asked before an item is shown: that nothing is connected, leave to lock out, a lock that is on and tried, a
//! qualified person. All of it is of the person who answers, and lapses with them.

use std::collections::BTreeSet;

use super::answers::same;
use super::input::ListInput;
use super::run::Stride;
use super::state::ListAsk;
use crate::casebook::sheet::Line;
use crate::checklist::{Checklist, Condition, Kind};
use crate::ids::{ItemId, OptionId};
use crate::knowledge::Machine;
use crate::safety::Exposure;
use crate::walk::Lockout;

/// The options of a machine on which an item of the list depends.
pub(super) fn relevant_options(list: &Checklist, machine: &Machine) -> Vec<OptionId> {
    let named: BTreeSet<&OptionId> = list
        .items()
        .flat_map(|(section, item)| Checklist::conditions(section, item))
        .filter_map(|c| if let Condition::Option(option) = c { Some(&option.value) } else { None })
        .filter(|option| machine.options.contains_key(*option))
        .collect();
    named.into_iter().cloned().collect()
}

impl Stride<'_> {
    /// Comes to an item by way of whatever must be asked before it.
    pub(super) fn gate(&mut self, id: &ItemId) {
        let (Some(item), Some(machine)) = (self.list.item(id), self.machine()) else { return };
        let exposures = machine.exposures(&item.work);
        let energised = exposures.has(Exposure::Energised);
        let locked = (self.state.lockout.procedure, self.state.lockout.key.is_some());
        let fresh = self.state.fresh_lock;
        self.state.ask = if self.list.unconnected && !self.state.unconnected {
            ListAsk::Unconnected
        } else if energised && self.state.qualified.is_none() {
            ListAsk::Qualified(id.clone())
        } else if item.locks_out && locked.0 != Some(true) {
            ListAsk::Authority(id.clone())
        } else if exposures.needs_isolation() && !energised && !self.list.unconnected {
            match locked {
                (Some(true), true) if fresh => self.open(id),
                (Some(true), true) => ListAsk::StillLocked(id.clone()),
                (Some(true), false) => ListAsk::Locked(id.clone()),
                _ => ListAsk::Authority(id.clone()),
            }
        } else {
            self.open(id)
        };
        if matches!(self.state.ask, ListAsk::Item(_) | ListAsk::Target(_)) {
            self.state.fresh_lock = false;
        }
    }

    /// The item itself; a run asks first what a fill should weigh.
    fn open(&self, id: &ItemId) -> ListAsk {
        let is_run = self.list.item(id).is_some_and(|item| matches!(item.kind, Kind::Run(_)));
        if is_run && self.state.target.is_none() {
            ListAsk::Target(id.clone())
        } else {
            ListAsk::Item(id.clone())
        }
    }

    /// Answers to what is asked before an item.
    pub(super) fn gates(&mut self, ask: &ListAsk, input: ListInput) {
        match (ask, input) {
            (ListAsk::Unconnected, ListInput::Truth(true)) => {
                self.state.unconnected = true;
                self.line(Line::Unconnected);
                self.next();
            }
            (ListAsk::Unconnected, ListInput::Truth(false)) => self.say(
                "Then this list waits: it goes behind guards that nobody has proved. Have mains and air taken off \
                 first, or 'leave'.",
            ),
            (ListAsk::Authority(id), ListInput::Truth(true)) => {
                self.state.lockout = Lockout { procedure: Some(true), ..Lockout::default() };
                self.gate(id);
            }
            (ListAsk::Authority(_), ListInput::Truth(false)) => self.say(
                "Then nobody reaches in. Somebody who may lock it out goes on, by its written procedure: type \
                 'person', or 'leave'.",
            ),
            (ListAsk::Qualified(id), ListInput::Words(name)) => {
                self.state.qualified = Some(name.clone());
                self.line(Line::Qualified { name });
                self.gate(id);
            }
            (ListAsk::Qualified(_), ListInput::Truth(false)) => {
                self.say("Then it waits for that person, and nobody opens the panel. 'leave' keeps everything.");
            }
            (ListAsk::Locked(id) | ListAsk::StillLocked(id), ListInput::Key(key)) => self.key(ask, id, key),
            _ => {}
        }
    }

    fn key(&mut self, ask: &ListAsk, id: &ItemId, key: Option<String>) {
        let own = |name: &String| {
            let last = self.state.lockout.key.as_ref();
            last.is_some_and(|last| same(last, name))
        };
        if matches!(ask, ListAsk::StillLocked(_)) && !key.as_ref().is_some_and(own) {
            // Lifted, or another person's: leave and isolation have lapsed.
            self.lapse();
            self.gate(id);
            self.say("Then the lock from before counts no more. From the top: leave, lock, try.");
            return;
        }
        let Some(key) = key else {
            self.state.lockout = Lockout::default();
            self.say("Then nobody reaches in. Lock it and try it first, or 'leave'.");
            return;
        };
        if self.state.lockout.key.is_none() {
            self.line(Line::Locked { key: key.clone() });
        }
        self.state.lockout.key = Some(key);
        self.state.fresh_lock = true;
        self.gate(id);
    }
}
