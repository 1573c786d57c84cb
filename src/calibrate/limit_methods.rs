//! Limits by other rules that reports ask for, each under its own name.

use super::curve::Curve;
use super::flasks::{Model, Weighting};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{chi_squared_quantile, find_root, student_t_quantile};

/// Limits of the calibration method of DIN 32645, as contents.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DinLimits {
    /// Critical value: Nachweisgrenze.
    pub critical: f64,
    /// Smallest content that is missed with the same chance: Erfassungsgrenze, twice the critical value.
    pub detection: f64,
    /// Content whose relative uncertainty is 1/k: Bestimmungsgrenze.
    pub quantitation: f64,
    /// Chance α of a false detection, and of a miss.
    pub false_positive: f64,
    /// k.
    pub k: f64,
    /// Flasks m of the sample.
    pub flasks: usize,
}

impl Curve {
    /// Limits by the calibration method of DIN 32645 (2008), for the mean of `flasks` of the sample.
    ///
    /// x_c = (s/b)·t(1-α, n-2)·√(1/m + 1/n + x̄²/Q), Q = Σ(x - x̄)²; detection 2·x_c; quantitation
    /// x_q = k·(s/b)·t(1-α/2, n-2)·√(1/m + 1/n + (x_q - x̄)²/Q). It takes s(y/x) for the scatter at zero and so
    /// wants standards near the limit, equally spaced and with equal scatter: the highest no more than about 10 times
    /// the limit. Ours is [`Curve::limits`]; it misses 5 % where this rule misses 3 %.
    ///
    /// # Errors
    /// Another curve than a line with intercept and equal weights; fewer than 3 residual degrees of freedom; options out
    /// of range; scatter too large for a quantitation limit.
    pub fn limits_din_32645(&self, false_positive: f64, k: f64, flasks: usize) -> Result<DinLimits> {
        if self.model != Model::Line || self.weighting != Weighting::None {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: DIN 32645 takes a straight line with intercept and equal weights", self.whose("")),
            )
            .hint("fit the lowest levels by themselves with equal weights, or use Curve::limits"));
        }
        if !(false_positive > 0.0 && false_positive < 0.5 && k > 0.0 && k.is_finite() && flasks > 0) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("limits: α = {false_positive}, k = {k}, {flasks} flasks; 0.01 or 0.05, 3 and 1 are usual"),
            ));
        }
        let (s, b) = (self.residual_sd.unwrap_or(f64::NAN), self.slope().abs());
        if self.dof < 3.0 || s.is_nan() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: {} residual degrees of freedom; limits need at least 3", self.whose(""), self.dof),
            )
            .hint("make more standard flasks"));
        }
        let n = self.x.len() as f64;
        let mean = self.x.iter().sum::<f64>() / n;
        let spread: f64 = self.x.iter().map(|x| (x - mean) * (x - mean)).sum();
        let root = |x: f64| libm::sqrt(1.0 / flasks as f64 + 1.0 / n + (x - mean) * (x - mean) / spread);
        let critical = s / b * student_t_quantile(1.0 - false_positive, self.dof) * root(0.0);
        let width = k * s / b * student_t_quantile(1.0 - 0.5 * false_positive, self.dof);
        let short = |x: f64| width * root(x) - x;
        // Far out the width grows by width/√Q per content: below 1, there is one crossing.
        if width * width >= spread {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: the scatter is too large for a quantitation limit with k = {k}", self.whose("")),
            )
            .hint("make more standard flasks, or state a smaller k"));
        }
        let mut high = width.max(f64::MIN_POSITIVE);
        while short(high) > 0.0 {
            high *= 2.0;
        }
        let quantitation = if s > 0.0 { find_root(short, 0.0, high, 0.0)? } else { 0.0 };
        Ok(DinLimits { critical, detection: 2.0 * critical, quantitation, false_positive, k, flasks })
    }
}

/// A detection limit from replicates of one low sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MethodDetectionLimit {
    /// t(0.99, n-1)·s.
    pub limit: f64,
    /// 95 % range of the limit, from the χ² distribution of s².
    pub range: [f64; 2],
    /// Standard deviation s of the replicates.
    pub sd: f64,
    /// Their mean over the limit. Below 1 the sample was too low, above about 5 too high for this rule.
    pub mean_over_limit: f64,
    /// n - 1.
    pub dof: f64,
}

/// Method detection limit after 40 CFR 136, appendix B: t(0.99, n-1)·s of 7 or more spiked replicates taken through
/// the whole procedure, each one flask. The chance of a miss is not in it: at the limit itself half are missed.
///
/// # Errors
/// Fewer than 7 replicates, a value that is not finite, replicates that all agree.
///
/// ```
/// use vialbook::calibrate::method_detection_limit;
/// let found = method_detection_limit(&[1.9, 2.3, 2.1, 1.8, 2.2, 2.4, 2.0])?;
/// // Seven replicates: 3.143 standard deviations.
/// assert!((found.limit / found.sd - 3.143).abs() < 5e-4);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn method_detection_limit(replicates: &[f64]) -> Result<MethodDetectionLimit> {
    let (mean, sd, dof) = spread_of(replicates, 7, "replicates")?;
    let limit = student_t_quantile(0.99, dof) * sd;
    let end = |p: f64| limit * libm::sqrt(dof / chi_squared_quantile(p, dof));
    Ok(MethodDetectionLimit { limit, range: [end(0.975), end(0.025)], sd, mean_over_limit: mean / limit, dof })
}

/// Limits from blanks, as responses or contents, whatever the blanks are given in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlankLimits {
    /// Mean of the blanks.
    pub mean: f64,
    /// Their standard deviation.
    pub sd: f64,
    /// Mean + 3 s.
    pub detection: f64,
    /// Mean + 10 s.
    pub quantitation: f64,
    /// n - 1.
    pub dof: f64,
}

/// Mean + 3 s and mean + 10 s of blank flasks integrated in a forced window (as OIV-MA-AS1-10 has it).
///
/// With s estimated from 10 blanks a blank exceeds mean + 3 s in 0.95 %, not in 0.13 % as with s known.
///
/// # Errors
/// Fewer than 5 blanks, a value that is not finite, blanks that all agree: peak finding that gives 0 for nothing is no
/// measurement.
///
/// ```
/// use vialbook::calibrate::blank_limits;
/// let l = blank_limits(&[-1.0, 0.0, 1.0, -1.0, 1.0, 0.0])?;
/// assert!((l.detection - 3.0 * 0.8_f64.sqrt()).abs() < 1e-12);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn blank_limits(blanks: &[f64]) -> Result<BlankLimits> {
    let (mean, sd, dof) = spread_of(blanks, 5, "blanks")?;
    Ok(BlankLimits { mean, sd, detection: mean + 3.0 * sd, quantitation: mean + 10.0 * sd, dof })
}

fn spread_of(values: &[f64], least: usize, what: &str) -> Result<(f64, f64, f64)> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let dof = n - 1.0;
    let sd = libm::sqrt(values.iter().map(|y| (y - mean) * (y - mean)).sum::<f64>() / dof);
    if values.len() < least || !(sd > 0.0 && sd.is_finite()) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("{} {what} with standard deviation {sd}; {least} or more that differ are wanted", values.len()),
        )
        .hint("integrate every one in a window at the expected time, whether a peak is found or not"));
    }
    Ok((mean, sd, dof))
}
