//! From a sample's flasks to its amounts, each with interval, budget and, where a limit was fixed, a decision.

use super::as_results::budget_entry;
use super::calibrations::{Calibrated, FlaskShots, shared_sources};
use super::replicates::replicates;
use super::responses::Measured;
use super::{Injection, Kind, Limit, QuantifyBy, Study, UsedIn};
use crate::calibrate::Unknown;
use crate::compounds;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::rounded;
use crate::quantify::{
    Amount, Decision, DecisionRule, Density, Dilution, InternalStandardContent, Materials, MonteCarloOptions, Target,
    Verdict,
};
use crate::results::{AmountResult, Finding, FlaskContent, MonteCarloResult, ReplicateResult, Severity};
use crate::units::{ContentUnit, Quantity};

/// All amounts, and the decisions that rest on them.
pub(super) struct Decided {
    pub(super) amounts: Vec<AmountResult>,
    pub(super) decisions: Vec<Finding>,
    pub(super) replicates: Vec<ReplicateResult>,
}

/// One sample: its name, what it came in as, and its flasks.
pub(super) struct Sample {
    pub(super) name: String,
    pub(super) kind: Kind,
    pub(super) flasks: Vec<FlaskShots>,
}

impl Study {
    /// Amounts of every calibrated compound in every sample and check standard, and the decisions.
    pub(super) fn amounts(&self, calibrated: &[Calibrated], measured: &Measured) -> Result<Decided> {
        let mut decided = Decided { amounts: Vec::new(), decisions: Vec::new(), replicates: Vec::new() };
        match self.config.quantification.by {
            QuantifyBy::OneStandard | QuantifyBy::Bracketing => {
                for sample in self.samples() {
                    self.by_few_standards(&sample, measured, &mut decided)?;
                }
            }
            QuantifyBy::Normalisation => {
                for sample in self.samples().iter().filter(|s| s.kind == Kind::Sample) {
                    self.normalised(sample, measured, &mut decided)?;
                }
            }
            _ => {}
        }
        for c in calibrated.iter().filter(|c| c.added_to.is_some()) {
            self.added_amount(c, &mut decided)?;
        }
        for sample in self.samples() {
            for c in calibrated.iter().filter(|c| c.added_to.is_none()) {
                self.sample_amounts(&sample, c, measured, &mut decided)?;
            }
        }
        // Decisions in the order of the limits, whatever the order of the compounds.
        let order: Vec<&str> =
            self.config.decision.iter().flat_map(|d| &d.limits).map(|l| l.compound.as_str()).collect();
        decided.decisions.sort_by_key(|f| order.iter().position(|c| f.what == decision_name(c)));
        Ok(decided)
    }

    /// The amount that a sample's standard addition extrapolates to.
    fn added_amount(&self, c: &Calibrated, decided: &mut Decided) -> Result<()> {
        let name = c.added_to.as_deref().unwrap_or_default();
        let flasks = self.flasks(|i| i.accepted && i.kind == Kind::Addition && i.sample == name);
        let Some(first) = flasks.first().map(|f| &self.injections[f.shots[0]]) else { return Ok(()) };
        let dilution = first.dilution;
        if let Some(odd) = flasks.iter().map(|f| &self.injections[f.shots[0]]).find(|i| i.dilution != dilution) {
            return Err(Error::new(
                ErrorKind::Study,
                format!("the flasks of the addition to \"{name}\" state different dilutions"),
            )
            .at_line(odd.line)
            .hint("every flask of a standard addition holds the same portion of the sample"));
        }
        let target = Target {
            n_injections: flasks.iter().map(|f| f.shots.len()).sum(),
            dilution: Dilution { factor: dilution.unwrap_or(1.0), ..Dilution::default() },
            ..Target::new(name, &c.compound, c.unit)
        };
        let shared = shared_sources(&self.config, &c.compound, UsedIn::Samples);
        let amount = Amount::addition(&c.curve, &target, &shared)?;
        let sample = Sample { name: name.to_owned(), kind: Kind::Sample, flasks };
        self.decide(&sample, &c.compound, c.unit, &amount, &mut decided.decisions)?;
        decided.amounts.push(describe(&sample, &amount, None, &[]));
        Ok(())
    }

    /// Samples and check standards with their flasks, in the order of the log. Where the study quantifies by internal
    /// standard, a flask that holds none is a check, not a sample.
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

    fn sample_amounts(
        &self,
        sample: &Sample,
        c: &Calibrated,
        measured: &Measured,
        decided: &mut Decided,
    ) -> Result<()> {
        let compound = c.compound.as_str();
        let internal = self.config.internal_standard();
        let first = &self.injections[sample.flasks[0].shots[0]];
        let known = first.content(compound).filter(|_| sample.kind == Kind::CheckStandard);
        // A check standard that states no content of this compound says nothing about it.
        if sample.kind == Kind::CheckStandard && known.is_none() {
            return Ok(());
        }
        self.one_making(&sample.flasks)?;
        let scales: Vec<Scale> =
            sample.flasks.iter().map(|f| self.scale(&self.injections[f.shots[0]], internal)).collect::<Result<_>>()?;
        let mean = Scale::mean(&scales);
        let mut notes = Vec::new();
        if scales.iter().any(|s| (s.total() / mean.total() - 1.0).abs() > 0.02) {
            notes.push(
                "flasks differ in dilution or internal standard; their responses were brought to the mean, which is \
                 exact for a line through zero only"
                    .to_owned(),
            );
        }
        let (mut means, mut variance, mut n_injections) = (Vec::new(), 0.0, 0);
        for (flask, scale) in sample.flasks.iter().zip(&scales) {
            let responses = self.responses(&flask.shots, compound, internal, measured)?;
            let share = scale.total() / mean.total() / responses.len() as f64;
            means.push(share * responses.iter().map(|r| r.0).sum::<f64>());
            variance += share * share * responses.iter().map(|r| r.1 * r.1).sum::<f64>();
            n_injections += responses.len();
        }
        let m = means.len() as f64;
        let flask_means = means.clone();
        // Check standards come from another stock: what standards and samples share is not theirs.
        let shared = match sample.kind {
            Kind::Sample => shared_sources(&self.config, compound, UsedIn::Samples),
            _ => Vec::new(),
        };
        let unknown = Unknown {
            label: sample.name.clone(),
            flask_responses: means,
            response_u: libm::sqrt(variance / m),
            shots_per_flask: n_injections as f64 / m,
            shared,
            weight: None,
        };
        let mut target = Target {
            n_injections,
            dilution: Dilution {
                factor: mean.dilution,
                relative_u: 0.0,
                internal_standard: internal.and(self.config.quantification.internal_standard_added),
            },
            zero: self.zero_variance(compound, measured),
            ..Target::new(&sample.name, compound, c.unit)
        };
        let find = |target: &Target| match internal {
            None => Amount::external(&c.curve, &unknown, target),
            Some(_) => {
                let content = InternalStandardContent { content: mean.standard, sources: Vec::new() };
                Amount::internal(&c.curve, &unknown, target, &content, c.volume_cancels.as_ref())
            }
        };
        let amount = find(&target)?;
        self.decide(sample, compound, c.unit, &amount, &mut decided.decisions)?;
        let expected = known.map(|k| k.value * amount.dilution_applied);
        let mut described = describe(sample, &amount, expected, &notes);
        if sample.kind == Kind::Sample {
            self.check_by_trials(&amount, &mut described)?;
        }
        decided.amounts.push(described);
        // Each flask by itself: content on the curve, times what the mean was multiplied by.
        let factor = mean.standard * amount.dilution_applied;
        let each: Option<Vec<FlaskContent>> = (sample.flasks.iter().zip(flask_means))
            .map(|(f, y)| {
                let value = c.curve.content_at(y)? * factor;
                Some(FlaskContent { flask: f.label.clone(), value, shots: f.shots.len() })
            })
            .collect();
        decided.replicates.extend(each.map(|flasks| replicates(&sample.name, sample.kind, compound, c.unit, flasks)));
        // As a mass fraction too, where the densities are known.
        if c.unit.quantity == Quantity::VolumeFraction && sample.kind == Kind::Sample {
            let materials = self.materials(compound);
            if materials.component_density.is_some() && materials.solution_density.is_some() {
                target.materials = materials;
                target.unit = ContentUnit::parse("% m/m")?;
                decided.amounts.push(describe(sample, &find(&target)?, None, &notes));
            }
        }
        Ok(())
    }

    /// What turns the curve's x into a content: the internal standard's content, and the dilution.
    pub(super) fn scale(&self, injection: &Injection, internal: Option<&str>) -> Result<Scale> {
        let dilution = injection.dilution.unwrap_or(1.0);
        let Some(name) = internal else { return Ok(Scale { standard: 1.0, dilution }) };
        let standard = injection.content(name).map(|c| c.value).ok_or_else(|| {
            Error::new(ErrorKind::Study, format!("the run \"{}\" states no content of {name}", injection.run))
                .at_line(injection.line)
        })?;
        Ok(Scale { standard, dilution })
    }

    /// Densities of the compound and of the sample, as study.toml or the table of compounds has them.
    fn materials(&self, compound: &str) -> Materials {
        let q = &self.config.quantification;
        let density =
            |g_per_ml: f64, u: Option<f64>, temperature_c| Density { g_per_ml, u: u.unwrap_or(0.0), temperature_c };
        let stated = self.config.compound(compound);
        let component_density = match stated.and_then(|c| c.density_g_ml) {
            Some(d) => Some(density(d, stated.and_then(|c| c.density_u_g_ml), None)),
            None => compounds::find(stated.and_then(|c| c.cas.as_deref()).unwrap_or(compound))
                .and_then(|p| p.density_20_g_ml)
                .map(|d| density(d.value, d.u, Some(20.0))),
        };
        let solution_density = q.sample_density_g_ml.map(|d| density(d, q.sample_density_u_g_ml, None));
        Materials { component_density, solution_density, ..Materials::default() }
    }

    /// Propagation of distributions, where study.toml asks for it.
    fn check_by_trials(&self, amount: &Amount, into: &mut AmountResult) -> Result<()> {
        let Some(trials) = self.config.quantification.monte_carlo_trials else { return Ok(()) };
        if amount.inverse.probability_above(0.0).is_none() {
            return Ok(());
        }
        let found = amount.inverse.monte_carlo(&MonteCarloOptions { trials, ..MonteCarloOptions::default() })?;
        into.notes.push(found.to_string());
        into.monte_carlo = Some(MonteCarloResult {
            trials,
            interval: found.interval,
            linear: found.linear,
            tolerance: found.tolerance,
            linear_is_good: found.linear_is_good(),
            text: found.to_string(),
        });
        Ok(())
    }

    /// The decision by the rule fixed beforehand, for each limit of this compound.
    fn decide(
        &self,
        sample: &Sample,
        compound: &str,
        unit: ContentUnit,
        amount: &Amount,
        decisions: &mut Vec<Finding>,
    ) -> Result<()> {
        let Some(rule) = self.config.decision.as_ref().filter(|_| sample.kind == Kind::Sample) else { return Ok(()) };
        for limit in rule.limits.iter().filter(|l| l.compound == compound) {
            let ours =
                limit.unit.in_units_of(unit).map_err(|e| e.at_field("decision.limit.unit").in_file("study.toml"))?;
            let decision = DecisionRule {
                low: limit.low.map(|x| x * ours),
                high: limit.high.map(|x| x * ours),
                probability: rule.probability,
            }
            .decide(&amount.inverse)?;
            decisions.push(decision_finding(sample, limit, amount, &decision));
        }
        Ok(())
    }
}

pub(super) fn decision_name(compound: &str) -> String {
    format!("decision: {compound} within its limit")
}

fn decision_finding(sample: &Sample, limit: &Limit, amount: &Amount, decision: &Decision) -> Finding {
    let within = decision.within;
    let (severity, next) = match decision.verdict {
        Verdict::Accept => (Severity::Pass, None),
        Verdict::Reject => (Severity::Fail, Some("it is outside: do not use it as if it were within")),
        Verdict::Undecided => {
            (Severity::Warn, Some("undecided by the rule fixed beforehand; more flasks narrow the interval"))
        }
    };
    let why = match within {
        Some(p) => format!(
            "found {}; the true content lies within the limit with a probability of {}{}{}",
            amount.text(),
            percent(p),
            match decision.verdict {
                Verdict::Accept => format!("; the risk of a wrong acceptance is {}", percent(1.0 - p)),
                Verdict::Reject => format!("; the risk of a wrong rejection is {}", percent(p)),
                Verdict::Undecided => String::new(),
            },
            guard_band(decision, amount)
        ),
        None => "too few degrees of freedom for a probability: no decision follows from these data".to_owned(),
    };
    Finding {
        severity,
        what: decision_name(&limit.compound),
        figure: within,
        limit: Some(decision.rule.probability),
        origin: limit.origin.clone(),
        place: sample.name.clone(),
        why,
        next: next.map(str::to_owned),
    }
}

/// Between which values found the rule accepts (JCGM 106:2012).
fn guard_band(decision: &Decision, amount: &Amount) -> String {
    let u = amount.u.unwrap_or(f64::NAN);
    let shown = |x: f64| rounded(x, u);
    match decision.accepted_between {
        [None, None] => String::new(),
        [Some(low), Some(high)] if low >= high => {
            "; with this uncertainty no value found between the limits would be accepted".to_owned()
        }
        [Some(low), Some(high)] => {
            format!(
                "; with its guard bands the rule accepts values from {} to {} {}",
                shown(low),
                shown(high),
                amount.unit
            )
        }
        [Some(low), None] => {
            format!("; with its guard band the rule accepts values from {} {}", shown(low), amount.unit)
        }
        [None, Some(high)] => {
            format!("; with its guard band the rule accepts values up to {} {}", shown(high), amount.unit)
        }
    }
}

/// A probability in percent, never rounded to certainty.
fn percent(p: f64) -> String {
    match 100.0 * p {
        x if x > 99.9 => "more than 99.9 %".to_owned(),
        x if x < 0.1 => "less than 0.1 %".to_owned(),
        x => format!("{x:.1} %"),
    }
}

/// An amount as it stands in the results.
fn describe(sample: &Sample, amount: &Amount, expected: Option<f64>, notes: &[String]) -> AmountResult {
    AmountResult {
        sample: sample.name.clone(),
        kind: sample.kind.word().to_owned(),
        compound: amount.compound.clone(),
        quantity: amount.quantity.words().to_owned(),
        of: amount.of.clone(),
        value: amount.value,
        u: amount.u,
        dof: amount.dof,
        coverage_probability: amount.coverage_probability,
        interval: amount.interval,
        unit: amount.unit.clone(),
        n_preparations: amount.n_preparations,
        n_injections: amount.n_injections,
        detected: amount.detected,
        critical_value: amount.critical_value,
        detection_limit: amount.detection_limit,
        in_flask: Some(amount.in_flask),
        dilution_applied: amount.dilution_applied,
        expected,
        recovery_percent: expected.filter(|e| *e > 0.0).map(|e| 100.0 * amount.value / e),
        text: amount.text(),
        budget: amount.budget.iter().map(budget_entry).collect(),
        monte_carlo: None,
        notes: amount.notes.iter().map(ToString::to_string).chain(notes.iter().cloned()).collect(),
    }
}

/// What multiplies x: the internal standard's content (1 without one), and the dilution as logged.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub(super) standard: f64,
    pub(super) dilution: f64,
}

impl Scale {
    pub(super) fn total(self) -> f64 {
        self.standard * self.dilution
    }

    /// Means over flasks; with equal flasks, theirs to the last bit.
    pub(super) fn mean(scales: &[Scale]) -> Scale {
        let first = scales[0];
        let mean = |f: fn(&Scale) -> f64| {
            if scales.iter().all(|s| f(s) == f(&first)) {
                f(&first)
            } else {
                scales.iter().map(f).sum::<f64>() / scales.len() as f64
            }
        };
        Scale { standard: mean(|s| s.standard), dilution: mean(|s| s.dilution) }
    }
}
