//! The variance of flask means, v = K + φ·Q: K known (the traces), Q its shape, and the one factor φ from the scatter.
//!
//! Two-part weights have K = u² and Q = f², so φ = ρ². Equal weights have K = 0, Q = 1 and φ = s²; weights 1/x²
//! have Q = x². φ is the restricted maximum-likelihood estimate, Σ λᵢ(rᵢ²/vᵢ - (1 - hᵢ)) = 0 with λᵢ = φQᵢ/vᵢ the
//! share of the scatter in flask i; where K = 0 that is χ² = dof to the letter. Where K counts, flasks that are all
//! noise say nothing on φ; χ² = dof listens to them all the same. Simulated (standards at 0.3, 1, 3, 10, 30 with two
//! flasks each, sample of three, noise 0.03, ρ 1.5 %; 4000 draws, Monte Carlo error 0.003 to 0.004): 95 % intervals
//! at the top cover 0.967 with χ² = dof and are 34 % wider than with known variances, against 0.948 and 19 % here.
//!
//! φ has ν = Σ λᵢ²(1 - hᵢ) degrees of freedom (twice the inverse of its relative variance). The plain n - p
//! covers 0.97 to 0.98 where the known part rules and 0.93 at the top; with ν and Welch-Satterthwaite over the
//! known and the estimated part 0.94 to 0.96.

use super::function::Function;
use super::pivot::Variance;
use super::solve::{Fitted, Form, weighted_fit};
use crate::numeric::find_root;

/// The shape Q of the estimated part.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Shape {
    /// Q = 1.
    Constant,
    /// Q = x.
    Content,
    /// Q = x².
    ContentSquare,
    /// Q = f, the fitted response.
    Response,
    /// Q = f².
    ResponseSquare,
    /// Q one per flask.
    PerFlask(Vec<f64>),
}

impl Shape {
    /// Q of flask `i` at content `x` and fitted response `f`.
    fn of(&self, i: usize, x: f64, f: f64) -> f64 {
        match self {
            Shape::Constant => 1.0,
            Shape::Content => x,
            Shape::ContentSquare => x * x,
            Shape::Response => f.abs(),
            Shape::ResponseSquare => f * f,
            Shape::PerFlask(q) => q[i],
        }
    }

    /// Q as it grows with the content; `own` is a sample's own Q where each flask has one.
    pub(super) fn variance(&self, own: f64) -> Variance {
        let none = Variance::default();
        match self {
            Shape::Constant => Variance::constant(1.0),
            Shape::Content => Variance { content: 1.0, ..none },
            Shape::ContentSquare => Variance { content_square: 1.0, ..none },
            Shape::Response => Variance { response: 1.0, ..none },
            Shape::ResponseSquare => Variance { response_square: 1.0, ..none },
            Shape::PerFlask(_) => Variance::constant(own),
        }
    }

    /// True where Q follows the curve that is sought.
    fn follows_the_curve(&self) -> bool {
        matches!(self, Shape::Response | Shape::ResponseSquare)
    }
}

/// The flasks of a calibration as numbers.
#[derive(Clone, Debug)]
pub(super) struct Standards<'a> {
    pub(super) x: &'a [f64],
    pub(super) y: &'a [f64],
    /// K of each flask.
    pub(super) known: &'a [f64],
    pub(super) shape: &'a Shape,
    pub(super) form: Form,
}

/// The flasks of a sample, which tell on φ through their scatter about their own mean.
#[derive(Clone, Copy, Debug)]
pub(super) struct SampleScatter {
    /// Sum of squares about the mean.
    pub(super) sum_of_squares: f64,
    /// Number of flasks less one.
    pub(super) dof: f64,
    /// K of one flask.
    pub(super) known: f64,
    /// Q of one flask.
    pub(super) shape: f64,
}

/// φ, what it is worth, and the curve fitted with it.
#[derive(Clone, Debug)]
pub(super) struct Scatter {
    /// φ ≥ 0.
    pub(super) factor: f64,
    /// Degrees of freedom ν of φ; 0 where φ is 0.
    pub(super) dof: f64,
    /// The curve with weights 1/v.
    pub(super) line: Fitted,
    /// Weights the curve was fitted with, 1/v up to a common factor.
    pub(super) weights: Vec<f64>,
    /// v of each standard.
    pub(super) variance: Vec<f64>,
    /// Q of each standard.
    pub(super) shape: Vec<f64>,
}

impl Standards<'_> {
    fn parameters(&self) -> f64 {
        self.form.parameters() as f64
    }

    /// Estimates φ from the standards, and from a sample's own flasks where given.
    ///
    /// Without residual degrees of freedom φ is 1 where nothing is known (weights 1/Q) and otherwise 0.
    pub(super) fn scatter(&self, sample: Option<SampleScatter>) -> Scatter {
        let dof = self.x.len() as f64 - self.parameters() + sample.map_or(0.0, |s| s.dof);
        let all_estimated = self.known.iter().all(|&k| k == 0.0) && sample.is_none_or(|s| s.known == 0.0);
        if all_estimated {
            let mut s = self.at(1.0);
            if dof > 0.0 {
                let own = sample.map_or(0.0, |s| if s.dof > 0.0 { s.sum_of_squares / s.shape } else { 0.0 });
                s.factor = (s.chi_squared(self.y) + own) / dof;
                s.variance = s.shape.iter().map(|q| s.factor * q).collect();
                s.dof = if s.factor > 0.0 { dof } else { 0.0 };
            }
            return s;
        }
        if dof <= 0.0 {
            return self.at(0.0);
        }
        // Above the largest r²/Q every term of the score is negative.
        let rough = self.at(1e-2 * self.relative_scale());
        let mut high = 1e-6 * self.relative_scale();
        for (i, &q) in rough.shape.iter().enumerate() {
            let r = self.y[i] - rough.line.fitted[i];
            if q > 0.0 {
                high = f64::max(high, 4.0 * r * r / q);
            }
        }
        if let Some(s) = sample.filter(|s| s.shape > 0.0) {
            high = f64::max(high, 4.0 * s.sum_of_squares / s.shape);
        }
        let mut near = rough.line;
        let mut score = |factor: f64| {
            let s = self.at_from(factor, Some(&near));
            let value = factor * self.score(&s, sample);
            near = s.line;
            value
        };
        for _ in 0..60 {
            if score(high) < 0.0 {
                break;
            }
            high *= 8.0;
        }
        // A relative variance of 10⁻¹² of the largest conceivable is none.
        let low = 1e-12 * high;
        let factor = if score(low) <= 0.0 {
            if self.known.iter().all(|&k| k > 0.0) { 0.0 } else { low }
        } else {
            find_root(|z| score(libm::exp(z)), libm::log(low), libm::log(high), 1e-13).map_or(low, libm::exp)
        };
        let mut s = self.at_from(factor, Some(&near));
        if factor > low {
            s.dof = self.degrees_of_freedom(&s, sample);
        }
        s
    }

    /// ν of φ: Σ λ²(1 - h) over the standards and the sample's flasks.
    fn degrees_of_freedom(&self, s: &Scatter, sample: Option<SampleScatter>) -> f64 {
        let mut sum = 0.0;
        for i in 0..self.x.len() {
            let share = s.factor * s.shape[i] / s.variance[i];
            sum += share * share * (1.0 - s.line.leverage[i]);
        }
        if let Some(own) = sample {
            let share = s.factor * own.shape / (own.known + s.factor * own.shape);
            sum += share * share * own.dof;
        }
        sum
    }

    /// The derivative of the restricted log-likelihood by φ, times 2.
    fn score(&self, s: &Scatter, sample: Option<SampleScatter>) -> f64 {
        let mut sum = 0.0;
        for i in 0..self.x.len() {
            let r = self.y[i] - s.line.fitted[i];
            sum += s.shape[i] / s.variance[i] * (r * r / s.variance[i] - (1.0 - s.line.leverage[i]));
        }
        if let Some(own) = sample {
            let v = own.known + s.factor * own.shape;
            if v > 0.0 {
                sum += own.shape / v * (own.sum_of_squares / v - own.dof);
            }
        }
        sum
    }

    /// The curve at a given φ; where Q depends on the curve itself, repeated until it stands.
    fn at(&self, factor: f64) -> Scatter {
        self.at_from(factor, None)
    }

    /// The same, from a curve near the one sought.
    fn at_from(&self, factor: f64, near: Option<&Fitted>) -> Scatter {
        let n = self.x.len();
        let mut fitted = near.map_or_else(|| self.y.to_vec(), |f| f.fitted.clone());
        let mut function: Option<Function> = near.map(|f| f.function);
        let floor = self.floor();
        let rounds = match (self.form, self.shape.follows_the_curve()) {
            (Form::Power, _) => 100,
            (_, true) => 30,
            _ => 1,
        };
        let mut round = 0;
        loop {
            let shape: Vec<f64> = (0..n).map(|i| self.shape.of(i, self.x[i], fitted[i])).collect();
            let variance: Vec<f64> = (0..n).map(|i| (self.known[i] + factor * shape[i]).max(floor)).collect();
            let weights: Vec<f64> = variance.iter().map(|v| 1.0 / v).collect();
            let line = weighted_fit(self.form, self.x, self.y, &weights, function);
            let moved = line.fitted.iter().zip(&fitted).map(|(a, b)| (a - b) * (a - b)).sum::<f64>();
            let size = line.fitted.iter().map(|a| a * a).sum::<f64>();
            fitted.clone_from(&line.fitted);
            function = Some(line.function);
            round += 1;
            if round >= rounds || moved <= 1e-24 * size {
                return Scatter { factor, dof: 0.0, line, weights, variance, shape };
            }
        }
    }

    /// A variance far below any that matters, so that no weight is infinite.
    fn floor(&self) -> f64 {
        let top = self.y.iter().fold(0.0_f64, |m, y| m.max(y.abs()));
        (1e-12 * top) * (1e-12 * top) + f64::MIN_POSITIVE
    }

    /// The size of a φ that makes the scatter as large as the responses themselves.
    fn relative_scale(&self) -> f64 {
        let y = self.y.iter().fold(0.0_f64, |m, y| m.max(y.abs()));
        let q = match self.shape {
            Shape::Constant => 1.0,
            Shape::Content => self.x.iter().fold(0.0_f64, |m, x| m.max(*x)),
            Shape::Response => y,
            Shape::ContentSquare => self.x.iter().fold(0.0_f64, |m, x| m.max(x * x)),
            Shape::ResponseSquare => y * y,
            Shape::PerFlask(q) => q.iter().fold(0.0_f64, |m, q| m.max(*q)),
        };
        if y > 0.0 && q > 0.0 { y * y / q } else { 1.0 }
    }
}

impl Scatter {
    /// Σ r²/v.
    pub(super) fn chi_squared(&self, y: &[f64]) -> f64 {
        self.line.fitted.iter().zip(y).zip(&self.variance).map(|((f, y), v)| (y - f) * (y - f) / v).sum()
    }
}
