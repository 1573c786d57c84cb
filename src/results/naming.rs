//! How peaks got their names: references, shifts of single runs, hold-up time, ladder, spikes.

use serde::{Deserialize, Serialize};

/// How the peaks of a study got their names.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct NamingResult {
    /// When each compound elutes, as the standards say; per method.
    pub references: Vec<ReferenceResult>,
    /// How each run is shifted against them.
    pub runs: Vec<RunShift>,
    /// Hold-up times; one per method at most.
    pub hold_up: Vec<HoldUpResult>,
    /// Ladders of n-alkanes; one per method at most.
    pub ladders: Vec<LadderResult>,
    /// What single-compound and spiked runs say about names.
    pub evidence: Vec<EvidenceResult>,
}

/// When a compound elutes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceResult {
    /// The method, where the log names it.
    pub method: Option<String>,
    /// The compound.
    pub compound: String,
    /// Retention time in minutes, start offsets taken out.
    pub time_min: f64,
    /// Standard deviation of a run about it, in seconds.
    pub scatter_s: f64,
    /// Half of the window for its name, in seconds.
    pub half_width_s: f64,
    /// Standards that show it; 0 where the time is the study's own guess.
    pub runs: usize,
    /// Retention index from the ladder.
    pub retention_index: Option<f64>,
    /// Its standard uncertainty.
    pub retention_index_u: Option<f64>,
}

/// How a run is shifted against the standards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunShift {
    /// The run.
    pub run: String,
    /// Standard uncertainty of its start offset, in seconds.
    pub start_offset_u_s: Option<f64>,
    /// Departure of its time scale from 1, where the run asks for one.
    pub time_scale: Option<f64>,
    /// Its standard uncertainty.
    pub time_scale_u: Option<f64>,
    /// The shift along the run.
    pub curve: Vec<ShiftAt>,
    /// Compounds that were expected and are missing.
    pub missing: Vec<MissingResult>,
    /// What to be careful about.
    pub notes: Vec<String>,
}

/// A shift at a time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShiftAt {
    /// Reference time in minutes.
    pub time_min: f64,
    /// Shift in seconds, positive where peaks come late.
    pub shift_s: f64,
    /// Its standard uncertainty in seconds.
    pub u_s: f64,
}

/// A compound that was expected in a run and is missing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingResult {
    /// The compound.
    pub compound: String,
    /// Where it was expected in this run, in minutes.
    pub expected_min: f64,
    /// Probability that none of the peaks is this compound.
    pub probability: f64,
}

/// A hold-up time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldUpResult {
    /// The method.
    pub method: Option<String>,
    /// Hold-up time in minutes.
    pub time_min: f64,
    /// Its standard uncertainty in minutes; `null` where not known.
    pub u_min: Option<f64>,
    /// Where it comes from.
    pub origin: String,
}

/// A ladder of n-alkanes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LadderResult {
    /// The method.
    pub method: Option<String>,
    /// The run.
    pub run: String,
    /// The definition that indices follow.
    pub kind: String,
    /// Carbon atoms.
    pub carbons: Vec<u32>,
    /// Retention times in minutes, in the same order.
    pub times_min: Vec<f64>,
}

/// What one run says about a name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EvidenceResult {
    /// The compound.
    pub compound: String,
    /// "single compound" or "spike".
    pub kind: String,
    /// The run.
    pub run: String,
    /// True where it supports the name, false where it speaks against it, `null` where it does not tell.
    pub agrees: Option<bool>,
    /// The factor by which the peak grew (spikes).
    pub growth: Option<f64>,
    /// Its standard uncertainty.
    pub growth_u: Option<f64>,
    /// In words.
    pub text: String,
}

/// A compound that a peak may be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CandidateResult {
    /// The compound.
    pub compound: String,
    /// Its probability.
    pub probability: f64,
}
