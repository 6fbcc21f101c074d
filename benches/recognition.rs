//! How well a run's pattern is told: `cargo bench --bench recognition [RUNS OF A SINGLE] [RUNS OF A PAIR]`.
//!
//! Runs are made by the shipped generator (`weights::generate`), singles and pairs, sizes 1, 2 and 4 spreads, 5 to 40
//! fills. Beside the program stand the generator's own classifier, which knows how such runs are made and cannot be
//! beaten, and the plain rules that people use by hand.

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use std::collections::BTreeMap;
use std::f64::consts::PI;

use handlamp::weights::generate::{Dice, Recipe};
use handlamp::weights::pattern::{Combination, Pattern, Verdict, combinations};
use handlamp::weights::stats::{chi_square_quantile, normal_below, student_quantile};
use handlamp::weights::{Question, Run, RunInput, find_patterns};

const TARGET: f64 = 250.0;
const SPREAD: f64 = 0.5;
const SIZES: [f64; 3] = [1.0, 2.0, 4.0];
const FILLS: [usize; 4] = [5, 10, 20, 40];
/// Phases of a wave that the generator's own classifier sums over.
const PHASES: usize = 16;
/// Confidence from which a wrong name counts as confidently wrong.
const CONFIDENT: f64 = 0.9;

/// What came of the runs of one cell.
#[derive(Default, Clone, Copy)]
struct Tally {
    runs: usize,
    named: usize,
    cannot_tell: usize,
    likeliest: usize,
    surely_wrong: usize,
    model: usize,
    rules: usize,
}

impl Tally {
    fn add(&mut self, other: &Tally) {
        self.runs += other.runs;
        self.named += other.named;
        self.cannot_tell += other.cannot_tell;
        self.likeliest += other.likeliest;
        self.surely_wrong += other.surely_wrong;
        self.model += other.model;
        self.rules += other.rules;
    }

    fn share(&self, count: usize) -> f64 {
        100.0 * count as f64 / self.runs.max(1) as f64
    }
}

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|a| a.parse::<usize>().ok());
    let singles = numbers.next().unwrap_or(1000);
    let pairs = numbers.next().unwrap_or(100);
    let cells: Vec<Combination> = combinations(2).into_iter().filter(|c| !c.is_empty()).collect();
    let all = combinations(2);
    let mut tallies: BTreeMap<(usize, usize, Combination), Tally> = BTreeMap::new();
    for n in FILLS {
        let model = Model::of(&all, n);
        for (s, size) in SIZES.into_iter().enumerate() {
            for cell in &cells {
                let runs = if cell.len() == 1 { singles } else { pairs };
                let patterns: Vec<Pattern> = cell.iter().copied().collect();
                let recipe = Recipe::in_order(n, TARGET, SPREAD).with(&patterns, size);
                let seed = cell.iter().fold(1_u64, |seed, p| 31 * seed + *p as u64 + 1);
                let dice = &mut Dice::new(seed * 1000 + n as u64 * 10 + s as u64);
                let tally = tallies.entry((n, s, cell.clone())).or_default();
                (0..runs).for_each(|_| judge(&recipe.make(dice), cell, &model, &all, tally));
            }
        }
    }
    print(&tallies);
}

fn judge(fills: &[f64], truth: &Combination, model: &Model, all: &[Combination], tally: &mut Tally) {
    let input = RunInput { values: fills.to_vec(), target: Some(TARGET), ..RunInput::default() };
    let run = Run::new(input).expect("made-up fills are a run");
    let question = Question { usual_spread: Some(SPREAD), ..Question::default() };
    let found = find_patterns(&run, &question);
    tally.runs += 1;
    match &found.verdict {
        Verdict::Shows(shown) => tally.named += usize::from(shown == truth),
        Verdict::CannotTell { .. } => tally.cannot_tell += 1,
        Verdict::NothingUnusual => {}
    }
    if let Some((first, sure)) = found.posteriors.first() {
        tally.surely_wrong += usize::from(first != truth && *sure >= CONFIDENT);
    }
    let two = found.factor.combos.iter().filter(|(c, _)| c.len() <= 2);
    let likeliest = two.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(c, _)| c);
    tally.likeliest += usize::from(likeliest == Some(truth));
    let scaled: Vec<f64> = fills.iter().map(|f| (f - TARGET) / SPREAD).collect();
    tally.model += usize::from(all[model.best(&scaled)] == *truth);
    tally.rules += usize::from(by_rules(&scaled) == *truth);
}

/// The generator's own classifier: for each combination the likelihood of the fills with everything that the generator
/// draws summed over (side, place of a step, phase, which fills stray), sizes 1, 2 and 4 alike.
struct Model {
    ways: Vec<Vec<Way>>,
}

/// One way in which a combination can come out.
struct Way {
    weight: f64,
    means: Vec<f64>,
    scatter: f64,
    strays: Option<(bool, bool, f64)>,
}

impl Model {
    fn of(all: &[Combination], n: usize) -> Self {
        let of_one = |c: &Combination| SIZES.into_iter().flat_map(|size| ways(c, n, size)).collect();
        Self { ways: all.iter().map(of_one).collect() }
    }

    /// Which combination fits best.
    fn best(&self, fills: &[f64]) -> usize {
        let scores = self.ways.iter().map(|ways| {
            let logs: Vec<f64> = ways.iter().map(|way| way.weight.ln() + way.log_likelihood(fills)).collect();
            let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            top + logs.iter().map(|l| (l - top).exp()).sum::<f64>().ln()
        });
        scores.enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(i, _)| i)
    }
}

fn ways(combination: &Combination, n: usize, size: f64) -> Vec<Way> {
    let has = |p: Pattern| combination.contains(&p);
    let sided = [Pattern::Drift, Pattern::Step, Pattern::SeeSaw, Pattern::StartUp].into_iter().any(has);
    let sides: &[f64] = if sided { &[1.0, -1.0] } else { &[1.0] };
    let edge = 3.min(n / 3);
    let steps: Vec<usize> =
        if has(Pattern::Step) { (edge..edge + n.saturating_sub(2 * edge)).collect() } else { vec![0] };
    let phases = if has(Pattern::Wave) { PHASES } else { 1 };
    let scatter = if has(Pattern::Wide) { (1.0 + size * size).sqrt() } else { 1.0 };
    let strays = (has(Pattern::StraysLight) || has(Pattern::StraysHeavy)).then_some((
        has(Pattern::StraysLight),
        has(Pattern::StraysHeavy),
        size * scatter,
    ));
    let weight = 1.0 / (SIZES.len() * sides.len() * steps.len() * phases) as f64;
    let mut all = Vec::new();
    for side in sides {
        for step in &steps {
            for phase in 0..phases {
                let phase = 2.0 * PI * phase as f64 / PHASES as f64;
                let mean = |i: usize| {
                    combination.iter().map(|p| shape(*p, i, n, *side, *step, phase)).sum::<f64>() * size
                };
                all.push(Way { weight, means: (0..n).map(mean).collect(), scatter, strays });
            }
        }
    }
    all
}

/// What a pattern adds to a fill, in sizes; the generator's own shapes.
fn shape(pattern: Pattern, i: usize, n: usize, side: f64, step: usize, phase: f64) -> f64 {
    let on = |truth: bool| f64::from(u8::from(truth));
    match pattern {
        Pattern::Light => -1.0,
        Pattern::Heavy => 1.0,
        Pattern::Drift => side * i as f64 / (n.max(2) - 1) as f64,
        Pattern::Step => side * on(i >= step),
        Pattern::Wave => 0.5 * (2.0 * PI * i as f64 / 8.0 + phase).sin(),
        Pattern::SeeSaw => side * if i.is_multiple_of(2) { 0.5 } else { -0.5 },
        Pattern::StartUp => side * on(i < 2),
        _ => 0.0,
    }
}

impl Way {
    fn log_likelihood(&self, fills: &[f64]) -> f64 {
        let off = |(fill, mean): (&f64, &f64)| fill - mean;
        let plain = |x: f64| (-0.5 * (x / self.scatter).powi(2)).exp() / self.scatter;
        let Some((light, heavy, size)) = self.strays else {
            let squares: f64 = fills.iter().zip(&self.means).map(off).map(|x| x * x).sum();
            return -0.5 * squares / self.scatter.powi(2) - fills.len() as f64 * self.scatter.ln();
        };
        // A fill strays with a chance of one in ten; one of them does for sure, and any may be that one.
        let (mut log, mut sure) = (0.0, 0.0);
        for x in fills.iter().zip(&self.means).map(off) {
            let stray = match (light, heavy) {
                (true, true) => 0.5 * (strayed(x, size, self.scatter) + strayed(-x, size, self.scatter)),
                (true, false) => strayed(-x, size, self.scatter),
                _ => strayed(x, size, self.scatter),
            } * (2.0 * PI).sqrt();
            let either = (0.9 * plain(x) + 0.1 * stray).max(1e-300);
            log += either.ln();
            sure += stray / either;
        }
        log + (sure / fills.len() as f64).max(1e-300).ln()
    }
}

/// Density of normal scatter plus a stray: one size and an exponential tail of half a size beyond (an exponentially
/// modified normal, Grushka 1972).
fn strayed(x: f64, size: f64, scatter: f64) -> f64 {
    let rate = 2.0 / size;
    let off = x - size;
    let lift = rate * rate * scatter * scatter / 2.0 - rate * off;
    if lift > 600.0 {
        return 0.0;
    }
    rate * lift.exp() * normal_below(off / scatter - rate * scatter)
}

/// The rules of a control chart, by hand: mean outside of its interval, scatter beyond chance, a point beyond three
/// spreads, six in a row rising or falling, nine on one side, fourteen to and fro, a first pair apart (Nelson 1984).
fn by_rules(fills: &[f64]) -> Combination {
    let n = fills.len();
    let mean = fills.iter().sum::<f64>() / n as f64;
    let squares: f64 = fills.iter().map(|f| (f - mean).powi(2)).sum();
    let spread = (squares / (n - 1) as f64).sqrt();
    let mut sorted = fills.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted[n / 2];
    let mut found = Combination::new();
    if mean.abs() > student_quantile(0.975, n as f64 - 1.0) * spread / (n as f64).sqrt() {
        found.insert(if mean < 0.0 { Pattern::Light } else { Pattern::Heavy });
    }
    if squares > chi_square_quantile(0.975, n as f64 - 1.0) {
        found.insert(Pattern::Wide);
    }
    if fills.iter().any(|f| f - middle > 3.0) {
        found.insert(Pattern::StraysHeavy);
    }
    if fills.iter().any(|f| middle - f > 3.0) {
        found.insert(Pattern::StraysLight);
    }
    let in_a_row = |length: usize, rule: &dyn Fn(&[f64]) -> bool| fills.windows(length).any(rule);
    let rises = |w: &[f64]| w.windows(2).all(|p| p[1] > p[0]);
    let falls = |w: &[f64]| w.windows(2).all(|p| p[1] < p[0]);
    if in_a_row(6, &rises) || in_a_row(6, &falls) {
        found.insert(Pattern::Drift);
    }
    if in_a_row(9, &|w| w.iter().all(|f| *f > mean)) || in_a_row(9, &|w| w.iter().all(|f| *f < mean)) {
        found.insert(Pattern::Step);
    }
    if in_a_row(14, &|w| w.windows(3).all(|p| (p[1] > p[0]) != (p[2] > p[1]))) {
        found.insert(Pattern::SeeSaw);
    }
    let rest = fills[2..].iter().sum::<f64>() / (n - 2) as f64;
    if fills[..2].iter().all(|f| f - rest > 2.0) || fills[..2].iter().all(|f| rest - f > 2.0) {
        found.insert(Pattern::StartUp);
    }
    found
}

fn name(combination: &Combination) -> String {
    combination.iter().map(|p| p.name()).collect::<Vec<_>>().join(" + ")
}

fn print(tallies: &BTreeMap<(usize, usize, Combination), Tally>) {
    println!(
        "| patterns | fills | size | runs | named right | cannot tell yet | surely wrong | likeliest alone | the generator's own | plain rules | furthest behind the generator's own |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    for patterns in [1, 2] {
        for n in FILLS {
            for (s, size) in SIZES.into_iter().enumerate() {
                let here = tallies.iter().filter(|((a, b, c), _)| *a == n && *b == s && c.len() == patterns);
                let mut sum = Tally::default();
                here.clone().for_each(|(_, t)| sum.add(t));
                let behind = |t: &Tally| t.share(t.model) - t.share(t.likeliest);
                let worst = here.max_by(|a, b| behind(a.1).total_cmp(&behind(b.1)));
                let worst =
                    worst.map_or(String::new(), |((.., c), t)| format!("{} {:.0}", name(c), behind(t)));
                println!(
                    "| {} | {n} | {size} | {} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {worst} |",
                    if patterns == 1 { "singles" } else { "pairs" },
                    sum.runs,
                    sum.share(sum.named),
                    sum.share(sum.cannot_tell),
                    sum.share(sum.surely_wrong),
                    sum.share(sum.likeliest),
                    sum.share(sum.model),
                    sum.share(sum.rules),
                );
            }
        }
    }
    println!(
        "\nAt 20 fills and size 4, named right where the generator's own reaches 90 %, and all singles:"
    );
    for ((n, s, c), t) in tallies {
        if *n == 20 && *s == 2 && (c.len() == 1 || t.share(t.model) >= 90.0) && t.share(t.named) < 85.0 {
            println!(
                "  under 85 %: {} {:.1} (the generator's own {:.1})",
                name(c),
                t.share(t.named),
                t.share(t.model)
            );
        }
    }
    let sure = tallies.iter().filter(|(_, t)| t.share(t.surely_wrong) >= 2.0).count();
    let behind = tallies.values().filter(|t| t.share(t.model) - t.share(t.likeliest) > 3.0).count();
    println!(
        "{sure} of {} cells are surely wrong in 2 % or more; {behind} lie more than 3 points behind.",
        tallies.len()
    );
}
