//! Rows of published tables that no other test here stands for: certified analyses of variance, errors in both, weighted line,
//! limits, open data with reported fits. Digits are printed with --nocapture.

use super::{Flask, equal_weights, found, line, number, numbers, printed, readings, reference, same, same_line};
use vialbook::calibrate::{
    CalibrationOptions, Curve, Model, NestedScatter, ResidualQuestion, Unknown, Weighting, fit_errors_in_x,
};
use vialbook::numeric::{Matrix, normal_quantile, student_t_quantile};

fn data(name: &str) -> String {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).expect("file")
}

/// Certified one-way analyses of variance (NIST StRD). Gates after the digits that exact arithmetic reaches on the inputs as
/// doubles, less half a digit, at most 10: the inputs of SmLs07 (10¹² and a step of 0.1) allow 4.4 digits of F.
#[test]
fn analyses_of_variance_reach_the_certified_values() {
    let sets = &reference("strd_anova_certified")["sets"];
    for (name, gate) in [("SiRstv", 10.0), ("AtmWtAg", 9.7), ("SmLs01", 10.0), ("SmLs04", 9.5), ("SmLs07", 3.9)] {
        let want = &sets[name];
        let mut groups: Vec<(String, Vec<f64>)> = Vec::new();
        for (group, y) in data(&format!("calibration/strd_anova_{}.csv", name.to_lowercase()))
            .lines()
            .filter_map(|l| l.split_once(','))
        {
            let Ok(y) = y.trim().parse::<f64>() else { continue };
            match groups.iter_mut().find(|g| g.0 == group) {
                Some(g) => g.1.push(y),
                None => groups.push((group.to_owned(), vec![y])),
            }
        }
        assert_eq!(groups.len() as f64, number(want, "groups"), "{name}");
        let flasks: Vec<Vec<f64>> = groups.into_iter().map(|g| g.1).collect();
        let s = NestedScatter::of(&[flasks]).expect("replicates");
        same(&format!("{name}: F"), s.f.expect("F"), number(want, "F"), gate);
        same(&format!("{name}: residual sd"), s.shot_sd.expect("sd"), number(want, "residual_sd"), gate);
        assert_eq!((s.flask_dof, s.shot_dof), (number(want, "df_between"), number(want, "df_within")), "{name}");
    }
}

#[test]
fn storage_conditions_of_miller_and_miller() {
    let file = reference("stats_anova_miller");
    let groups: Vec<Vec<f64>> = file["data"].as_array().expect("groups").iter().map(numbers).collect();
    let s = NestedScatter::of(&[groups]).expect("replicates");
    same("MS within", s.shot_sd.expect("sd").powi(2), number(&file["recomputed"], "MS_within"), 12.0);
    same("F", s.f.expect("F"), number(&file["recomputed"], "F"), 7.0);
    same("p", s.p_value.expect("p"), number(&file["recomputed"], "p"), 7.0);
    printed("F", s.f.expect("F"), number(&file["published"], "F"), 1);
}

#[test]
fn errors_in_both_of_pearson_with_the_weights_of_york() {
    let file = reference("calib_york_pearson_errors_in_both");
    let of = |key: &str| numbers(&file["data"][key]);
    let (x, y, wx, wy) = (of("x"), of("y"), of("weight_x"), of("weight_y"));
    let diagonal = |w: &[f64]| Matrix::from_fn(w.len(), w.len(), |i, j| if i == j { 1.0 / w[i] } else { 0.0 });
    let fit = fit_errors_in_x(&x, &y, &diagonal(&wx), &diagonal(&wy)).expect("line");
    let (want, published) = (&file["recomputed"], &file["published"]);
    same("intercept", fit.intercept, number(want, "intercept"), 9.0);
    same("slope", fit.slope, number(want, "slope"), 9.0);
    same("s(intercept)", fit.intercept_u(), number(want, "s_intercept"), 7.0);
    same("s(slope)", fit.slope_u(), number(want, "s_slope"), 7.0);
    same("chi squared", fit.chi_squared, number(want, "chi2"), 6.5);
    printed("intercept", fit.intercept, number(published, "intercept"), 5);
    printed("slope", fit.slope, number(published, "slope"), 6);
    // At its minimum: a step either way along the slope, intercept free, makes the sum larger.
    let sum = |b: f64| {
        let w: Vec<f64> = wx.iter().zip(&wy).map(|(wx, wy)| 1.0 / (1.0 / wy + b * b / wx)).collect();
        let a = w.iter().zip(x.iter().zip(&y)).map(|(w, (x, y))| w * (y - b * x)).sum::<f64>() / w.iter().sum::<f64>();
        w.iter().zip(x.iter().zip(&y)).map(|(w, (x, y))| w * (y - a - b * x).powi(2)).sum::<f64>()
    };
    same("sum at the minimum", sum(fit.slope), fit.chi_squared, 12.0);
    assert!(sum(fit.slope + 1e-4) > fit.chi_squared && sum(fit.slope - 1e-4) > fit.chi_squared);
}

/// With exact x it is the weighted line; a stock of 0.5 % in all contents leaves u(slope) of at least 0.5 %, however many levels.
#[test]
fn a_stock_stays_in_the_slope_whatever_the_number_of_levels() {
    let y_of = |x: f64| 1.0 + 2.0 * x;
    for n in [5_usize, 20, 80] {
        let x: Vec<f64> = (1..=n).map(|i| 10.0 * i as f64 / n as f64).collect();
        let y: Vec<f64> = x.iter().enumerate().map(|(i, &x)| y_of(x) + if i % 2 == 0 { 0.01 } else { -0.01 }).collect();
        let uy = Matrix::from_fn(n, n, |i, j| if i == j { 1e-4 } else { 0.0 });
        let ux = Matrix::from_fn(n, n, |i, j| x[i] * x[j] * 0.005 * 0.005);
        let fit = fit_errors_in_x(&x, &y, &ux, &uy).expect("line");
        assert!(fit.slope_u() / fit.slope >= 0.005, "{n} levels: {}", fit.slope_u() / fit.slope);
        let exact = fit_errors_in_x(&x, &y, &Matrix::zeros(n, n), &uy).expect("line");
        let plain = line(&x, &y, &equal_weights());
        same("slope with exact x", exact.slope, plain.slope(), 12.0);
        same("intercept with exact x", exact.intercept, plain.intercept(), 11.0);
        let unit = plain.coefficients[1].standard_error.expect("se") / plain.residual_sd.expect("s");
        same("u(slope) with exact x", exact.slope_u(), 0.01 * unit, 11.0);
    }
    let two = [1.0, 2.0];
    assert!(fit_errors_in_x(&two, &two, &Matrix::zeros(2, 2), &Matrix::zeros(2, 2)).is_err());
}

#[test]
fn weighted_line_of_miller_and_miller() {
    let file = reference("calib_miller_weighted");
    let of = |key: &str| numbers(&file["data"][key]);
    let (x, y, s) = (of("x"), of("y"), of("s"));
    let mean = s.iter().map(|s| 1.0 / (s * s)).sum::<f64>() / 6.0;
    let weights: Vec<f64> = s.iter().map(|s| 1.0 / (s * s) / mean).collect();
    let curve = line(&x, &y, &CalibrationOptions::weighted(Weighting::Known(weights)));
    let want = &file["recomputed"];
    same("slope", curve.slope(), number(want, "slope"), 9.0);
    same("intercept", curve.intercept(), number(want, "intercept"), 9.0);
    same("s(y/x)", curve.residual_sd.expect("s"), number(want, "s_yx_w"), 7.0);
    for (y0, w0, key) in [(0.1, 1.8, "0.1"), (0.6, 0.044, "0.6")] {
        let unknown = Unknown { weight: Some(w0), ..Unknown::from_flasks("sample", &[y0]) };
        let (inverse, want) = (curve.invert(&unknown).expect("inverse"), numbers(&want["x"][key]));
        same(&format!("x at {y0}"), inverse.content, want[0], 6.0);
        same(&format!("s(x) at {y0}"), inverse.u.expect("u"), want[1], 5.0);
    }
    printed("slope", curve.slope(), number(&file["published"], "slope"), 4);
    printed("intercept", curve.intercept(), number(&file["published"], "intercept"), 4);
    same_line("unweighted", &line(&x, &y, &equal_weights()), &want["unweighted"]);
}

/// As for toluene: agreement to the size of the difference between the two models.
#[test]
fn cadmium_of_rocke_and_lorenzato() {
    let want = numbers(&reference("calib_rl95_models")["recomputed_ml"]["cadmium"]);
    let flasks: Vec<Flask> = data("calibration/calib_rl95_cadmium.csv")
        .lines()
        .filter_map(|l| l.split_once(','))
        .filter_map(|(x, y)| Some((x.trim().parse::<f64>().ok()?, y.trim().parse::<f64>().ok()?)))
        .map(|(x, y)| Flask { response_u: want[2], ..Flask::reading(format!("{x}"), x, y) })
        .collect();
    let curve = Curve::fit(&flasks, &CalibrationOptions::default()).expect("fit");
    println!("{curve:?}, rho {:?}; published {want:?}", curve.rho);
    assert!((curve.slope() / want[1] - 1.0).abs() < 0.02);
    assert!((curve.rho.expect("rho") / want[3] - 1.0).abs() < 0.15);
}

/// Factors of Currie's and of 40 CFR 136, appendix B.
#[test]
fn factors_of_detection_limits() {
    let items = reference("detection_limits_formulas_examples");
    let item = |k: usize| &items["items"][k];
    let exact = &item(0)["exact"];
    let z = normal_quantile(0.95);
    same("z", z, number(exact, "z95"), 9.0);
    same("2z", 2.0 * z, number(exact, "LD_factor"), 9.0);
    same("paired critical", 2.0_f64.sqrt() * z, number(exact, "paired_LC"), 7.5);
    same("paired detection", 2.0 * 2.0_f64.sqrt() * z, number(exact, "paired_LD"), 7.5);
    for (n, t) in item(2)["t"].as_object().expect("t") {
        let dof = if n == "inf" { f64::INFINITY } else { n.parse::<f64>().expect("n") - 1.0 };
        printed(&format!("t(0.99), {n} replicates"), student_t_quantile(0.99, dof), t.as_f64().expect("t"), 3);
    }
}

/// Seven levels of real areas, three sets: concentration regressed on area with weights 1/concentration to all digits reported,
/// and the bend of two of them at the top level found, that the third does not have.
#[test]
fn seven_levels_of_open_data() {
    for (set, bends) in [("oxidized", true), ("reduced", false), ("total", true)] {
        let text = data(&format!("lc_ms_7level/areas_{set}.csv"));
        let mut rows = csv::Reader::from_reader(text.as_bytes());
        let header = rows.headers().expect("header").clone();
        let column = |name: &str| header.iter().position(|h| h == name).expect("column");
        let (kind, x, y, who) =
            (column("sample_category"), column("standard_concentration_mg_ml"), column("area"), column("sample_name"));
        // The set also lists standards of another compound, without areas.
        let (x, y): (Vec<f64>, Vec<f64>) = rows
            .records()
            .filter_map(Result::ok)
            .filter(|r| &r[kind] == "standard" && r[who].contains("Scyt"))
            .filter_map(|r| Some((r[x].parse::<f64>().ok()?, r[y].parse::<f64>().ok()?)))
            .unzip();
        assert_eq!(x.len(), 7);
        let want: serde_json::Value =
            serde_json::from_str(&data(&format!("lc_ms_7level/fit_{set}.json")).replace("NaN", "null")).expect("JSON");
        let options = CalibrationOptions {
            model: Model::InverseRegressionLine,
            ..CalibrationOptions::weighted(Weighting::Inverse)
        };
        let curve = line(&x, &y, &options);
        let c = &curve.coefficients;
        same(&format!("{set}: slope"), c[1].value, number(&want, "slope"), 14.0);
        same(&format!("{set}: intercept"), c[0].value, number(&want, "intercept"), 14.0);
        same(&format!("{set}: s(slope)"), c[1].standard_error.expect("se"), number(&want, "slope_se"), 13.5);
        same(&format!("{set}: s(intercept)"), c[0].standard_error.expect("se"), number(&want, "intercept_se"), 13.5);
        let covariance = curve.covariance.as_ref().expect("covariance")[0][1];
        same(&format!("{set}: covariance"), covariance, number(&want, "cov_intercept_slope"), 13.0);
        // A content with an interval of its own width.
        let inverse = found(&curve, &[y[3]]);
        assert!(inverse.u.is_some_and(|u| u > 0.0));
        for weighting in [Weighting::None, Weighting::Inverse] {
            let equal = weighting == Weighting::None;
            let forward = Curve::fit(&readings(&x, &y), &CalibrationOptions::weighted(weighting)).expect("fit");
            let tests = forward.residual_tests();
            let top = tests.iter().find(|t| t.question == ResidualQuestion::TopLevel).expect("test");
            println!("{set}, {}: {top}", forward.weighting.words());
            assert_eq!(top.p_value < 0.05, bends, "{set}: {top}");
            // Adjusted for the number of tests too, where the weights do not play the top level down.
            if equal {
                assert_eq!(top.p_value * (tests.len() as f64) < 0.05, bends, "{set}: {top}");
            }
        }
    }
}
