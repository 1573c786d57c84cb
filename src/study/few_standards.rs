//! Amounts by one standard or between two: no curve, and what is taken for granted is said with every amount.

use super::amounts::{Decided, Sample, Scale};
use super::calibrations::shared_sources;
use super::parts::{self, Part};
use super::responses::Measured;
use super::{Kind, QuantifyBy, Role, Study, UsedIn};
use crate::calibrate::Flask;
use crate::error::{Error, ErrorKind, Result};
use crate::quantify::{Added, Bracketed, FlaskMeans, by_one_standard, by_two_standards};
use crate::results::AmountResult;
use crate::units::ContentUnit;

/// A response above so many times its noise counts as detected where there is no curve (common practice).
const DETECTED: f64 = 3.0;

impl Study {
    /// Every analyte of one sample.
    pub(super) fn by_few_standards(&self, sample: &Sample, measured: &Measured, decided: &mut Decided) -> Result<()> {
        for c in self.config.compounds.iter().filter(|c| c.role == Role::Analyte) {
            let levels = self.levels(&c.name, measured)?;
            if let Some((levels, unit)) = levels {
                decided.amounts.extend(self.by_levels(sample, &c.name, &levels, unit, measured)?);
            }
        }
        Ok(())
    }

    /// Standards by their content, lowest first, with the unit of the compound's content.
    fn levels(&self, compound: &str, measured: &Measured) -> Result<Option<(Vec<FlaskMeans>, ContentUnit)>> {
        let internal = self.config.internal_standard();
        let mut flasks = self.flasks(|i| i.kind == Kind::Standard);
        flasks.retain(|f| f.shots.iter().any(|&i| self.injections[i].content(compound).is_some()));
        let Some(first) = flasks.first() else { return Ok(None) };
        let Some(unit) = self.injections[first.shots[0]].content(compound).map(|c| c.unit) else { return Ok(None) };
        self.one_making(&flasks)?;
        let mut levels: Vec<FlaskMeans> = Vec::new();
        for flask in &flasks {
            let Some(f) = self.standard_flask(flask, compound, internal, measured)? else { continue };
            let Flask { content, response, excluded: None, .. } = f else { continue };
            match levels.iter_mut().find(|l| l.content == content) {
                Some(level) => level.responses.push(response),
                None => levels.push(FlaskMeans { content, responses: vec![response] }),
            }
        }
        levels.sort_by(|a, b| a.content.total_cmp(&b.content));
        let (by, n) = (self.config.quantification.by, levels.len());
        let wanted = if by == QuantifyBy::OneStandard { 1 } else { 2 };
        if n < wanted || (by == QuantifyBy::OneStandard && n > 1) {
            let (what, hint) = match (by, n) {
                (_, 0) => ("no standard was accepted".to_owned(), "log a standard with its content"),
                (QuantifyBy::OneStandard, _) => (
                    format!("{n} levels of standards; one is wanted"),
                    "with two levels by = \"bracketing\" is better, with three or more a calibration",
                ),
                _ => {
                    (format!("{n} level of standards; two or more are wanted"), "make one on either side of the sample")
                }
            };
            return Err(Error::new(ErrorKind::Study, format!("{compound}: {what}"))
                .at_field("quantification.by")
                .in_file("study.toml")
                .hint(hint));
        }
        Ok(Some((levels, unit)))
    }

    fn by_levels(
        &self,
        sample: &Sample,
        compound: &str,
        levels: &[FlaskMeans],
        unit: ContentUnit,
        measured: &Measured,
    ) -> Result<Option<AmountResult>> {
        let internal = self.config.internal_standard();
        let known = self.injections[sample.flasks[0].shots[0]].content(compound);
        let known = known.filter(|_| sample.kind == Kind::CheckStandard).map(|k| k.value);
        if sample.kind == Kind::CheckStandard && known.is_none() {
            return Ok(None);
        }
        self.one_making(&sample.flasks)?;
        let scales: Vec<Scale> =
            sample.flasks.iter().map(|f| self.scale(&self.injections[f.shots[0]], internal)).collect::<Result<_>>()?;
        let mean = Scale::mean(&scales);
        let (mut responses, mut noise, mut shots) = (Vec::new(), 0.0, 0);
        for (flask, scale) in sample.flasks.iter().zip(&scales) {
            let own = self.responses(&flask.shots, compound, internal, measured)?;
            let share = scale.total() / mean.total() / own.len() as f64;
            responses.push(share * own.iter().map(|r| r.0).sum::<f64>());
            noise += share * share * own.iter().map(|r| r.1 * r.1).sum::<f64>();
            shots += own.len();
        }
        let m = responses.len() as f64;
        let (y, y_u) = (responses.iter().sum::<f64>() / m, noise.sqrt() / m);
        let unknown = FlaskMeans { content: 0.0, responses };
        let found = match levels {
            [one] => by_one_standard(one, &unknown)?,
            several => {
                let [low, high] = around(several, y);
                by_two_standards(low, high, &unknown)?
            }
        };
        let before =
            internal.is_some() && self.config.quantification.internal_standard_added == Some(Added::BeforeDilution);
        let dilution = if before { 1.0 } else { mean.dilution };
        let mut shared = shared_sources(&self.config, compound, UsedIn::Standards);
        if sample.kind == Kind::Sample {
            shared.extend(shared_sources(&self.config, compound, UsedIn::Samples));
        }
        let shared = shared.into_iter().map(|s| (s.name, s.relative_u)).collect::<Vec<_>>();
        let mut amount = self.few_amount(&found, mean.standard * dilution, &shared, unit);
        amount.sample = sample.name.clone();
        amount.kind = sample.kind.word().to_owned();
        amount.compound = compound.to_owned();
        amount.n_preparations = sample.flasks.len();
        amount.n_injections = shots;
        amount.in_flask = Some(found.content * mean.standard);
        amount.dilution_applied = dilution;
        amount.detected = y > DETECTED * y_u && y > 0.0;
        if !amount.detected {
            amount.text = "not detected (detection limit not known)".to_owned();
        }
        let expected = known.map(|k| k * dilution);
        amount.expected = expected;
        amount.recovery_percent = expected.filter(|e| *e > 0.0).map(|e| 100.0 * amount.value / e);
        Ok(Some(amount))
    }

    /// Content with scatter and shared sources, in words and numbers.
    fn few_amount(&self, found: &Bracketed, factor: f64, shared: &[(String, f64)], unit: ContentUnit) -> AmountResult {
        let level = self.config.quantification.level;
        let value = found.content * factor;
        let parts = found.u.map(|u| {
            let scatter = Part::new("scatter of the flasks", "flask", "A", u * factor.abs(), Some(found.dof));
            let shared =
                shared.iter().map(|(name, u)| Part::new(name.as_str(), "shared", "B", (u * value).abs(), None));
            std::iter::once(scatter).chain(shared).collect::<Vec<Part>>()
        });
        AmountResult {
            notes: found.cautions.iter().map(ToString::to_string).collect(),
            ..parts::amount(value, "sample, as received", parts.as_deref(), unit, level)
        }
    }
}

/// The two levels around a response, or the two nearest to it.
fn around(levels: &[FlaskMeans], y: f64) -> [&FlaskMeans; 2] {
    let mean = |l: &FlaskMeans| l.responses.iter().sum::<f64>() / l.responses.len().max(1) as f64;
    let above = levels.iter().position(|l| mean(l) >= y).unwrap_or(levels.len() - 1).max(1);
    [&levels[above - 1], &levels[above]]
}
