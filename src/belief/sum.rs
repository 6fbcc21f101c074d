//! A graph summed: its total, and whatever is to be read from it.

use std::collections::BTreeMap;

use super::assembly::{Asking, Given, Graph, vars};
use super::bundle::{Bundle, StateId};
use super::evidence::BeliefError;
use super::order::{Asked, Cost, Order, Reading, order};
use super::pair;
use super::tape::Run;
use super::ways::{self, Grain, Way};

/// A sum with a run in it may touch so many table entries in one piece, and so many more for each scenario, before it is
/// taken apart: about what the three or so sums of a run taken apart cost.
const CHEAP: [f64; 2] = [2e5, 2e4];
/// Taken apart by the draws alone it may touch so many, and so many more for each scenario; past that its combinations are taken in
/// groups…
const PIECEMEAL: [f64; 2] = [8e6, 1e6];
/// …each of which differs in at most so many findings.
const DIFFER: usize = 1;
/// A run with more joint states is not tried in one piece, nor one whose combinations have more below them by its draws alone.
const MOST_JOINT: f64 = 65_536.0;

/// What the evidence and the scenarios add up to, in one piece or in the ways that a run may be taken.
pub(crate) struct Sum {
    parts: Vec<Part>,
    /// ln P(evidence, scenario), for each scenario; `None` where it is 0.
    totals: Vec<Option<f64>>,
    /// `[part][scenario]`: the part's share of the total of the scenario.
    shares: Vec<Vec<f64>>,
}

impl Sum {
    /// Forward only.
    pub(crate) fn total(given: Given<'_>) -> Result<Self, BeliefError> {
        Self::over(given, &[], Want::Total)
    }

    /// With everything to be read of the variables.
    pub(crate) fn marginals(given: Given<'_>) -> Result<Self, BeliefError> {
        Self::over(given, &[], Want::Marginals)
    }

    /// The same with the run at this place of the evidence taken apart, however small it is.
    #[cfg(test)]
    pub(crate) fn marginals_apart(given: Given<'_>, run: (usize, Grain)) -> Result<Self, BeliefError> {
        Self::apart(given, run, &[], Want::Marginals, Cost::MOST)
    }

    /// With the answers to what is asked.
    pub(crate) fn answers(given: Given<'_>, asked: &[Asking<'_>]) -> Result<Self, BeliefError> {
        Self::over(given, asked, Want::Answers)
    }

    fn over(given: Given<'_>, asked: &[Asking<'_>], want: Want) -> Result<Self, BeliefError> {
        let scenarios = given.scenarios.count();
        let Some(place) = ways::dividing(given.evidence) else {
            return Ok(Self::of(vec![Part::new(given, asked, want, Cost::MOST)?], scenarios));
        };
        let [joint, below] = ways::sizes(given.network, &given.evidence.0[place]);
        let cheap = Cost::MOST.touching(CHEAP[0] + CHEAP[1] * scenarios as f64);
        if joint <= MOST_JOINT
            && let Ok(part) = Part::new(given, asked, want, cheap)
        {
            return Ok(Self::of(vec![part], scenarios));
        }
        let apart = |grain, most| Self::apart(given, (place, grain), asked, want, most);
        let piecemeal = PIECEMEAL[0] + PIECEMEAL[1] * scenarios as f64;
        let draws = Cost::MOST.touching(if below <= MOST_JOINT { piecemeal } else { 0.0 });
        apart(Grain::Draws, draws)
            .or_else(|_| apart(Grain::Groups(DIFFER), Cost::MOST))
            .or_else(|_| apart(Grain::Draws, Cost::MOST))
    }

    /// The sum over the ways to take the run at this place of the evidence, each by itself, two at a time.
    fn apart(
        given: Given<'_>,
        (place, grain): (usize, Grain),
        asked: &[Asking<'_>],
        want: Want,
        mut left: Cost,
    ) -> Result<Self, BeliefError> {
        let mut parts: Vec<Part> = Vec::new();
        for some in ways::ways(given, place, grain).chunks(2) {
            let one = |way: &Way| {
                let one = Given { evidence: &way.evidence, timeline: &way.timeline, ..given };
                Part::new(one, asked, want, left).map(|part| Part { ln: part.ln + way.weight.ln(), ..part })
            };
            for part in pair::each(some, one) {
                let part = part?;
                if part.cost.touched > left.touched {
                    return Err(BeliefError::TooLarge { cost: part.cost.touched });
                }
                left = left.touching(left.touched - part.cost.touched);
                parts.push(part);
            }
        }
        Ok(Self::of(parts, given.scenarios.count()))
    }

    fn of(parts: Vec<Part>, scenarios: usize) -> Self {
        let each: Vec<_> = parts.iter().map(Part::ln_totals).collect();
        let total = |scenario: usize| {
            let each = || each.iter().filter_map(|totals| totals[scenario]);
            let largest = each().reduce(f64::max)?;
            Some(largest + each().map(|ln| (ln - largest).exp()).sum::<f64>().ln())
        };
        let totals: Vec<_> = (0..scenarios).map(total).collect();
        let share = |(own, total): (&Option<f64>, &Option<f64>)| match (own, total) {
            (Some(own), Some(total)) => (own - total).exp(),
            _ => 0.0,
        };
        let shares = match each.len() {
            1 => vec![vec![1.0; scenarios]],
            _ => each.iter().map(|own| own.iter().zip(&totals).map(share).collect()).collect(),
        };
        Self { parts, totals, shares }
    }

    /// ln P(evidence, scenario), for each scenario; `None` where it is 0.
    pub(crate) fn ln_totals(&self) -> &[Option<f64>] {
        &self.totals
    }

    /// Table entries touched on the way to the total.
    pub(crate) fn cost(&self) -> f64 {
        self.parts.iter().map(|part| part.cost.touched).sum()
    }

    /// The distribution of a variable in the first scenario.
    pub(crate) fn marginal(&self, var: usize) -> Vec<f64> {
        self.marginals_of(var).into_iter().next().unwrap_or_default()
    }

    /// `[scenario][state]` of a variable; nothing where no scenario leaves it open.
    pub(crate) fn marginals_of(&self, var: usize) -> Vec<Vec<f64>> {
        self.mixed(|part| part.marginals.get(var))
    }

    /// `[scenario][outcome]` of what was asked under this number; all 0 in a scenario that the evidence rules out.
    pub(crate) fn answer(&self, number: usize) -> Vec<Vec<f64>> {
        self.mixed(|part| part.answers.get(number))
    }

    /// What each part says, `[scenario][…]`, by its share.
    fn mixed<'p>(&'p self, of: impl Fn(&'p Part) -> Option<&'p Vec<Vec<f64>>>) -> Vec<Vec<f64>> {
        let mut sums: Vec<Vec<f64>> = Vec::new();
        for (part, shares) in self.parts.iter().zip(&self.shares) {
            let Some(said) = of(part) else { continue };
            sums.resize(said.len().max(sums.len()), Vec::new());
            for ((sum, own), share) in sums.iter_mut().zip(said).zip(shares) {
                add(sum, own, *share);
            }
        }
        sums.into_iter().map(normal).collect()
    }
}

/// Adds so much of some weights.
pub(crate) fn add(sums: &mut Vec<f64>, weights: &[f64], share: f64) {
    sums.resize(sums.len().max(weights.len()), 0.0);
    sums.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += share * weight);
}

/// What is to be read of a sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Want {
    Total,
    Marginals,
    Answers,
}

/// What one graph says. Its tables are not kept.
struct Part {
    /// P(evidence, scenario), for each scenario, up to e to this.
    totals: Vec<f64>,
    ln: f64,
    cost: Cost,
    /// `[variable][scenario][state]`; of a variable that is none, nothing.
    marginals: Vec<Vec<Vec<f64>>>,
    /// `[number][scenario][outcome]`.
    answers: Vec<Vec<Vec<f64>>>,
}

impl Part {
    fn new(given: Given<'_>, asked: &[Asking<'_>], want: Want, most: Cost) -> Result<Self, BeliefError> {
        let mut graph = Graph::new(given, asked, want == Want::Marginals)?;
        let Order { tape, readings, asked: places, cost, .. } = order(&mut graph, vars(given.network), most)?;
        let last = tape.last();
        let mut summed = Summed {
            run: tape.forward(),
            readings,
            asked: places,
            bundles: std::mem::take(&mut graph.bundles),
        };
        let (table, ln) = summed.run.table(last);
        let (totals, ln) = (table.to_vec(), ln + graph.ln);
        let mut part = Self { totals, ln, cost, marginals: Vec::new(), answers: Vec::new() };
        let scenarios = given.scenarios.count();
        if part.totals.is_empty() {
            part.totals = vec![0.0; scenarios];
        }
        if want == Want::Marginals {
            summed.run.backward(summed.readings.iter().flatten().map(|reading| reading.step));
            let vars = 0..summed.readings.len();
            part.marginals = vars.map(|var| summed.marginal(var, scenarios)).collect();
        }
        if want == Want::Answers {
            summed.run.backward(summed.asked.iter().map(|asked| asked.step));
            part.answers = (0..asked.len()).map(|number| summed.answer(number, scenarios)).collect();
        }
        Ok(part)
    }

    /// ln P(evidence, scenario), for each scenario; `None` where it is 0.
    fn ln_totals(&self) -> Vec<Option<f64>> {
        self.totals.iter().map(|&total| (total > 0.0).then(|| total.ln() + self.ln)).collect()
    }
}

/// A graph after one pass forward, and one backward if anything is to be read but the total.
struct Summed {
    run: Run,
    readings: Vec<Option<Reading>>,
    asked: Vec<Asked>,
    bundles: Vec<Bundle>,
}

impl Summed {
    /// `[scenario][state]` of a variable.
    fn marginal(&self, var: usize, scenarios: usize) -> Vec<Vec<f64>> {
        let Some(reading) = self.readings[var] else { return Vec::new() };
        let mut weights = vec![vec![0.0; reading.states]; scenarios];
        let (table, back) = self.run.sides(reading.step);
        let width = reading.stride * scenarios;
        for (place, (row, back)) in table.chunks_exact(width).zip(back.chunks_exact(width)).enumerate() {
            let state = place % reading.states;
            if let [weights] = &mut weights[..] {
                weights[state] += row.iter().zip(back).map(|(entry, back)| entry * back).sum::<f64>();
                continue;
            }
            for (place, (entry, back)) in row.iter().zip(back).enumerate() {
                weights[place % scenarios][state] += entry * back;
            }
        }
        weights.into_iter().map(normal).collect()
    }

    /// `[scenario][outcome]` of what was asked under this number; all 0 in a scenario that the evidence rules out.
    fn answer(&self, number: usize, scenarios: usize) -> Vec<Vec<f64>> {
        let question = |asked: &Asked| self.bundles[asked.bundle].questions.iter().find(|q| q.0 == number);
        let found = self.asked.iter().find_map(|asked| Some((asked, &question(asked)?.1)));
        let Some((asked, look)) = found else { return Vec::new() };
        let mut masses: BTreeMap<StateId, Vec<f64>> = BTreeMap::new();
        let shares = self.run.shares(asked.step);
        let cell = shares.len() / asked.states.len().max(1);
        for (cell, &state) in shares.chunks_exact(cell.max(1)).zip(&asked.states) {
            let mass = masses.entry(state).or_insert_with(|| vec![0.0; scenarios]);
            for row in cell.chunks_exact(scenarios) {
                mass.iter_mut().zip(row).for_each(|(mass, share)| *mass += share);
            }
        }
        let mut sums = vec![vec![0.0; look.outcomes()]; scenarios];
        for (state, mass) in masses {
            let chances = look.chances(self.bundles[asked.bundle].state(state));
            for (sum, mass) in sums.iter_mut().zip(mass) {
                sum.iter_mut().zip(&chances).for_each(|(sum, chance)| *sum += mass * chance);
            }
        }
        sums.into_iter().map(normal).collect()
    }
}

/// Weights brought to the sum 1 (all 0 stays).
pub(crate) fn normal(mut weights: Vec<f64>) -> Vec<f64> {
    let total: f64 = weights.iter().sum();
    if total > 0.0 {
        for weight in &mut weights {
            *weight /= total;
        }
    }
    weights
}
