//! What a figure is: panels with axes, layers, a legend and an inset. No paper, no pixels.

use std::fmt;

use serde::Serialize;

use super::layers::{Layer, Place};
use super::steps::Steps;
use super::ticks::power_of_ten;

/// A figure, described once; [`Figure::to_svg`] paints it for the page.
///
/// The width is the printed width: letters are 8 to 9 pt at that size, so a report places the picture unscaled.
///
/// ```
/// use vialbook::figure::{Axis, Figure, Layer, Panel};
/// let trace = Layer::line(vec![0.0, 1.0, 2.0], vec![0.1, 3.2, 0.2]).named("standard 1");
/// let figure = Figure::new("One peak at 1 min, 3.2 mV high, above a flat baseline.")
///     .panel(Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", "mV")).layer(trace));
/// assert!(figure.to_svg().contains("time / min"));
/// ```
#[derive(Clone, PartialEq, Serialize)]
pub struct Figure {
    /// What the figure shows, in a sentence or two: the message, not "plot of"; read out by screen readers.
    pub alt: String,
    /// Panels from top to bottom; their axis boxes line up.
    pub panels: Vec<Panel>,
    /// Printed width in millimetres.
    pub width_mm: f64,
    /// Printed height in millimetres.
    pub height_mm: f64,
    /// True where all panels share one x axis, drawn below the last.
    pub share_x: bool,
    /// A setting whose steps are worked out beforehand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steps: Option<Steps>,
}

impl Figure {
    /// A figure without panels, 160 mm × 90 mm: the text width of an A4 page.
    pub fn new(alt: impl Into<String>) -> Self {
        Figure { alt: alt.into(), panels: Vec::new(), width_mm: 160.0, height_mm: 90.0, share_x: false, steps: None }
    }

    /// One more panel, below those there are.
    pub fn panel(mut self, panel: Panel) -> Self {
        self.panels.push(panel);
        self
    }

    /// Another printed size in millimetres; 84 mm is the column of a two-column page.
    pub fn size_mm(mut self, width: f64, height: f64) -> Self {
        (self.width_mm, self.height_mm) = (width, height);
        self
    }

    /// One x axis for all panels.
    pub fn sharing_x(mut self) -> Self {
        self.share_x = true;
        self
    }

    /// Same x range for every panel that shares the axis: the first stated range, else none.
    pub(super) fn stated_x_range(&self) -> Option<[f64; 2]> {
        self.panels.iter().find_map(|p| p.x.range)
    }
}

/// The text alternative.
impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.alt)
    }
}

impl fmt::Debug for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Figure({} mm × {} mm, {:?})", self.width_mm, self.height_mm, self.panels)
    }
}

/// One axis box with what is drawn in it.
#[derive(Clone, PartialEq, Serialize)]
pub struct Panel {
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    /// What is drawn. Fills lie below lines, lines below markers, markers below text; within these, later above earlier.
    pub layers: Vec<Layer>,
    /// Share of the figure's height, relative to the other panels.
    pub height_share: f64,
    /// Where the names of the layers are told.
    pub legend: Legend,
    /// A smaller picture inside this one.
    pub inset: Option<Box<Inset>>,
    /// A letter such as "a", printed as "(a)" in the upper left corner.
    pub letter: Option<String>,
}

impl Panel {
    /// An empty panel.
    pub fn new(x: Axis, y: Axis) -> Self {
        Panel { x, y, layers: Vec::new(), height_share: 1.0, legend: Legend::Best, inset: None, letter: None }
    }

    /// One more layer.
    pub fn layer(mut self, layer: Layer) -> Self {
        self.layers.push(layer);
        self
    }

    /// More layers.
    pub fn layers(mut self, layers: impl IntoIterator<Item = Layer>) -> Self {
        self.layers.extend(layers);
        self
    }

    /// Share of the figure's height, relative to the other panels (which have 1).
    pub fn height_share(mut self, share: f64) -> Self {
        self.height_share = share;
        self
    }

    /// Another place for the legend.
    pub fn legend(mut self, legend: Legend) -> Self {
        self.legend = legend;
        self
    }

    /// A smaller picture where the panel is empty, 45 % as wide and half as high as the panel.
    pub fn inset(mut self, panel: Panel) -> Self {
        self.inset = Some(Box::new(Inset {
            panel,
            place: Place::Best,
            width_share: 0.45,
            height_share: 0.5,
            show_source: true,
        }));
        self
    }

    /// A letter such as "a" for the upper left corner.
    pub fn letter(mut self, letter: impl Into<String>) -> Self {
        self.letter = Some(letter.into());
        self
    }
}

impl fmt::Debug for Panel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Panel({} against {}, {:?}", self.y.label(0), self.x.label(0), self.layers)?;
        if let Some(inset) = &self.inset {
            write!(f, ", inset {:?}", inset.panel)?;
        }
        f.write_str(")")
    }
}

/// A picture inside a panel, such as the small peaks beside a large one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Inset {
    /// What is drawn; state the ranges of its axes.
    pub panel: Panel,
    /// Where it lies.
    pub place: Place,
    /// Its width, numbers and label included, as a share of the panel's axis box.
    pub width_share: f64,
    /// Its height, numbers and label included, as a share of the panel's axis box.
    pub height_share: f64,
    /// True to outline the magnified region in the panel.
    pub show_source: bool,
}

/// Where the names of the layers are told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub enum Legend {
    /// Nowhere.
    None,
    /// Inside where it covers nothing, else above the axis box. Nothing where no layer has a name.
    #[default]
    Best,
    /// Inside, at this place.
    At(Place),
    /// In rows above the axis box.
    Above,
    /// To the right of each line's end.
    LineEnds,
}

/// An axis: quantity and unit, and how its range is found.
///
/// ```
/// use vialbook::figure::Axis;
/// assert_eq!(Axis::new("signal", "mV").label(0), "signal / mV");
/// assert_eq!(Axis::new("mass concentration", "mg/L").label(0), "mass concentration / (mg/L)");
/// assert_eq!(Axis::new("area", "mV·min").label(3), "area / (10³ mV·min)");
/// assert_eq!(Axis::new("ratio of areas", "").label(0), "ratio of areas");
/// ```
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Axis {
    /// The quantity in words: "time".
    pub quantity: String,
    /// Its unit; empty for a quantity of unit one.
    pub unit: String,
    /// The range; found from the data where not stated.
    pub range: Option<[f64; 2]>,
    /// True to have zero inside a range that is found from the data.
    pub include_zero: bool,
    /// What is added at each end of a range found from the data, as a share of the data's span.
    pub margin: f64,
    /// True where only whole numbers make sense: run order, counts.
    pub whole_numbers: bool,
    /// Words instead of numbers at 1, 2, 3 … (x axis; bars bring their own words).
    pub categories: Vec<String>,
    /// False to leave out ticks and numbers, as with offset traces.
    pub numbers: bool,
    /// True for hairlines across the panel at the numbers.
    pub grid: bool,
}

impl Axis {
    /// An axis whose range is found from the data, with a margin of 4 %.
    pub fn new(quantity: impl Into<String>, unit: impl Into<String>) -> Self {
        Axis { quantity: quantity.into(), unit: unit.into(), ..Axis::default() }
    }

    /// A stated range.
    pub fn range(mut self, low: f64, high: f64) -> Self {
        self.range = Some([low, high]);
        self
    }

    /// No margin: the axis ends where the data end.
    pub fn tight(mut self) -> Self {
        self.margin = 0.0;
        self
    }

    /// With zero inside.
    pub fn with_zero(mut self) -> Self {
        self.include_zero = true;
        self
    }

    /// Whole numbers only.
    pub fn whole(mut self) -> Self {
        self.whole_numbers = true;
        self
    }

    /// Words at 1, 2, 3 …
    pub fn categories(mut self, words: Vec<String>) -> Self {
        self.categories = words;
        self
    }

    /// Without ticks and numbers.
    pub fn without_numbers(mut self) -> Self {
        self.numbers = false;
        self
    }

    /// With hairlines across the panel.
    pub fn with_grid(mut self) -> Self {
        self.grid = true;
        self
    }

    /// Quantity and unit as a quotient (ISO 80000-1:2022, 7.1: numbers on an axis are quantity / unit), the numbers
    /// divided by 10 to this power.
    pub fn label(&self, power: i32) -> String {
        let mut unit = if power == 0 { String::new() } else { power_of_ten(power) };
        if !self.unit.is_empty() {
            if power != 0 {
                unit.push(' ');
            }
            unit.push_str(&self.unit);
        }
        match (unit.is_empty(), unit.contains(['/', '·', ' '])) {
            (true, _) => self.quantity.clone(),
            (false, true) => format!("{} / ({unit})", self.quantity),
            (false, false) => format!("{} / {unit}", self.quantity),
        }
    }
}

impl Default for Axis {
    fn default() -> Self {
        Axis {
            quantity: String::new(),
            unit: String::new(),
            range: None,
            include_zero: false,
            margin: 0.04,
            whole_numbers: false,
            categories: Vec::new(),
            numbers: true,
            grid: false,
        }
    }
}
