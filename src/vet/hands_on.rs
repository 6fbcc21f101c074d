//! Work that puts a body in danger: its cautions, its second reader, motion behind open guards, energies to isolate.

use std::collections::BTreeMap;

use super::{Job, Judge, jobs, listed};
use crate::diag::{Code, Diagnostic, Span};
use crate::ids::PlaceId;
use crate::knowledge::{Asks, At, Knowledge, Machine, Work};
use crate::safety::{Caution, Energy, Exposure, Exposures};
use crate::units::Kind;

pub(super) fn judge(judge: &mut Judge<'_>) {
    for job in jobs(judge.knowledge) {
        one(judge, &job);
    }
    voltages(judge);
    energies(judge);
}

/// One piece of work.
pub(super) fn one<'k>(judge: &mut Judge<'k>, job: &Job<'k>) {
    places(judge, job);
    cautions(judge, job);
    safety_read(judge, job);
    motion(judge, job);
}

/// The places of an entry and its steps, as written.
fn places_of(work: &Work) -> impl Iterator<Item = &At<PlaceId>> {
    std::iter::once(&work.place).chain(work.steps.iter().filter_map(|s| s.place.as_ref()))
}

/// What one place exposes a person to; `None` if the machine does not have it.
fn exposed_at(machine: &Machine, work: &Work, place: &PlaceId) -> Option<Exposures> {
    machine.places.get(place).map(|place| Exposures::at(&place.traits, &work.raised))
}

/// A step at a place that the machine lacks would be shown there without the exposures of that place.
fn places(judge: &mut Judge<'_>, job: &Job<'_>) {
    for step in job.work.steps.iter().filter_map(|s| s.place.as_ref()) {
        let lacks = judge.machines_for(job.work).filter(|m| !m.places.contains_key(&step.value));
        let lacks: Vec<_> = lacks.map(|m| &m.id).collect();
        if !lacks.is_empty() {
            let message = format!(
                "the {} '{}' can be done on {}, where there is no place '{}' for this step",
                job.kind,
                job.id,
                listed(&lacks),
                step.value
            );
            judge.push(
                Diagnostic::error(Code::UnknownId, step.span, message)
                    .label("what it exposes a person to is not known there")
                    .help(
                        "add the place to the machine, or keep the entry to others with `machines:`"
                            .to_owned(),
                    ),
            );
        }
    }
}

/// Every hands-on exposure, on every machine, has a caution that covers it.
fn cautions(judge: &mut Judge<'_>, job: &Job<'_>) {
    let named = judge.knowledge.cautions_of(job.work);
    let mut open: BTreeMap<Exposure, (Span, Vec<&Machine>)> = BTreeMap::new();
    for machine in judge.machines_for(job.work) {
        for place in places_of(job.work) {
            let Some(exposures) = exposed_at(machine, job.work, &place.value) else { continue };
            let hands_on = exposures.iter().filter(|e| !matches!(e, Exposure::Outside | Exposure::Running));
            for exposure in hands_on.filter(|e| !named.iter().any(|c| c.protects_from(*e))) {
                let (_, machines) = open.entry(exposure).or_insert((place.span, Vec::new()));
                if machines.last().is_none_or(|last| last.id != machine.id) {
                    machines.push(machine);
                }
            }
        }
    }
    // What is missing at one place on the same machines is one problem.
    let mut problems: BTreeMap<(Span, Vec<String>), Vec<Exposure>> = BTreeMap::new();
    for (exposure, (span, machines)) in open {
        let machines = machines.iter().map(|m| m.id.to_string()).collect();
        problems.entry((span, machines)).or_default().push(exposure);
    }
    for ((span, machines), missing) in problems {
        let message = format!(
            "on {} the {} '{}' exposes a person ({}), and none of its cautions covers that",
            listed(&machines),
            job.kind,
            job.id,
            listed(&missing)
        );
        let problem = Diagnostic::error(Code::MissingCaution, span, message)
            .label(format!("work here is {}", listed(&missing)))
            .help(covering(judge.knowledge, &missing));
        let notices = named.iter().filter(|c| c.covers.iter().any(|e| missing.contains(e)));
        let places = notices.filter_map(|c| judge.knowledge.cautions.get(&c.id)).map(|c| c.head.span);
        let about_property = "a NOTICE is about property and warns of no injury";
        let problem = places.fold(problem, |problem, span| problem.related(span, about_property));
        judge.push(problem);
    }
}

fn covering(knowledge: &Knowledge, missing: &[Exposure]) -> String {
    let how_many = |c: &Caution| missing.iter().filter(|e| c.protects_from(**e)).count();
    let mut known: Vec<_> = knowledge.cautions.values().map(|c| &c.caution).collect();
    known.retain(|c| how_many(c) > 0);
    known.sort_by(|a, b| how_many(b).cmp(&how_many(a)).then(a.id.cmp(&b.id)));
    let names: Vec<_> = known.iter().map(|c| c.id.as_str()).take(3).collect();
    if names.is_empty() {
        return format!("write a caution with `covers: [{}]` and name it under `cautions:`", {
            let words: Vec<_> = missing.iter().map(|e| e.as_str()).collect();
            words.join(", ")
        });
    }
    format!("name what covers it under `cautions:`, such as {}", names.join(" or "))
}

/// A hands-on entry has been read by somebody who did not write it, on a day that there was.
fn safety_read(judge: &mut Judge<'_>, job: &Job<'_>) {
    let exposures = judge.knowledge.exposures_anywhere(job.work);
    let how =
        "let somebody who did not write it read it, then add `safety_read: {by: NAME, date: 2026-11-25}`";
    match &job.work.safety_read {
        None if exposures.hands_on() => {
            let message = format!(
                "the {} '{}' is hands-on work ({exposures}) and nobody has read it for safety",
                job.kind, job.id
            );
            judge.push(
                Diagnostic::error(Code::MissingSafetyRead, job.span, message)
                    .label("this entry has no `safety_read`")
                    .help(how.to_owned()),
            );
        }
        Some((_, date)) if date.parse::<jiff::civil::Date>().is_err() => {
            let message = format!("'{date}' under `safety_read` of '{}' is not a date", job.id);
            judge.push(
                Diagnostic::error(Code::BadValue, job.span, message)
                    .label("in this entry")
                    .help("write year, month and day, like 2026-11-25".to_owned()),
            );
        }
        _ => {}
    }
}

/// No step needs motion while a guard is open, and no entry mixes steps at a running machine with steps in a locked
/// one: testing with power back on is work of its own (29 CFR 1910.147(f)(1)).
fn motion(judge: &mut Judge<'_>, job: &Job<'_>) {
    for machine in judge.machines_for(job.work) {
        let at = |place: &At<PlaceId>| exposed_at(machine, job.work, &place.value).map(|e| (place.span, e));
        let all: Vec<_> = places_of(job.work).filter_map(at).collect();
        let both = all.iter().find(|(_, e)| e.has(Exposure::Running) && e.hands_on());
        if let Some((span, exposures)) = both {
            let message = format!(
                "the {} '{}' puts a person where the machine runs and hands are in it ({exposures}) on {}",
                job.kind, job.id, machine.id
            );
            judge.push(
                Diagnostic::error(Code::UnsafeText, *span, message)
                    .label("running, and hands-on")
                    .help("watch it from outside with the guards shut, or do it locked off".to_owned()),
            );
            return;
        }
        let running = all.iter().find(|(_, e)| e.has(Exposure::Running));
        let hands_on = all.iter().find(|(_, e)| e.hands_on());
        if let (Some((running, _)), Some((hands_on, exposures))) = (running, hands_on) {
            let message = format!(
                "the {} '{}' mixes steps at the running machine with hands-on steps ({exposures}) on {}",
                job.kind, job.id, machine.id
            );
            judge.push(
                Diagnostic::error(Code::UnsafeText, *hands_on, message)
                    .label("locked off here")
                    .related(*running, "running here")
                    .help("make the part that needs motion a check of its own".to_owned()),
            );
            return;
        }
    }
}

/// A tension measured with an instrument where the machine says that nothing is live.
fn voltages(judge: &mut Judge<'_>) {
    for check in judge.knowledge.checks.values() {
        let Asks::Quantity(asked) = &check.asks else { continue };
        let by_meter = asked.kind == Kind::Voltage && check.how == crate::knowledge::How::Measured;
        let exposures = judge.knowledge.exposures_anywhere(&check.work);
        // Load-cell signals are asked for in millivolts and cannot hurt anybody.
        if by_meter && asked.unit.name == "V" && !exposures.has(Exposure::Energised) {
            let message = format!("'{}' measures volts at a place that is not live", check.id);
            judge.push(
                Diagnostic::warning(Code::UnsafeText, check.work.place.span, message)
                    .label("is nothing live within reach here?")
                    .help(
                        "if parts over 50 V AC or 60 V DC are within reach, add `exposures: [energised]`"
                            .to_owned(),
                    ),
            );
        }
    }
}

/// A machine that has places to lock off for has the energies to lock.
fn energies(judge: &mut Judge<'_>) {
    for machine in judge.knowledge.machines.values() {
        let places = machine.places.values().map(|p| Exposures::at(&p.traits, &[]));
        let all = places.fold(Exposures::outside(), |all, one| all.union(&one));
        let has = |energy| machine.energies.iter().any(|p| p.energy == energy);
        let help = "name every energy under `energies:` with the point that isolates it";
        let mut complain = |message: String| {
            judge.push(
                Diagnostic::error(Code::UntreatedEnergy, machine.head.span, message)
                    .label("in this machine")
                    .help(help.to_owned()),
            );
        };
        if all.needs_isolation() && machine.energies.is_empty() {
            complain(format!("'{}' has places behind guards and names no energy to isolate", machine.id));
        } else if all.has(Exposure::Energised) && !has(Energy::Mains) && !has(Energy::SecondFeed) {
            complain(format!("'{}' has a live place and names no electrical supply to isolate", machine.id));
        }
        if all.needs_isolation() && machine.start_paths.is_empty() {
            judge.push(
                Diagnostic::error(
                    Code::UntreatedEnergy,
                    machine.head.span,
                    format!("'{}' has places behind guards and names no way in which it starts", machine.id),
                )
                .label("in this machine")
                .help("name every start key, foot switch and signal under `start_paths:`".to_owned()),
            );
        }
    }
}
