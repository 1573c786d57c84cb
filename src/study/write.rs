//! The results folder: `results.json` and the same as CSV tables, each file whole or not at all.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};
use crate::results::Results;

/// Writes all result files into `folder`, which is made where it is missing.
///
/// # Errors
/// A file that cannot be written; files written before it are whole, the old ones of the rest still stand.
pub(super) fn write_results(results: &Results, folder: &Path) -> Result<PathBuf> {
    fs::create_dir_all(folder).map_err(|e| Error::io("make", folder, e))?;
    // Made in memory first, so that a failure to format writes nothing at all.
    let mut files: Vec<(&str, Vec<u8>)> = vec![
        ("runs.csv", runs(results)?),
        ("peaks.csv", peaks(results)?),
        ("calibrations.csv", calibrations(results)?),
        ("calibration_points.csv", points(results)?),
        ("amounts.csv", amounts(results)?),
        ("budget.csv", budget(results)?),
        ("findings.csv", findings(results)?),
    ];
    // Last, so that a results.json that is there speaks for a complete folder.
    files.push(("results.json", json(results)?));
    for (name, bytes) in &files {
        write_whole(&folder.join(name), bytes)?;
    }
    Ok(folder.to_path_buf())
}

/// The text of `results.json`.
///
/// # Errors
/// None for results made by this program.
pub(super) fn json(results: &Results) -> Result<Vec<u8>> {
    let mut text = serde_json::to_vec_pretty(results)
        .map_err(|e| Error::new(ErrorKind::Data, "the results cannot be written as JSON").because(e))?;
    text.push(b'\n');
    Ok(text)
}

/// Writes under a temporary name in the same folder, then renames: readers see the old file or the new.
pub(crate) fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(|e| Error::io("make the folder of", path, e))?;
    let mut file =
        tempfile::Builder::new().prefix(".vialbook-").tempfile_in(folder).map_err(|e| Error::io("write", path, e))?;
    file.write_all(bytes).map_err(|e| Error::io("write", path, e))?;
    // Temporary files are private; results are as readable as any other file of the user's.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = file.as_file().set_permissions(fs::Permissions::from_mode(0o644));
    }
    file.persist(path).map_err(|e| Error::io("rename", path, e.error))?;
    Ok(())
}

/// One table: header and rows of cells.
fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Result<Vec<u8>> {
    let broken = |e: csv::Error| Error::new(ErrorKind::Data, "a table cannot be written as CSV").because(e);
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header).map_err(broken)?;
    for row in rows {
        writer.write_record(&row).map_err(broken)?;
    }
    writer
        .into_inner()
        .map_err(|e| Error::new(ErrorKind::Data, "a table cannot be written as CSV").because(e.into_error()))
}

/// A number to its last bit; a missing one is an empty cell.
fn n(value: impl Into<Option<f64>>) -> String {
    value.into().filter(|v| v.is_finite()).map(|v| v.to_string()).unwrap_or_default()
}

/// Text from a person or a file: spreadsheets would run a cell that begins like a formula.
fn t(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

fn o(text: &Option<String>) -> String {
    text.as_deref().map(t).unwrap_or_default()
}

fn runs(r: &Results) -> Result<Vec<u8>> {
    table(
        &[
            "run",
            "file",
            "sha256",
            "kind",
            "sample",
            "preparation",
            "replicate",
            "time",
            "accepted",
            "reason",
            "start_offset_s",
            "start_offset_u_s",
            "time_scale",
            "time_scale_u",
            "missing",
            "noise_sd",
            "noise_peak_to_peak",
            "baseline",
            "signal_unit",
            "notes",
        ],
        r.runs.iter().map(|x| {
            let shift = r.naming.runs.iter().find(|s| s.run == x.run);
            let missing = shift.iter().flat_map(|s| &s.missing).map(|m| m.compound.as_str()).collect::<Vec<_>>();
            vec![
                t(&x.run),
                t(&x.file),
                x.sha256.clone(),
                x.kind.clone(),
                t(&x.sample),
                o(&x.preparation),
                o(&x.replicate),
                o(&x.time),
                x.accepted.to_string(),
                o(&x.reason),
                n(x.start_offset_s),
                n(shift.and_then(|s| s.start_offset_u_s)),
                n(shift.and_then(|s| s.time_scale)),
                n(shift.and_then(|s| s.time_scale_u)),
                t(&missing.join("; ")),
                n(x.noise_sd),
                n(x.noise_peak_to_peak),
                t(&x.baseline),
                t(&x.signal_unit),
                t(&x.notes.join("; ")),
            ]
        }),
    )
}

fn peaks(r: &Results) -> Result<Vec<u8>> {
    table(
        &[
            "run",
            "compound",
            "identity_probability",
            "candidates",
            "retention_index",
            "retention_index_u",
            "retention_factor",
            "relative_retention",
            "retention_time_min",
            "start_min",
            "end_min",
            "area",
            "area_u",
            "height",
            "width_half_min",
            "plates_half_height",
            "tailing_factor_5pct",
            "asymmetry_10pct",
            "resolution_half_height",
            "signal_to_noise",
            "height_over_sd",
            "method",
            "baseline_start",
            "baseline_end",
            "plates_tangent",
            "plates_moments",
            "plates_foley_dorsey",
            "resolution_tangent",
            "kaiser_valley",
            "retention_factor",
            "fit_area",
            "fit_area_u",
            "drop_excess_percent",
            "by_hand",
            "notes",
        ],
        r.peaks.iter().map(|x| {
            let one = |c: &crate::results::CandidateResult| format!("{} {}", c.compound, n(c.probability));
            let candidates = x.candidates.iter().map(one).collect::<Vec<_>>();
            vec![
                t(&x.run),
                o(&x.compound),
                n(x.identity_probability),
                t(&candidates.join("; ")),
                n(x.retention_index),
                n(x.retention_index_u),
                n(x.retention_factor),
                n(x.relative_retention),
                n(x.retention_time_min),
                n(x.start_min),
                n(x.end_min),
                n(x.area),
                n(x.area_u),
                n(x.height),
                n(x.width_half_min),
                n(x.plates_half_height),
                n(x.tailing_factor_5pct),
                n(x.asymmetry_10pct),
                n(x.resolution_half_height),
                n(x.signal_to_noise),
                n(x.height_over_sd),
                x.method.clone(),
                n(x.baseline[0]),
                n(x.baseline[1]),
                n(x.merits.as_ref().and_then(|m| m.plates_tangent)),
                n(x.merits.as_ref().and_then(|m| m.plates_moments)),
                n(x.merits.as_ref().and_then(|m| m.plates_foley_dorsey)),
                n(x.merits.as_ref().and_then(|m| m.resolution_tangent)),
                n(x.merits.as_ref().and_then(|m| m.kaiser_valley)),
                n(x.merits.as_ref().and_then(|m| m.retention_factor)),
                n(x.fit.as_ref().map(|f| f.area)),
                n(x.fit.as_ref().and_then(|f| f.area_u)),
                n(x.fit.as_ref().and_then(|f| f.drop_excess_percent)),
                x.by_hand.as_ref().map(|b| t(&b.reason)).unwrap_or_default(),
                t(&x.notes.join("; ")),
            ]
        }),
    )
}

fn calibrations(r: &Results) -> Result<Vec<u8>> {
    let coefficient = |x: &crate::results::CalibrationResult, name: &str| {
        let at = x.coefficients.iter().position(|c| c.name == name);
        (n(at.map(|i| x.coefficients[i].value)), n(at.and_then(|i| x.standard_errors[i])))
    };
    table(
        &[
            "compound",
            "quantification",
            "internal_standard",
            "model",
            "weights",
            "x_unit",
            "y_unit",
            "intercept",
            "intercept_se",
            "slope",
            "slope_se",
            "residual_sd",
            "relative_sd",
            "dof",
            "r_squared",
            "lowest",
            "highest",
            "lack_of_fit_p",
            "critical_value",
            "detection_limit",
            "quantitation_limit",
            "limit_method",
            "notes",
        ],
        r.calibrations.iter().map(|x| {
            let (intercept, intercept_se) = coefficient(x, "intercept");
            let (slope, slope_se) = coefficient(x, "slope");
            vec![
                t(&x.compound),
                x.quantification.clone(),
                o(&x.internal_standard),
                x.model.clone(),
                x.weights.clone(),
                x.x_unit.clone(),
                t(&x.y_unit),
                intercept,
                intercept_se,
                slope,
                slope_se,
                n(x.residual_sd),
                n(x.relative_sd),
                n(x.dof),
                n(x.r_squared),
                n(x.range[0]),
                n(x.range[1]),
                n(x.lack_of_fit.as_ref().map(|l| l.p_value)),
                n(x.critical_value),
                n(x.detection_limit),
                n(x.quantitation_limit),
                o(&x.limit_method),
                t(&x.notes.join("; ")),
            ]
        }),
    )
}

fn points(r: &Results) -> Result<Vec<u8>> {
    table(
        &[
            "compound",
            "flask",
            "x",
            "y",
            "y_u",
            "shots",
            "residual",
            "standardised_residual",
            "leverage",
            "cooks_distance",
            "back_calculated",
            "deviation_percent",
            "excluded",
        ],
        r.calibrations.iter().flat_map(|c| {
            c.points.iter().map(|p| {
                vec![
                    t(&c.compound),
                    t(&p.label),
                    n(p.x),
                    n(p.y),
                    n(p.y_u),
                    p.shots.to_string(),
                    n(p.residual),
                    n(p.standardised_residual),
                    n(p.leverage),
                    n(p.cooks_distance),
                    n(p.back_calculated),
                    n(p.deviation_percent),
                    o(&p.excluded),
                ]
            })
        }),
    )
}

fn amounts(r: &Results) -> Result<Vec<u8>> {
    table(
        &[
            "sample",
            "kind",
            "compound",
            "quantity",
            "of",
            "value",
            "u",
            "dof",
            "coverage_probability",
            "low",
            "high",
            "unit",
            "n_preparations",
            "n_injections",
            "detected",
            "critical_value",
            "detection_limit",
            "in_flask",
            "dilution_applied",
            "expected",
            "recovery_percent",
            "text",
            "notes",
        ],
        r.amounts.iter().map(|x| {
            vec![
                t(&x.sample),
                x.kind.clone(),
                t(&x.compound),
                x.quantity.clone(),
                x.of.clone(),
                n(x.value),
                n(x.u),
                n(x.dof),
                n(x.coverage_probability),
                n(x.interval[0]),
                n(x.interval[1]),
                x.unit.clone(),
                x.n_preparations.to_string(),
                x.n_injections.to_string(),
                x.detected.to_string(),
                n(x.critical_value),
                n(x.detection_limit),
                n(x.in_flask),
                n(x.dilution_applied),
                n(x.expected),
                n(x.recovery_percent),
                t(&x.text),
                t(&x.notes.join("; ")),
            ]
        }),
    )
}

fn budget(r: &Results) -> Result<Vec<u8>> {
    table(
        &["sample", "compound", "quantity", "source", "scope", "evaluation", "contribution", "unit", "share", "dof"],
        r.amounts.iter().flat_map(|a| {
            a.budget.iter().map(|b| {
                vec![
                    t(&a.sample),
                    t(&a.compound),
                    a.quantity.clone(),
                    t(&b.source),
                    b.scope.clone(),
                    b.evaluation.clone(),
                    n(b.contribution),
                    a.unit.clone(),
                    n(b.share),
                    n(b.dof),
                ]
            })
        }),
    )
}

fn findings(r: &Results) -> Result<Vec<u8>> {
    table(
        &["severity", "what", "figure", "limit", "origin", "where", "why", "next"],
        r.findings.iter().map(|x| {
            vec![
                x.severity.word().to_owned(),
                t(&x.what),
                n(x.figure),
                n(x.limit),
                t(&x.origin),
                t(&x.place),
                t(&x.why),
                o(&x.next),
            ]
        }),
    )
}
