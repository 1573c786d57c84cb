//! How a late start shifts peaks: all alike, or less and less under a temperature programme.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::identify::ReferenceTime;
use crate::numeric::find_root;

/// How a retention factor falls as the oven warms.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RetentionLaw {
    /// By the same share with each kelvin, 0.04 for 4 %: ln k falls along a straight line in T. Good over some 60 K.
    PerKelvin(f64),
    /// ln k = a + b/T, b in kelvin (van 't Hoff, with a constant enthalpy).
    VantHoff(f64),
}

/// One step of an oven programme.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProgrammeStep {
    /// Temperature reached, in °C.
    pub temperature_c: f64,
    /// Ramp to it, in °C/min; none in the first step.
    pub ramp_c_per_min: Option<f64>,
    /// Time held there.
    pub hold_min: f64,
}

/// An oven programme with a constant hold-up time: where a compound elutes, and how a late start shifts it.
///
/// A compound moves along the column at 1/(t₀(1 + k)), k at the oven's temperature: ∫ dt/(t₀(1 + k(T(t)))) = 1 from
/// injection to elution (J. C. Giddings, J. Chem. Educ. 39 (1962) 569-573). Where the start button starts the oven
/// too, and comes δ after the injection, the compound has moved δ/(t₀(1 + k at start)) by then, and elutes
/// δ(1 + k at elution)/(1 + k at start) earlier on the recording's clock, to first order in δ.
///
/// ```
/// use vialbook::identify::{Programme, ProgrammeStep, RetentionLaw};
/// let steps = vec![
///     ProgrammeStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 },
///     ProgrammeStep { temperature_c: 160.0, ramp_c_per_min: Some(10.0), hold_min: 5.0 },
/// ];
/// let programme = Programme::new(steps, 0.5, RetentionLaw::PerKelvin(0.04))?;
/// let time_min = programme.elution_min(3.0)?;               // k = 3 at 40 °C
/// let shift_s = 2.0 * programme.late_start_share(time_min); // a thumb 2 s off
/// assert!((shift_s - 1.6).abs() < 0.05);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Programme {
    steps: Vec<ProgrammeStep>,
    hold_up_min: f64,
    law: RetentionLaw,
}

/// Points of Simpson's rule over each stretch of a programme: the error is far below a millisecond.
const POINTS: usize = 64;
/// No compound that matters here is kept longer.
const LONGEST_MIN: f64 = 1000.0;

impl Programme {
    /// A programme from its steps; the first has no ramp.
    ///
    /// # Errors
    /// No step, a ramp in the first or none in a later one, numbers that are none or not above 0.
    pub fn new(steps: Vec<ProgrammeStep>, hold_up_min: f64, law: RetentionLaw) -> Result<Programme> {
        let wrong = |message: String| Err(Error::new(ErrorKind::Option, message));
        let positive = |x: f64| x.is_finite() && x > 0.0;
        if !positive(hold_up_min) {
            return wrong(format!("a hold-up time of {hold_up_min} min; a number above 0 is wanted"));
        }
        let size = match law {
            RetentionLaw::PerKelvin(s) => s,
            RetentionLaw::VantHoff(b) => b,
        };
        if !positive(size) {
            return wrong(format!("a retention factor that changes by {size}; a number above 0 is wanted"));
        }
        let Some(first) = steps.first() else { return wrong("an oven programme without a step".to_owned()) };
        if first.ramp_c_per_min.is_some() {
            return wrong("the first step of an oven programme has a ramp; it is the starting temperature".to_owned());
        }
        for (i, s) in steps.iter().enumerate() {
            let is_odd = !(s.temperature_c.is_finite() && s.temperature_c > -200.0 && s.hold_min >= 0.0);
            if is_odd || (i > 0 && !s.ramp_c_per_min.is_some_and(positive)) {
                return wrong(format!(
                    "step {} of the oven programme: {} °C, ramp {:?}, hold {} min; a temperature, a ramp above 0 and a hold of 0 or more are wanted",
                    i + 1,
                    s.temperature_c,
                    s.ramp_c_per_min,
                    s.hold_min
                ));
            }
        }
        Ok(Programme { steps, hold_up_min, law })
    }

    /// The oven's temperature in °C at a time after the start; the last step's for ever after.
    pub fn temperature_c(&self, time_min: f64) -> f64 {
        let mut left = time_min;
        let mut at = self.steps[0].temperature_c;
        for s in &self.steps {
            if let Some(ramp) = s.ramp_c_per_min {
                let takes = (s.temperature_c - at).abs() / ramp;
                if left < takes {
                    return at + (s.temperature_c - at).signum() * ramp * left.max(0.0);
                }
                left -= takes;
            }
            at = s.temperature_c;
            if left < s.hold_min {
                return at;
            }
            left -= s.hold_min;
        }
        at
    }

    /// Retention factor over that at the start.
    fn fall(&self, time_min: f64) -> f64 {
        let (start, now) = (self.steps[0].temperature_c, self.temperature_c(time_min));
        match self.law {
            RetentionLaw::PerKelvin(s) => libm::exp(-s * (now - start)),
            RetentionLaw::VantHoff(b) => libm::exp(b * (1.0 / (now + KELVIN) - 1.0 / (start + KELVIN))),
        }
    }

    /// Share of the column travelled by a time, less 1.
    fn travelled(&self, k_start: f64, time_min: f64) -> f64 {
        // Each stretch between corners of the programme by Simpson's rule: the integrand is smooth there.
        let mut corners = vec![0.0];
        let (mut t, mut at) = (0.0, self.steps[0].temperature_c);
        for s in &self.steps {
            t += s.ramp_c_per_min.map_or(0.0, |r| (s.temperature_c - at).abs() / r);
            corners.push(t);
            t += s.hold_min;
            corners.push(t);
            at = s.temperature_c;
        }
        corners.retain(|c| *c < time_min);
        corners.push(time_min);
        let speed = |t: f64| 1.0 / (self.hold_up_min * (1.0 + k_start * self.fall(t)));
        let mut sum = 0.0;
        for w in corners.windows(2).filter(|w| w[1] > w[0]) {
            let h = (w[1] - w[0]) / POINTS as f64;
            let inside: f64 =
                (1..POINTS).map(|i| speed(w[0] + h * i as f64) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
            // Just inside the ends, where the next step may begin with a jump of slope but not of value.
            sum += h / 3.0 * (speed(w[0]) + inside + speed(w[1]));
        }
        sum - 1.0
    }

    /// Retention time of a compound by its retention factor at the starting temperature.
    ///
    /// # Errors
    /// A retention factor below 0, or one that keeps the compound for more than 1,000 minutes.
    pub fn elution_min(&self, k_start: f64) -> Result<f64> {
        if !(k_start.is_finite() && k_start >= 0.0) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("{k_start} is no retention factor; 0 or more is wanted"),
            ));
        }
        let longest = (self.hold_up_min * (1.0 + k_start)).clamp(self.hold_up_min, LONGEST_MIN) * 1.001;
        find_root(|t| self.travelled(k_start, t), 0.5 * self.hold_up_min, longest, 1e-10)
    }

    /// Retention factor at the starting temperature of a compound by its retention time; 0 where it elutes with the
    /// carrier gas or before.
    pub fn start_retention_factor(&self, time_min: f64) -> f64 {
        if time_min <= self.hold_up_min {
            return 0.0;
        }
        let mut high = 2.0 * time_min / self.hold_up_min;
        while self.travelled(high, time_min) > 0.0 && high < 1e12 {
            high *= 4.0;
        }
        find_root(|k| self.travelled(k, time_min), 0.0, high, 1e-9 * high).unwrap_or(0.0)
    }

    /// Share of a late start's δ that a peak at this time is shifted by, where the button starts the oven too:
    /// (1 + k at elution)/(1 + k at start).
    pub fn late_start_share(&self, time_min: f64) -> f64 {
        let k = self.start_retention_factor(time_min);
        (1.0 + k * self.fall(time_min)) / (1.0 + k)
    }

    /// The references with the share of a late start's δ that each of them is shifted by.
    pub fn shares(&self, references: &[ReferenceTime]) -> Vec<ReferenceTime> {
        let with = |r: &ReferenceTime| ReferenceTime {
            late_start_share: Some(self.late_start_share(r.time_min)),
            ..r.clone()
        };
        references.iter().map(with).collect()
    }

    /// Hold-up time.
    pub fn hold_up_min(&self) -> f64 {
        self.hold_up_min
    }
}

const KELVIN: f64 = 273.15;
