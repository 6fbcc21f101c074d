//! `handlamp completions`: what makes the Tab key know the commands.

use super::{Context, Outcome, Result, command_line};
use clap_complete::Shell;

/// Shell completions, written to standard output
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp completions bash
  handlamp completions fish
")]
pub(super) struct Args {
    /// The shell
    shell: Shell,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut command_line(context.look.width), "handlamp", &mut text);
    context.write(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Done)
}
