//! The study folder: study.toml, the injection log, the traces; and all stages in their order.

mod config;

pub use config::*;
