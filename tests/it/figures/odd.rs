//! Figures of data that are odd, hostile or random.

use std::path::PathBuf;

use vialbook::figure::{Anchor, Axis, Bar, Figure, Inset, Layer, Legend, Mark, Marker, Panel, Place, Style};

use super::sample;

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
        ("one-point", one(panel(Layer::markers(vec![3.0], vec![5.0]).named("only")))),
        ("one-point-line", one(panel(line(&[5.0])))),
        ("constant", one(panel(line(&[2.5; 50])))),
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
            let file = PathBuf::from(folder).join(name);
            std::fs::write(file.with_extension("svg"), &svg).expect("a folder to look at");
            std::fs::write(file.with_extension("report.svg"), figure.to_report_svg()).expect("a folder to look at");
        }
        well_formed(&svg);
        well_formed(&figure.to_report_svg());
        assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("-0.00"), "{name}");
    }
}

/// Numbers from a generator of our own, with what files can hold among them.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407); // Knuth, MMIX
        (self.0 >> 33) as usize % n
    }

    fn number(&mut self) -> f64 {
        const ODD: [f64; 10] =
            [0.0, -0.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN, 5e-324, 1e-300, -1e17];
        match self.below(6) {
            0 => ODD[self.below(10)],
            1 => self.below(100) as f64,
            _ => (self.below(20_001) as f64 - 10_000.0) / 997.0,
        }
    }

    fn numbers(&mut self) -> Vec<f64> {
        let n = [0, 1, 2, 9, 300][self.below(5)];
        let mut v: Vec<f64> = (0..n).map(|_| self.number()).collect();
        if self.below(2) == 0 {
            v.sort_by(f64::total_cmp);
        }
        v
    }

    fn words(&mut self) -> String {
        ["", "a", "time", "<&>\u{1}", "日本", "a name of some length, with blanks"][self.below(6)].repeat(self.below(4))
    }

    fn layer(&mut self) -> Layer {
        let (x, y, z) = (self.numbers(), self.numbers(), self.numbers());
        let layer = match self.below(10) {
            0 => Layer::line(x, y),
            1 => Layer::markers(x, y).with_y_error(z).hollow(),
            2 => Layer::markers(x, y).with_x_error(z).with_marker(Marker::nth(self.below(7))),
            3 => Layer::band(x, y, z),
            4 => Layer::area(x, y, z),
            5 => Layer::horizontal(self.number()),
            6 => Layer::vertical(self.number()),
            7 => Layer::Labels {
                marks: x.into_iter().zip(y).map(|(x, y)| Mark::new(x, y, self.words())).collect(),
                upright: self.below(2) == 0,
            },
            8 => Layer::text(self.number(), self.number(), self.words()),
            _ if self.below(3) == 0 => {
                Layer::bars(x.into_iter().map(|v| Bar::new(self.words(), v).noted(self.words())).collect())
            }
            _ => Layer::note(vec![self.words(), self.words()]),
        };
        if self.below(2) == 0 { layer.named(self.words()).styled(Style::nth(self.below(9))) } else { layer }
    }

    fn axis(&mut self) -> Axis {
        let mut axis = Axis::new(self.words(), self.words());
        axis.range = (self.below(3) == 0).then(|| [self.number(), self.number()]);
        axis.whole_numbers = self.below(4) == 0;
        axis.numbers = self.below(5) > 0;
        axis.margin = if self.below(4) == 0 { self.number() } else { 0.04 };
        if self.below(8) == 0 {
            axis.categories = (0..self.below(40)).map(|_| self.words()).collect();
        }
        axis
    }

    fn panel(&mut self) -> Panel {
        let mut panel =
            Panel::new(self.axis(), self.axis()).layers((0..self.below(6)).map(|_| self.layer()).collect::<Vec<_>>());
        panel.legend = [Legend::Best, Legend::Above, Legend::LineEnds, Legend::At(Place::BottomLeft)][self.below(4)];
        if self.below(4) == 0 {
            panel.letter = Some(self.words());
            panel.height_share = self.number();
        }
        panel
    }
}

#[test]
fn nothing_that_files_can_hold_breaks_a_figure() {
    for seed in 0..1500 {
        let mut dice = Dice(seed);
        let mut figure =
            Figure::new(dice.words()).size_mm([20.0, 84.0, 160.0][dice.below(3)], [20.0, 60.0, 90.0][dice.below(3)]);
        for _ in 0..dice.below(4) {
            let mut panel = dice.panel();
            if dice.below(3) == 0 {
                panel = panel.inset(dice.panel());
            }
            figure = figure.panel(panel);
        }
        figure.share_x = dice.below(2) == 0;
        let svg = figure.to_svg();
        well_formed(&svg);
        assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("-0.00"), "seed {seed}");
    }
}

/// A strict reader for the XML that is written here: tags nest, attributes are quoted once each, text is escaped.
pub(crate) fn well_formed(svg: &str) {
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
