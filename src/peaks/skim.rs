//! Small peaks on the front or the tail of a large one: the tangent below each.

use crate::peaks::Integration;
use crate::peaks::bounds::Bounds;
use crate::peaks::sums::Sums;

/// A neighbour this many times higher, above the tangent, is what the small peak stands on (common practice).
const PARENT: f64 = 10.0;

/// Parts groups of overlapping peaks by tangents where a peak stands on one at least ten times higher; the bounds of the
/// small peak become the points where the tangent touches, those of the large one reach over it.
///
/// From the valley v the tangent runs to the point e behind the small peak to which the line is flattest (on a tail) or
/// steepest (on a front), so that it lies nowhere above the signal. The large peak keeps what is below the tangent.
///
/// Gives for each peak the one that it stands on.
pub(super) fn skim(sums: &Sums, all: &mut [Bounds]) -> Vec<Option<usize>> {
    let mut parents = vec![None; all.len()];
    let mut first = 0;
    while first < all.len() {
        let mut last = first;
        while last + 1 < all.len() && all[last].end == all[last + 1].start {
            last += 1;
        }
        let height = |b: &Bounds| sums.about(b.apex, (b.width / 8.0) as usize);
        let main = (first..=last).max_by(|&i, &j| height(&all[i]).total_cmp(&height(&all[j]))).unwrap_or(first);
        outwards(sums, all, &mut parents, main, (main + 1..=last).collect());
        outwards(sums, all, &mut parents, main, (first..main).rev().collect());
        first = last + 1;
    }
    parents
}

/// From a high peak to one end of its group; what is no small peak becomes the one that others may stand on.
fn outwards(sums: &Sums, all: &mut [Bounds], parents: &mut [Option<usize>], main: usize, order: Vec<usize>) {
    let mut parent = main;
    for k in order {
        let (p, b) = (&all[parent], &all[k]);
        if b.method != Integration::PerpendicularDrop {
            parent = k;
            continue;
        }
        let on_tail = k > parent;
        let reach = (b.width / 8.0) as usize;
        let (valley, limit) = if on_tail { (b.start, b.end) } else { (b.end, b.start) };
        let from = sums.about(valley, reach);
        let slope = |i: usize| (sums.about(i, reach) - from) / (i as f64 - valley as f64);
        let away = (0.75 * b.width).ceil() as usize;
        let touch = if on_tail {
            (b.apex + away..=limit).min_by(|&i, &j| slope(i).total_cmp(&slope(j)))
        } else {
            (limit..=b.apex.saturating_sub(away)).max_by(|&i, &j| slope(i).total_cmp(&slope(j)))
        };
        let Some(touch) = touch.filter(|&t| t != valley) else {
            parent = k;
            continue;
        };
        let tangent = from + slope(touch) * (b.apex as f64 - valley as f64);
        let above = sums.about(b.apex, reach) - tangent;
        let base = |at: &Bounds| {
            let level = |r: &std::ops::Range<usize>| sums.mean(r.start, r.end);
            0.5 * (level(&at.before) + level(&at.after))
        };
        let tall = sums.about(p.apex, (p.width / 8.0) as usize) - base(p);
        if above <= 0.0 || tall < PARENT * above {
            parent = k;
            continue;
        }
        let about = |i: usize| i.saturating_sub(reach)..(i + reach + 1).min(sums.len());
        let outer = if on_tail { b.end } else { b.start };
        let small = &mut all[k];
        (small.start, small.end) = (valley.min(touch), valley.max(touch));
        (small.before, small.after) = (about(small.start), about(small.end));
        small.method = Integration::TangentSkim;
        small.cut = false;
        parents[k] = Some(parent);
        let p = &mut all[parent];
        if on_tail {
            p.end = outer;
        } else {
            p.start = outer;
        }
    }
}
