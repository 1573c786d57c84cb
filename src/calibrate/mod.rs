//! Points → curve: the calibration, its doubts, and the way back from a response to a content.
//!
//! - [`Flask`]s and [`CalibrationOptions`] go in, [`Curve::fit`] gives the [`Curve`] with residuals, leverage,
//!   back-calculated contents and a lack-of-fit test against flasks.
//! - [`Curve::invert`] takes a sample's flask means ([`Unknown`]) to an [`Inverse`]: content, interval and the
//!   probability to be above a limit, all from one pivot.
//! - [`Curve::limits`] gives critical value, detection and quantitation limits.
//! - [`NestedScatter`] takes apart what flasks and what shots contribute.

mod curve;
mod doubts;
mod flasks;
mod function;
mod inverse;
mod lack_of_fit;
mod limits;
mod notes;
pub(crate) mod pivot;
mod replicates;
mod solve;
mod variance;

pub use curve::{CalibrationPoint, Coefficient, Curve};
pub use flasks::{CalibrationOptions, Flask, FlaskTypeB, Model, SharedSource, Weighting};
pub use inverse::{Contribution, Inverse, Scope, Unknown};
pub use lack_of_fit::LackOfFit;
pub use limits::{ConventionalLimit, LimitNote, LimitOptions, Limits, ZeroVariance};
pub use notes::{CurveNote, InverseNote};
pub use replicates::{NestedScatter, PooledSd, pooled_sd};

pub(crate) use lack_of_fit::detectable_noncentrality;
