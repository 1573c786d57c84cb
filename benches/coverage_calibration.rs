//! Coverage of calibration intervals, decisions and limits, printed with its Monte Carlo error.
//!
//! `cargo bench --bench coverage_calibration -- [draws] [limits]`; 20,000 draws by default; `limits` shows only those.
#![allow(clippy::print_stdout, missing_docs)] // its table is what it is for

use vialbook::calibrate::{CalibrationOptions, Curve, Flask, LimitOptions, Model, Weighting, ZeroVariance};
use vialbook::numeric::Xoshiro256PlusPlus;

#[path = "../tests/it/calibration/simulated.rs"]
mod simulated;
use simulated::{Coverage, Errors, Order, Scenario};

fn main() {
    let draws: usize = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(20_000);
    if std::env::args().any(|a| a == "limits") {
        return limits(draws);
    }
    println!("5 levels x 2 flasks x 2 shots, sample 3 x 2 unless stated; {draws} draws each.");
    println!(
        "cover: share of 95 % intervals that hold the truth. P>.95: share of draws that put the truth 95 % surely"
    );
    println!("below the content found (5 % if the probability is right). w: median half-width, relative.\n");
    println!(
        "{:58} {:>8}   {:>5} ± {:5}  {:>5} {:>5}  {:>7} {:>5}",
        "", "truth", "cover", "MC", "P>.95", "P<.05", "w", "open"
    );

    println!("\nequal scatter, equal weights (gate 0.94 to 0.96)");
    for ratio in [0.3, 1.0, 4.0] {
        for m in [2, 3] {
            let s = Scenario::equal(ratio, m);
            for x in [100.0, 250.0, 500.0] {
                row(&format!("flask/shot sd {ratio}, sample of {m} flasks"), &s, x, draws);
            }
        }
    }

    println!("\ntwo-part variance estimated, noise small: levels 2 to 10, noise 0.014 (gate 0.935 to 0.965)");
    let wide = Scenario::house(&[2.0, 4.0, 6.0, 8.0, 10.0], 0.0141);
    for x in [0.0, 1.0, 2.0, 5.0, 10.0] {
        row("usual design", &wide, x, draws);
    }
    println!("\ntwo-part variance estimated, levels 0.3, 1, 3, 10, 30, noise 0.042");
    let decades = Scenario::house(&[0.3, 1.0, 3.0, 10.0, 30.0], 0.0424);
    for x in [0.0, 0.3, 1.0, 3.0, 10.0, 30.0] {
        row("usual design", &decades, x, draws);
    }
    println!("\na trace component, contents in detection limits (about 0.33): noise 0.14 (gate 0.935 to 0.965)");
    let trace: &[(&str, &[f64])] = &[
        ("standards at 1, 2, 5, 10, 20 detection limits", &[0.33, 0.66, 1.65, 3.3, 6.6]),
        ("standards at 2, 4, 6, 8, 10", &[0.66, 1.32, 1.98, 2.64, 3.3]),
        ("standards at 3, 10, 30, 100, 300", &[1.0, 3.3, 10.0, 33.0, 100.0]),
        ("standards at 10, 20, 30, 40, 50", &[3.3, 6.6, 9.9, 13.2, 16.5]),
    ];
    for (name, levels) in trace {
        for m in [2, 3] {
            let s = Scenario { sample_flasks: m, ..Scenario::house(levels, 0.1414) };
            for limits in [0.0, 1.0, 3.0, 5.0, 10.0] {
                row(&format!("{name}, m = {m}"), &s, 0.33 * limits, draws);
            }
        }
    }
    println!("\nρ = 4 %: noise 0.14, standards at 1, 2, 5, 10, 20 detection limits");
    let rough = Scenario { flask_relative: 0.0327, shot_relative: 0.0327, ..Scenario::house(trace[0].1, 0.1414) };
    for x in [0.0, 1.0, 3.3, 6.6] {
        row("usual design", &rough, x, draws);
    }

    println!("\nany design of at least 3 degrees of freedom, sample of two flasks: equal weights (gate 0.94 to 0.96)");
    for (levels, flasks, shots) in designs() {
        let s = Scenario { flasks, shots, sample_shots: shots, ..Scenario::equal(1.0, 2) };
        let s = Scenario { levels: (1..=levels).map(|i| 500.0 * i as f64 / levels as f64).collect(), ..s };
        for x in [500.0 / levels as f64, 250.0, 500.0] {
            row(&format!("{levels} levels x {flasks} flasks x {shots} shots"), &s, x, draws);
        }
    }
    println!(
        "\nthe same, two-part variance estimated, noise 0.14, truth near the limit, inside, at the edge (gate 0.91 to 0.99)"
    );
    for (levels, flasks, shots) in designs() {
        let contents: Vec<f64> = (1..=levels).map(|i| 10.0 * i as f64 / levels as f64).collect();
        let s = Scenario { flasks, shots, sample_flasks: 2, sample_shots: shots, ..Scenario::house(&contents, 0.1414) };
        for x in [0.5, 5.0, 10.0] {
            row(&format!("{levels} levels x {flasks} flasks x {shots} shots"), &s, x, draws);
        }
    }
    println!("\nratios to an internal standard under 15 % of injection scatter, residual scatter 1.5 %");
    let ratios = Scenario { injection: 0.15, ..wide.clone() };
    for x in [0.0, 1.0, 2.0, 5.0, 10.0] {
        row("levels 2 to 10, two-part (gate 0.91 to 0.99)", &ratios, x, draws);
    }
    for (weighting, noise) in [(Weighting::InverseSquare, 0.0), (Weighting::TwoPart, 0.0141)] {
        let areas = Scenario { shot_relative: 0.15, injection: 0.0, weighting, noise, ..wide.clone() };
        row("the same areas without it", &areas, 5.0, draws);
    }

    println!("\none stock, relative u 1 %");
    for (declared, text) in [(true, "declared (gate 0.94 to 0.96)"), (false, "forgotten")] {
        let s = Scenario { stock: 0.01, stock_declared: declared, ..wide.clone() };
        for x in [2.0, 5.0, 10.0] {
            row(text, &s, x, draws);
        }
    }

    println!("\nother weights on proportional scatter (ρ = 1.5 %, no noise)");
    let proportional = Scenario { noise: 0.0, ..wide.clone() };
    for (weighting, text) in [
        (Weighting::TwoPart, "two-part without noise"),
        (Weighting::InverseSquare, "1/x², right"),
        (Weighting::None, "equal weights, wrong"),
    ] {
        let s = Scenario { weighting, ..proportional.clone() };
        for x in [2.0, 5.0, 10.0] {
            row(text, &s, x, draws);
        }
    }

    println!("\nquadratic declared, true curve 20 % below its line at the top (gate 0.935 to 0.965)");
    for (flasks, m) in [(1, 2), (2, 3), (3, 3)] {
        let s = Scenario { model: Model::Quadratic, bend: 0.2, flasks, sample_flasks: m, ..wide.clone() };
        for x in [0.0, 1.0, 2.0, 5.0, 10.0] {
            row(&format!("two-part, {flasks} flasks a level, sample of {m}"), &s, x, draws);
        }
    }
    println!("quadratic, equal scatter and weights (gate 0.94 to 0.96)");
    let bent = Scenario { model: Model::Quadratic, bend: 0.3, ..Scenario::equal(0.0, 3) };
    for x in [100.0, 250.0, 500.0] {
        row("5 levels x 2 flasks, 30 % bend", &bent, x, draws);
    }
    println!("quadratic, near its detection limit: noise 0.14, standards at 1, 2, 5, 10, 20 detection limits");
    let near = Scenario { model: Model::Quadratic, bend: 0.2, ..Scenario::house(trace[0].1, 0.1414) };
    for x in [0.0, 0.33, 1.0, 3.3, 6.6] {
        row("two-part", &near, x, draws);
    }
    println!("power law of exponent 0.6, levels 0.3 to 30");
    for (model, noise, text) in
        [(Model::PowerLaw, 0.0424, "power law, two-part"), (Model::LogLog, 0.0, "logarithms, no noise")]
    {
        let s = Scenario { model, noise, exponent: 0.6, ..decades.clone() };
        for x in [0.3, 3.0, 30.0] {
            row(text, &s, x, draws);
        }
    }
    println!("a line declared where the truth bends by 5 % (printed, not gated)");
    for x in [2.0, 5.0, 10.0] {
        row("line", &Scenario { bend: 0.05, ..wide.clone() }, x, draws);
    }

    println!("\nwhat the model does not know (printed, not gated)");
    for (errors, text) in
        [(Errors::T3, "t₃ errors"), (Errors::BadFlask, "one standard 10 % off"), (Errors::Drift, "5 % drift")]
    {
        for x in [1.0, 5.0, 10.0] {
            row(text, &Scenario { errors, ..wide.clone() }, x, draws);
        }
    }
    for claimed in [0.7, 1.5] {
        for x in [0.33, 1.65, 3.3] {
            let s = Scenario { noise_claimed: claimed, ..Scenario::house(trace[0].1, 0.1414) };
            row(&format!("trace component, noise claimed {claimed} x true"), &s, x, draws);
        }
    }
    for shots in [1, 4] {
        let s = Scenario { sample_shots: shots, ..Scenario::equal(1.0, 3) };
        row(&format!("equal weights, standards 2 shots, sample {shots}"), &s, 250.0, draws);
    }

    doubts(draws.min(2000));
    limits(draws);
}

/// Levels, flasks a level, shots a flask.
fn designs() -> impl Iterator<Item = (usize, usize, usize)> {
    let all =
        [3, 4, 5, 8].into_iter().flat_map(|l| [1, 2, 3].into_iter().flat_map(move |f| [1, 3].map(move |s| (l, f, s))));
    // A sample of two flasks adds one.
    all.filter(|(l, f, _)| l * f + 1 >= 2 + 3)
}

/// How often each doubt is raised: on good studies, and where there is reason to.
fn doubts(draws: usize) {
    println!("\ndoubts at 5 %, {draws} draws: residual tests adjusted after Holm among themselves; drift by itself");
    println!("{:58} {:>9} {:>8} {:>10}", "", "residuals", "drift", "± MC");
    let house = Scenario::house(&[2.0, 4.0, 6.0, 8.0, 10.0], 0.0141);
    let mixed = Scenario { order: Order::Mixed, ..house.clone() };
    let drifting = |s: &Scenario, drift: f64| Scenario { errors: Errors::Drift, drift, ..s.clone() };
    let cases = [
        ("good, levels rising", house.clone()),
        ("good, levels mixed", mixed.clone()),
        ("t₃ errors, levels mixed", Scenario { errors: Errors::T3, ..mixed.clone() }),
        ("bend of 5 %", Scenario { bend: 0.05, ..mixed.clone() }),
        ("bend of 10 %", Scenario { bend: 0.1, ..mixed.clone() }),
        ("one standard 10 % off", Scenario { errors: Errors::BadFlask, ..mixed.clone() }),
        ("equal weights on proportional scatter", Scenario { weighting: Weighting::None, noise: 0.0, ..mixed.clone() }),
        ("drift of 2 %, levels mixed", drifting(&mixed, -0.02)),
        ("drift of 5 %, levels mixed", drifting(&mixed, -0.05)),
        ("drift of 5 %, levels rising", drifting(&house, -0.05)),
    ];
    for (name, s) in cases {
        let (mut residuals, mut drift) = (0, 0);
        for i in 0..draws {
            let mut random = Xoshiro256PlusPlus::stream(19, i as u64);
            let curve = s.curve(&mut random);
            let tests = curve.residual_tests();
            let smallest = tests.iter().map(|t| t.p_value).fold(1.0, f64::min) * tests.len() as f64;
            residuals += usize::from(smallest < 0.05);
            let sample = s.timed_sample(5.0, &mut random);
            drift += usize::from(curve.drift(&[sample]).is_some_and(|d| d.p_value < 0.05));
        }
        let share = |k: usize| k as f64 / draws as f64;
        println!("{name:58} {:9.3} {:8.3} {:10.4}", share(residuals), share(drift), (0.0475 / draws as f64).sqrt());
    }
    println!("\nresidual tests on good lines of equal scatter, any of them at 5 % after Holm");
    for n in [10_usize, 15, 30] {
        let mut alarms = 0;
        for i in 0..draws * 5 {
            let mut random = Xoshiro256PlusPlus::stream(29, i as u64);
            let x = (0..n).map(|i| 1.0 + (i / 2) as f64);
            let flasks: Vec<Flask> = x.map(|x| Flask::reading("S", x, 3.0 + 2.0 * x + 0.1 * random.normal())).collect();
            let tests =
                Curve::fit(&flasks, &CalibrationOptions::weighted(Weighting::None)).expect("fit").residual_tests();
            alarms += usize::from(tests.iter().map(|t| t.p_value).fold(1.0, f64::min) * (tests.len() as f64) < 0.05);
        }
        let n_draws = (draws * 5) as f64;
        println!("{n:4} flasks {:53.3} {:19.4}", alarms as f64 / n_draws, (0.0475 / n_draws).sqrt());
    }
}

fn row(name: &str, scenario: &Scenario, content: f64, draws: usize) {
    let c = Coverage::of(scenario, content, draws, 20_260_101);
    println!(
        "{name:58} {content:8.2}   {:.3} ± {:.4} {:.3} {:.3}  {:7.4} {:.3}",
        c.covered,
        c.error(),
        c.above,
        c.below,
        c.half_width,
        c.open
    );
}

/// False and miss rates of the limits, with noise at zero 0.01 and ρ 1.5 %.
fn limits(draws: usize) {
    println!(
        "\nlimits at α = β = 0.05: share of blanks called detected, of samples at the detection limit missed (gate 0.04 to 0.06)"
    );
    for (name, levels) in [
        ("levels 0.02 to 0.2", vec![0.02, 0.05, 0.1, 0.15, 0.2]),
        ("levels 0.2 to 2", vec![0.2, 0.5, 1.0, 1.5, 2.0]),
        ("levels 1 to 10", vec![1.0, 2.0, 5.0, 7.5, 10.0]),
        ("levels 0, 1 to 10", vec![0.0, 1.0, 2.5, 5.0, 10.0]),
    ] {
        for blanks in [0, 8] {
            // Noise of a flask mean 0.01.
            let s = Scenario::house(&levels, 0.01 * 2.0_f64.sqrt());
            let (mut false_calls, mut missed, mut range, mut sum, mut n) = (0.0, 0.0, 0.0, 0.0, 0.0);
            let mut all = Vec::new();
            for i in 0..draws {
                let mut random = Xoshiro256PlusPlus::stream(11, i as u64);
                let curve = s.curve(&mut random);
                let zero = if blanks == 0 {
                    ZeroVariance::Area { u: 0.01 }
                } else {
                    ZeroVariance::Blanks { responses: (0..blanks).map(|_| 0.01 * random.normal()).collect() }
                };
                let options = LimitOptions { zero, ..LimitOptions::default() };
                let l = curve.limits(&options).expect("limits");
                let Some(limit) = l.detection_limit else { continue };
                let mean = |x: f64, random: &mut Xoshiro256PlusPlus| {
                    let u = s.sample(x, random);
                    u.flask_responses.iter().sum::<f64>() / u.flask_responses.len() as f64
                };
                false_calls += f64::from(u8::from(mean(0.0, &mut random) > l.critical_response));
                missed += f64::from(u8::from(mean(limit, &mut random) <= l.critical_response));
                all.push((limit, l.detection_range.expect("range")));
                sum += limit;
                n += 1.0;
            }
            let typical = sum / n;
            for (_, [low, high]) in &all {
                range += f64::from(u8::from(*low <= typical && typical <= *high));
            }
            let source = if blanks == 0 { "noise known".to_owned() } else { format!("{blanks} blanks") };
            println!(
                "{:58}            false {:.4}  missed {:.4}  ± {:.4}; mean limit {typical:.4}, in its own range {:.3}",
                format!("{name}, {source}"),
                false_calls / n,
                missed / n,
                (0.05_f64 * 0.95 / n).sqrt(),
                range / n
            );
        }
    }
}
