//! A study as it stands on disk, or in memory: configuration, injection log, runs.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::{Injection, Kind, QuantifyBy, StudyConfig, read_log_bytes};
use crate::error::{Error, ErrorKind, Result};
use crate::read;
use crate::trace::Run;

/// A study: what was planned, what was injected, what was recorded. Nothing is computed yet.
///
/// ```no_run
/// use vialbook::Study;
/// let study = Study::open("recovered-eluent")?;
/// let run = study.run("level-3a-1")?;
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone)]
pub struct Study {
    pub(super) root: Option<PathBuf>,
    pub(super) config: StudyConfig,
    pub(super) injections: Vec<Injection>,
    /// In the order of the injections.
    pub(super) runs: Vec<Run>,
    pub(super) study_sha256: String,
    pub(super) injections_sha256: String,
    log_name: String,
}

impl Study {
    /// Opens a study folder: `study.toml`, the injection log (`injections.csv`, `.xlsx` or `.ods`, one of them) and the
    /// traces that it names, all read-only.
    ///
    /// # Errors
    /// A missing or unreadable file, a contradiction, a path that leads out of the folder: each with its place.
    pub fn open(folder: impl AsRef<Path>) -> Result<Study> {
        let folder = folder.as_ref();
        if !folder.is_dir() {
            return Err(Error::new(ErrorKind::NotFound, "no such study folder")
                .in_file(folder)
                .hint("vialbook new DIR makes one"));
        }
        let (toml, log) = (folder.join("study.toml"), log_of(folder)?);
        // Each file is read once: what is hashed is what was understood. No link is followed.
        let bytes_of = |path: &Path| -> Result<Vec<u8>> {
            let inside = read::inside(folder, path.file_name().unwrap_or_default())
                .map_err(|e| e.hint("vialbook new DIR makes a study folder with all its files"))?;
            std::fs::read(&inside).map_err(|e| Error::io("read", &inside, e))
        };
        let (toml_bytes, log_bytes) = (bytes_of(&toml)?, bytes_of(&log)?);
        let config = StudyConfig::from_bytes(&toml_bytes).map_err(|e| e.in_file(&toml))?;
        let names: Vec<String> = config.compounds.iter().map(|c| c.name.clone()).collect();
        let injections = read_log_bytes(&log, &log_bytes, &names)?;
        let runs = read_runs(folder, &config, &injections).map_err(|e| e.in_file(&log))?;
        let study = Study {
            root: Some(folder.to_path_buf()),
            study_sha256: read::sha256_hex(&toml_bytes),
            injections_sha256: read::sha256_hex(&log_bytes),
            log_name: log.file_name().unwrap_or_default().to_string_lossy().into_owned(),
            config,
            injections,
            runs,
        };
        study.check().map_err(|e| e.in_file(&log))?;
        Ok(study)
    }

    /// A study from parts in memory: simulations, classes, tests.
    ///
    /// # Errors
    /// Another number of runs than of injections, or a contradiction between them and the configuration.
    pub fn from_parts(config: StudyConfig, injections: Vec<Injection>, mut runs: Vec<Run>) -> Result<Study> {
        config.check()?;
        for run in runs.iter_mut().filter(|r| r.provenance.sha256.is_empty()) {
            // A run that was never a file is told apart by its signal.
            let bytes: Vec<u8> = run.trace.signal().iter().flat_map(|y| y.to_le_bytes()).collect();
            run.provenance.sha256 = read::sha256_hex(&bytes);
        }
        if injections.len() != runs.len() {
            return Err(Error::new(
                ErrorKind::Study,
                format!("{} injections but {} runs; one run per injection is wanted", injections.len(), runs.len()),
            ));
        }
        let none = read::sha256_hex(b"");
        let study = Study {
            root: None,
            config,
            injections,
            runs,
            study_sha256: none.clone(),
            injections_sha256: none,
            log_name: "injections.csv".to_owned(),
        };
        study.check()?;
        Ok(study)
    }

    /// The folder it was opened from.
    pub fn folder(&self) -> Option<&Path> {
        self.root.as_deref()
    }

    /// The injection log's file name in that folder: `injections.csv`, `.xlsx` or `.ods`.
    pub fn log_name(&self) -> &str {
        &self.log_name
    }

    /// What study.toml says.
    pub fn config(&self) -> &StudyConfig {
        &self.config
    }

    /// The injection log.
    pub fn injections(&self) -> &[Injection] {
        &self.injections
    }

    /// The runs, in the order of the injection log.
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// One run by its name in the injection log.
    ///
    /// # Errors
    /// No run of that name; the hint lists those there are.
    pub fn run(&self, name: &str) -> Result<Run> {
        self.runs.iter().find(|r| r.name == name).cloned().ok_or_else(|| {
            let names: Vec<&str> = self.runs.iter().map(|r| r.name.as_str()).collect();
            Error::new(ErrorKind::NotFound, format!("no run is named \"{name}\""))
                .hint(format!("runs: {}", names.join(", ")))
        })
    }

    /// Contradictions between the log and the configuration.
    fn check(&self) -> Result<()> {
        let q = &self.config.quantification;
        let known = |name: &str, kind: Option<Kind>| {
            self.injections.iter().any(|i| i.sample == name && kind.is_none_or(|k| i.kind == k))
        };
        for source in self.config.solutions.iter().flat_map(|s| &s.sources) {
            if let Some(name) = source.standards.iter().find(|n| !known(n, Some(Kind::Standard))) {
                return Err(Error::new(
                    ErrorKind::Study,
                    format!("\"{}\" is shared by the standard \"{name}\", which is not in the log", source.name),
                )
                .at_field("solution.source.standards")
                .in_file("study.toml")
                .hint("name standards as the log's column \"sample\" does"));
            }
        }
        if let Some(name) = q.detection_replicates.as_deref().filter(|n| !known(n, None)) {
            return Err(Error::new(ErrorKind::Study, format!("the sample \"{name}\" is not in the log"))
                .at_field("quantification.detection_replicates")
                .in_file("study.toml")
                .hint("name it as the log's column \"sample\" does"));
        }
        for i in &self.injections {
            if let Some(method) = &i.method
                && !self.config.methods.is_empty()
                && !self.config.methods.iter().any(|m| &m.name == method)
            {
                let known: Vec<&str> = self.config.methods.iter().map(|m| m.name.as_str()).collect();
                return Err(Error::new(ErrorKind::Study, format!("the method \"{method}\" is not in study.toml"))
                    .at_line(i.line)
                    .hint(format!("methods there: {}", known.join(", "))));
            }
            if self.config.internal_standard().is_some()
                && q.by != QuantifyBy::StandardAddition
                && q.internal_standard_added.is_none()
                && i.dilution.is_some_and(|d| d != 1.0)
            {
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    format!("the run \"{}\" was diluted, but nothing says when the internal standard went in", i.run),
                )
                .at_line(i.line)
                .hint(
                    "in study.toml, under [quantification], add internal_standard_added = \"after_dilution\" (into the \
                     flask that was filled up) or \"before_dilution\" (into the sample)",
                ));
            }
        }
        Ok(())
    }
}

impl fmt::Debug for Study {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "Study({:?}, {} injections, {} compounds)",
            self.config.title,
            self.injections.len(),
            self.config.compounds.len()
        )
    }
}

/// The injection log of a study folder: one of three names, and only one of them.
pub(super) fn log_of(folder: &Path) -> Result<PathBuf> {
    const NAMES: [&str; 3] = ["injections.csv", "injections.xlsx", "injections.ods"];
    let there: Vec<&str> = NAMES.into_iter().filter(|n| folder.join(n).exists()).collect();
    match there.as_slice() {
        // Where there is none, reading the first says so with its name.
        [] => Ok(folder.join(NAMES[0])),
        [one] => Ok(folder.join(one)),
        several => Err(Error::new(
            ErrorKind::Ambiguous,
            format!("{} are both here; which of them is the injection log?", several.join(" and ")),
        )
        .in_file(folder)
        .hint("keep one and move the other out of the folder")),
    }
}

/// Reads each file once, on all cores; an injection gets its run under its own name.
fn read_runs(folder: &Path, config: &StudyConfig, injections: &[Injection]) -> Result<Vec<Run>> {
    let mut paths: BTreeMap<&str, (PathBuf, u64)> = BTreeMap::new();
    for i in injections {
        if !paths.contains_key(i.file.as_str()) {
            let path = read::inside(folder, &i.file).map_err(|e| e.at_line(i.line))?;
            paths.insert(&i.file, (path, i.line));
        }
    }
    let read: BTreeMap<&str, Run> = paths
        .into_par_iter()
        .map(|(file, (path, _))| Ok((file, read::read_run(&path, &config.reading)?)))
        .collect::<Result<Vec<_>>>()?
        .into_iter()
        .collect();
    injections
        .iter()
        .map(|i| {
            let mut run = read[i.file.as_str()].clone();
            run.name = i.run.clone();
            run.provenance.file = PathBuf::from(&i.file);
            let unit = if run.trace.signal_unit().is_empty() { config.detector.unit.as_deref() } else { None };
            if let Some(unit) = unit {
                run.trace = run.trace.with_unit(unit);
                run.provenance.reading.signal_unit = format!("{unit}, as study.toml says");
            }
            // study.toml comes first; what the file states about its detector stands where it is silent.
            let (step, full_scale) = (run.trace.step(), run.trace.full_scale());
            run.trace = run
                .trace
                .with_detector_limits(config.detector.step.or(step), config.detector.full_scale.or(full_scale));
            Ok(run)
        })
        .collect()
}
