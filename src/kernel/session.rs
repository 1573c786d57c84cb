//! A session: its own copy of the warm folder, an evaluator in it, and nothing left when it ends.

use std::fs::{self, File};
use std::io::{self, BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};

use crate::kit::Kit;
use crate::{cells, evaluator, stand_in};

/// Set for notebooks that are run without a person: a panic then stops the run.
const STRICT_VARIABLE: &str = "VIALBOOK_STRICT";

/// What Jupyter calls. Where the kernel cannot start, a stand-in answers each cell with the reason.
pub(crate) fn run(control_file: &Path) -> Result<(), String> {
    match evaluate(control_file) {
        Ok(()) => Ok(()),
        Err(reason) => stand_in::answer(control_file, &reason),
    }
}

/// Fills the template folder: what a session would compile before its first cell is compiled now.
pub(crate) fn warm() -> Result<(), String> {
    let kit = Kit::open()?;
    let status = evaluator_command(&kit, &kit.template(), false)
        .arg("--warm")
        .status()
        .map_err(|e| format!("the evaluator cannot be started: {e}"))?;
    if status.success() { Ok(()) } else { Err(format!("the template could not be warmed ({status})")) }
}

fn evaluate(control_file: &Path) -> Result<(), String> {
    let kit = Kit::open()?;
    if !kit.template().join("Cargo.toml").is_file() {
        return Err(format!(
            "{} is not filled: run `vialbook kernel set-up`, then restart the kernel",
            kit.template().display()
        ));
    }
    let folder = SessionFolder::copy(&kit).map_err(|e| {
        format!("the session's folder below {} could not be made ({e}); is the disk full?", kit.sessions().display())
    })?;
    let strict = std::env::var_os(STRICT_VARIABLE).is_some_and(|v| !v.is_empty());
    let mut child = evaluator_command(&kit, &folder.path, strict)
        .arg("--control_file")
        .arg(control_file)
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| format!("the evaluator cannot be started: {e}"))?;
    // Its last lines tell why, should it fail to start; all of them go to Jupyter's own terminal.
    let last = Arc::new(Mutex::new(Vec::<String>::new()));
    let reader = child.stderr.take().map(|stderr| {
        let last = Arc::clone(&last);
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                eprintln!("{line}");
                if let Ok(mut kept) = last.lock() {
                    kept.push(line);
                    if kept.len() > 20 {
                        kept.remove(0);
                    }
                }
            }
        })
    });
    let status = child.wait().map_err(|e| format!("the evaluator was lost: {e}"))?;
    if let Some(reader) = reader {
        let _ = reader.join();
    }
    if status.code() == Some(i32::from(evaluator::COULD_NOT_START)) {
        let words = last.lock().map(|l| l.join("\n")).unwrap_or_default();
        return Err(format!(
            "the kernel could not start:\n{words}\nRun `vialbook kernel doctor`, or `vialbook kernel set-up` again."
        ));
    }
    Ok(())
}

/// The evaluator in this folder, with an environment in which no other build can be found.
fn evaluator_command(kit: &Kit, folder: &Path, strict: bool) -> Command {
    let own = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("vialbook-kernel"));
    let mut command = Command::new(own);
    for (name, _) in std::env::vars_os() {
        if is_of_another_build(&name.to_string_lossy()) {
            command.env_remove(&name);
        }
    }
    let notebook_folder = std::env::current_dir().unwrap_or_else(|_| PathBuf::from("."));
    evaluator::mark(&mut command);
    cells::mark(&mut command, &notebook_folder, folder);
    command
        // An evcxr.toml in the notebook's folder would beat ours; the cells' process changes back.
        .current_dir(kit.config(strict))
        .env("EVCXR_CONFIG_DIR", kit.config(strict))
        .env("EVCXR_TMPDIR", folder)
        .env("LD_LIBRARY_PATH", kit.library_path())
        .env("JUPYTER_PATH", kit.empty())
        .stdin(Stdio::null());
    command
}

/// Variables that `cargo run` or a shell may have left, and that would steer the cells' build.
fn is_of_another_build(name: &str) -> bool {
    const WHOLE: &[&str] = &[
        "CARGO",
        "CARGO_CRATE_NAME",
        "CARGO_ENCODED_RUSTFLAGS",
        "CARGO_INCREMENTAL",
        "CARGO_PRIMARY_PACKAGE",
        "CARGO_TARGET_DIR",
        "LD_LIBRARY_PATH",
        "RUSTC",
        "RUSTC_WORKSPACE_WRAPPER",
        "RUSTC_WRAPPER",
        "RUSTDOCFLAGS",
        "RUSTFLAGS",
        "RUST_BACKTRACE",
        "RUST_LOG",
        "RUST_RECURSION_COUNT",
    ];
    const BEGINNINGS: &[&str] =
        &["CARGO_BIN_", "CARGO_BUILD_", "CARGO_MANIFEST_", "CARGO_PKG_", "CARGO_PROFILE_", "EVCXR_"];
    WHOLE.contains(&name) || BEGINNINGS.iter().any(|b| name.starts_with(b))
}

/// A folder of one session, held by a lock as long as the session lives.
struct SessionFolder {
    path: PathBuf,
    lock: File,
}

impl SessionFolder {
    fn copy(kit: &Kit) -> io::Result<Self> {
        let sessions = kit.sessions();
        fs::create_dir_all(&sessions)?;
        sweep(&sessions);
        let (path, lock) = fresh(&sessions)?;
        let folder = SessionFolder { path, lock };
        copy_tree(&kit.template(), &folder.path)?;
        Ok(folder)
    }
}

impl Drop for SessionFolder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.path);
        let _ = fs::remove_file(lock_path(&self.path));
        let _ = self.lock.unlock();
    }
}

/// The first free number; making the folder is what takes it.
fn fresh(sessions: &Path) -> io::Result<(PathBuf, File)> {
    for number in 1.. {
        let path = sessions.join(number.to_string());
        let lock = File::create(lock_path(&path))?;
        if lock.try_lock().is_err() {
            continue;
        }
        match fs::create_dir(&path) {
            Ok(()) => return Ok((path, lock)),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => continue,
            Err(e) => return Err(e),
        }
    }
    Err(io::Error::other("no free number"))
}

fn lock_path(folder: &Path) -> PathBuf {
    folder.with_extension("lock")
}

/// Removes what sessions that were killed left behind.
fn sweep(sessions: &Path) {
    let Ok(entries) = fs::read_dir(sessions) else { return };
    for path in entries.flatten().map(|e| e.path()).filter(|p| p.is_dir()) {
        if let Ok(lock) = File::create(lock_path(&path))
            && lock.try_lock().is_ok()
        {
            let _ = fs::remove_dir_all(&path);
            let _ = fs::remove_file(lock_path(&path));
        }
    }
}

fn copy_tree(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_tree(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), &target)?;
            // Cargo tells what is stale by the order of times; with those of the copy it would compile anew.
            File::options().write(true).open(&target)?.set_modified(entry.metadata()?.modified()?)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cells_build_sees_no_other_build() {
        for name in ["CARGO_MANIFEST_DIR", "RUSTFLAGS", "CARGO_TARGET_DIR", "LD_LIBRARY_PATH", "EVCXR_TMPDIR"] {
            assert!(is_of_another_build(name), "{name}");
        }
        for name in ["CARGO_HOME", "RUSTUP_HOME", "RUSTUP_TOOLCHAIN", "RUST_SRC_PATH", "CARGO_HTTP_PROXY", "PATH"] {
            assert!(!is_of_another_build(name), "{name}");
        }
    }

    #[test]
    fn a_live_session_keeps_its_folder_and_a_dead_one_is_swept() -> io::Result<()> {
        let root = std::env::temp_dir().join(format!("vialbook-kernel-test-{}", std::process::id()));
        fs::create_dir_all(&root)?;
        let (live, lock) = fresh(&root)?;
        fs::create_dir(root.join("7"))?;
        let (second, second_lock) = fresh(&root)?;
        assert_ne!(live, second);
        sweep(&root);
        assert!(live.exists() && second.exists() && !root.join("7").exists());
        drop((lock, second_lock));
        fs::remove_dir_all(&root)
    }
}
