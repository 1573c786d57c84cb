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
            PeakNote::NoQuietStretch => write!(
                f,
                "no stretch of 5 half-height widths is free of peaks: the signal-to-noise ratio takes 6 standard deviations for the peak-to-peak noise; compare with a blank run"
            ),
        }
    }
}
