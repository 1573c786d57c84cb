//! shapes
