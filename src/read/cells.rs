//! A line to cells, and what a cell is: a number, a missing value, text, or a number that was cut wrongly.

use memchr::memchr2;

use super::number::{self, Number};
use super::options::{DecimalMark, Delimiter};

/// How the rows of a file are to be understood: decided as one, never the delimiter alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Dialect {
    pub(crate) delimiter: Delimiter,
    pub(crate) mark: DecimalMark,
    /// Digits come in groups of three, parted by the other mark.
    pub(crate) thousands: bool,
}

/// Where a cell's content lies in the text: blanks and quotes around it are outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cell {
    pub(crate) start: usize,
    pub(crate) end: usize,
}

impl Cell {
    pub(crate) fn of(self, text: &[u8]) -> &[u8] {
        &text[self.start..self.end]
    }
}

/// What a cell is under a dialect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Class {
    Number(Number),
    /// Empty, or a word such as "n.a." or "NaN".
    Missing,
    Text,
    /// Starts as a number and goes on with another delimiter or mark: the dialect does not fit.
    Broken,
}

/// End of the line that holds `pos`: the position of its CR or LF, or the end of the text.
pub(crate) fn line_end(text: &[u8], pos: usize) -> usize {
    memchr2(b'\r', b'\n', &text[pos..]).map_or(text.len(), |k| pos + k)
}

/// Start of the line after a line end: LF, CR LF and CR CR LF count once, a lone CR as well.
#[inline]
pub(crate) fn next_line(text: &[u8], end: usize) -> usize {
    let mut i = end;
    // Four at most: a file of a million CR must not be looked at a million times a million.
    while i < end + 4 && text.get(i) == Some(&b'\r') {
        i += 1;
    }
    if text.get(i) == Some(&b'\n') { i + 1 } else { (end + 1).min(text.len()) }
}

/// True for a line with nothing but blanks.
pub(crate) fn is_blank(line: &[u8]) -> bool {
    line.iter().all(u8::is_ascii_whitespace)
}

/// True for a line that a common comment sign opens.
pub(crate) fn is_comment(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    let line = line.strip_prefix(b"\"").unwrap_or(line);
    matches!(line.first(), Some(b'#' | b'%')) || line.starts_with(b"//")
}

/// Splits the line `start..end` of `text` into cells; `out` is emptied first.
pub(crate) fn split(text: &[u8], start: usize, end: usize, delimiter: Delimiter, out: &mut Vec<Cell>) {
    out.clear();
    let (mut i, mut end) = (start, end);
    // `| a | b |`: the bars at both ends part nothing.
    if delimiter == Delimiter::Bar {
        let (from, to) =
            (end - text[start..end].trim_ascii_start().len(), start + text[start..end].trim_ascii_end().len());
        if to > from + 1 && text[from] == b'|' && text[to - 1] == b'|' {
            (i, end) = (from + 1, to - 1);
        }
    }
    if delimiter == Delimiter::OneColumn {
        out.push(trimmed(text, start, end));
        return;
    }
    loop {
        while i < end && is_gap(text[i], delimiter) {
            i += 1;
        }
        if delimiter == Delimiter::Blanks && i == end {
            return;
        }
        let (cell, after) = match quoted(text, i, end, delimiter) {
            Some(found) => found,
            None => {
                let stop = text[i..end].iter().position(|&b| parts(b, delimiter)).map_or(end, |k| i + k);
                (trimmed(text, i, stop), stop)
            }
        };
        out.push(cell);
        if after >= end {
            return;
        }
        i = after + 1;
    }
}

/// What `cell` is.
pub(crate) fn classify(cell: &[u8], dialect: Dialect) -> Class {
    if is_missing(cell) {
        return Class::Missing;
    }
    let mark = dialect.mark.byte();
    let minus = "\u{2212}".as_bytes();
    let replaced;
    let cell = if cell.starts_with(minus) {
        replaced = [b"-", &cell[minus.len()..]].concat();
        &replaced
    } else {
        cell
    };
    let Some(n) = number::prefix(cell, mark) else {
        return Class::Text;
    };
    if n.len == cell.len() {
        return Class::Number(n);
    }
    if dialect.thousands
        && let Some(n) = grouped(cell, dialect.mark)
    {
        return Class::Number(n);
    }
    // An apostrophe or a fixed blank between groups of three parts nothing else: no need to ask.
    if let Some(n) = unmistakable_groups(cell, mark) {
        return Class::Number(n);
    }
    let rest = &cell[n.len..];
    let after = rest.trim_ascii_start();
    match after.first() {
        Some(b',' | b';' | b'\t' | b'|') => Class::Broken,
        Some(b'.') if after.get(1).is_some_and(u8::is_ascii_digit) && !begins_with_date(cell) => Class::Broken,
        Some(b) if after.len() < rest.len() && (b.is_ascii_digit() || *b == b'-' || *b == b'+') => Class::Broken,
        _ => Class::Text,
    }
}

/// `31.01.2026`, perhaps with a clock time behind it.
fn begins_with_date(cell: &[u8]) -> bool {
    let date = cell.split(|b| matches!(b, b' ' | b'T')).next().unwrap_or_default();
    let lengths: Vec<usize> = date.split(|b| *b == b'.').map(<[u8]>::len).collect();
    matches!(lengths.as_slice(), [1 | 2, 1 | 2, 2 | 4]) && date.iter().all(|b| b.is_ascii_digit() || *b == b'.')
}

/// Words that stand for "no value" in exports and spreadsheets.
pub(crate) fn is_missing(cell: &[u8]) -> bool {
    const WORDS: &[&[u8]] = &[
        b"na",
        b"n/a",
        b"n.a.",
        b"n.a",
        b"nan",
        b"-nan",
        b"inf",
        b"-inf",
        b"+inf",
        b"infinity",
        b"-infinity",
        b"null",
        b"none",
        b"nil",
        b"-",
        b"--",
        b"?",
        b"#n/a",
        b"#div/0!",
        b"#value!",
        b"#num!",
        b"1.#inf",
        b"-1.#inf",
        b"1.#qnan",
        b"1.#ind",
        b"-1.#ind",
        b"missing",
    ];
    match cell.first() {
        None => true,
        Some(b'0'..=b'9') if !cell.contains(&b'#') => false,
        _ => cell.len() <= 9 && WORDS.iter().any(|w| cell.eq_ignore_ascii_case(w)),
    }
}

/// True where `cell` reads as whole digits in groups of three parted by `mark`: `1,204` or `1,204,331`.
pub(crate) fn fits_groups(cell: &[u8], mark: u8) -> bool {
    let digits = cell.strip_prefix(b"-").or(cell.strip_prefix(b"+")).unwrap_or(cell);
    let mut parts = digits.split(|b| *b == mark);
    let first = parts.next().unwrap_or_default();
    let head = (1..=3).contains(&first.len()) && first[0] != b'0' && first.iter().all(u8::is_ascii_digit);
    head && parts.all(|p| p.len() == 3 && p.iter().all(u8::is_ascii_digit))
}

/// A cell as text: doubled quotes are single again.
pub(crate) fn text_of(cell: &[u8]) -> String {
    String::from_utf8_lossy(cell).replace("\"\"", "\"")
}

/// At most 40 characters of a cell or line, for a sentence.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes.trim_ascii()).replace(['\t', '\r', '\n'], " ");
    if text.chars().count() <= 40 {
        return text;
    }
    text.chars().take(39).collect::<String>() + "…"
}

fn grouped(cell: &[u8], mark: DecimalMark) -> Option<Number> {
    let group = if mark == DecimalMark::Point { b',' } else { b'.' };
    let whole_end = cell.iter().position(|b| *b == mark.byte()).unwrap_or(cell.len());
    if !fits_groups(&cell[..whole_end], group) || cell[whole_end..].contains(&group) {
        return None;
    }
    let plain: Vec<u8> = cell.iter().copied().filter(|b| *b != group).collect();
    number::whole(&plain, mark.byte())
}

/// `1'204'331.5`, or the same with no-break, narrow or thin blanks.
fn unmistakable_groups(cell: &[u8], mark: u8) -> Option<Number> {
    // Ordinary digits never begin like one of these signs.
    if !cell.iter().any(|b| matches!(b, b'\'' | 0xc2 | 0xe2)) {
        return None;
    }
    let text = std::str::from_utf8(cell).ok()?;
    let sign = text.chars().find(|c| matches!(c, '\'' | '\u{2019}' | '\u{a0}' | '\u{202f}' | '\u{2009}'))?;
    let plain = text.replace(sign, ",");
    let whole_end = plain.bytes().position(|b| b == mark && mark != b',').unwrap_or(plain.len());
    let (whole, decimals) = match mark {
        b',' => {
            // The comma stands for the sign here; the true decimal comma is looked for in the text itself.
            let (whole, decimals) = text.split_once(',').unwrap_or((text, ""));
            (whole.replace(sign, ","), decimals.to_owned())
        }
        _ => (plain[..whole_end].to_owned(), plain[whole_end..].trim_start_matches('.').to_owned()),
    };
    if !fits_groups(whole.as_bytes(), b',') {
        return None;
    }
    let digits = whole.replace(',', "");
    let joined = if decimals.is_empty() { digits } else { format!("{digits}.{decimals}") };
    number::whole(joined.as_bytes(), b'.')
}

/// A blank that is skipped in front of a cell.
fn is_gap(b: u8, delimiter: Delimiter) -> bool {
    b == b' ' || (b == b'\t' && delimiter != Delimiter::Tab)
}

fn parts(b: u8, delimiter: Delimiter) -> bool {
    match delimiter {
        Delimiter::Comma => b == b',',
        Delimiter::Semicolon => b == b';',
        Delimiter::Tab => b == b'\t',
        Delimiter::Bar => b == b'|',
        Delimiter::Blanks => b == b' ' || b == b'\t',
        Delimiter::OneColumn => false,
    }
}

/// A quoted cell that starts at `i`, and the position of the delimiter (or end) behind it.
fn quoted(text: &[u8], i: usize, end: usize, delimiter: Delimiter) -> Option<(Cell, usize)> {
    if i >= end || text[i] != b'"' {
        return None;
    }
    let mut close = i + 1;
    loop {
        close += text[close..end].iter().position(|b| *b == b'"')?;
        if text.get(close + 1) == Some(&b'"') && close + 1 < end {
            close += 2;
        } else {
            break;
        }
    }
    let mut after = close + 1;
    while after < end && is_gap(text[after], delimiter) && !parts(text[after], delimiter) {
        after += 1;
    }
    (after == end || parts(text[after], delimiter)).then(|| (trimmed(text, i + 1, close), after))
}

fn trimmed(text: &[u8], start: usize, end: usize) -> Cell {
    let mut cell = Cell { start, end };
    while cell.start < cell.end && text[cell.start].is_ascii_whitespace() {
        cell.start += 1;
    }
    while cell.end > cell.start && text[cell.end - 1].is_ascii_whitespace() {
        cell.end -= 1;
    }
    cell
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(line: &str, delimiter: Delimiter) -> Vec<String> {
        let mut out = Vec::new();
        split(line.as_bytes(), 0, line.len(), delimiter, &mut out);
        out.iter().map(|c| text_of(c.of(line.as_bytes()))).collect()
    }

    #[test]
    fn quotes_blanks_and_trailing_delimiters() {
        assert_eq!(cells(" \"12.5\" , \" 7.1\"", Delimiter::Comma), ["12.5", "7.1"]);
        assert_eq!(cells("a,,b,", Delimiter::Comma), ["a", "", "b", ""]);
        assert_eq!(cells("  1   2\t3  ", Delimiter::Blanks), ["1", "2", "3"]);
        assert_eq!(cells("1\t\"UV 210 nm\"\t", Delimiter::Tab), ["1", "UV 210 nm", ""]);
        assert_eq!(cells("\"a,\"\"b\"\"\",c", Delimiter::Comma), ["a,\"b\"", "c"]);
        assert_eq!(cells("5\" film,2", Delimiter::Comma), ["5\" film", "2"]);
        assert_eq!(cells("", Delimiter::Comma), [""]);
    }

    #[test]
    fn classes() {
        let point = Dialect { delimiter: Delimiter::Comma, mark: DecimalMark::Point, thousands: false };
        let comma = Dialect { mark: DecimalMark::Comma, ..point };
        let groups = Dialect { thousands: true, ..point };
        assert!(matches!(classify(b"1.5", point), Class::Number(_)));
        assert!(matches!(classify("\u{2212}1.5".as_bytes(), point), Class::Number(n) if n.value == -1.5));
        for text in ["n.a.", "", "NaN", "-inf", "#N/A", "-"] {
            assert_eq!(classify(text.as_bytes(), point), Class::Missing, "{text}");
        }
        for text in ["000;-0", "1,5", "129.05 119", "5 -3", "1.2.3", "1,"] {
            assert_eq!(classify(text.as_bytes(), point), Class::Broken, "{text}");
        }
        for text in ["12 May", "10:16", "2022-06-08 16:23", "12a", "UV 210", "a,b"] {
            assert_eq!(classify(text.as_bytes(), point), Class::Text, "{text}");
        }
        assert!(matches!(classify(b"1,5", comma), Class::Number(_)));
        assert!(matches!(classify(b"1,204,331", groups), Class::Number(n) if n.value == 1_204_331.0));
        assert_eq!(classify(b"1,20", groups), Class::Broken);
        for (text, dialect) in
            [("1'204'331.5", point), ("1\u{2019}204\u{2019}331.5", point), ("1\u{202f}204\u{202f}331,5", comma)]
        {
            assert!(matches!(classify(text.as_bytes(), dialect), Class::Number(n) if n.value == 1_204_331.5), "{text}");
        }
        assert_eq!(classify(b"5'6", point), Class::Text);
        for date in ["31.01.2026", "31.1.26", "31.01.2026 10:16:00"] {
            assert_eq!(
                (classify(date.as_bytes(), point), classify(date.as_bytes(), comma)),
                (Class::Text, Class::Text)
            );
        }
        assert_eq!(classify(b"1.2.333", point), Class::Broken);
    }

    #[test]
    fn line_ends_of_every_kind() {
        for text in ["a\nb", "a\r\nb", "a\r\r\nb", "a\rb"] {
            let bytes = text.as_bytes();
            let next = next_line(bytes, line_end(bytes, 0));
            assert_eq!(&bytes[next..], b"b", "{text:?}");
        }
        assert_eq!(next_line(b"a\n\nb", 1), 2);
    }
}
