//! How a command ends, and the exit code of each ending: the one table.

use std::fmt;
use std::io;

/// A command that did what it was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Done,
    /// Done, and the answer is 'not good': vetting found errors, a rehearsal fell short.
    NotGood,
}

/// Why a command could not do what it was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Wrong usage: options that do not go together.
    Usage,
    /// Bad input: a file, an id, a number that cannot be used.
    Input,
    /// The store could not be read or written; nothing is lost.
    Store,
    /// Our own fault.
    Fault,
    /// Whoever read our output has gone; nothing to say.
    Gone,
}

impl Kind {
    /// The exit code.
    pub fn code(self) -> u8 {
        match self {
            Kind::Gone => 0,
            Kind::Usage => 2,
            Kind::Input => 3,
            Kind::Store => 4,
            Kind::Fault => 70,
        }
    }
}

impl Outcome {
    /// The exit code.
    pub fn code(self) -> u8 {
        match self {
            Outcome::Done => 0,
            Outcome::NotGood => 1,
        }
    }
}

/// The error that ends a command: a sentence, what to do about it, and for broken files the drawn problems.
#[derive(Debug)]
pub struct CommandError {
    /// Which exit code.
    pub kind: Kind,
    /// What is wrong, in a sentence.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
    /// Problems in files, already drawn for standard error; they stand above the sentence.
    pub drawn: Option<String>,
}

impl CommandError {
    /// An error of a kind.
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self { kind, message: message.into(), hint: None, drawn: None }
    }

    /// Options that do not go together.
    pub fn usage(message: impl Into<String>) -> Self {
        Self::new(Kind::Usage, message)
    }

    /// Something given that cannot be used.
    pub fn input(message: impl Into<String>) -> Self {
        Self::new(Kind::Input, message)
    }

    /// The store could not be read or written.
    pub fn store(message: impl Into<String>) -> Self {
        Self::new(Kind::Store, message)
    }

    /// With what to do about it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<Option<String>>) -> Self {
        self.hint = hint.into();
        self
    }

    /// With problems drawn above.
    #[must_use]
    pub fn drawn(mut self, drawn: String) -> Self {
        self.drawn = Some(drawn);
        self
    }
}

impl fmt::Display for CommandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for CommandError {}

/// Writing to standard output failed: quiet when the reader has gone.
impl From<io::Error> for CommandError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Self::new(Kind::Gone, ""),
            _ => Self::new(Kind::Fault, format!("The answer could not be written: {error}.")),
        }
    }
}

/// What every command returns.
pub type Result<T = Outcome> = std::result::Result<T, CommandError>;
