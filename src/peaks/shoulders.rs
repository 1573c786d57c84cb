//! Shoulders: a component that bends the flank of a peak without a maximum of its own.

use crate::peaks::detect::highest;
use crate::peaks::sums::{BoxNoise, Sums};
use crate::signal::NoiseProfile;

/// The nearest to the apex that a shoulder is looked for, in half-height widths.
const NEAREST: f64 = 0.6;
/// The least bend, as a share of the peak's height: less is how a real peak's shape differs from any other's.
const LEAST_SHARE: f64 = 0.01;

/// Indices of shoulders between the points `start` and `end` of a peak.
///
/// The flanks of one component are concave about the apex alone; a second concave stretch is a second component. The
/// bend C - (L + R)/2 of the means of three neighbouring boxes, each a third of the half-height width, must have a
/// maximum of at least `threshold_z` standard deviations and 1 % of the height, which stands as clearly above the least
/// bend on the way to the apex; that must be below half of it.
pub(super) fn shoulders(
    sums: &Sums,
    noise: &NoiseProfile,
    threshold_z: f64,
    apex: usize,
    bounds: (usize, usize),
    width: f64,
    height: f64,
) -> Vec<usize> {
    let (start, end) = bounds;
    let w = ((width / 3.0).round() as usize).max(2);
    let noise_of_bend = BoxNoise::new(w, noise.autocorrelation).curvature * noise.sd_at(apex);
    let least = (threshold_z * noise_of_bend).max(LEAST_SHARE * height);
    // About the middle of the middle box.
    let bend = |i: usize| {
        let s = i - w / 2;
        sums.mean(s, s + w) - 0.5 * (sums.mean(s - w, s) + sums.mean(s + w, s + 2 * w))
    };
    let (first, last) = (start + w + w / 2, (end + 1 + w / 2).saturating_sub(2 * w));
    let away = (NEAREST * width).ceil() as usize;
    let stride = (w / 8).max(1);
    let sides = [
        (first..apex.saturating_sub(away).max(first).min(last), true),
        ((apex + away).max(first)..last.max(first), false),
    ];
    let mut found = Vec::new();
    for (side, is_front) in sides {
        if side.is_empty() || first > apex || apex > last {
            continue;
        }
        let Some((at, top)) = highest(side.clone().step_by(stride), bend) else { continue };
        // A maximum at the end of its range is a flank of the apex's own bend.
        let is_inside = at >= side.start + stride && at + stride < side.end;
        let between = if is_front { at..apex } else { apex..at };
        let lowest = between.step_by(stride).map(bend).fold(f64::INFINITY, f64::min);
        if is_inside && top > least && top - lowest > least && lowest < 0.5 * top {
            found.push(at);
        }
    }
    found
}
