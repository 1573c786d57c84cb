//! compounds
