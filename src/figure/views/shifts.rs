//! Shifts of runs against the standards along retention: the curve that names rest on, and the peaks it rests on.

use super::super::{Axis, Color, Figure, Layer, Legend, Marker, Panel, Style};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{significant, typographic};
use crate::results::{NamingResult, PeakResult, RunShift};

/// Runs beyond this many share one grey line without a name.
const NAMED_LINES: usize = 8;

/// The shift of each run along retention, with its standard uncertainty as a band where one run is shown; markers are
/// the named peaks, measured less reference time. `runs` empty: all runs.
///
/// # Errors
/// No run of that name; no run with a shift, as where the start offset is switched off.
pub fn shifts(naming: &NamingResult, peaks: &[PeakResult], runs: &[&str]) -> Result<Figure> {
    if let Some(unknown) = runs.iter().find(|r| naming.runs.iter().all(|n| n.run != **r)) {
        return Err(Error::new(ErrorKind::NotFound, format!("no run is named \"{unknown}\"")));
    }
    let wanted = |r: &&RunShift| r.curve.len() > 1 && (runs.is_empty() || runs.contains(&r.run.as_str()));
    let shown: Vec<&RunShift> = naming.runs.iter().filter(wanted).collect();
    if shown.is_empty() {
        return Err(Error::new(ErrorKind::NotFound, "no run has a shift along retention")
            .hint("the start offset may be switched off, or no peak was shared with the standards"));
    }
    let mut layers = Vec::new();
    for (k, run) in shown.iter().enumerate() {
        let (x, y): (Vec<f64>, Vec<f64>) = run.curve.iter().map(|p| (p.time_min, p.shift_s)).unzip();
        let few = shown.len() <= NAMED_LINES;
        let style = if few { Style::nth(k) } else { Style::new(Color::Grey).width(0.6) };
        if shown.len() == 1 {
            let edge = |sign: f64| run.curve.iter().map(|p| p.shift_s + sign * p.u_s).collect::<Vec<f64>>();
            layers.push(Layer::band(x.clone(), edge(-1.0), edge(1.0)).named("standard uncertainty"));
        }
        let line = Layer::line(x, y).styled(style);
        layers.push(if few { line.named(run.run.clone()) } else { line });
        let points: Vec<(f64, f64)> = peaks
            .iter()
            .filter(|p| p.run == run.run)
            .filter_map(|p| {
                let reference = naming.references.iter().find(|r| Some(&r.compound) == p.compound.as_ref())?;
                p.identity_probability?;
                Some((reference.time_min, 60.0 * (p.retention_time_min? - reference.time_min)))
            })
            .collect();
        if few && !points.is_empty() {
            let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
            layers.push(Layer::markers(x, y).with_marker(Marker::nth(k)).colored(style.color));
        }
    }
    layers.push(Layer::horizontal(0.0));
    let widest = shown
        .iter()
        .flat_map(|r| r.curve.iter().map(move |p| (p.shift_s, &r.run)))
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let scaled = shown.iter().filter(|r| r.time_scale.is_some()).count();
    let mut alt = format!("Shift of {} run(s) against the standards along retention.", shown.len());
    if let Some((shift, run)) = widest {
        alt.push_str(&format!(" Largest: {} s, in {run}.", typographic(&significant(shift, 2))));
    }
    if scaled > 0 {
        alt.push_str(&format!(" In {scaled} of them times are stretched, too."));
    }
    Ok(Figure::new(alt).size_mm(165.0, 75.0).panel(
        Panel::new(Axis::new("retention time", "min"), Axis::new("shift", "s"))
            .legend(if shown.len() <= NAMED_LINES { Legend::Above } else { Legend::None })
            .layers(layers),
    ))
}
