//! The steps of a set-up. Pure: it never prints, reads no clock and writes nothing.

use super::advice::Advice;
use super::course::{asked_here, check_of, found_here};
use super::input::SetUpInput;
use super::state::{Course, Draft, Proposal, SetUpAsk, SetUpShow, SetUpState, SetUpStep};
use crate::casebook::set_up::{Gate, SetUpLine, SetUpLog};
use crate::knowledge::{Knowledge, Machine, SetUp};
use crate::units::Quantity;

/// What must hold before anything is set, in order.
const GATES: [Gate; 2] = [Gate::ScaleProved, Gate::ProductAsItRuns];

/// Sets a product up with a person.
pub struct SetUpWalker<'k> {
    /// The knowledge.
    pub knowledge: &'k Knowledge,
}

impl SetUpWalker<'_> {
    /// Begins; what the draft does not say is asked.
    pub fn begin(&self, draft: Draft, today: jiff::civil::Date) -> SetUpStep {
        self.asking(blank(draft, None, today), Vec::new(), None)
    }

    /// Takes a set-up up again. Nobody's lock is taken for granted.
    pub fn resume(&self, log: SetUpLog, today: jiff::civil::Date) -> SetUpStep {
        let head = &log.head;
        let draft = Draft {
            machine: Some(head.machine.clone()),
            serial: head.serial.clone(),
            product: Some(head.product.clone()),
            target: Some((head.target, head.tolerance)),
            speed: Some(head.fills_a_minute),
        };
        let state = blank(draft, Some(log), today);
        let mut lines = Vec::new();
        if self.course(&state).is_some_and(|course| course.handed_over.is_some()) {
            lines.push(SetUpLine::WentOn);
        }
        self.asking(state, lines, None)
    }

    /// One step.
    pub fn step(&self, mut state: SetUpState, input: SetUpInput) -> SetUpStep {
        let mut lines = Vec::new();
        let mut show = None;
        match input {
            SetUpInput::Machine(id) => state.draft.machine = Some(id),
            SetUpInput::Target(target, tolerance) => state.draft.target = Some((target, tolerance)),
            SetUpInput::Speed(speed) => state.draft.speed = Some(speed),
            SetUpInput::Leave => state.ask = SetUpAsk::Over,
            SetUpInput::Why => show = Some(SetUpShow::Why),
            SetUpInput::Overview => show = Some(SetUpShow::Overview),
            SetUpInput::Help => show = Some(SetUpShow::Help),
            SetUpInput::Misunderstood(sentence) => show = Some(SetUpShow::NotUnderstood(sentence)),
            SetUpInput::Danger(words) => {
                lines.push(SetUpLine::Note { text: words });
                show = Some(SetUpShow::Said(DANGER.to_owned()));
            }
            SetUpInput::Note(_) | SetUpInput::Person(_) if state.draft.head().is_none() => {
                let sentence =
                    "Nothing is kept before product, target and speed are known. Write it down then.";
                show = Some(SetUpShow::NotUnderstood(sentence.to_owned()));
            }
            SetUpInput::Note(text) => {
                lines.push(SetUpLine::Note { text });
                show = Some(SetUpShow::Said("Written down.".to_owned()));
            }
            SetUpInput::Person(name) => lines.push(SetUpLine::Person { name }),
            SetUpInput::Words(words) => words_for(&mut state, words, &mut lines),
            SetUpInput::Own(..) | SetUpInput::Back => match Self::wanted(&state, &input) {
                Ok(proposal) => state.wants = Some(proposal),
                Err(sentence) => show = Some(SetUpShow::NotUnderstood(sentence)),
            },
            other => match Self::answered(&state, other) {
                Ok(line) => lines.push(line),
                Err(sentence) => show = Some(SetUpShow::NotUnderstood(sentence)),
            },
        }
        if state.ask == SetUpAsk::Over {
            return SetUpStep { state, lines, show };
        }
        self.asking(state, lines, show)
    }

    /// The line that an answer gives, or why it gives none.
    fn answered(state: &SetUpState, input: SetUpInput) -> Result<SetUpLine, String> {
        Ok(match (&state.ask, input) {
            (SetUpAsk::Gate(gate), SetUpInput::Truth(true)) => SetUpLine::Holds { gate: *gate },
            (SetUpAsk::Gate(Gate::ScaleProved), SetUpInput::Truth(false)) => {
                return Err("First the scale: handlamp checklist run scale-first-check. A figure from a scale that reads wrong sets everything wrong. 'leave' keeps what is here.".to_owned());
            }
            (SetUpAsk::Gate(_), SetUpInput::Truth(false)) => {
                return Err("Settings found on another product, or on a hopper that is half empty, are wrong tomorrow. Go on once it is so.".to_owned());
            }
            (SetUpAsk::Corrects, SetUpInput::Corrects(how)) => SetUpLine::Corrects { how },
            (SetUpAsk::Figure(setting), SetUpInput::Figure(figure)) => {
                SetUpLine::Stood { setting: setting.clone(), figure }
            }
            (SetUpAsk::AsFound, SetUpInput::Skip) => SetUpLine::NoRunBefore,
            (SetUpAsk::Look { check, .. }, SetUpInput::Seen(outcome)) => {
                SetUpLine::Looked { check: check.clone(), outcome }
            }
            (SetUpAsk::Times, SetUpInput::Times(coarse, fine, fills_a_minute)) => {
                SetUpLine::Timed { coarse, fine, fills_a_minute }
            }
            (SetUpAsk::Catch, SetUpInput::Caught(grams)) => SetUpLine::Caught { grams },
            (SetUpAsk::Change(p), SetUpInput::Done) => changed(p, p.new),
            (SetUpAsk::Change(p), SetUpInput::Figure(Some(figure))) => changed(p, figure),
            (SetUpAsk::Change(p) | SetUpAsk::Lock(p), SetUpInput::Keep) => {
                SetUpLine::Kept { setting: p.setting.clone() }
            }
            (SetUpAsk::Look { setting, .. }, SetUpInput::Keep) => {
                SetUpLine::Kept { setting: setting.clone() }
            }
            (SetUpAsk::HandBack, SetUpInput::Truth(true)) => SetUpLine::HandedBack,
            (SetUpAsk::HandBack, SetUpInput::Truth(false)) => {
                return Err("Nothing runs before it is. The lock stays on.".to_owned());
            }
            (SetUpAsk::AsFound | SetUpAsk::Run(_), SetUpInput::Run(fills, fills_a_minute)) => {
                SetUpLine::Weighed { fills, fills_a_minute }
            }
            (SetUpAsk::Stuck(_), SetUpInput::GoOn) => SetUpLine::WentOn,
            _ => return Err("That does not answer this. 'help' lists what can be typed.".to_owned()),
        })
    }

    /// A change that a person wants: one of their own, or the last one taken back.
    fn wanted(state: &SetUpState, input: &SetUpInput) -> Result<Proposal, String> {
        let course = state.course.as_ref().filter(|course| course.as_found.is_some());
        let course = course.ok_or("Nothing can be changed yet. First the questions before.")?;
        let SetUpInput::Own(setting, new) = input else { return back(course) };
        let dial = course.dial(setting).map(|dial| &course.bench.dials[dial]);
        let dial = dial.ok_or("Where it stands is not known here, so there would be no way back.")?;
        Ok(Proposal { setting: setting.clone(), old: dial.figure(), new: *new, why: None, back: false })
    }

    /// Everything that the record adds up to.
    fn course(&self, state: &SetUpState) -> Option<Course> {
        let log = state.log.as_ref();
        let head = log.map(|log| log.head.clone()).or_else(|| state.draft.head())?;
        let machine = self.knowledge.machines.get(&head.machine)?;
        let lines = log.into_iter().flat_map(|log| &log.lines).map(|kept| &kept.line);
        Some(Course::of(machine, &head, lines))
    }

    /// The state with its new lines taken in, and what is asked then.
    fn asking(&self, mut state: SetUpState, lines: Vec<SetUpLine>, show: Option<SetUpShow>) -> SetUpStep {
        let mut course = state.course.take().or_else(|| self.course(&state));
        let machine = state.draft.machine.as_ref().and_then(|id| self.knowledge.machines.get(id));
        if let (Some(course), Some(machine)) = (&mut course, machine) {
            for line in &lines {
                course.take(machine, line);
            }
        }
        for line in &lines {
            match line {
                SetUpLine::Changed { .. } | SetUpLine::Kept { .. } => state.wants = None,
                SetUpLine::Locked { .. } => state.lapsed = false,
                _ => {}
            }
        }
        let ended = lines.iter().any(|line| matches!(line, SetUpLine::Ended { .. }));
        state.ask = match (&course, machine) {
            _ if ended => SetUpAsk::Over,
            (Some(course), Some(machine)) => self.next(course, machine, &state),
            _ => self.first(&state.draft),
        };
        state.course = course;
        SetUpStep { state, lines, show }
    }

    /// What is not known yet before the record begins.
    fn first(&self, draft: &Draft) -> SetUpAsk {
        if draft.machine.is_none() {
            let settable = |m: &&Machine| !found_here(m).is_empty();
            return SetUpAsk::Machine(
                self.knowledge.machines.values().filter(settable).map(|m| m.id.clone()).collect(),
            );
        }
        if draft.product.is_none() {
            return SetUpAsk::Product;
        }
        if draft.target.is_none() { SetUpAsk::Target } else { SetUpAsk::Speed }
    }

    /// What comes next. Nothing is run, looked at or weighed while a lock is on.
    fn next(&self, course: &Course, machine: &Machine, state: &SetUpState) -> SetUpAsk {
        let ask = match &state.wants {
            Some(proposal) => SetUpAsk::Change(proposal.clone()),
            None => Self::open(course, machine),
        };
        let by_hand = match &ask {
            SetUpAsk::Change(proposal) if self.by_hand(machine, proposal) => Some(proposal.clone()),
            _ => None,
        };
        match (by_hand, &course.lock) {
            (_, Some(_)) if course.made_under_lock => SetUpAsk::HandBack,
            (Some(proposal), None) => SetUpAsk::Lock(proposal),
            (Some(proposal), Some(_)) if state.lapsed => SetUpAsk::Lock(proposal),
            (None, Some(_)) => SetUpAsk::HandBack,
            _ => ask,
        }
    }

    fn open(course: &Course, machine: &Machine) -> SetUpAsk {
        if let Some(gate) = GATES.into_iter().find(|gate| !course.holds.contains(gate)) {
            return SetUpAsk::Gate(gate);
        }
        if course.corrects.is_none() {
            return SetUpAsk::Corrects;
        }
        if let Some(setting) = asked_here(machine).into_iter().find(|s| !course.asked.contains(&s.id)) {
            return SetUpAsk::Figure(setting.id.clone());
        }
        if course.as_found.is_none() {
            return SetUpAsk::AsFound;
        }
        if course.good_as_found() {
            return SetUpAsk::Sign { fast_enough: true };
        }
        match course.bench.advice() {
            Advice::Look(dial) => Self::look(course, machine, dial),
            Advice::Time => SetUpAsk::Times,
            Advice::Catch => SetUpAsk::Catch,
            Advice::Run(fills) => SetUpAsk::Run(fills),
            Advice::Stuck(stuck) => SetUpAsk::Stuck(stuck),
            Advice::Good { fast_enough } => SetUpAsk::Sign { fast_enough },
            Advice::Change { dial, to, why } => {
                course.proposed(dial, to, why).map_or(SetUpAsk::Over, SetUpAsk::Change)
            }
        }
    }

    fn look(course: &Course, machine: &Machine, dial: usize) -> SetUpAsk {
        let dial = &course.bench.dials[dial];
        match check_of(machine, dial.told_by) {
            Some(check) => SetUpAsk::Look { check: check.clone(), setting: dial.setting.clone() },
            None => SetUpAsk::Over,
        }
    }

    /// Whether a change is made where hands need a lock.
    pub fn by_hand(&self, machine: &Machine, proposal: &Proposal) -> bool {
        remedy_of(machine, proposal)
            .and_then(|id| self.knowledge.remedies.get(id))
            .is_some_and(|remedy| machine.exposures(&remedy.work).needs_isolation())
    }
}

/// The remedy that says how a change is made, where that is not done at the panel.
pub fn remedy_of<'m>(machine: &'m Machine, proposal: &Proposal) -> Option<&'m crate::ids::RemedyId> {
    let how: &SetUp = machine.setting(&proposal.setting)?.set_up.as_ref()?;
    let more = proposal.new.base() > proposal.old.base();
    let remedy = if more { &how.raise } else { &how.lower };
    remedy.as_ref().map(|at| &at.value)
}

fn blank(draft: Draft, log: Option<SetUpLog>, today: jiff::civil::Date) -> SetUpState {
    SetUpState { draft, log, course: None, ask: SetUpAsk::Over, wants: None, lapsed: true, today }
}

fn words_for(state: &mut SetUpState, words: String, lines: &mut Vec<SetUpLine>) {
    match &state.ask {
        SetUpAsk::Product => state.draft.product = Some(words),
        SetUpAsk::Lock(_) => lines.push(SetUpLine::Locked { key: words }),
        SetUpAsk::Sign { .. } => lines.push(SetUpLine::Ended { name: words }),
        _ => {}
    }
}

fn changed(proposal: &Proposal, new: Quantity) -> SetUpLine {
    SetUpLine::Changed { setting: proposal.setting.clone(), old: proposal.old, new, back: proposal.back }
}

/// The last change that was not taken back yet, taken back.
fn back(course: &Course) -> Result<Proposal, String> {
    let mut taken_back = 0;
    for trial in course.trials.iter().rev() {
        if trial.back {
            taken_back += 1;
        } else if taken_back > 0 {
            taken_back -= 1;
        } else {
            let dial = course.dial(&trial.setting).ok_or("Its figure is not known.")?;
            return Ok(Proposal {
                setting: trial.setting.clone(),
                old: course.bench.dials[dial].figure(),
                new: trial.old,
                why: None,
                back: true,
            });
        }
    }
    Err("Nothing was changed yet.".to_owned())
}

/// Said when a person's words tell of danger.
const DANGER: &str = "Stop the machine now, at its stop, and keep everybody off it. Is anybody hurt? Call for help first. Nothing is set up on a machine that does what nobody asked of it: diagnose it.";
