//! The typst program: found, checked, or built once into a cache of our own.

use std::fs::File;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{ChildStderr, Command, Stdio};

use crate::error::{Error, ErrorKind, Result};

/// The version that is built where none is found, and that the templates are tested with.
pub const TYPST_VERSION: &str = "0.15.1";
/// Fonts that the templates use; typst carries them.
#[cfg(feature = "cli")]
pub(crate) const FONTS: &[&str] = &["Libertinus Serif", "DejaVu Sans Mono", "New Computer Modern Math"];
/// Every version that begins so will do.
const WANTED: &str = "0.15.";
/// Names the program to use.
const PROGRAM_VARIABLE: &str = "VIALBOOK_TYPST";
/// Names the cache folder.
const CACHE_VARIABLE: &str = "VIALBOOK_CACHE";

/// A typst program that is there and has the version wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typesetter {
    program: PathBuf,
    version: String,
    remark: Option<String>,
}

impl Typesetter {
    /// Looks for typst 0.15: the program named here, else the one that the environment variable
    /// `VIALBOOK_TYPST` names, else on the PATH, else in our cache (`~/.cache/vialbook`, see `VIALBOOK_CACHE`).
    ///
    /// `None` says that there is none: [`Typesetter::provision`] builds one. Another version on the PATH is
    /// passed over, with a [`remark`](Typesetter::remark).
    ///
    /// # Errors
    /// A program that was named, but is not there or is another version.
    pub fn find(named: Option<&Path>) -> Result<Option<Typesetter>> {
        let variable = std::env::var_os(PROGRAM_VARIABLE).filter(|v| !v.is_empty()).map(PathBuf::from);
        if let Some(program) = named.map(Path::to_path_buf).or(variable) {
            return named_program(&program).map(Some);
        }
        let mut remark = None;
        if let Some(program) = on_path("typst") {
            match version_of(&program) {
                Ok(version) if version.starts_with(WANTED) => {
                    return Ok(Some(Typesetter { program, version, remark: None }));
                }
                Ok(version) => {
                    remark = Some(format!(
                        "typst {version} on the PATH ({}) is not used: {WANTED}x is wanted",
                        program.display()
                    ));
                }
                Err(e) => remark = Some(format!("the typst on the PATH is not used: {e}")),
            }
        }
        let program = installed_in(&cache_folder()?);
        if program.is_file()
            && let Ok(version) = version_of(&program)
        {
            return Ok(Some(Typesetter { program, version, remark }));
        }
        Ok(None)
    }

    /// Builds typst once with `cargo install` into our cache; about ten minutes on two cores. `progress` gets
    /// the lines that cargo prints. Two that ask at once do not build twice: the second waits for the first.
    ///
    /// # Errors
    /// No cargo, no connection to the package registry, a build that failed: with cargo's last lines.
    pub fn provision(progress: &mut dyn FnMut(&str)) -> Result<Typesetter> {
        provision_with(Path::new("cargo"), &cache_folder()?, progress)
    }

    /// Path of the program.
    pub fn program(&self) -> &Path {
        &self.program
    }

    /// Its version, such as "0.15.1".
    pub fn version(&self) -> &str {
        &self.version
    }

    /// What was passed over on the way to it.
    pub fn remark(&self) -> Option<&str> {
        self.remark.as_deref()
    }
}

fn named_program(program: &Path) -> Result<Typesetter> {
    // A bare name is looked up like a command, anything else is a path.
    let found = if program.components().count() == 1 && !program.exists() {
        on_path(&program.to_string_lossy()).unwrap_or_else(|| program.to_path_buf())
    } else {
        program.to_path_buf()
    };
    let version = version_of(&found)?;
    if !version.starts_with(WANTED) {
        return Err(Error::new(ErrorKind::Tool, format!("this is typst {version}; version {WANTED}x is wanted"))
            .in_file(&found)
            .hint(format!(
                "install typst {TYPST_VERSION}, or leave the option and {PROGRAM_VARIABLE} out to use or build our own"
            )));
    }
    Ok(Typesetter { program: found, version, remark: None })
}

/// "0.15.1" from `typst --version`.
fn version_of(program: &Path) -> Result<String> {
    let output = Command::new(program).arg("--version").stdin(Stdio::null()).output().map_err(|e| {
        Error::new(ErrorKind::Tool, "this program cannot be run; a typst program is wanted").in_file(program).because(e)
    })?;
    let text = String::from_utf8_lossy(&output.stdout);
    let mut words = text.split_whitespace();
    match (words.next(), words.next()) {
        (Some("typst"), Some(version)) => Ok(version.to_owned()),
        _ => Err(Error::new(ErrorKind::Tool, "this program does not answer --version as typst does").in_file(program)),
    }
}

/// Where on the PATH a program lies.
pub(crate) fn on_path(program: &str) -> Option<PathBuf> {
    let name = format!("{program}{}", std::env::consts::EXE_SUFFIX);
    std::env::split_paths(&std::env::var_os("PATH")?).map(|dir| dir.join(&name)).find(|p| p.is_file())
}

/// `VIALBOOK_CACHE`, else `vialbook` in the user's cache folder.
pub(crate) fn cache_folder() -> Result<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(folder) = set(CACHE_VARIABLE) {
        return Ok(folder);
    }
    // The specification of XDG folders: a relative path is to be ignored.
    if let Some(folder) = set("XDG_CACHE_HOME").filter(|p| p.is_absolute()) {
        return Ok(folder.join("vialbook"));
    }
    match set("HOME").or_else(|| set("LOCALAPPDATA")) {
        Some(home) => Ok(home.join(".cache").join("vialbook")),
        None => Err(Error::new(ErrorKind::Tool, "no home folder is known to keep typst in")
            .hint(format!("set {CACHE_VARIABLE} to a folder, or {PROGRAM_VARIABLE} to a typst program"))),
    }
}

fn installed_in(cache: &Path) -> PathBuf {
    cache.join(format!("typst-{TYPST_VERSION}")).join("bin").join(format!("typst{}", std::env::consts::EXE_SUFFIX))
}

fn provision_with(cargo: &Path, cache: &Path, progress: &mut dyn FnMut(&str)) -> Result<Typesetter> {
    std::fs::create_dir_all(cache).map_err(|e| Error::io("make", cache, e))?;
    let lock_path = cache.join(format!("typst-{TYPST_VERSION}.lock"));
    let lock = File::create(&lock_path).map_err(|e| Error::io("write", &lock_path, e))?;
    // The system releases the lock when its holder ends, however it ends.
    if lock.try_lock().is_err() {
        progress("typst is being built by another process; waiting for it");
        lock.lock().map_err(|e| Error::io("lock", &lock_path, e))?;
    }
    let program = installed_in(cache);
    if program.is_file() {
        return named_program(&program);
    }
    let whole = cache.join(format!("typst-{TYPST_VERSION}"));
    let partial = cache.join(format!("typst-{TYPST_VERSION}.partial"));
    for left_over in [&partial, &whole] {
        if left_over.exists() {
            std::fs::remove_dir_all(left_over).map_err(|e| Error::io("remove", left_over, e))?;
        }
    }
    build(cargo, &partial, progress)?;
    let _ = std::fs::remove_dir_all(partial.join("build"));
    std::fs::rename(&partial, &whole).map_err(|e| Error::io("rename", &partial, e))?;
    progress("typst is built");
    named_program(&program)
}

fn build(cargo: &Path, root: &Path, progress: &mut dyn FnMut(&str)) -> Result<()> {
    let mut command = Command::new(cargo);
    command.args(["install", "--locked", "typst-cli", "--version", TYPST_VERSION, "--color", "never"]);
    command.arg("--root").arg(root).arg("--target-dir").arg(root.join("build"));
    // Under `cargo run` our own package's variables would leak into the other build.
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        if text.starts_with("CARGO_PKG_") || text.starts_with("CARGO_MANIFEST") || text == "RUSTFLAGS" {
            command.env_remove(&name);
        }
    }
    // In the cache folder no manifest or toolchain file of the user's project is in sight.
    if let Some(folder) = root.parent() {
        command.current_dir(folder);
    }
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().map_err(|e| {
        Error::new(ErrorKind::Tool, "cargo cannot be run to build typst").because(e).hint(format!(
            "install Rust's cargo, or put typst {TYPST_VERSION} on the PATH, or name it in {PROGRAM_VARIABLE}"
        ))
    })?;
    let last = last_words(child.stderr.take(), 12, progress);
    let status =
        child.wait().map_err(|e| Error::new(ErrorKind::Tool, "cargo was lost while it built typst").because(e))?;
    if status.success() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Tool, format!("building typst {TYPST_VERSION} failed ({status}): {}", last.join(" / ")))
        .hint(format!(
            "look at cargo's lines above; or put typst {TYPST_VERSION} on the PATH, or name it in {PROGRAM_VARIABLE}"
        )))
}

/// Tells the lines of a tool as they come, and keeps the last few.
pub(crate) fn last_words(stderr: Option<ChildStderr>, keep: usize, say: &mut dyn FnMut(&str)) -> Vec<String> {
    let mut last: Vec<String> = Vec::new();
    for line in stderr.into_iter().flat_map(|s| BufReader::new(s).lines().map_while(std::result::Result::ok)) {
        let line = line.trim().to_owned();
        if !line.is_empty() {
            say(&line);
            last.push(line);
            if last.len() > keep {
                last.remove(0);
            }
        }
    }
    last
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt as _;

    fn script(path: &Path, body: &str) -> Result<()> {
        std::fs::write(path, format!("#!/bin/sh\n{body}\n")).map_err(|e| Error::io("write", path, e))?;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).map_err(|e| Error::io("allow", path, e))
    }

    fn folder() -> Result<tempfile::TempDir> {
        tempfile::tempdir().map_err(|e| Error::io("make", "tempdir", e))
    }

    /// Stands for cargo: makes a typst that answers `--version`, under the root it is told.
    const CARGO: &str = r#"while [ $# -gt 0 ]; do [ "$1" = --root ] && root=$2; shift; done
echo "  Compiling typst-cli v0.15.1" >&2
mkdir -p "$root/bin" "$root/build"
printf '#!/bin/sh\necho typst 0.15.1\n' > "$root/bin/typst"; chmod +x "$root/bin/typst""#;

    #[test]
    fn typst_is_built_once_and_renamed_when_done() -> Result<()> {
        let dir = folder()?;
        let (cargo, cache) = (dir.path().join("cargo"), dir.path().join("cache"));
        script(&cargo, CARGO)?;
        let mut lines = Vec::new();
        let built = provision_with(&cargo, &cache, &mut |l| lines.push(l.to_owned()))?;
        assert_eq!(built.version(), "0.15.1");
        assert_eq!(lines, ["Compiling typst-cli v0.15.1", "typst is built"]);
        assert!(!cache.join("typst-0.15.1.partial").exists() && !cache.join("typst-0.15.1/build").exists());
        let mut again = Vec::new();
        assert_eq!(provision_with(&cargo, &cache, &mut |l| again.push(l.to_owned()))?, built);
        assert!(again.is_empty(), "{again:?}");
        Ok(())
    }

    #[test]
    fn a_failed_build_leaves_nothing_that_looks_whole() -> Result<()> {
        let dir = folder()?;
        let cargo = dir.path().join("cargo");
        script(&cargo, "echo 'error: no network' >&2; exit 101")?;
        let e = provision_with(&cargo, &dir.path().join("cache"), &mut |_| {}).expect_err("the build fails");
        assert!(e.to_string().contains("error: no network"), "{e}");
        assert!(!dir.path().join("cache/typst-0.15.1").exists());
        Ok(())
    }

    #[test]
    fn two_that_ask_at_once_build_once() -> Result<()> {
        let dir = folder()?;
        let (cargo, cache) = (dir.path().join("cargo"), dir.path().join("cache"));
        script(&cargo, &format!("echo x >> '{}'\nsleep 0.2\n{CARGO}", dir.path().join("count").display()))?;
        std::thread::scope(|s| {
            let both = [(); 2].map(|()| s.spawn(|| provision_with(&cargo, &cache, &mut |_| {}).map(|t| t.version)));
            both.map(|b| assert!(b.join().is_ok_and(|r| r.is_ok())))
        });
        let count = std::fs::read_to_string(dir.path().join("count")).map_err(|e| Error::io("read", "count", e))?;
        assert_eq!(count.lines().count(), 1);
        Ok(())
    }

    #[test]
    fn a_named_program_must_be_typst_of_the_right_version() -> Result<()> {
        let dir = folder()?;
        let old = dir.path().join("old");
        script(&old, "echo typst 0.13.1")?;
        let e = named_program(&old).expect_err("too old");
        assert!(e.to_string().contains("this is typst 0.13.1; version 0.15.x is wanted"), "{e}");
        let other = dir.path().join("other");
        script(&other, "echo hello")?;
        assert!(named_program(&other).is_err() && named_program(&dir.path().join("none")).is_err());
        Ok(())
    }
}
