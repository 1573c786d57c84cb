//! What goes into a calibration: the flasks, and what is fixed beforehand about model, weights and shared sources.

use super::solve::Form;

/// One standard flask: its stated content and the mean response over its shots.
///
/// The unit of a calibration is the flask: shots of one flask share its making and are no independent evidence
/// on the line. `content` is the content, or the content ratio to the internal standard; `response` the area, or
/// the area ratio.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Flask {
    /// Name of the flask, as it appears in messages and figures.
    pub label: String,
    /// Stated content x, or content ratio to the internal standard.
    pub content: f64,
    /// Mean response y over the shots.
    pub response: f64,
    /// Number of shots behind the mean.
    pub shots: usize,
    /// Standard uncertainty of the mean response from the traces alone (noise and baseline), in units of y; 0 if unknown.
    pub response_u: f64,
    /// The shots one by one, for drawing and for the variance components; may be empty.
    pub shot_responses: Vec<f64>,
    /// When each shot was injected, as the number of the injection or in hours; empty where not known.
    pub shot_order: Vec<f64>,
    /// Why the flask is left out; such a flask is kept and drawn hollow, never used.
    pub excluded: Option<String>,
}

impl Flask {
    /// A flask from its shots: the mean, and the uncertainty from the traces of a mean of independent shots,
    /// u = √(Σ uᵢ²)/k.
    ///
    /// `shot_u` is empty where the traces gave no uncertainty.
    ///
    /// ```
    /// use vialbook::calibrate::Flask;
    /// let f = Flask::from_shots("S1a", 0.5, &[10.0, 12.0], &[0.3, 0.4]);
    /// assert_eq!((f.response, f.response_u, f.shots), (11.0, 0.25, 2));
    /// ```
    pub fn from_shots(label: impl Into<String>, content: f64, shots: &[f64], shot_u: &[f64]) -> Self {
        let k = shots.len().max(1) as f64;
        Flask {
            label: label.into(),
            content,
            response: shots.iter().sum::<f64>() / k,
            shots: shots.len(),
            response_u: libm::sqrt(shot_u.iter().map(|u| u * u).sum::<f64>()) / k,
            shot_responses: shots.to_vec(),
            shot_order: Vec::new(),
            excluded: None,
        }
    }

    /// A single reading without a known uncertainty, as textbooks tabulate them.
    pub fn reading(label: impl Into<String>, content: f64, response: f64) -> Self {
        Flask { label: label.into(), content, response, shots: 1, shot_responses: vec![response], ..Flask::default() }
    }
}

/// The curve, fixed beforehand; a test may warn, it never switches the model.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub enum Model {
    /// Response = a + b·content.
    #[default]
    Line,
    /// Response = b·content; only where declared, and where blank and intercept agree with zero.
    ThroughZero,
    /// Response = a + b·content + c·content²; only where declared, with 5 levels or more. Choosing it because a test
    /// says so costs coverage (90.6 % where 95 % is meant).
    Quadratic,
    /// Response = a·contentⁿ, fitted to the responses as they are, with the weights declared. The area of a
    /// semiconductor sensor follows it at one peak shape (n about 0.3 to 0.8); where n is 1 it is a line through zero.
    PowerLaw,
    /// ln response = k + n·ln content, unweighted: the same curve as [`Model::PowerLaw`], but the scatter is taken as
    /// relative and equal over the whole range, the mean of flasks is the geometric one, and what the curve gives is the
    /// median response. No content and no response of 0 or less has a place on it, so it has no detection limit.
    LogLog,
    /// Content regressed on response, content = c + d·response, unweighted or with weights 1/x or 1/x². Pulls contents towards the middle of
    /// the standards; only for comparison with published recipes that use it.
    InverseRegressionLine,
}

impl Model {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Model::Line => "straight line with intercept",
            Model::ThroughZero => "straight line through zero",
            Model::Quadratic => "quadratic curve",
            Model::PowerLaw => "power law",
            Model::LogLog => "straight line of logarithms",
            Model::InverseRegressionLine => "content regressed on response",
        }
    }
}

/// How the variance of a flask mean depends on its content.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub enum Weighting {
    /// var = u² + (ρ·f)²: u from the traces, f the fitted response, and one relative flask standard deviation ρ
    /// from the scatter of all flasks. The default.
    #[default]
    TwoPart,
    /// Equal variances; sound only where highest and lowest content differ by no more than about 3 times.
    None,
    /// Weights 1/x: variance proportional to the content; no flask at content 0, nothing said below the lowest standard.
    Inverse,
    /// Weights 1/y, y the fitted response: variance proportional to the response, as in counting.
    InverseResponse,
    /// Weights 1/s² with s² the variance between the flasks of each level, between levels on a straight line. Refused
    /// below 10 flasks a level: from 2 or 3 it covers 77 to 87 % where 95 % is meant.
    Replicates,
    /// Weights 1/x²: a fallback for ratios to an internal standard inside the range; no flask at content 0.
    InverseSquare,
    /// Weights known from elsewhere, one per flask in the order given; never from two or three replicates of the
    /// same calibration, which covers 77 to 87 % where 95 % is meant.
    Known(Vec<f64>),
}

impl Weighting {
    /// In words.
    pub fn words(&self) -> &'static str {
        match self {
            Weighting::TwoPart => "two-part variance: (area noise)² + (ρ·response)²",
            Weighting::None => "equal",
            Weighting::Inverse => "1/x",
            Weighting::InverseResponse => "1/y",
            Weighting::InverseSquare => "1/x²",
            Weighting::Replicates => "1/s² of the level's flasks",
            Weighting::Known(_) => "stated",
        }
    }
}

/// A source of error common to all flasks of one side, such as the purity of the one stock: it does not average out.
///
/// A source that standards and samples have in common and that cancels in the result (the same internal-standard
/// solution delivered with the same pipette) belongs in neither list.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedSource {
    /// What it is.
    pub name: String,
    /// Relative standard uncertainty of the content.
    pub relative_u: f64,
    /// Degrees of freedom; `None` where there is no limit (a tolerance, a certificate).
    pub dof: Option<f64>,
}

impl SharedSource {
    /// A source without a limit to its degrees of freedom.
    pub fn new(name: impl Into<String>, relative_u: f64) -> Self {
        SharedSource { name: name.into(), relative_u, dof: None }
    }
}

/// A source of error common to some of the standards: an intermediate dilution that several levels were made from.
///
/// What all standards share is a [`SharedSource`]; what each flask has for itself is in the scatter.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupSource {
    /// What it is.
    pub name: String,
    /// Relative standard uncertainty of the contents, the same error in all of them.
    pub relative_u: f64,
    /// Labels of the flasks that share it.
    pub flasks: Vec<String>,
}

/// What is known beforehand (type B) about the relative standard deviation of one flask: glassware, balance.
///
/// The scatter of the flasks holds these effects already. Both figures are printed, the larger is used, never both:
/// adding them makes intervals 13 to 21 % too wide.
#[derive(Clone, Debug, PartialEq)]
pub struct FlaskTypeB {
    /// Relative standard uncertainty of the content of one flask.
    pub relative_u: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
}

/// What is fixed before a calibration is fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationOptions {
    /// What the curve is of; used in messages. May be empty.
    pub compound: String,
    /// The curve.
    pub model: Model,
    /// The variance of the flask means.
    pub weighting: Weighting,
    /// Level of intervals, between 0.5 and 1 (default 0.95).
    pub level: f64,
    /// Sources common to all standards.
    pub shared: Vec<SharedSource>,
    /// Sources common to some of the standards.
    pub group_shared: Vec<GroupSource>,
    /// Type B knowledge on the making of one flask, if any.
    pub flask_type_b: Option<FlaskTypeB>,
}

impl Default for CalibrationOptions {
    fn default() -> Self {
        CalibrationOptions {
            compound: String::new(),
            model: Model::Line,
            weighting: Weighting::TwoPart,
            level: 0.95,
            shared: Vec::new(),
            group_shared: Vec::new(),
            flask_type_b: None,
        }
    }
}

impl CalibrationOptions {
    /// The default options with another weighting.
    pub fn weighted(weighting: Weighting) -> Self {
        CalibrationOptions { weighting, ..CalibrationOptions::default() }
    }
}

impl Model {
    pub(super) fn form(self) -> Form {
        match self {
            Model::Line | Model::InverseRegressionLine => Form::Line,
            Model::ThroughZero => Form::ThroughZero,
            Model::Quadratic => Form::Quadratic,
            Model::PowerLaw => Form::Power,
            Model::LogLog => Form::LogLog,
        }
    }
}
