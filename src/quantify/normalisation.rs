//! Area normalisation with response factors, and response factors from effective carbon numbers.

use std::fmt;

use crate::error::{Error, ErrorKind, Result};

/// One peak of a normalisation.
#[derive(Clone, Debug, PartialEq)]
pub struct NormalisedPeak {
    /// The component.
    pub compound: String,
    /// Its area.
    pub area: f64,
    /// Standard uncertainty of the area.
    pub area_u: f64,
    /// Response factor by mass, relative to any one reference: mass over area, as (mᵢ/Aᵢ)/(m_ref/A_ref).
    pub factor: f64,
    /// Relative standard uncertainty of the factor.
    pub factor_relative_u: f64,
}

/// A component that the detector does not show.
#[derive(Clone, Debug, PartialEq)]
pub struct UnseenComponent {
    /// The component, such as water on a flame-ionisation detector.
    pub compound: String,
    /// Its mass fraction with standard uncertainty, found in another way; `None` where it is not known.
    pub mass_fraction: Option<[f64; 2]>,
}

/// A component's share.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// The component.
    pub compound: String,
    /// Mass fraction.
    pub mass_fraction: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Part of u from the areas.
    pub u_areas: f64,
    /// Part of u from the response factors.
    pub u_factors: f64,
    /// Part of u from what the detector does not show.
    pub u_unseen: f64,
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {} ± {} (standard uncertainty)",
            self.compound,
            crate::estimate::rounded(self.mass_fraction, self.u),
            crate::estimate::significant(self.u, 2)
        )
    }
}

/// Mass fractions by normalisation, w = (1 - Σw_unseen)·FᵢAᵢ/Σ FⱼAⱼ.
///
/// Everything that is neither in `peaks` nor in `unseen` is taken not to be there: what never left the column, what
/// was vented with the air, what lies below the baseline. With q = FA and relative uncertainty r of q, independent
/// between components, u(wᵢ)² = Σⱼ (wᵢ(δᵢⱼ - wⱼ/W)rⱼ)² + (wᵢ·u_unseen/W)², W = 1 - Σw_unseen: the shares add up to W, so
/// the largest component is known better than its own area, and the u of shares must not be combined as if independent.
/// Linear in the r, good to a few percent of u while r is below 0.2.
///
/// # Errors
/// No peak, an area or factor that is not positive, a negative uncertainty; a component that the detector does not
/// show and whose content is not known: then no share is.
///
/// ```
/// use vialbook::quantify::{NormalisedPeak, normalise};
/// // D. A. Skoog et al., Fundamentals of Analytical Chemistry: butanols, areas in cm², masses of the standard in g.
/// let peak = |compound: &str, factor, area| NormalisedPeak {
///     compound: compound.to_owned(), area, area_u: 0.01, factor, factor_relative_u: 0.005,
/// };
/// let peaks = [peak("n", 1.0, 3.023), peak("i", 1.116, 3.074), peak("s", 0.849, 3.112), peak("t", 1.062, 3.004)];
/// let shares = normalise(&peaks, &[])?;
/// assert!((shares[0].mass_fraction - 0.2461).abs() < 1e-4 && shares[0].u < 0.0015);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn normalise(peaks: &[NormalisedPeak], unseen: &[UnseenComponent]) -> Result<Vec<Share>> {
    let data = |what: String| Error::new(ErrorKind::Data, format!("normalisation: {what}"));
    if peaks.is_empty() {
        return Err(data("no peak".to_owned()));
    }
    for p in peaks {
        let positive = |x: f64| x > 0.0 && x.is_finite();
        let uncertain = |u: f64| u >= 0.0 && u.is_finite();
        if !(positive(p.area) && positive(p.factor) && uncertain(p.area_u) && uncertain(p.factor_relative_u)) {
            return Err(data(format!(
                "{} with area {} ± {} and factor {} (relative u {}); positive areas and factors are wanted",
                p.compound, p.area, p.area_u, p.factor, p.factor_relative_u
            ))
            .hint("leave out what is not there; a component without a known factor cannot be normalised"));
        }
    }
    let (mut hidden, mut hidden_u2) = (0.0, 0.0);
    for c in unseen {
        let Some([w, u]) = c.mass_fraction else {
            return Err(data(format!("the detector does not show {}, and its content is not known", c.compound))
                .hint("find it in another way and state it, or quantify against standards: shares of what is seen are no contents"));
        };
        if !(w >= 0.0 && u >= 0.0 && u.is_finite()) {
            return Err(data(format!(
                "{} with a mass fraction of {w} ± {u}; numbers of 0 or more are wanted",
                c.compound
            )));
        }
        hidden += w;
        hidden_u2 += u * u;
    }
    let seen = 1.0 - hidden;
    if seen <= 0.0 {
        return Err(data(format!("what the detector does not show adds up to {hidden}; less than 1 is wanted")));
    }
    let total: f64 = peaks.iter().map(|p| p.factor * p.area).sum();
    let w: Vec<f64> = peaks.iter().map(|p| seen * p.factor * p.area / total).collect();
    let part = |i: usize, relative: &dyn Fn(&NormalisedPeak) -> f64| {
        let sum: f64 = peaks
            .iter()
            .enumerate()
            .map(|(j, p)| {
                let own = if i == j { 1.0 } else { 0.0 };
                let moved = w[i] * (own - w[j] / seen) * relative(p);
                moved * moved
            })
            .sum();
        libm::sqrt(sum)
    };
    Ok(peaks
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let u_areas = part(i, &|p| p.area_u / p.area);
            let u_factors = part(i, &|p| p.factor_relative_u);
            let u_unseen = w[i] / seen * libm::sqrt(hidden_u2);
            let u = libm::sqrt(u_areas * u_areas + u_factors * u_factors + u_unseen * u_unseen);
            Share { compound: p.compound.clone(), mass_fraction: w[i], u, u_areas, u_factors, u_unseen }
        })
        .collect())
}

/// How many of each group a molecule has, for its effective carbon number.
///
/// Every carbon atom is counted once, under the group it belongs to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CarbonGroups {
    /// Carbon atoms in chains and saturated rings.
    pub aliphatic: u32,
    /// Carbon atoms in aromatic rings.
    pub aromatic: u32,
    /// Carbon atoms of double bonds.
    pub olefinic: u32,
    /// Carbon atoms of triple bonds.
    pub acetylenic: u32,
    /// Carbon atoms of nitriles.
    pub nitrile: u32,
    /// Carbon atoms of aldehydes, ketones, carboxylic acids and their esters.
    pub carbonyl: u32,
    /// Oxygen atoms of ethers.
    pub ether_oxygen: u32,
    /// Hydroxyl groups of primary alcohols.
    pub primary_alcohol: u32,
    /// Hydroxyl groups of secondary alcohols.
    pub secondary_alcohol: u32,
    /// Hydroxyl groups of tertiary alcohols, and single-bonded oxygen atoms of esters.
    pub tertiary_alcohol_or_ester: u32,
}

impl CarbonGroups {
    /// Effective carbon number on a flame-ionisation detector.
    ///
    /// Contributions of J. C. Sternberg, W. S. Gallaway and D. T. L. Jones, in N. Brenner et al. (eds), Gas Chromatography
    /// (Academic Press 1962), p. 231, from memory: aliphatic and aromatic carbon 1, olefinic 0.95, acetylenic 1.30,
    /// nitrile 0.3, carbonyl 0; ether oxygen -1, hydroxyl of a primary alcohol -0.5, secondary -0.75, tertiary, and the
    /// ester's oxygen, -0.25. For flame ionisation only: other detectors do not count carbon.
    pub fn effective_carbon_number(&self) -> f64 {
        let n = |k: u32| f64::from(k);
        n(self.aliphatic)
            + n(self.aromatic)
            + 0.95 * n(self.olefinic)
            + 1.3 * n(self.acetylenic)
            + 0.3 * n(self.nitrile)
            - n(self.ether_oxygen)
            - 0.5 * n(self.primary_alcohol)
            - 0.75 * n(self.secondary_alcohol)
            - 0.25 * n(self.tertiary_alcohol_or_ester)
    }
}

/// Relative standard uncertainty of a response factor by effective carbon number: the spread about 1 of measured over
/// calculated sensitivities of 30 hydrocarbons, alcohols and ketones (W. A. Dietz, J. Gas Chromatogr. 5 (1967) 68-71) is
/// 0.037.
pub const CARBON_NUMBER_RELATIVE_U: f64 = 0.04;

/// Relative standard uncertainty where the component is an ester: the same comparison of five acetates, low by 6 to
/// 41 %.
pub const CARBON_NUMBER_ESTER_RELATIVE_U: f64 = 0.2;

/// Response factor by mass relative to a reference, (M/N)/(M_ref/N_ref) with N the effective carbon numbers and M the
/// molar masses: what [`NormalisedPeak::factor`] wants, for flame ionisation. Its uncertainty is
/// [`CARBON_NUMBER_RELATIVE_U`], or more for esters and short molecules with much oxygen.
///
/// # Errors
/// A molar mass or an effective carbon number that is not positive: such a component does not show.
///
/// ```
/// use vialbook::quantify::{CarbonGroups, carbon_number_factor};
/// let propanol = CarbonGroups { aliphatic: 3, secondary_alcohol: 1, ..CarbonGroups::default() };
/// let heptane = CarbonGroups { aliphatic: 7, ..CarbonGroups::default() };
/// let factor = carbon_number_factor(&propanol, 60.096, &heptane, 100.205)?;
/// assert!((1.0 / factor - 0.536).abs() < 5e-4); // sensitivity by mass relative to heptane; Dietz measured 0.53
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn carbon_number_factor(
    groups: &CarbonGroups,
    molar_mass: f64,
    reference: &CarbonGroups,
    reference_molar_mass: f64,
) -> Result<f64> {
    let per_carbon = |g: &CarbonGroups, m: f64| {
        let n = g.effective_carbon_number();
        if n > 0.0 && m > 0.0 && m.is_finite() {
            return Ok(m / n);
        }
        Err(Error::new(
            ErrorKind::Data,
            format!("an effective carbon number of {n:.2} with a molar mass of {m} g/mol gives no response factor"),
        )
        .hint("count every carbon atom once; formic acid, formaldehyde and carbon dioxide hardly show on a flame"))
    };
    Ok(per_carbon(groups, molar_mass)? / per_carbon(reference, reference_molar_mass)?)
}
