//! Calibration and quantification against published worked examples, and against simulation.
//!
//! Textbooks treat every reading as independent, so here each reading stands for a flask. Where a book takes s from
//! the line alone and the sample's own scatter is pooled here, figures are compared at the same s: u is
//! proportional to it.
#![allow(clippy::print_stdout)] // the tables of digits are what these tests are for; shown with --nocapture

use serde_json::Value;
use vialbook::calibrate::{
    CalibrationOptions, Curve, Flask, Inverse, LimitOptions, Model, NestedScatter, Unknown, Weighting,
};

mod addition;
mod amounts;
mod coverage;
mod curves;
mod diagnostics;
mod propagation;
mod replicates;
mod rows;
mod simulated;
mod ways;

/// A reference file.
fn reference(name: &str) -> Value {
    let path = format!("{}/tests/data/calibration/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("reference file")).expect("JSON")
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().expect("array").iter().map(|x| x.as_f64().expect("number")).collect()
}

fn number(v: &Value, key: &str) -> f64 {
    v[key].as_f64().unwrap_or_else(|| panic!("{key} is not a number"))
}

fn readings(x: &[f64], y: &[f64]) -> Vec<Flask> {
    x.iter().zip(y).enumerate().map(|(i, (&x, &y))| Flask::reading(format!("S{}", i + 1), x, y)).collect()
}

fn equal_weights() -> CalibrationOptions {
    CalibrationOptions::weighted(Weighting::None)
}

fn line(x: &[f64], y: &[f64], options: &CalibrationOptions) -> Curve {
    Curve::fit(&readings(x, y), options).expect("fit")
}

fn found(curve: &Curve, y: &[f64]) -> Inverse {
    curve.invert(&Unknown::from_flasks("sample", y)).expect("inverse")
}

/// u as the books give it: with s of the line alone.
fn u_at_line_s(curve: &Curve, inverse: &Inverse) -> f64 {
    inverse.u.expect("u") * curve.residual_sd.expect("s") / inverse.pooled_sd.expect("pooled s")
}

/// Prints the correct digits and holds them to `digits`.
#[track_caller]
fn same(what: &str, got: f64, want: f64, digits: f64) {
    let correct = if got == want { 16.0 } else { -((got - want).abs() / want.abs()).log10() };
    println!("{what:44} {got:>22.15e} {want:>22.15e}  {correct:5.1} digits (at least {digits})");
    assert!(correct >= digits, "{what}: {got} instead of {want}: {correct:.1} digits");
}

/// Holds a value to a printed one: no further off than half a unit of its last decimal.
#[track_caller]
fn printed(what: &str, got: f64, want: f64, decimals: i32) {
    println!("{what:44} {got:>14.6} as printed {want}");
    assert!((got - want).abs() <= 0.5 * 10_f64.powi(-decimals) * (1.0 + 1e-9), "{what}: {got} instead of {want}");
}

/// Intercept, slope, their errors and covariance, s(y/x) against the recomputed block of a file.
fn same_line(name: &str, curve: &Curve, want: &Value) {
    let c = &curve.coefficients;
    same(&format!("{name}: intercept"), c[0].value, number(want, "intercept"), 9.0);
    same(&format!("{name}: slope"), c[1].value, number(want, "slope"), 9.0);
    same(&format!("{name}: s(y/x)"), curve.residual_sd.expect("s"), number(want, "s_yx"), 9.0);
    same(&format!("{name}: s(intercept)"), c[0].standard_error.expect("se"), number(want, "s_intercept"), 9.0);
    same(&format!("{name}: s(slope)"), c[1].standard_error.expect("se"), number(want, "s_slope"), 7.5);
    let covariance = curve.covariance.as_ref().expect("covariance");
    same(&format!("{name}: covariance"), covariance[0][1], number(want, "cov_ab"), 9.0);
    let r = number(want, "r");
    same(&format!("{name}: r squared"), curve.r_squared.expect("r squared"), r * r, 9.0);
}

#[test]
fn fluorescein_of_miller_and_miller() {
    let file = reference("calib_miller_fluorescein");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    same_line("fluorescein", &curve, &file["recomputed"]);
    for (y, want) in file["recomputed"]["x0_s_half95"].as_object().expect("map") {
        let y0: f64 = y.parse().expect("number");
        let (inverse, want) = (found(&curve, &[y0]), numbers(want));
        same(&format!("x0 at {y}"), inverse.content, want[0], 5.5);
        same(&format!("s(x0) at {y}"), inverse.u.expect("u"), want[1], 5.5);
        let published = &file["published"];
        printed(&format!("x0 at {y}"), inverse.content, number(&published["x0"], y), 2);
        printed(&format!("s(x0) at {y}"), inverse.u.expect("u"), number(&published["s_x0"], y), 2);
    }
    let four = found(&curve, &[13.5; 4]);
    let want = numbers(&file["recomputed"]["x0_four_readings_13p5"]);
    same("s(x0), four readings", u_at_line_s(&curve, &four), want[1], 5.5);
    let limits = curve.limits(&LimitOptions::default()).expect("limits");
    let by = |factor: f64, s: &str| {
        let all = &limits.conventional;
        all.iter().find(|c| c.factor == factor && c.s_name.contains(s)).expect("limit").content
    };
    same("3.3 s(y/x)/b", by(3.3, "s(y/x)"), number(&file["recomputed"], "lod_3p3"), 7.5);
    same("10 s(y/x)/b", by(10.0, "s(y/x)"), number(&file["recomputed"], "loq_10"), 7.5);
    same("3.3 s(a)/b", by(3.3, "intercept"), number(&file["recomputed"], "lod_3p3_s_intercept"), 7.5);
}

#[test]
fn thermometer_of_gum_h3() {
    let file = reference("calib_gum_h3_thermometer");
    let t0 = number(&file["data"], "t0");
    let x: Vec<f64> = numbers(&file["data"]["t"]).iter().map(|t| t - t0).collect();
    let curve = line(&x, &numbers(&file["data"]["b"]), &equal_weights());
    same_line("thermometer", &curve, &file["recomputed"]);
    let published = &file["published"];
    printed("correction at 30", curve.predict(10.0), number(published, "correction_at_30C"), 4);
    printed("u(correction at 30)", curve.predict_u(10.0).expect("u"), number(published, "u_correction_at_30C"), 4);
    same("u(correction at 30)", curve.predict_u(10.0).expect("u"), number(&file["recomputed"], "u"), 7.5);
    assert_eq!(curve.dof, number(published, "degrees_of_freedom"));
}

#[test]
fn cadmium_of_quam_a5() {
    let file = reference("calib_quam_a5_cadmium");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    same_line("cadmium", &curve, &file["recomputed"]);
    let inverse = found(&curve, &numbers(&file["data"]["unknown_readings"]));
    same("c0", inverse.content, number(&file["recomputed"], "c0"), 7.5);
    same("u(c0)", u_at_line_s(&curve, &inverse), number(&file["recomputed"], "u_c0"), 7.5);
    printed("c0", inverse.content, number(&file["published"], "c0"), 2);
    printed("u(c0)", u_at_line_s(&curve, &inverse), number(&file["published"], "u_c0"), 3);
}

#[test]
fn line_and_weighted_line_of_harvey() {
    let file = reference("calib_harvey_linear_and_weighted");
    let (x, y) = (numbers(&file["data"]["x"]), numbers(&file["data"]["y"]));
    let curve = line(&x, &y, &equal_weights());
    same_line("harvey", &curve, &file["recomputed"]);
    let inverse = found(&curve, &numbers(&file["data"]["unknown_replicates"]));
    same("C_A", inverse.content, number(&file["recomputed"], "C_A"), 7.0);
    same("s(C_A)", u_at_line_s(&curve, &inverse), number(&file["recomputed"], "s_CA"), 7.0);
    let weights: Vec<f64> = numbers(&file["data"]["s_for_weighting"]).iter().map(|s| 1.0 / (s * s)).collect();
    let weighted = line(&x, &y, &CalibrationOptions::weighted(Weighting::Known(weights)));
    let want = &file["recomputed"];
    same("weighted slope", weighted.slope(), number(want, "weighted_slope_full_precision_weights"), 7.0);
    same("weighted intercept", weighted.intercept(), number(want, "weighted_intercept"), 7.0);
}

#[test]
fn inverse_prediction_of_massart() {
    let file = reference("calib_massart_ex1");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    same_line("massart 1", &curve, &file["recomputed"]);
    let results = &file["recomputed"]["results"];
    for (y, readings, key) in [(15.0, 1, "15"), (90.0, 1, "90"), (90.0, 5, "90x5")] {
        let (inverse, want) = (found(&curve, &vec![y; readings]), numbers(&results[key]));
        same(&format!("x0 at {key}"), inverse.content, want[0], 7.0);
        same(&format!("s(x0) at {key}"), u_at_line_s(&curve, &inverse), want[1], 7.0);
    }
    let file = reference("calib_massart_ex3_weighted");
    let (x, y) = (numbers(&file["data"]["x"]), numbers(&file["data"]["y"]));
    let all = line(&x, &y, &equal_weights());
    same_line("massart 3", &all, &file["recomputed"]["unweighted_all_points"]);
    let (lof, want) = (all.lack_of_fit.expect("replicates"), &file["recomputed"]["lack_of_fit"]);
    same("pure error", lof.pure_error_ss, number(want, "SSPE"), 9.0);
    same("lack of fit", lof.lack_of_fit_ss, number(want, "SSLOF"), 7.0);
    same("F", lof.f, number(want, "F"), 7.0);
    same("p", lof.p_value, number(want, "p"), 7.0);
    let means: Vec<f64> = (0..6).map(|i| (0..5).map(|k| y[i + 6 * k]).sum::<f64>() / 5.0).collect();
    let weights = numbers(&file["recomputed"]["weights"]);
    let curve = line(&x[..6], &means, &CalibrationOptions::weighted(Weighting::Known(weights)));
    same("weighted slope", curve.slope(), number(&file["recomputed"], "slope"), 6.5);
    same("weighted intercept", curve.intercept(), number(&file["recomputed"], "intercept"), 7.0);
    same("weighted s", curve.residual_sd.expect("s"), number(&file["recomputed"], "s_e"), 7.0);
    for (y, w, key) in [(15.0, 1.67, "15"), (90.0, 0.145, "90")] {
        let unknown = Unknown { weight: Some(w), ..Unknown::from_flasks("sample", &[y]) };
        let (inverse, want) = (curve.invert(&unknown).expect("inverse"), numbers(&file["recomputed"]["results"][key]));
        same(&format!("weighted x0 at {key}"), inverse.content, want[0], 6.5);
        // The slope is uncertain enough (g = 0.06) for u to be withheld; the parts are all there.
        let u = inverse.contributions.iter().map(|c| c.u * c.u).sum::<f64>().sqrt();
        same(&format!("weighted s(x0) at {key}"), u, want[1], 6.5);
    }
}

#[test]
fn inversion_intervals_of_graybill_and_iyer() {
    let file = reference("calib_inverse_prediction_graybill_iyer");
    for example in file["examples"].as_array().expect("examples") {
        let (x, y) = (numbers(&example["data"]["x"]), numbers(&example["data"]["y"]));
        let name = example["name"].as_str().expect("name");
        for case in example["cases"].as_array().expect("cases") {
            let options = CalibrationOptions { level: number(case, "level"), ..equal_weights() };
            let curve = line(&x, &y, &options);
            let (y0, want) = (number(case, "y0"), numbers(&case["recomputed"]));
            let kind = case["kind"].as_str().expect("kind");
            if kind.starts_with("mean") {
                // The inversion of the confidence band of the curve: at both ends the band touches y0.
                for end in &want[1..] {
                    let off = (y0 - curve.predict(*end)).abs();
                    same(&format!("{name}: band at {end}"), curve.band(*end).expect("band"), off, 5.0);
                }
                continue;
            }
            let inverse = found(&curve, &[y0]);
            if kind.contains("delta") {
                let u = inverse.u.expect("u");
                let half = vialbook::numeric::student_t_quantile(0.5 + 0.5 * options.level, curve.dof) * u;
                same(&format!("{name}: linearised lower end"), inverse.content - half, want[0], 7.0);
                same(&format!("{name}: linearised upper end"), inverse.content + half, want[1], 7.0);
                same(&format!("{name}: s(x0)"), u, want[2], 7.0);
            } else {
                same(&format!("{name}: x0 at {y0}"), inverse.content, want[0], 7.0);
                same(&format!("{name}: lower end"), inverse.interval[0].expect("end"), want[1], 7.0);
                same(&format!("{name}: upper end"), inverse.interval[1].expect("end"), want[2], 7.0);
            }
        }
    }
}

#[test]
fn lack_of_fit_of_the_bank_example() {
    let file = reference("calib_lack_of_fit_bank");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    same_line("bank", &curve, &file["recomputed"]);
    let lof = curve.lack_of_fit.expect("replicates");
    assert_eq!(lof.dof, [4.0, 5.0]);
    same("pure error", lof.pure_error_ss, 1148.0, 12.0);
    same("lack of fit", lof.lack_of_fit_ss, number(&file["recomputed"], "SS_lack_of_fit"), 8.5);
    same("F", lof.f, number(&file["recomputed"], "F_lof"), 8.5);
    same("p", lof.p_value, number(&file["recomputed"], "p_lof"), 5.5);
    printed("F", lof.f, number(&file["published"], "F_lof"), 2); // printed 14.801; exact 14.80136
    assert!(lof.to_string().contains("80 % power"));
}

#[test]
fn line_through_33_points() {
    let file = reference("calib_line_33_points");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    let want = &file["published"];
    same("intercept", curve.intercept(), number(want, "intercept"), 13.0);
    same("slope", curve.slope(), number(want, "slope"), 13.0);
    same("s(intercept)", curve.coefficients[0].standard_error.expect("se"), number(want, "s_intercept"), 13.0);
    same("s(slope)", curve.coefficients[1].standard_error.expect("se"), number(want, "s_slope"), 12.5);
    let x_new = number(&file["data"], "x_new");
    same("fit at 21.5", curve.predict(x_new), number(want, "fit_at_21p5"), 13.0);
    same("u(fit at 21.5)", curve.predict_u(x_new).expect("u"), number(want, "u_fit_at_21p5"), 13.0);
    let inverse = found(&curve, &numbers(&file["data"]["unknown_readings"]));
    same("x0", inverse.content, number(want, "x0"), 13.0);
    same("u(x0)", u_at_line_s(&curve, &inverse), number(want, "u_x0"), 13.0);
}

#[test]
fn detection_limit_of_din_32645() {
    let file = reference("detection_din32645");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    same_line("DIN 32645", &curve, &file["recomputed"]);
    let t = vialbook::numeric::student_t_quantile(0.995, curve.dof);
    let options = LimitOptions {
        false_positive: 0.01,
        false_negative: 0.01,
        flasks: 1,
        // The standard's quantitation limit asks for a half-width t·u of a third of the content.
        quantitation_relative_u: 1.0 / (3.0 * t),
        ..LimitOptions::default()
    };
    let limits = curve.limits(&options).expect("limits");
    let want = &file["recomputed"];
    same("critical value", limits.critical_content, number(want, "critical_value"), 7.0);
    // The standard takes twice the critical value; ours lets the line's own uncertainty fall towards its middle.
    same("minimum detectable", 2.0 * limits.critical_content, number(want, "minimum_detectable"), 7.0);
    let ratio = limits.detection_limit.expect("limit") / number(want, "minimum_detectable");
    println!("detection limit over the standard's minimum detectable value: {ratio:.4}");
    assert!(ratio > 0.93 && ratio < 1.0);
    same("quantification, k = 3", limits.quantitation_limit.expect("limit"), number(want, "quantification"), 4.5);
    let inverse = found(&curve, &[3500.0]);
    // g is 0.06, so that u itself is withheld.
    let u = inverse.contributions.iter().map(|c| c.u * c.u).sum::<f64>().sqrt();
    same("99 % half-width at 3500", t * u, number(want, "half_width_99_at_3500"), 7.0);
}

/// Certified: intercept -0.262323073774029, slope 1.00211681802045, s 0.884796396144373 (NIST StRD, Norris).
#[test]
fn norris_of_the_certified_sets() {
    let path = format!("{}/tests/data/calibration/strd_linear_norris.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let rows: Vec<(f64, f64)> = text
        .lines()
        .filter_map(|l| l.split_once(','))
        .filter_map(|(y, x)| Some((x.parse().ok()?, y.parse().ok()?)))
        .collect();
    assert_eq!(rows.len(), 36);
    let (x, y): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
    let curve = line(&x, &y, &equal_weights());
    same("intercept", curve.intercept(), -0.262323073774029, 12.0);
    same("slope", curve.slope(), 1.00211681802045, 13.5);
    same("s(intercept)", curve.coefficients[0].standard_error.expect("se"), 0.232818234301152, 12.0);
    same("s(slope)", curve.coefficients[1].standard_error.expect("se"), 0.429796848199937e-3, 12.0);
    same("s", curve.residual_sd.expect("s"), 0.884796396144373, 12.0);
    same("r squared", curve.r_squared.expect("r squared"), 0.999993745883712, 14.0);
}

/// Two-part scatter of real areas over 3.5 decades: Rocke and Lorenzato 1995, toluene, maximum likelihood with normal
/// errors on the logarithm. Ours takes the noise from the traces, here their 5.7, and is linear in the error, so
/// agreement is to the size of the difference between the two models, not to digits.
#[test]
fn toluene_of_rocke_and_lorenzato() {
    let path = format!("{}/tests/data/calibration/calib_rl95_toluene.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let flasks: Vec<Flask> = text
        .lines()
        .filter_map(|l| l.split_once(','))
        .filter_map(|(x, y)| Some((x.parse::<f64>().ok()?, y.parse::<f64>().ok()?)))
        .enumerate()
        .map(|(i, (x, y))| Flask { response_u: 5.698, ..Flask::reading(format!("S{i}"), x, y) })
        .collect();
    assert_eq!(flasks.len(), 24);
    let curve = Curve::fit(&flasks, &CalibrationOptions::default()).expect("fit");
    let want = numbers(&reference("calib_rl95_models")["recomputed_ml"]["toluene"]);
    println!("{curve:?}, rho {:?}", curve.rho);
    assert!((curve.intercept() / want[0] - 1.0).abs() < 0.02);
    assert!((curve.slope() / want[1] - 1.0).abs() < 0.01);
    assert!((curve.rho.expect("rho") / want[3] - 1.0).abs() < 0.06);
}

/// Certified one-way analysis of variance: NIST StRD, SiRstv.
#[test]
fn nested_scatter_on_a_certified_set() {
    let path = format!("{}/tests/data/calibration/strd_anova_sirstv.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let mut flasks: Vec<Vec<f64>> = vec![Vec::new(); 5];
    for (group, y) in text.lines().filter_map(|l| l.split_once(',')) {
        if let (Ok(group), Ok(y)) = (group.parse::<usize>(), y.parse()) {
            flasks[group - 1].push(y);
        }
    }
    let s = NestedScatter::of(&[flasks]).expect("replicates");
    let want = &reference("strd_anova_certified")["sets"]["SiRstv"];
    same("within", s.shot_sd.expect("sd"), number(want, "residual_sd"), 12.0);
    same("F", s.f.expect("F"), number(want, "F"), 11.0);
    assert_eq!((s.flask_dof, s.shot_dof, s.shots_per_flask), (4.0, 20.0, 5.0));
    let flask = s.flask_variance.expect("variance");
    same("flasks", flask, (number(want, "ms_between") - number(want, "ms_within")) / 5.0, 10.0);
}

#[test]
fn content_regressed_on_response_is_offered_by_name() {
    let file = reference("calib_miller_fluorescein");
    let (x, y) = (numbers(&file["data"]["x"]), numbers(&file["data"]["y"]));
    let options = CalibrationOptions { model: Model::InverseRegressionLine, ..CalibrationOptions::default() };
    let inverse = line(&x, &y, &options);
    // The slope of content on response is r²/b.
    let forward = line(&x, &y, &equal_weights());
    same("slope", inverse.coefficients[1].value, forward.r_squared.expect("r2") / forward.slope(), 13.0);
    let (a, b) = (found(&inverse, &[23.0]), found(&forward, &[23.0]));
    assert!(a.content < b.content, "pulled towards the middle");
    assert!(a.notes.iter().any(|n| n.to_string().contains("published recipe")));
}

/// With 2 over ν degrees of freedom P(F > f) is (1 + 2f/ν)^(-ν/2) in closed form: four levels, or a sample of three.
#[test]
fn f_tests_over_two_degrees_of_freedom() {
    for dof in [4.0_f64, 17.5, 146.0, 1e4] {
        for f in [0.3_f64, 1.4, 1.5, 4.0] {
            let want = (-0.5 * dof * (2.0 * f / dof).ln_1p()).exp();
            assert!((vialbook::numeric::fisher_f_sf(f, 2.0, dof) / want - 1.0).abs() < 1e-11, "{f}, {dof}");
        }
    }
}
