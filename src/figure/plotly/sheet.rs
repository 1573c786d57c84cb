//! From a place on paper to a place on the screen.

use super::super::geometry::Rect;
use super::super::layout::Placed;
use super::super::model::{Figure, Panel};
use super::numbers::Coordinate;

/// Pixels of the screen for a point of the page: letters of 8 pt become 12 px high.
pub(super) const SCALE: f64 = 1.5;
/// How much wider a screen's letters can be than the page's, whose widths are known.
const WIDER: f64 = 1.3;
/// Room above the figure for the buttons that appear under the pointer, in pixels.
const BUTTONS: f64 = 36.0;
/// Room below the figure for a slider, in pixels.
const SLIDER: f64 = 92.0;

/// The axis boxes of a figure, their margins and the height they need. Heights are in pixels; the width is the
/// notebook's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    /// From the top of the first axis box to the bottom of the last, in points of the page.
    boxes: Rect,
    /// Margins left, right, above, below, in pixels.
    pub(super) margins: [f64; 4],
    /// Height of all, in pixels.
    pub(super) height: f64,
}

impl Sheet {
    pub(super) fn new(figure: &Figure, placed: &[Placed], page: (f64, f64)) -> Self {
        let whole = Rect { left: 0.0, top: 0.0, right: page.0, bottom: page.1 };
        let boxes = match (placed.first(), placed.last()) {
            (Some(first), Some(last)) => {
                // An inset may lie beside names, above its panel's box.
                let insets = placed.iter().filter_map(|p| p.inset.as_ref()?.1.first());
                let top = insets.map(|p| p.frame.top).fold(first.frame.top, f64::min);
                Rect { top, bottom: last.frame.bottom, ..first.frame }
            }
            _ => whole,
        };
        let beside = placed.iter().any(|p| !p.beside.is_empty());
        let slider = if figure.steps.is_some() { SLIDER } else { 0.0 };
        let margins = [
            boxes.left * SCALE + 6.0,
            (page.0 - boxes.right) * SCALE * if beside { WIDER } else { 1.0 },
            boxes.top * SCALE + BUTTONS,
            (page.1 - boxes.bottom) * SCALE + 4.0 + slider,
        ];
        Sheet { boxes, margins, height: boxes.height() * SCALE + margins[2] + margins[3] }
    }

    /// Share of the width, from the left edge of the axis boxes.
    pub(super) fn x(&self, on_page: f64) -> f64 {
        short((on_page - self.boxes.left) / self.boxes.width())
    }

    /// Share of the height, from the bottom of the last axis box.
    pub(super) fn y(&self, on_page: f64) -> f64 {
        short((self.boxes.bottom - on_page) / self.boxes.height())
    }

    /// Where the axes of a box lie: shares of width and height.
    pub(super) fn domains(&self, frame: &Rect) -> [[f64; 2]; 2] {
        let inside = |v: f64| v.clamp(0.0, 1.0);
        [
            [inside(self.x(frame.left)), inside(self.x(frame.right))],
            [inside(self.y(frame.bottom)), inside(self.y(frame.top))],
        ]
    }

    /// How far below the axis boxes a slider begins, in pixels.
    pub(super) fn below(&self) -> f64 {
        self.margins[3] - SLIDER + 8.0
    }
}

/// Four decimals place a thing to a tenth of a pixel.
pub(super) fn short(share: f64) -> f64 {
    (share * 1e4).round() / 1e4 + 0.0
}

/// A panel's axes: their number, and what becomes of coordinates along them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axes {
    number: usize,
    pub(super) x: Coordinate,
    pub(super) y: Coordinate,
}

impl Axes {
    pub(super) fn new(number: usize, panel: &Panel, placed: &Placed) -> Self {
        Axes {
            number,
            x: Coordinate::new(placed.ranges[0], placed.x.power),
            y: Coordinate::new(placed.ranges[1], placed.y.power).for_lines(panel),
        }
    }

    /// "x", "x2", …
    pub(super) fn x_name(&self) -> String {
        numbered("x", self.number)
    }

    /// "y", "y2", …
    pub(super) fn y_name(&self) -> String {
        numbered("y", self.number)
    }

    /// "legend", "legend2", …
    pub(super) fn legend_name(&self) -> String {
        numbered("legend", self.number)
    }
}

/// The first of a kind has no number.
pub(super) fn numbered(kind: &str, number: usize) -> String {
    if number == 1 { kind.to_owned() } else { format!("{kind}{number}") }
}

/// A place on paper in the data's own numbers.
pub(super) fn data_at(placed: &Placed, on_page: [f64; 2]) -> [f64; 2] {
    let (f, [x, y]) = (&placed.frame, placed.ranges);
    [
        x[0] + (x[1] - x[0]) * (on_page[0] - f.left) / f.width(),
        y[0] + (y[1] - y[0]) * (f.bottom - on_page[1]) / f.height(),
    ]
}
