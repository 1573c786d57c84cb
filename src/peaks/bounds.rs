//! Where a peak starts and ends, and which peaks share a baseline.

use std::ops::Range;

use crate::peaks::detect::Apex;
use crate::peaks::measures::reach_for;
use crate::peaks::sums::{BoxNoise, Sums};
use crate::peaks::{Integration, Overlap};
use crate::signal::NoiseProfile;

/// The bounds of one peak as indices of points, and the points that carry its baseline.
#[derive(Clone, Debug)]
pub(super) struct Bounds {
    pub(super) apex: usize,
    /// Width at half height, roughly, in points.
    pub(super) width: f64,
    pub(super) start: usize,
    pub(super) end: usize,
    /// Points whose mean is the baseline's level before and after the peak (or the group of peaks).
    pub(super) before: Range<usize>,
    pub(super) after: Range<usize>,
    pub(super) method: Integration,
    /// The trace begins or ends inside the peak.
    pub(super) cut: bool,
}

/// A walk goes on while the bend of the tail exceeds this many standard deviations.
const BEND_Z: f64 = 2.0;
/// Steps (eighths of the width) without a bend that end a walk.
const CALM: usize = 3;
/// Half-height widths added where the bend is lost in the noise.
const MARGIN: f64 = 1.5;

/// Bounds of all peaks, in order.
///
/// From its inflection a peak's tail bends upwards (is convex) until it has run into the baseline, whatever the
/// baseline's slope: m(i) - 2 m(i + w) + m(i + 2w) > 0, m the mean of w/3 points, w the width at half height. The
/// walk outwards goes on while that exceeds 2 standard deviations (or, at a shoulder, falls below -2), and `MARGIN`
/// widths are added. Neighbours
/// whose walks leave less than a width and a half between them share the valley point, and one straight baseline
/// below the group; where it would cut into a valley, each takes a baseline of its own.
pub(super) fn bounds(
    sums: &Sums,
    noise: &NoiseProfile,
    apexes: &[Apex],
    baseline_points: Option<usize>,
    is_flattened: bool,
    overlap: Overlap,
) -> Vec<Bounds> {
    let n = sums.len();
    let walks: Vec<Walk> = (0..apexes.len())
        .map(|k| {
            // As far as the neighbour's inflection: the valley's lowest point means nothing where it is flat.
            let near = |other: &Apex| (0.75 * other.width).ceil() as usize;
            let from = if k == 0 { 0 } else { apexes[k - 1].index + near(&apexes[k - 1]) };
            let to = apexes.get(k + 1).map_or(n - 1, |next| next.index.saturating_sub(near(next)));
            let (from, to) = (from.min(apexes[k].index), to.max(apexes[k].index));
            Walk { left: walk(sums, noise, apexes[k], from, -1), right: walk(sums, noise, apexes[k], to, 1) }
        })
        .collect();
    let mut groups = Vec::new();
    let mut first = 0;
    for k in 0..apexes.len() {
        let joined = k + 1 < apexes.len() && {
            let (a, b) = (walks[k].right, walks[k + 1].left);
            let between = b.index.saturating_sub(a.index) as f64;
            a.reached
                || b.reached
                || between < MARGIN * 0.5 * (apexes[k].width + apexes[k + 1].width)
                || (is_flattened && stays_above(sums, noise, &apexes[k], &apexes[k + 1]))
        };
        if !joined {
            groups.push(first..k + 1);
            first = k + 1;
        }
    }
    let mut all = Vec::with_capacity(apexes.len());
    for (g, group) in groups.iter().enumerate() {
        // Room on either side: up to halfway into the quiet stretch before the next group.
        let from = if g == 0 {
            None
        } else {
            let (a, b) = (walks[group.start - 1].right.index, walks[group.start].left.index);
            Some(share(a, b, apexes[group.start - 1].width, apexes[group.start].width))
        };
        let to = groups.get(g + 1).map(|next| {
            let (a, b) = (walks[group.end - 1].right.index, walks[next.start].left.index);
            share(a, b, apexes[group.end - 1].width, apexes[next.start].width)
        });
        let (head, tail) = (&apexes[group.start], &apexes[group.end - 1]);
        let left = outer(sums, &walks[group.start].left, head, from, -1, baseline_points);
        let right = outer(sums, &walks[group.end - 1].right, tail, to, 1, baseline_points);
        let (left, right) = cut_ends(sums, noise, left, right, head, tail);
        let apexes = &apexes[group.clone()];
        let valleys: Vec<usize> = apexes.windows(2).map(|w| valley(sums, noise, w[0], w[1])).collect();
        let flat = if is_flattened { Outer::flat } else { std::convert::identity };
        let rule = Rule { is_flattened, always: overlap == Overlap::ValleyToValley };
        split(sums, noise, apexes, &valleys, flat(left), flat(right), rule, &mut all);
    }
    all
}

/// Whether the signal, its baseline taken off, stands above zero all the way from one apex to the next.
fn stays_above(sums: &Sums, noise: &NoiseProfile, a: &Apex, b: &Apex) -> bool {
    let reach = (a.width.min(b.width) / 8.0) as usize;
    let sd = BoxNoise::new(2 * reach + 1, noise.autocorrelation).mean * noise.sd_at(a.index);
    let lower = sums.about(a.index, reach).min(sums.about(b.index, reach));
    let bar = (4.0 * sd).max(0.02 * lower);
    (a.index..=b.index).all(|i| sums.about(i, reach) > bar)
}

#[derive(Clone, Copy, Debug)]
struct Step {
    /// Where the bend is lost in the noise.
    index: usize,
    /// The walk ran into the valley, or the end of the trace.
    reached: bool,
}

struct Walk {
    left: Step,
    right: Step,
}

/// An outer bound, the points that carry the baseline there, and whether the trace ends inside the peak.
#[derive(Clone, Debug)]
struct Outer {
    bound: usize,
    level: Range<usize>,
    cut: bool,
}

fn valley(sums: &Sums, noise: &NoiseProfile, a: Apex, b: Apex) -> usize {
    // The lowest point of an average lies off the valley's own where it is lopsided: average no more than needed.
    let height_over_sd = a.height.min(b.height) / noise.sd_at(a.index);
    let reach = (reach_for(height_over_sd) * a.width.min(b.width) / 8.0) as usize;
    (a.index..=b.index).min_by(|&i, &j| sums.about(i, reach).total_cmp(&sums.about(j, reach))).unwrap_or(a.index)
}

impl Outer {
    /// Without an end of the trace inside the peak: the level is known there all the same.
    fn flat(self) -> Self {
        Outer { cut: false, ..self }
    }
}

/// Outwards from the apex in direction ±1, at most to `limit`.
fn walk(sums: &Sums, noise: &NoiseProfile, apex: Apex, limit: usize, direction: isize) -> Step {
    let spacing = (apex.width.round() as usize).max(2);
    let reach = spacing / 6; // boxes of a third of the width
    let stride = (spacing / 8).max(1);
    let least =
        BEND_Z * 6_f64.sqrt() * BoxNoise::new(2 * reach + 1, noise.autocorrelation).mean * noise.sd_at(apex.index);
    let go = |from: usize, by: usize| -> usize {
        if direction > 0 { (from + by).min(limit) } else { from.saturating_sub(by).max(limit) }
    };
    let mut at = go(apex.index, (0.75 * apex.width).ceil() as usize);
    let (mut calm, mut calm_from) = (0, at);
    loop {
        let room = at.abs_diff(limit);
        // Near the limit the three boxes move closer together.
        let gap = spacing.min(room / 2);
        if gap == 0 {
            return Step { index: limit, reached: true };
        }
        let bend = sums.about(at, reach) - 2.0 * sums.about(go(at, gap), reach) + sums.about(go(at, 2 * gap), reach);
        // A bend the other way is a shoulder: the baseline lies beyond it. Between the two it passes through none.
        if bend.abs() > least {
            calm = 0;
        } else {
            if calm == 0 {
                calm_from = at;
            }
            calm += 1;
            if calm == CALM {
                return Step { index: calm_from, reached: gap < spacing / 2 };
            }
        }
        at = go(at, stride);
    }
}

/// A place between two walks' ends, in proportion to the widths.
fn share(a: usize, b: usize, width_a: f64, width_b: f64) -> usize {
    a + ((b.saturating_sub(a)) as f64 * width_a / (width_a + width_b)).round() as usize
}

fn outer(
    sums: &Sums,
    step: &Step,
    apex: &Apex,
    limit: Option<usize>,
    direction: isize,
    baseline_points: Option<usize>,
) -> Outer {
    let n = sums.len();
    let margin = (MARGIN * apex.width).ceil() as usize;
    let points = baseline_points.unwrap_or((apex.width.round() as usize).max(3)).clamp(1, (n / 4).max(1));
    let half = points / 2;
    if direction > 0 {
        let bound = (step.index + margin).min(limit.unwrap_or(n - 1));
        // Beyond the bound where there is room, about it where a neighbour is near.
        let end = (bound + points).min(n).min(limit.map_or(n, |l| (l + half + 1).max(bound + 1)));
        let start = end.saturating_sub(points).max((step.index + half.min(margin / 2)).min(bound));
        Outer { bound, level: start.min(end - 1)..end, cut: false }
    } else {
        let bound = step.index.saturating_sub(margin).max(limit.unwrap_or(0));
        let start = (bound + 1).saturating_sub(points).max(limit.map_or(0, |l| l.saturating_sub(half).min(bound)));
        let end = (start + points).min(step.index.saturating_sub(half.min(margin / 2)).max(bound) + 1).min(n);
        Outer { bound, level: start..end.max(start + 1), cut: false }
    }
}

/// Where the trace begins or ends inside a peak, its level there is no baseline: the other side's level goes on.
fn cut_ends(
    sums: &Sums,
    noise: &NoiseProfile,
    mut left: Outer,
    mut right: Outer,
    head: &Apex,
    tail: &Apex,
) -> (Outer, Outer) {
    let (from, to) = (level(sums, &left).1, level(sums, &right).1);
    let clear = |rise: f64, apex: &Apex, points: usize| {
        let sd = noise.sd_at(apex.index) * BoxNoise::new(points, noise.autocorrelation).mean;
        rise > 5.0 * sd && rise > 0.05 * (sums.about(apex.index, 0) - from.min(to))
    };
    if right.bound + 1 == sums.len() && clear(to - from, tail, right.level.len()) {
        right = Outer { level: left.level.clone(), cut: true, ..right };
    } else if left.bound == 0 && clear(from - to, head, left.level.len()) {
        left = Outer { level: right.level.clone(), cut: true, ..left };
    }
    (left, right)
}

/// When a group is parted into peaks with baselines of their own.
#[derive(Clone, Copy, Debug)]
struct Rule {
    /// The baseline was taken off before.
    is_flattened: bool,
    /// At every valley.
    always: bool,
}

/// One straight baseline below a group; where it cuts into a valley, the group is parted there (unless the baseline was
/// taken off before).
#[allow(clippy::too_many_arguments)]
fn split(
    sums: &Sums,
    noise: &NoiseProfile,
    apexes: &[Apex],
    valleys: &[usize],
    left: Outer,
    right: Outer,
    rule: Rule,
    all: &mut Vec<Bounds>,
) {
    let (from, to) = (level(sums, &left), level(sums, &right));
    let line = |i: usize| from.1 + (to.1 - from.1) * (i as f64 - from.0) / (to.0 - from.0);
    let below = valleys
        .iter()
        .enumerate()
        .map(|(k, &v)| {
            let reach = (apexes[k].width.min(apexes[k + 1].width) / 8.0) as usize;
            let sd = BoxNoise::new(2 * reach + 1, noise.autocorrelation).mean * noise.sd_at(v);
            (k, (sums.about(v, reach) - line(v)) / sd)
        })
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((k, z)) = below
        && (rule.always || z < -4.0 && !rule.is_flattened)
    {
        let v = valleys[k];
        let reach = (apexes[k].width.min(apexes[k + 1].width) / 6.0) as usize;
        let middle = Outer { bound: v, level: v.saturating_sub(reach)..(v + reach + 1).min(sums.len()), cut: false };
        let before = all.len();
        split(sums, noise, &apexes[..=k], &valleys[..k], left, middle.clone(), rule, all);
        let parted = all.len();
        split(sums, noise, &apexes[k + 1..], &valleys[k + 1..], middle, right, rule, all);
        for bounds in [parted - 1, parted].map(|i| i.max(before)) {
            if all[bounds].method == Integration::BaselineToBaseline {
                all[bounds].method = Integration::ValleyToValley;
            }
        }
        return;
    }
    for (k, apex) in apexes.iter().enumerate() {
        let alone = apexes.len() == 1;
        all.push(Bounds {
            apex: apex.index,
            width: apex.width,
            start: if k == 0 { left.bound } else { valleys[k - 1] },
            end: valleys.get(k).copied().unwrap_or(right.bound),
            before: left.level.clone(),
            after: right.level.clone(),
            method: if alone { Integration::BaselineToBaseline } else { Integration::PerpendicularDrop },
            cut: (k == 0 && left.cut) || (k + 1 == apexes.len() && right.cut),
        });
    }
}

fn level(sums: &Sums, outer: &Outer) -> (f64, f64) {
    let Range { start, end } = outer.level;
    (0.5 * (start + end - 1) as f64, sums.mean(start, end))
}
