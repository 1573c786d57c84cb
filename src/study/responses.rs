//! One area per compound and run: the named peak's, a fixed window's, or a forced window's where no peak was found.
//!
//! Peak finding never gates a number: a blank or a non-detect is integrated at the expected time, over the span
//! that the standards' peaks take there.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::as_results::{merits_result, peak_result};
use super::names::Names;
use super::{IntegrateBy, Kind, Role, Study, StudyConfig, WindowBaseline};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::identify::{CONFIRM, ExpectedTime, NamedPeak, NamedPeaks, ReferenceTime};
use crate::numeric::median;
use crate::peaks::{BaselineEnds, Conditions, Detect, Integration, Peak, PeakList, PeakNote};
use crate::results::{ByHandResult, CandidateResult, Finding, MeritsResult, NamingResult, PeakResult};
use crate::trace::Run;

/// What was measured in every run, in the order of the injections.
pub(super) struct Measured {
    expected: Vec<ExpectedTime>,
    pub(super) naming: NamingResult,
    pub(super) findings: Vec<Finding>,
    pub(super) runs: Vec<MeasuredRun>,
}

/// What was measured in one run.
pub(super) struct MeasuredRun {
    pub(super) list: PeakList,
    pub(super) start_offset_s: Option<f64>,
    /// All peaks in the order of time; forced and fixed windows among them.
    pub(super) peaks: Vec<Named>,
}

/// A peak or window with the compound that it is consistent with.
pub(super) struct Named {
    pub(super) peak: Peak,
    pub(super) compound: Option<String>,
    pub(super) probability: Option<f64>,
    pub(super) candidates: Vec<(String, f64)>,
    pub(super) evidence: String,
    /// Retention index and its standard uncertainty.
    index: Option<(f64, f64)>,
    /// Retention factor.
    factor: Option<f64>,
    /// Relative to the internal standard.
    relative: Option<f64>,
    /// Why its bounds were set by hand, and what was there before.
    pub(super) by_hand: Option<ByHandResult>,
    /// Figures of merit by further ways.
    pub(super) merits: Option<MeritsResult>,
}

impl From<NamedPeak> for Named {
    fn from(n: NamedPeak) -> Self {
        Named {
            peak: n.peak,
            compound: n.compound,
            probability: n.identity_probability,
            candidates: n.candidates,
            evidence: n.evidence,
            index: None,
            factor: None,
            relative: None,
            by_hand: None,
            merits: None,
        }
    }
}

/// Where a compound's peak lies in the standards: start and end about its apex, in minutes.
struct Span {
    before_min: f64,
    after_min: f64,
}

impl Measured {
    /// Area of a compound in an injection, with its uncertainty from the trace.
    ///
    /// # Errors
    /// The compound has neither a peak nor a window there.
    pub(super) fn area(&self, injection: usize, compound: &str) -> Result<(f64, f64)> {
        let run = &self.runs[injection];
        run.peaks
            .iter()
            .find(|n| n.compound.as_deref() == Some(compound))
            .map(|n| (n.peak.area, n.peak.area_u))
            .ok_or_else(|| self.nowhere(compound, &run.list))
    }
}

impl Measured {
    /// Why a compound has no window: what was expected, and what was seen instead.
    fn nowhere(&self, compound: &str, list: &PeakList) -> Error {
        let expected = match self.expected.iter().find(|e| e.compound == compound) {
            Some(e) => format!("expected at {} ± {} min", significant(e.time_min, 4), significant(e.half_width_min, 2)),
            None => "without an expected time".to_owned(),
        };
        let seen: Vec<String> = list.peaks.iter().take(12).map(|p| significant(p.retention_time_min, 4)).collect();
        let seen = if seen.is_empty() { "no peaks".to_owned() } else { format!("peaks at {} min", seen.join(", ")) };
        Error::new(
            ErrorKind::Data,
            format!("{compound}, {expected}, was found in no standard; the run \"{}\" shows {seen}", list.run),
        )
        .hint(
            "in study.toml, set the compound's retention_min (in minutes) and window_min so that they hold its peak and no \
             other's, or integrate_min = [start, end]; times in seconds? see time_unit under [reading]",
        )
    }
}

impl Study {
    /// Peaks, names and forced windows of all runs, on all cores.
    pub(super) fn measure(&self) -> Result<Measured> {
        self.check_hand_runs()?;
        let detect = detect_options(&self.config);
        let lists: Vec<PeakList> = self.runs.par_iter().map(|r| self.peaks_of(r, &detect)).collect::<Result<_>>()?;
        let mut lists = lists;
        // Plate numbers are isothermal quantities; the list of found peaks and the named ones agree.
        for (_, list) in lists.iter_mut().enumerate().filter(|(i, _)| !self.is_isothermal(*i)) {
            list.peaks.iter_mut().for_each(|p| p.plates_half_height = None);
        }
        let names = self.names(&lists)?;
        let mut runs: Vec<MeasuredRun> = lists
            .into_iter()
            .zip(&names.named)
            .map(|(list, named)| MeasuredRun {
                list,
                start_offset_s: named.start_offset_s,
                peaks: named.peaks.iter().map(|n| Named::from(n.clone())).collect(),
            })
            .collect();
        let spans = self.spans(&runs);
        for (i, (run, measured)) in self.runs.iter().zip(&mut runs).enumerate() {
            let injection = &self.injections[i];
            let references = &names.scales[names.scale_of[i]].references;
            match self.add_windows((injection, run, &names.named[i]), measured, references, &spans, &detect) {
                // A run that was broken off need not reach to every window.
                Err(_) if !injection.accepted => {}
                other => other?,
            }
            self.by_hand(run, measured, &detect)?;
            if !self.is_isothermal(i) {
                measured.peaks.iter_mut().for_each(|n| n.peak.plates_half_height = None);
            }
            let conditions = Conditions {
                is_isothermal: self.is_isothermal(i),
                hold_up_min: self.method_of(i).and_then(|m| m.hold_up_min),
            };
            let list =
                PeakList { peaks: measured.peaks.iter().map(|n| n.peak.clone()).collect(), ..measured.list.clone() };
            for (named, merits) in measured.peaks.iter_mut().zip(list.merits(&conditions)?) {
                named.merits = Some(merits_result(&merits, &conditions));
            }
        }
        self.place(&names, &mut runs);
        Ok(Measured { expected: names.expected, naming: names.result, findings: names.findings, runs })
    }

    /// The peaks of a run, with areas by bounds or by fit as study.toml says.
    fn peaks_of(&self, run: &Run, detect: &Detect) -> Result<PeakList> {
        let settings = &self.config.peaks;
        let fit = settings.fit.clone().unwrap_or_default();
        let list = run.find_peaks(detect)?;
        match settings.integration {
            IntegrateBy::Bounds => list.beside_fits(&fit),
            IntegrateBy::Fit => list.fit(&fit),
        }
        .map_err(|e| e.in_file(&run.provenance.file))
    }

    /// Retention index, retention factor and relative retention of every peak; what spikes say of the names.
    fn place(&self, names: &Names, runs: &mut [MeasuredRun]) {
        let internal = self.config.internal_standard();
        for (i, run) in runs.iter_mut().enumerate() {
            let (scale, named) = (&names.scales[names.scale_of[i]], &names.named[i]);
            // The shift is told on the standards' clock; it is smooth, so that one step suffices.
            let clock = |t: f64| t - named.shift_s(t - named.shift_s(t) / 60.0) / 60.0;
            let to = internal.and_then(|c| named.peak(c)).map(|p| clock(p.peak.retention_time_min));
            for n in run.peaks.iter_mut().filter(|n| !n.peak.notes.contains(&PeakNote::NoPeakFound)) {
                let at = clock(n.peak.retention_time_min);
                let offset_u = named.start_offset_u_s.unwrap_or(0.0) / 60.0;
                let u = n.peak.retention_time_u_min.filter(|u| u.is_finite()).unwrap_or(0.0).hypot(offset_u);
                let index = scale.index(at, u);
                n.index = index.map(|x| (x.value, x.u));
                n.factor = scale.factor(at);
                n.relative = to.and_then(|to| scale.relative(at, to));
                let Some(compound) = &n.compound else { continue };
                let sample = &self.injections[i].sample;
                let of_sample = |run: &str| self.injections.iter().any(|o| o.run == run && &o.sample == sample);
                for e in names.result.evidence.iter().filter(|e| &e.compound == compound) {
                    let concerns = e.kind != "spike" || of_sample(&e.run);
                    match e.agrees {
                        Some(true) if concerns => {
                            n.evidence = n.evidence.replace(CONFIRM, "");
                            n.evidence.push_str(&format!("; supported by the {} run {}", e.kind, e.run));
                        }
                        Some(false) if concerns => {
                            n.evidence.push_str(&format!("; the {} run {} speaks against it", e.kind, e.run));
                        }
                        _ => {}
                    }
                }
            }
        }
    }

    /// True where the run's method is known to hold one temperature.
    fn is_isothermal(&self, injection: usize) -> bool {
        self.method_of(injection).is_some_and(|m| m.oven.len() == 1)
    }

    /// The usual span of each compound's peak about its apex, from the standards.
    fn spans(&self, runs: &[MeasuredRun]) -> BTreeMap<String, Span> {
        let mut seen: BTreeMap<&str, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
        for (injection, run) in self.injections.iter().zip(runs) {
            if !(injection.accepted && matches!(injection.kind, Kind::Standard | Kind::CheckStandard | Kind::Addition))
            {
                continue;
            }
            for n in &run.peaks {
                let Some(compound) = n.compound.as_deref() else { continue };
                let (before, after) = seen.entry(compound).or_default();
                before.push(n.peak.retention_time_min - n.peak.start_min);
                after.push(n.peak.end_min - n.peak.retention_time_min);
            }
        }
        seen.into_iter()
            .filter_map(|(compound, (before, after))| {
                Some((compound.to_owned(), Span { before_min: median(&before)?, after_min: median(&after)? }))
            })
            .collect()
    }

    /// Fixed windows for the compounds that have one, forced ones where no peak took a name.
    fn add_windows(
        &self,
        (injection, run, named): (&super::Injection, &Run, &NamedPeaks),
        measured: &mut MeasuredRun,
        references: &[ReferenceTime],
        spans: &BTreeMap<String, Span>,
        detect: &Detect,
    ) -> Result<()> {
        // What is not there to be measured has no windows.
        if matches!(injection.kind, Kind::Ladder | Kind::HoldUp | Kind::Conditioning) {
            return Ok(());
        }
        for compound in self.config.compounds.iter().filter(|c| c.role != Role::Solvent) {
            if let Some([start, end]) = compound.integrate_min {
                let peak = run.integrate_window(start, end, detect).map_err(|e| e.in_file(&run.provenance.file))?;
                measured.push(peak, &compound.name, "fixed window from study.toml");
                continue;
            }
            if measured.peaks.iter().any(|n| n.compound.as_deref() == Some(&compound.name)) {
                continue;
            }
            let (Some(r), Some(span)) =
                (references.iter().find(|r| r.compound == compound.name), spans.get(&compound.name))
            else {
                continue;
            };
            let at = r.time_min + named.shift_s(r.time_min) / 60.0;
            let peak = run
                .integrate_window(at - span.before_min, at + span.after_min, detect)
                .map_err(|e| e.in_file(&run.provenance.file))?;
            measured.push(peak, &compound.name, "forced window at the standards' retention time");
        }
        measured.peaks.sort_by(|a, b| a.peak.retention_time_min.total_cmp(&b.peak.retention_time_min));
        Ok(())
    }
}

impl Study {
    /// Peaks whose bounds study.toml sets, in the place of those that the program drew; the old values stay beside them.
    fn by_hand(&self, run: &Run, measured: &mut MeasuredRun, detect: &Detect) -> Result<()> {
        for set in self.config.peaks.by_hand.iter().filter(|b| b.run == run.name) {
            let mut peak = run.integrate_window(set.start_min, set.end_min, detect)?;
            peak.method = Integration::ByHand;
            let at = measured.peaks.iter().position(|n| n.compound.as_deref() == Some(&set.compound));
            let old = at.map(|i| measured.peaks.remove(i));
            measured.push(peak, &set.compound, "bounds set by hand");
            if let Some(new) = measured.peaks.last_mut() {
                let was = old.as_ref().map(|n| &n.peak);
                new.probability = old.as_ref().and_then(|n| n.probability);
                new.by_hand = Some(ByHandResult {
                    reason: set.reason.clone(),
                    start_min: was.map(|p| p.start_min),
                    end_min: was.map(|p| p.end_min),
                    area: was.map(|p| p.area),
                    area_u: was.map(|p| p.area_u),
                    method: was.map(|p| p.method.words().to_owned()),
                });
            }
            measured.peaks.sort_by(|a, b| a.peak.retention_time_min.total_cmp(&b.peak.retention_time_min));
        }
        Ok(())
    }

    /// Runs that study.toml sets bounds for must be there.
    fn check_hand_runs(&self) -> Result<()> {
        match self.config.peaks.by_hand.iter().find(|b| self.runs.iter().all(|r| r.name != b.run)) {
            Some(b) => {
                let names: Vec<&str> = self.runs.iter().map(|r| r.name.as_str()).collect();
                Err(Error::new(
                    ErrorKind::Study,
                    format!("no run is named \"{}\", whose bounds are set by hand", b.run),
                )
                .at_field("peaks.by_hand".to_owned())
                .hint(format!("runs: {}", names.join(", "))))
            }
            None => Ok(()),
        }
    }
}

impl MeasuredRun {
    fn push(&mut self, peak: Peak, compound: &str, evidence: &str) {
        self.peaks.push(Named {
            peak,
            compound: Some(compound.to_owned()),
            probability: None,
            candidates: Vec::new(),
            evidence: evidence.to_owned(),
            index: None,
            factor: None,
            relative: None,
            by_hand: None,
            merits: None,
        });
    }
}

impl Named {
    /// As it stands in the results.
    pub(super) fn result(&self, run: &str) -> PeakResult {
        let p = &self.peak;
        let nothing_there = p.notes.contains(&crate::peaks::PeakNote::NoPeakFound);
        let mut result = peak_result(p, run, self.compound.as_deref(), !nothing_there);
        result.identity_probability = self.probability;
        let candidate = |(compound, p): &(String, f64)| CandidateResult { compound: compound.clone(), probability: *p };
        result.candidates = self.candidates.iter().map(candidate).collect();
        (result.retention_index, result.retention_index_u) = self.index.unzip();
        (result.retention_factor, result.relative_retention) = (self.factor, self.relative);
        result.by_hand = self.by_hand.clone();
        result.merits = self.merits.clone();
        if !self.evidence.is_empty() {
            result.notes.insert(0, self.evidence.clone());
        }
        if let Some(old) = &self.by_hand {
            let was = match (old.start_min, old.end_min, old.area) {
                (Some(a), Some(b), Some(area)) => format!(
                    "the program had drawn {} to {} min, area {}",
                    significant(a, 4),
                    significant(b, 4),
                    significant(area, 4)
                ),
                _ => "the program had integrated nothing".to_owned(),
            };
            result.notes.insert(1, format!("reason: {}; {was}", old.reason));
        }
        result
    }
}

/// How study.toml wants peaks to be found.
pub(super) fn detect_options(config: &StudyConfig) -> Detect {
    let p = &config.peaks;
    let default = Detect::default();
    Detect {
        threshold_z: p.threshold.unwrap_or(default.threshold_z),
        from_min: p.start_min,
        to_min: p.end_min,
        baseline_ends: match p.window_baseline {
            WindowBaseline::Averaged => BaselineEnds::Averaged,
            WindowBaseline::SinglePoints => BaselineEnds::SinglePoints,
        },
        overlap: p.overlap,
        baseline: p.baseline,
        ..default
    }
}
