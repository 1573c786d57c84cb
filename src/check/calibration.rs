//! Checks on calibrations and amounts: volume, lack of fit, back-calculation, order of levels, check standards, range.

use super::{CheckLimits, finding};
use crate::results::{CalibrationPoint, Finding, Results, Severity};

/// Does the injected volume cancel in the ratio?
pub(super) fn volume_cancels(results: &Results, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let Some(v) = &c.volume_cancels else { continue };
        all.push(finding(
            if v.cancels { Severity::Pass } else { Severity::Warn },
            "volume cancels in the ratio",
            &c.compound,
            Some(v.p_value),
            Some(0.05),
            "slope of log ratio on mean log area within flasks is 0, tested at 5 %",
            format!(
                "slope {:.3} ± {:.3}; a slope of {:.2} would have been found with 80 % power",
                v.slope, v.slope_se, v.detectable_slope
            ),
            (!v.cancels).then_some(
                "one of the two responses bends or is cut off; look at both peaks at the largest injections",
            ),
        ));
    }
}

/// Lack of fit against the scatter of flasks.
pub(super) fn lack_of_fit(results: &Results, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let Some(l) = &c.lack_of_fit else { continue };
        let good = l.p_value >= 0.05;
        let mut why = format!("F({}, {}) = {:.2}, p = {:.3}", l.dof[0], l.dof[1], l.f, l.p_value);
        if let Some(power) = &l.power {
            why.push_str("; ");
            why.push_str(power);
        }
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "lack of fit",
            &c.compound,
            Some(l.p_value),
            Some(0.05),
            "F test of levels against flasks at 5 %",
            why,
            (!good).then_some("look at the residuals: a bend asks for a narrower range or a declared quadratic, one stray level for its flask"),
        ));
    }
}

/// Back-calculated standards.
pub(super) fn back_calculated(results: &Results, limits: &CheckLimits, all: &mut Vec<Finding>) {
    for c in &results.calibrations {
        let used: Vec<(&CalibrationPoint, f64)> =
            c.points.iter().filter_map(|p| Some((p, p.deviation_percent?))).collect();
        let allowed = |p: &CalibrationPoint| {
            if p.x <= c.range[0] { limits.deviation_lowest_percent } else { limits.deviation_percent }
        };
        let Some(worst) = used.iter().max_by(|a, b| (a.1.abs() / allowed(a.0)).total_cmp(&(b.1.abs() / allowed(b.0))))
        else {
            continue;
        };
        let good = worst.1.abs() <= allowed(worst.0);
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "standards calculated back",
            format!("{}, {}", c.compound, worst.0.label),
            Some(worst.1),
            Some(allowed(worst.0)),
            "common practice: 15 %, 20 % at the lowest level",
            format!("the worst of {} flasks comes back {:+.1} % off", used.len(), worst.1),
            (!good).then_some(
                "check this flask's label and dilution; a flask left out by hand needs its reason in the log",
            ),
        ));
    }
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
            "common practice: within 15 % of the known content",
            format!("{recovery:.1} % of the known {} {}", short(expected), a.unit),
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
    crate::estimate::significant(x, 4)
}
