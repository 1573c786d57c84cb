//! The author's words: Markdown with formulas, citations, references, pictures, from a study folder.

use super::{Done, fixture, out, text_of, typesetter, write};

const DISCUSSION: &str = r#"
The content lies **well inside** the limits, see [@tab:amounts] and [@fig:budget]. With H~2~O, 10^-3^ and a ~ b:

# What the uncertainty rests on

1. flasks, $u^2(c) = sum_i c_i^2 u^2(x_i)$ [@gum, 5.1.2];
2. shots, as *others* found [@vanDeemter1956; @currie1995].

$$ E_n = (x - x_"ref") / sqrt(U^2 + U_"ref"^2) $$

Table: Three ways, compared.

| Way | Found / % |
|:--|--:|
| this work | 19.91 |
| `density` | 20.1 |

> A quotation, with a note.[^1]

![Sketch of the bench: oven, detector, gas line](setup.svg "The bench. Source: the author.")

[Follow me](https://example.org/a?b=1), but not [me](javascript:alert(1)).

[^1]: The note, with a formula $alpha$.
"#;

#[test]
fn markdown_is_set_with_formulas_citations_and_pictures() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let dir = tempfile::tempdir()?;
    write(&dir.path().join("words/discussion.md"), DISCUSSION)?;
    write(
        &dir.path().join("words/setup.svg"),
        "<svg xmlns='http://www.w3.org/2000/svg' width='90' height='30'><rect width='80' height='20' fill='#1d4e79'/></svg>",
    )?;
    write(
        &dir.path().join("own.bib"),
        "@article{vanDeemter1956, author = {van Deemter, J. J.}, title = {Longitudinal diffusion $x$}, journal = {Chem. Eng. Sci.}, year = {1956}, volume = {5}, pages = {271--289}}",
    )?;
    // The fixture's own discussion gives way to the file.
    let report = fixture()?.report().discussion("").with_study_folder(dir.path(), Some("own.bib"))?;
    let slips: Vec<String> = report.missing().into_iter().filter(|m| m.contains("discussion")).collect();
    assert!(slips.is_empty(), "{slips:?}");
    let path = out("words.pdf");
    let saved = report.with_typesetter(typesetter).save(&path)?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    let Some(text) = text_of(&path) else { return Ok(()) };
    for seen in [
        "What the uncertainty rests on",
        "Three ways, compared.",
        "The bench. Source: the author.",
        "A quotation, with a note.",
        "The note, with a formula",
        "Longitudinal Diffusion",
        "Chem. Eng. Sci.",
        "me (javascript:alert(1))",
    ] {
        assert!(text.contains(seen), "not printed: {seen}");
    }
    let squeezed = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(squeezed.contains("see Table") && squeezed.contains("and Figure"), "references are not resolved");
    assert!(!text.contains("**") && !text.contains("[@"), "Markdown was printed as typed");
    Ok(())
}

#[test]
fn slips_are_marked_in_the_text_and_listed() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let report = fixture()?.report().conclusion(
        "Formula $#read(\"/etc/passwd\")$ and $frac(1)$, [@nobody], [@fig:none], ![x](../y.png).\n\nSecond $x_1$.",
    );
    let missing = report.missing();
    let slips: Vec<&String> = missing.iter().filter(|m| m.starts_with("In the conclusion,")).collect();
    assert_eq!(slips.len(), 5, "{slips:?}");
    assert!(slips[0].contains("a hash begins code") && slips[0].contains("line 1"), "{slips:?}");
    let path = out("slips.pdf");
    report.with_typesetter(typesetter).save(&path)?;
    let Some(text) = text_of(&path) else { return Ok(()) };
    let squeezed = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(squeezed.contains("#read(\"/etc/passwd\")") && squeezed.contains("[@nobody]"));
    assert!(!text.contains("root:x:0"));
    Ok(())
}

/// Every name that a formula may use is one that the typesetter knows, alone, with arguments, and with indices.
#[test]
fn every_symbol_of_formulas_is_known_to_the_typesetter() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let source =
        std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report/words/symbols.rs"))?;
    let quoted = |text: &str| text.split('"').skip(1).step_by(2).map(str::to_owned).collect::<Vec<_>>();
    let mut formulas = String::new();
    for line in source.lines().filter(|l| l.trim_start().starts_with('"')) {
        for name in quoted(line) {
            formulas.push_str(&format!("${name}$ ${name}(x)$ ${name}_1^2$\n\n"));
        }
    }
    for line in source.lines().filter(|l| l.trim_start().starts_with("(\"")) {
        for part in line.split("), (") {
            let name = quoted(part).into_iter().next().ok_or("a function without a name")?;
            let least: usize = part.split(", ").nth(1).and_then(|n| n.parse().ok()).ok_or("no count")?;
            formulas.push_str(&format!("${name}({})$\n\n", vec!["x"; least].join(", ")));
        }
    }
    let report = fixture()?.report().discussion(&formulas);
    let slips: Vec<String> = report.missing().into_iter().filter(|m| m.contains("discussion")).collect();
    assert!(slips.is_empty(), "{slips:?}");
    assert!(formulas.matches('$').count() > 800);
    let saved = report.with_typesetter(typesetter).save(out("symbols.pdf"))?;
    assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
    Ok(())
}

#[test]
fn a_broken_picture_is_named() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let dir = tempfile::tempdir()?;
    write(
        &dir.path().join("words/bad.svg"),
        "<svg xmlns='http://www.w3.org/2000/svg'><image href='/etc/hostname'/></svg>",
    )?;
    std::fs::write(dir.path().join("cut.png"), b"\x89PNG\r\n\x1a\nrest")?;
    for (text, named) in [("![a](bad.svg \"b\")", "words/bad.svg"), ("![a](cut.png \"b\")", "cut.png")] {
        write(&dir.path().join("words/conclusion.md"), text)?;
        let report = fixture()?.report().with_study_folder(dir.path(), None)?.with_typesetter(typesetter.clone());
        let e = report.save(out("broken.pdf")).err().ok_or("a broken picture was set")?.to_string();
        assert!(e.contains(named) && e.contains("a picture must be whole"), "{e}");
    }
    Ok(())
}
