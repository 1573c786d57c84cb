//! How many peaks: maxima and shoulders that the points show, and whether they bear one more component.

use super::model::{Guess, Problem, Window};
use super::start::{START_ETA, attempt};
use super::{FitOptions, FitShape};
use crate::error::Result;
use crate::numeric::NonlinearFit;
use crate::peaks::sums::{BoxNoise, Sums};

/// A bend counts from this many standard deviations on.
const BEND_Z: f64 = 4.0;
/// Components added to what was seen, at most.
const MOST_ADDED: usize = 3;

/// Places (in units of x) where the signal bulges: concave stretches parted by convex ones.
///
/// A single peak, however lopsided, bulges once: its flanks bend upwards and nothing else does. A second maximum or a
/// shoulder is a second bulge behind a stretch that bends upwards. The bend is C - (L + R)/2 of three neighbouring
/// boxes of `width` units, against the noise and its correlation at that size.
pub(super) fn bulges(window: &Window, width: f64) -> Vec<f64> {
    let sums = Sums::new(&window.y);
    let n = window.len();
    let size = ((width / window.interval()).round() as usize).max(1);
    if n < 3 * size + 2 {
        return Vec::new();
    }
    let sd = BoxNoise::new(size, window.phi).curvature;
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut parted = true;
    for start in size..=n - 2 * size {
        let middle = sums.mean(start, start + size);
        let bend = (middle - 0.5 * (sums.mean(start - size, start) + sums.mean(start + size, start + 2 * size))) / sd;
        if bend < -BEND_Z {
            parted = true;
        } else if bend > BEND_Z {
            let at = window.x[start + size / 2];
            match found.last_mut().filter(|_| !parted) {
                Some(last) if bend > last.1 => *last = (at, bend),
                Some(_) => {}
                None => found.push((at, bend)),
            }
            parted = false;
        }
    }
    found.into_iter().map(|f| f.0).collect()
}

/// Adds components one at a time where a bulge has none and the information criterion agrees:
/// χ² + p ln n must fall, n the number of independent points n (1 - φ)/(1 + φ), and χ² in units of the richer fit's own
/// mean square where that is above 1, so that a shape that fits nowhere is not mended by splitting peaks
/// (G. Schwarz, Annals of Statistics 6 (1978) 461-464; the bulge is this project's condition).
pub(super) fn extend(
    window: &[Window],
    mut best: (Vec<Guess>, NonlinearFit),
    options: &FitOptions,
) -> Result<(Vec<Guess>, NonlinearFit)> {
    let w = &window[0];
    let independent = (w.len() as f64 * (1.0 - w.phi) / (1.0 + w.phi)).max(2.0);
    for _ in 0..MOST_ADDED {
        let narrowest = best.0.iter().map(|g| g.width).fold(f64::INFINITY, f64::min);
        let mut tried = None;
        for share in [0.5, 0.8] {
            for at in bulges(w, share * narrowest) {
                // The bulge of a lopsided peak lies up to a width from its mean.
                let taken = {
                    let places =
                        Problem::new(window, &[best.0.len()], options.shape, options.terms(), options.sharing());
                    best.0.iter().any(|g| {
                        let apex = g.centre + g.width * crate::shapes::standard::apex(&places.profile(g.eta)).0;
                        (apex - at).abs() < 0.9 * g.width
                    })
                };
                if taken || tried.is_some() {
                    continue;
                }
                let level = best.0.iter().map(|g| g.area).fold(0.0, f64::max);
                let new = Guess { area: 0.2 * level, centre: at, width: 0.8 * narrowest, eta: START_ETA };
                let counts = best.0.len() + 1;
                if enough_points(w, counts, options) {
                    tried = Some(attempt(window, &[best.0.as_slice(), &[new]].concat(), options)?);
                }
            }
        }
        let Some(richer) = tried else { break };
        let more = (richer.1.parameters.len() - best.1.parameters.len()) as f64;
        let mean_square = (richer.1.rss / richer.1.dof.max(1.0)).max(1.0);
        let gained = (best.1.rss - richer.1.rss) / mean_square - more * libm::log(independent);
        let sound = richer.1.stop.converged()
            && richer.1.unscaled_covariance.is_some()
            && richer.0.iter().all(|g| g.area > 0.0 && g.centre.abs() < 7.0);
        if gained <= 0.0 || !sound {
            break;
        }
        best = richer;
    }
    Ok(best)
}

/// Parameters of a fit of so many peaks in one window.
pub(super) fn parameters(peaks: usize, options: &FitOptions) -> usize {
    let per_shape = if options.shape == FitShape::Gaussian { 1 } else { 2 };
    options.terms() + 2 * peaks + per_shape * if options.shared_shape { 1 } else { peaks }
}

/// Three points more than parameters.
pub(super) fn enough_points(w: &Window, peaks: usize, options: &FitOptions) -> bool {
    w.len() >= parameters(peaks, options) + 3
}
