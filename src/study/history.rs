//! This study beside earlier ones: control charts of recoveries and areas.

use super::{HistoryOf, Study};
use crate::check::ControlChart;
use crate::estimate::significant;
use crate::results::{Finding, Results, Severity};

/// This many values in a row on one side of the centre tell of a shift (common practice: eight).
const ONE_SIDE: usize = 8;

impl Study {
    /// Each `[[history]]` of study.toml continued with this study's value.
    pub(super) fn control_charts(&self, results: &Results) -> Vec<Finding> {
        let mut all = Vec::new();
        for history in &self.config.history {
            // Checked when study.toml was read.
            let Ok(chart) = ControlChart::individuals(&history.values) else { continue };
            let compound = history.compound.as_str();
            let (quantity, unit, now) = match history.of {
                HistoryOf::Recovery => ("recovery of the check standard", " %", recovery(results, compound)),
                HistoryOf::Area => ("mean area", "", mean_area(results, compound)),
            };
            let place = format!("{compound}, {quantity}");
            let limits = format!("{} to {}{unit}", significant(chart.lower, 4), significant(chart.upper, 4));
            let origin = format!(
                "centre ± 2.66 mean moving ranges of {} earlier studies (Shewhart; ISO 7870-2): {limits}",
                history.values.len()
            );
            let (severity, limit, why) = match now {
                None => (Severity::Warn, None, "this study has no value to continue the chart with".to_owned()),
                Some(v) => {
                    let is_outside = v < chart.lower || v > chart.upper;
                    let side = |x: f64| (x - chart.centre).signum();
                    let last = history.values.iter().rev().take(ONE_SIDE - 1);
                    let in_a_row = history.values.len() >= ONE_SIDE - 1
                        && v != chart.centre
                        && last.clone().all(|x| *x != chart.centre && side(*x) == side(v));
                    let nearest = if v < chart.centre { chart.lower } else { chart.upper };
                    let said = match (is_outside, in_a_row) {
                        (true, _) => "outside the control limits",
                        (false, true) => "the eighth value in a row on one side of the centre",
                        (false, false) => "within the control limits",
                    };
                    let severity = if is_outside || in_a_row { Severity::Warn } else { Severity::Pass };
                    (severity, Some(nearest), format!("{}{unit}: {said}", significant(v, 4)))
                }
            };
            all.push(Finding {
                severity,
                what: "control chart".to_owned(),
                figure: now,
                limit,
                origin,
                place,
                why,
                next: (severity > Severity::Pass).then(|| {
                    "look for what changed since the last study: stock, column, septum, detector; keep the value in the chart"
                        .to_owned()
                }),
            });
        }
        all
    }
}

/// Mean recovery of the check standards, in %; other quantities of one amount say the same.
fn recovery(results: &Results, compound: &str) -> Option<f64> {
    let mut samples: Vec<(&str, f64)> = results
        .amounts
        .iter()
        .filter(|a| a.kind == "check_standard" && a.compound == compound)
        .filter_map(|a| Some((a.sample.as_str(), a.recovery_percent?)))
        .collect();
    samples.dedup_by_key(|s| s.0);
    crate::numeric::mean(&samples.iter().map(|s| s.1).collect::<Vec<_>>())
}

/// Mean area over the accepted standards, check standards and samples that show it.
fn mean_area(results: &Results, compound: &str) -> Option<f64> {
    let counts = |run: &str| {
        let r = results.runs.iter().find(|r| r.run == run);
        r.is_some_and(|r| r.accepted && ["standard", "check_standard", "sample"].contains(&r.kind.as_str()))
    };
    let areas: Vec<f64> = results
        .peaks
        .iter()
        .filter(|p| p.compound.as_deref() == Some(compound) && p.retention_time_min.is_some() && counts(&p.run))
        .map(|p| p.area)
        .collect();
    crate::numeric::mean(&areas)
}
