//! All one-to-one assignments that keep the order, summed at once.

/// How often a compound has a peak, and how dense peaks without a name are.
#[derive(Clone, Copy, Default)]
pub(super) struct Rates {
    pub(super) present: f64,
    pub(super) extra_per_s: f64,
}

impl Rates {
    /// Probability that a compound has no peak.
    pub(super) fn missing(self) -> f64 {
        1.0 - self.present
    }
}

/// Sums over assignments by forward and backward recurrences, each in (compounds × peaks) steps.
///
/// F(i, j) is the weight of all assignments of the first i compounds to the first j peaks, each counted once:
/// F(i, j) = q F(i-1, j) + Σ_{j' ≤ j} F(i-1, j'-1) w(i, j'), q the probability of no peak, w = p f/λ the odds of
/// a pair against an extra peak. L. R. Rabiner, Proceedings of the IEEE 77 (1989) 257-286, has the scheme.
#[derive(Default)]
pub(super) struct Lattice {
    rows: usize,
    columns: usize,
    rates: Rates,
    weights: Vec<f64>,
    forward: Vec<f64>,
    backward: Vec<f64>,
    /// Each row times 2^(300 × scale) is the true one.
    forward_scale: Vec<i32>,
    backward_scale: Vec<i32>,
}

/// Rows are brought back below this, 2³⁰⁰: far from overflow, exact.
const BIG: f64 = 2.037_035_976_334_486e90;

impl Lattice {
    pub(super) fn reset(&mut self, compounds: usize, peaks: usize, rates: Rates) {
        (self.rows, self.columns, self.rates) = (compounds, peaks, rates);
        self.weights.clear();
        self.weights.resize(compounds * peaks, 0.0);
    }

    /// Density per second of this peak being this compound.
    pub(super) fn pair(&mut self, compound: usize, peak: usize, density: f64) {
        self.weights[compound * self.columns + peak] = self.rates.present * density / self.rates.extra_per_s;
    }

    /// ln of the sum over all assignments; no pair at all is q^compounds.
    pub(super) fn forward(&mut self) -> f64 {
        let (m, n, q) = (self.rows, self.columns, self.rates.missing());
        self.forward.clear();
        self.forward.resize((m + 1) * (n + 1), 1.0);
        self.forward_scale.clear();
        self.forward_scale.push(0);
        for i in 0..m {
            let (before, here) = self.forward.split_at_mut((i + 1) * (n + 1));
            let before = &before[i * (n + 1)..];
            let here = &mut here[..=n];
            let mut sum = 0.0;
            here[0] = q * before[0];
            for (j, &w) in self.weights[i * n..(i + 1) * n].iter().enumerate() {
                sum += before[j] * w;
                here[j + 1] = q * before[j + 1] + sum;
            }
            let scale = self.forward_scale[i] + rescale(here, n);
            self.forward_scale.push(scale);
        }
        libm::log(self.forward[m * (n + 1) + n]) + f64::from(self.forward_scale[m]) * 300.0 * std::f64::consts::LN_2
    }

    pub(super) fn backward(&mut self) {
        let (m, n, q) = (self.rows, self.columns, self.rates.missing());
        self.backward.clear();
        self.backward.resize((m + 1) * (n + 1), 1.0);
        self.backward_scale.clear();
        self.backward_scale.resize(m + 1, 0);
        for i in (0..m).rev() {
            let (here, after) = self.backward.split_at_mut((i + 1) * (n + 1));
            let here = &mut here[i * (n + 1)..];
            let mut sum = 0.0;
            here[n] = q * after[n];
            for j in (0..n).rev() {
                sum += self.weights[i * n + j] * after[j + 1];
                here[j] = q * after[j] + sum;
            }
            self.backward_scale[i] = self.backward_scale[i + 1] + rescale(here, 0);
        }
    }

    /// Peaks that this compound may be, each with its probability; after `forward` and `backward`.
    pub(super) fn posterior_of(&self, i: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (m, n) = (self.rows, self.columns);
        let scale = self.forward_scale[i] + self.backward_scale[i + 1] - self.forward_scale[m];
        let factor = match scale {
            0 => 1.0,
            1.. => (0..scale.min(3)).fold(1.0, |f, _| f * BIG),
            -3..0 => (scale..0).fold(1.0, |f, _| f / BIG),
            _ => 0.0,
        } / self.forward[m * (n + 1) + n];
        let before = &self.forward[i * (n + 1)..(i + 1) * (n + 1)];
        let after = &self.backward[(i + 1) * (n + 1)..(i + 2) * (n + 1)];
        self.weights[i * n..(i + 1) * n]
            .iter()
            .enumerate()
            .filter(|(_, w)| **w > 0.0)
            .map(move |(j, w)| (j, (before[j] * w * after[j + 1] * factor).min(1.0)))
            .filter(|(_, p)| *p > 1e-6)
    }
}

/// Brings the row's largest element, at `top`, between 1/BIG and BIG.
fn rescale(row: &mut [f64], top: usize) -> i32 {
    let (factor, scale) = if row[top] > BIG {
        (1.0 / BIG, 1)
    } else if row[top] < 1.0 / BIG {
        (BIG, -1)
    } else {
        return 0;
    };
    row.iter_mut().for_each(|x| *x *= factor);
    scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::Xoshiro256PlusPlus;

    /// Weight of every order-keeping assignment, one by one.
    fn enumerate(
        w: &[Vec<f64>],
        q: f64,
        i: usize,
        from: usize,
        taken: &mut Vec<Option<usize>>,
        weight: f64,
        out: &mut Vec<(Vec<Option<usize>>, f64)>,
    ) {
        if i == w.len() {
            out.push((taken.clone(), weight));
            return;
        }
        taken.push(None);
        enumerate(w, q, i + 1, from, taken, weight * q, out);
        taken.pop();
        for j in from..w[i].len() {
            taken.push(Some(j));
            enumerate(w, q, i + 1, j + 1, taken, weight * w[i][j], out);
            taken.pop();
        }
    }

    #[test]
    fn sums_equal_those_over_all_assignments_one_by_one() {
        let mut random = Xoshiro256PlusPlus::seeded(3);
        for (m, n, size) in [(1, 1, 1.0), (3, 5, 1.0), (5, 4, 30.0), (4, 6, 1e70), (4, 6, 1e-60), (6, 3, 1e95)] {
            let rates = Rates { present: 0.75, extra_per_s: 0.01 };
            let density: Vec<Vec<f64>> = (0..m).map(|_| (0..n).map(|_| random.uniform() * size).collect()).collect();
            let mut lattice = Lattice::default();
            lattice.reset(m, n, rates);
            for (i, row) in density.iter().enumerate() {
                for (j, &d) in row.iter().enumerate() {
                    lattice.pair(i, j, d);
                }
            }
            let w: Vec<Vec<f64>> = density.iter().map(|r| r.iter().map(|d| 75.0 * d).collect()).collect();
            let mut all = Vec::new();
            enumerate(&w, 0.25, 0, 0, &mut Vec::new(), 1.0, &mut all);
            let top = all.iter().map(|a| a.1).fold(0.0, f64::max);
            let total: f64 = all.iter().map(|a| a.1 / top).sum();
            let ln_z = lattice.forward();
            lattice.backward();
            assert!((ln_z - total.ln() - top.ln()).abs() < 1e-9 * ln_z.abs().max(1.0));
            for i in 0..m {
                let mut seen = vec![0.0; n];
                lattice.posterior_of(i).for_each(|(j, p)| seen[j] = p);
                for (j, p) in seen.into_iter().enumerate() {
                    let exact: f64 = all.iter().filter(|a| a.0[i] == Some(j)).map(|a| a.1 / top).sum::<f64>() / total;
                    assert!((p - exact).abs() < 2e-6, "{m}x{n} {size}: {p} {exact}");
                }
            }
        }
    }
}
