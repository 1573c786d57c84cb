//! Figures by a word: `run.plot()`, `peaks.plot()`, `curve.plot()`.

use super::Figure;
use super::Mark;
use super::views::{self, OverlaidRun, Overlay, ReplicateShot};
use crate::calibrate::Curve;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{plus_minus, significant, typographic};
use crate::identify::NamedPeaks;
use crate::peaks::{GroupFit, PeakFits, PeakList};
use crate::results::{AmountResult, CalibrationResult, PeakResult};
use crate::study::{Analysis, Role, curve_result};
use crate::trace::{Run, Trace};

/// Figures of a trace.
impl Trace {
    /// The trace as recorded.
    ///
    /// ```
    /// let trace = vialbook::Trace::new(vec![0.0, 0.1, 0.2], vec![1.0, 1.5, 1.1], "mV")?;
    /// assert!(trace.plot().to_svg().contains("signal / mV"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot(&self) -> Figure {
        views::trace(self, "")
    }

    /// What smoothing does, as a slider over the window's width; see [`views::smoothing`].
    ///
    /// # Errors
    /// Times off an even grid; fewer than 16 points.
    pub fn explore_smoothing(&self) -> Result<Figure> {
        views::smoothing(self, "")
    }

    /// Which peaks a threshold finds, as a slider; see [`views::detection`].
    ///
    /// # Errors
    /// Fewer than 16 points.
    pub fn explore_detection(&self) -> Result<Figure> {
        views::detection(self, "")
    }

    /// What the stiffness of a baseline does, as a slider; see [`views::baseline`].
    ///
    /// # Errors
    /// Fewer than 16 points.
    pub fn explore_baseline(&self) -> Result<Figure> {
        views::baseline(self, "")
    }
}

/// Figures of a run.
impl Run {
    /// The run's trace as recorded.
    pub fn plot(&self) -> Figure {
        views::trace(&self.trace, &self.name)
    }

    /// See [`Trace::explore_smoothing`].
    ///
    /// # Errors
    /// As there.
    pub fn explore_smoothing(&self) -> Result<Figure> {
        views::smoothing(&self.trace, &self.name)
    }

    /// See [`Trace::explore_detection`].
    ///
    /// # Errors
    /// As there.
    pub fn explore_detection(&self) -> Result<Figure> {
        views::detection(&self.trace, &self.name)
    }

    /// See [`Trace::explore_baseline`].
    ///
    /// # Errors
    /// As there.
    pub fn explore_baseline(&self) -> Result<Figure> {
        views::baseline(&self.trace, &self.name)
    }

    /// The run with peaks that were named in it.
    pub fn plot_named(&self, peaks: &NamedPeaks) -> Figure {
        views::named_peaks(&self.trace, peaks)
    }
}

/// Figures of peaks.
impl PeakList {
    /// The trace with baselines, shaded areas and retention times; the pointer tells a peak's figures of merit.
    ///
    /// ```
    /// use vialbook::{Detect, Trace, shapes::Gaussian};
    /// let time: Vec<f64> = (0..2000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal: Vec<f64> = (0..2000).map(|i| 0.001 * f64::from(i * 7919 % 13)).collect();
    /// Gaussian::new(1.0, 2.0, 0.05)?.add_to(&time, &mut signal);
    /// let figure = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?.plot();
    /// assert!(figure.alt.contains("with 1 peak"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot(&self) -> Figure {
        match &self.trace {
            Some(trace) => views::peaks(trace, self),
            // A list put together by hand.
            None => Figure::new(format!("{} peaks; the trace they were found in is not known.", self.len())),
        }
    }
}

/// Figures of a calibration.
impl Curve {
    /// Flask means, curve with its confidence band, residuals; flasks left out are hollow.
    pub fn plot(&self) -> Figure {
        views::calibration(&curve_result(self))
    }

    /// Every shot of every flask, and how far it lies from its flask's mean.
    ///
    /// # Errors
    /// No flask with a response.
    pub fn plot_replicates(&self) -> Result<Figure> {
        let shots = self.points.iter().flat_map(|p| {
            let f = &p.flask;
            let all = if f.shot_responses.is_empty() { vec![f.response] } else { f.shot_responses.clone() };
            all.into_iter().enumerate().map(|(k, response)| ReplicateShot {
                flask: f.label.clone(),
                response,
                left_out: f.excluded.clone(),
                hover: typographic(&format!(
                    "{}, shot {}\ncontent: {}\nresponse: {}",
                    f.label,
                    k + 1,
                    significant(f.content, 4),
                    significant(response, 4)
                )),
            })
        });
        views::replicates(&self.compound, "response", "", &shots.collect::<Vec<_>>())
    }
}

/// Figures of a fit.
impl GroupFit {
    /// Points, profiles and their sum, residuals below; see [`views::fit`].
    ///
    /// ```
    /// use vialbook::{Trace, peaks::FitOptions, shapes::Gaussian};
    /// let time: Vec<f64> = (0..600).map(|i| f64::from(i) * 0.01).collect();
    /// let mut signal: Vec<f64> = (0..600).map(|i| 0.001 * f64::from(i * 7919 % 13)).collect();
    /// Gaussian::new(2.0, 3.0, 0.1)?.add_to(&time, &mut signal);
    /// let fit = Trace::new(time, signal, "mV")?.fit_window(2.4, 3.8, &FitOptions::default())?;
    /// assert!(fit.plot().alt.contains("one profile"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot(&self) -> Figure {
        match &self.trace {
            Some(trace) => views::fit(trace, self, ""),
            None => Figure::new("A fit without its trace."),
        }
    }
}

/// Figures of a run's fits.
impl PeakFits {
    /// All fits over the trace, residuals below; see [`views::fits`]. `groups[k].plot()` shows one close up.
    pub fn plot(&self) -> Figure {
        match &self.trace {
            Some(trace) => views::fits(trace, self),
            None => Figure::new("Fits without their trace."),
        }
    }
}

/// Figures of a calibration's results.
impl CalibrationResult {
    /// Flask means, curve with its confidence band, residuals; flasks left out are hollow.
    pub fn plot(&self) -> Figure {
        views::calibration(self)
    }
}

/// Figures of an amount.
impl AmountResult {
    /// Where the uncertainty comes from, as shares of the variance.
    pub fn plot(&self) -> Figure {
        views::budget(self)
    }
}

/// Figures of an analysis.
impl Analysis {
    /// A run with named peaks; the pointer tells a peak's figures of merit.
    ///
    /// # Errors
    /// No run of that name.
    ///
    /// ```no_run
    /// let analysis = vialbook::Study::open("demo")?.analyse()?;
    /// analysis.plot_run("level-3a-1")?.save_svg("run.svg")?;
    /// analysis.plot_overlay(&["level-1a-1", "level-3a-1", "level-5a-1"])?;
    /// analysis.plot_replicates("2-propanol")?;
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot_run(&self, run: &str) -> Result<Figure> {
        let found = self.study().run(run)?;
        let peaks: Vec<&PeakResult> =
            self.results().peaks.iter().filter(|p| p.run == run && p.retention_time_min.is_some()).collect();
        Ok(views::chromatogram(&found.trace, &peaks, &self.drawn_compounds()))
    }

    /// Runs over each other, each raised above the one before; the first is at the bottom.
    ///
    /// # Errors
    /// No run given; no run of that name; signals in different units.
    pub fn plot_overlay(&self, runs: &[&str]) -> Result<Figure> {
        self.plot_overlay_with(runs, Overlay::default())
    }

    /// Runs over each other, raised or moved in time as the options say.
    ///
    /// # Errors
    /// As [`Analysis::plot_overlay`].
    ///
    /// ```no_run
    /// use vialbook::figure::views::Overlay;
    /// let analysis = vialbook::Study::open("demo")?.analyse()?;
    /// analysis.plot_overlay_with(&["level-3a-1", "level-3a-2"], Overlay { raise: 0.0, aligned: true })?;
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot_overlay_with(&self, runs: &[&str], options: Overlay) -> Result<Figure> {
        let compounds = self.drawn_compounds();
        let overlaid = runs.iter().map(|name| {
            let run = self.study().run(name)?;
            let peaks = self.results().peaks.iter().filter(|p| p.run == run.name);
            let names = peaks.filter_map(|p| {
                let name = p.compound.clone().filter(|c| compounds.contains(c))?;
                let base = 0.5 * (p.baseline[0] + p.baseline[1]);
                Some(Mark::new(p.retention_time_min?, p.height? + base, name))
            });
            Ok(OverlaidRun {
                names: names.collect(),
                start_offset_s: self.results().runs.iter().find(|r| r.run == run.name).and_then(|r| r.start_offset_s),
                name: run.name,
                trace: run.trace,
            })
        });
        views::overlay(&overlaid.collect::<Result<Vec<_>>>()?, options)
    }

    /// Every shot of every flask: the response to a compound (its area, or the ratio to the internal standard's), and
    /// how far it lies from its flask's mean. Rejected shots are hollow.
    ///
    /// # Errors
    /// A compound without a peak or window in any run; the hint lists those there are.
    pub fn plot_replicates(&self, compound: &str) -> Result<Figure> {
        let results = self.results();
        let of =
            |run: &str, name: &str| results.peaks.iter().find(|p| p.run == run && p.compound.as_deref() == Some(name));
        let internal = self.config().internal_standard().filter(|s| *s != compound);
        let mut area_unit = String::new();
        let (mut shots, mut without) = (Vec::new(), Vec::new());
        for run in results.runs.iter().filter(|r| !r.kind.contains("blank")) {
            let Some(peak) = of(&run.run, compound) else { continue };
            area_unit = crate::units::area_unit(&run.signal_unit);
            let mut hover = format!(
                "{}\nrun {}{}\narea: {}",
                run.flask(),
                run.run,
                run.replicate.as_ref().map_or(String::new(), |r| format!(", shot {r}")),
                typographic(&plus_minus(peak.area, peak.area_u, &area_unit))
            );
            let mut response = peak.area;
            if let Some(name) = internal {
                // Without a peak of the standard there is no ratio.
                let Some(standard) = of(&run.run, name).filter(|s| s.retention_time_min.is_some()) else {
                    without.push(run.run.as_str());
                    continue;
                };
                response = peak.area / standard.area;
                let area = plus_minus(standard.area, standard.area_u, &area_unit);
                let ratio = significant(response, 4);
                hover.push_str(&format!("\narea of {name}: {}\nratio: {}", typographic(&area), typographic(&ratio)));
            }
            let left_out = (!run.accepted).then(|| run.reason.clone().unwrap_or_else(|| "rejected".to_owned()));
            shots.push(ReplicateShot { flask: run.flask(), response, left_out, hover });
        }
        if shots.is_empty() {
            let mut known: Vec<&str> = results.peaks.iter().filter_map(|p| p.compound.as_deref()).collect();
            known.sort_unstable();
            known.dedup();
            return Err(Error::new(ErrorKind::NotFound, format!("no run has a response to \"{compound}\""))
                .hint(format!("named in the runs: {}", known.join(", "))));
        }
        shots.sort_by(|a, b| a.flask.cmp(&b.flask));
        let Some(name) = internal else { return views::replicates(compound, "area", &area_unit, &shots) };
        let mut figure = views::replicates(compound, &format!("area ratio to {name}"), "", &shots)?;
        if !without.is_empty() {
            figure.alt.push_str(&format!(" Not shown, without a peak of {name}: {}.", without.join(", ")));
        }
        Ok(figure)
    }

    /// How runs are shifted against the standards along retention: start offset, and time scale where a run asks for one.
    /// No run named: all of them.
    ///
    /// # Errors
    /// No run of that name; no run with a shift.
    ///
    /// ```no_run
    /// let analysis = vialbook::Study::open("demo")?.analyse()?;
    /// analysis.plot_shifts(&["level-3a-1"])?.save_svg("shift.svg")?;
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn plot_shifts(&self, runs: &[&str]) -> Result<Figure> {
        views::shifts(&self.results().naming, &self.results().peaks, runs)
    }

    /// What a chromatogram's scale is made for: all compounds but the solvents.
    fn drawn_compounds(&self) -> Vec<String> {
        self.config().compounds.iter().filter(|c| c.role != Role::Solvent).map(|c| c.name.clone()).collect()
    }
}
