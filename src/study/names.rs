//! Peak lists → names: references per method, ladders and hold-up times, single-compound and spiked runs.

use rayon::prelude::*;

use super::spikes::{self, Spiked};
use super::{Kind, Method, Role, StartButton, Study};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::identify::{
    AlkanePeak, ExpectedTime, HoldUp, Ladder, NamedPeaks, Naming, Programme, ProgrammeStep, ReferenceTime,
    RetentionIndex, RetentionLaw, learn_references, n_alkane_carbons,
};
use crate::numeric::{median, sample_sd};
use crate::peaks::{Peak, PeakList};
use crate::results::{
    EvidenceResult, Finding, HoldUpResult, LadderResult, MissingResult, NamingResult, ReferenceResult, RunShift,
    Severity, ShiftAt,
};

/// How retention factors fall as the oven warms (common knowledge: about 4 % per kelvin near 40 °C).
const PER_KELVIN: f64 = 0.04;
/// A peak of a blank this large against one at the same time in another run makes it the solvent's.
const BLANK_SHARE: f64 = 0.3;
/// How far apart two runs' peaks may be to be one, start offsets included, in minutes.
const SAME_MIN: f64 = 0.1;
/// Standard deviation of a start by hand where no runs tell, in seconds (common practice).
const START_SD_S: f64 = 1.0;

/// What is known of retention under one method.
pub(super) struct RetentionScale {
    method: Option<String>,
    pub(super) isothermal: bool,
    pub(super) hold_up: Option<HoldUp>,
    ladder: Option<(Ladder, String)>,
    pub(super) references: Vec<ReferenceTime>,
    naming: Naming,
}

/// Names of all runs, in the order of the injections.
pub(super) struct Names {
    pub(super) expected: Vec<ExpectedTime>,
    pub(super) scales: Vec<RetentionScale>,
    /// Per injection: which scale.
    pub(super) scale_of: Vec<usize>,
    pub(super) named: Vec<NamedPeaks>,
    pub(super) result: NamingResult,
    pub(super) findings: Vec<Finding>,
}

impl Study {
    /// Names of all runs.
    pub(super) fn names(&self, lists: &[PeakList]) -> Result<Names> {
        let mut findings = Vec::new();
        let expected = self.expected_times(lists, &mut findings);
        let mut scales: Vec<RetentionScale> = Vec::new();
        let mut scale_of = Vec::with_capacity(lists.len());
        for i in 0..lists.len() {
            let method = self.method_of(i).map(|m| m.name.clone());
            let at = scales.iter().position(|s| s.method == method).map_or_else(
                || -> Result<usize> {
                    scales.push(self.retention_scale(method, lists, &expected, &mut findings)?);
                    Ok(scales.len() - 1)
                },
                Ok,
            )?;
            scale_of.push(at);
        }
        let named: Vec<NamedPeaks> = lists
            .par_iter()
            .enumerate()
            .map(|(i, list)| {
                let scale = &scales[scale_of[i]];
                list.identify(&self.references_for(i, scale), &scale.naming)
            })
            .collect::<Result<_>>()?;
        for scale in &mut scales {
            // A ladder has a start of its own, which no shared peak tells.
            let offsets: Vec<f64> = named.iter().filter_map(|n| n.start_offset_s).collect();
            let start_s = if offsets.len() < 3 { START_SD_S } else { sample_sd(&offsets).unwrap_or(START_SD_S) };
            scale.ladder = scale.ladder.take().map(|(l, run)| (l.with_start_uncertainty(start_s / 60.0), run));
        }
        let mut names = Names { expected, scales, scale_of, named, result: NamingResult::default(), findings };
        names.evidence(self, lists);
        names.result(self);
        Ok(names)
    }

    /// The method of an injection, where the log or a single entry of study.toml tells.
    pub(super) fn method_of(&self, injection: usize) -> Option<&Method> {
        match &self.injections[injection].method {
            Some(name) => self.config.methods.iter().find(|m| &m.name == name),
            None => self.config.methods.first().filter(|_| self.config.methods.len() == 1),
        }
    }

    /// Compounds that a run may show: n-alkanes alone in a ladder, none where the hold-up time is measured.
    fn references_for(&self, injection: usize, scale: &RetentionScale) -> Vec<ReferenceTime> {
        match self.injections[injection].kind {
            Kind::HoldUp | Kind::Conditioning => Vec::new(),
            Kind::Ladder => {
                scale.references.iter().filter(|r| n_alkane_carbons(&r.compound).is_some()).cloned().collect()
            }
            _ => scale.references.clone(),
        }
    }

    /// What study.toml says of the compounds that are looked for by time; single-compound runs where it is silent.
    fn expected_times(&self, lists: &[PeakList], findings: &mut Vec<Finding>) -> Vec<ExpectedTime> {
        let mut all = Vec::new();
        for c in self.config.compounds.iter().filter(|c| c.integrate_min.is_none()) {
            let alone = || {
                let shown: Vec<f64> = self
                    .single_compound_runs(&c.name)
                    .filter_map(|i| Some(self.main_peak(i, lists)?.retention_time_min))
                    .collect();
                median(&shown)
            };
            let Some(time_min) = c.retention_min.or_else(alone) else { continue };
            // Common practice: a hand-started run keeps its peaks within about 4 % or 6 s.
            let half_width_min = c.window_min.unwrap_or((0.04 * time_min).max(0.1));
            if c.retention_min.is_none() {
                findings.push(finding(
                    Severity::Pass,
                    "retention time from a single-compound run",
                    &c.name,
                    Some(time_min),
                    format!("study.toml states none; its own run shows {} min", significant(time_min, 4)),
                    None,
                ));
            }
            all.push(ExpectedTime { compound: c.name.clone(), time_min, half_width_min });
        }
        all
    }

    /// Accepted runs of this compound alone: by the only content stated, otherwise by the sample's name.
    fn single_compound_runs(&self, compound: &str) -> impl Iterator<Item = usize> {
        (0..self.injections.len()).filter(move |&i| self.alone_in(i) == Some(compound))
    }

    /// The compound that a single-compound run holds.
    fn alone_in(&self, injection: usize) -> Option<&str> {
        let i = &self.injections[injection];
        if i.kind != Kind::SingleCompound || !i.accepted {
            return None;
        }
        let held: Vec<&str> = i.contents.iter().filter(|c| c.value > 0.0).map(|c| c.compound.as_str()).collect();
        match held.as_slice() {
            [one] => Some(one),
            [] => {
                self.config.compounds.iter().find(|c| c.name.eq_ignore_ascii_case(&i.sample)).map(|c| c.name.as_str())
            }
            _ => None,
        }
    }

    /// The largest peak that is neither the solvent's by its expected time nor in a solvent blank.
    fn main_peak<'a>(&self, injection: usize, lists: &'a [PeakList]) -> Option<&'a Peak> {
        let compound = self.alone_in(injection);
        let solvents: Vec<f64> = self
            .config
            .compounds
            .iter()
            .filter(|c| c.role == Role::Solvent && Some(c.name.as_str()) != compound)
            .filter_map(|c| c.retention_min)
            .collect();
        let blanks: Vec<&Peak> = self
            .injections
            .iter()
            .zip(lists)
            .filter(|(i, _)| i.kind == Kind::SolventBlank && i.accepted)
            .flat_map(|(_, l)| &l.peaks)
            .collect();
        let near = |a: f64, b: f64| (a - b).abs() < SAME_MIN;
        lists[injection]
            .peaks
            .iter()
            .filter(|p| !solvents.iter().any(|s| near(*s, p.retention_time_min)))
            .filter(|p| {
                let is_there =
                    |b: &&Peak| near(b.retention_time_min, p.retention_time_min) && b.area > BLANK_SHARE * p.area;
                !blanks.iter().any(is_there)
            })
            .max_by(|a, b| a.area.total_cmp(&b.area))
    }

    /// What is known of retention under one method.
    fn retention_scale(
        &self,
        method: Option<String>,
        lists: &[PeakList],
        expected: &[ExpectedTime],
        findings: &mut Vec<Finding>,
    ) -> Result<RetentionScale> {
        let mine = |i: usize| self.method_of(i).map(|m| &m.name) == method.as_ref();
        let stated = self.config.methods.iter().find(|m| Some(&m.name) == method.as_ref());
        let isothermal = stated.is_some_and(|m| m.oven.len() == 1);
        let ladder = self.ladder(lists, &mine, findings)?;
        let hold_up = self.hold_up(lists, &mine, stated, ladder.as_ref().filter(|_| isothermal), findings);
        let p = &self.config.peaks;
        let default = Naming::default();
        let is_oven = stated.is_some_and(|m| m.start_button == StartButton::OvenAndRecording);
        let naming = Naming {
            start_offset_limit_s: p.start_offset_limit_s.unwrap_or(default.start_offset_limit_s),
            time_scale_limit: p.time_scale_limit_percent.map_or(default.time_scale_limit, |v| v / 100.0),
            stretch_about_min: hold_up.as_ref().map_or(0.0, |h| h.time_min.max(0.0)),
            // Where the method says that the button starts the recording only, an offset cannot fall.
            offset_may_fall: is_oven || stated.is_none(),
            least_probability: p.least_probability.unwrap_or(default.least_probability),
        };
        let programme = stated.filter(|_| is_oven && !isothermal).zip(hold_up.as_ref()).and_then(|(m, h)| {
            let step = |s: &super::OvenStep| ProgrammeStep {
                temperature_c: s.temperature_c,
                ramp_c_per_min: s.ramp_c_per_min,
                hold_min: s.hold_min,
            };
            let steps = m.oven.iter().map(step).collect();
            Programme::new(steps, h.time_min, RetentionLaw::PerKelvin(PER_KELVIN)).ok()
        });
        let of_kind = |kinds: &[Kind]| -> Vec<&PeakList> {
            let wanted = |i: usize| self.injections[i].accepted && kinds.contains(&self.injections[i].kind) && mine(i);
            (0..lists.len()).filter(|&i| wanted(i)).map(|i| &lists[i]).collect()
        };
        let mut standards = of_kind(&[Kind::Standard, Kind::CheckStandard, Kind::Addition]);
        if standards.is_empty() {
            standards = of_kind(&[Kind::SingleCompound]);
        }
        let references = learn_references(&standards, expected, &naming, programme.as_ref());
        Ok(RetentionScale { method, isothermal, hold_up, ladder, references, naming })
    }

    /// The ladder of n-alkanes of one method: its first accepted run.
    fn ladder(
        &self,
        lists: &[PeakList],
        mine: &impl Fn(usize) -> bool,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<(Ladder, String)>> {
        let is_ladder = |&i: &usize| self.injections[i].kind == Kind::Ladder && self.injections[i].accepted && mine(i);
        let Some(i) = (0..lists.len()).find(is_ladder) else { return Ok(None) };
        let run = &self.injections[i].run;
        let carbons = &self.config.peaks.ladder_carbons;
        let mut told = |severity, figure, why: String, next: Option<&str>| {
            findings.push(finding(severity, "ladder of n-alkanes", run, figure, why, next));
        };
        if carbons.is_empty() {
            told(
                Severity::Warn,
                None,
                "no retention indices: nothing says which n-alkanes the ladder holds".to_owned(),
                Some("in study.toml under [peaks], state ladder_carbons = [5, 6, 7] in the order of elution"),
            );
            return Ok(None);
        }
        let peaks = self.ladder_peaks(&lists[i], carbons.len());
        let Some(peaks) = peaks else {
            let found = lists[i].peaks.len();
            told(
                Severity::Fail,
                Some(found as f64),
                format!("{found} peaks for {} n-alkanes: no retention indices", carbons.len()),
                Some("state in ladder_carbons only those that show, and their times in ladder_min"),
            );
            return Ok(None);
        };
        let more = lists[i].peaks.len() - carbons.len();
        let alkane = |(&carbons, p): (&u32, &Peak)| AlkanePeak {
            carbons,
            time_min: p.retention_time_min,
            u_min: p.retention_time_u_min.filter(|u| u.is_finite()).unwrap_or(0.0),
        };
        let ladder = Ladder::new(carbons.iter().zip(&peaks).map(alkane).collect())
            .map_err(|e| Error::new(ErrorKind::Study, format!("the ladder \"{run}\" does not hold")).because(e))?;
        let first = format!(
            "n-alkanes C{} to C{} at {} to {} min",
            carbons[0],
            carbons[carbons.len() - 1],
            significant(peaks[0].retention_time_min, 4),
            significant(peaks[peaks.len() - 1].retention_time_min, 4)
        );
        if more > 0 && self.config.peaks.ladder_min.is_empty() {
            told(
                Severity::Warn,
                Some(more as f64),
                format!("{first}; {more} smaller peak(s) were taken for something else"),
                Some("look at the run; state ladder_min where the largest peaks are not the n-alkanes"),
            );
        } else {
            told(Severity::Pass, Some(carbons.len() as f64), first, None);
        }
        Ok(Some((ladder, run.clone())))
    }

    /// The peaks of a ladder run in the order of time: nearest to the stated times, otherwise the largest.
    fn ladder_peaks(&self, list: &PeakList, wanted: usize) -> Option<Vec<Peak>> {
        let stated = &self.config.peaks.ladder_min;
        let mut peaks: Vec<Peak> = if stated.is_empty() {
            let mut peaks = list.peaks.clone();
            let solvents: Vec<f64> = (self.config.compounds.iter())
                .filter(|c| c.role == Role::Solvent)
                .filter_map(|c| c.retention_min)
                .collect();
            if peaks.len() > wanted {
                peaks.retain(|p| !solvents.iter().any(|s| (s - p.retention_time_min).abs() < SAME_MIN));
            }
            peaks.sort_by(|a, b| b.area.total_cmp(&a.area));
            peaks.truncate(wanted);
            peaks
        } else {
            let near = |t: &f64| {
                list.peaks
                    .iter()
                    .min_by(|a, b| (a.retention_time_min - t).abs().total_cmp(&(b.retention_time_min - t).abs()))
                    .filter(|p| (p.retention_time_min - t).abs() < (0.04 * t).max(2.0 * SAME_MIN))
                    .cloned()
            };
            stated.iter().filter_map(near).collect()
        };
        peaks.sort_by(|a, b| a.retention_time_min.total_cmp(&b.retention_time_min));
        peaks.dedup_by(|a, b| a.retention_time_min == b.retention_time_min);
        (peaks.len() == wanted).then_some(peaks)
    }

    /// Hold-up time: measured, as stated, or from the ladder.
    fn hold_up(
        &self,
        lists: &[PeakList],
        mine: &impl Fn(usize) -> bool,
        stated: Option<&Method>,
        ladder: Option<&(Ladder, String)>,
        findings: &mut Vec<Finding>,
    ) -> Option<HoldUp> {
        let measured: Vec<(usize, &Peak)> = (0..lists.len())
            .filter(|&i| self.injections[i].kind == Kind::HoldUp && self.injections[i].accepted && mine(i))
            .filter_map(|i| Some((i, lists[i].peaks.iter().max_by(|a, b| a.height.total_cmp(&b.height))?)))
            .collect();
        let times: Vec<f64> = measured.iter().map(|m| m.1.retention_time_min).collect();
        if let Some(time_min) = median(&times) {
            let runs: Vec<&str> = measured.iter().map(|m| self.injections[m.0].run.as_str()).collect();
            // One run tells its time but not how far a start by hand is off.
            let start = START_SD_S / 60.0;
            let u_min = sample_sd(&times).filter(|_| times.len() > 2).unwrap_or(start) / (times.len() as f64).sqrt();
            findings.push(finding(
                Severity::Pass,
                "hold-up time",
                &runs.join(", "),
                Some(time_min),
                format!("{} min from the tallest peak of {} run(s)", significant(time_min, 3), runs.len()),
                None,
            ));
            return Some(HoldUp { time_min, u_min, origin: format!("measured: {}", runs.join(", ")) });
        }
        if let Some(time_min) = stated.and_then(|m| m.hold_up_min) {
            return Some(HoldUp { time_min, u_min: 0.0, origin: "study.toml".to_owned() });
        }
        match ladder?.0.hold_up() {
            Ok(h) => {
                let run = &ladder?.1;
                findings.push(finding(
                    Severity::Pass,
                    "hold-up time",
                    run,
                    Some(h.time_min),
                    format!("{} min from the spacing of the {}", significant(h.time_min, 3), h.origin),
                    None,
                ));
                Some(HoldUp { origin: format!("{} in {run}", h.origin), ..h })
            }
            Err(e) => {
                let next = Some("inject what the column does not keep, and log it as hold_up");
                findings.push(finding(Severity::Warn, "hold-up time", &ladder?.1, None, e.to_string(), next));
                None
            }
        }
    }
}

impl RetentionScale {
    /// The retention index of a peak at a time on the standards' clock.
    pub(super) fn index(&self, time_min: f64, u_min: f64) -> Option<RetentionIndex> {
        let (ladder, _) = self.ladder.as_ref()?;
        if self.isothermal {
            ladder.kovats(time_min, u_min, self.hold_up.as_ref()?)
        } else {
            ladder.linear(time_min, u_min)
        }
    }

    /// Retention factor of a time on the standards' clock; isothermal runs only.
    pub(super) fn factor(&self, time_min: f64) -> Option<f64> {
        let t0 = self.hold_up.as_ref().filter(|_| self.isothermal)?.time_min;
        Some((time_min - t0) / t0).filter(|k| t0 > 0.0 && *k >= 0.0)
    }

    /// Retention relative to another time, adjusted where the hold-up time is known and the run isothermal.
    pub(super) fn relative(&self, time_min: f64, to_min: f64) -> Option<f64> {
        let t0 = self.hold_up.as_ref().filter(|_| self.isothermal).map_or(0.0, |h| h.time_min);
        Some((time_min - t0) / (to_min - t0)).filter(|r| r.is_finite() && to_min > t0)
    }
}

impl Names {
    /// What single-compound and spiked runs say.
    fn evidence(&mut self, study: &Study, lists: &[PeakList]) {
        for i in 0..self.named.len() {
            let Some(compound) = study.alone_in(i) else { continue };
            let run = &study.injections[i].run;
            let Some(evidence) = self.single(study, lists, i, compound) else { continue };
            let severity = if evidence.agrees == Some(false) { Severity::Fail } else { Severity::Pass };
            let next = (severity == Severity::Fail).then_some(
                "check the label, and the retention_min of this compound; names in the other runs rest on it",
            );
            self.findings.push(finding(severity, "single-compound run", run, None, evidence.text.clone(), next));
            self.result.evidence.push(evidence);
        }
        for spiked in spikes::all(study, &self.named) {
            let Spiked { run, evidence, severity, why, next } = spiked;
            self.findings.push(finding(severity, "spiked run", &run, None, why, next.as_deref()));
            self.result.evidence.extend(evidence);
        }
    }

    /// Whether a single-compound run's main peak is where the standards have the compound.
    fn single(&self, study: &Study, lists: &[PeakList], i: usize, compound: &str) -> Option<EvidenceResult> {
        let named = &self.named[i];
        let scale = &self.scales[self.scale_of[i]];
        let reference = scale.references.iter().find(|r| r.compound == compound)?;
        let main = study.main_peak(i, lists)?.retention_time_min;
        let run = study.injections[i].run.clone();
        let away_s = 60.0 * (main - named.shift_s(reference.time_min) / 60.0 - reference.time_min);
        // Its own start is told by its own peak only, so a start by hand is allowed for.
        let reach_s = 60.0 * reference.half_width_min + 2.0 * START_SD_S;
        let name = named.peaks.iter().find(|p| p.peak.retention_time_min == main).and_then(|p| p.compound.as_deref());
        let (agrees, text) = match name {
            Some(n) if n == compound => (
                Some(true),
                format!(
                    "{compound} alone gives its largest peak where the standards have it ({} min)",
                    significant(main, 4)
                ),
            ),
            Some(n) => (
                Some(false),
                format!(
                    "{compound} alone gives its largest peak at {} min, which the standards call {n}",
                    significant(main, 4)
                ),
            ),
            None if away_s.abs() <= reach_s => (
                None,
                format!(
                    "{compound} alone gives its largest peak at {} min, {} s from the standards' time: not enough to name it",
                    significant(main, 4),
                    significant(away_s.abs(), 2)
                ),
            ),
            None => (
                Some(false),
                format!(
                    "{compound} alone gives its largest peak at {} min, {} s away from the {} min of the standards",
                    significant(main, 4),
                    significant(away_s.abs(), 2),
                    significant(reference.time_min, 4)
                ),
            ),
        };
        Some(EvidenceResult {
            compound: compound.to_owned(),
            kind: "single compound".to_owned(),
            run,
            agrees,
            growth: None,
            growth_u: None,
            text,
        })
    }

    /// The whole of it as results have it.
    fn result(&mut self, study: &Study) {
        let result = &mut self.result;
        for scale in &self.scales {
            let index = |r: &ReferenceTime| {
                let u = r.scatter_min / (r.runs.max(1) as f64).sqrt();
                scale.index(r.time_min, u)
            };
            result.references.extend(scale.references.iter().map(|r| ReferenceResult {
                method: scale.method.clone(),
                compound: r.compound.clone(),
                time_min: r.time_min,
                scatter_s: 60.0 * r.scatter_min,
                half_width_s: 60.0 * r.half_width_min,
                runs: r.runs,
                retention_index: index(r).map(|i| i.value),
                retention_index_u: index(r).map(|i| i.u),
            }));
            result.hold_up.extend(scale.hold_up.as_ref().map(|h| HoldUpResult {
                method: scale.method.clone(),
                time_min: h.time_min,
                u_min: Some(h.u_min).filter(|u| *u > 0.0),
                origin: h.origin.clone(),
            }));
            result.ladders.extend(scale.ladder.as_ref().map(|(l, run)| LadderResult {
                method: scale.method.clone(),
                run: run.clone(),
                kind: if scale.isothermal { "Kovats" } else { "linear" }.to_owned(),
                carbons: l.peaks().iter().map(|p| p.carbons).collect(),
                times_min: l.peaks().iter().map(|p| p.time_min).collect(),
            }));
        }
        result.runs = self
            .named
            .iter()
            .enumerate()
            .map(|(i, n)| {
                // What should be there: in runs of several compounds only.
                let is_asked = matches!(
                    study.injections[i].kind,
                    Kind::Standard | Kind::CheckStandard | Kind::Sample | Kind::Spiked | Kind::Addition
                );
                RunShift {
                    run: n.run.clone(),
                    start_offset_u_s: n.start_offset_u_s,
                    time_scale: n.time_scale,
                    time_scale_u: n.time_scale_u,
                    curve: n
                        .shift
                        .iter()
                        .map(|p| ShiftAt { time_min: p.time_min, shift_s: p.shift_s, u_s: p.u_s })
                        .collect(),
                    missing: n
                        .candidates
                        .iter()
                        .filter(|c| is_asked && n.missing.contains(&c.compound))
                        .map(|c| MissingResult {
                            compound: c.compound.clone(),
                            expected_min: c.expected_min,
                            probability: c.none,
                        })
                        .collect(),
                    notes: n.notes.iter().map(ToString::to_string).collect(),
                }
            })
            .collect();
    }
}

fn finding(
    severity: Severity,
    what: &str,
    place: &str,
    figure: Option<f64>,
    why: String,
    next: Option<&str>,
) -> Finding {
    Finding {
        severity,
        what: what.to_owned(),
        figure,
        limit: None,
        origin: "names of the peaks".to_owned(),
        place: place.to_owned(),
        why,
        next: next.map(str::to_owned),
    }
}
