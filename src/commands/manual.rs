//! `handlamp manual`: the manual pages.

use super::{CommandError, Context, Outcome, Result, command_line};

/// The manual page of the program or of one command, in roff
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp manual | man -l -
  handlamp manual find > handlamp-find.1
")]
pub(super) struct Args {
    /// Command, as words: `knowledge vet`
    command: Vec<String>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let mut command = command_line(context.look.width);
    // Building gives every inner command its full name, which heads its page.
    // Building gives every inner command its full name, which heads its page.
    command.build();
    for word in &args.command {
        let inner = command.find_subcommand(word).cloned();
        command = inner.ok_or_else(|| {
            let known = command.get_subcommands().map(clap::Command::get_name);
            CommandError::input(format!("There is no command '{word}' here."))
                .hint(crate::ids::did_you_mean(word, known))
        })?;
    }
    let mut text = Vec::new();
    clap_mangen::Man::new(command).render(&mut text)?;
    context.write(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Done)
}
