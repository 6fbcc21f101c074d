//! Draws a lesson up with the person who was there: what the case knows is filled in, the rest is asked, one thing at a
//! time. What happened, not who did it.

use super::asking::{self, clean, needed};
use super::lines::Lines;
use super::{Context, Result, memory};
use crate::casebook::{Case, CaseId};
use crate::ids::{FindingId, well_formed, words_of};
use crate::knowledge::edit::Scalar;
use crate::knowledge::{Cause, Change, Knowledge, Lesson, LessonKind, Texts, edit};
use crate::search::{Index, Kind};
use crate::view::entry::Entry;
use crate::view::{Block, Page, Words, lessons, words};

/// Kinds in the order in which people need them.
const KINDS: [LessonKind; 7] = [
    LessonKind::HappenedAgain,
    LessonKind::NewPhrase,
    LessonKind::NewCause,
    LessonKind::NewCheck,
    LessonKind::NumberOff,
    LessonKind::Safety,
    LessonKind::Wrong,
];
/// Words of a title that a new entry is named by.
const WORDS: usize = 7;
/// Entries offered for a person's words.
const MOST_OFFERED: usize = 6;

/// A lesson being told.
pub(super) struct Telling<'a, 'k> {
    pub(super) knowledge: &'k Knowledge,
    pub(super) index: Index,
    pub(super) lines: &'a mut Lines,
    pub(super) context: &'a mut Context,
}

/// What a case says of itself.
struct Facts<'k> {
    complaint: Option<String>,
    symptom: Option<FindingId>,
    cured: Option<(&'k Cause, String)>,
}

impl<'k> Facts<'k> {
    fn of(knowledge: &'k Knowledge, case: &Case) -> Self {
        let remedy = case.cured_by().and_then(|id| knowledge.remedies.get(id));
        let cured = remedy
            .and_then(|remedy| Some((knowledge.causes.get(&remedy.cures.value)?, remedy.head.title.clone())));
        let mut symptoms = memory::symptoms(case).into_iter().map(|id| FindingId::from(id.as_str()));
        Self {
            complaint: case.complaint.as_deref().and_then(clean),
            symptom: symptoms.find(|id| knowledge.findings.contains_key(id)),
            cured,
        }
    }
}

impl Telling<'_, '_> {
    /// The lesson but for its author.
    pub(super) fn draw_up(
        &mut self,
        kind: Option<LessonKind>,
        case: Option<&(CaseId, Case)>,
    ) -> Result<Lesson> {
        let facts = case.map(|(_, case)| Facts::of(self.knowledge, case));
        let mut page = Page::titled("A lesson");
        page.text("What happened and what it taught. What, not who.");
        if let Some((id, case)) = case {
            let complaint = facts.as_ref().and_then(|facts| facts.complaint.clone());
            page.text(format!("From case {id}, {}.", case.machine.as_str().replace('-', " ")));
            if let Some(complaint) = complaint {
                page.quote("Complaint", complaint);
            }
        }
        self.context.aside_or_page(&page)?;
        let kind = self.kind(kind, facts.as_ref())?;
        let machine = case.map(|(_, case)| case.machine.clone());
        let machine = machine.filter(|id| self.knowledge.machines.contains_key(id));
        let mut lesson = Lesson {
            title: String::new(),
            told: String::new(),
            kind,
            machine,
            bears_on: Vec::new(),
            again: None,
            by: String::new(),
            recorded: String::new(),
            cases: None,
            changes: Vec::new(),
            read_by: None,
            accepted: None,
            replaced_by: None,
        };
        match kind {
            LessonKind::HappenedAgain => self.again(&mut lesson, facts.as_ref())?,
            LessonKind::NewPhrase => self.phrase(&mut lesson, facts.as_ref())?,
            LessonKind::NewCause => self.cause(&mut lesson, facts.as_ref())?,
            LessonKind::NumberOff => self.number(&mut lesson)?,
            LessonKind::NewCheck => {
                lesson.title = needed(self.lines, self.context, "What would you check? One line.")?;
                self.about(&mut lesson, "What does it tell? An entry by its words, or Enter.")?;
                lesson.told =
                    needed(self.lines, self.context, "How is it done, and what does each answer mean?")?;
            }
            LessonKind::Safety => {
                lesson.title = needed(self.lines, self.context, "What is the danger? One line.")?;
                self.about(&mut lesson, "Where? An entry by its words, or Enter.")?;
                lesson.told =
                    needed(self.lines, self.context, "What happened, and what should be said before?")?;
            }
            LessonKind::Wrong => {
                self.about(&mut lesson, "Which entry is wrong? By its words.")?;
                lesson.title = needed(self.lines, self.context, "What is wrong? One line.")?;
                lesson.told = needed(self.lines, self.context, "How is it really, and how do you know?")?;
            }
        }
        Ok(lesson)
    }

    /// One more line from the person; Enter takes what is offered.
    fn asked(&mut self, question: &str, offered: Option<&str>) -> Result<String> {
        let Some(offered) = offered else { return needed(self.lines, self.context, question) };
        let mut page = Page::default();
        page.text(question);
        page.text(format!("Enter takes: “{offered}”"));
        self.context.aside_or_page(&page)?;
        Ok(clean(&asking::line(self.lines, self.context)?).unwrap_or_else(|| offered.to_owned()))
    }

    fn kind(&mut self, given: Option<LessonKind>, facts: Option<&Facts<'_>>) -> Result<LessonKind> {
        if let Some(given) = given {
            return Ok(given);
        }
        let cured = facts.is_some_and(|facts| facts.cured.is_some());
        let mut page = Page::default();
        page.text("What kind of lesson is it?");
        page.push(Block::Numbered(
            KINDS.iter().map(|kind| words::sentence_start(&kind.to_string()).into()).collect(),
        ));
        page.hint(if cured { "Type its number; Enter for 1." } else { "Type its number." });
        let enter = cured.then_some(KINDS[0]);
        asking::number(self.lines, self.context, (&page, KINDS.len()), enter, |place| KINDS[place])
    }

    /// One of a list, by its place; none for Enter.
    fn one_of(&mut self, mut page: Page, titles: Vec<Words>) -> Result<Option<usize>> {
        let count = titles.len();
        page.push(Block::Numbered(titles));
        page.hint("Type its number; Enter for none of them.");
        asking::number(self.lines, self.context, (&page, count), Some(None), Some)
    }

    fn again(&mut self, lesson: &mut Lesson, facts: Option<&Facts<'_>>) -> Result<()> {
        if let Some((cause, remedy)) = facts.and_then(|facts| facts.cured.as_ref()) {
            lesson.bears_on = vec![format!("causes/{}", cause.id)];
            lesson.title = format!("Again: {}", cause.head.title);
            let told = format!("Cured by: {remedy}.");
            lesson.told = self.asked("What should the next one know?", Some(&told))?;
            return Ok(());
        }
        self.about(lesson, "What happened again? An entry by its words.")?;
        lesson.title = self.asked(
            "In one line?",
            lesson.bears_on.first().cloned().map(|id| format!("Again: {id}")).as_deref(),
        )?;
        lesson.told = needed(self.lines, self.context, "What should the next one know?")?;
        Ok(())
    }

    fn phrase(&mut self, lesson: &mut Lesson, facts: Option<&Facts<'_>>) -> Result<()> {
        let complaint = facts.and_then(|facts| facts.complaint.as_deref());
        let said = self.asked("How did the caller say it?", complaint)?;
        let symptom = match facts.and_then(|facts| facts.symptom.clone()) {
            Some(symptom) => Some(format!("symptoms/{symptom}")),
            None => {
                self.chosen("What did they mean? A symptom by its words.", &[Kind::Symptom, Kind::Condition])?
            }
        };
        lesson.title = format!("A caller says: {said}");
        lesson.told = format!("The caller said “{said}”.");
        if let Some(entry) = symptom {
            let change = Change::Add {
                file: format!("{entry}.yaml"),
                place: "said".to_owned(),
                adds: Scalar::Text(said),
            };
            lesson.bears_on = vec![entry];
            lesson.changes = vec![change];
        }
        Ok(())
    }

    fn cause(&mut self, lesson: &mut Lesson, facts: Option<&Facts<'_>>) -> Result<()> {
        let title = needed(self.lines, self.context, "What was it? One line that names the cause.")?;
        let symptom = match facts.and_then(|facts| facts.symptom.clone()) {
            Some(symptom) => Some(format!("symptoms/{symptom}")),
            None => self.chosen(
                "What did it bring about? A symptom by its words.",
                &[Kind::Symptom, Kind::Condition],
            )?,
        };
        lesson.told = needed(self.lines, self.context, "How did you find it, and what put it right?")?;
        lesson.title.clone_from(&title);
        let slug = words_of(&title).take(WORDS).collect::<Vec<_>>().join("-");
        let (Some(entry), Some(machine)) = (symptom, lesson.machine.clone()) else { return Ok(()) };
        let Some((_, finding)) = entry.split_once('/') else { return Ok(()) };
        if !well_formed(&slug) || self.knowledge.causes.contains_key(slug.as_str()) {
            return Ok(());
        }
        let plain = format!(
            "title: x\nmachines: {{{machine}: rare}}\nleads_to:\n  - {{finding: {finding}, strength: often}}\n"
        );
        let place = edit::Place::parse("title");
        let whole = place.and_then(|place| edit::set(&plain, &place, &Scalar::Text(title)).ok());
        if let Some(whole) = whole {
            let basis = "basis: {text: one visit; see the lesson, from: judgement}\n";
            lesson.changes = vec![Change::File { file: format!("causes/{slug}.yaml"), whole: whole + basis }];
            lesson.bears_on = vec![entry];
        }
        Ok(())
    }

    /// Which number of which entry, and what it should be.
    fn number(&mut self, lesson: &mut Lesson) -> Result<()> {
        let texts: Texts = self.context.texts();
        let kinds = [Kind::Cause, Kind::Check, Kind::Condition, Kind::Symptom, Kind::Remedy];
        let entry = self.chosen("Which entry has the number? By its words.", &kinds)?;
        let file = entry.as_ref().map(|entry| format!("{entry}.yaml"));
        let places = file.as_ref().and_then(|file| texts.text(file)).map(edit::numbers).unwrap_or_default();
        let found = if places.is_empty() {
            None
        } else {
            let mut page = Page::default();
            page.text("Which number is off?");
            let title = |(place, now): &(edit::Place, Scalar)| {
                format!("{}: {now}", lessons::place(self.knowledge, place)).into()
            };
            let titles = places.iter().map(title).collect();
            self.one_of(page, titles)?.and_then(|place| places.get(place)).cloned()
        };
        lesson.bears_on = entry.iter().cloned().collect();
        let (Some(entry), Some(file), Some((place, was))) = (entry, file, found) else {
            lesson.title = needed(self.lines, self.context, "Which number is off, in one line?")?;
            lesson.told = needed(self.lines, self.context, "What should it be, and how do you know?")?;
            return Ok(());
        };
        let to = needed(
            self.lines,
            self.context,
            &format!("It says {was}. What should it be? A number or a word."),
        )?;
        let to = to.replace(',', ".").parse::<f64>().map_or(Scalar::Text(to), Scalar::Number);
        let name = entry.split_once('/').map_or(entry.as_str(), |(_, id)| id).replace('-', " ");
        lesson.title = format!(
            "{}, {}: {to}, not {was}",
            words::sentence_start(&name),
            lessons::place(self.knowledge, &place)
        );
        lesson.told = needed(self.lines, self.context, "How do you know?")?;
        lesson.changes = vec![Change::Set { file, place: place.to_string(), was: Some(was), to }];
        Ok(())
    }

    fn about(&mut self, lesson: &mut Lesson, question: &str) -> Result<()> {
        let all: Vec<Kind> = Kind::ALL
            .iter()
            .copied()
            .filter(|kind| !matches!(kind, Kind::Setting | Kind::Sign | Kind::Lesson))
            .collect();
        lesson.bears_on = self.chosen(question, &all)?.into_iter().collect();
        Ok(())
    }

    /// An entry by a person's words, as `causes/pan-touching`; none when nothing was meant.
    fn chosen(&mut self, question: &str, kinds: &[Kind]) -> Result<Option<String>> {
        self.context.say(question)?;
        let Some(words) = clean(&asking::line(self.lines, self.context)?) else { return Ok(None) };
        let named = Entry::named(self.knowledge, &words).into_iter();
        let folder = |kind: &str| match kind {
            "remedy" => "remedies".to_owned(),
            kind => format!("{kind}s"),
        };
        let mut found: Vec<(String, String)> = named
            .filter(|entry| kinds.iter().any(|kind| kind.as_str() == entry.kind()))
            .map(|entry| (format!("{}/{}", folder(entry.kind()), entry.id()), entry.title().to_owned()))
            .collect();
        if found.is_empty() {
            let hits = self.index.find(&words, 60).map_err(|e| super::find::unusable(&e))?;
            let hits = hits.into_iter().filter(|hit| kinds.contains(&hit.kind)).take(MOST_OFFERED);
            found =
                hits.map(|hit| (format!("{}/{}", folder(hit.kind.as_str()), hit.id), hit.title)).collect();
        }
        if let [(id, title)] = &found[..] {
            self.context.say(&format!("That is: {title}."))?;
            return Ok(Some(id.clone()));
        }
        if found.is_empty() {
            self.context.say("Nothing in the knowledge fits these words; the lesson goes on without.")?;
            return Ok(None);
        }
        let titles = found.iter().map(|(_, title)| title.as_str().into()).collect();
        let place = self.one_of(Page::default(), titles)?;
        Ok(place.and_then(|place| found.get(place)).map(|(id, _)| id.clone()))
    }
}
