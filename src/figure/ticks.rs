//! Round numbers along an axis, and how they are written.

/// Round numbers along an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// The numbers, rising.
    pub major: Vec<f64>,
    /// What is written at each: the number divided by 10 to [`Ticks::power`], all with the same decimals.
    pub labels: Vec<String>,
    /// Numbers between, without labels.
    pub minor: Vec<f64>,
    /// Power of ten taken out of the labels and into the axis label; 0 for ordinary numbers.
    pub power: i32,
}

impl Ticks {
    /// Multiples of 1, 2 or 5 × 10ᵏ from `low` to `high`, about `most` of them and never fewer than two.
    ///
    /// Every number is the closest `f64` to its decimal form. Numbers of 100 000 and more, or all below 0.001, are
    /// written as multiples of a power of 1000.
    ///
    /// ```
    /// use vialbook::figure::Ticks;
    /// assert_eq!(Ticks::new(-0.31, 0.74, 6).labels, ["−0.2", "0.0", "0.2", "0.4", "0.6"]);
    /// let large = Ticks::new(0.0, 2.6e6, 4);
    /// assert_eq!((large.labels[1].as_str(), large.power), ("1", 6));
    /// ```
    pub fn new(low: f64, high: f64, most: usize) -> Self {
        Self::with_least_step(low, high, most, f64::MIN_POSITIVE)
    }

    /// Whole numbers only.
    pub fn whole(low: f64, high: f64, most: usize) -> Self {
        Self::with_least_step(low, high, most, 1.0)
    }

    fn with_least_step(low: f64, high: f64, most: usize, least_step: f64) -> Self {
        let span = high - low;
        if !(span.is_finite() && span > 0.0) {
            return Ticks { major: Vec::new(), labels: Vec::new(), minor: Vec::new(), power: 0 };
        }
        let most = most.max(2);
        let (mut mantissa, mut exponent) = (1, 0);
        for tries in 0..6 {
            // A coarse step can leave fewer than two numbers inside; a finer one follows.
            let aim = (span / (most + tries) as f64).max(least_step);
            (mantissa, exponent) = round_up_125(aim);
            let count = multiples(low, high, mantissa, exponent).len();
            if count >= 2 || aim == least_step {
                break;
            }
        }
        let largest = low.abs().max(high.abs());
        let e = decimal_exponent(largest);
        // Outside 0.001 to 100 000, engineering powers keep the labels short.
        let power = if (-3..5).contains(&e) { 0 } else { 3 * e.div_euclid(3) };
        let decimals = (power - exponent).max(0) as usize;
        let whole = multiples(low, high, mantissa, exponent);
        let labels = whole.clone().map(|i| number(decimal(i * mantissa, exponent - power), decimals)).collect();
        let major: Vec<f64> = whole.map(|i| decimal(i * mantissa, exponent)).collect();
        let (minor_mantissa, minor_exponent) = match mantissa {
            1 => (2, exponent - 1),
            2 => (5, exponent - 1),
            _ => (1, exponent),
        };
        let minor = multiples(low, high, minor_mantissa, minor_exponent)
            .map(|i| decimal(i * minor_mantissa, minor_exponent))
            .filter(|v| !major.contains(v) && (least_step < 1.0 || v.fract() == 0.0))
            .collect();
        Ticks { major, labels, minor, power }
    }
}

/// A number with this many decimals, a real minus sign, and thin spaces in groups of three from five figures on
/// (ISO 80000-1:2022, 7.3.1).
///
/// ```
/// use vialbook::figure::number;
/// assert_eq!(number(-1234.5, 1), "−1234.5");
/// assert_eq!(number(12345.0, 0), "12\u{2009}345");
/// assert_eq!(number(-0.001, 1), "0.0");
/// ```
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let digits = text.strip_prefix('-').unwrap_or(&text);
    let negative = text.starts_with('-') && digits.bytes().any(|b| (b'1'..=b'9').contains(&b));
    let (whole, fraction) = digits.split_once('.').map_or((digits, None), |(w, f)| (w, Some(f)));
    let mut out = String::with_capacity(digits.len() + 6);
    if negative {
        out.push('−');
    }
    for (i, c) in whole.chars().enumerate() {
        if whole.len() >= 5 && i > 0 && (whole.len() - i) % 3 == 0 {
            out.push('\u{2009}');
        }
        out.push(c);
    }
    if let Some(fraction) = fraction {
        out.push('.');
        out.push_str(fraction);
    }
    out
}

/// A number in three significant figures, for words in a figure: "812", "0.0454", "1.20 × 10⁷".
pub(super) fn short_number(value: f64) -> String {
    let e = decimal_exponent(format!("{value:.2e}").parse().unwrap_or(value));
    if (-3..5).contains(&e) {
        let decimals = (2 - e).max(0) as usize;
        number(value, decimals)
    } else {
        let text = format!("{value:.2e}");
        let mantissa: f64 = text.split('e').next().and_then(|m| m.parse().ok()).unwrap_or(value);
        format!("{} × {}", number(mantissa, 2), power_of_ten(e))
    }
}

/// "10⁶".
pub(super) fn power_of_ten(power: i32) -> String {
    let digits = power.to_string();
    let raised = digits.chars().map(|c| match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '0' => '⁰',
        d => char::from_u32(0x2070 + d as u32 - '0' as u32).unwrap_or(d),
    });
    "10".chars().chain(raised).collect()
}

/// k in |value| = m × 10ᵏ with 1 ≤ m < 10, exactly; 0 for zero.
fn decimal_exponent(value: f64) -> i32 {
    format!("{value:e}").split('e').nth(1).and_then(|e| e.parse().ok()).unwrap_or(0)
}

/// The least of 1, 2, 5 × 10ᵏ that is not below `value`, as mantissa and k.
fn round_up_125(value: f64) -> (i64, i32) {
    let k = decimal_exponent(value);
    for m in [1, 2, 5] {
        if decimal(m, k) >= value * (1.0 - 1e-9) {
            return (m, k);
        }
    }
    (1, k + 1)
}

/// m × 10ᵏ, rounded once: the decimal text is parsed.
fn decimal(m: i64, k: i32) -> f64 {
    format!("{m}e{k}").parse().unwrap_or(0.0)
}

/// The i for which i × m × 10ᵏ lies in the range, ends included up to rounding.
fn multiples(low: f64, high: f64, m: i64, k: i32) -> std::ops::RangeInclusive<i64> {
    let step = decimal(m, k);
    let slack = 1e-9; // of a step: a range that ends at 0.30000000000000004 has its tick at 0.3
    let first = (low / step - slack).ceil() as i64;
    let last = (high / step + slack).floor() as i64;
    first..=last.min(first.saturating_add(999))
}

trait Length {
    fn len(&self) -> usize;
}

impl Length for std::ops::RangeInclusive<i64> {
    fn len(&self) -> usize {
        usize::try_from(self.end().saturating_sub(*self.start()).saturating_add(1)).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_one_two_five() {
        for (low, high, labels) in [
            (0.0, 10.0, vec!["0", "2", "4", "6", "8", "10"]),
            (0.0, 1.0, vec!["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]),
            (-3.0, 3.0, vec!["−2", "0", "2"]),
            (0.0, 0.30000000000000004, vec!["0.0", "0.1", "0.2", "0.3"]),
            (0.0, 24000.0, vec!["0", "5000", "10\u{2009}000", "15\u{2009}000", "20\u{2009}000"]),
        ] {
            assert_eq!(Ticks::new(low, high, 5).labels, labels, "{low} to {high}");
        }
    }

    #[test]
    fn every_range_gets_two_to_a_dozen_rising_ticks_inside() {
        for e in -300..=300 {
            for (low, high) in [(0.0, 1.7), (-4.4, 1.1), (0.97, 1.03), (-9.1, -8.3)] {
                let (low, high) = (low * 10f64.powi(e), high * 10f64.powi(e));
                for most in [2, 4, 7, 10] {
                    let t = Ticks::new(low, high, most);
                    assert!((2..=most + 2).contains(&t.major.len()), "{low} to {high}: {t:?}");
                    assert!(t.major.windows(2).all(|w| w[0] < w[1]));
                    let slack = (high - low) * 1e-8;
                    assert!(t.major.iter().chain(&t.minor).all(|&v| v >= low - slack && v <= high + slack));
                    assert!(t.labels.windows(2).all(|w| w[0] != w[1]), "{t:?}");
                    let decimals = |s: &String| s.split('.').nth(1).map_or(0, str::len);
                    assert!(t.labels.iter().all(|l| decimals(l) == decimals(&t.labels[0])));
                }
            }
        }
    }

    #[test]
    fn whole_numbers_only() {
        let t = Ticks::whole(0.6, 3.4, 8);
        assert_eq!(t.labels, ["1", "2", "3"]);
        assert!(t.minor.is_empty());
    }

    #[test]
    fn no_range_no_ticks() {
        assert!(Ticks::new(1.0, 1.0, 5).major.is_empty());
        assert!(Ticks::new(f64::NAN, 1.0, 5).major.is_empty());
        assert!(Ticks::new(0.0, f64::INFINITY, 5).major.is_empty());
    }

    #[test]
    fn words_for_numbers() {
        assert_eq!(short_number(812.4), "812");
        assert_eq!(short_number(2450.0), "2450");
        assert_eq!(short_number(-0.04539), "−0.0454");
        assert_eq!(short_number(1.2e7), "1.20 × 10⁷");
        assert_eq!(short_number(9.999e-4), "0.00100");
        assert_eq!(power_of_ten(-12), "10⁻¹²");
    }
}
