//! Runs over each other: the same peaks at the same time, or not.

use super::super::{Axis, Figure, Layer, Legend, Mark, Panel, Style};
use super::run::extremes;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{significant, typographic};
use crate::trace::Trace;

/// How runs are laid over each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Overlay {
    /// Each run is raised above the one before by this share of the highest peak shown. Default 0.15; 0 lays all on
    /// one base.
    pub raise: f64,
    /// True to move each run in time so that its peaks come when the standards' do, by the start offset that naming
    /// found; a run without one stays. Default false: as recorded.
    pub aligned: bool,
}

impl Default for Overlay {
    fn default() -> Self {
        Overlay { raise: 0.15, aligned: false }
    }
}

/// One run of an overlay.
#[derive(Clone, Debug, PartialEq)]
pub struct OverlaidRun {
    /// Its name.
    pub name: String,
    /// Its trace.
    pub trace: Trace,
    /// How late its peaks come against the standards, in seconds, where that is known.
    pub start_offset_s: Option<f64>,
    /// Apexes and names, in minutes and signal units; those of the uppermost run are shown.
    pub names: Vec<Mark>,
}

/// Runs over each other, the first at the bottom. The scale is that of the tallest named peak, where there are names:
/// what is higher is cut off.
///
/// # Errors
/// No run at all; runs whose signals have different units.
pub fn overlay(runs: &[OverlaidRun], options: Overlay) -> Result<Figure> {
    let Some(first) = runs.first() else {
        return Err(Error::new(ErrorKind::Option, "no run to lay over others; at least one is wanted"));
    };
    let unit = first.trace.signal_unit();
    if let Some(other) = runs.iter().find(|r| r.trace.signal_unit() != unit) {
        return Err(Error::new(
            ErrorKind::Data,
            format!(
                "{} is in {unit:?}, {} in {:?}; one unit is wanted",
                first.name,
                other.name,
                other.trace.signal_unit()
            ),
        )
        .hint("with_unit names the unit of a trace"));
    }
    if !(options.raise.is_finite() && options.raise >= 0.0) {
        return Err(Error::new(ErrorKind::Option, format!("raise is {}; 0 or more is wanted", options.raise)));
    }
    let lowest = runs.iter().map(|r| extremes(r.trace.signal()).0).fold(f64::INFINITY, f64::min);
    let named = runs.iter().flat_map(|r| &r.names).map(|m| m.y).fold(f64::NEG_INFINITY, f64::max);
    let highest = runs.iter().map(|r| extremes(r.trace.signal()).1).fold(f64::NEG_INFINITY, f64::max);
    let ceiling = if named.is_finite() { named } else { highest };
    let raise = options.raise * (ceiling - lowest);
    let mut panel = Panel::new(
        Axis::new("time", "min").tight(),
        Axis::new("signal", unit).range(
            lowest - 0.03 * (ceiling - lowest),
            ceiling + raise * (runs.len() - 1) as f64 + 0.1 * (ceiling - lowest),
        ),
    )
    .legend(Legend::LineEnds);
    let mut moves = Vec::new();
    for (k, run) in runs.iter().enumerate() {
        let late_s = run.start_offset_s.filter(|_| options.aligned).unwrap_or(0.0);
        let (dx, dy) = (-late_s / 60.0, raise * k as f64);
        let mut name = run.name.clone();
        if late_s != 0.0 {
            let (by, direction) = (significant(late_s.abs(), 2), if late_s > 0.0 { "earlier" } else { "later" });
            name.push_str(&format!(", {by} s {direction}"));
            moves.push(name.clone());
        }
        if dy != 0.0 {
            name.push_str(&format!(", raised {}", significant(dy, 2)));
        }
        let line = Layer::line(run.trace.time_min(), run.trace.signal()).named(name);
        panel = panel.layer(line.styled(Style { width_pt: 0.6, ..Style::nth(k) }).moved(dx, dy));
        if k + 1 == runs.len() {
            panel = panel.layer(Layer::labels(run.names.clone()).moved(dx, dy));
        }
    }
    let list: Vec<&str> = runs.iter().map(|r| r.name.as_str()).collect();
    let mut alt = format!("Traces over each other: {}.", list.join(", "));
    if raise > 0.0 && runs.len() > 1 {
        alt.push_str(&format!(" Each is raised by {} {unit} above the one before.", significant(raise, 2)));
    }
    if !moves.is_empty() {
        alt.push_str(&format!(" Moved in time: {}.", moves.join("; ")));
    }
    Ok(Figure::new(typographic(&alt)).size_mm(165.0, 95.0).panel(panel))
}
