//! `find --try --json`: how many phrasings lead to the right entry, as `handlamp-phrasings/1`.

use serde::Serialize;

use crate::search::trial::Trial;

/// Shares, floors and misses.
#[derive(Debug, Serialize)]
pub struct TrialOut<'a> {
    format: &'static str,
    tried: usize,
    first: usize,
    first_five: usize,
    share_first: Option<f64>,
    share_first_five: Option<f64>,
    floor_first: f64,
    floor_first_five: f64,
    misses: Vec<MissOut<'a>>,
    strangers: Vec<StrangerOut<'a>>,
}

#[derive(Debug, Serialize)]
struct MissOut<'a> {
    said: &'a str,
    means: &'a [String],
    place: Option<usize>,
    first: Option<&'a str>,
}

/// A phrasing that means nothing here, and what came first all the same.
#[derive(Debug, Serialize)]
struct StrangerOut<'a> {
    said: &'a str,
    first: Option<&'a str>,
}

/// The trial for a program.
pub fn trial(trial: &Trial, floors: (f64, f64)) -> TrialOut<'_> {
    let misses = trial.misses.iter().map(|miss| MissOut {
        said: &miss.phrasing.said,
        means: &miss.phrasing.means,
        place: miss.place,
        first: miss.first.as_deref(),
    });
    TrialOut {
        format: "handlamp-phrasings/1",
        tried: trial.tried,
        first: trial.first,
        first_five: trial.five,
        share_first: trial.shares().map(|(first, _)| first),
        share_first_five: trial.shares().map(|(_, five)| five),
        floor_first: floors.0,
        floor_first_five: floors.1,
        misses: misses.collect(),
        strangers: trial
            .strangers
            .iter()
            .map(|(said, first)| StrangerOut { said, first: first.as_deref() })
            .collect(),
    }
}
