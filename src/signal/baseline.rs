//! Baselines: the straight line below one peak, and one line below a whole run to look at.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::signal::noise::NoiseProfile;
use crate::trace::Trace;

/// The straight line through two points (time, signal), at `time_min`.
#[inline]
pub fn straight_line(from: (f64, f64), to: (f64, f64), time_min: f64) -> f64 {
    if to.0 == from.0 {
        return 0.5 * (from.1 + to.1);
    }
    from.1 + (to.1 - from.1) * ((time_min - from.0) / (to.0 - from.0))
}

/// Options of the whole-run baseline.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Baseline {
    /// Half the width at the base, in minutes, of what counts as a peak: anything narrower is cut off, anything
    /// wider is baseline. Default: a twentieth of the run.
    pub half_width_min: Option<f64>,
}

/// The line below all peaks of a run, for drawing and looking; areas rest on a straight line below each peak.
///
/// Medians of blocks (about 500 over the run) are clipped with a window that shrinks from `half_width` points to
/// one block: v(i) ← min(v(i), (v(i - p) + v(i + p))/2) - the statistics-sensitive non-linear iterative
/// peak-clipping of C. G. Ryan, E. Clayton, W. L. Griffin, S. H. Sie and D. R. Cousens, Nuclear Instruments and
/// Methods in Physics Research B 34 (1988) 396-402, with the decreasing window of M. Morháč, J. Kliman, V. Matoušek,
/// M. Veselský and I. Turzo, Nuclear Instruments and Methods A 401 (1997) 113-132. Departures: blocks instead of
/// points, no compression of the scale; and since clipping runs along the lower edge of the noise, blocks that
/// stayed within 5 standard deviations of the clipped line keep their own values, averaged over five; and the
/// whole is done five times on what is left above the line, because clipping cuts the corners of a bent drift.
///
/// Dips (negative peaks) wider than a block pull the line down.
pub fn run_baseline(signal: &[f64], half_width: usize, noise: &NoiseProfile) -> Vec<f64> {
    let n = signal.len();
    let block = n.div_ceil(NODES).max(1);
    let count = n.div_ceil(block);
    let mut buffer = Vec::with_capacity(block);
    let (mut centre, mut level) = (Vec::with_capacity(count), Vec::with_capacity(count));
    for part in 0..count {
        let (a, b) = (part * block, ((part + 1) * block).min(n));
        buffer.clear();
        buffer.extend_from_slice(&signal[a..b]);
        let middle = (b - a) / 2;
        level.push(*buffer.select_nth_unstable_by(middle, f64::total_cmp).1);
        centre.push(0.5 * (a + b - 1) as f64);
    }
    let widest = (half_width / block).clamp(1, count.saturating_sub(1).max(1) / 2 + 1);
    // Standard deviation of a block's median: 1.25 σ/√n, more for correlated noise.
    let phi = noise.autocorrelation;
    let near = 5.0 * 1.25 * noise.sd * ((1.0 + phi) / (1.0 - phi) / block as f64).sqrt();
    // Clipping cuts the corners of a bent drift; what is left above the line is bent less each time.
    let mut line = vec![0.0; count];
    for _ in 0..PASSES {
        let rest: Vec<f64> = level.iter().zip(&line).map(|(y, b)| y - b).collect();
        for (b, more) in line.iter_mut().zip(interpolate(&clip(&centre, &rest, widest, near), &centre)) {
            *b += more;
        }
    }
    let nodes: Vec<(f64, f64)> = centre.iter().copied().zip(line).collect();
    let all: Vec<f64> = (0..n).map(|i| i as f64).collect();
    interpolate(&nodes, &all)
}

/// Baseline nodes: the clipped line's neighbours, averaged, or the clipped line itself where there are too few.
fn clip(centre: &[f64], level: &[f64], widest: usize, near: f64) -> Vec<(f64, f64)> {
    let count = level.len();
    let mut clipped = level.to_vec();
    let mut next = level.to_vec();
    for p in (1..=widest).rev() {
        for i in p..count.saturating_sub(p) {
            next[i] = clipped[i].min(0.5 * (clipped[i - p] + clipped[i + p]));
        }
        clipped.copy_from_slice(&next);
    }
    let kept: Vec<usize> = (0..count).filter(|&i| level[i] - clipped[i] <= near).collect();
    if kept.len() < 3 {
        return centre.iter().copied().zip(clipped).collect();
    }
    let is_kept = |i: usize| level[i] - clipped[i] <= near;
    kept.iter()
        .map(|&i| {
            // As many neighbours on either side, up to two: a mean across a peak would cut corners.
            let reach = (0..=2).rev().find(|&r| i >= r && i + r < count && (i - r..=i + r).all(is_kept)).unwrap_or(0);
            let mean = level[i - reach..=i + reach].iter().sum::<f64>() / (2 * reach + 1) as f64;
            (centre[i], mean)
        })
        .collect()
}

/// Blocks over a run.
const NODES: usize = 512;
/// Times that clipping is repeated on what is left.
const PASSES: usize = 5;

/// Straight lines between rising nodes (place, level), level beyond the outermost two, at rising places.
fn interpolate(nodes: &[(f64, f64)], at: &[f64]) -> Vec<f64> {
    let mut k = 0;
    at.iter()
        .map(|&x| {
            while k + 2 < nodes.len() && nodes[k + 1].0 < x {
                k += 1;
            }
            match nodes.get(k + 1) {
                Some(to) if x >= nodes[k].0 && x <= to.0 => straight_line(nodes[k], *to, x),
                Some(to) if x > to.0 => to.1,
                _ => nodes[k].1,
            }
        })
        .collect()
}

/// The baseline below a whole run.
impl Trace {
    /// The line below all peaks, as a trace of its own; for drawing and looking, see [`run_baseline`].
    ///
    /// # Errors
    /// A half width that is not positive.
    ///
    /// ```
    /// use vialbook::{Trace, shapes::Gaussian, signal::Baseline};
    /// let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 0.0025).collect();
    /// let mut signal: Vec<f64> = time.iter().map(|t| 2.0 + 0.3 * t).collect();
    /// Gaussian::new(5.0, 5.0, 0.03)?.add_to(&time, &mut signal);
    /// let baseline = Trace::new(time, signal, "mV")?.baseline(Baseline::default())?;
    /// assert!((baseline.signal()[2000] - 3.5).abs() < 0.01);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn baseline(&self, options: Baseline) -> Result<Trace> {
        let half = match options.half_width_min {
            None => self.len() as f64 / 20.0,
            Some(w) if w > 0.0 && w.is_finite() => w / self.interval_min(),
            Some(w) => {
                return Err(Error::new(
                    ErrorKind::Option,
                    format!("the half width is {w}; a positive number of minutes is wanted"),
                ));
            }
        };
        let noise = NoiseProfile::new(self.signal(), self.step());
        self.with_signal(run_baseline(self.signal(), half as usize, &noise))
    }
}
