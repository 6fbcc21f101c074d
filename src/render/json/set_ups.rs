//! Set-ups as JSON: the settings of a product, what was reached with them, and each change.

use serde::Serialize;

use crate::casebook::set_up::SetUpLog;
use crate::knowledge::Knowledge;
use crate::safety::STANDING_NOTICE;
use crate::units::{Quantity, significant};
use crate::walk::setup::Course;
use crate::weights::setup::MeanError;

/// All set-ups kept.
#[derive(Debug, Serialize)]
pub struct SetUpsOut {
    format: &'static str,
    set_ups: Vec<BriefOut>,
}

#[derive(Debug, Serialize)]
struct BriefOut {
    id: String,
    machine: String,
    product: String,
    begun: String,
    signed_by: Option<String>,
    damage: Vec<String>,
}

/// One set-up.
#[derive(Debug, Serialize)]
pub struct SetUpOut {
    format: &'static str,
    id: String,
    machine: String,
    serial: Option<String>,
    product: String,
    target: String,
    tolerance: String,
    fills_a_minute: Option<f64>,
    settings: Vec<SettingOut>,
    as_found: Option<ReachedOut>,
    reached: Option<ReachedOut>,
    fills_weighed: usize,
    changes: Vec<ChangeOut>,
    signed_by: Option<String>,
    damage: Vec<String>,
    sum: String,
    limits: &'static str,
}

#[derive(Debug, Serialize)]
struct SettingOut {
    id: String,
    title: String,
    called_here: Option<String>,
    figure: String,
}

#[derive(Debug, Serialize)]
struct ReachedOut {
    fills: usize,
    mean_error_g: f64,
    mean_within_g: Option<f64>,
    spread_g: Option<f64>,
    fills_a_minute: Option<f64>,
}

#[derive(Debug, Serialize)]
struct ChangeOut {
    setting: String,
    old: String,
    new: String,
    taken_back: bool,
    own: bool,
}

fn text(quantity: Quantity) -> String {
    format!("{} {}", significant(quantity.number), quantity.unit.name)
}

fn reached(mean: &MeanError, speed: Option<f64>) -> ReachedOut {
    ReachedOut {
        fills: mean.fills,
        mean_error_g: significant(mean.error),
        mean_within_g: mean.within.map(significant),
        spread_g: mean.spread.map(significant),
        fills_a_minute: speed.filter(|s| s.is_finite()).map(significant),
    }
}

/// All set-ups.
pub fn set_ups(logs: &[SetUpLog]) -> SetUpsOut {
    let brief = |log: &SetUpLog| BriefOut {
        id: log.id.to_string(),
        machine: log.head.machine.to_string(),
        product: log.head.product.clone(),
        begun: log.begun.clone(),
        signed_by: log.ended().map(|(name, _)| name.to_owned()),
        damage: log.damage.clone(),
    };
    SetUpsOut { format: "handlamp-set-ups/1", set_ups: logs.iter().map(brief).collect() }
}

/// One set-up, with its settings as they stand.
pub fn set_up(knowledge: &Knowledge, log: &SetUpLog) -> SetUpOut {
    let head = &log.head;
    let machine = knowledge.machines.get(&head.machine);
    let course = machine.map(|m| Course::of(m, head, log.lines.iter().map(|kept| &kept.line)));
    let settings = course.iter().flat_map(|course| &course.bench.dials).map(|dial| {
        let setting = machine.and_then(|m| m.setting(&dial.setting));
        SettingOut {
            id: dial.setting.to_string(),
            title: setting.map_or_else(String::new, |s| s.title.clone()),
            called_here: setting.and_then(|s| s.called_here.clone()),
            figure: text(dial.figure()),
        }
    });
    let changes = course.iter().flat_map(|course| &course.trials).map(|trial| ChangeOut {
        setting: trial.setting.to_string(),
        old: text(trial.old),
        new: text(trial.new),
        taken_back: trial.back,
        own: trial.why.is_none() && !trial.back,
    });
    let now = course.as_ref().and_then(Course::reached);
    let before = course.as_ref().and_then(|c| Some((c.as_found.flatten()?, c.found_speed)));
    SetUpOut {
        format: "handlamp-set-up-sheet/1",
        id: log.id.to_string(),
        machine: head.machine.to_string(),
        serial: head.serial.clone(),
        product: head.product.clone(),
        target: text(head.target),
        tolerance: text(head.tolerance),
        fills_a_minute: head.fills_a_minute,
        settings: settings.collect(),
        as_found: before.map(|(mean, speed)| reached(&mean, speed)),
        reached: now.map(|(mean, speed)| reached(&mean, speed)),
        fills_weighed: course.as_ref().map_or(0, |c| c.fills),
        changes: changes.collect(),
        signed_by: log.ended().map(|(name, _)| name.to_owned()),
        damage: log.damage.clone(),
        sum: log.sum.clone(),
        limits: STANDING_NOTICE,
    }
}
