//! Peak profiles as functions of time: value, area, apex, moments, and fast addition to a trace.
//!
//! | profile | what it is for |
//! |---|---|
//! | [`Gaussian`] | the ideal peak |
//! | [`ExponentiallyModifiedGaussian`] | a tailing peak: a Gaussian that passed a mixing volume or a slow circuit |
//! | [`HaarhoffVanDerLinde`] | an overloaded peak: the fronting fin of a column that took too much |
//!
//! All three hold their area exactly, take times in minutes, and return signal (area unit / minute).

mod emg;
mod gaussian;
mod haarhoff;
pub(crate) mod standard;

pub use emg::ExponentiallyModifiedGaussian;
pub use gaussian::Gaussian;
pub use haarhoff::HaarhoffVanDerLinde;

use crate::error::{Error, ErrorKind, Result};

/// The highest point of a profile.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Apex {
    /// Time of the apex in minutes.
    pub time_min: f64,
    /// Height above the baseline, in signal units (negative for a profile of negative area).
    pub height: f64,
}

/// The statistical moments of a profile.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Moments {
    /// First moment, the centre of gravity, in minutes.
    pub mean_min: f64,
    /// Second central moment in minutes squared.
    pub variance_min2: f64,
    /// Third central moment over the variance to the power 3/2; 0 for a symmetric peak.
    pub skewness: f64,
    /// Fourth central moment over the squared variance, less 3; 0 for a Gaussian.
    pub excess: f64,
}

/// Values below exp(-30) = 1e-13 of the height are left out when a profile is added to a trace.
const CUT: f64 = 30.0;

/// √(2π).
const SQRT_2PI: f64 = 2.506_628_274_631_000_7;

fn must_be_finite(name: &str, value: f64) -> Result<()> {
    if value.is_finite() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Option, format!("{name} is {value}; a finite number is wanted")))
}

fn must_be_width(name: &str, value: f64, zero_is_fine: bool) -> Result<()> {
    if value.is_finite() && (value > 0.0 || (zero_is_fine && value == 0.0)) {
        return Ok(());
    }
    let wanted = if zero_is_fine { "zero or a positive number of minutes" } else { "a positive number of minutes" };
    Err(Error::new(ErrorKind::Option, format!("{name} is {value}; {wanted} is wanted")))
}

/// Adds `value(t)` to every point between `from` and `to` (included).
fn add_between(time_min: &[f64], signal: &mut [f64], from: f64, to: f64, value: impl Fn(f64) -> f64) {
    let n = time_min.len().min(signal.len());
    let a = time_min[..n].partition_point(|&t| t < from);
    let b = a + time_min[a..n].partition_point(|&t| t <= to);
    for (t, y) in time_min[a..b].iter().zip(&mut signal[a..b]) {
        *y += value(*t);
    }
}
