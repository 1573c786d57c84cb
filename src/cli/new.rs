//! `vialbook new`: an empty study folder to fill in.

use std::fs;

use crate::error::{Error, ErrorKind, Result};
use crate::results::Severity;

const STUDY: &str = include_str!("new-study.toml");
const INJECTIONS: &str = "run,file,sample,kind,preparation,replicate,volume (uL),dilution,method,time,accepted,reason,note,my compound (mg/L)\n";

pub(super) fn run(args: &super::NewArgs) -> Result<Severity> {
    let folder = &args.folder;
    if folder.exists() {
        let empty = fs::read_dir(folder).map_err(|e| Error::io("list", folder, e))?.next().is_none();
        if !empty {
            return Err(Error::new(ErrorKind::File, "this folder holds something already; nothing was touched")
                .in_file(folder)
                .hint("name a new folder: vialbook new DIR"));
        }
    }
    fs::create_dir_all(folder.join("traces")).map_err(|e| Error::io("make", folder, e))?;
    for (name, text) in [("study.toml", STUDY), ("injections.csv", INJECTIONS)] {
        let path = folder.join(name);
        fs::write(&path, text).map_err(|e| Error::io("write", &path, e))?;
    }
    println!("{}", folder.display());
    eprintln!("next: put the exported traces into traces/, list them in injections.csv, fill in study.toml,");
    eprintln!("      then: vialbook report {}", folder.display());
    Ok(Severity::Pass)
}
