//! What a first notebook cell needs: `use vialbook::prelude::*;`.

pub use crate::calibrate::{CalibrationOptions, Curve, Flask, Model, Unknown, Weighting};
pub use crate::error::{Error, Result};
pub use crate::estimate::Estimate;
pub use crate::figure::Figure;
#[cfg(feature = "frame")]
pub use crate::frame::{Frame, Is, ToFrame};
pub use crate::notebook::{OrStop, Show};
pub use crate::peaks::{Detect, FitOptions, Peak, PeakList};
pub use crate::read::ReadOptions;
pub use crate::results::{Finding, Results, Severity};
pub use crate::study::{Analysis, Study, StudyConfig};
pub use crate::table::{Column, Table};
pub use crate::tabulate::Tabular;
pub use crate::trace::{Run, Trace};
pub use crate::units::{ContentUnit, Quantity};
