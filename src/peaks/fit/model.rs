//! The model of a fit: baselines and profiles over one or more windows, with residuals and derivatives.

use std::cell::RefCell;
use std::ops::Range;

use super::FitShape;
use crate::error::Result;
use crate::numeric::{Matrix, NonlinearFit, NonlinearOptions, fit_nonlinear};
use crate::shapes::standard::Standard;

/// Points of one window in the fit's own units: time from the window's middle in units of `unit_min`, signal in
/// standard deviations of the noise.
#[derive(Clone, Debug)]
pub(super) struct Window {
    pub(super) x: Vec<f64>,
    pub(super) y: Vec<f64>,
    /// Minutes of x = 0, and of a unit of x.
    pub(super) middle_min: f64,
    pub(super) unit_min: f64,
    /// Standard deviation of the noise in signal units, and correlation of neighbours.
    pub(super) sd: f64,
    pub(super) phi: f64,
    /// Half the window's length in units of x.
    half: f64,
}

impl Window {
    pub(super) fn new(time: &[f64], signal: &[f64], unit_min: f64, sd: f64, phi: f64) -> Self {
        let middle_min = 0.5 * (time[0] + time[time.len() - 1]);
        let x: Vec<f64> = time.iter().map(|t| (t - middle_min) / unit_min).collect();
        let half = x[x.len() - 1].max(f64::MIN_POSITIVE);
        Window { y: signal.iter().map(|y| y / sd).collect(), x, middle_min, unit_min, sd, phi, half }
    }

    pub(super) fn len(&self) -> usize {
        self.x.len()
    }

    /// True where a peak lies, by and large, in the window: outside this range no step goes.
    fn holds(&self, g: &Guess) -> bool {
        let [least, most] = self.widths();
        g.eta.abs() <= LARGEST_ETA && g.width >= least && g.width <= most && g.centre.abs() <= FARTHEST * self.half
    }

    /// Least and largest width.
    fn widths(&self) -> [f64; 2] {
        [0.2 * self.interval(), WIDEST * self.half]
    }

    /// The nearest peak that a fit may start from.
    fn clamped(&self, g: &Guess) -> Guess {
        let [least, most] = self.widths();
        Guess {
            centre: g.centre.clamp(-0.99 * self.half, 0.99 * self.half),
            width: g.width.clamp(1.1 * least, 0.95 * most),
            eta: g.eta.clamp(-0.9 * LARGEST_ETA, 0.9 * LARGEST_ETA),
            area: g.area,
        }
    }

    /// True where a fit ended at the end of its range.
    pub(super) fn is_at_limit(&self, g: &Guess) -> bool {
        let [least, most] = self.widths();
        !self.holds(g)
            || g.width < 1.01 * least
            || g.width > 0.99 * most
            || g.centre.abs() > 0.99 * FARTHEST * self.half
            || g.eta.abs() > 0.99 * LARGEST_ETA
    }

    /// Mean interval in units of x.
    pub(super) fn interval(&self) -> f64 {
        2.0 * self.half / (self.len() - 1).max(1) as f64
    }
}

/// Indices of one peak's parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) window: usize,
    pub(super) area: usize,
    pub(super) centre: usize,
    /// ln of the width.
    pub(super) width: usize,
    /// η; none for a Gaussian.
    pub(super) skew: Option<usize>,
}

/// One peak's parameters in the fit's units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Guess {
    pub(super) area: f64,
    pub(super) centre: f64,
    pub(super) width: f64,
    pub(super) eta: f64,
}

/// What is fitted to what.
pub(super) struct Problem<'a> {
    pub(super) windows: &'a [Window],
    pub(super) places: Vec<Place>,
    baselines: Vec<Range<usize>>,
    pub(super) parameters: usize,
    pub(super) shape: FitShape,
}

/// |η| beyond which a profile is a bare decay (τ/σ = 2e5) or a triangle (load 3e5) to all digits that matter.
const LARGEST_ETA: f64 = 12.0;
/// Largest standard deviation and farthest mean of a peak, in half windows.
const WIDEST: f64 = 0.75;
const FARTHEST: f64 = 1.3;
/// Standard deviations before a profile within which it is 1e-17 of its height; behind it, the slowest tail.
const FRONT: f64 = 9.0;
const TAIL: f64 = 40.0;

impl<'a> Problem<'a> {
    /// Peaks per window; `shared`: one width and one η for all peaks of all windows; `by_order`: one for the first
    /// peaks of all windows, one for the second, and so on.
    pub(super) fn new(
        windows: &'a [Window],
        counts: &[usize],
        shape: FitShape,
        terms: usize,
        sharing: Sharing,
    ) -> Self {
        let mut next = 0;
        let mut take = |n: usize| {
            next += n;
            next - n
        };
        let baselines: Vec<Range<usize>> = windows
            .iter()
            .map(|_| {
                let start = take(terms);
                start..start + terms
            })
            .collect();
        let skewed = shape != FitShape::Gaussian;
        let mut slots: Vec<(usize, Option<usize>)> = Vec::new();
        let mut places = Vec::new();
        for (window, &count) in counts.iter().enumerate() {
            for k in 0..count {
                let (area, centre) = (take(1), take(1));
                let slot = match sharing {
                    Sharing::None => slots.len(),
                    Sharing::Peaks => 0,
                    Sharing::Windows => k,
                };
                while slots.len() <= slot {
                    let width = take(1);
                    slots.push((width, skewed.then(|| take(1))));
                }
                let (width, skew) = slots[slot];
                places.push(Place { window, area, centre, width, skew });
            }
        }
        Problem { windows, places, baselines, parameters: next, shape }
    }

    /// Indices of a window's baseline coefficients.
    pub(super) fn baseline(&self, window: usize) -> Range<usize> {
        self.baselines[window].clone()
    }

    pub(super) fn points(&self) -> usize {
        self.windows.iter().map(Window::len).sum()
    }

    pub(super) fn profile(&self, eta: f64) -> Standard {
        match self.shape {
            FitShape::Gaussian => Standard::Gaussian,
            FitShape::ExponentiallyModifiedGaussian => Standard::skewed(eta),
            FitShape::HaarhoffVanDerLinde => Standard::loaded(eta),
        }
    }

    /// One peak's parameters out of all.
    pub(super) fn guess(&self, parameters: &[f64], place: &Place) -> Guess {
        Guess {
            area: parameters[place.area],
            centre: parameters[place.centre],
            width: libm::exp(parameters[place.width]),
            eta: place.skew.map_or(0.0, |i| parameters[i]),
        }
    }

    /// All parameters from the peaks', with baselines and areas by linear least squares.
    pub(super) fn start(&self, guesses: &[Guess]) -> Vec<f64> {
        let mut p = vec![0.0; self.parameters];
        let mut shared = vec![0usize; self.parameters];
        for (place, guess) in self.places.iter().zip(guesses) {
            let guess = &self.windows[place.window].clamped(guess);
            p[place.area] = 1.0;
            p[place.centre] = guess.centre;
            let mut mean = |at: usize, value: f64| {
                shared[at] += 1;
                p[at] += (value - p[at]) / shared[at] as f64;
            };
            mean(place.width, libm::log(guess.width));
            if let Some(i) = place.skew {
                mean(i, guess.eta);
            }
        }
        let linear: Vec<usize> =
            self.baselines.iter().cloned().flatten().chain(self.places.iter().map(|place| place.area)).collect();
        let mut sheet = Sheet::new(self);
        // The model is linear in these: with areas 1 and baselines 0 its columns are their derivatives.
        self.fill(&p, &mut sheet);
        let (n, m) = (self.points(), linear.len());
        let mut normal = Matrix::zeros(m, m);
        let mut right = vec![0.0; m];
        let mut y = Vec::with_capacity(n);
        for w in self.windows {
            let start = y.len();
            y.extend_from_slice(&w.y);
            whiten(&mut y[start..], w.phi);
        }
        for (row, y) in sheet.jacobian.chunks_exact(self.parameters).zip(&y) {
            for (a, &j) in linear.iter().enumerate() {
                right[a] -= row[j] * y;
                for (b, &k) in linear[..=a].iter().enumerate() {
                    normal[(a, b)] += row[j] * row[k];
                }
            }
        }
        match cholesky(&normal, &right) {
            Some(solution) => linear.iter().zip(solution).for_each(|(&j, v)| p[j] = v),
            // Two peaks in one place: areas as guessed.
            None => self.places.iter().zip(guesses).for_each(|(place, g)| p[place.area] = g.area),
        }
        p
    }

    /// Residuals and derivatives of them, whitened; false where a parameter has left its range.
    fn fill(&self, p: &[f64], sheet: &mut Sheet) -> bool {
        let columns = self.parameters;
        sheet.residuals.clear();
        sheet.jacobian.fill(0.0);
        let (mut inside, mut from) = (true, 0);
        let mut profiles = std::mem::take(&mut sheet.profiles);
        for (w, window) in self.windows.iter().enumerate() {
            profiles.clear();
            for place in self.places.iter().filter(|place| place.window == w) {
                let g = self.guess(p, place);
                inside &= window.holds(&g);
                profiles.push((*place, g, self.profile(g.eta)));
            }
            if !inside {
                break;
            }
            let terms = &self.baselines[w];
            for (i, (&x, &y)) in window.x.iter().zip(&window.y).enumerate() {
                let row = &mut sheet.jacobian[(from + i) * columns..(from + i + 1) * columns];
                let mut model = 0.0;
                let (mut power, xi) = (1.0, x / window.half);
                for j in terms.clone() {
                    model += p[j] * power;
                    row[j] = -power;
                    power *= xi;
                }
                for (place, g, profile) in &profiles {
                    let rate = 1.0 / g.width;
                    let at = (x - g.centre) * rate;
                    let (front, back) = if g.eta < 0.0 { (TAIL, FRONT) } else { (FRONT, TAIL) };
                    if at < -front.max(self.reach(g.eta)) || at > back.max(self.reach(g.eta)) {
                        continue;
                    }
                    let jet = profile.at(at);
                    let scale = g.area * rate;
                    model += scale * jet.value;
                    row[place.area] -= rate * jet.value;
                    row[place.centre] += scale * rate * jet.by_x;
                    row[place.width] += scale * (jet.value + at * jet.by_x);
                    if let Some(k) = place.skew {
                        row[k] -= scale * jet.by_eta;
                    }
                }
                sheet.residuals.push(y - model);
            }
            whiten(&mut sheet.residuals[from..], window.phi);
            whiten_rows(&mut sheet.jacobian[from * columns..(from + window.len()) * columns], columns, window.phi);
            from += window.len();
        }
        sheet.profiles = profiles;
        inside
    }

    /// How far an overloaded profile goes on.
    fn reach(&self, eta: f64) -> f64 {
        if self.shape == FitShape::HaarhoffVanDerLinde { FRONT + (4.0 * libm::sinh(eta.abs())).sqrt() } else { FRONT }
    }

    /// The best fit from a start.
    pub(super) fn fit(&self, start: &[f64], max_iterations: usize) -> Result<NonlinearFit> {
        // Noise hides all beyond a thousandth of a standard error; the steps before the last one halve the digits.
        let options = NonlinearOptions {
            sum_tolerance: 1e-10,
            parameter_tolerance: 1e-10,
            gradient_tolerance: 1e-10,
            max_iterations,
            first_step: 1.0,
            polish: false,
        };
        // Derivatives cost little beside the profile: they are kept from each look at the residuals.
        let sheet = RefCell::new(Sheet::new(self));
        fit_nonlinear(
            self.points(),
            start,
            |p, r| {
                let mut sheet = sheet.borrow_mut();
                sheet.parameters.clear();
                sheet.parameters.extend_from_slice(p);
                if self.fill(p, &mut sheet) {
                    r.copy_from_slice(&sheet.residuals);
                } else {
                    r.fill(f64::NAN);
                }
            },
            |p, j| {
                let mut sheet = sheet.borrow_mut();
                if sheet.parameters != p {
                    sheet.parameters.clear();
                    sheet.parameters.extend_from_slice(p);
                    self.fill(p, &mut sheet);
                }
                for (i, row) in sheet.jacobian.chunks_exact(self.parameters).enumerate() {
                    j.row_mut(i).copy_from_slice(row);
                }
            },
            &options,
        )
    }

    /// The residuals before whitening, and the baseline's level, point by point, of one window.
    pub(super) fn parts(&self, p: &[f64], w: usize) -> (Vec<f64>, Vec<f64>) {
        let window = &self.windows[w];
        let baseline: Vec<f64> = window
            .x
            .iter()
            .map(|x| {
                let xi = x / window.half;
                self.baselines[w].clone().rev().fold(0.0, |sum, j| sum * xi + p[j])
            })
            .collect();
        let mut rest: Vec<f64> = window.y.iter().zip(&baseline).map(|(y, b)| y - b).collect();
        for place in self.places.iter().filter(|place| place.window == w) {
            let g = self.guess(p, place);
            let profile = self.profile(g.eta);
            for (r, x) in rest.iter_mut().zip(&window.x) {
                *r -= g.area / g.width * profile.at((x - g.centre) / g.width).value;
            }
        }
        (rest, baseline)
    }
}

/// Which peaks have one width and one lopsidedness in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sharing {
    None,
    /// All peaks.
    Peaks,
    /// The first peaks of all windows, the second, and so on.
    Windows,
}

/// Working space of one look at the model.
struct Sheet {
    parameters: Vec<f64>,
    residuals: Vec<f64>,
    jacobian: Vec<f64>,
    profiles: Vec<(Place, Guess, Standard)>,
}

impl Sheet {
    fn new(problem: &Problem<'_>) -> Self {
        let n = problem.points();
        Sheet {
            parameters: Vec::new(),
            residuals: Vec::with_capacity(n),
            jacobian: vec![0.0; n * problem.parameters],
            profiles: Vec::new(),
        }
    }
}

/// Turns noise of correlation φ^k into white noise of the same size: (rᵢ - φ rᵢ₋₁)/√(1 - φ²).
pub(super) fn whiten(values: &mut [f64], phi: f64) {
    if phi == 0.0 {
        return;
    }
    let scale = 1.0 / (1.0 - phi * phi).sqrt();
    for i in (1..values.len()).rev() {
        values[i] = (values[i] - phi * values[i - 1]) * scale;
    }
}

fn whiten_rows(rows: &mut [f64], columns: usize, phi: f64) {
    if phi == 0.0 {
        return;
    }
    let scale = 1.0 / (1.0 - phi * phi).sqrt();
    let n = rows.len() / columns;
    for i in (1..n).rev() {
        let (before, here) = rows[(i - 1) * columns..(i + 1) * columns].split_at_mut(columns);
        for (h, b) in here.iter_mut().zip(before) {
            *h = (*h - phi * *b) * scale;
        }
    }
}

/// Solves a symmetric system of which the lower triangle is given; None where it is singular to ten digits.
fn cholesky(a: &Matrix, b: &[f64]) -> Option<Vec<f64>> {
    let n = b.len();
    let mut l = Matrix::zeros(n, n);
    for i in 0..n {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| l[(i, k)] * l[(j, k)]).sum();
            let rest = a[(i, j)] - known;
            if i == j {
                if rest <= 1e-10 * a[(i, i)] {
                    return None;
                }
                l[(i, i)] = rest.sqrt();
            } else {
                l[(i, j)] = rest / l[(j, j)];
            }
        }
    }
    let mut x = b.to_vec();
    for i in 0..n {
        let known: f64 = (0..i).map(|k| l[(i, k)] * x[k]).sum();
        x[i] = (x[i] - known) / l[(i, i)];
    }
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| l[(k, i)] * x[k]).sum();
        x[i] = (x[i] - known) / l[(i, i)];
    }
    Some(x)
}
