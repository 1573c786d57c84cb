//! The weighted fit of a curve as a linear map of the responses: what its covariance under any variances needs.

use super::function::{Covariance, Function};
use crate::error::Result;
use crate::numeric::{Matrix, fit_linear, fit_polynomial};

/// Which curve is fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Line,
    ThroughZero,
    Quadratic,
    Power,
    LogLog,
}

impl Form {
    pub(super) fn parameters(self) -> usize {
        match self {
            Form::ThroughZero => 1,
            Form::Quadratic => 3,
            _ => 2,
        }
    }
}

/// A fitted curve.
#[derive(Clone, Debug)]
pub(super) struct Fitted {
    pub(super) form: Form,
    pub(super) function: Function,
    /// What each response adds to the coefficients.
    pub(super) gain: Vec<[f64; 3]>,
    /// Leverage of each flask.
    pub(super) leverage: Vec<f64>,
    /// Fitted responses (their logarithms for [`Form::LogLog`]).
    pub(super) fitted: Vec<f64>,
}

impl Fitted {
    /// The same curve with coefficients and leverage to the last digits that the data allow.
    ///
    /// # Errors
    /// As [`fit_polynomial`] and [`fit_linear`].
    pub(super) fn polished(mut self, x: &[f64], y: &[f64], w: &[f64]) -> Result<Fitted> {
        let logs: Vec<f64>;
        let (fit, function) = match self.form {
            Form::Power => {
                let Function::Power { factor, exponent } = self.function else { return Ok(self) };
                let rows: Vec<[f64; 2]> = x.iter().map(|&x| self.function.gradient(x)).map(|g| [g[0], g[1]]).collect();
                let left: Vec<f64> = y.iter().zip(x).map(|(y, &x)| y - self.function.at(x)).collect();
                let fit = fit_linear(&Matrix::from_rows(&rows)?, &left, Some(w))?;
                let (a, n) = (factor + fit.coefficients[0], exponent + fit.coefficients[1]);
                self.function = Function::Power { factor: a, exponent: n };
                self.fitted = x.iter().map(|&x| self.function.at(x)).collect();
                self.leverage = fit.leverage;
                return Ok(self);
            }
            Form::LogLog => {
                logs = x.iter().map(|x| libm::log(*x)).collect();
                let fit = fit_polynomial(&logs, y, 1, true, Some(w))?;
                let function = Function::LogLog { log_factor: fit.coefficients[0], exponent: fit.coefficients[1] };
                (fit, function)
            }
            Form::Line => {
                let fit = fit_polynomial(x, y, 1, true, Some(w))?;
                let function = Function::line(fit.coefficients[0], fit.coefficients[1]);
                (fit, function)
            }
            Form::ThroughZero => {
                let fit = fit_polynomial(x, y, 1, false, Some(w))?;
                let function = Function::line(0.0, fit.coefficients[0]);
                (fit, function)
            }
            Form::Quadratic => {
                let fit = fit_polynomial(x, y, 2, true, Some(w))?;
                let c = &fit.coefficients;
                let function = Function::Polynomial([c[0], c[1], c[2]]);
                (fit, function)
            }
        };
        self.function = function;
        self.fitted = y.iter().zip(&fit.residuals).map(|(y, r)| y - r).collect();
        self.leverage = fit.leverage;
        Ok(self)
    }

    /// f(x).
    pub(super) fn at(&self, x: f64) -> f64 {
        self.function.at(x)
    }

    /// Covariance of the coefficients when flask i has variance `variance[i]`, whatever the weights were.
    pub(super) fn covariance(&self, variance: &[f64]) -> Covariance {
        let mut c = [0.0; 6];
        for (g, v) in self.gain.iter().zip(variance) {
            c[0] += v * g[0] * g[0];
            c[1] += v * g[0] * g[1];
            c[2] += v * g[1] * g[1];
            c[3] += v * g[0] * g[2];
            c[4] += v * g[1] * g[2];
            c[5] += v * g[2] * g[2];
        }
        c
    }
}

/// Weighted least squares, quick enough to be repeated while the weights are sought; a power law takes one step of
/// Gauss and Newton from `near`.
///
/// The caller has seen to it that there are contents enough.
pub(super) fn weighted_fit(form: Form, x: &[f64], y: &[f64], w: &[f64], near: Option<Function>) -> Fitted {
    match form {
        Form::Line | Form::ThroughZero => straight(form, x, y, w),
        Form::LogLog => {
            let logs: Vec<f64> = x.iter().map(|x| libm::log(*x)).collect();
            let mut fit = straight(Form::Line, &logs, y, w);
            if let Some((log_factor, exponent)) = fit.function.as_line() {
                fit.function = Function::LogLog { log_factor, exponent };
            }
            Fitted { form, ..fit }
        }
        Form::Quadratic => quadratic(x, y, w),
        Form::Power => power(x, y, w, near),
    }
}

/// A straight line, centred, with one step of refinement.
fn straight(form: Form, x: &[f64], y: &[f64], w: &[f64]) -> Fitted {
    let through_zero = form == Form::ThroughZero;
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
            [mean - centre * b, b, 0.0]
        })
        .collect();
    let leverage =
        (0..n).map(|i| w[i] * d[i] * d[i] / spread + if through_zero { 0.0 } else { w[i] / total }).collect();
    let fitted = d.iter().map(|d| mean + slope * d).collect();
    Fitted { form, function: Function::line(mean - slope * centre, slope), gain, leverage, fitted }
}

/// A parabola in the content about its weighted mean, in units of its weighted spread.
fn quadratic(x: &[f64], y: &[f64], w: &[f64]) -> Fitted {
    let total: f64 = w.iter().sum();
    let c = dot(w, x) / total;
    let s = libm::sqrt(x.iter().zip(w).map(|(x, w)| w * (x - c) * (x - c)).sum::<f64>() / total);
    let d: Vec<f64> = x.iter().map(|x| (x - c) / s).collect();
    let columns = [vec![1.0; x.len()], d.clone(), d.iter().map(|d| d * d).collect()];
    let q = Orthogonal::of(&columns, w);
    let mut b = q.coefficients(y);
    let left: Vec<f64> =
        y.iter().enumerate().map(|(i, y)| y - columns.iter().zip(b).map(|(k, b)| k[i] * b).sum::<f64>()).collect();
    b.iter_mut().zip(q.coefficients(&left)).for_each(|(b, more)| *b += more);
    let plain = |b: [f64; 3]| {
        let (b1, b2) = (b[1] / s, b[2] / (s * s));
        [b[0] - c * (b1 - c * b2), b1 - 2.0 * c * b2, b2]
    };
    let fitted = (0..x.len()).map(|i| columns.iter().zip(b).map(|(k, b)| k[i] * b).sum()).collect();
    Fitted {
        form: Form::Quadratic,
        function: Function::Polynomial(plain(b)),
        gain: q.gain.iter().map(|g| plain(*g)).collect(),
        leverage: q.leverage,
        fitted,
    }
}

/// One step of Gauss and Newton for a·xⁿ; the first starts at the line through the logarithms.
fn power(x: &[f64], y: &[f64], w: &[f64], near: Option<Function>) -> Fitted {
    let start = match near {
        Some(Function::Power { factor, exponent }) => (factor, exponent),
        _ => power_start(x, y),
    };
    let now = Function::Power { factor: start.0, exponent: start.1 };
    let gradients: Vec<[f64; 3]> = x.iter().map(|&x| now.gradient(x)).collect();
    let columns = [0, 1].map(|j| gradients.iter().map(|g| g[j]).collect::<Vec<f64>>());
    let q = Orthogonal::of(&columns, w);
    let left: Vec<f64> = x.iter().zip(y).map(|(&x, y)| y - now.at(x)).collect();
    let mut step = q.coefficients(&left);
    // A step that would turn the curve over is shortened.
    while step[0].abs() > 0.9 * start.0.abs() || step[1].abs() > 0.5 * start.1.abs() {
        step.iter_mut().for_each(|s| *s *= 0.5);
    }
    let function = Function::Power { factor: start.0 + step[0], exponent: start.1 + step[1] };
    let fitted = x.iter().map(|&x| function.at(x)).collect();
    Fitted { form: Form::Power, function, gain: q.gain, leverage: q.leverage, fitted }
}

/// The line of ln y on ln x over the flasks whose content and response allow it.
fn power_start(x: &[f64], y: &[f64]) -> (f64, f64) {
    let logs: (Vec<f64>, Vec<f64>) =
        x.iter().zip(y).filter(|(x, y)| **x > 0.0 && **y > 0.0).map(|(x, y)| (libm::log(*x), libm::log(*y))).unzip();
    let line = straight(Form::Line, &logs.0, &logs.1, &vec![1.0; logs.0.len()]);
    match line.function.as_line() {
        Some((a, b)) if a.is_finite() && b.is_finite() && b != 0.0 => (libm::exp(a), b),
        _ => (1.0, 1.0),
    }
}

/// √w·X = Q·R by the modified Gram-Schmidt process (Å. Björck, BIT 7 (1967) 1-21), for up to three columns.
pub(super) struct Orthogonal {
    /// Q by columns.
    pub(super) q: Vec<Vec<f64>>,
    /// What each response adds to the coefficients, R⁻¹q·√w.
    pub(super) gain: Vec<[f64; 3]>,
    pub(super) leverage: Vec<f64>,
}

impl Orthogonal {
    pub(super) fn of(columns: &[Vec<f64>], w: &[f64]) -> Orthogonal {
        let n = w.len();
        let root: Vec<f64> = w.iter().map(|w| libm::sqrt(*w)).collect();
        let mut q: Vec<Vec<f64>> = Vec::with_capacity(columns.len());
        let mut r = [[0.0; 3]; 3];
        for (j, column) in columns.iter().enumerate() {
            let mut v: Vec<f64> = column.iter().zip(&root).map(|(c, r)| c * r).collect();
            for (k, unit) in q.iter().enumerate() {
                let part = dot(unit, &v);
                r[k][j] = part;
                v.iter_mut().zip(unit).for_each(|(v, u)| *v -= part * u);
            }
            r[j][j] = libm::sqrt(dot(&v, &v));
            v.iter_mut().for_each(|v| *v /= r[j][j]);
            q.push(v);
        }
        let p = q.len();
        let mut gain = vec![[0.0; 3]; n];
        let mut leverage = vec![0.0; n];
        for i in 0..n {
            let mut b = [0.0; 3];
            for j in (0..p).rev() {
                let above: f64 = (j + 1..p).map(|k| r[j][k] * b[k]).sum();
                b[j] = (q[j][i] * root[i] - above) / r[j][j];
            }
            gain[i] = b;
            leverage[i] = q.iter().map(|q| q[i] * q[i]).sum();
        }
        Orthogonal { q, gain, leverage }
    }

    fn coefficients(&self, y: &[f64]) -> [f64; 3] {
        let mut b = [0.0; 3];
        for (g, y) in self.gain.iter().zip(y) {
            for (b, g) in b.iter_mut().zip(g) {
                *b += g * y;
            }
        }
        b
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
