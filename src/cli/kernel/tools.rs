//! The compiler that cells will get, its library source, and running tools with their last words kept.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::error::{Error, ErrorKind, Result};
use crate::report::{last_words, on_path};

/// The Rust tools of this machine.
#[derive(Clone, Debug)]
pub(super) struct Tools {
    /// What `rustc -vV` prints.
    pub(super) rustc_version: String,
    /// The name of the toolchain where rustup manages it.
    pub(super) toolchain: Option<String>,
    /// Source of the standard library where it is not in the toolchain's own place.
    pub(super) library_source: LibrarySource,
    /// Folder of cargo and rustc.
    pub(super) programs: Option<PathBuf>,
}

/// Where rust-analyzer finds the source of the standard library, by which types of `let` are inferred.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum LibrarySource {
    /// In the toolchain, where it is looked for anyway.
    InToolchain,
    /// Elsewhere; RUST_SRC_PATH names it.
    At(PathBuf),
    /// Nowhere.
    Missing,
}

/// What to do where the source of the standard library is missing.
pub(super) const LIBRARY_SOURCE_REMEDY: &str =
    "run `rustup component add rust-src`, or install your system's package of it (Debian: rust-web-src)";

impl Tools {
    pub(super) fn find() -> Result<Self> {
        let rustc_version = printed("rustc", &["-vV"])?;
        let sysroot = PathBuf::from(printed("rustc", &["--print", "sysroot"])?.trim());
        let toolchain = printed("rustup", &["show", "active-toolchain"])
            .ok()
            .and_then(|t| t.split_whitespace().next().map(str::to_owned));
        Ok(Tools {
            rustc_version,
            toolchain,
            library_source: library_source(&sysroot),
            programs: on_path("cargo").and_then(|p| p.parent().map(Path::to_path_buf)),
        })
    }
}

fn library_source(sysroot: &Path) -> LibrarySource {
    if sysroot.join("lib/rustlib/src/rust/library/core").is_dir() {
        return LibrarySource::InToolchain;
    }
    if let Some(set) = std::env::var_os("RUST_SRC_PATH").map(PathBuf::from)
        && set.join("core").is_dir()
    {
        return LibrarySource::At(set);
    }
    // Debian's packages of the source: /usr/src/rustc-1.85.0/library.
    let mut found: Vec<PathBuf> = std::fs::read_dir("/usr/src")
        .map(|entries| {
            entries.flatten().map(|e| e.path().join("library")).filter(|p| p.join("core").is_dir()).collect()
        })
        .unwrap_or_default();
    found.sort();
    found.pop().map_or(LibrarySource::Missing, LibrarySource::At)
}

/// Standard output of a program that answers at once.
pub(super) fn printed(program: &str, arguments: &[&str]) -> Result<String> {
    let output = Command::new(program).args(arguments).stdin(Stdio::null()).output().map_err(|e| {
        Error::new(ErrorKind::Tool, format!("{program} cannot be run")).because(e).hint(match program {
            "rustc" | "cargo" => "install Rust, or put its folder on the PATH",
            _ => "install it, or put its folder on the PATH",
        })
    })?;
    if !output.status.success() {
        return Err(Error::new(
            ErrorKind::Tool,
            format!("{program} {} failed: {}", arguments.join(" "), String::from_utf8_lossy(&output.stderr).trim()),
        ));
    }
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// Cargo in the source folder, without what `cargo run` leaves in the environment of this process.
pub(super) fn cargo(source: &Path, target: &Path) -> Command {
    let mut command = Command::new("cargo");
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        let leaks = ["CARGO_PKG_", "CARGO_MANIFEST_", "CARGO_BIN_", "CARGO_PROFILE_", "CARGO_BUILD_"];
        if leaks.iter().any(|l| text.starts_with(l))
            || ["CARGO_TARGET_DIR", "CARGO_ENCODED_RUSTFLAGS", "RUSTFLAGS", "RUSTC_WRAPPER", "LD_LIBRARY_PATH"]
                .contains(&&*text)
        {
            command.env_remove(&name);
        }
    }
    command.current_dir(source).env("CARGO_TERM_COLOR", "never");
    command.env("CARGO_TARGET_DIR", target);
    command
}

/// Runs a long command; `say` gets its lines on stderr, `output` those on stdout. Fails with its last lines.
pub(super) fn watched(
    mut command: Command,
    what: &str,
    say: &mut dyn FnMut(&str),
    output: &mut (dyn FnMut(&str) + Send),
) -> Result<()> {
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| Error::new(ErrorKind::Tool, format!("{what} could not be started")).because(e))?;
    let (stdout, stderr) = (child.stdout.take(), child.stderr.take());
    let last = std::thread::scope(|scope| {
        scope.spawn(move || {
            for line in stdout.into_iter().flat_map(|s| BufReader::new(s).lines().map_while(std::result::Result::ok)) {
                output(&line);
            }
        });
        last_words(stderr, 20, say)
    });
    let status = child.wait().map_err(|e| Error::new(ErrorKind::Tool, format!("{what} was lost")).because(e))?;
    if status.success() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Tool, format!("{what} failed ({status}): {}", last.join(" / ")))
        .hint("look at the lines above; without a connection nothing can be downloaded"))
}
