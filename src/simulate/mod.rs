//! Seeded runs from column and detector physics, with the truth attached.

mod retention;

pub use retention::{Elution, OvenProgramme, RetentionConstants, elute, recorded_retention};
