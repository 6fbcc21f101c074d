//! Counting over closed cases, and what the counts make of the numbers.

use std::collections::BTreeMap;

use statrs::distribution::{Beta, ContinuousCDF, Gamma};

use super::local::{live, seen, strength};
use super::past::{Ancestry, Laid, Past, Sensor, Trial, ln_odds};
use crate::belief::{Cause, Finding, Network, NetworkError, Parent};
use crate::rehearse::in_parallel;

/// The author's rate of a cause is worth so many cases of that cause.
pub const CASES_A_CAUSE: f64 = 2.0;
/// The author's strength of a link, hit or false alarm is worth so many cases.
pub const CASES_A_LINK: f64 = 10.0;
/// Most rounds of counting…
const ROUNDS: usize = 12;
/// …which end when no number moves by this share of itself.
const LITTLE: f64 = 0.005;
/// Tails of the intervals: half of one in twenty, half of one in five hundred.
const IN_TWENTY: f64 = 0.025;
const IN_FIVE_HUNDRED: f64 = 0.001;
/// Numbers stay as far from never and always as vetting wants them.
const PROBABLE: (f64, f64) = (0.002, 0.998);

/// A number of the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Number {
    /// The rate of a cause, by index.
    Rate(usize),
    /// The strength of a link: the finding, and the place among its parents.
    Link(usize, usize),
    /// The hit of a sensor, by index.
    Hit(usize),
    /// The false alarm of a sensor, by index.
    Alarm(usize),
}

/// What the cases say of one number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tally {
    /// The author's number.
    pub author: f64,
    /// How often it came about, in expectation.
    pub came: f64,
    /// Of how many chances, in expectation; for a rate how often the book expected it.
    pub of: f64,
    /// What author and cases together say.
    pub learned: f64,
    /// 95 in 100 of what is believed of it lies in here.
    pub interval: (f64, f64),
    /// 998 in 1000 lie in here.
    pub widest: (f64, f64),
}

impl Tally {
    /// Whether the author's number lies outside of the interval: worth a proposal. One in twenty does by chance.
    pub fn differs(&self) -> bool {
        self.author < self.interval.0 || self.author > self.interval.1
    }

    /// Whether it lies outside of nearly all that can be believed now: the cases contradict the author.
    pub fn contradicts(&self) -> bool {
        self.author < self.widest.0 || self.author > self.widest.1
    }
}

/// What was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// The network with what was learned.
    pub network: Network,
    /// The sensors with what was learned.
    pub sensors: Vec<Sensor>,
    /// Every number that a case bears on.
    pub tallies: BTreeMap<Number, Tally>,
    /// The cases that bear on each number, by their place in the list given.
    pub cases_of: BTreeMap<Number, Vec<usize>>,
}

/// Counts of one round.
#[derive(Debug, Clone, Default)]
struct Counts {
    causes: Vec<f64>,
    links: BTreeMap<(usize, usize), [f64; 2]>,
    /// By sensor: [yes and there, there, yes and not there, not there].
    sensors: Vec<[f64; 4]>,
    cases: BTreeMap<Number, Vec<usize>>,
}

/// A case bears on a number when this much of it does.
const BEARS: f64 = 0.5;

/// Cases laid out for counting, each with its place in the list given. Laying out is what takes time; one layout serves
/// several rounds of learning.
#[derive(Debug, Clone)]
pub struct Layout<'p>(Vec<(usize, &'p Past, Laid)>);

impl<'p> Layout<'p> {
    /// Lays cases out, so many at a time.
    pub fn of(network: &Network, past: &'p [Past], threads: usize) -> Self {
        let ancestry = Ancestry::of(network);
        let laid = in_parallel(threads, past.len(), &|place, done| {
            let laid = past[place].laid(network, &ancestry);
            done();
            laid
        });
        Self(laid.into_iter().enumerate().map(|(place, laid)| (place, &past[place], laid)).collect())
    }
}

/// Learns from closed cases of one machine. `called` is P(a caller names the symptom | it is there), by finding, where
/// callers name it: causes that nobody calls about are rarer among calls than on machines. `expected` multiplies the
/// author's rate of each cause: what the other machines say of it (1 where they say nothing, 0 where no case can prove it,
/// so that nothing is learned of its rate).
pub fn learn(
    network: &Network,
    sensors: &[Sensor],
    layout: &Layout<'_>,
    called: &BTreeMap<usize, f64>,
    expected: &[f64],
) -> Result<Learned, LearnError> {
    let mut now = (network.clone(), sensors.to_vec());
    let (mut tallies, mut cases_of) = (BTreeMap::new(), BTreeMap::new());
    for _ in 0..ROUNDS {
        let counts = counted(&now.0, sensors, &layout.0);
        let next = weighed((network, &now.0, sensors), &counts, called, expected);
        cases_of = counts.cases;
        now = with(network, sensors, &next)?;
        let settled = !tallies.is_empty() && still(&tallies, &next);
        tallies = next;
        if settled {
            break;
        }
    }
    Ok(Learned { network: now.0, sensors: now.1, tallies, cases_of })
}

/// Whether no number moved by more than a little.
fn still(before: &BTreeMap<Number, Tally>, after: &BTreeMap<Number, Tally>) -> bool {
    after.iter().all(|(number, tally)| {
        let old = before.get(number).map_or(tally.author, |old| old.learned);
        (tally.learned / old.max(f64::MIN_POSITIVE) - 1.0).abs() < LITTLE
    })
}

impl Learned {
    /// The author's numbers with only those learned that are wanted.
    pub fn only(
        &self,
        (network, sensors): (&Network, &[Sensor]),
        wanted: impl Fn(&Tally) -> bool,
    ) -> Result<(Network, Vec<Sensor>), LearnError> {
        let kept = self.tallies.iter().filter(|(_, tally)| wanted(tally));
        Ok(with(network, sensors, &kept.map(|(number, tally)| (*number, *tally)).collect())?)
    }
}

/// What was learned makes no network.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("what was learned makes no network: {0}")]
pub struct LearnError(#[from] NetworkError);

fn counted(network: &Network, sensors: &[Sensor], laid: &[(usize, &Past, Laid)]) -> Counts {
    let mut counts = Counts {
        causes: vec![0.0; network.causes().len()],
        sensors: vec![[0.0; 4]; sensors.len()],
        ..Counts::default()
    };
    for (place, case, laid) in laid {
        let own = of_case(network, case, laid);
        for (&cause, weight) in &own.causes {
            counts.causes[cause] += weight;
            counts.bears(Number::Rate(cause), *weight, *place);
        }
        for (&link, [fired, there]) in &own.links {
            let sum = counts.links.entry(link).or_default();
            sum[0] += fired;
            sum[1] += there;
            counts.bears(Number::Link(link.0, link.1), *there, *place);
        }
        for trial in &case.trials {
            let there = own.states.get(&sensors[trial.sensor].finding).copied();
            counts.sensor(trial, there, *place);
        }
    }
    counts
}

/// What one case says.
#[derive(Debug, Default)]
struct OfCase {
    causes: BTreeMap<usize, f64>,
    links: BTreeMap<(usize, usize), [f64; 2]>,
    states: BTreeMap<usize, f64>,
}

fn of_case(network: &Network, case: &Past, laid: &Laid) -> OfCase {
    let live = live(network, laid.ratios.keys().copied());
    let odds = ln_odds(network, &laid.happened);
    let all: Vec<_> = laid.sets.iter().map(|set| seen(network, set, &live, &laid.ratios)).collect();
    let ln = |place: usize| all[place].ln + laid.sets[place].iter().map(|&cause| odds[cause]).sum::<f64>();
    let largest = (0..all.len()).map(ln).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = (0..all.len()).map(|place| (ln(place) - largest).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mut own = OfCase::default();
    for ((seen, set), weight) in all.iter().zip(&laid.sets).zip(weights) {
        let weight = weight / total;
        // One call is one cause's, unless more were proved.
        let behind = if case.proved.is_empty() { set } else { &case.proved.iter().copied().collect() };
        for &cause in behind {
            *own.causes.entry(cause).or_default() += weight / behind.len() as f64;
        }
        for link in seen.links.iter().filter(|link| !laid.chosen.contains(&link.finding)) {
            let sum = own.links.entry((link.finding, link.place)).or_default();
            sum[0] += weight * link.fired;
            sum[1] += weight * link.there;
        }
        for (&finding, there) in &seen.states {
            *own.states.entry(finding).or_default() += weight * there;
        }
    }
    own
}

impl Counts {
    fn bears(&mut self, number: Number, weight: f64, place: usize) {
        if weight >= BEARS {
            self.cases.entry(number).or_default().push(place);
        }
    }

    /// A yes or no of a sensor whose finding is there with this probability.
    fn sensor(&mut self, trial: &Trial, there: Option<f64>, place: usize) {
        let Some(there) = there else { return };
        self.bears(Number::Hit(trial.sensor), there, place);
        self.bears(Number::Alarm(trial.sensor), 1.0 - there, place);
        let own = &mut self.sensors[trial.sensor];
        own[1] += there;
        own[3] += 1.0 - there;
        if trial.yes {
            own[0] += there;
            own[2] += 1.0 - there;
        }
    }
}

/// P(somebody calls | only this cause), nearly: the chance that a symptom that it brings about is there and named.
fn calls(network: &Network, called: &BTreeMap<usize, f64>) -> Vec<f64> {
    let quiet: Vec<Finding> = network
        .findings()
        .iter()
        .map(|finding| Finding { leak: vec![0.0; finding.degrees], ..finding.clone() })
        .collect();
    let alone = |cause: usize| {
        let mut there = vec![0.0; quiet.len()];
        let mut nobody = 1.0;
        for (index, finding) in quiet.iter().enumerate() {
            let spared = finding.parents.iter().enumerate().map(|(place, link)| {
                let parent = match link.parent {
                    Parent::Cause(own) => f64::from(u8::from(own == cause)),
                    Parent::Finding(parent) => there[parent],
                };
                1.0 - strength(network, index, place) * parent
            });
            there[index] = 1.0 - spared.product::<f64>();
            nobody *= 1.0 - there[index] * called.get(&index).copied().unwrap_or(0.0);
        }
        1.0 - nobody
    };
    (0..network.causes().len()).map(alone).collect()
}

fn weighed(
    (author, now, sensors): (&Network, &Network, &[Sensor]),
    counts: &Counts,
    called: &BTreeMap<usize, f64>,
    expected: &[f64],
) -> BTreeMap<Number, Tally> {
    let mut tallies = BTreeMap::new();
    let calls = calls(now, called);
    let learns = |cause: usize| expected[cause] > 0.0;
    let worth = |cause: usize| if learns(cause) { author.causes()[cause].base * calls[cause] } else { 0.0 };
    let all: f64 = (0..calls.len()).map(worth).sum();
    let cases: f64 =
        counts.causes.iter().enumerate().filter(|(cause, _)| learns(*cause)).map(|(_, n)| n).sum();
    for (cause, own) in author.causes().iter().enumerate().filter(|(c, own)| own.base > 0.0 && learns(*c)) {
        let of = cases * worth(cause) / all.max(f64::MIN_POSITIVE);
        tallies.insert(Number::Rate(cause), rate(own.base, expected[cause], counts.causes[cause], of));
    }
    for (&(finding, place), &[came, of]) in &counts.links {
        let own = strength(author, finding, place);
        tallies.insert(Number::Link(finding, place), chance(own, came, of));
    }
    for (sensor, &[hits, there, alarms, not]) in counts.sensors.iter().enumerate() {
        tallies.insert(Number::Hit(sensor), chance(sensors[sensor].hit, hits, there));
        tallies.insert(Number::Alarm(sensor), chance(sensors[sensor].alarm, alarms, not));
    }
    tallies
}

/// A rate: Gamma with the author's rate (times what other machines say) as mean and worth [`CASES_A_CAUSE`] cases, against
/// a Poisson count of `came` where the author expected `of`.
fn rate(author: f64, expected: f64, came: f64, of: f64) -> Tally {
    let shape = CASES_A_CAUSE + came;
    let scale = CASES_A_CAUSE / expected.max(1e-3) + of;
    let held = |factor: f64| (author * factor).clamp(1e-4, 0.5);
    let bounds = |tail: f64| {
        Gamma::new(shape, scale).map_or((1e-4, 0.5), |believed| {
            (held(believed.inverse_cdf(tail)), held(believed.inverse_cdf(1.0 - tail)))
        })
    };
    let (interval, widest) = (bounds(IN_TWENTY), bounds(IN_FIVE_HUNDRED));
    Tally { author, came, of, learned: held(shape / scale), interval, widest }
}

/// A probability: Beta with the author's number as mean and worth [`CASES_A_LINK`] cases.
fn chance(author: f64, came: f64, of: f64) -> Tally {
    let yes = CASES_A_LINK * author + came;
    let no = CASES_A_LINK * (1.0 - author) + (of - came).max(0.0);
    let bounds = |tail: f64| {
        Beta::new(yes.max(1e-3), no.max(1e-3))
            .map_or((0.0, 1.0), |believed| (believed.inverse_cdf(tail), believed.inverse_cdf(1.0 - tail)))
    };
    let learned = (yes / (yes + no)).clamp(PROBABLE.0, PROBABLE.1);
    Tally { author, came, of, learned, interval: bounds(IN_TWENTY), widest: bounds(IN_FIVE_HUNDRED) }
}

/// The author's network and sensors with these numbers in place.
fn with(
    author: &Network,
    sensors: &[Sensor],
    tallies: &BTreeMap<Number, Tally>,
) -> Result<(Network, Vec<Sensor>), NetworkError> {
    let mut causes: Vec<Cause> = author.causes().to_vec();
    let mut findings: Vec<Finding> = author.findings().to_vec();
    let mut sensors = sensors.to_vec();
    for (number, tally) in tallies {
        match *number {
            Number::Rate(cause) => causes[cause].base = tally.learned,
            Number::Link(finding, place) => {
                let factor = tally.learned / tally.author.max(f64::MIN_POSITIVE);
                for row in &mut findings[finding].parents[place].strength {
                    row.iter_mut().for_each(|p| *p = (*p * factor).min(PROBABLE.1));
                }
            }
            Number::Hit(sensor) => sensors[sensor].hit = tally.learned,
            Number::Alarm(sensor) => sensors[sensor].alarm = tally.learned,
        }
    }
    Ok((Network::new(author.circumstances().to_vec(), causes, findings)?, sensors))
}
