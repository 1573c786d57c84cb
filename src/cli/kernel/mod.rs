//! `vialbook kernel`: sets up, examines and removes the notebook kernel.

mod doctor;
mod facade;
mod jupyter;
mod kit;
mod places;
mod tools;

use std::time::Instant;

use super::output;
use super::progress::Progress;
use crate::error::Result;
use crate::report::Typesetter;
use crate::results::Severity;

pub(super) use jupyter::{Environment, KERNEL_NAME};

/// What can be done to the kernel.
#[derive(Clone, Debug, clap::Subcommand)]
pub(super) enum Task {
    /// Build and register the kernel; what is there already is left alone
    SetUp(SetUpArgs),
    /// Say what is there, what is missing, and what to do about it
    Doctor,
    /// Remove the kernel, its kits and its Python environment; the typesetter stays
    Remove,
}

/// Options of `vialbook kernel set-up`.
#[derive(Clone, Debug, Default, clap::Args)]
pub(super) struct SetUpArgs {
    /// Folder of vialbook's source [default: where this program was built]
    #[arg(long, value_name = "DIR")]
    source: Option<std::path::PathBuf>,
}

pub(super) fn run(task: &Task) -> Result<Severity> {
    match task {
        Task::SetUp(args) => set_up(args).map(|_| Severity::Pass),
        Task::Doctor => doctor::run(),
        Task::Remove => remove(),
    }
}

/// Everything a notebook needs, in the order in which a fault is cheapest to find; the kernelspec comes last, so that
/// Jupyter never offers a kernel that cannot start.
pub(super) fn set_up(args: &SetUpArgs) -> Result<Environment> {
    let tools = tools::Tools::find()?;
    let source = places::source_folder(args.source.as_deref())?;
    let environment = step("1/4", "JupyterLab and the renderer of figures", "about a minute", |say| {
        jupyter::Environment::provide(say)
    })?;
    step("2/4", "the typesetter of reports", "about ten minutes", |say| match Typesetter::find(None)? {
        Some(found) => Ok((found, Freshness::AlreadyThere)),
        None => Typesetter::provision(&mut |line| say(line)).map(|t| (t, Freshness::Made)),
    })?;
    let kit = step("3/4", "the kernel and the library for its cells", "about fifteen minutes on two cores", |say| {
        kit::Kit::provide(&source, &tools, say)
    })?;
    step("4/4", "the kernel's entry in Jupyter", "a moment", |_| environment.register(&kit, &tools))?;
    kit::remove_others(&kit);
    Ok(environment)
}

/// Whether a step had anything to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Freshness {
    Made,
    AlreadyThere,
}

/// One step of the set-up, told when it begins to take time and when it is done.
fn step<T>(
    number: &str,
    what: &str,
    usual: &str,
    work: impl FnOnce(&mut dyn FnMut(&str)) -> Result<(T, Freshness)>,
) -> Result<T> {
    let begun = Instant::now();
    let mut progress = Progress::start();
    progress.say(&format!("{number} {what} (the first time {usual})"));
    let (made, freshness) = work(&mut |line| progress.say(&format!("{number} {what}: {line}")))?;
    drop(progress);
    output::words(&match freshness {
        Freshness::Made => format!("{number} {what}: done in {} s", begun.elapsed().as_secs()),
        Freshness::AlreadyThere => format!("{number} {what}: already there"),
    });
    Ok(made)
}

fn remove() -> Result<Severity> {
    let removed = [jupyter::remove_registration()?, kit::remove_all()?, jupyter::remove_environments()?];
    for path in removed.iter().flatten() {
        output::words(&format!("removed {}", path.display()));
    }
    if removed.iter().all(Vec::is_empty) {
        output::words("there was nothing to remove");
    }
    Ok(Severity::Pass)
}
