//! One pass over the text: rows of numbers to columns, block by block; what does not fit ends a block.
//!
//! A row that is all plain numbers goes through [`fast`], which touches each byte once; every other row is
//! looked at cell by cell.

use std::collections::HashMap;

use super::buffers;
use super::cells::{self, Cell, Class, Dialect, classify, next_line, shown, split};
use super::clock::Clock;
use super::fast;
use super::options::Delimiter;

/// Rows looked at to learn what each column of a block holds; our own choice.
const PROBE_ROWS: usize = 16;

/// A run of rows that belong together.
#[derive(Debug, Default)]
pub(crate) struct Block {
    pub(crate) columns: Vec<Column>,
    pub(crate) rows: usize,
    /// Byte range of the block in the text.
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Line of the first row.
    pub(crate) first_line: u64,
    /// Line of the last row.
    pub(crate) last_line: u64,
    /// (row, lines skipped before it beyond those of earlier entries): sorted by row.
    skips: Vec<(usize, u64)>,
    /// (first row, group): text columns that say to which trace the rows belong; sorted by row.
    pub(crate) segments: Vec<(usize, usize)>,
    /// Text cells of each group, parted by " / ".
    pub(crate) groups: Vec<String>,
    /// Comment lines inside the block, and one of them.
    pub(crate) comments: usize,
    keys: HashMap<String, usize>,
    scratch: Vec<Cell>,
}

/// One column of a block.
#[derive(Clone, Debug, Default)]
pub(crate) struct Column {
    /// False for a column of text; it then has no values.
    pub(crate) numeric: bool,
    /// NaN where a cell is missing or bad.
    pub(crate) values: Vec<f64>,
    /// Most decimal places written.
    pub(crate) scale: i32,
    /// Cells without a number.
    pub(crate) bad: Vec<BadCell>,
    /// Number of cells without a number; `bad` keeps only the first few.
    pub(crate) missing: usize,
    /// Where the cells were clock times, now seconds.
    pub(crate) clock: Option<Clock>,
    /// The raw text cell of the row before.
    pub(super) last: Cell2,
}

/// A cell of a numeric column that holds no number.
#[derive(Clone, Debug)]
pub(crate) struct BadCell {
    pub(crate) row: usize,
    pub(crate) line: u64,
    /// Byte where that line starts.
    at: usize,
    pub(crate) text: String,
    /// Empty or a word such as "n.a.", as opposed to letters in a number.
    pub(crate) missing: bool,
}

/// Raw byte range of a cell with the blanks and quotes around it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cell2 {
    pub(super) start: usize,
    pub(super) end: usize,
}

impl Column {
    /// The column itself; an empty one stays behind.
    pub(crate) fn take(&mut self) -> Column {
        let empty = self.empty_like();
        std::mem::replace(self, empty)
    }

    /// No rows, the same kind.
    pub(crate) fn empty_like(&self) -> Column {
        Column { numeric: self.numeric, scale: self.scale, clock: self.clock, ..Column::default() }
    }

    /// Appends the rows `from..to` of `other`; the first becomes row `at`.
    pub(crate) fn extend_from(&mut self, other: &Column, from: usize, to: usize, at: usize) {
        if !self.numeric {
            return;
        }
        self.values.extend_from_slice(&other.values[from..to]);
        self.missing += other.values[from..to].iter().filter(|v| v.is_nan()).count();
        let inside = other.bad.iter().filter(|b| (from..to).contains(&b.row));
        self.bad.extend(inside.map(|b| BadCell { row: b.row - from + at, ..b.clone() }));
    }
}

enum Row {
    Taken,
    Skipped,
    Ends,
}

/// All blocks of the text from byte `start`, which is the start of line `line`.
pub(crate) fn scan(text: &[u8], dialect: Dialect, start: usize, line: u64) -> Vec<Block> {
    let mut blocks = Vec::new();
    let (mut pos, mut line) = (start, line);
    let mut cells = Vec::new();
    while pos < text.len() {
        let end = cells::line_end(text, pos);
        let content = &text[pos..end];
        if content.iter().any(u8::is_ascii_digit)
            && !cells::is_comment(content)
            && let Some(mut block) = Block::open(text, pos, end, dialect, &mut cells)
        {
            block.first_line = line;
            (pos, line) = block.fill(text, dialect, pos, line);
            block.drop_trailing();
            blocks.push(block);
            continue;
        }
        pos = next_line(text, end);
        line += 1;
    }
    blocks
}

impl Block {
    /// Line of a row.
    pub(crate) fn line_of(&self, row: usize) -> u64 {
        let upto = self.skips.partition_point(|s| s.0 <= row);
        self.first_line + row as u64 + if upto == 0 { 0 } else { self.skips[upto - 1].1 }
    }

    /// Columns that hold at least one number.
    pub(crate) fn numeric_columns(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.columns.len()).filter(|&c| self.columns[c].numeric && self.columns[c].missing < self.rows)
    }

    /// Opens a block at the line `pos..end` if it is a row of data; the rows below say what each column holds.
    fn open(text: &[u8], pos: usize, end: usize, dialect: Dialect, cells: &mut Vec<Cell>) -> Option<Block> {
        split(text, pos, end, dialect.delimiter, cells);
        let width = cells.len();
        let first: Vec<Class> = cells.iter().map(|c| classify(c.of(text), dialect)).collect();
        if !first.iter().any(|c| matches!(c, Class::Number(_))) {
            return None;
        }
        // Numbers and texts per column, over this row and the rows below that have its width.
        let mut tally = vec![(0_usize, 0_usize); width];
        let (mut at, mut stop) = (pos, end);
        for _ in 0..PROBE_ROWS {
            split(text, at, stop, dialect.delimiter, cells);
            if cells.len() != width {
                break;
            }
            for (cell, t) in cells.iter().zip(&mut tally) {
                match classify(cell.of(text), dialect) {
                    Class::Number(_) => t.0 += 1,
                    Class::Missing => {}
                    Class::Text | Class::Broken => t.1 += 1,
                }
            }
            at = next_line(text, stop);
            if at >= text.len() {
                break;
            }
            stop = cells::line_end(text, at);
        }
        let numeric: Vec<bool> = tally.iter().map(|t| t.0 >= t.1).collect();
        let mut numbers = 0;
        for (class, numeric) in first.iter().zip(&numeric) {
            match class {
                Class::Number(_) if *numeric => numbers += 1,
                Class::Text | Class::Broken if *numeric => return None,
                _ => {}
            }
        }
        if numbers == 0 {
            return None;
        }
        // Capacity from the length of the first row: reallocation would be a quarter of the work.
        let rows = (text.len() - pos) / (end - pos + 1) + 16;
        let columns = numeric
            .into_iter()
            .map(|numeric| Column {
                numeric,
                values: if numeric { buffers::column(rows) } else { Vec::new() },
                ..Column::default()
            })
            .collect();
        Some(Block { columns, start: pos, end: pos, ..Block::default() })
    }

    /// Takes rows until one does not belong; returns where that line starts, and its number.
    fn fill(&mut self, text: &[u8], dialect: Dialect, mut pos: usize, mut line: u64) -> (usize, u64) {
        let grouped = self.columns.iter().any(|c| !c.numeric);
        let mark = dialect.mark.byte();
        // Where pairs do not get through, they are tried again only after a while.
        let mut pairs_from = if self.columns.len() == 2 && !grouped { 0 } else { usize::MAX };
        while pos < text.len() {
            if self.rows >= pairs_from
                && let [a, b] = self.columns.as_mut_slice()
            {
                let next = fast::pair_rows(text, pos, fast::sign_of(dialect.delimiter), mark, a, b);
                let taken = a.values.len() - self.rows;
                if taken > 0 {
                    self.rows += taken;
                    line += taken as u64;
                    self.last_line = line - 1;
                    pos = next;
                    self.end = pos;
                    continue;
                }
                pairs_from = self.rows + 256;
            }
            let end = match fast::plain_row(&mut self.columns, text, pos, dialect.delimiter, mark) {
                Some(end) => {
                    self.rows += 1;
                    end
                }
                None => {
                    for column in self.columns.iter_mut().filter(|c| c.numeric) {
                        column.values.truncate(self.rows);
                    }
                    let end = cells::line_end(text, pos);
                    match self.slow_row(text, pos, end, line, dialect, grouped) {
                        Row::Taken => {}
                        Row::Skipped => {
                            let skipped = self.skips.last().map_or(0, |s| s.1) + 1;
                            match self.skips.last_mut() {
                                Some(s) if s.0 == self.rows => s.1 = skipped,
                                _ => self.skips.push((self.rows, skipped)),
                            }
                            pos = next_line(text, end);
                            line += 1;
                            continue;
                        }
                        Row::Ends => break,
                    }
                    end
                }
            };
            self.last_line = line;
            pos = next_line(text, end);
            line += 1;
            self.end = pos;
        }
        // A short block gives the room for a whole file back, or many blocks would take it many times.
        for column in self.columns.iter_mut().filter(|c| c.values.capacity() > 4 * self.rows + 64) {
            let values = column.values.clone();
            buffers::give_column(std::mem::replace(&mut column.values, values));
        }
        // Blank and comment lines behind the last row are not part of the block.
        (self.end, self.last_line + 1)
    }

    fn slow_row(&mut self, text: &[u8], pos: usize, end: usize, line: u64, dialect: Dialect, grouped: bool) -> Row {
        let content = &text[pos..end];
        if cells::is_blank(content) {
            return Row::Skipped;
        }
        if cells::is_comment(content) {
            self.comments += 1;
            return Row::Skipped;
        }
        let mut cells = std::mem::take(&mut self.scratch);
        split(text, pos, end, dialect.delimiter, &mut cells);
        let row = self.take_cells(text, &cells, (pos, line), dialect);
        if grouped && matches!(row, Row::Taken) {
            self.note_group(text, pos, end, &cells, dialect.delimiter);
        }
        self.scratch = cells;
        row
    }

    fn take_cells(&mut self, text: &[u8], cells: &[Cell], (at, line): (usize, u64), dialect: Dialect) -> Row {
        let width = self.columns.len();
        if cells.iter().all(|c| c.start == c.end) {
            return Row::Skipped;
        }
        if cells.len() > width && cells[width..].iter().any(|c| c.start < c.end) {
            return Row::Ends;
        }
        // A shorter row is whole where the columns it lacks were empty all along, or where a run beside it has ended.
        if cells.len() < width
            && self.columns[cells.len()..].iter().any(|c| !c.numeric || (c.missing < self.rows || self.rows == 0))
            && !self.goes_on(text, cells, dialect)
        {
            return Row::Ends;
        }
        let (mut numbers, mut digits) = (0, false);
        let classes: Vec<Class> = (0..width)
            .map(|k| {
                let bytes = cells.get(k).map_or(&b""[..], |c| c.of(text));
                let class = classify(bytes, dialect);
                if self.columns[k].numeric {
                    numbers += usize::from(matches!(class, Class::Number(_)));
                    let unsigned = bytes.strip_prefix(b"-").or(bytes.strip_prefix(b"+")).unwrap_or(bytes);
                    digits |= unsigned.first().is_some_and(u8::is_ascii_digit);
                }
                class
            })
            .collect();
        if numbers == 0 && !digits {
            return Row::Ends;
        }
        for (k, class) in classes.into_iter().enumerate() {
            let (row, column) = (self.rows, &mut self.columns[k]);
            if !column.numeric {
                continue;
            }
            match class {
                Class::Number(n) => {
                    column.values.push(n.value);
                    column.scale = column.scale.max(n.scale);
                }
                _ => {
                    column.values.push(f64::NAN);
                    column.missing += 1;
                    // The first few, and every cell with letters: those decide between an error and a trailing line.
                    if column.bad.len() < 8 || class != Class::Missing {
                        let bytes = cells.get(k).map_or(&b""[..], |c| c.of(text));
                        column.bad.push(BadCell {
                            row,
                            line,
                            at,
                            text: shown(bytes),
                            missing: class == Class::Missing,
                        });
                    }
                }
            }
        }
        self.rows += 1;
        Row::Taken
    }

    /// True for a row of a wide table whose last runs have ended: at least two numbers, all cells numbers or empty, and the
    /// first column goes on rising.
    fn goes_on(&self, text: &[u8], cells: &[Cell], dialect: Dialect) -> bool {
        if self.columns.len() < 4 || cells.len() < 2 || self.rows < 2 || self.columns.iter().any(|c| !c.numeric) {
            return false;
        }
        let numbers: Vec<Option<f64>> = cells
            .iter()
            .map(|c| match classify(c.of(text), dialect) {
                Class::Number(n) => Some(Some(n.value)),
                Class::Missing => Some(None),
                Class::Text | Class::Broken => None,
            })
            .collect::<Option<Vec<_>>>()
            .unwrap_or_default();
        let Some((first, value)) = numbers.iter().enumerate().find_map(|(k, v)| Some((k, (*v)?))) else { return false };
        numbers.iter().flatten().count() >= 2 && value > self.columns[first].values[self.rows - 1]
    }

    /// Notes to which group the row just taken belongs, and the raw text cells for the fast path.
    fn note_group(&mut self, text: &[u8], pos: usize, end: usize, cells: &[Cell], delimiter: Delimiter) {
        let mut key = String::new();
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            if column.numeric {
                continue;
            }
            if !key.is_empty() {
                key.push_str(" / ");
            }
            key.push_str(&cells::text_of(cell.of(text)));
            let quoted = cell.start > pos && text[cell.start - 1] == b'"' && text.get(cell.end) == Some(&b'"');
            let around = usize::from(quoted);
            column.last = Cell2 { start: cell.start - around, end: (cell.end + around).min(end) };
            // An empty or blank-padded cell has no raw text to compare with: the slow path takes it.
            if cell.start == cell.end || delimiter == Delimiter::OneColumn {
                column.last = Cell2::default();
            }
        }
        let group = match self.keys.get(&key) {
            Some(&group) => group,
            None => {
                self.groups.push(key.clone());
                self.keys.insert(key, self.groups.len() - 1);
                self.groups.len() - 1
            }
        };
        if self.segments.last().is_none_or(|s| s.1 != group) {
            self.segments.push((self.rows - 1, group));
        }
    }

    /// Takes back rows at the end whose first cell is words: lines behind the table, not numbers gone wrong.
    fn drop_trailing(&mut self) {
        let rows = self.rows;
        while self.rows > 1 {
            let last = self.rows - 1;
            let Some(bad) = self.columns[0].bad.last().filter(|b| b.row == last && is_words(&b.text)) else { break };
            self.end = bad.at;
            for column in self.columns.iter_mut().filter(|c| c.numeric) {
                if column.values.pop().is_some_and(f64::is_nan) {
                    column.missing -= 1;
                }
                if column.bad.last().is_some_and(|b| b.row == last) {
                    column.bad.pop();
                }
            }
            self.rows = last;
        }
        if self.rows < rows {
            self.segments.retain(|s| s.0 < self.rows);
            self.last_line = self.line_of(self.rows - 1);
        }
    }
}

/// Three letters or more that do not start as a number.
fn is_words(text: &str) -> bool {
    let unsigned = text.trim_start_matches(['-', '+']);
    !unsigned.starts_with(|c: char| c.is_ascii_digit()) && text.chars().filter(|c| c.is_alphabetic()).count() >= 3
}

#[cfg(test)]
mod tests {
    use super::super::options::DecimalMark;
    use super::*;

    const COMMA: Dialect = Dialect { delimiter: Delimiter::Comma, mark: DecimalMark::Point, thousands: false };

    fn blocks(text: &str, dialect: Dialect) -> Vec<Block> {
        scan(text.as_bytes(), dialect, 0, 1)
    }

    #[test]
    fn rows_lines_and_skipped_lines() {
        let b = &blocks("t,s\n0,1\n\n# note\n1,2\n2,3\n", COMMA)[0];
        assert_eq!((b.rows, b.first_line, b.last_line, b.comments), (3, 2, 6, 1));
        assert_eq!((b.line_of(0), b.line_of(1), b.line_of(2)), (2, 5, 6));
        assert_eq!(b.columns[1].values, [1.0, 2.0, 3.0]);
    }

    #[test]
    fn several_blocks_and_a_trailing_line() {
        let b = blocks("[Peaks]\n1,2.5,3,9\n[Trace]\nmin,counts\n0.0,3\n0.1,4\nEVENT=2,3863\n", COMMA);
        assert_eq!(b.len(), 2);
        assert_eq!((b[1].rows, b[1].columns.len()), (2, 2));
        assert_eq!((b[1].last_line, b[1].end), (6, 49));
        let b = blocks("0.0,3\n0.1,4\nEVENT=2,3863,5928\n", COMMA);
        assert_eq!((b.len(), b[0].rows, b[0].end, b[1].rows), (2, 2, 12, 1));
    }

    #[test]
    fn bad_cells_keep_their_place() {
        let b = &blocks("0,1\n1,12a\n2,n.a.\n3,4\n", COMMA)[0];
        assert_eq!(b.rows, 4);
        let bad = &b.columns[1].bad;
        assert_eq!((bad[0].line, bad[0].text.as_str(), bad[0].missing), (2, "12a", false));
        assert_eq!((bad[1].line, bad[1].text.as_str(), bad[1].missing), (3, "n.a.", true));
        // Letters in the last row's signal are an error, not a trailing line.
        assert_eq!(blocks("0,1\n1,2\n2,a\n", COMMA)[0].rows, 3);
    }

    #[test]
    fn groups_of_a_tidy_table() {
        let tab = Dialect { delimiter: Delimiter::Tab, ..COMMA };
        let b = &blocks("0\t1\t\"A\"\tRI\n1\t2\t\"A\"\tRI\n0\t5\t\"B\"\tRI\n2\t3\t\"A\"\tRI\n", tab)[0];
        assert_eq!(b.groups, ["A / RI", "B / RI"]);
        assert_eq!(b.segments, [(0, 0), (2, 1), (3, 0)]);
        assert!(!b.columns[2].numeric && b.columns[1].values.len() == 4);
    }

    #[test]
    fn a_header_of_numbers_does_not_open_a_block() {
        let b = blocks("RT (min),254,280\n0.0017,-0.04,-0.05\n0.0083,-0.03,-0.05\n", COMMA);
        assert_eq!((b.len(), b[0].rows, b[0].first_line), (1, 2, 2));
    }
}
