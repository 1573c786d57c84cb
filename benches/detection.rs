//! False peaks in blank runs, small peaks found, and time against points; each rate with its Monte Carlo error.
//!
//! `cargo bench --bench detection`; `BLANKS=200` and `DRAWS=200` shorten it (defaults 2,000 and 1,000 a row).
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::time::Instant;

use rayon::prelude::*;
use vialbook::Trace;
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::Detect;
use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, Gaussian};

const POINTS: usize = 12_000;
const SD: f64 = 0.1;

/// A blank run: first-order autoregressive noise, level or on a bent drift of 400 standard deviations
/// over the run, half of it within a quarter of the run as a bleeding column's.
fn blank(random: &mut Random, n: usize, phi: f64, drifts: bool) -> (Vec<f64>, Vec<f64>) {
    let fresh = (1.0 - phi * phi).sqrt();
    let mut last = random.normal();
    let time: Vec<f64> = (0..n).map(|i| i as f64 * 1e-3).collect();
    let signal = (0..n)
        .map(|i| {
            last = phi * last + fresh * random.normal();
            let x = i as f64 / n as f64;
            let drift = if drifts { 20.0 * x + 20.0 / (1.0 + (-(x - 0.6) * 10.0).exp()) } else { 0.0 };
            1.0 + drift + SD * last
        })
        .collect();
    (time, signal)
}

fn count(time: Vec<f64>, signal: Vec<f64>) -> usize {
    Trace::new(time, signal, "mV").unwrap().find_peaks(&Detect::default()).unwrap().len()
}

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let number = |name: &str, default: u64| std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(default);
    let (blanks, draws) = (number("BLANKS", 2000), number("DRAWS", 1000));

    println!("false peaks in {blanks} blank runs of {POINTS} points; wanted: at most 1 in 100 runs");
    println!("{:>5} {:>7} {:>12} {:>20}", "phi", "drift", "false peaks", "in 100 runs");
    for phi in [0.0, 0.5, 0.8] {
        for drifts in [false, true] {
            let found: usize = (0..blanks)
                .into_par_iter()
                .map(|seed| {
                    let (time, signal) = blank(&mut Random::stream(51, seed), POINTS, phi, drifts);
                    count(time, signal)
                })
                .sum();
            let per_100 = |f: f64| 100.0 * f / blanks as f64;
            let error = (found.max(1) as f64).sqrt();
            let (rate, error) = (per_100(found as f64), per_100(error));
            println!("{phi:>5} {:>7} {found:>12} {rate:>12.2} ± {error:.2}", if drifts { "bent" } else { "none" });
        }
    }

    println!("\nfound in {draws} runs at a height of 8 sd (and beside it, 5 and 6 sd)");
    println!("{:>5} {:>7} {:>12} {:>16} {:>8} {:>8}", "phi", "drift", "half-width", "8 sd / %", "6 sd", "5 sd");
    for phi in [0.0, 0.5, 0.8] {
        for drifts in [false, true] {
            for points in [3.0, 10.0, 30.0, 100.0, 300.0] {
                let found = |height: f64| {
                    let sigma = points * 1e-3 / 2.354_820_045;
                    let hits: usize = (0..draws)
                        .into_par_iter()
                        .map(|seed| {
                            let (time, mut signal) = blank(&mut Random::stream(52, seed), POINTS, phi, drifts);
                            let centre = 5.0 + 1e-3 * Random::stream(53, seed).uniform();
                            let area = height * SD * sigma * 2.506_628_275;
                            Gaussian::new(area, centre, sigma).unwrap().add_to(&time, &mut signal);
                            let list = Trace::new(time, signal, "mV").unwrap().find_peaks(&Detect::default()).unwrap();
                            let near = |t: f64| (t - centre).abs() < 1.5 * sigma.max(1e-3);
                            usize::from(list.peaks.iter().any(|p| near(p.retention_time_min)))
                        })
                        .sum();
                    hits as f64 / draws as f64
                };
                let (eight, six, five) = (found(8.0), found(6.0), found(5.0));
                let error = (eight * (1.0 - eight)).max(1.0 / draws as f64) / draws as f64;
                println!(
                    "{phi:>5} {:>7} {points:>12} {:>9.2} ± {:.2} {:>8.1} {:>8.1}",
                    if drifts { "bent" } else { "none" },
                    100.0 * eight,
                    100.0 * error.sqrt(),
                    100.0 * six,
                    100.0 * five
                );
            }
        }
    }

    println!("\ntime of find_peaks on one core, a peak every 1,500 points, white noise");
    println!("{:>10} {:>10} {:>12} {:>10}", "points", "ms", "ns a point", "exponent");
    let mut before: Option<(usize, f64)> = None;
    for n in [1_000, 10_000, 100_000, 1_000_000, 10_000_000] {
        let (time, mut signal) = blank(&mut Random::seeded(54), n, 0.0, false);
        for k in 0..n / 1500 {
            let centre = (750 + 1500 * k) as f64 * 1e-3;
            let (a, b) = (1500 * k, (1500 * (k + 1)).min(n));
            Emg::new(0.5, centre, 0.02, 0.01).unwrap().add_to(&time[a..b], &mut signal[a..b]);
        }
        let trace = Trace::new(time, signal, "mV").unwrap();
        let mut best = f64::INFINITY;
        for _ in 0..(2_000_000 / n).clamp(3, 200) {
            let start = Instant::now();
            std::hint::black_box(trace.find_peaks(&Detect::default()).unwrap());
            best = best.min(start.elapsed().as_secs_f64());
        }
        let exponent = before.map(|(m, t)| (best / t).ln() / (n as f64 / m as f64).ln());
        let text = exponent.map_or("-".to_owned(), |e| format!("{e:.3}"));
        println!("{n:>10} {:>10.3} {:>12.1} {text:>10}", 1e3 * best, 1e9 * best / n as f64);
        before = Some((n, best));
    }
}
