//! Delimiter and decimal mark, decided together from a few hundred rows at the head and in the middle of a file.
//!
//! Each pair is tried on the same rows. A row speaks for a pair when every cell is a whole number, a missing value or
//! text and none is a cut-off number (`1,234;5` under comma and point leaves `234;5`). The pair with most rows of one
//! width wins; where two readings hold in every row, the caller is asked.

use super::cells::{self, Cell, Class, Dialect, classify, shown, split};
use super::options::{DecimalMark, Delimiter, ReadOptions};
use crate::error::{Error, ErrorKind, Result};

/// Rows looked at from the top and from the middle; our own choice.
const HEAD_ROWS: usize = 160;
const MIDDLE_ROWS: usize = 100;

/// A row in which a mark may be a decimal mark or part groups of three digits.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Doubt {
    pub(crate) example: String,
    pub(crate) line: u64,
    /// The time column is written the same way, so decimals are likely.
    pub(crate) mild: bool,
}

/// One line that is neither blank nor a comment.
#[derive(Clone, Copy)]
struct Line {
    start: usize,
    end: usize,
    number: u64,
}

/// How well a dialect fits the sample.
struct Fit {
    dialect: Dialect,
    /// Rows of the commonest width with at least one number.
    rows: usize,
    width: usize,
    /// Numbers in those rows.
    numbers: usize,
    /// Rows with a number, of any width.
    numeric_rows: usize,
}

/// Decides how the rows of `text` are to be understood.
pub(crate) fn decide(text: &[u8], options: &ReadOptions) -> Result<Dialect> {
    let lines = sample(text, options.header_rows.unwrap_or(0));
    // Bars at both ends part the cells, whatever stands in them.
    let bars;
    let options = if options.delimiter.is_none() && lines.iter().any(|l| is_markdown(&text[l.start..l.end])) {
        bars = ReadOptions { delimiter: Some(Delimiter::Bar), ..options.clone() };
        &bars
    } else {
        options
    };
    if let Some(dialect) = plain(text, &lines, options) {
        return Ok(dialect);
    }
    let mut fits: Vec<Fit> = candidates(text, &lines, options).into_iter().map(|d| measure(text, &lines, d)).collect();
    if fits.iter().all(|f| f.rows < 2) {
        for dialect in candidates(text, &lines, options) {
            fits.push(measure(text, &lines, Dialect { thousands: true, ..dialect }));
        }
    }
    // Stable: of equals the first candidate stays.
    fits.sort_by_key(|f| std::cmp::Reverse((f.rows, f.numbers)));
    let Some(best) = fits.first().filter(|f| f.rows > 0) else {
        return Err(no_table(text, &lines));
    };
    let mut best = best.dialect;
    // Quoted cells with groups of three leave the plain reading with fewer whole rows.
    let grouped = measure(text, &lines, Dialect { thousands: true, ..best });
    let plain = &fits[0];
    if grouped.rows > plain.rows || (grouped.rows == plain.rows && grouped.numbers > plain.numbers) {
        best.thousands = true;
    } else if plain.numeric_rows >= 3 && plain.rows * 2 <= plain.numeric_rows {
        return Err(ragged(text, &lines, plain));
    }
    if options.delimiter.is_none() && options.decimal_mark.is_none() {
        ask_one_or_two_numbers(text, &lines, &fits, &mut best)?;
    }
    Ok(best)
}

/// The short way for the commonest files: nearly all rows fit with points inside numbers and commas, if any, between
/// them only. No other reading of such rows is possible.
fn plain(text: &[u8], lines: &[Line], options: &ReadOptions) -> Option<Dialect> {
    if options.delimiter.is_some() || options.decimal_mark.is_some() {
        return None;
    }
    let last = lines.last()?;
    let seen = &text[last.start..last.end];
    let delimiter = match (seen.contains(&b'\t'), seen.contains(&b';'), seen.contains(&b',')) {
        (true, false, false) => Delimiter::Tab,
        (false, true, false) => Delimiter::Semicolon,
        (false, false, true) => Delimiter::Comma,
        _ => return None,
    };
    let dialect = Dialect { delimiter, mark: DecimalMark::Point, thousands: false };
    let fit = measure(text, lines, dialect);
    let inside = seen.contains(&b'.') && fit.width > 1 && fit.numbers > fit.rows;
    (inside && !seen.contains(&b'"') && fit.rows * 10 >= lines.len() * 9).then_some(dialect)
}

/// The pairs that are possible at all, likeliest first.
fn candidates(text: &[u8], lines: &[Line], options: &ReadOptions) -> Vec<Dialect> {
    use Delimiter::{Bar, Blanks, Comma, OneColumn, Semicolon, Tab};
    let has = |byte: u8| lines.iter().any(|l| text[l.start..l.end].contains(&byte));
    let delimiters: Vec<Delimiter> = match options.delimiter {
        Some(given) => vec![given],
        None => [
            (Tab, has(b'\t')),
            (Semicolon, has(b';')),
            (Comma, has(b',')),
            (Bar, has(b'|')),
            (Blanks, has(b' ') || has(b'\t')),
            (OneColumn, true),
        ]
        .into_iter()
        .filter_map(|(d, there)| there.then_some(d))
        .collect(),
    };
    let commas = has(b',');
    let mut all = Vec::new();
    for delimiter in delimiters {
        for mark in [DecimalMark::Point, DecimalMark::Comma] {
            let wanted = options.decimal_mark.is_none_or(|m| m == mark);
            if wanted && (mark == DecimalMark::Point || commas || options.decimal_mark.is_some()) {
                all.push(Dialect { delimiter, mark, thousands: false });
            }
        }
    }
    all
}

fn sample(text: &[u8], header_rows: usize) -> Vec<Line> {
    let mut lines = Vec::with_capacity(HEAD_ROWS + MIDDLE_ROWS);
    let (mut pos, mut number) = (0, 1);
    while number <= header_rows as u64 && pos < text.len() {
        pos = cells::next_line(text, cells::line_end(text, pos));
        number += 1;
    }
    let end = take(text, pos, number, HEAD_ROWS, &mut lines);
    let middle = pos + (text.len() - pos) / 2;
    if middle > end.0 {
        let start = cells::next_line(text, cells::line_end(text, middle));
        // Line numbers in the middle are not needed: errors here show the head.
        take(text, start, 0, MIDDLE_ROWS, &mut lines);
    }
    lines
}

fn take(text: &[u8], mut pos: usize, mut number: u64, count: usize, lines: &mut Vec<Line>) -> (usize, u64) {
    let wanted = lines.len().saturating_add(count);
    while pos < text.len() && lines.len() < wanted {
        let end = cells::line_end(text, pos);
        let line = &text[pos..end];
        if !cells::is_blank(line) && !cells::is_comment(line) {
            lines.push(Line { start: pos, end, number });
        }
        pos = cells::next_line(text, end);
        number += u64::from(number > 0);
    }
    (pos, number)
}

/// The row's width without empty cells at its end, and its numbers; `None` where a cell is cut wrongly.
fn row(text: &[u8], line: Line, dialect: Dialect, out: &mut Vec<Cell>) -> Option<(usize, usize)> {
    split(text, line.start, line.end, dialect.delimiter, out);
    while out.last().is_some_and(|c| c.start == c.end) {
        out.pop();
    }
    let mut numbers = 0;
    for cell in out.iter() {
        match classify(cell.of(text), dialect) {
            Class::Number(_) => numbers += 1,
            Class::Broken => return None,
            Class::Missing | Class::Text => {}
        }
    }
    Some((out.len(), numbers))
}

fn measure(text: &[u8], lines: &[Line], dialect: Dialect) -> Fit {
    let mut out = Vec::new();
    let mut widths: Vec<(usize, usize, usize)> = Vec::new();
    let mut numeric_rows = 0;
    for &line in lines {
        let Some((width, numbers)) = row(text, line, dialect, &mut out) else { continue };
        if numbers == 0 {
            continue;
        }
        numeric_rows += 1;
        match widths.iter_mut().find(|w| w.0 == width) {
            Some(w) => *w = (width, w.1 + 1, w.2 + numbers),
            None => widths.push((width, 1, numbers)),
        }
    }
    let (width, rows, numbers) = widths.into_iter().max_by_key(|w| (w.1, w.2)).unwrap_or_default();
    Fit { dialect, rows, width, numbers, numeric_rows }
}

/// `1,234` in every row: one number with a decimal comma, or two numbers? The names' row may tell.
fn ask_one_or_two_numbers(text: &[u8], lines: &[Line], fits: &[Fit], best: &mut Dialect) -> Result<()> {
    let with = |delimiter, mark| fits.iter().find(|f| f.dialect.delimiter == delimiter && f.dialect.mark == mark);
    let one = with(Delimiter::OneColumn, DecimalMark::Comma);
    let two = with(Delimiter::Comma, DecimalMark::Point);
    let (Some(one), Some(two)) = (one, two) else { return Ok(()) };
    if one.rows == 0 || one.rows != two.rows || two.width != 2 || best.thousands {
        return Ok(());
    }
    let mut out = Vec::new();
    let Some(first) = lines.iter().position(|l| row(text, *l, two.dialect, &mut out).is_some_and(|r| r == (2, 2)))
    else {
        return Ok(());
    };
    if first > 0 {
        split(text, lines[first - 1].start, lines[first - 1].end, Delimiter::Comma, &mut out);
        while out.last().is_some_and(|c| c.start == c.end) {
            out.pop();
        }
        let names = out.iter().all(|c| classify(c.of(text), two.dialect) == Class::Text);
        // One name with a comma inside brackets or behind "=" says nothing; two plain names do.
        if names && out.len() == 2 {
            *best = two.dialect;
            return Ok(());
        }
    }
    let shown_row = shown(&text[lines[first].start..lines[first].end]);
    Err(Error::new(
        ErrorKind::Ambiguous,
        format!("every row, such as \"{shown_row}\", can be one number with a decimal comma or two numbers"),
    )
    .at_line(lines[first].number)
    .hint("set delimiter = \"comma\" for two numbers, or delimiter = \"one_column\" for one with a decimal comma"))
}

/// `1.234` may be 1234 where all numbers of the text with the mark fit groups of three.
pub(crate) fn doubt(text: &[u8], dialect: Dialect) -> Option<Doubt> {
    let mark = dialect.mark.byte();
    let mut lines = Vec::new();
    take(text, 0, 1, usize::MAX, &mut lines);
    let mut out = Vec::new();
    let mut example: Option<(Line, Cell)> = None;
    // Per column: numbers with the mark, numbers without, the last value, rising so far.
    let mut columns: Vec<(usize, usize, f64, bool)> = Vec::new();
    for &line in &lines {
        if row(text, line, dialect, &mut out).is_none_or(|(_, numbers)| numbers == 0) {
            continue;
        }
        columns.resize(columns.len().max(out.len()), (0, 0, f64::NEG_INFINITY, true));
        for (cell, column) in out.iter().zip(&mut columns) {
            let bytes = cell.of(text);
            let Class::Number(n) = classify(bytes, dialect) else { continue };
            if bytes.contains(&mark) {
                if !cells::fits_groups(bytes, mark) {
                    return None;
                }
                example.get_or_insert((line, *cell));
                column.0 += 1;
            } else {
                column.1 += 1;
            }
            column.3 &= n.value > column.2;
            column.2 = n.value;
        }
    }
    let (line, cell) = example?;
    // The first column that rises is the time; where it is written the same way, nobody means thousands.
    let mild = columns.iter().find(|c| c.3 && c.0 + c.1 > 2).is_some_and(|c| c.1 == 0);
    Some(Doubt { example: shown(cell.of(text)), line: line.number, mild })
}

fn no_table(text: &[u8], lines: &[Line]) -> Error {
    let wanted = "rows of numbers such as \"0.005;1.23\" are wanted";
    if lines.is_empty() {
        return Error::new(ErrorKind::Format, format!("the file holds comments and blank lines only; {wanted}"));
    }
    let line = lines.iter().find(|l| text[l.start..l.end].iter().any(u8::is_ascii_digit)).unwrap_or(&lines[0]);
    let seen = &text[line.start..line.end];
    let message = {
        // Show the first cell that looks like a number and is none, under the delimiter that parts most.
        let delimiter = [(b'\t', Delimiter::Tab), (b';', Delimiter::Semicolon), (b',', Delimiter::Comma)]
            .into_iter()
            .find_map(|(b, d)| seen.contains(&b).then_some(d))
            .unwrap_or(Delimiter::Blanks);
        let dialect = Dialect { delimiter, mark: DecimalMark::Point, thousands: false };
        let mut out = Vec::new();
        split(text, line.start, line.end, delimiter, &mut out);
        match out.iter().find(|c| classify(c.of(text), dialect) == Class::Broken) {
            Some(cell) => format!(
                "no table of numbers: with {} as delimiter \"{}\" is not a number; {wanted}",
                delimiter.words(),
                shown(cell.of(text))
            ),
            None => format!("no row of numbers was found, seen for instance \"{}\"; {wanted}", shown(seen)),
        }
    };
    Error::new(ErrorKind::Format, message)
        .at_line(line.number.max(1))
        .hint("export the trace as delimited text, one row per point")
}

/// `| a | b |`
fn is_markdown(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    line.len() > 1 && line.starts_with(b"|") && line.ends_with(b"|")
}

fn ragged(text: &[u8], lines: &[Line], fit: &Fit) -> Error {
    let mut out = Vec::new();
    let mut first: Option<(u64, usize)> = None;
    let mut other = None;
    for &line in lines.iter().filter(|l| l.number > 0) {
        let Some((width, numbers)) = row(text, line, fit.dialect, &mut out) else { continue };
        match first {
            _ if numbers == 0 => {}
            None => first = Some((line.number, width)),
            Some((_, w)) if w != width && other.is_none() => other = Some((line.number, width)),
            Some(_) => {}
        }
    }
    let ((line_a, a), (line_b, b)) = (first.unwrap_or_default(), other.unwrap_or_default());
    Error::new(
        ErrorKind::Format,
        format!(
            "not a table: line {line_a} has {a} cell(s) and line {line_b} has {b} (delimiter: {}); every row must have \
             the same number",
            fit.dialect.delimiter.words()
        ),
    )
    .at_line(line_b)
    .hint("export one row per point, or set delimiter and decimal_mark")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decided(text: &str) -> Result<(Delimiter, DecimalMark, bool)> {
        let d = decide(text.as_bytes(), &ReadOptions::default())?;
        Ok((d.delimiter, d.mark, d.thousands))
    }

    #[test]
    fn delimiter_and_mark_are_decided_together() {
        use DecimalMark as M;
        use Delimiter as D;
        for (text, expected) in [
            ("0.0,1.5\n0.1,1.6\n", (D::Comma, M::Point, false)),
            ("1,234;5\n1,235;6\n", (D::Semicolon, M::Comma, false)),
            ("Zeit;Signal\n0,000;-0,12\n0,005;-0,10\n", (D::Semicolon, M::Comma, false)),
            ("0\t0.36\t\"A1\"\n0.1\t0\t\"A1\"\n", (D::Tab, M::Point, false)),
            ("0,1\t2\n0,2\t3\n", (D::Tab, M::Comma, false)),
            ("1,5 2,5\n1,6 2,4\n", (D::Blanks, M::Comma, false)),
            ("  0.1   2\n  0.2   3\n", (D::Blanks, M::Point, false)),
            ("0.1, 2\n0.2, 3\n", (D::Comma, M::Point, false)),
            ("\"0,5\",\"1,2\"\n\"0,6\",\"1,3\"\n", (D::Comma, M::Comma, false)),
            ("\"0.5\",\"1,204,331\"\n\"1.0\",\"998,120\"\n", (D::Comma, M::Point, true)),
            ("a,b\n0,5\n1,7\n2,9\n", (D::Comma, M::Point, false)),
            ("0,5\n1,7\n-2,-9\n", (D::Comma, M::Point, false)),
            ("1.204,5;2\n1.205,6;3\n", (D::Semicolon, M::Comma, true)),
            ("17\n18\n19\n", (D::OneColumn, M::Point, false)),
        ] {
            assert_eq!(decided(text).expect(text), expected, "{text}");
        }
    }

    #[test]
    fn two_readings_of_every_row_are_a_question() {
        let e = decided("0,5\n1,7\n2,9\n").expect_err("ambiguous");
        assert_eq!(e.kind(), ErrorKind::Ambiguous);
        assert!(e.advice().is_some_and(|h| h.contains("delimiter = \"comma\"")));
    }

    #[test]
    fn groups_of_three_are_doubted_until_disproved() {
        let d = |text: &str| doubt(text.as_bytes(), decide(text.as_bytes(), &ReadOptions::default()).expect(text));
        assert!(d("0;1,204\n1;998\n2;1,300\n").is_some_and(|d| !d.mild));
        assert!(d("2.000\t12.345\n2.001\t12.346\n2.002\t12.300\n").is_some_and(|d| d.mild));
        assert_eq!(d("0,000;1,204\n0,001;1,205\n"), None);
    }

    #[test]
    fn rows_of_changing_width_are_explained() {
        let e = decided("0.1,2,3\n0.2,2\n0.3\n0.4,5,6,7\n0.5,5\n").expect_err("ragged").to_string();
        assert!(e.contains("not a table"), "{e}");
        let e = decided("0.011,+,2,129.05 119,149.02 176\n0.019,+,1,129.05 89\n").expect_err("cut cell").to_string();
        assert!(e.contains("\"129.05 119\" is not a number"), "{e}");
    }
}
