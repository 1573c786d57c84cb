//! The kit: the prebuilt library with what cells need to compile against it. Made by `vialbook kernel set-up`.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Names the kit folder; set by the kernelspec.
const KIT_VARIABLE: &str = "VIALBOOK_KIT";
/// What to do about any fault of a kit.
const REMEDY: &str = "run `vialbook kernel set-up`, then restart the kernel";

/// A kit that is whole and was made by the compiler that is there.
pub(crate) struct Kit {
    folder: PathBuf,
    toolchain_libraries: PathBuf,
}

impl Kit {
    /// Opens the kit that the kernelspec names, and compares its compiler with the one that cells will get.
    pub(crate) fn open() -> Result<Self, String> {
        let folder = PathBuf::from(
            std::env::var_os(KIT_VARIABLE)
                .filter(|v| !v.is_empty())
                .ok_or_else(|| format!("{KIT_VARIABLE} is not set: {REMEDY}"))?,
        );
        let description = folder.join("kit.json");
        let text = std::fs::read_to_string(&description).map_err(|e| {
            format!("the library for notebooks is not there ({}: {e}): {REMEDY}", description.display())
        })?;
        let made: serde_json::Value = serde_json::from_str(&text)
            .map_err(|e| format!("{} cannot be read ({e}): {REMEDY}", description.display()))?;
        let made_by = made["rustc"].as_str().unwrap_or_default();
        let here = compiler_version()?;
        if made_by.trim() != here.trim() {
            return Err(format!(
                "the library for notebooks was built by {}, but the compiler here is {}: {REMEDY}",
                first_line(made_by),
                first_line(&here)
            ));
        }
        let kit = Kit { toolchain_libraries: toolchain_libraries()?, folder };
        for needed in [kit.library(), kit.config(false).join("evcxr.toml"), kit.config(true).join("evcxr.toml")] {
            if !needed.exists() {
                return Err(format!("{} is missing from the library for notebooks: {REMEDY}", needed.display()));
            }
        }
        // A replaced library would fail as a missing crate, without a hint.
        let bytes = std::fs::metadata(kit.library()).map(|m| m.len()).unwrap_or(0);
        if made["library_bytes"].as_u64() != Some(bytes) {
            return Err(format!("{} was changed after it was set up: {REMEDY}", kit.library().display()));
        }
        Ok(kit)
    }

    /// Where sessions of this kit live: beside it, outside any cargo workspace.
    pub(crate) fn sessions(&self) -> PathBuf {
        self.folder.join("sessions")
    }

    /// The warm folder that sessions are copied from.
    pub(crate) fn template(&self) -> PathBuf {
        self.folder.join("template")
    }

    /// evcxr's settings; the strict ones stop at a panic.
    pub(crate) fn config(&self, strict: bool) -> PathBuf {
        self.folder.join(if strict { "config-strict" } else { "config" })
    }

    /// A Jupyter folder without kernels, so that evcxr never updates a stock kernelspec.
    pub(crate) fn empty(&self) -> PathBuf {
        self.folder.join("no-kernels")
    }

    /// Folders of shared libraries: ours first, then the toolchain's.
    pub(crate) fn library_path(&self) -> String {
        format!("{}:{}", self.folder.join("lib").display(), self.toolchain_libraries.display())
    }

    fn library(&self) -> PathBuf {
        self.folder.join("lib").join(format!(
            "{}vialbook{}",
            std::env::consts::DLL_PREFIX,
            std::env::consts::DLL_SUFFIX
        ))
    }
}

/// `rustc -vV`, by the compiler that cells will get.
fn compiler_version() -> Result<String, String> {
    rustc(&["-vV"])
}

/// The folder of the toolchain's own shared libraries.
fn toolchain_libraries() -> Result<PathBuf, String> {
    Ok(Path::new(rustc(&["--print", "target-libdir"])?.trim()).to_path_buf())
}

fn rustc(arguments: &[&str]) -> Result<String, String> {
    let output = Command::new("rustc")
        .args(arguments)
        .output()
        .map_err(|e| format!("the Rust compiler cannot be run ({e}): install Rust, or put rustc on the PATH"))?;
    if !output.status.success() {
        return Err(format!("rustc {arguments:?} failed: {}", String::from_utf8_lossy(&output.stderr).trim()));
    }
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

fn first_line(text: &str) -> &str {
    text.lines().next().unwrap_or("an unknown compiler")
}
