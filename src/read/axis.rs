//! Time stamps to a time axis: left as written, or, where rounding made even steps alternate, fitted as one even axis.

/// A settled axis, still in the file's unit.
#[derive(Debug, PartialEq)]
pub(crate) struct Axis {
    pub(crate) time: Vec<f64>,
    /// What was done, in words.
    pub(crate) how: String,
}

/// Why stamps are no axis: the row at which it shows.
#[derive(Debug, PartialEq)]
pub(crate) enum Fault {
    /// The stamp is smaller than the one before.
    Backwards(usize),
    /// The stamp equals the one before.
    Repeated(usize),
}

/// Rounding finer than this share of a step is left alone: areas change by less than 1e-5. Our own choice.
const FINE: f64 = 1e-5;
/// Fewer points or fewer odd steps could as well be lost points. Our own choice.
const LEAST_POINTS: usize = 10;
const LEAST_ODD_STEPS: usize = 3;

/// The axis behind `stamps` that were written with `scale` decimal places.
///
/// Stamps are replaced only where all of these hold: their last digit is coarse beside the step, steps alternate, and
/// one even axis t₀ + i·h passes within half a last digit of every stamp. t₀ and h are the least-squares line over all
/// stamps, or the line of least width where that one misses by a hair; an axis that starts at 0 keeps its 0.
/// With a fault the stamps come back, for the sentence that shows them.
pub(crate) fn settle(stamps: Vec<f64>, scale: i32) -> Result<Axis, (Fault, Vec<f64>)> {
    let n = stamps.len();
    if n < 2 {
        return Ok(Axis { time: stamps, how: "as written".into() });
    }
    let (shortest, longest) = steps(&stamps);
    if shortest < 0.0 {
        let back = (1..n).find(|&i| stamps[i] < stamps[i - 1]);
        return Err((Fault::Backwards(back.unwrap_or(1)), stamps));
    }
    let mean = (stamps[n - 1] - stamps[0]) / (n - 1) as f64;
    let repeated = if shortest > 0.0 { None } else { (1..n).find(|&i| stamps[i] == stamps[i - 1]) };
    if mean > 0.0 {
        // 1e-6 of a step: far above the rounding of doubles, far below anything that matters.
        if longest - shortest <= 1e-6 * mean {
            return Ok(Axis { time: stamps, how: "even, as written".into() });
        }
        let digit = if (-15..=15).contains(&scale) { 10f64.powi(-scale) } else { 0.0 };
        if n >= LEAST_POINTS
            && digit >= FINE * mean
            && let Some((start, step)) = even_line(&stamps, digit)
        {
            let time = (0..n).map(|i| start + i as f64 * step).collect();
            let how = format!(
                "stamps rounded to {digit} alternate; one even axis fits them all: start {}, step {}",
                short(start),
                short(step)
            );
            return Ok(Axis { time, how });
        }
    }
    match repeated {
        Some(i) => Err((Fault::Repeated(i), stamps)),
        None => Ok(Axis { time: stamps, how: "uneven steps, as written".into() }),
    }
}

/// True where the values never fall and nearly all steps are alike: a time axis, or a running number. Cells missing at
/// the end do not count: a shorter run beside a longer one.
pub(crate) fn rises_evenly(values: &[f64], scale: i32) -> bool {
    let n = values.iter().rposition(|v| !v.is_nan()).map_or(0, |last| last + 1);
    let values = &values[..n];
    // The two ends first: a signal fails here, without a look at all its points.
    if n < 3 || !(values[0] <= values[1] && values[n - 2] <= values[n - 1] && values[0] < values[n - 1]) {
        return false;
    }
    let (shortest, longest) = steps(values);
    if !(shortest >= 0.0 && longest.is_finite()) {
        return false;
    }
    let mean = (values[n - 1] - values[0]) / (n - 1) as f64;
    if longest <= 1.5 * mean && shortest >= 0.5 * mean {
        return true;
    }
    let digit = if (-15..=15).contains(&scale) { 10f64.powi(-scale) } else { 0.0 };
    let allowed = (0.5 * mean).max(digit);
    let alike = values.windows(2).filter(|w| (w[1] - w[0] - mean).abs() <= allowed * 1.000_001).count();
    // 90 %: a few gaps or doubled stamps do not make it another kind of column; our own choice.
    mean > 0.0 && alike * 10 >= (n - 1) * 9
}

/// Shortest and longest step; NaN in `values` may or may not show. Eight lanes, so that the compiler can use vectors.
pub(crate) fn steps(values: &[f64]) -> (f64, f64) {
    const LANES: usize = 8;
    let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let after = values.get(1..).unwrap_or_default();
    let (mut a, mut b) = (values[..after.len()].chunks_exact(LANES), after.chunks_exact(LANES));
    for (a, b) in a.by_ref().zip(b.by_ref()) {
        for k in 0..LANES {
            let step = b[k] - a[k];
            low[k] = if step < low[k] { step } else { low[k] };
            high[k] = if step > high[k] { step } else { high[k] };
        }
    }
    let (mut shortest, mut longest) = (f64::INFINITY, f64::NEG_INFINITY);
    for step in a.remainder().iter().zip(b.remainder()).map(|(a, b)| b - a) {
        (shortest, longest) = (step.min(shortest), step.max(longest));
    }
    for k in 0..LANES {
        (shortest, longest) = (low[k].min(shortest), high[k].max(longest));
    }
    (shortest, longest)
}

/// True for 0, 1, 2, … or 1, 2, 3, …
pub(crate) fn is_running_number(values: &[f64]) -> bool {
    matches!(values.first(), Some(v) if *v == 0.0 || *v == 1.0) && values.windows(2).all(|w| w[1] - w[0] == 1.0)
}

/// The even axis within half a last digit of every stamp, if there is one and steps alternate often enough.
fn even_line(stamps: &[f64], digit: f64) -> Option<(f64, f64)> {
    let n = stamps.len();
    let steps = |i: usize| ((stamps[i] - stamps[i - 1]) / digit).round();
    let usual = (steps(1).min(steps(2)), steps(1).max(steps(2)));
    let count = |s: f64| (1..n).filter(|&i| steps(i) == s).count();
    if (1..n).all(|i| steps(i) == usual.0) {
        return None;
    }
    let odd = (n - 1) - count(usual.0).max(count(usual.1));
    if odd < LEAST_ODD_STEPS {
        return None;
    }
    // Least squares on the centred index.
    let middle = (n - 1) as f64 / 2.0;
    let mean = stamps.iter().sum::<f64>() / n as f64;
    let (mut sxy, mut sxx) = (0.0, 0.0);
    for (i, t) in stamps.iter().enumerate() {
        let x = i as f64 - middle;
        sxy += x * (t - mean);
        sxx += x * x;
    }
    let fitted = sxy / sxx;
    let limit = digit * (1.0 + 1e-6);
    let mut slope = fitted;
    let mut band = band_of(stamps, slope);
    if band.1 - band.0 > limit {
        // The width is convex in the slope; a golden section around the fit finds its minimum.
        let reach = 4.0 * digit / n as f64;
        let (mut low, mut high) = (fitted - reach, fitted + reach);
        for _ in 0..40 {
            let (a, b) = (low + 0.382 * (high - low), low + 0.618 * (high - low));
            let width = |h: f64| {
                let band = band_of(stamps, h);
                band.1 - band.0
            };
            if width(a) <= width(b) { high = b } else { low = a }
        }
        slope = (low + high) / 2.0;
        band = band_of(stamps, slope);
        if band.1 - band.0 > limit {
            return None;
        }
    }
    // Several points per last digit: a whole number of them, where that fits every stamp as well. Clocks that cut off
    // instead of rounding would otherwise tilt the line of a short run.
    let per_digit = (digit / slope).round();
    if per_digit >= 2.0 {
        let whole = band_of(stamps, digit / per_digit);
        if whole.1 - whole.0 <= limit {
            (slope, band) = (digit / per_digit, whole);
        }
    }
    if stamps[0] == 0.0
        && let Some(step) = through_zero(stamps, digit, slope)
    {
        return Some((0.0, step));
    }
    // The fit's own intercept, moved only as far as the half digit demands.
    let fitted_start = mean - slope * middle;
    let (low, high) = (band.1 - limit / 2.0, band.0 + limit / 2.0);
    Some((fitted_start.max(low.min(high)).min(high.max(low)), slope))
}

/// Smallest and largest of tᵢ − i·h.
fn band_of(stamps: &[f64], slope: f64) -> (f64, f64) {
    let mut band = (f64::INFINITY, f64::NEG_INFINITY);
    for (i, t) in stamps.iter().enumerate() {
        let rest = t - i as f64 * slope;
        band = (band.0.min(rest), band.1.max(rest));
    }
    band
}

/// The step of an even axis from 0 that passes within half a digit of every stamp, nearest to `slope`.
fn through_zero(stamps: &[f64], digit: f64, slope: f64) -> Option<f64> {
    let half = digit * 0.5 * (1.0 + 1e-6);
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    for (i, t) in stamps.iter().enumerate().skip(1) {
        low = low.max((t - half) / i as f64);
        high = high.min((t + half) / i as f64);
    }
    (low <= high).then(|| {
        // Least squares through zero, kept inside what every stamp allows.
        let (mut sxy, mut sxx) = (0.0, 0.0);
        for (i, t) in stamps.iter().enumerate() {
            sxy += i as f64 * t;
            sxx += (i * i) as f64;
        }
        let fitted = if sxx > 0.0 { sxy / sxx } else { slope };
        fitted.max(low).min(high)
    })
}

/// Seven significant digits, without an exponent where that is readable.
fn short(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let places = (6 - value.abs().log10().floor() as i32).clamp(0, 17) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounded(n: usize, start: f64, step: f64, scale: i32) -> Vec<f64> {
        let digit = 10f64.powi(scale);
        (0..n).map(|i| ((start + i as f64 * step) * digit).round() / digit).collect()
    }

    #[test]
    fn rounded_stamps_come_back_to_the_true_axis() {
        // Truth known by construction; the step error times the number of points stays below half a digit.
        for (start, step, scale) in
            [(0.089, 0.00175, 3), (0.0, 1.0 / 120.0, 5), (5.25, 0.58949, 3), (0.002, 1.0 / 6000.0, 3)]
        {
            let axis = settle(rounded(3000, start, step, scale), scale).expect("an axis");
            assert!(axis.how.contains("one even axis"), "{}", axis.how);
            let digit = 10f64.powi(-scale);
            for (i, t) in axis.time.iter().enumerate() {
                assert!((t - (start + i as f64 * step)).abs() < 0.05 * digit, "point {i} of step {step}");
            }
        }
        let zero = settle(rounded(500, 0.0, 1.0 / 120.0, 5), 5).expect("an axis");
        assert_eq!(zero.time[0], 0.0);
    }

    #[test]
    fn even_stamps_and_fine_stamps_stay_bit_for_bit() {
        let even = rounded(12_000, 0.0, 0.001, 5);
        assert_eq!(settle(even.clone(), 5).expect("even").time, even);
        // Jitter in the 9th decimal is not rounding.
        let jitter: Vec<f64> = (0..500).map(|i| 0.00833472245374229 * i as f64 + 1e-9 * (i % 3) as f64).collect();
        assert_eq!(settle(jitter.clone(), 17).expect("fine").time, jitter);
    }

    #[test]
    fn uneven_axes_are_left_alone() {
        let slow: Vec<f64> =
            (0..200).map(|i| (i as f64 * 0.01 * (1.0 + i as f64 * 1e-3) * 1000.0).round() / 1000.0).collect();
        let axis = settle(slow.clone(), 3).expect("rising");
        assert_eq!((axis.time, axis.how.as_str()), (slow, "uneven steps, as written"));
        // One lost point is a gap, not rounding.
        let mut gap = rounded(100, 0.0, 1.0, 0);
        gap.remove(40);
        assert_eq!(settle(gap.clone(), 0).expect("rising").time, gap);
    }

    #[test]
    fn backwards_and_repeated_stamps_are_faults() {
        let fault = |stamps: &[f64], scale| settle(stamps.to_vec(), scale).expect_err("a fault").0;
        assert_eq!(fault(&[0.0, 0.1, 0.05], 2), Fault::Backwards(2));
        assert_eq!(fault(&[0.0, 0.1, 0.1, 0.2], 1), Fault::Repeated(2));
        assert_eq!(fault(&[1.0, 1.0], 0), Fault::Repeated(1));
    }

    #[test]
    fn kinds_of_columns() {
        assert!(rises_evenly(&[0.089, 0.091, 0.093, 0.094], 3));
        assert!(!rises_evenly(&[165.0, 164.0, 166.0], 0));
        assert!(!rises_evenly(&[2.51, 2.6, 7.0, 7.1], 2));
        assert!(is_running_number(&[0.0, 1.0, 2.0]) && !is_running_number(&[0.0, 2.0, 4.0]));
    }
}
