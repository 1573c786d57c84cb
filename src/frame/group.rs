//! Groups of rows that agree in some columns: mean, standard deviation, number.

use polars::prelude as pl;

use super::{Frame, failed};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{mean, sample_sd};
use crate::table::{Column, Rounding, Table, Values};

impl Frame {
    /// One row for each group that agrees in these columns, in the order of first appearance: the number of rows `n`,
    /// and of every shown column of numbers its mean and sample standard deviation `name_sd` over the cells that are not
    /// missing (none for a single one). Means are rounded by their standard error; the mean of one cell is that cell.
    ///
    /// Rows are taken as equally good and independent. Shots of one flask are not independent flasks: group by flask
    /// first, then by sample.
    ///
    /// # Errors
    /// A column that is not there.
    pub fn group(&self, by: &[&str]) -> Result<Self> {
        if by.is_empty() {
            return Err(
                Error::new(ErrorKind::Option, "no column to group by was named").hint("name at least one column")
            );
        }
        let mut table = Table::new(self.caption.clone());
        let groups = self.rows_of_groups(by)?;
        let first: Vec<usize> = groups.iter().filter_map(|rows| rows.first().copied()).collect();
        for name in by {
            let mut column = self.column(name)?;
            column.values = taken(&column.values, &first);
            column.rounding = match column.rounding {
                Rounding::ByUncertainty(p) => Rounding::ByUncertainty(at(&p, &first)),
                Rounding::OfValues(p) => Rounding::OfValues(at(&p, &first)),
                other => other,
            };
            column.detail = false;
            table = table.column(column);
        }
        table = table.column(Column::numbers("n", "", groups.iter().map(|rows| rows.len() as f64)).headed("number"));
        for about in self.columns.iter().filter(|c| !c.detail && !by.contains(&c.name.as_str())) {
            let Some(column) = self.column_of(about) else { continue };
            // The mean of uncertainties is nobody's uncertainty.
            if matches!(column.rounding, Rounding::OfValues(_)) {
                continue;
            }
            if let Values::Numbers(values) = &column.values {
                for new in mean_and_sd(&column, values, &groups) {
                    if table.columns.iter().all(|c| c.name != new.name) {
                        table = table.column(new);
                    }
                }
            }
        }
        table.to_frame()
    }

    fn rows_of_groups(&self, by: &[&str]) -> Result<Vec<Vec<usize>>> {
        for name in by {
            self.about(name)?;
        }
        let groups = self.data.group_by_stable(by.iter().copied()).map_err(|e| failed("grouped", e))?;
        let rows = groups.get_groups().iter().map(|group| match group {
            pl::GroupsIndicator::Idx((_, rows)) => rows.iter().map(|&i| i as usize).collect(),
            pl::GroupsIndicator::Slice([first, length]) => (first as usize..(first + length) as usize).collect(),
        });
        Ok(rows.collect())
    }
}

fn at<T: Clone>(values: &[Option<T>], rows: &[usize]) -> Vec<Option<T>> {
    rows.iter().map(|&i| values.get(i).cloned().flatten()).collect()
}

fn taken(values: &Values, rows: &[usize]) -> Values {
    match values {
        Values::Numbers(v) => Values::Numbers(at(v, rows)),
        Values::Text(v) => Values::Text(at(v, rows)),
        Values::Flags(v) => Values::Flags(at(v, rows)),
    }
}

fn mean_and_sd(column: &Column, values: &[Option<f64>], groups: &[Vec<usize>]) -> [Column; 2] {
    let (mut means, mut sds, mut errors) = (Vec::new(), Vec::new(), Vec::new());
    for rows in groups {
        let cells: Vec<f64> = rows.iter().filter_map(|&i| values.get(i).copied().flatten()).collect();
        let sd = sample_sd(&cells);
        let own = match (&column.rounding, rows.as_slice()) {
            (Rounding::ByUncertainty(us), [only]) => us.get(*only).copied().flatten(),
            _ => None,
        };
        errors.push(sd.map(|sd| sd / (cells.len() as f64).sqrt()).or(own));
        means.push(mean(&cells));
        sds.push(sd);
    }
    let rounding = match &column.rounding {
        // Widths and counts keep their places.
        keep @ (Rounding::Significant(_) | Rounding::Decimals(_)) => keep.clone(),
        _ => Rounding::ByUncertainty(errors),
    };
    let means = Column::numbers(column.name.clone(), column.unit.clone(), means)
        .headed(format!("mean {}", column.heading))
        .rounded(rounding);
    let sds = Column::numbers(format!("{}_sd", column.name), column.unit.clone(), sds)
        .headed(format!("standard deviation of {}", column.heading))
        .rounded(Rounding::Significant(2));
    [means, sds]
}
