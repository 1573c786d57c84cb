//! Points → curve: the calibration, its doubts, and the way back from a response to a content.
//!
//! - [`Flask`]s and [`CalibrationOptions`] go in, [`Curve::fit`] gives the [`Curve`] with residuals, leverage,
//!   back-calculated contents and a lack-of-fit test against flasks.
//! - [`Curve::invert`] takes a sample's flask means ([`Unknown`]) to an [`Inverse`]: content, interval and the
//!   probability to be above a limit, all from one pivot.
//! - [`Curve::residual_tests`], [`Curve::suspicion`] and [`Curve::drift`] say what is doubtful and where to look.
//! - [`Curve::limits`] gives critical value, detection and quantitation limits.
//! - [`Curve::limits_din_32645`], [`method_detection_limit`] and [`blank_limits`] are other rules under their own names.
//! - [`Curve::added_to`] extrapolates a standard addition; [`Curve::intercept_check`] holds an intercept to the blank.
//! - [`fit_errors_in_x`] fits a line to contents that are uncertain and correlated themselves.
//! - [`NestedScatter`] and [`DayScatter`] take apart what days, flasks and shots contribute.
//! - [`grubbs`], [`dixon`], [`robust_mean`], [`horwitz_thompson`] advise on replicates.

mod addition;
mod curve;
mod design;
mod doubts;
mod drift;
mod errors_in_x;
mod flasks;
mod function;
mod inverse;
mod lack_of_fit;
mod limit_methods;
mod limits;
mod notes;
mod outliers;
pub(crate) mod pivot;
mod replicates;
mod residual_tests;
mod solve;
mod spread;
mod suspicion;
mod variance;

pub use addition::{BlankResponse, InterceptCheck, InterceptMeaning};
pub use curve::{CalibrationPoint, Coefficient, Curve};
pub use drift::{Drift, TimedFlask};
pub use errors_in_x::{ErrorsInX, fit_errors_in_x};
pub use flasks::{CalibrationOptions, Flask, FlaskTypeB, GroupSource, Model, SharedSource, Weighting};
pub use inverse::{Contribution, Inverse, Scope, Unknown};
pub use lack_of_fit::LackOfFit;
pub use limit_methods::{BlankLimits, DinLimits, MethodDetectionLimit, blank_limits, method_detection_limit};
pub use limits::{ConventionalLimit, LimitNote, LimitOptions, Limits, ZeroVariance};
pub use notes::{CurveNote, InverseNote};
pub use outliers::{Outlier, OutlierTest, dixon, grubbs};
pub use replicates::{DayScatter, NestedScatter, PooledSd, pooled_sd};
pub use residual_tests::{ResidualQuestion, ResidualTest};
pub use spread::{RobustMean, horwitz_thompson, robust_mean};
pub use suspicion::{Mistake, Suspicion};

pub(crate) use function::{Covariance, Function};
pub(crate) use lack_of_fit::detectable_noncentrality;
