//! vialbook: from the traces of a small gas chromatograph to amounts that hold up, and a report.
//!
//! One study, from files to report:
//! ```no_run
//! use vialbook::prelude::*;
//!
//! let study = Study::open("demo")?;                     // study.toml + injections.csv + traces/
//! let run = study.run("level-3-1")?;
//! let peaks = run.find_peaks(&Detect::default())?;      // bounds, areas with u, widths, tailing, resolution, S/N
//! let analysis = study.analyse()?;                      // names, calibrations, amounts, findings
//! let curve = analysis.calibration("2-propanol")?;      // coefficients, standard errors, lack of fit, limits
//! let amount = analysis.amount("recovered eluent", "2-propanol")?;
//! println!("{}", amount.text);                          // 0.4868 ± 0.0081 % v/v (k = 2.2, 95 %)
//! analysis.save("demo/results")?;                       // results.json and CSV tables
//! # #[cfg(feature = "report")]
//! analysis.report()?.conclusion("It may go back.").save("demo/report.pdf")?;
//! # Ok::<(), vialbook::Error>(())
//! ```
//!
//! | stage | from → to | start here |
//! |---|---|---|
//! | [`read`] | file → run | [`Run::read`](crate::Run::read), [`read::read_all`] |
//! | [`signal`] | trace → trace, noise | [`Trace::smooth`](crate::Trace::smooth), [`Trace::noise`](crate::Trace::noise) |
//! | [`peaks`] | trace → peak list | [`Trace::find_peaks`](crate::Trace::find_peaks), [`Trace::integrate_window`](crate::Trace::integrate_window) |
//! | [`identify`] | peak list → named peaks | [`PeakList::identify`](crate::PeakList::identify) |
//! | [`calibrate`] | flasks → curve, and back | [`Curve::fit`](calibrate::Curve::fit), [`Curve::invert`](calibrate::Curve::invert) |
//! | [`quantify`] | curve, responses → amount | [`Amount::internal`](quantify::Amount::internal), [`DecisionRule`](quantify::DecisionRule) |
//! | [`study`] | folder → all stages | [`Study::open`], [`Study::analyse`] |
//! | [`check`] | results → findings | [`check::findings`] |
//! | [`figure`] | results → figure → SVG, plotly JSON | [`figure::views`] |
//! | [`tabulate`] | results → table | [`Tabular`](tabulate::Tabular), [`table`] |
//! | [`notebook`] | result → what a cell shows | [`notebook::Show`] |
//! | `report` | results → PDF | `Analysis::report` |
//! | [`simulate`] | seed → runs with the truth | [`simulate::recovered_eluent`] |
//! | [`compounds`] | name → properties, hazards | [`compounds::find`] |
//! | [`estimate`] | number → text, one way | [`Estimate`], [`estimate::plus_minus`] |
//! | [`numeric`] | least squares, distributions, random numbers | [`numeric::fit_linear`] |
//!
//! Does: one detector's traces, hand-injected; curves on flask means with a two-part variance; internal and external
//! standards, standard addition, normalisation; intervals, decisions and probabilities from one pivot. Does not, yet: plan a
//! run, or make sets of data for a class. Never: identify by retention alone, drop a point by itself, replace a safety data
//! sheet.

pub mod calibrate;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compounds;
pub mod error;
pub mod estimate;
pub mod figure;
#[cfg(feature = "frame")]
pub mod frame;
pub mod identify;
pub mod notebook;
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
pub mod table;
pub mod tabulate;
pub mod trace;
pub mod units;

pub use error::{Error, ErrorKind, Result};
pub use estimate::{Estimate, UncertaintyDigits};
pub use peaks::{BaselineEnds, Detect, Integration, Peak, PeakList, PeakNote};
pub use read::{ReadOptions, read_all, read_run};
pub use results::{Finding, Results, Severity};
pub use shapes::{ExponentiallyModifiedGaussian, Gaussian, HaarhoffVanDerLinde};
pub use signal::{Baseline, BaselineMethod, Noise, SavitzkyGolay};
pub use study::{Analysis, Study, StudyConfig};
pub use table::{Column, Table};
pub use trace::{Provenance, ReadingNote, Run, Trace};
pub use units::{ContentUnit, Quantity, area_unit};
