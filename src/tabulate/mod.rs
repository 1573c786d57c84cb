//! Results → [`Table`]: what is listed about each, under which names and units.
//!
//! Column names are those of `results.json` and the CSV files; data frames take theirs from here too. A list and one
//! thing of it have the same columns: one peak is a table of one row.
//!
//! ```
//! use vialbook::prelude::*;
//! let time: Vec<f64> = (0..600).map(|i| f64::from(i) / 200.0).collect();
//! let signal: Vec<f64> = time.iter().map(|t| 50.0 * (-0.5 * ((t - 1.5) / 0.04).powi(2)).exp()).collect();
//! let peaks = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?;
//! let table = peaks.table();
//! assert_eq!((table.height(), table.columns[4].unit.as_str()), (1, "mV·min"));
//! # Ok::<(), vialbook::Error>(())
//! ```

mod amounts;
mod calibration;
mod facts;
mod peaks;
mod study;

use crate::table::{Column, Table};

pub(crate) use calibration::result_facts;
pub(crate) use facts::{facts, freedom};

/// What can be shown as a table. Lists have it too: `results.findings.table()`.
pub trait Tabular {
    /// The table: full numbers under the names and units of `results.json`.
    fn table(&self) -> Table;
}

/// The same as a method of each result, which needs no import.
macro_rules! inherent {
    ($($result:ty),* $(,)?) => { $(
        impl $result {
            /// As a table: a row for each thing listed; see [`Tabular`].
            pub fn table(&self) -> Table {
                Tabular::table(self)
            }
        }
    )* };
}

inherent!(
    crate::study::Study,
    crate::study::Analysis,
    crate::trace::Run,
    crate::trace::Trace,
    crate::trace::ReadingNote,
    crate::peaks::PeakList,
    crate::peaks::Peak,
    crate::identify::NamedPeaks,
    crate::calibrate::Curve,
    crate::quantify::Amount,
    crate::results::Results,
    crate::results::RunResult,
    crate::results::PeakResult,
    crate::results::CalibrationResult,
    crate::results::AmountResult,
    crate::results::Finding,
    crate::compounds::Properties,
    crate::estimate::Estimate,
    crate::signal::Noise,
);

/// Rows to make columns of.
struct Rows<'a, T>(&'a [T]);

impl<T> Rows<'_, T> {
    fn number(&self, name: &str, unit: &str, value: impl Fn(&T) -> Option<f64>) -> Column {
        Column::numbers(name, unit, self.0.iter().map(value))
    }

    fn text(&self, name: &str, value: impl Fn(&T) -> Option<String>) -> Column {
        Column::text(name, self.0.iter().map(|row| value(row).unwrap_or_default()))
    }

    fn flag(&self, name: &str, value: impl Fn(&T) -> Option<bool>) -> Column {
        Column::flags(name, self.0.iter().map(value))
    }

    fn measured(
        &self,
        name: &str,
        unit: &str,
        value: impl Fn(&T) -> Option<f64>,
        u: impl Fn(&T) -> Option<f64>,
    ) -> [Column; 2] {
        Column::measured(name, unit, self.0.iter().map(value).collect(), self.0.iter().map(u).collect())
    }
}

/// The columns under a caption.
fn table(caption: impl Into<String>, columns: Vec<Column>) -> Table {
    let mut table = Table::new(caption);
    table.columns = columns;
    table
}

/// Notes of one row in one cell.
fn joined<N: ToString>(notes: &[N]) -> Option<String> {
    Some(notes.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
}

/// The unit that all rows share; none where they differ, and then each row says its own.
fn common<'a>(mut units: impl Iterator<Item = &'a str>) -> &'a str {
    let first = units.next().unwrap_or_default();
    if units.all(|u| u == first) { first } else { "" }
}
