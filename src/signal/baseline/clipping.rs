//! Baselines by clipping: what stands above the middle of its neighbours is cut off, again and again.

use super::blocks::{Blocks, interpolate, middle_of_the_noise};
use crate::signal::noise::NoiseProfile;

/// Iterative clipping, point by point: v(i) ← min(v(i), (v(i - p) + v(i + p))/2) for p from `half_width` down to 1.
///
/// The statistics-sensitive non-linear iterative peak-clipping of C. G. Ryan, E. Clayton, W. L. Griffin, S. H. Sie and
/// D. R. Cousens, Nuclear Instruments and Methods in Physics Research B 34 (1988) 396-402, with the decreasing window of
/// M. Morháč, J. Kliman, V. Matoušek, M. Veselský and I. Turzo, Nuclear Instruments and Methods A 401 (1997) 113-132;
/// without compression of the scale. Anything narrower than 2 `half_width` at its base is cut off; the line runs along
/// the lower edge of the noise, and the outermost points stay as they are. Cost: points × half width; [`run_baseline`]
/// does the same on blocks.
///
/// ```
/// use vialbook::signal::baseline::clip_iteratively;
/// assert_eq!(clip_iteratively(&[1.0, 1.0, 5.0, 1.0, 1.0], 2), [1.0; 5]);
/// ```
pub fn clip_iteratively(signal: &[f64], half_width: usize) -> Vec<f64> {
    let n = signal.len();
    let mut clipped = signal.to_vec();
    let mut next = clipped.clone();
    for p in (1..=half_width).rev() {
        for i in p..n.saturating_sub(p) {
            next[i] = clipped[i].min(0.5 * (clipped[i - p] + clipped[i + p]));
        }
        clipped.copy_from_slice(&next);
    }
    clipped
}

/// The line below all peaks of a run by iterative clipping of blocks.
///
/// Medians of blocks (about 500 over the run) are clipped as in [`clip_iteratively`] with a window that shrinks from
/// `half_width` points to one block. Departures: blocks instead of points; since clipping runs along the lower edge of
/// the noise, blocks that stayed within 5 standard deviations of the clipped line keep their own values, averaged over
/// five; and the whole is done five times on what is left above the line, because clipping cuts the corners of a bent
/// drift.
///
/// Dips (negative peaks) wider than a block pull the line down.
pub fn run_baseline(signal: &[f64], half_width: usize, noise: &NoiseProfile) -> Vec<f64> {
    let n = signal.len();
    let blocks = Blocks::medians(signal, n.div_ceil(NODES));
    let count = blocks.level.len();
    let widest = (half_width / blocks.size).clamp(1, count.saturating_sub(1).max(1) / 2 + 1);
    let near = near(noise, blocks.size);
    // Clipping cuts the corners of a bent drift; what is left above the line is bent less each time.
    let mut line = vec![0.0; count];
    for _ in 0..PASSES {
        let rest: Vec<f64> = blocks.level.iter().zip(&line).map(|(y, b)| y - b).collect();
        let nodes = middle_of_the_noise(&blocks, &rest, clip_iteratively(&rest, widest), near);
        for (b, more) in line.iter_mut().zip(interpolate(&nodes, blocks.centre.iter().copied())) {
            *b += more;
        }
    }
    let nodes: Vec<(f64, f64)> = blocks.centre.iter().copied().zip(line).collect();
    interpolate(&nodes, (0..n).map(|i| i as f64))
}

/// Five standard deviations of a block's median: 1.25 σ/√n, more for correlated noise.
pub(super) fn near(noise: &NoiseProfile, block: usize) -> f64 {
    let phi = noise.autocorrelation;
    5.0 * 1.25 * noise.sd * ((1.0 + phi) / (1.0 - phi) / block as f64).sqrt()
}

/// Blocks over a run.
const NODES: usize = 512;
/// Times that clipping is repeated on what is left.
const PASSES: usize = 5;
