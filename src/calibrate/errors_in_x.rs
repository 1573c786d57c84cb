//! A straight line through points whose contents are uncertain too, with the full covariance of both sides.

use super::solve::dot;
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{Matrix, chi_squared_sf};

/// A straight line y = a + b·x fitted to points with errors in both.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorsInX {
    /// a.
    pub intercept: f64,
    /// b.
    pub slope: f64,
    /// Covariance of a and b from the stated covariances of x and y alone, whatever the scatter seen.
    pub covariance: [[f64; 2]; 2],
    /// Weighted sum of squares left.
    pub chi_squared: f64,
    /// n - 2.
    pub dof: f64,
    /// Chance of so large a sum: near 0 the stated uncertainties do not explain the scatter; near 1 they are too large.
    pub p_value: f64,
    /// Contents that the fit takes for the true ones.
    pub adjusted_x: Vec<f64>,
    /// y - a - b·x.
    pub residuals: Vec<f64>,
}

impl ErrorsInX {
    /// Standard uncertainty of the intercept.
    pub fn intercept_u(&self) -> f64 {
        libm::sqrt(self.covariance[0][0])
    }

    /// Standard uncertainty of the slope.
    pub fn slope_u(&self) -> f64 {
        libm::sqrt(self.covariance[1][1])
    }
}

/// Generalised least squares for a line with errors in x and y.
///
/// `covariance_x` and `covariance_y` are the n × n covariances of the contents and of the responses, independent of
/// each other. Minimised is rᵀV⁻¹r, r = y - a - b·x, V = U_y + b²·U_x, which is the sum of squared distances of all x and y
/// to their true values with these left free (ISO/TS 28037:2010, clauses 7 and 9); where both covariances are
/// diagonal it is the line of D. York, N. M. Evensen, M. L. Martínez and J. De Basabe Delgado, Am. J. Phys. 72 (2004)
/// 367-375, standard errors included. Solved by repeating the step with x adjusted, x̂ = x + b·U_x·V⁻¹r, about weighted
/// means.
///
/// What one stock does to all contents alike is b·δ for all of them: no fit can see it, and U_x must hold it, or it
/// must be added to the slope afterwards; in either way u(b)/b is at least that of the stock, however many levels there
/// are.
///
/// # Errors
/// Fewer than 3 points, covariances of another size, not symmetric or not positive definite together, x that do not
/// differ, a search that does not settle.
///
/// ```
/// use vialbook::{calibrate::fit_errors_in_x, numeric::Matrix};
/// // K. Pearson's data with D. York's weights: intercept 5.47991, slope -0.480533.
/// let x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4];
/// let y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5];
/// let wx = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0];
/// let wy = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0];
/// let of = |w: &[f64]| Matrix::from_fn(10, 10, |i, j| if i == j { 1.0 / w[i] } else { 0.0 });
/// let line = fit_errors_in_x(&x, &y, &of(&wx), &of(&wy))?;
/// assert!((line.intercept - 5.47991).abs() < 5e-6 && (line.slope + 0.480533).abs() < 5e-7);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn fit_errors_in_x(x: &[f64], y: &[f64], covariance_x: &Matrix, covariance_y: &Matrix) -> Result<ErrorsInX> {
    check(x, y, covariance_x, covariance_y)?;
    let n = x.len();
    let mut slope = start(x, y)?;
    for _ in 0..500 {
        let v = Matrix::from_fn(n, n, |i, j| covariance_y.row(i)[j] + slope * slope * covariance_x.row(i)[j]);
        let lower = cholesky(&v)?;
        let ones = solve(&lower, &vec![1.0; n]);
        let total: f64 = ones.iter().sum();
        let mean = |z: &[f64]| dot(&ones, z) / total;
        let (mx, my) = (mean(x), mean(y));
        let (dx, dy): (Vec<f64>, Vec<f64>) = x.iter().zip(y).map(|(x, y)| (x - mx, y - my)).unzip();
        // The intercept at this slope makes the residuals' weighted mean 0.
        let left: Vec<f64> = dx.iter().zip(&dy).map(|(x, y)| y - slope * x).collect();
        let pull = solve(&lower, &left);
        let adjusted: Vec<f64> = (0..n).map(|i| dx[i] + slope * dot(covariance_x.row(i), &pull)).collect();
        let ma = mean(&adjusted);
        let centred: Vec<f64> = adjusted.iter().map(|a| a - ma).collect();
        let weighted = solve(&lower, &centred);
        let next = dot(&weighted, &dy) / dot(&weighted, &dx);
        if !next.is_finite() {
            return Err(Error::new(ErrorKind::Data, "errors in x: the line has no slope"));
        }
        let moved = (next - slope).abs();
        slope = next;
        if moved <= 1e-15 * slope.abs() {
            let intercept = my - slope * mx;
            let var_b = 1.0 / dot(&weighted, &centred);
            // The intercept stands at x = 0; the adjusted contents' mean is at mx + ma.
            let at = mx + ma;
            let covariance = [[1.0 / total + at * at * var_b, -at * var_b], [-at * var_b, var_b]];
            let chi_squared = dot(&left, &pull);
            let dof = n as f64 - 2.0;
            return Ok(ErrorsInX {
                intercept,
                slope,
                covariance,
                chi_squared,
                dof,
                p_value: chi_squared_sf(chi_squared, dof),
                adjusted_x: adjusted.iter().map(|a| a + mx).collect(),
                residuals: x.iter().zip(y).map(|(x, y)| y - intercept - slope * x).collect(),
            });
        }
    }
    Err(Error::new(ErrorKind::Data, "errors in x: no line settles within 500 steps")
        .hint("look whether the stated uncertainties of the contents are as large as the contents themselves"))
}

/// Slope of the plain line.
fn start(x: &[f64], y: &[f64]) -> Result<f64> {
    let fit = crate::numeric::fit_polynomial(x, y, 1, true, None)?;
    Ok(fit.coefficients[1])
}

fn check(x: &[f64], y: &[f64], ux: &Matrix, uy: &Matrix) -> Result<()> {
    let n = x.len();
    let bad = |what: String| Err(Error::new(ErrorKind::Data, format!("errors in x: {what}")));
    if n < 3 || y.len() != n || x.iter().chain(y).any(|v| !v.is_finite()) {
        return bad(format!("{n} contents and {} responses; 3 or more pairs of finite numbers are wanted", y.len()));
    }
    for (name, u) in [("x", ux), ("y", uy)] {
        if u.rows() != n || u.columns() != n {
            return bad(format!("a covariance of {name} of {} × {}; {n} × {n} is wanted", u.rows(), u.columns()));
        }
        for i in 0..n {
            for j in 0..=i {
                let (a, b) = (u.row(i)[j], u.row(j)[i]);
                let symmetric = (a - b).abs() <= 1e-12 * a.abs().max(b.abs());
                if !(a.is_finite() && symmetric && (i != j || a >= 0.0)) {
                    return bad(format!("the covariance of {name} holds {a} and {b} at ({}, {})", i + 1, j + 1));
                }
            }
        }
    }
    Ok(())
}

/// L with LLᵀ = V.
fn cholesky(v: &Matrix) -> Result<Matrix> {
    let n = v.rows();
    let mut l = Matrix::zeros(n, n);
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| l.row(i)[k] * l.row(j)[k]).sum();
            let rest = v.row(i)[j] - sum;
            l.row_mut(i)[j] = if i != j {
                rest / l.row(j)[j]
            } else if rest > 1e-14 * v.row(i)[i] {
                libm::sqrt(rest)
            } else {
                return Err(Error::new(
                    ErrorKind::Data,
                    format!("errors in x: point {} has no uncertainty of its own, in x or in y", i + 1),
                )
                .hint("give every response its uncertainty from the trace, or every flask one of its own"));
            };
        }
    }
    Ok(l)
}

/// V⁻¹z by L.
fn solve(l: &Matrix, z: &[f64]) -> Vec<f64> {
    let n = z.len();
    let mut out = z.to_vec();
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| l.row(i)[k] * out[k]).sum();
        out[i] = (out[i] - sum) / l.row(i)[i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| l.row(k)[i] * out[k]).sum();
        out[i] = (out[i] - sum) / l.row(i)[i];
    }
    out
}
