//! Results → context → Typst source → PDF. Those that set pages need typst 0.15; without one they say so and pass over.
#![cfg(feature = "report")]
#![allow(clippy::print_stderr)] // a test that is passed over says so

use std::path::{Path, PathBuf};
use std::process::Command;

use vialbook::Trace;
use vialbook::figure::{Figure, views};
use vialbook::report::{Attachment, LogLine, Relationship, Report, ReportContext, ReportFigure, Safety, Typesetter};
use vialbook::results::{PeakResult, Results};
use vialbook::study::StudyConfig;

mod demo;
mod hostile;
mod quick;
mod words;
mod worked;

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
    let results: Results = serde_json::from_str(&text("results.json")?)?;
    Ok(Fixture {
        config: StudyConfig::read(data("study.toml"))?,
        log: serde_json::from_str(&text("log.json")?)?,
        safety: serde_json::from_str(&text("safety.json")?)?,
        figures: figures(&results)?,
        results,
    })
}

/// The figures of the report, from the library's own painter; the traces are drawn from the fixture's peaks.
fn figures(results: &Results) -> Result<Vec<ReportFigure>, Box<dyn std::error::Error>> {
    let mut figures = Vec::new();
    let mut add = |id: String, figure: Figure, caption: String| {
        figures.push(ReportFigure { id, svg: figure.to_report_svg(), alt: figure.alt.clone(), caption });
    };
    let compounds: Vec<String> = ["2-propanol", "isopropyl acetate", "heptane", "octane"].map(str::to_owned).into();
    for run in ["level-3-1-1", "sample-1-1"] {
        let peaks: Vec<&PeakResult> = results.peaks.iter().filter(|p| p.run == run).collect();
        let time: Vec<f64> = (0..5640).map(|i| i as f64 / 600.0).collect();
        let signal: Vec<f64> = time.iter().map(|t| 1.0 + peaks.iter().map(|p| gaussian(p, *t)).sum::<f64>()).collect();
        let figure = views::chromatogram(&Trace::new(time, signal, "mV")?, &peaks, &compounds);
        add(
            format!("chromatogram/{run}"),
            figure,
            format!("Chromatogram of run {run} (invented). Shaded: the areas integrated."),
        );
    }
    for c in &results.calibrations {
        let caption = format!("Calibration of {}: (a) flask means, line, confidence band; (b) residuals.", c.compound);
        add(format!("calibration/{}", c.compound), views::calibration(c), caption);
    }
    for a in results.amounts.iter().filter(|a| a.kind == "sample" && a.quantity == "volume fraction") {
        let caption = format!("Where the uncertainty of {} comes from.", a.compound);
        add(format!("budget/{}/{}", a.sample, a.compound), views::budget(a), caption);
    }
    Ok(figures)
}

fn gaussian(p: &PeakResult, t: f64) -> f64 {
    let (Some(centre), Some(height), Some(width)) = (p.retention_time_min, p.height, p.width_half_min) else {
        return 0.0;
    };
    height * (-4.0 * std::f64::consts::LN_2 * ((t - centre) / width).powi(2)).exp()
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
        assert!(std::env::var_os("CI").is_none(), "CI has a typst; without one these tests test nothing");
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
    let of =
        |name: &str, media_type: &str, relationship: Relationship, description: &str| -> std::io::Result<Attachment> {
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
    assert!(text.contains(hash), "no SHA-256 of the first run");
    Ok(())
}

#[test]
fn the_same_study_gives_the_same_bytes() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let (one, two) = (out("same-1.pdf"), out("elsewhere/same-2.pdf"));
    for path in [&one, &two] {
        fixture()?.report().with_typesetter(typesetter.clone()).with_attachments(attachments()?).save(path)?;
    }
    assert!(std::fs::read(one)? == std::fs::read(two)?, "two PDFs of one study differ");
    Ok(())
}

#[test]
fn gaps_close_when_the_author_writes() -> Done {
    let report = fixture()?.report();
    let before = report.missing();
    let written = report.conclusion("It may go back.").abstract_text("Short.\n\n- one\n- two").safety("Ask first.");
    assert_eq!(before.len(), written.missing().len() + 3);
    assert!(!written.missing().iter().any(|m| m.contains("conclusion")));
    assert_eq!(written.context().words.abstract_text.len(), 2, "a paragraph and a list");
    // An emptied section is a gap again; the report it was made from never changed.
    assert_eq!(written.conclusion("  \n").missing().len(), written.missing().len() + 1);
    assert_eq!(report.missing(), before);
    Ok(())
}

#[test]
fn a_report_of_nothing_is_still_a_report() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let mut f = fixture()?;
    f.config = StudyConfig::parse("title = \"Nothing yet\"")?;
    f.results.study.simulated = false;
    (f.results.runs, f.results.peaks, f.results.amounts) = (vec![], vec![], vec![]);
    (f.results.calibrations, f.results.findings) = (vec![], vec![]);
    (f.log, f.figures, f.safety) = (vec![], vec![], Safety::default());
    let path = out("nothing.pdf");
    let saved = f.report().with_typesetter(typesetter).save(&path)?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    assert!(saved.missing.len() > 8, "{:?}", saved.missing);
    if let Some(text) = text_of(&path) {
        assert!(text.contains("No amount was worked out") && !text.contains("Simulated data"));
    }
    Ok(())
}

/// What people and files may hold; printed as text, run as nothing.
const HOSTILE: &[&str] = &[
    "#read(\"/etc/passwd\") $x$ *bold* `code` _it_ = h",
    "@preview/x:1.0.0 #import \"@preview/x:1.0.0\": *",
    "] } ) #] #} /* // <label> @label ~ -- --- ... \\ \\u{41} #\"x\";",
    "\"; #panic(1) //",
    "a\u{202E}txt.exe\u{7}\u{0}\u{1F600}\u{E000}\u{FFFE}",
    "@{ title }@ @% include \"/etc/passwd\" %@ {{ x }} {% y %}",
    "<script>alert(1)</script>&amp;</text></svg>",
    "../../../etc/passwd",
];

#[test]
fn hostile_text_is_printed_and_never_run() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let all = HOSTILE.join(" ");
    let huge = format!("begin{}end", "x".repeat(100_000));
    let mut f = fixture()?;
    let c = &mut f.config;
    (c.title, c.authors) = (all.clone(), HOSTILE.iter().map(|s| s.to_string()).collect());
    for field in
        [&mut c.question, &mut c.institution, &mut c.instrument.description, &mut c.column.phase, &mut c.detector.kind]
    {
        *field = Some(all.clone());
    }
    (c.notes, c.instrument.carrier) = (vec![huge.clone()], Some(all.clone()));
    let w = &mut c.report;
    for field in [&mut w.abstract_text, &mut w.introduction, &mut w.experimental, &mut w.discussion, &mut w.safety] {
        *field = Some(all.clone());
    }
    w.conclusion = Some(huge.clone());
    let decision = c.decision.as_mut().ok_or("no decision")?;
    decision.statement = Some(all.clone());
    decision.limits[0].origin = all.clone();
    c.methods[0].name = all.clone();
    c.solutions[0].name = all.clone();
    c.solutions[0].made = Some(huge.clone());
    c.solutions[0].sources[0].name = all.clone();
    // One compound gets a new name everywhere, so that tables still find each other.
    let named = |n: &mut String| {
        if n == "isopropyl acetate" {
            *n = HOSTILE[0].into();
        }
    };
    c.compounds.iter_mut().for_each(|k| named(&mut k.name));
    c.compounds[0].cas = Some(huge.clone());
    let r = &mut f.results;
    for run in &mut r.runs {
        run.notes.push(all.clone());
        run.reading.dropped.push(all.clone());
        run.reading.delimiter = all.clone();
        (run.file, run.sha256) = (all.clone(), all.clone());
        run.reason = run.reason.as_ref().map(|_| all.clone());
    }
    r.runs[3].file = huge.clone();
    for p in &mut r.peaks {
        p.compound.iter_mut().for_each(named);
        p.notes.push(all.clone());
        p.method = format!("{} {all}", p.method);
    }
    for k in &mut r.calibrations {
        named(&mut k.compound);
        k.notes.push(all.clone());
        k.x_label = all.clone();
        k.points[0].label = HOSTILE[2].into();
        k.points[1].excluded = Some(all.clone());
    }
    for a in &mut r.amounts {
        named(&mut a.compound);
        a.notes.push(all.clone());
        a.unit = HOSTILE[3].into();
    }
    for x in &mut r.findings {
        (x.why, x.next, x.place, x.origin) = (all.clone(), Some(all.clone()), HOSTILE[1].into(), all.clone());
    }
    for l in &mut f.log {
        l.contents.iter_mut().for_each(|c| named(&mut c.compound));
    }
    for s in &mut f.safety.substances {
        (s.name, s.role) = (HOSTILE[0].into(), Some(huge.clone()));
    }
    f.figures.iter_mut().for_each(|g| (g.alt, g.caption) = (all.clone(), all.clone()));
    f.figures[0].svg = f.figures[0].svg.replace("octane", "o\u{1F600}\u{202E}e #read &lt;");

    let mut attached = attachments()?;
    attached[0].name = "../../#read(\"/etc/passwd\").toml".into();
    attached[0].description = all.clone();
    let path = out("hostile.pdf");
    let saved = f.report().with_typesetter(typesetter).with_attachments(attached).save(&path)?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    let Some(text) = text_of(&path) else { return Ok(()) };
    let squeezed: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    for seen in [
        "#read(\"/etc/passwd\")$x$*bold*`code`_it_=h",
        "@preview/x:1.0.0#import",
        "<label>@label~-----...\\\\u{41}#\"x\";",
        "a[U+202E]txt.exe[U+0007][U+0000][U+1F600][U+E000][U+FFFE]",
        "@{title}@@%include",
        "../../../etc/passwd",
    ] {
        assert!(squeezed.contains(seen), "not printed as text: {seen}");
    }
    // The conclusion is prose: whole. Everything else says how much was left out.
    assert!(squeezed.matches('x').count() > 100_000, "the long conclusion was cut");
    assert!(squeezed.contains("morecharacters]"));
    for read in ["root:x:0", "daemon:"] {
        assert!(!text.contains(read), "the document read a file of the machine");
    }
    Ok(())
}

#[test]
fn every_character_that_passes_has_a_shape() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    // The planes where fonts hold something, each character once: those without a shape in typst's fonts must come
    // out as their codes, otherwise typst refuses an archivable PDF. In the alternative text, bold and italic too.
    let planes = [0x20u32..0x3000, 0xA640..0xAB70, 0xFB00..0x10000, 0x1D400..0x1D800, 0x1F100..0x1F700];
    let all = planes.into_iter().flatten().filter_map(char::from_u32).filter(|c| !c.is_whitespace());
    let spaced: Vec<String> = all.map(String::from).collect();
    let mut f = fixture()?;
    // Names are cut at 120 characters, so every compound's note and every amount's sample takes its share.
    f.results.calibrations.iter_mut().for_each(|c| c.notes = spaced.chunks(400).map(|p| p.join(" ")).collect());
    f.config.solutions = spaced
        .chunks(50)
        .map(|part| {
            let mut s = f.config.solutions[3].clone();
            s.name = part.join(" "); // printed bold
            s
        })
        .collect();
    let report = f.report().discussion(&spaced.join(" ")).with_typesetter(typesetter);
    let saved = report.save(out("characters.pdf"))?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    Ok(())
}

fn write(path: &Path, text: &str) -> std::io::Result<()> {
    std::fs::create_dir_all(path.parent().unwrap_or(Path::new(".")))?;
    std::fs::write(path, text)
}

#[test]
fn a_folder_of_ones_own_comes_first_and_its_errors_name_its_lines() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let dir = tempfile::tempdir()?;
    let report = fixture()?.report().with_typesetter(typesetter).with_template_folder(dir.path());
    // One part of ours replaced; the rest stays ours.
    write(&dir.path().join("formal-report/theory.typ"), "= Theory\nTold in class.\n")?;
    let path = out("own-part.pdf");
    report.save(&path)?;
    if let Some(text) = text_of(&path) {
        assert!(text.contains("Told in class.") && text.contains("Order of injections"));
    }
    // An error of typst, three lines into the part.
    write(&dir.path().join("formal-report/theory.typ"), "= Theory\n@% if used.decision %@\n#nonsense\n@% endif %@\n")?;
    let e = report.save(&path).err().ok_or("nonsense was typeset")?;
    assert!(e.to_string().starts_with("formal-report/theory.typ, line 3: typst: unknown variable: nonsense"), "{e}");
    // An error of the template: a field that does not exist.
    write(&dir.path().join("formal-report/theory.typ"), "= Theory\n\n@{ nobody.here }@\n")?;
    let e = report.save(&path).err().ok_or("an unknown field was printed")?;
    assert!(e.to_string().starts_with("formal-report/theory.typ, line 3: "), "{e}");
    // A template of one's own, with what it prints itself as a literal.
    write(
        &dir.path().join("mine/report.typ"),
        "#set document(title: \"Mine\")\n#set text(lang: \"en\")\n#title[Mine]\n@{ question }@\n",
    )?;
    let own = report.with_template("mine");
    own.save(&path)?;
    assert!(own.source()?.contains("#\"Do the contents"));
    // Packages from outside are not fetched.
    write(&dir.path().join("mine/report.typ"), "\n#import \"@preview/cetz:0.4.0\"\n")?;
    let e = own.save(&path).err().ok_or("a package was fetched")?;
    assert!(e.to_string().starts_with("mine/report.typ, line 2: ") && e.to_string().contains("hint"), "{e}");
    // Neither unknown templates, nor names that lead out, nor files outside.
    let e = report.with_template("none").source().err().ok_or("found")?;
    assert!(e.to_string().contains("there is no template \"none\" (hint: templates: formal-report"), "{e}");
    assert!(report.with_template("../mine").source().is_err());
    write(&dir.path().join("mine/report.typ"), "#read(\"/etc/hostname\")\n")?;
    assert!(own.save(&path).is_err());
    Ok(())
}

#[test]
fn a_figure_without_words_for_the_blind_is_refused() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let mut f = fixture()?;
    f.figures[1].alt = " ".into();
    let e = f.report().with_typesetter(typesetter).save(out("no-alt.pdf")).err().ok_or("typeset")?;
    assert!(e.to_string().contains("the figure \"chromatogram/sample-1-1\" has no alternative text"), "{e}");
    Ok(())
}

#[test]
fn attached_files_come_out_as_they_went_in() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let path = out("attached.pdf");
    fixture()?.report().with_typesetter(typesetter).with_attachments(attachments()?).save(&path)?;
    let folder = tempfile::tempdir()?;
    let Ok(run) = Command::new("pdfdetach").arg("-saveall").arg("-o").arg(folder.path()).arg(&path).output() else {
        eprintln!("skipped: no pdfdetach to take attachments out with");
        return Ok(());
    };
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    for name in ["study.toml", "results.json"] {
        assert!(std::fs::read(folder.path().join(name))? == std::fs::read(data(name))?, "{name} was changed");
    }
    Ok(())
}

#[test]
fn the_sample_calculation_arrives_at_the_result() -> Done {
    let report = fixture()?.report();
    let c = report.context().sample_calculation.as_ref().ok_or("no calculation")?;
    // The fixture's script (see ORIGIN.md) has a line, means and a dilution of its own; its results: 0.398204, 19.9102.
    assert_eq!(c.difference, None);
    assert_eq!((c.compound.as_str(), c.shots.len(), c.flasks.len()), ("isopropyl acetate", 6, 3));
    assert_eq!((c.in_flask.as_str(), c.dilution.as_deref(), c.value.as_str()), ("0.398204", Some("50"), "19.9102"));
    assert_eq!(c.standard_content.as_deref(), Some("0.4 % v/v"));
    assert!(c.by_mass.is_none(), "the fixture's densities are not those of study.toml, so no step is shown");
    // A chain that does not arrive says so.
    let mut f = fixture()?;
    f.results.amounts[0].value *= 1.01;
    let c = f.report().context().sample_calculation.clone().ok_or("no calculation")?;
    assert!(c.difference.is_some_and(|d| d.contains("\u{2212}0.99 % apart")));
    Ok(())
}

#[test]
fn the_context_says_what_results_and_study_say() -> Done {
    let f = fixture()?;
    let runs = f.results.runs.len();
    let report = f.report();
    let c = report.context();
    assert_eq!((c.experimental.injections.len(), c.appendix.runs.len()), (runs, runs));
    let rejected: Vec<_> = c.experimental.injections.iter().filter_map(|i| i.rejected.as_deref()).collect();
    assert_eq!(rejected, ["needle bent while injecting; part of the shot was lost"]);
    assert_eq!(c.answer.verdict.as_deref(), Some("yes"));
    let limits: Vec<_> = c.answer.decisions.iter().map(|d| (d.what.as_str(), d.limit.as_str())).collect();
    assert_eq!(limits, [("isopropyl acetate", "18.5 to 21.5 % v/v"), ("2-propanol", "at most 0.5 % v/v")]);
    assert!(c.answer.caution.as_deref().is_some_and(|w| w.starts_with("2 checks raise doubts")));
    assert!(c.used.internal_standard && c.used.two_part_weights && c.used.iso_11843 && c.used.dilution);
    assert!(!c.used.savitzky_golay && !c.used.inverse_square_weights && !c.used.ich_q2);
    // Ramp of 110 °C at 15 °C/min, holds of 1.0 and 0.7 min: 9.03 min.
    assert_eq!(c.experimental.programmes[0].steps[1].until, "9.03");
    assert!(c.budgets.iter().all(|b| b.rows.windows(2).all(|w| w[0].fraction >= w[1].fraction)));
    assert_eq!(c.gaps.iter().filter(|g| g.key == "solutions").count(), 1);
    Ok(())
}
