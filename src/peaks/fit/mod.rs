//! Fits of peak profiles with a local baseline: areas of overlapping peaks, and of isolated ones as good as the noise
//! permits.
//!
//! [`Trace::fit_window`](crate::Trace::fit_window) fits what lies between two times,
//! [`Trace::fit_peaks`](crate::Trace::fit_peaks) all peaks of a list, group by group.

mod choose;
mod group;
mod model;
mod outcome;
mod runs;
mod start;
mod window;

pub use group::PeakFits;
pub use outcome::{FittedPeak, GroupFit, PeakFit};
pub use runs::fit_together;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};

/// Options of a fit.
///
/// ```
/// use vialbook::peaks::{FitOptions, FitShape};
/// let options = FitOptions { shape: FitShape::Gaussian, ..FitOptions::default() };
/// assert_eq!(options.baseline_degree, 1);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FitOptions {
    /// The profile of every peak.
    pub shape: FitShape,
    /// Degree of the polynomial below the group: 0 level, 1 straight (the default), up to 3.
    pub baseline_degree: usize,
    /// One width and one lopsidedness for all peaks of a group: neighbours on one column are nearly alike, and the
    /// areas' variance falls 2 to 10 times.
    pub shared_shape: bool,
    /// How many peaks.
    pub components: Components,
    /// Apex times in minutes at which peaks are known to be, from standards run alone: each gets a component without
    /// having to show a maximum or a shoulder.
    pub expected_min: Vec<f64>,
    /// The noise, where it is known from elsewhere, such as a blank run. Default: told from the whole trace.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise: Option<KnownNoise>,
    /// Steps after which a fit that has not settled is given up. Default 100.
    pub max_iterations: usize,
}

/// Noise that is known before the fit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnownNoise {
    /// Its standard deviation in signal units.
    pub sd: f64,
    /// Correlation of neighbouring points, 0 for white noise.
    #[serde(default)]
    pub autocorrelation: f64,
}

impl Default for FitOptions {
    fn default() -> Self {
        FitOptions {
            shape: FitShape::default(),
            baseline_degree: 1,
            shared_shape: false,
            components: Components::default(),
            expected_min: Vec::new(),
            noise: None,
            max_iterations: 100,
        }
    }
}

/// The profile that is fitted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FitShape {
    /// A Gaussian: three parameters.
    Gaussian,
    /// An exponentially modified Gaussian, or its mirror image where the front is the longer side: four parameters.
    /// It passes smoothly through the Gaussian, so that small tails bias nothing.
    #[default]
    ExponentiallyModifiedGaussian,
    /// The Haarhoff-Van der Linde function, for overloaded peaks that front (or tail): four parameters.
    HaarhoffVanDerLinde,
}

impl FitShape {
    /// In words: "exponentially modified Gaussian".
    pub fn words(self) -> &'static str {
        match self {
            FitShape::Gaussian => "Gaussian",
            FitShape::ExponentiallyModifiedGaussian => "exponentially modified Gaussian",
            FitShape::HaarhoffVanDerLinde => "Haarhoff-Van der Linde function",
        }
    }
}

/// How many peaks a fit has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Components {
    /// Those that have a maximum or are expected, and shoulders where the data support them: see
    /// [`Trace::fit_window`](crate::Trace::fit_window).
    #[default]
    Chosen,
    /// So many.
    Exactly(usize),
}

impl FitOptions {
    pub(crate) fn check(&self) -> Result<()> {
        let trouble = if self.baseline_degree > 3 {
            format!("baseline_degree is {}; 0 to 3 is wanted", self.baseline_degree)
        } else if self.max_iterations == 0 {
            "max_iterations is 0; at least 1 is wanted".to_owned()
        } else if self.components == Components::Exactly(0) {
            "a fit of 0 peaks; at least 1 is wanted".to_owned()
        } else if self.expected_min.iter().any(|t| !t.is_finite()) {
            "expected_min must be numbers of minutes".to_owned()
        } else if self.noise.is_some_and(|n| !(n.sd.is_finite() && n.sd > 0.0 && n.autocorrelation.abs() < 1.0)) {
            "the noise wants a standard deviation above 0 and a correlation between -1 and 1".to_owned()
        } else {
            return Ok(());
        };
        Err(Error::new(ErrorKind::Option, trouble))
    }
}
