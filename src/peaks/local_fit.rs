//! A polynomial through a few neighbouring points: values between samples.

/// A polynomial in x = (t - centre)/scale, fitted by least squares.
#[derive(Clone, Debug)]
pub(super) struct LocalFit {
    coefficients: [f64; TERMS],
    terms: usize,
    /// Lower triangle of the Cholesky factor of the normal matrix.
    factor: [[f64; TERMS]; TERMS],
    centre: f64,
    scale: f64,
}

/// Degree 4 at most.
const TERMS: usize = 5;

impl LocalFit {
    /// Fits degree `degree` (at most 4) to times and values; `None` where the points do not determine it.
    ///
    /// The abscissa runs from about -1 to 1, where the normal matrix of a quartic has a condition of 1e4: twelve
    /// digits remain, and the values are known to fewer.
    pub(super) fn new(times: &[f64], values: &[f64], degree: usize) -> Option<Self> {
        let (n, terms) = (times.len().min(values.len()), degree.min(TERMS - 1) + 1);
        if n < terms {
            return None;
        }
        let centre = 0.5 * (times[0] + times[n - 1]);
        let scale = 0.5 * (times[n - 1] - times[0]);
        if scale <= 0.0 {
            return None;
        }
        let offset = values[n / 2];
        let (mut powers, mut right) = ([0.0; 2 * TERMS], [0.0; TERMS]);
        for (t, y) in times[..n].iter().zip(values) {
            let x = (t - centre) / scale;
            let mut power = 1.0;
            for k in 0..2 * terms - 1 {
                powers[k] += power;
                if k < terms {
                    right[k] += power * (y - offset);
                }
                power *= x;
            }
        }
        let mut factor = [[0.0; TERMS]; TERMS];
        for i in 0..terms {
            for j in 0..=i {
                let known: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                let rest = powers[i + j] - known;
                if i == j {
                    if rest <= 1e-14 * powers[2 * i] {
                        return None;
                    }
                    factor[i][i] = rest.sqrt();
                } else {
                    factor[i][j] = rest / factor[j][j];
                }
            }
        }
        let mut fit = LocalFit { coefficients: [0.0; TERMS], terms, factor, centre, scale };
        fit.coefficients = fit.solve(right);
        fit.coefficients[0] += offset;
        Some(fit)
    }

    fn solve(&self, mut b: [f64; TERMS]) -> [f64; TERMS] {
        let (f, n) = (&self.factor, self.terms);
        for i in 0..n {
            let known: f64 = (0..i).map(|k| f[i][k] * b[k]).sum();
            b[i] = (b[i] - known) / f[i][i];
        }
        for i in (0..n).rev() {
            let known: f64 = (i + 1..n).map(|k| f[k][i] * b[k]).sum();
            b[i] = (b[i] - known) / f[i][i];
        }
        b
    }

    /// Value, first and second derivative in x.
    fn at(&self, x: f64) -> [f64; 3] {
        let mut v = [0.0; 3];
        for &c in self.coefficients[..self.terms].iter().rev() {
            v[2] = v[2] * x + 2.0 * v[1];
            v[1] = v[1] * x + v[0];
            v[0] = v[0] * x + c;
        }
        v
    }

    /// Value and slope at a time.
    pub(super) fn value_and_slope(&self, time: f64) -> (f64, f64) {
        let [value, slope, _] = self.at((time - self.centre) / self.scale);
        (value, slope / self.scale)
    }

    /// Time and value of the maximum nearest to `near`, inside the points; `None` if there is none.
    pub(super) fn maximum(&self, near: f64) -> Option<(f64, f64)> {
        let mut x = ((near - self.centre) / self.scale).clamp(-1.0, 1.0);
        for _ in 0..30 {
            let [_, slope, bend] = self.at(x);
            if bend >= 0.0 {
                return None;
            }
            let step = (slope / bend).clamp(-0.5, 0.5);
            x -= step;
            if x.abs() > 1.0 {
                return None;
            }
            if step.abs() < 1e-12 {
                return Some((self.centre + x * self.scale, self.at(x)[0]));
            }
        }
        None
    }

    /// How each value moves the time of the maximum at `time`: dt/dyᵢ.
    pub(super) fn maximum_weights(&self, times: &[f64], time: f64) -> Vec<f64> {
        let x = (time - self.centre) / self.scale;
        let mut slope = [0.0; TERMS];
        for (k, s) in slope.iter_mut().enumerate().take(self.terms).skip(1) {
            *s = k as f64 * x.powi(k as i32 - 1);
        }
        let v = self.solve(slope);
        let per_slope = -self.scale / self.at(x)[2];
        times
            .iter()
            .map(|t| {
                let x = (t - self.centre) / self.scale;
                per_slope * v[..self.terms].iter().rev().fold(0.0, |sum, v| sum * x + v)
            })
            .collect()
    }

    /// The time between `from` and `to` at which the polynomial passes `level`, by Newton's steps inside a bracket;
    /// `None` where it lies on the same side at both ends.
    pub(super) fn crossing(&self, from: f64, to: f64, level: f64) -> Option<f64> {
        let at = |t: f64| (t - self.centre) / self.scale;
        let (mut a, mut b) = (at(from), at(to));
        let side = self.at(a)[0] > level;
        if side == (self.at(b)[0] > level) {
            return None;
        }
        let mut x = 0.5 * (a + b);
        for _ in 0..60 {
            let [value, slope, _] = self.at(x);
            if (value > level) == side {
                a = x;
            } else {
                b = x;
            }
            let step = (value - level) / slope;
            let next = x - step;
            // Outside the bracket (or nowhere, where the slope is 0) its middle is taken.
            let inside = next > a.min(b) && next < a.max(b);
            let moved = if inside { next } else { 0.5 * (a + b) };
            let done = (moved - x).abs() <= 1e-15 * (1.0 + x.abs());
            x = moved;
            if done {
                break;
            }
        }
        Some(self.centre + x * self.scale)
    }
}

#[cfg(test)]
mod tests {
    use super::LocalFit;

    #[test]
    fn a_quartic_is_recovered_with_its_maximum_and_crossings() {
        let times: Vec<f64> = (0..9).map(|i| 5.0 + 0.01 * f64::from(i)).collect();
        let f = |t: f64| 3.0 - 400.0 * (t - 5.04) * (t - 5.04) - 2e4 * (t - 5.04).powi(4);
        let values: Vec<f64> = times.iter().map(|&t| f(t)).collect();
        let fit = LocalFit::new(&times, &values, 4).expect("determined");
        let (time, height) = fit.maximum(5.05).expect("a maximum");
        assert!((time - 5.04).abs() < 1e-10 && (height - 3.0).abs() < 1e-10);
        let crossing = fit.crossing(5.0, 5.04, 2.5).expect("a crossing");
        assert!((f(crossing) - 2.5).abs() < 1e-9);
        assert_eq!(fit.crossing(5.0, 5.04, 9.0), None);
        assert!(LocalFit::new(&times[..4], &values[..4], 4).is_none());
    }

    #[test]
    fn weights_of_the_maximum_are_its_derivatives() {
        let times: Vec<f64> = (0..9).map(|i| 0.1 * f64::from(i)).collect();
        let mut values: Vec<f64> = times.iter().map(|t| 1.0 - (t - 0.37) * (t - 0.37)).collect();
        let fit = LocalFit::new(&times, &values, 2).expect("determined");
        let (time, _) = fit.maximum(0.4).expect("a maximum");
        let weights = fit.maximum_weights(&times, time);
        for i in 0..9 {
            values[i] += 1e-7;
            let (moved, _) = LocalFit::new(&times, &values, 2).expect("determined").maximum(0.4).expect("a maximum");
            values[i] -= 1e-7;
            assert!(((moved - time) / 1e-7 - weights[i]).abs() < 1e-4 * weights[0].abs());
        }
    }
}
