//! How results show themselves in a notebook cell: one bundle of texts, each of another kind.
//!
//! A figure gives its interactive form (with the feature `plotly`), a page fragment that holds the same figure as a
//! picture with its alternative text, and words; so that JupyterLab is interactive, and an export that knows only
//! HTML or text still shows it. Never `image/png`: JupyterLab's renderer of figures would show that first.

use std::fmt::Write as _;
use std::io::Write as _;

use crate::error::Error;
use crate::figure::{Figure, escape};
use crate::peaks::{GroupFit, PeakFits, PeakList};
use crate::results::{AmountResult, CalibrationResult};
use crate::study::Study;
use crate::trace::{Run, Trace};

/// What a cell shows: kind of text (a media type) and text.
pub type Bundle = Vec<(String, String)>;

const BEGIN: &str = "EVCXR_BEGIN_CONTENT ";
const END: &str = "EVCXR_END_CONTENT";

/// Called before the first cell: a panic in a cell is one sentence instead of a backtrace.
pub fn start() {
    std::panic::set_hook(Box::new(|panic| {
        let payload = panic.payload();
        let words = payload
            .downcast_ref::<&str>()
            .map(|s| (*s).to_owned())
            .or_else(|| payload.downcast_ref::<String>().cloned())
            .unwrap_or_else(|| "no words".to_owned());
        // Nobody listens where this fails.
        let _ = writeln!(std::io::stderr().lock(), "The cell stopped (panic): {words}");
    }));
}

/// The lines by which a bundle reaches the notebook. A line that would end a text early is indented by a blank.
fn lines(bundle: &[(String, String)]) -> String {
    let mut out = String::new();
    for (kind, text) in bundle {
        out.push_str(BEGIN);
        out.push_str(kind);
        out.push('\n');
        for line in text.trim_start_matches('\n').lines() {
            if line == END {
                out.push(' ');
            }
            out.push_str(line);
            out.push('\n');
        }
        out.push_str(END);
        out.push('\n');
    }
    out
}

/// Prints the bundle whole: another thread's words cannot come between.
fn show(bundle: &[(String, String)]) {
    let mut stdout = std::io::stdout().lock();
    // Nobody listens where this fails.
    let _ = stdout.write_all(lines(bundle).as_bytes()).and_then(|()| stdout.flush());
}

/// Words in a page: lines stay lines, columns stay columns.
fn words(text: &str) -> Bundle {
    vec![("text/html".to_owned(), format!("<pre>{}</pre>", escape(text))), ("text/plain".to_owned(), text.to_owned())]
}

fn figure(figure: &Figure) -> Bundle {
    let mut bundle = Vec::new();
    #[cfg(feature = "plotly")]
    bundle.push(("application/vnd.plotly.v1+json".to_owned(), figure.to_plotly()));
    // The picture's own text alternative is in its title; the caption serves where pictures are left out.
    let page = format!("<figure role=\"img\" aria-label=\"{}\">{}</figure>", escape(&figure.alt), figure.to_svg());
    bundle.push(("text/html".to_owned(), page));
    bundle.push(("text/plain".to_owned(), figure.alt.clone()));
    bundle
}

impl Figure {
    /// Shows the figure in a notebook cell.
    pub fn evcxr_display(&self) {
        show(&figure(self));
    }
}

impl Study {
    /// Shows the study in a notebook cell: its title and its injections.
    pub fn evcxr_display(&self) {
        let mut text = format!("{}\n{} injections\n", self.config().title, self.injections().len());
        for injection in self.injections() {
            let _ = writeln!(text, "{:<18} {:<26} {}", injection.run, injection.sample, injection.file);
        }
        show(&words(&text));
    }
}

impl PeakList {
    /// Shows the peaks in a notebook cell: the run with its peaks.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl GroupFit {
    /// Shows the fit in a notebook cell: points, profiles, residuals.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl PeakFits {
    /// Shows the fits in a notebook cell: the run with its fits.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl Run {
    /// Shows the run in a notebook cell.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl Trace {
    /// Shows the trace in a notebook cell.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl CalibrationResult {
    /// Shows the calibration in a notebook cell: points, line, band, residuals.
    pub fn evcxr_display(&self) {
        show(&figure(&self.plot()));
    }
}

impl AmountResult {
    /// Shows the amount in a notebook cell, in the words of the report.
    pub fn evcxr_display(&self) {
        show(&words(&format!("{}, {}: {}", self.sample, self.compound, self.text)));
    }
}

impl Error {
    /// Shows the error in a notebook cell: place, what was seen, what was wanted, what to do.
    pub fn evcxr_display(&self) {
        show(&words(&self.to_string()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_can_end_its_block_early_or_become_markup() {
        let bundle = words("<script>alert(1)</script>\nEVCXR_END_CONTENT\nlast");
        let sent = lines(&bundle);
        assert!(sent.contains("&lt;script&gt;") && sent.lines().filter(|l| *l == END).count() == 2, "{sent}");
        assert!(sent.ends_with("last\nEVCXR_END_CONTENT\n"), "{sent}");
    }

    #[test]
    fn a_figure_is_a_picture_with_words_everywhere() {
        let bundle = figure(&Figure::new("one < two"));
        let page = &bundle.iter().find(|b| b.0 == "text/html").expect("a page").1;
        assert!(page.contains("<svg") && page.contains("aria-label=\"one &lt; two\""), "{page}");
        assert!(bundle.iter().any(|b| b.0 == "text/plain") && !bundle.iter().any(|b| b.0 == "image/png"));
    }
}
