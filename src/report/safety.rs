//! Hazards of the substances used, as far as verified sources give them; the rest is the supplier's to say.

use serde::{Deserialize, Serialize};

/// What the safety section says about the substances used.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Safety {
    /// The substances.
    #[serde(default)]
    pub substances: Vec<Substance>,
    /// Where the values come from as a whole, and where they end.
    #[serde(default)]
    pub note: Option<String>,
}

/// One substance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Substance {
    /// Name.
    pub name: String,
    /// CAS registry number.
    #[serde(default)]
    pub cas: Option<String>,
    /// What it is in the study: "analyte", "internal standard", "solvent".
    #[serde(default)]
    pub role: Option<String>,
    /// Classification; `null` prints "no data here: read the supplier's safety data sheet".
    #[serde(default)]
    pub hazards: Option<Hazards>,
    /// Flash point with its source.
    #[serde(default)]
    pub flash_point: Option<SourcedText>,
    /// Exposure limits, each with its source.
    #[serde(default)]
    pub exposure_limits: Vec<SourcedText>,
}

/// A classification of a substance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Hazards {
    /// "Danger", "Warning", or empty.
    pub signal_word: String,
    /// Hazard statements.
    pub statements: Vec<Statement>,
    /// Codes of the pictograms: "GHS02".
    pub pictograms: Vec<String>,
    /// Where the classification comes from.
    pub source: String,
}

/// A hazard statement.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Statement {
    /// Code, such as "H225".
    pub code: String,
    /// Its official text.
    pub text: String,
}

/// A value as text, with its source.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourcedText {
    /// The value with its unit.
    pub text: String,
    /// Where it comes from.
    pub source: String,
}
