//! Whether the rates of a machine make sense together.

use super::Judge;
use crate::diag::{Code, Diagnostic};
use crate::graph::{View, chance};
use crate::knowledge::Knowledge;
use crate::units::number;

/// Somebody calls because something is wrong: fewer causes a call than this leave most calls unexplained, more
/// make it likely that two things are wrong at once.
const PLAUSIBLE: std::ops::RangeInclusive<f64> = 0.5..=1.2;

/// Only the whole built-in knowledge covers what a call may be about; a folder laid over it need not.
pub(super) fn judge(judge: &mut Judge<'_>, built_in: bool) {
    if !built_in {
        return;
    }
    for view in &judge.views {
        let sum = causes_a_call(judge.knowledge, view);
        if !PLAUSIBLE.contains(&sum) {
            let message = format!(
                "the rates of '{}' expect {} causes a call; {} to {} is plausible",
                view.machine.id,
                number((sum * 1000.0).round() / 1000.0),
                PLAUSIBLE.start(),
                PLAUSIBLE.end()
            );
            judge.problems.push(
                Diagnostic::warning(Code::RateSum, view.machine.head.span, message)
                    .label("in the causes of this machine")
                    .help(format!(
                        "{} the rates of its causes, or what circumstances add under `after:`",
                        if sum > *PLAUSIBLE.end() { "lower" } else { "raise" }
                    )),
            );
        }
    }
}

/// Expected number of causes a call, circumstances at their usual probability, not-in-the-book counted.
pub(super) fn causes_a_call(knowledge: &Knowledge, view: &View<'_>) -> f64 {
    let of_the_book: f64 =
        view.causes.iter().map(|cause| chance(knowledge, cause, view.rate(cause).unwrap_or(0.0))).sum();
    of_the_book + knowledge.scale.not_in_the_book.0 / 1000.0
}
