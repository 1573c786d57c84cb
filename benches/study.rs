//! The demo's study from raw files to results.json, stage by stage, and what the report adds to the typesetter's own time.
//!
//! `cargo bench --bench study` prints medians over repetitions.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use rayon::prelude::*;
use vialbook::peaks::Detect;
use vialbook::simulate::{DEMO_SEED, recovered_eluent};
use vialbook::study::Study;

fn median_ms(times: usize, mut work: impl FnMut()) -> f64 {
    let mut ms: Vec<f64> = (0..times)
        .map(|_| {
            let start = Instant::now();
            work();
            1e3 * start.elapsed().as_secs_f64()
        })
        .collect();
    ms.sort_by(f64::total_cmp);
    ms[times / 2]
}

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("study");
    let scenario = recovered_eluent(DEMO_SEED);
    let simulate = median_ms(5, || drop(scenario.simulate_runs().unwrap()));
    scenario.write_study(&root).unwrap();

    let study = Study::open(&root).unwrap();
    let analysis = study.analyse().unwrap();
    let results = root.join("results");
    let read = median_ms(31, || drop(Study::open(&root).unwrap()));
    let peaks = median_ms(31, || {
        study.runs().par_iter().for_each(|r| drop(r.find_peaks(&Detect::default()).unwrap()));
    });
    let analyse = median_ms(31, || drop(study.analyse().unwrap()));
    let save = median_ms(31, || drop(analysis.save(&results).unwrap()));
    let whole = median_ms(31, || drop(Study::open(&root).unwrap().analyse().unwrap().save(&results).unwrap()));

    println!("{} injections of {} points, medians of 31", study.runs().len(), study.runs()[0].trace.len());
    let row = |what: &str, ms: f64| println!("{what:<52} {ms:>8.2} ms {:>5.0} %", 100.0 * ms / whole);
    row("open: log, study.toml, traces, hashes", read);
    row("analyse, of which:", analyse);
    row("    detect and integrate", peaks);
    row("    names, windows, calibrations, amounts, checks", analyse - peaks);
    row("save: results.json and seven tables", save);
    row("raw files to results.json (goal: under 50 ms)", whole);
    println!("{:<52} {simulate:>8.2} ms", "simulating the study, for comparison");
    report(&root, &analysis);
}

/// What `Report::save` takes against `typst compile` on the same source and files.
fn report(root: &Path, analysis: &vialbook::study::Analysis) {
    use vialbook::report::Typesetter;
    let Ok(Some(typesetter)) = Typesetter::find(None) else {
        println!("no typst found: the report is not timed");
        return;
    };
    let pdf = root.join("report.pdf");
    let build = root.join("build");
    let whole = median_ms(7, || {
        drop(analysis.report().unwrap().with_typesetter(typesetter.clone()).save(&pdf).unwrap());
    });
    analysis.report().unwrap().with_typesetter(typesetter.clone()).save_source(&build).unwrap();
    let alone = median_ms(7, || {
        let status = Command::new(typesetter.program())
            .args([
                "compile",
                "--ignore-system-fonts",
                "--pdf-standard",
                "a-3a,ua-1",
                "--creation-timestamp",
                "0",
                "--root",
            ])
            .arg(&build)
            .arg(build.join("report.typ"))
            .arg(root.join("alone.pdf"))
            .status()
            .unwrap();
        assert!(status.success());
    });
    println!("{:<52} {whole:>8.0} ms", "report: context, figures, source, typesetting");
    println!("{:<52} {alone:>8.0} ms", "    typst compile alone on the same source");
    println!("{:<52} {:>8.0} ms", "    added by us (goal: under 200 ms)", whole - alone);
}
