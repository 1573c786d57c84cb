//! One calculation of each kind with the very numbers used: formula, substitution with units, result.
//!
//! Each is worked through here a second time; one that does not arrive at the program's own number is left out,
//! since a wrong example is worse than none.

use serde::Serialize;

use crate::results::{AmountResult, CalibrationResult, MeritsResult, PeakResult, Results};

use super::number::{decimals, significant};
use super::sample_calculation::SampleCalculation;
use super::text::name;
use super::words::check_formula;

/// Digits carried along.
const GUARD_DIGITS: usize = 6;
/// Relative difference up to which two ways give the same number.
const SAME: f64 = 1e-6;

/// A calculation as a task: question, hint, steps to the answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Calculation {
    /// Short key, such as "resolution".
    pub key: String,
    /// Name of the kind, such as "Resolution".
    pub title: String,
    /// The question.
    pub question: String,
    /// A hint.
    pub hint: String,
    /// The steps.
    pub steps: Vec<CalculationStep>,
    /// The answer in a sentence.
    pub result: String,
}

/// A step of a calculation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalculationStep {
    /// What is done.
    pub words: String,
    /// Formula and substitution.
    pub formula: String,
    /// The same in words.
    pub alt: String,
}

/// All kinds that these results hold numbers for, in the order of the work.
pub(super) fn calculations(results: &Results, sample: Option<&SampleCalculation>) -> Vec<Calculation> {
    let mut out = Vec::new();
    let runs: Vec<&str> = super::tables::shown_runs(results).iter().map(|r| r.run.as_str()).collect();
    out.extend(runs.iter().find_map(|run| resolution(results, run)));
    out.extend(runs.iter().find_map(|run| plates(results, run)));
    out.extend(sample.and_then(area_ratio));
    let calibration = sample.and_then(|s| results.calibrations.iter().find(|c| name(&c.compound) == s.compound));
    out.extend(calibration.and_then(line));
    out.extend(sample.map(amount));
    out.extend(sample.and_then(dilution));
    out.extend(sample.and_then(uncertainty));
    out.extend(calibration.zip(sample).and_then(|(c, s)| detection_limit(results, c, s)));
    // A formula of our own that does not parse would be a slip of ours: better left out than half printed.
    out.retain(|c| c.steps.iter().all(|s| check_formula(&s.formula).is_ok()));
    out
}

fn step(words: impl Into<String>, formula: impl Into<String>) -> CalculationStep {
    let formula = formula.into();
    let alt = check_formula(&formula).unwrap_or_default();
    CalculationStep { words: words.into(), formula, alt }
}

/// A number, or any words, inside a formula.
fn q(text: &str) -> String {
    format!("\"{}\"", text.replace(['"', '\\'], " "))
}

fn n(value: f64) -> String {
    q(&significant(value, GUARD_DIGITS))
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME * b.abs()
}

/// Peaks of a run in the order of time.
fn in_time<'a>(results: &'a Results, run: &str) -> Vec<&'a PeakResult> {
    let mut peaks: Vec<&PeakResult> =
        results.peaks.iter().filter(|p| p.run == run && p.retention_time_min.is_some()).collect();
    peaks.sort_by(|a, b| a.retention_time_min.unwrap_or(0.0).total_cmp(&b.retention_time_min.unwrap_or(0.0)));
    peaks
}

fn resolution(results: &Results, run: &str) -> Option<Calculation> {
    let peaks = in_time(results, run);
    // The closest pair is the one that matters.
    let pairs = peaks.windows(2).filter_map(|pair| {
        let (a, b) = (pair[0], pair[1]);
        let (t, w) = ((a.retention_time_min?, b.retention_time_min?), (a.width_half_min?, b.width_half_min?));
        let (na, nb) = (a.compound.as_deref()?, b.compound.as_deref()?);
        let found = 1.18 * (t.1 - t.0) / (w.0 + w.1);
        same(found, b.resolution_half_height?).then_some((found, t, w, na, nb))
    });
    let (found, t, w, a, b) = pairs.min_by(|p, q| p.0.total_cmp(&q.0))?;
    let (a, b, run) = (name(a), name(b), name(run));
    Some(Calculation {
        key: "resolution".into(),
        title: "Resolution".into(),
        question: format!("How well are {a} and {b} separated in run {run}? Work out their resolution."),
        hint: "Take both retention times and both widths at half height from the table of peaks, in the same unit."
            .into(),
        steps: vec![step(
            format!("Resolution of {a} and {b} in run {run}:"),
            format!(
                "R_s = 1.18 (t_(R,2) - t_(R,1))/(w_(1\\/2,1) + w_(1\\/2,2)) = 1.18 times (({} - {}) \"min\")/(({} + {}) \"min\") = {}",
                n(t.1),
                n(t.0),
                n(w.0),
                n(w.1),
                n(found)
            ),
        )],
        result: format!(
            "The resolution is {}; {} baseline separation of peaks of equal height (1.5).",
            decimals(found, 2),
            if found >= 1.5 { "it reaches" } else { "it falls short of" }
        ),
    })
}

fn plates(results: &Results, run: &str) -> Option<Calculation> {
    let peak = in_time(results, run).into_iter().rfind(|p| p.plates_half_height.is_some() && p.compound.is_some())?;
    let (t, w, program) = (peak.retention_time_min?, peak.width_half_min?, peak.plates_half_height?);
    let found = 5.545 * (t / w).powi(2);
    if !same(found, program) {
        return None;
    }
    let (compound, run) = (name(peak.compound.as_deref()?), name(run));
    let mut steps = vec![step(
        format!("Plate number from the peak of {compound} in run {run}:"),
        format!("N = 5.545 (t_R/w_(1\\/2))^2 = 5.545 times (({} \"min\")/({} \"min\"))^2 = {}", n(t), n(w), n(found)),
    )];
    steps.extend(peak.merits.as_ref().into_iter().flat_map(|m| other_ways(peak, m)));
    Some(Calculation {
        key: "plates".into(),
        title: "Plate number".into(),
        question: format!("How many theoretical plates does the peak of {compound} in run {run} show?"),
        hint: "The plate number follows from retention time and width at half height; it has a meaning in isothermal runs alone.".into(),
        steps,
        result: format!("The peak shows {} plates.", significant(found, 3)),
    })
}

/// The same peak's plate number by other ways, and its retention factor; what does not agree with the results is left out.
fn other_ways(peak: &PeakResult, m: &MeritsResult) -> Vec<CalculationStep> {
    let mut steps = Vec::new();
    let Some(t) = peak.retention_time_min else { return steps };
    if let (Some(w), Some(program)) = (m.width_tangent_min, m.plates_tangent) {
        let found = 16.0 * (t / w).powi(2);
        if same(found, program) {
            steps.push(step(
                "By the tangents through its inflection points, from foot to foot on the baseline:",
                format!("N = 16 (t_R/w_b)^2 = 16 times (({} \"min\")/({} \"min\"))^2 = {}", n(t), n(w), n(found)),
            ));
        }
    }
    if let (Some(mean), Some(variance), Some(program)) = (m.mean_min, m.variance_min2, m.plates_moments) {
        let found = mean * mean / variance;
        if same(found, program) {
            steps.push(step(
                "By its moments, the mean time and the variance:",
                format!("N = M_1^2/M_2 = ({} \"min\")^2/({} \"min\"^2) = {}", n(mean), n(variance), n(found)),
            ));
        }
    }
    if let (Some(w), Some(r), Some(program)) = (m.width_tenth_min, peak.asymmetry_10pct, m.plates_foley_dorsey) {
        let found = 41.7 * (t / w).powi(2) / (r + 1.25);
        if same(found, program) {
            steps.push(step(
                "By width and asymmetry at a tenth of the height, after Foley and Dorsey:",
                format!(
                    "N = (41.7 (t_R/w_0.1)^2)/(B\\/A + 1.25) = (41.7 times (({} \"min\")/({} \"min\"))^2)/({} + 1.25) = {}",
                    n(t),
                    n(w),
                    n(r),
                    n(found)
                ),
            ));
        }
    }
    if let (Some(hold), Some(program)) = (m.hold_up_min, m.retention_factor) {
        let found = (t - hold) / hold;
        if same(found, program) {
            steps.push(step(
                "Its retention factor, with the hold-up time:",
                format!(
                    "k = (t_R - t_M)/t_M = ({} \"min\" - {} \"min\")/({} \"min\") = {}",
                    n(t),
                    n(hold),
                    n(hold),
                    n(found)
                ),
            ));
        }
    }
    steps
}

fn area_ratio(s: &SampleCalculation) -> Option<Calculation> {
    let shot = s.shots.first()?;
    let (standard, area) = (s.internal_standard.as_deref()?, shot.standard_area.as_deref()?);
    Some(Calculation {
        key: "ratio".into(),
        title: "Area ratio".into(),
        question: format!("What is the ratio of areas of {} to {standard} in run {}?", s.compound, shot.run),
        hint: "The internal standard passed through the same injection: in the ratio the injected volume cancels."
            .into(),
        steps: vec![step(
            format!("Area of {} over that of {standard}:", s.compound),
            format!(
                "y = A/A_\"IS\" = ({} {})/({} {}) = {}",
                q(&shot.area),
                q(&s.area_unit),
                q(area),
                q(&s.area_unit),
                q(&shot.response)
            ),
        )],
        result: format!("The ratio is {}.", shot.response),
    })
}

fn line(c: &CalibrationResult) -> Option<Calculation> {
    let of = |wanted: &str| c.coefficients.iter().find(|k| k.name == wanted).map(|k| k.value);
    let (intercept, slope) = (of("intercept"), of("slope")?);
    if super::tables::is_inverse(c) || c.coefficients.len() > 2 {
        return None;
    }
    let points: Vec<_> = c.points.iter().filter(|p| p.excluded.is_none()).collect();
    let fitted = |x: f64| intercept.unwrap_or(0.0) + slope * x;
    let (mut sw, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in &points {
        let w = match c.weights.as_str() {
            // The variance is that at the fitted line.
            w if w.contains("two-part") => 1.0 / (p.y_u.powi(2) + (c.relative_sd? * fitted(p.x)).powi(2)),
            w if w.contains("1/x²") => 1.0 / (p.x * p.x),
            "equal" => 1.0,
            _ => return None,
        };
        (sw, sx, sy) = (sw + w, sx + w * p.x, sy + w * p.y);
        (sxx, sxy) = (sxx + w * p.x * p.x, sxy + w * p.x * p.y);
    }
    let weights = if c.weights == "equal" {
        "all weights 1".to_owned()
    } else {
        format!("weights {} at the fitted line", c.weights)
    };
    let compound = name(&c.compound);
    let mut steps = Vec::new();
    let found = match intercept {
        None => {
            let b = sxy / sxx;
            if !same(b, slope) {
                return None;
            }
            steps.push(step(
                format!("Slope through zero from {} flasks, {weights}:", points.len()),
                format!("b = (sum w x y)/(sum w x^2) = {}/{} = {}", n(sxy), n(sxx), n(b)),
            ));
            format!("The line is y = {} x.", significant(b, 5))
        }
        Some(a0) => {
            let b = (sw * sxy - sx * sy) / (sw * sxx - sx * sx);
            let a = (sy - b * sx) / sw;
            // The intercept is small against the responses: it is held to their size.
            if !same(b, slope) || (a - a0).abs() > SAME * (sy / sw).abs() {
                return None;
            }
            steps.push(step(
                format!("Slope from the sums over {} flasks, {weights}:", points.len()),
                format!(
                    "b = (sum w sum w x y - sum w x sum w y)/(sum w sum w x^2 - (sum w x)^2) \\ = ({} times {} - {} times {})/({} times {} - {}^2) = {}",
                    n(sw), n(sxy), n(sx), n(sy), n(sw), n(sxx), n(sx), n(b)
                ),
            ));
            steps.push(step(
                "Intercept:",
                format!(
                    "a = (sum w y - b sum w x)/(sum w) = ({} - {} times {})/{} = {}",
                    n(sy),
                    n(b),
                    n(sx),
                    n(sw),
                    n(a)
                ),
            ));
            format!(
                "The line is y = {} {} {} x.",
                significant(a, 4),
                if b < 0.0 { "−" } else { "+" },
                significant(b.abs(), 5)
            )
        }
    };
    Some(Calculation {
        key: "line".into(),
        title: "Slope and intercept".into(),
        question: format!("Which straight line describes the calibration of {compound}?"),
        hint: format!("Least squares over the means of flasks, {weights}; a spreadsheet does the sums."),
        steps,
        result: found,
    })
}

fn amount(s: &SampleCalculation) -> Calculation {
    let mut steps = Vec::new();
    let unit = |u: &str| if u.is_empty() { String::new() } else { format!(" {}", q(u)) };
    steps.push(step(
        format!("Mean response of the {} flasks, each the mean of its shots:", s.flask_count),
        format!(
            "overline(y)_0 = ({})/{} = {}{}",
            s.flasks.iter().map(|f| q(&f.mean)).collect::<Vec<_>>().join(" + "),
            s.flask_count,
            q(&s.mean),
            unit(&s.response_unit)
        ),
    ));
    steps.push(match &s.intercept {
        Some(a) => step(
            "Content from the line:",
            format!(
                "x_0 = (overline(y)_0 - a)/b = ({} - ({}))/{} = {}{}",
                q(&s.mean),
                q(a),
                q(&s.slope),
                q(&s.x),
                unit(&s.x_unit)
            ),
        ),
        None => step(
            "Content from the line:",
            format!("x_0 = overline(y)_0/b = {}/{} = {}{}", q(&s.mean), q(&s.slope), q(&s.x), unit(&s.x_unit)),
        ),
    });
    if let (Some(standard), Some(content)) = (&s.internal_standard, &s.standard_content) {
        steps.push(step(
            format!("Every flask holds {content} of {standard}:"),
            format!("c = x_0 c_\"IS\" = {} times {} = {} {}", q(&s.x), q(content), q(&s.in_flask), q(&s.in_flask_unit)),
        ));
    }
    Calculation {
        key: "amount".into(),
        title: "Content of the flask".into(),
        question: format!("What is the content of {} in the flasks of {} that were injected?", s.compound, s.sample),
        hint: "Two shots of one flask are not two preparations: first the mean of each flask, then the mean of the flasks; then the line is read from right to left.".into(),
        steps,
        result: format!("The flasks hold {} {} of {}.", s.in_flask, s.in_flask_unit, s.compound),
    }
}

fn dilution(s: &SampleCalculation) -> Option<Calculation> {
    let factor = s.dilution.as_deref()?;
    Some(Calculation {
        key: "dilution".into(),
        title: "Dilution".into(),
        question: format!("What is the content of {} in the undiluted sample?", s.compound),
        hint: format!("The flasks hold the sample diluted 1 in {factor}."),
        steps: vec![step(
            "Final volume over volume of sample:",
            format!(
                "c D = {} {} times {} = {} {}",
                q(&s.in_flask),
                q(&s.in_flask_unit),
                q(factor),
                q(&s.value),
                q(&s.unit)
            ),
        )],
        result: format!("The {} is {} {} before rounding.", s.quantity, s.value, s.unit),
    })
}

fn uncertainty(s: &SampleCalculation) -> Option<Calculation> {
    let (u, factor, half) = (s.u.as_deref()?, s.coverage_factor.as_deref()?, s.half_width.as_deref()?);
    let shown: Vec<String> = s.contributions.iter().take(8).map(|c| format!("{}^2", q(c))).collect();
    let more = if s.contributions.len() > shown.len() { " + dots" } else { "" };
    if shown.is_empty() {
        return None;
    }
    Some(Calculation {
        key: "uncertainty".into(),
        title: "Standard uncertainty and interval".into(),
        question: format!("How certain is that content? Give its standard uncertainty and its {} interval.", s.level),
        hint: format!(
            "Independent contributions add as squares; the interval takes the factor of Student's distribution. The \
             contributions, in {}, are {}; the degrees of freedom are {}, and the factor is {factor}.",
            s.unit,
            s.contributions.join(", "),
            s.dof
        ),
        steps: vec![
            step(
                format!("From the contributions of the budget, in {}:", s.unit),
                format!("u_c = sqrt({}{more}) = {} {}", shown.join(" + "), q(u), q(&s.unit)),
            ),
            step(
                format!("Half-width of the {} interval with {} degrees of freedom:", s.level, s.dof),
                format!("U = k u_c = {} times {} {} = {} {}", q(factor), q(u), q(&s.unit), q(half), q(&s.unit)),
            ),
        ],
        result: format!("The {} of {} in {} is {}.", s.quantity, s.compound, s.sample, s.text),
    })
}

fn detection_limit(results: &Results, c: &CalibrationResult, s: &SampleCalculation) -> Option<Calculation> {
    let limit = c.detection_limit?;
    let of = |a: &&AmountResult| name(&a.compound) == s.compound && name(&a.sample) == s.sample && a.unit == s.unit;
    let amount = results.amounts.iter().find(of)?;
    let (known, in_sample) = (amount.detection_limit?, amount.in_flask?);
    let calculated_x: f64 = s.x.parse().ok()?;
    // From the line's x to the content of the undiluted sample, by the same chain as the amount.
    let factor = in_sample * amount.dilution_applied / calculated_x;
    if (limit * factor - known).abs() > 1e-3 * known {
        return None;
    }
    let method = c.limit_method.as_deref().unwrap_or("method not stated");
    Some(Calculation {
        key: "limit".into(),
        title: "Detection limit".into(),
        question: format!("Which content of {} in {} would have been missed in 5 % of cases?", s.compound, s.sample),
        hint: format!(
            "The line's detection limit is {} ({method}); it goes the same way as the content: internal standard, then dilution.",
            significant(limit, 3)
        ),
        steps: vec![step(
            "The detection limit of the line, carried to the undiluted sample:",
            format!(
                "c_D = x_D c/x_0 = {} times ({} {})/{} = {} {}",
                n(limit),
                q(&s.value),
                q(&s.unit),
                q(&s.x),
                q(&significant(known, 3)),
                q(&s.unit)
            ),
        )],
        result: format!("The detection limit is {} {}.", significant(known, 2), s.unit),
    })
}
