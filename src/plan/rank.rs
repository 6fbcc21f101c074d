//! Ranks what could be done next.

use std::collections::{BTreeMap, BTreeSet};

use super::ahead::{self, Branch, Choice, Move, Weighed, choose};
use super::candidate::{Candidate, Kind, Plan, Reason, SEND, STOP, Then, cautions};
use super::circumstances;
use super::prospect::{Act, Enquiry, Prospect, Scenario};
use super::question::{Question, as_asked, outcome_names, unanswered};
use super::situation::{ASK, DESK, Hindrance, Lock, Situation};
use super::visit;
use crate::belief::{self, BeliefError, Outlook};
use crate::ids::{CauseId, CheckId, CircumstanceId, RemedyId};
use crate::knowledge::{Asks, Check, Remedy};
use crate::safety::{Exposure, Exposures};

/// Names the causes that a check helps to tell apart: at most so many.
const MOST_NAMED: usize = 3;
/// A check that is expected to save less than a minute does not go before a remedy.
const LEAST_SAVED: f64 = 1.0;
/// Before somebody is sent, whose way nobody makes twice, less is enough.
const LEAST_BEFORE_A_VISIT: f64 = 0.25;

struct Board<'a> {
    situation: &'a Situation<'a>,
    remedies: Vec<(&'a Remedy, Vec<CheckId>)>,
    questions: Vec<Question<'a>>,
    prospect: Prospect,
    choice: Choice,
}

/// Ranks everything that could be done next.
pub fn plan(situation: &Situation<'_>) -> Result<Plan, BeliefError> {
    let unanswered = unanswered(situation);
    let asked: Vec<belief::Check> =
        unanswered.iter().map(|check| as_asked(situation.model, situation.view, check)).collect();
    let complaint: Vec<usize> =
        situation.complaint.iter().filter_map(|f| situation.model.finding(f)).collect();
    let network = &situation.model.network;
    let outlook = belief::outlook(network, situation.evidence, situation.leading, &asked, &complaint)?;
    let (open, hindered): (Vec<_>, Vec<_>) = checks(situation, &unanswered, &outlook)
        .into_iter()
        .partition(|q| q.work.is_none_or(|w| situation.hindrance(&situation.exposures(w)).is_none()));
    let board = Board::new(situation, &outlook, open);
    let until_then = visit::until_then(situation, &board.prospect.scenarios);
    let mut next = board.ranked(until_then);
    let visit = (next[0].kind == Kind::Send).then(|| {
        let first = board.on_arrival(&hindered);
        visit::prepare(situation, &board.prospect.scenarios, first, until_then)
    });
    if situation.complaint.is_empty() || !situation.heard {
        next.splice(0..0, board.hear());
    }
    if situation.stop {
        next.insert(0, Board::stop());
    }
    let unasked = board.named(&board.choice.without_asking.0, &[]);
    Ok(Plan { next, minutes: board.choice.minutes, at_least: board.choice.at_least, unasked, visit })
}

/// What each check would answer in each scenario. One whose answers cannot be worked out now is not proposed.
fn checks<'b>(situation: &Situation<'_>, open: &[&'b Check], outlook: &[Outlook]) -> Vec<Question<'b>> {
    let voices = voices(situation, outlook);
    let chances = |place: usize| -> Vec<Vec<f64>> {
        let outcomes = outlook.first().map_or(0, |o| o.outcomes[place].len());
        let heard = |voices: &Voices, outcome: usize| -> f64 {
            voices.iter().map(|(other, share)| share * outlook[*other].outcomes[place][outcome]).sum()
        };
        voices.iter().map(|own| (0..outcomes).map(|outcome| heard(own, outcome)).collect()).collect()
    };
    let question = |(place, check): (usize, &&'b Check)| Question {
        id: check.id.as_str().to_owned(),
        work: Some(&check.work),
        minutes: situation.minutes(&check.work),
        outcomes: outcome_names(situation, check),
        asked: enquiry(situation, check, chances(place)),
    };
    let in_reach =
        |(place, _): &(usize, &&Check)| outlook.first().is_none_or(|o| !o.outcomes[*place].is_empty());
    open.iter().enumerate().filter(in_reach).map(question).collect()
}

/// Scenarios that speak for one, each with its share.
type Voices = Vec<(usize, f64)>;

/// Who says what would be answered in each scenario. That nothing in the book fits is learned on the way, never sought: for what
/// is not in the book speaks the scenario that is the same without it, or else all the others as they are likely.
fn voices(situation: &Situation<'_>, outlook: &[Outlook]) -> Vec<Voices> {
    let outside = situation.model.outside();
    let of = |place: usize| &outlook[place].combination;
    let known: Vec<usize> =
        (0..outlook.len()).filter(|&place| !of(place).causes.contains(&outside)).collect();
    let total: f64 = known.iter().map(|&place| of(place).probability).sum();
    let voices = |place: usize| {
        if known.contains(&place) || total <= 0.0 {
            return vec![(place, 1.0)];
        }
        let rest: Vec<usize> = of(place).causes.iter().copied().filter(|cause| *cause != outside).collect();
        let like = known.iter().find(|&&other| !rest.is_empty() && of(other).causes == rest);
        let all = || known.iter().map(|&other| (other, of(other).probability / total)).collect();
        like.map_or_else(all, |&like| vec![(like, 1.0)])
    };
    (0..outlook.len()).map(voices).collect()
}

fn enquiry(situation: &Situation<'_>, check: &Check, chances: Vec<Vec<f64>>) -> Enquiry {
    let exposures = situation.exposures(&check.work);
    Enquiry {
        minutes: situation.held_minutes(check),
        chances,
        lockout: exposures.needs_isolation().then_some(0),
        shuts: exposures.has(Exposure::Running),
    }
}

/// Questions about what happened before.
fn circumstances(situation: &Situation<'_>, scenarios: &[Scenario]) -> Vec<Question<'static>> {
    let model = situation.model;
    let given: Vec<Vec<f64>> =
        scenarios.iter().map(|s| circumstances::given_causes(model, situation.evidence, &s.causes)).collect();
    let question = |(index, id): (usize, &CircumstanceId)| Question {
        id: id.as_str().to_owned(),
        work: None,
        minutes: ASK,
        outcomes: vec!["happened".to_owned(), "did-not".to_owned()],
        asked: Enquiry {
            minutes: DESK * ASK,
            chances: given.iter().map(|all| circumstances::told(all[index])).collect(),
            lockout: None,
            shuts: false,
        },
    };
    let open = |id: &&CircumstanceId| !situation.asked.contains(*id);
    model.circumstances.iter().enumerate().filter(|(_, id)| open(id)).map(question).collect()
}

impl<'a> Board<'a> {
    fn new(situation: &'a Situation<'a>, outlook: &[Outlook], mut questions: Vec<Question<'a>>) -> Self {
        let scenario = |o: &Outlook| Scenario {
            causes: o.combination.causes.clone(),
            weight: o.combination.probability,
            gone: o.gone.clone(),
        };
        let scenarios: Vec<Scenario> = outlook.iter().map(scenario).collect();
        questions.extend(circumstances(situation, &scenarios));
        let (mut remedies, mut acts) = (Vec::new(), Vec::new());
        for &remedy in &situation.view.remedies {
            let Some(cause) = situation.model.cause(&remedy.cures.value) else { continue };
            let settled = situation.done.contains(&remedy.id) || remedy.hands_over;
            if settled || situation.remedy_hindrance(remedy).is_some() {
                continue;
            }
            let Some(gates) = situation.open_gates(remedy) else { continue };
            let lockout = situation.exposures(&remedy.work).needs_isolation();
            acts.push(Act {
                cures: vec![(cause, remedy.works)],
                minutes: situation.remedy_minutes(remedy, &gates),
                proof: situation.proof_minutes(remedy),
                undo: remedy.undo_minutes,
                weighty: !remedy.parts.is_empty() || !remedy.reversible,
                lockout: lockout.then_some(0),
            });
            remedies.push((remedy, gates));
        }
        let enquiries = questions.iter().map(|question| question.asked.clone()).collect();
        let prospect = situation.prospect(scenarios, acts, enquiries);
        let choice = choose(&prospect);
        Self { situation, remedies, questions, prospect, choice }
    }

    /// The best step, then questions by what they save, remedies, a visit, and what is not worth its minutes.
    fn ranked(&self, until_then: Option<&Remedy>) -> Vec<Candidate> {
        let mut asked: Vec<Candidate> =
            self.questions.iter().zip(&self.choice.questions).map(|(q, w)| self.question(q, w)).collect();
        asked.sort_by(|a, b| b.minutes_saved.total_cmp(&a.minutes_saved).then_with(|| a.id.cmp(&b.id)));
        let (act, minutes) = self.choice.without_asking.clone();
        let least = if act == Move::Call { LEAST_BEFORE_A_VISIT } else { LEAST_SAVED };
        let unworthy = asked.split_off(asked.iter().filter(|c| c.minutes_saved > least).count());
        let ask =
            asked.first().is_some_and(|best| self.choice.unasked - best.minutes_saved < minutes - least);
        let alone = act == Move::Call && !ask;
        let send = self.send(alone, until_then);
        let mut next: Vec<Candidate> = Vec::new();
        match act {
            _ if ask => next.extend(asked),
            Move::Do(batch) => next.extend(self.begin(&batch).into_iter().chain(asked)),
            _ => next.extend(std::iter::once(send.clone()).chain(asked)),
        }
        next.splice(0..0, self.while_locked());
        next.extend(self.remedies());
        next.push(send);
        next.extend(unworthy);
        let mut seen = BTreeSet::new();
        next.retain(|candidate| seen.insert(candidate.id.clone()));
        next
    }

    /// What is worth doing too while the lock is on, before anybody tries.
    fn while_locked(&self) -> Option<Candidate> {
        let (act, minutes_saved) =
            ahead::worth_doing_too(&self.prospect).filter(|_| self.situation.lock == Lock::Untried)?;
        let ready = self.remedies[act].1.is_empty() && minutes_saved > LEAST_SAVED;
        ready.then(|| Candidate { minutes_saved, why: Reason::WhileLocked, ..self.remedy(act, &[act]) })
    }

    /// How a batch begins: with the checks that its first remedy waits for, or with the remedy.
    fn begin(&self, batch: &[usize]) -> Vec<Candidate> {
        let Some(&first) = batch.first() else { return Vec::new() };
        let (remedy, gates) = &self.remedies[first];
        if gates.is_empty() {
            return vec![self.remedy(first, batch)];
        }
        let saved = self.choice.call - self.choice.minutes;
        let gate = |gate: &CheckId| {
            let place = self.questions.iter().position(|q| q.id == gate.as_str())?;
            let mut candidate = self.question(&self.questions[place], &self.choice.questions[place]);
            if candidate.minutes_saved <= LEAST_SAVED {
                candidate.minutes_saved = saved;
                candidate.why = Reason::NeededBefore(remedy.id.clone());
            }
            Some(candidate)
        };
        gates.iter().filter_map(gate).collect()
    }

    /// A question with what it saves against asking nothing more.
    fn question(&self, question: &Question<'_>, weighed: &Weighed) -> Candidate {
        let named = self.told_apart(question);
        let why = if question.work.is_some() { Reason::TellsApart(named) } else { Reason::Happened(named) };
        let work = question.work;
        Candidate {
            id: question.id.clone(),
            kind: Kind::Check,
            minutes: question.minutes,
            minutes_saved: self.choice.unasked - weighed.minutes,
            exposures: work.map_or_else(Exposures::outside, |w| self.situation.exposures(w)),
            cautions: work.map(cautions).unwrap_or_default(),
            why,
            with: Vec::new(),
            then: self.then(&question.outcomes, &weighed.branches, &[&question.id]),
        }
    }

    /// What follows each answer, two deep.
    fn then(&self, outcomes: &[String], branches: &[Branch], answered: &[&str]) -> Vec<Then> {
        let one = |(outcome, branch): (&String, &Branch)| {
            let (kind, next) = self.named(&branch.then, answered);
            let onward: Vec<String> = match &branch.then {
                Move::Ask(question) => self.questions[*question].outcomes.clone(),
                Move::Do(_) => vec!["gone".to_owned(), "still-there".to_owned()],
                Move::Call => Vec::new(),
            };
            let by_then: Vec<&str> = answered.iter().copied().chain([next.as_str()]).collect();
            let then = self.then(&onward, &branch.branches, &by_then);
            Then { outcome: outcome.clone(), probability: branch.probability, kind, next, then }
        };
        outcomes.iter().zip(branches).map(one).collect()
    }

    /// The step with which a move begins once these are answered: for acts the first gate of the first of them that no
    /// answer has opened, or the remedy.
    fn named(&self, then: &Move, answered: &[&str]) -> (Kind, String) {
        let first = match then {
            Move::Ask(question) => return (Kind::Check, self.questions[*question].id.clone()),
            Move::Do(acts) => acts.first(),
            Move::Call => None,
        };
        let Some((remedy, gates)) = first.map(|&act| &self.remedies[act]) else {
            return (Kind::Send, SEND.to_owned());
        };
        match gates.iter().find(|gate| !answered.contains(&gate.as_str())) {
            Some(gate) => (Kind::Check, gate.as_str().to_owned()),
            None => (Kind::Remedy, remedy.id.as_str().to_owned()),
        }
    }

    /// The causes whose probability moves most between the answers, likeliest first.
    fn told_apart(&self, question: &Question<'_>) -> Vec<CauseId> {
        let causes = self.situation.model.causes.len();
        let scenarios = &self.prospect.scenarios;
        let total: f64 = scenarios.iter().map(|s| s.weight).sum();
        let mass = self.masses(|_| 1.0);
        let mut moved = vec![0.0; causes];
        for place in 0..question.outcomes.len() {
            let weigh = |scenario: usize| question.asked.chances[scenario][place];
            let share: f64 =
                (0..scenarios.len()).map(|s| scenarios[s].weight * weigh(s)).sum::<f64>() / total;
            let own = self.masses(weigh);
            (0..causes).for_each(|cause| moved[cause] += (own[cause] - mass[cause] * share).abs() / total);
        }
        let mut named: Vec<usize> = (0..causes).filter(|&c| moved[c] > 0.01).collect();
        named.sort_by(|&a, &b| moved[b].total_cmp(&moved[a]).then(a.cmp(&b)));
        named.truncate(MOST_NAMED);
        named.sort_by(|&a, &b| mass[b].total_cmp(&mass[a]).then(a.cmp(&b)));
        named.into_iter().map(|c| self.situation.model.causes[c].clone()).collect()
    }

    /// For each cause the weight of the scenarios with it, each counted by a factor.
    fn masses(&self, factor: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut masses = vec![0.0; self.situation.model.network.causes().len()];
        for (place, scenario) in self.prospect.scenarios.iter().enumerate() {
            scenario.causes.iter().for_each(|&cause| masses[cause] += scenario.weight * factor(place));
        }
        masses
    }

    /// The checks that cannot be done from here, by what they would be worth on site.
    fn on_arrival(&self, hindered: &[Question<'_>]) -> Vec<CheckId> {
        let enquiries = hindered.iter().map(|question| question.asked.clone()).collect();
        let (scenarios, acts) = (self.prospect.scenarios.clone(), self.prospect.acts.clone());
        let worth = ahead::one_step_each(&self.situation.prospect(scenarios, acts, enquiries));
        let mut ranked: Vec<(f64, &str)> =
            worth.into_iter().zip(hindered.iter().map(|q| q.id.as_str())).collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(b.1)));
        ranked.into_iter().map(|(_, id)| CheckId::new(id)).collect()
    }

    /// Before anything is known of the complaint: hear what it is.
    fn hear(&self) -> Option<Candidate> {
        let check = self.situation.view.checks.iter().find(|c| matches!(c.asks, Asks::Complaint))?;
        let minutes_saved = self.situation.visit;
        Some(Candidate { minutes_saved, ..Candidate::unplanned(self.situation, check, Reason::Complaint) })
    }

    /// Remedies whose gates are shut, in the order of the course, then by what they help.
    fn remedies(&self) -> Vec<Candidate> {
        let acts = &self.prospect.acts;
        let chances: Vec<f64> = (0..acts.len()).map(|act| self.chance(act)).collect();
        let mut order: Vec<usize> = self.choice.course.iter().flatten().copied().collect();
        let mut others: Vec<usize> = (0..acts.len()).filter(|act| !order.contains(act)).collect();
        others.retain(|&act| chances[act] > 0.02 && !(acts[act].weighty && chances[act] < 0.5));
        others.sort_by(|&a, &b| {
            let ratio = |act: usize| chances[act] * self.remedies[act].0.works / self.minutes(act).max(0.01);
            ratio(b).total_cmp(&ratio(a)).then_with(|| self.remedies[a].0.id.cmp(&self.remedies[b].0.id))
        });
        order.extend(others);
        let ready = |act: &usize| self.remedies[*act].1.is_empty();
        order.into_iter().filter(ready).map(|act| self.remedy(act, &[act])).collect()
    }

    /// P(the cause of an act is there).
    fn chance(&self, act: usize) -> f64 {
        let (cause, _) = self.prospect.acts[act].cures[0];
        let scenarios = &self.prospect.scenarios;
        let with: f64 = scenarios.iter().filter(|s| s.causes.contains(&cause)).map(|s| s.weight).sum();
        with / scenarios.iter().map(|s| s.weight).sum::<f64>().max(f64::MIN_POSITIVE)
    }

    /// Minutes of an act alone, lockout and proof included.
    fn minutes(&self, act: usize) -> f64 {
        let own = &self.prospect.acts[act];
        let around = own.lockout.map_or(0.0, |_| self.situation.lockout_minutes());
        own.minutes + own.proof + around
    }

    /// A remedy, with those that are done in the same lockout before one proof.
    fn remedy(&self, act: usize, batch: &[usize]) -> Candidate {
        let (remedy, _) = &self.remedies[act];
        let weighed = self.choice.acts.iter().find(|w| w.first == Move::Do(batch.to_vec()));
        let minutes = weighed.map_or(self.choice.unasked, |w| w.minutes);
        let outcomes = ["gone".to_owned(), "still-there".to_owned()];
        let works = self.chance(act) * remedy.works;
        let unweighed = || {
            let branch = |probability| Branch { probability, then: Move::Call, branches: Vec::new() };
            vec![branch(works), branch(1.0 - works)]
        };
        let branches = weighed.map_or_else(unweighed, |w| w.branches.clone());
        let mut then = self.then(&outcomes, &branches, &[remedy.id.as_str()]);
        let proof = remedy.proved_by.value.as_str().to_owned();
        then.iter_mut().take(1).for_each(|gone| (gone.kind, gone.next) = (Kind::Check, proof.clone()));
        Candidate {
            id: remedy.id.as_str().to_owned(),
            kind: Kind::Remedy,
            minutes: self.minutes(act),
            minutes_saved: self.choice.call - minutes,
            exposures: self.situation.exposures(&remedy.work),
            cautions: cautions(&remedy.work),
            why: Reason::Cures(remedy.cures.value.clone(), self.chance(act)),
            with: batch.iter().skip(1).map(|&other| self.remedies[other].0.id.as_str().to_owned()).collect(),
            then,
        }
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
            with: Vec::new(),
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
            with: Vec::new(),
            then: Vec::new(),
        }
    }
}
