//! Rows that are not whole: runs that end earlier than the table, cells without a value, times that come twice. Nothing is
//! mended unless an option asks for it, and each mending is told.

use super::options::{MissingCells, RepeatedTimes};
use super::scan::Column;

/// Rows up to the last one with a signal: beside a longer run a shorter one ends in empty cells. Cells that hold
/// something, or a time without a number, are for the caller to refuse.
pub(super) fn end_of(signal: &Column, rows: usize) -> usize {
    let mut end = rows;
    let odd = |row: usize| signal.bad.iter().any(|b| b.row == row && (!b.missing || !b.text.is_empty()));
    // Only the first few cells without a value keep their text; a run of empty ones at the end is taken as it looks.
    while end > 0 && signal.values[end - 1].is_nan() && !odd(end - 1) {
        end -= 1;
    }
    end
}

/// Cuts a column to its first `rows`.
pub(super) fn cut(column: &mut Column, rows: usize) {
    if column.numeric && column.values.len() > rows {
        column.missing -= column.values[rows..].iter().filter(|v| v.is_nan()).count().min(column.missing);
        column.values.truncate(rows);
        column.bad.retain(|b| b.row < rows);
    }
}

/// The rows with a number in both columns; `None` where all are whole or a cell holds letters.
pub(super) fn whole_rows(time: Option<&Column>, signal: &Column, how: MissingCells) -> Option<Vec<usize>> {
    let letters = |c: &Column| c.bad.iter().any(|b| !b.missing);
    if letters(signal) || time.is_some_and(letters) {
        return None;
    }
    let number = |c: &Column, row: usize| !c.values[row].is_nan();
    let (first, last) = match how {
        MissingCells::LeaveOut => (0, signal.values.len()),
        // Nothing stands on the other side of the ends to interpolate from.
        MissingCells::Interpolate => {
            let known = |row: &usize| number(signal, *row);
            let rows = 0..signal.values.len();
            (rows.clone().find(known)?, rows.rev().find(known)? + 1)
        }
    };
    let kept: Vec<usize> = (first..last)
        .filter(|&row| time.is_none_or(|t| number(t, row)))
        .filter(|&row| how == MissingCells::Interpolate || number(signal, row))
        .collect();
    (kept.len() < signal.values.len() || how == MissingCells::Interpolate).then_some(kept)
}

/// Fills gaps with the straight line between the neighbours; how many.
pub(super) fn interpolate(time: &[f64], signal: &mut [f64]) -> usize {
    let mut filled = 0;
    let mut last: Option<usize> = None;
    for i in 0..signal.len() {
        if signal[i].is_nan() {
            continue;
        }
        if let Some(a) = last.filter(|a| a + 1 < i) {
            let slope = (signal[i] - signal[a]) / (time[i] - time[a]);
            for k in a + 1..i {
                signal[k] = signal[a] + slope * (time[k] - time[a]);
                filled += 1;
            }
        }
        last = Some(i);
    }
    filled
}

/// One row for each run of rows with the same time.
pub(super) fn collapse(time: &[f64], signal: &[f64], how: RepeatedTimes) -> (Vec<f64>, Vec<f64>) {
    let (mut times, mut signals) = (Vec::new(), Vec::new());
    let mut i = 0;
    while i < time.len() {
        let n = time[i..].iter().take_while(|t| **t == time[i]).count().max(1);
        times.push(time[i]);
        signals.push(match how {
            RepeatedTimes::First => signal[i],
            RepeatedTimes::Last => signal[i + n - 1],
            RepeatedTimes::Mean => signal[i..i + n].iter().sum::<f64>() / n as f64,
        });
        i += n;
    }
    (times, signals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_and_repeats() {
        let mut signal = vec![0.0, f64::NAN, f64::NAN, 3.0, 5.0];
        assert_eq!(interpolate(&[0.0, 1.0, 2.0, 3.0, 4.0], &mut signal), 2);
        assert_eq!(signal, [0.0, 1.0, 2.0, 3.0, 5.0]);
        let (t, y) = collapse(&[0.0, 1.0, 1.0, 2.0], &[1.0, 2.0, 4.0, 8.0], RepeatedTimes::Mean);
        assert_eq!((t, y), (vec![0.0, 1.0, 2.0], vec![1.0, 3.0, 8.0]));
    }
}
