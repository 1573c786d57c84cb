//! Numbers as the report prints them: the crate's rules for number and text, in the page's typography.

use crate::estimate::{self, typographic};

/// A dash for what is missing.
pub(super) const MISSING: &str = "–";

/// `x` with `digits` significant digits, by the crate's one rule, with the page's minus and powers.
pub(super) fn significant(x: f64, digits: usize) -> String {
    if x.is_finite() { typographic(&estimate::significant(x, digits)) } else { MISSING.to_owned() }
}

/// `x` with a fixed number of decimals and a true minus sign; never "−0.00".
pub(super) fn decimals(x: f64, places: usize) -> String {
    if !x.is_finite() {
        return MISSING.to_owned();
    }
    let text = format!("{x:.places$}");
    if text.trim_start_matches('-').bytes().all(|b| matches!(b, b'0' | b'.')) {
        return text.trim_start_matches('-').to_owned();
    }
    minus(&text)
}

/// Value and standard uncertainty, rounded to one place by the crate's one rule.
pub(super) fn with_u(value: f64, u: f64) -> (String, String) {
    if !(value.is_finite() && u.is_finite() && u > 0.0) {
        return (significant(value, 4), MISSING.to_owned());
    }
    let (value, u) = estimate::rounded_pair(value, u);
    (typographic(&value), typographic(&u))
}

/// An interval by the crate's one rule; a dash where it has no end at all.
pub(super) fn interval(ends: [Option<f64>; 2], u: Option<f64>) -> String {
    if ends == [None, None] {
        return MISSING.to_owned();
    }
    typographic(&estimate::interval_text(ends, u.unwrap_or(f64::NAN), ""))
}

/// A number as somebody typed it: no trailing zeros, at most 10 significant digits.
pub(super) fn typed(x: f64) -> String {
    let text = significant(x, 10);
    if text.contains('×') || !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A probability: "0.61", "below 0.001", "above 0.999".
pub(super) fn probability(p: f64) -> String {
    match p {
        p if p < 0.001 => "< 0.001".to_owned(),
        p if p > 0.999 => "> 0.999".to_owned(),
        p => significant(p, 2),
    }
}

/// Degrees of freedom: whole numbers without decimals; `None` stands for no limit.
pub(super) fn dof(dof: Option<f64>) -> String {
    match dof {
        None => "∞".to_owned(),
        Some(v) if !v.is_finite() || v > 1e4 => "∞".to_owned(),
        Some(v) if (v - v.round()).abs() < 0.05 => decimals(v, 0),
        Some(v) => decimals(v, 1),
    }
}

/// Text of an optional number, or a dash.
pub(super) fn or_dash(x: Option<f64>, text: fn(f64) -> String) -> String {
    x.filter(|v| v.is_finite()).map_or_else(|| MISSING.to_owned(), text)
}

fn minus(text: &str) -> String {
    text.replacen('-', "\u{2212}", 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_as_in_print() {
        assert_eq!(significant(-0.00012345, 3), "\u{2212}0.000123");
        assert_eq!(significant(0.703_665_9, 4), "0.7037");
        assert_eq!(with_u(19.9102, 0.1234), ("19.91".into(), "0.12".into()));
        assert_eq!(with_u(-0.004, 0.011), ("\u{2212}0.004".into(), "0.011".into()));
        assert_eq!(with_u(1.0, 0.0).1, MISSING);
        assert_eq!(interval([Some(-0.5), Some(1.25)], Some(0.1)), "\u{2212}0.50 to 1.25");
        assert_eq!(interval([None, None], None), MISSING);
    }

    #[test]
    fn odd_numbers_do_not_reach_the_page() {
        assert_eq!(significant(f64::NAN, 3), MISSING);
        assert_eq!(decimals(-0.001, 2), "0.00");
        assert_eq!(typed(40.0), "40");
        assert_eq!(typed(0.53), "0.53");
        assert_eq!(dof(None), "∞");
    }
}
