//! Shapes, signal, peaks and names against tables and statements from outside.

mod baselines;
mod find;
mod fit;
mod merits;
mod scene;
mod shapes;
mod signal;

use vialbook::numeric::Xoshiro256PlusPlus as Random;

/// A row of tests/data/chrom/chrom_emg_shape_exact.csv: sigma 1, Gaussian centre 0, unit area.
pub(crate) struct EmgRow {
    pub(crate) tau: f64,
    pub(crate) apex: f64,
    pub(crate) height: f64,
    pub(crate) width_half: f64,
    pub(crate) width_tenth: f64,
    pub(crate) width_5pct: f64,
    pub(crate) asymmetry: f64,
    pub(crate) tailing: f64,
    pub(crate) skew: f64,
}

/// Exact values of the exponentially modified Gaussian (E. Grushka's definition, 40-digit arithmetic).
pub(crate) fn emg_table() -> Vec<EmgRow> {
    numbers(include_str!("../data/chrom/chrom_emg_shape_exact.csv"))
        .into_iter()
        .map(|r| EmgRow {
            tau: r[0],
            apex: r[1],
            height: r[2],
            width_half: r[3],
            width_tenth: r[4],
            width_5pct: r[5],
            asymmetry: r[11],
            tailing: r[12],
            skew: r[18],
        })
        .collect()
}

/// Rows of numbers of a table with comment lines and one header row; an empty cell is NaN.
pub(crate) fn numbers(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .filter(|l| !l.starts_with('#') && !l.is_empty())
        .skip(1)
        .map(|l| l.split(',').map(|c| c.trim().parse().unwrap_or(f64::NAN)).collect())
        .collect()
}

/// Times of `n` points, a thousandth of a minute apart.
pub(crate) fn minutes(n: usize) -> Vec<f64> {
    (0..n).map(|i| i as f64 * 1e-3).collect()
}

/// Noise of standard deviation `sd` whose correlation falls off as phi^k.
pub(crate) fn correlated(random: &mut Random, n: usize, sd: f64, phi: f64) -> Vec<f64> {
    let fresh = (1.0 - phi * phi).sqrt();
    let mut last = random.normal();
    (0..n)
        .map(|_| {
            last = phi * last + fresh * random.normal();
            sd * last
        })
        .collect()
}
