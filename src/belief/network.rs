//! The network as numbers: circumstances → causes → findings, by index.
//!
//! A cause is a noisy-OR of its circumstances with its base rate as leak; a finding is a noisy-MAX with leak of causes and
//! earlier findings (Díez, UAI 1993). For a link from a parent in degree `u > 0`,
//! `P(link drives the child to at least s) = strength[u − 1][s − 1]`, and
//! `P(child ≤ s | parents) = (1 − leak[s]) · Π_p (1 − strength_p[u_p − 1][s])`.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Most degrees that a finding can have above normal.
pub const MOST_DEGREES: usize = 8;

/// Something that happened before, or not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Circumstance {
    /// P(happened) before anything is known of this call.
    pub usual: f64,
}

/// Something that can be wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cause {
    /// P(present) when none of its circumstances happened. With 0 and no `after` the cause is absent (option not fitted).
    pub base: f64,
    /// (circumstance, chance that it brings the cause).
    pub after: Vec<(usize, f64)>,
    /// For a fault that comes and goes: the chance that it acts in an answer taken while all looks well, or nobody knows.
    pub catch: Option<f64>,
}

/// A symptom or a condition: degree 0 is normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Degrees above normal: 1 is yes/no, 2 is some/much.
    pub degrees: usize,
    /// P(at least degree 1), P(at least degree 2)… without any parent; falling.
    pub leak: Vec<f64>,
    /// What drives it; parent findings have smaller indices.
    pub parents: Vec<Link>,
}

/// One arrow into a finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Link {
    /// Where the arrow starts.
    pub parent: Parent,
    /// `[parent degree − 1][child degree − 1]` = P(drives the child to at least that degree); each row falling.
    pub strength: Vec<Vec<f64>>,
}

/// Where an arrow into a finding starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Parent {
    /// A cause, by index.
    Cause(usize),
    /// An earlier finding, by index.
    Finding(usize),
}

/// Why numbers are no network.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{part} {index}: {why}")]
pub struct NetworkError {
    /// `circumstance`, `cause` or `finding`.
    pub part: &'static str,
    /// Its index.
    pub index: usize,
    /// What is wrong, as half a sentence.
    pub why: &'static str,
}

/// A checked network. Findings stand in topological order, parents first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Network {
    circumstances: Vec<Circumstance>,
    causes: Vec<Cause>,
    findings: Vec<Finding>,
}

impl Network {
    /// Takes the parts if every number is a probability, every index names something and every table has its shape.
    pub fn new(
        circumstances: Vec<Circumstance>,
        causes: Vec<Cause>,
        findings: Vec<Finding>,
    ) -> Result<Self, NetworkError> {
        let network = Self { circumstances, causes, findings };
        for (index, circumstance) in network.circumstances.iter().enumerate() {
            let why =
                (!is_probability(circumstance.usual)).then_some("its usual chance is not a probability");
            refuse("circumstance", index, why)?;
        }
        for (index, cause) in network.causes.iter().enumerate() {
            refuse("cause", index, network.fault_of_cause(cause))?;
        }
        for (index, finding) in network.findings.iter().enumerate() {
            refuse("finding", index, network.fault_of_finding(index, finding))?;
        }
        Ok(network)
    }

    /// The circumstances, by index.
    pub fn circumstances(&self) -> &[Circumstance] {
        &self.circumstances
    }

    /// The causes, by index.
    pub fn causes(&self) -> &[Cause] {
        &self.causes
    }

    /// The findings, parents before children.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    fn fault_of_cause(&self, cause: &Cause) -> Option<&'static str> {
        if !is_probability(cause.base) {
            return Some("its base rate is not a probability");
        }
        if !cause.catch.is_none_or(is_probability) {
            return Some("its chance of being caught is not a probability");
        }
        if !cause
            .after
            .iter()
            .all(|&(index, chance)| index < self.circumstances.len() && is_probability(chance))
        {
            return Some("a circumstance of it is unknown or its chance is not a probability");
        }
        twice(cause.after.iter().map(|after| after.0)).then_some("it names a circumstance twice")
    }

    fn fault_of_finding(&self, index: usize, finding: &Finding) -> Option<&'static str> {
        if !(1..=MOST_DEGREES).contains(&finding.degrees) {
            return Some("it has no degree above normal, or too many");
        }
        if !is_falling(&finding.leak, finding.degrees) {
            return Some("its leak is not one falling list of probabilities, one a degree");
        }
        if twice(finding.parents.iter().map(|link| link.parent)) {
            return Some("it names a parent twice");
        }
        for link in &finding.parents {
            let rows = match link.parent {
                Parent::Cause(cause) if cause < self.causes.len() => 1,
                Parent::Finding(parent) if parent < index => self.findings[parent].degrees,
                _ => return Some("a parent of it is unknown or does not stand before it"),
            };
            if link.strength.len() != rows
                || !link.strength.iter().all(|row| is_falling(row, finding.degrees))
            {
                return Some("a link's strengths are not one falling list a degree of the parent");
            }
        }
        None
    }
}

fn refuse(part: &'static str, index: usize, why: Option<&'static str>) -> Result<(), NetworkError> {
    why.map_or(Ok(()), |why| Err(NetworkError { part, index, why }))
}

/// Whether a number is finite and in 0..=1.
pub(crate) fn is_probability(number: f64) -> bool {
    (0.0..=1.0).contains(&number)
}

fn is_falling(row: &[f64], degrees: usize) -> bool {
    row.len() == degrees
        && row.iter().all(|&p| is_probability(p))
        && row.windows(2).all(|pair| pair[0] >= pair[1])
}

/// Whether a list names something twice.
pub(crate) fn twice<T: Ord>(items: impl Iterator<Item = T>) -> bool {
    let mut all: Vec<T> = items.collect();
    all.sort_unstable();
    all.windows(2).any(|pair| pair[0] == pair[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn why(finding: Finding) -> &'static str {
        let cause = Cause { base: 0.1, after: Vec::new(), catch: None };
        Network::new(Vec::new(), vec![cause], vec![finding]).unwrap_err().why
    }

    #[test]
    fn a_table_of_the_wrong_shape_or_a_parent_out_of_order_is_refused_in_words() {
        let link = |parent, strength: Vec<f64>| Link { parent, strength: vec![strength] };
        let finding = |leak: Vec<f64>, parents| Finding { degrees: leak.len(), leak, parents };
        assert!(why(finding(vec![0.1, 0.2], Vec::new())).contains("falling"));
        assert!(why(finding(vec![f64::NAN], Vec::new())).contains("leak"));
        assert!(why(finding(Vec::new(), Vec::new())).contains("degree"));
        assert!(why(finding(vec![0.1], vec![link(Parent::Finding(0), vec![0.5])])).contains("before"));
        assert!(why(finding(vec![0.1], vec![link(Parent::Cause(0), vec![0.5, 0.4])])).contains("strengths"));
        let twice = vec![link(Parent::Cause(0), vec![0.5]), link(Parent::Cause(0), vec![0.4])];
        assert!(why(finding(vec![0.1], twice)).contains("twice"));
    }
}
