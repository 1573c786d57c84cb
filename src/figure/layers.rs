//! What can be drawn in a panel, and how it looks.

use std::fmt;

use serde::Serialize;

/// Something drawn in a panel, in the axes' own numbers.
///
/// A value that is not finite leaves a gap. Where columns differ in length, the shortest counts. A point beyond a
/// stated range of the y axis shows as an arrow at the edge.
#[derive(Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Layer {
    /// A polyline: a trace, a fitted curve. Where it leaves through the top of the panel, a mark says so.
    Line {
        /// Abscissae.
        x: Vec<f64>,
        /// Ordinates.
        y: Vec<f64>,
        /// Colour, dash, width.
        style: Style,
        /// Name in the legend.
        name: Option<String>,
    },
    /// Points, with error bars where the half-lengths are given.
    Markers {
        /// Abscissae.
        x: Vec<f64>,
        /// Ordinates.
        y: Vec<f64>,
        /// Half-lengths of horizontal error bars.
        x_error: Option<Vec<f64>>,
        /// Half-lengths of vertical error bars.
        y_error: Option<Vec<f64>>,
        /// Shape.
        marker: Marker,
        /// True for an outline only: excluded, not detected.
        hollow: bool,
        /// Colour.
        color: Color,
        /// Name in the legend.
        name: Option<String>,
        /// What is told of each point under the pointer, in lines; not on paper.
        #[serde(skip_serializing_if = "Vec::is_empty")]
        hover: Vec<String>,
    },
    /// The region between two curves: a confidence band.
    Band {
        /// Abscissae.
        x: Vec<f64>,
        /// Lower curve.
        low: Vec<f64>,
        /// Upper curve.
        high: Vec<f64>,
        /// Colour of the tint.
        color: Color,
        /// Name in the legend.
        name: Option<String>,
    },
    /// A peak's area above its baseline.
    Area {
        /// Abscissae.
        x: Vec<f64>,
        /// The trace.
        y: Vec<f64>,
        /// The baseline.
        base: Vec<f64>,
        /// Colour of the tint.
        color: Color,
        /// Name in the legend.
        name: Option<String>,
        /// What is told of the peak under the pointer, in lines; not on paper.
        #[serde(skip_serializing_if = "Option::is_none")]
        hover: Option<String>,
    },
    /// A line across the panel: a limit, zero.
    HorizontalLine {
        /// Its height.
        y: f64,
        /// Colour, dash, width.
        style: Style,
        /// Words to the right of the panel.
        label: Option<String>,
    },
    /// A line from bottom to top: a hold-up time, a window's edge.
    VerticalLine {
        /// Its place.
        x: f64,
        /// Colour, dash, width.
        style: Style,
        /// Words above the panel.
        label: Option<String>,
    },
    /// Names above apexes; moved apart with leaders where they would overlap, and clear of the traces.
    Labels {
        /// Apex and name of each.
        marks: Vec<Mark>,
        /// True to read upwards, false to read level.
        upright: bool,
    },
    /// Horizontal bars, the first on top, with words to their left: the panel's y axis is theirs.
    Bars {
        /// The bars.
        bars: Vec<Bar>,
        /// Colour of the tint and outline.
        color: Color,
    },
    /// Words at a point.
    Text {
        /// Abscissa.
        x: f64,
        /// Ordinate.
        y: f64,
        /// The words.
        text: String,
        /// Which end of the words lies at the point.
        anchor: Anchor,
    },
    /// Lines of words in a corner: the equation of a fit.
    Note {
        /// The lines.
        lines: Vec<String>,
        /// Where.
        place: Place,
    },
}

impl Layer {
    /// A solid black line.
    pub fn line(x: impl Into<Vec<f64>>, y: impl Into<Vec<f64>>) -> Self {
        Layer::Line { x: x.into(), y: y.into(), style: Style::default(), name: None }
    }

    /// A straight piece: a baseline segment, a drop line.
    pub fn segment(from: [f64; 2], to: [f64; 2], style: Style) -> Self {
        Layer::Line { x: vec![from[0], to[0]], y: vec![from[1], to[1]], style, name: None }
    }

    /// Filled black circles.
    pub fn markers(x: impl Into<Vec<f64>>, y: impl Into<Vec<f64>>) -> Self {
        Layer::Markers {
            x: x.into(),
            y: y.into(),
            x_error: None,
            y_error: None,
            marker: Marker::Circle,
            hollow: false,
            color: Color::Black,
            name: None,
            hover: Vec::new(),
        }
    }

    /// A blue band between two curves.
    pub fn band(x: impl Into<Vec<f64>>, low: impl Into<Vec<f64>>, high: impl Into<Vec<f64>>) -> Self {
        Layer::Band { x: x.into(), low: low.into(), high: high.into(), color: Color::Blue, name: None }
    }

    /// A peak's area above its baseline, in blue.
    pub fn area(x: impl Into<Vec<f64>>, y: impl Into<Vec<f64>>, base: impl Into<Vec<f64>>) -> Self {
        Layer::Area { x: x.into(), y: y.into(), base: base.into(), color: Color::Blue, name: None, hover: None }
    }

    /// A thin grey line across the panel.
    pub fn horizontal(y: f64) -> Self {
        Layer::HorizontalLine { y, style: Style::thin(), label: None }
    }

    /// A thin grey line from bottom to top.
    pub fn vertical(x: f64) -> Self {
        Layer::VerticalLine { x, style: Style::thin(), label: None }
    }

    /// Names above apexes, reading upwards.
    pub fn labels(marks: Vec<Mark>) -> Self {
        Layer::Labels { marks, upright: true }
    }

    /// Horizontal bars in blue.
    pub fn bars(bars: Vec<Bar>) -> Self {
        Layer::Bars { bars, color: Color::Blue }
    }

    /// Words at a point, starting there.
    pub fn text(x: f64, y: f64, text: impl Into<String>) -> Self {
        Layer::Text { x, y, text: text.into(), anchor: Anchor::Start }
    }

    /// Lines of words where the panel is empty.
    pub fn note(lines: Vec<String>) -> Self {
        Layer::Note { lines, place: Place::Best }
    }

    /// With this name in the legend; for a straight line across the panel, with these words beside it.
    pub fn named(mut self, words: impl Into<String>) -> Self {
        match &mut self {
            Layer::Line { name, .. }
            | Layer::Markers { name, .. }
            | Layer::Band { name, .. }
            | Layer::Area { name, .. }
            | Layer::HorizontalLine { label: name, .. }
            | Layer::VerticalLine { label: name, .. } => *name = Some(words.into()),
            Layer::Labels { .. } | Layer::Bars { .. } | Layer::Text { .. } | Layer::Note { .. } => {}
        }
        self
    }

    /// With this colour, dash and width; what has no line takes the colour.
    pub fn styled(mut self, new: Style) -> Self {
        match &mut self {
            Layer::Line { style, .. } | Layer::HorizontalLine { style, .. } | Layer::VerticalLine { style, .. } => {
                *style = new;
            }
            Layer::Markers { color, .. }
            | Layer::Band { color, .. }
            | Layer::Area { color, .. }
            | Layer::Bars { color, .. } => *color = new.color,
            Layer::Labels { .. } | Layer::Text { .. } | Layer::Note { .. } => {}
        }
        self
    }

    /// In this colour.
    pub fn colored(self, color: Color) -> Self {
        match self {
            Layer::Line { style, .. } | Layer::HorizontalLine { style, .. } | Layer::VerticalLine { style, .. } => {
                self.styled(Style { color, ..style })
            }
            other => other.styled(Style { color, ..Style::default() }),
        }
    }

    /// Markers with vertical error bars of these half-lengths; NaN for none.
    pub fn with_y_error(mut self, half_lengths: impl Into<Vec<f64>>) -> Self {
        if let Layer::Markers { y_error, .. } = &mut self {
            *y_error = Some(half_lengths.into());
        }
        self
    }

    /// Markers with horizontal error bars of these half-lengths; NaN for none.
    pub fn with_x_error(mut self, half_lengths: impl Into<Vec<f64>>) -> Self {
        if let Layer::Markers { x_error, .. } = &mut self {
            *x_error = Some(half_lengths.into());
        }
        self
    }

    /// Markers of another shape.
    pub fn with_marker(mut self, shape: Marker) -> Self {
        if let Layer::Markers { marker, .. } = &mut self {
            *marker = shape;
        }
        self
    }

    /// Markers with words of each point's own under the pointer; lines are parted by `\n`.
    pub fn with_hover(mut self, words: impl Into<Vec<String>>) -> Self {
        if let Layer::Markers { hover, .. } = &mut self {
            *hover = words.into();
        }
        self
    }

    /// A peak's area with words under the pointer; lines are parted by `\n`.
    pub fn telling(mut self, words: impl Into<String>) -> Self {
        if let Layer::Area { hover, .. } = &mut self {
            *hover = Some(words.into());
        }
        self
    }

    /// Markers as outlines: excluded, not detected.
    pub fn hollow(mut self) -> Self {
        if let Layer::Markers { hollow, .. } = &mut self {
            *hollow = true;
        }
        self
    }

    /// Moved by this much, as when runs are shown one above the other.
    pub fn moved(mut self, dx: f64, dy: f64) -> Self {
        let shift = |values: &mut Vec<f64>, d: f64| values.iter_mut().for_each(|v| *v += d);
        match &mut self {
            Layer::Line { x, y, .. } | Layer::Markers { x, y, .. } => {
                shift(x, dx);
                shift(y, dy);
            }
            Layer::Band { x, low: a, high: b, .. } | Layer::Area { x, y: a, base: b, .. } => {
                shift(x, dx);
                shift(a, dy);
                shift(b, dy);
            }
            Layer::HorizontalLine { y, .. } => *y += dy,
            Layer::VerticalLine { x, .. } => *x += dx,
            Layer::Labels { marks, .. } => marks.iter_mut().for_each(|m| (m.x, m.y) = (m.x + dx, m.y + dy)),
            Layer::Text { x, y, .. } => (*x, *y) = (*x + dx, *y + dy),
            Layer::Bars { .. } | Layer::Note { .. } => {}
        }
        self
    }
}

impl fmt::Debug for Layer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (what, count, name) = match self {
            Layer::Line { x, name, .. } => ("Line", x.len(), name),
            Layer::Markers { x, name, .. } => ("Markers", x.len(), name),
            Layer::Band { x, name, .. } => ("Band", x.len(), name),
            Layer::Area { x, name, .. } => ("Area", x.len(), name),
            Layer::Labels { marks, .. } => return write!(f, "Labels({})", marks.len()),
            Layer::Bars { bars, .. } => return write!(f, "Bars({})", bars.len()),
            Layer::HorizontalLine { y, .. } => return write!(f, "HorizontalLine({y})"),
            Layer::VerticalLine { x, .. } => return write!(f, "VerticalLine({x})"),
            Layer::Text { text, .. } => return write!(f, "Text({text:?})"),
            Layer::Note { lines, .. } => return write!(f, "Note({} lines)", lines.len()),
        };
        match name {
            Some(name) => write!(f, "{what}({count} points, {name:?})"),
            None => write!(f, "{what}({count} points)"),
        }
    }
}

/// A name at an apex.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Mark {
    /// Abscissa of the apex.
    pub x: f64,
    /// Ordinate of the apex; where the axis ends below it, the printed name tells this height.
    pub y: f64,
    /// The name.
    pub text: String,
}

impl Mark {
    /// A name at an apex.
    pub fn new(x: f64, y: f64, text: impl Into<String>) -> Self {
        Mark { x, y, text: text.into() }
    }
}

/// A horizontal bar.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bar {
    /// Words to its left.
    pub label: String,
    /// Its length; negative to the left of zero.
    pub value: f64,
    /// Words behind its end, such as "62 %".
    pub note: Option<String>,
}

impl Bar {
    /// A bar without a note.
    pub fn new(label: impl Into<String>, value: f64) -> Self {
        Bar { label: label.into(), value, note: None }
    }

    /// With these words behind its end.
    pub fn noted(mut self, words: impl Into<String>) -> Self {
        self.note = Some(words.into());
        self
    }
}

/// Where a legend, a note or an inset lies inside the panel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Where it covers nothing, from the upper right on.
    #[default]
    Best,
    /// Upper right corner.
    TopRight,
    /// Upper left corner.
    TopLeft,
    /// Lower right corner.
    BottomRight,
    /// Lower left corner.
    BottomLeft,
}

/// Which end of words lies at their point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Anchor {
    /// The words start there.
    #[default]
    Start,
    /// Their middle.
    Middle,
    /// They end there.
    End,
}

/// How a line looks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Style {
    /// Colour.
    pub color: Color,
    /// Dash pattern.
    pub dash: Dash,
    /// Width in points (1/72 inch).
    pub width_pt: f64,
}

impl Style {
    /// A line in this colour, solid, 0.75 pt.
    pub fn new(color: Color) -> Self {
        Style { color, ..Style::default() }
    }

    /// A thin grey line, for what guides the eye: zero, a baseline.
    pub fn thin() -> Self {
        Style { color: Color::Grey, dash: Dash::Solid, width_pt: 0.5 }
    }

    /// With this dash pattern.
    pub fn dashed(mut self, dash: Dash) -> Self {
        self.dash = dash;
        self
    }

    /// With this width in points.
    pub fn width(mut self, points: f64) -> Self {
        self.width_pt = points;
        self
    }

    /// The style of the series with this number, from 0: colour and dash both differ up to six series.
    pub fn nth(series: usize) -> Self {
        use Color::{Black, Blue, BluishGreen, Orange, ReddishPurple, Vermillion};
        let colors = [Black, Blue, Vermillion, BluishGreen, ReddishPurple, Orange];
        let dashes = [Dash::Solid, Dash::Dashed, Dash::DashDot, Dash::LongDash, Dash::Dotted, Dash::Dashed];
        Style { color: colors[series % 6], dash: dashes[series % 6], width_pt: 0.75 }
    }
}

impl Default for Style {
    fn default() -> Self {
        Style { color: Color::Black, dash: Dash::Solid, width_pt: 0.75 }
    }
}

/// The eight colours of Okabe and Ito (M. Okabe, K. Ito, Color Universal Design, 2008), told apart by colour-blind
/// readers too, and a grey. Dash or marker must differ as well; yellow is too pale for lines and text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Color {
    #[default]
    Black,
    Orange,
    SkyBlue,
    BluishGreen,
    Yellow,
    Blue,
    Vermillion,
    ReddishPurple,
    Grey,
}

impl Color {
    /// As `#rrggbb`.
    pub fn hex(self) -> &'static str {
        match self {
            Color::Black => "#000000",
            Color::Orange => "#E69F00",
            Color::SkyBlue => "#56B4E9",
            Color::BluishGreen => "#009E73",
            Color::Yellow => "#F0E442",
            Color::Blue => "#0072B2",
            Color::Vermillion => "#D55E00",
            Color::ReddishPurple => "#CC79A7",
            Color::Grey => "#666666", // ours: 5.7:1 against white, above the 4.5:1 that small text needs
        }
    }
}

/// A dash pattern.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Dash {
    #[default]
    Solid,
    Dashed,
    Dotted,
    DashDot,
    LongDash,
}

/// A marker's shape.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Marker {
    #[default]
    Circle,
    Square,
    Diamond,
    TriangleUp,
    TriangleDown,
    Cross,
    Plus,
}

impl Marker {
    /// The shape of the series with this number, from 0; seven differ.
    pub fn nth(series: usize) -> Self {
        use Marker::{Circle, Cross, Diamond, Plus, Square, TriangleDown, TriangleUp};
        [Circle, Square, TriangleUp, Diamond, TriangleDown, Cross, Plus][series % 7]
    }
}
