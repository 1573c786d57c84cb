//! The process that runs the cells. evcxr starts this executable again for it, and once more after each stop.

use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::Command;

/// What evcxr marks this process with.
const EVCXR_MARK: &str = "EVCXR_IS_RUNTIME";
/// evcxr as a wrapper of rustc.
const EVCXR_WRAPPER_MARK: &str = "EVCXR_RUSTC_WRAPPER";
/// Set once the environment is as cells want it.
const READY: &str = "VIALBOOK_CELLS";
/// The folder that the notebook lies in.
const NOTEBOOK_FOLDER: &str = "VIALBOOK_NOTEBOOK_FOLDER";
/// A file that is there once cells have run in this session.
const STARTED: &str = "VIALBOOK_CELLS_STARTED";

/// Tells the processes to come where the notebook lies.
pub(crate) fn mark(command: &mut Command, notebook_folder: &Path, session: &Path) {
    command.env(NOTEBOOK_FOLDER, notebook_folder).env(STARTED, session.join("cells-started"));
}

/// True where evcxr wants this process for itself.
pub(crate) fn is_this_process() -> bool {
    std::env::var_os(EVCXR_MARK).is_some() || std::env::var_os(EVCXR_WRAPPER_MARK).is_some()
}

/// Runs cells until evcxr closes the pipe; never returns.
pub(crate) fn run() {
    if std::env::var_os(EVCXR_MARK).is_some() && std::env::var_os(READY).is_none() {
        restart_as_cells_want_it();
    }
    evcxr::runtime_hook();
}

/// The same process again: in the notebook's folder, and without evcxr's backtraces of fifteen lines a panic.
fn restart_as_cells_want_it() {
    if let Some(marker) = std::env::var_os(STARTED) {
        if Path::new(&marker).exists() {
            eprintln!(
                "The process that runs the cells was stopped and has been started again. The kernel goes on; \
                 variables are gone: run the cells above once more."
            );
        } else {
            let _ = std::fs::write(&marker, "");
        }
    }
    let Ok(own) = std::env::current_exe() else { return };
    let mut command = Command::new(own);
    command.args(std::env::args_os().skip(1)).env(READY, "1").env("RUST_BACKTRACE", "0");
    if let Some(folder) = std::env::var_os(NOTEBOOK_FOLDER).filter(|f| Path::new(f).is_dir()) {
        command.current_dir(folder);
    }
    // Returns only where it failed; then the cells run as evcxr would have it.
    let _ = command.exec();
}
