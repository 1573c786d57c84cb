//! The design of a calibration as the residuals see it, its statistics, and their distribution where nothing is wrong.
//!
//! Whitened residuals e = √w·(y - f) are (I - QQᵀ)z for normal z, so a statistic that is free of scale has a
//! distribution that only the design knows. It is drawn 10,000 times from a fixed seed and kept.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::solve::Orthogonal;
use crate::numeric::{Xoshiro256PlusPlus, normal_quantile};

/// Draws of a null distribution.
pub(super) const DRAWS: usize = 10_000;

/// Seed of all null distributions.
const SEED: u64 = 0x0D15_71B0;

/// Designs that are kept.
const KEPT: usize = 64;

/// What residuals are held against.
pub(super) struct Design {
    /// Orthonormal columns of the model.
    q: Vec<Vec<f64>>,
    /// 1/√(1 - h); 0 where a flask has all the say.
    free: Vec<f64>,
    /// Flasks in the order of their contents.
    order: Vec<usize>,
    /// Fitted responses, centred, of unit length; `None` where they do not differ.
    trend: Option<Vec<f64>>,
    /// Expected order of normal draws (G. Blom 1958: Φ⁻¹((i - 3/8)/(n + 1/4))), of unit length.
    scores: Vec<f64>,
}

/// Statistics of residuals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Statistics {
    /// n·R² of the squared residuals on the fitted responses.
    pub(super) trend: f64,
    /// The correlation itself, with its sign.
    pub(super) trend_correlation: f64,
    /// Squared correlation of ordered standardised residuals with their expected order.
    pub(super) normality: f64,
    /// Number of runs of signs in the order of contents.
    pub(super) runs: usize,
    /// Largest standardised residual.
    pub(super) largest: f64,
    /// Whose it is.
    pub(super) largest_at: usize,
}

impl Design {
    /// From the model's columns, the weights, contents and fitted responses.
    pub(super) fn of(columns: &[Vec<f64>], w: &[f64], x: &[f64], fitted: &[f64]) -> Design {
        let n = x.len();
        let orthogonal = Orthogonal::of(columns, w);
        let free = orthogonal.leverage.iter().map(|h| if *h < 1.0 - 1e-9 { 1.0 / libm::sqrt(1.0 - h) } else { 0.0 });
        let free = free.collect();
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&a, &b| x[a].total_cmp(&x[b]));
        let scores: Vec<f64> = (1..=n).map(|i| normal_quantile((i as f64 - 0.375) / (n as f64 + 0.25))).collect();
        Design { q: orthogonal.q, free, order, trend: unit(fitted), scores: unit(&scores).unwrap_or_default() }
    }

    /// The statistics of whitened residuals, through `scratch`.
    pub(super) fn statistics(&self, e: &[f64], scratch: &mut Vec<f64>) -> Statistics {
        let n = e.len() as f64;
        let dof = n - self.q.len() as f64;
        let rss: f64 = e.iter().map(|e| e * e).sum();
        let mut trend_correlation = 0.0;
        if let Some(t) = &self.trend {
            let mean = rss / n;
            let (mut along, mut total) = (0.0, 0.0);
            for (e, t) in e.iter().zip(t) {
                let d = e * e - mean;
                along += t * d;
                total += d * d;
            }
            trend_correlation = if total > 0.0 { along / libm::sqrt(total) } else { 0.0 };
        }
        let s = libm::sqrt(rss / dof);
        scratch.clear();
        scratch.extend(e.iter().zip(&self.free).map(|(e, f)| e * f / s));
        let (mut largest, mut largest_at) = (0.0, 0);
        for (i, r) in scratch.iter().enumerate() {
            if r.abs() > largest {
                (largest, largest_at) = (r.abs(), i);
            }
        }
        let signs = self.order.iter().map(|&i| scratch[i] > 0.0);
        let runs = 1 + signs.clone().zip(signs.skip(1)).filter(|(a, b)| a != b).count();
        scratch.sort_unstable_by(f64::total_cmp);
        let mean = scratch.iter().sum::<f64>() / n;
        let along: f64 = scratch.iter().zip(&self.scores).map(|(r, m)| r * m).sum();
        let total: f64 = scratch.iter().map(|r| (r - mean) * (r - mean)).sum();
        Statistics {
            trend: n * trend_correlation * trend_correlation,
            trend_correlation,
            normality: if total > 0.0 { along * along / total } else { 1.0 },
            runs,
            largest,
            largest_at,
        }
    }

    /// The null distribution of this design, drawn once.
    pub(super) fn null(&self) -> Arc<Null> {
        static KNOWN: OnceLock<Mutex<HashMap<Vec<u64>, Arc<Null>>>> = OnceLock::new();
        let key: Vec<u64> = self
            .q
            .iter()
            .flatten()
            .chain(self.trend.iter().flatten())
            .map(|v| v.to_bits())
            .chain(self.order.iter().map(|&i| i as u64))
            .collect();
        let known = KNOWN.get_or_init(Mutex::default);
        // A panic elsewhere cannot leave the map half changed: whole entries go in.
        if let Some(null) = known.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Arc::clone(null);
        }
        let null = Arc::new(self.draw());
        let mut known = known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= KEPT {
            known.clear();
        }
        known.insert(key, Arc::clone(&null));
        null
    }

    fn draw(&self) -> Null {
        let n = self.order.len();
        let (mut e, mut scratch) = (vec![0.0; n], Vec::with_capacity(n));
        let mut null = Null::default();
        let mut random = Xoshiro256PlusPlus::seeded(SEED);
        for _ in 0..DRAWS {
            e.iter_mut().for_each(|e| *e = random.normal());
            for q in &self.q {
                let part: f64 = q.iter().zip(&e).map(|(q, e)| q * e).sum();
                e.iter_mut().zip(q).for_each(|(e, q)| *e -= part * q);
            }
            let s = self.statistics(&e, &mut scratch);
            null.trend.push(s.trend);
            null.normality.push(s.normality);
            null.largest.push(s.largest);
            null.runs.push(s.runs as f64);
        }
        for values in [&mut null.trend, &mut null.normality, &mut null.largest, &mut null.runs] {
            values.sort_unstable_by(f64::total_cmp);
        }
        null
    }
}

/// Sorted statistics of residuals with nothing wrong.
#[derive(Debug, Default)]
pub(super) struct Null {
    pub(super) trend: Vec<f64>,
    pub(super) normality: Vec<f64>,
    pub(super) largest: Vec<f64>,
    pub(super) runs: Vec<f64>,
}

/// Share of draws at least as large as `seen`, the seen one counted among them.
pub(super) fn upper(sorted: &[f64], seen: f64) -> f64 {
    let at_least = sorted.len() - sorted.partition_point(|v| *v < seen);
    (1 + at_least) as f64 / (1 + sorted.len()) as f64
}

/// Share of draws at most as large as `seen`.
pub(super) fn lower(sorted: &[f64], seen: f64) -> f64 {
    (1 + sorted.partition_point(|v| *v <= seen)) as f64 / (1 + sorted.len()) as f64
}

/// Centred and of unit length; `None` where all are alike.
fn unit(v: &[f64]) -> Option<Vec<f64>> {
    let mean = v.iter().sum::<f64>() / v.len() as f64;
    let length = libm::sqrt(v.iter().map(|v| (v - mean) * (v - mean)).sum());
    let size = v.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    (length > 1e-12 * size).then(|| v.iter().map(|v| (v - mean) / length).collect())
}

/// A p-value in a message, never rounded to 0.
pub(super) fn p_text(p: f64) -> String {
    if p < 1e-3 { "p < 0.001".to_owned() } else { format!("p = {p:.3}") }
}
