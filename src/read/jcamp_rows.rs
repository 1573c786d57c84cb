//! The rows of numbers in a JCAMP-DX record: their form as stated, and groups of numbers with their lines.

use super::jcamp::Record;
use super::jcamp_numbers::{Mark, marks};
use crate::error::{Error, ErrorKind, Result};

/// The rows of a table of pairs (or triples), each with its line.
pub(super) fn groups(record: &Record<'_>, decimals: &mut i32) -> Result<Vec<(u64, [f64; 3])>> {
    let width = form(record)?.width;
    let mut rows = Vec::new();
    for (line, text) in numbered(record) {
        let found = marks(text, false, decimals).map_err(|n| no_number(&n.text, n.column, line))?;
        if found.len() % width != 0 {
            return Err(Error::new(
                ErrorKind::Format,
                format!("{} numbers on a line of groups of {width}; one is missing or too many", found.len()),
            )
            .at_line(line)
            .hint("a decimal comma is not allowed in JCAMP-DX; correct the line, or export the file again"));
        }
        for group in found.chunks(width) {
            let mut row = [0.0; 3];
            for (into, mark) in row.iter_mut().zip(group) {
                let Mark::Value(v) = mark else {
                    return Err(Error::new(ErrorKind::Format, "\"?\" stands for a missing value")
                        .at_line(line)
                        .hint("a gap is never filled by guessing; export the trace again"));
                };
                *into = *v;
            }
            rows.push((line, row));
        }
    }
    Ok(rows)
}

/// What the record says about the order of its numbers.
pub(super) struct Form {
    pub(super) increments: bool,
    /// Numbers in a group.
    pub(super) width: usize,
    pub(super) words: &'static str,
}

pub(super) fn form(record: &Record<'_>) -> Result<Form> {
    let text: String = form_text(record).chars().filter(|c| !c.is_whitespace()).flat_map(char::to_uppercase).collect();
    match text.as_str() {
        "(X++(Y..Y))" => Ok(Form { increments: true, width: 1, words: "(X++(Y..Y))" }),
        "(XY..XY)" => Ok(Form { increments: false, width: 2, words: "(XY..XY)" }),
        "(XYW..XYW)" if record.label == "PEAKTABLE" => Ok(Form { increments: false, width: 3, words: "(XYW..XYW)" }),
        other => Err(Error::new(
            ErrorKind::Format,
            format!(
                "##{}= states the form \"{}\"; (X++(Y..Y)) or (XY..XY) is wanted",
                record.label,
                other.chars().take(40).collect::<String>()
            ),
        )
        .at_line(record.line)),
    }
}

/// The form in brackets at the beginning of the value.
fn form_text<'a>(record: &Record<'a>) -> &'a str {
    let mut depth = 0usize;
    for (i, c) in record.value.char_indices() {
        match c {
            '(' => depth += 1,
            ')' if depth <= 1 => return &record.value[..=i],
            ')' => depth -= 1,
            _ => {}
        }
    }
    record.value
}

/// The lines of numbers with their line numbers; numbers may begin right behind the form.
pub(super) fn numbered<'r>(record: &'r Record<'_>) -> impl Iterator<Item = (u64, &'r str)> {
    let rest = record.value[form_text(record).len()..].trim();
    let rest = rest.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.')).then_some(rest);
    let below = record.lines.iter().enumerate().map(|(i, l)| (record.line + 1 + i as u64, *l));
    rest.map(|r| (record.line, r)).into_iter().chain(below)
}

pub(super) fn no_number(text: &str, column: u64, line: u64) -> Error {
    let message = format!("\"{}\" is not a number", text.escape_debug());
    // The column is that of the character here, where a table has none.
    Error::new(ErrorKind::Format, format!("{message} (character {column} of the line)"))
        .at_line(line)
        .hint("correct the line, or export the file again")
}
