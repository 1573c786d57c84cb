//! Where everything lies on the page: axis boxes, ticks, names, legends, insets.

use super::axes::{AxisMarks, Below, below, x_marks, y_label, y_marks, y_ticks};
use super::geometry::{Obstacles, Point, Rect, Scale};
use super::layers::{Anchor, Bar, Layer, Place};
use super::legend::{
    Beside, Block, Key, Words, beside, beside_width, legend_entries, rows_above, seat, seat_block, spread_beside,
};
use super::model::{Figure, Legend, Panel};
use super::names::{Name, Skyline, Wish, place_names};
use super::ranges::{x_range, y_range};
use super::shapes::{MARKER_PT, Shape, shapes};
use super::text::{clean, fit, width};
use super::ticks::{Ticks, short_number};

/// Sizes of letters and ticks in points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sizes {
    pub(super) label: f64,
    pub(super) tick: f64,
    pub(super) name: f64,
    pub(super) tick_length: f64,
    /// Factor on the widths of lines.
    pub(super) line: f64,
}

/// For the page: 8 to 9 pt, as journals ask.
const PAGE: Sizes = Sizes { label: 9.0, tick: 8.0, name: 8.0, tick_length: 3.2, line: 1.0 };
/// For an inset.
const INSET: Sizes = Sizes { label: 7.0, tick: 6.5, name: 6.5, tick_length: 2.2, line: 0.7 };
/// Line pitch as a share of the size.
pub(super) const PITCH: f64 = 1.2;
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// A panel with everything in its place.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub(super) frame: Rect,
    /// Ranges of x and y in the data's numbers, from left to right and from bottom to top.
    #[cfg_attr(not(feature = "plotly"), allow(dead_code))] // the screen painter asks for it
    pub(super) ranges: [[f64; 2]; 2],
    pub(super) x: AxisMarks,
    pub(super) y: AxisMarks,
    /// Left edge of the y label's first line.
    pub(super) y_label_left: f64,
    pub(super) shapes: Vec<Shape>,
    pub(super) names: Vec<Name>,
    pub(super) beside: Vec<Beside>,
    pub(super) blocks: Vec<Block>,
    pub(super) inset: Option<(Rect, Vec<Placed>)>,
    /// The region of the panel that the inset magnifies.
    pub(super) source: Option<Rect>,
    pub(super) letter: Option<(Point, String)>,
    pub(super) sizes: Sizes,
    pub(super) grid: [bool; 2],
}

/// Page size in points.
pub(super) fn page(figure: &Figure) -> (f64, f64) {
    let points = |mm: f64| (if mm.is_finite() { mm } else { 100.0 }).clamp(20.0, 2000.0) * POINTS_PER_MM;
    (points(figure.width_mm), points(figure.height_mm))
}

/// Places for all panels of a figure.
pub(super) fn arrange_figure(figure: &Figure) -> Vec<Placed> {
    let (width, height) = page(figure);
    let panels: Vec<&Panel> = figure.panels.iter().collect();
    let shared = figure.share_x.then(|| {
        let ranges: Vec<[f64; 2]> = panels.iter().filter_map(|p| x_range(p, figure.stated_x_range())).collect();
        let union = ranges.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |u, r| [u[0].min(r[0]), u[1].max(r[1])]);
        if ranges.is_empty() { [0.0, 1.0] } else { union }
    });
    arrange(&panels, Rect { left: 1.0, top: 1.0, right: width - 1.0, bottom: height - 1.0 }, shared, PAGE)
}

/// What is known of a panel before its width is: its ranges, its numbers, and the words beside it.
struct Draft<'a> {
    panel: &'a Panel,
    x: [f64; 2],
    y: [f64; 2],
    y_ticks: Ticks,
    y_label: (Vec<String>, f64),
    bars: Option<&'a [Bar]>,
    /// Width of numbers or words along the y axis.
    y_words: f64,
    beside: Vec<Words>,
    below: Below,
    height: f64,
}

fn arrange(panels: &[&Panel], page: Rect, shared: Option<[f64; 2]>, sizes: Sizes) -> Vec<Placed> {
    // Heights, from what lies below each axis box.
    let count = panels.len();
    let shown = |i: usize| shared.is_none() || i + 1 == count;
    let below: Vec<Below> = panels.iter().enumerate().map(|(i, p)| below(p, shown(i), &page, sizes)).collect();
    let gap = sizes.tick;
    let share = |p: &Panel| if p.height_share.is_finite() { p.height_share.clamp(0.01, 100.0) } else { 1.0 };
    let shares: f64 = panels.iter().map(|p| share(p)).sum();
    let top = page.top + sizes.tick * 0.5;
    let taken = below.iter().map(|b| b.height).sum::<f64>() + gap * count.saturating_sub(1) as f64;
    let free = page.bottom - top - taken;

    let drafts: Vec<Draft<'_>> = panels
        .iter()
        .zip(below)
        .map(|(panel, below)| draft(panel, shared, (free * share(panel) / shares).max(4.0), below, &page, sizes))
        .collect();

    // Left and right edges common to all panels, so that their boxes line up.
    let letters = if panels.iter().any(|p| p.letter.is_some()) { sizes.label * 1.7 } else { 0.0 };
    let left_need = |d: &Draft<'_>| {
        let ticks = if d.panel.y.numbers && d.bars.is_none() { sizes.tick_length + 2.5 } else { 4.0 };
        let label = d.y_label.0.len() as f64 * sizes.label * PITCH;
        letters + label + if label > 0.0 { 3.0 } else { 0.0 } + d.y_words + ticks
    };
    let left = page.left + drafts.iter().map(left_need).fold(0.0, f64::max);
    let right_need = drafts
        .iter()
        .map(|d| d.beside.iter().map(|b| beside_width(b, sizes)).fold(sizes.tick, f64::max))
        .fold(0.0, f64::max);
    let right = (page.right - right_need).max(left + 10.0);

    let mut y = top;
    drafts
        .into_iter()
        .map(|draft| {
            let area = Rect { left, top: y, right, bottom: y + draft.height };
            y += draft.height + draft.below.height + gap;
            let letter =
                draft.panel.letter.as_ref().map(|l| ([page.left, area.top + sizes.label * 0.7], format!("({l})")));
            Placed { letter, y_label_left: page.left + letters, ..place(&draft, area, sizes) }
        })
        .collect()
}

fn draft<'a>(
    panel: &'a Panel,
    shared: Option<[f64; 2]>,
    height: f64,
    below: Below,
    page: &Rect,
    sizes: Sizes,
) -> Draft<'a> {
    let bars =
        panel.layers.iter().find_map(|l| if let Layer::Bars { bars, .. } = l { Some(bars.as_slice()) } else { None });
    let x = shared.or_else(|| x_range(panel, None)).unwrap_or([0.0, 1.0]);
    let y = match bars {
        Some(bars) => [bars.len().max(1) as f64 - 0.5, -0.5], // the first bar on top
        None => y_range(panel, x),
    };
    let y_ticks = y_ticks(panel, bars.is_some(), y, height, sizes);
    let y_words = match bars {
        Some(bars) => {
            let widest = bars.iter().map(|b| width(&clean(&b.label, false), sizes.name)).fold(0.0, f64::max);
            widest.min(page.width() * 0.4)
        }
        None if panel.y.numbers => y_ticks.labels.iter().map(|l| width(l, sizes.tick)).fold(0.0, f64::max),
        None => 0.0,
    };
    let y_label = y_label(panel, y_ticks.power, height, sizes);
    Draft { panel, x, y, y_ticks, y_label, bars, y_words, beside: beside(panel, x, y, page, sizes), below, height }
}

fn place(draft: &Draft<'_>, area: Rect, sizes: Sizes) -> Placed {
    let panel = draft.panel;
    let mut x_range = draft.x;
    if let Some(bars) = draft.bars {
        widen_for_notes(&mut x_range, bars, area.width(), sizes);
    }
    let entries = legend_entries(panel);
    let above = rows_above(&entries, &area, sizes);
    let mut reserved = if panel.legend == Legend::Above { above.bounds.height() } else { 0.0 };
    loop {
        let inner = Rect { top: (area.top + reserved).min(area.bottom - 4.0), ..area };
        let (frame, x, y, shapes, names) = fit_names(panel, x_range, draft.y, inner, sizes);
        let mut obstacles = obstacles(&shapes, &names, sizes);
        let room = Rect { top: inner.top, ..frame }.grown(-3.0);
        let inset = panel.inset.as_ref().map(|inset| {
            let share = |s: f64| if s.is_finite() { s.clamp(0.1, 1.0) } else { 0.45 };
            let (w, h) = (share(inset.width_share) * frame.width(), share(inset.height_share) * frame.height());
            let bounds = seat(&obstacles, w, h, &room, inset.place).0;
            obstacles.boxes.push(bounds);
            let mut inner = inset.panel.clone();
            inner.inset = None; // one level is enough
            (bounds, arrange(&[&inner], bounds.grown(-1.5), None, INSET))
        });
        let source = source(panel, &frame, &x, &y);
        let mut blocks = Vec::new();
        match panel.legend {
            _ if entries.is_empty() => {}
            Legend::None => {}
            Legend::Above => blocks.push(above.clone()),
            Legend::Best | Legend::LineEnds | Legend::At(_) => {
                let place = if let Legend::At(place) = panel.legend { place } else { Place::Best };
                let (block, cost) = seat_block(&entries, place, &obstacles, &room, sizes);
                if place == Place::Best && cost > 0 && reserved == 0.0 {
                    reserved = above.bounds.height();
                    continue;
                }
                blocks.push(if reserved > 0.0 { above.clone() } else { block });
            }
        }
        if let (Some(legend), true) = (blocks.first(), reserved == 0.0) {
            obstacles.boxes.push(legend.bounds);
        }
        for layer in &panel.layers {
            if let Layer::Note { lines, place } = layer {
                let rows: Vec<(Key, String)> = lines.iter().map(|l| (Key::Nothing, clean(l, false))).collect();
                let (block, _) = seat_block(&rows, *place, &obstacles, &room, sizes);
                obstacles.boxes.push(block.bounds);
                blocks.push(block);
            }
        }
        // Names can take so much height that fewer numbers fit beside what is left.
        let fewer = y_ticks(panel, draft.bars.is_some(), draft.y, frame.height(), sizes);
        let y_numbers = if fewer.power == draft.y_ticks.power { &fewer } else { &draft.y_ticks };
        let mut y_marks = y_marks(panel, draft.bars, y_numbers, draft.y_words, &y, sizes);
        (y_marks.label, y_marks.label_size) = draft.y_label.clone();
        return Placed {
            x: x_marks(panel, draft.below, &x, sizes),
            y: y_marks,
            beside: spread_beside(&draft.beside, &frame, &y, sizes),
            grid: [panel.x.grid, panel.y.grid],
            ranges: [[x.low, x.high], [y.low, y.high]],
            frame,
            shapes,
            names,
            blocks,
            inset,
            source,
            sizes,
            y_label_left: area.left,
            letter: None,
        };
    }
}

/// The axis box, lowered until all names fit above it.
fn fit_names(
    panel: &Panel,
    x_range: [f64; 2],
    y_range: [f64; 2],
    area: Rect,
    sizes: Sizes,
) -> (Rect, Scale, Scale, Vec<Shape>, Vec<Name>) {
    let longest = area.height() * 0.42;
    let mut frame = area;
    let mut tries = 0;
    loop {
        let x = Scale { low: x_range[0], high: x_range[1], start: frame.left, end: frame.right };
        let y = Scale { low: y_range[0], high: y_range[1], start: frame.bottom, end: frame.top };
        let shapes = shapes(panel, &frame, &x, &y);
        let wishes = wishes(panel, &frame, &x, &y, longest, sizes);
        let names = if wishes.is_empty() {
            Vec::new()
        } else {
            let mut sky = Skyline::new(&frame, &shapes);
            // A flat outline of what the inset magnifies would run through the names within.
            if let Some(low) = source(panel, &frame, &x, &y).filter(|s| s.height() < 0.3 * frame.height()) {
                sky.raise(&low);
            }
            place_names(&wishes, &frame, sky, sizes.name)
        };
        let over = names.iter().map(|n| area.top - n.bounds.top).fold(0.0, f64::max);
        tries += 1;
        if over < 0.05 || tries == 12 {
            return (frame, x, y, shapes, names);
        }
        frame.top = (frame.top + over).min(area.bottom - area.height() * 0.4);
    }
}

/// Names that want a place: of apexes, and of vertical lines.
fn wishes(panel: &Panel, frame: &Rect, x: &Scale, y: &Scale, longest: f64, sizes: Sizes) -> Vec<Wish> {
    let mut out = Vec::new();
    for layer in &panel.layers {
        match layer {
            Layer::Labels { marks, upright } => {
                for mark in marks.iter().filter(|m| x.holds(m.x) && m.y.is_finite()) {
                    let mut text = clean(&mark.text, false);
                    if mark.y > y.high && !y.holds(mark.y) {
                        // The axis ends below the apex: the name tells the height that cannot be read.
                        let unit = if panel.y.unit.is_empty() { String::new() } else { format!(" {}", panel.y.unit) };
                        let height = format!(", {}{unit}", short_number(mark.y));
                        text = fit(&text, sizes.name, longest - width(&height, sizes.name)) + &height;
                    }
                    let apex = [x.at(mark.x), y.at(mark.y).clamp(frame.top, frame.bottom)];
                    out.push(Wish { apex, text: fit(&text, sizes.name, longest), upright: *upright });
                }
            }
            Layer::VerticalLine { x: at, label: Some(label), .. } if x.holds(*at) => {
                let text = fit(&clean(label, false), sizes.name, longest);
                out.push(Wish { apex: [x.at(*at), frame.top], text, upright: true });
            }
            _ => {}
        }
    }
    out
}

fn obstacles(shapes: &[Shape], names: &[Name], sizes: Sizes) -> Obstacles {
    let mut out = Obstacles::default();
    for shape in shapes {
        match shape {
            Shape::Stroke { pieces, .. } => pieces.iter().for_each(|p| out.chain(p)),
            Shape::Fill { outline, .. } => {
                out.chain(outline);
                // Rungs across, so that the inside counts as well.
                let n = outline.len();
                (0..n / 2).step_by(4).for_each(|i| out.chain(&[outline[i], outline[n - 1 - i]]));
            }
            Shape::Marker { at: [x, y], .. } => {
                out.boxes.push(Rect { left: *x, right: *x, top: *y, bottom: *y }.grown(MARKER_PT + 1.0));
            }
            Shape::Beyond { at: [x, y], .. } => {
                out.boxes.push(Rect { left: *x, right: *x, top: *y, bottom: *y }.grown(8.0));
            }
            Shape::Words { at: [x, y], anchor, text } => {
                let wide = width(&clean(text, false), sizes.name);
                let left = match anchor {
                    Anchor::Start => *x,
                    Anchor::Middle => x - wide / 2.0,
                    Anchor::End => x - wide,
                };
                let half = sizes.name * 0.6;
                out.boxes.push(Rect { left, right: left + wide, top: y - half, bottom: y + half });
            }
            Shape::Cut { .. } => {}
        }
    }
    out.boxes.extend(names.iter().map(|n| n.bounds));
    out
}

/// The part of the frame that the inset magnifies, if that is to be shown and is a part.
fn source(panel: &Panel, frame: &Rect, x: &Scale, y: &Scale) -> Option<Rect> {
    let inset = &panel.inset.as_ref().filter(|i| i.show_source)?.panel;
    let [a, b] = x_range(inset, None)?;
    let [low, high] = y_range(inset, [a, b]);
    let rect = Rect {
        left: x.at(a).max(frame.left),
        right: x.at(b).min(frame.right),
        top: y.at(high).max(frame.top),
        bottom: y.at(low).min(frame.bottom),
    };
    let whole = rect.width() > 0.98 * frame.width() && rect.height() > 0.98 * frame.height();
    (rect.width() > 0.0 && rect.height() > 0.0 && !whole).then_some(rect)
}

/// A wider range, so that the words behind the bars lie inside.
fn widen_for_notes(x: &mut [f64; 2], bars: &[Bar], room: f64, sizes: Sizes) {
    // Room at one end takes from the other: a few rounds settle it.
    for _ in 0..6 {
        let [low, high] = *x;
        for bar in bars {
            let words = bar.note.as_ref().map_or(0.0, |n| width(&clean(n, false), sizes.name) + 6.0).min(room * 0.4);
            let stretch = room / (room - words);
            let end = if bar.value.is_finite() { bar.value } else { 0.0 };
            if end >= 0.0 {
                x[1] = x[1].max(low + (end - low) * stretch);
            } else {
                x[0] = x[0].min(high - (high - end) * stretch);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::layers::Mark;
    use super::super::model::Axis;
    use super::*;

    fn panel(label: &str, y: &[f64]) -> Panel {
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
        Panel::new(Axis::new("time", "min"), Axis::new(label, "mV·min")).layer(Layer::line(x, y))
    }

    #[test]
    fn axis_boxes_line_up_and_lie_on_the_page() {
        let figure = Figure::new("Three panels.")
            .size_mm(84.0, 120.0)
            .panel(panel("area", &[0.0, 12_345.0]).layer(Layer::horizontal(9e3).named("limit")))
            .panel(panel("residual", &[-0.001, 0.002, 0.0]).height_share(0.4))
            .panel(panel("ratio", &[1.0]));
        for figure in [figure.clone(), figure.sharing_x()] {
            let placed = arrange_figure(&figure);
            let (width, height) = page(&figure);
            for pair in placed.windows(2) {
                assert_eq!((pair[0].frame.left, pair[0].frame.right), (pair[1].frame.left, pair[1].frame.right));
                assert!(pair[0].frame.bottom < pair[1].frame.top);
            }
            assert!(placed.iter().all(|p| p.frame.left > 20.0 && p.frame.right < width && p.frame.bottom < height));
            let numbered = placed.iter().filter(|p| p.x.words).count();
            assert_eq!(numbered, if figure.share_x { 1 } else { 3 });
        }
    }

    #[test]
    fn names_fit_above_the_axis_box_and_tell_a_height_that_is_cut_off() {
        let mut panel = panel("signal", &[0.0, 50.0, 0.0]);
        panel.y = Axis::new("signal", "mV").range(0.0, 10.0);
        panel.layers.push(Layer::labels(vec![Mark::new(1.0, 50.0, "acetone")]));
        let placed = &arrange_figure(&Figure::new("One peak.").panel(panel))[0];
        assert_eq!(placed.names[0].text, "acetone, 50.0 mV");
        assert!(placed.names[0].bounds.top >= 0.0 && placed.names[0].bounds.bottom < placed.frame.top);
        assert!(placed.shapes.iter().any(|s| matches!(s, Shape::Cut { .. })));
    }

    #[test]
    fn legend_and_inset_cover_nothing_where_there_is_room() {
        let small = Panel::new(Axis::new("", "").range(0.0, 1.0), Axis::new("", "").range(0.0, 1.0));
        let trace: Vec<f64> = (0..100).map(|i| if (40..60).contains(&i) { 9.0 } else { 0.1 }).collect();
        let mut panel = panel("signal", &trace)
            .inset(small)
            .layer(Layer::band(vec![0.0, 99.0], vec![0.0; 2], vec![0.2; 2]).named("band"));
        panel.inset.as_mut().expect("set above").width_share = 0.3;
        let placed = &arrange_figure(&Figure::new("A hat.").panel(panel))[0];
        let (inset, legend) = (placed.inset.as_ref().expect("an inset").0, placed.blocks[0].bounds);
        let obstacles = obstacles(&placed.shapes, &placed.names, placed.sizes);
        assert_eq!((obstacles.cost(&inset), obstacles.cost(&legend)), (0, 0));
        assert!(!inset.overlaps(&legend));
    }

    #[test]
    fn the_words_behind_bars_stay_inside() {
        let bars = vec![Bar::new("a", 60.0).noted("60.0 % of all"), Bar::new("b", -3.0).noted("−3.0 %")];
        let placed = &arrange_figure(
            &Figure::new("Bars.")
                .panel(Panel::new(Axis::new("share", "%"), Axis::new("", "")).layer(Layer::bars(bars))),
        )[0];
        for shape in &placed.shapes {
            if let Shape::Words { at, anchor, text } = shape {
                let wide = width(text, placed.sizes.name) * if *anchor == Anchor::End { -1.0 } else { 1.0 };
                assert!(at[0] + wide <= placed.frame.right + 0.5 && at[0] + wide >= placed.frame.left - 0.5, "{text}");
            }
        }
    }
}
