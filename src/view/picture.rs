//! What a drawing of the surroundings of one entry says: titles, links and how strong they are. Never step text.

use super::{clean, words};
use crate::graph::{FaultGraph, Link, Node, Relation, Surroundings, Towards, rate_word};
use crate::ids::{CauseId, FindingId, MachineId};
use crate::knowledge::{Asks, Check, Knowledge, Remedy};

/// More checks or remedies than these are not named in one box.
const MOST_NAMES: usize = 2;
/// More circumstances than this are not named in one box.
const MOST_CIRCUMSTANCES: usize = 1;

/// A drawing in three columns, causes to the left and symptoms to the right.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Picture {
    /// Title of the entry.
    pub title: String,
    /// What kind of entry it is.
    pub kind: String,
    /// What stands above the columns: of a check or remedy, which have no box.
    pub above: Vec<String>,
    /// Causes, conditions and symptoms; in each what matters most first.
    pub columns: [Column; 3],
    /// Links between boxes.
    pub links: Vec<Arrow>,
    /// Words for strengths with their probabilities, strongest first.
    pub strengths: Vec<(String, f64)>,
    /// What stands below: where the rest can be read.
    pub below: String,
}

/// A column of boxes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Column {
    /// What its boxes are.
    pub heading: &'static str,
    /// The boxes.
    pub boxes: Vec<Card>,
}

/// One box.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Card {
    /// Title of its entry.
    pub title: String,
    /// Lines under the title.
    pub notes: Vec<String>,
    /// Whether the drawing is about this one.
    pub centre: bool,
}

/// A link from one box to another, each as column and place in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrow {
    /// Where it begins.
    pub from: (usize, usize),
    /// Where it ends.
    pub to: (usize, usize),
    /// Probability that the one brings the other about.
    pub strength: f64,
    /// The same in words.
    pub words: String,
}

/// The drawing of one entry, on one machine if given. Commands that name it stand in `below`.
pub fn picture(
    knowledge: &Knowledge,
    graph: &FaultGraph,
    centre: &Node,
    machine: Option<&MachineId>,
) -> Picture {
    let near = graph.surroundings(knowledge, centre, machine);
    let painter = Painter { knowledge, graph, centre };
    let nodes = painter.nodes(&near);
    let columns = ["Causes", "Conditions", "Symptoms"];
    let mut strengths: Vec<_> = knowledge.scale.strengths.iter().map(|(w, p)| (clean(w), *p)).collect();
    strengths.sort_by(|a, b| b.1.total_cmp(&a.1));
    let column = |at: usize| Column {
        heading: columns[at],
        boxes: nodes[at].iter().map(|node| painter.card(node)).collect(),
    };
    Picture {
        title: one_line(centre.title(knowledge)),
        kind: words::sentence_start(centre.kind(knowledge)),
        above: painter.above(),
        columns: [column(0), column(1), column(2)],
        links: painter.arrows(&nodes),
        strengths,
        below: format!(
            "Names only. Steps, and the cautions that come before them: handlamp show {}",
            centre.id()
        ),
    }
}

fn one_line(text: &str) -> String {
    clean(text).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// 'Checks: one; two; and 3 more', or nothing.
fn naming(what: [&str; 2], titles: &[String], most: usize) -> Option<String> {
    let named = titles.iter().take(most).map(|t| words::clause(t)).collect::<Vec<_>>().join("; ");
    let more = titles.len().saturating_sub(most);
    let rest = if more > 0 { format!("; and {more} more") } else { String::new() };
    let what = if titles.len() == 1 { what[0] } else { what[1] };
    (!titles.is_empty()).then(|| one_line(&format!("{what}: {named}{rest}")))
}

struct Painter<'a> {
    knowledge: &'a Knowledge,
    graph: &'a FaultGraph,
    centre: &'a Node,
}

impl Painter<'_> {
    /// The entries of the three columns; the centre first in its own.
    fn nodes(&self, near: &Surroundings) -> [Vec<Node>; 3] {
        let finding = |id: &FindingId| Node::Finding(id.clone());
        let mut columns = [
            near.causes.iter().map(|id: &CauseId| Node::Cause(id.clone())).collect::<Vec<_>>(),
            near.conditions.iter().map(finding).collect(),
            near.symptoms.iter().map(finding).collect(),
        ];
        for column in &mut columns {
            column.sort_by_key(|node| node != self.centre);
        }
        columns
    }

    fn card(&self, node: &Node) -> Card {
        let mut notes = Vec::new();
        match node {
            Node::Cause(id) => self.about_cause(id, node, &mut notes),
            _ => notes.extend(self.seen_by(node)),
        }
        let centre = node == self.centre
            || matches!((self.centre, node), (Node::Remedy(r), Node::Cause(c))
            if self.knowledge.remedies.get(r).is_some_and(|r| r.cures.value == *c));
        Card { title: one_line(node.title(self.knowledge)), notes, centre }
    }

    fn about_cause(&self, id: &CauseId, node: &Node, notes: &mut Vec<String>) {
        if let Some(cause) = self.knowledge.causes.get(id) {
            let rate = cause.machines.values().map(|rate| rate.value).max_by(f64::total_cmp);
            notes.extend(rate.map(|rate| words::sentence_start(&rate_word(rate, &self.knowledge.scale))));
        }
        notes.extend(naming(
            ["Likelier after", "Likelier after"],
            &self.titles(node, Relation::Raises),
            MOST_CIRCUMSTANCES,
        ));
        notes.extend(naming(["Remedy", "Remedies"], &self.titles(node, Relation::Cures), MOST_NAMES));
    }

    /// Titles of what is linked towards an entry, each once.
    fn titles(&self, node: &Node, relation: Relation) -> Vec<String> {
        let near = self.graph.neighbours(node).into_iter();
        let mut titles: Vec<String> = Vec::new();
        for n in near.filter(|n| n.towards == Towards::This && n.link.relation == relation) {
            let title = n.node.title(self.knowledge).to_owned();
            if !titles.contains(&title) {
                titles.push(title);
            }
        }
        titles
    }

    /// The checks that see a finding; in the drawing of a check, the answer by which it does.
    fn seen_by(&self, node: &Node) -> Option<String> {
        if let Node::Check(id) = self.centre {
            let check = self.knowledge.checks.get(id)?;
            let near = self.graph.neighbours(node).into_iter();
            let answers = near.filter(|n| n.node == *self.centre && n.link.relation == Relation::BearsOn);
            let answers: Vec<String> = answers.filter_map(|n| answer(check, &n.link)).collect();
            return naming(["Shown by", "Shown by"], &answers, MOST_NAMES);
        }
        naming(["Check", "Checks"], &self.titles(node, Relation::BearsOn), MOST_NAMES)
    }

    fn above(&self) -> Vec<String> {
        let lines = match self.centre {
            Node::Check(id) => self.knowledge.checks.get(id).map(above_check),
            Node::Remedy(id) => self.knowledge.remedies.get(id).map(|r| self.above_remedy(r)),
            Node::Circumstance(id) => {
                self.knowledge.circumstances.get(id).map(|c| vec![format!("Question: {}", c.asked)])
            }
            Node::Cause(_) | Node::Finding(_) => None,
        };
        lines.unwrap_or_default().iter().map(|line| one_line(line)).collect()
    }

    fn above_remedy(&self, remedy: &Remedy) -> Vec<String> {
        let title = |node: Node| words::clause(node.title(self.knowledge));
        let mut lines = vec![format!("Puts right: {}", title(Node::Cause(remedy.cures.value.clone())))];
        let gates: Vec<String> =
            remedy.only_after.iter().map(|g| title(Node::Check(g.check.value.clone()))).collect();
        lines.extend(naming(["First known by", "First known by"], &gates, MOST_NAMES));
        lines.push(format!("Proved by: {}", title(Node::Check(remedy.proved_by.value.clone()))));
        lines
    }

    fn arrows(&self, nodes: &[Vec<Node>; 3]) -> Vec<Arrow> {
        let place = |node: &Node| {
            (0..3).find_map(|column| Some((column, nodes[column].iter().position(|n| n == node)?)))
        };
        let links = self.graph.links().into_iter();
        let drawn = links.filter(|(_, _, link)| link.relation == Relation::LeadsTo);
        drawn
            .filter_map(|(from, to, link)| {
                Some(Arrow {
                    from: place(from)?,
                    to: place(to)?,
                    strength: link.strength.unwrap_or(0.0),
                    words: clean(&link.words),
                })
            })
            .collect()
    }
}

fn above_check(check: &Check) -> Vec<String> {
    let mut lines = vec![format!("Question: {}", check.ask)];
    let normal = check.outcomes.iter().filter(|o| o.means.is_empty()).map(|o| o.answer.clone());
    lines.extend(naming(["All well", "All well"], &normal.collect::<Vec<_>>(), MOST_NAMES));
    lines
}

/// The answer of a check that shows a finding; runs and complaints have none of their own.
fn answer(check: &Check, link: &Link) -> Option<String> {
    match (&link.outcome, &check.asks) {
        (Some(id), _) => check.outcomes.iter().find(|o| o.id.value == *id).map(|o| o.answer.clone()),
        (None, Asks::Run) => Some("the run".to_owned()),
        (None, _) => Some("the caller".to_owned()),
    }
}
