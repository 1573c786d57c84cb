//! Standards → reference times.

use crate::identify::align::{FALL_SHARES, Seen, Target, align, falling};
use crate::identify::{ExpectedTime, ReferenceTime, apexes};
use crate::numeric::median;
use crate::peaks::PeakList;

/// Least scatter, in seconds: a few runs that agree by chance do not make a clock (our choice).
const LEAST_SCATTER_S: f64 = 0.2;
/// Least scatter in shares of the width at half height: apexes move that far with the amount (our choice).
const LEAST_SCATTER_WIDTHS: f64 = 0.05;
/// Scatter before any run was seen, in seconds, and how many degrees of freedom that guess is worth (our choice).
const PRIOR_SCATTER_S: (f64, f64) = (0.4, 3.0);
/// Degrees of freedom by which a compound's scatter leans on that of all compounds (our choice).
const POOLED_DOF: f64 = 4.0;
/// Half a window is this many scatters (our choice: beyond it Student's t leaves next to nothing) …
const WINDOW_SCATTERS: f64 = 6.0;
/// … and at least this long, in seconds, or this share of the width at half height.
const LEAST_WINDOW_S: f64 = 1.5;
const LEAST_WINDOW_WIDTHS: f64 = 0.5;
/// Start offset of a standard, either way, in seconds.
const OFFSET_LIMIT_S: f64 = 6.0;
/// Standard deviation by which true and expected times are taken to differ, in half widths.
const EXPECTED_SD: f64 = 0.5;

/// Reference times from standards, in the order of their times: one per compound of `expected`.
///
/// Each standard has a start offset of its own. In turns, the offsets are estimated from all peaks that a standard
/// shares with the present times, peaks are paired with compounds (one to one, in order, over all of a run at
/// once, as in [`PeakList::identify`]), and times become medians over the standards with offsets removed. Where at
/// least 3 standards and 4 compounds show that offsets fall with retention (residuals smaller by a quarter), they
/// are removed as A exp(-(t - t₁)/τ). Offsets have median 0: times are those of the middle standard.
///
/// Scatter is 1.4826 times the median absolute residual, corrected for the medians taken, pooled over compounds
/// and given back to each as it has runs; never below 0.2 s or 5 % of the width at half height. The window's half
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
        learn(standards, &runs, &expected, &mut learnt, pass);
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
    pass: usize,
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
    for ((indices, seen), list) in runs.iter().zip(standards) {
        let found = align(&targets, seen, OFFSET_LIMIT_S, pass > 0);
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
    let fit = fit(&targets, &start, &observed);
    let counts: Vec<usize> = (0..targets.len()).map(|i| observed.iter().filter(|r| r[i].is_some()).count()).collect();
    let (total, shown) = (counts.iter().sum::<usize>(), counts.iter().filter(|&&c| c > 0).count());
    let used = observed.iter().filter(|r| r.iter().any(Option::is_some)).count();
    // One median per compound and one offset per run, less the constant that both share.
    let dof = (total as f64 + 1.0 - shown as f64 - used as f64).max(0.0);
    let all: Vec<f64> = fit.residuals.iter().flatten().copied().collect();
    let raw = robust_sd(&all).unwrap_or(0.0);
    let spread2 = if dof > 0.0 { raw * raw * total as f64 / dof } else { 0.0 };
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
        let own_dof = counts[i] as f64 - 1.0;
        let own = robust_sd(&fit.residuals[i]).unwrap_or(0.0);
        let own2 = if own_dof > 0.0 { own * own * counts[i] as f64 / own_dof } else { 0.0 };
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
}

/// Times and offsets by alternating medians, common or falling.
fn fit(targets: &[Target], start: &[f64], observed: &[Vec<Option<f64>>]) -> Fit {
    let common = alternate(start, observed, &vec![1.0; targets.len()]);
    let size = |f: &Fit| f.residuals.iter().flatten().map(|r| r.abs()).sum::<f64>();
    let enough = |row: &&Vec<Option<f64>>| row.iter().flatten().count() >= 4;
    if observed.iter().filter(enough).count() < 3 {
        return common;
    }
    let (from, width) = (start[0], start[start.len() - 1] - start[0]);
    let mut best: Option<Fit> = None;
    for share in FALL_SHARES {
        let fall = alternate(start, observed, &falling(targets, from, share * width));
        if best.as_ref().is_none_or(|b| size(&fall) < size(b)) {
            best = Some(fall);
        }
    }
    match best {
        Some(fall) if size(&fall) < 0.75 * size(&common) => fall,
        _ => common,
    }
}

fn alternate(start: &[f64], observed: &[Vec<Option<f64>>], shape: &[f64]) -> Fit {
    let mut times = start.to_vec();
    let mut offsets = vec![0.0; observed.len()];
    for _ in 0..8 {
        for (offset, row) in offsets.iter_mut().zip(observed) {
            let points = row.iter().zip(&times).zip(shape).filter_map(|((o, t), g)| Some(((o.as_ref()? - t) / g, *g)));
            *offset = weighted_median(points.filter(|p| p.1 > 0.05).collect()).unwrap_or(0.0);
        }
        let used: Vec<f64> =
            offsets.iter().zip(observed).filter(|(_, r)| r.iter().any(Option::is_some)).map(|(o, _)| *o).collect();
        let middle = median(&used).unwrap_or(0.0);
        offsets.iter_mut().for_each(|o| *o -= middle);
        for (i, time) in times.iter_mut().enumerate() {
            let points: Vec<f64> =
                observed.iter().zip(&offsets).filter_map(|(row, d)| Some(row[i]? - d * shape[i])).collect();
            *time = median(&points).unwrap_or(*time);
        }
    }
    let residuals = (0..times.len())
        .map(|i| observed.iter().zip(&offsets).filter_map(|(row, d)| Some(row[i]? - d * shape[i] - times[i])).collect())
        .collect();
    Fit { times, residuals }
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
