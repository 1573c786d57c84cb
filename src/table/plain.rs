//! A table as aligned text.

use super::cells::{MISSING, split, visible, widths};
use super::{Column, Table};

/// Longer words end in "…"; the HTML table has them whole.
const LONGEST: usize = 60;
const BETWEEN: &str = "  ";

/// The table, each line ended.
pub(super) fn paint(table: &Table) -> String {
    let (first, last, left_out) = table.parts();
    let rows: Vec<usize> = first.iter().chain(&last).copied().collect();
    let columns: Vec<Painted> = table.shown_columns().into_iter().map(|c| Painted::new(c, &rows)).collect();
    let mut out = String::new();
    if !table.caption.is_empty() {
        line(&mut out, &visible(&table.caption));
    }
    if !columns.is_empty() {
        header(&mut out, table, &columns);
        for row in 0..rows.len() {
            if left_out > 0 && row == first.len() {
                line(&mut out, &gap(left_out));
            }
            let cells: Vec<&str> = columns.iter().map(|c| c.cells[row].as_str()).collect();
            line(&mut out, &cells.join(BETWEEN));
        }
        if left_out > 0 && last.is_empty() {
            line(&mut out, &gap(left_out));
        }
    }
    for note in &table.notes {
        line(&mut out, &format!("- {}", visible(note)));
    }
    out
}

fn header(out: &mut String, table: &Table, columns: &[Painted]) {
    let row = |texts: Vec<String>| {
        let cells: Vec<String> = columns.iter().zip(&texts).map(|(c, t)| c.padded(t)).collect();
        cells.join(BETWEEN)
    };
    let shown = table.shown_columns();
    line(out, &row(shown.iter().map(|c| visible(&c.heading)).collect()));
    if shown.iter().any(|c| !c.unit.is_empty()) {
        line(out, &row(shown.iter().map(|c| visible(&c.unit)).collect()));
    }
    let width = columns.iter().map(|c| c.width).sum::<usize>() + BETWEEN.len() * columns.len().saturating_sub(1);
    line(out, &"-".repeat(width));
}

/// What stands for the rows left out.
pub(super) fn gap(left_out: usize) -> String {
    format!("… {left_out} more rows")
}

fn line(out: &mut String, text: &str) {
    out.push_str(text.trim_end());
    out.push('\n');
}

struct Painted {
    numbers: bool,
    width: usize,
    cells: Vec<String>,
}

impl Painted {
    fn new(column: &Column, rows: &[usize]) -> Self {
        let numbers = column.is_numbers();
        let texts = column.texts(rows);
        let parts = widths(&texts);
        let mut cells: Vec<String> = texts
            .iter()
            .map(|t| t.as_deref().unwrap_or(MISSING))
            .map(|t| if numbers { by_point(t, parts) } else { shortened(t) })
            .collect();
        let heads = [visible(&column.heading), visible(&column.unit)];
        let width = cells.iter().chain(&heads).map(|t| letters(t)).max().unwrap_or(0);
        let mut painted = Painted { numbers, width, cells: Vec::new() };
        cells.iter_mut().for_each(|c| *c = painted.padded(c));
        painted.cells = cells;
        painted
    }

    fn padded(&self, text: &str) -> String {
        let space = " ".repeat(self.width.saturating_sub(letters(text)));
        if self.numbers { space + text } else { text.to_owned() + &space }
    }
}

fn by_point(number: &str, widths: [usize; 3]) -> String {
    let [left, right, power] = split(number);
    let pad = |part: &str, width: usize| " ".repeat(width - part.chars().count().min(width));
    format!("{}{left}{right}{}{power}{}", pad(left, widths[0]), pad(right, widths[1]), pad(power, widths[2]))
}

fn shortened(text: &str) -> String {
    if letters(text) <= LONGEST {
        return text.to_owned();
    }
    let mut out = String::new();
    for c in text.chars() {
        if letters(&out) + 2 > LONGEST {
            break;
        }
        out.push(c);
    }
    out + "…"
}

/// Width on a terminal: ideographs and pictures take two places, marks above a letter none.
fn letters(text: &str) -> usize {
    text.chars()
        .map(|c| match c as u32 {
            0x300..=0x36f | 0x200b..=0x200d | 0xfe00..=0xfe0f => 0,
            0x1100..=0x115f | 0x2e80..=0xa4cf | 0xac00..=0xd7a3 | 0xf900..=0xfaff | 0xff00..=0xff60 => 2,
            0x1f300..=0x1faff | 0x20000..=0x3fffd => 2,
            _ => 1,
        })
        .sum()
}
