//! The uncertainty budget of one amount.

use crate::calibrate::{Inverse, Scope};

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetLine {
    /// What it is.
    pub source: String,
    /// Where it arises.
    pub scope: Scope,
    /// "A" from statistics, "B" from other knowledge.
    pub evaluation: &'static str,
    /// Its contribution to the standard uncertainty, in the unit of the amount.
    pub contribution: f64,
    /// Its share of the variance, 0 to 1.
    pub share: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
}

/// The budget of a content, largest share first; empty without inference.
///
/// The contributions are those of the linearised uncertainty: their squares add up to u².
pub(super) fn budget(inverse: &Inverse) -> Vec<BudgetLine> {
    let total: f64 = inverse.contributions.iter().map(|c| c.u * c.u).sum();
    let mut lines: Vec<BudgetLine> = inverse
        .contributions
        .iter()
        .map(|c| BudgetLine {
            source: c.source.clone(),
            scope: c.scope,
            evaluation: if c.type_a { "A" } else { "B" },
            contribution: c.u,
            share: if total > 0.0 { c.u * c.u / total } else { 0.0 },
            dof: c.dof,
        })
        .collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    lines
}
