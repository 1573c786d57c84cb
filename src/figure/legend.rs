//! Legends, notes, and words beside the panel.

use super::geometry::{Obstacles, Point, Rect, Scale, spread};
use super::layers::{Color, Layer, Marker, Place, Style};
use super::layout::Sizes;
use super::model::{Legend, Panel};
use super::text::{clean, fit, width};

/// What a legend shows beside a name.
#[derive(Clone, Copy, Debug)]
pub(super) enum Key {
    Line(Style),
    Marker(Marker, bool, Color),
    Fill(Color),
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
    pub(super) words: Words,
}

/// Words for a height on the y axis, with a line's sample where they name a line.
#[derive(Clone, Debug)]
pub(super) struct Words {
    pub(super) y: f64,
    pub(super) key: Option<Style>,
    pub(super) text: String,
}

/// A place for a box of this size, and what it would cover there.
pub(super) fn seat(obstacles: &Obstacles, w: f64, h: f64, room: &Rect, place: Place) -> (Rect, usize) {
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

/// Keys and names of a legend; lines that are named at their ends are left out.
pub(super) fn legend_entries(panel: &Panel) -> Vec<(Key, String)> {
    panel
        .layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::Line { name: Some(_), .. } if panel.legend == Legend::LineEnds => None,
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

/// Rows below each other inside the panel, and what they cover.
pub(super) fn seat_block(
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

/// Entries side by side above the axis box.
pub(super) fn rows_above(entries: &[(Key, String)], area: &Rect, sizes: Sizes) -> Block {
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

/// Words to the right of the panel: of straight lines, and of lines' ends where the legend says so.
pub(super) fn beside(panel: &Panel, x: [f64; 2], y: [f64; 2], page: &Rect, sizes: Sizes) -> Vec<Words> {
    let most = page.width() * 0.3;
    let words =
        |y: f64, key: Option<Style>, text: &str| Words { y, key, text: fit(&clean(text, false), sizes.name, most) };
    panel
        .layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::HorizontalLine { y: at, label: Some(label), .. } => {
                (*at >= y[0] && *at <= y[1]).then(|| words(*at, None, label))
            }
            Layer::Line { x: xs, y: ys, style, name: Some(name) } if panel.legend == Legend::LineEnds => {
                let end = xs.iter().zip(ys).rev().find(|(a, b)| a.is_finite() && b.is_finite() && **a <= x[1])?;
                Some(words(*end.1, Some(*style), name))
            }
            _ => None,
        })
        .collect()
}

/// Width that words beside the panel need.
pub(super) fn beside_width(words: &Words, sizes: Sizes) -> f64 {
    8.0 + if words.key.is_some() { 13.0 } else { 0.0 } + width(&words.text, sizes.name)
}

/// Places for words beside the panel, moved apart where they would overlap.
pub(super) fn spread_beside(words: &[Words], frame: &Rect, y: &Scale, sizes: Sizes) -> Vec<Beside> {
    let mut wanted: Vec<(f64, &Words)> = words.iter().map(|w| (y.at(w.y).clamp(frame.top, frame.bottom), w)).collect();
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let heights: Vec<f64> = wanted.iter().map(|w| w.0).collect();
    let apart = vec![sizes.name * 1.1; wanted.len()];
    spread(&heights, &apart, frame.top, frame.bottom)
        .into_iter()
        .zip(wanted)
        .map(|(at, (from, words))| Beside {
            from: [frame.right, from],
            at: [frame.right + if (at - from).abs() > 0.5 { 8.0 } else { 4.0 }, at],
            words: words.clone(),
        })
        .collect()
}
