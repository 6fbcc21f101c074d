//! `find --json`: what fits some words, as `handlamp-hits/1`.

use serde::Serialize;

use crate::search::Hit;
use crate::search::past::Past;
use crate::view::hits::why;

/// What fits, best first.
#[derive(Debug, Serialize)]
pub struct HitsOut<'a> {
    format: &'static str,
    words: &'a str,
    hits: Vec<HitOut<'a>>,
    /// Closed cases that fit.
    cases: Vec<PastOut<'a>>,
}

#[derive(Debug, Serialize)]
struct PastOut<'a> {
    case: &'a str,
    machine: &'a str,
    day: &'a str,
    complaint: &'a str,
    cured_by: Option<&'a str>,
}

#[derive(Debug, Serialize)]
struct HitOut<'a> {
    kind: &'static str,
    id: &'a str,
    title: &'a str,
    score: f64,
    /// In words, as a person reads it.
    why: String,
    matched: MatchedOut<'a>,
}

#[derive(Debug, Serialize)]
struct MatchedOut<'a> {
    part: &'static str,
    text: &'a str,
    words: &'a [String],
    /// Typed, and the other word for it that stands there.
    same: &'a [(String, String)],
    spelling: &'a [String],
}

/// The hits for a program.
pub fn hits<'a>(words: &'a str, hits: &'a [Hit], cases: &'a [Past]) -> HitsOut<'a> {
    let one = |hit: &'a Hit| HitOut {
        kind: hit.kind.as_str(),
        id: &hit.id,
        title: &hit.title,
        score: hit.score,
        why: why(&hit.matched),
        matched: MatchedOut {
            part: hit.matched.part.as_str(),
            text: &hit.matched.text,
            words: &hit.matched.words,
            same: &hit.matched.same,
            spelling: &hit.matched.slips,
        },
    };
    let case = |past: &'a Past| PastOut {
        case: &past.id,
        machine: &past.machine,
        day: &past.day,
        complaint: &past.complaint,
        cured_by: past.cured_by.as_deref(),
    };
    let cases = cases.iter().map(case).collect();
    HitsOut { format: "handlamp-hits/1", words, hits: hits.iter().map(one).collect(), cases }
}
