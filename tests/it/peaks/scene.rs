//! A window with peaks in seeded noise, and the least standard errors their areas can have.
//!
//! The problem: a straight baseline that is not known, the number of peaks given, noise known from 4,000 points beside the
//! window. The Cramér-Rao bound is made from central differences of the public profiles, by generalised least squares.

use vialbook::Trace;
use vialbook::numeric::{Matrix, Xoshiro256PlusPlus as Random};
use vialbook::shapes::ExponentiallyModifiedGaussian as Emg;

const QUIET: usize = 2_000;

/// A window and what lies in it.
pub(crate) struct Scene {
    pub(crate) peaks: Vec<Emg>,
    pub(crate) interval: f64,
    pub(crate) window: [f64; 2],
    pub(crate) phi: f64,
}

impl Scene {
    /// One draw, with noise of unit standard deviation. Times start at a random place between points.
    pub(crate) fn draw(&self, random: &mut Random) -> Trace {
        let inside = ((self.window[1] - self.window[0]) / self.interval).round() as usize;
        let n = inside + 2 * QUIET;
        let from = self.window[0] - (QUIET as f64 + random.uniform()) * self.interval;
        let time: Vec<f64> = (0..n).map(|i| from + i as f64 * self.interval).collect();
        let fresh = (1.0 - self.phi * self.phi).sqrt();
        let mut last = random.normal();
        let mut signal: Vec<f64> = time
            .iter()
            .map(|t| {
                last = self.phi * last + fresh * random.normal();
                5.0 + 0.3 * t + last
            })
            .collect();
        self.peaks.iter().for_each(|p| p.add_to(&time, &mut signal));
        Trace::new(time, signal, "mV").expect("even times")
    }

    /// Least standard errors of the areas; `gaussian` without a tail to fit, `shared` with one shape for all.
    pub(crate) fn bound(&self, gaussian: bool, shared: bool) -> Vec<f64> {
        let n = ((self.window[1] - self.window[0]) / self.interval).round() as usize;
        let time: Vec<f64> = (0..n).map(|i| self.window[0] + (i as f64 + 0.5) * self.interval).collect();
        let k = self.peaks.len();
        // Area and centre of each, then shapes, then the baseline.
        let shapes = if shared { 1 } else { k };
        let per_shape = if gaussian { 1 } else { 2 };
        let count = 2 * k + shapes * per_shape + 2;
        let value = |p: &[f64], t: f64| -> f64 {
            (0..k)
                .map(|i| {
                    let s = 2 * k + if shared { 0 } else { i * per_shape };
                    let tau = if gaussian { 0.0 } else { p[s + 1] };
                    Emg { area: p[2 * i], centre_min: p[2 * i + 1], sigma_min: p[s], tau_min: tau }.value(t)
                })
                .sum::<f64>()
                + p[count - 2]
                + p[count - 1] * t
        };
        let mut p = vec![0.0; count];
        for (i, e) in self.peaks.iter().enumerate() {
            (p[2 * i], p[2 * i + 1]) = (e.area, e.centre_min);
            let s = 2 * k + if shared { 0 } else { i * per_shape };
            p[s] = e.sigma_min;
            if !gaussian {
                p[s + 1] = e.tau_min;
            }
        }
        let scale = self.peaks[0].sigma_min;
        let mut columns: Vec<Vec<f64>> = (0..count)
            .map(|j| {
                let h = if p[j].abs() > 0.0 { 1e-4 * p[j].abs().min(scale) } else { 1e-3 };
                let step = |by: f64| {
                    let mut q = p.clone();
                    q[j] += by;
                    time.iter().map(|&t| value(&q, t)).collect::<Vec<_>>()
                };
                let (a, b, c, d) = (step(h), step(-h), step(2.0 * h), step(-2.0 * h));
                (0..n).map(|i| (8.0 * (a[i] - b[i]) - (c[i] - d[i])) / (12.0 * h)).collect()
            })
            .collect();
        for c in &mut columns {
            for i in (1..n).rev() {
                c[i] = (c[i] - self.phi * c[i - 1]) / (1.0 - self.phi * self.phi).sqrt();
            }
        }
        let lengths: Vec<f64> = columns.iter().map(|c| c.iter().map(|v| v * v).sum::<f64>().sqrt()).collect();
        let information = Matrix::from_fn(count, count, |i, j| {
            columns[i].iter().zip(&columns[j]).map(|(a, b)| a * b).sum::<f64>() / lengths[i] / lengths[j]
        });
        let inverse = invert(&information);
        (0..k).map(|i| inverse[(2 * i, 2 * i)].sqrt() / lengths[2 * i]).collect()
    }
}

/// By Gauss and Jordan with pivots.
fn invert(m: &Matrix) -> Matrix {
    let n = m.rows();
    let mut a: Vec<Vec<f64>> = (0..n)
        .map(|i| (0..2 * n).map(|j| if j < n { m[(i, j)] } else { f64::from(u8::from(j - n == i)) }).collect())
        .collect();
    for k in 0..n {
        let pivot = (k..n).max_by(|&i, &j| a[i][k].abs().total_cmp(&a[j][k].abs())).unwrap_or(k);
        a.swap(k, pivot);
        let d = a[k][k];
        a[k].iter_mut().for_each(|v| *v /= d);
        let row = a[k].clone();
        for (i, other) in a.iter_mut().enumerate() {
            let f = other[k];
            if i != k && f != 0.0 {
                other.iter_mut().zip(&row).for_each(|(o, r)| *o -= f * r);
            }
        }
    }
    Matrix::from_fn(n, n, |i, j| a[i][n + j])
}
