//! The lines of a set-up added up: the settings as they stand, what was found with them, and each change with what it
//! brought.

use super::advice::{Advice, Why};
use super::bench::{Bench, Dial, Layer, Wanted};
use super::state::{Course, Found, Proposal, Trial};
use crate::casebook::set_up::{Correction, SetUpHead, SetUpLine};
use crate::ids::{CheckId, OutcomeId, SettingId};
use crate::knowledge::{Machine, SetUp, Setting, ToldBy};
use crate::units::{Kind, Quantity, Unit, significant};
use crate::weights::setup::{FillTimes, MeanError, mean_error};

/// The setting that holds the time of the weight filter.
const FILTER: &str = "filter-time";
/// Its usual time in seconds, where nobody knows it.
const USUAL_FILTER: f64 = 0.15;
/// Fine feed to aim at where the machine's entry says nothing, seconds.
const USUAL_FINE: f64 = 2.0;
/// Fine flow as a share of coarse flow where the entry says nothing.
const USUAL_SHARE: f64 = 0.06;
/// A product that runs already: the whole interval of the mean inside this share of the tolerance,
const MEAN_SHARE: f64 = 0.25;
/// fills no slower than this, as a factor,
const NEARLY: f64 = 1.02;
/// and no fewer than so many of them.
const FEWEST: usize = 10;
/// Per cent in one.
const PER_CENT: f64 = 100.0;

/// The settings that a set-up of this machine finds, in order of work.
pub(super) fn found_here(machine: &Machine) -> Vec<(&Setting, &SetUp)> {
    let mut settings: Vec<_> =
        machine.settings.iter().filter_map(|s| s.set_up.as_ref().map(|how| (s, how))).collect();
    settings.sort_by_key(|(_, how)| how.told_by);
    settings
}

/// The settings whose figures are asked: those that are found, and the filter.
pub(super) fn asked_here(machine: &Machine) -> Vec<&Setting> {
    let filter = machine.settings.iter().filter(|s| s.id.as_str() == FILTER);
    found_here(machine).into_iter().map(|(setting, _)| setting).chain(filter).collect()
}

/// The check that tells where such a setting should stand.
pub fn check_of(machine: &Machine, told_by: ToldBy) -> Option<&CheckId> {
    let (_, how) = found_here(machine).into_iter().find(|(_, how)| how.told_by == told_by)?;
    how.check.as_ref().map(|check| &check.value)
}

/// The unit of a setting.
pub(super) fn unit_of(setting: &Setting) -> &'static Unit {
    setting.unit.unwrap_or(Kind::Count.base())
}

impl Course {
    /// Nothing said yet.
    fn begin(machine: &Machine, head: &SetUpHead) -> Self {
        let aims = |told_by| {
            found_here(machine)
                .into_iter()
                .find(|(_, how)| how.told_by == told_by)
                .and_then(|(_, how)| how.aims)
        };
        let wanted = Wanted {
            target: head.target.base(),
            tolerance: head.tolerance.base(),
            whole: head.fills_a_minute.filter(|speed| *speed > 0.0).map(|speed| 60.0 / speed),
            fine: aims(ToldBy::FineTime).unwrap_or(USUAL_FINE),
            fine_share: aims(ToldBy::FineFlow).map_or(USUAL_SHARE, |share| share / PER_CENT),
            filter: USUAL_FILTER,
            corrects_itself: false,
        };
        Self {
            bench: Bench::new(wanted, Vec::new()),
            trials: Vec::new(),
            holds: Vec::new(),
            corrects: None,
            asked: Vec::new(),
            as_found: None,
            found_speed: None,
            lock: None,
            made_under_lock: false,
            handed_over: None,
            fills: 0,
        }
    }

    /// Everything said so far.
    pub fn of<'l>(
        machine: &Machine,
        head: &SetUpHead,
        lines: impl IntoIterator<Item = &'l SetUpLine>,
    ) -> Self {
        let mut course = Self::begin(machine, head);
        for line in lines {
            course.take(machine, line);
        }
        course
    }

    /// The dial of a setting.
    pub fn dial(&self, setting: &SettingId) -> Option<usize> {
        self.bench.dials.iter().position(|dial| dial.setting == *setting)
    }

    /// What is known with the settings of now.
    pub fn found(&self) -> Found {
        let bench = &self.bench;
        Found {
            layer: bench.layer,
            still: bench.still,
            times: bench.times,
            coarse_flow: bench.coarse_flow(),
            fine_flow: bench.fine_flow,
            mean: bench.mean(),
        }
    }

    /// The run as it stood, when nothing need be changed: the mean and the spread are what the tolerance asks for, and
    /// the fills came fast enough.
    pub fn good_as_found(&self) -> bool {
        let wanted = &self.bench.wanted;
        let Some(found) = self.as_found.flatten().filter(|_| self.trials.is_empty()) else { return false };
        let close = |within: f64| found.error.abs() + within <= MEAN_SHARE * wanted.tolerance;
        let on_target = found.within.is_some_and(close);
        let even = found.spread.is_some_and(|spread| spread <= wanted.room());
        let quick = |whole: f64| self.found_speed.is_some_and(|speed| 60.0 / speed <= whole * NEARLY);
        on_target && even && wanted.whole.is_none_or(quick) && found.fills >= FEWEST
    }

    /// What the fills say of the settings of now, with the fills a minute: the run as it stood while nothing was changed.
    pub fn reached(&self) -> Option<(MeanError, Option<f64>)> {
        if self.trials.is_empty() {
            return self.as_found.flatten().map(|mean| (mean, self.found_speed));
        }
        self.bench.mean().map(|mean| (mean, self.bench.times.map(|times| 60.0 / times.whole)))
    }

    /// One line more.
    pub fn take(&mut self, machine: &Machine, line: &SetUpLine) {
        match line {
            SetUpLine::Holds { gate } => self.holds.push(*gate),
            SetUpLine::Corrects { how } => {
                self.corrects = Some(*how);
                self.bench.wanted.corrects_itself = *how == Correction::StaysOn;
            }
            SetUpLine::Stood { setting, figure } => self.stood(machine, setting, *figure),
            SetUpLine::Looked { check, outcome } => self.looked(machine, check.as_str(), outcome.as_str()),
            SetUpLine::Timed { coarse, fine, fills_a_minute } => {
                let whole = 60.0 / fills_a_minute.max(f64::MIN_POSITIVE);
                self.bench.timed(FillTimes { coarse: *coarse, fine: *fine, whole });
            }
            SetUpLine::Caught { grams } => self.bench.caught(grams / 10.0),
            SetUpLine::Locked { key } => (self.lock, self.made_under_lock) = (Some(key.clone()), false),
            SetUpLine::HandedBack => (self.lock, self.made_under_lock) = (None, false),
            SetUpLine::Changed { setting, old, new, back } => self.changed(setting, *old, *new, *back),
            SetUpLine::Kept { setting } => {
                if let Some(dial) = self.dial(setting) {
                    self.bench.dials[dial].kept = true;
                }
            }
            SetUpLine::Weighed { fills, fills_a_minute } => self.weighed(fills, *fills_a_minute),
            SetUpLine::NoRunBefore => self.as_found = Some(None),
            SetUpLine::HandedOver { case } => self.handed_over = Some(case.clone()),
            SetUpLine::WentOn => {
                self.handed_over = None;
                self.bench.forget();
            }
            SetUpLine::Person { .. } | SetUpLine::Note { .. } | SetUpLine::Ended { .. } => {}
        }
        if !self.trials.is_empty() {
            let found = self.found();
            if let Some(trial) = self.trials.last_mut() {
                trial.after = found;
            }
        }
    }

    fn stood(&mut self, machine: &Machine, id: &SettingId, figure: Option<Quantity>) {
        self.asked.push(id.clone());
        let Some(setting) = machine.setting(id) else { return };
        let Some(now) = figure.map(Quantity::base) else { return };
        if id.as_str() == FILTER {
            self.bench.wanted.filter = now.clamp(0.01, 2.0);
        }
        let Some(how) = &setting.set_up else { return };
        let from = how.from.unwrap_or(0.0);
        let aims = how.aims.filter(|_| !matches!(how.told_by, ToldBy::FineTime | ToldBy::FineFlow));
        self.bench.dials.push(Dial {
            setting: id.clone(),
            unit: unit_of(setting),
            told_by: how.told_by,
            now,
            from,
            to: how.to.unwrap_or(f64::INFINITY),
            aims: aims.unwrap_or(from),
            at_once: how.at_once.unwrap_or(f64::INFINITY),
            kept: false,
        });
    }

    fn looked(&mut self, machine: &Machine, check: &str, outcome: &str) {
        let tells = |how: &SetUp| how.check.as_ref().is_some_and(|c| c.value.as_str() == check);
        let Some((_, how)) = found_here(machine).into_iter().find(|(_, how)| tells(how)) else { return };
        let says = |id: &Option<OutcomeId>| id.as_ref().is_some_and(|id| id.as_str() == outcome);
        let (more, less) = (says(&how.more_when), says(&how.less_when));
        match how.told_by {
            ToldBy::Layer if more => self.bench.saw_layer(Layer::Bare),
            ToldBy::Layer if less => self.bench.saw_layer(Layer::Deep),
            ToldBy::Layer => self.bench.saw_layer(Layer::Even),
            ToldBy::Still => self.bench.still = Some(!more),
            _ => {}
        }
    }

    fn changed(&mut self, setting: &SettingId, old: Quantity, new: Quantity, back: bool) {
        let Some(dial) = self.dial(setting) else { return };
        let why = match self.bench.advice() {
            Advice::Change { dial: advised, why, .. } if advised == dial && !back => Some(why),
            _ => None,
        };
        let before = self.found();
        let trial = Trial { setting: setting.clone(), old, new, why, back, before, after: Found::default() };
        self.trials.push(trial);
        self.bench.changed(dial, new.base());
        // Whoever takes a change back does not want it proposed again.
        self.bench.dials[dial].kept = back;
        self.made_under_lock = self.lock.is_some();
    }

    fn weighed(&mut self, fills: &crate::casebook::Fills, speed: Option<f64>) {
        let unit = Unit::find(&fills.unit).unwrap_or(Kind::Mass.base());
        let grams: Vec<f64> = fills.values.iter().map(|v| unit.to_base(*v)).collect();
        self.fills += grams.len();
        if self.as_found.is_none() && self.trials.is_empty() {
            let weighed: Vec<_> = grams.iter().map(|weight| (*weight, 0.0)).collect();
            self.as_found = Some(mean_error(&weighed, self.bench.wanted.target, 0.0));
            self.found_speed = speed;
            return;
        }
        self.bench.weighed(&grams, speed.filter(|s| *s > 0.0).map(|s| 60.0 / s));
    }

    /// What to change next and why, as a proposal in the setting's unit, rounded to what a panel takes.
    pub fn proposed(&self, dial: usize, to: f64, why: Why) -> Option<Proposal> {
        let dial = self.bench.dials.get(dial)?;
        let old = dial.figure();
        let step = step_of(old.unit);
        let to = old.unit.from_base(to);
        let rounded = (to / step).round() * step;
        let number = if (rounded - old.number).abs() < step / 2.0 { to } else { rounded };
        let new = Quantity { number: significant(number), unit: old.unit };
        Some(Proposal { setting: dial.setting.clone(), old, new, why: Some(why), back: false })
    }
}

/// What a panel, a rule or a gate can be set to.
fn step_of(unit: &Unit) -> f64 {
    match unit.kind {
        Kind::Time => 0.05,
        Kind::Length | Kind::Share => 0.5,
        Kind::Mass => 0.1,
        _ => f64::MIN_POSITIVE,
    }
}
