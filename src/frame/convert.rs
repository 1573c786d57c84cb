//! Tables ↔ frames: columns of ours as polars' columns and back.

use polars::prelude as pl;

use super::{About, Digits, Frame, failed, partner_name};
use crate::error::{Error, ErrorKind, Result};
use crate::table::{Column, Rounding, Table, Values};

impl Table {
    /// As a data frame; columns of unequal length end in missing cells.
    ///
    /// # Errors
    /// Two columns of one name.
    pub fn to_frame(&self) -> Result<Frame> {
        let height = self.height();
        let (mut columns, mut data): (Vec<About>, Vec<pl::Column>) = (Vec::new(), Vec::new());
        for column in &self.columns {
            if columns.iter().any(|c| c.name == column.name) {
                return Err(Error::new(ErrorKind::Data, format!("there are two columns \"{}\"", column.name))
                    .hint("give each column a name of its own"));
            }
            data.extend(to_polars(column, height));
            columns.push(about(column));
        }
        let data = pl::DataFrame::new(height, data).map_err(|e| failed("made", e))?;
        Ok(Frame { caption: self.caption.clone(), notes: self.notes.clone(), columns, data })
    }
}

pub(super) fn about(column: &Column) -> About {
    About {
        name: column.name.clone(),
        heading: column.heading.clone(),
        unit: column.unit.clone(),
        detail: column.detail,
        digits: match &column.rounding {
            Rounding::Plain => Digits::Plain,
            Rounding::Significant(n) => Digits::Significant(*n),
            Rounding::Decimals(n) => Digits::Decimals(*n),
            Rounding::ByUncertainty(_) => Digits::ByUncertainty,
            Rounding::OfValues(_) => Digits::OfValues,
        },
    }
}

/// The column, and its partner where numbers are rounded by one.
pub(super) fn to_polars(column: &Column, height: usize) -> Vec<pl::Column> {
    let name = column.name.as_str();
    let own = match &column.values {
        Values::Numbers(v) => pl::Column::new(name.into(), filled(v, height)),
        Values::Text(v) => pl::Column::new(name.into(), filled(v, height)),
        Values::Flags(v) => pl::Column::new(name.into(), filled(v, height)),
    };
    let partner = match &column.rounding {
        Rounding::ByUncertainty(p) | Rounding::OfValues(p) => {
            Some(pl::Column::new(partner_name(name).as_str().into(), filled(p, height)))
        }
        Rounding::Plain | Rounding::Significant(_) | Rounding::Decimals(_) => None,
    };
    std::iter::once(own).chain(partner).collect()
}

fn filled<T: Clone>(values: &[Option<T>], height: usize) -> Vec<Option<T>> {
    (0..height).map(|i| values.get(i).cloned().flatten()).collect()
}

impl Frame {
    /// One column with its unit, heading and rounding: [`Column::numbers_found`], [`Column::words`].
    ///
    /// # Errors
    /// No such column; the sentence lists those there are.
    pub fn column(&self, name: &str) -> Result<Column> {
        let about = self.about(name)?;
        self.column_of(about)
            .ok_or_else(|| Error::new(ErrorKind::Data, format!("the column \"{name}\" holds what no cell can hold")))
    }

    pub(super) fn column_of(&self, about: &About) -> Option<Column> {
        let values = from_polars(self.data.column(&about.name).ok()?)?;
        let partner = || {
            let column = self.data.column(&partner_name(&about.name)).ok();
            column.and_then(from_polars).and_then(|v| if let Values::Numbers(n) = v { Some(n) } else { None })
        };
        let rounding = match about.digits {
            Digits::Plain => Rounding::Plain,
            Digits::Significant(n) => Rounding::Significant(n),
            Digits::Decimals(n) => Rounding::Decimals(n),
            Digits::ByUncertainty => Rounding::ByUncertainty(partner().unwrap_or_default()),
            Digits::OfValues => Rounding::OfValues(partner().unwrap_or_default()),
        };
        Some(Column {
            name: about.name.clone(),
            heading: about.heading.clone(),
            unit: about.unit.clone(),
            values,
            rounding,
            detail: about.detail,
        })
    }
}

/// Numbers of every kind as numbers, what is not finite as missing; lists and times are no cells of ours.
pub(super) fn from_polars(column: &pl::Column) -> Option<Values> {
    let series = column.as_materialized_series();
    match series.dtype() {
        pl::DataType::String => {
            let words = series.str().ok()?.iter().map(|t| t.filter(|t| !t.is_empty()).map(str::to_owned));
            Some(Values::Text(words.collect()))
        }
        pl::DataType::Boolean => Some(Values::Flags(series.bool().ok()?.iter().collect())),
        pl::DataType::Null => Some(Values::Text(vec![None; series.len()])),
        kind if kind.is_primitive_numeric() => {
            let numbers = series.cast(&pl::DataType::Float64).ok()?;
            Some(Values::Numbers(numbers.f64().ok()?.iter().map(|v| v.filter(|v| v.is_finite())).collect()))
        }
        _ => None,
    }
}
