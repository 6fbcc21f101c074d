//! The network written for other programs is the engine's own: a plain elimination over its small tables gives what the engine believes.

use handlamp::belief::{Believed, Plain, Variable, plain};

use crate::small_networks;
use crate::tool::Tool;

/// Numbers over the joint states of some variables, the last fastest.
struct Factor {
    over: Vec<usize>,
    values: Vec<f64>,
}

/// P(these variables are in these states), by eliminating one variable after the other, cheapest first.
fn chance(variables: &[Variable], fixed: &[(usize, usize)]) -> f64 {
    let mut factors: Vec<Factor> = (0..variables.len()).map(|v| own(variables, v)).collect();
    for &(variable, state) in fixed {
        let values = (0..variables[variable].states).map(|s| f64::from(u8::from(s == state))).collect();
        factors.push(Factor { over: vec![variable], values });
    }
    let mut left: Vec<usize> = (0..variables.len()).collect();
    while !left.is_empty() {
        let size = |v: usize| -> usize { scope(&factors, v).iter().map(|&o| variables[o].states).product() };
        let (place, _) = left.iter().enumerate().min_by_key(|(_, v)| size(**v)).unwrap();
        eliminate(variables, &mut factors, left.swap_remove(place));
    }
    factors.iter().map(|factor| factor.values[0]).product()
}

fn own(variables: &[Variable], variable: usize) -> Factor {
    let over = variables[variable].parents.iter().copied().chain([variable]).collect();
    Factor { over, values: variables[variable].table.clone() }
}

/// The variable and all that stand in a factor with it.
fn scope(factors: &[Factor], variable: usize) -> Vec<usize> {
    let with = factors.iter().filter(|factor| factor.over.contains(&variable));
    let mut scope: Vec<usize> = with.flat_map(|factor| factor.over.iter().copied()).collect();
    scope.sort_unstable();
    scope.dedup();
    scope
}

fn eliminate(variables: &[Variable], factors: &mut Vec<Factor>, variable: usize) {
    let mut over = scope(factors, variable);
    over.retain(|&v| v != variable);
    let (with, without) = std::mem::take(factors).into_iter().partition(|f| f.over.contains(&variable));
    *factors = without;
    let rows: usize = over.iter().map(|&v| variables[v].states).product();
    let value = |row: usize| {
        let mut state = vec![0; variables.len()];
        let mut rest = row;
        for &v in over.iter().rev() {
            state[v] = rest % variables[v].states;
            rest /= variables[v].states;
        }
        let at = |own: usize| {
            state[variable] = own;
            let with: &Vec<Factor> = &with;
            with.iter().map(|factor| factor.values[place(variables, factor, &state)]).product::<f64>()
        };
        (0..variables[variable].states).map(at).sum()
    };
    let values = (0..rows).map(value).collect();
    factors.push(Factor { over, values });
}

fn place(variables: &[Variable], factor: &Factor, state: &[usize]) -> usize {
    factor.over.iter().fold(0, |place, &v| place * variables[v].states + state[v])
}

fn disagreement(plain: &Plain, believed: &Believed) -> Option<String> {
    let observed: Vec<(usize, usize)> = plain.observed.iter().map(|&v| (v, 1)).collect();
    let with = |more: &[(usize, usize)]| chance(&plain.variables, &[&observed, more].concat());
    let whole = with(&[]);
    if (whole.ln() - believed.ln_observed).abs() > 1e-9 {
        return Some(format!("ln P(observed): {} and {}", whole.ln(), believed.ln_observed));
    }
    for (&variable, states) in &believed.states {
        for (state, engine) in states.iter().enumerate() {
            let p = with(&[(variable, state)]) / whole;
            if (p - engine).abs() > 1e-9 {
                return Some(format!("{} in state {state}: {p} and {engine}", plain.variables[variable].id));
            }
        }
    }
    let absent: Vec<(usize, usize)> = plain.causes.iter().map(|&cause| (cause, 0)).collect();
    let none = with(&absent) / whole;
    ((none - believed.nothing_known).abs() > 1e-9)
        .then(|| format!("nothing known: {none} and {}", believed.nothing_known))
}

#[test]
fn the_exported_network_has_the_engines_posteriors_whatever_the_case_holds() {
    let mut judged = 0;
    for seed in 0..300 {
        let (network, evidence) = small_networks::case(seed);
        let plain = plain(&network, &evidence).unwrap();
        let Ok(believed) = plain.believed(&network, &evidence, None) else { continue };
        let wrong = disagreement(&plain, &believed);
        assert!(wrong.is_none(), "seed {seed}: {}\n{network:?}\n{evidence:?}", wrong.unwrap_or_default());
        judged += 1;
    }
    assert!(judged > 200, "only {judged} cases were possible");
}

#[test]
fn every_exported_table_is_small_and_a_distribution() {
    for seed in 0..300 {
        let (network, evidence) = small_networks::case(seed);
        for variable in plain(&network, &evidence).unwrap().variables {
            for row in variable.table.chunks(variable.states) {
                assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{variable:?}");
                assert!(row.iter().all(|p| (0.0..=1.0).contains(p)), "{variable:?}");
            }
            assert!(variable.id.starts_with('e') || variable.parents.len() <= 3, "{variable:?}");
        }
    }
}

#[test]
fn a_network_is_exported_with_the_names_of_the_book_and_what_is_believed() {
    let tool = Tool::minimal(80);
    let json = tool.run(&["knowledge", "export", "--machine", "tray-filler", "--format", "json"]).json();
    assert_eq!(json["format"], "handlamp-network/1");
    let causes: Vec<&serde_json::Value> =
        json["variables"].as_array().unwrap().iter().filter(|v| v["kind"] == "cause").collect();
    assert_eq!(causes.last().unwrap()["name"], "not-in-the-book");
    let outside = causes.last().unwrap()["id"].as_str().unwrap();
    assert!((json["posterior"][outside][1].as_f64().unwrap() - 0.05).abs() < 1e-12, "its rate, unasked");
    let xml = tool.run(&["knowledge", "export", "--machine", "tray-filler"]).out;
    for cause in &causes {
        assert!(xml.contains(&format!("<NAME>{}</NAME>", cause["id"].as_str().unwrap())), "{xml}");
        assert!(xml.contains(&format!("entry = {}<", cause["name"].as_str().unwrap())), "{xml}");
    }
    assert_eq!(tool.run(&["knowledge", "export"]).status, Some(2), "which machine?");
    assert_eq!(tool.run(&["knowledge", "export", "--machine", "tray-filer"]).status, Some(3));
}
