//! The lines above a table: column names, a row of units, and statements such as `rate,10,Hz`.

use std::collections::HashSet;

use super::cells::{self, Cell, Class, Dialect, classify, shown, split, text_of};
use super::names::{Meaning, Name, fold, signal_unit, time_unit};
use super::options::{Delimiter, TimeUnit};
use super::scan::Block;

/// What stands above a block.
#[derive(Clone, Debug, Default)]
pub(crate) struct Header {
    /// One name per column of the block; empty texts where there is no name.
    pub(crate) names: Vec<Name>,
    /// Line of the names.
    pub(crate) names_line: Option<u64>,
    /// Line of a row of units below the names.
    pub(crate) units_line: Option<u64>,
    /// Cells of the line right above the table, where they are not as many as its columns.
    pub(crate) unmatched: Option<usize>,
    /// Lines that are neither names nor units, as written.
    pub(crate) lines: Vec<(u64, String)>,
    /// Statements: key and values.
    pub(crate) facts: Vec<Fact>,
    /// What looks odd.
    pub(crate) suspicions: Vec<String>,
}

/// A line such as `y unit,mV` or `points: 5`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Fact {
    pub(crate) line: u64,
    /// Folded: lower case, µ as u.
    pub(crate) key: String,
    pub(crate) values: Vec<String>,
    /// The whole line, shortened for a sentence.
    pub(crate) shown: String,
}

#[derive(Clone, Copy)]
struct Line {
    start: usize,
    end: usize,
    number: u64,
}

impl Header {
    /// Reads the lines from byte `start` (line `line`) up to the block.
    pub(crate) fn read(text: &[u8], dialect: Dialect, start: usize, line: u64, block: &Block) -> Header {
        let mut lines = Vec::new();
        let (mut pos, mut number) = (start, line);
        while pos < block.start {
            let end = cells::line_end(text, pos);
            if !cells::is_blank(&text[pos..end]) && !is_rule(&text[pos..end]) {
                lines.push(Line { start: pos, end, number });
            }
            pos = cells::next_line(text, end);
            number += 1;
        }
        let mut header = Header::default();
        header.take_names(text, dialect, &mut lines, block);
        for l in &lines {
            header.lines.push((l.number, String::from_utf8_lossy(text[l.start..l.end].trim_ascii()).into_owned()));
            header.facts.extend(fact(text, *l, dialect));
        }
        header
    }

    /// Takes over names and units from the table above, for a part that has none and as many columns.
    pub(crate) fn inherit(&mut self, above: &Header) {
        if self.names_line.is_none() && self.names.len() == above.names.len() {
            self.names.clone_from(&above.names);
            (self.names_line, self.units_line) = (above.names_line, above.units_line);
        }
    }

    /// A name for sentences: `"time (min)" (column 1)`, or `column 1`.
    pub(crate) fn describe(&self, column: usize) -> String {
        match self.names.get(column).filter(|n| !n.text.is_empty()) {
            Some(name) => format!("\"{}\" (column {})", name.text, column + 1),
            None => format!("column {}", column + 1),
        }
    }

    /// The first statement whose key satisfies `wanted`.
    pub(crate) fn fact(&self, wanted: impl Fn(&[&str]) -> bool) -> Option<&Fact> {
        self.facts.iter().find(|f| wanted(&f.words()))
    }

    /// A time unit stated in a line of its own, such as `x unit,min`.
    pub(crate) fn time_unit(&self) -> Option<(TimeUnit, u64)> {
        let says = |w: &[&str]| {
            w.iter().any(|w| matches!(*w, "unit" | "units")) && w.iter().any(|w| matches!(*w, "time" | "x"))
        };
        let fact = self.fact(says)?;
        Some((time_unit(fact.values.first()?)?, fact.line))
    }

    /// A signal unit stated in a line of its own, such as `y unit,mV`.
    pub(crate) fn signal_unit(&self) -> Option<(String, u64)> {
        let says = |w: &[&str]| {
            w.iter().any(|w| matches!(*w, "unit" | "units"))
                && w.iter().any(|w| matches!(*w, "y" | "signal" | "detector" | "response" | "intensity"))
        };
        let fact = self.fact(says)?;
        let [unit] = fact.values.as_slice() else { return None };
        Some((signal_unit(unit).unwrap_or_else(|| unit.clone()), fact.line))
    }

    /// A factor for the signal stated in a line of its own, other than 1.
    pub(crate) fn signal_factor(&self) -> Option<&Fact> {
        const AROUND: &[&str] = &[
            "y",
            "signal",
            "scale",
            "scaling",
            "axis",
            "intensity",
            "amplitude",
            "detector",
            "data",
            "the",
            "of",
            "factor",
            "multiplier",
        ];
        self.fact(|w| w.iter().any(|w| matches!(*w, "factor" | "multiplier")) && w.iter().all(|w| AROUND.contains(w)))
            .filter(|f| f.values.first().and_then(|v| v.replace(',', ".").parse::<f64>().ok()) != Some(1.0))
    }

    /// Counts of points stated in a line of their own, one or one per channel.
    pub(crate) fn points(&self) -> Option<(&Fact, Vec<usize>)> {
        // "points per second" counts something else.
        let says = |w: &[&str]| {
            w.iter().any(|w| matches!(*w, "points" | "npoints" | "count" | "samples" | "datapoints"))
                && !w.iter().any(|w| matches!(*w, "per" | "rate" | "hz" | "interval"))
        };
        let fact = self.fact(says)?;
        let counts: Option<Vec<usize>> =
            fact.values.iter().flat_map(|v| v.split_whitespace()).map(|v| v.parse().ok()).collect();
        counts.filter(|c| !c.is_empty()).map(|counts| (fact, counts))
    }

    /// Names of the `n` channels of one column.
    pub(crate) fn channel_names(&self, n: usize) -> Option<Vec<String>> {
        let says = |f: &&Fact| {
            per_channel(f, n).is_some()
                && f.words().iter().any(|w| {
                    matches!(
                        *w,
                        "name" | "names" | "channel" | "channels" | "detector" | "detectors" | "signal" | "title"
                    )
                })
                && !f.words().iter().any(|w| matches!(*w, "unit" | "units" | "max" | "points" | "rate" | "factor"))
        };
        per_channel(self.facts.iter().find(says)?, n)
    }

    /// What the lines say about channel `k` of `n` in one column: statements with a value per channel, cut to its own.
    pub(crate) fn channel(&self, k: usize, n: usize) -> Header {
        let mut own = self.clone();
        for fact in &mut own.facts {
            if let Some(values) = per_channel(fact, n) {
                fact.values = vec![values[k].clone()];
            }
        }
        let unit = |f: &&Fact| matches!(f.words().as_slice(), ["unit" | "units"]);
        if let Some(fact) = own.facts.iter().find(unit) {
            own.facts.push(Fact { key: "signal unit".into(), ..fact.clone() });
        }
        own
    }

    /// Finds names (and units) in the last lines above the block and takes them out of `lines`.
    fn take_names(&mut self, text: &[u8], dialect: Dialect, lines: &mut Vec<Line>, block: &Block) {
        self.names = vec![Name::parse(""); block.columns.len()];
        let Some(&last) = lines.last() else { return };
        let Some(lowest) = names_in(text, last, dialect, block) else {
            let mut out = Vec::new();
            split(text, last.start, last.end, dialect.delimiter, &mut out);
            let texts = out.iter().filter(|c| classify(c.of(text), dialect) == Class::Text).count();
            let cells: Vec<String> = out.iter().map(|c| text_of(c.of(text))).collect();
            let sets =
                text[last.start..last.end].contains(&b'=') && fact(text, last, dialect).is_some_and(|f| f.is_setting());
            if texts > 1 && out.len() != block.columns.len() && !is_statement(&cells) && !sets {
                self.unmatched = Some(out.len());
                self.suspicions.push(format!(
                    "line {} (\"{}\") has {} cells above rows of {}; not taken as column names",
                    last.number,
                    shown(&text[last.start..last.end]),
                    out.len(),
                    block.columns.len()
                ));
            }
            return;
        };
        let is_unit = |t: &String| t.is_empty() || time_unit(t).is_some() || signal_unit(t).is_some();
        let above = (lines.len() > 1).then(|| lines[lines.len() - 2]);
        // Words above "min,mV" are names only if one of them means something; a comment or a date is not.
        let means = |names: &Vec<String>| names.iter().any(|n| Name::parse(n).meaning != Meaning::Unknown);
        let plain = |l: &Line| !cells::is_comment(&text[l.start..l.end]);
        let names_above = above.filter(plain).and_then(|l| names_in(text, l, dialect, block)).filter(means);
        if let (true, Some(names), Some(l)) = (lowest.iter().all(is_unit), names_above, above) {
            self.units_line = Some(last.number);
            self.names_line = Some(l.number);
            self.names = names
                .iter()
                .zip(&lowest)
                .map(|(name, unit)| {
                    // Parsed together, so that the unit takes part in the meaning.
                    let plain = Name::parse(name);
                    if plain.unit.is_some() || unit.is_empty() {
                        return plain;
                    }
                    Name { text: name.trim().to_owned(), ..Name::parse(&format!("{name} ({unit})")) }
                })
                .collect();
            lines.truncate(lines.len() - 2);
        } else {
            self.names_line = Some(last.number);
            self.names = lowest.iter().map(|t| Name::parse(t)).collect();
            lines.pop();
        }
        self.names.resize(block.columns.len(), Name::parse(""));
        self.take_groups(text, dialect, lines);
    }

    /// Where names repeat, a row above them may tell the groups: `run 1,,run 2,` above `min,mV,min,mV`.
    fn take_groups(&mut self, text: &[u8], dialect: Dialect, lines: &mut Vec<Line>) {
        let mut seen = HashSet::new();
        let repeats = self.names.iter().any(|n| !n.text.is_empty() && !seen.insert(fold(&n.text)));
        let Some(&line) = lines.last().filter(|_| repeats) else { return };
        let mut out = Vec::new();
        split(text, line.start, line.end, dialect.delimiter, &mut out);
        let cells: Vec<String> = out.iter().map(|c| text_of(c.of(text))).collect();
        let named = cells.iter().filter(|c| !c.is_empty()).count();
        if cells.len() > self.names.len() || named < 2 || cells[0].ends_with([':', '=']) {
            return;
        }
        let mut group = String::new();
        for (name, cell) in self.names.iter_mut().zip(cells.iter().chain(std::iter::repeat(&String::new()))) {
            if !cell.is_empty() {
                group.clone_from(cell);
            }
            if !group.is_empty() {
                *name = name.under(&group);
            }
        }
        lines.pop();
    }
}

/// The values of a statement that has one for each of `n` channels: all numbers or all words, since "10,Hz" is one value
/// with its unit.
fn per_channel(fact: &Fact, n: usize) -> Option<Vec<String>> {
    let is_number = |v: &String| v.trim().replace(',', ".").parse::<f64>().is_ok();
    let alike = |v: &Vec<String>| v.len() == n && (v.iter().all(is_number) || !v.iter().any(is_number));
    if alike(&fact.values) {
        return Some(fact.values.clone());
    }
    let [one] = fact.values.as_slice() else { return None };
    let words: Vec<String> = one.split_whitespace().map(str::to_owned).collect();
    (n > 1 && alike(&words)).then_some(words)
}

/// `-----  -----`, `| :--- | ---: |`: a rule drawn under names.
fn is_rule(line: &[u8]) -> bool {
    let drawn =
        |b: &u8| matches!(b, b'-' | b'=' | b'_' | b'+' | b'|' | b':' | b'*' | b' ' | b'\t' | b'"' | b',' | b';');
    line.iter().all(drawn) && line.iter().filter(|b| matches!(b, b'-' | b'=' | b'_')).count() >= 3
}

impl Fact {
    pub(crate) fn words(&self) -> Vec<&str> {
        self.key.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect()
    }
}

/// The line's cells as names, if it has one per column and at least one is words.
fn names_in(text: &[u8], line: Line, dialect: Dialect, block: &Block) -> Option<Vec<String>> {
    let width = block.columns.len();
    let filled = (0..width).rev().find(|&c| !block.columns[c].numeric || block.columns[c].missing < block.rows);
    let filled = filled.map_or(width, |c| c + 1);
    // A comment sign may stand before the names.
    let mut start = line.start;
    while start < line.end && matches!(text[start], b'#' | b'%' | b' ') {
        start += 1;
    }
    let mut out: Vec<Cell> = Vec::new();
    let order = [dialect.delimiter, Delimiter::Tab, Delimiter::Semicolon, Delimiter::Comma];
    for delimiter in order {
        if width == 1 && delimiter != dialect.delimiter {
            break;
        }
        split(text, start, line.end, delimiter, &mut out);
        let all = out.len();
        while out.len() > filled && out.last().is_some_and(|c| c.start == c.end) {
            out.pop();
        }
        if all != width && out.len() != filled {
            continue;
        }
        let words = out.iter().any(|c| {
            let bytes = c.of(text);
            matches!(classify(bytes, dialect), Class::Text | Class::Missing)
                && bytes.iter().any(|b| !b.is_ascii_digit())
        });
        let names: Vec<String> = out.iter().map(|c| text_of(c.of(text))).collect();
        return (words && !is_statement(&names)).then_some(names);
    }
    if dialect.delimiter == Delimiter::Blanks {
        let bytes = text[start..line.end].trim_ascii();
        let joined = join_words(&String::from_utf8_lossy(bytes), width);
        let words = |names: &Vec<String>| names.iter().any(|n| n.chars().any(char::is_alphabetic));
        return joined.filter(|names| words(names) && !is_statement(names));
    }
    None
}

/// `y factor,0.001` or `rate = 5 Hz` is a statement, not two names; `RT (min),254,280` are names.
fn is_statement(cells: &[String]) -> bool {
    let first = fold(&cells[0]);
    if cells.len() == 1 {
        return first.contains(['=', ':'])
            || in_words(&cells[0]).is_some_and(|(key, values)| {
                Fact { line: 0, key: fold(&key), values, shown: String::new() }.is_setting()
            });
    }
    let number = |t: &String| t.replace(',', ".").parse::<f64>().is_ok();
    let says = first
        .split(' ')
        .any(|w| matches!(w.trim_end_matches(':'), "unit" | "units" | "factor" | "rate" | "multiplier"));
    // "interval,40,ms": no column has such a name with a number beside it.
    let sets = first.split(' ').any(|w| matches!(w, "interval" | "delay" | "sampling" | "period")) && number(&cells[1]);
    says || sets || (cells.iter().any(number) && !cells.iter().any(|c| Name::parse(c).meaning == Meaning::Time))
}

/// `Time (min)  Signal (mV)` above two columns parted by blanks.
fn join_words(line: &str, width: usize) -> Option<Vec<String>> {
    let wide: Vec<String> =
        line.split("  ").flat_map(|p| p.split('\t')).map(|p| p.trim().to_owned()).filter(|p| !p.is_empty()).collect();
    if wide.len() == width {
        return Some(wide);
    }
    let mut names: Vec<String> = Vec::new();
    for word in line.split_whitespace() {
        match names.last_mut() {
            Some(name) if word.starts_with(['(', '[']) => {
                name.push(' ');
                name.push_str(word);
            }
            _ => names.push(word.to_owned()),
        }
    }
    (names.len() == width).then_some(names)
}

/// `Sampling rate 10 Hz`: words, one number, and at most one word behind it.
fn in_words(line: &str) -> Option<(String, Vec<String>)> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let at = words.iter().position(|w| w.starts_with(|c: char| c.is_ascii_digit()))?;
    let plain = |w: &&str| w.chars().all(|c| c.is_alphabetic());
    let number = words[at].replace(',', ".").parse::<f64>().is_ok();
    (at > 0 && number && words.len() - at <= 2 && words[..at].iter().all(plain))
        .then(|| (words[..at].join(" "), vec![words[at..].join(" ")]))
}

/// Key and values of a line: `key = value`, `key: value`, or cells.
fn fact(text: &[u8], line: Line, dialect: Dialect) -> Option<Fact> {
    let bytes = text[line.start..line.end].trim_ascii();
    let whole = String::from_utf8_lossy(bytes);
    let whole = whole.trim_start_matches(['#', '%', ' ']);
    let (key, values) = match whole.split_once(['=', ':']) {
        Some((key, value)) if !key.contains([',', ';', '\t']) => (key.to_owned(), vec![value.trim().to_owned()]),
        _ => {
            let mut out = Vec::new();
            let parted = [(b'\t', Delimiter::Tab), (b';', Delimiter::Semicolon), (b',', Delimiter::Comma)]
                .into_iter()
                .find_map(|(b, d)| bytes.contains(&b).then_some(d));
            match in_words(whole).filter(|_| parted.is_none()) {
                Some(found) => found,
                None => {
                    split(text, line.start, line.end, parted.unwrap_or(dialect.delimiter), &mut out);
                    let mut cells = out.iter().map(|c| text_of(c.of(text)));
                    (cells.next()?, cells.filter(|c| !c.is_empty()).collect())
                }
            }
        }
    };
    let key = fold(key.trim());
    (!key.is_empty()).then(|| Fact { line: line.number, key, values, shown: shown(bytes) })
}

#[cfg(test)]
mod tests {
    use super::super::options::DecimalMark;
    use super::super::scan::scan;
    use super::*;

    fn header(text: &str, delimiter: Delimiter) -> Header {
        let dialect = Dialect { delimiter, mark: DecimalMark::Point, thousands: false };
        let blocks = scan(text.as_bytes(), dialect, 0, 1);
        let block = blocks.iter().max_by_key(|b| b.rows).expect("a block");
        Header::read(text.as_bytes(), dialect, 0, 1, block)
    }

    fn texts(h: &Header) -> Vec<&str> {
        h.names.iter().map(|n| n.text.as_str()).collect()
    }

    #[test]
    fn names_units_and_comment_names() {
        let h = header("time,signal\nmin,pA\n0.000,5.1\n0.005,5.2\n", Delimiter::Comma);
        assert_eq!((texts(&h), h.names_line, h.units_line), (vec!["time", "signal"], Some(1), Some(2)));
        assert_eq!(h.names[0].time_unit(), Some(TimeUnit::Minutes));
        assert_eq!(h.names[1].unit.as_deref(), Some("pA"));
        let h = header("min,mV\n0,1\n1,2\n", Delimiter::Comma);
        assert_eq!(h.names[0].time_unit(), Some(TimeUnit::Minutes));
        assert_eq!(texts(&header("# time (s),signal (mV)\n0,1\n1,2\n", Delimiter::Comma)), ["time (s)", "signal (mV)"]);
        assert_eq!(
            texts(&header("Time (min) Signal (mV)\n0 1\n1 2\n", Delimiter::Blanks)),
            ["Time (min)", "Signal (mV)"]
        );
        assert_eq!(texts(&header("RT (min),254,280\n0,1,2\n1,2,3\n", Delimiter::Comma)), ["RT (min)", "254", "280"]);
    }

    #[test]
    fn statements_are_kept() {
        let h = header(
            "label = run 7\noperator =\ny unit,mV\ny factor,0.001\nrate,10,Hz\npoints: 2\n0,1\n1,2\n",
            Delimiter::Comma,
        );
        assert_eq!(h.lines.len(), 6);
        assert_eq!(h.signal_unit(), Some(("mV".into(), 3)));
        assert_eq!(h.signal_factor().map(|f| f.line), Some(4));
        assert_eq!(h.rate().map(|f| f.shown.as_str()), Some("rate,10,Hz"));
        assert_eq!(h.points().map(|p| p.1), Some(vec![2]));
        assert!(header("dilution factor: 5\n0,1\n1,2\n", Delimiter::Comma).signal_factor().is_none());
    }
}
