//! Doubts on, and remarks to, a calibration curve and the contents found with it.

use std::fmt;

/// A doubt on, or a remark to, a calibration curve.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum CurveNote {
    /// Too little to judge scatter by.
    FewDegreesOfFreedom {
        /// Flasks less coefficients.
        dof: f64,
    },
    /// Flasks were left out.
    FlasksLeftOut {
        /// How many.
        count: usize,
    },
    /// No content has two flasks, or too few contents.
    NoLackOfFitTest,
    /// Flask means rest on different numbers of shots.
    UnequalShots {
        /// Least.
        least: usize,
        /// Most.
        most: usize,
    },
    /// Equal weights over a range in which the scatter is not likely to be equal.
    EqualWeightsOverWideRange {
        /// Highest over lowest content; `None` where the lowest is 0.
        ratio: Option<f64>,
    },
    /// Weights were stated.
    StatedWeights,
    /// Two-part variance without any uncertainty from the traces.
    NoAreaUncertainty,
    /// The scatter is no larger than the noise in the areas explains: ρ = 0.
    ScatterWithinNoise,
    /// The flasks near zero scatter more than the traces say.
    NoiseTooSmall {
        /// Chance of so much scatter.
        p_value: f64,
    },
    /// Scatter and prior knowledge on one flask, side by side; the larger is used.
    FlaskSources {
        /// Relative standard deviation from scatter.
        from_scatter: f64,
        /// Relative standard uncertainty stated.
        stated: f64,
    },
    /// A line with an intercept would not go through zero.
    InterceptNotZero {
        /// The intercept it would have.
        intercept: f64,
        /// Chance of one so far from zero.
        p_value: f64,
    },
    /// Content was regressed on response.
    RegressedOnResponse,
    /// A quadratic rises and falls within its own range.
    TurnsInRange {
        /// Content at which it turns.
        at: f64,
    },
}

impl fmt::Display for CurveNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use CurveNote::*;
        match self {
            FewDegreesOfFreedom { dof } => write!(
                f,
                "only {dof} residual degrees of freedom, 3 are the least for uncertainties; make more standard flasks"
            ),
            FlasksLeftOut { count: 1 } => f.write_str("one flask is left out; see its reason"),
            FlasksLeftOut { count } => write!(f, "{count} flasks are left out; see their reasons"),
            NoLackOfFitTest => f.write_str(
                "no lack-of-fit test: it takes two flasks at some level and more levels than coefficients; \
                 shots of one flask do not count",
            ),
            UnequalShots { least, most } => write!(
                f,
                "flask means rest on {least} to {most} shots and are not equally good; inject all flasks alike"
            ),
            EqualWeightsOverWideRange { ratio } => {
                match ratio {
                    Some(r) => write!(f, "equal weights over a range of 1 to {r:.3}")?,
                    None => f.write_str("equal weights down to content 0")?,
                }
                f.write_str(": low contents get intervals that are too wide; use the two-part variance")
            }
            StatedWeights => f.write_str(
                "the weights are stated, not found: their origin must be at least 10 independent flasks a level",
            ),
            NoAreaUncertainty => f.write_str(
                "no uncertainty from the traces: all scatter is taken as proportional to the response; \
                 near zero that is too little",
            ),
            ScatterWithinNoise => f.write_str(
                "the flasks scatter no more than the noise in their areas explains: ρ = 0, only the noise is counted",
            ),
            NoiseTooSmall { p_value } => write!(
                f,
                "where noise should rule, the flasks scatter more than the traces say (p = {p_value:.4}): \
                 look at the integration of the small peaks; intervals near zero are too narrow"
            ),
            FlaskSources { from_scatter, stated } => write!(
                f,
                "relative standard deviation of one flask: {:.2} % from scatter, {:.2} % stated beforehand; \
                 the larger is used, never both",
                100.0 * from_scatter,
                100.0 * stated
            ),
            InterceptNotZero { intercept, p_value } => write!(
                f,
                "a line with an intercept would have {intercept:.4e} (p = {p_value:.4}): \
                 the line through zero is in doubt; declare a line with intercept"
            ),
            TurnsInRange { at } => write!(
                f,
                "the curve turns at a content of {at:.4e}, inside its range: beyond it one response has two contents \
                 and none is given; leave the highest levels out with a reason, or dilute"
            ),
            RegressedOnResponse => f.write_str(
                "content was regressed on response, as declared, for comparison with published recipes; \
                 it pulls contents towards the middle of the standards",
            ),
        }
    }
}

/// A doubt on, or a remark to, a content.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum InverseNote {
    /// Too little to judge scatter by.
    FewDegreesOfFreedom {
        /// Degrees of freedom there are.
        dof: f64,
    },
    /// The slope is so uncertain that ± would mislead.
    SlopeUncertain {
        /// t²·s_b²/b².
        g: f64,
    },
    /// One side of the interval, or both, has no end.
    OpenInterval,
    /// The level leaves two separate sets of contents; the one around the estimate is given.
    DisjointInterval {
        /// Where the other set begins or ends.
        other: f64,
    },
    /// Below the lowest standard.
    BelowRange {
        /// Content of the lowest standard.
        lowest: f64,
    },
    /// Above the highest standard.
    AboveRange {
        /// Content of the highest standard.
        highest: f64,
    },
    /// Weights 1/x², 1/x or 1/y do not hold below the lowest standard.
    WeightsEndBelowRange,
    /// The response lies beyond the highest or lowest that the curve reaches.
    NotReached {
        /// The content at which the curve turns.
        turn: f64,
    },
    /// Flask means of standards and sample rest on different numbers of shots.
    DifferentShots {
        /// Shots per standard flask.
        standards: f64,
        /// Shots per sample flask.
        sample: f64,
    },
    /// The sample's flasks scatter more than the standards.
    FlasksDisagree {
        /// Chance of so much scatter.
        p_value: f64,
    },
    /// The sample has a single flask.
    SingleFlask,
    /// The standards' areas have an uncertainty from the traces, the sample's have none.
    NoAreaUncertainty,
    /// Scatter and prior knowledge on one flask, side by side; the larger was used.
    FlaskSources {
        /// Relative standard deviation from scatter.
        from_scatter: f64,
        /// Relative standard uncertainty stated.
        stated: f64,
    },
    /// Content regressed on response.
    RegressedOnResponse,
    /// A content found by standard addition lies far outside what was added.
    AdditionsTooSmall {
        /// Content over the largest addition.
        ratio: f64,
    },
}

impl fmt::Display for InverseNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use InverseNote::*;
        match self {
            FewDegreesOfFreedom { dof } => write!(
                f,
                "only {dof} residual degrees of freedom, 3 are the least: the value stands without uncertainty; \
                 make more flasks"
            ),
            SlopeUncertain { g } => write!(
                f,
                "the slope is uncertain (g = {g:.3}, above 0.05): no ± is given, use the interval; \
                 spread the standards wider or make more of them"
            ),
            OpenInterval => f.write_str(
                "the interval has no end on at least one side: the scatter is too large for this level; \
                 make more flasks",
            ),
            DisjointInterval { other } => write!(
                f,
                "contents beyond {other:.6} are not refused either: the slope is hardly different from zero; \
                 spread the standards wider or make more of them"
            ),
            BelowRange { lowest } => write!(
                f,
                "below the lowest standard ({lowest:.6}): add a standard below the sample, or concentrate the sample"
            ),
            AboveRange { highest } => write!(
                f,
                "above the highest standard ({highest:.6}): dilute the sample into the range and inject it again"
            ),
            WeightsEndBelowRange => f.write_str(
                "weights 1/x², 1/x and 1/y say nothing below the lowest standard: no uncertainty is given there; \
                 use the two-part variance",
            ),
            AdditionsTooSmall { ratio } => write!(
                f,
                "the content is {ratio:.1} times the largest addition: it is extrapolated far; add up to 1 to 3 times \
                 the content"
            ),
            NotReached { turn } => write!(
                f,
                "the curve does not reach this response; it turns at a content of {turn:.6}, which is given instead, \
                 without uncertainty: dilute the sample into the range and inject it again"
            ),
            DifferentShots { standards, sample } => write!(
                f,
                "standards have {standards} shots a flask and the sample {sample}: their flask means scatter \
                 differently and the interval is off; inject both alike"
            ),
            FlasksDisagree { p_value } => write!(
                f,
                "the sample's flasks scatter more than the standards do (p = {p_value:.4}): \
                 look for a mislabelled or spoilt flask before using the mean"
            ),
            NoAreaUncertainty => f.write_str(
                "no uncertainty from the sample's traces: near zero the interval is too narrow; \
                 integrate with an area uncertainty, as for the standards",
            ),
            SingleFlask => f.write_str(
                "one flask only: its scatter is taken from the standards and cannot be checked; make a second flask",
            ),
            FlaskSources { from_scatter, stated } => write!(
                f,
                "relative standard deviation of one flask: {:.2} % from scatter, {:.2} % stated beforehand; \
                 the larger is used",
                100.0 * from_scatter,
                100.0 * stated
            ),
            RegressedOnResponse => f.write_str(
                "content was regressed on response, as declared: contents are pulled towards the middle of the \
                 standards; use the line of response on content unless a published recipe asks for this",
            ),
        }
    }
}
