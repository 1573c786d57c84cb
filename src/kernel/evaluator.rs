//! The evaluator: evcxr's own Jupyter server, in a session's folder.

use std::process::Command;

/// Marks the process that compiles cells.
const MARK: &str = "VIALBOOK_EVALUATOR";
/// Exit code that says: no cell was ever run.
pub(crate) const COULD_NOT_START: u8 = 3;

/// Marks a command as the evaluator.
pub(crate) fn mark(command: &mut Command) {
    command.env(MARK, "1");
}

/// True in the evaluator.
pub(crate) fn is_this_process() -> bool {
    std::env::var_os(MARK).is_some()
}

/// Serves Jupyter until it says to stop. evcxr's prelude runs before the first answer.
pub(crate) fn serve(_control_file: &str) -> Result<(), String> {
    // It reads the control file from the arguments itself.
    match evcxr_jupyter::main() {
        Ok(()) => Ok(()),
        Err(e) => could_not_start(&format!("{e:#}")),
    }
}

/// Runs the prelude and one cell of each kind, so that sessions find all of it compiled.
pub(crate) fn warm() -> Result<(), String> {
    let (mut context, _outputs) = evcxr::CommandContext::new().map_err(|e| e.to_string())?;
    for step in [":load_config --quiet", "let warm_up = vec![1.0, 2.0];", "warm_up.len()"] {
        context.execute(step).map_err(|e| match e {
            evcxr::Error::CompilationErrors(errors) => {
                errors.iter().map(|e| e.message()).collect::<Vec<_>>().join("\n")
            }
            other => other.to_string(),
        })?;
    }
    Ok(())
}

fn could_not_start(words: &str) -> ! {
    eprintln!("{words}");
    std::process::exit(i32::from(COULD_NOT_START))
}
