//! The command line: one file a command, each with `Args` and `run(args, context)`.
//!
//! A new command is a file beside these, a variant of [`Command`] and a line in [`Command::run`]. Commands say
//! what they have to say as a page or as one JSON value; they never print.

mod accepting;
mod asking;
mod case;
mod checklist;
mod completions;
mod context;
mod diagnose;
mod export;
mod fills;
mod find;
mod importing;
mod knowledge;
mod lesson;
mod lines;
mod logs;
mod manual;
mod memory;
mod outcome;
mod progress;
mod recorded_cases;
mod recording;
mod rehearse;
mod replayed;
mod revision;
mod setting_up;
mod setup;
mod sheet;
mod show;
mod sums;
mod talk;
mod telling;
mod week;
mod weights;

use std::io::Write;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

pub use context::{Context, Options};
pub use outcome::{CommandError, Kind, Outcome, Result};

use crate::diag::harmless;
use crate::render::Paint;

/// Name, examples, usage, options: in this order, since people copy examples.
const HELP: &str = "{about-with-newline}\n{before-help}{usage-heading} {usage}\n\n{all-args}{after-help}";

/// Said at the end of every help text.
const EXITS: &str = "Exit codes: 0 done, 1 done and the answer is 'not good', 2 wrong usage, 3 bad input, 4 the \
store could not be read or written, 70 our own fault.";

/// Offline knowledge base and troubleshooting assistant for weigh-filling machines
#[derive(Debug, Parser)]
#[command(name = "handlamp", version, help_template = HELP, after_help = EXITS, before_help = "\
Examples:
  handlamp diagnose all our bags are light
  handlamp find bags too light
  handlamp show fills-steadily-light
  handlamp weights fills.csv --target 250g
  handlamp setup run
  handlamp checklist run daily-start
")]
pub struct Program {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    options: Options,
}

#[derive(Debug, Subcommand)]
enum Command {
    Diagnose(diagnose::Args),
    Case(case::Args),
    Setup(setup::Args),
    Checklist(checklist::Args),
    Find(find::Args),
    Show(show::Args),
    Weights(Box<weights::Args>),
    Lesson(lesson::Args),
    Knowledge(knowledge::Args),
    Rehearse(rehearse::Args),
    Completions(completions::Args),
    Manual(manual::Args),
}

impl Command {
    /// Errors of the library are typed; here, at the edge, they become one kind that keeps its cause.
    fn run(&self, context: &mut Context) -> anyhow::Result<Outcome> {
        let done = match self {
            Command::Diagnose(args) => diagnose::run(args, context),
            Command::Case(args) => case::run(args, context),
            Command::Setup(args) => setup::run(args, context),
            Command::Checklist(args) => checklist::run(args, context),
            Command::Find(args) => find::run(args, context),
            Command::Show(args) => show::run(args, context),
            Command::Weights(args) => weights::run(args, context),
            Command::Lesson(args) => lesson::run(args, context),
            Command::Knowledge(args) => knowledge::run(args, context),
            Command::Rehearse(args) => rehearse::run(args, context),
            Command::Completions(args) => completions::run(args, context),
            Command::Manual(args) => manual::run(args, context),
        };
        Ok(done?)
    }
}

/// The whole program.
pub fn main() -> ExitCode {
    std::panic::set_hook(Box::new(own_fault));
    let run = std::panic::catch_unwind(|| {
        let mut context = Context::from_environment(Options::default());
        let width = context.look.width;
        let parsed = command_line(width).try_get_matches().and_then(|m| Program::from_arg_matches(&m));
        match parsed {
            Ok(program) => {
                context.options = program.options.or_environment();
                end(program.command.run(&mut context), &context)
            }
            Err(error) => usage(&error, &mut context),
        }
    });
    ExitCode::from(run.unwrap_or(Kind::Fault.code()))
}

/// The command line, wrapped to a width.
fn command_line(width: usize) -> clap::Command {
    same_order(Program::command()).term_width(width)
}

/// Examples first in the help of every command.
fn same_order(command: clap::Command) -> clap::Command {
    command.help_template(HELP).mut_subcommands(same_order)
}

fn end(result: anyhow::Result<Outcome>, context: &Context) -> u8 {
    let error = match result {
        Ok(outcome) => return outcome.code(),
        Err(error) => error
            .downcast::<CommandError>()
            .unwrap_or_else(|other| CommandError::new(Kind::Fault, format!("{other:#}"))),
    };
    if error.kind != Kind::Gone {
        report(&error, context);
    }
    error.kind.code()
}

/// Sentences on standard error; if that has gone too, nobody is left to tell.
fn report(error: &CommandError, context: &Context) {
    let look = &context.error_look;
    let mut text = error.drawn.as_ref().map_or_else(String::new, |drawn| format!("{drawn}\n"));
    text.push_str(&crate::render::terminal::sentence("handlamp: ", &error.message, look));
    if let Some(hint) = &error.hint {
        text.push_str(&crate::render::terminal::sentence("help: ", hint, look));
    }
    let _ = anstream::stderr().write_all(text.as_bytes());
}

/// Help goes to standard output, wrong usage to standard error, both without control characters.
fn usage(error: &clap::Error, context: &mut Context) -> u8 {
    let wrong = error.use_stderr();
    if wrong {
        let text = harmless(&error.render().to_string());
        let _ = anstream::stderr().write_all(text.as_bytes());
        return Kind::Usage.code();
    }
    let text = match context.look.paint {
        Paint::Colours => error.render().ansi().to_string(),
        Paint::None => error.render().to_string(),
    };
    end(context.write(&text).map(|()| Outcome::Done).map_err(Into::into), context)
}

/// What a panic says: one sentence, the place, and a request.
fn own_fault(panic: &std::panic::PanicHookInfo<'_>) {
    let place = panic.location().map_or_else(String::new, |at| format!(" ({}:{})", at.file(), at.line()));
    let said = panic.payload();
    let said =
        said.downcast_ref::<&str>().copied().or_else(|| said.downcast_ref::<String>().map(String::as_str));
    let said = said.unwrap_or("no reason given");
    let text = format!(
        "handlamp: This is our own fault, not yours{place}: {}\nPlease report it with what you typed. Answers already \
         given are in the store.\n",
        harmless(said)
    );
    let _ = anstream::stderr().write_all(text.as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_command_foresaw_ends_as_our_own_fault() {
        let context = Context::from_environment(Options::default());
        assert_eq!(end(Err(anyhow::anyhow!("a table has no row")), &context), 70);
        assert_eq!(end(Err(CommandError::input("no such case").into()), &context), 3);
    }
}
