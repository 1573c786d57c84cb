//! The simulator against quadrature done elsewhere, exact moments, and its own seed.

use sha2::Digest;
use vialbook::shapes::ExponentiallyModifiedGaussian;
use vialbook::simulate::{
    DEMO_SEED, OvenProgramme, RetentionConstants, Scenario, SimulatedPeak, elute, recorded_retention, recovered_eluent,
};
use vialbook::study::{Kind, OvenStep, StartButton};

/// 30-digit quadrature done outside this crate: tests/data/simulation/retention_temperature_physics.json.
#[test]
fn retention_under_a_ramp_agrees_with_independent_quadrature() {
    let text = include_str!("../data/simulation/retention_temperature_physics.json");
    let reference: serde_json::Value = serde_json::from_str(text).expect("JSON");
    let examples = reference["examples"].as_array().expect("examples");
    assert_eq!(examples.len(), 4);
    for example in examples {
        let number = |key: &str| example[key].as_f64().expect(key);
        let constants = RetentionConstants { a: number("a"), b_k: number("b_K") };
        let start_c = number("T0_K") - 273.15;
        let ramp = |to: f64| {
            OvenProgramme::new(&[
                OvenStep { temperature_c: start_c, ramp_c_per_min: None, hold_min: 0.0 },
                OvenStep { temperature_c: to, ramp_c_per_min: Some(number("ramp_K_per_min")), hold_min: 0.0 },
            ])
            .expect("a programme")
        };
        let out = elute(constants, &ramp(300.0), number("tM_min"), 0.0).expect("leaves");
        assert!((out.time_min - number("tR_min")).abs() < 1e-12 * number("tR_min"), "{out:?} {example}");
        assert!((out.temperature_c + 273.15 - number("T_elution_K")).abs() < 1e-8, "{out:?} {example}");
        assert!((out.factor_at_start / number("k_initial") - 1.0).abs() < 1e-7, "{out:?} {example}");
        let hold = OvenProgramme::new(&[OvenStep { temperature_c: start_c, ramp_c_per_min: None, hold_min: 0.0 }]);
        let isothermal = elute(constants, &hold.expect("a programme"), number("tM_min"), 0.0).expect("leaves");
        assert!((isothermal.time_min / number("tR_isothermal_T0") - 1.0).abs() < 1e-7, "{isothermal:?} {example}");
    }
}

/// The late thumb's table (quadrature of the ramp, rounded) for 40 °C, 1 min hold, 10 °C/min, tM 0.5 min, 2 s late: 2.0, 1.6, 0.8, 0.3, 0.1 s. It does not
/// state b; compounds of one transfer entropy (a = -11, so b from 3068 to 4887 K) reproduce it within 0.05 s. With
/// b = 4300 K for all, the shifts are 2.00, 1.54, 0.80, 0.35, 0.13 s (quadrature by SciPy 1.x: 2.0, 1.5403, 0.7996,
/// 0.3524, 0.1305).
#[test]
fn a_late_thumb_shifts_early_peaks_more_where_it_also_starts_the_oven() {
    let oven = OvenProgramme::new(&[
        OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 },
        OvenStep { temperature_c: 400.0, ramp_c_per_min: Some(10.0), hold_min: 0.0 },
    ])
    .expect("a programme");
    let shift = |constants: RetentionConstants, button: StartButton| {
        let at = |offset| recorded_retention(constants, &oven, 0.5, button, offset).expect("leaves");
        let first_order = 2.0 * (1.0 + at(0.0).factor) / (1.0 + at(0.0).factor_at_start);
        ((at(0.0).time_min - at(2.0).time_min) * 60.0, first_order)
    };
    let table = [(0.3, 2.0), (3.0, 1.6), (10.0, 0.8), (30.0, 0.3), (100.0, 0.1)];
    for (k, expected) in table {
        let b_k = (libm::log(k) + 11.0) * 313.15;
        let constants = RetentionConstants::from_factor(k, 40.0, b_k);
        let (seen, first_order) = shift(constants, StartButton::OvenAndRecording);
        assert!((seen - expected).abs() < 0.05, "k {k}: {seen} s, table {expected} s");
        assert!((seen - first_order).abs() < 0.01, "k {k}: {seen} s, first order {first_order} s");
        assert!((shift(constants, StartButton::Recording).0 - 2.0).abs() < 1e-9);
    }
    for ((k, _), scipy) in table.into_iter().zip([2.0, 1.5403, 0.7996, 0.3524, 0.1305]) {
        let (seen, _) = shift(RetentionConstants::from_factor(k, 40.0, 4300.0), StartButton::OvenAndRecording);
        assert!((seen - scipy).abs() < 6e-5, "k {k}: {seen} s, SciPy {scipy} s");
    }
}

/// Values at 10 points per σ of a peak with tail and without load, times in units of σ (here 1 min).
fn sampled(peak: SimulatedPeak) -> (Vec<f64>, Vec<f64>) {
    let grid: Vec<f64> = (0..8000).map(|i| f64::from(i) / 10.0).collect();
    let mut signal = vec![0.0; grid.len()];
    peak.add_to(&grid, &mut signal);
    (grid, signal)
}

/// tests/data/simulation/chrom_emg_shape_exact.csv, 40-digit arithmetic: height and moments of the exponentially
/// modified Gaussian; every point against its closed form.
#[test]
fn without_load_the_peak_is_an_exponentially_modified_gaussian() {
    let table = include_str!("../data/simulation/chrom_emg_shape_exact.csv");
    let mut rows = table.lines().filter(|l| !l.starts_with('#'));
    let header: Vec<&str> = rows.next().expect("header").split(',').collect();
    let column = |name: &str| header.iter().position(|h| *h == name).expect("column");
    let mut seen = 0;
    for row in rows {
        let cells: Vec<f64> = row.split(',').map(|c| c.parse().expect("number")).collect();
        let tau = cells[column("tau_over_sigma")];
        let peak = SimulatedPeak { area: 2.0, centre_min: 30.0, sigma_min: 1.0, load: 0.0, tail_min: tau };
        let (grid, signal) = sampled(peak);
        let sum: f64 = signal.iter().sum::<f64>() * 0.1;
        assert!((sum - 2.0).abs() < 1e-10, "tail {tau}: area {sum}");
        let mean = grid.iter().zip(&signal).map(|(t, y)| t * y).sum::<f64>() * 0.1 / sum - 30.0;
        assert!((mean - cells[column("M1")]).abs() < 1e-9 * (1.0 + mean), "tail {tau}: mean {mean}");
        let variance =
            grid.iter().zip(&signal).map(|(t, y)| (t - 30.0 - mean) * (t - 30.0 - mean) * y).sum::<f64>() * 0.1 / sum;
        assert!((variance / cells[column("M2")] - 1.0).abs() < 1e-8, "tail {tau}: variance {variance}");
        // The highest point lies within half an interval of the apex: it misses less than 0.05²/2 of the height.
        let (height, highest) =
            (2.0 * cells[column("height_per_area")], signal.iter().fold(0.0, |m: f64, y| m.max(*y)));
        assert!(highest <= height * (1.0 + 5e-6) && highest > height * (1.0 - 0.00126), "tail {tau}: {highest}");
        if tau > 0.0 {
            let exact = ExponentiallyModifiedGaussian::new(2.0, 30.0, 1.0, tau).expect("a peak");
            let worst = grid.iter().zip(&signal).map(|(t, y)| (y - exact.value(*t)).abs()).fold(0.0, f64::max);
            assert!(worst < 5e-6 * height, "tail {tau}: {} of the height", worst / height);
        }
        seen += 1;
    }
    assert!(seen > 5);
}

/// The law of the fin (P. C. Haarhoff, H. J. Van der Linde, Anal. Chem. 38 (1966) 573-582, at high load): apex at
/// √(2λ) σ behind the place of a small amount, a triangle in front of it.
#[test]
fn overload_turns_the_peak_into_a_fronting_fin_steadily_and_keeps_its_area() {
    let at = |load: f64, tail_min: f64| {
        let peak = SimulatedPeak { area: load.max(1e-9), centre_min: 30.0, sigma_min: 1.0, load, tail_min };
        let (grid, signal) = sampled(peak);
        let top = signal.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).expect("points").0;
        let sum: f64 = signal.iter().sum::<f64>() * 0.1;
        assert!((sum / peak.area - 1.0).abs() < 1e-6, "load {load}: area {sum}");
        let half = |mut i: usize, step: isize| {
            while signal[i] > 0.1 * signal[top] {
                i = i.wrapping_add_signed(step);
            }
            grid[i]
        };
        let asymmetry = (half(top, 1) - grid[top]) / (grid[top] - half(top, -1));
        (grid[top], asymmetry, signal[top] / peak.area)
    };
    let loads = [0.0, 0.01, 0.1, 0.5, 1.0, 2.0, 5.0, 20.0, 100.0];
    let seen = loads.map(|load| at(load, 1.0));
    assert!((seen[1].0 - seen[0].0).abs() < 0.2 && (seen[1].2 / seen[0].2 - 1.0).abs() < 0.01, "{seen:?}");
    for pair in seen.windows(2) {
        assert!(pair[1].0 >= pair[0].0 && pair[1].1 <= pair[0].1 + 0.1 && pair[1].2 < pair[0].2 * 1.01, "{seen:?}");
    }
    assert!(seen[0].1 > 1.0, "tails when small: {seen:?}");
    let (apex, asymmetry, height) = at(100.0, 0.0);
    let base = 200.0_f64.sqrt(); // √(2λ) σ
    assert!(((apex - 30.0) / base - 1.0).abs() < 0.05 && asymmetry < 0.1, "{apex} {asymmetry}");
    assert!((height * base / 2.0 - 1.0).abs() < 0.1, "a triangle's height is twice its area over its base: {height}");
}

fn quiet(seed: u64) -> Scenario {
    let mut scenario = recovered_eluent(seed);
    let d = &mut scenario.detector;
    (d.noise_sd, d.zero, d.zero_sd, d.drift_per_min, d.drift_sd_per_min, d.bleed) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    (d.step, d.decimals, d.response_change_per_run) = (0.0, 12, 0.0);
    d.disturbances.clear();
    scenario
}

/// Without noise and baseline the sum over a trace is what was injected times the stated responses: volume ×
/// volume fraction × density × response, worked out here from the flasks and not from the peaks.
#[test]
fn without_noise_areas_are_amounts_times_responses() {
    let scenario = quiet(5);
    for (plan, run) in scenario.injections.iter().zip(scenario.simulate_runs().expect("runs")) {
        let fractions = &scenario.flasks[plan.flask].true_fractions;
        assert!((fractions.iter().sum::<f64>() - 1.0).abs() < 1e-14);
        let expected: f64 = scenario
            .compounds
            .iter()
            .zip(fractions)
            .map(|(c, f)| {
                let scatter = run.truth.peaks.iter().find(|p| p.compound == c.name).map_or(1.0, |p| p.scatter);
                run.truth.volume_ul * f * c.density_g_ml * 1000.0 * c.response * scatter
            })
            .sum();
        let seen = run.trace.signal().iter().sum::<f64>() / scenario.points_per_min;
        assert!((seen / expected - 1.0).abs() < 1e-9, "{}: {seen} for {expected} mV·min", run.name);
    }
}

/// What the label says, what it holds, and the factors between agree; mass fractions follow from the densities of
/// Perry's table 2-32 (0.7867, 0.6857 g/mL) and the CRC Handbook (0.8662 g/mL).
#[test]
fn the_truth_hangs_together() {
    let scenario = recovered_eluent(11);
    let shared = |what: &str| scenario.shared_factors.iter().find(|f| f.what == what).expect("a factor").factor;
    let truth = |compound: &str| scenario.true_volume_fraction("recovered eluent", compound).expect("a content");
    for flask in &scenario.flasks {
        let own = |what: &str| flask.factors.iter().find(|f| f.what == what).map(|f| f.factor);
        if flask.kind == Kind::Standard {
            let ester = 0.01 * flask.stated_percent[1].expect("stated") * shared("ester stock");
            assert_eq!(flask.true_fractions[1], ester * own("isopropyl acetate pipetted").expect("drawn"));
        }
        if flask.sample == "recovered eluent" {
            let expected = truth("2-propanol") / 50.0 * own("sample pipetted").expect("drawn");
            assert!((flask.true_fractions[0] / expected - 1.0).abs() < 1e-14);
        }
    }
    let (alcohol, ester) = (truth("2-propanol"), truth("isopropyl acetate"));
    let heptane = 1.0 - alcohol - ester;
    let mass = alcohol * 0.7867 + ester * 0.8662 + heptane * 0.6857;
    for (content, part) in scenario.contents.iter().zip([alcohol * 0.7867, ester * 0.8662, heptane * 0.6857]) {
        assert!((content.mass_fraction - part / mass).abs() < 1e-14, "{content:?}");
    }
}

/// What the scenario promises: order of elution, resolution (half-height, IUPAC: 1.18 Δt/(w₁ + w₂)), loads, all within
/// the record, the small peak's signal over noise (2H/h, h the range of the blank over the same 0.2 min).
#[test]
fn the_demonstration_is_what_it_says() {
    let scenario = recovered_eluent(DEMO_SEED);
    let ester = scenario.true_volume_fraction("recovered eluent", "isopropyl acetate").expect("ester");
    let alcohol = scenario.true_volume_fraction("recovered eluent", "2-propanol").expect("alcohol");
    assert!((0.185..0.215).contains(&ester) && (0.0045..0.005).contains(&alcohol), "{ester} {alcohol}");
    let runs = scenario.simulate_runs().expect("runs");
    assert_eq!(runs.len(), 32);
    let sample = runs.iter().find(|r| r.name == "eluent-A-1").expect("a sample");
    let names: Vec<&str> = sample.truth.peaks.iter().map(|p| p.compound.as_str()).collect();
    assert_eq!(names, ["2-propanol", "isopropyl acetate", "heptane", "octane", "nonane", "decane"]);
    for pair in sample.truth.peaks.windows(2) {
        let width = |p: &vialbook::simulate::PeakTruth| 2.3548 / 60.0 * (p.sigma_s.powi(2) + p.tail_s.powi(2)).sqrt();
        let resolution = 1.18 * (pair[1].centre_min - pair[0].centre_min) / (width(&pair[0]) + width(&pair[1]));
        assert!(resolution > 4.0, "{} and {}: {resolution}", pair[0].compound, pair[1].compound);
    }
    let last = sample.trace.time_min()[sample.trace.len() - 1];
    assert!(last == 10.8 && sample.truth.peaks.iter().all(|p| p.centre_min < 9.0));
    assert!(sample.trace.signal().iter().all(|y| *y < 2500.0), "the solvent stays below full scale");
    let blank = runs[0].trace.slice(1.1, 1.3).expect("a part");
    let range = |y: &[f64]| y.iter().fold(f64::MIN, |m, v| m.max(*v)) - y.iter().fold(f64::MAX, |m, v| m.min(*v));
    let alcohol_peak = sample.trace.slice(1.1, 1.3).expect("a part");
    let ratio = 2.0 * range(alcohol_peak.signal()) / range(blank.signal());
    assert!((40.0..80.0).contains(&ratio), "{ratio}");
    let config = scenario.study_config().expect("a study");
    assert!(config.simulated && config.title.contains("shelf"));
    assert_eq!(config.methods[0].oven, scenario.oven.steps());
    assert_eq!(config.methods[0].start_button, scenario.start_button);
    assert_eq!(config.detector.step, Some(scenario.detector.step));
    assert_eq!(config.detector.full_scale, Some(scenario.detector.full_scale));
    for compound in &config.compounds {
        let run = runs.iter().find(|r| r.name == "level-3-1").expect("a standard");
        let peak = run.truth.peaks.iter().find(|p| p.compound == compound.name).expect("its peak");
        let expected = compound.retention_min.expect("stated");
        let (a, b) = (expected - 0.12, expected + 0.12);
        let near = run.trace.slice(a.min(peak.centre_min), b).expect("a part");
        let top = (0..near.len()).max_by(|i, j| near.signal()[*i].total_cmp(&near.signal()[*j])).expect("points");
        assert!((near.time_min()[top] - expected).abs() < 0.05, "{}: {}", compound.name, near.time_min()[top]);
    }
}

/// SHA-256 over log, traces and truth of the default study; the same on every machine (computed on x86-64 Linux).
#[test]
fn the_same_seed_gives_the_same_bytes() {
    let digest = |seed: u64| {
        let mut hash = sha2::Sha256::new();
        // Not study.toml: its words may be improved.
        for file in recovered_eluent(seed).study_files().expect("files").iter().filter(|f| f.path != "study.toml") {
            hash.update(file.path.as_bytes());
            hash.update(&file.bytes);
        }
        hash.finalize().iter().map(|b| format!("{b:02x}")).collect::<String>()
    };
    assert_eq!(digest(DEMO_SEED), "26113393aee96b0ce2a1b92ec7837cdc958911ad655812860fe71066f72fa031");
    assert_ne!(digest(DEMO_SEED + 1), digest(DEMO_SEED));
}

#[test]
fn a_study_is_written_whole_and_never_over_something_else() {
    let place = tempfile::tempdir().expect("a folder");
    let folder = place.path().join("deep/demo");
    let scenario = recovered_eluent(3);
    scenario.write_study(&folder).expect("written");
    let read = |path: &str| std::fs::read(folder.join(path)).expect("readable");
    for file in scenario.study_files().expect("files") {
        assert!(read(&file.path) == file.bytes, "{}", file.path);
        let says_so = String::from_utf8_lossy(&file.bytes).to_lowercase().contains("simulated");
        assert!(says_so, "{} does not say that it is simulated", file.path);
    }
    let truth: serde_json::Value = serde_json::from_slice(&read("truth/truth.json")).expect("JSON");
    assert_eq!(truth["runs"].as_array().expect("runs").len(), 32);
    assert_eq!(std::fs::read_dir(place.path().join("deep")).expect("entries").count(), 1, "nothing temporary is left");

    // Again with another seed: replaced; what else stands there stays.
    std::fs::create_dir(folder.join("results")).expect("made");
    std::fs::write(folder.join("results/results.json"), "{}").expect("written");
    recovered_eluent(4).write_study(&folder).expect("replaced");
    assert!(read("study.toml") == recovered_eluent(4).study_toml.as_bytes());
    assert_eq!(read("results/results.json"), b"{}");

    // A foreign file among the traces, a foreign study: refused, untouched.
    std::fs::write(folder.join("traces/mine.csv"), "1,2").expect("written");
    let error = scenario.write_study(&folder).expect_err("refused").to_string();
    assert!(error.contains("traces/mine.csv") && error.contains("nothing was touched"), "{error}");
    assert!(read("study.toml") == recovered_eluent(4).study_toml.as_bytes());
    let other = place.path().join("other");
    std::fs::create_dir(&other).expect("made");
    std::fs::write(other.join("study.toml"), "title = \"mine\"").expect("written");
    assert!(scenario.write_study(&other).expect_err("refused").to_string().contains("nothing was touched"));
    assert_eq!(std::fs::read(other.join("study.toml")).expect("there"), b"title = \"mine\"");
}

/// A trace read from its exported file is the one in memory: signals to the last bit, times (five decimals of a
/// minute in the file) to 1e-5 min; and nothing in the file looks odd to the reader.
#[test]
fn what_is_exported_is_what_a_reader_gets() {
    let scenario = recovered_eluent(DEMO_SEED);
    let files = scenario.study_files().expect("files");
    for run in scenario.simulate_runs().expect("runs").iter().take(3) {
        let file = files.iter().find(|f| f.path == run.injection.file).expect("a file");
        let read = vialbook::read::read_bytes(&file.path, &file.bytes, &Default::default()).expect("readable");
        assert!(read.trace.signal() == run.trace.signal(), "{}", run.name);
        let apart = read.trace.time_min().iter().zip(run.trace.time_min()).map(|(a, b)| (a - b).abs());
        assert!(apart.fold(0.0, f64::max) <= 1e-5, "{}", run.name);
        assert_eq!(read.trace.signal_unit(), "mV");
        let note = &read.provenance.reading;
        assert!(note.dropped.is_empty() && note.suspicions.is_empty() && note.gaps == 0, "{note:?}");
    }
}
