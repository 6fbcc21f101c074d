//! Following the advice of a set-up blindly on made-up fillers: `cargo bench --bench set_up [MACHINES] [FIRST SEED]`.
//!
//! Prints each machine and the sums that the project promises.

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

#[path = "../tests/suite/filler.rs"]
mod filler;
#[path = "../tests/suite/follower.rs"]
mod follower;

use filler::{Correction, Filler, Settings};
use follower::Follower;
use handlamp::knowledge::Texts;
use handlamp::walk::setup::SetUpAsk;
use handlamp::weights::generate::Dice;

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|a| a.parse::<u64>().ok());
    let machines = numbers.next().unwrap_or(50);
    let first = numbers.next().unwrap_or(1);
    let (knowledge, _) = handlamp::knowledge::load(&Texts::built_in());
    let (mut changes, mut fills, mut steps, mut worse) = (Vec::new(), Vec::new(), 0, 0);
    let [mut ended, mut on_target, mut even, mut fast] = [0; 4];
    let mut seed = first;
    while changes.len() < machines as usize {
        let filler = Filler::drawn(seed);
        let dice = &mut Dice::new(seed + 7919);
        let whole = filler.truth(&filler.set_well(dice), 300, 6, None).whole;
        let least = filler.least_spread(whole, 400);
        let tolerance = least * (4.5 + 1.5 * dice.even());
        let stays_on = filler.correction == Correction::StaysOn;
        let in_time = |s: &Settings| if stays_on { filler.corrected(s) } else { *s };
        // A bad setting is one that puts at least half of the fills outside.
        if filler.truth(&in_time(&filler.found), 400, 1, Some(tolerance)).outside < 0.5 {
            seed += 1;
            continue;
        }
        let out = Follower::new(&knowledge, filler.clone(), tolerance, whole, seed).follow();
        let truth = filler.truth(&in_time(&out.settings), 4000, 13, Some(tolerance));
        let error = (truth.mean - filler.target) / tolerance;
        let good = matches!(out.end, SetUpAsk::Sign { .. });
        let goals = [good, error.abs() <= 0.1, truth.spread <= 1.25 * least, truth.whole <= whole * 1.02];
        for (count, reached) in [&mut ended, &mut on_target, &mut even, &mut fast].into_iter().zip(goals) {
            *count += usize::from(reached);
        }
        println!(
            "{seed:4} {} trays, {:?}: {:2} changes, {:3} fills, mean {error:+.3} of the tolerance, spread {:.2} of the least, \
             {:.2} fills a minute of {:.2}, {:.2} % outside, worse: {} {}",
            if filler.two_trays { 2 } else { 1 },
            filler.correction,
            out.changes,
            out.fills,
            truth.spread / least,
            60.0 / truth.whole,
            60.0 / whole,
            100.0 * truth.outside,
            out.worse.join(", "),
            if good { String::new() } else { format!("{:?}", out.end) },
        );
        changes.push(out.changes);
        fills.push(out.fills);
        steps += out.changes;
        worse += out.worse.len();
        seed += 1;
    }
    changes.sort_unstable();
    fills.sort_unstable();
    let middle = changes.len() / 2;
    println!(
        "{} machines: {} changes and {} fills at the median; signed {ended}, mean within a tenth of the tolerance {on_target}, \
         spread within 1.25 of the least {even}, speed had {fast}; {worse} of {steps} changes made it worse, {:.1} %",
        changes.len(),
        changes[middle],
        fills[middle],
        100.0 * worse as f64 / steps.max(1) as f64
    );
}
