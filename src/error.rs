//! The one error of the crate: what kind, where in which file, what was seen, what was wanted, what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// Result of every fallible call of this crate.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// What went wrong, in one readable sentence with its place.
///
/// `Display` (and `Debug`, which is the same) gives the whole story on one line: place, sentence,
/// causes, hint. Questions such as [`Error::is_bad_input`] tell the kinds apart.
///
/// ```
/// use vialbook::{Error, ErrorKind};
/// let e = Error::new(ErrorKind::Format, "\"12,a\" is not a number; a signal value is wanted")
///     .in_file("traces/run-03.csv").at_line(14).at_column(2)
///     .hint("correct the cell, or export the trace again");
/// assert!(e.to_string().starts_with("traces/run-03.csv, line 14, column 2: \"12,a\" is not"));
/// ```
pub struct Error {
    inner: Box<Inner>,
}

struct Inner {
    kind: ErrorKind,
    message: String,
    file: Option<PathBuf>,
    line: Option<u64>,
    column: Option<u64>,
    field: Option<String>,
    hint: Option<String>,
    cause: Option<Box<dyn std::error::Error + Send + Sync>>,
}

/// The kinds of [`Error`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// A file or folder could not be opened, read or written.
    File,
    /// The content of a file is not what it should be.
    Format,
    /// What was read can be understood in more than one way; the hint names the option that settles it.
    Ambiguous,
    /// The study (study.toml, injection log) contradicts itself or lacks something.
    Study,
    /// An option or argument lies outside its range.
    Option,
    /// The data do not support the number asked for.
    Data,
    /// A name that is not there: a run, a compound, a template.
    NotFound,
    /// A template or the typesetter failed.
    Report,
    /// Another program is missing or failed.
    Tool,
}

impl Error {
    /// An error of this kind; `message` says what was seen and what was wanted.
    pub fn new(kind: ErrorKind, message: impl Into<String>) -> Self {
        Error {
            inner: Box::new(Inner {
                kind,
                message: message.into(),
                file: None,
                line: None,
                column: None,
                field: None,
                hint: None,
                cause: None,
            }),
        }
    }

    /// Names the file, unless one is named already.
    pub fn in_file(mut self, file: impl AsRef<Path>) -> Self {
        if self.inner.file.is_none() {
            self.inner.file = Some(file.as_ref().to_path_buf());
        }
        self
    }

    /// Names the line, counted from 1, unless one is named already.
    pub fn at_line(mut self, line: u64) -> Self {
        self.inner.line.get_or_insert(line);
        self
    }

    /// Names the column of a table, counted from 1, unless one is named already.
    pub fn at_column(mut self, column: u64) -> Self {
        self.inner.column.get_or_insert(column);
        self
    }

    /// Names the field, such as `limit[2].unit`, unless one is named already.
    pub fn at_field(mut self, field: impl Into<String>) -> Self {
        self.inner.field.get_or_insert(field.into());
        self
    }

    /// Says what to do, unless that is said already.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.inner.hint.get_or_insert(hint.into());
        self
    }

    /// Keeps the error below this one; it is shown behind the sentence.
    pub fn because(mut self, cause: impl std::error::Error + Send + Sync + 'static) -> Self {
        self.inner.cause = Some(Box::new(cause));
        self
    }

    /// The kind.
    pub fn kind(&self) -> ErrorKind {
        self.inner.kind
    }

    /// The sentence alone, without place, causes and hint.
    pub fn message(&self) -> &str {
        &self.inner.message
    }

    /// The file it is about.
    pub fn file(&self) -> Option<&Path> {
        self.inner.file.as_deref()
    }

    /// The line it is about, counted from 1.
    pub fn line(&self) -> Option<u64> {
        self.inner.line
    }

    /// The column it is about, counted from 1.
    pub fn column(&self) -> Option<u64> {
        self.inner.column
    }

    /// The field it is about, such as `limit[2].unit`.
    pub fn field(&self) -> Option<&str> {
        self.inner.field.as_deref()
    }

    /// What to do about it.
    pub fn advice(&self) -> Option<&str> {
        self.inner.hint.as_deref()
    }

    /// True where the input is at fault, not the machine.
    pub fn is_bad_input(&self) -> bool {
        matches!(
            self.inner.kind,
            ErrorKind::Format | ErrorKind::Ambiguous | ErrorKind::Study | ErrorKind::Option | ErrorKind::NotFound
        )
    }

    /// An input or output failure on `file` while doing `what` ("read", "write", "rename").
    pub fn io(what: &str, file: impl AsRef<Path>, cause: std::io::Error) -> Self {
        Error::new(ErrorKind::File, format!("could not {what} this file")).in_file(file).because(cause)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let e = &self.inner;
        let mut place = Vec::new();
        if let Some(file) = &e.file {
            place.push(file.display().to_string());
        }
        if let Some(line) = e.line {
            place.push(format!("line {line}"));
        }
        if let Some(column) = e.column {
            place.push(format!("column {column}"));
        }
        if let Some(field) = &e.field {
            place.push(format!("field {field}"));
        }
        if !place.is_empty() {
            write!(f, "{}: ", place.join(", "))?;
        }
        f.write_str(&e.message)?;
        let mut cause = e.cause.as_deref().map(|c| c as &dyn std::error::Error);
        while let Some(c) = cause {
            write!(f, ": {c}")?;
            cause = c.source();
        }
        if let Some(hint) = &e.hint {
            write!(f, " (hint: {hint})")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.inner.cause.as_deref().map(|c| c as &(dyn std::error::Error + 'static))
    }
}
