//! The one pivot behind interval, decision and probability.
//!
//! T(x) = (y₀ - f(x))/√V(x) on Student's t with ν(x) degrees of freedom, taken with the sign of f'. V is a sum of
//! parts: the sample's flasks, the curve, shared sources. ν(x) follows Welch and Satterthwaite over the parts (B. L.
//! Welch, Biometrika 34 (1947) 28-35; JCGM 100:2008 G.4), so that a part which is known lends its certainty where it
//! rules. P(true > L) = P(t < T(L)); the interval is where that lies between the two tails. For a line T² = t² is a
//! quadratic, after E. C. Fieller (J. R. Statist. Soc. B 16 (1954) 175-185); for a curve that bends its ends are
//! sought outwards from the content, on the stretch where the curve only rises or only falls.

use super::function::{Covariance, Function, quadratic_form};
use crate::numeric::{find_root, student_t_cdf, student_t_quantile};

/// A variance of responses as it grows with the content.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Variance {
    /// Equal everywhere.
    pub(crate) constant: f64,
    /// Times x.
    pub(crate) content: f64,
    /// Times x².
    pub(crate) content_square: f64,
    /// Times f(x).
    pub(crate) response: f64,
    /// Times f(x)².
    pub(crate) response_square: f64,
    /// Times (f(x) - f(0))².
    pub(crate) rise_square: f64,
    /// Covariance of the coefficients.
    pub(crate) covariance: Covariance,
    /// Times (x·f'(x))²: the square of a relative uncertainty of the content.
    pub(crate) shared: f64,
}

impl Variance {
    /// Equal everywhere.
    pub(crate) fn constant(v: f64) -> Variance {
        Variance { constant: v, ..Variance::default() }
    }

    /// The curve's own.
    pub(crate) fn of_curve(covariance: Covariance) -> Variance {
        Variance { covariance, ..Variance::default() }
    }

    /// Its value at content `x`.
    pub(crate) fn at(&self, f: &Function, x: f64) -> f64 {
        let mut v = self.constant + x * (self.content + x * self.content_square);
        if self.response != 0.0 || self.response_square != 0.0 {
            let y = f.at(x);
            v += y * (self.response + y * self.response_square);
        }
        if self.rise_square != 0.0 {
            let rise = f.at(x) - f.at(0.0);
            v += rise * rise * self.rise_square;
        }
        if self.covariance != [0.0; 6] {
            v += quadratic_form(&self.covariance, f.gradient(x));
        }
        if self.shared != 0.0 {
            let moved = f.relative_slope(x);
            v += moved * moved * self.shared;
        }
        v
    }

    /// Coefficients of 1, x, x² along a line.
    fn along(&self, a: f64, b: f64) -> [f64; 3] {
        let c = &self.covariance;
        [
            self.constant + self.response * a + self.response_square * a * a + c[0],
            self.content + self.response * b + 2.0 * self.response_square * a * b + 2.0 * c[1],
            self.content_square + (self.response_square + self.rise_square + self.shared) * b * b + c[2],
        ]
    }

    /// Every part of it times `k`.
    pub(crate) fn times(self, k: f64) -> Variance {
        Variance {
            constant: k * self.constant,
            content: k * self.content,
            content_square: k * self.content_square,
            response: k * self.response,
            response_square: k * self.response_square,
            rise_square: k * self.rise_square,
            covariance: self.covariance.map(|c| k * c),
            shared: k * self.shared,
        }
    }
}

/// A part of the variance of y₀ - a - b·x.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    /// Its size.
    pub(crate) variance: Variance,
    /// Which estimate it rests on: parts with the same number share one, and its degrees of freedom.
    pub(crate) estimate: usize,
    /// Degrees of freedom; infinite where the part is known.
    pub(crate) dof: f64,
}

/// T(x), ready to be asked. Contents are those of the curve times `scale`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Pivot {
    /// y₀.
    pub(crate) response: f64,
    /// f.
    pub(crate) function: Function,
    /// The content found, in the curve's own unit.
    pub(crate) found: f64,
    /// Where f only rises or only falls, in the curve's own unit.
    pub(crate) branch: [f64; 2],
    /// Lowest and highest standard: what counts as a step along the curve.
    pub(crate) range: [f64; 2],
    /// What multiplies the curve's contents.
    pub(crate) scale: f64,
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
    /// A pivot without parts yet; `None` where the curve does not reach the response.
    pub(crate) fn new(response: f64, function: Function, range: [f64; 2]) -> Option<Pivot> {
        let branch = function.branch(range);
        let found = function.content_of(response, branch)?;
        Some(Pivot { response, function, found, branch, range, scale: 1.0, parts: Vec::new() })
    }

    /// The content that makes T zero.
    pub(crate) fn content(&self) -> f64 {
        self.found * self.scale
    }

    /// V(x).
    pub(crate) fn variance(&self, x: f64) -> f64 {
        self.parts.iter().map(|p| p.variance.at(&self.function, x / self.scale)).sum()
    }

    /// ν(x), not below 1.
    pub(crate) fn dof(&self, x: f64) -> f64 {
        let total = self.variance(x);
        let mut sum = 0.0;
        for (i, part) in self.parts.iter().enumerate() {
            if part.dof.is_finite() && self.parts[..i].iter().all(|q| q.estimate != part.estimate) {
                let alike = self.parts.iter().filter(|q| q.estimate == part.estimate);
                let joint: f64 = alike.map(|q| q.variance.at(&self.function, x / self.scale)).sum();
                sum += joint * joint / part.dof;
            }
        }
        if sum > 0.0 { (total * total / sum).max(1.0) } else { f64::INFINITY }
    }

    /// 1 where the response rises with the content, -1 where it falls.
    pub(crate) fn direction(&self) -> f64 {
        match self.function.as_line() {
            Some((_, b)) => b.signum(),
            None => {
                let [low, high] = self.inside();
                (self.function.at(high) - self.function.at(low)).signum()
            }
        }
    }

    /// The part of the range on the branch.
    fn inside(&self) -> [f64; 2] {
        [self.range[0].max(self.branch[0]), self.range[1].min(self.branch[1])]
    }

    /// T(x): positive where the content seems to be above x.
    pub(crate) fn t(&self, x: f64) -> f64 {
        (self.response - self.function.at(x / self.scale)) * self.direction() / libm::sqrt(self.variance(x))
    }

    /// P(true content > x).
    pub(crate) fn probability_above(&self, x: f64) -> f64 {
        let own = x / self.scale;
        // Beyond its turn the curve says nothing.
        if own < self.branch[0] {
            return 1.0;
        }
        if own > self.branch[1] {
            return 0.0;
        }
        if let Function::LogLog { .. } = self.function
            && own <= 0.0
        {
            return 1.0;
        }
        student_t_cdf(self.t(x), self.dof(x))
    }

    /// Linearised standard uncertainty of the content, √V/|f'|.
    pub(crate) fn u(&self) -> f64 {
        libm::sqrt(self.variance(self.content())) / self.function.slope(self.found).abs() * self.scale
    }

    /// The contents not refused at `level`.
    pub(crate) fn accepted(&self, level: f64) -> Accepted {
        let p = 0.5 + 0.5 * level;
        if self.function.as_line().is_none() {
            return match (self.end(1.0 - p, 1.0), self.end(p, -1.0)) {
                (Some(high), Some(low)) => Accepted::Closed(low, high),
                (Some(high), None) => Accepted::Below(high, None),
                (None, Some(low)) => Accepted::Above(low, None),
                (None, None) => Accepted::All,
            };
        }
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

    /// The content at which P(true > x) = `probability`, sought from the content found in the direction of `sign`.
    fn end(&self, probability: f64, sign: f64) -> Option<f64> {
        let off = |x: f64| self.probability_above(x) - probability;
        let here = self.content();
        let [low, high] = self.inside();
        // A step as long as u where the slope gives one, and otherwise a hundredth of the range.
        let u = self.u();
        let span = (high - low).abs() * self.scale;
        let mut step = if u.is_finite() && u > 0.0 { u.min(span) } else { 0.01 * span };
        let bound = self.branch[if sign > 0.0 { 1 } else { 0 }] * self.scale;
        let mut near = here;
        for _ in 0..60 {
            let mut far = near + sign * step;
            if sign * (far - bound) >= 0.0 {
                far = match self.function {
                    Function::LogLog { .. } => 0.5 * near,
                    _ => bound - sign * 1e-9 * span,
                };
                if sign * (far - near) <= 0.0 {
                    return None;
                }
                if sign * off(far) > 0.0 && !matches!(self.function, Function::LogLog { .. }) {
                    return None;
                }
            }
            if sign * off(far) <= 0.0 {
                return find_root(off, near.min(far), near.max(far), 1e-13 * span).ok();
            }
            near = far;
            step *= 2.0;
        }
        None
    }

    /// The contents with |T| ≤ t, for a line.
    fn within(&self, t: f64) -> Accepted {
        let Some((a, b)) = self.function.as_line() else { return Accepted::All };
        let mut v = [0.0; 3];
        for part in &self.parts {
            for (sum, c) in v.iter_mut().zip(part.variance.along(a, b)) {
                *sum += c;
            }
        }
        let slope = b / self.scale;
        v[1] /= self.scale;
        v[2] /= self.scale * self.scale;
        // In z = x - x̂, so that no digits are lost where the interval is narrow: b²z² ≤ t²·V(x̂ + z).
        let c = self.content();
        let (v0, v1, v2) = (v[0] + c * (v[1] + c * v[2]), v[1] + 2.0 * c * v[2], v[2]);
        let (qa, qb, qc) = (slope * slope - t * t * v2, -t * t * v1, -t * t * v0);
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
        Pivot { scale: self.scale * factor, ..self.clone() }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn variance(v: [f64; 3]) -> Variance {
        Variance { constant: v[0], content: v[1], content_square: v[2], ..Variance::default() }
    }

    fn pivot(slope: f64, v: [f64; 3], dof: f64) -> Pivot {
        let mut p = Pivot::new(2.0, Function::line(0.0, slope), [0.0, 4.0]).expect("reached");
        p.parts.push(Part { variance: variance(v), estimate: 0, dof });
        p
    }

    #[test]
    fn ends_of_the_interval_have_the_probability_of_the_tails() {
        for p in [pivot(1.0, [0.01, 0.002, 0.004], 9.0), pivot(-0.5, [0.01, 0.0, 0.001], 4.0)] {
            let Accepted::Closed(low, high) = p.accepted(0.95) else { panic!("closed") };
            assert!((p.probability_above(low) - 0.975).abs() < 1e-10);
            assert!((p.probability_above(high) - 0.025).abs() < 1e-10);
        }
        let mut two = pivot(1.0, [0.0, 0.0, 0.002], 3.0);
        two.parts.push(Part { variance: variance([0.01, 0.0, 0.0]), estimate: 1, dof: f64::INFINITY });
        let Accepted::Closed(low, high) = two.accepted(0.95) else { panic!("closed") };
        assert!((two.probability_above(low) - 0.975).abs() < 1e-10);
        assert!((two.probability_above(high) - 0.025).abs() < 1e-10);
    }

    #[test]
    fn welch_satterthwaite_pools_parts_of_one_estimate_first() {
        let mut p = pivot(1.0, [3.0, 0.0, 0.0], 6.0);
        p.parts.push(Part { variance: variance([1.0, 0.0, 0.0]), estimate: 0, dof: 6.0 });
        assert_eq!(p.dof(0.0), 6.0);
        p.parts.push(Part { variance: variance([4.0, 0.0, 0.0]), estimate: 1, dof: f64::INFINITY });
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

    /// A parabola with next to no bend gives the ends of the line; a bent one has its tails; a maximum opens the set.
    #[test]
    fn ends_on_a_curve_that_bends() {
        let line = pivot(1.0, [0.01, 0.002, 0.004], 9.0);
        let bent = |c: f64, y: f64| {
            let mut p = Pivot::new(y, Function::Polynomial([0.0, 1.0, c]), [0.0, 4.0])?;
            p.parts.clone_from(&line.parts);
            Some(p)
        };
        let Accepted::Closed(low, high) = line.accepted(0.95) else { panic!("closed") };
        let Accepted::Closed(l, h) = bent(-1e-12, 2.0).expect("reached").accepted(0.95) else { panic!("closed") };
        assert!((l - low).abs() < 1e-9 && (h - high).abs() < 1e-9, "{l} to {h} instead of {low} to {high}");
        for c in [-0.03, 0.03] {
            let p = bent(c, 2.0).expect("reached").scaled(3.0);
            let Accepted::Closed(low, high) = p.accepted(0.95) else { panic!("closed") };
            assert!(low < p.content() && p.content() < high);
            assert!((p.probability_above(low) - 0.975).abs() < 1e-10);
            assert!((p.probability_above(high) - 0.025).abs() < 1e-10);
        }
        // The maximum of x - 0.1x² is 2.5 at x = 5: responses near it refuse no content below the turn.
        assert!(matches!(bent(-0.1, 2.49).expect("reached").accepted(0.95), Accepted::Above(_, None)));
        assert!(bent(-0.1, 2.6).is_none());
    }
}
