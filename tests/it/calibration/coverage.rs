//! coverage
