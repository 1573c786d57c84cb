//! Rows of a frame as flasks of a calibration.

use super::Frame;
use crate::calibrate::Flask;
use crate::error::{Error, ErrorKind, Result};
use crate::table::{Column, Values};

impl Frame {
    /// The rows as flasks of a calibration: `label` names the flask, `content` is its stated content, `response` an area
    /// or a ratio. Rows of one label are shots of one flask. Where `response` has uncertainties, they go with it.
    ///
    /// # Errors
    /// A column that is not there or holds no numbers; a row without content or response (filter such rows out, and say
    /// why); one label with two contents.
    ///
    /// ```
    /// use vialbook::prelude::*;
    /// let frame = Table::new("Shots")
    ///     .column(Column::text("flask", ["a", "a", "b"]))
    ///     .column(Column::numbers("content", "mg/L", [1.0, 1.0, 2.0]))
    ///     .column(Column::numbers("area", "mV·min", [2.0, 2.2, 4.1]))
    ///     .to_frame()?;
    /// let flasks = frame.flasks("flask", "content", "area")?;
    /// assert_eq!((flasks.len(), flasks[0].shots, flasks[0].response), (2, 2, 2.1));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn flasks(&self, label: &str, content: &str, response: &str) -> Result<Vec<Flask>> {
        let labels = self.column(label)?;
        let (contents, responses) = (self.column(content)?, self.column(response)?);
        let uncertainties = self.column(&format!("{response}_u")).ok();
        let mut seen: Vec<(String, f64, Vec<f64>, Vec<f64>)> = Vec::new();
        for row in 0..self.height() {
            let name = word(&labels, row)?;
            let (x, y) = (number(&contents, row)?, number(&responses, row)?);
            let u = uncertainties.as_ref().and_then(|c| number(c, row).ok());
            match seen.iter_mut().find(|s| s.0 == name) {
                Some((_, known, _, _)) if *known != x => {
                    return Err(Error::new(
                        ErrorKind::Data,
                        format!("flask \"{name}\" has the contents {known} and {x}; one is wanted"),
                    )
                    .hint("name flasks of different content differently"));
                }
                Some((_, _, shots, us)) => {
                    shots.push(y);
                    us.extend(u);
                }
                None => seen.push((name, x, vec![y], u.into_iter().collect())),
            }
        }
        // Uncertainties that only some shots have say nothing of the mean.
        let flask = |(name, x, shots, us): (String, f64, Vec<f64>, Vec<f64>)| {
            let us = if us.len() == shots.len() { us } else { Vec::new() };
            Flask::from_shots(name, x, &shots, &us)
        };
        Ok(seen.into_iter().map(flask).collect())
    }
}

/// Numbers name flasks as well: a level.
fn word(column: &Column, row: usize) -> Result<String> {
    let cell = match &column.values {
        Values::Text(v) => v.get(row).cloned().flatten(),
        Values::Numbers(v) => v.get(row).copied().flatten().map(|x| x.to_string()),
        Values::Flags(_) => None,
    };
    cell.ok_or_else(|| missing(column, row, "a name"))
}

fn number(column: &Column, row: usize) -> Result<f64> {
    match &column.values {
        Values::Numbers(v) => v.get(row).copied().flatten().ok_or_else(|| missing(column, row, "a number")),
        _ => Err(Error::new(ErrorKind::Data, format!("the column \"{}\" holds no numbers", column.name))
            .hint("name a column of numbers")),
    }
}

fn missing(column: &Column, row: usize, wanted: &str) -> Error {
    Error::new(ErrorKind::Data, format!("row {} of \"{}\" is missing; {wanted} is wanted", row + 1, column.name))
        .hint(format!("frame.filter(\"{}\", Is::Known)? leaves such rows out", column.name))
}
