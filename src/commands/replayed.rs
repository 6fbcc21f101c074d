//! `handlamp rehearse` on cases that need no plan: recorded ones, and calls made up for two versions of the knowledge.

use std::path::PathBuf;

use super::diagnose::unthinkable;
use super::progress::Counter;
use super::recorded_cases::{Gathered, as_taken_by};
use super::revision::{self, Version};
use super::{CommandError, Context, Outcome, Result};
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::rehearse::{CaseScore, Loss, Named, Scores, calls, compare, score};
use crate::render::json;
use crate::view::rehearsal::{self, Compared};

/// Judges cases, with a bar for whoever waits.
pub(super) fn judged(knowledge: &Knowledge, cases: &[Named], context: &Context) -> Scores {
    let counter = Counter::new(context.tells_a_person);
    let scores = score(knowledge, cases, context.cores(), &|done| counter.show("cases", done, cases.len()));
    counter.clear();
    scores
}

pub(super) fn recorded(paths: &[PathBuf], knowledge: &Knowledge, context: &mut Context) -> Result {
    let cases = Gathered::from(paths, context)?.read(knowledge, context)?;
    let scores = judged(knowledge, &cases, context);
    if context.options.json {
        context.json(&json::recorded(knowledge, &scores))?;
    } else {
        context.page(&rehearsal::recorded(&scores))?;
    }
    Ok(good_unless(scores.cases.iter().any(CaseScore::fell_short)))
}

/// Recorded cases judged by two versions: 'after' is the one in use.
pub(super) fn against(
    paths: &[PathBuf],
    knowledge: Knowledge,
    (other, loss): (&str, Loss),
    context: &mut Context,
) -> Result {
    let before = revision::other(other, context)?;
    let after = revision::in_use(knowledge, context);
    let gathered = Gathered::from(paths, context)?;
    let read = gathered.read(&after.knowledge, context)?;
    let old = judged(&before.knowledge, &gathered.as_taken_by(&before.knowledge, &read), context);
    let new = judged(&after.knowledge, &read, context);
    if old.cases.is_empty() && new.cases.is_empty() {
        // A test that judges nothing must not pass.
        return Err(CommandError::input(
            "None of these cases tells what it was, so nothing can be compared.",
        )
        .hint("A case tells it by `expect: {cause: ID}`, or when it is closed after a cure.".to_owned()));
    }
    told((&before, &old), (&after, &new), (loss, None), context)
}

/// Calls made up from the version before, judged by both.
pub(super) fn simulated(
    knowledge: Knowledge,
    (cases, seed, machine): (usize, u64, Option<MachineId>),
    (other, loss): (&str, Loss),
    context: &mut Context,
) -> Result {
    let before = revision::other(other, context)?;
    let after = revision::in_use(knowledge, context);
    let machines = before.knowledge.machines.keys().filter(|id| machine.as_ref().is_none_or(|m| m == *id));
    let mut made_up = Vec::new();
    for id in machines {
        let own = calls(&before.knowledge, id, cases, seed).map_err(|error| unthinkable(&error))?;
        made_up.extend(own);
    }
    let old = judged(&before.knowledge, &made_up, context);
    let new = judged(&after.knowledge, &as_taken_by(&after.knowledge, &made_up), context);
    told((&before, &old), (&after, &new), (loss, Some(seed)), context)
}

fn told(
    (before, old): (&Version, &Scores),
    (after, new): (&Version, &Scores),
    (loss, seed): (Loss, Option<u64>),
    context: &mut Context,
) -> Result {
    let comparison = compare(old, new);
    let fails = comparison.fails(loss);
    if context.options.json {
        let sides = [(&before.knowledge, old), (&after.knowledge, new)];
        context.json(&json::compared(sides, &comparison, (loss, fails.as_deref()), seed))?;
    } else {
        let from = [before, after].map(|version| format!("{} ({})", version.from, version.knowledge.version));
        let compared = Compared { before: old, after: new, comparison: &comparison };
        context.page(&rehearsal::compared(&compared, &from, (loss, fails.as_deref()), seed))?;
    }
    Ok(good_unless(fails.is_some()))
}

fn good_unless(short: bool) -> Outcome {
    if short { Outcome::NotGood } else { Outcome::Done }
}
