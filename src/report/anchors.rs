//! What the author's words may refer to: the figures and tables of the report, by keys that say what they hold.

use super::context::ReportContext;
use super::words::Anchor;

/// All figures and tables, with the labels that the templates give them.
pub(super) fn anchors(context: &ReportContext) -> Vec<Anchor> {
    let mut found = Vec::new();
    let mut add = |there: bool, key: String, label: String| {
        if there {
            let words = if key.starts_with("fig:") { "figure" } else { "table" };
            found.push(Anchor { words: format!("{words} \"{}\"", &key[4..]), key, label });
        }
    };
    for (i, figure) in context.figures.iter().enumerate() {
        add(true, format!("fig:{}", figure.id), format!("fig-{i}"));
    }
    let e = &context.experimental;
    let is_check = |a: &&super::AmountRow| a.recovery.is_some();
    for (there, name) in [
        (!e.groups.is_empty(), "instrument"),
        (!e.compounds.is_empty(), "compounds"),
        (!e.solutions.is_empty(), "solutions"),
        (!e.injections.is_empty(), "injections"),
        (!context.amounts.iter().all(|a| a.recovery.is_some()), "amounts"),
        (context.amounts.iter().any(|a| is_check(&a)), "checks"),
        (!context.answer.decisions.is_empty(), "decision"),
        (!context.comparisons.is_empty(), "comparison"),
        (!context.findings.is_empty(), "findings"),
    ] {
        add(there, format!("tab:{name}"), format!("tab-{name}"));
    }
    for (i, table) in context.peak_tables.iter().enumerate() {
        add(true, format!("tab:peaks/{}", table.run), format!("tab-peaks-{i}"));
    }
    for (i, c) in context.calibrations.iter().enumerate() {
        add(true, format!("tab:fit/{}", c.compound), format!("tab-fit-{i}"));
        add(true, format!("tab:points/{}", c.compound), format!("tab-points-{i}"));
    }
    for (i, budget) in context.budgets.iter().enumerate() {
        add(true, format!("tab:budget/{}", budget.what), format!("tab-budget-{i}"));
    }
    found
}
