//! Select, filter, sort, join, add: each gives a new frame.

use polars::prelude as pl;
use polars::prelude::DataFrameJoinOps as _;

use super::convert::{about, to_polars};
use super::{About, Frame, failed};
use crate::error::{Error, ErrorKind, Result};
use crate::table::{Column, Values};

/// What a cell must be for its row to stay.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Is {
    /// A number above this one.
    Above(f64),
    /// A number not below this one.
    AtLeast(f64),
    /// A number below this one.
    Below(f64),
    /// A number not above this one.
    AtMost(f64),
    /// A number between these, ends included.
    Between(f64, f64),
    /// Exactly this number.
    Number(f64),
    /// Exactly these words: [`Is::text`].
    Text(String),
    /// One of these words: [`Is::one_of`].
    OneOf(Vec<String>),
    /// Yes.
    Yes,
    /// No.
    No,
    /// Missing.
    Missing,
    /// Not missing.
    Known,
}

impl Is {
    /// Exactly these words.
    pub fn text(words: &str) -> Self {
        Is::Text(words.to_owned())
    }

    /// One of these words.
    pub fn one_of(words: &[&str]) -> Self {
        Is::OneOf(words.iter().map(|w| (*w).to_owned()).collect())
    }

    /// What kind of cells it asks about; none where any will do.
    fn kind(&self) -> Option<&'static str> {
        match self {
            Is::Text(_) | Is::OneOf(_) => Some("words"),
            Is::Yes | Is::No => Some("yes and no"),
            Is::Missing | Is::Known => None,
            _ => Some("numbers"),
        }
    }

    fn number(&self, x: f64) -> bool {
        match self {
            Is::Above(limit) => x > *limit,
            Is::AtLeast(limit) => x >= *limit,
            Is::Below(limit) => x < *limit,
            Is::AtMost(limit) => x <= *limit,
            Is::Between(low, high) => (*low..=*high).contains(&x),
            Is::Number(value) => x == *value,
            _ => false,
        }
    }

    fn words(&self, text: &str) -> bool {
        match self {
            Is::Text(wanted) => text == wanted,
            Is::OneOf(wanted) => wanted.iter().any(|w| w == text),
            _ => false,
        }
    }

    /// Which rows stay. What is missing is neither above nor below anything.
    fn mask(&self, values: &Values) -> Vec<bool> {
        match values {
            Values::Numbers(v) => v.iter().map(|x| self.holds(*x, |x| self.number(x))).collect(),
            Values::Text(v) => v.iter().map(|t| self.holds(t.as_deref(), |t| self.words(t))).collect(),
            Values::Flags(v) => v.iter().map(|b| self.holds(*b, |b| b == (*self == Is::Yes))).collect(),
        }
    }

    fn holds<T>(&self, cell: Option<T>, test: impl Fn(T) -> bool) -> bool {
        match self {
            Is::Missing => cell.is_none(),
            Is::Known => cell.is_some(),
            _ => cell.is_some_and(test),
        }
    }
}

impl Frame {
    /// These columns, in this order.
    ///
    /// # Errors
    /// A column that is not there.
    pub fn select(&self, names: &[&str]) -> Result<Self> {
        let columns = names.iter().map(|n| self.about(n).cloned()).collect::<Result<Vec<About>>>()?;
        // What is asked for is shown.
        let columns: Vec<About> = columns.into_iter().map(|c| About { detail: false, ..c }).collect();
        let kept: Vec<String> = columns.iter().flat_map(About::own_columns).collect();
        let data = self.data.select(kept).map_err(|e| failed("selected from", e))?;
        Ok(Frame { columns, data, ..self.clone() })
    }

    /// The rows in which this column is so.
    ///
    /// # Errors
    /// A column that is not there, or holds another kind of cells than is asked about.
    pub fn filter(&self, name: &str, is: Is) -> Result<Self> {
        let column = self.column(name)?;
        let held = match &column.values {
            Values::Numbers(_) => "numbers",
            Values::Text(_) => "words",
            Values::Flags(_) => "yes and no",
        };
        if let Some(asked) = is.kind()
            && asked != held
        {
            return Err(Error::new(
                ErrorKind::Data,
                format!("the column \"{name}\" holds {held}; {is:?} asks about {asked}"),
            )
            .hint(
                "Is::Above, AtLeast, Below, AtMost, Between for numbers; Is::text, Is::one_of for words; Is::Yes, No",
            ));
        }
        let mask: pl::BooleanChunked = is.mask(&column.values).into_iter().map(Some).collect();
        Ok(self.with_data(self.data.filter(&mask).map_err(|e| failed("filtered", e))?))
    }

    /// Sorted by this column, smallest or first in the alphabet first, missing cells last; equal rows keep their order.
    ///
    /// # Errors
    /// A column that is not there.
    pub fn sort(&self, name: &str) -> Result<Self> {
        self.sorted(name, false)
    }

    /// Sorted by this column, largest first, missing cells last.
    ///
    /// # Errors
    /// A column that is not there.
    pub fn sort_descending(&self, name: &str) -> Result<Self> {
        self.sorted(name, true)
    }

    fn sorted(&self, name: &str, descending: bool) -> Result<Self> {
        self.about(name)?;
        let order = pl::SortMultipleOptions::new()
            .with_order_descending(descending)
            .with_nulls_last(true)
            .with_maintain_order(true);
        Ok(self.with_data(self.data.sort([name], order).map_err(|e| failed("sorted", e))?))
    }

    /// The first rows.
    pub fn head(&self, rows: usize) -> Self {
        self.with_data(self.data.head(Some(rows)))
    }

    /// Each row with what the other frame has where these columns agree: one row for each pair, none dropped from this
    /// frame. A column of the other whose name is taken gets `_other` behind it.
    ///
    /// # Errors
    /// A column that is not there, or of another kind in the other frame.
    pub fn join(&self, other: &Frame, on: &[&str]) -> Result<Self> {
        if on.is_empty() {
            return Err(Error::new(ErrorKind::Option, "no column to join on was named")
                .hint("name at least one column that both frames have"));
        }
        for name in on {
            self.about(name)?;
            other.about(name)?;
        }
        let mut theirs = other.data.clone();
        let mut columns = self.columns.clone();
        for about in other.columns.iter().filter(|c| !on.contains(&c.name.as_str())) {
            let mut name = about.name.clone();
            while columns.iter().any(|c| c.name == name) {
                name.push_str("_other");
            }
            let renamed = About { name, ..about.clone() };
            for (from, to) in about.own_columns().iter().zip(renamed.own_columns()) {
                theirs.rename(from, to.as_str().into()).map_err(|e| failed("joined", e))?;
            }
            columns.push(renamed);
        }
        // Partners of the columns joined on are this frame's.
        let doubled: Vec<String> = on.iter().filter_map(|n| other.about(n).ok()?.partner()).collect();
        let theirs = theirs.drop_many(doubled.iter().map(String::as_str));
        let mut how = pl::JoinArgs::new(pl::JoinType::Left);
        how.maintain_order = pl::MaintainOrderJoin::LeftRight;
        let data = self.data.join(&theirs, on, on, how, None).map_err(|e| failed("joined", e))?;
        Ok(Frame { columns, data, ..self.clone() })
    }

    /// With one more column, or another one of this name.
    ///
    /// # Errors
    /// A column of another length.
    pub fn with_column(&self, column: Column) -> Result<Self> {
        if self.width() > 0 && column.len() != self.height() {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "the column \"{}\" has {} cells; the frame has {} rows",
                    column.name,
                    column.len(),
                    self.height()
                ),
            )
            .hint("give one cell for each row; missing ones as None"));
        }
        let mut frame = self.clone();
        for one in to_polars(&column, column.len()) {
            frame.data.with_column(one).map_err(|e| failed("given a column", e))?;
        }
        let new = about(&column);
        match frame.columns.iter_mut().find(|c| c.name == new.name) {
            Some(old) => *old = new,
            None => frame.columns.push(new),
        }
        Ok(frame)
    }

    /// Under another caption.
    pub fn captioned(&self, caption: &str) -> Self {
        Frame { caption: caption.to_owned(), ..self.clone() }
    }
}
