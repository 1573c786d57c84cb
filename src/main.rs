//! The program: arguments in, exit code out. Everything else stands in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    vialbook::cli::run(std::env::args_os())
}
