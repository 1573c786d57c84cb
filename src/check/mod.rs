//! Results → findings: is each run fit to be used, does each claim hold? Reads finished results, changes nothing.
//!
//! Every finding says what was seen, the limit, where the limit comes from, and what to do next.

mod calibration;
mod guide;
mod peaks;
mod replicates;
mod runs;
mod scatter;
mod sequence;

pub use guide::{Guidance, Guide, guide};
pub use sequence::ControlChart;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::results::{Finding, Results, Severity};

/// Limits of the checks; each can be set under `[limits]` in study.toml, each names its origin in the findings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CheckLimits {
    /// Back-calculated standards and check standards, in % (common practice: 15, and 20 at the lowest level). In study.toml
    /// it is `accepted_deviation_percent` under `[quantification]`.
    #[serde(skip)]
    pub deviation_percent: f64,
    /// The same at the lowest level, in %: `accepted_deviation_lowest_percent` there.
    #[serde(skip)]
    pub deviation_lowest_percent: f64,
    /// Relative standard error of the standards calculated back, in % (EPA SW-846 method 8000D: 20).
    pub relative_standard_error_percent: f64,
    /// Area of an analyte in a blank, in % of its mean area in the lowest standard (common practice: 20).
    pub blank_percent: f64,
    /// Area of the internal standard in a run that should hold none, in % of its usual area (common practice: 5).
    pub own_internal_standard_percent: f64,
    /// Start offset of a run in seconds beyond which it is mentioned (common practice: 3).
    pub start_offset_s: f64,
    /// Resolution below which two named neighbours are mentioned (baseline separation of equal peaks: 1.5).
    pub resolution: f64,
    /// Largest tailing factor (common practice: 2).
    pub tailing: f64,
    /// Smallest tailing factor: below it the peak fronts (pharmacopoeias: symmetry from 0.8).
    pub fronting: f64,
    /// Fewest plates, in isothermal runs; not checked where not set.
    pub plates: Option<f64>,
    /// Signal to noise of the lowest standard (ICH Q2: 10).
    pub signal_to_noise: f64,
    /// Points above half height (common practice: 5).
    pub points_above_half_height: f64,
    /// Standard deviation of retention over the standards, start offsets taken out, in % (common practice: 1).
    pub retention_scatter_percent: f64,
    /// Relative standard deviation of areas over the shots of a flask, in % (a syringe read by eye: 7 to 20).
    pub shot_area_percent: f64,
    /// The same of ratios to the internal standard (common practice: 1 to 2 remain; 3).
    pub shot_ratio_percent: f64,
    /// Largest less smallest response of one sample's flasks, in % of their mean (common practice: 20).
    pub flask_percent: f64,
    /// Area in a blank, in % of that in the run before it (common practice: 1).
    pub carry_over_percent: f64,
    /// Change of the internal standard's area over the sequence, in % (common practice: 20).
    pub internal_standard_drift_percent: f64,
    /// Area of the largest peak without a name, in % of the run's, solvent left out (common practice: 5).
    pub unknown_percent: f64,
    /// Change of the baseline below a peak, in % of its height (our choice: 30).
    pub baseline_step_percent: f64,
    /// Hottest part, in % of a compound's autoignition temperature in °C (common practice: 80).
    pub autoignition_percent: f64,
}

impl Default for CheckLimits {
    fn default() -> Self {
        CheckLimits {
            deviation_percent: 15.0,
            deviation_lowest_percent: 20.0,
            relative_standard_error_percent: 20.0,
            blank_percent: 20.0,
            own_internal_standard_percent: 5.0,
            start_offset_s: 3.0,
            resolution: 1.5,
            tailing: 2.0,
            fronting: 0.8,
            plates: None,
            signal_to_noise: 10.0,
            points_above_half_height: 5.0,
            retention_scatter_percent: 1.0,
            shot_area_percent: 20.0,
            shot_ratio_percent: 3.0,
            flask_percent: 20.0,
            carry_over_percent: 1.0,
            internal_standard_drift_percent: 20.0,
            unknown_percent: 5.0,
            baseline_step_percent: 30.0,
            autoignition_percent: 80.0,
        }
    }
}

impl CheckLimits {
    /// Limits that make no sense are named, so that a slip of the pen does not switch a check off.
    ///
    /// # Errors
    /// A limit that is no number above 0.
    pub fn check(&self) -> Result<()> {
        let all = [
            ("relative_standard_error_percent", self.relative_standard_error_percent),
            ("blank_percent", self.blank_percent),
            ("own_internal_standard_percent", self.own_internal_standard_percent),
            ("start_offset_s", self.start_offset_s),
            ("resolution", self.resolution),
            ("tailing", self.tailing),
            ("fronting", self.fronting),
            ("plates", self.plates.unwrap_or(1.0)),
            ("signal_to_noise", self.signal_to_noise),
            ("points_above_half_height", self.points_above_half_height),
            ("retention_scatter_percent", self.retention_scatter_percent),
            ("shot_area_percent", self.shot_area_percent),
            ("shot_ratio_percent", self.shot_ratio_percent),
            ("flask_percent", self.flask_percent),
            ("carry_over_percent", self.carry_over_percent),
            ("internal_standard_drift_percent", self.internal_standard_drift_percent),
            ("unknown_percent", self.unknown_percent),
            ("baseline_step_percent", self.baseline_step_percent),
            ("autoignition_percent", self.autoignition_percent),
        ];
        match all.iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)) {
            None => Ok(()),
            Some((name, v)) => {
                Err(Error::new(ErrorKind::Study, format!("{v} is no limit; a number above 0 is wanted"))
                    .at_field(format!("limits.{name}")))
            }
        }
    }
}

/// All checks over finished results, in a fixed order: runs first, then calibrations, then amounts.
///
/// `internal_standard` names the one in use, `without_internal_standard` the runs that should hold none, `solvents` what
/// everything is dissolved in.
pub fn findings(
    results: &Results,
    limits: &CheckLimits,
    internal_standard: Option<&str>,
    without_internal_standard: &[String],
    solvents: &[String],
) -> Vec<Finding> {
    let mut all = Vec::new();
    runs::duplicate_files(results, &mut all);
    runs::start_offsets(results, limits, &mut all);
    runs::peaks_cut_off(results, internal_standard, &mut all);
    runs::resolution(results, limits, &mut all);
    peaks::tailing(results, limits, internal_standard, &mut all);
    peaks::plates(results, limits, internal_standard, &mut all);
    peaks::signal_to_noise(results, limits, &mut all);
    peaks::points(results, limits, internal_standard, &mut all);
    peaks::baseline_step(results, limits, internal_standard, &mut all);
    peaks::unknown_peaks(results, limits, solvents, &mut all);
    scatter::retention(results, limits, &mut all);
    scatter::pooled(results, limits, internal_standard, &mut all);
    scatter::far_injections(results, internal_standard, &mut all);
    runs::blanks(results, limits, &mut all);
    sequence::carry_over(results, limits, internal_standard, &mut all);
    if let Some(name) = internal_standard {
        sequence::internal_standard_drift(results, limits, name, without_internal_standard, &mut all);
        runs::own_internal_standard(results, limits, name, without_internal_standard, &mut all);
    }
    calibration::tests(results, &mut all);
    calibration::back_calculated(results, limits, &mut all);
    calibration::falling_levels(results, &mut all);
    calibration::check_standards(results, limits, &mut all);
    calibration::relative_standard_error(results, limits, &mut all);
    calibration::range(results, &mut all);
    replicates::spread(results, &mut all);
    replicates::trials(results, &mut all);
    replicates::references(results, &mut all);
    guide::findings(results, internal_standard, &mut all);
    all
}

/// A finding in one call; the fields are those of the contract.
#[allow(clippy::too_many_arguments)] // the contract has eight fields
fn finding(
    severity: Severity,
    what: &str,
    place: impl Into<String>,
    figure: Option<f64>,
    limit: Option<f64>,
    origin: &str,
    why: impl Into<String>,
    next: Option<&str>,
) -> Finding {
    Finding {
        severity,
        what: what.to_owned(),
        figure,
        limit,
        origin: origin.to_owned(),
        place: place.into(),
        why: why.into(),
        next: next.map(str::to_owned),
    }
}
