//! The traces and peak tables of a JCAMP-DX file: XYDATA in all its number forms, XYPOINTS, PEAK TABLE.
//!
//! A failed Y check is an error with its line: a difference was lost there, so every value of the line above is in
//! doubt. What a file states about itself (points, first and last values) is held against what was read.

use super::axis::{self, Fault};
use super::delimited::Found;
use super::describe::describe_axis;
use super::format;
use super::jcamp::{Block, Record, blocks};
use super::jcamp_numbers::{Mark, marks};
use super::jcamp_rows::{form, groups, no_number, numbered};
use super::names::time_unit;
use super::options::{ReadOptions, TimeUnit};
use super::peak_table::TabledPeak;
use crate::error::{Error, ErrorKind, Result};
use crate::trace::{ReadingNote, Trace};

/// The one trace of the text; several are a question that the option `trace` answers.
pub(super) fn read_one(text: &str, options: &ReadOptions) -> Result<Found> {
    let blocks = blocks(text)?;
    let tables = tables(&blocks)?;
    let labels = labels(&blocks, &tables);
    let chosen = match &options.trace {
        Some(choice) => format::choose(&labels, choice)?,
        None if tables.len() > 1 => {
            let (b, r) = tables[1];
            return Err(Error::new(
                ErrorKind::Ambiguous,
                format!("the file holds {} traces: {}", tables.len(), format::list(&labels)),
            )
            .at_line(blocks[b].records[r].line)
            .hint("set the option trace to a name or a number, or read all of them (read_all)"));
        }
        None => 0,
    };
    build(&blocks, &tables, &labels, chosen, options)
}

/// Every trace of the text, or the one that the option `trace` names.
pub(super) fn read_all(text: &str, options: &ReadOptions) -> Result<Vec<Found>> {
    let blocks = blocks(text)?;
    let tables = tables(&blocks)?;
    let labels = labels(&blocks, &tables);
    match &options.trace {
        Some(choice) => {
            let chosen = format::choose(&labels, choice)?;
            Ok(vec![build(&blocks, &tables, &labels, chosen, options)?])
        }
        None => (0..tables.len()).map(|i| build(&blocks, &tables, &labels, i, options)).collect(),
    }
}

/// The rows of every PEAK TABLE, in order.
pub(super) fn peaks(text: &str, options: &ReadOptions) -> Result<Vec<TabledPeak>> {
    let blocks = blocks(text)?;
    let mut peaks = Vec::new();
    for block in &blocks {
        for (at, record) in block.records.iter().enumerate().filter(|(_, r)| r.label == "PEAKTABLE") {
            let unit = unit_of_time(block, at, options)?.0;
            let signal_unit = stated_signal_unit(block, at).unwrap_or_default();
            let width = form(record)?.width;
            let [x, y] = [factor(block, "XFACTOR", at)?, factor(block, "YFACTOR", at)?];
            for (_, row) in groups(record, &mut 0)? {
                peaks.push(TabledPeak {
                    number: peaks.len() + 1,
                    name: None,
                    retention_min: unit.to_minutes(row[0] * x),
                    start_min: None,
                    end_min: None,
                    area: None,
                    height: Some(row[1] * y),
                    width_min: (width == 3).then(|| unit.to_minutes(row[2] * x)).filter(|w| *w > 0.0),
                    asymmetry: None,
                    baseline: None,
                    signal_unit: signal_unit.clone(),
                    unit_factor: 1.0,
                    area_as_written: None,
                    height_as_written: Some(row[1]),
                });
            }
        }
    }
    Ok(peaks)
}

/// Where the traces are: block and record.
fn tables(blocks: &[Block<'_>]) -> Result<Vec<(usize, usize)>> {
    let all = |wanted: &dyn Fn(&str) -> bool| -> Vec<(usize, usize)> {
        let of =
            |b: usize| blocks[b].records.iter().enumerate().filter(|(_, r)| wanted(&r.label)).map(move |(r, _)| (b, r));
        (0..blocks.len()).flat_map(of).collect()
    };
    let tables = all(&|label| matches!(label, "XYDATA" | "XYPOINTS"));
    if !tables.is_empty() {
        return Ok(tables);
    }
    let other = all(&|label| matches!(label, "PEAKTABLE" | "NTUPLES"));
    let Some(&(b, r)) = other.first() else {
        return Err(Error::new(
            ErrorKind::Format,
            "this JCAMP-DX file holds no ##XYDATA= and no ##XYPOINTS=, so no trace",
        )
        .hint("export the chromatogram, not only what is said about it"));
    };
    let record = &blocks[b].records[r];
    let (message, hint) = if record.label == "PEAKTABLE" {
        ("a peak table, not a trace", "read_peak_table reads it; export the trace as XYDATA or XYPOINTS")
    } else {
        ("NTUPLES, which are not read", "export the trace as XYDATA or XYPOINTS")
    };
    Err(Error::new(ErrorKind::Format, format!("this JCAMP-DX file holds {message}")).at_line(record.line).hint(hint))
}

fn labels(blocks: &[Block<'_>], tables: &[(usize, usize)]) -> Vec<String> {
    let label = |(i, (b, r)): (usize, &(usize, usize))| {
        blocks[*b].stated("TITLE", *r).map_or_else(|| format!("block {}", i + 1), |t| t.value.to_owned())
    };
    tables.iter().enumerate().map(label).collect()
}

/// The points of a table before units.
struct Points {
    x: Vec<f64>,
    y: Vec<f64>,
    axis: String,
}

fn build(
    blocks: &[Block<'_>],
    tables: &[(usize, usize)],
    labels: &[String],
    chosen: usize,
    options: &ReadOptions,
) -> Result<Found> {
    let (b, at) = tables[chosen];
    let (block, record) = (&blocks[b], &blocks[b].records[at]);
    let form = form(record)?;
    let mut note = ReadingNote {
        format: format!("JCAMP-DX {} ({})", form.words, record.label),
        delimiter: "as the standard says".into(),
        decimal_mark: "point".into(),
        header_rows: record.line as usize,
        trace: if tables.len() > 1 {
            format!("\"{}\", one of {}", labels[chosen], tables.len())
        } else {
            String::new()
        },
        header: block.records.iter().filter(|r| !r.is_table() && !r.value.is_empty()).map(shown).take(60).collect(),
        ..ReadingNote::default()
    };
    note.time_column = "X, as the standard says".into();
    note.signal_column = "Y, as the standard says".into();
    let unit = signal_units(block, at, options, &mut note);
    let (time_unit, from) = match options.interval_s {
        Some(_) => (TimeUnit::Seconds, "as the option interval_s says".into()),
        None => unit_of_time(block, at, options)?,
    };
    note.time_unit = format!("{}, {from}", time_unit.symbol());
    let mut points = if form.increments {
        increments(block, at, options, &mut note)?
    } else {
        pairs(block, at, options, &mut note)?
    };
    verify(block, at, &points, &mut note);
    if options.interval_s.is_none() && points.x.len() > 1 && points.x[0] > points.x[points.x.len() - 1] {
        points.x.reverse();
        points.y.reverse();
        note.suspicions.push("X falls from point to point; the points were put in the order of rising time".into());
    }
    let y_factor = options.signal_factor.unwrap_or(1.0);
    if y_factor != 1.0 {
        points.y.iter_mut().for_each(|y| *y *= y_factor);
        note.suspicions.push(format!("the signal was multiplied by {y_factor} (option signal_factor)"));
    }
    points.x.iter_mut().for_each(|x| *x = time_unit.to_minutes(*x));
    note.time_axis = points.axis;
    note.points = points.y.len();
    if note.points < 10 {
        note.suspicions.push(format!("only {} points", note.points));
    }
    let trace = Trace::new(points.x, points.y, &unit).map_err(|e| e.at_line(record.line))?;
    describe_axis(trace.time_min(), &mut note);
    let label = if tables.len() > 1 { labels[chosen].clone() } else { String::new() };
    Ok(Found { label, trace, note })
}

/// XYDATA=(X++(Y..Y)): lines of one X and many Y.
fn increments(block: &Block<'_>, at: usize, options: &ReadOptions, note: &mut ReadingNote) -> Result<Points> {
    let record = &block.records[at];
    let bytes: usize = record.lines.iter().map(|l| l.len()).sum();
    // DUP can claim any number of points in a few bytes; half of a plain file's, and 65,536 for flat lines.
    let most = bytes / 2 + 65_536;
    let mut y: Vec<f64> = Vec::new();
    let mut starts: Vec<(u64, usize, f64)> = Vec::new();
    // The last mark was a difference, so the next line begins with a check value.
    let mut check = false;
    for (line, text) in numbered(record) {
        let place = |e: Error| e.at_line(line);
        let found = marks(text, true, &mut 0).map_err(|n| no_number(&n.text, n.column, line))?;
        let Some((first, rest)) = found.split_first() else { continue };
        let Mark::Value(x) = *first else {
            return Err(place(Error::new(ErrorKind::Format, "the line does not begin with an X value")));
        };
        let mut rest = rest;
        if check {
            match (rest.first(), y.last()) {
                (Some(Mark::Value(v)), Some(last)) if (v - last).abs() <= 1e-9 * last.abs().max(1.0) => {}
                (Some(Mark::Value(v)), Some(last)) => {
                    return Err(place(Error::new(
                        ErrorKind::Format,
                        format!("the Y check fails: {v} is stated, the differences of the lines above lead to {last}"),
                    ))
                    .hint("a character was lost or changed in the line above; export the file again"));
                }
                _ => {
                    return Err(place(Error::new(
                        ErrorKind::Format,
                        "the line above ends in a difference, so this one must begin with a Y value to check it",
                    ))
                    .hint("export the file again"));
                }
            }
            rest = &rest[1..];
            starts.push((line, y.len().saturating_sub(1), x));
        } else {
            starts.push((line, y.len(), x));
        }
        let mut before: Option<Mark> = check.then(|| Mark::Value(y.last().copied().unwrap_or(0.0)));
        for mark in rest {
            let (step, times) = match *mark {
                Mark::Times(n) => (before, n.saturating_sub(1)),
                Mark::Missing => {
                    return Err(place(Error::new(ErrorKind::Format, "\"?\" stands for a missing Y value"))
                        .hint("a gap is never filled by guessing; export the trace again"));
                }
                other => (Some(other), 1),
            };
            let last = y.last().copied();
            if times > most.saturating_sub(y.len()) as u64 {
                return Err(place(Error::new(
                    ErrorKind::Format,
                    format!("{times} repeated values; more than {most} points are not believed of {bytes} bytes"),
                )));
            }
            match (step, last) {
                (Some(Mark::Value(v)), _) => y.extend(std::iter::repeat_n(v, times as usize)),
                (Some(Mark::Difference(d)), Some(last)) if before.is_some() => {
                    y.extend((1..=times).map(|k| last + k as f64 * d));
                }
                _ => {
                    return Err(place(Error::new(
                        ErrorKind::Format,
                        "a difference or a repetition without a value before it on its line",
                    )));
                }
            }
            before = step;
        }
        check = matches!(before, Some(Mark::Difference(_)));
    }
    let [x_factor, y_factor] = [factor(block, "XFACTOR", at)?, factor(block, "YFACTOR", at)?];
    if y.len() < 2 {
        return Err(too_few(y.len(), record));
    }
    y.iter_mut().for_each(|v| *v *= y_factor);
    if let Some(step) = options.interval_s {
        let x = (0..y.len()).map(|i| i as f64 * step).collect();
        return Ok(Points { x, y, axis: "made from the interval, starting at 0".into() });
    }
    let number = |label: &str| number(block, label, at);
    let (first, last, delta) = (number("FIRSTX")?, number("LASTX")?, number("DELTAX")?);
    let x0 = first.unwrap_or(starts[0].2 * x_factor);
    let n = y.len();
    let line_start = starts.iter().rev().find(|s| s.1 > starts[0].1);
    let (step, from) = match (first.zip(last), number("NPOINTS")?.filter(|p| *p == n as f64), delta) {
        // The standard's own definition of DELTAX; the stated one is rounded.
        (Some((a, b)), Some(_), _) if a != b => ((b - a) / (n - 1) as f64, "FIRSTX, LASTX and NPOINTS"),
        (_, _, Some(d)) if d != 0.0 => (d, "DELTAX"),
        _ => match line_start {
            Some(s) => ((s.2 - starts[0].2) * x_factor / (s.1 - starts[0].1) as f64, "the lines' own X"),
            None => {
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    "no DELTAX and no LASTX say how far apart the points are",
                )
                .at_line(record.line)
                .hint("set interval_s to the seconds between points"));
            }
        },
    };
    if let Some(d) = delta.filter(|d| (d - step).abs() > 1e-3 * step.abs()) {
        note.suspicions.push(format!("DELTAX states {d}, but {from} make {step}, which was taken"));
    }
    // More than one point off: points were lost or doubled. Less is the rounding of X on its line.
    let off = starts.iter().find(|(_, i, x)| (x * x_factor - (x0 + *i as f64 * step)).abs() > 1.0001 * step.abs());
    if let Some((line, i, x)) = off {
        note.suspicions.push(format!(
            "line {line}: X is {}, but point {} lies at {}; points may be lost above it",
            x * x_factor,
            i + 1,
            x0 + *i as f64 * step
        ));
    }
    let x = (0..n).map(|i| x0 + i as f64 * step).collect();
    Ok(Points { x, y, axis: format!("even: start {x0}, step {step}, from {from}") })
}

/// XYPOINTS=(XY..XY): pairs.
fn pairs(block: &Block<'_>, at: usize, options: &ReadOptions, note: &mut ReadingNote) -> Result<Points> {
    let record = &block.records[at];
    let mut decimals = 0;
    let rows = groups(record, &mut decimals)?;
    if rows.len() < 2 {
        return Err(too_few(rows.len(), record));
    }
    let [x_factor, y_factor] = [factor(block, "XFACTOR", at)?, factor(block, "YFACTOR", at)?];
    let y: Vec<f64> = rows.iter().map(|(_, r)| r[1] * y_factor).collect();
    if let Some(step) = options.interval_s {
        let x = (0..y.len()).map(|i| i as f64 * step).collect();
        return Ok(Points { x, y, axis: "made from the interval, starting at 0".into() });
    }
    let mut x: Vec<f64> = rows.iter().map(|(_, r)| r[0] * x_factor).collect();
    let falls = x[0] > x[x.len() - 1];
    if falls {
        x.reverse();
    }
    // Decimals of x and y are counted together; too many only mean that stamps are left as written.
    let scale = if x_factor == 1.0 { decimals } else { 300 };
    let line_of = |i: usize| rows[if falls { rows.len() - 1 - i } else { i }].0;
    let axis = axis::settle(x, scale).map_err(|(fault, x)| match fault {
        Fault::Backwards(i) => Error::new(
            ErrorKind::Format,
            format!("the time goes back from {} (line {}) to {}; times must rise", x[i - 1], line_of(i - 1), x[i]),
        )
        .at_line(line_of(i))
        .hint("if another trace starts here, put it into a block of its own; otherwise export again"),
        Fault::Repeated(i) => Error::new(
            ErrorKind::Format,
            format!("the time {} of line {} comes again; times must rise", x[i], line_of(i - 1)),
        )
        .at_line(line_of(i))
        .hint("remove one of the two points, or export the times with more decimals"),
    })?;
    let mut x = axis.time;
    if falls {
        x.reverse();
    }
    if let Some(d) = number(block, "DELTAX", at)?.filter(|_| !axis.how.starts_with("uneven")) {
        let step = (x[x.len() - 1] - x[0]) / (x.len() - 1) as f64;
        if (d - step).abs() > 1e-3 * step.abs() {
            note.suspicions.push(format!("DELTAX states {d}, but the points are {step} apart; they are trusted"));
        }
    }
    Ok(Points { x, y, axis: axis.how })
}

/// Points, first and last values as stated against those read.
fn verify(block: &Block<'_>, at: usize, points: &Points, note: &mut ReadingNote) {
    let n = points.y.len();
    let largest = |v: &[f64]| v.iter().fold(0.0, |m: f64, y| m.max(y.abs()));
    let step = (points.x[n - 1] - points.x[0]).abs() / (n - 1) as f64;
    let [of_x, of_y] = [0.01 * step + 1e-9 * largest(&points.x), 1e-6 * largest(&points.y)];
    let stated = [
        ("NPOINTS", n as f64, 0.0),
        ("FIRSTX", points.x[0], of_x),
        ("LASTX", points.x[n - 1], of_x),
        ("FIRSTY", points.y[0], of_y),
        ("LASTY", points.y[n - 1], of_y),
    ];
    for (label, seen, allowed) in stated {
        let Some(record) = block.stated(label, at) else { continue };
        match record.value.parse::<f64>() {
            Ok(v) if (v - seen).abs() <= allowed => {}
            _ => note.suspicions.push(format!(
                "line {} states {label} {}, but {seen} was read; the points are trusted",
                record.line,
                record.value.chars().take(40).collect::<String>()
            )),
        }
    }
}

fn unit_of_time(block: &Block<'_>, at: usize, options: &ReadOptions) -> Result<(TimeUnit, String)> {
    if let Some(given) = options.time_unit {
        return Ok((given, "as the option says".into()));
    }
    let record = &block.records[at];
    let ask = |e: Error| e.hint("set time_unit = \"min\", \"s\" or \"ms\"");
    let Some(stated) = block.stated("XUNITS", at) else {
        return Err(ask(Error::new(ErrorKind::Ambiguous, "no XUNITS state the unit of time: minutes or seconds?")
            .at_line(record.line)));
    };
    let found = time_unit(stated.value).or_else(|| {
        stated.value.split(|c: char| !c.is_alphanumeric()).filter(|w| w.len() > 1).rev().find_map(time_unit)
    });
    found.map(|u| (u, format!("from line {} (XUNITS)", stated.line))).ok_or_else(|| {
        let shown: String = stated.value.chars().take(40).collect();
        ask(Error::new(
            ErrorKind::Ambiguous,
            format!("XUNITS \"{shown}\" is no unit of time; a chromatogram is wanted"),
        )
        .at_line(stated.line))
    })
}

fn stated_signal_unit(block: &Block<'_>, at: usize) -> Option<String> {
    Some(format::spelled(block.stated("YUNITS", at)?.value))
}

fn signal_units(block: &Block<'_>, at: usize, options: &ReadOptions, note: &mut ReadingNote) -> String {
    let stated = stated_signal_unit(block, at);
    match (&options.signal_unit, stated) {
        (Some(given), stated) => {
            let given = format::spelled(given);
            if let Some(other) = stated.filter(|s| *s != given) {
                note.suspicions.push(format!("YUNITS state {other}; the option says {given}"));
            }
            note.signal_unit = format!("{given}, as the option says");
            given
        }
        (None, Some(unit)) => {
            note.signal_unit = format!("{unit}, from YUNITS");
            unit
        }
        (None, None) => {
            note.signal_unit = "not stated".into();
            String::new()
        }
    }
}

/// A number that a record states; an unreadable one is an error, since it decides over the axis.
fn number(block: &Block<'_>, label: &str, at: usize) -> Result<Option<f64>> {
    let Some(record) = block.stated(label, at) else { return Ok(None) };
    match record.value.parse::<f64>() {
        Ok(v) if v.is_finite() => Ok(Some(v)),
        _ => Err(Error::new(
            ErrorKind::Format,
            format!("{label} is \"{}\"; a number is wanted", record.value.chars().take(40).collect::<String>()),
        )
        .at_line(record.line)),
    }
}

fn factor(block: &Block<'_>, label: &str, at: usize) -> Result<f64> {
    Ok(number(block, label, at)?.filter(|f| *f != 0.0).unwrap_or(1.0))
}

fn too_few(points: usize, record: &Record<'_>) -> Error {
    Error::new(ErrorKind::Format, format!("only {points} point(s); a trace needs at least 2"))
        .at_line(record.line)
        .hint("check that the export is complete")
}

fn shown(record: &Record<'_>) -> String {
    format!("{} = {}", record.label, record.value).chars().take(200).collect()
}
