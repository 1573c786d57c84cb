//! How areas are taken: by bounds or by fit, above which baseline, and what was set by hand.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::peaks::{FitOptions, Overlap};
use crate::signal::BaselineMethod;

/// How peaks are found and areas taken, beyond the defaults.
///
/// ```
/// let text = "title = \"t\"\n[peaks]\nintegration = \"fit\"\nbaseline = { method = \"ar_pls\", period_min = 4.0 }";
/// let peaks = vialbook::study::StudyConfig::parse(text)?.peaks;
/// assert_eq!(peaks.integration, vialbook::study::IntegrateBy::Fit);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PeakSettings {
    /// Height over noise above which a peak is reported.
    pub threshold: Option<f64>,
    /// Times at the start that hold the injection disturbance, in minutes: no peak is looked for there.
    pub start_min: Option<f64>,
    /// No peak is looked for after this time, in minutes.
    pub end_min: Option<f64>,
    /// How the baseline's ends are taken in fixed windows.
    pub window_baseline: WindowBaseline,
    /// Largest start offset looked for, in seconds; 0 switches it off.
    pub start_offset_limit_s: Option<f64>,
    /// Largest departure of a run's time scale from the standards' looked for, in %; 4 where not stated, 0 switches it
    /// off.
    pub time_scale_limit_percent: Option<f64>,
    /// A peak is named where a name is more probable than this; 0.5 where not stated.
    pub least_probability: Option<f64>,
    /// Carbon atoms of the n-alkanes in runs of kind `ladder`, in the order of elution.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ladder_carbons: Vec<u32>,
    /// Their rough retention times in minutes, where the largest peaks are not the n-alkanes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ladder_min: Vec<f64>,
    /// From bounds, or from fitted profiles.
    pub integration: IntegrateBy,
    /// How overlapping peaks are parted where areas come from bounds.
    pub overlap: Overlap,
    /// One line below the whole run, above which peaks are found and integrated; none: a straight line of its own below
    /// each peak or group. Such as `{ method = "ar_pls", period_min = 4.0 }`.
    pub baseline: Option<BaselineMethod>,
    /// Options of fits; of those, too, that overlapping peaks are compared with where areas come from bounds.
    pub fit: Option<FitOptions>,
    /// Bounds set by hand.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub by_hand: Vec<ByHand>,
}

/// How the baseline's ends are taken in fixed windows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WindowBaseline {
    /// From several points beside each end.
    #[default]
    Averaged,
    /// From the two end points alone.
    SinglePoints,
}

/// Where areas come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IntegrateBy {
    /// The trapezoid between bounds above a baseline. Overlapping peaks are fitted too, and the difference is told.
    #[default]
    Bounds,
    /// Profiles fitted to each peak with its neighbours; a peak that is of no profile's shape keeps its bounds.
    Fit,
}

/// Bounds of one compound's peak in one run, set by hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ByHand {
    /// The run.
    pub run: String,
    /// The compound whose peak it is.
    pub compound: String,
    /// First minute.
    pub start_min: f64,
    /// Last minute.
    pub end_min: f64,
    /// Why the program's own bounds would not do.
    pub reason: String,
}

impl PeakSettings {
    /// # Errors
    /// A setting outside its range; bounds that are none, without a reason, or set twice.
    pub(super) fn check(&self) -> Result<()> {
        let at = |e: Error, field: &str| e.at_field(field.to_owned());
        if let Some(method) = &self.baseline {
            method.check().map_err(|e| at(e, "peaks.baseline"))?;
        }
        if let Some(fit) = &self.fit {
            fit.check().map_err(|e| at(e, "peaks.fit"))?;
        }
        for (i, b) in self.by_hand.iter().enumerate() {
            let wrong = |field: &str, message: String| {
                Err(Error::new(ErrorKind::Study, message).at_field(format!("peaks.by_hand[{}].{field}", i + 1)))
            };
            if !(b.start_min.is_finite() && b.end_min.is_finite() && b.start_min < b.end_min) {
                return wrong("start_min", format!("{} to {} min is no window", b.start_min, b.end_min));
            }
            if b.reason.trim().is_empty() {
                return wrong("reason", "bounds were set by hand without a reason; the report prints it".to_owned());
            }
            if self.by_hand[..i].iter().any(|o| o.run == b.run && o.compound == b.compound) {
                return wrong("run", format!("the bounds of {} in {} are set twice", b.compound, b.run));
            }
        }
        Ok(())
    }
}
