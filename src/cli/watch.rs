//! `vialbook report --watch`: the report made again whenever a file of the study changes.
//!
//! Looks twice a second at times and sizes: a study is some dozens of files, and every file system can be asked so.

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::output;
use crate::error::Result;
use crate::results::Severity;

const PAUSE: Duration = Duration::from_millis(500);

/// What a file looks like from outside.
type Look = (PathBuf, Option<SystemTime>, u64);

/// Makes the report, waits for a change, makes it again; ends when the program is interrupted.
pub(super) fn run(study: &Path, args: &super::ReportArgs) -> Result<Severity> {
    super::analyse::is_folder("report", study)?;
    let pdf = super::report::output_of(study, args);
    let mut seen = Vec::new();
    loop {
        let now = look(study, &pdf);
        if now != seen {
            // Looked at before the work: a change made meanwhile is seen in the next round.
            seen = now;
            match super::report::one(study, args) {
                Ok(_) => {}
                // The author is in the midst of writing: told, and mended with the next change.
                Err(e) => output::words(&format!("error: {e}")),
            }
            output::words("waiting for changes; stop with Ctrl-C");
        }
        std::thread::sleep(PAUSE);
    }
}

/// All files of the study but those that the program itself writes; links are not followed.
fn look(study: &Path, pdf: &Path) -> Vec<Look> {
    let mut found = Vec::new();
    let mut open = vec![study.to_path_buf()];
    while let Some(folder) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else { continue };
        for entry in entries.flatten() {
            let (path, name) = (entry.path(), entry.file_name());
            let Ok(about) = entry.metadata() else { continue };
            let ours = path == pdf
                || (folder == study && name == "results")
                || name.to_string_lossy().starts_with('.')
                || path.extension().is_some_and(|e| e == "pdf");
            if ours || about.is_symlink() {
                continue;
            }
            if about.is_dir() {
                open.push(path);
            } else {
                found.push((path, about.modified().ok(), about.len()));
            }
        }
    }
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Error;
    use crate::study::write::write_whole;

    #[test]
    fn what_the_program_writes_is_no_change() -> Result<()> {
        let dir = tempfile::tempdir().map_err(|e| Error::io("make", "tempdir", e))?;
        let (study, pdf) = (dir.path(), dir.path().join("report.pdf"));
        write_whole(&study.join("study.toml"), b"title = \"x\"")?;
        let before = look(study, &pdf);
        assert_eq!(before.len(), 1);
        write_whole(&pdf, b"pdf")?;
        write_whole(&study.join("results/results.json"), b"{}")?;
        assert_eq!(look(study, &pdf), before);
        write_whole(&study.join("words/discussion.md"), b"new")?;
        assert_eq!(look(study, &pdf).len(), 2);
        Ok(())
    }
}
