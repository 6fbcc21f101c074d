//! Reading a case file: its form, its names and its answers, every problem in one run, each at its place.
//!
//! People's own words are made harmless and kept; everything else is held as strictly as knowledge is.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::figures;
use super::fit::{self, Names};
use super::form;
use super::model::{
    Case, Closing, Expect, FORMAT, KnowledgeMark, Known, May, Opening, Person, Product, ScaleFacts, Visit,
    Whereabouts,
};
use super::read_event;
use crate::diag::{self, Code, Diagnostic, Severity, Sources, Span};
use crate::ids::{MachineId, OptionId, ToolId};
use crate::knowledge::yaml::{self, Node};
use crate::knowledge::{At, Fields, Knowledge, Reader, typed};
use crate::safety::ScaleSupply;
use crate::units::{Kind, Quantity, Unit, UnitError};

/// Keys under which people's own words stand.
const FREE_TEXT: &[&str] = &[
    "name",
    "allergen",
    "opening",
    "complaint",
    "note",
    "old",
    "new",
    "instrument",
    "lanes",
    "times",
    "settings",
];

const SUPPLIES: &[(&str, ScaleSupply)] = &[
    ("separate", ScaleSupply::Separate),
    ("shared", ScaleSupply::Shared),
    ("unknown", ScaleSupply::Unknown),
];
const KNOWN: &[(&str, Known)] = &[("yes", Known::Yes), ("no", Known::No), ("unknown", Known::Unknown)];
const WHEREABOUTS: &[(&str, Whereabouts)] =
    &[("machine", Whereabouts::Machine), ("phone", Whereabouts::Phone), ("desk", Whereabouts::Desk)];
const MAY: &[(&str, May)] = &[("isolate", May::Isolate), ("electrical", May::Electrical)];
const MARKETS: &[(&str, &str)] = &[("eu", "eu"), ("us", "us"), ("other", "other"), ("unknown", "unknown")];
const CLOSINGS: &[(&str, Closing)] = &[
    ("cured", Closing::Cured),
    ("gone-not-proved", Closing::GoneNotProved),
    ("sent-somebody", Closing::SentSomebody),
    ("left-open", Closing::LeftOpen),
];

/// A case that was read.
#[derive(Debug, Clone)]
pub struct Read {
    /// The case, under present names.
    pub case: Case,
    /// What a careful reader is told all the same; warnings only.
    pub remarks: Vec<Diagnostic>,
    /// The text that the remarks point into.
    pub sources: Sources,
}

/// Why a case was refused.
#[derive(Debug, Clone)]
pub struct Refused {
    /// Every problem, in order of place; at least one error.
    pub problems: Vec<Diagnostic>,
    /// The text that they point into.
    pub sources: Sources,
}

/// Reads a case file. `name` is what the file is called in messages.
///
/// A case whose `knowledge` head differs from this knowledge keeps an event that no longer fits as a remark.
pub fn read(text: &str, name: &str, knowledge: &Knowledge) -> Result<Read, Refused> {
    let mut sources = Sources::default();
    let file = sources.add(diag::harmless(name), yaml::veiled(text));
    let (case, mut problems) = match yaml::parse_of_people(&sources, file, FREE_TEXT) {
        Err(problem) => (None, vec![problem]),
        Ok(node) => {
            let mut reading = Reading::new(Reader::new(&sources, &knowledge.scale), knowledge);
            let case = reading.case(&node);
            (case, reading.reader.problems)
        }
    };
    diag::in_order(&mut problems);
    match case {
        Some(case) if !diag::has_errors(&problems) => Ok(Read { case, remarks: problems, sources }),
        _ => Err(Refused { problems, sources }),
    }
}

/// Reads a case file from disk; a file that cannot be read is refused like one that cannot be understood.
pub fn read_path(path: &Path, knowledge: &Knowledge) -> Result<Read, Refused> {
    let name = path.display().to_string();
    yaml::read_text(path)
        .map_err(|error| unreadable(&name, &error))
        .and_then(|text| read(&text, &name, knowledge))
}

fn unreadable(name: &str, error: &str) -> Refused {
    let mut sources = Sources::default();
    let file = sources.add(diag::harmless(name), "");
    let message = format!("cannot be read: {error}");
    let problem = Diagnostic::error(Code::Unreadable, Span { file, start: 0, end: 0 }, message);
    Refused { problems: vec![problem], sources }
}

/// What reading one case needs at hand.
pub(super) struct Reading<'a> {
    pub(super) reader: Reader<'a>,
    pub(super) names: Names<'a>,
    /// Whether what no longer fits is kept as a remark.
    pub(super) lenient: bool,
}

impl<'a> Reading<'a> {
    fn new(reader: Reader<'a>, knowledge: &'a Knowledge) -> Self {
        Self { reader, names: Names { knowledge, machine: None }, lenient: false }
    }

    fn case(&mut self, node: &Node) -> Option<Case> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        if !self.format(&mut fields) {
            return None;
        }
        let mark = fields.get("knowledge").and_then(|node| self.mark(node));
        self.lenient = mark.as_ref().is_some_and(|mark| fit::made_with_another(mark, self.names.knowledge));
        let machine = self.machine(&mut fields);
        let fitted = fields.get("fitted").map(|node| self.fitted(node));
        let scale = fields.get("scale").and_then(|node| self.scale(node)).unwrap_or_default();
        let team = fields.get("team").and_then(|node| self.reader.id(node)).map(|id| id.value);
        let market = fields.get("market").and_then(|node| self.reader.choice(node, MARKETS));
        let product = fields.get("product").and_then(|node| self.product(node));
        let people = fields.list(&mut self.reader, "people");
        let people = self.people(people);
        let visit = fields.get("visit").and_then(|node| self.visit(node));
        let opening = fields.get("opening").and_then(|node| self.opening(node)).unwrap_or_default();
        let complaint = fields.maybe_text(&mut self.reader, "complaint");
        let nodes = fields.list(&mut self.reader, "events");
        let events = nodes.iter().filter_map(|node| read_event::event(self, node, &people)).collect();
        let expect = fields.get("expect").and_then(|node| self.expect(node));
        let closed = fields.get("closed").and_then(|node| self.reader.choice(node, CLOSINGS));
        fields.close(&mut self.reader);
        Some(Case {
            knowledge: mark,
            machine: machine?,
            fitted,
            scale,
            team,
            market: market.map(str::to_owned),
            product,
            people,
            visit,
            opening,
            complaint,
            events,
            expect,
            closed,
        })
    }

    /// Whether to go on: of a format that this program does not read, nothing else is worth saying.
    fn format(&mut self, fields: &mut Fields<'_>) -> bool {
        let Some(node) = fields.get("format") else {
            let message = format!("'format' is missing; a case file begins with `format: {FORMAT}`");
            self.reader.push(Diagnostic::error(Code::MissingKey, fields.span, message));
            return true;
        };
        let Some(text) = self.reader.text(node) else { return true };
        if text == FORMAT {
            return true;
        }
        let message = format!("'{text}' is not a format that this program reads; it reads {FORMAT}");
        let newer = text.starts_with("handlamp-case/").then(|| "a newer program may read it".to_owned());
        self.reader.push(Diagnostic::error(Code::UnknownFormat, node.span, message).help(newer));
        false
    }

    fn mark(&mut self, node: &Node) -> Option<KnowledgeMark> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let version = fields.text(&mut self.reader, "version");
        let hash = fields.maybe_text(&mut self.reader, "hash");
        fields.close(&mut self.reader);
        Some(KnowledgeMark { version: version?, hash })
    }

    fn machine(&mut self, fields: &mut Fields<'_>) -> Option<MachineId> {
        let id = fields.id::<MachineId>(&mut self.reader, "machine")?;
        match self.names.machine(&id.value) {
            Ok(now) => {
                self.names.machine = self.names.knowledge.machines.get(&now);
                Some(now)
            }
            Err(fault) => {
                self.reader.push(at(&fault, id.span));
                None
            }
        }
    }

    fn fitted(&mut self, node: &Node) -> BTreeSet<OptionId> {
        let mut options = BTreeSet::new();
        for node in self.reader.list(node).unwrap_or(&[]) {
            let Some(id) = self.reader.id(node).map(typed::<OptionId>) else { continue };
            match self.names.option(&id.value) {
                Ok(()) => {
                    options.insert(id.value);
                }
                Err(fault) => {
                    let severity = if self.lenient { Severity::Warning } else { Severity::Error };
                    self.reader.push(Diagnostic { severity, ..at(&fault, id.span) });
                }
            }
        }
        options
    }

    fn scale(&mut self, node: &Node) -> Option<ScaleFacts> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let sealed = fields.get("sealed").and_then(|node| self.reader.choice(node, KNOWN));
        let supply = fields.get("supply").and_then(|node| self.reader.choice(node, SUPPLIES));
        let division = fields.get("division").and_then(|node| self.reader.positive(node, Kind::Mass));
        fields.close(&mut self.reader);
        Some(ScaleFacts { sealed: sealed.unwrap_or_default(), supply, division })
    }

    fn product(&mut self, node: &Node) -> Option<Product> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let product = Product {
            name: fields.maybe_text(&mut self.reader, "name"),
            dusty: fields.get("dusty").and_then(|node| self.reader.truth(node)),
            allergen: fields.maybe_text(&mut self.reader, "allergen"),
        };
        fields.close(&mut self.reader);
        Some(product)
    }

    fn people(&mut self, nodes: &[Node]) -> Vec<Person> {
        let mut people: Vec<Person> = Vec::new();
        for node in nodes {
            let Some(person) = self.person(node) else { continue };
            if people.iter().any(|known| known.id == person.id) {
                let message = format!("'{}' stands twice among the people", person.id);
                self.reader.push(Diagnostic::error(Code::BadValue, node.span, message));
                continue;
            }
            people.push(person);
        }
        people
    }

    fn person(&mut self, node: &Node) -> Option<Person> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let id = fields.id(&mut self.reader, "id");
        let at = fields.need(&mut self.reader, "at").and_then(|node| self.reader.choice(node, WHEREABOUTS));
        let may = fields.list(&mut self.reader, "may");
        let may = may.iter().filter_map(|node| self.reader.choice(node, MAY)).collect();
        let has = fields.ids::<ToolId>(&mut self.reader, "has");
        fields.close(&mut self.reader);
        for tool in &has {
            self.tool(tool.value.as_str(), tool.span);
        }
        Some(Person { id: id?.value, at: at?, may, has: has.into_iter().map(|tool| tool.value).collect() })
    }

    /// A tool that nothing needs is no error; a slip of the finger in one would hide checks.
    fn tool(&mut self, tool: &str, span: Span) {
        let knowledge = self.names.knowledge;
        let works =
            knowledge.checks.values().map(|c| &c.work).chain(knowledge.remedies.values().map(|r| &r.work));
        let known: BTreeSet<_> = works.flat_map(|work| &work.needs).map(|need| need.value.as_str()).collect();
        if !known.contains(tool) {
            let message = format!("no check and no remedy needs a tool '{tool}'");
            let help = crate::ids::did_you_mean(tool, known);
            self.reader.push(Diagnostic::warning(Code::UnknownId, span, message).help(help));
        }
    }

    fn visit(&mut self, node: &Node) -> Option<Visit> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let mut minutes = |reading: &mut Self, key| {
            let figure =
                fields.get(key).and_then(|node| reading.figure(node, figures::minute()).zip(Some(node)));
            figure.map_or(0.0, |(minutes, node)| {
                if minutes < 0.0 {
                    let message = "a time on the road or waiting is not below zero";
                    reading.reader.push(Diagnostic::error(Code::OutOfRange, node.span, message));
                }
                minutes
            })
        };
        let visit = Visit { travel: minutes(self, "travel"), waiting: minutes(self, "waiting") };
        fields.close(&mut self.reader);
        Some(visit)
    }

    fn opening(&mut self, node: &Node) -> Option<Opening> {
        let mut fields = Fields::open(&mut self.reader, node)?;
        let mut remark = |key| fields.maybe_text(&mut self.reader, key);
        let opening = Opening {
            danger: remark("danger"),
            held_since_last_good: remark("held_since_last_good"),
            serial: remark("serial"),
            ever_right: remark("ever_right"),
            since: remark("since"),
            doing_it_now: remark("doing_it_now"),
        };
        fields.close(&mut self.reader);
        Some(opening)
    }

    fn expect(&mut self, node: &Node) -> Option<Expect> {
        let usual = Expect::default();
        let mut fields = Fields::open(&mut self.reader, node)?;
        let cause = fields.get("cause").and_then(|node| self.reader.id(node)).map(typed);
        let mut count = |key, usual| {
            let node = fields.get(key);
            node.and_then(|node| self.reader.number(node, 0.0, 1000.0))
                .map_or(usual, |number| number as usize)
        };
        let (within, answers) = (count("within", usual.within), count("answers", usual.answers));
        let cautions = fields.ids(&mut self.reader, "cautions");
        fields.close(&mut self.reader);
        let cause = cause.and_then(|cause: At<_>| {
            let now = self.names.cause("cause", &cause.value);
            self.named(now, cause.span)
        });
        let now = |caution: At<_>| {
            let now = self.names.caution("cautions", &caution.value);
            self.named(now, caution.span)
        };
        let cautions = cautions.into_iter().filter_map(now).collect();
        Some(Expect { cause, within, answers, cautions })
    }

    fn named<T>(&mut self, named: Result<T, form::Fault>, span: Span) -> Option<T> {
        named.map_err(|fault| self.reader.push(at(&fault, span))).ok()
    }

    /// A finite number, bare or with a unit of the same kind, as a number of `unit`.
    pub(super) fn figure(&mut self, node: &Node, unit: &'static Unit) -> Option<f64> {
        let read = match &node.value {
            yaml::Value::Number(number) => Quantity::parse_in(&format!("{number:e}"), unit),
            yaml::Value::Text(text) => Quantity::parse_in(text, unit),
            other => Err(UnitError::NotANumber(other.noun().to_owned())),
        };
        match read {
            Ok(quantity) => Some(figures::in_unit(quantity, unit)),
            Err(error) => {
                let problem = Diagnostic::error(form::unit_code(&error), node.span, error.to_string());
                self.reader.push(problem);
                None
            }
        }
    }

    /// Names with their values, in order of names.
    pub(super) fn pairs(&mut self, node: &Node) -> Vec<(String, String)> {
        let Some(group) = Fields::open(&mut self.reader, node) else { return Vec::new() };
        let mut pairs = BTreeMap::new();
        for (key, value) in group.entries() {
            let (Some(name), Some(value)) = (self.reader.text(key), self.reader.text(value)) else {
                continue;
            };
            pairs.insert(name, value);
        }
        pairs.into_iter().collect()
    }
}

/// A fault at its place.
pub(super) fn at(fault: &form::Fault, span: Span) -> Diagnostic {
    Diagnostic::error(fault.code, span, fault.message.clone()).help(fault.help.clone())
}
