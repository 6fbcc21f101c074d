//! Laying text out in lines that are never wider than the page: wrapping, hanging indents, tables and bars.
//!
//! Wrapping and tables are termimad's. People's text goes in as raw pieces, so nothing in it is taken for markup.

use termimad::minimad::{Alignment, Composite, CompositeStyle, Compound, Line, TableRow, Text};
use termimad::{FmtText, MadSkin};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::terminal::Look;
use super::theme::Role;
use crate::view::{Bar, Table, Words, clean};

/// Text is not squeezed into less than this, however deep it is indented.
const LEAST: usize = 12;
/// A column of a table is not squeezed into less than this; the table is taken apart instead.
const LEAST_COLUMN: usize = 18;

/// The page as it grows, line by line.
pub(super) struct Lines<'a> {
    pub(super) look: &'a Look,
    skin: MadSkin,
    out: Vec<String>,
}

impl<'a> Lines<'a> {
    pub(super) fn new(look: &'a Look) -> Self {
        Self { look, skin: look.skin(), out: Vec::new() }
    }

    pub(super) fn finish(self) -> String {
        let mut text = self.out.join("\n");
        text.push('\n');
        text
    }

    /// An empty line, unless one stands there already.
    pub(super) fn gap(&mut self) {
        if self.out.last().is_some_and(|line| !line.is_empty()) {
            self.out.push(String::new());
        }
    }

    /// A line that is already laid out, cut at the edge.
    pub(super) fn line(&mut self, text: &str) {
        self.out.push(cut(&clean(text).replace('\n', " "), self.look.width));
    }

    /// A line in a role, wrapped and painted whole.
    pub(super) fn painted(&mut self, role: Role, indent: usize, text: &str) {
        let blank = " ".repeat(indent);
        for line in self.wrap(&Words::from(text), self.look.width.saturating_sub(indent)) {
            self.out.push(format!("{blank}{}", self.look.paint.paint(role, &line)));
        }
    }

    /// A mark in one role and behind it a word in another, on a line of their own.
    pub(super) fn marked(&mut self, mark_role: Role, mark: &str, role: Role, word: &str) {
        let paint = self.look.paint;
        self.out.push(format!("{}{}", paint.paint(mark_role, mark), paint.paint(role, word)));
    }

    /// A paragraph.
    pub(super) fn paragraph(&mut self, words: &Words) {
        self.hang(None, "", "", words);
    }

    /// A paragraph with a mark before its first line and another before the rest.
    pub(super) fn hang(&mut self, role: Option<Role>, first: &str, rest: &str, words: &Words) {
        let room = self.look.width.saturating_sub(first.width().max(rest.width()));
        for (i, line) in self.wrap(words, room).iter().enumerate() {
            let mark = if i == 0 { first } else { rest };
            let mark = role.map_or_else(|| mark.to_owned(), |role| self.look.paint.paint(role, mark));
            self.out.push(format!("{mark}{line}").trim_end().to_owned());
        }
    }

    /// Numbered things, counted from one.
    pub(super) fn numbered(&mut self, indent: usize, items: &[Words]) {
        let digits = items.len().to_string().len();
        for (i, item) in items.iter().enumerate() {
            let first = format!("{}{:>digits$}. ", " ".repeat(indent), i + 1);
            self.hang(None, &first, &" ".repeat(first.width()), item);
        }
    }

    /// Things in no order.
    pub(super) fn bullets(&mut self, indent: usize, items: &[Words]) {
        let blank = " ".repeat(indent);
        for item in items {
            self.hang(None, &format!("{blank}{} ", self.look.bullet()), &format!("{blank}  "), item);
        }
    }

    /// A path, broken after its own marks where it must be.
    pub(super) fn path(&mut self, lead: &str, path: &str) {
        let mut line = lead.to_owned();
        for part in clean(path).split_inclusive(['/', '\\', '-', '.', ':']) {
            if line.width() + part.width() > self.look.width && line.width() > lead.width() {
                self.line(&line);
                line = " ".repeat(lead.width());
            }
            line.push_str(part);
        }
        self.line(&line);
    }

    fn wrap(&self, words: &Words, width: usize) -> Vec<String> {
        let mut lines = vec![Vec::new()];
        for piece in words.pieces() {
            for (i, part) in piece.text.split('\n').enumerate() {
                if i > 0 {
                    lines.push(Vec::new());
                }
                let compound = Compound::raw_str(part);
                lines.last_mut().expect("starts with one").push(if piece.strong {
                    compound.bold()
                } else {
                    compound
                });
            }
        }
        let lines = lines.into_iter().map(filling).collect();
        self.drawn(Text { lines }, width.max(LEAST))
    }

    fn drawn(&self, text: Text<'_>, width: usize) -> Vec<String> {
        let drawn = FmtText::from_text(&self.skin, text, Some(width)).to_string();
        drawn.lines().map(|line| line.trim_end().to_owned()).collect()
    }

    /// A table; taken apart into one paragraph a row where it would be squeezed too much.
    pub(super) fn table(&mut self, table: &Table) {
        let widths: Vec<usize> = (0..table.head.len())
            .map(|c| {
                table.rows.iter().map(|r| r[c].width()).chain([table.head[c].width(), 3]).max().unwrap_or(3)
            })
            .collect();
        let spare = self.look.width.saturating_sub(widths.iter().sum::<usize>() + widths.len());
        let over = (widths.iter().sum::<usize>() + widths.len()).saturating_sub(self.look.width);
        let widest = (0..widths.len()).max_by_key(|c| (widths[*c], usize::MAX - c)).unwrap_or(0);
        if spare == 0 && over > 0 && widths[widest].saturating_sub(over) < LEAST_COLUMN {
            return self.apart(table);
        }
        let rows = if over > 0 { folded(table, widest, widths[widest] - over) } else { table.rows.clone() };
        self.laid_out(table, &rows);
    }

    fn laid_out(&mut self, table: &Table, rows: &[Vec<String>]) {
        let sides = table.numbers.iter().map(|n| if *n { Alignment::Right } else { Alignment::Left });
        let sides: Vec<Alignment> = sides.collect();
        // The first rule only tells termimad the sides; it draws as an empty line.
        let mut lines = vec![Line::new_table_alignments(sides.clone())];
        lines.push(table_row(&table.head, true));
        lines.push(Line::new_table_alignments(sides));
        lines.extend(rows.iter().map(|cells| table_row(cells, false)));
        for line in self.drawn(Text { lines }, self.look.width + 1).into_iter().skip(1) {
            self.out.push(line.strip_prefix(' ').unwrap_or(&line).to_owned());
        }
    }

    fn apart(&mut self, table: &Table) {
        for row in &table.rows {
            self.paragraph(&Words::new().strong(&row[0]));
            for (head, cell) in table.head.iter().zip(row).skip(1).filter(|(_, cell)| !cell.is_empty()) {
                let label = if head.is_empty() { String::new() } else { format!("{head}: ") };
                self.hang(None, "  ", "    ", &Words::from(format!("{label}{cell}")));
            }
        }
    }

    /// Bars with their words; label above the bar where the page is narrow.
    pub(super) fn bars(&mut self, bars: &[Bar]) {
        let longest = |text: fn(&Bar) -> &String| bars.iter().map(|b| text(b).width()).max().unwrap_or(0);
        let (labels, words) = (longest(|b| &b.label), longest(|b| &b.words));
        let beside = self.look.width >= labels + words + 16;
        for bar in bars {
            let label = clean(&bar.label).replace('\n', " ");
            let taken = words + 4 + if beside { labels + 1 } else { 0 };
            let drawn = self.bar(bar.share, self.look.width.saturating_sub(taken).clamp(6, 20));
            if beside {
                let blank = " ".repeat(labels.saturating_sub(label.width()));
                self.out.push(format!("{label}{blank}  {drawn}  {}", clean(&bar.words)));
            } else {
                self.paragraph(&Words::from(label));
                self.out.push(format!("  {drawn}"));
                let room = self.look.width.saturating_sub(10) >= words;
                match self.out.last_mut().filter(|_| room) {
                    Some(line) => line.push_str(&format!("  {}", clean(&bar.words))),
                    None => self.hang(None, "  ", "  ", &Words::from(bar.words.as_str())),
                }
            }
        }
    }

    fn bar(&self, share: f64, cells: usize) -> String {
        let full = (share.clamp(0.0, 1.0) * cells as f64).round() as usize;
        let (on, off) = self.look.bar();
        let full_part = self.look.paint.paint(Role::Bar, &on.to_string().repeat(full));
        format!("{full_part}{}", off.to_string().repeat(cells - full))
    }
}

/// termimad breaks two or three pieces between them rather than where the line is full; with more it fills the line.
fn filling(mut pieces: Vec<Compound<'_>>) -> Line<'_> {
    pieces.resize_with(pieces.len().max(4), || Compound::raw_str(""));
    Line::new_paragraph(pieces)
}

fn table_row(cells: &[String], strong: bool) -> Line<'_> {
    Line::TableRow(TableRow { cells: cells.iter().map(|text| raw_cell(text, strong)).collect() })
}

fn raw_cell(text: &str, strong: bool) -> Composite<'_> {
    let compound = Compound::raw_str(text);
    let compound = if strong { compound.bold() } else { compound };
    Composite { style: CompositeStyle::Paragraph, compounds: vec![compound] }
}

/// Rows with one column wrapped, its further lines in rows of their own.
fn folded(table: &Table, column: usize, width: usize) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for row in &table.rows {
        for (i, part) in textwrap::wrap(&row[column], width).into_iter().enumerate() {
            let mut cells = if i == 0 { row.clone() } else { vec![String::new(); row.len()] };
            cells[column] = part.into_owned();
            rows.push(cells);
        }
    }
    rows
}

/// Cuts a line at the edge.
pub(super) fn cut(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut room = width.saturating_sub(1);
    let kept = text.chars().take_while(|c| {
        let wide = c.width().unwrap_or(0);
        let fits = wide <= room;
        room = room.saturating_sub(wide);
        fits
    });
    kept.chain(['…']).collect()
}
