//! Is a run fit to be used: one fault at a time in a made-up study, and how often a good one is doubted.

use vialbook::check::{self, CheckLimits, ControlChart};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::results::{Results, Severity};

use crate::made_up::{Bench, of};

const COLUMNS: &str = ",preparation,replicate,volume (uL),A (g/L),B (g/L),IS (g/L)";

fn toml(more: &str) -> String {
    format!(
        "[quantification]\nby = \"internal_standard\"\ninternal_standard = \"IS\"\n{more}\n\
         [[compound]]\nname = \"A\"\nretention_min = 2.0\n[[compound]]\nname = \"B\"\nretention_min = 3.5\n\
         [[compound]]\nname = \"IS\"\nrole = \"internal_standard\"\nretention_min = 6.0\n"
    )
}

/// Three levels × 2 flasks × 3 shots; `spoil` changes areas (A, B, IS) of (level, flask, shot), `late` moves its peaks.
fn study(
    more: &str,
    tail_min: f64,
    spoil: impl Fn(usize, usize, usize, &mut [f64; 3]),
    late: impl Fn(usize, usize, usize, f64) -> f64,
    extra: &[(f64, f64)],
) -> Bench {
    let mut random = Random::seeded(21);
    let mut bench = Bench::new(&toml(more), COLUMNS);
    bench.tail_min = tail_min;
    for (level, content) in [1.0, 2.0, 4.0].into_iter().enumerate() {
        for flask in 0..2 {
            for shot in 0..3 {
                let volume = 1.0 + 0.04 * random.normal();
                let ratio = || 1.0;
                let mut areas = [content * volume * ratio(), 1.5 * content * volume, 2.0 * volume];
                areas[0] *= 1.0 + 0.01 * random.normal();
                areas[1] *= 1.0 + 0.01 * random.normal();
                spoil(level, flask, shot, &mut areas);
                let peaks: Vec<(f64, f64)> = [2.0, 3.5, 6.0]
                    .iter()
                    .zip(areas)
                    .map(|(t, a)| (late(level, flask, shot, *t) + 0.003 * random.normal(), a))
                    .chain(extra.iter().copied())
                    .collect();
                let name = format!("l{level}f{flask}s{shot}");
                let rest = format!(",{flask},{shot},0.3,{content},{content},1.0");
                bench = bench.run(&name, &format!("level {level}"), "standard", &rest, &peaks);
            }
        }
    }
    bench
}

fn as_it_is(_: usize, _: usize, _: usize, t: f64) -> f64 {
    t
}

fn good() -> Bench {
    study("", 0.0, |_, _, _, _| (), as_it_is, &[])
}

/// The severity and the words of the first finding of this name that is no pass, else of the first.
fn told(results: &Results, what: &str) -> (Severity, String) {
    let all = of(results, what);
    let f = all.iter().max_by_key(|f| f.severity).unwrap_or_else(|| panic!("no finding on {what}"));
    // Every finding says what, its limit's origin and, where it doubts, what to do.
    assert!(!f.origin.is_empty() && !f.why.is_empty() && (f.severity == Severity::Pass || f.next.is_some()), "{f:?}");
    (f.severity, format!("{} | {} | {}", f.place, f.why, f.next.clone().unwrap_or_default()))
}

#[test]
fn a_good_study_passes_its_checks() {
    let results = good().results();
    for what in [
        "tailing",
        "fronting",
        "signal to noise of the lowest standard",
        "unknown peaks",
        "retention scatter",
        "ratio scatter over shots",
        "agreement of flasks",
        "injection far from the rest",
        "drift of the internal standard",
        "order of boiling points",
    ] {
        if what == "order of boiling points" && of(&results, what).is_empty() {
            continue; // A and B are in no table
        }
        assert_eq!(told(&results, what).0, Severity::Pass, "{what}: {:?}", told(&results, what));
    }
    assert!(of(&results, "what probably went wrong").is_empty());
    let guide = check::guide(&results, Some("IS")).to_string();
    assert!(guide.starts_with("No pattern of a fault was seen"), "{guide}");
}

#[test]
fn shapes_are_held_to_their_limits() {
    let results = study("", 0.09, |_, _, _, _| (), as_it_is, &[]).results();
    let (severity, words) = told(&results, "tailing");
    assert!(severity == Severity::Warn && words.contains("tailing factor"), "{words}");
    let results = study("", -0.09, |_, _, _, _| (), as_it_is, &[]).results();
    let (severity, words) = told(&results, "fronting");
    assert!(severity == Severity::Warn && words.contains("longer than the tail"), "{words}");
    // 0.3 µL of 4 g/L are 1.2 µg.
    let load = of(&results, "load on the column");
    assert!(load.iter().any(|f| f.place.starts_with("A,") && f.why.contains("some 1.2 µg")), "{load:?}");
    // A limit of one's own.
    let results = study("[limits]\ntailing = 9.0", 0.09, |_, _, _, _| (), as_it_is, &[]).results();
    assert_eq!(told(&results, "tailing").0, Severity::Pass);
    let results = study("", 0.0, |_, _, _, _| (), as_it_is, &[(4.5, 2.0)]).results();
    let (severity, words) = told(&results, "unknown peaks");
    assert!(severity == Severity::Warn && words.contains("4.5"), "{words}");
}

#[test]
fn a_half_filled_syringe_is_found_and_explained() {
    let half = |level, flask, shot, a: &mut [f64; 3]| {
        if (level, flask, shot) == (1, 1, 2) {
            a.iter_mut().for_each(|x| *x *= 0.5);
        }
    };
    let results = study("", 0.0, half, as_it_is, &[]).results();
    let (severity, words) = told(&results, "injection far from the rest");
    assert!(severity == Severity::Warn && words.starts_with("l1f1s2 |") && words.contains("bubble"), "{words}");
    // The ratio holds.
    assert_eq!(told(&results, "ratio scatter over shots").0, Severity::Pass);
    let guide = check::guide(&results, Some("IS"));
    assert_eq!(guide.patterns.len(), 1, "{guide}");
    assert!(guide.patterns[0].seen.contains("all areas are down alike, the internal standard's too"), "{guide}");
    assert!(guide.patterns[0].causes.iter().any(|c| c.contains("septum")), "{guide}");
    assert_eq!(told(&results, "what probably went wrong").0, Severity::Warn);
}

#[test]
fn two_flasks_that_disagree_are_found() {
    let wrong = |level, flask, _, a: &mut [f64; 3]| {
        if (level, flask) == (2, 1) {
            a[0] *= 1.45;
        }
    };
    let results = study("", 0.0, wrong, as_it_is, &[]).results();
    let (severity, words) = told(&results, "agreement of flasks");
    assert!(severity == Severity::Fail && words.contains("level 2 · 0 and level 2 · 1 differ by 3"), "{words}");
}

#[test]
fn ratios_that_walk_are_told_from_volume() {
    let walk = |_, _, shot, a: &mut [f64; 3]| a[0] *= 1.0 - 0.05 * shot as f64;
    let guide = check::guide(&study("", 0.0, walk, as_it_is, &[]).results(), Some("IS"));
    assert_eq!(guide.patterns.len(), 1, "{guide}");
    assert!(guide.patterns[0].seen.starts_with("the ratio of A to IS falls by"), "{guide}");
    assert!(guide.patterns[0].causes[0].contains("evaporation"), "{guide}");
}

#[test]
fn late_peaks_with_larger_areas_are_a_matter_of_flow() {
    let more = |level, flask, shot, a: &mut [f64; 3]| {
        if (level, flask, shot) == (0, 1, 1) {
            a.iter_mut().for_each(|x| *x *= 1.2);
        }
    };
    let slow = |level, flask, shot, t: f64| if (level, flask, shot) == (0, 1, 1) { 1.03 * t } else { t };
    // Three shared peaks say too little of a time scale: five are given.
    let extra = "[[compound]]\nname = \"C\"\nretention_min = 4.5\n[[compound]]\nname = \"D\"\nretention_min = 8.0\n";
    let mut random = Random::seeded(22);
    let mut bench = Bench::new(&format!("{}{extra}", toml("")), COLUMNS);
    for level in 0..3 {
        for flask in 0..2 {
            for shot in 0..3 {
                let content = [1.0, 2.0, 4.0][level];
                let volume = 1.0 + 0.03 * random.normal();
                let mut areas = [content * volume, 1.5 * content * volume, 2.0 * volume];
                more(level, flask, shot, &mut areas);
                let mut peaks: Vec<(f64, f64)> = [2.0, 3.5, 6.0].into_iter().zip(areas).collect();
                peaks.extend([(4.5, 1.0), (8.0, 1.0)]);
                for p in &mut peaks {
                    p.0 = slow(level, flask, shot, p.0) + 0.002 * random.normal();
                }
                let rest = format!(",{flask},{shot},0.3,{content},{content},1.0");
                bench = bench.run(
                    &format!("l{level}f{flask}s{shot}"),
                    &format!("level {level}"),
                    "standard",
                    &rest,
                    &peaks,
                );
            }
        }
    }
    let results = bench.results();
    let shift = results.naming.runs.iter().find(|r| r.run == "l0f1s1").expect("a run");
    assert!(shift.time_scale.is_some_and(|s| (s - 0.03).abs() < 0.01), "{shift:?}");
    let guide = check::guide(&results, Some("IS")).to_string();
    assert!(guide.contains("all peaks are late in proportion, and areas are up (l0f1s1)"), "{guide}");
}

#[test]
fn what_a_blank_holds_of_the_run_before_is_carry_over() {
    let peaks = |share: f64| vec![(2.0, 4.0 * share), (3.5, 6.0 * share), (6.0, 2.0 * share)];
    for (share, severity) in [(0.002, Severity::Pass), (0.05, Severity::Warn)] {
        let results = good().run("blank", "solvent", "solvent_blank", ",,,0.3,,,", &peaks(share)).results();
        let (seen, words) = told(&results, "carry-over");
        assert_eq!(seen, severity, "{words}");
        assert!(words.contains("l2f1s2 to blank"), "{words}");
    }
}

#[test]
fn the_internal_standards_drift_is_tested_and_measured() {
    let fades = |level, flask, shot, a: &mut [f64; 3]| {
        let place = (6 * level + 3 * flask + shot) as f64;
        a.iter_mut().for_each(|x| *x *= (-0.04 * place).exp());
    };
    let results = study("", 0.0, fades, as_it_is, &[]).results();
    let f = of(&results, "drift of the internal standard")[0];
    // exp(-0.04 × 17) - 1 = -49 %.
    assert!(f.severity == Severity::Warn && (f.figure.expect("told") + 49.0).abs() < 6.0, "{f:?}");
}

#[test]
fn methods_are_held_to_the_instrument() {
    let method = |start: f64, top: f64| {
        format!(
            "[[method]]\nname = \"m\"\noven = [{{ temperature_C = {start:.1}, hold_min = 1.0 }}, {{ temperature_C = {top:.1}, ramp_C_per_min = 20.0, hold_min = 1.0 }}]\n\
             inlet_pressure_kPa = 150.0\npressure_is = \"gauge\"\n"
        )
    };
    let ether = "[[compound]]\nname = \"diethyl ether\"\nretention_min = 1.2\n";
    let run = |start, top| {
        study(
            &format!("[instrument]\npressure_max_kPa = 100.0\n{}{ether}", method(start, top)),
            0.0,
            |_, _, _, _| (),
            as_it_is,
            &[],
        )
        .results()
    };
    let results = run(20.0, 200.0);
    assert_eq!(told(&results, "start temperature").0, Severity::Fail);
    assert_eq!(told(&results, "oven temperature").0, Severity::Fail);
    assert_eq!(told(&results, "inlet pressure").0, Severity::Fail);
    // Diethyl ether ignites at 160 to 180 °C (NFPA 497, IEC 60079-20-1).
    let (severity, words) = told(&results, "hot part and autoignition");
    assert!(severity == Severity::Fail && words.contains("diethyl ether"), "{words}");
    // 10 min recorded, 1 + 9 + 1 of programme; with 100 °C at the top 1 + 3 + 1.
    assert_eq!(told(&results, "run and programme").0, Severity::Pass);
    let results = run(40.0, 100.0);
    assert_eq!(told(&results, "start temperature").0, Severity::Pass);
    assert_eq!(told(&results, "hot part and autoignition").0, Severity::Pass);
    let (severity, words) = told(&results, "run and programme");
    assert!(severity == Severity::Warn && words.contains("18 run(s)"), "{words}");
}

/// W. A. Shewhart's individuals chart: limits at ± 2.660 mean moving ranges (tables of ISO 7870-2:2013, E₂ for n = 2), and
/// eight in a row on one side.
#[test]
fn control_charts_have_the_constants_of_the_tables() {
    let values = [10.0, 12.0, 11.0, 9.0, 10.0, 11.0, 10.0];
    let chart = ControlChart::individuals(&values).expect("a chart");
    let range = (2.0 + 1.0 + 2.0 + 1.0 + 1.0 + 1.0) / 6.0;
    assert!(((chart.upper - chart.centre) / range - 2.660).abs() < 0.002, "{chart:?}");
    let mut shifted = vec![10.0, 10.2, 9.8, 10.1, 9.9, 10.0, 10.2, 9.8];
    shifted.extend([10.9, 11.0, 10.9, 11.0, 11.1, 10.9, 11.0, 11.0, 11.0]);
    let chart = ControlChart::individuals(&shifted).expect("a chart");
    assert_eq!(chart.runs.first(), Some(&7), "eight below, then nine above: {chart:?}");
    assert!(ControlChart::individuals(&[1.0; 4]).is_err() && ControlChart::individuals(&[f64::NAN; 9]).is_err());
}

#[test]
fn a_study_is_held_to_those_before_it() {
    let chart = |values: &str| {
        let more = format!("[[history]]\nof = \"area\"\ncompound = \"IS\"\nvalues = [{values}]\n");
        study(&more, 0.0, |_, _, _, _| (), as_it_is, &[]).results()
    };
    let (severity, words) = told(&chart("2.02, 1.98, 2.05, 1.96, 2.01, 1.99"), "control chart");
    assert!(severity == Severity::Pass && words.contains("within the control limits"), "{words}");
    let (severity, words) = told(&chart("3.02, 2.98, 3.05, 2.96, 3.01, 2.99"), "control chart");
    assert!(severity == Severity::Warn && words.contains("outside the control limits"), "{words}");
    let history = "[[compound]]\nname = \"x\"\n[[history]]\nof = \"area\"\ncompound = \"x\"\nvalues = [1.0, 2.0]";
    let error = vialbook::StudyConfig::parse(&format!("title = \"x\"\n{history}")).expect_err("too few").to_string();
    assert!(error.contains("at least 5") && error.contains("history[1]"), "{error}");
}

/// Alarms are adjusted for their number: of 1,000 good studies with normal scatter few raise one of the tested doubts
/// (level 5 %; Monte Carlo error 0.7 %).
#[test]
fn good_studies_seldom_raise_a_tested_doubt() {
    let pattern = good().results();
    let mut random = Random::seeded(23);
    let (mut far, mut guided) = (0, 0);
    for _ in 0..1000 {
        let mut results = pattern.clone();
        let runs: Vec<String> = results.runs.iter().map(|r| r.run.clone()).collect();
        for run in runs {
            let volume = 1.0 + 0.06 * random.normal();
            for p in results.peaks.iter_mut().filter(|p| p.run == run) {
                let level: f64 = [1.0, 2.0, 4.0][usize::from(run.as_bytes()[1] - b'0')];
                let truth = match p.compound.as_deref() {
                    Some("A") => level,
                    Some("B") => 1.5 * level,
                    _ => 2.0,
                };
                p.area = truth * volume * (1.0 + 0.015 * random.normal());
            }
        }
        let all = check::findings(&results, &CheckLimits::default(), Some("IS"), &[], &[]);
        let raised = |what: &str| all.iter().any(|f| f.what == what && f.severity > Severity::Pass);
        far += usize::from(raised("injection far from the rest"));
        guided += usize::from(raised("what probably went wrong"));
    }
    assert!((20..=70).contains(&far), "{far} of 1,000");
    assert!(guided <= 80, "{guided} of 1,000");
}
