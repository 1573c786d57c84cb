//! Results → findings: is each run fit to be used, does each claim hold? Reads finished results, changes nothing.
//!
//! Every finding says what was seen, the limit, where the limit comes from, and what to do next.

mod calibration;
mod replicates;
mod runs;

use crate::results::{Finding, Results, Severity};

/// Limits of the checks; each can be set, each names its origin in the findings.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckLimits {
    /// Back-calculated standards and check standards, in % (common practice: 15, and 20 at the lowest level).
    pub deviation_percent: f64,
    /// The same at the lowest level, in %.
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
        }
    }
}

/// All checks over finished results, in a fixed order: runs first, then calibrations, then amounts.
///
/// `internal_standard` names the one in use, `without_internal_standard` the runs that should hold none.
pub fn findings(
    results: &Results,
    limits: &CheckLimits,
    internal_standard: Option<&str>,
    without_internal_standard: &[String],
) -> Vec<Finding> {
    let mut all = Vec::new();
    runs::duplicate_files(results, &mut all);
    runs::start_offsets(results, limits, &mut all);
    runs::peaks_cut_off(results, internal_standard, &mut all);
    runs::resolution(results, limits, &mut all);
    runs::blanks(results, limits, &mut all);
    if let Some(name) = internal_standard {
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
