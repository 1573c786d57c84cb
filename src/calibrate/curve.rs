//! The calibration curve: from flasks to a line with everything needed to judge it.

use std::fmt;

use super::flasks::{CalibrationOptions, Flask, FlaskTypeB, Model, SharedSource, Weighting};
use super::inverse::check_source;
use super::lack_of_fit::LackOfFit;
use super::notes::CurveNote;
use super::pivot::value;
use super::solve::{Line, line_polynomial, weighted_line};
use super::variance::{Scatter, Shape, Standards};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{chi_squared_sf, student_t_cdf, student_t_quantile};

/// A coefficient with its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficient {
    /// "intercept" or "slope".
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
    /// Weight used, 1/v or as stated, up to a common factor; `None` where left out.
    pub weight: Option<f64>,
    /// Content calculated back from the response.
    pub back_calculated: f64,
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
    /// Intercept (where the model has one) and slope; for [`Model::InverseRegressionLine`] of content on response.
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
    /// Degrees of freedom behind ρ, or behind s.
    pub scatter_dof: Option<f64>,
    /// Lowest and highest content of the flasks used.
    pub range: [f64; 2],
    /// All flasks in the order given, those left out included.
    pub points: Vec<CalibrationPoint>,
    /// Lack-of-fit test; `None` where no flask has a second one at its content.
    pub lack_of_fit: Option<LackOfFit>,
    /// Sources common to all standards.
    pub shared: Vec<SharedSource>,
    /// Doubts and remarks.
    pub notes: Vec<CurveNote>,
    pub(super) x: Vec<f64>,
    pub(super) y: Vec<f64>,
    pub(super) known: Vec<f64>,
    pub(super) shape: Shape,
    pub(super) line: Line,
    pub(super) scatter: Scatter,
    pub(super) direct: Option<Direct>,
    pub(super) flask_type_b: Option<FlaskTypeB>,
}

/// What the regression of content on response leaves for its predictions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Direct {
    pub(super) residual_variance: f64,
    pub(super) flasks: f64,
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
        check(flasks, options)?;
        let through_zero = options.model == Model::ThroughZero;
        let weighting =
            if options.model == Model::InverseRegressionLine { Weighting::None } else { options.weighting.clone() };
        let used: Vec<&Flask> = flasks.iter().filter(|f| f.excluded.is_none()).collect();
        let x: Vec<f64> = used.iter().map(|f| f.content).collect();
        let y: Vec<f64> = used.iter().map(|f| f.response).collect();
        let known: Vec<f64> = match weighting {
            Weighting::TwoPart => used.iter().map(|f| f.response_u * f.response_u).collect(),
            _ => vec![0.0; used.len()],
        };
        let shape = match &weighting {
            Weighting::TwoPart => Shape::ResponseSquare,
            Weighting::None => Shape::Constant,
            Weighting::InverseSquare => Shape::ContentSquare,
            Weighting::Known(w) => Shape::PerFlask(
                w.iter().zip(flasks).filter(|(_, f)| f.excluded.is_none()).map(|(w, _)| 1.0 / w).collect(),
            ),
        };
        let standards = Standards { x: &x, y: &y, known: &known, shape: &shape, through_zero };
        let scatter = standards.scatter(None);
        if !(scatter.line.slope.is_finite() && scatter.line.slope != 0.0) {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "{}: the response does not depend on the content (slope {})",
                    whose(&options.compound, ""),
                    scatter.line.slope
                ),
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
            dof: x.len() as f64 - if through_zero { 1.0 } else { 2.0 },
            r_squared: None,
            rho: None,
            scatter_dof: None,
            range: [x.iter().copied().fold(f64::INFINITY, f64::min), x.iter().copied().fold(f64::MIN, f64::max)],
            points: Vec::new(),
            lack_of_fit: None,
            shared: options.shared.clone(),
            notes: Vec::new(),
            line: scatter.line.clone(),
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

    /// Response that the curve gives at content `x`.
    pub fn predict(&self, x: f64) -> f64 {
        self.line.at(x)
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
                libm::sqrt(d.residual_variance * (1.0 / d.flasks + off * off / d.spread)) * self.line.slope.abs(),
            );
        }
        let c = line_polynomial(self.line.covariance(&self.scatter.variance));
        Some(libm::sqrt(value(c, x).max(0.0)))
    }

    /// Half-width of the confidence band of the curve at content `x`; `None` below 3 residual degrees of freedom.
    pub fn band(&self, x: f64) -> Option<f64> {
        if self.dof < 3.0 {
            return None;
        }
        let dof = if self.scatter.dof > 0.0 { self.scatter.dof.max(1.0) } else { f64::INFINITY };
        self.predict_u(x).map(|u| u * student_t_quantile(0.5 + 0.5 * self.level, dof))
    }

    /// Intercept of response on content; 0 where the line goes through zero.
    pub fn intercept(&self) -> f64 {
        self.line.intercept
    }

    /// Slope of response on content.
    pub fn slope(&self) -> f64 {
        self.line.slope
    }

    /// Residuals of the flasks used, in their order.
    pub fn residuals(&self) -> Vec<f64> {
        self.points.iter().filter(|p| p.leverage.is_some()).map(|p| p.residual).collect()
    }

    /// The flasks used as numbers.
    pub(super) fn standards(&self) -> Standards<'_> {
        Standards {
            x: &self.x,
            y: &self.y,
            known: &self.known,
            shape: &self.shape,
            through_zero: self.model == Model::ThroughZero,
        }
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

    /// Coefficients, covariance, s(y/x), r² of the line of response on content.
    fn coefficients(&mut self) {
        let through_zero = self.model == Model::ThroughZero;
        let w: Vec<f64> = self.scatter.variance.iter().map(|v| 1.0 / v).collect();
        // With equal or stated weights s belongs to those, not to the variances they led to.
        let unit: Vec<f64> = match self.weighting {
            Weighting::TwoPart => w.clone(),
            _ => self.scatter.shape.iter().map(|q| 1.0 / q).collect(),
        };
        let rss: f64 = (0..self.x.len()).map(|i| unit[i] * (self.y[i] - self.line.fitted[i]).powi(2)).sum();
        let centre = if through_zero {
            0.0
        } else {
            unit.iter().zip(&self.y).map(|(w, y)| w * y).sum::<f64>() / unit.iter().sum::<f64>()
        };
        let total: f64 = unit.iter().zip(&self.y).map(|(w, y)| w * (y - centre) * (y - centre)).sum();
        self.r_squared = (total > 0.0).then(|| 1.0 - rss / total);
        let covariance = (self.dof >= 1.0).then(|| self.line.covariance(&self.scatter.variance));
        let error = |i: usize| covariance.map(|c| libm::sqrt(c[i]));
        let slope = Coefficient { name: "slope", value: self.line.slope, standard_error: error(2) };
        let intercept = Coefficient { name: "intercept", value: self.line.intercept, standard_error: error(0) };
        self.coefficients = if through_zero { vec![slope] } else { vec![intercept, slope] };
        self.covariance =
            covariance.map(|[aa, ab, bb]| if through_zero { vec![vec![bb]] } else { vec![vec![aa, ab], vec![ab, bb]] });
        if self.dof >= 1.0 {
            self.residual_sd = Some(libm::sqrt(rss / self.dof));
            self.scatter_dof = (self.scatter.dof > 0.0).then_some(self.scatter.dof);
            self.rho = (self.weighting == Weighting::TwoPart).then(|| libm::sqrt(self.scatter.factor));
        }
    }

    /// Replaces the line by that of content on response.
    fn regress_on_response(&mut self) -> Result<()> {
        let n = self.x.len() as f64;
        let line = weighted_line(&self.y, &self.x, &vec![1.0; self.x.len()], false);
        if line.slope == 0.0 || !line.slope.is_finite() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: the content does not depend on the response", self.whose("the standards")),
            ));
        }
        let rss: f64 = self.x.iter().zip(&line.fitted).map(|(x, f)| (x - f) * (x - f)).sum();
        let mean_response = self.y.iter().sum::<f64>() / n;
        let spread = self.y.iter().map(|y| (y - mean_response) * (y - mean_response)).sum();
        let residual_variance = if self.dof >= 1.0 { rss / self.dof } else { 0.0 };
        self.direct = Some(Direct { residual_variance, flasks: n, mean_response, spread });
        let v = vec![residual_variance; self.x.len()];
        let c = (self.dof >= 1.0).then(|| line.covariance(&v));
        self.coefficients = vec![
            Coefficient { name: "intercept", value: line.intercept, standard_error: c.map(|c| libm::sqrt(c[0])) },
            Coefficient { name: "slope", value: line.slope, standard_error: c.map(|c| libm::sqrt(c[2])) },
        ];
        self.covariance = c.map(|[aa, ab, bb]| vec![vec![aa, ab], vec![ab, bb]]);
        self.residual_sd = (self.dof >= 1.0).then(|| libm::sqrt(residual_variance));
        self.scatter_dof = (self.dof >= 1.0).then_some(self.dof);
        self.line.leverage.clone_from(&line.leverage);
        self.line.slope = 1.0 / line.slope;
        self.line.intercept = -line.intercept / line.slope;
        self.line.fitted = self.x.iter().map(|&x| (x - line.intercept) / line.slope).collect();
        self.scatter.variance = vec![residual_variance * self.line.slope * self.line.slope; self.x.len()];
        Ok(())
    }

    /// The table of flasks.
    fn points(&mut self, flasks: &[Flask]) {
        let mut k = 0;
        for flask in flasks {
            let fitted = self.line.at(flask.content);
            let residual = flask.response - fitted;
            let back_calculated = (flask.response - self.line.intercept) / self.line.slope;
            let deviation_percent = (flask.content != 0.0).then(|| 100.0 * (back_calculated / flask.content - 1.0));
            let (mut standardised_residual, mut leverage, mut weight) = (None, None, None);
            if flask.excluded.is_none() {
                let (v, h) = (self.scatter.variance[k], self.line.leverage[k]);
                let own = v * (1.0 - h);
                standardised_residual = (self.dof >= 1.0 && own > 0.0).then(|| residual / libm::sqrt(own));
                leverage = Some(h);
                weight = Some(match self.weighting {
                    Weighting::TwoPart => 1.0 / v,
                    _ => 1.0 / self.scatter.shape[k],
                });
                k += 1;
            }
            self.points.push(CalibrationPoint {
                flask: flask.clone(),
                fitted,
                residual,
                standardised_residual,
                leverage,
                weight,
                back_calculated,
                deviation_percent,
            });
        }
    }

    /// Doubts on the curve as it stands.
    fn judge(&mut self, flasks: &[Flask]) {
        let mut notes = Vec::new();
        if self.dof < 3.0 {
            notes.push(CurveNote::FewDegreesOfFreedom { dof: self.dof });
        }
        let out = flasks.iter().filter(|f| f.excluded.is_some()).count();
        if out > 0 {
            notes.push(CurveNote::FlasksLeftOut { count: out });
        }
        if self.model == Model::InverseRegressionLine {
            notes.push(CurveNote::RegressedOnResponse);
        } else if self.lack_of_fit.is_none() {
            notes.push(CurveNote::NoLackOfFitTest);
        }
        let shots = || flasks.iter().filter(|f| f.excluded.is_none()).map(|f| f.shots);
        if let (Some(least), Some(most)) = (shots().min(), shots().max())
            && least != most
        {
            notes.push(CurveNote::UnequalShots { least, most });
        }
        let ratio = if self.range[0] > 0.0 { self.range[1] / self.range[0] } else { f64::INFINITY };
        match self.weighting {
            Weighting::None if ratio > 3.0 && self.model != Model::InverseRegressionLine => {
                notes.push(CurveNote::EqualWeightsOverWideRange { ratio: ratio.is_finite().then_some(ratio) });
            }
            Weighting::Known(_) => notes.push(CurveNote::StatedWeights),
            Weighting::TwoPart if self.known.iter().all(|&k| k == 0.0) => notes.push(CurveNote::NoAreaUncertainty),
            Weighting::TwoPart if self.dof >= 1.0 => self.judge_noise(&mut notes),
            _ => {}
        }
        if let Some(b) = &self.flask_type_b
            && let Some(rho) = self.rho
        {
            notes.push(CurveNote::FlaskSources { from_scatter: rho, stated: b.relative_u });
        }
        if self.model == Model::ThroughZero && self.x.len() >= 5 {
            self.judge_intercept(&mut notes);
        }
        self.notes = notes;
    }

    /// Is the scatter of the flasks near zero what the traces say?
    fn judge_noise(&self, notes: &mut Vec<CurveNote>) {
        if self.scatter.factor == 0.0 {
            notes.push(CurveNote::ScatterWithinNoise);
        }
        // Σ k·r²/v with k the known share; mean Σ k(1 - h), variance about 2 Σ k²(1 - h): a scaled χ².
        let (mut seen, mut mean, mut half_variance) = (0.0, 0.0, 0.0);
        for (i, &v) in self.scatter.variance.iter().enumerate() {
            let (k, r) = (self.known[i] / v, self.y[i] - self.line.fitted[i]);
            let free = 1.0 - self.line.leverage[i];
            seen += k * r * r / v;
            mean += k * free;
            half_variance += k * k * free;
        }
        if half_variance > 0.0 {
            let p_value = chi_squared_sf(seen * mean / half_variance, mean * mean / half_variance);
            if p_value < 0.005 {
                notes.push(CurveNote::NoiseTooSmall { p_value });
            }
        }
    }

    /// Would a line with an intercept miss zero?
    fn judge_intercept(&self, notes: &mut Vec<CurveNote>) {
        let free = Standards { through_zero: false, ..self.standards() }.scatter(None);
        let u = libm::sqrt(free.line.covariance(&free.variance)[0]);
        let dof = if free.dof > 0.0 { free.dof.max(1.0) } else { f64::INFINITY };
        let t = free.line.intercept / u;
        let p_value = 2.0 * student_t_cdf(-t.abs(), dof);
        if p_value < 0.05 {
            notes.push(CurveNote::InterceptNotZero { intercept: free.line.intercept, p_value });
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

/// Everything that makes a fit impossible, in sentences.
fn check(flasks: &[Flask], options: &CalibrationOptions) -> Result<()> {
    let of = |label: &str| whose(&options.compound, label);
    let data = |what: String| Error::new(ErrorKind::Data, what);
    if !(options.level > 0.5 && options.level < 1.0) {
        return Err(Error::new(
            ErrorKind::Option,
            format!("level {} of the intervals; a number between 0.5 and 1 is wanted, such as 0.95", options.level),
        ));
    }
    for source in &options.shared {
        check_source(source)?;
    }
    if let Some(b) = &options.flask_type_b {
        check_source(&SharedSource { name: "one flask".to_owned(), relative_u: b.relative_u, dof: b.dof })?;
    }
    for f in flasks {
        if !(f.content.is_finite() && f.response.is_finite()) {
            return Err(data(format!(
                "{}: content {} and response {}; finite numbers are wanted",
                of(&f.label),
                f.content,
                f.response
            ))
            .hint("leave the flask out with a reason, or read its traces again"));
        }
        if f.content < 0.0 {
            return Err(data(format!("{}: a content of {}; 0 or more is wanted", of(&f.label), f.content)));
        }
        if !(f.response_u >= 0.0 && f.response_u.is_finite()) {
            return Err(data(format!(
                "{}: an uncertainty of {} from the traces; a finite number of 0 or more is wanted",
                of(&f.label),
                f.response_u
            )));
        }
    }
    if let Weighting::Known(w) = &options.weighting {
        if w.len() != flasks.len() {
            return Err(Error::new(
                ErrorKind::Option,
                format!("{}: {} weights for {} flasks; one for each is wanted", of(""), w.len(), flasks.len()),
            ));
        }
        if let Some(w) = w.iter().find(|w| !(**w > 0.0 && w.is_finite())) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("{}: a weight of {w}; a positive number is wanted", of("")),
            ));
        }
    }
    let used: Vec<&Flask> = flasks.iter().filter(|f| f.excluded.is_none()).collect();
    let needed = if options.model == Model::ThroughZero { 1 } else { 2 };
    if used.len() < needed {
        let left = flasks.len() - used.len();
        let left = if left > 0 { format!(" ({left} left out)") } else { String::new() };
        return Err(data(format!(
            "{}: {} standard flask{}{left}; a {} needs at least {needed}",
            of(""),
            used.len(),
            if used.len() == 1 { "" } else { "s" },
            options.model.words()
        ))
        .hint("make more standards; 5 levels with 2 flasks each serve well"));
    }
    let labels = || used.iter().map(|f| f.label.as_str()).collect::<Vec<_>>().join(", ");
    let first = used[0].content;
    if options.model == Model::ThroughZero {
        if used.iter().all(|f| f.content == 0.0) {
            return Err(data(format!("{}: all standards ({}) have content 0; there is no slope", of(""), labels())));
        }
    } else if used.iter().all(|f| f.content == first) {
        return Err(data(format!(
            "{}: all standards ({}) are at one level, {first}; a line needs two or more",
            of(""),
            labels()
        ))
        .hint("make standards at other contents, below and above what is expected in the samples"));
    }
    if options.model == Model::InverseRegressionLine {
        if used.iter().all(|f| f.response == used[0].response) {
            return Err(data(format!(
                "{}: all responses are {}; content cannot be regressed on them",
                of(""),
                used[0].response
            )));
        }
        return Ok(());
    }
    for f in &used {
        if options.weighting == Weighting::InverseSquare && f.content == 0.0 {
            return Err(data(format!("{}: content 0 has no weight 1/x²", of(&f.label)))
                .hint("use the two-part variance, or leave the flask out with a reason"));
        }
        let nothing_known = f.response_u == 0.0 && (f.content == 0.0 || f.response == 0.0);
        if options.weighting == Weighting::TwoPart && nothing_known {
            return Err(data(format!(
                "{}: nothing is known about its scatter (content {}, response {}, no uncertainty from the traces)",
                of(&f.label),
                f.content,
                f.response
            ))
            .hint("give the uncertainty of its area, or use equal weights where the range is narrow"));
        }
    }
    Ok(())
}
