//! What is told of a peak, a flask or a shot under the pointer: one figure of merit a line.

use crate::estimate::{plus_minus, significant, typographic};
use crate::peaks::Peak;
use crate::results::{CalibrationPoint, CalibrationResult, PeakResult};
use crate::study::peak_result;

/// All figures of merit of a peak; what cannot be told from the data is left out.
pub(super) fn peak(p: &PeakResult, retention_u_min: Option<f64>, signal_unit: &str) -> String {
    let mut lines = vec![match &p.compound {
        Some(name) => name.clone(),
        None => "not named".to_owned(),
    }];
    let mut tell = |what: &str, value: Option<String>| {
        if let Some(value) = value {
            lines.push(format!("{what}: {}", typographic(&value)));
        }
    };
    let figure = |v: Option<f64>, unit: &str| v.map(|v| format!("{} {unit}", significant(v, 3)).trim_end().to_owned());
    let time = |t: f64| match retention_u_min {
        Some(u) => plus_minus(t, u, "min"),
        None => format!("{} min", significant(t, 4)),
    };
    tell("probability of the name", p.identity_probability.filter(|_| p.compound.is_some()).map(|q| significant(q, 2)));
    tell("retention time", p.retention_time_min.map(time));
    let area_unit = crate::units::area_unit(signal_unit);
    tell("area", Some(format!("{} (standard uncertainty)", plus_minus(p.area, p.area_u, &area_unit))));
    tell("height", figure(p.height, signal_unit));
    tell("width at half height", figure(p.width_half_min, "min"));
    tell("signal to noise", figure(p.signal_to_noise, ""));
    tell("plates", figure(p.plates_half_height, ""));
    tell("tailing factor", figure(p.tailing_factor_5pct, ""));
    tell("asymmetry", figure(p.asymmetry_10pct, ""));
    tell("resolution from the peak before", figure(p.resolution_half_height, ""));
    let span = format!("{}, {} to {} min", p.method, significant(p.start_min, 4), significant(p.end_min, 4));
    tell("integrated", Some(span));
    lines.extend(p.notes.iter().map(|n| format!("note: {n}")));
    lines.join("\n")
}

/// A flask of a calibration.
pub(super) fn flask(p: &CalibrationPoint, c: &CalibrationResult) -> String {
    let unit = |value: String, unit: &str| typographic(format!("{value} {unit}").trim_end());
    let mut lines = vec![p.label.clone(), format!("content: {}", unit(significant(p.x, 4), &c.x_unit))];
    let response = if p.y_u > 0.0 { plus_minus(p.y, p.y_u, &c.y_unit) } else { unit(significant(p.y, 4), &c.y_unit) };
    let shots = if p.shots == 1 { "1 shot".to_owned() } else { format!("mean of {} shots", p.shots) };
    lines.push(format!("response: {} ({shots})", typographic(&response)));
    let mut tell = |what: &str, value: Option<String>| {
        if let Some(value) = value {
            lines.push(format!("{what}: {}", typographic(&value)));
        }
    };
    tell("residual", p.residual.map(|r| unit(significant(r, 2), &c.y_unit)));
    tell("standardised residual", p.standardised_residual.map(|r| significant(r, 2)));
    tell("leverage", p.leverage.map(|h| significant(h, 2)));
    tell("calculated back", p.back_calculated.map(|x| unit(significant(x, 3), &c.x_unit)));
    tell("deviation", p.deviation_percent.map(|d| format!("{} %", significant(d, 2))));
    if let Some(reason) = &p.excluded {
        lines.push(format!("left out: {reason}"));
    }
    lines.join("\n")
}

/// A peak that has no name yet, as results have it.
pub(super) fn as_result(p: &Peak, run: &str, compound: Option<&str>) -> PeakResult {
    let seen = p.retention_time_u_min.is_some() || p.width_half_min.is_some();
    peak_result(p, run, compound, seen)
}
