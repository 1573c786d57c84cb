//! Where the apexes are: a curvature test at a ladder of widths.

use crate::peaks::sums::{BoxNoise, Sums};
use crate::signal::NoiseProfile;

/// An apex that stands out of the noise.
#[derive(Clone, Copy, Debug)]
pub(super) struct Apex {
    /// The highest smoothed point.
    pub(super) index: usize,
    /// Width at half height, roughly, in points.
    pub(super) width: f64,
    /// Height above its flanks, roughly.
    pub(super) height: f64,
}

/// What detection needs to know.
pub(super) struct Search<'a> {
    pub(super) sums: &'a Sums,
    pub(super) noise: &'a NoiseProfile,
    pub(super) threshold_z: f64,
    pub(super) widest: f64,
    pub(super) valley_fraction: f64,
}

/// Wider than this (points at half height), a peak must also stand 10 standard deviations of single points high:
/// averages over so many points see every wander of the baseline.
const WIDE: usize = 300;
/// The drop on the flatter side, as a share of the mean of both: the shoulders that a dip raises on either side
/// have none, the top of a peak has nearly all.
const LEAST_SIDE: f64 = 0.2;
/// The drop on the flatter side in standard deviations.
const LEAST_SIDE_Z: f64 = 3.0;

/// From this multiple of the threshold on, the first maximum over widths is the peak's own: below it, noise on the
/// top of a wide peak may look like a narrow one.
const SURE: f64 = 3.0;

/// Apexes in rising order.
///
/// For widths w of 2, 3, 4, 6, 8, 11, ... points (steps of √2) the mean C of w points is compared with the means L
/// and R of the w points before and after. An apex is where C stands highest above the higher of the two, and
/// C - (L + R)/2, which a slope does not change, exceeds `threshold_z` standard deviations (noise and correlation
/// at this width). Narrow widths go first, and a wider maximum over an apex already found is the same peak seen
/// from farther away. Cost is proportional to the points: above 16 points a width is tried at every (w/8)th point
/// only.
pub(super) fn find_apexes(search: &Search<'_>) -> Vec<Apex> {
    let sums = search.sums;
    let mut found: Vec<usize> = Vec::new();
    let least_sd = (0..sums.len()).step_by(64).map(|i| search.noise.sd_at(i)).fold(f64::INFINITY, f64::min);
    let mut wander = Wander::default();
    let widths: Vec<(usize, f64)> = ladder(sums.len(), search.widest).map(|w| (w, wander.excess(search, w))).collect();
    // Part by part through all widths, so that a long run is fetched from memory once.
    let mut maxima = vec![Vec::new(); widths.len()];
    for from in (0..sums.len()).step_by(PART) {
        for (&(w, excess), maxima) in widths.iter().zip(&mut maxima) {
            curvature_maxima(search, w, least_sd, excess, from..from + PART, maxima);
        }
    }
    for (&(w, _), maxima) in widths.iter().zip(&maxima) {
        for &(start, _) in maxima {
            // An apex that lies within one width of the middle.
            let (low, high) = ((start + w / 2).saturating_sub(w), start + w / 2 + w);
            let at = found.partition_point(|&i| i < low);
            if found.get(at).is_some_and(|&i| i < high) {
                continue;
            }
            // Highest above the flanks' own slope, so that a slope's upper end is not taken for the top.
            let reach = w / 8;
            let slope = (sums.mean(start + w, start + 2 * w) - sums.mean(start - w, start)) / (2 * w) as f64;
            let above = |i: usize| sums.about(i, reach) - slope * (i - start) as f64;
            let coarse = (w / 16).max(1);
            let apex = highest((start..start + w).step_by(coarse), above).map_or(start, |(i, _)| i);
            let at = found.partition_point(|&i| i < apex);
            found.insert(at, apex);
        }
    }
    let kept = merge(search, measure_all(search, &found));
    // Joined neighbours no longer limit each other's width.
    measure_all(search, &kept.iter().map(|a| a.index).collect::<Vec<_>>())
}

fn measure_all(search: &Search<'_>, found: &[usize]) -> Vec<Apex> {
    let room = |here: usize, other: Option<&usize>| other.map_or(search.sums.len(), |&o| o.abs_diff(here));
    (0..found.len())
        .map(|k| {
            let before = if k == 0 { None } else { found.get(k - 1) };
            measure(search, found[k], room(found[k], before), room(found[k], found.get(k + 1)))
        })
        .collect()
}

/// Widths to try, in points.
fn ladder(n: usize, widest: f64) -> impl Iterator<Item = usize> {
    let mut step = 2.0_f64;
    std::iter::from_fn(move || {
        let w = step.round() as usize;
        step *= std::f64::consts::SQRT_2;
        (w * 4 <= n && (w as f64 <= widest * 1.2 || w == 2)).then_some(w)
    })
}

/// Starts of the middle windows (and their drops) where a significant maximum lies, within `part`, added to those of the
/// parts before.
fn curvature_maxima(
    search: &Search<'_>,
    w: usize,
    least_sd: f64,
    excess: f64,
    part: std::ops::Range<usize>,
    maxima: &mut Vec<(usize, f64)>,
) {
    let (p, n) = (search.sums.running(), search.sums.len());
    if n < 3 * w {
        return;
    }
    let factor = BoxNoise::new(w, search.noise.autocorrelation).times(excess);
    let (z, scale) = (search.threshold_z * factor.curvature, 1.0 / w as f64);
    // A pulse of one step is no peak where the step hides the noise.
    let stair = if search.noise.shared_step() > 0.0 { 1.05 * search.noise.step.unwrap_or(0.0) } else { 0.0 };
    let least = (z * least_sd).max(stair);
    let stride = (w / 8).max(1);
    // How far the middle stands above the left and above the right.
    let drops = |s: usize| {
        let (left, middle, right) = (p[s] - p[s - w], p[s + w] - p[s], p[s + 2 * w] - p[s + w]);
        ((middle - left) * scale, (middle - right) * scale)
    };
    let side = |s: usize| {
        if s < w || s + 2 * w > n {
            return f64::NEG_INFINITY;
        }
        let (left, right) = drops(s);
        left.min(right)
    };
    let mut test = |s: usize| {
        let (left, right) = drops(s);
        let (curvature, here) = (0.5 * (left + right), left.min(right));
        if curvature <= least || here < side(s - stride) || here <= side(s + stride) {
            return;
        }
        let sd = search.noise.sd_at(s + w / 2);
        let high_enough = w <= WIDE || curvature > 10.0 * sd;
        let is_maximum = here > LEAST_SIDE * curvature && here > LEAST_SIDE_Z * factor.drop * sd;
        if curvature > z * sd && is_maximum && high_enough {
            match maxima.last_mut() {
                Some(last) if s - last.0 <= w / 2 => {
                    if here > last.1 {
                        *last = (s, here);
                    }
                }
                _ => maxima.push((s, here)),
            }
        }
    };
    // Most of a run holds no peak: places are passed over by their curvature alone, where each is looked at whole pieces
    // by their largest.
    let bar = 2.0 * w as f64 * least;
    let (first, beyond) = (part.start.max(w), part.end.min(n + 1 - 2 * w));
    if stride > 1 {
        let m = beyond.saturating_sub(w);
        let (before, start, middle, after) = (&p[..m], &p[w..][..m], &p[2 * w..][..m], &p[3 * w..][..m]);
        let mut i = (first - w).next_multiple_of(stride);
        while i < m {
            if 3.0 * (middle[i] - start[i]) - (after[i] - before[i]) > bar {
                test(i + w);
            }
            i += stride;
        }
        return;
    }
    let mut s = first;
    while s < beyond {
        let end = (s + PIECE).min(beyond);
        let m = end - s;
        let (before, start, middle, after) = (&p[s - w..][..m], &p[s..][..m], &p[s + w..][..m], &p[s + 2 * w..][..m]);
        let mut largest = [f64::NEG_INFINITY; LANES];
        let (mut q0, mut q1) = (before.chunks_exact(LANES), start.chunks_exact(LANES));
        let (mut q2, mut q3) = (middle.chunks_exact(LANES), after.chunks_exact(LANES));
        for (((p0, p1), p2), p3) in (&mut q0).zip(&mut q1).zip(&mut q2).zip(&mut q3) {
            for j in 0..LANES {
                let curvature = 3.0 * (p2[j] - p1[j]) - (p3[j] - p0[j]);
                largest[j] = if curvature > largest[j] { curvature } else { largest[j] };
            }
        }
        let left_over = q0.remainder().iter().zip(q1.remainder()).zip(q2.remainder().iter().zip(q3.remainder()));
        for ((p0, p1), (p2, p3)) in left_over {
            largest[0] = largest[0].max(3.0 * (p2 - p1) - (p3 - p0));
        }
        if largest.iter().any(|c| *c > bar) {
            for i in 0..m {
                if 3.0 * (middle[i] - start[i]) - (after[i] - before[i]) > bar {
                    test(s + i);
                }
            }
        }
        s = end;
    }
}

/// Points that all widths are tried on before the next ones: what a processor keeps at hand.
const PART: usize = 16_384;
/// Points looked at together.
const PIECE: usize = 64;
/// Values side by side, so that the processor works on several at once.
const LANES: usize = 4;

/// How much more the curvature test scatters than the noise's correlation lets expect, because the baseline
/// wanders: the lower quartile of its size along the run, which peaks over half the run cannot move far.
#[derive(Default)]
struct Wander {
    widest_seen: usize,
    scatter_seen: f64,
    sizes: Vec<f64>,
}

/// Wander counts from widths on that the noise's correlation was not fitted to.
const WANDER_FROM: usize = 16;
/// Independent places needed to tell wander.
const WANDER_PLACES: usize = 30;
/// Excess that is put down to chance and to peaks.
const WANDER_LEAST: f64 = 1.4;

impl Wander {
    /// Standard deviation of the curvature test over the expected one, at least 1.
    fn excess(&mut self, search: &Search<'_>, w: usize) -> f64 {
        let (p, n) = (search.sums.running(), search.sums.len());
        if w < WANDER_FROM {
            return 1.0;
        }
        let expected = BoxNoise::new(w, search.noise.autocorrelation).curvature * search.noise.sd;
        // Where nearly all of a run is peaks, their rise and fall is no wander.
        let whole = 0..n;
        let quiet = search.noise.only_quiet();
        let stretches = quiet.unwrap_or(std::slice::from_ref(&whole));
        let room: usize = stretches.iter().map(|r| r.len().saturating_sub(3 * w)).sum();
        let is_enough = if quiet.is_some() { 2 * room >= w * WANDER_PLACES } else { n >= 3 * w * WANDER_PLACES };
        if is_enough {
            self.sizes.clear();
            let size = |s: usize| (3.0 * (p[s + w] - p[s]) - (p[s + 2 * w] - p[s - w])).abs() / (2 * w) as f64;
            for r in stretches {
                let (mut s, end) = (r.start + w, (r.end.max(2 * w) - 2 * w).max(r.start + w));
                while s < end {
                    self.sizes.push(size(s));
                    s += (w / 2).max(1);
                }
            }
            let k = self.sizes.len() / 4;
            // 0.3186: lower quartile of the size of a standard normal value.
            self.scatter_seen = *self.sizes.select_nth_unstable_by(k, f64::total_cmp).1 / 0.3186;
            self.widest_seen = w;
        }
        if self.widest_seen == 0 {
            return 1.0;
        }
        // A random walk's averages scatter as the root of their width.
        let excess = self.scatter_seen * (w as f64 / self.widest_seen as f64).sqrt() / expected;
        if self.scatter_seen > 0.0 && excess > WANDER_LEAST { excess } else { 1.0 }
    }
}

/// Width and height of an apex: the width at which the curvature test is most significant.
fn measure(search: &Search<'_>, index: usize, room_before: usize, room_after: usize) -> Apex {
    let (p, n) = (search.sums.running(), search.sums.len());
    let (mut best, mut width, mut height) = (0.0, 2.0, 0.0);
    // Two peaks are at least about a width apart.
    let room = room_before.min(room_after);
    for w in ladder(n, search.widest) {
        if w > room.max(2) {
            break;
        }
        let value = |s: Option<usize>| match s {
            Some(s) if s >= w && s + 2 * w <= n => {
                (3.0 * (p[s + w] - p[s]) - (p[s + 2 * w] - p[s - w])) * 0.5 / w as f64
            }
            _ => f64::NEG_INFINITY,
        };
        let middle = value(index.checked_sub(w / 2));
        // A peak with an edge (an overloaded fin) lies on one side of its apex; the best width is then its whole ramp.
        // A window on one side that stands higher than the apex has found the neighbour.
        let top = search.sums.about(index, w / 8);
        let own = |s: Option<usize>| match s {
            Some(s) if s + w <= n && search.sums.mean(s, s + w) <= top => value(Some(s)),
            _ => f64::NEG_INFINITY,
        };
        let side = own((index + 1).checked_sub(w)).max(own(Some(index)));
        let (value, wide) = if side > 1.2 * middle { (side, 0.6 * w as f64) } else { (middle, w as f64) };
        if value == f64::NEG_INFINITY {
            break;
        }
        let z = value / BoxNoise::new(w, search.noise.autocorrelation).curvature;
        if z > best {
            (best, width, height) = (z, wide, value);
        } else if best > SURE * search.threshold_z && z < 0.8 * best {
            break;
        }
    }
    Apex { index, width, height }
}

/// Climbs to the top of each peak, and joins neighbours without a valley between them.
fn merge(search: &Search<'_>, apexes: Vec<Apex>) -> Vec<Apex> {
    let sums = search.sums;
    let mut kept: Vec<Apex> = Vec::with_capacity(apexes.len());
    for mut apex in apexes {
        apex.index = climb(sums, apex.index, apex.width);
        while let Some(last) = kept.last().copied() {
            let reach = (last.width.min(apex.width) / 8.0) as usize;
            let (left, right) = (last.index.min(apex.index), last.index.max(apex.index));
            let noise = BoxNoise::new(2 * reach + 1, search.noise.autocorrelation).mean * search.noise.sd_at(left);
            let least = (search.valley_fraction * last.height.min(apex.height)).max(4.0 * 2_f64.sqrt() * noise);
            let bar = sums.about(last.index, reach).min(sums.about(apex.index, reach)) - least;
            if (left..=right).any(|i| sums.about(i, reach) < bar) {
                break;
            }
            // One peak: the higher top stands, the wider width describes it.
            let higher = if sums.about(last.index, reach) >= sums.about(apex.index, reach) { last } else { apex };
            apex =
                Apex { index: higher.index, width: last.width.max(apex.width), height: last.height.max(apex.height) };
            kept.pop();
        }
        kept.push(apex);
    }
    kept
}

/// Uphill over the smoothed signal, in strides of up to a quarter width, until nothing within reach is higher; first
/// on a coarse grid, then on every point of it.
fn climb(sums: &Sums, from: usize, width: f64) -> usize {
    let (reach, stride) = ((width / 8.0) as usize, (width / 4.0).max(1.0) as usize);
    let value = |i: usize| sums.about(i, reach);
    let mut at = from;
    let coarse = (stride / 8).max(1);
    for _ in 0..16 {
        // The grid runs through where we stand, so that standing still is one of the choices.
        let steps = (stride / coarse).min(at / coarse);
        let grid = (at - steps * coarse..(at + stride + 1).min(sums.len())).step_by(coarse);
        let top = highest(grid, value).map_or(at, |(i, _)| i);
        if value(top) <= value(at) {
            break;
        }
        at = top;
    }
    highest(at.saturating_sub(coarse)..(at + coarse + 1).min(sums.len()), value).map_or(at, |(i, _)| i)
}

/// The place with the highest value, and that value.
pub(super) fn highest(places: impl Iterator<Item = usize>, value: impl Fn(usize) -> f64) -> Option<(usize, f64)> {
    let mut best = None;
    for i in places {
        let v = value(i);
        if best.is_none_or(|(_, b)| v > b) {
            best = Some((i, v));
        }
    }
    best
}
