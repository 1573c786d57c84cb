//! The import order of the house, read from the `use crate::` and `crate::` paths of every source file.
//!
//! Std only, so that it also compiles alone: `rustc --edition 2024 --test tests/it/layers.rs`.

use std::fs;
use std::path::{Path, PathBuf};

/// Rows of the house, lowest first; a row may use the rows before it and itself, no others.
/// Modules that share a row do not know each other.
const ROWS: &[&[&str]] = &[
    &["error", "units"],
    &["numeric"],
    &["estimate"],
    &["table"],
    &["shapes"],
    &["trace"],
    &["read", "signal", "calibrate", "compounds"],
    &["peaks"],
    &["identify"],
    &["quantify"],
    &["results"],
    &["check"],
    &["study"],
    &["simulate"],
    &["figure"],
    &["tabulate"],
    &["frame", "report"],
    &["notebook"],
    &["cli"],
];

fn row_of(module: &str) -> Option<usize> {
    ROWS.iter().position(|row| row.contains(&module))
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = fs::read_dir(folder).expect("src is there").map(|e| e.expect("entry").path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() && path.file_name().is_none_or(|n| n != "kernel") {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// Each `use` on one line, so that a list over several is seen whole; the count of lines is kept.
fn one_line_uses(text: &str) -> String {
    let mut out = String::new();
    let (mut inside, mut owed) = (false, 0);
    for line in text.lines() {
        inside |= line.trim_start().starts_with("use ") || line.trim_start().starts_with("pub use ");
        out.push_str(if inside { line.trim() } else { line });
        if inside && !line.contains(';') {
            owed += 1;
            continue;
        }
        inside = false;
        out.push_str(&"\n".repeat(owed + 1));
        owed = 0;
    }
    out
}

/// Modules named by `crate::x` in the text, comments left out; `use crate::{a::B, c}` counts each.
fn modules_used(text: &str) -> Vec<(usize, String)> {
    let mut used = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let code = line.split("//").next().unwrap_or("");
        for (at, _) in code.match_indices("crate::") {
            let before = code[..at].chars().next_back();
            if before.is_some_and(|c| c.is_alphanumeric() || c == '_') {
                continue;
            }
            let rest = &code[at + "crate::".len()..];
            let names = match rest.strip_prefix('{') {
                Some(list) => list.split(',').map(str::trim).collect::<Vec<_>>(),
                None => vec![rest],
            };
            for name in names {
                let word: String = name.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                if !word.is_empty() {
                    used.push((number + 1, word));
                }
            }
        }
    }
    used
}

#[test]
fn imports_run_one_way() {
    let root = ["src", "../src"].iter().map(Path::new).find(|p| p.is_dir()).expect("run from the repository");
    let mut files = Vec::new();
    rust_files(root, &mut files);
    assert!(files.len() > 10, "only {} source files found", files.len());
    let mut broken = Vec::new();
    for file in files {
        let relative = file.strip_prefix(root).expect("below src");
        let first = relative.components().next().expect("a name").as_os_str().to_string_lossy();
        let home = first.trim_end_matches(".rs");
        let Some(home_row) = row_of(home) else { continue };
        let text = fs::read_to_string(&file).expect("readable source");
        // Unit tests at the bottom may reach further.
        let text = one_line_uses(text.split("#[cfg(test)]").next().unwrap_or(""));
        for (line, module) in modules_used(&text) {
            let Some(row) = row_of(&module) else { continue };
            if row > home_row || (row == home_row && module != home && home_row >= 6) {
                broken.push(format!("{}:{line}: {home} uses {module}", relative.display()));
            }
        }
    }
    assert!(broken.is_empty(), "imports against the order:\n{}", broken.join("\n"));
}

#[test]
fn the_reader_of_imports_sees_what_it_should() {
    let used =
        modules_used("use crate::{peaks::Peak, trace};\nlet x = crate::report::f(); // crate::cli\nmycrate::read::x");
    let names: Vec<&str> = used.iter().map(|u| u.1.as_str()).collect();
    assert_eq!(names, ["peaks", "trace", "report"]);
    let joined = one_line_uses("use crate::{\n    cli::X,\n    read,\n};\nfn f() {}\n");
    assert_eq!(modules_used(&joined).into_iter().map(|u| u.1).collect::<Vec<_>>(), ["cli", "read"]);
    assert_eq!(joined.lines().count(), 5);
}
