//! Critical value, detection limit, quantitation limit, each with its method and its own range.

use std::fmt;

use super::curve::Curve;
use super::flasks::Weighting;
use super::function::quadratic_form;
use super::pivot::{Part, Pivot, Variance};
use super::solve::Form;
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{chi_squared_quantile, find_root, normal_quantile, student_t_quantile};

/// Where the variance of one flask mean at content zero comes from.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub enum ZeroVariance {
    /// From the calibration: the area uncertainty of the lowest standards (two-part variance), or s(y/x) (equal weights).
    #[default]
    FromCurve,
    /// The standard uncertainty of the area of one flask mean, integrated in the compound's own window at zero.
    Area {
        /// It, in units of the response.
        u: f64,
    },
    /// Blank flasks integrated in a forced window: one mean response per flask, 5 or more.
    Blanks {
        /// Their responses, negative ones included.
        responses: Vec<f64>,
    },
}

/// What is fixed before limits are worked out.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitOptions {
    /// Chance to call a blank detected (default 0.05).
    pub false_positive: f64,
    /// Chance to miss a sample at the detection limit (default 0.05).
    pub false_negative: f64,
    /// Number of flasks m that a sample's mean rests on (default 3).
    pub flasks: usize,
    /// Where the variance at zero comes from.
    pub zero: ZeroVariance,
    /// Relative standard uncertainty that makes a content quantifiable (default 0.10).
    pub quantitation_relative_u: f64,
}

impl Default for LimitOptions {
    fn default() -> Self {
        LimitOptions {
            false_positive: 0.05,
            false_negative: 0.05,
            flasks: 3,
            zero: ZeroVariance::FromCurve,
            quantitation_relative_u: 0.10,
        }
    }
}

/// A limit by a convention: `factor`·s/b, worthless unless it says which s.
#[derive(Clone, Debug, PartialEq)]
pub struct ConventionalLimit {
    /// 3.3 or 10 (ICH Q2(R2), 2023).
    pub factor: f64,
    /// Which standard deviation.
    pub s_name: &'static str,
    /// It, in units of the response.
    pub s: f64,
    /// The limit, in units of the content.
    pub content: f64,
}

impl fmt::Display for ConventionalLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} s/b with s the {}", self.factor, self.s_name)
    }
}

/// What can be told from nothing, and what can be told in numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Response above which a sample counts as detected.
    pub critical_response: f64,
    /// The same as a content.
    pub critical_content: f64,
    /// Content that is missed with the stated chance; `None` where the scatter never lets one be found.
    pub detection_limit: Option<f64>,
    /// Range in which the true detection limit lies, given what scatter and slope are worth: nominally 95 %, simulated
    /// 87 to 96 %.
    pub detection_range: Option<[f64; 2]>,
    /// Content from which the relative standard uncertainty is at most as stated; `None` where it never is.
    pub quantitation_limit: Option<f64>,
    /// Standard deviation of one flask mean at zero.
    pub sd_at_zero: f64,
    /// Effective degrees of freedom at zero; `None` where there is no limit.
    pub dof: Option<f64>,
    /// 3.3 s/b and 10 s/b, each with its s.
    pub conventional: Vec<ConventionalLimit>,
    /// How critical value and detection limit were worked out.
    pub method: String,
    /// How the quantitation limit was worked out.
    pub quantitation_method: String,
    /// Doubts.
    pub notes: Vec<LimitNote>,
}

/// A doubt on limits.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum LimitNote {
    /// s(y/x) of a wide range stands for the scatter at zero.
    ResidualScatterOverWideRange,
    /// The noise of the lowest standards stands for that of a blank.
    NoiseOfLowestStandards,
    /// All standards lie far above the detection limit.
    StandardsFarAbove {
        /// Lowest standard over detection limit.
        ratio: f64,
    },
    /// The scatter is too large for any content to be found surely.
    NeverDetected,
    /// The relative uncertainty never gets small enough.
    NeverQuantified,
}

impl fmt::Display for LimitNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LimitNote::ResidualScatterOverWideRange => f.write_str(
                "s(y/x) of a wide range stands for the scatter at zero and can be several times too large: \
                 integrate a blank in the compound's window and use the two-part variance",
            ),
            LimitNote::NoiseOfLowestStandards => f.write_str(
                "the area noise of the lowest standards stands for that of a blank: \
                 integrate a blank in the compound's window",
            ),
            LimitNote::StandardsFarAbove { ratio } => write!(
                f,
                "the lowest standard is {ratio:.1} times the detection limit: \
                 what happens at the limit was not seen; make a standard near it"
            ),
            LimitNote::NeverDetected => {
                f.write_str("the scatter is so large that no content is found with the stated chance; make more flasks")
            }
            LimitNote::NeverQuantified => f.write_str(
                "the relative uncertainty stays above the stated share at any content; make more flasks, \
                 or state a larger share",
            ),
        }
    }
}

impl Curve {
    /// Critical value, detection limit and quantitation limit.
    ///
    /// With V(x) = v(x)/m + var(a + b·x), v the variance of one flask mean: critical response a + t(1-α)·√V(0);
    /// critical content x_c = t(1-α)·√V(0)/b; detection limit the x with b·x = b·x_c + t(1-β)·√V(x). So L. A. Currie
    /// (Pure Appl. Chem. 67 (1995) 1699-1723) and ISO 11843-2, except that the line's uncertainty is taken at x
    /// and the second t is central: a limit that is itself estimated then misses β on average. With var(a) in its place
    /// and the limit 2·x_c that DIN 32645 takes for α = β, 2.7 % were missed where 5 % is meant (standards from the
    /// detection limit to 10 times that). Degrees of freedom after Welch and Satterthwaite. The quantitation limit is the
    /// content whose relative standard uncertainty, all sources included, falls to the stated share.
    ///
    /// Simulated false and miss rates: 4 to 6 % with noise at zero 0.01 and ρ = 1.5 %.
    ///
    /// # Errors
    /// Below 3 residual degrees of freedom; options out of range; nothing known about the variance at zero; a curve
    /// of content on response.
    pub fn limits(&self, options: &LimitOptions) -> Result<Limits> {
        self.check_limits(options)?;
        let m = options.flasks as f64;
        let function = self.line.function;
        let mut notes = Vec::new();
        // The variance of one flask mean: what is known or from blanks, then what the scatter adds with content.
        let (zero, zero_dof, source) = self.at_zero(options, &mut notes)?;
        let factor = self.scatter.factor;
        let dof = if self.scatter.dof > 0.0 { self.scatter.dof } else { f64::INFINITY };
        let none = Variance::default();
        let growing = match self.weighting {
            Weighting::TwoPart => Variance { rise_square: factor, ..none },
            Weighting::InverseSquare => Variance { content_square: factor, ..none },
            Weighting::Inverse => Variance { content: factor, ..none },
            Weighting::InverseResponse => Variance { response: factor, ..none },
            _ => none,
        };
        let equal = zero_dof.is_none();
        let constant = Variance::constant(zero / m);
        let estimated: Vec<f64> = self.scatter.shape.iter().map(|q| factor * q).collect();
        let (line_estimated, line_known) = (self.line.covariance(&estimated), self.line.covariance(&self.known));
        let start = self.intercept();
        let Some(mut about_zero) = Pivot::new(start, function, self.range) else {
            return Err(Error::new(ErrorKind::Data, format!("{}: the curve has no content zero", self.whose(""))));
        };
        about_zero.parts = vec![
            Part { variance: constant, estimate: if equal { 0 } else { 1 }, dof: zero_dof.unwrap_or(dof) },
            Part { variance: growing.times(1.0 / m), estimate: 0, dof },
            Part { variance: Variance::of_curve(line_estimated), estimate: 0, dof },
            Part { variance: Variance::of_curve(line_known), estimate: 2, dof: f64::INFINITY },
        ];
        for (k, (_, covariance)) in self.group_covariances().into_iter().enumerate() {
            let variance = Variance::of_curve(covariance);
            about_zero.parts.push(Part { variance, estimate: 10 + k, dof: f64::INFINITY });
        }
        let direction = about_zero.direction();
        let quantile = |tail: f64, x: f64| student_t_quantile(1.0 - tail, about_zero.dof(x));
        let lift = quantile(options.false_positive, 0.0) * libm::sqrt(about_zero.variance(0.0));
        let critical_response = start + lift * direction;
        let critical_content = match function.as_line() {
            Some((_, b)) => lift / b.abs(),
            None => function.content_of(critical_response, about_zero.branch).unwrap_or(f64::INFINITY),
        };
        let detection_limit = detection(&about_zero, lift, |x| quantile(options.false_negative, x));
        let detection_range = detection_limit.map(|limit| {
            let nu = about_zero.dof(limit);
            let z = normal_quantile(0.975);
            let steep = function.slope_gradient(limit);
            let slope_variance = quadratic_form(&line_estimated, steep) + quadratic_form(&line_known, steep);
            let slope = z * libm::sqrt(slope_variance) / function.slope(limit).abs();
            let spread = |p: f64| {
                if nu.is_finite() { -0.5 * libm::log(chi_squared_quantile(p, nu.max(1.0)) / nu.max(1.0)) } else { 0.0 }
            };
            let end = |p: f64, sign: f64| {
                let scatter = spread(p);
                limit * libm::exp(sign * libm::sqrt(scatter * scatter + slope * slope))
            };
            [end(0.975, -1.0), end(0.025, 1.0)]
        });
        let q = options.quantitation_relative_u;
        let mut whole = about_zero.clone();
        let shared: f64 = self.shared.iter().map(|s| s.relative_u * s.relative_u).sum();
        whole.parts.push(Part { variance: Variance { shared, ..none }, estimate: 3, dof: f64::INFINITY });
        let quantitation_limit = relative_content(&whole, q, critical_content);
        if detection_limit.is_none() {
            notes.push(LimitNote::NeverDetected);
        }
        if quantitation_limit.is_none() {
            notes.push(LimitNote::NeverQuantified);
        }
        if let Some(ratio) = detection_limit.map(|d| self.range[0] / d).filter(|r| *r > 5.0) {
            notes.push(LimitNote::StandardsFarAbove { ratio });
        }
        let nu = about_zero.dof(0.0);
        let plural = if options.flasks == 1 { "one flask".to_owned() } else { format!("the mean of {m} flasks") };
        Ok(Limits {
            critical_response,
            critical_content,
            detection_limit,
            detection_range,
            quantitation_limit,
            sd_at_zero: libm::sqrt(zero),
            dof: nu.is_finite().then_some(nu),
            conventional: self.conventional(libm::sqrt(zero)),
            method: format!(
                "Currie 1995 / ISO 11843-2, α = {}, β = {}, for {plural}; variance at zero from {source}",
                options.false_positive, options.false_negative
            ),
            quantitation_method: format!(
                "content whose relative standard uncertainty, calibration included, is {} % for {plural}",
                100.0 * q
            ),
            notes,
        })
    }

    /// Variance of one flask mean at zero, its degrees of freedom (`None` where it is the curve's own scatter), and
    /// where it comes from.
    fn at_zero(&self, options: &LimitOptions, notes: &mut Vec<LimitNote>) -> Result<(f64, Option<f64>, &'static str)> {
        let wide = self.range[0] <= 0.0 || self.range[1] / self.range[0] > 3.0;
        match &options.zero {
            ZeroVariance::Area { u } => Ok((u * u, Some(f64::INFINITY), "the noise in the compound's own window")),
            ZeroVariance::Blanks { responses } => {
                let n = responses.len() as f64;
                let mean = responses.iter().sum::<f64>() / n;
                let v = responses.iter().map(|y| (y - mean) * (y - mean)).sum::<f64>() / (n - 1.0);
                Ok((v, Some(n - 1.0), "the scatter of blank flasks"))
            }
            ZeroVariance::FromCurve => match self.weighting {
                Weighting::None => {
                    if wide {
                        notes.push(LimitNote::ResidualScatterOverWideRange);
                    }
                    Ok((self.scatter.factor, None, "s(y/x) of the calibration"))
                }
                Weighting::TwoPart if self.known.iter().any(|&k| k > 0.0) => {
                    notes.push(LimitNote::NoiseOfLowestStandards);
                    let low: Vec<f64> =
                        (0..self.x.len()).filter(|&i| self.x[i] <= self.range[0]).map(|i| self.known[i]).collect();
                    let v = low.iter().sum::<f64>() / low.len() as f64;
                    Ok((v, Some(f64::INFINITY), "the area noise of the lowest standards"))
                }
                _ => Err(Error::new(
                    ErrorKind::Data,
                    format!("{}: nothing is known about the scatter at zero, so there are no limits", self.whose("")),
                )
                .hint("integrate a blank in the compound's window, or inject 5 or more blank flasks")),
            },
        }
    }

    fn conventional(&self, sd_at_zero: f64) -> Vec<ConventionalLimit> {
        let mut kinds = vec![("standard deviation of one flask at zero", sd_at_zero)];
        if let (Weighting::None, Some(s)) = (&self.weighting, self.residual_sd) {
            kinds.push(("residual standard deviation s(y/x)", s));
        }
        if let Some(s) = self.coefficients.iter().find(|c| c.name == "intercept").and_then(|c| c.standard_error) {
            kinds.push(("standard error of the intercept", s));
        }
        let mut out = Vec::new();
        // Where the curve bends, s/b is taken at content 0; a power law has no slope there.
        let slope = self.line.function.slope(0.0).abs();
        if !(slope > 0.0 && slope.is_finite()) {
            return out;
        }
        for (s_name, s) in kinds {
            for factor in [3.3, 10.0] {
                out.push(ConventionalLimit { factor, s_name, s, content: factor * s / slope });
            }
        }
        out
    }

    fn check_limits(&self, options: &LimitOptions) -> Result<()> {
        let option = |what: String| Err(Error::new(ErrorKind::Option, format!("limits: {what}")));
        for (name, p) in [("false-positive", options.false_positive), ("false-negative", options.false_negative)] {
            if !(p > 0.0 && p < 0.5) {
                return option(format!("a {name} chance of {p}; a number between 0 and 0.5 is wanted, such as 0.05"));
            }
        }
        if options.flasks == 0 {
            return option("0 flasks a sample; at least 1 is wanted".to_owned());
        }
        if !(options.quantitation_relative_u > 0.0 && options.quantitation_relative_u.is_finite()) {
            return option(format!(
                "a relative uncertainty of {} for quantitation; a positive number is wanted, such as 0.1",
                options.quantitation_relative_u
            ));
        }
        match &options.zero {
            ZeroVariance::Area { u } if !(*u > 0.0 && u.is_finite()) => {
                return option(format!("an area uncertainty at zero of {u}; a positive number is wanted"));
            }
            ZeroVariance::Blanks { responses } if responses.len() < 5 || responses.iter().any(|y| !y.is_finite()) => {
                return option(format!("{} blank flasks; 5 or more finite responses are wanted", responses.len()));
            }
            _ => {}
        }
        if self.direct.is_some() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: a curve of content on response has no detection limit", self.whose("")),
            )
            .hint("calibrate response on content"));
        }
        if self.line.form == Form::LogLog {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: a line of logarithms has no content 0 and so no detection limit", self.whose("")),
            )
            .hint("declare a power law"));
        }
        if self.dof < 3.0 {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{}: {} residual degrees of freedom; limits need at least 3", self.whose(""), self.dof),
            )
            .hint("make more standard flasks"));
        }
        Ok(())
    }
}

/// The x with |f(x) - f(0)| = lift + t(x)·√V(x).
fn detection(about_zero: &Pivot, lift: f64, t: impl Fn(f64) -> f64) -> Option<f64> {
    let f = &about_zero.function;
    let rise = |x: f64| (f.at(x) - f.at(0.0)).abs();
    let short = |x: f64| lift + t(x) * libm::sqrt(about_zero.variance(x)) - rise(x);
    let scale = match f.as_line() {
        Some((_, b)) => lift / b.abs(),
        None => f.content_of(about_zero.response + lift * about_zero.direction(), about_zero.branch)?,
    };
    let mut low = scale;
    let mut high = 2.0 * low;
    for _ in 0..60 {
        if high > about_zero.branch[1] {
            return None;
        }
        if short(high) <= 0.0 {
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if short(middle) > 0.0 { low = middle } else { high = middle }
            }
            return Some(high);
        }
        low = high;
        high *= 2.0;
    }
    None
}

/// The content from which √V(x)/|f'(x)| ≤ q·x; sought upwards from `near`.
fn relative_content(whole: &Pivot, q: f64, near: f64) -> Option<f64> {
    let f = &whole.function;
    let missing = |x: f64| libm::sqrt(whole.variance(x)) - q * f.relative_slope(x).abs();
    let mut low = 1e-3 * near;
    if !(low > 0.0 && low.is_finite()) {
        return None;
    }
    let mut high = low;
    for _ in 0..60 {
        if missing(high) <= 0.0 {
            return if high == low { Some(high) } else { find_root(missing, low, high, 1e-14 * high).ok() };
        }
        low = high;
        high *= 2.0;
        if high > whole.branch[1] {
            return None;
        }
    }
    None
}
