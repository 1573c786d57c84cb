//! Amounts against reference values: the difference with its uncertainty, and E_n.

use serde::Serialize;

use crate::estimate::Estimate;
use crate::quantify::{ClaimedU, ReferenceValue, compare};
use crate::results::{AmountResult, Results};
use crate::study::{Comparison, StudyConfig};
use crate::units::ContentUnit;

use super::number::{MISSING, decimals, dof, with_u};
use super::text::name;

/// An amount compared with a reference value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ComparisonRow {
    /// Compound and sample.
    pub what: String,
    /// The quantity in words.
    pub quantity: String,
    /// Unit of all numbers.
    pub unit: String,
    /// What was found.
    pub found: String,
    /// Its standard uncertainty.
    pub found_u: String,
    /// The reference value.
    pub reference: String,
    /// Its standard uncertainty.
    pub reference_u: String,
    /// Where it comes from.
    pub origin: String,
    /// Found less reference.
    pub difference: String,
    /// Its standard uncertainty.
    pub difference_u: String,
    /// Its degrees of freedom.
    pub dof: String,
    /// Difference over the root of the sum of squares of both expanded uncertainties.
    pub e_n: String,
    /// True where |E_n| is at most 1; `null` where there is none.
    pub agrees: Option<bool>,
    /// The outcome as a sentence.
    pub sentence: String,
}

/// One row for each value of the study that an amount was found for.
///
/// E_n = (x − X)/√(U² + U_X²) with expanded uncertainties of about 95 %: for the amount half its interval, for the
/// reference twice its standard uncertainty (ISO 13528:2022, 9.7).
pub(super) fn comparisons(results: &Results, config: &StudyConfig) -> Vec<ComparisonRow> {
    config.comparisons.iter().filter_map(|c| found_for(results, c).map(|a| row(a, c))).collect()
}

/// The amount in the same quantity, once for all units of it.
pub(super) fn found_for<'a>(results: &'a Results, c: &Comparison) -> Option<&'a AmountResult> {
    let same = |a: &&AmountResult| {
        ContentUnit::parse(&a.unit).is_ok_and(|u| u.quantity == c.unit.quantity)
            && a.sample == c.sample
            && a.compound == c.compound
    };
    results.amounts.iter().find(same)
}

fn row(a: &AmountResult, c: &Comparison) -> ComparisonRow {
    let factor = ContentUnit::parse(&a.unit).and_then(|to| c.unit.in_units_of(to)).unwrap_or(1.0);
    let (reference, reference_u) = (c.value * factor, c.u * factor);
    let what = format!("{} in {}", name(&c.compound), name(&c.sample));
    let (reference_text, reference_u_text) = if reference_u > 0.0 {
        with_u(reference, reference_u)
    } else {
        (super::number::typed(reference), "0".to_owned())
    };
    let mut out = ComparisonRow {
        quantity: a.quantity.clone(),
        unit: a.unit.clone(),
        found: super::number::significant(a.value, 3),
        found_u: MISSING.to_owned(),
        reference: reference_text,
        reference_u: reference_u_text,
        origin: c.origin.clone(),
        difference: MISSING.to_owned(),
        difference_u: MISSING.to_owned(),
        dof: MISSING.to_owned(),
        e_n: MISSING.to_owned(),
        agrees: None,
        sentence: format!(
            "{what} has no standard uncertainty here, so that its difference from the reference says little."
        ),
        what,
    };
    let Some(u) = a.u.filter(|u| u.is_finite() && *u > 0.0) else { return out };
    (out.found, out.found_u) = with_u(a.value, u);
    let found = Estimate::new(a.value, u, a.dof.unwrap_or(f64::INFINITY), "");
    let half = match a.interval {
        [Some(low), Some(high)] => 0.5 * (high - low),
        _ => 2.0 * u,
    };
    let value = ReferenceValue { value: reference, u: reference_u, target_sd: c.target_sd.map(|s| s * factor) };
    let Ok(agreement) = compare(&found, half, &value) else { return out };
    let d = agreement.difference;
    (out.difference, out.difference_u) = with_u(d.value, d.standard_uncertainty);
    out.dof = dof(Some(d.dof));
    let e_n = agreement.e_n;
    if !e_n.is_finite() {
        return out;
    }
    out.e_n = decimals(e_n, 2);
    out.agrees = Some(e_n.abs() <= 1.0);
    out.sentence = format!(
        "The {} of {} differs from the reference value ({}) by {} {} with a standard uncertainty of {} {}; E_n is {}, so that the \
         two {} within their uncertainties.",
        out.quantity,
        out.what,
        out.origin,
        out.difference,
        out.unit,
        out.difference_u,
        out.unit,
        out.e_n,
        if e_n.abs() <= 1.0 { "agree" } else { "do not agree" }
    );
    if matches!(agreement.claim, ClaimedU::AboveTarget | ClaimedU::BelowReference) {
        out.sentence.push_str(&format!(" The uncertainty claimed is {}.", agreement.claim.words()));
    }
    out
}
