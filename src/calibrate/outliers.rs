//! One value that lies far off among replicates: Grubbs and Dixon, as advice. Nothing is ever left out by them.

use std::collections::HashMap;
use std::fmt;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::design::{p_text, upper};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{Xoshiro256PlusPlus, student_t_sf};

/// Fewest values that are asked: with 3 the statistic hardly depends on the values.
const LEAST: usize = 4;

/// Most values of Dixon's ratios as they are tabulated.
const MOST_DIXON: usize = 30;

/// Sets drawn for the null distribution of a Dixon ratio; each gives one at either end.
const DRAWS: usize = 20_000;

/// Which test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum OutlierTest {
    /// Largest deviation from the mean over the standard deviation.
    Grubbs,
    /// Gap between the farthest value and its neighbour over a range of the rest.
    Dixon,
}

/// A value that lies farthest from the rest, and how surprising that is.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlier {
    /// The test.
    pub test: OutlierTest,
    /// "G", or the Dixon ratio that the number of values asks for: "r10", "r11", "r21", "r22".
    pub statistic_name: &'static str,
    /// The statistic.
    pub statistic: f64,
    /// Chance of one as large, at either end, among so many normal values.
    pub p_value: f64,
    /// Place of the value in the list given, counted from 0.
    pub index: usize,
    /// The value.
    pub value: f64,
    /// Number of values.
    pub n: usize,
}

impl fmt::Display for Outlier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.test {
            OutlierTest::Grubbs => "Grubbs",
            OutlierTest::Dixon => "Dixon",
        };
        write!(
            f,
            "{name}: {} = {:.3} of {} values, {}",
            self.statistic_name,
            self.statistic,
            self.n,
            p_text(self.p_value)
        )
    }
}

/// Grubbs' test for one value too far off, two-sided: G = max|x - x̄|/s, with
/// p = 2n·P(t_{n-2} > √(n(n-2)G²/((n-1)² - nG²))), at most 1 (F. E. Grubbs, Technometrics 11 (1969) 1-21).
///
/// To be asked of means of flasks, never of shots of one flask. It takes the values for normal: in rounded values and
/// in values with a long tail it alarms too often.
///
/// # Errors
/// Fewer than 4 values, a value that is not finite, two equal values (rounded values alarm in 25 to 56 % of good data).
///
/// ```
/// use vialbook::calibrate::grubbs;
/// // Uranium by mass spectrometry (NIST/SEMATECH e-Handbook 1.3.5.17.1): G = 2.4687, critical at 5 % 2.1266.
/// let found = grubbs(&[199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])?;
/// assert!((found.statistic - 2.46876).abs() < 1e-5 && found.p_value < 0.05 && found.value == 245.57);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn grubbs(values: &[f64]) -> Result<Outlier> {
    check(values, usize::MAX)?;
    let n = values.len() as f64;
    // About the first value, so that no digits are lost where all are large.
    let d: Vec<f64> = values.iter().map(|x| x - values[0]).collect();
    let mean = d.iter().sum::<f64>() / n;
    let s = libm::sqrt(d.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / (n - 1.0));
    let (index, far) = farthest(&d, mean);
    let g = far / s;
    let left = (n - 1.0) * (n - 1.0) - n * g * g;
    let t = if left > 0.0 { libm::sqrt(n * (n - 2.0) * g * g / left) } else { f64::INFINITY };
    Ok(Outlier {
        test: OutlierTest::Grubbs,
        statistic_name: "G",
        statistic: g,
        p_value: (2.0 * n * student_t_sf(t, n - 2.0)).min(1.0),
        index,
        value: values[index],
        n: values.len(),
    })
}

/// Dixon's test for one value too far off at either end: r10 for 4 to 7 values, r11 for 8 to 10, r21 for 11 to 13, r22 for
/// 14 to 30 (D. B. Rorabacher, Anal. Chem. 63 (1991) 139-146).
///
/// p is twice the share of one end, as the published tables have it, from 40,000 ratios of seeded normal draws, and good to
/// 0.0016 at 5 %. Where two values stray together it sees more
/// than Grubbs' test does; otherwise that one is the stronger.
///
/// # Errors
/// As [`grubbs`]; more than 30 values.
///
/// ```
/// use vialbook::calibrate::dixon;
/// // Nitrite in river water (Miller and Miller, ch. 3): Q = 0.606, critical at 5 % 0.568.
/// let found = dixon(&[0.403, 0.410, 0.401, 0.380, 0.400, 0.413, 0.408])?;
/// assert!((found.statistic - 0.60606).abs() < 1e-5 && found.p_value < 0.05 && found.index == 3);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn dixon(values: &[f64]) -> Result<Outlier> {
    check(values, MOST_DIXON)?;
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let sorted: Vec<f64> = order.iter().map(|&i| values[i]).collect();
    let (low, high) = ratios(&sorted);
    let index = if low > high { order[0] } else { order[n - 1] };
    let statistic = low.max(high);
    Ok(Outlier {
        test: OutlierTest::Dixon,
        statistic_name: kind(n).0,
        statistic,
        p_value: (2.0 * upper(&null(n), statistic)).min(1.0),
        index,
        value: values[index],
        n,
    })
}

/// Name of the ratio for n values, how far the neighbour lies, how many are left out at the other end.
fn kind(n: usize) -> (&'static str, usize, usize) {
    match n {
        0..=7 => ("r10", 1, 0),
        8..=10 => ("r11", 1, 1),
        11..=13 => ("r21", 2, 1),
        _ => ("r22", 2, 2),
    }
}

/// The ratio at the lower and at the upper end of sorted values.
fn ratios(x: &[f64]) -> (f64, f64) {
    let n = x.len();
    let (_, near, out) = kind(n);
    let last = n - 1;
    ((x[near] - x[0]) / (x[last - out] - x[0]), (x[last] - x[last - near]) / (x[last] - x[out]))
}

/// Sorted ratios of normal values, drawn once for each n.
fn null(n: usize) -> Arc<Vec<f64>> {
    static KNOWN: OnceLock<Mutex<HashMap<usize, Arc<Vec<f64>>>>> = OnceLock::new();
    let mut known = KNOWN.get_or_init(Mutex::default).lock().unwrap_or_else(PoisonError::into_inner);
    Arc::clone(known.entry(n).or_insert_with(|| {
        let mut random = Xoshiro256PlusPlus::stream(0x000D_1408, n as u64);
        let mut x = vec![0.0; n];
        let mut all: Vec<f64> = (0..DRAWS)
            .flat_map(|_| {
                x.iter_mut().for_each(|x| *x = random.normal());
                x.sort_unstable_by(f64::total_cmp);
                let (low, high) = ratios(&x);
                [low, high]
            })
            .collect();
        all.sort_unstable_by(f64::total_cmp);
        Arc::new(all)
    }))
}

fn farthest(d: &[f64], mean: f64) -> (usize, f64) {
    let mut best = (0, 0.0);
    for (i, x) in d.iter().enumerate() {
        if (x - mean).abs() > best.1 {
            best = (i, (x - mean).abs());
        }
    }
    best
}

fn check(values: &[f64], most: usize) -> Result<()> {
    if let Some(bad) = values.iter().find(|x| !x.is_finite()) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("a value of {bad} among replicates; finite numbers are wanted"),
        ));
    }
    if values.len() < LEAST || values.len() > most {
        let wanted = if most == usize::MAX { format!("{LEAST} or more") } else { format!("{LEAST} to {most}") };
        return Err(Error::new(
            ErrorKind::Data,
            format!("{} values; a test for a value too far off takes {wanted}", values.len()),
        )
        .hint("make more flasks, or look at each by itself"));
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    if let Some(pair) = sorted.windows(2).find(|p| p[0] == p[1]) {
        return Err(Error::new(
            ErrorKind::Data,
            format!("{} stands twice among the values: rounded values cannot be tested for one too far off", pair[0]),
        )
        .hint("give them with all their digits"));
    }
    Ok(())
}
