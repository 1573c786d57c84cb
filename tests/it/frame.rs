//! Data frames: what comes in comes out, and groups agree with certified values.

use vialbook::prelude::*;

fn shots() -> Frame {
    Table::new("Shots")
        .column(Column::text("sample", ["B", "A", "B", ""]))
        .measured("area", "mV·min", [Some(2.0), Some(1.234_567), None, Some(4.0)], [Some(0.2), Some(0.021), None, None])
        .column(Column::flags("accepted", [Some(true), Some(false), None, Some(true)]))
        .to_frame()
        .unwrap()
}

#[test]
fn verbs_keep_rows_together() {
    let frame = shots();
    assert_eq!(frame.names(), ["sample", "area", "area_u", "accepted"]);
    let sorted = frame.sort("area").unwrap();
    assert_eq!(sorted.column("sample").unwrap().words(), ["A", "B", "", "B"], "missing ones last");
    assert_eq!(sorted.column("area_u").unwrap().numbers_found(), [0.021, 0.2]);
    assert_eq!(frame.sort_descending("area").unwrap().column("area").unwrap().numbers_found(), [4.0, 2.0, 1.234_567]);
    let rows = |name: &str, is: Is| frame.filter(name, is).unwrap().height();
    assert_eq!(rows("area", Is::Above(2.0)), 1);
    assert_eq!(rows("area", Is::AtLeast(2.0)), 2);
    assert_eq!(rows("area", Is::Below(2.0)), 1);
    assert_eq!(rows("area", Is::AtMost(2.0)), 2);
    assert_eq!(rows("area", Is::Between(1.0, 2.0)), 2);
    assert_eq!(rows("area", Is::Missing), 1);
    assert_eq!(rows("sample", Is::text("B")), 2);
    assert_eq!(rows("sample", Is::one_of(&["A", "B"])), 3);
    assert_eq!(rows("sample", Is::Known), 3);
    assert_eq!(rows("accepted", Is::Yes), 2);
    assert_eq!(rows("accepted", Is::No), 1);
    assert_eq!(frame.head(2).height(), 2);
}

/// GUM 7.2.6: digits follow the uncertainty, also where that column is not shown.
#[test]
fn a_number_keeps_its_uncertainty_when_alone() {
    let shown = shots().select(&["area"]).unwrap().sort("area").unwrap().to_string();
    assert!(shown.contains("1.235") && !shown.contains("1.2346"), "{shown}");
    assert!(shown.contains("2.00") && !shown.contains("2.000"), "{shown}");
}

#[test]
fn slips_are_sentences() {
    let frame = shots();
    let said = |result: Result<Frame>| result.unwrap_err().to_string();
    assert!(said(frame.select(&["aera"])).contains("\"area\""));
    assert!(said(frame.filter("sample", Is::Above(1.0))).contains("holds words"));
    assert!(said(frame.group(&[])).contains("no column"));
    assert!(said(frame.with_column(Column::numbers("x", "", [1.0]))).contains("4 rows"));
    let twice = Table::new("").column(Column::numbers("x", "", [1.0])).column(Column::numbers("x", "", [2.0]));
    assert!(said(twice.to_frame()).contains("two columns"));
    assert!(frame.flasks("sample", "area", "area").unwrap_err().to_string().contains("Is::Known"));
    assert!(said(Frame::read_csv("no-such-file.csv")).contains("no-such-file.csv"));
}

#[test]
fn a_join_drops_no_row_of_the_first() {
    let known = Table::new("")
        .column(Column::text("sample", ["A", "C"]))
        .column(Column::numbers("area", "mV·min", [1.0, 9.0]))
        .column(Column::numbers("content", "mg/L", [5.0, 7.0]))
        .to_frame()
        .unwrap();
    let joined = shots().join(&known, &["sample"]).unwrap();
    assert_eq!(joined.names(), ["sample", "area", "area_u", "accepted", "area_other", "content"]);
    assert_eq!(joined.column("sample").unwrap().words(), ["B", "A", "B", ""]);
    assert_eq!(joined.column("content").unwrap().numbers_found(), [5.0]);
    assert_eq!(joined.column("content").unwrap().unit, "mg/L");
}

/// NIST StRD, univariate summary statistics, NumAcc3 (average difficulty): mean 1000000.2, standard deviation 0.1, both
/// exact; 1001 values, the first 1000000.2, then 1000000.1 and 1000000.3 in turn.
#[test]
fn groups_agree_with_certified_values() {
    let values = (0..1001).map(|i| match i {
        0 => 1_000_000.2,
        i if i % 2 == 1 => 1_000_000.1,
        _ => 1_000_000.3,
    });
    let frame = Table::new("NumAcc3")
        .column(Column::text("of", (0..1001).map(|_| "all")))
        .column(Column::numbers("y", "", values))
        .to_frame()
        .unwrap();
    let grouped = frame.group(&["of"]).unwrap();
    assert_eq!(grouped.names(), ["of", "n", "y", "y_sd"]);
    let cell = |name: &str| grouped.column(name).unwrap().numbers_found()[0];
    assert_eq!(cell("n"), 1001.0);
    assert!((cell("y") - 1_000_000.2).abs() < 1e-8, "{}", cell("y"));
    assert!((cell("y_sd") - 0.1).abs() < 1e-9, "{}", cell("y_sd"));
}

#[test]
fn groups_are_in_order_of_appearance_and_single_ones_have_no_scatter() {
    let grouped = shots().group(&["sample"]).unwrap();
    assert_eq!(grouped.column("sample").unwrap().words(), ["B", "A", ""]);
    assert_eq!(grouped.column("n").unwrap().numbers_found(), [2.0, 1.0, 1.0]);
    assert!(grouped.column("area_sd").unwrap().numbers_found().is_empty());
}

#[test]
fn what_is_written_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("shots.csv");
    let frame = shots();
    frame.to_csv(&path).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap().lines().next().unwrap(), "sample,area,area_u,accepted");
    let read = Frame::read_csv(&path).unwrap();
    for name in frame.names() {
        assert_eq!(read.column(&name).unwrap().values, frame.column(&name).unwrap().values, "{name}");
    }
}

#[test]
fn every_list_of_results_is_a_frame() {
    let folder = tempfile::tempdir().unwrap();
    let study = Study::demo(folder.path().join("demo")).unwrap();
    let analysis = study.analyse().unwrap();
    let results = analysis.results();
    let frames = [
        study.to_frame().unwrap(),
        results.peaks.to_frame().unwrap(),
        results.findings.to_frame().unwrap(),
        results.amounts.to_frame().unwrap(),
        results.calibrations.to_frame().unwrap(),
        results.runs.to_frame().unwrap(),
        analysis.calibration("2-propanol").unwrap().to_frame().unwrap(),
        study.run("level-3-1").unwrap().find_peaks(&Detect::default()).unwrap().to_frame().unwrap(),
    ];
    for frame in &frames {
        assert!(frame.height() > 0 && frame.width() > 3, "{frame:?}");
        assert_eq!(frame.table().to_html(), frame.bundle().html());
    }
    // Mean of the shots of each flask: as many as flasks that were injected.
    let by_flask = frames[5].filter("accepted", Is::Yes).unwrap().group(&["sample", "preparation"]).unwrap();
    assert!(by_flask.height() > 10, "{by_flask}");
}
