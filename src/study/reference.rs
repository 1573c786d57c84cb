//! Amounts beside the reference values that study.toml states.

use super::Study;
use crate::calibrate::horwitz_thompson;
use crate::estimate::Estimate;
use crate::quantify::{ReferenceValue, compare};
use crate::results::{AmountResult, ComparisonResult};
use crate::units::{ContentUnit, Quantity};

/// Where a target comes from that study.toml does not state.
const PREDICTED: &str = "Horwitz and Thompson";

impl Study {
    /// One for each value that an amount with an uncertainty was found for.
    pub(super) fn comparisons(&self, amounts: &[AmountResult]) -> Vec<ComparisonResult> {
        let mut all = Vec::new();
        for c in &self.config.comparisons {
            let unit = |a: &AmountResult| ContentUnit::parse(&a.unit).ok();
            let found = amounts.iter().find(|a| {
                a.sample == c.sample
                    && a.compound == c.compound
                    && unit(a).is_some_and(|u| u.quantity == c.unit.quantity)
            });
            let Some((a, to)) = found.and_then(|a| Some((a, unit(a)?))) else { continue };
            let Ok(factor) = c.unit.in_units_of(to) else { continue };
            let Some(u) = a.u else { continue };
            let predicted = (to.quantity == Quantity::MassFraction)
                .then(|| horwitz_thompson(c.value * c.unit.factor).ok())
                .flatten()
                .map(|relative| relative * c.value * factor);
            let target_sd = c.target_sd.map(|s| s * factor).or(predicted);
            let target_origin = match (c.target_sd, predicted) {
                (Some(_), _) => Some(c.target_origin.clone().unwrap_or_else(|| "study.toml".to_owned())),
                (None, Some(_)) => Some(PREDICTED.to_owned()),
                (None, None) => None,
            };
            let half = match a.interval {
                [Some(low), Some(high)] => 0.5 * (high - low),
                _ => 2.0 * u,
            };
            let reference = ReferenceValue { value: c.value * factor, u: c.u * factor, target_sd };
            let found = Estimate::new(a.value, u, a.dof.unwrap_or(f64::INFINITY), a.unit.clone());
            let Ok(agreement) = compare(&found, half, &reference) else { continue };
            all.push(ComparisonResult {
                sample: c.sample.clone(),
                compound: c.compound.clone(),
                unit: a.unit.clone(),
                value: a.value,
                u,
                reference: reference.value,
                reference_u: reference.u,
                origin: c.origin.clone(),
                difference: agreement.difference.value,
                difference_u: agreement.difference.standard_uncertainty,
                e_n: agreement.e_n,
                zeta: agreement.zeta,
                z: agreement.z,
                target_sd,
                target_origin,
                claimed_u: agreement.claim.words().to_owned(),
            });
        }
        all
    }
}
