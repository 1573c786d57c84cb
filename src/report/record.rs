//! The record of a test: what ISO/IEC 17025:2017, 7.8 asks a report to hold beside its numbers.

use crate::results::Results;
use crate::study::StudyConfig;

use super::comparison::found_for;
use super::context::{Fact, Gap, RecordPart};
use super::experimental::fact;
use super::number::MISSING;
use super::text::name;

/// The record of this study.
pub(super) fn record(results: &Results, config: &StudyConfig) -> RecordPart {
    let r = &config.record;
    let results_sha256 = serde_json::to_vec(results).map(|bytes| crate::read::sha256_hex(&bytes)).unwrap_or_default();
    let stated = |text: &Option<String>| text.as_deref().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned);
    let or_dash = |text: &Option<String>| stated(text).unwrap_or_else(|| MISSING.to_owned());
    let laboratory = [&config.institution, &r.address].into_iter().filter_map(&stated).collect::<Vec<_>>().join(", ");
    let facts: Vec<Fact> = vec![
        fact("laboratory", if laboratory.is_empty() { MISSING.to_owned() } else { laboratory }),
        fact("customer", or_dash(&r.customer)),
        fact("items tested", stated(&r.items).unwrap_or_else(|| samples(results))),
        fact("sampling", or_dash(&r.sampling)),
        fact("received", or_dash(&r.received)),
        fact("tested", stated(&r.tested).or_else(|| days(results)).unwrap_or_else(|| or_dash(&config.date))),
        fact("issued", or_dash(&r.issued)),
        fact("method", stated(&r.method).unwrap_or_else(|| method(config))),
    ];
    let mut changes = Vec::new();
    match stated(&r.deviations) {
        Some(text) => changes.push(format!("Deviations from the method: {text}")),
        None => changes.push("Deviations from the method: not stated.".to_owned()),
    }
    changes.extend(r.changes.iter().map(|c| {
        let on = c.on.as_deref().map(|d| format!(", {d}")).unwrap_or_default();
        format!("Changed by hand: {} (by {}{on}; reason: {})", c.what, c.by, c.why)
    }));
    changes.extend(results.runs.iter().filter(|x| !x.accepted).map(|x| {
        format!("Run {} was rejected: {}", name(&x.run), x.reason.as_deref().unwrap_or("no reason is given"))
    }));
    let excluded = results
        .calibrations
        .iter()
        .flat_map(|c| c.points.iter().filter_map(|p| p.excluded.as_ref().map(|why| (&c.compound, &p.label, why))));
    changes.extend(excluded.map(|(c, p, why)| format!("Flask {} was left out for {}: {why}", name(p), name(c))));
    let by_default = format!("R-{}", results_sha256.get(..12).unwrap_or_default());
    RecordPart {
        number: stated(&r.number).unwrap_or(by_default),
        results_sha256,
        facts,
        changes,
        approved_by: stated(&r.approved_by),
        reviewer: stated(&r.reviewer),
    }
}

/// Reference values that no amount was found for.
pub(super) fn gaps(results: &Results, config: &StudyConfig) -> Vec<Gap> {
    let lost = config.comparisons.iter().filter(|c| found_for(results, c).is_none());
    lost.map(|c| Gap {
        key: "comparison".to_owned(),
        what: format!(
            "There is no {} of {} in {} to compare with the reference value.",
            c.unit.quantity.words(),
            name(&c.compound),
            name(&c.sample)
        ),
        how: "[[comparison]] in study.toml".to_owned(),
    })
    .collect()
}

fn samples(results: &Results) -> String {
    let mut names: Vec<String> = Vec::new();
    for run in results.runs.iter().filter(|r| r.kind == "sample") {
        let shown = name(&run.sample);
        if !names.contains(&shown) {
            names.push(shown);
        }
    }
    if names.is_empty() { MISSING.to_owned() } else { names.join(", ") }
}

/// First and last day of the log, where its clock times hold days.
fn days(results: &Results) -> Option<String> {
    let day = |text: &String| {
        let day = text.get(..10)?;
        let fine =
            day.bytes().enumerate().all(|(i, b)| if matches!(i, 4 | 7) { b == b'-' } else { b.is_ascii_digit() });
        fine.then(|| day.to_owned())
    };
    let all: Vec<String> = results.runs.iter().filter_map(|r| r.time.as_ref()).filter_map(day).collect();
    let (first, last) = (all.iter().min()?, all.iter().max()?);
    Some(if first == last { first.clone() } else { format!("{first} to {last}") })
}

fn method(config: &StudyConfig) -> String {
    let by = match config.internal_standard() {
        Some(standard) => format!("gas chromatography, internal standard {}", name(standard)),
        None => "gas chromatography, external standard".to_owned(),
    };
    let programmes: Vec<String> = config.methods.iter().map(|m| format!("\"{}\"", name(&m.name))).collect();
    if programmes.is_empty() { by } else { format!("{by}, programme {}", programmes.join(", ")) }
}
