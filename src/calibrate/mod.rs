//! calibrate
