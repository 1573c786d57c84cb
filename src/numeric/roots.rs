//! Roots: of a function in a bracket, and of a quadratic.

use crate::error::{Error, ErrorKind, Result};

use super::double_double::DoubleDouble;

/// The x between `low` and `high` where `function` changes sign, to within `tolerance` + 4 ulp of x.
///
/// R. P. Brent, "An algorithm with guaranteed convergence for finding a zero of a function", The Computer
/// Journal 14 (1971) 422-425: inverse quadratic interpolation and secants, with bisection wherever they do not
/// gain. Some 10 evaluations for smooth functions, never more than about (number of bisections)².
///
/// # Errors
/// The function has the same sign at both ends, or is NaN somewhere on the way.
///
/// ```
/// use vialbook::numeric::find_root;
/// let x = find_root(|x| x * x - 2.0, 0.0, 2.0, 0.0)?;
/// assert!((x - std::f64::consts::SQRT_2).abs() < 1e-15);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn find_root(mut function: impl FnMut(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Result<f64> {
    if !(low.is_finite() && high.is_finite() && tolerance >= 0.0) {
        return Err(Error::new(
            ErrorKind::Option,
            format!("a root between {low} and {high} within {tolerance}; finite ends, tolerance 0 or above are wanted"),
        ));
    }
    let mut checked = |x: f64| {
        let f = function(x);
        if f.is_nan() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("the function has no value at {x} while its root is sought"),
            ));
        }
        Ok(f)
    };
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (checked(a)?, checked(b)?);
    if fa == 0.0 {
        return Ok(a);
    }
    if fb == 0.0 {
        return Ok(b);
    }
    if (fa > 0.0) == (fb > 0.0) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("no change of sign between {low} (value {fa:e}) and {high} (value {fb:e}): no root is held there"),
        ));
    }
    // b is the best guess, a the one before, c the other end of the bracket.
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut step_before = step;
    for _ in 0..10_000 {
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let small = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let half = 0.5 * c - 0.5 * b;
        if half.abs() <= small || fb == 0.0 {
            return Ok(b);
        }
        if step_before.abs() < small || fa.abs() <= fb.abs() {
            (step, step_before) = (half, half);
        } else {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (r, t) = (fb / fc, fa / fc);
                (s * (2.0 * half * t * (t - r) - (b - a) * (r - 1.0)), (t - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            }
            p = p.abs();
            if 2.0 * p < (3.0 * half * q - (small * q).abs()).min((step_before * q).abs()) {
                step_before = step;
                step = p / q;
            } else {
                (step, step_before) = (half, half);
            }
        }
        (a, fa) = (b, fb);
        // The least step is one that moves b, also where b and the tolerance are 0.
        let least = if small > 0.0 { small } else { f64::MIN_POSITIVE };
        b += if step.abs() > least { step } else { least.copysign(half) };
        fb = checked(b)?;
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            step_before = step;
        }
    }
    Ok(b)
}

/// The real roots of a x² + b x + c = 0, in rising order: none, one (double, or a = 0) or two.
///
/// The discriminant is computed in double-double and each root by the formula in which nothing cancels
/// (G. E. Forsythe, "How do you solve a quadratic equation?", Stanford report CS40, 1966): relative error about
/// 2 ulp, also for b² ≈ 4ac. An equation that every x solves (all coefficients 0) and one with a coefficient that
/// is not finite have no list of roots: empty.
///
/// ```
/// use vialbook::numeric::quadratic_roots;
/// assert_eq!(quadratic_roots(1.0, -1e8, 1.0), vec![1.0000000000000002e-8, 99999999.99999999]);
/// assert!(quadratic_roots(1.0, 0.0, 1.0).is_empty());
/// ```
pub fn quadratic_roots(a: f64, b: f64, c: f64) -> Vec<f64> {
    if !(a.is_finite() && b.is_finite() && c.is_finite()) {
        return Vec::new();
    }
    if a == 0.0 {
        return if b == 0.0 { Vec::new() } else { vec![-c / b + 0.0] };
    }
    // Scaled to order 1 by powers of two: x = k t, so that no square overflows.
    let k = if c == 0.0 { 1.0 } else { libm::ldexp(1.0, (libm::ilogb(c) - libm::ilogb(a)) / 2) };
    let (a, b, c) = (a * k, b, c / k);
    let unit = libm::ldexp(1.0, -libm::ilogb(a.abs().max(b.abs()).max(c.abs())));
    let (a, b, c) = (a * unit, b * unit, c * unit);
    let discriminant = DoubleDouble::product(b, b) - DoubleDouble::product(4.0 * a, c);
    if discriminant.value() < 0.0 {
        return Vec::new();
    }
    if discriminant.value() == 0.0 {
        return vec![-b / (2.0 * a) * k + 0.0];
    }
    let root = discriminant.sqrt();
    let sum = if b < 0.0 { root - DoubleDouble::from(b) } else { -(root + DoubleDouble::from(b)) };
    let q = 0.5 * sum.value();
    let (x, y) = (q / a * k + 0.0, c / q * k + 0.0);
    if x <= y { vec![x, y] } else { vec![y, x] }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadratics_keep_their_digits() {
        assert_eq!(quadratic_roots(1.0, -3.0, 2.0), vec![1.0, 2.0]);
        assert_eq!(quadratic_roots(-1.0, 0.0, 4.0), vec![-2.0, 2.0]);
        assert_eq!(quadratic_roots(1.0, 2.0, 1.0), vec![-1.0]);
        assert_eq!(quadratic_roots(0.0, 2.0, -3.0), vec![1.5]);
        assert_eq!(quadratic_roots(2.0, 0.0, 0.0), vec![0.0]);
        assert_eq!(quadratic_roots(1.0, -2.0, 0.0), vec![0.0, 2.0]);
        assert!(quadratic_roots(0.0, 0.0, 1.0).is_empty() && quadratic_roots(f64::NAN, 1.0, 1.0).is_empty());
        // Kahan's example, where b² and 4ac agree to 15 digits; the plain formula finds 1 twice.
        let roots = quadratic_roots(94_906_265.625, -2.0 * 94_906_267.0, 94_906_268.375);
        assert_eq!(roots, vec![1.0, 1.000_000_028_975_958_3]);
        let tiny = quadratic_roots(1e-300, -3e-300, 2e-300); // three rounded coefficients
        assert!((tiny[0] - 1.0).abs() < 1e-15 && (tiny[1] - 2.0).abs() < 2e-15);
        let far = quadratic_roots(1e-200, -1.0, 1e200);
        assert!(far.is_empty() && quadratic_roots(1e200, 0.0, -4e200) == vec![-2.0, 2.0]);
        let wide = quadratic_roots(1e-160, -3.0, 2e160);
        assert!((wide[0] / 1e160 - 1.0).abs() < 1e-15 && (wide[1] / 2e160 - 1.0).abs() < 1e-15);
    }

    #[test]
    fn roots_in_a_bracket() {
        type Case = (fn(f64) -> f64, f64, f64, f64);
        let cases: [Case; 6] = [
            (|x| libm::cos(x) - x, 0.0, 1.0, 0.739_085_133_215_160_6),
            (|x| libm::exp(x) - 1e-9, -100.0, 100.0, -20.723_265_836_946_41),
            (|x| x.powi(9), -1.0, 3.0, 0.0),
            (|x| if x < 0.7 { -1.0 } else { 1e9 }, 0.0, 1.0, 0.7),
            (|x| 1e-200 * (x - 5e8), 1e9, 0.0, 5e8),
            (|x| x - 1.0, 1.0, 2.0, 1.0),
        ];
        for (i, (f, low, high, expected)) in cases.into_iter().enumerate() {
            let mut count = 0;
            let got = find_root(
                |x| {
                    count += 1;
                    f(x)
                },
                low,
                high,
                1e-15,
            )
            .expect("a bracket");
            assert!((got - expected).abs() <= 1e-15 + 1e-15 * expected.abs(), "case {i}: {got}");
            assert!(count < 200, "case {i}: {count} evaluations");
        }
        let e = find_root(|x| x * x + 1.0, -1.0, 1.0, 0.0).expect_err("no root").to_string();
        assert!(e.contains("no change of sign between -1"), "{e}");
        assert!(find_root(|_| f64::NAN, -1.0, 1.0, 0.0).is_err() && find_root(|x| x, -1.0, f64::NAN, 0.0).is_err());
    }
}
