//! Standard addition and the meaning of an intercept.

use super::{equal_weights, line, number, numbers, printed, reference, same};
use vialbook::calibrate::{
    BlankResponse, CalibrationOptions, Curve, Flask, InterceptMeaning, Model, SharedSource, Weighting,
};
use vialbook::numeric::Xoshiro256PlusPlus;

#[test]
fn standard_additions_of_miller_and_miller() {
    for name in ["calib_stdaddition_gold", "calib_stdaddition_silver"] {
        let file = reference(name);
        let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
        let (found, want) = (curve.added_to(&[]).expect("addition"), &file["recomputed"]);
        same(&format!("{name}: content"), found.content, number(want, "x_E"), 7.0);
        same(&format!("{name}: s"), found.u.expect("u"), number(want, "s_xE"), 7.0);
        // Fieller's interval is nearly the book's ± t·s here (g is 0.001).
        let [low, high] = found.interval.map(|x| x.expect("closed"));
        same(&format!("{name}: half-width"), 0.5 * (high - low), number(want, "half95"), 2.5);
        if let Some(published) = file.get("published") {
            printed(name, found.content, number(published, "x_E"), 1);
        }
    }
}

/// The spiking solution's 2 % stay, however many flasks are made: u² = u₀² + (0.02·N)².
#[test]
fn the_spiking_solution_does_not_average_out() {
    let file = reference("calib_stdaddition_gold");
    let curve = line(&numbers(&file["data"]["x"]), &numbers(&file["data"]["y"]), &equal_weights());
    let alone = curve.added_to(&[]).expect("addition");
    let spiked = curve.added_to(&[SharedSource::new("spiking solution", 0.02)]).expect("addition");
    let want = alone.u.expect("u").hypot(0.02 * alone.content);
    same("u", spiked.u.expect("u"), want, 12.0);
    assert!(spiked.interval[1] > alone.interval[1]);
    let zero = CalibrationOptions { model: Model::ThroughZero, ..equal_weights() };
    let refused = line(&[1.0, 2.0, 3.0, 4.0, 5.0], &[1.0, 2.1, 2.9, 4.0, 5.1], &zero).added_to(&[]);
    assert!(refused.expect_err("through zero").to_string().contains("cannot be extrapolated"));
}

/// 95 % intervals of additions to a content of 3: five levels of two flasks, 0 to 8 added.
#[test]
fn additions_cover() {
    let draws = 3000;
    for (weighting, low, high) in [(Weighting::None, 0.94, 0.96), (Weighting::TwoPart, 0.935, 0.965)] {
        let mut covered = 0;
        for i in 0..draws {
            let mut random = Xoshiro256PlusPlus::stream(43, i);
            let flasks: Vec<Flask> = (0..10)
                .map(|k| {
                    let added = 2.0 * f64::from(k / 2);
                    let total = 3.0 + added;
                    let (sd, u) =
                        if weighting == Weighting::None { (0.1, 0.0) } else { (0.03_f64.hypot(0.015 * total), 0.03) };
                    Flask { response_u: u, ..Flask::reading(format!("A{k}"), added, total + sd * random.normal()) }
                })
                .collect();
            let curve = Curve::fit(&flasks, &CalibrationOptions::weighted(weighting.clone())).expect("fit");
            let [a, b] = curve.added_to(&[]).expect("addition").interval;
            covered += u32::from(a.is_none_or(|a| a <= 3.0) && b.is_none_or(|b| b >= 3.0));
        }
        let share = f64::from(covered) / draws as f64;
        let slack = 2.0 * (share * (1.0 - share) / draws as f64).sqrt();
        println!("addition, {}: {share:.3}", weighting.words());
        assert!(share > low - slack && share < high + slack, "{}: {share}", weighting.words());
    }
}

#[test]
fn an_intercept_means_what_the_blank_says() {
    // Responses 10·(x + 0.5): the matrix holds 0.5 of its own.
    let x = [1.0, 1.0, 2.0, 2.0, 4.0, 4.0, 6.0, 6.0];
    let offsets = [0.1, -0.1, 0.08, -0.05, -0.1, 0.07, 0.05, -0.04];
    let with = |own: f64| -> Vec<f64> { x.iter().zip(offsets).map(|(x, e)| 10.0 * (x + own) + e).collect() };
    let blank = |response: f64| Some(BlankResponse { response, u: 0.1, dof: None });
    let native = line(&x, &with(0.5), &equal_weights());
    let check = native.intercept_check(blank(5.0)).expect("check");
    assert_eq!(check.meaning, InterceptMeaning::NativeAnalyte);
    let own = check.native.clone().expect("content");
    assert!((own.content - 0.5).abs() < 3.0 * own.u.expect("u"), "{check}");
    let check = native.intercept_check(blank(0.05)).expect("check");
    assert!(check.meaning == InterceptMeaning::BesideEmptyBlank && check.p_value() < 1e-6, "{check}");
    let check = native.intercept_check(blank(9.0)).expect("check");
    assert!(check.meaning == InterceptMeaning::OtherThanBlank && check.p_value() < 1e-6, "{check}");
    assert!(native.intercept_check(None).expect("check").meaning == InterceptMeaning::NoBlank);
    let clean = line(&x, &with(0.0), &equal_weights()).intercept_check(blank(0.05)).expect("check");
    assert!(clean.p_value() > 0.05 && clean.native.is_none(), "{clean}");
    // p of intercept 0 is that of its own t.
    let t = clean.intercept / clean.u;
    let want = 2.0 * vialbook::numeric::student_t_cdf(-t.abs(), 6.0);
    same("p", clean.p_zero, want, 12.0);
    // A line through zero is asked the same.
    let zero = CalibrationOptions { model: Model::ThroughZero, ..equal_weights() };
    let check = line(&x, &with(0.5), &zero).intercept_check(blank(5.0)).expect("check");
    assert!(check.meaning == InterceptMeaning::NativeAnalyte && check.p_zero < 1e-6, "{check}");
}
