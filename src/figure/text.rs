//! How wide words are, and what of them may be printed.

/// The one family of all words in figures: Typst carries it inside, so no font of the machine is needed.
pub(super) const FONT: &str = "Libertinus Serif";
/// What comes closest on other machines.
pub(super) const LIKE_IT: &str = "Times New Roman, Liberation Serif, serif";
/// Height of capitals and figures as a share of the size (Libertinus Serif 7.051).
pub(super) const CAP_HEIGHT: f64 = 0.658;

// Advance widths in 1/1000 of the size, measured from Libertinus Serif Regular 7.051; kerning left out.
#[rustfmt::skip]
const ASCII: [u16; 95] = [ // from U+0020
    250, 288, 336, 465, 465, 637, 705, 190, 298, 298, 369, 550, 220, 338, 220, 323, 465, 465, 465, 465,
    465, 465, 465, 465, 465, 465, 236, 236, 550, 550, 550, 435, 895, 695, 588, 646, 701, 557, 485, 685,
    730, 297, 322, 637, 528, 839, 699, 702, 541, 702, 587, 485, 597, 661, 652, 951, 660, 575, 604, 356,
    287, 356, 518, 486, 392, 457, 493, 428, 506, 447, 310, 500, 538, 271, 272, 512, 264, 790, 542, 504,
    519, 503, 372, 390, 316, 531, 497, 747, 490, 515, 424, 277, 205, 277, 449,
];
#[rustfmt::skip]
const LATIN: [u16; 224] = [ // from U+00A0
    250, 288, 465, 465, 465, 465, 211, 473, 379, 695, 307, 543, 599, 338, 695, 397, 267, 550, 307, 307,
    341, 515, 602, 250, 541, 307, 349, 543, 660, 660, 660, 435, 695, 695, 695, 695, 695, 695, 865, 646,
    557, 557, 557, 557, 297, 297, 297, 297, 701, 699, 702, 702, 702, 702, 702, 550, 702, 661, 661, 661,
    661, 575, 527, 541, 457, 457, 457, 457, 457, 457, 687, 428, 447, 447, 447, 447, 271, 271, 271, 271,
    486, 542, 504, 504, 504, 504, 504, 550, 504, 531, 531, 531, 531, 515, 502, 515, 695, 457, 695, 457,
    695, 457, 646, 428, 646, 428, 646, 428, 646, 428, 701, 528, 701, 506, 557, 447, 557, 447, 557, 447,
    557, 447, 557, 447, 685, 500, 685, 500, 685, 500, 685, 500, 730, 538, 730, 538, 297, 271, 297, 271,
    297, 271, 297, 271, 297, 271, 598, 542, 322, 272, 637, 512, 519, 528, 264, 528, 264, 528, 290, 528,
    264, 528, 264, 699, 542, 699, 542, 699, 542, 542, 668, 528, 702, 504, 702, 504, 702, 504, 869, 778,
    587, 372, 587, 372, 587, 372, 485, 390, 485, 390, 485, 390, 485, 390, 597, 316, 597, 374, 597, 316,
    661, 531, 661, 531, 661, 531, 661, 531, 661, 531, 661, 531, 951, 747, 575, 515, 575, 604, 424, 604,
    424, 604, 424, 291,
];
#[rustfmt::skip]
const GREEK: [u16; 57] = [ // from U+0391; U+03A2 is no letter
    695, 588, 497, 636, 557, 604, 730, 702, 297, 637, 658, 839, 699, 648, 702, 667, 541, 0, 574, 597,
    575, 643, 660, 679, 697, 297, 575, 566, 397, 528, 281, 490, 566, 517, 505, 491, 397, 441, 528, 489,
    281, 506, 531, 490, 474, 426, 504, 566, 525, 441, 570, 441, 490, 589, 505, 628, 658,
];
#[rustfmt::skip]
const CYRILLIC: [u16; 96] = [ // from U+0400
    557, 557, 724, 497, 620, 485, 297, 297, 384, 889, 923, 755, 606, 710, 590, 700, 695, 583, 588, 497,
    659, 557, 889, 558, 710, 710, 606, 633, 839, 730, 702, 667, 541, 646, 597, 590, 674, 660, 674, 650,
    969, 974, 723, 798, 559, 622, 905, 580, 457, 489, 479, 416, 538, 447, 706, 436, 586, 586, 502, 527,
    680, 586, 504, 586, 519, 428, 445, 515, 657, 490, 577, 539, 849, 849, 565, 724, 465, 454, 731, 481,
    447, 447, 553, 416, 440, 390, 271, 271, 272, 678, 745, 557, 502, 586, 515, 570,
];
#[rustfmt::skip]
const OTHERS: [(char, u16); 39] = [ // rising
    ('\u{2009}', 125), ('‐', 338), ('‑', 338), ('–', 548), ('—', 742), ('‘', 268), ('’', 268), ('“', 375),
    ('”', 375), ('†', 588), ('‡', 588), ('•', 351), ('…', 749), ('\u{202f}', 125), ('‰', 911), ('′', 249),
    ('″', 381), ('⁰', 307), ('⁴', 307), ('⁵', 307), ('⁶', 307), ('⁷', 307), ('⁸', 307), ('⁹', 307),
    ('⁺', 307), ('⁻', 307), ('₋', 307), ('←', 1130), ('↑', 441), ('→', 1130), ('↓', 462), ('∆', 584),
    ('−', 550), ('√', 565), ('∞', 785), ('≈', 527), ('≤', 527), ('≥', 527), ('\u{fffd}', 984),
];

/// Width of words in points at this size in points; characters that are not in the table count as 0.6 of the
/// size, ideographs as 1.
pub(super) fn width(text: &str, size: f64) -> f64 {
    let thousandths: u32 = text
        .chars()
        .map(|c| u32::from(advance(c).unwrap_or(if ('\u{2e80}'..='\u{ffef}').contains(&c) { 1000 } else { 600 })))
        .sum();
    f64::from(thousandths) / 1000.0 * size
}

/// As [`width`], where every character was measured.
pub(super) fn known_width(text: &str, size: f64) -> Option<f64> {
    text.chars().all(|c| advance(c).is_some()).then(|| width(text, size))
}

/// The words, cut with "…" where they would be wider than `most`.
pub(super) fn fit(text: &str, size: f64, most: f64) -> String {
    if width(text, size) <= most {
        return text.to_owned();
    }
    let room = most - width("…", size);
    let mut used = 0.0;
    let mut out = String::new();
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), size);
        if used > room {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}

/// The words in lines no wider than `most`, broken at blanks, preferably before the unit; a longer word stays whole.
pub(super) fn wrap(text: &str, size: f64, most: f64) -> Vec<String> {
    if width(text, size) <= most {
        return vec![text.to_owned()];
    }
    if let Some((quantity, unit)) = text.split_once(" / ")
        && width(quantity, size) <= most
    {
        return vec![quantity.to_owned(), format!("/ {unit}")];
    }
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if width(line, size) + width(" ", size) + width(word, size) <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Words as they may stand in a figure. They come from files: control characters become blanks; marks that turn
/// the writing direction, and what XML forbids, go; private-use characters, which PDF/A-3a forbids, become "�";
/// more than 200 characters are cut. With `own_font`, a character that the font lacks becomes "�" too: PDF/A
/// refuses the whole document otherwise.
pub(super) fn clean(text: &str, own_font: bool) -> String {
    let mut out = String::with_capacity(text.len());
    for (i, c) in text.chars().enumerate() {
        if i == 200 {
            out.push('…');
            break;
        }
        match c {
            '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' => {}
            '\u{feff}' | '\u{fff9}'..='\u{fffc}' | '\u{fffe}'..='\u{ffff}' => {}
            c if c.is_control() => out.push(' '),
            '\u{e000}'..='\u{f8ff}' | '\u{f0000}'.. => out.push('\u{fffd}'),
            c if own_font && advance(c).is_none() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// Advance width in 1/1000 of the size; none where the font lacks the character (or we did not measure it).
fn advance(c: char) -> Option<u16> {
    let from = |table: &[u16], first: u32| table.get((c as u32 - first) as usize).copied().filter(|&w| w > 0);
    match c {
        ' '..='~' => from(&ASCII, 0x20),
        '\u{a0}'..='\u{17f}' => from(&LATIN, 0xa0),
        '\u{300}'..='\u{34e}' => Some(0), // accents that stand on the letter before
        '\u{391}'..='\u{3c9}' => from(&GREEK, 0x391),
        '\u{400}'..='\u{45f}' => from(&CYRILLIC, 0x400),
        '₀'..='₉' => Some(307),
        _ => OTHERS.binary_search_by_key(&c, |o| o.0).ok().map(|i| OTHERS[i].1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_font() {
        assert!(OTHERS.windows(2).all(|w| w[0].0 < w[1].0), "binary search needs order");
        // Compared with the boxes of words in a PDF made by Typst 0.15.1; "acetone," is kerned there by 0.08 pt.
        for (word, size, printed) in
            [("limonene", 8.0, 30.456), ("butanoate", 8.0, 32.504), ("signal", 9.0, 21.816), ("acetone,", 8.0, 26.808)]
        {
            assert!((width(word, size) - printed).abs() < 0.1, "{word}: {}", width(word, size));
        }
        assert_eq!(width("−10⁻⁶", 1000.0), 550.0 + 2.0 * 465.0 + 2.0 * 307.0);
        assert_eq!(width("e\u{301}", 10.0), width("é", 10.0));
    }

    #[test]
    fn long_words_are_cut_and_broken() {
        assert_eq!(fit("ethanol", 10.0, 100.0), "ethanol");
        let cut = fit("2,2,4-trimethylpentane", 10.0, 50.0);
        assert!(cut.ends_with('…') && width(&cut, 10.0) <= 50.0, "{cut}");
        assert_eq!(wrap("residual / (mV·min)", 10.0, 50.0), ["residual", "/ (mV·min)"]);
        assert_eq!(wrap("ratio of areas", 10.0, 40.0), ["ratio of", "areas"]);
    }

    #[test]
    fn hostile_names_become_harmless() {
        assert_eq!(clean("a\u{0}b\nc\u{202e}d\u{e001}\u{ffff}", false), "a b cd\u{fffd}");
        assert_eq!(clean("日本", false), "日本");
        assert_eq!(clean("日e\u{301}", true), "\u{fffd}e\u{301}");
        assert_eq!(clean(&"x".repeat(5000), true).chars().count(), 201);
    }
}
