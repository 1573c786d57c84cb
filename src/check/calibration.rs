//! Checks on calibrations and amounts: volume, lack of fit, back-calculation, order of levels, check standards, range.

use super::{CheckLimits, finding};
use crate::calibrate::Model;
use crate::estimate::{rounded, significant};
use crate::results::{CalibrationPoint, CalibrationResult, Finding, InterceptResult, Results, Severity};

/// The study's tests of hypothesis: volume cancels, lack of fit, residuals, drift, intercept, stray flasks. All p-values of a study are adjusted together
/// (S. Holm, Scand. J. Statist. 6 (1979) 65-70), so that a good study raises any of these doubts in at most 5 %.
pub(super) fn tests(results: &Results, all: &mut Vec<Finding>) {
    let volume = results.calibrations.iter().filter_map(|c| c.volume_cancels.as_ref().map(|v| v.p_value));
    let fit = results.calibrations.iter().filter_map(|c| c.lack_of_fit.as_ref().map(|l| l.p_value));
    let residuals = results.calibrations.iter().flat_map(|c| c.residual_tests.iter().map(|t| t.p_value));
    let drift = results.calibrations.iter().filter_map(|c| c.drift.as_ref().map(|d| d.p_value));
    let intercept = results.calibrations.iter().filter_map(|c| c.intercept_check.as_ref().map(|i| i.p_value));
    let grubbs = super::replicates::tested(results).map(|(_, g)| g.p_value);
    let p_values: Vec<f64> = volume.chain(fit).chain(residuals).chain(drift).chain(intercept).chain(grubbs).collect();
    let mut adjusted = holm(&p_values).into_iter();
    let origin = "tested at 5 %, adjusted for all tests of the study after Holm";
    for c in &results.calibrations {
        let Some(v) = &c.volume_cancels else { continue };
        let p = adjusted.next().unwrap_or(1.0);
        let good = p >= LEVEL;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "volume cancels in the ratio",
            &c.compound,
            Some(p),
            Some(LEVEL),
            &format!("slope of log ratio on mean log area within flasks, {origin}"),
            format!(
                "slope {} ± {} (standard error), {}; a slope of {} would have been found with 80 % power",
                rounded(v.slope, v.slope_se),
                significant(v.slope_se, 2),
                p_words(v.p_value),
                significant(v.detectable_slope, 2)
            ),
            (!good).then_some(
                "one of the two responses bends or is cut off; look at both peaks at the largest injections",
            ),
        ));
    }
    for c in &results.calibrations {
        let Some(l) = &c.lack_of_fit else { continue };
        let p = adjusted.next().unwrap_or(1.0);
        let good = p >= LEVEL;
        let mut why = format!("F({}, {}) = {}, {}", l.dof[0], l.dof[1], significant(l.f, 3), p_words(l.p_value));
        if let Some(power) = &l.power {
            why.push_str("; ");
            why.push_str(power);
        }
        if let Some(suspicion) = c.suspicion.as_ref().filter(|_| !good) {
            why.push_str("; ");
            why.push_str(suspicion);
        }
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "lack of fit",
            &c.compound,
            Some(p),
            Some(LEVEL),
            &format!("F test of levels against flasks, {origin}"),
            why,
            (!good).then_some("look at the residuals: a bend asks for a narrower range or a declared quadratic, one stray level for its flask"),
        ));
    }
    residual_doubts(results, &mut adjusted, origin, all);
    super::replicates::outliers(results, &mut adjusted, origin, all);
}

/// Residuals, drift and intercept of every calibration; `adjusted` gives their p-values in this order.
fn residual_doubts(results: &Results, adjusted: &mut impl Iterator<Item = f64>, origin: &str, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let mut smallest: Option<(f64, &str)> = None;
        for t in &c.residual_tests {
            let p = adjusted.next().unwrap_or(1.0);
            if smallest.is_none_or(|s| p < s.0) {
                smallest = Some((p, &t.question));
            }
            if p >= LEVEL {
                continue;
            }
            let mut why = format!(
                "{} = {}, {}; {}",
                t.statistic_name,
                significant(t.statistic, 3),
                p_words(t.p_value),
                t.evidence
            );
            if let Some(suspicion) = &c.suspicion {
                why.push_str("; ");
                why.push_str(suspicion);
            }
            let what = format!("residuals: {}", t.question);
            let origin = format!("test of residuals, {origin}");
            all.push(finding(Severity::Warn, &what, &c.compound, Some(p), Some(LEVEL), &origin, why, Some(&t.next)));
        }
        if let Some((p, question)) = smallest.filter(|s| s.0 >= LEVEL) {
            all.push(finding(
                Severity::Pass,
                "residuals",
                &c.compound,
                Some(p),
                Some(LEVEL),
                &format!("tests of residuals, {origin}"),
                format!(
                    "curvature, scatter, signs, shape and largest residual raise no doubt; the nearest to one is {question}"
                ),
                None,
            ));
        }
    }
    for c in &results.calibrations {
        let Some(d) = &c.drift else { continue };
        let p = adjusted.next().unwrap_or(1.0);
        let (severity, next) = if p < LEVEL {
            let next = "repeat a standard at the start and the end of the day; work with an internal standard, or bracket \
                        the samples between standards: the intervals do not cover drift";
            (Severity::Warn, Some(next))
        } else if d.hidden {
            let next = "mix the levels over the day and inject the shots of one flask apart from each other: in this \
                        order drift looks like a property of the curve";
            (Severity::Warn, Some(next))
        } else {
            (Severity::Pass, None)
        };
        all.push(finding(
            severity,
            "drift over the injections",
            &c.compound,
            Some(p),
            Some(LEVEL),
            &format!("change of sensitivity with the order of injection, {origin}"),
            format!(
                "sensitivity changes by {} ± {} % (standard error) from the first injection to the last, {}; a change of \
                 {} % would have been found with 80 % power{}",
                rounded(100.0 * d.change, 100.0 * d.u),
                significant(100.0 * d.u, 2),
                p_words(d.p_value),
                significant(100.0 * d.detectable, 2),
                if d.hidden { "; the order of the injections goes with the contents and hides drift" } else { "" }
            ),
            next,
        ));
    }
    for c in &results.calibrations {
        let Some(i) = &c.intercept_check else { continue };
        let p = adjusted.next().unwrap_or(1.0);
        intercept(c, i, p, origin, all);
    }
}

/// An intercept that is not what the blank says, or one that is.
fn intercept(c: &CalibrationResult, i: &InterceptResult, p: f64, origin: &str, all: &mut Vec<Finding>) {
    let native = i.native_content.filter(|_| i.p_zero < LEVEL);
    let mut why = format!("{}, {}", i.evidence, p_words(i.p_value));
    let (severity, next) = match (native, p < LEVEL) {
        (Some(content), _) => {
            why.push_str("; the standards' matrix holds ");
            why.push_str(&match i.native_content_u {
                Some(u) => format!("{} ± {} (standard uncertainty)", rounded(content, u), significant(u, 2)),
                None => significant(content, 2),
            });
            why.push_str(" of its own, in units of x");
            let next = "a line through zero would be wrong by this content; take a cleaner matrix, or report amounts that \
                        include or leave out what the matrix holds, and say which";
            (Severity::Warn, Some(next))
        }
        (None, false) => (Severity::Pass, None),
        (None, true) => (
            Severity::Warn,
            Some(match i.meaning.as_str() {
                "no blank" => "inject a blank: it tells analyte of the matrix from a bend or a wrong baseline",
                "other than the blank" => {
                    "the blank is not the standards' matrix, or a peak beside the compound is taken along"
                }
                _ => {
                    "no analyte explains it: look at the integration of the smallest peaks, at carry-over and at a bend \
                     near zero"
                }
            }),
        ),
    };
    // A line through zero does not stand beside an intercept.
    let refused = severity == Severity::Warn && c.model == Model::ThroughZero.words();
    let (severity, next) = if refused {
        why.push_str("; a line through zero was declared and is refused");
        (Severity::Fail, Some("declare a line with intercept in study.toml"))
    } else {
        (severity, next)
    };
    let origin = format!("Student's t of the intercept beside the blank, {origin}");
    all.push(finding(severity, "intercept", &c.compound, Some(p), Some(LEVEL), &origin, why, next));
}

/// Level of the study's tests.
pub(super) const LEVEL: f64 = 0.05;

/// p-values adjusted so that the chance of any false alarm among them is at most the level.
pub(super) fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut running = 0.0_f64;
    for (rank, &i) in order.iter().enumerate() {
        running = running.max((p.len() - rank) as f64 * p[i]).min(1.0);
        adjusted[i] = running;
    }
    adjusted
}

/// A p-value in words, never rounded to 0.
pub(super) fn p_words(p: f64) -> String {
    if p < 0.001 { "p < 0.001".to_owned() } else { format!("p = {}", significant(p, 2)) }
}

/// Back-calculated standards: one outside its limit is a doubt; more than a quarter of them, or one by three
/// times its limit, and the calibration does not hold.
pub(super) fn back_calculated(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let allowed = |p: &CalibrationPoint| {
            if p.x <= c.range[0] { limits.deviation_lowest_percent } else { limits.deviation_percent }
        };
        // How many times its limit each flask is off.
        let used: Vec<(&CalibrationPoint, f64, f64)> = c
            .points
            .iter()
            .filter(|p| p.excluded.is_none())
            .filter_map(|p| p.deviation_percent.map(|d| (p, d, d.abs() / allowed(p))))
            .collect();
        let Some(worst) = used.iter().max_by(|a, b| a.2.total_cmp(&b.2)) else { continue };
        let outside = used.iter().filter(|u| u.2 > 1.0).count();
        let severity = match outside {
            0 => Severity::Pass,
            n if 4 * n > used.len() || worst.2 > 3.0 => Severity::Fail,
            _ => Severity::Warn,
        };
        all.push(finding(
            severity,
            "standards calculated back",
            format!("{}, {}", c.compound, worst.0.label),
            Some(worst.1),
            Some(allowed(worst.0)),
            &format!(
                "accepted deviation {} %, {} % at the lowest level (common practice: 15 and 20), for three quarters of the flasks",
                limits.deviation_percent, limits.deviation_lowest_percent
            ),
            format!(
                "{} of {} flasks within; nearest to its limit, or farthest beyond, is {} with {} % of its content",
                used.len() - outside,
                used.len(),
                worst.0.label,
                signed(worst.1)
            ),
            (severity > Severity::Pass)
                .then_some("check this flask's label, stated content and dilution; a flask left out by hand needs its reason in the log"),
        ));
    }
}

/// Relative standard error of the standards calculated back: a doubt, since single flasks were held to their limits.
pub(super) fn relative_standard_error(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let Some(rse) = c.relative_standard_error_percent else { continue };
        let good = rse <= limits.relative_standard_error_percent;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "relative standard error of the standards",
            &c.compound,
            Some(rse),
            Some(limits.relative_standard_error_percent),
            "20 % (EPA SW-846 method 8000D, section 11.5.6, from memory)",
            format!("contents calculated back scatter by {} % about those stated", significant(rse, 2)),
            (!good)
                .then_some("look which levels are off; the lowest ones ask for the two-part variance or 1/x² weights"),
        ));
    }
}

/// A deviation with its sign.
fn signed(percent: f64) -> String {
    format!("{}{}", if percent > 0.0 { "+" } else { "" }, significant(percent, 2))
}

/// A response that falls as the level rises: two flasks swapped, or one mislabelled.
pub(super) fn falling_levels(results: &Results, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let mut points: Vec<&CalibrationPoint> = c.points.iter().filter(|p| p.excluded.is_none()).collect();
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
        let levels: Vec<(f64, f64)> = points
            .chunk_by(|a, b| a.x == b.x)
            .map(|level| (level[0].x, level.iter().map(|p| p.y).sum::<f64>() / level.len() as f64))
            .collect();
        for pair in levels.windows(2).filter(|p| p[1].1 < p[0].1) {
            all.push(finding(
                Severity::Warn,
                "response falls as the level rises",
                format!("{}: {} and {} {}", c.compound, short(pair[0].0), short(pair[1].0), c.x_unit),
                Some(pair[1].1),
                Some(pair[0].1),
                "a calibration rises",
                "the higher of two levels gives the smaller mean response; these two look swapped, or one is mislabelled",
                Some("check the labels of these flasks; nothing was dropped or changed"),
            ));
        }
    }
}

/// Recovery of check standards.
pub(super) fn check_standards(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    let mut seen = Vec::new();
    for a in results.amounts.iter().filter(|a| a.kind == "check_standard") {
        let (Some(recovery), Some(expected)) = (a.recovery_percent, a.expected) else { continue };
        // One finding per compound: other quantities of the same amount say the same.
        if seen.contains(&(&a.sample, &a.compound)) {
            continue;
        }
        seen.push((&a.sample, &a.compound));
        let good = (recovery - 100.0).abs() <= limits.deviation_percent;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Fail },
            "check standard",
            format!("{}, {}", a.compound, a.sample),
            Some(recovery),
            Some(limits.deviation_percent),
            &format!("accepted deviation {} % (common practice: 15)", limits.deviation_percent),
            format!("{} % of the known {} {}", significant(recovery, 4), short(expected), a.unit),
            (!good).then_some("the two stocks disagree: make one of them again before any amount is reported"),
        ));
    }
    if !results.amounts.iter().any(|a| a.kind == "check_standard") && !results.calibrations.is_empty() {
        all.push(finding(
            Severity::Warn,
            "check standard",
            "study",
            None,
            None,
            "common practice",
            "no standard from a second stock was measured; an error of the stock would go unseen",
            Some("make one standard from another stock and log it as check_standard"),
        ));
    }
}

/// Amounts whose response lies outside the standards.
pub(super) fn range(results: &Results, all: &mut Vec<Finding>) {
    for a in results.amounts.iter().filter(|a| a.kind == "sample") {
        for note in a.notes.iter().filter(|n| n.contains("lowest standard") || n.contains("highest standard")) {
            let place = format!("{}, {}", a.compound, a.sample);
            if all.iter().any(|f| f.what == "inside the calibrated range" && f.place == place) {
                continue;
            }
            all.push(finding(
                Severity::Warn,
                "inside the calibrated range",
                place,
                Some(a.value),
                None,
                "lowest and highest standard",
                note.clone(),
                None,
            ));
        }
    }
}

fn short(x: f64) -> String {
    significant(x, 4)
}

#[cfg(test)]
mod tests {
    /// From the definition, by hand: sorted p times n, n - 1, …, made to rise.
    #[test]
    fn holm_by_hand() {
        let adjusted = super::holm(&[0.01, 0.04, 0.03, 0.005]);
        let by_hand = [0.03, 0.06, 0.06, 0.02];
        assert!(adjusted.iter().zip(by_hand).all(|(a, b)| (a - b).abs() < 1e-15), "{adjusted:?}");
        assert_eq!(super::holm(&[0.9, 0.8]), [1.0, 1.0]);
    }
}
