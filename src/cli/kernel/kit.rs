//! The kit: the library as a shared object, what cells need to compile against it, the facade, and a warm folder.
//!
//! A kit is never overwritten: its name is a hash of all that it was made from, and it counts only once its last file
//! is there. Kits that nobody uses any more are removed after a set-up.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest as _, Sha256};

use super::facade;
use super::tools::{self, LibrarySource, Tools};
use super::{Freshness, places};
use crate::error::{Error, ErrorKind, Result};
use crate::study::write::write_whole;

/// Features of the library that cells get.
const FEATURES: &str = "cells";
/// The last file of a kit.
const COMPLETE: &str = "complete";
/// Statements before the first cell. The kernel learns at the first `?` of a session that cells may have one, and shows
/// that cell's value without its display: it learns it here.
const FIRST_STATEMENTS: &str =
    "use vialbook::prelude::*;\nvialbook::notebook::start();\nOk::<(), vialbook::Error>(())?;\n";

/// A kit that is whole.
#[derive(Clone, Debug)]
pub(super) struct Kit {
    pub(super) folder: PathBuf,
}

impl Kit {
    /// The kit of this source and compiler, built if it is not there.
    pub(super) fn provide(source: &Path, tools: &Tools, say: &mut dyn FnMut(&str)) -> Result<(Self, Freshness)> {
        let all = places::kits()?;
        fs::create_dir_all(&all).map_err(|e| Error::io("make", &all, e))?;
        let kit = Kit { folder: all.join(identity(source, tools)?) };
        if kit.is_complete() {
            return Ok((kit, Freshness::AlreadyThere));
        }
        // The system releases the lock when its holder ends, however it ends.
        let lock_path = all.join("set-up.lock");
        let lock = File::create(&lock_path).map_err(|e| Error::io("write", &lock_path, e))?;
        if lock.try_lock().is_err() {
            say("another process is at it; waiting");
            lock.lock().map_err(|e| Error::io("lock", &lock_path, e))?;
        }
        if kit.is_complete() {
            return Ok((kit, Freshness::AlreadyThere));
        }
        kit.make(source, tools, say)?;
        Ok((kit, Freshness::Made))
    }

    /// The kit that this source and compiler would have, if it is there.
    pub(super) fn find(source: &Path, tools: &Tools) -> Result<Option<Self>> {
        let kit = Kit { folder: places::kits()?.join(identity(source, tools)?) };
        Ok(kit.is_complete().then_some(kit))
    }

    /// The kernel's program.
    pub(super) fn program(&self) -> PathBuf {
        self.folder.join("bin").join(format!("vialbook-kernel{}", std::env::consts::EXE_SUFFIX))
    }

    pub(super) fn is_complete(&self) -> bool {
        self.folder.join(COMPLETE).is_file()
    }

    fn make(&self, source: &Path, tools: &Tools, say: &mut dyn FnMut(&str)) -> Result<()> {
        places::remove_folder(&self.folder)?;
        let kernel = build_kernel(source, say)?;
        let built = build_library(source, say)?;
        for part in ["bin", "lib", "meta", "no-kernels", "sessions"] {
            let folder = self.folder.join(part);
            fs::create_dir_all(&folder).map_err(|e| Error::io("make", &folder, e))?;
        }
        copy_into(&kernel, &self.folder.join("bin"))?;
        copy_into(&built.library, &self.folder.join("lib"))?;
        for file in &built.metadata {
            copy_into(file, &self.folder.join("meta"))?;
        }
        facade::write(source, &self.folder)?;
        let bytes = fs::metadata(&built.library).map_err(|e| Error::io("read", &built.library, e))?.len();
        let description = serde_json::json!({ "rustc": tools.rustc_version, "library_bytes": bytes });
        write_whole(&self.folder.join("kit.json"), format!("{description:#}\n").as_bytes())?;
        self.write_settings()?;
        say("warming: the first cell of a session finds all of this compiled");
        self.warm(tools, say)?;
        write_whole(&self.folder.join(COMPLETE), "".as_bytes())
    }

    /// evcxr's settings: cells compiled without optimisation (what is heavy is in the library), and one set that stops at
    /// a panic.
    fn write_settings(&self) -> Result<()> {
        for (name, keep_variables) in [("config", true), ("config-strict", false)] {
            let folder = self.folder.join(name);
            let prelude = format!(":dep vialbook = {{ path = {:?} }}\n{FIRST_STATEMENTS}", self.folder.join("facade"));
            let settings = format!(
                "[evcxr]\nopt_level = \"0\"\npreserve_vars_on_panic = {keep_variables}\nprelude = '''\n{prelude}'''\n"
            );
            write_whole(&folder.join("evcxr.toml"), settings.as_bytes())?;
        }
        Ok(())
    }

    fn warm(&self, tools: &Tools, say: &mut dyn FnMut(&str)) -> Result<()> {
        let mut command = Command::new(self.program());
        command.arg("--warm").envs(self.environment(tools));
        tools::watched(command, "warming the kernel", say, &mut |_| {})?;
        // It belongs to one session only. All of `target` stays: without the build script's own output there, cargo would
        // compile the facade anew at every start.
        let _ = fs::remove_file(self.folder.join("template").join("cells-started"));
        Ok(())
    }

    /// What the kernelspec sets for the kernel.
    pub(super) fn environment(&self, tools: &Tools) -> Vec<(String, String)> {
        let mut set = vec![("VIALBOOK_KIT".to_owned(), self.folder.display().to_string())];
        // In a notebook's folder a toolchain file would switch the compiler.
        if let Some(toolchain) = &tools.toolchain {
            set.push(("RUSTUP_TOOLCHAIN".to_owned(), toolchain.clone()));
        }
        if let LibrarySource::At(path) = &tools.library_source {
            set.push(("RUST_SRC_PATH".to_owned(), path.display().to_string()));
        }
        set
    }
}

/// Removes kits other than this one that no session uses.
pub(super) fn remove_others(kept: &Kit) {
    let Ok(entries) = places::kits().and_then(|k| fs::read_dir(&k).map_err(|e| Error::io("read", &k, e))) else {
        return;
    };
    for folder in entries.flatten().map(|e| e.path()).filter(|p| p.is_dir() && *p != kept.folder) {
        if !in_use(&folder) {
            let _ = fs::remove_dir_all(&folder);
        }
    }
}

/// Removes every kit and what they were built in.
pub(super) fn remove_all() -> Result<Vec<PathBuf>> {
    let kits = places::kits()?;
    if let Ok(entries) = fs::read_dir(&kits)
        && let Some(used) = entries.flatten().map(|e| e.path()).find(|p| in_use(p))
    {
        return Err(Error::new(ErrorKind::Tool, "a notebook is open that uses this; nothing was removed from it")
            .in_file(&used)
            .hint("shut its kernel down, then remove again"));
    }
    places::remove_folder(&places::kernel_cache()?)
}

/// True where a session holds its lock.
fn in_use(kit: &Path) -> bool {
    let Ok(entries) = fs::read_dir(kit.join("sessions")) else { return false };
    entries
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "lock"))
        .any(|p| File::open(&p).is_ok_and(|lock| lock.try_lock().is_err()))
}

/// A hash of the compiler, the locked dependencies, the features and the source tree.
fn identity(source: &Path, tools: &Tools) -> Result<String> {
    let mut hash = Sha256::new();
    hash.update(&tools.rustc_version);
    hash.update(format!("{FEATURES}\n{FIRST_STATEMENTS}\n{:?}\n", tools.library_source));
    for name in ["Cargo.toml", "Cargo.lock"] {
        hash_file(&mut hash, &source.join(name))?;
    }
    for name in ["src", "report-templates"] {
        hash_tree(&mut hash, &source.join(name))?;
    }
    Ok(hash.finalize().iter().take(8).map(|b| format!("{b:02x}")).collect())
}

fn hash_tree(hash: &mut Sha256, folder: &Path) -> Result<()> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder).map_err(|e| Error::io("read", folder, e))?.flatten().map(|e| e.path()).collect();
    paths.sort();
    for path in paths {
        hash.update(path.file_name().unwrap_or_default().as_encoded_bytes());
        if path.is_dir() { hash_tree(hash, &path)? } else { hash_file(hash, &path)? }
    }
    Ok(())
}

fn hash_file(hash: &mut Sha256, path: &Path) -> Result<()> {
    let mut bytes = Vec::new();
    File::open(path).and_then(|mut f| f.read_to_end(&mut bytes)).map_err(|e| Error::io("read", path, e))?;
    hash.update((bytes.len() as u64).to_le_bytes());
    hash.update(&bytes);
    Ok(())
}

fn build_kernel(source: &Path, say: &mut dyn FnMut(&str)) -> Result<PathBuf> {
    let target = places::build_folder("kernel")?;
    let mut command = tools::cargo(source, &target);
    command.args(["build", "--release", "--locked", "--package", "vialbook-kernel"]);
    tools::watched(command, "building the kernel", say, &mut |_| {})?;
    Ok(target.join("release").join(format!("vialbook-kernel{}", std::env::consts::EXE_SUFFIX)))
}

/// The library as a shared object, and the metadata of every crate below it.
struct Built {
    library: PathBuf,
    metadata: Vec<PathBuf>,
}

fn build_library(source: &Path, say: &mut dyn FnMut(&str)) -> Result<Built> {
    let target = places::build_folder("library")?;
    let mut command = tools::cargo(source, &target);
    command.args(["rustc", "--release", "--locked", "--lib", "--crate-type", "dylib", "--no-default-features"]);
    command.args(["--features", FEATURES, "--message-format", "json-render-diagnostics"]);
    command.args(["--", "-Cprefer-dynamic"]);
    let mut files: Vec<PathBuf> = Vec::new();
    tools::watched(command, "building the library", say, &mut |line| files.extend(artifacts(line)))?;
    let is = |path: &Path, extension: &str| path.extension().is_some_and(|e| e == extension);
    let shared = std::env::consts::DLL_EXTENSION;
    let own = format!("{}vialbook{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
    let library = files
        .iter()
        .find(|p| p.file_name().is_some_and(|n| n == own.as_str()))
        .cloned()
        .ok_or_else(|| Error::new(ErrorKind::Tool, format!("cargo did not say where it put {own}")))?;
    // Shared objects other than ours are procedural macros.
    let metadata = files.into_iter().filter(|p| is(p, "rmeta") || (is(p, shared) && *p != library)).collect();
    Ok(Built { library, metadata })
}

/// The files named by one line of cargo's JSON messages.
fn artifacts(line: &str) -> Vec<PathBuf> {
    let Ok(message) = serde_json::from_str::<serde_json::Value>(line) else { return Vec::new() };
    if message["reason"] != "compiler-artifact" {
        return Vec::new();
    }
    message["filenames"].as_array().into_iter().flatten().filter_map(|f| f.as_str()).map(PathBuf::from).collect()
}

fn copy_into(file: &Path, folder: &Path) -> Result<()> {
    let name = file.file_name().unwrap_or_default();
    fs::copy(file, folder.join(name)).map(|_| ()).map_err(|e| Error::io("copy", file, e))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn artifacts_are_those_of_compiled_crates() {
        let line = r#"{"reason":"compiler-artifact","filenames":["/t/libserde-1.rlib","/t/libserde-1.rmeta"]}"#;
        assert_eq!(artifacts(line).len(), 2);
        assert!(artifacts(r#"{"reason":"build-finished","success":true}"#).is_empty() && artifacts("x").is_empty());
    }
}
