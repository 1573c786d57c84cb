//! Names on simulated sequences: wrong and missing names, calibration of probabilities, time; each with its Monte Carlo
//! error.
//!
//! `cargo bench --bench naming`; `SEEDS=50` shortens it (default 500 studies a row).
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::time::Instant;

use vialbook::identify::{Naming, ReferenceTime};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::PeakList;

#[allow(dead_code)]
#[path = "../tests/it/identify/sequences.rs"]
mod sequences;

use sequences::{Bench, Bins, Score, TIMES_S, USUAL, WIDTH_S, hard, name, options, programme, run, score};

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let seeds = std::env::var("SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(500);
    rates(seeds);
    calibration(seeds);
    speed();
}

fn rates(seeds: u64) {
    println!("12 compounds, pairs at resolution 1.2 (4.3 s apart, {WIDTH_S} s wide), scatter 0.3 s, offsets to ± 3 s,");
    println!("3 % missing, 0 to 4 foreign peaks; {seeds} studies of 10 standards, references learnt, 20 runs named.");
    println!("wanted: at most 1 wrong and 10 unnamed in 1,000");
    println!("{:<34} {:>16} {:>16} {:>16}", "", "wrong / 1000", "of them foreign", "unnamed / 1000");
    let usual = USUAL;
    for (what, bench) in [
        ("button starts the recording", usual),
        ("the same, drift to 3 %", Bench { drift: 0.03, ..usual }),
        ("button starts oven and recording", Bench { oven: true, ..usual }),
        ("the same, drift to 3 %", Bench { oven: true, drift: 0.03, ..usual }),
        ("no offset, no drift", Bench { offset_s: 0.0, ..usual }),
        ("8 % missing, 0 to 6 foreign", Bench { missing: [0.08, 0.08], foreign: [6, 6], ..usual }),
    ] {
        let s = score(&bench, seeds, 20, 61);
        let per = |n: usize| 1000.0 * n as f64 / s.there as f64;
        let error = |n: usize| 1000.0 * (n.max(1) as f64).sqrt() / s.there as f64;
        let cell = |n: usize| format!("{:.2} ± {:.2}", per(n), error(n));
        println!("{what:<34} {:>16} {:>16} {:>16}", cell(s.wrong), cell(s.foreign), cell(s.unnamed));
    }
}

fn calibration(seeds: u64) {
    println!("\nprobabilities: stated, observed less stated ± Monte Carlo error (number); bins of 600 and more");
    println!("scatter 0.28 of the pairs' distance, 15 % missing, 0 to 8 foreign peaks; references learnt");
    println!("wanted: within ± 0.03 where the scatter is that of the standards");
    for factor in [1.0, 1.5] {
        // Resolutions together, as rule and gate have them.
        let mut all: Vec<Score> = Vec::new();
        for resolution in [0.6, 0.9, 1.2] {
            all.push(score(&hard(resolution, factor), seeds / 2, 20, 62));
        }
        let logs: Vec<String> = all.iter().map(|s| format!("{:.3}", s.mean_log_score())).collect();
        println!("scatter {factor} x the standards'; log score at resolution 0.6, 0.9, 1.2: {}", logs.join(", "));
        for (what, pick) in [
            ("pairs", (|s: &Score| s.pairs) as fn(&Score) -> Bins),
            ("none", |s: &Score| s.none),
            ("extra", |s: &Score| s.extra),
        ] {
            let mut bins: Bins = Default::default();
            for s in &all {
                for (b, other) in bins.iter_mut().zip(pick(s)) {
                    *b = (b.0 + other.0, b.1 + other.1, b.2 + other.2);
                }
            }
            print!("  {what:<6}");
            for (stated, off, error, n) in Score::off(&bins, 600) {
                print!(" {stated:.2}: {off:+.3} ± {error:.3} ({n});");
            }
            println!();
        }
    }
}

fn speed() {
    println!("\ntime to name 12 compounds in 1,000 runs, one thread; wanted: below 100 ms");
    let programme = programme();
    let shares: Vec<f64> = TIMES_S.iter().map(|t| programme.late_start_share(t / 60.0)).collect();
    for (what, bench) in [
        ("common offset", USUAL),
        ("drift to 3 %", Bench { drift: 0.03, ..USUAL }),
        ("oven and recording", Bench { oven: true, ..USUAL }),
    ] {
        let mut random = Random::seeded(63);
        let runs: Vec<PeakList> = (0..1000).map(|_| run(&bench, false, &shares, &mut random).0).collect();
        let references: Vec<ReferenceTime> = (0..12)
            .map(|k| ReferenceTime {
                compound: name(k),
                time_min: TIMES_S[k] / 60.0,
                scatter_min: 0.3 / 60.0,
                half_width_min: 1.8 / 60.0,
                width_half_min: Some(WIDTH_S / 60.0),
                runs: 10,
                late_start_share: bench.oven.then(|| shares[k]),
            })
            .collect();
        let options: Naming = options(&bench);
        let best = (0..5)
            .map(|_| {
                let start = Instant::now();
                let names: usize = runs.iter().map(|l| l.identify(&references, &options).unwrap().peaks.len()).sum();
                assert!(names > 10_000);
                start.elapsed().as_secs_f64()
            })
            .fold(f64::INFINITY, f64::min);
        println!("{what:<22} {:>6.0} ms", 1000.0 * best);
    }
}
