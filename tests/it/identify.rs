//! Names against simulated runs whose truth is known.

mod sequences;

use sequences::name;
use vialbook::identify::{ExpectedTime, NamedPeaks, Naming, NamingNote, ReferenceTime, references_from};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{Integration, Peak, PeakList};

/// Seconds at which 12 compounds elute; three pairs lie 5 s apart.
const TIMES_S: [f64; 12] = [42.0, 75.0, 110.0, 115.0, 160.0, 210.0, 215.0, 270.0, 330.0, 335.0, 420.0, 520.0];

fn peak(time_s: f64, height: f64) -> Peak {
    Peak {
        area: height * 0.04,
        height,
        width_half_min: Some(0.035),
        width_tenth_min: Some(0.065),
        ..sequences::peak(time_s)
    }
}

fn list(run: &str, mut times_s: Vec<f64>) -> PeakList {
    times_s.sort_by(f64::total_cmp);
    let peaks = times_s.into_iter().map(|t| peak(t, 1.0)).collect();
    PeakList { peaks, run: run.into(), ..sequences::list(Vec::new()) }
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

const USUAL: Bench = Bench { scatter_s: 0.3, offset_s: 3.0, missing: 0.03, extra: 4, fall_s: None };
const CROWDED: Bench = Bench { missing: 0.08, extra: 6, ..USUAL };

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

/// Rough expected times, off by up to 3 s in the true order, windows of ± 9 s.
fn expected(random: &mut Random) -> Vec<ExpectedTime> {
    loop {
        let times_s = TIMES_S.map(|t| t + 3.0 * (2.0 * random.uniform() - 1.0));
        if times_s.is_sorted() {
            let one =
                |(k, t): (usize, f64)| ExpectedTime { compound: name(k), time_min: t / 60.0, half_width_min: 0.15 };
            return times_s.into_iter().enumerate().map(one).collect();
        }
    }
}

#[derive(Default, Debug)]
struct Score {
    there: usize,
    wrong: usize,
    /// Of these: a foreign peak where a missing compound would be. Retention alone cannot tell.
    impostors: usize,
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
            let is_foreign = |f: f64| truth.iter().flatten().all(|t| (t - f).abs() > 1e-6);
            self.impostors += usize::from(t.is_none() && found.is_some_and(is_foreign));
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
            late_start_share: None,
        })
        .collect()
}

#[test]
fn names_of_simulated_runs_are_right() {
    let score = score(100, 40, USUAL, 1, false);
    assert!(score.there > 40_000);
    assert!(score.wrong * 1000 <= score.there, "{score:?}");
    assert!(score.unnamed * 100 <= score.there, "{score:?}");
}

#[test]
fn names_survive_many_missing_and_foreign_peaks() {
    let score = score(100, 40, CROWDED, 1, false);
    assert!((score.wrong - score.impostors) * 1000 <= score.there, "{score:?}");
    assert!(score.wrong * 400 <= score.there, "{score:?}");
    assert!(score.unnamed * 100 <= score.there, "{score:?}");
}

#[test]
fn names_survive_an_offset_that_falls_with_retention() {
    let score = score(50, 40, Bench { fall_s: Some(200.0), ..USUAL }, 2, false);
    assert!(score.wrong * 1000 <= score.there, "{score:?}");
    assert!(score.unnamed * 100 <= score.there, "{score:?}");
}

#[test]
fn probabilities_are_about_the_share_of_true_names() {
    // Scatter so large that members of a pair, 5 s apart, are often confused.
    let score = score(1, 6000, Bench { scatter_s: 1.5, ..CROWDED }, 3, true);
    for (stated, right, sum) in score.bins {
        assert!(stated >= 300, "{score:?}");
        let (observed, mean) = (right as f64 / stated as f64, sum / stated as f64);
        assert!((observed - mean).abs() < 0.06, "{observed} {mean} {score:?}");
    }
}

/// The late thumb under a ramp (40 °C, 1 min hold, 10 °C/min, hold-up 0.5 min, 4 %/K): retention times of k at start
/// 0.3, 3, 10, 30, 100 by integrating dx/dt = 1/(t₀(1 + k)), and their shifts for δ = 2 s rounded to 0.1 s.
const LATE_THUMB: [(f64, f64); 5] = [(39.0, 2.0), (112.8, 1.6), (225.9, 0.8), (378.7, 0.3), (594.6, 0.1)];

#[test]
fn a_late_thumb_does_not_break_names() {
    let references: Vec<ReferenceTime> = LATE_THUMB
        .iter()
        .enumerate()
        .map(|(k, (t, _))| ReferenceTime {
            compound: name(k),
            time_min: t / 60.0,
            scatter_min: 0.3 / 60.0,
            half_width_min: 1.8 / 60.0,
            width_half_min: None,
            runs: 10,
            late_start_share: None,
        })
        .collect();
    for foreign in [&[][..], &[0, 2]] {
        let (mut there, mut wrong, mut unnamed) = (0, 0, 0);
        for sign in [-1.5, -1.0, 1.0, 1.5] {
            for seed in 0..500 {
                let mut random = Random::stream(4, seed);
                let mut times: Vec<f64> =
                    LATE_THUMB.iter().map(|(t, s)| t + sign * s + 0.3 * random.normal()).collect();
                let truth = times.clone();
                // A foreign peak 4 s behind the compound's own, where another offset would put it.
                times.extend(foreign.iter().map(|&k: &usize| truth[k] + 4.0));
                let named = list("late", times).identify(&references, &Naming::default()).expect("valid references");
                for (k, t) in truth.iter().enumerate() {
                    let found = named.peak(&name(k)).map(|p| 60.0 * p.peak.retention_time_min);
                    let is_right = found.is_some_and(|f| (f - t).abs() < 1e-6);
                    there += 1;
                    wrong += usize::from(found.is_some() && !is_right);
                    unnamed += usize::from(!is_right);
                }
            }
        }
        // Five peaks and two decoys leave room for a steeper offset that fits better by chance: 1 in 200 there.
        let allowed = if foreign.is_empty() { there / 1000 } else { there / 200 };
        assert!(wrong <= allowed && unnamed * 100 <= there, "{wrong} {unnamed} {there}");
    }
    let times = LATE_THUMB.iter().map(|(t, s)| t + s).collect();
    let named = list("late", times).identify(&references, &Naming::default()).expect("valid references");
    assert!(matches!(named.notes[0], NamingNote::OffsetFalls { .. }), "{:?}", named.notes);
    assert!((named.start_offset_s.expect("five peaks") - 2.0).abs() < 0.3, "{named:?}");
}

#[test]
fn standards_with_offsets_of_their_own_give_times_and_scatter() {
    let mut random = Random::seeded(5);
    let expected = expected(&mut random);
    let standards: Vec<PeakList> = (0..40).map(|_| run(USUAL, &mut random).0).collect();
    let references = references_from(&standards.iter().collect::<Vec<_>>(), &expected);
    // Only differences of times are told, since every standard may be late.
    let shift: f64 = references.iter().zip(TIMES_S).map(|(r, t)| 60.0 * r.time_min - t).sum::<f64>() / 12.0;
    assert!(shift.abs() < 1.0, "{shift}");
    let mut scatter = 0.0;
    for (r, t) in references.iter().zip(TIMES_S) {
        // A median of 40 has standard error 1.253 σ/√40 = 0.06 s.
        assert!((60.0 * r.time_min - t - shift).abs() < 0.25, "{r:?} {shift}");
        assert!(r.runs >= 34 && (60.0 * r.scatter_min - 0.3).abs() < 0.12, "{r:?}");
        scatter += 60.0 * r.scatter_min / 12.0;
    }
    assert!((scatter - 0.3).abs() < 0.03, "{scatter}");
}

#[test]
fn one_standard_and_no_standard_still_name() {
    let expected = expected(&mut Random::seeded(6));
    let one = list("one", TIMES_S.to_vec());
    let named = one.identify(&references_from(&[&one], &expected), &Naming::default()).expect("valid");
    assert_eq!(named.peaks.iter().filter(|p| p.compound.is_some()).count(), 12);
    assert!(named.missing.is_empty());

    let guess = [ExpectedTime { compound: "octane".into(), time_min: 5.0, half_width_min: 0.1 }];
    let named = list("x", vec![301.0]).identify(&references_from(&[], &guess), &Naming::default()).expect("valid");
    assert_eq!(named.peaks[0].compound.as_deref(), Some("octane"));
    assert!(named.peaks[0].evidence.contains("the expected 5.000 min"), "{}", named.peaks[0].evidence);
    assert!(named.notes.contains(&NamingNote::NeverInStandards("octane".into())), "{:?}", named.notes);
}

#[test]
fn a_pair_is_named_in_order_and_not_by_the_nearest() {
    // Both peaks of the pair at 110 and 115 s are late: the first lies nearer to the second's time.
    let times: Vec<f64> = TIMES_S.iter().map(|t| t + 2.9).collect();
    let named = list("late", times).identify(&ideal(0.3), &Naming::default()).expect("valid");
    let offset = named.start_offset_s.expect("12 peaks");
    assert!((offset - 2.9).abs() < 0.05, "{offset}");
    let names: Vec<_> = named.peaks.iter().filter_map(|p| p.compound.clone()).collect();
    assert_eq!(names, (0..12).map(name).collect::<Vec<_>>());
    let text = &named.peaks[2].evidence;
    assert!(text.starts_with("consistent with compound 02: 0.0 s from the standards' 1.833 min"), "{text}");
    assert!(text.contains("start offset +2.9 s"), "{text}");

    // Only the second is there: its name stays its own.
    let times: Vec<f64> = TIMES_S.iter().filter(|t| **t != 110.0).map(|t| t - 2.5).collect();
    let named = list("early", times).identify(&ideal(0.3), &Naming::default()).expect("valid");
    assert_eq!(named.missing, [name(2)]);
    assert!(named.peak(&name(3)).is_some_and(|p| (60.0 * p.peak.retention_time_min - 112.5).abs() < 1e-9));
}

#[test]
fn probability_falls_when_two_peaks_are_near() {
    let alone = list("a", TIMES_S.to_vec()).identify(&ideal(0.5), &Naming::default()).expect("valid");
    let crowded = |gap: f64| {
        let times = [TIMES_S.to_vec(), vec![160.0 + gap]].concat();
        let named = list("b", times).identify(&ideal(0.5), &Naming::default()).expect("valid");
        named.peaks[4].identity_probability
    };
    let of = |named: &NamedPeaks| named.peaks[4].identity_probability.expect("named");
    let near = crowded(1.0).expect("named");
    let nearer = crowded(0.8).expect("named");
    assert!(of(&alone) > 0.99 && near < of(&alone) - 0.03 && nearer < near, "{} {near} {nearer}", of(&alone));
    // Two peaks, one to the left and one to the right of the time: undecided, and said so.
    let times = [TIMES_S.iter().copied().filter(|t| *t != 160.0).collect(), vec![159.6, 160.4]].concat();
    let named = list("c", times).identify(&ideal(0.5), &Naming::default()).expect("valid");
    let p: f64 = named.peaks[4..6].iter().filter_map(|p| p.identity_probability).sum();
    assert!(p < 0.6, "{named:?}");
}

#[test]
fn no_name_outside_windows_and_none_for_a_blank() {
    let named = list("blank", vec![30.0, 140.0, 480.0]).identify(&ideal(0.3), &Naming::default()).expect("valid");
    assert!(named.peaks.iter().all(|p| p.compound.is_none()), "{named:?}");
    assert_eq!((named.missing.len(), named.start_offset_s), (12, None));
    assert_eq!(named.peaks[0].evidence, "no candidate: no reference time fits");

    // Offset switched off: a peak 2 s off lies outside ± 1.8 s.
    let off = Naming { start_offset_limit_s: 0.0, ..Naming::default() };
    let times: Vec<f64> = TIMES_S.iter().map(|t| t + if *t == 160.0 { 2.0 } else { 0.1 }).collect();
    let named = list("x", times).identify(&ideal(0.3), &off).expect("valid");
    assert_eq!((named.missing, named.start_offset_s), (vec![name(4)], None));

    let empty = list("empty", Vec::new()).identify(&ideal(0.3), &Naming::default()).expect("valid");
    assert_eq!(empty.missing.len(), 12);
    let none = list("x", vec![42.0]).identify(&[], &Naming::default()).expect("valid");
    assert_eq!(none.notes, [NamingNote::NoReferences]);
}

#[test]
fn the_middle_of_an_empty_window_is_no_peak() {
    let mut peaks = list("x", TIMES_S.to_vec());
    peaks.peaks[4].method = Integration::ForcedWindow;
    peaks.peaks[7].retention_time_min = f64::NAN;
    let named = peaks.identify(&ideal(0.3), &Naming::default()).expect("valid");
    assert_eq!(named.missing, [name(4), name(7)]);
    assert_eq!(named.peaks.len(), 12);
}

#[test]
fn bad_options_and_references_are_refused() {
    let peaks = list("x", TIMES_S.to_vec());
    for options in [
        Naming { start_offset_limit_s: -1.0, ..Naming::default() },
        Naming { start_offset_limit_s: f64::NAN, ..Naming::default() },
        Naming { least_probability: 0.4, ..Naming::default() },
        Naming { least_probability: 1.0, ..Naming::default() },
    ] {
        assert!(peaks.identify(&ideal(0.3), &options).is_err(), "{options:?}");
    }
    let mut twice = ideal(0.3);
    twice[1].compound = name(0);
    let error = peaks.identify(&twice, &Naming::default()).expect_err("named twice");
    assert!(error.to_string().contains("compound 00 has two reference times"), "{error}");
    for (time_min, scatter_min, half_width_min) in
        [(f64::NAN, 0.01, 0.1), (1.0, 0.0, 0.1), (1.0, 0.01, f64::INFINITY), (1.0, f64::NAN, 0.1)]
    {
        let mut bad = ideal(0.3);
        bad[3] = ReferenceTime { time_min, scatter_min, half_width_min, ..bad[3].clone() };
        assert!(peaks.identify(&bad, &Naming::default()).is_err(), "{:?}", bad[3]);
    }
}

#[test]
fn names_do_not_depend_on_the_order_of_references_or_peaks() {
    let mut random = Random::seeded(8);
    for _ in 0..50 {
        let (peaks, _) = run(CROWDED, &mut random);
        let named = peaks.identify(&ideal(0.3), &Naming::default()).expect("valid");
        let mut references = ideal(0.3);
        references.reverse();
        assert_eq!(named, peaks.identify(&references, &Naming::default()).expect("valid"));
        let mut turned = peaks.clone();
        turned.peaks.reverse();
        let mut back = turned.identify(&ideal(0.3), &Naming::default()).expect("valid");
        back.peaks.reverse();
        assert_eq!((&named.peaks, &named.missing), (&back.peaks, &back.missing));
    }
}

#[test]
fn a_thousand_peaks_and_a_hundred_compounds_stay_finite() {
    let mut random = Random::seeded(9);
    let times: Vec<f64> = (0..1000).map(|_| 3600.0 * random.uniform()).collect();
    let references: Vec<ReferenceTime> = (0..100)
        .map(|k| ReferenceTime {
            compound: name(k),
            time_min: 0.6 * (k as f64 + 0.5),
            scatter_min: 0.005,
            half_width_min: 0.03,
            width_half_min: None,
            runs: 5,
            late_start_share: None,
        })
        .collect();
    let named = list("dense", times).identify(&references, &Naming::default()).expect("valid");
    assert!(named.peaks.iter().filter_map(|p| p.identity_probability).all(|p| p > 0.5 && p <= 1.0));
    let mut names: Vec<_> = named.peaks.iter().filter_map(|p| p.compound.clone()).collect();
    let order = names.clone();
    names.sort();
    names.dedup();
    assert_eq!(names, order, "one to one, in order");
}

#[test]
fn foreign_peaks_of_a_blank_seldom_get_a_name() {
    let mut random = Random::seeded(10);
    let (mut named, mut honest) = (0, 0.0);
    for _ in 0..2000 {
        let times = (0..=random.below(3)).map(|_| 20.0 + 530.0 * random.uniform()).collect();
        let blank = list("blank", times).identify(&ideal(0.3), &Naming::default()).expect("valid");
        let count = blank.peaks.iter().filter(|p| p.compound.is_some()).count();
        named += count;
        honest += blank.peaks.iter().filter_map(|p| p.identity_probability).sum::<f64>();
        // A name that rests on one peak says so.
        let is_said = blank.notes.iter().any(|n| matches!(n, NamingNote::OffsetFromFewPeaks(_)));
        assert!(count != 1 || is_said, "{blank:?} {:?}", blank.notes);
    }
    assert!(named * 12 < 4000, "{named} of about 4,000 peaks named, mean probability {}", honest / named as f64);
}

/// 500 seeds stand in `benches/naming.rs`; these are the first of them.
#[test]
fn names_of_simulated_sequences_are_right_in_both_modes_and_under_drift() {
    use sequences::{Bench, USUAL, score};
    for (oven, drift) in [(false, 0.0), (false, 0.03), (true, 0.0), (true, 0.03)] {
        let s = score(&Bench { oven, drift, ..USUAL }, 60, 20, 61);
        assert!(s.there > 13_000);
        assert!(s.wrong * 1000 <= s.there && s.unnamed * 100 <= s.there, "oven {oven}, drift {drift}: {s:?}");
    }
}

/// Probabilities of pairs, of "none" and of "extra" on pairs at a resolution of 0.6 to 1.2, references learnt from ten
/// standards: observed within ± 0.03 of stated, plus twice the Monte Carlo error, in bins of 600 and more.
#[test]
fn probabilities_on_hard_sequences_are_the_share_of_what_is_true() {
    use sequences::{Score, hard, score};
    let s = score(&hard(0.9, 1.0), 150, 20, 62);
    for (what, bins) in [("pairs", &s.pairs), ("none", &s.none), ("extra", &s.extra)] {
        let off = Score::off(bins, 600);
        assert!(off.len() > 1, "{what}: {bins:?}");
        for (stated, off, error, n) in off {
            assert!(off.abs() < 0.03 + 2.0 * error, "{what} at {stated:.2}: {off:+.3} ± {error:.3} ({n})");
        }
    }
    assert!(s.mean_log_score() < 0.11, "{}", s.mean_log_score());
}

#[test]
fn a_drift_is_told_with_its_uncertainty_and_can_be_switched_off() {
    // 2 % slower about a hold-up time of 30 s, and 1.5 s late.
    let times: Vec<f64> = TIMES_S.iter().map(|t| t + 1.5 + 0.02 * (t - 30.0)).collect();
    let options = Naming { stretch_about_min: 0.5, ..Naming::default() };
    let named = list("slow", times.clone()).identify(&ideal(0.3), &options).expect("valid");
    let (scale, u) = (named.time_scale.expect("asked for"), named.time_scale_u.expect("with u"));
    assert!((scale - 0.02).abs() < 3.0 * u && u < 0.002, "{scale} ± {u}");
    assert!((named.start_offset_s.expect("12 peaks") - 1.5).abs() < 0.3, "{named:?}");
    assert_eq!(named.peaks.iter().filter(|p| p.compound.is_some()).count(), 12);
    assert!(named.notes.iter().any(|n| matches!(n, NamingNote::TimeScale { .. })), "{:?}", named.notes);
    // The curve is the shift that was there, to its own uncertainty.
    for p in &named.shift {
        let there = 1.5 + 0.02 * (60.0 * p.time_min - 30.0);
        assert!((p.shift_s - there).abs() < 0.3 && p.u_s < 0.4, "{p:?} {there}");
        assert!((named.shift_s(p.time_min) - p.shift_s).abs() < 1e-9);
    }
    let off = Naming { time_scale_limit: 0.0, ..options };
    let named = list("slow", times).identify(&ideal(0.3), &off).expect("valid");
    assert!(named.time_scale.is_none() && named.missing.len() > 4, "{named:?}");
    // Nobody asks for a scale where there is none.
    let named = list("as ever", TIMES_S.to_vec()).identify(&ideal(0.3), &Naming::default()).expect("valid");
    assert_eq!(named.time_scale, None);
}

#[test]
fn candidates_and_missing_compounds_are_told_with_their_probabilities() {
    let mut times = TIMES_S.to_vec();
    times.retain(|t| *t != 270.0 && *t != 160.0);
    times.extend([159.6, 160.4]);
    let named = list("c", times).identify(&ideal(0.5), &Naming::default()).expect("valid");
    let lost = named.candidates.iter().find(|c| c.compound == name(7)).expect("every compound");
    assert!(lost.none > 0.99 && lost.peaks.is_empty() && (60.0 * lost.expected_min - 270.0).abs() < 1.0, "{lost:?}");
    assert!(named.missing.contains(&name(7)));
    // Two peaks for one compound: both say so, and the rest is an unknown's.
    for k in [4, 5] {
        let p = &named.peaks[k];
        assert_eq!(p.candidates.len(), 1, "{p:?}");
        assert!((p.candidates[0].1 - 0.5).abs() < 0.1 && p.candidates[0].0 == name(4), "{p:?}");
    }
    let either = named.candidates.iter().find(|c| c.compound == name(4)).expect("every compound");
    assert_eq!(either.peaks.len(), 2, "{either:?}");
}
