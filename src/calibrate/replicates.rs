//! What flasks and what shots contribute to scatter: nested analysis of variance, pooled standard deviations.

use crate::error::{Error, ErrorKind, Result};
use crate::numeric::fisher_f_sf;

/// Variance components of shots within flasks within samples (or levels).
///
/// y = sample + flask + shot. From the sums of squares between flasks of one sample and between shots of one flask
/// (S. R. Searle, G. Casella and C. E. McCulloch, Variance Components (1992), section 3.6, unbalanced nested case):
/// σ_shot² = MS_shot, σ_flask² = (MS_flask - MS_shot)/k₀ with k₀ the effective number of shots a flask.
/// Where scatter is proportional to the response, give relative values (y over the sample's mean, or logarithms).
///
/// ```
/// use vialbook::calibrate::NestedScatter;
/// let level_1 = vec![vec![10.0, 10.2], vec![11.0, 11.2]];
/// let level_2 = vec![vec![20.0, 20.2], vec![20.6, 20.8]];
/// let s = NestedScatter::of(&[level_1, level_2])?;
/// assert_eq!((s.shot_dof, s.flask_dof), (4.0, 2.0));
/// assert!(s.flask_variance.is_some_and(|v| v > 0.0));
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NestedScatter {
    /// Standard deviation between shots of one flask; `None` where no flask has two shots.
    pub shot_sd: Option<f64>,
    /// Its degrees of freedom.
    pub shot_dof: f64,
    /// Standard deviation of flask means about their sample's mean, shots' share included; `None` where no sample
    /// has two flasks.
    pub flask_mean_sd: Option<f64>,
    /// Its degrees of freedom.
    pub flask_dof: f64,
    /// Variance between flasks with the shots' share taken out, signed: negative where shots explain it all.
    pub flask_variance: Option<f64>,
    /// Effective number of shots a flask, k₀.
    pub shots_per_flask: f64,
    /// F of flasks against shots.
    pub f: Option<f64>,
    /// Chance of an F as large if flasks add nothing.
    pub p_value: Option<f64>,
}

impl NestedScatter {
    /// From samples, each a list of flasks, each a list of shots.
    ///
    /// # Errors
    /// A value that is not finite, or nothing that is replicated at all.
    pub fn of(samples: &[Vec<Vec<f64>>]) -> Result<NestedScatter> {
        let (mut ss_shot, mut ss_flask, mut shot_dof, mut flask_dof) = (0.0, 0.0, 0.0, 0.0);
        let (mut shots, mut k_sum) = (0.0, 0.0);
        for sample in samples {
            let flasks: Vec<&Vec<f64>> = sample.iter().filter(|f| !f.is_empty()).collect();
            if flasks.is_empty() {
                continue;
            }
            if let Some(y) = flasks.iter().flat_map(|f| f.iter()).find(|y| !y.is_finite()) {
                return Err(Error::new(
                    ErrorKind::Data,
                    format!("a response of {y} among the replicates; finite numbers are wanted"),
                ));
            }
            let n: f64 = flasks.iter().map(|f| f.len() as f64).sum();
            // About the first value, so that no digits are lost where all are large.
            let first = flasks[0][0];
            let mean = flasks.iter().flat_map(|f| f.iter()).map(|y| y - first).sum::<f64>() / n;
            for flask in &flasks {
                let k = flask.len() as f64;
                let own = flask.iter().map(|y| y - first).sum::<f64>() / k;
                ss_shot += flask.iter().map(|y| (y - first - own) * (y - first - own)).sum::<f64>();
                ss_flask += k * (own - mean) * (own - mean);
                shot_dof += k - 1.0;
            }
            flask_dof += flasks.len() as f64 - 1.0;
            shots += n;
            k_sum += flasks.iter().map(|f| (f.len() * f.len()) as f64).sum::<f64>() / n;
        }
        if shot_dof == 0.0 && flask_dof == 0.0 {
            return Err(Error::new(ErrorKind::Data, "no sample has two flasks and no flask two shots")
                .hint("scatter can only be seen in replicates"));
        }
        let ms_shot = (shot_dof > 0.0).then(|| ss_shot / shot_dof);
        let ms_flask = (flask_dof > 0.0).then(|| ss_flask / flask_dof);
        let k0 = if flask_dof > 0.0 { (shots - k_sum) / flask_dof } else { 1.0 };
        let f = ms_flask.zip(ms_shot).and_then(|(a, b)| (b > 0.0).then(|| a / b));
        Ok(NestedScatter {
            shot_sd: ms_shot.map(libm::sqrt),
            shot_dof,
            flask_mean_sd: ms_flask.map(|v| libm::sqrt(v / k0)),
            flask_dof,
            flask_variance: ms_flask.zip(ms_shot).map(|(a, b)| (a - b) / k0),
            shots_per_flask: k0,
            f,
            p_value: f.map(|f| fisher_f_sf(f, flask_dof, shot_dof)),
        })
    }
}

/// Scatter from day to day, beside that of flasks and shots within a day.
///
/// y = sample + day + flask + shot, every flask of one day only. E(MS_day) = σ_shot² + k₁σ_flask² + k₂σ_day² with k₁, k₂
/// from the numbers of shots (S. R. Searle, G. Casella and C. E. McCulloch, Variance Components (1992), chapter 5,
/// unbalanced nested case); days are tested against σ_shot² + k₁σ_flask² with Satterthwaite's degrees of freedom, exactly
/// where all days have equal flasks and shots. Everything measured on one day says nothing on days: such a result holds
/// under repeatability conditions.
///
/// ```
/// use vialbook::calibrate::DayScatter;
/// let monday = vec![vec![10.0, 10.2], vec![10.4, 10.6]];
/// let tuesday = vec![vec![11.1, 11.3], vec![11.5, 11.3]];
/// let s = DayScatter::of(&[vec![monday, tuesday]])?;
/// assert!(s.day_dof == 1.0 && s.day_variance.is_some_and(|v| v > 0.0));
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayScatter {
    /// Flasks within days, shots within flasks.
    pub within: NestedScatter,
    /// Variance between days, signed; `None` without the scatter of flasks.
    pub day_variance: Option<f64>,
    /// Days less samples.
    pub day_dof: f64,
    /// F of days.
    pub f: Option<f64>,
    /// Chance of an F as large if days add nothing.
    pub p_value: Option<f64>,
}

impl DayScatter {
    /// From samples, each a list of days, each a list of flasks, each a list of shots.
    ///
    /// # Errors
    /// As [`NestedScatter::of`]; no sample measured on two days.
    pub fn of(samples: &[Vec<Vec<Vec<f64>>>]) -> Result<DayScatter> {
        let days: Vec<Vec<Vec<f64>>> = samples.iter().flatten().cloned().collect();
        let within = NestedScatter::of(&days)?;
        let (mut ss, mut dof, mut k1, mut k2) = (0.0, 0.0, 0.0, 0.0);
        for sample in samples {
            let days: Vec<Vec<&Vec<f64>>> = sample
                .iter()
                .map(|day| day.iter().filter(|f| !f.is_empty()).collect::<Vec<_>>())
                .filter(|day| !day.is_empty())
                .collect();
            if days.len() < 2 {
                continue;
            }
            let first = days[0][0][0];
            let count = |day: &[&Vec<f64>]| day.iter().map(|f| f.len() as f64).sum::<f64>();
            let sum = |day: &[&Vec<f64>]| day.iter().flat_map(|f| f.iter()).map(|y| y - first).sum::<f64>();
            let squares = |day: &[&Vec<f64>]| day.iter().map(|f| (f.len() * f.len()) as f64).sum::<f64>();
            let n: f64 = days.iter().map(|d| count(d)).sum();
            let mean = days.iter().map(|d| sum(d)).sum::<f64>() / n;
            ss += days.iter().map(|d| count(d) * (sum(d) / count(d) - mean).powi(2)).sum::<f64>();
            dof += days.len() as f64 - 1.0;
            k1 += days.iter().map(|d| squares(d) * (1.0 / count(d) - 1.0 / n)).sum::<f64>();
            k2 += n - days.iter().map(|d| count(d) * count(d)).sum::<f64>() / n;
        }
        if dof == 0.0 {
            return Err(Error::new(ErrorKind::Data, "no sample was measured on two days")
                .hint("scatter from day to day can only be seen over days"));
        }
        let (k1, k2, ms) = (k1 / dof, k2 / dof, ss / dof);
        let mut out = DayScatter { within, day_variance: None, day_dof: dof, f: None, p_value: None };
        let (Some(shot), Some(flask_mean)) = (within.shot_sd.or(Some(0.0)), within.flask_mean_sd) else {
            return Ok(out);
        };
        // What MS_day would be without days: a mixture of the two mean squares below it.
        let (ms_shot, ms_flask) = (shot * shot, flask_mean * flask_mean * within.shots_per_flask);
        let share = k1 / within.shots_per_flask;
        let (of_flask, of_shot) = (share * ms_flask, (1.0 - share) * ms_shot);
        let below = of_flask + of_shot;
        out.day_variance = Some((ms - below) / k2);
        if below > 0.0 {
            let part = |v: f64, dof: f64| if v == 0.0 { 0.0 } else { v * v / dof };
            let below_dof = below * below / (part(of_flask, within.flask_dof) + part(of_shot, within.shot_dof));
            let f = ms / below;
            out.f = Some(f);
            out.p_value = Some(fisher_f_sf(f, dof, below_dof));
        }
        Ok(out)
    }
}

/// A standard deviation pooled over groups.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PooledSd {
    /// The standard deviation.
    pub sd: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

/// Standard deviation pooled over groups, √(Σ SS/Σ(n - 1)); `None` where no group has two values.
///
/// ```
/// use vialbook::calibrate::pooled_sd;
/// let s = pooled_sd(&[vec![1.0, 3.0], vec![5.0], vec![2.0, 4.0]]).ok_or("no replicates")?;
/// assert_eq!((s.sd, s.dof), (2.0_f64.sqrt(), 2.0));
/// # Ok::<(), &str>(())
/// ```
pub fn pooled_sd(groups: &[Vec<f64>]) -> Option<PooledSd> {
    let (mut ss, mut dof) = (0.0, 0.0);
    for g in groups.iter().filter(|g| g.len() > 1) {
        let n = g.len() as f64;
        let mean = g.iter().sum::<f64>() / n;
        ss += g.iter().map(|y| (y - mean) * (y - mean)).sum::<f64>();
        dof += n - 1.0;
    }
    (dof > 0.0).then(|| PooledSd { sd: libm::sqrt(ss / dof), dof })
}
