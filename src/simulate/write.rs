//! A scenario as a study folder: what a laboratory would have, and the truth apart from it.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use rayon::prelude::*;

use crate::error::{Error, ErrorKind, Result};
use crate::simulate::scenario::{Scenario, SimulatedRun};
use crate::study::{Content, Injection, Study};
use crate::units::ContentUnit;

/// First line of every simulated study's `study.toml`: a folder that has it may be simulated anew.
pub const DEMO_FIRST_LINE: &str = "# SIMULATED STUDY: no instrument made these numbers.";

/// What a study folder of ours consists of, beside what an analysis adds to it.
const PARTS: [&str; 4] = ["study.toml", "injections.csv", "traces", "truth"];

impl Study {
    /// The demo's simulated study: makes it in this folder, and opens it.
    /// Five levels of two flasks with two shots each, three flasks of a sample, blanks; no instrument made its numbers,
    /// and it says so. What else is in the folder stays; a folder that holds something else is refused.
    ///
    /// ```
    /// # let place = tempfile::tempdir()?;
    /// # let folder = place.path().join("demo-study");
    /// use vialbook::prelude::*;
    /// let study = Study::demo(folder)?;
    /// assert!(study.run("level-3-1").is_ok());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// As [`Scenario::write_study`].
    pub fn demo(folder: impl AsRef<Path>) -> Result<Study> {
        super::recovered_eluent(super::DEMO_SEED).write_study(folder.as_ref())?;
        Study::open(folder)
    }
}

impl Scenario {
    /// Simulates the runs and writes the study folder: `study.toml`, `injections.csv`, `traces/`, and
    /// `truth/truth.json`, which no analysis reads.
    ///
    /// All parts are made beside the folder and moved in at the end, so that the study is there whole or not at
    /// all. A folder that holds an earlier simulated study gets the new one in its place; what else it holds stays.
    ///
    /// # Errors
    /// A folder that holds something else, or traces that are not ours: nothing is touched. A file that cannot be
    /// written or moved: the earlier study is put back.
    pub fn write_study(&self, folder: impl AsRef<Path>) -> Result<()> {
        let folder = folder.as_ref();
        let files = self.study_files()?;
        may_be_replaced(folder, &files)?;
        let parent = match folder.parent() {
            Some(p) if !p.as_os_str().is_empty() => p,
            _ => Path::new("."),
        };
        fs::create_dir_all(parent).map_err(|e| Error::io("make the folder for", folder, e))?;
        let staged = tempfile::Builder::new()
            .prefix(".vialbook-")
            .tempdir_in(parent)
            .map_err(|e| Error::io("make a temporary folder beside", folder, e))?;
        let (new, old) = (staged.path().join("new"), staged.path().join("old"));
        for place in [new.join("traces"), new.join("truth"), old.clone()] {
            fs::create_dir_all(&place).map_err(|e| Error::io("make", &place, e))?;
        }
        for file in &files {
            let path = new.join(&file.path);
            fs::write(&path, &file.bytes).map_err(|e| Error::io("write", &path, e))?;
        }
        fs::create_dir_all(folder).map_err(|e| Error::io("make", folder, e))?;
        swap(folder, &new, &old)
    }

    /// The files of the study, paths relative to its folder, in a fixed order.
    ///
    /// # Errors
    /// As [`Scenario::simulate_runs`].
    pub fn study_files(&self) -> Result<Vec<StudyFile>> {
        let runs = self.simulate_runs()?;
        let mut files = vec![
            StudyFile { path: "study.toml".to_owned(), bytes: self.study_toml.clone().into_bytes() },
            StudyFile { path: "injections.csv".to_owned(), bytes: self.log_text(&runs).into_bytes() },
        ];
        let traces: Vec<StudyFile> = runs
            .par_iter()
            .map(|run| StudyFile { path: run.injection.file.clone(), bytes: self.trace_text(run).into_bytes() })
            .collect();
        files.extend(traces);
        let mut truth = serde_json::to_vec_pretty(&self.truth(&runs))
            .map_err(|e| Error::new(ErrorKind::Data, "the truth could not be turned into JSON").because(e))?;
        truth.push(b'\n');
        files.push(StudyFile { path: "truth/truth.json".to_owned(), bytes: truth });
        Ok(files)
    }

    /// The row of the injection log for injection `index`.
    pub(super) fn log_row(&self, index: usize) -> Injection {
        let plan = &self.injections[index];
        let flask = &self.flasks[plan.flask];
        let contents = self.compounds.iter().zip(&flask.stated_percent).filter_map(|(compound, stated)| {
            Some(Content { compound: compound.name.clone(), value: (*stated)?, unit: percent_by_volume()? })
        });
        Injection {
            run: plan.run.clone(),
            file: format!("traces/{}.csv", plan.run),
            sample: flask.sample.clone(),
            kind: flask.kind,
            preparation: flask.preparation.clone(),
            replicate: Some(plan.replicate.clone()),
            volume_ul: Some(self.volume_ul),
            dilution: flask.dilution,
            method: Some(self.method.clone()),
            time: Some(plan.time.clone()),
            group: None,
            accepted: true,
            reason: None,
            note: flask.note.clone(),
            contents: contents.collect(),
            other: Vec::new(),
            line: index as u64 + 2,
        }
    }

    fn log_text(&self, runs: &[SimulatedRun]) -> String {
        let logged: Vec<&str> = self
            .compounds
            .iter()
            .enumerate()
            .filter(|(j, _)| self.flasks.iter().any(|f| f.stated_percent[*j].is_some()))
            .map(|(_, c)| c.name.as_str())
            .collect();
        let mut text = String::from(
            "run,file,sample,kind,preparation,replicate,volume (uL),dilution,method,time,group,accepted,reason,note",
        );
        for name in &logged {
            text += &format!(",{}", quoted(&format!("{name} (% v/v)")));
        }
        text.push('\n');
        for run in runs {
            let row = &run.injection;
            let optional = |cell: &Option<String>| quoted(cell.as_deref().unwrap_or(""));
            let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
            let mut cells = vec![
                quoted(&row.run),
                quoted(&row.file),
                quoted(&row.sample),
                row.kind.word().to_owned(),
                optional(&row.preparation),
                optional(&row.replicate),
                number(row.volume_ul),
                number(row.dilution),
                optional(&row.method),
                optional(&row.time),
                optional(&row.group),
                if row.accepted { "yes" } else { "no" }.to_owned(),
                optional(&row.reason),
                optional(&row.note),
            ];
            cells.extend(logged.iter().map(|name| number(row.content(name).map(|c| c.value))));
            text += &cells.join(",");
            text.push('\n');
        }
        text
    }

    /// A trace as an instrument's program would export it.
    fn trace_text(&self, run: &SimulatedRun) -> String {
        let (trace, row) = (&run.trace, &run.injection);
        let mut text = String::with_capacity(20 * trace.len() + 400);
        let unit = trace.signal_unit();
        let _ = writeln!(text, "SIMULATED TRACE: no instrument made these numbers");
        let _ = writeln!(text, "scenario: {} with seed {}", self.name, self.seed);
        let _ = writeln!(text, "run: {}", run.name);
        let _ = writeln!(text, "started: {}", row.time.as_deref().unwrap_or(""));
        let _ = writeln!(text, "method: {}", self.method);
        let _ = writeln!(text, "points: {}", trace.len());
        let _ = writeln!(text);
        let _ = writeln!(text, "time (min),signal ({unit})");
        let decimals = self.detector.decimals as usize;
        for (t, y) in trace.time_min().iter().zip(trace.signal()) {
            let _ = writeln!(text, "{t:.5},{y:.decimals$}");
        }
        text
    }
}

/// A file of a study folder.
#[derive(Clone, PartialEq, Eq)]
pub struct StudyFile {
    /// Path below the study folder, with slashes.
    pub path: String,
    /// Content.
    pub bytes: Vec<u8>,
}

impl std::fmt::Debug for StudyFile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "StudyFile({:?}, {} bytes)", self.path, self.bytes.len())
    }
}

fn percent_by_volume() -> Option<ContentUnit> {
    ContentUnit::parse("% v/v").ok()
}

/// A cell of a comma-separated table.
fn quoted(cell: &str) -> String {
    if cell.contains(['"', ',', '\n', '\r']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell.to_owned() }
}

/// A missing or empty folder, or an earlier simulated study without foreign files where ours go.
fn may_be_replaced(folder: &Path, files: &[StudyFile]) -> Result<()> {
    let refused = |what: String| {
        Err(Error::new(ErrorKind::File, what).in_file(folder).hint("name another folder for the simulated study"))
    };
    let entries = match fs::read_dir(folder) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(Error::io("look into", folder, e)),
        Ok(entries) => entries.count(),
    };
    if entries == 0 {
        return Ok(());
    }
    let first = fs::read(folder.join("study.toml")).unwrap_or_default();
    if !first.starts_with(DEMO_FIRST_LINE.as_bytes()) {
        return refused("this folder holds something that is no simulated study; nothing was touched".to_owned());
    }
    for part in ["traces", "truth"] {
        for entry in fs::read_dir(folder.join(part)).into_iter().flatten().flatten() {
            let path = format!("{part}/{}", entry.file_name().to_string_lossy());
            if !files.iter().any(|f| f.path == path) {
                return refused(format!("{path} is no file of this simulated study; nothing was touched"));
            }
        }
    }
    Ok(())
}

/// Moves the old parts out and the new ones in; where that fails, the old ones back.
fn swap(folder: &Path, new: &Path, old: &Path) -> Result<()> {
    let mut moved_out = Vec::new();
    let mut moved_in = Vec::new();
    let mut step = || -> Result<()> {
        for part in PARTS {
            if folder.join(part).exists() {
                fs::rename(folder.join(part), old.join(part)).map_err(|e| Error::io("move", folder.join(part), e))?;
                moved_out.push(part);
            }
        }
        for part in PARTS {
            fs::rename(new.join(part), folder.join(part)).map_err(|e| Error::io("move", folder.join(part), e))?;
            moved_in.push(part);
        }
        Ok(())
    };
    let done = step();
    if done.is_err() {
        for part in moved_in {
            let _ = fs::rename(folder.join(part), new.join(part));
        }
        for part in moved_out {
            let _ = fs::rename(old.join(part), folder.join(part));
        }
    }
    done
}
