//! ASTM E1947 ("Standard Specification for Analytical Data Interchange Protocol for Chromatographic Data"): the trace
//! of a netCDF-3 file, with its metadata, and its peak table.
//!
//! Times are in the file's `retention_unit`; the peak table may be in another signal unit than the trace, so it is
//! matched by content (heights against the trace) and not by what the file claims.

use super::delimited::Found;
use super::describe::describe_axis;
use super::format;
use super::names::time_unit;
use super::netcdf::{Kind, NetCdf, Value, is_missing};
use super::options::{ReadOptions, TimeUnit};
use super::peak_table::TabledPeak;
use crate::error::{Error, ErrorKind, Result};
use crate::trace::{ReadingNote, Trace};

/// Our own variable: times in minutes to the last bit, where the standard's seconds cannot hold them.
pub(super) const OWN_TIMES: &str = "vialbook_time_min";

/// The trace of the file.
pub(super) fn read(bytes: &[u8], options: &ReadOptions) -> Result<Found> {
    let file = NetCdf::parse(bytes)?;
    let label = file.text("detector_name").unwrap_or_default().to_owned();
    if let Some(choice) = &options.trace {
        format::choose(&[label], choice)?;
    }
    let mut note = ReadingNote {
        format: "ASTM E1947 netCDF-3".into(),
        encoding: "binary, big-endian".into(),
        delimiter: "none".into(),
        decimal_mark: "none".into(),
        header: metadata(&file),
        ..ReadingNote::default()
    };
    let mut signal = signal(&file)?;
    note.signal_column = "ordinate_values, as the standard says".into();
    note.points = signal.len();
    let unit = unit_of_signal(&file, options, &mut note);
    let time_min = times(&file, signal.len(), options, &mut note)?;
    let full_scale = full_scale(&file, &signal, &unit, &mut note)?;
    if let Some(factor) = options.signal_factor.filter(|f| *f != 1.0) {
        signal.iter_mut().for_each(|y| *y *= factor);
        note.suspicions.push(format!("the signal was multiplied by {factor} (option signal_factor)"));
    }
    let full_scale = full_scale.map(|f| f * options.signal_factor.unwrap_or(1.0).abs());
    let trace = Trace::new(time_min, signal, &unit)?.with_detector_limits(None, full_scale);
    describe_axis(trace.time_min(), &mut note);
    Ok(Found { label: String::new(), trace, note })
}

/// The file's peak table, in minutes and the trace's signal unit; empty where it has none.
pub(super) fn peaks(bytes: &[u8], options: &ReadOptions) -> Result<Vec<TabledPeak>> {
    let file = NetCdf::parse(bytes)?;
    let Found { trace, .. } = read(bytes, options)?;
    let unit = unit_of_time(&file, options)?.0;
    let column = |name: &str| -> Result<Vec<Option<f64>>> {
        Ok(file.numbers(name)?.into_iter().map(|v| Some(v).filter(|v| !is_missing(*v))).collect())
    };
    let times = |name: &str| -> Result<Vec<Option<f64>>> {
        Ok(column(name)?.into_iter().map(|v| v.map(|t| unit.to_minutes(t))).collect())
    };
    let retention = times("peak_retention_time")?;
    let (start, end, width) = (times("peak_start_time")?, times("peak_end_time")?, times("peak_width")?);
    let (area, height, asymmetry) = (column("peak_area")?, column("peak_height")?, column("peak_asymmetry")?);
    let base: [Vec<Option<f64>>; 4] = [
        times("baseline_start_time")?,
        column("baseline_start_value")?,
        times("baseline_stop_time")?,
        column("baseline_stop_value")?,
    ];
    let names = file.texts("peak_name")?;
    let at = |v: &Vec<Option<f64>>, i: usize| v.get(i).copied().flatten();
    let rows = || retention.iter().enumerate().filter_map(|(i, t)| Some((i, (*t)?)));
    let factor = unit_factor(&trace, rows().filter_map(|(i, t)| Some((t, at(&height, i)?))));
    let per_minute = factor * unit.to_minutes(1.0);
    Ok(rows()
        .map(|(i, retention_min)| TabledPeak {
            number: i + 1,
            name: names.get(i).filter(|n| !n.is_empty()).cloned(),
            retention_min,
            start_min: at(&start, i),
            end_min: at(&end, i),
            area: at(&area, i).map(|a| a * per_minute),
            height: at(&height, i).map(|h| h * factor),
            // 0 stands for "not determined".
            width_min: at(&width, i).filter(|w| *w > 0.0),
            asymmetry: at(&asymmetry, i).filter(|a| *a > 0.0),
            baseline: (|| Some([[at(&base[0], i)?, at(&base[1], i)?], [at(&base[2], i)?, at(&base[3], i)?]]))(),
            signal_unit: trace.signal_unit().to_owned(),
            unit_factor: factor,
            area_as_written: at(&area, i),
            height_as_written: at(&height, i),
        })
        .collect())
}

/// One table unit in units of the trace: the power of a thousand that brings the tabled heights nearest to the trace.
fn unit_factor(trace: &Trace, heights: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (time, signal) = (trace.time_min(), trace.signal());
    let mut ratios: Vec<f64> = heights
        .filter_map(|(t, height)| {
            let i = trace.index_at(t).clamp(1, time.len() - 1);
            let seen = signal[i - 1].max(signal[i]);
            (height > 0.0 && seen > 0.0).then(|| (seen / height).log10())
        })
        .collect();
    if ratios.is_empty() {
        return 1.0;
    }
    ratios.sort_by(f64::total_cmp);
    // Heights stand above a baseline, the trace above zero: only the nearest SI prefix is asked of the median.
    let thousands = (ratios[ratios.len() / 2] / 3.0).round().clamp(-4.0, 4.0);
    10f64.powi(3 * thousands as i32)
}

fn signal(file: &NetCdf<'_>) -> Result<Vec<f64>> {
    const NAME: &str = "ordinate_values";
    if !file.has(NAME) {
        return Err(Error::new(ErrorKind::Format, "this netCDF file has no variable ordinate_values, so no trace")
            .hint("a chromatogram as in ASTM E1947 is wanted; export it as that, or as text"));
    }
    let values = file.numbers(NAME)?;
    if let Some(i) = values.iter().position(|y| !y.is_finite() || (*y > 9.9e36 && *y < 1.0e37)) {
        return Err(Error::new(
            ErrorKind::Format,
            format!(
                "ordinate_values, point {}: {} stands for a missing value; a signal value is wanted",
                i + 1,
                values[i]
            ),
        )
        .hint("a gap is never filled by guessing; export the trace again"));
    }
    Ok(values)
}

/// The times in minutes: our own variable, then the standard's list of times, then delay and interval.
fn times(file: &NetCdf<'_>, points: usize, options: &ReadOptions, note: &mut ReadingNote) -> Result<Vec<f64>> {
    if let Some(step) = options.interval_s {
        note.time_column = "none; point number times interval_s".into();
        note.time_unit = "s, as the option interval_s says".into();
        note.time_axis = "made from the interval, starting at 0".into();
        return Ok((0..points).map(|i| i as f64 * (step / 60.0)).collect());
    }
    let (unit, from) = unit_of_time(file, options)?;
    note.time_unit = format!("{}, {from}", unit.symbol());
    let lengths = |name: &str, n: usize| {
        Error::new(ErrorKind::Format, format!("{name} holds {n} times for {points} points of ordinate_values"))
    };
    if file.has(OWN_TIMES) {
        let times = file.numbers(OWN_TIMES)?;
        note.time_column = format!("{OWN_TIMES}, written by this program");
        note.time_axis = "as written".into();
        return if times.len() == points { Ok(times) } else { Err(lengths(OWN_TIMES, times.len())) };
    }
    const LISTED: &str = "raw_data_retention";
    if file.has(LISTED) {
        let mut times = file.numbers(LISTED)?;
        if times.len() != points {
            return Err(lengths(LISTED, times.len()));
        }
        note.time_column = format!("{LISTED}, as the standard says");
        note.time_axis = "as written".into();
        times.iter_mut().for_each(|t| *t = unit.to_minutes(*t));
        return Ok(times);
    }
    let step = rounded(file, "actual_sampling_interval")?.filter(|s| *s > 0.0).ok_or_else(|| {
        Error::new(ErrorKind::Format, "neither raw_data_retention nor a positive actual_sampling_interval is there")
            .hint("set interval_s to the seconds between points")
    })?;
    let start = rounded(file, "actual_delay_time")?.unwrap_or(0.0);
    note.time_column = "actual_delay_time and actual_sampling_interval, as the standard says".into();
    let float = file.kind("actual_sampling_interval") == Some(Kind::Float);
    let digits = if float { ", rounded to the 7 digits that 4 bytes hold" } else { "" };
    note.time_axis = format!("even: start {start}, step {step} {}{digits}", unit.symbol());
    let end = step * points as f64;
    if let Some(stated) = file.number("actual_run_time_length")?.filter(|s| *s > 0.0)
        && (stated - end).abs() > 2.0 * step + start.abs() + 1e-6 * end
    {
        note.suspicions.push(format!(
            "actual_run_time_length is {stated}, but {points} points every {step} make {end}; the points are trusted"
        ));
    }
    Ok((0..points).map(|i| unit.to_minutes(start + i as f64 * step)).collect())
}

/// A number, or the 7 significant digits that one of 4 bytes stands for: 0.1, not 0.100000001.
fn rounded(file: &NetCdf<'_>, name: &str) -> Result<Option<f64>> {
    let value = file.number(name)?;
    Ok(match (value, file.kind(name)) {
        (Some(v), Some(Kind::Float)) => format!("{v:.6e}").parse().ok(),
        _ => value,
    })
}

fn unit_of_time(file: &NetCdf<'_>, options: &ReadOptions) -> Result<(TimeUnit, String)> {
    if let Some(given) = options.time_unit {
        return Ok((given, "as the option says".into()));
    }
    let Some(stated) = file.text("retention_unit") else {
        return Err(Error::new(ErrorKind::Ambiguous, "the file states no retention_unit: seconds or minutes?")
            .hint("set time_unit = \"s\" or \"min\""));
    };
    // "seconds" in one file, "time in seconds" in another.
    let found = time_unit(stated).or_else(|| stated.split_whitespace().rev().find_map(time_unit));
    found.map(|u| (u, format!("from retention_unit (\"{stated}\")"))).ok_or_else(|| {
        Error::new(ErrorKind::Ambiguous, format!("the retention_unit \"{stated}\" is not known: seconds or minutes?"))
            .hint("set time_unit = \"s\" or \"min\"")
    })
}

fn unit_of_signal(file: &NetCdf<'_>, options: &ReadOptions, note: &mut ReadingNote) -> String {
    let stated = file.text("detector_unit").map(format::spelled).filter(|u| !u.is_empty());
    match (&options.signal_unit, stated) {
        (Some(given), stated) => {
            let given = format::spelled(given);
            if let Some(other) = stated.filter(|s| *s != given) {
                note.suspicions.push(format!("detector_unit states {other}; the option says {given}"));
            }
            note.signal_unit = format!("{given}, as the option says");
            given
        }
        (None, Some(unit)) => {
            note.signal_unit = format!("{unit}, from detector_unit");
            unit
        }
        (None, None) => {
            note.signal_unit = "not stated".into();
            String::new()
        }
    }
}

/// The detector's stated maximum as full scale, unless it merely repeats the trace's own largest value.
fn full_scale(file: &NetCdf<'_>, signal: &[f64], unit: &str, note: &mut ReadingNote) -> Result<Option<f64>> {
    let Some(most) = file.number("detector_maximum_value")?.filter(|m| *m > 0.0) else { return Ok(None) };
    let (least, largest) = signal.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), y| (a.min(*y), b.max(*y)));
    // Some writers put the data's own range here, in 4 bytes: 1e-6 is above their rounding.
    if (most - largest).abs() <= 1e-6 * largest.abs() {
        note.suspicions.push(format!(
            "detector_maximum_value ({most}) is the trace's own largest value, so it states no full scale"
        ));
        return Ok(None);
    }
    let beyond = signal.iter().filter(|y| **y > most).count();
    if beyond > 0 {
        note.suspicions.push(format!(
            "{beyond} points are beyond the detector's stated range (up to {largest}, stated {most} {unit}): areas there are not quantitative"
        ));
    }
    if let Some(low) = file.number("detector_minimum_value")?.filter(|l| least < *l && *l < most && *l < 0.0) {
        let below = signal.iter().filter(|y| **y < low).count();
        note.suspicions.push(format!(
            "{below} points are beyond the detector's stated range (down to {least}, stated {low} {unit})"
        ));
    }
    Ok(Some(most))
}

/// The file's attributes as lines, for the record; 60 and 200 characters are a guard against a file of prose.
fn metadata(file: &NetCdf<'_>) -> Vec<String> {
    let lines = file.attributes.iter().filter_map(|a| match &a.value {
        Value::Text(t) if !t.is_empty() => Some(format!("{} = {t}", a.name)),
        Value::Text(_) => None,
        Value::Numbers(n) => n.first().map(|v| format!("{} = {v}", a.name)),
    });
    let flag = file.text_at("ordinate_values", "uniform_sampling_flag").map(|f| format!("uniform_sampling_flag = {f}"));
    lines.chain(flag).take(60).map(|l| l.chars().take(200).collect()).collect()
}
