//! The contract between results and templates: everything a report may show, as text that is ready to print.
//!
//! A template reads it as `report.json`. Numbers are formatted already; a missing number is "–"; a missing text
//! is `null`. Every string is data: it is printed, never run.

use serde::{Deserialize, Serialize};

use super::calculations::Calculation;
use super::comparison::ComparisonRow;
use super::safety::Safety;
use super::sample_calculation::SampleCalculation;
use super::words::{Authored, Block, Picture};

/// Version of the contract between results and templates.
pub const CONTEXT_SCHEMA: &str = "vialbook-report/1";

/// Everything that a report may show.
#[derive(Clone, PartialEq, Serialize)]
pub struct ReportContext {
    /// Version of this contract: [`CONTEXT_SCHEMA`].
    pub schema: String,
    /// Program and version that made the results, such as "vialbook 0.1.0".
    pub program: String,
    /// Program and version that set the pages; filled in when the report is saved.
    pub typesetter: Option<String>,
    /// Paper: "a4" or "us-letter".
    pub paper: String,
    /// Language of the text, as a tag such as "en".
    pub language: String,
    /// True where the runs are simulated: every page then says so.
    pub simulated: bool,
    /// Title.
    pub title: String,
    /// Title for the running header.
    pub title_short: String,
    /// Who did it.
    pub authors: Vec<String>,
    /// Where it was done.
    pub institution: Option<String>,
    /// Date as written in study.toml.
    pub date: Option<String>,
    /// The question.
    pub question: Option<String>,
    /// Remarks of the study.
    pub remarks: Vec<String>,
    /// The author's words.
    pub words: Words,
    /// What the author has not written or stated.
    pub gaps: Vec<Gap>,
    /// The answer, as far as the study gives one.
    pub answer: Answer,
    /// Instrument, programme, solutions, order of injections.
    pub experimental: Experimental,
    /// Hazards of the substances used.
    pub safety: Safety,
    /// Figures; each stands in the section that its place names.
    pub figures: Vec<ReportFigure>,
    /// Peak tables of a representative standard and of a sample.
    pub peak_tables: Vec<PeakTable>,
    /// One per calibrated compound.
    pub calibrations: Vec<CalibrationPart>,
    /// All amounts.
    pub amounts: Vec<AmountRow>,
    /// Doubts and remarks about amounts, each once, with what it is about.
    pub amount_notes: Vec<String>,
    /// One result worked through with the very numbers used.
    pub sample_calculation: Option<SampleCalculation>,
    /// One calculation of each kind, with the numbers used.
    pub calculations: Vec<Calculation>,
    /// The author's tasks of a worked example.
    pub tasks: Vec<TaskPart>,
    /// True in the edition of a worked example that shows the answers.
    pub answers: bool,
    /// Uncertainty budgets of the samples' amounts.
    pub budgets: Vec<BudgetTable>,
    /// Flasks of samples beside each other.
    pub replicates: Vec<ReplicateRow>,
    /// Scatter of shots, flasks and days.
    pub scatter: Vec<ScatterRow>,
    /// Amounts against reference values.
    pub comparisons: Vec<ComparisonRow>,
    /// What the numbers support, in sentences of the program; empty where the study leaves them out.
    pub conclusions: Vec<String>,
    /// The record of the test.
    pub record: RecordPart,
    /// What was checked, decisions left out.
    pub findings: Vec<FindingRow>,
    /// Which methods were really used, for theory and references.
    pub used: Used,
    /// Runs, settings.
    pub appendix: Appendix,
    /// Files inside the PDF; filled in when the report is saved.
    pub attachments: Vec<AttachmentRow>,
    /// Keys of references that can be cited.
    pub citable: Vec<String>,
    /// True where the author's own references are there, as `author.bib`.
    pub own_references: bool,
    /// What the author wrote, as written.
    #[serde(skip)]
    pub(super) authored: Authored,
    /// The author's pictures.
    #[serde(skip)]
    pub(super) pictures: Vec<Picture>,
}

/// The flasks of one sample, as a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReplicateRow {
    /// The sample.
    pub sample: String,
    /// Compound and unit.
    pub what: String,
    /// The flasks' contents.
    pub values: String,
    /// Mean.
    pub mean: String,
    /// Standard deviation between flasks.
    pub sd: String,
    /// Robust mean.
    pub robust: String,
    /// The flask farthest off, with its tests.
    pub farthest: String,
}

/// Scatter of one compound, as a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScatterRow {
    /// The compound.
    pub compound: String,
    /// Relative standard deviation of shots in % with its degrees of freedom.
    pub shots: String,
    /// The same of flask means.
    pub flasks: String,
    /// Whether flasks add to shots.
    pub flasks_add: String,
    /// Days.
    pub days: String,
}

/// The author's words; an empty list is a gap.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Words {
    /// Abstract.
    #[serde(rename = "abstract")]
    pub abstract_text: Vec<Block>,
    /// Introduction.
    pub introduction: Vec<Block>,
    /// What the author adds to the experimental part.
    pub experimental: Vec<Block>,
    /// Discussion.
    pub discussion: Vec<Block>,
    /// Conclusion.
    pub conclusion: Vec<Block>,
    /// What the author adds to the safety section.
    pub safety: Vec<Block>,
}

/// A task of a worked example, in the author's words.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TaskPart {
    /// The question.
    pub question: Vec<Block>,
    /// A hint.
    pub hint: Vec<Block>,
    /// The answer; empty where the author gave none.
    pub answer: Vec<Block>,
    /// Points; `null` where not stated.
    pub points: Option<String>,
}

/// The record of a test, after ISO/IEC 17025:2017, 7.8.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RecordPart {
    /// Unique number, as stated or made from the results' hash.
    pub number: String,
    /// SHA-256 of the results as data.
    pub results_sha256: String,
    /// Laboratory, customer, items, dates, method, in the order to print; "–" where not stated.
    pub facts: Vec<Fact>,
    /// Deviations from the method, changes by hand and rejected runs, each a sentence.
    pub changes: Vec<String>,
    /// Who approves.
    pub approved_by: Option<String>,
    /// Who looks it through.
    pub reviewer: Option<String>,
}

/// Something the author has not written or stated.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// Short key, such as "discussion", for the place in the text.
    pub key: String,
    /// What is missing, as a sentence.
    pub what: String,
    /// Where to write it.
    pub how: String,
}

/// The answer box.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Answer {
    /// The question decided, in words.
    pub statement: Option<String>,
    /// "yes", "no", "undecided"; `null` without a decision.
    pub verdict: Option<String>,
    /// The same as it reads behind the statement: "Yes", or "This holds" where the statement is no question.
    pub verdict_words: Option<String>,
    /// The rule of decision in words; `null` without one.
    pub rule: Option<String>,
    /// One line per limit and sample.
    pub decisions: Vec<DecisionRow>,
    /// The samples' amounts, one line each.
    pub amounts: Vec<Fact>,
    /// Failed and doubtful checks in words, where there are any.
    pub caution: Option<String>,
}

/// One decision.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DecisionRow {
    /// What was decided, such as "isopropyl acetate".
    pub what: String,
    /// For which sample.
    pub place: String,
    /// The limit in words, such as "18.5 to 21.5 % v/v".
    pub limit: String,
    /// Where the limit comes from.
    pub origin: String,
    /// "within", "outside", "undecided".
    pub verdict: String,
    /// "pass", "warn", "fail".
    pub severity: String,
    /// The sentence with value and probability.
    pub why: String,
    /// What to do next.
    pub next: Option<String>,
}

/// A name and a value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Fact {
    /// Name.
    pub name: String,
    /// Value as text; "–" where not stated.
    pub value: String,
}

/// A named group of facts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FactGroup {
    /// Name of the group.
    pub name: String,
    /// Its facts.
    pub facts: Vec<Fact>,
}

/// How the measurements were made.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Experimental {
    /// Instrument, column, detector.
    pub groups: Vec<FactGroup>,
    /// Temperature and pressure programmes.
    pub programmes: Vec<Programme>,
    /// Compounds looked for.
    pub compounds: Vec<CompoundRow>,
    /// Solutions.
    pub solutions: Vec<SolutionRow>,
    /// Header of the content columns in the table of injections, such as "isopropyl acetate / % v/v".
    pub content_headers: Vec<String>,
    /// All injections in their order.
    pub injections: Vec<InjectionRow>,
    /// How peaks were found and areas taken, in sentences.
    pub integration: Vec<String>,
}

/// A temperature and pressure programme.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Programme {
    /// Name.
    pub name: String,
    /// Oven steps.
    pub steps: Vec<ProgrammeStep>,
    /// Time of the whole programme in minutes.
    pub total_min: String,
    /// Pressure, flow, hold-up time, what the start button starts.
    pub facts: Vec<Fact>,
}

/// One step of the oven's programme.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ProgrammeStep {
    /// Number of the step.
    pub number: String,
    /// Ramp in °C/min; "–" in the first step.
    pub ramp: String,
    /// Temperature reached in °C.
    pub temperature: String,
    /// Hold in minutes.
    pub hold: String,
    /// Time at its end in minutes.
    pub until: String,
}

/// A compound looked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CompoundRow {
    /// Name.
    pub name: String,
    /// CAS registry number.
    pub cas: String,
    /// "analyte", "internal standard", "solvent", "named".
    pub role: String,
    /// Expected retention time in minutes.
    pub retention: String,
    /// Half-width of its window in minutes, or the fixed window.
    pub window: String,
}

/// A solution.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SolutionRow {
    /// Name.
    pub name: String,
    /// What it served for: "standards".
    pub used_in: String,
    /// How it was made; `null` is a gap.
    pub made: Option<String>,
    /// Its sources of uncertainty, each as one text.
    pub sources: Vec<String>,
}

/// One injection in its order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct InjectionRow {
    /// Number in the order.
    pub number: String,
    /// Clock time as written.
    pub time: String,
    /// Name of the run.
    pub run: String,
    /// Kind, with blanks: "check standard".
    pub kind: String,
    /// Sample and flask.
    pub flask: String,
    /// Shot of that flask.
    pub shot: String,
    /// Nominal volume in µL.
    pub volume: String,
    /// Dilution factor.
    pub dilution: String,
    /// Known contents, one per header in [`Experimental::content_headers`].
    pub contents: Vec<String>,
    /// Why it was rejected; `null` where accepted.
    pub rejected: Option<String>,
}

/// A figure, already painted.
#[derive(Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportFigure {
    /// Its place and what it shows: `chromatogram/<run>`, `calibration/<compound>`, `budget/<sample>/<compound>`,
    /// `names/shifts`;
    /// anything else stands at the end of the results.
    pub id: String,
    /// The painted figure.
    #[serde(skip_serializing, default)]
    pub svg: String,
    /// What a reader who cannot see it must know: range, trend, outliers.
    pub alt: String,
    /// Caption that stands alone.
    pub caption: String,
}

/// The peaks of one run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PeakTable {
    /// The run.
    pub run: String,
    /// What it is: "standard, level 3 · 1".
    pub what: String,
    /// Signal unit.
    pub signal_unit: String,
    /// Area unit.
    pub area_unit: String,
    /// The peaks in the order of time.
    pub rows: Vec<PeakRow>,
    /// Doubts about peaks of this run.
    pub notes: Vec<String>,
    /// True where plate numbers are given.
    pub has_plates: bool,
}

/// One peak.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PeakRow {
    /// The compound it is consistent with, or "unknown".
    pub compound: String,
    /// Retention time in minutes.
    pub retention: String,
    /// Area.
    pub area: String,
    /// Its standard uncertainty.
    pub area_u: String,
    /// Height.
    pub height: String,
    /// Width at half height in minutes.
    pub width: String,
    /// Plate number.
    pub plates: String,
    /// Tailing factor at 5 % of height.
    pub tailing: String,
    /// Resolution from the peak before.
    pub resolution: String,
    /// Signal to noise.
    pub signal_to_noise: String,
    /// Probability of the name.
    pub identity: String,
}

/// One calibration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalibrationPart {
    /// The compound.
    pub compound: String,
    /// "internal standard" or "external standard".
    pub quantification: String,
    /// The internal standard.
    pub internal_standard: Option<String>,
    /// Intercept with its standard error, or "–".
    pub intercept: String,
    /// Slope with its standard error.
    pub slope: String,
    /// The fitted line as an equation of plain numbers: `y = a + b x`.
    pub equation: String,
    /// Everything about the fit, in the order to print.
    pub facts: Vec<Fact>,
    /// What x is.
    pub x_label: String,
    /// What y is.
    pub y_label: String,
    /// Flasks.
    pub points: Vec<PointRow>,
    /// Places in [`ReportContext::figures`] of what shows it.
    pub figures: Vec<usize>,
    /// Largest deviation of a back-calculated standard in %.
    pub worst_deviation: String,
    /// Doubts and remarks.
    pub notes: Vec<String>,
}

/// One flask of a calibration.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PointRow {
    /// The flask.
    pub label: String,
    /// Content or ratio of contents.
    pub x: String,
    /// Response.
    pub y: String,
    /// Its standard uncertainty from the traces alone.
    pub y_u: String,
    /// Number of shots.
    pub shots: String,
    /// Standardised residual.
    pub residual: String,
    /// Content calculated back.
    pub back_calculated: String,
    /// Its deviation in %.
    pub deviation: String,
    /// Why it was left out; `null` where used.
    pub excluded: Option<String>,
}

/// One amount.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AmountRow {
    /// The sample.
    pub sample: String,
    /// "sample" or "check standard".
    pub kind: String,
    /// The compound.
    pub compound: String,
    /// The quantity in words.
    pub quantity: String,
    /// Of what it is a fraction.
    pub of: String,
    /// Value with its interval as text, the same everywhere.
    pub text: String,
    /// Value.
    pub value: String,
    /// Standard uncertainty.
    pub u: String,
    /// Degrees of freedom.
    pub dof: String,
    /// Interval, such as "19.65 to 20.17".
    pub interval: String,
    /// Its level in %.
    pub level: String,
    /// Unit.
    pub unit: String,
    /// Flasks and shots: "3 × 2".
    pub flasks_shots: String,
    /// False below the critical value.
    pub detected: bool,
    /// Detection limit in the same unit.
    pub detection_limit: String,
    /// Known content and recovery, for check standards; `null` for samples.
    pub recovery: Option<String>,
    /// Doubts and remarks.
    pub notes: Vec<String>,
}

/// Where the uncertainty of one amount comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetTable {
    /// The amount, in words: "isopropyl acetate in recovered eluent, volume fraction".
    pub what: String,
    /// Unit of the contributions.
    pub unit: String,
    /// Rows, largest share first.
    pub rows: Vec<BudgetRow>,
    /// Places in [`ReportContext::figures`] of what shows it.
    pub figures: Vec<usize>,
    /// Combined standard uncertainty.
    pub total: String,
    /// Its degrees of freedom.
    pub dof: String,
}

/// One source of uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetRow {
    /// In words.
    pub source: String,
    /// "shot", "flask", "shared".
    pub scope: String,
    /// "A" or "B".
    pub evaluation: String,
    /// Contribution to u.
    pub contribution: String,
    /// Share of the variance in %.
    pub share: String,
    /// The same as a number from 0 to 1, for a bar.
    pub fraction: f64,
    /// Degrees of freedom.
    pub dof: String,
}

/// One check.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FindingRow {
    /// "pass", "warn", "fail".
    pub severity: String,
    /// What was checked.
    pub what: String,
    /// Where it was seen.
    pub place: String,
    /// What the figure says.
    pub why: String,
    /// Where the limit comes from.
    pub origin: String,
    /// What to do next.
    pub next: Option<String>,
}

/// What was really used, so that theory and references name nothing else.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Used {
    /// Ratios to an internal standard.
    pub internal_standard: bool,
    /// A line through zero.
    pub through_zero: bool,
    /// The two-part variance.
    pub two_part_weights: bool,
    /// Weights 1/x².
    pub inverse_square_weights: bool,
    /// A dilution was multiplied in.
    pub dilution: bool,
    /// Savitzky-Golay smoothing.
    pub savitzky_golay: bool,
    /// Detection limits by ISO 11843.
    pub iso_11843: bool,
    /// Detection limits by the IUPAC recommendation of 1995.
    pub currie: bool,
    /// Limits by 3.3 s/b and 10 s/b.
    pub ich_q2: bool,
    /// A decision with a rule fixed beforehand.
    pub decision: bool,
}

/// Runs and settings in full.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Appendix {
    /// Every run, rejected ones included.
    pub runs: Vec<RunRow>,
    /// Remarks that hold for every run, told once.
    pub common_remarks: Vec<String>,
    /// How the files were read: each way once, with the runs read so.
    pub readings: Vec<Reading>,
    /// When each compound elutes.
    pub references: Vec<ReferenceRow>,
    /// How each run is shifted against the references.
    pub shifts: Vec<ShiftRow>,
    /// What ladders, hold-up, single-compound and spiked runs say, in sentences.
    pub evidence: Vec<String>,
    /// Every integrated peak or window.
    pub peaks: Vec<IntegrationRow>,
    /// Ways of integration, in the order of their letters.
    pub methods: Vec<Fact>,
    /// Overlapping peaks: the perpendicular drop beside the fit.
    pub overlaps: Vec<OverlapRow>,
    /// Bounds set by hand, the old values beside the new ones.
    pub by_hand: Vec<HandRow>,
    /// Settings, defaults included.
    pub settings: Vec<Fact>,
    /// SHA-256 of study.toml and of the injection log.
    pub hashes: Vec<HashRow>,
}

/// A file and its hash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HashRow {
    /// Name of the file.
    pub name: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
}

/// One run in the appendix.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RunRow {
    /// Name.
    pub run: String,
    /// File.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Kind, with blanks.
    pub kind: String,
    /// Number of points.
    pub points: String,
    /// Start offset in seconds.
    pub start_offset: String,
    /// Noise with its unit.
    pub noise: String,
    /// Letter of the way it was read.
    pub reading: String,
    /// Rejection, doubts, dropped rows.
    pub remarks: Vec<String>,
}

/// When a compound elutes, in the appendix.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ReferenceRow {
    /// The compound.
    pub compound: String,
    /// Retention time in minutes.
    pub time: String,
    /// Standard deviation of a run about it in seconds.
    pub scatter: String,
    /// Half of the window for its name in seconds.
    pub half_width: String,
    /// Standards that show it.
    pub runs: String,
    /// Retention index with its standard uncertainty.
    pub index: String,
}

/// How a run is shifted, in the appendix.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ShiftRow {
    /// The run.
    pub run: String,
    /// Start offset in seconds.
    pub offset: String,
    /// Its standard uncertainty.
    pub offset_u: String,
    /// Time scale less 1, in percent, with its standard uncertainty.
    pub scale: String,
    /// Compounds that were expected and are missing.
    pub missing: String,
    /// What to be careful about.
    pub notes: Vec<String>,
}

/// A way in which files were read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// Its letter.
    pub letter: String,
    /// In words.
    pub text: String,
}

/// One integrated peak or window.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct IntegrationRow {
    /// The run; empty where it is the run of the row before.
    pub run: String,
    /// The compound, or "unknown".
    pub compound: String,
    /// Retention time in minutes.
    pub retention: String,
    /// Start in minutes.
    pub start: String,
    /// End in minutes.
    pub end: String,
    /// Baseline at start and end.
    pub baseline: String,
    /// Area.
    pub area: String,
    /// Its standard uncertainty.
    pub area_u: String,
    /// Letter of the way of integration.
    pub method: String,
}

/// An overlapping peak: perpendicular drop and fit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct OverlapRow {
    /// The run; empty where it is the run of the row before.
    pub run: String,
    /// The compound, or "unknown".
    pub compound: String,
    /// Retention time in minutes.
    pub retention: String,
    /// Area by the perpendicular drop.
    pub drop: String,
    /// Area of the fitted profile.
    pub fit: String,
    /// Its standard uncertainty.
    pub fit_u: String,
    /// What the drop gives more than the fit, in %.
    pub excess: String,
    /// χ² over degrees of freedom.
    pub chi_squared: String,
    /// Which of the two the area is.
    pub used: String,
}

/// Bounds set by hand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HandRow {
    /// The run.
    pub run: String,
    /// The compound.
    pub compound: String,
    /// Start and end before, in minutes; a dash where nothing was integrated.
    pub old_bounds: String,
    /// Area before.
    pub old_area: String,
    /// Start and end now.
    pub bounds: String,
    /// Area now.
    pub area: String,
    /// Why.
    pub reason: String,
}

/// A file inside the PDF, or one that was too large for it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AttachmentRow {
    /// Name shown.
    pub name: String,
    /// File in the build folder; `null` where it was too large to go in.
    pub file: Option<String>,
    /// Media type.
    pub media_type: String,
    /// "source", "data", "supplement".
    pub relationship: String,
    /// What it is.
    pub description: String,
    /// Size in words.
    pub size: String,
    /// Its SHA-256.
    pub sha256: String,
}

impl std::fmt::Debug for ReportContext {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "ReportContext({}, {} amounts, {} figures, {} gaps)",
            super::text::header(&self.title),
            self.amounts.len(),
            self.figures.len(),
            self.gaps.len()
        )
    }
}

impl std::fmt::Debug for ReportFigure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "ReportFigure({}, {} bytes)", self.id, self.svg.len())
    }
}
