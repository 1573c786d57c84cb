//! Results → context → Typst source → PDF. Those that set pages need typst 0.15; without one they say so and pass over.
#![cfg(feature = "report")]

use std::path::{Path, PathBuf};
use std::process::Command;

use vialbook::report::{Attachment, LogLine, Relationship, Report, ReportContext, ReportFigure, Safety, Typesetter};
use vialbook::results::Results;
use vialbook::study::StudyConfig;

type Done = Result<(), Box<dyn std::error::Error>>;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/report").join(name)
}

struct Fixture {
    results: Results,
    config: StudyConfig,
    log: Vec<LogLine>,
    figures: Vec<ReportFigure>,
    safety: Safety,
}

fn fixture() -> Result<Fixture, Box<dyn std::error::Error>> {
    let text = |name: &str| std::fs::read_to_string(data(name));
    let figure = |id: &str, file: &str, alt: &str, caption: &str| -> std::io::Result<ReportFigure> {
        Ok(ReportFigure { id: id.into(), svg: text(&format!("figures/{file}.svg"))?, alt: alt.into(), caption: caption.into() })
    };
    Ok(Fixture {
        results: serde_json::from_str(&text("results.json")?)?,
        config: StudyConfig::read(data("study.toml"))?,
        log: serde_json::from_str(&text("log.json")?)?,
        safety: serde_json::from_str(&text("safety.json")?)?,
        figures: vec![
            figure(
                "chromatogram/level-3-1-1",
                "chromatogram-standard",
                "Signal from 0 to 60 mV over 9 minutes. Narrow peaks of 2-propanol, isopropyl acetate and octane between 1 and 4 minutes; a broad fronting peak of decane at 6 minutes.",
                "Chromatogram of a standard (level 3, invented data). The decane peak fronts because the column is overloaded with the solvent.",
            )?,
            figure(
                "chromatogram/sample-1-1",
                "chromatogram-sample",
                "Signal from 0 to 60 mV over 9 minutes. As in the standard, with a further tall peak of heptane at 2.75 minutes.",
                "Chromatogram of the recovered eluent, diluted 1:50 (invented data).",
            )?,
            figure(
                "calibration/isopropyl acetate",
                "calibration-isopropyl-acetate",
                "Area ratio against content ratio from 0.5 to 1.5: ten flasks on a straight line; standardised residuals between -2 and 2 without a pattern.",
                "Calibration of isopropyl acetate: flask means, line with its 95 % confidence band (widened fourfold to be seen), and standardised residuals below.",
            )?,
            figure(
                "calibration/2-propanol",
                "calibration-2-propanol",
                "Area ratio against content ratio from 0.005 to 0.05: ten flasks on a straight line; standardised residuals between -2 and 2 without a pattern.",
                "Calibration of 2-propanol: flask means, line with its 95 % confidence band (widened fourfold to be seen), and standardised residuals below.",
            )?,
        ],
    })
}

impl Fixture {
    fn report(self) -> Report {
        Report::new(ReportContext::from_results(&self.results, &self.config, &self.log, self.figures, self.safety))
    }
}

/// The typst to use; `None` (said aloud) where there is none.
fn typesetter() -> Option<Typesetter> {
    let found = Typesetter::find(None).ok().flatten();
    if found.is_none() {
        eprintln!("skipped: no typst 0.15 on the PATH, in VIALBOOK_TYPST or in the cache");
    }
    found
}

/// The text of a PDF, break marks removed; `None` (said aloud) without pdftotext.
fn text_of(pdf: &Path) -> Option<String> {
    let Ok(output) = Command::new("pdftotext").args(["-layout"]).arg(pdf).arg("-").output() else {
        eprintln!("skipped: no pdftotext to read the PDF with");
        return None;
    };
    Some(String::from_utf8_lossy(&output.stdout).replace('\u{200B}', ""))
}

fn out(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(name)
}

fn attachments() -> std::io::Result<Vec<Attachment>> {
    let of = |name: &str, media_type: &str, relationship: Relationship, description: &str| -> std::io::Result<Attachment> {
        Ok(Attachment {
            name: name.into(),
            bytes: std::fs::read(data(name))?,
            media_type: media_type.into(),
            description: description.into(),
            relationship,
        })
    };
    Ok(vec![
        of("study.toml", "application/toml", Relationship::Source, "the study as its authors stated it")?,
        of("results.json", "application/json", Relationship::Data, "all results")?,
    ])
}

#[test]
fn the_formal_report_is_set_and_holds_its_parts() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let report = fixture()?.report().with_typesetter(typesetter).with_attachments(attachments()?);
    let path = out("formal-report.pdf");
    let saved = report.save(&path)?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    let Some(text) = text_of(&path) else { return Ok(()) };
    for part in [
        "May the recovered eluent go back on the shelf?",
        "Simulated data",
        "page 1 of",
        "This report is not finished",
        "The conclusion is not written",
        "Theory",
        "Order of injections",
        "Safety",
        "Never pull the plunger out of the barrel",
        "safety data sheet",
        "H225",
        "Peaks of run",
        "Uncertainty budget of isopropyl acetate",
        "Fitness of the measurement",
        "References",
        "Pure Appl. Chem.",
        "Joint Committee for Guides in Metrology",
    ] {
        assert!(text.contains(part), "the report does not say \"{part}\"");
    }
    assert!(!text.contains("Savitzky"), "a reference to what was not used");
    let hash = &fixture()?.results.runs[0].sha256;
    assert!(text.contains(&hash[..32]) && text.contains(&hash[32..]), "no SHA-256 of the first run");
    Ok(())
}
