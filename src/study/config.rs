//! `study.toml`: what the study is about, the instrument, the solutions, the compounds, the rules fixed beforehand.
//!
//! Every key is listed here; an unknown key is an error that names its line, so that a typing
//! mistake never passes as a default.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::units::ContentUnit;

use super::PeakSettings;

pub use crate::quantify::Added;

/// The whole of `study.toml`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StudyConfig {
    /// Title of the study and of its report.
    pub title: String,
    /// The question that the study answers.
    #[serde(default)]
    pub question: Option<String>,
    /// Who did it.
    #[serde(default)]
    pub authors: Vec<String>,
    /// Where it was done.
    #[serde(default)]
    pub institution: Option<String>,
    /// Date of the work, such as `"2026-03-12"`; printed as written and used as the report's fixed date.
    #[serde(default)]
    pub date: Option<String>,
    /// True where the runs are simulated: every page then says so.
    #[serde(default)]
    pub simulated: bool,
    /// Remarks, printed as text.
    #[serde(default)]
    pub notes: Vec<String>,
    /// The instrument and its limits.
    #[serde(default)]
    pub instrument: Instrument,
    /// The column.
    #[serde(default)]
    pub column: Column,
    /// The detector.
    #[serde(default)]
    pub detector: Detector,
    /// Oven and pressure programmes.
    #[serde(default, rename = "method")]
    pub methods: Vec<Method>,
    /// Solutions and what their contents' uncertainty comes from.
    #[serde(default, rename = "solution")]
    pub solutions: Vec<Solution>,
    /// The compounds looked for.
    #[serde(default, rename = "compound")]
    pub compounds: Vec<Compound>,
    /// Components that the detector does not show.
    #[serde(default, rename = "unseen")]
    pub unseen: Vec<Unseen>,
    /// How files are read, where the files alone do not settle it.
    #[serde(default)]
    pub reading: crate::read::ReadOptions,
    /// How peaks are found.
    #[serde(default)]
    pub peaks: PeakSettings,
    /// Limits of the checks, where others than the usual ones are wanted.
    #[serde(default)]
    pub limits: crate::check::CheckLimits,
    /// How amounts are worked out.
    #[serde(default)]
    pub quantification: Quantification,
    /// Limits and the rule of decision, fixed beforehand.
    #[serde(default)]
    pub decision: Option<Decision>,
    /// Values of earlier studies, for control charts.
    #[serde(default)]
    pub history: Vec<History>,
    /// Reference values to compare amounts with.
    #[serde(default, rename = "comparison")]
    pub comparisons: Vec<super::Comparison>,
    /// The record of the test: numbers, dates, people.
    #[serde(default)]
    pub record: super::Record,
    /// Questions of a worked example.
    #[serde(default, rename = "task")]
    pub tasks: Vec<super::Task>,
    /// The author's words and the report's settings.
    #[serde(default)]
    pub report: ReportSettings,
}

/// The instrument, as far as it is stated; nothing is assumed about it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Instrument {
    /// In the author's words; no value is derived from it.
    pub description: Option<String>,
    /// Carrier gas.
    pub carrier: Option<String>,
    /// Highest oven temperature in °C; 160 where not stated (common practice for this kind of instrument).
    #[serde(rename = "oven_max_C")]
    pub oven_max_c: Option<f64>,
    /// Temperature of the room in °C; 25 where not stated (common practice). The oven starts above it.
    #[serde(rename = "room_C")]
    pub room_c: Option<f64>,
    /// Highest inlet pressure above the room's, in kPa.
    #[serde(rename = "pressure_max_kPa")]
    pub pressure_max_kpa: Option<f64>,
    /// Temperature of the injection port in °C, where heated.
    #[serde(rename = "injector_C")]
    pub injector_c: Option<f64>,
    /// Temperature of the detector in °C, where heated.
    #[serde(rename = "detector_C")]
    pub detector_c: Option<f64>,
    /// Smallest volume to inject, in µL; 0.1 where not stated (common practice).
    #[serde(rename = "volume_min_uL")]
    pub volume_min_ul: Option<f64>,
    /// Largest volume to inject, in µL; 0.6 where not stated (common practice).
    #[serde(rename = "volume_max_uL")]
    pub volume_max_ul: Option<f64>,
}

/// The column.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Column {
    /// Stationary phase, such as "methyl siloxane".
    pub phase: Option<String>,
    /// Length in metres.
    pub length_m: Option<f64>,
    /// Inner diameter in millimetres.
    pub bore_mm: Option<f64>,
    /// Film thickness in micrometres (open columns).
    pub film_um: Option<f64>,
    /// Packing (packed columns).
    pub packing: Option<String>,
    /// Highest temperature of the phase in hot air, in °C.
    #[serde(rename = "max_temperature_in_air_C")]
    pub max_temperature_in_air_c: Option<f64>,
}

/// The detector.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Detector {
    /// Kind in words, such as "photo-ionisation".
    pub kind: Option<String>,
    /// How the signal follows the amount.
    pub response: ResponseModel,
    /// Signal unit, where the export is silent.
    pub unit: Option<String>,
    /// Full scale in signal units.
    pub full_scale: Option<f64>,
    /// Step of the converter in signal units.
    pub step: Option<f64>,
}

impl Default for Detector {
    fn default() -> Self {
        Detector { kind: None, response: ResponseModel::Proportional, unit: None, full_scale: None, step: None }
    }
}

/// How a detector's signal follows the amount.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ResponseModel {
    /// Proportional to the amount.
    Proportional,
}

/// A temperature and pressure programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Method {
    /// Name, as in the injection log's column `method`.
    pub name: String,
    /// Oven steps: the first has no ramp.
    #[serde(default)]
    pub oven: Vec<OvenStep>,
    /// Inlet pressure in kPa.
    #[serde(default, rename = "inlet_pressure_kPa")]
    pub inlet_pressure_kpa: Option<f64>,
    /// Whether that pressure is above the room's or absolute; must be said where a pressure is given.
    #[serde(default)]
    pub pressure_is: Option<PressureKind>,
    /// The room's pressure in kPa.
    #[serde(default, rename = "barometer_kPa")]
    pub barometer_kpa: Option<f64>,
    /// Carrier flow at the outlet in mL/min, as measured.
    #[serde(default, rename = "flow_mL_min")]
    pub flow_ml_min: Option<f64>,
    /// Hold-up time in minutes, where measured.
    #[serde(default)]
    pub hold_up_min: Option<f64>,
    /// What the start button starts.
    #[serde(default)]
    pub start_button: StartButton,
}

/// One step of the oven's programme.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OvenStep {
    /// Temperature reached, in °C.
    #[serde(rename = "temperature_C")]
    pub temperature_c: f64,
    /// Ramp to it in °C/min; missing in the first step.
    #[serde(default, rename = "ramp_C_per_min")]
    pub ramp_c_per_min: Option<f64>,
    /// Time held there, in minutes.
    #[serde(default)]
    pub hold_min: f64,
}

/// Whether a pressure is above the room's or absolute.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PressureKind {
    /// Above the room's pressure.
    Gauge,
    /// Absolute.
    Absolute,
}

/// What the start button starts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StartButton {
    /// The recording only: a late thumb shifts all peaks alike.
    #[default]
    Recording,
    /// Oven and recording: a late thumb shifts early peaks more than late ones.
    OvenAndRecording,
}

/// A solution: what was made from what, and where its contents' uncertainty comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Solution {
    /// Name, such as "stock A".
    pub name: String,
    /// How it was made, in words: masses, volumes, purities, temperature.
    #[serde(default)]
    pub made: Option<String>,
    /// Which runs' contents rest on it.
    #[serde(default)]
    pub used_in: UsedIn,
    /// Elementary sources of uncertainty of its contents.
    #[serde(default, rename = "source")]
    pub sources: Vec<Source>,
    /// Why solvent may have left it, in words, such as "stood open for 20 min": flagged in the findings, never corrected.
    #[serde(default)]
    pub evaporation: Option<String>,
}

/// Which injections' contents rest on a solution.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UsedIn {
    /// The calibration standards.
    #[default]
    Standards,
    /// The samples, such as the pipette that all dilutions shared.
    Samples,
    /// Both alike, as the internal standard's solution: it cancels where both got the same.
    Both,
    /// Only for information: check standards, blanks.
    Other,
}

/// One elementary source of relative uncertainty, labelled shot, flask or shared. Its size is stated in one of four ways.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// In words: "purity of isopropyl acetate".
    pub name: String,
    /// Relative half-width of the tolerance, such as 0.005 for ± 0.5 %.
    #[serde(default)]
    pub relative_half_width: Option<f64>,
    /// Relative standard uncertainty, instead of a half-width.
    #[serde(default)]
    pub relative_u: Option<f64>,
    /// What was read or measured out: 10.00 for a pipette of 10 mL, 0.5012 for a mass in g; together with `half_width`.
    #[serde(default)]
    pub nominal: Option<f64>,
    /// Half-width of the tolerance in the unit of `nominal`, as glassware and balances state it.
    #[serde(default)]
    pub half_width: Option<f64>,
    /// Independent readings behind `nominal`, each with that tolerance: 2 for a mass by difference (default 1).
    #[serde(default)]
    pub readings: Option<u32>,
    /// How far the temperature may have been from that of the stated contents, in K: liquids expand.
    #[serde(default, rename = "temperature_half_width_K")]
    pub temperature_half_width_k: Option<f64>,
    /// Relative expansion of the liquid per K; 0.001 where not stated (organic liquids, common practice; water 0.0002).
    #[serde(default, rename = "expansion_per_K")]
    pub expansion_per_k: Option<f64>,
    /// Distribution over the half-width.
    #[serde(default)]
    pub distribution: Distribution,
    /// Whether it strikes each shot, each flask, or all alike.
    #[serde(default)]
    pub scope: Scope,
    /// The compounds it touches; none named: all.
    #[serde(default)]
    pub compounds: Vec<String>,
    /// The standards that share it, by the log's column `sample`, where it is shared by some only: one intermediate
    /// dilution that several levels were made from. None named: all.
    #[serde(default)]
    pub standards: Vec<String>,
}

/// Relative expansion of organic liquids per K (common practice; 0.00083 for alkanes C₁₂ to 0.0016 for diethyl ether).
pub(crate) const EXPANSION_PER_K: f64 = 0.001;

/// Distribution of a tolerance, for its standard uncertainty (GUM 4.3.7 to 4.3.9).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Distribution {
    /// u = a/√3.
    #[default]
    Rectangular,
    /// u = a/√6.
    Triangular,
    /// The half-width is a 95 % interval: u = a/1.96.
    Normal95,
}

/// What a source of uncertainty strikes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Each injection anew.
    Shot,
    /// Each flask anew.
    Flask,
    /// All flasks alike: it does not average out.
    #[default]
    Shared,
}

impl Source {
    /// Relative half-width, however the tolerance was stated; `None` where a standard uncertainty was, or nothing.
    pub fn half_width(&self) -> Option<f64> {
        let readings = f64::from(self.readings.unwrap_or(1).max(1));
        let measured = self.nominal.zip(self.half_width).map(|(x, a)| libm::sqrt(readings) * a / x);
        let warmed = self.temperature_half_width_k.map(|t| t * self.expansion_per_k.unwrap_or(EXPANSION_PER_K));
        self.relative_half_width.or(measured).or(warmed)
    }

    /// Relative standard uncertainty; `None` where none of the ways of stating it was used.
    pub fn standard(&self) -> Option<f64> {
        let divisor = match self.distribution {
            Distribution::Rectangular => 3f64.sqrt(),
            Distribution::Triangular => 6f64.sqrt(),
            Distribution::Normal95 => 1.959_963_984_540_054, // normal quantile at 0.975
        };
        self.relative_u.or(self.half_width().map(|a| a / divisor))
    }

    /// What is wrong with it, in words.
    fn fault(&self) -> Option<String> {
        let name = &self.name;
        let ways = [
            self.relative_half_width.is_some(),
            self.relative_u.is_some(),
            self.nominal.is_some() || self.half_width.is_some(),
            self.temperature_half_width_k.is_some(),
        ];
        match ways.iter().filter(|w| **w).count() {
            1 => {}
            0 => {
                return Some(format!(
                    "\"{name}\" states neither relative_half_width nor relative_u, nor nominal with half_width, nor \
                     temperature_half_width_K; one of them is wanted"
                ));
            }
            _ if ways[0] && ways[1] => {
                return Some(format!("\"{name}\" states both relative_half_width and relative_u; one is wanted"));
            }
            _ => return Some(format!("\"{name}\" states its size in two ways; one is wanted")),
        }
        if self.nominal.is_some() != self.half_width.is_some() {
            return Some(format!("\"{name}\": nominal and half_width stand together, in one unit"));
        }
        if self.expansion_per_k.is_some() && self.temperature_half_width_k.is_none() {
            return Some(format!("\"{name}\": expansion_per_K says nothing without temperature_half_width_K"));
        }
        if self.readings.is_some() && self.nominal.is_none() {
            return Some(format!("\"{name}\": readings says nothing without nominal and half_width"));
        }
        if self.readings == Some(0) {
            return Some(format!("\"{name}\": 0 readings; 1 or more are wanted"));
        }
        if let Some(x) = self.nominal.filter(|x| !(x.is_finite() && *x > 0.0)) {
            return Some(format!("\"{name}\": a nominal value of {x}; a number above 0 is wanted"));
        }
        let stated = self.relative_u.or_else(|| self.half_width());
        if let Some(v) = stated.filter(|v| !(v.is_finite() && (0.0..1.0).contains(v))) {
            return Some(format!("\"{name}\": {v} is no relative uncertainty; 0.005 stands for 0.5 %"));
        }
        if !self.standards.is_empty() && self.scope != Scope::Shared {
            return Some(format!(
                "\"{name}\" names the standards that share it, but its scope is another; \"shared\" is wanted"
            ));
        }
        None
    }

    /// True where it touches `compound`.
    pub fn touches(&self, compound: &str) -> bool {
        self.compounds.is_empty() || self.compounds.iter().any(|c| c == compound)
    }
}

/// A compound looked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Compound {
    /// Name, as in the injection log's content columns.
    pub name: String,
    /// CAS registry number, for hazards and properties; the name is looked up where it is missing.
    #[serde(default)]
    pub cas: Option<String>,
    /// What it is in this study.
    #[serde(default)]
    pub role: Role,
    /// Expected retention time in minutes, roughly; the standards refine it.
    #[serde(default)]
    pub retention_min: Option<f64>,
    /// Half-width of the window around it, in minutes.
    #[serde(default)]
    pub window_min: Option<f64>,
    /// Fixed integration window `[start, end]` in minutes, instead of a found peak.
    #[serde(default)]
    pub integrate_min: Option<[f64; 2]>,
    /// Boiling point in °C, instead of the table's: compounds of one family should elute in its order.
    #[serde(default, rename = "boiling_point_C")]
    pub boiling_point_c: Option<f64>,
    /// Family of compounds, such as "esters", instead of the table's.
    #[serde(default)]
    pub family: Option<String>,
    /// Density of the pure liquid in g/mL, instead of the table's.
    #[serde(default, rename = "density_g_mL")]
    pub density_g_ml: Option<f64>,
    /// Its standard uncertainty in g/mL.
    #[serde(default, rename = "density_u_g_mL")]
    pub density_u_g_ml: Option<f64>,
    /// Response factor by mass for a normalisation: mass over area, relative to any one compound.
    #[serde(default)]
    pub response_factor: Option<f64>,
    /// Its relative standard uncertainty.
    #[serde(default)]
    pub response_factor_relative_u: Option<f64>,
    /// Groups that its effective carbon number is counted from, instead of a response factor; flame ionisation only.
    #[serde(default)]
    pub carbon_groups: Option<crate::quantify::CarbonGroups>,
    /// Molar mass in g/mol for that, instead of the table's.
    #[serde(default)]
    pub molar_mass_g_mol: Option<f64>,
}

/// A component that the detector does not show, for a normalisation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unseen {
    /// The component, such as "water" on a flame-ionisation detector.
    pub name: String,
    /// The samples that hold it; none named: all.
    #[serde(default)]
    pub samples: Vec<String>,
    /// Mass fraction found in another way, 0 to 1; where it is missing no share can be given.
    #[serde(default)]
    pub mass_fraction: Option<f64>,
    /// Its standard uncertainty.
    #[serde(default)]
    pub u: f64,
}

/// What a compound is in a study.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Its content is wanted.
    #[default]
    Analyte,
    /// Added in known content to every flask.
    InternalStandard,
    /// What everything is dissolved in.
    Solvent,
    /// Named where it appears, not quantified.
    Named,
}

/// Values of earlier studies in the order of time, for a control chart that this study continues.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct History {
    /// What the values are.
    pub of: HistoryOf,
    /// The compound.
    pub compound: String,
    /// The values, earliest first; at least 5.
    pub values: Vec<f64>,
}

/// What a control chart is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HistoryOf {
    /// Recovery of the check standard in %.
    Recovery,
    /// Mean area over standards and samples, as of an internal standard.
    Area,
}

/// How amounts are worked out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Quantification {
    /// Against what.
    pub by: QuantifyBy,
    /// The internal standard's name.
    pub internal_standard: Option<String>,
    /// When the internal standard went in; must be said where a dilution is logged.
    pub internal_standard_added: Option<Added>,
    /// The curve, fixed beforehand.
    pub model: ModelChoice,
    /// The weights.
    pub weights: WeightChoice,
    /// Level of confidence.
    pub level: f64,
    /// Density of the sample in g/mL, for mass fractions.
    #[serde(rename = "sample_density_g_mL")]
    pub sample_density_g_ml: Option<f64>,
    /// Its standard uncertainty in g/mL.
    #[serde(rename = "sample_density_u_g_mL")]
    pub sample_density_u_g_ml: Option<f64>,
    /// Accepted deviation of a check standard in %, and of back-calculated standards (common practice: 15).
    pub accepted_deviation_percent: f64,
    /// The same of standards at the lowest level; 20, or the other where that is larger, where not stated (common practice).
    pub accepted_deviation_lowest_percent: Option<f64>,
    /// Trials of a Monte Carlo check of every sample's amount (JCGM 101); none where not stated. 10⁶ are usual.
    pub monte_carlo_trials: Option<usize>,
    /// A low sample of 7 flasks or more for the method detection limit of 40 CFR 136, appendix B.
    pub detection_replicates: Option<String>,
}

impl Default for Quantification {
    fn default() -> Self {
        Quantification {
            by: QuantifyBy::default(),
            internal_standard: None,
            internal_standard_added: None,
            model: ModelChoice::default(),
            weights: WeightChoice::default(),
            level: 0.95,
            sample_density_g_ml: None,
            sample_density_u_g_ml: None,
            accepted_deviation_percent: 15.0,
            accepted_deviation_lowest_percent: None,
            monte_carlo_trials: None,
            detection_replicates: None,
        }
    }
}

/// Against what a content is worked out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum QuantifyBy {
    /// The area itself against the content.
    #[default]
    ExternalStandard,
    /// The ratio to an internal standard's area against the ratio of contents.
    InternalStandard,
    /// Standard addition: flasks of kind `addition` hold equal portions of the sample and state what was added; the
    /// responses are areas, or ratios to an internal standard's area where one is named.
    StandardAddition,
    /// One standard, response proportional to the content: taken for granted, and said.
    OneStandard,
    /// The two standards next to the sample, one on either side, straight between them.
    Bracketing,
    /// Shares of what the detector shows, with a response factor for each compound; no standards.
    Normalisation,
}

/// The curve, fixed beforehand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ModelChoice {
    /// Straight line with intercept.
    #[default]
    Line,
    /// Straight line through zero.
    ThroughZero,
    /// Quadratic; 5 levels or more.
    Quadratic,
    /// a·contentⁿ, as the areas of a semiconductor sensor follow.
    PowerLaw,
    /// Straight line of logarithms: relative scatter equal everywhere, nothing at zero.
    LogLog,
    /// Content regressed on response: for comparison with published recipes only.
    InverseRegressionLine,
}

/// The weights of a calibration.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WeightChoice {
    /// The two-part variance: u(area)² + (ρ·response)².
    #[default]
    TwoPart,
    /// 1/x.
    Inverse,
    /// 1/y.
    InverseResponse,
    /// 1/x².
    InverseSquare,
    /// 1/s² of the flasks of each level; 10 flasks a level or more.
    Replicates,
    /// None.
    None,
}

/// Limits and the rule of decision, fixed beforehand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Decision {
    /// The question decided, in words.
    #[serde(default)]
    pub statement: Option<String>,
    /// Accepted where the probability of lying within is at least this; refused where that of lying
    /// outside is; undecided between.
    #[serde(default = "default_probability")]
    pub probability: f64,
    /// The day the rule was fixed.
    #[serde(default)]
    pub fixed_on: Option<String>,
    /// The limits.
    #[serde(default, rename = "limit")]
    pub limits: Vec<Limit>,
}

fn default_probability() -> f64 {
    0.95
}

/// One limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// The compound.
    pub compound: String,
    /// Lowest content allowed.
    #[serde(default)]
    pub low: Option<f64>,
    /// Highest content allowed.
    #[serde(default)]
    pub high: Option<f64>,
    /// Unit, which says of what it is a fraction.
    pub unit: ContentUnit,
    /// Where the limit comes from.
    pub origin: String,
}

/// The author's words, in Markdown, and the report's settings. Words are data: nothing in them is run. Each section may
/// stand in a file of its own instead: `words/discussion.md`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ReportSettings {
    /// Paper: "a4" or "us-letter".
    pub paper: Option<String>,
    /// Abstract.
    #[serde(rename = "abstract")]
    pub abstract_text: Option<String>,
    /// Introduction.
    pub introduction: Option<String>,
    /// What the author adds to the experimental part.
    pub experimental: Option<String>,
    /// Discussion.
    pub discussion: Option<String>,
    /// Conclusion.
    pub conclusion: Option<String>,
    /// What the author adds to the safety section, such as local rules and the waste route.
    pub safety: Option<String>,
    /// False leaves out the sentences that the program concludes from the numbers.
    pub conclusions: Option<bool>,
    /// The author's own references: a .bib file in the study folder.
    pub bibliography: Option<String>,
}

impl StudyConfig {
    /// Reads and checks `study.toml`.
    ///
    /// # Errors
    /// Unreadable file, TOML that does not parse, unknown or missing keys (with line and column), and
    /// contradictions: see [`StudyConfig::check`].
    pub fn read(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let bytes = std::fs::read(path).map_err(|e| Error::io("read", path, e))?;
        Self::from_bytes(&bytes).map_err(|e| e.in_file(path))
    }

    /// As [`StudyConfig::parse`], from the bytes of a file.
    ///
    /// # Errors
    /// Bytes that are not UTF-8; otherwise as there.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self> {
        let text = std::str::from_utf8(bytes).map_err(|_| {
            Error::new(ErrorKind::Format, "not UTF-8 text; TOML must be").hint("save the file as UTF-8")
        })?;
        // Some editors begin a UTF-8 file with a byte-order mark.
        Self::parse(text.trim_start_matches('\u{feff}'))
    }

    /// Parses and checks the text of a `study.toml`.
    ///
    /// # Errors
    /// As [`StudyConfig::read`].
    pub fn parse(text: &str) -> Result<Self> {
        let config: StudyConfig = toml::from_str(text).map_err(|e| {
            let mut error = Error::new(ErrorKind::Study, e.message().trim_end().replace('\n', "; "));
            if let Some(span) = e.span() {
                let before = &text[..span.start.min(text.len())];
                let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
                error = error.at_line(before.matches('\n').count() as u64 + 1).at_column(column as u64);
            }
            error
        })?;
        config.check()?;
        Ok(config)
    }

    /// The compound of this name.
    pub fn compound(&self, name: &str) -> Option<&Compound> {
        self.compounds.iter().find(|c| c.name == name)
    }

    /// The internal standard, where one is used.
    pub fn internal_standard(&self) -> Option<&str> {
        match self.quantification.by {
            QuantifyBy::ExternalStandard | QuantifyBy::Normalisation => None,
            _ => self.quantification.internal_standard.as_deref(),
        }
    }

    /// Looks for contradictions: what can be known without opening any other file.
    ///
    /// # Errors
    /// The first contradiction, naming the field.
    pub fn check(&self) -> Result<()> {
        let wrong = |field: String, message: String| Err(Error::new(ErrorKind::Study, message).at_field(field));
        if self.title.trim().is_empty() {
            return wrong("title".into(), "the title is empty; a study needs one".into());
        }
        for (i, c) in self.compounds.iter().enumerate() {
            let field = |f: &str| format!("compound[{}].{f}", i + 1);
            if self.compounds[..i].iter().any(|o| o.name == c.name) {
                return wrong(field("name"), format!("the compound \"{}\" is listed twice", c.name));
            }
            if self.compounds[..i].iter().any(|o| o.name.eq_ignore_ascii_case(&c.name)) {
                return wrong(field("name"), format!("\"{}\" differs from another compound by case only", c.name));
            }
            if let Some(r) = c.retention_min.filter(|r| !(r.is_finite() && *r > 0.0)) {
                return wrong(field("retention_min"), format!("{r} is no retention time; minutes above 0 are wanted"));
            }
            if let Some(w) = c.window_min.filter(|w| !(w.is_finite() && *w > 0.0)) {
                return wrong(field("window_min"), format!("{w} is no window; minutes above 0 are wanted"));
            }
            if let Some([a, b]) = c.integrate_min.filter(|[a, b]| !(a.is_finite() && b.is_finite() && a < b)) {
                return wrong(
                    field("integrate_min"),
                    format!("[{a}, {b}] is no window; [start, end] in minutes is wanted"),
                );
            }
            if let Some(t) = c.boiling_point_c.filter(|t| !(t.is_finite() && *t > -273.15)) {
                return wrong(field("boiling_point_C"), format!("{t} is no boiling point in °C"));
            }
            for (name, value) in [
                ("response_factor", c.response_factor),
                ("response_factor_relative_u", c.response_factor_relative_u),
                ("molar_mass_g_mol", c.molar_mass_g_mol),
            ] {
                if let Some(v) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
                    return wrong(field(name), format!("{v} makes no sense here; a number above 0 is wanted"));
                }
            }
            if c.response_factor.is_some() && c.carbon_groups.is_some() {
                return wrong(
                    field("carbon_groups"),
                    "a response factor and groups to count one from; one is wanted".into(),
                );
            }
            if c.carbon_groups.is_some() && !self.detector.kind.as_deref().is_some_and(is_flame) {
                return Err(Error::new(ErrorKind::Study, "effective carbon numbers hold for flame ionisation only")
                    .at_field(field("carbon_groups"))
                    .hint(
                        "under [detector], kind = \"flame ionisation\"; for another detector measure response_factor",
                    ));
            }
            if let Some(d) = c.density_g_ml.filter(|d| !(d.is_finite() && *d > 0.0)) {
                return wrong(field("density_g_mL"), format!("{d} is no density"));
            }
        }
        self.check_naming()?;
        self.limits.check()?;
        for (i, h) in self.history.iter().enumerate() {
            let field = format!("history[{}]", i + 1);
            self.known(&h.compound, &field)?;
            crate::check::ControlChart::individuals(&h.values).map_err(|e| e.at_field(field))?;
        }
        for (i, u) in self.unseen.iter().enumerate() {
            let good = u.mass_fraction.is_none_or(|w| (0.0..1.0).contains(&w)) && u.u >= 0.0 && u.u < 1.0;
            if !good {
                return wrong(
                    format!("unseen[{}]", i + 1),
                    format!(
                        "{} with u = {} is no mass fraction; 0.12 stands for 12 %",
                        u.mass_fraction.unwrap_or(f64::NAN),
                        u.u
                    ),
                );
            }
        }
        for (i, m) in self.methods.iter().enumerate() {
            let field = |f: &str| format!("method[{}].{f}", i + 1);
            if let Some(h) = m.hold_up_min.filter(|h| !(h.is_finite() && *h > 0.0)) {
                return wrong(field("hold_up_min"), format!("{h} is no hold-up time; minutes above 0 are wanted"));
            }
            if m.inlet_pressure_kpa.is_some() && m.pressure_is.is_none() {
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    "an inlet pressure that does not say whether it is gauge or absolute",
                )
                .at_field(field("pressure_is"))
                .hint("add pressure_is = \"gauge\" (above the room's pressure) or \"absolute\""));
            }
            if let Some(step) = m.oven.first().filter(|s| s.ramp_c_per_min.is_some()) {
                return wrong(
                    field("oven"),
                    format!(
                        "the first oven step ({} °C) has a ramp; it is the starting temperature",
                        step.temperature_c
                    ),
                );
            }
            if let Some(step) =
                m.oven.iter().skip(1).find(|s| s.ramp_c_per_min.is_none_or(|r| !(r.is_finite() && r > 0.0)))
            {
                return wrong(
                    field("oven"),
                    format!("the step to {} °C needs ramp_C_per_min above 0", step.temperature_c),
                );
            }
        }
        for (i, s) in self.solutions.iter().enumerate() {
            for (j, source) in s.sources.iter().enumerate() {
                let field = format!("solution[{}].source[{}]", i + 1, j + 1);
                if let Some(fault) = source.fault() {
                    return wrong(field, fault);
                }
                if !source.standards.is_empty() && s.used_in != UsedIn::Standards {
                    return wrong(
                        field,
                        format!("\"{}\" names standards, but the solution is not used in them", source.name),
                    );
                }
                for c in &source.compounds {
                    self.known(c, &field)?;
                }
            }
        }
        self.peaks.check()?;
        for (i, b) in self.peaks.by_hand.iter().enumerate() {
            self.known(&b.compound, &format!("peaks.by_hand[{}].compound", i + 1))?;
        }
        let q = &self.quantification;
        if !(q.level > 0.5 && q.level < 1.0) {
            return wrong(
                "quantification.level".into(),
                format!("{} is no level of confidence; 0.95 is usual", q.level),
            );
        }
        let numbers = [
            ("quantification.accepted_deviation_percent", Some(q.accepted_deviation_percent)),
            ("quantification.accepted_deviation_lowest_percent", q.accepted_deviation_lowest_percent),
            ("quantification.sample_density_g_mL", q.sample_density_g_ml),
            ("detector.step", self.detector.step),
            ("detector.full_scale", self.detector.full_scale),
            ("instrument.volume_min_uL", self.instrument.volume_min_ul),
            ("instrument.volume_max_uL", self.instrument.volume_max_ul),
        ];
        for (field, value) in numbers {
            if let Some(v) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
                return wrong(field.into(), format!("{v} makes no sense here; a number above 0 is wanted"));
            }
        }
        if let Some(n) = q.monte_carlo_trials.filter(|n| !(10_000..=100_000_000).contains(n)) {
            return wrong(
                "quantification.monte_carlo_trials".into(),
                format!("{n} trials; 10,000 to 100,000,000 are possible, 1000000 is usual"),
            );
        }
        match (q.by, &q.internal_standard) {
            (QuantifyBy::InternalStandard, None) => {
                return wrong("quantification.internal_standard".into(), "no internal standard is named".into());
            }
            (QuantifyBy::ExternalStandard | QuantifyBy::Normalisation, _) => {}
            (_, Some(name)) => {
                self.known(name, "quantification.internal_standard")?;
                if self.compound(name).is_some_and(|c| c.role != Role::InternalStandard) {
                    return Err(Error::new(
                        ErrorKind::Study,
                        format!("\"{name}\" is the internal standard, but its role is another"),
                    )
                    .at_field("compound.role")
                    .hint("give it role = \"internal_standard\""));
                }
            }
            _ => {}
        }
        if q.by == QuantifyBy::StandardAddition && q.model != ModelChoice::Line {
            return wrong(
                "quantification.model".into(),
                "standard addition takes a straight line with intercept; model = \"line\" is wanted".into(),
            );
        }
        for (i, c) in self.comparisons.iter().enumerate() {
            c.check(&format!("comparison[{}]", i + 1))?;
        }
        if let Some(d) = &self.decision {
            if !(d.probability > 0.5 && d.probability < 1.0) {
                return wrong(
                    "decision.probability".into(),
                    format!("{} is no probability to decide by", d.probability),
                );
            }
            for (i, limit) in d.limits.iter().enumerate() {
                let field = format!("decision.limit[{}]", i + 1);
                self.known(&limit.compound, &field)?;
                match (limit.low, limit.high) {
                    (None, None) => return wrong(field, "neither low nor high is stated".into()),
                    (Some(a), Some(b)) if a >= b => return wrong(field, format!("low {a} is not below high {b}")),
                    _ => {}
                }
            }
        }
        if let Some(p) = self.report.paper.as_deref().filter(|p| !["a4", "us-letter"].contains(p)) {
            return wrong(
                "report.paper".into(),
                format!("\"{p}\" is no paper known here; \"a4\" or \"us-letter\" is wanted"),
            );
        }
        Ok(())
    }

    /// Contradictions in what names rest on.
    fn check_naming(&self) -> Result<()> {
        let p = &self.peaks;
        let wrong = |field: &str, message: String| {
            Err(Error::new(ErrorKind::Study, message).at_field(format!("peaks.{field}")))
        };
        if let Some(v) = p.time_scale_limit_percent.filter(|v| !(0.0..=20.0).contains(v)) {
            return wrong("time_scale_limit_percent", format!("{v} % is no limit; 0 (no time scale) to 20 is wanted"));
        }
        if let Some(v) = p.least_probability.filter(|v| !(0.5..1.0).contains(v)) {
            return wrong("least_probability", format!("{v} is no limit for a name; 0.5 to below 1 is wanted"));
        }
        if let Some(w) = p.ladder_carbons.windows(2).find(|w| w[0] >= w[1]) {
            return wrong(
                "ladder_carbons",
                format!("{} comes before {}; carbon numbers rise with elution", w[0], w[1]),
            );
        }
        if p.ladder_carbons.len() == 1 {
            return wrong("ladder_carbons", "one n-alkane; a ladder needs at least 2".to_owned());
        }
        if !p.ladder_min.is_empty() && p.ladder_min.len() != p.ladder_carbons.len() {
            return wrong(
                "ladder_min",
                format!("{} times for {} n-alkanes; one each is wanted", p.ladder_min.len(), p.ladder_carbons.len()),
            );
        }
        if let Some(t) = p.ladder_min.iter().find(|t| !(t.is_finite() && **t > 0.0)) {
            return wrong("ladder_min", format!("{t} is no retention time; minutes above 0 are wanted"));
        }
        Ok(())
    }

    /// Looks a compound up.
    fn known(&self, compound: &str, field: &str) -> Result<()> {
        if self.compound(compound).is_some() {
            return Ok(());
        }
        let known: Vec<&str> = self.compounds.iter().map(|c| c.name.as_str()).collect();
        Err(Error::new(ErrorKind::Study, format!("the compound \"{compound}\" is not listed"))
            .at_field(field)
            .hint(format!("listed compounds: {}; add a [[compound]] or correct the name", known.join(", "))))
    }
}

/// True for what names a flame-ionisation detector.
fn is_flame(kind: &str) -> bool {
    let kind = kind.to_lowercase();
    kind.contains("flame") || kind == "fid"
}
