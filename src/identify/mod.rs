//! PeakList → NamedPeaks: start offset, windows, one-to-one names with a probability.
//!
//! [`references_from`] learns from the standards when each compound elutes and how far that scatters;
//! [`PeakList::identify`] names the peaks of any run by it.
//!
//! **Start offset.** A run started by hand is shifted by up to some 3 s. Where the button starts the recording
//! only, all peaks shift alike. Where it starts the oven too, a peak shifts by δ (1 + k at elution)/(1 + k at
//! start), which falls about exponentially with retention under a ramp. One common offset is taken unless at
//! least 4 peaks ask for a falling one, A exp(-(t - t₁)/τ) with t₁ the first reference and τ one of six shares (0.17 to 1) of the references' span.
//!
//! A retention time that agrees is *consistent with* a compound and no proof: that takes a spike or a second column.

mod align;
mod lattice;
mod name;
mod notes;
mod references;

pub use notes::NamingNote;
pub use references::references_from;

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::identify::align::Seen;
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
    /// Robust standard deviation of a run about it, start offsets removed; at least 0.2 s and 5 % of the width at
    /// half height.
    pub scatter_min: f64,
    /// Half of the window in which a peak may have this name.
    pub half_width_min: f64,
    /// Median width at half height.
    pub width_half_min: Option<f64>,
    /// Number of standards that show it; 0 where time and window are the study's own guess.
    pub runs: usize,
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
    /// Whether the offset may fall with retention where at least 4 peaks ask for it. Default true.
    pub offset_may_fall: bool,
    /// A peak is named where a name is more probable than this. Default 0.5; from 0.5, which makes names one to
    /// one, to below 1.
    pub least_probability: f64,
}

impl Default for Naming {
    fn default() -> Self {
        Naming { start_offset_limit_s: 6.0, offset_may_fall: true, least_probability: 0.5 }
    }
}

impl Naming {
    fn check(&self) -> Result<()> {
        let trouble = if !(0.0..=60.0).contains(&self.start_offset_limit_s) {
            format!("start_offset_limit_s is {}; 0 (no offset) to 60 s is wanted", self.start_offset_limit_s)
        } else if !(0.5..1.0).contains(&self.least_probability) {
            format!("least_probability is {}; 0.5 to below 1 is wanted", self.least_probability)
        } else {
            return Ok(());
        };
        Err(Error::new(ErrorKind::Option, trouble))
    }
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
    /// Compounds without a peak, in the order of their reference times.
    pub missing: Vec<String>,
    /// What to be careful about.
    pub notes: Vec<NamingNote>,
}

impl NamedPeaks {
    /// The peak that is consistent with this compound.
    pub fn peak(&self, compound: &str) -> Option<&NamedPeak> {
        self.peaks.iter().find(|p| p.compound.as_deref() == Some(compound))
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
