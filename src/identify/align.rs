//! One run against a list of times: start offset, time scale, and the probability of each pair of compound and peak.

use std::rc::Rc;

use crate::identify::lattice::{Lattice, Rates};
use crate::numeric::ln_gamma;

/// A falling offset is looked for with these decay times, in shares of the span of the references.
pub(super) const FALL_SHARES: [f64; 6] = [0.17, 0.24, 0.34, 0.48, 0.68, 1.0];
/// Log odds held against an offset that falls with retention: one more parameter, six shapes tried.
const FALL_PENALTY: f64 = 4.0;
/// An offset falls only where this many peaks say so.
const FALL_LEAST_PEAKS: f64 = 4.0;
/// Log odds held against a time scale: the same clock and flow as the standards' are the rule.
const SCALE_PENALTY: f64 = 1.0;
/// A time scale is looked for only where a run shows this many peaks.
const SCALE_LEAST_PEAKS: usize = 4;
/// Best starts of (offset, time scale) that are worked out in full.
const SCALE_STARTS: usize = 4;
/// A run's scatter over that of the standards, and how probable that is beforehand.
const WIDER: [(f64, f64); 3] = [(1.0, 0.7), (1.5, 0.2), (2.25, 0.1)];
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

    /// Density per second of a residual; none outside the window. A run may scatter `wider` than the standards did.
    fn density(&self, residual_s: f64, extra_variance: f64, wider: f64) -> f64 {
        if residual_s.abs() > wider * self.window_s {
            return 0.0;
        }
        let scatter = wider * self.scatter_s;
        let variance = scatter * scatter + extra_variance;
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

/// How the times of a run may differ from the standards'.
#[derive(Clone)]
pub(super) struct Freedom {
    /// Largest start offset either way; 0 for none.
    pub(super) offset_limit_s: f64,
    /// Largest departure of the time scale from 1, either way; 0 for none.
    pub(super) scale_limit: f64,
    /// Times stretch about this one, the hold-up time where it is known.
    pub(super) pivot_s: f64,
    pub(super) shape: Shape,
}

/// How an offset changes along the run.
#[derive(Clone)]
pub(super) enum Shape {
    /// All peaks alike.
    Common,
    /// All alike, or falling with retention where the peaks ask for it.
    MayFall,
    /// Known per target from the programme.
    Known(Vec<f64>),
}

/// What one run says.
#[derive(Clone)]
pub(super) struct Alignment {
    /// Start offset at the first target.
    pub(super) offset_s: f64,
    /// Its standard uncertainty.
    pub(super) offset_u_s: f64,
    /// Departure of the time scale from 1, with its standard uncertainty, where the run asks for one.
    pub(super) scale: Option<(f64, f64)>,
    /// Decay time where the offset falls with retention by the peaks' own telling.
    pub(super) fall_s: Option<f64>,
    /// Shift of each target.
    pub(super) shifts_s: Vec<f64>,
    /// Standard uncertainty of each shift.
    pub(super) shifts_u_s: Vec<f64>,
    /// Number of peaks, in probability, that the offset rests on.
    pub(super) shared: f64,
    /// Per target: peaks and their probabilities, most probable first.
    pub(super) candidates: Vec<Vec<(usize, f64)>>,
}

impl Alignment {
    fn empty(targets: usize) -> Self {
        Alignment {
            offset_s: 0.0,
            offset_u_s: 0.0,
            scale: None,
            fall_s: None,
            shifts_s: vec![0.0; targets],
            shifts_u_s: vec![0.0; targets],
            shared: 0.0,
            candidates: vec![Vec::new(); targets],
        }
    }
}

/// One explanation of a run: target i is shifted by δ gᵢ + s τᵢ.
#[derive(Clone)]
struct Mode {
    fall_s: Option<f64>,
    shape: Rc<[f64]>,
    is_scaled: bool,
    offset_s: f64,
    scale: f64,
    /// Variances of δ and s, and their covariance.
    variance: [f64; 3],
    ln_evidence: f64,
    shared: f64,
    /// Σ P z² of the pairs.
    misfit: f64,
}

impl Mode {
    fn new(fall_s: Option<f64>, shape: &Rc<[f64]>, offset_s: f64, scale: Option<f64>) -> Self {
        Mode {
            fall_s,
            shape: Rc::clone(shape),
            is_scaled: scale.is_some(),
            offset_s,
            scale: scale.unwrap_or(0.0),
            variance: [0.0; 3],
            ln_evidence: 0.0,
            shared: 0.0,
            misfit: 0.0,
        }
    }

    fn penalty(&self) -> f64 {
        f64::from(u8::from(self.fall_s.is_some())) * FALL_PENALTY + f64::from(u8::from(self.is_scaled)) * SCALE_PENALTY
    }
}

/// Aligns peaks, in the order of their times, with targets in the order of theirs.
pub(super) fn align(targets: &[Target], seen: &[Seen], freedom: &Freedom) -> Alignment {
    let (m, n) = (targets.len(), seen.len());
    if m == 0 || n == 0 {
        return Alignment::empty(m);
    }
    let mut lattice = Lattice::default();
    let first = targets[0].time_s.min(seen[0].time_s);
    let last = targets[m - 1].time_s.max(seen[n - 1].time_s);
    let span = (last - first).max(60.0);
    let rates = |shared: f64| Rates {
        // One pair is left out: it must not speak for itself.
        present: (shared.max(1.0) / (m as f64 + 1.0)).min(0.99),
        extra_per_s: (n as f64 - shared + 1.0).max(1.0) / span,
    };
    let limit_s = freedom.offset_limit_s;
    let mut problem = Problem {
        targets,
        seen,
        limit_s,
        scale_limit: freedom.scale_limit,
        pivot_s: freedom.pivot_s,
        rates: rates(0.8 * m.min(n) as f64),
        lattice: &mut lattice,
    };
    let base: Rc<[f64]> = match &freedom.shape {
        Shape::Known(shape) if shape.len() == m => shape.as_slice().into(),
        _ => vec![1.0; m].into(),
    };
    let mut modes = problem.search(None, &base);
    problem.refine_all(&mut modes);
    let may_fall = matches!(freedom.shape, Shape::MayFall) && limit_s > 0.0 && m >= FALL_LEAST_PEAKS as usize;
    let may_stretch = freedom.scale_limit > 0.0 && m.min(n) >= SCALE_LEAST_PEAKS;
    let mut shapes: Vec<(f64, Rc<[f64]>)> = Vec::new();
    if (may_fall || may_stretch) && problem.asks_for_more(modes.first()) {
        if may_fall {
            let (from, width) = (targets[0].time_s, targets[m - 1].time_s - targets[0].time_s);
            shapes.extend(FALL_SHARES.map(|share| (share * width, falling(targets, from, share * width).into())));
            let mut fallen = Vec::new();
            for (fall, shape) in &shapes {
                fallen.append(&mut problem.search(Some(*fall), shape));
            }
            trim(&mut fallen);
            problem.refine_all(&mut fallen);
            modes.extend(fallen.into_iter().filter(|mode| mode.shared >= FALL_LEAST_PEAKS));
            trim(&mut modes);
        }
        if may_stretch && problem.asks_for_more(modes.first()) {
            let mut stretched = problem.search_scaled(None, &base);
            trim(&mut stretched);
            problem.refine_all(&mut stretched);
            let least = SCALE_LEAST_PEAKS as f64 - 0.5;
            modes.extend(stretched.into_iter().filter(|mode| mode.shared >= least));
            trim(&mut modes);
            if may_fall && problem.asks_for_more(modes.first()) {
                let mut both = Vec::new();
                for (fall, shape) in &shapes {
                    both.append(&mut problem.search_scaled(Some(*fall), shape));
                }
                trim(&mut both);
                problem.refine_all(&mut both);
                // Two more parameters want two more peaks.
                modes.extend(both.into_iter().filter(|mode| mode.shared >= least + 2.0));
                trim(&mut modes);
            }
        }
    }
    // Shares of missing compounds and extra peaks as this run shows them.
    problem.rates = rates(modes.first().map_or(0.0, |best| best.shared));
    modes.iter_mut().for_each(|mode| problem.refine(mode));
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
    scale_limit: f64,
    pivot_s: f64,
    rates: Rates,
    lattice: &'a mut Lattice,
}

impl Problem<'_> {
    /// The offsets that explain the run best, best first, not yet refined. Candidates are the differences of
    /// peaks and targets.
    fn search(&mut self, fall_s: Option<f64>, shape: &Rc<[f64]>) -> Vec<Mode> {
        let mut offsets = Vec::new();
        if self.limit_s > 0.0 {
            for (target, &g) in self.targets.iter().zip(shape.iter()) {
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
            offsets = clusters(&offsets, self.least_scatter().max(0.05));
        } else {
            offsets.push(0.0);
        }
        let mut modes: Vec<Mode> = Vec::new();
        for offset in offsets {
            let mut mode = Mode::new(fall_s, shape, offset, None);
            self.fill(&mode, 1.0);
            mode.ln_evidence = self.lattice.forward() + self.ln_prior(&mode);
            modes.push(mode);
        }
        trim(&mut modes);
        modes
    }

    /// The pairs of offset and time scale under which most targets have a peak nearby, not yet refined.
    ///
    /// On a grid of time scales, fine enough that no target is off by more than one scatter, the offset is where
    /// the differences of peaks and targets lie densest.
    fn search_scaled(&mut self, fall_s: Option<f64>, shape: &Rc<[f64]>) -> Vec<Mode> {
        let scatter = self.least_scatter().max(0.05);
        let reach = self.targets.iter().map(|t| (t.time_s - self.pivot_s).abs()).fold(1.0, f64::max);
        let span = self.targets[self.targets.len() - 1].time_s - self.targets[0].time_s;
        let step = (4.0 * scatter / span.max(1.0)).max(self.scale_limit / 60.0);
        let count = libm::ceil(self.scale_limit / step) as i32;
        let tolerance = 1.5 * scatter + 0.25 * step * span;
        let limit_s = self.limit_s.max(scatter);
        let mut starts: Vec<(usize, f64, f64)> = Vec::new();
        let mut differences: Vec<(f64, usize)> = Vec::new();
        for k in -count..=count {
            let scale = (f64::from(k) * step).clamp(-self.scale_limit, self.scale_limit);
            differences.clear();
            for (i, (target, &g)) in self.targets.iter().zip(shape.iter()).enumerate() {
                let at = target.time_s + scale * (target.time_s - self.pivot_s);
                let widest = limit_s * g.max(0.3);
                let from = self.seen.partition_point(|s| s.time_s < at - widest);
                let inside = self.seen[from..].iter().take_while(|s| s.time_s <= at + widest);
                differences.extend(inside.map(|s| ((s.time_s - at) / g.max(0.3), i)));
            }
            differences.sort_by(|a, b| a.0.total_cmp(&b.0));
            // The window of 2 tolerances with most targets in it.
            let (mut best, mut left) = ((0, 0.0), 0);
            for right in 0..differences.len() {
                while differences[right].0 - differences[left].0 > 2.0 * tolerance {
                    left += 1;
                }
                if right + 1 - left > best.0 {
                    let inside = &differences[left..=right];
                    // Two peaks near one target are one vote.
                    let targets = (0..inside.len()).filter(|&a| inside[..a].iter().all(|b| b.1 != inside[a].1)).count();
                    if targets > best.0 {
                        best = (targets, inside[inside.len() / 2].0);
                    }
                }
            }
            starts.push((best.0, best.1, scale));
        }
        // Most votes first; of equals the smaller change.
        let size = |s: &(usize, f64, f64)| s.1.abs() + s.2.abs() * reach;
        starts.sort_by(|a, b| b.0.cmp(&a.0).then(size(a).total_cmp(&size(b))));
        let mut kept: Vec<(usize, f64, f64)> = Vec::new();
        for start in starts {
            // Neighbours on the grid lead to the same place.
            if kept.len() < SCALE_STARTS && kept.iter().all(|k| (k.2 - start.2).abs() > 1.5 * step) {
                kept.push(start);
            }
        }
        let modes = kept.into_iter().filter(|k| k.0 >= SCALE_LEAST_PEAKS - 1);
        let mut modes: Vec<Mode> = modes.map(|(_, offset, s)| Mode::new(fall_s, shape, offset, Some(s))).collect();
        for mode in &mut modes {
            self.fill(mode, 1.0);
            mode.ln_evidence = self.lattice.forward() + self.ln_prior(mode);
        }
        modes
    }

    fn least_scatter(&self) -> f64 {
        self.targets.iter().map(|t| t.scatter_s).fold(f64::INFINITY, f64::min)
    }

    fn refine_all(&mut self, modes: &mut Vec<Mode>) {
        modes.iter_mut().for_each(|mode| self.refine(mode));
        trim(modes);
    }

    /// Moves offset and time scale to the robust mean of their pairs, weighted with their probabilities.
    fn refine(&mut self, mode: &mut Mode) {
        let precision = |limit: f64| if limit > 0.0 { 4.0 / (limit * limit) } else { 0.0 };
        let has_offset = self.limit_s > 0.0;
        let turns = if mode.is_scaled { 6 } else { 3 };
        mode.variance = [0.0; 3];
        for _ in 0..turns {
            // While it moves, the offset is taken as it stands.
            self.fill(&Mode { variance: [0.0; 3], ..mode.clone() }, 1.0);
            let ln_z = self.lattice.forward();
            self.lattice.backward();
            let (mut a, mut b, mut c) = (precision(self.limit_s), 0.0, precision(self.scale_limit));
            let (mut p, mut q) = (0.0, 0.0);
            (mode.shared, mode.misfit) = (0.0, 0.0);
            for (i, target) in self.targets.iter().enumerate() {
                let (g, tau) = (mode.shape[i], target.time_s - self.pivot_s);
                let nu = 2.0 * f64::from(target.half_power) - 1.0;
                for (j, probability) in self.lattice.posterior_of(i) {
                    let difference = self.seen[j].time_s - target.time_s;
                    let variance = target.scatter_s * target.scatter_s + self.seen[j].u_s * self.seen[j].u_s;
                    let z2 = (difference - mode.offset_s * g - mode.scale * tau).powi(2) / variance;
                    // Weight of a residual under Student's t: far ones count little.
                    let weight = probability * (nu + 1.0) / (nu + z2) / variance;
                    a += weight * g * g;
                    b += weight * g * tau;
                    c += weight * tau * tau;
                    p += weight * g * difference;
                    q += weight * tau * difference;
                    mode.shared += probability;
                    mode.misfit += probability * z2;
                }
            }
            mode.ln_evidence = ln_z - mode.penalty();
            let (to, scale) = match (has_offset, mode.is_scaled) {
                (false, false) => return,
                (true, false) => {
                    mode.variance = [1.0 / a, 0.0, 0.0];
                    (p / a, 0.0)
                }
                (false, true) => {
                    mode.variance = [0.0, 1.0 / c, 0.0];
                    (0.0, q / c)
                }
                (true, true) => {
                    let determinant = (a * c - b * b).max(1e-300);
                    mode.variance = [c / determinant, a / determinant, -b / determinant];
                    ((c * p - b * q) / determinant, (a * q - b * p) / determinant)
                }
            };
            // The integral over offset and scale about their best values, against normal priors.
            let [vo, vs, cov] = mode.variance;
            let ln_width = match (has_offset, mode.is_scaled) {
                (true, true) => 0.5 * libm::log((vo * vs - cov * cov).max(1e-300)),
                (true, false) => 0.5 * libm::log(vo),
                _ => 0.5 * libm::log(vs),
            };
            mode.ln_evidence += self.ln_prior(mode) + ln_width;
            let to = to.clamp(-self.limit_s, self.limit_s);
            let scale = scale.clamp(-self.scale_limit, self.scale_limit);
            let is_there =
                (to - mode.offset_s).abs() <= 0.02 * vo.sqrt() && (scale - mode.scale).abs() <= 0.02 * vs.sqrt();
            (mode.offset_s, mode.scale) = (to, scale);
            if is_there {
                return;
            }
        }
    }

    /// ln of the normal priors of offset and time scale, sd half their limits, times √(2π) each.
    fn ln_prior(&self, mode: &Mode) -> f64 {
        let one = |value: f64, limit: f64| {
            let sd = limit / 2.0;
            if sd > 0.0 { -0.5 * (value / sd).powi(2) - libm::log(sd) } else { 0.0 }
        };
        one(mode.offset_s, self.limit_s) + if mode.is_scaled { one(mode.scale, self.scale_limit) } else { 0.0 }
    }

    /// True where residuals are larger than the scatter, or a compound without a peak has one within reach.
    fn asks_for_more(&mut self, best: Option<&Mode>) -> bool {
        let Some(best) = best else { return true };
        if best.misfit > best.shared + 2.0 * (2.0 * best.shared).sqrt() {
            return true;
        }
        self.fill(best, 1.0);
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
        let reach = |t: f64| self.limit_s + self.scale_limit * (t - self.pivot_s).abs();
        lone.iter().any(|&t| self.seen.iter().zip(&taken).any(|(s, &p)| p < 0.5 && (s.time_s - t).abs() < reach(t)))
    }

    /// Probabilities over all explanations that were kept.
    fn weigh(&mut self, modes: &[Mode]) -> Alignment {
        let m = self.targets.len();
        let Some(best) = modes.first() else { return Alignment::empty(m) };
        let mut candidates: Vec<Vec<(usize, f64)>> = vec![Vec::new(); m];
        // No pair at all: then the offset does not matter, and its prior integrates to 1.
        let ln_none = m as f64 * libm::log(self.rates.missing());
        let is_free = self.limit_s > 0.0 || best.is_scaled;
        let top = best.ln_evidence.max(ln_none);
        let mut total = if is_free { libm::exp(ln_none - top) } else { 0.0 };
        for mode in modes {
            let mut ln_usual = 0.0;
            for (wider, prior) in WIDER {
                self.fill(mode, wider);
                let ln_z = self.lattice.forward();
                if wider == 1.0 {
                    ln_usual = ln_z;
                }
                // Offset and scale are as much less certain.
                let parameters = f64::from(u8::from(self.limit_s > 0.0)) + f64::from(u8::from(mode.is_scaled));
                let ln_weight = mode.ln_evidence + ln_z - ln_usual + parameters * libm::log(wider) + libm::log(prior);
                let weight = libm::exp(ln_weight - top);
                if weight < 1e-5 * total {
                    continue;
                }
                self.lattice.backward();
                // "No pair" was counted above, once for all offsets.
                let some = if is_free { (1.0 - libm::exp(ln_none - ln_z)).max(0.0) } else { 1.0 };
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
        }
        for list in &mut candidates {
            for c in list.iter_mut() {
                c.1 = (c.1 / total).min(1.0);
            }
            list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        }
        let places: Vec<(f64, f64)> =
            (0..m).map(|i| (self.shift(best, i), self.shift_variance(best, i).max(0.0).sqrt())).collect();
        Alignment {
            offset_s: best.offset_s,
            offset_u_s: best.variance[0].sqrt(),
            scale: best.is_scaled.then(|| (best.scale, best.variance[1].sqrt())),
            fall_s: best.fall_s,
            shifts_s: places.iter().map(|p| p.0).collect(),
            shifts_u_s: places.iter().map(|p| p.1).collect(),
            shared: best.shared,
            candidates,
        }
    }

    fn shift(&self, mode: &Mode, i: usize) -> f64 {
        mode.offset_s * mode.shape[i] + mode.scale * (self.targets[i].time_s - self.pivot_s)
    }

    fn shift_variance(&self, mode: &Mode, i: usize) -> f64 {
        let (g, tau) = (mode.shape[i], self.targets[i].time_s - self.pivot_s);
        let [vo, vs, cov] = mode.variance;
        vo * g * g + vs * tau * tau + 2.0 * cov * g * tau
    }

    fn fill(&mut self, mode: &Mode, wider: f64) {
        self.lattice.reset(self.targets.len(), self.seen.len(), self.rates);
        for (i, target) in self.targets.iter().enumerate() {
            let at = target.time_s + self.shift(mode, i);
            let extra = wider * wider * self.shift_variance(mode, i).max(0.0);
            let window_s = wider * target.window_s;
            let from = self.seen.partition_point(|s| s.time_s < at - window_s);
            for (j, s) in self.seen.iter().enumerate().skip(from) {
                if s.time_s > at + window_s {
                    break;
                }
                self.lattice.pair(i, j, target.density(s.time_s - at, extra + s.u_s * s.u_s, wider));
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
            let near = |a: f64, b: f64, variance: f64, least: f64| (a - b).abs() < 2.0 * variance.sqrt().max(least);
            // Falling offsets of neighbouring shapes are one explanation.
            k.fall_s.is_some() == mode.fall_s.is_some()
                && k.is_scaled == mode.is_scaled
                && near(k.offset_s, mode.offset_s, k.variance[0], 1e-3)
                && near(k.scale, mode.scale, k.variance[1], 1e-6)
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
