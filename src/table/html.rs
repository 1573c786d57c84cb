//! A table as HTML that stands alone: no script, no style sheet, no colour.

use std::fmt::Write;

use super::cells::{MISSING, split, visible, widths};
use super::plain::gap;
use super::{Column, Table};
use crate::estimate::typographic;

/// As wide as a digit, so that points align where a site strips styles.
const FIGURE_SPACE: char = '\u{2007}';
/// As wide as a point.
const POINT_SPACE: char = '\u{2008}';

// Lines take the text's own colour.
const HEAD: &str = "border-bottom:1px solid;vertical-align:bottom";
const NUMBER: &str = "text-align:right;vertical-align:top;white-space:nowrap;font-variant-numeric:tabular-nums";
const WORDS: &str = "text-align:left;vertical-align:top;min-width:16em";
const SHORT: &str = "text-align:left;vertical-align:top;white-space:nowrap";
/// Words up to so many letters stay on one line.
const SHORTEST: usize = 32;

/// The table and its notes.
pub(super) fn paint(table: &Table) -> String {
    let (first, last, left_out) = table.parts();
    let rows: Vec<usize> = first.iter().chain(&last).copied().collect();
    let columns = table.shown_columns();
    let cells: Vec<Vec<String>> = columns.iter().map(|c| cells(c, &rows)).collect();
    let mut out = String::from("<table style=\"border-collapse:collapse\">\n");
    if !table.caption.is_empty() {
        let caption = shown(&table.caption);
        put(&mut out, format_args!("<caption style=\"caption-side:top;text-align:left\"><b>{caption}</b></caption>\n"));
    }
    head(&mut out, &columns);
    out.push_str("<tbody>\n");
    let gap_row = |out: &mut String| {
        let (span, text) = (columns.len().max(1), gap(left_out));
        put(out, format_args!("<tr><td colspan=\"{span}\" align=\"left\" style=\"{WORDS}\"><i>{text}</i></td></tr>\n"));
    };
    for row in 0..rows.len() {
        if left_out > 0 && row == first.len() {
            gap_row(&mut out);
        }
        out.push_str("<tr>");
        for (k, (column, texts)) in columns.iter().zip(&cells).enumerate() {
            let text = &texts[row];
            let words = if text.chars().count() <= SHORTEST { SHORT } else { WORDS };
            match (k, column.is_numbers()) {
                (_, true) => put(&mut out, format_args!("<td align=\"right\" style=\"{NUMBER}\">{text}</td>")),
                // What the row is about.
                (0, false) => put(
                    &mut out,
                    format_args!("<th scope=\"row\" align=\"left\" style=\"{words};font-weight:normal\">{text}</th>"),
                ),
                (_, false) => put(&mut out, format_args!("<td align=\"left\" style=\"{words}\">{text}</td>")),
            }
        }
        out.push_str("</tr>\n");
    }
    if left_out > 0 && last.is_empty() {
        gap_row(&mut out);
    }
    out.push_str("</tbody>\n</table>\n");
    if !table.notes.is_empty() {
        out.push_str("<ul>\n");
        for note in &table.notes {
            put(&mut out, format_args!("<li>{}</li>\n", shown(note)));
        }
        out.push_str("</ul>\n");
    }
    out
}

/// Headings and, where there are units, a row of these.
fn head(out: &mut String, columns: &[&Column]) {
    out.push_str("<thead>\n<tr>");
    let units = columns.iter().any(|c| !c.unit.is_empty());
    let side = |c: &Column| if c.is_numbers() { "right" } else { "left" };
    for c in columns {
        let (side, line) = (side(c), if units { "vertical-align:bottom" } else { HEAD });
        let heading = shown(&c.heading);
        put(out, format_args!("<th scope=\"col\" align=\"{side}\" style=\"text-align:{side};{line}\">{heading}</th>"));
    }
    out.push_str("</tr>\n");
    if units {
        out.push_str("<tr>");
        for c in columns {
            let (side, unit) = (side(c), shown(&c.unit));
            let style = format!("text-align:{side};font-weight:normal;{HEAD}");
            // An empty heading would be read out as one.
            if unit.is_empty() {
                put(out, format_args!("<td style=\"{HEAD}\"></td>"));
            } else {
                put(out, format_args!("<th scope=\"col\" align=\"{side}\" style=\"{style}\">{unit}</th>"));
            }
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</thead>\n");
}

fn cells(column: &Column, rows: &[usize]) -> Vec<String> {
    let texts = column.texts(rows);
    if !column.is_numbers() {
        return texts.iter().map(|t| t.as_deref().map_or_else(|| MISSING.to_owned(), shown)).collect();
    }
    let widths = widths(&texts);
    texts
        .iter()
        .map(|t| {
            let text = t.as_deref().unwrap_or(MISSING);
            let [left, right, power] = split(text);
            let mut cell = escape(&typographic(&format!("{left}{right}")));
            // The right edge is common: what is short of it after the point is filled up.
            let mut missing = widths[1] - right.chars().count();
            if right.is_empty() && missing > 0 {
                cell.push(POINT_SPACE);
                missing -= 1;
            }
            cell.extend(std::iter::repeat_n(FIGURE_SPACE, missing));
            cell.push_str(&escape(&typographic(power)));
            cell.extend(std::iter::repeat_n(FIGURE_SPACE, widths[2] - power.chars().count()));
            cell
        })
        .collect()
}

/// Foreign text as the content of an element: on one line, with the page's minus and powers of ten.
fn shown(text: &str) -> String {
    escape(&typographic(&visible(text)))
}

/// Text as the content of an element; line breaks stay.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        match c {
            // Notebooks and pages that typeset mathematics look for these marks in any text; an element of its own
            // parts them from what follows.
            '$' | '\\' => put(&mut out, format_args!("<span>{c}</span>")),
            c => escape_letter(c, &mut out),
        }
    }
    out
}

/// Text as the value of an attribute in double quotes, on one line.
pub(crate) fn attribute(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    visible(text).chars().for_each(|c| escape_letter(c, &mut out));
    out
}

/// A letter that cannot become markup.
pub(crate) fn escape_letter(c: char, out: &mut String) {
    match c {
        '&' => out.push_str("&amp;"),
        '<' => out.push_str("&lt;"),
        '>' => out.push_str("&gt;"),
        '"' => out.push_str("&quot;"),
        '\'' => out.push_str("&#39;"),
        c => out.push(c),
    }
}

fn put(out: &mut String, text: std::fmt::Arguments<'_>) {
    // Writing to a string cannot fail.
    let _ = out.write_fmt(text);
}
