//! Simulated calibrations with a known truth: flasks and shots with their own scatter, one stock, noise in the areas.
//!
//! Used by the coverage tests and by the coverage bench.

use vialbook::calibrate::{
    CalibrationOptions, Curve, Flask, Inverse, Model, SharedSource, TimedFlask, Unknown, Weighting,
};
use vialbook::numeric::Xoshiro256PlusPlus;

/// How errors are distributed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Errors {
    /// Normal.
    Normal,
    /// Student t with 3 degrees of freedom, scaled to the stated standard deviation.
    T3,
    /// Normal, and one standard flask in the middle holds 10 % too much.
    BadFlask,
    /// Normal, and the response falls by 5 % from the first standard to the last sample.
    Drift,
}

/// In which order everything is injected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Order {
    /// Levels rise through the day, shots of one flask one after the other, the sample last.
    Rising,
    /// Every flask once in an order drawn by lot, then every flask again in another.
    Mixed,
}

/// A calibration and one sample, with everything that scatters.
#[derive(Clone, Debug)]
pub(crate) struct Scenario {
    /// Contents of the standards.
    pub(crate) levels: Vec<f64>,
    /// Flasks a level.
    pub(crate) flasks: usize,
    /// Shots a flask.
    pub(crate) shots: usize,
    /// Flasks of the sample.
    pub(crate) sample_flasks: usize,
    /// Shots a sample flask.
    pub(crate) sample_shots: usize,
    /// Standard deviation of one area from the trace.
    pub(crate) noise: f64,
    /// Relative standard deviation of a flask.
    pub(crate) flask_relative: f64,
    /// Relative standard deviation of a shot.
    pub(crate) shot_relative: f64,
    /// Constant standard deviation of a flask.
    pub(crate) flask_constant: f64,
    /// Constant standard deviation of a shot.
    pub(crate) shot_constant: f64,
    /// Relative standard deviation of the one stock.
    pub(crate) stock: f64,
    /// Whether the stock is declared.
    pub(crate) stock_declared: bool,
    /// The noise that the traces claim, over the true one.
    pub(crate) noise_claimed: f64,
    /// Weights used.
    pub(crate) weighting: Weighting,
    /// Curve declared.
    pub(crate) model: Model,
    /// Share of the top response by which the true curve falls short of a line at its top.
    pub(crate) bend: f64,
    /// Exponent of the true curve.
    pub(crate) exponent: f64,
    /// Relative standard deviation of the injected volume, where responses are ratios to an internal standard that goes with
    /// it; 0 without one.
    pub(crate) injection: f64,
    /// Distribution of errors.
    pub(crate) errors: Errors,
    /// Order of injection.
    pub(crate) order: Order,
    /// Relative change of the sensitivity from the first injection to the last under [`Errors::Drift`].
    pub(crate) drift: f64,
}

impl Scenario {
    /// The usual design: 5 levels, 2 flasks, 2 shots; sample 3 × 2; noise in the areas, ρ of a flask 1.2 %, of a shot
    /// 1.2 % (ρ of a flask mean 1.5 %).
    pub(crate) fn house(levels: &[f64], noise: f64) -> Scenario {
        Scenario {
            levels: levels.to_vec(),
            flasks: 2,
            shots: 2,
            sample_flasks: 3,
            sample_shots: 2,
            noise,
            flask_relative: 0.0122,
            shot_relative: 0.0122,
            flask_constant: 0.0,
            shot_constant: 0.0,
            stock: 0.0,
            stock_declared: true,
            noise_claimed: 1.0,
            weighting: Weighting::TwoPart,
            model: Model::Line,
            bend: 0.0,
            exponent: 1.0,
            injection: 0.0,
            errors: Errors::Normal,
            order: Order::Rising,
            drift: -0.05,
        }
    }

    /// Equal scatter at all levels: shots of sd 1 and flasks of sd `ratio`, on a slope of 100 from 1 to 5.
    pub(crate) fn equal(ratio: f64, sample_flasks: usize) -> Scenario {
        Scenario {
            levels: (1..=5).map(|i| 100.0 * f64::from(i)).collect(),
            sample_flasks,
            noise: 0.0,
            flask_relative: 0.0,
            shot_relative: 0.0,
            flask_constant: ratio,
            shot_constant: 1.0,
            weighting: Weighting::None,
            ..Scenario::house(&[], 0.0)
        }
    }

    fn error(&self, random: &mut Xoshiro256PlusPlus) -> f64 {
        let z = random.normal();
        if self.errors != Errors::T3 {
            return z;
        }
        let chi: f64 = (0..3).map(|_| random.normal().powi(2)).sum();
        z / chi.sqrt() // t₃ over its standard deviation √3: z/√(χ²/3)/√3
    }

    /// Response of a content.
    fn response(&self, content: f64) -> f64 {
        if self.exponent != 1.0 {
            return content.abs().powf(self.exponent).copysign(content);
        }
        let top = self.levels.iter().copied().fold(0.0, f64::max);
        content * (1.0 - self.bend * content / top)
    }

    /// Numbers of the injections of each flask, standards first, then the sample's.
    fn positions(&self) -> Vec<Vec<f64>> {
        let standards = self.levels.len() * self.flasks;
        let shots = |flask: usize| if flask < standards { self.shots } else { self.sample_shots };
        let flasks = standards + self.sample_flasks;
        let mut all = vec![Vec::new(); flasks];
        let mut next = 0.0;
        if self.order == Order::Rising {
            for (flask, own) in all.iter_mut().enumerate() {
                for _ in 0..shots(flask) {
                    own.push(next);
                    next += 1.0;
                }
            }
            return all;
        }
        for pass in 0..self.shots.max(self.sample_shots) {
            let mut lot: Vec<usize> = (0..flasks).collect();
            let mut random = Xoshiro256PlusPlus::stream(99, pass as u64);
            for i in (1..flasks).rev() {
                lot.swap(i, random.below(i as u64 + 1) as usize);
            }
            for flask in lot.into_iter().filter(|&f| pass < shots(f)) {
                all[flask].push(next);
                next += 1.0;
            }
        }
        all
    }

    /// Sensitivity at each injection of a flask.
    fn sensitivities(&self, positions: &[f64]) -> Vec<f64> {
        let last = (self.levels.len() * self.flasks * self.shots + self.sample_flasks * self.sample_shots - 1) as f64;
        let drift = if self.errors == Errors::Drift { self.drift } else { 0.0 };
        positions.iter().map(|p| 1.0 + drift * p / last).collect()
    }

    /// Shots of one flask whose true content is `content`, each with the uncertainty that its trace claims; each sensitivity
    /// multiplies one response.
    fn flask(&self, content: f64, sensitivities: &[f64], random: &mut Xoshiro256PlusPlus) -> Vec<(f64, f64)> {
        let made =
            content * (1.0 + self.flask_relative * self.error(random)) + self.flask_constant * self.error(random);
        let claimed = self.noise * self.noise_claimed;
        sensitivities
            .iter()
            .map(|sensitivity| {
                let seen = self.response(made) * sensitivity * (1.0 + self.shot_relative * self.error(random));
                if self.injection == 0.0 {
                    return (seen + self.shot_constant * self.error(random) + self.noise * self.error(random), claimed);
                }
                // Both areas go with the volume; the internal standard's is as large as that of the middle level.
                let volume = (self.injection * random.normal()).exp();
                let middle = self.levels[self.levels.len() / 2];
                let area = seen * volume + self.noise * self.error(random);
                let standard = middle * volume + self.noise * self.error(random);
                let ratio = area / standard;
                (ratio * middle, middle * (claimed / standard).hypot(ratio * claimed / standard))
            })
            .collect()
    }

    /// Options in force.
    pub(crate) fn options(&self) -> CalibrationOptions {
        let mut options =
            CalibrationOptions { model: self.model, ..CalibrationOptions::weighted(self.weighting.clone()) };
        if self.stock > 0.0 && self.stock_declared {
            options.shared.push(SharedSource::new("stock", self.stock));
        }
        options
    }

    /// One draw of the standards.
    pub(crate) fn curve(&self, random: &mut Xoshiro256PlusPlus) -> Curve {
        // All standards hold (1 + δ) times what their labels say.
        let stock = 1.0 + self.stock * self.error(random);
        let mut flasks = Vec::new();
        let positions = self.positions();
        for (i, &level) in self.levels.iter().enumerate() {
            for k in 0..self.flasks {
                let shot_order = positions[i * self.flasks + k].clone();
                let bad = self.errors == Errors::BadFlask && i == self.levels.len() / 2 && k == 0;
                let content = level * stock * if bad { 1.1 } else { 1.0 };
                let (shots, us): (Vec<f64>, Vec<f64>) =
                    self.flask(content, &self.sensitivities(&shot_order), random).into_iter().unzip();
                let flask = Flask::from_shots(format!("S{i}{k}"), level, &shots, &us);
                flasks.push(Flask { shot_order, ..flask });
            }
        }
        Curve::fit(&flasks, &self.options()).expect("fit")
    }

    /// One draw of a sample, shot by shot.
    pub(crate) fn timed_sample(&self, content: f64, random: &mut Xoshiro256PlusPlus) -> Vec<TimedFlask> {
        let positions = &self.positions()[self.levels.len() * self.flasks..];
        let flask = |order: &Vec<f64>| {
            let (responses, us): (Vec<f64>, Vec<f64>) =
                self.flask(content, &self.sensitivities(order), random).into_iter().unzip();
            let response_u = (us.iter().map(|u| u * u).sum::<f64>() / us.len() as f64).sqrt();
            TimedFlask { responses, order: order.clone(), response_u }
        };
        positions.iter().map(flask).collect()
    }

    /// The flask means of a sample.
    pub(crate) fn unknown(&self, flasks: &[TimedFlask]) -> Unknown {
        let shots = self.sample_shots as f64;
        let responses = flasks.iter().map(|f| f.responses.iter().sum::<f64>() / shots).collect();
        Unknown {
            label: "sample".to_owned(),
            flask_responses: responses,
            response_u: (flasks.iter().map(|f| f.response_u * f.response_u).sum::<f64>() / flasks.len() as f64 / shots)
                .sqrt(),
            shots_per_flask: shots,
            ..Unknown::default()
        }
    }

    /// One draw of a sample.
    pub(crate) fn sample(&self, content: f64, random: &mut Xoshiro256PlusPlus) -> Unknown {
        self.unknown(&self.timed_sample(content, random))
    }

    /// One draw of standards and sample.
    pub(crate) fn inverse(&self, content: f64, random: &mut Xoshiro256PlusPlus) -> Inverse {
        let curve = self.curve(random);
        curve.invert(&self.sample(content, random)).expect("inverse")
    }
}

/// What came of many draws.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Coverage {
    /// Draws that allowed a conclusion.
    pub(crate) draws: usize,
    /// Share of intervals that hold the truth.
    pub(crate) covered: f64,
    /// Share in which P(true > truth) > 0.95: 5 % where the probability is right.
    pub(crate) above: f64,
    /// Share in which P(true > truth) < 0.05.
    pub(crate) below: f64,
    /// Median half-width over the truth (over 1 at truth 0).
    pub(crate) half_width: f64,
    /// Share of intervals without an end.
    pub(crate) open: f64,
}

impl Coverage {
    /// Draws a scenario many times at one true content; draw i uses stream i of the seed.
    pub(crate) fn of(scenario: &Scenario, content: f64, draws: usize, seed: u64) -> Coverage {
        let mut widths = Vec::new();
        let mut c = Coverage::default();
        for i in 0..draws {
            let mut random = Xoshiro256PlusPlus::stream(seed, i as u64);
            let found = scenario.inverse(content, &mut random);
            let inside = found.interval[0].is_none_or(|low| low <= content)
                && found.interval[1].is_none_or(|high| content <= high);
            // 1/x² draws no conclusion well below the lowest standard.
            let Some(p) = found.probability_above(content) else { continue };
            c.draws += 1;
            c.covered += f64::from(u8::from(inside));
            c.above += f64::from(u8::from(p > 0.95));
            c.below += f64::from(u8::from(p < 0.05));
            match found.interval {
                [Some(low), Some(high)] => widths.push(0.5 * (high - low)),
                _ => c.open += 1.0,
            }
        }
        widths.sort_by(f64::total_cmp);
        c.half_width =
            widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN) / if content > 0.0 { content } else { 1.0 };
        let n = c.draws as f64;
        c.covered /= n;
        c.above /= n;
        c.below /= n;
        c.open /= n;
        c
    }

    /// Monte Carlo standard error of the coverage.
    pub(crate) fn error(&self) -> f64 {
        (self.covered * (1.0 - self.covered) / self.draws as f64).sqrt()
    }
}
