//! The form of every kind of entry as a JSON Schema, so that an editor completes and checks while an author types.
//!
//! Words, ranges and names come from the tables that the reader uses and from the knowledge itself. Which keys there
//! are stands here a second time; a test asks the reader for its keys, group by group, and compares. A name that
//! the knowledge does not have yet is allowed: whoever writes a cause names a remedy that is written next.
//!
//! JSON Schema, draft 2020-12: <https://json-schema.org/draft/2020-12>.

mod panel;

use std::collections::BTreeSet;

use serde_json::{Map, Value, json};

use super::entries::{DIRECTIONS, LOCKOUT, PROBABLE, RATE, SEND_SOMEBODY, SUPPLIES};
use super::lesson::LESSON_KINDS;
use super::model::{FindingKind, Knowledge};
use super::resolve::PATTERNS;
use super::rules::{JUDGES, MARKETS, PERCENT, SETTING_SHARE};
use super::works::{ASKED, AT_LEAST, FILLS, HOWS, MINUTES, QUANTITIES, REPEATS, WHOLE_ASKS};
use crate::ids;
use crate::safety::{Energy, Exposure, Signal, Trait};
use crate::units::Unit;

/// The kinds of entry that have a schema, in the order in which an author meets them.
pub const ENTRY_KINDS: &[&str] =
    &["machine", "circumstance", "symptom", "condition", "cause", "check", "remedy", "caution"];

/// The schema of all kinds, or of one of [`ENTRY_KINDS`] alone. Names to complete are those of this knowledge.
pub fn schema(knowledge: &Knowledge, kind: Option<&str>) -> Value {
    let all = definitions(knowledge);
    let mut whole = Map::new();
    whole.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    whole.insert("$comment".to_owned(), json!(format!("knowledge {} {}", knowledge.version, knowledge.hash)));
    if let Some(kind) = kind {
        whole.insert("title".to_owned(), json!(format!("Handlamp {kind}")));
        whole.insert("$ref".to_owned(), json!(reference(kind)));
    } else {
        let kinds: Vec<Value> = ENTRY_KINDS.iter().map(|kind| defined(kind)).collect();
        whole.insert("title".to_owned(), json!("Handlamp entry of any kind"));
        whole.insert("anyOf".to_owned(), json!(kinds));
    }
    let wanted = reachable(&all, &Value::Object(whole.clone()));
    let defs: Map<String, Value> = all.into_iter().filter(|(name, _)| wanted.contains(name)).collect();
    whole.insert("$defs".to_owned(), Value::Object(defs));
    Value::Object(whole)
}

fn reference(name: &str) -> String {
    format!("#/$defs/{name}")
}

fn defined(name: &str) -> Value {
    json!({ "$ref": reference(name) })
}

/// The names of all definitions that a schema leads to.
fn reachable(all: &Map<String, Value>, from: &Value) -> BTreeSet<String> {
    fn named(value: &Value, names: &mut Vec<String>) {
        match value {
            Value::Object(map) => {
                names.extend(map.get("$ref").and_then(Value::as_str).map(|r| r.replace("#/$defs/", "")));
                map.values().for_each(|v| named(v, names));
            }
            Value::Array(items) => items.iter().for_each(|v| named(v, names)),
            _ => {}
        }
    }
    let mut seen = BTreeSet::new();
    let mut open = Vec::new();
    named(from, &mut open);
    while let Some(name) = open.pop() {
        if let Some(found) = all.get(&name).filter(|_| seen.insert(name.clone())) {
            named(found, &mut open);
        }
    }
    seen
}

/// One key of a group: its name, whether it must be there, what it is for, and what it holds.
struct Field(&'static str, bool, &'static str, Value);

fn need(key: &'static str, about: &'static str, holds: Value) -> Field {
    Field(key, true, about, holds)
}

fn may(key: &'static str, about: &'static str, holds: Value) -> Field {
    Field(key, false, about, holds)
}

/// A group that holds these keys and no others.
fn group(fields: Vec<Field>) -> Value {
    let required: Vec<&str> = fields.iter().filter(|f| f.1).map(|f| f.0).collect();
    let mut properties = Map::new();
    for Field(key, _, about, mut holds) in fields {
        holds["description"] = json!(about);
        properties.insert(key.to_owned(), holds);
    }
    json!({"type": "object", "additionalProperties": false, "required": required, "properties": properties})
}

fn list(of: &Value) -> Value {
    json!({"type": "array", "items": of})
}

fn truth() -> Value {
    json!({"type": "boolean"})
}

fn text() -> Value {
    defined("text")
}

fn number((low, high): (f64, f64)) -> Value {
    json!({"type": "number", "minimum": low, "maximum": high})
}

fn choice<'w>(words: impl IntoIterator<Item = &'w str>) -> Value {
    json!({"enum": words.into_iter().collect::<Vec<_>>()})
}

/// The words of a table that the reader chooses from.
fn of_table<T>(table: &[(&'static str, T)]) -> Value {
    choice(table.iter().map(|(word, _)| *word))
}

/// Names to complete; another well-formed one is allowed.
fn names<'n>(known: impl IntoIterator<Item = &'n str>) -> Value {
    let known: BTreeSet<&str> = known.into_iter().collect();
    if known.is_empty() { defined("id") } else { json!({"anyOf": [{"enum": known}, defined("id")]}) }
}

/// A group whose keys are names: `{single-tray-weigher: common}`.
fn by_name<'n>(known: impl IntoIterator<Item = &'n str>, holds: &Value) -> Value {
    let known: Map<String, Value> = known.into_iter().map(|id| (id.to_owned(), holds.clone())).collect();
    json!({
        "type": "object", "properties": known, "additionalProperties": holds, "propertyNames": defined("id"),
    })
}

/// A word of the scale, or a number in its range.
fn scaled<'w>(words: impl IntoIterator<Item = &'w String>, range: (f64, f64)) -> Value {
    json!({"anyOf": [choice(words.into_iter().map(String::as_str)), number(range)]})
}

fn definitions(knowledge: &Knowledge) -> Map<String, Value> {
    let mut all = values(knowledge);
    all.extend(names_of(knowledge));
    let kinds = [
        ("machine", machine()),
        ("circumstance", circumstance()),
        ("symptom", finding(knowledge, "How a caller or a run of fills shows it.")),
        ("condition", finding(knowledge, "What is so inside the machine, between cause and symptom.")),
        ("cause", cause(knowledge)),
        ("check", check()),
        ("remedy", remedy()),
        ("caution", caution()),
        ("rule", rule()),
        ("lesson", lesson()),
    ];
    all.extend(kinds.into_iter().map(|(kind, form)| (kind.to_owned(), form)));
    all
}

/// What keys hold, shared by many.
fn values(knowledge: &Knowledge) -> Map<String, Value> {
    let scale = &knowledge.scale;
    let pair = |of: Value| json!({"type": "array", "items": of, "minItems": 2, "maxItems": 2});
    let chance = || scaled(scale.strengths.keys(), PROBABLE);
    let simple = json!({"anyOf": [chance(), pair(chance())]});
    let by_degree = group(vec![
        need("some", "When the parent is there some.", simple.clone()),
        need("much", "When the parent is there much; not less.", simple.clone()),
    ]);
    let Value::Object(all) = json!({
        "text": {"type": ["string", "number"], "pattern": "\\S"},
        "id": {"type": "string", "pattern": "^[a-z][a-z0-9]*(-[a-z0-9]+)*$", "maxLength": ids::LONGEST},
        "chance": chance(),
        "rate": scaled(scale.rates.keys(), RATE),
        "strength": {"anyOf": [simple, by_degree]},
        "leak": {"anyOf": [number(PROBABLE), pair(number((0.0, PROBABLE.1)))]},
        "minutes": number(MINUTES),
        "quantity": {
            "type": "string", "pattern": "[0-9].*[^0-9.,\\s]", "examples": ["0.5 g", "1 kg", "5.5 bar"],
        },
        "unit": {"anyOf": [choice(Unit::names()), {"type": "string"}]},
        "band": {
            "type": "string", "pattern": "^\\s*(within|below|above|between) .*[0-9]",
            "examples": ["within 2 d", "below -2 d", "above 0.3 bar", "between 1 and 2 g"],
        },
    }) else {
        return Map::new();
    };
    all
}

/// The names that entries use for each other.
fn names_of(k: &Knowledge) -> Vec<(String, Value)> {
    let finding = |kind| k.findings.values().filter(move |f| f.kind == kind).map(|f| f.id.as_str());
    let symptoms = finding(FindingKind::Symptom);
    let work = || k.checks.values().map(|c| &c.work).chain(k.remedies.values().map(|r| &r.work));
    let machines = || k.machines.values();
    vec![
        ("a-machine", names(k.machines.keys().map(ids::MachineId::as_str))),
        ("a-finding", names(finding(FindingKind::Condition).chain(symptoms))),
        ("a-cause", names(k.causes.keys().map(ids::CauseId::as_str))),
        ("a-check", names(k.checks.keys().map(ids::CheckId::as_str))),
        ("a-remedy", names(k.remedies.keys().map(ids::RemedyId::as_str))),
        ("a-caution", names(k.cautions.keys().map(ids::CautionId::as_str))),
        ("a-place", names(machines().flat_map(|m| m.places.keys()).map(ids::PlaceId::as_str))),
        ("an-option", names(machines().flat_map(|m| m.options.keys()).map(ids::OptionId::as_str))),
        ("a-setting", names(machines().flat_map(|m| &m.settings).map(|s| s.id.as_str()))),
        ("a-tool", names(work().flat_map(|w| &w.needs).map(|t| t.value.as_str()))),
        ("a-source", names(k.origins.keys().map(String::as_str).chain(["judgement"]))),
    ]
    .into_iter()
    .map(|(name, form)| (name.to_owned(), form))
    .collect()
}

/// What every entry has; its own keys follow.
fn entry(about: &str, own: Vec<Field>) -> Value {
    let basis = group(vec![
        need("text", "In words: why these numbers.", text()),
        need("from", "judgement, or a name from sources.yaml.", defined("a-source")),
    ]);
    let mut fields = vec![
        need("title", "One line that names it; a reader sees this and not the id.", text()),
        may("about", "A sentence or two on what it is, for a newcomer.", text()),
        may("said", "How callers say it, in their own words.", list(&text())),
        may("basis", "Where the numbers come from.", basis),
        may("was", "Ids it had before, so that old cases still read.", list(&text())),
    ];
    fields.extend(own);
    let mut form = group(fields);
    form["description"] = json!(about);
    form
}

fn machine() -> Value {
    let traits =
        Trait::ALL.iter().map(|t| may(t.as_str(), "True when a person there is exposed to it.", truth()));
    let title = may("title", "In words, for 'at …'.", text());
    let place = group(std::iter::once(title).chain(traits).collect());
    let energy = group(vec![
        need("energy", "What can hurt somebody.", choice(Energy::ALL.iter().map(|e| e.as_str()))),
        need("isolated_by", "The point that shuts it off.", text()),
    ]);
    let lockout = group(vec![
        need("isolate", "Minutes to lock out.", number(LOCKOUT)),
        need("restore", "Minutes to hand back.", number(LOCKOUT)),
    ]);
    let quantity = || defined("quantity");
    entry(
        "A family of machines, in plain trade words: no brand, no model code.",
        vec![
            need("places", "Every place that a step can name, with what it exposes to.", by_name([], &place)),
            may("energies", "Every hazardous energy and the point that isolates it.", list(&energy)),
            may("start_paths", "Every way it can be started.", list(&text())),
            need("scale_supply", "Whether the scale is fed apart from the drives.", of_table(SUPPLIES)),
            may("options", "What may or may not be fitted, in words.", by_name([], &text())),
            may("settings", "Its settings, in the order of the panel.", list(&panel::setting())),
            may("signs", "Its lamps and readings.", list(&panel::sign())),
            need("usual_spread", "Standard deviation of fills when all is well.", quantity()),
            need("tolerance", "What is usually allowed either way.", quantity()),
            need("division", "Smallest step of its display.", quantity()),
            need("capacity", "Largest load.", quantity()),
            need("send_somebody", "Minutes of travel and waiting.", number(SEND_SOMEBODY)),
            may("lockout", "Minutes to lock out and to hand back.", lockout),
        ],
    )
}

fn circumstance() -> Value {
    entry(
        "Something that happened before a call and raises some causes.",
        vec![
            need("asked", "One short question.", text()),
            need("usual", "Probability that it happened, before a call.", number(PROBABLE)),
        ],
    )
}

fn rule() -> Value {
    let limit = group(vec![
        may("up_to", "The largest weight that it is for; left out in the last.", defined("quantity")),
        may("percent", "Per cent of the weight.", number(PERCENT)),
        may("amount", "Or a weight.", defined("quantity")),
    ]);
    entry(
        "What the law of a market or a standard asks of fills.",
        vec![
            need("market", "Where it holds.", of_table(MARKETS)),
            need("edition", "Which text the figures are of.", text()),
            need("judges", "What it judges.", of_table(JUDGES)),
            need("from", "Smallest weight that it is for.", defined("quantity")),
            may("to", "Largest; left out when there is none.", defined("quantity")),
            need("limits", "By size, smallest first.", list(&limit)),
            may("rounds_up_to", "A limit out of a percentage is rounded up to this.", defined("quantity")),
            may(
                "setting_share",
                "Of a fill's limit, what the average may be off the set weight.",
                number(SETTING_SHARE),
            ),
            may("unconfirmed", "Which figures nobody compared with the text itself.", text()),
        ],
    )
}

fn lesson() -> Value {
    let scalar = || json!({"type": ["string", "number"]});
    let change = group(vec![
        need("file", "The file inside the knowledge folder, like causes/pan-touching.yaml.", text()),
        may("place", "Where in it, like leads_to.fills-steadily-light.strength.", text()),
        may("was", "What stood there.", scalar()),
        may("to", "What shall stand there.", scalar()),
        may("adds", "One more item for the list there.", scalar()),
        may("whole", "The whole text of a new file.", text()),
    ]);
    let mut form = group(vec![
        need("title", "One line that names it.", text()),
        need("told", "What happened and what it taught; what, not who.", text()),
        need("kind", "What kind of lesson.", of_table(LESSON_KINDS)),
        may("machine", "On which machine, when on one only.", defined("a-machine")),
        may("bears_on", "Entries that it bears on, like causes/pan-touching.", list(&text())),
        may("again", "The lesson that it repeats.", defined("id")),
        need("by", "Who wrote it.", text()),
        need("recorded", "When, as 2026-11-25.", text()),
        may("cases", "How many cases it rests on.", number((0.0, 1e7))),
        may("changes", "What it changes.", list(&change)),
        may("read_by", "Who accepted it; not its author.", text()),
        may("accepted", "When, as 2026-11-25.", text()),
        may("replaced_by", "The lesson that took its place.", defined("id")),
    ]);
    form["description"] = json!("What a visit taught, and what of the knowledge it changed.");
    form
}

fn leads_to() -> Value {
    list(&group(vec![
        need("finding", "The symptom or condition that it brings about.", defined("a-finding")),
        need("strength", "How often it does: a word of the scale or a probability.", defined("strength")),
    ]))
}

fn finding(k: &Knowledge, about: &str) -> Value {
    let opens = group(vec![
        may("direction", "What a reader of complaints looks for.", of_table(DIRECTIONS)),
        may("stop_first", "True puts 'stop, make safe' before all else.", truth()),
        may(
            "false_alarm",
            "How often a caller says so when it is not.",
            number((PROBABLE.0, k.scale.said.0)),
        ),
    ]);
    entry(
        about,
        vec![
            may("opens", "How a complaint leads here.", opens),
            may("degrees", "[some, much], or left out for yes and no.", json!({"const": ["some", "much"]})),
            may("leak", "Probability that it is there without any cause of the book.", defined("leak")),
            may("pattern", "The run finding that it is.", choice(PATTERNS.iter().copied())),
            may("leads_to", "What it brings about in turn.", leads_to()),
            may("machines", "Only on these machines.", list(&defined("a-machine"))),
        ],
    )
}

fn cause(k: &Knowledge) -> Value {
    let machines = by_name(k.machines.keys().map(ids::MachineId::as_str), &defined("rate"));
    let after = by_name(k.circumstances.keys().map(ids::CircumstanceId::as_str), &defined("rate"));
    entry(
        "What is wrong and can be put right.",
        vec![
            need("machines", "Rate per machine: a word of the scale or a number per 1000 calls.", machines),
            may("needs_option", "Only where these options are fitted.", list(&defined("an-option"))),
            may("after", "Circumstances that bring it, each with its rate.", after),
            may("leads_to", "What it brings about.", leads_to()),
            may("comes_and_goes", "True when it is not always there.", truth()),
            may("remedies", "What puts it right.", list(&defined("a-remedy"))),
        ],
    )
}

/// Place, time and safety, which checks and remedies share.
fn work() -> Vec<Field> {
    let step = group(vec![
        need("do", "One action, at most 20 words, the condition first.", text()),
        may("expect", "What is seen when it went well, with units.", text()),
        may("place", "Its own place, when it is not the entry's.", defined("a-place")),
    ]);
    let read = group(vec![
        need("by", "Who read it; not its author.", text()),
        need("date", "When, as 2026-11-25.", text()),
    ]);
    let exposures = choice(Exposure::ALL.iter().map(|e| e.as_str()));
    vec![
        need("place", "Where it is done; it gives the exposures.", defined("a-place")),
        need("minutes", "Minutes of doing, without lockout and walking.", defined("minutes")),
        may("exposures", "Exposures beyond those of the place; never fewer.", list(&exposures)),
        may("needs", "Tools and things.", list(&defined("a-tool"))),
        may("needs_option", "Only where these options are fitted.", list(&defined("an-option"))),
        may("machines", "Only on these machines.", list(&defined("a-machine"))),
        may("disturbs", "Findings that it would spoil.", list(&defined("a-finding"))),
        may("steps", "The steps, in order.", list(&step)),
        may("cautions", "What is said before the steps.", list(&defined("a-caution"))),
        may("safety_read", "Who read a hands-on entry for safety, and when.", read),
    ]
}

fn asks() -> Value {
    let quantity = group(vec![
        need("quantity", "What is measured.", of_table(QUANTITIES)),
        may("unit", "In which unit people give it.", defined("unit")),
        may("expected", "asked: bands are of reading − known value.", of_table(ASKED)),
        may("shown", "asked: bands are of reading − what the machine shows.", of_table(ASKED)),
        may("division", "Smallest step of the instrument.", defined("quantity")),
        may("uncertainty", "Standard uncertainty of the instrument.", defined("quantity")),
    ]);
    json!({"anyOf": [choice(WHOLE_ASKS.iter().copied()), quantity]})
}

fn outcomes() -> Value {
    let means = group(vec![
        need("finding", "What it speaks for.", defined("a-finding")),
        may("at_least", "The degree that the hit is for.", of_table(AT_LEAST)),
        may("hit", "Probability of this answer when the finding is there.", defined("chance")),
        may("false_alarm", "Probability of this answer when it is not.", defined("chance")),
    ]);
    list(&group(vec![
        need("id", "Its id.", defined("id")),
        may("answer", "The answer in a person's words.", text()),
        may("tells", "What it tells.", text()),
        may("when", "The band of a quantity.", defined("band")),
        may("means", "What it speaks for; exactly one outcome has none, the normal one.", list(&means)),
    ]))
}

fn check() -> Value {
    let mut fields = work();
    fields.extend([
        need("how", "How it sees: gives default hit and false alarm.", of_table(HOWS)),
        may("asks", "A quantity, a run, a complaint; left out for a choice.", asks()),
        may(
            "any_time",
            "The answer is the same whether the fault shows just then or not; so it is for `told`.",
            truth(),
        ),
        may("repeat", "Whether asking again gives fresh evidence.", of_table(REPEATS)),
        need("ask", "The question, one sentence.", text()),
        may("read_back", "What the technician says back.", text()),
        may("outcomes", "The answers it can have.", outcomes()),
    ]);
    entry("A question, a measurement or a test.", fields)
}

fn remedy() -> Value {
    let gate = group(vec![
        need("check", "A check that has been answered.", defined("a-check")),
        may("outcome", "Only with this answer.", defined("id")),
        may("fills", "For a run: at least so many fills.", number(FILLS)),
    ]);
    let part = group(vec![
        need("part", "What it is called.", text()),
        need("held_minutes", "Its price in minutes of held line.", defined("minutes")),
    ]);
    let mut fields = work();
    fields.extend([
        need("cures", "The cause that it puts right.", defined("a-cause")),
        need("works", "Probability that doing it cures the cause.", defined("chance")),
        need("proved_by", "The check that proves the cure.", defined("a-check")),
        may("only_after", "What must be known first.", list(&gate)),
        may("reversible", "Whether it can be undone; true when left out.", truth()),
        may("undo_minutes", "Minutes to undo it.", defined("minutes")),
        may("changes", "The setting that it changes.", defined("a-setting")),
        may("by_mean_error", "True when its new figure is the old plus the mean error of the run.", truth()),
        may("hands_over", "True when it only keeps things safe until somebody comes.", truth()),
        may("calibrates", "True when it touches zero, span, filter or learned values.", truth()),
        may("parts", "Parts, each with its price.", list(&part)),
    ]);
    entry("What puts a cause right.", fields)
}

fn caution() -> Value {
    let word = choice(Signal::ALL.iter().map(|s| s.as_str()));
    let covers = choice(Exposure::ALL.iter().map(|e| e.as_str()));
    entry(
        "A hazard said plainly with what to do about it.",
        vec![
            need("word", "The signal word, by its standard meaning.", word),
            need("hazard", "What the hazard is.", text()),
            need("what_can_happen", "What it can do to a person.", text()),
            need("do_this", "What to do about it.", text()),
            may("covers", "The exposures that it is for.", list(&covers)),
        ],
    )
}
