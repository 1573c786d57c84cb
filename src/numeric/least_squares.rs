//! Weighted linear least squares by Householder reflections, with every digit the data allow.

use crate::error::{Error, ErrorKind, Result};

use super::double_double::DoubleDouble;
use super::matrix::Matrix;

/// A fitted linear model y = X·β + error, with what is needed to judge it.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearFit {
    /// β, one per column of the design.
    pub coefficients: Vec<f64>,
    /// Standard errors of β, √ of the diagonal of `covariance`. None without residual degrees of freedom.
    pub standard_errors: Option<Vec<f64>>,
    /// s²(XᵀWX)⁻¹. None without residual degrees of freedom.
    pub covariance: Option<Matrix>,
    /// (XᵀWX)⁻¹: the covariance itself when the weights are 1/variance.
    pub unscaled_covariance: Matrix,
    /// y - X·β, in the order of y, unweighted; also for points of weight 0.
    pub residuals: Vec<f64>,
    /// Σ w·residual².
    pub weighted_rss: f64,
    /// s = √(weighted_rss/dof), the residual standard deviation of a point of weight 1. None without residual degrees of freedom.
    pub residual_sd: Option<f64>,
    /// Points of weight above 0, less the number of coefficients.
    pub dof: f64,
    /// Diagonal of the hat matrix, w·xᵀ(XᵀWX)⁻¹x: between 0 and 1, sums to the number of coefficients.
    pub leverage: Vec<f64>,
    /// 1 - weighted_rss/Σw(y - ȳ)², about the weighted mean if a column of the design is constant, otherwise
    /// about zero. None where y does not vary. It says little about a calibration: see the residuals.
    pub r_squared: Option<f64>,
}

impl LinearFit {
    /// The fitted value x·β at a row of the design.
    ///
    /// # Panics
    /// If the row is not as long as the coefficients.
    pub fn value_at(&self, row: &[f64]) -> f64 {
        assert_eq!(row.len(), self.coefficients.len(), "a row as long as the coefficients");
        row.iter().zip(&self.coefficients).map(|(x, b)| x * b).sum()
    }

    /// xᵀ(XᵀWX)⁻¹x: the variance of the fitted value at a row of the design, in units of s².
    ///
    /// # Panics
    /// If the row is not as long as the coefficients.
    pub fn unscaled_variance_at(&self, row: &[f64]) -> f64 {
        self.unscaled_covariance.quadratic_form(row)
    }
}

/// Fits y = X·β by least squares: minimises Σ w (y - X·β)².
///
/// `design` is X, one row per point; `weights` are proportional to 1/variance (all 1 if None); a point of weight 0
/// takes no part but gets its residual.
///
/// Householder's QR factorisation (Å. Björck, "Numerical Methods for Least Squares Problems", SIAM 1996, sections
/// 2.3 and 2.5), never the normal equations. Departure from the text: the whole factorisation runs in
/// [`DoubleDouble`], which leaves nothing for iterative refinement to improve and gives the standard errors the
/// same digits as the coefficients: 15 less what rounding of the data themselves costs, for condition
/// numbers up to 10¹⁵. Cost about 50 ns × points × columns².
///
/// # Errors
/// Lengths that differ; fewer points than coefficients; a value that is not finite; a negative weight; a column
/// that is a combination of those before it to within rounding (2⁻⁵² of its length).
///
/// ```
/// use vialbook::numeric::{Matrix, fit_linear};
/// let design = Matrix::from_rows(&[[1.0, 0.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0]])?;
/// let fit = fit_linear(&design, &[1.0, 2.9, 5.1, 7.0], None)?;
/// assert!((fit.coefficients[1] - 2.02).abs() < 1e-14);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn fit_linear(design: &Matrix, y: &[f64], weights: Option<&[f64]>) -> Result<LinearFit> {
    check_lengths(design.rows(), y, weights)?;
    for i in 0..design.rows() {
        if let Some(j) = design.row(i).iter().position(|v| !v.is_finite()) {
            return Err(not_finite(&format!("the design, column {}", j + 1), i, design[(i, j)]));
        }
    }
    let columns =
        (0..design.columns()).map(|j| design.column(j).into_iter().map(DoubleDouble::from).collect()).collect();
    fit(columns, y, weights, f64::EPSILON)
}

/// Fits a polynomial y = b₀ + b₁x + ... + b_d xᵈ, or one through the origin that starts at b₁x.
///
/// As [`fit_linear`], with the powers of x in double-double, so that their rounding costs no digits. The
/// coefficients are in rising powers.
///
/// # Errors
/// As [`fit_linear`]; too few different x for the degree ("all x are equal").
///
/// ```
/// use vialbook::numeric::fit_polynomial;
/// let fit = fit_polynomial(&[0.0, 1.0, 2.0, 3.0], &[0.1, 1.0, 4.1, 9.0], 2, true, None)?;
/// assert_eq!((fit.coefficients.len(), fit.dof), (3, 1.0));
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn fit_polynomial(
    x: &[f64],
    y: &[f64],
    degree: usize,
    with_intercept: bool,
    weights: Option<&[f64]>,
) -> Result<LinearFit> {
    check_lengths(x.len(), y, weights)?;
    if let Some(i) = x.iter().position(|v| !v.is_finite()) {
        return Err(not_finite("x", i, x[i]));
    }
    let parameters = degree + usize::from(with_intercept);
    let used = |i: &usize| weights.is_none_or(|w| w[*i] > 0.0);
    let mut different: Vec<f64> = (0..x.len()).filter(used).map(|i| x[i] + 0.0).collect();
    let points = different.len();
    different.sort_by(f64::total_cmp);
    different.dedup();
    if !with_intercept {
        different.retain(|v| *v != 0.0); // x = 0 says nothing about a curve through the origin
    }
    if points >= parameters && different.len() < parameters {
        let what = match different.len() {
            0 => "all x are 0".to_owned(),
            1 => format!("all x are equal ({})", different[0]),
            n => format!("there are only {n} different x"),
        };
        return Err(Error::new(
            ErrorKind::Data,
            format!("{what}; a polynomial of {parameters} coefficients needs {parameters} different x"),
        )
        .hint("measure at more levels, or fit a lower degree"));
    }
    let first = usize::from(!with_intercept);
    let mut power: Vec<DoubleDouble> = vec![DoubleDouble::ONE; x.len()];
    let mut columns = Vec::with_capacity(parameters);
    for d in 0..=degree {
        if d > 0 {
            power.iter_mut().zip(x).for_each(|(p, x)| *p = *p * DoubleDouble::from(*x));
        }
        if d >= first {
            columns.push(power.clone());
        }
    }
    // The powers are true to 2⁻¹⁰⁰ or so: only exact dependence is refused here.
    fit(columns, y, weights, 1e-27)
}

fn check_lengths(rows: usize, y: &[f64], weights: Option<&[f64]>) -> Result<()> {
    let wrong = |what: &str, n: usize| {
        Error::new(ErrorKind::Option, format!("{rows} points, but {n} {what}: one for each point is wanted"))
    };
    if y.len() != rows {
        return Err(wrong("values of y", y.len()));
    }
    if let Some(i) = y.iter().position(|v| !v.is_finite()) {
        return Err(not_finite("y", i, y[i]));
    }
    if let Some(weights) = weights {
        if weights.len() != rows {
            return Err(wrong("weights", weights.len()));
        }
        if let Some(i) = weights.iter().position(|w| !(w.is_finite() && *w >= 0.0)) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("the weight of point {} is {}; a weight is a finite number, 0 or above", i + 1, weights[i]),
            ));
        }
    }
    Ok(())
}

fn not_finite(what: &str, i: usize, value: f64) -> Error {
    Error::new(ErrorKind::Data, format!("point {} of {what} is {value}; a finite number is wanted", i + 1))
        .hint("leave the point out, or correct it")
}

/// Columns, right-hand side and reflections of one factorisation.
fn fit(columns: Vec<Vec<DoubleDouble>>, y: &[f64], weights: Option<&[f64]>, smallest_part: f64) -> Result<LinearFit> {
    let (n, p) = (y.len(), columns.len());
    let used: Vec<usize> = (0..n).filter(|i| weights.is_none_or(|w| w[*i] > 0.0)).collect();
    if p == 0 {
        return Err(Error::new(ErrorKind::Option, "a fit without coefficients; at least one is wanted"));
    }
    if used.len() < p {
        let weighted = if used.len() < n { " of weight above 0" } else { "" };
        return Err(Error::new(
            ErrorKind::Data,
            format!("{} points{weighted} for {p} coefficients: at least {p} points are wanted", used.len()),
        ));
    }
    let weight = |i: usize| weights.map_or(1.0, |w| w[i]);
    let root: Vec<DoubleDouble> = used.iter().map(|&i| DoubleDouble::from(weight(i)).sqrt()).collect();

    // Powers of two keep the squares of columns within range; they change no digit.
    let scale = |largest: f64| if largest > 0.0 { libm::ldexp(1.0, -libm::ilogb(largest)) } else { 1.0 };
    let mut scales = Vec::with_capacity(p);
    let mut a: Vec<Vec<DoubleDouble>> = Vec::with_capacity(p);
    for column in &columns {
        let weighted: Vec<DoubleDouble> = used.iter().zip(&root).map(|(&i, r)| column[i] * *r).collect();
        let s = scale(weighted.iter().fold(0.0, |m, v| v.value().abs().max(m)));
        a.push(weighted.into_iter().map(|v| v.scaled(s)).collect());
        scales.push(s);
    }
    let mut rhs: Vec<DoubleDouble> = used.iter().zip(&root).map(|(&i, r)| DoubleDouble::from(y[i]) * *r).collect();
    let rhs_scale = scale(rhs.iter().fold(0.0, |m, v| v.value().abs().max(m)));
    rhs.iter_mut().for_each(|v| *v = v.scaled(rhs_scale));
    let original = a.clone();

    let r = factorise(&mut a, &mut rhs, smallest_part)?;
    let solution = back_substitute(&r, &rhs[..p]);
    let inverse = inverse_of_upper(&r);
    let beta: Vec<DoubleDouble> = solution.iter().zip(&scales).map(|(b, s)| b.scaled(s / rhs_scale)).collect();
    let unscaled_covariance = Matrix::from_fn(p, p, |i, j| {
        let sum: DoubleDouble = (i.max(j)..p).map(|k| inverse[k][i] * inverse[k][j]).sum();
        sum.value() * scales[i] * scales[j]
    });

    let exact_residuals: Vec<DoubleDouble> = (0..n)
        .map(|i| columns.iter().zip(&beta).fold(DoubleDouble::from(y[i]), |rest, (column, b)| rest - column[i] * *b))
        .collect();
    let weighted_square = |i: usize, v: DoubleDouble| v * v * DoubleDouble::from(weight(i));
    let rss: DoubleDouble = used.iter().map(|&i| weighted_square(i, exact_residuals[i])).sum();
    let mut leverage = vec![0.0; n];
    for (k, &i) in used.iter().enumerate() {
        // Row k of Q = A R⁻¹.
        let h: DoubleDouble = (0..p)
            .map(|j| {
                let q: DoubleDouble = (0..=j).map(|l| original[l][k] * inverse[j][l]).sum();
                q * q
            })
            .sum();
        leverage[i] = h.value().clamp(0.0, 1.0);
    }

    let constant = columns.iter().any(|c| c[used[0]] != DoubleDouble::ZERO && used.iter().all(|&i| c[i] == c[used[0]]));
    let centre = if constant {
        let total: DoubleDouble = used.iter().map(|&i| DoubleDouble::from(weight(i))).sum();
        used.iter().map(|&i| DoubleDouble::product(weight(i), y[i])).sum::<DoubleDouble>() / total
    } else {
        DoubleDouble::ZERO
    };
    let total: DoubleDouble = used.iter().map(|&i| weighted_square(i, DoubleDouble::from(y[i]) - centre)).sum();
    let varies = used.iter().any(|&i| y[i] != if constant { y[used[0]] } else { 0.0 });
    let dof = (used.len() - p) as f64;
    let variance = (dof > 0.0).then(|| rss / DoubleDouble::from(dof));
    let covariance = variance.map(|s2| unscaled_covariance.scaled(s2.value()));
    let fit = LinearFit {
        coefficients: beta.iter().map(|b| b.value()).collect(),
        standard_errors: variance
            .map(|s2| unscaled_covariance.diagonal().iter().map(|u| libm::sqrt(s2.value()) * libm::sqrt(*u)).collect()),
        covariance,
        unscaled_covariance,
        residuals: exact_residuals.iter().map(|r| r.value()).collect(),
        weighted_rss: rss.value(),
        residual_sd: variance.map(|s2| s2.sqrt().value()),
        dof,
        leverage,
        r_squared: varies.then(|| (DoubleDouble::ONE - rss / total).value()),
    };
    let finite = fit.coefficients.iter().chain(&fit.residuals).chain([&fit.weighted_rss]).all(|v| v.is_finite());
    if !finite || fit.r_squared.is_some_and(|r| !r.is_finite()) {
        return Err(Error::new(
            ErrorKind::Data,
            "the numbers of this fit are too large or too small to be squared; values between 1e-100 and 1e100 are wanted",
        )
        .hint("express the data in another unit"));
    }
    Ok(fit)
}

/// Householder reflections on the columns of `a` and on `rhs`; gives R by columns (R[j][i], i ≤ j).
fn factorise(
    a: &mut [Vec<DoubleDouble>],
    rhs: &mut [DoubleDouble],
    smallest_part: f64,
) -> Result<Vec<Vec<DoubleDouble>>> {
    let p = a.len();
    let dot = |u: &[DoubleDouble], v: &[DoubleDouble]| u.iter().zip(v).map(|(a, b)| *a * *b).sum::<DoubleDouble>();
    let lengths: Vec<f64> = a.iter().map(|c| dot(c, c).sqrt().value()).collect();
    let mut r: Vec<Vec<DoubleDouble>> = Vec::with_capacity(p);
    for k in 0..p {
        let (done, rest) = a.split_at_mut(k + 1);
        let column = &mut done[k];
        let length = dot(&column[k..], &column[k..]).sqrt();
        if length.value() <= smallest_part * lengths[k] {
            let what = if lengths[k] == 0.0 {
                format!("column {} of the design is zero", k + 1)
            } else {
                format!("column {} of the design is a combination of the columns before it", k + 1)
            };
            return Err(Error::new(ErrorKind::Data, format!("{what}; its coefficient cannot be told apart"))
                .hint("leave the column out, or measure where the columns differ"));
        }
        // v = x + sign(x₀)‖x‖e₀; R[k][k] = -sign(x₀)‖x‖.
        let diagonal = if column[k].value() < 0.0 { length } else { -length };
        column[k] -= diagonal;
        let v = &column[k..];
        let half_square = -(diagonal * v[0]); // ½ vᵀv
        for other in rest.iter_mut().map(|c| &mut c[k..]).chain([&mut rhs[k..]]) {
            let factor = dot(v, other) / half_square;
            other.iter_mut().zip(v).for_each(|(o, v)| *o -= factor * *v);
        }
        let mut r_column: Vec<DoubleDouble> = column[..k].to_vec();
        r_column.push(diagonal);
        r.push(r_column);
    }
    Ok(r)
}

/// R x = b.
fn back_substitute(r: &[Vec<DoubleDouble>], b: &[DoubleDouble]) -> Vec<DoubleDouble> {
    let mut x = b.to_vec();
    for j in (0..r.len()).rev() {
        x[j] = x[j] / r[j][j];
        let xj = x[j];
        for (xi, rij) in x[..j].iter_mut().zip(&r[j]) {
            *xi -= *rij * xj;
        }
    }
    x
}

/// R⁻¹ by columns (column j has j + 1 elements).
fn inverse_of_upper(r: &[Vec<DoubleDouble>]) -> Vec<Vec<DoubleDouble>> {
    (0..r.len())
        .map(|j| {
            let mut unit = vec![DoubleDouble::ZERO; j + 1];
            unit[j] = DoubleDouble::ONE;
            back_substitute(&r[..=j], &unit)
        })
        .collect()
}
