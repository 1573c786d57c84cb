//! The structure of a JCAMP-DX file: blocks of labelled data records.
//!
//! R. S. McDonald, P. A. Wilks, Appl. Spectrosc. 42 (1988) 151-162 (JCAMP-DX 4.24); blocks and later labels as in
//! version 5 (P. Lampen et al., Appl. Spectrosc. 48 (1994) 1545-1552, and others of that series).

use crate::error::{Error, ErrorKind, Result};

/// A block: from its title to its end, without the blocks inside it.
#[derive(Debug, Default)]
pub(super) struct Block<'a> {
    pub(super) records: Vec<Record<'a>>,
}

/// `##LABEL= value`, and the lines below that belong to it.
#[derive(Debug)]
pub(super) struct Record<'a> {
    /// Upper case, without blanks, `-`, `_` and `/`: "DATATYPE".
    pub(super) label: String,
    /// What stands behind the equals sign, trimmed, without a comment.
    pub(super) value: &'a str,
    /// The lines below, as they are but for comments; the first has the number `line + 1`.
    pub(super) lines: Vec<&'a str>,
    /// Line of the label, counted from 1.
    pub(super) line: u64,
}

/// Nested deeper than this is damage, not data; our own choice.
const DEEPEST: usize = 16;

/// Cuts the text into blocks, in the order of their titles.
pub(super) fn blocks(text: &str) -> Result<Vec<Block<'_>>> {
    let mut blocks: Vec<Block<'_>> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    // Where the lines without a label go.
    let mut current: Option<(usize, usize)> = None;
    for (number, line) in lines(text) {
        let line = line.split_once("$$").map_or(line, |(before, _)| before);
        let Some(record) = line.trim_start().strip_prefix("##") else {
            if let Some((b, r)) = current {
                blocks[b].records[r].lines.push(line);
            }
            continue;
        };
        let Some((label, value)) = record.split_once('=') else {
            return Err(Error::new(ErrorKind::Format, "a labelled record without \"=\"; ##LABEL= is wanted")
                .at_line(number)
                .hint("correct the line, or export the file again"));
        };
        let label = normalised(label);
        if label == "END" {
            open.pop();
            current = None;
            continue;
        }
        // A title inside a block that has data is a new block whose neighbour lacks its ##END=.
        if label == "TITLE" || open.is_empty() {
            if open.last().is_some_and(|&b| blocks[b].records.iter().any(|r| r.is_table())) {
                open.pop();
            }
            if open.len() >= DEEPEST {
                return Err(Error::new(ErrorKind::Format, format!("blocks within blocks, {DEEPEST} deep"))
                    .at_line(number)
                    .hint("the ##END= records seem to be missing; export the file again"));
            }
            open.push(blocks.len());
            blocks.push(Block::default());
        }
        let Some(&b) = open.last() else { continue };
        current = Some((b, blocks[b].records.len()));
        blocks[b].records.push(Record { label, value: value.trim(), lines: Vec::new(), line: number });
    }
    Ok(blocks)
}

impl Block<'_> {
    /// The statement of this label that holds at record `at`: the last one before it, else the first behind it.
    pub(super) fn stated(&self, label: &str, at: usize) -> Option<&Record<'_>> {
        let fits = |r: &&Record<'_>| r.label == label && !r.value.is_empty();
        let (before, behind) = self.records.split_at(at.min(self.records.len()));
        before.iter().rev().find(fits).or_else(|| behind.iter().find(fits))
    }
}

impl Record<'_> {
    /// True for records that hold rows of numbers.
    pub(super) fn is_table(&self) -> bool {
        matches!(self.label.as_str(), "XYDATA" | "XYPOINTS" | "PEAKTABLE" | "NTUPLES")
    }
}

/// Labels are compared without case, blanks, `-`, `_` and `/`.
pub(super) fn normalised(label: &str) -> String {
    label.chars().filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_' | '/')).flat_map(char::to_uppercase).collect()
}

/// Lines with their numbers; CR LF, LF and CR end a line.
fn lines(text: &str) -> impl Iterator<Item = (u64, &str)> {
    let mut rest = Some(text);
    let mut number = 0;
    std::iter::from_fn(move || {
        let text = rest.filter(|t| !t.is_empty())?;
        number += 1;
        let end = memchr::memchr2(b'\n', b'\r', text.as_bytes());
        let (line, after) = end.map_or((text, None), |e| {
            let skip = 1 + usize::from(text[e..].starts_with("\r\n"));
            (&text[..e], Some(&text[e + skip..]))
        });
        rest = after;
        Some((number, line))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_comments_and_blocks() {
        let text = "##TITLE= all $$ a comment\r\n##DATA TYPE= LINK\r\n##TITLE= one\r\n##X_Units = s\r\n##xy-data=(XY..XY)\r\n1,2\r\n\
                    ##END=\r\n##TITLE= two\r\n##NPOINTS=\r\n##END=\r\n##END=\r\n";
        let blocks = blocks(text).expect("blocks");
        assert_eq!(blocks.len(), 3);
        assert_eq!(blocks[0].records[0].value, "all");
        assert_eq!(blocks[0].records[1].label, "DATATYPE");
        assert_eq!((blocks[1].records[1].label.as_str(), blocks[1].records[2].label.as_str()), ("XUNITS", "XYDATA"));
        assert_eq!((blocks[1].records[2].lines.as_slice(), blocks[1].records[2].line), (&["1,2"][..], 5));
        assert!(blocks[2].stated("NPOINTS", 1).is_none(), "an empty value states nothing");
        assert_eq!(super::blocks("##TITLE= a\n##BROKEN\n").expect_err("no sign").line(), Some(2));
    }

    #[test]
    fn titles_without_ends_do_not_nest_for_ever() {
        assert!(blocks(&"##TITLE=x\n".repeat(100)).is_err());
        let missing_end = "##TITLE=a\n##XYPOINTS=(XY..XY)\n1,2\n".repeat(100);
        assert_eq!(blocks(&missing_end).expect("blocks").len(), 100);
    }
}
