//! From a trace to its peaks: the methods of `Trace` and `Run`.

use crate::error::{Error, ErrorKind, Result};
use crate::peaks::bounds::{Bounds, bounds};
use crate::peaks::detect::{Search, find_apexes};
use crate::peaks::integrate::{AreaNoise, Line, area, area_above_zero};
use crate::peaks::measures::{Measures, Signal, measure};
use crate::peaks::shoulders::shoulders;
use crate::peaks::skim::skim;
use crate::peaks::sums::{BoxNoise, Sums};
use crate::peaks::{BaselineEnds, Detect, Integration, Overlap, Peak, PeakList, PeakNote};
use crate::signal::noise::range_about_line;
use crate::signal::{Baseline, NoiseProfile};
use crate::trace::{Run, Trace};

/// Finding and integrating peaks.
impl Trace {
    /// The peaks of a trace.
    ///
    /// **Detection** compares means of w points with those before and after at a ladder of widths w, against the
    /// noise and its correlation at that width: scale-free, and blind to a slope of the baseline. A peak must stand
    /// above both sides, so negative dips are no peaks and raise none beside them. **Bounds** lie where the tail
    /// stops bending, with a margin; neighbours closer than that are parted by a perpendicular at the valley.
    /// **Area**: trapezoid above a straight baseline through the means of several points at either end.
    ///
    /// **Uncertainty of the area**: A = Σ cᵢ yᵢ with the trapezoid's weights less the baseline's share on the points that
    /// carry it, so that u² = σ² Σᵢⱼ cᵢ cⱼ φ^|i - j| + (T q/√12)², σ and φ the noise and the correlation of neighbours, T
    /// the time during which the signal is off the baseline's own step, q the converter's step as far as noise does not
    /// average its rounding away (0 where σ exceeds half a step). Over 600 seeded draws each (heights of 10 to 10,000 σ, φ of 0, 0.5, 0.8, τ/σ of 0 and 1.5) the claimed u
    /// is 0.96 to 1.10 times the real scatter, and the bias at most 0.12 u. With a step q of σ/q from
    /// 0.01 to 2 it is 0.93 to 1.3 times, about 0.2 up to 1.8 times.
    ///
    /// **Accuracy** on exact exponentially modified Gaussians (τ/σ from 0 to 1.5, at least 20 points per half-height
    /// width, no noise): area 1e-8, half-height width 2e-5, plates 3e-5, tailing 2e-5, asymmetry 5e-5 relative; with
    /// 10 points, widths 3e-4 and tailing 4e-4. False peaks: 3 to 5 in 2,000 blank runs of 6,000 points. Height 8 σ, 10 points wide: found
    /// in at least 99.8 %. A shoulder without a maximum of its own is noted, not parted; a baseline that bends below a peak is
    /// not followed; where the valley lies between two points, the nearer one parts the peaks.
    ///
    /// # Errors
    /// An option outside its range; fewer than 16 points.
    ///
    /// ```
    /// use vialbook::{Trace, peaks::Detect, shapes::ExponentiallyModifiedGaussian};
    /// let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal = vec![0.1; time.len()];
    /// ExponentiallyModifiedGaussian::new(2.0, 3.0, 0.04, 0.03)?.add_to(&time, &mut signal);
    /// let peaks = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?;
    /// assert_eq!(peaks.len(), 1);
    /// assert!((peaks.peaks[0].area - 2.0).abs() < 2e-4);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn find_peaks(&self, options: &Detect) -> Result<PeakList> {
        options.check()?;
        if self.len() < 16 {
            return Err(Error::new(ErrorKind::Data, format!("{} points; finding peaks needs at least 16", self.len())));
        }
        let noise = NoiseProfile::new(self.signal(), self.step());
        let drawn = options.baseline.map(|method| self.baseline_in_noise(&method, Some(&noise))).transpose()?;
        let rest = drawn.as_ref().map(|b| self.subtract(b)).transpose()?;
        let y = rest.as_ref().map_or(self.signal(), |r| r.signal());
        let sums = Sums::new(y);
        let n = self.len();
        let widest = options.widest_min.map_or((n as f64 / 10.0).max(360.0), |w| w / self.interval_min());
        let apexes = find_apexes(&Search {
            sums: &sums,
            noise: &noise,
            threshold_z: options.threshold_z,
            widest,
            valley_fraction: options.valley_fraction,
        });
        let mut all = bounds(&sums, &noise, &apexes, options.baseline_points, drawn.is_some(), options.overlap);
        let parents = if options.overlap == Overlap::TangentSkim { skim(&sums, &mut all) } else { Vec::new() };
        let signal = Signal { time: self.time_min(), signal: y, sums: &sums, noise: &noise };
        let mut peaks: Vec<Peak> = Vec::with_capacity(all.len());
        for (k, b) in all.iter().enumerate() {
            let mut peak = self.peak(&signal, b, drawn.as_ref());
            // What stands above the tangents on a peak is not its own.
            for rider in (0..parents.len()).filter(|&r| parents[r] == Some(k)) {
                let other = self.peak(&signal, &all[rider], drawn.as_ref());
                peak.area -= other.area;
                peak.area_u = peak.area_u.hypot(other.area_u);
            }
            // A top that is cut off has edges that look like more.
            if let Some(width) = peak.width_half_min
                && !peak.notes.iter().any(PeakNote::is_cut_off)
            {
                let (z, w) = (options.threshold_z, width / self.interval_min());
                let found = shoulders(&sums, &noise, z, b.apex, (b.start, b.end), w, peak.height);
                peak.notes.extend(found.into_iter().map(|i| PeakNote::Shoulder(self.time_min()[i])));
            }
            let wide = peak.width_half_min.unwrap_or(b.width * self.interval_min()) / self.interval_min();
            // Noise has no width of its own; a peak between high valleys may have none either.
            let has_width = peak.width_half_min.is_some() || b.cut || b.method != Integration::BaselineToBaseline;
            let is_kept = has_width
                && wide >= options.narrowest_points
                && wide <= 1.2 * widest
                && peak.height > 0.0
                && options.from_min.is_none_or(|t| peak.retention_time_min >= t)
                && options.to_min.is_none_or(|t| peak.retention_time_min <= t)
                && options.least_height.is_none_or(|h| peak.height >= h);
            if is_kept {
                peaks.push(peak);
            }
        }
        for k in 1..peaks.len() {
            let (before, here) = (&peaks[k - 1], &peaks[k]);
            if let (Some(a), Some(b)) = (before.width_half_min, here.width_half_min) {
                // 1.18 = √(2 ln 2), rounded as in the IUPAC nomenclature, Pure Appl. Chem. 65 (1993) 819.
                peaks[k].resolution_half_height =
                    Some(1.18 * (here.retention_time_min - before.retention_time_min) / (a + b));
            }
        }
        note_neighbours(&mut peaks, &signal, drawn.is_some());
        let quiet = quiet_stretches(&all, n);
        for peak in &mut peaks {
            self.signal_to_noise(peak, &quiet, &noise);
        }
        Ok(PeakList {
            peaks,
            noise: noise.summary(self.time_min(), self.signal()),
            run: String::new(),
            signal_unit: self.signal_unit().to_owned(),
            options: options.clone(),
            trace: Some(self.clone()),
        })
    }

    /// The area between two given times above a straight baseline, whatever is there.
    ///
    /// Nothing is gated: in a blank the area may be negative, and says with its uncertainty that nothing was seen.
    /// The points from `start_min` to `end_min` (both included where they are points) are summed by the trapezoid
    /// rule. With [`BaselineEnds::SinglePoints`] the baseline joins the first and the last of them; by default the
    /// means of a tenth of the points about either end. Where something stands out of the noise, height, apex and
    /// widths are measured as for a peak that was found.
    ///
    /// # Errors
    /// An option outside its range; a start not before the end; fewer than 3 points between them.
    ///
    /// ```
    /// use vialbook::{Trace, peaks::{BaselineEnds, Detect}};
    /// let trace = Trace::new(vec![0.0, 1.0, 2.0, 3.0, 4.0], vec![1.0, 1.0, 3.0, 1.0, 1.0], "mV")?;
    /// let options = Detect { baseline_ends: BaselineEnds::SinglePoints, ..Detect::default() };
    /// assert_eq!(trace.integrate_window(1.0, 3.0, &options)?.area, 2.0);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn integrate_window(&self, start_min: f64, end_min: f64, options: &Detect) -> Result<Peak> {
        options.check()?;
        if !(start_min.is_finite() && end_min.is_finite() && start_min < end_min) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("a window from {start_min} to {end_min} min; the start must come before the end"),
            ));
        }
        let (time, n) = (self.time_min(), self.len());
        let (a, b) = (self.index_at(start_min), time.partition_point(|&t| t <= end_min));
        if b < a + 3 {
            return Err(Error::new(
                ErrorKind::Option,
                format!(
                    "{} point(s) between {start_min} and {end_min} min; a window needs at least 3 (the trace runs from {} to {} min)",
                    b.saturating_sub(a),
                    time[0],
                    time[n - 1]
                ),
            ));
        }
        let (start, end, inside) = (a, b - 1, b - a);
        let noise = NoiseProfile::new(self.signal(), self.step());
        let sums = Sums::new(self.signal());
        let half = match options.baseline_ends {
            BaselineEnds::SinglePoints => 0,
            BaselineEnds::Averaged => options.baseline_points.unwrap_or((inside / 10).max(3)) / 2,
        };
        let about = |i: usize| i.saturating_sub(half)..(i + half + 1).min(n);
        let (before, after) = (about(start), about(end));
        let line = Line::new(time, self.signal(), &before, &after);
        let reach = inside / 40;
        let above = |i: usize| sums.about(i, reach) - line.at(time[i]);
        let apex = (start + reach..=end - reach).max_by(|&i, &j| above(i).total_cmp(&above(j))).unwrap_or(start);
        // Noise of the top and of the baseline below it.
        let mean = |points: usize| BoxNoise::new(points, noise.autocorrelation).mean;
        let sd = mean(2 * reach + 1).hypot(mean(2 * half + 1) / 2_f64.sqrt()) * noise.sd_at(apex);
        let is_peak = apex > start + reach && apex < end - reach && above(apex) > options.threshold_z * sd;
        let bounds = Bounds {
            apex,
            width: (inside as f64 / 6.0).max(1.0),
            start,
            end,
            before,
            after,
            method: if is_peak { Integration::Window } else { Integration::ForcedWindow },
            cut: false,
        };
        let signal = Signal { time, signal: self.signal(), sums: &sums, noise: &noise };
        let mut peak = self.peak(&signal, &bounds, None);
        if !is_peak {
            peak = Peak {
                retention_time_min: 0.5 * (time[start] + time[end]),
                retention_time_u_min: None,
                height: above(apex),
                width_half_min: None,
                width_tenth_min: None,
                width_5pct_min: None,
                plates_half_height: None,
                tailing_factor_5pct: None,
                asymmetry_10pct: None,
                ..peak
            };
            peak.height_over_sd = peak.height / noise.sd_at(apex);
            peak.notes.retain(|n| n.is_cut_off());
            peak.notes.push(PeakNote::NoPeakFound);
            if has_hidden_noise(&noise) {
                peak.notes.push(PeakNote::NoiseFloorFromStep);
            }
        }
        let step = self.interval_min();
        if start_min < time[0] - step || end_min > time[n - 1] + step {
            peak.notes.push(PeakNote::CutAtEnd);
        }
        let quiet = [0..start, end + 1..n];
        self.signal_to_noise(&mut peak, &quiet, &noise);
        Ok(peak)
    }

    /// Integrates and measures between bounds.
    fn peak(&self, s: &Signal<'_>, b: &Bounds, drawn: Option<&Baseline>) -> Peak {
        // A tangent, and a valley's level, lie above a baseline that was taken off before.
        let own = matches!(b.method, Integration::TangentSkim | Integration::ValleyToValley);
        let line = match drawn {
            Some(_) if !own => Line::zero(),
            _ => Line::new(s.time, s.signal, &b.before, &b.after),
        };
        let sd = s.noise.sd_at(b.apex);
        let hidden = has_hidden_noise(s.noise);
        let step = s.noise.shared_step() * unlevelled_share(s, b, &line);
        let noise = AreaNoise { sd, autocorrelation: s.noise.autocorrelation, step };
        let area = match drawn {
            Some(d) if !own => {
                let phi = noise.autocorrelation;
                let level_u = sd * ((1.0 + phi) / (1.0 - phi) / d.effective_points).sqrt();
                area_above_zero(s.time, s.signal, b.start, b.end, level_u, noise)
            }
            _ => area(s.time, s.signal, b.start, b.end, &b.before, &b.after, noise),
        };
        let level = |i: usize| line.at(s.time[i]) + drawn.map_or(0.0, |d| d.line.signal()[i]);
        let m = measure(s, b.apex, b.start, b.end, b.width, &line);
        Peak {
            retention_time_min: m.time,
            retention_time_u_min: m.time_u,
            start_min: s.time[b.start],
            end_min: s.time[b.end],
            area: area.value,
            area_u: area.u,
            height: m.height,
            width_half_min: m.half.map(|w| w.sum()),
            width_tenth_min: m.tenth.map(|w| w.sum()),
            width_5pct_min: m.twentieth.map(|w| w.sum()),
            // 5.545 = 8 ln 2, rounded as in the IUPAC nomenclature, Pure Appl. Chem. 65 (1993) 819.
            plates_half_height: m.half.map(|w| 5.545 * (m.time / w.sum()) * (m.time / w.sum())),
            tailing_factor_5pct: m.twentieth.map(|w| w.sum() / (2.0 * w.front)),
            asymmetry_10pct: m.tenth.map(|w| w.back / w.front),
            resolution_half_height: None,
            signal_to_noise: 0.0,
            noise_window_min: None,
            height_over_sd: m.height / sd,
            baseline: [level(b.start), level(b.end)],
            points: b.end - b.start + 1,
            method: b.method,
            notes: self.notes(s, b, &m, hidden),
            fit: None,
        }
    }

    fn notes(&self, s: &Signal<'_>, b: &Bounds, m: &Measures, hidden: bool) -> Vec<PeakNote> {
        let mut notes = Vec::new();
        // Of the signal as it came: a converter is full at its own level.
        let inside = &self.signal()[b.start..=b.end];
        let top = inside.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut longest = 0;
        for row in inside.chunk_by(|a, b| a == b).filter(|row| row[0] == top) {
            longest = longest.max(row.len());
        }
        // A fine peak on a coarse grid is flat too: within one step of the top it is 2 w √(step/(2.77 H)) wide.
        let wide = m.points_above_half.max(1) as f64;
        let by_step = s.noise.step.map_or(0.0, |step| 2.0 * wide * (step / (2.77 * m.height.max(step))).sqrt());
        match self.full_scale() {
            Some(limit) if top >= limit => notes.push(PeakNote::BeyondFullScale(limit)),
            _ if longest >= 3 && longest as f64 > 2.0 * (by_step + 1.0) => notes.push(PeakNote::FlatTop(longest)),
            _ => {}
        }
        if m.points_above_half < 5 {
            notes.push(PeakNote::FewPoints(m.points_above_half));
        }
        if b.cut {
            notes.push(PeakNote::CutAtEnd);
        }
        if hidden {
            notes.push(PeakNote::NoiseFloorFromStep);
        }
        notes
    }

    /// S/N = 2H/h, h the range of the signal about a line over 20 half-height widths next to the peak (European
    /// Pharmacopoeia 2.2.46, which takes 5 where there is no room for 20).
    fn signal_to_noise(&self, peak: &mut Peak, quiet: &[std::ops::Range<usize>], noise: &NoiseProfile) {
        let time = self.time_min();
        let wide = peak.width_half_min.unwrap_or((peak.end_min - peak.start_min) / 4.0) / self.interval_min();
        let at = self.index_at(peak.retention_time_min).min(self.len() - 1);
        let mut range = None;
        for (widths, far) in [(20.0, 20.0), (5.0, f64::INFINITY)] {
            let points = (widths * wide).ceil().max(16.0) as usize;
            let away = |r: &std::ops::Range<usize>| r.start.abs_diff(at).min(r.end.abs_diff(at));
            // They are in order: the first that is long enough on either side.
            let fits = |r: &&std::ops::Range<usize>| r.len() >= points;
            let (before, after) = quiet.split_at(quiet.partition_point(|r| r.start <= at));
            let nearest = [before.iter().rev().find(fits), after.iter().find(fits)]
                .into_iter()
                .flatten()
                .filter(|r| away(r) as f64 <= far * wide)
                .map(|r| if r.start > at { r.start..r.start + points } else { r.end - points..r.end })
                .min_by_key(away);
            if let Some(r) = nearest {
                peak.noise_window_min = Some([time[r.start], time[r.end - 1]]);
                range = Some(range_about_line(&self.signal()[r]));
                break;
            }
        }
        if range.is_none() {
            peak.notes.push(PeakNote::NoQuietStretch);
        }
        let h = range.unwrap_or(6.0 * noise.sd_at(at)).max(noise.floor);
        peak.signal_to_noise = 2.0 * peak.height / h;
    }
}

/// Finding and integrating peaks.
impl Run {
    /// The peaks of the run's trace; see [`Trace::find_peaks`].
    ///
    /// # Errors
    /// As [`Trace::find_peaks`], with the run's name.
    pub fn find_peaks(&self, options: &Detect) -> Result<PeakList> {
        let list = self.trace.find_peaks(options).map_err(|e| e.in_file(&self.provenance.file))?;
        Ok(PeakList { run: self.name.clone(), ..list })
    }

    /// The area between two given times; see [`Trace::integrate_window`].
    ///
    /// # Errors
    /// As [`Trace::integrate_window`].
    pub fn integrate_window(&self, start_min: f64, end_min: f64, options: &Detect) -> Result<Peak> {
        self.trace.integrate_window(start_min, end_min, options).map_err(|e| e.in_file(&self.provenance.file))
    }
}

/// True where the converter's step, and not the points, says how noisy the signal is.
fn has_hidden_noise(noise: &NoiseProfile) -> bool {
    noise.step.is_some_and(|step| noise.sd < 0.5 * step)
}

/// The share of a peak's duration over which its rounding error is not the baseline's own: where the signal stays on the
/// baseline's step both are the same and cancel. All of it where the peak is less than three steps high, since what
/// stays within a step may be hidden in it.
fn unlevelled_share(s: &Signal<'_>, b: &Bounds, line: &Line) -> f64 {
    let (Some(step), count) = (s.noise.step, b.end + 1 - b.start) else { return 1.0 };
    let above = |i: usize| s.signal[i] - line.at(s.time[i]);
    if s.noise.shared_step() == 0.0 || above(b.apex) < 3.0 * step {
        return 1.0;
    }
    let off = (b.start..=b.end).filter(|&i| above(i).abs() > 0.5 * step).count();
    off as f64 / count as f64
}

/// Notes on valleys shared with a neighbour.
fn note_neighbours(peaks: &mut [Peak], s: &Signal<'_>, is_flattened: bool) {
    for k in 0..peaks.len() {
        let here = peaks[k].clone();
        let before = k.checked_sub(1).map(|j| peaks[j].clone());
        let after = peaks.get(k + 1).cloned();
        let shared = [(before, here.start_min, 0), (after, here.end_min, 1)];
        let (mut deepest, mut steepest) = (0.0_f64, 0.0_f64);
        for (other, t, side) in shared {
            let Some(other) = other else { continue };
            let touches = if side == 0 { other.end_min == t } else { other.start_min == t };
            if !touches || here.height <= 0.0 {
                continue;
            }
            let i = s.time.partition_point(|&x| x < t).min(s.time.len() - 1);
            let level = if is_flattened { 0.0 } else { here.baseline[side] };
            let share = (s.sums.about(i, 1) - level) / here.height;
            // Beside a valley at the baseline nothing is lost: under 1 % the perpendicular costs less than 0.2 %.
            if share > 0.01 {
                deepest = deepest.max(share);
                if other.height > 10.0 * here.height && share > 0.2 {
                    steepest = steepest.max(other.height / here.height);
                }
            }
        }
        if deepest > 0.0 {
            peaks[k].notes.push(PeakNote::Overlaps(deepest));
        }
        if steepest > 0.0 {
            peaks[k].notes.push(PeakNote::OnTail(steepest));
        }
    }
}

/// Stretches outside all peaks.
fn quiet_stretches(all: &[Bounds], n: usize) -> Vec<std::ops::Range<usize>> {
    let mut from = 0;
    let mut quiet = Vec::with_capacity(all.len() + 1);
    for b in all {
        if b.start > from {
            quiet.push(from..b.start);
        }
        from = from.max(b.end + 1);
    }
    if from < n {
        quiet.push(from..n);
    }
    quiet
}
