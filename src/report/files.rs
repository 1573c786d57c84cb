//! Files that a report takes in: nothing outside a named folder is read.

use std::path::{Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};

/// Reads a text file that must lie inside `folder` as itself, not through a link.
pub(super) fn read_text_inside(folder: &Path, path: &Path) -> Result<String> {
    let bytes = read_inside(folder, path)?;
    String::from_utf8(bytes).map_err(|_| {
        Error::new(ErrorKind::Format, "not UTF-8 text; a template must be").in_file(path).hint("save the file as UTF-8")
    })
}

/// Reads a file that must lie inside `folder` as itself, not through a link.
pub(super) fn read_inside(folder: &Path, path: &Path) -> Result<Vec<u8>> {
    let real = |p: &Path| p.canonicalize().map_err(|e| Error::io("find", p, e));
    let outside = || {
        Error::new(ErrorKind::File, "this file lies outside its folder, or is a link")
            .in_file(path)
            .hint("copy the file into the folder")
    };
    let (folder, target) = (real(folder)?, real(path)?);
    let link = path.symlink_metadata().map_err(|e| Error::io("read", path, e))?.is_symlink();
    if link || !target.starts_with(&folder) {
        return Err(outside());
    }
    std::fs::read(&target).map_err(|e| Error::io("read", path, e))
}

/// Files below `folder`, as paths relative to it, sorted; links are refused.
pub(super) fn list(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut open = vec![PathBuf::new()];
    while let Some(relative) = open.pop() {
        let here = folder.join(&relative);
        for entry in std::fs::read_dir(&here).map_err(|e| Error::io("list", &here, e))? {
            let entry = entry.map_err(|e| Error::io("list", &here, e))?;
            let kind = entry.file_type().map_err(|e| Error::io("list", entry.path(), e))?;
            let relative = relative.join(entry.file_name());
            if kind.is_symlink() {
                return Err(Error::new(ErrorKind::File, "a link; links are not followed")
                    .in_file(entry.path())
                    .hint("copy the file itself into the folder"));
            } else if kind.is_dir() {
                open.push(relative);
            } else {
                found.push(relative);
            }
        }
    }
    found.sort();
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::write::write_whole;

    #[test]
    fn only_what_lies_inside_is_read() -> Result<()> {
        let dir = tempfile::tempdir().map_err(|e| Error::io("make", "tempdir", e))?;
        let inside = dir.path().join("a.typ");
        write_whole(&inside, b"x")?;
        assert_eq!(read_text_inside(dir.path(), &inside)?, "x");
        assert!(read_inside(dir.path(), Path::new("/etc/hostname")).is_err());
        #[cfg(unix)]
        {
            let link = dir.path().join("b.typ");
            std::os::unix::fs::symlink("/etc/hostname", &link).map_err(|e| Error::io("link", &link, e))?;
            assert!(read_inside(dir.path(), &link).is_err());
            assert!(list(dir.path()).is_err());
        }
        Ok(())
    }
}
