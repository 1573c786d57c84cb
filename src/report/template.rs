//! Templates → Typst source. minijinja builds structure only: which parts, in which order, how many of each.
//!
//! The words and numbers stay in `report.json`, which the source reads; what a template prints itself comes out
//! as a Typst string literal, so no text from a file or a person is ever Typst code.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Value, ValueKind};
use minijinja::{AutoEscape, Environment, OutputSpan, OutputSpanKind, UndefinedBehavior};

use crate::error::{Error, ErrorKind, Result};

/// Our own templates, by name: `report-templates/` of the repository.
const SHIPPED: &[(&str, &str)] = &[
    ("formal-report/report.typ", include_str!("../../report-templates/formal-report/report.typ")),
    ("formal-report/title.typ", include_str!("../../report-templates/formal-report/title.typ")),
    ("formal-report/theory.typ", include_str!("../../report-templates/formal-report/theory.typ")),
    ("formal-report/experimental.typ", include_str!("../../report-templates/formal-report/experimental.typ")),
    ("formal-report/results.typ", include_str!("../../report-templates/formal-report/results.typ")),
    ("formal-report/calculation.typ", include_str!("../../report-templates/formal-report/calculation.typ")),
    ("formal-report/appendix.typ", include_str!("../../report-templates/formal-report/appendix.typ")),
    ("quick-quantitation/report.typ", include_str!("../../report-templates/quick-quantitation/report.typ")),
    ("worked-example/report.typ", include_str!("../../report-templates/worked-example/report.typ")),
    ("shared/calculations.typ", include_str!("../../report-templates/shared/calculations.typ")),
    ("shared/style.typ", include_str!("../../report-templates/shared/style.typ")),
    ("shared/parts.typ", include_str!("../../report-templates/shared/parts.typ")),
    ("shared/safety.typ", include_str!("../../report-templates/shared/safety.typ")),
    ("shared/attachments.typ", include_str!("../../report-templates/shared/attachments.typ")),
];

/// Files that a template reads while it is typeset, copied into the build folder.
pub(super) const SHIPPED_FILES: &[(&str, &str)] =
    &[("references.yml", include_str!("../../report-templates/shared/references.yml"))];

/// The file that a template folder must hold.
const MAIN: &str = "report.typ";

/// Names of the templates that come with the library.
pub fn template_names() -> Vec<String> {
    let mains = SHIPPED.iter().filter_map(|(name, _)| name.strip_suffix(MAIN)?.strip_suffix('/'));
    mains.map(str::to_owned).collect()
}

/// Typst source, and which line of which template made each part of it.
pub(super) struct Rendered {
    pub(super) source: String,
    spans: Vec<OutputSpan>,
    templates: BTreeMap<String, String>,
}

impl Rendered {
    /// Template and line that made this line of the source; `None` past its end.
    pub(super) fn locate(&self, line: u64, column: u64) -> Option<(String, u64)> {
        let start = self.source.split_inclusive('\n').take(line.checked_sub(1)? as usize).map(str::len).sum::<usize>();
        let text = self.source.get(start..)?.lines().next().unwrap_or("");
        let within = text.char_indices().nth(column.saturating_sub(1) as usize).map_or(text.len(), |(at, _)| at);
        let at = (start + within).min(self.source.len().checked_sub(1)?);
        let span = self.spans.iter().find(|s| s.output_range().contains(&at))?;
        let mut found = span.line() as u64;
        if span.kind() == OutputSpanKind::Raw
            && let Some(template) = self.templates.get(span.name())
        {
            // Verbatim text maps one to one: count the lines up to the very place.
            let offset = span.source_range().start + (at - span.output_range().start);
            found = template.as_bytes().iter().take(offset).filter(|b| **b == b'\n').count() as u64 + 1;
        }
        Some((span.name().to_owned(), found))
    }
}

/// Renders `template` with this data; files in `folder` come before ours.
///
/// # Errors
/// A template that is not there, does not parse, or asks for what the data do not hold: with file and line.
pub(super) fn render(template: &str, folder: Option<&Path>, data: &serde_json::Value) -> Result<Rendered> {
    let main = format!("{template}/{MAIN}");
    let seen: Arc<Mutex<BTreeMap<String, String>>> = Arc::default();
    let env = environment(folder.map(Path::to_path_buf), Arc::clone(&seen));
    let found = env.get_template(&main).map_err(|e| match e.kind() {
        minijinja::ErrorKind::TemplateNotFound if e.name().is_none_or(|n| n == main) => {
            Error::new(ErrorKind::NotFound, format!("there is no template \"{template}\""))
                .hint(format!("templates: {}; or a folder of your own that holds {MAIN}", template_names().join(", ")))
        }
        _ => template_error(&e, &main),
    })?;
    let (source, spans) =
        found.render_with_spans(Value::from(minijinja::value::Serde(data))).map_err(|e| template_error(&e, &main))?;
    let templates = seen.lock().map(|s| s.clone()).unwrap_or_default();
    Ok(Rendered { source, spans, templates })
}

fn environment(folder: Option<PathBuf>, seen: Arc<Mutex<BTreeMap<String, String>>>) -> Environment<'static> {
    let mut env = Environment::new();
    // `@` starts a reference in Typst only before a letter, so these never meet Typst's own braces and signs.
    let syntax = SyntaxConfig::builder()
        .block_delimiters("@%", "%@")
        .variable_delimiters("@{", "}@")
        .comment_delimiters("@#", "#@")
        .trim_blocks(true)
        .lstrip_blocks(true)
        .keep_trailing_newline(true)
        .build();
    env.set_syntax(syntax.expect("the delimiters are constants that differ"));
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_debug(true);
    env.set_auto_escape_callback(|_| AutoEscape::Custom("typst".into()));
    env.set_formatter(|out, _state, value| write_literal(out, value));
    // These would turn data into code.
    for filter in ["safe", "escape", "e"] {
        env.remove_filter(filter);
    }
    env.add_filter("string", |text: String| Value::from_safe_string(literal(&text)));
    env.set_loader(move |name| {
        let text = load(name, folder.as_deref())
            .map_err(|e| minijinja::Error::new(minijinja::ErrorKind::InvalidOperation, e.to_string()))?;
        if let (Some(text), Ok(mut seen)) = (&text, seen.lock()) {
            seen.insert(name.to_owned(), text.clone());
        }
        Ok(text)
    });
    env
}

/// The user's own file of this name, else ours.
fn load(name: &str, folder: Option<&Path>) -> Result<Option<String>> {
    let plain = !name.is_empty()
        && name
            .split('/')
            .all(|part| !part.is_empty() && part != "." && part != ".." && !part.contains(['\\', ':', '\0']));
    if !plain {
        return Err(Error::new(ErrorKind::Report, format!("\"{name}\" is no name of a template"))
            .hint("write it with forward slashes, from the folder of templates, without \"..\""));
    }
    if let Some(folder) = folder {
        let path = folder.join(name);
        if path.exists() {
            return super::files::read_text_inside(folder, &path).map(Some);
        }
    }
    Ok(SHIPPED.iter().find(|(known, _)| *known == name).map(|(_, text)| (*text).to_owned()))
}

/// Prints a value where markup stands: strings as `#"…";`, whole numbers and truth values as they are.
fn write_literal(out: &mut minijinja::Output, value: &Value) -> std::result::Result<(), minijinja::Error> {
    let refuse = |what: &str| {
        let message = format!("a {what} cannot be printed; print one of its fields, or read it from report.json");
        Err(minijinja::Error::new(minijinja::ErrorKind::InvalidOperation, message))
    };
    match value.kind() {
        ValueKind::String if value.is_safe() => out.write_str(value.as_str().unwrap_or_default())?,
        // The semicolon ends the expression: a dot or bracket behind it stays text.
        ValueKind::String => write!(out, "#{};", literal(value.as_str().unwrap_or_default()))?,
        ValueKind::Number if value.is_integer() => write!(out, "{value}")?,
        ValueKind::Number => return refuse("number with decimals"),
        ValueKind::Bool => out.write_str(if value.is_true() { "true" } else { "false" })?,
        ValueKind::None => out.write_str("#none;")?,
        kind => return refuse(&kind.to_string()),
    }
    Ok(())
}

/// A Typst string literal, as code: `\`, `"` and control characters escaped.
pub(super) fn literal(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            '"' => out.push_str("\\\""),
            c if c.is_control() || matches!(c as u32, 0x2028 | 0x2029) => {
                let _ = write!(out, "\\u{{{:x}}}", c as u32);
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn template_error(e: &minijinja::Error, main: &str) -> Error {
    // An error in an included part is wrapped in one of the include: the innermost names the place.
    if let Some(inner) = std::error::Error::source(e).and_then(|s| s.downcast_ref::<minijinja::Error>()) {
        return template_error(inner, main);
    }
    let mut message = e.detail().map_or_else(|| e.kind().to_string(), |d| format!("{}: {d}", e.kind()));
    let mut cause = std::error::Error::source(e);
    while let Some(c) = cause {
        let text = c.to_string();
        message = format!("{message}: {}", text.lines().next().unwrap_or_default());
        cause = c.source();
    }
    let mut error = Error::new(ErrorKind::Report, message).in_file(e.name().unwrap_or(main));
    if let Some(line) = e.line() {
        error = error.at_line(line as u64);
    }
    match e.kind() {
        minijinja::ErrorKind::UndefinedError => {
            error.hint("the fields a template may use are those of ReportContext; see its documentation")
        }
        minijinja::ErrorKind::UnknownFilter => {
            error.hint("escape, e and safe do not exist here: they would turn data into code")
        }
        _ => error,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_template_renders_in_our_delimiters() {
        for (name, text) in SHIPPED {
            assert!(!text.contains("{{") && !text.contains("{%"), "{name} uses other delimiters");
            assert!(!text.contains("\"@") && !text.contains("http"), "{name} reaches outside");
        }
        assert_eq!(template_names(), ["formal-report", "quick-quantitation", "worked-example"]);
    }

    #[test]
    fn a_literal_holds_anything() {
        assert_eq!(literal("a\"b\\c\n\u{7}"), "\"a\\\"b\\\\c\\u{a}\\u{7}\"");
        assert_eq!(literal("#read(\"/etc/passwd\")"), "\"#read(\\\"/etc/passwd\\\")\"");
    }

    fn rendered(text: &str, data: serde_json::Value) -> std::result::Result<String, minijinja::Error> {
        environment(None, Arc::default()).render_str(text, Value::from(minijinja::value::Serde(&data)))
    }

    #[test]
    fn what_a_template_prints_is_a_string_literal() {
        let data = serde_json::json!({ "x": "#eval(\"1\")", "n": 3, "b": true, "list": [1, 2], "f": 1.5 });
        assert_eq!(rendered("@{ x }@.len", data.clone()).ok().as_deref(), Some("#\"#eval(\\\"1\\\")\";.len"));
        assert_eq!(
            rendered("#f(@{ x|string }@, @{ n }@, @{ b }@)", data.clone()).ok().as_deref(),
            Some("#f(\"#eval(\\\"1\\\")\", 3, true)")
        );
        for refused in
            ["@{ list }@", "@{ f }@", "@{ unknown }@", "@{ x|safe }@", "@{ x|e }@", "@% if unknown %@@% endif %@"]
        {
            assert!(rendered(refused, data.clone()).is_err(), "{refused}");
        }
    }

    #[test]
    fn names_of_templates_stay_inside() {
        for name in ["../secret", "/etc/passwd", "a//b", "a\\b", "", "c:x"] {
            assert!(load(name, None).is_err(), "{name}");
        }
        assert!(matches!(load("formal-report/none.typ", None), Ok(None)));
    }
}
