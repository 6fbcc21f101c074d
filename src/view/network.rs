//! What the variables of an exported network are called.

use crate::belief::{Model, NOT_IN_THE_BOOK, Plain};

/// The ids of the entries that a network was made of; empty lists leave its variables nameless.
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// Of the circumstances.
    pub circumstances: Vec<String>,
    /// Of the causes.
    pub causes: Vec<String>,
    /// Of the findings; run patterns that no symptom is have their own name.
    pub findings: Vec<String>,
}

/// One variable in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Described {
    /// What it is.
    pub kind: &'static str,
    /// The id of the entry, if it is one.
    pub name: Option<String>,
    /// Its states; the first is absent, did not happen, normal.
    pub states: Vec<String>,
}

impl Names {
    /// The names of one machine's network.
    pub fn of(model: &Model) -> Self {
        let mut findings: Vec<String> = model.findings.iter().map(ToString::to_string).collect();
        findings.resize(model.network.findings().len(), String::new());
        for (pattern, &finding) in &model.patterns {
            if finding >= model.findings.len() {
                findings[finding].clone_from(pattern);
            }
        }
        Self {
            circumstances: model.circumstances.iter().map(ToString::to_string).collect(),
            causes: model
                .causes
                .iter()
                .map(ToString::to_string)
                .chain([NOT_IN_THE_BOOK.to_owned()])
                .collect(),
            findings,
        }
    }
}

/// Every variable in words, in order.
pub fn describe(plain: &Plain, names: &Names) -> Vec<Described> {
    let helper = |states| Described { kind: "helper", name: None, states: degrees(states) };
    let mut all: Vec<Described> = plain.variables.iter().map(|v| helper(v.states)).collect();
    let parts: [(_, &[usize], &[String], [&str; 2]); 7] = [
        ("circumstance", &plain.circumstances, &names.circumstances, ["did-not", "happened"]),
        ("cause-now", &plain.causes_now, &names.causes, ["absent", "present"]),
        ("cause", &plain.causes, &names.causes, ["absent", "present"]),
        ("finding", &plain.findings, &names.findings, ["normal", "present"]),
        ("reader", &plain.readers, &[], ["none", "s1"]),
        ("draw", &plain.draws, &[], ["awake", "s1"]),
        ("evidence", &plain.observed, &[], ["other", "given"]),
    ];
    for (kind, variables, names, states) in parts {
        for (index, &variable) in variables.iter().enumerate() {
            let described = &mut all[variable];
            described.kind = kind;
            described.name = names.get(index).cloned();
            if described.states.len() == 2 {
                described.states = states.map(ToOwned::to_owned).to_vec();
            }
        }
    }
    all
}

fn degrees(states: usize) -> Vec<String> {
    let name = |state| match (state, states) {
        (0, _) => "normal".to_owned(),
        (1, 3) => "some".to_owned(),
        (2, 3) => "much".to_owned(),
        _ => format!("s{state}"),
    };
    (0..states).map(name).collect()
}
