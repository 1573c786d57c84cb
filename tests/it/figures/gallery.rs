//! One figure of every kind, from simulated runs and from the demo's study.

use vialbook::calibrate::{CalibrationOptions, Curve, Flask};
use vialbook::figure::views::Overlay;
use vialbook::figure::{Figure, views};
use vialbook::peaks::FitOptions;
use vialbook::simulate::{DEMO_SEED, recovered_eluent};
use vialbook::{Analysis, Detect, Provenance, Run, Study, Trace};

use super::{PEAKS, sample};

/// A run of 12,000 points with six peaks, the highest a thousand times the lowest.
pub(super) fn long_run() -> Run {
    let s = sample(12_000, &PEAKS, 1);
    let trace = Trace::new(s.time, s.signal, "mV").expect("a trace");
    Run { name: "simulated".into(), trace, provenance: Provenance::default() }
}

/// The demo's study, analysed.
pub(super) fn demo() -> Analysis {
    let scenario = recovered_eluent(DEMO_SEED);
    let simulated = scenario.simulate_runs().expect("runs");
    let injections = simulated.iter().map(|r| r.injection.clone()).collect();
    let runs = simulated.into_iter().map(|r| Run { name: r.name, trace: r.trace, provenance: Provenance::default() });
    let config = scenario.study_config().expect("a configuration");
    Study::from_parts(config, injections, runs.collect()).expect("a study").analyse().expect("results")
}

/// A calibration of five levels with one flask left out.
pub(super) fn curve() -> Curve {
    let levels = [0.5, 1.0, 2.0, 4.0, 8.0];
    let mut flasks: Vec<Flask> = levels
        .iter()
        .flat_map(|&x| [("a", 1.0), ("b", 0.98)].map(|(letter, f)| (x, letter, f)))
        .map(|(x, letter, f)| {
            let shots = [1.01, 0.99].map(|shot| f * shot * (0.01 + 0.22 * x));
            Flask::from_shots(format!("{x} mg/L · {letter}"), x, &shots, &[0.002, 0.002])
        })
        .collect();
    flasks[6].response *= 1.3;
    flasks[6].excluded = Some("air in the syringe".into());
    Curve::fit(&flasks, &CalibrationOptions::default()).expect("a curve")
}

/// Every view that there is, with its name.
pub(super) fn views_of_everything() -> Vec<(&'static str, Figure)> {
    let (run, analysis, curve) = (long_run(), demo(), curve());
    let peaks = run.find_peaks(&Detect::default()).expect("peaks");
    let overlaid = ["level-1a-1", "level-3a-1", "level-5a-1"];
    let runs: Vec<&str> = analysis.results().runs.iter().map(|r| r.run.as_str()).collect();
    let overlaid: Vec<&str> = if runs.contains(&overlaid[0]) { overlaid.to_vec() } else { runs[2..5].to_vec() };
    let aligned = Overlay { raise: 0.05, aligned: true };
    let fits = peaks.fits(&FitOptions::default()).expect("fits");
    vec![
        ("fits", fits.plot()),
        ("fit", fits.groups[0].plot()),
        ("run", run.plot()),
        ("peaks", peaks.plot()),
        ("named-run", analysis.plot_run(overlaid[1]).expect("a run")),
        ("overlay-raised", analysis.plot_overlay(&overlaid).expect("runs")),
        ("overlay-aligned", analysis.plot_overlay_with(&overlaid, aligned).expect("runs")),
        ("replicates", analysis.plot_replicates("2-propanol").expect("shots")),
        ("calibration-result", analysis.calibration("2-propanol").expect("a calibration").plot()),
        ("calibration-curve", curve.plot()),
        ("curve-replicates", curve.plot_replicates().expect("shots")),
        ("uncertainty-budget", views::budget(&analysis.results().amounts[0])),
        ("smoothing", run.explore_smoothing().expect("steps")),
        ("detection", run.explore_detection().expect("steps")),
        ("baseline", run.explore_baseline().expect("steps")),
        ("demo-detection", analysis.study().run(overlaid[1]).expect("a run").explore_detection().expect("steps")),
        ("demo-smoothing", analysis.study().run(overlaid[1]).expect("a run").explore_smoothing().expect("steps")),
        ("demo-baseline", analysis.study().run(overlaid[1]).expect("a run").explore_baseline().expect("steps")),
    ]
}
