//! The range of an axis: as stated, else from what is drawn.

use super::layers::Layer;
use super::model::{Axis, Panel};

/// Largest number that an axis reaches; spans stay finite.
const FARTHEST: f64 = 1e300;

/// Range of a panel's x axis; `stated` where another panel of a shared axis states it. None without data.
pub(super) fn x_range(panel: &Panel, stated: Option<[f64; 2]>) -> Option<[f64; 2]> {
    if let Some(range) = usable(panel.x.range).or_else(|| usable(stated)) {
        return Some(range);
    }
    let mut seen = Seen::default();
    for layer in &panel.layers {
        match layer {
            Layer::Line { x, y, .. } => seen.all(x.iter().zip(y).filter(|(_, y)| y.is_finite()).map(|(x, _)| *x)),
            Layer::Markers { x, x_error, .. } => with_errors(&mut seen, x, x_error.as_deref(), |_| true),
            Layer::Band { x, .. } | Layer::Area { x, .. } => seen.all(x.iter().copied()),
            Layer::VerticalLine { x, .. } => seen.add(*x),
            Layer::Bars { bars, .. } => seen.all(bars.iter().map(|b| b.value).chain([0.0])),
            Layer::HorizontalLine { .. } | Layer::Labels { .. } | Layer::Text { .. } | Layer::Note { .. } => {}
        }
    }
    if !panel.x.categories.is_empty() {
        return Some([0.5, panel.x.categories.len() as f64 + 0.5]);
    }
    let bars = panel.layers.iter().any(|l| matches!(l, Layer::Bars { .. }));
    seen.range().map(|seen| {
        let [low, high] = rounded_out(seen, &panel.x);
        // Bars stand on zero.
        [if bars && seen[0] == 0.0 { 0.0 } else { low }, if bars && seen[1] == 0.0 { 0.0 } else { high }]
    })
}

/// Range of a panel's y axis from what lies in this x range.
pub(super) fn y_range(panel: &Panel, x_range: [f64; 2]) -> [f64; 2] {
    if let Some(range) = usable(panel.y.range) {
        return range;
    }
    let inside = |x: f64| x >= x_range[0] && x <= x_range[1];
    let mut seen = Seen::default();
    for layer in &panel.layers {
        match layer {
            Layer::Line { x, y, .. } => {
                seen.all(x.iter().zip(y).filter(|(x, _)| inside(**x)).map(|(_, y)| *y));
            }
            Layer::Markers { x, y, y_error, .. } => {
                with_errors(&mut seen, y, y_error.as_deref(), |i| x.get(i).is_some_and(|&x| inside(x)));
            }
            Layer::Band { x, low: a, high: b, .. } | Layer::Area { x, y: a, base: b, .. } => {
                for values in [a, b] {
                    seen.all(x.iter().zip(values).filter(|(x, _)| inside(**x)).map(|(_, v)| *v));
                }
            }
            Layer::HorizontalLine { y, .. } => seen.add(*y),
            Layer::VerticalLine { .. }
            | Layer::Labels { .. }
            | Layer::Bars { .. }
            | Layer::Text { .. }
            | Layer::Note { .. } => {}
        }
    }
    seen.range().map_or([0.0, 1.0], |seen| rounded_out(seen, &panel.y))
}

/// A stated range, if it is one.
fn usable(range: Option<[f64; 2]>) -> Option<[f64; 2]> {
    let [a, b] = range?;
    (a.is_finite() && b.is_finite() && a != b).then(|| open([a.min(b), a.max(b)]))
}

/// What was seen, with zero and the margin as the axis wants them, never empty.
fn rounded_out(seen: [f64; 2], axis: &Axis) -> [f64; 2] {
    let [mut low, mut high] = seen;
    if axis.include_zero {
        (low, high) = (low.min(0.0), high.max(0.0));
    }
    let [low, high] = open([low, high]);
    let margin = if axis.margin.is_finite() { axis.margin.clamp(0.0, 10.0) } else { 0.04 };
    // A tight axis around a constant still needs room; `open` has seen to that.
    [(low - margin * (high - low)).max(-FARTHEST), (high + margin * (high - low)).min(FARTHEST)]
}

/// A range wide enough for numbers along it: at least 10⁻⁹ of its largest value, and something around a constant.
fn open([low, high]: [f64; 2]) -> [f64; 2] {
    let (low, high) = (low.clamp(-FARTHEST, FARTHEST), high.clamp(-FARTHEST, FARTHEST));
    let largest = low.abs().max(high.abs());
    if high - low > largest * 1e-9 && high - low > f64::MIN_POSITIVE * 1e6 {
        return [low, high];
    }
    let half = if largest > 1e-290 { largest * 0.1 } else { 0.5 };
    [(low - half).max(-FARTHEST), (high + half).min(FARTHEST)]
}

fn with_errors(seen: &mut Seen, values: &[f64], errors: Option<&[f64]>, wanted: impl Fn(usize) -> bool) {
    for (i, &v) in values.iter().enumerate().filter(|(i, _)| wanted(*i)) {
        let half = errors.and_then(|e| e.get(i)).copied().filter(|e| e.is_finite()).unwrap_or(0.0).abs();
        seen.add(v - half);
        seen.add(v + half);
    }
}

#[derive(Default)]
struct Seen(Option<[f64; 2]>);

impl Seen {
    fn add(&mut self, value: f64) {
        if value.is_finite() {
            let [low, high] = self.0.unwrap_or([value, value]);
            self.0 = Some([low.min(value), high.max(value)]);
        }
    }

    fn all(&mut self, values: impl Iterator<Item = f64>) {
        values.for_each(|v| self.add(v));
    }

    fn range(&self) -> Option<[f64; 2]> {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn y_of(values: &[f64]) -> [f64; 2] {
        let x: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let panel = Panel::new(Axis::new("x", ""), Axis::new("y", "").tight()).layer(Layer::line(x, values));
        y_range(&panel, [-1e9, 1e9])
    }

    #[test]
    fn ranges_are_never_empty() {
        assert_eq!(y_of(&[]), [0.0, 1.0]);
        assert_eq!(y_of(&[f64::NAN, f64::INFINITY]), [0.0, 1.0]);
        assert_eq!(y_of(&[0.0, 0.0]), [-0.5, 0.5]);
        assert_eq!(y_of(&[5.0]), [4.5, 5.5]);
        assert_eq!(y_of(&[-3.0, -1.0]), [-3.0, -1.0]);
        let [low, high] = y_of(&[f64::MIN, f64::MAX]);
        assert!((high - low).is_finite() && high > low);
        let [low, high] = y_of(&[1e6, 1e6 + 1e-6]);
        assert!(high - low > 1.0, "steps that no number could show");
    }

    #[test]
    fn margin_zero_and_stated_range() {
        let line = Layer::line(vec![0.0, 1.0], vec![2.0, 4.0]);
        let panel = Panel::new(Axis::new("x", ""), Axis::new("y", "").with_zero()).layer(line);
        let [low, high] = y_range(&panel, [0.0, 1.0]);
        assert!((low + 0.16).abs() < 1e-12 && (high - 4.16).abs() < 1e-12);
        let stated = Panel { y: Axis::new("y", "").range(9.0, 1.0), ..panel.clone() };
        assert_eq!(y_range(&stated, [0.0, 1.0]), [1.0, 9.0]);
        let bars = Panel::new(Axis::new("share", "%"), Axis::new("", ""))
            .layer(Layer::bars(vec![super::super::layers::Bar::new("a", 3.0)]));
        assert_eq!(x_range(&bars, None).map(|r| r[0]), Some(0.0));
    }
}
