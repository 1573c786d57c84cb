//! What a hand does to an injection, and what glassware does to a flask.

use crate::numeric::Xoshiro256PlusPlus;

/// How well a hand injects: volume, start, and what an internal standard does not cancel.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct InjectionErrors {
    /// Reading error of the syringe in µL.
    #[serde(rename = "reading_sd_uL")]
    pub reading_sd_ul: f64,
    /// Relative part of the volume's standard deviation.
    pub relative_sd: f64,
    /// Standard deviation in seconds of the button behind the injection; of either sign.
    pub start_offset_sd_s: f64,
    /// Relative standard deviation that strikes each compound of each shot on its own: needle discrimination,
    /// evaporation from the tip. A ratio of two compounds scatters √2 times this.
    pub scatter_sd: f64,
}

impl Default for InjectionErrors {
    /// A 1 µL syringe read by eye (common practice): s = √(0.02² + (0.03 V)²) µL; half a second of thumb; 1 %.
    fn default() -> Self {
        InjectionErrors { reading_sd_ul: 0.02, relative_sd: 0.03, start_offset_sd_s: 0.5, scatter_sd: 0.01 }
    }
}

/// One injection as it really was.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Shot {
    /// Volume injected in µL.
    #[serde(rename = "volume_uL")]
    pub volume_ul: f64,
    /// How much later than the injection the button was pressed, in seconds; negative: before it.
    pub start_offset_s: f64,
    /// Factor on the amount of each compound.
    pub scatter: Vec<f64>,
}

impl InjectionErrors {
    /// Standard deviation in µL of an injection of `volume_ul`.
    ///
    /// ```
    /// use vialbook::simulate::InjectionErrors;
    /// let relative = |v| 100.0 * InjectionErrors::default().volume_sd_ul(v) / v;
    /// assert_eq!([relative(0.1).round(), relative(0.3).round()], [20.0, 7.0]);
    /// ```
    pub fn volume_sd_ul(&self, volume_ul: f64) -> f64 {
        let relative = self.relative_sd * volume_ul;
        (self.reading_sd_ul * self.reading_sd_ul + relative * relative).sqrt()
    }

    /// Draws a shot of nominally `volume_ul` with `compounds` compounds. A volume below a tenth of the nominal one
    /// is drawn again: an empty syringe would be noticed.
    pub fn draw(&self, volume_ul: f64, compounds: usize, random: &mut Xoshiro256PlusPlus) -> Shot {
        let sd = self.volume_sd_ul(volume_ul);
        let mut drawn = volume_ul + sd * random.normal();
        while drawn < 0.1 * volume_ul {
            drawn = volume_ul + sd * random.normal();
        }
        Shot {
            volume_ul: drawn,
            start_offset_s: self.start_offset_sd_s * random.normal(),
            scatter: (0..compounds).map(|_| 1.0 + self.scatter_sd * random.normal()).collect(),
        }
    }
}

/// How well solutions are made.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PreparationErrors {
    /// Half-width of the rectangular relative error that a stock hands on to every flask made from it.
    pub stock_half_width: f64,
    /// Relative standard deviation of one volume pipetted into one flask.
    pub pipetting_sd: f64,
}

impl Default for PreparationErrors {
    /// 0.4 % from purity and glassware of a stock; 0.7 % of a pipetted volume, so 1.0 % of a ratio of two.
    fn default() -> Self {
        PreparationErrors { stock_half_width: 0.004, pipetting_sd: 0.007 }
    }
}

impl PreparationErrors {
    /// Factor on every content that rests on one stock.
    pub fn stock(&self, random: &mut Xoshiro256PlusPlus) -> f64 {
        1.0 + self.stock_half_width * (2.0 * random.uniform() - 1.0)
    }

    /// Factor on one volume pipetted into one flask.
    pub fn pipetted(&self, random: &mut Xoshiro256PlusPlus) -> f64 {
        1.0 + self.pipetting_sd * random.normal()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the stated standard deviations, within four standard errors of 20,000 draws.
    #[test]
    fn draws_have_the_stated_spread() {
        let mut random = Xoshiro256PlusPlus::seeded(3);
        let errors = InjectionErrors::default();
        let shots: Vec<Shot> = (0..20_000).map(|_| errors.draw(0.3, 2, &mut random)).collect();
        let spread = |of: &dyn Fn(&Shot) -> f64, centre: f64, sd: f64| {
            let n = shots.len() as f64;
            let mean = shots.iter().map(of).sum::<f64>() / n;
            let seen = (shots.iter().map(|s| (of(s) - mean) * (of(s) - mean)).sum::<f64>() / n).sqrt();
            assert!((mean - centre).abs() < 4.0 * sd / n.sqrt(), "{mean} for {centre}");
            assert!((seen / sd - 1.0).abs() < 4.0 / (2.0 * n).sqrt(), "{seen} for {sd}");
        };
        spread(&|s| s.volume_ul, 0.3, (0.02_f64 * 0.02 + 0.009 * 0.009).sqrt());
        spread(&|s| s.start_offset_s, 0.0, 0.5);
        spread(&|s| s.scatter[0] - s.scatter[1], 0.0, 0.01 * 2.0_f64.sqrt());
        let stock = PreparationErrors::default();
        let factors: Vec<f64> = (0..20_000).map(|_| stock.stock(&mut random) - 1.0).collect();
        assert!(factors.iter().all(|f| f.abs() <= 0.004));
        let rms = (factors.iter().map(|f| f * f).sum::<f64>() / 20_000.0).sqrt();
        assert!((rms * 3.0_f64.sqrt() / 0.004 - 1.0).abs() < 0.02, "{rms}");
    }
}
