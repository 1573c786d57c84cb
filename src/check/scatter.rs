//! Checks on scatter: retention, areas and ratios over shots and flasks, injections far from the rest.

use std::collections::BTreeMap;

use super::calibration::{LEVEL, holm};
use super::runs::{calibrated, named};
use super::{CheckLimits, finding};
use crate::estimate::{significant, typographic};
use crate::numeric::{fisher_f_sf, mean, sample_sd, student_t_sf};
use crate::results::{Finding, Results, RunResult, Severity};

/// One compound's responses of one flask, shot by shot.
pub(super) struct Flask<'a> {
    sample: &'a str,
    name: String,
    pub(super) shots: Vec<(&'a str, f64)>,
}

/// Kinds of injections that are repeated to be compared.
const KINDS: [&str; 3] = ["standard", "check_standard", "sample"];

pub(super) fn flasks<'a>(results: &'a Results, compound: &str, internal: Option<&str>) -> Vec<Flask<'a>> {
    let mut all: Vec<Flask> = Vec::new();
    for run in results.runs.iter().filter(|r| r.accepted && KINDS.contains(&r.kind.as_str())) {
        let Some(response) = response(results, run, compound, internal) else { continue };
        let name = run.flask();
        match all.iter_mut().find(|f| f.name == name) {
            Some(f) => f.shots.push((&run.run, response)),
            None => all.push(Flask { sample: &run.sample, name, shots: vec![(&run.run, response)] }),
        }
    }
    all
}

/// Area, or its ratio to the internal standard's; none where it is not above 0.
fn response(results: &Results, run: &RunResult, compound: &str, internal: Option<&str>) -> Option<f64> {
    let area = |c: &str| named(results, c).find(|p| p.run == run.run).map(|p| p.area).filter(|a| *a > 0.0);
    let own = area(compound)?;
    match internal {
        Some(is) if is != compound => Some(own / area(is)?),
        _ => Some(own),
    }
}

/// How far each compound's retention scatters once start offsets are taken out.
pub(super) fn retention(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    let learnt = results.naming.references.iter().filter(|r| r.runs > 1);
    let worst = learnt.map(|r| (100.0 * r.scatter_s / (60.0 * r.time_min), r)).max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((percent, r)) = worst else { return };
    let good = percent <= limits.retention_scatter_percent;
    all.push(finding(
        if good { Severity::Pass } else { Severity::Warn },
        "retention scatter",
        &r.compound,
        Some(percent),
        Some(limits.retention_scatter_percent),
        "standard deviation over the standards, start offsets taken out (common practice: 1 %)",
        format!(
            "{} s at {} min over {} standards, that is {} %",
            significant(r.scatter_s, 2),
            significant(r.time_min, 4),
            r.runs,
            significant(percent, 2)
        ),
        (!good).then_some("let the oven settle for longer, check the pressure, and inject and start in one movement"),
    ));
}

/// Scatter over shots of one flask and over flasks of one sample, pooled over the study.
pub(super) fn pooled(results: &Results, limits: &CheckLimits, internal: Option<&str>, all: &mut Vec<Finding>) {
    for compound in calibrated(results) {
        let flasks = flasks(results, compound, internal);
        let (what, shot_limit, origin) = match internal {
            Some(_) => {
                ("ratio", limits.shot_ratio_percent, "1 to 2 % remain with an internal standard (common practice)")
            }
            None => ("area", limits.shot_area_percent, "a 1 µL syringe read by eye: 7 to 20 % (common practice)"),
        };
        let groups: Vec<Vec<f64>> = flasks.iter().map(|f| f.shots.iter().map(|s| s.1).collect()).collect();
        if let Some((percent, dof)) = pooled_percent(&groups) {
            let good = percent <= shot_limit;
            all.push(finding(
                if good { Severity::Pass } else { Severity::Warn },
                &format!("{what} scatter over shots"),
                compound,
                Some(percent),
                Some(shot_limit),
                origin,
                format!(
                    "relative standard deviation {} %, {dof} degrees of freedom, pooled over flasks",
                    significant(percent, 2)
                ),
                (!good).then_some("look at the single shots: volume, needle, septum, and whether both peaks are whole"),
            ));
        }
        let mut samples: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for f in &flasks {
            let mean = f.shots.iter().map(|s| s.1).sum::<f64>() / f.shots.len() as f64;
            samples.entry(f.sample).or_default().push(mean);
        }
        flask_agreement(compound, what, &flasks, &samples, limits, all);
    }
}

/// Relative standard deviation within groups, in %, with its degrees of freedom.
fn pooled_percent(groups: &[Vec<f64>]) -> Option<(f64, usize)> {
    let (mut sum, mut dof) = (0.0, 0);
    for g in groups.iter().filter(|g| g.len() > 1) {
        let (m, s) = (mean(g)?, sample_sd(g)?);
        sum += (g.len() - 1) as f64 * (s / m).powi(2);
        dof += g.len() - 1;
    }
    (dof > 0).then(|| (100.0 * (sum / dof as f64).sqrt(), dof))
}

/// Flasks that should be alike: largest less smallest, in % of their mean, against a limit and against the others.
fn flask_agreement(
    compound: &str,
    what: &str,
    flasks: &[Flask],
    samples: &BTreeMap<&str, Vec<f64>>,
    limits: &CheckLimits,
    all: &mut Vec<Finding>,
) {
    struct Spread<'a> {
        sample: &'a str,
        percent: f64,
        p: f64,
    }
    let alike: Vec<(&str, &Vec<f64>)> = samples.iter().filter(|s| s.1.len() > 1).map(|s| (*s.0, s.1)).collect();
    if alike.is_empty() {
        return;
    }
    let relative = |v: &[f64]| -> Option<f64> { Some((sample_sd(v)? / mean(v)?).powi(2)) };
    let mut spreads: Vec<Spread> = alike
        .iter()
        .filter_map(|(sample, values)| {
            let (m, own) = (mean(values)?, relative(values)?);
            let low = values.iter().copied().fold(f64::INFINITY, f64::min);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            // Against the scatter of all other samples' flasks.
            let others: Vec<(f64, usize)> =
                alike.iter().filter(|o| o.0 != *sample).filter_map(|o| Some((relative(o.1)?, o.1.len() - 1))).collect();
            let dof: usize = others.iter().map(|o| o.1).sum();
            let pooled = others.iter().map(|o| o.0 * o.1 as f64).sum::<f64>() / dof.max(1) as f64;
            let p = if dof >= 2 && pooled > 0.0 {
                fisher_f_sf(own / pooled, (values.len() - 1) as f64, dof as f64)
            } else {
                1.0
            };
            Some(Spread { sample, percent: 100.0 * (high - low) / m, p })
        })
        .collect();
    let adjusted = holm(&spreads.iter().map(|s| s.p).collect::<Vec<_>>());
    for (s, p) in spreads.iter_mut().zip(adjusted) {
        s.p = p;
    }
    spreads.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    let Some(worst) = spreads.first() else { return };
    let over: Vec<&Spread> = spreads.iter().filter(|s| s.percent > limits.flask_percent).collect();
    let severity = match over.first() {
        None => Severity::Pass,
        Some(s) if s.percent > 2.0 * limits.flask_percent || over.iter().any(|s| s.p < LEVEL) => Severity::Fail,
        Some(_) => Severity::Warn,
    };
    let names = |sample: &str| -> String {
        flasks.iter().filter(|f| f.sample == sample).map(|f| f.name.as_str()).collect::<Vec<_>>().join(" and ")
    };
    let said = |s: &Spread| {
        let p = if s.p < LEVEL {
            ", far more than the other samples' flasks (p below 0.05, adjusted for their number)"
        } else {
            ""
        };
        format!("{} differ by {} % of their mean{p}", names(s.sample), typographic(&significant(s.percent, 2)))
    };
    let why = match over.as_slice() {
        [] => format!("at most {} % between flasks, in {}", significant(worst.percent, 2), worst.sample),
        over => over.iter().map(|s| said(s)).collect::<Vec<_>>().join("; "),
    };
    all.push(finding(
        severity,
        "agreement of flasks",
        format!("{compound}, {}", worst.sample),
        Some(worst.percent),
        Some(limits.flask_percent),
        &format!("largest less smallest {what} of one sample's flasks in % of their mean (common practice)"),
        why,
        (!over.is_empty()).then_some(
            "compare both traces, labels and preparation; a third flask tells which of two is wrong, and none is dropped without a reason",
        ),
    ));
}

/// A shot beside the others of its flask.
pub(super) struct Shot {
    pub(super) run: String,
    flask: String,
    shots: usize,
    /// Mean over compounds of ln(area/the flask's mean).
    pub(super) ln: f64,
    /// p-value, adjusted for the number of shots.
    pub(super) p: f64,
}

/// Each shot's mean over compounds of ln(area/the flask's mean), against the pooled scatter of the other flasks: Student's
/// t, p-values adjusted for the number of shots after Holm. Empty below 3 flasks of several shots.
pub(super) fn far_shots(results: &Results, internal: Option<&str>) -> Vec<Shot> {
    let mut deviations: BTreeMap<&str, (Vec<f64>, String, usize)> = BTreeMap::new();
    for compound in calibrated(results).chain(internal) {
        for flask in flasks(results, compound, None).into_iter().filter(|f| f.shots.len() > 1) {
            let logs: Vec<f64> = flask.shots.iter().map(|s| libm::log(s.1)).collect();
            let middle = logs.iter().sum::<f64>() / logs.len() as f64;
            for (shot, ln) in flask.shots.iter().zip(&logs) {
                let entry =
                    deviations.entry(shot.0).or_insert_with(|| (Vec::new(), flask.name.clone(), flask.shots.len()));
                entry.0.push(ln - middle);
            }
        }
    }
    let one = |(run, (d, flask, shots)): (&str, (Vec<f64>, String, usize))| {
        Some(Shot { run: run.to_owned(), flask, shots, ln: mean(&d)?, p: 1.0 })
    };
    let mut shots: Vec<Shot> = deviations.into_iter().filter_map(one).collect();
    let mut flasks: Vec<&str> = shots.iter().map(|s| s.flask.as_str()).collect();
    flasks.sort_unstable();
    flasks.dedup();
    let flasks = flasks.len();
    if flasks < 3 {
        return Vec::new();
    }
    let p: Vec<f64> = shots
        .iter()
        .map(|s| {
            let others = || shots.iter().filter(|o| o.flask != s.flask);
            let dof = others().count() as f64 - (flasks - 1) as f64;
            let variance = others().map(|o| o.ln * o.ln).sum::<f64>() / dof.max(1.0);
            let own = variance * (1.0 - 1.0 / s.shots as f64);
            if dof < 3.0 || own <= 0.0 { 1.0 } else { 2.0 * student_t_sf(s.ln.abs() / own.sqrt(), dof) }
        })
        .collect();
    let adjusted = holm(&p);
    // One shot far from two others moves their mean, too: of three or more only the farthest is meant.
    let farthest = |s: &Shot| {
        let flask = shots.iter().filter(|o| o.flask == s.flask);
        s.shots < 3 || flask.map(|o| o.ln.abs()).fold(0.0, f64::max) <= s.ln.abs()
    };
    let counts: Vec<bool> = shots.iter().map(farthest).collect();
    for ((shot, p), is_meant) in shots.iter_mut().zip(adjusted).zip(counts) {
        shot.p = if is_meant { p } else { 1.0 };
    }
    shots
}

/// Shots whose areas all lie far from those of the same flask: a bubble, a half-filled syringe, a leak.
pub(super) fn far_injections(results: &Results, internal: Option<&str>, all: &mut Vec<Finding>) {
    let shots = far_shots(results, internal);
    let Some(widest) = shots.iter().max_by(|a, b| a.ln.abs().total_cmp(&b.ln.abs())) else { return };
    let far: Vec<&Shot> = shots.iter().filter(|s| s.p < LEVEL).collect();
    let percent = |ln: f64| {
        let change = 100.0 * (libm::exp(ln) - 1.0);
        format!("{}{}", if change > 0.0 { "+" } else { "" }, typographic(&significant(change, 2)))
    };
    let why = if far.is_empty() {
        format!("no shot stands out; the farthest, {}, is {} % from its flask's mean", widest.run, percent(widest.ln))
    } else {
        let one = |s: &&Shot| format!("{}: all areas {} % from the mean of {}", s.run, percent(s.ln), s.flask);
        far.iter().map(one).collect::<Vec<_>>().join("; ")
    };
    let runs: Vec<&str> = far.iter().map(|f| f.run.as_str()).collect();
    all.push(finding(
        if far.is_empty() { Severity::Pass } else { Severity::Warn },
        "injection far from the rest",
        if runs.is_empty() { format!("{} shots", shots.len()) } else { runs.join(", ") },
        Some(shots.iter().map(|s| s.p).fold(1.0, f64::min)),
        Some(LEVEL),
        "Student's t of the mean log area against the other flasks' shots, adjusted for their number after Holm",
        why,
        (!far.is_empty()).then_some(
            "a bubble, a half-filled syringe or a leak: with an internal standard the ratio may still hold; otherwise inject again",
        ),
    ));
}
