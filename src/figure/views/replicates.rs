//! Replicates: every shot of every flask, and how far each lies from its flask's mean.

use super::super::{Axis, Color, Figure, Layer, Marker, Panel, Style};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{significant, typographic};

/// One shot of a flask.
#[derive(Clone, Debug, PartialEq)]
pub struct ReplicateShot {
    /// The flask.
    pub flask: String,
    /// The response: an area, or a ratio of areas.
    pub response: f64,
    /// Why it does not count; none where it does.
    pub left_out: Option<String>,
    /// What the pointer tells of it, in lines.
    pub hover: String,
}

/// Responses flask by flask above, their deviations from the flask's mean in percent below. Shots of one flask have
/// different markers; hollow ones do not count and are no part of the mean.
///
/// # Errors
/// No shot with a finite response.
pub fn replicates(of: &str, quantity: &str, unit: &str, shots: &[ReplicateShot]) -> Result<Figure> {
    let shots: Vec<&ReplicateShot> = shots.iter().filter(|s| s.response.is_finite()).collect();
    let mut flasks: Vec<&str> = Vec::new();
    for shot in &shots {
        if !flasks.contains(&shot.flask.as_str()) {
            flasks.push(&shot.flask);
        }
    }
    if flasks.is_empty() {
        return Err(Error::new(ErrorKind::NotFound, format!("no shot of {of} has a response")));
    }
    let of_flask = |flask: &str| -> Vec<&&ReplicateShot> { shots.iter().filter(|s| s.flask == flask).collect() };
    let most = flasks.iter().map(|f| of_flask(f).len()).max().unwrap_or(1);
    let mut series: Vec<[Vec<Placed>; 2]> = vec![Default::default(); most];
    let (mut upper, mut lower) = (Vec::new(), Vec::new());
    let mut worst: Option<(f64, &str)> = None;
    for (i, flask) in flasks.iter().enumerate() {
        let shots = of_flask(flask);
        let counted: Vec<f64> = shots.iter().filter(|s| s.left_out.is_none()).map(|s| s.response).collect();
        let mean = counted.iter().sum::<f64>() / counted.len() as f64;
        let x = (i + 1) as f64;
        if mean.is_finite() {
            upper.push(Layer::segment([x - 0.35, mean], [x + 0.35, mean], Style::thin()));
        }
        for (k, shot) in shots.iter().enumerate() {
            // Side by side, so that equal responses are both seen.
            let x = x + 0.5 * ((k as f64 + 0.5) / shots.len() as f64 - 0.5);
            let deviation = Some(100.0 * (shot.response / mean - 1.0)).filter(|d| d.is_finite() && mean > 0.0);
            let mut hover = shot.hover.clone();
            if let Some(d) = deviation.filter(|_| counted.len() > 1) {
                hover.push_str(&format!("\nfrom the flask's mean: {} %", typographic(&significant(d, 2))));
                if shot.left_out.is_none() && worst.is_none_or(|(w, _)| d.abs() > w) {
                    worst = Some((d.abs(), flask));
                }
            }
            if let Some(reason) = &shot.left_out {
                hover.push_str(&format!("\nleft out: {reason}"));
            }
            let placed = Placed { x, y: shot.response, deviation, hover };
            series[k][usize::from(shot.left_out.is_some())].push(placed);
        }
    }
    for (k, [counted, left_out]) in series.iter().enumerate() {
        for (points, hollow) in [(counted, false), (left_out, true)].into_iter().filter(|(p, _)| !p.is_empty()) {
            let name = format!("shot {}{}", k + 1, if hollow { ", left out" } else { "" });
            let color = [Color::Black, Color::Blue, Color::Vermillion, Color::BluishGreen][k % 4];
            let look = |layer: Layer| {
                let layer = layer.with_marker(Marker::nth(k)).colored(color);
                if hollow { layer.hollow() } else { layer }
            };
            let (x, y) = points.iter().map(|p| (p.x, p.y)).unzip::<f64, f64, Vec<_>, Vec<_>>();
            let hover: Vec<String> = points.iter().map(|p| p.hover.clone()).collect();
            upper.push(look(Layer::markers(x, y).with_hover(hover)).named(name));
            let below: Vec<&Placed> = points.iter().filter(|p| p.deviation.is_some()).collect();
            let x: Vec<f64> = below.iter().map(|p| p.x).collect();
            let y: Vec<f64> = below.iter().filter_map(|p| p.deviation).collect();
            let hover: Vec<String> = below.iter().map(|p| p.hover.clone()).collect();
            lower.push(look(Layer::markers(x, y).with_hover(hover)));
        }
    }
    let x_axis = || Axis::new("flask", "").categories(flasks.iter().map(|f| (*f).to_owned()).collect());
    let mut alt = format!("Responses of {of}: {} shots of {} flasks.", shots.len(), flasks.len());
    if let Some((percent, flask)) = worst {
        alt.push_str(&format!(
            " The shot farthest from its flask's mean deviates by {} %, in {flask}.",
            significant(percent, 2)
        ));
    }
    Ok(Figure::new(alt)
        .size_mm(165.0, 120.0)
        .sharing_x()
        .panel(Panel::new(x_axis(), Axis::new(quantity, unit).with_zero()).letter("a").layers(upper))
        .panel(
            Panel::new(x_axis(), Axis::new("deviation", "%"))
                .letter("b")
                .height_share(0.6)
                .layer(Layer::horizontal(0.0))
                .layers(lower),
        ))
}

/// A shot in the figure.
#[derive(Clone, Debug)]
struct Placed {
    x: f64,
    y: f64,
    deviation: Option<f64>,
    hover: String,
}
