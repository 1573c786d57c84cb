//! The study folder: study.toml, the injection log, the traces; and all stages in their order.
//!
//! This is the only place that calls every stage:
//! [`Study::open`] reads, [`Study::analyse`] runs peaks → names → calibrations → amounts → findings and gives an
//! [`Analysis`], which [`Analysis::save`] writes.

mod amounts;
mod analyse;
mod as_results;
mod calibrations;
mod config;
mod contradictions;
mod doubts;
mod few_standards;
mod folder;
mod history;
mod instrument;
mod integration;
mod limits;
mod log;
mod names;
mod normalised;
mod order;
mod parts;
mod record;
mod reference;
mod replicates;
mod responses;
mod solution;
mod spikes;
pub(crate) mod write;

pub use analyse::Analysis;
pub(crate) use as_results::{budget_entry, calibration_points, curve_result, peak_result, residual_test_result};
pub use config::*;
pub use folder::Study;
pub use integration::{ByHand, IntegrateBy, PeakSettings, WindowBaseline};
pub use log::{Content, Injection, Kind, read_log, read_log_bytes};
pub use record::{Comparison, HandChange, Record, Task};
pub use solution::*;
