//! Flasks beside each other, and the scatter of shots, flasks and days: advice, nothing is left out by it.

use super::calibrations::Calibrated;
use super::responses::Measured;
use super::{Kind, Study};
use crate::calibrate::{DayScatter, NestedScatter, Outlier, dixon, grubbs, horwitz_thompson, robust_mean};
use crate::numeric::sample_sd;
use crate::results::{FlaskContent, OutlierResult, ReplicateResult, RobustResult, ScatterResult};
use crate::units::{ContentUnit, Quantity};

/// A response this many times its uncertainty from the trace tells on relative scatter; below, noise has the say.
const CLEAR: f64 = 20.0;

/// What the flasks of one sample say together.
pub(super) fn replicates(
    sample: &str,
    kind: Kind,
    compound: &str,
    unit: ContentUnit,
    flasks: Vec<FlaskContent>,
) -> ReplicateResult {
    let values: Vec<f64> = flasks.iter().map(|f| f.value).collect();
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let outlier = |found: crate::error::Result<Outlier>| {
        found.ok().map(|o| OutlierResult {
            flask: flasks[o.index].flask.clone(),
            statistic_name: o.statistic_name.to_owned(),
            statistic: o.statistic,
            p_value: o.p_value,
        })
    };
    let (grubbs, dixon) = (outlier(grubbs(&values)), outlier(dixon(&values)));
    let robust = robust_mean(&values).ok().map(|r| RobustResult { mean: r.mean, sd: r.sd, u: r.u });
    let predicted = (unit.quantity == Quantity::MassFraction).then(|| horwitz_thompson(mean * unit.factor).ok());
    ReplicateResult {
        sample: sample.to_owned(),
        kind: kind.word().to_owned(),
        compound: compound.to_owned(),
        unit: unit.symbol.to_owned(),
        mean,
        sd: sample_sd(&values),
        robust,
        grubbs,
        dixon,
        predicted_rsd_percent: predicted.flatten().map(|r| 100.0 * r),
        flasks,
    }
}

impl Study {
    /// Relative scatter of each calibrated compound, by shot, flask and day.
    pub(super) fn scatter(&self, calibrated: &[Calibrated], measured: &Measured) -> Vec<ScatterResult> {
        let mut all: Vec<ScatterResult> = Vec::new();
        for c in calibrated {
            if all.iter().all(|s| s.compound != c.compound) {
                all.extend(self.scatter_of(&c.compound, measured));
            }
        }
        all
    }

    fn scatter_of(&self, compound: &str, measured: &Measured) -> Option<ScatterResult> {
        let internal = self.config.internal_standard();
        let groups = self.scatter_groups(compound, internal, measured);
        let flat: Vec<Vec<Vec<f64>>> = groups.iter().map(|days| joined(days)).collect();
        let nested = NestedScatter::of(&flat).ok()?;
        let days: Vec<Vec<Vec<Vec<f64>>>> = groups
            .iter()
            .map(|days| days.iter().map(|d| d.flasks.iter().map(|f| f.1.clone()).collect()).collect())
            .collect();
        let over_days = DayScatter::of(&days).ok();
        let percent = |sd: Option<f64>| sd.map(|s| 100.0 * s).filter(|s| s.is_finite());
        Some(ScatterResult {
            compound: compound.to_owned(),
            shot_rsd_percent: percent(nested.shot_sd),
            shot_dof: nested.shot_dof,
            flask_rsd_percent: percent(nested.flask_mean_sd),
            flask_dof: nested.flask_dof,
            flask_variance_percent2: nested.flask_variance.map(|v| 1e4 * v).filter(|v| v.is_finite()),
            flask_p_value: nested.p_value,
            day_variance_percent2: over_days.and_then(|d| d.day_variance).map(|v| 1e4 * v).filter(|v| v.is_finite()),
            day_dof: over_days.map(|d| d.day_dof),
            day_p_value: over_days.and_then(|d| d.p_value),
        })
    }

    /// Responses over their group's mean: standards of one level, flasks of one sample, by day. Groups whose flasks were made
    /// differently, and those in which noise has the say, are left out.
    fn scatter_groups(&self, compound: &str, internal: Option<&str>, measured: &Measured) -> Vec<Vec<Day>> {
        let content = |i: usize, name: &str| self.injections[i].content(name).map(|c| c.value);
        // What makes the flasks of a group alike: name, kind, contents stated, dilution.
        let mut groups: Vec<(String, Vec<Day>)> = Vec::new();
        let flasks =
            self.flasks(|i| i.accepted && matches!(i.kind, Kind::Standard | Kind::Sample | Kind::CheckStandard));
        for flask in &flasks {
            let first = flask.shots[0];
            let i = &self.injections[first];
            let held = internal.map(|name| content(first, name).unwrap_or(0.0));
            if held.is_some_and(|c| c <= 0.0) {
                continue;
            }
            let Ok(responses) = self.responses(&flask.shots, compound, internal, measured) else { continue };
            if responses.iter().any(|(y, u)| *y <= CLEAR * u) {
                continue;
            }
            let key =
                format!("{}|{}|{:?}|{held:?}|{:?}", i.kind.word(), i.sample, content(first, compound), i.dilution);
            let days = match groups.iter_mut().find(|g| g.0 == key) {
                Some(group) => &mut group.1,
                None => {
                    groups.push((key, Vec::new()));
                    let last = groups.len() - 1;
                    &mut groups[last].1
                }
            };
            for (&shot, (y, _)) in flask.shots.iter().zip(&responses) {
                let date =
                    self.injections[shot].time.as_deref().and_then(|t| t.get(..10)).unwrap_or_default().to_owned();
                let day = match days.iter().position(|d| d.date == date) {
                    Some(k) => &mut days[k],
                    None => {
                        days.push(Day { date, flasks: Vec::new() });
                        let last = days.len() - 1;
                        &mut days[last]
                    }
                };
                match day.flasks.iter_mut().find(|f| f.0 == flask.label) {
                    Some(f) => f.1.push(*y),
                    None => day.flasks.push((flask.label.clone(), vec![*y])),
                }
            }
        }
        for (_, days) in &mut groups {
            let all: Vec<f64> = days.iter().flat_map(|d| &d.flasks).flat_map(|f| &f.1).copied().collect();
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            days.iter_mut().flat_map(|d| &mut d.flasks).flat_map(|f| &mut f.1).for_each(|y| *y /= mean);
        }
        groups.into_iter().map(|g| g.1).collect()
    }
}

/// What was measured on one day: flasks with their shots.
struct Day {
    date: String,
    flasks: Vec<(String, Vec<f64>)>,
}

/// Flasks with all their shots, whatever the day.
fn joined(days: &[Day]) -> Vec<Vec<f64>> {
    let mut out: Vec<(&str, Vec<f64>)> = Vec::new();
    for (label, shots) in days.iter().flat_map(|d| &d.flasks) {
        match out.iter_mut().find(|f| f.0 == label) {
            Some(f) => f.1.extend(shots),
            None => out.push((label, shots.clone())),
        }
    }
    out.into_iter().map(|f| f.1).collect()
}
