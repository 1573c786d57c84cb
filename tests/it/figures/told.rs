//! Views: what they draw, and what they tell under the pointer.

use vialbook::Detect;
use vialbook::figure::views::{self, OverlaidRun, Overlay};
use vialbook::figure::{Figure, Layer};

use super::gallery::{curve, demo, long_run, views_of_everything};
use super::odd::well_formed;

fn layers(figure: &Figure) -> Vec<&Layer> {
    figure.panels.iter().flat_map(|p| &p.layers).collect()
}

fn areas(figure: &Figure) -> Vec<&str> {
    layers(figure)
        .into_iter()
        .filter_map(|l| if let Layer::Area { hover, .. } = l { hover.as_deref() } else { None })
        .collect()
}

#[test]
fn every_view_says_what_it_shows_and_can_be_printed() {
    for (name, figure) in views_of_everything() {
        assert!(figure.alt.len() > 30 && figure.alt.ends_with('.'), "{name}: {}", figure.alt);
        well_formed(&figure.to_svg());
    }
}

#[test]
fn a_peak_tells_every_figure_of_merit() {
    let run = long_run();
    let peaks = run.find_peaks(&Detect::default()).expect("peaks");
    let figure = peaks.plot();
    let told = areas(&figure);
    assert_eq!(told.len(), peaks.len());
    for (p, words) in peaks.peaks.iter().zip(&told) {
        let area = vialbook::estimate::plus_minus(p.area, p.area_u, "mV·min");
        for wanted in ["retention time: ", "height: ", "width at half height: ", "signal to noise: ", "plates: "] {
            assert!(words.contains(wanted), "{wanted} in {words}");
        }
        assert!(words.contains(&vialbook::estimate::typographic(&format!("area: {area}"))), "{words}");
        assert_eq!(words.contains("resolution"), p.resolution_half_height.is_some());
        assert_eq!(words.matches("note: ").count(), p.notes.len());
    }
    let ethanol = peaks.nearest(2.1).expect("a peak");
    assert!(ethanol.resolution_half_height.is_some() && ethanol.tailing_factor_5pct.is_some());
}

#[test]
fn a_named_run_tells_names_and_a_solvent_is_cut_off() {
    let analysis = demo();
    let run = analysis.results().runs.iter().find(|r| r.kind == "standard").expect("a standard").run.clone();
    let figure = analysis.plot_run(&run).expect("a run");
    let told = areas(&figure);
    for name in ["2-propanol", "isopropyl acetate", "octane"] {
        let of = told.iter().find(|t| t.starts_with(name)).expect("the peak");
        assert!(of.contains("probability of the name: ") && of.contains("area: "), "{of}");
    }
    assert!(analysis.plot_run("no such run").is_err());
}

#[test]
fn flasks_and_shots_tell_why_they_are_left_out() {
    let curve = curve();
    let figure = curve.plot();
    let hollow = layers(&figure).into_iter().find_map(|l| match l {
        Layer::Markers { hollow: true, hover, .. } => Some(hover.clone()),
        _ => None,
    });
    let hollow = hollow.expect("a flask left out");
    assert_eq!(hollow.len(), 1);
    assert!(hollow[0].contains("left out: air in the syringe"), "{}", hollow[0]);
    let replicates = curve.plot_replicates().expect("shots");
    let shots: usize = replicates.panels[0]
        .layers
        .iter()
        .filter_map(|l| if let Layer::Markers { x, hover, .. } = l { Some((x.len(), hover.len())) } else { None })
        .map(|(points, told)| {
            assert_eq!(points, told);
            points
        })
        .sum();
    assert_eq!(shots, 20, "five levels of two flasks of two shots");
}

#[test]
fn replicates_of_a_study_are_ratios_of_its_own_areas() {
    let analysis = demo();
    let figure = analysis.plot_replicates("2-propanol").expect("shots");
    let results = analysis.results();
    let area = |run: &str, name: &str| {
        results.peaks.iter().find(|p| p.run == run && p.compound.as_deref() == Some(name)).cloned()
    };
    let mut wanted: Vec<f64> = results
        .runs
        .iter()
        .filter(|r| !r.kind.contains("blank"))
        .filter_map(|r| Some((area(&r.run, "2-propanol")?, area(&r.run, "octane")?)))
        .filter(|(_, octane)| octane.retention_time_min.is_some())
        .map(|(alcohol, octane)| alcohol.area / octane.area)
        .collect();
    let mut drawn: Vec<f64> = figure.panels[0]
        .layers
        .iter()
        .filter_map(|l| if let Layer::Markers { y, .. } = l { Some(y.clone()) } else { None })
        .flatten()
        .collect();
    wanted.sort_by(f64::total_cmp);
    drawn.sort_by(f64::total_cmp);
    assert_eq!(drawn, wanted);
    assert!(figure.alt.contains("Not shown, without a peak of octane: "), "{}", figure.alt);
    let error = analysis.plot_replicates("water").expect_err("no such compound").to_string();
    assert!(error.contains("no run has a response to \"water\""), "{error}");
}

#[test]
fn an_overlay_raises_and_moves_what_it_says() {
    let run = long_run();
    let one = |name: &str, late: Option<f64>| OverlaidRun {
        name: name.into(),
        trace: run.trace.clone(),
        start_offset_s: late,
        names: vec![],
    };
    let runs = [one("first", None), one("second", Some(6.0))];
    let figure = views::overlay(&runs, Overlay { raise: 0.1, aligned: true }).expect("a figure");
    let lines: Vec<(f64, f64)> = layers(&figure)
        .into_iter()
        .filter_map(|l| if let Layer::Line { x, y, .. } = l { Some((x[0], y[0])) } else { None })
        .collect();
    let signal = run.trace.signal();
    let (low, high) = signal.iter().fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
    assert_eq!(lines[0], (0.0, signal[0]));
    assert!((lines[1].0 + 0.1).abs() < 1e-12, "6 s late, moved 0.1 min earlier");
    assert!((lines[1].1 - signal[0] - 0.1 * (high - low)).abs() < 1e-9);
    assert!(figure.alt.contains("second, 6.0 s earlier"), "{}", figure.alt);
    let other = OverlaidRun { trace: run.trace.clone().with_unit("pA"), ..one("third", None) };
    assert!(views::overlay(&[runs[0].clone(), other], Overlay::default()).is_err());
    assert!(views::overlay(&[], Overlay::default()).is_err());
}

#[test]
fn sliders_tell_what_a_setting_costs() {
    let run = long_run();
    let figure = run.explore_smoothing().expect("steps");
    let steps = figure.steps.as_ref().expect("a slider");
    let kept: Vec<f64> = steps
        .steps
        .iter()
        .map(|s| {
            let lines = s
                .layers
                .iter()
                .flatten()
                .find_map(|l| if let Layer::Note { lines, .. } = l { Some(lines) } else { None });
            let line = lines.expect("a note").iter().find(|l| l.starts_with("noise: ")).expect("noise").clone();
            line.trim_start_matches("noise: ").trim_end_matches(" %").parse().expect("a number")
        })
        .collect();
    assert!(kept.windows(2).all(|w| w[1] < w[0]), "{kept:?}");
    // White noise keeps √(Σw²) of itself; for 5 points and degree 2 that is √(17/35) = 0.697 (A. Savitzky and
    // M. J. E. Golay, Analytical Chemistry 36 (1964) 1627-1639, table I: weights −3, 12, 17, 12, −3 over 35).
    assert!((kept[0] - 69.7).abs() < 3.0, "{kept:?}");
    let found: Vec<usize> = run
        .explore_detection()
        .expect("steps")
        .steps
        .expect("a slider")
        .steps
        .iter()
        .map(|s| s.layers[0].iter().filter(|l| matches!(l, Layer::Area { .. })).count())
        .collect();
    assert!(found.windows(2).all(|w| w[1] <= w[0]) && found[0] > *found.last().expect("steps"), "{found:?}");
    assert_eq!(run.explore_baseline().expect("steps").steps.expect("a slider").steps.len(), 7);
}
