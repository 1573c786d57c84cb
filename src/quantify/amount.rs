//! Amount: what a sample holds, in the unit asked for, with interval, detection and budget.

use std::fmt;

use super::budget::{BudgetLine, budget};
use super::convert::{Conversion, Materials};
use super::dilution::{Added, Dilution};
use super::internal::{InternalStandardContent, VolumeCancels};
use super::notes::AmountNote;
use crate::calibrate::{Curve, CurveNote, Inverse, LimitOptions, Limits, SharedSource, Unknown, ZeroVariance};
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{Estimate, interval_text, significant};
use crate::units::{ContentUnit, Quantity};

/// What is asked about a sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// Shots behind the result, all flasks together.
    pub n_injections: usize,
    /// Unit of the curve's contents (of the compound's content, where the curve is one of ratios).
    pub curve_unit: ContentUnit,
    /// Unit of the result.
    pub unit: ContentUnit,
    /// How the sample was diluted.
    pub dilution: Dilution,
    /// Densities and molar masses, where the result is another quantity than the curve's.
    pub materials: Materials,
    /// Where the variance at content zero comes from, for the critical value.
    pub zero: ZeroVariance,
}

impl Target {
    /// A target in the curve's own unit, undiluted.
    pub fn new(sample: impl Into<String>, compound: impl Into<String>, unit: ContentUnit) -> Self {
        Target {
            sample: sample.into(),
            compound: compound.into(),
            n_injections: 0,
            curve_unit: unit,
            unit,
            dilution: Dilution::default(),
            materials: Materials::default(),
            zero: ZeroVariance::FromCurve,
        }
    }
}

/// What a sample holds of a compound.
///
/// A value below the critical value keeps its signed number and u beside `detected: false`; a value outside the range
/// of the standards keeps its number, with a note that says what to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Amount {
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: String,
    /// The quantity.
    pub quantity: Quantity,
    /// Of what it is a fraction, and in which sample: "mass of the component per volume of the sample, as received".
    pub of: String,
    /// The value, signed.
    pub value: f64,
    /// Its standard uncertainty, for budgets; `None` where a symmetric one would mislead, or without inference.
    pub u: Option<f64>,
    /// Effective degrees of freedom; `None` where there is no limit.
    pub dof: Option<f64>,
    /// Level of the interval.
    pub coverage_probability: f64,
    /// The interval; an open end is `None`.
    pub interval: [Option<f64>; 2],
    /// Unit.
    pub unit: String,
    /// Flasks of the sample.
    pub n_preparations: usize,
    /// Shots, all flasks together.
    pub n_injections: usize,
    /// False below the critical value.
    pub detected: bool,
    /// Critical value in the same unit.
    pub critical_value: Option<f64>,
    /// Detection limit in the same unit.
    pub detection_limit: Option<f64>,
    /// Content in the flask that was injected, in the curve's unit, before dilution and conversion.
    pub in_flask: f64,
    /// Dilution multiplied in; 1 where none.
    pub dilution_applied: f64,
    /// Where the uncertainty comes from, largest share first.
    pub budget: Vec<BudgetLine>,
    /// Doubts and remarks.
    pub notes: Vec<AmountNote>,
    /// The content with its pivot, in the unit of the result: probabilities against limits are asked here.
    pub inverse: Inverse,
}

impl Amount {
    /// By external standard: the responses are areas, the injected volume counts.
    ///
    /// # Errors
    /// As [`Curve::invert`]; a dilution below 1; a conversion that lacks a density or molar mass.
    pub fn external(curve: &Curve, unknown: &Unknown, target: &Target) -> Result<Amount> {
        let mut amount = find(curve, unknown, target, None)?;
        amount.notes.push(AmountNote::VolumeCounts);
        Ok(amount)
    }

    /// By internal standard: responses are ratios of areas, contents of the curve ratios to the internal standard's
    /// content, and `internal_standard` is that content in the sample: of the injected flask, or of the undiluted
    /// sample where the standard went in before the dilution.
    ///
    /// # Errors
    /// As [`Amount::external`]; a content of the internal standard that is not positive; a dilution that does not say
    /// when the internal standard went in.
    pub fn internal(
        curve: &Curve,
        unknown: &Unknown,
        target: &Target,
        internal_standard: &InternalStandardContent,
        volume: Option<&VolumeCancels>,
    ) -> Result<Amount> {
        let content = internal_standard.content;
        if !(content > 0.0 && content.is_finite()) {
            return Err(Error::new(
                ErrorKind::Study,
                format!(
                    "{}: a content of the internal standard of {content}; a positive number is wanted",
                    target.sample
                ),
            ));
        }
        if target.dilution.factor != 1.0 && target.dilution.internal_standard.is_none() {
            return Err(Error::new(
                ErrorKind::Ambiguous,
                format!(
                    "{}: diluted by {}, but it is not said whether the internal standard went in before or after",
                    target.sample, target.dilution.factor
                ),
            )
            .hint("say \"before\" where it went into the sample, \"after\" where it went into the flask made up"));
        }
        let mut amount = find(curve, unknown, target, Some(internal_standard))?;
        if volume.is_some_and(|v| !v.cancels) {
            amount.notes.push(AmountNote::VolumeDoesNotCancel);
        }
        Ok(amount)
    }

    /// By standard addition: `curve` is the line of response on added content over flasks with equal portions of the
    /// sample, and the content is what [`Curve::added_to`] extrapolates to, times the dilution. `shared` are sources
    /// common to the whole addition besides those of the curve. Detected where a content above 0 is at least 95 %
    /// probable; there is no detection limit beforehand, since it depends on what the sample holds.
    ///
    /// # Errors
    /// As [`Curve::added_to`]; a dilution below 1; a conversion that lacks a density or molar mass.
    pub fn addition(curve: &Curve, target: &Target, shared: &[SharedSource]) -> Result<Amount> {
        let found = curve.added_to(shared)?;
        let applied = target.dilution.applied()?;
        let conversion = Conversion::between(target.curve_unit, target.unit, &target.materials)?;
        let mut sources: Vec<SharedSource> = target.dilution.source().into_iter().collect();
        sources.extend(conversion.sources.iter().cloned());
        let inverse = found.scaled(applied * conversion.factor, &sources)?;
        let detected = inverse.probability_above(0.0).is_some_and(|p| p >= 0.95);
        let mut notes: Vec<AmountNote> = inverse.notes.iter().cloned().map(AmountNote::Content).collect();
        if !detected {
            notes.push(AmountNote::NotDetected);
        }
        if applied != 1.0 {
            notes.push(AmountNote::DilutionApplied { factor: applied });
        }
        notes.push(AmountNote::Extrapolated);
        Ok(Amount { detected, notes, ..Amount::of_flask(&found, inverse, target, &conversion, applied) })
    }

    /// An amount from the content found in the flask and what it becomes in the sample; what else is known of it
    /// (whether it was detected, limits, notes) is missing.
    fn of_flask(found: &Inverse, inverse: Inverse, target: &Target, conversion: &Conversion, applied: f64) -> Amount {
        let undiluted = if target.dilution.factor != 1.0 { ", before its dilution" } else { "" };
        Amount {
            sample: target.sample.clone(),
            compound: target.compound.clone(),
            quantity: target.unit.quantity,
            of: format!("{}{undiluted}", conversion.of),
            value: inverse.content,
            u: inverse.u,
            dof: inverse.dof,
            coverage_probability: inverse.level,
            interval: inverse.interval,
            unit: target.unit.symbol.to_owned(),
            n_preparations: found.flasks,
            n_injections: target.n_injections,
            detected: false,
            critical_value: None,
            detection_limit: None,
            in_flask: found.content,
            dilution_applied: applied,
            budget: budget(&inverse),
            notes: Vec::new(),
            inverse,
        }
    }

    /// Value, u and degrees of freedom as one estimate; u is not a number where it is withheld.
    pub fn estimate(&self) -> Estimate {
        self.inverse.estimate(&self.unit)
    }

    /// The result in words: "412.0 ± 6.1 mg/L (k = 2.2, 95 %)", the interval where ± would mislead, "not detected
    /// (detection limit 3.1 mg/L)" below the critical value.
    pub fn text(&self) -> String {
        if !self.detected {
            return match self.detection_limit {
                Some(limit) => format!("not detected (detection limit {} {})", significant(limit, 2), self.unit),
                None => "not detected (detection limit not known)".to_owned(),
            };
        }
        if self.u.is_some() {
            return self.estimate().text(self.coverage_probability);
        }
        let value = format!("{} {}", significant(self.value, 3), self.unit);
        if self.interval == [None, None] {
            return format!("{value} (uncertainty not known)");
        }
        let interval = interval_text(self.interval, f64::NAN, &self.unit);
        format!("{value} ({interval}, {} %)", 100.0 * self.coverage_probability)
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, {}: {} {}", self.sample, self.compound, self.quantity.words(), self.text())
    }
}

/// The common way: content in the flask, times the internal standard, the dilution and the conversion.
fn find(
    curve: &Curve,
    unknown: &Unknown,
    target: &Target,
    standard: Option<&InternalStandardContent>,
) -> Result<Amount> {
    let found = curve.invert(unknown)?;
    let scale = standard.map_or(1.0, |s| s.content);
    let applied = target.dilution.applied()?;
    let conversion = Conversion::between(target.curve_unit, target.unit, &target.materials)?;
    let factor = scale * applied * conversion.factor;
    let mut sources = standard.map(|s| s.sources.clone()).unwrap_or_default();
    sources.extend(target.dilution.source());
    sources.extend(conversion.sources.iter().cloned());
    let inverse = found.scaled(factor, &sources)?;

    let mut notes: Vec<AmountNote> = inverse.notes.iter().cloned().map(AmountNote::Content).collect();
    for note in &curve.notes {
        // What touches every amount found with the curve; the rest stands with the curve.
        if matches!(
            note,
            CurveNote::NoiseTooSmall { .. }
                | CurveNote::NoAreaUncertainty
                | CurveNote::EqualWeightsOverWideRange { .. }
                | CurveNote::InterceptNotZero { .. }
        ) {
            notes.push(AmountNote::Curve(note.clone()));
        }
    }
    let negative = found.mean_response * curve.slope().signum() <= 0.0;
    let options = LimitOptions { flasks: found.flasks, zero: target.zero.clone(), ..LimitOptions::default() };
    let limits = match curve.limits(&options) {
        Ok(limits) => Some(limits),
        Err(e) => {
            notes.push(AmountNote::NoCriticalValue { why: format!("no critical value: {}", e.message()) });
            None
        }
    };
    let detected = !negative && is_detected(curve, unknown, &found, limits.as_ref());
    if negative {
        notes.push(AmountNote::NegativeResponse);
    }
    if !detected {
        notes.push(AmountNote::NotDetected);
        // A content that is not there needs no advice to add a lower standard.
        notes.retain(|n| !matches!(n, AmountNote::Content(crate::calibrate::InverseNote::BelowRange { .. })));
    }
    if applied != 1.0 {
        notes.push(AmountNote::DilutionApplied { factor: applied });
    } else if target.dilution.factor != 1.0 && target.dilution.internal_standard == Some(Added::BeforeDilution) {
        notes.push(AmountNote::DilutionCancels { factor: target.dilution.factor });
    }
    if conversion.mixing_ignored {
        notes.push(AmountNote::MixingIgnored);
    }
    Ok(Amount {
        detected,
        critical_value: limits.as_ref().map(|l| l.critical_content * factor),
        detection_limit: limits.and_then(|l| l.detection_limit).map(|x| x * factor),
        in_flask: found.content * scale,
        notes,
        ..Amount::of_flask(&found, inverse, target, &conversion, applied)
    })
}

/// Above the critical response; without one, above three times the noise (common practice).
fn is_detected(curve: &Curve, unknown: &Unknown, found: &Inverse, limits: Option<&Limits>) -> bool {
    let sign = curve.slope().signum();
    match limits {
        Some(l) => found.mean_response * sign > l.critical_response * sign,
        None => {
            let noise = unknown.response_u / libm::sqrt(found.flasks as f64);
            (found.mean_response - curve.intercept().max(0.0)) * sign > 3.0 * noise
        }
    }
}
