//! Decimal text to the nearest double, exactly and fast.
//!
//! Digits are gathered into an integer m with k decimal places. Where m ≤ 2^53 and k ≤ 22 both m and 10^k are doubles
//! without error, so the one division rounds once and the result is the nearest double
//! (W. D. Clinger, "How to read floating point numbers accurately", Proc. PLDI (1990) 92-101). Everything else goes
//! through the standard library's parser, which is exact too.

/// A number found at the start of some bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Number {
    pub(crate) value: f64,
    /// Bytes it takes.
    pub(crate) len: usize,
    /// Decimal places written: 2 for `1.50`, -3 for `1e3`.
    pub(crate) scale: i32,
}

/// Powers of ten that are exact doubles; up to 19 digits can stand behind the mark.
const POWERS: [f64; 20] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19];

/// The number at the very start of `s`, with `mark` between whole and decimal digits; exponents may be written with
/// e, E, d or D. `None` where no number starts, or where it is too large for a double.
///
/// With a decimal comma, digits must stand on both sides of it: `1,` and `,5` are a number and a delimiter.
#[inline]
pub(crate) fn prefix(s: &[u8], mark: u8) -> Option<Number> {
    match simple(s, mark) {
        (_, 0, _) => long(s, mark),
        (value, len, scale) => Some(Number { value, len, scale: scale as i32 }),
    }
}

/// Value, length and decimal places of a number without exponent and of at most 19 digits; length 0 for everything else.
// Plain values instead of an Option, and always inlined: they stay in registers. Digits eight at a time in one integer
// were tried and are slower here: where the next cell starts then waits for the arithmetic instead of being predicted.
#[inline(always)]
pub(crate) fn simple(s: &[u8], mark: u8) -> (f64, usize, usize) {
    const NOT_SIMPLE: (f64, usize, usize) = (0.0, 0, 0);
    let Some(&first) = s.first() else { return NOT_SIMPLE };
    let negative = first == b'-';
    let start = usize::from(negative | (first == b'+'));
    let mut i = start;
    let mut mantissa: u64 = 0;
    while let Some(d) = digit(s, i) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(d);
        i += 1;
    }
    let whole = i - start;
    let mut scale = 0;
    if s.get(i) == Some(&mark) {
        let decimals = i + 1;
        i = decimals;
        // Eight bytes of known length need no check each.
        if let Some(window) = s.get(i..).and_then(|s| s.first_chunk::<8>()) {
            for byte in window {
                let d = byte.wrapping_sub(b'0');
                if d > 9 {
                    break;
                }
                mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(d));
                i += 1;
            }
        }
        while let Some(d) = digit(s, i) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(d);
            i += 1;
        }
        scale = i - decimals;
    }
    let digits = whole + scale;
    // Digits on both sides of a mark, so that `1,` and `,5` are settled elsewhere; 19 digits always fit into 64 bits.
    if whole == 0 || digits > 19 || (scale == 0 && i > start + whole) || mantissa > 1 << 53 {
        return NOT_SIMPLE;
    }
    if let Some(b'e' | b'E' | b'd' | b'D') = s.get(i) {
        return NOT_SIMPLE;
    }
    let value = mantissa as f64 / POWERS[scale];
    // "-0" is 0: a sign without a number behind it would only come back as a puzzling print-out.
    (if negative & (mantissa != 0) { -value } else { value }, i, scale)
}

/// The number that `s` is as a whole; `None` where anything stands before or behind it.
pub(crate) fn whole(s: &[u8], mark: u8) -> Option<Number> {
    prefix(s, mark).filter(|n| n.len == s.len())
}

#[inline(always)]
fn digit(s: &[u8], i: usize) -> Option<u64> {
    match s.get(i) {
        Some(b) if b.is_ascii_digit() => Some(u64::from(b - b'0')),
        _ => None,
    }
}

/// The rarer forms: exponents, many digits, a mark with digits on one side only.
#[cold]
#[inline(never)]
fn long(s: &[u8], mark: u8) -> Option<Number> {
    let count = |from: usize| s[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let start = usize::from(matches!(s.first(), Some(b'-' | b'+')));
    let whole = count(start);
    let mut i = start + whole;
    let mut scale: i32 = 0;
    let mut decimals = 0;
    if s.get(i) == Some(&mark) {
        decimals = count(i + 1);
        if decimals > 0 && (mark == b'.' || whole > 0) || (mark == b'.' && whole > 0) {
            i += 1 + decimals;
            scale = decimals as i32;
        } else {
            decimals = 0;
        }
    }
    if whole + decimals == 0 {
        return None;
    }
    if let Some(b'e' | b'E' | b'd' | b'D') = s.get(i) {
        let at = i + 1 + usize::from(matches!(s.get(i + 1), Some(b'-' | b'+')));
        let digits = count(at.min(s.len()));
        if digits > 0 {
            // Beyond 99,999 every number is 0 or too large.
            let exponent = s[at..at + digits].iter().fold(0_i32, |e, b| (e * 10 + i32::from(b - b'0')).min(99_999));
            scale -= if s[i + 1] == b'-' { -exponent } else { exponent };
            i = at + digits;
        }
    }
    let text: String = s[start..i]
        .iter()
        .map(|&b| match b {
            b'd' | b'D' => 'e',
            b if b == mark => '.',
            b => b as char,
        })
        .collect();
    let value = text.parse::<f64>().ok().filter(|v| v.is_finite())?;
    let value = if s[0] == b'-' && value != 0.0 { -value } else { value };
    Some(Number { value, len: i, scale })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_forms_that_exports_write() {
        for (text, mark, value, scale) in [
            ("12", b'.', 12.0_f64, 0),
            ("-0", b'.', 0.0, 0),
            ("0.00833472245374229", b'.', 0.00833472245374229, 17),
            ("-2.0027160e-01", b'.', -2.0027160e-01, 8),
            ("1.5D+3", b'.', 1500.0, -2),
            ("1,25", b',', 1.25, 2),
            ("+.5", b'.', 0.5, 1),
            ("5.", b'.', 5.0, 0),
            ("123456789012345678901234567890", b'.', 123456789012345678901234567890.0, 0),
            ("1e-320", b'.', 1e-320, 320),
        ] {
            let n = whole(text.as_bytes(), mark).expect(text);
            assert_eq!((n.value.to_bits(), n.scale), (value.to_bits(), scale), "{text}");
        }
        for text in ["", "-", ".", "e5", "1e999", "12,a", "nan", "inf", "1e", "0x10", "--1"] {
            assert!(whole(text.as_bytes(), b'.').is_none(), "{text}");
        }
        assert!(whole(b"1,", b',').is_none() && whole(b",5", b',').is_none());
    }

    #[test]
    fn bit_for_bit_as_the_standard_library_parses() {
        // Oracle: std's parser (exact by its documentation), over 200,000 seeded texts of many lengths.
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut next = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        };
        for _ in 0..200_000 {
            let raw = next() >> (next() % 60);
            let text = match next() % 4 {
                0 => format!("{}", raw as f64 / 10f64.powi((next() % 12) as i32)),
                1 => format!("{}.{:0width$}", raw % 10_000, next() % 1_000_000, width = (next() % 14) as usize),
                2 => format!("-{}e{}", raw as f64, (next() % 60) as i32 - 30),
                _ => format!("{:.*e}", (next() % 18) as usize, f64::from_bits(next() & !(0x7ff << 52) | (1000 << 52))),
            };
            let expected: f64 = text.parse().expect("a number by construction");
            let found = whole(text.as_bytes(), b'.').expect(&text);
            assert!(
                found.value == expected && (expected == 0.0 || found.value.to_bits() == expected.to_bits()),
                "{text}"
            );
        }
    }
}
