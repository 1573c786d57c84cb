//! One integration crate, a module per stage.
mod calibration;
mod compounds;
mod estimate;
mod figures;
mod formats;
mod identify;
mod layers;
mod numeric;
mod peaks;
mod reading;
mod report;
mod simulation;
mod study;
