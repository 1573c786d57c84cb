//! Coordinates for the screen: short numbers, and how many points a figure can afford.

use super::super::layers::Layer;
use super::super::model::{Figure, Panel};

/// Steps that an axis is divided into, at least: a finer place would show only when a stretch is magnified twenty
/// times.
const STEPS: f64 = 2e4;
/// Points of lines in a figure that stands still: at 16 bytes each, half of 400 kB.
const POINTS: usize = 12_000;
/// Points of lines at all steps together: half of 900 kB.
const POINTS_OF_STEPS: usize = 28_000;
/// Points along the tops of shaded areas, beside those of the lines.
const SHARE_OF_AREAS: f64 = 0.25;

/// Coordinates along one axis: divided by the power of ten that its label tells, and rounded.
#[derive(Clone, Copy, Debug)]
pub(super) struct Coordinate {
    factor: f64,
    decimals: i32,
}

impl Coordinate {
    /// For an axis of this range whose label tells this power of ten.
    pub(super) fn new([low, high]: [f64; 2], power: i32) -> Self {
        let factor = 10_f64.powi(power);
        Coordinate { factor, decimals: decimals((high - low).abs() / factor, STEPS) }
    }

    /// Fine enough for these lines' own scatter as well, so that a small peak of a run with a large one can be
    /// magnified: a tenth of the median step between neighbours, at most a thousand times finer.
    pub(super) fn for_lines(self, panel: &Panel) -> Self {
        let lines = panel.layers.iter().filter_map(|l| if let Layer::Line { y, .. } = l { Some(y) } else { None });
        let finest = lines.filter(|y| y.len() > 100).filter_map(|y| {
            let mut steps: Vec<f64> = y.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > 0.0).collect();
            let middle = steps.len() / 2;
            (middle > 0).then(|| *steps.select_nth_unstable_by(middle, f64::total_cmp).1)
        });
        let own = finest.map(|step| decimals(step / self.factor, 10.0)).max().unwrap_or(self.decimals);
        Coordinate { decimals: own.clamp(self.decimals, self.decimals + 3), ..self }
    }

    pub(super) fn of(&self, value: f64) -> f64 {
        let value = if self.factor == 1.0 { value } else { value / self.factor };
        // Beyond 10²² a power of ten is no exact number any more.
        let rounded = match self.decimals {
            d @ 0..=22 => (value * 10_f64.powi(d)).round() / 10_f64.powi(d),
            d @ -22..=-1 => (value / 10_f64.powi(-d)).round() * 10_f64.powi(-d),
            _ => value,
        };
        // −0 is 0.
        if rounded.is_finite() { rounded + 0.0 } else { value }
    }

    pub(super) fn all(&self, values: &[f64]) -> Vec<f64> {
        values.iter().map(|&v| self.of(v)).collect()
    }
}

/// Decimals that tell this many parts of a span apart.
pub(super) fn decimals(span: f64, parts: f64) -> i32 {
    let step = span / parts;
    if step > 0.0 && step.is_finite() { -(libm::log10(step).floor() as i32) } else { 0 }
}

/// How many points a line and an area may keep, so that the figure stays small.
#[derive(Clone, Copy, Debug)]
pub(super) struct Budget {
    lines: usize,
    areas: usize,
}

impl Budget {
    /// From all layers of all panels, insets and steps, and from what there is to share among them: short ones keep
    /// all their points, long ones as many as is left for each.
    pub(super) fn new(figure: &Figure) -> Self {
        let (mut lines, mut areas) = (Vec::new(), Vec::new());
        let mut count = |layers: &[Layer], range: Option<[f64; 2]>| {
            let inside = |x: &[f64]| match range {
                Some([low, high]) => x.iter().filter(|v| (low..=high).contains(*v)).count(),
                None => x.len(),
            };
            for layer in layers {
                match layer {
                    Layer::Line { x, .. } => lines.push(inside(x)),
                    Layer::Area { x, .. } | Layer::Band { x, .. } => areas.push(inside(x)),
                    _ => {}
                }
            }
        };
        for panel in &figure.panels {
            count(&panel.layers, None);
            panel.inset.iter().for_each(|inset| count(&inset.panel.layers, inset.panel.x.range));
        }
        let steps = figure.steps.iter().flat_map(|s| &s.steps);
        steps.flat_map(|s| &s.layers).for_each(|layers| count(layers, None));
        let most = if figure.steps.is_some() { POINTS_OF_STEPS } else { POINTS };
        Budget { lines: cap(lines, most), areas: cap(areas, (most as f64 * SHARE_OF_AREAS) as usize) }
    }

    /// Columns, of two points each, for a line.
    pub(super) fn columns(&self) -> usize {
        self.lines / 2
    }

    /// Columns for the top of an area.
    pub(super) fn area_columns(&self) -> usize {
        self.areas / 2
    }
}

/// The largest number of points such that all together are no more than `most`; a few at least, so that a short
/// piece keeps its shape.
fn cap(mut points: Vec<usize>, most: usize) -> usize {
    points.sort_unstable();
    let (mut left, mut among) = (most, points.len());
    for n in points {
        if n * among > left {
            return (left / among).max(24);
        }
        (left, among) = (left - n, among - 1);
    }
    usize::MAX
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_lines_keep_all_points() {
        assert_eq!(cap(vec![100, 12_000, 12_000], 12_100), 6_000);
        assert_eq!(cap(vec![100, 12_000], 12_100), usize::MAX);
        assert_eq!(cap(vec![10; 10_000], 1_000), 24);
        assert_eq!(cap(Vec::new(), 10), usize::MAX);
    }

    #[test]
    fn coordinates_are_short_and_close() {
        let minutes = Coordinate::new([0.0, 12.0], 0);
        assert_eq!(minutes.of(5.432_198_765), 5.4322);
        assert_eq!(minutes.of(-0.000_001).to_string(), "0");
        assert!(minutes.of(f64::NAN).is_nan());
        let counts = Coordinate::new([0.0, 2.5e6], 6);
        assert_eq!(counts.of(1_234_567.0), 1.2346);
        let small = Coordinate::new([0.0, 3e-9], -9);
        assert_eq!(small.of(1.234_567e-9), 1.2346);
        let huge = Coordinate::new([0.0, 4e7], 0);
        assert_eq!(huge.of(12_345_678.9), 12_346_000.0);
        for span in [1e-300, 1e-30, 1.0, 1e30, 1e300] {
            let c = Coordinate::new([0.0, span], 0);
            assert!((c.of(0.123_456_789 * span) / span - 0.123_456_789).abs() <= 1.0 / STEPS, "{span}");
        }
    }
}
