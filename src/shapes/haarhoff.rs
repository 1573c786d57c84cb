//! The Haarhoff-Van der Linde function, an overloaded peak.

use std::f64::consts::FRAC_1_SQRT_2;

use super::{Apex, CUT, Moments, SQRT_2PI, add_between, must_be_finite, must_be_width};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::special::{erfc, erfcx};

/// An overloaded peak: what a column with a slightly curved isotherm makes of too much substance.
///
/// With u = (t - t₀)/σ, φ and Φ the standard normal density and distribution, and λ > 0,
///
/// f(t) = A/(λσ) · φ(u) / (1/(exp λ - 1) + 1 - Φ(u)),
///
/// the exact solution of the mass balance of one substance with diffusion and an isotherm that is a parabola, for
/// an injection that is a spike: P. C. Haarhoff and H. J. Van der Linde, Analytical Chemistry 38 (1966) 573-582.
/// A is the area (signal unit × minute; held exactly for every λ), t₀ the retention time of a vanishing amount
/// and σ its standard deviation in minutes.
///
/// λ, here `fronting`, is the load without dimension, proportional to the amount injected:
/// - 0: a Gaussian (small loads differ from it by about 0.4 λ σ in apex time);
/// - positive: the peak **fronts** and its apex moves to later times, which is what vapours do on a liquid phase
///   that swells with them (anti-Langmuir isotherm, the usual overload in gas chromatography). For λ ≫ 1 it is a
///   right-angled fin: it rises in a straight line from t₀, and falls off at t₀ + σ √(2λ) within about σ/√(2λ);
/// - negative: the mirror image about t₀, a steep front with a straight tail and an apex that moves to earlier
///   times (Langmuir isotherm: adsorption on few sites).
///
/// So the base of a strongly overloaded peak grows with the square root of the amount, and its height too.
/// Relative error of the value about 1e-14 for any λ up to 1e6 in size. It holds for one substance alone and a
/// narrow injection: a vapour plug that lasts as long as the peak must be convolved with it.
///
/// ```
/// use vialbook::shapes::HaarhoffVanDerLinde;
/// let fin = HaarhoffVanDerLinde::new(2.0, 5.0, 0.02, 50.0)?;
/// let apex = fin.apex();
/// assert!(apex.time_min > 5.15 && apex.time_min < 5.20); // √100 σ later than a small amount, less the edge
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct HaarhoffVanDerLinde {
    /// Area A in signal unit × minute; may be negative.
    pub area: f64,
    /// Retention time t₀ of a vanishing amount in minutes.
    pub centre_min: f64,
    /// Standard deviation σ of a vanishing amount in minutes.
    pub sigma_min: f64,
    /// Load λ without dimension: positive fronts, negative tails, 0 is a Gaussian.
    pub fronting: f64,
}

/// Loads beyond this are refused: the function is then a triangle to six digits.
const LARGEST_LOAD: f64 = 1e6;

impl HaarhoffVanDerLinde {
    /// A peak from its area, the retention time and standard deviation of a vanishing amount, and the load.
    ///
    /// # Errors
    /// A number that is not finite; a standard deviation that is not positive; a load beyond ±1e6.
    pub fn new(area: f64, centre_min: f64, sigma_min: f64, fronting: f64) -> Result<Self> {
        must_be_finite("the area", area)?;
        must_be_finite("the centre", centre_min)?;
        must_be_width("the standard deviation", sigma_min, false)?;
        if !fronting.is_finite() || fronting.abs() > LARGEST_LOAD {
            return Err(Error::new(
                ErrorKind::Option,
                format!("fronting is {fronting}; a load between -1e6 and 1e6 is wanted"),
            ));
        }
        Ok(HaarhoffVanDerLinde { area, centre_min, sigma_min, fronting })
    }

    /// Signal at `time_min`.
    #[inline]
    pub fn value(&self, time_min: f64) -> f64 {
        if !self.is_wide() {
            return 0.0;
        }
        let u = (time_min - self.centre_min) / self.sigma_min;
        self.area / self.sigma_min * Load::new(self.fronting.abs()).profile(self.forward(u))
    }

    /// Area in signal unit × minute.
    pub fn area(&self) -> f64 {
        self.area
    }

    /// Time and height of the apex, by bisection of the derivative to the last digit.
    pub fn apex(&self) -> Apex {
        if !self.is_wide() {
            return Apex { time_min: self.centre_min, height: 0.0 };
        }
        let load = Load::new(self.fronting.abs());
        let u = load.apex();
        Apex {
            time_min: self.centre_min + self.forward(u) * self.sigma_min,
            height: self.area / self.sigma_min * load.profile(u),
        }
    }

    /// Moments by numerical integration, to about 1e-12 relative; no closed form is known.
    ///
    /// The trapezoid sum of an analytic function: its error falls as exp(-2π d/h), d the distance of the nearest
    /// pole from the real axis, which is about π/√(2λ) standard deviations. Cost grows with |λ|.
    pub fn moments(&self) -> Moments {
        if !self.is_wide() {
            return Moments { mean_min: self.centre_min, variance_min2: 0.0, skewness: 0.0, excess: 0.0 };
        }
        let load = Load::new(self.fronting.abs());
        let (from, to) = (-9.0, (2.0 * load.lambda + 81.0).sqrt()); // exp(-81/2) = 3e-18 at either end
        let step = 0.125_f64.min(0.5 / (2.0 * load.lambda).sqrt().max(1.0));
        let n = ((to - from) / step).ceil() as usize;
        let about = load.apex();
        let mut sums = [0.0; 5];
        for i in 0..=n {
            let u = from + i as f64 * step;
            let (f, d) = (load.profile(u), u - about);
            let mut term = f;
            for sum in &mut sums {
                *sum += term;
                term *= d;
            }
        }
        let [m0, m1, m2, m3, m4] = sums;
        let (a, b, c, d) = (m1 / m0, m2 / m0, m3 / m0, m4 / m0);
        let variance = b - a * a;
        let third = c - 3.0 * a * b + 2.0 * a * a * a;
        let fourth = d - 4.0 * a * c + 6.0 * a * a * b - 3.0 * a * a * a * a;
        Moments {
            mean_min: self.centre_min + self.forward(about + a) * self.sigma_min,
            variance_min2: variance * self.sigma_min * self.sigma_min,
            skewness: self.forward(third / (variance * variance.sqrt())),
            excess: fourth / (variance * variance) - 3.0,
        }
    }

    /// Adds the peak to `signal` at the rising times `time_min`; what lies below 1e-13 of the height is left out.
    pub fn add_to(&self, time_min: &[f64], signal: &mut [f64]) {
        if !self.is_wide() {
            return;
        }
        let load = Load::new(self.fronting.abs());
        let (front, back) = (-(2.0 * CUT).sqrt(), (2.0 * (load.lambda + CUT)).sqrt());
        let (from, to) = if self.fronting >= 0.0 { (front, back) } else { (-back, -front) };
        let (scale, rate, s) = (self.area / self.sigma_min, 1.0 / self.sigma_min, self.sigma_min);
        add_between(time_min, signal, self.centre_min + from * s, self.centre_min + to * s, |t| {
            scale * load.profile(self.forward((t - self.centre_min) * rate))
        });
    }

    fn is_wide(&self) -> bool {
        self.sigma_min > 0.0
    }

    /// Turns a tailing peak's time axis round, so that only fronting ones need be computed.
    #[inline]
    fn forward(&self, x: f64) -> f64 {
        if self.fronting < 0.0 { -x } else { x }
    }
}

/// A load with what does not change from point to point.
struct Load {
    lambda: f64,
    /// λ/(exp λ - 1), which is 1 for no load.
    rest: f64,
    /// λ/(1 - exp(-λ)).
    full: f64,
}

impl Load {
    fn new(lambda: f64) -> Self {
        if lambda < 1e-300 {
            return Load { lambda: 0.0, rest: 1.0, full: 1.0 };
        }
        Load { lambda, rest: lambda / libm::expm1(lambda), full: -lambda / libm::expm1(-lambda) }
    }

    /// The profile of unit area and unit standard deviation.
    #[inline]
    fn profile(&self, u: f64) -> f64 {
        if u <= 0.0 {
            let q = 0.5 * erfc(u * FRAC_1_SQRT_2);
            libm::exp(-0.5 * u * u) / (SQRT_2PI * (self.rest + self.lambda * q))
        } else {
            // Behind the centre both terms of the denominator vanish: multiply it by exp(u²/2).
            let grown = self.full * libm::exp(0.5 * u * u - self.lambda);
            1.0 / (SQRT_2PI * (grown + 0.5 * self.lambda * erfcx(u * FRAC_1_SQRT_2)))
        }
    }

    /// u where the derivative is 0: λ φ(u) = u (λ/(exp λ - 1) + λ (1 - Φ(u))), whose left side less right side
    /// falls steadily.
    fn apex(&self) -> f64 {
        let (mut low, mut high) = (0.0, (2.0 * self.lambda).sqrt() + 1.0);
        for _ in 0..60 {
            let u = 0.5 * (low + high);
            let grown = self.full * libm::exp(0.5 * u * u - self.lambda);
            if self.lambda / SQRT_2PI > u * (grown + 0.5 * self.lambda * erfcx(u * FRAC_1_SQRT_2)) {
                low = u;
            } else {
                high = u;
            }
        }
        if self.lambda == 0.0 { 0.0 } else { 0.5 * (low + high) }
    }
}
