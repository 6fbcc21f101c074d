//! What to say, not how: a page is a list of blocks, made from the knowledge, a run of fills or a case.
//!
//! Nothing here knows of widths, colours or formats; that is for `render`. Every text is made harmless when it
//! enters a block, so that nobody's words can play tricks on a terminal.

mod asking;
pub mod cases;
pub mod change;
pub mod checklist;
pub mod counts;
pub mod diagnosis;
pub mod entry;
pub mod hits;
pub mod lanes;
pub mod lessons;
pub mod network;
pub mod picture;
pub mod problems;
pub mod rehearsal;
pub mod report;
pub mod setup;
pub mod sums;
pub mod tolerance;
pub mod trial;
pub mod week;
pub mod weighing;
pub mod words;

use crate::diag::harmless;
use crate::safety::{Caution, HandsOnStep, Isolation};

/// A stretch of text, plain or strong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// What it says.
    pub text: String,
    /// Whether it stands out.
    pub strong: bool,
}

/// A line or paragraph of pieces.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Words(Vec<Piece>);

impl Words {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// With more plain text.
    #[must_use]
    pub fn plain(self, text: impl AsRef<str>) -> Self {
        self.with(text.as_ref(), false)
    }

    /// With more text that stands out.
    #[must_use]
    pub fn strong(self, text: impl AsRef<str>) -> Self {
        self.with(text.as_ref(), true)
    }

    fn with(mut self, text: &str, strong: bool) -> Self {
        let mut text = clean(text);
        // A comma belongs to the word before it and must not begin a line.
        if let Some(before) = self.0.last_mut().filter(|p| p.text.ends_with(|c: char| !c.is_whitespace())) {
            let end = text.find(|c| !",.;:)!?”".contains(c)).unwrap_or(text.len());
            before.text.extend(text.drain(..end));
        }
        if !text.is_empty() {
            self.0.push(Piece { text, strong });
        }
        self
    }

    /// The pieces in order.
    pub fn pieces(&self) -> &[Piece] {
        &self.0
    }

    /// All of it without emphasis.
    pub fn text(&self) -> String {
        self.0.iter().map(|p| p.text.as_str()).collect()
    }

    /// Whether there is nothing to say.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|p| p.text.trim().is_empty())
    }
}

impl From<&str> for Words {
    fn from(text: &str) -> Self {
        Words::new().plain(text)
    }
}

impl From<String> for Words {
    fn from(text: String) -> Self {
        Words::new().plain(text)
    }
}

/// Harmless text with blanks for tabs.
pub(crate) fn clean(text: &str) -> String {
    harmless(text).replace('\t', " ")
}

/// Whether a step brings the whole lockout prompt with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lockout {
    /// The whole prompt, from preparing to handing back: a lockout for this step alone.
    InFull,
    /// The prompt up to the moment hands go in; what brings the energies back stands with a later step.
    UpToTheWork,
    /// Whether it still stands was asked and answered just now: nothing more of it.
    Answered,
    /// The same lockout still stands: one line, 'still locked? whose key?'.
    Standing,
}

/// A table; numbers stand to the right.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Table {
    /// Column heads.
    pub(crate) head: Vec<String>,
    /// Whether each column holds numbers.
    pub(crate) numbers: Vec<bool>,
    /// Cells, row by row.
    pub(crate) rows: Vec<Vec<String>>,
}

impl Table {
    /// An empty table; a head that begins with `#` makes a column of numbers.
    pub fn new(head: &[&str]) -> Self {
        Self {
            numbers: head.iter().map(|h| h.starts_with('#')).collect(),
            head: head.iter().map(|h| clean(h.trim_start_matches('#'))).collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row; cells that are missing stay empty.
    pub fn row<S: AsRef<str>>(&mut self, cells: impl IntoIterator<Item = S>) {
        let mut row: Vec<String> = cells.into_iter().map(|c| clean(c.as_ref()).replace('\n', " ")).collect();
        row.resize(self.head.len(), String::new());
        self.rows.push(row);
    }
}

/// One bar: what it is for, its share of the whole, and the share in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// What it is for.
    pub label: String,
    /// From 0 to 1.
    pub share: f64,
    /// The same in words, so that nobody has to measure a bar.
    pub words: String,
}

/// A picture of a run of fills, all in one unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Plot {
    /// Weights in order.
    pub values: Vec<f64>,
    /// The target.
    pub target: Option<f64>,
    /// Lower and upper limit.
    pub limits: Option<(f64, f64)>,
    /// Places, from zero, of fills that stray.
    pub strays: Vec<usize>,
    /// The unit.
    pub unit: String,
}

/// Something to fill in by hand on a printed sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Field {
    /// A box to tick and what ticking it says.
    Tick(String),
    /// A box to tick with room beside it to say why.
    TickWhy(String),
    /// Room for a figure or a word, with its label and, behind it, its unit.
    Short(String, String),
    /// Room for a name or a sentence, with its label.
    Long(String),
}

impl Field {
    /// A box to tick.
    pub fn tick(says: impl AsRef<str>) -> Self {
        Field::Tick(clean(says.as_ref()))
    }

    /// A box to tick, and room to say why.
    pub fn tick_why(says: impl AsRef<str>) -> Self {
        Field::TickWhy(clean(says.as_ref()))
    }

    /// Room for a figure in a unit, or for a word if the unit is empty.
    pub fn short(label: impl AsRef<str>, unit: &str) -> Self {
        Field::Short(clean(label.as_ref()), clean(unit))
    }

    /// Room for a name or a sentence.
    pub fn long(label: impl AsRef<str>) -> Self {
        Field::Long(clean(label.as_ref()))
    }
}

/// One thing to say.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// Names the page.
    Title(String),
    /// Names what follows.
    Heading(String),
    /// Names one thing among what a heading names.
    Subheading(String),
    /// A line that nobody may overlook.
    Banner(String),
    /// Blocks that a page break must not tear apart.
    Together(Vec<Block>),
    /// A paragraph.
    Text(Words),
    /// A step with its cautions; the only way that step text reaches a person.
    Step(Box<HandsOnStep>, Lockout),
    /// A caution on its own.
    Caution(Caution),
    /// A lockout prompt on its own.
    Isolation(Isolation),
    /// Things in no order.
    Bullets(Vec<Words>),
    /// Things to choose from by number, counted from one.
    Numbered(Vec<Words>),
    /// A table.
    Table(Table),
    /// Shares side by side.
    Bars(Vec<Bar>),
    /// Lines that are already laid out; cut where they are wider than the page.
    Lines(Vec<String>),
    /// A picture of a run.
    Plot(Plot),
    /// A line to fill in by hand.
    ToFill(Vec<Field>),
    /// So many numbered cells to write figures into, in a unit.
    Cells {
        /// How many.
        count: usize,
        /// Of what each is.
        unit: String,
    },
    /// A table to fill in by hand: heads and so many empty rows.
    Form {
        /// Column heads.
        head: Vec<String>,
        /// Empty rows.
        rows: usize,
    },
    /// What to type next.
    Hint(Words),
    /// A person's own words, shown as theirs: never a checked instruction.
    Quote {
        /// Who said it.
        by: String,
        /// What was said.
        text: String,
    },
    /// The standing notice; closes every page that shows steps or a walk.
    Notice,
    /// Nothing to say here: the standing notice opened this sitting and closes it.
    NoticeAround,
}

impl Block {
    /// Whether it shows a step or a lockout, itself or inside.
    fn shows_steps(&self) -> bool {
        match self {
            Block::Step(..) | Block::Isolation(_) => true,
            Block::Together(blocks) => blocks.iter().any(Block::shows_steps),
            _ => false,
        }
    }
}

/// Everything said at once.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Page(pub Vec<Block>);

impl Page {
    /// A page with its title.
    pub fn titled(title: impl AsRef<str>) -> Self {
        Self(vec![Block::Title(clean(title.as_ref()))])
    }

    /// Adds a block.
    pub fn push(&mut self, block: Block) {
        self.0.push(block);
    }

    /// Adds a heading.
    pub fn heading(&mut self, text: impl AsRef<str>) {
        self.push(Block::Heading(clean(text.as_ref())));
    }

    /// Adds the name of one thing.
    pub fn subheading(&mut self, text: impl AsRef<str>) {
        self.push(Block::Subheading(clean(text.as_ref())));
    }

    /// Adds a line to fill in.
    pub fn fill(&mut self, fields: impl IntoIterator<Item = Field>) {
        self.push(Block::ToFill(fields.into_iter().collect()));
    }

    /// Adds a table to fill in.
    pub fn form(&mut self, head: &[&str], rows: usize) {
        self.push(Block::Form { head: head.iter().map(|h| clean(h)).collect(), rows });
    }

    /// Adds a paragraph.
    pub fn text(&mut self, words: impl Into<Words>) {
        self.push(Block::Text(words.into()));
    }

    /// Adds what to type next.
    pub fn hint(&mut self, words: impl Into<Words>) {
        self.push(Block::Hint(words.into()));
    }

    /// Adds a person's own words.
    pub fn quote(&mut self, by: impl AsRef<str>, text: impl AsRef<str>) {
        self.push(Block::Quote { by: clean(by.as_ref()), text: clean(text.as_ref()) });
    }

    /// Adds things in no order, unless there are none.
    pub fn bullets<W: Into<Words>>(&mut self, items: impl IntoIterator<Item = W>) {
        let items: Vec<Words> = items.into_iter().map(Into::into).collect();
        if !items.is_empty() {
            self.push(Block::Bullets(items));
        }
    }

    /// Adds a heading and bullets, unless there are none.
    pub fn section<W: Into<Words>>(&mut self, heading: &str, items: impl IntoIterator<Item = W>) {
        let items: Vec<Words> = items.into_iter().map(Into::into).collect();
        if !items.is_empty() {
            self.heading(heading);
            self.bullets(items);
        }
    }

    /// Adds the step of a piece of work.
    pub fn step(&mut self, step: HandsOnStep, lockout: Lockout) {
        self.push(Block::Step(Box::new(step), lockout));
    }

    /// Whether it shows steps or a lockout, so that it must close with the standing notice.
    pub fn shows_steps(&self) -> bool {
        self.0.iter().any(Block::shows_steps)
    }

    /// The blocks, closed with the standing notice where steps are shown; what to type next stays last. Renderers draw
    /// these.
    pub fn closed(&self) -> impl Iterator<Item = &Block> {
        static NOTICE: Block = Block::Notice;
        let said = |block: &Block| matches!(block, Block::Notice | Block::NoticeAround);
        let missing = self.shows_steps() && !self.0.iter().any(said);
        let (before, hints) = self.0.split_at(self.hints_from());
        before.iter().chain(missing.then_some(&NOTICE)).chain(hints)
    }

    /// Adds more before what to type next.
    pub fn before_hint(&mut self, more: Page) {
        let hints = self.0.split_off(self.hints_from());
        self.0.extend(more.0.into_iter().chain(hints));
    }

    /// Without the steps and what stands before them: what is asked, for somebody who has just read them.
    #[must_use]
    pub fn asked_again(mut self) -> Self {
        if let Some(step) = self.0.iter().rposition(Block::shows_steps) {
            self.0.drain(..=step);
        }
        self
    }

    fn hints_from(&self) -> usize {
        self.0.iter().rposition(|b| !matches!(b, Block::Hint(_))).map_or(0, |last| last + 1)
    }
}
