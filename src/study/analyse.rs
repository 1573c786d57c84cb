//! All stages in their order: peaks → names → calibrations → amounts → findings.

use std::fmt;
use std::path::{Path, PathBuf};

use super::amounts::Decided;
use super::as_results::curve_result;
use super::calibrations::{Calibrated, quantification_words};
use super::responses::Measured;
use super::write;
use super::{IntegrateBy, Role, Study, StudyConfig};
use crate::calibrate::{InterceptCheck, InterceptMeaning};
use crate::check::{self, CheckLimits, Guide};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{rounded, significant};
use crate::peaks::PeakList;
use crate::results::{
    AmountResult, CalibrationResult, DriftResult, ErrorsInXResult, InterceptResult, LackOfFitResult, NamedLimit,
    Program, Results, RunResult, SCHEMA, StudyHead, VolumeCancelsResult,
};

/// A study with all that was worked out of it.
///
/// ```no_run
/// use vialbook::Study;
/// let analysis = Study::open("demo")?.analyse()?;
/// analysis.amount("recovered eluent", "2-propanol")?;
/// analysis.save("demo/results")?;
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone)]
pub struct Analysis {
    pub(crate) study: Study,
    results: Results,
    lists: Vec<PeakList>,
}

impl Study {
    /// Runs all stages: peaks, names, calibrations, amounts, findings. The study itself is not changed.
    ///
    /// # Errors
    /// Standards that support no curve, a compound that no window can be given: each says which and what to do.
    /// What is doubtful but has a number is no error; it carries a note, and a finding.
    pub fn analyse(&self) -> Result<Analysis> {
        // What is wrong with a row is told by its line: the line of the log.
        self.stages().map_err(|e| if e.line().is_some() { e.in_file(self.log_name()) } else { e })
    }

    fn stages(&self) -> Result<Analysis> {
        let measured = self.measure()?;
        let calibrated = self.calibrate(&measured)?;
        let Decided { amounts, decisions, replicates } = self.amounts(&calibrated, &measured)?;
        let mut results = Results {
            schema: SCHEMA.to_owned(),
            program: Program { name: env!("CARGO_PKG_NAME").to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
            study: StudyHead {
                title: self.config.title.clone(),
                question: self.config.question.clone(),
                date: self.config.date.clone(),
                simulated: self.config.simulated,
                study_sha256: self.study_sha256.clone(),
                injections_sha256: self.injections_sha256.clone(),
            },
            runs: self.run_results(&measured),
            naming: measured.naming.clone(),
            peaks: measured.runs.iter().flat_map(|m| m.peaks.iter().map(|n| n.result(&m.list.run))).collect(),
            calibrations: calibrated.iter().map(|c| self.calibration_result(c)).collect(),
            replicates,
            scatter: self.scatter(&calibrated, &measured),
            comparisons: self.comparisons(&amounts),
            amounts,
            findings: Vec::new(),
        };
        let q = &self.config.quantification;
        let limits = CheckLimits {
            deviation_percent: q.accepted_deviation_percent,
            deviation_lowest_percent: q
                .accepted_deviation_lowest_percent
                .unwrap_or_else(|| q.accepted_deviation_percent.max(CheckLimits::default().deviation_lowest_percent)),
            ..self.config.limits.clone()
        };
        let internal = self.config.internal_standard();
        let without: Vec<String> = match internal {
            Some(name) => self
                .injections
                .iter()
                .filter(|i| i.content(name).is_none_or(|c| c.value == 0.0))
                .map(|i| i.run.clone())
                .collect(),
            None => Vec::new(),
        };
        results.findings = decisions;
        results.findings.extend(measured.findings.iter().cloned());
        results.findings.extend(self.doubts(&results.amounts, &results.findings));
        let lists: Vec<PeakList> = measured.runs.into_iter().map(|m| m.list).collect();
        results.findings.extend(self.order_of_elution(&results.naming));
        results.findings.extend(self.instrument(&lists, &results.peaks));
        results.findings.extend(self.control_charts(&results));
        results.findings.extend(check::findings(&results, &limits, internal, &without, &self.solvents()));
        Ok(Analysis { study: self.clone(), results, lists })
    }

    /// What everything is dissolved in.
    fn solvents(&self) -> Vec<String> {
        self.config.compounds.iter().filter(|c| c.role == Role::Solvent).map(|c| c.name.clone()).collect()
    }

    fn run_results(&self, measured: &Measured) -> Vec<RunResult> {
        self.injections
            .iter()
            .zip(&self.runs)
            .zip(&measured.runs)
            .enumerate()
            .map(|(n, ((i, run), m))| RunResult {
                run: i.run.clone(),
                file: i.file.clone(),
                sha256: run.provenance.sha256.clone(),
                kind: i.kind.word().to_owned(),
                sample: i.sample.clone(),
                preparation: i.preparation.clone(),
                replicate: i.replicate.clone(),
                time: i.time.clone(),
                accepted: i.accepted,
                reason: i.reason.clone(),
                start_offset_s: m.start_offset_s,
                noise_sd: Some(m.list.noise.sd).filter(|s| s.is_finite()),
                noise_peak_to_peak: Some(m.list.noise.peak_to_peak).filter(|s| s.is_finite()),
                noise_window_min: Some(m.list.noise.window_min),
                baseline: match (self.config.peaks.integration, &m.list.options.baseline) {
                    (_, Some(method)) => format!("below the whole run: {method}"),
                    (IntegrateBy::Bounds, None) => "a straight line below each peak or group".to_owned(),
                    (IntegrateBy::Fit, None) => "fitted with each group of peaks".to_owned(),
                },
                signal_unit: run.trace.signal_unit().to_owned(),
                reading: run.provenance.reading.clone(),
                notes: i.note.iter().cloned().chain(self.ramp_note(n)).collect(),
            })
            .collect()
    }

    /// Why a run has no plate numbers and retention factors.
    fn ramp_note(&self, injection: usize) -> Option<String> {
        let method = self.method_of(injection)?;
        (method.oven.len() > 1).then(|| {
            format!(
                "no plate numbers and retention factors: they mean something at one temperature alone, and {} is a ramp",
                method.name
            )
        })
    }

    fn calibration_result(&self, c: &Calibrated) -> CalibrationResult {
        let curve = &c.curve;
        let internal = self.config.internal_standard();
        let area_unit = self.runs.first().map(|r| r.trace.area_unit()).unwrap_or_default();
        let (x_label, x_unit, y_label, y_unit) = match internal {
            _ if c.added_to.is_some() => {
                let (label, unit) = match internal {
                    Some(name) => (format!("area ratio, {} to {name}", c.compound), String::new()),
                    None => ("area".to_owned(), area_unit),
                };
                (format!("{} added", c.unit.quantity.words()), c.unit.symbol.to_owned(), label, unit)
            }
            Some(name) => {
                let same = c.standard_unit.is_none_or(|u| u == c.unit);
                let unit = if same {
                    String::new()
                } else {
                    format!("({})/({})", c.unit.symbol, c.standard_unit.map_or("", |u| u.symbol))
                };
                (
                    format!("content ratio, {} to {name}", c.compound),
                    unit,
                    format!("area ratio, {} to {name}", c.compound),
                    String::new(),
                )
            }
            None => (c.unit.quantity.words().to_owned(), c.unit.symbol.to_owned(), "area".to_owned(), area_unit),
        };
        let mut rest = curve_result(curve);
        let notes = std::mem::take(&mut rest.notes);
        let limits = c.limits.as_ref();
        CalibrationResult {
            compound: c.compound.clone(),
            quantification: quantification_words(self.config.quantification.by).to_owned(),
            internal_standard: internal.map(str::to_owned),
            x_label,
            x_unit: x_unit.clone(),
            y_label,
            y_unit,
            lack_of_fit: curve.lack_of_fit.as_ref().filter(|l| l.f.is_finite()).map(|l| LackOfFitResult {
                f: l.f,
                dof: l.dof,
                p_value: l.p_value,
                power: l.sag().map(|sag| {
                    format!(
                        "a sag of {} % of the top response would be found with 80 % power",
                        significant(100.0 * sag, 2)
                    )
                }),
            }),
            drift: c.drift.map(|d| DriftResult {
                change: d.change,
                u: d.u,
                dof: d.dof,
                p_value: d.p_value,
                detectable: d.detectable,
                hidden: d.is_hidden(),
            }),
            intercept_check: c.intercept.as_ref().map(|i| InterceptResult {
                p_value: i.p_value(),
                p_zero: i.p_zero,
                blank: i.blank.map(|b| b.response),
                blank_u: i.blank.map(|b| b.u),
                meaning: i.meaning.words().to_owned(),
                native_content: i.native.as_ref().map(|n| n.content),
                native_content_u: i.native.as_ref().and_then(|n| n.u),
                evidence: evidence(i),
            }),
            errors_in_x: c.errors_in_x.as_ref().map(|e| ErrorsInXResult {
                intercept: e.intercept,
                intercept_u: e.intercept_u(),
                slope: e.slope,
                slope_u: e.slope_u(),
                chi_squared: e.chi_squared,
                dof: e.dof,
                p_value: e.p_value,
            }),
            volume_cancels: c.volume_cancels.as_ref().map(|v| VolumeCancelsResult {
                slope: v.slope,
                slope_se: v.slope_se,
                p_value: v.p_value,
                detectable_slope: v.detectable_slope,
                cancels: v.cancels,
            }),
            critical_value: limits.map(|l| l.critical_content),
            detection_limit: limits.and_then(|l| l.detection_limit),
            quantitation_limit: limits.and_then(|l| l.quantitation_limit),
            limit_method: limits.map(|l| l.method.clone()),
            detection_limit_range: limits.and_then(|l| l.detection_range).filter(|r| r.iter().all(|x| x.is_finite())),
            other_limits: c.other_limits.iter().map(|l| NamedLimit { unit: x_unit.clone(), ..l.clone() }).collect(),
            notes: (c.added_to.iter().map(|sample| format!("standard addition to {sample}")))
                .chain(notes)
                .chain(limits.into_iter().flat_map(|l| l.notes.iter().map(ToString::to_string)))
                .collect(),
            ..rest
        }
    }
}

/// An intercept and its blank in words.
fn evidence(i: &InterceptCheck) -> String {
    let pair = |v: f64, u: f64| format!("{} ± {}", rounded(v, u), significant(u, 2));
    let mut words = format!("intercept {} (standard error)", pair(i.intercept, i.u));
    if let Some(b) = i.blank {
        words.push_str(&format!(", blank {} (standard uncertainty)", pair(b.response, b.u)));
    }
    words.push_str(match i.meaning {
        InterceptMeaning::NoBlank => "; no blank was measured",
        InterceptMeaning::BesideEmptyBlank => "; the blank is empty",
        InterceptMeaning::NativeAnalyte => "; the blank agrees with it",
        InterceptMeaning::OtherThanBlank => "; the blank shows another response",
    });
    words
}

impl Analysis {
    /// The results as data, as they stand in `results.json`.
    pub fn results(&self) -> &Results {
        &self.results
    }

    /// The study they are about.
    pub fn study(&self) -> &Study {
        &self.study
    }

    /// What study.toml says.
    pub fn config(&self) -> &StudyConfig {
        self.study.config()
    }

    /// The peaks that were found in a run, before naming.
    ///
    /// # Errors
    /// No run of that name.
    pub fn peaks(&self, run: &str) -> Result<PeakList> {
        self.lists
            .iter()
            .find(|l| l.run == run)
            .cloned()
            .ok_or_else(|| Error::new(ErrorKind::NotFound, format!("no run is named \"{run}\"")))
    }

    /// The calibration of a compound.
    ///
    /// # Errors
    /// No calibration of that name; the hint lists those there are.
    pub fn calibration(&self, compound: &str) -> Result<CalibrationResult> {
        self.results.calibrations.iter().find(|c| c.compound == compound).cloned().ok_or_else(|| {
            let names: Vec<&str> = self.results.calibrations.iter().map(|c| c.compound.as_str()).collect();
            Error::new(ErrorKind::NotFound, format!("no calibration of \"{compound}\""))
                .hint(format!("calibrated: {}", names.join(", ")))
        })
    }

    /// The amount of a compound in a sample, in the first quantity worked out.
    ///
    /// # Errors
    /// No such amount; the hint lists samples and compounds.
    pub fn amount(&self, sample: &str, compound: &str) -> Result<AmountResult> {
        let all = &self.results.amounts;
        all.iter().find(|a| a.sample == sample && a.compound == compound).cloned().ok_or_else(|| {
            let mut names: Vec<String> = all.iter().map(|a| format!("{} in {}", a.compound, a.sample)).collect();
            names.dedup();
            Error::new(ErrorKind::NotFound, format!("no amount of \"{compound}\" in \"{sample}\""))
                .hint(format!("there are: {}", names.join(", ")))
        })
    }

    /// What probably went wrong, from the pattern over area, ratio, width and retention (common practice).
    pub fn guide(&self) -> Guide {
        check::guide(&self.results, self.config().internal_standard())
    }

    /// Writes `results.json` and the CSV tables into a folder, each file whole or not at all.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn save(&self, folder: impl AsRef<Path>) -> Result<PathBuf> {
        write::write_results(&self.results, folder.as_ref())
    }

    /// The text of `results.json`.
    ///
    /// # Errors
    /// None for results of this program.
    pub fn json(&self) -> Result<Vec<u8>> {
        write::json(&self.results)
    }
}

impl fmt::Debug for Analysis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let r = &self.results;
        write!(
            f,
            "Analysis({:?}: {} runs, {} calibrations, {} amounts, {} findings)",
            r.study.title,
            r.runs.len(),
            r.calibrations.len(),
            r.amounts.len(),
            r.findings.len()
        )
    }
}
