//! numeric
