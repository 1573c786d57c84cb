//! Worked examples: questions in one file, answers in another, from the same source.

use std::process::Command;

use vialbook::study::Task;

use super::{Done, attachments, fixture, out, text_of, typesetter};

#[test]
fn answers_stand_in_the_second_file_alone() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let mut f = exact()?;
    f.config.tasks = vec![Task {
        text: "Which peak is *octane*, and how do you know?".into(),
        hint: Some("Look at [@tab:peaks].".into()),
        answer: Some("The fourth: $t_R = 3.68 \"min\"$, as in the standards.".into()),
        points: Some(3),
    }];
    let answer = f.results.amounts[0].text.clone();
    let short: String = answer.chars().filter(|c| c.is_ascii_digit() || *c == '.').take(5).collect();
    let report =
        f.report().with_template("worked-example").with_typesetter(typesetter).with_attachments(attachments()?);
    let (questions, answers) = (out("tasks.pdf"), out("tasks-answers.pdf"));
    for (path, with) in [(&questions, false), (&answers, true)] {
        let saved = report.with_answers(with).save(path)?;
        assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    }
    let (Some(asked), Some(told)) = (text_of(&questions), text_of(&answers)) else { return Ok(()) };
    for both in [
        "Which peak is octane",
        "(3 points)",
        "Resolution",
        "Slope and intercept",
        "Dilution",
        "Detection limit",
        "Hint.",
    ] {
        assert!(asked.contains(both) && told.contains(both), "not in both: {both}");
    }
    for hidden in [short.as_str(), "The fourth", "Answer.", "The line is y", "Results of the program"] {
        assert!(told.contains(hidden), "no answer: {hidden}");
        assert!(!asked.contains(hidden), "the questions tell the answer: {hidden}");
    }
    // What is attached tells no answers either.
    let Ok(list) = Command::new("pdfdetach").arg("-list").arg(&questions).output() else { return Ok(()) };
    let list = String::from_utf8_lossy(&list.stdout).into_owned();
    assert!(!list.contains("results.json") && !list.contains("study.toml"), "{list}");
    Ok(())
}

/// The fixture's figures are rounded and its line weighs by the responses (see ORIGIN.md): here resolutions are those
/// of the IUPAC formula (Pure Appl. Chem. 65 (1993) 819), and the line is that of the textbook's sums of squares.
fn exact() -> Result<super::Fixture, Box<dyn std::error::Error>> {
    let mut f = fixture()?;
    let mut before: Option<(String, f64, f64)> = None;
    for p in &mut f.results.peaks {
        let (Some(t), Some(w)) = (p.retention_time_min, p.width_half_min) else { continue };
        p.resolution_half_height = before.as_ref().filter(|b| b.0 == p.run).map(|b| 1.18 * (t - b.1) / (w + b.2));
        before = Some((p.run.clone(), t, w));
    }
    let c = &mut f.results.calibrations[0];
    let points: Vec<_> = c.points.iter().filter(|p| p.excluded.is_none()).collect();
    let n = points.len() as f64;
    let (mx, my) = (points.iter().map(|p| p.x).sum::<f64>() / n, points.iter().map(|p| p.y).sum::<f64>() / n);
    let sxy: f64 = points.iter().map(|p| (p.x - mx) * (p.y - my)).sum();
    let b = sxy / points.iter().map(|p| (p.x - mx).powi(2)).sum::<f64>();
    (c.coefficients[0].value, c.coefficients[1].value) = (my - b * mx, b);
    c.weights = "equal".into();
    Ok(f)
}

#[test]
fn calculations_arrive_at_the_results_own_numbers_or_are_left_out() -> Done {
    // What does not arrive is not shown: the fixture as it is has neither line nor resolution.
    let f = fixture()?.report();
    let kinds: Vec<&str> = f.context().calculations.iter().map(|c| c.key.as_str()).collect();
    assert_eq!(kinds, ["ratio", "amount", "dilution", "uncertainty", "limit"]);
    let f = exact()?;
    let b = f.results.calibrations[0].coefficients[1].value;
    let report = f.report();
    let all = &report.context().calculations;
    let kinds: Vec<&str> = all.iter().map(|c| c.key.as_str()).collect();
    assert_eq!(kinds[..3], ["resolution", "ratio", "line"]);
    for c in all {
        assert!(!c.steps.is_empty() && c.steps.iter().all(|s| !s.alt.is_empty()), "{c:?}");
    }
    let wanted = vialbook::estimate::significant(b, 6);
    assert!(all[2].steps[0].formula.contains(&wanted), "{} lacks {wanted}", all[2].steps[0].formula);
    Ok(())
}
