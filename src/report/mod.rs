//! Results → context → Typst source → PDF.
//!
//! [`ReportContext`] holds everything a report may show; templates build its structure ([`template_names`]);
//! [`Typesetter`] finds or builds the typst program; [`Report`] puts the three together.

mod anchors;
mod appendix;
mod build;
mod calculations;
mod comparison;
mod compile;
mod conclusions;
mod context;
mod coverage;
mod experimental;
mod files;
mod from_study;
#[cfg(test)]
mod hostile;
mod number;
mod record;
mod replicates;
mod safety;
mod sample_calculation;
mod tables;
mod template;
mod text;
mod typst;
mod words;

use std::path::{Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};

pub use calculations::{Calculation, CalculationStep};
pub use comparison::ComparisonRow;
pub use compile::{Attachment, Relationship};
pub use context::*;
pub use experimental::{KnownContent, LogLine};
pub use safety::{Hazards, Safety, SourcedText, Statement, Substance};
pub use sample_calculation::{CalculationFlask, CalculationShot, MassStep, SampleCalculation};
pub use template::template_names;
#[cfg(feature = "cli")]
pub(crate) use typst::{FONTS, cache_folder, last_words, on_path};
pub use typst::{TYPST_VERSION, Typesetter};
pub use words::{Block, Cite, Inline, Line};

/// The template that comes in two editions, one of them with answers.
pub(crate) const WITH_ANSWERS: &str = "worked-example";

/// A report that can be typeset: its content, the author's words, a template.
///
/// Every step returns a new report, so that a cell can be run again.
#[derive(Clone)]
pub struct Report {
    context: ReportContext,
    template: String,
    folder: Option<PathBuf>,
    attachments: Vec<Attachment>,
    typesetter: Option<Typesetter>,
}

/// A report that stands on the disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SavedReport {
    /// The PDF.
    pub path: PathBuf,
    /// Its size in bytes.
    pub bytes: u64,
    /// What the author still owes, as in [`Report::missing`].
    pub missing: Vec<String>,
    /// What a reader of the PDF should know: attachments left out, a standard that was not met.
    pub remarks: Vec<String>,
}

impl std::fmt::Debug for Report {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Report({}, {:?}, {} attachments)", self.template, self.context, self.attachments.len())
    }
}

impl std::fmt::Display for SavedReport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ({} kB)", self.path.display(), self.bytes.div_ceil(1000))?;
        for line in self.missing.iter().chain(&self.remarks) {
            write!(f, "\n- {line}")?;
        }
        Ok(())
    }
}

impl Report {
    /// A formal report of this content.
    pub fn new(context: ReportContext) -> Self {
        Report {
            context,
            template: "formal-report".to_owned(),
            folder: None,
            attachments: Vec::new(),
            typesetter: None,
        }
    }

    /// With another template: one of [`template_names`], or of the folder given by [`Report::with_template_folder`].
    pub fn with_template(&self, name: &str) -> Self {
        Report { template: name.to_owned(), ..self.clone() }
    }

    /// With a folder of templates that come before ours, file by file. A template is a folder in it that holds
    /// `report.typ`; beside it, `assets/` may hold pictures; `fonts/` in the folder itself may hold fonts.
    pub fn with_template_folder(&self, folder: impl AsRef<Path>) -> Self {
        Report { folder: Some(folder.as_ref().to_path_buf()), ..self.clone() }
    }

    /// With files carried inside the PDF; beyond 20 MB in all, only their names and hashes are.
    pub fn with_attachments(&self, attachments: Vec<Attachment>) -> Self {
        Report { attachments, ..self.clone() }
    }

    /// With this typst program instead of the one that [`Typesetter::find`] finds.
    pub fn with_typesetter(&self, typesetter: Typesetter) -> Self {
        Report { typesetter: Some(typesetter), ..self.clone() }
    }

    /// With the Markdown files, pictures and references of this study folder: `words/<section>.md` for sections that
    /// study.toml leaves open, pictures that the words name, the .bib file given here. Nothing outside is read.
    ///
    /// # Errors
    /// A file that leads out of the folder, is too large, or cannot be understood.
    pub fn with_study_folder(&self, folder: impl AsRef<Path>, bibliography: Option<&str>) -> Result<Self> {
        let mut report = self.clone();
        report.context.authored.read_folder(folder.as_ref(), bibliography)?;
        report.context.refresh();
        Ok(report)
    }

    /// With this abstract, in Markdown: lists, tables, `$formulas$`, citations `[@gum]`, references to figures and
    /// tables `[@fig:calibration]`. What cannot be set is marked in the text and told by [`Report::missing`].
    pub fn abstract_text(&self, text: &str) -> Self {
        self.words("abstract", text)
    }

    /// With this introduction, as in [`Report::abstract_text`].
    pub fn introduction(&self, text: &str) -> Self {
        self.words("introduction", text)
    }

    /// With this addition to the experimental part.
    pub fn experimental(&self, text: &str) -> Self {
        self.words("experimental", text)
    }

    /// With this discussion.
    pub fn discussion(&self, text: &str) -> Self {
        self.words("discussion", text)
    }

    /// With this conclusion.
    pub fn conclusion(&self, text: &str) -> Self {
        self.words("conclusion", text)
    }

    /// With these local safety rules and waste route.
    pub fn safety(&self, text: &str) -> Self {
        self.words("safety", text)
    }

    /// The edition that shows the answers of a worked example, or the one that does not. Without answers, the results,
    /// the study's plan and the record of decisions are not attached either.
    pub fn with_answers(&self, answers: bool) -> Self {
        let mut report = self.clone();
        report.context.answers = answers;
        report
    }

    /// Without the sentences that the program concludes from the numbers.
    pub fn without_conclusions(&self) -> Self {
        let mut report = self.clone();
        report.context.conclusions.clear();
        report
    }

    fn words(&self, section: &str, text: &str) -> Self {
        let mut report = self.clone();
        report.context.authored.set(section, text, &format!("{section} in this call"));
        report.context.refresh();
        report
    }

    /// What the author's words may refer to: `fig:calibration/2-propanol`, `tab:amounts`, written as `[@tab:amounts]`.
    pub fn references(&self) -> Vec<String> {
        anchors::anchors(&self.context).into_iter().map(|a| a.key).collect()
    }

    /// The content.
    pub fn context(&self) -> &ReportContext {
        &self.context
    }

    /// What the author has not written or stated, as sentences.
    pub fn missing(&self) -> Vec<String> {
        self.context.gaps.iter().map(|g| format!("{} ({})", g.what, g.how)).collect()
    }

    /// The Typst source that the template makes.
    ///
    /// # Errors
    /// An unknown template, or one that does not parse: with file and line.
    pub fn source(&self) -> Result<String> {
        Ok(template::render(&self.template, self.folder.as_deref(), &self.data(&self.context))?.source)
    }

    /// Typesets the report: archivable and accessible (PDF/A-3a, PDF/UA-1), the same bytes for the same content
    /// and version of typst, written whole or not at all.
    ///
    /// # Errors
    /// No typst 0.15 ([`Typesetter::provision`] builds one), a template that fails (with its line), a figure
    /// without alternative text, a file that cannot be written.
    pub fn save(&self, path: impl AsRef<Path>) -> Result<SavedReport> {
        self.save_as(path.as_ref())
    }

    /// The first pages as pictures (SVG), typeset as [`Report::save`] does; fewer where the report is shorter. A
    /// notebook cell that ends with a report shows the first.
    ///
    /// # Errors
    /// As [`Report::save`], but nothing is written.
    pub fn preview(&self, pages: usize) -> Result<Vec<String>> {
        let typesetter = self.typesetter()?;
        Ok(self.with_job(typesetter.version(), |job| compile::preview(job, &typesetter, pages))?.1)
    }

    fn typesetter(&self) -> Result<Typesetter> {
        match &self.typesetter {
            Some(given) => Ok(given.clone()),
            None => Typesetter::find(None)?.ok_or_else(|| {
                Error::new(ErrorKind::Tool, format!("no typst {TYPST_VERSION} was found; it sets the pages")).hint(
                    "`vialbook report` or Typesetter::provision builds it once; or put it on the PATH, or name it in \
                     VIALBOOK_TYPST",
                )
            }),
        }
    }

    fn save_as(&self, path: &Path) -> Result<SavedReport> {
        let typesetter = self.typesetter()?;
        let (context, done) = self.with_job(typesetter.version(), |job| compile::compile(job, &typesetter))?;
        crate::study::write::write_whole(path, &done.pdf)?;
        let mut remarks = done.remarks;
        let left_out = context.attachments.iter().filter(|a| a.file.is_none());
        remarks.extend(
            left_out
                .map(|a| format!("{} ({}) is not attached: too large; its hash is in the appendix", a.name, a.size)),
        );
        Ok(SavedReport { path: path.to_path_buf(), bytes: done.pdf.len() as u64, missing: self.missing(), remarks })
    }

    /// Writes what the typesetter is given into a folder: source, data, figures, attachments. `typst compile
    /// --ignore-system-fonts report.typ` there makes the report, and a reader can see how.
    ///
    /// # Errors
    /// As [`Report::source`]; a file that cannot be written.
    pub fn save_source(&self, folder: impl AsRef<Path>) -> Result<PathBuf> {
        let folder = folder.as_ref();
        self.with_job(TYPST_VERSION, |job| compile::fill(folder, job))?;
        Ok(folder.join("report.typ"))
    }

    /// Fills in what depends on the typesetter, renders the template, and hands all to `work`.
    fn with_job<T>(
        &self,
        version: &str,
        work: impl FnOnce(&compile::Job<'_>) -> Result<T>,
    ) -> Result<(ReportContext, T)> {
        let mut context = self.context.clone();
        context.typesetter = Some(format!("typst {version}"));
        let attachments = self.attachments_to_give();
        context.attachments = compile::attachment_rows(&attachments);
        let data = self.data(&context);
        let rendered = template::render(&self.template, self.folder.as_deref(), &data)?;
        let done = work(&compile::Job {
            rendered: &rendered,
            data: &data,
            figures: &context.figures,
            pictures: &context.pictures,
            references: &context.authored.bibliography.clean,
            attachments: &attachments,
            rows: &context.attachments,
            template: &self.template,
            folder: self.folder.as_deref(),
            more_fonts: self.more_fonts(),
            timestamp: compile::timestamp(context.date.as_deref()),
        })?;
        Ok((context, done))
    }

    /// All attachments; those that hold no answer where answers are not shown.
    fn attachments_to_give(&self) -> Vec<Attachment> {
        let all = self.attachments.iter();
        if self.template != WITH_ANSWERS || self.context.answers {
            return all.cloned().collect();
        }
        all.filter(|a| a.relationship == Relationship::Source && a.name != "study.toml").cloned().collect()
    }

    fn more_fonts(&self) -> bool {
        self.folder.as_ref().is_some_and(|f| f.join("fonts").is_dir())
    }

    /// The content as JSON in which every single string is fit to print: the one door that foreign text goes through.
    fn data(&self, context: &ReportContext) -> serde_json::Value {
        let mut data = serde_json::to_value(context).unwrap_or_default();
        if let Some(figures) = data.get_mut("figures").and_then(|f| f.as_array_mut()) {
            for (i, figure) in figures.iter_mut().enumerate() {
                figure["file"] = compile::figure_file(i).into();
                let place = figure["id"].as_str().and_then(|id| id.split('/').next()).unwrap_or_default();
                let known = ["chromatogram", "calibration", "budget", "names"].into_iter().find(|p| *p == place);
                figure["place"] = known.unwrap_or("other").into();
            }
        }
        make_printable(&mut data, "", self.more_fonts());
        data
    }
}

fn make_printable(value: &mut serde_json::Value, key: &str, more_fonts: bool) {
    use serde_json::Value;
    match value {
        Value::String(text) => {
            let as_it_is = match key {
                // A hash is copied and searched for: no break marks, its table leaves room for it.
                "sha256" => text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()),
                // What is evaluated, followed or looked up is checked here again, whoever made it.
                "formula" => {
                    if words::check_formula(text).is_err() {
                        *text = "\"formula\"".to_owned();
                    }
                    true
                }
                "target" => words::is_link(text),
                "key" | "label" | "labels" => typst_syntax::is_valid_label_literal_id(text),
                _ => false,
            };
            let show = text::Show { more_fonts, prose: key == "prose" };
            if !as_it_is && let std::borrow::Cow::Owned(shown) = text::printable(text, show) {
                *text = shown;
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|i| make_printable(i, key, more_fonts)),
        Value::Object(map) => map.iter_mut().for_each(|(key, v)| make_printable(v, key, more_fonts)),
        _ => {}
    }
}
