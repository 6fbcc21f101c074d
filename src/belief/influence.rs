//! What one parent can do to a finding at all the moments at which the finding matters.
//!
//! A finding has one degree a *version* (a moment at which its parents may differ). Its state is written in bits, `degrees` bits a
//! version, the lowest `s` of them set for degree `s`; so the larger of two states is their bitwise or. Each link, and the
//! leak, draws one uniform level `V` a block of versions and drives version `k` to the largest `s` with
//! `V < P(at least s | parent's state at k)`: noise persists, so P(before ≤ s, after ≤ t) = leak(min) · Π_p min(c, c).
//! No signed difference of cumulative tables is ever formed, so nothing cancels.

/// Findings at all their versions, as bits.
pub(crate) type State = u128;
/// Most bits of a state.
pub(crate) const MOST_BITS: usize = 128;
/// What one influence can do, with probabilities; states ascending, each once.
pub(crate) type Spread = Vec<(State, f64)>;

/// The degree that stands from bit `first` on.
pub(crate) fn degree(state: State, first: usize, degrees: usize) -> usize {
    ((state >> first) & ((1 << degrees) - 1)).count_ones() as usize
}

/// What one link does: `levels[k]` = P(drives version k to at least 1, 2…), empty where it does not act; versions of the same
/// block share one draw.
pub(crate) fn spread(levels: &[&[f64]], blocks: &[usize], degrees: usize) -> Spread {
    let mut all: Spread = vec![(0, 1.0)];
    let mut done: Vec<usize> = Vec::new();
    for &block in blocks {
        if !done.contains(&block) {
            done.push(block);
            let next = spread_of_block(levels, blocks, block, degrees);
            all = if all.len() == 1 && all[0].0 == 0 { next } else { stronger(&all, &next) };
        }
    }
    all
}

fn spread_of_block(levels: &[&[f64]], blocks: &[usize], block: usize, degrees: usize) -> Spread {
    let inside = || levels.iter().enumerate().filter(|(version, _)| blocks[*version] == block);
    let mut bounds: Vec<f64> =
        inside().flat_map(|(_, row)| row.iter().copied()).filter(|bound| *bound > 0.0).collect();
    bounds.sort_unstable_by(|a, b| b.total_cmp(a));
    bounds.dedup();
    let mut spread: Spread = vec![(0, 1.0 - bounds.first().copied().unwrap_or(0.0))];
    for (place, &bound) in bounds.iter().enumerate() {
        let below = bounds.get(place + 1).copied().unwrap_or(0.0);
        let mut state: State = 0;
        for (version, row) in inside() {
            let reached = row.iter().filter(|level| **level >= bound).count();
            state |= ((1 << reached) - 1) << (version * degrees);
        }
        spread.push((state, bound - below));
    }
    tidy(spread)
}

/// The larger of two independent influences.
pub(crate) fn stronger(left: &Spread, right: &Spread) -> Spread {
    tidy(left.iter().flat_map(|&(a, p)| right.iter().map(move |&(b, q)| (a | b, p * q))).collect())
}

fn tidy(mut spread: Spread) -> Spread {
    spread.sort_unstable_by_key(|entry| entry.0);
    spread.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    spread.retain(|entry| entry.1 > 0.0);
    spread
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_that_fired_before_fires_again_with_the_weaker_parent_only_as_often_as_that_allows() {
        // Before: P(≥1) = .8, P(≥2) = .5; after: P(≥1) = .3, P(≥2) = 0. Two degrees, two bits a version.
        let spread = spread(&[&[0.8, 0.5], &[0.3, 0.0]], &[0, 0], 2);
        let p = |before: usize, after: usize| -> f64 {
            spread
                .iter()
                .filter(|(s, _)| degree(*s, 0, 2) <= before && degree(*s, 2, 2) <= after)
                .map(|e| e.1)
                .sum()
        };
        for (before, after, expected) in
            [(0, 0, 0.2), (1, 0, 0.5), (1, 1, 0.5), (2, 0, 0.7), (0, 2, 0.2), (2, 2, 1.0)]
        {
            assert!((p(before, after) - expected).abs() < 1e-15, "{before} {after}");
        }
    }

    #[test]
    fn blocks_draw_independently() {
        let spread = spread(&[&[0.5], &[0.5]], &[0, 1], 1);
        assert!(spread.len() == 4 && spread.iter().all(|entry| (entry.1 - 0.25).abs() < 1e-15));
    }
}
