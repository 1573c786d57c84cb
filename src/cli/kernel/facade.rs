//! The two-face facade: the compiler of a cell sees a prebuilt shared library, the type inference sees the bare source.
//!
//! What costs time in a cell is not linking, but every dependency that cargo and rust-analyzer can see. The facade has
//! none: its `lib.rs` hands the compiler the library that is already built, and rust-analyzer (which alone sets the
//! cfg `rust_analyzer`) our own source.

use std::path::Path;

use crate::error::{Error, Result};
use crate::study::write::write_whole;

const LIB: &str = "\
//! vialbook, as cells see it.
#[cfg(not(rust_analyzer))]
extern crate vialbook as real;
#[cfg(not(rust_analyzer))]
pub use real::*;
#[cfg(rust_analyzer)]
include!(\"_front.rs\");
";

/// Writes the facade package for the kit in `kit` from the source in `source`.
pub(super) fn write(source: &Path, kit: &Path) -> Result<()> {
    let folder = kit.join("facade");
    let src = folder.join("src");
    copy_source(&source.join("src"), &src)?;
    let front = src.join("_front.rs");
    std::fs::rename(src.join("lib.rs"), &front).map_err(|e| Error::io("rename", &front, e))?;
    write_whole(&src.join("lib.rs"), LIB.as_bytes())?;
    write_whole(&folder.join("Cargo.toml"), manifest().as_bytes())?;
    write_whole(&folder.join("build.rs"), build_script(kit).as_bytes())
}

/// Same name, version and features as the library, no dependency.
fn manifest() -> String {
    format!(
        "[package]\nname = \"vialbook\"\nversion = \"{}\"\nedition = \"2024\"\nbuild = \"build.rs\"\n\n\
         [features]\ndefault = [\"cells\"]\ncells = [\"plotly\", \"frame\", \"report\"]\nplotly = []\nframe = []\n\
         report = []\ncli = []\n\n[workspace]\n",
        env!("CARGO_PKG_VERSION")
    )
}

/// The kind `dependency` is matched by hash, so that doubles of a crate (host and target copies) do no harm.
fn build_script(kit: &Path) -> String {
    let text = |path: &Path| format!("{:?}", path.to_string_lossy());
    format!(
        "fn main() {{\n    println!(\"cargo::rustc-link-search=all={{}}\", {});\n    \
         println!(\"cargo::rustc-link-search=dependency={{}}\", {});\n    \
         println!(\"cargo::rustc-check-cfg=cfg(rust_analyzer)\");\n    \
         println!(\"cargo::rerun-if-changed=build.rs\");\n}}\n",
        text(&kit.join("lib")),
        text(&kit.join("meta"))
    )
}

/// The library's source alone: the program and the kernel are no part of it.
fn copy_source(from: &Path, to: &Path) -> Result<()> {
    std::fs::create_dir_all(to).map_err(|e| Error::io("make", to, e))?;
    for entry in std::fs::read_dir(from).map_err(|e| Error::io("read", from, e))? {
        let entry = entry.map_err(|e| Error::io("read", from, e))?;
        let (path, name) = (entry.path(), entry.file_name());
        if ["cli", "kernel", "main.rs"].iter().any(|left_out| name == *left_out) {
            continue;
        }
        if path.is_dir() {
            copy_source(&path, &to.join(name))?;
        } else {
            std::fs::copy(&path, to.join(name)).map_err(|e| Error::io("copy", &path, e))?;
        }
    }
    Ok(())
}
