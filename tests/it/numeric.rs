//! The numeric core against published tables, certified sets and high-precision arithmetic.

// Tables of digits are printed for who reads them; a failed unwrap is a failed test.
#![allow(clippy::print_stdout, clippy::unwrap_used)]

use std::path::PathBuf;

use vialbook::numeric::special::*;
use vialbook::numeric::*;

/// Rows of a data file without its comments.
fn rows(file: &str) -> Vec<Vec<String>> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines()
        .filter(|l| !l.starts_with('#') && !l.trim().is_empty())
        .map(|l| l.split(',').map(|c| c.trim().to_owned()).collect())
        .collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

/// Relative error, absolute where zero is expected.
fn error(got: f64, expected: f64) -> f64 {
    if expected == 0.0 { got.abs() } else { ((got - expected) / expected).abs() }
}

#[test]
fn special_functions_and_distributions_against_high_precision_arithmetic() {
    // Allowed relative errors; beta_inc at a = b = 10⁶ multiplies the rounding of its argument by 10³.
    type Function = fn(&[f64]) -> f64;
    let functions: &[(&str, f64, Function)] = &[
        ("erfcx", 8e-16, |a| erfcx(a[0])),
        ("normal_cdf", 1e-15, |a| normal_cdf(a[0])),
        ("normal_quantile", 1e-15, |a| normal_quantile(a[0])),
        ("ln_gamma", 1e-15, |a| ln_gamma(a[0])),
        ("gamma_inc", 1e-13, |a| gamma_inc(a[0], a[1])),
        ("gamma_inc_upper", 1e-13, |a| gamma_inc_upper(a[0], a[1])),
        ("beta_inc", 3e-13, |a| beta_inc(a[0], a[1], a[2])),
        ("beta_inc_upper", 1e-13, |a| beta_inc_upper(a[0], a[1], a[2])),
        ("student_t_sf", 1e-13, |a| student_t_sf(a[0], a[1])),
        ("student_t_quantile", 1e-13, |a| student_t_quantile(a[0], a[1])),
        ("chi_squared_quantile", 1e-13, |a| chi_squared_quantile(a[0], a[1])),
        ("fisher_f_cdf", 1e-13, |a| fisher_f_cdf(a[0], a[1], a[2])),
        ("fisher_f_sf", 1e-13, |a| fisher_f_sf(a[0], a[1], a[2])),
        ("fisher_f_quantile", 1e-13, |a| fisher_f_quantile(a[0], a[1], a[2])),
    ];
    let rows = rows("numeric/special_functions.csv");
    let mut failures = Vec::new();
    for &(name, allowed, function) in functions {
        let (mut worst, mut count) = (0.0_f64, 0);
        for row in rows.iter().filter(|r| r[0] == name) {
            let arguments: Vec<f64> = row[1].split(' ').map(number).collect();
            let (got, expected) = (function(&arguments), number(&row[2]));
            let e = error(got, expected);
            count += 1;
            worst = worst.max(e);
            if e.is_nan() || e > allowed {
                failures.push(format!("{name} {arguments:?}: {got:e}, expected {expected:e}, relative error {e:.1e}"));
            }
        }
        println!("{name:22} {count:4} points, worst relative error {worst:.1e}");
        assert!(count > 10, "{name}: no points");
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn student_t_quantiles_agree_with_the_published_table() {
    // Table and its source (40 CFR 136, appendix B): tests/data/numeric/stats_t_table.csv.
    let rows = rows("numeric/stats_t_table.csv");
    let levels: Vec<f64> = rows[0][1..].iter().map(|h| number(h.trim_start_matches("t_"))).collect();
    let mut count = 0;
    for row in &rows[1..] {
        let dof = if row[0] == "inf" { f64::INFINITY } else { number(&row[0]) };
        for (p, t) in levels.iter().zip(&row[1..]) {
            let got = student_t_quantile(*p, dof);
            assert!((got - number(t)).abs() <= 0.501e-6 * number(t).max(1.0), "t({p}, {dof}) = {got}, table {t}");
            count += 1;
        }
    }
    assert!(count > 150, "{count} entries only");
}

#[test]
fn distributions_agree_with_a_general_library() {
    use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};
    for dof in [1.0, 2.5, 6.0, 17.3, 120.0] {
        let (t, c) = (StudentsT::new(0.0, 1.0, dof).unwrap(), ChiSquared::new(dof).unwrap());
        let f = FisherSnedecor::new(dof, 5.5).unwrap();
        for x in [0.05, 0.4, 1.0, 2.7, 11.0] {
            // The library's own accuracy is 1e-10 or so.
            assert!((student_t_cdf(x, dof) - t.cdf(x)).abs() < 1e-10);
            assert!((chi_squared_cdf(x, dof) - c.cdf(x)).abs() < 1e-10);
            assert!((fisher_f_cdf(x, dof, 5.5) - f.cdf(x)).abs() < 1e-10);
        }
    }
}

#[test]
fn quantiles_invert_probabilities_and_stay_sound_at_the_edges() {
    for dof in [0.05, 0.6, 1.0, 2.0, 3.9, 47.0, 1e4, 1e8, 1e14] {
        for p in [1e-200, 1e-9, 0.01, 0.3, 0.499_999_999, 0.5, 0.72, 0.975, 1.0 - 1e-12] {
            let t = student_t_quantile(p, dof);
            if t.is_finite() && t != 0.0 {
                assert!(error(student_t_cdf(t, dof), p) < 2e-12, "t {p} {dof}");
            }
            let x = chi_squared_quantile(p, dof);
            // Large dof: one ulp of x changes p by x·density ulp, √(dof/2) at most.
            let allowed = 2e-12 + 1e-15 * dof.sqrt() * 40.0;
            assert!(x == 0.0 || error(chi_squared_cdf(x, dof), p) < allowed, "chi-squared {p} {dof}: {x}");
        }
    }
    assert_eq!(student_t_quantile(0.5, 3.0), 0.0);
    assert_eq!(student_t_quantile(1.0, 3.0), f64::INFINITY);
    assert_eq!(student_t_quantile(0.0, 3.0), f64::NEG_INFINITY);
    assert_eq!(student_t_quantile(0.125, 7.0), -student_t_quantile(0.875, 7.0));
    assert_eq!(student_t_quantile(0.975, f64::INFINITY), normal_quantile(0.975));
    assert!(error(student_t_quantile(0.975, 1e17), normal_quantile(0.975)) < 1e-14);
    assert!(student_t_quantile(0.9, 0.0).is_nan() && student_t_quantile(1.1, 2.0).is_nan());
    assert!(student_t_cdf(f64::NAN, 2.0).is_nan() && fisher_f_sf(f64::NAN, 1.0, 2.0).is_nan());
    assert_eq!(fisher_f_sf(f64::INFINITY, 1.0, 2.0), 0.0);
    assert!(error(fisher_f_quantile(0.95, 3.0, f64::INFINITY), chi_squared_quantile(0.95, 3.0) / 3.0) < 1e-15);
    assert!(error(fisher_f_quantile(0.95, 3.0, 1e12), fisher_f_quantile(0.95, 3.0, f64::INFINITY)) < 1e-11);
    assert!(error(fisher_f_quantile(0.95, f64::INFINITY, 3.0), fisher_f_quantile(0.95, 1e13, 3.0)) < 1e-11);
}
