//! Tables: columns with units, numbers rounded by their uncertainty, a dash for what is missing; painted as HTML and as
//! aligned text.
//!
//! A [`Table`] holds full numbers; how many digits are shown is settled when it is painted, by the rules of
//! [`estimate`](crate::estimate). A data frame is made from the same columns.
//!
//! ```
//! use vialbook::table::{Column, Table};
//! let table = Table::new("Standards")
//!     .column(Column::text("flask", ["a", "b", "c"]))
//!     .column(Column::numbers("content", "mg/L", [0.5, 10.0, 2.5]))
//!     .measured("area", "mV·min", [Some(1.2345), Some(24.61), None], [Some(0.021), Some(0.35), None]);
//! let lines: Vec<String> = table.to_string().lines().map(str::to_owned).collect();
//! assert_eq!(lines[0], "Standards");
//! assert_eq!(lines[1], "flask  content    area  u(area)");
//! assert_eq!(lines[2], "          mg/L  mV·min   mV·min");
//! assert_eq!(lines[4], "a       0.5000   1.234    0.021");
//! assert_eq!(lines[6], "c       2.500    –        –");
//! ```

mod cells;
mod html;
mod plain;

use std::fmt;

pub(crate) use html::{attribute, escape, escape_letter};

/// Rows that are painted before the middle of a long table is left out.
const SHOWN: usize = 40;

/// A table: caption, columns, notes below. Columns of unequal length end in missing cells.
#[derive(Clone, PartialEq)]
pub struct Table {
    /// What the table shows; stands above it.
    pub caption: String,
    /// The columns, left to right.
    pub columns: Vec<Column>,
    /// Remarks below the table.
    pub notes: Vec<String>,
    /// At most this many rows are painted: the first two thirds and the last third, with a line between that says how
    /// many were left out. Default 40.
    pub rows_shown: usize,
}

/// One column of a [`Table`].
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its name in data frames and CSV files, such as `retention_time_min`.
    pub name: String,
    /// What stands above it when shown, such as `retention time`.
    pub heading: String,
    /// Unit of all its numbers; empty for words and for quantities of unit one.
    pub unit: String,
    /// The cells.
    pub values: Values,
    /// How many digits are shown.
    pub rounding: Rounding,
    /// True for a column that is in the data frame but not in the painted table.
    pub detail: bool,
}

/// The cells of a column; what is missing is `None`.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Values {
    /// Finite numbers.
    Numbers(Vec<Option<f64>>),
    /// Words, none of them empty.
    Text(Vec<Option<String>>),
    /// Yes or no.
    Flags(Vec<Option<bool>>),
}

/// How many digits of a column's numbers are shown. Nothing is lost from the numbers themselves.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub enum Rounding {
    /// Whole numbers whole; others with four significant digits, up to seven where different numbers would read the
    /// same.
    #[default]
    Plain,
    /// So many significant digits.
    Significant(usize),
    /// So many digits after the point.
    Decimals(usize),
    /// Each number to the last place of its standard uncertainty (GUM 7.2.6); without one as [`Rounding::Plain`].
    ByUncertainty(Vec<Option<f64>>),
    /// The numbers are uncertainties: each is shown to the place that the value here is rounded to.
    OfValues(Vec<Option<f64>>),
}

impl Table {
    /// A table without columns.
    pub fn new(caption: impl Into<String>) -> Self {
        Table { caption: caption.into(), columns: Vec::new(), notes: Vec::new(), rows_shown: SHOWN }
    }

    /// One more column, to the right.
    pub fn column(mut self, column: Column) -> Self {
        self.columns.push(column);
        self
    }

    /// Two more columns: values rounded by their standard uncertainties, and these, named `name_u`, beside them.
    pub fn measured<V: Into<Option<f64>>, U: Into<Option<f64>>>(
        self,
        name: &str,
        unit: &str,
        values: impl IntoIterator<Item = V>,
        uncertainties: impl IntoIterator<Item = U>,
    ) -> Self {
        let [value, u] = Column::measured(name, unit, finite(values), finite(uncertainties));
        self.column(value).column(u)
    }

    /// One more remark below.
    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }

    /// Painted with at most so many rows.
    pub fn show_rows(mut self, rows: usize) -> Self {
        self.rows_shown = rows;
        self
    }

    /// Number of rows: the length of the longest column.
    pub fn height(&self) -> usize {
        self.columns.iter().map(|c| c.values.len()).max().unwrap_or(0)
    }

    /// As an HTML `<table>`: caption, headings with their scope, a row of units. Any text is data, never markup; there
    /// is no script, and no colour, so that it reads on light and dark pages alike. Alignment does not rest on styles:
    /// where a site strips them, spaces as wide as a digit still bring the points under each other.
    pub fn to_html(&self) -> String {
        html::paint(self)
    }

    /// The rows that are painted, and how many are left out after the first of the two parts.
    fn parts(&self) -> (Vec<usize>, Vec<usize>, usize) {
        let height = self.height();
        let shown = self.rows_shown.max(1);
        if height <= shown {
            return ((0..height).collect(), Vec::new(), 0);
        }
        let last = shown / 3;
        ((0..shown - last).collect(), (height - last..height).collect(), height - shown)
    }

    fn shown_columns(&self) -> Vec<&Column> {
        self.columns.iter().filter(|c| !c.detail).collect()
    }
}

/// The table as aligned text: words to the left, numbers by their points; the last line ends with a newline.
impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&plain::paint(self))
    }
}

impl fmt::Debug for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names: Vec<&str> = self.columns.iter().map(|c| c.name.as_str()).collect();
        write!(f, "Table({:?}, {} rows: {})", self.caption, self.height(), names.join(", "))
    }
}

impl Column {
    /// A column of numbers: `f64`, or `Option<f64>` where some are missing. What is not finite is missing.
    pub fn numbers<V: Into<Option<f64>>>(
        name: impl Into<String>,
        unit: impl Into<String>,
        values: impl IntoIterator<Item = V>,
    ) -> Self {
        Column::new(name.into(), unit.into(), Values::Numbers(finite(values)))
    }

    /// A column of words; empty ones are missing.
    pub fn text<T: Into<String>>(name: impl Into<String>, values: impl IntoIterator<Item = T>) -> Self {
        let values = values.into_iter().map(|t| Some(t.into()).filter(|t: &String| !t.is_empty())).collect();
        Column::new(name.into(), String::new(), Values::Text(values))
    }

    /// A column of yes and no: `bool`, or `Option<bool>` where some are missing.
    pub fn flags<B: Into<Option<bool>>>(name: impl Into<String>, values: impl IntoIterator<Item = B>) -> Self {
        Column::new(name.into(), String::new(), Values::Flags(values.into_iter().map(Into::into).collect()))
    }

    /// Values rounded by their standard uncertainties, and a column of these, named `name_u`.
    pub(crate) fn measured(
        name: &str,
        unit: &str,
        values: Vec<Option<f64>>,
        uncertainties: Vec<Option<f64>>,
    ) -> [Column; 2] {
        let value =
            Column::numbers(name, unit, values.iter().copied()).rounded(Rounding::ByUncertainty(uncertainties.clone()));
        let u = Column::numbers(format!("{name}_u"), unit, uncertainties)
            .headed(format!("u({name})"))
            .rounded(Rounding::OfValues(values));
        [value, u]
    }

    fn new(name: String, unit: String, values: Values) -> Self {
        Column { heading: name.clone(), name, unit, values, rounding: Rounding::Plain, detail: false }
    }

    /// Under another name; the heading stays.
    pub fn named(mut self, name: impl Into<String>) -> Self {
        self.name = name.into();
        self
    }

    /// With another heading.
    pub fn headed(mut self, heading: impl Into<String>) -> Self {
        self.heading = heading.into();
        self
    }

    /// With other digits.
    pub fn rounded(mut self, rounding: Rounding) -> Self {
        self.rounding = rounding;
        self
    }

    /// Kept for the data frame, not painted.
    pub fn as_detail(mut self) -> Self {
        self.detail = true;
        self
    }

    /// Number of cells.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// True where there is no cell.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The numbers that are not missing, in order; none from a column of words.
    pub fn numbers_found(&self) -> Vec<f64> {
        match &self.values {
            Values::Numbers(v) => v.iter().flatten().copied().collect(),
            _ => Vec::new(),
        }
    }

    /// The words, those that are missing as empty texts; none from a column of numbers.
    pub fn words(&self) -> Vec<String> {
        match &self.values {
            Values::Text(v) => v.iter().map(|t| t.clone().unwrap_or_default()).collect(),
            _ => Vec::new(),
        }
    }

    fn is_numbers(&self) -> bool {
        matches!(self.values, Values::Numbers(_))
    }
}

impl Values {
    /// Number of cells.
    pub fn len(&self) -> usize {
        match self {
            Values::Numbers(v) => v.len(),
            Values::Text(v) => v.len(),
            Values::Flags(v) => v.len(),
        }
    }

    /// True where there is no cell.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

fn finite<V: Into<Option<f64>>>(values: impl IntoIterator<Item = V>) -> Vec<Option<f64>> {
    values.into_iter().map(|v| v.into().filter(|v| v.is_finite())).collect()
}
