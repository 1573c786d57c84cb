//! Where the apexes are: a curvature test at a ladder of widths.

use crate::signal::NoiseProfile;

/// Sums over any stretch of a signal in two look-ups.
pub(super) struct Sums {
    /// Running sum of (y - y₀), one longer than the signal.
    sums: Vec<f64>,
    offset: f64,
}

impl Sums {
    pub(super) fn new(signal: &[f64]) -> Self {
        let offset = signal.first().copied().unwrap_or(0.0);
        let mut sums = Vec::with_capacity(signal.len() + 1);
        let mut sum = 0.0;
        sums.push(sum);
        sums.extend(signal.iter().map(|y| {
            sum += y - offset;
            sum
        }));
        Sums { sums, offset }
    }

    /// Number of points.
    pub(super) fn len(&self) -> usize {
        self.sums.len() - 1
    }

    /// Mean over a..b, which must hold at least one point.
    #[inline]
    pub(super) fn mean(&self, a: usize, b: usize) -> f64 {
        (self.sums[b] - self.sums[a]) / (b - a) as f64 + self.offset
    }

    /// Mean over up to `reach` points on either side of `i` (as many on each).
    #[inline]
    pub(super) fn about(&self, i: usize, reach: usize) -> f64 {
        let reach = reach.min(i).min(self.len() - 1 - i);
        self.mean(i - reach, i + reach + 1)
    }
}

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
    let mut maxima = Vec::new();
    let mut wander = Wander::default();
    for w in ladder(sums.len(), search.widest) {
        let excess = wander.excess(search, w);
        curvature_maxima(search, w, least_sd, excess, &mut maxima);
        for &(start, _) in &maxima {
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
            let apex = (start..start + w).max_by(|&a, &b| above(a).total_cmp(&above(b)));
            if let Some(apex) = apex {
                let at = found.partition_point(|&i| i < apex);
                found.insert(at, apex);
            }
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

/// Starts of the middle windows (and their drops) where a significant maximum lies.
fn curvature_maxima(search: &Search<'_>, w: usize, least_sd: f64, excess: f64, maxima: &mut Vec<(usize, f64)>) {
    maxima.clear();
    let (p, n) = (&search.sums.sums[..], search.sums.len());
    if n < 3 * w {
        return;
    }
    let factor = BoxNoise::new(w, search.noise.autocorrelation).times(excess);
    let (z, scale) = (search.threshold_z * factor.curvature, 1.0 / w as f64);
    let least = z * least_sd;
    let stride = (w / 8).max(1);
    // How far the middle stands above the left and above the right.
    let drops = |s: usize| {
        let (left, middle, right) = (p[s] - p[s - w], p[s + w] - p[s], p[s + 2 * w] - p[s + w]);
        ((middle - left) * scale, (middle - right) * scale)
    };
    let mut s = w;
    let mut before = f64::NEG_INFINITY;
    let mut here = drops(s);
    while s + 2 * w <= n {
        let next = s + stride;
        let after = if next + 2 * w <= n { drops(next) } else { (f64::NEG_INFINITY, f64::NEG_INFINITY) };
        let (curvature, side) = (0.5 * (here.0 + here.1), here.0.min(here.1));
        if curvature > least && side >= before && side > after.0.min(after.1) {
            let sd = search.noise.sd_at(s + w / 2);
            let high_enough = w <= WIDE || curvature > 10.0 * sd;
            let is_maximum = side > LEAST_SIDE * curvature && side > LEAST_SIDE_Z * factor.drop * sd;
            if curvature > z * sd && is_maximum && high_enough {
                match maxima.last_mut() {
                    Some(last) if s - last.0 <= w / 2 => {
                        if side > last.1 {
                            *last = (s, side);
                        }
                    }
                    _ => maxima.push((s, side)),
                }
            }
        }
        (before, here, s) = (side, after, next);
    }
}

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
        let (p, n) = (&search.sums.sums[..], search.sums.len());
        if w < WANDER_FROM {
            return 1.0;
        }
        let expected = BoxNoise::new(w, search.noise.autocorrelation).curvature * search.noise.sd;
        if n >= 3 * w * WANDER_PLACES {
            self.sizes.clear();
            let starts = (w..n - 2 * w).step_by((w / 2).max(1));
            self.sizes
                .extend(starts.map(|s| (3.0 * (p[s + w] - p[s]) - (p[s + 2 * w] - p[s - w])).abs() / (2 * w) as f64));
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

/// Standard deviations of box averages over w points, for unit noise with correlation φ^k.
pub(super) struct BoxNoise {
    /// Of C - (L + R)/2.
    curvature: f64,
    /// Of C - L.
    drop: f64,
    /// Of C.
    pub(super) mean: f64,
}

impl BoxNoise {
    fn times(self, factor: f64) -> Self {
        BoxNoise { curvature: self.curvature * factor, drop: self.drop * factor, mean: self.mean * factor }
    }

    pub(super) fn new(w: usize, phi: f64) -> Self {
        let wf = w as f64;
        let decay = phi.powi(w as i32);
        let g = 1.0 - phi;
        // Variance of a mean, covariance of neighbouring means; sums of geometric series.
        let v = ((1.0 + phi) / g - 2.0 * phi * (1.0 - decay) / (wf * g * g)) / wf;
        let c = phi * (1.0 - decay) * (1.0 - decay) / (wf * g * wf * g);
        BoxNoise {
            curvature: (1.5 * v + 0.5 * decay * c - 2.0 * c).max(0.0).sqrt(),
            drop: (2.0 * (v - c)).max(0.0).sqrt(),
            mean: v.max(0.0).sqrt(),
        }
    }
}

/// Width and height of an apex: the width at which the curvature test is most significant.
fn measure(search: &Search<'_>, index: usize, room_before: usize, room_after: usize) -> Apex {
    let (p, n) = (&search.sums.sums[..], search.sums.len());
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
            let valley = (left..=right).map(|i| sums.about(i, reach)).fold(f64::INFINITY, f64::min);
            let drop = sums.about(last.index, reach).min(sums.about(apex.index, reach)) - valley;
            let noise = BoxNoise::new(2 * reach + 1, search.noise.autocorrelation).mean * search.noise.sd_at(left);
            let least = (search.valley_fraction * last.height.min(apex.height)).max(4.0 * 1.414 * noise);
            if right > left && drop > least {
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

/// Uphill over the smoothed signal, in strides of up to a quarter width, until nothing within reach is higher.
fn climb(sums: &Sums, from: usize, width: f64) -> usize {
    let (reach, stride) = ((width / 8.0) as usize, (width / 4.0).max(1.0) as usize);
    let mut at = from;
    for _ in 0..16 {
        let (a, b) = (at.saturating_sub(stride), (at + stride + 1).min(sums.len()));
        let top = (a..b).max_by(|&i, &j| sums.about(i, reach).total_cmp(&sums.about(j, reach))).unwrap_or(at);
        if top == at {
            break;
        }
        at = top;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::BoxNoise;
    use crate::signal::noise::correlated_norm;

    #[test]
    fn noise_of_box_averages_is_what_the_weights_give() {
        for w in [1, 2, 5, 40] {
            for phi in [-0.3, 0.0, 0.5, 0.9] {
                let noise = BoxNoise::new(w, phi);
                let part = |f: f64| vec![f / w as f64; w];
                let three = [part(-0.5), part(1.0), part(-0.5)].concat();
                let two = [part(-1.0), part(1.0)].concat();
                assert!((noise.curvature - correlated_norm(&three, phi)).abs() < 1e-12);
                assert!((noise.drop - correlated_norm(&two, phi)).abs() < 1e-12);
                assert!((noise.mean - correlated_norm(&part(1.0), phi)).abs() < 1e-12);
            }
        }
    }
}
