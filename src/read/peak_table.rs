//! The peak table that a file carries beside its trace: reference data, never a result of ours.

use std::path::Path;

use super::format;
use super::options::ReadOptions;
use super::source;
use crate::error::Result;

/// A row of a peak table found in a file, in minutes and the trace's signal unit.
///
/// The table is somebody else's integration. Its units are matched by content: `unit_factor` is what one unit of the
/// table is in units of the trace (1e-6 where the trace is in V and the heights are in µV).
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct TabledPeak {
    /// Position in the table, counted from 1.
    pub number: usize,
    /// The peak's name; `None` where the file leaves it empty.
    pub name: Option<String>,
    /// Retention time in minutes.
    pub retention_min: f64,
    /// Start in minutes.
    pub start_min: Option<f64>,
    /// End in minutes.
    pub end_min: Option<f64>,
    /// Area in signal unit × minute.
    pub area: Option<f64>,
    /// Height above the baseline in the signal unit.
    pub height: Option<f64>,
    /// Width in minutes, by the file's own definition; `None` where it says 0.
    pub width_min: Option<f64>,
    /// Asymmetry by the file's own definition.
    pub asymmetry: Option<f64>,
    /// The straight baseline's two ends, each as time in minutes and signal as written.
    pub baseline: Option<[[f64; 2]; 2]>,
    /// The trace's signal unit.
    pub signal_unit: String,
    /// One unit of the table's heights in units of the trace.
    pub unit_factor: f64,
    /// The area as the file has it.
    pub area_as_written: Option<f64>,
    /// The height as the file has it.
    pub height_as_written: Option<f64>,
}

/// Reads the peak table of a file in an open standard: ASTM E1947 netCDF-3, or a PEAK TABLE of JCAMP-DX.
///
/// ```no_run
/// for peak in vialbook::read::read_peak_table("traces/run-3.cdf")? {
///     assert!(peak.retention_min > 0.0);
/// }
/// # Ok::<(), vialbook::Error>(())
/// ```
///
/// # Errors
/// A file that cannot be read, is damaged, or is of a format that carries no peak table.
pub fn read_peak_table(path: impl AsRef<Path>) -> Result<Vec<TabledPeak>> {
    let path = path.as_ref();
    format::peaks(&source::bytes_of(path)?, &ReadOptions::default()).map_err(|e| e.in_file(path))
}

/// Reads the peak table of a file that is in memory already; `name` stands for the file.
///
/// # Errors
/// As [`read_peak_table`].
pub fn read_peak_table_bytes(name: impl AsRef<Path>, bytes: &[u8], options: &ReadOptions) -> Result<Vec<TabledPeak>> {
    format::peaks(bytes, options).map_err(|e| e.in_file(name))
}
