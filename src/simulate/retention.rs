//! When a compound leaves the column: ln k = a + b/T, carried through the oven's programme.

use crate::error::{Error, ErrorKind, Result};
use crate::study::{OvenStep, StartButton};

/// 0 °C in kelvin (exact, by definition of the Celsius scale).
const ZERO_CELSIUS_K: f64 = 273.15;

/// How strongly a column holds a compound at each temperature: ln k = a + b/T (van 't Hoff).
///
/// a = ΔS/R - ln β and b = -ΔH/R, with ΔS and ΔH of the transfer from gas to phase, β the phase ratio, T in kelvin.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct RetentionConstants {
    /// a, without unit.
    pub a: f64,
    /// b in kelvin.
    #[serde(rename = "b_K")]
    pub b_k: f64,
}

impl RetentionConstants {
    /// The constants that give retention factor `k` at `temperature_c` with the slope `b_k`.
    pub fn from_factor(k: f64, temperature_c: f64, b_k: f64) -> Self {
        RetentionConstants { a: libm::log(k) - b_k / (temperature_c + ZERO_CELSIUS_K), b_k }
    }

    /// The retention factor k = (tR - tM)/tM of an isothermal run at this temperature.
    ///
    /// ```
    /// use vialbook::simulate::RetentionConstants;
    /// let k = RetentionConstants { a: -9.0, b_k: 3800.0 }.factor(40.0);
    /// assert!((k - 22.983_112).abs() < 1e-6);
    /// ```
    pub fn factor(&self, temperature_c: f64) -> f64 {
        libm::exp(self.a + self.b_k / (temperature_c + ZERO_CELSIUS_K))
    }
}

/// The oven's temperature against time: an initial temperature with its hold, then ramps with theirs.
///
/// The clock starts where the oven starts; before it the oven stands at its initial temperature, after
/// the last step at its last.
#[derive(Clone, Debug, PartialEq)]
pub struct OvenProgramme {
    steps: Vec<OvenStep>,
    pieces: Vec<Piece>,
}

/// Temperature = `from_c` + `rate` · (t - `start_min`) until `end_min`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    start_min: f64,
    end_min: f64,
    from_c: f64,
    rate: f64,
}

impl OvenProgramme {
    /// The programme of these steps, as in the study's `[[method]]`.
    ///
    /// # Errors
    /// No step; a first step with a ramp; a later one without a ramp above 0; a number that is not finite or a
    /// negative hold; a temperature at or below absolute zero.
    pub fn new(steps: &[OvenStep]) -> Result<Self> {
        let wrong = |message: String| Err(Error::new(ErrorKind::Option, message));
        let Some(first) = steps.first() else {
            return wrong("an oven programme without steps; at least the initial temperature is wanted".to_owned());
        };
        if first.ramp_c_per_min.is_some() {
            return wrong(format!(
                "the first oven step ({} °C) has a ramp; it is the starting temperature",
                first.temperature_c
            ));
        }
        let mut pieces = Vec::new();
        let (mut clock, mut at) = (0.0, first.temperature_c);
        for (i, step) in steps.iter().enumerate() {
            if !(step.temperature_c.is_finite() && step.temperature_c > -ZERO_CELSIUS_K) {
                return wrong(format!("oven step {}: {} °C is no temperature", i + 1, step.temperature_c));
            }
            if !(step.hold_min.is_finite() && step.hold_min >= 0.0) {
                return wrong(format!("oven step {}: a hold of {} min; 0 or more is wanted", i + 1, step.hold_min));
            }
            if i > 0 {
                let Some(rate) = step.ramp_c_per_min.filter(|r| r.is_finite() && *r > 0.0) else {
                    return wrong(format!("oven step {} needs a ramp above 0 °C/min", i + 1));
                };
                let climb = step.temperature_c - at;
                let end = clock + climb.abs() / rate;
                pieces.push(Piece { start_min: clock, end_min: end, from_c: at, rate: rate.copysign(climb) });
                (clock, at) = (end, step.temperature_c);
            }
            pieces.push(Piece { start_min: clock, end_min: clock + step.hold_min, from_c: at, rate: 0.0 });
            clock += step.hold_min;
        }
        pieces.retain(|p| p.end_min > p.start_min);
        pieces.push(Piece { start_min: clock, end_min: f64::INFINITY, from_c: at, rate: 0.0 });
        Ok(OvenProgramme { steps: steps.to_vec(), pieces })
    }

    /// The steps it was made from.
    pub fn steps(&self) -> &[OvenStep] {
        &self.steps
    }

    /// Temperature in °C at this time of the oven's clock.
    pub fn temperature_c(&self, time_min: f64) -> f64 {
        let piece = self.pieces.iter().find(|p| time_min < p.end_min).unwrap_or(&self.pieces[self.pieces.len() - 1]);
        piece.from_c + piece.rate * (time_min.max(0.0) - piece.start_min)
    }

    /// Length of the programme in minutes, the holds included.
    pub fn length_min(&self) -> f64 {
        self.pieces[self.pieces.len() - 1].start_min
    }
}

/// A compound's way out of the column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elution {
    /// When it leaves, by the oven's clock, in minutes.
    pub time_min: f64,
    /// The oven's temperature then, in °C.
    pub temperature_c: f64,
    /// Its retention factor then.
    pub factor: f64,
    /// Its retention factor when it was injected.
    pub factor_at_start: f64,
}

/// When a compound injected at `injected_min` of the oven's clock (negative: before the oven starts) leaves the column.
///
/// A compound moves along the column at 1/(1 + k) of the carrier's speed, so it leaves when
/// ∫ dt / (tM (1 + k(T(t)))) = 1 over its time in the column, with tM the hold-up time (here constant; in truth
/// it grows somewhat with temperature at constant pressure). Holds are exact; ramps go in pieces of at most 10 K by
/// 8-point Gauss-Legendre quadrature, the end by Newton's method: good to 1e-12 min.
///
/// Source: J. C. Giddings, J. Chem. Educ. 39 (1962) 569; W. E. Harris and H. W. Habgood, Programmed
/// Temperature Gas Chromatography (Wiley 1966).
///
/// `None` where it does not leave within 10⁶ min.
///
/// ```
/// use vialbook::simulate::{elute, OvenProgramme, RetentionConstants};
/// use vialbook::study::OvenStep;
/// let oven = OvenProgramme::new(&[
///     OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 0.0 },
///     OvenStep { temperature_c: 300.0, ramp_c_per_min: Some(10.0), hold_min: 0.0 },
/// ])?;
/// let out = elute(RetentionConstants { a: -9.0, b_k: 3800.0 }, &oven, 1.0, 0.0).map(|e| e.time_min);
/// assert!(out.is_some_and(|t| (t - 7.057_904_744).abs() < 1e-8));
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn elute(
    constants: RetentionConstants,
    oven: &OvenProgramme,
    hold_up_min: f64,
    injected_min: f64,
) -> Option<Elution> {
    let speed = |temperature_c: f64| 1.0 / (hold_up_min * (1.0 + constants.factor(temperature_c)));
    let initial_c = oven.pieces[0].from_c;
    let leaves = |time_min: f64| {
        (time_min - injected_min < 1e6).then(|| {
            let temperature_c = oven.temperature_c(time_min);
            Elution {
                time_min,
                temperature_c,
                factor: constants.factor(temperature_c),
                factor_at_start: constants.factor(oven.temperature_c(injected_min)),
            }
        })
    };
    let mut way = 0.0; // share of the column behind it
    if injected_min < 0.0 {
        let step = -injected_min * speed(initial_c);
        if step >= 1.0 {
            return leaves(injected_min + 1.0 / speed(initial_c));
        }
        way = step;
    }
    let mut clock = injected_min.max(0.0);
    for piece in oven.pieces.iter().filter(|p| p.end_min > injected_min) {
        if piece.rate == 0.0 {
            let left = (1.0 - way) / speed(piece.from_c);
            if clock + left <= piece.end_min {
                return leaves(clock + left);
            }
            way += (piece.end_min - clock) * speed(piece.from_c);
            clock = piece.end_min;
            continue;
        }
        let at = |t: f64| piece.from_c + piece.rate * (t - piece.start_min);
        let parts = ((piece.end_min - clock) * piece.rate.abs() / 10.0).ceil().max(1.0);
        let length = (piece.end_min - clock) / parts;
        for _ in 0..parts as usize {
            let step = gauss_legendre(clock, clock + length, |t| speed(at(t)));
            if way + step >= 1.0 {
                let mut t = clock + length * (1.0 - way) / step;
                for _ in 0..8 {
                    let miss = way + gauss_legendre(clock, t, |t| speed(at(t))) - 1.0;
                    let change = miss / speed(at(t));
                    t = (t - change).clamp(clock, clock + length);
                    if change.abs() < 1e-14 * t {
                        break;
                    }
                }
                return leaves(t);
            }
            way += step;
            clock += length;
        }
        clock = piece.end_min;
    }
    None
}

/// The time that a late thumb leaves on the record: retention time as recorded, for a compound that leaves at
/// `elution` by the oven's clock, the button pressed `offset_s` after the injection (negative: before it).
///
/// Two cases, told apart by `button`:
/// - the button starts the recording only, the oven's programme runs from the injection: every peak is recorded
///   δ early;
/// - the button starts oven and recording: a compound spends δ more at the initial temperature, where it moves
///   at 1/(1 + k₀) of the carrier's speed, and is recorded δ (1 + k)/(1 + k₀) early to first order in δ (k at
///   elution, k₀ at the start). The simulation solves the integral itself, without that approximation.
///
/// ```
/// use vialbook::simulate::{recorded_retention, OvenProgramme, RetentionConstants};
/// use vialbook::study::{OvenStep, StartButton};
/// let oven = OvenProgramme::new(&[OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 }])?;
/// let constants = RetentionConstants::from_factor(3.0, 40.0, 3500.0);
/// let late = recorded_retention(constants, &oven, 0.5, StartButton::OvenAndRecording, 2.0).map(|e| e.time_min);
/// assert!(late.is_some_and(|t| (t - (2.0 - 2.0 / 60.0)).abs() < 1e-12)); // isothermal: all of the 2 s
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn recorded_retention(
    constants: RetentionConstants,
    oven: &OvenProgramme,
    hold_up_min: f64,
    button: StartButton,
    offset_s: f64,
) -> Option<Elution> {
    let clock = OvenClock::new(button, offset_s);
    elute(constants, oven, hold_up_min, clock.injection_min)
        .map(|e| Elution { time_min: e.time_min - clock.ahead_min, ..e })
}

/// The oven's clock beside the recorded one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OvenClock {
    /// The injection by the oven's clock, in minutes.
    pub(super) injection_min: f64,
    /// The oven's clock minus the recorded one, in minutes.
    pub(super) ahead_min: f64,
}

impl OvenClock {
    pub(super) fn new(button: StartButton, offset_s: f64) -> Self {
        match button {
            StartButton::OvenAndRecording => OvenClock { injection_min: -offset_s / 60.0, ahead_min: 0.0 },
            StartButton::Recording => OvenClock { injection_min: 0.0, ahead_min: offset_s / 60.0 },
        }
    }
}

/// Abscissae and weights of 8-point Gauss-Legendre quadrature on [-1, 1] (Abramowitz and Stegun, table 25.4).
const GAUSS_8: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_47),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
];

fn gauss_legendre(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    GAUSS_8.iter().map(|(x, w)| w * (f(middle - half * x) + f(middle + half * x))).sum::<f64>() * half
}

#[cfg(test)]
mod tests {
    use super::*;

    fn oven(steps: &[(f64, Option<f64>, f64)]) -> OvenProgramme {
        let steps: Vec<OvenStep> = steps
            .iter()
            .map(|&(temperature_c, ramp_c_per_min, hold_min)| OvenStep { temperature_c, ramp_c_per_min, hold_min })
            .collect();
        OvenProgramme::new(&steps).expect("a programme")
    }

    #[test]
    fn the_oven_follows_its_programme() {
        let oven = oven(&[(40.0, None, 1.0), (100.0, Some(20.0), 2.0), (60.0, Some(10.0), 0.0)]);
        let seen = [-1.0, 0.5, 1.0, 2.0, 4.0, 5.0, 7.0, 8.0, 100.0].map(|t| oven.temperature_c(t));
        assert_eq!(seen, [40.0, 40.0, 40.0, 60.0, 100.0, 100.0, 90.0, 80.0, 60.0]);
        assert_eq!(oven.length_min(), 10.0);
    }

    #[test]
    fn programmes_that_make_no_sense_are_refused() {
        for (steps, word) in [
            (vec![], "without steps"),
            (vec![OvenStep { temperature_c: 40.0, ramp_c_per_min: Some(1.0), hold_min: 0.0 }], "has a ramp"),
            (vec![OvenStep { temperature_c: f64::NAN, ramp_c_per_min: None, hold_min: 0.0 }], "no temperature"),
            (vec![OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: -1.0 }], "0 or more"),
            (vec![OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 }; 2], "needs a ramp"),
        ] {
            assert!(OvenProgramme::new(&steps).expect_err(word).to_string().contains(word));
        }
    }

    #[test]
    fn holds_are_exact_and_what_never_leaves_is_none() {
        let hold = oven(&[(40.0, None, 0.0)]);
        let constants = RetentionConstants::from_factor(9.0, 40.0, 4000.0);
        let out = elute(constants, &hold, 0.5, -3.0).expect("leaves");
        assert!((out.time_min - 2.0).abs() < 1e-12 && (out.factor - 9.0).abs() < 1e-11);
        // Gone before the oven even started.
        assert!((elute(constants, &hold, 0.5, -30.0).expect("leaves").time_min + 25.0).abs() < 1e-12);
        assert_eq!(elute(RetentionConstants { a: 900.0, b_k: 0.0 }, &hold, 0.5, 0.0), None);
    }

    #[test]
    fn an_early_thumb_is_the_mirror_of_a_late_one_where_only_the_recording_starts() {
        let oven = oven(&[(40.0, None, 1.0), (150.0, Some(10.0), 1.0)]);
        let constants = RetentionConstants::from_factor(10.0, 40.0, 4300.0);
        let at = |s| recorded_retention(constants, &oven, 0.5, StartButton::Recording, s).expect("leaves").time_min;
        assert!((at(-2.0) - at(0.0) - 2.0 / 60.0).abs() < 1e-12 && (at(2.0) + at(-2.0) - 2.0 * at(0.0)).abs() < 1e-12);
    }
}
