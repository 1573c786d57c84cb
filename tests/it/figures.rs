//! Figures: realistic samples against expected SVG files, and what must hold for any data.
//!
//! `VIALBOOK_RENEW=1 cargo test figures` writes the expected files anew; look at each before committing it.

use std::path::PathBuf;

use vialbook::figure::{
    Anchor, Axis, Bar, Color, Dash, Figure, Inset, Layer, Legend, Mark, Marker, Panel, Place, Style,
};

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
            Panel::new(Axis::new("time", "min").tight(), Axis::new("signal, run 2 + 3 mV", "mV"))
                .legend(Legend::LineEnds)
                .layer(line(a).named("run 1").styled(Style::default().width(0.6)))
                .layer(line(b).named("run 2").styled(Style::new(Color::Blue).width(0.6)).moved(0.0, 3.0))
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

/// What a study can bring: nothing, one point, constants, extremes, gaps, crowds, hostile names.
fn oddities() -> Vec<(&'static str, Figure)> {
    let axis = || (Axis::new("time", "min"), Axis::new("signal", "mV"));
    let panel = |layer: Layer| Panel::new(axis().0, axis().1).layer(layer);
    let one = |panel: Panel| Figure::new("Odd data.").size_mm(84.0, 60.0).panel(panel);
    let line = |y: &[f64]| Layer::line((0..y.len()).map(|i| i as f64).collect::<Vec<_>>(), y);
    let crowd = sample(3000, &[(1.0, 9.0, 0.03, ""), (1.1, 2.0, 0.03, "")], 4);
    let crowded = |count: usize, step: f64| {
        let marks = (0..count)
            .map(|i| Mark::new(1.0 + step * i as f64, if i == 0 { 9.4 } else { 2.0 }, format!("compound {i}")));
        Panel::new(axis().0.tight(), axis().1)
            .layer(Layer::line(crowd.time.clone(), crowd.signal.clone()))
            .layer(Layer::labels(marks.collect()))
    };
    let hostile = "<script>&\"'\u{0}\u{1b}\u{202e}]]>\u{e000}\u{ffff} 日本";
    vec![
        ("no-panel", Figure::new("")),
        ("empty", one(Panel::new(axis().0, axis().1))),
        ("no-points", one(panel(line(&[])))),
        ("one-point", one(panel(Layer::markers(vec![3.0], vec![5.0]).named("only")))),
        ("one-point-line", one(panel(line(&[5.0])))),
        ("constant", one(panel(line(&[2.5; 50])))),
        ("zeros", one(panel(line(&[0.0; 50])))),
        ("negative", one(panel(line(&[-3.0, -8.5, -1.25, -4.0])))),
        ("not-finite", one(panel(line(&[f64::NAN, f64::INFINITY, f64::NEG_INFINITY])))),
        ("gaps", one(panel(line(&[1.0, 2.0, f64::NAN, 3.0, f64::NAN, 2.0, 4.0])))),
        ("huge", one(panel(line(&[f64::MIN, 0.0, f64::MAX])))),
        ("tiny", one(panel(line(&[1e-308, 3e-308, 5e-324, 2e-308])))),
        ("large-and-small", one(panel(line(&[0.0, 1e-9, 4.2e7, 3.0])))),
        ("nearly-constant", one(panel(line(&[1e6, 1e6 + 1e-8, 1e6])))),
        (
            "cut-both-ways",
            one(Panel::new(axis().0, axis().1.range(-1.0, 1.0)).layer(line(&[0.0, 9.0, 0.0, -7.0, 0.0, 1e300, 0.5]))),
        ),
        (
            "beyond",
            one(Panel::new(axis().0, axis().1.range(0.0, 1.0))
                .layer(Layer::markers(vec![1.0, 2.0, 3.0], vec![0.5, 2.0, -1.0]))),
        ),
        (
            "swapped-range",
            one(Panel::new(axis().0.range(5.0, 1.0), axis().1.range(f64::NAN, 1.0)).layer(line(&[1.0, 2.0, 3.0]))),
        ),
        ("unequal", one(panel(Layer::line(vec![1.0, 2.0, 3.0], vec![4.0])))),
        ("falling-x", one(panel(Layer::line(vec![3.0, 1.0, 2.0], vec![4.0, 5.0, 4.5])))),
        ("close-names", one(crowded(4, 0.06))),
        ("crowd", Figure::new("Crowd.").panel(crowded(40, 0.12))),
        ("mob", one(crowded(90, 0.05))),
        (
            "hostile",
            one(Panel::new(Axis::new(hostile, hostile), Axis::new(hostile, hostile))
                .layer(line(&[1.0, 3.0, 2.0]).named(hostile))
                .layer(Layer::labels(vec![Mark::new(1.0, 3.0, hostile.repeat(40))]))
                .layer(Layer::horizontal(2.0).named(hostile))
                .layer(Layer::text(0.5, 1.5, hostile))
                .layer(Layer::note(vec![hostile.to_owned()]))),
        ),
        (
            "long-words",
            one(Panel::new(
                axis().0,
                Axis::new("a quantity with a name far too long for the height of this panel", "mV"),
            )
            .layer(
                line(&[1.0, 3.0, 2.0]).named(
                    "a name in the legend that is far too long for the width of this narrow figure, by any measure",
                ),
            )
            .layer(
                Layer::horizontal(2.5)
                    .named("a limit whose words would fill the whole of the figure from left to right"),
            )),
        ),
        (
            "legend-above",
            one(panel(
                Layer::markers(
                    (0..60).map(f64::from).collect::<Vec<_>>(),
                    (0..60).map(|i| f64::from(i * 37 % 60)).collect::<Vec<_>>(),
                )
                .named("scattered points"),
            )
            .layer(line(&(0..60).map(f64::from).collect::<Vec<_>>()).named("a line").styled(Style::nth(1)))
            .layer(
                line(&(0..60).map(|v| 60.0 - f64::from(v)).collect::<Vec<_>>())
                    .named("another line, with a long name")
                    .styled(Style::nth(2)),
            )),
        ),
        (
            "markers-and-dashes",
            one(Panel::new(axis().0.with_grid(), axis().1.with_grid()).legend(Legend::At(Place::TopLeft)).layers(
                (0..7).flat_map(|i| {
                    let y = 7.0 - i as f64;
                    [
                        Layer::line(vec![0.0, 1.0, 2.0], vec![y, y + 0.4, y]).styled(Style::nth(i)),
                        Layer::markers(vec![0.0, 1.0, 2.0], vec![y, y + 0.4, y])
                            .with_marker(Marker::nth(i))
                            .colored(Style::nth(i).color)
                            .named(format!("series {i}")),
                        Layer::markers(vec![0.5, 1.5], vec![y, y])
                            .with_marker(Marker::nth(i))
                            .hollow()
                            .with_x_error(vec![0.1, 0.2]),
                    ]
                }),
            )),
        ),
        (
            "signed-bars",
            one(Panel::new(Axis::new("change", "%"), Axis::new("", "")).layer(Layer::bars(vec![
                Bar::new("a factor with a very long name indeed, too long for its column", 4.0).noted("+4.0 %"),
                Bar::new("flow", -7.0).noted("−7.0 %"),
                Bar::new("unknown", f64::NAN).noted("not known"),
            ]))),
        ),
        (
            "level-names",
            one(panel(line(&[0.0, 5.0, 0.0, 4.0, 0.0])).layer(Layer::Labels {
                marks: vec![Mark::new(1.0, 5.0, "first"), Mark::new(3.0, 4.0, "second"), Mark::new(3.1, 3.0, "third")],
                upright: false,
            })),
        ),
        (
            "three-panels",
            Figure::new("Three.")
                .size_mm(84.0, 100.0)
                .sharing_x()
                .panel(panel(line(&[1.0, 2.0, 3.0])).letter("a"))
                .panel(
                    Panel::new(axis().0, Axis::new("residual", "mV·min"))
                        .height_share(0.3)
                        .layer(line(&[1e-5, -2e-5, 3e-5]))
                        .letter("b"),
                )
                .panel(
                    Panel::new(axis().0.range(0.0, 4.0), Axis::new("area", "mV·min"))
                        .layer(line(&[1e6, 2e6, 3e6]))
                        .letter("c"),
                ),
        ),
        (
            "apart",
            Figure::new("Two.").size_mm(84.0, 90.0).panel(panel(line(&[1.0, 2.0, 3.0]))).panel(
                Panel::new(Axis::new("run", "").whole(), Axis::new("retention time", "min"))
                    .layer(line(&[4.01, 4.02, 4.0]))
                    .layer(Layer::Text { x: 1.0, y: 4.01, text: "middle".to_owned(), anchor: Anchor::Middle }),
            ),
        ),
        ("small", Figure::new("Tiny.").size_mm(20.0, 20.0).panel(crowded(3, 0.05))),
        ("not-a-size", Figure::new("Tiny.").size_mm(f64::NAN, -3.0).panel(crowded(3, 0.05))),
        ("insets", one(crowded(1, 0.1).inset(crowded(1, 0.1).inset(panel(line(&[1.0])))))),
        (
            "inset-placed",
            one(Panel {
                inset: Some(Box::new(Inset {
                    panel: Panel::new(axis().0.range(0.9, 1.3), axis().1),
                    place: Place::BottomRight,
                    width_share: 0.5,
                    height_share: f64::NAN,
                    show_source: false,
                })),
                ..crowded(1, 0.1)
            }),
        ),
    ]
}

#[test]
fn odd_data_are_drawn_without_a_panic_and_well_formed() {
    for (name, figure) in oddities() {
        let svg = figure.to_svg();
        if let Some(folder) = std::env::var_os("VIALBOOK_LOOK") {
            std::fs::write(PathBuf::from(folder).join(format!("{name}.svg")), &svg).expect("a folder to look at");
        }
        well_formed(&svg);
        well_formed(&figure.to_report_svg());
        assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("-0.00"), "{name}");
    }
}

/// A strict reader for the XML that is written here: tags nest, attributes are quoted once each, text is escaped.
fn well_formed(svg: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = svg;
    while let Some(start) = rest.find('<') {
        text_is_escaped(&rest[..start]);
        assert!(!open.is_empty() || rest[..start].trim().is_empty(), "text outside the root");
        let end = start + rest[start..].find('>').expect("every tag is closed");
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name), "tags nest");
            continue;
        }
        let (tag, empty) = tag.strip_suffix('/').map_or((tag, false), |t| (t, true));
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        assert!(name.bytes().all(|b| b.is_ascii_alphabetic()), "tag {name:?}");
        let mut seen: Vec<&str> = Vec::new();
        while !attributes.trim().is_empty() {
            let (key, value) = attributes.trim_start().split_once("=\"").expect("attribute with a quoted value");
            let (value, after) = value.split_once('"').expect("closing quote");
            assert!(key.bytes().all(|b| b.is_ascii_alphabetic() || b == b'-') && !seen.contains(&key), "{key:?}");
            text_is_escaped(value);
            seen.push(key);
            attributes = after;
        }
        if !empty {
            open.push(name);
        }
    }
    assert!(open.is_empty() && rest.trim().is_empty(), "everything is closed");
}

/// Characters are those that XML 1.0 allows (section 2.2), and entities are known ones.
fn text_is_escaped(text: &str) {
    for (i, c) in text.char_indices() {
        assert!(matches!(c, '\n' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..), "{c:?}");
        let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&#39;"];
        assert!(c != '&' || known.iter().any(|e| text[i..].starts_with(e)), "{text}");
    }
}
