//! A plain table with a header row: the injection log and its like.
//!
//! Cells are data: text stays text, an empty cell is missing, a number is a number or an error with its place.

use std::fmt;
use std::path::Path;

use super::{decode, source};
use crate::error::{Error, ErrorKind, Result};

/// A small table: header row and rows of trimmed cells.
#[derive(Clone, PartialEq)]
pub struct Table {
    /// Names of the columns, trimmed.
    pub headers: Vec<String>,
    /// Line of the header row, counted from 1.
    pub header_line: u64,
    /// The rows; rows without any content are left out.
    pub rows: Vec<Row>,
}

/// One row of a [`Table`].
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Line in the file, counted from 1.
    pub line: u64,
    cells: Vec<String>,
    /// True where the delimiter leaves the comma free to be a decimal mark.
    comma_is_decimal: bool,
}

impl Table {
    /// Reads a table of commas, semicolons or tabs: the delimiter is the one that the header row shows most.
    ///
    /// # Errors
    /// A file that cannot be read, holds no header, names a column twice, or has a row with more cells than names.
    pub fn read(path: impl AsRef<Path>) -> Result<Table> {
        let path = path.as_ref();
        let bytes = source::bytes_of(path)?;
        Table::parse(&bytes).map_err(|e| e.in_file(path))
    }

    /// Reads a table that is in memory already.
    ///
    /// # Errors
    /// As [`Table::read`].
    ///
    /// ```
    /// use vialbook::read::Table;
    /// let table = Table::parse(b"run;volume (uL)\na;0,3\n")?;
    /// assert_eq!(table.rows[0].number(table.column("volume (uL)")?)?, Some(0.3));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn parse(bytes: &[u8]) -> Result<Table> {
        let decoded = decode::decode(bytes, None)?;
        let text = decoded.text.trim_start_matches('\u{feff}');
        let delimiter = delimiter_of(text);
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut headers: Option<(u64, Vec<String>)> = None;
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| Error::new(ErrorKind::Format, "not a table of cells").because(e))?;
            let line = record.position().map_or(0, csv::Position::line);
            // Some programs put blanks inside the quotes as well.
            let cells: Vec<String> = record.iter().map(|c| c.trim().to_owned()).collect();
            if cells.iter().all(String::is_empty) {
                continue;
            }
            let Some((_, names)) = &headers else {
                headers = Some((line, cells));
                continue;
            };
            if let Some(extra) = cells.iter().skip(names.len()).position(|c| !c.is_empty()) {
                let column = names.len() + extra;
                return Err(Error::new(
                    ErrorKind::Format,
                    format!("\"{}\" stands in a column without a name; the header row names {}", cells[column], names.len()),
                )
                .at_line(line)
                .at_column(column as u64 + 1)
                .hint("put text that holds the delimiter in quotes"));
            }
            rows.push(Row { line, cells, comma_is_decimal: delimiter != b',' });
        }
        let Some((header_line, headers)) = headers else {
            return Err(Error::new(ErrorKind::Format, "no header row; the first row names the columns"));
        };
        for (i, name) in headers.iter().enumerate().filter(|(_, n)| !n.is_empty()) {
            if headers[..i].iter().any(|h| h.eq_ignore_ascii_case(name)) {
                return Err(Error::new(ErrorKind::Format, format!("the column \"{name}\" is named twice"))
                    .at_line(header_line)
                    .at_column(i as u64 + 1));
            }
        }
        Ok(Table { headers, header_line, rows })
    }

    /// Position of a column, counted from 0; upper and lower case are alike.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.headers.iter().position(|h| h.eq_ignore_ascii_case(name))
    }

    /// Position of a column that must be there.
    ///
    /// # Errors
    /// It is not; the hint lists the columns that are.
    pub fn column(&self, name: &str) -> Result<usize> {
        self.find(name).ok_or_else(|| {
            Error::new(ErrorKind::Format, format!("the column \"{name}\" is missing"))
                .at_line(self.header_line)
                .hint(format!("columns found: {}", self.headers.join(", ")))
        })
    }
}

impl Row {
    /// The text of a cell; `None` where it is empty or the row is shorter.
    pub fn cell(&self, column: usize) -> Option<&str> {
        self.cells.get(column).map(String::as_str).filter(|c| !c.is_empty())
    }

    /// The number in a cell; `None` where it is empty.
    ///
    /// # Errors
    /// Text that is no finite number, with line and column.
    pub fn number(&self, column: usize) -> Result<Option<f64>> {
        let Some(text) = self.cell(column) else { return Ok(None) };
        let wrong = |why: &str| {
            Error::new(ErrorKind::Format, format!("\"{text}\" {why}")).at_line(self.line).at_column(column as u64 + 1)
        };
        let plain = match (text.contains(','), text.contains('.')) {
            (true, true) => {
                return Err(wrong("holds both point and comma; a number with one decimal mark and no thousands separator is wanted"));
            }
            (true, false) if self.comma_is_decimal => text.replacen(',', ".", 1),
            _ => text.to_owned(),
        };
        match plain.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            Ok(_) => Err(wrong("is not a finite number")),
            Err(_) => Err(wrong("is not a number; leave the cell empty where there is none")),
        }
    }
}

impl fmt::Debug for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Table({} rows, columns {:?})", self.rows.len(), self.headers)
    }
}

/// The delimiter that the first row with content shows most outside quotes; the comma where none shows.
fn delimiter_of(text: &str) -> u8 {
    let header = text.lines().find(|l| !l.trim().is_empty()).unwrap_or("");
    let mut counts = [(b';', 0), (b'\t', 0), (b',', 0)];
    let mut quoted = false;
    for byte in header.bytes() {
        quoted ^= byte == b'"';
        if let Some(c) = counts.iter_mut().find(|c| c.0 == byte && !quoted) {
            c.1 += 1;
        }
    }
    counts.iter().rev().max_by_key(|c| c.1).filter(|c| c.1 > 0).map_or(b',', |c| c.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delimiters_and_decimal_marks() {
        for (text, delimiter) in [("a,b\n1.5,2\n", "comma"), ("a;b\n1,5;2\n", "semicolon"), ("a\tb\n1,5\t2\n", "tab")] {
            let table = Table::parse(text.as_bytes()).expect(delimiter);
            assert_eq!(table.rows[0].number(0).expect(delimiter), Some(1.5), "{delimiter}");
            assert_eq!(table.rows[0].number(1).expect(delimiter), Some(2.0), "{delimiter}");
        }
    }

    #[test]
    fn places_are_named() {
        let table = Table::parse(b"a,b\n\n1,x\n,\n2,inf\n").expect("table");
        assert_eq!(table.rows.len(), 2);
        let e = table.rows[0].number(1).expect_err("letters");
        assert_eq!((e.line(), e.column()), (Some(3), Some(2)));
        assert!(table.rows[1].number(1).is_err(), "infinity is no number");
        assert!(Table::parse(b"a,A\n").is_err(), "a column named twice");
        assert!(Table::parse(b"a\n1,2\n").is_err(), "a cell without a name");
        assert!(Table::parse(b"\"a\"\n\" \"\n").expect("table").rows.is_empty());
    }
}
