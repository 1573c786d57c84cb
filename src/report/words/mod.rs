//! The author's words: Markdown → a tree of plain data, which templates print. Nothing in it is code.
//!
//! Text stands under `prose`, pictures are files that were copied, formulas are parsed first ([`formula`]),
//! citations and references are looked up: what is not found is marked in the text and listed as a gap.

mod formula;
mod lookup;
mod markdown;
mod references;
mod source;
mod symbols;

use serde::Serialize;

pub(super) use formula::check as check_formula;
pub(super) use lookup::Anchor;
use lookup::Lookup;
pub(super) use markdown::is_link;
pub(super) use references::Bibliography;
use references::shipped_keys;
pub(super) use source::{Authored, Picture};

/// A block of the author's words.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Block {
    /// A paragraph.
    Paragraph {
        /// Its text.
        inline: Vec<Inline>,
    },
    /// A heading inside the section.
    Heading {
        /// Level in the report, 2 or more, without gaps.
        level: u8,
        /// Its text.
        inline: Vec<Inline>,
    },
    /// A list.
    List {
        /// Number of the first item; `null` for a list without numbers.
        start: Option<u64>,
        /// The items.
        items: Vec<Vec<Block>>,
    },
    /// A quotation.
    Quote {
        /// What is quoted.
        blocks: Vec<Block>,
    },
    /// Text in which every blank counts.
    Code {
        /// Its lines.
        lines: Vec<Line>,
    },
    /// A table.
    Table {
        /// "left", "center" or "right" for each column.
        align: Vec<String>,
        /// Its caption; empty where the author wrote none.
        caption: Vec<Inline>,
        /// Header cells.
        header: Vec<Vec<Inline>>,
        /// Rows of cells.
        rows: Vec<Vec<Vec<Inline>>>,
    },
    /// A picture from the study folder.
    Picture {
        /// File in the build folder.
        file: String,
        /// What it shows, for those who cannot see it.
        alt: String,
        /// Its caption.
        caption: Vec<Inline>,
        /// Label to refer to.
        label: String,
    },
    /// A formula on a line of its own.
    Formula {
        /// The formula, as parsed and found harmless.
        formula: String,
        /// The same in words.
        alt: String,
    },
    /// A line across.
    Rule,
}

/// One line of a block of code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The line.
    pub prose: String,
}

/// A part of a line of the author's words.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Inline {
    /// Plain text.
    Text {
        /// The text.
        prose: String,
    },
    /// Emphasised, usually slanted.
    Emphasis {
        /// The text.
        inline: Vec<Inline>,
    },
    /// Strongly emphasised, usually bold.
    Strong {
        /// The text.
        inline: Vec<Inline>,
    },
    /// Raised, such as an exponent.
    Superscript {
        /// The text.
        inline: Vec<Inline>,
    },
    /// Lowered, such as the number in a chemical formula.
    Subscript {
        /// The text.
        inline: Vec<Inline>,
    },
    /// As typed.
    Code {
        /// The text.
        prose: String,
    },
    /// A new line.
    Break,
    /// A formula.
    Formula {
        /// The formula, as parsed and found harmless.
        formula: String,
        /// The same in words.
        alt: String,
    },
    /// A formula on a line of its own in the midst of a paragraph.
    Display {
        /// The formula, as parsed and found harmless.
        formula: String,
        /// The same in words.
        alt: String,
    },
    /// A link that can be followed.
    Link {
        /// Where to: http, https or mailto.
        target: String,
        /// Its text.
        inline: Vec<Inline>,
    },
    /// Citations.
    Cite {
        /// What is cited.
        cites: Vec<Cite>,
    },
    /// A reference to figures or tables.
    Reference {
        /// Their labels.
        labels: Vec<String>,
        /// Printed where a template does not show them.
        prose: String,
    },
    /// A footnote.
    Footnote {
        /// The note.
        blocks: Vec<Block>,
    },
    /// Something that could not be done, as it was typed; listed as a gap.
    Problem {
        /// The text.
        prose: String,
    },
}

/// One citation.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Cite {
    /// Key in the list of references.
    pub key: String,
    /// Where in the source, such as "p. 12".
    pub prose: Option<String>,
}

/// What of the author's words could not be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Problem {
    /// A sentence.
    pub(super) what: String,
    /// Line in the author's text, from 1.
    pub(super) line: usize,
}
