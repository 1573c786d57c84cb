//! vialbook: from the traces of a small gas chromatograph to amounts that hold up, and a report.

pub mod calibrate;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compounds;
pub mod error;
pub mod estimate;
pub mod figure;
pub mod identify;
pub mod numeric;
pub mod peaks;
pub mod prelude;
pub mod quantify;
pub mod read;
#[cfg(feature = "report")]
pub mod report;
pub mod results;
pub mod shapes;
pub mod signal;
pub mod simulate;
pub mod study;
pub mod trace;
pub mod units;

pub use error::{Error, ErrorKind, Result};
pub use estimate::{Estimate, UncertaintyDigits};
pub use peaks::{BaselineEnds, Detect, Integration, Peak, PeakList, PeakNote};
pub use read::{ReadOptions, read_all, read_run};
pub use results::{Finding, Results, Severity};
pub use shapes::{ExponentiallyModifiedGaussian, Gaussian, HaarhoffVanDerLinde};
pub use signal::{Baseline, Noise, SavitzkyGolay};
pub use study::{Analysis, Study, StudyConfig};
pub use trace::{Provenance, ReadingNote, Run, Trace};
pub use units::{ContentUnit, Quantity, area_unit};
