//! Delimited text to traces: the steps in order, and the note that tells what was decided.

use super::axis;
use super::buffers;
use super::columns::{self, Choice};
use super::describe::{clock_seconds, compare_interval, compare_start, describe_axis, describe_signal};
use super::header::Header;
use super::layout::Candidate;
use super::mend;
use super::names::fold;
use super::options::{ColumnChoice, MissingCells, ReadOptions, TimeUnit};
use super::scan::Column;
use super::scanned::{Scanned, list};
use super::settle::{axis_error, factor, time_unit, unit_of_signal, whole};
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
    let candidates = file.candidates(options, options.trace.is_some());
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
    let candidates = file.candidates(options, true);
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
    let (mut columns, all_rows, map) = file.rows_of(candidate);
    let b = candidate.block;
    let own;
    let header = match candidate.channel {
        Some((k, n)) => {
            own = file.headers[b].channel(k, n);
            &own
        }
        None => &file.headers[b],
    };
    let block = &file.blocks[b];
    let line_of = |row: usize| {
        let part = map.partition_point(|m| m.0 <= row).saturating_sub(1);
        block.line_of(map[part].1 + row - map[part].0)
    };
    if all_rows < 2 {
        return Err(Error::new(
            ErrorKind::Format,
            format!("only {all_rows} row of numbers; a trace needs at least 2 points"),
        )
        .at_line(line_of(0))
        .hint("check that the export is complete"));
    }
    let place = |e: Error, column: usize| e.at_column(column as u64 + 1);
    let words = file.free_text[b].then(|| block.groups[0].as_str());
    let roles = columns::assign(&columns, all_rows, header, options, words, candidate.columns.as_ref())
        .map_err(|e| e.at_line(line_of(0)))?;
    let mut note = file.note(candidate, candidates, header);
    note.suspicions.extend(roles.suspicions);

    let Choice { column: s, why } = roles.signal;
    let rows = end_rows(&mut columns, s, &line_of, &mut note);
    let t = roles.time.as_ref().map(|c| c.column);
    let kept = leave_out(&mut columns, t, s, options, &line_of, &mut note);
    let line_at = |row: usize| line_of(kept.as_ref().map_or(row, |k| k.get(row).copied().unwrap_or(row)));
    if options.missing_cells != Some(MissingCells::Interpolate) || kept.is_none() {
        whole(&columns[s], "signal").map_err(|e| place(e, s))?;
    }
    note.signal_column = format!("{}, {why}", header.describe(s));
    let counts = columns[s].scale <= 0;
    let (unit, step) = unit_of_signal(header, s, counts, options, &mut note);
    let factor = factor(header, counts, options, &mut note)?.or(step);
    compare_points(header, rows, &mut note);
    let mut signal = std::mem::take(&mut columns[s].values);

    let mut digit_s = 0.0;
    let (time_min, how) = match roles.time {
        Some(choice) => {
            let Choice { column: t, why } = choice;
            whole(&columns[t], "time").map_err(|e| place(e, t))?;
            note.time_column = format!("{}, {why}", header.describe(t));
            let (unit, from) = match columns[t].clock {
                Some(clock) => {
                    let what = clock_seconds(&mut columns[t], clock, t, header, options).map_err(|e| place(e, t))?;
                    note.time_unit = what;
                    (TimeUnit::Seconds, None)
                }
                None => {
                    let (unit, from) =
                        time_unit(&columns[t], &choice, header, options, &mut note).map_err(|e| place(e, t))?;
                    (unit, Some(from))
                }
            };
            if let Some(from) = from {
                note.time_unit = format!("{}, {from}", unit.symbol());
                if options.start_s.is_some() {
                    note.suspicions.push("start_s was not used: the file has times of its own".into());
                }
            }
            let scale = columns[t].scale;
            let stamps = std::mem::take(&mut columns[t].values);
            let (mut axis, merged) = settle(stamps, scale, signal, options, &mut note)
                .map_err(|(fault, stamps)| place(axis_error(fault, &stamps, t, header, &line_at), t))?;
            signal = merged;
            if unit != TimeUnit::Minutes {
                axis.time.iter_mut().for_each(|v| *v = unit.to_minutes(*v));
            }
            digit_s = unit.to_minutes(10f64.powi(-scale.clamp(-15, 15))) * 60.0;
            (axis.time, axis.how)
        }
        None => made_times(signal.len(), kept.as_deref(), header, options, &mut note),
    };
    note.points = time_min.len();
    note.time_axis = how;
    if note.points < 10 {
        note.suspicions.push(format!("only {} points", note.points));
    }
    if time_min.len() > 1 {
        describe_axis(&time_min, &mut note);
        if t.is_some() {
            compare_interval(header, digit_s, &mut note);
            compare_start(header, time_min[0], digit_s, &mut note);
        }
    }
    if options.missing_cells == Some(MissingCells::Interpolate) {
        let filled = mend::interpolate(&time_min, &mut signal);
        if filled > 0 {
            note.suspicions.push(format!("{filled} missing signal values were interpolated (option missing_cells)"));
        }
    }
    if let Some(factor) = factor {
        signal.iter_mut().for_each(|v| *v *= factor);
    }
    let full_scale = header.full_scale(&unit);
    describe_signal(&signal, full_scale, &mut note);
    let mut trace = Trace::new(time_min.as_slice(), signal.as_slice(), &unit)?;
    if let Some((limit, _)) = full_scale {
        trace = trace.with_detector_limits(None, Some(limit));
    }
    columns.into_iter().map(|c| c.values).chain([time_min, signal]).for_each(buffers::give_column);
    let label = if candidates.len() > 1 { candidate.label.clone() } else { String::new() };
    Ok(Found { label, trace, note })
}

/// Cuts rows at the end that have no signal: a shorter run beside a longer one.
fn end_rows(columns: &mut [Column], s: usize, line_of: &dyn Fn(usize) -> u64, note: &mut ReadingNote) -> usize {
    let rows = columns[s].values.len();
    let end = if columns[s].missing > 0 { mend::end_of(&columns[s], rows) } else { rows };
    // Fewer than two rows would be no trace at all; then the empty cells are told instead.
    if end < 2 || end == rows {
        return rows;
    }
    columns.iter_mut().for_each(|c| mend::cut(c, end));
    note.dropped.push(format!(
        "{} row(s) at the end without a signal value, from line {} on",
        rows - end,
        line_of(end)
    ));
    end
}

/// Leaves out rows without a value where the option says so; the rows that are left.
fn leave_out(
    columns: &mut [Column],
    t: Option<usize>,
    s: usize,
    options: &ReadOptions,
    line_of: &dyn Fn(usize) -> u64,
    note: &mut ReadingNote,
) -> Option<Vec<usize>> {
    let how = options.missing_cells?;
    if columns[s].missing == 0 && t.is_none_or(|t| columns[t].missing == 0) {
        return None;
    }
    let rows = columns[s].values.len();
    let kept = mend::whole_rows(t.map(|t| &columns[t]), &columns[s], how)?;
    let first = (0..rows).find(|row| kept.get(*row) != Some(row));
    if let (true, Some(first)) = (kept.len() < rows, first) {
        note.dropped.push(format!(
            "{} row(s) without a value, such as line {} (option missing_cells)",
            rows - kept.len(),
            line_of(first)
        ));
    }
    for column in columns.iter_mut().filter(|c| c.numeric && c.values.len() == rows) {
        column.values = kept.iter().map(|&row| column.values[row]).collect();
    }
    for c in t.into_iter().chain([s]) {
        columns[c].bad.retain(|b| !b.missing);
        columns[c].missing = 0;
    }
    Some(kept)
}

/// The axis behind the stamps; times that come twice are merged where the option says so.
fn settle(
    stamps: Vec<f64>,
    scale: i32,
    signal: Vec<f64>,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> std::result::Result<(axis::Axis, Vec<f64>), (axis::Fault, Vec<f64>)> {
    match (axis::settle(stamps, scale), options.repeated_times) {
        (Ok(axis), _) => Ok((axis, signal)),
        (Err((axis::Fault::Repeated(_), stamps)), Some(how)) => {
            let (time, merged) = mend::collapse(&stamps, &signal, how);
            note.dropped
                .push(format!("{} row(s) whose time came twice (option repeated_times)", stamps.len() - time.len()));
            Ok((axis::settle(time, scale)?, merged))
        }
        (Err(fault), _) => Err(fault),
    }
}

/// Times of a file without a time column: from the option or a line of its own.
fn made_times(
    rows: usize,
    kept: Option<&[usize]>,
    header: &Header,
    options: &ReadOptions,
    note: &mut ReadingNote,
) -> (Vec<f64>, String) {
    let stated = header.interval();
    let (step, from) = match (options.interval_s, &stated) {
        (Some(step), _) => {
            for other in header.intervals().iter().filter(|s| (s.seconds / step - 1.0).abs() > 1e-3) {
                note.suspicions.push(format!(
                    "line {} (\"{}\") states {} s between points; the option interval_s says {step} s",
                    other.fact.line, other.fact.shown, other.seconds
                ));
            }
            (step, "s, as the option interval_s says".to_owned())
        }
        (None, Some(s)) => (s.seconds, format!("s, from line {} (\"{}\")", s.fact.line, s.fact.shown)),
        (None, None) => (1.0, "s".to_owned()),
    };
    let delay = header.delay();
    let (start, since) = match (options.start_s, &delay) {
        (Some(start), _) => (start, format!("starting at {start} s, as the option says")),
        (None, Some(d)) => {
            (d.seconds, format!("starting at {} s, as line {} (\"{}\") states", d.seconds, d.fact.line, d.fact.shown))
        }
        (None, None) => (0.0, "starting at 0".to_owned()),
    };
    note.time_column = "none; point number times the interval".into();
    note.time_unit = from;
    let (step, start) = (step / 60.0, start / 60.0);
    let point = |i: usize| kept.map_or(i, |k| k[i]) as f64;
    ((0..rows).map(|i| start + point(i) * step).collect(), format!("made from the interval, {since}"))
}

/// Tells where a line states another number of points.
fn compare_points(header: &Header, rows: usize, note: &mut ReadingNote) {
    let Some((fact, counts)) = header.points() else { return };
    // Several counts stand for several runs side by side.
    let stated = counts[0];
    if !counts.contains(&rows) {
        note.suspicions.push(format!(
            "line {} (\"{}\") states {stated} points, the table has {rows}; the rows are trusted",
            fact.line, fact.shown
        ));
    }
}
