//! results
