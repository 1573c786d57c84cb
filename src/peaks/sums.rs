//! Averages over stretches of a signal, and their noise.

/// Sums over any stretch of a signal in two look-ups.
pub(super) struct Sums {
    /// Running sum of (y - y₀), one longer than the signal.
    sums: Vec<f64>,
    offset: f64,
}

impl Sums {
    pub(super) fn new(signal: &[f64]) -> Self {
        let offset = signal.first().copied().unwrap_or(0.0);
        let mut sums = vec![0.0; signal.len() + 1];
        let mut sum = 0.0;
        // Four at a time, so that the processor need not wait for one sum before it begins the next.
        let whole = signal.len() / 4 * 4;
        for (y, to) in signal.chunks_exact(4).zip(sums[1..].chunks_exact_mut(4)) {
            let d = [y[0] - offset, y[1] - offset, y[2] - offset, y[3] - offset];
            let (first, second) = (d[0] + d[1], d[2] + d[3]);
            to[0] = sum + d[0];
            to[1] = sum + first;
            to[2] = sum + (first + d[2]);
            sum += first + second;
            to[3] = sum;
        }
        for (y, to) in signal[whole..].iter().zip(&mut sums[whole + 1..]) {
            sum += y - offset;
            *to = sum;
        }
        Sums { sums, offset }
    }

    /// The running sum of (y - y₀), one longer than the signal.
    pub(super) fn running(&self) -> &[f64] {
        &self.sums
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

/// Standard deviations of box averages over w points, for unit noise with correlation φ^k.
pub(super) struct BoxNoise {
    /// Of C - (L + R)/2.
    pub(super) curvature: f64,
    /// Of C - L.
    pub(super) drop: f64,
    /// Of C.
    pub(super) mean: f64,
}

impl BoxNoise {
    /// All of them larger by a factor.
    pub(super) fn times(self, factor: f64) -> Self {
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
