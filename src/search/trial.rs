//! Measuring the search: phrasings of callers with the entries that they mean, and how many lead there.

use crate::diag::{Code, Diagnostic, FileId, Sources};
use crate::ids;
use crate::knowledge::{Fields, Reader, Scale, yaml};

use super::{Hit, Index, SearchError};

/// How many results a person looks at without scrolling.
pub const LOOKED_AT: usize = 5;
/// How far a miss is followed.
const FOLLOWED: usize = 50;

/// What a caller says and the entries that it may mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrasing {
    /// The caller's words.
    pub said: String,
    /// Any of these is right; none is a call that nothing in the knowledge fits.
    pub means: Vec<String>,
    /// The machine that it is about, where it makes sense on that one alone.
    pub machine: Option<String>,
}

/// A phrasing of which the right entry was not first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Miss {
    /// The phrasing.
    pub phrasing: Phrasing,
    /// Where the right entry stood, counted from one; `None` when it was not found.
    pub place: Option<usize>,
    /// What stood first.
    pub first: Option<String>,
}

/// How many phrasings led to the right entry.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Trial {
    /// Phrasings tried that mean something.
    pub tried: usize,
    /// Right entry first.
    pub first: usize,
    /// Right entry among the first [`LOOKED_AT`].
    pub five: usize,
    /// The others, in the order of the file.
    pub misses: Vec<Miss>,
    /// Those that mean nothing here, each with what came first all the same.
    pub strangers: Vec<(String, Option<String>)>,
}

impl Trial {
    /// The share with the right entry first, and among the first five; `None` when nothing was tried.
    pub fn shares(&self) -> Option<(f64, f64)> {
        let share = |n: usize| n as f64 / self.tried as f64;
        (self.tried > 0).then(|| (share(self.first), share(self.five)))
    }
}

/// Reads a file of phrasings: a list of `{said: text, means: [ids], machine: id}`, the machine left out
/// where any will do. An id that names nothing is a problem.
pub fn read(sources: &Sources, file: FileId, known: &[&str]) -> (Vec<Phrasing>, Vec<Diagnostic>) {
    let scale = Scale::default();
    let node = match yaml::parse(sources, file) {
        Ok(node) => node,
        Err(problem) => return (Vec::new(), vec![problem]),
    };
    let mut reader = Reader::new(sources, &scale);
    let list = reader.list(&node).unwrap_or(&[]);
    let phrasings = list.iter().filter_map(|node| phrasing(&mut reader, node, known)).collect();
    (phrasings, reader.problems)
}

fn phrasing(reader: &mut Reader<'_>, node: &yaml::Node, known: &[&str]) -> Option<Phrasing> {
    let mut fields = Fields::open(reader, node)?;
    let said = fields.text(reader, "said");
    let nodes = fields.need(reader, "means").and_then(|n| reader.list(n)).unwrap_or(&[]);
    let means = nodes.iter().filter_map(|node| entry(reader, node, known)).collect();
    let machine = fields.get("machine").and_then(|node| entry(reader, node, known));
    fields.close(reader);
    Some(Phrasing { said: said?, means, machine })
}

fn entry(reader: &mut Reader<'_>, node: &yaml::Node, known: &[&str]) -> Option<String> {
    let id = reader.id(node)?;
    if !known.contains(&id.value.as_str()) {
        let problem =
            Diagnostic::error(Code::UnknownId, id.span, format!("there is no entry '{}'", id.value));
        reader.push(problem.help(ids::did_you_mean(&id.value, known.iter().copied())));
    }
    Some(id.value)
}

/// Tries each phrasing as `find` would, looking at the hits that apply to its machine.
pub fn measure(
    index: &Index,
    phrasings: &[Phrasing],
    applies: impl Fn(&Phrasing, &Hit) -> bool,
) -> Result<Trial, SearchError> {
    let mut trial = Trial::default();
    for phrasing in phrasings {
        let mut hits = index.find(&phrasing.said, FOLLOWED)?;
        hits.retain(|hit| applies(phrasing, hit));
        let first = hits.first().map(|hit| hit.id.clone());
        if phrasing.means.is_empty() {
            trial.strangers.push((phrasing.said.clone(), first));
            continue;
        }
        let place = hits.iter().position(|hit| phrasing.means.contains(&hit.id)).map(|place| place + 1);
        trial.tried += 1;
        trial.first += usize::from(place == Some(1));
        trial.five += usize::from(place.is_some_and(|place| place <= LOOKED_AT));
        if place != Some(1) {
            trial.misses.push(Miss { phrasing: phrasing.clone(), place, first });
        }
    }
    Ok(trial)
}
