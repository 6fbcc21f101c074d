//! What no plan can do better than: the minutes it would take if one knew how things are.
//!
//! For each scenario the cheapest course that knows it, with every lockout open for nothing. Questions cannot lower it, since
//! knowing costs nothing here; so the expected minutes of any plan whatever lie at or above it (method 1.4: a proven bound).

use super::prospect::{Act, Prospect, Scenario};

/// A proven lower bound on the expected minutes of any plan, given that the complaint is there.
pub(super) fn at_least(prospect: &Prospect) -> f64 {
    let there = |scenario: &Scenario| scenario.weight * (1.0 - scenario.gone[0]);
    let total: f64 = prospect.scenarios.iter().map(there).sum();
    let each = prospect.scenarios.iter().map(|scenario| there(scenario) * knowing(prospect, scenario));
    if total > 0.0 { each.sum::<f64>() / total } else { 0.0 }
}

/// Minutes to end a complaint whose causes are known, at least.
fn knowing(prospect: &Prospect, scenario: &Scenario) -> f64 {
    let call = prospect.call;
    let mut acts: Vec<(f64, f64)> = prospect.acts.iter().filter_map(|act| helps(act, scenario)).collect();
    if scenario.causes.len() != 1 {
        // Whatever is done first takes its minutes.
        return acts.iter().map(|(minutes, _)| *minutes).fold(call, f64::min);
    }
    // One cause: acts that each cure it with their own chance, by P/C (Kadane, Simon 1977), cut where the call is cheaper.
    acts.sort_by(|a, b| (b.1 / b.0).total_cmp(&(a.1 / a.0)));
    let ends =
        (scenario.gone[1] - scenario.gone[0]).max(0.0) / (1.0 - scenario.gone[0]).max(f64::MIN_POSITIVE);
    let (mut uncured, mut spent, mut best) = (1.0, 0.0, call);
    for (minutes, works) in acts {
        spent += (1.0 - ends * (1.0 - uncured)) * minutes;
        uncured *= 1.0 - works;
        best = f64::min(best, spent + (1.0 - ends * (1.0 - uncured)) * call);
    }
    best
}

/// Minutes of an act alone and the best chance that it cures something of a scenario.
fn helps(act: &Act, scenario: &Scenario) -> Option<(f64, f64)> {
    let works =
        act.cures.iter().filter(|(cause, _)| scenario.causes.contains(cause)).map(|(_, works)| *works);
    let works = works.fold(0.0, f64::max);
    (works > 0.0).then_some(((act.minutes + shared_proof(act)).max(f64::MIN_POSITIVE), works))
}

/// In a lockout a proof may be shared with others, so it counts for nothing here.
fn shared_proof(act: &Act) -> f64 {
    if act.lockout.is_none() { act.proof } else { 0.0 }
}
