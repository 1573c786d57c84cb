//! A whole study, simulated: what is in each flask, what is injected when, and the truth about all of it.

use std::fmt;
use std::sync::Arc;

use rayon::prelude::*;
use serde::Serialize;

use crate::error::Result;
use crate::numeric::Xoshiro256PlusPlus;
use crate::simulate::detector::SimulatedDetector;
use crate::simulate::injection::InjectionErrors;
use crate::simulate::peak::{SimulatedColumn, SimulatedPeak};
use crate::simulate::retention::{OvenClock, OvenProgramme, RetentionConstants, elute};
use crate::study::{Injection, Kind, StartButton, StudyConfig};
use crate::trace::Trace;

/// A simulated study: everything that its runs follow from, the seed included.
///
/// The same seed gives the same bytes on any machine: every run draws from a stream of its own, sums go in a
/// fixed order, and exponentials and logarithms come from one portable library.
#[derive(Clone, PartialEq)]
pub struct Scenario {
    /// Name of the scenario, such as "recovered eluent".
    pub name: String,
    /// Seed of every draw.
    pub seed: u64,
    /// The text of the study's `study.toml`.
    pub study_toml: String,
    /// The compounds, in an order that flasks and truth share.
    pub compounds: Vec<SimulatedCompound>,
    /// The column.
    pub column: SimulatedColumn,
    /// The oven's programme.
    pub oven: OvenProgramme,
    /// Name of the method, as in the injection log.
    pub method: String,
    /// What the start button starts.
    pub start_button: StartButton,
    /// The detector.
    pub detector: SimulatedDetector,
    /// How well the hand injects.
    pub injection_errors: InjectionErrors,
    /// Nominal volume in µL.
    pub volume_ul: f64,
    /// Points of each trace.
    pub points: usize,
    /// Points per minute.
    pub points_per_min: f64,
    /// The flasks.
    pub flasks: Vec<Flask>,
    /// The injections, in their order.
    pub injections: Vec<PlannedInjection>,
    /// What the undiluted samples truly hold.
    pub contents: Vec<ContentTruth>,
    /// Factors on what several flasks share: the stocks.
    pub shared_factors: Vec<Factor>,
}

/// A compound as column and detector meet it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SimulatedCompound {
    /// Name, as in the study.
    pub name: String,
    /// How the column holds it.
    pub retention: RetentionConstants,
    /// Density of the pure liquid at 20 °C in g/mL.
    #[serde(rename = "density_g_mL")]
    pub density_g_ml: f64,
    /// Molar mass in g/mol.
    #[serde(rename = "molar_mass_g_mol")]
    pub molar_mass_g_mol: f64,
    /// Area in signal unit × minute that one µg gives.
    pub response: f64,
    /// Time constant of its tail in seconds.
    pub tail_s: f64,
}

/// A flask: what its label says and what it holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Flask {
    /// What it is a flask of.
    pub sample: String,
    /// What it is for.
    pub kind: Kind,
    /// Tells flasks of one sample apart.
    pub preparation: Option<String>,
    /// Final volume over volume of sample.
    pub dilution: Option<f64>,
    /// Contents in % v/v as known to the laboratory, by compound; `None` where unknown or not logged.
    pub stated_percent: Vec<Option<f64>>,
    /// True volume fractions by compound; they add to 1.
    pub true_fractions: Vec<f64>,
    /// Factors that its making brought in.
    pub factors: Vec<Factor>,
    /// Remark for the injection log.
    pub note: Option<String>,
}

/// A factor near 1 that something brought in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Factor {
    /// What it strikes, in words.
    pub what: String,
    /// The factor.
    pub factor: f64,
}

/// A true content of an undiluted sample.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ContentTruth {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// Volume fraction, 1 for pure.
    pub volume_fraction: f64,
    /// Mass fraction, 1 for pure, by the densities of the pure liquids (volumes taken as additive).
    pub mass_fraction: f64,
}

/// A row of the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlannedInjection {
    /// Name of the run.
    pub run: String,
    /// Index of the flask in [`Scenario::flasks`].
    pub flask: usize,
    /// Tells shots of one flask apart.
    pub replicate: String,
    /// Clock time.
    pub time: String,
}

/// One simulated injection: what the study sees, and the truth.
#[derive(Clone, PartialEq)]
pub struct SimulatedRun {
    /// Name of the run.
    pub name: String,
    /// The trace: signals as exported to the last bit, times before the export rounds them to five decimals of a minute.
    pub trace: Trace,
    /// Its row of the injection log.
    pub injection: Injection,
    /// What really happened.
    pub truth: RunTruth,
}

/// What really happened in one injection.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunTruth {
    /// Name of the run.
    pub run: String,
    /// Volume injected in µL.
    #[serde(rename = "volume_uL")]
    pub volume_ul: f64,
    /// How much later than the injection the button was pressed, in seconds; negative: before it.
    pub start_offset_s: f64,
    /// How long the vapour took to enter the column, in seconds.
    pub plug_s: f64,
    /// Every peak, compounds in the scenario's order, those absent left out.
    pub peaks: Vec<PeakTruth>,
}

/// The truth about one peak.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PeakTruth {
    /// The compound.
    pub compound: String,
    /// Amount on the column in µg.
    pub amount_ug: f64,
    /// Factor on the amount that no ratio cancels.
    pub scatter: f64,
    /// Area in signal unit × minute.
    pub area: f64,
    /// Recorded retention time of a vanishing amount in minutes, without the tail's delay.
    pub centre_min: f64,
    /// Retention factor at elution.
    pub retention_factor: f64,
    /// Standard deviation of a vanishing amount in seconds, without the tail.
    pub sigma_s: f64,
    /// Amount over the column's load.
    pub load: f64,
    /// Time constant of the tail in seconds.
    pub tail_s: f64,
}

/// The truth about a whole study, as it is saved apart from it.
#[derive(Clone, PartialEq, Serialize)]
pub struct ScenarioTruth {
    /// That nothing here was measured.
    pub warning: String,
    /// Name of the scenario.
    pub scenario: String,
    /// Its seed.
    pub seed: u64,
    /// What the undiluted samples hold.
    pub contents: Vec<ContentTruth>,
    /// What the stocks brought in.
    pub shared_factors: Vec<Factor>,
    /// Compounds with the constants invented for them.
    pub compounds: Vec<SimulatedCompound>,
    /// The column.
    pub column: SimulatedColumn,
    /// The detector.
    pub detector: SimulatedDetector,
    /// How well the hand injects.
    pub injection_errors: InjectionErrors,
    /// The flasks.
    pub flasks: Vec<Flask>,
    /// The injections.
    pub runs: Vec<RunTruth>,
}

impl Scenario {
    /// Simulates every run, each from its own stream of draws, in the order of the plan.
    ///
    /// # Errors
    /// A setting that makes a signal or a time that is not a finite number.
    pub fn simulate_runs(&self) -> Result<Vec<SimulatedRun>> {
        let grid: Arc<[f64]> = (0..self.points).map(|i| i as f64 / self.points_per_min).collect();
        (0..self.injections.len()).into_par_iter().map(|i| self.simulate_run(i, &grid)).collect()
    }

    /// The study's settings, as read from [`Scenario::study_toml`].
    ///
    /// # Errors
    /// As [`StudyConfig::parse`].
    pub fn study_config(&self) -> Result<StudyConfig> {
        StudyConfig::parse(&self.study_toml)
    }

    /// The true volume fraction of a compound in an undiluted sample, 1 for pure.
    pub fn true_volume_fraction(&self, sample: &str, compound: &str) -> Option<f64> {
        self.contents.iter().find(|c| c.sample == sample && c.compound == compound).map(|c| c.volume_fraction)
    }

    /// Everything that is true of this study and of `runs`.
    pub fn truth(&self, runs: &[SimulatedRun]) -> ScenarioTruth {
        ScenarioTruth {
            warning: "simulated: no instrument made these numbers; no analysis reads this file".to_owned(),
            scenario: self.name.clone(),
            seed: self.seed,
            contents: self.contents.clone(),
            shared_factors: self.shared_factors.clone(),
            compounds: self.compounds.clone(),
            column: self.column,
            detector: self.detector.clone(),
            injection_errors: self.injection_errors,
            flasks: self.flasks.clone(),
            runs: runs.iter().map(|r| r.truth.clone()).collect(),
        }
    }

    fn simulate_run(&self, index: usize, grid: &Arc<[f64]>) -> Result<SimulatedRun> {
        let plan = &self.injections[index];
        let flask = &self.flasks[plan.flask];
        let mut random = Xoshiro256PlusPlus::stream(self.seed, RUN_STREAMS + index as u64);
        let shot = self.injection_errors.draw(self.volume_ul, self.compounds.len(), &mut random);
        let clock = OvenClock::new(self.start_button, shot.start_offset_s);

        // µL · g/mL = mg.
        let amount_ug = |j: usize| {
            1e3 * shot.volume_ul * flask.true_fractions[j] * self.compounds[j].density_g_ml * shot.scatter[j]
        };
        let vapour_umol = (0..self.compounds.len()).map(|j| amount_ug(j) / self.compounds[j].molar_mass_g_mol).sum();
        let plug_min = self.column.plug_min(vapour_umol);
        let sensitivity = 1.0 + self.detector.response_change_per_run * index as f64;

        let mut signal = vec![0.0; grid.len()];
        let mut peaks = Vec::with_capacity(self.compounds.len());
        for (j, compound) in self.compounds.iter().enumerate().filter(|(j, _)| flask.true_fractions[*j] > 0.0) {
            // The middle of the plug stands for it.
            let start = clock.injection_min + 0.5 * plug_min;
            let Some(out) = elute(compound.retention, &self.oven, self.column.hold_up_min, start) else { continue };
            let amount_ug = amount_ug(j);
            let peak = SimulatedPeak {
                area: amount_ug * compound.response * sensitivity,
                centre_min: out.time_min - clock.ahead_min,
                sigma_min: self.column.sigma_min(out.factor, out.factor_at_start, plug_min),
                load: amount_ug / self.column.load_ug,
                tail_min: compound.tail_s / 60.0,
            };
            peak.add_to(grid, &mut signal);
            peaks.push(PeakTruth {
                compound: compound.name.clone(),
                amount_ug,
                scatter: shot.scatter[j],
                area: peak.area,
                centre_min: peak.centre_min,
                retention_factor: out.factor,
                sigma_s: 60.0 * peak.sigma_min,
                load: peak.load,
                tail_s: compound.tail_s,
            });
        }
        let signal = self.detector.record(grid, signal, &self.oven, clock, &mut random);
        let trace = Trace::new(grid.clone(), signal, &self.detector.unit)?
            .with_detector_limits(Some(self.detector.step), Some(self.detector.full_scale));
        Ok(SimulatedRun {
            name: plan.run.clone(),
            trace,
            injection: self.log_row(index),
            truth: RunTruth {
                run: plan.run.clone(),
                volume_ul: shot.volume_ul,
                start_offset_s: shot.start_offset_s,
                plug_s: 60.0 * plug_min,
                peaks,
            },
        })
    }
}

/// Draws of the runs start at this stream; those below are for flasks, stocks and samples.
const RUN_STREAMS: u64 = 1000;

impl fmt::Debug for Scenario {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "Scenario({:?}, seed {}, {} flasks, {} injections of {} points)",
            self.name,
            self.seed,
            self.flasks.len(),
            self.injections.len(),
            self.points
        )
    }
}

impl fmt::Debug for SimulatedRun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SimulatedRun({:?}, {:?}, {} peaks)", self.name, self.trace, self.truth.peaks.len())
    }
}

impl fmt::Debug for ScenarioTruth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ScenarioTruth({:?}, seed {}, {} contents", self.scenario, self.seed, self.contents.len())?;
        write!(f, ", {} flasks, {} runs)", self.flasks.len(), self.runs.len())
    }
}
