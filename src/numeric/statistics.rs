//! Location, spread and covariance of samples.
//!
//! No answer is `None`: an empty sample, one too short, or a value that is not finite. Sums run in
//! [`DoubleDouble`], so that a large offset costs no digits.

use crate::error::{Error, ErrorKind, Result};

use super::double_double::DoubleDouble;

/// Turns a [`mad`] into the standard deviation of normal data: 1/Φ⁻¹(¾).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Arithmetic mean x̄ = Σx/n.
///
/// ```
/// use vialbook::numeric::mean;
/// assert_eq!(mean(&[10_000_001.0, 10_000_003.0, 10_000_002.0]), Some(10_000_002.0));
/// ```
pub fn mean(values: &[f64]) -> Option<f64> {
    exact_mean(values).map(DoubleDouble::value)
}

/// Sample variance s² = Σ(x - x̄)²/(n - 1), for n ≥ 2.
pub fn sample_variance(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let centre = exact_mean(values)?;
    let n = DoubleDouble::from((values.len() - 1) as f64);
    finite((sum_of_products(values, centre, values, centre) / n).value())
}

/// Sample standard deviation s, for n ≥ 2.
///
/// ```
/// use vialbook::numeric::sample_sd;
/// assert_eq!(sample_sd(&[10_000_001.0, 10_000_003.0, 10_000_002.0]), Some(1.0));
/// ```
pub fn sample_sd(values: &[f64]) -> Option<f64> {
    sample_variance(values).map(libm::sqrt)
}

/// Weighted mean Σwx/Σw; with w = 1/variance the one of least variance, 1/Σw.
///
/// # Errors
/// Lengths that differ; a value that is not finite; a negative weight; no weight above 0.
pub fn weighted_mean(values: &[f64], weights: &[f64]) -> Result<f64> {
    same_length(values, weights)?;
    if let Some(i) = values.iter().position(|v| !v.is_finite()) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("value {} is {}; a finite number is wanted", i + 1, values[i]),
        ));
    }
    if let Some(i) = weights.iter().position(|w| !(w.is_finite() && *w >= 0.0)) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("weight {} is {}; a finite number, 0 or above, is wanted", i + 1, weights[i]),
        ));
    }
    let total: DoubleDouble = weights.iter().map(|w| DoubleDouble::from(*w)).sum();
    if total == DoubleDouble::ZERO {
        return Err(Error::new(ErrorKind::Data, "a weighted mean of no values with a weight above 0"));
    }
    let sum: DoubleDouble = values.iter().zip(weights).map(|(v, w)| DoubleDouble::product(*v, *w)).sum();
    Ok((sum / total).value())
}

/// Median: the middle value, or the mean of the two in the middle.
///
/// ```
/// use vialbook::numeric::median;
/// assert_eq!(median(&[3.0, 1.0, 10.0, 2.0]), Some(2.5));
/// ```
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Median absolute deviation from the median, unscaled; times [`MAD_TO_SD`] it estimates a standard deviation that
/// up to half the values may spoil.
///
/// ```
/// use vialbook::numeric::mad;
/// assert_eq!(mad(&[1.0, 2.0, 3.0, 4.0, 100.0]), Some(1.0));
/// ```
pub fn mad(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median(&deviations)
}

/// Sample quantile at probability `p` from 0 to 1, by linear interpolation between order statistics at
/// (n - 1)p: definition 7 of R. J. Hyndman and Y. Fan, "Sample quantiles in statistical packages", The
/// American Statistician 50 (1996) 361-365.
///
/// ```
/// use vialbook::numeric::quantile;
/// assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.9), Some(4.6));
/// ```
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    if values.is_empty() || !(0.0..=1.0).contains(&p) || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mut work = values.to_vec();
    let position = (work.len() - 1) as f64 * p;
    let below = position.floor();
    let part = position - below;
    let (_, low, above) = work.select_nth_unstable_by(below as usize, f64::total_cmp);
    let low = *low;
    if part == 0.0 {
        return Some(low);
    }
    let high = above.iter().copied().fold(f64::INFINITY, f64::min);
    // Halves are exact in the middle; elsewhere the step is taken from the nearer end.
    Some(if part == 0.5 {
        0.5 * low + 0.5 * high
    } else if part < 0.5 {
        low + part * (high - low)
    } else {
        high - (1.0 - part) * (high - low)
    })
}

/// Sample covariance Σ(x - x̄)(y - ȳ)/(n - 1). None for fewer than 2 pairs or a value that is not finite.
///
/// # Errors
/// Lengths that differ.
pub fn covariance(x: &[f64], y: &[f64]) -> Result<Option<f64>> {
    same_length(x, y)?;
    Ok(cross(x, y).and_then(|c| finite((c / DoubleDouble::from((x.len() - 1) as f64)).value())))
}

/// Correlation coefficient r. None for fewer than 2 pairs, where one of the two does not vary, or for a value
/// that is not finite.
///
/// # Errors
/// Lengths that differ.
pub fn correlation(x: &[f64], y: &[f64]) -> Result<Option<f64>> {
    same_length(x, y)?;
    let (Some(xy), Some(xx), Some(yy)) = (cross(x, y), cross(x, x), cross(y, y)) else { return Ok(None) };
    let r = (xy / (xx.sqrt() * yy.sqrt())).value();
    Ok(finite(r).map(|r| r.clamp(-1.0, 1.0)))
}

/// Autocorrelation at a lag: Σ(xᵢ - x̄)(xᵢ₊ₗ - x̄)/Σ(x - x̄)². None where the values do not vary or are no more
/// than the lag.
///
/// ```
/// use vialbook::numeric::autocorrelation;
/// assert_eq!(autocorrelation(&[10_000_001.0, 10_000_003.0, 10_000_002.0], 1), Some(-0.5));
/// ```
pub fn autocorrelation(values: &[f64], lag: usize) -> Option<f64> {
    if lag >= values.len() {
        return None;
    }
    let centre = exact_mean(values)?;
    let total = sum_of_products(values, centre, values, centre);
    let shifted = sum_of_products(&values[..values.len() - lag], centre, &values[lag..], centre);
    finite((shifted / total).value())
}

fn exact_mean(values: &[f64]) -> Option<DoubleDouble> {
    let sum: DoubleDouble = values.iter().map(|v| DoubleDouble::from(*v)).sum();
    let mean = sum / DoubleDouble::from(values.len() as f64);
    mean.is_finite().then_some(mean)
}

fn cross(x: &[f64], y: &[f64]) -> Option<DoubleDouble> {
    if x.len() < 2 {
        return None;
    }
    Some(sum_of_products(x, exact_mean(x)?, y, exact_mean(y)?))
}

fn sum_of_products(x: &[f64], x_mean: DoubleDouble, y: &[f64], y_mean: DoubleDouble) -> DoubleDouble {
    x.iter().zip(y).map(|(x, y)| (DoubleDouble::from(*x) - x_mean) * (DoubleDouble::from(*y) - y_mean)).sum()
}

fn same_length(x: &[f64], y: &[f64]) -> Result<()> {
    if x.len() == y.len() {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Option, format!("{} values against {}: as many are wanted", x.len(), y.len())))
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degenerate_samples_have_no_answer() {
        assert_eq!((mean(&[]), sample_sd(&[1.0]), median(&[]), mad(&[]), quantile(&[1.0], 1.5)), Default::default());
        assert_eq!((mean(&[1.0, f64::NAN]), median(&[f64::INFINITY])), (None, None));
        assert_eq!((sample_sd(&[2.0; 5]), mad(&[2.0; 5])), (Some(0.0), Some(0.0)));
        assert_eq!(correlation(&[1.0, 2.0], &[3.0, 3.0]).expect("as long"), None);
        assert_eq!((autocorrelation(&[3.0, 3.0], 1), autocorrelation(&[1.0], 1)), (None, None));
        assert!(covariance(&[1.0], &[1.0, 2.0]).is_err() && weighted_mean(&[1.0, 2.0], &[0.0, 0.0]).is_err());
        assert_eq!((quantile(&[4.0], 0.3), median(&[2.0, 1.0, 9.0])), (Some(4.0), Some(2.0)));
        assert_eq!((quantile(&[1.0, 2.0], 0.0), quantile(&[1.0, 2.0], 1.0)), (Some(1.0), Some(2.0)));
    }

    #[test]
    fn pairs_agree_with_their_formulas() {
        // y = 2x - 1 with an offset of 10⁹: covariance 2·var x, r = 1.
        let x: Vec<f64> = [1.0, 2.0, 4.0, 9.0].map(|v| v + 1e9).to_vec();
        let y: Vec<f64> = x.iter().map(|v| 2.0 * v - 1.0).collect();
        assert_eq!(covariance(&x, &y).expect("as long"), sample_variance(&x).map(|v| 2.0 * v));
        assert_eq!(correlation(&x, &y).expect("as long"), Some(1.0));
        assert_eq!(weighted_mean(&[1.0, 4.0], &[3.0, 1.0]).expect("sound"), 1.75);
    }
}
