//! What a detector and its converter make of the peaks: baseline, noise, step, full scale.

use crate::numeric::Xoshiro256PlusPlus;
use crate::shapes::Gaussian;
use crate::simulate::retention::{OvenClock, OvenProgramme};

/// A detector whose signal is proportional to what passes, with its baseline, noise and converter.
///
/// The response itself is a property of each compound ([`super::SimulatedCompound::response`]). A detector that
/// sees concentration (photo-ionisation) has areas ∝ 1/flow: the responses hold for the column's flow.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct SimulatedDetector {
    /// Signal unit, such as `mV`.
    pub unit: String,
    /// Standard deviation of the noise in signal units.
    pub noise_sd: f64,
    /// Correlation of neighbouring points' noise (first-order autoregression), from 0 to below 1.
    pub noise_correlation: f64,
    /// Zero of the baseline.
    pub zero: f64,
    /// Standard deviation of the zero from run to run.
    pub zero_sd: f64,
    /// Slope of the baseline in signal units per minute.
    pub drift_per_min: f64,
    /// Standard deviation of that slope from run to run.
    pub drift_sd_per_min: f64,
    /// What the column bleeds at the programme's highest temperature; it grows with the cube of the rise above the
    /// initial temperature (an invented law of the right kind).
    pub bleed: f64,
    /// Relative change of all responses from one run to the next, such as -0.0005: a lamp that ages.
    pub response_change_per_run: f64,
    /// Waves at the start of each run: pressure pulse and room air let in by the needle.
    pub disturbances: Vec<Disturbance>,
    /// Step of the converter in signal units.
    pub step: f64,
    /// Highest value of the converter; the lowest is 0.
    pub full_scale: f64,
    /// Decimals that the export writes.
    pub decimals: u32,
}

/// A wave of Gaussian shape at the start of a run.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Disturbance {
    /// Time after the injection in minutes.
    pub time_min: f64,
    /// Height in signal units, of either sign.
    pub height: f64,
    /// Relative standard deviation of the height from run to run.
    pub height_scatter: f64,
    /// Standard deviation in seconds.
    pub sd_s: f64,
}

impl SimulatedDetector {
    /// Turns the pure peaks into what the converter writes.
    pub(super) fn record(
        &self,
        grid_min: &[f64],
        mut signal: Vec<f64>,
        oven: &OvenProgramme,
        clock: OvenClock,
        random: &mut Xoshiro256PlusPlus,
    ) -> Vec<f64> {
        let zero = self.zero + self.zero_sd * random.normal();
        let drift = self.drift_per_min + self.drift_sd_per_min * random.normal();
        for d in &self.disturbances {
            let height = d.height * (1.0 + d.height_scatter * random.normal());
            let sigma_min = d.sd_s / 60.0;
            let area = height * sigma_min * 2.506_628_274_631_000_7; // √(2π)
            Gaussian { area, centre_min: clock.injection_min - clock.ahead_min + d.time_min, sigma_min }
                .add_to(grid_min, &mut signal);
        }
        let lowest_c = oven.temperature_c(0.0);
        let highest_c = oven.steps().iter().map(|s| s.temperature_c).fold(lowest_c, f64::max);
        let per_kelvin = if highest_c > lowest_c { 1.0 / (highest_c - lowest_c) } else { 0.0 };

        let fresh = self.noise_sd * (1.0 - self.noise_correlation * self.noise_correlation).sqrt();
        let mut noise = self.noise_sd * random.normal();
        let decimal = (0..self.decimals).fold(1.0, |d, _| d * 10.0);
        for (t, y) in grid_min.iter().zip(&mut signal) {
            let rise = (oven.temperature_c(t + clock.ahead_min) - lowest_c) * per_kelvin;
            let seen = *y + zero + drift * t + self.bleed * rise * rise * rise + noise;
            *y = self.convert(seen, decimal);
            noise = self.noise_correlation * noise + fresh * random.normal();
        }
        signal
    }

    /// Clips to the converter's range, rounds to its step, then to the export's decimals: the double nearest to the
    /// decimal number, which is what a reader of the file gets.
    fn convert(&self, value: f64, decimal: f64) -> f64 {
        let clipped = value.clamp(0.0, self.full_scale);
        let stepped = if self.step > 0.0 { (clipped / self.step).round() * self.step } else { clipped };
        (stepped * decimal).round() / decimal
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::OvenStep;

    fn bare() -> SimulatedDetector {
        SimulatedDetector {
            unit: "mV".to_owned(),
            noise_sd: 0.02,
            noise_correlation: 0.3,
            zero: 10.0,
            zero_sd: 0.0,
            drift_per_min: 0.0,
            drift_sd_per_min: 0.0,
            bleed: 0.0,
            response_change_per_run: 0.0,
            disturbances: Vec::new(),
            step: 1e-6,
            full_scale: 2500.0,
            decimals: 6,
        }
    }

    fn record(detector: &SimulatedDetector, grid: &[f64], clean: Vec<f64>) -> Vec<f64> {
        let step = |temperature_c, ramp_c_per_min| OvenStep { temperature_c, ramp_c_per_min, hold_min: 0.0 };
        let oven = OvenProgramme::new(&[step(40.0, None), step(140.0, Some(10.0))]).expect("a programme");
        let clock = OvenClock { injection_min: 0.0, ahead_min: 0.0 };
        detector.record(grid, clean, &oven, clock, &mut Xoshiro256PlusPlus::seeded(5))
    }

    /// Mean, standard deviation and correlation of 10⁵ points lie within four of their own standard errors of what is stated.
    #[test]
    fn the_noise_is_as_stated() {
        let grid: Vec<f64> = (0..100_000).map(|i| f64::from(i) / 600.0).collect();
        let y = record(&bare(), &grid, vec![0.0; grid.len()]);
        let n = y.len() as f64;
        let mean = y.iter().sum::<f64>() / n;
        let variance = y.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
        let covariance = y.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / n;
        let (phi, sd) = (0.3_f64, 0.02);
        assert!((mean - 10.0).abs() < 4.0 * sd * ((1.0 + phi) / (1.0 - phi) / n).sqrt(), "{mean}");
        let spread = ((1.0 + phi * phi) / (1.0 - phi * phi) / (2.0 * n)).sqrt();
        assert!((variance.sqrt() / sd - 1.0).abs() < 4.0 * spread, "{variance}");
        assert!((covariance / variance - phi).abs() < 4.0 * ((1.0 - phi * phi) / n).sqrt(), "{covariance}");
    }

    #[test]
    fn step_full_scale_bleed_and_drift_are_as_stated() {
        let quiet = SimulatedDetector {
            noise_sd: 0.0,
            bleed: 8.0,
            drift_per_min: 0.5,
            step: 0.25,
            full_scale: 100.0,
            decimals: 2,
            ..bare()
        };
        let grid = [0.0, 5.0, 10.0, 20.0];
        // Rise 0, 0.5, 1, 1 of the way: bleed 0, 1, 8, 8; drift 0, 2.5, 5, 10.
        assert_eq!(record(&quiet, &grid, vec![0.1, 0.2, 0.0, 900.0]), [10.0, 13.75, 23.0, 100.0]);
        assert_eq!(record(&quiet, &grid, vec![-50.0, 0.0, 0.0, 0.0])[0], 0.0);
    }
}
