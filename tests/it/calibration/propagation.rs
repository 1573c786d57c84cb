//! Propagation of distributions, and limits by other rules.

use super::{equal_weights, line, number, numbers, reference, same};
use vialbook::calibrate::{
    CalibrationOptions, Curve, Flask, Model, SharedSource, Unknown, Weighting, blank_limits, method_detection_limit,
};
use vialbook::numeric::{chi_squared_quantile, student_t_quantile};
use vialbook::quantify::MonteCarloOptions;

fn standards() -> Vec<Flask> {
    let off = [0.01, -0.01, 0.004, -0.012, 0.009, 0.002, -0.006, 0.011, -0.003, -0.008];
    (0..10)
        .map(|i| (10.0 * f64::from(i / 2 + 1), off[i as usize]))
        .map(|(x, off)| Flask { response_u: 0.05, ..Flask::reading(format!("S{x}"), x, 2.0 + x * (1.0 + off)) })
        .collect()
}

fn options(trials: usize) -> MonteCarloOptions {
    MonteCarloOptions { trials, ..MonteCarloOptions::default() }
}

/// The pivot's interval is Fieller's; drawing response and coefficients gives the same ends to the error of the draws.
#[test]
fn trials_agree_with_the_pivot() {
    let unknown = Unknown { response_u: 0.05, ..Unknown::from_flasks("A", &[37.0, 37.3, 36.8]) };
    for (model, weighting) in
        [(Model::Line, Weighting::TwoPart), (Model::Line, Weighting::None), (Model::Quadratic, Weighting::TwoPart)]
    {
        let o = CalibrationOptions { model, ..CalibrationOptions::weighted(weighting) };
        let found = Curve::fit(&standards(), &o).expect("fit").invert(&unknown).expect("inverse");
        let found = found.scaled(10.0, &[]).expect("scaled");
        let trials = found.monte_carlo(&options(400_000)).expect("trials");
        let [low, high] = found.interval.map(|x| x.expect("closed"));
        let u = found.u.expect("u");
        println!("{model:?}: {low:.4} to {high:.4}; {trials}");
        // Ends of 400,000 draws scatter by about 0.5 % of u; Welch and Satterthwaite is itself good to a few percent.
        let slack = 0.05 * u;
        assert!((trials.interval[0] - low).abs() < slack && (trials.interval[1] - high).abs() < slack, "{model:?}");
        assert!((trials.mean - found.content).abs() < 0.02 * u);
        // A shared source of 1 % adds its square to that of the trials.
        let wider = found.scaled(1.0, &[SharedSource::new("dilution", 0.01)]).expect("scaled");
        let wider = wider.monte_carlo(&options(400_000)).expect("trials").sd;
        let want = trials.sd.hypot(0.01 * found.content);
        assert!((wider / want - 1.0).abs() < 0.01, "{model:?}: {wider} instead of {want}");
    }
}

/// JCGM 101:2008, 9.2.2: a sum of normal quantities keeps the linear interval. Here the response's known noise rules and
/// the line is as good as exact: ± 1.96 u.
#[test]
fn a_linear_budget_is_good_enough_and_a_wide_quotient_is_not() {
    let exact: Vec<Flask> = (0..10)
        .map(|i| (f64::from(i), if i % 2 == 0 { 1e-5 } else { -1e-5 }))
        .map(|(x, off)| Flask { response_u: 1e-5, ..Flask::reading(format!("S{x}"), x, 2.0 + 3.0 * x + off) })
        .collect();
    let unknown = Unknown { response_u: 0.3, ..Unknown::from_flasks("A", &[17.0]) };
    let known = Curve::fit(&exact, &CalibrationOptions::default()).expect("fit").invert(&unknown).expect("inverse");
    let narrow = known.monte_carlo(&options(1_000_000)).expect("trials");
    assert!(narrow.linear_is_good() && narrow.to_string().contains("is good enough"), "{narrow}");
    // The ends themselves: 5 ± 1.95996 × 0.1, to 5 errors of the draws.
    assert!((narrow.interval[1] - 5.195_996).abs() < 0.002 && (narrow.interval[0] - 4.804_004).abs() < 0.002);
    let few: Vec<Flask> = [(1.0, 1.3), (1.0, 0.8), (2.0, 2.3), (2.0, 1.6), (3.0, 3.4), (3.0, 2.7)]
        .map(|(x, y)| Flask::reading("S", x, y))
        .into();
    let wide = Curve::fit(&few, &equal_weights())
        .expect("fit")
        .invert(&Unknown::from_flasks("A", &[5.0, 5.2]))
        .expect("inverse");
    let trials = wide.monte_carlo(&options(200_000)).expect("trials");
    assert!(!trials.linear_is_good(), "{trials}");
}

/// The same bytes from the same seed, whatever the number of threads.
#[test]
fn trials_do_not_depend_on_threads() {
    let unknown = Unknown { response_u: 0.05, ..Unknown::from_flasks("A", &[37.0, 37.3, 36.8]) };
    let found =
        Curve::fit(&standards(), &CalibrationOptions::default()).expect("fit").invert(&unknown).expect("inverse");
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| found.monte_carlo(&options(100_000)).expect("trials"))
    };
    let (one, three) = (with(1), with(3));
    let bits = |m: vialbook::quantify::MonteCarlo| [m.mean, m.sd, m.interval[0], m.interval[1]].map(f64::to_bits);
    assert_eq!(bits(one), bits(three));
    assert!(found.monte_carlo(&options(100)).is_err());
}

#[test]
fn limits_of_din_32645_to_its_own_digits() {
    let file = reference("detection_din32645");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    let (found, want) = (curve.limits_din_32645(0.01, 3.0, 1).expect("limits"), &file["recomputed"]);
    same("critical", found.critical, number(want, "critical_value"), 7.0);
    same("detection", found.detection, number(want, "minimum_detectable"), 7.0);
    same("quantitation", found.quantitation, number(want, "quantification"), 4.5);
    let two_part = Curve::fit(&standards(), &CalibrationOptions::default()).expect("fit");
    assert!(two_part.limits_din_32645(0.01, 3.0, 1).is_err());
    assert!(curve.limits_din_32645(0.7, 3.0, 1).is_err());
}

/// 40 CFR 136, appendix B: t of 7 replicates 3.143, factors of the 95 % range 0.64 and 2.20.
#[test]
fn method_detection_limits() {
    let seven = [1.9, 2.3, 2.1, 1.8, 2.2, 2.4, 2.0];
    let found = method_detection_limit(&seven).expect("limit");
    assert!((found.limit / found.sd - 3.143).abs() < 5e-4);
    assert!(
        (found.range[0] / found.limit - 0.6444).abs() < 1e-4 && (found.range[1] / found.limit - 2.202).abs() < 1e-3
    );
    same("range", found.range[1] / found.limit, (6.0 / chi_squared_quantile(0.025, 6.0)).sqrt(), 13.0);
    assert!(method_detection_limit(&seven[..6]).is_err() && blank_limits(&[0.0; 8]).is_err());
    // What the note on s from 10 blanks says: P(t₉ > 3/√(1 + 1/10)).
    let exceeds = vialbook::numeric::student_t_sf(3.0 / 1.1_f64.sqrt(), 9.0);
    assert!((exceeds - 0.0095).abs() < 5e-4, "{exceeds}");
    assert!(student_t_quantile(0.99, 6.0) > 3.0);
}
