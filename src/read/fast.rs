//! The inner loops: rows of plain numbers, each byte looked at once.

use super::number;
use super::options::Delimiter;
use super::scan::Column;

/// Takes rows of two plain numbers as long as nothing else comes; returns where the first other line starts. Most
/// exports are nothing else, and without the loop over columns they read faster by a tenth.
#[inline(never)]
pub(super) fn pair_rows(text: &[u8], mut pos: usize, sign: u8, mark: u8, a: &mut Column, b: &mut Column) -> usize {
    let (mut scale_a, mut scale_b) = (a.scale, b.scale);
    let (va, vb) = (&mut a.values, &mut b.values);
    while pos < text.len() {
        let first = &text[pos..];
        let (x, x_len, x_scale) = number::simple(first, mark);
        if x_len == 0 || first.get(x_len) != Some(&sign) {
            break;
        }
        let second = &first[x_len + 1..];
        let (y, y_len, y_scale) = number::simple(second, mark);
        if y_len == 0 {
            break;
        }
        let len = match second.get(y_len) {
            Some(b'\n') => y_len + 1,
            Some(b'\r') if second.get(y_len + 1) == Some(&b'\n') => y_len + 2,
            None => y_len,
            _ => break,
        };
        va.push(x);
        vb.push(y);
        scale_a = scale_a.max(x_scale as i32);
        scale_b = scale_b.max(y_scale as i32);
        pos += x_len + 1 + len;
    }
    (a.scale, b.scale) = (scale_a, scale_b);
    pos
}

/// Takes a row of plain numbers; `None` (values pushed so far must be taken back) where anything else stands.
#[inline(always)]
pub(super) fn plain_row(
    columns: &mut [Column],
    text: &[u8],
    pos: usize,
    delimiter: Delimiter,
    mark: u8,
) -> Option<usize> {
    let tab_is_blank = delimiter != Delimiter::Tab;
    let blank = |b: u8| b == b' ' || (b == b'\t' && tab_is_blank);
    let sign = sign_of(delimiter);
    let mut i = pos;
    let last = columns.len() - 1;
    for (k, column) in columns.iter_mut().enumerate() {
        if column.numeric {
            while text.get(i).is_some_and(|b| blank(*b)) {
                i += 1;
            }
            let n = number::prefix(&text[i..], mark)?;
            i += n.len;
            column.values.push(n.value);
            column.scale = column.scale.max(n.scale);
        } else {
            // The same text as in the row above, or the slow path.
            let same = text.get(column.last.start..column.last.end).filter(|s| !s.is_empty())?;
            if !text[i..].starts_with(same) {
                return None;
            }
            i += same.len();
        }
        if k < last && delimiter == Delimiter::Blanks {
            if !text.get(i).is_some_and(|b| blank(*b)) {
                return None;
            }
            continue;
        }
        while text.get(i).is_some_and(|b| blank(*b)) {
            i += 1;
        }
        if k < last {
            if text.get(i) != Some(&sign) {
                return None;
            }
            i += 1;
        }
    }
    match text.get(i) {
        None | Some(b'\n' | b'\r') => Some(i),
        _ => None,
    }
}

/// The byte between two cells.
pub(super) fn sign_of(delimiter: Delimiter) -> u8 {
    match delimiter {
        Delimiter::Comma => b',',
        Delimiter::Semicolon => b';',
        Delimiter::Tab => b'\t',
        Delimiter::Bar => b'|',
        Delimiter::Blanks => b' ',
        Delimiter::OneColumn => b'\n',
    }
}
