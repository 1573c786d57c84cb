//! What a first notebook cell needs: `use vialbook::prelude::*;`.

pub use crate::calibrate::{CalibrationOptions, Curve, Flask, Model, Unknown, Weighting};
pub use crate::error::{Error, Result};
pub use crate::estimate::Estimate;
pub use crate::figure::Figure;
pub use crate::peaks::{Detect, FitOptions, Peak, PeakList};
pub use crate::read::ReadOptions;
pub use crate::results::{Finding, Results, Severity};
pub use crate::study::{Analysis, Study, StudyConfig};
pub use crate::trace::{Run, Trace};
pub use crate::units::{ContentUnit, Quantity};
