//! The knowledge as trusted: every kind of entry, with the places in the files that later judgements point at.

use std::collections::{BTreeMap, BTreeSet};

use super::lesson::LessonEntry;
use super::panel::{Setting, Sign};
use super::rules::Rule;
use super::vocabulary::Vocabulary;
use crate::diag::{Sources, Span};
use crate::ids::{
    CauseId, CautionId, CheckId, CircumstanceId, FindingId, LessonId, MachineId, OptionId, OutcomeId,
    PlaceId, RemedyId, RuleId, SettingId, ToolId,
};
use crate::safety::{Caution, EnergyPoint, Exposure, ScaleSupply, StepText, Traits};
use crate::units::{Kind, Unit};

/// A value and where it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub span: Span,
}

/// Everything known.
#[derive(Debug, Clone, Default)]
pub struct Knowledge {
    /// Version as the head file says.
    pub version: String,
    /// Hash over all files: equal knowledge, equal hash.
    pub hash: String,
    /// Whether it stands without the built-in entries, so that lists made for those do not fit it.
    pub alone: bool,
    /// Machines by id.
    pub machines: BTreeMap<MachineId, Machine>,
    /// Circumstances by id.
    pub circumstances: BTreeMap<CircumstanceId, Circumstance>,
    /// Symptoms and conditions by id.
    pub findings: BTreeMap<FindingId, Finding>,
    /// Causes by id.
    pub causes: BTreeMap<CauseId, Cause>,
    /// Checks by id.
    pub checks: BTreeMap<CheckId, Check>,
    /// Remedies by id.
    pub remedies: BTreeMap<RemedyId, Remedy>,
    /// Cautions by id.
    pub cautions: BTreeMap<CautionId, CautionEntry>,
    /// Rules on what fills may weigh, by id.
    pub rules: BTreeMap<RuleId, Rule>,
    /// Lessons that were accepted, by id.
    pub lessons: BTreeMap<LessonId, LessonEntry>,
    /// Words that stand for numbers.
    pub scale: Scale,
    /// The word of the house for a thing, and other words for it that entries do not use.
    pub house_words: BTreeMap<String, Vec<String>>,
    /// The words of callers.
    pub vocabulary: Vocabulary,
    /// Names that may stand under `basis: from`, with what they are.
    pub origins: BTreeMap<String, String>,
    /// Old ids and the ids that took their place.
    pub was: BTreeMap<String, String>,
    /// Entries that are there and could not be trusted, like `causes/draught`; each has its own problem.
    pub refused: BTreeSet<String>,
    /// The texts read.
    pub sources: Sources,
}

/// What every entry has besides its own fields.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// One line that names it.
    pub title: String,
    /// A sentence or two on what it is.
    pub about: Option<String>,
    /// How callers say it.
    pub said: Vec<String>,
    /// Where its numbers come from: text, and source id or `judgement`.
    pub basis: Option<Basis>,
    /// Ids it had before.
    pub was: Vec<String>,
    /// Where the entry begins.
    pub span: Span,
}

/// Where numbers come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    /// In words.
    pub text: String,
    /// `judgement` or the id of a source.
    pub from: At<String>,
}

/// Words that stand for numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scale {
    /// Strengths of links.
    pub strengths: BTreeMap<String, f64>,
    /// Rates per 1000 calls.
    pub rates: BTreeMap<String, f64>,
    /// Default hit and false alarm by `how`.
    pub hits: BTreeMap<How, (f64, f64)>,
    /// Hit and false alarm of a caller who names a symptom, unless the symptom has its own.
    pub said: (f64, f64),
    /// Chance of a finding without any cause of the book.
    pub leak: f64,
    /// Rate per 1000 of something that is not in the book, and its strength to every finding.
    pub not_in_the_book: (f64, f64),
}

/// A family of machines.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// Its id.
    pub id: MachineId,
    /// Title and the rest.
    pub head: Head,
    /// Places that a step can name.
    pub places: BTreeMap<PlaceId, Place>,
    /// Hazardous energies and their isolation points.
    pub energies: Vec<EnergyPoint>,
    /// Every way it can be started.
    pub start_paths: Vec<String>,
    /// Whether the scale can stay powered alone.
    pub scale_supply: ScaleSupply,
    /// Options that may be fitted, in words.
    pub options: BTreeMap<OptionId, String>,
    /// Its settings, in order.
    pub settings: Vec<Setting>,
    /// Its lamps and readings, in order.
    pub signs: Vec<Sign>,
    /// Standard deviation of fills when all is well, in grams.
    pub usual_spread: f64,
    /// What is usually allowed either way, in grams.
    pub tolerance: f64,
    /// Smallest step of its display, in grams.
    pub division: f64,
    /// Largest load, in grams.
    pub capacity: f64,
    /// Minutes until somebody is there, when the case does not say.
    pub send_somebody: f64,
    /// Minutes to lock out and to hand back.
    pub lockout: (f64, f64),
}

/// A place on a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// In words, for 'at …'.
    pub title: String,
    /// What it exposes a person to.
    pub traits: Traits,
}

/// Something that happened before a call.
#[derive(Debug, Clone, PartialEq)]
pub struct Circumstance {
    /// Its id.
    pub id: CircumstanceId,
    /// Title and the rest.
    pub head: Head,
    /// One short question.
    pub asked: String,
    /// Probability before a call.
    pub usual: f64,
}

/// Symptom or condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FindingKind {
    /// What a person notices or a run of fills shows.
    Symptom,
    /// A physical state between cause and symptom.
    Condition,
}

/// A true state of the machine that a check can bear on.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Its id.
    pub id: FindingId,
    /// Symptom or condition.
    pub kind: FindingKind,
    /// Title and the rest.
    pub head: Head,
    /// light, heavy or none: what a complaint reader looks for.
    pub direction: Option<String>,
    /// Whether 'stop, make safe' comes before all else.
    pub stop_first: bool,
    /// P(a caller names it | it is there) and P(names it | it is not).
    pub said: (f64, f64),
    /// Degrees above normal: 1 for yes and no, 2 for some and much.
    pub degrees: usize,
    /// Probability of at least each degree without any cause of the book, falling.
    pub leak: Vec<f64>,
    /// The run finding that it is.
    pub pattern: Option<At<String>>,
    /// Findings that it brings about.
    pub leads_to: Vec<LeadsTo>,
    /// Only on these machines, if given.
    pub machines: Option<Vec<At<MachineId>>>,
}

/// A link from a cause or condition to a finding.
#[derive(Debug, Clone, PartialEq)]
pub struct LeadsTo {
    /// Where it leads.
    pub finding: At<FindingId>,
    /// As written; the graph turns it into numbers once the child's degrees are known.
    pub strength: At<Strength>,
}

/// A strength as written.
#[derive(Debug, Clone, PartialEq)]
pub enum Strength {
    /// One number.
    One(f64),
    /// For a child with degrees: P(at least some), P(much).
    Each(f64, f64),
    /// For a parent with degrees: one entry a degree.
    ByDegree(Box<Strength>, Box<Strength>),
}

/// What is wrong and can be put right.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// Its id.
    pub id: CauseId,
    /// Title and the rest.
    pub head: Head,
    /// Probability a call, per machine.
    pub machines: BTreeMap<MachineId, At<f64>>,
    /// Only where these options are fitted.
    pub needs_option: Vec<At<OptionId>>,
    /// Circumstances that bring it, with their probability.
    pub after: Vec<(At<CircumstanceId>, f64)>,
    /// What it brings about.
    pub leads_to: Vec<LeadsTo>,
    /// Whether it comes and goes.
    pub comes_and_goes: bool,
    /// What puts it right.
    pub remedies: Vec<At<RemedyId>>,
}

/// How a check sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// Somebody says so.
    Told,
    /// Somebody looks.
    Seen,
    /// An instrument says so.
    Measured,
}

/// What a check asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum Asks {
    /// One of the outcomes.
    Choice,
    /// What the caller complains of; one outcome a symptom.
    Complaint,
    /// A run of fills.
    Run,
    /// A quantity.
    Quantity(AskedQuantity),
}

/// A quantity that a check asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedQuantity {
    /// What is measured.
    pub kind: Kind,
    /// In which unit people give it.
    pub unit: &'static Unit,
    /// What it is compared with.
    pub against: Against,
    /// Smallest step of the instrument, in base units; the scale's division when absent and the kind is mass.
    pub division: Option<f64>,
    /// Standard uncertainty of the instrument, in base units.
    pub uncertainty: f64,
}

/// What a reading is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// Nothing: the bands are of the reading itself.
    Nothing,
    /// A known value: the bands are of reading − expected.
    Expected,
    /// What the machine showed for the same bag: the bands are of reading − shown.
    Shown,
}

/// A question, a measurement or a test.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Its id.
    pub id: CheckId,
    /// Title and the rest.
    pub head: Head,
    /// What its steps share with a remedy's.
    pub work: Work,
    /// How it sees.
    pub how: How,
    /// What it asks for.
    pub asks: Asks,
    /// Whether asking again gives fresh evidence.
    pub fresh: bool,
    /// Whether the answer is the same at any time, the fault showing just then or not: it provokes the fault, looks at
    /// what stays, or asks what people remember.
    pub any_time: bool,
    /// The question.
    pub ask: String,
    /// What the technician says back.
    pub read_back: Option<String>,
    /// The answers it can have; exactly one is normal. Empty for runs and complaints.
    pub outcomes: Vec<Outcome>,
}

/// Place, time and safety of a check or a remedy.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    /// Where it is done.
    pub place: At<PlaceId>,
    /// Exposures that the author adds to those of the place.
    pub raised: Vec<Exposure>,
    /// Minutes of doing, without lockout and walking.
    pub minutes: f64,
    /// Tools and things needed.
    pub needs: Vec<At<ToolId>>,
    /// Only where these options are fitted.
    pub needs_option: Vec<At<OptionId>>,
    /// Only on these machines, if given.
    pub machines: Option<Vec<At<MachineId>>>,
    /// Findings that it would spoil.
    pub disturbs: Vec<At<FindingId>>,
    /// The steps, each with its own place if it names one.
    pub steps: Vec<Step>,
    /// Cautions that go before the steps.
    pub cautions: Vec<At<CautionId>>,
    /// Who read it for safety, and when.
    pub safety_read: Option<(String, String)>,
}

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its words, which only a hands-on step with its cautions can show.
    pub text: StepText,
    /// Its own place, when it is not the entry's.
    pub place: Option<At<PlaceId>>,
    /// Where it is written.
    pub span: Span,
}

/// One answer that a check can have.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Its id.
    pub id: At<OutcomeId>,
    /// The answer in a person's words.
    pub answer: String,
    /// What it tells.
    pub tells: Option<String>,
    /// The band of a quantity.
    pub when: Option<Band>,
    /// The findings it speaks for; empty for the normal outcome.
    pub means: Vec<Means>,
}

/// A finding that an outcome speaks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Means {
    /// The finding.
    pub finding: At<FindingId>,
    /// The degree that the hit is for, from 1.
    pub at_least: usize,
    /// P(this outcome shows it | it is there).
    pub hit: f64,
    /// P(this outcome all the same | it is not there).
    pub false_alarm: f64,
}

/// A band of a quantity, in divisions or in base units; open ends are infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lower edge.
    pub low: f64,
    /// Upper edge.
    pub high: f64,
    /// Whether the edges count divisions.
    pub in_divisions: bool,
}

/// What puts a cause right.
#[expect(clippy::struct_excessive_bools, reason = "each is a plain fact of the entry")]
#[derive(Debug, Clone, PartialEq)]
pub struct Remedy {
    /// Its id.
    pub id: RemedyId,
    /// Title and the rest.
    pub head: Head,
    /// Place, time and safety.
    pub work: Work,
    /// The cause it cures.
    pub cures: At<CauseId>,
    /// Probability that doing it cures the cause.
    pub works: f64,
    /// What must be known first.
    pub only_after: Vec<Gate>,
    /// Whether it can be undone.
    pub reversible: bool,
    /// Minutes to undo it.
    pub undo_minutes: f64,
    /// The setting that it changes.
    pub changes: Option<At<SettingId>>,
    /// Whether the setting moves by the mean error of the run, as the in-flight allowance does.
    pub by_mean_error: bool,
    /// Whether it touches zero, span, filter or learned values.
    pub calibrates: bool,
    /// Whether it only keeps things safe until somebody else puts it right: done before a visit, never instead of one.
    pub hands_over: bool,
    /// Parts and their price in minutes of held line.
    pub parts: Vec<(String, f64)>,
    /// The check that proves the cure.
    pub proved_by: At<CheckId>,
}

/// What must be known before a remedy.
#[derive(Debug, Clone, PartialEq)]
pub struct Gate {
    /// A check that has been answered …
    pub check: At<CheckId>,
    /// … with this outcome, if given …
    pub outcome: Option<At<OutcomeId>>,
    /// … and with at least so many fills, for a run.
    pub fills: usize,
}

/// A caution with its head.
#[derive(Debug, Clone, PartialEq)]
pub struct CautionEntry {
    /// Title and the rest.
    pub head: Head,
    /// The caution.
    pub caution: Caution,
}
