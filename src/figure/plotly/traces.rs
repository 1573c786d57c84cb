//! Layers as the drawing library's traces and shapes.

use plotly::common::{DashType, ErrorData, ErrorType, Line as Stroke, Marker as Dot, Mode, Orientation};
use plotly::layout::{Shape, ShapeLayer, ShapeLine, ShapeType};
use plotly::{Bar as BarTrace, Scatter};
use serde_json::{Map, Value, json};

use super::super::decimate::min_max;
use super::super::layers::{Bar, Color, Dash, Layer, Marker, Style};
use super::super::layout::Placed;
use super::super::model::{Legend, Panel};
use super::super::shapes::MARKER_PT;
use super::json_of;
use super::numbers::Budget;
use super::sheet::{Axes, SCALE};
use super::words::{escape, lines, told, words};

/// A trace and where it belongs.
pub(super) struct Trace {
    /// Fills before guides, lines, markers: later is painted above.
    pub(super) height: u8,
    /// Number of the panel's layer that it shows.
    pub(super) layer: usize,
    pub(super) json: Map<String, Value>,
}

/// What the traces of a panel have in common.
pub(super) struct Painter<'a> {
    pub(super) panel: &'a Panel,
    pub(super) placed: &'a Placed,
    pub(super) axes: &'a Axes,
    pub(super) budget: Budget,
    /// True to draw only what lies in the panel's range, as in an inset.
    pub(super) only_inside: bool,
}

impl Painter<'_> {
    pub(super) fn traces(&self) -> Vec<Trace> {
        let mut out = Vec::new();
        for (n, layer) in self.panel.layers.iter().enumerate() {
            let mut add = |height: u8, name: &Option<String>, json: Map<String, Value>| {
                let json = self.finish(json, name, n);
                out.push(Trace { height, layer: n, json });
            };
            match layer {
                Layer::Line { x, y, style, name } => {
                    let by_its_end = self.panel.legend == Legend::LineEnds;
                    self.line(x, y, *style, name, |part, json| {
                        let none = None;
                        add(2, if part == 0 && !by_its_end { name } else { &none }, json);
                    });
                }
                Layer::Markers { name, .. } => add(3, name, self.markers(layer)),
                Layer::Band { x, low, high, color, name } => {
                    let mut json = self.region(x, high, low, *color, 0.0);
                    json.insert("hoverinfo".into(), "skip".into());
                    add(0, name, json);
                }
                Layer::Area { x, y, base, color, name, hover } => {
                    let mut json = self.region(x, y, base, *color, 0.5);
                    match hover {
                        Some(text) => {
                            json.insert("hoveron".into(), "points+fills".into());
                            json.insert("hoverinfo".into(), "text".into());
                            json.insert("text".into(), lines(text).into());
                        }
                        None => _ = json.insert("hoverinfo".into(), "skip".into()),
                    }
                    add(0, name, json);
                }
                Layer::Bars { bars, color } => add(0, &None, self.bars(bars, *color)),
                _ => {}
            }
        }
        out
    }

    /// Axes, and a place in the legend where there is a name.
    fn finish(&self, mut json: Map<String, Value>, name: &Option<String>, layer: usize) -> Map<String, Value> {
        json.insert("xaxis".into(), self.axes.x_name().into());
        json.insert("yaxis".into(), self.axes.y_name().into());
        let named = name.is_some() && self.panel.legend != Legend::None;
        json.insert("showlegend".into(), named.into());
        if let Some(name) = name {
            json.insert("name".into(), words(name).into());
        }
        if named {
            json.insert("legend".into(), self.axes.legend_name().into());
            json.insert("legendrank".into(), (1000 + layer).into());
        }
        json
    }

    /// A line; inside of areas that tell something, the area answers to the pointer instead of the line.
    fn line(
        &self,
        x: &[f64],
        y: &[f64],
        style: Style,
        name: &Option<String>,
        mut add: impl FnMut(usize, Map<String, Value>),
    ) {
        let points = x.len().min(y.len());
        let (x, y) = self.visible(&x[..points], &y[..points]);
        let (x, y) = min_max(x, y, self.budget.columns());
        let telling: Vec<(f64, f64)> = self.panel.layers.iter().filter_map(span_of_telling_area).collect();
        let inside = |v: f64| telling.iter().any(|&(a, b)| v > a && v < b);
        let stroke = stroke(style);
        let trace = |x: &[f64], y: &[f64]| {
            let mut json =
                json_of(&Scatter::new(self.axes.x.all(x), self.axes.y.all(y)).mode(Mode::Lines).line(stroke.clone()));
            if x.len() < 3 && name.is_none() {
                json.insert("hoverinfo".into(), "skip".into());
            } else {
                json.insert("hovertemplate".into(), self.template(name).into());
            }
            json
        };
        if telling.is_empty() {
            add(0, trace(&x, &y));
        } else {
            let parts = [false, true].map(|wanted| {
                let part = part_of(&x, &y, |a, b| inside(0.5 * (a + b)) == wanted);
                trace(&part.0, &part.1)
            });
            for (i, mut json) in parts.into_iter().enumerate() {
                if let Some(name) = name {
                    // A click on the name in the legend hides both.
                    json.insert("legendgroup".into(), words(name).into());
                }
                if i == 1 {
                    json.remove("hovertemplate");
                    json.insert("hoverinfo".into(), "skip".into());
                }
                add(i, json);
            }
        }
        let lone = lone_points(&x, &y);
        if !lone.0.is_empty() {
            let dots = Scatter::new(self.axes.x.all(&lone.0), self.axes.y.all(&lone.1)).mode(Mode::Markers);
            let mut json = json_of(&dots.marker(Dot::new().size(5).color(style.color.hex())));
            json.insert("hovertemplate".into(), self.template(name).into());
            add(1, json);
        }
    }

    /// What a point of a line tells.
    fn template(&self, name: &Option<String>) -> String {
        let (panel, placed) = (self.panel, self.placed);
        let x = told(&panel.x, placed.x.power, "%{x}");
        let y = told(&panel.y, placed.y.power, "%{y}");
        let name = name.as_deref().map(words).unwrap_or_default();
        format!("{x}<br>{y}<extra>{name}</extra>")
    }

    fn markers(&self, layer: &Layer) -> Map<String, Value> {
        let Layer::Markers { x, y, x_error, y_error, marker, hollow, color, name, hover } = layer else {
            return Map::new();
        };
        let n = x.len().min(y.len());
        let size = (2.0 * MARKER_PT * SCALE).round() as usize;
        let thin = matches!(marker, Marker::Cross | Marker::Plus);
        let fill = if *hollow { "#ffffff" } else { color.hex() };
        let rim = Stroke::new().color(color.hex()).width(if thin { 1.4 } else { 1.2 });
        let mut trace = Scatter::new(self.axes.x.all(&x[..n]), self.axes.y.all(&y[..n]))
            .mode(Mode::Markers)
            .marker(Dot::new().size(size).color(fill).line(rim));
        let bars = |half: &[f64], along: &super::numbers::Coordinate| {
            let lengths: Vec<f64> = (0..n).map(|i| half.get(i).map_or(f64::NAN, |h| along.of(h.abs()))).collect();
            let bars = ErrorData::new(ErrorType::Data).array(lengths).visible(true);
            bars.color(color.hex()).thickness(0.9).width(3)
        };
        if let Some(half) = x_error {
            trace = trace.error_x(bars(half, &self.axes.x));
        }
        if let Some(half) = y_error {
            trace = trace.error_y(bars(half, &self.axes.y));
        }
        let mut json = json_of(&trace);
        if let Some(Value::Object(look)) = json.get_mut("marker") {
            look.insert("symbol".into(), symbol(*marker).into());
        }
        let named = words(name.as_deref().unwrap_or_default());
        if !hover.is_empty() {
            let texts: Vec<String> = hover.iter().take(n).map(|t| lines(t)).collect();
            json.insert("hovertext".into(), texts.into());
            json.insert("hovertemplate".into(), format!("%{{hovertext}}<extra>{named}</extra>").into());
        } else if !self.panel.x.categories.is_empty() {
            let category = |v: &f64| self.panel.x.categories.get((v.round() - 1.0).max(0.0) as usize);
            let texts: Vec<String> = x[..n].iter().map(|v| category(v).map_or(String::new(), |c| words(c))).collect();
            json.insert("hovertext".into(), texts.into());
            let y = told(&self.panel.y, self.placed.y.power, "%{y}");
            json.insert("hovertemplate".into(), format!("%{{hovertext}}<br>{y}<extra>{named}</extra>").into());
        } else {
            json.insert("hovertemplate".into(), self.template(name).into());
        }
        json
    }

    /// Between two curves, as closed outlines parted by gaps.
    fn region(&self, x: &[f64], upper: &[f64], lower: &[f64], color: Color, edge_pt: f64) -> Map<String, Value> {
        let n = x.len().min(upper.len()).min(lower.len());
        let (mut px, mut py) = (Vec::new(), Vec::new());
        let known = |i: &usize| x[*i].is_finite() && upper[*i].is_finite() && lower[*i].is_finite();
        let all: Vec<usize> = (0..n).collect();
        for run in all.split(|i| !known(i)).filter(|r| r.len() > 1) {
            let (a, b) = (run[0], run[run.len() - 1] + 1);
            let columns = self.budget.area_columns();
            let top = self.visible(&x[a..b], &upper[a..b]);
            let base = self.visible(&x[a..b], &lower[a..b]);
            let (tx, ty) = min_max(top.0, top.1, columns);
            let (bx, by) = if is_straight(base.0, base.1) { ends(base) } else { min_max(base.0, base.1, columns) };
            if !px.is_empty() {
                px.push(f64::NAN);
                py.push(f64::NAN);
            }
            px.extend(tx.into_iter().chain(bx.into_iter().rev()));
            py.extend(ty.into_iter().chain(by.into_iter().rev()));
        }
        let line = Stroke::new().color(color.hex()).width(edge_pt * SCALE);
        let mut json = json_of(&Scatter::new(self.axes.x.all(&px), self.axes.y.all(&py)).mode(Mode::Lines).line(line));
        json.insert("fill".into(), "toself".into());
        json.insert("fillcolor".into(), tint(color, 0.22).into());
        json
    }

    fn bars(&self, bars: &[Bar], color: Color) -> Map<String, Value> {
        let lengths: Vec<f64> = bars.iter().map(|b| self.axes.x.of(b.value)).collect();
        let notes: Vec<String> = bars.iter().map(|b| words(b.note.as_deref().unwrap_or_default())).collect();
        let names: Vec<String> = bars.iter().map(|b| words(&b.label)).collect();
        let rim = Stroke::new().color(color.hex()).width(0.75);
        let trace = BarTrace::new(lengths, (0..bars.len()).map(|i| i as f64).collect::<Vec<f64>>())
            .orientation(Orientation::Horizontal)
            .width(0.62)
            .clip_on_axis(false)
            .text_array(notes)
            .hover_text_array(names)
            .marker(Dot::new().color(tint(color, 0.45)).line(rim));
        let mut json = json_of(&trace);
        json.insert("textposition".into(), "outside".into());
        let told = told(&self.panel.x, self.placed.x.power, "%{x}");
        json.insert("hovertemplate".into(), format!("%{{hovertext}}<br>{told}<extra></extra>").into());
        json
    }

    /// Limits, zero, hold-up times: they reach from edge to edge at any magnification.
    pub(super) fn guides(&self) -> Vec<Value> {
        let (x_name, y_name) = (self.axes.x_name(), self.axes.y_name());
        let (x_whole, y_whole) = (format!("{x_name} domain"), format!("{y_name} domain"));
        let line = |style: Style| {
            let line = ShapeLine::new().color(style.color.hex()).width(style.width_pt * SCALE).dash(dash(style.dash));
            Shape::new().shape_type(ShapeType::Line).layer(ShapeLayer::Below).line(line)
        };
        let mut out = Vec::new();
        for layer in &self.panel.layers {
            match layer {
                Layer::HorizontalLine { y, style, .. } if y.is_finite() => {
                    let y = self.axes.y.of(*y);
                    out.push(line(*style).x_ref(&x_whole).y_ref(&y_name).x0(0).x1(1).y0(y).y1(y));
                }
                Layer::VerticalLine { x, style, .. } if x.is_finite() => {
                    let x = self.axes.x.of(*x);
                    out.push(line(*style).x_ref(&x_name).y_ref(&y_whole).y0(0).y1(1).x0(x).x1(x));
                }
                Layer::Bars { .. } if self.placed.ranges[0][0] < 0.0 => {
                    let style = Style::default().width(0.5);
                    out.push(line(style).x_ref(&x_name).y_ref(&y_whole).y0(0).y1(1).x0(0).x1(0));
                }
                _ => {}
            }
        }
        out.into_iter().map(|s| Value::Object(json_of(&s))).collect()
    }

    /// For an inset, the part with x in range and one point more at each side; all of it where x does not rise.
    fn visible<'v>(&self, x: &'v [f64], y: &'v [f64]) -> (&'v [f64], &'v [f64]) {
        if !self.only_inside || !x.windows(2).all(|w| w[0] <= w[1]) {
            return (x, y);
        }
        let [low, high] = self.placed.ranges[0];
        let a = x.partition_point(|&v| v < low).saturating_sub(1);
        let b = (x.partition_point(|&v| v <= high) + 1).min(x.len()).max(a);
        (&x[a..b], &y[a..b])
    }
}

/// First and last place of an area with words of its own.
fn span_of_telling_area(layer: &Layer) -> Option<(f64, f64)> {
    let Layer::Area { x, hover: Some(_), .. } = layer else { return None };
    let finite = || x.iter().copied().filter(|v| v.is_finite());
    Some((finite().next()?, finite().next_back()?))
}

/// The pieces of a line between neighbours for which this holds, with gaps between.
fn part_of(x: &[f64], y: &[f64], holds: impl Fn(f64, f64) -> bool) -> (Vec<f64>, Vec<f64>) {
    let (mut px, mut py) = (Vec::new(), Vec::new());
    let mut drawing = false;
    for i in 1..x.len() {
        if holds(x[i - 1], x[i]) {
            if !drawing {
                if !px.is_empty() {
                    px.push(f64::NAN);
                    py.push(f64::NAN);
                }
                px.push(x[i - 1]);
                py.push(y[i - 1]);
            }
            px.push(x[i]);
            py.push(y[i]);
            drawing = true;
        } else {
            drawing = false;
        }
    }
    (px, py)
}

/// Points between gaps, which no line shows.
fn lone_points(x: &[f64], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let known = |i: usize| x.get(i).zip(y.get(i)).is_some_and(|(x, y)| x.is_finite() && y.is_finite());
    let lone = (0..x.len()).filter(|&i| known(i) && !known(i + 1) && (i == 0 || !known(i - 1)));
    lone.map(|i| (x[i], y[i])).unzip()
}

fn ends((x, y): (&[f64], &[f64])) -> (Vec<f64>, Vec<f64>) {
    match (x, y) {
        ([a, .., b], [c, .., d]) => (vec![*a, *b], vec![*c, *d]),
        _ => (x.to_vec(), y.to_vec()),
    }
}

/// True where all points lie on one line, up to rounding.
fn is_straight(x: &[f64], y: &[f64]) -> bool {
    let ([a, .., b], [c, .., d]) = (x, y) else { return false };
    let size = y.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    x.iter().zip(y).all(|(x, y)| (c + (d - c) * (x - a) / (b - a) - y).abs() <= 1e-9 * size)
}

fn stroke(style: Style) -> Stroke {
    Stroke::new().color(style.color.hex()).width(style.width_pt * SCALE).dash(dash(style.dash))
}

pub(super) fn dash(dash: Dash) -> DashType {
    match dash {
        Dash::Solid => DashType::Solid,
        Dash::Dashed => DashType::Dash,
        Dash::Dotted => DashType::Dot,
        Dash::DashDot => DashType::DashDot,
        Dash::LongDash => DashType::LongDash,
    }
}

fn symbol(marker: Marker) -> &'static str {
    match marker {
        Marker::Circle => "circle",
        Marker::Square => "square",
        Marker::Diamond => "diamond",
        Marker::TriangleUp => "triangle-up",
        Marker::TriangleDown => "triangle-down",
        Marker::Cross => "x-thin",
        Marker::Plus => "cross-thin",
    }
}

/// A colour through which what lies below still shows.
fn tint(color: Color, opacity: f64) -> String {
    let part = |i: usize| u8::from_str_radix(&color.hex()[i..i + 2], 16).unwrap_or(0);
    format!("rgba({},{},{},{opacity})", part(1), part(3), part(5))
}

/// The sample of a line beside its name, to the right of the panel.
pub(super) fn line_samples(placed: &Placed, axes: &Axes) -> Vec<Value> {
    let keyed = placed.beside.iter().filter_map(|b| Some((b, b.words.key?)));
    keyed
        .map(|(b, style)| {
            let [_, y] = super::sheet::data_at(placed, [placed.frame.right, b.from[1]]);
            let left = (b.at[0] - placed.frame.right) * SCALE;
            let up = (b.from[1] - b.at[1]) * SCALE;
            let mut json = json!({
                "type": "line", "xref": "paper", "xsizemode": "pixel", "xanchor": 1, "x0": left, "x1": left + 16.0,
                "yref": axes.y_name(), "ysizemode": "pixel", "yanchor": axes.y.of(y), "y0": up, "y1": up,
            });
            let line = ShapeLine::new().color(style.color.hex()).width(style.width_pt * SCALE).dash(dash(style.dash));
            json["line"] = Value::Object(json_of(&line));
            json
        })
        .collect()
}

/// The words of bars, beside them.
pub(super) fn bar_names(panel: &Panel) -> Option<Vec<String>> {
    panel.layers.iter().find_map(|l| match l {
        Layer::Bars { bars, .. } => {
            Some(bars.iter().map(|b| escape(&super::super::text::clean(&b.label, false))).collect())
        }
        _ => None,
    })
}
