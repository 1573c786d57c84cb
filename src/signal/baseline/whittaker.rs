//! Baselines by penalised least squares: a line that is stiff, and that the points pull at with unequal weights.
//!
//! All minimise Σ wᵢ (yᵢ - zᵢ)² + λ Σ (zᵢ₋₁ - 2 zᵢ + zᵢ₊₁)² over z: E. T. Whittaker, Proceedings of the Edinburgh
//! Mathematical Society 41 (1923) 63-75; P. H. C. Eilers, Analytical Chemistry 75 (2003) 3631-3636. They differ in how
//! the weights w follow from the line before. The system W + λ DᵀD has five diagonals; its LDLᵀ factors take 15 products
//! a point, so that cost is proportional to the points.
//!
//! **Stiffness.** With equal weights a wave of ω radians a point passes as 1/(1 + λ (2 - 2 cos ω)²), so λ = (P/2π)⁴
//! halves waves with a period of P points. Peaks must be well narrower than P, drift well slower.

/// Weights below this count as this, so that a stretch without any point of the baseline is bridged.
const LEAST_WEIGHT: f64 = 1e-9;
/// A re-weighted fit ends when the weights (airPLS: the points below the line) change by less than this share.
const TOLERANCE: f64 = 1e-3;
/// Fits at most.
const ROUNDS: usize = 50;

/// λ that halves waves with a period of so many points.
pub fn stiffness_for(period_points: f64) -> f64 {
    (period_points / (2.0 * std::f64::consts::PI)).powi(4)
}

/// A fitted line with what is known about the way there.
#[derive(Clone, Debug, PartialEq)]
pub struct PenalisedFit {
    /// The line, a value per point.
    pub line: Vec<f64>,
    /// The last weights.
    pub weights: Vec<f64>,
    /// Number of fits.
    pub rounds: usize,
    /// False where 50 fits were not enough.
    pub converged: bool,
}

/// The smooth line z that minimises Σ wᵢ (yᵢ - zᵢ)² + λ Σ (zᵢ₋₁ - 2 zᵢ + zᵢ₊₁)².
///
/// `signal` and `weights` are of one length. Weights below 1e-9 count as 1e-9. The line is right to about 16 λ ε (ε =
/// 2e-16) of the signal's range; keep λ below 1e9.
///
/// ```
/// use vialbook::signal::baseline::whittaker_smooth;
/// let line = whittaker_smooth(&[1.0, 2.0, 3.0, 4.0], &[1.0; 4], 100.0);
/// assert!((line[2] - 3.0).abs() < 1e-12); // a straight line has no bend to pay for
/// ```
pub fn whittaker_smooth(signal: &[f64], weights: &[f64], stiffness: f64) -> Vec<f64> {
    let mut system = System::new(signal.len().min(weights.len()), stiffness);
    system.solve(signal, weights);
    system.line
}

/// Asymmetric least squares: points above the line weigh `share`, points below it 1 - `share`.
///
/// P. H. C. Eilers, Analytical Chemistry 76 (2004) 404-411. With a share of 0.5 a plain smooth line; at 0.01 the line
/// runs along the lower edge of the noise, about 2 standard deviations below its middle (white noise), and still rises by
/// about a hundredth of a peak's mean height over the period: use it where a run is crowded with peaks of like size and the
/// noise is small beside them, else [`arpls`].
pub fn asymmetric_least_squares(signal: &[f64], stiffness: f64, share: f64) -> PenalisedFit {
    reweighted(signal, stiffness, |_, line, weights| {
        for ((w, y), z) in weights.iter_mut().zip(signal).zip(line) {
            *w = if y > z { share } else { 1.0 - share };
        }
        true
    })
}

/// arPLS: the weight falls as a logistic curve from 1 below the line to 0 well above it, at a place that the scatter
/// of the points below the line sets.
///
/// wᵢ = 1/(1 + exp(2 (dᵢ - (2s - m))/s)) for d = y - z > 0, m and s the mean and the standard deviation of the negative
/// d: the line runs through the middle of the noise. S.-J. Baek, A. Park, Y.-J. Ahn, J. Choo, Analyst 140 (2015) 250-257.
/// As in its common form the logistic curve is used on both sides of the line.
pub fn arpls(signal: &[f64], stiffness: f64) -> PenalisedFit {
    reweighted(signal, stiffness, |_, line, weights| {
        let below = || signal.iter().zip(line).map(|(y, z)| y - z).filter(|d| *d < 0.0);
        let count = below().count() as f64;
        if count < 2.0 {
            return false;
        }
        let mean = below().sum::<f64>() / count;
        let sd = (below().map(|d| (d - mean) * (d - mean)).sum::<f64>() / (count - 1.0)).sqrt().max(f64::MIN_POSITIVE);
        for ((w, y), z) in weights.iter_mut().zip(signal).zip(line) {
            let x = 2.0 * ((y - z) - (2.0 * sd - mean)) / sd;
            *w = 1.0 / (1.0 + libm::exp(x.min(700.0)));
        }
        true
    })
}

/// airPLS: points above the line weigh nothing, points below it exp(t |dᵢ|/Σ|d⁻|) in round t.
///
/// Ends when the points below the line sum to less than a thousandth of the signal. Z.-M. Zhang, S. Chen, Y.-Z. Liang,
/// Analyst 135 (2010) 1138-1146, with the sign of its equation 9 as its authors' program has it. Runs near the lower edge
/// of the noise.
pub fn airpls(signal: &[f64], stiffness: f64) -> PenalisedFit {
    let n = signal.len();
    let size: f64 = signal.iter().map(|y| y.abs()).sum();
    let mut system = System::new(n, stiffness);
    let mut weights = vec![1.0; n];
    for round in 1..=ROUNDS + 1 {
        system.solve(signal, &weights);
        let below: f64 = signal.iter().zip(&system.line).map(|(y, z)| (y - z).min(0.0)).sum();
        if below.abs() <= TOLERANCE * size {
            return PenalisedFit { line: system.line, weights, rounds: round, converged: true };
        }
        let per = round.min(50) as f64 / below;
        for ((w, y), z) in weights.iter_mut().zip(signal).zip(&system.line) {
            *w = if y < z { libm::exp((per * (y - z)).min(700.0)) } else { 0.0 };
        }
    }
    PenalisedFit { line: system.line, weights, rounds: ROUNDS + 1, converged: false }
}

/// Fits, asks for new weights from (round, line), and ends when they change little; `false` ends at once.
fn reweighted(
    signal: &[f64],
    stiffness: f64,
    mut reweight: impl FnMut(usize, &[f64], &mut [f64]) -> bool,
) -> PenalisedFit {
    let n = signal.len();
    let mut system = System::new(n, stiffness);
    let (mut weights, mut next) = (vec![1.0; n], vec![1.0; n]);
    for round in 0..=ROUNDS {
        system.solve(signal, &weights);
        let goes_on = reweight(round, &system.line, &mut next);
        let (mut change, mut size) = (0.0, 0.0);
        for (old, new) in weights.iter().zip(&next) {
            change += (new - old) * (new - old);
            size += old * old;
        }
        if !goes_on || change.sqrt() < TOLERANCE * size.sqrt() {
            return PenalisedFit { line: system.line, weights, rounds: round + 1, converged: true };
        }
        std::mem::swap(&mut weights, &mut next);
    }
    PenalisedFit { line: system.line, weights, rounds: ROUNDS + 1, converged: false }
}

/// W + λ DᵀD with its factors; D takes second differences.
struct System {
    stiffness: f64,
    /// Diagonal and first side diagonal of DᵀD; the second side diagonal is 1.
    penalty: Vec<[f64; 2]>,
    /// Pivots and the two columns below them.
    factors: Vec<[f64; 3]>,
    line: Vec<f64>,
}

impl System {
    fn new(n: usize, stiffness: f64) -> Self {
        let mut penalty = vec![[0.0; 2]; n];
        for i in 0..n.saturating_sub(2) {
            for (k, (own, side)) in [(1.0, -2.0), (4.0, -2.0), (1.0, 0.0)].into_iter().enumerate() {
                penalty[i + k][0] += own;
                penalty[i + k][1] += side;
            }
        }
        System { stiffness, penalty, factors: vec![[1.0, 0.0, 0.0]; n], line: vec![0.0; n] }
    }

    /// LDLᵀ and both substitutions; the line is left in `self.line`.
    fn solve(&mut self, signal: &[f64], weights: &[f64]) {
        let n = self.line.len();
        // The factors of the two points before, newest first.
        let (mut a, mut b) = ([1.0, 0.0, 0.0], [1.0, 0.0, 0.0]);
        let (mut za, mut zb) = (0.0, 0.0);
        for i in 0..n {
            let w = weights[i].max(LEAST_WEIGHT);
            let [own, side] = self.penalty[i];
            let far = if i + 2 < n { self.stiffness } else { 0.0 };
            let pivot = w + self.stiffness * own - a[0] * a[1] * a[1] - b[0] * b[2] * b[2];
            let pivot = pivot.max(LEAST_WEIGHT * 1e-3);
            let here = [pivot, (self.stiffness * side - a[0] * a[1] * a[2]) / pivot, far / pivot];
            let z = w * signal[i] - a[1] * za - b[2] * zb;
            self.factors[i] = here;
            self.line[i] = z;
            (b, a, zb, za) = (a, here, za, z);
        }
        let (mut one, mut two) = (0.0, 0.0);
        for i in (0..n).rev() {
            let [pivot, c, e] = self.factors[i];
            let z = self.line[i] / pivot - c * one - e * two;
            self.line[i] = z;
            (two, one) = (one, z);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{stiffness_for, whittaker_smooth};
    use crate::numeric::{Matrix, fit_linear};

    /// The slow obvious way: the penalty as rows of a dense least-squares problem.
    #[test]
    fn five_diagonals_give_what_a_dense_solve_gives() {
        for n in [1, 2, 3, 4, 12] {
            let y: Vec<f64> = (0..n).map(|i| ((i * 7) % 5) as f64).collect();
            let w: Vec<f64> = (0..n).map(|i| 0.2 + ((i * 3) % 4) as f64).collect();
            let bends = usize::saturating_sub(n, 2);
            let rows = Matrix::from_fn(n + bends, n, |r, c| match r.checked_sub(n) {
                None => f64::from(u8::from(r == c)),
                Some(k) => [1.0, -2.0, 1.0].get(c.wrapping_sub(k)).copied().unwrap_or(0.0),
            });
            let right: Vec<f64> = y.iter().copied().chain(std::iter::repeat_n(0.0, bends)).collect();
            let weights: Vec<f64> = w.iter().copied().chain(std::iter::repeat_n(30.0, bends)).collect();
            let dense = if bends > 0 {
                fit_linear(&rows, &right, Some(&weights)).expect("determined").coefficients
            } else {
                y.clone()
            };
            for (got, want) in whittaker_smooth(&y, &w, 30.0).iter().zip(&dense) {
                assert!((got - want).abs() < 1e-9, "{n} points: {got} for {want}");
            }
        }
    }

    #[test]
    fn a_wave_of_the_stated_period_passes_at_half_its_height() {
        let wave: Vec<f64> = (0..4000).map(|i| libm::sin(2.0 * std::f64::consts::PI * f64::from(i) / 100.0)).collect();
        let line = whittaker_smooth(&wave, &vec![1.0; 4000], stiffness_for(100.0));
        let highest = line[1000..3000].iter().copied().fold(0.0, f64::max);
        assert!((highest - 0.5).abs() < 1e-3, "{highest}");
    }
}
