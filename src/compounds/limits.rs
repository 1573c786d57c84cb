//! The short notation of exposure limit lists, in words.

/// A limit read from the notation: its working-day average, if it has one, and the whole in words.
pub(super) struct Limit {
    pub(super) average_ppm: Option<f64>,
    pub(super) text: String,
}

/// Reads notation such as `Ca 1; ST 2 [skin]`; `hours` is the time the plain number is averaged over.
/// `None` for notation it does not know.
pub(super) fn read(printed: &str, hours: u32) -> Option<Limit> {
    let mut rest = printed.trim();
    let mut after = Vec::new();
    if let Some(r) = rest.strip_prefix("Ca ") {
        after.push("potential occupational carcinogen");
        rest = r.trim();
    }
    if let Some(r) = rest.strip_suffix("[skin]") {
        after.push("can pass through the skin");
        rest = r.trim();
    }
    let mut average_ppm = None;
    let mut words = Vec::new();
    if matches!(rest, "none" | "none established") {
        words.push("no limit established there; that does not mean harmless".to_string());
    } else if rest == "(no numerical REL)" {
        words.push("no number given".to_string());
    } else {
        for (i, part) in rest.split(';').enumerate() {
            let part = part.trim();
            let (kind, part) = match (part.strip_prefix("C "), part.strip_prefix("ST ")) {
                (Some(p), _) => (Kind::Ceiling, p),
                (_, Some(p)) => (Kind::ShortTerm, p),
                _ => (Kind::Plain, part),
            };
            let (number, tail) = part.split_once(' ').unwrap_or((part, ""));
            let value: f64 = number.parse().ok()?;
            let tail = if tail.is_empty() { String::new() } else { format!(" {tail}") };
            words.push(match kind {
                Kind::Ceiling => format!("ceiling {number} ppm{tail}"),
                Kind::ShortTerm if tail.contains("min)") => format!("short-term limit {number} ppm{tail}"),
                Kind::ShortTerm => format!("15-minute limit {number} ppm{tail}"),
                Kind::Plain if tail.contains("peak") => format!("peak {number} ppm{tail}"),
                Kind::Plain if i == 0 => {
                    average_ppm = Some(value);
                    format!("{number} ppm averaged over {hours} h{tail}")
                }
                Kind::Plain => return None,
            });
        }
    }
    words.extend(after.iter().map(|s| s.to_string()));
    Some(Limit { average_ppm, text: words.join("; ") })
}

enum Kind {
    Plain,
    Ceiling,
    ShortTerm,
}

#[cfg(test)]
mod tests {
    use super::read;

    #[test]
    fn notation_in_words() {
        let text = |s: &str| read(s, 10).map(|l| (l.average_ppm, l.text));
        assert_eq!(
            text("200; ST 250 [skin]"),
            Some((
                Some(200.0),
                "200 ppm averaged over 10 h; 15-minute limit 250 ppm; can pass through the skin".to_string()
            ))
        );
        assert_eq!(
            text("Ca ST 2 (60 min)"),
            Some((None, "short-term limit 2 ppm (60 min); potential occupational carcinogen".to_string()))
        );
        assert_eq!(
            text("100; C 200; 300 (5-min peak in any 2 h)"),
            Some((
                Some(100.0),
                "100 ppm averaged over 10 h; ceiling 200 ppm; peak 300 ppm (5-min peak in any 2 h)".to_string()
            ))
        );
        assert_eq!(text("none"), Some((None, "no limit established there; that does not mean harmless".to_string())));
        assert_eq!(text("100; 200"), None);
        assert_eq!(text("a few"), None);
    }
}
