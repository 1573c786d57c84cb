//! Quantification: worked examples, decisions, what an amount says about itself.

use super::{equal_weights, number, reference, same};
use vialbook::ContentUnit;
use vialbook::calibrate::{
    CalibrationOptions, Curve, Flask, FlaskTypeB, InverseNote, Model, SharedSource, Unknown, Weighting,
};
use vialbook::quantify::{
    Added, Amount, AmountNote, DecisionRule, Density, Dilution, InternalStandardContent, Materials, Target, Verdict,
    VolumeCancels, single_point_internal,
};

fn unit(text: &str) -> ContentUnit {
    ContentUnit::parse(text).expect("unit")
}

/// A straight calibration with a little scatter of known pattern: 5 levels × 2 flasks of slope 1.
fn curve(options: &CalibrationOptions) -> Curve {
    let flasks: Vec<Flask> = (0..10)
        .map(|i| {
            let x = 10.0 * f64::from(i / 2 + 1);
            let off = if i % 2 == 0 { 0.01 } else { -0.01 };
            Flask { response_u: 0.05, ..Flask::reading(format!("S{i}"), x, x * (1.0 + off)) }
        })
        .collect();
    Curve::fit(&flasks, options).expect("fit")
}

fn sample(y: &[f64]) -> Unknown {
    Unknown { response_u: 0.05, ..Unknown::from_flasks("A", y) }
}

#[test]
fn camphor_by_a_single_internal_standard_point() {
    let file = reference("calib_internal_standard_camphor");
    let (s, u) = (&file["data"]["standard"], &file["data"]["sample"]);
    let internal = |v: &serde_json::Value| number(v, "is_mL") * number(v, "is_mg_per_mL");
    let mg = single_point_internal(
        [number(s, "signal_camphor"), number(s, "signal_is")],
        number(s, "camphor_mg"),
        internal(s),
        [number(u, "signal_camphor"), number(u, "signal_is")],
        internal(u),
    )
    .expect("amount");
    same("camphor in the sample, mg", mg, number(&file["recomputed"], "camphor_mg_in_sample"), 7.5);
    let percent = 100.0 * mg / number(u, "mass_mg");
    same("camphor, % by mass", percent, number(&file["recomputed"], "percent_w_w"), 7.5);
}

/// 1.00 mL of sample and the internal standard made up to 10.00 mL: 41.2 mg/L in the flask is 412 mg/L in the sample.
#[test]
fn a_dilution_is_applied_once_and_not_twice() {
    let curve = curve(&CalibrationOptions::default());
    let ratios: Vec<f64> = [0.99, 1.0, 1.01].iter().map(|f| f * 20.6).collect();
    let internal = InternalStandardContent { content: 2.0, sources: Vec::new() };
    let amount = |added, factor| {
        let dilution = Dilution { internal_standard: added, ..Dilution::by(factor) };
        let target = Target { dilution, ..Target::new("A", "2-propanol", unit("mg/L")) };
        Amount::internal(&curve, &sample(&ratios), &target, &internal, None)
    };
    let after = amount(Some(Added::AfterDilution), 10.0).expect("amount");
    let in_flask = after.in_flask;
    assert!((in_flask - 41.2).abs() < 0.2, "{in_flask}");
    assert!((after.value / in_flask - 10.0).abs() < 1e-12);
    assert_eq!(after.dilution_applied, 10.0);
    // Before: the ratio is that of the undiluted sample, and so is the stated content of the internal standard.
    let before = amount(Some(Added::BeforeDilution), 10.0).expect("amount");
    assert!((before.value / in_flask - 1.0).abs() < 1e-12);
    assert_eq!(before.dilution_applied, 1.0);
    assert!(before.notes.contains(&AmountNote::DilutionCancels { factor: 10.0 }));
    // Not said: a question, not a number.
    let unsaid = amount(None, 10.0).unwrap_err().to_string();
    assert!(unsaid.contains("before or after"), "{unsaid}");
    // The interval, u, limits and budget went along.
    let once = amount(Some(Added::AfterDilution), 1.0).expect("amount");
    for (a, b) in
        [(after.u, once.u), (after.detection_limit, once.detection_limit), (after.interval[1], once.interval[1])]
    {
        assert!((a.expect("a") / b.expect("b") - 10.0).abs() < 1e-9);
    }
    let sum: f64 = after.budget.iter().map(|l| l.contribution * l.contribution).sum();
    assert!((sum.sqrt() / after.u.expect("u") - 1.0).abs() < 1e-12);
    assert!((after.budget.iter().map(|l| l.share).sum::<f64>() - 1.0).abs() < 1e-12);
    assert!(after.text().contains("mg/L (k = "), "{}", after.text());
}

#[test]
fn a_density_comes_into_the_interval_and_the_budget() {
    let curve = curve(&CalibrationOptions { shared: vec![SharedSource::new("stock", 0.005)], ..Default::default() });
    let materials = Materials {
        solution_density: Some(Density { g_per_ml: 0.9, u: 0.018, temperature_c: Some(20.0) }),
        ..Materials::default()
    };
    let target = Target { materials, unit: unit("g/kg"), ..Target::new("A", "2-propanol", unit("g/L")) };
    let amount = Amount::external(&curve, &sample(&[25.0, 25.2, 24.8]), &target).expect("amount");
    assert!((amount.value - amount.in_flask / 0.9).abs() < 1e-9);
    assert_eq!(amount.budget[0].source, "density of the solution");
    assert!((amount.budget[0].contribution / amount.value - 0.02).abs() < 1e-9);
    assert_eq!(amount.budget[0].scope.word(), "shared");
    assert!(amount.of.starts_with("mass of the component per mass of the sample"));
    assert!(amount.budget.iter().any(|l| l.source == "stock"));
    let half = 0.5 * (amount.interval[1].expect("end") - amount.interval[0].expect("end"));
    assert!(half > 1.96 * 0.02 * amount.value);
}

#[test]
fn below_the_critical_value_the_number_stays() {
    let curve = curve(&CalibrationOptions::default());
    let target = Target::new("blank", "2-propanol", unit("mg/L"));
    for y in [0.01, -0.03] {
        let amount = Amount::external(&curve, &sample(&[y, y + 0.02, y - 0.02]), &target).expect("amount");
        assert!(!amount.detected && amount.u.is_some());
        assert_eq!(amount.value < 0.0, amount.inverse.content < 0.0);
        assert!(amount.text().starts_with("not detected (detection limit"), "{}", amount.text());
        assert!(amount.notes.contains(&AmountNote::NotDetected));
        assert_eq!(amount.notes.contains(&AmountNote::NegativeResponse), y < 0.0);
        assert!(amount.critical_value < amount.detection_limit);
    }
    let high = Amount::external(&curve, &sample(&[70.0, 70.5]), &target).expect("amount");
    assert!(high.detected);
    assert!(high.notes.iter().any(|n| n.to_string().contains("dilute the sample")));
}

#[test]
fn decisions_follow_the_rule_and_the_pivot() {
    let curve = curve(&CalibrationOptions::default());
    let found = curve.invert(&sample(&[30.0, 30.2, 29.8])).expect("inverse");
    let [Some(low), Some(high)] = found.interval_at(0.90) else { panic!("closed") };
    // At the ends of the 90 % interval exactly 95 % lie on the one side.
    assert!((found.probability_above(low).expect("p") - 0.95).abs() < 1e-9);
    let verdict = |rule: DecisionRule| rule.decide(&found).expect("decision").verdict;
    assert_eq!(verdict(DecisionRule::at_most(high + 1e-6, 0.95)), Verdict::Accept);
    assert_eq!(verdict(DecisionRule::at_most(high - 1e-6, 0.95)), Verdict::Undecided);
    assert_eq!(verdict(DecisionRule::at_most(low + 1e-6, 0.95)), Verdict::Undecided);
    assert_eq!(verdict(DecisionRule::at_most(low - 1e-6, 0.95)), Verdict::Reject);
    assert_eq!(verdict(DecisionRule::at_least(low - 1e-6, 0.95)), Verdict::Accept);
    let between = DecisionRule { low: Some(low - 1.0), high: Some(high + 1.0), probability: 0.95 };
    let decision = between.decide(&found).expect("decision");
    assert_eq!(decision.verdict, Verdict::Accept);
    assert!((decision.within.expect("p") + decision.outside.expect("p") - 1.0).abs() < 1e-12);
    // The guard band is the same rule in units of u, to the little the pivot is skew.
    let ends = DecisionRule::at_most(high, 0.95).guarded(found.u.expect("u"), found.dof);
    assert!((ends[1].expect("end") / found.content - 1.0).abs() < 1e-3);
    assert!(DecisionRule::default().decide(&found).is_err());
    // Without inference there is no decision.
    let two =
        Curve::fit(&[Flask::reading("a", 1.0, 1.0), Flask::reading("b", 2.0, 2.0)], &equal_weights()).expect("fit");
    let bare = two.invert(&Unknown::from_flasks("A", &[1.5])).expect("inverse");
    assert_eq!((bare.u, bare.interval, bare.probability_above(0.0)), (None, [None, None], None));
    assert_eq!(DecisionRule::at_most(9.0, 0.95).decide(&bare).expect("decision").verdict, Verdict::Undecided);
}

#[test]
fn volume_that_cancels_and_volume_that_does_not() {
    // Volumes that differ by a third, three shots a flask; areas with 1 % of their own.
    let jitter = [0.01, -0.004, -0.007, 0.008, 0.002, -0.01, 0.003, -0.006, 0.005];
    let shots = |power: f64| -> Vec<Vec<[f64; 2]>> {
        (0..3)
            .map(|flask| {
                (0..3)
                    .map(|k| {
                        let v = [0.75_f64, 1.0, 1.3][k];
                        [3.0 * f64::from(flask + 1) * v.powf(power) * (1.0 + jitter[3 * flask as usize + k]), 5.0 * v]
                    })
                    .collect()
            })
            .collect()
    };
    let good = VolumeCancels::of(&shots(1.0)).expect("enough");
    assert!(good.cancels && good.slope.abs() < 0.05 && good.dof == 5.0, "{good}");
    // p = 1.4 against 1: slope (p - 1)/((p + 1)/2) = 1/3.
    let bad = VolumeCancels::of(&shots(1.4)).expect("enough");
    assert!(!bad.cancels && (bad.slope - 1.0 / 3.0).abs() < 0.03, "{bad}");
    assert!(bad.detectable_slope < 0.33 && bad.detectable_slope > bad.slope_se);
    assert!(VolumeCancels::of(&[vec![[1.0, 2.0], [1.1, 2.1]]]).is_none());
    // Both areas may follow the volume by the same power: it cancels all the same.
    let both: Vec<Vec<[f64; 2]>> =
        shots(1.4).iter().map(|f| f.iter().map(|&[a, s]| [a, s.powf(1.4)]).collect()).collect();
    assert!(VolumeCancels::of(&both).expect("enough").cancels);
}

#[test]
fn what_cannot_be_fitted_is_said_in_sentences() {
    let flask = |x: f64, y: f64| Flask::reading("S1", x, y);
    let named = |w| CalibrationOptions { compound: "2-propanol".to_owned(), ..CalibrationOptions::weighted(w) };
    let error = |flasks: &[Flask], options: &CalibrationOptions| Curve::fit(flasks, options).unwrap_err().to_string();
    let none = named(Weighting::None);
    for (flasks, options, says) in [
        (vec![], &none, "2-propanol: 0 standard flasks; a straight line with intercept needs at least 2"),
        (vec![flask(1.0, 1.0), flask(1.0, 2.0)], &none, "all standards (S1, S1) are at one level, 1"),
        (vec![flask(1.0, f64::NAN), flask(2.0, 2.0)], &none, "2-propanol, S1: content 1 and response NaN"),
        (vec![flask(-1.0, 1.0), flask(2.0, 2.0)], &none, "a content of -1"),
        (vec![flask(0.0, 1.0), flask(2.0, 2.0)], &named(Weighting::InverseSquare), "content 0 has no weight"),
        (vec![flask(0.0, 1.0), flask(2.0, 2.0)], &named(Weighting::TwoPart), "nothing is known about its scatter"),
        (vec![flask(1.0, 1.0), flask(2.0, 2.0)], &named(Weighting::Known(vec![1.0])), "1 weights for 2 flasks"),
        (vec![flask(1.0, 2.0), flask(2.0, 2.0)], &none, "the response does not depend on the content"),
    ] {
        let text = error(&flasks, options);
        assert!(text.contains(says), "{text}");
    }
    let curve = Curve::fit(&[flask(1.0, 1.0), flask(2.0, 2.0)], &none).expect("fit");
    assert!(curve.coefficients[1].standard_error.is_none() && curve.residual_sd.is_none());
    assert!(curve.invert(&Unknown::default()).unwrap_err().to_string().contains("no flask response"));
    assert!(curve.limits(&Default::default()).unwrap_err().to_string().contains("residual degrees of freedom"));
}

#[test]
fn exact_numbers_give_an_exact_line_and_no_nonsense() {
    let x = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
    let y = x.map(|x| 2.0 * x);
    for weighting in [Weighting::None, Weighting::InverseSquare, Weighting::TwoPart] {
        let curve = super::line(&x, &y, &CalibrationOptions::weighted(weighting));
        assert!((curve.slope() - 2.0).abs() < 1e-12 && curve.intercept().abs() < 1e-12);
        assert!(curve.residual_sd.expect("s") < 1e-9 || curve.rho.is_some());
        assert!(curve.points.iter().all(|p| p.standardised_residual.is_none_or(f64::is_finite)));
        let found = curve.invert(&Unknown::from_flasks("A", &[5.0, 5.0])).expect("inverse");
        assert!((found.content - 2.5).abs() < 1e-12 && found.u.is_none_or(|u| u < 1e-9));
        assert!(found.probability_above(2.4).is_some_and(|p| p > 0.999));
    }
}

#[test]
fn a_flask_left_out_is_kept_and_has_no_say() {
    let options = CalibrationOptions::default();
    let with = curve(&options);
    let mut flasks: Vec<Flask> = with.points.iter().map(|p| p.flask.clone()).collect();
    flasks.push(Flask { excluded: Some("leaked".to_owned()), ..Flask::reading("S11", 30.0, 90.0) });
    let without = Curve::fit(&flasks, &options).expect("fit");
    assert_eq!(without.coefficients, with.coefficients);
    let last = without.points.last().expect("point");
    assert_eq!((last.leverage, last.weight, last.standardised_residual), (None, None, None));
    assert!((last.residual - 60.0).abs() < 0.5 && last.back_calculated.is_some_and(|x| x > 80.0));
}

#[test]
fn scatter_and_stated_flask_uncertainty_are_compared_never_added() {
    let stated = |u: f64| CalibrationOptions {
        flask_type_b: Some(FlaskTypeB { relative_u: u, dof: None }),
        ..CalibrationOptions::default()
    };
    let u = |options: &CalibrationOptions| curve(options).invert(&sample(&[30.0, 30.3, 29.7])).expect("inverse");
    let plain = u(&CalibrationOptions::default());
    let small = u(&stated(0.002));
    assert_eq!(small.u, plain.u);
    assert!(small.notes.iter().any(|n| matches!(n, InverseNote::FlaskSources { .. })));
    let large = u(&stated(0.03));
    assert!(large.u.expect("u") > 2.0 * plain.u.expect("u") && large.dof.is_none());
    assert!(large.contributions.iter().any(|c| !c.type_a));
    // 3 % on three flasks and on a line through ten, the middle of it: 0.03·√(1/3 + 1/10 or a little more).
    let relative = large.u.expect("u") / large.content;
    assert!(
        relative > 0.03 * (1.0_f64 / 3.0 + 0.08).sqrt() && relative < 0.03 * (1.0_f64 / 3.0 + 0.16).sqrt(),
        "{relative}"
    );
}

#[test]
fn a_lost_slope_gives_no_plus_minus_and_an_open_interval() {
    let y = [1.0, 3.0, 2.0, 1.5, 2.6, 2.2];
    let flasks: Vec<Flask> = y.iter().enumerate().map(|(i, &y)| Flask::reading(format!("S{i}"), i as f64, y)).collect();
    let curve = Curve::fit(&flasks, &equal_weights()).expect("fit");
    let found = curve.invert(&Unknown::from_flasks("A", &[2.0, 2.4])).expect("inverse");
    assert!(found.u.is_none() && found.g.is_some_and(|g| g > 1.0));
    assert!(found.interval.contains(&None));
    assert!(found.notes.iter().any(|n| matches!(n, InverseNote::OpenInterval)));
    assert!(found.estimate("mg/L").text(0.95).contains("uncertainty not known"));
}

#[test]
fn through_zero_only_where_declared_and_doubted_where_it_misses() {
    let options = CalibrationOptions { model: Model::ThroughZero, ..equal_weights() };
    let x: Vec<f64> = (1..=8).map(f64::from).collect();
    let fit = |offset: f64| {
        let y: Vec<f64> = x.iter().enumerate().map(|(i, x)| 2.0 * x + offset + 0.01 * (i as f64 * 2.4).sin()).collect();
        super::line(&x, &y, &options)
    };
    let good = fit(0.0);
    assert_eq!(good.coefficients.len(), 1);
    let doubts = |c: &Curve| c.notes.iter().any(|n| n.to_string().contains("line through zero is in doubt"));
    assert!(!doubts(&good) && doubts(&fit(0.3)));
}
