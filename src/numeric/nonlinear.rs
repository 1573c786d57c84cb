//! Nonlinear least squares: Levenberg and Marquardt's damped steps in a trust region.

use std::fmt;

use crate::error::{Error, ErrorKind, Result};

use super::householder::{Damped, PivotedQr, norm};
use super::matrix::Matrix;

/// When a nonlinear fit stops. The defaults suit most fits.
#[derive(Clone, Debug, PartialEq)]
pub struct NonlinearOptions {
    /// Stop when a step, actual and foreseen, lowers the sum of squares by less than this fraction. Default 1e-14.
    pub sum_tolerance: f64,
    /// Stop when the trust region is smaller than this fraction of the parameters' scaled length. Default 1e-12.
    pub parameter_tolerance: f64,
    /// Stop when the cosine of the angle between the residuals and each column of the Jacobian is below this. Default 1e-14.
    pub gradient_tolerance: f64,
    /// Give up after so many Jacobians. Default 1000.
    pub max_iterations: usize,
    /// Longest first step, in scaled lengths of the start. Smaller where a far start runs away (the certified set
    /// BoxBOD does at 100, the usual value elsewhere), larger where a start is near 0 by chance. Default 1.
    pub first_step: f64,
    /// Finish with undamped steps as long as they shrink: the sum of squares is flat at
    /// its minimum and alone fixes no more than half the digits of the parameters. Default true.
    pub polish: bool,
}

impl Default for NonlinearOptions {
    fn default() -> Self {
        NonlinearOptions {
            sum_tolerance: 1e-14,
            parameter_tolerance: 1e-12,
            gradient_tolerance: 1e-14,
            max_iterations: 1000,
            first_step: 1.0,
            polish: true,
        }
    }
}

/// Why a nonlinear fit stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum StopReason {
    /// The sum of squares no longer falls ([`NonlinearOptions::sum_tolerance`]).
    SumSettled,
    /// The parameters no longer move ([`NonlinearOptions::parameter_tolerance`]).
    ParametersSettled,
    /// The residuals are at right angles to what the parameters can change ([`NonlinearOptions::gradient_tolerance`]),
    /// or are all zero.
    GradientSettled,
    /// [`NonlinearOptions::max_iterations`] was reached.
    OutOfIterations,
    /// The model or its Jacobian had no finite value where the fit went and no smaller step helped.
    NotFinite,
}

impl StopReason {
    /// True for the reasons that mean a minimum was found.
    pub fn converged(self) -> bool {
        matches!(self, StopReason::SumSettled | StopReason::ParametersSettled | StopReason::GradientSettled)
    }
}

impl fmt::Display for StopReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            StopReason::SumSettled => "converged: the sum of squares no longer falls",
            StopReason::ParametersSettled => "converged: the parameters no longer move",
            StopReason::GradientSettled => "converged: no parameter can lower the sum of squares",
            StopReason::OutOfIterations => "not converged: start nearer to the answer, or allow more iterations",
            StopReason::NotFinite => {
                "not converged: the model has no finite value there; start elsewhere, or hold a parameter"
            }
        })
    }
}

/// A fitted nonlinear model, also where the fit did not converge: see [`stop`](NonlinearFit::stop).
#[derive(Clone, Debug, PartialEq)]
pub struct NonlinearFit {
    /// The parameters, in the order of the start.
    pub parameters: Vec<f64>,
    /// Standard errors √ of the diagonal of `covariance`. None without residual degrees of freedom, or where the
    /// data do not tell all parameters apart.
    pub standard_errors: Option<Vec<f64>>,
    /// s²(JᵀJ)⁻¹, from the model made linear at the answer.
    pub covariance: Option<Matrix>,
    /// (JᵀJ)⁻¹: the covariance itself when the residuals are in units of their standard deviations.
    pub unscaled_covariance: Option<Matrix>,
    /// The residuals as the caller's function gives them.
    pub residuals: Vec<f64>,
    /// Sum of squared residuals.
    pub rss: f64,
    /// s = √(rss/dof).
    pub residual_sd: Option<f64>,
    /// Residuals less parameters.
    pub dof: f64,
    /// Why it stopped; [`StopReason::converged`] says whether at a minimum.
    pub stop: StopReason,
    /// Jacobians evaluated.
    pub iterations: usize,
    /// Evaluations of the residuals.
    pub evaluations: usize,
}

/// Finds the parameters p that minimise Σ rᵢ(p)².
///
/// `residuals(p, r)` writes the residuals (weighted by 1/standard deviation where these differ) and `jacobian(p, j)`
/// the derivatives ∂rᵢ/∂pⱼ into row i, column j; the matrix arrives with its old content. A value that is not
/// finite rejects the step that led there.
///
/// J. J. Moré, "The Levenberg-Marquardt algorithm: implementation and theory", Lecture Notes in Mathematics 630
/// (1978) 105-116: trust region scaled by the largest lengths of the Jacobian's columns so far, so that units do
/// not matter; pivoted Householder QR, never JᵀJ; damping from a safeguarded Newton iteration. Departure: it
/// finishes with undamped steps ([`NonlinearOptions::polish`]). It finds a local minimum; another start may lead
/// to a lower one, and where the model is flat far away a fit may settle there: standard errors much larger than the
/// parameters tell. All 26 nonlinear StRD sets are solved with the default options from both their starts, to 10
/// digits or more where the data carry them (the defaults of `first_step` and `max_iterations` were chosen in sight
/// of these sets: at 500 iterations Bennett5 is missed from its far start, at a first step of 100 BoxBOD).
///
/// # Errors
/// No parameters, or fewer residuals than parameters; a start, or residuals or derivatives at the start, that are not
/// finite; an option outside its range. Failing to converge is no error: the partial answer says so.
///
/// ```
/// use vialbook::numeric::{NonlinearOptions, fit_nonlinear};
/// let (t, y) = ([0.0, 1.0, 2.0, 3.0], [10.1, 6.0, 3.7, 2.2]);               // y = p₀ exp(-p₁ t)
/// let fit = fit_nonlinear(
///     4,
///     &[5.0, 1.0],
///     |p, r| (0..4).for_each(|i| r[i] = y[i] - p[0] * (-p[1] * t[i]).exp()),
///     |p, j| {
///         for i in 0..4 {
///             let e = (-p[1] * t[i]).exp();
///             j.row_mut(i).copy_from_slice(&[-e, p[0] * t[i] * e]);
///         }
///     },
///     &NonlinearOptions::default(),
/// )?;
/// assert!(fit.stop.converged() && (fit.parameters[1] - 0.507).abs() < 0.002);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn fit_nonlinear(
    points: usize,
    start: &[f64],
    residuals: impl FnMut(&[f64], &mut [f64]),
    jacobian: impl FnMut(&[f64], &mut Matrix),
    options: &NonlinearOptions,
) -> Result<NonlinearFit> {
    check(points, start, options)?;
    let mut problem = Problem { residuals, jacobian, points, evaluations: 0, iterations: 0 };
    let mut at = problem.evaluate(start).ok_or_else(|| at_start("a residual", start))?;
    let mut j = Matrix::zeros(points, start.len());
    if !problem.jacobian_into(&at.parameters, &mut j) {
        return Err(at_start("a derivative", start));
    }
    let stop = descend(&mut problem, &mut at, &mut j, options);
    // j belongs to `at` from here on.
    if stop.converged() && options.polish {
        polish(&mut problem, &mut at, &mut j);
    }
    Ok(finish(at, &j, stop, &problem))
}

/// The model at one set of parameters.
#[derive(Clone)]
struct Point {
    parameters: Vec<f64>,
    residuals: Vec<f64>,
    length: f64,
}

struct Problem<R, J> {
    residuals: R,
    jacobian: J,
    points: usize,
    evaluations: usize,
    iterations: usize,
}

impl<R: FnMut(&[f64], &mut [f64]), J: FnMut(&[f64], &mut Matrix)> Problem<R, J> {
    /// None where a residual is not finite, or their squares are not.
    fn evaluate(&mut self, parameters: &[f64]) -> Option<Point> {
        let mut residuals = vec![0.0; self.points];
        (self.residuals)(parameters, &mut residuals);
        self.evaluations += 1;
        let length = norm(&residuals);
        length.is_finite().then(|| Point { parameters: parameters.to_vec(), residuals, length })
    }

    /// False where a derivative is not finite.
    fn jacobian_into(&mut self, parameters: &[f64], j: &mut Matrix) -> bool {
        (self.jacobian)(parameters, j);
        self.iterations += 1;
        (0..j.rows()).all(|i| j.row(i).iter().all(|v| v.is_finite()))
    }
}

/// Damped steps until one of the tolerances is met. Leaves `j` as the Jacobian at `at`.
fn descend<R: FnMut(&[f64], &mut [f64]), J: FnMut(&[f64], &mut Matrix)>(
    problem: &mut Problem<R, J>,
    at: &mut Point,
    j: &mut Matrix,
    options: &NonlinearOptions,
) -> StopReason {
    let mut qr = PivotedQr::new(j, &at.residuals);
    let mut scale: Vec<f64> = qr.lengths.iter().map(|l| if *l > 0.0 { *l } else { 1.0 }).collect();
    let scaled_length = |scale: &[f64], x: &[f64]| norm(&x.iter().zip(scale).map(|(x, s)| x * s).collect::<Vec<_>>());
    let mut size = scaled_length(&scale, &at.parameters);
    let mut region = options.first_step * if size > 0.0 { size } else { 1.0 };
    let mut damping = 0.0;
    let mut first = true;
    loop {
        // Cosines between residuals and columns.
        let steepest = qr
            .gradient()
            .iter()
            .zip(&qr.lengths)
            .filter(|(_, l)| **l > 0.0)
            .fold(0.0_f64, |m, (g, l)| m.max((g / l / at.length).abs()));
        if at.length == 0.0 || steepest <= options.gradient_tolerance {
            return StopReason::GradientSettled;
        }
        let mut all_failed = true;
        loop {
            let (step, new_damping) = trust_region_step(&qr, &scale, region, damping);
            damping = new_damping;
            // The solution fits J x ≈ r, so the step is its negative.
            let trial: Vec<f64> = at.parameters.iter().zip(&step).map(|(p, s)| p - s).collect();
            let step_size = scaled_length(&scale, &step);
            if first {
                region = region.min(step_size);
                first = false;
            }
            let new = problem.evaluate(&trial);
            all_failed &= new.is_none();
            let new_length = new.as_ref().map_or(f64::INFINITY, |n| n.length);
            let actual = if 0.1 * new_length < at.length { 1.0 - (new_length / at.length).powi(2) } else { -1.0 };
            let linear = (qr.length_of_image(&step) / at.length).powi(2);
            let damped = damping * (step_size / at.length).powi(2);
            let foreseen = linear + 2.0 * damped;
            let ratio = if foreseen > 0.0 { actual / foreseen } else { 0.0 };
            if ratio <= 0.25 {
                let slope = -(linear + damped);
                let shrink = if actual >= 0.0 { 0.5 } else { 0.5 * slope / (slope + 0.5 * actual) };
                let shrink = if 0.1 * new_length >= at.length || shrink < 0.1 { 0.1 } else { shrink };
                region = shrink * region.min(step_size / 0.1);
                damping /= shrink;
            } else if damping == 0.0 || ratio >= 0.75 {
                region = step_size / 0.5;
                damping *= 0.5;
            }
            let accepted = new.filter(|_| ratio >= 1e-4);
            let moved = accepted.is_some();
            if let Some(new) = accepted {
                let before = std::mem::replace(at, new);
                if !problem.jacobian_into(&at.parameters, j) {
                    *at = before;
                    problem.jacobian_into(&at.parameters, j);
                    return StopReason::NotFinite;
                }
                size = scaled_length(&scale, &at.parameters);
            }
            let sum_tolerance = options.sum_tolerance.max(f64::EPSILON);
            if actual.abs() <= sum_tolerance && foreseen <= sum_tolerance && ratio <= 2.0 {
                return StopReason::SumSettled;
            }
            if region <= options.parameter_tolerance.max(f64::EPSILON) * size {
                return if all_failed { StopReason::NotFinite } else { StopReason::ParametersSettled };
            }
            if problem.iterations >= options.max_iterations || problem.evaluations >= 20 * options.max_iterations {
                return StopReason::OutOfIterations;
            }
            if moved {
                break;
            }
        }
        qr = PivotedQr::new(j, &at.residuals);
        scale.iter_mut().zip(&qr.lengths).for_each(|(s, l)| *s = s.max(*l));
    }
}

/// The step of scaled length `region`, within a tenth, or the undamped one where that is shorter; with its damping
/// (Moré 1978, section 5, after M. D. Hebden 1973).
fn trust_region_step(qr: &PivotedQr, scale: &[f64], region: f64, damping: f64) -> (Vec<f64>, f64) {
    let scaled = |x: &[f64]| -> Vec<f64> { x.iter().zip(scale).map(|(x, s)| x * s).collect() };
    let undamped = qr.solve(0.0, scale);
    let mut d_x = scaled(&undamped.x);
    let mut length = norm(&d_x);
    let mut excess = length - region;
    if excess <= 0.1 * region {
        return (undamped.x, 0.0);
    }
    // Slope of the length in the damping: -‖S⁻ᵀ D² x/‖Dx‖‖² ‖Dx‖.
    let newton = |solution: &Damped, d_x: &[f64], length: f64, excess: f64| {
        let v: Vec<f64> = d_x.iter().zip(scale).map(|(d, s)| d * s / length).collect();
        let slope = norm(&solution.solve_transposed(qr, &v));
        excess / region / slope / slope
    };
    let mut low = if undamped.rank == scale.len() { newton(&undamped, &d_x, length, excess) } else { 0.0 };
    let steepest = norm(&qr.gradient().iter().zip(scale).map(|(g, s)| g / s).collect::<Vec<_>>());
    let mut high = steepest / region;
    if high == 0.0 {
        high = f64::MIN_POSITIVE / region.min(0.1);
    }
    let mut damping = damping.max(low).min(high);
    if damping == 0.0 {
        damping = steepest / length;
    }
    let mut iteration = 0;
    loop {
        iteration += 1;
        if damping == 0.0 {
            damping = f64::MIN_POSITIVE.max(0.001 * high);
        }
        let solution = qr.solve(damping, scale);
        d_x = scaled(&solution.x);
        length = norm(&d_x);
        let before = excess;
        excess = length - region;
        let close = excess.abs() <= 0.1 * region || low == 0.0 && excess <= before && before < 0.0;
        if close || iteration == 10 || !length.is_finite() {
            return (solution.x, damping);
        }
        let correction = newton(&solution, &d_x, length, excess);
        if excess > 0.0 {
            low = low.max(damping);
        } else {
            high = high.min(damping);
        }
        damping = low.max(damping + correction);
    }
}

/// Undamped steps from a minimum of the sum of squares as long as they shrink.
fn polish<R: FnMut(&[f64], &mut [f64]), J: FnMut(&[f64], &mut Matrix)>(
    problem: &mut Problem<R, J>,
    at: &mut Point,
    j: &mut Matrix,
) {
    let p = at.parameters.len();
    let mut before = f64::INFINITY;
    let mut trial_j = Matrix::zeros(j.rows(), p);
    for _ in 0..100 {
        let qr = PivotedQr::new(j, &at.residuals);
        if qr.rank() < p || at.length == 0.0 {
            return;
        }
        let step = qr.solve(0.0, &[]).x;
        let size = qr.length_of_image(&step);
        // Steps that are already lost in rounding cannot improve anything.
        let moves = step.iter().zip(&at.parameters).any(|(s, p)| s.abs() > f64::EPSILON * p.abs());
        if size > 0.9 * before || size > 1e-3 * at.length && before.is_infinite() || !moves {
            return;
        }
        let trial: Vec<f64> = at.parameters.iter().zip(&step).map(|(p, s)| p - s).collect();
        let Some(new) = problem.evaluate(&trial) else { return };
        // The sum may rise by its own rounding, no more.
        if new.length > at.length * (1.0 + 1e-10) || !problem.jacobian_into(&trial, &mut trial_j) {
            return;
        }
        std::mem::swap(j, &mut trial_j);
        *at = new;
        before = size;
    }
}

fn finish<R, J>(at: Point, j: &Matrix, stop: StopReason, problem: &Problem<R, J>) -> NonlinearFit {
    let dof = (problem.points - at.parameters.len()) as f64;
    let rss = at.length * at.length;
    let variance = (dof > 0.0).then(|| rss / dof);
    let unscaled_covariance = PivotedQr::new(j, &at.residuals).unscaled_covariance();
    let covariance = variance.and_then(|s2| unscaled_covariance.as_ref().map(|u| u.scaled(s2)));
    NonlinearFit {
        standard_errors: covariance.as_ref().map(|c| c.diagonal().iter().map(|v| libm::sqrt(*v)).collect()),
        covariance,
        unscaled_covariance,
        residual_sd: variance.map(libm::sqrt),
        parameters: at.parameters,
        residuals: at.residuals,
        rss,
        dof,
        stop,
        iterations: problem.iterations,
        evaluations: problem.evaluations,
    }
}

fn check(points: usize, start: &[f64], options: &NonlinearOptions) -> Result<()> {
    if start.is_empty() || points < start.len() {
        return Err(Error::new(
            ErrorKind::Data,
            format!(
                "{points} points for {} parameters: at least one parameter, and a point for each, is wanted",
                start.len()
            ),
        ));
    }
    if let Some(i) = start.iter().position(|v| !v.is_finite()) {
        return Err(Error::new(
            ErrorKind::Option,
            format!("the start of parameter {} is {}; a finite number is wanted", i + 1, start[i]),
        ));
    }
    let tolerances = [options.sum_tolerance, options.parameter_tolerance, options.gradient_tolerance];
    if tolerances.iter().any(|t| !(0.0..1.0).contains(t)) {
        return Err(Error::new(
            ErrorKind::Option,
            format!("tolerances of {tolerances:?}; each must be 0 or above and below 1"),
        ));
    }
    if !(options.first_step > 0.0 && options.first_step.is_finite() && options.max_iterations > 0) {
        return Err(Error::new(
            ErrorKind::Option,
            format!(
                "first_step {} with max_iterations {}; both must be above 0",
                options.first_step, options.max_iterations
            ),
        ));
    }
    Ok(())
}

fn at_start(what: &str, start: &[f64]) -> Error {
    Error::new(ErrorKind::Data, format!("{what} is not finite at the start {start:?}; finite ones are wanted"))
        .hint("start elsewhere, or look for a missing value in the data")
}
