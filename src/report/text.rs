//! Foreign text made safe to typeset: everything stays text, nothing is invisible, nothing runs off the page.

use std::borrow::Cow;

use super::coverage::COVERED;

/// Longest text outside the author's prose; what is longer is cut and says so.
const LONGEST: usize = 2_000;
/// Longest name in a table: run, file, sample, compound.
const LONGEST_NAME: usize = 120;
/// A word longer than this may be broken after its signs ...
const LONG_WORD: usize = 24;
/// ... and after so many characters without one.
const BREAK_EVERY: usize = 10;
/// More combining marks in a row than any language stacks are shown as their codes.
const MARKS_IN_A_ROW: usize = 3;

/// What may be shown of a text: which characters, and how long it may be.
#[derive(Clone, Copy, Debug)]
pub(super) struct Show {
    /// Fonts beyond typst's own are there: characters are no longer held against the table of ours.
    pub(super) more_fonts: bool,
    /// Prose of any length.
    pub(super) prose: bool,
}

/// The text as it is printed: line ends become blanks, control characters, marks that change the direction
/// of writing, private and unknown characters become their code such as `[U+202E]`, and long words may be broken.
pub(super) fn printable(text: &str, show: Show) -> Cow<'_, str> {
    let text = if show.prose { Cow::Borrowed(text) } else { cut(text, LONGEST) };
    if text.bytes().all(|b| (0x20..0x7F).contains(&b)) && text.split(' ').all(|w| w.len() <= LONG_WORD) {
        return text;
    }
    let mut out = String::with_capacity(text.len() + text.len() / 4);
    let (mut word, mut marks) = (0usize, 0usize);
    for c in text.chars() {
        marks = if is_combining(c) { marks + 1 } else { 0 };
        match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => push(&mut out, ' ', &mut word),
            // Invisible and without a meaning of their own: soft hyphen, zero-width space, word joiner, byte-order mark.
            '\u{AD}' | '\u{200B}' | '\u{2060}' | '\u{FEFF}' => {}
            c if shown(c, show.more_fonts) && marks <= MARKS_IN_A_ROW => push(&mut out, c, &mut word),
            c => format!("[U+{:04X}]", c as u32).chars().for_each(|c| push(&mut out, c, &mut word)),
        }
    }
    // A word is only broken where it is too long as a whole; short ones lose their break marks again.
    if out.contains('\u{200B}') {
        out = unbreak_short_words(&out);
    }
    Cow::Owned(out)
}

/// A name for a table: cut where it is longer than any table bears.
pub(super) fn name(text: &str) -> String {
    cut(text, LONGEST_NAME).into_owned()
}

/// For the running header and the file's title.
pub(super) fn header(text: &str) -> String {
    let mut short: String = text.chars().take(80).collect();
    if text.chars().nth(80).is_some() {
        short.push('…');
    }
    short
}

/// The first `longest` characters, and how many were left out.
fn cut(text: &str, longest: usize) -> Cow<'_, str> {
    if text.len() <= longest {
        return Cow::Borrowed(text);
    }
    match text.char_indices().nth(longest) {
        None => Cow::Borrowed(text),
        Some((at, _)) => Cow::Owned(format!("{} … [{} more characters]", &text[..at], text[at..].chars().count())),
    }
}

fn push(out: &mut String, c: char, word: &mut usize) {
    let sign = matches!(c, '_' | '/' | '.' | ',' | ';' | ':' | '=' | '&' | '?' | '|');
    if c == ' ' || c == '-' {
        *word = 0;
    } else {
        if *word > 0 && word.is_multiple_of(BREAK_EVERY) && !sign && !is_combining(c) {
            out.push('\u{200B}');
        }
        *word += 1;
    }
    out.push(c);
    if sign {
        out.push('\u{200B}');
        *word = 0;
    }
}

fn unbreak_short_words(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for (i, word) in text.split(' ').enumerate() {
        if i > 0 {
            out.push(' ');
        }
        let longest = word.split('-').map(|w| w.chars().filter(|&c| c != '\u{200B}').count()).max().unwrap_or(0);
        if longest <= LONG_WORD {
            out.extend(word.chars().filter(|&c| c != '\u{200B}'));
        } else {
            out.push_str(word);
        }
    }
    out
}

/// A painted figure in which every character has a shape.
pub(super) fn safe_svg(svg: &str, more_fonts: bool) -> Cow<'_, str> {
    let fine = |c: char| matches!(c, '\n' | '\r' | '\t') || shown(c, more_fonts);
    if svg.chars().all(fine) {
        return Cow::Borrowed(svg);
    }
    Cow::Owned(svg.chars().map(|c| if fine(c) { c.to_string() } else { format!("[U+{:04X}]", c as u32) }).collect())
}

fn shown(c: char, more_fonts: bool) -> bool {
    let code = c as u32;
    let hidden = c.is_control()
        || matches!(code,
            0x61C | 0x180E | 0x200C..=0x200F | 0x202A..=0x202E | 0x2061..=0x206F | 0xFFF9..=0xFFFF // format characters
            | 0xE000..=0xF8FF | 0xFE00..=0xFE0F | 0xE0000..=0x10FFFF); // private use, variation selectors, tags
    !hidden && (more_fonts || covered(code))
}

/// True where typst's own fonts show this character as it is.
pub(super) fn covered_plainly(c: char) -> bool {
    shown(c, false)
}

fn covered(code: u32) -> bool {
    let at = COVERED.partition_point(|r| r.1 < code);
    COVERED.get(at).is_some_and(|r| r.0 <= code)
}

fn is_combining(c: char) -> bool {
    matches!(c as u32, 0x300..=0x36F | 0x483..=0x489 | 0x591..=0x5C7 | 0x64B..=0x65F | 0x1AB0..=0x1AFF | 0x1DC0..=0x1DFF | 0x20D0..=0x20FF | 0xFE20..=0xFE2F)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Show = Show { more_fonts: false, prose: false };

    /// Without break marks.
    fn whole(text: &str) -> String {
        printable(text, PLAIN).replace('\u{200B}', "")
    }

    #[test]
    fn ordinary_text_stays_as_it_is() {
        for text in [
            "isopropyl acetate",
            "Müller, Ángström",
            "2,2,4-trimethylpentane",
            "(0.42 ± 0.03) % v/v",
            "µL·min⁻¹",
            "Ответ",
        ] {
            assert_eq!(printable(text, PLAIN), text);
        }
    }

    #[test]
    fn what_hides_becomes_visible() {
        assert_eq!(whole("a\u{202E}b\u{7}c\u{E000}"), "a[U+202E]b[U+0007]c[U+E000]");
        assert_eq!(printable("one\ntwo\tthree", PLAIN), "one two three");
        assert_eq!(printable("\u{1F600}", PLAIN), "[U+1F600]");
        assert_eq!(printable("\u{FEFF}soft\u{AD}hyphen", PLAIN), "softhyphen");
    }

    #[test]
    fn stacked_marks_are_counted() {
        let text = format!("e{}", "\u{301}".repeat(6));
        assert_eq!(whole(&text).matches("[U+0301]").count(), 3);
    }

    #[test]
    fn long_words_can_be_broken_and_long_texts_say_what_is_missing() {
        let shown = printable(&"x".repeat(64), PLAIN).into_owned();
        assert_eq!(shown.matches('\u{200B}').count(), 6);
        assert_eq!(shown.replace('\u{200B}', ""), "x".repeat(64));
        assert_eq!(
            printable("a.long_identifier/with.signs", PLAIN),
            "a.\u{200B}long_\u{200B}identifier/\u{200B}with.\u{200B}signs"
        );
        let long = printable(&"y ".repeat(5_000), PLAIN).into_owned();
        assert!(long.ends_with("… [8000 more characters]"), "{}", &long[long.len() - 40..]);
        let prose = printable(&"y".repeat(100_000), Show { prose: true, ..PLAIN }).into_owned();
        assert_eq!(prose.matches('y').count(), 100_000);
    }

    #[test]
    fn the_table_of_characters_rises() {
        assert!(COVERED.windows(2).all(|w| w[0].1 < w[1].0) && COVERED.iter().all(|r| r.0 <= r.1));
    }
}
