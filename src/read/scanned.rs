//! A file after the one pass: its tables, what stands above them, and which of them may be traces.

use super::axis;
use super::cells::{self, Dialect, shown};
use super::clock;
use super::dialect;
use super::header::Header;
use super::layout::{self, Candidate};
use super::options::{DecimalMark, Delimiter, ReadOptions};
use super::scan::{self, Block, Column};
use super::settle;
use crate::error::{Error, ErrorKind, Result};
use crate::trace::ReadingNote;

/// A file after the one pass.
pub(super) struct Scanned<'a> {
    text: &'a [u8],
    pub(super) dialect: Dialect,
    pub(super) blocks: Vec<Block>,
    pub(super) headers: Vec<Header>,
    /// Blocks large enough to be traces; the others are statements and single rows.
    pub(super) tables: Vec<usize>,
    /// Text columns that change from row to row tell no traces apart.
    pub(super) free_text: Vec<bool>,
    /// Channels under one another in the only column.
    pub(super) channels: Option<usize>,
    /// What looks odd about the file as a whole.
    suspicions: Vec<String>,
}

impl<'a> Scanned<'a> {
    /// Sniffs and scans the text.
    pub(super) fn new(text: &'a str, options: &ReadOptions) -> Result<Self> {
        let bytes = text.as_bytes();
        let dialect = dialect::decide(bytes, options)?;
        let (mut start, mut line) = (0, 1);
        for _ in 0..options.header_rows.unwrap_or(0) {
            start = cells::next_line(bytes, cells::line_end(bytes, start));
            line += 1;
        }
        let mut blocks = scan::scan(bytes, dialect, start, line);
        for block in &mut blocks {
            clock::find(block);
            layout::split_restarts(block);
        }
        if blocks.is_empty() {
            return Err(Error::new(ErrorKind::Format, "no row of numbers was found")
                .hint("export one row per point, or set delimiter and decimal_mark"));
        }
        if options.header_rows.is_some() && blocks[0].first_line != line {
            return Err(Error::new(
                ErrorKind::Option,
                format!(
                    "header_rows is {}, but line {line} is not a row of numbers; the first one is line {}",
                    line - 1,
                    blocks[0].first_line
                ),
            )
            .at_line(line)
            .at_field("header_rows"));
        }
        // An empty text cell names no group.
        let free = |b: &Block| b.groups.iter().any(String::is_empty) || (b.rows >= 4 && b.groups.len() * 2 > b.rows);
        let free_text = blocks.iter().map(free).collect();
        let headers = blocks.iter().map(|_| Header::default()).collect();
        let mut scanned = Scanned {
            text: bytes,
            dialect,
            blocks,
            headers,
            tables: Vec::new(),
            free_text,
            channels: None,
            suspicions: Vec::new(),
        };
        scanned.find_tables();
        scanned.refuse_others(options)?;
        if let [table] = scanned.tables[..] {
            let (block, header) = (&mut scanned.blocks[table], &scanned.headers[table]);
            scanned.channels = layout::split_channels(block, header, options)?;
        }
        scanned.settle_doubt(options)?;
        scanned.look_at_the_end();
        Ok(scanned)
    }

    /// Finds the blocks that may be traces and reads what stands above each of them.
    fn find_tables(&mut self) {
        let longest = self.blocks.iter().map(|b| b.rows).max().unwrap_or(0);
        // A table of a few rows beside a trace of thousands is not a second trace; a fifth, our own choice.
        let large = |b: usize| self.blocks[b].rows * 5 >= longest;
        let mut tables: Vec<usize> = (0..self.blocks.len())
            .filter(|&b| large(b) && self.blocks[b].rows > 1 && self.looks_like_trace(b))
            .collect();
        if tables.is_empty() {
            tables.extend((0..self.blocks.len()).rev().max_by_key(|&b| self.blocks[b].rows));
        }
        let (mut from, mut from_line) = (0, 1);
        for (i, &b) in tables.iter().enumerate() {
            let block = &self.blocks[b];
            let mut header = Header::read(self.text, self.dialect, from, from_line, block);
            if i > 0 {
                header.inherit(&self.headers[tables[i - 1]]);
            }
            (from, from_line) = (block.end, block.last_line + 1);
            self.headers[b] = header;
        }
        self.tables = tables;
    }

    /// A table of results beside a trace is left aside, alone it is refused; so are numbers that a comma cut in two.
    fn refuse_others(&mut self, options: &ReadOptions) -> Result<()> {
        let look = |b: usize| settle::refuse_results(&self.blocks[b], &self.headers[b], options);
        let refused: Vec<Option<Error>> = self.tables.iter().map(|&b| look(b).err()).collect();
        if refused.iter().all(Option::is_some)
            && let Some(Some(error)) = refused.into_iter().next()
        {
            return Err(error);
        }
        let (blocks, headers) = (&self.blocks, &self.headers);
        self.tables.retain(|&b| settle::refuse_results(&blocks[b], &headers[b], options).is_ok());
        for &b in &self.tables {
            let block = &blocks[b];
            settle::refuse_split_numbers(&block.columns, &headers[b], self.dialect.delimiter, options)
                .map_err(|e| e.at_line(block.first_line))?;
        }
        Ok(())
    }

    fn looks_like_trace(&self, b: usize) -> bool {
        let block = &self.blocks[b];
        let rows = match block.segments.get(1) {
            Some(second) if !self.free_text[b] => second.0,
            _ => block.rows,
        };
        let columns: Vec<usize> = block.numeric_columns().collect();
        columns.len() == 1 && self.blocks.len() == 1
            || columns.iter().any(|&c| axis::rises_evenly(&block.columns[c].values[..rows], block.columns[c].scale))
    }

    /// `1.234` may be 1234 where all numbers with the mark look so. A look at the values tells nearly always that they do
    /// not; only otherwise the text is looked at once more.
    fn settle_doubt(&mut self, options: &ReadOptions) -> Result<()> {
        let dialect = self.dialect;
        let comma_and_point = dialect.delimiter == Delimiter::Comma && dialect.mark == DecimalMark::Point;
        if dialect.thousands {
            self.suspicions.push("digits in groups of three were read as one number (1,234 as 1234)".into());
        }
        // Where the comma parts the cells, nobody parts thousands with points.
        if comma_and_point || dialect.thousands || options.decimal_mark.is_some() {
            return Ok(());
        }
        let columns = || self.tables.iter().flat_map(|&b| &self.blocks[b].columns).filter(|c| c.numeric);
        let small = |v: &f64| *v != 0.0 && v.abs() < 1.0;
        if !columns().any(|c| c.scale == 3)
            || columns().any(|c| c.scale != 0 && c.scale != 3)
            || columns().any(|c| c.values.iter().any(small))
        {
            return Ok(());
        }
        let Some(doubt) = dialect::doubt(self.text, dialect) else { return Ok(()) };
        let mark = dialect.mark.words();
        if doubt.mild {
            self.suspicions.push(format!(
                "numbers such as \"{}\" were read with decimals, not thousands (option decimal_mark)",
                doubt.example
            ));
            return Ok(());
        }
        Err(Error::new(
            ErrorKind::Ambiguous,
            format!(
                "every number with a {mark}, such as \"{}\", can have decimals or thousands behind it",
                doubt.example
            ),
        )
        .at_line(doubt.line)
        .hint(format!("set decimal_mark = \"{mark}\" if these are decimals, else the other mark")))
    }

    /// A last line without a line end and with fewer decimals than the one before may have been cut off.
    fn look_at_the_end(&mut self) {
        if self.text.ends_with(b"\n") || self.text.ends_with(b"\r") {
            return;
        }
        let mark = self.dialect.mark.byte();
        let decimals = |line: &[u8]| line.iter().rposition(|b| *b == mark).map(|at| line.len() - at);
        let mut lines = self.text.rsplit(|b| *b == b'\n').map(<[u8]>::trim_ascii_end);
        let (last, before) = (lines.next().and_then(decimals), lines.next().and_then(decimals));
        if last.zip(before).is_some_and(|(last, before)| last < before) {
            self.suspicions.push("the file ends without a line end, in a number shorter than the one above".into());
        }
    }

    /// The question which of several traces is wanted.
    pub(super) fn several(&self, candidates: &[Candidate]) -> Error {
        let second = &candidates[1];
        let block = &self.blocks[second.block];
        let line = match second.group {
            Some(g) => block.segments.iter().find(|s| s.1 == g).map_or(block.first_line, |s| block.line_of(s.0)),
            None => block.first_line,
        };
        let between = (second.block != candidates[0].block)
            .then(|| self.first_other_line(&self.blocks[candidates[0].block]))
            .flatten()
            .map_or(String::new(), |(l, text)| format!("; line {l} (\"{text}\") is not a row of the table before it"));
        Error::new(
            ErrorKind::Ambiguous,
            format!("the file holds {} traces: {}{between}", candidates.len(), list(candidates)),
        )
        .at_line(line)
        .hint("set the option trace to a name or a number, or read all of them (read_all)")
    }

    /// The first line behind a block that is neither blank nor a comment.
    fn first_other_line(&self, block: &Block) -> Option<(u64, String)> {
        self.other_lines(block.end, self.text.len(), block.last_line + 1).next()
    }

    fn other_lines(&self, start: usize, end: usize, line: u64) -> impl Iterator<Item = (u64, String)> + '_ {
        let (mut pos, mut line) = (start, line);
        std::iter::from_fn(move || {
            while pos < end {
                let stop = cells::line_end(self.text, pos);
                let content = &self.text[pos..stop];
                let number = line;
                pos = cells::next_line(self.text, stop);
                line += 1;
                if !cells::is_blank(content) && !cells::is_comment(content) {
                    return Some((number, shown(content)));
                }
            }
            None
        })
    }

    /// The columns of one candidate, and for each of its rows the row in the block.
    pub(super) fn rows_of(&mut self, candidate: &Candidate) -> (Vec<Column>, usize, Vec<(usize, usize)>) {
        let block = &mut self.blocks[candidate.block];
        let wanted = |c: usize| {
            candidate
                .columns
                .as_ref()
                .is_none_or(|p| p.signal.column == c || p.time.as_ref().is_some_and(|t| t.column == c))
        };
        let Some(group) = candidate.group else {
            if candidate.columns.is_none() {
                return (block.columns.iter_mut().map(Column::take).collect(), block.rows, vec![(0, 0)]);
            }
            let kept = |(c, column): (usize, &Column)| if wanted(c) { column.clone() } else { Column::default() };
            return (block.columns.iter().enumerate().map(kept).collect(), block.rows, vec![(0, 0)]);
        };
        let mut map = Vec::new();
        let mut columns: Vec<Column> = block.columns.iter().map(Column::empty_like).collect();
        let mut rows = 0;
        for (i, &(from, g)) in block.segments.iter().enumerate() {
            if g != group {
                continue;
            }
            let to = block.segments.get(i + 1).map_or(block.rows, |s| s.0);
            map.push((rows, from));
            for (c, (into, column)) in columns.iter_mut().zip(&block.columns).enumerate() {
                if wanted(c) {
                    into.extend_from(column, from, to, rows);
                } else {
                    into.numeric = false;
                }
            }
            rows += to - from;
        }
        (columns, rows, map)
    }

    /// What is known before the columns are.
    pub(super) fn note(&self, candidate: &Candidate, candidates: &[Candidate], header: &Header) -> ReadingNote {
        let (b, block) = (candidate.block, &self.blocks[candidate.block]);
        let mut note = ReadingNote {
            format: "delimited text".into(),
            delimiter: match (self.dialect.delimiter, block.columns.len()) {
                (Delimiter::Blanks, 1) => Delimiter::OneColumn.words().into(),
                (delimiter, _) => delimiter.words().into(),
            },
            decimal_mark: self.dialect.mark.words().into(),
            header_rows: (block.first_line - 1) as usize,
            trace: match candidates.len() {
                1 => candidate.label.clone(),
                n => format!("\"{}\", one of {n}", candidate.label),
            },
            ..ReadingNote::default()
        };
        // Kept for the record; 40 lines are more than any header seen, and a guard against a file of prose.
        note.header = header.lines.iter().take(40).map(|(_, l)| l.chars().take(200).collect()).collect();
        note.suspicions.extend(header.suspicions.iter().cloned());
        note.suspicions.extend(self.suspicions.iter().cloned());
        if self.free_text[b] {
            note.suspicions.push("text that changes from row to row was left aside".into());
        }
        if block.comments > 0 {
            note.dropped.push(format!("{} comment line(s) between the rows", block.comments));
        }
        let (mut others, mut first) = (0, None);
        // A single row of another kind is a line, not a table.
        let next = self.blocks[b + 1..].iter().find(|n| n.rows > 1).map_or(self.text.len(), |n| n.start);
        for (line, text) in self.other_lines(block.end, next, block.last_line + 1) {
            others += 1;
            first.get_or_insert((line, text));
        }
        if let Some((line, text)) = first {
            note.dropped.push(format!("{others} line(s) behind the table, such as line {line} (\"{text}\")"));
        }
        // Lines such as "points,12,12" above "rate,10,Hz" look like a table and are none.
        let settings = |o: &Block| {
            (o.first_line..=o.last_line).all(|l| header.facts.iter().any(|f| f.line == l && f.is_setting()))
        };
        let others = |i: &usize| {
            let other = &self.blocks[*i];
            *i != b && !candidates.iter().any(|c| c.block == *i) && other.rows > 1 && !settings(other)
        };
        let others: Vec<usize> = (0..self.blocks.len()).filter(others).collect();
        for other in others.iter().take(3).map(|&i| &self.blocks[i]) {
            let row = shown(&self.text[other.start..cells::line_end(self.text, other.start)]);
            note.dropped.push(format!("another table, {} rows from line {} (\"{row}\")", other.rows, other.first_line));
        }
        if others.len() > 3 {
            note.dropped.push(format!("{} more tables", others.len() - 3));
        }
        note
    }
}

/// The candidates' names for a sentence.
pub(super) fn list(candidates: &[Candidate]) -> String {
    let mut names: Vec<String> =
        candidates.iter().take(6).enumerate().map(|(i, c)| format!("{} = \"{}\"", i + 1, c.label)).collect();
    if candidates.len() > 6 {
        names.push(format!("and {} more", candidates.len() - 6));
    }
    names.join(", ")
}
