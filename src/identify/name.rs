//! One run's peaks → names.

use std::fmt::Write;

use crate::error::{Error, ErrorKind, Result};
use crate::identify::align::{Alignment, Freedom, Shape, Target, align};
use crate::identify::{Candidates, NamedPeak, NamedPeaks, Naming, NamingNote, ReferenceTime, ShiftPoint, apexes};
use crate::peaks::{Peak, PeakList};

/// Fewer peaks than this cannot tell an offset from a name.
const FEW_PEAKS: f64 = 1.5;
/// A name that rests on one peak, offset and all, among at least 3 references must be this probable: in simulated
/// blanks a sixth of the foreign peaks lay where some offset gives them a name.
const LONE_PROBABILITY: f64 = 0.9;
/// An offset beyond this share of its limit is close to it.
const NEAR_LIMIT: f64 = 0.8;
/// What a name by retention alone waits for.
pub(crate) const CONFIRM: &str = "; a spike or a second column would confirm it";
/// A candidate less probable than this is not worth mentioning.
const FAINT: f64 = 0.02;

/// Naming.
impl PeakList {
    /// The peaks with the compounds they are consistent with, one to one and in order.
    ///
    /// Every assignment of peaks to compounds that is one to one, keeps the order of the reference times and stays
    /// inside the windows has a weight: p f(z) for a pair, 1 - p for a compound without a peak, λ for a peak
    /// without a name. f is the density of the time less reference and start offset (Student's t with 7 to 27
    /// degrees of freedom by the number of standards, since the scatter is an estimate: near to Gaussian, longer
    /// tails), its variance that of the scatter and of apex and offset; p and λ come from how many compounds and
    /// extra peaks the run shows. A name's probability is the share of the weight of all assignments that have it,
    /// summed exactly by recurrence, over the offsets that explain the run. The pair is named where that exceeds
    /// `least_probability`; so two peaks near one reference, or one peak between two, lower it. Time grows with
    /// (compounds × peaks).
    ///
    /// **The offset** is the best of all differences between peaks and references by total weight, then a robust
    /// mean; its prior is normal with half the limit as standard deviation. See [`crate::identify`] for one that
    /// falls with retention.
    ///
    /// Probabilities are approximate: they trust the scatter, take unnamed peaks to be spread evenly, and know
    /// nothing about areas. A name rests on retention alone: a foreign peak where a missing compound would be gets
    /// its name. Seen in 4,000 simulated runs of 12 compounds (10 standards, scatter 0.3 s, offsets to ± 3 s, pairs
    /// 5 s apart, 3 % missing, 2 foreign peaks on average): 0.4 wrong names in 1,000, all of that kind; 1 in 1,000
    /// unnamed. A run that shares one peak with the standards says
    /// little about its offset: a note says so, and with 3 references or more 0.9 is wanted for the name. Windows without a peak in them are never named.
    ///
    /// # Errors
    /// An option outside its range; a reference without a number or a positive scatter; a compound named twice.
    ///
    /// ```
    /// use vialbook::{Trace, identify::{ExpectedTime, Naming, references_from}, peaks::Detect, shapes::Gaussian};
    /// let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal = vec![0.1; time.len()];
    /// Gaussian::new(2.0, 3.02, 0.03)?.add_to(&time, &mut signal);
    /// let peaks = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?;
    /// let octane = ExpectedTime { compound: "octane".into(), time_min: 3.0, half_width_min: 0.1 };
    /// let named = peaks.identify(&references_from(&[&peaks], &[octane]), &Naming::default())?;
    /// assert_eq!(named.peaks[0].compound.as_deref(), Some("octane"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn identify(&self, references: &[ReferenceTime], options: &Naming) -> Result<NamedPeaks> {
        options.check()?;
        check(references)?;
        let mut references: Vec<&ReferenceTime> = references.iter().collect();
        references.sort_by(|a, b| a.time_min.total_cmp(&b.time_min).then_with(|| a.compound.cmp(&b.compound)));
        let targets: Vec<Target> = references
            .iter()
            .map(|r| {
                // The reference is itself a mean of `runs` times.
                let scatter = 60.0 * r.scatter_min * (1.0 + 1.0 / r.runs.max(1) as f64).sqrt();
                Target::new(60.0 * r.time_min, scatter, 60.0 * r.half_width_min, r.runs)
            })
            .collect();
        let (indices, seen) = apexes(self);
        let shares: Option<Vec<f64>> = references.iter().map(|r| r.late_start_share).collect();
        let mut freedom: Freedom = options.freedom();
        if let Some(shares) = shares.filter(|s| !s.is_empty()) {
            freedom.shape = Shape::Known(shares);
        }
        let found = align(&targets, &seen, &freedom);

        let is_lone = options.start_offset_limit_s > 0.0 && found.shared < FEW_PEAKS && references.len() > 2;
        let least = if is_lone { options.least_probability.max(LONE_PROBABILITY) } else { options.least_probability };

        // Per peak of the list: the references it may be, most probable first.
        let mut claims: Vec<Vec<(usize, f64)>> = vec![Vec::new(); self.peaks.len()];
        for (i, candidates) in found.candidates.iter().enumerate() {
            for &(j, p) in candidates {
                claims[indices[j]].push((i, p));
            }
        }
        let mut is_found = vec![false; references.len()];
        let mut notes = Vec::new();
        let mut peaks = Vec::with_capacity(self.peaks.len());
        for (peak, mut claim) in self.peaks.iter().zip(claims) {
            claim.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let winner = claim.first().copied().filter(|c| c.1 > least);
            if let Some((i, _)) = winner {
                is_found[i] = true;
            } else if claim.first().is_some_and(|c| c.1 > 0.1) {
                let names = claim.iter().filter(|c| c.1 > FAINT);
                notes.push(NamingNote::Undecided {
                    time_min: peak.retention_time_min,
                    candidates: names.map(|&(i, p)| (references[i].compound.clone(), p)).collect(),
                });
            }
            peaks.push(NamedPeak {
                peak: peak.clone(),
                compound: winner.map(|(i, _)| references[i].compound.clone()),
                identity_probability: winner.map(|(_, p)| p),
                candidates: claim
                    .iter()
                    .filter(|c| c.1 >= 0.001)
                    .map(|&(i, p)| (references[i].compound.clone(), p))
                    .collect(),
                evidence: evidence(peak, &claim, winner, &references, &found),
            });
        }
        let has_offset = options.start_offset_limit_s > 0.0 && found.shared > 0.5;
        notes.splice(0..0, doubts(&references, &found, options, has_offset, &is_found));
        let missing = references.iter().zip(&is_found).filter(|(_, there)| !**there).map(|(r, _)| r.compound.clone());
        Ok(NamedPeaks {
            run: self.run.clone(),
            peaks,
            start_offset_s: has_offset.then_some(found.offset_s),
            start_offset_u_s: has_offset.then_some(found.offset_u_s),
            time_scale: found.scale.map(|s| s.0),
            time_scale_u: found.scale.map(|s| s.1),
            shift: if has_offset || found.scale.is_some() { shift(&references, &found) } else { Vec::new() },
            candidates: references
                .iter()
                .zip(&found.candidates)
                .enumerate()
                .map(|(i, (r, list))| Candidates {
                    compound: r.compound.clone(),
                    expected_min: r.time_min + found.shifts_s[i] / 60.0,
                    half_width_min: r.half_width_min,
                    peaks: list.iter().map(|&(j, p)| (indices[j], p)).collect(),
                    none: (1.0 - list.iter().map(|c| c.1).sum::<f64>()).clamp(0.0, 1.0),
                })
                .collect(),
            missing: missing.collect(),
            notes,
        })
    }
}

/// The shift at each reference.
fn shift(references: &[&ReferenceTime], found: &Alignment) -> Vec<ShiftPoint> {
    let places = found.shifts_s.iter().zip(&found.shifts_u_s);
    let point =
        |(r, (s, u)): (&&ReferenceTime, (&f64, &f64))| ShiftPoint { time_min: r.time_min, shift_s: *s, u_s: *u };
    references.iter().zip(places).map(point).collect()
}

fn check(references: &[ReferenceTime]) -> Result<()> {
    let mut names: Vec<&str> = references.iter().map(|r| r.compound.as_str()).collect();
    names.sort_unstable();
    if let Some(pair) = names.windows(2).find(|w| w[0] == w[1]) {
        return Err(Error::new(ErrorKind::Study, format!("{} has two reference times; one is wanted", pair[0])));
    }
    for r in references {
        let positive = |x: f64| x.is_finite() && x > 0.0;
        if !r.time_min.is_finite() || !positive(r.scatter_min) || !positive(r.half_width_min) {
            return Err(Error::new(
                ErrorKind::Data,
                format!(
                    "the reference of {} is {} min, scatter {} min, window ± {} min; numbers are wanted, scatter and window above 0",
                    r.compound, r.time_min, r.scatter_min, r.half_width_min
                ),
            ));
        }
    }
    Ok(())
}

/// Notes on the run as a whole.
fn doubts(
    references: &[&ReferenceTime],
    found: &Alignment,
    options: &Naming,
    has_offset: bool,
    is_found: &[bool],
) -> Vec<NamingNote> {
    let mut notes = Vec::new();
    if references.is_empty() {
        notes.push(NamingNote::NoReferences);
    }
    if has_offset {
        let limit_s = options.start_offset_limit_s;
        if found.shared < FEW_PEAKS {
            notes.push(NamingNote::OffsetFromFewPeaks(found.shared.round() as usize));
        }
        if found.offset_s.abs() > NEAR_LIMIT * limit_s {
            notes.push(NamingNote::OffsetNearLimit { offset_s: found.offset_s, limit_s });
        }
        if let (Some(_), [first_s, .., last_s]) = (found.fall_s, &found.shifts_s[..]) {
            notes.push(NamingNote::OffsetFalls { first_s: *first_s, last_s: *last_s });
        }
    }
    if let Some((scale, u)) = found.scale {
        notes.push(NamingNote::TimeScale { scale, u });
    }
    let guessed = references.iter().zip(is_found).filter(|(r, there)| r.runs == 0 && **there);
    notes.extend(guessed.map(|(r, _)| NamingNote::NeverInStandards(r.compound.clone())));
    notes
}

/// What speaks for the name, in words.
fn evidence(
    peak: &Peak,
    claim: &[(usize, f64)],
    winner: Option<(usize, f64)>,
    references: &[&ReferenceTime],
    found: &Alignment,
) -> String {
    let mut text = String::with_capacity(160);
    let residual = |i: usize| 60.0 * (peak.retention_time_min - references[i].time_min) - found.shifts_s[i];
    // Writing to a string cannot fail.
    let Some((i, _)) = winner else {
        let named: Vec<&(usize, f64)> = claim.iter().filter(|c| c.1 > FAINT).collect();
        if named.is_empty() {
            return "no candidate: no reference time fits".to_owned();
        }
        text.push_str("undecided between ");
        for (i, p) in named {
            let _ = write!(text, "{} ({:.1} s away, {p:.2}), ", references[*i].compound, residual(*i).abs());
        }
        text.push_str("and an unknown");
        return text;
    };
    let reference = references[i];
    let source = if reference.runs == 0 { "the expected" } else { "the standards'" };
    let _ = write!(
        text,
        "consistent with {}: {:.1} s from {source} {:.3} min (scatter {:.1} s)",
        reference.compound,
        residual(i).abs(),
        reference.time_min,
        60.0 * reference.scatter_min
    );
    if found.shared > 0.5 && found.offset_u_s > 0.0 {
        let _ = write!(text, ", start offset {}", signed(found.shifts_s[i]));
    }
    for (k, p) in claim.iter().skip(1).filter(|c| c.1 > FAINT) {
        let _ = write!(text, "; may also be {} ({p:.2})", references[*k].compound);
    }
    if let Some((j, _)) = found.candidates[i].iter().find(|c| c.1 > FAINT && c.1 < 0.5) {
        let _ = write!(text, "; another peak (number {}) is within reach", j + 1);
    }
    text.push_str(CONFIRM);
    text
}

/// Seconds with a sign that typesets: "−0.6 s".
fn signed(seconds: f64) -> String {
    if seconds < 0.0 { format!("\u{2212}{:.1} s", -seconds) } else { format!("+{seconds:.1} s") }
}
