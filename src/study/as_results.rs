//! A curve, a peak and a budget as results have them: the one way from a stage's own type to the contract.

use crate::calibrate::{Curve, ResidualTest};
use crate::peaks::{Conditions, Merits, Peak, PeakFit};
use crate::quantify::BudgetLine;
use crate::results::{
    BudgetEntry, CalibrationPoint, CalibrationResult, Coefficient, CurvePoint, FitResult, MeritsResult, PeakResult,
    ResidualTestResult,
};

/// A curve on its own, as results have it; what a study adds (names of the axes, tests, limits) is missing.
pub(crate) fn curve_result(curve: &Curve) -> CalibrationResult {
    let [low, high] = curve.range;
    let (from, to) = (low.min(0.0), high + 0.05 * (high - low).abs());
    const STEPS: usize = 60;
    let grid = (0..=STEPS).map(|i| from + (to - from) * i as f64 / STEPS as f64);
    let tests = curve.residual_tests();
    // A mistake is only looked for where a test has something to say: it costs a fit for every pair of flasks.
    let smallest = tests.iter().map(|t| t.p_value * tests.len() as f64).fold(1.0, f64::min);
    let doubtful = smallest < 0.05 || curve.lack_of_fit.as_ref().is_some_and(|l| l.p_value < 0.05);
    CalibrationResult {
        compound: curve.compound.clone(),
        quantification: String::new(),
        internal_standard: None,
        model: curve.model.words().to_owned(),
        weights: curve.weighting.words().to_owned(),
        x_label: "content".to_owned(),
        x_unit: String::new(),
        y_label: "response".to_owned(),
        y_unit: String::new(),
        coefficients: curve
            .coefficients
            .iter()
            .map(|k| Coefficient { name: k.name.to_owned(), value: k.value })
            .collect(),
        standard_errors: curve.coefficients.iter().map(|k| k.standard_error).collect(),
        covariance: curve.covariance.clone(),
        residual_sd: curve.residual_sd,
        relative_sd: curve.rho,
        dof: curve.dof,
        r_squared: curve.r_squared,
        range: curve.range,
        lack_of_fit: None,
        residual_tests: tests.iter().map(residual_test_result).collect(),
        suspicion: doubtful.then(|| curve.suspicion()).flatten().map(|s| s.to_string()),
        drift: None,
        intercept_check: None,
        errors_in_x: None,
        relative_standard_error_percent: curve.relative_standard_error().map(|r| 100.0 * r),
        volume_cancels: None,
        critical_value: None,
        detection_limit: None,
        quantitation_limit: None,
        limit_method: None,
        detection_limit_range: None,
        other_limits: Vec::new(),
        points: calibration_points(curve),
        coverage_probability: curve.level,
        curve: grid.map(|x| CurvePoint { x, y: curve.predict(x), half_width: curve.band(x) }).collect(),
        notes: curve.notes.iter().map(ToString::to_string).collect(),
    }
}

/// The flasks of a curve as results have them.
pub(crate) fn calibration_points(curve: &Curve) -> Vec<CalibrationPoint> {
    let points = curve.points.iter().map(|p| CalibrationPoint {
        label: p.flask.label.clone(),
        x: p.flask.content,
        y: p.flask.response,
        y_u: p.flask.response_u,
        shots: p.flask.shots,
        residual: Some(p.residual),
        standardised_residual: p.standardised_residual,
        leverage: p.leverage,
        cooks_distance: p.cooks_distance.filter(|d| d.is_finite()),
        back_calculated: p.back_calculated,
        deviation_percent: p.deviation_percent,
        excluded: p.flask.excluded.clone(),
    });
    points.collect()
}

/// A test of residuals as results have it.
pub(crate) fn residual_test_result(t: &ResidualTest) -> ResidualTestResult {
    ResidualTestResult {
        question: t.question.words().to_owned(),
        statistic: t.statistic,
        statistic_name: t.statistic_name.clone(),
        p_value: t.p_value,
        evidence: t.evidence.clone(),
        next: t.question.next().to_owned(),
    }
}

/// A line of an uncertainty budget as results have it.
pub(crate) fn budget_entry(b: &BudgetLine) -> BudgetEntry {
    BudgetEntry {
        source: b.source.clone(),
        scope: b.scope.word().to_owned(),
        evaluation: b.evaluation.to_owned(),
        contribution: b.contribution,
        share: b.share,
        dof: b.dof,
    }
}

/// A peak as results have it, without identity; where nothing was seen in a window, what tells of a maximum is missing.
pub(crate) fn peak_result(p: &Peak, run: &str, compound: Option<&str>, is_seen: bool) -> PeakResult {
    let finite = |x: f64| (x.is_finite() && is_seen).then_some(x);
    PeakResult {
        run: run.to_owned(),
        compound: compound.map(str::to_owned),
        identity_probability: None,
        candidates: Vec::new(),
        retention_index: None,
        retention_index_u: None,
        retention_factor: None,
        relative_retention: None,
        retention_time_min: finite(p.retention_time_min),
        start_min: p.start_min,
        end_min: p.end_min,
        area: p.area,
        area_u: p.area_u,
        height: finite(p.height),
        width_half_min: p.width_half_min,
        plates_half_height: p.plates_half_height,
        tailing_factor_5pct: p.tailing_factor_5pct,
        asymmetry_10pct: p.asymmetry_10pct,
        resolution_half_height: p.resolution_half_height,
        signal_to_noise: finite(p.signal_to_noise),
        height_over_sd: finite(p.height_over_sd),
        method: p.method.words().to_owned(),
        baseline: p.baseline,
        merits: None,
        fit: p.fit.as_ref().map(fit_result),
        by_hand: None,
        notes: p.notes.iter().map(ToString::to_string).collect(),
    }
}

fn fit_result(f: &PeakFit) -> FitResult {
    FitResult {
        shape: f.shape.words().to_owned(),
        together: f.together,
        area: f.area,
        area_u: f.area_u,
        drop_area: f.drop_area,
        drop_excess_percent: f.drop_excess().map(|e| 100.0 * e),
        sum_area: f.sum_area,
        sigma_min: f.sigma_min,
        tau_min: f.tau_min,
        chi_squared: f.chi_squared,
        dof: f.dof,
        probability: f.probability,
        is_sound: f.is_sound,
    }
}

/// Figures of merit as results have them.
pub(crate) fn merits_result(m: &Merits, conditions: &Conditions) -> MeritsResult {
    MeritsResult {
        width_tenth_min: m.width_tenth_min,
        width_tangent_min: m.width_tangent_min,
        mean_min: m.mean_min,
        variance_min2: m.variance_min2,
        skewness: m.skewness,
        plates_tangent: m.plates_tangent,
        plates_moments: m.plates_moments,
        plates_foley_dorsey: m.plates_foley_dorsey,
        resolution_tangent: m.resolution_tangent,
        kaiser_valley: m.kaiser_valley,
        retention_factor: m.retention_factor,
        hold_up_min: m.retention_factor.and(conditions.hold_up_min),
    }
}
