//! Noise of a trace: standard deviation, correlation of neighbouring points, converter step.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::trace::Trace;

/// The noise of a trace, or of a stretch of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Standard deviation σ of the noise in signal units: how far points scatter about a smooth baseline. Never
    /// below step/√12.
    pub sd: f64,
    /// Correlation φ of neighbouring points: 0 for white noise, towards 1 where electronics smooth.
    pub autocorrelation: f64,
    /// The converter's step in signal units: as stated, else as read off the values; none where they lie on no
    /// grid.
    pub step: Option<f64>,
    /// True where `sd` is the least it can be, step/√12, and not what the points say.
    pub is_floor: bool,
    /// Number of points that the estimate rests on; peaks are left out.
    pub points: usize,
    /// Highest less lowest point about a straight line in the longest stretch free of peaks, in signal units.
    pub peak_to_peak: f64,
    /// First and last minute of that stretch. The range grows with its length: for 30, 100, 1,000 white points
    /// it is 4.1, 5.0, 6.5 σ.
    pub window_min: [f64; 2],
}

impl Noise {
    /// Standard deviation of a weighted sum Σ cᵢ yᵢ of neighbouring points.
    ///
    /// Exact for noise whose correlation falls off as φ^|i - j|:
    /// u² = σ² (Σ cᵢ² + 2 Σ cᵢ sᵢ) with sᵢ = φ (sᵢ₋₁ + cᵢ₋₁).
    ///
    /// ```
    /// use vialbook::Trace;
    /// let trace = Trace::new((0..400).map(f64::from).collect::<Vec<_>>(), (0..400).map(|i| f64::from(i * 7919 % 13)).collect::<Vec<_>>(), "mV")?;
    /// let noise = trace.noise();
    /// assert!((noise.of_sum(&[1.0]) - noise.sd).abs() < 1e-12);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn of_sum(&self, weights: &[f64]) -> f64 {
        self.sd * correlated_norm(weights, self.autocorrelation)
    }
}

/// √(cᵀ R c) with Rᵢⱼ = φ^|i - j|, in one pass.
pub(crate) fn correlated_norm(weights: &[f64], phi: f64) -> f64 {
    // Four recurrences side by side, each over every fourth weight, since one would wait for itself at each step:
    // sᵢ = φ (cᵢ₋₁ + sᵢ₋₁) = φ cᵢ₋₁ + φ² cᵢ₋₂ + φ³ cᵢ₋₃ + φ⁴ (cᵢ₋₄ + sᵢ₋₄).
    let (second, third, fourth) = (phi * phi, phi * phi * phi, phi * phi * phi * phi);
    let (mut sums, mut carried) = ([0.0; 4], [0.0; 4]);
    let mut before = [0.0; 4];
    let mut fours = weights.chunks_exact(4);
    for c in &mut fours {
        // The last four weights and these.
        let row = [before[0], before[1], before[2], before[3], c[0], c[1], c[2], c[3]];
        for j in 0..4 {
            let near = phi * row[j + 3] + second * row[j + 2] + third * row[j + 1];
            carried[j] = near + fourth * (row[j] + carried[j]);
            sums[j] += row[j + 4] * (row[j + 4] + 2.0 * carried[j]);
        }
        before = [c[0], c[1], c[2], c[3]];
    }
    let mut sum: f64 = sums.iter().sum();
    let (mut carried, mut last) = (carried[3], before[3]);
    for &c in fours.remainder() {
        carried = phi * (carried + last);
        sum += c * (c + 2.0 * carried);
        last = c;
    }
    f64::sqrt(sum.max(0.0))
}

/// Noise of a signal on evenly spaced points; `step` is the converter's where it is known.
///
/// **How.** The signal is cut into blocks of 64 points. In each, the differences at lags 1 and 2 have mean
/// squares about their mean (so that a slope does not count). A block is quiet if both are at most 2.25 times the lower quartile of all blocks, and its neighbours are; peaks, spikes and
/// steps are not, and three quarters of the run may be disturbed before this breaks down (the median absolute
/// deviation of all differences: one half). With D₁ and D₂ the mean squares over the quiet stretches, about a straight
/// line so that a bent drift does not count either,
///
/// φ = D₂/D₁ - 1,   σ² = D₁ / (2 (1 - φ)),
///
/// which holds for noise whose correlation falls as φ^k, since D_k = 2σ² (1 - φ^k); a spread of differences alone
/// would give √(1 - φ) σ. Where φ comes out above 0.6 the same is done at lags 4 and 8, then 16 and 32, so that σ
/// does not hang on a small difference of large numbers; φ is then 1 - D₁/(2σ²).
///
/// **Crowded runs.** Differences of such noise grow at most as the root of their lag, D₂ ≤ 2 D₁. Where D₂ > 2.15 D₁ in the
/// blocks that seemed quiet, they are full of small peaks; quiet is then looked for at the 1/16 and the 1/64 quantile of
/// the blocks, and how the noise changes along the run is told from third differences, which peaks hardly show in.
///
/// **Accuracy** with 6,000 points, a third of them under peaks (400 seeded runs, mean and scatter of σ over its
/// true value): white noise 1.000 ± 0.013; φ = 0.5: 0.997 ± 0.028; φ = 0.8: 1.004 ± 0.040; φ = 0.95: 0.999 ± 0.16;
/// φ itself to ±0.03. Noise that wanders more slowly than 32 points counts as drift. Variance from successive
/// differences: J. von Neumann, R. H. Kent, H. R. Bellinson, B. I. Hart, Annals of Mathematical Statistics 12
/// (1941) 153-162; blocks and quartile are this project's.
///
/// Never below step/√12 (a rectangular distribution one step wide), nor below 1e-11 of the largest signal, so
/// that rounding is not taken for peaks in a trace without noise.
pub fn estimate_noise(time_min: &[f64], signal: &[f64], step: Option<f64>) -> Noise {
    NoiseProfile::new(signal, step).summary(time_min, signal)
}

/// The step of the grid on which all values lie, if they lie on one.
///
/// The least difference of neighbours is a step if at least 98 % of the differences of up to 20 steps (of which
/// there must be 20, unless most neighbours are equal) lie within a tenth of a whole number of steps.
pub fn estimate_step(signal: &[f64]) -> Option<f64> {
    let largest = largest_size(signal);
    // Differences of rounded decimals are uncertain by a few ulp of the values.
    let least = 16.0 * f64::EPSILON * largest;
    let mut lanes = [f64::INFINITY; 8];
    let rest = signal.get(1..).unwrap_or(&[]);
    let (mut early, mut late) = (signal.chunks_exact(8), rest.chunks_exact(8));
    for (a, b) in (&mut early).zip(&mut late) {
        for j in 0..8 {
            let d = (b[j] - a[j]).abs();
            let d = if d > least { d } else { f64::INFINITY };
            lanes[j] = if d < lanes[j] { d } else { lanes[j] };
        }
    }
    let seen = rest.len() / 8 * 8;
    let left_over = signal[seen..].windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > least);
    let step = lanes.into_iter().chain(left_over).fold(f64::INFINITY, f64::min);
    if !step.is_finite() {
        return None;
    }
    let (mut small, mut whole, mut same) = (0_usize, 0_usize, 0_usize);
    let per_step = 1.0 / step;
    let mut look = |early: f64, late: f64| {
        let steps = (late - early).abs() * per_step;
        if steps <= 0.5 {
            same += 1;
        } else if steps <= 20.5 {
            small += 1;
            whole += usize::from((steps - steps.round()).abs() <= 0.1);
        }
    };
    // Pieces whose differences are all large say nothing.
    let far = 21.0 * step;
    let (mut early, mut late) = (signal.chunks_exact(8), rest.chunks_exact(8));
    for (a, b) in (&mut early).zip(&mut late) {
        let mut least = [f64::INFINITY; 4];
        for j in 0..8 {
            let d = (b[j] - a[j]).abs();
            least[j % 4] = if d < least[j % 4] { d } else { least[j % 4] };
        }
        if least.iter().any(|d| *d <= far) {
            a.iter().zip(b).for_each(|(a, b)| look(*a, *b));
        }
    }
    signal[seen..].windows(2).for_each(|w| look(w[0], w[1]));
    let stands_still = 2 * same > signal.len();
    ((small >= 20 || stands_still) && whole * 100 >= small * 98).then_some(step)
}

/// The largest |y|, eight lanes side by side.
fn largest_size(signal: &[f64]) -> f64 {
    let mut lanes = [0.0_f64; 8];
    let mut eights = signal.chunks_exact(8);
    for part in &mut eights {
        for j in 0..8 {
            lanes[j] = if part[j].abs() > lanes[j] { part[j].abs() } else { lanes[j] };
        }
    }
    let left_over = eights.remainder().iter().map(|y| y.abs());
    lanes.into_iter().chain(left_over).fold(0.0, f64::max)
}

/// Points in a block; large enough for a mean square to be known to 20 %, small enough to fit between peaks.
const BLOCK: usize = 64;
/// A block is quiet up to this multiple of the lower quartile: 5 standard errors for pure noise.
const QUIET: f64 = 2.25;
/// The correlation at the longest lag is taken to be at most this: where differences still grow in proportion to the
/// lag, the signal wanders without end, and σ is that of a few lags.
const STILL_RISING: f64 = 0.9;
/// Above this correlation longer lags are used.
const LONGER_LAGS: f64 = 0.6;
/// The noise at a place differs from the run's if its standard deviation does by more than this share.
const SAME: f64 = 0.15;
/// The quantile of blocks that quiet ones are looked for at: a quartile.
const QUARTER: usize = 4;
/// Mean squares of the differences of noise at lag 2 over those at lag 1 are at most 2 (a random walk); with its scatter.
const SMOOTH: f64 = 2.15;
/// The noise at a place is at most so many times the run's.
const LOCAL_MOST: f64 = 4.0;
/// The same where it is told from third differences.
const CROWDED_MOST: f64 = 30.0;
/// Blocks on either side that say how large the noise is at a place.
const NEIGHBOURS: usize = 8;

/// The noise along a trace: how it is correlated, and how large it is at each place.
#[derive(Clone, Debug, PartialEq)]
pub struct NoiseProfile {
    /// Standard deviation over the whole trace in signal units.
    pub sd: f64,
    /// Correlation of neighbouring points.
    pub autocorrelation: f64,
    /// The converter's step, stated or found.
    pub step: Option<f64>,
    /// The least that `sd` may be.
    pub floor: f64,
    is_floor: bool,
    is_crowded: bool,
    /// Variance before the floor.
    rounded_variance: f64,
    block: usize,
    stretches: Vec<Range<usize>>,
    quiet: Vec<bool>,
    local_sd: Vec<f64>,
}

impl NoiseProfile {
    /// The profile of a signal on evenly spaced points; see [`estimate_noise`].
    pub fn new(signal: &[f64], step: Option<f64>) -> Self {
        let step = step.filter(|s| *s > 0.0 && s.is_finite()).or_else(|| estimate_step(signal));
        let largest = largest_size(signal);
        let floor = (step.unwrap_or(0.0) / 12_f64.sqrt()).max(1e-11 * largest).max(f64::MIN_POSITIVE);
        let block = BLOCK.min(signal.len());
        let squares = Squares::new(signal, block);
        let mut blocks = Blocks::new(&squares, block, QUARTER);
        let mut stretches = blocks.stretches(signal.len());
        let mut lag = 1;
        let mut pair = LagPair::new(signal, &stretches, block, lag);
        // Differences of noise grow at most as the root of their lag; where they grow faster it is peaks that were taken
        // for quiet, and a smaller share of the run is.
        let mut is_crowded = false;
        for part in [16, 64] {
            if pair.short <= 0.0 || pair.long <= SMOOTH * pair.short || squares.short.len() < 4 * part {
                break;
            }
            let quieter = Blocks::new(&squares, block, part);
            let parts = quieter.stretches(signal.len());
            let other = LagPair::new(signal, &parts, block, lag);
            if other.points >= 4 * block && other.long <= SMOOTH * other.short {
                (blocks, stretches, pair, is_crowded) = (quieter, parts, other, true);
                break;
            }
        }
        let d1 = pair.short;
        while pair.correlation() > LONGER_LAGS {
            let longer = LagPair::new(signal, &stretches, block * lag * 4, lag * 4);
            if longer.points < 4 * BLOCK * lag * 4 {
                break;
            }
            lag *= 4;
            pair = longer;
        }
        // A drift read through a coarse step is a staircase, whose points are correlated over a whole stair: no noise
        // to fit a correlation to. Its differences stay below half a step at any lag.
        let plateau = 0.5 * pair.long.max(pair.short);
        let is_staircase = step.is_some_and(|step| plateau < 0.25 * step * step);
        let variance = if is_staircase { plateau } else { pair.variance() };
        let is_floor = variance.sqrt() < floor;
        let autocorrelation =
            if is_floor || is_staircase || d1 <= 0.0 { 0.0 } else { (1.0 - 0.5 * d1 / variance).clamp(-0.5, 0.9995) };
        let sd = variance.sqrt().max(floor);
        let local_sd = if is_staircase {
            vec![sd; blocks.quiet.len()]
        } else if is_crowded {
            let (thirds, of_quiet) = third_differences(signal, &blocks);
            local(&thirds, sd, of_quiet, floor, CROWDED_MOST)
        } else {
            local(&squares.short, sd, d1, floor, LOCAL_MOST)
        };
        let quiet = blocks.quiet;
        NoiseProfile {
            sd,
            autocorrelation,
            step,
            floor,
            is_floor,
            is_crowded,
            rounded_variance: variance,
            block,
            stretches,
            quiet,
            local_sd,
        }
    }

    /// Standard deviation of the noise about the point `index`, from the quiet blocks among the 17 nearest.
    pub fn sd_at(&self, index: usize) -> f64 {
        self.local_sd[(index / self.block).min(self.local_sd.len() - 1)]
    }

    /// The step of a converter whose rounding would err by as much as the share of rounding that all points have in
    /// common: the real step where there is no noise, 0 from a noise of half a step on.
    ///
    /// Rounded to q, noise of standard deviation σ = s q has a mean that errs by a wave in its place between two steps, with
    /// a mean square of q² Σ exp(-4π² k² s²)/(2π² k²) over all places (B. Widrow and I. Kollár, Quantization Noise (Cambridge
    /// 2008), chapter on dither), q²/12 without noise. Of the rest, V, what is seen about the mean: V = q² s/√π for s below
    /// 0.28 (the mean of p (1 - p), p = Φ(x/s)), and q² (s² + 1/12) above, each within 3 %. That gives s from V, and V itself
    /// comes from the differences of neighbours.
    pub(crate) fn shared_step(&self) -> f64 {
        match self.step {
            Some(step) if self.sd < 0.5 * step => {
                let v = self.rounded_variance / (step * step);
                let own = if v < 0.16 { std::f64::consts::PI * v * v } else { v - 1.0 / 12.0 };
                let pi_2 = std::f64::consts::PI * std::f64::consts::PI;
                let wave = |k: i32| {
                    let k2 = f64::from(k * k);
                    libm::exp(-4.0 * pi_2 * k2 * own) / (2.0 * pi_2 * k2)
                };
                step * (12.0 * (1..=40).map(wave).sum::<f64>()).min(1.0).sqrt()
            }
            _ => 0.0,
        }
    }

    /// The stretches free of peaks where they are so small a share of the run that statistics over all of it are those of
    /// peaks; none otherwise.
    pub(crate) fn only_quiet(&self) -> Option<&[Range<usize>]> {
        self.is_crowded.then_some(&self.stretches[..])
    }

    /// Whether the block that holds the point `index` is free of peaks.
    pub fn is_quiet_at(&self, index: usize) -> bool {
        self.quiet[(index / self.block).min(self.quiet.len() - 1)]
    }

    /// One number for the whole trace.
    pub(crate) fn summary(&self, time_min: &[f64], signal: &[f64]) -> Noise {
        let n = signal.len();
        let longest = self.stretches.iter().max_by_key(|r| r.len()).cloned().unwrap_or(0..n);
        let (a, b) = (longest.start, longest.end);
        let (a, b) = if b >= a + 2 { (a, b) } else { (0, n) };
        Noise {
            sd: self.sd,
            autocorrelation: self.autocorrelation,
            step: self.step,
            is_floor: self.is_floor,
            points: self.stretches.iter().map(Range::len).sum(),
            peak_to_peak: range_about_line(&signal[a..b]),
            window_min: [time_min[a], time_min[b - 1]],
        }
    }
}

/// Highest less lowest point about the least-squares line.
pub(crate) fn range_about_line(signal: &[f64]) -> f64 {
    let Some(&first) = signal.first() else { return 0.0 };
    let n = signal.len() as f64;
    let centre = 0.5 * (n - 1.0);
    // Sums of d and i d, d the signal less its first point, four side by side.
    let (mut plain, mut moment) = ([0.0; 4], [0.0; 4]);
    let mut at = [0.0, 1.0, 2.0, 3.0];
    let mut fours = signal.chunks_exact(4);
    for y in &mut fours {
        for j in 0..4 {
            let d = y[j] - first;
            plain[j] += d;
            moment[j] += at[j] * d;
            at[j] += 4.0;
        }
    }
    for (j, y) in fours.remainder().iter().enumerate() {
        plain[j] += y - first;
        moment[j] += at[j] * (y - first);
    }
    let across = moment.iter().sum::<f64>() - centre * plain.iter().sum::<f64>();
    let slope = if n > 1.0 { across / (n * (n * n - 1.0) / 12.0) } else { 0.0 };
    let (mut low, mut high) = ([f64::INFINITY; 4], [f64::NEG_INFINITY; 4]);
    let mut drop = [0.0, slope, 2.0 * slope, 3.0 * slope];
    let mut fours = signal.chunks_exact(4);
    let mut whole = 0.0;
    for y in &mut fours {
        for j in 0..4 {
            let r = y[j] - (drop[j] + whole * slope);
            low[j] = if r < low[j] { r } else { low[j] };
            high[j] = if r > high[j] { r } else { high[j] };
        }
        whole += 4.0;
    }
    drop.iter_mut().for_each(|d| *d += whole * slope);
    for (j, y) in fours.remainder().iter().enumerate() {
        low[j] = low[j].min(y - drop[j]);
        high[j] = high[j].max(y - drop[j]);
    }
    high.into_iter().fold(f64::NEG_INFINITY, f64::max) - low.into_iter().fold(f64::INFINITY, f64::min)
}

/// Mean squares of the differences at lags 1 and 2, block by block.
struct Squares {
    short: Vec<f64>,
    long: Vec<f64>,
}

impl Squares {
    fn new(signal: &[f64], size: usize) -> Self {
        let n = signal.len();
        let count = (n / size).max(1);
        let (mut short, mut long) = (Vec::with_capacity(count), Vec::with_capacity(count));
        for k in 0..count {
            // The last block takes what is left over; differences may reach into the next block.
            let (a, b) = (k * size, if k + 1 == count { n } else { (k + 1) * size });
            // About the mean only: the top of a peak is a parabola, and must show.
            short.push(square_difference_about_mean(&signal[a..(b + 1).min(n)], 1));
            long.push(square_difference_about_mean(&signal[a..(b + 2).min(n)], 2));
        }
        Squares { short, long }
    }
}

/// Which blocks are quiet.
struct Blocks {
    size: usize,
    quiet: Vec<bool>,
}

impl Blocks {
    /// Quiet is what lies near the 1/`part` quantile of all blocks.
    fn new(squares: &Squares, size: usize, part: usize) -> Self {
        let Squares { short, long } = squares;
        let count = short.len();
        let (limit_short, limit_long) = (QUIET * lower_part(short, part), QUIET * lower_part(long, part));
        let calm: Vec<bool> = short.iter().zip(long).map(|(s, l)| *s <= limit_short && *l <= limit_long).collect();
        // The foot of a peak reaches into the next block unseen, so neighbours of a disturbed block are left out
        // too, as long as a fifth of the run (or of what may be quiet) remains.
        let inner: Vec<bool> =
            (0..count).map(|k| calm[k] && (k == 0 || calm[k - 1]) && (k + 1 == count || calm[k + 1])).collect();
        let enough = inner.iter().filter(|q| **q).count() * 5 * part >= count * QUARTER;
        let quiet = if enough {
            inner
        } else if calm.contains(&true) {
            calm
        } else {
            vec![true; count]
        };
        Blocks { size, quiet }
    }

    /// Ranges of points in rows of quiet blocks.
    fn stretches(&self, n: usize) -> Vec<Range<usize>> {
        let (mut found, mut start) = (Vec::new(), 0);
        for k in 0..=self.quiet.len() {
            if k == self.quiet.len() || !self.quiet[k] {
                if k > start {
                    found.push(start * self.size..if k == self.quiet.len() { n } else { k * self.size });
                }
                start = k + 1;
            }
        }
        found
    }
}

/// Standard deviation at each block: the whole run's, times the root of its neighbourhood's mean square over
/// the run's; at most so many times, since what is larger is signal.
fn local(squares: &[f64], sd: f64, d_run: f64, floor: f64, most: f64) -> Vec<f64> {
    let count = squares.len();
    // The neighbourhood's positive values in rising order; each step takes one in and lets one go.
    let mut near: Vec<f64> = Vec::with_capacity(2 * NEIGHBOURS + 1);
    let enter = |near: &mut Vec<f64>, value: f64| {
        if value > 0.0 {
            near.insert(near.partition_point(|v| *v < value), value);
        }
    };
    squares.iter().take(NEIGHBOURS).for_each(|&v| enter(&mut near, v));
    (0..count)
        .map(|k| {
            let (a, b) = (k.saturating_sub(NEIGHBOURS), (k + NEIGHBOURS + 1).min(count));
            if k + NEIGHBOURS < count {
                enter(&mut near, squares[k + NEIGHBOURS]);
            }
            if k > NEIGHBOURS && squares[a - 1] > 0.0 {
                near.remove(near.partition_point(|v| *v < squares[a - 1]));
            }
            // As `lower_part` of them: 0 where most are 0.
            let quarter = if 2 * near.len() <= b - a { 0.0 } else { near[near.len() / QUARTER] };
            let limit = QUIET * quarter;
            let (sum, kept) =
                squares[a..b].iter().filter(|d| **d <= limit).fold((0.0, 0_usize), |(s, c), d| (s + d, c + 1));
            if kept == 0 || d_run <= 0.0 {
                return sd;
            }
            let ratio = (sum / kept as f64 / d_run).sqrt();
            // Within the scatter of a thousand points the noise is taken to be the same everywhere.
            let ratio = if (ratio - 1.0).abs() <= SAME { 1.0 } else { ratio.min(most) };
            (sd * ratio).max(floor)
        })
        .collect()
}

/// Mean squares of the third differences, block by block, and over the quiet blocks alone: a peak of 10 points at half
/// height adds less than a hundredth of its height to them, so that they tell the noise under peaks.
fn third_differences(signal: &[f64], blocks: &Blocks) -> (Vec<f64>, f64) {
    let (n, count) = (signal.len(), blocks.quiet.len());
    let (mut all, mut sum, mut kept) = (Vec::with_capacity(count), 0.0, 0_usize);
    for k in 0..count {
        let (a, b) = (k * blocks.size, if k + 1 == count { n } else { (k + 1) * blocks.size });
        let windows = signal[a..b].windows(4);
        let square = |w: &[f64]| {
            let d = (w[3] - w[0]) - 3.0 * (w[2] - w[1]);
            d * d
        };
        let mean = windows.map(square).sum::<f64>() / (b - a).saturating_sub(3).max(1) as f64;
        all.push(mean);
        if blocks.quiet[k] {
            sum += mean;
            kept += 1;
        }
    }
    (all, sum / kept.max(1) as f64)
}

/// Mean squares of the differences at a lag and at twice that lag over the quiet stretches.
struct LagPair {
    short: f64,
    long: f64,
    points: usize,
}

impl LagPair {
    /// Each stretch is cut into pieces of `piece` points, so that drift is straightened out piece by piece.
    fn new(signal: &[f64], stretches: &[Range<usize>], piece: usize, lag: usize) -> Self {
        let (mut short, mut long, mut points) = (0.0, 0.0, 0_usize);
        for stretch in stretches {
            let pieces = (stretch.len() / piece).max(1);
            for k in 0..pieces {
                let a = stretch.start + k * piece;
                let b = if k + 1 == pieces { stretch.end } else { (a + piece + 2 * lag).min(stretch.end) };
                // A piece too short for its lag says nothing.
                if b - a > 2 * lag + 8 || stretches.len() == 1 {
                    let weight = (b - a).saturating_sub(2 * lag);
                    short += weight as f64 * square_difference_about_line(&signal[a..b], lag);
                    long += weight as f64 * square_difference_about_line(&signal[a..b], 2 * lag);
                    points += weight;
                }
            }
        }
        let total = points.max(1) as f64;
        LagPair { short: short / total, long: long / total, points }
    }

    /// Correlation at the lag.
    fn correlation(&self) -> f64 {
        if self.short > 0.0 { (self.long / self.short - 1.0).clamp(-0.5, STILL_RISING) } else { 0.0 }
    }

    fn variance(&self) -> f64 {
        0.5 * self.short / (1.0 - self.correlation())
    }
}

/// Mean square of the differences d = y[i + lag] - y[i] about their mean: a slope of the signal does not count.
fn square_difference_about_mean(signal: &[f64], lag: usize) -> f64 {
    let count = signal.len().saturating_sub(lag);
    if count == 0 {
        return 0.0;
    }
    // Four sums side by side keep the adder busy.
    let (mut s, mut q) = ([0.0; 4], [0.0; 4]);
    let (mut e, mut l) = (signal[..count].chunks_exact(4), signal[lag..].chunks_exact(4));
    for (e, l) in (&mut e).zip(&mut l) {
        for j in 0..4 {
            let d = l[j] - e[j];
            s[j] += d;
            q[j] += d * d;
        }
    }
    for (j, (e, l)) in e.remainder().iter().zip(l.remainder()).enumerate() {
        let d = l - e;
        s[j] += d;
        q[j] += d * d;
    }
    let m = count as f64;
    let (s, q) = (s.iter().sum::<f64>() / m, q.iter().sum::<f64>() / m);
    (q - s * s).max(0.0)
}

/// The same about their straight line: a curvature does not count either.
fn square_difference_about_line(signal: &[f64], lag: usize) -> f64 {
    let count = signal.len().saturating_sub(lag);
    if count == 0 {
        return 0.0;
    }
    let (mut s, mut q, mut x) = ([0.0; 4], [0.0; 4], [0.0; 4]);
    let mut at = [0.0, 1.0, 2.0, 3.0];
    let (mut e, mut l) = (signal[..count].chunks_exact(4), signal[lag..].chunks_exact(4));
    for (e, l) in (&mut e).zip(&mut l) {
        for j in 0..4 {
            let d = l[j] - e[j];
            s[j] += d;
            q[j] += d * d;
            x[j] += at[j] * d;
            at[j] += 4.0;
        }
    }
    for (j, (e, l)) in e.remainder().iter().zip(l.remainder()).enumerate() {
        let d = l - e;
        s[j] += d;
        q[j] += d * d;
        x[j] += at[j] * d;
    }
    let m = count as f64;
    let (s, q, x) = (s.iter().sum::<f64>() / m, q.iter().sum::<f64>() / m, x.iter().sum::<f64>() / m);
    let across = x - 0.5 * (m - 1.0) * s;
    let spread = (m * m - 1.0) / 12.0;
    let explained = if m > 2.0 { across * across / spread } else { 0.0 };
    ((q - s * s).max(0.0) - explained).max(0.0)
}

/// The 1/`part` quantile of the positive values; 0 where most values are 0 (a converter whose step hides all noise).
fn lower_part(values: &[f64], part: usize) -> f64 {
    let mut positive: Vec<f64> = values.iter().copied().filter(|v| *v > 0.0).collect();
    if 2 * positive.len() <= values.len() {
        return 0.0;
    }
    let k = positive.len() / part;
    *positive.select_nth_unstable_by(k, f64::total_cmp).1
}

/// How noisy a trace is.
impl Trace {
    /// The trace's noise: standard deviation, correlation of neighbours, converter step; see [`estimate_noise`].
    ///
    /// ```
    /// use vialbook::{Trace, numeric::Xoshiro256PlusPlus};
    /// let mut random = Xoshiro256PlusPlus::seeded(1);
    /// let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 0.002).collect();
    /// let signal: Vec<f64> = time.iter().map(|t| 3.0 + 0.1 * t + 0.05 * random.normal()).collect();
    /// let noise = Trace::new(time, signal, "mV")?.noise();
    /// assert!((noise.sd / 0.05 - 1.0).abs() < 0.05);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn noise(&self) -> Noise {
        estimate_noise(self.time_min(), self.signal(), self.step())
    }

    /// The noise between two times.
    ///
    /// # Errors
    /// Fewer than 16 points lie between them.
    pub fn noise_between(&self, start_min: f64, end_min: f64) -> Result<Noise> {
        let part = self.slice(start_min, end_min)?;
        if part.len() < 16 {
            return Err(Error::new(
                ErrorKind::Option,
                format!("{} points between {start_min} and {end_min} min; noise needs at least 16", part.len()),
            ));
        }
        Ok(estimate_noise(part.time_min(), part.signal(), self.step().or_else(|| estimate_step(self.signal()))))
    }
}
