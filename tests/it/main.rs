//! One integration crate, a module per stage.
mod calibration;
mod figures;
mod identify;
mod numeric;
mod peaks;
mod reading;
mod report;
mod simulation;
mod study;
