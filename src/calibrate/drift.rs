//! Drift over the day: does the sensitivity change with the order of injection?
//!
//! Flasks tell by how they lie about the curve, or about their sample's mean, against when they were injected; shots of
//! one flask by how they change from one to the next. Both are put together.

use std::fmt;

use super::curve::Curve;
use super::lack_of_fit::detectable_noncentrality;
use super::solve::Form;
use crate::numeric::{Matrix, fit_linear, student_t_cdf};

/// One flask of a sample with its shots in time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimedFlask {
    /// Response of each shot.
    pub responses: Vec<f64>,
    /// When each was injected, counted as for the standards ([`Flask::shot_order`](super::Flask::shot_order)).
    pub order: Vec<f64>,
    /// Standard uncertainty of one response from its trace; 0 if unknown.
    pub response_u: f64,
}

/// How the sensitivity changes from the first injection to the last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Relative change from the first injection to the last, such as -0.05.
    pub change: f64,
    /// Its standard error.
    pub u: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Chance of a change so far from 0 where there is none.
    pub p_value: f64,
    /// Change that the test at 5 % finds with 80 % power.
    pub detectable: f64,
    /// Share of the order's spread that is not tied up with the contents, 0 to 1: where it is small, drift and
    /// curvature cannot be told apart, and no test finds either.
    pub told_apart: f64,
}

impl Drift {
    /// True where the order of the injections lets drift pass for a property of the curve.
    pub fn is_hidden(&self) -> bool {
        self.told_apart < HIDDEN
    }
}

/// Below this share of its spread the order says little: levels injected in rising order, shots of one flask one after
/// the other, have 0.11; flasks in an order drawn by lot, twice over, have 0.99.
const HIDDEN: f64 = 0.2;

impl fmt::Display for Drift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "sensitivity changes by {:+.1} % ± {:.1} % (standard error) from the first injection to the last, p = {:.3}; \
             a change of {:.1} % would have been found with 80 % power",
            100.0 * self.change,
            100.0 * self.u,
            self.p_value,
            100.0 * self.detectable
        )
    }
}

/// One stratum's estimate.
#[derive(Clone, Copy)]
struct Part {
    change: f64,
    u: f64,
    dof: f64,
}

/// A row of the flask stratum: columns of the model, responses, times, all over the standard deviation.
struct Row {
    columns: Vec<f64>,
    left: f64,
    time: f64,
    sensitivity: f64,
}

impl Curve {
    /// Change of the sensitivity over the injections, from the standards and from samples of two flasks or more.
    ///
    /// y = f(x)·(1 + δ·τ) with τ from 0 at the first injection to 1 at the last. Between flasks δ is fitted by weighted
    /// least squares beside the curve's own coefficients and one mean for each sample; within flasks it is the slope
    /// of the shots' relative deviations from their flask's mean on τ. The two are joined in the proportion of the spread
    /// of τ behind them, degrees of freedom after Welch and Satterthwaite.
    ///
    /// Simulated false alarms at 5 %: 5 to 6 %. A drift of 5 % under a flask scatter of 1.5 % is found in practically every
    /// study if levels are mixed and shots of one flask lie apart, and in 2 of 10 if levels rise through the day:
    /// [`Drift::is_hidden`] says so.
    ///
    /// `None` where the standards' order is not known, or below 3 degrees of freedom.
    pub fn drift(&self, samples: &[Vec<TimedFlask>]) -> Option<Drift> {
        if self.direct.is_some() {
            return None;
        }
        let used: Vec<&super::Flask> = self.points.iter().filter(|p| p.leverage.is_some()).map(|p| &p.flask).collect();
        let timed = |order: &[f64], responses: &[f64]| !order.is_empty() && order.len() == responses.len();
        if !used.iter().all(|f| timed(&f.shot_order, &f.shot_responses)) {
            return None;
        }
        let samples: Vec<Vec<&TimedFlask>> =
            samples.iter().map(|s| s.iter().filter(|f| timed(&f.order, &f.responses)).collect::<Vec<_>>()).collect();
        let all = used.iter().flat_map(|f| &f.shot_order).chain(samples.iter().flatten().flat_map(|f| &f.order));
        let (first, last) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(*t), b.max(*t)));
        if first >= last || !(last - first).is_finite() {
            return None;
        }
        let at = |t: f64| (t - first) / (last - first);
        let (flasks, flask_share) = self.between_flasks(&used, &samples, &at);
        let shots = self.within_flasks(&used, &samples, &at);
        // Each with the spread of τ behind it: fixed by the design, since weights from the few residuals themselves
        // raise false alarms (7 % instead of 5).
        let parts: Vec<(f64, Part)> =
            [flasks.map(|p| (flask_share.0, p)), shots.map(|s| (s.1, s.0))].into_iter().flatten().collect();
        let total: f64 = parts.iter().map(|p| p.0).sum();
        if !(total.is_finite() && total > 0.0) {
            return None;
        }
        let change = parts.iter().map(|(w, p)| w / total * p.change).sum::<f64>();
        let variances: Vec<f64> = parts.iter().map(|(w, p)| (w / total * p.u).powi(2)).collect();
        let variance: f64 = variances.iter().sum();
        let u = libm::sqrt(variance);
        let dof = variance * variance / parts.iter().zip(&variances).map(|((_, p), v)| v * v / p.dof).sum::<f64>();
        // Spread of τ, over all shots, that each stratum leaves to δ.
        let (left, whole) = flask_share;
        let within = shots.map_or(0.0, |s| s.1);
        let told_apart = (left + within) / (whole + within);
        Some(Drift {
            change,
            u,
            dof,
            p_value: 2.0 * student_t_cdf(-(change / u).abs(), dof),
            detectable: u * libm::sqrt(detectable_noncentrality(1.0, dof, 0.05, 0.80)),
            told_apart,
        })
    }

    /// δ between flasks, and the spread of τ (shots counted) left beside the curve and the sample's means, and in all.
    fn between_flasks(
        &self,
        used: &[&super::Flask],
        samples: &[Vec<&TimedFlask>],
        at: &impl Fn(f64) -> f64,
    ) -> (Option<Part>, (f64, f64)) {
        let logs = self.line.form == Form::LogLog;
        let columns = self.columns();
        let many: Vec<&Vec<&TimedFlask>> = samples.iter().filter(|s| s.len() > 1).collect();
        let width = columns.len() + many.len();
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let mut rows = Vec::new();
        for (i, flask) in used.iter().enumerate() {
            let sd = libm::sqrt(self.scatter.variance[i]);
            let mut c: Vec<f64> = columns.iter().map(|k| k[i] / sd).collect();
            c.resize(width, 0.0);
            let time = mean(&flask.shot_order.iter().map(|t| at(*t)).collect::<Vec<_>>());
            let sensitivity = if logs { 1.0 } else { self.line.fitted[i] } / sd;
            rows.push(Row { columns: c, left: (self.y[i] - self.line.fitted[i]) / sd, time, sensitivity });
        }
        for (k, sample) in many.iter().enumerate() {
            let means: Vec<f64> = sample
                .iter()
                .map(|f| mean(&f.responses))
                .map(|y| if logs { libm::log(y.max(f64::MIN_POSITIVE)) } else { y })
                .collect();
            let middle = mean(&means);
            for (flask, y) in sample.iter().zip(means) {
                let sd = libm::sqrt(self.flask_variance(middle, flask));
                let mut c = vec![0.0; width];
                c[columns.len() + k] = 1.0 / sd;
                let time = mean(&flask.order.iter().map(|t| at(*t)).collect::<Vec<_>>());
                let sensitivity = if logs { 1.0 } else { middle } / sd;
                rows.push(Row { columns: c, left: (y - middle) / sd, time, sensitivity });
            }
        }
        let spread = left_of_time(&rows, width);
        if rows.len() < width + 4 || spread.0 <= 1e-9 * spread.1 {
            return (None, spread);
        }
        let design: Vec<Vec<f64>> = rows
            .iter()
            .map(|r| {
                let mut row = r.columns.clone();
                row.push(r.sensitivity * r.time);
                row
            })
            .collect();
        let left: Vec<f64> = rows.iter().map(|r| r.left).collect();
        let fit = Matrix::from_rows(&design).and_then(|m| fit_linear(&m, &left, None)).ok();
        let part = fit.and_then(|f| {
            let u = *f.standard_errors?.last()?;
            Some(Part { change: *f.coefficients.last()?, u, dof: f.dof })
        });
        (part.filter(|p| p.u > 0.0 && p.u.is_finite()), spread)
    }

    /// δ within flasks, and the spread of τ it rests on, in the units of [`left_of_time`].
    fn within_flasks(
        &self,
        used: &[&super::Flask],
        samples: &[Vec<&TimedFlask>],
        at: &impl Fn(f64) -> f64,
    ) -> Option<(Part, f64)> {
        let logs = self.line.form == Form::LogLog;
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        // Weight (relative variance of the flask's mean), responses, times.
        let mut flasks: Vec<(f64, Vec<f64>, Vec<f64>)> = Vec::new();
        for (i, f) in used.iter().enumerate() {
            let size = if logs { 1.0 } else { self.line.fitted[i] };
            flasks.push((size * size / self.scatter.variance[i], f.shot_responses.clone(), f.shot_order.clone()));
        }
        for f in samples.iter().flatten() {
            let middle = mean(&f.responses);
            let level = if logs { libm::log(middle.max(f64::MIN_POSITIVE)) } else { middle };
            let size = if logs { 1.0 } else { middle };
            flasks.push((size * size / self.flask_variance(level, f), f.responses.clone(), f.order.clone()));
        }
        let (mut tt, mut ty, mut yy, mut dof, mut spread) = (0.0, 0.0, 0.0, -1.0, 0.0);
        for (w, y, t) in flasks.iter().filter(|f| f.1.len() > 1 && f.0.is_finite()) {
            let t: Vec<f64> = t.iter().map(|t| at(*t)).collect();
            let (my, mt) = (mean(y), mean(&t));
            if my == 0.0 {
                continue;
            }
            let shots = y.len() as f64;
            for (y, t) in y.iter().zip(&t) {
                let (dy, dt) = ((y - my) / my, t - mt);
                tt += w * dt * dt;
                // The mean of a flask scatters less than its shots.
                spread += w * dt * dt / shots;
                ty += w * dt * dy;
                yy += w * dy * dy;
            }
            dof += shots - 1.0;
        }
        if dof < 3.0 || tt <= 0.0 {
            return None;
        }
        let change = ty / tt;
        let u = libm::sqrt((yy - change * ty).max(0.0) / dof / tt);
        (u > 0.0).then_some((Part { change, u, dof }, spread))
    }

    /// Variance of the mean of a sample's flask at a response.
    fn flask_variance(&self, response: f64, flask: &TimedFlask) -> f64 {
        let v = self.shape_at(response) * self.scatter.factor;
        v + flask.response_u * flask.response_u / flask.responses.len() as f64
    }
}

/// Σ(τ's part beside the columns)², and Σ(τ's part beside a common mean)², both weighted by the sensitivity.
fn left_of_time(rows: &[Row], width: usize) -> (f64, f64) {
    let time: Vec<f64> = rows.iter().map(|r| r.sensitivity * r.time).collect();
    let residual = |q: &[Vec<f64>]| {
        let mut rest = time.clone();
        for q in q {
            let part: f64 = q.iter().zip(&rest).map(|(q, r)| q * r).sum();
            rest.iter_mut().zip(q).for_each(|(r, q)| *r -= part * q);
        }
        rest.iter().map(|r| r * r).sum::<f64>()
    };
    let orthonormal = |columns: Vec<Vec<f64>>| {
        let mut q: Vec<Vec<f64>> = Vec::new();
        for mut c in columns {
            // Twice is enough (B. N. Parlett, The Symmetric Eigenvalue Problem (1980), section 6-9).
            for _ in 0..2 {
                for u in &q {
                    let part: f64 = u.iter().zip(&c).map(|(u, c)| u * c).sum();
                    c.iter_mut().zip(u).for_each(|(c, u)| *c -= part * u);
                }
            }
            let length = libm::sqrt(c.iter().map(|c| c * c).sum());
            if length > 0.0 {
                c.iter_mut().for_each(|c| *c /= length);
                q.push(c);
            }
        }
        q
    };
    let beside = orthonormal((0..width).map(|j| rows.iter().map(|r| r.columns[j]).collect()).collect());
    let mean = orthonormal(vec![rows.iter().map(|r| r.sensitivity).collect()]);
    (residual(&beside), residual(&mean))
}
