//! Doubts about a peak, each with what to do next.

use std::fmt;

use serde::Serialize;

use crate::estimate::significant;

/// What to be careful about with a peak. `Display` says what to do.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum PeakNote {
    /// This many equal maxima in a row.
    FlatTop(usize),
    /// The signal reaches the stated full scale, in signal units.
    BeyondFullScale(f64),
    /// The peak sits on the slope of a neighbour this many times higher.
    OnTail(f64),
    /// So few points above half height.
    FewPoints(usize),
    /// A valley with a neighbour lies at this share of the peak's height above the baseline.
    Overlaps(f64),
    /// A flank bends as if a second component lay under it, at this time in minutes.
    Shoulder(f64),
    /// The trace ends before the peak does.
    CutAtEnd,
    /// The points scatter less than the converter's step can show; the noise is set to step/√12.
    NoiseFloorFromStep,
    /// Nothing in the window stands out of the noise.
    NoPeakFound,
    /// The peak is not of the fitted profile: the probability of so large a misfit by chance.
    ShapeMisfit(f64),
    /// The fit did not settle; why, in words.
    FitNotConverged(String),
    /// The data do not determine all parameters of the fit.
    FitUndetermined,
    /// A fitted peak whose place or area makes no peak of it.
    FitImplausible,
    /// What a perpendicular drop gives more than the fit, as a share of the fitted area.
    DropAgainstFit(f64),
    /// No stretch free of peaks is long enough for a peak-to-peak noise.
    NoQuietStretch,
}

impl PeakNote {
    /// How the notes of a peak that was cut off at the top begin: its area is too small by an unknown amount.
    pub const CUT_OFF: [&'static str; 2] = ["flat top", "beyond full scale"];

    /// True where the top of the peak is missing.
    pub fn is_cut_off(&self) -> bool {
        matches!(self, PeakNote::FlatTop(_) | PeakNote::BeyondFullScale(_))
    }
}

impl fmt::Display for PeakNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PeakNote::FlatTop(points) => write!(
                f,
                "flat top ({points} equal maxima in a row): the signal was cut off, area and height are too small; inject less, dilute, or lower the gain"
            ),
            PeakNote::BeyondFullScale(limit) => write!(
                f,
                "beyond full scale: the signal reaches {limit}, area and height are too small; inject less, dilute, or lower the gain"
            ),
            PeakNote::OnTail(times) => write!(
                f,
                "on the slope of a neighbour {times:.0} times higher: the perpendicular drop counts the slope below as this peak; separate them better, or compare with a fit"
            ),
            PeakNote::FewPoints(points) => write!(
                f,
                "{points} points above half height: at least 5 are wanted for the area, 10 for width and height; record faster"
            ),
            PeakNote::Overlaps(share) => write!(
                f,
                "overlaps with a neighbour (valley at {:.0} % of the height): a perpendicular drop gives part of the smaller peak to the larger one; separate them better, or compare with a fit",
                100.0 * share
            ),
            PeakNote::Shoulder(time_min) => write!(
                f,
                "a shoulder at {} min: a second component seems to lie under the flank, and the area is that of both; separate them better, or compare with a fit of two",
                significant(*time_min, 4)
            ),
            PeakNote::CutAtEnd => {
                write!(f, "the trace ends before the peak does: the area is too small; record longer")
            }
            PeakNote::NoiseFloorFromStep => write!(
                f,
                "the converter's step hides the noise: uncertainties assume step/√12; record at a finer step or a higher gain"
            ),
            PeakNote::NoPeakFound => write!(
                f,
                "nothing in the window stands out of the noise: compare the area with its uncertainty and with blanks, and do not read it as an amount"
            ),
            PeakNote::ShapeMisfit(p) => write!(
                f,
                "not of the fitted shape (a misfit as large comes by chance in {:.1} % of cases at most): an isolated peak's area is the sum above its baseline, an overlapped one's uncertainty is widened; try another profile, or compare standards and samples of equal height",
                (100.0 * p).max(0.1)
            ),
            PeakNote::FitNotConverged(why) => write!(
                f,
                "the fit did not settle ({why}): its numbers are where it stopped, without an uncertainty to rely on; keep the perpendicular drop, or give expected times"
            ),
            PeakNote::FitUndetermined => write!(
                f,
                "the points do not determine all parameters of the fit: no uncertainty can be given; fit fewer peaks, a Gaussian, or a shared shape"
            ),
            PeakNote::FitImplausible => write!(
                f,
                "the fitted peak is negative or lies outside the window: fewer peaks, or none, are there; look at the residuals"
            ),
            PeakNote::DropAgainstFit(share) => write!(
                f,
                "overlapped: a perpendicular drop gives {:+.1} % against the fit; the difference is what the way of parting the peaks decides",
                100.0 * share
            ),
            PeakNote::NoQuietStretch => write!(
                f,
                "no stretch of 5 half-height widths is free of peaks: the signal-to-noise ratio takes 6 standard deviations for the peak-to-peak noise; compare with a blank run"
            ),
        }
    }
}
