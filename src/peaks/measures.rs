//! Height, apex time and widths of a peak above its baseline.

use crate::peaks::integrate::Line;
use crate::peaks::local_fit::LocalFit;
use crate::peaks::sums::{BoxNoise, Sums};
use crate::signal::NoiseProfile;
use crate::signal::noise::correlated_norm;

/// What one peak looks like; times in minutes.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Measures {
    pub(super) time: f64,
    pub(super) time_u: Option<f64>,
    pub(super) height: f64,
    pub(super) half: Option<Width>,
    pub(super) tenth: Option<Width>,
    pub(super) twentieth: Option<Width>,
    /// Points above half height.
    pub(super) points_above_half: usize,
}

/// Front and back part of a width, in minutes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Width {
    pub(super) front: f64,
    pub(super) back: f64,
}

impl Width {
    pub(super) fn sum(self) -> f64 {
        self.front + self.back
    }
}

/// A trace with what is known about it.
pub(super) struct Signal<'a> {
    pub(super) time: &'a [f64],
    pub(super) signal: &'a [f64],
    pub(super) sums: &'a Sums,
    pub(super) noise: &'a NoiseProfile,
}

/// Measures the peak with its highest point at `apex`, between the points `start` and `end`, above `line`.
///
/// Height and time are those of a polynomial (degree 4 from 7 points on, a parabola below) through the points
/// within a quarter of the half-height width; widths end where a cubic through the points within a tenth of that
/// width passes the level. On exact exponentially modified Gaussians with 20 points per half-height width the
/// height is right to 1e-5, widths to 5e-5.
pub(super) fn measure(s: &Signal<'_>, apex: usize, start: usize, end: usize, width: f64, line: &Line) -> Measures {
    let above = |i: usize, reach: usize| {
        let reach = reach.min(i).min(s.time.len() - 1 - i);
        s.sums.about(i, reach) - line.at(s.time[i])
    };
    // A first height and width, to know how far the polynomials may reach.
    let reach = (width / 10.0) as usize;
    let first = above(apex, reach);
    let walk = |level: f64, reach: usize, limit: usize| -> Option<usize> {
        let mut at = apex;
        while at != limit {
            at = if limit > at { at + 1 } else { at - 1 };
            if above(at, reach) < level {
                return Some(at);
            }
        }
        None
    };
    let front = walk(0.5 * first, reach, start).map(|i| apex - i);
    let back = walk(0.5 * first, reach, end).map(|i| i - apex);
    let wide = match (front, back) {
        (Some(a), Some(b)) => (a + b) as f64 - 1.0,
        (Some(a), None) | (None, Some(a)) => 2.0 * a as f64 - 1.0,
        _ => width,
    }
    .max(0.6 * width)
    .max(1.0);
    let mut m = Measures { time: s.time[apex], height: above(apex, 0), ..Measures::default() };
    let shape = Shape { wide, reach: reach_for(first / s.noise.sd_at(apex)) };
    top(s, apex, start, end, shape, first, line, &mut m);
    let inside = s.time[start..=end].iter().zip(&s.signal[start..=end]);
    m.points_above_half = inside.filter(|(t, y)| *y - line.at(**t) > 0.5 * m.height).count();
    // What is above a level is above all lower ones: each walk goes on where the one before ended.
    let mut walked = [apex; 2];
    m.half = crossings(s, apex, [start, end], &mut walked, shape, 0.5 * m.height, line, m.time);
    m.tenth = crossings(s, apex, [start, end], &mut walked, shape, 0.1 * m.height, line, m.time);
    m.twentieth = crossings(s, apex, [start, end], &mut walked, shape, 0.05 * m.height, line, m.time);
    m
}

#[derive(Clone, Copy, Debug)]
struct Shape {
    /// Width at half height in points.
    wide: f64,
    /// How far the polynomials reach, 1 for as far as noise asks for.
    reach: f64,
}

/// How far polynomials reach: the bias of a quartic's maximum grows as the fourth power of its reach, noise falls as
/// its power 3/2; for a tail of τ/σ = 1.5 both are equal at a quarter of the width where height/sd is 1,000.
pub(super) fn reach_for(height_over_sd: f64) -> f64 {
    libm::pow(500.0 / height_over_sd.max(500.0), 1.0 / 5.5)
}

/// Time and height of the apex, from a polynomial through the top.
#[allow(clippy::too_many_arguments)]
fn top(s: &Signal<'_>, apex: usize, start: usize, end: usize, shape: Shape, first: f64, line: &Line, m: &mut Measures) {
    let sd = s.noise.sd_at(apex);
    let reach = ((0.25 * shape.reach * shape.wide).round() as usize).max(if shape.wide < 8.0 { 1 } else { 2 });
    for reach in [reach, 2 * reach] {
        let (a, b) = (apex.saturating_sub(reach).max(start), (apex + reach).min(end) + 1);
        if b - a < 3 {
            return;
        }
        // A quartic needs points or little noise; in much noise it finds a top of its own.
        let quartic = (b - a >= 7 && first > 20.0 * sd) || (b - a >= 5 && first > 300.0 * sd);
        let degree = if quartic { 4 } else { 2 };
        let values: Vec<f64> = (a..b).map(|i| s.signal[i] - line.at(s.time[i])).collect();
        let fit = LocalFit::new(&s.time[a..b], &values, degree);
        if let Some(fit) = fit
            && let Some((time, height)) = fit.maximum(s.time[apex])
        {
            // Between points a smooth peak rises by at most 0.7/w² of its height (Gaussian, half a point off, w points
            // at half height); a polynomial that rises much more has met a cusp, such as an overloaded peak's end.
            let highest = (0..values.len()).max_by(|&i, &j| values[i].total_cmp(&values[j])).unwrap_or(0);
            if height > values[highest] * (1.0 + 3.0 / (shape.wide * shape.wide)) + 4.0 * sd {
                (m.time, m.height) = (s.time[a + highest], values[highest]);
                return;
            }
            let weights = fit.maximum_weights(&s.time[a..b], time);
            m.time = time;
            m.height = height;
            m.time_u = Some(sd * correlated_norm(&weights, s.noise.autocorrelation));
            return;
        }
    }
}

/// Front and back of the width at a level; `None` where the peak does not come down to it between its bounds, or
/// where noise hides the level. `walked`: points before which all is above the level, moved on to its own crossings.
#[allow(clippy::too_many_arguments)]
fn crossings(
    s: &Signal<'_>,
    apex: usize,
    ends: [usize; 2],
    walked: &mut [usize; 2],
    shape: Shape,
    level: f64,
    line: &Line,
    time: f64,
) -> Option<Width> {
    let wide = shape.wide;
    let reach = ((0.1 * shape.reach * wide).round() as usize).max(1);
    let sd = BoxNoise::new(2 * reach + 1, s.noise.autocorrelation).mean * s.noise.sd_at(apex);
    if level < 2.0 * sd {
        return None;
    }
    let smooth = if wide < 8.0 { 0 } else { reach };
    let above = |i: usize| s.sums.about(i, smooth.min(i.abs_diff(apex))) - line.at(s.time[i]);
    let mut side = |k: usize| -> Option<f64> {
        let (limit, forward) = (ends[k], k == 1);
        let mut at = walked[k];
        while at == apex || above(at) >= level {
            if at == limit {
                walked[k] = limit;
                return None;
            }
            at = if forward { at + 1 } else { at - 1 };
        }
        walked[k] = at;
        cross(s, at, if forward { at - 1 } else { at + 1 }, reach, wide, level, line)
    };
    let (front, back) = (time - side(0)?, side(1)? - time);
    (front > 0.0 && back > 0.0).then_some(Width { front, back })
}

/// Where a local cubic passes `level` near the points `outer` (below it) and `inner` (above).
fn cross(s: &Signal<'_>, outer: usize, inner: usize, reach: usize, wide: f64, level: f64, line: &Line) -> Option<f64> {
    let (low, high) = (outer.min(inner), outer.max(inner));
    let n = s.time.len();
    // Few points: the cubic through the four nearest. Many: a least-squares cubic.
    let spread = if wide < 8.0 { 1 } else { reach };
    let (a, b) = (low.saturating_sub(spread), (high + spread + 1).min(n));
    let values: Vec<f64> = (a..b).map(|i| s.signal[i] - line.at(s.time[i])).collect();
    let near = |k: usize| (low.saturating_sub(k).max(a), (high + k).min(b - 1));
    if let Some(fit) = LocalFit::new(&s.time[a..b], &values, 3.min(b - a - 1)) {
        for k in 0..=spread {
            let (from, to) = near(k);
            if let Some(t) = fit.crossing(s.time[from], s.time[to], level) {
                return Some(t);
            }
        }
    }
    let (y_low, y_high) = (values[low - a], values[high - a]);
    if (y_low > level) == (y_high > level) {
        return Some(0.5 * (s.time[low] + s.time[high]));
    }
    Some(s.time[low] + (s.time[high] - s.time[low]) * (level - y_low) / (y_high - y_low))
}
