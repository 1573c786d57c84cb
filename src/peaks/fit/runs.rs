//! The same peaks in several runs, fitted together with one shape for each.

use super::model::{Guess, Problem, Sharing, Window};
use super::outcome::{GroupFit, outcome};
use super::start::search;
use super::window::{finish, noise_for, too_few, window_points};
use super::{Components, FitOptions};
use crate::error::{Error, ErrorKind, Result};
use crate::peaks::fit::choose::{enough_points, extend};
use crate::signal::NoiseProfile;
use crate::trace::Trace;

/// Fits the peaks between two times in several traces at once: the first peaks have one width and one lopsidedness in
/// all traces, the second ones too, and so on; areas, times and baselines are each trace's own.
///
/// Width and tail are properties of column and method as long as the load is small; shared over runs they cost each area
/// next to nothing, and the areas' variance falls 2 to 10 times where peaks overlap. Where a width changes from run to run
/// (load, flow), χ² of the single traces shows it. How many peaks: as the options say; where that is to be chosen, as
/// many as the trace with the most bears.
///
/// # Errors
/// No trace; else as [`Trace::fit_window`].
///
/// ```
/// use vialbook::{Trace, peaks::{Components, FitOptions, fit_together}, shapes::Gaussian};
/// let time: Vec<f64> = (0..600).map(|i| f64::from(i) * 0.01).collect();
/// let traces: Vec<Trace> = [(2.0, 1.0), (1.0, 3.0)]
///     .iter()
///     .map(|(a, b)| {
///         let mut signal = vec![0.5; 600];
///         Gaussian::new(*a, 3.0, 0.1)?.add_to(&time, &mut signal);
///         Gaussian::new(*b, 3.3, 0.12)?.add_to(&time, &mut signal);
///         Trace::new(time.clone(), signal, "mV")
///     })
///     .collect::<Result<_, _>>()?;
/// let options = FitOptions { components: Components::Exactly(2), ..FitOptions::default() };
/// let fits = fit_together(&traces, 2.4, 4.0, &options)?;
/// assert!((fits[1].peaks[1].area - 3.0).abs() < 1e-5);
/// assert_eq!(fits[0].peaks[0].sigma_min, fits[1].peaks[0].sigma_min);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn fit_together(traces: &[Trace], start_min: f64, end_min: f64, options: &FitOptions) -> Result<Vec<GroupFit>> {
    options.check()?;
    if traces.is_empty() {
        return Err(Error::new(ErrorKind::Option, "no traces to fit together; at least one is wanted".to_owned()));
    }
    let unit = (end_min - start_min) / 12.0;
    let mut windows = Vec::with_capacity(traces.len());
    let mut noise = Vec::with_capacity(traces.len());
    for trace in traces {
        let inside = window_points(trace, start_min, end_min, options)?;
        let profile = NoiseProfile::new(trace.signal(), trace.step());
        let (time, signal) = (&trace.time_min()[inside.clone()], &trace.signal()[inside.clone()]);
        let (sd, phi, known) = noise_for(options, &profile, (inside.start + inside.end) / 2, trace.len());
        windows.push(Window::new(time, signal, unit, sd, phi));
        noise.push(known);
    }
    // Each alone first, for places and areas; then all, from the mean widths.
    let one = |w: &Window, count: usize| search(std::slice::from_ref(w), count, options);
    let count = match options.components {
        Components::Exactly(n) => n,
        Components::Chosen => {
            let mut most = 1;
            for w in &windows {
                most = most.max(extend(std::slice::from_ref(w), one(w, 1)?, options)?.0.len());
            }
            most
        }
    };
    let mut guesses: Vec<Guess> = Vec::new();
    for (w, trace) in windows.iter().zip(traces) {
        if !enough_points(w, count, options) {
            return Err(too_few(trace, w.len(), start_min, end_min, count, options));
        }
        let mut own = one(w, count)?.0;
        own.sort_by(|a, b| a.centre.total_cmp(&b.centre));
        guesses.extend(own);
    }
    let sharing = if options.shared_shape { Sharing::Peaks } else { Sharing::Windows };
    let problem = Problem::new(&windows, &vec![count; windows.len()], options.shape, options.terms(), sharing);
    let fit = problem.fit(&problem.start(&guesses), options.max_iterations)?;
    Ok(windows
        .iter()
        .enumerate()
        .map(|(w, window)| {
            let ends = [window.x[0], window.x[window.len() - 1]].map(|x| window.middle_min + x * window.unit_min);
            let mut group = outcome(&problem, &fit, w, noise[w], ends);
            group.trace = Some(traces[w].clone());
            finish(&mut group);
            group
        })
        .collect())
}
