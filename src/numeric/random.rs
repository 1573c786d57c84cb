//! A seeded random number generator whose draws, normal ones included, are the same bits on every machine.

use std::sync::OnceLock;

/// The xoshiro256++ generator of D. Blackman and S. Vigna, "Scrambled linear pseudorandom number generators",
/// ACM Transactions on Mathematical Software 47 (2021) article 36; the authors' reference is in the public domain.
///
/// Period 2²⁵⁶ - 1. Seeded through SplitMix64, as its authors advise, so that any seed will do.
///
/// ```
/// use vialbook::numeric::Xoshiro256PlusPlus;
/// let mut random = Xoshiro256PlusPlus::seeded(7);
/// let noise: Vec<f64> = (0..1000).map(|_| random.normal()).collect();
/// assert!((noise.iter().sum::<f64>() / 1000.0).abs() < 0.15);
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Xoshiro256PlusPlus {
    state: [u64; 4],
}

impl Xoshiro256PlusPlus {
    /// The generator for this seed.
    pub fn seeded(seed: u64) -> Self {
        let mut s = seed;
        Xoshiro256PlusPlus { state: std::array::from_fn(|_| split_mix_64(&mut s)) }
    }

    /// The generator for stream `stream` of this seed: run k, or draw k of a simulation, gets its own numbers
    /// whatever the others draw and on whichever thread. Streams are other points of one orbit of length 2²⁵⁶
    /// and are as good as certain not to meet (two of 10⁶ streams of 10¹² draws: probability 10⁻⁵³).
    ///
    /// ```
    /// use vialbook::numeric::Xoshiro256PlusPlus;
    /// assert_ne!(Xoshiro256PlusPlus::stream(7, 0).next_u64(), Xoshiro256PlusPlus::stream(7, 1).next_u64());
    /// ```
    pub fn stream(seed: u64, stream: u64) -> Self {
        // Both words pass through the mixer before they meet, so that (seed, stream) pairs do not coincide
        // along simple lines such as seed + stream.
        let (mut a, mut b) = (seed, stream ^ 0x6A09_E667_F3BC_C909); // √2, to tell the two words apart
        let (mut a, mut b) = (split_mix_64(&mut a), split_mix_64(&mut b));
        Xoshiro256PlusPlus {
            state: std::array::from_fn(|_| split_mix_64(&mut a) ^ split_mix_64(&mut b).rotate_left(32)),
        }
    }

    /// A generator of its own for part `stream` of what this one serves, from its present state, which stays.
    pub fn split(&self, stream: u64) -> Self {
        let s = &self.state;
        let mut mixed = s[0] ^ s[1].rotate_left(16) ^ s[2].rotate_left(32) ^ s[3].rotate_left(48);
        Self::stream(split_mix_64(&mut mixed), stream)
    }

    /// The next 64 bits.
    #[inline]
    pub fn next_u64(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// A number from [0, 1), one of 2⁵³ equally spaced and equally probable ones.
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 * (1.0 / (1_u64 << 53) as f64)
    }

    /// An integer from 0 to `n` - 1, each equally probable (0 if `n` is 0).
    ///
    /// D. Lemire, "Fast random integer generation in an interval", ACM Transactions on Modeling and Computer
    /// Simulation 29 (2019) article 3.
    pub fn below(&mut self, n: u64) -> u64 {
        let mut product = u128::from(self.next_u64()) * u128::from(n);
        if (product as u64) < n {
            let reject = n.wrapping_neg() % n;
            while (product as u64) < reject {
                product = u128::from(self.next_u64()) * u128::from(n);
            }
        }
        (product >> 64) as u64
    }

    /// A draw from the normal distribution with mean 0 and standard deviation 1.
    ///
    /// The ziggurat with 256 layers of G. Marsaglia and W. W. Tsang, "The ziggurat method for generating random
    /// variables", Journal of Statistical Software 5 (2000) issue 8, with J. A. Doornik's correction (2005): layer
    /// and abscissa come from different bits. Tables and the rare slow steps use `libm` only.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        let tables = ziggurat();
        loop {
            let bits = self.next_u64();
            let layer = (bits & 0xFF) as usize;
            // The upper 53 bits as a number from [-1, 1).
            let u = (bits >> 11) as f64 * (2.0 / (1_u64 << 53) as f64) - 1.0;
            let x = u * tables.x[layer];
            if x.abs() < tables.x[layer + 1] {
                return x;
            }
            if let Some(x) = self.normal_slow(tables, layer, x) {
                return x;
            }
        }
    }

    /// A draw from the χ² distribution with `dof` > 0 degrees of freedom, whole or not.
    ///
    /// Twice a gamma variable after G. Marsaglia and W. W. Tsang, "A simple method for generating gamma variables", ACM
    /// Transactions on Mathematical Software 26 (2000) 363-372; below 2 degrees of freedom with their power of a uniform draw.
    pub fn chi_squared(&mut self, dof: f64) -> f64 {
        let shape = 0.5 * dof;
        if shape < 1.0 {
            let above = self.chi_squared(dof + 2.0);
            return above * libm::pow(1.0 - self.uniform(), 1.0 / shape);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / libm::sqrt(9.0 * d);
        loop {
            let x = self.normal();
            let v = 1.0 + c * x;
            if v <= 0.0 {
                continue;
            }
            let v = v * v * v;
            let u = 1.0 - self.uniform();
            let square = x * x;
            if u < 1.0 - 0.0331 * square * square || libm::log(u) < 0.5 * square + d * (1.0 - v + libm::log(v)) {
                return 2.0 * d * v;
            }
        }
    }

    /// Moves on by 2¹²⁸ draws: 2¹²⁸ generators of one seed that cannot meet.
    pub fn jump(&mut self) {
        // Jump polynomial of the authors' reference; checked against the transition matrix in the tests.
        const JUMP: [u64; 4] =
            [0x180E_C6D3_3CFD_0ABA, 0xD5A6_1266_F0C9_392C, 0xA958_2618_E03F_C9AA, 0x39AB_DC45_29B1_661C];
        let mut sum = [0_u64; 4];
        for word in JUMP {
            for bit in 0..64 {
                if word >> bit & 1 == 1 {
                    for (s, t) in sum.iter_mut().zip(self.state) {
                        *s ^= t;
                    }
                }
                self.next_u64();
            }
        }
        self.state = sum;
    }

    /// The tail below layer 0, or the wedge beside a layer.
    #[cold]
    fn normal_slow(&mut self, tables: &Ziggurat, layer: usize, x: f64) -> Option<f64> {
        if layer == 0 {
            // G. Marsaglia, "Generating a variable from the tail of the normal distribution", Technometrics 6 (1964) 101-102.
            loop {
                let a = libm::log(1.0 - self.uniform()) / ZIGGURAT_R;
                let b = libm::log(1.0 - self.uniform());
                if -2.0 * b >= a * a {
                    return Some((ZIGGURAT_R - a).copysign(x));
                }
            }
        }
        let y = tables.y[layer] + (tables.y[layer + 1] - tables.y[layer]) * self.uniform();
        (y < libm::exp(-0.5 * x * x)).then_some(x)
    }
}

/// Right edge of the lowest layer and area of each of the 256 (Marsaglia and Tsang 2000); tested below.
const ZIGGURAT_R: f64 = 3.654_152_885_361_009;
const ZIGGURAT_AREA: f64 = 4.928_673_233_974_655e-3;

/// Right edges x of the layers, from the lowest up, and the density exp(-x²/2) there.
struct Ziggurat {
    x: [f64; 257],
    y: [f64; 257],
}

fn ziggurat() -> &'static Ziggurat {
    static TABLES: OnceLock<Ziggurat> = OnceLock::new();
    TABLES.get_or_init(|| {
        let density = |x: f64| libm::exp(-0.5 * x * x);
        let mut x = [0.0; 257];
        // Layer 0 is the base strip with its tail, made as wide as a box of the same area.
        x[0] = ZIGGURAT_AREA / density(ZIGGURAT_R);
        x[1] = ZIGGURAT_R;
        for i in 2..256 {
            x[i] = libm::sqrt(-2.0 * libm::log(ZIGGURAT_AREA / x[i - 1] + density(x[i - 1])));
        }
        Ziggurat { x, y: x.map(density) }
    })
}

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014; public-domain reference by S. Vigna).
fn split_mix_64(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::distributions::{chi_squared_sf, normal_cdf};

    #[test]
    fn published_vectors() {
        // First outputs of the authors' reference programs, from state 1, 2, 3, 4 and from seed 1234567.
        let mut random = Xoshiro256PlusPlus { state: [1, 2, 3, 4] };
        let expected = [
            41_943_041,
            58_720_359,
            3_588_806_011_781_223,
            3_591_011_842_654_386,
            9_228_616_714_210_784_205,
            9_973_669_472_204_895_162,
            14_011_001_112_246_962_877,
            12_406_186_145_184_390_807,
            15_849_039_046_786_891_736,
            10_450_023_813_501_588_000,
        ];
        assert_eq!(expected.map(|_| random.next_u64()), expected);
        let mut seed = 1_234_567;
        let expected = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(expected.map(|_| split_mix_64(&mut seed)), expected);
    }

    /// The transition matrix over GF(2), squared 128 times, is a jump by 2¹²⁸.
    #[test]
    fn jump_equals_the_power_of_the_transition_matrix() {
        type Matrix = Vec<[u64; 4]>; // column j: the image of bit j
        let apply = |m: &Matrix, v: [u64; 4]| {
            let mut sum = [0_u64; 4];
            for (j, column) in m.iter().enumerate() {
                if v[j / 64] >> (j % 64) & 1 == 1 {
                    sum.iter_mut().zip(column).for_each(|(s, c)| *s ^= c);
                }
            }
            sum
        };
        let mut m: Matrix = (0..256)
            .map(|j| {
                let mut state = [0; 4];
                state[j / 64] = 1 << (j % 64);
                let mut one = Xoshiro256PlusPlus { state };
                one.next_u64();
                one.state
            })
            .collect();
        for _ in 0..128 {
            m = m.iter().map(|column| apply(&m, *column)).collect();
        }
        let mut random = Xoshiro256PlusPlus::seeded(99);
        let expected = apply(&m, random.state);
        random.jump();
        assert_eq!(random.state, expected);
    }

    /// The same bits everywhere: these were printed by this code once and may not change.
    #[test]
    fn draws_do_not_change() {
        let mut random = Xoshiro256PlusPlus::seeded(42);
        let sum: u64 = (0..100_000).fold(0, |h: u64, _| h.rotate_left(5) ^ random.normal().to_bits());
        assert_eq!(sum, 540_790_601_644_896_139, "fingerprint of 10⁵ normal draws");
    }

    #[test]
    fn ziggurat_closes_at_the_top() {
        let t = ziggurat();
        // The last layer's area must equal the others': the published constants fit together.
        let top = t.x[255] * (1.0 - t.y[255]);
        assert!((top / ZIGGURAT_AREA - 1.0).abs() < 1e-9, "{top}");
        let tail = libm::sqrt(std::f64::consts::PI / 2.0) * libm::erfc(ZIGGURAT_R / std::f64::consts::SQRT_2);
        assert!((ZIGGURAT_R * t.y[1] + tail - ZIGGURAT_AREA).abs() < 1e-14);
    }

    #[test]
    fn normal_draws_follow_the_normal_distribution() {
        // χ² over 200 bins, half of them in the tails beyond ± 3, 4 × 10⁶ draws; 1e-6 on either side.
        let mut edges: Vec<f64> = (0..=100).map(|i| -3.0 + 0.06 * f64::from(i)).collect();
        edges.extend((1..=20).flat_map(|i| [-3.0 - 0.07 * f64::from(i), 3.0 + 0.07 * f64::from(i)]));
        edges.sort_by(f64::total_cmp);
        let n = 4_000_000;
        let mut counts = vec![0_u32; edges.len() + 1];
        let mut random = Xoshiro256PlusPlus::stream(1, 5);
        for _ in 0..n {
            let x = random.normal();
            counts[edges.partition_point(|e| *e <= x)] += 1;
        }
        let mut chi_squared = 0.0;
        for (i, count) in counts.iter().enumerate() {
            let low = if i == 0 { 0.0 } else { normal_cdf(edges[i - 1]) };
            let high = if i == edges.len() { 1.0 } else { normal_cdf(edges[i]) };
            let expected = f64::from(n) * (high - low);
            chi_squared += (f64::from(*count) - expected).powi(2) / expected;
        }
        let p = chi_squared_sf(chi_squared, edges.len() as f64);
        assert!((1e-6..1.0 - 1e-6).contains(&p), "χ² = {chi_squared}, p = {p}");
    }

    #[test]
    fn streams_are_uncorrelated_and_uniform_draws_stay_below_one() {
        let n = 100_000;
        for (a, b) in [((7, 0), (7, 1)), ((7, 1), (8, 0)), ((0, 0), (0, 1 << 40))] {
            let (mut a, mut b) = (Xoshiro256PlusPlus::stream(a.0, a.1), Xoshiro256PlusPlus::stream(b.0, b.1));
            let sum: f64 = (0..n).map(|_| (a.uniform() - 0.5) * (b.uniform() - 0.5) * 12.0).sum();
            assert!(sum.abs() < 5.0 * f64::from(n).sqrt(), "correlation {}", sum / f64::from(n));
        }
        let mut r = Xoshiro256PlusPlus::seeded(0);
        assert!((0..n).all(|_| (0.0..1.0).contains(&r.uniform())));
        let mut seen = [0; 7];
        (0..70_000).for_each(|_| seen[r.below(7) as usize] += 1);
        assert!(seen.iter().all(|c| (*c - 10_000_i32).abs() < 500), "{seen:?}");
        assert_eq!(r.below(0), 0);
    }

    #[test]
    fn chi_squared_draws_follow_their_distribution() {
        for dof in [0.7_f64, 1.0, 3.0, 7.4, 30.0] {
            let mut random = Xoshiro256PlusPlus::stream(2, dof.to_bits());
            let mut counts = [0_u32; 20];
            let n = 200_000;
            for _ in 0..n {
                let p = 1.0 - chi_squared_sf(random.chi_squared(dof), dof);
                counts[((20.0 * p) as usize).min(19)] += 1;
            }
            let expected = f64::from(n) / 20.0;
            let chi: f64 = counts.iter().map(|c| (f64::from(*c) - expected).powi(2) / expected).sum();
            let p = chi_squared_sf(chi, 19.0);
            assert!((1e-6..1.0 - 1e-6).contains(&p), "{dof} degrees of freedom: χ² = {chi}, p = {p}");
        }
    }
}
