//! Single-compound, spiked, ladder and hold-up runs of made-up studies whose truth is known.

use vialbook::results::Severity;
use vialbook::study::StudyConfig;

use crate::made_up::{Bench, of};

const COMPOUNDS: &str = "[[compound]]\nname = \"ethanol\"\nretention_min = 2.0\n[[compound]]\nname = \"propanol\"\nretention_min = 3.5\n[[compound]]\nname = \"butanol\"\nretention_min = 6.0\n";

fn mixture(shift: f64, areas: [f64; 3]) -> Vec<(f64, f64)> {
    vec![(2.0 + shift, areas[0]), (3.5 + shift, areas[1]), (6.0 + shift, areas[2]), (4.5 + shift, 0.7)]
}

fn spiked(grown: [f64; 3], stated: &str) -> Bench {
    let columns = ",ethanol (mg/L),propanol (mg/L),butanol (mg/L)";
    let mut bench = Bench::new(COMPOUNDS, columns);
    for (i, level) in [1.0, 2.0, 4.0].into_iter().enumerate() {
        for shot in 0..2 {
            let name = format!("std-{i}-{shot}");
            let rest = format!(",{level},{level},{level}");
            let volume = 1.0 + 0.05 * (shot as f64 - 0.5);
            let areas = [level * volume, level * volume, level * volume];
            bench = bench.run(&name, &format!("level {i}"), "standard", &rest, &mixture(0.01 * i as f64, areas));
        }
    }
    let sample = [1.0, 1.5, 2.0];
    for (shot, volume) in [0.95, 1.06].into_iter().enumerate() {
        let areas = sample.map(|a| a * volume);
        bench = bench.run(&format!("s-{shot}"), "juice", "sample", ",,,", &mixture(0.02, areas));
    }
    let areas = [0, 1, 2].map(|k| 0.9 * sample[k] * grown[k]);
    let mut peaks = mixture(-0.02, areas);
    peaks[3].1 *= 0.9;
    bench.run("spike", "juice", "spiked", stated, &peaks)
}

#[test]
fn a_spike_tells_which_peak_grew_and_by_how_much() {
    let results = spiked([1.0, 1.8, 1.0], ",,1.0,").results();
    let found = of(&results, "spiked run");
    assert_eq!((found.len(), found[0].severity), (1, Severity::Pass), "{found:?}");
    let evidence = &results.naming.evidence;
    assert_eq!((evidence.len(), evidence[0].compound.as_str(), evidence[0].agrees), (1, "propanol", Some(true)));
    let (growth, u) = (evidence[0].growth.expect("grew"), evidence[0].growth_u.expect("with u"));
    // The mean volume of the two unspiked shots is 1.005, the spiked one's 0.9: taken out by the other peaks.
    assert!((growth - 1.8).abs() < 2.5 * u && u / growth < 0.05, "{growth} ± {u}");
    // The name in the sample is told to be supported, and waits for nothing more.
    let peak =
        results.peaks.iter().find(|p| p.run == "s-0" && p.compound.as_deref() == Some("propanol")).expect("named");
    assert!(peak.notes[0].contains("supported by the spike run spike"), "{:?}", peak.notes);
    assert!(!peak.notes[0].contains("would confirm"), "{:?}", peak.notes);
    let other =
        results.peaks.iter().find(|p| p.run == "s-0" && p.compound.as_deref() == Some("ethanol")).expect("named");
    assert!(other.notes[0].contains("a spike or a second column would confirm it"), "{:?}", other.notes);
}

#[test]
fn a_spike_that_makes_another_peak_grow_speaks_against_the_name() {
    let results = spiked([1.7, 1.0, 1.0], ",,1.0,").results();
    let found = of(&results, "spiked run");
    assert_eq!(found[0].severity, Severity::Fail, "{found:?}");
    assert!(found[0].why.contains("another peak grew: ethanol at"), "{}", found[0].why);
    assert_eq!(results.naming.evidence[0].agrees, Some(false));
    // A spike too small to see is neither.
    let results = spiked([1.0, 1.01, 1.0], ",,1.0,").results();
    let found = of(&results, "spiked run");
    assert_eq!((found[0].severity, results.naming.evidence[0].agrees), (Severity::Warn, None), "{found:?}");
    // Nothing said of what was added: what grew is told all the same.
    let results = spiked([1.0, 1.0, 2.0], ",,,").results();
    let found = of(&results, "spiked run");
    assert!(found[0].severity == Severity::Warn && found[0].why.starts_with("grew: butanol"), "{found:?}");
}

#[test]
fn a_single_compound_run_gives_a_time_and_finds_a_swapped_name() {
    let standards = |mut bench: Bench| {
        for (i, level) in [1.0, 2.0, 3.0].into_iter().enumerate() {
            let peaks = [(2.0, level), (3.5, 2.0 * level)];
            bench =
                bench.run(&format!("std-{i}"), &format!("level {i}"), "standard", &format!(",{level},{level}"), &peaks);
        }
        bench
    };
    let columns = ",ethanol (mg/L),propanol (mg/L)";
    // study.toml states no time for propanol; its own run does.
    let toml = "[[compound]]\nname = \"ethanol\"\nretention_min = 2.0\n[[compound]]\nname = \"propanol\"\n";
    let results = standards(Bench::new(toml, columns))
        .run("p", "propanol", "single_compound", ",,", &[(3.51, 2.0), (5.0, 0.1)])
        .results();
    assert_eq!(of(&results, "retention time from a single-compound run").len(), 1);
    let found = of(&results, "single-compound run");
    assert_eq!((found.len(), found[0].severity), (1, Severity::Pass), "{found:?}");
    assert!(results.peaks.iter().any(|p| p.run == "std-1" && p.compound.as_deref() == Some("propanol")));

    // Two names swapped in study.toml: the single-compound run says so.
    let toml = "[[compound]]\nname = \"ethanol\"\nretention_min = 3.5\n[[compound]]\nname = \"propanol\"\nretention_min = 2.0\n";
    let results =
        standards(Bench::new(toml, columns)).run("p", "propanol", "single_compound", ",,", &[(3.5, 2.0)]).results();
    let found = of(&results, "single-compound run");
    assert_eq!(found[0].severity, Severity::Fail, "{found:?}");
    assert_eq!(results.naming.evidence[0].agrees, Some(false));
}

#[test]
fn ladder_and_hold_up_runs_give_indices_factors_and_relative_retention() {
    // t = 0.6 + exp(-2 + 0.5 n): isothermal. Ethanol at 2.0, propanol at 3.5 min.
    let at = |n: f64| 0.6 + (-2.0 + 0.5 * n).exp();
    let alkanes: Vec<(f64, f64)> = (5..=8).map(|n| (at(f64::from(n)), 1.0)).collect();
    let index = |t: f64| 100.0 * ((t - 0.6_f64).ln() + 2.0) / 0.5;
    let columns = ",ethanol (mg/L),propanol (mg/L)";
    let method = |oven: &str| {
        format!("[peaks]\nladder_carbons = [5, 6, 7, 8]\n{COMPOUNDS}[[method]]\nname = \"m\"\noven = [{oven}]\n")
    };
    let runs = |oven: &str, hold_up: bool| {
        let mut bench = Bench::new(&method(oven), columns);
        for (i, level) in [1.0, 2.0, 3.0].into_iter().enumerate() {
            let peaks = [(2.0, level), (3.5, level)];
            bench =
                bench.run(&format!("std-{i}"), &format!("level {i}"), "standard", &format!(",{level},{level}"), &peaks);
        }
        bench = bench.run("l", "alkanes", "ladder", ",,", &alkanes);
        if hold_up { bench.run("t0", "methane", "hold_up", ",,", &[(0.6, 1.0)]).results() } else { bench.results() }
    };
    let hold = "{ temperature_C = 60.0 }";
    for hold_up in [false, true] {
        let results = runs(hold, hold_up);
        let t0 = &results.naming.hold_up[0];
        assert!((t0.time_min - 0.6).abs() < 0.01, "{t0:?}");
        assert!(t0.origin.contains(if hold_up { "measured: t0" } else { "n-alkanes C5 to C8 in l" }), "{t0:?}");
        let peak = results
            .peaks
            .iter()
            .find(|p| p.run == "std-1" && p.compound.as_deref() == Some("propanol"))
            .expect("named");
        let (i, u) = (peak.retention_index.expect("inside"), peak.retention_index_u.expect("with u"));
        assert!((i - index(3.5)).abs() < 2.0 && u > 0.0 && u < 20.0, "{i} ± {u}, {}", index(3.5));
        let k = peak.retention_factor.expect("isothermal");
        assert!((k - (3.5 - 0.6) / 0.6).abs() < 0.1, "{k}");
        assert_eq!(results.naming.ladders[0].kind, "Kovats");
        // Alkanes are not taken for alcohols.
        assert!(results.peaks.iter().filter(|p| p.run == "l").all(|p| p.compound.is_none()));
    }
    // Under a ramp the linear index takes over, and no retention factor is told.
    let results = runs(&format!("{hold}, {{ temperature_C = 150.0, ramp_C_per_min = 10.0 }}"), true);
    let peak =
        results.peaks.iter().find(|p| p.run == "std-1" && p.compound.as_deref() == Some("propanol")).expect("named");
    let i = peak.retention_index.expect("inside");
    let linear = 500.0 + 100.0 * ((3.5 - at(5.0)) / (at(6.0) - at(5.0)));
    let (n, linear) =
        if linear <= 600.0 { (5, linear) } else { (6, 600.0 + 100.0 * (3.5 - at(6.0)) / (at(7.0) - at(6.0))) };
    assert!((i - linear).abs() < 1.0 && peak.retention_factor.is_none(), "{i} {linear} from C{n}");
    assert_eq!(results.naming.ladders[0].kind, "linear");
}

#[test]
fn a_ladder_that_does_not_hold_is_told() {
    let columns = ",ethanol (mg/L),propanol (mg/L)";
    let bench = |peaks: &str| {
        let mut bench = Bench::new(&format!("{peaks}{COMPOUNDS}"), columns);
        for (i, level) in [1.0, 2.0, 3.0].into_iter().enumerate() {
            let rest = format!(",{level},{level}");
            bench =
                bench.run(&format!("std-{i}"), &format!("level {i}"), "standard", &rest, &[(2.0, level), (3.5, level)]);
        }
        bench.run("l", "alkanes", "ladder", ",,", &[(1.0, 1.0), (2.0, 1.0), (3.0, 1.0)])
    };
    let results = bench("").results();
    let found = of(&results, "ladder of n-alkanes");
    assert!(
        found[0].severity == Severity::Warn && found[0].next.as_ref().is_some_and(|n| n.contains("ladder_carbons"))
    );
    let results = bench("[peaks]\nladder_carbons = [6, 7, 8, 9]\n").results();
    let found = of(&results, "ladder of n-alkanes");
    assert!(found[0].severity == Severity::Fail && found[0].why.contains("3 peaks for 4 n-alkanes"), "{found:?}");
    for (toml, words) in [
        ("[peaks]\nladder_carbons = [7, 6]", "carbon numbers rise"),
        ("[peaks]\nladder_carbons = [7]", "at least 2"),
        ("[peaks]\nladder_carbons = [6, 7]\nladder_min = [1.0]", "1 times for 2"),
        ("[peaks]\ntime_scale_limit_percent = 30.0", "30 % is no limit"),
        ("[peaks]\nleast_probability = 0.2", "0.5 to below 1"),
        ("[limits]\ntailing = -1.0", "-1 is no limit"),
        ("[limits]\ntialing = 2.0", "tialing"),
    ] {
        let error = StudyConfig::parse(&format!("title = \"x\"\n{toml}")).expect_err(toml).to_string();
        assert!(error.contains(words), "{error}");
    }
}

#[test]
fn an_order_against_boiling_points_is_a_hint() {
    let bench = |phase: &str, first: &str, second: &str| {
        let toml = format!(
            "[column]\nphase = \"{phase}\"\n[[compound]]\nname = \"{first}\"\nretention_min = 2.0\n[[compound]]\nname = \"{second}\"\nretention_min = 3.5\n"
        );
        let mut bench = Bench::new(&toml, &format!(",{first} (mg/L),{second} (mg/L)"));
        for (i, level) in [1.0, 2.0, 3.0].into_iter().enumerate() {
            let rest = format!(",{level},{level}");
            bench =
                bench.run(&format!("std-{i}"), &format!("level {i}"), "standard", &rest, &[(2.0, level), (3.5, level)]);
        }
        bench.results()
    };
    let severity = |results| of(&results, "order of boiling points").first().map(|f| f.severity);
    assert_eq!(severity(bench("methyl siloxane", "ethanol", "1-butanol")), Some(Severity::Pass));
    assert_eq!(severity(bench("methyl siloxane", "1-butanol", "ethanol")), Some(Severity::Warn));
    // Other families, or a polar phase, say nothing.
    assert_eq!(severity(bench("methyl siloxane", "toluene", "ethanol")), None);
    assert_eq!(severity(bench("polyethylene glycol", "1-butanol", "ethanol")), None);
    let results = bench("methyl siloxane", "1-butanol", "ethanol");
    let f = of(&results, "order of boiling points")[0];
    assert!(f.why.contains("1-butanol (117.6 °C, CRC") && f.origin.contains("a hint and no verdict"), "{f:?}");
}
