//! How close areas come to the least variance that is possible (the Cramér-Rao bound), with the Monte Carlo error.
//!
//! `cargo bench --bench peak_limits` prints all parts; `PART=isolated|pairs|correlated|foreign|speed` one of them,
//! `SEEDS=10000` sets the number of draws (default 1,000).
//!
//! The problem: a window from 5 standard deviations before the mean to 7 behind it (for a pair, of the first and the
//! last), a straight baseline that is not known, the number of peaks given, noise known from 4,000 points beside it.
//! The bound is made from central differences of the public profiles, by generalised least squares.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::time::Instant;

use rayon::prelude::*;
use vialbook::Trace;
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{BaselineEnds, Components, Detect, FitOptions, FitShape, Integration};
use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, HaarhoffVanDerLinde as Hvl};

#[path = "../tests/it/peaks/scene.rs"]
mod scene;
use scene::Scene;

fn main() {
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let seeds: u64 = std::env::var("SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(1000);
    let part = std::env::var("PART").unwrap_or_default();
    let wanted = |name: &str| part.is_empty() || part == name;
    println!("{seeds} draws a row; the relative Monte Carlo error of a variance is {:.3}", (2.0 / seeds as f64).sqrt());
    if wanted("isolated") {
        isolated(seeds, 0.0);
    }
    if wanted("correlated") {
        isolated(seeds, 0.5);
        isolated(seeds, 0.8);
    }
    if wanted("pairs") {
        pairs(seeds, false);
        pairs(seeds, true);
    }
    if wanted("foreign") {
        foreign(seeds);
    }
    if wanted("speed") {
        speed();
    }
}

/// Sums over draws of one area.
#[derive(Clone, Default)]
struct Tally {
    n: f64,
    error: f64,
    square: f64,
    held: f64,
    u: f64,
    other: f64,
    fine: f64,
}

impl Tally {
    fn add(&mut self, area: f64, u: Option<f64>, truth: f64) {
        let e = area - truth;
        self.n += 1.0;
        self.error += e;
        self.square += e * e;
        if let Some(u) = u {
            self.fine += 1.0;
            self.held += f64::from(u8::from(e.abs() <= 1.959_964 * u));
            self.u += u;
        }
    }

    fn merge(mut self, o: &Tally) -> Tally {
        self.n += o.n;
        self.error += o.error;
        self.square += o.square;
        self.held += o.held;
        self.u += o.u;
        self.other += o.other;
        self.fine += o.fine;
        self
    }

    fn bias(&self) -> f64 {
        self.error / self.n
    }

    fn variance(&self) -> f64 {
        (self.square - self.error * self.error / self.n) / (self.n - 1.0)
    }
}

fn sums<const N: usize>(seeds: u64, each: impl Fn(&mut Random, &mut [Tally; N]) + Sync) -> [Tally; N] {
    let zero = || std::array::from_fn::<Tally, N, _>(|_| Tally::default());
    (0..seeds)
        .into_par_iter()
        .fold(zero, |mut t, seed| {
            each(&mut Random::stream(10, seed), &mut t);
            t
        })
        .reduce(zero, |a, b| std::array::from_fn(|i| a[i].clone().merge(&b[i])))
}

/// One peak: as fitted, as reported (the sum where the shape is refused), and the trapezoid over the same window.
fn isolated(seeds: u64, phi: f64) {
    println!(
        "\nisolated peaks, φ = {phi}; gates where the bound is at most 5 % of the area: variance 1.1, coverage 0.94 to 0.96, bias 0.15"
    );
    println!(
        "{:>7} {:>6} {:>6} | {:>7} | {:>9} {:>7} {:>7} {:>6} | {:>8} {:>7} | {:>9} {:>7}  gate",
        "tau/sd",
        "S/N",
        "points",
        "bound %",
        "var/bound",
        "bias/se",
        "covered",
        "u/sd",
        "reported",
        "covered",
        "trapezoid",
        "covered"
    );
    let points: &[f64] = if phi == 0.0 { &[8.0, 15.0, 30.0, 100.0] } else { &[30.0, 100.0] };
    for ratio in [0.0, 0.3, 0.6, 1.0, 1.5, 2.0] {
        for snr in [10.0, 20.0, 100.0, 1000.0] {
            for &points in points {
                let unit = Emg::new(1.0, 0.0, 1.0, ratio).unwrap();
                let sd = (1.0 + ratio * ratio).sqrt();
                let scene = Scene {
                    peaks: vec![Emg { area: snr / unit.apex().height, ..unit }],
                    interval: 4.0 * sd / points,
                    window: [ratio - 5.0 * sd, ratio + 7.0 * sd],
                    phi,
                };
                let gaussian = ratio == 0.0;
                let bound = scene.bound(gaussian, false)[0];
                let truth = scene.peaks[0].area;
                let options = FitOptions {
                    shape: if gaussian { FitShape::Gaussian } else { FitShape::default() },
                    components: Components::Exactly(1),
                    ..FitOptions::default()
                };
                let [fit, reported, trapezoid] = sums(seeds, |random, t: &mut [Tally; 3]| {
                    let trace = scene.draw(random);
                    let got = trace.fit_window(scene.window[0], scene.window[1], &options).unwrap();
                    let p = &got.peaks[0];
                    t[0].add(p.fit_area, p.fit_area_u, truth);
                    t[1].add(p.area, p.area_u, truth);
                    let detect = Detect { baseline_ends: BaselineEnds::Averaged, ..Detect::default() };
                    let w = trace.integrate_window(scene.window[0], scene.window[1], &detect).unwrap();
                    t[2].add(w.area, Some(w.area_u), truth);
                });
                let share = bound / truth;
                let ratio_of = |t: &Tally| t.variance() / bound / bound;
                let (bias, held) = (fit.bias() / bound, fit.held / fit.n);
                let loose = 3.0 * (2.0 / fit.n).sqrt();
                let holds = ratio_of(&fit) <= 1.1 * (1.0 + loose)
                    && (held - 0.95).abs() <= 0.01 + 3.0 * (0.05 * 0.95 / fit.n).sqrt()
                    && (snr < 20.0 || bias.abs() <= 0.15 + 3.0 / fit.n.sqrt());
                println!(
                    "{ratio:>7} {snr:>6} {points:>6} | {:>7.3} | {:>9.3} {bias:>7.3} {held:>7.4} {:>6.3} | {:>8.3} {:>7.4} | {:>9.2} {:>7.4}  {}",
                    100.0 * share,
                    ratio_of(&fit),
                    fit.u / fit.fine / fit.variance().sqrt(),
                    ratio_of(&reported),
                    reported.held / reported.n,
                    ratio_of(&trapezoid),
                    trapezoid.held / trapezoid.n,
                    if share > 0.05 || snr < 20.0 {
                        "-"
                    } else if holds {
                        "holds"
                    } else {
                        "MISSED"
                    }
                );
            }
        }
    }
}

/// Two peaks of one shape, each with its own width and tail, or (`shared`) one for both.
fn pairs(seeds: u64, shared: bool) {
    println!(
        "\npairs, {}: variance gate 1.3 where the bound is at most 5 % of the area",
        if shared { "one shape fitted for both" } else { "a shape fitted for each" }
    );
    println!(
        "{:>6} {:>6} {:>6} {:>6} | {:>7} {:>9} {:>7} {:>7} | {:>7} {:>9} {:>7} {:>7} | {:>10} gate",
        "tau/sd",
        "Rs",
        "ratio",
        "S/N",
        "bound %",
        "var/bound",
        "bias/se",
        "covered",
        "bound %",
        "var/bound",
        "bias/se",
        "covered",
        "drop error"
    );
    let points = 30.0;
    for tail in [0.3, 1.0] {
        for rs in [0.7, 1.0, 1.5] {
            for ratio in [1.0, 0.2, 0.05] {
                for snr in [20.0, 100.0, 1000.0] {
                    let unit = Emg::new(1.0, 0.0, 1.0, tail).unwrap();
                    let sd = (1.0f64 + tail * tail).sqrt();
                    let small = snr / unit.apex().height;
                    let apart = 4.0 * sd * rs;
                    let scene = Scene {
                        peaks: vec![
                            Emg { area: small / ratio, ..unit },
                            Emg { area: small, centre_min: apart, ..unit },
                        ],
                        interval: 4.0 * sd / points,
                        window: [tail - 5.0 * sd, tail + apart + 7.0 * sd],
                        phi: 0.0,
                    };
                    let bound = scene.bound(false, shared);
                    let truth = [small / ratio, small];
                    let options = FitOptions {
                        components: Components::Exactly(2),
                        shared_shape: shared,
                        ..FitOptions::default()
                    };
                    let [first, second, drop] = sums(seeds, |random, t: &mut [Tally; 3]| {
                        let trace = scene.draw(random);
                        let got = trace.fit_window(scene.window[0], scene.window[1], &options).unwrap();
                        for k in 0..2 {
                            t[k].add(got.peaks[k].fit_area, got.peaks[k].fit_area_u, truth[k]);
                        }
                        let found = trace.find_peaks(&Detect::default()).unwrap();
                        let apex = apart + unit.apex().time_min;
                        let near = found.nearest(apex).filter(|p| {
                            (p.retention_time_min - apex).abs() < sd && p.method == Integration::PerpendicularDrop
                        });
                        if let Some(p) = near {
                            t[2].add(p.area, Some(p.area_u), truth[1]);
                        }
                    });
                    let mut line = format!("{tail:>6} {rs:>6} {ratio:>6} {snr:>6} |");
                    let mut gate = "-";
                    for (t, k) in [(&first, 0), (&second, 1)] {
                        let (share, v) = (bound[k] / truth[k], t.variance() / bound[k] / bound[k]);
                        line += &format!(
                            " {:>7.3} {v:>9.3} {:>7.3} {:>7.4} |",
                            100.0 * share,
                            t.bias() / bound[k],
                            t.held / t.n
                        );
                        if share <= 0.05 {
                            let ok = v <= 1.3 * (1.0 + 3.0 * (2.0 / t.n).sqrt());
                            gate = if !ok || gate == "MISSED" { "MISSED" } else { "holds" };
                        }
                    }
                    let error = if drop.n > 0.5 * first.n {
                        format!("{:+.2} %", 100.0 * drop.bias() / small)
                    } else {
                        "not parted".into()
                    };
                    println!("{line} {error:>10} {gate}");
                }
            }
        }
    }
}

type Shape = fn(f64) -> f64;

/// Peaks that are of no fitted shape.
fn foreign(seeds: u64) {
    println!(
        "\nforeign shapes, isolated: reported area (the sum where χ² refuses the shape); gates: covered 0.95 pooled, 0.85 a shape"
    );
    println!(
        "{:<28} {:>5} {:>6} | {:>7} {:>8} {:>9} {:>9} | {:>9} {:>7}",
        "shape", "S/N", "points", "covered", "refused", "bias %", "median u%", "fit bias%", "covered"
    );
    let shapes: [(&str, Shape); 5] = [
        ("fronting (load 3)", |t| Hvl { area: 1.0, centre_min: 0.0, sigma_min: 1.0, fronting: 3.0 }.value(t)),
        ("two tails", |t| {
            let one = |tau: f64| Emg { area: 0.5, centre_min: 0.0, sigma_min: 1.0, tau_min: tau }.value(t);
            one(0.4) + one(1.6)
        }),
        ("plug 4 sd long", |t| {
            let step = |x: f64| 0.5 * vialbook::numeric::erfc(-x / 2.0_f64.sqrt());
            (step(t + 2.0) - step(t - 2.0)) / 4.0
        }),
        ("overload fin (load 50)", |t| Hvl { area: 1.0, centre_min: 0.0, sigma_min: 1.0, fronting: 50.0 }.value(t)),
        ("adsorbing (load -5)", |t| Hvl { area: 1.0, centre_min: 0.0, sigma_min: 1.0, fronting: -5.0 }.value(t)),
    ];
    let (mut pooled, mut all) = (0.0, 0.0);
    for (name, shape) in shapes {
        let grid: Vec<f64> = (0..4000).map(|i| -20.0 + 0.02 * f64::from(i)).collect();
        let y: Vec<f64> = grid.iter().map(|&t| shape(t)).collect();
        let total: f64 = y.iter().sum();
        let mean = grid.iter().zip(&y).map(|(t, y)| t * y).sum::<f64>() / total;
        let sd = (grid.iter().zip(&y).map(|(t, y)| (t - mean).powi(2) * y).sum::<f64>() / total).sqrt();
        let top = y.iter().copied().fold(0.0, f64::max);
        for snr in [20.0, 100.0, 1000.0] {
            for points in [15.0, 50.0] {
                let area = snr / top;
                let scene = Scene {
                    peaks: vec![],
                    interval: 4.0 * sd / points,
                    window: [mean - 5.0 * sd, mean + 7.0 * sd],
                    phi: 0.0,
                };
                let rows: Vec<[f64; 4]> = (0..seeds)
                    .into_par_iter()
                    .map(|seed| {
                        let plain = scene.draw(&mut Random::stream(11, seed));
                        let signal: Vec<f64> =
                            plain.time_min().iter().zip(plain.signal()).map(|(t, y)| y + area * shape(*t)).collect();
                        let trace = plain.with_signal(signal).unwrap();
                        let options = FitOptions { components: Components::Exactly(1), ..FitOptions::default() };
                        let got = trace.fit_window(scene.window[0], scene.window[1], &options).unwrap();
                        let p = &got.peaks[0];
                        let refused = f64::from(u8::from(p.method != Integration::Fit));
                        let fit_held = (p.fit_area - area).abs() <= 1.96 * p.fit_area_u.unwrap_or(f64::NAN);
                        [
                            p.area - area,
                            p.area_u.unwrap_or(f64::NAN),
                            refused,
                            (p.fit_area - area) + if fit_held { 1e9 } else { 0.0 },
                        ]
                    })
                    .collect();
                let n = seeds as f64;
                let held = rows.iter().filter(|r| r[0].abs() <= 1.96 * r[1]).count() as f64;
                let fit_held = rows.iter().filter(|r| r[3] > 5e8).count() as f64;
                let fit_bias = rows.iter().map(|r| if r[3] > 5e8 { r[3] - 1e9 } else { r[3] }).sum::<f64>() / n;
                let mut u: Vec<f64> = rows.iter().map(|r| r[1]).collect();
                u.sort_by(f64::total_cmp);
                pooled += held;
                all += n;
                println!(
                    "{name:<28} {snr:>5} {points:>6} | {:>7.4} {:>8.3} {:>9.3} {:>9.3} | {:>9.3} {:>7.4}",
                    held / n,
                    rows.iter().map(|r| r[2]).sum::<f64>() / n,
                    100.0 * rows.iter().map(|r| r[0]).sum::<f64>() / n / area,
                    100.0 * u[u.len() / 2] / area,
                    100.0 * fit_bias / area,
                    fit_held / n
                );
            }
        }
    }
    println!("pooled: covered {:.4}", pooled / all);
}

/// Milliseconds of a fit.
fn speed() {
    println!("\nspeed, one thread");
    for (count, points) in [(1, 30.0), (1, 100.0), (2, 30.0), (3, 30.0), (3, 60.0)] {
        let peaks: Vec<Emg> =
            (0..count).map(|k| Emg::new(500.0 / f64::from(k + 1), 4.2 * f64::from(k), 1.0, 0.6).unwrap()).collect();
        let scene = Scene { peaks, interval: 4.0 / points, window: [-5.0, 4.2 * f64::from(count - 1) + 8.0], phi: 0.3 };
        let mut random = Random::seeded(3);
        let traces: Vec<Trace> = (0..50).map(|_| scene.draw(&mut random)).collect();
        let expected: Vec<f64> = scene.peaks.iter().map(|p| p.apex().time_min).collect();
        let options = FitOptions {
            components: Components::Exactly(count as usize),
            expected_min: expected,
            ..FitOptions::default()
        };
        let mut fits = 0.0;
        let start = Instant::now();
        for trace in &traces {
            fits += trace.fit_window(scene.window[0], scene.window[1], &options).unwrap().peaks[0].area;
        }
        let known = start.elapsed().as_secs_f64() / 50.0;
        let start = Instant::now();
        let search = FitOptions { expected_min: Vec::new(), ..options };
        for trace in &traces {
            fits += trace.fit_window(scene.window[0], scene.window[1], &search).unwrap().peaks[0].area;
        }
        let searched = start.elapsed().as_secs_f64() / 50.0;
        let n = ((scene.window[1] - scene.window[0]) / scene.interval) as usize;
        println!(
            "{count} peak(s), {n} points: {:.3} ms from expected times, {:.3} ms looked for ({fits:.0})",
            1e3 * known,
            1e3 * searched
        );
    }
}
