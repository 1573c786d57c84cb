//! Fewer points for a long trace, without losing an extreme.

/// About two points per column of the picture: in each of `columns` equal steps of x, the lowest and the highest
/// point, in their order; the first and last point of every piece stay.
///
/// Every minimum and maximum of a column stays exactly, so no peak, spike or dip can vanish or lose height; only
/// what lies between them inside one column goes. The result has at most 2 · columns points plus 4 per gap. A
/// value that is not finite is a gap and stays one (as a single point with NaN). Returned unchanged: x that falls
/// somewhere, and columns of points that are few already.
///
/// ```
/// let x: Vec<f64> = (0..10_000).map(f64::from).collect();
/// let mut y = vec![0.0; 10_000];
/// y[4321] = 5.0;
/// let (x, y) = vialbook::figure::min_max(&x, &y, 200);
/// assert!(x.len() <= 404 && y.contains(&5.0));
/// ```
pub fn min_max(x: &[f64], y: &[f64], columns: usize) -> (Vec<f64>, Vec<f64>) {
    let n = x.len().min(y.len());
    let (x, y) = (&x[..n], &y[..n]);
    let finite = |i: usize| x[i].is_finite() && y[i].is_finite();
    let known: Vec<usize> = (0..n).filter(|&i| finite(i)).collect();
    let rising = known.windows(2).all(|w| x[w[0]] <= x[w[1]]);
    if columns == 0 || n <= 2 * columns || !rising || known.len() < 3 {
        return (x.to_vec(), y.to_vec());
    }
    let (start, end) = (x[known[0]], x[known[known.len() - 1]]);
    let span = end - start;
    let column = |i: usize| ((x[i] - start) / span * columns as f64).min(columns as f64 - 1.0) as usize;

    let mut keep: Vec<Option<usize>> = Vec::with_capacity(2 * columns + 8); // None is a gap
    let mut i = 0;
    while i < n {
        if !finite(i) {
            if keep.last() != Some(&None) {
                keep.push(None);
            }
            i += 1;
            continue;
        }
        let piece_end = (i..n).find(|&j| !finite(j)).unwrap_or(n);
        let first = i;
        while i < piece_end {
            let c = column(i);
            let column_end = (i..piece_end).find(|&j| column(j) != c).unwrap_or(piece_end);
            let (mut low, mut high) = (i, i);
            for j in i..column_end {
                if y[j] < y[low] {
                    low = j;
                }
                if y[j] > y[high] {
                    high = j;
                }
            }
            let mut chosen = [first, low.min(high), low.max(high), piece_end - 1];
            if i != first {
                chosen[0] = chosen[1];
            }
            if column_end != piece_end {
                chosen[3] = chosen[2];
            }
            for j in chosen {
                if keep.last() != Some(&Some(j)) {
                    keep.push(Some(j));
                }
            }
            i = column_end;
        }
    }
    keep.into_iter().map(|k| k.map_or((f64::NAN, f64::NAN), |i| (x[i], y[i]))).unzip()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(seed: &mut u64) -> f64 {
        *seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407); // Knuth, MMIX
        (*seed >> 11) as f64 / (1u64 << 53) as f64
    }

    #[test]
    fn every_column_keeps_its_lowest_and_highest_point() {
        let mut seed = 1;
        for columns in [1, 7, 100, 499] {
            let mut t = 0.0;
            let x: Vec<f64> = (0..5000)
                .map(|_| {
                    t += noise(&mut seed);
                    t
                })
                .collect();
            let y: Vec<f64> = x.iter().map(|_| noise(&mut seed) - 0.5).collect();
            let (dx, dy) = min_max(&x, &y, columns);
            assert!(dx.len() <= 2 * columns + 4, "{} points for {columns} columns", dx.len());
            assert!(dx.windows(2).all(|w| w[0] < w[1]));
            assert_eq!((dx[0], dx[dx.len() - 1]), (x[0], x[4999]));
            let column = |v: f64| (((v - x[0]) / (x[4999] - x[0]) * columns as f64) as usize).min(columns - 1);
            let extremes = |x: &[f64], y: &[f64]| {
                let mut e = vec![(f64::INFINITY, f64::NEG_INFINITY); columns];
                for (x, y) in x.iter().zip(y) {
                    let c = &mut e[column(*x)];
                    *c = (c.0.min(*y), c.1.max(*y));
                }
                e
            };
            assert_eq!(extremes(&x, &y), extremes(&dx, &dy));
        }
    }

    #[test]
    fn gaps_stay_gaps() {
        let x: Vec<f64> = (0..1000).map(f64::from).collect();
        let mut y = vec![1.0; 1000];
        y[500] = f64::NAN;
        y[501] = f64::INFINITY;
        let (dx, dy) = min_max(&x, &y, 10);
        assert_eq!(dy.iter().filter(|v| v.is_nan()).count(), 1);
        assert!(dx.contains(&499.0) && dx.contains(&502.0));
    }

    #[test]
    fn few_points_or_falling_x_stay_as_they_are() {
        let (x, y) = (vec![0.0, 2.0, 1.0, 5.0, 3.0], vec![1.0; 5]);
        assert_eq!(min_max(&x, &y, 2), (x.clone(), y.clone()));
        assert_eq!(min_max(&x[..2], &y, 1).0, x[..2]);
        assert_eq!(min_max(&[1.0; 9], &[2.0; 9], 2).0.len(), 2, "one place, one height: first and last");
    }
}
