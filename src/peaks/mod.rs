//! peaks
