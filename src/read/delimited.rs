//! Delimited text to traces: the steps in order, and the note that tells what was decided.

use super::axis;
use super::buffers;
use super::columns::{self, Choice};
use super::names::fold;
use super::options::{ColumnChoice, ReadOptions, TimeUnit};
use super::scanned::{Candidate, Scanned, list};
use super::settle::{
    axis_error, describe_axis, factor, refuse_split_numbers, refuse_stacked, time_unit, unit_of_signal, whole,
};
use crate::error::{Error, ErrorKind, Result};
use crate::trace::{ReadingNote, Trace};

/// A trace, its name inside the file (empty where it is the only one), and how it was read.
pub(crate) struct Found {
    pub(crate) label: String,
    pub(crate) trace: Trace,
    pub(crate) note: ReadingNote,
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
    build(&mut file, &candidates, chosen, options)
}

/// Every trace of the text, or the one that the option `trace` names.
pub(crate) fn read_all(text: &str, options: &ReadOptions) -> Result<Vec<Found>> {
    let mut file = Scanned::new(text, options)?;
    let candidates = file.candidates();
    match &options.trace {
        Some(choice) => {
            let chosen = choose(&candidates, choice)?;
            Ok(vec![build(&mut file, &candidates, chosen, options)?])
        }
        None => (0..candidates.len()).map(|i| build(&mut file, &candidates, i, options)).collect(),
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

/// The trace of one candidate, step by step.
fn build(file: &mut Scanned<'_>, candidates: &[Candidate], chosen: usize, options: &ReadOptions) -> Result<Found> {
    let candidate = &candidates[chosen];
    let (mut columns, rows, map) = file.rows_of(candidate);
    let (b, header) = (candidate.block, &file.headers[candidate.block]);
    let block = &file.blocks[b];
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
    refuse_stacked(header, &columns, rows)?;
    refuse_split_numbers(&columns, header, file.dialect.delimiter, options).map_err(|e| e.at_line(line_of(0)))?;
    let words = file.free_text[b].then(|| block.groups[0].as_str());
    let roles = columns::assign(&columns, rows, header, options, words).map_err(|e| e.at_line(line_of(0)))?;
    let mut note = file.note(candidate, candidates, header);
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
    let unit = unit_of_signal(header, s, options, &mut note);
    let factor = factor(header, options)?;

    let (time_min, how) = match roles.time {
        Some(choice) => {
            let Choice { column: t, why } = choice;
            whole(&columns[t], "time").map_err(|e| place(e, t))?;
            note.time_column = format!("{}, {why}", header.describe(t));
            let (unit, from) = time_unit(&columns[t], &choice, header, options, &mut note).map_err(|e| place(e, t))?;
            note.time_unit = format!("{}, {from}", unit.symbol());
            let scale = columns[t].scale;
            let mut axis = axis::settle(std::mem::take(&mut columns[t].values), scale)
                .map_err(|(fault, stamps)| place(axis_error(fault, &stamps, t, header, &line_of), t))?;
            if unit != TimeUnit::Minutes {
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
