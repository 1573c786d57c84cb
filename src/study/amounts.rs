//! From a sample's flasks to its amounts, each with interval, budget and, where a limit was fixed, a decision.

use super::calibrations::{Calibrated, FlaskShots, shared_sources};
use super::responses::Measured;
use super::{Added, Injection, Kind, Limit, QuantifyBy, Study, UsedIn};
use crate::calibrate::{Inverse, SharedSource, Unknown};
use crate::compounds;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::{Estimate, interval_text, rounded, significant};
use crate::results::{AmountResult, BudgetEntry, Finding, Severity};
use crate::units::{ContentUnit, Quantity};

/// All amounts, and the decisions that rest on them.
pub(super) struct Decided {
    pub(super) amounts: Vec<AmountResult>,
    pub(super) decisions: Vec<Finding>,
}

/// One sample: its name, what it came in as, and its flasks.
struct Sample {
    name: String,
    kind: Kind,
    flasks: Vec<FlaskShots>,
}
impl Study {
    /// Amounts of every calibrated compound in every sample and check standard, and the decisions.
    pub(super) fn amounts(&self, calibrated: &[Calibrated], measured: &Measured) -> Result<Decided> {
        let mut decided = Decided { amounts: Vec::new(), decisions: Vec::new() };
        for sample in self.samples() {
            for c in calibrated {
                self.sample_amounts(&sample, c, measured, &mut decided)?;
            }
        }
        // Decisions in the order of the limits, whatever the order of the samples.
        let limits = self.config.decision.iter().flat_map(|d| &d.limits);
        let order: Vec<&str> = limits.map(|l| l.compound.as_str()).collect();
        decided.decisions.sort_by_key(|f| order.iter().position(|c| f.what.contains(c)));
        Ok(decided)
    }

    /// Samples and check standards with their flasks, in the order of the log. With an internal standard, flasks
    /// that hold none are checks, not samples.
    fn samples(&self) -> Vec<Sample> {
        let internal = self.config.internal_standard();
        let flasks = self.flasks(|i| {
            i.accepted
                && matches!(i.kind, Kind::Sample | Kind::CheckStandard)
                && internal.is_none_or(|name| i.content(name).is_some_and(|c| c.value > 0.0))
        });
        let mut samples: Vec<Sample> = Vec::new();
        for flask in flasks {
            let first = &self.injections[flask.shots[0]];
            match samples.iter_mut().find(|s| s.name == first.sample && s.kind == first.kind) {
                Some(sample) => sample.flasks.push(flask),
                None => samples.push(Sample { name: first.sample.clone(), kind: first.kind, flasks: vec![flask] }),
            }
        }
        samples
    }

    fn sample_amounts(&self, sample: &Sample, c: &Calibrated, measured: &Measured, decided: &mut Decided) -> Result<()> {
        let compound = c.compound.as_str();
        let internal = self.config.internal_standard();
        let first = &self.injections[sample.flasks[0].shots[0]];
        // A check standard that does not hold this compound says nothing about it.
        let known = first.content(compound);
        if sample.kind == Kind::CheckStandard && known.is_none() {
            return Ok(());
        }
        let mut notes = Vec::new();
        let scales: Vec<Scale> =
            sample.flasks.iter().map(|f| self.scale(&self.injections[f.shots[0]], internal)).collect::<Result<_>>()?;
        let mean = scales.iter().map(|s| s.total()).sum::<f64>() / scales.len() as f64;
        if scales.iter().any(|s| (s.total() / mean - 1.0).abs() > 0.02) {
            notes.push(
                "flasks differ in dilution or internal standard; their responses were brought to the mean, which is \
                 exact for a line through zero only"
                    .to_owned(),
            );
        }
        let (mut means, mut variances, mut shots) = (Vec::new(), 0.0, 0);
        for (flask, scale) in sample.flasks.iter().zip(&scales) {
            let responses = self.responses(&flask.shots, compound, internal, measured)?;
            let k = responses.len() as f64;
            let factor = scale.total() / mean;
            means.push(factor * responses.iter().map(|r| r.0).sum::<f64>() / k);
            variances += (factor / k) * (factor / k) * responses.iter().map(|r| r.1 * r.1).sum::<f64>();
            shots += responses.len();
        }
        let m = means.len();
        let side = if sample.kind == Kind::Sample { UsedIn::Samples } else { UsedIn::Other };
        let shared = if sample.kind == Kind::Sample { shared_sources(&self.config, compound, side) } else { Vec::new() };
        let inverse = c.curve.invert(&Unknown {
            label: sample.name.clone(),
            flask_responses: means,
            response_u: libm::sqrt(variances / m as f64),
            shots_per_flask: shots as f64 / m as f64,
            shared,
            weight: None,
        })?;
        let limits = c.curve.limits(&self.limit_options(m)).ok();
        let detected = match &limits {
            Some(l) => inverse.mean_response > l.critical_response,
            // A negative area is never an amount.
            None => inverse.mean_response > 0.0,
        };
        let scaled = inverse.scaled(mean, &[])?;
        let in_flask = inverse.content * scales.iter().map(|s| s.standard).sum::<f64>() / m as f64;
        let expected = known.filter(|_| sample.kind == Kind::CheckStandard).map(|k| k.value);
        let dilution = mean / (scales.iter().map(|s| s.standard).sum::<f64>() / m as f64);
        let found = Found {
            inverse: scaled,
            unit: c.unit.symbol,
            quantity: c.unit.quantity,
            detected,
            critical: limits.as_ref().map(|l| l.critical_content * mean),
            detection: limits.as_ref().and_then(|l| l.detection_limit).map(|x| x * mean),
            expected: expected.map(|e| e * dilution),
        };
        let describe = |found: &Found| self.describe(found, sample, compound, shots, dilution, Some(in_flask), &notes);
        decided.amounts.push(describe(&found));
        self.decide(sample, compound, c.unit, &found, &mut decided.decisions)?;
        if let Some(by_mass) = self.by_mass(sample, compound, &found)? {
            decided.amounts.push(describe(&by_mass));
        }
        Ok(())
    }

    /// What turns the curve's x into the content of the undiluted sample.
    fn scale(&self, injection: &Injection, internal: Option<&str>) -> Result<Scale> {
        let dilution = injection.dilution.unwrap_or(1.0);
        let Some(name) = internal else { return Ok(Scale { standard: 1.0, dilution }) };
        let standard = injection.content(name).map(|c| c.value).ok_or_else(|| {
            Error::new(ErrorKind::Study, format!("the run \"{}\" states no content of {name}", injection.run))
                .at_line(injection.line)
        })?;
        // Put in before the dilution, the internal standard was diluted with the sample: its content is that in the
        // undiluted sample, and the ratio already speaks of that.
        let once = self.config.quantification.internal_standard_added == Some(Added::BeforeDilution);
        Ok(Scale { standard, dilution: if once { 1.0 } else { dilution } })
    }

    /// The same amount as a mass fraction, where both densities are known: w = φ·ρ(compound)/ρ(sample).
    fn by_mass(&self, sample: &Sample, compound: &str, found: &Found) -> Result<Option<Found>> {
        let q = &self.config.quantification;
        let Some(sample_density) = q.sample_density_g_ml.filter(|d| *d > 0.0) else { return Ok(None) };
        if found.quantity != Quantity::VolumeFraction || sample.kind != Kind::Sample {
            return Ok(None);
        }
        let stated = self.config.compound(compound);
        let (density, density_u) = match stated.and_then(|c| c.density_g_ml) {
            Some(d) => (d, stated.and_then(|c| c.density_u_g_ml)),
            None => {
                let key = stated.and_then(|c| c.cas.as_deref()).unwrap_or(compound);
                match compounds::find(key).and_then(|p| p.density_20_g_ml) {
                    Some(d) => (d.value, d.u),
                    None => return Ok(None),
                }
            }
        };
        let mut sources = Vec::new();
        if let Some(u) = q.sample_density_u_g_ml {
            sources.push(SharedSource::new("density of the sample", u / sample_density));
        }
        if let Some(u) = density_u {
            sources.push(SharedSource::new(format!("density of {compound}"), u / density));
        }
        let unit = ContentUnit::parse("% m/m")?;
        let volume = ContentUnit::parse(found.unit)?;
        let factor = volume.factor / unit.factor * density / sample_density;
        Ok(Some(Found {
            inverse: found.inverse.scaled(factor, &sources)?,
            unit: unit.symbol,
            quantity: unit.quantity,
            detected: found.detected,
            critical: found.critical.map(|x| x * factor),
            detection: found.detection.map(|x| x * factor),
            expected: None,
        }))
    }

    #[allow(clippy::too_many_arguments)] // the contract of an amount has many fields
    fn describe(
        &self,
        found: &Found,
        sample: &Sample,
        compound: &str,
        shots: usize,
        dilution: f64,
        in_flask: Option<f64>,
        notes: &[String],
    ) -> AmountResult {
        let inverse = &found.inverse;
        let variance: f64 = inverse.contributions.iter().map(|k| k.u * k.u).sum();
        let budget = inverse
            .contributions
            .iter()
            .filter(|_| variance > 0.0)
            .map(|k| BudgetEntry {
                source: k.source.clone(),
                scope: k.scope.word().to_owned(),
                evaluation: if k.type_a { "A" } else { "B" }.to_owned(),
                contribution: k.u,
                share: k.u * k.u / variance,
                dof: k.dof,
            })
            .collect();
        AmountResult {
            sample: sample.name.clone(),
            kind: sample.kind.word().to_owned(),
            compound: compound.to_owned(),
            quantity: found.quantity.words().to_owned(),
            of: if dilution > 1.0 || self.before_dilution() { "undiluted sample" } else { "solution as injected" }.to_owned(),
            value: inverse.content,
            u: inverse.u,
            dof: inverse.dof,
            coverage_probability: inverse.level,
            interval: inverse.interval,
            unit: found.unit.to_owned(),
            n_preparations: sample.flasks.len(),
            n_injections: shots,
            detected: found.detected,
            critical_value: found.critical,
            detection_limit: found.detection,
            in_flask,
            dilution_applied: dilution,
            expected: found.expected,
            recovery_percent: found.expected.filter(|e| *e > 0.0).map(|e| 100.0 * inverse.content / e),
            text: found.text(),
            budget,
            notes: inverse.notes.iter().map(ToString::to_string).chain(notes.iter().cloned()).collect(),
        }
    }

    fn before_dilution(&self) -> bool {
        self.config.quantification.by == QuantifyBy::InternalStandard
            && self.config.quantification.internal_standard_added == Some(Added::BeforeDilution)
    }

    /// The decision by the rule fixed beforehand, for each limit of this compound in this quantity.
    fn decide(
        &self,
        sample: &Sample,
        compound: &str,
        unit: ContentUnit,
        found: &Found,
        decisions: &mut Vec<Finding>,
    ) -> Result<()> {
        let Some(rule) = &self.config.decision else { return Ok(()) };
        if sample.kind != Kind::Sample {
            return Ok(());
        }
        for limit in rule.limits.iter().filter(|l| l.compound == compound) {
            let to_ours = limit.unit.in_units_of(unit).map_err(|e| e.at_field("decision.limit").in_file("study.toml"))?;
            let inside = within(&found.inverse, limit, to_ours);
            let (severity, why) = match inside {
                None => (
                    Severity::Warn,
                    "too few degrees of freedom for a probability: no decision follows from these data".to_owned(),
                ),
                Some(p) => {
                    let severity = if p >= rule.probability {
                        Severity::Pass
                    } else if 1.0 - p >= rule.probability {
                        Severity::Fail
                    } else {
                        Severity::Warn
                    };
                    (severity, format!("found {}; the true content lies within the limit with a probability of {}", found.text(), probability(p)))
                }
            };
            decisions.push(Finding {
                severity,
                what: format!("decision: {compound} within its limit"),
                figure: inside,
                limit: Some(rule.probability),
                origin: limit.origin.clone(),
                place: sample.name.clone(),
                why,
                next: match severity {
                    Severity::Pass => None,
                    Severity::Fail => Some("not within the limit: do not use it as if it were".to_owned()),
                    Severity::Warn => Some("undecided by the rule fixed beforehand: more flasks narrow the interval".to_owned()),
                },
            });
        }
        Ok(())
    }
}

/// What multiplies x: the internal standard's content (1 without one), and the dilution.
struct Scale {
    standard: f64,
    dilution: f64,
}

impl Scale {
    fn total(&self) -> f64 {
        self.standard * self.dilution
    }
}

/// An amount in one quantity, in its own unit.
struct Found {
    inverse: Inverse,
    unit: &'static str,
    quantity: Quantity,
    detected: bool,
    critical: Option<f64>,
    detection: Option<f64>,
    expected: Option<f64>,
}

impl Found {
    /// The amount in words, the same everywhere.
    fn text(&self) -> String {
        let i = &self.inverse;
        let number = match (i.u, i.interval) {
            (Some(u), _) => Estimate::new(i.content, u, i.dof.unwrap_or(f64::INFINITY), self.unit).text(i.level),
            (None, [None, None]) => format!("{} {} (uncertainty not known)", significant(i.content, 3), self.unit),
            (None, ends) => {
                let width = ends[0].zip(ends[1]).map_or(i.content.abs(), |(a, b)| 0.5 * (b - a));
                format!(
                    "{} {} ({} % interval {})",
                    rounded(i.content, 0.5 * width),
                    self.unit,
                    significant(100.0 * i.level, 3),
                    interval_text(ends, 0.5 * width, self.unit)
                )
            }
        };
        if self.detected {
            return number;
        }
        match self.detection {
            Some(limit) => format!("not detected (detection limit {} {}); value {number}", significant(limit, 2), self.unit),
            None => format!("not detected; value {number}"),
        }
    }
}

/// Probability that the true content lies within a limit stated in a unit that is `to_ours` of the inverse's.
fn within(inverse: &Inverse, limit: &Limit, to_ours: f64) -> Option<f64> {
    match (limit.low.map(|x| x * to_ours), limit.high.map(|x| x * to_ours)) {
        (Some(a), Some(b)) => inverse.probability_between(a, b),
        (Some(a), None) => inverse.probability_above(a),
        (None, Some(b)) => inverse.probability_above(b).map(|p| 1.0 - p),
        (None, None) => None,
    }
}

/// A probability in percent, never rounded to certainty.
fn probability(p: f64) -> String {
    match 100.0 * p {
        x if x > 99.9 => "more than 99.9 %".to_owned(),
        x if x < 0.1 => "less than 0.1 %".to_owned(),
        x => format!("{x:.1} %"),
    }
}
