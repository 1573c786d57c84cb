//! A baseline by one polynomial over the whole run, from which peaks are cut off.

/// Fits at most.
const ROUNDS: usize = 250;
/// Ends when the standard deviation about the polynomial changes by less than this share.
const TOLERANCE: f64 = 1e-3;

/// A polynomial baseline, with the number of fits and whether they were enough.
#[derive(Clone, Debug, PartialEq)]
pub struct PolynomialFit {
    /// The line, a value per point.
    pub line: Vec<f64>,
    /// Number of fits.
    pub rounds: usize,
    /// False where 250 fits were not enough.
    pub converged: bool,
}

/// The improved modified polynomial fit on evenly spaced points.
///
/// A polynomial is fitted; points more than a standard deviation (of all residuals) above it are left out for good; what
/// stands higher than one standard deviation above the line is cut off there and the polynomial fitted again, until the
/// deviation changes by less than 0.1 %. J. Zhao, H. Lui, D. I. McLean, H. Zeng, Applied Spectroscopy 61 (2007)
/// 1225-1232, after C. A. Lieber and A. Mahadevan-Jansen, Applied Spectroscopy 57 (2003) 1363-1367.
///
/// Good for one slow bend over the whole run (a low `degree`, 1 to 5); a polynomial cannot follow a step or a bleed that
/// starts late. Polynomials orthogonal on the points (G. E. Forsythe, Journal of the Society for Industrial and Applied
/// Mathematics 5 (1957) 74-88) keep all digits, cost is proportional to points × degree × fits.
pub fn polynomial_baseline(signal: &[f64], degree: usize) -> PolynomialFit {
    let n = signal.len();
    let mut kept = vec![true; n];
    let mut basis = Basis::new(&kept, degree);
    let mut line = basis.fit(signal, &kept);
    let mut deviation = scatter(signal, &line);
    for ((k, y), z) in kept.iter_mut().zip(signal).zip(&line) {
        *k = z + deviation >= *y;
    }
    if kept.iter().filter(|k| **k).count() <= degree {
        return PolynomialFit { line, rounds: 1, converged: false };
    }
    basis = Basis::new(&kept, degree);
    let mut cut = signal.to_vec();
    for round in 1..=ROUNDS {
        for (y, z) in cut.iter_mut().zip(&line) {
            *y = y.min(z + deviation);
        }
        line = basis.fit(&cut, &kept);
        let new = scatter(&cut, &line);
        if (new - deviation).abs() < TOLERANCE * new.max(f64::MIN_POSITIVE) || new == 0.0 {
            return PolynomialFit { line, rounds: round + 1, converged: true };
        }
        deviation = new;
    }
    PolynomialFit { line, rounds: ROUNDS + 1, converged: false }
}

/// Standard deviation of the residuals about their own mean.
fn scatter(signal: &[f64], line: &[f64]) -> f64 {
    let n = signal.len() as f64;
    let residuals = || signal.iter().zip(line).map(|(y, z)| y - z);
    let mean = residuals().sum::<f64>() / n;
    (residuals().map(|r| (r - mean) * (r - mean)).sum::<f64>() / n).sqrt()
}

/// Polynomials orthogonal on the points that are kept, as values on all points.
struct Basis {
    /// Values and their sum of squares over the kept points.
    terms: Vec<(Vec<f64>, f64)>,
}

impl Basis {
    fn new(kept: &[bool], degree: usize) -> Self {
        let n = kept.len();
        let x: Vec<f64> = (0..n).map(|i| 2.0 * i as f64 / (n.max(2) - 1) as f64 - 1.0).collect();
        let over = |a: &[f64], b: &[f64]| {
            kept.iter().zip(a.iter().zip(b)).filter(|(k, _)| **k).map(|(_, (a, b))| a * b).sum::<f64>()
        };
        let mut terms: Vec<(Vec<f64>, f64)> = Vec::with_capacity(degree + 1);
        let ones = vec![1.0; n];
        let size = over(&ones, &ones);
        terms.push((ones, size));
        for k in 0..degree {
            let (last, size) = &terms[k];
            let moved: Vec<f64> = last.iter().zip(&x).map(|(p, x)| p * x).collect();
            let a = over(&moved, last) / size;
            let b = if k > 0 { size / terms[k - 1].1 } else { 0.0 };
            let next: Vec<f64> =
                (0..n).map(|i| moved[i] - a * last[i] - if k > 0 { b * terms[k - 1].0[i] } else { 0.0 }).collect();
            let size = over(&next, &next);
            // Fewer points than terms: no more to tell apart.
            if size <= 1e-24 * n as f64 {
                break;
            }
            terms.push((next, size));
        }
        Basis { terms }
    }

    fn fit(&self, signal: &[f64], kept: &[bool]) -> Vec<f64> {
        let mut rest = signal.to_vec();
        let mut line = vec![0.0; signal.len()];
        for (values, size) in &self.terms {
            let share = rest.iter().zip(values).zip(kept).filter(|(_, k)| **k).map(|((y, p), _)| y * p).sum::<f64>();
            let c = share / size;
            for ((z, r), p) in line.iter_mut().zip(&mut rest).zip(values) {
                *z += c * p;
                *r -= c * p;
            }
        }
        line
    }
}
