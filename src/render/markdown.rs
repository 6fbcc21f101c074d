//! A page as Markdown, for reports. People's text is escaped, so nothing in it becomes a link, a heading or HTML.

use super::plot::strip_chart;
use super::{blanks, steps};
use crate::safety::{Caution, Exposures, Isolation, STANDING_NOTICE, StepSink};
use crate::view::{Block, Lockout, Page, Table, Words, clean, words};

/// Columns of a picture.
const PICTURE: usize = 64;

/// The page as Markdown (CommonMark, with tables).
pub fn report(page: &Page) -> String {
    let mut out = Markdown(Vec::new());
    for block in page.closed() {
        out.block(block);
    }
    let mut text = out.0.join("\n\n");
    text.push('\n');
    text
}

/// Paragraphs so far.
struct Markdown(Vec<String>);

impl Markdown {
    fn block(&mut self, block: &Block) {
        match block {
            Block::Title(text) => self.push(format!("# {}", escaped(text))),
            Block::Heading(text) => self.push(format!("## {}", escaped(text))),
            Block::Subheading(text) => self.push(format!("### {}", escaped(text))),
            Block::Banner(text) => self.push(format!("**{}**", escaped(text))),
            Block::Together(blocks) => blocks.iter().for_each(|block| self.block(block)),
            Block::Text(words) => self.push(spoken(words)),
            Block::Step(step, lockout) => step.show(&mut Steps { out: self, lockout: *lockout }),
            Block::Caution(caution) => self.caution(caution),
            Block::Isolation(isolation) => {
                self.lock(isolation);
                self.hand_back(isolation);
            }
            Block::Bullets(items) => self.push(list(items.iter().map(spoken), |_| "- ".to_owned())),
            Block::Numbered(items) => self.numbered(items.iter().map(spoken)),
            Block::Table(table) => self.push(rows(table)),
            Block::Bars(bars) => self.push(list(
                bars.iter().map(|bar| format!("{}: {}", escaped(&bar.label), escaped(&bar.words))),
                |_| "- ".to_owned(),
            )),
            // Four blanks make a block that Markdown shows as it stands.
            Block::Lines(lines) => self.as_it_stands(lines),
            Block::Plot(plot) => self.as_it_stands(&strip_chart(&super::strip(plot), PICTURE, false)),
            Block::ToFill(fields) => self.push(escaped(&blanks::line(fields))),
            Block::Cells { count, unit } => self.push(escaped(&blanks::line(&blanks::cells(*count, unit)))),
            Block::Form { head, rows: empty } => self.push(rows(&empty_table(head, *empty))),
            Block::Hint(words) => self.push(format!("*{}*", spoken(words))),
            Block::Quote { by, text } => {
                let text: Vec<String> = text.lines().map(|line| format!("> {}", escaped(line))).collect();
                self.push(text.join("\n"));
                self.push(format!("*{}, own words: not a checked instruction.*", escaped(by)));
            }
            Block::NoticeAround => {}
            Block::Notice => self.push(format!("---\n\n{STANDING_NOTICE}")),
        }
    }

    fn as_it_stands(&mut self, lines: &[String]) {
        self.push(lines.iter().map(|l| format!("    {}", clean(l))).collect::<Vec<_>>().join("\n"));
    }

    fn push(&mut self, paragraph: String) {
        self.0.push(paragraph);
    }

    fn numbered(&mut self, items: impl Iterator<Item = String>) {
        self.push(list(items, |i| format!("{}. ", i + 1)));
    }

    fn caution(&mut self, caution: &Caution) {
        self.push(format!(
            "> **{}** {}\n> What can happen: {}\n> **Do this:** {}",
            caution.word,
            escaped(&caution.hazard),
            escaped(&words::clause_stop(&caution.what_can_happen)),
            escaped(&words::clause_stop(&caution.do_this)),
        ));
    }

    fn lock(&mut self, isolation: &Isolation) {
        self.push("**Make it safe first.** A prompt, not the site's own procedure.".to_owned());
        self.push(escaped(isolation.first_question));
        self.numbered(isolation.before.iter().map(|t| escaped(t)));
    }

    fn hand_back(&mut self, isolation: &Isolation) {
        self.push("**When the work is done**".to_owned());
        self.numbered(isolation.after.iter().map(|t| escaped(t)));
    }
}

struct Steps<'m> {
    out: &'m mut Markdown,
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
            self.out.push(spoken(&sentence));
        }
        for caution in cautions {
            self.out.caution(caution);
        }
        match (isolation, self.lockout) {
            (Some(isolation), Lockout::InFull | Lockout::UpToTheWork) => self.out.lock(isolation),
            (Some(_), Lockout::Standing) => self.out.push(format!("**{}**", Isolation::STILL_LOCKED)),
            (Some(_), Lockout::Answered) | (None, _) => {}
        }
        if !actions.is_empty() {
            self.out.push("**Do**".to_owned());
            self.out.numbered(actions.iter().map(|(act, expect)| {
                let expect = expect.map(|e| format!(" Expect: {}", escaped(&words::clause_stop(e))));
                format!("{}{}", escaped(act), expect.unwrap_or_default())
            }));
        }
        if let (Some(isolation), Lockout::InFull) = (isolation, self.lockout) {
            self.out.hand_back(isolation);
        }
    }
}

fn spoken(words: &Words) -> String {
    let piece = |p: &crate::view::Piece| {
        let inner = p.text.trim();
        if p.strong && !inner.is_empty() {
            // Markdown wants the stars right beside the letters.
            p.text.replacen(inner, &format!("**{}**", escaped(inner)), 1)
        } else {
            escaped(&p.text)
        }
    };
    words.pieces().iter().map(piece).collect()
}

fn list(items: impl Iterator<Item = String>, mark: impl Fn(usize) -> String) -> String {
    let line = |(i, item): (usize, String)| format!("{}{}", mark(i), item.replace('\n', " "));
    items.enumerate().map(line).collect::<Vec<_>>().join("\n")
}

fn empty_table(head: &[String], rows: usize) -> Table {
    let mut table = Table::new(&head.iter().map(String::as_str).collect::<Vec<_>>());
    (0..rows).for_each(|_| table.row([""; 0]));
    table
}

fn rows(table: &Table) -> String {
    let row = |cells: Vec<String>| format!("| {} |", cells.join(" | "));
    let sides = table.numbers.iter().map(|n| if *n { "---:" } else { "---" }.to_owned());
    let mut lines = vec![row(table.head.iter().map(|c| escaped(c)).collect()), row(sides.collect())];
    lines.extend(table.rows.iter().map(|cells| row(cells.iter().map(|c| escaped(c)).collect())));
    lines.join("\n")
}

/// Text with every character that Markdown could take for its own made plain, and line breaks kept as breaks.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut line_start = true;
    for c in clean(text).chars() {
        let special = matches!(c, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '&' | '@');
        // A list, a rule or a heading line is made only at the start of a line; `1.` and `1)` too.
        let leading = line_start && matches!(c, '-' | '+' | '=' | '#');
        let after_digits = matches!(c, '.') && only_digits_since_line_start(&out);
        // `://` would be linked by many readers.
        let link = c == ':' && out.ends_with(|p: char| p.is_ascii_alphabetic());
        if special || leading || after_digits || (link && looks_like_scheme(&out)) {
            out.push('\\');
        }
        out.push(c);
        line_start = c == '\n' || (line_start && c == ' ');
    }
    out
}

fn only_digits_since_line_start(out: &str) -> bool {
    let line = out.rsplit('\n').next().unwrap_or("").trim_start();
    !line.is_empty() && line.chars().all(|c| c.is_ascii_digit())
}

fn looks_like_scheme(out: &str) -> bool {
    ["http", "https", "ftp", "mailto"].iter().any(|scheme| out.to_ascii_lowercase().ends_with(scheme))
}
