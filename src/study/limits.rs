//! Limits of a study: the variance at zero from its blanks, and limits by rules that reports ask for by name.

use std::collections::BTreeMap;

use super::responses::Measured;
use super::{Kind, Study};
use crate::calibrate::{
    BlankLimits, Curve, ErrorsInX, LimitOptions, Limits, Model, NestedScatter, ZeroVariance, blank_limits,
    fit_errors_in_x, method_detection_limit,
};
use crate::numeric::Matrix;
use crate::results::NamedLimit;

/// Blank flasks from which their own scatter is taken for the variance at zero.
const ENOUGH_BLANKS: usize = 8;

impl Study {
    /// Limits for samples of the least number of flasks, with the variance at zero from blanks where there are any.
    pub(super) fn limit_options(&self, compound: &str, measured: &Measured) -> LimitOptions {
        LimitOptions {
            flasks: self.least_sample_flasks(),
            zero: self.zero_variance(compound, measured),
            ..LimitOptions::default()
        }
    }

    /// What a flask mean scatters by where there is nothing: the noise in the compound's own window of the blanks,
    /// as a ratio to the internal standard's usual area where there is one; without blanks, what the curve gives.
    pub(super) fn zero_variance(&self, compound: &str, measured: &Measured) -> ZeroVariance {
        let of_kind = |wanted: fn(Kind) -> bool| {
            self.injections.iter().enumerate().filter(move |(_, i)| i.accepted && wanted(i.kind)).map(|(n, _)| n)
        };
        let Some(divisor) = self.usual_standard_area(measured) else { return ZeroVariance::FromCurve };
        // So many flasks tell by themselves how blanks scatter; fewer tell less than their noise does.
        let blanks = self.blank_flasks(compound, measured);
        if blanks.len() >= ENOUGH_BLANKS {
            return ZeroVariance::Blanks { responses: blanks.into_iter().map(|y| y / divisor).collect() };
        }
        let mut us: Vec<f64> = of_kind(|k| matches!(k, Kind::SolventBlank | Kind::MatrixBlank))
            .filter_map(|i| measured.area(i, compound).ok())
            .map(|(_, u)| u)
            .collect();
        us.sort_by(f64::total_cmp);
        let Some(&u) = us.get(us.len() / 2) else { return ZeroVariance::FromCurve };
        let standards = of_kind(|k| k == Kind::Standard).count();
        let flasks = self.flasks(|i| i.accepted && i.kind == Kind::Standard).len().max(1);
        let shots = (standards as f64 / flasks as f64).max(1.0);
        ZeroVariance::Area { u: u / divisor / libm::sqrt(shots) }
    }

    /// Flasks of the sample that has fewest; 1 where there is no sample.
    fn least_sample_flasks(&self) -> usize {
        let mut count: BTreeMap<&str, usize> = BTreeMap::new();
        for f in self.flasks(|i| i.kind == Kind::Sample && i.accepted) {
            *count.entry(self.injections[f.shots[0]].sample.as_str()).or_default() += 1;
        }
        count.values().copied().min().unwrap_or(1)
    }

    /// Mean area of each blank flask in the compound's window: matrix blanks where there are any, otherwise solvent blanks.
    fn blank_flasks(&self, compound: &str, measured: &Measured) -> Vec<f64> {
        let of = |wanted: Kind| -> Vec<f64> {
            let flasks = self.flasks(|i| i.accepted && i.kind == wanted);
            let mean = |shots: &[usize]| {
                let areas: Vec<f64> =
                    shots.iter().filter_map(|&i| measured.area(i, compound).ok()).map(|a| a.0).collect();
                (!areas.is_empty()).then(|| areas.iter().sum::<f64>() / areas.len() as f64)
            };
            flasks.iter().filter_map(|f| mean(&f.shots)).collect()
        };
        let matrix = of(Kind::MatrixBlank);
        if matrix.is_empty() { of(Kind::SolventBlank) } else { matrix }
    }

    /// Limits by 3.3 s/b and 10 s/b, DIN 32645, blanks, replicates: whichever the study has the data for.
    pub(super) fn other_limits(
        &self,
        compound: &str,
        curve: &Curve,
        limits: Option<&Limits>,
        internal: Option<&str>,
        measured: &Measured,
    ) -> Vec<NamedLimit> {
        const DETECTION: &str = "detection limit";
        const QUANTITATION: &str = "quantitation limit";
        let mut all: Vec<NamedLimit> = Vec::new();
        let mut add = |rule: &str, what: &str, value: f64, range: Option<[f64; 2]>| {
            if value.is_finite() {
                let (rule, what) = (rule.to_owned(), what.to_owned());
                all.push(NamedLimit { rule, what, value, range, unit: String::new() });
            }
        };
        for c in limits.iter().flat_map(|l| &l.conventional) {
            add(&c.to_string(), if c.factor < 5.0 { DETECTION } else { QUANTITATION }, c.content, None);
        }
        // α = 0.01 and k = 3 are the standard's own.
        if let Ok(din) = curve.limits_din_32645(0.01, 3.0, self.least_sample_flasks()) {
            let rule = "DIN 32645, α = 0.01, k = 3";
            add(rule, "critical value", din.critical, None);
            add(rule, DETECTION, din.detection, None);
            add(rule, QUANTITATION, din.quantitation, None);
        }
        if let Some(divisor) = self.usual_standard_area(measured) {
            let blanks: Vec<f64> = self.blank_flasks(compound, measured).into_iter().map(|y| y / divisor).collect();
            if let Ok(BlankLimits { detection, quantitation, .. }) = blank_limits(&blanks) {
                let n = blanks.len();
                let at = |y: f64| curve.content_at(y).unwrap_or(f64::NAN);
                add(&format!("mean + 3 s of {n} blanks"), DETECTION, at(detection), None);
                add(&format!("mean + 10 s of {n} blanks"), QUANTITATION, at(quantitation), None);
            }
        }
        if let Some(sample) = &self.config.quantification.detection_replicates {
            let flasks = self.flasks(|i| i.accepted && i.sample == *sample);
            let contents: Option<Vec<f64>> = flasks
                .iter()
                .map(|f| {
                    let y = self.responses(&f.shots, compound, internal, measured).ok()?;
                    curve.content_at(y.iter().map(|y| y.0).sum::<f64>() / y.len() as f64)
                })
                .collect();
            if let Some(found) = contents.and_then(|c| method_detection_limit(&c).ok()) {
                let rule = format!("t(0.99)·s of {} flasks of {sample}, as 40 CFR 136 appendix B", flasks.len());
                add(&rule, "detection limit (half of such samples are missed)", found.limit, Some(found.range));
            }
        }
        all
    }

    /// The line by generalised least squares with the stated uncertainties of the contents, flask by flask and shared by
    /// some; responses scatter by their noise and their shots. `None` without such sources.
    pub(super) fn errors_in_x(&self, compound: &str, curve: &Curve) -> Option<ErrorsInX> {
        let flask = super::calibrations::flask_type_b(&self.config, compound).map_or(0.0, |b| b.relative_u);
        if curve.model != Model::Line || (flask == 0.0 && curve.group_shared.is_empty()) {
            return None;
        }
        let used: Vec<_> = curve.points.iter().filter(|p| p.leverage.is_some()).collect();
        let relative: Vec<Vec<f64>> = used
            .iter()
            .filter(|p| p.flask.response > 0.0 && p.flask.shot_responses.len() > 1)
            .map(|p| p.flask.shot_responses.iter().map(|y| y / p.flask.response).collect())
            .collect();
        // Below 4 degrees of freedom shots tell nothing.
        let shot = NestedScatter::of(&[relative]).ok().filter(|n| n.shot_dof >= 4.0).and_then(|n| n.shot_sd);
        let (x, y): (Vec<f64>, Vec<f64>) = used.iter().map(|p| (p.flask.content, p.flask.response)).unzip();
        let n = x.len();
        let shares = |i: usize, label: &[String]| label.contains(&used[i].flask.label);
        let ux = Matrix::from_fn(n, n, |i, j| {
            let own = if i == j { flask * flask } else { 0.0 };
            let groups = curve.group_shared.iter().filter(|s| shares(i, &s.flasks) && shares(j, &s.flasks));
            x[i] * x[j] * (own + groups.map(|s| s.relative_u * s.relative_u).sum::<f64>())
        });
        let uy = Matrix::from_fn(n, n, |i, j| {
            if i != j {
                return 0.0;
            }
            let shots = used[i].flask.shots.max(1) as f64;
            let of_shots = shot.map_or(0.0, |s| s * used[i].fitted / libm::sqrt(shots));
            let u = used[i].flask.response_u.max(of_shots.abs());
            u * u
        });
        fit_errors_in_x(&x, &y, &ux, &uy).ok()
    }
}
