//! Propagation of distributions: is the linear uncertainty of an amount good enough?

use std::fmt;

use rayon::prelude::*;

use crate::calibrate::pivot::{Pivot, Variance};
use crate::calibrate::{Covariance, Function, Inverse};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::{Xoshiro256PlusPlus, student_t_quantile};

/// Trials that share one stream of random numbers; fixed, so that the number of threads changes nothing.
const BLOCK: usize = 1 << 14;

/// Degrees of freedom below which a source is not drawn, unless the whole has fewer.
const LEAST_DOF: f64 = 4.0;

/// What is fixed before a Monte Carlo check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MonteCarloOptions {
    /// Number of trials (default 10⁶; JCGM 101:2008, 7.2).
    pub trials: usize,
    /// Seed.
    pub seed: u64,
}

impl Default for MonteCarloOptions {
    fn default() -> Self {
        MonteCarloOptions { trials: 1_000_000, seed: 101 }
    }
}

/// An amount's distribution, beside its linear uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MonteCarlo {
    /// Number of trials.
    pub trials: usize,
    /// Mean of the trials. A wide distribution of a quotient has none worth naming; the interval holds all the same.
    pub mean: f64,
    /// Their standard deviation, with the same caution.
    pub sd: f64,
    /// Interval that leaves equal tails, at the amount's level.
    pub interval: [f64; 2],
    /// Content ± t·u of the linear law of propagation at the same level; `None` where u is withheld.
    pub linear: Option<[f64; 2]>,
    /// How far the ends may differ: half a unit of the second significant digit of u (JCGM 101:2008, 7.9.2).
    pub tolerance: f64,
}

impl MonteCarlo {
    /// True where both ends of the linear interval agree with those of the trials within the tolerance.
    pub fn linear_is_good(&self) -> bool {
        let off = |i: usize| self.linear.map_or(f64::INFINITY, |l| (l[i] - self.interval[i]).abs());
        off(0) <= self.tolerance && off(1) <= self.tolerance
    }
}

impl fmt::Display for MonteCarlo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use crate::estimate::rounded;
        let [low, high] = self.interval;
        let s = self.tolerance;
        write!(f, "Monte Carlo, {} trials: {} to {}; ", self.trials, rounded(low, s), rounded(high, s))?;
        match self.linear {
            Some([a, b]) if self.linear_is_good() => {
                write!(f, "the linear interval, {} to {}, is good enough", rounded(a, s), rounded(b, s))
            }
            Some([a, b]) => {
                write!(
                    f,
                    "the linear interval, {} to {}, is not good enough: use this one",
                    rounded(a, s),
                    rounded(b, s)
                )
            }
            None => f.write_str("there is no linear interval"),
        }
    }
}

/// One source of a trial.
enum Source {
    /// Standard deviation of the mean response.
    Response(f64),
    /// Lower triangle of the coefficients' covariance.
    Coefficients([[f64; 3]; 3]),
    /// Relative standard uncertainty of the content.
    Relative(f64),
}

/// Sources that rest on one estimate of scatter, and its degrees of freedom.
struct Group {
    dof: f64,
    sources: Vec<Source>,
}

impl Inverse {
    /// Propagates distributions through the inverse of the curve (JCGM 101:2008).
    ///
    /// Every trial draws the sample's mean response, the coefficients with their covariance, and a factor for each
    /// shared source, and solves for the content. What rests on an estimated scatter is drawn from Student's t with its
    /// degrees of freedom, jointly where one estimate serves several (JCGM 101:2008, 6.4.9), but not with fewer than 4 unless the whole has
    /// fewer; what is known from a normal
    /// distribution. Shared sources are drawn normal: their tolerances are no longer known here, and a rectangle
    /// among several sources changes the ends by little.
    ///
    /// The same seed gives the same numbers on any machine and with any number of threads; 10⁶ trials of 12 sources
    /// take some 0.1 s on two cores. The ends carry a Monte Carlo error of about 0.2 % of u.
    ///
    /// # Errors
    /// No inference (too few degrees of freedom), or fewer than 10,000 trials.
    ///
    /// ```
    /// use vialbook::calibrate::{CalibrationOptions, Curve, Flask, Unknown, Weighting};
    /// use vialbook::quantify::MonteCarloOptions;
    /// let y = [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7];
    /// let flasks: Vec<Flask> =
    ///     y.iter().enumerate().map(|(i, &y)| Flask::reading(format!("S{i}"), 2.0 * i as f64, y)).collect();
    /// let curve = Curve::fit(&flasks, &CalibrationOptions::weighted(Weighting::None))?;
    /// let found = curve.invert(&Unknown::from_flasks("sample", &[13.5]))?;
    /// let trials = found.monte_carlo(&MonteCarloOptions { trials: 100_000, seed: 1 })?;
    /// let fieller = found.interval.map(|x| x.unwrap_or(f64::NAN));
    /// assert!((trials.interval[0] - fieller[0]).abs() < 0.01 && (trials.interval[1] - fieller[1]).abs() < 0.01);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn monte_carlo(&self, options: &MonteCarloOptions) -> Result<MonteCarlo> {
        let Some(pivot) = &self.pivot else {
            return Err(Error::new(ErrorKind::Data, "a content without uncertainty has no distribution to draw from")
                .hint("make more flasks: 3 residual degrees of freedom are the least"));
        };
        if options.trials < 10_000 {
            return Err(Error::new(
                ErrorKind::Option,
                format!("{} trials; 10,000 are the least for the ends of an interval", options.trials),
            ));
        }
        let groups = groups(pivot);
        let mut x = vec![0.0; options.trials];
        x.par_chunks_mut(BLOCK).enumerate().for_each(|(block, x)| {
            let mut random = Xoshiro256PlusPlus::stream(options.seed, block as u64);
            x.iter_mut().for_each(|x| *x = trial(pivot, &groups, &mut random));
        });
        // Sums by block and then in order: the same bits whoever adds.
        let n = options.trials as f64;
        let sum = |f: &(dyn Fn(f64) -> f64 + Sync)| -> f64 {
            let parts: Vec<f64> = x.par_chunks(BLOCK).map(|c| c.iter().map(|x| f(*x)).sum()).collect();
            parts.iter().sum()
        };
        let mean = sum(&|x| x) / n;
        let sd = libm::sqrt(sum(&|x| (x - mean) * (x - mean)) / (n - 1.0));
        let tail = 0.5 * (1.0 - self.level);
        let [low, high] = ends(&mut x, tail);
        let u = self.u.unwrap_or(sd);
        let t = self
            .dof
            .map_or_else(|| student_t_quantile(1.0 - tail, f64::INFINITY), |dof| student_t_quantile(1.0 - tail, dof));
        let linear = self.u.map(|u| [self.content - t * u, self.content + t * u]);
        Ok(MonteCarlo { trials: options.trials, mean, sd, interval: [low, high], linear, tolerance: tolerance(u) })
    }
}

/// Half a unit of the second significant digit of u.
fn tolerance(u: f64) -> f64 {
    if u > 0.0 && u.is_finite() { 0.5 * libm::pow(10.0, libm::floor(libm::log10(u)) - 1.0) } else { 0.0 }
}

/// The values that leave `tail` of all below and above, by selection.
fn ends(x: &mut [f64], tail: f64) -> [f64; 2] {
    let n = x.len();
    // JCGM 101:2008, 7.7: q = p·M trials inside, r = (M - q)/2 below.
    let below = (libm::round(tail * n as f64) as usize).clamp(1, n / 2);
    let above = n - below;
    let (_, &mut low, rest) = x.select_nth_unstable_by(below - 1, f64::total_cmp);
    let (_, &mut high, _) = rest.select_nth_unstable_by(above - below, f64::total_cmp);
    [low, high]
}

fn groups(pivot: &Pivot) -> Vec<Group> {
    let mut out: Vec<(usize, Group)> = Vec::new();
    // A little scatter that is hardly known, ν near 0, would be drawn larger than everything else together.
    let least = pivot.dof(pivot.content()).min(LEAST_DOF);
    for part in &pivot.parts {
        let v = &part.variance;
        let source = if v.shared > 0.0 {
            Source::Relative(libm::sqrt(v.shared))
        } else if v.covariance != [0.0; 6] {
            Source::Coefficients(lower_triangle(&v.covariance))
        } else {
            Source::Response(libm::sqrt(Variance::at(v, &pivot.function, pivot.found).max(0.0)))
        };
        match out.iter_mut().find(|(estimate, _)| *estimate == part.estimate) {
            Some((_, group)) => group.sources.push(source),
            None => out.push((part.estimate, Group { dof: part.dof.max(least), sources: vec![source] })),
        }
    }
    out.into_iter().map(|(_, g)| g).collect()
}

/// L with LLᵀ = C (Cholesky); a coefficient that is not there has a row of zeros.
fn lower_triangle(c: &Covariance) -> [[f64; 3]; 3] {
    let full = [[c[0], c[1], c[3]], [c[1], c[2], c[4]], [c[3], c[4], c[5]]];
    let mut l = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            let rest = full[i][j] - sum;
            l[i][j] = if i == j {
                // What rounding leaves of a dependent coefficient is nothing.
                if rest > 1e-14 * full[i][i] { libm::sqrt(rest) } else { 0.0 }
            } else if l[j][j] > 0.0 {
                rest / l[j][j]
            } else {
                0.0
            };
        }
    }
    l
}

fn trial(pivot: &Pivot, groups: &[Group], random: &mut Xoshiro256PlusPlus) -> f64 {
    let (mut y, mut moved, mut factor) = (pivot.response, [0.0; 3], pivot.scale);
    for group in groups {
        let wide = match group.dof {
            dof if dof.is_finite() => libm::sqrt(dof / random.chi_squared(dof)),
            _ => 1.0,
        };
        for source in &group.sources {
            match source {
                Source::Response(sd) => y += wide * sd * random.normal(),
                Source::Relative(u) => factor *= 1.0 + wide * u * random.normal(),
                Source::Coefficients(l) => {
                    for (j, column) in l.iter().enumerate() {
                        if column[j] == 0.0 {
                            continue;
                        }
                        let z = wide * random.normal();
                        moved.iter_mut().zip(l).skip(j).for_each(|(moved, row)| *moved += row[j] * z);
                    }
                }
            }
        }
    }
    let f = shifted(&pivot.function, moved);
    match f.as_line() {
        Some((a, b)) => (y - a) / b * factor,
        None => {
            let branch = f.branch(pivot.range);
            // A response beyond the turn: the turn is the nearest content.
            let turn = || branch.into_iter().find(|x| x.is_finite()).unwrap_or(pivot.found);
            f.content_of(y, branch).unwrap_or_else(turn) * factor
        }
    }
}

fn shifted(f: &Function, d: [f64; 3]) -> Function {
    match *f {
        Function::Polynomial([a, b, c]) => Function::Polynomial([a + d[0], b + d[1], c + d[2]]),
        Function::Power { factor, exponent } => Function::Power { factor: factor + d[0], exponent: exponent + d[1] },
        Function::LogLog { log_factor, exponent } => {
            Function::LogLog { log_factor: log_factor + d[0], exponent: exponent + d[1] }
        }
    }
}
