//! A signal in blocks: few nodes stand for many points, so that a slow line costs little and is well conditioned.

use super::straight_line;

/// The middle of each block, in points, and its level.
pub(super) struct Blocks {
    pub(super) centre: Vec<f64>,
    pub(super) level: Vec<f64>,
    /// Points in a block; the last may hold fewer.
    pub(super) size: usize,
}

impl Blocks {
    /// Means: for methods that weigh residuals.
    pub(super) fn means(signal: &[f64], size: usize) -> Self {
        Self::new(signal, size, |part| part.iter().sum::<f64>() / part.len() as f64)
    }

    /// Medians: for methods that take what is lowest.
    pub(super) fn medians(signal: &[f64], size: usize) -> Self {
        let mut buffer = Vec::with_capacity(size);
        Self::new(signal, size, move |part| {
            buffer.clear();
            buffer.extend_from_slice(part);
            let middle = part.len() / 2;
            *buffer.select_nth_unstable_by(middle, f64::total_cmp).1
        })
    }

    fn new(signal: &[f64], size: usize, level: impl FnMut(&[f64]) -> f64) -> Self {
        let size = size.max(1);
        let centre = signal.chunks(size).enumerate().map(|(k, part)| (k * size) as f64 + 0.5 * (part.len() - 1) as f64);
        Blocks { centre: centre.collect(), level: signal.chunks(size).map(level).collect(), size }
    }

    /// The line through nodes at the blocks' middles, at each of `n` points; beyond the outermost middles it goes on
    /// straight.
    pub(super) fn to_points(&self, nodes: &[f64], n: usize) -> Vec<f64> {
        if self.size == 1 {
            return nodes.to_vec();
        }
        let mut k = 0;
        (0..n)
            .map(|i| {
                let x = i as f64;
                while k + 2 < nodes.len() && self.centre[k + 1] < x {
                    k += 1;
                }
                match nodes.get(k + 1) {
                    Some(&to) => straight_line((self.centre[k], nodes[k]), (self.centre[k + 1], to), x),
                    None => nodes[k],
                }
            })
            .collect()
    }
}

/// Straight lines between rising nodes (place, level), level beyond the outermost two, at rising places.
pub(super) fn interpolate(nodes: &[(f64, f64)], at: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut k = 0;
    at.map(|x| {
        while k + 2 < nodes.len() && nodes[k + 1].0 < x {
            k += 1;
        }
        match nodes.get(k + 1) {
            Some(to) if x >= nodes[k].0 && x <= to.0 => straight_line(nodes[k], *to, x),
            Some(to) if x > to.0 => to.1,
            _ => nodes[k].1,
        }
    })
    .collect()
}

/// Blocks that lie at most `near` above a line along the lower edge keep their own levels, averaged with as many
/// neighbours of their kind on either side, up to two (a mean across a peak would cut corners); the line itself where
/// there are fewer than three of them.
pub(super) fn middle_of_the_noise(blocks: &Blocks, level: &[f64], lower: Vec<f64>, near: f64) -> Vec<(f64, f64)> {
    let count = level.len();
    let is_kept = |i: usize| level[i] - lower[i] <= near;
    let kept: Vec<usize> = (0..count).filter(|&i| is_kept(i)).collect();
    if kept.len() < 3 {
        return blocks.centre.iter().copied().zip(lower).collect();
    }
    kept.iter()
        .map(|&i| {
            let reach = (0..=2).rev().find(|&r| i >= r && i + r < count && (i - r..=i + r).all(is_kept)).unwrap_or(0);
            let mean = level[i - reach..=i + reach].iter().sum::<f64>() / (2 * reach + 1) as f64;
            (blocks.centre[i], mean)
        })
        .collect()
}
