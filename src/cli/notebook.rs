//! `vialbook notebook`: opens JupyterLab with our kernel, or runs a notebook without a person.

use std::path::Path;
use std::process::Command;

use super::kernel::{self, KERNEL_NAME, SetUpArgs};
use crate::error::{Error, ErrorKind, Result};
use crate::results::Severity;
use crate::study::write::write_whole;

const RUNNER: &str = include_str!("run_notebook.py");
/// A notebook to begin with.
const EMPTY: &str = include_str!("new-notebook.json");

pub(super) fn run(args: &super::NotebookArgs) -> Result<Severity> {
    let file = args.file.as_deref();
    if let Some(file) = file {
        may_be_a_notebook(file)?;
    }
    if args.run {
        let file = file.ok_or_else(|| {
            Error::new(ErrorKind::Option, "--run needs the notebook to run").hint("vialbook notebook FILE --run")
        })?;
        if !file.is_file() {
            return Err(Error::new(ErrorKind::NotFound, "there is no such notebook").in_file(file));
        }
        return headless(file, args);
    }
    let environment = kernel::set_up(&SetUpArgs::default())?;
    if let Some(file) = file.filter(|f| !f.exists()) {
        write_whole(file, EMPTY.as_bytes())?;
        super::output::words(&format!("made {}", file.display()));
    }
    let mut command = Command::new(environment.program("jupyter-lab"));
    command.args(file);
    // On a busy machine a kernel may take longer to start than Jupyter waits of itself.
    command.arg("--MappingKernelManager.kernel_info_timeout=180");
    // Jupyter refuses to run as root unless told that this is meant: a container, a machine of one's own.
    if is_root() {
        command.arg("--allow-root");
    }
    if args.no_browser {
        command.arg("--no-browser");
    }
    super::output::words("JupyterLab starts; stop it with Ctrl-C");
    finished(command.status(), "JupyterLab")
}

/// Runs every cell in a fresh kernel; the first error, panic or line on stderr stops it.
fn headless(file: &Path, args: &super::NotebookArgs) -> Result<Severity> {
    let output = args.output.clone().unwrap_or_else(|| file.with_extension("executed.ipynb"));
    let html = output.with_extension("html");
    if output == file {
        return Err(Error::new(ErrorKind::Option, "the executed notebook would replace the one that is run")
            .in_file(file)
            .hint("name another file: --output FILE"));
    }
    let environment = kernel::set_up(&SetUpArgs::default())?;
    let mut command = Command::new(environment.program("python"));
    command.args(["-c", RUNNER]).arg(file).arg(&output).arg(&html).arg(KERNEL_NAME);
    command.arg(args.cell_limit.to_string()).env("VIALBOOK_STRICT", "1");
    let ended = finished(command.status(), "the notebook")?;
    if ended == Severity::Pass {
        super::output::data(&format!("{}\n{}\n", output.display(), html.display()))?;
    }
    Ok(ended)
}

fn finished(status: std::io::Result<std::process::ExitStatus>, what: &str) -> Result<Severity> {
    match status {
        Ok(status) if status.success() => Ok(Severity::Pass),
        // The runner has told why: a cell failed.
        Ok(status) if status.code() == Some(1) => Ok(Severity::Fail),
        Ok(status) => Err(Error::new(ErrorKind::Tool, format!("{what} ended with {status}"))
            .hint("`vialbook kernel doctor` says what is there and what is missing")),
        Err(e) => Err(Error::new(ErrorKind::Tool, format!("{what} could not be started"))
            .because(e)
            .hint("`vialbook kernel doctor` says what is there and what is missing")),
    }
}

fn may_be_a_notebook(file: &Path) -> Result<()> {
    if file.extension().is_some_and(|e| e == "ipynb") {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Option, "this is not the name of a notebook; one that ends in .ipynb is wanted")
        .in_file(file))
}

fn is_root() -> bool {
    cfg!(unix) && std::env::var_os("HOME").is_some_and(|h| h == "/root")
}
