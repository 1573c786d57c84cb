//! Lack of fit, tested against flasks, and what the test could have found.

use std::fmt;

use super::curve::Curve;
use super::solve::{Form, weighted_fit};
use crate::numeric::{fisher_f_quantile, fisher_f_sf, special::beta_inc_upper, special::ln_gamma};

/// Lack-of-fit F test of a curve whose contents have replicate flasks.
///
/// F = (SS_lof/(L - p))/(SS_pure/(n - L)) for n flasks at L contents and p coefficients; SS_pure is the scatter of
/// flasks about their level's mean, SS_lof that of the level means about the curve, both weighted as the fit was.
/// Shots never count as replicates: they share their flask's error. A large p-value is no proof of a straight line:
/// [`LackOfFit::sag`] says how bent it could be. Reference: N. R. Draper and H. Smith, Applied Regression
/// Analysis, 3rd ed. (1998), section 2.1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LackOfFit {
    /// F; infinite where replicates agree exactly and the levels do not.
    pub f: f64,
    /// Degrees of freedom, numerator and denominator.
    pub dof: [f64; 2],
    /// Chance of an F as large if the curve holds.
    pub p_value: f64,
    /// Weighted sum of squares of level means about the curve.
    pub lack_of_fit_ss: f64,
    /// Weighted sum of squares of flasks about their level means.
    pub pure_error_ss: f64,
    /// Sag as a share of the top response that makes the non-centrality 1.
    unit_sag: Option<f64>,
}

/// Level at which sags are tested.
const TEST_LEVEL: f64 = 0.05; // our choice: power statements are for tests at 5 %
/// Power stated.
const POWER: f64 = 0.80; // common practice

impl LackOfFit {
    /// The test; `None` unless some content has two flasks and there are more contents than coefficients.
    pub(super) fn of(curve: &Curve) -> Option<LackOfFit> {
        let (x, y) = (&curve.x, &curve.y);
        let n = x.len();
        let w = curve.unit_weights();
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&a, &b| x[a].total_cmp(&x[b]));
        let top = x[order[n - 1]].abs();
        let (mut levels, mut pure) = (0.0, 0.0);
        let mut i = 0;
        while i < n {
            let mut j = i;
            // Contents worked out from masses may differ in the last digits and are one level all the same.
            while j < n && (x[order[j]] - x[order[i]]).abs() <= 1e-9 * top {
                j += 1;
            }
            let level = &order[i..j];
            let total: f64 = level.iter().map(|&k| w[k]).sum();
            let mean = level.iter().map(|&k| w[k] * y[k]).sum::<f64>() / total;
            pure += level.iter().map(|&k| w[k] * (y[k] - mean) * (y[k] - mean)).sum::<f64>();
            levels += 1.0;
            i = j;
        }
        let p = curve.line.form.parameters() as f64;
        let dof = [levels - p, n as f64 - levels];
        if dof[0] < 1.0 || dof[1] < 1.0 {
            return None;
        }
        let rss: f64 = (0..n).map(|i| w[i] * (y[i] - curve.line.fitted[i]).powi(2)).sum();
        let lack = (rss - pure).max(0.0);
        let f = if pure > 0.0 {
            (lack / dof[0]) / (pure / dof[1])
        } else if lack > 0.0 {
            f64::INFINITY
        } else {
            0.0
        };
        let p_value = if f.is_finite() { fisher_f_sf(f, dof[0], dof[1]) } else { 0.0 };
        let unit_sag = unit_sag(curve, &w, rss / (n as f64 - p));
        Some(LackOfFit { f, dof, p_value, lack_of_fit_ss: lack, pure_error_ss: pure, unit_sag })
    }

    /// Sag of a parabola below its chord over the range, as a share of the top response, that this test at 5 %
    /// finds with 80 % power; `None` where the scatter is zero or the levels cannot show it.
    pub fn sag(&self) -> Option<f64> {
        let unit = self.unit_sag?;
        Some(unit * libm::sqrt(detectable_noncentrality(self.dof[0], self.dof[1], TEST_LEVEL, POWER)))
    }
}

impl fmt::Display for LackOfFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b] = self.dof;
        write!(f, "lack of fit F({a}, {b}) = {:.2}, p = {:.3}; ", self.f, self.p_value)?;
        match self.sag() {
            Some(s) => write!(
                f,
                "a curve that sags by {:.2} % of the top response in the middle would have been found with 80 % power",
                100.0 * s
            ),
            None => f.write_str("what curvature it would have found cannot be said"),
        }
    }
}

/// The sag that makes the non-centrality 1, as a share of the top response.
fn unit_sag(curve: &Curve, w: &[f64], variance: f64) -> Option<f64> {
    let form = curve.line.form;
    if !matches!(form, Form::Line | Form::ThroughZero) {
        return None;
    }
    let low = if form == Form::ThroughZero { 0.0 } else { curve.range[0] };
    let high = curve.range[1];
    let parabola: Vec<f64> =
        curve.x.iter().map(|&x| 4.0 * (x - low) * (high - x) / ((high - low) * (high - low))).collect();
    let line = weighted_fit(form, &curve.x, &parabola, w, None);
    // What a sag of 1 adds to the non-centrality, in units of the variance at weight 1.
    let seen: f64 = (0..w.len()).map(|i| w[i] * (parabola[i] - line.fitted[i]).powi(2)).sum();
    let unit: f64 = w.iter().sum();
    let top = curve.line.at(high).abs();
    if !(variance > 0.0 && seen > 1e-12 * unit && top > 0.0) {
        return None;
    }
    Some(libm::sqrt(variance / seen) / top)
}

/// Non-centrality λ at which an F test at `level` has `power`.
pub(crate) fn detectable_noncentrality(dof1: f64, dof2: f64, level: f64, power: f64) -> f64 {
    let critical = fisher_f_quantile(1.0 - level, dof1, dof2);
    let (mut low, mut high) = (0.0, 1.0);
    while noncentral_f_sf(critical, dof1, dof2, high) < power && high < 1e9 {
        low = high;
        high *= 2.0;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if noncentral_f_sf(critical, dof1, dof2, middle) < power { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// P(F' > f) of the non-central F: a Poisson mixture of incomplete beta functions (Abramowitz and Stegun 26.6.18),
/// summed outwards from the largest term; absolute error about 1e-12.
pub(crate) fn noncentral_f_sf(f: f64, dof1: f64, dof2: f64, noncentrality: f64) -> f64 {
    let half = 0.5 * noncentrality;
    let x = dof1 * f / (dof1 * f + dof2);
    let term = |j: f64| {
        let poisson = if half > 0.0 { libm::exp(j * libm::log(half) - half - ln_gamma(j + 1.0)) } else { 1.0 };
        (poisson, poisson * beta_inc_upper(0.5 * dof1 + j, 0.5 * dof2, x))
    };
    if half == 0.0 {
        return term(0.0).1;
    }
    let start = libm::floor(half);
    let mut sum = 0.0;
    let mut j = start;
    while j >= 0.0 {
        let (weight, part) = term(j);
        sum += part;
        if weight < 1e-15 {
            break;
        }
        j -= 1.0;
    }
    let mut j = start + 1.0;
    loop {
        let (weight, part) = term(j);
        sum += part;
        if weight < 1e-15 {
            return sum.min(1.0);
        }
        j += 1.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noncentral_f_agrees_with_its_limits() {
        // λ = 0 is the central F.
        let critical = fisher_f_quantile(0.95, 3.0, 5.0);
        assert!((noncentral_f_sf(critical, 3.0, 5.0, 0.0) - 0.05).abs() < 1e-12);
        // One over very many degrees of freedom is a squared shifted normal: P(|z + 2| > 1.96) = 0.516005.
        let z = 1.959_963_984_540_054_f64;
        assert!((noncentral_f_sf(z * z, 1.0, 1e7, 4.0) - 0.516_005).abs() < 2e-6);
        // The 80 % power point of the two-sided z test is (1.95996 + 0.84162)² = 7.8489 (other tail 2e-6).
        assert!((detectable_noncentrality(1.0, 1e7, 0.05, 0.8) - 7.848_9).abs() < 2e-3);
    }
}
