//! What a setting does, worked out beforehand at several steps: smoothing, detection threshold, baseline stiffness.

use super::super::{Axis, Color, Dash, Figure, Layer, Panel, Place, Step, Steps, Style};
use super::run::{FEW, HALF, extremes, marks, peak_layers, top, y_range};
use crate::error::Result;
use crate::estimate::{significant, typographic};
use crate::peaks::{Detect, Peak, PeakList};
use crate::signal::{BaselineMethod, SavitzkyGolay};
use crate::trace::Trace;

/// Windows of the smoothing slider, in points.
const WINDOWS: [usize; 8] = [5, 9, 15, 25, 41, 65, 101, 161];
/// Thresholds of the detection slider, in standard deviations of the noise.
const THRESHOLDS: [f64; 8] = [3.0, 4.0, 5.2, 7.0, 10.0, 20.0, 50.0, 200.0];
/// Half widths of the baseline slider, as shares of the run.
const STIFFNESS: [f64; 7] = [0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4];

/// What smoothing does: the whole run above, below it the narrowest peak of good height, close up. At each window the
/// figure tells what is left of the noise and of the peak's height.
///
/// # Errors
/// As [`Trace::smooth`] and [`Trace::find_peaks`].
pub fn smoothing(trace: &Trace, name: &str) -> Result<Figure> {
    let list = trace.find_peaks(&Detect::default())?;
    let (low, high) = y_range(trace, list.peaks.iter(), FEW);
    let close = narrowest(&list, high);
    let time = trace.time_min();
    let raw =
        || Layer::line(time, trace.signal()).styled(Style { width_pt: 0.5, ..Style::thin() }).named("as recorded");
    let whole = Panel::new(
        Axis::new("time", "min").range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(low, high),
    )
    .layer(raw());
    let mut figure = Figure::new(String::new()).panel(whole);
    let window = close.map(|p| {
        let wide = p.width_half_min.unwrap_or((p.end_min - p.start_min) / 4.0);
        [p.retention_time_min - 4.0 * wide, p.retention_time_min + 5.0 * wide]
    });
    let part = |t: &Trace| window.and_then(|[a, b]| t.slice(a, b).ok());
    if let (Some([a, b]), Some(part)) = (window, part(trace)) {
        let (low, high) = extremes(part.signal());
        figure.panels[0].letter = Some("a".to_owned());
        figure = figure.panel(
            Panel::new(
                Axis::new("time", "min").range(a, b),
                Axis::new("signal", trace.signal_unit()).range(low - 0.05 * (high - low), high + 0.2 * (high - low)),
            )
            .letter("b")
            .legend(super::super::Legend::None)
            .layer(Layer::line(part.time_min(), part.signal()).styled(Style { width_pt: 0.5, ..Style::thin() })),
        );
    }
    let mut steps = Steps::new("window", "points");
    let line = |t: &Trace| {
        Layer::line(t.time_min(), t.signal()).styled(Style::new(Color::Blue).width(0.8)).named("smoothed, degree 2")
    };
    for points in WINDOWS.into_iter().filter(|w| *w < trace.len() / 4) {
        let smooth = trace.smooth(SavitzkyGolay::new(points, 2))?;
        let mut said = vec![format!("window {}", span(points, trace))];
        // White noise through weights w is left with √(Σ w²) of itself; here what the trace's own noise keeps.
        let kept = kept_noise(trace, points)?;
        said.push(format!("noise: {} %", significant(100.0 * kept, 2)));
        let mut step = Step::new(points.to_string()).layer(line(&smooth));
        if let (Some(p), Some(part)) = (close, part(&smooth)) {
            let level = top(p) - p.height;
            let left = (extremes(part.signal()).1 - level) / p.height;
            said.push(format!("peak height: {} %", significant(100.0 * left, 3)));
            step = step.layers_in(1, [line(&part), note(said)]);
        } else {
            step = step.layers_in(0, [note(said)]);
        }
        steps = steps.step(step);
    }
    let chosen = steps.steps.len().saturating_sub(1).min(2);
    figure.alt = format!(
        "Trace{} as recorded and smoothed by polynomials of degree 2 over windows of {} to {} points.{}",
        of(name),
        WINDOWS[0],
        steps.steps.last().map_or("5", |s| s.label.as_str()),
        close.map_or(String::new(), |p| format!(
            " Below, close up, the peak at {} min: the wider the window, the less noise and the lower the peak.",
            significant(p.retention_time_min, 4)
        ))
    );
    Ok(figure.size_mm(165.0, 130.0).stepping(steps.chosen(chosen)))
}

/// What the detection threshold does: which peaks are found, and between which bounds they are integrated.
///
/// # Errors
/// As [`Trace::find_peaks`].
pub fn detection(trace: &Trace, name: &str) -> Result<Figure> {
    let usual = trace.find_peaks(&Detect::default())?;
    let (low, high) = y_range(trace, usual.peaks.iter(), HALF);
    let time = trace.time_min();
    let panel = Panel::new(
        Axis::new("time", "min").range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(low, high),
    )
    .layer(Layer::line(time, trace.signal()).styled(Style::default().width(0.6)));
    let mut steps = Steps::new("threshold", "standard deviations of the noise").chosen(2);
    let mut counts = Vec::new();
    for threshold_z in THRESHOLDS {
        let list = trace.find_peaks(&Detect { threshold_z, ..Detect::default() })?;
        let shown: Vec<(&Peak, Option<&str>)> = list.peaks.iter().map(|p| (p, None)).collect();
        let count = match list.len() {
            1 => "1 peak".to_owned(),
            n => format!("{n} peaks"),
        };
        let step = Step::new(significant_short(threshold_z))
            .layers_in(0, peak_layers(trace, &list.run, &shown))
            .layer(Layer::labels(marks(&shown)))
            .layer(note(vec![format!("threshold {}: {count}", significant_short(threshold_z))]));
        counts.push(format!("{} at {}", list.len(), significant_short(threshold_z)));
        steps = steps.step(step);
    }
    let alt = format!("Peaks found{} at several thresholds: {}.", of(name), counts.join(", "));
    Ok(Figure::new(alt).size_mm(165.0, 95.0).panel(panel).stepping(steps))
}

/// What the stiffness of a whole run's baseline does: too soft, and it climbs into the peaks; too stiff, and it
/// leaves the drift.
///
/// # Errors
/// As [`Trace::baseline`].
pub fn baseline(trace: &Trace, name: &str) -> Result<Figure> {
    let lines = baselines(trace)?;
    let time = trace.time_min();
    let (lowest, highest) = extremes(trace.signal());
    // The scale is the baseline's: what it does to small things is what counts.
    let reach = lines.lines.iter().map(|(_, t)| t.signal()[t.len() / 2..].iter().copied().fold(lowest, f64::max));
    let reach = reach.fold(lowest, f64::max);
    let tops = trace.find_peaks(&Detect::default())?;
    let ceiling = y_range(trace, tops.peaks.iter(), HALF).1.min(highest);
    let ceiling = (lowest + 3.0 * (reach - lowest)).clamp(lowest + 0.05 * (ceiling - lowest), ceiling);
    let span = if ceiling > lowest { ceiling - lowest } else { 1.0 };
    let panel = Panel::new(
        Axis::new("time", "min").range(time[0], time[time.len() - 1]),
        Axis::new("signal", trace.signal_unit()).range(lowest - 0.05 * span, ceiling + 0.1 * span),
    )
    .layer(Layer::line(time, trace.signal()).styled(Style::default().width(0.6)).named("signal"));
    let mut steps = Steps::new(lines.quantity, lines.unit).chosen(lines.usual);
    for (label, line) in &lines.lines {
        let style = Style::new(Color::Vermillion).dashed(Dash::Dashed).width(1.0);
        steps = steps.step(
            Step::new(label.clone()).layer(Layer::line(line.time_min(), line.signal()).styled(style).named("baseline")),
        );
    }
    let alt = format!(
        "Trace{} with its baseline at several stiffnesses, {} from {} to {} {}.",
        of(name),
        lines.quantity,
        lines.lines.first().map_or("", |l| l.0.as_str()),
        lines.lines.last().map_or("", |l| l.0.as_str()),
        lines.unit
    );
    Ok(Figure::new(alt).size_mm(165.0, 95.0).panel(panel).stepping(steps))
}

/// Baselines of one trace, from soft to stiff.
struct Baselines {
    /// What is set.
    quantity: &'static str,
    unit: &'static str,
    /// The setting in words, and the baseline it gives.
    lines: Vec<(String, Trace)>,
    /// Which of them is the usual one.
    usual: usize,
}

/// The one place that knows which baseline the slider shows.
fn baselines(trace: &Trace) -> Result<Baselines> {
    let time = trace.time_min();
    let length = time[time.len() - 1] - time[0];
    let lines = STIFFNESS
        .iter()
        .map(|share| {
            let half = share * length;
            let line = trace.baseline(&BaselineMethod::Clipping { half_width_min: Some(half) })?;
            Ok((significant(half, 2), line.line))
        })
        .collect::<Result<Vec<_>>>()?;
    Ok(Baselines { quantity: "half width of what is cut off", unit: "min", lines, usual: 3 })
}

/// The narrowest peak that stands well out of the noise, lies wholly in the figure and has no doubt about its height.
fn narrowest(list: &PeakList, highest: f64) -> Option<&Peak> {
    let good = |p: &&Peak| p.height_over_sd > 60.0 && top(p) < highest && !p.notes.iter().any(|n| n.is_cut_off());
    let width = |p: &Peak| p.width_half_min.unwrap_or(f64::INFINITY);
    let any = list.peaks.iter().filter(|p| p.width_half_min.is_some());
    any.clone()
        .filter(good)
        .min_by(|a, b| width(a).total_cmp(&width(b)))
        .or_else(|| any.max_by(|a, b| a.height_over_sd.total_cmp(&b.height_over_sd)))
}

/// How much of the noise's standard deviation a window leaves, its correlation included.
fn kept_noise(trace: &Trace, points: usize) -> Result<f64> {
    let weights = crate::signal::savitzky_golay_weights(SavitzkyGolay::new(points, 2), 0)?;
    let noise = trace.noise();
    Ok(noise.of_sum(&weights) / noise.sd)
}

fn span(points: usize, trace: &Trace) -> String {
    let minutes = (points - 1) as f64 * trace.interval_min();
    format!("{points} points, {} min", significant(minutes, 2))
}

fn note(lines: Vec<String>) -> Layer {
    Layer::Note { lines: lines.iter().map(|l| typographic(l)).collect(), place: Place::TopRight }
}

fn of(name: &str) -> String {
    if name.is_empty() { String::new() } else { format!(" of {name}") }
}

/// A threshold as it is written: 5.2, 20.
fn significant_short(value: f64) -> String {
    value.to_string()
}
