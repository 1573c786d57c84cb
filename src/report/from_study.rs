//! An analysis → its report: figures painted, hazards looked up, raw files attached.

use std::fs;

use super::{
    Attachment, Hazards, KnownContent, LogLine, Relationship, Report, ReportContext, ReportFigure, Safety, SourcedText,
    Statement, Substance,
};
use crate::compounds;
use crate::error::{Error, ErrorKind, Result};
use crate::figure::views;
use crate::results::PeakResult;
use crate::study::{Analysis, IntegrateBy, Role};

impl Analysis {
    /// The formal report of this analysis, with figures, safety notes and all raw files attached.
    ///
    /// # Errors
    /// A raw file that can no longer be read.
    ///
    /// ```no_run
    /// use vialbook::Study;
    /// let report = Study::open("demo")?.analyse()?.report()?;
    /// report.conclusion("The eluent may go back on the shelf.").save("report.pdf")?;
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn report(&self) -> Result<Report> {
        let context = ReportContext::from_results(
            self.results(),
            self.config(),
            &self.log_lines(),
            self.figures(),
            self.safety(),
        );
        let report = Report::new(context).with_attachments(self.attachments()?);
        let Some(folder) = self.study().folder() else { return Ok(report) };
        let report = report.with_study_folder(folder, self.config().report.bibliography.as_deref())?;
        // A study's own templates come before ours.
        let own = folder.join("report-templates");
        Ok(if own.is_dir() { report.with_template_folder(own) } else { report })
    }

    fn log_lines(&self) -> Vec<LogLine> {
        self.study()
            .injections()
            .iter()
            .map(|i| LogLine {
                run: i.run.clone(),
                volume_ul: i.volume_ul,
                dilution: i.dilution,
                method: i.method.clone(),
                contents: i
                    .contents
                    .iter()
                    .map(|c| KnownContent {
                        compound: c.compound.clone(),
                        value: c.value,
                        unit: c.unit.symbol.to_owned(),
                    })
                    .collect(),
                note: i.note.clone(),
            })
            .collect()
    }

    /// Chromatograms of a standard and of a sample, each calibration, the budget of each sample's first quantities.
    fn figures(&self) -> Vec<ReportFigure> {
        let results = self.results();
        let compounds: Vec<String> =
            self.config().compounds.iter().filter(|c| c.role != Role::Solvent).map(|c| c.name.clone()).collect();
        let mut figures = Vec::new();
        for run in super::tables::shown_runs(results) {
            let Ok(found) = self.study().run(&run.run) else { continue };
            let peaks: Vec<&PeakResult> =
                results.peaks.iter().filter(|p| p.run == run.run && p.retention_time_min.is_some()).collect();
            let figure = views::chromatogram(&found.trace, &peaks, &compounds);
            let above = match (self.config().peaks.integration, self.config().peaks.baseline) {
                (IntegrateBy::Fit, _) => "above the fitted baselines",
                (_, Some(_)) => "above the baseline of the whole run",
                (_, None) => "integrated above straight baselines",
            };
            let simulated = if results.study.simulated { "Simulated chromatogram" } else { "Chromatogram" };
            figures.push(ReportFigure {
                id: format!("chromatogram/{}", run.run),
                svg: figure.to_report_svg(),
                alt: figure.alt.clone(),
                caption: format!("{simulated} of {}, run {}. Shaded: the areas, {}.", run.sample, run.run, above),
            });
        }
        for c in &results.calibrations {
            let figure = views::calibration(c);
            figures.push(ReportFigure {
                id: format!("calibration/{}", c.compound),
                svg: figure.to_report_svg(),
                alt: figure.alt.clone(),
                caption: format!(
                    "Calibration of {} ({}): (a) flask means, curve and its confidence band; (b) residuals.",
                    c.compound, c.quantification
                ),
            });
        }
        let mut seen = Vec::new();
        for a in results.amounts.iter().filter(|a| a.kind == "sample" && !a.budget.is_empty()) {
            if seen.contains(&(&a.sample, &a.compound)) {
                continue;
            }
            seen.push((&a.sample, &a.compound));
            let figure = views::budget(a);
            figures.push(ReportFigure {
                id: format!("budget/{}/{}", a.sample, a.compound),
                svg: figure.to_report_svg(),
                alt: figure.alt.clone(),
                caption: format!(
                    "Where the uncertainty of the {} of {} in {} comes from.",
                    a.quantity, a.compound, a.sample
                ),
            });
        }
        if let Ok(figure) = self.plot_shifts(&[]) {
            figures.push(ReportFigure {
                id: "names/shifts".to_owned(),
                svg: figure.to_report_svg(),
                alt: figure.alt.clone(),
                caption: "Shift of each run against the standards along retention, as it was taken out before peaks were named."
                    .to_owned(),
            });
        }
        figures
    }

    fn safety(&self) -> Safety {
        let substances = self
            .config()
            .compounds
            .iter()
            .map(|c| {
                let found = compounds::find(c.cas.as_deref().unwrap_or(&c.name));
                Substance {
                    name: c.name.clone(),
                    cas: c.cas.clone().or_else(|| found.as_ref().map(|p| p.cas.clone())),
                    role: Some(role_words(c.role).to_owned()),
                    ..found.map(substance).unwrap_or_default()
                }
            })
            .collect();
        Safety { substances, note: Some(compounds::DATA_NOTE.to_owned()) }
    }

    /// The raw files as they are, and the results: what a reader needs to check the report.
    fn attachments(&self) -> Result<Vec<Attachment>> {
        let mut all = Vec::new();
        let attach = |name: &str, bytes: Vec<u8>, media_type: &str, description: &str, relationship| Attachment {
            name: name.to_owned(),
            bytes,
            media_type: media_type.to_owned(),
            description: description.to_owned(),
            relationship,
        };
        all.push(attach("results.json", self.json()?, "application/json", "all results as data", Relationship::Data));
        if let Some(folder) = self.study().folder() {
            // The same door as at reading, and the same bytes: what is attached is what was analysed.
            let read = |file: &str, sha256: &str| {
                let path = crate::read::inside(folder, file)?;
                let bytes = fs::read(&path).map_err(|e| Error::io("read", &path, e))?;
                if crate::read::sha256_hex(&bytes) == sha256 {
                    return Ok(bytes);
                }
                Err(Error::new(ErrorKind::File, "this file was changed since it was analysed")
                    .in_file(path)
                    .hint("analyse the study again"))
            };
            let head = &self.results().study;
            all.push(attach(
                "study.toml",
                read("study.toml", &head.study_sha256)?,
                "application/toml",
                "the study's plan and rules",
                Relationship::Source,
            ));
            let log = self.study().log_name();
            all.push(attach(
                log,
                read(log, &head.injections_sha256)?,
                media_type(log),
                "the injection log",
                Relationship::Source,
            ));
            let mut files: Vec<(&str, &str)> =
                self.results().runs.iter().map(|r| (r.file.as_str(), r.sha256.as_str())).collect();
            files.sort_unstable();
            files.dedup();
            for (file, sha256) in files {
                all.push(attach(
                    file,
                    read(file, sha256)?,
                    media_type(file),
                    "raw export of a run",
                    Relationship::Source,
                ));
            }
        }
        Ok(all)
    }
}

/// What an attachment is called; a file's ending is enough for that.
fn media_type(file: &str) -> &'static str {
    match file.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase()).as_deref() {
        Some("xlsx") => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        Some("ods") => "application/vnd.oasis.opendocument.spreadsheet",
        Some("cdf" | "nc") => "application/netcdf",
        Some("jdx" | "dx" | "jcamp") => "chemical/x-jcamp-dx",
        _ => "text/csv",
    }
}

fn role_words(role: Role) -> &'static str {
    match role {
        Role::Analyte => "analyte",
        Role::InternalStandard => "internal standard",
        Role::Solvent => "solvent",
        Role::Named => "present",
    }
}

/// What the table of compounds verifies; nothing else is printed.
fn substance(p: compounds::Properties) -> Substance {
    Substance {
        hazards: p.hazards.map(|h| Hazards {
            signal_word: h.signal_word,
            statements: h
                .statements
                .into_iter()
                .map(|s| Statement { text: s.text.or(s.remark).unwrap_or_default(), code: s.code })
                .collect(),
            pictograms: h.pictograms,
            source: h.source,
        }),
        flash_point: p.flash_point_c.map(|f| SourcedText {
            text: format!("{} °C", crate::estimate::typographic(&f.value.to_string())),
            source: f.source,
        }),
        exposure_limits: p
            .exposure_limits
            .into_iter()
            .map(|l| SourcedText {
                text: match l.year {
                    Some(year) => format!("{}: {} ({year})", l.kind, l.text),
                    None => format!("{}: {}", l.kind, l.text),
                },
                source: l.source,
            })
            .collect(),
        ..Substance::default()
    }
}
