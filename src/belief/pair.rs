//! Many sums at once: independent ones on two threads, since every machine that this runs on has two cores and what is found
//! does not depend on them; those side by side in smaller lots where all together would be too large.

use super::evidence::BeliefError;

/// What `of` says of each of these, in their order: of all at once, or of one half after the other where that is too large.
pub(super) fn halved<T, R>(
    all: &[T],
    of: &impl Fn(&[T]) -> Result<Vec<R>, BeliefError>,
) -> Result<Vec<R>, BeliefError> {
    match of(all) {
        Err(BeliefError::TooLarge { .. }) if all.len() > 1 => {
            let (first, second) = all.split_at(all.len() / 2);
            let mut said = halved(first, of)?;
            said.extend(halved(second, of)?);
            Ok(said)
        }
        known => known,
    }
}

/// What `of` says of each of these, in their order.
pub(super) fn each<T: Sync, R: Send>(all: &[T], of: impl Fn(&T) -> R + Sync) -> Vec<R> {
    if let [only] = all {
        return vec![of(only)];
    }
    let every_other = |first: usize| all.iter().skip(first).step_by(2).map(&of).collect::<Vec<R>>();
    let (even, odd) = std::thread::scope(|scope| {
        let odd = scope.spawn(|| every_other(1));
        (every_other(0), odd.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    });
    let mut odd = odd.into_iter();
    even.into_iter().flat_map(|even| std::iter::once(even).chain(odd.next())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_the_order_of_what_was_asked() {
        for count in 0..6 {
            let all: Vec<usize> = (0..count).collect();
            assert_eq!(each(&all, |number| number * 10), all.iter().map(|n| n * 10).collect::<Vec<_>>());
        }
    }

    #[test]
    fn what_is_too_large_at_once_is_asked_in_halves_and_what_is_too_large_alone_is_refused() {
        let of = |most: usize| {
            move |part: &[usize]| {
                let said = part.iter().map(|number| number * 10).collect();
                if part.len() <= most {
                    Ok(said)
                } else {
                    Err(BeliefError::TooLarge { cost: part.len() as f64 })
                }
            }
        };
        assert_eq!(halved(&[1, 2, 3, 4, 5], &of(2)), Ok(vec![10, 20, 30, 40, 50]));
        assert_eq!(halved(&[1, 2, 3], &of(0)), Err(BeliefError::TooLarge { cost: 1.0 }));
    }
}
