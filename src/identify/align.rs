//! One run against a list of times: start offset, and the probability of each pair of compound and peak.

use crate::identify::lattice::{Lattice, Rates};
use crate::numeric::ln_gamma;

/// A falling offset is looked for with these decay times, in shares of the span of the references.
pub(super) const FALL_SHARES: [f64; 6] = [0.17, 0.24, 0.34, 0.48, 0.68, 1.0];
/// Log odds held against an offset that falls with retention: one more parameter, six shapes tried.
const FALL_PENALTY: f64 = 4.0;
/// An offset falls only where this many peaks say so.
const FALL_LEAST_PEAKS: f64 = 4.0;
/// Offsets whose log evidence lies this far below the best are dropped.
const MODE_DROP: f64 = 12.0;
/// Offsets kept beside each other.
const MODES: usize = 5;

/// Where a compound is awaited, in seconds, and how far it scatters.
pub(super) struct Target {
    pub(super) time_s: f64,
    pub(super) scatter_s: f64,
    pub(super) window_s: f64,
    /// (ν + 1)/2 of the Student t density: the scatter is itself estimated.
    half_power: u32,
    norm: f64,
}

impl Target {
    /// `runs` is the number of runs behind the scatter; ν goes from 7 to 27 with it.
    pub(super) fn new(time_s: f64, scatter_s: f64, window_s: f64, runs: usize) -> Self {
        let half_power = 4 + (runs.min(20) / 2) as u32;
        let nu = 2.0 * f64::from(half_power) - 1.0;
        let norm = libm::exp(ln_gamma(f64::from(half_power)) - ln_gamma(0.5 * nu)) / (nu * std::f64::consts::PI).sqrt();
        Target { time_s, scatter_s, window_s, half_power, norm }
    }

    /// Density per second of a residual; none outside the window.
    fn density(&self, residual_s: f64, extra_variance: f64) -> f64 {
        if residual_s.abs() > self.window_s {
            return 0.0;
        }
        let variance = self.scatter_s * self.scatter_s + extra_variance;
        let nu = 2.0 * f64::from(self.half_power) - 1.0;
        let base = 1.0 + residual_s * residual_s / (variance * nu);
        let power = (1..self.half_power).fold(base, |product, _| product * base);
        self.norm / (variance.sqrt() * power)
    }
}

/// Apex of a peak.
#[derive(Clone, Copy)]
pub(super) struct Seen {
    pub(super) time_s: f64,
    pub(super) u_s: f64,
}

/// What one run says.
pub(super) struct Alignment {
    /// Start offset at the first target.
    pub(super) offset_s: f64,
    /// Its standard uncertainty.
    pub(super) offset_u_s: f64,
    /// Decay time where the offset falls with retention.
    pub(super) fall_s: Option<f64>,
    /// Shift of each target.
    pub(super) shifts_s: Vec<f64>,
    /// Number of peaks, in probability, that the offset rests on.
    pub(super) shared: f64,
    /// Per target: peaks and their probabilities, most probable first.
    pub(super) candidates: Vec<Vec<(usize, f64)>>,
}

struct Mode {
    fall_s: Option<f64>,
    shape: Vec<f64>,
    offset_s: f64,
    u_s: f64,
    ln_evidence: f64,
    shared: f64,
    /// Σ P z² of the pairs.
    misfit: f64,
}

/// Aligns peaks, in the order of their times, with targets in the order of theirs.
pub(super) fn align(targets: &[Target], seen: &[Seen], limit_s: f64, may_fall: bool) -> Alignment {
    let (m, n) = (targets.len(), seen.len());
    let flat = vec![1.0; m];
    let mut lattice = Lattice::default();
    if m == 0 || n == 0 {
        return Alignment {
            offset_s: 0.0,
            offset_u_s: 0.0,
            fall_s: None,
            shifts_s: vec![0.0; m],
            shared: 0.0,
            candidates: vec![Vec::new(); m],
        };
    }
    let first = targets[0].time_s.min(seen[0].time_s);
    let last = targets[m - 1].time_s.max(seen[n - 1].time_s);
    let span = (last - first).max(60.0);
    let rates = |shared: f64| Rates {
        // One pair is left out: it must not speak for itself.
        present: (shared.max(1.0) / (m as f64 + 1.0)).min(0.99),
        extra_per_s: (n as f64 - shared + 1.0).max(1.0) / span,
    };
    let mut problem = Problem { targets, seen, limit_s, rates: rates(0.8 * m.min(n) as f64), lattice: &mut lattice };
    let mut modes = problem.search(None, &flat);
    problem.refine_all(&mut modes);
    if may_fall && limit_s > 0.0 && m >= FALL_LEAST_PEAKS as usize {
        let asks = modes.first().is_none_or(|best| problem.asks_for_more(best));
        if asks {
            let (from, width) = (targets[0].time_s, targets[m - 1].time_s - targets[0].time_s);
            let mut fallen = Vec::new();
            for share in FALL_SHARES {
                let fall = share * width;
                fallen.append(&mut problem.search(Some(fall), &falling(targets, from, fall)));
            }
            trim(&mut fallen);
            problem.refine_all(&mut fallen);
            modes.extend(
                fallen
                    .into_iter()
                    .filter(|mode| mode.shared >= FALL_LEAST_PEAKS)
                    .map(|mode| Mode { ln_evidence: mode.ln_evidence - FALL_PENALTY, ..mode }),
            );
            trim(&mut modes);
        }
    }
    // Shares of missing compounds and extra peaks as this run shows them.
    problem.rates = rates(modes.first().map_or(0.0, |best| best.shared));
    for mode in &mut modes {
        problem.refine(mode);
        if mode.fall_s.is_some() {
            mode.ln_evidence -= FALL_PENALTY;
        }
    }
    trim(&mut modes);
    problem.weigh(&modes)
}

/// exp(-(t - from)/fall) at each target: the late thumb under a ramp, see [`crate::identify`].
pub(super) fn falling(targets: &[Target], from_s: f64, fall_s: f64) -> Vec<f64> {
    targets.iter().map(|t| libm::exp(-(t.time_s - from_s).max(0.0) / fall_s.max(1e-9))).collect()
}

struct Problem<'a> {
    targets: &'a [Target],
    seen: &'a [Seen],
    limit_s: f64,
    rates: Rates,
    lattice: &'a mut Lattice,
}

impl Problem<'_> {
    /// The offsets that explain the run best, best first, not yet refined. Candidates are the differences of
    /// peaks and targets.
    fn search(&mut self, fall_s: Option<f64>, shape: &[f64]) -> Vec<Mode> {
        let mode = |offset_s: f64| Mode {
            fall_s,
            shape: shape.to_vec(),
            offset_s,
            u_s: 0.0,
            ln_evidence: 0.0,
            shared: 0.0,
            misfit: 0.0,
        };
        let mut offsets = Vec::new();
        if self.limit_s > 0.0 {
            for (target, &g) in self.targets.iter().zip(shape) {
                // Where little of the offset is left, a difference says nothing about it.
                if g < 0.3 {
                    continue;
                }
                let reach = self.limit_s * g;
                let from = self.seen.partition_point(|s| s.time_s < target.time_s - reach);
                let inside = self.seen[from..].iter().take_while(|s| s.time_s <= target.time_s + reach);
                offsets.extend(inside.map(|s| (s.time_s - target.time_s) / g));
            }
            offsets.sort_by(f64::total_cmp);
            let least = self.targets.iter().map(|t| t.scatter_s).fold(f64::INFINITY, f64::min);
            offsets = clusters(&offsets, least.max(0.05));
        } else {
            offsets.push(0.0);
        }
        let mut modes: Vec<Mode> = Vec::new();
        for offset in offsets {
            let mut m = mode(offset);
            self.fill(&m.shape, m.offset_s, 0.0);
            m.ln_evidence = self.lattice.forward() + self.ln_prior(m.offset_s);
            modes.push(m);
        }
        trim(&mut modes);
        modes
    }

    fn refine_all(&mut self, modes: &mut Vec<Mode>) {
        modes.iter_mut().for_each(|mode| self.refine(mode));
        trim(modes);
    }

    /// Moves the offset to the robust mean of its pairs, weighted with their probabilities.
    fn refine(&mut self, mode: &mut Mode) {
        for _ in 0..3 {
            self.fill(&mode.shape, mode.offset_s, 0.0);
            let ln_z = self.lattice.forward();
            self.lattice.backward();
            let sd = self.limit_s / 2.0;
            let (mut information, mut pull) = if sd > 0.0 { (1.0 / (sd * sd), 0.0) } else { (0.0, 0.0) };
            (mode.shared, mode.misfit) = (0.0, 0.0);
            for (i, target) in self.targets.iter().enumerate() {
                let (g, nu) = (mode.shape[i], 2.0 * f64::from(target.half_power) - 1.0);
                for (j, p) in self.lattice.posterior_of(i) {
                    let difference = self.seen[j].time_s - target.time_s;
                    let variance = target.scatter_s * target.scatter_s + self.seen[j].u_s * self.seen[j].u_s;
                    let z2 = (difference - mode.offset_s * g).powi(2) / variance;
                    // Weight of a residual under Student's t: far ones count little.
                    let weight = p * (nu + 1.0) / (nu + z2) / variance;
                    information += weight * g * g;
                    pull += weight * g * difference;
                    mode.shared += p;
                    mode.misfit += p * z2;
                }
            }
            mode.ln_evidence = ln_z;
            if self.limit_s == 0.0 || information == 0.0 {
                return;
            }
            mode.u_s = 1.0 / information.sqrt();
            // The integral over the offset about its best value, against a normal prior.
            mode.ln_evidence += self.ln_prior(mode.offset_s) + libm::log(mode.u_s);
            let to = (pull / information).clamp(-self.limit_s, self.limit_s);
            let is_there = (to - mode.offset_s).abs() < 0.02 * mode.u_s;
            mode.offset_s = to;
            if is_there {
                return;
            }
        }
    }

    /// ln of the normal prior of the offset, sd half the limit, times √(2π).
    fn ln_prior(&self, offset_s: f64) -> f64 {
        let sd = self.limit_s / 2.0;
        if sd > 0.0 { -0.5 * (offset_s / sd).powi(2) - libm::log(sd) } else { 0.0 }
    }

    /// True where residuals are larger than the scatter, or a compound without a peak has one within reach.
    fn asks_for_more(&mut self, best: &Mode) -> bool {
        if best.misfit > best.shared + 2.0 * (2.0 * best.shared).sqrt() {
            return true;
        }
        self.fill(&best.shape, best.offset_s, 0.0);
        self.lattice.forward();
        self.lattice.backward();
        let mut taken = vec![0.0; self.seen.len()];
        let mut lone = Vec::new();
        for (i, target) in self.targets.iter().enumerate() {
            let mut total = 0.0;
            for (j, p) in self.lattice.posterior_of(i) {
                taken[j] += p;
                total += p;
            }
            if total < 0.5 {
                lone.push(target.time_s);
            }
        }
        lone.iter().any(|&t| self.seen.iter().zip(&taken).any(|(s, &p)| p < 0.5 && (s.time_s - t).abs() < self.limit_s))
    }

    /// Probabilities over all offsets that were kept.
    fn weigh(&mut self, modes: &[Mode]) -> Alignment {
        let m = self.targets.len();
        let mut candidates: Vec<Vec<(usize, f64)>> = vec![Vec::new(); m];
        let Some(best) = modes.first() else {
            return Alignment {
                offset_s: 0.0,
                offset_u_s: 0.0,
                fall_s: None,
                shifts_s: vec![0.0; m],
                shared: 0.0,
                candidates,
            };
        };
        // No pair at all: then the offset does not matter, and its prior integrates to 1.
        let ln_none = m as f64 * libm::log(self.rates.missing());
        let top = best.ln_evidence.max(ln_none);
        let mut total = if self.limit_s > 0.0 { libm::exp(ln_none - top) } else { 0.0 };
        for mode in modes {
            self.fill(&mode.shape, mode.offset_s, mode.u_s * mode.u_s);
            let ln_z = self.lattice.forward();
            self.lattice.backward();
            let weight = libm::exp(mode.ln_evidence - top);
            // "No pair" was counted above, once for all offsets.
            let some = if self.limit_s > 0.0 { (1.0 - libm::exp(ln_none - ln_z)).max(0.0) } else { 1.0 };
            total += weight * some;
            for (i, list) in candidates.iter_mut().enumerate() {
                for (j, p) in self.lattice.posterior_of(i) {
                    match list.iter_mut().find(|c| c.0 == j) {
                        Some(c) => c.1 += weight * p,
                        None => list.push((j, weight * p)),
                    }
                }
            }
        }
        for list in &mut candidates {
            for c in list.iter_mut() {
                c.1 = (c.1 / total).min(1.0);
            }
            list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        }
        Alignment {
            offset_s: best.offset_s,
            offset_u_s: best.u_s,
            fall_s: best.fall_s,
            shifts_s: best.shape.iter().map(|g| g * best.offset_s).collect(),
            shared: best.shared,
            candidates,
        }
    }

    fn fill(&mut self, shape: &[f64], offset_s: f64, extra_variance: f64) {
        self.lattice.reset(self.targets.len(), self.seen.len(), self.rates);
        for (i, (target, g)) in self.targets.iter().zip(shape).enumerate() {
            let at = target.time_s + offset_s * g;
            let from = self.seen.partition_point(|s| s.time_s < at - target.window_s);
            for (j, s) in self.seen.iter().enumerate().skip(from) {
                if s.time_s > at + target.window_s {
                    break;
                }
                self.lattice.pair(i, j, target.density(s.time_s - at, extra_variance * g * g + s.u_s * s.u_s));
            }
        }
    }
}

/// Best first; those far below the best, and doubles, are dropped.
fn trim(modes: &mut Vec<Mode>) {
    modes.sort_by(|a, b| b.ln_evidence.total_cmp(&a.ln_evidence));
    let Some(best) = modes.first().map(|m| m.ln_evidence) else { return };
    let mut kept: Vec<Mode> = Vec::with_capacity(MODES);
    for mode in modes.drain(..) {
        let is_double = kept.iter().any(|k| {
            // Falling offsets of neighbouring shapes are one explanation.
            k.fall_s.is_some() == mode.fall_s.is_some() && (k.offset_s - mode.offset_s).abs() < 2.0 * k.u_s.max(1e-3)
        });
        if mode.ln_evidence > best - MODE_DROP && !is_double && kept.len() < MODES {
            kept.push(mode);
        }
    }
    *modes = kept;
}

/// Means of groups no wider than `width`, of sorted numbers.
fn clusters(sorted: &[f64], width: f64) -> Vec<f64> {
    let mut means = Vec::new();
    let mut rest = sorted;
    while let Some(&first) = rest.first() {
        let count = rest.iter().take_while(|&&x| x - first <= width).count();
        means.push(rest[..count].iter().sum::<f64>() / count as f64);
        rest = &rest[count..];
    }
    means
}
