//! Fits against exact tables, general libraries and the least variance that is possible.

use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::peaks::{Components, Detect, FitOptions, FitShape, GroupFit, Integration, PeakNote, fit_together};
use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, Gaussian, HaarhoffVanDerLinde as Hvl};
use vialbook::{PeakList, Trace};

use super::scene::Scene;
use super::{correlated, emg_table, numbers};

fn exactly(n: usize) -> FitOptions {
    FitOptions { components: Components::Exactly(n), ..FitOptions::default() }
}

/// tests/data/chrom/chrom_emg_shape_exact.csv, every row: what a fit says of a profile without noise is the table's.
#[test]
fn every_row_of_the_exact_table_is_fitted() {
    for row in emg_table() {
        let sd = (1.0 + row.tau * row.tau).sqrt();
        let time: Vec<f64> = (0..1200).map(|i| f64::from(i) * 0.05 * sd).collect();
        let centre = 0.4 * time[1199];
        let mut signal: Vec<f64> = time.iter().map(|t| 3.0 - 0.01 * t).collect();
        Emg::new(100.0, centre, 1.0, row.tau).expect("valid").add_to(&time, &mut signal);
        let trace = Trace::new(time, signal, "mV").expect("even times");
        let mean = centre + row.tau;
        let fit = trace.fit_window(mean - 5.0 * sd, mean + 9.0 * sd, &exactly(1)).expect("a fit");
        let p = &fit.peaks[0];
        let close = |got: f64, want: f64, tolerance: f64, what: &str| {
            assert!((got - want).abs() < tolerance, "tau {}: {what} {got} for {want}", row.tau);
        };
        close(p.fit_area / 100.0, 1.0, 1e-7, "area");
        close(p.height / 100.0 / row.height, 1.0, 1e-7, "height");
        close(p.retention_time_min - centre, row.apex, 1e-6, "apex");
        close(p.width_half_min, row.width_half, 1e-6, "half width");
        // Where there is no tail, σ and τ are found to the cube root of the digits: their third moment is what the data hold.
        let digits = if row.tau < 0.2 { 2e-3 } else { 1e-5 };
        close(p.sigma_min, 1.0, digits, "sigma");
        close(p.tau_min.expect("a tail").abs(), row.tau, 20.0 * digits, "tau");
        assert!(fit.converged && !fit.is_misfit(), "tau {}: {}", row.tau, fit.stop);
    }
}

/// tests/data/chrom/chrom_overlap_perpendicular_drop.csv, every row: where a perpendicular drop errs by up to 100 %, or
/// there is no valley at all, two profiles fitted give the areas.
#[test]
fn every_row_of_the_overlap_table_is_taken_apart() {
    let options = FitOptions { shape: FitShape::Gaussian, ..exactly(2) };
    for row in numbers(include_str!("../../data/chrom/chrom_overlap_perpendicular_drop.csv")) {
        let (rs, ratio) = (row[0], row[1]);
        let time: Vec<f64> = (0..1600).map(|i| f64::from(i) * 0.05).collect();
        let mut signal = vec![0.2; time.len()];
        for (area, centre) in [(1.0, 30.0), (ratio, 30.0 + 4.0 * rs)] {
            Gaussian::new(area, centre, 1.0).expect("valid").add_to(&time, &mut signal);
        }
        let trace = Trace::new(time, signal, "mV").expect("even times");
        let fit = trace.fit_window(24.0, 36.0 + 4.0 * rs, &options).expect("a fit");
        let areas = [fit.peaks[0].fit_area, fit.peaks[1].fit_area];
        assert!((areas[0] - 1.0).abs() < 1e-4, "Rs {rs}, ratio {ratio}: {areas:?}");
        assert!((areas[1] / ratio - 1.0).abs() < 1e-4 / ratio, "Rs {rs}, ratio {ratio}: {areas:?}");
    }
}

/// Mean, variance over the bound's, and share of intervals that hold the truth, over seeded draws.
struct Seen {
    bias: f64,
    variance: f64,
    held: f64,
}

fn seen(scene: &Scene, peak: usize, options: &FitOptions, draws: u64) -> Seen {
    let bound = scene.bound(options.shape == FitShape::Gaussian, options.shared_shape)[peak];
    let truth = scene.peaks[peak].area;
    let (mut sum, mut square, mut held) = (0.0, 0.0, 0.0);
    for seed in 0..draws {
        let trace = scene.draw(&mut Random::stream(20, seed));
        let fit = trace.fit_window(scene.window[0], scene.window[1], options).expect("a fit");
        let p = &fit.peaks[peak];
        let error = p.fit_area - truth;
        sum += error;
        square += error * error;
        held += f64::from(u8::from(p.fit_area_u.is_some_and(|u| error.abs() <= 1.959_964 * u)));
    }
    let n = draws as f64;
    Seen { bias: sum / n / bound, variance: (square - sum * sum / n) / (n - 1.0) / (bound * bound), held: held / n }
}

/// The short version of `benches/peak_limits.rs`: the Cramér-Rao bound (H. Cramér, Mathematical Methods of Statistics
/// (1946), section 32.3), made from differences of the public profiles. Gates 1.1 isolated and 1.3 in pairs, widened by 3
/// times the Monte Carlo error of a variance, √(2/n), and of a coverage of 0.95.
#[test]
fn areas_reach_the_least_variance_that_is_possible() {
    let draws = 400;
    let noise = 3.0 * (2.0 / draws as f64).sqrt();
    let covered = 0.01 + 3.0 * (0.95 * 0.05 / draws as f64).sqrt();
    for (ratio, snr, points, phi) in [
        (0.0, 20.0, 15.0, 0.0),
        (0.3, 100.0, 8.0, 0.0),
        (1.0, 100.0, 30.0, 0.0),
        (2.0, 1000.0, 30.0, 0.0),
        (0.6, 100.0, 30.0, 0.8),
    ] {
        let unit = Emg::new(1.0, 0.0, 1.0, ratio).expect("valid");
        let sd = f64::hypot(1.0, ratio);
        let scene = Scene {
            peaks: vec![Emg { area: snr / unit.apex().height, ..unit }],
            interval: 4.0 * sd / points,
            window: [ratio - 5.0 * sd, ratio + 7.0 * sd],
            phi,
        };
        let shape = if ratio == 0.0 { FitShape::Gaussian } else { FitShape::default() };
        let got = seen(&scene, 0, &FitOptions { shape, ..exactly(1) }, draws);
        let what = format!("τ/σ {ratio}, S/N {snr}, {points} points, φ {phi}");
        assert!(got.variance < 1.1 * (1.0 + noise), "{what}: variance {:.3} of the bound", got.variance);
        assert!(got.variance > 0.9 * (1.0 - noise), "{what}: variance {:.3} below the bound", got.variance);
        assert!((got.held - 0.95).abs() < covered, "{what}: covered {:.3}", got.held);
        assert!(got.bias.abs() < 0.15 + 3.0 / (draws as f64).sqrt(), "{what}: bias {:.3}", got.bias);
    }
    for (rs, ratio, snr, shared) in [(1.0, 1.0, 100.0, false), (0.7, 0.2, 1000.0, true), (1.5, 0.05, 100.0, false)] {
        let unit = Emg::new(1.0, 0.0, 1.0, 0.3).expect("valid");
        let sd = f64::hypot(1.0, 0.3);
        let small = snr / unit.apex().height;
        let scene = Scene {
            peaks: vec![Emg { area: small / ratio, ..unit }, Emg { area: small, centre_min: 4.0 * sd * rs, ..unit }],
            interval: 4.0 * sd / 30.0,
            window: [0.3 - 5.0 * sd, 0.3 + 4.0 * sd * rs + 7.0 * sd],
            phi: 0.0,
        };
        let got = seen(&scene, 1, &FitOptions { shared_shape: shared, ..exactly(2) }, draws / 2);
        assert!(got.variance < 1.3 * (1.0 + 1.42 * noise), "Rs {rs}, {ratio}: variance {:.3}", got.variance);
        assert!((got.held - 0.95).abs() < 1.42 * covered, "Rs {rs}, {ratio}: covered {:.3}", got.held);
    }
}

/// Shared over neighbours, the bound itself falls 2 to 10 times: the fit keeps that promise against it.
#[test]
fn one_shape_for_neighbours_cuts_the_variance() {
    let unit = Emg::new(1.0, 0.0, 1.0, 0.3).expect("valid");
    let scene = Scene {
        peaks: vec![Emg { area: 500.0, ..unit }, Emg { area: 250.0, centre_min: 3.2, ..unit }],
        interval: 4.0 / 30.0,
        window: [-5.0, 11.0],
        phi: 0.0,
    };
    let (own, shared) = (scene.bound(false, false)[1], scene.bound(false, true)[1]);
    assert!(own > 1.4 * shared, "{own} {shared}");
    let got = seen(&scene, 1, &FitOptions { shared_shape: true, ..exactly(2) }, 150);
    assert!(got.variance < 1.3 * (1.0 + 3.0 * (2.0_f64 / 150.0).sqrt()), "{}", got.variance);
}

/// One true peak is taken apart in at most 2 % of draws, over correlations and shapes: what is added must have its own
/// maximum or shoulder.
#[test]
fn one_true_peak_stays_one() {
    let emg = |tau: f64| move |t: f64| Emg { area: 1.0, centre_min: 0.0, sigma_min: 1.0, tau_min: tau }.value(t);
    let front = |t: f64| Hvl { area: 1.0, centre_min: 0.0, sigma_min: 1.0, fronting: 3.0 }.value(t);
    let two_tails = |t: f64| 0.5 * (emg(0.4)(t) + emg(1.6)(t));
    let shapes: [(&str, &dyn Fn(f64) -> f64); 5] = [
        ("Gaussian", &emg(0.0)),
        ("tail", &emg(0.6)),
        ("long tail", &emg(2.0)),
        ("front", &front),
        ("two tails", &two_tails),
    ];
    let (mut split, mut all) = (0, 0);
    for phi in [0.0, 0.5, 0.8] {
        for (name, shape) in shapes {
            let mut own = 0;
            for seed in 0..24 {
                let mut random = Random::stream(21, seed);
                let snr = if seed % 2 == 0 { 50.0 } else { 500.0 };
                let time: Vec<f64> = (0..3000).map(|i| f64::from(i - 1500) * 0.08).collect();
                let noise = correlated(&mut random, time.len(), 0.3 / snr, phi);
                let signal: Vec<f64> = time.iter().zip(noise).map(|(t, e)| 1.0 + shape(*t) + e).collect();
                let trace = Trace::new(time, signal, "mV").expect("even times");
                let list = trace.find_peaks(&Detect::default()).expect("peaks");
                let fits = trace.fit_peaks(&list, &FitOptions::default()).expect("fits");
                let near = fits.peaks().iter().filter(|p| p.retention_time_min.abs() < 12.0).count();
                own += usize::from(near > 1);
                all += 1;
            }
            assert!(own <= 4, "{name}, φ {phi}: {own} of 24 split");
            split += own;
        }
    }
    assert!(split * 50 <= all, "{split} of {all} split");
}

/// A column of tests/data/fits/traces.csv as a trace.
fn trace_of(column: usize) -> Trace {
    let rows = numbers(include_str!("../../data/fits/traces.csv"));
    let of = |k: usize| rows.iter().map(|r| r[k]).collect::<Vec<f64>>();
    Trace::new(of(0), of(column), "mV").expect("even times")
}

/// tests/data/fits: the same windows fitted by SciPy 1.17.1 (`least_squares`, method "lm") and lmfit 1.3.4, which agree with
/// each other to 1e-7. The definition is the same, noise white and of known standard deviation, and so are the numbers.
#[test]
fn general_libraries_find_the_same_fits() {
    let noise = Some(vialbook::peaks::KnownNoise { sd: 0.02, autocorrelation: 0.0 });
    for (column, name, count) in [(1, "single", 1), (2, "pair", 2), (3, "triple", 3)] {
        let fit = trace_of(column).fit_window(2.1, 4.3, &FitOptions { noise, ..exactly(count) }).expect("a fit");
        let lines = include_str!("../../data/fits/fits.csv").lines();
        let mut seen = 0;
        for line in lines {
            let cells: Vec<&str> = line.split(',').collect();
            if cells[1] != name {
                continue;
            }
            let number = |k: usize| cells[k].parse::<f64>().expect("a number");
            let p = &fit.peaks[number(2) as usize];
            let close = |got: f64, want: f64, what: &str| {
                assert!((got / want - 1.0).abs() < 2e-6, "{line}: {what} {got}");
            };
            close(p.fit_area, number(3), "area");
            close(p.centre_min, number(4), "centre");
            close(p.sigma_min, number(5), "sigma");
            close(p.tau_min.expect("a tail"), number(6), "tau");
            close(fit.chi_squared, number(8), "chi squared");
            // Standard errors from analytic derivatives here, from differences there.
            assert!((p.fit_area_u.expect("determined") / number(7) - 1.0).abs() < 1e-3, "{line}: u {:?}", p.fit_area_u);
            seen += 1;
        }
        assert_eq!(seen, 2 * count);
    }
}

/// tests/data/fits: `scipy.signal.find_peaks`, `peak_widths` and `savgol_filter` on the same traces. Apexes there are points,
/// ours are refined between them: half an interval apart at most. The width of the middle peak is measured at half its
/// prominence there, which with these valleys is at half its height above zero: ours stands on the same baseline.
#[test]
fn general_libraries_find_the_same_peaks() {
    let list = trace_of(4).find_peaks(&Detect::default()).expect("peaks");
    let rows: Vec<Vec<&str>> = include_str!("../../data/fits/fits.csv")
        .lines()
        .filter(|l| l.starts_with("find_peaks"))
        .map(|l| l.split(',').collect())
        .collect();
    assert_eq!(list.len(), rows.len());
    for (p, row) in list.peaks.iter().zip(&rows) {
        let number = |k: usize| row[k].parse::<f64>().expect("a number");
        assert!((p.retention_time_min - number(3)).abs() <= 0.0015, "{row:?}: {}", p.retention_time_min);
        assert!(p.height >= number(4) * (1.0 - 1e-3) && p.height <= number(4) * 1.002, "{row:?}: {}", p.height);
    }
    let middle = rows[1][5].parse::<f64>().expect("a number");
    assert!((list.peaks[1].width_half_min.expect("a width") / middle - 1.0).abs() < 2e-3);
    let smooth = trace_of(3).smooth(vialbook::signal::SavitzkyGolay::new(15, 2)).expect("smoothed");
    let theirs = trace_of(5);
    // Away from the ends, where that library continues the last polynomial as ours does.
    for (a, b) in smooth.signal().iter().zip(theirs.signal()) {
        assert!((a - b).abs() < 1e-8, "{a} {b}");
    }
}

/// The exact tangent of a small peak on a tail, from the profiles themselves: with the valley found by bisection and the
/// flattest line from there, the small peak's area above it and the large one's below.
#[test]
fn a_tangent_skim_is_that_of_the_exact_profiles() {
    let (large, small) =
        (Emg::new(10.0, 3.0, 0.05, 0.15).expect("valid"), Gaussian::new(0.05, 3.75, 0.03).expect("valid"));
    let both = |t: f64| large.value(t) + small.value(t);
    let fine: Vec<f64> = (0..40_000).map(|i| 3.4 + f64::from(i) * 2e-5).collect();
    let valley =
        fine.iter().copied().filter(|t| *t < 3.74).min_by(|a, b| both(*a).total_cmp(&both(*b))).expect("points");
    let slope = |t: f64| (both(t) - both(valley)) / (t - valley);
    let touch =
        fine.iter().copied().filter(|t| *t > 3.78).min_by(|a, b| slope(*a).total_cmp(&slope(*b))).expect("points");
    let steps = 20_000;
    let width = (touch - valley) / f64::from(steps);
    let above: f64 = (0..steps)
        .map(|i| valley + (f64::from(i) + 0.5) * width)
        .map(|t| (both(t) - both(valley) - slope(touch) * (t - valley)) * width)
        .sum();
    let time: Vec<f64> = (0..10_000).map(|i| f64::from(i) * 1e-3).collect();
    let mut signal = vec![0.1; time.len()];
    large.add_to(&time, &mut signal);
    small.add_to(&time, &mut signal);
    let trace = Trace::new(time, signal, "mV").expect("even times");
    let with = |overlap| {
        let list = trace.find_peaks(&Detect { overlap, ..Detect::default() }).expect("peaks");
        assert_eq!(list.len(), 2);
        (list.peaks[0].clone(), list.peaks[1].clone())
    };
    let (big, rider) = with(vialbook::peaks::Overlap::TangentSkim);
    assert_eq!((big.method, rider.method), (Integration::PerpendicularDrop, Integration::TangentSkim));
    assert!((rider.area / above - 1.0).abs() < 0.02, "{} for {above}", rider.area);
    assert!((big.area + rider.area - 10.05).abs() < 0.005, "{} {}", big.area, rider.area);
    let (_, dropped) = with(vialbook::peaks::Overlap::PerpendicularDrop);
    assert!(dropped.area > 2.0 * above, "the perpendicular counts the slope below: {}", dropped.area);
    let (first, second) = with(vialbook::peaks::Overlap::ValleyToValley);
    assert_eq!((first.method, second.method), (Integration::ValleyToValley, Integration::ValleyToValley));
    assert!(second.area < 1.3 * above && first.area < 10.0, "{} {}", first.area, second.area);
}

/// A small peak in front of a large fronting one, mirrored from the test above: the same areas.
#[test]
fn a_front_is_skimmed_as_a_tail_is() {
    let (large, small) =
        (Emg::new(10.0, 3.0, 0.05, 0.15).expect("valid"), Gaussian::new(0.05, 3.75, 0.03).expect("valid"));
    let time: Vec<f64> = (0..10_000).map(|i| f64::from(i) * 1e-3).collect();
    let mut signal = vec![0.1; time.len()];
    large.add_to(&time, &mut signal);
    small.add_to(&time, &mut signal);
    let options = Detect { overlap: vialbook::peaks::Overlap::TangentSkim, ..Detect::default() };
    let list = |signal: Vec<f64>| -> PeakList {
        Trace::new(time.clone(), signal, "mV").expect("even times").find_peaks(&options).expect("peaks")
    };
    let mirrored = list(signal.iter().rev().copied().collect());
    let plain = list(signal);
    assert_eq!(mirrored.len(), 2);
    assert_eq!(mirrored.peaks[0].method, Integration::TangentSkim);
    assert!((mirrored.peaks[0].area / plain.peaks[1].area - 1.0).abs() < 0.01);
    assert!((mirrored.peaks[1].area / plain.peaks[0].area - 1.0).abs() < 1e-4);
}

/// Areas beside the perpendicular drop stay; with the fit they change, and each says how it came about.
#[test]
fn a_fit_stands_beside_the_drop_or_takes_its_place() {
    let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    let mut random = Random::seeded(8);
    let mut signal: Vec<f64> = (0..3000).map(|_| 0.5 + 0.005 * random.normal()).collect();
    for (area, centre) in [(2.0, 2.0), (0.4, 2.2), (1.0, 4.5)] {
        Emg::new(area, centre, 0.04, 0.03).expect("valid").add_to(&time, &mut signal);
    }
    let list = Trace::new(time, signal, "mV").expect("even times").find_peaks(&Detect::default()).expect("peaks");
    let beside = list.beside_fits(&FitOptions::default()).expect("fits");
    let (old, new) = (&list.peaks[1], &beside.peaks[1]);
    assert_eq!((old.area, old.method), (new.area, new.method));
    let fit = new.fit.as_ref().expect("a fit beside it");
    assert!((fit.area - 0.4).abs() < 4.0 * fit.area_u.expect("determined"));
    assert_eq!(fit.drop_area, Some(old.area));
    assert!(
        new.notes
            .iter()
            .any(|n| matches!(n, PeakNote::DropAgainstFit(x) if (x - fit.drop_excess().unwrap_or(0.0)).abs() < 1e-12))
    );
    assert!(beside.peaks[2].fit.is_none(), "alone, it has nothing to compare with");
    let fitted = list.fit(&FitOptions::default()).expect("fits");
    assert!(fitted.peaks.iter().all(|p| p.method == Integration::Fit && p.fit.is_some()));
    assert!(fitted.peaks.iter().zip([2.0, 0.4, 1.0]).all(|(p, a)| (p.area - a).abs() < 4.0 * p.area_u));
}

/// Two runs whose peaks have the same widths: shared over runs, the areas scatter less than with widths of their own.
#[test]
fn shapes_shared_over_runs_are_found() {
    let unit = Emg::new(1.0, 0.0, 1.0, 0.5).expect("valid");
    let scene = |a: f64, b: f64| Scene {
        peaks: vec![Emg { area: a, ..unit }, Emg { area: b, centre_min: 3.4, ..unit }],
        interval: 0.15,
        window: [-5.0, 12.0],
        phi: 0.0,
    };
    let scenes = [scene(300.0, 60.0), scene(200.0, 240.0), scene(80.0, 300.0)];
    let (mut own, mut shared) = (0.0, 0.0);
    for seed in 0..40 {
        let traces: Vec<Trace> =
            scenes.iter().enumerate().map(|(k, s)| s.draw(&mut Random::stream(22, 3 * seed + k as u64))).collect();
        let together = fit_together(&traces, -5.0, 12.0, &exactly(2)).expect("fits");
        let alone: Vec<GroupFit> =
            traces.iter().map(|t| t.fit_window(-5.0, 12.0, &exactly(2)).expect("a fit")).collect();
        assert_eq!(together[0].peaks[1].sigma_min, together[2].peaks[1].sigma_min);
        let miss = |fit: &GroupFit| (fit.peaks[1].fit_area - 60.0).powi(2);
        own += miss(&alone[0]);
        shared += miss(&together[0]);
    }
    assert!(shared < 0.8 * own, "{shared} {own}");
}
