//! The fault graph as a drawing in the DOT language. Titles and links only, never step text.

use std::fmt::Write as _;

use super::{FaultGraph, Node, Relation};
use crate::diag::harmless;
use crate::knowledge::Knowledge;

impl FaultGraph {
    /// The whole graph, or one entry with what it is linked to.
    pub fn dot(&self, knowledge: &Knowledge, around: Option<&Node>) -> String {
        let near: Option<Vec<Node>> = around.map(|centre| {
            let others = self.neighbours(centre).into_iter().map(|n| n.node);
            others.chain([centre.clone()]).collect()
        });
        let drawn = |node: &Node| near.as_ref().is_none_or(|near| near.contains(node));
        let mut out = String::from("digraph faults {\n  rankdir=LR;\n  node [fontname=\"sans-serif\"];\n");
        for node in self.nodes().filter(|node| drawn(node)) {
            let bold = if around == Some(node) { ", penwidth=3" } else { "" };
            let _ = writeln!(
                out,
                "  {} [label={}, shape={}{bold}];",
                name(node, knowledge),
                quoted(node.title(knowledge)),
                shape(node, knowledge)
            );
        }
        for (from, to, link) in self.links() {
            // Around one entry, links between two of its neighbours would only tangle the drawing.
            let touches = around.is_none_or(|centre| centre == from || centre == to);
            if touches {
                let outcome = link.outcome.as_ref().map_or_else(String::new, |o| format!("{o}: "));
                let label = quoted(&format!("{outcome}{}", link.words));
                let (from, to) = (name(from, knowledge), name(to, knowledge));
                let _ = writeln!(out, "  {from} -> {to} [label={label}, style={}];", style(link.relation));
            }
        }
        out.push_str("}\n");
        out
    }
}

fn name(node: &Node, knowledge: &Knowledge) -> String {
    quoted(&format!("{}:{}", node.kind(knowledge), node.id()))
}

/// A quoted DOT string; backslash and quote are the only characters that need care inside one.
fn quoted(text: &str) -> String {
    let one_line = harmless(text).replace(['\n', '\t'], " ");
    format!("\"{}\"", one_line.replace('\\', "\\\\").replace('"', "\\\""))
}

fn shape(node: &Node, knowledge: &Knowledge) -> &'static str {
    match node.kind(knowledge) {
        "circumstance" => "cds",
        "cause" => "box",
        "condition" => "hexagon",
        "symptom" => "ellipse",
        "check" => "note",
        _ => "house",
    }
}

fn style(relation: Relation) -> &'static str {
    match relation {
        Relation::LeadsTo => "solid",
        Relation::Raises => "bold",
        Relation::BearsOn => "dashed",
        Relation::Cures | Relation::Proves => "dotted",
    }
}
