//! Retention times learnt from the runs of standards.

use serde::{Deserialize, Serialize};

use crate::error::Result;
use crate::identify::{Identify, ReferenceTime, check_references, name, offset};
use crate::peaks::PeakList;

/// About when a compound is expected, as the user states it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expected {
    /// The compound's name.
    pub compound: String,
    /// Approximate retention time in minutes.
    pub time_min: f64,
    /// How far off that may be, in minutes.
    pub half_width_min: f64,
}

/// What the standards say about retention times.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct References {
    /// The compounds that were found, in the order in which they were expected.
    pub times: Vec<ReferenceTime>,
    /// Compounds that no standard shows.
    pub not_found: Vec<String>,
    /// Start offset of each run of the standards against their median, in seconds.
    pub start_offsets_s: Vec<Option<f64>>,
}

/// Learns retention times from runs of standards, given about when each compound is expected.
///
/// In every run each compound takes a peak within its window, in order of elution; of several, the one near the stated
/// time and with most of the area (likelihood times its share of the window's area). Medians over the runs give
/// provisional times; against these each run's start offset is taken out; medians of the corrected times are the
/// reference, and 1.4826 times their median absolute deviation (from 3 runs on) is their scatter. The windows stay as
/// stated.
///
/// A compound in fewer than half of the standards rests on few runs: see [`ReferenceTime::runs`].
///
/// # Errors
/// An option outside its range; an expectation without a time or a positive window; a compound given twice.
///
/// ```
/// use vialbook::{Detect, Trace, identify::{Expected, Identify, references_from}, shapes::Gaussian};
/// let mut standards = Vec::new();
/// for late in [0.0, 0.01, -0.005] {
///     let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 0.002).collect();
///     let mut signal = vec![0.0; time.len()];
///     for centre in [2.0, 5.0] {
///         Gaussian::new(1.0, centre + late, 0.03)?.add_to(&time, &mut signal);
///     }
///     standards.push(Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?);
/// }
/// let expected = [2.1, 4.9].map(|t| Expected { compound: format!("at {t}"), time_min: t, half_width_min: 0.2 });
/// let references = references_from(&standards, &expected, &Identify::default())?;
/// assert!((references.times[0].time_min - 2.0).abs() < 1e-3);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn references_from(standards: &[PeakList], expected: &[Expected], options: &Identify) -> Result<References> {
    options.check()?;
    let stated: Vec<ReferenceTime> =
        expected.iter().map(|e| ReferenceTime::new(&e.compound, e.time_min, e.half_width_min)).collect();
    check_references(&stated)?;
    let mut sorted: Vec<&ReferenceTime> = stated.iter().collect();
    sorted.sort_by(|a, b| a.time_min.total_cmp(&b.time_min));
    let provisional = learn(standards, &sorted, &vec![0.0; standards.len()], options);
    let provisional_sorted: Vec<&ReferenceTime> = provisional.iter().flatten().collect();
    let start_offsets_s: Vec<Option<f64>> = standards
        .iter()
        .map(|run| {
            if !options.start_offset {
                return None;
            }
            offset::start_offset_s(run, &provisional_sorted, options.largest_offset_s)
        })
        .collect();
    let deltas: Vec<f64> = start_offsets_s.iter().map(|s| s.unwrap_or(0.0) / 60.0).collect();
    let learnt = learn(standards, &sorted, &deltas, options);
    let mut references = References { start_offsets_s, ..References::default() };
    for e in expected {
        match learnt.iter().flatten().find(|r| r.compound == e.compound) {
            Some(found) => references.times.push(found.clone()),
            None => references.not_found.push(e.compound.clone()),
        }
    }
    Ok(references)
}

/// One round: names in every run, then medians; `None` for a compound that no run shows.
fn learn(
    standards: &[PeakList],
    sorted: &[&ReferenceTime],
    deltas: &[f64],
    options: &Identify,
) -> Vec<Option<ReferenceTime>> {
    let (mut times, mut widths) = (vec![Vec::new(); sorted.len()], vec![Vec::new(); sorted.len()]);
    for (run, &delta) in standards.iter().zip(deltas) {
        let in_window: Vec<f64> = sorted
            .iter()
            .map(|r| {
                let near = run
                    .peaks
                    .iter()
                    .filter(|p| (p.retention_time_min - delta - r.time_min).abs() <= r.half_width_min && p.area > 0.0);
                near.map(|p| p.area).sum()
            })
            .collect();
        let share = |i: usize, k: usize| (run.peaks[k].area / in_window[i]).clamp(1e-6, 1.0);
        let names = name(run, sorted, delta, options, share);
        for (i, choice) in names.chosen.iter().enumerate() {
            if let Some(k) = choice {
                times[i].push(run.peaks[*k].retention_time_min - delta);
                widths[i].extend(run.peaks[*k].width_half_min);
            }
        }
    }
    sorted
        .iter()
        .zip(times.iter_mut().zip(&mut widths))
        .map(|(stated, (times, widths))| {
            let time_min = median(times)?;
            let mut away: Vec<f64> = times.iter().map(|t| (t - time_min).abs()).collect();
            let scatter = if times.len() >= 3 { median(&mut away).map(|m| 1.4826 * m) } else { None };
            Some(ReferenceTime {
                time_min,
                width_half_min: median(widths).unwrap_or(0.0),
                // Half the runs alike to the last digit scatter by no less than the rest.
                time_sd_min: scatter.map(|s| s.max(0.25 * mean_size(&away))),
                runs: times.len(),
                ..(*stated).clone()
            })
        })
        .collect()
}

fn mean_size(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    values.sort_by(f64::total_cmp);
    Some(0.5 * (values[(n - 1) / 2] + values[n / 2]))
}
