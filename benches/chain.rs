//! From exported traces to peaks, side by side with pandas, NumPy and SciPy on the same files in the same run.
//!
//! `cargo bench --bench chain` prints seconds and ratios; `RUNS=200` sets the number of files (default 1,000).
//! The first time it makes a Python environment with the pinned versions of `benches/peer/requirements.txt`.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

#[path = "peer/mod.rs"]
mod peer;

use std::fs;
use std::path::PathBuf;
use std::process::Command;
use std::time::Instant;

use rayon::prelude::*;
use vialbook::peaks::Detect;
use vialbook::read::{ReadOptions, read_run};

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let runs: usize = std::env::var("RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(1000);
    let here = peer::scripts();
    let python = peer::environment();
    let folder = tempfile::tempdir().unwrap();
    let made = Command::new(&python)
        .args([here.join("make_runs.py").as_os_str(), folder.path().as_os_str(), runs.to_string().as_ref()])
        .status()
        .unwrap();
    assert!(made.success(), "the invented traces could not be made");

    let mut files: Vec<PathBuf> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let bytes: u64 = files.iter().map(|f| fs::metadata(f).unwrap().len()).sum();
    println!("{runs} files of 12,000 points, {:.0} MB", bytes as f64 / 1e6);

    // Warm the page cache for both alike.
    files.iter().for_each(|f| drop(fs::read(f).unwrap()));

    // Three rounds, ours and theirs in turn; the medians are compared.
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    let (mut peaks, mut peer_peaks_found) = (0, 0);
    for _ in 0..3 {
        let start = Instant::now();
        peaks = files
            .par_iter()
            .map(|f| read_run(f, &ReadOptions::default()).unwrap().find_peaks(&Detect::default()).unwrap().peaks.len())
            .sum();
        let whole = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let points: usize = files.par_iter().map(|f| read_run(f, &ReadOptions::default()).unwrap().trace.len()).sum();
        ours.push([start.elapsed().as_secs_f64(), whole]);
        assert_eq!(points, runs * 12_000);

        let found = peer::json(&python, "chain.py", folder.path());
        let second = |key: &str| found[key].as_f64().unwrap();
        theirs.push([second("read_s"), second("read_s") + second("peaks_s")]);
        peer_peaks_found = found["peaks"].as_u64().unwrap();
    }
    let [reading, whole] = medians(&ours);
    let [peer_read, peer_whole] = medians(&theirs);
    let peer_peaks = peer_whole - peer_read;

    println!("{:<44} {:>9} {:>9} {:>7}", "", "peer / s", "ours / s", "ratio");
    println!(
        "{:<44} {peer_read:>9.3} {reading:>9.3} {:>7.1}",
        "read (ours: hash included, all cores)",
        peer_read / reading
    );
    println!(
        "{:<44} {peer_peaks:>9.3} {:>9.3} {:>7.1}",
        "detect and integrate",
        (whole - reading).max(f64::MIN_POSITIVE),
        peer_peaks / (whole - reading).max(f64::MIN_POSITIVE)
    );
    println!(
        "{:<44} {:>9.3} {whole:>9.3} {:>7.1}",
        "together",
        peer_read + peer_peaks,
        (peer_read + peer_peaks) / whole
    );
    println!("peaks found: peer {peer_peaks_found}, ours {peaks}");
    let memory = peer::peak_memory().map_or("not known here".to_owned(), |b| format!("{:.1} MB", b as f64 / 1e6));
    println!("our peak memory: {memory}");
}

fn medians(rounds: &[[f64; 2]]) -> [f64; 2] {
    [0, 1].map(|i| peer::median(rounds.iter().map(|r| r[i]).collect()))
}
