//! `vialbook new`: a study folder to fill in, empty or from exported files.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};
use crate::peaks::{Detect, Peak};
use crate::read::{ReadOptions, read_bytes, sha256_hex};
use crate::results::Severity;
use crate::trace::Run;

const STUDY: &str = include_str!("new-study.toml");
const COLUMNS: [&str; 14] = [
    "run",
    "file",
    "sample",
    "kind",
    "preparation",
    "replicate",
    "volume (uL)",
    "dilution",
    "method",
    "time",
    "accepted",
    "reason",
    "note",
    "my compound (mg/L)",
];

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
    let exports = exports(&args.from)?;
    make(folder, &exports)?;
    println!("{}", folder.display());
    if exports.is_empty() {
        eprintln!("next: put the exported traces into traces/, list them in injections.csv, fill in study.toml,");
    } else {
        eprintln!("{} exports copied, each checked by its SHA-256", exports.len());
        for e in &exports {
            for doubt in e.doubts() {
                eprintln!("  {}: {}", super::analyse::clean(&e.name), super::analyse::clean(&doubt));
            }
        }
        eprintln!(
            "next: in injections.csv fill in the column kind (and contents, preparation, replicate), in study.toml"
        );
        eprintln!("      the compounds: retention times found in common stand there as suggestions;");
    }
    eprintln!("      then: vialbook report {}", folder.display());
    Ok(Severity::Pass)
}

/// A file to copy, and what reading it told.
struct Export {
    source: PathBuf,
    bytes: Vec<u8>,
    /// Its name in traces/, and the run's name.
    name: String,
    stem: String,
    read: Result<Run>,
    peaks: Vec<Peak>,
    /// The name of an earlier file with the same content.
    same_as: Option<String>,
}

impl Export {
    fn doubts(&self) -> Vec<String> {
        let mut doubts = Vec::new();
        if let Err(e) = &self.read {
            let hint = e.advice().map(|h| format!("; {h}")).unwrap_or_default();
            doubts.push(format!("a question to settle under [reading] in study.toml: {}{hint}", e.message()));
        }
        doubts.extend(self.same_as.iter().map(|other| format!("the same content as {other}")));
        if self.source.file_name() != Some(OsStr::new(&self.name)) {
            doubts.push(format!("renamed, since another file has its name; it was {}", self.source.display()));
        }
        doubts
    }
}

/// Reads every file once. A question that an option answers is kept; anything else is an error before a byte is copied.
fn exports(files: &[PathBuf]) -> Result<Vec<Export>> {
    let mut all: Vec<Export> = Vec::with_capacity(files.len());
    for source in files {
        let bytes = fs::read(source).map_err(|e| Error::io("read", source, e))?;
        let (name, stem) = free_name(source, &all)?;
        let read = match read_bytes(source, &bytes, &ReadOptions::default()) {
            Err(e) if e.kind() != ErrorKind::Ambiguous => return Err(e),
            other => other,
        };
        let peaks = match &read {
            Ok(run) => run.find_peaks(&Detect::default()).map(|l| l.peaks).unwrap_or_default(),
            Err(_) => Vec::new(),
        };
        let same_as = all.iter().find(|e| e.bytes == bytes).map(|e| e.name.clone());
        all.push(Export { source: source.clone(), bytes, name, stem, read, peaks, same_as });
    }
    Ok(all)
}

/// The file's own name, with a number where an earlier file has it (letter case aside: some disks ignore it).
fn free_name(source: &Path, earlier: &[Export]) -> Result<(String, String)> {
    let text = |part: Option<&OsStr>| part.map(|p| p.to_str().map(str::to_owned)).unwrap_or(Some(String::new()));
    let (Some(stem), Some(ending)) = (text(source.file_stem()), text(source.extension())) else {
        return Err(Error::new(ErrorKind::File, "the file's name is not UTF-8, so a log cannot name it")
            .in_file(source)
            .hint("rename the file"));
    };
    if stem.is_empty() || stem.chars().any(char::is_control) {
        return Err(Error::new(ErrorKind::File, "the file has no name that a log could hold").in_file(source));
    }
    let dot = if ending.is_empty() { "" } else { "." };
    let taken = |name: &str, stem: &str| {
        earlier
            .iter()
            .any(|e| e.name.to_lowercase() == name.to_lowercase() || e.stem.to_lowercase() == stem.to_lowercase())
    };
    let mut candidate = (format!("{stem}{dot}{ending}"), stem.clone());
    let mut number = 2;
    while taken(&candidate.0, &candidate.1) {
        let numbered = format!("{stem}-{number}");
        candidate = (format!("{numbered}{dot}{ending}"), numbered);
        number += 1;
    }
    Ok(candidate)
}

/// Everything is made beside the folder under another name, checked, and renamed at the end: whole or not at all.
fn make(folder: &Path, exports: &[Export]) -> Result<()> {
    let parent = folder.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(|e| Error::io("make", parent, e))?;
    let draft = tempfile::Builder::new()
        .prefix(".vialbook-new-")
        .tempdir_in(parent)
        .map_err(|e| Error::io("make a folder beside", folder, e))?;
    let traces = draft.path().join("traces");
    fs::create_dir(&traces).map_err(|e| Error::io("make", &traces, e))?;
    for e in exports {
        let copy = traces.join(&e.name);
        fs::write(&copy, &e.bytes).map_err(|err| Error::io("write", &copy, err))?;
        let back = fs::read(&copy).map_err(|err| Error::io("read back", &copy, err))?;
        let read_from = fs::read(&e.source).map_err(|err| Error::io("read", &e.source, err))?;
        if sha256_hex(&back) != sha256_hex(&e.bytes) || sha256_hex(&read_from) != sha256_hex(&e.bytes) {
            return Err(Error::new(ErrorKind::File, "the copy differs from this file, or the file is being written")
                .in_file(&e.source)
                .hint("wait until the export is finished, and try again"));
        }
    }
    for (name, text) in [("study.toml", study_text(exports).into_bytes()), ("injections.csv", log_text(exports)?)] {
        let path = draft.path().join(name);
        fs::write(&path, text).map_err(|e| Error::io("write", &path, e))?;
    }
    // Temporary folders are private; a study is as readable as any other folder of the user's.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = fs::set_permissions(draft.path(), fs::Permissions::from_mode(0o755));
    }
    if folder.exists() {
        fs::remove_dir(folder).map_err(|e| Error::io("replace", folder, e))?;
    }
    fs::rename(draft.path(), folder).map_err(|e| Error::io("rename", folder, e))?;
    // Renamed away: there is nothing left to clean up.
    let _ = draft.keep();
    Ok(())
}

/// One row per file; `kind` stays empty, since no file tells it, and `analyse` says which cells to fill.
fn log_text(exports: &[Export]) -> Result<Vec<u8>> {
    let broken = |e: csv::Error| Error::new(ErrorKind::Data, "the injection log cannot be written").because(e);
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(broken)?;
    for e in exports {
        let time = e.read.as_ref().ok().and_then(stated_time).unwrap_or_default();
        let cells = COLUMNS.map(|column| match column {
            "run" | "sample" => e.stem.clone(),
            "file" => format!("traces/{}", e.name),
            "time" => time.clone(),
            "note" => e.doubts().join("; "),
            _ => String::new(),
        });
        writer.write_record(&cells).map_err(broken)?;
    }
    writer
        .into_inner()
        .map_err(|e| Error::new(ErrorKind::Data, "the injection log cannot be written").because(e.into_error()))
}

/// The template, with the peaks that the files have in common as commented tables behind the compounds.
fn study_text(exports: &[Export]) -> String {
    const ANCHOR: &str = "# What the flasks were made from";
    const READING: &str = "\n[reading]\n";
    let mut text = STUDY.to_owned();
    let suggestions = suggestions(exports);
    if let Some(at) = text.find(ANCHOR).filter(|_| !suggestions.is_empty()) {
        text.insert_str(at, &suggestions);
    }
    let questions: Vec<String> = exports
        .iter()
        .filter_map(|e| Some((e, e.read.as_ref().err()?)))
        .map(|(e, err)| {
            let hint = err.advice().map(|h| format!("\n#   {}", line(h))).unwrap_or_default();
            format!("# {}: {}{hint}\n", line(&e.name), line(err.message()))
        })
        .collect();
    if !questions.is_empty() {
        let mut said = "# Questions that the exports left open; options here hold for all of them.\n".to_owned();
        questions.iter().take(20).for_each(|q| said.push_str(q));
        match text.find(READING) {
            Some(at) => text.insert_str(at + READING.len(), &said),
            None => text.push_str(&format!("\n{}{said}", READING.trim_start())),
        }
    }
    text
}

/// Comments end with their line, whatever a file's name holds.
fn line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// Peaks at about the same time in at least half of the files that could be read, as commented tables.
fn suggestions(exports: &[Export]) -> String {
    let readable = exports.iter().filter(|e| e.read.is_ok()).count();
    let mut peaks: Vec<(usize, &Peak)> =
        exports.iter().enumerate().flat_map(|(k, e)| e.peaks.iter().map(move |p| (k, p))).collect();
    peaks.sort_by(|a, b| a.1.retention_time_min.total_cmp(&b.1.retention_time_min));
    let mut groups: Vec<Vec<(usize, &Peak)>> = Vec::new();
    for (k, p) in peaks {
        // Half a width, or 1.2 s of a late thumb: nearer than that, two runs show the same peak (common practice).
        let near = |last: &(usize, &Peak)| {
            p.retention_time_min - last.1.retention_time_min <= (0.5 * p.width_half_min.unwrap_or(0.0)).max(0.02)
        };
        match groups.last_mut() {
            Some(g) if g.last().is_some_and(near) && g.iter().all(|m| m.0 != k) => g.push((k, p)),
            _ => groups.push(vec![(k, p)]),
        }
    }
    let median = |mut v: Vec<f64>| {
        v.sort_by(f64::total_cmp);
        v[v.len() / 2]
    };
    groups.retain(|g| g.len() * 2 >= readable && (g.len() > 1 || readable == 1));
    // Only the largest, in the order of their times: a suggestion of hundreds is none.
    groups.sort_by(|a, b| {
        let area = |g: &Vec<(usize, &Peak)>| median(g.iter().map(|p| p.1.area).collect());
        area(b).total_cmp(&area(a))
    });
    let (all, shown) = (groups.len(), groups.len().min(20));
    groups.truncate(shown);
    let mut at: BTreeMap<u64, String> = BTreeMap::new();
    for g in &groups {
        let time = median(g.iter().map(|p| p.1.retention_time_min).collect());
        let (first, last) = g
            .iter()
            .fold((f64::INFINITY, 0.0f64), |(a, b), p| (a.min(p.1.retention_time_min), b.max(p.1.retention_time_min)));
        at.insert(
            (time * 1e6) as u64,
            format!(
                "#[[compound]]\n#name = \"name of the peak at {time:.3} min\"\n#retention_min = {time:.3}   # in {} of {readable} exports, {first:.3} to {last:.3}\n",
                g.len()
            ),
        );
    }
    if at.is_empty() {
        return String::new();
    }
    let which = if all > shown { format!(" (the {shown} largest of {all})") } else { String::new() };
    let mut text =
        format!("# Peaks that the exports have in common{which}: suggestions; only standards tell what they are.\n");
    at.values().for_each(|t| text.push_str(t));
    text.push('\n');
    text
}

/// The time of injection or acquisition, where the file's header states one in an order that cannot be mistaken.
fn stated_time(run: &Run) -> Option<String> {
    let header = &run.provenance.reading.header;
    let found: Vec<(bool, String)> =
        header.iter().filter_map(|l| Some((l.to_lowercase().contains("inject"), year_first(l)?))).collect();
    let only = |list: Vec<&String>| -> Option<String> {
        let first = *list.first()?;
        list.iter().all(|t| *t == first).then(|| first.clone())
    };
    // A line about the injection comes before one about a report or an export.
    let about: Vec<&String> = found.iter().filter(|f| f.0).map(|f| &f.1).collect();
    if about.is_empty() { only(found.iter().map(|f| &f.1).collect()) } else { only(about) }
}

/// `2026-01-31 14:05:00` from a line with a date in the order year, month, day, and a time of day; zones stay behind.
fn year_first(line: &str) -> Option<String> {
    let bytes = line.as_bytes();
    let digits = |from: usize, n: usize| -> Option<u32> {
        let part = bytes.get(from..from + n)?;
        part.iter().all(u8::is_ascii_digit).then(|| part.iter().fold(0, |v, b| v * 10 + u32::from(b - b'0')))
    };
    let alone = |at: usize| at == 0 || !bytes[at - 1].is_ascii_digit();
    for at in (0..bytes.len()).filter(|&at| alone(at)) {
        // 14 digits in a row, as ASTM E1947 writes them, or groups with signs between.
        let packed = (at..at + 14).all(|k| digits(k, 1).is_some()) && digits(at + 14, 1).is_none();
        let places = if packed {
            [at + 4, at + 6, at + 8, at + 10, at + 12]
        } else {
            let sign = |k: usize, signs: &[u8]| bytes.get(k).is_some_and(|b| signs.contains(b));
            if !(sign(at + 4, b"-/.") && sign(at + 7, b"-/.") && sign(at + 10, b"T ,") && sign(at + 13, b":")) {
                continue;
            }
            [at + 5, at + 8, at + 11, at + 14, at + 17]
        };
        let part = |k: usize| digits(places[k], 2);
        let (Some(year), Some(month), Some(day), Some(hour), Some(minute)) =
            (digits(at, 4), part(0), part(1), part(2), part(3))
        else {
            continue;
        };
        let seconds = if packed || bytes.get(places[4] - 1) == Some(&b':') { part(4) } else { None };
        let sane = (1970..2200).contains(&year) && (1..=12).contains(&month) && (1..=31).contains(&day);
        if sane && hour < 24 && minute < 60 && seconds.is_none_or(|s| s < 61) {
            let seconds = seconds.map(|s| format!(":{s:02}")).unwrap_or_default();
            return Some(format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}{seconds}"));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_dates_that_cannot_be_mistaken_are_taken() {
        for (line, expected) in [
            ("injection_date_time_stamp = 20181030174305+0000", Some("2018-10-30 17:43:05")),
            ("acquired,2026-01-31 14:05", Some("2026-01-31 14:05")),
            ("LONGDATE = 2011/02/17 11:24:37", Some("2011-02-17 11:24:37")),
            ("made\t2026-01-31T14:05:59Z", Some("2026-01-31 14:05:59")),
            ("acquired,04.06.2023 10:16", None),
            ("acquired,7/19/2023 8:42 PM", None),
            ("acquired,2026-01-31", None),
            ("serial 12345678901234567", None),
            ("serial 99991399250000", None),
            ("", None),
        ] {
            assert_eq!(year_first(line).as_deref(), expected, "{line}");
        }
    }
}
