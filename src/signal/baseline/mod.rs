//! Baselines: the straight line below one peak, and lines below a whole run.
//!
//! | [`BaselineMethod`] | how | good for |
//! |---|---|---|
//! | `StraightLine` | a line through two levels | a level run; a table of areas that stands on such a line |
//! | `Polynomial` | one polynomial, peaks cut off | one slow bend over the run |
//! | `AsymmetricLeastSquares` | stiff line, points above it weigh little | little noise, any drift |
//! | `ArPls` | the same, weights from the scatter below the line | noise and drift; the first to try |
//! | `AirPls` | the same, only points below the line count | crowded runs with little noise |
//! | `Clipping` | what stands above its neighbours' middle is cut off | narrow peaks on any drift; the default to look at |
//! | `Opening` | what a flat ruler reaches from below | steps and plateaus |
//! | [`Trace::baseline_from_blank`] | a blank run's own signal | bleed and disturbances that every run repeats |
//!
//! Areas rest on a straight line below each peak unless [`Detect`](crate::peaks::Detect) names one of these. Each has its
//! source, its settings and its weakness on its own function; all take time in proportion to the points. [`Baseline`]
//! says which was used.

mod blocks;
mod clipping;
mod method;
mod morphology;
mod polynomial;
mod whittaker;

pub use clipping::{clip_iteratively, run_baseline};
pub use method::BaselineMethod;
pub use morphology::opening_baseline;
pub use polynomial::{PolynomialFit, polynomial_baseline};
pub use whittaker::{PenalisedFit, airpls, arpls, asymmetric_least_squares, stiffness_for, whittaker_smooth};

use std::fmt;

use serde::Serialize;

use crate::error::{Error, ErrorKind, Result};
use crate::signal::noise::NoiseProfile;
use crate::trace::Trace;

/// The straight line through two points (time, signal), at `time_min`.
#[inline]
pub fn straight_line(from: (f64, f64), to: (f64, f64), time_min: f64) -> f64 {
    if to.0 == from.0 {
        return 0.5 * (from.1 + to.1);
    }
    from.1 + (to.1 - from.1) * ((time_min - from.0) / (to.0 - from.0))
}

/// A line below a whole run, and how it came about.
#[derive(Clone, PartialEq)]
pub struct Baseline {
    /// The line at the run's own times.
    pub line: Trace,
    /// What it was drawn by.
    pub origin: BaselineOrigin,
    /// Number of fits, 1 for methods that need no more.
    pub rounds: usize,
    /// False where the fits did not settle; the line is the last one.
    pub converged: bool,
    /// So many independent points carry the line at a place: its standard uncertainty there from white noise is
    /// σ/√points. What the method errs by of itself is not in it.
    pub effective_points: f64,
}

/// What a baseline was drawn by.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BaselineOrigin {
    /// A method, with its settings.
    Method(BaselineMethod),
    /// A blank run, as it was or smoothed over so many minutes.
    BlankRun {
        /// Waves of the blank with this period pass at half their height; none: the blank as it is.
        smoothed_over_min: Option<f64>,
    },
}

impl fmt::Display for BaselineOrigin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BaselineOrigin::Method(method) => method.fmt(f),
            BaselineOrigin::BlankRun { smoothed_over_min: None } => f.write_str("blank run"),
            BaselineOrigin::BlankRun { smoothed_over_min: Some(t) } => write!(f, "blank run, smoothed over {t} min"),
        }
    }
}

impl fmt::Debug for Baseline {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let end = if self.converged { "" } else { ", did not settle" };
        write!(f, "Baseline({}, {} points, {} rounds{end})", self.origin, self.line.len(), self.rounds)
    }
}

/// Baselines below a whole run.
impl Trace {
    /// The line below all peaks; see [`BaselineMethod`] for what there is.
    ///
    /// # Errors
    /// A setting outside its range.
    ///
    /// ```
    /// use vialbook::{Trace, shapes::Gaussian, signal::BaselineMethod};
    /// let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 0.0025).collect();
    /// let mut signal: Vec<f64> = time.iter().map(|t| 2.0 + 0.3 * t).collect();
    /// Gaussian::new(5.0, 5.0, 0.03)?.add_to(&time, &mut signal);
    /// let trace = Trace::new(time, signal, "mV")?;
    /// let baseline = trace.baseline(&BaselineMethod::default())?;
    /// assert!((baseline.line.signal()[2000] - 3.5).abs() < 0.01);
    /// assert!(trace.subtract(&baseline)?.signal()[100].abs() < 0.01);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn baseline(&self, method: &BaselineMethod) -> Result<Baseline> {
        self.baseline_in_noise(method, None)
    }

    /// As [`Trace::baseline`], where the noise is known already.
    pub(crate) fn baseline_in_noise(&self, method: &BaselineMethod, noise: Option<&NoiseProfile>) -> Result<Baseline> {
        let drawn = method.draw(self, noise)?;
        Ok(Baseline {
            line: self.with_signal(drawn.line)?,
            origin: BaselineOrigin::Method(*method),
            rounds: drawn.rounds,
            converged: drawn.converged,
            effective_points: drawn.effective_points,
        })
    }

    /// A blank run as baseline, at this trace's times by straight lines between the blank's points.
    ///
    /// The blank's noise comes in as well: unsmoothed, noise grows by √2 (and is found so by
    /// [`Trace::noise`](Trace::noise) after [`Trace::subtract`]). With `smoothed_over_min` the blank is smoothed first
    /// (penalised least squares; waves of that period pass at half their height): take it longer than the noise's waves,
    /// shorter than the bumps of the blank. Neither time nor height of the blank is fitted: a blank that was started late
    /// or that bleeds differently leaves its difference in the result, so look at the line.
    ///
    /// # Errors
    /// The blank has another unit, or ends before the trace does; a period that is not positive.
    pub fn baseline_from_blank(&self, blank: &Trace, smoothed_over_min: Option<f64>) -> Result<Baseline> {
        if blank.signal_unit() != self.signal_unit() {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "the blank's signal is in {:?}, the run's in {:?}; the same unit is wanted",
                    blank.signal_unit(),
                    self.signal_unit()
                ),
            ));
        }
        let (own, theirs) = (self.time_min(), blank.time_min());
        let (n, m) = (own.len(), theirs.len());
        let step = blank.interval_min();
        if theirs[0] > own[0] + step || theirs[m - 1] < own[n - 1] - step {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "the blank runs from {} to {} min, the run from {} to {} min; record the blank as long as the run, or cut the run with slice",
                    theirs[0],
                    theirs[m - 1],
                    own[0],
                    own[n - 1]
                ),
            ));
        }
        let (signal, effective_points) = match smoothed_over_min {
            None => (blank.signal().to_vec(), 1.0),
            Some(t) => {
                let drawn = method::smooth(blank, t)?;
                (drawn.line, drawn.effective_points)
            }
        };
        let mut k = 0;
        let line: Vec<f64> = own
            .iter()
            .map(|&t| {
                while k + 2 < m && theirs[k + 1] < t {
                    k += 1;
                }
                straight_line((theirs[k], signal[k]), (theirs[k + 1], signal[k + 1]), t)
            })
            .collect();
        Ok(Baseline {
            line: self.with_signal(line)?,
            origin: BaselineOrigin::BlankRun { smoothed_over_min },
            rounds: 1,
            converged: true,
            effective_points,
        })
    }

    /// What is left above a baseline, as a trace of its own.
    ///
    /// # Errors
    /// The baseline is that of a trace with another number of points.
    pub fn subtract(&self, baseline: &Baseline) -> Result<Trace> {
        if baseline.line.len() != self.len() {
            return Err(Error::new(
                ErrorKind::Data,
                format!("a baseline of {} points below a trace of {}", baseline.line.len(), self.len()),
            ));
        }
        let rest: Vec<f64> = self.signal().iter().zip(baseline.line.signal()).map(|(y, b)| y - b).collect();
        // Full scale and step are those of the raw signal.
        Ok(self.with_signal(rest)?.with_detector_limits(None, None))
    }
}
