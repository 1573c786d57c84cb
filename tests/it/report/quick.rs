//! The record of a quick quantitation, comparisons, conclusions.

use vialbook::study::{Comparison, HandChange};
use vialbook::units::ContentUnit;

use super::{Done, fixture, out, text_of, typesetter};

#[test]
fn a_quick_quantitation_is_a_record_on_two_pages() -> Done {
    let Some(typesetter) = typesetter() else { return Ok(()) };
    let mut f = fixture()?;
    let r = &mut f.config.record;
    (r.customer, r.received, r.deviations) = (Some("N. N.".into()), Some("2026-03-01".into()), Some("none".into()));
    r.changes = vec![HandChange {
        what: "end of a peak".into(),
        by: "A. A.".into(),
        on: Some("2026-03-03".into()),
        why: "it ran into its neighbour".into(),
    }];
    for paper in ["a4", "us-letter"] {
        f.config.report.paper = Some(paper.to_owned());
        let mut again = fixture()?;
        again.config = f.config.clone();
        let path = out(&format!("quick-{paper}.pdf"));
        let report = again.report().with_template("quick-quantitation").with_typesetter(typesetter.clone());
        let saved = report.save(&path)?;
        assert!(saved.remarks.is_empty(), "{:?}", saved.remarks);
        let Some(text) = text_of(&path) else { return Ok(()) };
        // What ISO/IEC 17025:2017, 7.8.2 and 7.8.6 list.
        for part in [
            "Report R-",
            "page 1 of 2",
            "page 2 of 2",
            "End of report R-",
            "customer",
            "received",
            "2026-03-01",
            "items tested",
            "relate to the items tested alone",
            "method",
            "Deviations from the method: none",
            "Decision rule",
            "Changed by hand: end of a peak (by A. A., 2026-03-03; reason: it ran into its neighbour)",
            "was rejected: needle bent",
            "reviewed by",
            "approved by",
            "ISO/IEC 17025:2017",
        ] {
            assert!(text.contains(part), "{paper}: the record does not say \"{part}\"");
        }
    }
    Ok(())
}

#[test]
fn an_amount_is_compared_with_a_reference_value() -> Done {
    let mut f = fixture()?;
    let a = &mut f.results.amounts[0];
    // Invented numbers whose E_n is worked out by hand: (20 − 19)/√(0.6² + (2·0.4)²) = 1.
    (a.value, a.u, a.dof, a.interval) = (20.0, Some(0.3), None, [Some(19.4), Some(20.6)]);
    f.config.comparisons = vec![Comparison {
        sample: a.sample.clone(),
        compound: a.compound.clone(),
        value: 19.0,
        u: 0.4,
        unit: ContentUnit::parse(&a.unit)?,
        origin: "invented".into(),
        target_sd: None,
        target_origin: None,
    }];
    let mut lost = f.config.comparisons[0].clone();
    lost.compound = "nothing".into();
    f.config.comparisons.push(lost);
    let report = f.report();
    let rows = &report.context().comparisons;
    assert_eq!(rows.len(), 1);
    // u of the difference: √(0.3² + 0.4²) = 0.5.
    let seen = (rows[0].difference.as_str(), rows[0].difference_u.as_str(), rows[0].e_n.as_str(), rows[0].agrees);
    assert_eq!(seen, ("1.00", "0.50", "1.00", Some(true)));
    assert!(report.missing().iter().any(|m| m.contains("of nothing in")));
    Ok(())
}

#[test]
fn conclusions_state_the_numbers_and_can_be_left_out() -> Done {
    let mut f = fixture()?;
    for a in f.results.amounts.iter_mut().filter(|a| a.compound == "2-propanol") {
        a.detected = false;
    }
    let text = f.results.amounts[0].text.clone();
    let report = f.report();
    let all = report.context().conclusions.join("\n");
    let typographic = text.replace('-', "\u{2212}");
    assert!(all.contains(&typographic), "{all}");
    assert!(all.contains("2-propanol was not detected in recovered eluent; the detection limit is"), "{all}");
    assert!(all.contains("By the rule fixed beforehand"), "{all}");
    assert!(all.contains("is in doubt and limits the claim"), "{all}");
    assert!(report.without_conclusions().context().conclusions.is_empty());
    let mut f = fixture()?;
    f.config.report.conclusions = Some(false);
    assert!(f.report().context().conclusions.is_empty());
    Ok(())
}
