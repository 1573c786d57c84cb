//! Profiles in standard coordinates, with their derivatives: what a fit needs.
//!
//! Every profile is written f(t) = (A/w) φ(x; η) with x = (t - m)/w, so that the derivatives by area A, place m and
//! ln w follow from φ and φₓ alone; η, without dimension and without bounds, is what makes the profile lopsided, and
//! η = 0 is the Gaussian for each.

use std::f64::consts::FRAC_1_SQRT_2;

use super::{HaarhoffVanDerLinde, SQRT_2PI};
use crate::numeric::special::{erfc, erfcx};

/// φ, ∂φ/∂x and ∂φ/∂η at one x.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Jet {
    pub(crate) value: f64,
    pub(crate) by_x: f64,
    pub(crate) by_eta: f64,
}

/// A standard profile of given η, with what does not change from point to point.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Standard {
    /// exp(-x²/2)/√(2π).
    Gaussian,
    /// An exponentially modified Gaussian of mean 0 and standard deviation 1; mirrored for η < 0.
    Skewed(Skewed),
    /// The Haarhoff-Van der Linde function with load 2 sinh η.
    Loaded(Loaded),
}

impl Standard {
    /// The exponentially modified Gaussian whose skewness is 2 tanh η.
    ///
    /// With mean and variance held, the profile changes smoothly through the Gaussian at η = 0 to the mirror image:
    /// its third moment 2τ³ is a regular parameter there, τ is not. tanh keeps τ below the standard deviation.
    pub(crate) fn skewed(eta: f64) -> Self {
        Standard::Skewed(Skewed::new(eta))
    }

    pub(crate) fn loaded(eta: f64) -> Self {
        Standard::Loaded(Loaded::new(eta))
    }

    #[inline]
    pub(crate) fn at(&self, x: f64) -> Jet {
        match self {
            Standard::Gaussian => {
                let value = libm::exp(-0.5 * x * x) / SQRT_2PI;
                Jet { value, by_x: -x * value, by_eta: 0.0 }
            }
            Standard::Skewed(s) => s.at(x),
            Standard::Loaded(l) => l.at(x),
        }
    }
}

/// Below this τ/σ the expansion about the Gaussian is used, above it closed forms, whose derivative by η loses
/// (σ/τ)⁵ ulp: 2e-9 here.
const NEAR_GAUSSIAN: f64 = 0.04;

/// An exponentially modified Gaussian in terms of its skewness.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Skewed {
    mirrored: bool,
    /// Time constant over standard deviation of the whole.
    pub(crate) tau: f64,
    /// The Gaussian's standard deviation over that of the whole.
    pub(crate) sigma: f64,
    /// τ/σ.
    r: f64,
    /// dp/dη = 1 - tanh²η.
    slope: f64,
    one_over_r: f64,
    half_height: f64,
}

impl Skewed {
    fn new(eta: f64) -> Self {
        let size = eta.abs();
        let p = libm::tanh(size);
        // 1 - p without loss for large η, and with it 1 - p^(2/3).
        let rest = 2.0 / (libm::exp(2.0 * size) + 1.0);
        let tau = libm::cbrt(p);
        let square = if p < 0.5 { 1.0 - tau * tau } else { -libm::expm1(2.0 / 3.0 * libm::log1p(-rest)) };
        let sigma = square.max(1e-300).sqrt();
        let r = tau / sigma;
        Skewed {
            mirrored: eta < 0.0,
            tau,
            sigma,
            r,
            slope: rest * (2.0 - rest),
            one_over_r: 1.0 / r,
            half_height: 0.5 / tau,
        }
    }

    #[inline]
    fn at(&self, x: f64) -> Jet {
        let jet = self.forward(if self.mirrored { -x } else { x });
        if self.mirrored { Jet { value: jet.value, by_x: -jet.by_x, by_eta: -jet.by_eta } } else { jet }
    }

    /// Tailing, with τ ≥ 0.
    ///
    /// E the decay exp(-s/τ)/τ, G the Gaussian, * convolution: f = E*G, f₂ = E*E*G, and
    /// ∂f/∂(τ³) = -f₂'''/3 where mean and variance are held.
    #[inline]
    fn forward(&self, x: f64) -> Jet {
        let (r, sigma, tau) = (self.r, self.sigma, self.tau);
        let u = (x + tau) / sigma;
        if r < NEAR_GAUSSIAN {
            return self.near_gaussian(u);
        }
        let gaussian = libm::exp(-0.5 * u * u);
        let distance = self.one_over_r - u;
        let z = distance * FRAC_1_SQRT_2;
        let f = if z >= 0.0 {
            self.half_height * gaussian * erfcx(z)
        } else {
            self.half_height * libm::exp(0.5 * self.one_over_r * self.one_over_r - u * self.one_over_r) * erfc(z)
        };
        let g = gaussian / (sigma * SQRT_2PI);
        let rate = 1.0 / tau;
        // (1 + τ d/dt) f = g and (1 + τ d/dt) f₂ = f.
        let first = (g - f) * rate;
        let second = (-u * g / sigma - first) * rate;
        let twice = (g * self.one_over_r - distance * f) * self.one_over_r;
        let third = (second - (first - (f - twice) * rate) * rate) * rate;
        Jet { value: f, by_x: first, by_eta: -self.slope * third / 3.0 }
    }

    /// With R_n(x) = ∫ yⁿ exp(-xy - y²/2) dy over y > 0 and x = 1/r - u, f = g R₀/r, and derivatives are sums of
    /// R_n times Hermite polynomials. R_n/R_(n-1) = n/(x + R_(n+1)/R_n) is run down from n = 7, in terms of
    /// h_n = R_n/(r R_(n-1)), which stay finite down to r = 0 (W. Gautschi, Mathematics of Computation 15 (1961)
    /// 227-232, on repeated integrals of the error function).
    #[inline]
    fn near_gaussian(&self, u: f64) -> Jet {
        let (r, sigma) = (self.r, self.sigma);
        let c = 1.0 - r * u;
        // u > 15 here: below exp(-100) of the height.
        if c < 0.4 {
            return Jet::default();
        }
        let square = r * r;
        let mut h = [0.0; 8];
        h[7] = 7.0 / c;
        for n in (1..7).rev() {
            h[n] = n as f64 / (c + square * h[n + 1]);
        }
        let q0 = 1.0 / (c + square * h[1]);
        let q1 = q0 * h[1];
        let q2 = q1 * h[2];
        let q3 = q2 * h[3];
        let q4 = q3 * h[4];
        let g = libm::exp(-0.5 * u * u) / (sigma * SQRT_2PI);
        let third = u * (u * u - 3.0) * q1 - r * (3.0 * (u * u - 1.0) * q2 - r * (3.0 * u * q3 - r * q4));
        Jet {
            value: g * q0,
            by_x: -g / sigma * (u * q0 - r * q1),
            by_eta: self.slope * g / (3.0 * sigma * sigma * sigma) * third,
        }
    }
}

/// A Haarhoff-Van der Linde profile of load λ = 2 sinh η; x = 0 is the retention time of a vanishing amount, and the
/// unit the standard deviation there.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Loaded {
    mirrored: bool,
    lambda: f64,
    /// λ/(1 - exp(-λ)).
    full: f64,
    /// λ/(exp λ - 1) and its derivative by λ.
    rest: f64,
    rest_slope: f64,
    /// Derivative of λ/(exp λ - 1), times exp λ.
    grown_slope: f64,
    /// dλ/dη.
    slope: f64,
}

impl Loaded {
    fn new(eta: f64) -> Self {
        let size = eta.abs();
        let lambda = 2.0 * libm::sinh(size);
        let (full, rest) =
            if lambda < 1e-300 { (1.0, 1.0) } else { (-lambda / libm::expm1(-lambda), lambda / libm::expm1(lambda)) };
        // d/dλ λ/(exp λ - 1) = rest (1 - full)/λ; by its series where that cancels.
        let rest_slope = if lambda < 0.02 {
            -0.5 + lambda * (1.0 / 6.0 - lambda * lambda * (1.0 / 180.0 - lambda * lambda / 5040.0))
        } else {
            rest * (1.0 - full) / lambda
        };
        let grown_slope = if lambda < 0.02 { rest_slope * libm::exp(lambda) } else { full * (1.0 - full) / lambda };
        Loaded { mirrored: eta < 0.0, lambda, full, rest, rest_slope, grown_slope, slope: 2.0 * libm::cosh(size) }
    }

    #[inline]
    fn at(&self, x: f64) -> Jet {
        let u = if self.mirrored { -x } else { x };
        let lambda = self.lambda;
        let (value, by_lambda) = if u <= 0.0 {
            let q = 0.5 * erfc(u * FRAC_1_SQRT_2);
            let value = libm::exp(-0.5 * u * u) / (SQRT_2PI * (self.rest + lambda * q));
            (value, -(self.rest_slope + q) / (self.rest + lambda * q))
        } else {
            let grow = libm::exp(0.5 * u * u - lambda);
            let q = 0.5 * erfcx(u * FRAC_1_SQRT_2);
            let down = self.full * grow + lambda * q;
            let by = if grow.is_finite() { -(self.grown_slope * grow + q) / down } else { 0.0 };
            (1.0 / (SQRT_2PI * down), by)
        };
        let (by_u, by_eta) = (value * (lambda * value - u), value * by_lambda * self.slope);
        if self.mirrored { Jet { value, by_x: -by_u, by_eta: -by_eta } } else { Jet { value, by_x: by_u, by_eta } }
    }

    /// The load, positive for a fronting peak.
    pub(crate) fn load(&self) -> f64 {
        if self.mirrored { -self.lambda } else { self.lambda }
    }
}

/// Where a standard profile is highest, and how high.
pub(crate) fn apex(profile: &Standard) -> (f64, f64) {
    match profile {
        Standard::Gaussian => (0.0, 1.0 / SQRT_2PI),
        Standard::Skewed(s) => {
            let shape = super::ExponentiallyModifiedGaussian {
                area: 1.0,
                centre_min: -s.tau,
                sigma_min: s.sigma,
                tau_min: s.tau,
            };
            let top = shape.apex();
            // The profile's mean is 0: near the Gaussian the apex is at -τ³/σ² from it, less than its rounding.
            let at = if s.r < 1e-3 { -s.tau * s.r * s.r } else { top.time_min };
            (if s.mirrored { -at } else { at }, top.height)
        }
        Standard::Loaded(l) => {
            let shape = HaarhoffVanDerLinde { area: 1.0, centre_min: 0.0, sigma_min: 1.0, fronting: l.load() };
            let top = shape.apex();
            (top.time_min, top.height)
        }
    }
}

/// η of a tail of τ/σ.
pub(crate) fn eta_of_ratio(ratio: f64) -> f64 {
    let k = ratio / (1.0 + ratio * ratio).sqrt();
    libm::atanh(k * k * k)
}

#[cfg(test)]
mod tests {
    use super::{Loaded, Skewed, Standard, apex, eta_of_ratio};
    use crate::shapes::{ExponentiallyModifiedGaussian, HaarhoffVanDerLinde};

    /// Richardson's central difference of a function, good to about 1e-10.
    fn slope(f: impl Fn(f64) -> f64, at: f64, step: f64) -> f64 {
        let d = |h: f64| (f(at + h) - f(at - h)) / (2.0 * h);
        (4.0 * d(0.5 * step) - d(step)) / 3.0
    }

    #[test]
    fn the_skewed_profile_is_the_exponentially_modified_gaussian() {
        for ratio in [1e-4, 0.01, 0.039, 0.041, 0.3, 1.0, 3.0, 30.0, 300.0] {
            let s = Skewed::new(eta_of_ratio(ratio));
            assert!((s.tau / s.sigma / ratio - 1.0).abs() < 1e-9, "{ratio}: {}", s.tau / s.sigma);
            let shape = ExponentiallyModifiedGaussian::new(1.0, -s.tau, s.sigma, s.tau).expect("valid");
            let top = shape.apex().height;
            for i in -60..=90 {
                let x = 0.1 * f64::from(i);
                let (ours, theirs) = (Standard::Skewed(s).at(x).value, shape.value(x));
                assert!((ours - theirs).abs() < 4e-14 * top, "{ratio}, {x}: {ours:e} {theirs:e}");
                let mirror = Standard::skewed(-eta_of_ratio(ratio)).at(-x).value;
                assert!((mirror - ours).abs() < 1e-14 * top);
            }
        }
    }

    /// The derivatives against differences of the value, on both sides of every seam.
    #[test]
    fn derivatives_are_those_of_the_value() {
        for eta in [-3.0, -0.4, -1e-3, -1e-5, 1e-5, 6.3e-5, 6.5e-5, 1e-3, 0.02, 0.3, 1.0, 2.5, 5.0] {
            for i in -40..=60 {
                let x = 0.1 * f64::from(i) + 0.013;
                for (make, tolerance) in
                    [(Standard::skewed as fn(f64) -> Standard, 1e-6), (Standard::loaded as fn(f64) -> Standard, 1e-6)]
                {
                    let jet = make(eta).at(x);
                    let step = (0.02 * eta.abs()).clamp(1e-7, 1e-3);
                    let by_eta = slope(|e| make(e).at(x).value, eta, step);
                    let by_x = slope(|x| make(eta).at(x).value, x, if eta > 2.0 { 1e-4 } else { 1e-3 });
                    let scale = if eta > 2.0 { 30.0 } else { 1.0 };
                    assert!((jet.by_x - by_x).abs() < scale * tolerance, "η {eta}, x {x}: {} {by_x}", jet.by_x);
                    assert!(
                        (jet.by_eta - by_eta).abs() < scale * tolerance + 2e-16 / step,
                        "η {eta}, x {x}: {} {by_eta}",
                        jet.by_eta
                    );
                }
            }
        }
    }

    #[test]
    fn both_families_pass_through_the_gaussian() {
        for x in [-3.0, -0.5, 0.0, 1.0, 4.0] {
            let gaussian = Standard::Gaussian.at(x).value;
            let third = x * (x * x - 3.0) * gaussian / 3.0;
            let jet = Standard::skewed(0.0).at(x);
            assert!((jet.value - gaussian).abs() < 1e-16 && (jet.by_eta - third).abs() < 1e-15);
            assert!((Standard::loaded(0.0).at(x).value - gaussian).abs() < 1e-16);
        }
        assert_eq!(apex(&Standard::skewed(0.0)).0, 0.0);
        let (at, height) = apex(&Standard::skewed(eta_of_ratio(1.0)));
        // chrom_emg_shape_exact: apex 0.697369159288427 σ behind the Gaussian's centre.
        assert!(((at + 0.5_f64.sqrt()) * 2.0_f64.sqrt() - 0.697_369_159_288_427).abs() < 1e-12);
        assert!((height / 2.0_f64.sqrt() - 0.312_828_423_845_512).abs() < 1e-14);
    }

    #[test]
    fn the_loaded_profile_is_the_overloaded_peak() {
        for eta in [-4.0, -1.0, 0.0, 0.2, 2.0, 5.0] {
            let load = Loaded::new(eta).load();
            let shape = HaarhoffVanDerLinde::new(1.0, 0.0, 1.0, load).expect("valid");
            for i in -120..=200 {
                let x = 0.1 * f64::from(i);
                let (ours, theirs) = (Standard::loaded(eta).at(x).value, shape.value(x));
                assert!((ours - theirs).abs() <= 1e-13 * theirs.abs().max(1e-30), "{eta} {x}: {ours:e} {theirs:e}");
            }
        }
    }
}
