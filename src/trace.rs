//! One detector's signal against time, and the run it belongs to.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use crate::error::{Error, ErrorKind, Result};

/// A detector's signal against time: minutes strictly rising, all values finite.
///
/// Cloning is cheap: the points are shared and never change.
///
/// ```
/// use vialbook::Trace;
/// let trace = Trace::new(vec![0.0, 0.01, 0.02], vec![1.0, 1.2, 1.1], "mV")?;
/// assert_eq!(trace.len(), 3);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, PartialEq)]
pub struct Trace {
    time_min: Arc<[f64]>,
    signal: Arc<[f64]>,
    signal_unit: Arc<str>,
    /// The converter's step in signal units, where the detector's section of the study states it.
    step: Option<f64>,
    /// Full scale in signal units, where stated.
    full_scale: Option<f64>,
}

impl Trace {
    /// A trace from times in minutes and signals in `signal_unit`.
    ///
    /// # Errors
    /// Fewer than 2 points, unequal lengths, a value that is not finite, a time that does not rise;
    /// the sentence names the first such point.
    pub fn new(time_min: impl Into<Arc<[f64]>>, signal: impl Into<Arc<[f64]>>, signal_unit: &str) -> Result<Self> {
        let (time_min, signal) = (time_min.into(), signal.into());
        if time_min.len() != signal.len() {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "{} times but {} signal values; a trace needs one signal per time",
                    time_min.len(),
                    signal.len()
                ),
            ));
        }
        if time_min.len() < 2 {
            return Err(Error::new(ErrorKind::Data, format!("{} point(s); a trace needs at least 2", time_min.len())));
        }
        // Folds without an early end run in vectors; the culprit is looked for only when there is one.
        let finite = |values: &[f64]| values.iter().fold(true, |ok, v| ok & v.is_finite());
        if !(finite(&time_min) && finite(&signal)) {
            let i = (0..signal.len()).find(|&i| !(time_min[i].is_finite() && signal[i].is_finite())).unwrap_or(0);
            return Err(Error::new(
                ErrorKind::Data,
                format!("point {}: time {} with signal {}; both must be finite numbers", i + 1, time_min[i], signal[i]),
            ));
        }
        if !time_min.windows(2).fold(true, |ok, w| ok & (w[1] > w[0])) {
            let i = (1..time_min.len()).find(|&i| time_min[i] <= time_min[i - 1]).unwrap_or(1);
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "point {}: time {} min comes after {} min; times must rise strictly",
                    i + 1,
                    time_min[i],
                    time_min[i - 1]
                ),
            ));
        }
        Ok(Trace { time_min, signal, signal_unit: signal_unit.into(), step: None, full_scale: None })
    }

    /// The same times with another signal: what every cleaning step returns.
    ///
    /// # Errors
    /// Another number of points, or a value that is not finite.
    pub fn with_signal(&self, signal: impl Into<Arc<[f64]>>) -> Result<Self> {
        let signal = signal.into();
        if signal.len() != self.len() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{} signal values for {} times", signal.len(), self.len()),
            ));
        }
        if let Some(i) = signal.iter().position(|y| !y.is_finite()) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("signal value {} is {}; it must be finite", i + 1, signal[i]),
            ));
        }
        Ok(Trace { signal, ..self.clone() })
    }

    /// Tells the converter's step and the full scale, both in signal units.
    pub fn with_detector_limits(mut self, step: Option<f64>, full_scale: Option<f64>) -> Self {
        self.step = step;
        self.full_scale = full_scale;
        self
    }

    /// The same points in another signal unit's name; no value changes.
    pub fn with_unit(mut self, signal_unit: &str) -> Self {
        self.signal_unit = signal_unit.into();
        self
    }

    /// Times in minutes.
    pub fn time_min(&self) -> &[f64] {
        &self.time_min
    }

    /// Signal, in [`Trace::signal_unit`].
    pub fn signal(&self) -> &[f64] {
        &self.signal
    }

    /// The signal's unit, such as `mV`; empty where the file states none.
    pub fn signal_unit(&self) -> &str {
        &self.signal_unit
    }

    /// The unit of areas: signal unit × minute, such as `mV·min`.
    pub fn area_unit(&self) -> String {
        crate::units::area_unit(&self.signal_unit)
    }

    /// The converter's step in signal units, where stated.
    pub fn step(&self) -> Option<f64> {
        self.step
    }

    /// Full scale of the detector or converter in signal units, where stated.
    pub fn full_scale(&self) -> Option<f64> {
        self.full_scale
    }

    /// Number of points; never below 2.
    #[allow(clippy::len_without_is_empty)]
    pub fn len(&self) -> usize {
        self.time_min.len()
    }

    /// Mean interval between points in minutes.
    pub fn interval_min(&self) -> f64 {
        (self.time_min[self.len() - 1] - self.time_min[0]) / (self.len() - 1) as f64
    }

    /// Index of the first point at or after `time_min`; `len()` when all lie before.
    pub fn index_at(&self, time_min: f64) -> usize {
        self.time_min.partition_point(|&t| t < time_min)
    }

    /// The part from `start_min` to `end_min`, both included.
    ///
    /// # Errors
    /// Fewer than 2 points lie inside.
    pub fn slice(&self, start_min: f64, end_min: f64) -> Result<Self> {
        let (a, b) = (self.index_at(start_min), self.time_min.partition_point(|&t| t <= end_min));
        if b < a + 2 {
            return Err(Error::new(
                ErrorKind::Option,
                format!(
                    "fewer than 2 points between {start_min} and {end_min} min; the trace runs from {} to {} min",
                    self.time_min[0],
                    self.time_min[self.len() - 1]
                ),
            ));
        }
        Ok(Trace { time_min: self.time_min[a..b].into(), signal: self.signal[a..b].into(), ..self.clone() })
    }
}

impl fmt::Debug for Trace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "Trace({} points, {:.3} to {:.3} min, {})",
            self.len(),
            self.time_min[0],
            self.time_min[self.len() - 1],
            if self.signal_unit.is_empty() { "unit not stated" } else { &self.signal_unit }
        )
    }
}

/// What one injection left: its trace, and where that came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The run's name in the injection log, or the file's name without its ending.
    pub name: String,
    /// The detector's trace.
    pub trace: Trace,
    /// Where the trace came from and how it was read.
    pub provenance: Provenance,
}

/// Where a trace came from: the file, its hash, and how it was read.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Provenance {
    /// The file, relative to the study folder where there is one.
    pub file: PathBuf,
    /// SHA-256 of the file's bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// What the reader saw and decided.
    pub reading: ReadingNote,
}

/// What the reader saw in a file and what it decided, item by item; nothing is guessed in silence.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct ReadingNote {
    /// Format: "delimited text", "ASTM E1947 netCDF-3", "JCAMP-DX …" or "spreadsheet …".
    pub format: String,
    /// Text encoding, such as "UTF-8" or "windows-1252".
    pub encoding: String,
    /// Delimiter in words: "comma", "semicolon", "tab", "blanks".
    pub delimiter: String,
    /// Decimal mark: "point" or "comma".
    pub decimal_mark: String,
    /// Lines before the first row of numbers.
    pub header_rows: usize,
    /// Name and position of the time column, and why it was taken.
    pub time_column: String,
    /// Name and position of the signal column, and why it was taken.
    pub signal_column: String,
    /// Unit of the time column as found, and where it came from.
    pub time_unit: String,
    /// Unit of the signal as found, and where it came from; "not stated" where the file is silent.
    pub signal_unit: String,
    /// What was done with the times: "even, as written", or how an even axis was fitted to rounded stamps.
    pub time_axis: String,
    /// Which trace this is, in a file of several; the text columns of a long table otherwise; empty when neither.
    pub trace: String,
    /// Lines above the table that are neither names nor units, as written (the first 40).
    pub header: Vec<String>,
    /// Number of points read.
    pub points: usize,
    /// Mean interval in seconds.
    pub interval_s: f64,
    /// Largest deviation of an interval from the mean, in seconds.
    pub interval_spread_s: f64,
    /// Intervals longer than 1.5 times the mean.
    pub gaps: usize,
    /// Rows passed over, in words, one shown; empty when none.
    pub dropped: Vec<String>,
    /// What looks odd, in words.
    pub suspicions: Vec<String>,
}
