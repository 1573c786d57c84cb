//! Names, start offsets, probabilities.

use vialbook::identify::{Expected, Identify, NamedPeaks, ReferenceTime, identify, references_from};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{Detect, Integration, Peak, PeakList};
use vialbook::signal::Noise;

/// A list of peaks at these times, with these areas.
fn list(times_and_areas: &[(f64, f64)]) -> PeakList {
    let mut sorted = times_and_areas.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let peak = |&(time, area): &(f64, f64)| Peak {
        retention_time_min: time,
        retention_time_u_min: None,
        start_min: time - 0.1,
        end_min: time + 0.1,
        area,
        area_u: 0.01,
        height: 10.0 * area,
        width_half_min: Some(0.05),
        width_tenth_min: None,
        width_5pct_min: None,
        plates_half_height: None,
        tailing_factor_5pct: None,
        asymmetry_10pct: None,
        resolution_half_height: None,
        signal_to_noise: 100.0,
        noise_window_min: None,
        height_over_sd: 300.0,
        baseline: [0.0, 0.0],
        points: 200,
        method: Integration::BaselineToBaseline,
        notes: Vec::new(),
    };
    let noise = Noise {
        sd: 0.03,
        autocorrelation: 0.0,
        step: None,
        is_floor: false,
        points: 1_000,
        peak_to_peak: 0.2,
        window_min: [0.0, 1.0],
    };
    PeakList {
        peaks: sorted.iter().map(peak).collect(),
        noise,
        run: "run".into(),
        signal_unit: "mV".into(),
        options: Detect::default(),
    }
}

fn learnt(compound: &str, time_min: f64, sd: f64) -> ReferenceTime {
    ReferenceTime {
        width_half_min: 0.05,
        time_sd_min: Some(sd),
        runs: 20,
        ..ReferenceTime::new(compound, time_min, 0.1)
    }
}

fn names(named: &NamedPeaks) -> Vec<Option<&str>> {
    named.peaks.iter().map(|p| p.compound.as_deref()).collect()
}

const TRUE_TIMES: [(&str, f64); 5] =
    [("2-propanol", 2.10), ("isopropyl acetate", 4.30), ("heptane", 4.55), ("octane", 7.20), ("decane", 9.80)];

/// Twenty standards with start offsets of ±2 s and 0.15 s of scatter, stated times off by up to 4 s; then samples with
/// a foreign peak, a missing compound and an offset of their own.
#[test]
fn standards_teach_times_and_late_runs_are_put_right() {
    let mut random = Random::seeded(41);
    let scatter = 0.15 / 60.0;
    let mut offsets = Vec::new();
    let standards: Vec<PeakList> = (0..20)
        .map(|_| {
            let offset = 4.0 * random.uniform() - 2.0;
            offsets.push(offset);
            let mut peaks: Vec<(f64, f64)> = TRUE_TIMES
                .iter()
                .map(|(_, t)| (t + offset / 60.0 + scatter * random.normal(), 1.0 + random.uniform()))
                .collect();
            peaks.push((4.42 + offset / 60.0, 0.02)); // an impurity between two compounds
            list(&peaks)
        })
        .collect();
    let expected: Vec<Expected> = TRUE_TIMES
        .iter()
        .map(|(name, t)| Expected { compound: (*name).into(), time_min: t + 0.06, half_width_min: 0.15 })
        .collect();
    let references = references_from(&standards, &expected, &Identify::default()).expect("learnt");
    assert!(references.not_found.is_empty());
    let common = references.times[0].time_min - TRUE_TIMES[0].1; // the median of 20 offsets is not 0
    for (reference, (name, time)) in references.times.iter().zip(TRUE_TIMES) {
        assert_eq!((reference.compound.as_str(), reference.runs), (name, 20));
        assert!((reference.time_min - time - common).abs() < 0.1 / 60.0, "{name}: {}", reference.time_min);
        let sd = reference.time_sd_min.expect("20 runs tell");
        assert!(sd > 0.4 * scatter && sd < 1.8 * scatter, "{name}: scatter {} s", 60.0 * sd);
    }
    for (found, offset) in references.start_offsets_s.iter().zip(&offsets) {
        assert!((found.expect("told") - offset + 60.0 * common).abs() < 0.25, "{found:?} for {offset}");
    }
    for (k, offset) in [(0_usize, 3.5), (2, -4.0), (4, 0.0)] {
        let mut peaks: Vec<(f64, f64)> = TRUE_TIMES
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != k)
            .map(|(_, (_, t))| (t + offset / 60.0 + common + scatter * random.normal(), 1.0))
            .collect();
        peaks.push((3.3 + offset / 60.0, 5.0));
        let named = identify(&list(&peaks), &references.times, &Identify::default()).expect("named");
        assert_eq!(named.missing, [TRUE_TIMES[k].0]);
        assert!((named.start_offset_s.expect("told") - offset).abs() < 0.25);
        for (i, (name, time)) in TRUE_TIMES.iter().enumerate().filter(|(i, _)| *i != k) {
            let peak = named.compound(name).unwrap_or_else(|| panic!("{i} unnamed"));
            assert!((peak.peak.retention_time_min - time - offset / 60.0 - common).abs() < 0.02);
            assert!(peak.identity_probability.expect("named") > 0.95 && peak.evidence.contains("consistent with"));
        }
        assert_eq!(names(&named).iter().filter(|n| n.is_none()).count(), 1);
    }
}

/// Nearest first would give 2.07 to the second reference and leave the first without.
#[test]
fn names_go_by_the_whole_and_not_nearest_first() {
    let references = [ReferenceTime::new("first", 2.0, 0.12), ReferenceTime::new("second", 2.1, 0.12)];
    let options = Identify { start_offset: false, ..Identify::default() };
    let named = list(&[(2.07, 1.0), (2.17, 1.0)]).identify(&references, &options).expect("named");
    assert_eq!(names(&named), [Some("first"), Some("second")]);
    assert_eq!(named.start_offset_s, None);
    // One peak between two references: one of them is missing, and neither is sure.
    let named = list(&[(2.05, 1.0)]).identify(&references, &options).expect("named");
    assert_eq!(named.missing.len(), 1);
    assert!(named.peaks[0].identity_probability.expect("named") < 0.6);
}

#[test]
fn an_offset_is_limited_needs_two_and_can_be_switched_off() {
    let references = [learnt("a", 2.0, 0.002), learnt("b", 3.0, 0.002), learnt("c", 4.5, 0.002)];
    let late = list(&[(2.05, 1.0), (3.05, 1.0), (4.55, 1.0)]);
    let named = late.identify(&references, &Identify::default()).expect("named");
    assert!((named.start_offset_s.expect("told") - 3.0).abs() < 1e-6 && named.missing.is_empty());
    let off = late.identify(&references, &Identify { start_offset: false, ..Identify::default() }).expect("named");
    assert_eq!(off.start_offset_s, None);
    let narrow = late.identify(&references, &Identify { largest_offset_s: 1.0, ..Identify::default() }).expect("named");
    assert!(narrow.start_offset_s.is_none_or(|s| s.abs() <= 1.0));
    let one = list(&[(2.05, 1.0)]).identify(&references, &Identify::default()).expect("named");
    assert_eq!(one.start_offset_s, None);
    // One compound's peak is not where the others put it: the offset is that of the many.
    let odd = list(&[(2.01, 1.0), (3.05, 1.0), (4.55, 1.0)]).identify(&references, &Identify::default());
    assert!((odd.expect("named").start_offset_s.expect("told") - 3.0).abs() < 0.3);
}

/// 4,000 simulated runs: of the names stated with a probability, that share is right. Hard: three compounds 2 to 4
/// scatters apart, foreign peaks among them, each compound absent in one run of ten.
#[test]
fn stated_probabilities_are_kept() {
    let sd = 0.01;
    let references = [learnt("a", 2.0, sd), learnt("b", 2.03, sd), learnt("c", 2.07, sd)];
    let options = Identify { start_offset: false, ..Identify::default() };
    let mut bins = [(0.0, 0.0, 0.0); 4];
    let mut random = Random::seeded(42);
    for _ in 0..4_000 {
        let mut peaks: Vec<(f64, f64)> = Vec::new();
        let mut truth: Vec<(f64, usize)> = Vec::new();
        let mut last = f64::NEG_INFINITY;
        for (i, r) in references.iter().enumerate() {
            // The scatter of a run and of the reference's own median.
            let time = r.time_min + sd * (1.0_f64 + 1.0 / 20.0).sqrt() * random.normal();
            if random.uniform() > 0.1 && time > last {
                last = time;
                truth.push((time, i));
                peaks.push((time, 1.0));
            }
        }
        for _ in 0..2 {
            peaks.push((1.9 + 0.27 * random.uniform(), 1.0));
        }
        let named = identify(&list(&peaks), &references, &options).expect("named");
        for peak in &named.peaks {
            let (Some(name), Some(p)) = (&peak.compound, peak.identity_probability) else { continue };
            let right =
                truth.iter().any(|(t, i)| *t == peak.peak.retention_time_min && references[*i].compound == *name);
            let bin = &mut bins[if p < 0.5 {
                0
            } else if p < 0.7 {
                1
            } else if p < 0.9 {
                2
            } else {
                3
            }];
            *bin = (bin.0 + 1.0, bin.1 + p, bin.2 + f64::from(u8::from(right)));
        }
    }
    for (n, stated, right) in bins {
        assert!(n > 300.0, "{n} in a bin");
        assert!((stated - right).abs() / n < 0.06, "{n}: stated {}, right {}", stated / n, right / n);
    }
}

/// A load that moves the apex by 20 scatters does not lose a name that nothing else claims.
#[test]
fn a_lone_peak_in_its_window_keeps_its_name() {
    let references = [learnt("a", 2.0, 0.001), learnt("b", 5.0, 0.001), learnt("c", 8.0, 0.001)];
    let named = list(&[(2.0, 1.0), (5.02, 30.0), (8.0, 1.0)]).identify(&references, &Identify::default());
    let named = named.expect("named");
    assert_eq!(names(&named), [Some("a"), Some("b"), Some("c")]);
    assert!(named.start_offset_s.expect("told").abs() < 0.3);
    assert!(named.peaks[1].identity_probability < named.peaks[0].identity_probability);
}

#[test]
fn odd_input_is_refused_or_harmless() {
    let none = list(&[]);
    let named = none.identify(&[learnt("a", 2.0, 0.01)], &Identify::default()).expect("named");
    assert_eq!((named.missing, named.peaks.len()), (vec!["a".to_owned()], 0));
    assert!(list(&[(2.0, 1.0)]).identify(&[], &Identify::default()).expect("named").missing.is_empty());
    for wrong in [ReferenceTime::new("a", f64::NAN, 0.1), ReferenceTime::new("a", 2.0, 0.0)] {
        assert!(none.identify(&[wrong], &Identify::default()).is_err());
    }
    let twice = [learnt("a", 2.0, 0.01), learnt("a", 3.0, 0.01)];
    assert!(
        none.identify(&twice, &Identify::default()).expect_err("refused").to_string().contains("two retention times")
    );
    let options = Identify { missing_probability: 0.0, ..Identify::default() };
    assert!(none.identify(&[], &options).is_err());
    let expected = [Expected { compound: "a".into(), time_min: 2.0, half_width_min: 0.1 }];
    let nothing = references_from(&[none], &expected, &Identify::default()).expect("learnt");
    assert_eq!(nothing.not_found, ["a"]);
}
