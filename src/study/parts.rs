//! An amount whose uncertainty is a list of independent parts: no curve carries it.

use crate::estimate::{Estimate, significant, welch_satterthwaite};
use crate::results::{AmountResult, BudgetEntry};
use crate::units::ContentUnit;

/// One part of an uncertainty.
pub(super) struct Part {
    pub(super) source: String,
    pub(super) scope: &'static str,
    pub(super) evaluation: &'static str,
    /// Standard uncertainty in the unit of the amount.
    pub(super) u: f64,
    /// Degrees of freedom; `None` where there is no limit.
    pub(super) dof: Option<f64>,
}

impl Part {
    pub(super) fn new(
        source: impl Into<String>,
        scope: &'static str,
        evaluation: &'static str,
        u: f64,
        dof: Option<f64>,
    ) -> Part {
        Part { source: source.into(), scope, evaluation, u, dof }
    }
}

/// A value, what it is of, and its parts (`None`: its uncertainty is not known) as an amount, in words and numbers;
/// sample and compound are left to be filled in.
pub(super) fn amount(value: f64, of: &str, parts: Option<&[Part]>, unit: ContentUnit, level: f64) -> AmountResult {
    let listed = parts.unwrap_or_default();
    let variance: f64 = listed.iter().map(|p| p.u * p.u).sum();
    let dof = welch_satterthwaite(&listed.iter().map(|p| (p.u, p.dof.unwrap_or(f64::INFINITY))).collect::<Vec<_>>());
    let u = parts.map(|_| variance.sqrt());
    let estimate = Estimate::new(value, u.unwrap_or(f64::NAN), dof, unit.symbol);
    let (interval, text) = match u {
        Some(_) => (estimate.interval(level).map(|x| Some(x).filter(|x| x.is_finite())), estimate.text(level)),
        None => ([None, None], format!("{} {} (uncertainty not known)", significant(value, 3), unit.symbol)),
    };
    AmountResult {
        sample: String::new(),
        kind: String::new(),
        compound: String::new(),
        quantity: unit.quantity.words().to_owned(),
        of: of.to_owned(),
        value,
        u,
        dof: u.and(Some(dof)).filter(|d| d.is_finite()),
        coverage_probability: level,
        interval,
        unit: unit.symbol.to_owned(),
        n_preparations: 0,
        n_injections: 0,
        detected: true,
        critical_value: None,
        detection_limit: None,
        in_flask: None,
        dilution_applied: 1.0,
        expected: None,
        recovery_percent: None,
        text,
        budget: listed
            .iter()
            .map(|p| BudgetEntry {
                source: p.source.clone(),
                scope: p.scope.to_owned(),
                evaluation: p.evaluation.to_owned(),
                contribution: p.u,
                share: if variance > 0.0 { p.u * p.u / variance } else { 0.0 },
                dof: p.dof,
            })
            .collect(),
        monte_carlo: None,
        notes: Vec::new(),
    }
}
