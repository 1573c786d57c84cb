//! Smoothing against exact weights; noise against what was put in.

use vialbook::Trace;
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, Gaussian};
use vialbook::signal::{BaselineMethod, SavitzkyGolay, estimate_step, savitzky_golay, savitzky_golay_weights};

use super::{correlated, minutes};

#[derive(serde::Deserialize)]
struct Sets {
    sets: Vec<Set>,
}

#[derive(serde::Deserialize)]
struct Set {
    deriv: usize,
    polynomial_degree: usize,
    points: usize,
    numerators: Vec<f64>,
    denominator: f64,
}

/// tests/data/chrom/smooth_savitzky_golay.json: exact rational arithmetic (Savitzky and Golay 1964, corrected 1972).
#[test]
fn savitzky_golay_weights_agree_with_exact_fractions() {
    let table: Sets =
        serde_json::from_str(include_str!("../../data/chrom/smooth_savitzky_golay.json")).expect("the table reads");
    assert!(table.sets.len() >= 60);
    for set in table.sets {
        let options = SavitzkyGolay::new(set.points, set.polynomial_degree).with_derivative(set.deriv);
        let weights = savitzky_golay_weights(options, 0).expect("valid");
        let largest = set.numerators.iter().fold(0.0, |m: f64, w| m.max(w.abs())) / set.denominator;
        assert_eq!(weights.len(), set.numerators.len());
        for (got, want) in weights.iter().zip(&set.numerators) {
            assert!((got - want / set.denominator).abs() < 3e-15 * largest, "{options:?}: {got}");
        }
    }
}

/// What a fit of the degree must do: a polynomial of that degree passes unchanged, ends and derivatives included.
#[test]
fn a_polynomial_passes_unchanged_from_end_to_end() {
    let value = |x: f64, d: usize| match d {
        0 => 1.0 - 2.0 * x + 0.5 * x * x - 0.03 * x * x * x,
        1 => -2.0 + x - 0.09 * x * x,
        _ => 1.0 - 0.18 * x,
    };
    let x: Vec<f64> = (0..60).map(|i| f64::from(i) * 0.25).collect();
    let y: Vec<f64> = x.iter().map(|&x| value(x, 0)).collect();
    for points in [5, 11, 59] {
        for degree in [3, 4] {
            for d in 0..3 {
                let options = SavitzkyGolay::new(points, degree).with_derivative(d);
                let smooth = savitzky_golay(&y, 0.25, options).expect("valid");
                for (got, &x) in smooth.iter().zip(&x) {
                    assert!((got - value(x, d)).abs() < 1e-8, "{options:?} at {x}: {got}");
                }
            }
        }
    }
}

#[test]
fn impossible_windows_are_refused_with_a_sentence() {
    for (options, words) in [
        (SavitzkyGolay::new(4, 2), "odd"),
        (SavitzkyGolay::new(5, 5), "more points"),
        (SavitzkyGolay::new(5, 2).with_derivative(3), "derivative"),
        (SavitzkyGolay::new(41, 13), "at most 12"),
    ] {
        assert!(savitzky_golay_weights(options, 0).expect_err("refused").to_string().contains(words));
    }
    let gap = Trace::new(vec![0.0, 0.1, 0.2, 0.3, 5.0, 5.1], vec![0.0; 6], "mV").expect("valid");
    assert!(gap.smooth(SavitzkyGolay::new(3, 1)).expect_err("a gap").to_string().contains("even"));
}

/// 40 seeded runs each, with 8 peaks and drift: mean of the estimates, and the scatter that the docs state.
#[test]
fn noise_and_its_correlation_are_found_between_peaks() {
    for (phi, sd_scatter, phi_scatter) in
        [(0.0, 0.02, 0.025), (0.5, 0.04, 0.035), (0.8, 0.06, 0.03), (0.95, 0.25, 0.02)]
    {
        let (mut sd, mut correlation) = (Vec::new(), Vec::new());
        for seed in 0..40 {
            let mut random = Random::stream(20, seed);
            let time = minutes(6_000);
            let mut y = correlated(&mut random, time.len(), 0.08, phi);
            for (t, y) in time.iter().zip(&mut y) {
                *y += 2.0 + 0.05 * t + 0.01 * t * t;
            }
            for c in [0.8, 1.2, 1.7, 2.6, 3.9, 4.2, 5.2] {
                Emg::new(3.0, c, 0.012 + 0.004 * c, 0.01).expect("valid").add_to(&time, &mut y);
            }
            let noise = Trace::new(time, y, "mV").expect("valid").noise();
            assert_eq!(noise.step, None);
            sd.push(noise.sd / 0.08);
            correlation.push(noise.autocorrelation);
        }
        let (m, s) = mean_sd(&sd);
        let (mp, sp) = mean_sd(&correlation);
        assert!((m - 1.0).abs() < 0.02 + s / 3.0 && s < sd_scatter, "phi {phi}: sd ratio {m} ± {s}");
        assert!((mp - phi).abs() < 0.02 && sp < phi_scatter, "phi {phi}: {mp} ± {sp}");
    }
}

#[test]
fn noise_never_falls_below_the_step() {
    let time = minutes(5_000);
    for (sd, is_floor) in [(0.0, true), (0.05, true), (0.2, true), (0.6, false), (2.0, false)] {
        let mut random = Random::seeded(4);
        let y: Vec<f64> = time.iter().map(|t| (sd * random.normal() + 40.0 * t).round() * 0.25).collect();
        let trace = Trace::new(time.clone(), y, "mV").expect("valid");
        let noise = trace.noise();
        assert_eq!(noise.step, Some(0.25), "sd {sd}");
        assert!(noise.sd >= 0.25 / 12_f64.sqrt());
        if !is_floor {
            // A step adds its own variance, step²/12 (W. F. Sheppard's correction).
            let want = 0.25 * (sd * sd + 1.0 / 12.0_f64).sqrt();
            assert!((noise.sd / want - 1.0).abs() < 0.06, "sd {sd}: {} for {want}", noise.sd);
        }
        let stated = trace.with_detector_limits(Some(0.5), None).noise();
        assert!(stated.step == Some(0.5) && stated.sd >= 0.5 / 12_f64.sqrt());
    }
}

#[test]
fn a_grid_is_told_from_none() {
    let mut random = Random::seeded(9);
    let free: Vec<f64> = (0..3_000).map(|_| random.normal()).collect();
    assert_eq!(estimate_step(&free), None);
    let printed: Vec<f64> = free.iter().map(|y| (y * 1e3).round() / 1e3).collect();
    assert!((estimate_step(&printed).expect("a grid") - 1e-3).abs() < 1e-12);
    assert_eq!(estimate_step(&[1.0; 100]), None);
    assert_eq!(estimate_step(&[]), None);
}

/// The expected range of n normal values: 4.09, 5.02, 6.48 σ for 30, 100, 1,000 (L. H. C. Tippett, Biometrika 17 (1925) 364).
#[test]
fn peak_to_peak_is_the_range_of_its_window() {
    let mut random = Random::seeded(11);
    for (n, want) in [(100_usize, 5.02), (1_000, 6.48)] {
        let mut sum = 0.0;
        for _ in 0..200 {
            let time: Vec<f64> = (0..n).map(|i| i as f64 * 0.01).collect();
            let y: Vec<f64> = time.iter().map(|t| 5.0 * t + random.normal()).collect();
            let noise = Trace::new(time.clone(), y, "mV").expect("valid").noise_between(0.0, 1e9).expect("enough");
            sum += noise.peak_to_peak / 200.0;
        }
        assert!((sum / want - 1.0).abs() < 0.05, "{n}: {sum}");
    }
}

#[test]
fn the_run_baseline_follows_drift_and_not_peaks() {
    let time = minutes(8_000);
    let drift = |t: f64| 5.0 + 0.8 * t + 3.0 / (1.0 + libm::exp(-(t - 4.0)));
    let mut random = Random::seeded(2);
    let mut y: Vec<f64> = time.iter().map(|&t| drift(t) + 0.05 * random.normal()).collect();
    for c in [1.0, 1.15, 3.0, 4.5, 6.0] {
        Gaussian::new(2.0, c, 0.03).expect("valid").add_to(&time, &mut y);
    }
    let baseline =
        Trace::new(time.clone(), y, "mV").expect("valid").baseline(&BaselineMethod::default()).expect("valid");
    for (t, b) in time.iter().zip(baseline.line.signal()) {
        assert!((b - drift(*t)).abs() < 0.1, "at {t}: {b} for {}", drift(*t));
    }
}

#[test]
fn short_and_constant_signals_do_no_harm() {
    for y in [vec![1.0, 1.0], vec![0.0; 50], vec![3.0, 5.0, 4.0]] {
        let time: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
        let trace = Trace::new(time, y, "mV").expect("valid");
        let noise = trace.noise();
        assert!(noise.sd.is_finite() && noise.sd > 0.0 && noise.peak_to_peak.is_finite());
        assert_eq!(trace.baseline(&BaselineMethod::default()).expect("valid").line.len(), trace.len());
        assert!(trace.noise_between(0.0, 1.0).is_err());
    }
}

pub(crate) fn mean_sd(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let sum: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    (mean, (sum / (n - 1.0)).sqrt())
}
