//! Figures: what to draw, described once, and the painters that draw it.
//!
//! ```text
//! views (study results) ──> Figure ──> shapes on paper ──> SVG text (report, export)
//!                              └─────> plotly (notebook)
//! ```
//!
//! A [`Figure`] holds [`Panel`]s, a panel holds [`Axis`] and [`Layer`]s; all in the data's own numbers. Tests look
//! at the description; the SVG text is kept as expected files.
//!
//! The look is a journal's: no title inside, ticks outward, no grid, axis labels as quantity / unit, a real minus
//! sign, colours that colour-blind readers tell apart with dash or marker differing as well, one font.
//!
//! ```
//! use vialbook::figure::{Axis, Color, Figure, Layer, Panel};
//! let (x, y) = (vec![0.5, 1.0, 2.0, 4.0], vec![1.1, 1.9, 4.2, 7.9]);
//! let residual: Vec<f64> = x.iter().zip(&y).map(|(x, y)| y - 2.0 * x).collect();
//! let figure = Figure::new("Four standards lie within 0.2 of a line of slope 2.")
//!     .sharing_x()
//!     .panel(
//!         Panel::new(Axis::new("mass concentration", "mg/L").with_zero(), Axis::new("ratio of areas", "").with_zero())
//!             .layer(Layer::line(vec![0.0, 4.0], vec![0.0, 8.0]).colored(Color::Blue).named("line of least squares"))
//!             .layer(Layer::markers(x.clone(), y).with_y_error(vec![0.1; 4]).named("standards")),
//!     )
//!     .panel(
//!         Panel::new(Axis::new("mass concentration", "mg/L").with_zero(), Axis::new("residual", ""))
//!             .height_share(0.35)
//!             .layer(Layer::horizontal(0.0))
//!             .layer(Layer::markers(x, residual)),
//!     );
//! assert!(figure.to_svg().starts_with("<svg"));
//! ```

mod axes;
mod canvas;
mod decimate;
mod geometry;
mod layers;
mod layout;
mod legend;
mod merits;
mod model;
mod names;
#[cfg(feature = "plotly")]
mod plotly;
mod plots;
mod ranges;
mod shapes;
mod steps;
mod svg;
mod text;
mod ticks;
pub mod views;

pub use decimate::min_max;
pub use layers::{Anchor, Bar, Color, Dash, Layer, Mark, Marker, Place, Style};
pub use model::{Axis, Figure, Inset, Legend, Panel};
pub use steps::{Step, Steps};
pub use ticks::{Ticks, number};
