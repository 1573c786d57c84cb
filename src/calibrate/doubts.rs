//! What makes a fit impossible, said before it is tried; and what is doubtful about one that was made.

use super::curve::{Curve, whose};
use super::flasks::{CalibrationOptions, Flask, Model, SharedSource, Weighting};
use super::inverse::check_source;
use super::notes::CurveNote;
use super::solve::Form;
use super::variance::Standards;
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{chi_squared_sf, student_t_cdf};

/// Everything that makes a fit impossible, in sentences.
pub(super) fn check_input(flasks: &[Flask], options: &CalibrationOptions) -> Result<()> {
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
    for source in &options.group_shared {
        check_source(&SharedSource::new(source.name.clone(), source.relative_u))?;
        if let Some(label) = source.flasks.iter().find(|l| flasks.iter().all(|f| f.label != **l)) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("\"{}\" is shared by a flask \"{label}\" that is not among the standards", source.name),
            ));
        }
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
    let needed = options.model.form().parameters();
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
        if let Some(f) = used
            .iter()
            .find(|f| f.content == 0.0 && matches!(options.weighting, Weighting::InverseSquare | Weighting::Inverse))
        {
            return Err(data(format!("{}: content 0 has no weight {}", of(&f.label), options.weighting.words())));
        }
        if used.iter().all(|f| f.response == used[0].response) {
            return Err(data(format!(
                "{}: all responses are {}; content cannot be regressed on them",
                of(""),
                used[0].response
            )));
        }
        return Ok(());
    }
    check_levels(&used, options)?;
    for f in &used {
        if options.model == Model::LogLog {
            if f.content <= 0.0 || f.response <= 0.0 {
                return Err(data(format!(
                    "{}: content {} and response {} have no logarithm",
                    of(&f.label),
                    f.content,
                    f.response
                ))
                .hint("declare a power law, which takes responses as they are, or leave the flask out with a reason"));
            }
            continue;
        }
        if matches!(options.weighting, Weighting::InverseSquare | Weighting::Inverse) && f.content == 0.0 {
            return Err(data(format!("{}: content 0 has no weight {}", of(&f.label), options.weighting.words()))
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

/// Levels enough for the curve, and flasks enough for weights from replicates.
fn check_levels(used: &[&Flask], options: &CalibrationOptions) -> Result<()> {
    let of = |label: &str| whose(&options.compound, label);
    let mut levels: Vec<f64> = used.iter().map(|f| f.content).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    let enough = match options.model {
        Model::Quadratic => 5,
        Model::PowerLaw | Model::LogLog => 3,
        _ => 1,
    };
    if levels.len() < enough {
        return Err(Error::new(
            ErrorKind::Data,
            format!("{}: {} levels; a {} needs at least {enough}", of(""), levels.len(), options.model.words()),
        )
        .hint("make standards at other contents, or declare a straight line over a narrower range"));
    }
    if options.model == Model::PowerLaw && used.iter().filter(|f| f.content > 0.0 && f.response > 0.0).count() < 2 {
        return Err(Error::new(
            ErrorKind::Data,
            format!("{}: fewer than two standards have a content and a response above 0", of("")),
        ));
    }
    if options.weighting == Weighting::Replicates {
        for level in levels {
            let at: Vec<f64> = used.iter().filter(|f| f.content == level).map(|f| f.response).collect();
            if at.len() < LEAST_FLASKS_FOR_WEIGHTS || at.iter().all(|y| *y == at[0]) {
                return Err(Error::new(
                    ErrorKind::Data,
                    format!(
                        "{}: weights 1/s² rest on {} flasks at content {level}; {LEAST_FLASKS_FOR_WEIGHTS} different \
                         ones are the least",
                        of(""),
                        at.len()
                    ),
                )
                .hint("use the two-part variance: it pools all levels"));
            }
        }
    }
    Ok(())
}

/// Simulated: from 2 or 3 flasks a level the intervals cover 77 to 87 % where 95 % is meant.
const LEAST_FLASKS_FOR_WEIGHTS: usize = 10;

impl Curve {
    /// Doubts on the curve as it stands.
    pub(super) fn judge(&mut self, flasks: &[Flask]) {
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
            Weighting::None if ratio > 3.0 && !matches!(self.model, Model::InverseRegressionLine | Model::LogLog) => {
                notes.push(CurveNote::EqualWeightsOverWideRange { ratio: ratio.is_finite().then_some(ratio) });
            }
            Weighting::None if self.model == Model::LogLog => {}
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
        if let Some(at) = self.turns_at() {
            notes.push(CurveNote::TurnsInRange { at });
        }
        self.notes = notes;
    }

    /// The content at which a curve turns inside its range.
    fn turns_at(&self) -> Option<f64> {
        let branch = self.line.function.branch(self.range);
        branch.into_iter().find(|x| self.range[0] < *x && *x < self.range[1])
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
        let free = Standards { form: Form::Line, ..self.standards() }.scatter(None);
        let u = libm::sqrt(free.line.covariance(&free.variance)[0]);
        let Some((intercept, _)) = free.line.function.as_line() else { return };
        let dof = if free.dof > 0.0 { free.dof.max(1.0) } else { f64::INFINITY };
        let t = intercept / u;
        let p_value = 2.0 * student_t_cdf(-t.abs(), dof);
        if p_value < 0.05 {
            notes.push(CurveNote::InterceptNotZero { intercept, p_value });
        }
    }
}
