//! From exported traces to peaks, side by side with pandas, NumPy and SciPy on the same files in the same run.
//!
//! `cargo bench --bench chain` prints seconds and ratios; `RUNS=200` sets the number of files (default 1,000).
//! The first time it makes a Python environment with the pinned versions of `benches/peer/requirements.txt`.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::fs;
use std::path::PathBuf;
use std::process::Command;
use std::time::Instant;

use rayon::prelude::*;
use vialbook::peaks::{Detect, FitOptions, PeakList};
use vialbook::read::{ReadOptions, read_run};

#[path = "peer/mod.rs"]
mod peer;

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let runs: usize = std::env::var("RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(1000);
    let python = peer::environment();
    let folder = tempfile::tempdir().unwrap();
    let made = Command::new(&python)
        .args([peer::scripts().join("make_runs.py").as_os_str(), folder.path().as_os_str(), runs.to_string().as_ref()])
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
    let (mut largest, mut peer_largest, mut peer_fitted) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..3 {
        let start = Instant::now();
        peaks = files
            .par_iter()
            .map(|f| read_run(f, &ReadOptions::default()).unwrap().find_peaks(&Detect::default()).unwrap().peaks.len())
            .sum();
        let whole = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let points: usize = files.par_iter().map(|f| read_run(f, &ReadOptions::default()).unwrap().trace.len()).sum();
        let reading = start.elapsed().as_secs_f64();
        assert_eq!(points, runs * 12_000);
        let start = Instant::now();
        largest = files
            .par_iter()
            .map(|f| {
                let list = read_run(f, &ReadOptions::default()).unwrap().find_peaks(&Detect::default()).unwrap();
                let fitted = list.fit(&FitOptions::default()).unwrap();
                let top = |l: &PeakList| {
                    let top = l.peaks.iter().max_by(|a, b| a.area.total_cmp(&b.area)).unwrap();
                    (top.area, top.area_u)
                };
                (top(&list), top(&fitted))
            })
            .collect();
        ours.push([reading, whole, start.elapsed().as_secs_f64()]);

        let plain = peer::json(&python, "chain.py", &[folder.path().as_ref()]);
        let fitted = peer::json(&python, "chain.py", &[folder.path().as_ref(), "--fit".as_ref()]);
        let second = |of: &serde_json::Value, key: &str| of[key].as_f64().unwrap();
        let areas = |of: &serde_json::Value| -> Vec<f64> {
            of["largest"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
        };
        let read = second(&plain, "read_s");
        theirs.push([read, read + second(&plain, "peaks_s"), read + second(&fitted, "peaks_s")]);
        peer_peaks_found = plain["peaks"].as_u64().unwrap();
        (peer_largest, peer_fitted) = (areas(&plain), areas(&fitted));
    }
    let [reading, whole, with_fits] = medians(&ours);
    let [peer_read, peer_whole, peer_fits] = medians(&theirs);
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
    let (ours_fits, theirs_fits) = ((with_fits - whole).max(f64::MIN_POSITIVE), peer_fits - peer_whole);
    println!(
        "{:<44} {theirs_fits:>9.3} {ours_fits:>9.3} {:>7.1}",
        "fits on top of it (a profile to every peak)",
        theirs_fits / ours_fits
    );
    println!(
        "{:<44} {:>9.3} {whole:>9.3} {:>7.1}",
        "together, without fits",
        peer_read + peer_peaks,
        (peer_read + peer_peaks) / whole
    );
    println!("peaks found: peer {peer_peaks_found}, ours {peaks}");
    // The largest peak of each file. The peer's sum ends 5 half widths behind the apex, on single points.
    let apart = |theirs: &[f64], ours: &[(f64, f64)]| {
        let mut all: Vec<f64> = theirs.iter().zip(ours).map(|(t, (a, u))| (t - a) / u).collect();
        all.sort_by(f64::total_cmp);
        (all[all.len() / 2], all.iter().filter(|d| d.abs() < 2.0).count() as f64 / all.len() as f64)
    };
    let (sums, fits): (Vec<_>, Vec<_>) = largest.into_iter().unzip();
    let ((sum, sum_share), (fit, fit_share)) = (apart(&peer_largest, &sums), apart(&peer_fitted, &fits));
    println!(
        "largest areas, peer less ours in our standard uncertainties: sums {sum:.2} (median; {:.0} % within 2), fits {fit:.2} ({:.0} % within 2)",
        100.0 * sum_share,
        100.0 * fit_share
    );
    let memory = peer::peak_memory().map(|bytes| format!("{} kB", bytes / 1024));
    println!("our peak memory: {}", memory.as_deref().unwrap_or("not known here"));
}

fn medians(rounds: &[[f64; 3]]) -> [f64; 3] {
    [0, 1, 2].map(|i| peer::median(rounds.iter().map(|r| r[i]).collect()))
}
