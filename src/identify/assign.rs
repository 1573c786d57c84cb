//! Which reference is which peak: one to one, in order, all at once.

/// A reference and a peak that may belong together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    pub(super) reference: usize,
    pub(super) peak: usize,
    /// How much likelier the peak's time is if it is the compound than if it is an unrelated peak, times the
    /// probability that the compound is there.
    pub(super) likelihood: f64,
}

/// The best assignment, and how probable each part of it is.
#[derive(Clone, Debug)]
pub(super) struct Assignment {
    /// For each reference its peak.
    pub(super) chosen: Vec<Option<usize>>,
    /// For each reference the probability of that choice ("none" included).
    pub(super) probability: Vec<f64>,
}

/// Assigns `references` to `peaks`, both in order of time, so that the order is kept.
///
/// The best assignment and the sum over all assignments are found by dynamic programming over (reference, peak): the
/// weight of an assignment is the product of its likelihoods and of `missing` for each reference without a peak.
/// Cost: references × peaks.
pub(super) fn assign(references: usize, peaks: usize, candidates: &[Candidate], missing: f64) -> Assignment {
    let mut likelihood = vec![vec![0.0; peaks]; references];
    for c in candidates {
        likelihood[c.reference][c.peak] = c.likelihood;
    }
    let chosen = best(&likelihood, peaks, missing);
    let probability = probabilities(&likelihood, peaks, missing, &chosen);
    Assignment { chosen, probability }
}

/// The assignment with the largest weight.
fn best(likelihood: &[Vec<f64>], peaks: usize, missing: f64) -> Vec<Option<usize>> {
    let n = likelihood.len();
    // score[i][j]: best logarithm for the first i references among the first j peaks.
    let mut score = vec![vec![0.0; peaks + 1]; n + 1];
    for i in 1..=n {
        for j in 0..=peaks {
            let mut here = score[i - 1][j] + libm::log(missing);
            if j > 0 {
                here = here.max(score[i][j - 1]);
                let l = likelihood[i - 1][j - 1];
                if l > 0.0 {
                    here = here.max(score[i - 1][j - 1] + libm::log(l));
                }
            }
            score[i][j] = here;
        }
    }
    let mut chosen = vec![None; n];
    let (mut i, mut j) = (n, peaks);
    while i > 0 {
        if j > 0 && score[i][j] == score[i][j - 1] {
            j -= 1;
        } else if score[i][j] == score[i - 1][j] + libm::log(missing) {
            i -= 1;
        } else {
            (i, j) = (i - 1, j - 1);
            chosen[i] = Some(j);
        }
    }
    chosen
}

/// Probability of each choice among all assignments.
fn probabilities(likelihood: &[Vec<f64>], peaks: usize, missing: f64, chosen: &[Option<usize>]) -> Vec<f64> {
    let n = likelihood.len();
    // forward[i][j]: sum over assignments of the first i references to the first j peaks; backward[i][j]: of the
    // references from i on to the peaks from j on. Each row is scaled, which cancels below.
    let mut forward = vec![vec![1.0; peaks + 1]; n + 1];
    for i in 1..=n {
        let mut matched = 0.0;
        for j in 0..=peaks {
            if j > 0 {
                matched += forward[i - 1][j - 1] * likelihood[i - 1][j - 1];
            }
            forward[i][j] = missing * forward[i - 1][j] + matched;
        }
        scale(&mut forward[i], peaks);
    }
    let mut backward = vec![vec![1.0; peaks + 1]; n + 1];
    for i in (0..n).rev() {
        let mut matched = 0.0;
        for j in (0..=peaks).rev() {
            if j < peaks {
                matched += likelihood[i][j] * backward[i + 1][j + 1];
            }
            backward[i][j] = missing * backward[i + 1][j] + matched;
        }
        scale(&mut backward[i], 0);
    }
    (0..n)
        .map(|i| {
            let with = |k: usize| forward[i][k] * likelihood[i][k] * backward[i + 1][k + 1];
            // Without a peak: by the last peak that the references before it took.
            let without: f64 = (0..=peaks)
                .map(|j| {
                    let last = if j == 0 { forward[i][0] } else { forward[i][j] - forward[i][j - 1] };
                    missing * last.max(0.0) * backward[i + 1][j]
                })
                .sum();
            let total = without + (0..peaks).map(with).sum::<f64>();
            let this = chosen[i].map_or(without, with);
            if total > 0.0 { this / total } else { 0.0 }
        })
        .collect()
}

/// Divides a row by its largest entry, which is the one at `at`.
fn scale(row: &mut [f64], at: usize) {
    let largest = row[at];
    if largest > 0.0 && largest.is_finite() {
        row.iter_mut().for_each(|x| *x /= largest);
    }
}

#[cfg(test)]
mod tests {
    use super::{Candidate, assign};

    /// Against every order-preserving assignment of 3 references to 4 peaks, written out.
    #[test]
    fn sums_agree_with_all_assignments_written_out() {
        let table = [[2.0, 0.5, 0.0, 0.1], [0.3, 4.0, 3.0, 0.2], [0.0, 0.6, 5.0, 1.5]];
        let candidates: Vec<Candidate> = (0..3)
            .flat_map(|i| (0..4).map(move |k| Candidate { reference: i, peak: k, likelihood: table[i][k] }))
            .collect();
        let missing = 0.2;
        let mut all = Vec::new();
        for code in 0..125_usize {
            let picks = [code % 5, code / 5 % 5, code / 25];
            let taken: Vec<usize> = picks.iter().copied().filter(|&p| p < 4).collect();
            if taken.windows(2).all(|w| w[0] < w[1]) {
                let weight: f64 = (0..3).map(|i| if picks[i] < 4 { table[i][picks[i]] } else { missing }).product();
                all.push((picks, weight));
            }
        }
        let total: f64 = all.iter().map(|a| a.1).sum();
        let (top, _) = all.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)).expect("some");
        let got = assign(3, 4, &candidates, missing);
        for (i, &pick) in top.iter().enumerate() {
            assert_eq!(got.chosen[i], (pick < 4).then_some(pick));
            let same: f64 = all.iter().filter(|a| a.0[i] == pick).map(|a| a.1).sum();
            assert!((got.probability[i] - same / total).abs() < 1e-12, "{i}: {}", got.probability[i]);
        }
    }
}
