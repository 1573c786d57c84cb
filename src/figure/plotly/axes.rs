//! Axes for the screen: as on paper, but with numbers that follow the magnification.

use plotly::layout::{Axis as ScreenAxis, TicksDirection};
use serde_json::{Map, Value, json};

use super::super::axes::AxisMarks;
use super::super::layout::Placed;
use super::super::model::{Axis, Panel};
use super::super::ticks::Ticks;
use super::json_of;
use super::numbers::decimals;
use super::sheet::{Axes, SCALE};
use super::traces::bar_names;
use super::words::{title, words};

/// Grid lines.
const HAIR: &str = "#d9d9d9";

/// The two axes of a panel; `domains` are where its box lies, in shares of width and height.
pub(super) fn axes(
    panel: &Panel,
    placed: &Placed,
    axes: &Axes,
    domains: [[f64; 2]; 2],
    in_line_with: Option<String>,
) -> [(String, Value); 2] {
    let long = |name: String| name.replacen(['x', 'y'], if name.starts_with('x') { "xaxis" } else { "yaxis" }, 1);
    let [x, y] = placed.ranges;
    // Ends are rounded as places are: a name at the very end of an axis lies on it, not beyond.
    let mut along = axis(&panel.x, &placed.x, placed, x, x.map(|v| axes.x.of(v)), domains[0]);
    let mut up = axis(&panel.y, &placed.y, placed, y, y.map(|v| axes.y.of(v)), domains[1]);
    along.insert("anchor".into(), axes.y_name().into());
    up.insert("anchor".into(), axes.x_name().into());
    if !panel.x.categories.is_empty() {
        let names: Vec<String> = panel.x.categories.iter().map(|c| words(c)).collect();
        let places: Vec<usize> = (1..=names.len()).collect();
        along.insert("tickvals".into(), places.into());
        along.insert("ticktext".into(), names.into());
        if placed.x.upright {
            along.insert("tickangle".into(), (-90).into());
            // Words of unknown length: the title keeps clear of them, and the margin grows.
            along.insert("automargin".into(), "height".into());
            if let Some(Value::Object(title)) = along.get_mut("title") {
                title.insert("standoff".into(), 8.into());
            }
        }
        along.remove("minor");
    }
    if !placed.x.words {
        along.insert("showticklabels".into(), false.into());
    }
    if let Some(leader) = in_line_with {
        along.insert("matches".into(), leader.into());
    }
    if let Some(names) = bar_names(panel) {
        let places: Vec<usize> = (0..names.len()).collect();
        up.insert("tickvals".into(), places.into());
        up.insert("ticktext".into(), names.into());
        up.insert("ticks".into(), "".into());
        up.insert("showticklabels".into(), true.into());
        up.remove("minor");
    }
    up.insert("automargin".into(), "left".into());
    [(long(axes.x_name()), Value::Object(along)), (long(axes.y_name()), Value::Object(up))]
}

fn axis(
    axis: &Axis,
    marks: &AxisMarks,
    placed: &Placed,
    range: [f64; 2],
    ends: [f64; 2],
    domain: [f64; 2],
) -> Map<String, Value> {
    let sizes = placed.sizes;
    let length = sizes.tick_length * SCALE;
    let mut json = json_of(
        &ScreenAxis::new()
            .range(ends.to_vec())
            .domain(&domain)
            .show_line(true)
            .line_color("#000000")
            .line_width(1)
            .zero_line(false)
            .show_grid(axis.grid)
            .grid_color(HAIR)
            .ticks(TicksDirection::Outside)
            .tick_length(length.round() as usize)
            .show_tick_labels(true),
    );
    let mut set = |key: &str, value: Value| _ = json.insert(key.to_owned(), value);
    set("title", Value::Object(title(if marks.words { &marks.label } else { &[] }, marks.label_size)));
    set("tickfont", json!({"size": (sizes.tick * SCALE).round()}));
    set("minor", json!({"ticks": "outside", "ticklen": (length * 0.55).round()}));
    set("nticks", (((domain[1] - domain[0]) * 12.0).ceil().max(4.0) as usize).into());
    let span = (ends[1] - ends[0]).abs();
    // A pointer does not meet a place more closely than a five-thousandth of the axis.
    set("hoverformat", format!(".{}f", decimals(span, 5e3).clamp(0, 15)).into());
    set("exponentformat", "power".into());
    if ends[0].abs().max(ends[1].abs()) >= 1e4 {
        set("separatethousands", true.into());
    }
    if axis.whole_numbers {
        let whole = Ticks::whole(range[0], range[1], 10).major;
        let step = whole.windows(2).map(|w| w[1] - w[0]).next().unwrap_or(1.0);
        set("tick0", 0.into());
        set("dtick", step.into());
        set("minor", json!({}));
    }
    if !axis.numbers {
        set("ticks", "".into());
        set("showticklabels", false.into());
        set("minor", json!({}));
    }
    json
}
