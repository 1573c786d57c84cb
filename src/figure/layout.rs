//! Where everything lies on the page: axis boxes, ticks, names, legends, insets.

use super::geometry::{Obstacles, Point, Rect, Scale, spread};
use super::layers::{Bar, Layer, Place, Style};
use super::model::{Figure, Legend, Panel};
use super::names::{Name, Skyline, Wish, place_names};
use super::ranges::{x_range, y_range};
use super::shapes::{MARKER_PT, Shape, shapes};
use super::text::{clean, fit, width, wrap};
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

/// Numbers along one axis, on paper.
#[derive(Clone, Debug, Default)]
pub(super) struct AxisMarks {
    pub(super) major: Vec<(f64, String)>,
    pub(super) minor: Vec<f64>,
    pub(super) label: Vec<String>,
    /// Words that read upwards below the axis, because they are too long side by side.
    pub(super) upright: bool,
    /// False where the axis is shared and another panel bears the numbers, or where there are none.
    pub(super) ticks: bool,
    pub(super) words: bool,
}

/// What a legend shows beside a name.
#[derive(Clone, Copy, Debug)]
pub(super) enum Key {
    Line(Style),
    Marker(super::layers::Marker, bool, super::layers::Color),
    Fill(super::layers::Color),
    Nothing,
}

/// Rows of keys and words: a legend, a note.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub(super) bounds: Rect,
    pub(super) rows: Vec<Row>,
}

/// A key in the box `left` to `words`, and words behind it.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub(super) key: Key,
    pub(super) text: String,
    pub(super) left: f64,
    pub(super) words: f64,
    pub(super) middle: f64,
}

/// Words to the right of the axis box.
#[derive(Clone, Debug)]
pub(super) struct Beside {
    pub(super) from: Point,
    pub(super) at: Point,
    pub(super) key: Option<Style>,
    pub(super) text: String,
}

/// A panel with everything in its place.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub(super) frame: Rect,
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
    y_label: Vec<String>,
    bars: Option<&'a [Bar]>,
    /// Width of numbers or words along the y axis.
    y_words: f64,
    beside: Vec<(f64, Option<Style>, String)>,
    shows_x: bool,
    height: f64,
    below: f64,
}

fn arrange(panels: &[&Panel], page: Rect, shared: Option<[f64; 2]>, sizes: Sizes) -> Vec<Placed> {
    // Heights, from what lies below each axis box.
    let count = panels.len();
    let shows_x = |i: usize| shared.is_none() || i + 1 == count;
    let below: Vec<f64> = panels.iter().enumerate().map(|(i, p)| height_below(p, shows_x(i), &page, sizes)).collect();
    let gap = sizes.tick;
    let share = |p: &Panel| if p.height_share.is_finite() { p.height_share.clamp(0.01, 100.0) } else { 1.0 };
    let shares: f64 = panels.iter().map(|p| share(p)).sum();
    let top = page.top + sizes.tick * 0.5;
    let free = page.bottom - top - below.iter().sum::<f64>() - gap * (count.saturating_sub(1)) as f64;

    let drafts: Vec<Draft<'_>> = panels
        .iter()
        .enumerate()
        .map(|(i, panel)| {
            let height = (free * share(panel) / shares).max(4.0);
            draft(panel, shared, height, below[i], shows_x(i), &page, sizes)
        })
        .collect();

    // Left and right edges common to all panels, so that their boxes line up.
    let label_block = |d: &Draft<'_>| d.y_label.len() as f64 * sizes.label * PITCH;
    let left_need = |d: &Draft<'_>| {
        let ticks = if d.panel.y.numbers && d.bars.is_none() { sizes.tick_length + 2.5 } else { 3.0 };
        label_block(d) + if d.y_label.is_empty() { 0.0 } else { 3.0 } + d.y_words + ticks
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
            y += draft.height + draft.below + gap;
            place(draft, area, page.left, sizes)
        })
        .collect()
}

/// Height of numbers and label below the axis box.
fn height_below(panel: &Panel, shown: bool, page: &Rect, sizes: Sizes) -> f64 {
    if !shown {
        return 0.0;
    }
    let label = if panel.x.label(0).is_empty() { 0.0 } else { sizes.label * PITCH + 2.5 };
    let words = if !panel.x.numbers {
        2.0
    } else if upright_words(panel, page.width() * 0.8, sizes) {
        category_length(panel, page, sizes) + 2.0 + sizes.tick_length
    } else {
        sizes.tick * PITCH + sizes.tick_length
    };
    label + words
}

/// True where the words along x do not fit side by side.
fn upright_words(panel: &Panel, room: f64, sizes: Sizes) -> bool {
    let widest = panel.x.categories.iter().map(|c| width(&clean(c, false), sizes.tick)).fold(0.0, f64::max);
    (widest + 5.0) * panel.x.categories.len() as f64 > room
}

fn category_length(panel: &Panel, page: &Rect, sizes: Sizes) -> f64 {
    let longest = panel.x.categories.iter().map(|c| width(&clean(c, false), sizes.tick)).fold(0.0, f64::max);
    longest.min(page.height() * 0.3)
}

fn draft<'a>(
    panel: &'a Panel,
    shared: Option<[f64; 2]>,
    height: f64,
    below: f64,
    shows_x: bool,
    page: &Rect,
    sizes: Sizes,
) -> Draft<'a> {
    let bars =
        panel.layers.iter().find_map(|l| if let Layer::Bars { bars, .. } = l { Some(bars.as_slice()) } else { None });
    let x = shared.or_else(|| x_range(panel, None)).unwrap_or([0.0, 1.0]);
    let y = match bars {
        Some(bars) => [bars.len().max(1) as f64 - 0.5, -0.5],
        None => y_range(panel, x),
    };
    let most = (height * 0.85 / (sizes.tick * 3.0)).max(2.0) as usize;
    let y_ticks = match bars {
        Some(_) => Ticks::new(0.0, 0.0, 2),
        None if panel.y.whole_numbers => Ticks::whole(y[0], y[1], most),
        None => Ticks::new(y[0], y[1], most),
    };
    let label = clean(&panel.y.label(y_ticks.power), false);
    let y_label = if label.is_empty() { Vec::new() } else { wrap(&label, sizes.label, height) };
    let y_words = match bars {
        Some(bars) => {
            let widest = bars.iter().map(|b| width(&clean(&b.label, false), sizes.name)).fold(0.0, f64::max);
            widest.min(page.width() * 0.4)
        }
        None if panel.y.numbers => y_ticks.labels.iter().map(|l| width(l, sizes.tick)).fold(0.0, f64::max),
        None => 0.0,
    };
    Draft {
        panel,
        x,
        y,
        y_ticks,
        y_label,
        bars,
        y_words,
        beside: beside(panel, x, page, sizes),
        shows_x,
        height,
        below,
    }
}

/// Words to the right of the panel: of straight lines, and of lines' ends where the legend says so.
fn beside(panel: &Panel, x: [f64; 2], page: &Rect, sizes: Sizes) -> Vec<(f64, Option<Style>, String)> {
    let most = page.width() * 0.3;
    let words = |text: &str| fit(&clean(text, false), sizes.name, most);
    panel
        .layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::HorizontalLine { y, label: Some(label), .. } if y.is_finite() => Some((*y, None, words(label))),
            Layer::Line { x: xs, y: ys, style, name: Some(name) } if panel.legend == Legend::LineEnds => {
                let end = xs.iter().zip(ys).rev().find(|(a, b)| a.is_finite() && b.is_finite() && **a <= x[1])?;
                Some((*end.1, Some(*style), words(name)))
            }
            _ => None,
        })
        .collect()
}

fn beside_width(words: &(f64, Option<Style>, String), sizes: Sizes) -> f64 {
    8.0 + if words.1.is_some() { 13.0 } else { 0.0 } + width(&words.2, sizes.name)
}

fn place(draft: Draft<'_>, area: Rect, y_label_left: f64, sizes: Sizes) -> Placed {
    let panel = draft.panel;
    let mut x_range = draft.x;
    if let Some(bars) = draft.bars {
        widen_for_notes(&mut x_range, bars, area.width(), sizes);
    }
    let entries = legend_entries(panel);
    let above = rows_above(&entries, &area, sizes);
    let mut reserved = if panel.legend == Legend::Above { above.bounds.height() } else { 0.0 };
    loop {
        let inner = Rect { top: area.top + reserved, ..area };
        let (frame, x, y, shapes, names) = fit_names(panel, x_range, draft.y, inner, sizes);
        let mut obstacles = obstacles(&shapes, &names);
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
            Legend::None | Legend::LineEnds => {}
            Legend::Above => blocks.push(above.clone()),
            Legend::Best | Legend::At(_) => {
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
        let letter = panel.letter.as_ref().map(|l| ([y_label_left, area.top + sizes.label * 0.7], format!("({l})")));
        return Placed {
            x: x_marks(&draft, &x, &area, sizes),
            y: y_marks(&draft, &y, sizes),
            beside: spread_beside(&draft.beside, &frame, &y, sizes),
            grid: [panel.x.grid, panel.y.grid],
            frame,
            y_label_left,
            shapes,
            names,
            blocks,
            inset,
            source,
            letter,
            sizes,
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

fn obstacles(shapes: &[Shape], names: &[Name]) -> Obstacles {
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
            Shape::Cut { .. } | Shape::Words { .. } => {}
        }
    }
    out.boxes.extend(names.iter().map(|n| n.bounds));
    out
}

fn seat(obstacles: &Obstacles, w: f64, h: f64, room: &Rect, place: Place) -> (Rect, usize) {
    let at = |left: f64, top: f64| {
        let here = Rect { left, top, right: left + w, bottom: top + h };
        (here, obstacles.cost(&here))
    };
    match place {
        Place::Best => obstacles.room(w, h, room),
        Place::TopRight => at(room.right - w, room.top),
        Place::TopLeft => at(room.left, room.top),
        Place::BottomRight => at(room.right - w, room.bottom - h),
        Place::BottomLeft => at(room.left, room.bottom - h),
    }
}

fn legend_entries(panel: &Panel) -> Vec<(Key, String)> {
    panel
        .layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::Line { style, name: Some(name), .. } => Some((Key::Line(*style), name)),
            Layer::Markers { marker, hollow, color, name: Some(name), .. } => {
                Some((Key::Marker(*marker, *hollow, *color), name))
            }
            Layer::Band { color, name: Some(name), .. } | Layer::Area { color, name: Some(name), .. } => {
                Some((Key::Fill(*color), name))
            }
            _ => None,
        })
        .map(|(key, name)| (key, clean(name, false)))
        .collect()
}

/// Width of a key and the gap behind it.
fn key_width(key: Key) -> f64 {
    match key {
        Key::Nothing => 0.0,
        Key::Marker(..) => 10.0,
        Key::Line(_) | Key::Fill(_) => 22.0,
    }
}

fn seat_block(
    rows: &[(Key, String)],
    place: Place,
    obstacles: &Obstacles,
    room: &Rect,
    sizes: Sizes,
) -> (Block, usize) {
    let pitch = sizes.name * 1.3;
    let keys = rows.iter().map(|r| key_width(r.0)).fold(0.0, f64::max);
    let most = room.width() * 0.6;
    let rows: Vec<(Key, String)> = rows.iter().map(|(k, t)| (*k, fit(t, sizes.name, most))).collect();
    let words = rows.iter().map(|r| width(&r.1, sizes.name)).fold(0.0, f64::max);
    let (bounds, cost) = seat(obstacles, keys + words + 4.0, rows.len() as f64 * pitch + 2.0, room, place);
    let rows = rows
        .into_iter()
        .enumerate()
        .map(|(i, (key, text))| {
            let (left, middle) = (bounds.left + 2.0, bounds.top + 1.0 + (i as f64 + 0.5) * pitch);
            Row { key, text, left, words: left + keys, middle }
        })
        .collect();
    (Block { bounds, rows }, cost)
}

fn rows_above(entries: &[(Key, String)], area: &Rect, sizes: Sizes) -> Block {
    let pitch = sizes.name * 1.35;
    let (mut left, mut row, mut rows) = (area.left, 0, Vec::new());
    for (key, text) in entries {
        let text = fit(text, sizes.name, area.width() - 30.0);
        let wide = key_width(*key) + width(&text, sizes.name);
        if left > area.left && left + wide > area.right {
            (left, row) = (area.left, row + 1);
        }
        let middle = area.top + (f64::from(row) + 0.35) * pitch;
        rows.push(Row { key: *key, text, left, words: left + key_width(*key), middle });
        left += wide + 14.0;
    }
    let height = if entries.is_empty() { 0.0 } else { f64::from(row + 1) * pitch + 2.0 };
    Block { bounds: Rect { bottom: area.top + height, ..*area }, rows }
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
    let [low, high] = *x;
    for bar in bars.iter().filter(|b| b.value.is_finite()) {
        let words = bar.note.as_ref().map_or(0.0, |n| width(&clean(n, false), sizes.name) + 6.0).min(room * 0.6);
        if bar.value >= 0.0 {
            x[1] = x[1].max(low + (bar.value - low) * room / (room - words));
        } else {
            x[0] = x[0].min(high - (high - bar.value) * room / (room - words));
        }
    }
}

fn x_marks(draft: &Draft<'_>, scale: &Scale, area: &Rect, sizes: Sizes) -> AxisMarks {
    let axis = &draft.panel.x;
    let mut marks = AxisMarks { ticks: axis.numbers, words: draft.shows_x, ..AxisMarks::default() };
    let mut power = 0;
    if !axis.categories.is_empty() {
        marks.upright = upright_words(draft.panel, area.width(), sizes);
        let widest = axis.categories.iter().map(|c| width(&clean(c, false), sizes.tick)).fold(0.0, f64::max);
        let each = area.width() / (scale.high - scale.low);
        let needed = if marks.upright { sizes.tick * 1.05 } else { widest + 5.0 };
        let step = (needed / each).ceil().max(1.0) as usize;
        let most = draft.below - sizes.label * PITCH - 2.5 - sizes.tick_length;
        let most = if marks.upright { most } else { f64::INFINITY };
        marks.major = (1..=axis.categories.len())
            .step_by(step)
            .filter(|&i| scale.holds(i as f64))
            .map(|i| (scale.at(i as f64), fit(&clean(&axis.categories[i - 1], false), sizes.tick, most)))
            .collect();
    } else if axis.numbers {
        let make = if axis.whole_numbers { Ticks::whole } else { Ticks::new };
        let mut most = (area.width() / (sizes.tick * 4.5)).clamp(2.0, 12.0) as usize;
        let ticks = loop {
            let ticks = make(scale.low, scale.high, most);
            let at: Vec<f64> = ticks.major.iter().map(|&v| scale.at(v)).collect();
            let wide: Vec<f64> = ticks.labels.iter().map(|l| width(l, sizes.tick)).collect();
            let apart = (1..at.len()).all(|i| at[i] - at[i - 1] > (wide[i] + wide[i - 1]) / 2.0 + sizes.tick * 0.8);
            if apart || most <= 2 {
                break ticks;
            }
            most -= 1;
        };
        power = ticks.power;
        marks.minor = ticks.minor.iter().map(|&v| scale.at(v)).collect();
        marks.major = ticks.major.iter().map(|&v| scale.at(v)).zip(ticks.labels).collect();
    }
    let label = clean(&axis.label(power), false);
    marks.label = if label.is_empty() { Vec::new() } else { vec![fit(&label, sizes.label, area.width())] };
    marks
}

fn y_marks(draft: &Draft<'_>, scale: &Scale, sizes: Sizes) -> AxisMarks {
    let axis = &draft.panel.y;
    let mut marks = AxisMarks { label: draft.y_label.clone(), words: true, ..AxisMarks::default() };
    if let Some(bars) = draft.bars {
        let words = |b: &Bar| fit(&clean(&b.label, false), sizes.name, draft.y_words + 0.01);
        marks.major = bars.iter().enumerate().map(|(i, b)| (scale.at(i as f64), words(b))).collect();
    } else if axis.numbers {
        marks.ticks = true;
        marks.minor = draft.y_ticks.minor.iter().map(|&v| scale.at(v)).collect();
        marks.major = draft.y_ticks.major.iter().map(|&v| scale.at(v)).zip(draft.y_ticks.labels.clone()).collect();
    }
    marks
}

fn spread_beside(words: &[(f64, Option<Style>, String)], frame: &Rect, y: &Scale, sizes: Sizes) -> Vec<Beside> {
    let mut wanted: Vec<(f64, &(f64, Option<Style>, String))> =
        words.iter().map(|w| (y.at(w.0).clamp(frame.top, frame.bottom), w)).collect();
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let heights: Vec<f64> = wanted.iter().map(|w| w.0).collect();
    let apart = vec![sizes.name * 1.1; wanted.len()];
    spread(&heights, &apart, frame.top, frame.bottom)
        .into_iter()
        .zip(wanted)
        .map(|(at, (from, words))| Beside {
            from: [frame.right, from],
            at: [frame.right + if (at - from).abs() > 0.5 { 8.0 } else { 4.0 }, at],
            key: words.1,
            text: words.2.clone(),
        })
        .collect()
}
