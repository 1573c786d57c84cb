//! Mathematics on numbers and slices; knows nothing about traces.
//!
//! | module | answers |
//! |---|---|
//! | [`special`] | error functions, log gamma, incomplete gamma and beta |
//! | [`distributions`] | probabilities and quantiles: normal, Student t, chi-squared, Fisher F |
//! | [`least_squares`] | linear models: lines, polynomials, any design, with weights |
//! | [`nonlinear`] | least squares of any smooth model, with a stop report |
//! | [`statistics`] | mean, spread, median, quantiles, covariance |
//! | [`roots`] | a root in a bracket, quadratic equations |
//! | [`matrix`], [`double_double`] | small dense matrices; numbers of 31 digits |
//! | [`random`] | seeded draws, the same bits on every machine |

pub mod distributions;
pub mod double_double;
mod householder;
pub mod least_squares;
pub mod matrix;
pub mod nonlinear;
pub mod random;
pub mod roots;
pub mod special;
pub mod statistics;

pub use distributions::{
    chi_squared_cdf, chi_squared_quantile, chi_squared_sf, fisher_f_cdf, fisher_f_quantile, fisher_f_sf, normal_cdf,
    normal_quantile, normal_sf, student_t_cdf, student_t_quantile, student_t_sf,
};
pub use double_double::DoubleDouble;
pub use least_squares::{LinearFit, fit_linear, fit_polynomial};
pub use matrix::Matrix;
pub use nonlinear::{NonlinearFit, NonlinearOptions, StopReason, fit_nonlinear};
pub use random::Xoshiro256PlusPlus;
pub use roots::{find_root, quadratic_roots};
pub use special::{erf, erfc, erfcx, ln_gamma};
pub use statistics::{
    MAD_TO_SD, autocorrelation, correlation, covariance, mad, mean, median, quantile, sample_sd, sample_variance,
    weighted_mean,
};
