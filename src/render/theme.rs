//! The one file that knows colours: what each role looks like. Colour is never the only sign of anything; every
//! role is told by words or by place as well.

use anstyle::{AnsiColor, Style};
use termimad::crossterm::style::Attribute;
use termimad::{CompoundStyle, MadSkin, TableBorderChars};

use crate::diag::Severity;
use crate::safety::Signal;

/// Whether to paint at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// A terminal that shows colours, and a person who wants them.
    Colours,
    /// NO_COLOR, a dumb terminal, a pipe or a file.
    None,
}

/// What a stretch of output is, so that it can be painted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The name of a page.
    Title,
    /// The name of what follows.
    Heading,
    /// Stands out in a line.
    Strong,
    /// A signal word.
    Signal(Signal),
    /// The edge beside a caution.
    Edge(Signal),
    /// Somebody's own words, the standing notice: there, and in the background.
    Quiet,
    /// What to type next.
    Hint,
    /// A bar.
    Bar,
    /// How bad a problem is.
    Problem(Severity),
}

impl Paint {
    /// The style of a role; empty without colours.
    pub fn style(self, role: Role) -> Style {
        let plain = Style::new();
        if self == Paint::None {
            return plain;
        }
        let ink = |colour: AnsiColor| plain.fg_color(Some(colour.into()));
        match role {
            Role::Title => plain.bold().underline(),
            Role::Heading | Role::Strong => plain.bold(),
            Role::Signal(Signal::Danger) => {
                ink(AnsiColor::BrightWhite).bg_color(Some(AnsiColor::Red.into())).bold()
            }
            Role::Signal(Signal::Warning) => {
                ink(AnsiColor::Black).bg_color(Some(AnsiColor::Yellow.into())).bold()
            }
            Role::Signal(Signal::Caution) | Role::Problem(Severity::Warning) => ink(AnsiColor::Yellow).bold(),
            Role::Signal(Signal::Notice) => ink(AnsiColor::Blue).bold(),
            Role::Edge(Signal::Danger) => ink(AnsiColor::Red),
            Role::Edge(Signal::Warning | Signal::Caution) => ink(AnsiColor::Yellow),
            Role::Edge(Signal::Notice) => ink(AnsiColor::Blue),
            Role::Quiet => plain.dimmed(),
            Role::Hint => ink(AnsiColor::Green),
            Role::Bar => ink(AnsiColor::Cyan),
            Role::Problem(Severity::Error) => ink(AnsiColor::Red).bold(),
        }
    }

    /// A text in a role.
    pub fn paint(self, role: Role, text: &str) -> String {
        let style = self.style(role);
        format!("{style}{text}{style:#}")
    }

    /// What wraps paragraphs and lays out tables.
    pub(super) fn skin(self) -> MadSkin {
        let mut skin = MadSkin::no_style();
        skin.table_border_chars = &OPEN_LINED;
        if self == Paint::Colours {
            skin.bold = CompoundStyle::with_attr(Attribute::Bold);
        }
        skin
    }
}

static OPEN_LINED: TableBorderChars = OPEN;
/// [`OPEN`] in characters that every mail program shows.
pub(super) static OPEN_PLAIN: TableBorderChars = TableBorderChars { horizontal: '-', ..OPEN };

/// Tables without boxes: columns apart, and one thin line under the heads.
const OPEN: TableBorderChars = TableBorderChars {
    horizontal: '─',
    vertical: ' ',
    top_left_corner: ' ',
    top_right_corner: ' ',
    bottom_right_corner: ' ',
    bottom_left_corner: ' ',
    top_junction: ' ',
    right_junction: ' ',
    bottom_junction: ' ',
    left_junction: ' ',
    cross: ' ',
};
