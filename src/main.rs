//! The `handlamp` program; everything is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    handlamp::commands::main()
}
