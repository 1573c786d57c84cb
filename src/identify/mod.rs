//! PeakList → NamedPeaks: names by retention time, with the standards as reference.
//!
//! A run that was started late or early shifts all its peaks: one common offset is estimated first. Then names go to
//! peaks one to one and in order of elution, all at once, by total likelihood and not nearest first.
//!
//! A name found this way means that the retention time is **consistent with** the compound, no more: standards,
//! spikes and a second column make it an identification.

mod assign;
mod learn;
mod offset;

pub use learn::{Expected, References, references_from};

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::identify::assign::{Assignment, Candidate, assign};
use crate::peaks::{Peak, PeakList};

/// When a compound elutes, learnt from standards or stated.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ReferenceTime {
    /// The compound's name.
    pub compound: String,
    /// Its retention time in minutes.
    pub time_min: f64,
    /// A peak farther away than this, in minutes, is not this compound.
    pub half_width_min: f64,
    /// Width of its peak at half height in minutes.
    pub width_half_min: f64,
    /// Scatter (standard deviation) of its retention time between runs, start offset taken out; none where fewer than
    /// 3 standards tell.
    pub time_sd_min: Option<f64>,
    /// Number of standards it was learnt from; 0 where it was stated.
    pub runs: usize,
}

impl ReferenceTime {
    /// A stated retention time, in minutes, and how far a peak may be away from it.
    pub fn new(compound: &str, time_min: f64, half_width_min: f64) -> Self {
        ReferenceTime { compound: compound.to_owned(), time_min, half_width_min, ..ReferenceTime::default() }
    }

    /// Standard deviation expected of a run's retention time: the standards' scatter and their median's own error,
    /// but no less than a hundredth of the peak's width; a third of the window where no scatter is known.
    fn sd(&self) -> f64 {
        let least = (0.01 * self.width_half_min).max(1e-4 * self.half_width_min);
        match self.time_sd_min {
            Some(sd) => sd * (1.0 + 1.0 / self.runs.max(1) as f64).sqrt(),
            None => self.half_width_min / 3.0,
        }
        .max(least)
    }
}

/// Options of naming.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Identify {
    /// Whether to estimate and take out a common start offset. Default true.
    pub start_offset: bool,
    /// Largest start offset believed, in seconds, either sign. Default 5.
    pub largest_offset_s: f64,
    /// Probability, before looking, that a compound is not in a run at all. Default 0.1.
    pub missing_probability: f64,
}

impl Default for Identify {
    fn default() -> Self {
        Identify { start_offset: true, largest_offset_s: 5.0, missing_probability: 0.1 }
    }
}

impl Identify {
    fn check(&self) -> Result<()> {
        let trouble = if !(0.0..=600.0).contains(&self.largest_offset_s) {
            format!("largest_offset_s is {}; 0 to 600 is wanted", self.largest_offset_s)
        } else if !(self.missing_probability > 0.0 && self.missing_probability < 1.0) {
            format!("missing_probability is {}; between 0 and 1 is wanted", self.missing_probability)
        } else {
            return Ok(());
        };
        Err(Error::new(ErrorKind::Option, trouble))
    }
}

/// A peak with its name, if it has one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedPeak {
    /// The peak.
    pub peak: Peak,
    /// The compound that its retention time is consistent with.
    pub compound: Option<String>,
    /// Probability of that name among all assignments of all references to all peaks, "none" included. Approximate: it
    /// takes the scatter of retention times as normal, and peaks of other substances as equally likely everywhere.
    pub identity_probability: Option<f64>,
    /// What the name rests on, in words.
    pub evidence: String,
}

/// The peaks of a run with their names.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedPeaks {
    /// Name of the run.
    pub run: String,
    /// All peaks, in the order of their retention times.
    pub peaks: Vec<NamedPeak>,
    /// How much later than in the reference all peaks came, in seconds; already taken into account. None where it was
    /// switched off or fewer than two compounds tell.
    pub start_offset_s: Option<f64>,
    /// Compounds without a peak.
    pub missing: Vec<String>,
}

impl NamedPeaks {
    /// The peak named so.
    pub fn compound(&self, name: &str) -> Option<&NamedPeak> {
        self.peaks.iter().find(|p| p.compound.as_deref() == Some(name))
    }
}

/// Names the peaks of a run after the references.
///
/// Each reference i and peak k within its window h_i have the likelihood
///
/// L = (1 - q)/λ · (0.95 φ((t_k - δ - t_i)/s_i)/s_i + 0.05/(2 h_i)),
///
/// φ the normal density, δ the start offset, s_i the scatter of the reference and of the apex, λ the number of
/// unrelated peaks per minute (peaks beyond the number of references, and one more), q the probability that the
/// compound is absent; one peak in 20 may lie anywhere in its window, since load moves an apex. The assignment with
/// the largest product over all references wins, one to one, in order of elution; probabilities sum over all such
/// assignments.
///
/// # Errors
/// An option outside its range; a reference without a finite time or a positive window; a compound given twice.
///
/// ```
/// use vialbook::{Detect, Trace, identify::{Identify, ReferenceTime, identify}, shapes::Gaussian};
/// let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 0.002).collect();
/// let mut signal = vec![0.0; time.len()];
/// for centre in [2.02, 5.02] {
///     Gaussian::new(1.0, centre, 0.03)?.add_to(&time, &mut signal);
/// }
/// let peaks = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?;
/// let references = [ReferenceTime::new("ethanol", 2.0, 0.1), ReferenceTime::new("octane", 5.0, 0.1)];
/// let named = identify(&peaks, &references, &Identify::default())?;
/// assert_eq!(named.peaks[1].compound.as_deref(), Some("octane"));
/// assert!((named.start_offset_s.unwrap_or(0.0) - 1.2).abs() < 0.01);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn identify(peaks: &PeakList, references: &[ReferenceTime], options: &Identify) -> Result<NamedPeaks> {
    options.check()?;
    check_references(references)?;
    let mut sorted: Vec<&ReferenceTime> = references.iter().collect();
    sorted.sort_by(|a, b| a.time_min.total_cmp(&b.time_min));
    let start_offset_s =
        if options.start_offset { offset::start_offset_s(peaks, &sorted, options.largest_offset_s) } else { None };
    let delta = start_offset_s.unwrap_or(0.0) / 60.0;
    let names = name(peaks, &sorted, delta, options, |_, _| 1.0);
    let mut named: Vec<NamedPeak> = peaks
        .peaks
        .iter()
        .map(|peak| NamedPeak {
            peak: peak.clone(),
            compound: None,
            identity_probability: None,
            evidence: "no reference expects a peak here".to_owned(),
        })
        .collect();
    let mut missing = Vec::new();
    for (reference, (choice, probability)) in sorted.iter().zip(names.chosen.iter().zip(&names.probability)) {
        let Some(k) = *choice else {
            missing.push(reference.compound.clone());
            continue;
        };
        named[k].evidence = evidence(reference, &named[k].peak, delta, start_offset_s);
        named[k].compound = Some(reference.compound.clone());
        named[k].identity_probability = Some(*probability);
    }
    // In the order in which they were asked for.
    missing.sort_by_key(|m| references.iter().position(|r| r.compound == *m));
    Ok(NamedPeaks { run: peaks.run.clone(), peaks: named, start_offset_s, missing })
}

/// Naming.
impl PeakList {
    /// The peaks with names; see [`identify`].
    ///
    /// # Errors
    /// As [`identify`].
    pub fn identify(&self, references: &[ReferenceTime], options: &Identify) -> Result<NamedPeaks> {
        identify(self, references, options)
    }
}

/// Share of peaks that are off by more than their scatter, anywhere in the window: load moves an apex, and a start
/// that also starts the oven does not shift all peaks alike.
const ASTRAY: f64 = 0.05;

/// Assigns references (in order of time) to peaks; `weight(reference, peak)` multiplies the likelihood.
fn name(
    peaks: &PeakList,
    sorted: &[&ReferenceTime],
    delta: f64,
    options: &Identify,
    weight: impl Fn(usize, usize) -> f64,
) -> Assignment {
    let times: Vec<f64> = peaks.peaks.iter().map(|p| p.retention_time_min - delta).collect();
    let ends = times
        .iter()
        .copied()
        .chain(sorted.iter().flat_map(|r| [r.time_min - r.half_width_min, r.time_min + r.half_width_min]));
    let (from, to) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
    // Peaks that no reference accounts for, and one more, over the time that peaks and windows span.
    let per_min = (times.len().saturating_sub(sorted.len()) + 1) as f64 / (to - from).max(1e-6);
    let mut candidates = Vec::new();
    for (i, reference) in sorted.iter().enumerate() {
        let first = times.partition_point(|&t| t < reference.time_min - reference.half_width_min);
        for (k, &time) in times.iter().enumerate().skip(first) {
            let apart = time - reference.time_min;
            if apart > reference.half_width_min {
                break;
            }
            let s = reference.sd().hypot(peaks.peaks[k].retention_time_u_min.unwrap_or(0.0));
            let density = libm::exp(-0.5 * (apart / s) * (apart / s)) / (s * 2.506_628_274_631_000_7); // √(2π)
            let density = (1.0 - ASTRAY) * density + ASTRAY * 0.5 / reference.half_width_min;
            let likelihood = (1.0 - options.missing_probability) * density / per_min * weight(i, k);
            candidates.push(Candidate { reference: i, peak: k, likelihood });
        }
    }
    assign(sorted.len(), times.len(), &candidates, options.missing_probability)
}

fn check_references(references: &[ReferenceTime]) -> Result<()> {
    for (i, r) in references.iter().enumerate() {
        if !(r.time_min.is_finite() && r.half_width_min.is_finite() && r.half_width_min > 0.0) {
            return Err(Error::new(
                ErrorKind::Study,
                format!(
                    "{}: retention time {} min with a window of ±{} min; a time and a positive window are wanted",
                    r.compound, r.time_min, r.half_width_min
                ),
            ));
        }
        if references[..i].iter().any(|other| other.compound == r.compound) {
            return Err(Error::new(ErrorKind::Study, format!("{} has two retention times", r.compound)));
        }
    }
    Ok(())
}

fn evidence(reference: &ReferenceTime, peak: &Peak, delta: f64, offset: Option<f64>) -> String {
    let expected = match (reference.time_sd_min, reference.runs) {
        (Some(sd), runs) => format!("{:.4} ± {:.4} min in {runs} standards", reference.time_min, sd),
        (None, 0) => format!("{:.3} min as stated", reference.time_min),
        (None, runs) => format!("{:.4} min in {runs} standard(s)", reference.time_min),
    };
    let corrected = offset.map_or(String::new(), |s| format!(" less a start offset of {s:+.2} s"));
    format!(
        "consistent with {}: {:.4} min{corrected}, {:+.2} s from {expected}",
        reference.compound,
        peak.retention_time_min,
        60.0 * (peak.retention_time_min - delta - reference.time_min),
    )
}
