//! Invented cases for a demo store, for growth and for rehearsal: each drawn from the model like a simulated call, and
//! told the way a record tells it. Nothing is planned and nothing is believed, so that many are quick.
//!
//! Whoever asks here asks about as well as people do: mostly what bears on the fault, now and then something else. Customer
//! and teams are invented.

use jiff::{SignedDuration, Timestamp};

use super::book::Book;
use super::chance::{dice, mixed};
use super::record::is_run;
use super::score::Named;
use super::world::World;
use crate::casebook::{
    Case, CaseId, Closing, Entry, Event, Fills, Happened, Known, May, Moment, Opening, Person, Product,
    Reading, RemedyResult, What, Whereabouts,
};
use crate::ids::{CauseId, CheckId, MachineId, OutcomeId, PersonId, RemedyId};
use crate::knowledge::{Asks, Check, Knowledge};
use crate::walk::{Desk, DeskError};
use crate::weights::generate::{Dice, Recipe};
use crate::weights::pattern::Pattern;

/// Products of Larkmoor Seed Co-op, an invented packer.
const PRODUCTS: &[(&str, f64)] = &[
    ("sunflower kernels", 250.0),
    ("millet", 500.0),
    ("linseed", 250.0),
    ("dried mint", 50.0),
    ("pumpkin seed", 200.0),
    ("red lentils", 500.0),
    ("barley flakes", 400.0),
    ("caraway", 100.0),
];
/// Teams of Hob & Tansy, its invented service partner.
const TEAMS: &[&str] = &["north", "coast", "hills"];
/// Machines in the invented fleet.
const FLEET: usize = 1200;
/// Weeks over which cases are spread.
const WEEKS: usize = 26;
/// A call that cannot be told to its end is drawn again so often.
const DRAWS: usize = 20;
/// Of the questions asked, this share bears on what is wrong.
const TO_THE_POINT: f64 = 0.7;
/// Of all answers, this share is 'cannot tell'; of one check in ten, six in ten are.
const CANNOT_TELL: (f64, f64) = (0.08, 0.6);

/// A case that never was.
#[derive(Debug, Clone, PartialEq)]
pub struct Invented {
    /// Its id; by the day on which it begins.
    pub id: CaseId,
    /// When it begins.
    pub opened: Timestamp,
    /// Machine, product, people, complaint.
    pub head: Case,
    /// What happened, with its time, in order.
    pub entries: Vec<(Timestamp, Entry)>,
    /// What was behind the complaint.
    pub behind: Vec<CauseId>,
}

impl Invented {
    /// The case as it stands at its end.
    pub fn case(&self) -> Case {
        let mut case = self.head.clone();
        for (at, entry) in &self.entries {
            match entry {
                Entry::Event(event) => {
                    case.events.push(Event { at: Some(at.to_string()), ..event.clone() });
                }
                Entry::Close(closing) => case.closed = Some(*closing),
                Entry::Continue => case.closed = None,
                _ => {}
            }
        }
        case
    }
}

/// So many cases of a fleet, the oldest first; the last begins before `until`. Equal seeds give equal cases.
pub fn invent(
    knowledge: &Knowledge,
    cases: usize,
    seed: u64,
    until: Timestamp,
) -> Result<Vec<Invented>, DeskError> {
    let desks: Vec<Desk<'_>> = knowledge
        .machines
        .keys()
        .map(|id| Desk::for_case(knowledge, &Case::of(id.clone())))
        .collect::<Result<_, _>>()?;
    let books: Vec<Book<'_, '_>> = desks.iter().map(Book::new).collect();
    let mut starts: Vec<Timestamp> = (0..cases).map(|number| start(seed, number as u64, until)).collect();
    starts.sort_unstable();
    let mut invented = Vec::with_capacity(cases);
    let mut today = (jiff::civil::Date::ZERO, 0);
    for (number, opened) in starts.into_iter().enumerate() {
        let serial = dice(seed, "serial", number as u64).below(FLEET);
        let Some(book) = books.get(serial % books.len().max(1)) else { break };
        let luck = mixed(seed, number as u64);
        let Some(world) = World::called_about(&book.desk.model.network, &book.symptoms, luck) else {
            continue;
        };
        let day = opened.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
        today = if today.0 == day { (day, today.1 + 1) } else { (day, 1) };
        let mut told = Telling::new(book, world, opened, serial);
        told.tell();
        invented.push(told.ended(CaseId::of_day(day, today.1), opened));
    }
    Ok(invented)
}

/// What people of the invented fleet looked for in vain, each with its time.
const LOOKED_FOR: &[&str] = &[
    "metal detector beeps",
    "label printer ribbon",
    "shrink tunnel too cold",
    "pallet wrapper film snaps",
    "robot arm homing",
];

/// Invented searches that found nothing.
pub fn searches(number: usize, seed: u64, until: Timestamp) -> Vec<(Timestamp, &'static str)> {
    let one = |n: usize| {
        let words = LOOKED_FOR[dice(seed, "looked for", n as u64).below(LOOKED_FOR.len())];
        (start(seed ^ 0x005e_a2c4, n as u64, until), words)
    };
    let mut all: Vec<_> = (0..number).map(one).collect();
    all.sort_unstable();
    all
}

/// So many calls of one machine for judging the belief alone: the complaint, a handful of answers, and then the remedy of a
/// cause that was behind it, as proved. Calls whose faults no remedy of the book puts right are drawn again, so that
/// there may be fewer where hardly any has one.
pub fn calls(
    knowledge: &Knowledge,
    machine: &MachineId,
    calls: usize,
    seed: u64,
) -> Result<Vec<Named>, DeskError> {
    let desk = Desk::for_case(knowledge, &Case::of(machine.clone()))?;
    let book = Book::new(&desk);
    let worlds = (0..calls.saturating_mul(DRAWS) as u64)
        .filter_map(|number| World::called_about(&desk.model.network, &book.symptoms, mixed(seed, number)));
    let told = worlds.filter_map(|world| {
        let opened = Timestamp::UNIX_EPOCH;
        let mut told = Telling::new(&book, world, opened, 0);
        told.complain();
        told.ask();
        let cures = told.right();
        let cure = *cures.get(told.dice.below(cures.len().max(1)))?;
        told.remedy(&book.remedies[cure].id.clone(), RemedyResult::ProvedGone);
        told.mark(Entry::Close(Closing::Cured));
        Some(told.ended(CaseId::of_day(jiff::civil::Date::ZERO, 1), opened).case())
    });
    let named = |(number, case)| Named { name: format!("{machine}-{}", number + 1), case };
    Ok(told.take(calls).enumerate().map(named).collect())
}

/// From nought up to, not including, `n`.
fn below(dice: &mut Dice, n: usize) -> i64 {
    i64::try_from(dice.below(n)).unwrap_or(0)
}

/// On a working day, in working hours.
fn start(seed: u64, number: u64, until: Timestamp) -> Timestamp {
    let mut dice = dice(seed, "start", number);
    let back = SignedDuration::from_hours(24 * below(&mut dice, 7 * WEEKS) + 1);
    let minutes = SignedDuration::from_mins(below(&mut dice, 480));
    until.checked_sub(back).and_then(|at| at.checked_sub(minutes)).unwrap_or(until)
}

/// A case while it is told.
struct Telling<'b, 'd, 'k> {
    book: &'b Book<'d, 'k>,
    world: World<'d>,
    dice: Dice,
    now: Timestamp,
    head: Case,
    entries: Vec<(Timestamp, Entry)>,
    behind: Vec<CauseId>,
    target: f64,
    /// Whether somebody from the service is at the machine.
    on_site: bool,
    remedies: u64,
}

impl<'b, 'd, 'k> Telling<'b, 'd, 'k> {
    fn new(book: &'b Book<'d, 'k>, world: World<'d>, opened: Timestamp, serial: usize) -> Self {
        let mut dice = dice(world.seed(), "telling", 0);
        let (product, target) = PRODUCTS[dice.below(PRODUCTS.len())];
        let machine: MachineId = book.desk.view.machine.id.clone();
        let may = if dice.chance(0.7) { [May::Isolate].into() } else { std::collections::BTreeSet::new() };
        let person = |id: &str, at, may| Person {
            id: PersonId::from(id),
            at,
            may,
            has: std::collections::BTreeSet::new(),
        };
        let caller = person("caller", Whereabouts::Machine, may);
        let tech = person("tech", Whereabouts::Phone, std::collections::BTreeSet::new());
        let mut head = Case::of(machine);
        head.team = Some(TEAMS[serial % TEAMS.len()].to_owned());
        head.product = Some(Product { name: Some(product.to_owned()), ..Product::default() });
        head.people = vec![caller, tech];
        head.opening = Opening {
            danger: Some("none".to_owned()),
            serial: Some(format!("L{:04}", 1000 + serial)),
            ..Opening::default()
        };
        head.scale.sealed = if dice.chance(0.5) { Known::No } else { Known::Unknown };
        let said: Vec<&str> =
            world.named.iter().filter_map(|&finding| said(book, finding, &mut dice)).collect();
        head.complaint = (!said.is_empty()).then(|| said.join(", and "));
        let behind = world.behind();
        let name = |cause: usize| book.desk.model.causes.get(cause).cloned();
        Self {
            behind: behind.into_iter().filter_map(name).collect(),
            book,
            world,
            dice,
            now: opened,
            head,
            entries: Vec::new(),
            target,
            on_site: false,
            remedies: 0,
        }
    }

    fn later(&mut self, most: usize) {
        let minutes = SignedDuration::from_mins(1 + below(&mut self.dice, most.max(1)));
        self.now = self.now.checked_add(minutes).unwrap_or(self.now);
    }

    fn event(&mut self, what: What) {
        self.later(6);
        let by = PersonId::from(if self.on_site { "tech" } else { "caller" });
        let event = Event { at: Some(self.now.to_string()), by: Some(by), what };
        self.entries.push((self.now, Entry::Event(event)));
    }

    fn mark(&mut self, entry: Entry) {
        self.later(3);
        self.entries.push((self.now, entry));
    }

    fn ended(self, id: CaseId, opened: Timestamp) -> Invented {
        Invented { id, opened, head: self.head, entries: self.entries, behind: self.behind }
    }

    fn complain(&mut self) {
        let complaint = self.book.desk.view.checks.iter().find(|check| matches!(check.asks, Asks::Complaint));
        if let Some(complaint) = complaint.map(|check| check.id.clone()) {
            for finding in self.world.named.clone() {
                let symptom = OutcomeId::from(self.book.finding(finding).as_str());
                self.reading(&complaint, Reading::Outcome(symptom));
            }
        }
    }

    fn tell(&mut self) {
        self.complain();
        self.ask();
        let remedies = self.right();
        if remedies.is_empty() || self.dice.chance(0.06) {
            // Nobody found it.
            let left = if self.dice.chance(0.5) { Closing::LeftOpen } else { Closing::SentSomebody };
            return self.mark(Entry::Close(left));
        }
        let visits = match self.dice.even() {
            p if p < 0.58 => 0,
            p if p < 0.90 => 1,
            _ => 2,
        };
        for visit in 0..visits {
            self.visit();
            if visit + 1 < visits {
                self.wrong();
            }
        }
        if self.dice.chance(0.2) {
            self.wrong();
        }
        self.cure(&remedies);
    }

    /// Circumstances, a run of fills, and checks.
    fn ask(&mut self) {
        let known = self.book.desk.model.circumstances.len();
        for _ in 0..self.dice.below(3) {
            if known > 0 {
                let index = self.dice.below(known);
                let happened = self.world.happened[index];
                let id = self.book.desk.model.circumstances[index].clone();
                let answer = if happened { Happened::Happened } else { Happened::DidNot };
                self.event(What::Circumstance { id, answer });
            }
        }
        let run = self.book.checks.iter().position(|asked| is_run(asked.entry));
        if let Some(run) = run.filter(|_| self.dice.chance(0.6)) {
            self.weigh(run);
        }
        for _ in 0..2 + self.dice.below(4) {
            self.check();
        }
    }

    /// One check with an outcome: mostly one that bears on what is wrong.
    fn check(&mut self) {
        let to_the_point = self.dice.chance(TO_THE_POINT);
        let there = self.world.awake();
        let book = self.book;
        let fits = |check: &Check, findings: &[usize]| {
            let outcomes =
                matches!(check.asks, Asks::Choice | Asks::Quantity(_)) && !check.outcomes.is_empty();
            outcomes && (!to_the_point || findings.iter().any(|&finding| there[finding] > 0))
        };
        let wanted: Vec<usize> = (0..book.checks.len())
            .filter(|&place| fits(book.checks[place].entry, &book.checks[place].table.findings))
            .collect();
        if wanted.is_empty() {
            return;
        }
        let place = wanted[self.dice.below(wanted.len())];
        let asked = &book.checks[place];
        let id = asked.entry.id.clone();
        let hard = dice(7, id.as_str(), 0).chance(0.1);
        if self.dice.chance(if hard { CANNOT_TELL.1 } else { CANNOT_TELL.0 }) {
            return self.reading(&id, Reading::CannotTell);
        }
        let (outcome, _) = self.world.answer(&asked.table, id.as_str(), self.remedies);
        if let Some(known) = asked.entry.outcomes.get(outcome) {
            self.reading(&id, Reading::Outcome(known.id.value.clone()));
        }
    }

    fn reading(&mut self, check: &CheckId, reading: Reading) {
        self.event(What::Reading { check: check.clone(), reading, moment: Moment::Bad });
    }

    /// A run of fills with the patterns that are there.
    fn weigh(&mut self, run: usize) {
        let states = self.world.awake();
        let model = &self.book.desk.model;
        let shows = |pattern: &Pattern| {
            model.patterns.get(pattern.name()).is_some_and(|&finding| states[finding] > 0)
        };
        let patterns: Vec<Pattern> = Pattern::ALL.iter().copied().filter(shows).collect();
        let machine = &self.book.desk.view.machine;
        let mut recipe = Recipe::in_order(10, self.target, machine.usual_spread).with(&patterns, 4.0);
        recipe.division = Some(machine.division);
        let values = recipe.make(&mut self.dice);
        let fills = Fills { unit: "g".to_owned(), target: self.target, values, ..Fills::default() };
        let check = self.book.checks[run].entry.id.clone();
        self.reading(&check, Reading::Fills(fills));
    }

    /// A remedy of each cause behind it that has one, by number.
    fn right(&mut self) -> Vec<usize> {
        let mut chosen = Vec::new();
        for cause in self.world.behind() {
            let own: Vec<usize> = (0..self.book.remedies.len())
                .filter(|&remedy| {
                    self.book.cured_by(remedy) == cause && !self.book.remedies[remedy].hands_over
                })
                .collect();
            if own.is_empty() {
                return Vec::new();
            }
            chosen.push(own[self.dice.below(own.len())]);
        }
        chosen
    }

    /// Somebody is sent and goes on there the next day.
    fn visit(&mut self) {
        self.mark(Entry::Close(Closing::SentSomebody));
        self.now = self.now.checked_add(SignedDuration::from_hours(18)).unwrap_or(self.now);
        self.mark(Entry::Continue);
        self.on_site = true;
        self.check();
    }

    /// A remedy that is beside the point.
    fn wrong(&mut self) {
        let place = self.dice.below(self.book.remedies.len().max(1));
        let Some(remedy) = self.book.remedies.get(place) else { return };
        if !self.world.behind().contains(&self.book.cured_by(place)) {
            let id = remedy.id.clone();
            self.remedy(&id, RemedyResult::StillThere);
        }
    }

    fn remedy(&mut self, id: &RemedyId, result: RemedyResult) {
        self.later(25);
        self.event(What::Remedy { id: id.clone(), result });
        self.remedies += 1;
    }

    fn cure(&mut self, remedies: &[usize]) {
        for (place, &remedy) in remedies.iter().enumerate() {
            let id = self.book.remedies[remedy].id.clone();
            if place + 1 < remedies.len() {
                self.remedy(&id, RemedyResult::StillThere);
                continue;
            }
            let proved = self.dice.chance(0.75);
            self.remedy(&id, if proved { RemedyResult::ProvedGone } else { RemedyResult::GoneNotProved });
            if proved {
                self.proof();
            }
            self.mark(Entry::Close(if proved { Closing::Cured } else { Closing::GoneNotProved }));
        }
    }

    /// The run that proves it: nothing unusual in it.
    fn proof(&mut self) {
        let machine = &self.book.desk.view.machine;
        let mut recipe = Recipe::in_order(10, self.target, machine.usual_spread);
        recipe.division = Some(machine.division);
        let values = recipe.make(&mut self.dice);
        let fills = Fills { unit: "g".to_owned(), target: self.target, values, ..Fills::default() };
        if let Some(run) = self.book.checks.iter().find(|asked| is_run(asked.entry)) {
            let check = run.entry.id.clone();
            self.reading(&check, Reading::Fills(fills));
        }
    }
}

/// How a caller says a symptom.
fn said<'k>(book: &Book<'_, 'k>, finding: usize, dice: &mut Dice) -> Option<&'k str> {
    let head = &book.desk.view.findings.get(finding)?.head;
    let all = &head.said;
    Some(if all.is_empty() { head.title.as_str() } else { all[dice.below(all.len())].as_str() })
}
