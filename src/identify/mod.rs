//! identify
