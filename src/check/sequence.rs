//! Checks along the day: carry-over from the run before, the internal standard's drift, its control chart.

use super::calibration::{LEVEL, p_words};
use super::runs::{calibrated, named};
use super::{CheckLimits, finding};
use crate::estimate::{significant, typographic};
use crate::numeric::{fit_polynomial, student_t_sf};
use crate::results::{Finding, Results, Severity};

/// What is left of a compound in a blank that follows a run that held it.
pub(super) fn carry_over(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    for compound in calibrated(results).chain(internal) {
        let area = |run: &str| named(results, compound).find(|p| p.run == run);
        let mut worst: Option<(f64, f64, &str, &str)> = None;
        for pair in results.runs.windows(2) {
            let is_blank = |kind: &str| ["solvent_blank", "matrix_blank"].contains(&kind);
            if !is_blank(&pair[1].kind) || is_blank(&pair[0].kind) || !pair[1].accepted {
                continue;
            }
            let (Some(before), Some(after)) = (area(&pair[0].run), area(&pair[1].run)) else { continue };
            if before.area > 10.0 * before.area_u {
                let percent = 100.0 * after.area / before.area;
                let u = 100.0 * after.area_u / before.area;
                if worst.is_none_or(|w| percent > w.0) {
                    worst = Some((percent, u, &pair[0].run, &pair[1].run));
                }
            }
        }
        let Some((percent, u, from, to)) = worst else { continue };
        // What the noise alone may give is no carry-over.
        let good = percent - 2.0 * u <= limits.carry_over_percent;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "carry-over",
            format!("{compound}, {from} to {to}"),
            Some(percent),
            Some(limits.carry_over_percent),
            "area in a blank in % of that in the run before it (common practice: 1)",
            format!("{} % of the area in {from} is left in {to}", typographic(&significant(percent, 2))),
            (!good).then_some(
                "rinse the syringe with the next solution, inject a second blank, and order runs from low to high",
            ),
        ));
    }
}

/// The internal standard's area over the order of injections.
///
/// A straight line through ln(area) against the position; the change over the sequence, tested at 5 %.
pub(super) fn internal_standard_drift(
    results: &Results,
    limits: &CheckLimits,
    internal: &str,
    without: &[String],
    all: &mut Vec<Finding>,
) {
    let counted = |r: &crate::results::RunResult| {
        r.accepted && ["standard", "check_standard", "sample"].contains(&r.kind.as_str()) && !without.contains(&r.run)
    };
    let points: Vec<(f64, f64)> = results
        .runs
        .iter()
        .enumerate()
        .filter(|(_, r)| counted(r))
        .filter_map(|(i, r)| Some((i as f64, named(results, internal).find(|p| p.run == r.run)?.area)))
        .filter(|p| p.1 > 0.0)
        .map(|(i, a)| (i, libm::log(a)))
        .collect();
    if points.len() < 6 {
        return;
    }
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let span = x[x.len() - 1] - x[0];
    let Ok(fit) = fit_polynomial(&x, &y, 1, true, None) else { return };
    let Some(se) = fit.standard_errors.as_ref().and_then(|s| s.get(1).copied()) else { return };
    let slope = fit.coefficients[1];
    let dof = points.len() as f64 - 2.0;
    let p = if se > 0.0 { 2.0 * student_t_sf((slope / se).abs(), dof) } else { 1.0 };
    let change = 100.0 * (libm::exp(slope * span) - 1.0);
    let good = p >= LEVEL || change.abs() <= limits.internal_standard_drift_percent;
    all.push(finding(
        if good { Severity::Pass } else { Severity::Warn },
        "drift of the internal standard",
        format!("{internal}, {} runs", points.len()),
        Some(change),
        Some(limits.internal_standard_drift_percent),
        "change of its area over the sequence, in % (common practice); tested against 0 at 5 %",
        format!(
            "{}{} % over the sequence (standard error {} %, {})",
            if change > 0.0 { "+" } else { "" },
            typographic(&significant(change, 2)),
            significant(100.0 * se * span, 2),
            p_words(p)
        ),
        (!good).then_some("detector, flow or septum change over the day, or the solvent evaporates: spread standards over the sequence"),
    ));
}

/// A control chart of single values: centre, limits, and what lies outside.
///
/// Limits are centre ± 2.660 times the mean moving range, 2.660 = 3/d₂ with d₂ = 1.128 for two values (W. A. Shewhart;
/// ISO 7870-2:2013). A value outside, or eight in a row on one side (rule of the same standard's first edition, ISO
/// 8258:1991: nine; eight is common practice), says that the process changed. In good control a value lies outside in
/// 0.3 %; with limits estimated from few values more often.
///
/// ```
/// use vialbook::check::ControlChart;
/// let chart = ControlChart::individuals(&[52.0, 47.0, 53.0, 51.0, 50.0, 47.0])?;
/// assert!((chart.centre - 50.0).abs() < 1e-12 && (chart.upper - chart.centre - 2.66 * 3.4).abs() < 0.01);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct ControlChart {
    /// Mean of the values.
    pub centre: f64,
    /// Lower control limit.
    pub lower: f64,
    /// Upper control limit.
    pub upper: f64,
    /// Places of values outside the limits, counted from 0.
    pub outside: Vec<usize>,
    /// Places that end eight or more values in a row on one side of the centre.
    pub runs: Vec<usize>,
}

impl ControlChart {
    /// A chart of single values in the order of time; at least 5.
    ///
    /// # Errors
    /// Fewer values, or one that is no number.
    pub fn individuals(values: &[f64]) -> crate::error::Result<ControlChart> {
        use crate::error::{Error, ErrorKind};
        if values.len() < 5 {
            let message = format!("{} values; a control chart needs at least 5", values.len());
            return Err(Error::new(ErrorKind::Data, message));
        }
        if let Some(i) = values.iter().position(|v| !v.is_finite()) {
            return Err(Error::new(ErrorKind::Data, format!("value {} of the control chart is no number", i + 1)));
        }
        /// Mean range of two normal values over their standard deviation, 2/√π.
        const D2: f64 = std::f64::consts::FRAC_2_SQRT_PI;
        let centre = values.iter().sum::<f64>() / values.len() as f64;
        let range = values.windows(2).map(|w| (w[1] - w[0]).abs()).sum::<f64>() / (values.len() - 1) as f64;
        let reach = 3.0 / D2 * range;
        let (lower, upper) = (centre - reach, centre + reach);
        let mut runs = Vec::new();
        let (mut side, mut length) = (0.0, 0);
        for (i, v) in values.iter().enumerate() {
            let now = if *v > centre {
                1.0
            } else if *v < centre {
                -1.0
            } else {
                0.0
            };
            length = if now != 0.0 && now == side { length + 1 } else { 1 };
            side = now;
            if length >= 8 && now != 0.0 {
                runs.push(i);
            }
        }
        let outside = (0..values.len()).filter(|&i| !(lower..=upper).contains(&values[i])).collect();
        Ok(ControlChart { centre, lower, upper, outside, runs })
    }
}
