//! Units at the doors: times become minutes, contents say of what they are a fraction.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};

/// The unit of a peak area: signal unit × minute.
///
/// ```
/// assert_eq!(vialbook::area_unit("mV"), "mV·min");
/// ```
pub fn area_unit(signal_unit: &str) -> String {
    if signal_unit.is_empty() { "signal·min".to_owned() } else { format!("{signal_unit}·min") }
}

/// What a content is: the quantity, in IUPAC's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Quantity {
    /// Mass of the component per volume of the mixture.
    MassConcentration,
    /// Amount of substance of the component per volume of the mixture.
    AmountConcentration,
    /// Mass of the component per mass of the mixture.
    MassFraction,
    /// Volume of the component, before mixing, per sum of the components' volumes.
    VolumeFraction,
    /// Amount of substance of the component per total amount of substance.
    AmountFraction,
}

impl Quantity {
    /// In words: "volume fraction".
    pub fn words(self) -> &'static str {
        match self {
            Quantity::MassConcentration => "mass concentration",
            Quantity::AmountConcentration => "amount concentration",
            Quantity::MassFraction => "mass fraction",
            Quantity::VolumeFraction => "volume fraction",
            Quantity::AmountFraction => "amount fraction",
        }
    }
}

/// A unit of content that says its quantity: `mg/L`, `% v/v`, `g/kg`, `mmol/L`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContentUnit {
    /// The unit as it is printed.
    pub symbol: &'static str,
    /// The quantity it measures.
    pub quantity: Quantity,
    /// How many of the quantity's base unit (g/L, mol/L, or 1 for fractions) one of it is.
    pub factor: f64,
}

impl Serialize for ContentUnit {
    fn serialize<S: serde::Serializer>(&self, s: S) -> std::result::Result<S::Ok, S::Error> {
        s.serialize_str(self.symbol)
    }
}

impl<'de> Deserialize<'de> for ContentUnit {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> std::result::Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        ContentUnit::parse(&text).map_err(|e| serde::de::Error::custom(e.to_string()))
    }
}

use Quantity::{AmountConcentration, AmountFraction, MassConcentration, MassFraction, VolumeFraction};

/// Every content unit that is understood. Base: g/L, mol/L, 1.
const UNITS: &[(&str, Quantity, f64, &[&str])] = &[
    ("g/L", MassConcentration, 1.0, &["g/l", "mg/mL", "mg/ml", "g/dm3"]),
    ("mg/L", MassConcentration, 1e-3, &["mg/l", "ug/mL", "µg/mL", "μg/mL", "ug/ml", "µg/ml", "μg/ml"]),
    ("µg/L", MassConcentration, 1e-6, &["ug/L", "μg/L", "ug/l", "µg/l", "ng/mL", "ng/ml"]),
    ("mol/L", AmountConcentration, 1.0, &["mol/l", "mol/dm3", "M"]),
    ("mmol/L", AmountConcentration, 1e-3, &["mmol/l", "mM"]),
    ("µmol/L", AmountConcentration, 1e-6, &["umol/L", "μmol/L", "uM", "µM", "μM"]),
    ("% m/m", MassFraction, 1e-2, &["% w/w", "%m/m", "%w/w", "% (m/m)", "% (w/w)", "g/100 g"]),
    ("g/kg", MassFraction, 1e-3, &["mg/g"]),
    ("mg/kg", MassFraction, 1e-6, &["ug/g", "µg/g", "μg/g", "ppm m/m", "ppm w/w", "ppm (m/m)", "ppm (w/w)"]),
    ("% v/v", VolumeFraction, 1e-2, &["%v/v", "% (v/v)", "mL/100 mL"]),
    ("mL/L", VolumeFraction, 1e-3, &["ml/l", "ml/L"]),
    ("µL/L", VolumeFraction, 1e-6, &["uL/L", "μL/L", "ul/l", "ppm v/v", "ppm (v/v)"]),
    ("% mol/mol", AmountFraction, 1e-2, &["%mol/mol", "% n/n"]),
    ("mmol/mol", AmountFraction, 1e-3, &[]),
    ("g/g", MassFraction, 1.0, &["kg/kg"]),
    ("L/L", VolumeFraction, 1.0, &["mL/mL"]),
];

impl ContentUnit {
    /// Understands a unit; synonyms come back as one symbol (`µg/mL` is `mg/L`).
    ///
    /// # Errors
    /// A bare `%`, `ppm` or `ppb` does not say of what it is a fraction and is refused with the question;
    /// an unknown unit with the list of known ones.
    ///
    /// ```
    /// use vialbook::{ContentUnit, Quantity};
    /// assert_eq!(ContentUnit::parse("% v/v")?.quantity, Quantity::VolumeFraction);
    /// assert!(ContentUnit::parse("ppm").unwrap_err().to_string().contains("by volume or by mass"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self> {
        let t = text.trim();
        for &(symbol, quantity, factor, synonyms) in UNITS {
            if t == symbol || synonyms.contains(&t) {
                return Ok(ContentUnit { symbol, quantity, factor });
            }
        }
        if matches!(t.to_ascii_lowercase().as_str(), "%" | "ppm" | "ppb" | "percent" | "‰") {
            return Err(Error::new(
                ErrorKind::Ambiguous,
                format!("the unit \"{t}\" does not say of what it is a fraction: by volume or by mass?"),
            )
            .hint("write \"% v/v\", \"% m/m\", \"mg/kg\", \"µL/L\" or \"mg/L\""));
        }
        let known: Vec<&str> = UNITS.iter().map(|u| u.0).collect();
        if t.is_empty() {
            return Err(Error::new(ErrorKind::Study, "a content without a unit".to_owned())
                .hint(format!("state one of: {}", known.join(", "))));
        }
        Err(Error::new(ErrorKind::Study, format!("the unit \"{t}\" is not known"))
            .hint(format!("known units: {}", known.join(", "))))
    }

    /// How many of `other` one of this unit is.
    ///
    /// # Errors
    /// The two measure different quantities.
    pub fn in_units_of(self, other: ContentUnit) -> Result<f64> {
        if self.quantity != other.quantity {
            return Err(Error::new(
                ErrorKind::Study,
                format!(
                    "{} ({}) cannot be turned into {} ({}) without a density or molar mass",
                    self.symbol,
                    self.quantity.words(),
                    other.symbol,
                    other.quantity.words()
                ),
            ));
        }
        Ok(self.factor / other.factor)
    }
}
