//! Curves that bend, and weights, against certified values and closed forms.

use super::{equal_weights, found, line, readings, same};
use vialbook::calibrate::{
    CalibrationOptions, Curve, CurveNote, Flask, InverseNote, LimitOptions, Model, Unknown, Weighting,
};

fn pairs(name: &str) -> (Vec<f64>, Vec<f64>) {
    let path = format!("{}/tests/data/calibration/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let rows = text.lines().filter_map(|l| l.split_once(','));
    rows.filter_map(|(y, x)| Some((x.parse::<f64>().ok()?, y.parse::<f64>().ok()?))).unzip()
}

fn with(model: Model, weighting: Weighting) -> CalibrationOptions {
    CalibrationOptions { model, ..CalibrationOptions::weighted(weighting) }
}

/// Certified: NIST StRD, Pontius (quadratic, 40 points).
#[test]
fn pontius_of_the_certified_sets() {
    let (x, y) = pairs("strd_linear_pontius");
    assert_eq!(x.len(), 40);
    let curve = line(&x, &y, &with(Model::Quadratic, Weighting::None));
    let want = [
        ("intercept", 0.673565789473684e-03, 0.107938612033077e-03),
        ("slope", 0.732059160401003e-06, 0.157817399981659e-09),
        ("curvature", -0.316081871345029e-14, 0.486652849992036e-16),
    ];
    for (c, (name, value, se)) in curve.coefficients.iter().zip(want) {
        assert_eq!(c.name, name);
        same(name, c.value, value, 12.0);
        same(&format!("s({name})"), c.standard_error.expect("se"), se, 10.0);
    }
    same("s", curve.residual_sd.expect("s"), 0.205177424076185e-03, 12.0);
    same("r squared", curve.r_squared.expect("r squared"), 0.999999900178537, 14.0);
    assert_eq!(curve.dof, 37.0);
    // There and back: the content of a fitted response.
    for content in [1.5e5, 1.6e6, 3.0e6] {
        let back = found(&curve, &[curve.predict(content)]);
        same("content", back.content, content, 11.0);
        let [low, high] = back.interval.map(|x| x.expect("closed"));
        assert!(low < content && content < high);
    }
}

/// At the ends of the interval |y₀ - f| = t·√V by definition, written out here from the covariance of the fit.
#[test]
fn ends_of_a_quadratics_interval_solve_its_equation() {
    let x = [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0, 5.0, 5.0];
    let y = [10.1, 9.9, 18.9, 19.1, 26.7, 27.2, 34.3, 33.9, 40.2, 39.8];
    let curve = line(&x, &y, &with(Model::Quadratic, Weighting::None));
    let inverse = found(&curve, &[30.0]);
    let s = curve.residual_sd.expect("s");
    let t = vialbook::numeric::student_t_quantile(0.975, 7.0);
    let c = curve.covariance.as_ref().expect("covariance");
    for end in inverse.interval.map(|x| x.expect("closed")) {
        let g = [1.0, end, end * end];
        let line: f64 = (0..3).flat_map(|i| (0..3).map(move |k| (i, k))).map(|(i, k)| g[i] * c[i][k] * g[k]).sum();
        same("|y - f|", (30.0 - curve.predict(end)).abs(), t * (s * s + line).sqrt(), 9.0);
    }
    assert!(inverse.u.is_some());
    same("s", inverse.pooled_sd.expect("s"), s, 12.0);
}

#[test]
fn a_response_beyond_the_turn_gets_no_uncertainty() {
    let x: Vec<f64> = (0..12).map(|i| 1.0 + f64::from(i / 2)).collect();
    let y: Vec<f64> = x.iter().enumerate().map(|(i, x)| x * (10.0 - x) + if i % 2 == 0 { 0.1 } else { -0.1 }).collect();
    let curve = line(&x, &y, &with(Model::Quadratic, Weighting::None));
    assert!(curve.notes.iter().any(|n| matches!(n, CurveNote::TurnsInRange { at } if (at - 5.0).abs() < 0.1)));
    let beyond = found(&curve, &[27.0]);
    assert!(beyond.u.is_none() && beyond.interval == [None, None] && (beyond.content - 5.0).abs() < 0.1);
    assert!(beyond.notes.iter().any(|n| matches!(n, InverseNote::NotReached { .. })));
    let near = found(&curve, &[24.9]);
    assert!(near.interval[0].is_some() && near.interval[1].is_none(), "{:?}", near.interval);
    let few = readings(&[1.0, 2.0, 3.0, 4.0], &[1.0, 2.0, 3.0, 4.1]);
    let refused = Curve::fit(&few, &with(Model::Quadratic, Weighting::None)).expect_err("4 levels");
    assert!(refused.to_string().contains("at least 5"), "{refused}");
}

/// Weights 1/x through zero: the slope is Σy/Σx; 1/x²: the mean of y/x. (Both by differentiation of Σw(y - bx)².)
#[test]
fn weights_have_their_closed_forms() {
    let (x, y) = ([1.0, 2.0, 5.0, 9.0], [2.1, 3.9, 10.3, 17.8]);
    let ratio = y.iter().sum::<f64>() / x.iter().sum::<f64>();
    same("1/x", line(&x, &y, &with(Model::ThroughZero, Weighting::Inverse)).slope(), ratio, 14.0);
    let mean = x.iter().zip(&y).map(|(x, y)| y / x).sum::<f64>() / 4.0;
    same("1/x²", line(&x, &y, &with(Model::ThroughZero, Weighting::InverseSquare)).slope(), mean, 14.0);
    // Through zero 1/y with y the fitted response b·x is 1/x.
    same("1/y", line(&x, &y, &with(Model::ThroughZero, Weighting::InverseResponse)).slope(), ratio, 14.0);
}

/// Two levels of ten flasks: weights 1/s² change nothing about the line through two means, but give each level its own
/// standard error.
#[test]
fn replicate_weights_need_ten_flasks() {
    let off = [-3.0, -2.0, -1.0, -1.0, 0.0, 0.0, 1.0, 1.0, 2.0, 3.0];
    let flasks = |n: usize| -> Vec<Flask> {
        let low = off.iter().take(n).map(|d| Flask::reading("low", 1.0, 10.0 + 0.1 * d));
        low.chain(off.iter().take(n).map(|d| Flask::reading("high", 5.0, 50.0 + 0.5 * d))).collect()
    };
    let options = with(Model::Line, Weighting::Replicates);
    let curve = Curve::fit(&flasks(10), &options).expect("fit");
    same("slope", curve.slope(), 10.0, 14.0);
    // s² = 30/9 times 0.01 and 0.25; var(b) = φ·(s₁² + s₂²)/10/16 with φ = 18/18.
    let want = (30.0 / 9.0 * 0.26 / 160.0_f64).sqrt();
    same("s(slope)", curve.coefficients[1].standard_error.expect("se"), want, 13.0);
    assert!(Curve::fit(&flasks(9), &options).expect_err("nine").to_string().contains("rest on 9 flasks"));
    let low = curve.invert(&Unknown::from_flasks("A", &[10.0; 2])).expect("inverse").u.expect("u");
    let high = curve.invert(&Unknown::from_flasks("A", &[50.0; 2])).expect("inverse").u.expect("u");
    assert!(high > 4.0 * low, "{low} and {high}");
}

/// y = 3·x^0.6 with equal relative offsets: the logarithms are exact, and both ways of fitting agree on exact data.
#[test]
fn power_laws_find_their_exponent() {
    let x = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0];
    let exact: Vec<f64> = x.iter().map(|x: &f64| 3.0 * x.powf(0.6)).collect();
    let y: Vec<f64> = exact.iter().zip([1.02, 0.98, 1.01, 0.99, 1.02, 0.98]).map(|(y, r)| y * r).collect();
    for model in [Model::PowerLaw, Model::LogLog] {
        let curve = line(&x, &exact, &with(model, Weighting::None));
        same(model.words(), curve.coefficients[1].value, 0.6, 12.0);
        same("response at 3", curve.predict(3.0), 3.0 * 3.0_f64.powf(0.6), 12.0);
        let curve = line(&x, &y, &with(model, Weighting::TwoPart));
        let back = found(&curve, &[curve.predict(3.0), curve.predict(3.0)]);
        same("content", back.content, 3.0, 12.0);
        assert!(back.interval[0].expect("low") < 3.0 && back.interval[1].expect("high") > 3.0);
    }
    // The slope of the logarithms, by the textbook formula.
    let (lx, ly): (Vec<f64>, Vec<f64>) = x.iter().zip(&y).map(|(x, y)| (x.ln(), y.ln())).unzip();
    let (mx, my) = (lx.iter().sum::<f64>() / 6.0, ly.iter().sum::<f64>() / 6.0);
    let sxy: f64 = lx.iter().zip(&ly).map(|(x, y)| (x - mx) * (y - my)).sum();
    let sxx: f64 = lx.iter().map(|x| (x - mx) * (x - mx)).sum();
    same("exponent", line(&x, &y, &with(Model::LogLog, Weighting::None)).coefficients[1].value, sxy / sxx, 13.0);
    let logs = line(&x, &y, &with(Model::LogLog, Weighting::None));
    assert!(logs.limits(&LimitOptions::default()).is_err());
    assert!(logs.invert(&Unknown::from_flasks("A", &[-1.0])).is_err());
    let zero = readings(&[0.0, 1.0, 2.0, 3.0], &[0.1, 1.0, 2.0, 3.0]);
    assert!(Curve::fit(&zero, &with(Model::LogLog, Weighting::None)).is_err());
    assert!(Curve::fit(&zero, &with(Model::PowerLaw, Weighting::None)).is_ok());
    assert!(line(&x, &y, &equal_weights()).limits(&LimitOptions::default()).is_ok());
}

/// A straight line fitted as a quadratic has nearly the line's limits; its own are wider.
#[test]
fn limits_of_a_quadratic() {
    let x: Vec<f64> = (0..12).map(|i| f64::from(i / 2)).collect();
    let y: Vec<f64> = x.iter().enumerate().map(|(i, x)| 10.0 * x + if i % 2 == 0 { 0.3 } else { -0.3 }).collect();
    let straight = line(&x, &y, &equal_weights()).limits(&LimitOptions::default()).expect("limits");
    let curve = line(&x, &y, &with(Model::Quadratic, Weighting::None));
    let bent = curve.limits(&LimitOptions::default()).expect("limits");
    let ratio = bent.detection_limit.expect("limit") / straight.detection_limit.expect("limit");
    assert!((1.0..2.0).contains(&ratio), "{ratio}");
    let q = bent.quantitation_limit.expect("limit");
    let u = curve.invert(&Unknown::from_flasks("A", &[curve.predict(q); 3])).expect("inverse");
    // Three equal flasks have no scatter of their own: s is pooled over 9 + 2 instead of 9.
    same("relative u at the quantitation limit", u.u.expect("u") / q, 0.1 * (9.0_f64 / 11.0).sqrt(), 9.0);
}
