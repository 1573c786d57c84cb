//! The program: typed arguments → work → words. Data go to stdout, words to stderr.
//!
//! Exit codes: 0 done, 1 a check failed, 2 could not run.
#![allow(clippy::print_stdout, clippy::print_stderr)] // talking to a person is this module's work

mod analyse;
mod demo;
mod inspect;
mod kernel;
mod new;
mod notebook;
mod output;
mod progress;
mod report;
mod watch;

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::error::Result;
use crate::results::Severity;

/// From the traces of a small gas chromatograph to amounts that hold up, and a report.
#[derive(Parser)]
#[command(name = "vialbook", version, max_term_width = 100)]
#[command(after_help = "Exit codes: 0 done, 1 a check failed, 2 could not run.\n\
Data go to standard output, words to standard error. Raw files are never changed.")]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Make a simulated study, analyse it, and typeset its report
    Demo(DemoArgs),
    /// Make a study folder to fill in, empty or from exported traces (--from)
    New(NewArgs),
    /// Say what a trace file holds: how it was read, noise, peaks
    Inspect(InspectArgs),
    /// From a study folder to results.json and CSV tables in its results/
    Analyse(AnalyseArgs),
    /// From a study folder to a typeset PDF (analyses it first, as analyse does)
    Report(ReportArgs),
    /// Open JupyterLab with the library at hand, or run a notebook headless (--run); sets up what is missing
    Notebook(NotebookArgs),
    /// Set up, examine or remove the notebook kernel
    Kernel {
        #[command(subcommand)]
        task: kernel::Task,
    },
}

#[derive(Args)]
struct DemoArgs {
    /// Folder to make; must not exist, be empty, or hold a demo made before
    #[arg(default_value = "demo")]
    folder: PathBuf,
    /// Seed of the simulation: another seed is another day at the bench
    #[arg(long, default_value_t = crate::simulate::DEMO_SEED)]
    seed: u64,
    #[command(flatten)]
    typesetter: TypesetterArgs,
}

#[derive(Args)]
struct NewArgs {
    /// Folder to make; must not exist, or be empty
    folder: PathBuf,
    /// Exported traces to copy into it; the injection log is filled with what they tell
    #[arg(long, num_args = 1.., value_name = "FILES")]
    from: Vec<PathBuf>,
}

#[derive(Args)]
struct InspectArgs {
    /// Trace files
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
    /// Unit of the time column: ms, s, min or h
    #[arg(long)]
    time_unit: Option<String>,
    /// Name or number (from 1) of the time column
    #[arg(long)]
    time_column: Option<String>,
    /// Name or number (from 1) of the signal column
    #[arg(long)]
    signal_column: Option<String>,
    /// Delimiter: comma, semicolon, tab, blanks or one_column
    #[arg(long)]
    delimiter: Option<String>,
    /// Decimal mark: point or comma
    #[arg(long)]
    decimal_mark: Option<String>,
    /// Any other reading option as in study.toml's [reading], such as interval_s=0.1; may be given again
    #[arg(long = "set", value_name = "KEY=VALUE")]
    set: Vec<String>,
}

#[derive(Args)]
struct AnalyseArgs {
    /// Study folder: study.toml, the injection log and the traces that it names
    study: PathBuf,
}

#[derive(Args)]
struct ReportArgs {
    /// Study folders, each with study.toml, the injection log and the traces that it names; each gets its own report
    #[arg(required = true)]
    studies: Vec<PathBuf>,
    /// Template: one that comes with the program, or a folder in the study's report-templates/
    #[arg(long, default_value = "formal-report")]
    template: String,
    /// File that the PDF goes to [default: report.pdf in the study folder]
    #[arg(long, short)]
    output: Option<PathBuf>,
    /// Stay and make the report again whenever a file of the study changes
    #[arg(long)]
    watch: bool,
    #[command(flatten)]
    typesetter: TypesetterArgs,
}

#[derive(Args)]
struct NotebookArgs {
    /// Notebook to open or run; a new one is made where there is none
    file: Option<PathBuf>,
    /// Run all cells without a person: writes FILE.executed.ipynb and .html; any error or panic is exit code 1
    #[arg(long)]
    run: bool,
    /// File that the executed notebook goes to (--run)
    #[arg(long, short, requires = "run")]
    output: Option<PathBuf>,
    /// Longest time for one cell in seconds (--run)
    #[arg(long, value_name = "SECONDS", default_value_t = 600, requires = "run")]
    cell_limit: u32,
    /// Print the address instead of opening a browser
    #[arg(long)]
    no_browser: bool,
}

#[derive(Args)]
struct TypesetterArgs {
    /// The typst program to use [default: VIALBOOK_TYPST, then PATH, then our own cache, built once]
    #[arg(long, value_name = "PATH")]
    typst: Option<PathBuf>,
}

/// Runs the program with these arguments; the first is the program's own name.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(e) => {
            // clap prints help and version to stdout, complaints to stderr.
            let printed = e.print();
            if e.use_stderr() {
                return ExitCode::from(2);
            }
            return code(output::written(printed).map(|()| Severity::Pass));
        }
    };
    let done: Result<Severity> = match cli.command {
        Command::Demo(args) => demo::run(&args),
        Command::New(args) => new::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Analyse(args) => analyse::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Notebook(args) => notebook::run(&args),
        Command::Kernel { task } => kernel::run(&task),
    };
    code(done)
}

/// Exit code of what was done; an error is told.
fn code(done: Result<Severity>) -> ExitCode {
    match done {
        Ok(Severity::Fail) => ExitCode::from(1),
        Ok(_) => ExitCode::SUCCESS,
        Err(e) => {
            output::words(&format!("error: {e}"));
            ExitCode::from(2)
        }
    }
}
