//! A page as one HTML file, for a browser and for paper: no script, nothing from outside, every text escaped. Black on
//! white, so that a sheet from any printer says as much as the screen: signal words are words, and frames differ.

use super::steps;
use crate::safety::{Caution, Exposures, Isolation, STANDING_NOTICE, Signal, StepSink};
use crate::view::{Bar, Block, Field, Lockout, Page, Table, Words, clean, words};

/// How it looks on the screen and on paper, whatever the paper.
const STYLE: &str = include_str!("style.css");

/// The paper it is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// 210 × 297 mm.
    A4,
    /// 8½ × 11 in.
    Letter,
}

/// How it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// The sheet.
    pub size: Size,
    /// Stands at the foot of every page, beside 'page 2 of 5'.
    pub running: String,
}

/// The page as a whole HTML file.
pub fn page(page: &Page, paper: &Paper) -> String {
    let title = page.0.iter().find_map(|b| if let Block::Title(t) = b { Some(t.as_str()) } else { None });
    let mut out = Html(String::new());
    out.push(&format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <title>{}</title>\n<style>\n{}{STYLE}</style>\n</head>\n<body>\n",
        escaped(title.unwrap_or(&paper.running)),
        sheet(paper),
    ));
    for block in page.closed() {
        out.block(block);
    }
    out.push("</body>\n</html>\n");
    out.0
}

/// Size, margins and foot of a printed page.
fn sheet(paper: &Paper) -> String {
    let size = match paper.size {
        Size::A4 => "A4",
        Size::Letter => "letter",
    };
    format!(
        "@page {{ size: {size}; margin: 10mm 11mm 12mm;\n\
         @bottom-left {{ content: \"{}\"; width: 78%; font: 8pt sans-serif; }}\n\
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); font: 8pt sans-serif; }} }}\n",
        in_style(&paper.running)
    )
}

/// A text inside the quotes of a style sheet: what is not a letter, a digit or a blank stands as its number,
/// whose end is the blank.
fn in_style(text: &str) -> String {
    let letter = |c: char| match c {
        '\n' => " ".to_owned(),
        c if c.is_alphanumeric() || c == ' ' => c.to_string(),
        c => format!("\\{:x} ", u32::from(c)),
    };
    clean(text).chars().map(letter).collect()
}

/// The file so far.
struct Html(String);

impl Html {
    fn block(&mut self, block: &Block) {
        match block {
            Block::Title(text) => self.tag("h1", "", &escaped(text)),
            Block::Heading(text) => self.tag("h2", "", &escaped(text)),
            Block::Subheading(text) => self.tag("h3", "", &escaped(text)),
            Block::Banner(text) => self.tag("p", "banner", &escaped(text)),
            Block::Together(blocks) => self.within("section", "together", |out| {
                blocks.iter().for_each(|block| out.block(block));
            }),
            Block::Text(words) => self.tag("p", "", &spoken(words)),
            Block::Step(step, lockout) => self.within("div", "step", |out| {
                step.show(&mut Steps { out, lockout: *lockout });
            }),
            Block::Caution(caution) => self.caution(caution),
            Block::Isolation(isolation) => {
                self.lock(isolation);
                self.hand_back(isolation);
            }
            Block::Bullets(items) => self.list("ul", "", items.iter().map(spoken)),
            Block::Numbered(items) => self.list("ol", "", items.iter().map(spoken)),
            Block::Table(table) => self.table(table),
            Block::Bars(bars) => self.within("div", "bars", |out| bars.iter().for_each(|bar| out.bar(bar))),
            Block::Lines(lines) => self.as_it_stands(lines),
            Block::Plot(plot) => self.tag("figure", "", &super::drawing::run(plot)),
            Block::ToFill(fields) => {
                self.within("div", "fill", |out| fields.iter().for_each(|f| out.field(f)));
            }
            Block::Cells { count, unit } => self.cells(*count, unit),
            Block::Form { head, rows } => self.form(head, *rows),
            Block::Hint(words) => self.tag("p", "hint", &spoken(words)),
            Block::Quote { by, text } => self.within("blockquote", "", |out| {
                out.tag("p", "", &escaped(text));
                out.tag("footer", "", &format!("{}, own words: not a checked instruction.", escaped(by)));
            }),
            Block::NoticeAround => {}
            Block::Notice => self.tag("p", "notice", STANDING_NOTICE),
        }
    }

    fn push(&mut self, html: &str) {
        self.0.push_str(html);
    }

    /// An element on a line of its own; what is inside is HTML already.
    fn tag(&mut self, tag: &str, class: &str, inside: &str) {
        self.push(&format!("{}{inside}</{tag}>\n", opened(tag, class)));
    }

    fn within(&mut self, tag: &str, class: &str, fill: impl FnOnce(&mut Self)) {
        self.push(&format!("{}\n", opened(tag, class)));
        fill(self);
        self.push(&format!("</{tag}>\n"));
    }

    fn list(&mut self, tag: &str, class: &str, items: impl Iterator<Item = String>) {
        self.within(tag, class, |out| items.for_each(|item| out.tag("li", "", &item)));
    }

    /// The word first, then hazard, harm and what to do, in one paragraph: paper has room for no more.
    fn caution(&mut self, caution: &Caution) {
        let class = match caution.word {
            Signal::Danger => "caution danger",
            Signal::Warning => "caution warning",
            Signal::Caution => "caution care",
            Signal::Notice => "caution property",
        };
        let inside = format!(
            "<strong class=\"word\">{}</strong> {} {} <strong>Do this:</strong> {}",
            caution.word,
            escaped(&words::sentence(&caution.hazard)),
            escaped(&words::sentence(&caution.what_can_happen)),
            escaped(&words::clause_stop(&caution.do_this)),
        );
        self.tag("p", class, &inside);
    }

    fn lock(&mut self, isolation: &Isolation) {
        self.within("div", "lockout", |out| {
            let lead = "<strong>Make it safe first.</strong> A prompt, not the site's own procedure.";
            out.tag("p", "", &format!("{lead} {}", escaped(isolation.first_question)));
            out.list("ol", "", isolation.before.iter().map(|t| escaped(t)));
        });
    }

    fn hand_back(&mut self, isolation: &Isolation) {
        self.within("div", "lockout", |out| {
            out.tag("p", "", "<strong>When the work is done</strong>");
            out.list("ol", "", isolation.after.iter().map(|t| escaped(t)));
        });
    }

    fn as_it_stands(&mut self, lines: &[String]) {
        self.tag("pre", "", &escaped_lines(&lines.join("\n")));
    }

    fn table(&mut self, table: &Table) {
        let class = |column: usize| if table.numbers[column] { "number" } else { "" };
        self.within("div", "wide", |out| {
            out.within("table", "", |out| {
                out.row("th", &table.head, class);
                table.rows.iter().for_each(|row| out.row("td", row, class));
            });
        });
    }

    fn row(&mut self, tag: &str, cells: &[String], class: impl Fn(usize) -> &'static str) {
        let cell =
            |(i, text): (usize, &String)| format!("{}{}</{tag}>", opened(tag, class(i)), escaped(text));
        let cells: String = cells.iter().enumerate().map(cell).collect();
        self.tag("tr", "", &cells);
    }

    fn bar(&mut self, bar: &Bar) {
        let width = (bar.share.clamp(0.0, 1.0) * 100.0).round();
        self.tag(
            "p",
            "",
            &format!(
                "{} <span class=\"bar\"><span style=\"width:{width}%\"></span></span> {}",
                escaped(&bar.label),
                escaped(&bar.words)
            ),
        );
    }

    fn field(&mut self, field: &Field) {
        const BOX: &str = "<span class=\"box\"></span>";
        const RULE: &str = "<span class=\"rule\"></span>";
        match field {
            Field::Tick(says) => self.tag("span", "tick", &format!("{BOX}{}", escaped(says))),
            Field::TickWhy(says) => {
                self.tag("span", "long", &format!("{BOX}{}, why: {RULE}", escaped(says)));
            }
            Field::Short(label, unit) => {
                let inside = format!("{}: {RULE} {}", escaped(label), escaped(unit));
                self.tag("span", "short", inside.trim_end());
            }
            Field::Long(label) => self.tag("span", "long", &format!("{}: {RULE}", escaped(label))),
        }
    }

    fn cells(&mut self, count: usize, unit: &str) {
        let unit = escaped(unit);
        self.within("div", "cells", |out| {
            (1..=count)
                .for_each(|n| out.tag("span", "", &format!("<small>{n}</small> <small>{unit}</small>")));
        });
    }

    fn form(&mut self, head: &[String], rows: usize) {
        let empty = vec![String::new(); head.len()];
        self.within("div", "wide", |out| {
            out.within("table", "form", |out| {
                out.row("th", head, |_| "");
                (0..rows).for_each(|_| out.row("td", &empty, |_| ""));
            });
        });
    }
}

fn opened(tag: &str, class: &str) -> String {
    if class.is_empty() { format!("<{tag}>") } else { format!("<{tag} class=\"{class}\">") }
}

/// Draws steps, the cautions first.
struct Steps<'h> {
    out: &'h mut Html,
    lockout: Lockout,
}

impl StepSink for Steps<'_> {
    fn step(
        &mut self,
        exposures: &Exposures,
        cautions: &[Caution],
        isolation: Option<&Isolation>,
        actions: &[(&str, Option<&str>)],
    ) {
        if let Some(sentence) = steps::where_you_are(exposures) {
            self.out.tag("p", "where", &spoken(&sentence));
        }
        cautions.iter().for_each(|caution| self.out.caution(caution));
        match (isolation, self.lockout) {
            (Some(isolation), Lockout::InFull | Lockout::UpToTheWork) => self.out.lock(isolation),
            (Some(_), Lockout::Standing) => {
                self.out.tag("p", "still", &format!("<strong>{}</strong>", Isolation::STILL_LOCKED));
            }
            (Some(_), Lockout::Answered) | (None, _) => {}
        }
        match actions {
            [] => {}
            [one] => self.out.tag("p", "act", &action(one)),
            several => self.out.list("ol", "act", several.iter().map(action)),
        }
        if let (Some(isolation), Lockout::InFull) = (isolation, self.lockout) {
            self.out.hand_back(isolation);
        }
    }
}

fn action((act, expect): &(&str, Option<&str>)) -> String {
    let expect = expect.map(|e| format!(" <em>Expect: {}</em>", escaped(&words::clause_stop(e))));
    format!("{}{}", escaped(act), expect.unwrap_or_default())
}

fn spoken(words: &Words) -> String {
    let piece = |p: &crate::view::Piece| {
        let text = escaped(&p.text);
        if p.strong { format!("<strong>{text}</strong>") } else { text }
    };
    words.pieces().iter().map(piece).collect()
}

/// Text that is nothing but text in HTML, also inside quotes; line breaks stay.
pub fn escaped(text: &str) -> String {
    escaped_lines(text).replace('\n', "<br>\n")
}

/// The same with line breaks as they are, for SVG too.
pub(in crate::render) fn escaped_lines(text: &str) -> String {
    let text = clean(text);
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests;
