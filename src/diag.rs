//! Problems in what people wrote: a code, a sentence, a place in a file, and what to do about it.
//!
//! Diagnostics are data; drawing them is for `render`.

use std::fmt;

use serde::Serialize;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// The text cannot be trusted as it stands.
    Error,
    /// It works, and a careful author would look at it.
    Warning,
}

/// Which file of a [`Sources`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FileId(pub usize);

/// A stretch of bytes in one file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    /// The file.
    pub file: FileId,
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

/// The texts that spans point into, in the order they were read.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    files: Vec<(String, String)>,
}

/// A place as people count: lines and columns from one, columns in characters.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Position {
    /// Name of the file as it was given.
    pub file: String,
    /// Line, from one.
    pub line: usize,
    /// Column in characters, from one.
    pub column: usize,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.file, self.line, self.column)
    }
}

impl Sources {
    /// Keeps a text and gives it a number.
    pub fn add(&mut self, name: impl Into<String>, text: impl Into<String>) -> FileId {
        self.files.push((name.into(), text.into()));
        FileId(self.files.len() - 1)
    }

    /// Every file, in the order read.
    pub fn ids(&self) -> impl Iterator<Item = FileId> {
        (0..self.files.len()).map(FileId)
    }

    /// The name a file was given under.
    pub fn name(&self, file: FileId) -> &str {
        &self.files[file.0].0
    }

    /// The text of a file.
    pub fn text(&self, file: FileId) -> &str {
        &self.files[file.0].1
    }

    /// Line and column of the start of a span.
    pub fn position(&self, span: Span) -> Position {
        let text = self.text(span.file);
        let mut start = span.start.min(text.len());
        while !text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &text[..start];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        Position { file: self.name(span.file).to_owned(), line, column }
    }
}

macro_rules! codes {
    ($($(#[doc = $doc:literal])+ $name:ident = $code:literal),+ $(,)?) => {
        /// What kind of problem; each has one kebab-case code that never changes its meaning.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Code { $($(#[doc = $doc])+ $name),+ }

        impl Code {
            /// Every code there is.
            pub const ALL: &'static [Code] = &[$(Code::$name),+];

            /// The code as printed.
            pub fn as_str(self) -> &'static str {
                match self { $(Code::$name => $code),+ }
            }

            /// One line on what it means.
            pub fn meaning(self) -> &'static str {
                match self { $(Code::$name => concat!($($doc),+)),+ }
            }
        }
    };
}

codes! {
    /// The file or folder could not be read.
    Unreadable = "unreadable",
    /// The file is larger, deeper or more tangled than any entry needs.
    TooBig = "too-big",
    /// The text is not YAML.
    Syntax = "syntax",
    /// The same key stands twice.
    DuplicateKey = "duplicate-key",
    /// A key that this kind of entry does not have.
    UnknownKey = "unknown-key",
    /// A key that must be there is not.
    MissingKey = "missing-key",
    /// A value of another kind than wanted: a list for a word, nothing for a list.
    WrongType = "wrong-type",
    /// A value that is of the right kind and not one of those allowed.
    BadValue = "bad-value",
    /// A number outside the range that makes sense.
    OutOfRange = "out-of-range",
    /// A quantity in a unit that does not fit.
    BadUnit = "bad-unit",
    /// A name that nothing has.
    UnknownId = "unknown-id",
    /// An id or file name that is not lower-case words joined by hyphens.
    BadId = "bad-id",
    /// Control characters or terminal escapes in a text.
    ControlCharacters = "control-characters",
    /// Findings that lead to each other in a ring.
    Cycle = "cycle",
    /// A format this program does not know.
    UnknownFormat = "unknown-format",
    /// Two YAML readers understand the file differently.
    TwoReadings = "two-readings",
    /// A check's outcomes do not make sense together.
    Outcomes = "outcomes",
    /// A hands-on entry without the cautions that cover it.
    MissingCaution = "missing-caution",
    /// A hands-on entry that no second person has read for safety.
    MissingSafetyRead = "missing-safety-read",
    /// Step text that tells people to defeat a safeguard or reach into danger.
    UnsafeText = "unsafe-text",
    /// An energy that has no isolation point.
    UntreatedEnergy = "untreated-energy",
    /// An entry that nothing leads to, or that leads nowhere.
    Unreachable = "unreachable",
    /// Causes that no check tells apart.
    NotToldApart = "not-told-apart",
    /// The rates of a machine do not add up to a plausible number of causes a call.
    RateSum = "rate-sum",
    /// A step that is hard to follow: too long, or more than one action.
    HardToRead = "hard-to-read",
    /// A step that goes on to a further action.
    TwoActions = "two-actions",
    /// A step whose condition stands behind its command.
    LateCondition = "late-condition",
    /// A hands-on item of a checklist before guards and stops are proved.
    GuardsNotProved = "guards-not-proved",
    /// A measurement without a limit.
    NoLimit = "no-limit",
    /// A hold point that can be passed.
    HoldPassed = "hold-can-be-passed",
    /// A word for which the house has another.
    HouseWord = "house-word",
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// What kind.
    pub code: Code,
    /// How bad.
    pub severity: Severity,
    /// The problem in one sentence, without the place.
    pub message: String,
    /// Where it is.
    pub span: Option<Span>,
    /// A few words under the place.
    pub label: String,
    /// Other places that matter, each with a few words.
    pub related: Vec<(Span, String)>,
    /// What to do about it.
    pub help: Option<String>,
}

impl Diagnostic {
    /// An error at a place.
    pub fn error(code: Code, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Error,
            message: message.into(),
            span: span.into(),
            label: String::new(),
            related: Vec::new(),
            help: None,
        }
    }

    /// A warning at a place.
    pub fn warning(code: Code, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(code, span, message) }
    }

    /// With a few words under the place.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// With a line that says what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<Option<String>>) -> Self {
        self.help = help.into();
        self
    }

    /// With a second place.
    #[must_use]
    pub fn related(mut self, span: Span, label: impl Into<String>) -> Self {
        self.related.push((span, label.into()));
        self
    }

    /// One line: place, message, help. For errors on standard error.
    pub fn sentence(&self, sources: &Sources) -> String {
        let place = self.span.map_or_else(String::new, |span| format!("{}: ", sources.position(span)));
        let help = self.help.as_ref().map_or_else(String::new, |help| format!(" ({help})"));
        format!("{place}{}{help}", self.message)
    }
}

/// Orders problems by file and place, then by code, so that output does not depend on how they were found.
pub fn in_order(problems: &mut [Diagnostic]) {
    problems.sort_by(|a, b| (a.span, a.code, &a.message).cmp(&(b.span, b.code, &b.message)));
}

/// Whether any of them is an error.
pub fn has_errors(problems: &[Diagnostic]) -> bool {
    problems.iter().any(|p| p.severity == Severity::Error)
}

/// Characters that must never reach a terminal: controls but tab and newline, the upper control block, marks
/// that turn the direction of writing, and line separators.
pub fn is_harmful(c: char) -> bool {
    matches!(c,
        '\u{0}'..='\u{8}' | '\u{b}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// A person's text, harmless, on one line and of at most so many characters.
pub fn one_line(text: &str, most: usize) -> String {
    harmless(text).split_whitespace().collect::<Vec<_>>().join(" ").chars().take(most).collect()
}

/// A person's text without what could play tricks on a terminal; escape sequences go whole.
pub fn harmless(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        if c == '\u{1b}' && chars.peek() == Some(&'[') {
            chars.next();
            while chars.next_if(|c| !('@'..='~').contains(c)).is_some() {}
            chars.next();
        } else if !is_harmful(c) {
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_and_explained() {
        let mut seen: Vec<_> = Code::ALL.iter().map(|c| c.as_str()).collect();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), Code::ALL.len());
        assert!(Code::ALL.iter().all(|c| c.meaning().len() > 10));
    }

    #[test]
    fn positions_count_characters_after_an_umlaut() {
        let mut sources = Sources::default();
        let file = sources.add("a.yaml", "x: ü\ny: äb\n");
        let start = sources.text(file).find('b').unwrap();
        let at = sources.position(Span { file, start, end: start + 1 });
        assert_eq!((at.line, at.column), (2, 5));
    }

    #[test]
    fn escapes_are_taken_out_of_a_persons_text() {
        assert_eq!(harmless("a\u{1b}[31mred\u{1b}[0m b\u{7}\u{202e}c"), "ared bc");
        assert_eq!(harmless("line\nnext\ttab"), "line\nnext\ttab");
    }
}
