//! From the chosen columns to values: units, factor, whole cells; every refusal with its place.

use super::axis::{self, Fault};
use super::columns::Choice;
use super::header::Header;
use super::names::signal_unit;
use super::options::{Delimiter, ReadOptions, TimeUnit};
use super::scan::Column;
use crate::error::{Error, ErrorKind, Result};
use crate::trace::ReadingNote;

/// The signal's unit: by option, from its name, from a line of its own; empty where none says it.
pub(super) fn unit_of_signal(header: &Header, s: usize, options: &ReadOptions, note: &mut ReadingNote) -> String {
    let stated = header.names[s].unit.clone().map(|u| (u, header.units_line.or(header.names_line)));
    let stated = stated.or_else(|| header.signal_unit().map(|(u, line)| (u, Some(line))));
    let from = |line: Option<u64>| line.map_or("from the column's name".to_owned(), |l| format!("from line {l}"));
    let unit = match (&options.signal_unit, stated) {
        (Some(given), stated) => {
            let given = signal_unit(given).unwrap_or_else(|| given.trim().to_owned());
            if let Some((other, line)) = stated.filter(|s| s.0 != given) {
                note.suspicions
                    .push(format!("the file states the signal unit {other} ({}); the option says {given}", from(line)));
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

/// Channels under one another in one column, announced by their counts.
pub(super) fn refuse_stacked(header: &Header, columns: &[Column], rows: usize) -> Result<()> {
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

/// The factor for the signal; a stated one is a question, since it may have been applied already.
pub(super) fn factor(header: &Header, options: &ReadOptions) -> Result<Option<f64>> {
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

/// The unit of the time column.
pub(super) fn time_unit(
    column: &Column,
    &Choice { column: t, why }: &Choice,
    header: &Header,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> Result<(TimeUnit, String)> {
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
pub(super) fn whole(column: &Column, role: &str) -> Result<()> {
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

/// The sentence for a fault of the time axis.
pub(super) fn axis_error(
    fault: Fault,
    stamps: &[f64],
    t: usize,
    header: &Header,
    line_of: &dyn Fn(usize) -> u64,
) -> Error {
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

/// Mean interval, spread and gaps.
pub(super) fn describe_axis(time_min: &[f64], note: &mut ReadingNote) {
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

/// `0,5,1,2`: four whole numbers, or two with a decimal comma that also parts them?
pub(super) fn refuse_split_numbers(
    columns: &[Column],
    header: &Header,
    delimiter: Delimiter,
    options: &ReadOptions,
) -> Result<()> {
    let width = columns.len();
    let whole = columns.iter().all(|c| c.numeric && c.scale == 0 && c.missing == 0);
    let named = header.names_line.is_some() && header.unmatched != Some(width / 2);
    if delimiter != Delimiter::Comma || options.delimiter.is_some() || width % 2 == 1 || width < 4 || !whole || named {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::Ambiguous,
        format!("rows of {width} whole numbers without names for them may be {} with a decimal comma", width / 2),
    )
    .hint("set delimiter = \"comma\" if they are whole numbers; otherwise export with another delimiter"))
}
