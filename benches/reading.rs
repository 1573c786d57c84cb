//! How fast traces are read, hash included: `cargo bench --no-default-features --bench reading [FILES]`.
//!
//! The files are invented: 12,000 rows `%.5f,%.4f` under `time (min),signal (mV)`, three peaks, drift and noise.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::Instant;

use rayon::prelude::*;
use vialbook::read::{ReadOptions, read_bytes, read_run};

const POINTS: usize = 12_000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let count: usize = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(200);
    let folder = tempfile::tempdir()?;
    let files: Vec<PathBuf> = (0..count).map(|i| folder.path().join(format!("run{i:04}.csv"))).collect();
    for (i, file) in files.iter().enumerate() {
        std::fs::write(file, comma_file(i as u64 + 1))?;
    }
    let options = ReadOptions::default();
    let size = std::fs::metadata(&files[0])?.len();
    println!("{count} files of {POINTS} rows, {:.0} kB each", size as f64 / 1e3);

    let per_file = |seconds: f64| (seconds * 1e3 / count as f64, size as f64 * count as f64 / seconds / 1e6);
    // Once unmeasured, so that every file is in the system's cache.
    let points: usize = files.iter().map(|f| read_run(f, &options).map_or(0, |r| r.trace.len())).sum();
    assert_eq!(points, count * POINTS, "every file reads in full");

    let start = Instant::now();
    let mut each = Vec::new();
    for file in &files {
        let start = Instant::now();
        read_run(file, &options)?;
        each.push(start.elapsed().as_secs_f64());
    }
    let (ms, rate) = per_file(start.elapsed().as_secs_f64());
    println!("one thread:   {ms:.3} ms a file, {rate:.0} MB/s; median file {:.3} ms", median(each) * 1e3);

    let start = Instant::now();
    let all: Vec<_> = files.par_iter().map(|f| read_run(f, &options)).collect::<Result<_, _>>()?;
    let (ms, rate) = per_file(start.elapsed().as_secs_f64());
    println!(
        "{} threads:    {ms:.3} ms a file, {rate:.0} MB/s ({} runs kept)",
        rayon::current_num_threads(),
        all.len()
    );

    let plain = comma_file(1);
    let quoted: String = plain.lines().map(|l| format!("\"{}\"\n", l.replace(',', "\",\""))).collect();
    for (name, text) in [
        ("comma, point", plain.clone()),
        ("semicolon, comma", plain.replace(',', ";").replace('.', ",")),
        ("blanks, CR LF", plain.replace(',', "  ").replace('\n', "\r\n")),
        ("quoted cells", quoted),
    ] {
        let bytes = text.into_bytes();
        let mut each = Vec::new();
        for _ in 0..50 {
            let start = Instant::now();
            read_bytes(Path::new("run.csv"), &bytes, &options)?;
            each.push(start.elapsed().as_secs_f64());
        }
        let seconds = median(each);
        println!("from memory, {name}: {:.3} ms, {:.0} MB/s", seconds * 1e3, bytes.len() as f64 / seconds / 1e6);
    }
    Ok(())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// One invented file; the seed moves peaks and noise.
fn comma_file(seed: u64) -> String {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut text = String::from("time (min),signal (mV)\n");
    for i in 0..POINTS {
        let t = i as f64 / 1000.0;
        let peak = |centre: f64, height: f64| height * (-0.5 * ((t - centre) / 0.03).powi(2)).exp();
        let noise = (0..4).map(|_| uniform() - 0.5).sum::<f64>() * 0.1;
        let y = 2.0 + 0.05 * t + peak(1.7, 40.0) + peak(3.9, 12.0) + peak(6.8, 90.0) + noise;
        let _ = writeln!(text, "{t:.5},{y:.4}");
    }
    text
}
