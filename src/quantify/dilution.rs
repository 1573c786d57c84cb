//! Dilution of a sample, and which side of it the internal standard stands on.

use crate::calibrate::SharedSource;
use crate::error::{Error, ErrorKind, Result};

/// When the internal standard went in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Added {
    /// Into the sample before it was diluted; its content is stated for the undiluted sample.
    BeforeDilution,
    /// Into the flask that was made up and injected; its content is stated for that flask.
    AfterDilution,
}

/// A sample's dilution.
///
/// With an internal standard whose content is stated for the flask that is injected, and without internal standard,
/// the content found is that in the flask and is multiplied by the factor once. With an internal standard that
/// went in before, both were diluted alike: the ratio is unchanged, its content is stated for the undiluted
/// sample, and what is found is the content of the undiluted sample already.
///
/// ```
/// use vialbook::quantify::{Added, Dilution};
/// // 1.00 mL of sample and the internal standard, made up to 10.00 mL: 41.2 mg/L found in the flask.
/// let d = Dilution { internal_standard: Some(Added::AfterDilution), ..Dilution::by(10.0) };
/// assert_eq!(41.2 * d.applied()?, 412.0);
/// let d = Dilution { internal_standard: Some(Added::BeforeDilution), ..Dilution::by(10.0) };
/// assert_eq!(412.0 * d.applied()?, 412.0);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Dilution {
    /// Volume (or mass) made up to, over that taken; 1 where nothing was diluted.
    pub factor: f64,
    /// Relative standard uncertainty of the factor, where all flasks of the sample share it; 0 where it is part
    /// of the flasks' scatter.
    pub relative_u: f64,
    /// When the internal standard went in; `None` without one.
    pub internal_standard: Option<Added>,
}

impl Default for Dilution {
    fn default() -> Self {
        Dilution { factor: 1.0, relative_u: 0.0, internal_standard: None }
    }
}

impl Dilution {
    /// A dilution without internal standard.
    pub fn by(factor: f64) -> Self {
        Dilution { factor, ..Dilution::default() }
    }

    /// The factor that the content found is multiplied by: 1 where the internal standard went in before.
    ///
    /// # Errors
    /// A factor below 1, or not a number.
    pub fn applied(&self) -> Result<f64> {
        if !(self.factor >= 1.0 && self.factor.is_finite()) {
            return Err(Error::new(
                ErrorKind::Study,
                format!("a dilution of {}; a number of 1 or more is wanted", self.factor),
            )
            .hint("the dilution is the volume made up to over the volume taken: 1 mL to 10 mL is 10"));
        }
        Ok(if self.internal_standard == Some(Added::BeforeDilution) { 1.0 } else { self.factor })
    }

    /// The factor's own uncertainty, where the factor was applied.
    pub(super) fn source(&self) -> Option<SharedSource> {
        (self.relative_u > 0.0 && self.internal_standard != Some(Added::BeforeDilution) && self.factor != 1.0)
            .then(|| SharedSource::new("dilution of the sample", self.relative_u))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_is_applied_once_or_not_at_all() {
        let found: f64 = 41.2;
        for (added, sample) in [(None, 412.0), (Some(Added::AfterDilution), 412.0), (Some(Added::BeforeDilution), 41.2)]
        {
            let d = Dilution { internal_standard: added, ..Dilution::by(10.0) };
            assert_eq!(found * d.applied().expect("factor"), sample, "{added:?}");
        }
        assert!(Dilution::by(0.1).applied().is_err());
        assert!(Dilution::by(f64::NAN).applied().is_err());
    }
}
