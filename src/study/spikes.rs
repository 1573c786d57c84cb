//! Spiked runs: which peak grew, and by how much.

use super::{Injection, Kind, Study};
use crate::estimate::{plus_minus, significant};
use crate::identify::NamedPeaks;
use crate::numeric::{MAD_TO_SD, median, normal_quantile};
use crate::peaks::Peak;
use crate::results::{EvidenceResult, Severity};

/// A peak grew where that is this improbable by chance, over all peaks of the run together (Bonferroni).
const LEVEL: f64 = 0.01;
/// Scatter of a peak's area against the others' from one shot to the next, at least (common practice: 1 to 2 %).
const LEAST_SCATTER: f64 = 0.02;
/// The same where no other peak tells: a volume read by eye (common practice: s = √(0.02² + (0.03 V)²) µL).
const VOLUME_SCATTER: fn(f64) -> f64 = |v| (0.02_f64.powi(2) + (0.03 * v).powi(2)).sqrt() / v;
/// Peaks of two runs are one within this time or half a width at half height, shifts taken out.
const SAME_S: f64 = 2.0;

/// What a spiked run says.
pub(super) struct Spiked {
    pub(super) run: String,
    pub(super) evidence: Vec<EvidenceResult>,
    pub(super) severity: Severity,
    pub(super) why: String,
    pub(super) next: Option<String>,
}

/// A peak's growth over the unspiked runs, the others' mean change taken out.
struct Growth {
    time_min: f64,
    name: Option<String>,
    /// ln of the factor; none where the peak is new.
    ln: Option<f64>,
    u: f64,
    grew: bool,
}

/// All spiked runs, and all levels of an addition, against the unspiked runs of the same sample.
pub(super) fn all(study: &Study, named: &[NamedPeaks]) -> Vec<Spiked> {
    let internal = study.config.internal_standard();
    let mut out = Vec::new();
    for (i, injection) in study.injections.iter().enumerate().filter(|(_, i)| i.accepted) {
        let added: Vec<&str> = match injection.kind {
            Kind::Spiked | Kind::Addition => {
                let stated =
                    injection.contents.iter().filter(|c| c.value > 0.0 && Some(c.compound.as_str()) != internal);
                stated.map(|c| c.compound.as_str()).collect()
            }
            _ => continue,
        };
        if injection.kind == Kind::Addition && added.is_empty() {
            continue;
        }
        let base: Vec<usize> = (0..named.len())
            .filter(|&k| {
                let other = &study.injections[k];
                let none_added =
                    |i: &Injection| i.contents.iter().all(|c| c.value == 0.0 || Some(c.compound.as_str()) == internal);
                let is_plain = other.kind == Kind::Sample || (other.kind == Kind::Addition && none_added(other));
                other.accepted && is_plain && other.sample == injection.sample
            })
            .collect();
        out.push(match base.as_slice() {
            [] => Spiked {
                run: injection.run.clone(),
                evidence: Vec::new(),
                severity: Severity::Warn,
                why: format!("no run of kind sample is of \"{}\", so nothing tells which peak grew", injection.sample),
                next: Some(
                    "inject the sample as it is too, and give both rows one name in the column sample".to_owned(),
                ),
            },
            base => told(injection, &added, &growths(injection, &named[i], base, named, internal)),
        });
    }
    out
}

/// How every peak of the run changed.
fn growths(
    injection: &Injection,
    run: &NamedPeaks,
    base: &[usize],
    named: &[NamedPeaks],
    internal: Option<&str>,
) -> Vec<Growth> {
    // Times on the standards' clock; a shift is smooth, so one step suffices.
    let clock = |n: &NamedPeaks, p: &Peak| p.retention_time_min - n.shift_s(p.retention_time_min) / 60.0;
    let areas = |name: &Option<String>, peak: &Peak| -> (Vec<f64>, f64) {
        let at = clock(run, peak);
        let mut found = Vec::new();
        let mut variance = 0.0;
        for &k in base {
            let by_name = name.as_deref().and_then(|c| named[k].peak(c));
            let near = |q: &&crate::identify::NamedPeak| {
                let reach = (SAME_S / 60.0).max(0.5 * peak.width_half_min.unwrap_or(0.0));
                (clock(&named[k], &q.peak) - at).abs() < reach
            };
            let distance = |q: &crate::identify::NamedPeak| (clock(&named[k], &q.peak) - at).abs();
            let by_time = || {
                let all = named[k].peaks.iter().filter(near);
                all.min_by(|a, b| distance(a).total_cmp(&distance(b)))
            };
            if let Some(p) = by_name.or_else(by_time).filter(|p| p.peak.area > 0.0) {
                found.push(p.peak.area);
                variance += (p.peak.area_u / p.peak.area).powi(2);
            }
        }
        let count = found.len().max(1) as f64;
        (found, variance / (count * count))
    };
    let raw: Vec<(f64, Option<String>, Option<f64>, f64)> = run
        .peaks
        .iter()
        .filter(|p| p.peak.area > 0.0)
        .map(|p| {
            let (before, variance) = areas(&p.compound, &p.peak);
            let mean = before.iter().sum::<f64>() / before.len() as f64;
            let ln = (!before.is_empty()).then(|| libm::log(p.peak.area / mean));
            let own = variance + (p.peak.area_u / p.peak.area).powi(2);
            (p.peak.retention_time_min, p.compound.clone(), ln, own)
        })
        .collect();
    let of_internal = internal.and_then(|is| raw.iter().find(|r| r.1.as_deref() == Some(is))).and_then(|r| r.2);
    let all: Vec<f64> = raw.iter().filter_map(|r| r.2).collect();
    // What struck all peaks alike is the volume; with three peaks or more the middle one tells it too.
    let (common, scatter) = match (of_internal, all.len()) {
        (Some(c), n) if n < 4 => (c, LEAST_SCATTER),
        (c, n) if n >= 3 => {
            let middle = c.unwrap_or_else(|| median(&all).unwrap_or(0.0));
            let away: Vec<f64> = all.iter().map(|a| (a - middle).abs()).collect();
            (middle, (MAD_TO_SD * median(&away).unwrap_or(0.0)).max(LEAST_SCATTER))
        }
        _ => (0.0, VOLUME_SCATTER(injection.volume_ul.filter(|v| *v > 0.0).unwrap_or(0.1))),
    };
    let shots = 1.0 + 1.0 / base.len() as f64;
    let z = normal_quantile(1.0 - LEVEL / raw.len().max(1) as f64);
    raw.into_iter()
        .map(|(time_min, name, ln, own)| {
            let u = (own + scatter * scatter * shots).sqrt();
            let ln = ln.map(|l| l - common);
            Growth { time_min, name, grew: ln.is_none_or(|l| l > z * u), ln, u }
        })
        .collect()
}

fn told(injection: &Injection, added: &[&str], growths: &[Growth]) -> Spiked {
    let run = injection.run.clone();
    let grown: Vec<&Growth> = growths.iter().filter(|g| g.grew).collect();
    let words = |g: &Growth| {
        let name = g.name.clone().unwrap_or_else(|| "a peak without a name".to_owned());
        let at = significant(g.time_min, 4);
        match g.ln {
            Some(ln) => format!("{name} at {at} min by a factor {}", factor(ln, g.u)),
            None => format!("{name} at {at} min, which is new"),
        }
    };
    let list = |all: &[&Growth]| all.iter().map(|g| words(g)).collect::<Vec<_>>().join("; ");
    let others: Vec<f64> = growths.iter().filter(|g| !g.grew).filter_map(|g| g.ln).map(libm::exp).collect();
    let rest = match (others.iter().copied().reduce(f64::min), others.iter().copied().reduce(f64::max)) {
        (Some(a), Some(b)) if others.len() > 1 => {
            format!("; the other {} peaks by {} to {}", others.len(), significant(a, 3), significant(b, 3))
        }
        (Some(a), _) => format!("; the other peak by {}", significant(a, 3)),
        _ => String::new(),
    };
    let mut evidence = Vec::new();
    let (mut severity, mut next) = (Severity::Pass, None);
    for compound in added {
        let own = growths.iter().find(|g| g.name.as_deref() == Some(*compound));
        let foreign: Vec<&Growth> =
            grown.iter().copied().filter(|g| !g.name.as_deref().is_some_and(|n| added.contains(&n))).collect();
        let (agrees, text) = match own {
            Some(g) if g.grew => (Some(true), format!("spiked with {compound}, its peak grew: {}{rest}", words(g))),
            _ if !foreign.is_empty() => {
                (Some(false), format!("spiked with {compound}, but another peak grew: {}{rest}", list(&foreign)))
            }
            Some(g) => (None, format!("spiked with {compound}, but no peak grew clearly: {}", words(g))),
            None => (None, format!("spiked with {compound}, but no peak has that name and none grew clearly")),
        };
        match agrees {
            Some(true) => {}
            Some(false) => {
                severity = Severity::Fail;
                next = Some(format!(
                    "the peak that grew is {compound}'s: correct its retention_min, and look at the names of all runs"
                ));
            }
            None => {
                severity = severity.max(Severity::Warn);
                next = next.or_else(|| Some("spike more: the added content should about double the peak".to_owned()));
            }
        }
        evidence.push(EvidenceResult {
            compound: (*compound).to_owned(),
            kind: "spike".to_owned(),
            run: run.clone(),
            agrees,
            growth: own.and_then(|g| g.ln).map(libm::exp),
            growth_u: own.and_then(|g| g.ln.map(|ln| libm::exp(ln) * g.u)),
            text,
        });
    }
    let why = match (added, grown.as_slice()) {
        ([], []) => "no peak grew".to_owned(),
        ([], grown) => format!("grew: {}{rest}", list(grown)),
        _ => evidence.iter().map(|e| e.text.as_str()).collect::<Vec<_>>().join("; "),
    };
    if added.is_empty() {
        (severity, next) =
            (Severity::Warn, Some("state what was added: a content column with the added content".to_owned()));
    }
    Spiked { run, evidence, severity, why, next }
}

/// A factor with its uncertainty, from its logarithm.
fn factor(ln: f64, u: f64) -> String {
    let value = libm::exp(ln);
    plus_minus(value, value * u, "")
}
