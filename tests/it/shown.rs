//! Tables, and what each result shows in a notebook.
//!
//! Headings with scope: HTML Living Standard 4.9.10; text alternatives: WCAG 2.2, 1.1.1; rounding: GUM 7.2.6.

use vialbook::prelude::*;

use crate::figures::well_formed;

fn demo() -> (tempfile::TempDir, Analysis) {
    let folder = tempfile::tempdir().unwrap();
    let study = Study::demo(folder.path().join("demo")).unwrap();
    let analysis = study.analyse().unwrap();
    (folder, analysis)
}

/// HTML leaves `<img …>` open; the rest of what we write is also XML.
fn as_xml(html: &str) -> String {
    let mut out = String::new();
    let mut rest = html;
    while let Some(at) = rest.find("<img ") {
        let end = at + rest[at..].find('>').unwrap();
        out.push_str(&rest[..end]);
        out.push('/');
        rest = &rest[end..];
    }
    format!("<div>{out}{rest}</div>")
}

#[track_caller]
fn stands_everywhere(what: &str, bundle: &vialbook::notebook::Bundle) {
    well_formed(&as_xml(bundle.html()));
    assert!(!bundle.text().trim().is_empty(), "{what} has no words");
    assert!(bundle.part("image/png").is_none(), "{what}: the renderer would show it before the figure");
    for image in bundle.html().split("<img ").skip(1) {
        let tag = &image[..image.find('>').unwrap()];
        assert!(tag.contains("src=\"data:image/svg+xml;base64,") && !tag.contains("alt=\"\""), "{what}: {tag:.80}");
    }
    for never in ["<script", "javascript:", "onload=", "http://", "https://"] {
        assert!(!bundle.html().contains(never), "{what} holds {never}");
    }
    assert_eq!(bundle.protocol().lines().filter(|l| *l == "EVCXR_END_CONTENT").count(), bundle.parts().len());
}

#[test]
fn every_result_shows_itself() {
    let (_folder, analysis) = demo();
    let (study, results) = (analysis.study(), analysis.results());
    let run = study.run("level-3-1").unwrap();
    let peaks = run.find_peaks(&Detect::default()).unwrap();
    let calibration = analysis.calibration("2-propanol").unwrap();
    let amount = analysis.amount("recovered eluent", "2-propanol").unwrap();
    let error: Result<Run> = study.run("level-9-9");
    let bundles = [
        ("study", study.bundle()),
        ("run", run.bundle()),
        ("trace", run.trace.bundle()),
        ("reading note", run.provenance.reading.bundle()),
        ("peaks", peaks.bundle()),
        ("one peak", peaks.peaks[0].bundle()),
        ("figure", peaks.plot().bundle()),
        ("analysis", analysis.bundle()),
        ("calibration", calibration.bundle()),
        ("amount", amount.bundle()),
        ("finding", results.findings[0].bundle()),
        ("findings", results.findings[..].bundle()),
        ("amounts", results.amounts[..].bundle()),
        ("baseline", run.trace.baseline(&Default::default()).unwrap().bundle()),
        ("noise", run.trace.noise().bundle()),
        ("error", error.bundle()),
        ("nothing", None::<Run>.bundle()),
        ("properties", vialbook::compounds::find("heptane").unwrap().bundle()),
    ];
    for (what, bundle) in &bundles {
        stands_everywhere(what, bundle);
    }
    let told = |what: &str| bundles.iter().find(|b| b.0 == what).unwrap().1.text().to_owned();
    assert!(told("amount").contains(&amount.text), "the amount as everywhere else: {}", told("amount"));
    assert!(told("error").contains("level-9-9") && told("error").starts_with("Error: "));
    for what in ["run", "figure", "calibration", "baseline"] {
        assert!(bundles.iter().any(|b| b.0 == what && b.1.html().contains("<img ")), "{what} shows no picture");
    }
    #[cfg(feature = "plotly")]
    for (what, bundle) in &bundles {
        let interactive = bundle.part("application/vnd.plotly.v1+json").is_some();
        assert_eq!(interactive, ["run", "trace", "figure"].contains(what), "{what}");
    }
}

#[test]
fn a_report_shows_its_first_page_and_what_is_owed() {
    let Ok(Some(_)) = vialbook::report::Typesetter::find(None) else {
        eprintln!("skipped: no typst");
        return;
    };
    let (_folder, analysis) = demo();
    let report = analysis.report().unwrap();
    let pages = report.preview(2).unwrap();
    assert_eq!(pages.len(), 2);
    assert!(pages.iter().all(|p| p.starts_with("<svg") && p.trim_end().ends_with("</svg>")));
    // A report has fewer pages than this.
    let all = report.preview(500).unwrap();
    assert!((3..100).contains(&all.len()), "{} pages", all.len());
    let bundle = report.bundle();
    stands_everywhere("report", &bundle);
    assert!(bundle.html().contains("<img ") && bundle.text().contains("Still missing"), "{}", bundle.text());
}

#[test]
fn a_report_without_a_typesetter_is_a_sentence() {
    // A program that is there, but is no typst.
    let error = vialbook::report::Typesetter::find(Some(std::path::Path::new("/bin/true"))).unwrap_err();
    let bundle = error.bundle();
    stands_everywhere("no typesetter", &bundle);
    assert!(bundle.text().contains("typst"), "{}", bundle.text());
}

#[test]
fn columns_bear_the_names_of_the_written_tables() {
    let (folder, analysis) = demo();
    analysis.save(folder.path().join("results")).unwrap();
    let results = analysis.results();
    for (file, table) in [
        ("peaks.csv", results.peaks[..].table()),
        ("amounts.csv", results.amounts[..].table()),
        ("runs.csv", results.runs[..].table()),
        ("findings.csv", results.findings[..].table()),
        ("calibrations.csv", results.calibrations[..].table()),
        ("calibration_points.csv", results.calibrations[0].table()),
    ] {
        let text = std::fs::read_to_string(folder.path().join("results").join(file)).unwrap();
        let header: Vec<&str> = text.lines().next().unwrap().split(',').collect();
        let other: Vec<&str> = table.columns.iter().map(|c| c.name.as_str()).filter(|n| !header.contains(n)).collect();
        assert!(other.is_empty(), "{file} has {header:?}, the table also {other:?}");
    }
}

#[test]
fn a_table_is_marked_up_for_readers_that_cannot_see_it() {
    let table = Table::new("Standards & <more>").column(Column::text("flask", ["a$x$", "<b>"])).measured(
        "area",
        "mV·min",
        [Some(1.234_5), None],
        [Some(0.021), None],
    );
    let html = table.to_html();
    well_formed(&html);
    assert!(html.contains("<caption") && html.contains("Standards &amp; &lt;more&gt;"), "{html}");
    assert_eq!(html.matches("scope=\"row\"").count(), 2);
    // Three headings, and the two units.
    assert_eq!(html.matches("scope=\"col\"").count(), 5, "{html}");
    // 1.2345 with u = 0.021 (GUM 7.2.6: two digits of u), the missing one a dash.
    assert!(html.contains("1.234") && !html.contains("1.2345") && html.contains('–'), "{html}");
    // A page that typesets mathematics sees none here.
    assert!(!html.contains("$x$"), "{html}");
}

/// A curve that bends has a coefficient more than a line; each is called by its own name.
#[test]
fn every_coefficient_is_shown_under_its_own_name() {
    let (_folder, analysis) = demo();
    let mut calibration = analysis.calibration("2-propanol").unwrap();
    calibration.coefficients.push(vialbook::results::Coefficient { name: "quadratic".into(), value: 0.25 });
    calibration.standard_errors.push(None);
    let text = calibration.bundle().text().to_owned();
    for name in ["intercept", "slope", "quadratic"] {
        assert_eq!(text.lines().filter(|l| l.starts_with(name)).count(), 1, "{name}: {text}");
    }
}

#[test]
fn a_long_table_says_what_it_leaves_out() {
    let table = Table::new("").column(Column::numbers("x", "", (0..1000).map(f64::from))).show_rows(9);
    let text = table.to_string();
    assert!(text.contains("… 991 more rows") && text.contains("999"), "{text}");
    assert!(text.lines().count() < 15);
    well_formed(&table.to_html());
}
