//! References: ours, and the author's own from a .bib file, cleaned before the typesetter sees them.

use std::path::Path;

use biblatex::{Chunk, Spanned};

use crate::error::{Error, ErrorKind, Result};
use crate::report::text::{self, Show};

/// Largest .bib file.
const LARGEST: usize = 2_000_000;

/// Fields that a list of references prints; the others (abstracts, files, notes to oneself) stay outside.
#[rustfmt::skip]
const FIELDS: &[&str] = &[
    "title", "shorttitle", "author", "editor", "year", "month", "date", "journal", "journaltitle", "booktitle", "publisher", "address", "location",
    "school", "institution", "organization", "edition", "volume", "number", "pages", "chapter", "series", "type", "doi", "url", "urldate", "isbn",
    "issn", "howpublished", "version",
];

/// The author's references, fit to be typeset.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::report) struct Bibliography {
    /// Keys that can be cited.
    pub(in crate::report) keys: Vec<String>,
    /// A .bib file without anything that could run or could not be shown.
    pub(in crate::report) clean: String,
    /// What was left out, as sentences.
    pub(in crate::report) problems: Vec<String>,
}

impl Bibliography {
    /// Reads a .bib file that lies in the study folder.
    ///
    /// # Errors
    /// A path that leads out, a file that is not there, too large, not UTF-8, or does not parse.
    pub(in crate::report) fn read(folder: &Path, name: &str) -> Result<Self> {
        let path = crate::read::inside(folder, name)?;
        let bytes = std::fs::read(&path).map_err(|e| Error::io("read", &path, e))?;
        if bytes.len() > LARGEST {
            let message = format!("{} kB; at most {} kB of references are read", bytes.len() / 1000, LARGEST / 1000);
            return Err(Error::new(ErrorKind::File, message).in_file(path));
        }
        let text = std::str::from_utf8(&bytes).map_err(|_| {
            Error::new(ErrorKind::Format, "not UTF-8 text; a .bib file must be").hint("save the file as UTF-8")
        });
        text.and_then(Self::parse).map_err(|e| e.in_file(path))
    }

    /// Parses and cleans the text of a .bib file.
    ///
    /// # Errors
    /// Text that does not parse, with its line.
    pub(in crate::report) fn parse(text: &str) -> Result<Self> {
        // The parser descends once per brace.
        if deepest(text) > 64 {
            return Err(Error::new(ErrorKind::Format, "braces are nested more than 64 deep"));
        }
        let parsed = biblatex::Bibliography::parse(text).map_err(|e| {
            let line = text.get(..e.span.start).unwrap_or_default().matches('\n').count() as u64 + 1;
            Error::new(ErrorKind::Format, format!("these references do not parse: {}", e.kind)).at_line(line)
        })?;
        let ours = shipped_keys();
        let mut bibliography = Bibliography::default();
        let mut kept = biblatex::Bibliography::new();
        for entry in parsed.into_vec() {
            let key = entry.key.clone();
            if !typst_syntax::is_valid_label_literal_id(&key) || key.len() > 80 {
                bibliography
                    .problems
                    .push(format!("the key \"{}\" is left out: letters, digits, _ - . : only", text::name(&key)));
            } else if ours.contains(&key) {
                bibliography
                    .problems
                    .push(format!("the key \"{key}\" is taken by a reference of the report itself; choose another"));
            } else {
                match cleaned(entry, &mut bibliography.problems) {
                    Some(entry) => {
                        kept.insert(entry);
                        bibliography.keys.push(key);
                    }
                    None => bibliography.problems.push(format!("the entry \"{key}\" cannot be shown and is left out")),
                }
            }
        }
        bibliography.clean = kept.to_biblatex_string();
        Ok(bibliography)
    }
}

fn deepest(text: &str) -> usize {
    let (mut depth, mut deepest) = (0usize, 0usize);
    for b in text.bytes() {
        match b {
            b'{' => depth += 1,
            b'}' => depth = depth.saturating_sub(1),
            _ => {}
        }
        deepest = deepest.max(depth);
    }
    deepest
}

/// The entry with plain text alone; `None` where that cannot be had.
fn cleaned(mut entry: biblatex::Entry, problems: &mut Vec<String>) -> Option<biblatex::Entry> {
    let malformed: Vec<String> = entry.verify().malformed.into_iter().map(|m| m.0).collect();
    for field in malformed.iter().filter(|f| entry.fields.contains_key(*f)) {
        problems.push(format!(
            "the field {} of \"{}\" cannot be understood and is left out",
            text::name(field),
            entry.key
        ));
    }
    entry.fields.retain(|field, _| FIELDS.contains(&field.as_str()) && !malformed.contains(field));
    let show = Show { more_fonts: false, prose: false };
    for (field, chunks) in &mut entry.fields {
        for chunk in chunks.iter_mut() {
            let shown = match field.as_str() {
                // Copied and followed as they are.
                "url" | "doi" => chunk.v.get().to_owned(),
                _ => text::printable(chunk.v.get(), show).into_owned(),
            };
            // What stands between dollar signs would be evaluated: here it is text like any other.
            chunk.v = match chunk.v {
                Chunk::Verbatim(_) => Chunk::Verbatim(shown),
                _ => Chunk::Normal(shown),
            };
        }
    }
    for (field, begins) in [("url", &["http://", "https://"][..]), ("doi", &["10."])] {
        let plain = |chunks: &Vec<Spanned<Chunk>>| {
            let text: String = chunks.iter().map(|c| c.v.get()).collect();
            let fine = |b: u8| b.is_ascii_graphic() && !matches!(b, b'{' | b'}' | b'\\' | b'$' | b'"');
            begins.iter().any(|b| text.starts_with(b)) && text.len() <= 500 && text.bytes().all(fine)
        };
        if entry.fields.get(field).is_some_and(|c| !plain(c)) {
            entry.fields.remove(field);
            problems.push(format!("the {field} of \"{}\" is none that can be followed, and is left out", entry.key));
        }
    }
    // As the typesetter will read it: nothing of mathematics may have come back.
    let again = biblatex::Bibliography::parse(&entry.to_biblatex_string()).ok()?;
    let text_only = |e: &biblatex::Entry| e.fields.values().flatten().all(|c| !matches!(c.v, Chunk::Math(_)));
    (again.len() == 1 && again.iter().all(|e| e.key == entry.key && text_only(e))).then_some(entry)
}

/// Keys of the references that come with the templates.
pub(in crate::report) fn shipped_keys() -> Vec<String> {
    let text = include_str!("../../../report-templates/shared/references.yml");
    let keys = text.lines().filter(|l| !l.starts_with([' ', '#']) && l.ends_with(':'));
    keys.map(|l| l.trim_end_matches(':').to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bibliography_is_read_and_cleaned() -> Result<()> {
        let text = r#"
@article{vanDeemter1956, author = {van Deemter, J. J. and Zuiderweg, F. J.}, title = {Longitudinal diffusion}, journal = {Chem. Eng. Sci.}, year = 1956, volume = 5, pages = {271--289}, abstract = {long}}
@misc{bad, title = {cost $#read("/etc/passwd")$ or \$5 {$#panic()$}}, url = {javascript:alert(1)}, year = {soon}}
@book{gum, title = {taken}}
@book{a&b, title = {x}}
"#;
        let b = Bibliography::parse(text)?;
        assert_eq!(b.keys, ["vanDeemter1956", "bad"], "{:?}", b.problems);
        assert!(b.clean.contains("van Deemter") && !b.clean.contains("abstract") && !b.clean.contains("javascript"));
        let again =
            biblatex::Bibliography::parse(&b.clean).map_err(|e| Error::new(ErrorKind::Format, e.to_string()))?;
        let math = again.iter().flat_map(|e| e.fields.values()).flatten().filter(|c| matches!(c.v, Chunk::Math(_)));
        assert_eq!(math.count(), 0);
        assert!(b.problems.iter().any(|p| p.contains("\"gum\" is taken")));
        assert!(Bibliography::parse("@article{x, title = {").is_err());
        assert!(Bibliography::parse(&"{".repeat(100_000)).is_err());
        Ok(())
    }

    #[test]
    fn our_own_keys_are_known() {
        let keys = shipped_keys();
        assert!(keys.len() >= 8 && keys.iter().any(|k| k == "gum"), "{keys:?}");
    }
}
