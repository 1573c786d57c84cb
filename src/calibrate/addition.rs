//! Standard addition: the content where the line meets the response of nothing; and what an intercept means.

use std::fmt;

use super::curve::Curve;
use super::flasks::{CalibrationOptions, Flask, Model, SharedSource};
use super::function::Function;
use super::inverse::{Contribution, Inverse, Scope, add_shared};
use super::notes::InverseNote;
use super::pivot::{Part, Pivot, Variance};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{student_t_cdf, student_t_quantile};

impl Curve {
    /// The content that the flasks held before anything was added: a/b for the line of response on added content.
    ///
    /// The flasks of a standard addition hold equal portions of the sample and different additions, stated as contents
    /// of the made-up flask. The line is extrapolated to response 0, so responses must be proportional to the content
    /// down to nothing and must hold no blank: an interference that adds to every response adds to the result.
    /// With equal weights u = (s/b)·√(1/n + ȳ²/(b²·Σ(x - x̄)²)) (J. N. Miller and J. C. Miller, Statistics and
    /// Chemometrics for Analytical Chemistry, 6th ed. (2010), section 5.8); with other weights its likeness from the
    /// covariance of the line. The interval is Fieller's. `shared` are sources common to all
    /// additions, such as the one spiking solution, besides those of the curve; they do not average out.
    ///
    /// # Errors
    /// A curve that is not a line with intercept; fewer than 3 residual degrees of freedom; a source out of range.
    ///
    /// ```
    /// use vialbook::calibrate::{CalibrationOptions, Curve, Flask, Weighting};
    /// // Gold in sea water, ng/mL added (Miller and Miller, ch. 5).
    /// let y = [0.257, 0.314, 0.364, 0.413, 0.468, 0.528, 0.574, 0.635];
    /// let flasks: Vec<Flask> =
    ///     y.iter().enumerate().map(|(i, &y)| Flask::reading(format!("A{i}"), 10.0 * i as f64, y)).collect();
    /// let line = Curve::fit(&flasks, &CalibrationOptions::weighted(Weighting::None))?;
    /// let found = line.added_to(&[])?;
    /// assert!((found.content - 48.03).abs() < 0.005 && (found.u.unwrap_or(0.0) - 0.918).abs() < 5e-4);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn added_to(&self, shared: &[SharedSource]) -> Result<Inverse> {
        let line = self.line.function.as_line().filter(|_| self.model == Model::Line);
        let Some((a, b)) = line else {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: a {} cannot be extrapolated to nothing added", self.whose(""), self.model.words()),
            )
            .hint(
                "standard addition takes a straight line with intercept; keep the additions where the response is one",
            ));
        };
        if self.dof < 3.0 {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "{}: {} residual degrees of freedom; an extrapolation needs at least 3",
                    self.whose(""),
                    self.dof
                ),
            )
            .hint("make 5 flasks or more: one without addition and others with up to 1 to 3 times the content"));
        }
        // In the content N the line reads a - b·N, and is asked where it is 0.
        let Some(mut pivot) = Pivot::new(0.0, Function::line(a, -b), self.range) else {
            return Err(Error::new(ErrorKind::Data, format!("{}: the line has no slope", self.whose(""))));
        };
        let content = a / b;
        let mut contributions = Vec::new();
        let mut slope_variance = 0.0;
        for (source, scope, mut covariance, estimate, dof) in self.own_parts() {
            covariance[1] = -covariance[1];
            let variance = Variance::of_curve(covariance);
            if variance == Variance::default() {
                continue;
            }
            slope_variance += covariance[2];
            let u = libm::sqrt(variance.at(&pivot.function, content).max(0.0)) / b.abs();
            pivot.parts.push(Part { variance, estimate, dof });
            let dof = dof.is_finite().then_some(dof.max(1.0));
            contributions.push(Contribution { source: source.to_owned(), scope, type_a: true, u, dof });
        }
        if pivot.parts.is_empty() {
            pivot.parts.push(Part { variance: Variance::constant(f64::MIN_POSITIVE), estimate: 0, dof: self.dof });
        }
        let t = student_t_quantile(0.5 + 0.5 * self.level, pivot.dof(content));
        let g = t * t * slope_variance / (b * b);
        self.add_groups(&mut pivot, &mut contributions);
        add_shared(&mut pivot, &mut contributions, &self.shared)?;
        add_shared(&mut pivot, &mut contributions, shared)?;
        let mut notes = Vec::new();
        if content > 3.0 * self.range[1] {
            notes.push(InverseNote::AdditionsTooSmall { ratio: content / self.range[1] });
        }
        if g > 0.05 {
            notes.push(InverseNote::SlopeUncertain { g });
        }
        let mut out = Inverse {
            content,
            u: (g <= 0.05).then(|| pivot.u()),
            dof: None,
            level: self.level,
            interval: [None, None],
            mean_response: a,
            flasks: self.x.len(),
            rho: self.rho,
            pooled_sd: Some(libm::sqrt(self.scatter.factor)),
            g: Some(g),
            contributions,
            notes,
            pivot: Some(pivot),
        };
        out.conclude();
        Ok(out)
    }

    /// The covariance of the curve by origin: scatter of the flasks, noise of the traces.
    fn own_parts(&self) -> [(&'static str, Scope, super::function::Covariance, usize, f64); 2] {
        let estimated: Vec<f64> = self.scatter.shape.iter().map(|q| self.scatter.factor * q).collect();
        let dof = if self.scatter.dof > 0.0 { self.scatter.dof } else { f64::INFINITY };
        [
            ("calibration: scatter of the standards", Scope::Flask, self.line.covariance(&estimated), 0, dof),
            ("calibration: noise in the areas", Scope::Shot, self.line.covariance(&self.known), 2, f64::INFINITY),
        ]
    }

    /// What the intercept means beside the blank's response in the compound's window, where blanks were measured.
    ///
    /// Two questions, each answered by Student's t at its effective degrees of freedom: is the intercept 0, is it the
    /// blank's response? An intercept that is the blank's response is analyte that the standards' matrix holds of its
    /// own: what the flasks held before anything was added is then a/b, as in [`Curve::added_to`], and a line
    /// through zero is wrong by it. An intercept beside an empty blank has another cause: a bend, an integration that
    /// takes too much or too little from small peaks, a wrong stock.
    ///
    /// A line through zero is asked what one with intercept would have. `None` for power laws and below 3 residual degrees
    /// of freedom.
    pub fn intercept_check(&self, blank: Option<BlankResponse>) -> Option<InterceptCheck> {
        if self.dof < 3.0 || self.direct.is_some() {
            return None;
        }
        let Function::Polynomial([intercept, ..]) = self.line.function else { return None };
        if self.model == Model::ThroughZero {
            // What a line with intercept would have said.
            let flasks: Vec<Flask> = self.points.iter().map(|p| p.flask.clone()).collect();
            let options = CalibrationOptions {
                compound: self.compound.clone(),
                model: Model::Line,
                weighting: self.weighting.clone(),
                level: self.level,
                shared: self.shared.clone(),
                group_shared: self.group_shared.clone(),
                flask_type_b: self.flask_type_b.clone(),
            };
            return Curve::fit(&flasks, &options).ok()?.intercept_check(blank);
        }
        let mut pivot = Pivot::new(intercept, self.line.function, self.range)?;
        for (_, _, covariance, estimate, dof) in self.own_parts() {
            pivot.parts.push(Part { variance: Variance::of_curve(covariance), estimate, dof });
        }
        self.add_groups(&mut pivot, &mut Vec::new());
        let two_sided = |pivot: &Pivot, off: f64| {
            let u = libm::sqrt(pivot.variance(0.0));
            if u > 0.0 { 2.0 * student_t_cdf(-(off / u).abs(), pivot.dof(0.0)) } else { f64::NAN }
        };
        let (u, dof) = (libm::sqrt(pivot.variance(0.0)), pivot.dof(0.0));
        let p_zero = two_sided(&pivot, intercept);
        if p_zero.is_nan() {
            return None;
        }
        let mut p_blank = None;
        let mut shows = false;
        if let Some(b) = blank {
            let variance = Variance::constant(b.u * b.u);
            pivot.parts.push(Part { variance, estimate: 9, dof: b.dof.unwrap_or(f64::INFINITY) });
            p_blank = Some(two_sided(&pivot, intercept - b.response));
            shows = b.response.abs() > BLANK_SHOWS * b.u;
        }
        let meaning = match (blank.is_some(), shows) {
            (false, _) => InterceptMeaning::NoBlank,
            (true, false) => InterceptMeaning::BesideEmptyBlank,
            (true, true) if p_blank.is_some_and(|p| p < 0.05) => InterceptMeaning::OtherThanBlank,
            (true, true) => InterceptMeaning::NativeAnalyte,
        };
        let native = (meaning == InterceptMeaning::NativeAnalyte).then(|| self.added_to(&[]).ok()).flatten();
        Some(InterceptCheck {
            intercept,
            u,
            dof: dof.is_finite().then_some(dof),
            p_zero,
            blank,
            p_blank,
            meaning,
            native,
        })
    }
}

/// A blank shows where its response is this many standard uncertainties from 0 (one in 700 of empty ones does).
const BLANK_SHOWS: f64 = 3.2;

/// The response of blanks in the compound's own window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlankResponse {
    /// Mean over blank flasks.
    pub response: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
}

/// What an intercept stands for, where it is not 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum InterceptMeaning {
    /// No blank was measured.
    NoBlank,
    /// The blank is empty: an intercept has another cause than analyte.
    BesideEmptyBlank,
    /// The blank shows the same response: the standards' matrix holds analyte of its own.
    NativeAnalyte,
    /// The blank shows another response than the intercept.
    OtherThanBlank,
}

impl InterceptMeaning {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            InterceptMeaning::NoBlank => "no blank",
            InterceptMeaning::BesideEmptyBlank => "beside an empty blank",
            InterceptMeaning::NativeAnalyte => "analyte of the matrix",
            InterceptMeaning::OtherThanBlank => "other than the blank",
        }
    }
}

/// An intercept beside its blank.
#[derive(Clone, Debug, PartialEq)]
pub struct InterceptCheck {
    /// The intercept.
    pub intercept: f64,
    /// Its standard error.
    pub u: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
    /// Chance of an intercept so far from 0 if it were 0.
    pub p_zero: f64,
    /// The blank.
    pub blank: Option<BlankResponse>,
    /// Chance of an intercept so far from the blank's response if it were that.
    pub p_blank: Option<f64>,
    /// What it stands for.
    pub meaning: InterceptMeaning,
    /// Content that the standards' matrix holds of its own, where the blank agrees with the intercept.
    pub native: Option<Inverse>,
}

impl InterceptCheck {
    /// The chance that the check rests on: of the blank's response where that shows, otherwise of 0.
    pub fn p_value(&self) -> f64 {
        match self.meaning {
            InterceptMeaning::NativeAnalyte | InterceptMeaning::OtherThanBlank => self.p_blank.unwrap_or(self.p_zero),
            _ => self.p_zero,
        }
    }
}

impl fmt::Display for InterceptCheck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "intercept {:.4e} (standard error {:.2e})", self.intercept, self.u)?;
        if let Some(b) = self.blank {
            write!(f, ", blank {:.4e} (standard uncertainty {:.2e})", b.response, b.u)?;
        }
        match self.meaning {
            InterceptMeaning::NoBlank => f.write_str("; no blank was measured"),
            InterceptMeaning::BesideEmptyBlank => f.write_str("; the blank is empty"),
            InterceptMeaning::NativeAnalyte => f.write_str("; the blank agrees with it"),
            InterceptMeaning::OtherThanBlank => f.write_str("; the blank shows another response"),
        }
    }
}
