//! Standards → reference times.

use crate::identify::align::{FALL_SHARES, Freedom, Seen, Shape, Target, align, falling};
use crate::identify::{ExpectedTime, Naming, Programme, ReferenceTime, apexes};
use crate::numeric::{mean, median};
use crate::peaks::PeakList;

/// Least scatter, in seconds: a few runs that agree by chance do not make a clock (our choice).
const LEAST_SCATTER_S: f64 = 0.2;
/// Least scatter in shares of the width at half height: apexes move that far with the amount (our choice).
const LEAST_SCATTER_WIDTHS: f64 = 0.1;
/// Scatter before any run was seen, in seconds, and how many degrees of freedom that guess is worth (our choice).
const PRIOR_SCATTER_S: (f64, f64) = (0.4, 3.0);
/// Degrees of freedom by which a compound's scatter leans on that of all compounds (our choice).
const POOLED_DOF: f64 = 10.0;
/// Residuals beyond this many robust standard deviations count as if they lay there.
const CLIP: f64 = 4.0;
/// Half a window is this many scatters (our choice: beyond it Student's t leaves next to nothing) …
const WINDOW_SCATTERS: f64 = 6.0;
/// … and at least this long, in seconds, or this share of the width at half height.
const LEAST_WINDOW_S: f64 = 1.5;
const LEAST_WINDOW_WIDTHS: f64 = 0.5;
/// Another shape of the shift, or a time scale, must make residuals smaller by this factor.
const BETTER: f64 = 0.75;
/// Runs and peaks in each that must speak for another shape or for a time scale.
const BETTER_RUNS: usize = 3;
const BETTER_PEAKS: usize = 4;
/// Standard deviation by which true and expected times are taken to differ, in half widths.
const EXPECTED_SD: f64 = 0.5;

/// Reference times from standards, in the order of their times: one per compound of `expected`.
///
/// Each standard has a start offset of its own. In turns, the offsets are estimated from all peaks that a standard
/// shares with the present times, peaks are paired with compounds (one to one, in order, over all of a run at
/// once, as in [`PeakList::identify`]), and times become medians over the standards with offsets removed, then means
/// without the far ones. Where at
/// least 3 standards and 4 compounds show that offsets fall with retention (residuals smaller by a quarter), they
/// are removed as A exp(-(t - t₁)/τ). In the same way a time scale of each run's own is taken out where the standards
/// drift. Offsets and departures of the scale from 1 have median 0: times are those of the middle standard.
///
/// Scatter is the root mean square of the residuals, far ones clipped, over the degrees of freedom that the medians leave,
/// pooled over compounds and given back to each as it has runs; never below 0.2 s or 10 % of the width at half height. The window's half
/// is 6 scatters, at least 1.5 s or half the width at half height, at most the expected half width (but 3 scatters).
///
/// A compound that no standard shows keeps its expected time and window, with `runs` 0. Expected times that are no
/// numbers, or have no window, are left out. A foreign peak that is in most standards, nearer to the expected
/// time than the compound's own, is taken for it: look at the times. The order of the expected times is believed:
/// where it is wrong, names are swapped.
///
/// ```
/// use vialbook::identify::{ExpectedTime, references_from};
/// let expected = [ExpectedTime { compound: "octane".into(), time_min: 5.05, half_width_min: 0.1 }];
/// let references = references_from(&[], &expected);
/// assert_eq!((references[0].time_min, references[0].runs), (5.05, 0));
/// ```
pub fn references_from(standards: &[&PeakList], expected: &[ExpectedTime]) -> Vec<ReferenceTime> {
    learn_references(standards, expected, &Naming::default(), None)
}

/// As [`references_from`], with limits of offset and time scale, and with the programme where the start button starts
/// the oven too: offsets then fall with retention as the programme says.
pub fn learn_references(
    standards: &[&PeakList],
    expected: &[ExpectedTime],
    options: &Naming,
    programme: Option<&Programme>,
) -> Vec<ReferenceTime> {
    let usable = |e: &&ExpectedTime| e.time_min.is_finite() && e.half_width_min.is_finite() && e.half_width_min > 0.0;
    let mut expected: Vec<&ExpectedTime> = expected.iter().filter(usable).collect();
    expected.sort_by(|a, b| a.time_min.total_cmp(&b.time_min));
    let runs: Vec<(Vec<usize>, Vec<Seen>)> = standards.iter().map(|s| apexes(s)).collect();
    let mut learnt: Vec<Learnt> = expected
        .iter()
        .map(|e| Learnt {
            time_s: 60.0 * e.time_min,
            scatter_s: EXPECTED_SD * 60.0 * e.half_width_min,
            window_s: 60.0 * e.half_width_min,
            runs: 0,
            width_s: None,
        })
        .collect();
    for pass in 0..4 {
        let before: Vec<f64> = learnt.iter().map(|l| l.time_s).collect();
        let shares = programme.map(|p| expected.iter().map(|e| p.late_start_share(e.time_min)).collect::<Vec<f64>>());
        learn(standards, &runs, &expected, &mut learnt, (options, shares.as_deref(), pass));
        if pass > 1 && before.iter().zip(&learnt).all(|(b, l)| (b - l.time_s).abs() < 1e-9) {
            break;
        }
    }
    let mut references: Vec<ReferenceTime> = expected
        .iter()
        .zip(&learnt)
        .map(|(e, l)| ReferenceTime {
            compound: e.compound.clone(),
            time_min: l.time_s / 60.0,
            scatter_min: l.scatter_s / 60.0,
            half_width_min: l.window_s / 60.0,
            width_half_min: l.width_s.map(|w| w / 60.0),
            runs: l.runs,
            late_start_share: programme.map(|p| p.late_start_share(l.time_s / 60.0)),
        })
        .collect();
    references.sort_by(|a, b| a.time_min.total_cmp(&b.time_min));
    references
}

#[derive(Clone)]
struct Learnt {
    time_s: f64,
    scatter_s: f64,
    window_s: f64,
    runs: usize,
    width_s: Option<f64>,
}

/// One turn: pair, remove offsets, take medians.
fn learn(
    standards: &[&PeakList],
    runs: &[(Vec<usize>, Vec<Seen>)],
    expected: &[&ExpectedTime],
    learnt: &mut [Learnt],
    (options, shares, pass): (&Naming, Option<&[f64]>, usize),
) {
    let mut order: Vec<usize> = (0..learnt.len()).collect();
    order.sort_by(|&a, &b| learnt[a].time_s.total_cmp(&learnt[b].time_s));
    let targets: Vec<Target> = order
        .iter()
        .map(|&c| {
            let l = &learnt[c];
            // A wrong turn must stay open to correction: windows stay wide while times are young.
            let window = if pass < 2 { l.window_s.max(60.0 * expected[c].half_width_min) } else { l.window_s };
            Target::new(l.time_s, l.scatter_s, window, l.runs)
        })
        .collect();
    // observed[run][target]
    let mut widths: Vec<Vec<f64>> = vec![Vec::new(); targets.len()];
    let mut observed: Vec<Vec<Option<f64>>> = Vec::with_capacity(runs.len());
    let known = shares.map(|s| order.iter().map(|&c| s[c]).collect::<Vec<f64>>());
    let freedom = Freedom {
        shape: match &known {
            Some(shape) => Shape::Known(shape.clone()),
            None if pass > 0 && options.offset_may_fall => Shape::MayFall,
            None => Shape::Common,
        },
        ..options.freedom()
    };
    for ((indices, seen), list) in runs.iter().zip(standards) {
        let found = align(&targets, seen, &freedom);
        let mut row = vec![None; targets.len()];
        for (i, candidates) in found.candidates.iter().enumerate() {
            if let Some(&(j, _)) = candidates.first().filter(|c| c.1 > 0.5) {
                row[i] = Some(seen[j].time_s);
                widths[i].extend(list.peaks[indices[j]].width_half_min.map(|w| 60.0 * w));
            }
        }
        observed.push(row);
    }
    let start: Vec<f64> = targets.iter().map(|t| t.time_s).collect();
    let fit = fit(&targets, &start, &observed, known.as_deref(), options);
    let counts: Vec<usize> = (0..targets.len()).map(|i| observed.iter().filter(|r| r[i].is_some()).count()).collect();
    let (total, shown) = (counts.iter().sum::<usize>(), counts.iter().filter(|&&c| c > 0).count());
    let used = observed.iter().filter(|r| r.iter().any(Option::is_some)).count();
    // One median per compound and one offset per run, less the constant that both share.
    let own_per_run = if fit.is_scaled { 2.0 } else { 1.0 };
    let dof = (total as f64 + own_per_run - shown as f64 - own_per_run * used as f64).max(0.0);
    // Mean squares, the far ones clipped, over what the fit leaves free; pooled ones in units of all compounds' scatter,
    // so that one that wanders does not speak for the rest.
    let clips = clips(&fit.residuals);
    let squares = |r: &[f64], clip: f64| r.iter().map(|r| r.abs().min(clip).powi(2)).sum::<f64>();
    let usual = clips.iter().copied().fold(f64::INFINITY, f64::min);
    let all: f64 = fit.residuals.iter().map(|r| squares(r, usual)).sum();
    let spread2 = if dof > 0.0 { all / dof } else { 0.0 };
    let (guess, worth) = PRIOR_SCATTER_S;
    let pooled2 = (worth * guess * guess + dof * spread2) / (worth + dof);
    for (i, &c) in order.iter().enumerate() {
        if counts[i] == 0 {
            let e = expected[c];
            learnt[c] = Learnt {
                time_s: 60.0 * e.time_min,
                scatter_s: EXPECTED_SD * 60.0 * e.half_width_min,
                window_s: 60.0 * e.half_width_min,
                runs: 0,
                width_s: None,
            };
            continue;
        }
        // Each residual stands for as many degrees of freedom as all of them do on the mean.
        let own_dof = counts[i] as f64 * dof / total as f64;
        let own2 = if own_dof > 0.0 { squares(&fit.residuals[i], clips[i]) / own_dof } else { 0.0 };
        let width = median(&widths[i]);
        let scatter = ((POOLED_DOF * pooled2 + own_dof * own2) / (POOLED_DOF + own_dof))
            .sqrt()
            .max(LEAST_SCATTER_S)
            .max(LEAST_SCATTER_WIDTHS * width.unwrap_or(0.0));
        let window = (WINDOW_SCATTERS * scatter)
            .max(LEAST_WINDOW_S)
            .max(LEAST_WINDOW_WIDTHS * width.unwrap_or(0.0))
            .min((60.0 * expected[c].half_width_min).max(3.0 * scatter));
        learnt[c] =
            Learnt { time_s: fit.times[i], scatter_s: scatter, window_s: window, runs: counts[i], width_s: width };
    }
}

struct Fit {
    times: Vec<f64>,
    /// Per target, over the runs.
    residuals: Vec<Vec<f64>>,
    /// Each run has a time scale of its own.
    is_scaled: bool,
}

/// Times and offsets by alternating medians: common, falling or as known, with a time scale where runs drift.
fn fit(
    targets: &[Target],
    start: &[f64],
    observed: &[Vec<Option<f64>>],
    known: Option<&[f64]>,
    options: &Naming,
) -> Fit {
    let flat = vec![1.0; targets.len()];
    let base = known.unwrap_or(&flat);
    let common = alternate(start, observed, base, None);
    let size = |f: &Fit| f.residuals.iter().flatten().map(|r| r.abs()).sum::<f64>();
    let enough = |row: &&Vec<Option<f64>>| row.iter().flatten().count() >= BETTER_PEAKS;
    if observed.iter().filter(enough).count() < BETTER_RUNS {
        return common;
    }
    let (from, width) = (start[0], start[start.len() - 1] - start[0]);
    let mut others: Vec<Fit> = Vec::new();
    if known.is_none() && options.offset_may_fall {
        others.extend(
            FALL_SHARES.iter().map(|share| alternate(start, observed, &falling(targets, from, share * width), None)),
        );
    }
    if options.time_scale_limit > 0.0 {
        others.push(alternate(start, observed, base, Some(60.0 * options.stretch_about_min)));
    }
    match others.into_iter().min_by(|a, b| size(a).total_cmp(&size(b))) {
        Some(other) if size(&other) < BETTER * size(&common) => other,
        _ => common,
    }
}

/// One offset per run, and a time scale about `pivot` where one is given.
fn alternate(start: &[f64], observed: &[Vec<Option<f64>>], shape: &[f64], pivot: Option<f64>) -> Fit {
    let mut times = start.to_vec();
    let mut offsets = vec![0.0; observed.len()];
    let mut scales = vec![0.0; observed.len()];
    let is_used = |row: &Vec<Option<f64>>| row.iter().any(Option::is_some);
    let centre = |values: &mut [f64]| {
        let used: Vec<f64> = values.iter().zip(observed).filter(|(_, r)| is_used(r)).map(|(o, _)| *o).collect();
        let middle = median(&used).unwrap_or(0.0);
        values.iter_mut().for_each(|o| *o -= middle);
    };
    for _ in 0..if pivot.is_some() { 20 } else { 8 } {
        if pivot.is_some() {
            for (run, row) in observed.iter().enumerate() {
                scales[run] = slope(row, &times, shape, offsets[run]).unwrap_or(0.0);
            }
            centre(&mut scales);
        }
        let stretch = |run: usize, t: f64| pivot.map_or(0.0, |p| scales[run] * (t - p));
        for (run, row) in observed.iter().enumerate() {
            let points = row.iter().zip(&times).zip(shape).filter_map(|((o, t), g)| {
                let difference = o.as_ref()? - t - stretch(run, *t);
                Some((difference / g, *g))
            });
            offsets[run] = weighted_median(points.filter(|p| p.1 > 0.05).collect()).unwrap_or(0.0);
        }
        centre(&mut offsets);
        for (i, time) in times.iter_mut().enumerate() {
            let at = *time;
            let points: Vec<f64> = observed
                .iter()
                .enumerate()
                .filter_map(|(run, row)| Some(row[i]? - offsets[run] * shape[i] - stretch(run, at)))
                .collect();
            *time = median(&points).unwrap_or(at);
        }
    }
    // From there by least squares without the far ones: medians alone leave times a quarter less certain.
    let mut residuals = residuals_of(observed, &times, &offsets, &scales, shape, pivot);
    let clips = clips(&residuals);
    for _ in 0..20 {
        for (run, row) in observed.iter().enumerate() {
            let (mut a, mut b, mut c, mut p, mut q) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (i, o) in row.iter().enumerate() {
                let Some(o) = o else { continue };
                let (g, tau) = (shape[i], pivot.map_or(0.0, |p| times[i] - p));
                let difference = o - times[i];
                if (difference - offsets[run] * g - scales[run] * tau).abs() <= clips[i] {
                    let w = 1.0 / (clips[i] * clips[i]);
                    a += w * g * g;
                    b += w * g * tau;
                    c += w * tau * tau;
                    p += w * g * difference;
                    q += w * tau * difference;
                }
            }
            let determinant = a * c - b * b;
            if pivot.is_some() && determinant > 1e-9 * a * c {
                (offsets[run], scales[run]) = ((c * p - b * q) / determinant, (a * q - b * p) / determinant);
            } else if a > 0.0 {
                offsets[run] = (p - b * scales[run]) / a;
            }
        }
        centre(&mut offsets);
        centre(&mut scales);
        residuals = residuals_of(observed, &times, &offsets, &scales, shape, pivot);
        for ((time, r), clip) in times.iter_mut().zip(&residuals).zip(&clips) {
            let near: Vec<f64> = r.iter().copied().filter(|r| r.abs() <= *clip).collect();
            *time += mean(&near).unwrap_or(0.0);
        }
    }
    residuals = residuals_of(observed, &times, &offsets, &scales, shape, pivot);
    Fit { times, residuals, is_scaled: pivot.is_some() }
}

/// Beyond this a residual is far: per target from its own robust scatter and that of all, so that a peak that wanders with
/// its amount has its own.
fn clips(residuals: &[Vec<f64>]) -> Vec<f64> {
    let all = robust_sd(&residuals.iter().flatten().copied().collect::<Vec<_>>()).unwrap_or(0.0).max(LEAST_SCATTER_S);
    residuals.iter().map(|r| CLIP * robust_sd(r).unwrap_or(0.0).max(all)).collect()
}

/// Observed less expected times per target, over the runs that show it.
fn residuals_of(
    observed: &[Vec<Option<f64>>],
    times: &[f64],
    offsets: &[f64],
    scales: &[f64],
    shape: &[f64],
    pivot: Option<f64>,
) -> Vec<Vec<f64>> {
    let of = |i: usize| {
        let one = |(run, row): (usize, &Vec<Option<f64>>)| {
            let stretch = pivot.map_or(0.0, |p| scales[run] * (times[i] - p));
            Some(row[i]? - offsets[run] * shape[i] - stretch - times[i])
        };
        observed.iter().enumerate().filter_map(one).collect()
    };
    (0..times.len()).map(of).collect()
}

/// Robust slope of observed less expected times, after P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389: the median
/// over all pairs, weighted with their distance, the present offset taken out.
fn slope(row: &[Option<f64>], times: &[f64], shape: &[f64], offset: f64) -> Option<f64> {
    let points: Vec<(f64, f64)> =
        row.iter().zip(times).zip(shape).filter_map(|((o, t), g)| Some((*t, o.as_ref()? - t - offset * g))).collect();
    if points.len() < BETTER_PEAKS {
        return None;
    }
    let mut pairs = Vec::with_capacity(points.len() * points.len() / 2);
    for (k, a) in points.iter().enumerate() {
        for b in &points[k + 1..] {
            let apart = (b.0 - a.0).abs();
            if apart > 0.0 {
                pairs.push(((b.1 - a.1) / (b.0 - a.0), apart));
            }
        }
    }
    weighted_median(pairs)
}

/// The value at which half of the weight is reached; between two where it is reached exactly.
fn weighted_median(mut points: Vec<(f64, f64)>) -> Option<f64> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * points.iter().map(|p| p.1).sum::<f64>();
    let mut sum = 0.0;
    for (k, &(value, weight)) in points.iter().enumerate() {
        sum += weight;
        if sum > half * (1.0 + 1e-12) {
            return Some(value);
        }
        if sum >= half * (1.0 - 1e-12) {
            return Some(points.get(k + 1).map_or(value, |next| 0.5 * (value + next.0)));
        }
    }
    None
}

/// 1.4826 times the median absolute value: the standard deviation of normal residuals.
fn robust_sd(residuals: &[f64]) -> Option<f64> {
    median(&residuals.iter().map(|r| r.abs()).collect::<Vec<_>>()).map(|m| 1.4826 * m)
}
