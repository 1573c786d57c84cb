//! From one quantity of content to another: fractions by mass, volume and amount, concentrations by mass and amount.

use crate::calibrate::SharedSource;
use crate::error::{Error, ErrorKind, Result};
use crate::units::{ContentUnit, Quantity};

/// A density with its standard uncertainty, at the temperature of the work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Density {
    /// In g/mL.
    pub g_per_ml: f64,
    /// Standard uncertainty in g/mL.
    pub u: f64,
    /// Temperature in °C, where known.
    pub temperature_c: Option<f64>,
}

/// What is known of the component and of the solution it is in; each only where a conversion needs it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Materials {
    /// Density of the pure component.
    pub component_density: Option<Density>,
    /// Molar mass of the component in g/mol; taken as exact.
    pub molar_mass: Option<f64>,
    /// Density of the solution.
    pub solution_density: Option<Density>,
    /// Mean molar mass of the solution in g/mol, for amount fractions.
    pub solution_molar_mass: Option<f64>,
}

/// A factor from one unit of content to another.
///
/// By way of the mass concentration γ: w = γ/ρ(solution), φ = γ/ρ(component), c = γ/M, x = γ·M̄/(M·ρ(solution)), with φ
/// the volume fraction in IUPAC's sense: the component's volume before mixing over the sum of all volumes before
/// mixing. That sum is taken equal to the volume of the solution; where mixing contracts (alcohols in
/// water: up to 3.5 %) φ comes out high by as much, and the result says so.
///
/// ```
/// use vialbook::quantify::{Conversion, Density, Materials};
/// use vialbook::ContentUnit;
/// let m = Materials {
///     solution_density: Some(Density { g_per_ml: 0.95, u: 0.001, temperature_c: Some(20.0) }),
///     ..Materials::default()
/// };
/// let c = Conversion::between(ContentUnit::parse("g/L")?, ContentUnit::parse("g/kg")?, &m)?;
/// assert!((95.0 * c.factor - 100.0).abs() < 1e-12);
/// assert_eq!(c.sources[0].name, "density of the solution");
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    /// The number that a content in the first unit is multiplied by.
    pub factor: f64,
    /// The uncertainties that come in with it.
    pub sources: Vec<SharedSource>,
    /// The quantity that results.
    pub quantity: Quantity,
    /// Of what it is a fraction, in words.
    pub of: &'static str,
    /// True where the volume of the solution stood for the sum of volumes before mixing.
    pub mixing_ignored: bool,
}

impl Conversion {
    /// From one unit to another.
    ///
    /// # Errors
    /// A density or molar mass that the conversion needs is not given, or not positive.
    pub fn between(from: ContentUnit, to: ContentUnit, materials: &Materials) -> Result<Conversion> {
        let mut out = Conversion {
            factor: from.factor / to.factor,
            sources: Vec::new(),
            quantity: to.quantity,
            of: of_what(to.quantity),
            mixing_ignored: false,
        };
        if from.quantity == to.quantity {
            return Ok(out);
        }
        let mut powers = Powers::default();
        powers.add(from.quantity, 1);
        powers.add(to.quantity, -1);
        let need = |power: i32, value: Option<f64>, what: &str| -> Result<f64> {
            match value {
                _ if power == 0 => Ok(1.0),
                Some(v) if v > 0.0 && v.is_finite() => Ok(v.powi(power)),
                Some(v) => Err(Error::new(ErrorKind::Data, format!("a {what} of {v}; a positive number is wanted"))),
                None => Err(Error::new(
                    ErrorKind::Study,
                    format!(
                        "{} ({}) cannot be turned into {} ({}) without the {what}",
                        from.symbol,
                        from.quantity.words(),
                        to.symbol,
                        to.quantity.words()
                    ),
                )
                .hint(format!("state the {what}, or report in {}", from.symbol))),
            }
        };
        let density = |d: Option<Density>| d.map(|d| 1000.0 * d.g_per_ml);
        out.factor *= need(powers.solution, density(materials.solution_density), "density of the solution")?;
        out.factor *= need(powers.component, density(materials.component_density), "density of the component")?;
        out.factor *= need(powers.molar_mass, materials.molar_mass, "molar mass of the component")?;
        out.factor *= need(powers.mean_molar_mass, materials.solution_molar_mass, "mean molar mass of the solution")?;
        for (power, name, d) in [
            (powers.solution, "density of the solution", materials.solution_density),
            (powers.component, "density of the component", materials.component_density),
        ] {
            if let Some(d) = d.filter(|d| power != 0 && d.u != 0.0) {
                out.sources.push(SharedSource::new(name, (f64::from(power) * d.u / d.g_per_ml).abs()));
            }
        }
        out.mixing_ignored = powers.component != 0;
        Ok(out)
    }
}

/// Exponents that lead from a quantity to the mass concentration in g/L (densities in g/L).
#[derive(Default)]
struct Powers {
    solution: i32,
    component: i32,
    molar_mass: i32,
    mean_molar_mass: i32,
}

impl Powers {
    fn add(&mut self, quantity: Quantity, sign: i32) {
        match quantity {
            Quantity::MassConcentration => {}
            Quantity::AmountConcentration => self.molar_mass += sign,
            Quantity::MassFraction => self.solution += sign,
            Quantity::VolumeFraction => self.component += sign,
            Quantity::AmountFraction => {
                self.molar_mass += sign;
                self.solution += sign;
                self.mean_molar_mass -= sign;
            }
        }
    }
}

/// Of what a content is a fraction.
pub(super) fn of_what(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::MassConcentration => "mass of the component per volume of the sample",
        Quantity::AmountConcentration => "amount of substance of the component per volume of the sample",
        Quantity::MassFraction => "mass of the component per mass of the sample",
        Quantity::VolumeFraction => {
            "volume of the component, before mixing, per volume of all components before mixing"
        }
        Quantity::AmountFraction => "amount of substance of the component per total amount of substance of the sample",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(text: &str) -> ContentUnit {
        ContentUnit::parse(text).expect("unit")
    }

    fn density(g_per_ml: f64, u: f64) -> Option<Density> {
        Some(Density { g_per_ml, u, temperature_c: Some(20.0) })
    }

    /// 2-propanol, density 0.7855 g/mL, molar mass 60.096 g/mol, 10 % by volume, solution density 0.9850 g/mL: worked out
    /// by hand, 78.55 g/L, 78.55/985.0 = 7.9746 % by mass, 78.55/60.096 = 1.30708 mol/L.
    #[test]
    fn ten_percent_by_volume_by_hand() {
        let m = Materials {
            component_density: density(0.7855, 0.0002),
            molar_mass: Some(60.096),
            solution_density: density(0.9850, 0.0005),
            solution_molar_mass: Some(19.38),
        };
        let to = |text: &str| Conversion::between(unit("% v/v"), unit(text), &m).expect("conversion");
        assert!((10.0 * to("g/L").factor - 78.55).abs() < 1e-9);
        assert!((10.0 * to("% m/m").factor - 7.974_62).abs() < 1e-5);
        assert!((10.0 * to("mol/L").factor - 1.307_075).abs() < 1e-6);
        // x = w·M̄/M.
        assert!((10.0 * to("% mol/mol").factor - 7.974_62 * 19.38 / 60.096).abs() < 1e-5);
        let by_mass = to("% m/m");
        assert_eq!(by_mass.sources.len(), 2);
        assert!((by_mass.sources[1].relative_u - 0.0002 / 0.7855).abs() < 1e-12);
        assert!(by_mass.mixing_ignored && !to("% v/v").mixing_ignored);
        let back = Conversion::between(unit("% m/m"), unit("% v/v"), &m).expect("conversion");
        assert!((back.factor * by_mass.factor - 1.0).abs() < 1e-14);
    }

    #[test]
    fn what_is_missing_is_named() {
        let e = Conversion::between(unit("mg/L"), unit("mg/kg"), &Materials::default()).unwrap_err().to_string();
        assert!(e.contains("without the density of the solution"), "{e}");
        let e = Conversion::between(unit("mg/L"), unit("mmol/L"), &Materials::default()).unwrap_err().to_string();
        assert!(e.contains("molar mass"), "{e}");
    }
}
