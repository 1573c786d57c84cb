//! One result worked through with the very numbers used, step by step.

use serde::Serialize;

use crate::estimate::typographic;
use crate::results::{AmountResult, Results, RunResult};
use crate::study::{Added, StudyConfig};
use crate::units::{ContentUnit, Quantity};

use super::build::is_decision;
use super::experimental::LogLine;
use super::number::{dof, significant};
use super::text::name;

/// Digits carried through the calculation; the result is rounded at the end only.
const GUARD_DIGITS: usize = 6;
/// Relative difference up to which the chain below and the program's value are the same number.
const SAME: f64 = 1e-6;

/// One result with every step of its calculation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SampleCalculation {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// The internal standard; `null` where areas are used as they are.
    pub internal_standard: Option<String>,
    /// The quantity in words.
    pub quantity: String,
    /// Of what it is a fraction.
    pub of: String,
    /// Unit of the result.
    pub unit: String,
    /// Unit of areas.
    pub area_unit: String,
    /// Every shot used.
    pub shots: Vec<CalculationShot>,
    /// Every flask: its name, mean response.
    pub flasks: Vec<CalculationFlask>,
    /// Number of flasks.
    pub flask_count: String,
    /// Mean response of the flasks.
    pub mean: String,
    /// Unit of the response; empty for a ratio.
    pub response_unit: String,
    /// Intercept; `null` for a line through zero.
    pub intercept: Option<String>,
    /// Slope.
    pub slope: String,
    /// Content, or ratio of contents, read from the line.
    pub x: String,
    /// Its unit; empty for a ratio.
    pub x_unit: String,
    /// Content of the internal standard, with its unit.
    pub standard_content: Option<String>,
    /// Content in the flask that was injected.
    pub in_flask: String,
    /// Unit of that content.
    pub in_flask_unit: String,
    /// Dilution factor; `null` where none was multiplied in.
    pub dilution: Option<String>,
    /// The result before rounding.
    pub value: String,
    /// Contributions to the standard uncertainty, largest first.
    pub contributions: Vec<String>,
    /// Standard uncertainty before rounding; `null` where none is given.
    pub u: Option<String>,
    /// Degrees of freedom.
    pub dof: String,
    /// Half-width over u.
    pub coverage_factor: Option<String>,
    /// Half-width of the interval before rounding.
    pub half_width: Option<String>,
    /// Level of the interval in %.
    pub level: String,
    /// The result as it is stated.
    pub text: String,
    /// The same content as a mass fraction, where that was worked out too.
    pub by_mass: Option<MassStep>,
    /// Where this chain and the program's value differ: by how much, and why that can be.
    pub difference: Option<String>,
}

/// A volume fraction turned into a mass fraction: w = φ·ρ(compound)/ρ(sample).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MassStep {
    /// Density of the pure compound in g/mL.
    pub density: String,
    /// Density of the sample in g/mL.
    pub sample_density: String,
    /// The mass fraction before rounding.
    pub value: String,
    /// Its unit.
    pub unit: String,
    /// The result as it is stated.
    pub text: String,
}

/// One shot of the calculation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalculationShot {
    /// The run.
    pub run: String,
    /// The flask.
    pub flask: String,
    /// Area of the compound.
    pub area: String,
    /// Area of the internal standard.
    pub standard_area: Option<String>,
    /// Area, or ratio of areas.
    pub response: String,
}

/// One flask of the calculation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalculationFlask {
    /// Its name.
    pub flask: String,
    /// The responses of its shots.
    pub responses: Vec<String>,
    /// Their mean.
    pub mean: String,
}

/// The amount worked through: one that is decided upon, else the first that was detected.
pub(super) fn sample_calculation(
    results: &Results,
    config: &StudyConfig,
    log: &[LogLine],
) -> Option<SampleCalculation> {
    let candidates: Vec<&AmountResult> =
        results.amounts.iter().filter(|a| a.kind == "sample" && a.detected && a.in_flask.is_some()).collect();
    let mut decided = results.findings.iter().filter(|f| is_decision(f)).filter_map(|f| {
        // The longest name that fits: "propanol" also stands in "2-propanol".
        let of = candidates.iter().filter(|a| f.what.contains(&a.compound) && f.place.contains(&a.sample));
        let longest = of.clone().map(|a| a.compound.len()).max()?;
        of.clone().find(|a| a.compound.len() == longest)
    });
    let amount = decided.next().or(candidates.first())?;
    work_through(amount, results, config, log)
}

fn work_through(
    amount: &AmountResult,
    results: &Results,
    config: &StudyConfig,
    log: &[LogLine],
) -> Option<SampleCalculation> {
    let line = results.calibrations.iter().find(|c| c.compound == amount.compound)?;
    // A published recipe's way of regressing has no chain from response to content to show, and that of a curve that
    // bends is not the one written out here.
    let addition = line.quantification == "standard addition";
    if super::tables::is_inverse(line) || addition || line.coefficients.iter().any(|c| c.name == "curvature") {
        return None;
    }
    let coefficient = |wanted: &str| line.coefficients.iter().find(|c| c.name == wanted).map(|c| c.value);
    let (intercept, slope) = (coefficient("intercept"), coefficient("slope")?);
    let standard = line.internal_standard.as_deref();
    let area = |run: &str, compound: &str| {
        results.peaks.iter().find(|p| p.run == run && p.compound.as_deref() == Some(compound)).map(|p| p.area)
    };
    let known = |run: &str, compound: &str| {
        log.iter()
            .find(|l| l.run == run)?
            .content(compound)
            .filter(|c| c.value > 0.0)
            .map(|c| (c.value, c.unit.clone()))
    };

    let (mut shots, mut flasks) = (Vec::<CalculationShot>::new(), Vec::<Flask>::new());
    let mut standard_unit = None;
    let mut area_unit = String::new();
    for run in results.runs.iter().filter(|r| r.accepted && r.kind == amount.kind && r.sample == amount.sample) {
        let Some(a) = area(&run.run, &amount.compound) else { continue };
        let mut response = a;
        let mut standard_area = None;
        if let Some(s) = standard {
            // A shot without the internal standard is there to show that the sample has none of its own.
            let content = known(&run.run, s);
            if content.is_none() && !log.is_empty() {
                continue;
            }
            let Some(a_s) = area(&run.run, s).filter(|v| *v > 0.0) else { continue };
            standard_area = Some(a_s);
            response = a / a_s;
            if let Some((value, unit)) = content {
                standard_unit = Some(unit);
                flask_of(&mut flasks, run).contents.push(value);
            }
        }
        area_unit = crate::units::area_unit(&run.signal_unit);
        let guard = |v: f64| significant(v, GUARD_DIGITS);
        let entry = flask_of(&mut flasks, run);
        entry.responses.push(response);
        shots.push(CalculationShot {
            run: name(&run.run),
            flask: name(&entry.name),
            area: guard(a),
            standard_area: standard_area.map(guard),
            response: guard(response),
        });
    }
    if flasks.is_empty() {
        return None;
    }
    // Shots of one flask stand together, whatever the order of injection.
    let place = |s: &CalculationShot| flasks.iter().position(|f| name(&f.name) == s.flask);
    shots.sort_by_key(place);
    let guard = |v: f64| significant(v, GUARD_DIGITS);
    let means: Vec<f64> = flasks.iter().map(|f| mean(&f.responses)).collect();
    let y = mean(&means);
    let x = (y - intercept.unwrap_or(0.0)) / slope;
    let contents: Vec<f64> = flasks.iter().flat_map(|f| f.contents.iter().copied()).collect();
    let content = (!contents.is_empty()).then(|| mean(&contents));
    let in_flask = if standard.is_some() { x * content? } else { x };
    let before = config.quantification.internal_standard_added == Some(Added::BeforeDilution) && standard.is_some();
    let dilution = if before { 1.0 } else { amount.dilution_applied };
    let value = in_flask * dilution;
    let mut entries: Vec<f64> = amount.budget.iter().map(|b| b.contribution).collect();
    entries.sort_by(|a, b| b.total_cmp(a));
    let half_width = match (amount.u, amount.interval) {
        (Some(_), [Some(low), Some(high)]) => Some(0.5 * (high - low)),
        _ => None,
    };
    let in_unit = |u: &str| if u == "1" { String::new() } else { u.to_owned() };
    let in_flask_unit = standard_unit.clone().unwrap_or_else(|| in_unit(&line.x_unit));
    let difference = ((value - amount.value).abs() > SAME * amount.value.abs()).then(|| {
        let percent = 100.0 * (value - amount.value) / amount.value;
        format!(
            "This chain of plain means gives {} {}, the program {} {}: {} % apart, because the program also weighs the flasks or \
             converts units.",
            guard(value),
            name(&amount.unit),
            guard(amount.value),
            name(&amount.unit),
            significant(percent, 2)
        )
    });
    Some(SampleCalculation {
        sample: name(&amount.sample),
        compound: name(&amount.compound),
        internal_standard: standard.map(name),
        quantity: amount.quantity.clone(),
        of: amount.of.clone(),
        unit: amount.unit.clone(),
        response_unit: if standard.is_some() { String::new() } else { area_unit.clone() },
        area_unit,
        shots,
        flask_count: flasks.len().to_string(),
        flasks: flasks
            .iter()
            .zip(&means)
            .map(|(f, m)| CalculationFlask {
                flask: name(&f.name),
                responses: f.responses.iter().map(|v| guard(*v)).collect(),
                mean: guard(*m),
            })
            .collect(),
        mean: guard(y),
        intercept: intercept.map(guard),
        slope: guard(slope),
        x: guard(x),
        x_unit: in_unit(&line.x_unit),
        standard_content: content
            .map(|c| format!("{} {}", super::number::typed(c), standard_unit.as_deref().unwrap_or(""))),
        in_flask: guard(in_flask),
        in_flask_unit,
        dilution: (dilution != 1.0).then(|| super::number::typed(dilution)),
        value: guard(value),
        contributions: entries.iter().map(|v| significant(*v, 3)).collect(),
        u: amount.u.map(|v| significant(v, 4)),
        dof: dof(amount.dof),
        coverage_factor: half_width.zip(amount.u).map(|(h, u)| significant(h / u, GUARD_DIGITS)),
        half_width: half_width.map(|v| significant(v, 4)),
        level: format!("{} %", super::number::typed(100.0 * amount.coverage_probability)),
        text: typographic(&amount.text),
        by_mass: mass_step(amount, value, results, config),
        difference,
    })
}

/// `None` where no mass fraction was worked out, or not from the densities known here.
fn mass_step(volume: &AmountResult, value: f64, results: &Results, config: &StudyConfig) -> Option<MassStep> {
    let mass = results.amounts.iter().find(|a| {
        a.sample == volume.sample
            && a.compound == volume.compound
            && a.kind == volume.kind
            && a.quantity == "mass fraction"
    })?;
    let (from, to) = (ContentUnit::parse(&volume.unit).ok()?, ContentUnit::parse(&mass.unit).ok()?);
    if from.quantity != Quantity::VolumeFraction {
        return None;
    }
    let compound = config.compound(&volume.compound);
    let table = || {
        let key = compound.and_then(|c| c.cas.as_deref()).unwrap_or(&volume.compound);
        crate::compounds::find(key)?.density_20_g_ml.map(|d| d.value)
    };
    let density = compound.and_then(|c| c.density_g_ml).or_else(table)?;
    let sample_density = config.quantification.sample_density_g_ml?;
    let found = value * from.factor / to.factor * density / sample_density;
    // Another density, or another chain: better no step than a wrong one.
    ((found - mass.value).abs() <= SAME * mass.value.abs()).then(|| MassStep {
        density: super::number::typed(density),
        sample_density: super::number::typed(sample_density),
        value: significant(found, GUARD_DIGITS),
        unit: mass.unit.clone(),
        text: typographic(&mass.text),
    })
}

/// A flask of the sample, while its shots are gathered.
struct Flask {
    name: String,
    responses: Vec<f64>,
    /// Contents of the internal standard that the log states, one per shot.
    contents: Vec<f64>,
}

/// The flask of a run, made where it is not there yet.
fn flask_of<'a>(flasks: &'a mut Vec<Flask>, run: &RunResult) -> &'a mut Flask {
    let flask = run.preparation.as_ref().unwrap_or(&run.sample);
    let at = flasks.iter().position(|f| f.name == *flask).unwrap_or_else(|| {
        flasks.push(Flask { name: flask.clone(), responses: Vec::new(), contents: Vec::new() });
        flasks.len() - 1
    });
    &mut flasks[at]
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}
