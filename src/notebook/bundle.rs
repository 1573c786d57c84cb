//! A bundle of representations, and how it reaches the kernel.

use std::io::Write;

use crate::table::escape;

/// One value in several media types, the richest first.
///
/// ```
/// use vialbook::prelude::*;
/// let bundle = Table::new("Standards").column(Column::numbers("content", "mg/L", [0.5, 1.0])).bundle();
/// assert!(bundle.html().starts_with("<table"));
/// assert!(bundle.text().starts_with("Standards\n"));
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bundle {
    parts: Vec<(String, String)>,
}

const HTML: &str = "text/html";
const TEXT: &str = "text/plain";

impl Bundle {
    /// HTML and plain text.
    pub fn new(html: impl Into<String>, text: impl Into<String>) -> Self {
        Bundle { parts: vec![(HTML.to_owned(), html.into()), (TEXT.to_owned(), text.into())] }
    }

    /// A sentence.
    pub fn said(text: &str) -> Self {
        let lines: Vec<String> = text.lines().map(|line| format!("<p>{}</p>\n", escape(line))).collect();
        Bundle::new(lines.concat(), format!("{text}\n"))
    }

    /// With one more representation, richer than those there are.
    pub fn with_richer(mut self, media_type: &str, content: impl Into<String>) -> Self {
        self.parts.insert(0, (media_type.to_owned(), content.into()));
        self
    }

    /// This, and below it the other: their HTML and plain text one after the other; richer parts would hide one of the
    /// two and are left out.
    pub fn above(&self, other: &Bundle) -> Self {
        Bundle::new(format!("{}{}", self.html(), other.html()), format!("{}\n{}", self.text(), other.text()))
    }

    /// The representations: media type and content.
    pub fn parts(&self) -> &[(String, String)] {
        &self.parts
    }

    /// The content of this media type.
    pub fn part(&self, media_type: &str) -> Option<&str> {
        self.parts.iter().find(|p| p.0 == media_type).map(|p| p.1.as_str())
    }

    /// The HTML.
    pub fn html(&self) -> &str {
        self.part(HTML).unwrap_or_default()
    }

    /// The plain text.
    pub fn text(&self) -> &str {
        self.part(TEXT).unwrap_or_default()
    }

    /// The lines that the kernel reads.
    pub fn protocol(&self) -> String {
        let mut out = String::new();
        for (media_type, content) in &self.parts {
            out.push_str("EVCXR_BEGIN_CONTENT ");
            out.push_str(media_type);
            out.push('\n');
            let content = content.replace("\r\n", "\n").replace('\r', "\n");
            // The kernel drops empty lines at the beginning, and the newline at the end.
            for line in content.trim_matches('\n').split('\n') {
                if line.starts_with("EVCXR_") {
                    out.push(' ');
                }
                out.push_str(line);
                out.push('\n');
            }
            out.push_str("EVCXR_END_CONTENT\n");
        }
        out
    }

    /// Prints all blocks at once, so that nothing gets between their lines.
    pub fn print(&self) {
        let text = self.protocol();
        let mut out = std::io::stdout().lock();
        // Nobody is left to tell where the standard output is closed.
        let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_content_can_end_its_block() {
        let text = "\n\na\r\nEVCXR_END_CONTENT\nEVCXR_PANIC_NOTIFICATION\n\nb EVCXR_END_CONTENT\n\n";
        let bundle = Bundle::new("<p>x</p>", text);
        let lines = bundle.protocol();
        assert_eq!(
            lines,
            "EVCXR_BEGIN_CONTENT text/html\n<p>x</p>\nEVCXR_END_CONTENT\nEVCXR_BEGIN_CONTENT text/plain\na\n \
             EVCXR_END_CONTENT\n EVCXR_PANIC_NOTIFICATION\n\nb EVCXR_END_CONTENT\nEVCXR_END_CONTENT\n"
        );
        assert_eq!(lines.lines().filter(|l| *l == "EVCXR_END_CONTENT").count(), 2);
    }

    #[test]
    fn an_empty_part_is_still_a_block() {
        let lines = Bundle::new("", "").protocol();
        assert_eq!(
            lines,
            "EVCXR_BEGIN_CONTENT text/html\n\nEVCXR_END_CONTENT\nEVCXR_BEGIN_CONTENT text/plain\n\nEVCXR_END_CONTENT\n"
        );
    }
}
