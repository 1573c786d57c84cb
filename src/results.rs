//! What a study yields: data only. `results.json` is a contract; its JSON Schema stands in `src/results.schema.json`.
//!
//! Missing is `null`, never 0. Retention times and widths are in minutes, areas in signal unit × minute.

use serde::{Deserialize, Serialize};

use crate::trace::ReadingNote;

mod naming;

pub use naming::{
    CandidateResult, EvidenceResult, HoldUpResult, LadderResult, MissingResult, NamingResult, ReferenceResult,
    RunShift, ShiftAt,
};

/// Version of the contract.
pub const SCHEMA: &str = "vialbook-results/1";

/// All results of a study, as in `results.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Results {
    /// Version of the contract: [`SCHEMA`].
    pub schema: String,
    /// Which program made it.
    pub program: Program,
    /// Which study it is about.
    pub study: StudyHead,
    /// One entry per injection, rejected ones included.
    pub runs: Vec<RunResult>,
    /// How the peaks got their names.
    #[serde(default)]
    pub naming: NamingResult,
    /// All peaks of all runs, and the windows integrated where no peak was found.
    pub peaks: Vec<PeakResult>,
    /// One per compound that was calibrated.
    pub calibrations: Vec<CalibrationResult>,
    /// One per sample, compound and quantity.
    pub amounts: Vec<AmountResult>,
    /// Flasks of samples and check standards beside each other, one per sample and compound.
    #[serde(default)]
    pub replicates: Vec<ReplicateResult>,
    /// Relative scatter of shots, flasks and days, one per calibrated compound.
    #[serde(default)]
    pub scatter: Vec<ScatterResult>,
    /// Amounts beside reference values.
    #[serde(default)]
    pub comparisons: Vec<ComparisonResult>,
    /// What was checked and decided.
    pub findings: Vec<Finding>,
}

/// The program that made the results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Program {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// The study that the results are about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StudyHead {
    /// Title.
    pub title: String,
    /// The question.
    pub question: Option<String>,
    /// Date as written in study.toml.
    pub date: Option<String>,
    /// True where the runs are simulated.
    pub simulated: bool,
    /// SHA-256 of study.toml.
    pub study_sha256: String,
    /// SHA-256 of the injection log.
    pub injections_sha256: String,
}

/// One injection.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunResult {
    /// Name in the injection log.
    pub run: String,
    /// File, relative to the study folder.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Kind of injection, as in the log.
    pub kind: String,
    /// Sample, as in the log.
    pub sample: String,
    /// Flask, as in the log.
    pub preparation: Option<String>,
    /// Shot of that flask.
    pub replicate: Option<String>,
    /// Clock time as written.
    pub time: Option<String>,
    /// False where the log rejects it.
    pub accepted: bool,
    /// Why it was rejected.
    pub reason: Option<String>,
    /// Common shift of its peaks against the standards, in seconds.
    pub start_offset_s: Option<f64>,
    /// Noise standard deviation (root mean square) in signal units.
    pub noise_sd: Option<f64>,
    /// Peak-to-peak noise in signal units, over `noise_window_min`.
    #[serde(default)]
    pub noise_peak_to_peak: Option<f64>,
    /// First and last minute of the longest stretch free of peaks, whose range the peak-to-peak noise is.
    #[serde(default)]
    pub noise_window_min: Option<[f64; 2]>,
    /// The baseline below its peaks, in words.
    #[serde(default)]
    pub baseline: String,
    /// Signal unit.
    pub signal_unit: String,
    /// How the file was read.
    pub reading: ReadingNote,
    /// Doubts.
    pub notes: Vec<String>,
}

/// One peak of one run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PeakResult {
    /// The run.
    pub run: String,
    /// The compound it is consistent with; `null` where none.
    pub compound: Option<String>,
    /// Probability of that name among the candidates considered.
    pub identity_probability: Option<f64>,
    /// All candidates for its name, most probable first; what is missing to 1 stands for an unknown.
    #[serde(default)]
    pub candidates: Vec<CandidateResult>,
    /// Retention index from the ladder of n-alkanes: Kovats' where the run is isothermal, otherwise the linear one.
    #[serde(default)]
    pub retention_index: Option<f64>,
    /// Its standard uncertainty.
    #[serde(default)]
    pub retention_index_u: Option<f64>,
    /// Retention factor (t - t₀)/t₀; isothermal runs with a known hold-up time only.
    #[serde(default)]
    pub retention_factor: Option<f64>,
    /// Retention relative to the internal standard, of adjusted times where the run is isothermal and the hold-up time
    /// known, otherwise of the times themselves; start offsets taken out.
    #[serde(default)]
    pub relative_retention: Option<f64>,
    /// Retention time in minutes; `null` where a window was integrated and nothing rose in it.
    pub retention_time_min: Option<f64>,
    /// Start of the peak in minutes.
    pub start_min: f64,
    /// End of the peak in minutes.
    pub end_min: f64,
    /// Area in signal unit × minute.
    pub area: f64,
    /// Standard uncertainty of the area from noise and baseline.
    pub area_u: f64,
    /// Height above the baseline in signal units.
    pub height: Option<f64>,
    /// Width at half height in minutes.
    pub width_half_min: Option<f64>,
    /// Plate number from the width at half height; isothermal runs only.
    pub plates_half_height: Option<f64>,
    /// Tailing factor at 5 % of height.
    pub tailing_factor_5pct: Option<f64>,
    /// Asymmetry at 10 % of height.
    pub asymmetry_10pct: Option<f64>,
    /// Resolution from the peak before it, by widths at half height.
    pub resolution_half_height: Option<f64>,
    /// Signal to noise, 2H/h, h the peak-to-peak noise next to the peak.
    pub signal_to_noise: Option<f64>,
    /// Height over the standard deviation of the noise.
    #[serde(default)]
    pub height_over_sd: Option<f64>,
    /// How it was integrated.
    pub method: String,
    /// Level of the baseline at start and end in signal units.
    pub baseline: [f64; 2],
    /// Figures of merit by further ways.
    #[serde(default)]
    pub merits: Option<MeritsResult>,
    /// What a fitted profile says of the peak; `method` tells whether the area is the fit's.
    #[serde(default)]
    pub fit: Option<FitResult>,
    /// Where its bounds were set by hand: why, and what the program had drawn.
    #[serde(default)]
    pub by_hand: Option<ByHandResult>,
    /// Doubts.
    pub notes: Vec<String>,
}

/// Figures of merit, each by the way in its name; `null` where it cannot be told, or has no meaning under a ramp.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeritsResult {
    /// Width at a tenth of the height in minutes.
    pub width_tenth_min: Option<f64>,
    /// Width on the baseline between inflection tangents, in minutes.
    pub width_tangent_min: Option<f64>,
    /// First moment in minutes.
    pub mean_min: Option<f64>,
    /// Second central moment in minutes squared.
    pub variance_min2: Option<f64>,
    /// Skewness.
    pub skewness: Option<f64>,
    /// Plate number 16 (tR/wb)² from the tangents.
    pub plates_tangent: Option<f64>,
    /// Plate number from the moments.
    pub plates_moments: Option<f64>,
    /// Plate number after Foley and Dorsey.
    pub plates_foley_dorsey: Option<f64>,
    /// Resolution from the peak before, by tangents.
    pub resolution_tangent: Option<f64>,
    /// Kaiser's valley between the peak before and this one.
    pub kaiser_valley: Option<f64>,
    /// Retention factor (tR - tM)/tM.
    pub retention_factor: Option<f64>,
    /// The hold-up time tM it was worked out with, in minutes.
    pub hold_up_min: Option<f64>,
}

/// A profile fitted to a peak.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FitResult {
    /// The profile in words.
    pub shape: String,
    /// Peaks fitted together.
    pub together: usize,
    /// Area of the profile.
    pub area: f64,
    /// Its standard uncertainty from noise.
    pub area_u: Option<f64>,
    /// What a perpendicular drop gives; one of several only.
    pub drop_area: Option<f64>,
    /// What the drop gives more than the fit, in % of the fitted area.
    pub drop_excess_percent: Option<f64>,
    /// The sum above a straight baseline; a peak alone only.
    pub sum_area: Option<f64>,
    /// Standard deviation of the Gaussian part in minutes.
    pub sigma_min: f64,
    /// Time constant of the tail in minutes, negative for a front.
    pub tau_min: Option<f64>,
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Probability of a χ² at least as large where the profile is right.
    pub probability: Option<f64>,
    /// False where the fit did not settle on a peak with an uncertainty.
    pub is_sound: bool,
}

/// Bounds set by hand, and what they took the place of; `null` where the program had integrated nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ByHandResult {
    /// Why.
    pub reason: String,
    /// Start before, in minutes.
    pub start_min: Option<f64>,
    /// End before, in minutes.
    pub end_min: Option<f64>,
    /// Area before.
    pub area: Option<f64>,
    /// Its standard uncertainty.
    pub area_u: Option<f64>,
    /// How it was integrated before.
    pub method: Option<String>,
}

/// One calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationResult {
    /// The compound.
    pub compound: String,
    /// "internal standard", "external standard" or "standard addition".
    pub quantification: String,
    /// The internal standard, where one was used.
    pub internal_standard: Option<String>,
    /// The curve in words.
    pub model: String,
    /// The weights in words.
    pub weights: String,
    /// What x is, with its unit.
    pub x_label: String,
    /// Unit of x.
    pub x_unit: String,
    /// What y is, with its unit.
    pub y_label: String,
    /// Unit of y.
    pub y_unit: String,
    /// Coefficients: intercept (where the model has one), slope, and what a curve that bends has besides.
    pub coefficients: Vec<Coefficient>,
    /// Their standard errors in the same order; `null` where there are none.
    pub standard_errors: Vec<Option<f64>>,
    /// Their covariance, row by row.
    pub covariance: Option<Vec<Vec<f64>>>,
    /// Residual standard deviation (weighted where weights were used).
    pub residual_sd: Option<f64>,
    /// Relative flask standard deviation ρ of the two-part variance.
    pub relative_sd: Option<f64>,
    /// Residual degrees of freedom.
    pub dof: f64,
    /// Coefficient of determination; no test of linearity.
    pub r_squared: Option<f64>,
    /// Lowest and highest content of the standards.
    pub range: [f64; 2],
    /// Lack-of-fit test.
    pub lack_of_fit: Option<LackOfFitResult>,
    /// Tests of the residuals; empty with too few degrees of freedom. p-values are not adjusted for their number.
    #[serde(default)]
    pub residual_tests: Vec<ResidualTestResult>,
    /// A mistake that would explain most of the scatter, in words; to be looked at where a test warns.
    #[serde(default)]
    pub suspicion: Option<String>,
    /// Change of the sensitivity over the injections; `null` where it cannot be asked.
    #[serde(default)]
    pub drift: Option<DriftResult>,
    /// The intercept beside the blank; `null` where the curve has none.
    #[serde(default)]
    pub intercept_check: Option<InterceptResult>,
    /// The line with the stated uncertainties of the contents; `null` where none are stated.
    #[serde(default)]
    pub errors_in_x: Option<ErrorsInXResult>,
    /// Relative standard error of the back-calculated contents in %.
    #[serde(default)]
    pub relative_standard_error_percent: Option<f64>,
    /// Whether volume cancels in the ratio (internal standard only).
    pub volume_cancels: Option<VolumeCancelsResult>,
    /// Critical content: above it a component is called detected.
    pub critical_value: Option<f64>,
    /// Detection limit, in units of x.
    pub detection_limit: Option<f64>,
    /// Quantitation limit, in units of x.
    pub quantitation_limit: Option<f64>,
    /// How the limits were worked out.
    pub limit_method: Option<String>,
    /// Range in which the true detection limit lies, given what scatter and slope are worth.
    #[serde(default)]
    pub detection_limit_range: Option<[f64; 2]>,
    /// Limits by other rules, each under its own name; for comparison, nothing is decided by them.
    #[serde(default)]
    pub other_limits: Vec<NamedLimit>,
    /// The flasks.
    pub points: Vec<CalibrationPoint>,
    /// Level of the confidence band and of the amounts' intervals.
    pub coverage_probability: f64,
    /// A grid of x with the curve and its confidence band, for drawing.
    pub curve: Vec<CurvePoint>,
    /// Doubts and remarks.
    pub notes: Vec<String>,
}

/// A coefficient of a calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Coefficient {
    /// Such as "intercept" or "slope".
    pub name: String,
    /// Its value.
    pub value: f64,
}

/// A lack-of-fit test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LackOfFitResult {
    /// F.
    pub f: f64,
    /// Degrees of freedom, numerator and denominator.
    pub dof: [f64; 2],
    /// p-value.
    pub p_value: f64,
    /// What it could have found, in words.
    pub power: Option<String>,
}

/// A test of a calibration's residuals.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ResidualTestResult {
    /// What it asks, such as "curvature".
    pub question: String,
    /// The statistic.
    pub statistic: f64,
    /// What the statistic is, such as "F(1, 7)".
    pub statistic_name: String,
    /// p-value of this one test.
    pub p_value: f64,
    /// What was seen.
    pub evidence: String,
    /// What to do where it warns.
    pub next: String,
}

/// How the sensitivity changes from the first injection to the last.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DriftResult {
    /// Relative change.
    pub change: f64,
    /// Its standard error.
    pub u: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// p-value of no change.
    pub p_value: f64,
    /// Change that would be found with 80 % power.
    pub detectable: f64,
    /// True where the order of the injections lets drift pass for a property of the curve.
    pub hidden: bool,
}

/// The line by generalised least squares with uncertain contents, beside the one used.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ErrorsInXResult {
    /// Intercept.
    pub intercept: f64,
    /// Its standard uncertainty.
    pub intercept_u: f64,
    /// Slope.
    pub slope: f64,
    /// Its standard uncertainty, what all standards share aside.
    pub slope_u: f64,
    /// Weighted sum of squares left.
    pub chi_squared: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Chance of so large a sum if the stated uncertainties are right.
    pub p_value: f64,
}

/// An intercept beside its blank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InterceptResult {
    /// p-value: of the blank's response where the blank shows, otherwise of 0.
    pub p_value: f64,
    /// p-value of 0.
    pub p_zero: f64,
    /// Response of the blank in the compound's window.
    pub blank: Option<f64>,
    /// Its standard uncertainty.
    pub blank_u: Option<f64>,
    /// "no blank", "beside an empty blank", "analyte of the matrix" or "other than the blank".
    pub meaning: String,
    /// Content that the standards' matrix holds of its own, in units of x.
    pub native_content: Option<f64>,
    /// Its standard uncertainty.
    pub native_content_u: Option<f64>,
    /// In words.
    pub evidence: String,
}

/// Whether the injected volume cancels in the ratio to the internal standard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VolumeCancelsResult {
    /// Slope of log ratio against mean log area within flasks; 0 where volume cancels.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// p-value of slope 0.
    pub p_value: f64,
    /// Slope that would be found with 80 % power.
    pub detectable_slope: f64,
    /// True where slope 0 is not refused at 5 %.
    pub cancels: bool,
}

/// One flask of a calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationPoint {
    /// The flask.
    pub label: String,
    /// Content or content ratio (x).
    pub x: f64,
    /// Mean response (y) over its shots.
    pub y: f64,
    /// Standard uncertainty of y from the traces alone.
    pub y_u: f64,
    /// Number of shots.
    pub shots: usize,
    /// Response minus curve; `null` where not used.
    pub residual: Option<f64>,
    /// Standardised residual.
    pub standardised_residual: Option<f64>,
    /// Leverage.
    pub leverage: Option<f64>,
    /// Cook's distance; to be looked at, no alarm.
    #[serde(default)]
    pub cooks_distance: Option<f64>,
    /// Content calculated back from the response.
    pub back_calculated: Option<f64>,
    /// Its deviation from the stated content in %.
    pub deviation_percent: Option<f64>,
    /// Why it was left out; `null` where used.
    pub excluded: Option<String>,
}

/// A point of a curve with its confidence band.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CurvePoint {
    /// x.
    pub x: f64,
    /// Curve.
    pub y: f64,
    /// Half-width of the confidence band of the mean; `null` without residual degrees of freedom.
    pub half_width: Option<f64>,
}

/// One amount.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AmountResult {
    /// The sample.
    pub sample: String,
    /// Kind of injection the sample came in as: "sample" or "check_standard".
    pub kind: String,
    /// The compound.
    pub compound: String,
    /// The quantity in words, such as "volume fraction".
    pub quantity: String,
    /// Of what it is a fraction: "undiluted sample".
    pub of: String,
    /// The value, signed.
    pub value: f64,
    /// Its standard uncertainty; `null` where a symmetric one would mislead.
    pub u: Option<f64>,
    /// Degrees of freedom; `null` stands for no limit.
    pub dof: Option<f64>,
    /// Level of the interval.
    pub coverage_probability: f64,
    /// Coverage interval; an open end is `null`.
    pub interval: [Option<f64>; 2],
    /// Unit.
    pub unit: String,
    /// Number of flasks.
    pub n_preparations: usize,
    /// Number of shots.
    pub n_injections: usize,
    /// False below the critical value.
    pub detected: bool,
    /// Critical value in the same unit.
    pub critical_value: Option<f64>,
    /// Detection limit in the same unit.
    pub detection_limit: Option<f64>,
    /// Content in the flask that was injected, before the dilution was multiplied in.
    pub in_flask: Option<f64>,
    /// Dilution multiplied in; 1 where none.
    pub dilution_applied: f64,
    /// Known content, for check standards.
    pub expected: Option<f64>,
    /// Value over known content in %, for check standards.
    pub recovery_percent: Option<f64>,
    /// The value and its interval as text, the same everywhere.
    pub text: String,
    /// Where the uncertainty comes from.
    pub budget: Vec<BudgetEntry>,
    /// Propagation of distributions; `null` where none was asked for.
    #[serde(default)]
    pub monte_carlo: Option<MonteCarloResult>,
    /// Doubts and remarks.
    pub notes: Vec<String>,
}

/// Propagation of distributions (JCGM 101) beside the linear uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MonteCarloResult {
    /// Number of trials.
    pub trials: usize,
    /// Interval of the trials at the amount's level.
    pub interval: [f64; 2],
    /// Value ± t·u at the same level; `null` where u is withheld.
    pub linear: Option<[f64; 2]>,
    /// How far the ends may differ.
    pub tolerance: f64,
    /// True where they differ by no more.
    pub linear_is_good: bool,
    /// In words.
    pub text: String,
}

/// The flasks of one sample beside each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReplicateResult {
    /// The sample.
    pub sample: String,
    /// "sample" or "check_standard".
    pub kind: String,
    /// The compound.
    pub compound: String,
    /// Unit of all contents.
    pub unit: String,
    /// The flasks.
    pub flasks: Vec<FlaskContent>,
    /// Mean of the flasks.
    pub mean: f64,
    /// Standard deviation between flasks; `null` with one.
    pub sd: Option<f64>,
    /// Robust mean, standard deviation and u of the mean; `null` below 3 flasks.
    pub robust: Option<RobustResult>,
    /// Grubbs' test; `null` below 4 flasks and where values are equal.
    pub grubbs: Option<OutlierResult>,
    /// Dixon's test, likewise.
    pub dixon: Option<OutlierResult>,
    /// Relative standard deviation between laboratories after Horwitz and Thompson in %, for mass fractions.
    pub predicted_rsd_percent: Option<f64>,
}

/// The content of one flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlaskContent {
    /// The flask.
    pub flask: String,
    /// Its content.
    pub value: f64,
    /// Shots behind it.
    pub shots: usize,
}

/// A robust mean.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RobustResult {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// Standard uncertainty of the mean.
    pub u: f64,
}

/// The value farthest from the rest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutlierResult {
    /// Which flask it is.
    pub flask: String,
    /// What the statistic is: "G", "r10", ...
    pub statistic_name: String,
    /// The statistic.
    pub statistic: f64,
    /// p-value of this one test.
    pub p_value: f64,
}

/// Relative scatter by its origin, pooled over standards, samples and check standards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScatterResult {
    /// The compound.
    pub compound: String,
    /// Relative standard deviation of shots within a flask, in %.
    pub shot_rsd_percent: Option<f64>,
    /// Its degrees of freedom.
    pub shot_dof: f64,
    /// Relative standard deviation of flask means, the shots' share included, in %.
    pub flask_rsd_percent: Option<f64>,
    /// Its degrees of freedom.
    pub flask_dof: f64,
    /// Relative variance between flasks with the shots' share taken out, in %²; negative where shots explain it all.
    pub flask_variance_percent2: Option<f64>,
    /// p-value of flasks adding nothing to shots.
    pub flask_p_value: Option<f64>,
    /// Relative variance between days, in %²; `null` where everything was measured on one day.
    pub day_variance_percent2: Option<f64>,
    /// Its degrees of freedom.
    pub day_dof: Option<f64>,
    /// p-value of days adding nothing to flasks.
    pub day_p_value: Option<f64>,
}

/// An amount beside a reference value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ComparisonResult {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// Unit of all values.
    pub unit: String,
    /// What was found.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Reference value.
    pub reference: f64,
    /// Its standard uncertainty.
    pub reference_u: f64,
    /// Where it comes from.
    pub origin: String,
    /// Found less reference.
    pub difference: f64,
    /// Its standard uncertainty.
    pub difference_u: f64,
    /// Difference over the root of the sum of squares of both expanded uncertainties.
    pub e_n: f64,
    /// Difference over its standard uncertainty.
    pub zeta: f64,
    /// Difference over the target standard deviation, the reference's u included; `null` without target.
    pub z: Option<f64>,
    /// The target standard deviation.
    pub target_sd: Option<f64>,
    /// Where the target comes from.
    pub target_origin: Option<String>,
    /// What is to be thought of the claimed u, in words.
    pub claimed_u: String,
}

/// A limit by a rule under its own name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NamedLimit {
    /// The rule, with the standard deviation that it rests on.
    pub rule: String,
    /// What the limit is: "critical value", "detection limit", "quantitation limit".
    pub what: String,
    /// The limit.
    pub value: f64,
    /// Its range, where the rule gives one.
    pub range: Option<[f64; 2]>,
    /// Unit.
    pub unit: String,
}

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BudgetEntry {
    /// Source in words.
    pub source: String,
    /// "shot", "flask" or "shared".
    pub scope: String,
    /// "A" from statistics, "B" from other knowledge.
    pub evaluation: String,
    /// Contribution to the standard uncertainty, in the amount's unit.
    pub contribution: f64,
    /// Share of the variance, 0 to 1.
    pub share: f64,
    /// Degrees of freedom; `null` stands for no limit.
    pub dof: Option<f64>,
}

/// How serious a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Checked and in order.
    Pass,
    /// A doubt that the reader should weigh.
    Warn,
    /// The claim does not hold as it stands.
    Fail,
}

impl Severity {
    /// "pass", "warn", "fail".
    pub fn word(self) -> &'static str {
        match self {
            Severity::Pass => "pass",
            Severity::Warn => "warn",
            Severity::Fail => "fail",
        }
    }
}

/// What a check saw or a decision came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// How serious it is.
    pub severity: Severity,
    /// What was checked.
    pub what: String,
    /// The figure seen.
    pub figure: Option<f64>,
    /// The limit it was held to.
    pub limit: Option<f64>,
    /// Where the limit comes from.
    pub origin: String,
    /// Where it was seen: a run, a flask, a compound.
    #[serde(rename = "where")]
    pub place: String,
    /// What the figure says.
    pub why: String,
    /// What to do next.
    pub next: Option<String>,
}

impl RunResult {
    /// The flask: sample and preparation, as in a calibration's points.
    pub fn flask(&self) -> String {
        flask_name(&self.sample, self.preparation.as_deref())
    }
}

/// The one name of a flask.
pub(crate) fn flask_name(sample: &str, preparation: Option<&str>) -> String {
    match preparation {
        Some(p) => format!("{sample} · {p}"),
        None => sample.to_owned(),
    }
}

impl Results {
    /// The amounts of one sample, in the order of the compounds.
    pub fn amounts_of(&self, sample: &str) -> Vec<&AmountResult> {
        self.amounts.iter().filter(|a| a.sample == sample).collect()
    }

    /// The worst severity of all findings; `Pass` where there are none.
    pub fn worst(&self) -> Severity {
        self.findings.iter().map(|f| f.severity).max().unwrap_or(Severity::Pass)
    }
}
