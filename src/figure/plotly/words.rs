//! Words for the screen: text that can be no markup, names, notes, legends.

use plotly::common::{Anchor as End, Font};
use plotly::layout::{Annotation, HAlign};
use serde_json::{Map, Value, json};

use super::super::layers::{Anchor, Layer};
use super::super::layout::Placed;
use super::super::legend::{Block, legend_entries};
use super::super::model::{Axis, Legend, Panel};
use super::super::shapes::Shape;
use super::super::text::clean;
use super::super::ticks::power_of_ten;
use super::json_of;
use super::sheet::{Axes, SCALE, Sheet, data_at, short};

/// Letters in a line of what is told under the pointer.
const LINE: usize = 64;

/// Words as they may stand in a figure, without a sign that begins markup (`<`, `&`), a formula (`$`) or a
/// placeholder (`%{`): the drawing library reads all of these in every text.
pub(super) fn words(text: &str) -> String {
    escape(&clean(text, false))
}

/// As [`words`], for text that was cleaned already.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '$' => out.push_str("&#36;"),
            '%' => out.push_str("&#37;"),
            c => out.push(c),
        }
    }
    out
}

/// Lines of words, broken where they are long.
pub(super) fn lines(text: &str) -> String {
    let mut out: Vec<String> = Vec::new();
    for line in text.split('\n') {
        let mut row = String::new();
        for word in clean(line, false).split(' ') {
            if !row.is_empty() && row.chars().count() + 1 + word.chars().count() > LINE {
                out.push(std::mem::take(&mut row));
            }
            if !row.is_empty() {
                row.push(' ');
            }
            row.push_str(word);
        }
        out.push(row);
    }
    out.iter().map(|l| escape(l)).collect::<Vec<_>>().join("<br>")
}

/// What is told of a point: "time: 3.217 min", with the axis' own number for `%{x}`.
pub(super) fn told(axis: &Axis, power: i32, number: &str) -> String {
    let mut unit = words(&axis.unit);
    if power != 0 {
        unit = format!("× {} {unit}", power_of_ten(power));
    }
    let value = format!("{number} {unit}");
    match axis.quantity.is_empty() {
        true => value.trim().to_owned(),
        false => format!("{}: {}", words(&axis.quantity), value.trim()),
    }
}

/// All words of a panel that stand at places: names, words beside it, notes, the letter.
pub(super) fn annotations(panel: &Panel, placed: &Placed, axes: &Axes, sheet: &Sheet) -> Vec<Value> {
    let mut out = Vec::new();
    let in_data = |at: [f64; 2]| {
        let [x, y] = data_at(placed, at);
        Annotation::new().x_ref(axes.x_name()).y_ref(axes.y_name()).x(axes.x.of(x)).y(axes.y.of(y))
    };
    for name in &placed.names {
        let bounds = &name.bounds;
        let foot = if name.upright { bounds.bottom } else { name.at[1] };
        let by = [(bounds.left + bounds.right) / 2.0 - name.apex[0], foot - name.apex[1]].map(|v| pixels(v * SCALE));
        let words = in_data(name.apex)
            .text(escape(&name.text))
            .text_angle(if name.upright { -90.0 } else { 0.0 })
            .font(font(name.size * SCALE))
            .x_anchor(End::Center)
            .y_anchor(End::Bottom);
        let words = if name.leader.is_empty() {
            words.show_arrow(false).x_shift(by[0]).y_shift(-by[1])
        } else {
            // With an arrow, anchors follow the words' own direction.
            let words = if name.upright { words.x_anchor(End::Left).y_anchor(End::Middle) } else { words };
            words
                .show_arrow(true)
                .arrow_head(0)
                .arrow_width(0.6)
                .arrow_color(super::GUIDE)
                .stand_off(2.0)
                .ax(by[0])
                .ay(by[1])
        };
        // A box of words has a rim of a pixel by default.
        out.push(words.border_pad(0.0));
    }
    for words in &placed.beside {
        let key = if words.words.key.is_some() { 13.0 } else { 0.0 };
        let from = in_data([placed.frame.right, words.from[1]]);
        out.push(
            from.x_ref(format!("{} domain", axes.x_name()))
                .x(1.0)
                .text(escape(&words.words.text))
                .font(font(placed.sizes.name * SCALE))
                .show_arrow(false)
                .x_anchor(End::Left)
                .y_anchor(End::Middle)
                .x_shift(pixels((words.at[0] - placed.frame.right + key) * SCALE))
                .y_shift(pixels((words.from[1] - words.at[1]) * SCALE)),
        );
    }
    for shape in &placed.shapes {
        if let Shape::Beyond { at, up, color } = shape {
            let arrow = in_data(*at).text("").show_arrow(true).arrow_head(2).arrow_color(color.hex()).arrow_width(1.2);
            out.push(arrow.ax(0.0).ay(if *up { 14.0 } else { -14.0 }));
        }
    }
    for layer in &panel.layers {
        if let Layer::Text { x, y, text, anchor } = layer
            && x.is_finite()
            && y.is_finite()
        {
            let end = match anchor {
                Anchor::Start => End::Left,
                Anchor::Middle => End::Center,
                Anchor::End => End::Right,
            };
            let at = Annotation::new().x_ref(axes.x_name()).y_ref(axes.y_name()).x(axes.x.of(*x)).y(axes.y.of(*y));
            let at = at.text(words(text)).font(font(placed.sizes.name * SCALE)).show_arrow(false);
            out.push(at.x_anchor(end).y_anchor(End::Middle));
        }
    }
    for block in placed.blocks.iter().skip(usize::from(has_legend(panel))) {
        let rows: Vec<String> = block.rows.iter().map(|r| escape(&r.text)).collect();
        let (corner, [x, y]) = corner(block, placed, sheet);
        out.push(
            on_sheet(x, y)
                .text(rows.join("<br>"))
                .font(font(placed.sizes.name * SCALE))
                .align(HAlign::Left)
                .background_color("rgba(255,255,255,0.8)")
                .x_anchor(corner.0)
                .y_anchor(corner.1),
        );
    }
    if let Some((at, letter)) = &placed.letter {
        let from_edge = (at[0] - placed.frame.left) * SCALE - 6.0;
        out.push(
            on_sheet(sheet.x(placed.frame.left), sheet.y(placed.frame.top))
                .text(words(letter))
                .font(font(placed.sizes.label * SCALE))
                .x_anchor(End::Left)
                .y_anchor(End::Middle)
                .x_shift(pixels(from_edge)),
        );
    }
    out.into_iter().map(|a| Value::Object(json_of(&a))).collect()
}

fn on_sheet(x: f64, y: f64) -> Annotation {
    Annotation::new().x_ref("paper").y_ref("paper").x(x).y(y).show_arrow(false)
}

/// True where the first block of words is the panel's legend.
pub(super) fn has_legend(panel: &Panel) -> bool {
    panel.legend != Legend::None && !legend_entries(panel).is_empty()
}

/// A panel's legend, at the place it has on paper; a click on a name hides what it names.
pub(super) fn legend(panel: &Panel, placed: &Placed, sheet: &Sheet) -> Option<Value> {
    let block = placed.blocks.first().filter(|_| has_legend(panel))?;
    let above = block.bounds.bottom <= placed.frame.top + 0.5;
    let (corner, [x, y]) = corner(block, placed, sheet);
    let font = json!({"size": short(placed.sizes.name * SCALE)});
    let mut legend = json!({"bgcolor": "rgba(255,255,255,0.8)", "font": font, "x": x, "y": y});
    let mut set = |key: &str, value: Value| legend[key] = value;
    if above {
        set("x", json!(0.0));
        set("y", json!(sheet.y(block.bounds.bottom)));
        set("xanchor", json!("left"));
        set("yanchor", json!("bottom"));
        set("orientation", json!("h"));
    } else {
        let anchor = |end: End| serde_json::to_value(end).unwrap_or_default();
        set("xanchor", anchor(corner.0));
        set("yanchor", anchor(corner.1));
    }
    Some(legend)
}

/// The corner of a block that is nearest to a corner of its panel: there it is held when the width changes.
fn corner(block: &Block, placed: &Placed, sheet: &Sheet) -> ((End, End), [f64; 2]) {
    let (b, f) = (&block.bounds, &placed.frame);
    let right = (b.left + b.right) / 2.0 > (f.left + f.right) / 2.0;
    let low = (b.top + b.bottom) / 2.0 > (f.top + f.bottom) / 2.0;
    (
        (if right { End::Right } else { End::Left }, if low { End::Bottom } else { End::Top }),
        [sheet.x(if right { b.right } else { b.left }), sheet.y(if low { b.bottom } else { b.top })],
    )
}

fn font(size: f64) -> Font {
    Font::new().size(size.round().max(1.0) as usize)
}

/// A tenth of a pixel.
fn pixels(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

/// A title as the drawing library wants it.
pub(super) fn title(label: &[String], size: f64) -> Map<String, Value> {
    let text: Vec<String> = label.iter().map(|l| escape(l)).collect();
    let mut out = Map::new();
    out.insert("text".into(), text.join("<br>").into());
    out.insert("font".into(), json!({"size": short(size * SCALE)}));
    out
}
