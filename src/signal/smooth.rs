//! Savitzky-Golay smoothing and derivatives: a polynomial fitted to each point and its neighbours.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::trace::Trace;

/// Options of Savitzky-Golay smoothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct SavitzkyGolay {
    /// Points in the window: odd, more than `degree`. Default 11.
    pub points: usize,
    /// Degree of the polynomial, at most 12. Default 2.
    pub degree: usize,
    /// Derivative wanted, 0 for smoothing, at most `degree`. Default 0.
    pub derivative: usize,
}

impl Default for SavitzkyGolay {
    fn default() -> Self {
        SavitzkyGolay { points: 11, degree: 2, derivative: 0 }
    }
}

impl SavitzkyGolay {
    /// Smoothing over `points` with a polynomial of this degree.
    pub fn new(points: usize, degree: usize) -> Self {
        SavitzkyGolay { points, degree, derivative: 0 }
    }

    /// The derivative of this order instead.
    pub fn with_derivative(self, derivative: usize) -> Self {
        SavitzkyGolay { derivative, ..self }
    }

    fn check(&self) -> Result<()> {
        let trouble = if self.points.is_multiple_of(2) {
            "an odd number of points is wanted"
        } else if self.degree > 12 {
            "a degree of at most 12 is wanted"
        } else if self.points <= self.degree {
            "more points than the degree are wanted"
        } else if self.derivative > self.degree {
            "a derivative of at most the degree is wanted"
        } else {
            return Ok(());
        };
        Err(Error::new(
            ErrorKind::Option,
            format!("{} points, degree {}, derivative {}: {trouble}", self.points, self.degree, self.derivative),
        ))
    }
}

/// Weights, left to right and for points one unit apart, that give the derivative of the fitted polynomial at
/// `offset` points from the middle of the window.
///
/// wᵢ = Σ_k P_k(i) P_k⁽ˢ⁾(t) / Σⱼ P_k(j)²,   k from 0 to the degree,
///
/// with the Gram polynomials P_k, which are orthogonal over the points of the window: the least-squares polynomial
/// without a system of equations. A. Savitzky
/// and M. J. E. Golay, Analytical Chemistry 36 (1964) 1627-1639; Gram polynomials: P. A. Gorry, Analytical
/// Chemistry 62 (1990) 570-573. Error about 1e-15 of the largest weight for windows of up to 25 points.
///
/// # Errors
/// An even window, a degree above 12 or not below the window, a derivative above the degree, an offset outside.
///
/// ```
/// use vialbook::signal::{SavitzkyGolay, savitzky_golay_weights};
/// let weights = savitzky_golay_weights(SavitzkyGolay::new(5, 2), 0)?;
/// assert!((weights[2] - 17.0 / 35.0).abs() < 1e-15); // Savitzky and Golay, Table I
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn savitzky_golay_weights(options: SavitzkyGolay, offset: isize) -> Result<Vec<f64>> {
    options.check()?;
    let m = (options.points / 2) as isize;
    if offset.abs() > m {
        return Err(Error::new(
            ErrorKind::Option,
            format!("offset {offset} lies outside a window of {} points", options.points),
        ));
    }
    let at = GramPolynomials::new(m, options.degree, offset as f64, options.derivative);
    Ok((-m..=m)
        .map(|i| {
            let here = GramPolynomials::new(m, options.degree, i as f64, 0);
            (0..=options.degree).map(|k| here.values[k] * at.values[k] / here.square_sums[k]).sum()
        })
        .collect())
}

/// Smooths evenly spaced points, or takes the derivative by `interval`.
///
/// The first and last half window are read off the polynomial fitted to the first and last whole window, so that
/// a polynomial of the degree passes unchanged from end to end.
///
/// # Errors
/// As [`savitzky_golay_weights`]; fewer points than the window.
pub fn savitzky_golay(signal: &[f64], interval: f64, options: SavitzkyGolay) -> Result<Vec<f64>> {
    let weights = savitzky_golay_weights(options, 0)?;
    let (n, points) = (signal.len(), options.points);
    if n < points {
        return Err(Error::new(
            ErrorKind::Option,
            format!("a window of {points} points for a signal of {n}; the window must fit"),
        ));
    }
    let scale = interval.powi(-(options.derivative as i32));
    let dot = |w: &[f64], y: &[f64]| w.iter().zip(y).map(|(w, y)| w * y).sum::<f64>() * scale;
    let m = points / 2;
    let mut smooth = vec![0.0; n];
    for (out, window) in smooth[m..].iter_mut().zip(signal.windows(points)) {
        *out = dot(&weights, window);
    }
    for k in 0..m {
        let early = savitzky_golay_weights(options, k as isize - m as isize)?;
        smooth[k] = dot(&early, &signal[..points]);
        let late = savitzky_golay_weights(options, m as isize - k as isize)?;
        smooth[n - 1 - k] = dot(&late, &signal[n - points..]);
    }
    Ok(smooth)
}

/// Gram polynomials P_0 to P_degree of a window of 2m + 1 points, or a derivative of them, at one place.
struct GramPolynomials {
    values: Vec<f64>,
    /// Σ_j P_k(j)² over the window.
    square_sums: Vec<f64>,
}

impl GramPolynomials {
    /// Three-term recursion of the orthogonal polynomials on -m..m in the variable x/m, differentiated along.
    fn new(m: isize, degree: usize, x: f64, derivative: usize) -> Self {
        let mf = (m as f64).max(1.0);
        let points = (2 * m + 1) as f64;
        let x = x / mf;
        // Monic: P_{k+1} = x P_k - b_k P_{k-1}, b_k = k² (n² - k²) / (4 (4k² - 1)) / m² for n points one unit apart.
        let b = |k: usize| {
            let k2 = (k * k) as f64;
            k2 * (points * points - k2) / (4.0 * (4.0 * k2 - 1.0)) / (mf * mf)
        };
        // table[s][k]: s-th derivative by x/m.
        let mut table = vec![vec![0.0; degree + 1]; derivative + 1];
        for s in 0..=derivative {
            for k in 0..=degree {
                table[s][k] = if k == 0 {
                    if s == 0 { 1.0 } else { 0.0 }
                } else {
                    let inner = if s == 0 { 0.0 } else { s as f64 * table[s - 1][k - 1] };
                    let before = if k >= 2 { b(k - 1) * table[s][k - 2] } else { 0.0 };
                    x * table[s][k - 1] + inner - before
                };
            }
        }
        let mut square_sums = vec![points; degree + 1];
        for k in 1..=degree {
            square_sums[k] = square_sums[k - 1] * b(k);
        }
        let per_point = mf.powi(-(derivative as i32));
        let values = table[derivative].iter().map(|v| v * per_point).collect();
        GramPolynomials { values, square_sums }
    }
}

/// Smoothing.
impl Trace {
    /// The trace smoothed, or its derivative by time in minutes; see [`savitzky_golay`].
    ///
    /// # Errors
    /// As [`savitzky_golay`]; times that stray by more than half an interval from an even grid.
    ///
    /// ```
    /// use vialbook::{Trace, signal::SavitzkyGolay};
    /// let time: Vec<f64> = (0..50).map(|i| f64::from(i) * 0.1).collect();
    /// let square: Vec<f64> = time.iter().map(|t| t * t).collect();
    /// let slope = Trace::new(time, square, "mV")?.smooth(SavitzkyGolay::new(7, 2).with_derivative(1))?;
    /// assert!((slope.signal()[0]).abs() < 1e-12 && (slope.signal()[10] - 2.0).abs() < 1e-12);
    /// assert_eq!(slope.signal_unit(), "mV/min");
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn smooth(&self, options: SavitzkyGolay) -> Result<Trace> {
        let (time, interval) = (self.time_min(), self.interval_min());
        if let Some(i) = (0..time.len()).find(|&i| (time[i] - time[0] - i as f64 * interval).abs() > 0.5 * interval) {
            return Err(Error::new(
                ErrorKind::Data,
                format!("point {} at {} min is off the even grid of {interval:.6} min by more than half a point; smoothing needs even intervals", i + 1, time[i]),
            )
            .hint("smooth the parts before and after the gap: slice(start, end)"));
        }
        let smooth = savitzky_golay(self.signal(), interval, options)?;
        let trace = self.with_signal(smooth)?;
        if options.derivative == 0 {
            return Ok(trace);
        }
        let power = if options.derivative == 1 { String::new() } else { format!("^{}", options.derivative) };
        Trace::new(time, trace.signal(), &format!("{}/min{power}", self.signal_unit()))
    }
}
