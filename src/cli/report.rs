//! `vialbook report`: a study folder to a typeset PDF.

use std::path::{Path, PathBuf};

use super::progress::Progress;
use crate::error::{Error, ErrorKind, Result};
use crate::report::Typesetter;
use crate::results::Severity;
use crate::study::Analysis;

pub(super) fn run(args: &super::ReportArgs) -> Result<Severity> {
    if args.output.is_some() && args.studies.len() > 1 {
        return Err(Error::new(ErrorKind::Option, "--output names one file, and several studies are given")
            .hint("leave it out: each report goes to report.pdf in its study folder"));
    }
    if let [study] = args.studies.as_slice() {
        if args.watch {
            return super::watch::run(study, args);
        }
        return one(study, args);
    }
    if args.watch {
        return Err(Error::new(ErrorKind::Option, "--watch looks at one study, and several are given"));
    }
    // A study that fails holds up no other; the first error is the program's at the end.
    let (mut worst, mut failed) = (Severity::Pass, None);
    for study in &args.studies {
        match one(study, args) {
            Ok(severity) => worst = worst.max(severity),
            Err(e) if failed.is_none() => failed = Some(e),
            Err(e) => super::output::words(&format!("error: {e}")),
        }
    }
    failed.map_or(Ok(worst), Err)
}

/// The PDF of a study.
pub(super) fn output_of(study: &Path, args: &super::ReportArgs) -> PathBuf {
    args.output.clone().unwrap_or_else(|| study.join("report.pdf"))
}

/// One study to its PDF.
pub(super) fn one(study: &Path, args: &super::ReportArgs) -> Result<Severity> {
    let output = output_of(study, args);
    super::analyse::is_folder("report", study)?;
    may_be_written(&output)?;
    let typesetter = find(&args.typesetter)?;
    let mut progress = Progress::start();
    let analysis = super::analyse::analyse(study, &mut progress)?;
    typeset(&analysis, &args.template, &output, typesetter, &mut progress)?;
    super::analyse::print_findings(analysis.results());
    Ok(analysis.results().worst())
}

/// The typesetter named or found. A path is taken from here, not from the folder in which pages are set.
pub(super) fn find(args: &super::TypesetterArgs) -> Result<Option<Typesetter>> {
    let named = args.typst.as_deref();
    let whole = named.filter(|p| p.exists()).and_then(|p| std::path::absolute(p).ok());
    Typesetter::find(whole.as_deref().or(named))
}

/// What can be known of the PDF's place before any work is done.
pub(super) fn may_be_written(output: &Path) -> Result<()> {
    let ends_as_folder = output.to_string_lossy().ends_with(std::path::is_separator) || output.file_name().is_none();
    if output.is_dir() || ends_as_folder {
        return Err(Error::new(ErrorKind::Option, "this is a folder; the name of a file is wanted")
            .in_file(output)
            .hint(format!("--output \"{}\"", output.join("report.pdf").display())));
    }
    // A rename would replace a protected file as readily as any other.
    if output.metadata().is_ok_and(|m| m.permissions().readonly()) {
        return Err(Error::new(ErrorKind::File, "this file is protected against writing; nothing was touched")
            .in_file(output)
            .hint("name another file, or lift the protection"));
    }
    Ok(())
}

/// Typesets and says where the PDF went and what the author still owes.
pub(super) fn typeset(
    analysis: &Analysis,
    template: &str,
    output: &Path,
    typesetter: Option<Typesetter>,
    progress: &mut Progress,
) -> Result<PathBuf> {
    let typesetter = match typesetter {
        Some(found) => found,
        None => {
            progress
                .words("no typst 0.15 was found; building it once (about ten minutes) into this program's own cache");
            Typesetter::provision(&mut |line| progress.say(line))?
        }
    };
    progress.say("typesetting the report");
    let report = analysis.report()?.with_template(template).with_typesetter(typesetter);
    let saved = report.save(output)?;
    // The same source once more, with the answers, in a file of its own.
    let answers = match template == crate::report::WITH_ANSWERS {
        true => Some(report.with_answers(true).save(beside(output, "-answers"))?.path),
        false => None,
    };
    for gap in &saved.missing {
        progress.words(&format!("still to be written: {gap}"));
    }
    for remark in &saved.remarks {
        progress.words(&format!("note: {remark}"));
    }
    for path in std::iter::once(&saved.path).chain(&answers) {
        super::output::data(&format!("{}\n", path.display()))?;
    }
    Ok(saved.path)
}

/// `report.pdf` → `report-answers.pdf`.
fn beside(output: &Path, ending: &str) -> PathBuf {
    let stem = output.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    output.with_file_name(format!("{stem}{ending}.pdf"))
}
