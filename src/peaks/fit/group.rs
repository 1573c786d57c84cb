//! All peaks of a list fitted, group by group, and the list with what the fits say.

use serde::Serialize;

use super::outcome::{FittedPeak, GroupFit, standard, width_at};
use super::window::{Seen, finish};
use super::{Components, FitOptions};
use crate::error::{Error, ErrorKind, Result};
use crate::peaks::{Integration, Peak, PeakList, PeakNote, foley_dorsey};
use crate::shapes::standard::eta_of_ratio;
use crate::signal::NoiseProfile;
use crate::trace::{Run, Trace};

/// The fits of one run's peaks.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PeakFits {
    /// One fit per group of neighbours that share a baseline, in the order of time.
    pub groups: Vec<GroupFit>,
    /// Groups that were not fitted, and why, in words.
    pub left_out: Vec<String>,
    /// Name of the run; empty for a bare trace.
    pub run: String,
    /// Unit of heights; areas have this times minutes.
    pub signal_unit: String,
    /// The options that were used.
    pub options: FitOptions,
    /// The trace that was fitted, shared and not copied.
    #[serde(skip)]
    pub trace: Option<Trace>,
}

impl PeakFits {
    /// All fitted peaks in the order of time.
    pub fn peaks(&self) -> Vec<&FittedPeak> {
        self.groups.iter().flat_map(|g| &g.peaks).collect()
    }

    /// The fitted peak whose apex is nearest to `time_min`.
    pub fn nearest(&self, time_min: f64) -> Option<&FittedPeak> {
        let distance = |p: &&FittedPeak| (p.retention_time_min - time_min).abs();
        self.groups.iter().flat_map(|g| &g.peaks).min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }
}

/// Peaks fitted together at most; larger groups are parted at their deepest valleys.
const LARGEST_GROUP: usize = 6;

impl Trace {
    /// Fits all peaks of a list: neighbours that share a baseline together, each other peak alone.
    ///
    /// The window of a group runs from the first peak's start to the last one's end. Peaks that are cut off at the top
    /// are left out, and said to be. See [`Trace::fit_window`] for model, uncertainty and choice of components.
    ///
    /// # Errors
    /// An option outside its range.
    ///
    /// ```
    /// use vialbook::{Trace, peaks::{Detect, FitOptions}, shapes::ExponentiallyModifiedGaussian};
    /// let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal = vec![0.5; 3000];
    /// ExponentiallyModifiedGaussian::new(2.0, 3.0, 0.04, 0.03)?.add_to(&time, &mut signal);
    /// ExponentiallyModifiedGaussian::new(0.4, 3.2, 0.04, 0.03)?.add_to(&time, &mut signal);
    /// let trace = Trace::new(time, signal, "mV")?;
    /// let peaks = trace.find_peaks(&Detect::default())?;
    /// let fitted = peaks.with_fits(&trace.fit_peaks(&peaks, &FitOptions::default())?);
    /// assert!((peaks.peaks[1].area - 0.4).abs() > 0.01);              // perpendicular drop
    /// assert!((fitted.peaks[1].area - 0.4).abs() < 1e-6);             // fit
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn fit_peaks(&self, peaks: &PeakList, options: &FitOptions) -> Result<PeakFits> {
        self.fit_some(peaks, options, |_| true)
    }

    /// Fits the groups that are wanted.
    fn fit_some(&self, peaks: &PeakList, options: &FitOptions, wanted: impl Fn(&[Peak]) -> bool) -> Result<PeakFits> {
        options.check()?;
        let noise = NoiseProfile::new(self.signal(), self.step());
        let mut fits = PeakFits {
            groups: Vec::new(),
            left_out: Vec::new(),
            run: peaks.run.clone(),
            signal_unit: self.signal_unit().to_owned(),
            options: options.clone(),
            trace: Some(self.clone()),
        };
        for group in groups(&peaks.peaks).into_iter().filter(|g| wanted(g)) {
            let (first, last) = (&group[0], &group[group.len() - 1]);
            let ends = [first.start_min, last.end_min];
            if let Some(note) = group.iter().flat_map(|p| &p.notes).find(|n| n.is_cut_off()) {
                fits.left_out.push(format!("{:.3} to {:.3} min: {note}", ends[0], ends[1]));
                continue;
            }
            let seen: Vec<Seen> = group.iter().map(|p| seen(p, group)).collect();
            let expected = options.expected_min.iter().copied().filter(|t| *t >= ends[0] && *t <= ends[1]).collect();
            let own = FitOptions { components: Components::Chosen, expected_min: expected, ..options.clone() };
            match self.fit_between(ends[0], ends[1], &seen, &own, &noise) {
                Ok(mut fit) => {
                    beside(&mut fit, group);
                    finish(&mut fit);
                    fits.groups.push(fit);
                }
                Err(e) => fits.left_out.push(format!("{:.3} to {:.3} min: {e}", ends[0], ends[1])),
            }
        }
        Ok(fits)
    }
}

impl Run {
    /// Fits all peaks of a list; see [`Trace::fit_peaks`].
    ///
    /// # Errors
    /// As [`Trace::fit_peaks`], with the run's file.
    pub fn fit_peaks(&self, peaks: &PeakList, options: &FitOptions) -> Result<PeakFits> {
        self.trace.fit_peaks(peaks, options).map_err(|e| e.in_file(&self.provenance.file))
    }
}

/// Neighbours that touch, no more than `LARGEST_GROUP` together.
fn groups(peaks: &[Peak]) -> Vec<&[Peak]> {
    let mut all = Vec::new();
    for touching in peaks.chunk_by(|a, b| a.end_min == b.start_min) {
        part(touching, &mut all);
    }
    all
}

fn part<'a>(group: &'a [Peak], all: &mut Vec<&'a [Peak]>) {
    if group.len() <= LARGEST_GROUP {
        all.push(group);
        return;
    }
    // A valley's depth shows in the widths that find their level before it: the widest gap for its widths.
    let gap = |w: &[Peak]| {
        let wide = |p: &Peak| p.width_half_min.unwrap_or((p.end_min - p.start_min) / 3.0);
        (w[1].retention_time_min - w[0].retention_time_min) / (wide(&w[0]) + wide(&w[1]))
    };
    // Not at the very ends, which would peel off one at a time.
    let (from, to) = (group.len() / 4, group.len() - group.len() / 4);
    let at = (from.max(1)..to).max_by(|&i, &j| gap(&group[i - 1..=i]).total_cmp(&gap(&group[j - 1..=j]))).unwrap_or(1);
    part(&group[..at], all);
    part(&group[at..], all);
}

/// Where the fit of a found peak starts.
fn seen(peak: &Peak, group: &[Peak]) -> Seen {
    let own = peak.width_half_min;
    let others = group.iter().filter_map(|p| p.width_half_min).fold(f64::INFINITY, f64::min);
    let wide = own.unwrap_or(if others.is_finite() { others } else { (peak.end_min - peak.start_min) / 4.0 });
    // A neighbour widens what is seen of a small peak.
    let width_half_min = wide.min(2.0 * others);
    let eta = match (peak.width_tenth_min, peak.asymmetry_10pct) {
        (Some(tenth), Some(asymmetry)) if peak.width_half_min.is_some() => start_eta(tenth, asymmetry),
        _ => 0.05,
    };
    Seen { apex_min: peak.retention_time_min, width_half_min, area: peak.area, eta }
}

/// From width and asymmetry at a tenth of the height.
fn start_eta(tenth: f64, asymmetry: f64) -> f64 {
    let size = asymmetry.max(1.0 / asymmetry).min(2.7);
    let ratio = foley_dorsey(0.0, tenth, size)
        .filter(|_| size >= 1.03)
        .map(|f| (f.variance_min2 / (f.sigma_min * f.sigma_min) - 1.0).max(0.01).sqrt());
    ratio.map_or(0.01, |r| eta_of_ratio(r.min(3.0))).copysign(asymmetry - 1.0)
}

/// What the list says of the same peaks: the sum of a peak alone, the drop of overlapping ones.
fn beside(fit: &mut GroupFit, group: &[Peak]) {
    if let ([fitted], [found]) = (&mut fit.peaks[..], group) {
        fitted.sum_area = Some(found.area);
        // A thousandth of the peak may lie outside, anywhere from none of it to all.
        fitted.sum_area_u = Some(found.area_u.hypot(1e-3 * found.area.abs() / 12.0_f64.sqrt()));
        return;
    }
    for (k, found) in group.iter().enumerate() {
        let Some(i) = matching(&fit.peaks, group, k) else { continue };
        let fitted = &mut fit.peaks[i];
        if found.method == Integration::PerpendicularDrop && fitted.fit_area > 0.0 {
            fitted.drop_area = Some(found.area);
            fitted.notes.push(PeakNote::DropAgainstFit(found.area / fitted.fit_area - 1.0));
        }
    }
}

/// The fitted peak that is the found peak `k`: the one nearest to it, and no other found peak nearer to that.
fn matching(fitted: &[FittedPeak], group: &[Peak], k: usize) -> Option<usize> {
    let distance = |i: usize, k: usize| (fitted[i].retention_time_min - group[k].retention_time_min).abs();
    let i = (0..fitted.len()).min_by(|&a, &b| distance(a, k).total_cmp(&distance(b, k)))?;
    let back = (0..group.len()).min_by(|&a, &b| distance(i, a).total_cmp(&distance(i, b)))?;
    (back == k).then_some(i)
}

impl PeakList {
    /// Fits all peaks of the list on the trace they were found in; see [`Trace::fit_peaks`].
    ///
    /// # Errors
    /// An option outside its range; a list put together by hand, which has no trace.
    pub fn fits(&self, options: &FitOptions) -> Result<PeakFits> {
        self.own_trace()?.fit_peaks(self, options)
    }

    /// The list with areas, heights, times and widths from fits: [`PeakList::fits`] and [`PeakList::with_fits`] in one.
    ///
    /// # Errors
    /// As [`PeakList::fits`].
    ///
    /// ```
    /// use vialbook::{Trace, peaks::{Detect, FitOptions}, shapes::Gaussian};
    /// let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal = vec![0.5; 3000];
    /// Gaussian::new(2.0, 3.0, 0.04)?.add_to(&time, &mut signal);
    /// Gaussian::new(0.2, 3.16, 0.04)?.add_to(&time, &mut signal);
    /// let trace = Trace::new(time, signal, "mV")?;
    /// let fitted = trace.find_peaks(&Detect::default())?.fit(&FitOptions::default())?;
    /// assert!((fitted.peaks[1].area - 0.2).abs() < 1e-5);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn fit(&self, options: &FitOptions) -> Result<PeakList> {
        Ok(self.with_fits(&self.fits(options)?))
    }

    /// The list as it is, with fits of its overlapping peaks beside it: each says in a note what the perpendicular drop
    /// gives against the fit. No area changes.
    ///
    /// # Errors
    /// As [`PeakList::fits`].
    pub fn beside_fits(&self, options: &FitOptions) -> Result<PeakList> {
        let fits = self.own_trace()?.fit_some(self, options, |group| group.len() > 1)?;
        let mut list = self.clone();
        for group in &fits.groups {
            let inside = self.inside(group);
            let found: Vec<Peak> = inside.iter().map(|&i| self.peaks[i].clone()).collect();
            for (k, &i) in inside.iter().enumerate() {
                let Some(fitted) = matching(&group.peaks, &found, k).map(|m| &group.peaks[m]) else { continue };
                let peak = &mut list.peaks[i];
                peak.fit = Some(group.summary(fitted));
                if fitted.is_sound() {
                    let compared = fitted.notes.iter().filter(|n| matches!(n, PeakNote::DropAgainstFit(_)));
                    peak.notes.extend(compared.cloned());
                }
            }
        }
        Ok(list)
    }

    fn own_trace(&self) -> Result<&Trace> {
        self.trace.as_ref().ok_or_else(|| {
            Error::new(ErrorKind::Option, "a list of peaks without its trace cannot be fitted")
                .hint("find the peaks with find_peaks, or use fit_peaks of the run")
        })
    }

    /// Indices of the peaks that a fit is about.
    fn inside(&self, group: &GroupFit) -> Vec<usize> {
        let [from, to] = group.window_min;
        let is_inside = |p: &Peak| p.start_min >= from - 1e-9 && p.end_min <= to + 1e-9;
        (0..self.peaks.len()).filter(|&i| is_inside(&self.peaks[i])).collect()
    }

    /// The list with areas, heights, times and widths of the fits; peaks without a sound fit keep what they have.
    ///
    /// Each peak's method says how its area came about; for overlapped ones a note gives what the perpendicular drop
    /// said instead. Components without a maximum of their own become peaks. A fit that did not settle, or made no
    /// peak, changes no number: its note is added.
    pub fn with_fits(&self, fits: &PeakFits) -> PeakList {
        let mut peaks = self.peaks.clone();
        for group in &fits.groups {
            let inside = self.inside(group);
            let found: Vec<Peak> = inside.iter().map(|&i| self.peaks[i].clone()).collect();
            for (i, fitted) in group.peaks.iter().enumerate() {
                let partner = (0..found.len()).find(|&k| matching(&group.peaks, &found, k) == Some(i));
                match partner {
                    Some(k) => {
                        let here = &mut peaks[inside[k]];
                        *here = replaced(here, fitted, group);
                    }
                    None if fitted.is_sound() && !found.is_empty() => {
                        let wide = 2.0 * fitted.width_half_min;
                        let [from, to] = group.window_min;
                        let (start_min, end_min) =
                            ((fitted.retention_time_min - wide).max(from), (fitted.retention_time_min + wide).min(to));
                        let share = (end_min - start_min) / (to - from);
                        let points = (share * group.points as f64).round() as usize;
                        let model = Peak { notes: Vec::new(), start_min, end_min, points, ..found[0].clone() };
                        peaks.push(replaced(&model, fitted, group));
                    }
                    None => {}
                }
            }
        }
        peaks.sort_by(|a, b| a.retention_time_min.total_cmp(&b.retention_time_min));
        for k in 1..peaks.len() {
            if let (Some(a), Some(b)) = (peaks[k - 1].width_half_min, peaks[k].width_half_min) {
                let apart = peaks[k].retention_time_min - peaks[k - 1].retention_time_min;
                peaks[k].resolution_half_height = Some(1.18 * apart / (a + b)); // as in `find_peaks`
            }
        }
        PeakList { peaks, ..self.clone() }
    }
}

fn replaced(here: &Peak, fitted: &FittedPeak, group: &GroupFit) -> Peak {
    let mut notes = here.notes.clone();
    notes.extend(fitted.notes.iter().cloned());
    let fit = Some(group.summary(fitted));
    let (true, Some(area_u)) = (fitted.is_sound(), fitted.area_u) else {
        return Peak { notes, fit, ..here.clone() };
    };
    if fitted.method != Integration::Fit {
        return Peak { notes, fit, ..here.clone() };
    }
    let profile = standard(group.shape, fitted.guess.eta);
    let unit = fitted.guess.width * group.unit_min;
    let (front, back) = width_at(&profile, 0.1);
    let (front5, back5) = width_at(&profile, 0.05);
    // The overlap is dealt with: that note spoke of the perpendicular drop.
    let parted = |time: f64| {
        let own = fitted.retention_time_min;
        group
            .peaks
            .iter()
            .any(|p| p.retention_time_min != own && (p.retention_time_min - time).abs() < 0.5 * fitted.width_half_min)
    };
    notes.retain(|n| match n {
        PeakNote::Overlaps(_) | PeakNote::OnTail(_) => false,
        PeakNote::Shoulder(time) => !parted(*time),
        _ => true,
    });
    let per_height = here.signal_to_noise / here.height;
    let per_sd = here.height_over_sd / here.height;
    Peak {
        retention_time_min: fitted.retention_time_min,
        retention_time_u_min: fitted.retention_time_u_min,
        area: fitted.area,
        area_u,
        height: fitted.height,
        width_half_min: Some(fitted.width_half_min),
        width_tenth_min: Some(unit * (front + back)),
        width_5pct_min: Some(unit * (front5 + back5)),
        plates_half_height: here
            .plates_half_height
            .map(|_| 5.545 * (fitted.retention_time_min / fitted.width_half_min).powi(2)),
        tailing_factor_5pct: Some((front5 + back5) / (2.0 * front5)),
        asymmetry_10pct: Some(back / front),
        signal_to_noise: per_height * fitted.height,
        height_over_sd: per_sd * fitted.height,
        baseline: [group.baseline_at(here.start_min), group.baseline_at(here.end_min)],
        method: Integration::Fit,
        notes,
        fit,
        ..here.clone()
    }
}

impl FittedPeak {
    /// True where the fit settled on a peak inside its window, with an uncertainty.
    pub fn is_sound(&self) -> bool {
        self.area_u.is_some()
            && !self.notes.iter().any(|n| {
                matches!(n, PeakNote::FitNotConverged(_) | PeakNote::FitUndetermined | PeakNote::FitImplausible)
            })
    }
}
