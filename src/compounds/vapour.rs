//! Vapour pressures from Antoine constants, and families of compounds by their functional group.

use serde::Deserialize;

use super::SourcedNumber;

/// A row of Antoine constants.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Antoine {
    pub(super) cas: String,
    source: String,
    #[serde(rename = "A")]
    a: f64,
    #[serde(rename = "B")]
    b: f64,
    #[serde(rename = "C")]
    c: f64,
    #[serde(rename = "tmin_K")]
    from_k: f64,
    #[serde(rename = "tmax_K")]
    to_k: f64,
}

const KELVIN: f64 = 273.15;
const POLING: &str = "Poling, Prausnitz, O'Connell, The Properties of Gases and Liquids, 5th ed. (2001), appendix A";
const LANDOLT: &str = "Landolt-Börnstein IV/20 (2000-2001)";

impl Antoine {
    pub(super) fn holds_at(&self, temperature_c: f64) -> bool {
        (self.from_k..=self.to_k).contains(&(temperature_c + KELVIN))
    }

    /// Vapour pressure in kPa.
    pub(super) fn pressure_kpa(&self, temperature_c: f64) -> f64 {
        let exponent = self.a - self.b / (temperature_c + KELVIN + self.c);
        // One source prints decadic logarithms, the other natural ones.
        let pascal = if self.source == "Poling" { libm::exp10(exponent) } else { libm::exp(exponent) };
        pascal / 1000.0
    }

    pub(super) fn number(&self, temperature_c: f64) -> SourcedNumber {
        SourcedNumber {
            value: self.pressure_kpa(temperature_c),
            u: None,
            source: if self.source == "Poling" { POLING } else { LANDOLT }.to_owned(),
            note: None,
        }
    }
}

/// Families within which compounds elute by boiling point on a non-polar column: our grouping, by functional group and
/// skeleton.
const FAMILIES: &[(&str, &[&str])] = &[
    (
        "saturated open-chain alcohols",
        &[
            "methanol",
            "ethanol",
            "1-propanol",
            "2-propanol",
            "1-butanol",
            "2-butanol",
            "isobutanol",
            "tert-butanol",
            "1-pentanol",
            "2-pentanol",
            "3-pentanol",
            "3-methyl-1-butanol",
            "2-methyl-2-butanol",
        ],
    ),
    ("open-chain ketones", &["acetone", "butanone", "2-pentanone", "3-pentanone", "4-methyl-2-pentanone"]),
    ("aldehydes", &["acetaldehyde", "propanal", "butanal"]),
    (
        "esters",
        &[
            "methyl formate",
            "ethyl formate",
            "propyl formate",
            "butyl formate",
            "methyl acetate",
            "ethyl acetate",
            "propyl acetate",
            "isopropyl acetate",
            "butyl acetate",
            "isobutyl acetate",
            "isopentyl acetate",
            "methyl propanoate",
            "ethyl propanoate",
            "methyl butanoate",
            "ethyl butanoate",
        ],
    ),
    (
        "alkanes",
        &[
            "pentane",
            "isopentane",
            "hexane",
            "2-methylpentane",
            "3-methylpentane",
            "heptane",
            "2,2,4-trimethylpentane",
            "octane",
            "nonane",
            "decane",
        ],
    ),
    ("cycloalkanes", &["cyclopentane", "cyclohexane", "methylcyclopentane", "methylcyclohexane"]),
    (
        "aromatic hydrocarbons",
        &["benzene", "toluene", "ethylbenzene", "o-xylene", "m-xylene", "p-xylene", "cumene", "styrene"],
    ),
    ("chloromethanes", &["dichloromethane", "chloroform", "carbon tetrachloride"]),
    ("open-chain ethers", &["diethyl ether", "methyl tert-butyl ether", "diisopropyl ether", "dibutyl ether"]),
    ("terpene hydrocarbons", &["limonene", "(R)-limonene", "alpha-pinene", "beta-pinene"]),
];

/// The family of a compound by the table's own name.
pub(super) fn family(name: &str) -> Option<&'static str> {
    FAMILIES.iter().find(|(_, names)| names.contains(&name)).map(|(family, _)| *family)
}
