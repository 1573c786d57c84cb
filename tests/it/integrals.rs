//! How study.toml has areas taken: bounds or fit, which baseline, what was set by hand.

use std::fs;

use vialbook::results::{PeakResult, Results};
use vialbook::study::Study;

/// The demo's study with more lines in its study.toml, analysed.
fn results_with(lines: &str) -> Result<Results, String> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let root = folder.path().join("study");
    vialbook::simulate::recovered_eluent(3).write_study(&root).expect("written");
    let path = root.join("study.toml");
    let text = fs::read_to_string(&path).expect("readable");
    let text = match text.find("[peaks]\n") {
        Some(at) => format!("{}{lines}\n{}", &text[..at + 8], &text[at + 8..]),
        None => format!("{text}\n[peaks]\n{lines}\n"),
    };
    fs::write(path, text).expect("written");
    let analysis = Study::open(&root).and_then(|s| s.analyse()).map_err(|e| e.to_string())?;
    Ok(analysis.results().clone())
}

fn named<'a>(results: &'a Results, run: &str, compound: &str) -> &'a PeakResult {
    let is_it = |p: &&PeakResult| p.run == run && p.compound.as_deref() == Some(compound);
    results.peaks.iter().find(is_it).expect("integrated")
}

/// By bounds, by fit and above one baseline the areas agree within what overlap and a bent drift decide, and each result
/// says which way it was.
#[test]
fn bounds_fit_and_baselines_are_chosen_and_told() {
    let bounds = results_with("").expect("analyses");
    let fit = results_with("integration = \"fit\"").expect("analyses");
    let above = results_with("baseline = { method = \"clipping\" }").expect("analyses");
    assert!(bounds.runs.iter().all(|r| r.baseline == "a straight line below each peak or group"));
    assert!(fit.runs.iter().all(|r| r.baseline == "fitted with each group of peaks"));
    assert!(above.runs.iter().all(|r| r.baseline.starts_with("below the whole run: ")), "{}", above.runs[0].baseline);
    assert!(bounds.runs.iter().all(|r| r.noise_peak_to_peak.is_some_and(|h| h > 3.0 * r.noise_sd.unwrap_or(0.0))));
    assert!(fit.peaks.iter().filter(|p| p.method == "fit").count() * 3 > fit.peaks.len());
    assert!(bounds.peaks.iter().all(|p| p.method != "fit"));
    for p in &bounds.peaks {
        let overlapped = p.method == "perpendicular drop";
        let compared = p.fit.as_ref().is_some_and(|f| f.drop_excess_percent.is_some());
        assert!(!overlapped || compared || p.fit.is_none(), "{} at {:?}", p.run, p.retention_time_min);
        let said = p.notes.iter().any(|n| n.contains("% against the fit"));
        assert!(!said || overlapped, "{:?}", p.notes);
    }
    let standard = bounds.runs.iter().find(|r| r.kind == "standard" && r.accepted).expect("a standard");
    for c in &bounds.calibrations {
        let (a, b) = (named(&bounds, &standard.run, &c.compound), named(&fit, &standard.run, &c.compound));
        assert!((a.area / b.area - 1.0).abs() < 0.1, "{}: {} by bounds, {} by fit", c.compound, a.area, b.area);
    }
}

#[test]
fn bounds_set_by_hand_stand_beside_the_old_ones() {
    let before = results_with("").expect("analyses");
    let run = before.runs.iter().find(|r| r.kind == "sample" && r.accepted).expect("a sample").run.clone();
    let compound = before.calibrations[0].compound.clone();
    let old = named(&before, &run, &compound);
    let (start, end) = (old.start_min - 0.01, old.end_min + 0.01);
    let by_hand = |run: &str, reason: &str| {
        format!(
            "by_hand = [{{ run = \"{run}\", compound = \"{compound}\", start_min = {start}, end_min = {end}, reason = \"{reason}\" }}]"
        )
    };
    let after = results_with(&by_hand(&run, "a spike on the tail")).expect("analyses");
    let new = named(&after, &run, &compound);
    assert_eq!(new.method, "bounds by hand");
    let was = new.by_hand.as_ref().expect("told");
    assert_eq!(
        (was.reason.as_str(), was.area, was.start_min),
        ("a spike on the tail", Some(old.area), Some(old.start_min))
    );
    assert_eq!(was.method.as_deref(), Some(old.method.as_str()));
    assert!((new.start_min - start).abs() < 0.01 && (new.end_min - end).abs() < 0.01);
    assert!(new.notes.iter().any(|n| n.contains("a spike on the tail") && n.contains("the program had drawn")));
    // Nothing else has changed.
    let rest = |r: &Results| {
        r.peaks
            .iter()
            .filter(|p| !(p.run == run && p.compound.as_deref() == Some(&compound)))
            .map(|p| p.area)
            .sum::<f64>()
    };
    assert_eq!(rest(&before), rest(&after));
    let error = results_with(&by_hand(&run, " ")).expect_err("no reason");
    assert!(error.contains("without a reason") && error.contains("peaks.by_hand[1].reason"), "{error}");
    let error = results_with(&by_hand("nowhere", "x")).expect_err("no such run");
    assert!(error.contains("nowhere") && error.contains("peaks.by_hand"), "{error}");
}
