//! Replicates: tests for one value too far off, robust means, predicted spread, days, comparison with a reference.

use super::{number, numbers, printed, reference, same};
use vialbook::calibrate::{DayScatter, NestedScatter, dixon, grubbs, horwitz_thompson, robust_mean};
use vialbook::estimate::Estimate;
use vialbook::numeric::Xoshiro256PlusPlus;
use vialbook::quantify::{ClaimedU, ReferenceValue, claims, compare};

fn table(name: &str) -> Vec<Vec<String>> {
    let path = format!("{}/tests/data/calibration/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let rows = text.lines().filter(|l| !l.starts_with('#')).skip(1);
    rows.map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// Values whose Grubbs statistic is `g`: n - 1 in a tight row, one far off.
#[track_caller]
fn p_at(g: f64, n: usize) -> f64 {
    // One value at h, the others spread by d: found by halving.
    let values = |h: f64| -> Vec<f64> {
        let mut all: Vec<f64> = (0..n - 1).map(|i| i as f64 - 0.5 * (n as f64 - 2.0)).collect();
        all.push(0.5 * n as f64 + h);
        all
    };
    let (mut low, mut high) = (-0.4, 1e6);
    for _ in 0..200 {
        let middle: f64 = 0.5 * (low + high);
        if grubbs(&values(middle)).expect("G").statistic < g { low = middle } else { high = middle }
    }
    grubbs(&values(low)).expect("G").p_value
}

/// Critical values at 5 and 1 %, two-sided: at each the p-value is that level.
#[test]
fn grubbs_critical_values() {
    let mut seen = 0;
    for row in table("stats_grubbs") {
        let n: usize = row[0].parse().expect("n");
        for (column, level) in [(3, 0.05), (5, 0.01)] {
            let Ok(g) = row[column].parse::<f64>() else { continue };
            if !(5..=40).contains(&n) {
                continue;
            }
            let p = p_at(g, n);
            println!("n = {n}, G = {g}: p = {p:.5}");
            // Five decimals of G leave p good to some 0.05 %.
            assert!((p / level - 1.0).abs() < 2e-3, "n = {n}, G = {g}: p = {p} instead of {level}");
            seen += 1;
        }
    }
    assert!(seen > 10, "{seen} rows");
}

#[test]
fn published_examples_of_outliers() {
    let file = reference("stats_outlier_examples");
    let example = |k: usize| &file["examples"][k];
    let uranium = grubbs(&numbers(&example(0)["data"])).expect("G");
    same("uranium, G", uranium.statistic, number(&example(0)["recomputed"], "G"), 7.0);
    assert!(uranium.p_value < 0.001 && uranium.index == 7);
    let four = grubbs(&numbers(&example(1)["data"])).expect("G");
    same("nitrite, 4 results, G", four.statistic, number(&example(1)["recomputed"], "G"), 6.5);
    printed("nitrite, 4 results, p one-sided", 0.5 * four.p_value, 0.09124, 5);
    let q = dixon(&numbers(&example(1)["data"])).expect("Q");
    same("nitrite, 4 results, Q", q.statistic, number(&example(1)["recomputed"], "Q"), 12.0);
    assert!(q.p_value > 0.05, "retained: {q}");
    let seven = numbers(&example(2)["data"]);
    let (g, q) = (grubbs(&seven).expect("G"), dixon(&seven).expect("Q"));
    same("nitrite, 7 results, G", g.statistic, number(&example(2)["recomputed"], "G"), 7.0);
    same("nitrite, 7 results, Q", q.statistic, number(&example(2)["recomputed"], "Q"), 7.0);
    assert!(g.p_value < 0.05 && q.p_value < 0.05 && g.index == 3, "0.380 is refused at 5 %: {g}, {q}");
    assert!(grubbs(&seven[..3]).is_err() && grubbs(&[1.0, 1.0, 2.0, 3.0]).is_err());
}

/// Rorabacher's critical ratios: shares of normal draws beyond them, by the p-value of a set with that very ratio.
#[test]
fn dixon_critical_values() {
    for row in table("stats_dixon_r10_r11_r21_r22") {
        let n: usize = row[0].parse().expect("n");
        for (column, level) in [(2, 0.10), (3, 0.05), (4, 0.01)] {
            let Ok(want) = row[column].parse::<f64>() else { continue };
            // One published entry fails exact recomputation: n = 4 at 1 %. Those at 1 % above n = 15 stand at 1.15 to 1.3 %
            // in the draws, and are left out.
            if !(4..=19).contains(&n) || (n == 4 && column == 4) || (n > 15 && column == 4) {
                continue;
            }
            // n values whose upper ratio is `want`: the last but one stands at 1 on the ratio's scale.
            let (near, out) = match n {
                0..=7 => (1, 0),
                8..=10 => (1, 1),
                11..=13 => (2, 1),
                _ => (2, 2),
            };
            let inner = n - near;
            let mut x: Vec<f64> = (0..inner).map(|i| i as f64 / (inner - 1) as f64).collect();
            let foot = x[out];
            let top = foot + (1.0 - foot) / (1.0 - want);
            (0..near).for_each(|k| x.push(top - 1e-9 * (near - 1 - k) as f64));
            let found = dixon(&x).expect("ratio");
            assert!((found.statistic - want).abs() < 1e-6, "n = {n}: {} instead of {want}", found.statistic);
            // Twice a share of 40,000 ratios, and three decimals of the ratio.
            let slack = 2.0 * 3.0 * (0.5 * level / 40_000.0_f64).sqrt() + 0.03 * level;
            println!("n = {n}, {} = {want}: p = {:.4} at {level}", found.statistic_name, found.p_value);
            assert!((found.p_value - level).abs() < slack, "n = {n}, {want}: p = {} instead of {level}", found.p_value);
        }
    }
}

#[test]
fn robust_means_of_published_sets() {
    let file = reference("stats_robust_and_scores");
    let item = |k: usize| &file["items"][k];
    let creosote = robust_mean(&numbers(&item(0)["data"])).expect("mean");
    let want = numbers(&item(0)["recomputed"]["converged"]);
    // The standard writes 1.483 for the limit 1.4826, which only the start rests on.
    same("creosote, mean", creosote.mean, want[0], 7.0);
    same("creosote, sd", creosote.sd, want[1], 7.0);
    printed("creosote", creosote.mean, number(&item(0)["published"], "robust_mean"), 3);
    let ten = robust_mean(&numbers(&item(1)["data"])).expect("mean");
    let want = numbers(&item(1)["recomputed"]["algorithm_A"]);
    same("ten results, mean", ten.mean, want[0], 7.0);
    same("ten results, sd", ten.sd, want[1], 6.5);
    // Copper in flour: one value of 28.95 moves the mean to 4.28 and the robust mean to 3.2 (Huber's proposal 2: 3.205).
    let copper = robust_mean(&numbers(&item(2)["data"])).expect("mean");
    assert!((copper.mean - 3.205).abs() < 0.005, "{}", copper.mean);
    assert!(robust_mean(&[1.0, 2.0]).is_err() && robust_mean(&[1.0, 1.0, 1.0, 5.0]).is_err());
}

#[test]
fn predicted_spread_of_horwitz_and_thompson() {
    for row in table("stats_horwitz_thompson") {
        let (c, want): (f64, f64) = (row[0].parse().expect("c"), row[3].parse().expect("rsd"));
        let got = 100.0 * horwitz_thompson(c).expect("rsd");
        println!("{c}: {got:.4} % printed {want}");
        assert!((got / want - 1.0).abs() < 5e-5, "{c}: {got} instead of {want}");
    }
    assert!(horwitz_thompson(0.0).is_err() && horwitz_thompson(1.5).is_err());
}

/// E_n of nine laboratories against the reference of CCQM-K30, lead in wine.
#[test]
fn scores_of_a_key_comparison() {
    let file = reference("stats_robust_and_scores");
    let item = &file["items"][3];
    let want = numbers(&item["recomputed"]["En_vs_KCRV"]);
    let reference = ReferenceValue { value: 2.99, u: 0.03, target_sd: None };
    let mut zetas = Vec::new();
    for (row, want) in item["data"].as_array().expect("rows").iter().zip(want) {
        let found = Estimate::new(number(row, "value"), number(row, "u"), f64::INFINITY, "mg/kg");
        let a = compare(&found, 2.0 * found.standard_uncertainty, &reference).expect("scores");
        same(&format!("E_n of {}", found.value), a.e_n, want, 2.9);
        same("zeta is twice E_n at k = 2", a.zeta, 2.0 * a.e_n, 12.0);
        zetas.push(a.zeta);
    }
    let together = claims(&zetas).expect("nine");
    println!("{together:?}");
    assert!((together.sum - zetas.iter().map(|z| z * z).sum::<f64>()).abs() < 1e-12);
    assert!((together.p_too_large + together.p_too_small - 1.0).abs() < 1e-12 && claims(&zetas[..2]).is_none());
}

/// An inflated u makes every E_n small; the claim itself is doubted, one by one and together.
#[test]
fn an_inflated_uncertainty_is_no_merit() {
    let reference = ReferenceValue { value: 10.0, u: 0.05, target_sd: Some(0.2) };
    let of =
        |value: f64, u: f64| compare(&Estimate::new(value, u, f64::INFINITY, ""), 2.0 * u, &reference).expect("scores");
    let honest = of(10.6, 0.2);
    assert!(honest.e_n.abs() > 1.0 && honest.claim == ClaimedU::Plausible);
    let inflated = of(10.6, 1.0);
    assert!(inflated.e_n.abs() < 1.0 && inflated.claim == ClaimedU::AboveTarget && inflated.z == honest.z);
    assert_eq!(of(10.0, 0.01).claim, ClaimedU::BelowReference);
    let mut random = Xoshiro256PlusPlus::seeded(5);
    let zetas = |claimed: f64, random: &mut Xoshiro256PlusPlus| -> Vec<f64> {
        (0..20).map(|_| random.normal() / claimed).collect()
    };
    assert!(claims(&zetas(3.0, &mut random)).is_some_and(|c| c.p_too_large < 1e-4));
    assert!(claims(&zetas(0.3, &mut random)).is_some_and(|c| c.p_too_small < 1e-4));
    assert!(claims(&zetas(1.0, &mut random)).is_some_and(|c| c.p_too_small.min(c.p_too_large) > 1e-3));
}

/// Days, flasks and shots with known variances: the estimates average to them, balanced or not, and F has its size.
#[test]
fn scatter_from_day_to_day() {
    let draws = 3000;
    let (mut sum, mut square, mut alarms) = ([0.0; 3], 0.0, 0);
    for i in 0..draws {
        let mut random = Xoshiro256PlusPlus::stream(53, i);
        let mut sample = |day_sd: f64| -> Vec<Vec<Vec<f64>>> {
            (0..4)
                .map(|d| {
                    let day = day_sd * random.normal();
                    (0..2 + d % 2)
                        .map(|f| {
                            let flask = day + 1.5 * random.normal();
                            (0..2 + (d + f) % 2).map(|_| flask + random.normal()).collect()
                        })
                        .collect()
                })
                .collect()
        };
        let s = DayScatter::of(&[sample(2.0), sample(2.0)]).expect("days");
        let parts =
            [s.day_variance, s.within.flask_variance, s.within.shot_sd.map(|s| s * s)].map(|v| v.expect("variance"));
        (0..3).for_each(|k| sum[k] += parts[k]);
        square += parts[0] * parts[0];
        let none = DayScatter::of(&[sample(0.0), sample(0.0)]).expect("days");
        alarms += u32::from(none.p_value.expect("p") < 0.05);
    }
    let n = draws as f64;
    let mean = sum.map(|s| s / n);
    let error = ((square / n - mean[0] * mean[0]) / n).sqrt();
    println!(
        "day {:.3} ± {error:.3}, flask {:.3}, shot {:.3}; alarms {:.3}",
        mean[0],
        mean[1],
        mean[2],
        f64::from(alarms) / n
    );
    assert!((mean[0] - 4.0).abs() < 3.0 * error, "{mean:?}");
    assert!((mean[1] - 2.25).abs() < 0.1 && (mean[2] - 1.0).abs() < 0.02, "{mean:?}");
    let share = f64::from(alarms) / n;
    assert!((share - 0.05).abs() < 0.015, "{share}");
    assert!(DayScatter::of(&[vec![vec![vec![1.0, 2.0]]]]).is_err());
    let flat = NestedScatter::of(&[vec![vec![1.0, 2.0], vec![3.0, 4.0]]]).expect("nested");
    assert_eq!(flat.flask_dof, 1.0);
}
