//! The numbers of a JCAMP-DX line in any of its forms: free (AFFN), fixed (FIX), packed (PAC), squeezed (SQZ),
//! differences (DIF), and duplicates (DUP).
//!
//! R. S. McDonald, P. A. Wilks, Appl. Spectrosc. 42 (1988) 151-162, section 5 ("ASDF forms"): in SQZ the first digit
//! with its sign is one letter (`@`, A-I, a-i), in DIF likewise (`%`, J-R, j-r) but for the difference to the value
//! before, in DUP (S-Z, s) the value before is repeated so often in all.

/// A mark on a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Mark {
    /// A value.
    Value(f64),
    /// A difference to the value before.
    Difference(f64),
    /// The mark before, so often in all.
    Times(u64),
    /// `?`: no value.
    Missing,
}

/// What is no number, and the column it starts in, counted from 1.
#[derive(Debug, PartialEq)]
pub(super) struct NoNumber {
    pub(super) text: String,
    pub(super) column: u64,
}

/// The marks of a line; `squeezed` allows the letters of SQZ, DIF and DUP. The numbers' decimals go into `decimals`.
pub(super) fn marks(line: &str, squeezed: bool, decimals: &mut i32) -> Result<Vec<Mark>, NoNumber> {
    let bytes = line.as_bytes();
    let mut out = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let byte = bytes[at];
        if byte.is_ascii_whitespace() || matches!(byte, b',' | b';') {
            at += 1;
            continue;
        }
        let start = at;
        let no_number = || {
            let rest = &line[line.floor_char_boundary(start)..];
            let end = rest.find(|c: char| c.is_whitespace() || matches!(c, ',' | ';')).unwrap_or(rest.len());
            NoNumber { text: rest[..end].chars().take(40).collect(), column: start as u64 + 1 }
        };
        if byte == b'?' {
            out.push(Mark::Missing);
            at += 1;
            continue;
        }
        // The letter's own digit and sign, then the digits behind it.
        let (kind, lead) = match byte {
            b'0'..=b'9' | b'+' | b'-' | b'.' => (b'v', None),
            b'@' if squeezed => (b'v', Some((false, 0))),
            b'A'..=b'I' if squeezed => (b'v', Some((false, byte - b'A' + 1))),
            b'a'..=b'i' if squeezed => (b'v', Some((true, byte - b'a' + 1))),
            b'%' if squeezed => (b'd', Some((false, 0))),
            b'J'..=b'R' if squeezed => (b'd', Some((false, byte - b'J' + 1))),
            b'j'..=b'r' if squeezed => (b'd', Some((true, byte - b'j' + 1))),
            b'S'..=b'Z' if squeezed => (b't', Some((false, byte - b'S' + 1))),
            b's' if squeezed => (b't', Some((false, 9))),
            _ => return Err(no_number()),
        };
        at += 1;
        let mut text = String::new();
        match lead {
            Some((negative, digit)) => {
                text.extend(negative.then_some('-'));
                text.push(char::from(b'0' + digit));
            }
            None => text.push(char::from(byte)),
        }
        let mut point = lead.is_none() && byte == b'.';
        let digits = at;
        while at < bytes.len() && (bytes[at].is_ascii_digit() || (bytes[at] == b'.' && !point)) {
            point |= bytes[at] == b'.';
            at += 1;
        }
        text.push_str(&line[digits..at]);
        if let Some(dot) = text.find('.') {
            *decimals = (*decimals).max((text.len() - dot - 1).min(300) as i32);
        }
        // "E" is also a squeezed digit: an exponent needs its sign behind it, or a line that is not squeezed.
        if lead.is_none() && matches!(bytes.get(at), Some(b'E' | b'e')) {
            let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
            let mut end = at + 1 + sign;
            while bytes.get(end).is_some_and(u8::is_ascii_digit) {
                end += 1;
            }
            if end > at + 1 + sign && (sign == 1 || !squeezed) {
                text.push_str(&line[at..end]);
                at = end;
            }
        }
        let Some(value) = text.parse::<f64>().ok().filter(|v| v.is_finite()) else { return Err(no_number()) };
        out.push(match kind {
            b'd' => Mark::Difference(value),
            b't' => Mark::Times(value as u64),
            _ => Mark::Value(value),
        });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(line: &str) -> Vec<f64> {
        let mut y = 0.0;
        let mut out = Vec::new();
        let mut last = Mark::Missing;
        for mark in marks(line, true, &mut 0).expect("numbers") {
            let times = if let Mark::Times(n) = mark { n - 1 } else { 1 };
            last = if matches!(mark, Mark::Times(_)) { last } else { mark };
            for _ in 0..times {
                match last {
                    Mark::Value(v) => y = v,
                    Mark::Difference(d) => y += d,
                    _ => unreachable!("none in this test"),
                }
                out.push(y);
            }
        }
        out
    }

    #[test]
    fn the_same_line_in_every_form() {
        // The example of McDonald and Wilks, table of forms (values from memory of that table): 1 2 3 3 2 1 0 -1 -2 -3.
        let expected = [1.0, 2.0, 3.0, 3.0, 2.0, 1.0, 0.0, -1.0, -2.0, -3.0];
        for line in [
            "  1   2   3   3   2   1   0  -1  -2  -3",
            "1+2+3+3+2+1+0-1-2-3",
            "1 2 3 3 2 1 0-1-2-3",
            "1BCCBA@abc",
            "ABCCBA@abc",
            "1JJ%jjjjjj",
            "AJT%jX",
        ] {
            assert_eq!(values(line), expected, "{line}");
        }
    }

    #[test]
    fn exponents_letters_and_damage() {
        let m = |line: &str, squeezed| marks(line, squeezed, &mut 0);
        assert_eq!(m("1.5E+03,-2e-1", true), Ok(vec![Mark::Value(1500.0), Mark::Value(-0.2)]));
        assert_eq!(m("1.5E3", false), Ok(vec![Mark::Value(1500.0)]));
        assert_eq!(m("1E3", true), Ok(vec![Mark::Value(1.0), Mark::Value(53.0)]));
        assert_eq!(m("1 ?", true), Ok(vec![Mark::Value(1.0), Mark::Missing]));
        assert_eq!(m("0.1, 12x3", false), Err(NoNumber { text: "x3".into(), column: 8 }));
        for bad in ["+", "-.", "µ", "1 µ", "9e99999", "--1"] {
            assert!(m(bad, false).is_err(), "{bad}");
        }
        let mut decimals = 0;
        marks("0.100, 12.5", false, &mut decimals).expect("numbers");
        assert_eq!(decimals, 3);
    }
}
