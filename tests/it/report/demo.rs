//! The demo's report held to the outside: its numbers are those of results.json, and it holds what a marker looks for.

use vialbook::Study;
use vialbook::results::Results;

use super::{Done, out, text_of, typesetter};

/// The numbers of a line that begins with these words, in order: minus and dots of print, powers of ten, no marks.
fn numbers(line: &str) -> Vec<(f64, f64)> {
    let line = line.replace('\u{2212}', "-");
    line.split_whitespace()
        .filter_map(|word| {
            let (mantissa, power) = word.split_once('×').map_or((word, 0), |(m, _)| (m, 0));
            let value: f64 = mantissa.parse().ok()?;
            let places = mantissa.split_once('.').map_or(0, |(_, d)| d.len()) as i32;
            // Half a step of the last digit printed; whole numbers of four and more digits may end in rounded zeros.
            let zeros = if places == 0 {
                mantissa.trim_start_matches('-').bytes().rev().take_while(|b| *b == b'0').count() as i32
            } else {
                0
            };
            Some((value, 0.5 * 10f64.powi(power + zeros - places)))
        })
        .collect()
}

#[track_caller]
fn is_printed(line: &str, wanted: f64, what: &str) {
    let found = numbers(line);
    assert!(found.iter().any(|(v, half)| (v - wanted).abs() <= half * 1.000_001), "{what} {wanted} is not in: {line}");
}

/// The lines below a caption up to the next empty one.
fn table<'a>(text: &'a str, caption: &str) -> Vec<&'a str> {
    let lines = text.lines().skip_while(|l| !l.contains(caption)).skip(1);
    lines.take_while(|l| !l.trim_start().starts_with("Table ")).take(60).collect()
}

#[track_caller]
fn row<'a>(table: &[&'a str], begins: &[&str]) -> &'a str {
    let fits = |l: &&&str| begins.iter().all(|b| l.contains(b));
    table.iter().find(fits).copied().unwrap_or_else(|| panic!("no row with {begins:?} in {table:?}"))
}

/// A marker's list (course guides to formal laboratory reports, common practice): each by what the page shows.
const LOOKED_FOR: &[(&str, &[&str])] = &[
    ("title, author, place, date", &["May the recovered eluent", "a simulated laboratory", "2026-03-13"]),
    ("abstract", &["Abstract"]),
    ("aim in the introduction", &["Introduction", "Both contents"]),
    ("numbered equations", &["(1)", "(2)", "(3)"]),
    ("instrument and column", &["Instrument, column", "0.53", "photo-ionisation"]),
    ("conditions", &["Programme", "Temperature / °C", "Hold / min"]),
    ("solutions and how they were made", &["Solutions: how each was made"]),
    ("order of injections", &["All injections in their order"]),
    ("captions of tables with units", &["Table 1.", "mV·min"]),
    ("captions of figures", &["Figure 1.", "Figure 2."]),
    ("axis labels with units", &["time / min", "signal / mV"]),
    ("equation of the fit", &["The line for isopropyl acetate is y = "]),
    ("R squared, and what it does not say", &["no test of linearity"]),
    ("residuals", &["residuals: they"]),
    ("standard errors of slope and intercept", &["standard error"]),
    ("sample calculation, substituted", &["Sample calculation", "Content from the line."]),
    ("one calculation of each kind", &["Resolution.", "Slope and intercept.", "Detection limit.", "Dilution."]),
    ("uncertainty with level and factor", &["k = ", "95 %"]),
    ("uncertainty budget", &["Uncertainty budget of"]),
    ("detection limit", &["detection limit"]),
    ("comparison with a known value", &["found against known content"]),
    ("checks of fitness", &["What was checked:"]),
    ("safety", &["safety data sheet", "sharps container", "H225"]),
    ("discussion and conclusion", &["Discussion", "Conclusion"]),
    ("references", &["References", "JCGM 100:2008"]),
    ("raw data", &["SHA-256", "traces/"]),
];

#[test]
fn the_demos_report_holds_its_numbers_and_what_a_marker_looks_for() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let folder = tempfile::tempdir()?;
    let study = folder.path().join("demo");
    vialbook::simulate::recovered_eluent(vialbook::simulate::DEMO_SEED).write_study(&study)?;
    let analysis = Study::open(&study)?.analyse()?;
    let report = analysis.report()?.with_typesetter(typesetter);
    let path = out("demo.pdf");
    let saved = report.save(&path)?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    let Some(text) = text_of(&path) else { return Ok(()) };
    let squeezed = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for (what, shown) in LOOKED_FOR {
        for part in *shown {
            assert!(squeezed.contains(part), "{what}: the report does not say \"{part}\"");
        }
    }
    // Every figure is spoken of outside its caption.
    let figures = report.context().figures.len();
    for n in 1..=figures {
        let named =
            squeezed.matches(&format!("Figure {n} ")).count() + squeezed.matches(&format!("Figure {n}.")).count();
        assert!(named >= 2, "figure {n} is shown and not spoken of");
    }
    the_numbers_are_those_of(analysis.results(), &text);
    Ok(())
}

fn the_numbers_are_those_of(results: &Results, text: &str) {
    let amounts = table(text, "Amounts found, with standard uncertainty");
    let mut compared = 0;
    for a in results.amounts.iter().filter(|a| a.kind == "sample") {
        let line = row(&amounts, &[&format!("{}, {}", a.compound, a.quantity)]);
        is_printed(line, a.value, "value");
        if let Some(u) = a.u {
            is_printed(line, u, "u");
        }
        for end in a.interval.iter().flatten() {
            is_printed(line, *end, "end of the interval");
        }
        compared += 1;
    }
    for c in &results.calibrations {
        let points = table(text, &format!("Flasks of the calibration for {}.", c.compound));
        for p in &c.points {
            let line = row(&points, &[&p.label]);
            for (what, wanted) in [("x", p.x), ("y", p.y), ("u(y)", p.y_u)] {
                is_printed(line, wanted, what);
            }
            for (what, wanted) in [("content calculated back", p.back_calculated), ("deviation", p.deviation_percent)] {
                if let Some(wanted) = wanted {
                    is_printed(line, wanted, what);
                }
            }
            compared += 1;
        }
    }
    // Peaks of every run, from the appendix: a run's name stands in its first row.
    let shown: Vec<&str> = text.lines().filter(|l| l.contains("Peaks of run ")).collect();
    for caption in shown {
        let run = caption.split("Peaks of run ").nth(1).and_then(|r| r.split(' ').next()).unwrap_or_default();
        let rows = table(text, &format!("Peaks of run {run} "));
        for p in results.peaks.iter().filter(|p| p.run == run && p.retention_time_min.is_some() && p.compound.is_some())
        {
            let line = row(&rows, &[p.compound.as_deref().unwrap_or_default()]);
            for (what, wanted) in [
                ("retention time", p.retention_time_min),
                ("area", Some(p.area)),
                ("u(A)", Some(p.area_u)),
                ("height", p.height),
                ("width", p.width_half_min),
                ("resolution", p.resolution_half_height),
            ] {
                if let Some(wanted) = wanted {
                    is_printed(line, wanted, what);
                }
            }
            compared += 1;
        }
    }
    assert!(compared > 30, "only {compared} rows were compared");
}

#[test]
fn the_comparison_of_numbers_can_fail() {
    assert_eq!(numbers("x −0.25 1690 a 2.10"), [(-0.25, 0.005), (1690.0, 5.0), (2.1, 0.005)]);
    let off = std::panic::catch_unwind(|| is_printed("row 0.4868 0.0037", 0.48674, "value"));
    assert!(off.is_err(), "a number that is off by more than its last digit passes");
    is_printed("row 0.4868 0.0037", 0.486_83, "value");
}
