//! From counts to proposals: one number each, with its interval, its cases, and the change of the file that it would be.

use super::cases::{Sensors, called, past};
use super::past::Past;
use super::tally::{CASES_A_CAUSE, Layout, LearnError, Learned, Number, Tally, learn};
use crate::belief::Parent;
use crate::casebook::Case;
use crate::ids::{CauseId, MachineId};
use crate::knowledge::edit::{Place, Scalar, at};
use crate::knowledge::{Change, FindingKind, Knowledge, Texts};
use crate::walk::{Desk, DeskError};

/// Fewer cases than this propose nothing.
const FEWEST: f64 = 5.0;
/// A rate is proposed when it moves by this factor…
const FACTOR: f64 = 1.3;
/// …and a probability when it moves by this much.
const MOVES: f64 = 0.06;

/// One number of the book that closed cases would have otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The machine whose cases speak.
    pub machine: MachineId,
    /// The entry, as `causes/pan-touching`.
    pub entry: String,
    /// In words: 'how often it is there', 'how often it brings about …'.
    pub what: Meaning,
    /// What was counted.
    pub tally: Tally,
    /// The change of the file.
    pub change: Change,
    /// The cases that it rests on, by their place in the list given.
    pub cases: Vec<usize>,
}

/// What a number is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// How many of 1000 calls it is behind.
    Rate,
    /// How often it brings this finding about.
    Link(String),
    /// How often the check answers so when the finding is there.
    Hit(String, String),
    /// How often it does when it is not.
    Alarm(String, String),
}

/// Why nothing could be proposed.
#[derive(Debug, thiserror::Error)]
pub enum ProposeError {
    /// The machine.
    #[error(transparent)]
    Desk(#[from] DeskError),
    /// The counting.
    #[error(transparent)]
    Learn(#[from] LearnError),
}

/// What the cases of one machine are, as learning sees them.
struct OnMachine<'k> {
    desk: Desk<'k>,
    sensors: Sensors,
    past: Vec<Past>,
    /// Place of each in the list of cases.
    places: Vec<usize>,
}

impl<'k> OnMachine<'k> {
    fn of(knowledge: &'k Knowledge, machine: &MachineId, cases: &[&Case]) -> Result<Self, DeskError> {
        let desk = Desk::for_case(knowledge, &Case::of(machine.clone()))?;
        let sensors = Sensors::of(&desk);
        let own = cases.iter().enumerate().filter(|(_, case)| case.machine == *machine);
        let (places, past) =
            own.filter_map(|(place, case)| Some((place, past(&desk, &sensors, case)?))).unzip();
        Ok(Self { desk, sensors, past, places })
    }

    /// For each cause 1 where a case can prove it, else 0: what is only handed over is never seen to be cured, and what is in
    /// no book has no remedy.
    fn provable(&self) -> Vec<f64> {
        let cures = |cause: &CauseId| {
            self.desk.view.remedies.iter().any(|r| r.cures.value == *cause && !r.hands_over)
        };
        let causes = self.desk.model.causes.iter().map(|cause| f64::from(u8::from(cures(cause))));
        causes.chain([0.0]).collect()
    }

    fn learn(&self, layout: &Layout<'_>, expected: &[f64]) -> Result<Learned, LearnError> {
        learn(&self.desk.model.network, &self.sensors.all, layout, &called(&self.desk), expected)
    }
}

/// Proposals from closed cases, those that contradict the author first, then by how far they move. `texts` are those
/// that the knowledge was read from.
pub fn proposals(
    knowledge: &Knowledge,
    texts: &Texts,
    cases: &[&Case],
    threads: usize,
) -> Result<Vec<Proposal>, ProposeError> {
    let machines: Vec<OnMachine<'_>> =
        knowledge.machines.keys().map(|id| OnMachine::of(knowledge, id, cases)).collect::<Result<_, _>>()?;
    let layouts: Vec<Layout<'_>> = machines
        .iter()
        .map(|machine| Layout::of(&machine.desk.model.network, &machine.past, threads))
        .collect();
    let first: Vec<Learned> = machines
        .iter()
        .zip(&layouts)
        .map(|(machine, layout)| machine.learn(layout, &machine.provable()))
        .collect::<Result<_, _>>()?;
    let mut all = Vec::new();
    for (place, machine) in machines.iter().enumerate() {
        let learned = machine.learn(&layouts[place], &expected(&machines, &first, place))?;
        all.extend(machine.proposals(texts, &learned));
    }
    let moved = |p: &Proposal| (p.tally.learned / p.tally.author).ln().abs();
    all.sort_by(|a, b| {
        (b.tally.contradicts().cmp(&a.tally.contradicts()))
            .then(moved(b).total_cmp(&moved(a)))
            .then_with(|| a.entry.cmp(&b.entry))
    });
    Ok(all)
}

/// For each cause of one machine what all other machines say of its rate, as a factor on the author's.
fn expected(machines: &[OnMachine<'_>], learned: &[Learned], own: usize) -> Vec<f64> {
    let causes = &machines[own].desk.model.causes;
    let mut factors: Vec<f64> = causes
        .iter()
        .map(|cause| {
            let others = machines.iter().zip(learned).enumerate().filter(|(place, _)| *place != own);
            let (came, of) = others
                .filter_map(|(_, (other, learned))| {
                    let index = other.desk.model.cause(cause)?;
                    learned.tallies.get(&Number::Rate(index)).map(|tally| (tally.came, tally.of))
                })
                .fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
            (CASES_A_CAUSE + came) / (CASES_A_CAUSE + of)
        })
        .collect();
    factors.push(0.0);
    factors.iter_mut().zip(machines[own].provable()).for_each(|(factor, provable)| *factor *= provable);
    factors
}

impl OnMachine<'_> {
    fn proposals(&self, texts: &Texts, learned: &Learned) -> Vec<Proposal> {
        let worth = |number: &Number, tally: &Tally| {
            let enough = tally.of.max(tally.came) >= FEWEST && tally.author > 0.0;
            let moves = match number {
                Number::Rate(_) => (tally.learned / tally.author).ln().abs() >= FACTOR.ln(),
                _ => (tally.learned - tally.author).abs() >= MOVES,
            };
            enough && moves && tally.differs()
        };
        let wanted = learned.tallies.iter().filter(|(number, tally)| worth(number, tally));
        let cases = |number: &Number| {
            let all = learned.cases_of.get(number).into_iter().flatten();
            all.map(|&place| self.places[place]).collect()
        };
        wanted.filter_map(|(number, tally)| self.proposal(texts, *number, tally, cases(number))).collect()
    }

    /// `None` for a number that stands in no file, like what is in no book.
    fn proposal(&self, texts: &Texts, number: Number, tally: &Tally, cases: Vec<usize>) -> Option<Proposal> {
        let model = &self.desk.model;
        let (entry, place, what, to) = match number {
            Number::Rate(cause) => {
                let place = format!("machines.{}", self.desk.view.machine.id);
                let entry = format!("causes/{}", model.causes.get(cause)?);
                (entry, place, Meaning::Rate, two_digits(tally.learned * 1000.0))
            }
            Number::Link(finding, place) => {
                let child = model.findings.get(finding)?;
                let entry = match model.network.findings()[finding].parents[place].parent {
                    Parent::Cause(cause) => format!("causes/{}", model.causes.get(cause)?),
                    Parent::Finding(parent) => {
                        let known = &self.desk.view.findings[parent];
                        let folder =
                            if known.kind == FindingKind::Symptom { "symptoms" } else { "conditions" };
                        format!("{folder}/{}", known.id)
                    }
                };
                let place = format!("leads_to.{child}.strength");
                (entry, place, Meaning::Link(child.to_string()), two_digits(tally.learned))
            }
            Number::Hit(sensor) | Number::Alarm(sensor) => {
                let (check, outcome, means) = self.sensors.names.get(sensor)?;
                let finding = model.findings.get(self.sensors.all[sensor].finding)?.to_string();
                let hit = matches!(number, Number::Hit(_));
                let key = if hit { "hit" } else { "false_alarm" };
                let place = format!("outcomes.{outcome}.means.{means}.{key}");
                let what = if hit { Meaning::Hit } else { Meaning::Alarm };
                (
                    format!("checks/{check}"),
                    place,
                    what(outcome.to_string(), finding),
                    two_digits(tally.learned),
                )
            }
        };
        let file = format!("{entry}.yaml");
        // What a person would have to weigh up, a pair or strengths by degree, is theirs to write.
        let was = at(texts.text(&file)?, &Place::parse(&place)?).ok()?;
        let single = was.is_some() || matches!(number, Number::Hit(_) | Number::Alarm(_));
        let change = Change::Set { file, place, was, to: Scalar::Number(to) };
        single.then(|| Proposal {
            machine: self.desk.view.machine.id.clone(),
            entry,
            what,
            tally: *tally,
            change,
            cases,
        })
    }
}

/// To two digits: a number to three claims what nobody knows.
fn two_digits(number: f64) -> f64 {
    if number <= 0.0 {
        return number;
    }
    let scale = 10f64.powi(1 - number.log10().floor() as i32);
    let rounded = (number * scale).round() / scale;
    // As it is written and read again.
    format!("{rounded}").parse().unwrap_or(rounded)
}

#[cfg(test)]
mod tests {
    use super::two_digits;

    #[test]
    fn numbers_are_proposed_to_two_digits() {
        for (number, said) in
            [(21.4321, "21"), (0.6149, "0.61"), (3.05, "3.1"), (0.0499, "0.05"), (123.0, "120")]
        {
            assert_eq!(two_digits(number).to_string(), said);
        }
    }
}
