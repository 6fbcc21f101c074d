//! Ranks what could be done next.

use std::collections::BTreeMap;

use super::candidate::{Candidate, Kind, Plan, Reason, SEND, STOP, Then, cautions};
use super::circumstances;
use super::question::{Question, as_asked, outcome_names, unanswered};
use super::situation::{ASK, Hindrance, Situation};
use super::visit;
use super::worth::{Act, Course, Field, Scenario};
use crate::belief::{self, BeliefError, Outlook};
use crate::ids::{CauseId, CheckId, CircumstanceId, RemedyId};
use crate::knowledge::{Asks, Check, Remedy};
use crate::safety::Exposures;

/// Names the causes that a check helps to tell apart: at most so many.
const MOST_NAMED: usize = 3;
/// A check that is expected to save less than a minute does not go before a remedy.
const LEAST_SAVED: f64 = 1.0;

struct Board<'a> {
    situation: &'a Situation<'a>,
    field: Field,
    weights: Vec<f64>,
    remedies: Vec<(&'a Remedy, Vec<CheckId>)>,
    now: Course,
}

/// Ranks everything that could be done next.
pub fn plan(situation: &Situation<'_>) -> Result<Plan, BeliefError> {
    let unanswered = unanswered(situation);
    let asked: Vec<belief::Check> = unanswered.iter().map(|check| as_asked(situation, check)).collect();
    let complaint: Vec<usize> =
        situation.complaint.iter().filter_map(|f| situation.model.finding(f)).collect();
    let network = &situation.model.network;
    let outlook = belief::outlook(network, situation.evidence, situation.leading, &asked, &complaint)?;
    let board = Board::new(situation, &outlook);
    let (open, hindered): (Vec<_>, Vec<_>) = board
        .checks(&unanswered, &outlook)
        .into_iter()
        .partition(|q| q.work.is_none_or(|w| situation.hindrance(&situation.exposures(w)).is_none()));
    let mut next: Vec<Candidate> =
        open.iter().chain(&board.circumstances()).map(|q| board.value(q)).collect();
    board.gates_first(&mut next);
    next.sort_by(|a, b| b.minutes_saved.total_cmp(&a.minutes_saved).then_with(|| a.id.cmp(&b.id)));
    let unworthy = next.split_off(next.iter().filter(|c| c.minutes_saved > LEAST_SAVED).count());
    let mut remedies = board.remedies();
    let alone = board.now.order.is_empty() && next.is_empty();
    let until_then = visit::until_then(situation, &board.field.scenarios);
    let send = board.send(alone, until_then);
    if alone {
        next.push(send);
        next.append(&mut remedies);
    } else {
        next.append(&mut remedies);
        next.push(send);
    }
    next.extend(unworthy);
    let visit = (next[0].kind == Kind::Send)
        .then(|| visit::prepare(situation, &board.field.scenarios, board.on_arrival(&hindered), until_then));
    if situation.complaint.is_empty() || !situation.heard {
        next.splice(0..0, board.hear());
    }
    if situation.stop {
        next.insert(0, Board::stop());
    }
    Ok(Plan { next, minutes: board.now.minutes, visit })
}

impl<'a> Board<'a> {
    fn new(situation: &'a Situation<'a>, outlook: &[Outlook]) -> Self {
        let scenario = |o: &Outlook| Scenario {
            causes: o.combination.causes.clone(),
            weight: o.combination.probability,
            gone: o.gone.clone(),
        };
        let scenarios: Vec<Scenario> = outlook.iter().map(scenario).collect();
        let weights: Vec<f64> = scenarios.iter().map(|s| s.weight).collect();
        let (mut remedies, mut acts) = (Vec::new(), Vec::new());
        for &remedy in &situation.view.remedies {
            let Some(cause) = situation.model.cause(&remedy.cures.value) else { continue };
            let settled = situation.done.contains(&remedy.id) || remedy.hands_over;
            if settled || situation.remedy_hindrance(remedy).is_some() {
                continue;
            }
            let Some(gates) = situation.open_gates(remedy) else { continue };
            let held: f64 = remedy.parts.iter().map(|(_, minutes)| minutes).sum();
            let minutes = situation.minutes(&remedy.work) + situation.minutes_around(remedy, &gates) + held;
            let weighty = !remedy.parts.is_empty() || !remedy.reversible;
            acts.push(Act { cause, works: remedy.works, minutes, undo: remedy.undo_minutes, weighty });
            remedies.push((remedy, gates));
        }
        let field = Field::new(scenarios, acts);
        let now = field.course(&weights, situation.visit, None);
        Self { situation, field, weights, remedies, now }
    }

    fn checks<'b>(&self, open: &[&'b Check], outlook: &[Outlook]) -> Vec<Question<'b>> {
        let question = |(place, check): (usize, &&'b Check)| Question {
            id: check.id.as_str().to_owned(),
            work: Some(&check.work),
            minutes: self.situation.minutes(&check.work),
            outcomes: outcome_names(self.situation, check),
            chances: outlook.iter().map(|s| s.outcomes[place].clone()).collect(),
        };
        open.iter().enumerate().map(question).collect()
    }

    fn circumstances(&self) -> Vec<Question<'static>> {
        let model = self.situation.model;
        let given: Vec<Vec<f64>> = self
            .field
            .scenarios
            .iter()
            .map(|s| circumstances::given_causes(model, self.situation.evidence, &s.causes))
            .collect();
        let (hit, alarm) = circumstances::TOLD;
        let question = |(index, id): (usize, &CircumstanceId)| Question {
            id: id.as_str().to_owned(),
            work: None,
            minutes: ASK,
            outcomes: vec!["happened".to_owned(), "did-not".to_owned()],
            chances: given
                .iter()
                .map(|all| {
                    let yes = all[index] * hit + (1.0 - all[index]) * alarm;
                    vec![yes, 1.0 - yes]
                })
                .collect(),
        };
        let open = |id: &&CircumstanceId| !self.situation.asked.contains(*id);
        model.circumstances.iter().enumerate().filter(|(_, id)| open(id)).map(question).collect()
    }

    /// A question's worth one step ahead: minutes now − [its minutes + expected minutes after its answer].
    fn value(&self, question: &Question<'_>) -> Candidate {
        let mut after = 0.0;
        let mut then = Vec::new();
        for (place, outcome) in question.outcomes.iter().enumerate() {
            let weights: Vec<f64> =
                self.weights.iter().zip(&question.chances).map(|(w, chances)| w * chances[place]).collect();
            let probability: f64 = weights.iter().sum::<f64>() / self.weights.iter().sum::<f64>();
            let course = self.field.course(&weights, self.situation.visit, None);
            after += probability * course.minutes;
            let (kind, next) = self.first_of(&course, &question.id);
            then.push(Then { outcome: outcome.clone(), probability, kind, next });
        }
        let saved = self.now.minutes - (question.minutes + after);
        let named = self.told_apart(question);
        let why = if question.work.is_some() { Reason::TellsApart(named) } else { Reason::Happened(named) };
        let work = question.work;
        Candidate {
            id: question.id.clone(),
            kind: Kind::Check,
            minutes: question.minutes,
            minutes_saved: saved,
            exposures: work.map_or_else(Exposures::outside, |w| self.situation.exposures(w)),
            cautions: work.map(cautions).unwrap_or_default(),
            why,
            then,
        }
    }

    /// The step with which a course begins once a question is answered: the first gate of its first remedy that the
    /// answer does not open, the remedy, or a visit.
    fn first_of(&self, course: &Course, answered: &str) -> (Kind, String) {
        let Some((remedy, gates)) = course.order.first().map(|&act| &self.remedies[act]) else {
            return (Kind::Send, SEND.to_owned());
        };
        match gates.iter().find(|gate| gate.as_str() != answered) {
            Some(gate) => (Kind::Check, gate.as_str().to_owned()),
            None => (Kind::Remedy, remedy.id.as_str().to_owned()),
        }
    }

    /// The causes whose probability moves most between the answers, likeliest first.
    fn told_apart(&self, question: &Question<'_>) -> Vec<CauseId> {
        let causes = self.situation.model.causes.len();
        let mut mass = vec![0.0; causes];
        let mut moved = vec![0.0; causes];
        let total: f64 = self.weights.iter().sum();
        for cause in 0..causes {
            mass[cause] = self.mass(&self.weights, cause) / total;
            for place in 0..question.outcomes.len() {
                let weights: Vec<f64> =
                    self.weights.iter().zip(&question.chances).map(|(w, c)| w * c[place]).collect();
                let share: f64 = weights.iter().sum();
                moved[cause] += (self.mass(&weights, cause) - mass[cause] * share).abs() / total;
            }
        }
        let mut named: Vec<usize> = (0..causes).filter(|&c| moved[c] > 0.01).collect();
        named.sort_by(|&a, &b| moved[b].total_cmp(&moved[a]).then(a.cmp(&b)));
        named.truncate(MOST_NAMED);
        named.sort_by(|&a, &b| mass[b].total_cmp(&mass[a]).then(a.cmp(&b)));
        named.into_iter().map(|c| self.situation.model.causes[c].clone()).collect()
    }

    fn mass(&self, weights: &[f64], cause: usize) -> f64 {
        self.field
            .scenarios
            .iter()
            .zip(weights)
            .filter(|(s, _)| s.causes.contains(&cause))
            .map(|(_, w)| w)
            .sum()
    }

    /// When the course begins with a remedy whose gates are open, those checks are worth what the course saves.
    fn gates_first(&self, next: &mut [Candidate]) {
        let Some((remedy, gates)) = self.now.order.first().map(|&act| &self.remedies[act]) else { return };
        let saved = self.situation.visit - self.now.minutes;
        for candidate in next.iter_mut().filter(|c| c.minutes_saved <= 0.0) {
            if gates.iter().any(|gate| gate.as_str() == candidate.id) {
                candidate.minutes_saved = saved;
                candidate.why = Reason::NeededBefore(remedy.id.clone());
            }
        }
    }

    /// The checks that cannot be done from here, by what they would be worth on site.
    fn on_arrival(&self, hindered: &[Question<'_>]) -> Vec<CheckId> {
        let mut ranked: Vec<Candidate> = hindered.iter().map(|q| self.value(q)).collect();
        ranked.sort_by(|a, b| b.minutes_saved.total_cmp(&a.minutes_saved).then_with(|| a.id.cmp(&b.id)));
        ranked.into_iter().map(|c| CheckId::new(c.id)).collect()
    }

    /// Before anything is known of the complaint: hear what it is.
    fn hear(&self) -> Option<Candidate> {
        let check = self.situation.view.checks.iter().find(|c| matches!(c.asks, Asks::Complaint))?;
        let minutes_saved = self.situation.visit;
        Some(Candidate { minutes_saved, ..Candidate::unplanned(self.situation, check, Reason::Complaint) })
    }

    /// Remedies whose gates are shut, in the order of the course, then by what they help.
    fn remedies(&self) -> Vec<Candidate> {
        let total: f64 = self.weights.iter().sum();
        let chance = |act: usize| self.mass(&self.weights, self.field.acts[act].cause) / total;
        let mut order = self.now.order.clone();
        let mut others: Vec<usize> = (0..self.field.acts.len()).filter(|act| !order.contains(act)).collect();
        others.retain(|&act| chance(act) > 0.02 && !(self.field.acts[act].weighty && chance(act) < 0.5));
        others.sort_by(|&a, &b| {
            let ratio = |act: usize| {
                chance(act) * self.field.acts[act].works / self.field.acts[act].minutes.max(0.01)
            };
            ratio(b).total_cmp(&ratio(a)).then_with(|| self.remedies[a].0.id.cmp(&self.remedies[b].0.id))
        });
        order.extend(others);
        let ready = |act: &usize| self.remedies[*act].1.is_empty();
        order.into_iter().filter(ready).map(|act| self.remedy(act, chance(act))).collect()
    }

    fn remedy(&self, act: usize, chance: f64) -> Candidate {
        let (remedy, _) = &self.remedies[act];
        let without = self.field.course(&self.weights, self.situation.visit, Some(act));
        let then = self.after_remedy(act, remedy);
        Candidate {
            id: remedy.id.as_str().to_owned(),
            kind: Kind::Remedy,
            minutes: self.field.acts[act].minutes,
            minutes_saved: without.minutes - self.now.minutes,
            exposures: self.situation.exposures(&remedy.work),
            cautions: cautions(&remedy.work),
            why: Reason::Cures(remedy.cures.value.clone(), chance),
            then,
        }
    }

    fn after_remedy(&self, act: usize, remedy: &Remedy) -> Vec<Then> {
        let proof = Then {
            outcome: "gone".to_owned(),
            probability: if self.now.order.first() == Some(&act) {
                self.now.first_gone
            } else {
                remedy.works
            },
            kind: Kind::Check,
            next: remedy.proved_by.value.as_str().to_owned(),
        };
        let following = self.now.order.iter().skip_while(|&&a| a != act).nth(1);
        let (kind, next) = following.map_or((Kind::Send, SEND.to_owned()), |&next| {
            (Kind::Remedy, self.remedies[next].0.id.as_str().to_owned())
        });
        let still =
            Then { outcome: "still-there".to_owned(), probability: 1.0 - proof.probability, kind, next };
        vec![proof, still]
    }

    fn send(&self, alone: bool, until_then: Option<&Remedy>) -> Candidate {
        let hindrances: BTreeMap<&RemedyId, Hindrance> = self
            .situation
            .view
            .remedies
            .iter()
            .filter_map(|r| Some((&r.id, self.situation.remedy_hindrance(r)?)))
            .collect();
        let hindrance = if alone { hindrances.values().next().copied() } else { None };
        let until_then = until_then.map(|remedy| &remedy.work);
        Candidate {
            id: SEND.to_owned(),
            kind: Kind::Send,
            minutes: self.situation.visit,
            minutes_saved: 0.0,
            exposures: until_then.map_or_else(Exposures::outside, |work| self.situation.exposures(work)),
            cautions: until_then.map(cautions).unwrap_or_default(),
            why: Reason::NothingElse(hindrance),
            then: Vec::new(),
        }
    }

    fn stop() -> Candidate {
        Candidate {
            id: STOP.to_owned(),
            kind: Kind::Stop,
            minutes: 1.0,
            minutes_saved: 0.0,
            exposures: Exposures::outside(),
            cautions: Vec::new(),
            why: Reason::Danger,
            then: Vec::new(),
        }
    }
}
