//! Retention indices from a ladder of n-alkanes, and the hold-up time that the ladder implies.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::estimate::concise;
use crate::numeric::{NonlinearOptions, fit_nonlinear};

/// A peak of an n-alkane in a ladder run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlkanePeak {
    /// Number of carbon atoms.
    pub carbons: u32,
    /// Retention time.
    pub time_min: f64,
    /// Its standard uncertainty from the trace.
    pub u_min: f64,
}

/// The time that the carrier gas takes through the column.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldUp {
    /// Hold-up time.
    pub time_min: f64,
    /// Its standard uncertainty.
    pub u_min: f64,
    /// Where it comes from: "measured in run …", "n-alkanes of run …", "study.toml".
    pub origin: String,
}

/// Which definition an index follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IndexKind {
    /// Isothermal, logarithms of adjusted retention times.
    Kovats,
    /// Temperature programme, retention times themselves.
    Linear,
}

impl IndexKind {
    /// "Kovats index, isothermal" or "linear index, temperature programme".
    pub fn words(self) -> &'static str {
        match self {
            IndexKind::Kovats => "Kovats index, isothermal",
            IndexKind::Linear => "linear index, temperature programme",
        }
    }
}

/// A retention index with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RetentionIndex {
    /// The index; 100 times the number of carbon atoms for an n-alkane.
    pub value: f64,
    /// Its standard uncertainty from the times, the hold-up time and the ladder's own start.
    pub u: f64,
    /// Which definition.
    pub kind: IndexKind,
    /// Carbon atoms of the n-alkanes before and after.
    pub between: [u32; 2],
}

impl fmt::Display for RetentionIndex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [n, m] = self.between;
        write!(f, "{} ({}, between C{n} and C{m})", concise(self.value, self.u, ""), self.kind.words())
    }
}

/// n-Alkanes of one run in the order of their carbon numbers: the scale of retention indices.
///
/// Nothing is extrapolated: before the first and behind the last alkane there is no index.
///
/// ```
/// use vialbook::identify::{AlkanePeak, Ladder};
/// let peak = |carbons, time_min| AlkanePeak { carbons, time_min, u_min: 0.002 };
/// let ladder = Ladder::new(vec![peak(8, 4.00), peak(9, 6.00), peak(10, 8.10)])?;
/// let index = ladder.linear(6.70, 0.002).expect("inside the ladder");
/// assert!((index.value - 933.3).abs() < 0.1);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ladder {
    peaks: Vec<AlkanePeak>,
    start_u_min: f64,
}

impl Ladder {
    /// A ladder from peaks of n-alkanes in any order; 2 or more.
    ///
    /// # Errors
    /// Fewer than 2 peaks, a carbon number stated twice, times that do not rise with it, numbers that are none.
    pub fn new(mut peaks: Vec<AlkanePeak>) -> Result<Ladder> {
        let wrong = |message: String| Err(Error::new(ErrorKind::Data, message));
        if peaks.len() < 2 {
            return wrong(format!("{} n-alkane(s); a ladder needs at least 2", peaks.len()));
        }
        let is_number = |p: &AlkanePeak| p.time_min.is_finite() && p.u_min.is_finite() && p.u_min >= 0.0;
        if let Some(p) = peaks.iter().find(|p| !is_number(p)) {
            return wrong(format!(
                "the n-alkane of {} carbon atoms at {} min, u {} min; numbers are wanted, u not below 0",
                p.carbons, p.time_min, p.u_min
            ));
        }
        peaks.sort_by_key(|p| p.carbons);
        for pair in peaks.windows(2) {
            if pair[0].carbons == pair[1].carbons {
                return wrong(format!("two peaks for the n-alkane of {} carbon atoms; one is wanted", pair[0].carbons));
            }
            if pair[0].time_min >= pair[1].time_min {
                return wrong(format!(
                    "the n-alkane of {} carbon atoms at {} min does not come after that of {} at {} min; check the ladder's carbon numbers",
                    pair[1].carbons, pair[1].time_min, pair[0].carbons, pair[0].time_min
                ));
            }
        }
        Ok(Ladder { peaks, start_u_min: 0.0 })
    }

    /// Tells how far the ladder's own start may be off against the runs that it is used for: all its times alike.
    pub fn with_start_uncertainty(mut self, u_min: f64) -> Ladder {
        self.start_u_min = if u_min.is_finite() && u_min > 0.0 { u_min } else { 0.0 };
        self
    }

    /// The peaks, by rising carbon number.
    pub fn peaks(&self) -> Vec<AlkanePeak> {
        self.peaks.clone()
    }

    /// The linear retention index of temperature-programmed runs,
    /// I = 100 [n + (N - n)(t - tₙ)/(t_N - tₙ)], with N = n + 1 where the ladder has no gap.
    ///
    /// H. van den Dool, P. D. Kratz, J. Chromatogr. 11 (1963) 463-471. u is the first-order propagation of the three
    /// times' u and of the ladder's start. `None` outside the ladder.
    pub fn linear(&self, time_min: f64, u_min: f64) -> Option<RetentionIndex> {
        let [a, b] = self.around(time_min)?;
        let step = 100.0 * f64::from(b.carbons - a.carbons);
        let width = b.time_min - a.time_min;
        let f = (time_min - a.time_min) / width;
        let parts = [u_min, (1.0 - f) * a.u_min, f * b.u_min, self.start_u_min];
        Some(RetentionIndex {
            value: 100.0 * f64::from(a.carbons) + step * f,
            u: step / width * root_sum(&parts),
            kind: IndexKind::Linear,
            between: [a.carbons, b.carbons],
        })
    }

    /// The Kovats index of isothermal runs,
    /// I = 100 [n + (N - n)(ln t' - ln t'ₙ)/(ln t'_N - ln t'ₙ)], t' = t less hold-up time.
    ///
    /// E. Kováts, Helv. Chim. Acta 41 (1958) 1915-1932; definition as in Pure Appl. Chem. 65 (1993) 819-872. u is the
    /// first-order propagation of the three times' u, the hold-up time's and the ladder's start. `None` outside the
    /// ladder, or where the hold-up time does not lie before the first alkane used.
    pub fn kovats(&self, time_min: f64, u_min: f64, hold_up: &HoldUp) -> Option<RetentionIndex> {
        let [a, b] = self.around(time_min)?;
        let adjusted = |t: f64| Some(t - hold_up.time_min).filter(|t| *t > 0.0);
        let (x, first, last) = (adjusted(time_min)?, adjusted(a.time_min)?, adjusted(b.time_min)?);
        let step = 100.0 * f64::from(b.carbons - a.carbons);
        let width = libm::log(last / first);
        let f = libm::log(x / first) / width;
        // Sensitivities of f to each time; the hold-up time's is minus their sum.
        let [to_x, to_a, to_b] = [1.0 / (x * width), -(1.0 - f) / (first * width), -f / (last * width)];
        let parts = [
            to_x * u_min,
            to_a * a.u_min,
            to_b * b.u_min,
            (to_x + to_a + to_b) * hold_up.u_min,
            (to_a + to_b) * self.start_u_min,
        ];
        Some(RetentionIndex {
            value: 100.0 * f64::from(a.carbons) + step * f,
            u: step * root_sum(&parts),
            kind: IndexKind::Kovats,
            between: [a.carbons, b.carbons],
        })
    }

    /// The hold-up time from three or more n-alkanes of an isothermal run: t = t₀ + exp(a + b n) by least squares,
    /// weighted with the times' u.
    ///
    /// For three neighbours it is t₀ = (t₁t₃ - t₂²)/(t₁ + t₃ - 2t₂): M. L. Peterson, J. Hirsch, J. Lipid Res. 1 (1959)
    /// 132-134. u grows with the standard deviation of the residuals where that exceeds the times' u. Methane and
    /// other light alkanes do not lie on the line (common practice: start with 5 carbon atoms).
    ///
    /// # Errors
    /// Fewer than 3 alkanes; times that are not spaced as in an isothermal run, wider with each carbon atom.
    pub fn hold_up(&self) -> Result<HoldUp> {
        let p = &self.peaks;
        if p.len() < 3 {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{} n-alkanes; a hold-up time needs at least 3, or a run of kind hold_up", p.len()),
            ));
        }
        let bent = || {
            Error::new(
                ErrorKind::Data,
                "the n-alkanes are not spaced as in an isothermal run, wider with each carbon atom: no hold-up time follows",
            )
            .hint("run the ladder isothermally, or measure the hold-up time with a run of kind hold_up")
        };
        let (first, last) = (p[0], p[p.len() - 1]);
        let n = |k: usize| f64::from(p[k].carbons) - f64::from(first.carbons);
        // Start: the growth per carbon atom from the outer gaps, the hold-up time from the first gap.
        let slopes = |k: usize| (p[k + 1].time_min - p[k].time_min) / (n(k + 1) - n(k));
        let middle = |k: usize| 0.5 * (n(k) + n(k + 1));
        let end = p.len() - 2;
        let growth = libm::log(slopes(end) / slopes(0)) / (middle(end) - middle(0));
        if !growth.is_finite() || growth <= 1e-6 {
            return Err(bent());
        }
        let scale = slopes(0) / (growth * libm::exp(growth * middle(0)));
        let start = [first.time_min - scale, libm::log(scale), growth];
        // Weights 1/u; equal ones where no u is known.
        let least = p.iter().map(|q| q.u_min).fold(f64::INFINITY, f64::min);
        let weight = |q: &AlkanePeak| if least > 0.0 { 1.0 / q.u_min } else { 1.0 };
        let fit = fit_nonlinear(
            p.len(),
            &start,
            |b, r| {
                for (k, q) in p.iter().enumerate() {
                    r[k] = weight(q) * (q.time_min - b[0] - libm::exp(b[1] + b[2] * n(k)));
                }
            },
            |b, j| {
                for (k, q) in p.iter().enumerate() {
                    let (w, e) = (weight(q), libm::exp(b[1] + b[2] * n(k)));
                    for (column, d) in [-w, -w * e, -w * e * n(k)].into_iter().enumerate() {
                        j[(k, column)] = d;
                    }
                }
            },
            &NonlinearOptions::default(),
        )?;
        let t0 = fit.parameters[0];
        if !fit.stop.converged() || !t0.is_finite() || t0 >= first.time_min {
            return Err(bent());
        }
        let unscaled = fit.unscaled_covariance.as_ref().map(|c| c[(0, 0)].max(0.0).sqrt());
        let from_times = unscaled.filter(|_| least > 0.0);
        let from_scatter = unscaled.zip(fit.residual_sd).map(|(u, s)| u * s);
        let u_min = match (from_times, from_scatter) {
            (Some(a), Some(b)) => a.max(b),
            (Some(u), None) | (None, Some(u)) => u,
            (None, None) => 0.0,
        };
        Ok(HoldUp { time_min: t0, u_min, origin: format!("n-alkanes C{} to C{}", first.carbons, last.carbons) })
    }

    /// The neighbours of a time among the alkanes.
    fn around(&self, time_min: f64) -> Option<[AlkanePeak; 2]> {
        self.peaks.windows(2).find(|w| (w[0].time_min..=w[1].time_min).contains(&time_min)).map(|w| [w[0], w[1]])
    }
}

/// The number of carbon atoms of an n-alkane by its name, "octane" or "n-octane"; `None` for anything else.
pub fn n_alkane_carbons(name: &str) -> Option<u32> {
    const NAMES: [&str; 24] = [
        "methane",
        "ethane",
        "propane",
        "butane",
        "pentane",
        "hexane",
        "heptane",
        "octane",
        "nonane",
        "decane",
        "undecane",
        "dodecane",
        "tridecane",
        "tetradecane",
        "pentadecane",
        "hexadecane",
        "heptadecane",
        "octadecane",
        "nonadecane",
        "icosane",
        "henicosane",
        "docosane",
        "tricosane",
        "tetracosane",
    ];
    let plain = name.trim().to_lowercase();
    let plain = plain.strip_prefix("n-").unwrap_or(&plain);
    NAMES.iter().position(|n| *n == plain).map(|at| at as u32 + 1)
}

fn root_sum(parts: &[f64]) -> f64 {
    parts.iter().map(|p| p * p).sum::<f64>().sqrt()
}
