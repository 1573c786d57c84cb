//! `vialbook report`: a study folder to a typeset PDF.

use std::path::{Path, PathBuf};

use crate::error::Result;
use crate::results::Severity;
use crate::study::Analysis;

pub(super) fn run(args: &super::ReportArgs) -> Result<Severity> {
    let mut progress = super::progress::Progress::start();
    let analysis = super::analyse::analyse(&args.study, &mut progress)?;
    let output = args.output.clone().unwrap_or_else(|| args.study.join("report.pdf"));
    typeset(&analysis, &args.template, &output, args.typesetter.typst.as_deref(), &mut progress)?;
    super::analyse::print_findings(analysis.results());
    Ok(analysis.results().worst())
}

/// Typesets and says where the PDF went and what the author still owes.
pub(super) fn typeset(
    analysis: &Analysis,
    template: &str,
    output: &Path,
    typst: Option<&Path>,
    progress: &mut super::progress::Progress,
) -> Result<PathBuf> {
    use crate::report::Typesetter;
    let typesetter = match Typesetter::find(typst)? {
        Some(found) => found,
        None => {
            eprintln!("no typst program was found; building it once (about ten minutes) into this program's own cache");
            Typesetter::provision(&mut |line| progress.say(line))?
        }
    };
    progress.say("typesetting the report");
    let report = analysis.report()?.with_template(template).with_typesetter(typesetter);
    let saved = report.save(output)?;
    for gap in report.missing() {
        eprintln!("still to be written: {gap}");
    }
    println!("{}", saved.display());
    Ok(saved)
}
