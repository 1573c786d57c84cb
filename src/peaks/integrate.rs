//! Area above a straight baseline, with its uncertainty.

use std::ops::Range;

use crate::signal::noise::correlated_norm;

/// A straight baseline through two mean points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    from: (f64, f64),
    to: (f64, f64),
    level: f64,
    slope: f64,
}

impl Line {
    /// Zero everywhere.
    pub(super) fn zero() -> Self {
        Line::through((0.0, 0.0), (1.0, 0.0))
    }

    /// Through the means of two stretches of points, the first before the second.
    pub(super) fn new(time: &[f64], signal: &[f64], before: &Range<usize>, after: &Range<usize>) -> Self {
        let mean = |x: &[f64], r: &Range<usize>| x[r.clone()].iter().sum::<f64>() / r.len() as f64;
        Line::through((mean(time, before), mean(signal, before)), (mean(time, after), mean(signal, after)))
    }

    /// Through two points (time, level); level everywhere where both are one.
    fn through(from: (f64, f64), to: (f64, f64)) -> Self {
        let (level, slope) =
            if to.0 > from.0 { (from.1, (to.1 - from.1) / (to.0 - from.0)) } else { (0.5 * (from.1 + to.1), 0.0) };
        Line { from, to, level, slope }
    }

    /// Level at a time.
    #[inline]
    pub(super) fn at(&self, t: f64) -> f64 {
        self.level + self.slope * (t - self.from.0)
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
    trapezoid(&time[start..=end], &mut weights[start - from..=end - from]);
    let inside = time[start..=end].iter().zip(&signal[start..=end]).zip(&weights[start - from..]);
    let mut lanes = [0.0; 4];
    inside.enumerate().for_each(|(i, ((t, y), c))| lanes[i % 4] += c * (y - line.at(*t)));
    let value = lanes.into_iter().sum();
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

/// Weights of the trapezoid rule: half the time from the point before to the point after.
fn trapezoid(time: &[f64], weights: &mut [f64]) {
    let n = time.len();
    if n < 2 {
        return;
    }
    for (w, t) in weights[1..].iter_mut().zip(time.windows(3)) {
        *w = 0.5 * (t[2] - t[0]);
    }
    weights[0] = 0.5 * (time[1] - time[0]);
    weights[n - 1] = 0.5 * (time[n - 1] - time[n - 2]);
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
    trapezoid(&time[start..=end], &mut weights);
    let value = weights.iter().zip(&signal[start..=end]).map(|(c, y)| c * y).sum();
    let random = noise.sd * correlated_norm(&weights, noise.autocorrelation);
    let shared = (time[end] - time[start]) * level_u.hypot(noise.step / 12_f64.sqrt());
    Area { value, u: random.hypot(shared) }
}
