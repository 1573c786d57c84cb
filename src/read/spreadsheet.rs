//! Spreadsheets (.xlsx, .ods): a sheet's cells as rows of text, which then go the way of any delimited text.
//!
//! Numbers pass to the last bit, dates and times as text ([`sheet_dates`]). Formulas are never evaluated: the value that the file
//! stores beside a formula is read. Hidden sheets are left aside, with a note.

use std::collections::HashSet;
use std::io::{Cursor, Read};

use calamine::{CellErrorType, Data, DataRef, Ods, Reader, SheetVisible, Xlsx};

use super::delimited::{self, Found};
use super::format;
use super::options::{ColumnChoice, DecimalMark, Delimiter, ReadOptions};
use super::sheet_dates;
use crate::error::{Error, ErrorKind, Result};

/// Cells that a sheet may hold: 80 columns of 50,000 rows; our own choice, against crafted files.
const MOST_CELLS: usize = 4_000_000;
/// Empty cells between filled ones that any sheet may have, beyond 16 for each filled one; our own choice.
const MOST_GAPS: usize = 100_000;
/// Bytes that a file may unpack to, per byte of the file and beyond that; a sheet of one repeated number reaches 60.
const MOST_UNPACKED: (u64, u64) = (100, 4 << 20);

/// True for a zip archive that holds a workbook.
pub(super) fn is_one(bytes: &[u8]) -> bool {
    let has = |name: &[u8]| memchr::memmem::find(bytes, name).is_some();
    bytes.starts_with(b"PK\x03\x04") && (is_ods(bytes) || has(b"xl/workbook") || has(b"xl/worksheets"))
}

fn is_ods(bytes: &[u8]) -> bool {
    // The standard puts the media type first and unpacked.
    memchr::memmem::find(&bytes[..bytes.len().min(512)], b"application/vnd.oasis.opendocument.spreadsheet").is_some()
}

/// The one trace of the workbook's first sheet with numbers, or of the sheet that the option names.
pub(super) fn read_one(bytes: &[u8], options: &ReadOptions) -> Result<Found> {
    let sheet = load(bytes, options.sheet.as_ref(), mark(options))?;
    let found = delimited::read_one(&sheet.text, &inner(options)).map_err(|e| sheet.place(e))?;
    Ok(sheet.noted(found))
}

/// Every trace of that sheet.
pub(super) fn read_all(bytes: &[u8], options: &ReadOptions) -> Result<Vec<Found>> {
    let sheet = load(bytes, options.sheet.as_ref(), mark(options))?;
    let found = delimited::read_all(&sheet.text, &inner(options)).map_err(|e| sheet.place(e))?;
    Ok(found.into_iter().map(|f| sheet.noted(f)).collect())
}

/// The first visible sheet that holds anything, as tab-separated text with one line per row: for small tables.
pub(super) fn table_text(bytes: &[u8]) -> Result<String> {
    let mut book = Book::open(bytes)?;
    for name in book.visible.clone() {
        let cells = book.cells(&name)?;
        if !cells.list.is_empty() {
            return cells.text(b'.');
        }
    }
    Err(empty())
}

/// A sheet as text.
struct Sheet {
    text: String,
    name: String,
    format: &'static str,
    several: bool,
    notes: Vec<String>,
}

impl Sheet {
    fn place(&self, e: Error) -> Error {
        if self.several { e.at_field(format!("sheet \"{}\"", self.name)) } else { e }
    }

    fn noted(&self, mut found: Found) -> Found {
        let note = &mut found.note;
        note.format = format!("spreadsheet ({}), sheet \"{}\"", self.format, self.name);
        note.encoding = "none (workbook)".into();
        note.delimiter = "none (cells)".into();
        note.suspicions.splice(0..0, self.notes.iter().cloned());
        found
    }
}

fn mark(options: &ReadOptions) -> u8 {
    options.decimal_mark.unwrap_or(DecimalMark::Point).byte()
}

/// What the sheet's text was written with; a study's options for its text files say nothing about cells.
fn inner(options: &ReadOptions) -> ReadOptions {
    ReadOptions {
        delimiter: Some(Delimiter::Tab),
        decimal_mark: options.decimal_mark.or(Some(DecimalMark::Point)),
        encoding: None,
        ..options.clone()
    }
}

fn load(bytes: &[u8], choice: Option<&ColumnChoice>, mark: u8) -> Result<Sheet> {
    let mut book = Book::open(bytes)?;
    let mut notes = book.notes.clone();
    let names = book.visible.clone();
    let chosen = match choice {
        Some(choice) => {
            let all = book.all.clone();
            let at = format::choose(&all, choice).map_err(|_| {
                Error::new(ErrorKind::NotFound, format!("the option sheet is {choice}, but there is no such sheet"))
                    .hint(format!("sheets: {}", format::list(&all)))
            })?;
            Some((all[at].clone(), book.cells(&all[at])?))
        }
        None => {
            let mut found = None;
            for name in &names {
                let cells = book.cells(name)?;
                if cells.list.iter().filter(|c| matches!(c.value, Value::Number(_))).nth(1).is_some() {
                    found = Some((name.clone(), cells));
                    break;
                }
            }
            found
        }
    };
    let Some((name, cells)) = chosen else { return Err(empty()) };
    let others: Vec<String> = names.iter().filter(|n| **n != name).map(|n| format!("\"{n}\"")).collect();
    if !others.is_empty() {
        let others = others.iter().take(6).cloned().collect::<Vec<_>>().join(", ");
        notes.push(format!("other sheets were left aside: {others} (option sheet)"));
    }
    if cells.formulas > 0 {
        notes.push(format!("{} cells hold formulas; the values stored beside them were read", cells.formulas));
    }
    if cells.dates > 0 {
        notes.push(format!("{} cells hold dates or times, read as year-month-day and clock", cells.dates));
    }
    Ok(Sheet { text: cells.text(mark)?, name, format: book.format(), several: book.all.len() > 1, notes })
}

/// An open workbook.
struct Book<'a> {
    kind: Kind<'a>,
    all: Vec<String>,
    visible: Vec<String>,
    notes: Vec<String>,
}

enum Kind<'a> {
    Xlsx(Box<Xlsx<Cursor<&'a [u8]>>>),
    Ods(Box<Ods<Cursor<&'a [u8]>>>),
}

impl<'a> Book<'a> {
    fn open(bytes: &'a [u8]) -> Result<Self> {
        let ods = is_ods(bytes);
        look_before(bytes, ods)?;
        let (kind, sheets) = if ods {
            let book = Ods::new(Cursor::new(bytes)).map_err(damaged)?;
            let sheets = book.sheets_metadata().to_vec();
            (Kind::Ods(Box::new(book)), sheets)
        } else {
            let book = Xlsx::new(Cursor::new(bytes)).map_err(damaged)?;
            let sheets = book.sheets_metadata().to_vec();
            (Kind::Xlsx(Box::new(book)), sheets)
        };
        let all = sheets.iter().map(|s| s.name.clone()).collect();
        let (visible, hidden): (Vec<_>, Vec<_>) = sheets.iter().partition(|s| s.visible == SheetVisible::Visible);
        let name = |s: &&calamine::Sheet| s.name.clone();
        let mut notes = Vec::new();
        if !hidden.is_empty() {
            let hidden: Vec<String> = hidden.iter().take(6).map(|s| format!("\"{}\"", s.name)).collect();
            notes.push(format!("hidden sheets were left aside: {}", hidden.join(", ")));
        }
        Ok(Book { kind, all, visible: visible.iter().map(name).collect(), notes })
    }

    fn format(&self) -> &'static str {
        match self.kind {
            Kind::Xlsx(_) => ".xlsx",
            Kind::Ods(_) => ".ods",
        }
    }

    fn cells(&mut self, name: &str) -> Result<Cells> {
        let mut cells = Cells::default();
        match &mut self.kind {
            // Cell by cell: a lone value in the last corner of a sheet must not cost a whole rectangle.
            Kind::Xlsx(book) => {
                let mut reader = book.worksheet_cells_reader(name).map_err(damaged)?;
                while let Some(cell) = reader.next_cell_with_formula().map_err(damaged)? {
                    let (row, column) = cell.pos;
                    cells.push(row, column, Value::from_ref(&cell.value), cell.formula.as_deref())?;
                }
            }
            Kind::Ods(book) => {
                let range = book.worksheet_range(name).map_err(damaged)?;
                let formulas = book.worksheet_formula(name).map_err(damaged)?;
                let Some((top, left)) = range.start() else { return Ok(cells) };
                for (r, c, data) in range.used_cells() {
                    let (row, column) = (top + r as u32, left + c as u32);
                    let formula = formulas.get_value((row, column)).filter(|f| !f.is_empty());
                    cells.push(row, column, Value::from_data(data), formula.map(String::as_str))?;
                }
            }
        }
        Ok(cells)
    }
}

#[derive(Default)]
struct Cells {
    list: Vec<Cell>,
    formulas: usize,
    dates: usize,
}

struct Cell {
    row: u32,
    column: u32,
    value: Value,
}

enum Value {
    Nothing,
    Number(f64),
    Text(String),
    Date(String),
}

impl Cells {
    fn push(&mut self, row: u32, column: u32, value: Value, formula: Option<&str>) -> Result<()> {
        let value = match (value, formula) {
            // No value was stored: the formula itself shows in the sentence that wants a number here.
            (Value::Nothing, Some(formula)) => {
                let formula: String =
                    formula.trim_start_matches("of:").trim_start_matches('=').chars().take(40).collect();
                Value::Text(format!("formula without a stored value: {formula}"))
            }
            (Value::Nothing, None) => return Ok(()),
            (value, formula) => {
                self.formulas += usize::from(formula.is_some());
                value
            }
        };
        self.dates += usize::from(matches!(value, Value::Date(_)));
        if self.list.len() >= MOST_CELLS {
            return Err(too_large());
        }
        self.list.push(Cell { row, column, value });
        Ok(())
    }

    /// Tab-separated text, one line per row of the sheet, so that line numbers are row numbers.
    fn text(mut self, mark: u8) -> Result<String> {
        self.list.sort_by_key(|c| (c.row, c.column));
        let mut out = String::new();
        let with_clock: HashSet<u32> = self
            .list
            .iter()
            .filter(|c| matches!(&c.value, Value::Date(t) if t.contains(':')))
            .map(|c| c.column)
            .collect();
        let most = MOST_GAPS + 16 * self.list.len();
        let (mut row, mut column, mut gaps) = (0, 0, 0);
        for cell in &self.list {
            // Counted before anything is written: a lone cell in the last corner must not cost a million lines.
            let tabs = cell.column.saturating_sub(if cell.row > row { 0 } else { column }) as usize;
            gaps += (cell.row - row) as usize + tabs;
            if gaps > most {
                return Err(Error::new(
                    ErrorKind::Format,
                    format!("the sheet spans more than {most} empty cells before this one; that is no trace"),
                )
                .at_line(u64::from(cell.row) + 1)
                .at_column(u64::from(cell.column) + 1)
                .hint("delete what lies far from the table, or save the table as CSV"));
            }
            if cell.row > row {
                out.extend(std::iter::repeat_n('\n', (cell.row - row) as usize));
                (row, column) = (cell.row, 0);
            }
            out.extend(std::iter::repeat_n('\t', tabs));
            column = column.max(cell.column);
            match &cell.value {
                Value::Nothing => {}
                Value::Number(v) => number(*v, mark, &mut out),
                Value::Date(t) if with_clock.contains(&cell.column) => text(&sheet_dates::at_midnight(t), &mut out),
                Value::Text(t) | Value::Date(t) => text(t, &mut out),
            }
        }
        out.push('\n');
        Ok(out)
    }
}

impl Value {
    fn from_ref(data: &DataRef<'_>) -> Value {
        match data {
            DataRef::SharedString(t) => Value::of_text(t),
            other => Value::from_data(&Data::from(other.clone())),
        }
    }

    fn from_data(data: &Data) -> Value {
        match data {
            Data::Int(v) => Value::Number(*v as f64),
            Data::Float(v) if v.is_finite() => Value::Number(*v),
            Data::String(t) => Value::of_text(t),
            Data::Bool(b) => Value::Text(if *b { "TRUE" } else { "FALSE" }.into()),
            Data::DateTime(t) => Value::Date(sheet_dates::of_serial(t)),
            Data::DateTimeIso(t) | Data::DurationIso(t) => Value::Date(sheet_dates::of_iso(t)),
            Data::Float(_) | Data::Error(CellErrorType::NA) => Value::Text("NA".into()),
            Data::Error(e) => Value::Text(format!("error {}", e.to_string().trim_matches('#'))),
            Data::Empty => Value::Nothing,
        }
    }

    fn of_text(text: &str) -> Value {
        if text.trim().is_empty() { Value::Nothing } else { Value::Text(text.trim().to_owned()) }
    }
}

/// The shortest digits that give the same bits back.
fn number(value: f64, mark: u8, out: &mut String) {
    let size = value.abs();
    let digits = if size != 0.0 && !(1e-5..1e16).contains(&size) { format!("{value:e}") } else { format!("{value}") };
    if mark == b',' { out.push_str(&digits.replace('.', ",")) } else { out.push_str(&digits) }
}

/// Text on one line; quotes are doubled inside quotes.
fn text(text: &str, out: &mut String) {
    let flat = text.replace(['\t', '\n', '\r'], " ");
    if flat.contains('"') {
        out.push('"');
        out.push_str(&flat.replace('"', "\"\""));
        out.push('"');
    } else {
        out.push_str(&flat);
    }
}

/// Unpacks the archive once into nothing, to know its size, and counts the cells that an .ods file would repeat.
fn look_before(bytes: &[u8], ods: bool) -> Result<()> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    let most = bytes.len() as u64 * MOST_UNPACKED.0 + MOST_UNPACKED.1;
    let mut total = 0u64;
    let mut chunk = vec![0; 32 << 10];
    for i in 0..archive.len() {
        // Encrypted or otherwise packed entries are for the workbook's reader to refuse.
        let Ok(mut entry) = archive.by_index(i) else { continue };
        let content = ods && entry.name().is_ok_and(|n| n == "content.xml");
        let mut repeats = Repeats::default();
        loop {
            let n = match entry.read(&mut chunk) {
                Ok(0) => break,
                Ok(n) => n,
                Err(e) => return Err(damaged(e)),
            };
            total += n as u64;
            if total > most {
                return Err(Error::new(
                    ErrorKind::Format,
                    format!(
                        "this archive of {} bytes unpacks to more than {most}; that is no table of numbers",
                        bytes.len()
                    ),
                )
                .hint("save the sheet as CSV"));
            }
            if content {
                chunk[..n].iter().try_for_each(|b| repeats.push(*b))?;
            }
        }
    }
    Ok(())
}

/// Adds up `…-repeated` attributes of cells that hold something, tag by tag.
#[derive(Default)]
struct Repeats {
    tag: Vec<u8>,
    inside: bool,
    /// Rows that the current row stands for, cells in it, and empty ones that wait for a filled one.
    rows: usize,
    cells: usize,
    waiting: usize,
    total: usize,
}

impl Repeats {
    fn push(&mut self, byte: u8) -> Result<()> {
        match byte {
            b'<' => {
                self.tag.clear();
                self.inside = true;
            }
            b'>' if self.inside => {
                self.inside = false;
                return self.tag();
            }
            // Attributes of a cell are short; a kilobyte keeps any of them.
            _ if self.inside && self.tag.len() < 1024 => self.tag.push(byte),
            _ => {}
        }
        Ok(())
    }

    fn tag(&mut self) -> Result<()> {
        let tag = String::from_utf8_lossy(&self.tag);
        let name = tag.split(|c: char| c.is_whitespace() || c == '/').next().unwrap_or_default();
        let repeated = |attribute: &str| -> usize {
            let value = tag.split_once(attribute).and_then(|(_, rest)| rest.split(['"', '\'']).nth(1));
            value.and_then(|v| v.trim().parse().ok()).unwrap_or(1)
        };
        match name {
            "table:table-row" => {
                self.rows = repeated("table:number-rows-repeated").max(1);
                (self.cells, self.waiting) = (0, 0);
            }
            "table:table-cell" | "table:covered-table-cell" => {
                let n = repeated("table:number-columns-repeated").min(16_384);
                if tag.ends_with('/') && !tag.contains("office:") && !tag.contains("table:formula") {
                    self.waiting += n;
                    return Ok(());
                }
                let more = n.saturating_add(std::mem::take(&mut self.waiting));
                self.cells = self.cells.saturating_add(more);
                self.total = self.total.saturating_add(more.saturating_mul(self.rows.min(1_048_576)));
                if self.total > MOST_CELLS {
                    return Err(too_large());
                }
            }
            _ => {}
        }
        Ok(())
    }
}

fn damaged(e: impl std::error::Error + Send + Sync + 'static) -> Error {
    Error::new(ErrorKind::Format, "this spreadsheet cannot be opened; it is damaged or protected")
        .because(e)
        .hint("open it, remove the protection and save it again, or save the sheet as CSV")
}

fn too_large() -> Error {
    Error::new(ErrorKind::Format, format!("the sheet spans more than {MOST_CELLS} cells; that is no trace"))
        .hint("delete what lies far from the table, or save the table as CSV")
}

fn empty() -> Error {
    Error::new(ErrorKind::Format, "no visible sheet holds numbers; rows of time and signal are wanted")
        .hint("show the sheet, or set the option sheet")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back_to_the_last_bit() {
        for value in [0.1, 1.0 / 3.0, -2.5e-9, 6.02214076e23, 0.0, 12_000.0, f64::MIN_POSITIVE] {
            let mut out = String::new();
            number(value, b'.', &mut out);
            assert_eq!(out.parse::<f64>().expect("a number").to_bits(), value.to_bits(), "{out}");
        }
    }

    #[test]
    fn repeated_cells_are_counted_before_they_are_made() {
        let mut r = Repeats::default();
        let empty = b"<table:table-row table:number-rows-repeated=\"1048576\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>";
        assert!(empty.iter().try_for_each(|b| r.push(*b)).is_ok() && r.total == 0);
        let full = b"<table:table-row table:number-rows-repeated='1048576'><table:table-cell office:value-type=\"float\" table:number-columns-repeated=\"16384\">";
        assert!(full.iter().try_for_each(|b| r.push(*b)).is_err());
    }
}
