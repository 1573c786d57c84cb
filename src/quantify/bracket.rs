//! One standard, or one on either side of the sample: what such a result is worth.

use std::fmt;

use crate::error::{Error, ErrorKind, Result};
use crate::numeric::student_t_quantile;

/// Flasks of one standard, or of the sample.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlaskMeans {
    /// Content of the standard; not asked of a sample.
    pub content: f64,
    /// Mean response of each flask.
    pub responses: Vec<f64>,
}

/// A content from one standard or from two.
#[derive(Clone, Debug, PartialEq)]
pub struct Bracketed {
    /// The content.
    pub content: f64,
    /// Its standard uncertainty from the scatter of the flasks; `None` where too few flasks tell.
    pub u: Option<f64>,
    /// Degrees of freedom of that scatter.
    pub dof: f64,
    /// 95 % interval, content ± t·u.
    pub interval: Option<[f64; 2]>,
    /// Cautions.
    pub cautions: Vec<Caution>,
}

/// What a result from one or two standards takes for granted.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Caution {
    /// One standard proves neither a straight line nor that it goes through zero.
    OneStandard,
    /// The sample's response is this many times the standard's: the farther from 1, the more an intercept counts.
    FarFromStandard {
        /// Response of the sample over that of the standard.
        ratio: f64,
    },
    /// Between two standards the response is taken as straight.
    StraightBetween,
    /// The sample does not lie between the standards.
    OutsideBracket,
    /// Below 4 degrees of freedom there is no uncertainty.
    FewFlasks,
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Caution::OneStandard => f.write_str(
                "one standard: that the response is proportional to the content is taken for granted, and no number here \
                 shows it; a blank and a second level would",
            ),
            Caution::FarFromStandard { ratio } => write!(
                f,
                "the sample's response is {ratio:.2} times the standard's: an intercept would count in full; make a \
                 standard near the sample (0.8 to 1.2 times, common practice)"
            ),
            Caution::StraightBetween => {
                f.write_str("between the two standards the response is taken as straight; nothing here shows it")
            }
            Caution::OutsideBracket => {
                f.write_str("the sample does not lie between the standards: make one on either side of it")
            }
            Caution::FewFlasks => f.write_str(
                "too few flasks for an uncertainty (4 degrees of freedom are the least): make two or three of each",
            ),
        }
    }
}

/// Content by one standard, x = x_s·ȳ/ȳ_s.
///
/// u(x)/x = ρ·√(1/m + 1/m_s), ρ the relative standard deviation of one flask pooled over both. What the caution says is
/// not in u.
///
/// # Errors
/// No flask, a response that is not finite, a standard that is not positive.
///
/// ```
/// use vialbook::quantify::{FlaskMeans, by_one_standard};
/// let standard = FlaskMeans { content: 2.0, responses: vec![11.9, 12.1, 12.0] };
/// let sample = FlaskMeans { responses: vec![11.0, 10.8, 11.2], ..FlaskMeans::default() };
/// let found = by_one_standard(&standard, &sample)?;
/// assert!((found.content - 11.0 / 6.0).abs() < 1e-12 && found.dof == 4.0);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn by_one_standard(standard: &FlaskMeans, sample: &FlaskMeans) -> Result<Bracketed> {
    let ((ys, ss), (y, s)) = (standard.mean_and_squares("standard")?, sample.mean_and_squares("sample")?);
    standard.positive(ys)?;
    let (ms, m) = (standard.responses.len() as f64, sample.responses.len() as f64);
    let dof = ms + m - 2.0;
    let content = standard.content * y / ys;
    let rho2 = (ss / (ys * ys) + if y != 0.0 { s / (y * y) } else { 0.0 }) / dof;
    let mut cautions = vec![Caution::OneStandard];
    let ratio = y / ys;
    if !(0.8..=1.25).contains(&ratio) {
        cautions.push(Caution::FarFromStandard { ratio });
    }
    Ok(conclude(content, content * content * rho2 * (1.0 / m + 1.0 / ms), dof, cautions))
}

/// Content between two standards, x = x₁ + (x₂ - x₁)·(ȳ - ȳ₁)/(ȳ₂ - ȳ₁).
///
/// With t = (ȳ - ȳ₁)/(ȳ₂ - ȳ₁) and ρ the relative standard deviation of one flask pooled over all three,
/// u(x)² = ((x₂ - x₁)/(ȳ₂ - ȳ₁))²·ρ²·(ȳ²/m + (1 - t)²ȳ₁²/m₁ + t²ȳ₂²/m₂). Standards run before and after the sample
/// share its drift: that is what bracketing is for.
///
/// # Errors
/// As [`by_one_standard`]; two standards of one content or one response.
///
/// ```
/// use vialbook::quantify::{FlaskMeans, by_two_standards};
/// let low = FlaskMeans { content: 1.0, responses: vec![10.1, 9.9, 10.0] };
/// let high = FlaskMeans { content: 2.0, responses: vec![20.1, 19.9, 20.0] };
/// let sample = FlaskMeans { responses: vec![15.1, 14.9, 15.0], ..FlaskMeans::default() };
/// let found = by_two_standards(&low, &high, &sample)?;
/// assert!((found.content - 1.5).abs() < 1e-12 && found.u.is_some_and(|u| u < 0.01));
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn by_two_standards(low: &FlaskMeans, high: &FlaskMeans, sample: &FlaskMeans) -> Result<Bracketed> {
    let (y1, s1) = low.mean_and_squares("lower standard")?;
    let (y2, s2) = high.mean_and_squares("upper standard")?;
    let (y, s) = sample.mean_and_squares("sample")?;
    low.positive(y1)?;
    high.positive(y2)?;
    if low.content == high.content || y1 == y2 {
        return Err(Error::new(
            ErrorKind::Data,
            format!(
                "two standards of contents {} and {} with responses {y1} and {y2}; both must differ",
                low.content, high.content
            ),
        ));
    }
    let (m1, m2, m) = (low.responses.len() as f64, high.responses.len() as f64, sample.responses.len() as f64);
    let dof = m1 + m2 + m - 3.0;
    let t = (y - y1) / (y2 - y1);
    let slope = (high.content - low.content) / (y2 - y1);
    let rho2 = (s1 / (y1 * y1) + s2 / (y2 * y2) + if y != 0.0 { s / (y * y) } else { 0.0 }) / dof;
    let v = y * y / m + (1.0 - t) * (1.0 - t) * y1 * y1 / m1 + t * t * y2 * y2 / m2;
    let mut cautions = vec![Caution::StraightBetween];
    if !(0.0..=1.0).contains(&t) {
        cautions.push(Caution::OutsideBracket);
    }
    Ok(conclude(low.content + t * (high.content - low.content), slope * slope * rho2 * v, dof, cautions))
}

fn conclude(content: f64, variance: f64, dof: f64, mut cautions: Vec<Caution>) -> Bracketed {
    if dof < 4.0 {
        cautions.push(Caution::FewFlasks);
        return Bracketed { content, u: None, dof, interval: None, cautions };
    }
    let u = libm::sqrt(variance);
    let half = student_t_quantile(0.975, dof) * u;
    Bracketed { content, u: Some(u), dof, interval: Some([content - half, content + half]), cautions }
}

impl FlaskMeans {
    /// Mean, and sum of squares about it.
    fn mean_and_squares(&self, what: &str) -> Result<(f64, f64)> {
        if self.responses.is_empty() || self.responses.iter().any(|y| !y.is_finite()) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("the {what} has responses {:?}; one finite number for each flask is wanted", self.responses),
            ));
        }
        let mean = self.responses.iter().sum::<f64>() / self.responses.len() as f64;
        Ok((mean, self.responses.iter().map(|y| (y - mean) * (y - mean)).sum()))
    }

    fn positive(&self, mean: f64) -> Result<()> {
        if mean > 0.0 && self.content > 0.0 && self.content.is_finite() {
            return Ok(());
        }
        Err(Error::new(
            ErrorKind::Data,
            format!("a standard of content {} and mean response {mean}; positive numbers are wanted", self.content),
        ))
    }
}
