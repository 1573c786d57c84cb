//! The exponentially modified Gaussian, the usual tailing peak.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

use super::{Apex, CUT, Gaussian, Moments, SQRT_2PI, add_between, must_be_finite, must_be_width};
use crate::error::Result;
use crate::numeric::special::{erfc, erfcx};

/// A Gaussian convolved with an exponential decay: the peak that a mixing volume or a slow circuit leaves.
///
/// With u = (t - t₀)/σ and z = (σ/τ - u)/√2,
///
/// f(t) = A/(2τ) · exp(-u²/2) · erfcx(z)            for z ≥ 0,
/// f(t) = A/(2τ) · exp(σ²/(2τ²) - (t - t₀)/τ) · erfc(z)   for z < 0,
///
/// A the area (signal unit × minute), t₀ the centre of the Gaussian (not the apex), σ its standard deviation, τ
/// the time constant of the decay, all in minutes. E. Grushka, Analytical Chemistry 44 (1972) 1733-1738; the two
/// branches, with the scaled complementary error function in front of the bend, are those of Y. Kalambet, Y.
/// Kozmin, K. Mikhailova, I. Nagaev, P. Tikhonov, Journal of Chemometrics 25 (2011) 352-356.
///
/// Neither branch overflows or cancels: relative error of the value about 1e-14 wherever it exceeds 1e-13 of the
/// height, from τ = 0 (a Gaussian; below τ/σ = 1e-6 a Gaussian of the same mean and variance stands in, with a
/// relative difference of (τ/σ)³) to σ = 0 (a bare decay).
///
/// ```
/// use vialbook::shapes::ExponentiallyModifiedGaussian;
/// let peak = ExponentiallyModifiedGaussian::new(1.0, 0.0, 1.0, 1.0)?;
/// let apex = peak.apex();
/// assert!((apex.time_min - 0.697_369_159_288).abs() < 1e-12);
/// assert!((apex.height - 0.312_828_423_845_512).abs() < 1e-14);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ExponentiallyModifiedGaussian {
    /// Area A in signal unit × minute; may be negative.
    pub area: f64,
    /// Centre t₀ of the Gaussian in minutes; the apex comes later.
    pub centre_min: f64,
    /// Standard deviation σ of the Gaussian in minutes.
    pub sigma_min: f64,
    /// Time constant τ of the tail in minutes; 0 for none.
    pub tau_min: f64,
}

/// Below this τ/σ a Gaussian of the same mean and variance stands in; the two differ by (τ/σ)³ = 1e-18.
const NO_TAIL: f64 = 1e-6;
/// Above this τ/σ the Gaussian part is a step for all purposes: the front is 1e-9 τ wide.
const BARE_DECAY: f64 = 1e9;

impl ExponentiallyModifiedGaussian {
    /// A peak from area, centre and standard deviation of its Gaussian, and time constant of its tail.
    ///
    /// # Errors
    /// A number that is not finite; a negative σ or τ; both zero.
    pub fn new(area: f64, centre_min: f64, sigma_min: f64, tau_min: f64) -> Result<Self> {
        must_be_finite("the area", area)?;
        must_be_finite("the centre", centre_min)?;
        must_be_width("the time constant of the tail", tau_min, true)?;
        must_be_width("the standard deviation", sigma_min, tau_min > 0.0)?;
        Ok(ExponentiallyModifiedGaussian { area, centre_min, sigma_min, tau_min })
    }

    /// Signal at `time_min`.
    #[inline]
    pub fn value(&self, time_min: f64) -> f64 {
        match self.form() {
            Form::Nothing => 0.0,
            Form::Gaussian(gaussian) => gaussian.value(time_min),
            Form::Decay => self.decay(time_min),
            Form::Both => self.kernel(time_min),
        }
    }

    /// Area in signal unit × minute.
    pub fn area(&self) -> f64 {
        self.area
    }

    /// Time and height of the apex.
    ///
    /// There f = Gaussian, so that erfcx(z) = (τ/σ) √(2/π); solved by Newton's method on the logarithm, which
    /// converges from one side. Time to 1e-13 σ, height to 1e-14 relative.
    pub fn apex(&self) -> Apex {
        let (s, tau) = (self.sigma_min, self.tau_min);
        match self.form() {
            Form::Nothing => Apex { time_min: self.centre_min, height: 0.0 },
            Form::Gaussian(gaussian) => gaussian.apex(),
            Form::Decay => Apex { time_min: self.centre_min, height: self.area / tau },
            Form::Both => {
                let r = tau / s;
                // In front of r = 1e-3 the difference below cancels; the series' next term is of order r⁵.
                let u = if r < 1e-3 { r - r * r * r } else { 1.0 / r - SQRT_2 * erfcx_inverse(r * (2.0 / PI).sqrt()) };
                Apex { time_min: self.centre_min + u * s, height: self.area / (s * SQRT_2PI) * libm::exp(-0.5 * u * u) }
            }
        }
    }

    /// Moments: t₀ + τ, σ² + τ², skewness 2 (τ/w)³ and excess 6 (τ/w)⁴ with w² = σ² + τ².
    pub fn moments(&self) -> Moments {
        let variance = self.sigma_min * self.sigma_min + self.tau_min * self.tau_min;
        let q = if variance > 0.0 { self.tau_min * self.tau_min / variance } else { 0.0 };
        Moments {
            mean_min: self.centre_min + self.tau_min,
            variance_min2: variance,
            skewness: 2.0 * q * q.sqrt(),
            excess: 6.0 * q * q,
        }
    }

    /// Adds the peak to `signal` at the rising times `time_min`; what lies below 1e-13 of the height is left out.
    pub fn add_to(&self, time_min: &[f64], signal: &mut [f64]) {
        let (s, tau, centre) = (self.sigma_min, self.tau_min, self.centre_min);
        match self.form() {
            Form::Nothing => {}
            Form::Gaussian(gaussian) => gaussian.add_to(time_min, signal),
            Form::Decay => add_between(time_min, signal, centre, centre + CUT * tau, |t| self.decay(t)),
            Form::Both => {
                // The least exponent of front and tail together is the Gaussian's own until the bend at σ²/τ, from
                // there the decay's; σ√(2π)/τ is how much higher the decay starts than the apex.
                let r = s / tau;
                let cut = CUT + libm::log((SQRT_2PI * r).max(1.0));
                let front = (2.0 * CUT).sqrt() * s;
                let back = if 0.5 * r * r >= cut { (2.0 * cut).sqrt() * s } else { tau * (cut + 0.5 * r * r) };
                let (half_height, rate, scale) = (0.5 * self.area / tau, 1.0 / tau, 1.0 / s);
                let bend = 0.5 * r * r;
                // From here on erfc(z) is 2 to the last digit.
                let tail_from = centre + s * (r + 6.0 * SQRT_2);
                add_between(time_min, signal, centre - front, (centre + back).min(tail_from), |t| {
                    let u = (t - centre) * scale;
                    let z = (r - u) * FRAC_1_SQRT_2;
                    if z >= 0.0 {
                        half_height * libm::exp(-0.5 * u * u) * erfcx(z)
                    } else {
                        half_height * libm::exp(bend - (t - centre) * rate) * erfc(z)
                    }
                });
                if centre + back > tail_from {
                    add_between(time_min, signal, tail_from.next_up(), centre + back, |t| {
                        2.0 * half_height * libm::exp(bend - (t - centre) * rate)
                    });
                }
            }
        }
    }

    fn form(&self) -> Form {
        let (s, tau) = (self.sigma_min, self.tau_min);
        if tau > 0.0 && (s == 0.0 || (s > 0.0 && tau > BARE_DECAY * s)) {
            Form::Decay
        } else if s > 0.0 && tau >= 0.0 && tau < NO_TAIL * s {
            Form::Gaussian(Gaussian {
                area: self.area,
                centre_min: self.centre_min + tau,
                sigma_min: s * (1.0 + (tau / s) * (tau / s)).sqrt(),
            })
        } else if s > 0.0 && tau > 0.0 {
            Form::Both
        } else {
            Form::Nothing
        }
    }

    fn decay(&self, t: f64) -> f64 {
        let x = (t - self.centre_min) / self.tau_min;
        if x < 0.0 { 0.0 } else { self.area / self.tau_min * libm::exp(-x) }
    }

    #[inline]
    fn kernel(&self, t: f64) -> f64 {
        let u = (t - self.centre_min) / self.sigma_min;
        let r = self.sigma_min / self.tau_min;
        let z = (r - u) * FRAC_1_SQRT_2;
        let half_height = 0.5 * self.area / self.tau_min;
        if z >= 0.0 {
            half_height * libm::exp(-0.5 * u * u) * erfcx(z)
        } else {
            half_height * libm::exp(0.5 * r * r - (t - self.centre_min) / self.tau_min) * erfc(z)
        }
    }
}

enum Form {
    Nothing,
    Gaussian(Gaussian),
    Decay,
    Both,
}

/// z with erfcx(z) = y, for y > 0.
///
/// ln erfcx is convex and falls, so that Newton's method runs up from the left without overshooting once it is
/// there; the start is the lower bound 2/(√π (z + √(z² + 2))) ≤ erfcx(z), solved for z.
fn erfcx_inverse(y: f64) -> f64 {
    let two_by_root_pi = 2.0 / PI.sqrt();
    let s = two_by_root_pi / y;
    // For large y erfcx(z) = 2 exp(z²) to first order, a better start than the bound.
    let mut z = if y > 4.0 { -libm::log(0.5 * y).sqrt() } else { 0.5 * s - 1.0 / s };
    for _ in 0..50 {
        let e = erfcx(z);
        let step = libm::log(e / y) / (2.0 * z - two_by_root_pi / e);
        z -= step;
        if step.abs() <= 1e-15 * z.abs().max(1e-3) {
            break;
        }
    }
    z
}
