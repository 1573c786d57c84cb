//! Paths that a file names stay inside their folder.

use std::path::{Component, Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};

/// The regular file that `relative` names below `root`.
///
/// Everything that a study's files name goes through here: no absolute path, no `..`, no symbolic link anywhere below
/// `root` (which may be one itself), nothing but a regular file at the end.
///
/// # Errors
/// The sentence says which of these it is, or that there is no such file.
pub fn inside(root: impl AsRef<Path>, relative: impl AsRef<Path>) -> Result<PathBuf> {
    find(root.as_ref(), relative.as_ref())
}

fn find(root: &Path, relative: &Path) -> Result<PathBuf> {
    let refuse = |why: &str| {
        Error::new(ErrorKind::Study, format!("the path \"{}\" {why}", relative.display()))
            .hint("name a file inside the study folder, such as \"traces/run-3.csv\"")
    };
    if relative.as_os_str().is_empty() {
        return Err(refuse("is empty"));
    }
    let mut path = root.to_path_buf();
    let mut parts = 0;
    for component in relative.components() {
        match component {
            Component::Normal(part) => {
                path.push(part);
                parts += 1;
            }
            Component::CurDir => continue,
            Component::ParentDir => return Err(refuse("leads out of its folder with \"..\"")),
            Component::RootDir | Component::Prefix(_) => return Err(refuse("is absolute")),
        }
        // Checked step by step: a link in the middle would lead anywhere.
        let about = match std::fs::symlink_metadata(&path) {
            Ok(about) => about,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                return Err(Error::new(
                    ErrorKind::NotFound,
                    format!("there is no file \"{}\" in {}", relative.display(), root.display()),
                )
                .hint("check the name, capital letters and the ending"));
            }
            Err(e) => return Err(Error::io("look at", &path, e)),
        };
        if about.is_symlink() {
            return Err(refuse("passes through a symbolic link"));
        }
        if !about.is_dir() && !about.is_file() {
            return Err(refuse("is not a regular file"));
        }
    }
    match std::fs::symlink_metadata(&path) {
        Ok(about) if about.is_file() && parts > 0 => Ok(path),
        Ok(_) => Err(refuse("is a folder, not a file")),
        Err(e) => Err(Error::io("look at", &path, e)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_inside_pass_and_all_else_is_refused() {
        let root = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(root.path().join("traces")).expect("a folder");
        std::fs::write(root.path().join("traces/a b.csv"), "x").expect("a file");
        let found = inside(root.path(), "./traces/a b.csv").expect("inside");
        assert!(found.ends_with("traces/a b.csv") && found.is_file());
        for (path, word) in [
            ("", "is empty"),
            ("../secret", "\"..\""),
            ("traces/../../secret", "\"..\""),
            ("traces/../traces/a b.csv", "\"..\""),
            ("/etc/passwd", "absolute"),
            ("traces", "folder"),
            (".", "folder"),
            ("traces/none.csv", "there is no file"),
        ] {
            let e = inside(root.path(), path).expect_err(path).to_string();
            assert!(e.contains(word), "{path}: {e}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_are_refused_at_the_end_and_in_the_middle() {
        let (root, other) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
        std::fs::write(other.path().join("secret"), "x").expect("a file");
        std::os::unix::fs::symlink(other.path().join("secret"), root.path().join("file")).expect("a link");
        std::os::unix::fs::symlink(other.path(), root.path().join("folder")).expect("a link");
        for path in ["file", "folder/secret"] {
            let e = inside(root.path(), path).expect_err(path).to_string();
            assert!(e.contains("symbolic link"), "{e}");
        }
    }
}
