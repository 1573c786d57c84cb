//! estimate
