//! What a fit says: peaks with their uncertainties, and how well the model fits.

use serde::Serialize;

use super::FitShape;
use super::model::{Guess, Place, Problem, whiten};
use crate::numeric::{Matrix, NonlinearFit, fisher_f_sf};
use crate::peaks::{Integration, PeakNote};
use crate::shapes::standard::{Standard, apex};
use crate::signal::NoiseProfile;
use crate::trace::Trace;

/// One peak of a fit. Times and widths in minutes, heights in signal units, areas in signal unit × minute.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FittedPeak {
    /// Time of the profile's apex.
    pub retention_time_min: f64,
    /// Its standard uncertainty from noise; none where the data do not determine all parameters.
    pub retention_time_u_min: Option<f64>,
    /// The area to go on with: the profile's, or the sum's where an isolated peak is not of the profile's shape
    /// (`method` says which).
    pub area: f64,
    /// Its standard uncertainty.
    pub area_u: Option<f64>,
    /// Area of the profile.
    pub fit_area: f64,
    /// Its standard uncertainty from noise alone, as if the shape were right.
    pub fit_area_u: Option<f64>,
    /// For a peak alone in its window: the sum above a straight baseline through the window's ends.
    pub sum_area: Option<f64>,
    /// Its standard uncertainty.
    pub sum_area_u: Option<f64>,
    /// For one of several: what the perpendicular drop gave.
    pub drop_area: Option<f64>,
    /// Height of the profile's apex.
    pub height: f64,
    /// Its standard uncertainty.
    pub height_u: Option<f64>,
    /// Width of the profile at half height.
    pub width_half_min: f64,
    /// Standard deviation of the Gaussian part σ; of a vanishing amount for the Haarhoff-Van der Linde function.
    pub sigma_min: f64,
    /// Centre of the Gaussian part; retention time of a vanishing amount for the Haarhoff-Van der Linde function.
    pub centre_min: f64,
    /// Time constant τ of the tail, negative where it is a front; none for other profiles.
    pub tau_min: Option<f64>,
    /// Load of the Haarhoff-Van der Linde function, positive for a fronting peak; none for other profiles.
    pub load: Option<f64>,
    /// How the area came about.
    pub method: Integration,
    /// What to be careful about.
    pub notes: Vec<PeakNote>,
    #[serde(skip)]
    pub(super) guess: Guess,
}

/// What a fit says of one peak, kept with the [`Peak`](crate::peaks::Peak) whichever way its area was taken.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PeakFit {
    /// The profile.
    pub shape: FitShape,
    /// Peaks fitted together.
    pub together: usize,
    /// Area of the profile.
    pub area: f64,
    /// Its standard uncertainty from noise; none where the data do not determine all parameters.
    pub area_u: Option<f64>,
    /// For a peak alone: the sum above a straight baseline beside the profile.
    pub sum_area: Option<f64>,
    /// For one of several: what the perpendicular drop gave.
    pub drop_area: Option<f64>,
    /// Standard deviation of the Gaussian part in minutes.
    pub sigma_min: f64,
    /// Time constant of the tail in minutes, negative where it is a front; none for other profiles.
    pub tau_min: Option<f64>,
    /// χ² of the group's fit.
    pub chi_squared: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Probability of a χ² at least as large where the profile is right.
    pub probability: Option<f64>,
    /// True where the fit settled on a peak inside its window, with an uncertainty.
    pub is_sound: bool,
}

impl PeakFit {
    /// What the perpendicular drop gives more than the profile, as a share of the profile's area; none for a peak alone.
    pub fn drop_excess(&self) -> Option<f64> {
        self.drop_area.filter(|_| self.area > 0.0).map(|drop| drop / self.area - 1.0)
    }
}

/// A fit of one or several peaks in one window.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupFit {
    /// The peaks in the order of time.
    pub peaks: Vec<FittedPeak>,
    /// First and last minute of the window.
    pub window_min: [f64; 2],
    /// Points in it.
    pub points: usize,
    /// The profile.
    pub shape: FitShape,
    /// Parameters that were fitted, the baseline's included.
    pub parameters: usize,
    /// Sum of squared residuals, made independent of each other, over the noise's variance.
    pub chi_squared: f64,
    /// Points less parameters.
    pub dof: f64,
    /// Probability of a χ² at least as large where the model is right; the scatter of the noise's own estimate is
    /// taken into account. Below 0.01 the peaks are not of this shape.
    pub fit_probability: Option<f64>,
    /// χ² + p ln n with n the number of independent points: the smaller, the better supported.
    pub information: f64,
    /// True where the fit settled.
    pub converged: bool,
    /// Why it stopped, in words.
    pub stop: String,
    /// Covariance of the fitted areas; none where the data do not determine all parameters.
    pub area_covariance: Option<Matrix>,
    /// Standard deviation of the noise in signal units.
    pub noise_sd: f64,
    /// The trace that was fitted, shared and not copied.
    #[serde(skip)]
    pub trace: Option<Trace>,
    #[serde(skip)]
    pub(super) middle_min: f64,
    #[serde(skip)]
    pub(super) unit_min: f64,
    /// Baseline's coefficients in ξ from -1 to 1 over the window, in signal units.
    pub baseline: Vec<f64>,
}

impl GroupFit {
    /// Level of the fitted baseline at a time, in signal units.
    pub fn baseline_at(&self, time_min: f64) -> f64 {
        let half = 0.5 * (self.window_min[1] - self.window_min[0]);
        let xi = (time_min - self.middle_min) / half;
        self.baseline.iter().rev().fold(0.0, |sum, c| sum * xi + c)
    }

    /// Signal of one fitted peak at a time, without the baseline; 0 where there is no such peak.
    pub fn peak_at(&self, peak: usize, time_min: f64) -> f64 {
        let Some(p) = self.peaks.get(peak) else { return 0.0 };
        let x = (time_min - self.middle_min) / self.unit_min;
        let profile = standard(self.shape, p.guess.eta);
        p.fit_area / (p.guess.width * self.unit_min) * profile.at((x - p.guess.centre) / p.guess.width).value
    }

    /// The whole model at a time, in signal units.
    pub fn value(&self, time_min: f64) -> f64 {
        (0..self.peaks.len()).map(|k| self.peak_at(k, time_min)).sum::<f64>() + self.baseline_at(time_min)
    }

    /// What is said of one peak.
    pub(super) fn summary(&self, peak: &FittedPeak) -> PeakFit {
        PeakFit {
            shape: self.shape,
            together: self.peaks.len(),
            area: peak.fit_area,
            area_u: peak.fit_area_u,
            sum_area: peak.sum_area,
            drop_area: peak.drop_area,
            sigma_min: peak.sigma_min,
            tau_min: peak.tau_min,
            chi_squared: self.chi_squared,
            dof: self.dof,
            probability: self.fit_probability,
            is_sound: peak.is_sound(),
        }
    }

    /// True where the peaks are not of the fitted shape: χ² lies above its 99 % point.
    pub fn is_misfit(&self) -> bool {
        self.fit_probability.is_some_and(|p| p < 0.01)
    }
}

pub(super) fn standard(shape: FitShape, eta: f64) -> Standard {
    match shape {
        FitShape::Gaussian => Standard::Gaussian,
        FitShape::ExponentiallyModifiedGaussian => Standard::skewed(eta),
        FitShape::HaarhoffVanDerLinde => Standard::loaded(eta),
    }
}

/// Degrees of freedom of the noise's standard deviation: what 400 seeded runs at each correlation showed
/// (`estimate_noise`): 0.7 n for white noise, a third at φ = 0.5, a ninth at 0.8.
pub(super) fn noise_dof(noise: &NoiseProfile, points: usize) -> f64 {
    let phi = noise.autocorrelation.max(0.0);
    (0.7 * points as f64 * libm::pow((1.0 - phi) / (1.0 + phi), 1.2)).max(5.0)
}

/// Everything about window `w` of a solved problem.
pub(super) fn outcome(problem: &Problem<'_>, fit: &NonlinearFit, w: usize, noise_dof: f64, time: [f64; 2]) -> GroupFit {
    let window = &problem.windows[w];
    let (sd, unit) = (window.sd, window.unit_min);
    let (mut rest, _) = problem.parts(&fit.parameters, w);
    whiten(&mut rest, window.phi);
    let chi_squared: f64 = rest.iter().map(|r| r * r).sum();
    // In a fit over several windows each bears its share of the parameters.
    let share = problem.parameters as f64 * window.len() as f64 / problem.points() as f64;
    let dof = window.len() as f64 - share;
    let mean_square = chi_squared / dof.max(1.0);
    let probability = (dof >= 1.0).then(|| fisher_f_sf(mean_square, dof, noise_dof));
    let misfit = probability.is_some_and(|p| p < 0.01);
    // Residuals of a wrong shape hang together over half a peak: their variance counts as often as points do.
    let together = {
        let lag: f64 = rest.windows(2).map(|r| r[0] * r[1]).sum::<f64>() / chi_squared.max(f64::MIN_POSITIVE);
        ((1.0 + lag) / (1.0 - lag)).clamp(1.0, 1e3)
    };
    let inflate = if misfit { (mean_square * together).sqrt() } else { 1.0 };
    let covariance = fit.unscaled_covariance.as_ref();
    let mut order: Vec<&Place> = problem.places.iter().filter(|p| p.window == w).collect();
    let time_of = |place: &Place| {
        let g = problem.guess(&fit.parameters, place);
        g.centre + g.width * apex(&problem.profile(g.eta)).0
    };
    order.sort_by(|a, b| time_of(a).total_cmp(&time_of(b)));
    let peaks = order
        .iter()
        .map(|place| {
            let g = problem.guess(&fit.parameters, place);
            fitted(problem, place, g, covariance, window.middle_min, unit, sd, inflate)
        })
        .collect::<Vec<_>>();
    let at_limit = order.iter().any(|place| window.is_at_limit(&problem.guess(&fit.parameters, place)));
    let area_covariance = covariance.map(|c| {
        let scale = (sd * unit * inflate).powi(2);
        Matrix::from_fn(order.len(), order.len(), |i, j| scale * c[(order[i].area, order[j].area)])
    });
    let independent = (window.len() as f64 * (1.0 - window.phi) / (1.0 + window.phi)).max(2.0);
    GroupFit {
        peaks,
        window_min: time,
        points: window.len(),
        shape: problem.shape,
        parameters: problem.parameters,
        chi_squared,
        dof,
        fit_probability: probability,
        information: chi_squared + problem.parameters as f64 * libm::log(independent),
        converged: fit.stop.converged() && !at_limit,
        stop: if at_limit {
            "a width, place or tail ran to the end of its range".to_owned()
        } else {
            fit.stop.to_string()
        },
        area_covariance,
        noise_sd: sd,
        trace: None,
        middle_min: window.middle_min,
        unit_min: unit,
        baseline: problem.baseline(w).map(|j| fit.parameters[j] * sd).collect(),
    }
}

#[allow(clippy::too_many_arguments)]
fn fitted(
    problem: &Problem<'_>,
    place: &Place,
    g: Guess,
    covariance: Option<&Matrix>,
    middle: f64,
    unit: f64,
    sd: f64,
    inflate: f64,
) -> FittedPeak {
    let profile = problem.profile(g.eta);
    let (at, top) = apex(&profile);
    // How apex and height follow η: differences of exact values.
    let (at_slope, top_slope) = match place.skew {
        None => (0.0, 0.0),
        Some(_) => {
            let step = 1e-3 * (1.0 + g.eta.abs());
            let (a, b) = (apex(&problem.profile(g.eta + step)), apex(&problem.profile(g.eta - step)));
            ((a.0 - b.0) / (2.0 * step), (a.1 - b.1) / (2.0 * step))
        }
    };
    let height = g.area / g.width * top;
    let spread = |weights: &[(usize, f64)]| {
        covariance.map(|c| {
            let sum: f64 =
                weights.iter().map(|(i, a)| weights.iter().map(|(j, b)| a * b * c[(*i, *j)]).sum::<f64>()).sum();
            inflate * sum.max(0.0).sqrt()
        })
    };
    let mut time = vec![(place.centre, 1.0), (place.width, g.width * at)];
    let mut high = vec![(place.area, top / g.width), (place.width, -height)];
    if let Some(k) = place.skew {
        time.push((k, g.width * at_slope));
        high.push((k, g.area / g.width * top_slope));
    }
    let area_u = spread(&[(place.area, 1.0)]).map(|u| u * sd * unit);
    let (sigma, centre, tau, load) = match profile {
        Standard::Gaussian => (1.0, 0.0, None, None),
        Standard::Skewed(s) => {
            let tau = s.tau.copysign(g.eta);
            (s.sigma, -tau, Some(tau * g.width * unit), None)
        }
        Standard::Loaded(l) => (1.0, 0.0, None, Some(l.load())),
    };
    let area = g.area * sd * unit;
    let (front, back) = width_at(&profile, 0.5);
    FittedPeak {
        retention_time_min: middle + unit * (g.centre + g.width * at),
        retention_time_u_min: spread(&time).map(|u| u * unit),
        area,
        area_u,
        fit_area: area,
        fit_area_u: area_u,
        sum_area: None,
        sum_area_u: None,
        drop_area: None,
        height: height * sd,
        height_u: spread(&high).map(|u| u * sd),
        width_half_min: (front + back) * g.width * unit,
        sigma_min: sigma * g.width * unit,
        centre_min: middle + unit * (g.centre + g.width * centre),
        tau_min: tau,
        load,
        method: Integration::Fit,
        notes: Vec::new(),
        guess: g,
    }
}

/// Front and back of the width at a share of the height, in standard units, by bisection on either side of the apex.
pub(super) fn width_at(profile: &Standard, share: f64) -> (f64, f64) {
    let (at, top) = apex(profile);
    let side = |direction: f64| {
        let mut far = 1.0;
        while profile.at(at + direction * far).value > share * top && far < 1e6 {
            far *= 2.0;
        }
        let (mut near, mut far) = (0.0, far);
        for _ in 0..50 {
            let middle = 0.5 * (near + far);
            if profile.at(at + direction * middle).value > share * top {
                near = middle;
            } else {
                far = middle;
            }
        }
        0.5 * (near + far)
    };
    (side(-1.0), side(1.0))
}
