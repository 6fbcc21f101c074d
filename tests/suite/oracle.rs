//! Brute force, straight from the definition: every combination of causes, of remedies that worked, and of the uniform level
//! of every link and every leak. It shares nothing with the engine but the types of its questions.

use std::collections::BTreeSet;

use handlamp::belief::{Evidence, Item, Moment, Network, Parent};

/// One completely specified machine.
pub(crate) struct World<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    /// Cause present at the start.
    pub(crate) was: Vec<bool>,
    /// P(happened | the causes, what was said of the circumstances).
    pub(crate) happened: Vec<f64>,
    /// For each item whether, being a remedy, it worked.
    worked: Vec<bool>,
    /// (finding, number of fresh starts, link; the leak is last) → uniform level.
    levels: Vec<Vec<Vec<f64>>>,
}

/// Where in the case the machine is looked at.
#[derive(Clone, Copy)]
pub(crate) struct When<'a> {
    /// How many items came before.
    pub(crate) items: usize,
    /// Causes whose links sleep.
    pub(crate) asleep: &'a [usize],
    /// Causes taken to be cured on top.
    pub(crate) cured: &'a [usize],
}

impl World<'_> {
    /// Whether a cause is there after the first `items` items.
    pub(crate) fn present(&self, cause: usize, items: usize) -> bool {
        let cured = self.evidence.0[..items].iter().zip(&self.worked).any(|(item, worked)| {
            *worked && matches!(item, Item::Remedy { cause: other, .. } if *other == cause)
        });
        self.was[cause] && !cured
    }

    /// Whether a cause is there now.
    pub(crate) fn now(&self, cause: usize) -> bool {
        self.present(cause, self.evidence.0.len())
    }

    /// The degree of every finding.
    pub(crate) fn degrees(&self, when: When<'_>) -> Vec<usize> {
        let mut degrees: Vec<usize> = Vec::new();
        for (index, finding) in self.network.findings().iter().enumerate() {
            let starts = self.evidence.0[..when.items]
                .iter()
                .filter(|item| matches!(item, Item::Afresh { findings } if findings.contains(&index)))
                .count();
            let levels = &self.levels[index][starts];
            let reach = |level: f64, row: &[f64]| row.iter().filter(|p| level < **p).count();
            let mut degree = reach(levels[finding.parents.len()], &finding.leak);
            for (link, level) in finding.parents.iter().zip(levels) {
                let state = match link.parent {
                    Parent::Cause(c) => {
                        let still = when.asleep.contains(&c) || when.cured.contains(&c);
                        usize::from(self.present(c, when.items) && !still)
                    }
                    Parent::Finding(f) => degrees[f],
                };
                if state > 0 {
                    degree = degree.max(reach(*level, &link.strength[state - 1]));
                }
            }
            degrees.push(degree);
        }
        degrees
    }

    /// The degrees now, everything awake.
    pub(crate) fn degrees_now(&self) -> Vec<usize> {
        self.degrees(When { items: self.evidence.0.len(), asleep: &[], cured: &[] })
    }

    /// The mean of value(degrees) over one level, uniform from 0 to 1: a cause that comes and goes sleeps where the level is
    /// not under its chance of being caught.
    pub(crate) fn seen(&self, items: usize, moment: Moment, value: impl Fn(&[usize]) -> f64) -> f64 {
        let causes = self.network.causes();
        let chances = match moment {
            Moment::Bad => Vec::new(),
            _ => causes.iter().filter_map(|cause| cause.catch).collect(),
        };
        let looked = |(level, length): (f64, f64)| {
            let sleeps =
                |c: &usize| moment != Moment::Bad && causes[*c].catch.is_some_and(|catch| level >= catch);
            let asleep: Vec<usize> = (0..causes.len()).filter(sleeps).collect();
            length * value(&self.degrees(When { items, asleep: &asleep, cured: &[] }))
        };
        stretches(chances.into_iter()).into_iter().map(looked).sum()
    }

    fn likelihood(&self) -> f64 {
        let mut product = 1.0;
        for (place, item) in self.evidence.0.iter().enumerate() {
            product *= match item {
                Item::Answer { findings, likelihood, moment } => {
                    self.seen(place, *moment, |degrees| likelihood[joint(self.network, findings, degrees)])
                }
                Item::Run { findings, floor, combos, moment } => self.seen(place, *moment, |degrees| {
                    let state: Vec<usize> = findings.iter().map(|f| degrees[*f]).collect();
                    combos.iter().find(|combo| combo.0 == state).map_or(*floor, |combo| combo.1)
                }),
                _ => 1.0,
            };
            if product == 0.0 {
                return 0.0;
            }
        }
        product
    }
}

/// Place of a joint state in a row-major table, the last finding fastest.
pub(crate) fn joint(network: &Network, findings: &[usize], degrees: &[usize]) -> usize {
    findings.iter().fold(0, |place, f| place * (network.findings()[*f].degrees + 1) + degrees[*f])
}

/// Every outcome of one level: a value inside each stretch between neighbouring chances, with the stretch's length.
fn stretches(chances: impl Iterator<Item = f64>) -> Vec<(f64, f64)> {
    let mut bounds: Vec<f64> = chances.chain([0.0, 1.0]).collect();
    bounds.sort_by(f64::total_cmp);
    bounds.windows(2).filter(|w| w[0] < w[1]).map(|w| (f64::midpoint(w[0], w[1]), w[1] - w[0])).collect()
}

/// One level each: (finding, fresh starts before, link) with its outcomes.
type Die = ((usize, usize, usize), Vec<(f64, f64)>);

fn dice(network: &Network, evidence: &Evidence) -> Vec<Die> {
    let mut dice = Vec::new();
    for (index, finding) in network.findings().iter().enumerate() {
        let starts =
            evidence.0.iter().filter(|i| matches!(i, Item::Afresh { findings } if findings.contains(&index)));
        for start in 0..=starts.count() {
            for (place, link) in finding.parents.iter().enumerate() {
                dice.push(((index, start, place), stretches(link.strength.iter().flatten().copied())));
            }
            dice.push(((index, start, finding.parents.len()), stretches(finding.leak.iter().copied())));
        }
    }
    dice
}

/// How many worlds there are for one set of causes.
pub(crate) fn size(network: &Network, evidence: &Evidence) -> usize {
    let remedies = evidence.0.iter().filter(|item| matches!(item, Item::Remedy { .. })).count();
    dice(network, evidence).iter().map(|die| die.1.len()).product::<usize>()
        << (remedies + network.causes().len())
}

/// Visits every world that the evidence allows, with P(world, evidence).
pub(crate) fn every_world(network: &Network, evidence: &Evidence, mut visit: impl FnMut(&World<'_>, f64)) {
    let dice = dice(network, evidence);
    let remedies: BTreeSet<usize> =
        (0..evidence.0.len()).filter(|i| matches!(evidence.0[*i], Item::Remedy { .. })).collect();
    let causes = network.causes().len();
    for set in 0..1usize << causes {
        let was: Vec<bool> = (0..causes).map(|c| set >> c & 1 == 1).collect();
        let (prior, happened) = roots(network, evidence, &was);
        if prior == 0.0 {
            continue;
        }
        for cures in 0..1usize << remedies.len() {
            let mut weight = prior;
            let mut worked = vec![false; evidence.0.len()];
            for (bit, place) in remedies.iter().enumerate() {
                worked[*place] = cures >> bit & 1 == 1;
                let Item::Remedy { works, .. } = evidence.0[*place] else { continue };
                weight *= if worked[*place] { works } else { 1.0 - works };
            }
            let levels = network
                .findings()
                .iter()
                .map(|f| vec![vec![0.0; f.parents.len() + 1]; evidence.0.len() + 1])
                .collect();
            let mut world =
                World { network, evidence, was: was.clone(), happened: happened.clone(), worked, levels };
            throw(&mut world, &dice, weight, &mut visit);
        }
    }
}

fn throw(world: &mut World<'_>, dice: &[Die], weight: f64, visit: &mut impl FnMut(&World<'_>, f64)) {
    let Some((((finding, start, link), outcomes), rest)) = dice.split_first() else {
        let weight = weight * world.likelihood();
        if weight > 0.0 {
            visit(world, weight);
        }
        return;
    };
    for (value, chance) in outcomes {
        world.levels[*finding][*start][*link] = *value;
        throw(world, rest, weight * chance, visit);
    }
}

/// P(these causes, what was said of the circumstances), and P(happened | these).
fn roots(network: &Network, evidence: &Evidence, was: &[bool]) -> (f64, Vec<f64>) {
    let count = network.circumstances().len();
    let (mut total, mut happened) = (0.0, vec![0.0; count]);
    for set in 0..1usize << count {
        let is = |index: usize| set >> index & 1 == 1;
        let mut weight = 1.0;
        for (index, circumstance) in network.circumstances().iter().enumerate() {
            weight *= if is(index) { circumstance.usual } else { 1.0 - circumstance.usual };
        }
        for item in &evidence.0 {
            if let Item::Circumstance { index, likelihood } = item {
                weight *= likelihood[usize::from(is(*index))];
            }
        }
        for (cause, was) in network.causes().iter().zip(was) {
            let brought =
                cause.after.iter().filter(|after| is(after.0)).map(|after| 1.0 - after.1).product::<f64>();
            let absent = (1.0 - cause.base) * brought;
            weight *= if *was { 1.0 - absent } else { absent };
        }
        total += weight;
        (0..count).filter(|index| is(*index)).for_each(|index| happened[index] += weight);
    }
    if total > 0.0 {
        for weight in &mut happened {
            *weight /= total;
        }
    }
    (total, happened)
}
