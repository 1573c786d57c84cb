//! The Gaussian, the ideal peak.

use super::{Apex, CUT, Moments, SQRT_2PI, add_between, must_be_finite, must_be_width};
use crate::error::Result;

/// A Gaussian peak, f(t) = A / (σ √(2π)) · exp(-(t - t₀)² / (2σ²)).
///
/// Plain numbers may be put into the fields; [`Gaussian::new`] also checks them. A width that is not positive
/// gives 0 everywhere.
///
/// ```
/// use vialbook::shapes::Gaussian;
/// let peak = Gaussian::new(1.0, 5.0, 0.02)?;
/// assert!((peak.apex().height - 19.947_114_020_071_635).abs() < 1e-12);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Gaussian {
    /// Area A in signal unit × minute; may be negative.
    pub area: f64,
    /// Time t₀ of centre and apex in minutes.
    pub centre_min: f64,
    /// Standard deviation σ in minutes.
    pub sigma_min: f64,
}

impl Gaussian {
    /// A Gaussian from its area, centre and standard deviation.
    ///
    /// # Errors
    /// A number that is not finite; a standard deviation that is not positive.
    pub fn new(area: f64, centre_min: f64, sigma_min: f64) -> Result<Self> {
        must_be_finite("the area", area)?;
        must_be_finite("the centre", centre_min)?;
        must_be_width("the standard deviation", sigma_min, false)?;
        Ok(Gaussian { area, centre_min, sigma_min })
    }

    /// Signal at `time_min`.
    #[inline]
    pub fn value(&self, time_min: f64) -> f64 {
        if self.sigma_min > 0.0 {
            let u = (time_min - self.centre_min) / self.sigma_min;
            self.area / (self.sigma_min * SQRT_2PI) * libm::exp(-0.5 * u * u)
        } else {
            0.0
        }
    }

    /// Area in signal unit × minute.
    pub fn area(&self) -> f64 {
        self.area
    }

    /// Time and height of the apex.
    pub fn apex(&self) -> Apex {
        Apex { time_min: self.centre_min, height: self.value(self.centre_min) }
    }

    /// Moments: t₀, σ², no skewness, no excess.
    pub fn moments(&self) -> Moments {
        Moments {
            mean_min: self.centre_min,
            variance_min2: self.sigma_min * self.sigma_min,
            skewness: 0.0,
            excess: 0.0,
        }
    }

    /// Adds the peak to `signal` at the rising times `time_min`; what lies below 1e-13 of the height is left out.
    pub fn add_to(&self, time_min: &[f64], signal: &mut [f64]) {
        if self.sigma_min > 0.0 {
            let reach = (2.0 * CUT).sqrt() * self.sigma_min;
            let (height, scale) = (self.area / (self.sigma_min * SQRT_2PI), 1.0 / self.sigma_min);
            add_between(time_min, signal, self.centre_min - reach, self.centre_min + reach, |t| {
                let u = (t - self.centre_min) * scale;
                height * libm::exp(-0.5 * u * u)
            });
        }
    }
}
