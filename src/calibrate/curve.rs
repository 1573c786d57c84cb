//! The calibration curve: from flasks to a line with everything needed to judge it.

use std::fmt;

use super::doubts::check_input;
use super::flasks::{CalibrationOptions, Flask, FlaskTypeB, GroupSource, Model, SharedSource, Weighting};
use super::function::{Covariance, Function, quadratic_form};
use super::lack_of_fit::LackOfFit;
use super::notes::CurveNote;
use super::solve::{Fitted, Form, weighted_fit};
use super::variance::{Scatter, Shape, Standards};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::student_t_quantile;

/// A coefficient with its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficient {
    /// "intercept", "slope" and "curvature" of a line or quadratic; "factor" and "exponent" of a power law;
    /// "logarithm of the factor" and "exponent" of a line of logarithms.
    pub name: &'static str,
    /// Its value.
    pub value: f64,
    /// Its standard error; `None` without residual degrees of freedom.
    pub standard_error: Option<f64>,
}

/// A flask as the curve sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationPoint {
    /// The flask as it was given.
    pub flask: Flask,
    /// Response that the curve gives at its content.
    pub fitted: f64,
    /// Response minus curve.
    pub residual: f64,
    /// Residual over its own standard deviation, r/√(v(1 - h)); `None` where left out, or without scatter.
    pub standardised_residual: Option<f64>,
    /// Leverage h; `None` where left out.
    pub leverage: Option<f64>,
    /// Cook's distance, t²·h/((1 - h)·p) with t the standardised residual (R. D. Cook, Technometrics 19 (1977)
    /// 15-18): how far the curve moves without the flask. To be looked at, no alarm: values above common thresholds
    /// occur in a third of good calibrations.
    pub cooks_distance: Option<f64>,
    /// Weight used, 1/v or as stated, up to a common factor; `None` where left out.
    pub weight: Option<f64>,
    /// Content calculated back from the response; `None` where the curve does not reach the response.
    pub back_calculated: Option<f64>,
    /// Its deviation from the stated content in %; `None` at content 0.
    pub deviation_percent: Option<f64>,
}

/// A calibration curve.
#[derive(Clone)]
pub struct Curve {
    /// What it is of.
    pub compound: String,
    /// The curve that was declared.
    pub model: Model,
    /// The weights that were declared.
    pub weighting: Weighting,
    /// Level of its intervals.
    pub level: f64,
    /// Intercept (where the model has one), slope, curvature, or those of the declared curve; for [`Model::InverseRegressionLine`] of content on response.
    pub coefficients: Vec<Coefficient>,
    /// Covariance of the coefficients, row by row; `None` without residual degrees of freedom.
    pub covariance: Option<Vec<Vec<f64>>>,
    /// Residual standard deviation s(y/x), √(Σ w r²/dof): in units of the response with equal weights, per √weight
    /// otherwise, and near 1 with the two-part variance. `None` without residual degrees of freedom.
    pub residual_sd: Option<f64>,
    /// Residual degrees of freedom, flasks less coefficients.
    pub dof: f64,
    /// Coefficient of determination (weighted; about zero where the line goes through zero). No test of linearity.
    pub r_squared: Option<f64>,
    /// Relative flask standard deviation ρ from the standards alone (two-part variance only).
    pub rho: Option<f64>,
    /// Degrees of freedom behind ρ, or behind s; not below 1.
    pub scatter_dof: Option<f64>,
    /// Lowest and highest content of the flasks used.
    pub range: [f64; 2],
    /// All flasks in the order given, those left out included.
    pub points: Vec<CalibrationPoint>,
    /// Lack-of-fit test; `None` where no flask has a second one at its content.
    pub lack_of_fit: Option<LackOfFit>,
    /// Sources common to all standards.
    pub shared: Vec<SharedSource>,
    /// Sources common to some of the standards.
    pub group_shared: Vec<GroupSource>,
    /// Doubts and remarks.
    pub notes: Vec<CurveNote>,
    pub(super) x: Vec<f64>,
    pub(super) y: Vec<f64>,
    pub(super) known: Vec<f64>,
    pub(super) shape: Shape,
    pub(super) line: Fitted,
    /// Content and variance of one flask at each level, for [`Weighting::Replicates`].
    pub(super) levels: Vec<[f64; 2]>,
    pub(super) scatter: Scatter,
    pub(super) direct: Option<Direct>,
    pub(super) flask_type_b: Option<FlaskTypeB>,
}

/// What the regression of content on response leaves for its predictions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Direct {
    /// Of a content at weight 1.
    pub(super) residual_variance: f64,
    /// Sum of weights; the number of flasks where these are equal.
    pub(super) total_weight: f64,
    pub(super) mean_response: f64,
    pub(super) spread: f64,
}

impl Curve {
    /// Fits the declared curve to the flask means.
    ///
    /// Weighted least squares with weights 1/v. With [`Weighting::TwoPart`] v = u² + ρ²f² with f the fitted response
    /// and ρ from the scatter by restricted maximum likelihood, Σ λᵢ(rᵢ²/vᵢ - (1 - hᵢ)) = 0, λᵢ = ρ²fᵢ²/vᵢ (R. L.
    /// Patterson and R. Thompson, Biometrika 58 (1971) 545-554); where the flasks' scatter carries all the variance that is χ² =
    /// dof. Standard errors follow from v. Flasks left out get residuals, but no say.
    ///
    /// # Errors
    /// Fewer flasks than coefficients, all flasks at one content, numbers that are not finite, options out of range,
    /// a flask whose variance would be zero.
    pub fn fit(flasks: &[Flask], options: &CalibrationOptions) -> Result<Curve> {
        check_input(flasks, options)?;
        let form = options.model.form();
        let weighting = match options.model {
            // Content on response is weighted by contents alone, as published recipes have it.
            Model::InverseRegressionLine
                if !matches!(options.weighting, Weighting::Inverse | Weighting::InverseSquare) =>
            {
                Weighting::None
            }
            Model::LogLog => Weighting::None,
            _ => options.weighting.clone(),
        };
        let used: Vec<&Flask> = flasks.iter().filter(|f| f.excluded.is_none()).collect();
        let x: Vec<f64> = used.iter().map(|f| f.content).collect();
        let y: Vec<f64> = used.iter().map(|f| if form == Form::LogLog { log_mean(f) } else { f.response }).collect();
        let known: Vec<f64> = match weighting {
            Weighting::TwoPart => used.iter().map(|f| f.response_u * f.response_u).collect(),
            _ => vec![0.0; used.len()],
        };
        let levels = if weighting == Weighting::Replicates { level_variances(&x, &y) } else { Vec::new() };
        let shape = match &weighting {
            Weighting::Inverse => Shape::Content,
            Weighting::InverseResponse => Shape::Response,
            Weighting::Replicates => Shape::PerFlask(x.iter().map(|&x| between(&levels, x)).collect()),
            Weighting::TwoPart => Shape::ResponseSquare,
            Weighting::None => Shape::Constant,
            Weighting::InverseSquare => Shape::ContentSquare,
            Weighting::Known(w) => Shape::PerFlask(
                w.iter().zip(flasks).filter(|(_, f)| f.excluded.is_none()).map(|(w, _)| 1.0 / w).collect(),
            ),
        };
        let standards = Standards { x: &x, y: &y, known: &known, shape: &shape, form };
        let mut scatter = standards.scatter(None);
        scatter.line = scatter.line.polished(&x, &y, &scatter.weights)?;
        let f = scatter.line.function;
        let (rise, top) = match form {
            Form::Power => (f.at(most(&x)), most(&y).max(-least(&y))),
            Form::LogLog => (f.relative_slope(1.0), 1.0),
            Form::Quadratic => {
                let [low, high] = f.branch([least(&x), most(&x)]);
                (f.at(most(&x).min(high)) - f.at(least(&x).max(low)), most(&y).max(-least(&y)))
            }
            _ => (f.slope(0.0) * (most(&x) + least(&x).abs()), most(&y).max(-least(&y))),
        };
        if !(rise.is_finite() && rise.abs() > 1e-14 * top) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: the response does not depend on the content", whose(&options.compound, "")),
            )
            .hint("look whether the responses belong to this compound"));
        }
        let mut curve = Curve {
            compound: options.compound.clone(),
            model: options.model,
            level: options.level,
            coefficients: Vec::new(),
            covariance: None,
            residual_sd: None,
            dof: x.len() as f64 - form.parameters() as f64,
            r_squared: None,
            rho: None,
            scatter_dof: None,
            range: [least(&x), most(&x)],
            points: Vec::new(),
            lack_of_fit: None,
            shared: options.shared.clone(),
            group_shared: options.group_shared.clone(),
            notes: Vec::new(),
            line: scatter.line.clone(),
            levels,
            flask_type_b: options.flask_type_b.clone(),
            direct: None,
            weighting,
            x,
            y,
            known,
            shape,
            scatter,
        };
        curve.coefficients();
        if curve.model == Model::InverseRegressionLine {
            curve.regress_on_response()?;
        } else {
            curve.lack_of_fit = LackOfFit::of(&curve);
        }
        curve.points(flasks);
        curve.judge(flasks);
        Ok(curve)
    }

    /// Response that the curve gives at content `x`; the median response for [`Model::LogLog`].
    pub fn predict(&self, x: f64) -> f64 {
        match self.line.form {
            Form::LogLog if x <= 0.0 => 0.0,
            Form::LogLog => libm::exp(self.line.at(x)),
            _ => self.line.at(x),
        }
    }

    /// Standard uncertainty of the curve at content `x`, shared sources aside; `None` without residual degrees of
    /// freedom.
    pub fn predict_u(&self, x: f64) -> Option<f64> {
        if self.dof < 1.0 {
            return None;
        }
        if let Some(d) = self.direct {
            let off = self.line.at(x) - d.mean_response;
            return Some(
                libm::sqrt(d.residual_variance * (1.0 / d.total_weight + off * off / d.spread)) * self.slope().abs(),
            );
        }
        if self.line.form == Form::LogLog && x <= 0.0 {
            return None;
        }
        let c = self.line.covariance(&self.scatter.variance);
        let u = libm::sqrt(quadratic_form(&c, self.line.function.gradient(x)).max(0.0));
        Some(if self.line.form == Form::LogLog { u * self.predict(x) } else { u })
    }

    /// Half-width of the confidence band of the curve at content `x`; `None` below 3 residual degrees of freedom.
    pub fn band(&self, x: f64) -> Option<f64> {
        if self.dof < 3.0 {
            return None;
        }
        let dof = if self.scatter.dof > 0.0 { self.scatter.dof.max(1.0) } else { f64::INFINITY };
        self.predict_u(x).map(|u| u * student_t_quantile(0.5 + 0.5 * self.level, dof))
    }

    /// Response at content 0; 0 where the curve goes through zero.
    pub fn intercept(&self) -> f64 {
        match self.line.function {
            Function::Polynomial([a, ..]) => a,
            _ => 0.0,
        }
    }

    /// Slope of response on content; where the curve bends, in the middle of its range.
    pub fn slope(&self) -> f64 {
        let middle = 0.5 * (self.range[0] + self.range[1]);
        match self.line.form {
            Form::LogLog => self.line.function.slope(middle) * self.predict(middle),
            _ => self.line.function.slope(middle),
        }
    }

    /// Content whose response is `y`; `None` where the curve does not reach it.
    pub fn content_at(&self, y: f64) -> Option<f64> {
        let y = match self.line.form {
            Form::LogLog if y <= 0.0 => return None,
            Form::LogLog => libm::log(y),
            _ => y,
        };
        self.line.function.content_of(y, self.line.function.branch(self.range))
    }

    /// Relative standard error of the contents calculated back, √(Σ((x̂ᵢ - xᵢ)/xᵢ)²/(n - p)) over the n flasks used at
    /// contents above 0 with p coefficients (as in EPA SW-846 method 8000D, section 11.5.6; from memory); `None` where
    /// a flask's response is not reached or no degree of freedom is left.
    pub fn relative_standard_error(&self) -> Option<f64> {
        let used = self.points.iter().filter(|p| p.leverage.is_some() && p.flask.content > 0.0);
        let off: Option<Vec<f64>> = used.map(|p| p.back_calculated.map(|x| x / p.flask.content - 1.0)).collect();
        let off = off?;
        let dof = off.len() as f64 - self.line.form.parameters() as f64;
        (dof >= 1.0).then(|| libm::sqrt(off.iter().map(|d| d * d).sum::<f64>() / dof))
    }

    /// Residuals of the flasks used, in their order.
    pub fn residuals(&self) -> Vec<f64> {
        self.points.iter().filter(|p| p.leverage.is_some()).map(|p| p.residual).collect()
    }

    /// The flasks used as numbers.
    pub(super) fn standards(&self) -> Standards<'_> {
        Standards { x: &self.x, y: &self.y, known: &self.known, shape: &self.shape, form: self.line.form }
    }

    /// Weights as reported: 1/v with the two-part variance, otherwise as declared, so that s belongs to these.
    pub(super) fn unit_weights(&self) -> Vec<f64> {
        if self.weighting == Weighting::TwoPart && self.scatter.variance.iter().all(|&v| v > 0.0) {
            return self.scatter.variance.iter().map(|v| 1.0 / v).collect();
        }
        self.scatter.weights.clone()
    }

    /// Covariance of the coefficients from each source that some of the standards share: with δ its relative error, the
    /// responses of its flasks are those of contents x(1 + δ), so that the coefficients move by δ·Σ gᵢ·xᵢf'(xᵢ).
    pub(super) fn group_covariances(&self) -> Vec<(&GroupSource, Covariance)> {
        let labels: Vec<&str> =
            self.points.iter().filter(|p| p.leverage.is_some()).map(|p| p.flask.label.as_str()).collect();
        let one = |source: &GroupSource| {
            let mut moved = [0.0; 3];
            for (i, _) in labels.iter().enumerate().filter(|(_, l)| source.flasks.iter().any(|f| f == *l)) {
                let lift = source.relative_u * self.line.function.relative_slope(self.x[i]);
                moved.iter_mut().zip(self.line.gain[i]).for_each(|(m, g)| *m += g * lift);
            }
            let [a, b, c] = moved;
            [a * a, a * b, b * b, a * c, b * c, c * c]
        };
        self.group_shared.iter().map(|s| (s, one(s))).filter(|(_, c)| *c != [0.0; 6]).collect()
    }

    /// Mean number of shots of the flasks used.
    pub(super) fn mean_shots(&self) -> f64 {
        let used = self.points.iter().filter(|p| p.leverage.is_some());
        used.map(|p| p.flask.shots as f64).sum::<f64>() / self.x.len() as f64
    }

    /// "2-propanol, flask A" for messages.
    pub(super) fn whose(&self, label: &str) -> String {
        whose(&self.compound, label)
    }

    /// Coefficients, covariance, s(y/x), r² of the curve.
    fn coefficients(&mut self) {
        let form = self.line.form;
        let unit = self.unit_weights();
        let rss: f64 = (0..self.x.len()).map(|i| unit[i] * (self.y[i] - self.line.fitted[i]).powi(2)).sum();
        let centre = if matches!(form, Form::ThroughZero | Form::Power) {
            0.0
        } else {
            unit.iter().zip(&self.y).map(|(w, y)| w * y).sum::<f64>() / unit.iter().sum::<f64>()
        };
        let total: f64 = unit.iter().zip(&self.y).map(|(w, y)| w * (y - centre) * (y - centre)).sum();
        self.r_squared = (total > 0.0).then(|| 1.0 - rss / total);
        let covariance = (self.dof >= 1.0).then(|| self.line.covariance(&self.scatter.variance));
        let full = covariance.map(|c| [[c[0], c[1], c[3]], [c[1], c[2], c[4]], [c[3], c[4], c[5]]]);
        // Name, value, and which row of the covariance it has.
        let named: Vec<(&'static str, f64, usize)> = match self.line.function {
            Function::Polynomial([_, b, _]) if form == Form::ThroughZero => vec![("slope", b, 1)],
            Function::Polynomial([a, b, c]) => {
                let mut all = vec![("intercept", a, 0), ("slope", b, 1), ("curvature", c, 2)];
                all.truncate(form.parameters());
                all
            }
            Function::Power { factor, exponent } => vec![("factor", factor, 0), ("exponent", exponent, 1)],
            Function::LogLog { log_factor, exponent } => {
                vec![("logarithm of the factor", log_factor, 0), ("exponent", exponent, 1)]
            }
        };
        self.coefficients = named
            .iter()
            .map(|&(name, value, k)| Coefficient { name, value, standard_error: full.map(|c| libm::sqrt(c[k][k])) })
            .collect();
        self.covariance =
            full.map(|c| named.iter().map(|&(_, _, i)| named.iter().map(|&(_, _, k)| c[i][k]).collect()).collect());
        if self.dof >= 1.0 {
            self.residual_sd = Some(libm::sqrt(rss / self.dof));
            self.scatter_dof = (self.scatter.dof > 0.0).then_some(self.scatter.dof.max(1.0));
            self.rho = (self.weighting == Weighting::TwoPart).then(|| libm::sqrt(self.scatter.factor));
        }
    }

    /// Variance of a content at weight 1, as the weights of content on response have it.
    pub(super) fn content_variance(&self, x: f64) -> f64 {
        match self.weighting {
            Weighting::Inverse => x,
            Weighting::InverseSquare => x * x,
            _ => 1.0,
        }
    }

    /// Replaces the line by that of content on response.
    fn regress_on_response(&mut self) -> Result<()> {
        let w: Vec<f64> = self.x.iter().map(|&x| 1.0 / self.content_variance(x)).collect();
        let line = weighted_fit(Form::Line, &self.y, &self.x, &w, None).polished(&self.y, &self.x, &w)?;
        let (intercept, slope) = line.function.as_line().unwrap_or((0.0, 0.0));
        if slope == 0.0 || !slope.is_finite() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: the content does not depend on the response", self.whose("the standards")),
            ));
        }
        let rss: f64 = (0..self.x.len()).map(|i| w[i] * (self.x[i] - line.fitted[i]).powi(2)).sum();
        let total_weight: f64 = w.iter().sum();
        let mean_response = w.iter().zip(&self.y).map(|(w, y)| w * y).sum::<f64>() / total_weight;
        let spread = w.iter().zip(&self.y).map(|(w, y)| w * (y - mean_response) * (y - mean_response)).sum();
        let residual_variance = if self.dof >= 1.0 { rss / self.dof } else { 0.0 };
        self.direct = Some(Direct { residual_variance, total_weight, mean_response, spread });
        let v: Vec<f64> = w.iter().map(|w| residual_variance / w).collect();
        let c = (self.dof >= 1.0).then(|| line.covariance(&v));
        self.coefficients = vec![
            Coefficient { name: "intercept", value: intercept, standard_error: c.map(|c| libm::sqrt(c[0])) },
            Coefficient { name: "slope", value: slope, standard_error: c.map(|c| libm::sqrt(c[2])) },
        ];
        self.covariance = c.map(|c| vec![vec![c[0], c[1]], vec![c[1], c[2]]]);
        self.residual_sd = (self.dof >= 1.0).then(|| libm::sqrt(residual_variance));
        self.scatter_dof = (self.dof >= 1.0).then_some(self.dof);
        self.line.leverage.clone_from(&line.leverage);
        self.line.function = Function::line(-intercept / slope, 1.0 / slope);
        self.line.fitted = self.x.iter().map(|&x| (x - intercept) / slope).collect();
        self.scatter.variance = v.iter().map(|v| v / (slope * slope)).collect();
        Ok(())
    }

    /// The table of flasks.
    fn points(&mut self, flasks: &[Flask]) {
        let mut k = 0;
        let weights = self.unit_weights();
        let parameters = self.line.form.parameters() as f64;
        for flask in flasks {
            let fitted = self.predict(flask.content);
            let residual = flask.response - fitted;
            let back_calculated = self.content_at(flask.response);
            let deviation_percent =
                back_calculated.filter(|_| flask.content != 0.0).map(|x| 100.0 * (x / flask.content - 1.0));
            let (mut standardised_residual, mut leverage, mut weight, mut cooks_distance) = (None, None, None, None);
            if flask.excluded.is_none() {
                let (v, h) = (self.scatter.variance[k], self.line.leverage[k]);
                let own = v * (1.0 - h);
                standardised_residual =
                    (self.dof >= 1.0 && own > 0.0).then(|| (self.y[k] - self.line.fitted[k]) / libm::sqrt(own));
                leverage = Some(h);
                cooks_distance = standardised_residual.map(|t| t * t * h / ((1.0 - h) * parameters));
                weight = Some(weights[k]);
                k += 1;
            }
            self.points.push(CalibrationPoint {
                flask: flask.clone(),
                fitted,
                residual,
                standardised_residual,
                leverage,
                cooks_distance,
                weight,
                back_calculated,
                deviation_percent,
            });
        }
    }
}

impl fmt::Debug for Curve {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = if self.compound.is_empty() { "curve" } else { &self.compound };
        write!(f, "{name}: {}, ", self.model.words())?;
        for c in &self.coefficients {
            write!(f, "{} {:.6e}, ", c.name, c.value)?;
        }
        write!(f, "{} flasks, {} to {}", self.x.len(), self.range[0], self.range[1])
    }
}

pub(super) fn whose(compound: &str, label: &str) -> String {
    match (compound.is_empty(), label.is_empty()) {
        (true, true) => "calibration".to_owned(),
        (true, false) => label.to_owned(),
        (false, true) => compound.to_owned(),
        (false, false) => format!("{compound}, {label}"),
    }
}

/// Mean of the logarithms of the shots, or the logarithm of the mean where shots are not given.
fn log_mean(flask: &Flask) -> f64 {
    if flask.shot_responses.len() > 1 && flask.shot_responses.iter().all(|y| *y > 0.0) {
        let n = flask.shot_responses.len() as f64;
        return flask.shot_responses.iter().map(|y| libm::log(*y)).sum::<f64>() / n;
    }
    libm::log(flask.response)
}

/// Content and variance of each level, from its flasks.
fn level_variances(x: &[f64], y: &[f64]) -> Vec<[f64; 2]> {
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|&a, &b| x[a].total_cmp(&x[b]));
    order
        .chunk_by(|&a, &b| x[a] == x[b])
        .map(|level| {
            let n = level.len() as f64;
            let mean = level.iter().map(|&i| y[i]).sum::<f64>() / n;
            [x[level[0]], level.iter().map(|&i| (y[i] - mean) * (y[i] - mean)).sum::<f64>() / (n - 1.0)]
        })
        .collect()
}

/// The variance at content `x`: the square of the standard deviation interpolated between levels, held beyond them.
pub(super) fn between(levels: &[[f64; 2]], x: f64) -> f64 {
    let (Some(first), Some(last)) = (levels.first(), levels.last()) else { return 1.0 };
    if x <= first[0] {
        return first[1];
    }
    for pair in levels.windows(2) {
        if x <= pair[1][0] {
            let t = (x - pair[0][0]) / (pair[1][0] - pair[0][0]);
            let sd = (1.0 - t) * libm::sqrt(pair[0][1]) + t * libm::sqrt(pair[1][1]);
            return sd * sd;
        }
    }
    last[1]
}

fn least(x: &[f64]) -> f64 {
    x.iter().copied().fold(f64::INFINITY, f64::min)
}

fn most(x: &[f64]) -> f64 {
    x.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}
