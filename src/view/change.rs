//! A run before a change beside one after it: did the change help?

use super::weighing::Weighing;
use super::{Page, Words, words};
use crate::weights::compare::{Helped, Way};
use crate::weights::{Change, Interval};

/// Says whether the change helped; false when no run before was given.
pub(super) fn say(page: &mut Page, weighing: &Weighing) -> bool {
    let Some(change) = &weighing.change else { return false };
    let better = ways(weighing, change, Way::Better);
    let worse = ways(weighing, change, Way::Worse);
    page.text(Words::new().strong(match change.helped {
        Helped::Yes => format!("The change helped: {}.", words::and(&better)),
        Helped::No => format!("The change made it worse: {}.", words::and(&worse)),
        Helped::Both => {
            format!("The change helped and harmed: {}, but {}.", words::and(&better), words::and(&worse))
        }
        Helped::NoMatter => "The change made no difference that matters.".to_owned(),
        Helped::CannotTell { more: Some(more) } => format!(
            "Whether the change helped cannot be told yet: about {} after the change would settle it.",
            words::count(more, "more fill", "more fills")
        ),
        Helped::CannotTell { more: None } => {
            "Whether the change helped cannot be told: too few fills were weighed before it, and more after it would \
             not settle it."
                .to_owned()
        }
        Helped::TooFew { before, after } => {
            let missing: Vec<String> = [(before, "before"), (after, "after")]
                .iter()
                .filter(|(missing, _)| *missing > 0)
                .map(|(missing, when)| format!("{missing} {when} the change"))
                .collect();
            format!("Too few fills to say whether the change helped: missing are {}.", words::and(&missing))
        }
    }));
    if weighing.read.run.target().is_none() {
        page.text("Give --target to hear whether the mean came closer to it.");
    }
    true
}

/// What went this way, each with its two figures.
fn ways(weighing: &Weighing, change: &Change, way: Way) -> Vec<String> {
    let (before, after) = (&change.before, &weighing.summary);
    let unit = weighing.unit().name;
    let better = way == Way::Better;
    let mut all = Vec::new();
    if let (true, Some(a), Some(b)) = (change.mean_way == way, before.mean_error, after.mean_error) {
        let went = if better { "closer to the target" } else { "further from the target" };
        all.push(format!(
            "the mean is {went} (error {} {unit}, was {})",
            weighing.signed(b),
            weighing.signed(a)
        ));
    }
    if let (true, Some(a), Some(b)) = (change.spread_way == way, &before.spread, &after.spread) {
        let went = if better { "smaller" } else { "larger" };
        all.push(format!(
            "the spread is {went} ({} {unit}, was {})",
            weighing.figure(b.estimate),
            weighing.figure(a.estimate)
        ));
    }
    if let (true, Some(a), Some(b)) = (change.outside_way == way, &before.outside, &after.outside) {
        let went = if better { "fewer" } else { "more" };
        all.push(format!(
            "{went} fills are outside ({} of {}, was {} of {})",
            b.light + b.heavy,
            after.n,
            a.light + a.heavy,
            before.n
        ));
    }
    all
}

/// Before and after in figures.
pub(super) fn figures(page: &mut Page, weighing: &Weighing) {
    let Some(change) = &weighing.change else { return };
    let (before, after) = (&change.before, &weighing.summary);
    let unit = weighing.unit().name;
    let range = |i: &Interval| format!("({} to {})", weighing.signed(i.low), weighing.signed(i.high));
    let mut all = vec![format!("Fills: {} before, {} after", before.n, after.n)];
    all.push(match (before.mean_error, after.mean_error) {
        (Some(a), Some(b)) => {
            format!("Mean error: {} {unit} before, {} after", weighing.signed(a), weighing.signed(b))
        }
        _ => format!(
            "Mean: {} {unit} before, {} after",
            weighing.figure(before.mean),
            weighing.figure(after.mean)
        ),
    });
    all.extend(change.mean.map(|welch| {
        format!(
            "Change of the mean: {} {unit} {}",
            weighing.signed(welch.change.estimate),
            range(&welch.change)
        )
    }));
    if let (Some(a), Some(b)) = (&before.spread, &after.spread) {
        all.push(format!(
            "Spread: {} {unit} before, {} after",
            weighing.figure(a.estimate),
            weighing.figure(b.estimate)
        ));
    }
    all.extend(change.spread.map(|s| {
        let times = |ratio| words::rounded(ratio, Some(0.01));
        let Interval { estimate, low, high } = s.ratio;
        format!("Spread after is {} times that before ({} to {})", times(estimate), times(low), times(high))
    }));
    if let (Some(a), Some(b), Some(o)) = (&before.outside, &after.outside, &change.outside) {
        let points = |share: f64| words::signed(share * 100.0, Some(1.0));
        all.push(format!(
            "Outside: {} of {} before, {} of {} after: {} points of 100 ({} to {})",
            a.light + a.heavy,
            before.n,
            b.light + b.heavy,
            after.n,
            points(o.estimate),
            points(o.low),
            points(o.high)
        ));
    }
    page.section("Before and after", all);
}
