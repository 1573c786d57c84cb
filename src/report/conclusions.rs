//! Conclusions that follow: sentences that state what the numbers support, and nothing else.

use crate::estimate::typographic;
use crate::results::{AmountResult, Results, Severity};

use super::build::is_decision;
use super::comparison::ComparisonRow;
use super::context::DecisionRow;
use super::number::significant;
use super::text::name;

/// Sentences about what was found, decided, compared, and what limits the claim.
pub(super) fn conclusions(results: &Results, decisions: &[DecisionRow], comparisons: &[ComparisonRow]) -> Vec<String> {
    let mut out = Vec::new();
    let mut seen: Vec<(&str, &str)> = Vec::new();
    for a in results.amounts.iter().filter(|a| a.kind == "sample") {
        // Each content once, in the quantity stated first.
        if !seen.contains(&(&a.sample, &a.compound)) {
            seen.push((&a.sample, &a.compound));
            out.push(amount(a));
        }
    }
    for d in decisions {
        let outcome = match d.verdict.as_str() {
            "within" => "lies within its limit",
            "outside" => "lies outside its limit",
            _ => "cannot be told to lie within or outside its limit",
        };
        let next = d.next.as_deref().map(|n| format!(" To do: {}", stop(n))).unwrap_or_default();
        out.push(format!(
            "By the rule fixed beforehand, {} in {} {outcome} ({}): {}{next}",
            d.what,
            d.place,
            d.limit,
            stop(&d.why)
        ));
    }
    out.extend(comparisons.iter().map(|c| c.sentence.clone()));
    for (severity, words) in [
        (Severity::Fail, "fails, and the claim does not hold as it stands"),
        (Severity::Warn, "is in doubt and limits the claim"),
    ] {
        for f in results.findings.iter().filter(|f| f.severity == severity && !is_decision(f)) {
            out.push(format!("A check {words}: {} ({}): {}", f.what, name(&f.place), stop(&typographic(&f.why))));
        }
    }
    if !out.is_empty() {
        let simulated =
            if results.study.simulated { " The runs are simulated: nothing is said about a real liquid." } else { "" };
        out.push(format!(
            "All this relates to the flasks that were injected alone; a name rests on agreement of retention times.{simulated}"
        ));
    }
    out
}

fn amount(a: &AmountResult) -> String {
    let (compound, sample) = (name(&a.compound), name(&a.sample));
    if a.detected {
        return format!("The {} of {compound} in {sample} ({}) is {}.", a.quantity, a.of, typographic(&a.text));
    }
    match a.detection_limit {
        Some(limit) => format!(
            "{} was not detected in {sample}; the detection limit is {} {} (as {}).",
            capital(&compound),
            significant(limit, 2),
            a.unit,
            a.quantity
        ),
        None => format!("{} was not detected in {sample}; no detection limit is known.", capital(&compound)),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|c| c.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

fn stop(text: &str) -> String {
    if text.ends_with('.') { text.to_owned() } else { format!("{text}.") }
}
