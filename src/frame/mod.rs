//! Data frames: tables that are selected, filtered, sorted, grouped, joined and written, with their units.
//!
//! A [`Frame`] is a polars `DataFrame` behind methods of our own, since a notebook's cells infer no types of a crate
//! that they cannot see. Every list of results gives one: `peaks.to_frame()?`. Column names are those of `results.json`.
//!
//! ```
//! use vialbook::prelude::*;
//! let frame = Table::new("Shots")
//!     .column(Column::text("sample", ["A", "B", "A"]))
//!     .measured("area", "mV·min", [1.2345, 2.461, 1.26], [0.021, 0.035, 0.022])
//!     .to_frame()?;
//! let large = frame.filter("area", Is::Above(1.25))?.sort("area")?;
//! assert_eq!(large.column("sample")?.words(), ["A", "B"]);
//! // Mean, standard deviation and number of each group.
//! assert_eq!(frame.group(&["sample"])?.names(), ["sample", "n", "area", "area_sd"]);
//! # Ok::<(), vialbook::Error>(())
//! ```
//!
//! A number keeps its uncertainty in the frame even where that column is not selected, so that it is never shown with
//! more digits than it deserves. What polars can do beyond these methods is one step away: [`Frame::as_polars`], with
//! the crate itself as [`polars`].

mod convert;
mod files;
mod flasks;
mod group;
mod verbs;

pub use polars;
pub use verbs::Is;

use polars::prelude::DataFrame;

use crate::error::{Error, ErrorKind, Result};
use crate::table::Table;
use crate::tabulate::Tabular;

/// A data frame with units, headings and rounding.
#[derive(Clone)]
pub struct Frame {
    caption: String,
    notes: Vec<String>,
    /// The columns shown, in order.
    columns: Vec<About>,
    /// These columns under their names, and beside them the partners that numbers are rounded by.
    data: DataFrame,
}

/// What a column is told with.
#[derive(Clone, Debug, PartialEq)]
struct About {
    name: String,
    heading: String,
    unit: String,
    detail: bool,
    digits: Digits,
}

/// As [`Rounding`](crate::table::Rounding), the partner's numbers in a column of the data.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Digits {
    Plain,
    Significant(usize),
    Decimals(usize),
    ByUncertainty,
    OfValues,
}

impl About {
    /// Name of the column that holds the partners.
    fn partner(&self) -> Option<String> {
        matches!(self.digits, Digits::ByUncertainty | Digits::OfValues).then(|| partner_name(&self.name))
    }

    /// All columns of the data that belong to this one.
    fn own_columns(&self) -> Vec<String> {
        std::iter::once(self.name.clone()).chain(self.partner()).collect()
    }
}

/// No name that a person gives begins so.
fn partner_name(name: &str) -> String {
    format!("\u{1f}{name}")
}

/// Results as a data frame.
pub trait ToFrame {
    /// The data frame: full numbers under the names of `results.json`.
    ///
    /// # Errors
    /// Two columns of one name.
    fn to_frame(&self) -> Result<Frame>;
}

impl<T: Tabular + ?Sized> ToFrame for T {
    fn to_frame(&self) -> Result<Frame> {
        self.table().to_frame()
    }
}

impl Frame {
    /// The names of the columns, left to right.
    pub fn names(&self) -> Vec<String> {
        self.columns.iter().map(|c| c.name.clone()).collect()
    }

    /// Number of rows.
    pub fn height(&self) -> usize {
        self.data.height()
    }

    /// Number of columns.
    pub fn width(&self) -> usize {
        self.columns.len()
    }

    /// What polars calls the frame. Columns whose name begins with a control character hold what numbers are rounded by.
    pub fn as_polars(&self) -> &DataFrame {
        &self.data
    }

    /// As a table, as it is shown.
    pub fn table(&self) -> Table {
        let mut table = Table::new(self.caption.clone());
        table.columns = self.columns.iter().filter_map(|about| self.column_of(about)).collect();
        table.notes.clone_from(&self.notes);
        table
    }

    fn about(&self, name: &str) -> Result<&About> {
        self.columns.iter().find(|c| c.name == name).ok_or_else(|| {
            let names: Vec<String> = self.columns.iter().map(|c| format!("\"{}\"", c.name)).collect();
            Error::new(ErrorKind::NotFound, format!("there is no column \"{name}\""))
                .hint(format!("the columns are {}", names.join(", ")))
        })
    }

    /// The same columns over other rows.
    fn with_data(&self, data: DataFrame) -> Self {
        Frame { data, ..self.clone() }
    }
}

impl std::fmt::Display for Frame {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.table().fmt(f)
    }
}

impl std::fmt::Debug for Frame {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Frame({:?}, {} rows: {})", self.caption, self.height(), self.names().join(", "))
    }
}

/// polars has its own words for what went wrong; ours come first.
fn failed(doing: &str, cause: polars::error::PolarsError) -> Error {
    Error::new(ErrorKind::Data, format!("the data frame could not be {doing}")).because(cause)
}
