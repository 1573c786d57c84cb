//! Which baseline, with its settings; a name and a few minutes each.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::blocks::{Blocks, interpolate, middle_of_the_noise};
use super::{clipping, morphology, polynomial, straight_line, whittaker};
use crate::error::{Error, ErrorKind, Result};
use crate::signal::noise::NoiseProfile;
use crate::trace::Trace;

/// How a baseline below a whole run is drawn. Settings in minutes do not depend on how often points were taken.
///
/// `period_min` (penalised least squares): a wave of the line with this period passes at half its height, slower ones
/// pass, faster ones do not. Take it 5 to 10 times the width of peaks at their base, and at most a fifth of the drift's own
/// period; too long a period errs most at the ends of the run, which the line reaches straight. Default: a twelfth of the
/// run. The fit is made on means of blocks of a two-hundredth of it.
///
/// `half_width_min` (clipping, opening): half the width at the base of what counts as a peak; anything narrower is cut
/// off, anything wider is baseline. Default: a twentieth of the run.
///
/// ```
/// use vialbook::signal::BaselineMethod;
/// let method = BaselineMethod::ArPls { period_min: Some(4.0) };
/// assert_eq!(method.to_string(), "arPLS, period 4 min");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "method", rename_all = "snake_case", deny_unknown_fields)]
#[non_exhaustive]
pub enum BaselineMethod {
    /// The straight line through the mean levels about two times, or through levels given by hand.
    StraightLine {
        /// First time; none: the beginning of the run.
        #[serde(default)]
        from_min: Option<f64>,
        /// Second time; none: the end of the run.
        #[serde(default)]
        to_min: Option<f64>,
        /// Minutes about (at the ends of the run: next to) each time over which the level is averaged; none: a hundredth of
        /// the run.
        #[serde(default)]
        average_min: Option<f64>,
        /// Levels at the two times in signal units, where the signal does not come down to the baseline; none: as measured.
        #[serde(default)]
        levels: Option<[f64; 2]>,
    },
    /// One polynomial, peaks cut off: [`polynomial_baseline`](super::polynomial_baseline).
    Polynomial {
        /// Its degree, 0 to 12.
        degree: usize,
    },
    /// Asymmetric least squares: [`asymmetric_least_squares`](super::asymmetric_least_squares).
    AsymmetricLeastSquares {
        /// Period that passes at half its height, in minutes.
        #[serde(default)]
        period_min: Option<f64>,
        /// Weight of a point above the line, between 0 and 0.5; one below it weighs 1 less this. 0.01 is usual.
        share: f64,
    },
    /// Re-weighted by the scatter below the line: [`arpls`](super::arpls).
    ArPls {
        /// Period that passes at half its height, in minutes.
        #[serde(default)]
        period_min: Option<f64>,
    },
    /// Re-weighted by the points below the line alone: [`airpls`](super::airpls).
    AirPls {
        /// Period that passes at half its height, in minutes.
        #[serde(default)]
        period_min: Option<f64>,
    },
    /// Iterative clipping: [`run_baseline`](super::run_baseline).
    Clipping {
        /// Half the width of a peak at its base, in minutes.
        #[serde(default)]
        half_width_min: Option<f64>,
    },
    /// Morphological opening: [`opening_baseline`](super::opening_baseline) on medians of blocks of a twenty-fifth of the
    /// half width; blocks within 5 standard deviations above it keep their own levels, so that the line runs through the
    /// middle of the noise.
    Opening {
        /// Half the width of a peak at its base, in minutes.
        #[serde(default)]
        half_width_min: Option<f64>,
    },
}

impl Default for BaselineMethod {
    fn default() -> Self {
        BaselineMethod::Clipping { half_width_min: None }
    }
}

impl BaselineMethod {
    /// The settings' range, without a trace.
    pub(crate) fn check(&self) -> Result<()> {
        use BaselineMethod::{AirPls, ArPls, AsymmetricLeastSquares, Clipping, Opening, Polynomial, StraightLine};
        let positive = |x: Option<f64>| x.is_none_or(|x| x.is_finite() && x > 0.0);
        let refuse = |text: String| Err(Error::new(ErrorKind::Option, text));
        match *self {
            StraightLine { from_min, to_min, average_min, levels } => {
                if !positive(average_min) || !levels.into_iter().flatten().all(f64::is_finite) {
                    return refuse(
                        "a straight baseline wants a positive number of minutes as average_min, and numbers as levels"
                            .to_owned(),
                    );
                }
                match (from_min, to_min) {
                    (Some(a), Some(b)) if a >= b => refuse(format!(
                        "a straight baseline from {a} to {b} min; the first time must come before the second"
                    )),
                    _ if ![from_min, to_min].into_iter().flatten().all(f64::is_finite) => {
                        refuse("the times of a straight baseline must be numbers of minutes".to_owned())
                    }
                    _ => Ok(()),
                }
            }
            Polynomial { degree } if degree > 12 => {
                refuse(format!("a baseline polynomial of degree {degree}; 0 to 12 is wanted"))
            }
            Polynomial { .. } => Ok(()),
            AsymmetricLeastSquares { share, .. } if !(share > 0.0 && share <= 0.5) => {
                refuse(format!("the share of asymmetric least squares is {share}; above 0 and at most 0.5 is wanted"))
            }
            AsymmetricLeastSquares { period_min, .. } | ArPls { period_min } | AirPls { period_min } => {
                if positive(period_min) {
                    return Ok(());
                }
                refuse(format!(
                    "the period is {}; a positive number of minutes is wanted",
                    period_min.unwrap_or(f64::NAN)
                ))
            }
            Clipping { half_width_min } | Opening { half_width_min } => {
                if positive(half_width_min) {
                    return Ok(());
                }
                refuse(format!(
                    "the half width is {}; a positive number of minutes is wanted",
                    half_width_min.unwrap_or(f64::NAN)
                ))
            }
        }
    }

    pub(super) fn draw(&self, trace: &Trace, noise: Option<&NoiseProfile>) -> Result<Drawn> {
        use BaselineMethod::{AirPls, ArPls, AsymmetricLeastSquares, Clipping, Opening, Polynomial, StraightLine};
        self.check()?;
        let (signal, n) = (trace.signal(), trace.len());
        let profile = || noise.cloned().unwrap_or_else(|| NoiseProfile::new(signal, trace.step()));
        Ok(match *self {
            StraightLine { from_min, to_min, average_min, levels } => {
                straight(trace, from_min, to_min, average_min, levels)?
            }
            Polynomial { degree } => {
                let blocks = Blocks::means(signal, n / 4096);
                let fit = polynomial::polynomial_baseline(&blocks.level, degree);
                Drawn {
                    line: blocks.to_points(&fit.line, n),
                    rounds: fit.rounds,
                    converged: fit.converged,
                    // The mean variance of a fit is that of (terms) points' share; twice that towards the ends.
                    effective_points: n as f64 / (2 * (degree + 1)) as f64,
                }
            }
            AsymmetricLeastSquares { period_min, share } => {
                penalised(trace, period_min, |y, l| whittaker::asymmetric_least_squares(y, l, share))?
            }
            ArPls { period_min } => penalised(trace, period_min, whittaker::arpls)?,
            AirPls { period_min } => penalised(trace, period_min, whittaker::airpls)?,
            Clipping { half_width_min } => {
                let half = half_width_min.map_or(n as f64 / 20.0, |w| w / trace.interval_min());
                let line = clipping::run_baseline(signal, half as usize, &profile());
                // Medians of blocks, five together: π/2 times the variance of a mean.
                let points = 5.0 * n.div_ceil(512) as f64 / std::f64::consts::FRAC_PI_2;
                Drawn { line, rounds: 1, converged: true, effective_points: points }
            }
            Opening { half_width_min } => {
                let half = half_width_min.map_or(n as f64 / 20.0, |w| w / trace.interval_min()).max(1.0);
                let blocks = Blocks::medians(signal, (half / 25.0) as usize);
                let lower = morphology::opening_baseline(&blocks.level, (half / blocks.size as f64).ceil() as usize);
                let near = clipping::near(&profile(), blocks.size);
                let nodes = middle_of_the_noise(&blocks, &blocks.level, lower, near);
                let points = 5.0 * blocks.size as f64 / std::f64::consts::FRAC_PI_2;
                let line = interpolate(&nodes, (0..n).map(|i| i as f64));
                Drawn { line, rounds: 1, converged: true, effective_points: points }
            }
        })
    }
}

impl fmt::Display for BaselineMethod {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use BaselineMethod::{AirPls, ArPls, AsymmetricLeastSquares, Clipping, Opening, Polynomial, StraightLine};
        let setting = |f: &mut fmt::Formatter<'_>, name: &str, value: Option<f64>| match value {
            Some(value) => write!(f, ", {name} {value} min"),
            None => Ok(()),
        };
        match *self {
            StraightLine { from_min, to_min, average_min, levels } => {
                f.write_str("straight line")?;
                setting(f, "from", from_min)?;
                setting(f, "to", to_min)?;
                match levels {
                    Some([a, b]) => write!(f, ", levels {a} and {b} by hand"),
                    None => setting(f, "levels averaged over", average_min),
                }
            }
            Polynomial { degree } => write!(f, "polynomial of degree {degree}"),
            AsymmetricLeastSquares { period_min, share } => {
                write!(f, "asymmetric least squares, share {share}")?;
                setting(f, "period", period_min)
            }
            ArPls { period_min } => {
                f.write_str("arPLS")?;
                setting(f, "period", period_min)
            }
            AirPls { period_min } => {
                f.write_str("airPLS")?;
                setting(f, "period", period_min)
            }
            Clipping { half_width_min } => {
                f.write_str("iterative clipping")?;
                setting(f, "half width", half_width_min)
            }
            Opening { half_width_min } => {
                f.write_str("morphological opening")?;
                setting(f, "half width", half_width_min)
            }
        }
    }
}

/// A line with what is known about it.
pub(super) struct Drawn {
    pub(super) line: Vec<f64>,
    pub(super) rounds: usize,
    pub(super) converged: bool,
    pub(super) effective_points: f64,
}

/// A trace smoothed so that waves of a period pass at half their height.
pub(super) fn smooth(trace: &Trace, period_min: f64) -> Result<Drawn> {
    penalised(trace, Some(period_min), |y, l| {
        let weights = vec![1.0; y.len()];
        let line = whittaker::whittaker_smooth(y, &weights, l);
        whittaker::PenalisedFit { line, weights, rounds: 1, converged: true }
    })
}

/// A penalised fit on means of blocks.
fn penalised(
    trace: &Trace,
    period_min: Option<f64>,
    fit: impl FnOnce(&[f64], f64) -> whittaker::PenalisedFit,
) -> Result<Drawn> {
    BaselineMethod::ArPls { period_min }.check()?;
    let n = trace.len();
    let period = period_min.map_or(n as f64 / 12.0, |t| t / trace.interval_min()).clamp(1.0, 4.0 * n as f64);
    let blocks = Blocks::means(trace.signal(), (period / 200.0) as usize);
    // About zero, so that the stopping rule and rounding do not hang on an offset.
    let lowest = blocks.level.iter().copied().fold(f64::INFINITY, f64::min);
    let level: Vec<f64> = blocks.level.iter().map(|y| y - lowest).collect();
    let done = fit(&level, whittaker::stiffness_for(period / blocks.size as f64));
    let nodes: Vec<f64> = done.line.iter().map(|z| z + lowest).collect();
    // Variance of white noise after 1/(1 + (Pω/2π)⁴): ∫ of its square, 3π/(4√2)/P = 1.67/P; shared among fewer points
    // where many weigh nothing.
    let heaviest = done.weights.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let weight = done.weights.iter().sum::<f64>() / heaviest / done.weights.len() as f64;
    let effective_points = (period / 1.666 * weight).clamp(1.0, n as f64);
    Ok(Drawn { line: blocks.to_points(&nodes, n), rounds: done.rounds, converged: done.converged, effective_points })
}

fn straight(
    trace: &Trace,
    from: Option<f64>,
    to: Option<f64>,
    average: Option<f64>,
    levels: Option<[f64; 2]>,
) -> Result<Drawn> {
    let (time, signal, n) = (trace.time_min(), trace.signal(), trace.len());
    let points = average.map_or(n as f64 / 100.0, |t| t / trace.interval_min()).round().clamp(1.0, n as f64) as usize;
    let level = |t: f64| {
        let middle = trace.index_at(t).min(n - 1);
        let a = middle.saturating_sub(points / 2).min(n - points);
        let mean = |x: &[f64]| x[a..a + points].iter().sum::<f64>() / points as f64;
        (mean(time), mean(signal))
    };
    let (from, to) = (from.unwrap_or(time[0]), to.unwrap_or(time[n - 1]));
    // A level given by hand has no noise.
    let (a, b, points) = match levels {
        Some([a, b]) => ((from, a), (to, b), usize::MAX),
        None => (level(from), level(to), points),
    };
    if a.0 >= b.0 {
        return Err(Error::new(
            ErrorKind::Option,
            format!(
                "the levels of a straight baseline, lie at {} and {} min; move them apart, or average over less",
                a.0, b.0
            ),
        ));
    }
    let line = time.iter().map(|&t| straight_line(a, b, t)).collect();
    Ok(Drawn { line, rounds: 1, converged: true, effective_points: points as f64 })
}
