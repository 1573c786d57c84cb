//! One integration crate, a module per stage.
#![allow(clippy::print_stderr, clippy::unwrap_used)] // a skipped test says so; a test may stop where it stands

mod calibration;
mod compounds;
mod estimate;
mod evidence;
mod figures;
mod formats;
#[cfg(feature = "frame")]
mod frame;
mod identify;
mod integrals;
#[cfg(unix)]
mod kernel;
mod layers;
mod made_up;
mod numeric;
mod peaks;
mod program;
mod reading;
mod report;
mod retention;
mod shown;
mod simulation;
mod study;
mod suitability;
