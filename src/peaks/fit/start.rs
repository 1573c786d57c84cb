//! Where a fit starts: peaks looked for in a window, and split where one stands for two.

use super::choose::bulges;
use super::model::{Guess, Problem, Sharing, Window};
use super::{FitOptions, FitShape};
use crate::error::Result;
use crate::numeric::NonlinearFit;

/// A window is looked through at this many places at most.
const BINS: usize = 64;
/// Widths tried, as standard deviations over the window's length; a window of 12 sd is at 0.083.
const WIDTHS: [f64; 8] = [0.015, 0.022, 0.033, 0.05, 0.075, 0.11, 0.16, 0.22];
/// A start's small tail: η of τ/σ = 0.4.
pub(super) const START_ETA: f64 = 0.05;

/// The Gaussian that lowers the sum of squares of `rest` most, beside a baseline of `terms` terms.
pub(super) fn scan(window: &Window, rest: &[f64], terms: usize) -> Guess {
    let per_bin = rest.len().div_ceil(BINS).max(1);
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let x: Vec<f64> = window.x.chunks(per_bin).map(mean).collect();
    let mut y: Vec<f64> = rest.chunks(per_bin).map(mean).collect();
    let length = window.x[window.x.len() - 1] - window.x[0];
    // An orthonormal basis of the baselines, by Gram and Schmidt.
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for k in 0..terms {
        let mut column: Vec<f64> = x.iter().map(|x| (2.0 * x / length).powi(k as i32)).collect();
        project_out(&mut column, &basis);
        let norm = dot(&column, &column).sqrt();
        if norm > 1e-9 {
            column.iter_mut().for_each(|c| *c /= norm);
            basis.push(column);
        }
    }
    project_out(&mut y, &basis);
    let mut best = (f64::NEG_INFINITY, Guess { area: 1.0, centre: 0.0, width: length / 12.0, eta: START_ETA });
    for width in WIDTHS.map(|w| (w * length).max(0.6 * window.interval())) {
        let step = (0.5 * width).max(length / BINS as f64);
        let places = (length / step).ceil() as usize;
        for k in 0..=places {
            let centre = window.x[0] + k as f64 * step;
            let mut column: Vec<f64> = x
                .iter()
                .map(|x| {
                    let u = (x - centre) / width;
                    if u.abs() > 6.0 { 0.0 } else { libm::exp(-0.5 * u * u) }
                })
                .collect();
            project_out(&mut column, &basis);
            let (square, along) = (dot(&column, &column), dot(&column, &y));
            // A column that a baseline imitates says nothing.
            let score =
                if square > 0.02 * width / (length / x.len() as f64) { along.abs() * along / square } else { 0.0 };
            if score > best.0 {
                let area = along / square * width * 2.506_628_274_631;
                best = (score, Guess { area, centre, width, eta: START_ETA });
            }
        }
    }
    best.1
}

fn project_out(column: &mut [f64], basis: &[Vec<f64>]) {
    for b in basis {
        let along = dot(column, b);
        column.iter_mut().zip(b).for_each(|(c, b)| *c -= along * b);
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The best of several starts for `count` peaks in one window.
pub(super) fn search(window: &[Window], count: usize, options: &FitOptions) -> Result<(Vec<Guess>, NonlinearFit)> {
    let terms = options.terms();
    let first = scan(&window[0], &window[0].y, terms);
    let mut best = attempt(window, &[first], options)?;
    if options.shape != FitShape::Gaussian {
        // A lopsided profile started as its mirror image may stay there.
        let other = Guess { eta: -0.3, ..first };
        for eta in [0.5, -0.3] {
            let again = attempt(window, &[Guess { eta, ..other }], options)?;
            if again.1.rss < best.1.rss * (1.0 - 1e-9) {
                best = again;
            }
        }
    }
    for k in 1..count {
        let (guesses, fit) = &best;
        let counts = [k];
        let problem = Problem::new(window, &counts, options.shape, terms, options.sharing());
        let (rest, _) = problem.parts(&fit.parameters, 0);
        let mut starts = Vec::new();
        let add = |g: Guess| [guesses.as_slice(), &[g]].concat();
        starts.push(add(scan(&window[0], &rest, terms)));
        let widest = (0..k).fold(0, |a, b| if guesses[b].width > guesses[a].width { b } else { a });
        for (apart, narrower) in [(0.6, 0.75), (1.0, 0.6), (1.4, 0.5)] {
            let mut split = guesses.clone();
            let g = guesses[widest];
            let half = Guess { area: 0.5 * g.area, width: narrower * g.width, eta: START_ETA, centre: 0.0 };
            split[widest] = Guess { centre: g.centre - apart * g.width, ..half };
            split.push(Guess { centre: g.centre + apart * g.width, ..half });
            starts.push(split);
        }
        // A small one hidden on either side.
        for away in [-2.0, 2.0] {
            let g = guesses[widest];
            let mut hidden = guesses.clone();
            hidden[widest] = Guess { width: 0.9 * g.width, eta: START_ETA, ..g };
            hidden.push(Guess {
                centre: g.centre + away * g.width,
                area: 0.05 * g.area,
                width: 0.9 * g.width,
                eta: START_ETA,
            });
            starts.push(hidden);
        }
        if k + 1 == count {
            starts.extend(bulging(&window[0], count));
        }
        let mut next: Option<(Vec<Guess>, NonlinearFit)> = None;
        for start in starts {
            let tried = attempt(window, &start, options)?;
            if next.as_ref().is_none_or(|n| better(&window[0], &tried, n)) {
                next = Some(tried);
            }
        }
        if let Some(next) = next {
            best = next;
        }
    }
    Ok(best)
}

/// Starts at the places where the signal bulges, for the widths at which it does so `count` times.
fn bulging(window: &Window, count: usize) -> Vec<Vec<Guess>> {
    let length = window.x[window.x.len() - 1] - window.x[0];
    let mut starts: Vec<Vec<Guess>> = Vec::new();
    for width in WIDTHS.map(|w| w * length) {
        let places = bulges(window, 0.65 * width);
        if places.len() == count {
            starts.push(places.iter().map(|&centre| Guess { area: 1.0, centre, width, eta: START_ETA }).collect());
        }
    }
    // The narrowest and the widest: between them nothing new is found.
    if starts.len() > 2 {
        starts.drain(1..starts.len() - 1);
    }
    starts
}

/// Wider than this share of the window, a peak imitates the baseline.
const WIDE: f64 = 0.25;

/// Lower sum of squares, among fits whose peaks all rise and are narrower than their window.
fn better(window: &Window, a: &(Vec<Guess>, NonlinearFit), b: &(Vec<Guess>, NonlinearFit)) -> bool {
    let length = window.x[window.x.len() - 1] - window.x[0];
    let is_sound = |f: &(Vec<Guess>, NonlinearFit)| {
        f.0.iter().all(|g| g.area > 0.0 && g.width < WIDE * length && !window.is_at_limit(g))
    };
    match (is_sound(a), is_sound(b)) {
        (true, false) => true,
        (false, true) => false,
        _ => a.1.rss < b.1.rss,
    }
}

/// One fit from given peaks, all in the first window.
pub(super) fn attempt(
    window: &[Window],
    guesses: &[Guess],
    options: &FitOptions,
) -> Result<(Vec<Guess>, NonlinearFit)> {
    let counts = [guesses.len()];
    let problem = Problem::new(window, &counts, options.shape, options.terms(), options.sharing());
    let fit = problem.fit(&problem.start(guesses), options.max_iterations)?;
    let found = problem.places.iter().map(|place| problem.guess(&fit.parameters, place)).collect();
    Ok((found, fit))
}

impl FitOptions {
    pub(super) fn terms(&self) -> usize {
        self.baseline_degree + 1
    }

    pub(super) fn sharing(&self) -> Sharing {
        if self.shared_shape { Sharing::Peaks } else { Sharing::None }
    }
}
