//! From exported traces to peaks, side by side with pandas, NumPy and SciPy on the same files in the same run.
//!
//! `cargo bench --bench chain` prints seconds and ratios; `RUNS=200` sets the number of files (default 1,000).
//! The first time it makes a Python environment with the pinned versions of `benches/peer/requirements.txt`.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use rayon::prelude::*;
use vialbook::peaks::Detect;
use vialbook::read::{ReadOptions, read_run};

#[path = "peer/environment.rs"]
mod environment;
use environment::environment;

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let runs: usize = std::env::var("RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(1000);
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peer");
    let python = environment(&here);
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

        let out = Command::new(&python).arg(here.join("chain.py")).arg(folder.path()).output().unwrap();
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let peer: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        let second = |key: &str| peer[key].as_f64().unwrap();
        theirs.push([second("read_s"), second("read_s") + second("peaks_s")]);
        peer_peaks_found = peer["peaks"].as_u64().unwrap();
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
    println!("our peak memory: {}", peak_memory());
}

fn medians(rounds: &[[f64; 2]]) -> [f64; 2] {
    [0, 1].map(|i| {
        let mut column: Vec<f64> = rounds.iter().map(|r| r[i]).collect();
        column.sort_by(f64::total_cmp);
        column[column.len() / 2]
    })
}

fn peak_memory() -> String {
    fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|s| s.lines().find(|l| l.starts_with("VmHWM")).map(|l| l[6..].trim().to_owned()))
        .unwrap_or_else(|| "not known here".to_owned())
}
