//! Paths that a file names stay inside the study.

use std::fs;
use std::path::{Component, Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};

/// The regular file that `relative` names below `root`.
///
/// # Errors
/// An absolute path, one that climbs with `..`, one that passes through a symbolic link (a link may lead anywhere),
/// something that is no regular file, or nothing at all.
pub fn inside(root: impl AsRef<Path>, relative: impl AsRef<Path>) -> Result<PathBuf> {
    let (root, relative) = (root.as_ref(), relative.as_ref());
    let refuse = |why: &str| {
        Err(Error::new(ErrorKind::Study, format!("\"{}\" {why}", relative.display()))
            .hint("name a file inside the study folder, such as traces/run-1.csv"))
    };
    if relative.as_os_str().is_empty() {
        return refuse("is no file name");
    }
    let mut path = root.to_path_buf();
    for component in relative.components() {
        match component {
            Component::Normal(name) => path.push(name),
            Component::CurDir => continue,
            Component::ParentDir => return refuse("climbs out of the study folder"),
            Component::RootDir | Component::Prefix(_) => return refuse("is an absolute path; it must stay inside the study"),
        }
        match fs::symlink_metadata(&path) {
            Err(e) => {
                return Err(Error::new(ErrorKind::File, format!("\"{}\" is not there", relative.display()))
                    .hint("correct the name in the injection log, or put the file there")
                    .because(e));
            }
            Ok(m) if m.file_type().is_symlink() => return refuse("is a link or lies behind one; copy the file itself"),
            Ok(_) => {}
        }
    }
    match path.is_file() {
        true => Ok(path),
        false => refuse("is no regular file"),
    }
}
