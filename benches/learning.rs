//! What closed cases teach: simulated fleets whose true numbers differ from the author's by factors of up to three.
//!
//! `cargo bench --bench learning -- [SEEDS] [CAUSES]…`: of the gap in log score between the author's numbers and the true
//! ones, how much is closed after so many cases, on cases held out.

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

#[path = "../tests/suite/fleet.rs"]
mod fleet;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use fleet::Fleet;

fn main() {
    let numbers: Vec<usize> = std::env::args().filter_map(|arg| arg.parse().ok()).collect();
    let seeds = numbers.first().copied().unwrap_or(30);
    let sizes = if numbers.len() > 1 { numbers[1..].to_vec() } else { vec![45, 180] };
    println!(
        "causes  cases  closed: mean  median  seeds worse than the author   score: author  learned  true"
    );
    for causes in sizes {
        let counts: &[usize] = if causes > 100 { &[20, 100, 500, 3000] } else { &[20, 100, 500] };
        let next = AtomicUsize::new(0);
        let all = Mutex::new(vec![Vec::new(); counts.len()]);
        std::thread::scope(|scope| {
            for _ in 0..2 {
                scope.spawn(|| {
                    loop {
                        let seed = next.fetch_add(1, Ordering::Relaxed);
                        if seed >= seeds {
                            return;
                        }
                        let fleet = Fleet::new(causes, seed as u64);
                        for (place, scores) in fleet.scores(counts).into_iter().enumerate() {
                            all.lock().unwrap()[place].push(scores);
                        }
                    }
                });
            }
        });
        for (count, scores) in counts.iter().zip(all.into_inner().unwrap()) {
            let mean = |of: &dyn Fn(&fleet::Scores) -> f64| scores.iter().map(of).sum::<f64>() / seeds as f64;
            let mut each: Vec<f64> =
                scores.iter().map(|s| (s.learned - s.author) / (s.truth - s.author)).collect();
            each.sort_by(f64::total_cmp);
            let (author, learned, truth) = (mean(&|s| s.author), mean(&|s| s.learned), mean(&|s| s.truth));
            println!(
                "{causes:6} {count:6} {:12.0} % {:6.0} % {:11.0} % {:10} of {seeds:3} {author:27.3} {learned:8.3} {truth:6.3}",
                100.0 * (learned - author) / (truth - author),
                100.0 * each[each.len() / 2],
                100.0 * (mean(&|s| s.proposed) - author) / (truth - author),
                scores.iter().filter(|s| s.learned < s.author).count(),
            );
        }
    }
}
