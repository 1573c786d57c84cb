//! Simulated sequences whose truth is known: 12 compounds, late thumbs, drift, missing and foreign peaks; and how names
//! and probabilities score on them. Shared by the tests and by `benches/naming.rs`.

use vialbook::identify::{
    ExpectedTime, NamedPeaks, Naming, Programme, ProgrammeStep, ReferenceTime, RetentionLaw, learn_references,
};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{Detect, Integration, Peak, PeakList};
use vialbook::signal::Noise;

/// Width at half height of every peak, in seconds.
pub(crate) const WIDTH_S: f64 = 2.1;
/// Seconds at which the compounds elute; three pairs lie 4.3 s apart, resolution 1.2.
pub(crate) const TIMES_S: [f64; 12] =
    [42.0, 75.0, 110.0, 114.3, 160.0, 210.0, 214.3, 270.0, 330.0, 334.3, 420.0, 520.0];
/// Hold-up time; drift stretches times about it.
const HOLD_UP_S: f64 = 30.0;

/// How runs go wrong.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bench {
    pub(crate) times_s: [f64; 12],
    /// Standard deviation of a peak's time, in seconds.
    pub(crate) scatter_s: f64,
    /// That of the standards.
    pub(crate) standards_scatter_s: f64,
    /// Start offsets are even over ± this.
    pub(crate) offset_s: f64,
    /// Time scales are even over 1 ± this.
    pub(crate) drift: f64,
    /// The button starts the oven too: 40 °C, 1 min, 10 °C/min.
    pub(crate) oven: bool,
    /// Share of compounds without a peak, in samples and in standards.
    pub(crate) missing: [f64; 2],
    /// Foreign peaks: 0 to this many, in samples and in standards.
    pub(crate) foreign: [u64; 2],
    /// Foreign peaks nearer to another than this are one peak with it.
    pub(crate) apart_s: f64,
}

/// What the gates of names are held on.
pub(crate) const USUAL: Bench = Bench {
    times_s: TIMES_S,
    scatter_s: 0.3,
    standards_scatter_s: 0.3,
    offset_s: 3.0,
    drift: 0.0,
    oven: false,
    missing: [0.03, 0.03],
    foreign: [4, 4],
    apart_s: 2.0,
};

/// Harder: pairs at a resolution of 0.6 to 1.2, scatter so large that their members are often confused.
pub(crate) fn hard(resolution: f64, factor: f64) -> Bench {
    let gap = 2.0 * WIDTH_S * resolution / 1.18;
    let mut times_s = TIMES_S;
    for k in [2, 5, 8] {
        times_s[k + 1] = times_s[k] + gap;
    }
    let scatter = 0.28 * gap;
    Bench {
        times_s,
        scatter_s: factor * scatter,
        standards_scatter_s: scatter,
        missing: [0.15, 0.03],
        foreign: [8, 2],
        apart_s: 0.6,
        ..USUAL
    }
}

pub(crate) fn name(k: usize) -> String {
    format!("compound {k:02}")
}

pub(crate) fn peak(time_s: f64) -> Peak {
    Peak {
        retention_time_min: time_s / 60.0,
        retention_time_u_min: Some(1e-4),
        start_min: time_s / 60.0 - 0.05,
        end_min: time_s / 60.0 + 0.05,
        area: 0.04,
        area_u: 1e-4,
        height: 1.0,
        width_half_min: Some(WIDTH_S / 60.0),
        width_tenth_min: None,
        width_5pct_min: None,
        plates_half_height: None,
        tailing_factor_5pct: None,
        asymmetry_10pct: None,
        resolution_half_height: None,
        signal_to_noise: 100.0,
        noise_window_min: None,
        height_over_sd: 200.0,
        baseline: [0.0, 0.0],
        points: 60,
        method: Integration::BaselineToBaseline,
        fit: None,
        notes: Vec::new(),
    }
}

pub(crate) fn list(mut times_s: Vec<f64>) -> PeakList {
    times_s.sort_by(f64::total_cmp);
    let noise = Noise {
        sd: 0.01,
        autocorrelation: 0.0,
        step: None,
        is_floor: false,
        points: 6000,
        peak_to_peak: 0.06,
        window_min: [0.0, 1.0],
    };
    PeakList {
        peaks: times_s.into_iter().map(peak).collect(),
        noise,
        run: "simulated".into(),
        signal_unit: "mV".into(),
        options: Detect::default(),
        trace: None,
    }
}

/// The programme of those benches whose button starts the oven.
pub(crate) fn programme() -> Programme {
    let step = |temperature_c, ramp_c_per_min, hold_min| ProgrammeStep { temperature_c, ramp_c_per_min, hold_min };
    let steps = vec![step(40.0, None, 1.0), step(160.0, Some(10.0), 9.0)];
    Programme::new(steps, HOLD_UP_S / 60.0, RetentionLaw::PerKelvin(0.04)).expect("a programme")
}

/// Options that the study would choose.
pub(crate) fn options(bench: &Bench) -> Naming {
    Naming { stretch_about_min: HOLD_UP_S / 60.0, offset_may_fall: bench.oven, ..Naming::default() }
}

/// Peaks of a run and, per compound, the true time where it has a peak.
pub(crate) fn run(
    bench: &Bench,
    is_standard: bool,
    shares: &[f64],
    random: &mut Random,
) -> (PeakList, Vec<Option<f64>>) {
    let which = usize::from(is_standard);
    let scatter = if is_standard { bench.standards_scatter_s } else { bench.scatter_s };
    let offset = (2.0 * random.uniform() - 1.0) * bench.offset_s;
    let drift = (2.0 * random.uniform() - 1.0) * bench.drift;
    let mut truth = Vec::new();
    for (k, t) in bench.times_s.iter().enumerate() {
        let g = if bench.oven { shares[k] } else { 1.0 };
        let at = t + offset * g + drift * (t - HOLD_UP_S) + scatter * random.normal();
        truth.push((random.uniform() >= bench.missing[which]).then_some(at));
    }
    let mut times: Vec<f64> = truth.iter().flatten().copied().collect();
    let count = times.len() + random.below(bench.foreign[which] + 1) as usize;
    while times.len() < count {
        let t = 20.0 + 530.0 * random.uniform();
        if times.iter().all(|u| (u - t).abs() > bench.apart_s) {
            times.push(t);
        }
    }
    (list(times), truth)
}

/// Rough expected times, off by up to 3 s in the true order.
fn expected(bench: &Bench, random: &mut Random) -> Vec<ExpectedTime> {
    loop {
        let times_s = bench.times_s.map(|t| t + 3.0 * (2.0 * random.uniform() - 1.0));
        if times_s.is_sorted() {
            let one = |(k, t): (usize, f64)| ExpectedTime {
                compound: name(k),
                time_min: t / 60.0,
                half_width_min: (0.04 * t / 60.0).max(0.15),
            };
            return times_s.into_iter().enumerate().map(one).collect();
        }
    }
}

/// Ten bins of stated probability: how many, sum of stated, how many true.
pub(crate) type Bins = [(usize, f64, f64); 10];

/// How names and probabilities did.
#[derive(Clone, Debug, Default)]
pub(crate) struct Score {
    /// Compounds that had a peak.
    pub(crate) there: usize,
    /// Names at the wrong peak; those at a foreign peak where the compound had none are among them.
    pub(crate) wrong: usize,
    /// Of these, at a foreign peak where the compound had none: retention alone cannot tell.
    pub(crate) foreign: usize,
    /// Compounds with a peak that did not get its name.
    pub(crate) unnamed: usize,
    /// Pairs of compound and peak, compounds without a peak, peaks without a compound.
    pub(crate) pairs: Bins,
    pub(crate) none: Bins,
    pub(crate) extra: Bins,
    /// Mean of -ln(probability of what was true), over compounds.
    pub(crate) log_score: f64,
    count: usize,
}

fn put(bins: &mut Bins, p: f64, is_true: bool) {
    let bin = &mut bins[((10.0 * p) as usize).min(9)];
    *bin = (bin.0 + 1, bin.1 + p, bin.2 + f64::from(u8::from(is_true)));
}

impl Score {
    fn add(&mut self, named: &NamedPeaks, peaks: &PeakList, truth: &[Option<f64>]) {
        let time = |j: usize| 60.0 * peaks.peaks[j].retention_time_min;
        let same = |a: f64, b: f64| (a - b).abs() < 1e-6;
        let mut taken = vec![0.0; peaks.peaks.len()];
        for (k, t) in truth.iter().enumerate() {
            let found = named.peak(&name(k)).map(|p| 60.0 * p.peak.retention_time_min);
            let is_right = t.zip(found).is_some_and(|(t, f)| same(t, f));
            self.there += usize::from(t.is_some());
            self.wrong += usize::from(found.is_some() && !is_right);
            self.foreign += usize::from(t.is_none() && found.is_some());
            self.unnamed += usize::from(t.is_some() && !is_right);
            let c = named.candidates.iter().find(|c| c.compound == name(k)).expect("every compound has its candidates");
            put(&mut self.none, c.none, t.is_none());
            let mut of_truth = if t.is_none() { c.none } else { 0.0 };
            for &(j, p) in &c.peaks {
                let is_true = t.is_some_and(|t| same(t, time(j)));
                // The many pairs that nobody would think of tell nothing.
                if p > 0.01 {
                    put(&mut self.pairs, p, is_true);
                }
                if is_true {
                    of_truth = p;
                }
                taken[j] += p;
            }
            self.log_score -= of_truth.max(1e-6).ln();
            self.count += 1;
        }
        for (j, p) in taken.into_iter().enumerate() {
            let is_extra = truth.iter().flatten().all(|t| !same(*t, time(j)));
            put(&mut self.extra, (1.0 - p).clamp(0.0, 1.0), is_extra);
        }
    }

    fn merge(mut self, other: &Score) -> Score {
        self.there += other.there;
        self.wrong += other.wrong;
        self.foreign += other.foreign;
        self.unnamed += other.unnamed;
        for (mine, theirs) in
            [(&mut self.pairs, &other.pairs), (&mut self.none, &other.none), (&mut self.extra, &other.extra)]
        {
            for (m, t) in mine.iter_mut().zip(theirs) {
                *m = (m.0 + t.0, m.1 + t.1, m.2 + t.2);
            }
        }
        self.log_score += other.log_score;
        self.count += other.count;
        self
    }

    /// Mean of -ln(probability of what was true).
    pub(crate) fn mean_log_score(&self) -> f64 {
        self.log_score / self.count.max(1) as f64
    }

    /// Observed less stated and its Monte Carlo error, per bin with at least `least` entries.
    pub(crate) fn off(bins: &Bins, least: usize) -> Vec<(f64, f64, f64, usize)> {
        bins.iter()
            .filter(|b| b.0 >= least.max(1))
            .map(|&(n, stated, seen)| {
                let (stated, seen) = (stated / n as f64, seen / n as f64);
                (stated, seen - stated, (stated * (1.0 - stated) / n as f64).sqrt(), n)
            })
            .collect()
    }
}

/// One study: 10 standards that references are learnt from, then `runs` runs that are named by them.
fn study(bench: &Bench, runs: usize, seed: u64, number: u64) -> Score {
    let mut score = Score::default();
    let mut random = Random::stream(seed, number);
    let programme = programme();
    let shares: Vec<f64> = bench.times_s.iter().map(|t| programme.late_start_share(t / 60.0)).collect();
    let expected = expected(bench, &mut random);
    let options = options(bench);
    let standards: Vec<PeakList> = (0..10).map(|_| run(bench, true, &shares, &mut random).0).collect();
    let references: Vec<ReferenceTime> =
        learn_references(&standards.iter().collect::<Vec<_>>(), &expected, &options, bench.oven.then_some(&programme));
    for _ in 0..runs {
        let (peaks, truth) = run(bench, false, &shares, &mut random);
        let named = peaks.identify(&references, &options).expect("valid references");
        score.add(&named, &peaks, &truth);
    }
    score
}

/// Many studies.
pub(crate) fn score(bench: &Bench, studies: u64, runs: usize, seed: u64) -> Score {
    (0..studies).fold(Score::default(), |all, number| all.merge(&study(bench, runs, seed, number)))
}
