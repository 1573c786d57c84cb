//! Delimited text to traces: the steps in order, and the note that tells what was decided.

use super::axis::{self, Fault};
use super::buffers;
use super::cells::{self, shown};
use super::columns::{self, Choice};
use super::dialect::{self, Decision};
use super::header::Header;
use super::names::{fold, signal_unit};
use super::options::{ColumnChoice, ReadOptions};
use super::scan::{self, Block, Column};
use crate::error::{Error, ErrorKind, Result};
use crate::trace::{ReadingNote, Trace};

/// A trace, its name inside the file (empty where it is the only one), and how it was read.
pub(crate) struct Found {
    pub(crate) label: String,
    pub(crate) trace: Trace,
    pub(crate) note: ReadingNote,
}

/// Where one trace lies: a block, and a group of its rows where text columns tell several apart.
struct Candidate {
    block: usize,
    group: Option<usize>,
    label: String,
}

/// The one trace of the text; several are a question that the option `trace` answers.
pub(crate) fn read_one(text: &str, options: &ReadOptions) -> Result<Found> {
    let mut file = Scanned::new(text, options)?;
    let candidates = file.candidates();
    let chosen = match &options.trace {
        Some(choice) => choose(&candidates, choice)?,
        None if candidates.len() > 1 => return Err(file.several(&candidates)),
        None => 0,
    };
    file.build(&candidates, chosen, options)
}

/// Every trace of the text, or the one that the option `trace` names.
pub(crate) fn read_all(text: &str, options: &ReadOptions) -> Result<Vec<Found>> {
    let mut file = Scanned::new(text, options)?;
    let candidates = file.candidates();
    match &options.trace {
        Some(choice) => {
            let chosen = choose(&candidates, choice)?;
            Ok(vec![file.build(&candidates, chosen, options)?])
        }
        None => (0..candidates.len()).map(|i| file.build(&candidates, i, options)).collect(),
    }
}

fn choose(candidates: &[Candidate], choice: &ColumnChoice) -> Result<usize> {
    let found: Vec<usize> = match choice {
        ColumnChoice::Number(n) => (1..=candidates.len()).contains(n).then(|| n - 1).into_iter().collect(),
        ColumnChoice::Name(name) => {
            let wanted = fold(name);
            let by = |f: &dyn Fn(&str) -> bool| -> Vec<usize> {
                (0..candidates.len()).filter(|&i| f(&fold(&candidates[i].label))).collect()
            };
            let exact = by(&|l| l == wanted);
            if exact.is_empty() { by(&|l| l.split(" / ").any(|part| part == wanted)) } else { exact }
        }
    };
    let message = match found.as_slice() {
        [one] => return Ok(*one),
        [] => format!("the option trace is {choice}, but there is no such trace"),
        several => format!("the option trace is {choice}, which names {} traces", several.len()),
    };
    Err(Error::new(ErrorKind::NotFound, message).hint(format!("traces: {}", list(candidates))))
}

fn list(candidates: &[Candidate]) -> String {
    let mut names: Vec<String> =
        candidates.iter().take(6).enumerate().map(|(i, c)| format!("{} = \"{}\"", i + 1, c.label)).collect();
    if candidates.len() > 6 {
        names.push(format!("and {} more", candidates.len() - 6));
    }
    names.join(", ")
}

/// A file after the one pass.
struct Scanned<'a> {
    text: &'a [u8],
    decision: Decision,
    blocks: Vec<Block>,
    headers: Vec<Header>,
    /// Text columns that change from row to row tell no traces apart.
    free_text: Vec<bool>,
}

impl<'a> Scanned<'a> {
    fn new(text: &'a str, options: &ReadOptions) -> Result<Self> {
        let bytes = text.as_bytes();
        let decision = dialect::decide(bytes, options)?;
        let (mut start, mut line) = (0, 1);
        for _ in 0..options.header_rows.unwrap_or(0) {
            start = cells::next_line(bytes, cells::line_end(bytes, start));
            line += 1;
        }
        let blocks = scan::scan(bytes, decision.dialect, start, line);
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
        let free_text = blocks.iter().map(|b| b.rows >= 4 && b.groups.len() * 2 > b.rows).collect();
        let mut scanned = Scanned { text: bytes, decision, blocks, headers: Vec::new(), free_text };
        scanned.read_headers();
        scanned.settle_doubt()?;
        Ok(scanned)
    }

    fn read_headers(&mut self) {
        let longest = self.blocks.iter().map(|b| b.rows).max().unwrap_or(0);
        let (mut from, mut from_line) = (0, 1);
        let mut above: Option<usize> = None;
        for (b, block) in self.blocks.iter().enumerate() {
            let mut header = Header::read(self.text, self.decision.dialect, from, from_line, block);
            // Statements such as "rate,10,Hz" look like small tables and belong to the header of the one below.
            if self.looks_like_trace(b) || (block.rows > 1 && block.rows * 5 >= longest) {
                if let Some(above) = above {
                    header.inherit(&self.headers[above]);
                }
                above = Some(b);
                (from, from_line) = (block.end, block.last_line + 1);
            }
            self.headers.push(header);
        }
    }

    /// Blocks (and groups of rows) that may be traces: those that hold a time, else the longest block.
    fn candidates(&self) -> Vec<Candidate> {
        let longest = self.blocks.iter().map(|b| b.rows).max().unwrap_or(0);
        let mut chosen: Vec<usize> = (0..self.blocks.len())
            // A table of a few rows beside a trace of thousands is not a second trace; a fifth, our own choice.
            .filter(|&b| self.blocks[b].rows * 5 >= longest && self.looks_like_trace(b))
            .collect();
        if chosen.is_empty() {
            chosen = (0..self.blocks.len()).max_by_key(|&b| self.blocks[b].rows).into_iter().collect();
        }
        let several_blocks = chosen.len() > 1;
        let mut all = Vec::new();
        for b in chosen {
            let block = &self.blocks[b];
            let titles = &self.headers[b].lines;
            let title = match titles.len() {
                _ if !several_blocks => String::new(),
                0 => format!("lines {} to {}", block.first_line, block.last_line),
                n => {
                    let near: Vec<String> = titles[n.saturating_sub(2)..]
                        .iter()
                        .map(|(_, t)| shown(t.replace('"', "").as_bytes()))
                        .collect();
                    near.join(" / ")
                }
            };
            if self.free_text[b] || block.groups.is_empty() {
                all.push(Candidate { block: b, group: None, label: title });
                continue;
            }
            for (g, group) in block.groups.iter().enumerate() {
                let label = if title.is_empty() { group.clone() } else { format!("{title} / {group}") };
                let group = (block.groups.len() > 1).then_some(g);
                all.push(Candidate { block: b, group, label });
            }
        }
        all
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

    /// All numbers look like `1.234`: any value between -1 and 1 shows that the mark is a decimal mark.
    fn settle_doubt(&self) -> Result<()> {
        let Some(doubt) = self.decision.doubt.as_ref().filter(|d| !d.mild) else { return Ok(()) };
        let small = |v: &f64| *v != 0.0 && v.abs() < 1.0;
        if self.blocks.iter().flat_map(|b| &b.columns).any(|c| c.values.iter().any(small)) {
            return Ok(());
        }
        let mark = self.decision.dialect.mark.words();
        Err(Error::new(
            ErrorKind::Ambiguous,
            format!(
                "every number with a {mark}, such as \"{}\", can have decimals or thousands behind it",
                doubt.example
            ),
        )
        .at_line(doubt.line.max(1))
        .hint(format!("set decimal_mark = \"{mark}\" if these are decimals, else the other mark")))
    }

    fn several(&self, candidates: &[Candidate]) -> Error {
        let second = &candidates[1];
        let block = &self.blocks[second.block];
        let line = match second.group {
            Some(g) => block.segments.iter().find(|s| s.1 == g).map_or(block.first_line, |s| block.line_of(s.0)),
            None => block.first_line,
        };
        let between = (second.group.is_none() && second.block > 0)
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
    fn rows_of(&mut self, candidate: &Candidate) -> (Vec<Column>, usize, Vec<(usize, usize)>) {
        let block = &mut self.blocks[candidate.block];
        let Some(group) = candidate.group else {
            let columns = block.columns.iter_mut().map(Column::take).collect();
            return (columns, block.rows, vec![(0, 0)]);
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
            for (into, column) in columns.iter_mut().zip(&block.columns) {
                into.extend_from(column, from, to, rows);
            }
            rows += to - from;
        }
        (columns, rows, map)
    }

    fn build(&mut self, candidates: &[Candidate], chosen: usize, options: &ReadOptions) -> Result<Found> {
        let candidate = &candidates[chosen];
        let (mut columns, rows, map) = self.rows_of(candidate);
        let (b, header) = (candidate.block, &self.headers[candidate.block]);
        let block = &self.blocks[b];
        let line_of = |row: usize| {
            let part = map.partition_point(|m| m.0 <= row).saturating_sub(1);
            block.line_of(map[part].1 + row - map[part].0)
        };
        if rows < 2 {
            return Err(Error::new(
                ErrorKind::Format,
                format!("only {rows} row of numbers; a trace needs at least 2 points"),
            )
            .at_line(line_of(0))
            .hint("check that the export is complete"));
        }
        let place = |e: Error, column: usize| e.at_column(column as u64 + 1);
        self.refuse_stacked(header, &columns, rows)?;
        let words = self.free_text[b].then(|| block.groups[0].as_str());
        let roles = columns::assign(&columns, rows, header, options, words).map_err(|e| e.at_line(line_of(0)))?;
        let mut note = self.note(candidate, candidates, header);
        note.suspicions.extend(roles.suspicions);
        note.points = rows;
        if rows < 10 {
            note.suspicions.push(format!("only {rows} points"));
        }
        if let Some((fact, counts)) = header.points().filter(|p| p.1.iter().sum::<usize>() != rows) {
            note.suspicions.push(format!(
                "line {} (\"{}\") states {} points, the table has {rows}; the rows are trusted",
                fact.line,
                fact.shown,
                counts.iter().sum::<usize>()
            ));
        }

        let Choice { column: s, why } = roles.signal;
        whole(&columns[s], "signal").map_err(|e| place(e, s))?;
        note.signal_column = format!("{}, {why}", header.describe(s));
        let unit = self.signal_unit(header, s, options, &mut note);
        let factor = factor(header, options)?;

        let (time_min, how) = match roles.time {
            Some(choice) => {
                let Choice { column: t, why } = choice;
                whole(&columns[t], "time").map_err(|e| place(e, t))?;
                note.time_column = format!("{}, {why}", header.describe(t));
                let (unit, from) =
                    time_unit(&columns[t], &choice, header, options, &mut note).map_err(|e| place(e, t))?;
                note.time_unit = format!("{}, {from}", unit.symbol());
                let scale = columns[t].scale;
                let mut axis = axis::settle(std::mem::take(&mut columns[t].values), scale)
                    .map_err(|(fault, stamps)| place(axis_error(fault, &stamps, t, header, &line_of), t))?;
                if unit != super::options::TimeUnit::Minutes {
                    axis.time.iter_mut().for_each(|v| *v = unit.to_minutes(*v));
                }
                (axis.time, axis.how)
            }
            None => {
                let step = options.interval_s.unwrap_or(1.0) / 60.0;
                note.time_column = "none; point number times interval_s".into();
                note.time_unit = "s, as the option interval_s says".into();
                ((0..rows).map(|i| i as f64 * step).collect(), "made from the interval, starting at 0".to_owned())
            }
        };
        note.time_axis = how;
        describe_axis(&time_min, &mut note);
        let mut signal = std::mem::take(&mut columns[s].values);
        if let Some(factor) = factor {
            signal.iter_mut().for_each(|v| *v *= factor);
            note.suspicions.push(format!("the signal was multiplied by {factor} (option signal_factor)"));
        }
        let trace = Trace::new(time_min.as_slice(), signal.as_slice(), &unit)?;
        columns.into_iter().map(|c| c.values).chain([time_min, signal]).for_each(buffers::give_column);
        let label = if candidates.len() > 1 { candidate.label.clone() } else { String::new() };
        Ok(Found { label, trace, note })
    }

    /// What is known before the columns are.
    fn note(&self, candidate: &Candidate, candidates: &[Candidate], header: &Header) -> ReadingNote {
        let (b, block) = (candidate.block, &self.blocks[candidate.block]);
        let mut note = ReadingNote {
            format: "delimited text".into(),
            delimiter: self.decision.dialect.delimiter.words().into(),
            decimal_mark: self.decision.dialect.mark.words().into(),
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
        if let Some(doubt) = self.decision.doubt.as_ref().filter(|d| d.mild) {
            note.suspicions.push(format!(
                "numbers such as \"{}\" were read with decimals, not thousands (option decimal_mark)",
                doubt.example
            ));
        }
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
        for (i, other) in self.blocks.iter().enumerate() {
            if i != b && !candidates.iter().any(|c| c.block == i) && other.rows > 1 {
                let line = other.first_line;
                let end = cells::line_end(self.text, other.start);
                let row = shown(&self.text[other.start..end]);
                note.dropped.push(format!("another table, {} rows from line {line} (\"{row}\")", other.rows));
            }
        }
        note
    }

    /// Channels under one another in one column, announced by their counts.
    fn refuse_stacked(&self, header: &Header, columns: &[Column], rows: usize) -> Result<()> {
        let numeric = columns.iter().filter(|c| c.numeric).count();
        let Some((fact, counts)) = header.points() else { return Ok(()) };
        if numeric != 1 || counts.len() < 2 || counts.iter().sum::<usize>() != rows {
            return Ok(());
        }
        Err(Error::new(
            ErrorKind::Format,
            format!("\"{}\" says that one column holds {} channels under one another", fact.shown, counts.len()),
        )
        .at_line(fact.line)
        .hint("export one channel per file, or the channels side by side"))
    }

    fn signal_unit(&self, header: &Header, s: usize, options: &ReadOptions, note: &mut ReadingNote) -> String {
        let stated = header.names[s].unit.clone().map(|u| (u, header.units_line.or(header.names_line)));
        let stated = stated.or_else(|| header.signal_unit().map(|(u, line)| (u, Some(line))));
        let from = |line: Option<u64>| line.map_or("from the column's name".to_owned(), |l| format!("from line {l}"));
        let unit = match (&options.signal_unit, stated) {
            (Some(given), stated) => {
                let given = signal_unit(given).unwrap_or_else(|| given.trim().to_owned());
                if let Some((other, line)) = stated.filter(|s| s.0 != given) {
                    note.suspicions.push(format!(
                        "the file states the signal unit {other} ({}); the option says {given}",
                        from(line)
                    ));
                }
                note.signal_unit = format!("{given}, as the option says");
                given
            }
            (None, Some((unit, line))) => {
                note.signal_unit = format!("{unit}, {}", from(line));
                unit
            }
            (None, None) => {
                note.signal_unit = "not stated".into();
                String::new()
            }
        };
        if unit.starts_with(|c: char| c.is_ascii_digit()) {
            note.suspicions.push(format!(
                "one step of the signal is {unit}; values were not multiplied (options signal_factor, signal_unit)"
            ));
        }
        unit
    }
}

fn factor(header: &Header, options: &ReadOptions) -> Result<Option<f64>> {
    match (options.signal_factor, header.signal_factor()) {
        (Some(factor), _) => Ok((factor != 1.0).then_some(factor)),
        (None, None) => Ok(None),
        (None, Some(fact)) => Err(Error::new(
            ErrorKind::Ambiguous,
            format!(
                "\"{}\" states a factor for the signal: are the numbers in the table still to be multiplied?",
                fact.shown
            ),
        )
        .at_line(fact.line)
        .hint("set signal_factor to the factor, or to 1 if the numbers are final")),
    }
}

fn time_unit(
    column: &Column,
    &Choice { column: t, why }: &Choice,
    header: &Header,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> Result<(super::options::TimeUnit, String)> {
    let named = header.names[t].time_unit().map(|u| (u, header.units_line.or(header.names_line)));
    let stated = named.or_else(|| header.time_unit().map(|(u, line)| (u, Some(line))));
    let from = |line: Option<u64>| line.map_or("from the column's name".to_owned(), |l| format!("from line {l}"));
    match (options.time_unit, stated) {
        (Some(given), stated) => {
            if let Some((other, line)) = stated.filter(|s| s.0 != given) {
                note.suspicions.push(format!(
                    "the file states the time unit {} ({}); the option says {}",
                    other.symbol(),
                    from(line),
                    given.symbol()
                ));
            }
            Ok((given, "as the option says".into()))
        }
        (None, Some((unit, line))) => Ok((unit, from(line))),
        (None, None) => {
            let (first, last) = (column.values.first().unwrap_or(&0.0), column.values.last().unwrap_or(&0.0));
            Err(Error::new(
                ErrorKind::Ambiguous,
                format!(
                    "the time, {}, {why}, runs from {first} to {last} and its unit is not stated: minutes or seconds?",
                    header.describe(t)
                ),
            )
            .at_line(header.names_line.unwrap_or(1))
            .hint("set time_unit = \"min\", \"s\" or \"ms\""))
        }
    }
}

/// Refuses a column with cells that hold no number; letters in a number come first.
fn whole(column: &Column, role: &str) -> Result<()> {
    let Some(bad) = column.bad.iter().find(|b| !b.missing).or(column.bad.first()) else { return Ok(()) };
    let (message, hint) = if bad.missing {
        let seen = if bad.text.is_empty() { "an empty cell".to_owned() } else { format!("\"{}\"", bad.text) };
        let more = if column.missing > 1 { format!(" ({} such cells in all)", column.missing) } else { String::new() };
        (
            format!("{seen} where a {role} value is wanted{more}; a gap is never filled by guessing"),
            format!("correct or remove the row, or set {role}_column to another column"),
        )
    } else {
        (
            format!("\"{}\" is not a number; a {role} value is wanted", bad.text),
            format!("correct the cell, export the trace again, or set {role}_column to another column"),
        )
    };
    Err(Error::new(ErrorKind::Format, message).at_line(bad.line).hint(hint))
}

fn axis_error(fault: Fault, stamps: &[f64], t: usize, header: &Header, line_of: &dyn Fn(usize) -> u64) -> Error {
    let name = header.describe(t);
    match fault {
        Fault::Backwards(i) => {
            let message = format!(
                "the time, {name}, goes back from {} (line {}) to {}; times must rise",
                stamps[i - 1],
                line_of(i - 1),
                stamps[i]
            );
            Error::new(ErrorKind::Format, message)
                .at_line(line_of(i))
                .hint("if another trace starts here, put each trace into a file of its own; otherwise export again")
        }
        Fault::Repeated(i) => {
            let message = format!("the time {} of line {} comes again; times must rise", stamps[i], line_of(i - 1));
            Error::new(ErrorKind::Format, message)
                .at_line(line_of(i))
                .hint("remove one of the two rows, or export the times with more decimals")
        }
    }
}

fn describe_axis(time_min: &[f64], note: &mut ReadingNote) {
    let n = time_min.len();
    let mean = (time_min[n - 1] - time_min[0]) / (n - 1) as f64;
    let (shortest, longest) = axis::steps(time_min);
    note.interval_s = mean * 60.0;
    note.interval_spread_s = (mean - shortest).max(longest - mean).max(0.0) * 60.0;
    if longest > 1.5 * mean {
        note.gaps = time_min.windows(2).filter(|w| w[1] - w[0] > 1.5 * mean).count();
        note.suspicions.push(format!("{} interval(s) longer than 1.5 times the mean", note.gaps));
    }
}
