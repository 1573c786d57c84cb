//! The figures of a study: chromatogram, overlay, replicates, calibration with residuals, uncertainty budget; and what
//! a setting does, step by step.
//!
//! Each takes results and gives a [`Figure`] whose alternative text says what it shows.

mod explore;
mod fit;
mod overlay;
mod replicates;
mod run;
mod shifts;

pub use explore::{baseline, detection, smoothing};
pub use fit::{fit, fits};
pub use overlay::{OverlaidRun, Overlay, overlay};
pub use replicates::{ReplicateShot, replicates};
pub use run::{named_peaks, peaks, trace};
pub use shifts::shifts;

use super::merits;
use super::{Axis, Bar, Color, Dash, Figure, Layer, Mark, Panel, Style};
use crate::estimate::{percent, significant};
use crate::results::{AmountResult, CalibrationResult, PeakResult};
use crate::signal::Baseline;
use crate::trace::Trace;

/// A run with baselines, shaded areas and names. The scale is that of the tallest peak of `compounds`: a solvent
/// peak is cut off at the top. Peaks below a twentieth of that height get an inset.
pub fn chromatogram(trace: &Trace, peaks: &[&PeakResult], compounds: &[String]) -> Figure {
    let shown: Vec<&&PeakResult> = peaks
        .iter()
        .filter(|p| p.compound.as_ref().is_some_and(|c| compounds.contains(c)) && p.height.is_some())
        .collect();
    let top = |p: &PeakResult| p.height.unwrap_or(0.0) + 0.5 * (p.baseline[0] + p.baseline[1]);
    let (time, signal) = (trace.time_min(), trace.signal());
    let lowest = signal.iter().copied().fold(f64::INFINITY, f64::min);
    let tallest = shown.iter().map(|p| top(p)).fold(f64::NEG_INFINITY, f64::max);
    let highest = signal.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let ceiling = if tallest.is_finite() { tallest } else { highest };
    let range = (lowest - 0.03 * (ceiling - lowest), lowest + 1.25 * (ceiling - lowest));

    let layers = chromatogram_layers(trace, peaks);
    let named: Vec<Mark> =
        peaks.iter().filter_map(|p| Some(Mark::new(p.retention_time_min?, top(p), p.compound.clone()?))).collect();
    let time_axis = || Axis::new("time", "min").tight();
    let mut panel = Panel::new(
        time_axis().range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(range.0, range.1),
    )
    .layers(layers.clone())
    .layer(Layer::labels(named));
    if let Some(inset) = small_peaks(trace, &shown, ceiling - lowest, &layers) {
        panel = panel.inset(inset);
        if let Some(inset) = &mut panel.inset {
            // Small enough to find room between peaks.
            (inset.width_share, inset.height_share) = (0.27, 0.45);
        }
    }
    let cut = peaks.iter().find(|p| top(p) > range.1).and_then(|p| p.compound.as_deref());
    let list: Vec<String> = peaks
        .iter()
        .filter_map(|p| Some(format!("{} at {} min", p.compound.as_deref()?, significant(p.retention_time_min?, 4))))
        .collect();
    let mut alt = format!(
        "Chromatogram from {} to {} min. Named peaks: {}.",
        significant(time[0], 3),
        significant(time[time.len() - 1], 3),
        if list.is_empty() { "none".to_owned() } else { list.join(", ") }
    );
    if let Some(cut) = cut {
        alt.push_str(&format!(" The peak of {cut} is cut off at the top of the figure."));
    }
    Figure::new(alt).size_mm(165.0, 85.0).panel(panel)
}

/// A run with a line below it, its lower part: up to twice the line's own rise above the line's highest point.
pub fn baseline_below(trace: &Trace, baseline: &Baseline) -> Figure {
    let (time, line) = (trace.time_min(), baseline.line.signal());
    let fold = |y: &[f64]| y.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)));
    let ((low, high), (bottom, top)) = (fold(line), fold(trace.signal()));
    let ceiling = (high + 2.0 * (high - low).max(0.02 * (top - bottom))).min(top);
    let floor = low.min(bottom) - 0.03 * (ceiling - low);
    let panel = Panel::new(
        Axis::new("time", "min").tight().range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(floor, ceiling + 0.03 * (ceiling - floor)),
    )
    .layer(Layer::line(time, trace.signal()).styled(Style::default().width(0.5)).named("run"))
    .layer(Layer::line(time, line).styled(Style::new(Color::Vermillion).width(1.1)).named(baseline.origin.to_string()));
    let alt = format!(
        "A run from {} to {} min with the baseline below its peaks, drawn by {}, which rises from {} to {} {}. Peaks are cut off at the top.",
        significant(time[0], 3),
        significant(time[time.len() - 1], 3),
        baseline.origin,
        significant(low, 3),
        significant(high, 3),
        trace.signal_unit()
    );
    Figure::new(alt).size_mm(120.0, 55.0).panel(panel)
}

/// The trace with every peak's area and baseline.
fn chromatogram_layers(trace: &Trace, peaks: &[&PeakResult]) -> Vec<Layer> {
    let mut layers = Vec::with_capacity(2 * peaks.len() + 1);
    let drawn = peaks.iter().filter(|p| p.compound.is_some());
    for (n, p) in drawn.enumerate() {
        let words = merits::peak(p, None, trace.signal_unit());
        layers.extend(area_layers(trace, p, [Color::Blue, Color::Orange][n % 2], words));
    }
    layers.push(Layer::line(trace.time_min(), trace.signal()).styled(Style::default().width(0.6)));
    layers
}

/// A peak's area and baseline; nothing where it has no two points.
fn area_layers(trace: &Trace, p: &PeakResult, color: Color, words: String) -> Vec<Layer> {
    let (time, signal) = (trace.time_min(), trace.signal());
    let (a, b) = (trace.index_at(p.start_min), trace.index_at(p.end_min).min(time.len() - 1));
    if b <= a {
        return Vec::new();
    }
    let span = p.end_min - p.start_min;
    let level = |t: f64| p.baseline[0] + (p.baseline[1] - p.baseline[0]) * (t - p.start_min) / span;
    let base: Vec<f64> = time[a..=b].iter().map(|&t| level(t)).collect();
    vec![
        Layer::area(&time[a..=b], &signal[a..=b], base).colored(color).telling(words),
        Layer::segment(
            [p.start_min, p.baseline[0]],
            [p.end_min, p.baseline[1]],
            Style::new(Color::Vermillion).width(0.5),
        ),
    ]
}

/// An inset over the peaks that are too small to see at full scale.
fn small_peaks(trace: &Trace, shown: &[&&PeakResult], full: f64, layers: &[Layer]) -> Option<Panel> {
    let small: Vec<&&&PeakResult> =
        shown.iter().filter(|p| p.height.is_some_and(|h| h > 0.0 && h < full / 20.0)).collect();
    // One window must hold them: take those around the smallest.
    let smallest = small.iter().min_by(|a, b| a.height.unwrap_or(0.0).total_cmp(&b.height.unwrap_or(0.0)))?;
    let width = smallest.end_min - smallest.start_min;
    let (from, to) = (smallest.start_min - 0.6 * width, smallest.end_min + 0.6 * width);
    let (a, b) = (trace.index_at(from), trace.index_at(to));
    let height = smallest.height?;
    let level = 0.5 * (smallest.baseline[0] + smallest.baseline[1]);
    if b < a + 3 {
        return None;
    }
    let low = trace.signal()[a..b].iter().copied().fold(f64::INFINITY, f64::min).max(level - 0.5 * height);
    Some(
        Panel::new(
            Axis::new("", "").range(from, to),
            Axis::new("", "").range(low - 0.1 * height, level + 1.3 * height),
        )
        .layers(layers.to_vec())
        .layer(Layer::labels(vec![])),
    )
}

/// A calibration: flask means, curve with its confidence band, residuals below. Flasks left out are hollow.
pub fn calibration(c: &CalibrationResult) -> Figure {
    let used = c.points.iter().filter(|p| p.excluded.is_none());
    let left_out: Vec<_> = c.points.iter().filter(|p| p.excluded.is_some()).collect();
    let (x, y): (Vec<f64>, Vec<f64>) = used.clone().map(|p| (p.x, p.y)).unzip();
    let (rx, ry): (Vec<f64>, Vec<f64>) = used.clone().filter_map(|p| Some((p.x, p.residual?))).unzip();
    let told: Vec<String> = used.clone().map(|p| merits::flask(p, c)).collect();
    let told_below: Vec<String> = used.clone().filter(|p| p.residual.is_some()).map(|p| merits::flask(p, c)).collect();
    let grid: Vec<f64> = c.curve.iter().map(|p| p.x).collect();
    let fit: Vec<f64> = c.curve.iter().map(|p| p.y).collect();
    let banded: Vec<_> = c.curve.iter().filter_map(|p| Some((p.x, p.y, p.half_width?))).collect();

    let x_axis = || Axis::new(c.x_label.clone(), c.x_unit.clone()).with_zero();
    let mut upper = Panel::new(x_axis(), Axis::new(c.y_label.clone(), c.y_unit.clone()).with_zero()).letter("a");
    if !banded.is_empty() {
        upper = upper.layer(
            Layer::band(
                banded.iter().map(|b| b.0).collect::<Vec<_>>(),
                banded.iter().map(|b| b.1 - b.2).collect::<Vec<_>>(),
                banded.iter().map(|b| b.1 + b.2).collect::<Vec<_>>(),
            )
            .named(format!("{} confidence band", percent(c.coverage_probability))),
        );
    }
    upper = upper
        .layer(Layer::line(grid, fit).colored(Color::Blue).named(c.model.clone()))
        .layer(Layer::markers(x, y).with_hover(told).named("standard flasks"));
    let mut lower = Panel::new(x_axis(), Axis::new("residual", c.y_unit.clone()))
        .letter("b")
        .height_share(0.45)
        .layer(Layer::horizontal(0.0).styled(Style::new(Color::Grey).dashed(Dash::Dashed)))
        .layer(Layer::markers(rx, ry).with_hover(told_below));
    if !left_out.is_empty() {
        let points = |f: fn(&crate::results::CalibrationPoint) -> Option<f64>| {
            left_out.iter().filter_map(|p| Some((p.x, f(p)?))).unzip::<f64, f64, Vec<_>, Vec<_>>()
        };
        let told = |some: fn(&crate::results::CalibrationPoint) -> bool| -> Vec<String> {
            left_out.iter().filter(|p| some(p)).map(|p| merits::flask(p, c)).collect()
        };
        let (x, y) = points(|p| Some(p.y));
        upper = upper.layer(Layer::markers(x, y).hollow().with_hover(told(|_| true)).named("left out, with reason"));
        let (x, y) = points(|p| p.residual);
        lower = lower.layer(Layer::markers(x, y).hollow().with_hover(told(|p| p.residual.is_some())));
    }
    let worst = used.filter_map(|p| p.deviation_percent).map(f64::abs).fold(0.0, f64::max);
    Figure::new(format!(
        "Calibration of {}: {} flasks between {} and {}; calculated back, the worst deviates by {} %. {} left out.",
        c.compound,
        c.points.len() - left_out.len(),
        significant(c.range[0], 3),
        significant(c.range[1], 3),
        significant(worst, 2),
        if left_out.is_empty() { "None was".to_owned() } else { format!("{} were", left_out.len()) }
    ))
    .size_mm(120.0, 105.0)
    .sharing_x()
    .panel(upper)
    .panel(lower)
}

/// Where an amount's uncertainty comes from: shares of the variance as bars, largest first.
pub fn budget(a: &AmountResult) -> Figure {
    let mut lines: Vec<_> = a.budget.iter().filter(|b| b.share > 0.0).collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    let bars: Vec<Bar> = lines
        .iter()
        .map(|b| Bar::new(b.source.clone(), 100.0 * b.share).noted(format!("{} %", significant(100.0 * b.share, 2))))
        .collect();
    let alt = match lines.first() {
        Some(first) => format!(
            "Uncertainty budget of {} in {}: the largest share, {} % of the variance, comes from {}.",
            a.compound,
            a.sample,
            significant(100.0 * first.share, 2),
            first.source
        ),
        None => format!("No uncertainty budget for {} in {}.", a.compound, a.sample),
    };
    Figure::new(alt).size_mm(150.0, 18.0 + 7.0 * bars.len() as f64).panel(
        Panel::new(Axis::new("share of the variance", "%").with_zero(), Axis::new("", "")).layer(Layer::bars(bars)),
    )
}
