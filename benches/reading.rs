//! How fast traces are read, hash and sniffing included, beside pandas' C reader and polars' eager reader on the same files
//! in the same run: `cargo bench --no-default-features --bench reading`. `FILES=200` sets the number of files.
//!
//! The files are invented: 12,000 rows `%.5f,%.4f` under `time (min),signal (mV)`, three peaks, drift and noise. The first
//! time it makes a Python environment with the pinned versions of `benches/peer/requirements.txt`.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

#[path = "peer/mod.rs"]
mod peer;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use peer::median;
use rayon::prelude::*;
use vialbook::read::{ReadOptions, read_bytes, read_run};

const POINTS: usize = 12_000;
/// Ours and theirs in turn; the medians are compared.
const ROUNDS: usize = 5;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let options = ReadOptions::default();
    // A process of its own that reads one file and tells what that took.
    if let Some(file) = std::env::var_os("READ_ONE") {
        let before = peer::peak_memory();
        let run = read_run(&file, &options)?;
        println!("{} {}", run.trace.len(), peer::peak_memory().zip(before).map_or(0, |(a, b)| a - b));
        return Ok(());
    }
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return Ok(());
    }
    let count: usize = std::env::var("FILES").ok().and_then(|n| n.parse().ok()).unwrap_or(200);
    let folder = tempfile::tempdir()?;
    let files: Vec<PathBuf> = (0..count).map(|i| folder.path().join(format!("run{i:04}.csv"))).collect();
    for (i, file) in files.iter().enumerate() {
        std::fs::write(file, comma_file(i as u64 + 1, POINTS))?;
    }
    let size = std::fs::metadata(&files[0])?.len();
    println!("{count} files of {POINTS} rows, {:.0} kB each", size as f64 / 1e3);

    // Once unmeasured, so that every file is in the system's cache.
    let points: usize = files.iter().map(|f| read_run(f, &options).map_or(0, |r| r.trace.len())).sum();
    assert_eq!(points, count * POINTS, "every file reads in full");
    let python = peer::environment();
    let (mut one, mut all, mut pandas, mut polars, mut threads) = (vec![], vec![], vec![], vec![], 0);
    for _ in 0..ROUNDS {
        let start = Instant::now();
        for file in &files {
            read_run(file, &options)?;
        }
        one.push(start.elapsed().as_secs_f64());
        let start = Instant::now();
        let runs: Vec<_> = files.par_iter().map(|f| read_run(f, &options)).collect::<Result<_, _>>()?;
        all.push(start.elapsed().as_secs_f64());
        assert_eq!(runs.len(), count);
        pandas.push(peer::json(&python, "chain.py", &[folder.path().as_ref()])["read_s"].as_f64().unwrap());
        let found = peer::json(&python, "read_polars.py", &[folder.path().as_ref()]);
        assert_eq!(found["rows"].as_u64(), Some((count * POINTS) as u64));
        threads = found["threads"].as_u64().unwrap_or(0);
        polars.push(found["read_s"].as_f64().unwrap());
    }
    let ours = median(all.clone());
    for (name, seconds) in [
        (format!("ours, {} threads", rayon::current_num_threads()), ours),
        ("ours, one thread".to_owned(), median(one)),
        ("pandas, C reader".to_owned(), median(pandas)),
        (format!("polars, eager reader, {threads} threads"), median(polars)),
    ] {
        let rate = size as f64 * count as f64 / seconds / 1e6;
        let each = seconds * 1e3 / count as f64;
        println!("{name:<34} {each:>7.3} ms a file {rate:>6.0} MB/s {:>7.2} times our time", seconds / ours);
    }

    for times in [1, 10, 100] {
        let file = folder.path().join("large.txt");
        std::fs::write(&file, comma_file(1, POINTS * times))?;
        let size = std::fs::metadata(&file)?.len() as f64;
        let out = Command::new(std::env::current_exe()?).env("READ_ONE", &file).output()?;
        let told = String::from_utf8(out.stdout)?;
        let mut told = told.split_whitespace().map(|w| w.parse::<f64>().unwrap_or(f64::NAN));
        assert_eq!(told.next(), Some((POINTS * times) as f64), "the child reads the file in full");
        let bytes = told.next().unwrap();
        println!("memory for {:.1} MB: {:.1} MB, {:.2} times the file", size / 1e6, bytes / 1e6, bytes / size);
    }

    let plain = comma_file(1, POINTS);
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

/// One invented file; the seed moves peaks and noise.
fn comma_file(seed: u64, points: usize) -> String {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut text = String::from("time (min),signal (mV)\n");
    for i in 0..points {
        let t = i as f64 / 1000.0;
        let peak = |centre: f64, height: f64| height * (-0.5 * ((t - centre) / 0.03).powi(2)).exp();
        let noise = (0..4).map(|_| uniform() - 0.5).sum::<f64>() * 0.1;
        let y = 2.0 + 0.05 * t + peak(1.7, 40.0) + peak(3.9, 12.0) + peak(6.8, 90.0) + noise;
        let _ = writeln!(text, "{t:.5},{y:.4}");
    }
    text
}
