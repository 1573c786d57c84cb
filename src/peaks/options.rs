//! What a peak is taken to be: options of detection and integration.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::signal::BaselineMethod;

/// Options of finding and integrating peaks.
///
/// ```
/// use vialbook::peaks::Detect;
/// let options = Detect { from_min: Some(0.5), ..Detect::default() };
/// assert_eq!(options.threshold_z, 5.2);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Detect {
    /// How far a peak must stand out, in standard deviations of the noise at the peak's own width. Default 5.2: about
    /// one false peak in 400 blank runs of 6,000 points. From 3 to 1,000.
    pub threshold_z: f64,
    /// Least width at half height, in points. Default 2; a spike of one point is no peak.
    pub narrowest_points: f64,
    /// Largest width at half height, in minutes. Default: 360 points or a tenth of the run, whichever is more.
    pub widest_min: Option<f64>,
    /// Apexes before this time are left out.
    pub from_min: Option<f64>,
    /// Apexes after this time are left out.
    pub to_min: Option<f64>,
    /// Peaks lower than this, in signal units, are left out. Default: none.
    pub least_height: Option<f64>,
    /// Two maxima are one peak unless the valley between them is lower than the smaller by this share of its
    /// height (and by 4 standard deviations). Default 0.01.
    pub valley_fraction: f64,
    /// How the ends of a window's baseline are levelled; peaks that are found always use averaged ends.
    pub baseline_ends: BaselineEnds,
    /// Points averaged at each end of the baseline. Default: as many as the peak is wide at half height; for a
    /// window a tenth of its points.
    pub baseline_points: Option<usize>,
    /// How overlapping peaks are parted.
    pub overlap: Overlap,
    /// One line below the whole run, which peaks are found and integrated above. Default: none, a straight line of its own
    /// below each peak or group. Windows keep their straight lines.
    ///
    /// Straight lines of their own are the safer choice: they need no setting, follow any drift, and their uncertainty is
    /// known. A line below the whole run is for peaks that stand on a hump, or on each other, where no valley shows the
    /// baseline; its own error (see the method) comes on top of `area_u`, which holds the noise in its level alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub baseline: Option<BaselineMethod>,
}

impl Default for Detect {
    fn default() -> Self {
        Detect {
            threshold_z: 5.2,
            narrowest_points: 2.0,
            widest_min: None,
            from_min: None,
            to_min: None,
            least_height: None,
            valley_fraction: 0.01,
            baseline_ends: BaselineEnds::Averaged,
            baseline_points: None,
            overlap: Overlap::default(),
            baseline: None,
        }
    }
}

/// How overlapping peaks are parted.
///
/// None of them is right for all: a perpendicular drop gives part of the smaller peak to the larger one and a slope below
/// a small peak to the small one; a tangent leaves out the small peak's foot; valley to valley leaves out what lies below
/// the valleys. What the choice decides is told beside a fit: see [`PeakList::beside_fits`](super::PeakList::beside_fits).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Overlap {
    /// A perpendicular at each valley, one straight baseline below the group.
    #[default]
    PerpendicularDrop,
    /// A tangent below peaks that stand on the front or the tail of one at least ten times higher (common practice);
    /// perpendiculars between the others.
    TangentSkim,
    /// A baseline of its own for each peak, from valley to valley.
    ValleyToValley,
}

impl Overlap {
    /// In words: "tangent skim".
    pub fn words(self) -> &'static str {
        match self {
            Overlap::PerpendicularDrop => "perpendicular drop",
            Overlap::TangentSkim => "tangent skim",
            Overlap::ValleyToValley => "valley to valley",
        }
    }
}

/// How the two ends of a window's straight baseline are levelled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BaselineEnds {
    /// The mean of several points about each end: less noise.
    #[default]
    Averaged,
    /// The first and the last point of the window, as published procedures have it: "straight line between the
    /// ends, trapezoid".
    SinglePoints,
}

impl Detect {
    pub(crate) fn check(&self) -> Result<()> {
        let positive = |x: Option<f64>| x.is_none_or(|x| x.is_finite() && x > 0.0);
        let number = |x: Option<f64>| x.is_none_or(f64::is_finite);
        let trouble = if !(3.0..=1000.0).contains(&self.threshold_z) {
            format!("threshold_z is {}; 3 to 1,000 is wanted", self.threshold_z)
        } else if !(1.0..=1e6).contains(&self.narrowest_points) {
            format!("narrowest_points is {}; 1 or more is wanted", self.narrowest_points)
        } else if !positive(self.widest_min) {
            "widest_min must be a positive number of minutes".to_owned()
        } else if !number(self.from_min) || !number(self.to_min) {
            "from_min and to_min must be numbers of minutes".to_owned()
        } else if self.from_min.zip(self.to_min).is_some_and(|(a, b)| a >= b) {
            "from_min must lie before to_min".to_owned()
        } else if !number(self.least_height) {
            "least_height must be a number in signal units".to_owned()
        } else if !(0.0..1.0).contains(&self.valley_fraction) {
            format!("valley_fraction is {}; 0 to 1 is wanted", self.valley_fraction)
        } else if self.baseline_points == Some(0) {
            "baseline_points must be at least 1".to_owned()
        } else {
            return self.baseline.map_or(Ok(()), |method| method.check());
        };
        Err(Error::new(ErrorKind::Option, trouble))
    }
}
