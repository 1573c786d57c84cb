//! The experimental part: instrument, programme, solutions, order of injections.

use serde::{Deserialize, Serialize};

use crate::peaks::Overlap;
use crate::results::Results;
use crate::study::{
    Added, Distribution, EXPANSION_PER_K, IntegrateBy, Method, ModelChoice, PressureKind, QuantifyBy, Role, Scope,
    Solution, StartButton, StudyConfig, UsedIn, WeightChoice, WindowBaseline,
};

use super::context::{CompoundRow, Experimental, Fact, FactGroup, InjectionRow, Programme, ProgrammeStep, SolutionRow};
use super::number::{MISSING, typed};
use super::text::name;

/// What the injection log knows of a run beyond the results.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LogLine {
    /// Name of the run.
    pub run: String,
    /// Nominal volume in µL.
    pub volume_ul: Option<f64>,
    /// Final volume over volume of sample.
    pub dilution: Option<f64>,
    /// Name of the method.
    pub method: Option<String>,
    /// Known contents of the flask.
    pub contents: Vec<KnownContent>,
    /// Remark.
    pub note: Option<String>,
}

/// A known content of a flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnownContent {
    /// The compound.
    pub compound: String,
    /// Its content.
    pub value: f64,
    /// Unit, which says of what it is a fraction.
    pub unit: String,
}

impl LogLine {
    /// The known content of a compound.
    pub fn content(&self, compound: &str) -> Option<&KnownContent> {
        self.contents.iter().find(|c| c.compound == compound)
    }
}

pub(super) fn fact(name: &str, value: impl Into<String>) -> Fact {
    Fact { name: name.to_owned(), value: value.into() }
}

fn optional(name: &str, value: Option<String>) -> Fact {
    fact(name, value.unwrap_or_else(|| MISSING.to_owned()))
}

fn with_unit(value: Option<f64>, unit: &str) -> Option<String> {
    value.map(|v| format!("{} {unit}", typed(v)))
}

pub(super) fn experimental(results: &Results, config: &StudyConfig, log: &[LogLine]) -> Experimental {
    let headers = content_headers(log);
    Experimental {
        groups: groups(config),
        programmes: config.methods.iter().map(programme).collect(),
        compounds: config.compounds.iter().map(compound).collect(),
        solutions: config.solutions.iter().map(solution).collect(),
        content_headers: headers.iter().map(|(c, u)| format!("{} / {u}", name(c))).collect(),
        injections: injections(results, log, &headers),
        integration: integration(config),
    }
}

fn groups(config: &StudyConfig) -> Vec<FactGroup> {
    let i = &config.instrument;
    let mut instrument = Vec::new();
    if let Some(text) = &i.description {
        instrument.push(fact("description", text.clone()));
    }
    instrument.push(optional("carrier gas", i.carrier.clone()));
    instrument.push(optional("highest oven temperature", with_unit(i.oven_max_c, "°C")));
    if i.injector_c.is_some() {
        instrument.push(optional("injection port", with_unit(i.injector_c, "°C")));
    }
    let volumes = i.volume_min_ul.zip(i.volume_max_ul).map(|(a, b)| format!("{} to {} µL", typed(a), typed(b)));
    instrument.push(optional("injected by hand", volumes));
    let c = &config.column;
    let mut column =
        vec![optional("stationary phase", c.phase.clone()), optional("length", with_unit(c.length_m, "m"))];
    if c.bore_mm.is_some() {
        column.push(optional("inner diameter", with_unit(c.bore_mm, "mm")));
    }
    if c.film_um.is_some() {
        column.push(optional("film thickness", with_unit(c.film_um, "µm")));
    }
    if c.packing.is_some() {
        column.push(optional("packing", c.packing.clone()));
    }
    if c.max_temperature_in_air_c.is_some() {
        column.push(optional("highest temperature in air", with_unit(c.max_temperature_in_air_c, "°C")));
    }
    let d = &config.detector;
    let unit = d.unit.clone().unwrap_or_default();
    let mut detector = vec![optional("kind", d.kind.clone())];
    if i.detector_c.is_some() {
        detector.push(optional("temperature", with_unit(i.detector_c, "°C")));
    }
    detector.push(fact("response", "taken as proportional to the amount"));
    detector.push(optional("full scale", with_unit(d.full_scale, &unit)));
    detector.push(optional("step of the converter", with_unit(d.step, &unit)));
    let group = |name: &str, facts: Vec<Fact>| FactGroup { name: name.to_owned(), facts };
    vec![group("Instrument", instrument), group("Column", column), group("Detector", detector)]
}

fn programme(m: &Method) -> Programme {
    let mut time = 0.0;
    let mut before: Option<f64> = None;
    let steps = m
        .oven
        .iter()
        .enumerate()
        .map(|(i, s)| {
            if let (Some(ramp), Some(t)) = (s.ramp_c_per_min.filter(|r| *r > 0.0), before) {
                time += (s.temperature_c - t).abs() / ramp;
            }
            time += s.hold_min;
            before = Some(s.temperature_c);
            ProgrammeStep {
                number: (i + 1).to_string(),
                ramp: s.ramp_c_per_min.map_or_else(|| MISSING.to_owned(), typed),
                temperature: typed(s.temperature_c),
                hold: typed(s.hold_min),
                until: super::number::decimals(time, 2),
            }
        })
        .collect();
    let mut facts = Vec::new();
    if let Some(p) = m.inlet_pressure_kpa {
        let kind = match m.pressure_is {
            Some(PressureKind::Absolute) => ", absolute",
            Some(PressureKind::Gauge) => " above the room's pressure",
            None => "",
        };
        facts.push(fact("inlet pressure", format!("{} kPa{kind}", typed(p))));
    }
    if m.barometer_kpa.is_some() {
        facts.push(optional("room's pressure", with_unit(m.barometer_kpa, "kPa")));
    }
    if m.flow_ml_min.is_some() {
        facts.push(optional("carrier flow at the outlet", with_unit(m.flow_ml_min, "mL/min")));
    }
    if m.hold_up_min.is_some() {
        facts.push(optional("hold-up time", with_unit(m.hold_up_min, "min")));
    }
    let button = match m.start_button {
        StartButton::Recording => "the recording only",
        StartButton::OvenAndRecording => "oven and recording",
    };
    facts.push(fact("the start button starts", button));
    Programme { name: name(&m.name), steps, total_min: super::number::decimals(time, 1), facts }
}

fn compound(c: &crate::study::Compound) -> CompoundRow {
    let role = match c.role {
        Role::Analyte => "analyte",
        Role::InternalStandard => "internal standard",
        Role::Solvent => "solvent",
        Role::Named => "named only",
    };
    let window = match (c.integrate_min, c.window_min) {
        (Some([a, b]), _) => format!("{} to {}", typed(a), typed(b)),
        (None, Some(w)) => format!("± {}", typed(w)),
        (None, None) => MISSING.to_owned(),
    };
    CompoundRow {
        name: name(&c.name),
        cas: c.cas.clone().unwrap_or_else(|| MISSING.to_owned()),
        role: role.to_owned(),
        retention: c.retention_min.map_or_else(|| MISSING.to_owned(), typed),
        window,
    }
}

fn solution(s: &Solution) -> SolutionRow {
    let used_in = match s.used_in {
        UsedIn::Standards => "standards",
        UsedIn::Samples => "samples",
        UsedIn::Both => "standards and samples alike",
        UsedIn::Other => "other injections",
    };
    SolutionRow {
        name: name(&s.name),
        used_in: used_in.to_owned(),
        made: s.made.as_deref().map(str::trim).filter(|m| !m.is_empty()).map(str::to_owned),
        sources: (s.sources.iter().map(source))
            .chain(s.evaporation.as_deref().map(|e| format!("evaporation, not corrected: {e}")))
            .collect(),
    }
}

fn source(s: &crate::study::Source) -> String {
    let shape = match s.distribution {
        Distribution::Rectangular => "rectangular",
        Distribution::Triangular => "triangular",
        Distribution::Normal95 => "95 % interval",
    };
    let size = match (s.relative_half_width, s.relative_u, s.nominal.zip(s.half_width), s.temperature_half_width_k) {
        (Some(a), ..) => format!("± {} %, {shape}", typed(100.0 * a)),
        (_, Some(u), ..) => format!("u = {} %", typed(100.0 * u)),
        (_, _, Some((x, a)), _) => {
            let times = s.readings.filter(|n| *n > 1).map(|n| format!(", {n} readings")).unwrap_or_default();
            format!("{} ± {}{times}, {shape}", typed(x), typed(a))
        }
        (_, _, _, Some(t)) => {
            let expansion = s.expansion_per_k.unwrap_or(EXPANSION_PER_K);
            format!("± {} K at {} % per K, {shape}", typed(t), typed(100.0 * expansion))
        }
        _ => MISSING.to_owned(),
    };
    let scope = match s.scope {
        _ if !s.standards.is_empty() => {
            return format!("{}: {size}, shared by {}", name(&s.name), name(&s.standards.join(", ")));
        }
        Scope::Shot => "each shot anew",
        Scope::Flask => "each flask anew",
        Scope::Shared => "shared by all",
    };
    format!("{}: {size}, {scope}", name(&s.name))
}

/// Compound and unit of every content that the log knows, in the order of first use.
fn content_headers(log: &[LogLine]) -> Vec<(String, String)> {
    let mut headers: Vec<(String, String)> = Vec::new();
    for c in log.iter().flat_map(|l| &l.contents) {
        if !headers.iter().any(|(n, u)| *n == c.compound && *u == c.unit) {
            headers.push((c.compound.clone(), c.unit.clone()));
        }
    }
    headers
}

fn injections(results: &Results, log: &[LogLine], headers: &[(String, String)]) -> Vec<InjectionRow> {
    results
        .runs
        .iter()
        .enumerate()
        .map(|(i, r)| {
            let line = log.iter().find(|l| l.run == r.run);
            let flask = match &r.preparation {
                Some(p) => format!("{} · {}", name(&r.sample), name(p)),
                None => name(&r.sample),
            };
            let known = |(compound, unit): &(String, String)| {
                let content = line.and_then(|l| l.contents.iter().find(|c| c.compound == *compound && c.unit == *unit));
                content.map_or_else(|| MISSING.to_owned(), |c| typed(c.value))
            };
            InjectionRow {
                number: (i + 1).to_string(),
                time: r.time.as_deref().map_or_else(|| MISSING.to_owned(), name),
                run: name(&r.run),
                kind: kind_words(&r.kind),
                flask,
                shot: r.replicate.as_deref().map_or_else(|| MISSING.to_owned(), name),
                volume: line.and_then(|l| l.volume_ul).map_or_else(|| MISSING.to_owned(), typed),
                dilution: line.and_then(|l| l.dilution).map_or_else(|| MISSING.to_owned(), typed),
                contents: headers.iter().map(known).collect(),
                rejected: (!r.accepted).then(|| r.reason.clone().unwrap_or_else(|| "no reason stated".to_owned())),
            }
        })
        .collect()
}

/// "check_standard" as it is printed: "check standard".
pub(super) fn kind_words(kind: &str) -> String {
    name(&kind.replace('_', " "))
}

/// How peaks were found and amounts worked out, in sentences from the settings.
fn integration(config: &StudyConfig) -> Vec<String> {
    let mut said = Vec::new();
    let p = &config.peaks;
    said.push(match p.threshold {
        Some(t) => format!("Peaks were reported above {} times the noise.", typed(t)),
        None => "Peaks were reported above the program's usual threshold over the noise.".to_owned(),
    });
    match (p.start_min, p.end_min) {
        (Some(a), Some(b)) => said.push(format!("Peaks were looked for between {} and {} min.", typed(a), typed(b))),
        (Some(a), None) => said.push(format!("No peak was looked for before {} min.", typed(a))),
        (None, Some(b)) => said.push(format!("No peak was looked for after {} min.", typed(b))),
        (None, None) => {}
    }
    let fit = p.fit.clone().unwrap_or_default();
    let shape = fit.shape.words();
    said.push(match p.integration {
        IntegrateBy::Bounds => format!(
            "Areas are sums between bounds above {}; overlapping peaks were parted by {}. Beside it each overlapping group was fitted ({shape}), and the difference is told.",
            p.baseline.map_or_else(
                || "a straight line below each peak or group".to_owned(),
                |b| format!("one baseline below the whole run ({b})")
            ),
            match p.overlap {
                Overlap::PerpendicularDrop => "a perpendicular at the valley",
                Overlap::TangentSkim => "a tangent where one stands on another at least ten times higher, else by a perpendicular at the valley",
                Overlap::ValleyToValley => "baselines from valley to valley",
            }
        ),
        IntegrateBy::Fit => format!(
            "Areas are those of profiles ({shape}) fitted to each group of neighbouring peaks with a baseline of degree {} of its own; a peak alone that is not of this shape has the sum above a straight line.",
            fit.baseline_degree
        ),
    });
    if !p.by_hand.is_empty() {
        said.push(format!(
            "The bounds of {} were set by hand; what the program had drawn stands beside it.",
            if p.by_hand.len() == 1 { "one peak".to_owned() } else { format!("{} peaks", p.by_hand.len()) }
        ));
    }
    said.push(match p.window_baseline {
        WindowBaseline::Averaged => {
            "Where no peak was found, the window at the expected time was integrated above a straight line through averaged ends.".to_owned()
        }
        WindowBaseline::SinglePoints => {
            "Where no peak was found, the window at the expected time was integrated above a straight line through its two end points.".to_owned()
        }
    });
    let q = &config.quantification;
    let model = match q.model {
        ModelChoice::Line => "a straight line with intercept",
        ModelChoice::ThroughZero => "a straight line through zero",
        ModelChoice::Quadratic => "a quadratic curve",
        ModelChoice::PowerLaw => "a power law",
        ModelChoice::LogLog => "a straight line of logarithms",
        ModelChoice::InverseRegressionLine => "a regression of content on response (for comparison only)",
    };
    let weights = match q.weights {
        WeightChoice::TwoPart => "weights from the two-part variance",
        WeightChoice::Inverse => "weights 1/x",
        WeightChoice::InverseResponse => "weights 1/y",
        WeightChoice::InverseSquare => "weights 1/x²",
        WeightChoice::Replicates => "weights 1/s² of each level's flasks",
        WeightChoice::None => "no weights",
    };
    let against = match (q.by, &q.internal_standard) {
        (QuantifyBy::InternalStandard, Some(s)) => format!("ratios to the internal standard {}", name(s)),
        (QuantifyBy::StandardAddition, Some(s)) => {
            format!("standard additions, as ratios to the internal standard {}", name(s))
        }
        (QuantifyBy::StandardAddition, None) => "areas of standard additions".to_owned(),
        (QuantifyBy::OneStandard, _) => "one standard, the response taken as proportional".to_owned(),
        (QuantifyBy::Bracketing, _) => "two standards, the response taken as straight between them".to_owned(),
        (QuantifyBy::Normalisation, _) => "shares of the areas, each with its response factor".to_owned(),
        _ => "areas against external standards".to_owned(),
    };
    let by_curve = !matches!(q.by, QuantifyBy::OneStandard | QuantifyBy::Bracketing | QuantifyBy::Normalisation);
    said.push(if by_curve {
        format!("Contents were worked out from {against}, with {model} and {weights}; all three were fixed beforehand.")
    } else {
        format!("Contents were worked out from {against}; this was fixed beforehand.")
    });
    if let Some(added) = q.internal_standard_added {
        said.push(match added {
            Added::BeforeDilution => {
                "The internal standard went in before the samples were diluted, so the dilution cancels.".to_owned()
            }
            Added::AfterDilution => {
                "The internal standard went into the flask that was filled up, so the dilution is multiplied in."
                    .to_owned()
            }
        });
    }
    said
}
