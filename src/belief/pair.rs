//! Independent sums on two threads: every machine that this runs on has two cores, and what is found does not depend on them.

/// What `of` says of each of these, in their order.
pub(super) fn each<T: Sync, R: Send>(all: &[T], of: impl Fn(&T) -> R + Sync) -> Vec<R> {
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
}
