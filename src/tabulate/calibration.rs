//! Calibrations: their flasks as rows, their figures as facts.

use super::{Rows, Tabular, facts, freedom, table};
use crate::calibrate::{Curve, ResidualTest};
use crate::estimate::{decimals, plus_minus, significant};
use crate::results::{CalibrationPoint, CalibrationResult, ResidualTestResult};
use crate::study::{calibration_points, residual_test_result};
use crate::table::{Rounding, Table};

impl Tabular for CalibrationResult {
    fn table(&self) -> Table {
        let mut points: Vec<CalibrationPoint> = self.points.clone();
        points.sort_by(|a, b| a.x.total_cmp(&b.x).then_with(|| a.label.cmp(&b.label)));
        let mut table = flasks(&points, &self.x_unit, &self.y_unit);
        table.caption = format!("Calibration of {}: x {}, y {}", self.compound, self.x_label, self.y_label);
        table.notes.extend(self.notes.iter().cloned());
        table
    }
}

/// The flasks in the order given.
impl Tabular for Curve {
    fn table(&self) -> Table {
        let mut table = flasks(&calibration_points(self), "", "");
        table.caption = format!("Calibration of {}: x content, y response", self.compound);
        table.notes.extend(self.notes.iter().map(ToString::to_string));
        table
    }
}

impl Tabular for [CalibrationPoint] {
    fn table(&self) -> Table {
        flasks(self, "", "")
    }
}

fn flasks(points: &[CalibrationPoint], x_unit: &str, y_unit: &str) -> Table {
    let rows = Rows(points);
    // An uncertainty of 0 stands for one that is not known.
    let [y, y_u] = rows.measured("y", y_unit, |p| Some(p.y), |p| Some(p.y_u).filter(|u| *u > 0.0));
    table(
        "Flasks",
        vec![
            rows.text("flask", |p| Some(p.label.clone())),
            rows.number("x", x_unit, |p| Some(p.x)).rounded(Rounding::Significant(4)),
            y,
            y_u,
            rows.number("shots", "", |p| Some(p.shots as f64)),
            rows.number("residual", y_unit, |p| p.residual).rounded(Rounding::Significant(2)),
            rows.number("standardised_residual", "", |p| p.standardised_residual)
                .headed("standardised residual")
                .rounded(Rounding::Decimals(2)),
            rows.number("leverage", "", |p| p.leverage).rounded(Rounding::Decimals(2)),
            rows.number("cooks_distance", "", |p| p.cooks_distance)
                .headed("Cook's distance")
                .rounded(Rounding::Decimals(2))
                .as_detail(),
            rows.number("back_calculated", x_unit, |p| p.back_calculated)
                .headed("calculated back")
                .rounded(Rounding::Significant(4)),
            rows.number("deviation_percent", "%", |p| p.deviation_percent)
                .headed("deviation")
                .rounded(Rounding::Decimals(1)),
            rows.text("excluded", |p| p.excluded.clone()).headed("left out because"),
        ],
    )
}

/// One p-value each, not adjusted for their number: findings are.
impl Tabular for [ResidualTestResult] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        let mut table = table(
            "Tests of residuals",
            vec![
                rows.text("question", |t| Some(t.question.clone())),
                rows.text("statistic_name", |t| Some(t.statistic_name.clone())).headed("statistic"),
                rows.number("statistic", "", |t| Some(t.statistic)).headed("seen").rounded(Rounding::Significant(3)),
                rows.number("p_value", "", |t| Some(t.p_value)).headed("p").rounded(Rounding::Significant(2)),
                rows.text("evidence", |t| Some(t.evidence.clone())),
                rows.text("next", |t| Some(t.next.clone())).as_detail(),
            ],
        );
        table.notes.push("each p alone: among five tests, one below 0.05 is no rarity on sound data".to_owned());
        table
    }
}

impl Tabular for [ResidualTest] {
    fn table(&self) -> Table {
        let results: Vec<ResidualTestResult> = self.iter().map(residual_test_result).collect();
        results.table()
    }
}

impl Tabular for [CalibrationResult] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        let at = |c: &CalibrationResult, name: &str| c.coefficients.iter().position(|k| k.name == name);
        let value = |name: &'static str| move |c: &CalibrationResult| at(c, name).map(|i| c.coefficients[i].value);
        let error = |name: &'static str| {
            move |c: &CalibrationResult| at(c, name).and_then(|i| c.standard_errors.get(i).copied().flatten())
        };
        let [intercept, intercept_u] = rows.measured("intercept", "", value("intercept"), error("intercept"));
        let [slope, slope_u] = rows.measured("slope", "", value("slope"), error("slope"));
        let three = |c: crate::table::Column, heading: &str| c.headed(heading).rounded(Rounding::Significant(3));
        let x_unit = super::common(self.iter().map(|c| c.x_unit.as_str()));
        table(
            "Calibrations",
            vec![
                rows.text("compound", |c| Some(c.compound.clone())),
                rows.text("quantification", |c| Some(c.quantification.clone())),
                rows.text("model", |c| Some(c.model.clone())),
                rows.text("weights", |c| Some(c.weights.clone())).as_detail(),
                intercept,
                intercept_u.named("intercept_se").headed("standard error"),
                slope,
                slope_u.named("slope_se").headed("standard error"),
                three(rows.number("residual_sd", "", |c| c.residual_sd), "residual standard deviation"),
                rows.number("dof", "", |c| Some(c.dof)).headed("degrees of freedom"),
                rows.number("r_squared", "", |c| c.r_squared).headed("R²").rounded(Rounding::Decimals(5)).as_detail(),
                three(rows.number("lowest", x_unit, |c| Some(c.range[0])), "lowest standard"),
                three(rows.number("highest", x_unit, |c| Some(c.range[1])), "highest standard"),
                three(
                    rows.number("lack_of_fit_p", "", |c| c.lack_of_fit.as_ref().map(|l| l.p_value)),
                    "p, lack of fit",
                ),
                rows.number("critical_value", x_unit, |c| c.critical_value).as_detail(),
                three(rows.number("detection_limit", x_unit, |c| c.detection_limit), "detection limit"),
                three(rows.number("quantitation_limit", x_unit, |c| c.quantitation_limit), "quantitation limit"),
                rows.text("x_unit", |c| Some(c.x_unit.clone())).as_detail(),
                rows.text("y_unit", |c| Some(c.y_unit.clone())).as_detail(),
            ],
        )
    }
}

/// What is told of a calibration beside its flasks.
pub(crate) fn result_facts(c: &CalibrationResult) -> Table {
    let mut rows: Vec<(&str, String)> = vec![("model", c.model.clone()), ("weights", c.weights.clone())];
    for (k, se) in c.coefficients.iter().zip(&c.standard_errors) {
        let text = match se {
            Some(se) => format!("{} (standard uncertainty)", plus_minus(k.value, *se, "")),
            None => significant(k.value, 5),
        };
        rows.push((k.name.as_str(), text));
    }
    let in_x = |v: Option<f64>| v.map(|v| format!("{} {}", significant(v, 3), c.x_unit).trim_end().to_owned());
    let mut optional = |name: &'static str, text: Option<String>| rows.extend(text.map(|t| (name, t)));
    optional("residual standard deviation", c.residual_sd.map(|s| significant(s, 3)));
    optional(
        "relative standard deviation between flasks",
        c.relative_sd.map(|r| format!("{} %", significant(100.0 * r, 2))),
    );
    optional("degrees of freedom", Some(freedom(c.dof)));
    optional("R² (no test of linearity)", c.r_squared.map(|r| decimals(r, 5)));
    optional(
        "lack of fit",
        Some(match &c.lack_of_fit {
            None => "not tested: it takes two flasks a level".to_owned(),
            Some(l) => {
                let power = l.power.as_deref().map(|p| format!("; {p}")).unwrap_or_default();
                format!(
                    "F({}, {}) = {}, p = {}{power}",
                    freedom(l.dof[0]),
                    freedom(l.dof[1]),
                    significant(l.f, 3),
                    significant(l.p_value, 2)
                )
            }
        }),
    );
    optional("critical value", in_x(c.critical_value));
    optional("detection limit", in_x(c.detection_limit));
    optional("quantitation limit", in_x(c.quantitation_limit));
    optional("limits", c.limit_method.clone());
    facts(format!("Calibration of {}", c.compound), rows)
}
