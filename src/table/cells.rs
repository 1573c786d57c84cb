//! From values to the texts of cells, and where a number's point lies.

use super::{Column, Rounding, Values};
use crate::estimate::{decimals, rounded, rounded_pair, significant};

/// Stands for what is missing.
pub(super) const MISSING: &str = "–";

/// From so many digits …
const FEWEST: usize = 4;
/// … to so many, to tell numbers apart that no uncertainty speaks for.
const MOST: usize = 7;

impl Column {
    /// The texts of these rows; `None` for missing cells.
    pub(super) fn texts(&self, rows: &[usize]) -> Vec<Option<String>> {
        match &self.values {
            Values::Text(v) => rows.iter().map(|&i| v.get(i)?.as_deref().map(visible)).collect(),
            Values::Flags(v) => {
                rows.iter().map(|&i| Some(if (*v.get(i)?)? { "yes" } else { "no" }.to_owned())).collect()
            }
            Values::Numbers(v) => {
                let plain = self.plain_digits(v, rows);
                rows.iter().map(|&i| v.get(i).copied().flatten().map(|x| self.number(x, i, plain))).collect()
            }
        }
    }

    fn number(&self, x: f64, row: usize, plain: Digits) -> String {
        let partner = |list: &[Option<f64>]| list.get(row).copied().flatten();
        match &self.rounding {
            Rounding::Plain => plain.text(x),
            Rounding::Significant(digits) => significant(x, *digits),
            Rounding::Decimals(places) => decimals(x, *places),
            Rounding::ByUncertainty(us) => match partner(us).filter(|u| *u > 0.0) {
                Some(u) => rounded(x, u),
                None => plain.text(x),
            },
            Rounding::OfValues(values) => match partner(values).filter(|_| x > 0.0) {
                Some(value) => rounded_pair(value, x).1,
                None => significant(x, 2),
            },
        }
    }

    /// Digits for numbers without uncertainty: enough that different ones read differently.
    fn plain_digits(&self, values: &[Option<f64>], rows: &[usize]) -> Digits {
        if matches!(self.rounding, Rounding::Significant(_) | Rounding::Decimals(_)) {
            return Digits::Significant(FEWEST);
        }
        let whole = |x: &f64| x.fract() == 0.0 && x.abs() < 1e6;
        if values.iter().flatten().all(whole) {
            return Digits::Whole;
        }
        let mut shown: Vec<f64> = rows.iter().filter_map(|&i| values.get(i).copied().flatten()).collect();
        shown.sort_by(f64::total_cmp);
        shown.dedup();
        let alike = |digits: usize| shown.windows(2).any(|w| significant(w[0], digits) == significant(w[1], digits));
        Digits::Significant((FEWEST..MOST).find(|&d| !alike(d)).unwrap_or(MOST))
    }
}

#[derive(Clone, Copy)]
enum Digits {
    Whole,
    Significant(usize),
}

impl Digits {
    fn text(self, x: f64) -> String {
        match self {
            Digits::Whole => decimals(x, 0),
            Digits::Significant(digits) => significant(x, digits),
        }
    }
}

/// Foreign text on one line, with nothing in it that acts on a terminal or turns the direction of reading.
pub(super) fn visible(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' => ' ',
            '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{2028}' | '\u{2029}' => {
                '\u{fffd}'
            }
            '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// A number's text in three parts: before the point, point and decimals, power of ten.
pub(super) fn split(number: &str) -> [&str; 3] {
    let (mantissa, power) = number.split_at(number.find(" ×").unwrap_or(number.len()));
    let (left, right) = mantissa.split_at(mantissa.find('.').unwrap_or(mantissa.len()));
    [left, right, power]
}

/// Widths of the three parts over a column, in letters.
pub(super) fn widths(texts: &[Option<String>]) -> [usize; 3] {
    let mut most = [0; 3];
    for text in texts.iter() {
        let parts = split(text.as_deref().unwrap_or(MISSING));
        for (most, part) in most.iter_mut().zip(parts) {
            *most = (*most).max(part.chars().count());
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty_or_tell_numbers_apart() {
        let rows = [0, 1, 2];
        let texts = |c: &Column| c.texts(&rows).into_iter().map(Option::unwrap_or_default).collect::<Vec<_>>();
        // GUM H.1.4: l = 50 000 838 nm with u = 32 nm; 7.2.2: 100.021 47 g with u = 0.35 mg.
        let [value, u] = Column::measured("mass", "g", vec![Some(100.021_47), None], vec![Some(0.000_35), None]);
        assert_eq!(texts(&value), ["100.02147", "", ""]);
        assert_eq!(texts(&u), ["0.00035", "", ""]);
        assert_eq!(texts(&Column::numbers("n", "", [12.0, 3.0, 250_000.0])), ["12", "3", "250000"]);
        assert_eq!(texts(&Column::numbers("t", "min", [14.9983, 14.9991, 15.0])), ["14.998", "14.999", "15.000"]);
        assert_eq!(texts(&Column::numbers("x", "", [0.5, f64::NAN, f64::INFINITY])), ["0.5000", "", ""]);
        assert_eq!(texts(&Column::flags("ok", [Some(true), None, Some(false)])), ["yes", "", "no"]);
    }

    #[test]
    fn points_are_found() {
        assert_eq!(split("-12.34"), ["-12", ".34", ""]);
        assert_eq!(split("1.2 × 10^7"), ["1", ".2", " × 10^7"]);
        assert_eq!(split("300"), ["300", "", ""]);
        assert_eq!(visible("a\nb\u{1b}[31m\u{202e}c"), "a b\u{fffd}[31m\u{fffd}c");
    }
}
