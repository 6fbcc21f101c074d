//! A machine made up from the knowledge, with a fault: what is true of it, what the caller names, what each check answers.
//!
//! Everything is drawn from the model that the belief takes for true: circumstances, causes, the links that fire, and from
//! those every finding. A link is drawn once a case, as one level that all degrees share, and keeps it: once a cause is
//! cured the findings are worked out anew on the same links.

use super::chance::{dice, drawn, mixed};
use crate::belief::{Check, Moment, Network, Parent};
use crate::weights::generate::Dice;

/// How often a caller names a second symptom, if there is one; nobody names a third. Of the recorded calls in `tests/faults`
/// three in 59 name two.
const NAMES_TWO: f64 = 0.05;
/// So many machines are made up before giving up on one whose caller has something to name.
const MOST_TRIES: u64 = 200_000;

/// What a caller names: a symptom by index, P(named | there) and P(named | not there).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nameable {
    /// The finding.
    pub finding: usize,
    /// P(named | there).
    pub hit: f64,
    /// P(named | not there).
    pub alarm: f64,
}

/// What is true of one machine.
#[derive(Debug, Clone)]
pub struct World<'n> {
    network: &'n Network,
    seed: u64,
    /// Whether each circumstance happened.
    pub happened: Vec<bool>,
    /// Whether each cause is there now.
    pub there: Vec<bool>,
    /// How often each finding has begun afresh.
    blocks: Vec<u64>,
    /// The symptoms that the caller names, ascending.
    pub named: Vec<usize>,
}

impl<'n> World<'n> {
    /// A machine as it may come, called about or not; nobody has named anything.
    pub fn any(network: &'n Network, seed: u64) -> Self {
        let mut dice = Dice::new(seed);
        let happened: Vec<bool> = network.circumstances().iter().map(|c| dice.chance(c.usual)).collect();
        let there = network
            .causes()
            .iter()
            .map(|cause| {
                let brought = cause.after.iter().filter(|(c, _)| happened[*c]);
                let spared: f64 = brought.map(|(_, chance)| 1.0 - chance).product();
                dice.chance(1.0 - (1.0 - cause.base) * spared)
            })
            .collect();
        let blocks = vec![0; network.findings().len()];
        Self { network, seed, happened, there, blocks, named: Vec::new() }
    }

    /// A machine that somebody calls about: at least one symptom named is there, and a cause is behind it. Machines are
    /// made up until one is like that; `None` when this network hardly ever gives one.
    pub fn called_about(network: &'n Network, symptoms: &[Nameable], seed: u64) -> Option<Self> {
        (0..MOST_TRIES).find_map(|attempt| {
            let mut world = Self::any(network, mixed(seed, attempt));
            world.named = world.names(symptoms);
            (!world.behind().is_empty()).then_some(world)
        })
    }

    /// What the caller names: of the symptoms that they would name if asked, each by its own chance, one, or now and then two.
    fn names(&self, symptoms: &[Nameable]) -> Vec<usize> {
        let states = self.awake();
        let mut dice = dice(self.seed, "names", 0);
        let mut named: Vec<(u64, usize)> = Vec::new();
        for symptom in symptoms {
            let chance = if states[symptom.finding] > 0 { symptom.hit } else { symptom.alarm };
            let order = dice.bits();
            if dice.chance(chance) {
                named.push((order, symptom.finding));
            }
        }
        named.sort_unstable();
        let most = 1 + usize::from(dice.chance(NAMES_TWO));
        let mut named: Vec<usize> = named.into_iter().take(most).map(|(_, finding)| finding).collect();
        named.sort_unstable();
        named
    }

    /// Every finding's degree while all that comes and goes is awake.
    pub fn awake(&self) -> Vec<usize> {
        self.states(&|cause| self.there[cause], true)
    }

    /// Every finding's degree with these causes acting, with or without what shows up by itself.
    fn states(&self, acts: &dyn Fn(usize) -> bool, leaks: bool) -> Vec<usize> {
        let mut states = Vec::with_capacity(self.blocks.len());
        for (index, finding) in self.network.findings().iter().enumerate() {
            let mut dice = dice(self.seed, "links", mixed(index as u64, self.blocks[index]));
            let reached = |row: &[f64], level: f64| row.iter().filter(|p| level < **p).count();
            let level = dice.even();
            let mut state = if leaks { reached(&finding.leak, level) } else { 0 };
            for link in &finding.parents {
                let level = dice.even();
                let parent = match link.parent {
                    Parent::Cause(cause) => usize::from(acts(cause)),
                    Parent::Finding(parent) => states[parent],
                };
                if let Some(row) = parent.checked_sub(1).and_then(|row| link.strength.get(row)) {
                    state = state.max(reached(row, level));
                }
            }
            states.push(state);
        }
        states
    }

    /// The causes that are there now and by themselves bring about something that was named.
    pub fn behind(&self) -> Vec<usize> {
        let brings = |&cause: &usize| {
            let alone = self.states(&|other| other == cause, false);
            self.named.iter().any(|&symptom| alone[symptom] > 0)
        };
        (0..self.there.len()).filter(|&cause| self.there[cause]).filter(brings).collect()
    }

    /// Whether nothing of what was named is there any more.
    pub fn is_gone(&self) -> bool {
        let states = self.awake();
        self.named.iter().all(|&symptom| states[symptom] == 0)
    }

    /// The outcome of a check made now, and which of its findings were there; equal `name` and `time` give equal luck.
    pub fn answer(&self, check: &Check, name: &str, time: u64) -> (usize, Vec<bool>) {
        let mut dice = dice(self.seed, name, time);
        let caught = dice.even();
        let awake = |cause: usize| match self.network.causes()[cause].catch {
            Some(catch) if check.moment != Moment::Bad => caught < catch,
            _ => true,
        };
        let states = self.states(&|cause| self.there[cause] && awake(cause), true);
        let degrees = |finding: usize| self.network.findings()[finding].degrees + 1;
        let row = check.findings.iter().fold(0, |row, &f| row * degrees(f) + states[f]);
        let chances: Vec<f64> = check.outcomes.iter().map(|outcome| outcome[row]).collect();
        let outcome = drawn(&mut dice, &chances);
        let there = check.findings.iter().map(|&finding| states[finding] > 0).collect();
        (outcome, there)
    }

    /// A remedy is done on a cause: cured with this chance, and what it disturbs begins afresh.
    pub fn treat(&mut self, cause: usize, works: f64, name: &str, disturbed: &[usize]) {
        if dice(self.seed, name, 0).chance(works) {
            self.there[cause] = false;
        }
        self.disturb(disturbed);
    }

    /// These findings draw their leak and their links anew.
    pub fn disturb(&mut self, findings: &[usize]) {
        for &finding in findings {
            self.blocks[finding] += 1;
        }
    }

    /// Where the luck of this world comes from.
    pub fn seed(&self) -> u64 {
        self.seed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::{Cause, Finding, Link};

    fn network() -> Network {
        let cause = |base| Cause { base, after: Vec::new(), catch: None };
        let link = |parent, strength| Link { parent, strength: vec![vec![strength]] };
        let finding = |parents| Finding { degrees: 1, leak: vec![0.02], parents };
        let findings = vec![
            finding(vec![link(Parent::Cause(0), 0.7)]),
            finding(vec![link(Parent::Finding(0), 0.8), link(Parent::Cause(1), 0.5)]),
        ];
        Network::new(Vec::new(), vec![cause(0.3), cause(0.1)], findings).unwrap()
    }

    #[test]
    fn worlds_show_a_symptom_as_often_as_the_model_says() {
        let network = network();
        let shown = (0..20_000).filter(|&seed| World::any(&network, mixed(7, seed)).awake()[1] == 1).count();
        // P(condition) first, then P(symptom), by hand.
        let condition = 1.0 - 0.98 * (1.0 - 0.3 * 0.7);
        let expected = 1.0 - 0.98 * (1.0 - condition * 0.8) * (1.0 - 0.1 * 0.5);
        let error = (expected * (1.0 - expected) / 20_000.0_f64).sqrt();
        assert!((shown as f64 / 20_000.0 - expected).abs() < 4.0 * error, "{shown} of 20000, {expected}");
    }

    #[test]
    fn a_cure_takes_away_what_the_cause_brought_and_nothing_else() {
        let network = network();
        let symptoms = [Nameable { finding: 1, hit: 1.0, alarm: 0.0 }];
        let (mut gone, mut stays) = (0, 0);
        for seed in 0..300 {
            let mut world = World::called_about(&network, &symptoms, seed).unwrap();
            let before = world.awake();
            let behind = world.behind();
            assert!(!behind.is_empty() && before[1] == 1);
            for &cause in &behind {
                world.treat(cause, 1.0, "remedy", &[]);
            }
            let after = world.awake();
            assert!(after.iter().zip(&before).all(|(after, before)| after <= before), "nothing new appears");
            assert!(world.behind().is_empty());
            if world.is_gone() { gone += 1 } else { stays += 1 }
        }
        // What shows up by itself stays: about one in fifty for each of the two findings.
        assert!(gone > 250 && stays > 0, "{gone} gone, {stays} stay");
    }
}
