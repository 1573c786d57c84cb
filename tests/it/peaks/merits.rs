//! Figures of merit against exact tables.

use vialbook::Trace;
use vialbook::peaks::{Conditions, Detect, foley_dorsey};
use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, Gaussian};

use super::{emg_table, numbers};

/// tests/data/chrom/chrom_foley_dorsey_errors.csv, every row: the published estimators on exact profiles err by what the
/// table says (J. P. Foley and J. G. Dorsey, Analytical Chemistry 55 (1983) 730-737; errors by exact mathematics).
#[test]
fn every_row_of_the_estimators_errors_is_met() {
    let mut rows = 0;
    for row in numbers(include_str!("../../data/chrom/chrom_foley_dorsey_errors.csv")) {
        let tau = row[0];
        let table = emg_table();
        let exact = table.iter().find(|e| e.tau == tau).expect("the same shapes");
        // The Gaussian's own asymmetry is 1, below which nothing is said.
        let found = foley_dorsey(100.0 + exact.apex, exact.width_tenth, exact.asymmetry).expect("tailing");
        let variance = 1.0 + tau * tau;
        let close = |got: f64, want: f64, what: &str| {
            assert!((got - want).abs() < 2e-4 * (1.0 + want.abs()), "tau {tau}: {what} errs by {got}, table {want}");
        };
        close(100.0 * (found.sigma_min - 1.0), row[2], "sigma");
        close(100.0 * (found.variance_min2 / variance - 1.0), row[3], "variance");
        if row[4].is_finite() {
            close(100.0 * (found.tau_min.expect("a tail") / tau - 1.0), row[4], "tau");
        }
        close(found.centre_min - 100.0, row[5], "centre");
        // N judged through its implied variance tR²/N.
        let implied = (100.0 + exact.apex).powi(2) / found.plates;
        close(100.0 * (variance / implied - 1.0), row[6], "plates");
        rows += 1;
    }
    assert_eq!(rows, 12);
}

/// chrom_emg_shape_exact.csv: base width between inflection tangents and moments of exact profiles. With 40 points per
/// half-height width the tangents are met to 2e-3 for all tails.
#[test]
fn tangents_and_moments_are_the_exact_profiles() {
    let tangents = numbers(include_str!("../../data/chrom/chrom_emg_shape_exact.csv"));
    for (row, exact) in emg_table().iter().zip(&tangents) {
        let step = row.width_half / 40.0;
        let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * step).collect();
        let centre = 0.4 * time[2999];
        let mut signal = vec![0.3; 3000];
        Emg::new(100.0, centre, 1.0, row.tau).expect("valid").add_to(&time, &mut signal);
        let list = Trace::new(time, signal, "mV").expect("even times").find_peaks(&Detect::default()).expect("peaks");
        let m = list.merits(&Conditions { is_isothermal: true, hold_up_min: None }).expect("a trace")[0];
        let tangent = m.width_tangent_min.expect("two flanks");
        assert!((tangent / exact[15] - 1.0).abs() < 2e-3, "tau {}: {tangent} for {}", row.tau, exact[15]);
        let variance = 1.0 + row.tau * row.tau;
        assert!((m.mean_min.expect("moments") - centre - row.tau).abs() < 2e-3, "tau {}: {:?}", row.tau, m.mean_min);
        assert!(
            (m.variance_min2.expect("moments") / variance - 1.0).abs() < 5e-3,
            "tau {}: {:?}",
            row.tau,
            m.variance_min2
        );
        assert!((m.skewness.expect("moments") - row.skew).abs() < 0.06, "tau {}: {:?}", row.tau, m.skewness);
        let t = centre + row.apex;
        assert!((m.plates_tangent.expect("isothermal") / (16.0 * (t / exact[15]).powi(2)) - 1.0).abs() < 5e-3);
        assert_eq!(m.retention_factor, None);
    }
}

/// Two Gaussians: resolution by tangents is Δt/(4σ); Kaiser's valley from the profiles themselves; all that asks for one
/// temperature is missing under a ramp.
#[test]
fn pairs_and_ramps_are_told() {
    let time: Vec<f64> = (0..6000).map(|i| f64::from(i) * 0.01).collect();
    let peaks = [Gaussian::new(10.0, 25.0, 1.0).expect("valid"), Gaussian::new(4.0, 29.0, 1.0).expect("valid")];
    let mut signal = vec![0.0; time.len()];
    peaks.iter().for_each(|p| p.add_to(&time, &mut signal));
    let both = |t: f64| peaks.iter().map(|p| p.value(t)).sum::<f64>();
    let list = Trace::new(time, signal, "mV").expect("even times").find_peaks(&Detect::default()).expect("peaks");
    let at = |hold: Option<f64>, still: bool| {
        list.merits(&Conditions { is_isothermal: still, hold_up_min: hold }).expect("a trace")[1]
    };
    let m = at(Some(5.0), true);
    assert!((m.retention_factor.expect("known") - (m.retention_time_min - 5.0) / 5.0).abs() < 1e-12);
    let fine = |from: f64, to: f64| (0..=40_000).map(move |i| from + (to - from) * f64::from(i) / 40_000.0);
    let top = |from: f64, to: f64| fine(from, to).max_by(|a, b| both(*a).total_cmp(&both(*b))).expect("points");
    let (a, b) = (top(24.0, 26.0), top(28.0, 30.0));
    let v = fine(a, b).min_by(|a, b| both(*a).total_cmp(&both(*b))).expect("points");
    let line = both(a) + (both(b) - both(a)) * (v - a) / (b - a);
    let kaiser = m.kaiser_valley.expect("a valley");
    assert!((kaiser - (line - both(v)) / line).abs() < 1e-3, "{kaiser}");
    let ramp = at(Some(5.0), false);
    assert_eq!((ramp.plates_half_height, ramp.plates_tangent, ramp.retention_factor), (None, None, None));
    assert_eq!((ramp.plates_moments, ramp.plates_foley_dorsey), (None, None));
    assert_eq!(ramp.kaiser_valley, m.kaiser_valley);
    // Tangents of the sum of both profiles, by differences: a neighbour's foot moves them.
    let slope = |t: f64| (both(t + 1e-4) - both(t - 1e-4)) / 2e-4;
    let foot = |t: f64| t - both(t) / slope(t);
    let steepest = |from: f64, to: f64| fine(from, to).max_by(|a, b| slope(*a).abs().total_cmp(&slope(*b).abs()));
    let wide = |from: f64, apex: f64, to: f64| {
        foot(steepest(apex, to).expect("points")) - foot(steepest(from, apex).expect("points"))
    };
    let exact = 2.0 * (b - a) / (wide(a - 3.0, a, v) + wide(v, b, b + 3.0));
    assert!((m.resolution_tangent.expect("two") / exact - 1.0).abs() < 3e-3, "{:?} for {exact}", m.resolution_tangent);
}
