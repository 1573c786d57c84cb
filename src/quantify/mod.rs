//! Curve and responses → amounts, with their uncertainty budget.
//!
//! - [`Amount::external`] and [`Amount::internal`]: from a sample's flask means to a content in the sample, in the unit asked for.
//! - [`Amount::addition`]: from a standard addition.
//! - [`by_one_standard`], [`by_two_standards`]: with one standard or two, and what that takes for granted.
//! - [`normalise`]: shares of what the detector shows; [`carbon_number_factor`]: factors for flame ionisation.
//! - [`compare`], [`claims`]: beside a reference value, and whether the claimed uncertainty can be believed.
//! - [`MonteCarlo`]: is the linear uncertainty good enough?
//! - [`Dilution`]: what was diluted, and whether the internal standard went in before; the factor is applied once or not at all.
//! - [`Conversion`]: between mass concentration, amount concentration, mass, volume and amount fraction.
//! - [`VolumeCancels`]: does the injected volume cancel in the ratio to the internal standard?
//! - [`DecisionRule`]: accept, reject or undecided against limits fixed beforehand.

mod amount;
mod bracket;
mod budget;
mod comparison;
mod convert;
mod decision;
mod dilution;
mod external;
mod internal;
mod monte_carlo;
mod normalisation;
mod notes;

pub use amount::{Amount, Target};
pub use bracket::{Bracketed, Caution, FlaskMeans, by_one_standard, by_two_standards};
pub use budget::BudgetLine;
pub use comparison::{Agreement, ClaimedU, Claims, ReferenceValue, claims, compare};
pub use convert::{Conversion, Density, Materials};
pub use decision::{Decision, DecisionRule, Verdict};
pub use dilution::{Added, Dilution};
pub use external::{injection_volume_relative_u, single_point};
pub use internal::{InternalStandardContent, ShotRatio, VolumeCancels, shot_ratio, single_point_internal};
pub use monte_carlo::{MonteCarlo, MonteCarloOptions};
pub use normalisation::{
    CARBON_NUMBER_ESTER_RELATIVE_U, CARBON_NUMBER_RELATIVE_U, CarbonGroups, NormalisedPeak, Share, UnseenComponent,
    carbon_number_factor, normalise,
};
pub use notes::AmountNote;
