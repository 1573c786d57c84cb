//! Fits: the points with the sum of the profiles and each of them, and what is left over.

use super::super::{Axis, Color, Dash, Figure, Layer, Legend, Mark, Panel, Style};
use super::run::extremes;
use crate::estimate::{significant, typographic};
use crate::peaks::{GroupFit, PeakFits};
use crate::trace::Trace;

/// Up to so many points each is shown as a circle; more would hide the curves.
const CIRCLES: usize = 250;
/// Colours of the profiles, told apart by their places as well.
const COLORS: [Color; 5] = [Color::Blue, Color::Orange, Color::BluishGreen, Color::ReddishPurple, Color::SkyBlue];

/// One fit: above, the points, each profile on the fitted baseline and their sum; below, the residuals beside twice the
/// noise's standard deviation. Residuals without a pattern, one in twenty outside that band, are those of a good fit.
pub fn fit(trace: &Trace, fit: &GroupFit, name: &str) -> Figure {
    let [from, to] = fit.window_min;
    let (low, high) = within(trace, from, to);
    let rise = if high > low { high - low } else { 1.0 };
    let names = fit.peaks.iter().enumerate().map(|(k, p)| {
        let top = fit.peak_at(k, p.retention_time_min) + fit.baseline_at(p.retention_time_min);
        Mark::new(p.retention_time_min, top, significant(p.retention_time_min, 4))
    });
    let upper = Panel::new(
        Axis::new("time", "min").range(from, to),
        Axis::new("signal", trace.signal_unit()).range(low - 0.05 * rise, high + 0.2 * rise),
    )
    .letter("a")
    .layers(layers(trace, fit, true))
    .layer(Layer::labels(names.collect()));
    let areas: Vec<String> = fit
        .peaks
        .iter()
        .map(|p| format!("{} at {} min", significant(p.fit_area, 4), significant(p.retention_time_min, 4)))
        .collect();
    let goodness = format!("χ² {} for {} degrees of freedom", significant(fit.chi_squared, 3), significant(fit.dof, 4));
    let alt = format!(
        "Fit{} from {} to {} min with {} of shape {}: areas {} {}; {goodness}. Below, the residuals.",
        of(name),
        significant(from, 4),
        significant(to, 4),
        if fit.peaks.len() == 1 { "one profile".to_owned() } else { format!("{} profiles", fit.peaks.len()) },
        fit.shape.words(),
        areas.join(", "),
        trace.area_unit(),
    );
    Figure::new(typographic(&alt)).size_mm(140.0, 105.0).sharing_x().panel(upper).panel(residuals(
        trace,
        &[fit],
        [from, to],
    ))
}

/// All fits of a run over its trace, the residuals of the fitted stretches below.
pub fn fits(trace: &Trace, fits: &PeakFits) -> Figure {
    let time = trace.time_min();
    let ends = [time[0], time[time.len() - 1]];
    let all: Vec<&GroupFit> = fits.groups.iter().collect();
    // The scale of the fitted peaks: a solvent that was left out is cut off at the top.
    let fitted = all.iter().map(|g| within(trace, g.window_min[0], g.window_min[1]));
    let (low, high) = fitted.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (c, d)| (a.min(c), b.max(d)));
    let (low, high) = if low < high { (low, high) } else { extremes(trace.signal()) };
    let rise = if high > low { high - low } else { 1.0 };
    let mut upper = Panel::new(
        Axis::new("time", "min").range(ends[0], ends[1]),
        Axis::new("signal", trace.signal_unit()).range(low - 0.05 * rise, high + 0.1 * rise),
    )
    .letter("a")
    .legend(Legend::None)
    .layer(Layer::line(time, trace.signal()).styled(Style::default().width(0.5)));
    for g in &all {
        upper = upper.layers(layers(trace, g, false));
    }
    let peaks = fits.peaks().len();
    let alt = format!(
        "Fits{} to {peaks} {} in {} {} from {} to {} min over the trace; below, the residuals.",
        of(&fits.run),
        if peaks == 1 { "peak" } else { "peaks" },
        all.len(),
        if all.len() == 1 { "group" } else { "groups" },
        significant(ends[0], 3),
        significant(ends[1], 3)
    );
    Figure::new(typographic(&alt)).size_mm(165.0, 115.0).sharing_x().panel(upper).panel(residuals(trace, &all, ends))
}

/// Profiles, their sum, baseline; the points too where the fit is alone in its picture.
fn layers(trace: &Trace, fit: &GroupFit, alone: bool) -> Vec<Layer> {
    let (time, signal) = points(trace, fit);
    let grid = grid(fit);
    let base: Vec<f64> = grid.iter().map(|&t| fit.baseline_at(t)).collect();
    let mut all = Vec::with_capacity(fit.peaks.len() + 3);
    for (k, p) in fit.peaks.iter().enumerate() {
        let y: Vec<f64> = grid.iter().zip(&base).map(|(&t, b)| b + fit.peak_at(k, t)).collect();
        let words = told(fit, k, trace.area_unit().as_str());
        let area = Layer::area(grid.clone(), y, base.clone()).colored(COLORS[k % COLORS.len()]).telling(words);
        let name = format!("{} min", significant(p.retention_time_min, 4));
        all.push(if alone && fit.peaks.len() > 1 { area.named(name) } else { area });
    }
    let baseline =
        Layer::line(grid.clone(), base).styled(Style::new(Color::Vermillion).dashed(Dash::Dashed).width(0.6));
    let sum: Vec<f64> = grid.iter().map(|&t| fit.value(t)).collect();
    let sum = Layer::line(grid, sum).styled(Style::new(Color::Vermillion).width(if alone { 0.9 } else { 0.6 }));
    if !alone {
        all.extend([baseline, sum]);
        return all;
    }
    all.push(baseline.named("fitted baseline"));
    all.push(sum.named(if fit.peaks.len() == 1 { "fit" } else { "sum of the fit" }));
    all.push(if time.len() <= CIRCLES {
        Layer::markers(time, signal).hollow().named("points")
    } else {
        Layer::line(time, signal).styled(Style::default().width(0.5)).named("signal")
    });
    all
}

/// What the pointer tells of a profile.
fn told(fit: &GroupFit, peak: usize, area_unit: &str) -> String {
    let p = &fit.peaks[peak];
    let with_u = |value: f64, u: Option<f64>, unit: &str| match u {
        Some(u) => crate::estimate::plus_minus(value, u, unit),
        None => format!("{} {unit}", significant(value, 3)),
    };
    let mut lines = vec![
        fit.shape.words().to_owned(),
        format!("retention time: {}", with_u(p.retention_time_min, p.retention_time_u_min, "min")),
        format!("area of the profile: {}", with_u(p.fit_area, p.fit_area_u, area_unit)),
        format!("σ: {} min", significant(p.sigma_min, 3)),
    ];
    lines.extend(p.tau_min.map(|tau| format!("τ: {} min", significant(tau, 3))));
    lines.extend(p.load.map(|load| format!("load: {}", significant(load, 3))));
    lines.extend(p.drop_area.map(|a| format!("perpendicular drop: {} {area_unit}", significant(a, 4))));
    lines.extend(p.notes.iter().map(|n| format!("note: {n}")));
    typographic(&lines.join("\n"))
}

/// Signal less model, with a band of two standard deviations of the noise.
fn residuals(trace: &Trace, fits: &[&GroupFit], window: [f64; 2]) -> Panel {
    let mut panel =
        Panel::new(Axis::new("time", "min").range(window[0], window[1]), Axis::new("residual", trace.signal_unit()))
            .letter("b")
            .height_share(0.5)
            .legend(Legend::None)
            .layer(Layer::horizontal(0.0).styled(Style::new(Color::Grey).dashed(Dash::Dashed)));
    for fit in fits {
        let (time, signal) = points(trace, fit);
        let rest: Vec<f64> = time.iter().zip(&signal).map(|(&t, y)| y - fit.value(t)).collect();
        let [from, to] = fit.window_min;
        let two = 2.0 * fit.noise_sd;
        panel = panel.layer(Layer::band(vec![from, to], vec![-two; 2], vec![two; 2]).colored(Color::Grey)).layer(
            if time.len() <= CIRCLES && fits.len() == 1 {
                Layer::markers(time, rest)
            } else {
                Layer::line(time, rest).styled(Style::default().width(0.5))
            },
        );
    }
    panel
}

fn points(trace: &Trace, fit: &GroupFit) -> (Vec<f64>, Vec<f64>) {
    let [from, to] = fit.window_min;
    let inside = trace.time_min().iter().zip(trace.signal()).filter(|(t, _)| **t >= from && **t <= to);
    inside.map(|(t, y)| (*t, *y)).unzip()
}

/// Times fine enough for the narrowest profile.
fn grid(fit: &GroupFit) -> Vec<f64> {
    let [from, to] = fit.window_min;
    let narrowest = fit.peaks.iter().map(|p| p.width_half_min).fold(to - from, f64::min);
    let steps = (20.0 * (to - from) / narrowest.max(1e-12)).clamp(60.0, 600.0) as usize;
    (0..=steps).map(|i| from + (to - from) * i as f64 / steps as f64).collect()
}

fn within(trace: &Trace, from: f64, to: f64) -> (f64, f64) {
    let inside = trace.time_min().iter().zip(trace.signal()).filter(|(t, _)| **t >= from && **t <= to);
    inside.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (_, y)| (a.min(*y), b.max(*y)))
}

fn of(name: &str) -> String {
    if name.is_empty() { String::new() } else { format!(" of {name}") }
}
