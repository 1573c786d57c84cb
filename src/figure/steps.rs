//! A setting worked out beforehand at several steps: a slider on the screen, the chosen step on paper.

use serde::Serialize;

use super::layers::Layer;
use super::model::{Figure, Panel};
use super::ranges::{x_range, y_range};

/// A setting and what the figure shows at each of its steps, worked out beforehand.
///
/// ```
/// use vialbook::figure::{Axis, Figure, Layer, Panel, Step, Steps};
/// let line = |slope: f64| Layer::line(vec![0.0, 1.0], vec![0.0, slope]);
/// let steps = Steps::new("slope", "mV/min")
///     .step(Step::new("1").layer(line(1.0)))
///     .step(Step::new("2").layer(line(2.0)))
///     .chosen(1);
/// let panel = Panel::new(Axis::new("time", "min"), Axis::new("signal", "mV"));
/// let figure = Figure::new("A line of slope 1 or 2.").panel(panel).stepping(steps);
/// assert_eq!(figure.at_step(0).panels[0].layers, [line(1.0)]);
/// assert_eq!(figure.at_step(0).to_svg(), figure.at_step(0).to_svg());
/// assert_eq!(figure.to_svg(), figure.at_step(1).to_svg());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Steps {
    /// What is set, in words: "window".
    pub quantity: String,
    /// Its unit; empty for a number.
    pub unit: String,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// The step that is shown first, and on paper; counted from 0.
    pub chosen: usize,
}

/// One step of a setting.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// The setting at this step, without its unit.
    pub label: String,
    /// What is drawn at this step only, panel by panel; above what the panel always shows.
    pub layers: Vec<Vec<Layer>>,
}

impl Steps {
    /// A setting without steps.
    pub fn new(quantity: impl Into<String>, unit: impl Into<String>) -> Self {
        Steps { quantity: quantity.into(), unit: unit.into(), steps: Vec::new(), chosen: 0 }
    }

    /// One more step.
    pub fn step(mut self, step: Step) -> Self {
        self.steps.push(step);
        self
    }

    /// Which step is shown first, counted from 0.
    pub fn chosen(mut self, step: usize) -> Self {
        self.chosen = step;
        self
    }

    /// The chosen step, or the last where there are fewer.
    pub(super) fn first_shown(&self) -> usize {
        self.chosen.min(self.steps.len().saturating_sub(1))
    }
}

impl Step {
    /// A step that draws nothing yet.
    pub fn new(label: impl Into<String>) -> Self {
        Step { label: label.into(), layers: Vec::new() }
    }

    /// One more layer in the first panel.
    pub fn layer(self, layer: Layer) -> Self {
        self.layers_in(0, [layer])
    }

    /// More layers in the panel with this number, from 0.
    pub fn layers_in(mut self, panel: usize, layers: impl IntoIterator<Item = Layer>) -> Self {
        if self.layers.len() <= panel {
            self.layers.resize(panel + 1, Vec::new());
        }
        self.layers[panel].extend(layers);
        self
    }
}

impl Figure {
    /// With a setting that changes what is shown.
    pub fn stepping(mut self, steps: Steps) -> Self {
        self.steps = Some(steps);
        self
    }

    /// The figure at one step, as a figure without steps; the axes reach as far as any step needs. A step that
    /// there is not, and a figure without steps, give what is always shown.
    pub fn at_step(&self, step: usize) -> Figure {
        let Some(steps) = &self.steps else { return self.clone() };
        let mut figure = Figure { steps: None, ..self.clone() };
        let stated = if self.share_x { self.stated_x_range() } else { None };
        for (i, panel) in figure.panels.iter_mut().enumerate() {
            hold_ranges(panel, i, steps, stated, self.share_x);
            let more = steps.steps.get(step).and_then(|s| s.layers.get(i));
            panel.layers.extend(more.into_iter().flatten().cloned());
        }
        figure
    }

    /// What is on paper: the chosen step.
    pub(super) fn on_paper(&self) -> std::borrow::Cow<'_, Figure> {
        match &self.steps {
            None => std::borrow::Cow::Borrowed(self),
            Some(steps) => std::borrow::Cow::Owned(self.at_step(steps.first_shown())),
        }
    }
}

/// Ranges that hold all steps, so that the axes stand still.
fn hold_ranges(panel: &mut Panel, i: usize, steps: &Steps, stated: Option<[f64; 2]>, shared: bool) {
    let mut all = panel.clone();
    all.layers.extend(steps.steps.iter().filter_map(|s| s.layers.get(i)).flatten().cloned());
    let Some(x) = x_range(&all, stated) else { return };
    if !all.layers.iter().any(|l| matches!(l, Layer::Bars { .. })) {
        panel.y.range = Some(y_range(&all, x));
    }
    if !shared {
        panel.x.range = Some(x);
    }
}
