//! A baseline by opening: what a flat ruler reaches that is pushed along below the signal.

/// The morphological baseline of R. Perez-Pueyo, M. J. Soneira, S. Ruiz-Moreno, Applied Spectroscopy 64 (2010) 595-600.
///
/// b = min(o, (dilation(o) + erosion(o))/2) with o the opening of the signal by a flat ruler of 2 `half_width` + 1
/// points: everything narrower than the ruler is cut off, in straight steps that the second term smooths. Runs along
/// the lowest points of the noise. Windows end with the signal.
///
/// ```
/// use vialbook::signal::baseline::opening_baseline;
/// let line = opening_baseline(&[1.0, 1.0, 1.0, 9.0, 9.0, 1.0, 1.0, 1.0], 1);
/// assert_eq!(line, [1.0; 8]);
/// ```
pub fn opening_baseline(signal: &[f64], half_width: usize) -> Vec<f64> {
    let opening = dilation(&erosion(signal, half_width), half_width);
    let (up, down) = (dilation(&opening, half_width), erosion(&opening, half_width));
    opening.iter().zip(up.iter().zip(&down)).map(|(o, (u, d))| o.min(0.5 * (u + d))).collect()
}

/// The least value within `half_width` points on either side of each.
pub(crate) fn erosion(signal: &[f64], half_width: usize) -> Vec<f64> {
    let n = signal.len();
    // Places that may still become the least, with rising values: each point comes in and goes out once.
    let mut waiting = std::collections::VecDeque::new();
    let mut next = 0;
    (0..n)
        .map(|i| {
            while next < n && next <= i + half_width {
                while waiting.back().is_some_and(|&k: &usize| signal[k] >= signal[next]) {
                    waiting.pop_back();
                }
                waiting.push_back(next);
                next += 1;
            }
            while waiting.front().is_some_and(|&k| k + half_width < i) {
                waiting.pop_front();
            }
            waiting.front().map_or(signal[i], |&k| signal[k])
        })
        .collect()
}

/// The largest value within `half_width` points on either side of each.
fn dilation(signal: &[f64], half_width: usize) -> Vec<f64> {
    let turned: Vec<f64> = signal.iter().map(|y| -y).collect();
    erosion(&turned, half_width).iter().map(|y| -y).collect()
}
