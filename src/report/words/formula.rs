//! Formulas of the author: parsed, and only mathematics passes.
//!
//! The typesetter would run a formula as code. So its parser takes it apart here, and every node must be one of a list:
//! letters, numbers, signs, fractions, indices, roots, quoted words, names of symbols that exist, functions with the
//! number of arguments that they take. A hash, and with it all code, is none of them.

use typst_syntax::{SyntaxKind, SyntaxNode, parse_math};

use super::symbols;
use crate::report::text::covered_plainly;

/// Longest formula, in bytes.
const LONGEST: usize = 2_000;
/// Deepest nesting; the typesetter itself gives up somewhat later.
const DEEPEST: usize = 24;

/// What a formula says, in words, for those who cannot see it.
///
/// # Errors
/// Why it is not passed on, as half a sentence: "it calls "read", which is no function of formulas".
pub(in crate::report) fn check(formula: &str) -> Result<String, String> {
    if formula.trim().is_empty() {
        return Err("it is empty".to_owned());
    }
    if formula.len() > LONGEST {
        return Err(format!("it is longer than {LONGEST} bytes"));
    }
    if let Some(c) = formula.chars().find(|c| !matches!(c, '\n' | '\r' | '\t') && !covered_plainly(*c)) {
        return Err(format!("it holds the character U+{:04X}, which no font here shows", c as u32));
    }
    // The parser warns of nothing here; what it calls an error the typesetter would refuse, too.
    let root = parse_math(formula);
    if let Some(error) = root.errors_and_warnings().0.first() {
        return Err(error.message.to_string());
    }
    let mut spoken = String::new();
    walk(&root, 0, &mut spoken)?;
    let spoken = spoken.split_whitespace().collect::<Vec<_>>().join(" ");
    Ok(if spoken.is_empty() { "a formula of signs alone".to_owned() } else { spoken })
}

fn walk(node: &SyntaxNode, depth: usize, spoken: &mut String) -> Result<(), String> {
    use SyntaxKind as K;
    if depth > DEEPEST {
        return Err(format!("it is nested more than {DEEPEST} deep"));
    }
    let text = node.leaf_text().as_str();
    match node.kind() {
        K::Space => spoken.push(' '),
        K::MathText | K::MathShorthand | K::MathPrimes | K::Comma | K::Semicolon => say(spoken, sign(text)),
        K::Linebreak | K::MathAlignPoint | K::LeftParen | K::RightParen => {}
        K::Underscore => say(spoken, "sub"),
        K::Hat => say(spoken, "to the power of"),
        K::Slash => say(spoken, "over"),
        K::Root => say(spoken, "root of"),
        K::Str => {
            let inner = text.trim_matches('"');
            if inner.contains('\\') {
                return Err("a quoted word holds a backslash".to_owned());
            }
            say(spoken, inner);
        }
        // One sign behind the backslash: no codes of characters.
        K::Escape if text.chars().count() == 2 => say(spoken, &text[1..]),
        K::MathIdent | K::MathFieldAccess => {
            let name = node.full_text();
            if !symbols::is_symbol(&name) {
                return Err(unknown(&name));
            }
            say(spoken, &name.replace(".", " "));
        }
        K::MathCall => return call(node, depth, spoken),
        K::Math | K::MathDelimited | K::MathAttach | K::MathFrac | K::MathRoot => {
            for child in node.children() {
                walk(child, depth + 1, spoken)?;
            }
        }
        K::Hash => return Err("a hash begins code, and code is not run".to_owned()),
        other => return Err(format!("{} is no part of a formula", other.name())),
    }
    Ok(())
}

fn call(node: &SyntaxNode, depth: usize, spoken: &mut String) -> Result<(), String> {
    let mut children = node.children();
    let (Some(callee), Some(args)) = (children.next(), children.next()) else {
        return Err("a call without arguments".to_owned());
    };
    let name = callee.full_text();
    let mut parts: Vec<Vec<&SyntaxNode>> = vec![Vec::new()];
    let inner = args.children().len().saturating_sub(1);
    for child in args.children().take(inner).skip(1) {
        match child.kind() {
            SyntaxKind::Comma => parts.push(Vec::new()),
            // Rows of a matrix.
            SyntaxKind::Semicolon if symbols::takes_rows(&name) => parts.push(Vec::new()),
            SyntaxKind::Semicolon => return Err(format!("\"{name}\" takes no semicolon")),
            SyntaxKind::Named | SyntaxKind::Spread => {
                return Err(format!("\"{name}\" is given a named argument; formulas take plain ones"));
            }
            _ => parts.last_mut().map_or((), |p| p.push(child)),
        }
    }
    let blank = |p: &[&SyntaxNode]| p.iter().all(|n| n.kind() == SyntaxKind::Space || n.full_text().is_empty());
    // A comma at the end brings no argument.
    if parts.last().is_some_and(|p| blank(p)) {
        parts.pop();
    }
    match symbols::arguments(&name) {
        None => return Err(unknown(&name)),
        Some((least, most)) if parts.len() < least || parts.len() > most || parts.iter().any(|p| blank(p)) => {
            let wanted = if least == most { least.to_string() } else { format!("at least {least}") };
            return Err(format!("\"{name}\" has {} arguments; it takes {wanted}", parts.len()));
        }
        Some(_) => {}
    }
    say(spoken, &name.replace(".", " "));
    say(spoken, "of");
    for (i, part) in parts.iter().enumerate() {
        if i > 0 {
            say(spoken, if name == "frac" { "over" } else { "and" });
        }
        for child in part {
            walk(child, depth + 1, spoken)?;
        }
    }
    Ok(())
}

fn unknown(name: &str) -> String {
    format!(
        "\"{name}\" is no symbol or function of formulas; write words in quotes, and fractions, roots and Greek letters as \
         a/b, sqrt(x), alpha"
    )
}

fn say(spoken: &mut String, word: &str) {
    spoken.push(' ');
    spoken.push_str(word);
    spoken.push(' ');
}

/// Signs that a voice would pass over.
fn sign(text: &str) -> &str {
    match text {
        "=" => "equals",
        "+" => "plus",
        "-" | "−" => "minus",
        "*" => "times",
        "<=" => "at most",
        ">=" => "at least",
        "!=" => "is not",
        "'" => "prime",
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mathematics_passes_and_is_put_into_words() {
        let said = |f: &str| check(f).unwrap_or_else(|why| format!("refused: {why}"));
        assert_eq!(said("x_0 = (y - a)/b"), "x sub 0 equals y minus a over b");
        assert_eq!(said("sqrt(s^2/m)"), "sqrt of s to the power of 2 over m");
        assert_eq!(said("u_c (c) = 0.3 \"% v/v\""), "u sub c ( c ) equals 0.3 % v/v");
        assert_eq!(said("frac(1, 2) alpha dot nu.alt"), said("frac(1, 2) alpha dot nu.alt"));
        for fine in [
            "overline(y)_0",
            "mat(1, 2; 3, 4)",
            "arrow.r",
            "sum_(i=1)^n x_i",
            "vec(1, 2)",
            "binom(n, k)",
            "a \\ &= b",
            "lim_(x -> 0) f'(x)",
            "\"area\"/\"area of IS\"",
            "rho times V",
            "5 \\% plus.minus 1 \\%",
            "abs(T) <= t_nu",
        ] {
            assert!(check(fine).is_ok(), "{fine}: {:?}", check(fine));
        }
    }

    #[test]
    fn code_does_not_pass() {
        for code in [
            "#read(\"/etc/passwd\")",
            "x + #1",
            "read(\"x\")",
            "sqrt(#read(\"x\"))",
            "\"a\\u{41}\"",
            "frac(1, 2, ..x)",
            "mat(delim: \"[\", 1)",
            "image(\"x\")",
            "x $ y",
            "cancel(x, angle: #context 1)",
            "[#x]",
            "std.read(\"x\")",
            "sys.version",
            "\\u{202e}",
            "eval(\"1\")",
            "frac(1)",
            "hat(x, y)",
            "sqrt()",
            "",
            "alpha\u{202E}",
            "/* c */",
            "// c",
            "lorem(10)",
            "raw(\"x\")",
            "sqrt(,)",
        ] {
            assert!(check(code).is_err(), "{code}");
        }
        assert!(check(&"(".repeat(1_500)).is_err() && check(&"sqrt(".repeat(300)).is_err());
        assert!(check(&format!("{}x{}", "sqrt(".repeat(100), ")".repeat(100))).is_err());
        assert!(check(&"x".repeat(5_000)).is_err());
    }
}
