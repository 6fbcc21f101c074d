//! How a setting is found when a product is set up, from keys to trusted.

use super::fields::{Fields, Reader, typed};
use super::model::At;
use super::yaml::Node;
use crate::ids::{CheckId, OutcomeId, RemedyId};
use crate::units::{Kind, Unit};

/// What tells where a setting should stand. The order is the order of work: what comes later hangs on what comes before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ToldBy {
    /// The layer, by eye.
    Layer,
    /// Nothing but what is usual.
    Usual,
    /// The flow of coarse feed, from its time.
    CoarseFlow,
    /// The flow of fine feed by itself.
    FineFlow,
    /// How long fine feed lasts.
    FineTime,
    /// Whether the reading stands still when the weight is taken.
    Still,
    /// The mean of a run of fills.
    Mean,
}

/// What can tell where a setting should stand.
pub(super) const TOLD_BY: &[(&str, ToldBy)] = &[
    ("layer", ToldBy::Layer),
    ("usual", ToldBy::Usual),
    ("coarse-flow", ToldBy::CoarseFlow),
    ("fine-flow", ToldBy::FineFlow),
    ("fine-time", ToldBy::FineTime),
    ("still", ToldBy::Still),
    ("mean", ToldBy::Mean),
];

/// How a setting is found. Figures are in base units (per cent for shares).
#[derive(Debug, Clone, PartialEq)]
pub struct SetUp {
    /// What tells where it should stand.
    pub told_by: ToldBy,
    /// Lower end of what is usual.
    pub from: Option<f64>,
    /// Upper end.
    pub to: Option<f64>,
    /// Most that it is changed by at once.
    pub at_once: Option<f64>,
    /// What to aim at: seconds of fine feed for `fine-time`, fine flow as a share of coarse flow for `fine-flow`, a figure
    /// of the setting itself otherwise.
    pub aims: Option<f64>,
    /// The check that it is looked at or measured by.
    pub check: Option<At<CheckId>>,
    /// The answer of the check that asks for more of the setting.
    pub more_when: Option<OutcomeId>,
    /// The one that asks for less.
    pub less_when: Option<OutcomeId>,
    /// The remedy that says how it is made more, where that is not done at the panel.
    pub raise: Option<At<RemedyId>>,
    /// The one that says how it is made less.
    pub lower: Option<At<RemedyId>>,
}

/// Reads the group.
pub(super) fn set_up(reader: &mut Reader<'_>, node: &Node, unit: Option<&'static Unit>) -> Option<SetUp> {
    let mut fields = Fields::open(reader, node)?;
    let told_by = fields.need(reader, "told_by").and_then(|n| reader.choice(n, TOLD_BY));
    let own = unit.map_or(Kind::Count, |unit| unit.kind);
    let aims = match told_by {
        Some(ToldBy::FineTime) => Kind::Time,
        Some(ToldBy::FineFlow) => Kind::Share,
        _ => own,
    };
    let figure = |reader: &mut Reader<'_>, fields: &mut Fields<'_>, key, kind| {
        fields.get(key).and_then(|n| reader.quantity(n, kind))
    };
    let check = fields.get("check").and_then(|n| reader.id(n)).map(typed);
    let mut outcome =
        |key| fields.get(key).and_then(|n| reader.id(n)).map(|id: At<String>| OutcomeId::new(&id.value));
    let (more_when, less_when) = (outcome("more_when"), outcome("less_when"));
    let mut remedy = |key| fields.get(key).and_then(|n| reader.id(n)).map(typed);
    let (raise, lower) = (remedy("raise"), remedy("lower"));
    let set_up = SetUp {
        from: figure(reader, &mut fields, "from", own),
        to: figure(reader, &mut fields, "to", own),
        at_once: figure(reader, &mut fields, "at_once", own),
        aims: figure(reader, &mut fields, "aims", aims),
        check,
        more_when,
        less_when,
        raise,
        lower,
        told_by: told_by?,
    };
    fields.close(reader);
    Some(set_up)
}
