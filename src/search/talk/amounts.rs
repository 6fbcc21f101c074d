//! Amounts in a caller's words: what a fill should weigh, by how much it is off, what the display says and what another
//! scale says.

use super::phrases::{Found, Text, Token};
use crate::knowledge::TalkWords;
use crate::units::{Kind, Unit};

/// Most words between an amount and the word that says what it is.
const REACH: usize = 3;

/// What a fill should weigh, and how far off it is, as told; all in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amounts {
    /// The unit of all figures.
    pub unit: &'static Unit,
    /// Whether the caller said the unit; grams are taken where nobody did, and a person must confirm them.
    pub unit_said: bool,
    /// What a fill should weigh.
    pub target: Option<f64>,
    /// Weight less what it should be: below zero is light.
    pub error: Option<f64>,
    /// How far off, where nobody said to which side.
    pub off: Option<f64>,
    /// What the machine shows.
    pub shown: Option<f64>,
    /// What another scale says.
    pub weighed: Option<f64>,
}

/// What an amount is.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Role {
    Target,
    Shown,
    Weighed,
    Error(f64),
    Off,
}

/// A figure with its unit.
#[derive(Debug, Clone, Copy)]
struct Amount {
    value: f64,
    unit: Option<&'static Unit>,
    found: Found,
}

/// 'One in ten', as per cent.
pub(super) fn share(words: &TalkWords, text: &Text) -> Option<(Found, f64)> {
    let figure = |place: usize| text.tokens.get(place).and_then(|t| number(words, t));
    (0..text.tokens.len()).find_map(|start| {
        let one = figure(start)?;
        let between = ["in", "of"].iter().find_map(|word| {
            let near = (start + 1..start + 3).find(|p| text.tokens.get(*p).is_some_and(|t| t.text == *word));
            near.filter(|p| *p == start + 1 || text.tokens[start + 1].text == "out")
        })?;
        let every = (between + 1..between + 3).find_map(|p| Some((p, figure(p).filter(|n| *n > 1.0)?)))?;
        let unit = text.tokens.get(every.0 + 1).and_then(|t| Unit::find(&t.text));
        let plain = one >= 1.0 && one < every.1 && one.fract() == 0.0 && every.1.fract() == 0.0;
        let whole = plain && unit.is_none_or(|u| u.kind != Kind::Mass) && every.1 <= 200.0;
        whole.then_some((Found { start, end: every.0 + 1 }, 100.0 * one / every.1))
    })
}

/// The amounts told, with the words from the first to the last of them.
pub(super) fn read(words: &TalkWords, text: &Text) -> Option<(Found, Amounts)> {
    let in_share = share(words, text).map(|(found, _)| found);
    let mut all = amounts(words, text);
    all.retain(|a| in_share.is_none_or(|share| !share.overlaps(&a.found)));
    let unit = all.iter().find_map(|a| a.unit.filter(|u| u.kind == Kind::Mass));
    let mut out = Amounts {
        unit: unit.unwrap_or(Kind::Mass.base()),
        unit_said: unit.is_some(),
        target: None,
        error: None,
        off: None,
        shown: None,
        weighed: None,
    };
    let mut used: Vec<Found> = Vec::new();
    let roles: Vec<Option<Role>> = all.iter().map(|a| role(words, text, a)).collect();
    let per_cent = |a: &Amount| a.unit.is_some_and(|u| u.kind == Kind::Share);
    for (place, amount) in all.iter().enumerate() {
        let next = roles.get(place + 1).copied().flatten();
        // '247 instead of 250', '3 g of 250'
        let before_target =
            next == Some(Role::Target) && all[place + 1].found.start <= amount.found.end + REACH;
        let role = roles[place].or_else(|| match before_target {
            true if all[place + 1].value < 2.0 * amount.value => Some(Role::Weighed),
            true => Some(Role::Off),
            false => None,
        });
        let value = convert(amount, out.unit);
        let of_target = || {
            let target = all.iter().zip(&roles).find(|(_, r)| **r == Some(Role::Target));
            target.map(|(t, _)| convert(t, out.unit) * amount.value / 100.0)
        };
        let size = if per_cent(amount) { of_target() } else { Some(value) };
        match (role, size) {
            (Some(Role::Error(sign)), Some(size)) => out.error = out.error.or(Some(sign * size)),
            (Some(Role::Off), Some(size)) => out.off = out.off.or(Some(size)),
            (Some(Role::Target), _) if !per_cent(amount) => out.target = out.target.or(Some(value)),
            (Some(Role::Shown), _) if !per_cent(amount) => out.shown = out.shown.or(Some(value)),
            (Some(Role::Weighed), _) if !per_cent(amount) => out.weighed = out.weighed.or(Some(value)),
            _ => continue,
        }
        used.push(amount.found);
    }
    settle(words, text, &mut out);
    let (start, last) = (used.first()?.start, used.last()?.end);
    // 'Light' of '3 g light' is quoted with it.
    let sides = words.lighter.iter().chain(&words.heavier).flat_map(|p| text.find_all(p));
    let side = sides.filter(|f| f.start == last && text.together(f.start, start)).map(|f| f.end).max();
    let found = Found { start, end: side.unwrap_or(last) };
    let pair = out.shown.is_some() && out.weighed.is_some();
    let worth = out.error.is_some() || out.off.is_some() || out.target.is_some() || pair;
    worth.then_some((found, out))
}

/// What follows from two figures, and the side of an 'off' from the rest of the text.
fn settle(words: &TalkWords, text: &Text, out: &mut Amounts) {
    if out.error.is_none() {
        out.error = out.weighed.and_then(|weighed| Some(weighed - out.target.or(out.shown)?));
    }
    let said = |list: &[String]| list.iter().any(|p| text.find(p).is_some());
    if let (Some(off), None) = (out.off, out.error) {
        out.error = match (said(&words.lighter), said(&words.heavier)) {
            (true, false) => Some(-off),
            (false, true) => Some(off),
            _ => None,
        };
    }
    if out.error.is_some() {
        out.off = None;
    }
}

fn convert(amount: &Amount, to: &'static Unit) -> f64 {
    match amount.unit {
        Some(unit) if unit.kind == Kind::Mass => to.from_base(unit.to_base(amount.value)),
        _ => amount.value,
    }
}

fn number(words: &TalkWords, token: &Token) -> Option<f64> {
    token.number.or_else(|| words.numbers.get(&token.text).copied())
}

/// Every figure that may be a weight: with a unit of mass or per cent, or bare and not of something else.
fn amounts(words: &TalkWords, text: &Text) -> Vec<Amount> {
    let mut all: Vec<Amount> = Vec::new();
    for (place, token) in text.tokens.iter().enumerate() {
        if all.last().is_some_and(|last| last.found.end > place) {
            continue;
        }
        let Some(value) = number(words, token) else { continue };
        // 'a gram', 'half a gram', 'a couple of grams'
        let reach = if token.number.is_some() { 1 } else { REACH };
        let unit = (place + 1..=place + reach).find_map(|at| {
            let between = &text.tokens[place + 1..at.min(text.tokens.len())];
            let filler = between
                .iter()
                .all(|t| matches!(t.text.as_str(), "a" | "an" | "of" | "couple" | "few" | "or" | "so"));
            let unit = text.tokens.get(at).filter(|_| filler).and_then(|t| Unit::find(&t.text))?;
            Some((at, unit))
        });
        let value = match text.tokens.get(place + 1).map(|t| t.text.as_str()) {
            Some("couple") => 2.0,
            Some("few") => continue,
            _ => value,
        };
        match unit {
            Some((at, unit)) if matches!(unit.kind, Kind::Mass | Kind::Share) => {
                all.push(Amount { value, unit: Some(unit), found: Found { start: place, end: at + 1 } });
            }
            None if token.number.is_some() && !of_something_else(words, text, place) => {
                all.push(Amount { value, unit: None, found: Found { start: place, end: place + 1 } });
            }
            _ => {}
        }
    }
    all
}

/// '3 weeks', '20 bags a minute', 'line 2'.
fn of_something_else(words: &TalkWords, text: &Text, place: usize) -> bool {
    let next = text.tokens.get(place + 1).filter(|t| t.clause == text.tokens[place].clause);
    let time = |t: &Token| words.times.iter().any(|w| *w == t.text || t.text.strip_suffix('s') == Some(w));
    let counted = |t: &Token| {
        matches!(
            t.stem.as_str(),
            "bag"
                | "fill"
                | "time"
                | "minut"
                | "hour"
                | "second"
                | "a"
                | "an"
                | "per"
                | "way"
                | "peopl"
                | "pm"
                | "am"
                | "o"
                | "th"
        )
    };
    let numbered = place.checked_sub(1).map(|p| text.tokens[p].text.as_str());
    let named = matches!(
        numbered,
        Some("line" | "machine" | "number" | "no" | "lane" | "lot" | "batch" | "step" | "at")
    );
    next.is_some_and(|t| time(t) || counted(t)) || named
}

/// What the words around an amount say it is.
fn role(words: &TalkWords, text: &Text, amount: &Amount) -> Option<Role> {
    let Found { start, end } = amount.found;
    let clause = text.tokens[start].clause;
    let found = |list: &[String]| -> Vec<Found> { list.iter().flat_map(|p| text.find_all(p)).collect() };
    let free = |from: usize, to: usize| text.tokens[from.min(to)..to].iter().all(|t| t.number.is_none());
    let after = |list: &[String], reach: usize| {
        let near = |f: &Found| f.start >= end && f.start < end + reach && free(end, f.start);
        found(list).into_iter().any(|f| near(&f) && text.tokens[f.start].clause == clause)
    };
    let before = |list: &[String], reach: usize| {
        let near = |f: &Found| f.end <= start && f.end + reach > start && free(f.end, start);
        let nearest = found(list).into_iter().filter(near).map(|f| f.end).max();
        nearest.filter(|at| text.tokens[at - 1].clause == clause)
    };
    if after(&words.lighter, 2) {
        return Some(Role::Error(-1.0));
    }
    if after(&words.heavier, 2) {
        return Some(Role::Error(1.0));
    }
    let bag = text.tokens.get(end).is_some_and(|t| {
        matches!(t.stem.as_str(), "bag" | "fill" | "pack" | "pouch" | "packet" | "sachet" | "target")
    });
    if bag && amount.unit.is_some_and(|u| u.kind == Kind::Mass) {
        return Some(Role::Target);
    }
    let ways = [
        (before(&words.target, 2), Role::Target),
        (before(&words.shown, REACH), Role::Shown),
        (before(&words.weighed, REACH), Role::Weighed),
        (before(&words.lighter, REACH), Role::Error(-1.0)),
        (before(&words.heavier, REACH), Role::Error(1.0)),
    ];
    // The nearest word decides.
    let nearest = ways.into_iter().filter_map(|(at, role)| Some((at?, role)));
    let nearest = nearest.fold(None, |best: Option<(usize, Role)>, one| match best {
        Some(best) if best.0 >= one.0 => Some(best),
        _ => Some(one),
    });
    let out = ["out", "off", "wrong", "difference"].map(str::to_owned);
    nearest.map(|(_, role)| role).or_else(|| after(&out, 2).then_some(Role::Off))
}
