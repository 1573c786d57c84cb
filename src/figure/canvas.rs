//! Writes SVG elements: numbers with two decimals, words escaped.

use super::geometry::{Point, Rect};
use super::layers::{Anchor, Dash, Style};
use super::text::{CAP_HEIGHT, FONT, LIKE_IT, clean, known_width};
use crate::table::escape_letter;

/// SVG under construction; same calls, same bytes.
pub(super) struct Canvas {
    out: String,
    /// True where the embedded font is at hand: what it lacks is replaced. Elsewhere any font may come, and words are
    /// told how wide they were measured, so that they keep clear of each other.
    own_font: bool,
}

impl Canvas {
    /// A page of this size in points, white, with its text alternative.
    pub(super) fn new(width: f64, height: f64, alt: &str, own_font: bool) -> Self {
        let mut canvas = Canvas { out: String::with_capacity(16_384), own_font };
        let mm = |points: f64| fixed(points * 25.4 / 72.0);
        canvas.out.push_str("<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\"");
        canvas.out.push_str(&format!(" width=\"{}mm\" height=\"{}mm\"", mm(width), mm(height)));
        canvas.out.push_str(&format!(" viewBox=\"0 0 {} {}\">\n", fixed(width), fixed(height)));
        if !alt.trim().is_empty() {
            // No font prints these: only what XML forbids must go. The first sentence names the picture.
            let alt: String = alt.split_whitespace().collect::<Vec<_>>().join(" ");
            let name = alt.split_inclusive(". ").next().unwrap_or(&alt).trim_end();
            for (tag, text) in [("title", name), ("desc", alt.as_str())] {
                let text: String =
                    text.chars().filter(|c| !matches!(c, '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}')).collect();
                canvas.out.push_str(&format!("<{tag}>{}</{tag}>\n", escape(&text)));
            }
        }
        canvas.out.push_str("<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n");
        let families = if own_font { FONT.to_owned() } else { format!("{FONT}, {LIKE_IT}") };
        canvas.out.push_str(&format!("<g font-family=\"{families}\" fill=\"none\" stroke-linejoin=\"round\">\n"));
        canvas
    }

    /// The finished text.
    pub(super) fn finish(mut self) -> String {
        self.out.push_str("</g>\n</svg>\n");
        self.out
    }

    /// Polylines in one style.
    pub(super) fn stroke(&mut self, pieces: &[Vec<Point>], style: Style) {
        if pieces.iter().all(|p| p.len() < 2) {
            return;
        }
        self.out.push_str("<path d=\"");
        pieces.iter().filter(|p| p.len() > 1).for_each(|p| self.path(p));
        let width = if style.width_pt.is_finite() { style.width_pt.clamp(0.1, 20.0) } else { 0.75 };
        self.out.push_str(&format!("\" stroke=\"{}\" stroke-width=\"{}\"", style.color.hex(), fixed(width)));
        // Lengths grow with the width only where the line is thick; thin lines keep legible dashes.
        let unit = width.max(0.75) / 0.75;
        let dashes: &[f64] = match style.dash {
            Dash::Solid => &[],
            Dash::Dashed => &[4.0, 2.0],
            Dash::Dotted => &[0.9, 1.7],
            Dash::DashDot => &[5.0, 1.6, 0.9, 1.6],
            Dash::LongDash => &[9.0, 2.5],
        };
        if !dashes.is_empty() {
            let dashes: Vec<String> = dashes.iter().map(|d| fixed(d * unit)).collect();
            self.out.push_str(&format!(" stroke-dasharray=\"{}\"", dashes.join(" ")));
        }
        self.out.push_str("/>\n");
    }

    /// A straight line.
    pub(super) fn line(&mut self, from: Point, to: Point, color: &str, width: f64) {
        self.out.push_str(&format!(
            "<path d=\"M{},{} {},{}\" stroke=\"{color}\" stroke-width=\"{}\"/>\n",
            fixed(from[0]),
            fixed(from[1]),
            fixed(to[0]),
            fixed(to[1]),
            fixed(width)
        ));
    }

    /// A closed outline; `attributes` says how it is filled and stroked.
    pub(super) fn outline(&mut self, points: &[Point], attributes: &str) {
        if points.len() > 1 {
            self.out.push_str("<path d=\"");
            self.path(points);
            self.out.push_str(&format!("Z\" {attributes}/>\n"));
        }
    }

    /// A box.
    pub(super) fn rect(&mut self, rect: &Rect, attributes: &str) {
        self.out.push_str(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {attributes}/>\n",
            fixed(rect.left),
            fixed(rect.top),
            fixed(rect.width().max(0.0)),
            fixed(rect.height().max(0.0))
        ));
    }

    /// A circle.
    pub(super) fn circle(&mut self, at: Point, radius: f64, attributes: &str) {
        let (x, y) = (fixed(at[0]), fixed(at[1]));
        self.out.push_str(&format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\" {attributes}/>\n", fixed(radius)));
    }

    /// Words on a base line that starts, has its middle, or ends at a point.
    pub(super) fn words(&mut self, at: Point, size: f64, anchor: Anchor, upright: bool, text: &str) {
        let text = clean(text, self.own_font);
        if text.trim().is_empty() {
            return;
        }
        let (x, y) = (fixed(at[0]), fixed(at[1]));
        let turn = if upright { format!(" transform=\"rotate(-90 {x} {y})\"") } else { String::new() };
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let width = known_width(&text, size).filter(|_| !self.own_font && text.chars().nth(1).is_some());
        let length =
            width.map_or(String::new(), |w| format!(" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"", fixed(w)));
        self.out.push_str(&format!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" fill=\"#000000\"{anchor}{turn}{length}>{}</text>\n",
            fixed(size),
            escape(&text)
        ));
    }

    /// Words with the middle of their figures at this height.
    pub(super) fn words_centered(&mut self, at: Point, size: f64, anchor: Anchor, text: &str) {
        self.words([at[0], at[1] + CAP_HEIGHT / 2.0 * size], size, anchor, false, text);
    }

    fn path(&mut self, points: &[Point]) {
        // Points inside a level stretch say nothing: a quiet baseline costs few bytes.
        let level = |i: usize| {
            let [a, b, c] = [points[i - 1], points[i], points[i + 1]].map(|p| (p[0], hundredths(p[1])));
            a.1 == b.1 && b.1 == c.1 && (b.0 - a.0) * (c.0 - b.0) >= 0.0
        };
        for (i, p) in points.iter().enumerate() {
            if i > 0 && i + 1 < points.len() && level(i) {
                continue;
            }
            self.out.push(if i == 0 { 'M' } else { ' ' });
            self.out.push_str(&fixed(p[0]));
            self.out.push(',');
            self.out.push_str(&fixed(p[1]));
        }
    }
}

/// Two decimals, no exponent, no minus before zero; what is no number becomes zero.
fn fixed(value: f64) -> String {
    let hundredths = hundredths(value);
    let sign = if hundredths < 0 { "-" } else { "" };
    format!("{sign}{}.{:02}", hundredths.abs() / 100, hundredths.abs() % 100)
}

fn hundredths(value: f64) -> i64 {
    if value.is_finite() { (value.clamp(-1e9, 1e9) * 100.0).round() as i64 } else { 0 }
}

/// Text that cannot become markup.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    text.chars().for_each(|c| escape_letter(c, &mut out));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_two_decimals_and_no_negative_zero() {
        assert_eq!(fixed(1.0), "1.00");
        assert_eq!(fixed(-0.001), "0.00");
        assert_eq!(fixed(-1.256), "-1.26");
        assert_eq!(fixed(f64::NAN), "0.00");
        assert_eq!(fixed(-12.3), "-12.30");
    }

    #[test]
    fn words_cannot_become_markup() {
        assert_eq!(escape("a<b>&\"'"), "a&lt;b&gt;&amp;&quot;&#39;");
    }
}
