//! Area above a straight baseline, with its uncertainty.

use std::ops::Range;

use crate::signal::noise::correlated_norm;

/// A straight baseline through two mean points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    from: (f64, f64),
    to: (f64, f64),
}

impl Line {
    /// Zero everywhere.
    pub(super) fn zero() -> Self {
        Line { from: (0.0, 0.0), to: (1.0, 0.0) }
    }

    /// Through the means of two stretches of points, the first before the second.
    pub(super) fn new(time: &[f64], signal: &[f64], before: &Range<usize>, after: &Range<usize>) -> Self {
        let mean = |x: &[f64], r: &Range<usize>| x[r.clone()].iter().sum::<f64>() / r.len() as f64;
        Line { from: (mean(time, before), mean(signal, before)), to: (mean(time, after), mean(signal, after)) }
    }

    /// Level at a time; level everywhere where both ends are one point.
    #[inline]
    pub(super) fn at(&self, t: f64) -> f64 {
        if self.to.0 > self.from.0 {
            self.from.1 + (self.to.1 - self.from.1) * ((t - self.from.0) / (self.to.0 - self.from.0))
        } else {
            0.5 * (self.from.1 + self.to.1)
        }
    }
}

/// An area and its standard uncertainty.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    pub(super) value: f64,
    pub(super) u: f64,
}

/// What the uncertainty of an area rests on.
#[derive(Clone, Copy, Debug)]
pub(super) struct AreaNoise {
    pub(super) sd: f64,
    pub(super) autocorrelation: f64,
    /// The converter's step as far as noise does not average its rounding away.
    pub(super) step: f64,
}

/// Area from point `start` to point `end` by the trapezoid rule above the line through the means of `before` and
/// `after`.
///
/// The area is a weighted sum of points, A = Σ cᵢ yᵢ: trapezoid weights inside, and minus the line's share for the
/// points that carry the baseline, T (1 - α)/n₁ and T α/n₂ with T the duration and α where its middle lies between
/// the two mean points. So the baseline's own uncertainty is in
///
/// u² = σ² Σᵢⱼ cᵢ cⱼ φ^|i - j| + (T · step/√12)²,
///
/// the second term, fully correlated, only where σ is below half a step, and less the more noise averages the rounding
/// away (see `NoiseProfile::shared_step`).
pub(super) fn area(
    time: &[f64],
    signal: &[f64],
    start: usize,
    end: usize,
    before: &Range<usize>,
    after: &Range<usize>,
    noise: AreaNoise,
) -> Area {
    let line = Line::new(time, signal, before, after);
    let (from, to) = (start.min(before.start), (end + 1).max(after.end));
    let mut weights = vec![0.0; to - from];
    let mut value = 0.0;
    let mut last = signal[start] - line.at(time[start]);
    for i in start + 1..=end {
        let here = signal[i] - line.at(time[i]);
        let half = 0.5 * (time[i] - time[i - 1]);
        value += half * (here + last);
        weights[i - 1 - from] += half;
        weights[i - from] += half;
        last = here;
    }
    let duration = time[end] - time[start];
    let alpha = if line.to.0 > line.from.0 {
        (0.5 * (time[start] + time[end]) - line.from.0) / (line.to.0 - line.from.0)
    } else {
        0.5
    };
    for (range, share) in [(before, 1.0 - alpha), (after, alpha)] {
        let each = duration * share / range.len() as f64;
        for w in &mut weights[range.start - from..range.end - from] {
            *w -= each;
        }
    }
    let random = noise.sd * correlated_norm(&weights, noise.autocorrelation);
    let shared = duration * noise.step / 12_f64.sqrt();
    Area { value, u: random.hypot(shared) }
}

/// Area from point `start` to point `end` above zero, of a signal whose baseline was taken off before; `level_u` is the
/// standard uncertainty of that baseline's level, fully correlated over the peak:
/// u² = σ² Σᵢⱼ cᵢ cⱼ φ^|i - j| + T² (u_level² + step²/12).
pub(super) fn area_above_zero(
    time: &[f64],
    signal: &[f64],
    start: usize,
    end: usize,
    level_u: f64,
    noise: AreaNoise,
) -> Area {
    let mut weights = vec![0.0; end + 1 - start];
    for i in start + 1..=end {
        let half = 0.5 * (time[i] - time[i - 1]);
        weights[i - 1 - start] += half;
        weights[i - start] += half;
    }
    let value = weights.iter().zip(&signal[start..=end]).map(|(c, y)| c * y).sum();
    let random = noise.sd * correlated_norm(&weights, noise.autocorrelation);
    let shared = (time[end] - time[start]) * level_u.hypot(noise.step / 12_f64.sqrt());
    Area { value, u: random.hypot(shared) }
}
