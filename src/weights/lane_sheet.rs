//! The fills of the lanes side by side, and the sums over them: scatter that lanes share, scatter of one lane about the
//! others, one lane less the others.

use super::lanes::{ALARMS_OF_MEANS, FEWEST_OF_A_LANE, each_of};
use super::run::Run;
use super::stats::{
    CONFIDENCE, Interval, fisher_above, mean, median, spread, student_beyond, student_quantile,
};
use super::summary::worth;

/// Fills by lane: place in the run and weight. With rounds, the lanes are equally long and stand side by side.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    pub(super) lanes: Vec<Vec<(usize, f64)>>,
    pub(super) rounds: bool,
    /// Least variance believed: that of the display's rounding.
    pub(super) floor: f64,
}

/// A variance with its degrees of freedom.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scatter {
    squares: f64,
    freedom: f64,
    pub(super) variance: f64,
}

pub(super) struct Looseness {
    /// How likely so much scatter is by chance.
    pub(super) chance: f64,
    /// How many times the others' spread.
    pub(super) times: f64,
}

/// A lane less the others.
pub(super) struct Beside {
    estimate: f64,
    error: f64,
    freedom: f64,
}

impl Beside {
    pub(super) fn chance(&self) -> f64 {
        student_beyond(self.estimate / self.error, self.freedom)
    }

    pub(super) fn interval(&self, confidence: f64) -> Interval {
        let t = student_quantile(f64::midpoint(1.0, confidence), self.freedom);
        Interval::around(self.estimate, t * self.error)
    }
}

impl Sheet {
    pub(super) fn of(run: &Run, places: &[usize], names: &[&String], rounds: bool) -> Self {
        let all = run.lanes().unwrap_or_default();
        let of_lane = |name: &&String| {
            places.iter().filter(|at| all[**at] == **name).map(|at| (*at, run.values()[*at])).collect()
        };
        let step = run.division().map_or(0.0, |d| d.grams.powi(2) / 12.0);
        let size = run.values().iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        let floor = step.max((size * 1e-9).powi(2)).max(f64::MIN_POSITIVE);
        Self { lanes: names.iter().map(of_lane).collect(), rounds, floor }
    }

    /// Lanes with enough fills.
    pub(super) fn comparable(&self) -> Vec<usize> {
        (0..self.lanes.len()).filter(|&at| self.lanes[at].len() >= FEWEST_OF_A_LANE).collect()
    }

    pub(super) fn fills(&self, lanes: &[usize]) -> usize {
        lanes.iter().map(|&at| self.lanes[at].len()).sum()
    }

    pub(super) fn weights(&self, at: usize) -> Vec<f64> {
        self.lanes[at].iter().map(|fill| fill.1).collect()
    }

    pub(super) fn mean(&self, at: usize) -> f64 {
        mean(&self.weights(at)).unwrap_or(0.0)
    }

    /// Mean over these lanes in each round; only where there are rounds, so that all lanes are as long.
    fn round_means(&self, lanes: &[usize]) -> Vec<f64> {
        let rounds = lanes.first().map_or(0, |&at| self.lanes[at].len());
        let one =
            |round: usize| lanes.iter().map(|&at| self.lanes[at][round].1).sum::<f64>() / lanes.len() as f64;
        (0..rounds).map(one).collect()
    }

    /// What is left of each lane's fills when lane and round are taken out.
    pub(super) fn left_over(&self, lanes: &[usize]) -> Vec<Vec<f64>> {
        let rounds = if self.rounds { self.round_means(lanes) } else { Vec::new() };
        let grand = mean(&rounds).unwrap_or(0.0);
        let shift = |round: usize| rounds.get(round).map_or(0.0, |r| r - grand);
        lanes
            .iter()
            .map(|&at| {
                let centre = self.mean(at);
                self.lanes[at]
                    .iter()
                    .enumerate()
                    .map(|(round, fill)| fill.1 - centre - shift(round))
                    .collect()
            })
            .collect()
    }

    /// The scatter these lanes share.
    pub(super) fn scatter(&self, lanes: &[usize]) -> Option<Scatter> {
        let squares: f64 = self.left_over(lanes).iter().flatten().map(|rest| rest * rest).sum();
        let fills = self.fills(lanes) as f64;
        let taken = lanes.len() as f64;
        let rounds = if self.rounds { fills / taken - 1.0 } else { 0.0 };
        let freedom = fills - taken - rounds;
        (freedom >= 1.0).then(|| Scatter { squares, freedom, variance: (squares / freedom).max(self.floor) })
    }

    /// How much a lane scatters about the others; `None` when they are too few to tell.
    pub(super) fn looseness(&self, at: usize, among: &[usize]) -> Option<Looseness> {
        let others: Vec<usize> = among.iter().copied().filter(|lane| *lane != at).collect();
        let (all, rest) = (self.scatter(among)?, self.scatter(&others)?);
        let freedom = all.freedom - rest.freedom;
        let own = (all.squares - rest.squares).max(0.0) / freedom;
        let ratio = own / rest.variance;
        (!others.is_empty() && freedom >= 1.0)
            .then(|| Looseness { chance: fisher_above(ratio, freedom, rest.freedom), times: ratio.sqrt() })
    }

    /// Neighbouring rests that are alike make the fills worth less: the share they are worth.
    pub(super) fn worth(&self, lanes: &[usize]) -> f64 {
        let (mut products, mut squares, mut fills) = (0.0, 0.0, 0);
        for rests in self.left_over(lanes) {
            products += rests.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>();
            squares += rests.iter().map(|rest| rest * rest).sum::<f64>();
            fills += rests.len();
        }
        let lag_one = (squares > 0.0).then(|| products / squares);
        worth(fills, lag_one) / fills.max(1) as f64
    }

    /// A lane less the others in `among`, by the scatter of the lanes that have it `shared` (their means may differ); with its
    /// `own` scatter where it does not share theirs (Welch).
    pub(super) fn beside(&self, at: usize, among: &[usize], shared: &[usize], own: bool) -> Option<Beside> {
        let others: Vec<usize> = among.iter().copied().filter(|lane| *lane != at).collect();
        if others.is_empty() {
            return None;
        }
        let n = self.lanes[at].len() as f64;
        let rest = self.fills(&others) as f64;
        if self.rounds && own {
            let means = self.round_means(&others);
            let apart: Vec<f64> =
                self.lanes[at].iter().zip(&means).map(|(fill, mean)| fill.1 - mean).collect();
            let error = (spread(&apart)?.powi(2).max(self.floor) / n).sqrt();
            return Some(Beside { estimate: mean(&apart)?, error, freedom: n - 1.0 });
        }
        let sum: f64 = others.iter().flat_map(|&lane| self.weights(lane)).sum();
        let estimate = self.mean(at) - sum / rest;
        if own {
            let shared = self.scatter(shared)?;
            let mine = spread(&self.weights(at))?.powi(2).max(self.floor) / n;
            let theirs = shared.variance / rest;
            let freedom =
                (mine + theirs).powi(2) / (mine.powi(2) / (n - 1.0) + theirs.powi(2) / shared.freedom);
            return Some(Beside { estimate, error: (mine + theirs).sqrt(), freedom });
        }
        let worth = self.worth(shared);
        let shared = self.scatter(shared)?;
        let error = (shared.variance / worth * (1.0 / n + 1.0 / rest)).sqrt();
        Some(Beside { estimate, error, freedom: (shared.freedom * worth).max(1.0) })
    }

    /// How far the rounds lie apart, when more than chance allows (F of rounds against what is left).
    pub(super) fn shift(&self, lanes: &[usize]) -> Option<f64> {
        if !self.rounds {
            return None;
        }
        let means = self.round_means(lanes);
        let shared = self.scatter(lanes)?;
        let ratio = lanes.len() as f64 * spread(&means)?.powi(2) / shared.variance;
        let plain = fisher_above(ratio, means.len() as f64 - 1.0, shared.freedom) <= 1.0 - CONFIDENCE;
        let low = means.iter().copied().min_by(f64::total_cmp)?;
        let high = means.iter().copied().max_by(f64::total_cmp)?;
        plain.then_some(high - low)
    }

    /// The sheet without the fill of a lane that lies furthest from its others (with rounds, without the round), and
    /// that fill's place.
    pub(super) fn without_furthest(&self, at: usize, among: &[usize]) -> Option<(Self, usize)> {
        let others: Vec<usize> = among.iter().copied().filter(|lane| *lane != at).collect();
        let rounds = if self.rounds { self.round_means(&others) } else { Vec::new() };
        let apart: Vec<f64> = self.lanes[at]
            .iter()
            .enumerate()
            .map(|(round, fill)| fill.1 - rounds.get(round).copied().unwrap_or(0.0))
            .collect();
        let middle = median(&apart)?;
        let furthest = (0..apart.len())
            .max_by(|&a, &b| (apart[a] - middle).abs().total_cmp(&(apart[b] - middle).abs()))?;
        let place = self.lanes[at][furthest].0;
        let mut rest = self.clone();
        for lane in 0..rest.lanes.len() {
            if self.rounds || lane == at {
                rest.lanes[lane].remove(furthest);
            }
        }
        (rest.lanes[at].len() >= FEWEST_OF_A_LANE).then_some((rest, place))
    }

    /// How many more fills from each lane would tell a difference like this.
    pub(super) fn more(&self, lanes: &[usize], difference: f64) -> Option<usize> {
        let shared = self.scatter(lanes)?;
        let k = lanes.len() as f64;
        let variance = shared.variance / self.worth(lanes) * (1.0 + 1.0 / (k - 1.0));
        let tail = 1.0 - each_of(ALARMS_OF_MEANS, lanes.len()) / 2.0;
        let have = self.fills(lanes) / lanes.len();
        let enough = |n: usize| {
            let freedom = if self.rounds { (n as f64 - 1.0) * (k - 1.0) } else { k * (n as f64 - 1.0) };
            student_quantile(tail, freedom) * (variance / n as f64).sqrt() <= difference
        };
        (have + 1..have + 10_000).find(|&n| enough(n)).map(|n| n - have)
    }
}
