//! Numbers as the report prints them, where no estimate with its own text is at hand.

/// A dash for what is missing.
pub(super) const MISSING: &str = "–";

/// `x` with `digits` significant digits; `1.2 × 10⁻⁵` outside 0.0001 to 999,999.
pub(super) fn significant(x: f64, digits: usize) -> String {
    if x == 0.0 || !x.is_finite() {
        return if x == 0.0 { "0".to_owned() } else { MISSING.to_owned() };
    }
    // Rounding first: 9.996 at 3 digits is 10.0, one place fewer.
    let scientific = format!("{:.*e}", digits.max(1) - 1, x);
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    if (-4..6).contains(&exponent) {
        return decimals(x, (digits as i32 - 1 - exponent).max(0) as usize);
    }
    format!("{} × 10{}", minus(mantissa), superscript(exponent))
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

/// Value and standard uncertainty by the GUM's rule: u with two significant digits, the value rounded to match.
pub(super) fn with_u(value: f64, u: f64) -> (String, String) {
    if !(u.is_finite() && u > 0.0) {
        return (significant(value, 4), MISSING.to_owned());
    }
    let rounded = format!("{u:.1e}");
    let exponent: i32 = rounded.split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0);
    if (-6..2).contains(&exponent) {
        let places = (1 - exponent).max(0) as usize;
        return (decimals(value, places), decimals(u, places));
    }
    let digits = (value.abs().max(u).log10().floor() as i32 - exponent + 2).clamp(2, 15) as usize;
    (significant(value, digits), significant(u, 2))
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
    text.replacen('-', "−", 1)
}

fn superscript(exponent: i32) -> String {
    exponent
        .to_string()
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            c => char::from_u32('⁰' as u32 + c.to_digit(10).unwrap_or(0)).unwrap_or(c),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn significant_digits() {
        for (x, n, text) in [
            (0.70366590, 4, "0.7037"),
            (9.996, 3, "10.0"),
            (-0.00012345, 3, "−0.000123"),
            (0.0000123, 2, "1.2 × 10⁻⁵"),
            (1_234_567.0, 3, "1.23 × 10⁶"),
            (1234.5, 3, "1234"), // an integer part is never cut
            (0.0, 3, "0"),
        ] {
            assert_eq!(significant(x, n), text);
        }
    }

    #[test]
    fn value_matches_its_uncertainty() {
        assert_eq!(with_u(19.9102, 0.1234), ("19.91".into(), "0.12".into()));
        assert_eq!(with_u(0.0996, 0.00996), ("0.0996".into(), "0.0100".into()));
        assert_eq!(with_u(1234.5, 56.7), ("1234".into(), "57".into()));
        assert_eq!(with_u(-0.004, 0.011), ("−0.004".into(), "0.011".into()));
        assert_eq!(with_u(1.0, 0.0).1, MISSING);
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
