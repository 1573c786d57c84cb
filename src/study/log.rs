//! The injection log: one row per injection, read from `injections.csv`.

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
        match &self.preparation {
            Some(p) => format!("{} · {p}", self.sample),
            None => self.sample.clone(),
        }
    }
}

/// Columns with a meaning; the others are contents (`name (unit)`) or kept as they are.
const KNOWN: &[&str] = &[
    "run", "file", "sample", "kind", "preparation", "replicate", "volume (uL)", "dilution", "method", "time", "group", "accepted",
    "reason", "note",
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

fn injections(table: &Table, compounds: &[String]) -> Result<Vec<Injection>> {
    for needed in ["run", "file", "sample", "kind"] {
        table.column(needed)?;
    }
    let mut contents = Vec::new();
    let mut other = Vec::new();
    for (i, header) in table.headers.iter().enumerate() {
        let name = header.trim();
        if name.is_empty() || KNOWN.iter().any(|k| k.eq_ignore_ascii_case(name)) {
            continue;
        }
        match content_column(name, compounds).map_err(|e| e.at_line(table.header_line).at_column(i as u64 + 1))? {
            Some((compound, unit)) => contents.push((i, compound, unit)),
            None => other.push(i),
        }
    }
    let mut rows: Vec<Injection> = Vec::with_capacity(table.rows.len());
    for row in &table.rows {
        let injection = injection(row, table, &contents, &other)?;
        if let Some(earlier) = rows.iter().find(|r| r.run == injection.run) {
            return Err(Error::new(
                ErrorKind::Study,
                format!("the run \"{}\" is named twice: here and in line {}", injection.run, earlier.line),
            )
            .at_line(row.line)
            .at_column(table.column("run")? as u64 + 1)
            .hint("give every injection a name of its own"));
        }
        rows.push(injection);
    }
    if rows.is_empty() {
        return Err(Error::new(ErrorKind::Study, "an injection log without injections; one row per injection is wanted"));
    }
    Ok(rows)
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
        return Err(Error::new(ErrorKind::Study, format!("the column \"{header}\" states contents of \"{name}\", which study.toml does not list"))
            .hint(format!("listed compounds: {}; add a [[compound]] or correct the name", compounds.join(", "))));
    }
    Ok(None)
}

fn injection(row: &Row, table: &Table, contents: &[(usize, String, ContentUnit)], other: &[usize]) -> Result<Injection> {
    let required = |name: &str| -> Result<String> {
        let column = table.column(name)?;
        match row.cell(column) {
            Some(text) => Ok(text.to_owned()),
            None => Err(Error::new(ErrorKind::Study, format!("the cell \"{name}\" is empty; every injection needs it"))
                .at_line(row.line)
                .at_column(column as u64 + 1)),
        }
    };
    let optional = |name: &str| table.find(name).and_then(|c| row.cell(c)).map(str::to_owned);
    let number = |name: &str| match table.find(name) {
        Some(column) => row.number(column),
        None => Ok(None),
    };
    let kind_text = required("kind")?;
    let kind = Kind::parse(&kind_text).ok_or_else(|| {
        let known: Vec<&str> = KINDS.iter().map(|k| k.0).collect();
        Error::new(ErrorKind::Study, format!("\"{kind_text}\" is no kind of injection"))
            .at_line(row.line)
            .at_column(table.find("kind").map_or(0, |c| c as u64 + 1))
            .hint(format!("kinds: {}", known.join(", ")))
    })?;
    let refuse = |name: &str, message: String, hint: &str| {
        Error::new(ErrorKind::Study, message)
            .at_line(row.line)
            .at_column(table.find(name).map_or(0, |c| c as u64 + 1))
            .hint(hint.to_owned())
    };
    let dilution_text = optional("dilution");
    if let Some(text) = dilution_text.as_deref().filter(|t| t.contains([':', '/', '+'])) {
        return Err(refuse(
            "dilution",
            format!("the dilution \"{text}\" can be read in two ways (1 in 50, or 1 and 50)"),
            "write the factor final volume / volume of sample: 50 for 1 mL made up to 50 mL",
        ));
    }
    let dilution = number("dilution")?;
    if let Some(d) = dilution.filter(|d| *d < 1.0) {
        return Err(refuse("dilution", format!("{d} is no dilution factor; 1 or more is wanted"), "50 stands for 1 mL made up to 50 mL"));
    }
    let accepted = match optional("accepted").map(|t| t.to_ascii_lowercase()).as_deref() {
        None | Some("yes" | "y" | "true" | "1") => true,
        Some("no" | "n" | "false" | "0") => false,
        Some(text) => {
            return Err(refuse("accepted", format!("\"{text}\" is neither yes nor no"), "write yes or no; an empty cell is yes"));
        }
    };
    let reason = optional("reason");
    if !accepted && reason.is_none() {
        return Err(refuse("reason", "a run that is not accepted needs its reason".to_owned(), "say why in the column \"reason\""));
    }
    let mut known = Vec::new();
    for (column, compound, unit) in contents {
        if let Some(value) = row.number(*column)? {
            if value < 0.0 {
                return Err(Error::new(ErrorKind::Study, format!("{value} {} of {compound}: a content is not below 0", unit.symbol))
                    .at_line(row.line)
                    .at_column(*column as u64 + 1));
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
        volume_ul: number("volume (uL)")?,
        dilution,
        method: optional("method"),
        time: optional("time"),
        group: optional("group"),
        accepted,
        reason,
        note: optional("note"),
        contents: known,
        other: other.iter().filter_map(|&c| Some((table.headers[c].clone(), row.cell(c)?.to_owned()))).collect(),
        line: row.line,
    })
}
