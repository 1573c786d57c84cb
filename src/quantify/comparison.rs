//! A result beside a reference value: difference, E_n, ζ, z, and whether the claimed uncertainty itself can be believed.

use crate::error::{Error, ErrorKind, Result};
use crate::estimate::Estimate;
use crate::numeric::{chi_squared_cdf, chi_squared_sf};

/// A reference value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReferenceValue {
    /// The value, in the result's unit.
    pub value: f64,
    /// Its standard uncertainty; 0 for a value that is true by definition.
    pub u: f64,
    /// Standard deviation that laboratories are expected to reach; `None` where none is set.
    pub target_sd: Option<f64>,
}

/// A result beside its reference value.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Found less reference.
    pub difference: Estimate,
    /// E_n = d/√(U² + U_ref²), U half the result's 95 % interval, U_ref = 2u_ref; satisfactory between -1 and 1.
    pub e_n: f64,
    /// ζ = d/√(u² + u_ref²); satisfactory between -2 and 2.
    pub zeta: f64,
    /// z' = d/√(σ² + u_ref²) with σ the target, z where the reference has no u: satisfactory between -2 and 2. Says whether
    /// the result is good enough, whatever u it claims.
    pub z: Option<f64>,
    /// Whether the claimed u is plausible.
    pub claim: ClaimedU,
}

/// What is to be thought of a claimed standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ClaimedU {
    /// Between the reference's own and 1.5 times the target.
    Plausible,
    /// Smaller than the reference's: seldom true of a routine result.
    BelowReference,
    /// Above 1.5 times the target: agreement then says little, for nearly any value would agree.
    AboveTarget,
    /// No target is known, and u is not below the reference's.
    NoTarget,
}

impl ClaimedU {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            ClaimedU::Plausible => "plausible",
            ClaimedU::BelowReference => "smaller than that of the reference value",
            ClaimedU::AboveTarget => "larger than laboratories scatter",
            ClaimedU::NoTarget => "no target to hold it to",
        }
    }
}

/// Holds a result to a reference value.
///
/// `half_width` is half the result's interval of about 95 %. The claimed u is held to the reference's u from below and to
/// 1.5 times the target from above (the range of ISO 13528:2022 for a plausible u, from memory): an inflated u makes
/// E_n and ζ small and is no merit, which z', that does not know it, shows.
///
/// # Errors
/// A number that is not finite, an uncertainty that is negative, a result or target without uncertainty.
///
/// ```
/// use vialbook::estimate::Estimate;
/// use vialbook::quantify::{ClaimedU, ReferenceValue, compare};
/// // CCQM-K30, lead in wine: 3.130 with u 0.060 beside 2.99 ± 0.06 (k = 2) mg/kg.
/// let found = Estimate::new(3.13, 0.06, f64::INFINITY, "mg/kg");
/// let a = compare(&found, 0.12, &ReferenceValue { value: 2.99, u: 0.03, target_sd: Some(0.03) })?;
/// assert!((a.e_n - 1.043).abs() < 5e-4 && a.claim == ClaimedU::AboveTarget);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn compare(found: &Estimate, half_width: f64, reference: &ReferenceValue) -> Result<Agreement> {
    let refused = |what: String| Error::new(ErrorKind::Data, format!("comparison with a reference: {what}"));
    let u = found.standard_uncertainty;
    if !(u > 0.0 && u.is_finite() && half_width > 0.0 && half_width.is_finite() && found.value.is_finite()) {
        return Err(refused(format!("a result {} with u = {u}; a positive uncertainty is wanted", found.value)));
    }
    let r = reference;
    if !(r.value.is_finite() && r.u >= 0.0 && r.u.is_finite()) {
        return Err(refused(format!("{} with u = {} is no value with a standard uncertainty", r.value, r.u)));
    }
    if let Some(s) = r.target_sd.filter(|s| !(*s > 0.0 && s.is_finite())) {
        return Err(refused(format!("a target standard deviation of {s}; a positive number is wanted")));
    }
    let difference = found.minus(&Estimate::new(r.value, r.u, f64::INFINITY, found.unit.clone()))?;
    let d = difference.value;
    let claim = match r.target_sd {
        Some(s) if u > 1.5 * s => ClaimedU::AboveTarget,
        _ if u < r.u => ClaimedU::BelowReference,
        Some(_) => ClaimedU::Plausible,
        None => ClaimedU::NoTarget,
    };
    Ok(Agreement {
        e_n: d / libm::hypot(half_width, 2.0 * r.u),
        zeta: d / libm::hypot(u, r.u),
        z: r.target_sd.map(|s| d / libm::hypot(s, r.u)),
        difference,
        claim,
    })
}

/// Whether the claimed uncertainties of several results fit the differences seen: Σζ² on χ² with as many degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Claims {
    /// Σζ².
    pub sum: f64,
    /// Number of results.
    pub n: usize,
    /// Chance of a sum so small: near 0 the claimed uncertainties are too large.
    pub p_too_large: f64,
    /// Chance of a sum so large: near 0 they are too small.
    pub p_too_small: f64,
}

/// The claims of independent results together; `None` below 3, where nothing can be said.
///
/// Results that share a calibration or a stock are not independent: their ζ move together, and the χ² says less than it
/// seems to.
pub fn claims(zetas: &[f64]) -> Option<Claims> {
    if zetas.len() < 3 || zetas.iter().any(|z| !z.is_finite()) {
        return None;
    }
    let sum: f64 = zetas.iter().map(|z| z * z).sum();
    let dof = zetas.len() as f64;
    Some(Claims { sum, n: zetas.len(), p_too_large: chi_squared_cdf(sum, dof), p_too_small: chi_squared_sf(sum, dof) })
}
