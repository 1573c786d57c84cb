//! A kernel that only says why the kernel could not start: a sentence in the cell instead of a dead kernel.

use std::path::Path;
use std::process::Command;

/// Names the Python that has ipykernel; set by the kernelspec.
const PYTHON_VARIABLE: &str = "VIALBOOK_PYTHON";
const PROGRAM: &str = include_str!("stand_in.py");

/// Answers every cell with the reason until Jupyter says to stop.
pub(crate) fn answer(control_file: &Path, reason: &str) -> Result<(), String> {
    let python = std::env::var_os(PYTHON_VARIABLE).filter(|v| !v.is_empty()).unwrap_or_else(|| "python3".into());
    let status = Command::new(&python)
        .args(["-c", PROGRAM, "-f"])
        .arg(control_file)
        .env("VIALBOOK_REASON", reason)
        .env_remove("PYTHONPATH")
        .status();
    match status {
        Ok(status) if status.success() => Ok(()),
        _ => Err(reason.to_owned()),
    }
}
