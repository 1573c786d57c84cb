//! `vialbook demo`: a simulated study, its analysis, its report; the main job from end to end.

use crate::error::{Error, ErrorKind, Result};
use crate::results::Severity;

pub(super) fn run(args: &super::DemoArgs) -> Result<Severity> {
    let folder = &args.folder;
    let pdf = folder.join("report.pdf");
    if folder.is_file() {
        return Err(Error::new(ErrorKind::File, "this is a file; the name of a folder is wanted").in_file(folder));
    }
    if folder.exists() && !is_earlier_demo(folder) {
        return Err(Error::new(ErrorKind::File, "this folder exists and is no demo made before; nothing was touched")
            .in_file(folder)
            .hint("name another folder: vialbook demo DIR"));
    }
    super::report::may_be_written(&pdf)?;
    let typesetter = super::report::find(&args.typesetter)?;
    let mut progress = super::progress::Progress::start();
    progress.say("simulating the injections");
    crate::simulate::recovered_eluent(args.seed).write_study(folder)?;
    progress.words(&format!("a simulated study stands in {}", folder.display()));
    let analysis = super::analyse::analyse(folder, &mut progress)?;
    super::analyse::print_amounts(analysis.results())?;
    super::analyse::print_findings(analysis.results());
    super::report::typeset(&analysis, "formal-report", &pdf, typesetter, &mut progress)?;
    Ok(analysis.results().worst())
}

/// A folder that holds a simulated study of ours may be made again.
fn is_earlier_demo(folder: &std::path::Path) -> bool {
    let marker = std::fs::read_to_string(folder.join("study.toml")).unwrap_or_default();
    marker.starts_with(crate::simulate::DEMO_FIRST_LINE)
        || std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}
