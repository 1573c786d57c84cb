//! Checks on the shapes of peaks: tailing, fronting, plates, signal to noise, points, baseline below.

use super::runs::{accepted, calibrated, lowest_standard_runs, p_points};
use super::{CheckLimits, finding};
use crate::estimate::{significant, typographic};
use crate::results::{Finding, PeakResult, Results, Severity};

/// Whose peaks are held to limits: what is calibrated, and the internal standard.
fn asked<'a>(results: &'a Results, internal: Option<&'a str>) -> Vec<&'a str> {
    calibrated(results).chain(internal).collect()
}

fn worst_by<'a>(
    peaks: impl Iterator<Item = &'a PeakResult>,
    figure: impl Fn(&PeakResult) -> Option<f64>,
    badness: impl Fn(f64) -> f64,
) -> Option<(f64, &'a str)> {
    peaks.filter_map(|p| Some((figure(p)?, p.run.as_str()))).max_by(|a, b| badness(a.0).total_cmp(&badness(b.0)))
}

/// Tailing factors of the accepted runs; a front that is longer than the tail speaks of an overloaded column.
pub(super) fn tailing(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    for compound in asked(results, internal) {
        let figure = |p: &PeakResult| p.tailing_factor_5pct;
        if let Some((t, run)) = worst_by(accepted(results, compound), figure, |t| t) {
            let good = t <= limits.tailing;
            all.push(finding(
                if good { Severity::Pass } else { Severity::Warn },
                "tailing",
                format!("{compound}, {run}"),
                Some(t),
                Some(limits.tailing),
                "tailing factor at 5 % of the height (common practice: at most 2)",
                format!("largest tailing factor {}", significant(t, 3)),
                (!good).then_some(
                    "cut or bake the column's first part only where a blank asks for it too; check the liner and active compounds",
                ),
            ));
        }
        let Some((t, run)) = worst_by(accepted(results, compound), figure, |t| -t) else { continue };
        let good = t >= limits.fronting;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "fronting",
            format!("{compound}, {run}"),
            Some(t),
            Some(limits.fronting),
            "tailing factor at 5 % of the height (pharmacopoeias: symmetry from 0.8)",
            if good {
                format!("smallest tailing factor {}", significant(t, 3))
            } else {
                format!(
                    "the front is longer than the tail (factor {}): more than the column takes, and the apex moves late with the amount",
                    significant(t, 3)
                )
            },
            (!good).then_some("inject less or dilute; a calibration that holds such peaks bends"),
        ));
    }
}

/// Plate numbers where a least one is set; they are figures of isothermal runs.
pub(super) fn plates(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    let Some(least) = limits.plates else { return };
    for compound in asked(results, internal) {
        let worst = worst_by(accepted(results, compound), |p| p.plates_half_height, |n| -n);
        let (severity, figure, place, why) = match worst {
            Some((n, run)) => (
                if n >= least { Severity::Pass } else { Severity::Warn },
                Some(n),
                format!("{compound}, {run}"),
                format!("fewest plates {}", significant(n, 3)),
            ),
            None => (
                Severity::Warn,
                None,
                compound.to_owned(),
                "no plate number: it is a figure of isothermal runs".to_owned(),
            ),
        };
        let next =
            (severity == Severity::Warn).then_some("check flow and injection; slow injections widen the first peaks");
        all.push(finding(severity, "plates", place, figure, Some(least), "study.toml, limits.plates", why, next));
    }
}

/// Signal to noise of each calibrated compound in its lowest standard.
pub(super) fn signal_to_noise(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let runs = lowest_standard_runs(results, c);
        let peaks = accepted(results, &c.compound).filter(|p| runs.contains(&p.run.as_str()));
        let Some((value, run)) = worst_by(peaks, |p| p.signal_to_noise, |s| -s) else { continue };
        let good = value >= limits.signal_to_noise;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "signal to noise of the lowest standard",
            format!("{}, {run}", c.compound),
            Some(value),
            Some(limits.signal_to_noise),
            "10 for quantitation (ICH Q2)",
            format!("smallest signal-to-noise ratio {}", significant(value, 2)),
            (!good).then_some(
                "the lowest level lies near the quantitation limit: leave it out of the range, or inject more",
            ),
        ));
    }
}

/// Points above half height.
pub(super) fn points(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    for compound in asked(results, internal) {
        let Some((n, run)) = worst_by(accepted(results, compound), |p| p_points(results, p), |n| -n) else { continue };
        let good = n >= limits.points_above_half_height;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "points per peak",
            format!("{compound}, {run}"),
            Some(n),
            Some(limits.points_above_half_height),
            "points above half height: 5 for the area, 10 for width and height (common practice)",
            format!("fewest points above half height {}", significant(n, 2)),
            (!good).then_some("record faster, or choose a slower programme"),
        ));
    }
}

/// A baseline that steps below an analyte's peak.
pub(super) fn baseline_step(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    for compound in asked(results, internal) {
        let step = |p: &PeakResult| {
            let height = p.height.filter(|h| *h > 0.0)?;
            Some(100.0 * (p.baseline[1] - p.baseline[0]).abs() / height)
        };
        let Some((percent, run)) = worst_by(accepted(results, compound), step, |s| s) else { continue };
        let good = percent <= limits.baseline_step_percent;
        if !good {
            all.push(finding(
                Severity::Warn,
                "baseline below the peak",
                format!("{compound}, {run}"),
                Some(percent),
                Some(limits.baseline_step_percent),
                "difference of the baseline's two ends in % of the height (our choice)",
                format!("the baseline changes by {} % of the peak's height", significant(percent, 2)),
                Some("look at the trace there: a step or a dip (room air, solvent vapour, a valve) makes the area a guess"),
            ));
        }
    }
}

/// Peaks without a name that make up more of the area than allowed, the solvent left out.
pub(super) fn unknown_peaks(results: &Results, limits: &CheckLimits, solvents: &[String], all: &mut Vec<Finding>) {
    let mut worst: Option<(f64, &str, f64)> = None;
    let mut over = Vec::new();
    let mut looked_at = 0;
    for run in results
        .runs
        .iter()
        .filter(|r| r.accepted && ["standard", "check_standard", "sample"].contains(&r.kind.as_str()))
    {
        let peaks: Vec<&PeakResult> = results
            .peaks
            .iter()
            .filter(|p| p.run == run.run && p.area > 0.0)
            .filter(|p| !p.compound.as_ref().is_some_and(|c| solvents.contains(c)))
            .collect();
        let total: f64 = peaks.iter().map(|p| p.area).sum();
        looked_at += 1;
        let largest = peaks.iter().filter(|p| p.compound.is_none()).max_by(|a, b| a.area.total_cmp(&b.area));
        let Some(p) = largest.filter(|_| total > 0.0) else { continue };
        let percent = 100.0 * p.area / total;
        let at = p.retention_time_min.unwrap_or(0.5 * (p.start_min + p.end_min));
        if worst.is_none_or(|w| percent > w.0) {
            worst = Some((percent, &run.run, at));
        }
        if percent > limits.unknown_percent {
            over.push(run.run.as_str());
        }
    }
    let Some((percent, run, at)) = worst else {
        if looked_at > 0 {
            all.push(finding(
                Severity::Pass,
                "unknown peaks",
                format!("{looked_at} runs"),
                Some(0.0),
                Some(limits.unknown_percent),
                "share of the area in a run, solvent left out (common practice)",
                "every peak has a name",
                None,
            ));
        }
        return;
    };
    let good = over.is_empty();
    all.push(finding(
        if good { Severity::Pass } else { Severity::Warn },
        "unknown peaks",
        if good { run.to_owned() } else { over.join(", ") },
        Some(percent),
        Some(limits.unknown_percent),
        "share of the area in a run, solvent left out (common practice)",
        format!(
            "the largest peak without a name holds {} % of the area, at {} min in {run}",
            typographic(&significant(percent, 2)),
            significant(at, 4)
        ),
        (!good)
            .then_some("list it as a compound if it is known, give the solvent the role \"solvent\", or run a blank"),
    ));
}
