//! ProblemsOut in what people wrote, drawn with the place under them: sentence, file, line and column, the lines
//! themselves with a caret, and what to do about it.
//!
//! annotate-snippets draws the lines; sentence, place and help are wrapped here, since it lets them run past the
//! edge. Only a window around the place is drawn, so that a line of ten million characters costs nothing.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use serde::Serialize;
use unicode_width::UnicodeWidthStr;

use super::layout::Lines;
use super::terminal::Look;
use super::theme::Role;
use crate::diag::{Diagnostic, Position, Severity, Sources, Span, is_harmful};
use crate::view::Words;

/// All problems, a blank line between them.
pub fn draw(problems: &[Diagnostic], sources: &Sources, look: &Look) -> String {
    let mut lines = Lines::new(look);
    for problem in problems {
        lines.gap();
        one(&mut lines, problem, sources);
    }
    lines.finish()
}

fn one(lines: &mut Lines<'_>, problem: &Diagnostic, sources: &Sources) {
    let word = match problem.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
    };
    let role = Role::Problem(problem.severity);
    lines.hang(
        Some(role),
        &format!("{word}: "),
        "  ",
        &Words::new().strong(&problem.message).plain(format!(" ({})", problem.code.as_str())),
    );
    if let Some(span) = problem.span {
        place(lines, sources, span, &problem.label);
    }
    for (span, label) in &problem.related {
        place(lines, sources, *span, label);
    }
    if let Some(help) = &problem.help {
        lines.hang(Some(Role::Hint), "help: ", "  ", &Words::from(help.as_str()));
    }
}

fn place(lines: &mut Lines<'_>, sources: &Sources, span: Span, label: &str) {
    lines.path("at ", &sources.position(span).to_string());
    let text = sources.text(span.file);
    if text.is_empty() {
        return;
    }
    let window = Window::around(text, span, lines.look.width);
    for line in window.draw(label, lines.look.width).lines() {
        lines.line(line);
    }
    if !label.is_empty() && !window.has_room_for(label, lines.look.width) {
        lines.hang(None, "  ", "  ", &Words::from(label));
    }
}

/// The line of a span, with the one before it, cut to what fits beside the line number.
struct Window {
    /// One or two lines, harmless.
    text: String,
    /// Number of the first, from one.
    first: usize,
    /// The span inside `text`.
    start: usize,
    end: usize,
    /// Columns before the span in its line.
    column: usize,
}

/// Columns that the line numbers and the rule may take.
const MARGIN: usize = 8;

impl Window {
    fn around(text: &str, span: Span, width: usize) -> Self {
        let start = boundary(text, span.start.min(text.len()));
        let end = boundary(text, span.end.clamp(start, text.len()));
        let line_start = text[..start].rfind('\n').map_or(0, |i| i + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |i| start + i);
        let room = width.saturating_sub(MARGIN).max(10);
        // The span's own line, from not too far before the span.
        let from = text[line_start..start]
            .char_indices()
            .rev()
            .nth(room / 2)
            .map_or(line_start, |(i, _)| line_start + i);
        let mut window = Self {
            text: String::new(),
            first: text[..start].matches('\n').count() + 1,
            start: 0,
            end: 0,
            column: 0,
        };
        if line_start > 0 && from == line_start {
            let before = text[..line_start - 1].rsplit('\n').next().unwrap_or("");
            window.text = visible(before.chars().take(room));
            window.text.push('\n');
            window.first -= 1;
        }
        let own = window.text.len();
        window.text.push_str(&visible(text[from..start].chars()));
        window.start = window.text.len();
        window.column = window.text[own..].width();
        let left = room.saturating_sub(window.column).max(1);
        let stop = end.min(line_end).max(start);
        window.text.push_str(&visible(text[start..stop].chars().take(left)));
        window.end = window.text.len().max(window.start);
        let left = room.saturating_sub(window.text[own..].width());
        window.text.push_str(&visible(text[stop..line_end].chars().take(left)));
        window
    }

    fn has_room_for(&self, label: &str, width: usize) -> bool {
        self.column + self.text[self.start..self.end].width() + label.width() + MARGIN < width
    }

    fn draw(&self, label: &str, width: usize) -> String {
        let label = if self.has_room_for(label, width) && !label.is_empty() { Some(label) } else { None };
        // A caret under nothing needs something to stand under.
        let end = if self.end == self.start {
            (self.start + 1).min(self.text.len()).max(self.start)
        } else {
            self.end
        };
        let annotation = AnnotationKind::Primary.span(self.start..end).label(label);
        let snippet =
            Snippet::source(self.text.as_str()).line_start(self.first).fold(false).annotation(annotation);
        let group = Group::with_level(Level::ERROR).element(snippet);
        Renderer::plain().term_width(width).render(&[group])
    }
}

fn boundary(text: &str, mut at: usize) -> usize {
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Tabs as one blank, harmful characters as a mark, so that columns stay true.
fn visible(chars: impl Iterator<Item = char>) -> String {
    chars
        .map(|c| {
            if c == '\t' {
                ' '
            } else if is_harmful(c) {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect()
}

/// ProblemsOut as `handlamp-problems/1`.
#[derive(Debug, Serialize)]
pub struct ProblemsOut<'a> {
    format: &'static str,
    errors: usize,
    warnings: usize,
    problems: Vec<ProblemOut<'a>>,
}

#[derive(Debug, Serialize)]
struct ProblemOut<'a> {
    code: &'static str,
    severity: Severity,
    message: &'a str,
    at: Option<Position>,
    label: Option<&'a str>,
    related: Vec<Related<'a>>,
    help: Option<&'a str>,
}

#[derive(Debug, Serialize)]
struct Related<'a> {
    at: Position,
    label: &'a str,
}

/// The problems for a program.
pub fn json<'a>(found: &[(&'a [Diagnostic], &Sources)]) -> ProblemsOut<'a> {
    let problems =
        || found.iter().flat_map(|(problems, sources)| problems.iter().map(move |p| (p, *sources)));
    let count = |severity| problems().filter(|(p, _)| p.severity == severity).count();
    let related = |p: &'a Diagnostic, sources: &Sources| {
        p.related.iter().map(|(span, label)| Related { at: sources.position(*span), label }).collect()
    };
    ProblemsOut {
        format: "handlamp-problems/1",
        errors: count(Severity::Error),
        warnings: count(Severity::Warning),
        problems: problems()
            .map(|(p, sources)| ProblemOut {
                code: p.code.as_str(),
                severity: p.severity,
                message: &p.message,
                at: p.span.map(|span| sources.position(span)),
                label: (!p.label.is_empty()).then_some(p.label.as_str()),
                related: related(p, sources),
                help: p.help.as_deref(),
            })
            .collect(),
    }
}
