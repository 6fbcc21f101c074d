//! A page on a terminal: wrapped to its width, painted if it shows colours.

use termimad::MadSkin;

use super::layout::Lines;
use super::plot::strip_chart;
use super::steps::{self, Steps};
use super::theme::{Paint, Role};
use super::{NARROWEST, WIDEST, blanks};
use crate::safety::STANDING_NOTICE;
use crate::view::{Block, Field, Page, Words};

/// How a page shall look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Columns, between [`NARROWEST`] and [`WIDEST`].
    pub width: usize,
    /// Colours or none.
    pub paint: Paint,
    /// Plain characters only, for mail and reports.
    pub plain: bool,
}

impl Look {
    /// For a terminal so many columns wide.
    pub fn terminal(columns: usize, paint: Paint) -> Self {
        Self { width: columns.clamp(NARROWEST, WIDEST), paint, plain: false }
    }

    pub(super) fn skin(&self) -> MadSkin {
        let mut skin = self.paint.skin();
        if self.plain {
            skin.table_border_chars = &super::theme::OPEN_PLAIN;
        }
        skin
    }

    pub(super) fn bullet(&self) -> char {
        if self.plain { '-' } else { '•' }
    }

    pub(super) fn side(&self) -> char {
        if self.plain { '|' } else { '▌' }
    }

    pub(super) fn bar(&self) -> (char, char) {
        if self.plain { ('#', '.') } else { ('█', '·') }
    }
}

/// The page as text, ready to be written.
pub fn draw(page: &Page, look: &Look) -> String {
    let mut lines = Lines::new(look);
    several(&mut lines, page.closed());
    lines.finish()
}

fn several<'b>(lines: &mut Lines<'_>, blocks: impl Iterator<Item = &'b Block>) {
    let mut after_heading = true;
    for block in blocks {
        if !after_heading {
            lines.gap();
        }
        after_heading = matches!(block, Block::Heading(_) | Block::Subheading(_));
        one(lines, block);
    }
}

/// A sentence behind a lead-in such as `help: `, for standard error.
pub fn sentence(lead: &str, text: &str, look: &Look) -> String {
    let mut lines = Lines::new(look);
    lines.hang(Some(Role::Strong), lead, "  ", &Words::from(text));
    lines.finish()
}

fn one(lines: &mut Lines<'_>, block: &Block) {
    match block {
        Block::Title(text) => lines.painted(Role::Title, 0, text),
        Block::Heading(text) | Block::Subheading(text) => lines.painted(Role::Heading, 0, text),
        Block::Banner(text) => lines.painted(Role::Strong, 0, &format!("*** {text} ***")),
        Block::Together(blocks) => several(lines, blocks.iter()),
        Block::Text(words) => lines.paragraph(words),
        Block::Step(step, lockout) => step.show(&mut Steps { lines, lockout: *lockout }),
        Block::Caution(caution) => steps::caution(lines, caution),
        Block::Isolation(isolation) => {
            steps::lock(lines, isolation);
            lines.gap();
            steps::hand_back(lines, isolation);
        }
        Block::Bullets(items) => lines.bullets(0, items),
        Block::Numbered(items) => lines.numbered(2, items),
        Block::Table(table) => lines.table(table),
        Block::Bars(bars) => lines.bars(bars),
        Block::Lines(texts) => {
            for text in texts {
                lines.line(text);
            }
        }
        Block::Plot(plot) => {
            let strip = super::strip(plot);
            let drawn = strip_chart(&strip, lines.look.width, !lines.look.plain);
            for line in drawn {
                lines.line(&line);
            }
        }
        Block::ToFill(fields) => to_fill(lines, fields),
        Block::Cells { count, unit } => to_fill(lines, &blanks::cells(*count, unit)),
        Block::Form { head, rows } => (0..*rows).for_each(|_| to_fill(lines, &blanks::row(head))),
        Block::Hint(words) => lines.hang(Some(Role::Hint), "> ", "  ", words),
        Block::Quote { by, text } => {
            let mark = format!("{} ", if lines.look.plain { '>' } else { '│' });
            lines.hang(Some(Role::Quiet), &mark, &mark, &Words::from(text.as_str()));
            lines.painted(Role::Quiet, 2, &format!("{by}, own words: not a checked instruction."));
        }
        Block::NoticeAround => {}
        Block::Notice => lines.painted(Role::Quiet, 0, STANDING_NOTICE),
    }
}

fn to_fill(lines: &mut Lines<'_>, fields: &[Field]) {
    const INDENT: &str = "  ";
    for line in blanks::lines(fields, lines.look.width - INDENT.len()) {
        lines.hang(None, "", INDENT, &line.into());
    }
}
