//! Figures of merit, each by the way that its name says: half height, tangents, moments, width and asymmetry at a tenth.

use serde::Serialize;

use crate::error::{Error, ErrorKind, Result};
use crate::peaks::local_fit::LocalFit;
use crate::peaks::{Peak, PeakList};
use crate::trace::Trace;

/// What is known of a run beside its trace.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// True where the column was held at one temperature: plate numbers and retention factors mean something only then.
    pub is_isothermal: bool,
    /// Hold-up time in minutes, where it was measured.
    pub hold_up_min: Option<f64>,
}

/// Figures of merit of a peak; what cannot be told is none. tR is the retention time of the apex.
///
/// | field | formula | source |
/// |---|---|---|
/// | `plates_half_height` | 5.545 (tR/w½)² | IUPAC, Pure Appl. Chem. 65 (1993) 819 |
/// | `plates_tangent` | 16 (tR/wb)², wb between the tangents through both inflection points, on the baseline | the same |
/// | `plates_moments` | M₁²/M₂, first moment squared over second central moment | E. Grushka, Anal. Chem. 44 (1972) 1733 |
/// | `plates_foley_dorsey` | 41.7 (tR/w₀.₁)²/(B/A + 1.25) | [`foley_dorsey`] |
/// | `resolution_half_height` | 1.18 (tR₂ - tR₁)/(w½₁ + w½₂) | IUPAC |
/// | `resolution_tangent` | 2 (tR₂ - tR₁)/(wb₁ + wb₂) | IUPAC |
/// | `kaiser_valley` | f/g, f the depth of the valley before the peak below the line g that joins both apexes | R. E. Kaiser, Gas-Chromatographie (1960) |
/// | `retention_factor` | (tR - tM)/tM, tM the hold-up time | IUPAC |
///
/// Half height sees the core of a peak alone and overrates a tailing one by up to a half; moments see all of it, and what
/// noise and bounds do to the tail: at signal over noise below 1,000 they are no better than a few per cent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Merits {
    /// Retention time of the apex in minutes.
    pub retention_time_min: f64,
    /// Width at half height in minutes.
    pub width_half_min: Option<f64>,
    /// Width at a tenth of the height in minutes.
    pub width_tenth_min: Option<f64>,
    /// Width on the baseline between the tangents through the inflection points, in minutes.
    pub width_tangent_min: Option<f64>,
    /// First moment: the mean time in minutes.
    pub mean_min: Option<f64>,
    /// Second central moment in minutes squared.
    pub variance_min2: Option<f64>,
    /// Third central moment over the standard deviation cubed.
    pub skewness: Option<f64>,
    /// Plate number from the width at half height; isothermal runs only.
    pub plates_half_height: Option<f64>,
    /// Plate number from the tangents; isothermal runs only.
    pub plates_tangent: Option<f64>,
    /// Plate number from the moments; isothermal runs only.
    pub plates_moments: Option<f64>,
    /// Plate number after Foley and Dorsey; isothermal runs only.
    pub plates_foley_dorsey: Option<f64>,
    /// Resolution from the peak before, by widths at half height.
    pub resolution_half_height: Option<f64>,
    /// Resolution from the peak before, by tangents.
    pub resolution_tangent: Option<f64>,
    /// Kaiser's valley between the peak before and this one: 1 where it reaches the baseline, 0 where there is none.
    pub kaiser_valley: Option<f64>,
    /// Asymmetry B/A at a tenth of the height.
    pub asymmetry_10pct: Option<f64>,
    /// Tailing factor w₀.₀₅/(2f).
    pub tailing_factor_5pct: Option<f64>,
    /// Retention factor; isothermal runs with a known hold-up time only.
    pub retention_factor: Option<f64>,
}

/// A tailing peak's parameters from two numbers read off it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FoleyDorsey {
    /// Standard deviation of the Gaussian part: w₀.₁/(3.27 B/A + 1.2).
    pub sigma_min: f64,
    /// Second central moment: w₀.₁²/(1.764 (B/A)² - 11.15 B/A + 28).
    pub variance_min2: f64,
    /// Time constant of the tail: the root of what the variance has more than σ²; none where it has not.
    pub tau_min: Option<f64>,
    /// Centre of the Gaussian part: tR - σ (-0.193 (B/A)² + 1.162 B/A - 0.545).
    pub centre_min: f64,
    /// Plate number 41.7 (tR/w₀.₁)²/(B/A + 1.25).
    pub plates: f64,
}

/// An exponentially modified Gaussian's parameters from retention time, width at a tenth of the height and asymmetry B/A
/// there, all in minutes (J. P. Foley and J. G. Dorsey, Analytical Chemistry 55 (1983) 730-737).
///
/// Meant for B/A from 1.09 to 2.76, where σ is right to 0.8 %, the variance to 1.2 % and the plate number to 1.4 %; a
/// Gaussian's σ comes out 4 % low. Fronting peaks are not described: none for B/A below 1.
///
/// ```
/// use vialbook::peaks::foley_dorsey;
/// // σ = 1 and τ = 1: w₀.₁ = 5.663, B/A = 1.362, apex 0.697 behind the centre.
/// let found = foley_dorsey(10.697, 5.6633, 1.3622).expect("a tailing peak");
/// assert!((found.sigma_min - 1.0).abs() < 0.01 && (found.tau_min.expect("a tail") - 1.0).abs() < 0.01);
/// assert!((found.centre_min - 10.0).abs() < 0.05);
/// ```
pub fn foley_dorsey(retention_time_min: f64, width_tenth_min: f64, asymmetry: f64) -> Option<FoleyDorsey> {
    let is_number = retention_time_min.is_finite() && width_tenth_min > 0.0 && width_tenth_min.is_finite();
    if !(is_number && (1.0..=4.0).contains(&asymmetry)) {
        return None;
    }
    let (w, r) = (width_tenth_min, asymmetry);
    let sigma = w / (3.27 * r + 1.2);
    let variance = w * w / (1.764 * r * r - 11.15 * r + 28.0);
    let rest = variance - sigma * sigma;
    Some(FoleyDorsey {
        sigma_min: sigma,
        variance_min2: variance,
        tau_min: (rest > 0.0).then(|| rest.sqrt()),
        centre_min: retention_time_min - sigma * (-0.193 * r * r + 1.162 * r - 0.545),
        plates: 41.7 * (retention_time_min / w) * (retention_time_min / w) / (r + 1.25),
    })
}

impl PeakList {
    /// Figures of merit of all peaks, in their order.
    ///
    /// # Errors
    /// A list put together by hand, which has no trace.
    ///
    /// ```
    /// use vialbook::{Detect, Trace, peaks::Conditions, shapes::Gaussian};
    /// let time: Vec<f64> = (0..3000).map(|i| f64::from(i) * 0.002).collect();
    /// let mut signal = vec![0.1; 3000];
    /// Gaussian::new(1.0, 3.0, 0.05)?.add_to(&time, &mut signal);
    /// let peaks = Trace::new(time, signal, "mV")?.find_peaks(&Detect::default())?;
    /// let merits = &peaks.merits(&Conditions { is_isothermal: true, hold_up_min: Some(1.0) })?[0];
    /// assert!((merits.plates_tangent.expect("isothermal") / 3600.0 - 1.0).abs() < 1e-3); // (tR/σ)²
    /// assert!((merits.retention_factor.expect("known hold-up time") - 2.0).abs() < 1e-6);
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn merits(&self, conditions: &Conditions) -> Result<Vec<Merits>> {
        let trace = self.trace.as_ref().ok_or_else(|| {
            Error::new(ErrorKind::Option, "a list of peaks without its trace has no figures of merit")
                .hint("find the peaks with find_peaks")
        })?;
        let mut all: Vec<Merits> = Vec::with_capacity(self.len());
        for (k, peak) in self.peaks.iter().enumerate() {
            let before = k.checked_sub(1).map(|j| (&self.peaks[j], all[j]));
            all.push(of_peak(trace, peak, before, conditions));
        }
        Ok(all)
    }
}

fn of_peak(trace: &Trace, peak: &Peak, before: Option<(&Peak, Merits)>, conditions: &Conditions) -> Merits {
    // A window in which nothing stands out has an area and nothing else.
    let Some(wide) = peak.width_half_min else {
        return Merits { retention_time_min: peak.retention_time_min, ..Merits::default() };
    };
    let t = peak.retention_time_min;
    let isothermal = |value: Option<f64>| value.filter(|_| conditions.is_isothermal);
    let tangent = tangent_width(trace, peak, wide);
    let moments = moments(trace, peak);
    let square = |ratio: f64| ratio * ratio;
    let tailing = peak.width_tenth_min.zip(peak.asymmetry_10pct).and_then(|(w, r)| foley_dorsey(t, w, r));
    let resolution_tangent = before.and_then(|(other, merits)| {
        Some(2.0 * (t - other.retention_time_min) / (merits.width_tangent_min? + tangent?))
    });
    Merits {
        retention_time_min: t,
        width_half_min: Some(wide),
        width_tenth_min: peak.width_tenth_min,
        width_tangent_min: tangent,
        mean_min: moments.map(|m| m[0]),
        variance_min2: moments.map(|m| m[1]),
        skewness: moments.map(|m| m[2]),
        plates_half_height: isothermal(Some(5.545 * square(t / wide))),
        plates_tangent: isothermal(tangent.map(|w| 16.0 * square(t / w))),
        plates_moments: isothermal(moments.map(|m| m[0] * m[0] / m[1])),
        plates_foley_dorsey: isothermal(tailing.map(|f| f.plates)),
        resolution_half_height: peak.resolution_half_height,
        resolution_tangent,
        kaiser_valley: before.and_then(|(other, _)| valley(trace, other, peak)),
        asymmetry_10pct: peak.asymmetry_10pct,
        tailing_factor_5pct: peak.tailing_factor_5pct,
        retention_factor: isothermal(conditions.hold_up_min.filter(|m| *m > 0.0).map(|m| (t - m) / m)),
    }
}

/// Level of the peak's baseline.
fn base(peak: &Peak, time: f64) -> f64 {
    let share = (time - peak.start_min) / (peak.end_min - peak.start_min).max(f64::MIN_POSITIVE);
    peak.baseline[0] + share * (peak.baseline[1] - peak.baseline[0])
}

/// Points of the peak: times and heights above its baseline.
fn above(trace: &Trace, peak: &Peak) -> (Vec<f64>, Vec<f64>) {
    let points = trace.time_min().iter().zip(trace.signal());
    let inside = points.filter(|(t, _)| **t >= peak.start_min && **t <= peak.end_min);
    inside.map(|(t, y)| (*t, y - base(peak, *t))).unzip()
}

/// Mean, variance and skewness over the bounds; none where noise makes the variance negative.
fn moments(trace: &Trace, peak: &Peak) -> Option<[f64; 3]> {
    let (time, height) = above(trace, peak);
    let middle = peak.retention_time_min;
    let mut sums = [0.0; 4];
    for (t, y) in time.iter().zip(&height) {
        let x = t - middle;
        sums[0] += y;
        sums[1] += y * x;
        sums[2] += y * x * x;
        sums[3] += y * x * x * x;
    }
    if sums[0] <= 0.0 {
        return None;
    }
    let [m1, m2, m3] = [sums[1] / sums[0], sums[2] / sums[0], sums[3] / sums[0]];
    let variance = m2 - m1 * m1;
    if variance <= 0.0 {
        return None;
    }
    let third = m3 - 3.0 * m1 * m2 + 2.0 * m1 * m1 * m1;
    Some([middle + m1, variance, third / (variance * variance.sqrt())])
}

/// Between the feet of the tangents through the steepest point of either flank.
fn tangent_width(trace: &Trace, peak: &Peak, wide: f64) -> Option<f64> {
    let (time, height) = above(trace, peak);
    let apex = peak.retention_time_min;
    // The steeper flank bends more sharply, and polynomials on it reach less far.
    let back_share = peak.asymmetry_10pct.map_or(0.5, |r| r / (1.0 + r));
    let least = 3.0 * trace.interval_min();
    let foot = |from: f64, to: f64, rises: bool| -> Option<f64> {
        let share = if rises { 1.0 - back_share } else { back_share };
        let reach = (0.44 * wide * share.min(0.5)).max(least);
        let mut best: Option<(f64, f64)> = None;
        // Quartics about a row of places on the flank; the steepest of all.
        for k in 0..=12 {
            let at = from + (to - from) * f64::from(k) / 12.0;
            let (a, b) = (time.partition_point(|t| *t < at - reach), time.partition_point(|t| *t <= at + reach));
            let Some(fit) = (b >= a + 5).then(|| LocalFit::new(&time[a..b], &height[a..b], 4)).flatten() else {
                continue;
            };
            // The middle of a polynomial is where it knows best.
            for step in -4..=4 {
                let t = at + 0.1 * reach * f64::from(step);
                let (value, slope) = fit.value_and_slope(t);
                let is_steeper = best.is_none_or(|(s, _)| if rises { slope > s } else { slope < s });
                if is_steeper && slope != 0.0 {
                    best = Some((slope, t - value / slope));
                }
            }
        }
        best.filter(|(slope, _)| (*slope > 0.0) == rises).map(|b| b.1)
    };
    let front = foot(apex - 1.1 * wide, apex - 0.15 * wide, true)?;
    let back = foot(apex + 0.15 * wide, apex + 1.4 * wide, false)?;
    (back > front).then_some(back - front)
}

/// Kaiser's valley between two peaks: depth below the line that joins both apexes, over that line's height there.
fn valley(trace: &Trace, a: &Peak, b: &Peak) -> Option<f64> {
    let (from, to) = (a.retention_time_min, b.retention_time_min);
    let points = trace.time_min().iter().zip(trace.signal());
    let level = |t: f64| if t < a.end_min { base(a, t) } else { base(b, t) };
    let lowest = points
        .filter(|(t, _)| **t > from && **t < to)
        .map(|(t, y)| (*t, y - level(*t)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let line = a.height + (b.height - a.height) * (lowest.0 - from) / (to - from);
    (line > 0.0).then(|| ((line - lowest.1) / line).clamp(0.0, 1.0))
}
