//! Small tables with names above the columns, such as the injection log: text cells, numbers on demand.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::cells::{fits_groups, shown};
use super::decode;
use super::names::fold;
use super::number;
use super::source;
use super::spreadsheet;
use crate::error::{Error, ErrorKind, Result};

/// A table of text cells under named columns. Nothing in a cell is ever interpreted unless a number is asked for.
///
/// ```
/// use vialbook::read::Table;
/// let table = Table::from_bytes("injections.csv", b"Run;sample;volume (\xc2\xb5L)\n1;A \"neat\";0,3\n2;B;\n")?;
/// assert_eq!(table.rows[0].required("run")?, "1");
/// assert_eq!(table.rows[0].number("volume (uL)")?, Some(0.3));
/// assert_eq!(table.rows[1].number("volume (uL)")?, None);
/// let error = table.rows[1].required("volume (uL)").unwrap_err().to_string();
/// assert!(error.starts_with("injections.csv, line 3, column 3: "));
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Table {
    /// The rows below the names, without empty ones.
    pub rows: Vec<Row>,
    shape: Arc<Shape>,
    sha256: String,
}

/// One row of a [`Table`].
#[derive(Clone, Debug)]
pub struct Row {
    /// Line of the file on which the row starts, counted from 1.
    pub line: u64,
    /// One text per column, trimmed; empty where the file has nothing.
    pub cells: Vec<String>,
    shape: Arc<Shape>,
}

/// What all rows share.
#[derive(Debug)]
struct Shape {
    file: PathBuf,
    headers: Vec<String>,
    /// Folded name to column.
    places: HashMap<String, usize>,
    /// Numbers are written with a decimal comma.
    comma: bool,
}

impl Table {
    /// Reads a table from a comma-, semicolon- or tab-separated file, or from the first visible sheet of a spreadsheet
    /// (.xlsx, .ods); the first line that is not empty names the columns.
    ///
    /// # Errors
    /// A file that cannot be read or decoded, no names, a name that comes twice, a row with more cells than names.
    pub fn read(path: impl AsRef<Path>) -> Result<Table> {
        let path = path.as_ref();
        table_of(path, &source::bytes_of(path)?)
    }

    /// Reads a table that is in memory already; `name` stands for the file.
    ///
    /// # Errors
    /// As [`Table::read`].
    pub fn from_bytes(name: impl AsRef<Path>, bytes: &[u8]) -> Result<Table> {
        table_of(name.as_ref(), bytes)
    }

    /// The columns' names as written, trimmed; a column without a name is called by its number, `column 3`.
    pub fn headers(&self) -> &[String] {
        &self.shape.headers
    }

    /// The file it was read from.
    pub fn file(&self) -> &Path {
        &self.shape.file
    }

    /// SHA-256 of the file's bytes, in lower-case hexadecimal.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// The index of a column, counted from 0; case, blanks around the name, and µ for u do not matter.
    ///
    /// # Errors
    /// There is no such column; the sentence lists those that are there.
    pub fn column(&self, name: &str) -> Result<usize> {
        self.shape.column(name)
    }

    /// True where there is such a column.
    pub fn has_column(&self, name: &str) -> bool {
        self.shape.places.contains_key(&fold(name))
    }
}

impl Row {
    /// A cell's text; `None` where it is empty or there is no such column.
    pub fn text(&self, column: &str) -> Option<&str> {
        let k = *self.shape.places.get(&fold(column))?;
        self.cells.get(k).map(String::as_str).filter(|t| !t.is_empty())
    }

    /// A cell's text that must be there.
    ///
    /// # Errors
    /// No such column, or an empty cell.
    pub fn required(&self, column: &str) -> Result<&str> {
        let k = self.shape.column(column)?;
        match self.text(column) {
            Some(text) => Ok(text),
            None => Err(self.error(column, format!("\"{}\" is empty; a value is wanted", self.shape.headers[k]))),
        }
    }

    /// A cell's number; `None` where it is empty or there is no such column. A decimal comma is understood where the
    /// table is written with commas.
    ///
    /// # Errors
    /// Text that is no finite number; `1,204` where the table does not show whether commas are decimal marks.
    pub fn number(&self, column: &str) -> Result<Option<f64>> {
        let Some(text) = self.text(column) else { return Ok(None) };
        let bytes = text.as_bytes();
        if let Some(n) = number::whole(bytes, b'.') {
            return Ok(Some(n.value));
        }
        match number::whole(bytes, b',') {
            Some(n) if self.shape.comma || !fits_groups(bytes, b',') => Ok(Some(n.value)),
            Some(_) => {
                let message = format!("\"{text}\" can be {} or {}", text.replace(',', "."), text.replace(',', ""));
                Err(self.error_of(ErrorKind::Ambiguous, column, message).hint("write the number with a decimal point"))
            }
            None => Err(self.error(column, format!("\"{}\" is not a number", shown(bytes)))),
        }
    }

    /// An error at this row and column, for whoever finds the cell's content wanting.
    pub fn error(&self, column: &str, message: impl Into<String>) -> Error {
        self.error_of(ErrorKind::Format, column, message)
    }

    fn error_of(&self, kind: ErrorKind, column: &str, message: impl Into<String>) -> Error {
        let error = Error::new(kind, message).in_file(&self.shape.file).at_line(self.line);
        match self.shape.places.get(&fold(column)) {
            Some(&k) => error.at_column(k as u64 + 1),
            None => error,
        }
    }
}

impl Shape {
    fn column(&self, name: &str) -> Result<usize> {
        self.places.get(&fold(name)).copied().ok_or_else(|| {
            Error::new(ErrorKind::NotFound, format!("there is no column \"{name}\""))
                .in_file(&self.file)
                .at_line(1)
                .hint(format!("columns: {}", self.headers.join(", ")))
        })
    }
}

fn table_of(file: &Path, bytes: &[u8]) -> Result<Table> {
    let place = |e: Error| e.in_file(file);
    // A sheet becomes text with one line per row, so that line numbers are row numbers.
    let sheet = spreadsheet::is_one(bytes).then(|| spreadsheet::table_text(bytes)).transpose().map_err(place)?;
    let decoded = match &sheet {
        Some(text) => decode::decode(text.as_bytes(), Some("utf-8")).map_err(place)?,
        None => decode::decode(bytes, None).map_err(place)?,
    };
    let text = decoded.text.as_ref();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(if sheet.is_some() { b'\t' } else { delimiter(text) })
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut lines = Lines { text: text.as_bytes(), at: 0, line: 1 };
    let mut headers: Option<Vec<String>> = None;
    let mut rows = Vec::new();
    let mut record = csv::StringRecord::new();
    loop {
        let from = reader.position().byte() as usize;
        match reader.read_record(&mut record) {
            Ok(false) => break,
            Ok(true) => {}
            Err(e) => return Err(place(Error::new(ErrorKind::Format, "not a table of text cells").because(e))),
        }
        let line = lines.of_record(from);
        let mut cells: Vec<String> = record.iter().map(|c| c.trim().to_owned()).collect();
        if cells.iter().all(String::is_empty) {
            continue;
        }
        let Some(names) = &headers else {
            headers = Some(named(cells, line).map_err(place)?);
            continue;
        };
        let width = names.len();
        if let Some(k) = (width..cells.len()).find(|&k| !cells[k].is_empty()) {
            return Err(place(
                Error::new(
                    ErrorKind::Format,
                    format!("\"{}\" stands in column {}, but only {width} columns are named", cells[k], k + 1),
                )
                .at_line(line)
                .at_column(k as u64 + 1)
                .hint("put text that holds the delimiter into double quotes, or name the column"),
            ));
        }
        cells.resize(width, String::new());
        rows.push((line, cells));
    }
    if let Some((line, cells)) = rows.last().filter(|r: &&(u64, Vec<String>)| r.1.iter().any(|c| c.contains('\n')))
        && text.bytes().filter(|b| *b == b'"').count() % 2 == 1
    {
        let k = cells.iter().position(|c| c.contains('\n')).unwrap_or(0);
        return Err(place(
            Error::new(ErrorKind::Format, "a double quote is not closed, so the rest of the file is one cell")
                .at_line(*line)
                .hint(format!("close the quote in column {}", k + 1)),
        ));
    }
    let Some(headers) = headers else {
        return Err(place(Error::new(ErrorKind::Format, "no names of columns; the first line must hold them")));
    };
    let places = headers.iter().enumerate().map(|(k, h)| (fold(h), k)).collect();
    let comma = decimal_comma(rows.iter().flat_map(|r| &r.1));
    let shape = Arc::new(Shape { file: file.to_path_buf(), headers, places, comma });
    let rows = rows.into_iter().map(|(line, cells)| Row { line, cells, shape: Arc::clone(&shape) }).collect();
    Ok(Table { rows, shape, sha256: source::sha256_hex(bytes) })
}

/// Names for every column; trailing columns without a name are dropped.
fn named(mut names: Vec<String>, line: u64) -> Result<Vec<String>> {
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    for (k, name) in names.iter_mut().enumerate() {
        if name.is_empty() {
            *name = format!("column {}", k + 1);
        }
    }
    for (k, name) in names.iter().enumerate() {
        if let Some(first) = names[..k].iter().position(|other| fold(other) == fold(name)) {
            return Err(Error::new(
                ErrorKind::Format,
                format!("\"{name}\" names column {} and column {}; every name may stand once", first + 1, k + 1),
            )
            .at_line(line)
            .at_column(k as u64 + 1));
        }
    }
    Ok(names)
}

/// The delimiter that parts the line of names outside quotes most often; a comma where nothing parts it.
fn delimiter(text: &str) -> u8 {
    let line = text.lines().find(|l| !l.trim().is_empty()).unwrap_or_default();
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    for byte in line.bytes() {
        quoted ^= byte == b'"';
        if let Some(count) = counts.iter_mut().find(|c| c.0 == byte && !quoted) {
            count.1 += 1;
        }
    }
    // Of equals the first: max_by_key would take the last.
    counts.iter().rev().max_by_key(|c| c.1).map_or(b',', |c| c.0)
}

/// True where some cell can only be a number with a decimal comma and none is one with a point.
fn decimal_comma<'a>(cells: impl Iterator<Item = &'a String>) -> bool {
    let (mut commas, mut points) = (false, false);
    for cell in cells {
        let bytes = cell.as_bytes();
        if bytes.contains(&b',') {
            commas |= number::whole(bytes, b',').is_some() && !fits_groups(bytes, b',');
        } else if bytes.contains(&b'.') {
            points |= number::whole(bytes, b'.').is_some();
        }
    }
    commas && !points
}

/// Lines of records: the csv crate's own count is one off behind CR LF, and a quoted cell may hold line ends.
struct Lines<'a> {
    text: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// Line of the record found from byte `from` on; line ends before its first character are skipped.
    fn of_record(&mut self, from: usize) -> u64 {
        let mut start = from.max(self.at);
        while matches!(self.text.get(start), Some(b'\r' | b'\n')) {
            start += 1;
        }
        let passed = &self.text[self.at..start];
        let lone = |i: usize| passed[i] == b'\r' && passed.get(i + 1) != Some(&b'\n');
        self.line += (0..passed.len()).filter(|&i| passed[i] == b'\n' || lone(i)).count() as u64;
        self.at = start;
        self.line
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_numbers_and_missing_cells() {
        let t = Table::from_bytes("log.csv", b" Run , sample,volume (uL),2-propanol (% v/v),note\r\n1,\"a, b\",0.3,,\r\n\r\n,,,\r\n2,#read(\"x\"),\"0,4\",1e-1\r\n")
            .expect("a table");
        assert_eq!(t.headers()[3], "2-propanol (% v/v)");
        assert_eq!(t.column("RUN").expect("there"), 0);
        assert_eq!((t.rows.len(), t.rows[0].line, t.rows[1].line), (2, 2, 5));
        assert_eq!(t.rows[0].text("sample"), Some("a, b"));
        assert_eq!(t.rows[1].text("Sample"), Some("#read(\"x\")"));
        assert_eq!(t.rows[1].number("Volume (\u{b5}L)").expect("a number"), Some(0.4));
        assert_eq!(t.rows[0].number("note").expect("missing"), None);
        assert_eq!(t.rows[0].number("no such").expect("missing"), None);
        assert!(t.column("dilution").expect_err("none").to_string().contains("columns: Run, sample"));
    }

    #[test]
    fn decimal_comma_and_doubt() {
        let t = Table::from_bytes("t.csv", b"a;b\n0,5;1,204\n").expect("a table");
        assert_eq!(t.rows[0].number("b").expect("decimals"), Some(1.204));
        let t = Table::from_bytes("t.csv", b"a;b\n5;1,204\n").expect("a table");
        let e = t.rows[0].number("b").expect_err("ambiguous");
        assert_eq!((e.kind(), e.line(), e.column()), (ErrorKind::Ambiguous, Some(2), Some(2)));
        let t = Table::from_bytes("t.tsv", b"a\tb\n12a\tnan\n").expect("a table");
        assert!(t.rows[0].number("a").expect_err("letters").to_string().contains("\"12a\" is not a number"));
        assert!(t.rows[0].number("b").is_err());
    }

    #[test]
    fn what_is_no_table() {
        for (bytes, word) in [
            (&b""[..], "empty"),
            (b"\n\n", "no names"),
            (b"a,b\n1,\"x\n2,y\n", "line 2: a double quote is not closed"),
            (b"a,b,A\n1,2,3\n", "column 1 and column 3"),
            (b"a,b\n1,2,3\n", "only 2 columns are named"),
        ] {
            let e = Table::from_bytes("t.csv", bytes).expect_err(word).to_string();
            assert!(e.starts_with("t.csv") && e.contains(word), "{e}");
        }
    }

    #[test]
    fn encodings_and_quoted_line_ends() {
        let t =
            Table::from_bytes("t.csv", b"name;Wert\r\nGr\xfcn;1\r\n\"zwei\nZeilen\";2\r\nrot;3\r\n").expect("a table");
        let lines: Vec<u64> = t.rows.iter().map(|r| r.line).collect();
        assert_eq!((t.rows[0].text("name"), lines), (Some("Gr\u{fc}n"), vec![2, 3, 5]));
    }
}
