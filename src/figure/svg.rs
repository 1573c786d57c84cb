//! The SVG painter: a described figure to SVG text, for reports and exports.
//!
//! # Why a painter of our own
//! Looked at in November 2026, each against what a printed chromatogram needs (text that stays text in the font the
//! typesetter embeds, equal bytes from equal input, peak names that do not collide, panels above each other on one
//! x axis, an inset, a text alternative, a long trace in few bytes):
//! - kuva 0.6.0 comes closest: `<text>` in a family of choice, equal bytes on repeated runs, error bars, bands, a
//!   colour-safe palette, 5 crates in all. But two panels "sharing x" came out with axes 404.7 and 397.7 px long, so
//!   they do not line up; a control character in a name reaches the file and makes it ill-formed; 12 000 points
//!   make 215 kB; annotations are printed on top of each other; minus is a hyphen; no inset, no `<title>`/`<desc>`.
//! - plotkit 1.0.0: its SVG text ignores the transform, so nothing can be rotated; words are measured as 0.6 of the
//!   size per byte; no shared axes, no insets; 70 crates.
//! - plotters 0.3.7: has error bars and named fonts, but whole-pixel coordinates (`BackendCoord` is `(i32, i32)`),
//!   and leaves panels on a common axis, insets and names above peaks to its user; no text alternative; 4 crates.
//! - plotive 0.6.0: text becomes outlines; no error bars; 55 crates.
//!
//! What is drawn here is lines, outlines and words; the part that no library had is the layout.

use std::io::Write;
use std::path::Path;

use super::canvas::Canvas;
use super::geometry::{Point, Rect};
use super::layers::{Anchor, Color, Marker, Style};
use super::layout::{PITCH, Placed, arrange_figure, page};
use super::legend::Key;
use super::model::Figure;
use super::shapes::{MARKER_PT, Shape};
use crate::error::{Error, Result};

const BLACK: &str = "#000000";
const GUIDE: &str = "#808080"; // leaders, outline of what an inset magnifies
const HAIR: &str = "#d9d9d9"; // grid
/// Width of axes and ticks in points.
const AXIS_PT: f64 = 0.6;

impl Figure {
    /// The figure as SVG text: equal figures give equal bytes; any text is data, never markup.
    ///
    /// Lengths are in points at the printed size; words are `<text>` in Libertinus Serif, or as wide in what stands in for
    /// it, the text alternative is `<title>` and `<desc>`. Data that cannot be drawn (not finite, columns of unequal length) leave gaps; there
    /// is no error.
    pub fn to_svg(&self) -> String {
        self.paint(false)
    }

    /// The same for a PDF/A report: characters that Libertinus Serif lacks become "�", because one glyph without a
    /// font makes the typesetter refuse the whole document.
    pub fn to_report_svg(&self) -> String {
        self.paint(true)
    }

    /// Writes [`Figure::to_svg`] to a file, whole or not at all.
    ///
    /// # Errors
    /// The folder or file cannot be written.
    pub fn save_svg(&self, path: impl AsRef<Path>) -> Result<()> {
        let path = path.as_ref();
        let failed = |e: std::io::Error| Error::io("write", path, e);
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)] // readable like any other export; the umask still counts
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut file = builder.tempfile_in(folder).map_err(failed)?;
        file.write_all(self.to_svg().as_bytes()).map_err(failed)?;
        file.persist(path).map_err(|e| failed(e.error))?;
        Ok(())
    }

    fn paint(&self, own_font: bool) -> String {
        let (width, height) = page(self);
        let mut canvas = Canvas::new(width, height, &self.alt, own_font);
        for panel in arrange_figure(&self.on_paper()) {
            paint_panel(&mut canvas, &panel);
        }
        canvas.finish()
    }
}

fn paint_panel(canvas: &mut Canvas, panel: &Placed) {
    grid(canvas, panel);
    if let Some(source) = &panel.source {
        canvas.rect(source, &format!("stroke=\"{GUIDE}\" stroke-width=\"0.4\" stroke-dasharray=\"1.5 1.5\""));
    }
    let cuts = |s: &&Shape| matches!(s, Shape::Cut { .. });
    panel.shapes.iter().filter(|s| !cuts(s)).for_each(|s| shape(canvas, s, panel));
    axes(canvas, panel);
    panel.shapes.iter().filter(cuts).for_each(|s| shape(canvas, s, panel));
    for name in &panel.names {
        canvas.stroke(std::slice::from_ref(&name.leader), Style::new(Color::Grey).width(0.4));
        let anchor = if name.upright { Anchor::Start } else { Anchor::Middle };
        canvas.words(name.at, name.size, anchor, name.upright, &name.text);
    }
    for words in &panel.beside {
        if (words.from[1] - words.at[1]).abs() > 0.5 {
            canvas.line([words.from[0] + 1.0, words.from[1]], [words.at[0] - 1.0, words.at[1]], GUIDE, 0.4);
        }
        let mut left = words.at[0];
        if let Some(style) = words.words.key {
            key(canvas, Key::Line(style), words.at, 11.0);
            left += 13.0;
        }
        canvas.words_centered([left, words.at[1]], panel.sizes.name, Anchor::Start, &words.words.text);
    }
    if let Some((bounds, inset)) = &panel.inset {
        canvas.rect(bounds, "fill=\"#ffffff\"");
        inset.iter().for_each(|p| paint_panel(canvas, p));
    }
    for block in &panel.blocks {
        canvas.rect(&block.bounds, "fill=\"#ffffff\" fill-opacity=\"0.8\"");
        for row in &block.rows {
            key(canvas, row.key, [row.left, row.middle], row.words - row.left - 4.0);
            canvas.words_centered([row.words, row.middle], panel.sizes.name, Anchor::Start, &row.text);
        }
    }
    if let Some((at, text)) = &panel.letter {
        canvas.words(*at, panel.sizes.label, Anchor::Start, false, text);
    }
}

fn grid(canvas: &mut Canvas, panel: &Placed) {
    let f = &panel.frame;
    if panel.grid[0] {
        panel.x.major.iter().for_each(|(x, _)| canvas.line([*x, f.top], [*x, f.bottom], HAIR, 0.4));
    }
    if panel.grid[1] {
        panel.y.major.iter().for_each(|(y, _)| canvas.line([f.left, *y], [f.right, *y], HAIR, 0.4));
    }
}

/// Axis lines to the left and below, ticks outward, numbers, labels.
fn axes(canvas: &mut Canvas, panel: &Placed) {
    let (f, sizes) = (&panel.frame, panel.sizes);
    let mut lines = vec![vec![[f.left, f.top], [f.left, f.bottom], [f.right, f.bottom]]];
    let mut small = Vec::new();
    let below = |x: f64, length: f64| vec![[x, f.bottom], [x, f.bottom + length]];
    let beside = |y: f64, length: f64| vec![[f.left, y], [f.left - length, y]];
    if panel.x.ticks {
        lines.extend(panel.x.major.iter().map(|m| below(m.0, sizes.tick_length)));
        small.extend(panel.x.minor.iter().map(|m| below(*m, sizes.tick_length * 0.55)));
    }
    if panel.y.ticks {
        lines.extend(panel.y.major.iter().map(|m| beside(m.0, sizes.tick_length)));
        small.extend(panel.y.minor.iter().map(|m| beside(*m, sizes.tick_length * 0.55)));
    }
    canvas.stroke(&lines, Style::default().width(AXIS_PT));
    canvas.stroke(&small, Style::default().width(AXIS_PT * 0.7));

    let left = f.left - if panel.y.ticks { sizes.tick_length + 2.5 } else { 4.0 };
    let number_size = if panel.y.ticks { sizes.tick } else { sizes.name };
    for (y, text) in &panel.y.major {
        canvas.words_centered([left, *y], number_size, Anchor::End, text);
    }
    for (i, line) in panel.y.label.iter().enumerate() {
        let x = panel.y_label_left + (i as f64 + 0.8) * panel.y.label_size * PITCH;
        canvas.words([x, (f.top + f.bottom) / 2.0], panel.y.label_size, Anchor::Middle, true, line);
    }

    if !panel.x.words {
        return;
    }
    let mut below = f.bottom;
    if panel.x.ticks {
        below += sizes.tick_length + 1.5;
        let mut deepest = if panel.x.major.is_empty() { 0.0 } else { sizes.tick * 0.75 };
        for (x, text) in &panel.x.major {
            if panel.x.upright {
                canvas.words([x + sizes.tick * 0.31, below], sizes.tick, Anchor::End, true, text);
                deepest = f64::max(deepest, super::text::width(text, sizes.tick));
            } else {
                canvas.words([*x, below + sizes.tick * 0.72], sizes.tick, Anchor::Middle, false, text);
            }
        }
        below += deepest;
    }
    for line in &panel.x.label {
        let at = [(f.left + f.right) / 2.0, below + sizes.label * 0.75 + 3.5];
        canvas.words(at, panel.x.label_size, Anchor::Middle, false, line);
    }
}

fn shape(canvas: &mut Canvas, shape: &Shape, panel: &Placed) {
    match shape {
        Shape::Fill { outline, color, solid } => canvas.outline(outline, &fill(*color, *solid)),
        Shape::Stroke { pieces, style, .. } => canvas.stroke(pieces, style.width(style.width_pt * panel.sizes.line)),
        Shape::Marker { at, marker, hollow, color } => paint_marker(canvas, *at, *marker, *hollow, *color),
        Shape::Beyond { at, up, color } => {
            let s = if *up { 1.0 } else { -1.0 };
            let head = vec![[at[0] - 2.2, at[1] + 3.5 * s], [at[0], at[1] + 0.5 * s], [at[0] + 2.2, at[1] + 3.5 * s]];
            let shaft = vec![[at[0], at[1] + 8.0 * s], head[1]];
            canvas.stroke(&[shaft, head], Style::new(*color).width(0.8));
        }
        Shape::Cut { from, to } => cut_mark(canvas, *from, *to, &panel.frame),
        Shape::Words { at, anchor, text } => canvas.words_centered(*at, panel.sizes.name, *anchor, text),
    }
}

/// A tint, over which a second one still shows; bars are darker and outlined.
fn fill(color: Color, solid: bool) -> String {
    let hex = color.hex();
    if solid {
        format!("fill=\"{hex}\" fill-opacity=\"0.45\" stroke=\"{hex}\" stroke-width=\"0.5\"")
    } else {
        format!("fill=\"{hex}\" fill-opacity=\"0.22\"")
    }
}

fn key(canvas: &mut Canvas, key: Key, at: Point, wide: f64) {
    match key {
        Key::Nothing => {}
        Key::Line(style) => canvas.stroke(&[vec![at, [at[0] + wide, at[1]]]], style),
        Key::Marker(marker, hollow, color) => paint_marker(canvas, [at[0] + wide / 2.0, at[1]], marker, hollow, color),
        Key::Fill(color) => {
            let rect = Rect { left: at[0], right: at[0] + wide, top: at[1] - 3.0, bottom: at[1] + 3.0 };
            canvas.rect(&rect, &fill(color, false));
        }
    }
}

fn paint_marker(canvas: &mut Canvas, at: Point, marker: Marker, hollow: bool, color: Color) {
    let hex = color.hex();
    let look = if hollow {
        format!("fill=\"#ffffff\" stroke=\"{hex}\" stroke-width=\"0.80\"")
    } else {
        format!("fill=\"{hex}\" stroke=\"{hex}\" stroke-width=\"0.80\"")
    };
    let r = MARKER_PT;
    let around =
        |corners: &[Point]| -> Vec<Point> { corners.iter().map(|c| [at[0] + c[0] * r, at[1] + c[1] * r]).collect() };
    match marker {
        Marker::Circle => canvas.circle(at, r - 0.3, &look),
        Marker::Square => canvas.outline(&around(&[[-0.82, -0.82], [0.82, -0.82], [0.82, 0.82], [-0.82, 0.82]]), &look),
        Marker::Diamond => canvas.outline(&around(&[[0.0, -1.15], [1.15, 0.0], [0.0, 1.15], [-1.15, 0.0]]), &look),
        Marker::TriangleUp => canvas.outline(&around(&[[0.0, -1.15], [1.05, 0.75], [-1.05, 0.75]]), &look),
        Marker::TriangleDown => canvas.outline(&around(&[[0.0, 1.15], [1.05, -0.75], [-1.05, -0.75]]), &look),
        Marker::Cross => {
            let arms = [around(&[[-0.9, -0.9], [0.9, 0.9]]), around(&[[-0.9, 0.9], [0.9, -0.9]])];
            canvas.stroke(&arms, Style::new(color).width(0.9));
        }
        Marker::Plus => {
            let arms = [around(&[[-1.1, 0.0], [1.1, 0.0]]), around(&[[0.0, -1.1], [0.0, 1.1]])];
            canvas.stroke(&arms, Style::new(color).width(0.9));
        }
    }
}

/// Two slanted strokes with white between, across a trace that leaves the panel.
fn cut_mark(canvas: &mut Canvas, from: Point, to: Point, frame: &Rect) {
    let inward = if from[1] <= frame.top { 1.0 } else { -1.0 };
    let (left, right) = (from[0] - 3.5, to[0] + 3.5);
    let (low, high) = (from[1] + inward * 4.6, from[1] + inward * 2.4);
    let gap = 0.9;
    let band = [[left, low - gap], [right, high - gap], [right, high + gap], [left, low + gap]];
    canvas.outline(&band, "fill=\"#ffffff\"");
    canvas.line(band[0], band[1], BLACK, AXIS_PT);
    canvas.line(band[3], band[2], BLACK, AXIS_PT);
}
