//! `study.toml`: what the study is about, the instrument, the solutions, the compounds, the rules fixed beforehand.
//!
//! Every key is listed here; an unknown key is an error that names its line, so that a typing
//! mistake never passes as a default.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::units::ContentUnit;

use super::{PeakSettings, Solution};

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
}
