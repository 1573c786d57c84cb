//! Householder QR with column pivoting in plain doubles, and the damped step it gives: the inner part of the
//! nonlinear fit.

use super::matrix::Matrix;

/// A P = Q R for a tall matrix, with Qᵀ already applied to a right-hand side.
pub(super) struct PivotedQr {
    /// R by columns; column j holds rows 0..=j.
    pub(super) r: Vec<Vec<f64>>,
    /// Column j of R belongs to column `pivot[j]` of A.
    pub(super) pivot: Vec<usize>,
    /// First elements of Qᵀb, one per column.
    pub(super) rhs: Vec<f64>,
    /// Euclidean lengths of the columns of A, in the order of A.
    pub(super) lengths: Vec<f64>,
}

impl PivotedQr {
    /// P. Businger and G. H. Golub, "Linear least squares solutions by Householder transformations", Numerische
    /// Mathematik 7 (1965) 269-276.
    pub(super) fn new(a: &Matrix, b: &[f64]) -> Self {
        let p = a.columns();
        let mut columns: Vec<Vec<f64>> = (0..p).map(|j| a.column(j)).collect();
        let mut rhs = b.to_vec();
        let lengths: Vec<f64> = columns.iter().map(|c| norm(c)).collect();
        let mut pivot: Vec<usize> = (0..p).collect();
        let mut r = Vec::with_capacity(p);
        for k in 0..p.min(b.len()) {
            let largest =
                (k..p).map(|j| (norm(&columns[j][k..]), j)).fold((-1.0, k), |m, c| if c.0 > m.0 { c } else { m });
            columns.swap(k, largest.1);
            pivot.swap(k, largest.1);
            let (done, rest) = columns.split_at_mut(k + 1);
            let column = &mut done[k];
            let mut diagonal = 0.0;
            if largest.0 > 0.0 {
                diagonal = if column[k] < 0.0 { largest.0 } else { -largest.0 };
                column[k] -= diagonal;
                let v = &column[k..];
                let half_square = -diagonal * v[0];
                for other in rest.iter_mut().map(|c| &mut c[k..]).chain([&mut rhs[k..]]) {
                    let factor = dot(v, other) / half_square;
                    other.iter_mut().zip(v).for_each(|(o, v)| *o -= factor * v);
                }
            }
            let mut r_column = column[..k].to_vec();
            r_column.push(diagonal);
            r.push(r_column);
        }
        rhs.truncate(p);
        PivotedQr { r, pivot, rhs, lengths }
    }

    /// Number of columns that are independent to within rounding.
    pub(super) fn rank(&self) -> usize {
        let first = self.r.first().map_or(0.0, |c| c[0].abs());
        let small = first * f64::EPSILON * self.r.len() as f64;
        self.r.iter().enumerate().take_while(|(j, c)| c[*j].abs() > small).count()
    }

    /// The x that minimises ‖A x - b‖² + damping·‖D x‖², with D the diagonal `scale`. Where columns depend on
    /// each other and nothing is damped, their x is 0.
    pub(super) fn solve(&self, damping: f64, scale: &[f64]) -> Damped {
        let p = self.r.len();
        let mut s = self.r.clone();
        let mut b = self.rhs.clone();
        if damping > 0.0 {
            let root = libm::sqrt(damping);
            // Givens rotations fold √damping·D into R one row at a time (Moré 1978, section 3).
            for j in 0..p {
                let mut row = vec![0.0; p];
                row[j] = root * scale[self.pivot[j]];
                let mut extra = 0.0;
                for k in j..p {
                    if row[k] == 0.0 {
                        continue;
                    }
                    let length = libm::hypot(s[k][k], row[k]);
                    let (cosine, sine) = (s[k][k] / length, row[k] / length);
                    for l in k..p {
                        let (upper, lower) = (s[l][k], row[l]);
                        s[l][k] = cosine * upper + sine * lower;
                        row[l] = cosine * lower - sine * upper;
                    }
                    let upper = b[k];
                    b[k] = cosine * upper + sine * extra;
                    extra = cosine * extra - sine * upper;
                }
            }
        }
        let rank = if damping > 0.0 { p } else { self.rank() };
        let mut y = b[..rank].to_vec();
        for j in (0..rank).rev() {
            y[j] /= s[j][j];
            let yj = y[j];
            for (yi, sij) in y[..j].iter_mut().zip(&s[j]) {
                *yi -= sij * yj;
            }
        }
        let mut x = vec![0.0; p];
        for (j, yj) in y.into_iter().enumerate() {
            x[self.pivot[j]] = yj;
        }
        Damped { x, factor: s, rank }
    }

    /// (AᵀA)⁻¹ in the order of A; None where columns depend on each other to within rounding.
    pub(super) fn unscaled_covariance(&self) -> Option<Matrix> {
        let p = self.r.len();
        if self.rank() < p {
            return None;
        }
        let mut inverse = vec![vec![0.0; p]; p]; // column j of R⁻¹
        for (j, x) in inverse.iter_mut().enumerate() {
            x[j] = 1.0;
            for k in (0..=j).rev() {
                x[k] /= self.r[k][k];
                let xk = x[k];
                for (xi, r) in x[..k].iter_mut().zip(&self.r[k]) {
                    *xi -= r * xk;
                }
            }
        }
        let mut covariance = Matrix::zeros(p, p);
        for i in 0..p {
            for j in 0..p {
                covariance[(self.pivot[i], self.pivot[j])] = (i.max(j)..p).map(|k| inverse[k][i] * inverse[k][j]).sum();
            }
        }
        Some(covariance)
    }

    /// ‖A x‖, from R alone.
    pub(super) fn length_of_image(&self, x: &[f64]) -> f64 {
        let mut image = vec![0.0; self.r.len()];
        for (j, column) in self.r.iter().enumerate() {
            for (sum, r) in image.iter_mut().zip(column) {
                *sum += r * x[self.pivot[j]];
            }
        }
        norm(&image)
    }

    /// Aᵀb, in the order of A.
    pub(super) fn gradient(&self) -> Vec<f64> {
        let mut g = vec![0.0; self.r.len()];
        for (j, column) in self.r.iter().enumerate() {
            g[self.pivot[j]] = dot(column, &self.rhs[..column.len()]);
        }
        g
    }
}

/// A damped solution with its triangular factor S, SᵀS = Pᵀ(AᵀA + damping·D²)P.
pub(super) struct Damped {
    pub(super) x: Vec<f64>,
    factor: Vec<Vec<f64>>,
    pub(super) rank: usize,
}

impl Damped {
    /// Solves Sᵀ y = v for v in the order of A.
    pub(super) fn solve_transposed(&self, qr: &PivotedQr, v: &[f64]) -> Vec<f64> {
        let mut y: Vec<f64> = Vec::with_capacity(v.len());
        for (j, column) in self.factor.iter().enumerate() {
            let rest = v[qr.pivot[j]] - dot(&column[..j], &y);
            y.push(rest / column[j]);
        }
        y
    }
}

/// Euclidean length; scaled only where squares leave the range of doubles.
pub(super) fn norm(v: &[f64]) -> f64 {
    let square = dot(v, v);
    if square.is_normal() {
        return libm::sqrt(square);
    }
    let largest = v.iter().fold(0.0_f64, |m, x| if x.is_nan() { f64::NAN } else { m.max(x.abs()) });
    if largest == 0.0 || !largest.is_finite() {
        return largest;
    }
    largest * libm::sqrt(v.iter().map(|x| (x / largest) * (x / largest)).sum::<f64>())
}

/// Below this length a plain sum is as fast.
const SHORT: usize = 32;

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a, b) = (&a[..n], &b[..n]);
    if n < SHORT {
        return a.iter().zip(b).map(|(a, b)| a * b).sum();
    }
    // Four sums side by side: one would wait for itself at each step.
    let mut lanes = [0.0; 4];
    let (mut fours, mut others) = (a.chunks_exact(4), b.chunks_exact(4));
    for (x, y) in (&mut fours).zip(&mut others) {
        for j in 0..4 {
            lanes[j] += x[j] * y[j];
        }
    }
    let rest: f64 = fours.remainder().iter().zip(others.remainder()).map(|(x, y)| x * y).sum();
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
}
