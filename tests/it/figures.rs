//! Figures: realistic samples against expected SVG files, and what must hold for any data.
//!
//! `VIALBOOK_RENEW=1 cargo test figures` writes the expected files anew; look at each before committing it.

mod gallery;
mod odd;
#[cfg(feature = "plotly")]
mod screen;
mod told;

use std::path::PathBuf;

pub(crate) use self::odd::well_formed;
use vialbook::figure::{Axis, Bar, Color, Dash, Figure, Layer, Legend, Mark, Marker, Panel, Style};

/// A simulated trace: Gaussian peaks on a rising baseline with white noise, from a generator of our own.
struct Sample {
    time: Vec<f64>,
    signal: Vec<f64>,
    baseline: Vec<f64>,
}

/// Apex in minutes, height in mV, standard deviation in minutes, name.
type Peak = (f64, f64, f64, &'static str);

const PEAKS: [Peak; 6] = [
    (0.95, 412.0, 0.022, "acetone"),
    (2.10, 11.4, 0.035, "ethanol"),
    (2.34, 7.8, 0.038, "propan-2-ol"),
    (4.05, 15.2, 0.050, "butan-1-ol (int. std)"),
    (6.60, 0.62, 0.065, "ethyl butanoate"),
    (8.20, 0.41, 0.080, "limonene"),
];

fn sample(points: usize, peaks: &[Peak], mut seed: u64) -> Sample {
    let mut noise = || {
        seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407); // Knuth, MMIX
        (seed >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    let time: Vec<f64> = (0..points).map(|i| 10.0 * i as f64 / (points - 1) as f64).collect();
    let baseline: Vec<f64> = time.iter().map(|t| 0.4 + 0.003 * t * t).collect();
    let signal = time
        .iter()
        .zip(&baseline)
        .map(|(t, b)| {
            let peaks: f64 = peaks.iter().map(|p| p.1 * libm::exp(-0.5 * ((t - p.0) / p.2) * ((t - p.0) / p.2))).sum();
            b + peaks + 0.06 * noise()
        })
        .collect();
    Sample { time, signal, baseline }
}

fn chromatogram() -> Figure {
    let s = sample(12_000, &PEAKS, 1);
    let between = |a: f64, b: f64| s.time.partition_point(|&t| t < a)..s.time.partition_point(|&t| t <= b);
    let mut layers = vec![];
    for (i, &(apex, _, sd, _)) in PEAKS.iter().enumerate() {
        let (a, b) = match i {
            1 => (apex - 4.0 * sd, 2.218), // valley: perpendicular drop
            2 => (2.218, apex + 4.0 * sd),
            _ => (apex - 4.0 * sd, apex + 4.0 * sd),
        };
        let r = between(a, b);
        let color = [Color::Blue, Color::Orange][i % 2];
        layers.push(Layer::area(&s.time[r.clone()], &s.signal[r.clone()], &s.baseline[r.clone()]).colored(color));
        layers.push(Layer::segment(
            [s.time[r.start], s.baseline[r.start]],
            [s.time[r.end - 1], s.baseline[r.end - 1]],
            Style::new(Color::Vermillion).width(0.5),
        ));
    }
    layers.push(Layer::line(s.time.clone(), s.signal.clone()).styled(Style::default().width(0.6)));
    let marks = |few: &[Peak]| Layer::labels(few.iter().map(|p| Mark::new(p.0, p.1 + 0.4, p.3)).collect());
    let inset = Panel::new(Axis::new("", "").range(6.0, 8.9), Axis::new("", "").range(0.3, 1.4))
        .layers(layers.clone())
        .layer(Layer::labels(vec![]));
    Figure::new(
        "Chromatogram of six named peaks between 0 and 10 min. The solvent peak at 0.95 min is cut off at 20 mV; \
         ethanol and propan-2-ol at 2.1 and 2.3 min overlap slightly; the inset shows two peaks below 1 mV after 6 min.",
    )
    .panel(
        Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", "mV").range(-0.5, 20.0))
            .layers(layers)
            .layer(marks(&PEAKS))
            .inset(inset),
    )
}

const LEVELS: [f64; 7] = [0.0, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0];

fn calibration() -> Figure {
    let found = [0.012, 0.117, 0.226, 0.449, 1.130, 1.327, 1.762];
    let u = [0.004, 0.006, 0.008, 0.012, 0.03, 0.028, 0.036];
    let line = |x: f64| 0.008 + 0.2195 * x;
    let half = |x: f64| 0.012 + 0.0011 * (x - 3.0) * (x - 3.0);
    let x: Vec<f64> = (0..=60).map(|i| i as f64 * 8.4 / 60.0).collect();
    let fit: Vec<f64> = x.iter().map(|&x| line(x)).collect();
    let low = x.iter().map(|&x| line(x) - 2.4 * half(x)).collect::<Vec<_>>();
    let high = x.iter().map(|&x| line(x) + 2.4 * half(x)).collect::<Vec<_>>();
    let kept: Vec<usize> = (0..7).filter(|&i| i != 4).collect();
    let pick = |v: &[f64]| kept.iter().map(|&i| v[i]).collect::<Vec<f64>>();
    let residual: Vec<f64> = (0..7).map(|i| found[i] - line(LEVELS[i])).collect();
    Figure::new(
        "Seven standards of propan-2-ol from 0 to 8 mg/L. Six lie on a straight line within their error bars; the \
         standard of 4 mg/L lies 0.24 above it and is left out. Residuals show no trend.",
    )
    .size_mm(120.0, 110.0)
    .sharing_x()
    .panel(
        Panel::new(Axis::new("mass concentration", "mg/L"), Axis::new("ratio of areas", ""))
            .letter("a")
            .layer(Layer::band(x.clone(), low, high).named("95 % confidence band"))
            .layer(Layer::line(x, fit).colored(Color::Blue).named("straight line, weights 1/s²"))
            .layer(Layer::markers(pick(&LEVELS), pick(&found)).with_y_error(pick(&u)).named("standards"))
            .layer(Layer::markers(vec![4.0], vec![1.130]).with_y_error(vec![0.03]).hollow().named("left out")),
    )
    .panel(
        Panel::new(Axis::new("mass concentration", "mg/L"), Axis::new("residual", "").range(-0.06, 0.06))
            .letter("b")
            .height_share(0.4)
            .layer(Layer::horizontal(0.0))
            .layer(Layer::markers(pick(&LEVELS), pick(&residual)).with_y_error(pick(&u)))
            .layer(Layer::markers(vec![4.0], vec![residual[4]]).hollow()),
    )
}

fn budget() -> Figure {
    let bars = [
        ("calibration line", 52.4),
        ("repeatability", 24.1),
        ("purity of the stock", 13.0),
        ("volumetric flasks", 6.9),
        ("balance", 0.3),
    ];
    let bars = bars.map(|(name, share)| Bar::new(name, share).noted(format!("{share:.1} %")));
    Figure::new("The calibration line gives 52 % of the variance, repeatability 24 %, the balance next to nothing.")
        .size_mm(120.0, 50.0)
        .panel(Panel::new(Axis::new("share of the variance", "%"), Axis::new("", "")).layer(Layer::bars(bars.to_vec())))
}

fn control_chart() -> Figure {
    let y = [0.502, 0.497, 0.508, 0.494, 0.501, 0.511, 0.499, 0.492, 0.505, 0.531, 0.498, 0.503];
    let x: Vec<f64> = (1..=12).map(f64::from).collect();
    let runs = (1..=12).map(|i| format!("check-{i:02}")).collect();
    let limit = |y: f64, text: &str, dash: Dash| {
        Layer::horizontal(y).styled(Style::new(Color::Grey).dashed(dash).width(0.6)).named(text)
    };
    Figure::new("Twelve check standards; the tenth, at 0.531, lies above the action limit of 0.528.")
        .size_mm(160.0, 70.0)
        .panel(
            Panel::new(Axis::new("run", "").categories(runs), Axis::new("content", "% v/v"))
                .layer(limit(0.500, "mean", Dash::Solid))
                .layer(limit(0.519, "warning limit", Dash::Dashed))
                .layer(limit(0.481, "warning limit", Dash::Dashed))
                .layer(limit(0.528, "action limit", Dash::LongDash))
                .layer(limit(0.472, "action limit", Dash::LongDash))
                .layer(Layer::line(x.clone(), y).styled(Style::new(Color::Black).width(0.5)))
                .layer(Layer::markers(x, y.map(|y| if y > 0.528 { f64::NAN } else { y })))
                .layer(Layer::markers(vec![10.0], vec![0.531]).with_marker(Marker::Diamond).colored(Color::Vermillion)),
        )
}

fn overlay() -> Figure {
    let shifted: Vec<Peak> = PEAKS[1..].iter().map(|p| (p.0 + 0.06, p.1 * 0.8, p.2, p.3)).collect();
    let (a, b) = (sample(6_000, &PEAKS[1..], 2), sample(6_000, &shifted, 3));
    let line = |s: Sample| Layer::line(s.time, s.signal);
    Figure::new("Two runs of one sample, the second drawn 3 mV higher: all peaks come 0.06 min later.")
        .size_mm(160.0, 75.0)
        .panel(
            Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", "mV"))
                .legend(Legend::LineEnds)
                .layer(line(a).named("run 1").styled(Style::default().width(0.6)))
                .layer(line(b).named("run 2, raised 3 mV").styled(Style::new(Color::Blue).width(0.6)).moved(0.0, 3.0))
                .layer(Layer::vertical(1.2).named("hold-up time"))
                .layer(Layer::labels(
                    PEAKS[1..].iter().zip(&shifted).map(|(p, q)| Mark::new(q.0, q.1 + 3.4, p.3)).collect(),
                )),
        )
}

fn samples() -> Vec<(&'static str, Figure)> {
    vec![
        ("chromatogram", chromatogram()),
        ("calibration", calibration()),
        ("budget", budget()),
        ("control-chart", control_chart()),
        ("overlay", overlay()),
    ]
}

#[test]
fn samples_look_as_expected() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/expected/figures");
    for (name, figure) in samples() {
        let (file, svg) = (folder.join(format!("{name}.svg")), figure.to_svg());
        if std::env::var_os("VIALBOOK_RENEW").is_some() {
            std::fs::create_dir_all(&folder).expect("folder for expected files");
            std::fs::write(&file, &svg).expect("expected file");
        }
        let expected = std::fs::read_to_string(&file).unwrap_or_default();
        let line = svg.lines().zip(expected.lines()).position(|(a, b)| a != b).map_or(0, |i| i + 1);
        assert!(svg == expected, "{} differs from line {line} on", file.display());
        well_formed(&svg);
    }
}

#[test]
fn equal_figures_give_equal_bytes() {
    for ((name, a), (_, b)) in samples().into_iter().zip(samples()) {
        assert!(a.to_svg() == b.to_svg(), "{name}");
        // Beside the font's stand-ins and the widths that hold these in place.
        assert!(plain(&a.to_svg()) == a.to_report_svg(), "{name}: all its letters are in the font");
    }
}

/// Without what serves fonts other than the report's own.
fn plain(svg: &str) -> String {
    let mut out = svg.replace("Libertinus Serif, Times New Roman, Liberation Serif, serif", "Libertinus Serif");
    while let Some(from) = out.find(" textLength=\"") {
        let end = from + out[from..].find(" lengthAdjust=\"spacingAndGlyphs\"").expect("both or none");
        out.replace_range(from..end + " lengthAdjust=\"spacingAndGlyphs\"".len(), "");
    }
    out
}

#[test]
fn a_long_trace_stays_small_and_keeps_a_spike_of_one_point() {
    let svg = chromatogram().to_svg();
    assert!(svg.len() < 120_000, "{} bytes", svg.len());
    let x: Vec<f64> = (0..12_000).map(|i| f64::from(i) / 1200.0).collect();
    let mut y = vec![0.0; 12_000];
    (y[7_777], y[3_210]) = (1.0, -1.0);
    let figure = Figure::new("A spike and a dip of one point each.").panel(
        Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", "mV").tight()).layer(Layer::line(x, y)),
    );
    let svg = figure.to_svg();
    let heights = |path: &str| -> (f64, f64) {
        let points = path.trim_start_matches('M').split([' ', 'M']).filter_map(|p| p.split_once(','));
        let y: Vec<f64> = points.map(|p| p.1.parse().expect("a number")).collect();
        (y.iter().copied().fold(f64::INFINITY, f64::min), y.iter().copied().fold(0.0, f64::max))
    };
    let paths: Vec<&str> = svg.split("<path d=\"").skip(1).filter_map(|p| p.split('"').next()).collect();
    let axis_line = paths[1].split('M').nth(1).expect("the axes are painted after the trace");
    assert_eq!(heights(paths[0]), heights(axis_line), "the trace reaches both ends of the axis");
    assert!(svg.len() < 5_000, "{} bytes for a flat line", svg.len());
}

#[test]
fn words_stay_words_in_the_named_font_and_data_stay_data() {
    let svg = calibration().to_svg();
    assert!(svg.contains("font-family=\"Libertinus Serif, ") && svg.contains(" textLength="));
    for words in ["mass concentration / (mg/L)", "ratio of areas", "straight line, weights 1/s²", "−0.05", "(a)"] {
        assert!(svg.contains(&format!(">{words}</text>")), "{words}");
    }
    assert!(svg.contains("<title>Seven standards of propan-2-ol from 0 to 8 mg/L.</title>"));
    assert!(svg.contains("Residuals show no trend.</desc>"));
    let name = "<image href='file:///etc/passwd'/> & <style>";
    let panel = Panel::new(Axis::new(name, name), Axis::new(name, name))
        .layer(Layer::line(vec![0.0, 1.0], vec![0.0, 1.0]).named(name))
        .layer(Layer::labels(vec![Mark::new(0.5, 0.5, name)]));
    let svg = Figure::new(name).panel(panel).to_svg();
    well_formed(&svg);
    let tags = ["svg", "title", "desc", "rect", "g", "path", "text", "circle"];
    for tag in svg.split('<').skip(1).filter(|t| !t.starts_with('/')) {
        assert!(tags.iter().any(|t| tag.starts_with(t)), "{tag}");
    }
}

#[test]
fn what_the_font_lacks_is_marked_in_reports_only() {
    let figure =
        Figure::new("Names in two scripts.").panel(Panel::new(Axis::new("日本 é Ω ж", ""), Axis::new("signal", "mV")));
    assert!(figure.to_svg().contains(">日本 é Ω ж<"));
    assert!(figure.to_report_svg().contains(">\u{fffd}\u{fffd} é Ω ж<"));
}

#[test]
fn the_description_is_data() {
    let figure = chromatogram();
    assert!(format!("{figure:?}").len() < 1_500, "short: {figure:?}");
    assert_eq!(figure.to_string(), figure.alt);
    let json = serde_json::to_value(&figure).expect("a figure as JSON");
    assert_eq!(json["panels"][0]["x"]["unit"], "min");
    let last = json["panels"][0]["layers"].as_array().and_then(|l| l.last()).expect("layers");
    assert_eq!(last["labels"]["marks"][1]["text"], "ethanol");
}

#[test]
fn figures_are_saved_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("budget.svg");
    budget().save_svg(&file).expect("written");
    assert_eq!(std::fs::read_to_string(&file).expect("read"), budget().to_svg());
    let error = budget().save_svg(folder.path().join("no-such-folder/a.svg")).expect_err("no folder");
    assert!(error.to_string().contains("no-such-folder"), "{error}");
}
