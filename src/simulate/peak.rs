//! What a column makes of one compound of one injection: width, overload, tail.

use crate::shapes::HaarhoffVanDerLinde;

/// Molar gas constant in J/(mol K) (exact since the SI of 2019).
const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// A column with its carrier flow and its injection port.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct SimulatedColumn {
    /// Hold-up time tM in minutes, taken as constant.
    pub hold_up_min: f64,
    /// Plate number N of a vanishing amount.
    pub plates: f64,
    /// Load in µg at which overload shows: λ of [`HaarhoffVanDerLinde`] is 1 there, the apex 0.4 σ late.
    pub load_ug: f64,
    /// Flow in mL/min at the port's temperature and pressure.
    #[serde(rename = "flow_mL_min")]
    pub flow_ml_min: f64,
    /// Temperature of the injection port in °C.
    #[serde(rename = "injector_C")]
    pub injector_c: f64,
    /// Absolute pressure in the injection port in kPa.
    #[serde(rename = "inlet_kPa")]
    pub inlet_kpa: f64,
}

impl SimulatedColumn {
    /// How long the vapour of `amount_umol` takes to enter the column, in minutes: n R T / (p F), as an ideal gas.
    ///
    /// ```
    /// use vialbook::simulate::SimulatedColumn;
    /// let column = SimulatedColumn {
    ///     hold_up_min: 0.5, plates: 2500.0, load_ug: 2.0, flow_ml_min: 5.0, injector_c: 200.0, inlet_kpa: 120.0,
    /// };
    /// let seconds = 60.0 * column.plug_min(1.54); // 0.3 µL of decane
    /// assert!(seconds > 0.5 && seconds < 0.7);
    /// ```
    pub fn plug_min(&self, amount_umol: f64) -> f64 {
        // µmol · J/(mol K) · K / kPa = 1e-6 J / 1e3 Pa = 1e-9 m³ = 1e-3 mL.
        1e-3 * amount_umol * GAS_CONSTANT * (self.injector_c + 273.15) / self.inlet_kpa / self.flow_ml_min
    }

    /// Standard deviation in minutes of a vanishing amount that elutes at retention factor `factor`.
    ///
    /// σ² = (tM (1 + k)/√N)² + (Δ (1 + k)/(1 + k₀))²/12: the column's own width at elution, and a rectangular
    /// plug of vapour of length Δ that a ramp squeezes as it squeezes every delay at the start.
    pub fn sigma_min(&self, factor: f64, factor_at_start: f64, plug_min: f64) -> f64 {
        let column = self.hold_up_min * (1.0 + factor) / self.plates.sqrt();
        let plug = plug_min * (1.0 + factor) / (1.0 + factor_at_start);
        (column * column + plug * plug / 12.0).sqrt()
    }
}

/// A peak as the detector's cell sees it: a Haarhoff-Van der Linde profile followed by an exponential mixing volume.
///
/// Without load it is the exponentially modified Gaussian, at high load a fronting fin; the area is `area` at any
/// load and tail.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct SimulatedPeak {
    /// Area in signal unit × minute.
    pub area: f64,
    /// Retention time of a vanishing amount in minutes, without the tail's delay.
    pub centre_min: f64,
    /// Standard deviation of a vanishing amount in minutes, without the tail.
    pub sigma_min: f64,
    /// Load λ: amount over the column's load.
    pub load: f64,
    /// Time constant of the tail in minutes; 0 for none.
    pub tail_min: f64,
}

/// The tail is followed down to this share of what the peak reaches.
const TAIL_END: f64 = 1e-13;

impl SimulatedPeak {
    /// Adds the peak to `signal` on the evenly spaced times `grid_min`.
    ///
    /// The tail is the exact response of a first-order lag to the cubic through four neighbouring points. The
    /// sum over the points keeps the area to rounding; against the exponentially modified Gaussian the values
    /// agree to 5e-6 of the height at 10 points per σ (error ∝ interval⁴). Cost: only points where the peak matters.
    pub fn add_to(&self, grid_min: &[f64], signal: &mut [f64]) {
        let n = grid_min.len().min(signal.len());
        if n < 2 || self.area == 0.0 {
            return;
        }
        let profile = HaarhoffVanDerLinde {
            area: self.area,
            centre_min: self.centre_min,
            sigma_min: self.sigma_min,
            fronting: self.load,
        };
        if self.tail_min <= 0.0 {
            profile.add_to(&grid_min[..n], &mut signal[..n]);
            return;
        }
        let (from, to) = self.reach(&grid_min[..n]);
        let mut sharp = vec![0.0; to - from];
        profile.add_to(&grid_min[from..to], &mut sharp);
        let lag = Lag::new((grid_min[n - 1] - grid_min[0]) / (n - 1) as f64 / self.tail_min);
        let at = |i: usize| sharp.get(i).copied().unwrap_or(0.0);
        let (mut out, mut highest) = (0.0_f64, 0.0_f64);
        let mut before = [0.0; 2]; // x(i-2), x(i-1)
        for (i, y) in signal[from..n].iter_mut().enumerate() {
            let now = at(i);
            out = lag.next(out, before[0], before[1], now, at(i + 1));
            before = [before[1], now];
            *y += out;
            highest = highest.max(out.abs());
            if i >= sharp.len() && out.abs() < TAIL_END * highest {
                break;
            }
        }
    }

    /// Indices between which the profile without its tail is not negligible.
    fn reach(&self, grid_min: &[f64]) -> (usize, usize) {
        // 8 σ: exp(-32) = 1e-14; the fin ends at √(2λ) σ and falls off faster than a Gaussian does.
        let back = (2.0 * self.load.max(0.0) + 64.0).sqrt();
        let from = grid_min.partition_point(|&t| t < self.centre_min - 8.0 * self.sigma_min);
        let to = grid_min.partition_point(|&t| t <= self.centre_min + back * self.sigma_min);
        (from, to.max(from))
    }
}

/// A first-order lag y' = (x - y)/τ, stepped exactly for an x that is the cubic through four points.
struct Lag {
    keep: f64,
    /// Weights of x(i-2), x(i-1), x(i), x(i+1); with `keep` they sum to 1, so that areas stay.
    weights: [f64; 4],
}

impl Lag {
    /// For the interval over the time constant.
    fn new(lambda: f64) -> Self {
        let keep = libm::exp(-lambda);
        // Moments Jn = ∫₀¹ uⁿ λ exp(-λu) du, u counted back from the newer point.
        let j: [f64; 4] = if lambda < 0.5 {
            std::array::from_fn(|n| {
                let (mut term, mut sum) = (lambda, 0.0);
                for m in 0..20 {
                    sum += term / (n + m + 1) as f64;
                    term *= -lambda / (m + 1) as f64;
                }
                sum
            })
        } else {
            let mut j = [-libm::expm1(-lambda), 0.0, 0.0, 0.0];
            for n in 1..4 {
                j[n] = n as f64 / lambda * j[n - 1] - keep;
            }
            j
        };
        // Lagrange polynomials on u = 2, 1, 0, -1.
        let newest = -(j[3] - 3.0 * j[2] + 2.0 * j[1]) / 6.0;
        let oldest = (j[3] - j[1]) / 6.0;
        let older = -(j[3] - j[2] - 2.0 * j[1]) / 2.0;
        Lag { keep, weights: [oldest, older, j[0] - newest - oldest - older, newest] }
    }

    #[inline]
    fn next(&self, y: f64, a: f64, b: f64, c: f64, d: f64) -> f64 {
        let w = &self.weights;
        self.keep * y + w[0] * a + w[1] * b + w[2] * c + w[3] * d
    }
}
