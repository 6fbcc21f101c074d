//! One line of weights as people and printers write it: which numbers in it are weights.
//!
//! A line of nothing but numbers is a list. In a line of a printer or a logger the weight is the number with the unit
//! (the net one where gross, tare and net stand together), else the last number.

use super::clock::{Stamp, time_of_day};
use crate::units::{Kind, Unit, UnitError, parse_number};

/// A number with the unit it was given, if any.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weight {
    pub(super) number: f64,
    pub(super) unit: Option<&'static Unit>,
}

/// What a line gave.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Line {
    /// The weights in it, in order.
    pub(super) weights: Vec<Weight>,
    /// The parts that are no weight, and why.
    pub(super) skipped: Vec<(String, String)>,
    /// When it was weighed, as far as the line says.
    pub(super) stamp: Stamp,
    /// A unit that stands alone: it holds for the values that follow.
    pub(super) unit: Option<&'static Unit>,
    /// A number in it has the unit of something else, as in `5 V`.
    pub(super) wrong_kind: Option<&'static Unit>,
}

/// One piece of a line.
#[derive(Debug, Clone, PartialEq)]
enum Piece {
    Number(Weight),
    /// Date, time of day: not weights.
    Clock,
    /// A stable mark, a label of gross, net or tare, a sign alone.
    Mark(String),
    /// Anything else, with what is wrong with it.
    Junk(String, String),
}

/// Words that open a line of sums: not a fill.
const SUMS: [&str; 14] = [
    "total", "sum", "mean", "average", "avg", "max", "min", "range", "sd", "std", "target", "count", "tare",
    "n=",
];
/// Marks that printers set beside a weight.
const MARKS: [&str; 15] =
    ["st", "us", "s", "d", "n", "nt", "net", "g", "gs", "gross", "t", "tr", "stable", "ok", "sd"];

/// Reads one line. `commas_part` says that commas stand between values and are no decimal marks.
pub(super) fn read_line(text: &str, commas_part: bool) -> Line {
    let mut line = Line::default();
    let lower = text.trim().to_ascii_lowercase();
    if let Some(unit) = lone_unit(text) {
        line.unit = Some(unit);
        return line;
    }
    if SUMS.iter().any(|word| lower.strip_prefix(word).is_some_and(ends_word)) {
        line.skipped.push((shorten(text), "a sum or a setting, not a fill".to_owned()));
        return line;
    }
    let (pieces, stamp) = pieces(text, commas_part);
    line.stamp = stamp;
    let numbers: Vec<Weight> = pieces.iter().filter_map(Piece::number).collect();
    let masses = |w: &&Weight| w.unit.is_some_and(|u| u.kind == Kind::Mass);
    let with_unit = numbers.iter().filter(masses).count();
    let bare = numbers.iter().filter(|w| w.unit.is_none()).count();
    let other = numbers.iter().find(|w| w.unit.is_some_and(|u| u.kind != Kind::Mass));
    let opens_with_words = matches!(pieces.first(), Some(Piece::Junk(..)));
    let printed =
        stamp.seconds.is_some() || pieces.iter().any(|p| matches!(p, Piece::Clock | Piece::Mark(_)));
    if with_unit == 0 && other.is_some() {
        line.wrong_kind = other.and_then(|w| w.unit);
    } else if with_unit > 0 {
        let net = (with_unit > 1).then(|| net_of(&pieces)).flatten();
        line.weights = match net {
            Some(net) => vec![net],
            None => numbers.iter().filter(masses).copied().collect(),
        };
        // '247.2 247.0 g': the unit closes a list.
        if bare > 0 && !printed && !opens_with_words && numbers.last().is_some_and(|w| w.unit.is_some()) {
            line.weights =
                numbers.iter().filter(|w| w.unit.is_none_or(|u| u.kind == Kind::Mass)).copied().collect();
        }
    } else if printed || opens_with_words {
        line.weights.extend(numbers.last());
    } else {
        line.weights = numbers;
    }
    let junk = |p: &Piece| match p {
        Piece::Junk(text, why) => Some((text.clone(), why.clone())),
        _ => None,
    };
    // Words around a weight are what printers write; in a list, or with no weight beside them, they are junk.
    let refused = |why: &str| why.contains("instrument");
    let list = !printed && !opens_with_words && with_unit == 0;
    let kept =
        pieces.iter().filter_map(junk).filter(|(_, why)| list || line.weights.is_empty() || refused(why));
    let kept: Vec<_> = kept.collect();
    line.skipped.extend(kept);
    if line.weights.is_empty() && line.skipped.is_empty() && line.wrong_kind.is_none() && !lower.is_empty() {
        line.skipped.push((shorten(text), "no weight in it".to_owned()));
    }
    line
}

impl Piece {
    fn number(&self) -> Option<Weight> {
        match self {
            Piece::Number(weight) => Some(*weight),
            _ => None,
        }
    }
}

fn ends_word(rest: &str) -> bool {
    !rest.starts_with(|c: char| c.is_alphanumeric())
}

/// `g`, `unit: kg`, `weights in g`.
fn lone_unit(text: &str) -> Option<&'static Unit> {
    let text = text.trim().trim_end_matches([':', '.']);
    if text.chars().any(|c| c.is_ascii_digit()) {
        return None;
    }
    let rest = ["unit", "weights in", "in"].iter().find_map(|lead| text.strip_prefix(lead)).unwrap_or(text);
    Unit::find(rest.trim_matches([' ', ':', '='])).filter(|u| u.kind == Kind::Mass)
}

fn pieces(text: &str, commas_part: bool) -> (Vec<Piece>, Stamp) {
    let parts = |c: char| c.is_whitespace() || matches!(c, ';' | '|') || (commas_part && c == ',');
    let mut pieces: Vec<Piece> = Vec::new();
    let stamp = Stamp::of(text.split(parts).map(|token| token.trim_end_matches([':', ','])));
    for token in text.split(parts).filter(|t| !t.is_empty()) {
        let token = token.trim_end_matches([':', ',']);
        let piece = piece(token);
        match (pieces.last_mut(), &piece) {
            // A unit set apart from its number, unless it is a mark that only looks like one.
            (Some(Piece::Number(weight)), _) if weight.unit.is_none() && unit_after(token).is_some() => {
                weight.unit = unit_after(token);
            }
            // A sign set apart from its number.
            (Some(sign @ Piece::Mark(_)), Piece::Number(weight)) if is_sign(sign) => {
                let minus = matches!(sign, Piece::Mark(m) if m != "+");
                *sign = Piece::Number(Weight {
                    number: if minus { -weight.number } else { weight.number },
                    ..*weight
                });
            }
            _ if token.is_empty() => {}
            _ => pieces.push(piece),
        }
    }
    (pieces, stamp)
}

fn is_sign(piece: &Piece) -> bool {
    matches!(piece, Piece::Mark(m) if ["+", "-", "\u{2212}"].contains(&m.as_str()))
}

fn piece(token: &str) -> Piece {
    if is_clock(token) {
        return Piece::Clock;
    }
    let lower = token.trim_matches(['(', ')', '[', ']', '*', '#']).to_ascii_lowercase();
    if lower.is_empty() || ["+", "-", "\u{2212}"].contains(&token) || MARKS.contains(&lower.as_str()) {
        return Piece::Mark(lower.clone()).or_sign(token);
    }
    let token = token.trim_matches(['(', ')', '*', '#']);
    let end = token.char_indices().find(|(_, c)| !is_figure(*c)).map_or(token.len(), |(at, _)| at);
    // An exponent is part of the number, a unit right behind it is not.
    let whole = parse_number(token);
    let (digits, unit) = if whole.is_ok() { (token, "") } else { token.split_at(end) };
    match (parse_number(digits), unit) {
        (Ok(number), "") => Piece::Number(Weight { number, unit: None }),
        (Ok(number), name) if Unit::find(name).is_some() => {
            Piece::Number(Weight { number, unit: Unit::find(name) })
        }
        _ => Piece::Junk(shorten(token), reason(&whole)),
    }
}

impl Piece {
    /// Keeps a sign as it stands.
    fn or_sign(self, token: &str) -> Self {
        if token.len() <= 3 && ["+", "-", "\u{2212}"].contains(&token) {
            Piece::Mark(token.to_owned())
        } else {
            self
        }
    }
}

fn reason(error: &Result<f64, UnitError>) -> String {
    match error {
        Err(UnitError::NotFinite(_)) => "not a number that an instrument can show".to_owned(),
        _ => "not a number".to_owned(),
    }
}

fn is_figure(c: char) -> bool {
    c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '\u{2212}' | '\'')
}

/// A unit as it stands behind a number. Capital S, D, N, T are marks of printers; a capital G is taken as gram.
fn unit_after(token: &str) -> Option<&'static Unit> {
    let token = token.trim_matches(['(', ')', '[', ']', ',', '.']);
    let mark = token.len() == 1
        && token.chars().all(|c| c.is_ascii_uppercase())
        && !matches!(token, "G" | "V" | "C" | "F");
    if mark { None } else { Unit::find(token).filter(|u| u.kind != Kind::Count) }
}

/// The number labelled net, before or behind: `N 247.2 g`, `247.2 g net`.
fn net_of(pieces: &[Piece]) -> Option<Weight> {
    let label =
        |p: Option<&Piece>, names: &[&str]| matches!(p, Some(Piece::Mark(m)) if names.contains(&m.as_str()));
    let any_other = pieces.iter().any(|p| label(Some(p), &["g", "gs", "gross", "t", "tr", "tare"]));
    let net = ["n", "nt", "net"];
    let before = (1..pieces.len()).find(|i| label(pieces.get(i - 1), &net) && pieces[*i].number().is_some());
    let behind = (0..pieces.len()).find(|i| label(pieces.get(i + 1), &net) && pieces[*i].number().is_some());
    let labels_lead = matches!(pieces.first(), Some(Piece::Mark(_)));
    let at = if labels_lead { before.or(behind) } else { behind.or(before) };
    at.filter(|_| any_other || before.is_some() || behind.is_some()).and_then(|i| pieces[i].number())
}

/// A date or a time of day: digits parted twice by the same mark, or by a colon.
fn is_clock(token: &str) -> bool {
    let digits = |part: &str| !part.is_empty() && part.chars().all(|c| c.is_ascii_digit());
    let date = ['-', '/', '.'].iter().any(|mark| {
        let parts: Vec<&str> = token.split(*mark).collect();
        parts.len() == 3
            && parts.iter().all(|p| digits(p) && p.len() <= 4)
            && parts.iter().any(|p| p.len() == 4 || parts[0].len() <= 2)
    });
    date || time_of_day(token).is_some() || token.split('T').next().is_some_and(|d| d != token && is_clock(d))
}

/// A short, clean piece of a text, for naming it.
pub(super) fn shorten(text: &str) -> String {
    let clean: String = text.trim().chars().filter(|c| !c.is_control()).collect();
    if clean.chars().count() <= 40 { clean } else { clean.chars().take(39).chain(['…']).collect() }
}
