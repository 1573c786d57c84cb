//! Layers on paper: outlines, strokes, markers and words, in the order in which they are painted.

use super::decimate::min_max;
use super::geometry::{Point, Rect, Scale, cut_area, cut_line, cut_segment};
use super::layers::{Anchor, Bar, Color, Layer, Marker, Style};
use super::model::Panel;

/// Width of a picture column in points: 300 to the inch, finer than the eye and than the thinnest line.
const COLUMN_PT: f64 = 0.24;
/// Crossings of an edge closer than this share one mark: a sharp peak's two flanks.
const CUT_SHARED_PT: f64 = 14.0;
/// Half the size of a marker, in points.
pub(super) const MARKER_PT: f64 = 2.3;

/// Something on paper.
#[derive(Clone, Debug)]
pub(super) enum Shape {
    Fill {
        outline: Vec<Point>,
        color: Color,
        solid: bool,
    },
    /// A guide (limit, zero) is a stroke that words may lie upon.
    Stroke {
        pieces: Vec<Vec<Point>>,
        style: Style,
        guide: bool,
    },
    Marker {
        at: Point,
        marker: Marker,
        hollow: bool,
        color: Color,
    },
    /// The mark where a trace leaves through an edge and comes back.
    Cut {
        from: Point,
        to: Point,
    },
    /// A point that lies beyond the upper or lower edge.
    Beyond {
        at: Point,
        up: bool,
        color: Color,
    },
    Words {
        at: Point,
        anchor: Anchor,
        text: String,
    },
}

/// All layers of a panel, fills first and words last.
pub(super) fn shapes(panel: &Panel, frame: &Rect, x: &Scale, y: &Scale) -> Vec<Shape> {
    let mut out = Painter { frame, x, y, fills: vec![], guides: vec![], strokes: vec![], marks: vec![], words: vec![] };
    for layer in &panel.layers {
        out.layer(layer);
    }
    let Painter { mut fills, guides, strokes, marks, words, .. } = out;
    fills.extend(guides.into_iter().chain(strokes).chain(marks).chain(words));
    fills
}

/// How thick a bar is when the next lies this far away.
fn bar_half_height(pitch: f64) -> f64 {
    (pitch * 0.31).min(6.0)
}

struct Painter<'a> {
    frame: &'a Rect,
    x: &'a Scale,
    y: &'a Scale,
    fills: Vec<Shape>,
    guides: Vec<Shape>,
    strokes: Vec<Shape>,
    marks: Vec<Shape>,
    words: Vec<Shape>,
}

impl Painter<'_> {
    fn layer(&mut self, layer: &Layer) {
        match layer {
            Layer::Line { x, y, style, .. } => self.line(x, y, *style),
            Layer::Markers { x, y, x_error, y_error, marker, hollow, color, .. } => {
                for (i, (&px, &py)) in x.iter().zip(y).enumerate() {
                    let half = |e: &Option<Vec<f64>>| e.as_ref().and_then(|e| e.get(i)).copied().unwrap_or(0.0);
                    self.error_bar([px, py], [half(x_error), 0.0], *color);
                    self.error_bar([px, py], [0.0, half(y_error)], *color);
                    let at = [self.x.at(px), self.y.at(py)];
                    if self.frame.grown(0.5).contains(at) {
                        self.marks.push(Shape::Marker { at, marker: *marker, hollow: *hollow, color: *color });
                    } else if at[1].is_finite() && self.x.holds(px) {
                        let up = at[1] < self.frame.top;
                        let at = [at[0], if up { self.frame.top } else { self.frame.bottom }];
                        self.marks.push(Shape::Beyond { at, up, color: *color });
                    }
                }
            }
            Layer::Band { x, low, high, color, .. } => self.region(x, high, low, *color, false),
            Layer::Area { x, y, base, color, .. } => self.region(x, y, base, *color, true),
            Layer::HorizontalLine { y, style, .. } => {
                let at = self.y.at(*y);
                self.guide([self.frame.left, at], [self.frame.right, at], *style);
            }
            Layer::VerticalLine { x, style, .. } => {
                let at = self.x.at(*x);
                self.guide([at, self.frame.bottom], [at, self.frame.top], *style);
            }
            Layer::Bars { bars, color } => self.bars(bars, *color),
            Layer::Text { x, y, text, anchor } => {
                let at = [self.x.at(*x), self.y.at(*y)];
                if x.is_finite() && y.is_finite() && self.frame.grown(0.5).contains(at) {
                    self.words.push(Shape::Words { at, anchor: *anchor, text: text.clone() });
                }
            }
            Layer::Labels { .. } | Layer::Note { .. } => {} // placed when all else is known
        }
    }

    fn line(&mut self, x: &[f64], y: &[f64], style: Style) {
        let (x, y) = self.visible(x, y);
        let (x, y) = min_max(x, y, self.columns(x, COLUMN_PT));
        let points: Vec<Point> = x.iter().zip(&y).map(|(&x, &y)| [self.x.at(x), self.y.at(y)]).collect();
        let mut pieces = Vec::new();
        for run in points.split(|p| !(p[0].is_finite() && p[1].is_finite())).filter(|r| !r.is_empty()) {
            if let [only] = run {
                // A lone point between gaps would be invisible as a line.
                if self.frame.contains(*only) {
                    self.marks.push(Shape::Marker {
                        at: *only,
                        marker: Marker::Circle,
                        hollow: false,
                        color: style.color,
                    });
                }
                continue;
            }
            pieces.extend(cut_line(run, self.frame));
            for edge in [self.frame.top, self.frame.bottom] {
                self.cut_marks(run, edge);
            }
        }
        self.strokes.push(Shape::Stroke { pieces, style, guide: false });
    }

    /// Marks where a trace crosses the upper or lower edge; crossings close together share one.
    fn cut_marks(&mut self, run: &[Point], edge: f64) {
        let beyond = |p: &Point| if edge == self.frame.top { p[1] < edge - 0.01 } else { p[1] > edge + 0.01 };
        let mut spans: Vec<(f64, f64)> = Vec::new();
        for pair in run.windows(2).filter(|w| beyond(&w[0]) != beyond(&w[1])) {
            let share = (edge - pair[0][1]) / (pair[1][1] - pair[0][1]);
            let crossing = pair[0][0] + share * (pair[1][0] - pair[0][0]);
            if crossing < self.frame.left || crossing > self.frame.right {
                continue;
            }
            match spans.last_mut() {
                Some(last) if crossing - last.1 < CUT_SHARED_PT => last.1 = crossing,
                _ => spans.push((crossing, crossing)),
            }
        }
        let marks = spans.into_iter().map(|(a, b)| Shape::Cut { from: [a, edge], to: [b, edge] });
        self.marks.extend(marks);
    }

    /// Between two curves; a peak's area gets thin edges where it is cut off from its neighbour.
    fn region(&mut self, x: &[f64], upper: &[f64], lower: &[f64], color: Color, edges: bool) {
        let n = x.len().min(upper.len()).min(lower.len());
        let known = |i: &usize| x[*i].is_finite() && upper[*i].is_finite() && lower[*i].is_finite();
        let all: Vec<usize> = (0..n).collect();
        for run in all.split(|i| !known(i)).filter(|r| r.len() > 1) {
            let (a, b) = (run[0], run[run.len() - 1] + 1);
            let curve = |values: &[f64]| -> Vec<Point> {
                let (x, values) = self.visible(&x[a..b], &values[a..b]);
                let (x, values) = min_max(x, values, self.columns(x, 2.0 * COLUMN_PT));
                x.iter().zip(&values).map(|(&x, &v)| [self.x.at(x), self.y.at(v)]).collect()
            };
            let (top, base) = (curve(upper), curve(lower));
            if edges {
                for (t, b) in [(top.first(), base.first()), (top.last(), base.last())] {
                    if let (Some(t), Some(b)) = (t, b)
                        && b[1] - t[1] > 1.5
                        && let Some((t, b)) = cut_segment(*t, *b, self.frame)
                    {
                        let style = Style::new(color).width(0.5);
                        self.guides.push(Shape::Stroke { pieces: vec![vec![b, t]], style, guide: true });
                    }
                }
            }
            let outline: Vec<Point> = top.into_iter().chain(base.into_iter().rev()).collect();
            let outline = cut_area(&outline, self.frame);
            if outline.len() > 2 {
                self.fills.push(Shape::Fill { outline, color, solid: false });
            }
        }
    }

    fn bars(&mut self, bars: &[Bar], color: Color) {
        let half = bar_half_height(self.frame.height() / bars.len().max(1) as f64);
        let zero = self.x.at(0.0);
        if self.x.low < 0.0 {
            self.guide([zero, self.frame.top], [zero, self.frame.bottom], Style::default().width(0.5));
        }
        for (i, bar) in bars.iter().enumerate() {
            let middle = self.y.at(i as f64);
            // A bar without a number has its words still.
            let end = if bar.value.is_finite() { self.x.at(bar.value) } else { zero };
            let outline = [[zero, middle - half], [end, middle - half], [end, middle + half], [zero, middle + half]];
            let outline = cut_area(&outline, self.frame);
            if bar.value.is_finite() {
                self.fills.push(Shape::Fill { outline, color, solid: true });
            }
            if let Some(text) = &bar.note {
                let (step, anchor) = if bar.value < 0.0 { (-4.0, Anchor::End) } else { (4.0, Anchor::Start) };
                self.words.push(Shape::Words { at: [end + step, middle], anchor, text: text.clone() });
            }
        }
    }

    fn guide(&mut self, a: Point, b: Point, style: Style) {
        if a.iter().chain(&b).all(|v| v.is_finite())
            && let Some((a, b)) = cut_segment(a, b, &self.frame.grown(0.01))
        {
            self.guides.push(Shape::Stroke { pieces: vec![vec![a, b]], style, guide: true });
        }
    }

    fn error_bar(&mut self, center: Point, half: [f64; 2], color: Color) {
        if !(half[0] > 0.0 || half[1] > 0.0) {
            return;
        }
        let end = |sign: f64| [self.x.at(center[0] + sign * half[0]), self.y.at(center[1] + sign * half[1])];
        let (a, b) = (end(-1.0), end(1.0));
        if a.iter().chain(&b).any(|v| !v.is_finite()) {
            return;
        }
        let cap: Point = if half[0] > 0.0 { [0.0, 1.8] } else { [1.8, 0.0] };
        let across = |p: Point| ([p[0] - cap[0], p[1] - cap[1]], [p[0] + cap[0], p[1] + cap[1]]);
        let pieces: Vec<Vec<Point>> = [(a, b), across(a), across(b)]
            .into_iter()
            .filter_map(|(p, q)| cut_segment(p, q, &self.frame.grown(0.5)).map(|(p, q)| vec![p, q]))
            .collect();
        self.strokes.push(Shape::Stroke { pieces, style: Style::new(color).width(0.6), guide: false });
    }

    /// The part with x in range and one point more at each side; all of it where x does not rise.
    fn visible<'v>(&self, x: &'v [f64], y: &'v [f64]) -> (&'v [f64], &'v [f64]) {
        let n = x.len().min(y.len());
        let (x, y) = (&x[..n], &y[..n]);
        if !x.windows(2).all(|w| w[0] <= w[1]) {
            return (x, y);
        }
        let a = x.partition_point(|&v| v < self.x.low).saturating_sub(1);
        let b = (x.partition_point(|&v| v <= self.x.high) + 1).min(n).max(a);
        (&x[a..b], &y[a..b])
    }

    /// Columns of this width that a rising x covers on paper.
    fn columns(&self, x: &[f64], column: f64) -> usize {
        let known = || x.iter().copied().filter(|v| v.is_finite());
        let (first, last) = (known().next().unwrap_or(0.0), known().next_back().unwrap_or(0.0));
        let wide = (self.x.at(last) - self.x.at(first)).abs().min(self.frame.width());
        (wide / column).ceil().clamp(1.0, 20_000.0) as usize
    }
}
