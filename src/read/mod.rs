//! File → [`Run`]: delimited text of any dialect, spreadsheets, ASTM E1947 netCDF-3 and JCAMP-DX to a trace, with a
//! note on what was seen and decided. The content says which format it is ([`format`]), never the file's ending.
//!
//! bytes → hash and text ([`decode`]) → delimiter and decimal mark, decided together ([`dialect`]) → tables
//! ([`scan`], one pass) → names and units ([`header`]) → time and signal ([`columns`]) → time axis ([`axis`]) →
//! [`Trace`](crate::Trace) and [`ReadingNote`](crate::ReadingNote). Nothing is guessed in silence: what the content
//! leaves open is an error whose hint names the field of [`ReadOptions`] that settles it.

mod axis;
mod buffers;
mod cells;
mod clock;
mod columns;
mod decode;
mod delimited;
mod describe;
mod dialect;
mod fast;
mod format;
mod header;
mod jcamp;
mod jcamp_numbers;
mod jcamp_rows;
mod jcamp_trace;
mod layout;
mod mend;
mod names;
mod netcdf;
mod netcdf_trace;
mod netcdf_write;
mod number;
mod options;
mod peak_table;
mod safe_path;
mod scan;
mod scanned;
mod settle;
mod sheet_dates;
mod source;
mod spreadsheet;
mod statements;
mod table;

use std::path::Path;

pub use netcdf_write::{netcdf_bytes, write_netcdf};
pub use options::{ColumnChoice, DecimalMark, Delimiter, MissingCells, ReadOptions, RepeatedTimes, TimeUnit};
pub use peak_table::{TabledPeak, read_peak_table, read_peak_table_bytes};
pub use safe_path::inside;
pub use table::{Row, Table};

pub(crate) use source::sha256_hex;

use crate::error::{Error, Result};
use crate::trace::{Provenance, Run};

/// Reads the one trace of a file: delimited text, a spreadsheet (.xlsx, .ods), ASTM E1947 netCDF-3 or JCAMP-DX.
///
/// The file is opened read-only; its SHA-256 and everything that was decided go into [`Run::provenance`].
///
/// # Errors
/// A file that cannot be read or is no table of numbers, a cell that is no number, times that do not rise: each with
/// file, line and column. Content that can be understood in two ways, such as a time without a unit: the hint names
/// the option that settles it.
pub fn read_run(path: impl AsRef<Path>, options: &ReadOptions) -> Result<Run> {
    let path = path.as_ref();
    let bytes = source::bytes_of(path)?;
    let run = one_of(path, &bytes, options);
    buffers::give_bytes(bytes);
    run
}

/// Reads every trace of a file: the groups of a long table, tables and channels under one another, runs side by side, every
/// signal beside one time, the blocks of JCAMP-DX. Names are the file's name followed by the trace's own.
///
/// # Errors
/// As [`read_run`]; one bad trace is an error for the file.
pub fn read_all(path: impl AsRef<Path>, options: &ReadOptions) -> Result<Vec<Run>> {
    let path = path.as_ref();
    all_of(path, &source::bytes_of(path)?, options)
}

/// Reads the one trace of a file that is in memory already; `name` stands for the file.
///
/// ```
/// use vialbook::read::{ReadOptions, read_bytes};
/// let run = read_bytes("run-3.csv", b"Zeit (min);Signal (mV)\n0,000;-0,12\n0,005;-0,10\n", &ReadOptions::default())?;
/// assert_eq!(run.name, "run-3");
/// assert_eq!(run.trace.signal(), [-0.12, -0.10]);
/// assert_eq!(run.provenance.reading.decimal_mark, "comma");
/// # Ok::<(), vialbook::Error>(())
/// ```
///
/// # Errors
/// As [`read_run`].
pub fn read_bytes(name: impl AsRef<Path>, bytes: &[u8], options: &ReadOptions) -> Result<Run> {
    one_of(name.as_ref(), bytes, options)
}

impl Run {
    /// Reads a trace file; see [`read_run`](crate::read::read_run).
    ///
    /// # Errors
    /// As there.
    pub fn read(path: impl AsRef<Path>) -> Result<Run> {
        read_run(path, &ReadOptions::default())
    }
}

fn one_of(file: &Path, bytes: &[u8], options: &ReadOptions) -> Result<Run> {
    let place = |e: Error| e.in_file(file);
    options.check().map_err(place)?;
    if let Some(found) = format::read_one(bytes, options).map_err(place)? {
        return Ok(run(file, bytes, &source::sha256_hex(bytes), None, found));
    }
    let decoded = decode::decode(bytes, options.encoding.as_deref()).map_err(place)?;
    let found = delimited::read_one(&decoded.text, options).map_err(place)?;
    Ok(run(file, bytes, &source::sha256_hex(bytes), Some(&decoded), found))
}

fn all_of(file: &Path, bytes: &[u8], options: &ReadOptions) -> Result<Vec<Run>> {
    let place = |e: Error| e.in_file(file);
    options.check().map_err(place)?;
    let sha256 = source::sha256_hex(bytes);
    if let Some(found) = format::read_all(bytes, options).map_err(place)? {
        return Ok(found.into_iter().map(|f| run(file, bytes, &sha256, None, f)).collect());
    }
    let decoded = decode::decode(bytes, options.encoding.as_deref()).map_err(place)?;
    let found = delimited::read_all(&decoded.text, options).map_err(place)?;
    Ok(found.into_iter().map(|f| run(file, bytes, &sha256, Some(&decoded), f)).collect())
}

fn run(file: &Path, bytes: &[u8], sha256: &str, decoded: Option<&decode::Decoded<'_>>, found: delimited::Found) -> Run {
    // Never split on dots or commas: "std 5 µM, 10%.txt" is the sample's own name.
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let name = if found.label.is_empty() { stem.into_owned() } else { format!("{stem} {}", found.label) };
    let mut reading = found.note;
    if let Some(decoded) = decoded {
        reading.encoding.clone_from(&decoded.encoding);
        reading.suspicions.splice(0..0, decoded.suspicions.iter().cloned());
    }
    Run {
        name,
        trace: found.trace,
        provenance: Provenance {
            file: file.to_path_buf(),
            sha256: sha256.to_owned(),
            bytes: bytes.len() as u64,
            reading,
        },
    }
}
