//! The one pivot behind interval, decision and probability.
//!
//! T(x) = (y₀ - a - b·x)/√V(x) on Student's t with ν(x) degrees of freedom, taken with the sign of b. V is a sum of
//! parts, each a quadratic in x: the sample's flasks, the line, shared sources. ν(x) follows Welch and Satterthwaite
//! over the parts (B. L. Welch, Biometrika 34 (1947) 28-35; JCGM 100:2008 G.4), so that a part which is known lends
//! its certainty where it rules. P(true > L) = P(t < T(L)); the interval is where that lies between the two tails.
//! Solving T² = t² is a quadratic, after E. C. Fieller (J. R. Statist. Soc. B 16 (1954) 175-185).

use crate::numeric::{student_t_cdf, student_t_quantile};

/// A part of the variance of y₀ - a - b·x.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    /// Coefficients of 1, x, x².
    pub(crate) variance: [f64; 3],
    /// Which estimate it rests on: parts with the same number share one, and its degrees of freedom.
    pub(crate) estimate: usize,
    /// Degrees of freedom; infinite where the part is known.
    pub(crate) dof: f64,
}

/// T(x), ready to be asked.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Pivot {
    /// y₀ - a.
    pub(crate) response: f64,
    /// b.
    pub(crate) slope: f64,
    /// The parts of V.
    pub(crate) parts: Vec<Part>,
}

/// The set of contents that a level does not refuse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Accepted {
    /// Between two ends.
    Closed(f64, f64),
    /// Everything above an end, and everything below a lower one where that is given.
    Above(f64, Option<f64>),
    /// Everything below an end, and everything above a higher one where that is given.
    Below(f64, Option<f64>),
    /// Nothing is refused.
    All,
}

impl Pivot {
    /// The content that makes T zero.
    pub(crate) fn content(&self) -> f64 {
        self.response / self.slope
    }

    /// V(x).
    pub(crate) fn variance(&self, x: f64) -> f64 {
        self.parts.iter().map(|p| value(p.variance, x)).sum()
    }

    /// ν(x), not below 1.
    pub(crate) fn dof(&self, x: f64) -> f64 {
        let total = self.variance(x);
        let mut sum = 0.0;
        for (i, part) in self.parts.iter().enumerate() {
            if part.dof.is_finite() && self.parts[..i].iter().all(|q| q.estimate != part.estimate) {
                let joint: f64 =
                    self.parts.iter().filter(|q| q.estimate == part.estimate).map(|q| value(q.variance, x)).sum();
                sum += joint * joint / part.dof;
            }
        }
        if sum > 0.0 { (total * total / sum).max(1.0) } else { f64::INFINITY }
    }

    /// T(x): positive where the content seems to be above x.
    pub(crate) fn t(&self, x: f64) -> f64 {
        (self.response - self.slope * x) * self.slope.signum() / libm::sqrt(self.variance(x))
    }

    /// P(true content > x).
    pub(crate) fn probability_above(&self, x: f64) -> f64 {
        student_t_cdf(self.t(x), self.dof(x))
    }

    /// Linearised standard uncertainty of the content, √V/|b|.
    pub(crate) fn u(&self) -> f64 {
        libm::sqrt(self.variance(self.content())) / self.slope.abs()
    }

    /// The contents not refused at `level`.
    pub(crate) fn accepted(&self, level: f64) -> Accepted {
        let p = 0.5 + 0.5 * level;
        let here = self.content();
        let t = student_t_quantile(p, self.dof(here));
        // The ends carry their own degrees of freedom: each is solved again with those at the end itself.
        let settle = |first: f64, end: fn(Accepted) -> Option<f64>| -> Option<f64> {
            let (mut x, mut dof, mut t) = (first, self.dof(here), t);
            for _ in 0..100 {
                let there = self.dof(x);
                if there == dof {
                    break;
                }
                dof = there;
                let next = student_t_quantile(p, dof);
                if (next - t).abs() <= 1e-12 * t {
                    break;
                }
                t = next;
                x = end(self.within(t))?;
            }
            Some(x)
        };
        match self.within(t) {
            Accepted::Closed(low, high) => match (settle(low, lower_end), settle(high, upper_end)) {
                (Some(low), Some(high)) => Accepted::Closed(low, high),
                (Some(low), None) => Accepted::Above(low, None),
                (None, Some(high)) => Accepted::Below(high, None),
                (None, None) => Accepted::All,
            },
            open => open,
        }
    }

    /// The contents with |T| ≤ t.
    fn within(&self, t: f64) -> Accepted {
        let mut v = [0.0; 3];
        for part in &self.parts {
            for (sum, c) in v.iter_mut().zip(part.variance) {
                *sum += c;
            }
        }
        // In z = x - x̂, so that no digits are lost where the interval is narrow: b²z² ≤ t²·V(x̂ + z).
        let c = self.content();
        let (v0, v1, v2) = (v[0] + c * (v[1] + c * v[2]), v[1] + 2.0 * c * v[2], v[2]);
        let (qa, qb, qc) = (self.slope * self.slope - t * t * v2, -t * t * v1, -t * t * v0);
        let discriminant = qb * qb - 4.0 * qa * qc;
        if qa > 0.0 {
            let root = libm::sqrt(discriminant.max(0.0));
            let q = -0.5 * (qb + root.copysign(qb));
            let (r1, r2) = if q == 0.0 { (0.0, 0.0) } else { (q / qa, qc / q) };
            return Accepted::Closed(c + r1.min(r2), c + r1.max(r2));
        }
        if qa == 0.0 && qb != 0.0 {
            let end = c - qc / qb;
            return if qb < 0.0 { Accepted::Above(end, None) } else { Accepted::Below(end, None) };
        }
        if discriminant <= 0.0 {
            return Accepted::All;
        }
        let root = libm::sqrt(discriminant);
        let q = -0.5 * (qb + root.copysign(qb));
        let (r1, r2) = (q / qa, qc / q);
        let (low, high) = (r1.min(r2), r1.max(r2));
        // Two rays; z = 0, the content itself, lies in one of them.
        if high <= 0.0 { Accepted::Above(c + high, Some(c + low)) } else { Accepted::Below(c + low, Some(c + high)) }
    }

    /// The same pivot for contents multiplied by `factor`.
    pub(crate) fn scaled(&self, factor: f64) -> Pivot {
        let parts = self.parts.iter().map(|p| {
            let [c, l, q] = p.variance;
            Part { variance: [c, l / factor, q / (factor * factor)], ..p.clone() }
        });
        Pivot { response: self.response, slope: self.slope / factor, parts: parts.collect() }
    }
}

fn lower_end(a: Accepted) -> Option<f64> {
    match a {
        Accepted::Closed(low, _) | Accepted::Above(low, _) => Some(low),
        _ => None,
    }
}

fn upper_end(a: Accepted) -> Option<f64> {
    match a {
        Accepted::Closed(_, high) | Accepted::Below(high, _) => Some(high),
        _ => None,
    }
}

/// c₀ + c₁x + c₂x².
pub(crate) fn value(c: [f64; 3], x: f64) -> f64 {
    c[0] + x * (c[1] + x * c[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pivot(slope: f64, v: [f64; 3], dof: f64) -> Pivot {
        Pivot { response: 2.0, slope, parts: vec![Part { variance: v, estimate: 0, dof }] }
    }

    #[test]
    fn ends_of_the_interval_have_the_probability_of_the_tails() {
        for p in [pivot(1.0, [0.01, 0.002, 0.004], 9.0), pivot(-0.5, [0.01, 0.0, 0.001], 4.0)] {
            let Accepted::Closed(low, high) = p.accepted(0.95) else { panic!("closed") };
            assert!((p.probability_above(low) - 0.975).abs() < 1e-10);
            assert!((p.probability_above(high) - 0.025).abs() < 1e-10);
        }
        let mut two = pivot(1.0, [0.0, 0.0, 0.002], 3.0);
        two.parts.push(Part { variance: [0.01, 0.0, 0.0], estimate: 1, dof: f64::INFINITY });
        let Accepted::Closed(low, high) = two.accepted(0.95) else { panic!("closed") };
        assert!((two.probability_above(low) - 0.975).abs() < 1e-10);
        assert!((two.probability_above(high) - 0.025).abs() < 1e-10);
    }

    #[test]
    fn welch_satterthwaite_pools_parts_of_one_estimate_first() {
        let mut p = pivot(1.0, [3.0, 0.0, 0.0], 6.0);
        p.parts.push(Part { variance: [1.0, 0.0, 0.0], estimate: 0, dof: 6.0 });
        assert_eq!(p.dof(0.0), 6.0);
        p.parts.push(Part { variance: [4.0, 0.0, 0.0], estimate: 1, dof: f64::INFINITY });
        assert_eq!(p.dof(0.0), 24.0);
    }

    #[test]
    fn a_slope_lost_in_scatter_opens_the_set() {
        assert_eq!(pivot(0.1, [1.0, 0.0, 1.0], 8.0).accepted(0.95), Accepted::All);
        // b²z² ≤ t²V with V(x) = 1e-4 + x²: near x = 0 everything is refused, far out nothing is.
        match pivot(1.0, [1e-4, 0.0, 1.0], 8.0).accepted(0.95) {
            Accepted::Above(end, Some(other)) => assert!(other < 0.0 && end > 0.0 && end < 2.0),
            other => panic!("{other:?}"),
        }
    }
}
