//! From the knowledge of one machine to the network of numbers, and back from indices to names.

use std::collections::BTreeMap;

use super::likelihood::CheckTable;
use super::network::{Cause, Circumstance, Finding, Link, Network, NetworkError, Parent};
use crate::graph::View;
use crate::ids::{CauseId, CheckId, CircumstanceId, FindingId};
use crate::knowledge::{
    Asks, Cause as KnownCause, Check, Finding as KnownFinding, Knowledge, LeadsTo, Strength,
};

/// The chance that a fault that comes and goes acts in an answer taken while all looks well.
const CATCH: f64 = 0.2;
/// The id under which what is in no book is told; it stands in no knowledge and in no list of causes.
pub const NOT_IN_THE_BOOK: &str = "not-in-the-book";

/// The network of one machine with the names of its parts.
#[derive(Debug, Clone)]
pub struct Model {
    /// The numbers.
    pub network: Network,
    /// Circumstances by index.
    pub circumstances: Vec<CircumstanceId>,
    /// Causes by index; what is in no book comes after the last.
    pub causes: Vec<CauseId>,
    /// Findings by index, parents first; run patterns without a symptom come after the last.
    pub findings: Vec<FindingId>,
    /// The finding that each run pattern is.
    pub patterns: BTreeMap<String, usize>,
    /// Checks whose outcomes exclude each other.
    pub tables: BTreeMap<CheckId, CheckTable>,
    by_finding: BTreeMap<FindingId, usize>,
}

impl Model {
    /// Compiles what applies to one machine. Causes whose option is not fitted are not in the view and so absent.
    pub fn of(knowledge: &Knowledge, view: &View<'_>) -> Result<Self, NetworkError> {
        let by_finding: BTreeMap<FindingId, usize> =
            view.findings.iter().enumerate().map(|(i, finding)| (finding.id.clone(), i)).collect();
        let circumstances = view.circumstances.iter().map(|c| Circumstance { usual: c.usual });
        let mut causes: Vec<Cause> = view.causes.iter().map(|known| cause(view, known)).collect();
        let (rate, strength) = knowledge.scale.not_in_the_book;
        causes.push(Cause { base: rate / 1000.0, after: Vec::new(), catch: None });
        let mut findings: Vec<Finding> = view.findings.iter().map(|known| unlinked(known)).collect();
        for (index, known) in view.causes.iter().enumerate() {
            link(&by_finding, &mut findings, Parent::Cause(index), 1, &known.leads_to);
        }
        for (index, known) in view.findings.iter().enumerate() {
            link(&by_finding, &mut findings, Parent::Finding(index), known.degrees, &known.leads_to);
        }
        for finding in &mut findings {
            let row = row(&Strength::One(strength), finding.degrees);
            finding.parents.push(Link { parent: Parent::Cause(view.causes.len()), strength: vec![row] });
        }
        let patterns = patterns(knowledge.scale.leak, view, &by_finding, &mut findings);
        let network = Network::new(circumstances.collect(), causes, findings)?;
        let mut model = Self {
            network,
            circumstances: view.circumstances.iter().map(|c| c.id.clone()).collect(),
            causes: view.causes.iter().map(|c| c.id.clone()).collect(),
            findings: view.findings.iter().map(|f| f.id.clone()).collect(),
            patterns,
            tables: BTreeMap::new(),
            by_finding,
        };
        model.tables = view
            .checks
            .iter()
            .filter(|check| matches!(check.asks, Asks::Choice | Asks::Quantity(_)))
            .map(|check| (check.id.clone(), model.table(check)))
            .collect();
        Ok(model)
    }

    fn table(&self, check: &Check) -> CheckTable {
        let lookup = |id: &FindingId| {
            let index = *self.by_finding.get(id)?;
            Some((index, self.network.findings()[index].degrees))
        };
        CheckTable::of(check, &lookup)
    }

    /// The index of what is in no book.
    pub fn outside(&self) -> usize {
        self.causes.len()
    }

    /// The index of a cause.
    pub fn cause(&self, id: &CauseId) -> Option<usize> {
        self.causes.iter().position(|known| known == id)
    }

    /// The index of a circumstance.
    pub fn circumstance(&self, id: &CircumstanceId) -> Option<usize> {
        self.circumstances.iter().position(|known| known == id)
    }

    /// The index of a finding.
    pub fn finding(&self, id: &FindingId) -> Option<usize> {
        self.by_finding.get(id).copied()
    }
}

fn cause(view: &View<'_>, entry: &KnownCause) -> Cause {
    let base = view.rate(entry).unwrap_or(0.0);
    let after = entry
        .after
        .iter()
        .filter_map(|(circumstance, chance)| {
            let index = view.circumstances.iter().position(|known| known.id == circumstance.value)?;
            Some((index, *chance))
        })
        .collect();
    Cause { base, after, catch: entry.comes_and_goes.then_some(CATCH) }
}

fn unlinked(entry: &KnownFinding) -> Finding {
    Finding { degrees: entry.degrees, leak: entry.leak.clone(), parents: Vec::new() }
}

/// A strength as P(at least each degree of the child). One word for a child with degrees means 'some', half of it 'much'.
fn row(strength: &Strength, degrees: usize) -> Vec<f64> {
    match strength {
        Strength::One(w) => (0..degrees).map(|s| w / f64::from(1 << s)).collect(),
        Strength::Each(some, much) => [*some, *much].into_iter().take(degrees).collect(),
        Strength::ByDegree(some, _) => row(some, degrees),
    }
}

fn rows(strength: &Strength, parent: usize, child: usize) -> Vec<Vec<f64>> {
    match strength {
        Strength::ByDegree(some, much) => [some, much].iter().take(parent).map(|s| row(s, child)).collect(),
        one => vec![row(one, child); parent],
    }
}

fn link(
    by_finding: &BTreeMap<FindingId, usize>,
    findings: &mut [Finding],
    parent: Parent,
    degrees: usize,
    leads: &[LeadsTo],
) {
    for lead in leads {
        let Some(&child) = by_finding.get(&lead.finding.value) else { continue };
        let strength = rows(&lead.strength.value, degrees, findings[child].degrees);
        if !findings[child].parents.iter().any(|known| known.parent == parent) {
            findings[child].parents.push(Link { parent, strength });
        }
    }
}

/// The finding of each pattern; a pattern that no symptom is gets a leaf of its own.
fn patterns(
    leak: f64,
    view: &View<'_>,
    by_finding: &BTreeMap<FindingId, usize>,
    findings: &mut Vec<Finding>,
) -> BTreeMap<String, usize> {
    let mut patterns = BTreeMap::new();
    for (&name, symptom) in &view.patterns {
        let known = symptom.and_then(|symptom| by_finding.get(&symptom.id).copied());
        let index = known.unwrap_or_else(|| {
            findings.push(Finding { degrees: 1, leak: vec![leak], parents: Vec::new() });
            findings.len() - 1
        });
        patterns.insert(name.to_owned(), index);
    }
    patterns
}
