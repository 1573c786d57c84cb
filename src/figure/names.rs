//! Names above apexes: apart from each other, clear of the traces, with leaders where they had to move.

use super::geometry::{Point, Rect, spread};
use super::shapes::{MARKER_PT, Shape};
use super::text::width;

/// Gap between an apex and its name, in points.
const GAP: f64 = 3.0;
/// Height of a leader's slanted part, in points.
const SLANT: f64 = 5.0;

/// A name that wants a place: the apex on paper, and the words.
#[derive(Clone, Debug)]
pub(super) struct Wish {
    pub(super) apex: Point,
    pub(super) text: String,
    pub(super) upright: bool,
}

/// A name with its place.
#[derive(Clone, Debug)]
pub(super) struct Name {
    /// Start of the base line for upright words, its middle for level ones.
    pub(super) at: Point,
    #[cfg_attr(not(feature = "plotly"), allow(dead_code))] // the screen painter asks for it
    pub(super) apex: Point,
    pub(super) text: String,
    pub(super) upright: bool,
    pub(super) size: f64,
    /// From apex to name; empty where the name stands right above.
    pub(super) leader: Vec<Point>,
    pub(super) bounds: Rect,
}

/// The highest drawn point of every column of one point's width.
pub(super) struct Skyline {
    left: f64,
    tops: Vec<f64>,
}

impl Skyline {
    pub(super) fn new(frame: &Rect, shapes: &[Shape]) -> Self {
        let columns = frame.width().clamp(1.0, 1e4).ceil() as usize;
        let mut sky = Skyline { left: frame.left, tops: vec![frame.bottom; columns] };
        for shape in shapes {
            match shape {
                Shape::Stroke { pieces, guide: false, .. } => {
                    pieces.iter().for_each(|p| p.windows(2).for_each(|w| sky.segment(w[0], w[1])));
                }
                Shape::Fill { outline, .. } => outline.windows(2).for_each(|w| sky.segment(w[0], w[1])),
                Shape::Marker { at, .. } => {
                    let (x, y) = (at[0], at[1] - MARKER_PT);
                    sky.segment([x - MARKER_PT, y], [x + MARKER_PT, y]);
                }
                Shape::Stroke { .. } | Shape::Cut { .. } | Shape::Beyond { .. } | Shape::Words { .. } => {}
            }
        }
        sky
    }

    fn column(&self, x: f64) -> usize {
        ((x - self.left).max(0.0) as usize).min(self.tops.len() - 1)
    }

    fn segment(&mut self, a: Point, b: Point) {
        let (a, b) = if a[0] <= b[0] { (a, b) } else { (b, a) };
        for i in self.column(a[0])..=self.column(b[0]) {
            // Height of the segment within the column: the higher of its ends there.
            let at = |x: f64| {
                let share = if b[0] > a[0] { ((x - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0) } else { 0.0 };
                a[1] + share * (b[1] - a[1])
            };
            let (left, right) = (self.left + i as f64, self.left + i as f64 + 1.0);
            let vertical = if b[0] - a[0] < 1e-9 { a[1].min(b[1]) } else { f64::INFINITY };
            self.tops[i] = self.tops[i].min(at(left).min(at(right)).min(vertical));
        }
    }

    fn top(&self, from: f64, to: f64) -> f64 {
        self.tops[self.column(from)..=self.column(to)].iter().copied().fold(f64::INFINITY, f64::min)
    }

    /// Keeps names above a box.
    pub(super) fn raise(&mut self, bounds: &Rect) {
        self.segment([bounds.left, bounds.top], [bounds.right, bounds.top]);
    }
}

/// Places for all names, upright ones first; they may lie above the frame.
///
/// With more names than the width holds, the letters shrink to 5.5 pt; beyond that (about 75 names on a page's
/// width) neighbours overlap.
pub(super) fn place_names(wishes: &[Wish], frame: &Rect, mut sky: Skyline, size: f64) -> Vec<Name> {
    let mut names = Vec::with_capacity(wishes.len());
    for upright in [true, false] {
        let mut wishes: Vec<&Wish> = wishes.iter().filter(|w| w.upright == upright).collect();
        wishes.sort_by(|a, b| a.apex[0].total_cmp(&b.apex[0]));
        let placed = place_row(&wishes, frame, &sky, size, upright);
        placed.iter().for_each(|n| sky.raise(&n.bounds));
        names.extend(placed);
    }
    names
}

fn place_row(wishes: &[&Wish], frame: &Rect, sky: &Skyline, size: f64, upright: bool) -> Vec<Name> {
    let slot = |w: &Wish, size: f64| if upright { size * 1.05 } else { width(&w.text, size) + size * 0.5 };
    let total = |size: f64| wishes.iter().map(|w| slot(w, size)).sum::<f64>();
    let size = if total(size) > frame.width() { (size * frame.width() / total(size)).clamp(5.5, size) } else { size };
    let slots: Vec<f64> = wishes.iter().map(|w| slot(w, size)).collect();
    let apart: Vec<f64> = slots.windows(2).map(|s| (s[0] + s[1]) / 2.0).collect();
    let wanted: Vec<f64> = wishes.iter().map(|w| w.apex[0]).collect();
    let overhang = if upright { 0.0 } else { size };
    let (first, last) = (slots.first().unwrap_or(&0.0) / 2.0, slots.last().unwrap_or(&0.0) / 2.0);
    let places = spread(&wanted, &apart, frame.left - overhang + first, frame.right + overhang - last);

    let moved: Vec<bool> = places.iter().zip(&wanted).map(|(p, w)| (p - w).abs() > 0.8).collect();
    let mut feet: Vec<f64> = (0..wishes.len())
        .map(|i| {
            let clear = sky.top(places[i] - slots[i] / 2.0, places[i] + slots[i] / 2.0) - GAP;
            let own = wishes[i].apex[1] - GAP - if moved[i] { SLANT } else { 0.0 };
            clear.min(own)
        })
        .collect();
    // Where names moved far, leaders pass below their neighbours: all of such a group stand at one height.
    let mut i = 0;
    while i < places.len() {
        let end =
            (i + 1..places.len()).find(|&j| places[j] - places[j - 1] > apart[j - 1] + 0.01).unwrap_or(places.len());
        if (i..end).any(|j| (places[j] - wanted[j]).abs() > slots[j] / 2.0) {
            let level = feet[i..end].iter().copied().fold(f64::INFINITY, f64::min);
            feet[i..end].fill(level);
        }
        i = end;
    }

    (0..wishes.len())
        .map(|i| {
            let (place, foot, apex) = (places[i], feet[i], wishes[i].apex);
            let length = width(&wishes[i].text, size);
            let (at, bounds) = if upright {
                let half = size * 0.5;
                let bounds = Rect { left: place - half, top: foot - length, right: place + half, bottom: foot };
                ([place + size * 0.31, foot], bounds)
            } else {
                let half = length / 2.0;
                let bounds = Rect { left: place - half, top: foot - size * 0.75, right: place + half, bottom: foot };
                ([place, foot], bounds)
            };
            let leader = if moved[i] {
                vec![[apex[0], apex[1] - 1.5], [apex[0], foot + SLANT - 0.5], [place, foot + 1.5]]
            } else if apex[1] - foot > 3.0 * GAP {
                vec![[apex[0], apex[1] - 1.5], [apex[0], foot + 1.5]]
            } else {
                Vec::new()
            };
            Name { at, apex, text: wishes[i].text.clone(), upright, size, leader, bounds }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Rect = Rect { left: 40.0, top: 10.0, right: 440.0, bottom: 210.0 };

    #[test]
    fn names_never_overlap_and_stay_clear_of_the_trace() {
        let xs = [50.0, 52.0, 53.0, 120.0, 300.0, 304.0, 436.0, 439.0];
        for upright in [true, false] {
            let wishes: Vec<Wish> =
                xs.iter().map(|&x| Wish { apex: [x, 100.0], text: "butan-1-ol".to_owned(), upright }).collect();
            let trace = Shape::Stroke {
                pieces: vec![vec![[40.0, 200.0], [290.0, 150.0], [300.0, 60.0], [440.0, 200.0]]],
                style: super::super::layers::Style::default(),
                guide: false,
            };
            let names = place_names(&wishes, &FRAME, Skyline::new(&FRAME, std::slice::from_ref(&trace)), 8.0);
            assert_eq!(names.len(), xs.len());
            for (i, a) in names.iter().enumerate() {
                assert!(a.bounds.left >= FRAME.left - 9.0 && a.bounds.right <= FRAME.right + 9.0);
                assert!(names[i + 1..].iter().all(|b| !a.bounds.overlaps(&b.bounds)), "{a:?}");
                assert!(a.bounds.bottom < 100.0);
            }
            assert!(names[4].bounds.bottom < 60.0, "above the tall peak");
        }
    }

    #[test]
    fn a_crowd_shrinks() {
        let wishes: Vec<Wish> = (0..60)
            .map(|i| Wish { apex: [200.0 + f64::from(i), 100.0], text: format!("peak {i}"), upright: true })
            .collect();
        let names = place_names(&wishes, &FRAME, Skyline::new(&FRAME, &[]), 8.0);
        assert!(names[0].size < 8.0);
        assert!(names.windows(2).all(|w| w[1].at[0] - w[0].at[0] >= w[0].size));
    }
}
