//! Checks, remedies and cautions: from keys to trusted entries.

use super::entries::{PROBABLE, head};
use super::fields::{Fields, Reader, typed};
use super::model::{
    Against, AskedQuantity, Asks, At, Band, CautionEntry, Check, Gate, How, Means, Outcome, Remedy, Step,
    Work,
};
use super::yaml::{Node, Value};
use crate::diag::{Code, Diagnostic};
use crate::ids::PlaceId;
use crate::safety::{Caution, Exposure, Signal, StepText};
use crate::units::{Kind, Quantity, Unit};

/// Minutes of work, of undoing it, of held line.
pub const MINUTES: (f64, f64) = (0.0, 10_000.0);
/// Fills that a run must have before a remedy.
pub const FILLS: (f64, f64) = (1.0, 1000.0);
/// How a check sees.
pub(super) const HOWS: &[(&str, How)] =
    &[("told", How::Told), ("seen", How::Seen), ("measured", How::Measured)];
/// Whether asking again gives fresh evidence.
pub(super) const REPEATS: &[(&str, bool)] = &[("same", false), ("fresh", true)];
/// Whether a second value is asked for.
pub const ASKED: &[(&str, bool)] = &[("asked", true), ("none", false)];
/// The degree that a hit is for.
pub(super) const AT_LEAST: &[(&str, usize)] = &[("some", 1), ("much", 2)];
/// What a check asks for that is no quantity.
pub(super) const WHOLE_ASKS: &[&str] = &["choice", "complaint", "run"];

fn work(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Option<Work> {
    let place = fields.id::<PlaceId>(reader, "place");
    let minutes = fields.need(reader, "minutes").and_then(|n| reader.number(n, MINUTES.0, MINUTES.1));
    let words: Vec<_> = Exposure::ALL.iter().map(|e| (e.as_str(), *e)).collect();
    let raised = fields.list(reader, "exposures").iter().filter_map(|n| reader.choice(n, &words)).collect();
    let machines = fields.get("machines").is_some().then(|| fields.ids(reader, "machines"));
    let work = Work {
        raised,
        needs: fields.ids(reader, "needs"),
        needs_option: fields.ids(reader, "needs_option"),
        machines,
        disturbs: fields.ids(reader, "disturbs"),
        steps: fields.list(reader, "steps").iter().filter_map(|n| step(reader, n)).collect(),
        cautions: fields.ids(reader, "cautions"),
        safety_read: fields.get("safety_read").and_then(|n| safety_read(reader, n)),
        place: place?,
        minutes: minutes?,
    };
    Some(work)
}

/// One step: what to do, and what to expect.
pub fn step(reader: &mut Reader<'_>, node: &Node) -> Option<Step> {
    let mut fields = Fields::open(reader, node)?;
    let act = fields.text(reader, "do");
    let expect = fields.maybe_text(reader, "expect");
    let place = fields.get("place").and_then(|n| reader.id(n)).map(typed);
    let span = fields.span;
    fields.close(reader);
    Some(Step { text: StepText::new(act?, expect), place, span })
}

/// Who read it for safety, and when.
pub fn safety_read(reader: &mut Reader<'_>, node: &Node) -> Option<(String, String)> {
    let mut fields = Fields::open(reader, node)?;
    let (by, date) = (fields.text(reader, "by"), fields.text(reader, "date"));
    fields.close(reader);
    Some((by?, date?))
}

/// A check.
pub(super) fn check(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Check> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let work = work(reader, &mut fields);
    let how = fields.need(reader, "how").and_then(|n| reader.choice(n, HOWS));
    let asks = fields.get("asks").map_or(Some(Asks::Choice), |n| asks(reader, n));
    let any_time = fields.flag(reader, "any_time") || how == Some(How::Told);
    let fresh = fields.get("repeat").and_then(|n| reader.choice(n, REPEATS)).unwrap_or(false);
    let ask = fields.text(reader, "ask");
    let read_back = fields.maybe_text(reader, "read_back");
    let outcomes = fields.list(reader, "outcomes");
    let span = fields.span;
    fields.close(reader);
    let (how, asks) = (how?, asks?);
    let outcomes: Vec<_> = outcomes.iter().filter_map(|n| outcome(reader, n, how, &asks)).collect();
    let check = Check {
        id: id.into(),
        head: head?,
        work: work?,
        how,
        asks,
        fresh,
        any_time,
        ask: ask?,
        read_back,
        outcomes,
    };
    judge_outcomes(reader, &check, span);
    Some(check)
}

fn asks(reader: &mut Reader<'_>, node: &Node) -> Option<Asks> {
    if let Value::Text(_) = node.value {
        let words: Vec<_> = WHOLE_ASKS.iter().map(|word| (*word, *word)).collect();
        return reader.choice(node, &words).map(|word| match word {
            "complaint" => Asks::Complaint,
            "run" => Asks::Run,
            _ => Asks::Choice,
        });
    }
    let mut fields = Fields::open(reader, node)?;
    let kind = fields.need(reader, "quantity").and_then(|n| reader.choice(n, QUANTITIES));
    let unit = fields.get("unit").map(|n| (n, reader.unit(n)));
    let expected = fields.get("expected").and_then(|n| reader.choice(n, ASKED)).unwrap_or(false);
    let shown = fields.get("shown").and_then(|n| reader.choice(n, ASKED)).unwrap_or(false);
    let kind = kind?;
    let division = fields.get("division").and_then(|n| reader.positive(n, kind));
    let uncertainty = fields.get("uncertainty").and_then(|n| reader.positive(n, kind)).unwrap_or(0.0);
    let span = fields.span;
    fields.close(reader);
    let unit: &'static Unit = match unit {
        Some((node, Some(unit))) if unit.kind != kind => {
            let message = format!(
                "{} is a unit of {}, and this check asks for a {}",
                unit.name,
                unit.kind.noun(),
                kind.noun()
            );
            reader.push(Diagnostic::error(Code::BadUnit, node.span, message));
            return None;
        }
        Some((_, found)) => found?,
        None => kind.base(),
    };
    let against = match (expected, shown) {
        (true, true) => {
            let message = "a pair is with `expected` or with `shown`, not with both";
            reader.push(Diagnostic::error(Code::BadValue, span, message));
            return None;
        }
        (true, false) => Against::Expected,
        (false, true) => Against::Shown,
        (false, false) => Against::Nothing,
    };
    Some(Asks::Quantity(AskedQuantity { kind, unit, against, division, uncertainty }))
}

/// What can be measured.
pub const QUANTITIES: &[(&str, Kind)] = &[
    ("mass", Kind::Mass),
    ("time", Kind::Time),
    ("length", Kind::Length),
    ("pressure", Kind::Pressure),
    ("voltage", Kind::Voltage),
    ("signal", Kind::Signal),
    ("resistance", Kind::Resistance),
    ("frequency", Kind::Frequency),
    ("temperature", Kind::Temperature),
    ("flow", Kind::Flow),
    ("rate", Kind::Rate),
    ("share", Kind::Share),
    ("count", Kind::Count),
    ("angle", Kind::Angle),
    ("speed", Kind::Speed),
];

fn outcome(reader: &mut Reader<'_>, node: &Node, how: How, asks: &Asks) -> Option<Outcome> {
    let mut fields = Fields::open(reader, node)?;
    let id = fields.id(reader, "id");
    let answer = fields.maybe_text(reader, "answer");
    let tells = fields.maybe_text(reader, "tells");
    let when = fields.get("when").and_then(|n| band(reader, n, asks));
    let means = fields.list(reader, "means").iter().filter_map(|n| means(reader, n, how)).collect();
    fields.close(reader);
    let id: At<crate::ids::OutcomeId> = id?;
    let answer = answer.unwrap_or_else(|| id.value.as_str().replace('-', " "));
    Some(Outcome { id, answer, tells, when, means })
}

fn means(reader: &mut Reader<'_>, node: &Node, how: How) -> Option<Means> {
    let mut fields = Fields::open(reader, node)?;
    let finding = fields.id(reader, "finding");
    let at_least = fields.get("at_least").and_then(|n| reader.choice(n, AT_LEAST)).unwrap_or(1);
    let words = &reader.scale.strengths;
    let default = reader.scale.hits.get(&how).copied().unwrap_or((0.9, 0.05));
    let hit = fields.get("hit").map_or(Some(default.0), |n| reader.scaled(n, words, PROBABLE));
    let false_alarm =
        fields.get("false_alarm").map_or(Some(default.1), |n| reader.scaled(n, words, PROBABLE));
    let span = fields.span;
    fields.close(reader);
    let (hit, false_alarm) = (hit?, false_alarm?);
    if hit <= false_alarm {
        let message = format!("hit {hit} must be larger than false alarm {false_alarm}");
        reader.push(Diagnostic::error(Code::Outcomes, span, message));
        return None;
    }
    Some(Means { finding: finding?, at_least, hit, false_alarm })
}

/// `within 2 d` · `below -2 d` · `above 0.3 bar` · `between 1 and 2 g`.
fn band(reader: &mut Reader<'_>, node: &Node, asks: &Asks) -> Option<Band> {
    let text = reader.text(node)?;
    let Asks::Quantity(asked) = asks else {
        let message = "a band is for a quantity, and this check asks for none";
        reader.push(Diagnostic::error(Code::Outcomes, node.span, message));
        return None;
    };
    match parse_band(&text, asked.unit) {
        Ok(band) => Some(band),
        Err(message) => {
            let help =
                "write it like `within 2 d`, `below -2 d`, `above 0.3 bar` or `between 1 and 2 g`".to_owned();
            reader.push(Diagnostic::error(Code::BadUnit, node.span, message).help(help));
            None
        }
    }
}

fn parse_band(text: &str, unit: &'static Unit) -> Result<Band, String> {
    let edge = |text: &str| -> Result<(f64, bool), String> {
        if let Some(count) = text
            .trim()
            .strip_suffix('d')
            .filter(|rest| rest.ends_with(' ') || !rest.ends_with(char::is_alphabetic))
        {
            return crate::units::parse_number(count).map(|n| (n, true)).map_err(|e| e.to_string());
        }
        Quantity::parse_in(text, unit).map(|q| (q.base(), false)).map_err(|e| e.to_string())
    };
    let (word, rest) = text.split_once(' ').ok_or_else(|| format!("'{text}' is not a band"))?;
    let band = |low: f64, high: f64, in_divisions| Ok(Band { low, high, in_divisions });
    match word {
        "within" => edge(rest).and_then(|(n, d)| band(-n.abs(), n.abs(), d)),
        "below" => edge(rest).and_then(|(n, d)| band(f64::NEG_INFINITY, n, d)),
        "above" => edge(rest).and_then(|(n, d)| band(n, f64::INFINITY, d)),
        "between" => {
            let (low, high) = rest.split_once(" and ").ok_or_else(|| format!("'{text}' is not a band"))?;
            let (high, in_divisions) = edge(high)?;
            let low = if in_divisions {
                crate::units::parse_number(low.trim().trim_end_matches('d')).map_err(|e| e.to_string())?
            } else {
                edge(low)?.0
            };
            if low < high {
                band(low, high, in_divisions)
            } else {
                Err(format!("'{text}' is empty: {low} is not below {high}"))
            }
        }
        _ => Err(format!("'{word}' does not begin a band")),
    }
}

fn judge_outcomes(reader: &mut Reader<'_>, check: &Check, span: crate::diag::Span) {
    let mut complain = |span, message: String| reader.push(Diagnostic::error(Code::Outcomes, span, message));
    if matches!(check.asks, Asks::Run | Asks::Complaint) {
        if let Some(outcome) = check.outcomes.first() {
            complain(
                outcome.id.span,
                "runs and complaints bring their own outcomes; take these out".to_owned(),
            );
        }
        return;
    }
    if check.outcomes.len() < 2 {
        complain(span, "a check needs at least two outcomes".to_owned());
    }
    let normal = check.outcomes.iter().filter(|o| o.means.is_empty()).count();
    if normal != 1 {
        complain(
            span,
            format!("exactly one outcome has no `means`, the normal one; here {normal} have none"),
        );
    }
    for (i, outcome) in check.outcomes.iter().enumerate() {
        if check.outcomes[..i].iter().any(|before| before.id.value == outcome.id.value) {
            complain(outcome.id.span, format!("the outcome '{}' stands twice", outcome.id.value));
        }
        let quantity = matches!(check.asks, Asks::Quantity(_));
        if quantity && outcome.when.is_none() {
            complain(outcome.id.span, "an outcome of a quantity needs its band under `when`".to_owned());
        }
    }
}

/// A remedy.
pub(super) fn remedy(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Remedy> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let work = work(reader, &mut fields);
    let cures = fields.id(reader, "cures");
    let strengths = &reader.scale.strengths;
    let works = fields.need(reader, "works").and_then(|n| reader.scaled(n, strengths, PROBABLE));
    let proved_by = fields.id(reader, "proved_by");
    let minutes = |reader: &mut Reader<'_>, node| reader.number(node, MINUTES.0, MINUTES.1);
    let remedy = Remedy {
        id: id.into(),
        only_after: fields.list(reader, "only_after").iter().filter_map(|n| gate(reader, n)).collect(),
        reversible: fields.get("reversible").and_then(|n| reader.truth(n)).unwrap_or(true),
        undo_minutes: fields.get("undo_minutes").and_then(|n| minutes(reader, n)).unwrap_or(0.0),
        changes: fields.get("changes").and_then(|n| reader.id(n)).map(typed),
        by_mean_error: fields.flag(reader, "by_mean_error"),
        calibrates: fields.flag(reader, "calibrates"),
        hands_over: fields.flag(reader, "hands_over"),
        parts: fields.list(reader, "parts").iter().filter_map(|n| part(reader, n)).collect(),
        head: head?,
        work: work?,
        cures: cures?,
        works: works?,
        proved_by: proved_by?,
    };
    fields.close(reader);
    Some(remedy)
}

fn gate(reader: &mut Reader<'_>, node: &Node) -> Option<Gate> {
    let mut fields = Fields::open(reader, node)?;
    let check = fields.id(reader, "check");
    let outcome = fields.get("outcome").and_then(|n| reader.id(n)).map(typed);
    let fills =
        fields.get("fills").and_then(|n| reader.number(n, FILLS.0, FILLS.1)).map_or(0, |n| n as usize);
    fields.close(reader);
    Some(Gate { check: check?, outcome, fills })
}

fn part(reader: &mut Reader<'_>, node: &Node) -> Option<(String, f64)> {
    let mut fields = Fields::open(reader, node)?;
    let name = fields.text(reader, "part");
    let held = fields.need(reader, "held_minutes").and_then(|n| reader.number(n, MINUTES.0, MINUTES.1));
    fields.close(reader);
    Some((name?, held?))
}

/// A caution.
pub(super) fn caution(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<CautionEntry> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let words: Vec<_> = Signal::ALL.iter().map(|s| (s.as_str(), *s)).collect();
    let word = fields.need(reader, "word").and_then(|n| reader.choice(n, &words));
    let hazard = fields.text(reader, "hazard");
    let what_can_happen = fields.text(reader, "what_can_happen");
    let do_this = fields.text(reader, "do_this");
    let exposures: Vec<_> = Exposure::ALL.iter().map(|e| (e.as_str(), *e)).collect();
    let covers = fields.list(reader, "covers").iter().filter_map(|n| reader.choice(n, &exposures)).collect();
    fields.close(reader);
    let caution = Caution {
        id: id.into(),
        word: word?,
        hazard: hazard?,
        what_can_happen: what_can_happen?,
        do_this: do_this?,
        covers,
        brief: false,
    };
    Some(CautionEntry { head: head?, caution })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_read_as_written() {
        let grams = Kind::Mass.base();
        let band = parse_band("within 2 d", grams).unwrap();
        assert_eq!((band.low, band.high, band.in_divisions), (-2.0, 2.0, true));
        assert_eq!(parse_band("below -0.5 kg", grams).unwrap().high, -500.0);
        assert_eq!(parse_band("between 1 and 2 g", grams).unwrap().low, 1.0);
        assert_eq!(parse_band("between -2 d and 2 d", grams).unwrap().low, -2.0);
        for bad in ["above 3 V", "around 3 g", "between 2 and 1 g", "within"] {
            assert!(parse_band(bad, grams).is_err(), "{bad}");
        }
    }
}
