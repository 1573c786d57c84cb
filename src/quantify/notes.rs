//! Doubts on, and remarks to, an amount.

use std::fmt;

use crate::calibrate::{CurveNote, InverseNote};

/// A doubt on, or a remark to, an amount.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum AmountNote {
    /// From the way back along the curve.
    Content(InverseNote),
    /// From the curve itself.
    Curve(CurveNote),
    /// Below the critical value.
    NotDetected,
    /// The mean response is negative.
    NegativeResponse,
    /// There is no critical value to hold the response to.
    NoCriticalValue {
        /// Why, or what stood in for it.
        why: String,
    },
    /// The content in the flask was multiplied by a dilution.
    DilutionApplied {
        /// Factor.
        factor: f64,
    },
    /// A dilution that the internal standard went through as well was not applied.
    DilutionCancels {
        /// Factor logged.
        factor: f64,
    },
    /// Without internal standard the injected volume counts.
    VolumeCounts,
    /// The volume does not cancel in the ratio.
    VolumeDoesNotCancel,
    /// Volumes before mixing were taken to add up.
    MixingIgnored,
    /// Found by extrapolation.
    Extrapolated,
}

impl fmt::Display for AmountNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AmountNote::Content(note) => write!(f, "{note}"),
            AmountNote::Curve(note) => write!(f, "calibration: {note}"),
            AmountNote::NotDetected => f.write_str(
                "below the critical value: not detected; the signed number and its u are kept for averages and for the record",
            ),
            AmountNote::NegativeResponse => f.write_str(
                "the mean response is not above zero: there is no amount to report; look at the baseline in the window",
            ),
            AmountNote::NoCriticalValue { why } => write!(f, "{why}"),
            AmountNote::DilutionApplied { factor } => {
                write!(f, "content found in the flask times the dilution, {factor}")
            }
            AmountNote::DilutionCancels { factor } => write!(
                f,
                "the internal standard went in before the dilution of {factor} and its content is stated for the \
                 undiluted sample: the dilution cancels in the ratio and is not applied"
            ),
            AmountNote::VolumeCounts => f.write_str(
                "without internal standard the injected volume counts in full (common practice: 20 % at 0.1 µL read by \
                 eye, 4.5 % at 0.6 µL); it is in the scatter of standards and sample: inject all at one volume",
            ),
            AmountNote::VolumeDoesNotCancel => f.write_str(
                "the injected volume does not cancel in the ratio: inject standards and sample at one volume, \
                 or look for overload",
            ),
            AmountNote::Extrapolated => f.write_str(
                "extrapolated to no response: a blank that adds to every response is part of the content, and so is a bend \
                 below the sample's own response",
            ),
            AmountNote::MixingIgnored => f.write_str(
                "volumes before mixing are taken to add up to the volume of the solution; where mixing contracts, \
                 the volume fraction is off by as much (ethanol in water: up to 3.5 %)",
            ),
        }
    }
}
