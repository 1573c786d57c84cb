//! The tables of the results: peaks, calibrations, amounts, budgets.

use crate::estimate::typographic;
use crate::results::{AmountResult, CalibrationPoint, CalibrationResult, PeakResult, Results, RunResult};

use super::context::{
    AmountRow, BudgetRow, BudgetTable, CalibrationPart, Fact, PeakRow, PeakTable, PointRow, ReportFigure,
};
use super::experimental::{fact, kind_words};
use super::number::{MISSING, decimals, dof, interval, or_dash, probability, significant, with_u};
use super::text::name;

/// Budgets shown; more would bury the page, and results.json holds them all.
const BUDGETS_SHOWN: usize = 8;

/// One representative standard (the middle of the accepted ones) and the first accepted sample.
pub(super) fn peak_tables(results: &Results) -> Vec<PeakTable> {
    shown_runs(results).into_iter().map(|r| peak_table(results, r)).collect()
}

/// The runs that the report shows: figure and table speak of the same ones.
pub(super) fn shown_runs(results: &Results) -> Vec<&RunResult> {
    let named = |r: &&RunResult| {
        results
            .peaks
            .iter()
            .filter(|p| p.run == r.run && p.compound.is_some() && p.retention_time_min.is_some())
            .count()
    };
    let of_kind = |kind: &str| -> Vec<&RunResult> {
        let all: Vec<&RunResult> = results.runs.iter().filter(|r| r.accepted && r.kind == kind).collect();
        let most = all.iter().map(named).max().unwrap_or(0);
        all.into_iter().filter(|r| most > 0 && named(r) == most).collect()
    };
    let mut standards = of_kind("standard");
    standards.sort_by(|a, b| (&a.sample, &a.run).cmp(&(&b.sample, &b.run)));
    let standard = standards.get(standards.len() / 2).copied();
    let sample = of_kind("sample").first().copied();
    standard.into_iter().chain(sample).collect()
}

fn peak_table(results: &Results, run: &RunResult) -> PeakTable {
    let mut peaks: Vec<&PeakResult> =
        results.peaks.iter().filter(|p| p.run == run.run && p.retention_time_min.is_some()).collect();
    peaks.sort_by(|a, b| a.retention_time_min.unwrap_or(0.0).total_cmp(&b.retention_time_min.unwrap_or(0.0)));
    let flask = run.preparation.as_deref().map(|p| format!(", flask {}", name(p))).unwrap_or_default();
    PeakTable {
        run: name(&run.run),
        what: format!("{}, {}{flask}", kind_words(&run.kind), name(&run.sample)),
        signal_unit: run.signal_unit.clone(),
        area_unit: crate::units::area_unit(&run.signal_unit),
        has_plates: peaks.iter().any(|p| p.plates_half_height.is_some()),
        // What agrees needs no remark: the table's probability says it, and results.json holds the sentence.
        notes: peaks
            .iter()
            .flat_map(|p| p.notes.iter().map(move |n| (p.compound.as_deref().map_or("unknown".into(), name), n)))
            .filter(|(_, note)| !note.starts_with("consistent with"))
            .map(|(compound, note)| format!("{compound}: {}", typographic(note)))
            .collect(),
        rows: peaks.iter().map(|p| peak_row(p)).collect(),
    }
}

fn peak_row(p: &PeakResult) -> PeakRow {
    let (area, area_u) = with_u(p.area, p.area_u);
    PeakRow {
        compound: p.compound.as_deref().map_or_else(|| "unknown".to_owned(), name),
        retention: or_dash(p.retention_time_min, |v| decimals(v, 3)),
        area,
        area_u,
        height: or_dash(p.height, |v| significant(v, 4)),
        width: or_dash(p.width_half_min, |v| decimals(v, 4)),
        plates: or_dash(p.plates_half_height, |v| significant(v, 3)),
        tailing: or_dash(p.tailing_factor_5pct, |v| decimals(v, 2)),
        resolution: or_dash(p.resolution_half_height, |v| decimals(v, 1)),
        signal_to_noise: or_dash(p.signal_to_noise, |v| significant(v, 3)),
        identity: or_dash(p.identity_probability, |v| if v > 0.999 { "> 0.999".to_owned() } else { decimals(v, 3) }),
    }
}

pub(super) fn calibrations(results: &Results, figures: &[ReportFigure]) -> Vec<CalibrationPart> {
    results.calibrations.iter().map(|c| calibration(c, figures)).collect()
}

/// Places in the list of figures whose id is this.
fn figures_of(figures: &[ReportFigure], id: &str) -> Vec<usize> {
    figures.iter().enumerate().filter(|(_, f)| f.id == id).map(|(i, _)| i).collect()
}

fn calibration(c: &CalibrationResult, figures: &[ReportFigure]) -> CalibrationPart {
    let coefficient = |wanted: &str| {
        let at = c.coefficients.iter().position(|k| k.name == wanted)?;
        Some((c.coefficients[at].value, c.standard_errors.get(at).copied().flatten()))
    };
    let text = |k: Option<(f64, Option<f64>)>| match k {
        None => MISSING.to_owned(),
        Some((value, None)) => significant(value, 5),
        Some((value, Some(se))) => {
            let (value, se) = with_u(value, se);
            format!("{value} (standard error {se})")
        }
    };
    let (intercept, slope) = (coefficient("intercept"), coefficient("slope"));
    let unit = |u: &str| if u.is_empty() || u == "1" { String::new() } else { format!(" {}", name(u)) };
    let x = |v: Option<f64>| or_dash(v, |v| significant(v, 3));
    let (of_unit, on_unit) = if is_inverse(c) { (&c.x_unit, &c.y_unit) } else { (&c.y_unit, &c.x_unit) };
    let mut facts = vec![
        fact("response", format!("y, {}", c.y_label)),
        fact("content", format!("x, {}", c.x_label)),
        fact("model", c.model.clone()),
        fact("weights", c.weights.clone()),
    ];
    if slope.is_some() {
        facts.push(fact("slope", format!("{}{}", text(slope), per_unit(of_unit, on_unit))));
    }
    if intercept.is_some() {
        facts.push(fact("intercept", format!("{}{}", text(intercept), unit(of_unit))));
    }
    // What a curve that bends has besides, in units of y and x as they stand above.
    for k in c.coefficients.iter().filter(|k| !["slope", "intercept"].contains(&k.name.as_str())) {
        facts.push(fact(&k.name, text(coefficient(&k.name))));
    }
    facts.push(fact(
        "residual standard deviation",
        or_dash(c.residual_sd, |v| significant(v, 3))
            + if c.weights.contains("two-part") { " (weighted, 1 where the weights are right)" } else { "" },
    ));
    if let Some(rho) = c.relative_sd {
        facts.push(fact("relative standard deviation between flasks ρ", format!("{} %", significant(100.0 * rho, 2))));
    }
    facts.push(fact("degrees of freedom", dof(Some(c.dof))));
    facts.push(fact("R² (no test of linearity)", or_dash(c.r_squared, |v| decimals(v, 5))));
    facts.push(fact(
        "range of the standards",
        format!("{} to {}{}", significant(c.range[0], 3), significant(c.range[1], 3), unit(&c.x_unit)),
    ));
    facts.push(fact(
        "lack of fit",
        match &c.lack_of_fit {
            None => "not tested: it takes two flasks a level".to_owned(),
            Some(l) => {
                let power = l.power.as_deref().map(|p| format!("; {p}")).unwrap_or_default();
                format!(
                    "F({}, {}) = {}, p = {}{power}",
                    dof(Some(l.dof[0])),
                    dof(Some(l.dof[1])),
                    significant(l.f, 3),
                    probability(l.p_value)
                )
            }
        },
    ));
    if let Some(v) = &c.volume_cancels {
        let (slope, se) = with_u(v.slope, v.slope_se);
        facts.push(fact(
            "volume cancels",
            format!(
                "{}: slope {slope} (standard error {se}), p = {}; a slope of {} would be found with 80 % power",
                if v.cancels { "yes" } else { "no" },
                probability(v.p_value),
                significant(v.detectable_slope, 2)
            ),
        ));
    }
    for t in &c.residual_tests {
        facts.push(fact(
            &format!("residuals: {}", t.question),
            format!(
                "{} = {}, p = {}; {}",
                t.statistic_name,
                significant(t.statistic, 3),
                probability(t.p_value),
                t.evidence
            ),
        ));
    }
    if let Some(d) = &c.drift {
        let (change, u) = with_u(100.0 * d.change, 100.0 * d.u);
        facts.push(fact(
            "drift from the first injection to the last",
            format!(
                "{change} % (standard error {u} %), p = {}; {} % would be found with 80 % power{}",
                probability(d.p_value),
                significant(100.0 * d.detectable, 2),
                if d.hidden { "; hidden by the order of injection" } else { "" }
            ),
        ));
    }
    if let Some(i) = &c.intercept_check {
        facts.push(fact("intercept beside the blank", format!("{}, p = {}", i.evidence, probability(i.p_value))));
    }
    if let Some(e) = &c.errors_in_x {
        let (slope, u) = with_u(e.slope, e.slope_u);
        facts.push(fact(
            "with uncertain contents, generalised least squares",
            format!(
                "slope {slope} (u {u}), χ² = {} on {}, p = {}",
                significant(e.chi_squared, 3),
                dof(Some(e.dof)),
                probability(e.p_value)
            ),
        ));
    }
    if let Some(rse) = c.relative_standard_error_percent {
        facts.push(fact("relative standard error of the standards", format!("{} %", significant(rse, 2))));
    }
    facts.push(fact("critical value", x(c.critical_value) + &unit(&c.x_unit)));
    let range = c.detection_limit_range.map(|[a, b]| format!(" ({} to {})", significant(a, 2), significant(b, 2)));
    facts.push(fact("detection limit", x(c.detection_limit) + &range.unwrap_or_default() + &unit(&c.x_unit)));
    facts.push(fact("quantitation limit", x(c.quantitation_limit) + &unit(&c.x_unit)));
    if let Some(method) = &c.limit_method {
        facts.push(fact("limits", method.clone()));
    }
    for l in &c.other_limits {
        let range =
            l.range.map(|[a, b]| format!(" ({} to {})", significant(a, 2), significant(b, 2))).unwrap_or_default();
        facts.push(fact(
            &format!("{}: {}", l.what, name(&l.rule)),
            format!("{}{range}{}", significant(l.value, 2), unit(&l.unit)),
        ));
    }
    let worst = c.points.iter().filter(|p| p.excluded.is_none()).filter_map(|p| p.deviation_percent);
    CalibrationPart {
        compound: name(&c.compound),
        quantification: c.quantification.clone(),
        internal_standard: c.internal_standard.as_deref().map(name),
        equation: equation(c, intercept.map(|k| k.0), slope.map(|k| k.0)),
        intercept: text(intercept),
        slope: text(slope),
        facts,
        x_label: c.x_label.clone() + &in_unit(&c.x_unit),
        y_label: c.y_label.clone() + &in_unit(&c.y_unit),
        points: by_content(&c.points).into_iter().map(point).collect(),
        worst_deviation: worst
            .max_by(|a, b| a.abs().total_cmp(&b.abs()))
            .map_or_else(|| MISSING.to_owned(), |v| format!("{} %", decimals(v, 1))),
        figures: figures_of(figures, &format!("calibration/{}", c.compound)),
        notes: c.notes.iter().map(|n| typographic(n)).collect(),
    }
}

/// Lowest content first, whatever the order of injection.
fn by_content(points: &[CalibrationPoint]) -> Vec<&CalibrationPoint> {
    let mut sorted: Vec<&CalibrationPoint> = points.iter().collect();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then_with(|| a.label.cmp(&b.label)));
    sorted
}

fn in_unit(unit: &str) -> String {
    if unit.is_empty() || unit == "1" { String::new() } else { format!(" / {}", name(unit)) }
}

fn per_unit(y: &str, x: &str) -> String {
    match (y, x) {
        ("1" | "", "1" | "") => String::new(),
        (y, "1" | "") => format!(" {}", name(y)),
        ("1" | "", x) => format!(" per {}", name(x)),
        (y, x) => format!(" {} per {}", name(y), name(x)),
    }
}

/// `y = a + b x`; the other way round where content was regressed on response.
fn equation(c: &CalibrationResult, intercept: Option<f64>, slope: Option<f64>) -> String {
    let named = |wanted: &str| c.coefficients.iter().find(|k| k.name == wanted).map(|k| k.value);
    if let (Some(a), Some(b), Some(c)) = (intercept, slope, named("curvature")) {
        let term = |v: f64, x: &str| format!(" {} {} {x}", if v < 0.0 { "−" } else { "+" }, significant(v.abs(), 5));
        return format!("y = {}{}{}", significant(a, 4), term(b, "x"), term(c, "x²"));
    }
    if let Some(n) = named("exponent") {
        let n = significant(n, 4);
        return match (named("factor"), named("logarithm of the factor")) {
            (Some(a), _) => format!("y = {} x^{n}", significant(a, 5)),
            (_, Some(k)) => format!("ln y = {} + {n} ln x", significant(k, 5)),
            _ => MISSING.to_owned(),
        };
    }
    let (of, on) = if is_inverse(c) { ("x", "y") } else { ("y", "x") };
    let right = match (intercept, slope) {
        (Some(a), Some(b)) => {
            let sign = if b < 0.0 { "−" } else { "+" };
            format!("{} {sign} {} {on}", significant(a, 4), significant(b.abs(), 5))
        }
        (None, Some(b)) => format!("{} {on}", significant(b, 5)),
        _ => return MISSING.to_owned(),
    };
    format!("{of} = {right}")
}

/// True where content was regressed on response.
pub(super) fn is_inverse(c: &CalibrationResult) -> bool {
    c.model == crate::calibrate::Model::InverseRegressionLine.words()
}

fn point(p: &CalibrationPoint) -> PointRow {
    let (y, y_u) = with_u(p.y, p.y_u);
    PointRow {
        label: name(&p.label),
        x: significant(p.x, 4),
        y,
        y_u,
        shots: p.shots.to_string(),
        residual: or_dash(p.standardised_residual, |v| decimals(v, 2)),
        back_calculated: or_dash(p.back_calculated, |v| significant(v, 4)),
        deviation: or_dash(p.deviation_percent, |v| decimals(v, 1)),
        excluded: p.excluded.clone(),
    }
}

pub(super) fn amounts(results: &Results) -> Vec<AmountRow> {
    results.amounts.iter().map(amount).collect()
}

fn amount(a: &AmountResult) -> AmountRow {
    let (value, u) = match a.u {
        Some(u) => with_u(a.value, u),
        None => (significant(a.value, 3), MISSING.to_owned()),
    };
    let recovery = a.expected.map(|expected| match a.recovery_percent {
        Some(r) => format!("{} % of {} {}", decimals(r, 1), super::number::typed(expected), name(&a.unit)),
        None => format!("expected {} {}", super::number::typed(expected), name(&a.unit)),
    });
    AmountRow {
        sample: name(&a.sample),
        kind: kind_words(&a.kind),
        compound: name(&a.compound),
        quantity: a.quantity.clone(),
        of: a.of.clone(),
        text: typographic(&a.text),
        value,
        u,
        dof: if a.u.is_some() { dof(a.dof) } else { MISSING.to_owned() },
        interval: interval(a.interval, a.u),
        level: format!("{} %", super::number::typed(100.0 * a.coverage_probability)),
        unit: a.unit.clone(),
        flasks_shots: format!("{} / {}", a.n_preparations, a.n_injections),
        detected: a.detected,
        detection_limit: or_dash(a.detection_limit, |v| significant(v, 2)),
        recovery,
        notes: a.notes.iter().map(|n| typographic(n)).collect(),
    }
}

/// Every note once, with the amounts it is about.
pub(super) fn amount_notes(results: &Results) -> Vec<String> {
    let mut notes: Vec<(&str, Vec<String>)> = Vec::new();
    for a in &results.amounts {
        for note in &a.notes {
            let about = format!("{} in {}", name(&a.compound), name(&a.sample));
            match notes.iter_mut().find(|n| n.0 == note) {
                Some(known) if known.1.contains(&about) => {}
                Some(known) => known.1.push(about),
                None => notes.push((note, vec![about])),
            }
        }
    }
    notes.into_iter().map(|(note, about)| format!("{}: {}", about.join("; "), typographic(note))).collect()
}

/// The budget of every sample's amount in the quantity first stated for it.
pub(super) fn budgets(results: &Results, figures: &[ReportFigure]) -> Vec<BudgetTable> {
    let mut seen: Vec<(&str, &str)> = Vec::new();
    let mut tables = Vec::new();
    for a in results.amounts.iter().filter(|a| a.kind == "sample" && !a.budget.is_empty()) {
        if seen.contains(&(a.sample.as_str(), a.compound.as_str())) {
            continue;
        }
        seen.push((&a.sample, &a.compound));
        if tables.len() < BUDGETS_SHOWN {
            tables.push(budget(a, figures));
        }
    }
    tables
}

fn budget(a: &AmountResult, figures: &[ReportFigure]) -> BudgetTable {
    let mut entries: Vec<_> = a.budget.iter().collect();
    entries.sort_by(|p, q| q.share.total_cmp(&p.share));
    let rows = entries
        .iter()
        .map(|b| BudgetRow {
            source: b.source.clone(),
            scope: b.scope.clone(),
            evaluation: b.evaluation.clone(),
            contribution: significant(b.contribution, 2),
            share: if b.share < 0.0005 { "< 0.1".to_owned() } else { decimals(100.0 * b.share, 1) },
            fraction: if b.share.is_finite() { b.share.clamp(0.0, 1.0) } else { 0.0 },
            dof: dof(b.dof),
        })
        .collect();
    BudgetTable {
        what: format!("{} in {}, {}", name(&a.compound), name(&a.sample), a.quantity),
        unit: a.unit.clone(),
        rows,
        figures: figures_of(figures, &format!("budget/{}/{}", a.sample, a.compound)),
        total: or_dash(a.u, |v| significant(v, 2)),
        dof: dof(a.dof),
    }
}

/// Stands for a setting that the study leaves open.
pub(super) const DEFAULT: &str = "default";

/// The settings of a value that serde knows, as `key = value`; `null` is the default.
pub(super) fn settings(prefix: &str, value: &serde_json::Value, into: &mut Vec<Fact>) {
    use serde_json::Value;
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                let key = if prefix.is_empty() { key.clone() } else { format!("{prefix}.{key}") };
                settings(&key, value, into);
            }
        }
        Value::Array(items) if items.iter().any(|i| i.is_object()) => {
            for (i, item) in items.iter().enumerate() {
                settings(&format!("{prefix}[{}]", i + 1), item, into);
            }
        }
        Value::Null => into.push(fact(prefix, DEFAULT)),
        Value::String(text) => into.push(fact(prefix, text.clone())),
        other => into.push(fact(prefix, other.to_string())),
    }
}
