//! Numbers, words and labels along the axes.

use super::geometry::{Rect, Scale};
use super::layers::Bar;
use super::layout::{PITCH, Sizes};
use super::model::Panel;
use super::text::{clean, fit, width, wrap};
use super::ticks::Ticks;

/// Numbers along one axis, on paper.
#[derive(Clone, Debug, Default)]
pub(super) struct AxisMarks {
    pub(super) major: Vec<(f64, String)>,
    pub(super) minor: Vec<f64>,
    pub(super) label: Vec<String>,
    pub(super) label_size: f64,
    /// Power of ten by which the numbers are divided.
    pub(super) power: i32,
    /// Words that read upwards below the axis, because they are too long side by side.
    pub(super) upright: bool,
    /// False for words and for axes without numbers.
    pub(super) ticks: bool,
    /// False where the axis is shared and another panel bears numbers and label.
    pub(super) words: bool,
}

/// What lies below an axis box.
#[derive(Clone, Copy, Debug)]
pub(super) struct Below {
    /// False where another panel bears numbers and label.
    pub(super) shown: bool,
    pub(super) height: f64,
    upright: bool,
    /// Room for upright words.
    room: f64,
}

/// Height of numbers and label below the axis box.
pub(super) fn below(panel: &Panel, shown: bool, page: &Rect, sizes: Sizes) -> Below {
    let words = &panel.x.categories;
    let widest = words.iter().map(|c| width(&clean(c, false), sizes.tick)).fold(0.0, f64::max);
    // The axis box will be about 0.8 of the page wide.
    let upright = (widest + 5.0) * words.len() as f64 > page.width() * 0.8;
    let room = widest.min(page.height() * 0.3);
    if !shown {
        return Below { shown, height: 0.0, upright, room };
    }
    let label = if panel.x.label(0).is_empty() { 0.0 } else { sizes.label * PITCH + 2.5 };
    let numbers = match (panel.x.numbers, upright) {
        (false, _) => 2.0,
        (true, true) => room + 2.0 + sizes.tick_length,
        (true, false) => sizes.tick * PITCH + sizes.tick_length,
    };
    Below { shown, height: label + numbers, upright, room }
}

/// Numbers or words along x, as many as stand side by side.
pub(super) fn x_marks(panel: &Panel, below: Below, scale: &Scale, sizes: Sizes) -> AxisMarks {
    let axis = &panel.x;
    let wide = scale.end - scale.start;
    let mut marks =
        AxisMarks { ticks: axis.numbers, words: below.shown, label_size: sizes.label, ..AxisMarks::default() };
    let mut power = 0;
    if !axis.categories.is_empty() {
        marks.upright = below.upright;
        let widest = axis.categories.iter().map(|c| width(&clean(c, false), sizes.tick)).fold(0.0, f64::max);
        let needed = if below.upright { sizes.tick * 1.05 } else { widest + 5.0 };
        let step = (needed * (scale.high - scale.low) / wide).ceil().max(1.0) as usize;
        let most = if below.upright { below.room + 0.01 } else { f64::INFINITY };
        marks.major = (1..=axis.categories.len())
            .step_by(step)
            .filter(|&i| scale.holds(i as f64))
            .map(|i| (scale.at(i as f64), fit(&clean(&axis.categories[i - 1], false), sizes.tick, most)))
            .collect();
    } else if axis.numbers {
        let make = if axis.whole_numbers { Ticks::whole } else { Ticks::new };
        let mut most = (wide / (sizes.tick * 4.5)).clamp(2.0, 12.0) as usize;
        let ticks = loop {
            let ticks = make(scale.low, scale.high, most);
            let at: Vec<f64> = ticks.major.iter().map(|&v| scale.at(v)).collect();
            let wide: Vec<f64> = ticks.labels.iter().map(|l| width(l, sizes.tick)).collect();
            let apart = (1..at.len()).all(|i| at[i] - at[i - 1] > (wide[i] + wide[i - 1]) / 2.0 + sizes.tick * 0.8);
            if apart || most <= 2 {
                break ticks;
            }
            most -= 1;
        };
        power = ticks.power;
        marks.minor = ticks.minor.iter().map(|&v| scale.at(v)).collect();
        marks.major = ticks.major.iter().map(|&v| scale.at(v)).zip(ticks.labels).collect();
    }
    marks.power = power;
    let label = clean(&axis.label(power), false);
    marks.label = if label.is_empty() { Vec::new() } else { vec![fit(&label, sizes.label, wide)] };
    marks
}

/// Numbers along y for an axis box of this height; none beside bars.
pub(super) fn y_ticks(panel: &Panel, bars: bool, [low, high]: [f64; 2], height: f64, sizes: Sizes) -> Ticks {
    let most = (height * 0.85 / (sizes.tick * 3.0)).max(2.0) as usize;
    match (bars, panel.y.whole_numbers) {
        (true, _) => Ticks::new(0.0, 0.0, 2),
        (_, true) => Ticks::whole(low, high, most),
        _ => Ticks::new(low, high, most),
    }
}

/// The label beside an axis box of this height, in up to a few lines, smaller where it is too long; and its size.
pub(super) fn y_label(panel: &Panel, power: i32, height: f64, sizes: Sizes) -> (Vec<String>, f64) {
    let label = clean(&panel.y.label(power), false);
    if label.is_empty() {
        return (Vec::new(), sizes.label);
    }
    let most = height + sizes.tick * 0.6; // it may reach into half the gap between panels
    let lines = wrap(&label, sizes.label, most);
    let longest = lines.iter().map(|l| width(l, sizes.label)).fold(0.0, f64::max);
    let size = sizes.label * (most / longest).clamp(0.7, 1.0);
    (lines.iter().map(|l| fit(l, size, most.max(20.0))).collect(), size)
}

/// Numbers along y, or the words of bars.
pub(super) fn y_marks(
    panel: &Panel,
    bars: Option<&[Bar]>,
    ticks: &Ticks,
    words: f64,
    scale: &Scale,
    sizes: Sizes,
) -> AxisMarks {
    let mut marks = AxisMarks { words: true, power: ticks.power, ..AxisMarks::default() };
    if let Some(bars) = bars {
        let label = |b: &Bar| fit(&clean(&b.label, false), sizes.name, words + 0.01);
        marks.major = bars.iter().enumerate().map(|(i, b)| (scale.at(i as f64), label(b))).collect();
    } else if panel.y.numbers {
        marks.ticks = true;
        marks.minor = ticks.minor.iter().map(|&v| scale.at(v)).collect();
        marks.major = ticks.major.iter().map(|&v| scale.at(v)).zip(ticks.labels.clone()).collect();
        // A very low panel: numbers that would overlap are left out, their ticks stay.
        if let [a, b, ..] = &marks.major[..] {
            let step = (sizes.tick * 1.1 / (a.0 - b.0).abs()).ceil().max(1.0) as usize;
            marks.major.iter_mut().enumerate().filter(|(i, _)| i % step != 0).for_each(|(_, m)| m.1.clear());
        }
    }
    marks
}
