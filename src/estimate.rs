//! Estimate: a value with its standard uncertainty, degrees of freedom and unit; and the only rules by which
//! numbers become text (the submodule [`text`], used by the notebook, the tables, the figures and the report).

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::numeric::student_t_quantile;
use crate::units::ContentUnit;

pub mod text;

pub use text::{
    UncertaintyDigits, concise, decimals, interval_text, percent, plus_minus, rounded, rounded_pair, significant,
    typographic,
};

/// What is known of a quantity: its value, how far that may be off, and on how much evidence.
///
/// `Display` is the concise form with the **standard** uncertainty, `12.34(56) mV`; [`Estimate::text`] gives the
/// expanded uncertainty with its coverage factor. As JSON, infinite degrees of freedom are `null`, and so is a
/// standard uncertainty that is not known.
///
/// The arithmetic propagates uncertainties of *independent* estimates to first order (JCGM 100:2008, "GUM",
/// 5.1.2) and their degrees of freedom after Welch and Satterthwaite (GUM G.4.1, eq. G.2b):
/// ν = u⁴ / Σ (uᵢ⁴ / νᵢ). An estimate is not independent of itself: `a.minus(&a)` is not zero with certainty here.
///
/// ```
/// use vialbook::estimate::Estimate;
/// let area = Estimate::new(12.34, 0.56, 4.0, "mV·min");
/// let standard = Estimate::new(10.21, 0.12, f64::INFINITY, "mV·min");
/// let ratio = area.over(&standard)?;
/// assert_eq!(ratio.to_string(), "1.209(57)");
/// assert_eq!(ratio.text(0.95), "1.21 ± 0.15 (k = 2.6, 95 %)");
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value, in [`unit`](Estimate::unit).
    pub value: f64,
    /// Standard uncertainty u in the same unit, one standard deviation; 0 for a value taken as exact. Negative,
    /// infinite or not a number: not known.
    #[serde(with = "unknown_as_null")]
    pub standard_uncertainty: f64,
    /// Degrees of freedom ν of u; infinite where u itself is beyond doubt. 0 or less, or not a number: none, u
    /// is given without evidence of its size and has no coverage factor.
    #[serde(with = "infinite_as_null")]
    pub dof: f64,
    /// Unit; empty for a plain number.
    pub unit: String,
}

impl Estimate {
    /// A value, its standard uncertainty, the degrees of freedom of that, and the unit. Nothing is refused: see
    /// the fields for what an odd number means.
    pub fn new(value: f64, standard_uncertainty: f64, dof: f64, unit: impl Into<String>) -> Self {
        Estimate { value, standard_uncertainty, dof, unit: unit.into() }
    }

    /// Relative standard uncertainty u/|value|; `None` where the value is 0 or u is not known.
    ///
    /// ```
    /// # use vialbook::estimate::Estimate;
    /// assert_eq!(Estimate::new(-2.0, 0.1, 5.0, "mV").relative(), Some(0.05));
    /// assert_eq!(Estimate::new(0.0, 0.1, 5.0, "mV").relative(), None);
    /// ```
    pub fn relative(&self) -> Option<f64> {
        let relative = self.known_u() / self.value.abs();
        relative.is_finite().then_some(relative)
    }

    /// Coverage factor k: the Student t for which ±k·u covers the fraction `level` (GUM G.3.2).
    ///
    /// Fractional degrees of freedom are used as they are, not cut to the next lower integer (GUM G.4.1, note 1,
    /// leaves both open). Not a number where `level` is not between 0 and 1 or where [`dof`](Estimate::dof) is
    /// not above 0.
    ///
    /// ```
    /// # use vialbook::estimate::Estimate;
    /// let k = Estimate::new(100.021_47, 0.000_35, 9.0, "g").coverage_factor(0.95);
    /// assert!((k - 2.262_157).abs() < 1e-6);
    /// ```
    pub fn coverage_factor(&self, level: f64) -> f64 {
        if level > 0.0 && level < 1.0 && self.dof > 0.0 {
            student_t_quantile(0.5 + 0.5 * level, self.dof)
        } else {
            f64::NAN
        }
    }

    /// Expanded uncertainty U = k·u at this level; not a number where k is or where u is not known.
    pub fn expanded(&self, level: f64) -> f64 {
        let u = self.known_u();
        if u == 0.0 { 0.0 } else { self.coverage_factor(level) * u }
    }

    /// Coverage interval `[value − U, value + U]` at this level; not numbers where U is not.
    pub fn interval(&self, level: f64) -> [f64; 2] {
        let expanded = self.expanded(level);
        [self.value - expanded, self.value + expanded]
    }

    /// Sum of two independent estimates.
    ///
    /// # Errors
    /// The units differ.
    pub fn plus(&self, other: &Estimate) -> Result<Estimate> {
        self.same_unit(other, "added to")?;
        Ok(self.joined(other, self.value + other.value, 1.0, 1.0, self.unit.clone()))
    }

    /// Difference of two independent estimates.
    ///
    /// # Errors
    /// The units differ.
    pub fn minus(&self, other: &Estimate) -> Result<Estimate> {
        self.same_unit(other, "subtracted from")?;
        Ok(self.joined(other, self.value - other.value, 1.0, 1.0, self.unit.clone()))
    }

    /// Product of two independent estimates, to first order: the product of the two uncertainties is left out,
    /// which matters where both are large beside their values (GUM 5.1.2, note). The unit is written with a dot;
    /// [`with_unit`](Estimate::with_unit) gives it its usual name.
    ///
    /// ```
    /// # use vialbook::estimate::Estimate;
    /// let dilution = Estimate::new(10.0, 0.03, f64::INFINITY, "");
    /// assert_eq!(Estimate::new(0.042, 0.001, 6.0, "% v/v").times(&dilution).to_string(), "0.420(10) % v/v");
    /// ```
    pub fn times(&self, other: &Estimate) -> Estimate {
        self.joined(other, self.value * other.value, other.value, self.value, unit_product(&self.unit, &other.unit))
    }

    /// Quotient of two independent estimates, to first order: with a relative uncertainty r of the divisor, the
    /// value is low by about r² (1 % at r = 0.1). Equal units cancel.
    ///
    /// # Errors
    /// The divisor is 0.
    pub fn over(&self, other: &Estimate) -> Result<Estimate> {
        if other.value == 0.0 {
            return Err(Error::new(
                ErrorKind::Data,
                format!("{self} cannot be divided by {other}: the divisor is 0, a value other than 0 is wanted"),
            ));
        }
        let quotient = self.value / other.value;
        let unit = unit_quotient(&self.unit, &other.unit);
        Ok(self.joined(other, quotient, 1.0 / other.value, quotient / other.value, unit))
    }

    /// This estimate times an exact number; unit and degrees of freedom stay.
    pub fn scaled(&self, factor: f64) -> Estimate {
        Estimate {
            value: self.value * factor,
            standard_uncertainty: self.known_u() * factor.abs(),
            dof: self.dof,
            unit: self.unit.clone(),
        }
    }

    /// The same content in another unit of the same quantity, such as `mg/L` in `g/L`.
    ///
    /// # Errors
    /// One of the units is not a unit of content, or they measure different quantities.
    ///
    /// ```
    /// # use vialbook::estimate::Estimate;
    /// assert_eq!(Estimate::new(420.0, 12.0, 6.0, "mg/L").in_unit("g/L")?.to_string(), "0.420(12) g/L");
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn in_unit(&self, unit: &str) -> Result<Estimate> {
        let to = ContentUnit::parse(unit)?;
        let from = ContentUnit::parse(&self.unit)?;
        if from == to {
            return Ok(self.with_unit(to.symbol));
        }
        Ok(self.scaled(from.in_units_of(to)?).with_unit(to.symbol))
    }

    /// The same numbers under another name of the unit; nothing is converted.
    pub fn with_unit(&self, unit: impl Into<String>) -> Estimate {
        Estimate { unit: unit.into(), ..self.clone() }
    }

    /// The statement of a result: value, expanded uncertainty, unit, coverage factor, level (GUM 7.2.4):
    /// "0.420 ± 0.034 % v/v (k = 2.2, 95 %)".
    ///
    /// Without degrees of freedom it is "0.420 ± 0.015 % v/v (standard uncertainty)"; without a known
    /// uncertainty "0.4200 % v/v (uncertainty not known)"; with none "0.4200 % v/v (taken as exact)".
    pub fn text(&self, level: f64) -> String {
        self.text_with(level, UncertaintyDigits::Two)
    }

    /// [`text`](Estimate::text) with the digits of the uncertainty chosen.
    ///
    /// ```
    /// # use vialbook::estimate::{Estimate, UncertaintyDigits};
    /// let content = Estimate::new(0.4213, 0.0135, 10.0, "% v/v");
    /// assert_eq!(content.text(0.95), "0.421 ± 0.030 % v/v (k = 2.2, 95 %)");
    /// assert_eq!(content.text_with(0.95, UncertaintyDigits::One), "0.42 ± 0.03 % v/v (k = 2.2, 95 %)");
    /// ```
    pub fn text_with(&self, level: f64, digits: UncertaintyDigits) -> String {
        let u = self.known_u();
        let expanded = self.expanded(level);
        let shown = if expanded.is_finite() { expanded } else { u };
        let number = digits.plus_minus(self.value, shown, &self.unit);
        if !u.is_finite() {
            format!("{number} (uncertainty not known)")
        } else if u == 0.0 {
            format!("{number} (taken as exact)")
        } else if !expanded.is_finite() {
            format!("{number} (standard uncertainty)")
        } else {
            format!("{number} (k = {}, {})", significant(self.coverage_factor(level), 2), text::percent(level))
        }
    }

    /// u, or not a number where it is not known.
    fn known_u(&self) -> f64 {
        let u = self.standard_uncertainty;
        if u.is_finite() && u >= 0.0 { u } else { f64::NAN }
    }

    /// A function of two independent estimates from its value and its two sensitivity coefficients.
    fn joined(&self, other: &Estimate, value: f64, by_self: f64, by_other: f64, unit: String) -> Estimate {
        let parts = [(by_self * self.known_u(), self.dof), (by_other * other.known_u(), other.dof)];
        let standard_uncertainty = libm::hypot(parts[0].0, parts[1].0);
        Estimate { value, standard_uncertainty, dof: welch_satterthwaite(&parts), unit }
    }

    fn same_unit(&self, other: &Estimate, what: &str) -> Result<()> {
        if self.unit == other.unit {
            return Ok(());
        }
        Err(Error::new(
            ErrorKind::Data,
            format!("{self} and {other} have different units; one cannot be {what} the other"),
        )
        .hint("convert one of them with in_unit first"))
    }
}

impl fmt::Display for Estimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&concise(self.value, self.standard_uncertainty, &self.unit))
    }
}

/// Effective degrees of freedom of a sum of independent parts, each `(standard uncertainty, degrees of freedom)`
/// in one unit: ν = u⁴ / Σ (uᵢ⁴/νᵢ) with u² = Σ uᵢ² (Welch 1947; Satterthwaite 1946; GUM G.4.1, eq. G.2b).
///
/// Parts with infinite degrees of freedom or no uncertainty add nothing to the sum of fourth powers; where all
/// are such, the answer is infinite. A part that counts but has no degrees of freedom (0 or less, or not a number),
/// or whose uncertainty is not known, leaves none: 0. The approximation is poor where a dominant part has one or two
/// degrees of freedom; it then gives too narrow or too wide an interval by several percent of coverage.
///
/// ```
/// use vialbook::estimate::welch_satterthwaite;
/// let dof = welch_satterthwaite(&[(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]);
/// assert!((dof - 19.0).abs() < 0.1);
/// ```
pub fn welch_satterthwaite(parts: &[(f64, f64)]) -> f64 {
    let largest = parts.iter().fold(0.0_f64, |m, p| m.max(p.0.abs()));
    if parts.iter().any(|p| !p.0.is_finite()) {
        return 0.0;
    }
    // Relative to the largest, so that fourth powers neither overflow nor vanish.
    let mut variance = 0.0;
    let mut fourth = 0.0;
    for &(u, dof) in parts.iter().filter(|p| p.0 != 0.0) {
        if dof.is_nan() || dof <= 0.0 {
            return 0.0;
        }
        let square = (u / largest) * (u / largest);
        variance += square;
        fourth += square * square / dof;
    }
    if fourth == 0.0 { f64::INFINITY } else { variance * variance / fourth }
}

fn unit_product(a: &str, b: &str) -> String {
    match (a.is_empty(), b.is_empty()) {
        (_, true) => a.to_owned(),
        (true, false) => b.to_owned(),
        (false, false) => format!("{}·{}", bracketed(a, "/"), bracketed(b, "/")),
    }
}

fn unit_quotient(a: &str, b: &str) -> String {
    if a == b {
        String::new()
    } else if b.is_empty() {
        a.to_owned()
    } else {
        let above = if a.is_empty() { "1".to_owned() } else { bracketed(a, "/") };
        format!("{above}/{}", bracketed(b, "/·"))
    }
}

fn bracketed(unit: &str, signs: &str) -> String {
    if unit.contains(|c| signs.contains(c)) { format!("({unit})") } else { unit.to_owned() }
}

/// Infinite degrees of freedom are `null` in JSON, which has no infinity.
mod infinite_as_null {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(dof: &f64, s: S) -> Result<S::Ok, S::Error> {
        // NaN.max(0) is 0: what is no number means none, as 0 does, and must not come back as infinite.
        (*dof != f64::INFINITY).then_some(dof.max(0.0)).serialize(s)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
        Ok(Option::deserialize(d)?.unwrap_or(f64::INFINITY))
    }
}

/// A standard uncertainty that is not known is `null`.
mod unknown_as_null {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(u: &f64, s: S) -> Result<S::Ok, S::Error> {
        (u.is_finite() && *u >= 0.0).then_some(*u).serialize(s)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
        Ok(Option::deserialize(d)?.unwrap_or(f64::NAN))
    }
}
