//! The appendix: every run with its hash, how it was read and integrated, and the settings.

use crate::peaks::Integration;
use crate::results::{Results, RunResult};
use crate::study::StudyConfig;
use crate::trace::ReadingNote;

use super::context::{
    Appendix, Fact, HandRow, HashRow, IntegrationRow, OverlapRow, Reading, ReferenceRow, RunRow, ShiftRow,
};
use super::experimental::{fact, kind_words};
use super::number::{MISSING, decimals, or_dash, significant, with_u};
use super::tables::{DEFAULT, settings};
use super::text::name;

pub(super) fn appendix(results: &Results, config: &StudyConfig) -> Appendix {
    let mut readings: Vec<Reading> = Vec::new();
    let mut runs: Vec<RunRow> = results.runs.iter().map(|r| run(r, &mut readings)).collect();
    // The header of every page says so.
    if results.study.simulated {
        for r in &mut runs {
            r.remarks.retain(|x| x != "simulated");
            r.remarks.iter_mut().for_each(|x| *x = x.trim_start_matches("simulated; ").to_owned());
        }
    }
    // What holds for every run is told once.
    let common_remarks: Vec<String> = match runs.first() {
        Some(first) if runs.len() > 1 => {
            first.remarks.iter().filter(|x| runs.iter().all(|r| r.remarks.contains(x))).cloned().collect()
        }
        _ => Vec::new(),
    };
    runs.iter_mut().for_each(|r| r.remarks.retain(|x| !common_remarks.contains(x)));
    let (peaks, methods) = integration(results);
    let mut all = Vec::new();
    for (prefix, value) in [
        ("reading", serde_json::to_value(&config.reading)),
        ("peaks", serde_json::to_value(&config.peaks)),
        ("quantification", serde_json::to_value(&config.quantification)),
        ("decision", serde_json::to_value(&config.decision)),
    ] {
        // Our own types always serialise; a key without a value prints as its default.
        settings(prefix, &value.unwrap_or_default(), &mut all);
    }
    let hash = |file: &str, sha256: &str| HashRow { name: file.to_owned(), sha256: name(sha256) };
    // What the study leaves open is told in one row.
    let (open, mut stated): (Vec<Fact>, Vec<Fact>) = all.into_iter().partition(|f| f.value == DEFAULT);
    if !open.is_empty() {
        stated.push(fact("left at the default", open.iter().map(|f| f.name.as_str()).collect::<Vec<_>>().join(", ")));
    }
    Appendix {
        runs,
        common_remarks,
        readings,
        references: references(results),
        shifts: shifts(results),
        evidence: evidence(results),
        peaks,
        methods,
        overlaps: overlaps(results),
        by_hand: by_hand(results),
        settings: stated,
        hashes: vec![
            hash("study.toml", &results.study.study_sha256),
            hash("injection log", &results.study.injections_sha256),
        ],
    }
}

fn references(results: &Results) -> Vec<ReferenceRow> {
    let one = |r: &crate::results::ReferenceResult| ReferenceRow {
        compound: name(&r.compound),
        time: decimals(r.time_min, 3),
        scatter: significant(r.scatter_s, 2),
        half_width: significant(r.half_width_s, 2),
        runs: r.runs.to_string(),
        index: match r.retention_index.zip(r.retention_index_u) {
            Some((i, u)) => {
                let (i, u) = with_u(i, u);
                format!("{i} ± {u}")
            }
            None => MISSING.to_owned(),
        },
    };
    results.naming.references.iter().map(one).collect()
}

fn shifts(results: &Results) -> Vec<ShiftRow> {
    let one = |s: &crate::results::RunShift| {
        let offset = results.runs.iter().find(|r| r.run == s.run).and_then(|r| r.start_offset_s);
        ShiftRow {
            run: name(&s.run),
            offset: or_dash(offset, |v| decimals(v, 2)),
            offset_u: or_dash(s.start_offset_u_s, |v| decimals(v, 2)),
            scale: match s.time_scale.zip(s.time_scale_u) {
                Some((scale, u)) => {
                    let (scale, u) = with_u(100.0 * scale, 100.0 * u);
                    format!("{scale} ± {u}")
                }
                None => MISSING.to_owned(),
            },
            missing: s
                .missing
                .iter()
                .map(|m| format!("{} at {} min", name(&m.compound), decimals(m.expected_min, 2)))
                .collect::<Vec<_>>()
                .join(", "),
            notes: s.notes.clone(),
        }
    };
    results.naming.runs.iter().map(one).collect()
}

fn evidence(results: &Results) -> Vec<String> {
    let n = &results.naming;
    let ladders = n.ladders.iter().map(|l| {
        let carbons: Vec<String> = l.carbons.iter().map(|c| format!("C{c}")).collect();
        format!("Retention indices ({}) from the n-alkanes {} of run {}.", l.kind, carbons.join(", "), name(&l.run))
    });
    let hold_up =
        n.hold_up.iter().map(|h| format!("Hold-up time {} min: {}.", significant(h.time_min, 3), name(&h.origin)));
    let runs = n.evidence.iter().map(|e| format!("Run {}: {}.", name(&e.run), e.text));
    hold_up.chain(ladders).chain(runs).collect()
}

fn run(r: &RunResult, readings: &mut Vec<Reading>) -> RunRow {
    let text = reading_words(&r.reading);
    let at = readings.iter().position(|known| known.text == text).unwrap_or_else(|| {
        readings.push(Reading { letter: letter(readings.len()), text });
        readings.len() - 1
    });
    let mut remarks = Vec::new();
    if !r.accepted {
        remarks.push(format!("rejected: {}", r.reason.as_deref().unwrap_or("no reason stated")));
    }
    if !r.reading.trace.is_empty() {
        remarks.push(format!("trace {}", r.reading.trace));
    }
    if r.reading.gaps > 0 {
        remarks.push(format!("{} gaps in the time axis", r.reading.gaps));
    }
    remarks.extend(r.reading.dropped.iter().map(|d| format!("passed over: {d}")));
    remarks.extend(r.reading.suspicions.iter().cloned());
    remarks.extend(r.notes.iter().cloned());
    RunRow {
        run: name(&r.run),
        file: name(&r.file),
        sha256: name(&r.sha256),
        kind: kind_words(&r.kind),
        points: r.reading.points.to_string(),
        start_offset: or_dash(r.start_offset_s, |v| decimals(v, 2)),
        noise: or_dash(r.noise_sd, |v| significant(v, 2)),
        reading: readings[at].letter.clone(),
        remarks,
    }
}

/// How a file was read, without what differs from file to file anyway.
fn reading_words(n: &ReadingNote) -> String {
    let mut words = vec![n.format.clone()];
    let mut add = |label: &str, value: &str| {
        if !value.is_empty() {
            words.push(if label.is_empty() { name(value) } else { format!("{label}{}", name(value)) });
        }
    };
    add("", &n.encoding);
    add("delimiter: ", &n.delimiter);
    add("decimal mark: ", &n.decimal_mark);
    add("header rows: ", &n.header_rows.to_string());
    add("time: ", &n.time_column);
    add("in ", &n.time_unit);
    // Start and step of a fitted axis differ from file to file.
    add("times ", n.time_axis.split(": start").next().unwrap_or_default());
    add("signal: ", &n.signal_column);
    add("in ", &n.signal_unit);
    add("interval: ", &format!("{} s", significant(n.interval_s, 4)));
    words.join("; ")
}

fn integration(results: &Results) -> (Vec<IntegrationRow>, Vec<Fact>) {
    let mut methods: Vec<Fact> = Vec::new();
    let mut rows: Vec<IntegrationRow> = Vec::new();
    for run in &results.runs {
        for (i, p) in results.peaks.iter().filter(|p| p.run == run.run).enumerate() {
            let at = methods.iter().position(|m| m.value == p.method).unwrap_or_else(|| {
                methods.push(Fact { name: letter(methods.len()), value: p.method.clone() });
                methods.len() - 1
            });
            let (area, area_u) = with_u(p.area, p.area_u);
            rows.push(IntegrationRow {
                run: if i == 0 { name(&run.run) } else { String::new() },
                compound: p.compound.as_deref().map_or_else(|| "unknown".to_owned(), name),
                retention: or_dash(p.retention_time_min, |v| decimals(v, 3)),
                start: decimals(p.start_min, 3),
                end: decimals(p.end_min, 3),
                baseline: format!("{}, {}", significant(p.baseline[0], 4), significant(p.baseline[1], 4)),
                area,
                area_u,
                method: methods.get(at).map_or_else(|| MISSING.to_owned(), |m| m.name.clone()),
            });
        }
    }
    (rows, methods)
}

/// Every peak that was parted from a neighbour and fitted.
fn overlaps(results: &Results) -> Vec<OverlapRow> {
    let mut rows: Vec<OverlapRow> = Vec::new();
    for run in &results.runs {
        let mut first = true;
        for p in results.peaks.iter().filter(|p| p.run == run.run) {
            let Some(f) = &p.fit else { continue };
            let Some((drop, excess)) = f.drop_area.zip(f.drop_excess_percent) else { continue };
            let (fit, fit_u) = match f.area_u {
                Some(u) => with_u(f.area, u),
                None => (significant(f.area, 4), MISSING.to_owned()),
            };
            rows.push(OverlapRow {
                run: if first { name(&run.run) } else { String::new() },
                compound: p.compound.as_deref().map_or_else(|| "unknown".to_owned(), name),
                retention: or_dash(p.retention_time_min, |v| decimals(v, 3)),
                drop: significant(drop, 4),
                fit,
                fit_u,
                excess: decimals(excess, 1),
                chi_squared: significant(f.chi_squared / f.dof.max(1.0), 3),
                used: if p.method == Integration::Fit.words() { "fit" } else { "drop" }.to_owned(),
            });
            first = false;
        }
    }
    rows
}

fn by_hand(results: &Results) -> Vec<HandRow> {
    let bounds = |a: f64, b: f64| format!("{} to {}", decimals(a, 3), decimals(b, 3));
    results
        .peaks
        .iter()
        .filter_map(|p| {
            let old = p.by_hand.as_ref()?;
            let area = |value: f64, u: f64| {
                let (value, u) = with_u(value, u);
                format!("{value} ({u})")
            };
            Some(HandRow {
                run: name(&p.run),
                compound: p.compound.as_deref().map_or_else(|| "unknown".to_owned(), name),
                old_bounds: old.start_min.zip(old.end_min).map_or_else(|| MISSING.to_owned(), |(a, b)| bounds(a, b)),
                old_area: old.area.zip(old.area_u).map_or_else(|| MISSING.to_owned(), |(a, u)| area(a, u)),
                bounds: bounds(p.start_min, p.end_min),
                area: area(p.area, p.area_u),
                reason: name(&old.reason),
            })
        })
        .collect()
}

/// a, b, …, z, aa, ab, …
fn letter(index: usize) -> String {
    let last = char::from(b'a' + (index % 26) as u8);
    if index < 26 { last.to_string() } else { format!("{}{last}", letter(index / 26 - 1)) }
}

#[cfg(test)]
mod tests {
    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([0, 25, 26, 701, 702].map(super::letter), ["a", "z", "aa", "zz", "aaa"]);
    }
}
