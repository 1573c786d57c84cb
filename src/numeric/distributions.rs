//! Normal, Student t, chi-squared and Fisher F: probabilities and quantiles, also at fractional degrees of freedom.
//!
//! `_cdf` is the probability of a value up to the argument, `_sf` that of a larger one, without loss in the tail.
//! An argument outside the domain (dof ≤ 0, p outside 0..1, NaN) gives NaN; p = 0 and p = 1 give the ends of the
//! range. Quantiles are found by Newton's method on the logarithm of the smaller tail against ln x, where all these
//! distributions are concave, held in a bracket; relative error about 1e-14, at worst 1e-13.

use super::special::{beta_kernel, beta_tails, gamma_kernel, gamma_tails, normal_upper_tail};

/// Standard normal probability of a value up to `x`, Φ(x) = ½ erfc(-x/√2).
///
/// Relative error about 1e-15, in the lower tail too.
///
/// ```
/// use vialbook::numeric::normal_cdf;
/// assert!((normal_cdf(1.959_963_984_540_054) - 0.975).abs() < 1e-15);
/// ```
pub fn normal_cdf(x: f64) -> f64 {
    if x > 0.0 { 1.0 - normal_upper_tail(x) } else { normal_upper_tail(-x) }
}

/// Standard normal probability of a value above `x`, 1 - Φ(x), without loss in the tail.
pub fn normal_sf(x: f64) -> f64 {
    normal_cdf(-x)
}

/// Standard normal quantile: the x with Φ(x) = `p`.
///
/// Rational approximations of M. J. Wichura, "Algorithm AS 241: The percentage points of the normal
/// distribution", Applied Statistics 37 (1988) 477-484 (PPND16); relative error about 1e-15.
///
/// ```
/// use vialbook::numeric::normal_quantile;
/// assert!((normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-15);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return q * ratio(&NORMAL_CENTRE, 0.180625 - q * q);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if tail == 0.0 {
        return f64::INFINITY.copysign(q);
    }
    let r = libm::sqrt(-libm::log(tail));
    let x = if r <= 5.0 { ratio(&NORMAL_MIDDLE, r - 1.6) } else { ratio(&NORMAL_FAR, r - 5.0) };
    x.copysign(q)
}

/// Student t probability of a value up to `t`; infinite `dof` is the normal distribution.
///
/// P(T > t) = ½ Iₓ(ν/2, ½) with x = ν/(ν + t²), ν = `dof` > 0, for t > 0 (NIST Digital Library of Mathematical
/// Functions, 8.17). Relative error about 1e-14.
///
/// ```
/// use vialbook::numeric::student_t_cdf;
/// assert!((student_t_cdf(1.0, 1.0) - 0.75).abs() < 1e-15);      // Cauchy: ½ + arctan(1)/π
/// ```
pub fn student_t_cdf(t: f64, dof: f64) -> f64 {
    student_t_sf(-t, dof)
}

/// Student t probability of a value above `t`, without loss in the tail.
///
/// ```
/// use vialbook::numeric::student_t_sf;
/// assert!((student_t_sf(1e8, 2.0) / 5e-17 - 1.0).abs() < 1e-13);
/// ```
pub fn student_t_sf(t: f64, dof: f64) -> f64 {
    if dof == f64::INFINITY {
        return normal_sf(t);
    }
    let (_, tail, _) = t_parts(t.abs(), dof);
    if t >= 0.0 { tail } else { 1.0 - tail }
}

/// Student t quantile: the t with probability `p` below it; infinite `dof` is the normal distribution.
///
/// ```
/// use vialbook::numeric::student_t_quantile;
/// assert!((student_t_quantile(0.975, 4.0) - 2.776_445_105_197_799).abs() < 1e-14);
/// ```
pub fn student_t_quantile(p: f64, dof: f64) -> f64 {
    if dof == f64::INFINITY {
        return normal_quantile(p);
    }
    if !((0.0..=1.0).contains(&p) && dof > 0.0) {
        return f64::NAN;
    }
    let tail = if p < 0.5 { p } else { 1.0 - p };
    let t = if tail == 0.0 {
        f64::INFINITY
    } else if tail == 0.5 {
        0.0
    } else {
        // Start: Cornish-Fisher to 1/ν (Abramowitz and Stegun 26.7.5) where it helps, otherwise the power tail.
        let z = -normal_quantile(tail);
        let start = if dof >= 3.0 { z * (1.0 + (z * z + 1.0) / (4.0 * dof)) } else { libm::pow(0.5 / tail, 1.0 / dof) };
        let middle = 0.5 - tail;
        let from_middle = middle < 0.25;
        let target = if from_middle { middle } else { tail };
        solve(target, start.max(1e-300), !from_middle, |t| {
            let (centre, tail, kernel) = t_parts(t, dof);
            (if from_middle { centre } else { tail }, kernel)
        })
    };
    if p < 0.5 { -t } else { t }
}

/// Chi-squared probability of a value up to `x`: P(`dof`/2, x/2).
///
/// ```
/// use vialbook::numeric::chi_squared_cdf;
/// assert!((chi_squared_cdf(5.991_464_547_107_98, 2.0) - 0.95).abs() < 1e-14);
/// ```
pub fn chi_squared_cdf(x: f64, dof: f64) -> f64 {
    gamma_tails(0.5 * dof, 0.5 * x.max(0.0)).0
}

/// Chi-squared probability of a value above `x`, without loss in the tail.
pub fn chi_squared_sf(x: f64, dof: f64) -> f64 {
    gamma_tails(0.5 * dof, 0.5 * x.max(0.0)).1
}

/// Chi-squared quantile: the x with probability `p` below it.
///
/// ```
/// use vialbook::numeric::chi_squared_quantile;
/// assert!((chi_squared_quantile(0.95, 2.0) - 5.991_464_547_107_98).abs() < 1e-13);
/// ```
pub fn chi_squared_quantile(p: f64, dof: f64) -> f64 {
    if !((0.0..=1.0).contains(&p) && dof > 0.0 && dof.is_finite()) {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { 0.0 } else { f64::INFINITY };
    }
    let upper = p > 0.5;
    // Start: Wilson and Hilferty (1931) where its cube is sound, otherwise the leading term of the lower tail.
    let c = 2.0 / (9.0 * dof);
    let cube = 1.0 - c + normal_quantile(p) * libm::sqrt(c);
    let start = if cube > 0.3 {
        dof * cube * cube * cube
    } else {
        let a = 0.5 * dof;
        2.0 * libm::exp((libm::log(p) + libm::lgamma(a + 1.0)) / a)
    };
    if start < 1e-290 {
        return start; // the leading term is exact there
    }
    solve(if upper { 1.0 - p } else { p }, start, upper, |x| {
        let (below, above) = gamma_tails(0.5 * dof, 0.5 * x);
        (if upper { above } else { below }, gamma_kernel(0.5 * dof, 0.5 * x))
    })
}

/// Fisher F probability of a value up to `f`, with `dof1` over `dof2` degrees of freedom; either may be infinite.
///
/// Iₓ(ν₁/2, ν₂/2) with x = ν₁f/(ν₁f + ν₂).
///
/// ```
/// use vialbook::numeric::fisher_f_cdf;
/// assert!((fisher_f_cdf(1.0, 7.0, 7.0) - 0.5).abs() < 1e-15);
/// ```
pub fn fisher_f_cdf(f: f64, dof1: f64, dof2: f64) -> f64 {
    f_tails(f, dof1, dof2).0
}

/// Fisher F probability of a value above `f`, without loss in the tail: the p-value of a variance ratio.
///
/// ```
/// use vialbook::numeric::fisher_f_sf;
/// assert!((fisher_f_sf(10.0, 2.0, 4.0) - 1.0 / 36.0).abs() < 1e-15);   // (1 + 2f/4)⁻² at 2 over 4
/// ```
pub fn fisher_f_sf(f: f64, dof1: f64, dof2: f64) -> f64 {
    f_tails(f, dof1, dof2).1
}

/// Fisher F quantile: the f with probability `p` below it.
///
/// ```
/// use vialbook::numeric::fisher_f_quantile;
/// assert!((fisher_f_quantile(0.95, 2.0, 4.0) - 2.0 * (20.0_f64.sqrt() - 1.0)).abs() < 1e-13);
/// ```
pub fn fisher_f_quantile(p: f64, dof1: f64, dof2: f64) -> f64 {
    if !((0.0..=1.0).contains(&p) && dof1 > 0.0 && dof2 > 0.0) {
        return f64::NAN;
    }
    match (dof1.is_infinite(), dof2.is_infinite()) {
        (true, true) => return 1.0,
        (false, true) => return chi_squared_quantile(p, dof1) / dof1,
        (true, false) => return dof2 / chi_squared_upper_quantile(p, dof2),
        (false, false) => {}
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { 0.0 } else { f64::INFINITY };
    }
    let upper = p > 0.5;
    solve(if upper { 1.0 - p } else { p }, 1.0, upper, |f| {
        let (below, above) = f_tails(f, dof1, dof2);
        let (x, y) = f_arguments(f, dof1, dof2);
        (if upper { above } else { below }, beta_kernel(0.5 * dof1, 0.5 * dof2, x, y))
    })
}

/// The x with chi-squared probability `p` above it.
fn chi_squared_upper_quantile(p: f64, dof: f64) -> f64 {
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { f64::INFINITY } else { 0.0 };
    }
    let upper = p < 0.5;
    solve(if upper { p } else { 1.0 - p }, dof, upper, |x| {
        let (below, above) = gamma_tails(0.5 * dof, 0.5 * x);
        (if upper { above } else { below }, gamma_kernel(0.5 * dof, 0.5 * x))
    })
}

/// P(0 < T < t), P(T > t) and t times the density, for t ≥ 0.
fn t_parts(t: f64, dof: f64) -> (f64, f64, f64) {
    if t.is_infinite() && dof > 0.0 {
        return (0.5, 0.0, 0.0);
    }
    let (a, b) = (0.5 * dof, 0.5);
    let s = t / libm::sqrt(dof);
    if s > 1e150 {
        // Here x = 1/s² underflows; the power tail xᵃ/B(a, ½) is exact to the last digit.
        let ln_beta = libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
        let kernel = libm::exp(-dof * libm::log(s) - ln_beta);
        return (0.5 - kernel / dof, kernel / dof, kernel);
    }
    let (x, y) = if s > 1.0 {
        let r = 1.0 / s;
        (r * r / (1.0 + r * r), 1.0 / (1.0 + r * r))
    } else {
        let s2 = t * t / dof;
        (1.0 / (1.0 + s2), s2 / (1.0 + s2))
    };
    let (tail, centre) = beta_tails(a, b, x, y);
    (0.5 * centre, 0.5 * tail, beta_kernel(a, b, x, y))
}

fn f_tails(f: f64, dof1: f64, dof2: f64) -> (f64, f64) {
    if f.is_nan() || !(dof1 > 0.0 && dof2 > 0.0) {
        return (f64::NAN, f64::NAN);
    }
    if f <= 0.0 {
        return (0.0, 1.0);
    }
    if f.is_infinite() {
        return (1.0, 0.0);
    }
    match (dof1.is_infinite(), dof2.is_infinite()) {
        (true, true) => return if f < 1.0 { (0.0, 1.0) } else { (1.0, 0.0) },
        (false, true) => return gamma_tails(0.5 * dof1, 0.5 * dof1 * f),
        (true, false) => {
            let (below, above) = gamma_tails(0.5 * dof2, 0.5 * dof2 / f);
            return (above, below);
        }
        (false, false) => {}
    }
    let (x, y) = f_arguments(f, dof1, dof2);
    beta_tails(0.5 * dof1, 0.5 * dof2, x, y)
}

/// ν₁f/(ν₁f + ν₂) and ν₂/(ν₁f + ν₂).
fn f_arguments(f: f64, dof1: f64, dof2: f64) -> (f64, f64) {
    let r = dof1 / dof2 * f;
    if r > 1.0 {
        let q = 1.0 / r;
        (1.0 / (1.0 + q), q / (1.0 + q))
    } else {
        (r / (1.0 + r), 1.0 / (1.0 + r))
    }
}

/// The x > 0 whose tail probability is `target`. `tail(x)` gives the probability and x times the density;
/// `falling` says whether the tail falls with x. Newton on ln tail against ln x, bisection outside the bracket.
fn solve(target: f64, start: f64, falling: bool, tail: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut low, mut high) = (0.0_f64, f64::INFINITY);
    let mut x = start.clamp(1e-300, 1e300);
    for _ in 0..400 {
        let (value, slope) = tail(x);
        if value.is_nan() {
            return f64::NAN;
        }
        let too_far = (value < target) == falling;
        if value == target {
            return x;
        }
        if too_far {
            high = high.min(x);
        } else {
            low = low.max(x);
        }
        let step = libm::log(target / value) * value / slope * if falling { -1.0 } else { 1.0 };
        // e-folds: ± 50 at most, so that a flat start cannot run away.
        let newton = if step.is_finite() { x * libm::exp(step.clamp(-50.0, 50.0)) } else { f64::NAN };
        if (newton / x - 1.0).abs() <= 2.0 * f64::EPSILON {
            return newton;
        }
        x = if newton > low && newton < high {
            newton
        } else if high.is_infinite() {
            x * 16.0
        } else if low == 0.0 {
            x / 16.0
        } else {
            let middle = libm::sqrt(low) * libm::sqrt(high);
            if middle <= low || middle >= high {
                return middle;
            }
            middle
        };
        if x == 0.0 || x.is_infinite() {
            return x;
        }
    }
    x
}

/// Numerator and denominator, constant term first.
struct Rational([f64; 8], [f64; 8]);

fn ratio(r: &Rational, x: f64) -> f64 {
    let polynomial = |c: &[f64; 8]| c.iter().rev().fold(0.0, |sum, c| sum * x + c);
    polynomial(&r.0) / polynomial(&r.1)
}

// Wichura (1988), PPND16: |p - ½| ≤ 0.425; √(-ln p) ≤ 5; beyond.
#[rustfmt::skip]
const NORMAL_CENTRE: Rational = Rational(
    [3.387_132_872_796_366_5, 1.331_416_678_917_843_8e2, 1.971_590_950_306_551_3e3, 1.373_169_376_550_946e4,
     4.592_195_393_154_987e4, 6.726_577_092_700_87e4, 3.343_057_558_358_813e4, 2.509_080_928_730_122_7e3],
    [1.0, 4.231_333_070_160_091e1, 6.871_870_074_920_579e2, 5.394_196_021_424_751e3,
     2.121_379_430_158_659_7e4, 3.930_789_580_009_271e4, 2.872_908_573_572_194_3e4, 5.226_495_278_852_854e3],
);
#[rustfmt::skip]
const NORMAL_MIDDLE: Rational = Rational(
    [1.423_437_110_749_683_5, 4.630_337_846_156_546, 5.769_497_221_460_691, 3.647_848_324_763_204_5,
     1.270_458_252_452_368_4, 2.417_807_251_774_506e-1, 2.272_384_498_926_918_4e-2, 7.745_450_142_783_414e-4],
    [1.0, 2.053_191_626_637_759, 1.676_384_830_183_803_8, 6.897_673_349_851e-1,
     1.481_039_764_274_800_8e-1, 1.519_866_656_361_645_7e-2, 5.475_938_084_995_345e-4, 1.050_750_071_644_416_9e-9],
);
#[rustfmt::skip]
const NORMAL_FAR: Rational = Rational(
    [6.657_904_643_501_103, 5.463_784_911_164_114, 1.784_826_539_917_291_3, 2.965_605_718_285_048_7e-1,
     2.653_218_952_657_612_4e-2, 1.242_660_947_388_078_4e-3, 2.711_555_568_743_487_6e-5, 2.010_334_399_292_288_1e-7],
    [1.0, 5.998_322_065_558_88e-1, 1.369_298_809_227_358e-1, 1.487_536_129_085_061_5e-2,
     7.868_691_311_456_133e-4, 1.846_318_317_510_054_8e-5, 1.421_511_758_316_446e-7, 2.044_263_103_389_939_8e-15],
);
