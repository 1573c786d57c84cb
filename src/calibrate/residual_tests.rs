//! What the residuals say about the curve: curvature, scatter that grows, runs of signs, shape, the largest of them.

use std::fmt;

use super::curve::Curve;
use super::design::{Design, lower, p_text, upper};
use super::flasks::Model;
use super::solve::{Form, Orthogonal};
use crate::numeric::fisher_f_sf;

/// What a test of residuals asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ResidualQuestion {
    /// Does a quadratic fit better than the line?
    Curvature,
    /// Does the highest level lie off the line through the others?
    TopLevel,
    /// Does the scatter grow or shrink with the response more than the weights allow for?
    UnequalScatter,
    /// Do residuals of one sign follow each other along the contents?
    RunsOfSigns,
    /// Are the residuals shaped like normal ones?
    Normality,
    /// Is one flask farther off than the largest of so many should be?
    LargestResidual,
}

impl ResidualQuestion {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            ResidualQuestion::Curvature => "curvature",
            ResidualQuestion::TopLevel => "top level",
            ResidualQuestion::UnequalScatter => "unequal scatter",
            ResidualQuestion::RunsOfSigns => "runs of signs",
            ResidualQuestion::Normality => "normality",
            ResidualQuestion::LargestResidual => "largest residual",
        }
    }

    /// What to do where it is answered with yes.
    pub fn next(self) -> &'static str {
        match self {
            ResidualQuestion::Curvature => {
                "look at the residuals along the contents: use a narrower range, dilute the highest levels, or declare \
                 a quadratic before the next study; a curve chosen because a test says so covers less"
            }
            ResidualQuestion::TopLevel => {
                "column or detector may be overloaded, or this level is wrong: look at its peak shapes, dilute it, or leave the \
                 level out with a reason; samples up there are to be diluted"
            }
            ResidualQuestion::UnequalScatter => {
                "look at the residuals along the responses: the weights do not fit the scatter; the two-part variance \
                 follows most detectors"
            }
            ResidualQuestion::RunsOfSigns => {
                "neighbouring levels are off in the same direction: look for a bend, a wrong level or drift over the day"
            }
            ResidualQuestion::Normality => {
                "look for one or two flasks that were made or integrated differently from the rest"
            }
            ResidualQuestion::LargestResidual => {
                "check this flask's label, dilution and integration; leave it out only with a reason in the log"
            }
        }
    }
}

/// A test of residuals.
#[derive(Clone, Debug, PartialEq)]
pub struct ResidualTest {
    /// What it asks.
    pub question: ResidualQuestion,
    /// The statistic.
    pub statistic: f64,
    /// What the statistic is, such as "F(1, 7)".
    pub statistic_name: String,
    /// Chance of one as extreme where nothing is wrong: exact for curvature and top level, otherwise from 10,000 seeded draws of the
    /// same design, and so not below 0.0001. To be adjusted for the number of tests of a study.
    pub p_value: f64,
    /// What was seen.
    pub evidence: String,
}

impl fmt::Display for ResidualTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let p = p_text(self.p_value);
        write!(f, "{}: {} = {:.3}, {p}; {}", self.question.words(), self.statistic_name, self.statistic, self.evidence)
    }
}

impl Curve {
    /// Tests of the residuals; empty below 3 residual degrees of freedom, without scatter, and for content regressed on
    /// response.
    ///
    /// - Curvature (line only): F = (RSS₁ - RSS₂)/(RSS₂/(n - 3)) of the quadratic with the line's weights, Mandel's
    ///   test as in ISO 8466-1.
    /// - Top level (line, four levels or more): F of a shift of the highest level beside the line through the others.
    /// - Unequal scatter: n·R² of the squared weighted residuals on the fitted responses (T. S. Breusch and A. R.
    ///   Pagan, Econometrica 47 (1979) 1287-1294, in the form of R. Koenker, J. Econometrics 17 (1981) 107-112).
    /// - Runs of signs along the contents: their number; few are suspect.
    /// - Normality: W' of S. S. Shapiro and R. S. Francia, J. Am. Statist. Assoc. 67 (1972) 215-216, with Blom's scores.
    /// - Largest standardised residual (W. Stefansky, Technometrics 14 (1972) 469-479).
    ///
    /// p-values come from 10,000 seeded normal draws of the very design, so their size is exact where the weights
    /// are known up to a factor; with the two-part variance they hold to its estimate. The first call of a design
    /// takes some 10 ms, later ones microseconds. Power is small in small designs: a p-value that is not small proves
    /// nothing.
    ///
    /// ```
    /// use vialbook::calibrate::{CalibrationOptions, Curve, Flask, ResidualQuestion, Weighting};
    /// let flasks: Vec<Flask> = (1..=8)
    ///     .map(f64::from)
    ///     .map(|x| Flask::reading(format!("S{x}"), x, x * (1.0 - 0.02 * x) + 0.01 * (7.0 * x).sin()))
    ///     .collect();
    /// let curve = Curve::fit(&flasks, &CalibrationOptions::weighted(Weighting::None))?;
    /// let bend = curve.residual_tests().into_iter().find(|t| t.question == ResidualQuestion::Curvature);
    /// assert!(bend.is_some_and(|t| t.p_value < 1e-4));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn residual_tests(&self) -> Vec<ResidualTest> {
        let n = self.x.len();
        if self.dof < 3.0 || self.model == Model::InverseRegressionLine {
            return Vec::new();
        }
        let w = self.unit_weights();
        let e: Vec<f64> = (0..n).map(|i| libm::sqrt(w[i]) * (self.y[i] - self.line.fitted[i])).collect();
        let rss: f64 = e.iter().map(|e| e * e).sum();
        let size: f64 = (0..n).map(|i| w[i] * self.y[i] * self.y[i]).sum();
        if rss <= 1e-24 * size {
            return Vec::new();
        }
        let columns = self.columns();
        let mut all: Vec<ResidualTest> = self.curvature(&columns, &w, &e, rss).into_iter().collect();
        all.extend(self.top_level(&columns, &w, &e, rss));
        // A line's fitted responses are its contents over again, whatever its coefficients.
        let straight = self.line.function.as_line().is_some();
        let trend = if straight { &self.x } else { &self.line.fitted };
        let design = Design::of(&columns, &w, &self.x, trend);
        let seen = design.statistics(&e, &mut Vec::with_capacity(n));
        let null = design.null();
        let mut add = |question, statistic, name: &str, p_value, evidence| {
            all.push(ResidualTest { question, statistic, statistic_name: name.to_owned(), p_value, evidence });
        };
        let falls = straight && self.slope() < 0.0;
        let grows = if (seen.trend_correlation > 0.0) != falls { "grow" } else { "shrink" };
        add(
            ResidualQuestion::UnequalScatter,
            seen.trend,
            "n·R²",
            upper(&null.trend, seen.trend),
            format!("the weighted residuals {grows} with the response"),
        );
        add(
            ResidualQuestion::RunsOfSigns,
            seen.runs as f64,
            "runs",
            lower(&null.runs, seen.runs as f64),
            format!("{} runs of signs over {n} flasks", seen.runs),
        );
        add(
            ResidualQuestion::Normality,
            seen.normality,
            "W'",
            lower(&null.normality, seen.normality),
            "squared correlation of the ordered residuals with those of normal draws".to_owned(),
        );
        let whose = self.used().nth(seen.largest_at).map_or("", |p| p.flask.label.as_str());
        let (p, sd) = (upper(&null.largest, seen.largest), seen.largest);
        let evidence = format!("{whose} lies {sd:.1} standard deviations off the curve");
        add(ResidualQuestion::LargestResidual, seen.largest, "largest |t|", p, evidence);
        all
    }

    /// The flasks used.
    fn used(&self) -> impl Iterator<Item = &super::CalibrationPoint> {
        self.points.iter().filter(|p| p.leverage.is_some())
    }

    /// The columns of the model, linearised where it bends in its coefficients.
    pub(super) fn columns(&self) -> Vec<Vec<f64>> {
        let rows: Vec<[f64; 3]> = self.x.iter().map(|&x| self.line.function.gradient(x)).collect();
        let wanted: &[usize] = match self.line.form {
            Form::ThroughZero => &[1],
            Form::Quadratic => &[0, 1, 2],
            _ => &[0, 1],
        };
        wanted.iter().map(|&j| rows.iter().map(|g| g[j]).collect()).collect()
    }

    /// Mandel's test.
    fn curvature(&self, columns: &[Vec<f64>], w: &[f64], e: &[f64], rss: f64) -> Option<ResidualTest> {
        let rest = self.dof - 1.0;
        if self.line.form != Form::Line || rest < 1.0 {
            return None;
        }
        // The square about the weighted mean, so that few digits are lost.
        let centre = w.iter().zip(&self.x).map(|(w, x)| w * x).sum::<f64>() / w.iter().sum::<f64>();
        let scale = self.range[1] - self.range[0];
        let d: Vec<f64> = self.x.iter().map(|x| (x - centre) / scale).collect();
        let square: Vec<f64> = d.iter().map(|d| d * d).collect();
        let three = Orthogonal::of(&[columns[0].clone(), d, square], w);
        let q = &three.q[2];
        // Two levels leave nothing of the square.
        let mut levels = self.x.clone();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        if levels.len() < 3 {
            return None;
        }
        let along: f64 = q.iter().zip(e).map(|(q, e)| q * e).sum();
        let gain = along * along;
        let f = gain / ((rss - gain).max(1e-30 * rss) / rest);
        let c: f64 = three.gain.iter().zip(&self.y).map(|(g, y)| g[2] * y).sum::<f64>() / (scale * scale);
        let sag = -0.25 * c * scale * scale / self.line.at(self.range[1]).abs();
        let direction = if sag > 0.0 { "above" } else { "below" };
        Some(ResidualTest {
            question: ResidualQuestion::Curvature,
            statistic: f,
            statistic_name: format!("F(1, {rest})"),
            p_value: fisher_f_sf(f, 1.0, rest),
            evidence: format!(
                "the best quadratic passes {direction} its chord by {:.2} % of the top response in the middle",
                100.0 * sag.abs()
            ),
        })
    }

    /// A shift of the highest level, tested as one more coefficient.
    fn top_level(&self, columns: &[Vec<f64>], w: &[f64], e: &[f64], rss: f64) -> Option<ResidualTest> {
        let rest = self.dof - 1.0;
        let mut levels = self.x.clone();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        if !matches!(self.line.form, Form::Line | Form::ThroughZero) || rest < 1.0 || levels.len() < 4 {
            return None;
        }
        let top = *levels.last()?;
        let at_top: Vec<f64> = self.x.iter().map(|&x| f64::from(u8::from(x == top))).collect();
        let p = columns.len();
        let mut design = columns.to_vec();
        design.push(at_top.clone());
        let with = Orthogonal::of(&design, w);
        let along: f64 = with.q[p].iter().zip(e).map(|(q, e)| q * e).sum();
        let gain = along * along;
        let f = gain / ((rss - gain).max(1e-30 * rss) / rest);
        let shift: f64 = with.gain.iter().zip(&self.y).map(|(g, y)| g[p] * y).sum();
        let weight: f64 = w.iter().zip(&at_top).map(|(w, t)| w * t).sum();
        let seen = w.iter().zip(&at_top).zip(&self.y).map(|((w, t), y)| w * t * y).sum::<f64>() / weight;
        let off = 100.0 * shift / (seen - shift).abs();
        let side = if off > 0.0 { "above" } else { "below" };
        Some(ResidualTest {
            question: ResidualQuestion::TopLevel,
            statistic: f,
            statistic_name: format!("F(1, {rest})"),
            p_value: fisher_f_sf(f, 1.0, rest),
            evidence: format!("the highest level lies {:.2} % {side} the line through the others", off.abs()),
        })
    }
}
