//! What the finished times and signals show: interval, gaps, a header that disagrees, a flat top; for the reading note.

use super::axis;
use super::clock::{Clock, TwoPlaces};
use super::header::{Fact, Header};
use super::names::fold;
use super::options::{ReadOptions, TimeUnit};
use super::scan::Column;
use super::statements::Stated;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::trace::ReadingNote;

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

/// Tells where the header's interval and the times disagree by more than the rounding of either.
pub(super) fn compare_interval(header: &Header, digit_s: f64, note: &mut ReadingNote) {
    let rounding = digit_s / note.points.max(2) as f64;
    for Stated { seconds, fact } in header.intervals() {
        // 0.1 %: a stated interval is rarely written with more than three digits.
        if (note.interval_s - seconds).abs() > rounding + 1e-3 * seconds {
            note.suspicions.push(format!(
                "line {} (\"{}\") states {} s between points, the times say {} s; the times are trusted",
                fact.line,
                fact.shown,
                significant(seconds, 4),
                significant(note.interval_s, 4)
            ));
        }
    }
}

/// Tells where a line states another start than the times have, by more than their last digit.
pub(super) fn compare_start(header: &Header, first_min: f64, digit_s: f64, note: &mut ReadingNote) {
    let Some(Stated { seconds, fact }) = header.delay() else { return };
    if (first_min * 60.0 - seconds).abs() > digit_s + 1e-6 * seconds.abs() {
        note.suspicions.push(format!(
            "line {} (\"{}\") states a start at {} s, the times start at {} s; the times are trusted",
            fact.line,
            fact.shown,
            significant(seconds, 4),
            significant(first_min * 60.0, 4)
        ));
    }
}

/// A column of clock times as seconds on the run's own axis, and where that came from, in words: where the clock tells
/// the time of day the first point is the start.
pub(super) fn clock_seconds(
    column: &mut Column,
    clock: Clock,
    t: usize,
    header: &Header,
    options: &ReadOptions,
) -> Result<String> {
    let name = header.names.get(t).map_or(String::new(), |n| fold(&n.text));
    let has = |words: &[&str]| words.iter().any(|w| name.contains(w));
    let mut what = "s, from clock times".to_owned();
    if clock.two_places == Some(TwoPlaces::Open) {
        let hours = match options.time_unit {
            Some(TimeUnit::Seconds) => false,
            Some(TimeUnit::Minutes) => true,
            _ if has(&["mm:ss", "m:ss", "min:s"]) => false,
            _ if has(&["hh:mm", "h:mm", "h:min"]) => true,
            _ => {
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    format!(
                        "the time, {}, holds clock times of two places: minutes and seconds, or hours and minutes?",
                        header.describe(t)
                    ),
                )
                .at_line(header.names_line.unwrap_or(1))
                .hint("set time_unit = \"s\" where the last place is seconds, \"min\" where it is minutes"));
            }
        };
        if hours {
            column.values.iter_mut().for_each(|v| *v *= 60.0);
        }
        what = format!("s, from clock times read as {}", if hours { "h:min" } else { "min:s" });
    }
    let first = column.values.iter().copied().find(|v| !v.is_nan()).unwrap_or(0.0);
    // Ten minutes: a run whose own clock starts later was not seen; our own choice.
    let (start, why) = match options.start_s {
        Some(start) => (start, "; start as the option says"),
        None if clock.of_day || first >= 600.0 => (0.0, "; the first point is 0 (option start_s)"),
        None => (first, ""),
    };
    if start != first {
        column.values.iter_mut().for_each(|v| *v = *v - first + start);
    }
    what.push_str(why);
    if clock.midnights > 0 {
        what.push_str("; the clock passed midnight");
    }
    Ok(what)
}

/// What the signal itself shows: a flat top, values beyond the detector's stated range.
pub(super) fn describe_signal(signal: &[f64], full_scale: Option<(f64, &Fact)>, note: &mut ReadingNote) {
    let high = signal.iter().fold(f64::NEG_INFINITY, |b, y| b.max(*y));
    if let Some((limit, fact)) = full_scale.filter(|f| high > f.0) {
        let beyond = signal.iter().filter(|y| **y > limit).count();
        note.suspicions.push(format!(
            "{beyond} point(s) lie beyond the detector's stated range, {limit} (line {}); areas there are not quantitative",
            fact.line
        ));
    }
    let (mut longest, mut run, mut at_top) = (0, 0, 0);
    for y in signal {
        run = if *y == high { run + 1 } else { 0 };
        at_top += usize::from(run > 0);
        longest = longest.max(run);
    }
    if longest < 3 || at_top * 5 > signal.len() {
        // A fifth of the trace at its top is a baseline, not a peak; our own choice.
        return;
    }
    // A signal of few steps is flat everywhere.
    let changes = signal.windows(2).filter(|w| w[0] != w[1]).count();
    if changes * 2 > signal.len() {
        note.suspicions.push(format!(
            "flat top: the largest signal, {high}, stands in {longest} rows in a row; it may have been cut off"
        ));
    }
}
