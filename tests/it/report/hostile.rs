//! Hostile text in documents that are really set, one for each template.

use super::{Done, data, fixture, out, text_of, typesetter, write};

#[test]
fn every_template_sets_all_hostile_texts_at_once() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let all: Vec<String> = serde_json::from_str(&std::fs::read_to_string(data("hostile.json"))?)?;
    assert!(all.len() >= 60);
    let joined = all.iter().filter(|s| s.len() < 1_000).cloned().collect::<Vec<_>>().join("\n\n");
    let dir = tempfile::tempdir()?;
    let bib = format!(
        "@misc{{own, title = {{{}}}, author = {{{}}}, year = 2020, url = {{https://example.org/#read}}}}",
        r#"$#read("/etc/passwd")$ # \$ & _ \alpha"#, "#panic and Others"
    );
    write(&dir.path().join("own.bib"), &bib)?;
    for template in vialbook::report::template_names() {
        let mut f = fixture()?;
        let c = &mut f.config;
        (c.title, c.authors) = (joined.clone(), vec![joined.clone()]);
        (c.question, c.institution) = (Some(joined.clone()), Some(joined.clone()));
        c.notes = all.clone();
        let r = &mut c.record;
        (r.number, r.customer, r.deviations) = (Some(joined.clone()), Some(joined.clone()), Some(joined.clone()));
        c.tasks = vec![vialbook::study::Task {
            text: joined.clone(),
            hint: Some(joined.clone()),
            answer: Some(joined.clone()),
            points: None,
        }];
        let report = f.report().with_template(&template).with_answers(true).with_typesetter(typesetter.clone());
        let report = report.abstract_text(&joined).introduction(&joined).experimental(&joined).safety(&joined);
        let report = report.discussion(&format!("Cited [@own]. {joined}")).conclusion(&joined);
        let path = out(&format!("hostile-{template}.pdf"));
        let saved = report.with_study_folder(dir.path(), Some("own.bib"))?.save(&path)?;
        assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
        let Some(text) = text_of(&path) else { return Ok(()) };
        assert!(!text.contains("root:x:0") && !text.contains("daemon:"), "{template}: a file of the machine was read");
        let squeezed: String = text.chars().filter(|c| !c.is_whitespace()).collect();
        for seen in ["#read(\"/etc/passwd\")", "#panic(\"x\")", "@{title}@", "[U+202E]"] {
            assert!(squeezed.contains(seen), "{template}: not printed as text: {seen}");
        }
    }
    Ok(())
}
