//! How common the causes behind an entry are: what a busy desk hears most should come first among entries that fit
//! the words equally well.

use std::collections::BTreeMap;

use crate::ids::FindingId;
use crate::knowledge::{Cause, Knowledge, LeadsTo, Strength};

/// Findings lie at most so many links behind a cause; more is a circle, which loading refuses.
const DEEPEST: usize = 8;

/// The chance a call that a cause is there, on the machine where it is commonest.
pub(super) fn cause(cause: &Cause) -> f64 {
    cause.machines.values().map(|rate| rate.value).fold(0.0, f64::max)
}

/// The expected number of causes a call that bring each finding about, along the links of the book.
pub(super) fn findings(knowledge: &Knowledge) -> BTreeMap<&FindingId, f64> {
    let mut all: BTreeMap<&FindingId, f64> = BTreeMap::new();
    let mut front: BTreeMap<&FindingId, f64> = BTreeMap::new();
    for entry in knowledge.causes.values() {
        spread(&mut front, &entry.leads_to, cause(entry));
    }
    for _ in 0..DEEPEST {
        let mut next = BTreeMap::new();
        for (id, here) in &front {
            *all.entry(id).or_default() += here;
            if let Some(finding) = knowledge.findings.get(id.as_str()) {
                spread(&mut next, &finding.leads_to, *here);
            }
        }
        front = next;
    }
    all
}

fn spread<'k>(to: &mut BTreeMap<&'k FindingId, f64>, links: &'k [LeadsTo], chance: f64) {
    for link in links {
        *to.entry(&link.finding.value).or_default() += chance * any(&link.strength.value);
    }
}

/// The chance of at least some of it.
fn any(strength: &Strength) -> f64 {
    match strength {
        Strength::One(all) | Strength::Each(all, _) => *all,
        Strength::ByDegree(some, much) => f64::midpoint(any(some), any(much)),
    }
}
