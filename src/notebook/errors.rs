//! Errors as boxes, and cells that stop with the error's sentence.

use std::fmt::Display;

use super::{Bundle, Show};
use crate::error::Error;
use crate::table::escape;

/// A box: the sentence, where it was seen, what lies below it, what to do.
impl Show for Error {
    fn bundle(&self) -> Bundle {
        let mut place: Vec<String> = self.file().map(|f| f.display().to_string()).into_iter().collect();
        place.extend(self.line().map(|line| format!("line {line}")));
        place.extend(self.column().map(|column| format!("column {column}")));
        place.extend(self.field().map(|field| format!("field {field}")));
        let mut html = String::from("<div role=\"alert\" style=\"border-left:4px solid #d32f2f;padding:0.1em 1em\">\n");
        let mut row = |name: &str, text: &str| {
            html.push_str(&format!("<p><b>{name}:</b> {}</p>\n", escape(text)));
        };
        row("Error", self.message());
        if !place.is_empty() {
            row("Where", &place.join(", "));
        }
        let mut cause = std::error::Error::source(self);
        while let Some(below) = cause {
            row("Because", &below.to_string());
            cause = below.source();
        }
        if let Some(advice) = self.advice() {
            row("What to do", advice);
        }
        html.push_str("</div>\n");
        Bundle::new(html, format!("Error: {self}\n"))
    }
}

/// Takes the value out of a `Result` or `Option`, or stops the cell with a sentence.
///
/// A `?` in a cell prints the error but leaves the cell "ok": a notebook that is executed or marked by a program goes on
/// with the variables missing. What stops here stops that program too.
///
/// ```
/// use vialbook::prelude::*;
/// let trace = Trace::new(vec![0.0, 0.1, 0.2], vec![1.0, 2.0, 1.0], "mV").or_stop();
/// assert_eq!(trace.len(), 3);
/// ```
pub trait OrStop<T> {
    /// The value.
    ///
    /// # Panics
    /// Where there is none: with the error's sentence.
    fn or_stop(self) -> T;
}

impl<T, E: Display> OrStop<T> for std::result::Result<T, E> {
    #[track_caller]
    fn or_stop(self) -> T {
        match self {
            Ok(value) => value,
            Err(error) => panic!("{error}"),
        }
    }
}

impl<T> OrStop<T> for Option<T> {
    #[track_caller]
    fn or_stop(self) -> T {
        match self {
            Some(value) => value,
            None => panic!("there is nothing here (None), and a value was wanted"),
        }
    }
}
