//! Seeded runs from column and detector physics, with the truth attached.
//!
//! | part | answers |
//! |---|---|
//! | [`elute`], [`recorded_retention`] | when a compound leaves under a temperature programme, and what a late thumb does to it |
//! | [`SimulatedColumn`], [`SimulatedPeak`] | how wide, how overloaded, how tailing a peak is |
//! | [`InjectionErrors`], [`PreparationErrors`] | what hands and glassware do |
//! | [`SimulatedDetector`] | baseline, noise, converter |
//! | [`Scenario`], [`recovered_eluent`] | a whole study: runs in memory, or a folder on disk |

mod detector;
mod injection;
mod peak;
mod recovered_eluent;
mod retention;
mod scenario;
mod write;

pub use detector::{Disturbance, SimulatedDetector};
pub use injection::{InjectionErrors, PreparationErrors, Shot};
pub use peak::{SimulatedColumn, SimulatedPeak};
pub use recovered_eluent::{DEMO_SEED, recovered_eluent};
pub use retention::{Elution, OvenProgramme, RetentionConstants, elute, recorded_retention};
pub use scenario::{
    ContentTruth, Factor, Flask, PeakTruth, PlannedInjection, RunTruth, Scenario, ScenarioTruth, SimulatedCompound,
    SimulatedRun,
};
pub use write::{DEMO_FIRST_LINE, StudyFile};
