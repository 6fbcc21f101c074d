//! Which remedies to do in one lockout, searched exactly where the guard must be shut for each proof.
//!
//! A step does any set of remedies of one lockout, or one outside, and one proof follows. All sets of up to [`MOST`] remedies are
//! looked at: `W(S) = min(left(S)·call, min_B cost(B | S) + W(S ∪ B))`, at most 3ⁿ pairs of sets. No polynomial method is known
//! for this case (Ottosen, Jensen, 'When to test?', 2010).

use super::course::{Course, EVEN_ODDS, cost};
use super::prospect::Prospect;
use super::state::State;

/// Most remedies in lockouts that are searched exactly.
pub(super) const MOST: usize = 10;
/// Most remedies that are searched exactly, those outside included.
const MOST_IN_ALL: usize = 12;
/// Most causes looked at, over all sets of remedies and all scenarios.
const WORK: usize = 1 << 16;

/// The best course of the acts of `greedy` and of those that help most besides; none where no guard must be shut for a proof.
pub(super) fn search(prospect: &Prospect, start: &State, greedy: &Course) -> Option<Course> {
    let acts = chosen(prospect, start, greedy);
    let lockout = |act: &usize| prospect.acts[*act].lockout.map(|lockout| &prospect.lockouts[lockout]);
    let shared: Vec<bool> = acts.iter().filter_map(lockout).map(|lockout| lockout.proves_inside).collect();
    if shared.len() < 2 || shared.contains(&true) {
        return None;
    }
    let sets = Sets::new(prospect, start, acts);
    Some(sets.best())
}

/// The acts of the greedy course first, then by what they help for their minutes, as many as the work allows.
fn chosen(prospect: &Prospect, start: &State, greedy: &Course) -> Vec<usize> {
    let causes: usize = prospect.scenarios.iter().map(|scenario| scenario.causes.len()).sum();
    let most = (WORK / causes.max(1)).max(1).ilog2() as usize;
    let mut acts: Vec<usize> = greedy.order().collect();
    let helps = |&act: &usize| {
        let off = start.left - start.left_after(prospect, act);
        (off / (prospect.acts[act].minutes + prospect.acts[act].proof).max(f64::MIN_POSITIVE), act)
    };
    let mut others: Vec<(f64, usize)> = start
        .free
        .iter()
        .filter(|act| !acts.contains(act))
        .map(helps)
        .filter(|(off, _)| *off > 0.0)
        .collect();
    others.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    acts.extend(others.into_iter().map(|(_, act)| act));
    let mut inside = 0;
    acts.retain(|&act| {
        inside += usize::from(prospect.acts[act].lockout.is_some());
        prospect.acts[act].lockout.is_none() || inside <= MOST
    });
    acts.truncate(most.min(MOST_IN_ALL));
    acts.sort_unstable();
    acts
}

struct Sets<'a> {
    prospect: &'a Prospect,
    acts: Vec<usize>,
    /// The state after each set failed, guards shut.
    states: Vec<State>,
    /// Minutes of sending somebody after each set, times the probability of that.
    calls: Vec<f64>,
    /// For each lockout its acts as bits; an act outside is a group of its own.
    groups: Vec<usize>,
}

impl<'a> Sets<'a> {
    fn new(prospect: &'a Prospect, start: &State, acts: Vec<usize>) -> Self {
        let mut states = vec![start.clone()];
        for (bit, &act) in acts.iter().enumerate() {
            for set in 0..1usize << bit {
                let mut state = states[set].clone();
                state.act(prospect, act);
                state.shut(prospect);
                states.push(state);
            }
        }
        let calls = states.iter().map(|state| state.call(prospect)).collect();
        let bits = |lockout: usize| {
            let inside = |(bit, act): (usize, &usize)| {
                (prospect.acts[*act].lockout == Some(lockout)).then_some(1 << bit)
            };
            acts.iter().enumerate().filter_map(inside).sum()
        };
        let outside = |(bit, act): (usize, &usize)| prospect.acts[*act].lockout.is_none().then_some(1 << bit);
        let mut groups: Vec<usize> =
            (0..prospect.lockouts.len()).map(bits).filter(|bits| *bits > 0).collect();
        groups.extend(acts.iter().enumerate().filter_map(outside));
        Self { prospect, acts, states, calls, groups }
    }

    fn members(&self, set: usize) -> impl Iterator<Item = usize> {
        self.acts.iter().enumerate().filter(move |(bit, _)| set >> bit & 1 == 1).map(|(_, &act)| act)
    }

    /// The acts that may be done after a set: weighty ones under even odds only when nothing else is left.
    fn allowed(&self, set: usize) -> usize {
        let (mut ready, mut waiting) = (0, 0);
        for (bit, &act) in self.acts.iter().enumerate().filter(|(bit, _)| set >> bit & 1 == 0) {
            let (left, after) = (self.states[set].left, self.states[set | 1 << bit].left);
            let weighty = self.prospect.acts[act].weighty && left - after < EVEN_ODDS * left;
            if left > after {
                *if weighty { &mut waiting } else { &mut ready } |= 1 << bit;
            }
        }
        if ready > 0 { ready } else { waiting }
    }

    /// What doing a batch costs after a set.
    fn cost(&self, set: usize, batch: usize) -> f64 {
        cost(self.prospect, &self.states[set], self.members(batch), self.states[set | batch].left)
    }

    fn best(&self) -> Course {
        let all = self.states.len();
        let mut minutes = self.calls.clone();
        let mut then = vec![0usize; all];
        for set in (0..all).rev() {
            let allowed = self.allowed(set);
            for group in self.groups.iter().map(|group| group & allowed) {
                let mut batch = group;
                while batch > 0 {
                    let after = minutes[set | batch];
                    if after < minutes[set] {
                        let whole = after + self.cost(set, batch);
                        if whole < minutes[set] {
                            minutes[set] = whole;
                            then[set] = batch;
                        }
                    }
                    batch = (batch - 1) & group;
                }
            }
        }
        let mut batches = Vec::new();
        let mut set = 0;
        while then[set] > 0 {
            batches.push(self.members(then[set]).collect());
            set |= then[set];
        }
        Course { minutes: minutes[0], batches }
    }
}
