//! Results show themselves in a notebook: one bundle of representations for each value.
//!
//! A cell whose last line is a value shows it: the kernel calls `evcxr_display`, which every public result has. Lists,
//! and results behind `Result` or `Option`, are shown too where [`Show`] is in scope, as it is after
//! `use vialbook::prelude::*`; an error then is a box that says where, what and what to do.
//!
//! # What is in a bundle, and why
//! - `application/vnd.plotly.v1+json` for a [`Figure`](crate::Figure) (feature `plotly`): what JupyterLab prefers.
//! - `text/html` always. A picture in it is an `<img>` whose source is the SVG as a data URI, not the SVG itself:
//!   code-hosting sites strip inline SVG from HTML but keep images; an image needs no style, cannot run a script, does
//!   not share its identifiers with other pictures of the page, and has its text alternative where every reader looks
//!   for it. There is no `image/svg+xml` beside it: nbconvert takes HTML first, and would show an SVG without its
//!   alternative text; the picture would be in the notebook's file twice for nobody. An untrusted notebook in JupyterLab
//!   shows the alternative text until its cells are run.
//! - `text/plain` always: terminals, screen readers, differences between versions of a notebook.
//! - Never `image/png`: JupyterLab's plotly renderer would show it in the figure's place.
//!
//! What is more than a picture (a calibration, an amount) has no plotly part, since that would hide the numbers beside
//! it; its `plot()` has.
//!
//! # The protocol
//! A block begins with a line `EVCXR_BEGIN_CONTENT` and its media type, and ends with a line `EVCXR_END_CONTENT`. A
//! bundle is written at once under the lock of the standard output. A line of the content that would be read as one of
//! the kernel's own marks gets a space before it.

mod bundle;
mod errors;
mod kinds;
mod pictures;
mod session;

pub use bundle::Bundle;
pub use errors::OrStop;
pub use session::{quiet_panics, start};

use crate::error::Error;
use crate::table::Table;
use crate::tabulate::Tabular;

/// What can show itself in a notebook.
pub trait Show {
    /// Its representations, made but not yet printed.
    fn bundle(&self) -> Bundle;

    /// Prints the bundle where the kernel reads it; called by the kernel for the last line of a cell.
    fn evcxr_display(&self) {
        self.bundle().print();
    }
}

/// The same as a method of each result, which needs no import.
macro_rules! inherent {
    ($($result:ty),* $(,)?) => { $(
        impl $result {
            /// Shows it in a notebook; the kernel calls this for the last line of a cell.
            pub fn evcxr_display(&self) {
                Show::bundle(self).print();
            }
        }
    )* };
}

inherent!(
    crate::calibrate::Curve,
    crate::calibrate::Inverse,
    crate::calibrate::Limits,
    crate::check::Guide,
    crate::compounds::Properties,
    crate::error::Error,
    crate::estimate::Estimate,
    crate::figure::Figure,
    crate::identify::NamedPeak,
    crate::identify::NamedPeaks,
    crate::peaks::GroupFit,
    crate::peaks::Peak,
    crate::peaks::PeakFits,
    crate::peaks::PeakList,
    crate::quantify::Amount,
    crate::quantify::Decision,
    crate::quantify::VolumeCancels,
    crate::results::AmountResult,
    crate::results::CalibrationResult,
    crate::results::Finding,
    crate::results::PeakResult,
    crate::results::Results,
    crate::results::RunResult,
    crate::signal::Baseline,
    crate::signal::Noise,
    crate::study::Analysis,
    crate::study::Study,
    crate::study::StudyConfig,
    crate::table::Table,
    crate::trace::Provenance,
    crate::trace::ReadingNote,
    crate::trace::Run,
    crate::trace::Trace,
);

#[cfg(feature = "report")]
inherent!(crate::report::Report, crate::report::SavedReport);

#[cfg(feature = "frame")]
inherent!(crate::frame::Frame);

impl Show for Table {
    fn bundle(&self) -> Bundle {
        Bundle::new(self.to_html(), self.to_string())
    }
}

/// A list: one table.
impl<T> Show for [T]
where
    [T]: Tabular,
{
    fn bundle(&self) -> Bundle {
        self.table().bundle()
    }
}

/// The result, or the error as a box.
impl<T: Show> Show for std::result::Result<T, Error> {
    fn bundle(&self) -> Bundle {
        match self {
            Ok(value) => value.bundle(),
            Err(error) => error.bundle(),
        }
    }
}

/// The value; nothing is told as nothing.
impl<T: Show> Show for Option<T> {
    fn bundle(&self) -> Bundle {
        match self {
            Some(value) => value.bundle(),
            None => Bundle::said("None: there is no such thing here."),
        }
    }
}
