//! Decision against limits, by a rule fixed beforehand.

use std::fmt;

use crate::calibrate::Inverse;
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::student_t_quantile;

/// Limits on a true content, and how sure one must be.
///
/// Accepted where P(true content within the limits) ≥ p, rejected where P(outside) ≥ p, undecided between. The
/// probabilities come from the pivot of the calibration, so that at a true content equal to a limit the wrong verdict
/// falls in 1 - p of all cases. JCGM 106:2012 calls this a rule with guard bands: [`DecisionRule::guarded`] gives
/// the values between which a result is accepted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecisionRule {
    /// Lower limit; `None` where there is none.
    pub low: Option<f64>,
    /// Upper limit; `None` where there is none.
    pub high: Option<f64>,
    /// Probability p wanted, between 0.5 and 1 (default 0.95).
    pub probability: f64,
}

impl Default for DecisionRule {
    fn default() -> Self {
        DecisionRule { low: None, high: None, probability: 0.95 }
    }
}

/// What a rule comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limits.
    Accept,
    /// Outside the limits.
    Reject,
    /// Neither can be said with the probability wanted.
    Undecided,
}

/// A verdict with its probabilities.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decision {
    /// The rule.
    pub rule: DecisionRule,
    /// The verdict.
    pub verdict: Verdict,
    /// P(true content within the limits); the risk of a wrong rejection. `None` without inference.
    pub within: Option<f64>,
    /// P(true content outside the limits); the risk of a wrong acceptance. `None` without inference.
    pub outside: Option<f64>,
    /// Contents found between which the rule accepts (guard bands of JCGM 106, from the linearised u); an end is
    /// `None` where there is no limit, both where u is withheld.
    pub accepted_between: [Option<f64>; 2],
}

impl DecisionRule {
    /// At most `high`.
    pub fn at_most(high: f64, probability: f64) -> Self {
        DecisionRule { low: None, high: Some(high), probability }
    }

    /// At least `low`.
    pub fn at_least(low: f64, probability: f64) -> Self {
        DecisionRule { low: Some(low), high: None, probability }
    }

    /// The verdict on a content, whose unit is that of the limits.
    ///
    /// # Errors
    /// No limit, limits in the wrong order, or a probability outside 0.5 to 1.
    pub fn decide(&self, content: &Inverse) -> Result<Decision> {
        self.check()?;
        let below = |x: Option<f64>| x.map_or(Some(0.0), |x| content.probability_above(x).map(|p| 1.0 - p));
        let above = |x: Option<f64>| x.map_or(Some(0.0), |x| content.probability_above(x));
        let outside = below(self.low).zip(above(self.high)).map(|(a, b)| (a + b).min(1.0));
        let within = outside.map(|p| 1.0 - p);
        let verdict = match (within, outside) {
            (Some(p), _) if p >= self.probability => Verdict::Accept,
            (_, Some(p)) if p >= self.probability => Verdict::Reject,
            _ => Verdict::Undecided,
        };
        let accepted_between = content.u.map_or([None, None], |u| self.guarded(u, content.dof));
        Ok(Decision { rule: *self, verdict, within, outside, accepted_between })
    }

    /// The limits drawn in by the guard band w = t(p)·u: a result between them is accepted. `dof` is `None` where
    /// there is no limit. Lower end above the upper: no result is accepted, the limits are too close for this u.
    ///
    /// ```
    /// use vialbook::quantify::DecisionRule;
    /// let ends = DecisionRule::at_most(10.0, 0.95).guarded(0.5, None);
    /// assert!(ends[0].is_none() && ends[1].is_some_and(|x| (x - (10.0 - 1.6449 * 0.5)).abs() < 1e-4));
    /// ```
    pub fn guarded(&self, u: f64, dof: Option<f64>) -> [Option<f64>; 2] {
        let band = student_t_quantile(self.probability, dof.unwrap_or(f64::INFINITY)) * u;
        [self.low.map(|x| x + band), self.high.map(|x| x - band)]
    }

    fn check(&self) -> Result<()> {
        let bad = |what: String| Err(Error::new(ErrorKind::Option, format!("decision: {what}")));
        if !(self.probability > 0.5 && self.probability < 1.0) {
            return bad(format!("a probability of {}; a number between 0.5 and 1 is wanted", self.probability));
        }
        match (self.low, self.high) {
            (None, None) => bad("no limit is given".to_owned()),
            (Some(low), Some(high)) if low >= high => {
                bad(format!("limits from {low} to {high}; the lower one must be the smaller"))
            }
            _ if [self.low, self.high].iter().flatten().any(|x| !x.is_finite()) => {
                bad("a limit that is not a finite number".to_owned())
            }
            _ => Ok(()),
        }
    }
}

impl fmt::Display for Decision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let limits = match (self.rule.low, self.rule.high) {
            (Some(low), Some(high)) => format!("between {low} and {high}"),
            (Some(low), None) => format!("at least {low}"),
            (None, Some(high)) => format!("at most {high}"),
            (None, None) => "without a limit".to_owned(),
        };
        let p = 100.0 * self.rule.probability;
        let Some((within, outside)) = self.within.zip(self.outside) else {
            return write!(f, "{limits}: undecided, for there is no uncertainty to judge by; make more flasks");
        };
        let (within, outside) = (100.0 * within, 100.0 * outside);
        match self.verdict {
            Verdict::Accept => write!(
                f,
                "{limits}: accepted, probability {within:.1} % ({p} % wanted); risk of a wrong acceptance {outside:.1} %"
            ),
            Verdict::Reject => write!(
                f,
                "{limits}: rejected, probability of lying outside {outside:.1} % ({p} % wanted); \
                 risk of a wrong rejection {within:.1} %"
            ),
            Verdict::Undecided => write!(
                f,
                "{limits}: undecided, probability {within:.1} % within and {outside:.1} % outside, {p} % wanted; \
                 make more flasks of the sample"
            ),
        }
    }
}
