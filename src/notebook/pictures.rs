//! Figures and pages as images in HTML.

use super::{Bundle, Show};
use crate::figure::{Axis, Figure, Layer, Panel, Style};
use crate::table::attribute;
use crate::trace::{Run, Trace};

impl Show for Figure {
    fn bundle(&self) -> Bundle {
        figure_bundle(self)
    }
}

fn figure_bundle(figure: &Figure) -> Bundle {
    let bundle = Bundle::new(image(&figure.to_svg(), &figure.alt), format!("{}\n", figure.alt));
    // The screen painter, once it is there:
    // #[cfg(feature = "plotly")]
    // let bundle = bundle.with_richer("application/vnd.plotly.v1+json", figure.to_plotly());
    bundle
}

impl Show for Run {
    fn bundle(&self) -> Bundle {
        trace_figure(&self.trace, &self.name).bundle()
    }
}

impl Show for Trace {
    fn bundle(&self) -> Bundle {
        trace_figure(self, "").bundle()
    }
}

/// A trace as recorded.
fn trace_figure(trace: &Trace, name: &str) -> Figure {
    let (first, last) = (trace.time_min()[0], trace.time_min()[trace.len() - 1]);
    let of = if name.is_empty() { String::new() } else { format!(" of {name}") };
    let number = |x: f64| crate::estimate::significant(x, 3);
    let alt = format!("Trace{of}: {} points from {} to {} min.", trace.len(), number(first), number(last));
    let panel = Panel::new(Axis::new("time", "min").tight(), Axis::new("signal", trace.signal_unit()));
    let line = Layer::line(trace.time_min(), trace.signal()).styled(Style::default().width(0.6));
    Figure::new(alt).size_mm(165.0, 85.0).panel(panel.layer(line))
}

/// An SVG as an image that needs nothing else.
pub(super) fn image(svg: &str, alt: &str) -> String {
    format!(
        "<img alt=\"{}\" style=\"max-width:100%;height:auto\" src=\"data:image/svg+xml;base64,{}\">\n",
        attribute(alt),
        base64(svg.as_bytes())
    )
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let at = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for i in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * i) & 63) as usize];
            out.push(if i <= chunk.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_in_the_standard() {
        // RFC 4648, section 10.
        let pairs = [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("fooba", "Zm9vYmE=")];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        assert_eq!(base64(b"foobar"), "Zm9vYmFy");
        assert_eq!(base64(&[0xfb, 0xff]), "+/8=");
    }
}
