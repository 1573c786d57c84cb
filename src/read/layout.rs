//! How traces lie in a table: parts in which the time starts again, channels under one another, runs side by side, many
//! signals beside one time.

use super::axis;
use super::cells::shown;
use super::columns::{self, Choice};
use super::header::Header;
use super::options::ReadOptions;
use super::scan::{Block, Column};
use super::scanned::Scanned;
use crate::error::{Error, ErrorKind, Result};

/// Where one trace lies.
pub(super) struct Candidate {
    pub(super) block: usize,
    /// Its rows, where several traces share the columns.
    pub(super) group: Option<usize>,
    /// Its columns, where several traces share the rows.
    pub(super) columns: Option<Pair>,
    /// Which of how many channels under one another.
    pub(super) channel: Option<(usize, usize)>,
    pub(super) label: String,
}

/// Time and signal of one of several traces; no time where it is made from an interval.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pair {
    pub(super) time: Option<Choice>,
    pub(super) signal: Choice,
}

/// A part shorter than this is a slip of the clock, not a trace; our own choice.
const LEAST_PART: usize = 3;
/// More parts than any file of runs has; a signal that looks like a saw is given up early.
const MOST_PARTS: usize = 1000;

/// A time that falls back to its start begins another trace: its rows become a group of their own.
pub(super) fn split_restarts(block: &mut Block) {
    if block.groups.len() > 1 || block.rows < 2 * LEAST_PART {
        return;
    }
    let numeric: Vec<usize> = block.numeric_columns().collect();
    if numeric.len() < 2
        || numeric.iter().any(|&c| axis::rises_evenly(&block.columns[c].values, block.columns[c].scale))
    {
        return;
    }
    let Some(starts) = numeric.iter().find_map(|&c| restarts(&block.columns[c])) else { return };
    let before = block.groups.first().map_or(String::new(), |g| format!("{g} / "));
    block.groups = (1..=starts.len()).map(|k| format!("{before}part {k}")).collect();
    block.segments = starts.into_iter().enumerate().map(|(k, row)| (row, k)).collect();
}

/// First rows of the parts of a column that rises evenly, again and again from about the same start.
fn restarts(column: &Column) -> Option<Vec<usize>> {
    let values = &column.values;
    let step = values[1] - values[0];
    if step.is_nan() || step <= 0.0 {
        return None;
    }
    let mut starts = vec![0];
    for i in 1..values.len() {
        if values[i] < values[i - 1] {
            // Three steps of freedom: runs start a little apart (5.3 of common exports: first points differ).
            let from_start = (values[i] - values[0]).abs() <= 3.0 * step
                && values[i - 1] - values[i] > 0.5 * (values[i - 1] - values[0]);
            if !from_start || starts.len() >= MOST_PARTS {
                return None;
            }
            starts.push(i);
        }
    }
    let ends = starts[1..].iter().copied().chain([values.len()]);
    let even =
        |(from, to): (usize, usize)| to - from >= LEAST_PART && axis::rises_evenly(&values[from..to], column.scale);
    (starts.len() > 1 && starts.iter().copied().zip(ends).all(even)).then_some(starts)
}

/// Cuts one column of numbers by the counts that its header (or the option) announces; the number of channels.
pub(super) fn split_channels(block: &mut Block, header: &Header, options: &ReadOptions) -> Result<Option<usize>> {
    let numeric: Vec<usize> = block.numeric_columns().collect();
    let stated = header.points().filter(|p| p.1.len() > 1);
    let (counts, line, said) = match (&options.stacked_points, stated) {
        (Some(counts), _) => (counts.clone(), None, "the option stacked_points".to_owned()),
        (None, Some((fact, counts))) => (counts, Some(fact.line), format!("\"{}\"", fact.shown)),
        (None, None) => return Ok(None),
    };
    if numeric.len() != 1 || block.groups.len() > 1 {
        if options.stacked_points.is_some() {
            return Err(Error::new(
                ErrorKind::Option,
                format!("stacked_points is for one column of numbers, but the table has {}", numeric.len()),
            )
            .at_field("stacked_points"));
        }
        return Ok(None);
    }
    let sum: usize = counts.iter().fold(0, |sum: usize, n| sum.saturating_add(*n));
    if sum != block.rows || counts.contains(&0) {
        let error = Error::new(
            ErrorKind::Ambiguous,
            format!(
                "{said} says that one column holds {} channels under one another, {sum} points in all, but it has {}",
                counts.len(),
                block.rows
            ),
        )
        .hint("set stacked_points to the points of each channel, such as stacked_points = [600, 600]");
        return Err(match line {
            Some(line) => error.at_line(line),
            None => error.at_field("stacked_points"),
        });
    }
    let n = counts.len();
    let mut row = 0;
    block.segments = counts
        .iter()
        .enumerate()
        .map(|(k, count)| {
            row += count;
            (row - count, k)
        })
        .collect();
    let named = header.channel_names(n);
    let names: Vec<String> = (0..n)
        .map(|k| match &named {
            Some(names) if names.iter().filter(|other| **other == names[k]).count() == 1 => names[k].clone(),
            _ => format!("channel {}", k + 1),
        })
        .collect();
    block.groups = names;
    Ok(Some(n))
}

impl Scanned<'_> {
    /// Blocks, groups of rows, and columns that may be traces. `every` asks for each signal of a table with many.
    pub(super) fn candidates(&self, options: &ReadOptions, every: bool) -> Vec<Candidate> {
        let several_blocks = self.tables.len() > 1;
        let mut all = Vec::new();
        for &b in &self.tables {
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
                self.side_by_side(b, None, title, options, every, &mut all);
                continue;
            }
            for (g, group) in block.groups.iter().enumerate() {
                let label = if title.is_empty() { group.clone() } else { format!("{title} / {group}") };
                if let Some(n) = self.channels {
                    all.push(Candidate { block: b, group: Some(g), columns: None, channel: Some((g, n)), label });
                    continue;
                }
                let group = (block.groups.len() > 1).then_some(g);
                self.side_by_side(b, group, label, options, every, &mut all);
            }
        }
        all
    }

    /// Pushes one candidate per pair of columns, or the one candidate that the table is.
    fn side_by_side(
        &self,
        block: usize,
        group: Option<usize>,
        title: String,
        options: &ReadOptions,
        every: bool,
        all: &mut Vec<Candidate>,
    ) {
        let whole = |label| Candidate { block, group, columns: None, channel: None, label };
        if options.time_column.is_some() || options.signal_column.is_some() {
            return all.push(whole(title));
        }
        let (columns, header) = (&self.blocks[block].columns, &self.headers[block]);
        // Groups share their columns: the first group's rows tell what the columns are.
        let rows = group.and_then(|_| self.blocks[block].segments.get(1)).map_or(self.blocks[block].rows, |s| s.0);
        let mut pairs = columns::side_by_side(columns, rows, header, options);
        if pairs.is_empty() && every {
            pairs = columns::signals(columns, rows, header, options);
        }
        if pairs.len() < 2 {
            return all.push(whole(title));
        }
        let alone = |label: &str, of: &dyn Fn(usize) -> String| {
            pairs.iter().filter(|p| of(p.signal.column) == label).count() == 1
        };
        let group_of = |s: usize| header.names[s].group.clone();
        let text_of = |s: usize| header.names[s].text.clone();
        let base_of = |s: usize| header.names[s].base.clone();
        for pair in &pairs {
            let s = pair.signal.column;
            let names = [group_of(s), base_of(s), text_of(s)];
            let unique = [alone(&names[0], &group_of), alone(&names[1], &base_of), alone(&names[2], &text_of)];
            let found =
                names.iter().zip(unique).find_map(|(name, unique)| (unique && !name.is_empty()).then_some(name));
            let name = match (found, &pair.time) {
                (Some(name), _) => name.clone(),
                (None, Some(t)) => format!("columns {} and {}", t.column + 1, s + 1),
                (None, None) => format!("column {}", s + 1),
            };
            let label = if title.is_empty() { name } else { format!("{title} / {name}") };
            all.push(Candidate { block, group, columns: Some(pair.clone()), channel: None, label });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_that_starts_again_is_told_from_a_saw() {
        let column = |values: &[f64]| Column { numeric: true, values: values.to_vec(), ..Column::default() };
        assert_eq!(restarts(&column(&[0.0, 1.0, 2.0, 3.0, 0.0, 1.0, 2.0])), Some(vec![0, 4]));
        assert_eq!(restarts(&column(&[0.0, 1.0, 2.0, 3.0, 1.0, 2.0, 3.0, 4.0])), Some(vec![0, 4]));
        for no in
            [&[0.0, 1.0, 2.0, 1.9, 3.0, 4.0][..], &[0.0, 1.0, 0.0, 1.0, 0.0, 1.0], &[3.0, 2.0, 1.0, 0.0, 1.0, 2.0]]
        {
            assert_eq!(restarts(&column(no)), None, "{no:?}");
        }
    }
}
