//! Every text that a file or a person can fill in, with every hostile text: the source's structure must not change, and
//! nothing that is evaluated, read or followed may come from it.

use std::path::Path;

use serde_json::Value;
use typst_syntax::{SyntaxKind, SyntaxNode};

use super::{Attachment, LogLine, Relationship, Report, ReportContext, ReportFigure, Safety, template, text, words};
use crate::error::{Error, ErrorKind, Result};
use crate::results::Results;
use crate::study::{Comparison, HandChange, StudyConfig, Task};
use crate::units::ContentUnit;

fn json<T: serde::de::DeserializeOwned>(name: &str) -> Result<T> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/report").join(name);
    let text = std::fs::read_to_string(&path).map_err(|e| Error::io("read", &path, e))?;
    serde_json::from_str(&text).map_err(|e| Error::new(ErrorKind::Format, e.to_string()).in_file(path))
}

fn config() -> Result<StudyConfig> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/report/study.toml");
    let mut config = StudyConfig::read(path)?;
    // Every field that a study may fill is filled.
    let some = || Some("x".to_owned());
    let r = &mut config.record;
    for field in [
        &mut r.number,
        &mut r.customer,
        &mut r.address,
        &mut r.items,
        &mut r.sampling,
        &mut r.received,
        &mut r.tested,
        &mut r.issued,
        &mut r.method,
        &mut r.deviations,
        &mut r.approved_by,
        &mut r.reviewer,
    ] {
        *field = some();
    }
    r.changes = vec![HandChange { what: "x".into(), by: "x".into(), on: some(), why: "x".into() }];
    let w = &mut config.report;
    for field in [
        &mut w.abstract_text,
        &mut w.introduction,
        &mut w.experimental,
        &mut w.discussion,
        &mut w.conclusion,
        &mut w.safety,
    ] {
        *field = some();
    }
    config.tasks = vec![Task { text: "x".into(), hint: some(), answer: some(), points: Some(1) }];
    config.comparisons = vec![Comparison {
        sample: "x".into(),
        compound: "x".into(),
        value: 1.0,
        u: 0.1,
        unit: ContentUnit::parse("% v/v")?,
        origin: "x".into(),
        target_sd: None,
        target_origin: None,
    }];
    Ok(config)
}

/// The value with this text at all places at once.
fn poison(value: &Value, with: &str, of: &dyn Fn(&Value) -> bool, places: &[String]) -> Value {
    let mut out = value.clone();
    for place in places {
        if let Some(leaf) = out.pointer_mut(place) {
            *leaf = Value::String(with.to_owned());
        }
    }
    assert!(of(&out), "what single texts bear, all together do not");
    out
}

/// Places of free text: a string there may be any string.
fn free_texts(value: &Value, of: &dyn Fn(&Value) -> bool) -> Vec<String> {
    fn leaves(value: &Value, at: String, into: &mut Vec<String>) {
        match value {
            Value::String(_) => into.push(at),
            Value::Array(items) => items.iter().enumerate().for_each(|(i, v)| leaves(v, format!("{at}/{i}"), into)),
            Value::Object(map) => map
                .iter()
                .for_each(|(k, v)| leaves(v, format!("{at}/{}", k.replace('~', "~0").replace('/', "~1")), into)),
            _ => {}
        }
    }
    let (mut all, mut known) = (Vec::new(), std::collections::BTreeMap::new());
    leaves(value, String::new(), &mut all);
    all.retain(|place| {
        // One field of a list is free where its first is.
        let kind: String = place.split('/').map(|p| if p.parse::<usize>().is_ok() { "/*" } else { p }).collect();
        *known.entry(kind).or_insert_with(|| {
            let mut one = value.clone();
            if let Some(leaf) = one.pointer_mut(place) {
                *leaf = Value::String("#read(\"x\")".to_owned());
            }
            of(&one)
        })
    });
    all
}

/// Kinds of all tokens, strings' contents left out.
fn skeleton(node: &SyntaxNode, into: &mut Vec<SyntaxKind>) {
    into.push(node.kind());
    node.children().for_each(|c| skeleton(c, into));
}

/// What reaches the typesetter may hold nothing but text that it can show, and checked formulas, addresses, keys.
fn check_data(value: &Value, key: &str) {
    match value {
        Value::String(s) => match key {
            "formula" => assert!(words::check_formula(s).is_ok(), "a formula that does not pass: {s}"),
            "target" => assert!(words::is_link(s), "an address that does not pass: {s}"),
            _ => assert!(s.chars().all(|c| text::covered_plainly(c) || c == '\u{200B}'), "{key}: {s:?}"),
        },
        Value::Array(items) => items.iter().for_each(|v| check_data(v, key)),
        Value::Object(map) => map.iter().for_each(|(k, v)| check_data(v, k)),
        _ => {}
    }
}

#[test]
fn every_field_bears_every_hostile_text() -> Result<()> {
    let hostile: Vec<String> = json("hostile.json")?;
    assert!(hostile.len() >= 60);
    let value =
        |v: std::result::Result<Value, serde_json::Error>| v.map_err(|e| Error::new(ErrorKind::Format, e.to_string()));
    let (results, study): (Results, _) = (json("results.json")?, config()?);
    let sources = [
        (value(serde_json::to_value(&results))?, "results"),
        (value(serde_json::to_value(&study))?, "study"),
        (json::<Value>("log.json")?, "log"),
        (json::<Value>("safety.json")?, "safety"),
    ];
    let readers: [fn(&Value) -> bool; 4] = [
        |v| serde_json::from_value::<Results>(v.clone()).is_ok(),
        |v| serde_json::from_value::<StudyConfig>(v.clone()).is_ok(),
        |v| serde_json::from_value::<Vec<LogLine>>(v.clone()).is_ok(),
        |v| serde_json::from_value::<Safety>(v.clone()).is_ok(),
    ];
    let places: Vec<Vec<String>> = sources.iter().zip(readers).map(|((v, _), of)| free_texts(v, &of)).collect();
    for ((_, what), (places, least)) in sources.iter().zip(places.iter().zip([500, 70, 50, 10])) {
        assert!(places.len() >= least, "only {} free texts in {what}", places.len());
    }
    let report = |with: &str| -> Result<Report> {
        let all: Vec<Value> =
            sources.iter().zip(readers).zip(&places).map(|(((v, _), of), p)| poison(v, with, &of, p)).collect();
        let read = |i: usize| all.get(i).cloned().unwrap_or_default();
        let bad = |e: serde_json::Error| Error::new(ErrorKind::Format, e.to_string());
        let figure = |place: &str| ReportFigure {
            id: format!("{place}/{with}"),
            svg: "<svg/>".into(),
            alt: with.to_owned(),
            caption: with.to_owned(),
        };
        let context = ReportContext::from_results(
            &serde_json::from_value(read(0)).map_err(bad)?,
            &serde_json::from_value(read(1)).map_err(bad)?,
            &serde_json::from_value::<Vec<LogLine>>(read(2)).map_err(bad)?,
            vec![figure("chromatogram"), figure("calibration"), figure("budget"), figure("other")],
            serde_json::from_value(read(3)).map_err(bad)?,
        );
        Ok(Report::new(context).with_attachments(vec![Attachment {
            name: with.to_owned(),
            bytes: vec![1],
            media_type: with.to_owned(),
            description: with.to_owned(),
            relationship: Relationship::Source,
        }]))
    };
    let structure = |report: &Report, name: &str| -> Result<Vec<SyntaxKind>> {
        let root = typst_syntax::parse(&report.with_template(name).source()?);
        let errors = root.errors_and_warnings().0;
        assert!(errors.is_empty(), "{name}: {errors:?}");
        let mut kinds = Vec::new();
        skeleton(&root, &mut kinds);
        Ok(kinds)
    };
    let names = template::template_names();
    let mut plain: Vec<Vec<SyntaxKind>> = Vec::new();
    // Blank words are a gap, which has another structure.
    for with in std::iter::once(&"plain".to_owned()).chain(hostile.iter().filter(|h| !h.trim().is_empty())) {
        let report = report(with)?.with_answers(true);
        let short: String = with.chars().take(60).collect();
        for (i, name) in names.iter().enumerate() {
            let found = structure(&report, name)?;
            match plain.get(i) {
                None => plain.push(found),
                Some(plain) => assert!(*plain == found, "{name}: the structure changed with {short:?}"),
            }
        }
        let mut context = report.context.clone();
        context.attachments = super::compile::attachment_rows(&report.attachments);
        let data = report.data(&context);
        check_data(&data, "");
        for (list, begins) in [("figures", "figures/figure-"), ("attachments", "attachments/")] {
            for row in data[list].as_array().into_iter().flatten() {
                assert!(row["file"].as_str().is_some_and(|f| f.starts_with(begins) && !f.contains("..")), "{row}");
            }
        }
        assert!(report.context.pictures.is_empty(), "a picture was read without a study folder");
    }
    Ok(())
}
