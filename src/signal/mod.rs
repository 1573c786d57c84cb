//! Trace → Trace, and what a trace says about its own noise.
//!
//! | answers | method |
//! |---|---|
//! | how noisy is it, and how correlated | [`Trace::noise`](crate::Trace::noise) |
//! | smoothed, or its derivative | [`Trace::smooth`](crate::Trace::smooth) |
//! | the baseline below all peaks, by seven methods or from a blank | [`Trace::baseline`](crate::Trace::baseline), [`baseline`] |
//!
//! Each is a free function on slices as well.

pub mod baseline;
pub mod noise;
pub mod smooth;

pub use baseline::{Baseline, BaselineMethod, BaselineOrigin, run_baseline, straight_line};
pub use noise::{Noise, NoiseProfile, estimate_noise, estimate_step};
pub use smooth::{SavitzkyGolay, savitzky_golay, savitzky_golay_weights};
