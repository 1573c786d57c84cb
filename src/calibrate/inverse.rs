//! From a sample's responses back to its content: estimate, interval and probability from one pivot.

use super::curve::{Curve, between};
use super::flasks::{FlaskTypeB, Model, SharedSource, Weighting};
use super::function::{Function, quadratic_form};
use super::notes::InverseNote;
use super::pivot::{Accepted, Part, Pivot, Variance};
use super::solve::Form;
use super::variance::{SampleScatter, Shape};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::Estimate;
use crate::numeric::{fisher_f_sf, student_t_quantile};

/// What was measured of one sample: a mean response per flask.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Unknown {
    /// Name of the sample; used in messages.
    pub label: String,
    /// Mean response of each flask, all flasks with the same number of shots.
    pub flask_responses: Vec<f64>,
    /// Standard uncertainty of one flask mean from the traces alone, in units of the response.
    pub response_u: f64,
    /// Shots behind each flask mean.
    pub shots_per_flask: f64,
    /// The sample side's own shared sources, such as the pipette of its one dilution.
    pub shared: Vec<SharedSource>,
    /// Weight of one flask; only with [`Weighting::Known`].
    pub weight: Option<f64>,
}

impl Unknown {
    /// A sample from its flask means, when nothing is known from the traces.
    pub fn from_flasks(label: impl Into<String>, flask_responses: &[f64]) -> Self {
        Unknown {
            label: label.into(),
            flask_responses: flask_responses.to_vec(),
            shots_per_flask: 1.0,
            ..Unknown::default()
        }
    }
}

/// Where a part of the uncertainty arises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Scope {
    /// In one injection.
    Shot,
    /// In the making of one flask (injections included).
    Flask,
    /// Common to all flasks.
    Shared,
}

impl Scope {
    /// "shot", "flask" or "shared".
    pub fn word(self) -> &'static str {
        match self {
            Scope::Shot => "shot",
            Scope::Flask => "flask",
            Scope::Shared => "shared",
        }
    }
}

/// One part of the standard uncertainty of a content.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// What it is.
    pub source: String,
    /// Where it arises.
    pub scope: Scope,
    /// True where it comes from statistics (type A), false from other knowledge (type B).
    pub type_a: bool,
    /// Standard uncertainty, in units of the content.
    pub u: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
}

/// A content found from responses.
#[derive(Clone, Debug, PartialEq)]
pub struct Inverse {
    /// The content that the curve gives for the mean response, signed.
    pub content: f64,
    /// Linearised standard uncertainty √V/|b|, for budgets; `None` with too few degrees of freedom and where the
    /// slope is too uncertain (g > 0.05) for a symmetric one.
    pub u: Option<f64>,
    /// Effective degrees of freedom at the content; `None` where there is no limit, or no inference.
    pub dof: Option<f64>,
    /// Level of the interval.
    pub level: f64,
    /// The interval; an open end is `None`.
    pub interval: [Option<f64>; 2],
    /// Mean of the flask responses.
    pub mean_response: f64,
    /// Number of flasks.
    pub flasks: usize,
    /// Relative flask standard deviation ρ pooled over standards and sample (two-part variance only).
    pub rho: Option<f64>,
    /// Standard deviation s pooled over standards and sample (square root of the factor on 1/weight).
    pub pooled_sd: Option<f64>,
    /// t²·s_b²/b²: how far the slope itself is in doubt; intervals are symmetric while it is small.
    pub g: Option<f64>,
    /// The parts of u; empty without inference.
    pub contributions: Vec<Contribution>,
    /// Doubts and remarks.
    pub notes: Vec<InverseNote>,
    /// The parts of the pivot, in step with `contributions`; `None` without inference.
    pub(crate) pivot: Option<Pivot>,
}

impl Inverse {
    /// Content, linearised u and degrees of freedom as one value; u is not a number where it is withheld.
    pub fn estimate(&self, unit: &str) -> Estimate {
        let dof = if self.pivot.is_some() { self.dof.unwrap_or(f64::INFINITY) } else { 0.0 };
        Estimate::new(self.content, self.u.unwrap_or(f64::NAN), dof, unit)
    }

    /// P(true content > `limit`), from the pivot; `None` without inference.
    pub fn probability_above(&self, limit: f64) -> Option<f64> {
        self.pivot.as_ref().map(|p| p.probability_above(limit))
    }

    /// P(`low` < true content < `high`), from the pivot; `None` without inference.
    pub fn probability_between(&self, low: f64, high: f64) -> Option<f64> {
        self.pivot.as_ref().map(|p| (p.probability_above(low) - p.probability_above(high)).max(0.0))
    }

    /// The interval at another level; an open end is `None`, and so are both without inference.
    pub fn interval_at(&self, level: f64) -> [Option<f64>; 2] {
        match self.pivot.as_ref().map(|p| p.accepted(level)) {
            Some(Accepted::Closed(low, high)) => [Some(low), Some(high)],
            Some(Accepted::Above(low, _)) => [Some(low), None],
            Some(Accepted::Below(high, _)) => [None, Some(high)],
            Some(Accepted::All) | None => [None, None],
        }
    }

    /// The content multiplied by `factor` > 0, whose own uncertainty comes in as further `sources` shared by the
    /// whole result: a dilution, a density, a molar mass.
    ///
    /// # Errors
    /// A factor that is not positive, or a negative uncertainty.
    pub fn scaled(&self, factor: f64, sources: &[SharedSource]) -> Result<Inverse> {
        if !(factor > 0.0 && factor.is_finite()) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("a content cannot be multiplied by {factor}; a positive factor is wanted"),
            ));
        }
        let mut out = self.clone();
        out.content *= factor;
        out.pivot = self.pivot.as_ref().map(|p| p.scaled(factor));
        for c in &mut out.contributions {
            c.u *= factor;
        }
        for note in &mut out.notes {
            match note {
                InverseNote::BelowRange { lowest } => *lowest *= factor,
                InverseNote::AboveRange { highest } => *highest *= factor,
                InverseNote::DisjointInterval { other } => *other *= factor,
                _ => {}
            }
        }
        if let Some(pivot) = &mut out.pivot {
            add_shared(pivot, &mut out.contributions, sources)?;
        } else {
            sources.iter().try_for_each(check_source)?;
        }
        out.u = self.u;
        out.conclude();
        Ok(out)
    }

    /// u, dof and interval from the pivot as it now stands; `u` stays withheld where it was.
    pub(super) fn conclude(&mut self) {
        let Some(pivot) = &self.pivot else { return };
        let dof = pivot.dof(self.content);
        self.dof = dof.is_finite().then_some(dof);
        self.u = self.u.map(|_| pivot.u());
        let accepted = pivot.accepted(self.level);
        self.notes.retain(|n| !matches!(n, InverseNote::OpenInterval | InverseNote::DisjointInterval { .. }));
        match accepted {
            Accepted::Closed(..) => {}
            Accepted::Above(_, Some(other)) | Accepted::Below(_, Some(other)) => {
                self.notes.push(InverseNote::OpenInterval);
                self.notes.push(InverseNote::DisjointInterval { other });
            }
            _ => self.notes.push(InverseNote::OpenInterval),
        }
        self.interval = self.interval_at(self.level);
    }
}

impl Curve {
    /// The content of a sample.
    ///
    /// x̂ = (ȳ - a)/b, or where the declared curve reaches ȳ, with ȳ the mean over the sample's m flasks. Everything else comes from
    /// T(x) = (ȳ - f(x))/√V(x), f(x) = a + b·x or the declared curve,
    /// V(x) = (K + φ·Q(x))/m + var(f(x)) + (x·f'(x))²·Σu²: K the known variance of a flask mean, φ·Q the estimated one
    /// ([`Weighting`]), with φ pooled over the line's residuals and the sample's own flasks; the last term holds
    /// the shared sources. Effective degrees of freedom after Welch and Satterthwaite.
    ///
    /// Coverage of the 95 % interval, simulated for 5 levels × 2 flasks × 2 shots and samples of 3 × 2: 94 to 96 %
    /// (`benches/coverage_calibration.rs` prints it). It fails where the area uncertainty of the traces is wrong,
    /// and where the responses are not on a straight line.
    ///
    /// # Errors
    /// No flask, a number that is not finite, a negative uncertainty, a weight missing under [`Weighting::Known`].
    ///
    /// ```
    /// use vialbook::calibrate::{CalibrationOptions, Curve, Flask, Unknown, Weighting};
    /// // J. N. Miller, Analyst 116 (1991) 3-14: fluorescein in pg/mL.
    /// let y = [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7];
    /// let flasks: Vec<Flask> =
    ///     y.iter().enumerate().map(|(i, &y)| Flask::reading(format!("S{i}"), 2.0 * i as f64, y)).collect();
    /// let curve = Curve::fit(&flasks, &CalibrationOptions::weighted(Weighting::None))?;
    /// let found = curve.invert(&Unknown::from_flasks("sample", &[13.5]))?;
    /// assert!((found.content - 6.207).abs() < 5e-4 && (found.u.unwrap_or(0.0) - 0.240).abs() < 5e-4);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn invert(&self, unknown: &Unknown) -> Result<Inverse> {
        self.check(unknown)?;
        let m = unknown.flask_responses.len() as f64;
        let logs = self.line.form == Form::LogLog;
        let seen: Vec<f64> = unknown.flask_responses.iter().map(|&y| if logs { libm::log(y) } else { y }).collect();
        let mean = seen.iter().sum::<f64>() / m;
        let ss: f64 = seen.iter().map(|y| (y - mean) * (y - mean)).sum();
        let branch = self.line.function.branch(self.range);
        let reached = self.line.function.content_of(mean, branch);
        // Beyond its turn a curve has no content; the turn is the nearest there is.
        let turn = branch.into_iter().find(|x| x.is_finite()).unwrap_or(f64::NAN);
        let content = reached.unwrap_or(turn);
        let mut out = Inverse {
            content,
            u: None,
            dof: None,
            level: self.level,
            interval: [None, None],
            mean_response: if logs { libm::exp(mean) } else { mean },
            flasks: unknown.flask_responses.len(),
            rho: None,
            pooled_sd: None,
            g: None,
            contributions: Vec::new(),
            notes: Vec::new(),
            pivot: None,
        };
        if out.flasks == 1 {
            out.notes.push(InverseNote::SingleFlask);
        }
        if content < self.range[0] {
            out.notes.push(InverseNote::BelowRange { lowest: self.range[0] });
        }
        if content > self.range[1] {
            out.notes.push(InverseNote::AboveRange { highest: self.range[1] });
        }
        let shots = self.mean_shots();
        if (shots - unknown.shots_per_flask).abs() > 0.25 {
            out.notes.push(InverseNote::DifferentShots { standards: shots, sample: unknown.shots_per_flask });
        }
        if unknown.response_u == 0.0 && self.known.iter().any(|&k| k > 0.0) {
            out.notes.push(InverseNote::NoAreaUncertainty);
        }
        if reached.is_none() {
            out.notes.push(InverseNote::NotReached { turn });
            return Ok(out);
        }
        let residual_dof = self.dof + m - 1.0;
        if residual_dof < 3.0 {
            out.notes.push(InverseNote::FewDegreesOfFreedom { dof: residual_dof });
            return Ok(out);
        }
        // A tenth below is still the scatter of a sample at the lowest standard.
        let ends = matches!(
            self.weighting,
            Weighting::InverseSquare | Weighting::Inverse | Weighting::InverseResponse | Weighting::Replicates
        );
        if ends && content < 0.9 * self.range[0] {
            out.notes.push(InverseNote::WeightsEndBelowRange);
            return Ok(out);
        }
        if self.model == Model::InverseRegressionLine {
            self.regressed(&mut out, m);
        } else {
            self.pivot(&mut out, unknown, mean, m, ss);
        }
        if let Some(pivot) = &mut out.pivot {
            if self.direct.is_none() {
                self.add_groups(pivot, &mut out.contributions);
            }
            add_shared(pivot, &mut out.contributions, &self.shared)?;
            add_shared(pivot, &mut out.contributions, &unknown.shared)?;
            out.u = Some(pivot.u());
        }
        if let Some(g) = out.g.filter(|&g| g > 0.05) {
            out.u = None;
            out.notes.push(InverseNote::SlopeUncertain { g });
        }
        out.conclude();
        Ok(out)
    }

    /// The pivot of response on content.
    fn pivot(&self, out: &mut Inverse, unknown: &Unknown, mean: f64, m: f64, ss: f64) {
        let function = self.line.function;
        let Some(mut pivot) = Pivot::new(mean, function, self.range) else { return };
        let own = match self.weighting {
            Weighting::Replicates => between(&self.levels, out.content),
            _ => unknown.weight.map_or(1.0, |w| 1.0 / w),
        };
        let shape = self.shape.variance(own);
        let known = if self.weighting == Weighting::TwoPart { unknown.response_u * unknown.response_u } else { 0.0 };
        let at_content = shape.at(&function, out.content).max(0.0);
        let sample = SampleScatter { sum_of_squares: ss, dof: m - 1.0, known, shape: at_content };
        // A sample at zero has no share in φ, and where nothing is known its scatter cannot be weighed.
        let pooled = (m > 1.0 && (known > 0.0 || sample.shape > 0.0)).then_some(sample);
        let scatter = self.standards().scatter(pooled);
        let (mut factor, mut dof) = (scatter.factor, if scatter.dof > 0.0 { scatter.dof } else { f64::INFINITY });
        let mut used_shape = (shape, scatter.shape.clone());
        let mut type_a = true;
        if m > 1.0 {
            let v = known + self.scatter.factor * sample.shape;
            let share = if v > 0.0 { self.scatter.factor * sample.shape / v } else { 0.0 };
            let against = if share > 0.0 { self.scatter.dof / (share * share) } else { f64::INFINITY };
            let p_value = if v > 0.0 { fisher_f_sf(ss / (m - 1.0) / v, m - 1.0, against) } else { 1.0 };
            if p_value < 0.005 {
                out.notes.push(InverseNote::FlasksDisagree { p_value });
            }
        }
        out.pooled_sd = Some(libm::sqrt(factor));
        if self.weighting == Weighting::TwoPart {
            out.rho = Some(libm::sqrt(factor));
        }
        if let Some(FlaskTypeB { relative_u, dof: stated }) = self.flask_type_b {
            let at_sample = self.line.at(out.content).abs();
            let from_scatter =
                if at_sample > 0.0 { libm::sqrt(factor * sample.shape) / at_sample } else { f64::INFINITY };
            out.notes.push(InverseNote::FlaskSources { from_scatter, stated: relative_u });
            if relative_u > from_scatter {
                factor = relative_u * relative_u;
                dof = stated.unwrap_or(f64::INFINITY);
                let relative = Shape::ResponseSquare;
                used_shape = (relative.variance(own), self.line.fitted.iter().map(|f| f * f).collect());
                type_a = false;
            }
        }
        let estimated: Vec<f64> = used_shape.1.iter().map(|q| factor * q).collect();
        let line_estimated = self.line.covariance(&estimated);
        let line_known = self.line.covariance(&self.known);
        let curve = |c| Variance::of_curve(c);
        let parts = [
            ("flask-to-flask scatter of the sample", Scope::Flask, type_a, used_shape.0.times(factor / m), 0, dof),
            ("noise in the sample's areas", Scope::Shot, true, Variance::constant(known / m), 1, f64::INFINITY),
            ("calibration: scatter of the standards", Scope::Flask, type_a, curve(line_estimated), 0, dof),
            ("calibration: noise in the areas", Scope::Shot, true, curve(line_known), 2, f64::INFINITY),
        ];
        let slope = function.slope(out.content).abs();
        for (source, scope, type_a, variance, estimate, dof) in parts {
            if variance == Variance::default() {
                continue;
            }
            pivot.parts.push(Part { variance, estimate, dof });
            let u = libm::sqrt(variance.at(&function, out.content).max(0.0)) / slope;
            // Where noise rules, ν of the little scatter there is falls below 1; nobody is served by 0.02.
            let dof = dof.is_finite().then_some(dof.max(1.0));
            out.contributions.push(Contribution { source: source.to_owned(), scope, type_a, u, dof });
        }
        if pivot.parts.is_empty() {
            // Not a trace of scatter and nothing known: a line through exact numbers.
            pivot.parts.push(Part { variance: Variance::constant(f64::MIN_POSITIVE), estimate: 0, dof: self.dof });
        }
        let t = student_t_quantile(0.5 + 0.5 * self.level, pivot.dof(out.content));
        let steep = function.slope_gradient(out.content);
        let slope_variance = quadratic_form(&line_estimated, steep) + quadratic_form(&line_known, steep);
        out.g = Some(t * t * slope_variance / (slope * slope)).filter(|g| !g.is_nan());
        out.pivot = Some(pivot);
    }

    /// Adds what some of the standards share to a pivot whose function is the curve, or its mirror in a standard addition.
    pub(super) fn add_groups(&self, pivot: &mut Pivot, contributions: &mut Vec<Contribution>) {
        let mirrored = pivot.function.as_line().zip(self.line.function.as_line()).is_some_and(|(p, l)| p.1 == -l.1);
        for (source, mut covariance) in self.group_covariances() {
            if mirrored {
                covariance[1] = -covariance[1];
            }
            let estimate = 1 + pivot.parts.iter().map(|p| p.estimate).max().unwrap_or(0);
            let variance = Variance::of_curve(covariance);
            pivot.parts.push(Part { variance, estimate, dof: f64::INFINITY });
            let slope = pivot.function.slope(pivot.found).abs();
            let u = libm::sqrt(variance.at(&pivot.function, pivot.found).max(0.0)) / slope;
            contributions.push(Contribution {
                source: source.name.clone(),
                scope: Scope::Shared,
                type_a: false,
                u,
                dof: None,
            });
        }
    }

    /// Q at a fitted response.
    pub(super) fn shape_at(&self, response: f64) -> f64 {
        let content = self.line.function.content_of(response, self.line.function.branch(self.range));
        let content = content.unwrap_or(self.range[1]);
        let own = if self.weighting == Weighting::Replicates { between(&self.levels, content) } else { 1.0 };
        self.shape.variance(own).at(&self.line.function, content).max(0.0)
    }

    /// The prediction of content regressed on response: its variance does not depend on the content.
    fn regressed(&self, out: &mut Inverse, m: f64) {
        out.notes.push(InverseNote::RegressedOnResponse);
        let Some(direct) = &self.direct else { return };
        let sd2 = direct.residual_variance;
        let off = out.mean_response - direct.mean_response;
        let line = sd2 * (1.0 / direct.total_weight + off * off / direct.spread);
        let own = sd2 * self.content_variance(out.content) / m;
        let parts = [("flask-to-flask scatter of the sample", own), ("calibration: scatter of the standards", line)];
        let Some(mut pivot) = Pivot::new(out.content, Function::line(0.0, 1.0), self.range) else { return };
        for (source, v) in parts {
            pivot.parts.push(Part { variance: Variance::constant(v), estimate: 0, dof: self.dof });
            out.contributions.push(Contribution {
                source: source.to_owned(),
                scope: Scope::Flask,
                type_a: true,
                u: libm::sqrt(v),
                dof: Some(self.dof),
            });
        }
        out.pooled_sd = Some(libm::sqrt(sd2));
        out.pivot = Some(pivot);
    }

    fn check(&self, unknown: &Unknown) -> Result<()> {
        let whose = self.whose(&unknown.label);
        let bad = |what: String| Err(Error::new(ErrorKind::Data, format!("{whose}: {what}")));
        if unknown.flask_responses.is_empty() {
            return bad("no flask response; at least one is wanted".to_owned());
        }
        if let Some(y) = unknown.flask_responses.iter().find(|y| !y.is_finite()) {
            return bad(format!("a flask response of {y}; finite numbers are wanted"));
        }
        if !(unknown.response_u >= 0.0 && unknown.response_u.is_finite()) {
            return bad(format!(
                "an uncertainty of {} from the traces; a finite number of 0 or more is wanted",
                unknown.response_u
            ));
        }
        if let Some(y) = unknown.flask_responses.iter().find(|y| self.line.form == Form::LogLog && **y <= 0.0) {
            return bad(format!("a flask response of {y} has no logarithm; declare a power law for such samples"));
        }
        if matches!(self.weighting, Weighting::Known(_)) && !unknown.weight.is_some_and(|w| w > 0.0 && w.is_finite()) {
            return bad("weights were stated for the standards, so the sample's flasks need one too".to_owned());
        }
        Ok(())
    }
}

/// Adds (b·x)²·u² for each source to a pivot, and its contribution.
pub(super) fn add_shared(
    pivot: &mut Pivot,
    contributions: &mut Vec<Contribution>,
    sources: &[SharedSource],
) -> Result<()> {
    for source in sources {
        check_source(source)?;
        if source.relative_u == 0.0 {
            continue;
        }
        let estimate = 1 + pivot.parts.iter().map(|p| p.estimate).max().unwrap_or(0);
        let dof = source.dof.unwrap_or(f64::INFINITY);
        let variance = Variance { shared: source.relative_u * source.relative_u, ..Variance::default() };
        pivot.parts.push(Part { variance, estimate, dof });
        contributions.push(Contribution {
            source: source.name.clone(),
            scope: Scope::Shared,
            type_a: false,
            u: (pivot.content() * source.relative_u).abs(),
            dof: source.dof,
        });
    }
    Ok(())
}

/// A shared source must be a usable number; a type A one needs 4 degrees of freedom.
pub(crate) fn check_source(source: &SharedSource) -> Result<()> {
    if !(source.relative_u >= 0.0 && source.relative_u.is_finite()) {
        return Err(Error::new(
            ErrorKind::Data,
            format!(
                "\"{}\" has a relative uncertainty of {}; a finite number of 0 or more is wanted",
                source.name, source.relative_u
            ),
        ));
    }
    if let Some(dof) = source.dof.filter(|d| d.is_nan() || *d < 4.0) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("\"{}\" rests on {dof} degrees of freedom; 4 are the least", source.name),
        )
        .hint("pool it with like sources first, or take its tolerance instead"));
    }
    Ok(())
}
