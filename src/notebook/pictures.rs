//! Figures and pages as images in HTML.

use super::{Bundle, Show};
use crate::figure::Figure;
use crate::peaks::{GroupFit, PeakFits};
use crate::table::attribute;
use crate::trace::{Run, Trace};

/// Interactive where the renderer is there, a picture elsewhere.
impl Show for Figure {
    fn bundle(&self) -> Bundle {
        let bundle = picture(self);
        #[cfg(feature = "plotly")]
        let bundle = bundle.with_richer("application/vnd.plotly.v1+json", self.to_plotly());
        bundle
    }
}

impl Show for Run {
    fn bundle(&self) -> Bundle {
        self.plot().bundle()
    }
}

impl Show for Trace {
    fn bundle(&self) -> Bundle {
        self.plot().bundle()
    }
}

/// Points, profiles, residuals.
impl Show for GroupFit {
    fn bundle(&self) -> Bundle {
        self.plot().bundle()
    }
}

/// The run with its fits.
impl Show for PeakFits {
    fn bundle(&self) -> Bundle {
        self.plot().bundle()
    }
}

/// A figure as a picture with its words, beside other things that are shown.
pub(super) fn picture(figure: &Figure) -> Bundle {
    Bundle::new(image(&figure.to_svg(), &figure.alt), format!("{}\n", figure.alt))
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
        let pairs =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("fooba", "Zm9vYmE=")];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        assert_eq!(base64(b"foobar"), "Zm9vYmFy");
        assert_eq!(base64(&[0xfb, 0xff]), "+/8=");
    }
}
