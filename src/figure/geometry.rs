//! Points, boxes and scales on paper, in points (1/72 inch), y downwards; cutting lines and areas to a box.

/// A point on paper.
pub(super) type Point = [f64; 2];

/// A box on paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rect {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Rect {
    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }

    pub(super) fn height(&self) -> f64 {
        self.bottom - self.top
    }

    pub(super) fn grown(&self, by: f64) -> Rect {
        Rect { left: self.left - by, top: self.top - by, right: self.right + by, bottom: self.bottom + by }
    }

    pub(super) fn overlaps(&self, other: &Rect) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    pub(super) fn contains(&self, p: Point) -> bool {
        p[0] >= self.left && p[0] <= self.right && p[1] >= self.top && p[1] <= self.bottom
    }
}

/// From an axis' numbers to paper.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    /// Where `low` lies on paper.
    pub(super) start: f64,
    /// Where `high` lies on paper.
    pub(super) end: f64,
}

impl Scale {
    /// Place on paper; far outside it stays a number that can be cut. What is not finite has none: NaN.
    pub(super) fn at(&self, value: f64) -> f64 {
        if !value.is_finite() {
            return f64::NAN;
        }
        let share = (value - self.low) / (self.high - self.low);
        (self.start + share * (self.end - self.start)).clamp(-1e9, 1e9)
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        let slack = (self.high - self.low) * 1e-9;
        value >= self.low - slack && value <= self.high + slack
    }
}

/// The pieces of a polyline inside a box, cut exactly at its edge.
pub(super) fn cut_line(points: &[Point], frame: &Rect) -> Vec<Vec<Point>> {
    let mut pieces: Vec<Vec<Point>> = Vec::new();
    let mut open = false;
    for pair in points.windows(2) {
        let Some((a, b)) = cut_segment(pair[0], pair[1], frame) else {
            open = false;
            continue;
        };
        match pieces.last_mut() {
            Some(piece) if open => piece.push(b),
            _ => pieces.push(vec![a, b]),
        }
        open = b == pair[1];
    }
    pieces
}

/// The part of a segment inside a box (Liang and Barsky, ACM Trans. Graphics 3 (1984) 1).
pub(super) fn cut_segment(a: Point, b: Point, frame: &Rect) -> Option<(Point, Point)> {
    let d = [b[0] - a[0], b[1] - a[1]];
    let (mut enter, mut leave) = (0.0, 1.0);
    for (step, room) in
        [(-d[0], a[0] - frame.left), (d[0], frame.right - a[0]), (-d[1], a[1] - frame.top), (d[1], frame.bottom - a[1])]
    {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            enter = f64::max(enter, room / step);
        } else {
            leave = f64::min(leave, room / step);
        }
    }
    if enter > leave {
        return None;
    }
    let at = |s: f64| [a[0] + s * d[0], a[1] + s * d[1]];
    Some((if enter > 0.0 { at(enter) } else { a }, if leave < 1.0 { at(leave) } else { b }))
}

/// A filled outline cut to a box (Sutherland and Hodgman, Comm. ACM 17 (1974) 32).
pub(super) fn cut_area(outline: &[Point], frame: &Rect) -> Vec<Point> {
    let mut points = outline.to_vec();
    for (axis, limit, sign) in
        [(0, frame.left, 1.0), (0, frame.right, -1.0), (1, frame.top, 1.0), (1, frame.bottom, -1.0)]
    {
        let inside = |p: &Point| (p[axis] - limit) * sign >= 0.0;
        let mut kept = Vec::with_capacity(points.len() + 4);
        for (i, p) in points.iter().enumerate() {
            let before = &points[(i + points.len() - 1) % points.len()];
            if inside(p) != inside(before) {
                let share = (limit - before[axis]) / (p[axis] - before[axis]);
                let mut crossing = [before[0] + share * (p[0] - before[0]), before[1] + share * (p[1] - before[1])];
                crossing[axis] = limit;
                kept.push(crossing);
            }
            if inside(p) {
                kept.push(*p);
            }
        }
        points = kept;
    }
    points
}

/// What a legend, a note or an inset should not cover.
#[derive(Clone, Debug, Default)]
pub(super) struct Obstacles {
    pub(super) segments: Vec<(Point, Point)>,
    pub(super) boxes: Vec<Rect>,
}

impl Obstacles {
    /// A polyline more.
    pub(super) fn chain(&mut self, points: &[Point]) {
        self.segments.extend(points.windows(2).map(|w| (w[0], w[1])));
    }

    /// How much a box here would cover; 0 is free.
    pub(super) fn cost(&self, here: &Rect) -> usize {
        let lines = self.segments.iter().filter(|s| cut_segment(s.0, s.1, here).is_some()).count();
        lines + 40 * self.boxes.iter().filter(|b| b.overlaps(here)).count() // covered words weigh most
    }

    /// The first free place for a box of this size: corners from the upper right on, then a grid; else the cheapest.
    pub(super) fn room(&self, width: f64, height: f64, area: &Rect) -> (Rect, usize) {
        let (free_x, free_y) = ((area.width() - width).max(0.0), (area.height() - height).max(0.0));
        let corners = [(1.0, 0.0), (0.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
        let grid =
            (0..=8).flat_map(|row| (0..=16).map(move |column| (1.0 - f64::from(column) / 16.0, f64::from(row) / 8.0)));
        let mut best: Option<(Rect, usize)> = None;
        for (sx, sy) in corners.into_iter().chain(grid) {
            let (left, top) = (area.left + sx * free_x, area.top + sy * free_y);
            let here = Rect { left, top, right: left + width, bottom: top + height };
            let cost = self.cost(&here);
            if cost == 0 {
                return (here, 0);
            }
            if best.is_none_or(|(_, least)| cost < least) {
                best = Some((here, cost));
            }
        }
        best.unwrap_or((*area, usize::MAX))
    }
}

/// Places as near as possible (least squares) to `wanted`, which rises, with at least `apart[i]` between i and
/// i + 1, all between `low` and `high`; where there is not enough room, the distances shrink alike.
pub(super) fn spread(wanted: &[f64], apart: &[f64], low: f64, high: f64) -> Vec<f64> {
    let needed: f64 = apart.iter().take(wanted.len().saturating_sub(1)).sum();
    let shrink = if needed > high - low { ((high - low) / needed).max(0.0) } else { 1.0 };
    // With the distances taken off, the task is a rising sequence nearest to the wanted one: pool neighbours.
    let mut offset = 0.0;
    let mut offsets = Vec::with_capacity(wanted.len());
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (i, w) in wanted.iter().enumerate() {
        offsets.push(offset);
        pools.push((w - offset, 1));
        while let [.., (a, m), (b, n)] = pools[..]
            && a > b
        {
            pools.truncate(pools.len() - 2);
            pools.push(((a * m as f64 + b * n as f64) / (m + n) as f64, m + n));
        }
        offset += apart.get(i).copied().unwrap_or(0.0) * shrink;
    }
    let last = offsets.last().copied().unwrap_or(0.0);
    let (low, high) = (low, (high - last).max(low));
    pools
        .iter()
        .flat_map(|&(place, n)| std::iter::repeat_n(place.clamp(low, high), n))
        .zip(offsets)
        .map(|(place, offset)| place + offset)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Rect = Rect { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };

    #[test]
    fn lines_end_at_the_edge() {
        let pieces = cut_line(&[[-5.0, 5.0], [5.0, 5.0], [5.0, -1e9], [6.0, 5.0], [20.0, 5.0]], &FRAME);
        assert_eq!(pieces.len(), 2);
        assert_eq!(pieces[0], [[0.0, 5.0], [5.0, 5.0], [5.0, 0.0]]);
        assert_eq!(pieces[1][1..], [[6.0, 5.0], [10.0, 5.0]]);
        assert!(cut_line(&[[-1.0, -1.0], [-1.0, 20.0]], &FRAME).is_empty());
    }

    #[test]
    fn areas_keep_what_is_inside() {
        let cut = cut_area(&[[2.0, 10.0], [5.0, -50.0], [8.0, 10.0]], &FRAME);
        assert!(cut.iter().all(|p| FRAME.grown(1e-9).contains(*p)));
        assert_eq!(cut.iter().filter(|p| p[1] == 0.0).count(), 2);
        assert!(cut_area(&[[20.0, 1.0], [30.0, 1.0], [30.0, 2.0]], &FRAME).is_empty());
    }

    #[test]
    fn spread_moves_no_more_than_needed() {
        assert_eq!(spread(&[1.0, 8.0], &[2.0], 0.0, 10.0), [1.0, 8.0]);
        assert_eq!(spread(&[5.0, 5.0, 5.0], &[2.0, 2.0], 0.0, 10.0), [3.0, 5.0, 7.0]);
        assert_eq!(spread(&[9.5, 9.9], &[2.0], 0.0, 10.0), [8.0, 10.0]);
        assert_eq!(spread(&[1.0, 1.0, 1.0], &[9.0, 9.0], 0.0, 10.0), [0.0, 5.0, 10.0]);
        assert!(spread(&[], &[], 0.0, 1.0).is_empty());
    }
}
