//! The weighted straight line as a linear map of the responses: what its covariance under any variances needs.

use crate::error::Result;
use crate::numeric::fit_polynomial;

/// A fitted line a + b·x.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) intercept: f64,
    pub(super) slope: f64,
    /// What each response adds to (intercept, slope).
    pub(super) gain: Vec<[f64; 2]>,
    /// Leverage of each flask.
    pub(super) leverage: Vec<f64>,
    /// Fitted responses.
    pub(super) fitted: Vec<f64>,
}

/// A symmetric 2 × 2 covariance of (intercept, slope): aa, ab, bb.
pub(super) type Covariance = [f64; 3];

impl Line {
    /// The same line with coefficients and leverage to the last digits that the data allow.
    ///
    /// # Errors
    /// As [`fit_polynomial`].
    pub(super) fn polished(mut self, x: &[f64], y: &[f64], w: &[f64], through_zero: bool) -> Result<Line> {
        let fit = fit_polynomial(x, y, 1, !through_zero, Some(w))?;
        self.slope = fit.coefficients[fit.coefficients.len() - 1];
        self.intercept = if through_zero { 0.0 } else { fit.coefficients[0] };
        self.fitted = y.iter().zip(&fit.residuals).map(|(y, r)| y - r).collect();
        self.leverage = fit.leverage;
        Ok(self)
    }

    /// a + b·x.
    pub(super) fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }

    /// Covariance of (intercept, slope) when flask i has variance `variance[i]`, whatever the weights were.
    pub(super) fn covariance(&self, variance: &[f64]) -> Covariance {
        let mut c = [0.0; 3];
        for (g, v) in self.gain.iter().zip(variance) {
            c[0] += v * g[0] * g[0];
            c[1] += v * g[0] * g[1];
            c[2] += v * g[1] * g[1];
        }
        c
    }
}

/// Variance of a + b·x as a polynomial in x.
pub(super) fn line_polynomial(c: Covariance) -> [f64; 3] {
    [c[0], 2.0 * c[1], c[2]]
}

/// Weighted least squares for a straight line, centred, with one step of refinement: quick enough to be repeated while
/// the weights are sought.
///
/// The caller has seen to it that the contents differ (or that one is not 0, through zero).
pub(super) fn weighted_line(x: &[f64], y: &[f64], w: &[f64], through_zero: bool) -> Line {
    let n = x.len();
    let total: f64 = w.iter().sum();
    let centre = if through_zero { 0.0 } else { dot(w, x) / total };
    let d: Vec<f64> = x.iter().map(|x| x - centre).collect();
    let spread: f64 = (0..n).map(|i| w[i] * d[i] * d[i]).sum();
    let solve = |y: &[f64]| {
        let mean = if through_zero { 0.0 } else { dot(w, y) / total };
        let slope = (0..n).map(|i| w[i] * d[i] * (y[i] - mean)).sum::<f64>() / spread;
        (mean, slope)
    };
    let (mut mean, mut slope) = solve(y);
    let left: Vec<f64> = (0..n).map(|i| y[i] - mean - slope * d[i]).collect();
    let (more, steeper) = solve(&left);
    mean += more;
    slope += steeper;
    let gain = (0..n)
        .map(|i| {
            let b = w[i] * d[i] / spread;
            let mean = if through_zero { 0.0 } else { w[i] / total };
            [mean - centre * b, b]
        })
        .collect();
    let leverage =
        (0..n).map(|i| w[i] * d[i] * d[i] / spread + if through_zero { 0.0 } else { w[i] / total }).collect();
    let fitted = d.iter().map(|d| mean + slope * d).collect();
    Line { intercept: mean - slope * centre, slope, gain, leverage, fitted }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
