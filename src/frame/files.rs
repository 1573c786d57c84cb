//! Frames from CSV files and to them.

use std::path::Path;

use polars::prelude as pl;
use polars::prelude::{SerReader as _, SerWriter as _};

use super::convert::from_polars;
use super::{Frame, failed};
use crate::error::{Error, ErrorKind, Result};
use crate::study::write::write_whole;
use crate::table::{Column, Rounding, Table};

/// Rows that settle what a column holds.
const ROWS_READ_FIRST: usize = 10_000;

impl Frame {
    /// Reads a CSV file (UTF-8, comma, header in the first line): columns of numbers, of yes and no, and of words. No
    /// units come with it; traces are read with [`Run::read`](crate::Run::read) instead, which guesses nothing.
    ///
    /// # Errors
    /// A file that cannot be read, or that is no such table.
    ///
    /// ```
    /// use vialbook::prelude::*;
    /// # let folder = tempfile::tempdir().unwrap();
    /// # let path = folder.path().join("areas.csv");
    /// # std::fs::write(&path, "level,area,note\n1,2.5,\n2,,late\n").unwrap();
    /// let frame = Frame::read_csv(&path)?;
    /// assert_eq!(frame.column("area")?.numbers_found(), [2.5]);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn read_csv(path: impl AsRef<Path>) -> Result<Self> {
        read(path.as_ref())
    }

    /// Writes a CSV file, whole or not at all: full numbers, missing cells empty, every column.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn to_csv(&self, path: impl AsRef<Path>) -> Result<()> {
        write(self, path.as_ref())
    }
}

fn read(path: &Path) -> Result<Frame> {
    let bytes = std::fs::read(path).map_err(|e| Error::io("read", path, e))?;
    if let Err(e) = std::str::from_utf8(&bytes) {
        let line = bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count() as u64 + 1;
        return Err(Error::new(ErrorKind::Format, "this text is not UTF-8")
            .in_file(path)
            .at_line(line)
            .hint("save the table as CSV in UTF-8"));
    }
    let options = pl::CsvReadOptions::default().with_has_header(true).with_infer_schema_length(Some(ROWS_READ_FIRST));
    let data = options
        .into_reader_with_file_handle(std::io::Cursor::new(bytes))
        .finish()
        .map_err(|e| failed("read", e).in_file(path).hint("a comma between cells, a header in the first line"))?;
    let mut table = Table::new(path.file_stem().unwrap_or_default().to_string_lossy());
    for column in data.columns() {
        let values = from_polars(column).ok_or_else(|| {
            Error::new(ErrorKind::Format, format!("the column \"{}\" holds {}", column.name(), column.dtype()))
                .in_file(path)
        })?;
        let name = column.name().to_string();
        table.columns.push(Column {
            heading: name.clone(),
            name,
            unit: String::new(),
            values,
            rounding: Rounding::Plain,
            detail: false,
        });
    }
    table.to_frame().map_err(|e| e.in_file(path))
}

fn write(frame: &Frame, path: &Path) -> Result<()> {
    let mut data = frame.data.select(frame.names()).map_err(|e| failed("written", e))?;
    let mut bytes = Vec::new();
    pl::CsvWriter::new(&mut bytes).finish(&mut data).map_err(|e| failed("written", e).in_file(path))?;
    write_whole(path, &bytes)
}
