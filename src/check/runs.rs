//! Checks on single runs: files, start, peaks cut off, resolution, blanks, the sample's own internal standard.

use super::{CheckLimits, finding};
use crate::peaks::PeakNote;
use crate::results::{CalibrationResult, Finding, PeakResult, Results, Severity};

/// The same bytes under two names: identical replicates would give a false standard deviation of 0.
pub(super) fn duplicate_files(results: &Results, all: &mut Vec<Finding>) {
    let before = all.len();
    for (i, run) in results.runs.iter().enumerate() {
        if let Some(twin) = results.runs[..i].iter().find(|r| r.sha256 == run.sha256) {
            all.push(finding(
                Severity::Fail,
                "same trace under two names",
                format!("{}, {}", twin.run, run.run),
                None,
                None,
                "SHA-256 of the files",
                "two injections never give the same bytes; one of the files is a copy",
                Some("find the right export of one of the two, or take one row out of the injection log"),
            ));
        }
    }
    if all.len() == before {
        all.push(finding(
            Severity::Pass,
            "same trace under two names",
            format!("{} runs", results.runs.len()),
            None,
            None,
            "SHA-256 of the files",
            "all files differ",
            None,
        ));
    }
}

/// Runs that began much earlier or later than the standards.
pub(super) fn start_offsets(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    let known: Vec<_> = results.runs.iter().filter_map(|r| Some((r, r.start_offset_s?))).collect();
    let Some(worst) = known.iter().map(|k| k.1.abs()).max_by(f64::total_cmp) else { return };
    let late: Vec<String> = known
        .iter()
        .filter(|k| k.1.abs() > limits.start_offset_s)
        .map(|k| format!("{} ({:+.1} s)", k.0.run, k.1))
        .collect();
    let (severity, why, next) = if late.is_empty() {
        (Severity::Pass, format!("all runs start within {worst:.1} s of the standards' median"), None)
    } else {
        (
            Severity::Warn,
            format!("started early or late: {}", late.join(", ")),
            Some("look at the names in these runs; a common shift was taken out before naming"),
        )
    };
    all.push(finding(
        severity,
        "start offset",
        format!("{} runs", known.len()),
        Some(worst),
        Some(limits.start_offset_s),
        "common practice: a thumb is rarely off by more than 3 s",
        why,
        next,
    ));
}

/// Named peaks that ran into the detector's or converter's ceiling, the internal standard's among them.
pub(super) fn peaks_cut_off(results: &Results, internal_standard: Option<&str>, all: &mut Vec<Finding>) {
    for compound in calibrated(results).chain(internal_standard) {
        let cut: Vec<&str> = accepted(results, compound)
            .filter(|p| p.notes.iter().any(|n| PeakNote::CUT_OFF.iter().any(|words| n.starts_with(words))))
            .map(|p| p.run.as_str())
            .collect();
        if !cut.is_empty() {
            all.push(finding(
                Severity::Fail,
                "peak cut off at the top",
                format!("{compound}: {}", cut.join(", ")),
                None,
                None,
                "three or more equal maxima, or the detector's stated full scale",
                "the area is too small by an unknown amount",
                Some("inject less or dilute, and measure again"),
            ));
        }
    }
}

/// The poorest resolution of each calibrated compound from its neighbours.
pub(super) fn resolution(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for compound in calibrated(results) {
        let worst = accepted(results, compound)
            .filter_map(|p| Some((p.resolution_half_height?, p.run.as_str())))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((value, run)) = worst else { continue };
        let good = value >= limits.resolution;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "resolution from the peak before",
            format!("{compound}, {run}"),
            Some(value),
            Some(limits.resolution),
            "baseline separation of two equal Gaussian peaks",
            format!("poorest resolution {value:.2}"),
            (!good).then_some("areas of overlapping peaks depend on how they are cut; a slower ramp separates more"),
        ));
    }
}

/// Analyte in solvent or matrix blanks.
pub(super) fn blanks(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let Some(lowest) = lowest_standard_area(results, c).filter(|a| *a > 0.0) else { continue };
        let blank_runs = runs_of(results, &["solvent_blank", "matrix_blank"]);
        let worst = named(results, &c.compound)
            .filter(|p| blank_runs.contains(&p.run.as_str()))
            .max_by(|a, b| a.area.total_cmp(&b.area));
        let Some(p) = worst else {
            all.push(finding(
                Severity::Warn,
                "analyte in the blank",
                &c.compound,
                None,
                Some(limits.blank_percent),
                "common practice",
                "no blank was injected, so nothing shows that solvent and syringe hold none",
                Some("inject the solvent alone and log it as solvent_blank"),
            ));
            continue;
        };
        let percent = 100.0 * p.area / lowest;
        let good = percent <= limits.blank_percent;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "analyte in the blank",
            format!("{}, {}", c.compound, p.run),
            Some(percent),
            Some(limits.blank_percent),
            "common practice: 20 % of the lowest standard's area",
            format!("the window holds {percent:.1} % of the lowest standard's area"),
            (!good).then_some("clean the syringe with the solvent, inject the blank again, and look for the source"),
        ));
    }
}

/// The sample's own content of internal standard, from a run that had none added.
pub(super) fn own_internal_standard(
    results: &Results,
    limits: &CheckLimits,
    name: &str,
    without: &[String],
    all: &mut Vec<Finding>,
) {
    let usual: Vec<f64> = accepted(results, name).filter(|p| !without.contains(&p.run)).map(|p| p.area).collect();
    if usual.is_empty() {
        return;
    }
    let mean = usual.iter().sum::<f64>() / usual.len() as f64;
    let samples = runs_of(results, &["sample"]);
    let mut seen = false;
    for run in without.iter().filter(|r| samples.contains(&r.as_str())) {
        let Some(p) = named(results, name).find(|p| &p.run == run) else { continue };
        seen = true;
        let percent = 100.0 * p.area / mean;
        let good = percent <= limits.own_internal_standard_percent;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Fail },
            "the sample's own internal standard",
            format!("{name}, {run}"),
            Some(percent),
            Some(limits.own_internal_standard_percent),
            "common practice",
            format!("without it added, its window holds {percent:.1} % of its usual area"),
            (!good).then_some("take another internal standard: amounts come out too low with this one"),
        ));
    }
    if !seen {
        all.push(finding(
            Severity::Warn,
            "the sample's own internal standard",
            name,
            None,
            Some(limits.own_internal_standard_percent),
            "common practice",
            "no sample was injected without the internal standard, so nothing shows that it holds none itself",
            Some("inject one sample without it"),
        ));
    }
}

pub(super) fn calibrated(results: &Results) -> impl Iterator<Item = &str> {
    results.calibrations.iter().map(|c| c.compound.as_str())
}

pub(super) fn named<'a>(results: &'a Results, compound: &'a str) -> impl Iterator<Item = &'a PeakResult> {
    results.peaks.iter().filter(move |p| p.compound.as_deref() == Some(compound))
}

fn runs_of<'a>(results: &'a Results, kinds: &[&str]) -> Vec<&'a str> {
    results.runs.iter().filter(|r| r.accepted && kinds.contains(&r.kind.as_str())).map(|r| r.run.as_str()).collect()
}

/// Accepted runs of the flasks of the lowest level above zero.
pub(super) fn lowest_standard_runs<'a>(results: &'a Results, c: &CalibrationResult) -> Vec<&'a str> {
    let used = || c.points.iter().filter(|p| p.excluded.is_none() && p.x > 0.0);
    let Some(lowest) = used().map(|p| p.x).min_by(f64::total_cmp) else { return Vec::new() };
    let flasks: Vec<&str> = used().filter(|p| p.x == lowest).map(|p| p.label.as_str()).collect();
    let runs =
        results.runs.iter().filter(|r| r.accepted && r.kind == "standard" && flasks.contains(&r.flask().as_str()));
    runs.map(|r| r.run.as_str()).collect()
}

/// Mean area over the flasks of the lowest level above zero, shots weighted alike.
fn lowest_standard_area(results: &Results, c: &CalibrationResult) -> Option<f64> {
    let areas: Vec<f64> = lowest_standard_runs(results, c)
        .into_iter()
        .filter_map(|run| named(results, &c.compound).find(|p| p.run == run))
        .map(|p| p.area)
        .collect();
    (!areas.is_empty()).then(|| areas.iter().sum::<f64>() / areas.len() as f64)
}

/// Points above half height, from the width and the interval between points.
pub(super) fn p_points(results: &Results, p: &PeakResult) -> Option<f64> {
    let interval_s = results.runs.iter().find(|r| r.run == p.run)?.reading.interval_s;
    Some(60.0 * p.width_half_min? / interval_s).filter(|n| n.is_finite() && interval_s > 0.0)
}

/// Peaks of a compound in accepted runs.
pub(super) fn accepted<'a>(results: &'a Results, compound: &'a str) -> impl Iterator<Item = &'a PeakResult> {
    named(results, compound).filter(|p| results.runs.iter().any(|r| r.accepted && r.run == p.run))
}
