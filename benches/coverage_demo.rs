//! The demo's study, simulated over many seeds and analysed by the program: how often does the 95 % interval of each
//! amount hold the truth, with flask errors and a shared stock error in both?
//!
//! `cargo bench --bench coverage_demo` prints the share with its Monte Carlo error; `SEEDS=400` sets the number
//! (default 4,000).
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::collections::BTreeMap;
use std::time::Instant;

use rayon::prelude::*;
use vialbook::simulate::recovered_eluent;
use vialbook::study::Study;
use vialbook::trace::{Provenance, Run};

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let seeds: u64 = std::env::var("SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(4000);
    let start = Instant::now();
    // (sample, compound, quantity) → held, below the interval, above it, sum of relative u, studies.
    type Counts = BTreeMap<(String, String, String), [f64; 5]>;
    let counts = (1..=seeds)
        .into_par_iter()
        .map(|seed| {
            let scenario = recovered_eluent(seed);
            let simulated = scenario.simulate_runs().unwrap();
            let injections = simulated.iter().map(|r| r.injection.clone()).collect();
            let runs = simulated
                .into_iter()
                .map(|r| Run { name: r.name, trace: r.trace, provenance: Provenance::default() })
                .collect();
            let study = Study::from_parts(scenario.study_config().unwrap(), injections, runs).unwrap();
            let analysis = study.analyse().unwrap();
            let mut counts = Counts::new();
            for a in analysis.results().amounts.iter().filter(|a| a.kind == "sample") {
                let truth =
                    scenario.contents.iter().find(|t| t.sample == a.sample && t.compound == a.compound).unwrap();
                let truth = 100.0 * if a.unit == "% m/m" { truth.mass_fraction } else { truth.volume_fraction };
                let [low, high] = a.interval;
                let below = high.is_some_and(|h| truth > h);
                let above = low.is_some_and(|l| truth < l);
                let row = counts.entry((a.sample.clone(), a.compound.clone(), a.quantity.clone())).or_default();
                row[0] += f64::from(!below && !above);
                row[1] += f64::from(below);
                row[2] += f64::from(above);
                row[3] += a.u.unwrap_or(f64::NAN) / truth;
                row[4] += 1.0;
            }
            counts
        })
        .reduce(Counts::new, |mut all, some| {
            for (key, row) in some {
                let sum = all.entry(key).or_default();
                sum.iter_mut().zip(row).for_each(|(a, b)| *a += b);
            }
            all
        });
    println!("{seeds} simulated studies, {:.1} s", start.elapsed().as_secs_f64());
    println!(
        "{:<28} {:<20} {:<16} {:>8} {:>7} {:>11} {:>11} {:>8}",
        "sample", "compound", "quantity", "covered", "± MC", "truth above", "truth below", "mean u"
    );
    for ((sample, compound, quantity), [held, below, above, u, n]) in counts {
        let share = held / n;
        println!(
            "{sample:<28} {compound:<20} {quantity:<16} {share:>8.4} {:>7.4} {:>11.4} {:>11.4} {:>7.2}%",
            (share * (1.0 - share) / n).sqrt(),
            below / n,
            above / n,
            100.0 * u / n
        );
    }
}
