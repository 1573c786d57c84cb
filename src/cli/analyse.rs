//! `vialbook analyse`: a study folder to results.json and tables; the amounts in words.

use std::fmt::Write as _;
use std::path::Path;

use super::output;
use super::progress::Progress;
use crate::error::{Error, ErrorKind, Result};
use crate::results::{Finding, Results, Severity};
use crate::study::{Analysis, Study};

pub(super) fn run(args: &super::AnalyseArgs) -> Result<Severity> {
    is_folder("analyse", &args.study)?;
    let analysis = analyse(&args.study, &mut Progress::start())?;
    print_amounts(analysis.results())?;
    print_findings(analysis.results());
    Ok(analysis.results().worst())
}

/// A study is named by its folder; whoever names a file in it is told so.
pub(super) fn is_folder(command: &str, study: &Path) -> Result<()> {
    if !study.is_file() {
        return Ok(()); // what is not there is told where it is opened
    }
    let folder = study.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Err(Error::new(ErrorKind::NotFound, "this is a file; a study is named by its folder")
        .in_file(study)
        .hint(format!("vialbook {command} \"{}\"", folder.display())))
}

/// Opens, analyses and saves a study; says where the results went.
pub(super) fn analyse(folder: &Path, progress: &mut Progress) -> Result<Analysis> {
    progress.say("reading the traces");
    let study = Study::open(folder)?;
    progress.say("peaks, calibrations, amounts");
    let analysis = study.analyse()?;
    let written = analysis.save(folder.join("results"))?;
    let runs = analysis.results().runs.len();
    progress.words(&format!("{runs} injections analysed; results in {}", written.display()));
    Ok(analysis)
}

/// The amounts as a table on stdout: tab separated, one line each, ready for another program.
pub(super) fn print_amounts(results: &Results) -> Result<()> {
    let mut table = "sample\tcompound\tquantity\tamount\n".to_owned();
    for a in &results.amounts {
        let _ = writeln!(table, "{}\t{}\t{}\t{}", clean(&a.sample), clean(&a.compound), a.quantity, clean(&a.text));
    }
    output::data(&table)
}

/// Warnings and failures in words on stderr; decisions always.
pub(super) fn print_findings(results: &Results) {
    for f in results.findings.iter().filter(|f| f.severity > Severity::Pass || is_decision(f)) {
        output::words(&format!("{}: {} ({}): {}", f.severity.word(), clean(&f.what), clean(&f.place), clean(&f.why)));
        if let Some(next) = &f.next {
            output::words(&format!("      next: {}", clean(next)));
        }
    }
    // As the report counts them: a decision answers the question, it is no check.
    match results.findings.iter().filter(|f| f.severity == Severity::Pass && !is_decision(f)).count() {
        0 => {}
        1 => output::words("1 check passed; it is listed in findings.csv"),
        n => output::words(&format!("{n} checks passed; all are listed in findings.csv")),
    }
}

fn is_decision(finding: &Finding) -> bool {
    finding.what.starts_with("decision")
}

/// Names come from files: no control characters reach the terminal.
pub(super) fn clean(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect()
}
