//! Markdown → blocks. An emitter of our own: headings keep the report's order, raw HTML is text, pictures and links
//! go through a door, depth is bounded.

use std::ops::Range;

use pulldown_cmark::{Alignment, CodeBlockKind, Event, Options, Parser, Tag, TagEnd};

use super::{Block, Inline, Line, Lookup, Problem, formula};

/// Containers inside one another; what is nested deeper is told apart no longer.
const DEEPEST: usize = 8;
/// Longest text of one section, in bytes.
const LONGEST: usize = 1_000_000;

/// What the emitter asks of the world outside: a picture's place in the build folder and its label.
pub(super) type FindPicture<'a> = dyn FnMut(&str) -> Result<(String, String), String> + 'a;

/// The blocks of a text, and what could not be done.
pub(super) fn blocks(text: &str, lookup: &Lookup<'_>, picture: &mut FindPicture<'_>) -> (Vec<Block>, Vec<Problem>) {
    let mut problems = Vec::new();
    let mut text = text;
    if text.len() > LONGEST {
        let end = (0..=LONGEST).rev().find(|i| text.is_char_boundary(*i)).unwrap_or(0);
        problems.push(Problem { what: format!("only the first {LONGEST} bytes are printed"), line: 1 });
        text = &text[..end];
    }
    let options = Options::ENABLE_TABLES | Options::ENABLE_FOOTNOTES | Options::ENABLE_MATH;
    let events: Vec<_> = Parser::new_ext(text, options).into_offset_iter().collect();
    let lines = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
    let mut emitter = Emitter {
        events,
        at: 0,
        lines,
        lookup,
        picture,
        problems,
        heading: 1,
        notes: Vec::new(),
        inside_note: false,
        lifted: Vec::new(),
    };
    let blocks = emitter.blocks(None, 0);
    let blocks = with_captions(blocks, &mut emitter);
    (blocks, emitter.problems)
}

struct Emitter<'a, 'p> {
    events: Vec<(Event<'a>, Range<usize>)>,
    at: usize,
    /// Where each line begins.
    lines: Vec<usize>,
    lookup: &'p Lookup<'p>,
    picture: &'p mut FindPicture<'p>,
    problems: Vec<Problem>,
    /// Level of the last heading.
    heading: u8,
    /// Footnotes printed already.
    notes: Vec<String>,
    inside_note: bool,
    /// Pictures named in the lines before.
    lifted: Vec<Block>,
}

impl<'a> Emitter<'a, '_> {
    fn next(&mut self) -> Option<(Event<'a>, Range<usize>)> {
        let found = self.events.get(self.at).cloned();
        self.at += 1;
        found
    }

    fn peek(&self) -> Option<&Event<'a>> {
        self.events.get(self.at).map(|e| &e.0)
    }

    fn problem(&mut self, what: String, at: usize) {
        // A text full of slips says so in the first hundred.
        if self.problems.len() < 100 {
            self.problems.push(Problem { what, line: self.lines.partition_point(|l| *l <= at) });
        }
    }

    /// Blocks up to this end, which is taken, too.
    fn blocks(&mut self, end: Option<TagEnd>, depth: usize) -> Vec<Block> {
        let mut out = Vec::new();
        while let Some(event) = self.peek() {
            if let Event::End(e) = event {
                let done = Some(*e) == end;
                self.at += 1;
                if done {
                    break;
                }
                continue;
            }
            if is_inline(event) {
                // A list without empty lines has its text without paragraphs.
                let inline = self.inlines(None, depth);
                push_paragraph(&mut out, inline);
            } else if let Some((event, range)) = self.next() {
                self.block(event, range, depth, &mut out);
            }
            out.append(&mut self.lifted);
        }
        out
    }

    fn block(&mut self, event: Event<'a>, range: Range<usize>, depth: usize, out: &mut Vec<Block>) {
        let deep = depth >= DEEPEST;
        match event {
            Event::Start(_) if depth > 2 * DEEPEST => {
                let prose = self.flat();
                push_paragraph(out, vec![Inline::Text { prose }]);
            }
            Event::Rule => out.push(Block::Rule),
            Event::Start(Tag::Paragraph) => {
                let inline = self.inlines(Some(TagEnd::Paragraph), depth);
                push_paragraph(out, inline);
            }
            Event::Start(Tag::Heading { level, .. }) => {
                let inline = self.inlines(Some(TagEnd::Heading(level)), depth);
                // No level is left out: those who listen to a document find their way by them.
                self.heading = (1 + level as u8).min(self.heading + 1).min(4);
                out.push(Block::Heading { level: self.heading, inline });
            }
            Event::Start(Tag::BlockQuote(kind)) => {
                let blocks = self.blocks(Some(TagEnd::BlockQuote(kind)), depth + 1);
                if deep { out.extend(blocks) } else { out.push(Block::Quote { blocks }) }
            }
            Event::Start(Tag::List(start)) => {
                let mut items = Vec::new();
                while let Some((event, _)) = self.next() {
                    match event {
                        Event::Start(Tag::Item) => items.push(self.blocks(Some(TagEnd::Item), depth + 1)),
                        _ => break,
                    }
                }
                if deep { out.extend(items.into_iter().flatten()) } else { out.push(Block::List { start, items }) }
            }
            Event::Start(Tag::CodeBlock(kind)) => {
                let mut code = String::new();
                while let Some((event, _)) = self.next() {
                    match event {
                        Event::Text(t) => code.push_str(&t),
                        _ => break,
                    }
                }
                if let CodeBlockKind::Fenced(word) = &kind
                    && word.trim() == "math"
                {
                    out.push(self.display(code.trim(), range.start));
                } else {
                    out.push(Block::Code { lines: code.lines().map(|l| Line { prose: l.to_owned() }).collect() });
                }
            }
            Event::Start(Tag::HtmlBlock) => {
                let mut raw = String::new();
                while let Some((event, _)) = self.next() {
                    match event {
                        Event::Html(t) | Event::Text(t) => raw.push_str(&t),
                        _ => break,
                    }
                }
                push_paragraph(out, vec![Inline::Text { prose: raw.trim().to_owned() }]);
            }
            Event::Start(Tag::Table(align)) => out.push(self.table(&align, depth)),
            // Printed where it is referred to.
            Event::Start(Tag::FootnoteDefinition(_)) => drop(self.flat()),
            Event::Start(_) => {
                let blocks = self.blocks(None, depth + 1);
                out.extend(blocks);
            }
            _ => {}
        }
    }

    /// Passes over everything up to the end of the element just begun; its text.
    fn flat(&mut self) -> String {
        let (mut open, mut text) = (1usize, String::new());
        while open > 0 {
            match self.next() {
                Some((Event::Start(_), _)) => open += 1,
                Some((Event::End(_), _)) => open -= 1,
                Some((Event::Text(t) | Event::Code(t) | Event::Html(t) | Event::InlineHtml(t), _)) => text.push_str(&t),
                Some((Event::SoftBreak | Event::HardBreak, _)) => text.push(' '),
                Some(_) => {}
                None => break,
            }
        }
        text
    }

    fn table(&mut self, align: &[Alignment], depth: usize) -> Block {
        let (mut header, mut rows) = (Vec::new(), Vec::new());
        while let Some((event, _)) = self.next() {
            match event {
                Event::Start(Tag::TableHead) => header = self.cells(TagEnd::TableHead, depth),
                Event::Start(Tag::TableRow) => rows.push(self.cells(TagEnd::TableRow, depth)),
                _ => break,
            }
        }
        // Every row as wide as the header.
        for row in &mut rows {
            row.resize(header.len(), Vec::new());
        }
        let side = |a: &Alignment| match a {
            Alignment::Right => "right",
            Alignment::Center => "center",
            _ => "left",
        };
        Block::Table { align: align.iter().map(|a| side(a).to_owned()).collect(), caption: Vec::new(), header, rows }
    }

    fn cells(&mut self, end: TagEnd, depth: usize) -> Vec<Vec<Inline>> {
        let mut cells = Vec::new();
        while let Some((event, _)) = self.next() {
            match event {
                Event::Start(Tag::TableCell) => cells.push(self.inlines(Some(TagEnd::TableCell), depth + 1)),
                Event::End(e) if e == end => break,
                _ => {}
            }
        }
        cells
    }

    /// Text up to this end, which is taken, too; without one, up to the next block.
    fn inlines(&mut self, end: Option<TagEnd>, depth: usize) -> Vec<Inline> {
        let mut out: Vec<Inline> = Vec::new();
        let mut from = self.events.get(self.at).map_or(0, |e| e.1.start);
        while let Some(event) = self.peek() {
            if let Event::End(e) = event {
                if Some(*e) == end {
                    self.at += 1;
                    break;
                }
                if end.is_none() {
                    break;
                }
                self.at += 1;
                continue;
            }
            if end.is_none() && !is_inline(event) {
                break;
            }
            let Some((event, range)) = self.next() else { break };
            from = from.min(range.start);
            self.inline(event, range, depth, &mut out);
        }
        self.with_references(out, from)
    }

    fn inline(&mut self, event: Event<'a>, range: Range<usize>, depth: usize, out: &mut Vec<Inline>) {
        let deep = depth >= DEEPEST;
        match event {
            Event::Text(t) | Event::Html(t) | Event::InlineHtml(t) => push_text(out, &t),
            Event::SoftBreak => push_text(out, " "),
            Event::HardBreak => out.push(Inline::Break),
            Event::Code(t) => out.push(Inline::Code { prose: t.into_string() }),
            Event::InlineMath(t) => {
                let found = self.formula(&t, range.start);
                out.push(found.map_or_else(|| problem(&t), |(formula, alt)| Inline::Formula { formula, alt }));
            }
            Event::DisplayMath(t) => {
                let found = self.formula(&t, range.start);
                out.push(found.map_or_else(|| problem(&t), |(formula, alt)| Inline::Display { formula, alt }));
            }
            Event::FootnoteReference(name) => self.footnote(&name, range.start, out),
            Event::TaskListMarker(done) => push_text(out, if done { "[x] " } else { "[ ] " }),
            Event::Start(_) if depth > 2 * DEEPEST => {
                let text = self.flat();
                push_text(out, &text);
            }
            Event::Start(tag) => {
                let end = tag.to_end();
                let inline = self.inlines(Some(end), depth + 1);
                match tag {
                    Tag::Image { dest_url, title, .. } => self.image(&dest_url, &title, &inline, range.start, out),
                    Tag::Link { dest_url, .. } if is_link(&dest_url) && !deep => {
                        out.push(Inline::Link { target: dest_url.into_string(), inline });
                    }
                    Tag::Link { dest_url, .. } => {
                        out.extend(inline);
                        push_text(out, &format!(" ({dest_url})"));
                    }
                    _ if deep => out.extend(inline),
                    Tag::Emphasis => out.push(Inline::Emphasis { inline }),
                    Tag::Strong => out.push(Inline::Strong { inline }),
                    _ => out.extend(inline),
                }
            }
            Event::End(_) | Event::Rule => {}
        }
    }

    fn formula(&mut self, text: &str, at: usize) -> Option<(String, String)> {
        let formula = text.trim();
        match formula::check(formula) {
            Ok(alt) => Some((formula.to_owned(), alt)),
            Err(why) => {
                let shown: String = formula.chars().take(60).collect();
                self.problem(format!("the formula \"{shown}\" is not set: {why}"), at);
                None
            }
        }
    }

    fn display(&mut self, text: &str, at: usize) -> Block {
        match self.formula(text, at) {
            Some((formula, alt)) => Block::Formula { formula, alt },
            None => Block::Paragraph { inline: vec![problem(text)] },
        }
    }

    /// A picture stands behind its paragraph, wherever in the line it is named.
    fn image(&mut self, target: &str, title: &str, alt: &[Inline], at: usize, out: &mut Vec<Inline>) {
        let mut words = String::new();
        plain_text(alt, &mut words);
        match (self.picture)(target) {
            Err(why) => {
                self.problem(format!("the picture \"{target}\" is not shown: {why}"), at);
                out.push(problem(&format!("![{words}]({target})")));
            }
            Ok((file, label)) => {
                if words.trim().is_empty() {
                    self.problem(
                        format!("the picture \"{target}\" has no words for those who cannot see it: ![what it shows]({target} \"caption\")"),
                        at,
                    );
                    words =
                        if title.is_empty() { "a picture without a description".to_owned() } else { title.to_owned() };
                }
                let caption = if title.is_empty() { words.clone() } else { title.to_owned() };
                let caption = self.with_references(vec![Inline::Text { prose: caption }], at);
                self.lifted.push(Block::Picture { file, alt: words, caption, label });
            }
        }
    }

    fn footnote(&mut self, name: &str, at: usize, out: &mut Vec<Inline>) {
        let defined = self
            .events
            .iter()
            .position(|(e, _)| matches!(e, Event::Start(Tag::FootnoteDefinition(known)) if &**known == name));
        match defined {
            // A note in a note, and a second reference to one that stands there already, stay as typed.
            Some(definition) if !self.inside_note && !self.notes.iter().any(|n| n == name) => {
                let back = std::mem::replace(&mut self.at, definition + 1);
                self.inside_note = true;
                self.notes.push(name.to_owned());
                let blocks = self.blocks(Some(TagEnd::FootnoteDefinition), DEEPEST - 2);
                self.inside_note = false;
                self.at = back;
                out.push(Inline::Footnote { blocks });
            }
            _ => {
                self.problem(
                    format!("the footnote [^{name}] is not printed: a note is referred to once, and not from a note"),
                    at,
                );
                push_text(out, &format!("[^{name}]"));
            }
        }
    }

    /// Finds `[@…]` in the text.
    fn with_references(&mut self, inline: Vec<Inline>, at: usize) -> Vec<Inline> {
        let mut out = Vec::with_capacity(inline.len());
        for part in inline {
            let Inline::Text { prose } = part else {
                out.push(part);
                continue;
            };
            let mut rest = prose.as_str();
            while let Some(open) = rest.find("[@") {
                let Some(close) = rest[open..].find(']').map(|c| open + c) else { break };
                let inside = &rest[open + 1..close];
                match self.lookup.resolve(inside) {
                    None => {
                        push_scripts(&mut out, &rest[..=close]);
                    }
                    Some(Ok(found)) => {
                        // The sign of a note stands at its word.
                        let before =
                            if matches!(found, Inline::Cite { .. }) { rest[..open].trim_end() } else { &rest[..open] };
                        push_scripts(&mut out, before);
                        out.push(found);
                    }
                    Some(Err(why)) => {
                        self.problem(why, at);
                        push_scripts(&mut out, &rest[..open]);
                        out.push(problem(&rest[open..=close]));
                    }
                }
                rest = &rest[close + 1..];
            }
            push_scripts(&mut out, rest);
        }
        out
    }
}

/// A line "Table: …" before or behind a table is its caption.
fn with_captions(blocks: Vec<Block>, emitter: &mut Emitter<'_, '_>) -> Vec<Block> {
    let mut out: Vec<Block> = Vec::with_capacity(blocks.len());
    let mut blocks = blocks.into_iter().peekable();
    let mut bare = 0;
    while let Some(mut block) = blocks.next() {
        if let Block::Table { caption, .. } = &mut block {
            if let Some(found) = out.last().and_then(table_caption) {
                out.pop();
                *caption = found;
            } else if let Some(found) = blocks.peek().and_then(table_caption) {
                blocks.next();
                *caption = found;
            } else {
                bare += 1;
            }
        }
        out.push(block);
    }
    if bare > 0 {
        let tables = if bare == 1 { "a table has" } else { "tables have" };
        emitter.problem(format!("{tables} no caption: write a line \"Table: what it shows\" above"), 0);
    }
    out
}

fn table_caption(block: &Block) -> Option<Vec<Inline>> {
    let Block::Paragraph { inline } = block else { return None };
    let (Inline::Text { prose }, rest) = inline.split_first()? else { return None };
    let first = prose.strip_prefix("Table:")?.trim_start().to_owned();
    let mut caption = vec![Inline::Text { prose: first }];
    caption.extend(rest.iter().cloned());
    Some(caption)
}

fn is_inline(event: &Event<'_>) -> bool {
    match event {
        Event::Start(tag) => matches!(tag, Tag::Emphasis | Tag::Strong | Tag::Link { .. } | Tag::Image { .. }),
        Event::End(_) | Event::Rule => false,
        _ => true,
    }
}

/// An address that a reader may follow: nothing that runs, nothing that does not print.
pub(in crate::report) fn is_link(target: &str) -> bool {
    ["http://", "https://", "mailto:"].iter().any(|p| target.len() > p.len() && target.starts_with(p))
        && target.len() <= 1_000
        && target.bytes().all(|b| b.is_ascii_graphic() && !matches!(b, b'"' | b'\\' | b'<' | b'>' | b'{' | b'}'))
}

fn problem(text: &str) -> Inline {
    Inline::Problem { prose: text.to_owned() }
}

/// A paragraph, or the formula that it consists of.
fn push_paragraph(out: &mut Vec<Block>, mut inline: Vec<Inline>) {
    let blank = |i: &Inline| matches!(i, Inline::Text { prose } if prose.trim().is_empty());
    if inline.iter().all(blank) {
        return;
    }
    inline.retain(|i| !matches!(i, Inline::Text { prose } if prose.is_empty()));
    match inline.as_slice() {
        [Inline::Display { formula, alt }] => out.push(Block::Formula { formula: formula.clone(), alt: alt.clone() }),
        _ => out.push(Block::Paragraph { inline }),
    }
}

fn push_text(out: &mut Vec<Inline>, text: &str) {
    if text.is_empty() {
        return;
    }
    match out.last_mut() {
        Some(Inline::Text { prose }) => prose.push_str(text),
        _ => out.push(Inline::Text { prose: text.to_owned() }),
    }
}

/// Text in which `~2~` is lowered and `^-3^` raised, in the midst of a word, too: H~2~O.
fn push_scripts(out: &mut Vec<Inline>, text: &str) {
    let mut rest = text;
    let mut from = 0;
    while let Some(open) = rest[from..].find(['~', '^']).map(|at| from + at) {
        let sign = if rest[open..].starts_with('~') { '~' } else { '^' };
        let inside = rest[open + 1..].split(|c: char| c == sign || c.is_whitespace()).next().unwrap_or_default();
        let close = open + 1 + inside.len();
        if inside.is_empty() || inside.len() > 40 || !rest[close..].starts_with(sign) {
            from = open + 1;
            continue;
        }
        push_text(out, &rest[..open]);
        let inline = vec![Inline::Text { prose: inside.to_owned() }];
        out.push(if sign == '~' { Inline::Subscript { inline } } else { Inline::Superscript { inline } });
        (rest, from) = (&rest[close + 1..], 0);
    }
    push_text(out, rest);
}

fn plain_text(inline: &[Inline], into: &mut String) {
    for part in inline {
        match part {
            Inline::Text { prose }
            | Inline::Code { prose }
            | Inline::Problem { prose }
            | Inline::Reference { prose, .. } => {
                into.push_str(prose);
            }
            Inline::Emphasis { inline }
            | Inline::Strong { inline }
            | Inline::Superscript { inline }
            | Inline::Subscript { inline }
            | Inline::Link { inline, .. } => plain_text(inline, into),
            Inline::Formula { alt, .. } | Inline::Display { alt, .. } => into.push_str(alt),
            Inline::Break => into.push(' '),
            Inline::Cite { .. } | Inline::Footnote { .. } => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::words::Anchor;

    fn parse(text: &str) -> (Vec<Block>, Vec<Problem>) {
        let anchors = [Anchor { key: "fig:budget".into(), label: "fig-3".into(), words: "figure".into() }];
        let keys = ["gum".to_owned()];
        let mut picture = |target: &str| match target {
            "setup.png" => Ok(("pictures/0.png".to_owned(), "pic-0".to_owned())),
            _ => Err("it lies outside".to_owned()),
        };
        blocks(text, &Lookup { anchors: &anchors, keys: &keys }, &mut picture)
    }

    fn kinds(text: &str) -> String {
        let tree = serde_json::to_value(parse(text).0).unwrap_or_default();
        let list = tree.as_array().cloned().unwrap_or_default();
        list.iter().map(|b| b["kind"].as_str().unwrap_or("?").to_owned()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn blocks_are_what_they_look_like() {
        assert_eq!(
            kinds("One\nstill one.\n\nTwo.\n- first\n  goes on\n- second\n\nThree."),
            "paragraph paragraph list paragraph"
        );
        assert_eq!(kinds("# H\n\n> q\n\n```\ncode\n```\n\n$$ x = 1 $$\n\n---\n"), "heading quote code formula rule");
        assert_eq!(kinds("```math\nx^2\n```\n"), "formula");
        assert_eq!(kinds("Table: t\n\n|a|b|\n|-|-:|\n|1|2|\n"), "table");
        assert_eq!(kinds("![what](setup.png \"Caption\")"), "picture");
        assert_eq!(kinds(" \n\n"), "");
        assert_eq!(kinds("text[^1] and more\n\n[^1]: the note\n"), "paragraph");
    }

    #[test]
    fn what_cannot_be_done_is_told_with_its_line() {
        let told =
            |text: &str| parse(text).1.iter().map(|p| format!("{}: {}", p.line, p.what)).collect::<Vec<_>>().join("|");
        assert_eq!(told("fine $x^2$ [@gum, 4.2] and [@fig:budget] and H~2~O"), "");
        assert!(
            told("one\n\nsee $#read(\"x\")$").starts_with("3: the formula"),
            "{}",
            told("one\n\nsee $#read(\"x\")$")
        );
        assert!(told("see [@nobody]").contains("\"@nobody\" is not in the list"));
        assert!(told("![x](../secret.png)").contains("it lies outside"));
        assert!(told("![](setup.png)").contains("no words for those"));
        assert!(told("|a|\n|-|\n|1|\n").contains("caption"));
        assert!(told("x[^none]").is_empty(), "what is no footnote is text");
    }

    #[test]
    fn indices_stand_in_the_midst_of_words() {
        let said = |text: &str| serde_json::to_string(&parse(text).0).unwrap_or_default();
        assert!(
            said("H~2~O and 10^-3^").contains(r#"H"},{"kind":"subscript","inline":[{"kind":"text","prose":"2"}]}"#)
        );
        assert_eq!(said("a ~ b ~ c ^ d ~~ e").matches("script").count(), 0);
    }

    #[test]
    fn headings_leave_no_level_out() {
        let levels = |text: &str| {
            let found = parse(text).0;
            found
                .iter()
                .filter_map(|b| if let Block::Heading { level, .. } = b { Some(*level) } else { None })
                .collect::<Vec<_>>()
        };
        assert_eq!(levels("### a\n\n##### b\n\n# c\n\n###### d\n"), [2, 3, 2, 3]);
    }

    #[test]
    fn only_addresses_can_be_followed() {
        assert!(is_link("https://example.org/a?b=1") && is_link("mailto:a@example.org"));
        for bad in ["javascript:alert(1)", "file:///etc/passwd", "https://", "/etc", "https://a b", "https://\u{202e}"]
        {
            assert!(!is_link(bad), "{bad}");
        }
    }

    #[test]
    fn depth_and_length_are_bounded() {
        for text in [">".repeat(50_000) + "x", "- ".repeat(20_000) + "x", "*".repeat(30_000) + "x", "[".repeat(30_000)]
        {
            let (found, _) = parse(&text);
            let depth = serde_json::to_string(&found).unwrap_or_default().split("\"blocks\"").count();
            assert!(depth < 12, "{depth}");
        }
    }
}
