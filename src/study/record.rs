//! What a report needs beside the measurement: the record of a test, values to compare with, questions of a task.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::units::ContentUnit;

/// The record of a test, after ISO/IEC 17025:2017, 7.8: what study and results do not hold themselves.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Record {
    /// Unique number of this report; where none is given, it is made from the results' hash.
    pub number: Option<String>,
    /// For whom it is.
    pub customer: Option<String>,
    /// Where the laboratory is.
    pub address: Option<String>,
    /// What was tested: description, condition, how it is told apart.
    pub items: Option<String>,
    /// How and when the sample was taken, where that matters.
    pub sampling: Option<String>,
    /// Day on which the items were received.
    pub received: Option<String>,
    /// Day or days of testing.
    pub tested: Option<String>,
    /// Day on which this report is issued.
    pub issued: Option<String>,
    /// The method, by name or number.
    pub method: Option<String>,
    /// What was done otherwise than the method says; "none" where nothing was.
    pub deviations: Option<String>,
    /// Who approves the report.
    pub approved_by: Option<String>,
    /// Who looks it through.
    pub reviewer: Option<String>,
    /// What was changed by hand.
    #[serde(rename = "change")]
    pub changes: Vec<HandChange>,
}

/// A change by hand: who, what, when, why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandChange {
    /// What was changed, from what to what.
    pub what: String,
    /// Who did it.
    pub by: String,
    /// When.
    #[serde(default)]
    pub on: Option<String>,
    /// Why.
    pub why: String,
}

/// A reference value that an amount is compared with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// The reference or true value.
    pub value: f64,
    /// Its standard uncertainty; 0 for a value that is true by definition.
    pub u: f64,
    /// Unit, which says of what it is a fraction.
    pub unit: ContentUnit,
    /// Where the value comes from.
    pub origin: String,
    /// Standard deviation that laboratories are expected to reach, in the same unit; with a mass fraction and without this,
    /// that of Horwitz and Thompson.
    #[serde(default)]
    pub target_sd: Option<f64>,
    /// Where that comes from.
    #[serde(default)]
    pub target_origin: Option<String>,
}

/// A question of a worked example, in Markdown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Task {
    /// The question.
    pub text: String,
    /// A hint.
    #[serde(default)]
    pub hint: Option<String>,
    /// The answer, which the second file shows.
    #[serde(default)]
    pub answer: Option<String>,
    /// Points that it is worth.
    #[serde(default)]
    pub points: Option<u32>,
}

impl Comparison {
    /// # Errors
    /// A number that is none, or a negative uncertainty.
    pub(super) fn check(&self, field: &str) -> Result<()> {
        if !self.value.is_finite() || !self.u.is_finite() || self.u < 0.0 {
            let message = format!("{} with u = {} is no value with a standard uncertainty", self.value, self.u);
            return Err(Error::new(ErrorKind::Study, message).at_field(field));
        }
        if let Some(s) = self.target_sd.filter(|s| !(s.is_finite() && *s > 0.0)) {
            let message = format!("target_sd = {s}; a number above 0, in the unit of the value, is wanted");
            return Err(Error::new(ErrorKind::Study, message).at_field(field));
        }
        Ok(())
    }
}
