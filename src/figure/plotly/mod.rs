//! The screen painter: a described figure to plotly's JSON, for notebooks.
//!
//! The places of axis boxes, names, legends, notes and insets are those of the page, in pixels, so that a figure
//! looks alike in both; the width is the notebook's. Magnified, lines and ticks follow; names stay with their
//! apexes. What a page cannot do is added: words under the pointer, a legend that hides what is clicked, a slider
//! for a figure with steps. Left out is the mark where a trace leaves the panel: here one can look beyond the edge.

mod axes;
mod numbers;
mod sheet;
mod traces;
mod words;

use plotly::configuration::{Configuration, ImageButtonFormats, ModeBarButtonName, ToImageButtonOptions};
use serde::Serialize;
use serde_json::{Map, Value, json};

use self::numbers::Budget;
use self::sheet::{Axes, Sheet};
use self::traces::{Painter, Trace, line_samples};
use super::layout::{Placed, arrange_figure, page};
use super::model::{Figure, Panel};

/// Leaders, outline of what an inset magnifies.
const GUIDE: &str = "#808080";
/// Letters of a screen, which are read from farther away than a page's.
const FONT: &str = "Arial, Helvetica, Liberation Sans, sans-serif";

impl Figure {
    /// The figure as plotly's JSON, `{data, layout, config}`: the content of `application/vnd.plotly.v1+json`.
    ///
    /// Equal figures give equal bytes; any text is data, never markup, formula or placeholder. Long lines lose
    /// points by [`min_max`](super::min_max), which keeps every peak's apex: a run of 12,000 points makes less than
    /// 400 kB, a figure with steps less than 900 kB. Coordinates are rounded to a twenty-thousandth of the axis or
    /// finer.
    ///
    /// ```
    /// use vialbook::figure::{Axis, Figure, Layer, Panel};
    /// let trace = Layer::line(vec![0.0, 1.0, 2.0], vec![0.1, 3.2, 0.2]).named("standard 1");
    /// let figure = Figure::new("One peak at 1 min, 3.2 mV high, above a flat baseline.")
    ///     .panel(Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", "mV")).layer(trace));
    /// assert!(figure.to_plotly().contains(r#""title":{"font":{"size":13.5},"text":"time / min"}"#));
    /// ```
    pub fn to_plotly(&self) -> String {
        document(self).to_string()
    }
}

/// What one step shows.
#[derive(Default)]
struct View {
    traces: Vec<(usize, Trace)>,
    annotations: Vec<Value>,
    shapes: Vec<Value>,
}

fn document(figure: &Figure) -> Value {
    let budget = Budget::new(figure);
    let chosen = figure.steps.as_ref().map_or(0, |s| s.first_shown());
    let count = figure.steps.as_ref().map_or(1, |s| s.steps.len().max(1));
    let figures: Vec<Figure> = (0..count).map(|k| figure.at_step(k)).collect();
    let placed: Vec<Vec<Placed>> = figures.iter().map(arrange_figure).collect();
    // The axis boxes are those of the step whose names need most room.
    let top = |p: &Vec<Placed>| p.first().map_or(0.0, |p| p.frame.top);
    let roomy = (0..count).max_by(|&a, &b| top(&placed[a]).total_cmp(&top(&placed[b])).then(b.cmp(&a))).unwrap_or(0);
    let sheet = Sheet::new(figure, &placed[roomy], page(figure));

    let views: Vec<View> = figures.iter().zip(&placed).map(|(f, p)| view(f, p, &sheet, budget)).collect();
    let mut layout = Map::new();
    boxes(&figures[roomy], &placed[roomy], &sheet, &mut layout);

    // What all steps share is drawn once.
    let constant = |panel: usize| figure.panels.get(panel).map_or(usize::MAX, |p| p.layers.len());
    let mut data: Vec<(u8, Map<String, Value>)> = Vec::new();
    let mut shown_at: Vec<Option<usize>> = Vec::new();
    for (k, view) in views.iter().enumerate() {
        for (panel, trace) in &view.traces {
            let own = trace.layer >= constant(*panel);
            if own || k == chosen {
                data.push((trace.height, trace.json.clone()));
                shown_at.push(own.then_some(k));
            }
        }
    }
    let mut order: Vec<usize> = (0..data.len()).collect();
    order.sort_by_key(|&i| data[i].0);
    let shown_at: Vec<Option<usize>> = order.iter().map(|&i| shown_at[i]).collect();
    let data: Vec<Value> = order
        .iter()
        .zip(&shown_at)
        .map(|(&i, at)| {
            let mut json = std::mem::take(&mut data[i].1);
            if at.is_some_and(|k| k != chosen) {
                json.insert("visible".into(), false.into());
            }
            Value::Object(json)
        })
        .collect();
    layout.insert("annotations".into(), views[chosen].annotations.clone().into());
    layout.insert("shapes".into(), views[chosen].shapes.clone().into());
    if let Some(steps) = &figure.steps {
        layout.insert("sliders".into(), slider(steps, &views, &shown_at, &sheet));
    }
    frame_of(&sheet, &mut layout);
    json!({"data": data, "layout": layout, "config": Value::Object(json_of(&config()))})
}

/// Everything in the panels of one step.
fn view(figure: &Figure, placed: &[Placed], sheet: &Sheet, budget: Budget) -> View {
    let mut out = View::default();
    for_each_box(figure, placed, |panel, place, number, of_inset| {
        let axes = Axes::new(number, panel, place);
        let painter = Painter { panel, placed: place, axes: &axes, budget, only_inside: of_inset.is_some() };
        // An inset belongs to what is always shown.
        let home = of_inset.map_or(number - 1, |_| usize::MAX);
        out.traces.extend(painter.traces().into_iter().map(|t| (home, t)));
        out.shapes.extend(painter.guides());
        out.shapes.extend(line_samples(place, &axes));
        if let Some(source) = &place.source {
            let ([left, low], [right, high]) = (
                sheet::data_at(place, [source.left, source.bottom]),
                sheet::data_at(place, [source.right, source.top]),
            );
            out.shapes.push(json!({
                "type": "rect", "xref": axes.x_name(), "yref": axes.y_name(),
                "x0": axes.x.of(left), "x1": axes.x.of(right), "y0": axes.y.of(low), "y1": axes.y.of(high),
                "line": {"color": GUIDE, "width": 0.8, "dash": "dot"},
            }));
        }
        out.annotations.extend(words::annotations(panel, place, &axes, sheet));
    });
    out
}

/// Axes and legends of all panels and insets.
fn boxes(figure: &Figure, placed: &[Placed], sheet: &Sheet, layout: &mut Map<String, Value>) {
    for_each_box(figure, placed, |panel, place, number, of_inset| {
        let axes = Axes::new(number, panel, place);
        let leader = (figure.share_x && of_inset.is_none() && number > 1).then(|| "x".to_owned());
        for (name, axis) in axes::axes(panel, place, &axes, sheet.domains(&place.frame), leader) {
            layout.insert(name, axis);
        }
        if let Some(legend) = words::legend(panel, place, sheet) {
            layout.insert(axes.legend_name(), legend);
        }
    });
}

/// Panels in their order, then insets: each with the number of its axes, an inset with its panel's.
fn for_each_box(figure: &Figure, placed: &[Placed], mut each: impl FnMut(&Panel, &Placed, usize, Option<usize>)) {
    for (i, (panel, place)) in figure.panels.iter().zip(placed).enumerate() {
        each(panel, place, i + 1, None);
    }
    let mut number = figure.panels.len();
    for (i, (panel, place)) in figure.panels.iter().zip(placed).enumerate() {
        if let (Some(inset), Some(inner)) = (&panel.inset, place.inset.as_ref().and_then(|(_, p)| p.first())) {
            number += 1;
            each(&inset.panel, inner, number, Some(i));
        }
    }
}

/// A slider below the figure that shows one step and hides the others.
fn slider(steps: &super::Steps, views: &[View], shown_at: &[Option<usize>], sheet: &Sheet) -> Value {
    let moves: Vec<Value> = steps
        .steps
        .iter()
        .zip(views)
        .enumerate()
        .map(|(k, (step, view))| {
            let visible: Vec<bool> = shown_at.iter().map(|at| at.is_none_or(|at| at == k)).collect();
            json!({
                "label": words::words(&step.label),
                "method": "update",
                "args": [{"visible": visible}, {"annotations": view.annotations, "shapes": view.shapes}],
            })
        })
        .collect();
    let unit = words::words(&steps.unit);
    json!([{
        "active": steps.first_shown(),
        "currentvalue": {
            "prefix": format!("{}: ", words::words(&steps.quantity)),
            "suffix": if unit.is_empty() { String::new() } else { format!(" {unit}") },
            "xanchor": "left",
            "font": {"size": 13},
        },
        "font": {"size": 11},
        "pad": {"t": sheet.below().round()},
        "x": 0, "xanchor": "left", "y": 0, "yanchor": "top", "len": 1,
        "transition": {"duration": 0},
        "steps": moves,
    }])
}

/// What surrounds the axis boxes.
fn frame_of(sheet: &Sheet, layout: &mut Map<String, Value>) {
    let [left, right, above, below] = sheet.margins.map(f64::round);
    let mut set = |key: &str, value: Value| _ = layout.insert(key.to_owned(), value);
    set("margin", json!({"l": left, "r": right, "t": above, "b": below, "pad": 0}));
    set("height", sheet.height.round().into());
    set("autosize", true.into());
    set("font", json!({"family": FONT, "size": 12, "color": "#000000"}));
    set("paper_bgcolor", "#ffffff".into());
    set("plot_bgcolor", "#ffffff".into());
    set("hovermode", "closest".into());
    set(
        "hoverlabel",
        json!({"bgcolor": "#ffffff", "bordercolor": GUIDE, "align": "left", "font": {"size": 12, "color": "#000000"}}),
    );
    set("separators", ".\u{2009}".into());
    set("dragmode", "zoom".into());
}

fn config() -> Configuration {
    Configuration::new()
        .display_logo(false)
        .responsive(true)
        .typeset_math(false)
        .mode_bar_buttons_to_remove(vec![ModeBarButtonName::Select2d, ModeBarButtonName::Lasso2d])
        .to_image_button_options(ToImageButtonOptions::new().format(ImageButtonFormats::Svg).filename("figure"))
}

/// A builder's fields as JSON.
fn json_of(builder: &impl Serialize) -> Map<String, Value> {
    match serde_json::to_value(builder) {
        Ok(Value::Object(fields)) => fields,
        _ => Map::new(),
    }
}
