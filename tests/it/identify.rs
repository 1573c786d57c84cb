//! Names against simulated runs whose truth is known.

use vialbook::identify::{ExpectedTime, NamedPeaks, Naming, NamingNote, ReferenceTime, references_from};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{Detect, Integration, Peak, PeakList};
use vialbook::signal::Noise;

/// Seconds at which 12 compounds elute; three pairs lie 5 s apart.
const TIMES_S: [f64; 12] = [42.0, 75.0, 110.0, 115.0, 160.0, 210.0, 215.0, 270.0, 330.0, 335.0, 420.0, 520.0];

fn peak(time_s: f64, height: f64) -> Peak {
    Peak {
        retention_time_min: time_s / 60.0,
        retention_time_u_min: Some(1e-4),
        start_min: time_s / 60.0 - 0.05,
        end_min: time_s / 60.0 + 0.05,
        area: height * 0.04,
        area_u: 1e-4,
        height,
        width_half_min: Some(0.035),
        width_tenth_min: Some(0.065),
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
        notes: Vec::new(),
    }
}

fn list(run: &str, mut times_s: Vec<f64>) -> PeakList {
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
    let peaks = times_s.into_iter().map(|t| peak(t, 1.0)).collect();
    PeakList { peaks, noise, run: run.into(), signal_unit: "mV".into(), options: Detect::default() }
}

fn name(k: usize) -> String {
    format!("compound {k:02}")
}

/// How runs go wrong.
#[derive(Clone, Copy)]
struct Bench {
    scatter_s: f64,
    offset_s: f64,
    missing: f64,
    extra: u64,
    /// Decay time of the offset; none where all peaks shift alike.
    fall_s: Option<f64>,
}

const USUAL: Bench = Bench { scatter_s: 0.3, offset_s: 3.0, missing: 0.08, extra: 6, fall_s: None };

/// Peaks of one run and, per compound, the true time where it has a peak.
fn run(bench: Bench, random: &mut Random) -> (PeakList, Vec<Option<f64>>) {
    let offset = (2.0 * random.uniform() - 1.0) * bench.offset_s;
    let mut truth = Vec::new();
    for t in TIMES_S {
        let g = bench.fall_s.map_or(1.0, |fall| (-(t - TIMES_S[0]) / fall).exp());
        let at = t + offset * g + bench.scatter_s * random.normal();
        truth.push((random.uniform() >= bench.missing).then_some(at));
    }
    let mut times: Vec<f64> = truth.iter().flatten().copied().collect();
    let extras = random.below(bench.extra + 1);
    while times.len() < truth.iter().flatten().count() + extras as usize {
        let t = 20.0 + 530.0 * random.uniform();
        // Peaks nearer than 2 s (resolution 0.6) would be one.
        if times.iter().all(|u| (u - t).abs() > 2.0) {
            times.push(t);
        }
    }
    (list("simulated", times), truth)
}

/// Rough expected times, off by up to 3 s, windows of ± 9 s.
fn expected(random: &mut Random) -> Vec<ExpectedTime> {
    let shake = |random: &mut Random| 3.0 * (2.0 * random.uniform() - 1.0);
    TIMES_S
        .iter()
        .enumerate()
        .map(|(k, t)| ExpectedTime { compound: name(k), time_min: (t + shake(random)) / 60.0, half_width_min: 0.15 })
        .collect()
}

#[derive(Default, Debug)]
struct Score {
    there: usize,
    wrong: usize,
    unnamed: usize,
    /// Per tenth of stated probability above 0.5: pairs stated, pairs true, sum of probabilities.
    bins: [(usize, usize, f64); 5],
}

impl Score {
    fn add(&mut self, named: &NamedPeaks, truth: &[Option<f64>]) {
        for (k, t) in truth.iter().enumerate() {
            let found = named.peak(&name(k)).map(|p| 60.0 * p.peak.retention_time_min);
            let is_right = t.zip(found).is_some_and(|(t, f)| (t - f).abs() < 1e-6);
            self.there += usize::from(t.is_some());
            self.wrong += usize::from(found.is_some() && !is_right);
            self.unnamed += usize::from(t.is_some() && !is_right);
            if let Some(p) = named.peak(&name(k)).and_then(|p| p.identity_probability) {
                let bin = &mut self.bins[(((p - 0.5) * 10.0) as usize).min(4)];
                *bin = (bin.0 + 1, bin.1 + usize::from(is_right), bin.2 + p);
            }
        }
    }
}

/// Studies of 10 standards, then runs named by them.
fn score(studies: u64, runs: usize, bench: Bench, seed: u64, is_ideal: bool) -> Score {
    let mut score = Score::default();
    for study in 0..studies {
        let mut random = Random::stream(seed, study);
        let expected = expected(&mut random);
        let references = if is_ideal {
            ideal(bench.scatter_s)
        } else {
            let standards: Vec<PeakList> = (0..10).map(|_| run(bench, &mut random).0).collect();
            references_from(&standards.iter().collect::<Vec<_>>(), &expected)
        };
        for _ in 0..runs {
            let (peaks, truth) = run(bench, &mut random);
            let named = peaks.identify(&references, &Naming::default()).expect("valid references");
            score.add(&named, &truth);
        }
    }
    score
}

fn ideal(scatter_s: f64) -> Vec<ReferenceTime> {
    TIMES_S
        .iter()
        .enumerate()
        .map(|(k, t)| ReferenceTime {
            compound: name(k),
            time_min: t / 60.0,
            scatter_min: scatter_s / 60.0,
            half_width_min: 6.0 * scatter_s / 60.0,
            width_half_min: Some(0.035),
            runs: 10,
        })
        .collect()
}

#[test]
fn names_of_simulated_runs_are_right() {
    let score = score(100, 40, USUAL, 1, false);
    println!("{score:?}");
    assert!(score.there > 40_000);
    assert!(score.wrong * 1000 <= score.there, "{score:?}");
    assert!(score.unnamed * 100 <= score.there, "{score:?}");
}

#[test]
fn names_survive_an_offset_that_falls_with_retention() {
    let score = score(50, 40, Bench { fall_s: Some(200.0), ..USUAL }, 2, false);
    println!("{score:?}");
    assert!(score.wrong * 1000 <= score.there, "{score:?}");
    assert!(score.unnamed * 100 <= score.there, "{score:?}");
}
