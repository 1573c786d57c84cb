//! A calibration of 30 points with all its diagnostics, and 10⁶ trials of a budget of 12 terms, side by side with
//! statsmodels and NumPy in the same run.
//!
//! `cargo bench --bench calibration` prints times and ratios. The first time it makes a Python environment with the
//! pinned versions of `benches/peer/requirements.txt`.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::hint::black_box;
use std::time::Instant;

use vialbook::calibrate::{CalibrationOptions, Curve, Flask, SharedSource, Unknown, Weighting};
use vialbook::numeric::Xoshiro256PlusPlus;
use vialbook::quantify::MonteCarloOptions;

#[path = "peer/mod.rs"]
mod peer;

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let flasks = |noise: f64, seed: u64| -> Vec<Flask> {
        let mut random = Xoshiro256PlusPlus::seeded(seed);
        (0..30)
            .map(|i| f64::from(i / 3 + 1))
            .map(|x| (x, 3.0 + 2.0 * x + 0.1 * random.normal()))
            .map(|(x, y)| Flask { response_u: noise, ..Flask::reading("S", x, y) })
            .collect()
    };
    let unknown = Unknown { response_u: 0.02, ..Unknown::from_flasks("A", &[12.9, 13.1, 13.0]) };
    let whole = |flasks: &[Flask], weighting: Weighting| {
        let curve = Curve::fit(flasks, &CalibrationOptions::weighted(weighting)).unwrap();
        (curve.residual_tests(), curve.invert(&unknown).unwrap(), curve)
    };
    let equal = flasks(0.0, 1);
    let start = Instant::now();
    black_box(whole(&equal, Weighting::None));
    let first = start.elapsed().as_secs_f64();
    let cached = seconds(500, || {
        black_box(whole(&equal, Weighting::None));
    });
    // Other responses, the same design.
    let other = flasks(0.0, 2);
    let start = Instant::now();
    black_box(whole(&other, Weighting::None));
    let second = start.elapsed().as_secs_f64();
    let fit = seconds(500, || {
        black_box(Curve::fit(&equal, &CalibrationOptions::weighted(Weighting::None)).unwrap());
    });
    let two_part = flasks(0.02, 1);
    let two = seconds(200, || {
        black_box(whole(&two_part, Weighting::TwoPart));
    });

    let shared = [0.01, 0.004, 0.005, 0.002, 0.003, 0.001].map(|u| SharedSource::new("shared", u)).to_vec();
    let options = CalibrationOptions { shared, ..CalibrationOptions::default() };
    let found = Curve::fit(&two_part, &options).unwrap().invert(&unknown).unwrap();
    let trials = seconds(3, || {
        black_box(found.monte_carlo(&MonteCarloOptions::default()).unwrap());
    });

    let told = peer::json(&peer::environment(), "calibration.py", &[]);
    let peer = |key: &str| told[key].as_f64().unwrap();

    println!("calibration of 30 points: fit, lack of fit, five residual tests, Cook's distance, inverse prediction");
    println!("{:<58} {:>12} {:>12} {:>7}", "", "peer / µs", "ours / µs", "ratio");
    let line = |name: &str, theirs: Option<f64>, ours: f64| {
        let (t, r) =
            theirs.map_or(("".to_owned(), "".to_owned()), |t| (format!("{:.1}", 1e6 * t), format!("{:.1}", t / ours)));
        println!("{name:<58} {t:>12} {:>12.1} {r:>7}", 1e6 * ours);
    };
    line("equal weights, null of the design kept", Some(peer("calibration_s")), cached);
    line("equal weights, first time (null drawn)", None, first);
    line("equal weights, other responses on the same design", None, second);
    line("two-part variance, null kept", None, two);
    line("the fit alone", None, fit);
    println!("Monte Carlo: 10⁶ trials of 12 terms, {} threads", rayon::current_num_threads());
    line("response, coefficients, six shared sources; both ends", Some(peer("monte_carlo_s")), trials);
}

/// Median over 3 rounds of the time of one call.
fn seconds(times: usize, mut work: impl FnMut()) -> f64 {
    work();
    let mut rounds: Vec<f64> = (0..3)
        .map(|_| {
            let start = Instant::now();
            (0..times).for_each(|_| work());
            start.elapsed().as_secs_f64() / times as f64
        })
        .collect();
    rounds.sort_by(f64::total_cmp);
    rounds[1]
}
