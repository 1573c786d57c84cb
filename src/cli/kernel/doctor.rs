//! `vialbook kernel doctor`: what is there, what is missing, what to do.

use std::path::Path;
use std::process::Command;

use super::jupyter::{self, Environment};
use super::tools::{self, LIBRARY_SOURCE_REMEDY, LibrarySource, Tools};
use super::{kit::Kit, places};
use crate::cli::output;
use crate::error::Result;
use crate::report::{Typesetter, on_path};
use crate::results::Severity;

/// One thing looked at.
struct Check {
    what: &'static str,
    /// What is there, or what is wrong.
    seen: String,
    /// What to do; none where all is well.
    remedy: Option<String>,
}

impl Check {
    fn good(what: &'static str, seen: impl Into<String>) -> Self {
        Check { what, seen: seen.into(), remedy: None }
    }

    fn fault(what: &'static str, seen: impl Into<String>, remedy: impl Into<String>) -> Self {
        Check { what, seen: seen.into(), remedy: Some(remedy.into()) }
    }
}

/// What repairs most faults.
const SET_UP: &str = "run `vialbook kernel set-up`";

pub(super) fn run() -> Result<Severity> {
    let checks = checks();
    let mut text = String::new();
    for check in &checks {
        let mark = if check.remedy.is_some() { "fault" } else { "good" };
        text.push_str(&format!("{mark:<6} {:<22} {}\n", check.what, check.seen));
        if let Some(remedy) = &check.remedy {
            text.push_str(&format!("{:<29} → {remedy}\n", ""));
        }
    }
    output::data(&text)?;
    Ok(if checks.iter().any(|c| c.remedy.is_some()) { Severity::Fail } else { Severity::Pass })
}

fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let tools = match Tools::find() {
        Ok(tools) => {
            let first = tools.rustc_version.lines().next().unwrap_or_default().to_owned();
            let toolchain = tools.toolchain.as_ref().map(|t| format!(", toolchain {t}")).unwrap_or_default();
            checks.push(Check::good("Rust compiler", format!("{first}{toolchain}")));
            Some(tools)
        }
        Err(e) => {
            checks.push(Check::fault("Rust compiler", e.to_string(), "install Rust 1.95 or later"));
            None
        }
    };
    if let Some(tools) = &tools {
        checks.push(match &tools.library_source {
            LibrarySource::InToolchain => Check::good("library source", "in the toolchain"),
            LibrarySource::At(path) => Check::good("library source", path.display().to_string()),
            LibrarySource::Missing => Check::fault(
                "library source",
                "the source of Rust's standard library is missing; types of `let` cannot be inferred",
                LIBRARY_SOURCE_REMEDY,
            ),
        });
    }
    checks.push(linker());
    let environment = Environment::find().ok().flatten();
    checks.push(match &environment {
        Some(environment) => python_package(environment, "JupyterLab", "jupyterlab"),
        None => Check::fault("JupyterLab", "our Python environment is not there", SET_UP),
    });
    if let Some(environment) = &environment {
        checks.push(python_package(environment, "figure renderer", "plotly"));
    }
    let found = Typesetter::find(None);
    checks.push(typesetter(&found));
    checks.push(fonts(&found));
    checks.extend(kernel(tools.as_ref()));
    checks
}

/// The C compiler that rustc links with.
fn linker() -> Check {
    match tools::printed("cc", &["--version"]) {
        Ok(text) => {
            let fast = ["mold", "lld"].iter().find(|l| on_path(l).is_some());
            let note = fast.map_or(String::new(), |l| format!("; {l} is there and will be used"));
            Check::good("linker", format!("{}{note}", text.lines().next().unwrap_or("cc")))
        }
        Err(e) => Check::fault("linker", e.to_string(), "install a C compiler (Debian: build-essential)"),
    }
}

fn python_package(environment: &Environment, what: &'static str, package: &str) -> Check {
    let code = format!("import importlib.metadata as m; print(m.version('{package}'))");
    let run = Command::new(environment.program("python")).args(["-c", &code]).output();
    match run {
        Ok(o) if o.status.success() => {
            Check::good(what, format!("{package} {}", String::from_utf8_lossy(&o.stdout).trim()))
        }
        _ => Check::fault(
            what,
            format!("the Python package {package} cannot be loaded"),
            format!("run `vialbook kernel remove`, then {}", SET_UP.trim_start_matches("run ")),
        ),
    }
}

fn typesetter(found: &Result<Option<Typesetter>>) -> Check {
    match found {
        Ok(Some(found)) => {
            Check::good("typesetter", format!("typst {} ({})", found.version(), found.program().display()))
        }
        Ok(None) => Check::fault("typesetter", "no typst 0.15 was found; reports cannot be set", SET_UP),
        Err(e) => Check::fault("typesetter", e.to_string(), "unset VIALBOOK_TYPST, or name a typst 0.15"),
    }
}

/// The report uses fonts that typst carries; a typesetter built without them would set nothing.
fn fonts(found: &Result<Option<Typesetter>>) -> Check {
    let Ok(Some(found)) = found else {
        return Check::fault("fonts", "not known without the typesetter", SET_UP);
    };
    let listed = Command::new(found.program()).args(["fonts", "--ignore-system-fonts"]).output();
    let names = listed.map(|o| String::from_utf8_lossy(&o.stdout).into_owned()).unwrap_or_default();
    let missing: Vec<&str> =
        crate::report::FONTS.iter().copied().filter(|f| !names.lines().any(|n| n.trim() == *f)).collect();
    if missing.is_empty() {
        Check::good("fonts", format!("{}, carried by typst", crate::report::FONTS.join(", ")))
    } else {
        Check::fault("fonts", format!("typst carries no {}", missing.join(", ")), "use a typst with its embedded fonts")
    }
}

/// The kit that Jupyter would start, against the one that this source would make.
fn kernel(tools: Option<&Tools>) -> Vec<Check> {
    let registered = match jupyter::registered_kit() {
        Ok(Some(folder)) => Kit { folder },
        Ok(None) => return vec![Check::fault("kernel", "Jupyter has no entry for it", SET_UP)],
        Err(e) => return vec![Check::fault("kernel", e.to_string(), SET_UP)],
    };
    if !registered.is_complete() {
        let seen = format!("Jupyter's entry names {}, which is not whole", registered.folder.display());
        return vec![Check::fault("kernel", seen, SET_UP)];
    }
    let mut checks = vec![Check::good("kernel", registered.folder.display().to_string())];
    let current = tools
        .and_then(|t| places::source_folder(None).ok().map(|s| Kit::find(&s, t)))
        .transpose()
        .ok()
        .flatten()
        .flatten();
    checks.push(match current {
        Some(kit) if kit.folder == registered.folder => {
            Check::good("warm folder", size_text(&registered.folder.join("template")))
        }
        _ => Check::fault("warm folder", "the library, its source or the compiler has changed since", SET_UP),
    });
    checks
}

fn size_text(folder: &Path) -> String {
    format!("up to date, {} MB copied into each session", (bytes_below(folder) + 500_000) / 1_000_000)
}

fn bytes_below(folder: &Path) -> u64 {
    std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|e| if e.path().is_dir() { bytes_below(&e.path()) } else { e.metadata().map_or(0, |m| m.len()) })
        .sum()
}
