//! Typst source → PDF: a build folder that holds everything, a typst that sees nothing else.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::error::{Error, ErrorKind, Result};

use super::context::{AttachmentRow, ReportFigure};
use super::files;
use super::template::{Rendered, SHIPPED_FILES};
use super::text::safe_svg;
use super::typst::Typesetter;
use super::words::Picture;

/// Archivable with attachments (ISO 19005-3, level A) and accessible (ISO 14289-1).
const STANDARDS: &str = "a-3a,ua-1";
/// More than this in attachments would make the PDF a burden; what does not fit stays outside, with its hash inside.
pub(super) const ATTACHMENT_LIMIT: u64 = 20_000_000;

/// A file to carry inside the PDF.
#[derive(Clone, PartialEq, Eq)]
pub struct Attachment {
    /// Name shown in the PDF's list of files, such as "traces/level-1-1-1.csv".
    pub name: String,
    /// Its bytes, exactly as they are.
    pub bytes: Vec<u8>,
    /// Media type, such as "text/csv".
    pub media_type: String,
    /// What it is.
    pub description: String,
    /// What it is to the report.
    pub relationship: Relationship,
}

/// What an attached file is to the report (PDF/A-3's words).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relationship {
    /// The report was made from it: raw exports, study.toml, injection log.
    Source,
    /// The numbers in the report: results.json.
    Data,
    /// Anything else.
    Supplement,
}

impl Relationship {
    fn word(self) -> &'static str {
        match self {
            Relationship::Source => "source",
            Relationship::Data => "data",
            Relationship::Supplement => "supplement",
        }
    }
}

impl std::fmt::Debug for Attachment {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Attachment({}, {} bytes)", self.name, self.bytes.len())
    }
}

/// The rows of the list of attachments; those beyond the limit have no file.
pub(super) fn attachment_rows(attachments: &[Attachment]) -> Vec<AttachmentRow> {
    let (mut total, mut names) = (0, std::collections::BTreeSet::new());
    attachments
        .iter()
        .enumerate()
        .map(|(i, a)| {
            let size = a.bytes.len() as u64;
            let fits = total + size <= ATTACHMENT_LIMIT;
            total += if fits { size } else { 0 };
            let hash = crate::read::sha256_hex(&a.bytes);
            AttachmentRow {
                name: unique(attachment_name(&a.name, i), &mut names),
                file: fits.then(|| format!("attachments/{i}.bin")),
                media_type: a.media_type.clone(),
                relationship: a.relationship.word().to_owned(),
                description: a.description.clone(),
                size: bytes_in_words(size),
                sha256: hash,
            }
        })
        .collect()
}

/// Names of embedded files: letters, digits and a few signs, so that every reader can save them.
fn attachment_name(name: &str, index: usize) -> String {
    let kept: String = name
        .chars()
        .take(150)
        .map(|c| if c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_' | '/') { c } else { '_' })
        .collect();
    let parts: Vec<&str> = kept.split('/').filter(|p| !p.is_empty() && !p.chars().all(|c| c == '.')).collect();
    if parts.is_empty() { format!("file-{}", index + 1) } else { parts.join("/") }
}

/// The name, or the name with a number before its ending where it is taken: `ä.csv` and `ö.csv` both become `_.csv`.
fn unique(name: String, taken: &mut std::collections::BTreeSet<String>) -> String {
    let (stem, ending) = match name.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() => (stem.to_owned(), format!(".{ending}")),
        _ => (name.clone(), String::new()),
    };
    let numbered = (2..).map(|n| format!("{stem}-{n}{ending}"));
    let free = std::iter::once(name).chain(numbered).find(|n| taken.insert(n.to_lowercase()));
    free.unwrap_or(stem)
}

fn bytes_in_words(n: u64) -> String {
    match n {
        0..1_000 => format!("{n} bytes"),
        1_000..1_000_000 => format!("{:.1} kB", n as f64 / 1e3),
        _ => format!("{:.1} MB", n as f64 / 1e6),
    }
}

/// What goes into the build folder.
pub(super) struct Job<'a> {
    pub(super) rendered: &'a Rendered,
    pub(super) data: &'a serde_json::Value,
    pub(super) figures: &'a [ReportFigure],
    /// The author's pictures.
    pub(super) pictures: &'a [Picture],
    /// The author's references, cleaned; empty where there are none.
    pub(super) references: &'a str,
    pub(super) attachments: &'a [Attachment],
    pub(super) rows: &'a [AttachmentRow],
    pub(super) template: &'a str,
    pub(super) folder: Option<&'a Path>,
    pub(super) more_fonts: bool,
    /// Seconds since 1970, from the study's date.
    pub(super) timestamp: i64,
}

/// A finished PDF.
pub(super) struct Compiled {
    pub(super) pdf: Vec<u8>,
    pub(super) remarks: Vec<String>,
}

/// Name of a figure's file in the build folder.
pub(super) fn figure_file(index: usize) -> String {
    format!("figures/figure-{:02}.svg", index + 1)
}

/// Compiles in a folder of its own.
///
/// # Errors
/// typst cannot be run, or refuses the source: with the template, its line, cause and hint.
pub(super) fn compile(job: &Job<'_>, typesetter: &Typesetter) -> Result<Compiled> {
    let build = build_folder()?;
    let root = real_path(&build)?;
    fill(&root, job)?;
    let mut remarks = Vec::new();
    let pdf = root.join("report.pdf");
    let mut failed = run(&root, job, typesetter, Output::Pdf { standards: Some(STANDARDS) })?;
    // Only a template that is not ours gets here: a readable PDF with a remark beats none.
    if !failed.is_empty() && failed.iter().all(|d| d.message.starts_with("PDF/")) {
        let reason = failed.iter().map(|d| d.message.as_str()).collect::<Vec<_>>().join("; ");
        remarks.push(format!("the PDF is neither archivable (PDF/A-3a) nor accessible (PDF/UA-1): {reason}"));
        failed = run(&root, job, typesetter, Output::Pdf { standards: None })?;
    }
    if let Some(first) = failed.first() {
        return Err(explain(first, failed.len(), job));
    }
    let pdf = std::fs::read(&pdf).map_err(|e| Error::io("read", &pdf, e))?;
    Ok(Compiled { pdf, remarks })
}

/// The first pages as pictures (SVG).
///
/// # Errors
/// As [`compile`].
pub(super) fn preview(job: &Job<'_>, typesetter: &Typesetter, pages: usize) -> Result<Vec<String>> {
    let build = build_folder()?;
    let root = real_path(&build)?;
    fill(&root, job)?;
    let failed = run(&root, job, typesetter, Output::Pictures { pages })?;
    if let Some(first) = failed.first() {
        return Err(explain(first, failed.len(), job));
    }
    let mut pictures = Vec::new();
    for page in 1..=pages {
        let path = root.join(picture_file(&page.to_string()));
        match std::fs::read_to_string(&path) {
            Ok(svg) => pictures.push(svg),
            // The report is shorter than was asked for.
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => break,
            Err(e) => return Err(Error::io("read", &path, e)),
        }
    }
    Ok(pictures)
}

/// `{p}` stands for the number of the page in what typst is told.
fn picture_file(page: &str) -> String {
    format!("page-{page}.svg")
}

fn build_folder() -> Result<tempfile::TempDir> {
    let made = tempfile::Builder::new().prefix("vialbook-report-").tempdir();
    made.map_err(|e| Error::io("make", std::env::temp_dir(), e))
}

/// typst compares real paths with its root.
fn real_path(folder: &tempfile::TempDir) -> Result<PathBuf> {
    folder.path().canonicalize().map_err(|e| Error::io("find", folder.path(), e))
}

/// What typst is asked for.
#[derive(Clone, Copy)]
enum Output<'a> {
    Pdf { standards: Option<&'a str> },
    Pictures { pages: usize },
}

/// Everything that the source may read.
pub(super) fn fill(root: &Path, job: &Job<'_>) -> Result<()> {
    let write = |name: &str, bytes: &[u8]| -> Result<()> {
        let path = root.join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).map_err(|e| Error::io("make", parent, e))?;
        }
        std::fs::write(&path, bytes).map_err(|e| Error::io("write", &path, e))
    };
    std::fs::create_dir_all(root.join("packages")).map_err(|e| Error::io("make", root, e))?;
    write("report.typ", job.rendered.source.as_bytes())?;
    let data =
        serde_json::to_vec(job.data).map_err(|e| Error::new(ErrorKind::Report, "the report's data").because(e))?;
    write("report.json", &data)?;
    for (name, text) in SHIPPED_FILES {
        write(name, text.as_bytes())?;
    }
    for (i, figure) in job.figures.iter().enumerate() {
        if figure.alt.trim().is_empty() {
            return Err(Error::new(ErrorKind::Report, format!("the figure \"{}\" has no alternative text", figure.id))
                .hint("say in a sentence what a reader who cannot see it must know: range, trend, outliers"));
        }
        write(&figure_file(i), safe_svg(&figure.svg, job.more_fonts).as_bytes())?;
    }
    for picture in job.pictures {
        match std::str::from_utf8(&picture.bytes) {
            Ok(svg) => write(&picture.file, safe_svg(svg, job.more_fonts).as_bytes())?,
            Err(_) => write(&picture.file, &picture.bytes)?,
        }
    }
    if !job.references.is_empty() {
        write("author.bib", job.references.as_bytes())?;
    }
    for (attachment, row) in job.attachments.iter().zip(job.rows) {
        if let Some(file) = &row.file {
            write(file, &attachment.bytes)?;
        }
    }
    if let Some(folder) = job.folder {
        for (from, to) in [(folder.join(job.template).join("assets"), "assets"), (folder.join("fonts"), "fonts")] {
            if from.is_dir() {
                for file in files::list(&from)? {
                    let name = Path::new(to).join(&file);
                    write(&name.to_string_lossy(), &files::read_inside(folder, &from.join(&file))?)?;
                }
            }
        }
    }
    Ok(())
}

/// Runs typst; the diagnostics of a refusal, none where the output was made.
fn run(root: &Path, job: &Job<'_>, typesetter: &Typesetter, output: Output<'_>) -> Result<Vec<Diagnostic>> {
    let packages = root.join("packages");
    let mut command = Command::new(typesetter.program());
    command.args(["--color", "never", "compile", "--ignore-system-fonts"]);
    command.arg("--root").arg(root);
    command.arg("--package-path").arg(&packages).arg("--package-cache-path").arg(&packages);
    command.arg("--creation-timestamp").arg(job.timestamp.to_string());
    if job.more_fonts {
        command.arg("--font-path").arg(root.join("fonts"));
    }
    command.arg(root.join("report.typ"));
    match output {
        Output::Pdf { standards } => {
            command.args(["--format", "pdf"]);
            if let Some(standards) = standards {
                command.args(["--pdf-standard", standards]);
            }
            command.arg(root.join("report.pdf"));
        }
        Output::Pictures { pages } => {
            command.args(["--format", "svg", "--pages", &format!("1-{}", pages.max(1))]);
            command.arg(root.join(picture_file("{p}")));
        }
    }
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        if text.starts_with("TYPST_") || text == "SOURCE_DATE_EPOCH" || text.to_ascii_lowercase() == "no_proxy" {
            command.env_remove(&name);
        }
    }
    // typst has no switch for staying off the network; a proxy that nobody answers is one.
    for name in ["http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"] {
        command.env(name, "http://127.0.0.1:9");
    }
    let output = command
        .current_dir(root)
        .stdin(Stdio::null())
        .output()
        .map_err(|e| Error::new(ErrorKind::Tool, "typst cannot be run").in_file(typesetter.program()).because(e))?;
    if output.status.success() {
        return Ok(Vec::new());
    }
    let text = String::from_utf8_lossy(&output.stderr);
    let found = diagnostics(&text);
    if found.is_empty() {
        let message = format!("typst failed ({}): {}", output.status, text.trim());
        return Err(Error::new(ErrorKind::Tool, message).in_file(typesetter.program()));
    }
    Ok(found)
}

/// One error of typst.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Diagnostic {
    message: String,
    place: Option<(PathBuf, u64, u64)>,
    hints: Vec<String>,
}

/// Reads the errors out of what typst prints; warnings are passed over.
fn diagnostics(text: &str) -> Vec<Diagnostic> {
    let mut found: Vec<Diagnostic> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        if let Some(message) = line.strip_prefix("error: ") {
            found.push(Diagnostic { message: message.trim().to_owned(), place: None, hints: Vec::new() });
            inside = true;
        } else if line.starts_with("warning: ") {
            inside = false;
        } else if let Some(last) = found.last_mut().filter(|_| inside) {
            let trimmed = line.trim_start();
            if let Some(place) = trimmed.strip_prefix("┌─ ") {
                last.place = last.place.take().or_else(|| parse_place(place));
            } else if let Some(hint) = trimmed.strip_prefix("= hint: ") {
                last.hints.push(hint.trim().to_owned());
            }
        }
    }
    found
}

/// `report.typ:12:3`
fn parse_place(text: &str) -> Option<(PathBuf, u64, u64)> {
    let (rest, column) = text.trim().rsplit_once(':')?;
    let (file, line) = rest.rsplit_once(':')?;
    Some((PathBuf::from(file), line.parse().ok()?, column.parse().ok()?))
}

/// The error with the template's own line.
fn explain(d: &Diagnostic, count: usize, job: &Job<'_>) -> Error {
    let more = if count > 1 { format!(" (and {} more)", count - 1) } else { String::new() };
    let mut error = Error::new(ErrorKind::Report, format!("typst: {}{more}", d.message));
    if let Some((file, line, column)) = &d.place {
        let picture = job.pictures.iter().find(|p| file.ends_with(&p.file));
        match job.rendered.locate(*line, *column).filter(|_| file.ends_with("report.typ")) {
            Some((template, line)) => error = error.in_file(template).at_line(line),
            None if picture.is_some() => error = error.in_file(picture.map(|p| p.path.as_str()).unwrap_or_default()),
            None => error = error.in_file(file).at_line(*line),
        }
    }
    if !d.hints.is_empty() {
        return error.hint(d.hints.join("; "));
    }
    match d.message.as_str() {
        m if m.contains("decode image") || m.contains("SVG") => {
            let named: Vec<&str> = job.pictures.iter().map(|p| p.path.as_str()).collect();
            error.hint(format!("a picture must be whole, and may load nothing itself; there are: {}", named.join(", ")))
        }
        m if m.contains("package") => {
            error.hint("packages are not loaded here: copy what is needed into the folder of templates")
        }
        m if m.contains("file not found") => {
            error.hint("a template reads report.json, references.yml, figures/ and its own assets/")
        }
        m if m.starts_with("PDF/") => error.hint("the report is archivable and accessible; see the template's line"),
        _ => error,
    }
}

/// Seconds since 1970 at the start of the day that begins this text (`2026-03-12`); 0 without one.
pub(super) fn timestamp(date: Option<&str>) -> i64 {
    let Some(text) = date.and_then(|d| d.trim().get(..10)) else { return 0 };
    let parts: Vec<Option<i64>> = text.split('-').map(|p| p.parse().ok()).collect();
    let [Some(year), Some(month @ 1..=12), Some(day @ 1..=31)] = parts[..] else { return 0 };
    if !(1970..=9999).contains(&year) {
        return 0;
    }
    // Days from the civil calendar: the year begins in March, so that the leap day comes last.
    let (y, m) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let days = 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1 - 719_468;
    days * 86_400
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_date_becomes_a_timestamp() {
        // Known days: the epoch, the start of 2000, a leap day (Unix time is 86,400 s a day by POSIX).
        assert_eq!(timestamp(Some("1970-01-01")), 0);
        assert_eq!(timestamp(Some("2000-01-01")), 946_684_800);
        assert_eq!(timestamp(Some("2024-02-29, afternoon")), 1_709_164_800);
        for none in [None, Some("spring"), Some("2026-13-01"), Some("ÄÖÜ-ÄÖÜ-ÄÖÜ"), Some("1850-01-01")] {
            assert_eq!(timestamp(none), 0);
        }
    }

    #[test]
    fn errors_are_read_from_what_typst_prints() {
        let text = "warning: unknown font family\n  ┌─ report.typ:1:1\nerror: unknown variable: foo\n  ┌─ report.typ:12:3\n   │\n12 │ #foo\n   │  ^^^\n  = hint: if you meant a, write b\n\nerror: PDF/UA-1 error: missing alt text\n";
        let found = diagnostics(text);
        assert_eq!(found.len(), 2);
        assert_eq!(found[0].place, Some((PathBuf::from("report.typ"), 12, 3)));
        assert_eq!(found[0].hints, ["if you meant a, write b"]);
        assert_eq!(found[1].place, None);
    }

    #[test]
    fn names_of_attachments_are_plain() {
        assert_eq!(attachment_name("../../etc/pass wd#", 0), "etc/pass_wd_");
        assert_eq!(attachment_name("//..//", 2), "file-3");
    }

    #[test]
    fn what_is_too_large_keeps_its_hash() {
        let attachment = |n: usize| Attachment {
            name: format!("{n}.csv"),
            bytes: vec![0; n],
            media_type: "text/csv".into(),
            description: String::new(),
            relationship: Relationship::Source,
        };
        let rows = attachment_rows(&[attachment(10), attachment(20_000_000), attachment(30)]);
        assert_eq!(rows.iter().map(|r| r.file.is_some()).collect::<Vec<_>>(), [true, false, true]);
        // SHA-256 of ten zero bytes, as coreutils' sha256sum prints it.
        assert_eq!(rows[0].sha256, "01d448afd928065458cf670b60f5a594d735af0172c8d67f22a81680132681ca");
    }
}
