//! From the chosen columns to values: units, factor, whole cells; every refusal with its place.

use super::axis::{self, Fault};
use super::columns::Choice;
use super::header::Header;
use super::names::{Meaning, Name, signal_unit};
use super::options::{Delimiter, ReadOptions, TimeUnit};
use super::scan::{Block, Column};
use super::statements::Stated;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::trace::ReadingNote;

/// The signal's unit: by option, from its name, from a line of its own; empty where none says it.
pub(super) fn unit_of_signal(
    header: &Header,
    s: usize,
    counts: bool,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> (String, Option<f64>) {
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
    // "25 µV": what one step of the converter is.
    let step = unit.find(|c: char| !(c.is_ascii_digit() || c == '.')).filter(|at| *at > 0);
    let parted = step.and_then(|at| Some((unit[..at].parse::<f64>().ok()?, signal_unit(&unit[at..])?)));
    let Some((step, plain)) = parted else {
        return (unit, None);
    };
    match options.signal_factor {
        Some(factor) if factor == step => (plain, None),
        None if counts && options.signal_unit.is_none() && header.signal_factor().is_none() => {
            note.suspicions.push(format!(
                "the whole numbers of the signal count steps of {unit}, and were multiplied by {step} \
                 (signal_factor = 1 keeps them as they are)"
            ));
            note.signal_unit = note.signal_unit.replacen(&unit, &plain, 1);
            (plain, Some(step))
        }
        _ => {
            note.suspicions.push(format!(
                "one step of the signal is {unit}; values were not multiplied (options signal_factor, signal_unit)"
            ));
            (unit, None)
        }
    }
}

/// The factor for the signal. A stated one is applied to whole numbers, which count something; beside decimals it is a
/// question, since it may have been applied already.
pub(super) fn factor(
    header: &Header,
    counts: bool,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> Result<Option<f64>> {
    let fact = match (options.signal_factor, header.signal_factor()) {
        (Some(factor), _) => {
            if factor != 1.0 {
                note.suspicions.push(format!("the signal was multiplied by {factor} (option signal_factor)"));
            }
            return Ok((factor != 1.0).then_some(factor));
        }
        (None, None) => return Ok(None),
        (None, Some(fact)) => fact,
    };
    let stated = fact.values.first().and_then(|v| v.trim().replace(',', ".").parse::<f64>().ok());
    match stated.filter(|f| counts && f.is_finite() && *f != 0.0 && fact.values.len() == 1) {
        Some(factor) => {
            note.suspicions.push(format!(
                "the whole numbers of the signal were multiplied by {factor}, as line {} (\"{}\") states \
                 (signal_factor = 1 keeps them as they are)",
                fact.line, fact.shown
            ));
            Ok(Some(factor))
        }
        None => Err(Error::new(
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
            if let Some((unit, Stated { seconds, fact })) = unit_by_interval(column, header) {
                let from = format!(
                    "since line {} (\"{}\") states {seconds} s between points and the steps are {} {}",
                    fact.line,
                    fact.shown,
                    significant(mean_step(column), 4),
                    unit.symbol()
                );
                return Ok((unit, from));
            }
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

/// The unit in which the steps of a time column are the interval that a line states; the units lie a factor of 60 or more
/// apart, so 2 % (our own choice) cannot take one for another.
fn unit_by_interval(column: &Column, header: &Header) -> Option<(TimeUnit, Stated)> {
    let stated = header.interval().filter(|_| header.other_interval().is_none())?;
    let step = mean_step(column);
    let fits = |unit: &TimeUnit| (unit.to_minutes(step) * 60.0 / stated.seconds - 1.0).abs() < 0.02;
    let units = [TimeUnit::Milliseconds, TimeUnit::Seconds, TimeUnit::Minutes, TimeUnit::Hours];
    Some((units.into_iter().find(fits)?, stated))
}

fn mean_step(column: &Column) -> f64 {
    let values = &column.values;
    let (first, last) = (values.first().unwrap_or(&0.0), values.last().unwrap_or(&0.0));
    (last - first) / (values.len().max(2) - 1) as f64
}

/// Refuses a table of results by its names: two of its words, one above numbers, and no column named as a time that rises
/// evenly.
pub(super) fn refuse_results(block: &Block, header: &Header, options: &ReadOptions) -> Result<()> {
    let named = |(c, name): (usize, &Name)| name.is_result().then_some(c);
    let columns: Vec<usize> = header.names.iter().enumerate().filter_map(named).collect();
    let numbers = |c: &usize| block.columns.get(*c).is_some_and(|column| column.numeric);
    let rows = block.segments.get(1).map_or(block.rows, |s| s.0);
    let is_time = |(name, column): (&Name, &Column)| {
        name.meaning == Meaning::Time
            && column.numeric
            && axis::rises_evenly(&column.values[..rows.min(column.values.len())], column.scale)
    };
    if columns.len() < 2
        || !columns.iter().any(numbers)
        || header.names.iter().zip(&block.columns).any(is_time)
        || options.time_column.is_some()
        || options.signal_column.is_some()
    {
        return Ok(());
    }
    let found: Vec<&str> = columns.iter().map(|&c| header.names[c].text.as_str()).collect();
    let list = found.iter().take(4).map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ");
    Err(Error::new(ErrorKind::Format, format!("the columns {list} are those of a table of results, not of a trace"))
        .at_line(header.names_line.unwrap_or(1))
        .hint("read it with Table::read; if it is a trace after all, set time_column and signal_column"))
}

/// Refuses a column with cells that hold no number; letters in a number come first.
pub(super) fn whole(column: &Column, role: &str) -> Result<()> {
    let Some(bad) = column.bad.iter().find(|b| !b.missing).or(column.bad.first()) else { return Ok(()) };
    let (message, hint) = if bad.missing {
        let seen = if bad.text.is_empty() { "an empty cell".to_owned() } else { format!("\"{}\"", bad.text) };
        let more = if column.missing > 1 { format!(" ({} such cells in all)", column.missing) } else { String::new() };
        (
            format!("{seen} where a {role} value is wanted{more}; a gap is never filled by guessing"),
            format!(
                "correct the row, set missing_cells = \"leave_out\" or \"interpolate\", or set {role}_column to another \
                 column"
            ),
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
            Error::new(ErrorKind::Format, message).at_line(line_of(i)).hint(
                "set repeated_times = \"mean\", \"first\" or \"last\", remove one of the two rows, or export the times \
                     with more decimals",
            )
        }
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
