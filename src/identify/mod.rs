//! PeakList → NamedPeaks: start offset, windows, one-to-one names with a probability.
//!
//! [`references_from`] learns from the standards when each compound elutes and how far that scatters;
//! [`PeakList::identify`] names the peaks of any run by it.
//!
//! **Start offset.** A run started by hand is shifted by up to some 3 s. Where the button starts the recording
//! only, all peaks shift alike. Where it starts the oven too, a peak shifts by δ (1 + k at elution)/(1 + k at
//! start), which falls about exponentially with retention under a ramp. One common offset is taken unless at
//! least 4 peaks ask for a falling one, A exp(-(t - t₁)/τ) with t₁ the first reference and τ one of six shares (0.17 to 1)
//! of the references' span. Where the programme and the hold-up time are known, [`Programme`] gives the shares exactly.
//!
//! **Time scale.** Oven and flow drift over a day: retention factors change about 4 %/K at 40 °C. Where at least 4 peaks
//! ask for it, times are stretched, t → t + s(t - t₀), s within a limit of 4 %. Offset and scale are never hidden:
//! [`NamedPeaks::shift`] has the whole curve with its uncertainty.
//!
//! **Retention indices** come from a run of n-alkanes: [`Ladder`].
//!
//! A retention time that agrees is *consistent with* a compound and no proof: that takes a spike or a second column.

mod align;
mod index;
mod lattice;
mod name;
mod notes;
mod references;
mod start;

pub(crate) use name::CONFIRM;

pub use index::{AlkanePeak, HoldUp, IndexKind, Ladder, RetentionIndex, n_alkane_carbons};
pub use notes::NamingNote;
pub use references::{learn_references, references_from};
pub use start::{Programme, ProgrammeStep, RetentionLaw};

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::identify::align::{Freedom, Seen, Shape};
use crate::peaks::{Peak, PeakList};

/// Roughly when a compound elutes, as the study says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExpectedTime {
    /// The compound's name.
    pub compound: String,
    /// Expected retention time.
    pub time_min: f64,
    /// The compound is looked for from this long before to this long after.
    pub half_width_min: f64,
}

/// When a compound elutes, as the standards say.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceTime {
    /// The compound's name.
    pub compound: String,
    /// Median over the standards, start offsets removed.
    pub time_min: f64,
    /// Robust standard deviation of a run about it, start offsets removed; at least 0.2 s and 10 % of the width at
    /// half height.
    pub scatter_min: f64,
    /// Half of the window in which a peak may have this name.
    pub half_width_min: f64,
    /// Median width at half height.
    pub width_half_min: Option<f64>,
    /// Number of standards that show it; 0 where time and window are the study's own guess.
    pub runs: usize,
    /// Share of a late start's δ that it is shifted by, where the button starts the oven too and the programme is
    /// known: see [`Programme::late_start_share`].
    #[serde(default)]
    pub late_start_share: Option<f64>,
}

/// Options of naming.
///
/// ```
/// use vialbook::identify::Naming;
/// let no_offset = Naming { start_offset_limit_s: 0.0, ..Naming::default() };
/// assert_eq!(Naming::default().start_offset_limit_s, 6.0);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Naming {
    /// Largest start offset, either way, in seconds; its standard deviation is taken as half of this. Default 6
    /// (twice the 3 s of a late thumb, since the standards are late too); 0 switches the offset off. At most 60.
    pub start_offset_limit_s: f64,
    /// Whether the offset may fall with retention where at least 4 peaks ask for it. Default true. Not asked where all
    /// references state their share of a late start.
    pub offset_may_fall: bool,
    /// Largest departure of a run's time scale from the standards', either way; its standard deviation is taken as
    /// half of this. Default 0.04; 0 switches the time scale off. At most 0.2.
    pub time_scale_limit: f64,
    /// Times stretch about this one: the hold-up time where it is known. Default 0.
    pub stretch_about_min: f64,
    /// A peak is named where a name is more probable than this. Default 0.5; from 0.5, which makes names one to
    /// one, to below 1.
    pub least_probability: f64,
}

impl Default for Naming {
    fn default() -> Self {
        Naming {
            start_offset_limit_s: 6.0,
            offset_may_fall: true,
            time_scale_limit: 0.04,
            stretch_about_min: 0.0,
            least_probability: 0.5,
        }
    }
}

impl Naming {
    fn check(&self) -> Result<()> {
        let trouble = if !(0.0..=60.0).contains(&self.start_offset_limit_s) {
            format!("start_offset_limit_s is {}; 0 (no offset) to 60 s is wanted", self.start_offset_limit_s)
        } else if !(0.0..=0.2).contains(&self.time_scale_limit) {
            format!("time_scale_limit is {}; 0 (no time scale) to 0.2 is wanted", self.time_scale_limit)
        } else if !(self.stretch_about_min.is_finite() && self.stretch_about_min >= 0.0) {
            format!("stretch_about_min is {}; 0 or a hold-up time in minutes is wanted", self.stretch_about_min)
        } else if !(0.5..1.0).contains(&self.least_probability) {
            format!("least_probability is {}; 0.5 to below 1 is wanted", self.least_probability)
        } else {
            return Ok(());
        };
        Err(Error::new(ErrorKind::Option, trouble))
    }

    /// What a run's times may differ by.
    fn freedom(&self) -> Freedom {
        Freedom {
            offset_limit_s: self.start_offset_limit_s,
            scale_limit: self.time_scale_limit,
            pivot_s: 60.0 * self.stretch_about_min,
            shape: if self.offset_may_fall { Shape::MayFall } else { Shape::Common },
        }
    }
}

/// How far a run is shifted against the standards at the time of a reference.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShiftPoint {
    /// Reference time.
    pub time_min: f64,
    /// Shift there, in seconds; positive where peaks come late.
    pub shift_s: f64,
    /// Its standard uncertainty.
    pub u_s: f64,
}

/// What a compound may be in one run: peaks with their probabilities, and that of having none.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Candidates {
    /// The compound.
    pub compound: String,
    /// Where it is expected in this run, shift included.
    pub expected_min: f64,
    /// Half of its window.
    pub half_width_min: f64,
    /// Peaks by their place in the list, counted from 0, most probable first.
    pub peaks: Vec<(usize, f64)>,
    /// Probability that none of the peaks is this compound.
    pub none: f64,
}

/// A peak with the compound it is consistent with, if any.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedPeak {
    /// The peak.
    pub peak: Peak,
    /// The compound; none for an unknown peak.
    pub compound: Option<String>,
    /// Approximate probability of the name, see [`PeakList::identify`].
    pub identity_probability: Option<f64>,
    /// Compounds that it may be with their probabilities, most probable first; what is missing to 1 stands for an
    /// unknown. Below 0.001 left out.
    pub candidates: Vec<(String, f64)>,
    /// What speaks for the name, or why there is none.
    pub evidence: String,
}

/// The peaks of one run with their names.
#[derive(Clone, PartialEq, Serialize)]
pub struct NamedPeaks {
    /// Name of the run.
    pub run: String,
    /// All peaks, named or not, in the order of the peak list.
    pub peaks: Vec<NamedPeak>,
    /// Start offset against the standards in seconds, positive where peaks come late; that of the first reference
    /// where it falls with retention. None where it is switched off or no peak tells.
    pub start_offset_s: Option<f64>,
    /// Its standard uncertainty from the scatter of the peaks.
    pub start_offset_u_s: Option<f64>,
    /// Departure of the time scale from 1 where the run asks for one; 0.01 where all comes 1 % later.
    pub time_scale: Option<f64>,
    /// Its standard uncertainty.
    pub time_scale_u: Option<f64>,
    /// The shift at each reference, in the order of time; empty where no peak tells.
    pub shift: Vec<ShiftPoint>,
    /// Per compound, in the order of reference times: the peaks that it may be.
    pub candidates: Vec<Candidates>,
    /// Compounds that were expected and are missing, in the order of their reference times.
    pub missing: Vec<String>,
    /// What to be careful about.
    pub notes: Vec<NamingNote>,
}

impl NamedPeaks {
    /// The peak that is consistent with this compound.
    pub fn peak(&self, compound: &str) -> Option<&NamedPeak> {
        self.peaks.iter().find(|p| p.compound.as_deref() == Some(compound))
    }

    /// The shift in seconds at a time on the standards' clock: between references along straight lines, beyond them that
    /// of the nearest, moved along with the time scale.
    pub fn shift_s(&self, time_min: f64) -> f64 {
        let points = &self.shift;
        let (Some(first), Some(last)) = (points.first(), points.last()) else { return 0.0 };
        let scale = self.time_scale.unwrap_or(0.0);
        if time_min <= first.time_min {
            return first.shift_s + 60.0 * scale * (time_min - first.time_min);
        }
        if time_min >= last.time_min {
            return last.shift_s + 60.0 * scale * (time_min - last.time_min);
        }
        let k = points.partition_point(|p| p.time_min <= time_min).min(points.len() - 1).max(1);
        let (a, b) = (points[k - 1], points[k]);
        a.shift_s + (b.shift_s - a.shift_s) * (time_min - a.time_min) / (b.time_min - a.time_min)
    }

    /// Peaks without a name.
    pub fn unnamed(&self) -> Vec<NamedPeak> {
        self.peaks.iter().filter(|p| p.compound.is_none()).cloned().collect()
    }
}

impl fmt::Debug for NamedPeaks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let colon = if self.run.is_empty() { "" } else { ": " };
        let named = self.peaks.iter().filter(|p| p.compound.is_some()).count();
        write!(f, "NamedPeaks({}{colon}{} peaks, {named} named", self.run, self.peaks.len())?;
        if let Some(offset) = self.start_offset_s {
            write!(f, ", start offset {offset:+.1} s")?;
        }
        if !self.missing.is_empty() {
            write!(f, ", missing: {}", self.missing.join(", "))?;
        }
        f.write_str(")")
    }
}

/// Apexes that stand for something, in the order of their times, with their places in the list.
fn apexes(list: &PeakList) -> (Vec<usize>, Vec<Seen>) {
    use crate::peaks::Integration;
    // The middle of an empty window is no apex.
    let is_apex = |p: &Peak| p.retention_time_min.is_finite() && p.method != Integration::ForcedWindow;
    let mut indices: Vec<usize> = (0..list.peaks.len()).filter(|&k| is_apex(&list.peaks[k])).collect();
    indices.sort_by(|&a, &b| list.peaks[a].retention_time_min.total_cmp(&list.peaks[b].retention_time_min));
    let seen = indices
        .iter()
        .map(|&k| {
            let p = &list.peaks[k];
            let u = p.retention_time_u_min.filter(|u| u.is_finite() && *u >= 0.0).unwrap_or(0.0);
            Seen { time_s: 60.0 * p.retention_time_min, u_s: 60.0 * u }
        })
        .collect();
    (indices, seen)
}
