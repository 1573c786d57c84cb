//! Internal standard: ratios, and whether the injected volume cancels in them.

use std::fmt;

use crate::calibrate::{SharedSource, detectable_noncentrality};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::student_t_sf;

/// The response of one shot relative to its internal standard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShotRatio {
    /// Area over area of the internal standard.
    pub ratio: f64,
    /// Its standard uncertainty from the two areas.
    pub u: f64,
}

/// r = A/A_IS with u² = (u(A)/A_IS)² + (r·u(A_IS)/A_IS)² for independent areas; A may be zero or negative.
///
/// # Errors
/// An internal standard that does not stand clear of its own noise (A_IS ≤ 3 u), or a number that is not finite.
///
/// ```
/// use vialbook::quantify::shot_ratio;
/// let r = shot_ratio([50.0, 0.5], [100.0, 1.0])?;
/// assert!((r.ratio, (r.u - 0.005 * 2_f64.sqrt()).abs() < 1e-15) == (0.5, true));
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn shot_ratio(area_and_u: [f64; 2], internal_standard_and_u: [f64; 2]) -> Result<ShotRatio> {
    let ([a, u], [s, s_u]) = (area_and_u, internal_standard_and_u);
    if ![a, u, s, s_u].iter().all(|x| x.is_finite()) || u < 0.0 || s_u < 0.0 {
        return Err(Error::new(
            ErrorKind::Data,
            format!("areas {a} ± {u} and {s} ± {s_u}; finite numbers with an uncertainty of 0 or more are wanted"),
        ));
    }
    if s <= 3.0 * s_u || s <= 0.0 {
        return Err(Error::new(
            ErrorKind::Data,
            format!("the internal standard does not show: area {s} with standard uncertainty {s_u}"),
        )
        .hint("reject the run with its reason, or quantify without internal standard"));
    }
    let ratio = a / s;
    Ok(ShotRatio { ratio, u: libm::hypot(u / s, ratio * s_u / s) })
}

/// The content of the internal standard in the sample's flasks, where the curve is one of content ratios.
#[derive(Clone, Debug, PartialEq)]
pub struct InternalStandardContent {
    /// Content, in the unit of the curve's contents.
    pub content: f64,
    /// What is uncertain about it and does not cancel against the standards.
    pub sources: Vec<SharedSource>,
}

/// Whether the injected volume cancels in the ratio to the internal standard.
///
/// log(A/A_IS) is regressed on ½(log A + log A_IS), pooled within flasks. With A ∝ Vᵖ and A_IS ∝ V^q the slope is
/// (p - q)/((p + q)/2): 0 where both respond to the volume with equal exponents, whatever these are. The half-sum is
/// taken because it is the same in both: regressing log A on log A_IS instead refuses good data in 39 to 62 %.
/// Proportionality itself is judged from the ratio against the ratio of amounts, that is from the calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VolumeCancels {
    /// Slope; 0 where volume cancels.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// Degrees of freedom: shots less flasks less 1.
    pub dof: f64,
    /// Chance of a slope so far from 0 if volume cancels.
    pub p_value: f64,
    /// Slope that the test at 5 % finds with 80 % power.
    pub detectable_slope: f64,
    /// True where slope 0 is not refused at 5 %.
    pub cancels: bool,
}

impl VolumeCancels {
    /// From the shots of each flask, `[area, area of the internal standard]`; shots without two positive areas are
    /// passed over. `None` where fewer than 3 degrees of freedom are left or all shots are of one size.
    ///
    /// ```
    /// use vialbook::quantify::VolumeCancels;
    /// // Areas of the compound and of the internal standard, three shots of each flask, by hand and so of any size.
    /// let one = vec![[1.00, 2.0], [1.31, 2.6], [0.79, 1.6]];
    /// let two = vec![[3.02, 2.0], [3.88, 2.6], [2.42, 1.6]];
    /// let v = VolumeCancels::of(&[one, two]).ok_or("too few shots")?;
    /// assert!(v.cancels && v.dof == 3.0);
    /// # Ok::<(), &str>(())
    /// ```
    pub fn of(flasks: &[Vec<[f64; 2]>]) -> Option<VolumeCancels> {
        let (mut xx, mut xy, mut yy, mut dof) = (0.0, 0.0, 0.0, -1.0);
        for flask in flasks {
            let points: Vec<[f64; 2]> = flask
                .iter()
                .filter(|shot| shot.iter().all(|a| *a > 0.0 && a.is_finite()))
                .map(|&[a, s]| (libm::log(a), libm::log(s)))
                .map(|(a, s)| [0.5 * (a + s), a - s])
                .collect();
            let n = points.len() as f64;
            if n < 2.0 {
                continue;
            }
            let mean = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
            for p in &points {
                let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
                xx += x * x;
                xy += x * y;
                yy += y * y;
            }
            dof += n - 1.0;
        }
        if dof < 3.0 || xx <= 0.0 {
            return None;
        }
        let slope = xy / xx;
        let residual = (yy - slope * xy).max(0.0);
        let slope_se = libm::sqrt(residual / dof / xx);
        let p_value = if slope_se > 0.0 {
            2.0 * student_t_sf((slope / slope_se).abs(), dof)
        } else if slope == 0.0 {
            1.0
        } else {
            0.0
        };
        let detectable_slope = slope_se * libm::sqrt(detectable_noncentrality(1.0, dof, 0.05, 0.80));
        Some(VolumeCancels { slope, slope_se, dof, p_value, detectable_slope, cancels: p_value >= 0.05 })
    }
}

impl fmt::Display for VolumeCancels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = if self.cancels { "volume cancels in the ratio" } else { "volume does not cancel in the ratio" };
        write!(
            f,
            "{verdict}: slope {:.3} ± {:.3} (standard error), p = {:.3}; a slope of {:.3} would have been found with 80 % power",
            self.slope, self.slope_se, self.p_value, self.detectable_slope
        )?;
        if !self.cancels {
            f.write_str("; keep to one volume, or look for overload or a response that is not proportional")?;
        }
        Ok(())
    }
}

/// One standard and one sample, each with the same internal standard: the amount in the sample by the relative response
/// factor F = (A/A_IS)/(n/n_IS) of the standard, n = (A/A_IS)·n_IS/F.
///
/// `standard` and `sample` are `[area, area of the internal standard]`; `amount` and the two `internal` amounts are in one
/// unit of mass or amount each. A single point proves neither a straight line nor that it goes through zero: it
/// carries no uncertainty of its own, and serves for a first look.
///
/// # Errors
/// A number that is not positive.
pub fn single_point_internal(
    standard: [f64; 2],
    amount: f64,
    internal_in_standard: f64,
    sample: [f64; 2],
    internal_in_sample: f64,
) -> Result<f64> {
    let inputs = [standard[0], standard[1], amount, internal_in_standard, sample[1], internal_in_sample];
    if let Some(bad) = inputs.iter().find(|x| !(**x > 0.0 && x.is_finite())) {
        return Err(Error::new(ErrorKind::Data, format!("an area or amount of {bad}; a positive number is wanted")));
    }
    let factor = (standard[0] / standard[1]) / (amount / internal_in_standard);
    Ok(sample[0] / sample[1] * internal_in_sample / factor)
}
