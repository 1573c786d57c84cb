//! The screen painter: plotly's JSON says what the description says, safely, and in few bytes.
//!
//! `VIALBOOK_FIGURES=folder cargo test --features plotly figures::screen` writes all figures as JSON and SVG, to look
//! at. `VIALBOOK_PYTHON=python3` names a Python with plotly.py, whose validators then read every attribute.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;
use vialbook::Detect;
use vialbook::figure::{Axis, Bar, Color, Figure, Layer, Legend, Mark, Marker, Panel, Step, Steps, Style};

use super::gallery::{long_run, views_of_everything};

fn json(figure: &Figure) -> Value {
    serde_json::from_str(&figure.to_plotly()).expect("well-formed JSON")
}

/// Every view, and the samples that are kept as SVG.
fn everything() -> Vec<(&'static str, Figure)> {
    let mut all = views_of_everything();
    all.extend(super::samples());
    all.push(("all-layers", all_layers()));
    all
}

/// Every kind of layer, axis, legend and marker in one figure.
fn all_layers() -> Figure {
    let x: Vec<f64> = (0..40).map(f64::from).collect();
    let y: Vec<f64> = x.iter().map(|x| 1e7 + 4e6 * (x / 4.0).sin()).collect();
    let mut upper = Panel::new(Axis::new("time", "s"), Axis::new("counts", "1/s").with_grid())
        .letter("a")
        .legend(Legend::Above)
        .layer(Layer::band(x.clone(), vec![6e6; 40], vec![1.4e7; 40]).named("band"))
        .layer(Layer::line(x.clone(), y.clone()).styled(Style::nth(1)).named("line"))
        .layer(Layer::horizontal(1.2e7).named("limit"))
        .layer(Layer::vertical(8.0).named("hold-up time"))
        .layer(Layer::text(30.0, 8e6, "words"))
        .layer(Layer::note(vec!["y = a + b x".into(), "n = 40".into()]))
        .layer(Layer::labels(vec![Mark::new(6.0, 1.4e7, "first"), Mark::new(6.5, 1.39e7, "second, close by")]));
    for k in 0..7 {
        let marks = Layer::markers(vec![3.0 * k as f64], vec![7e6]).with_marker(Marker::nth(k)).with_y_error(vec![8e5]);
        upper = upper.layer(if k % 2 == 0 { marks.hollow() } else { marks.colored(Color::Orange) });
    }
    let mut gap = vec![0.0, 1.0, f64::NAN, 2.0, f64::NAN, 1.0, 0.0];
    gap.extend(vec![0.5; 3]);
    let counts = Panel::new(Axis::new("shot", "").whole(), Axis::new("small", "mV").range(-0.5, 1.5).without_numbers())
        .layer(Layer::line((1..=10).map(f64::from).collect::<Vec<_>>(), gap))
        .layer(Layer::markers(vec![2.0, 3.0], vec![9.0, -9.0]).with_x_error(vec![0.3, f64::NAN]));
    let bars =
        vec![Bar::new("first", 3.0).noted("3 %"), Bar::new("second", -1.0).noted("−1 %"), Bar::new("none", f64::NAN)];
    Figure::new("Every kind of layer.")
        .size_mm(160.0, 200.0)
        .panel(upper)
        .panel(counts)
        .panel(Panel::new(Axis::new("share", "%"), Axis::new("", "")).layer(Layer::bars(bars)))
}

#[test]
fn every_figure_has_its_parts_and_the_same_bytes_twice() {
    let folder = std::env::var_os("VIALBOOK_FIGURES");
    for (name, figure) in everything() {
        let text = figure.to_plotly();
        assert_eq!(text, figure.to_plotly(), "{name}");
        let value = json(&figure);
        assert!(value["data"].as_array().is_some_and(|d| !d.is_empty()), "{name}");
        for (i, panel) in figure.panels.iter().enumerate() {
            let axis = if i == 0 { "xaxis".to_owned() } else { format!("xaxis{}", i + 1) };
            let title = value["layout"][&axis]["title"]["text"].as_str().expect("a title");
            let last = i + 1 == figure.panels.len() || !figure.share_x;
            let words = if last { panel.x.label(0) } else { String::new() };
            assert_eq!(title, words.replace('%', "&#37;"), "{name}, panel {i}");
        }
        let limit = if figure.steps.is_some() { 900_000 } else { 400_000 };
        assert!(text.len() < limit, "{name}: {} bytes", text.len());
        if let Some(folder) = &folder {
            let file = |ending: &str| std::path::Path::new(folder).join(format!("{name}.{ending}"));
            std::fs::create_dir_all(folder).expect("the folder");
            std::fs::write(file("json"), &text).expect("written");
            std::fs::write(file("svg"), figure.to_svg()).expect("written");
        }
    }
}

/// The validators of plotly.py know every attribute of plotly.js and its type.
#[test]
fn every_attribute_is_valid() {
    let Some(python) = std::env::var_os("VIALBOOK_PYTHON") else {
        eprintln!("passed over: VIALBOOK_PYTHON names no Python with plotly.py, so no validator read the figures");
        return;
    };
    let script = "import json, sys, plotly.io\n\
                  for name, text in json.load(sys.stdin):\n    \
                  try: plotly.io.from_json(text, skip_invalid=False)\n    \
                  except Exception as e: sys.exit(name + ': ' + str(e)[:600])\n";
    let all: Vec<(&str, String)> = everything().into_iter().map(|(name, figure)| (name, figure.to_plotly())).collect();
    let mut child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("VIALBOOK_PYTHON starts");
    let input = serde_json::to_vec(&all).expect("JSON");
    child.stdin.take().expect("a pipe").write_all(&input).expect("read by the validator");
    let output = child.wait_with_output().expect("an answer");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn no_apex_is_hidden_and_no_coordinate_is_long() {
    let run = long_run();
    let peaks = run.find_peaks(&Detect::default()).expect("peaks");
    let (time, signal) = (run.trace.time_min(), run.trace.signal());
    for figure in
        [run.plot(), peaks.plot(), run.explore_smoothing().expect("steps"), run.explore_detection().expect("steps")]
    {
        let value = json(&figure);
        let mut drawn: Vec<(f64, f64)> = Vec::new();
        for trace in value["data"].as_array().expect("traces").iter().filter(|t| t["xaxis"] == "x") {
            let numbers =
                |key: &str| trace[key].as_array().expect("numbers").iter().map(|v| v.as_f64().unwrap_or(f64::NAN));
            drawn.extend(numbers("x").zip(numbers("y")));
            assert!(numbers("x").chain(numbers("y")).all(|v| v.to_string().len() <= 9), "{figure:?}");
        }
        for p in &peaks.peaks {
            let inside = run.trace.index_at(p.start_min)..=run.trace.index_at(p.end_min);
            let i = inside.max_by(|&i, &j| signal[i].total_cmp(&signal[j])).expect("points");
            let near = |d: &&(f64, f64)| (d.0 - time[i]).abs() < 1e-4 && (d.1 - signal[i]).abs() < 1e-3;
            assert!(drawn.iter().any(|d| near(&d)), "{figure:?}: the apex at {} min", time[i]);
        }
    }
}

#[test]
fn text_is_never_markup() {
    let bad = "<a href=\"javascript:x\">&lt;b&gt;$x$ %{x} %{meta[0]}</a><br>\u{202e}\n\u{0}";
    let good =
        "&lt;a href=\"javascript:x\"&gt;&amp;lt;b&amp;gt;&#36;x&#36; &#37;{x} &#37;{meta[0]}&lt;/a&gt;&lt;br&gt;";
    let axis = || Axis::new(bad, bad);
    let panel = Panel::new(axis().categories(vec![bad.into()]), axis())
        .letter(bad)
        .layer(Layer::line(vec![0.0, 1.0, 2.0], vec![0.0, 1.0, 0.0]).named(bad))
        .layer(Layer::area(vec![0.0, 1.0], vec![1.0, 1.0], vec![0.0, 0.0]).named(bad).telling(bad))
        .layer(Layer::markers(vec![1.0], vec![1.0]).named(bad).with_hover(vec![bad.to_owned()]))
        .layer(Layer::markers(vec![1.0], vec![1.0]).named(bad))
        .layer(Layer::labels(vec![Mark::new(0.5, 0.5, bad)]))
        .layer(Layer::horizontal(0.5).named(bad))
        .layer(Layer::vertical(0.5).named(bad))
        .layer(Layer::text(0.5, 0.5, bad))
        .layer(Layer::note(vec![bad.to_owned()]));
    let bars = Panel::new(axis(), axis()).layer(Layer::bars(vec![Bar::new(bad, 1.0).noted(bad)]));
    let steps = Steps::new(bad, bad).step(Step::new(bad).layer(Layer::text(0.2, 0.2, bad)));
    let figure = Figure::new(bad).panel(panel).panel(bars).stepping(steps);
    let mut seen = 0;
    let mut check = |text: &str| {
        let plain = text.replace("<br>", "").replace("<extra>", "").replace("</extra>", "");
        assert!(!plain.contains(['<', '>', '$', '\u{202e}', '\0', '\n']), "{text}");
        let placeholders = ["%{x}", "%{y}", "%{hovertext}"];
        let rest = placeholders.iter().fold(plain, |t, p| t.replace(p, ""));
        assert!(!rest.contains("%{"), "{text}");
        assert!(
            rest.split('&').skip(1).all(|t| ["amp;", "lt;", "gt;", "#36;", "#37;"].iter().any(|e| t.starts_with(e)))
        );
        seen += usize::from(text.contains("&lt;a href"));
    };
    fn texts(value: &Value, each: &mut dyn FnMut(&str)) {
        match value {
            Value::String(s) => each(s),
            Value::Array(all) => all.iter().for_each(|v| texts(v, each)),
            Value::Object(all) => all.values().for_each(|v| texts(v, each)),
            _ => {}
        }
    }
    let value = json(&figure);
    texts(&value, &mut check);
    assert!(seen > 15, "{seen} places");
    assert!(
        value["data"].as_array().expect("traces").iter().any(|t| t["name"].as_str().is_some_and(|n| n.trim() == good))
    );
}

#[test]
fn a_slider_shows_one_step_and_keeps_what_is_always_there() {
    let figure = long_run().explore_detection().expect("steps");
    let value = json(&figure);
    let traces = value["data"].as_array().expect("traces");
    let slider = &value["layout"]["sliders"][0];
    let steps = slider["steps"].as_array().expect("steps");
    assert_eq!(steps.len(), figure.steps.as_ref().expect("steps").steps.len());
    let chosen = slider["active"].as_u64().expect("a number") as usize;
    let is_shown = |t: &Value| t.get("visible").is_none_or(|v| v == true);
    for (k, step) in steps.iter().enumerate() {
        let visible: Vec<bool> =
            step["args"][0]["visible"].as_array().expect("one per trace").iter().map(|v| v == true).collect();
        assert_eq!(visible.len(), traces.len());
        if k == chosen {
            assert_eq!(visible, traces.iter().map(is_shown).collect::<Vec<_>>());
        }
        // The trace itself, 12,000 points, is drawn once and always.
        let longest = (0..traces.len()).max_by_key(|&i| traces[i]["x"].as_array().map_or(0, Vec::len)).expect("traces");
        assert!(visible[longest]);
        let areas = traces.iter().zip(&visible).filter(|(t, v)| **v && t["fill"] == "toself").count();
        let drawn = figure.at_step(k).panels[0].layers.iter().filter(|l| matches!(l, Layer::Area { .. })).count();
        assert_eq!(areas, drawn, "step {k}");
        let names: Vec<&str> = step["args"][1]["annotations"]
            .as_array()
            .expect("names")
            .iter()
            .filter_map(|a| a["text"].as_str())
            .collect();
        assert!(names.iter().any(|n| n.starts_with("threshold ")), "{names:?}");
    }
    assert_eq!(figure.to_svg(), figure.at_step(chosen).to_svg());
}

#[test]
fn colours_dashes_and_markers_are_those_of_the_page() {
    let line = |k: usize| Layer::line(vec![0.0, 1.0, 2.0], vec![0.0, 1.0, 0.0]).styled(Style::nth(k)).named("line");
    let mark = |k: usize| Layer::markers(vec![1.0], vec![1.0]).with_marker(Marker::nth(k)).colored(Color::Vermillion);
    let panel = Panel::new(Axis::new("x", ""), Axis::new("y", "")).layers((0..6).map(line)).layers((0..7).map(mark));
    let value = json(&Figure::new("Six lines, seven markers.").panel(panel));
    let traces = value["data"].as_array().expect("traces");
    let looks: Vec<(&str, &str)> = traces[..6]
        .iter()
        .map(|t| (t["line"]["color"].as_str().expect("a colour"), t["line"]["dash"].as_str().expect("a dash")))
        .collect();
    let expected = [
        ("#000000", "solid"),
        ("#0072B2", "dash"),
        ("#D55E00", "dashdot"),
        ("#009E73", "longdash"),
        ("#CC79A7", "dot"),
        ("#E69F00", "dash"),
    ];
    assert_eq!(looks, expected);
    let mut symbols: Vec<&str> = traces[6..].iter().filter_map(|t| t["marker"]["symbol"].as_str()).collect();
    symbols.sort_unstable();
    symbols.dedup();
    assert_eq!(symbols.len(), 7);
}
