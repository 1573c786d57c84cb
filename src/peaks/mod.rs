//! Trace → PeakList: detection, bounds, integration, figures of merit.
//!
//! [`Trace::find_peaks`](crate::Trace::find_peaks) finds peaks and integrates them;
//! [`Trace::integrate_window`](crate::Trace::integrate_window) integrates between two given times, whatever is there.

mod bounds;
mod detect;
mod find;
mod fit;
mod integrate;
mod local_fit;
mod measures;
mod merits;
mod notes;
mod options;
mod shoulders;
mod skim;
mod sums;

pub use fit::{Components, FitOptions, FitShape, FittedPeak, GroupFit, KnownNoise, PeakFit, PeakFits, fit_together};
pub use merits::{Conditions, FoleyDorsey, Merits, foley_dorsey};
pub use notes::PeakNote;
pub use options::{BaselineEnds, Detect, Overlap};

use std::fmt;

use serde::Serialize;

use crate::signal::Noise;
use crate::trace::Trace;

/// One integrated peak, or one integrated window.
///
/// Widths and times in minutes, height in signal units, areas in signal unit × minute. What cannot be told from
/// the data is `None`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Peak {
    /// Time of the apex, refined between samples. The middle of the window where there is no peak.
    pub retention_time_min: f64,
    /// Standard uncertainty of the apex time that comes from noise; none without a peak.
    pub retention_time_u_min: Option<f64>,
    /// First point of the peak.
    pub start_min: f64,
    /// Last point of the peak.
    pub end_min: f64,
    /// Area above the straight baseline, by the trapezoid rule. Negative where the signal lies below it.
    pub area: f64,
    /// Standard uncertainty of the area from noise, its correlation, the baseline's own uncertainty and the
    /// converter's step. What overlap and a bent baseline add is not in it.
    pub area_u: f64,
    /// Height of the apex above the baseline.
    pub height: f64,
    /// Width at half height.
    pub width_half_min: Option<f64>,
    /// Width at a tenth of the height.
    pub width_tenth_min: Option<f64>,
    /// Width at a twentieth of the height.
    pub width_5pct_min: Option<f64>,
    /// Plate number 5.545 (tR/wh)²; a figure of isothermal runs.
    pub plates_half_height: Option<f64>,
    /// Tailing factor w₀.₀₅/(2f), f the front half of the width at a twentieth of the height.
    pub tailing_factor_5pct: Option<f64>,
    /// Asymmetry B/A at a tenth of the height, back half over front half.
    pub asymmetry_10pct: Option<f64>,
    /// Resolution 1.18 Δt/(wh₁ + wh₂) from the previous peak.
    pub resolution_half_height: Option<f64>,
    /// Signal-to-noise ratio 2H/h, h the peak-to-peak noise of `noise_window_min`.
    pub signal_to_noise: f64,
    /// First and last minute of the stretch, free of peaks, whose range is h: 20 half-height widths next to the
    /// peak, or 5 where there is no room; none where neither fits and h is 6 standard deviations.
    pub noise_window_min: Option<[f64; 2]>,
    /// Height over the standard deviation of the noise near the peak.
    pub height_over_sd: f64,
    /// Level of the straight baseline at start and end, in signal units.
    pub baseline: [f64; 2],
    /// Number of points from start to end.
    pub points: usize,
    /// How the bounds came about.
    pub method: Integration,
    /// What to be careful about.
    pub notes: Vec<PeakNote>,
    /// What a fit says of the peak, where one was made; `method` tells whether the area is the fit's.
    pub fit: Option<PeakFit>,
}

/// How the bounds of a peak came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Integration {
    /// A peak on its own: from baseline to baseline.
    BaselineToBaseline,
    /// Overlapping peaks on one common baseline, parted by a perpendicular at the valley.
    PerpendicularDrop,
    /// Neighbours on baselines of their own that meet in the valley, because a common one would cut into the signal.
    ValleyToValley,
    /// A profile fitted to the peak and its neighbours, with a baseline of its own.
    Fit,
    /// A peak on the front or the tail of a neighbour, above the tangent below it.
    TangentSkim,
    /// Bounds set by hand, with a reason.
    ByHand,
    /// A given window, with a peak in it.
    Window,
    /// A given window in which no peak stands out of the noise; the area is what it is.
    ForcedWindow,
}

impl Integration {
    /// In words: "perpendicular drop".
    pub fn words(self) -> &'static str {
        match self {
            Integration::BaselineToBaseline => "baseline to baseline",
            Integration::PerpendicularDrop => "perpendicular drop",
            Integration::ValleyToValley => "valley to valley",
            Integration::Fit => "fit",
            Integration::TangentSkim => "tangent skim",
            Integration::ByHand => "bounds by hand",
            Integration::Window => "window",
            Integration::ForcedWindow => "forced window",
        }
    }
}

impl fmt::Display for Integration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// The peaks of one run in the order of their retention times, with the noise they were found in.
#[derive(Clone, PartialEq, Serialize)]
pub struct PeakList {
    /// The peaks.
    pub peaks: Vec<Peak>,
    /// Noise of the whole trace.
    pub noise: Noise,
    /// Name of the run; empty for a bare trace.
    pub run: String,
    /// Unit of heights; areas have this times minutes.
    pub signal_unit: String,
    /// The options that were used.
    pub options: Detect,
    /// The trace they were found in, shared and not copied; none for a list put together by hand.
    #[serde(skip)]
    pub trace: Option<Trace>,
}

impl PeakList {
    /// Number of peaks.
    pub fn len(&self) -> usize {
        self.peaks.len()
    }

    /// True where no peak was found.
    pub fn is_empty(&self) -> bool {
        self.peaks.is_empty()
    }

    /// The peak whose apex is nearest to `time_min`.
    pub fn nearest(&self, time_min: f64) -> Option<&Peak> {
        let distance = |p: &&Peak| (p.retention_time_min - time_min).abs();
        self.peaks.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }
}

impl fmt::Debug for PeakList {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let colon = if self.run.is_empty() { "" } else { ": " };
        write!(f, "PeakList({}{colon}{} peaks", self.run, self.len())?;
        if let (Some(a), Some(b)) = (self.peaks.first(), self.peaks.last()) {
            write!(f, ", {:.3} to {:.3} min", a.retention_time_min, b.retention_time_min)?;
        }
        f.write_str(")")
    }
}
