//! One run: its trace, and the peaks found in it.

use super::super::merits;
use super::super::{Axis, Color, Figure, Layer, Mark, Panel, Style};
use super::area_layers;
use crate::estimate::{significant, typographic};
use crate::identify::NamedPeaks;
use crate::peaks::{Peak, PeakList};
use crate::trace::Trace;

/// Peaks named in a figure, the highest first; more would be a wall of letters.
const MOST_NAMES: usize = 40;

/// A trace alone, as recorded.
pub fn trace(trace: &Trace, name: &str) -> Figure {
    let (time, signal) = (trace.time_min(), trace.signal());
    let (low, high) = extremes(signal);
    let of = if name.is_empty() { String::new() } else { format!(" of {name}") };
    let alt = format!(
        "Trace{of} from {} to {} min: {} points, {} to {} {}.",
        significant(time[0], 3),
        significant(time[time.len() - 1], 3),
        trace.len(),
        significant(low, 3),
        significant(high, 3),
        trace.signal_unit()
    );
    let panel = Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", trace.signal_unit()));
    Figure::new(typographic(alt.replace(" .", ".").as_str()))
        .size_mm(165.0, 85.0)
        .panel(panel.layer(Layer::line(time, signal).styled(Style::default().width(0.6))))
}

/// The peaks of a run with baselines, shaded areas and retention times; a peak that towers over all others is cut
/// off at the top.
pub fn peaks(trace: &Trace, list: &PeakList) -> Figure {
    let shown: Vec<(&Peak, Option<&str>)> = list.peaks.iter().map(|p| (p, None)).collect();
    peak_figure(trace, &list.run, &shown)
}

/// The peaks of a run with baselines, shaded areas and names; those without a name bear their retention time.
pub fn named_peaks(trace: &Trace, named: &NamedPeaks) -> Figure {
    let shown: Vec<(&Peak, Option<&str>)> = named.peaks.iter().map(|n| (&n.peak, n.compound.as_deref())).collect();
    peak_figure(trace, &named.run, &shown)
}

fn peak_figure(trace: &Trace, run: &str, peaks: &[(&Peak, Option<&str>)]) -> Figure {
    let time = trace.time_min();
    let (low, high) = y_range(trace, peaks.iter().map(|(p, _)| *p), FEW);
    let panel = Panel::new(
        Axis::new("time", "min").range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(low, high),
    )
    .layers(peak_layers(trace, run, peaks))
    .layer(Layer::line(time, trace.signal()).styled(Style::default().width(0.6)))
    .layer(Layer::labels(marks(peaks)));
    let cut: Vec<String> =
        peaks.iter().filter(|(p, _)| top(p) > high).map(|(p, _)| significant(p.retention_time_min, 4)).collect();
    let of = if run.is_empty() { String::new() } else { format!(" of {run}") };
    let mut alt = format!(
        "Chromatogram{of} from {} to {} min with {} peaks.",
        significant(time[0], 3),
        significant(time[time.len() - 1], 3),
        peaks.len()
    );
    if !cut.is_empty() {
        alt.push_str(&format!(" Cut off at the top: the peak at {} min.", cut.join(", ")));
    }
    Figure::new(alt).size_mm(165.0, 85.0).panel(panel)
}

/// Area and baseline of each peak, with what the pointer tells.
pub(super) fn peak_layers(trace: &Trace, run: &str, peaks: &[(&Peak, Option<&str>)]) -> Vec<Layer> {
    let unit = trace.signal_unit();
    peaks
        .iter()
        .enumerate()
        .flat_map(|(n, (p, name))| {
            let result = merits::as_result(p, run, *name);
            let words = merits::peak(&result, p.retention_time_u_min, unit);
            area_layers(trace, &result, [Color::Blue, Color::Orange][n % 2], words)
        })
        .collect()
}

/// A name or a retention time at each apex.
pub(super) fn marks(peaks: &[(&Peak, Option<&str>)]) -> Vec<Mark> {
    let mut by_height: Vec<_> = peaks.iter().collect();
    by_height.sort_by(|a, b| {
        (b.1.is_some(), b.0.height).partial_cmp(&(a.1.is_some(), a.0.height)).unwrap_or(std::cmp::Ordering::Equal)
    });
    by_height
        .into_iter()
        .take(MOST_NAMES)
        .map(|(p, name)| {
            let words = name.map_or_else(|| significant(p.retention_time_min, 4), str::to_owned);
            Mark::new(p.retention_time_min, top(p), words)
        })
        .collect()
}

/// Signal at the apex.
pub(super) fn top(p: &Peak) -> f64 {
    let share = (p.retention_time_min - p.start_min) / (p.end_min - p.start_min);
    p.height + p.baseline[0] + share.clamp(0.0, 1.0) * (p.baseline[1] - p.baseline[0])
}

/// Share of the peaks that may be cut off at the top, where all are of interest.
pub(super) const FEW: f64 = 0.25;
/// The same where the small ones are.
pub(super) const HALF: f64 = 0.5;

/// The range of the signal axis. Peaks that tower five times over the next lower one are cut off, as long as they are
/// no more than this share of all.
pub(super) fn y_range<'a>(trace: &Trace, peaks: impl Iterator<Item = &'a Peak>, share: f64) -> (f64, f64) {
    let (lowest, highest) = extremes(trace.signal());
    let mut tops: Vec<f64> = peaks.map(top).collect();
    tops.sort_by(|a, b| b.total_cmp(a));
    let mut ceiling = tops.first().copied().unwrap_or(highest).max(highest);
    for (i, pair) in tops.windows(2).enumerate().take(((tops.len() as f64 * share) as usize).max(1)) {
        if pair[0] - lowest > 5.0 * (pair[1] - lowest) {
            ceiling = tops[i + 1];
        }
    }
    let span = if ceiling > lowest { ceiling - lowest } else { 1.0 };
    (lowest - 0.03 * span, lowest + 1.15 * span)
}

/// Lowest and highest value.
pub(super) fn extremes(values: &[f64]) -> (f64, f64) {
    values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)))
}
