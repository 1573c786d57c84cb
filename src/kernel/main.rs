//! The notebook kernel: Rust cells with the library already there.
//!
//! One program in four roles, all of them needed because evcxr starts its own executable again:
//! - `--control_file FILE` (what Jupyter calls): makes a session folder, starts itself as the evaluator, waits, cleans up;
//! - the evaluator: evcxr's Jupyter server, which compiles cells;
//! - the process that runs the cells (evcxr marks it by a variable);
//! - `--warm`: fills the template folder that sessions are copied from.
//!
//! Environment is only ever set for a process that is about to start, so nothing here needs `unsafe`.

mod cells;
mod evaluator;
mod kit;
mod session;
mod stand_in;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    if cells::is_this_process() {
        cells::run();
    }
    let arguments: Vec<String> = std::env::args().collect();
    let done = match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [_, "--control_file", file] if evaluator::is_this_process() => evaluator::serve(file),
        [_, "--control_file", file] => session::run(Path::new(file)),
        [_, "--warm"] if evaluator::is_this_process() => evaluator::warm(),
        [_, "--warm"] => session::warm(),
        _ => Err("this program is started by Jupyter; set it up with `vialbook kernel set-up`".to_owned()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(sentence) => {
            eprintln!("{sentence}");
            ExitCode::from(2)
        }
    }
}
