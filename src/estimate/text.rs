//! How numbers become text, everywhere in this crate.
//!
//! - An uncertainty is given with two significant digits (or one: [`UncertaintyDigits::One`]) and its value is
//!   rounded to the same last place (JCGM 100:2008, "GUM", 7.2.6). The uncertainty is rounded to the nearest, not
//!   up. If rounding it gains a digit (0.0996), the place moves along: 0.10.
//! - Rounding is exact and decimal: it starts from the shortest decimal number that reads back as the same double,
//!   the one a reader sees, so 0.285 is a tie although the double lies below it. Ties go to the even digit
//!   (ISO 80000-1:2009, annex B, rule A).
//! - From 0.0001 to below 1 000 000 no power of ten; beyond, one common power for value and uncertainty, taken from
//!   the larger: `(1.234 ± 0.056) × 10^7`.
//! - Zero has no sign: never `-0` or `-0.00`.
//! - Without a usable uncertainty (0, negative, infinite, not a number) a value gets four significant digits.
//! - Text is for any terminal and table: ASCII minus, `10^7`. [`typographic`] sets it for page and figure.

/// Significant digits of a value that comes without a usable uncertainty (common practice).
const PLAIN_DIGITS: usize = 4;

/// More digits than a double can mean: 17 decimal digits tell any two doubles apart (IEEE 754).
const MOST_DIGITS: i32 = 17;

/// How many significant digits an uncertainty is given with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UncertaintyDigits {
    /// One: brief tables. Rounding changes a leading 1 by up to a third.
    One,
    /// Two: the rule of the GUM's own examples, and of this crate.
    #[default]
    Two,
}

/// A number without uncertainty, with so many significant digits (1 to 17; others are taken as the nearer end).
///
/// Zero is `0`; what is no number says so: `not a number`, `∞`, `-∞`.
///
/// ```
/// use vialbook::estimate::significant;
/// assert_eq!(significant(0.099_96, 3), "0.100");
/// assert_eq!(significant(123_456.0, 3), "123000");
/// assert_eq!(significant(-1.234e7, 3), "-1.23 × 10^7");
/// ```
pub fn significant(value: f64, digits: usize) -> String {
    if value.is_nan() {
        return "not a number".to_owned();
    }
    if value.is_infinite() {
        return if value > 0.0 { "∞" } else { "-∞" }.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = digits.clamp(1, MOST_DIGITS as usize) as i32;
    Column::new(&[value], last_place(value, digits)).whole(0)
}

/// A number without uncertainty, with so many digits after the point (at most 17): for columns whose last place is
/// fixed. What is no number as [`significant`].
///
/// ```
/// use vialbook::estimate::decimals;
/// assert_eq!(decimals(2.341_5, 3), "2.342");
/// assert_eq!(decimals(-0.000_1, 2), "0.00");
/// assert_eq!(decimals(12.0, 0), "12");
/// ```
pub fn decimals(value: f64, places: usize) -> String {
    if !value.is_finite() {
        return significant(value, 1);
    }
    let places = i32::try_from(places).unwrap_or(MOST_DIGITS).min(MOST_DIGITS);
    Column::new(&[value], -places).whole(0)
}

/// The value rounded to the last place of `u` given with two significant digits.
///
/// ```
/// use vialbook::estimate::rounded;
/// assert_eq!(rounded(12.3412, 0.0562), "12.341");
/// assert_eq!(rounded(-0.001, 0.5), "0.00");
/// ```
pub fn rounded(value: f64, u: f64) -> String {
    UncertaintyDigits::Two.rounded(value, u)
}

/// Value and uncertainty, rounded to the same place: for two columns of a table.
///
/// The second is `not known` for an uncertainty that is negative, infinite or not a number.
///
/// ```
/// use vialbook::estimate::rounded_pair;
/// assert_eq!(rounded_pair(9.96, 0.5), ("9.96".into(), "0.50".into()));
/// assert_eq!(rounded_pair(1.2345e7, 5.6e5), ("1.234 × 10^7".into(), "0.056 × 10^7".into()));
/// ```
pub fn rounded_pair(value: f64, u: f64) -> (String, String) {
    UncertaintyDigits::Two.rounded_pair(value, u)
}

/// "12.34 ± 0.56 mV". The text does not say whether `u` is a standard or an expanded uncertainty: say it nearby,
/// or use [`Estimate::text`](super::Estimate::text). Without a usable uncertainty the value alone.
///
/// ```
/// use vialbook::estimate::plus_minus;
/// assert_eq!(plus_minus(12.3412, 0.561, "mV"), "12.34 ± 0.56 mV");
/// assert_eq!(plus_minus(12.3412e7, 0.561e7, "mV"), "(1.234 ± 0.056) × 10^8 mV");
/// ```
pub fn plus_minus(value: f64, u: f64, unit: &str) -> String {
    UncertaintyDigits::Two.plus_minus(value, u, unit)
}

/// "12.34(56) mV": the digits in brackets are the **standard** uncertainty in units of the last places shown
/// (GUM 7.2.2, second form). Without a usable uncertainty the value alone.
///
/// ```
/// use vialbook::estimate::concise;
/// assert_eq!(concise(12.3412, 0.561, "mV"), "12.34(56) mV");
/// ```
pub fn concise(value: f64, u: f64, unit: &str) -> String {
    UncertaintyDigits::Two.concise(value, u, unit)
}

/// An interval: "0.36 to 0.48 % v/v", "above 0.36 % v/v", "below 0.48 % v/v", "no limit either way".
///
/// `None` or an infinite end is open. Ends are rounded to the place of `u_for_rounding`, the value's standard
/// uncertainty; without a usable one, or where both ends would read the same, to that of half the width.
///
/// ```
/// use vialbook::estimate::interval_text;
/// assert_eq!(interval_text([Some(0.3572), Some(0.4828)], 0.0282, "% v/v"), "0.357 to 0.483 % v/v");
/// assert_eq!(interval_text([None, Some(0.4828)], 0.0282, "% v/v"), "below 0.483 % v/v");
/// ```
pub fn interval_text(ends: [Option<f64>; 2], u_for_rounding: f64, unit: &str) -> String {
    UncertaintyDigits::Two.interval_text(ends, u_for_rounding, unit)
}

/// The same text for page and figure: the minus of a number becomes U+2212, `10^-7` becomes `10⁻⁷`.
///
/// A hyphen counts as the minus of a number where a digit or ∞ follows and where the text starts, or a space, an
/// opening bracket or one of `=<>≤≥±≈|,;:` stands before it; so names such as `(E)-2-hexenal`, dates and ranges
/// stay as they are.
///
/// ```
/// use vialbook::estimate::typographic;
/// assert_eq!(typographic("(-1.2 ± 0.3) × 10^-7 mV"), "(\u{2212}1.2 ± 0.3) × 10⁻⁷ mV");
/// assert_eq!(typographic("2-propanol, 2024-11-05"), "2-propanol, 2024-11-05");
/// ```
pub fn typographic(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len() + 8);
    let mut at = 0;
    while at < letters.len() {
        let before = at.checked_sub(1).map(|i| letters[i]);
        if let Some(end) = power_of_ten(&letters, at, before) {
            out.push_str("10");
            out.extend(letters[at + 3..end].iter().map(|&c| superscript(c)));
            at = end;
            continue;
        }
        let next = letters.get(at + 1).copied();
        let opens = before.is_none_or(|c| c.is_whitespace() || "([{=<>≤≥±≈|,;:".contains(c));
        let minus = letters[at] == '-' && opens && next.is_some_and(|c| c.is_ascii_digit() || c == '∞');
        out.push(if minus { '\u{2212}' } else { letters[at] });
        at += 1;
    }
    out
}

impl UncertaintyDigits {
    /// See [`rounded`].
    pub fn rounded(self, value: f64, u: f64) -> String {
        self.rounded_pair(value, u).0
    }

    /// See [`rounded_pair`].
    pub fn rounded_pair(self, value: f64, u: f64) -> (String, String) {
        match self.column(value, u) {
            Some(column) => (column.whole(0), column.whole(1)),
            None if u >= 0.0 && u.is_finite() => {
                (significant(value, self.digits_beside(u)), significant(u, self.count() as usize))
            }
            None => (significant(value, PLAIN_DIGITS), "not known".to_owned()),
        }
    }

    /// See [`plus_minus`].
    pub fn plus_minus(self, value: f64, u: f64, unit: &str) -> String {
        let number = match self.column(value, u) {
            Some(column) => column.joined(" ± "),
            None if usable(u) && value.is_finite() => {
                let (value, u) = self.rounded_pair(value, u);
                format!("{value} ± {u}")
            }
            None => significant(value, PLAIN_DIGITS),
        };
        with_unit(number, unit)
    }

    /// See [`concise`].
    pub fn concise(self, value: f64, u: f64, unit: &str) -> String {
        let Some(column) = self.column(value, u) else {
            return self.plus_minus(value, u, unit);
        };
        // In units of the last place; where that lies left of the point, 123500(1200), in whole units.
        let digits = column.numbers[1].written(column.place, column.place.min(column.power));
        with_unit(format!("{}({digits}){}", column.part(0), column.factor()), unit)
    }

    /// See [`interval_text`].
    pub fn interval_text(self, ends: [Option<f64>; 2], u_for_rounding: f64, unit: &str) -> String {
        match ends.map(|end| end.filter(|e| e.is_finite())) {
            [None, None] => "no limit either way".to_owned(),
            [Some(low), None] => format!("above {}", with_unit(self.rounded(low, u_for_rounding), unit)),
            [None, Some(high)] => format!("below {}", with_unit(self.rounded(high, u_for_rounding), unit)),
            [Some(low), Some(high)] => with_unit(self.range(low, high, u_for_rounding), unit),
        }
    }

    fn range(self, low: f64, high: f64, u: f64) -> String {
        let half_width = 0.5 * high - 0.5 * low;
        let most = [low, high].into_iter().filter(|e| *e != 0.0).map(|e| Decimal::of(e).exponent).max();
        for u in [u, half_width.abs()] {
            if usable(u) {
                let place = last_place(u, self.count()).max(most.map_or(i32::MIN, |m| m - MOST_DIGITS + 1));
                let column = Column::new(&[low, high], place);
                if low == high || column.part(0) != column.part(1) {
                    return column.joined(" to ");
                }
            }
        }
        format!("{} to {}", significant(low, PLAIN_DIGITS), significant(high, PLAIN_DIGITS))
    }

    fn count(self) -> i32 {
        match self {
            UncertaintyDigits::One => 1,
            UncertaintyDigits::Two => 2,
        }
    }

    /// Value and uncertainty to one place; `None` where that cannot be: no usable uncertainty, no value, or an
    /// uncertainty below what a double of this size can resolve.
    fn column(self, value: f64, u: f64) -> Option<Column> {
        if !(value.is_finite() && usable(u)) {
            return None;
        }
        let place = last_place(u, self.count());
        let fits = value == 0.0 || Decimal::of(value).exponent - place < MOST_DIGITS;
        fits.then(|| Column::new(&[value, u], place))
    }

    fn digits_beside(self, u: f64) -> usize {
        if u == 0.0 { PLAIN_DIGITS } else { MOST_DIGITS as usize }
    }
}

/// A fraction as percent with the digits it has: 0.95 is "95 %".
pub fn percent(level: f64) -> String {
    let level = Decimal::of(level);
    let last = level.exponent + 1 - level.digits.len() as i32;
    format!("{} %", level.written(last, -2))
}

/// Numbers rounded to one place, with one power of ten.
struct Column {
    numbers: Vec<Decimal>,
    place: i32,
    power: i32,
}

impl Column {
    fn new(numbers: &[f64], place: i32) -> Self {
        let numbers: Vec<Decimal> = numbers.iter().map(|&n| Decimal::of(n).rounded_at(place)).collect();
        let most = numbers.iter().filter(|n| !n.digits.is_empty()).map(|n| n.exponent).max();
        let power = most.filter(|m| !(-4..6).contains(m)).unwrap_or(0);
        Column { numbers, place, power }
    }

    /// The number without the power.
    fn part(&self, index: usize) -> String {
        self.numbers[index].written(self.place, self.power)
    }

    /// The power, with a space before it, where there is one.
    fn factor(&self) -> String {
        if self.power == 0 { String::new() } else { format!(" × 10^{}", self.power) }
    }

    fn whole(&self, index: usize) -> String {
        self.part(index) + &self.factor()
    }

    /// The first two, with one common power behind.
    fn joined(&self, between: &str) -> String {
        let both = format!("{}{between}{}", self.part(0), self.part(1));
        if self.power == 0 { both } else { format!("({both}){}", self.factor()) }
    }
}

/// The shortest decimal number that reads back as a double.
#[derive(Clone)]
struct Decimal {
    negative: bool,
    /// First digit not 0; empty for zero.
    digits: Vec<u8>,
    /// Power of ten of the first digit.
    exponent: i32,
}

impl Decimal {
    /// `value` is finite.
    fn of(value: f64) -> Self {
        let text = format!("{:e}", value.abs());
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let digits: Vec<u8> = digits.bytes().filter(u8::is_ascii_digit).map(|b| b - b'0').collect();
        let digits = if digits == [0] { Vec::new() } else { digits };
        Decimal { negative: value < 0.0, digits, exponent: exponent.parse().unwrap_or(0) }
    }

    /// To the nearest multiple of 10^place, ties to even.
    fn rounded_at(&self, place: i32) -> Self {
        let keep = self.exponent.saturating_sub(place).saturating_add(1);
        if keep >= self.digits.len() as i32 {
            return self.clone();
        }
        let zero = Decimal { negative: false, digits: Vec::new(), exponent: 0 };
        let Ok(keep) = usize::try_from(keep) else {
            return zero;
        };
        let (kept, rest) = self.digits.split_at(keep);
        let odd = kept.last().is_some_and(|d| d % 2 == 1);
        let up = rest[0] > 5 || rest[0] == 5 && (odd || rest[1..].iter().any(|&d| d != 0));
        let mut out = Decimal { digits: kept.to_vec(), ..self.clone() };
        if up {
            match out.digits.iter().rposition(|&d| d != 9) {
                Some(at) => {
                    out.digits[at] += 1;
                    out.digits[at + 1..].fill(0);
                }
                None => {
                    out.digits.fill(0);
                    out.digits.insert(0, 1);
                    out.exponent += 1;
                }
            }
        }
        if out.digits.is_empty() { zero } else { out }
    }

    /// In units of 10^power, down to the digit of 10^place (down to units where `place` lies left of the point).
    fn written(&self, place: i32, power: i32) -> String {
        let first = self.exponent - power;
        let last = (place - power).min(0);
        let mut out = String::from(if self.negative && !self.digits.is_empty() { "-" } else { "" });
        let top = if self.digits.is_empty() { 0 } else { first.max(0) };
        for position in (last..=top).rev() {
            if position == -1 {
                out.push('.');
            }
            let digit = usize::try_from(first - position).ok().and_then(|i| self.digits.get(i)).unwrap_or(&0);
            out.push(char::from(b'0' + digit));
        }
        out
    }
}

/// The power of ten of the last digit of a number other than 0 that is rounded to so many significant digits.
fn last_place(number: f64, digits: i32) -> i32 {
    let number = Decimal::of(number);
    let place = number.exponent - digits + 1;
    // 0.0996 to two digits is 0.10, not 0.100.
    place + (number.rounded_at(place).exponent - number.exponent)
}

fn usable(u: f64) -> bool {
    u.is_finite() && u > 0.0
}

fn with_unit(number: String, unit: &str) -> String {
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// The end of `10^n` that starts here and is no tail of a longer number.
fn power_of_ten(letters: &[char], at: usize, before: Option<char>) -> Option<usize> {
    if !letters[at..].starts_with(&['1', '0', '^']) || before.is_some_and(|c| c.is_alphanumeric() || c == '.') {
        return None;
    }
    let sign = usize::from(letters.get(at + 3) == Some(&'-'));
    let digits = letters[at + 3 + sign..].iter().take_while(|c| c.is_ascii_digit()).count();
    (digits > 0).then_some(at + 3 + sign + digits)
}

fn superscript(c: char) -> char {
    match c {
        '-' => '⁻',
        '0' => '⁰',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        '9' => '⁹',
        other => other,
    }
}
