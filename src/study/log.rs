//! The injection log: one row per injection, read from `injections.csv`, `.xlsx` or `.ods`.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::read::{Row, Table};
use crate::units::ContentUnit;

/// What an injection is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Kind {
    /// The solvent alone.
    SolventBlank,
    /// Everything but the analyte.
    MatrixBlank,
    /// A calibration standard.
    Standard,
    /// A standard from another stock, to check the calibration.
    CheckStandard,
    /// A sample.
    Sample,
    /// A sample with analyte added, to see which peak grows.
    Spiked,
    /// A level of a standard addition.
    Addition,
    /// One compound alone, to know its peak.
    SingleCompound,
    /// A ladder of alkanes for retention indices.
    Ladder,
    /// For the hold-up time.
    HoldUp,
    /// To clean or warm the column; not evaluated.
    Conditioning,
}

const KINDS: &[(&str, Kind)] = &[
    ("solvent_blank", Kind::SolventBlank),
    ("matrix_blank", Kind::MatrixBlank),
    ("standard", Kind::Standard),
    ("check_standard", Kind::CheckStandard),
    ("sample", Kind::Sample),
    ("spiked", Kind::Spiked),
    ("addition", Kind::Addition),
    ("single_compound", Kind::SingleCompound),
    ("ladder", Kind::Ladder),
    ("hold_up", Kind::HoldUp),
    ("conditioning", Kind::Conditioning),
];

impl Kind {
    /// As in the log: "check_standard".
    pub fn word(self) -> &'static str {
        KINDS.iter().find(|k| k.1 == self).map_or("", |k| k.0)
    }

    fn parse(text: &str) -> Option<Self> {
        let wanted = text.trim().to_ascii_lowercase().replace([' ', '-'], "_");
        KINDS.iter().find(|k| k.0 == wanted).map(|k| k.1)
    }
}

/// One injection.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Injection {
    /// Name of the run; unique.
    pub run: String,
    /// File of the trace, relative to the study folder.
    pub file: String,
    /// What was injected.
    pub sample: String,
    /// What it is for.
    pub kind: Kind,
    /// Tells flasks of one sample apart.
    pub preparation: Option<String>,
    /// Tells shots of one flask apart.
    pub replicate: Option<String>,
    /// Nominal volume in µL; never used as a correction.
    pub volume_ul: Option<f64>,
    /// Final volume over volume of sample: 50 for 1 mL made up to 50 mL.
    pub dilution: Option<f64>,
    /// Name of the method.
    pub method: Option<String>,
    /// Clock time as written.
    pub time: Option<String>,
    /// Group, in a class.
    pub group: Option<String>,
    /// False where the run is not to be used.
    pub accepted: bool,
    /// Why it is not to be used.
    pub reason: Option<String>,
    /// Remark.
    pub note: Option<String>,
    /// Known contents of the flask that was injected.
    pub contents: Vec<Content>,
    /// Columns that have no meaning here, kept as they are.
    pub other: Vec<(String, String)>,
    /// Line in the log, counted from 1.
    pub line: u64,
}

/// A known content.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content {
    /// The compound.
    pub compound: String,
    /// Its content.
    pub value: f64,
    /// Unit, which says of what it is a fraction.
    pub unit: ContentUnit,
}

impl Injection {
    /// The known content of a compound.
    pub fn content(&self, compound: &str) -> Option<&Content> {
        self.contents.iter().find(|c| c.compound == compound)
    }

    /// The flask: sample and preparation.
    pub fn flask(&self) -> String {
        crate::results::flask_name(&self.sample, self.preparation.as_deref())
    }
}

/// Columns with a meaning; the others are contents (`name (unit)`) or kept as they are.
pub(super) const KNOWN: &[&str] = &[
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
    "group",
    "accepted",
    "reason",
    "note",
];

/// Reads an injection log; `compounds` are the names that content columns may have.
///
/// # Errors
/// A missing column, a run named twice, an unknown kind, an unreadable number, a content column whose
/// unit is missing or ambiguous or whose compound is not listed: each with line and column.
pub fn read_log(path: impl AsRef<Path>, compounds: &[String]) -> Result<Vec<Injection>> {
    let path = path.as_ref();
    let table = Table::read(path)?;
    injections(&table, compounds).map_err(|e| e.in_file(path))
}

/// Reads an injection log that is in memory already; `name` stands for the file.
///
/// # Errors
/// As [`read_log`].
pub fn read_log_bytes(name: impl AsRef<Path>, bytes: &[u8], compounds: &[String]) -> Result<Vec<Injection>> {
    let name = name.as_ref();
    injections(&Table::from_bytes(name, bytes)?, compounds).map_err(|e| e.in_file(name))
}

fn injections(table: &Table, compounds: &[String]) -> Result<Vec<Injection>> {
    for needed in ["run", "file", "sample", "kind"] {
        table.column(needed)?;
    }
    let mut contents = Vec::new();
    let mut other = Vec::new();
    for (i, name) in table.headers().iter().enumerate() {
        if KNOWN.iter().any(|k| k.eq_ignore_ascii_case(name)) {
            continue;
        }
        match content_column(name, compounds).map_err(|e| e.at_line(1).at_column(i as u64 + 1))? {
            Some((compound, _)) if contents.iter().any(|(_, c, _)| *c == compound) => {
                return Err(Error::new(ErrorKind::Study, format!("a second column states contents of {compound}"))
                    .at_line(1)
                    .at_column(i as u64 + 1)
                    .hint("state each content once, in one unit"));
            }
            Some((compound, unit)) => contents.push((name.as_str(), compound, unit)),
            None => other.push(name.as_str()),
        }
    }
    fill_in(table)?;
    let mut rows: Vec<Injection> = Vec::with_capacity(table.rows.len());
    for row in &table.rows {
        let injection = injection(row, &contents, &other)?;
        if let Some(earlier) = rows.iter().find(|r| r.run == injection.run) {
            let message = format!("the run \"{}\" is named twice: here and in line {}", injection.run, earlier.line);
            return Err(row.error("run", message).hint("give every injection a name of its own"));
        }
        rows.push(injection);
    }
    if rows.is_empty() {
        return Err(Error::new(
            ErrorKind::Study,
            "an injection log without injections; one row per injection is wanted",
        ));
    }
    Ok(rows)
}

/// Empty cells that must be filled, all of them in one sentence: a log made from files waits for its kinds.
fn fill_in(table: &Table) -> Result<()> {
    let mut empty: Vec<(&Row, usize, &str)> = Vec::new();
    for name in ["run", "file", "sample", "kind"] {
        let column = table.column(name)?;
        empty.extend(table.rows.iter().filter(|r| r.text(name).is_none()).map(|r| (r, column + 1, name)));
    }
    // One cell is a slip, and the row's own sentence says it; several are work to be done.
    let [(first, column, name), _, ..] = empty.as_slice() else { return Ok(()) };
    let mut parts = Vec::new();
    for wanted in ["run", "file", "sample", "kind"] {
        let lines: Vec<u64> = empty.iter().filter(|e| e.2 == wanted).map(|e| e.0.line).collect();
        if let Some((_, column, _)) = empty.iter().find(|e| e.2 == wanted) {
            let lines = spans(&lines);
            parts.push(format!(
                "\"{wanted}\" (column {column}) in line{} {lines}",
                if lines.len() > 2 { "s" } else { "" }
            ));
        }
    }
    let kinds: Vec<&str> = KINDS.iter().map(|k| k.0).collect();
    let message = format!("{} cells are still to be filled in: {}", empty.len(), parts.join("; "));
    Err(Error::new(ErrorKind::Study, message)
        .at_line(first.line)
        .at_column(*column as u64)
        .at_field(*name)
        .hint(format!("kinds: {}", kinds.join(", "))))
}

/// `2 to 5, 8`: lines in a row are one span.
fn spans(lines: &[u64]) -> String {
    let mut spans: Vec<(u64, u64)> = Vec::new();
    for &line in lines {
        match spans.last_mut() {
            Some(last) if last.1 + 1 == line => last.1 = line,
            _ => spans.push((line, line)),
        }
    }
    let words = |(a, b): &(u64, u64)| if a == b { a.to_string() } else { format!("{a} to {b}") };
    spans.iter().map(words).collect::<Vec<_>>().join(", ")
}

/// `Some` for a content column, `None` for a column without meaning.
fn content_column(header: &str, compounds: &[String]) -> Result<Option<(String, ContentUnit)>> {
    if let Some(compound) = compounds.iter().find(|c| c.eq_ignore_ascii_case(header)) {
        return Err(Error::new(ErrorKind::Study, format!("the column \"{header}\" states contents without a unit"))
            .hint(format!("write the unit behind the name, such as \"{compound} (% v/v)\"")));
    }
    let Some((name, rest)) = header.rsplit_once('(').filter(|_| header.ends_with(')')) else { return Ok(None) };
    // A unit may hold brackets itself: "% (v/v)".
    let candidates = [
        Some((name.trim(), rest.trim_end_matches(')').trim())),
        header.find(" (").map(|at| (header[..at].trim(), header[at + 2..header.len() - 1].trim())),
    ];
    for (name, unit) in candidates.into_iter().flatten() {
        if let Some(compound) = compounds.iter().find(|c| c.eq_ignore_ascii_case(name)) {
            return Ok(Some((compound.clone(), ContentUnit::parse(unit)?)));
        }
    }
    let name = header[..header.find('(').unwrap_or(header.len())].trim();
    if ContentUnit::parse(rest.trim_end_matches(')')).is_ok() {
        return Err(Error::new(
            ErrorKind::Study,
            format!("the column \"{header}\" states contents of \"{name}\", which study.toml does not list"),
        )
        .hint(format!("listed compounds: {}; add a [[compound]] or correct the name", compounds.join(", "))));
    }
    Ok(None)
}

fn injection(row: &Row, contents: &[(&str, String, ContentUnit)], other: &[&str]) -> Result<Injection> {
    let required = |name: &str| row.required(name).map(str::to_owned);
    if let Some(run) = row.text("run").filter(|r| r.starts_with('#')) {
        return Err(row
            .error("run", format!("\"{run}\" begins with #, which is no comment here: the run would be used"))
            .hint("to leave a run out, write no in the column \"accepted\" and why in \"reason\""));
    }
    let optional = |name: &str| row.text(name).map(str::to_owned);
    let kind_text = required("kind")?;
    let kind = Kind::parse(&kind_text).ok_or_else(|| {
        let known: Vec<&str> = KINDS.iter().map(|k| k.0).collect();
        row.error("kind", format!("\"{kind_text}\" is no kind of injection"))
            .hint(format!("kinds: {}", known.join(", ")))
    })?;
    if let Some(text) = row.text("dilution").filter(|t| t.contains([':', '/', '+'])) {
        return Err(row
            .error("dilution", format!("the dilution \"{text}\" can be read in two ways (1 in 50, or 1 and 50)"))
            .hint("write the factor final volume / volume of sample: 50 for 1 mL made up to 50 mL"));
    }
    let dilution = row.number("dilution")?;
    if let Some(d) = dilution.filter(|d| *d < 1.0) {
        return Err(row
            .error("dilution", format!("{d} is no dilution factor; 1 or more is wanted"))
            .hint("50 stands for 1 mL made up to 50 mL"));
    }
    let accepted = match row.text("accepted").map(str::to_ascii_lowercase).as_deref() {
        None | Some("yes" | "y" | "true" | "1") => true,
        Some("no" | "n" | "false" | "0") => false,
        Some(text) => {
            return Err(row
                .error("accepted", format!("\"{text}\" is neither yes nor no"))
                .hint("write yes or no; an empty cell is yes"));
        }
    };
    let reason = optional("reason");
    if !accepted && reason.is_none() {
        return Err(row
            .error("reason", "a run that is not accepted needs its reason")
            .hint("say why in the column \"reason\""));
    }
    let mut known = Vec::new();
    for (column, compound, unit) in contents {
        if let Some(value) = row.number(column)? {
            if value < 0.0 {
                let message = format!("{value} {} of {compound}: a content is not below 0", unit.symbol);
                return Err(row.error(column, message));
            }
            known.push(Content { compound: compound.clone(), value, unit: *unit });
        }
    }
    Ok(Injection {
        run: required("run")?,
        file: required("file")?,
        sample: required("sample")?,
        kind,
        preparation: optional("preparation"),
        replicate: optional("replicate"),
        volume_ul: row.number("volume (uL)")?,
        dilution,
        method: optional("method"),
        time: optional("time"),
        group: optional("group"),
        accepted,
        reason,
        note: optional("note"),
        contents: known,
        other: other.iter().filter_map(|c| Some(((*c).to_owned(), optional(c)?))).collect(),
        line: row.line,
    })
}
