//! `vialbook analyse`: a study folder to results.json and tables; the amounts in words.

use std::path::Path;

use crate::error::Result;
use crate::results::{Results, Severity};
use crate::study::{Analysis, Study};

pub(super) fn run(args: &super::AnalyseArgs) -> Result<Severity> {
    let analysis = analyse(&args.study, &mut super::progress::Progress::start())?;
    print_amounts(analysis.results());
    print_findings(analysis.results());
    Ok(analysis.results().worst())
}

/// Opens, analyses and saves a study; says where the results went.
pub(super) fn analyse(folder: &Path, progress: &mut super::progress::Progress) -> Result<Analysis> {
    progress.say("reading the traces");
    let study = Study::open(folder)?;
    progress.say("peaks, calibrations, amounts");
    let analysis = study.analyse()?;
    let written = analysis.save(folder.join("results"))?;
    eprintln!("{} injections analysed; results in {}", analysis.results().runs.len(), written.display());
    Ok(analysis)
}

/// The amounts as a table on stdout: tab separated, one line each, ready for another program.
pub(super) fn print_amounts(results: &Results) {
    println!("sample\tcompound\tquantity\tamount");
    for a in &results.amounts {
        println!("{}\t{}\t{}\t{}", clean(&a.sample), clean(&a.compound), a.quantity, clean(&a.text));
    }
}

/// Warnings and failures in words on stderr; decisions always.
pub(super) fn print_findings(results: &Results) {
    for f in results.findings.iter().filter(|f| f.severity > Severity::Pass || f.what.starts_with("decision")) {
        eprintln!("{}: {} ({}): {}", f.severity.word(), clean(&f.what), clean(&f.place), clean(&f.why));
        if let Some(next) = &f.next {
            eprintln!("      next: {}", clean(next));
        }
    }
    let passed = results.findings.iter().filter(|f| f.severity == Severity::Pass).count();
    if passed > 0 {
        eprintln!("{passed} checks passed; all are listed in findings.csv");
    }
}

/// Names come from files: no control characters reach the terminal.
pub(super) fn clean(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect()
}
